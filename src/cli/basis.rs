//! `bondline basis`: design values from specimens, with every step.

mod equivalence;
mod evidence;

use super::args::BasisArgs;
use super::context::{Context, Failure, Status};
use crate::ledger::{Specimen, read_specimens, same_condition};
use crate::report::basis::{BasisReport, SampleReport, json, left_out, modes, sample, text};
use crate::report::page::{Frame, Style, shown};
use crate::source::DATA_LIMIT;
use crate::statistics::{LEVELS_TAKEN, Levels, is_k_sample_level, pooled};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;

pub(super) fn run(
    context: &mut Context,
    args: &BasisArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    usable(args)?;
    let is_file = |of: &String| {
        let path = context.directory.join(of);
        let record = Path::new(of).extension().is_some_and(|own| own == "yaml" || own == "yml");
        !record
            && (path.is_file() || Path::new(of).extension().is_some_and(|own| own == "csv" || own == "tsv"))
    };
    let files = args.of.iter().filter(|of| is_file(of)).count();
    if files == args.of.len() {
        return of_files(context, args, out, err);
    }
    if files > 0 {
        return Err(Failure::new(
            "data files and evidence are not mixed",
            "name files alone, or evidence alone; what lies in the ledger is named by its evidence",
        ));
    }
    evidence::run(context, args, out, err)
}

/// The levels that were typed in, above those of the ledger.
fn typed(args: &BasisArgs, of: Levels) -> Levels {
    Levels {
        outliers: args.outliers.unwrap_or(of.outliers),
        batches: args.batches.unwrap_or(of.batches),
        variances: args.variances.unwrap_or(of.variances),
        fit: args.fit.unwrap_or(of.fit),
        modified_cv: args.modified_cv || of.modified_cv,
    }
}

fn of_files(
    context: &Context,
    args: &BasisArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    if args.source.at.is_some() || args.source.staged {
        return Err(Failure::new(
            "a file is read as it lies on disk",
            "name evidence with `--at` or `--staged`: its data are read from that state",
        ));
    }
    if args.between.is_some() {
        return Err(Failure::new(
            "a file does not say what temperature it was tested at",
            "name evidence, whose showings give an `environment`",
        ));
    }
    let levels = typed(args, Levels::default());
    let (mut samples, mut digests) = (Vec::new(), Vec::new());
    for of in &args.of {
        let name = shown(of);
        let mend = |problem: &dyn std::fmt::Display| {
            let help = "name a CSV file with the columns batch, panel, specimen, value [unit]";
            Failure::new(format!("`{name}` can't be read: {problem}"), help)
        };
        let mut bytes = Vec::new();
        let file = File::open(context.directory.join(of)).map_err(|error| mend(&error))?;
        file.take(DATA_LIMIT + 1).read_to_end(&mut bytes).map_err(|error| mend(&error))?;
        if bytes.len() as u64 > DATA_LIMIT {
            return Err(mend(&format!("it is larger than {} MB", DATA_LIMIT >> 20)));
        }
        let data = match read_specimens(&name, &bytes) {
            Ok(data) => data,
            Err(faults) => {
                let help =
                    "the columns are batch, panel, specimen, value [unit], and `rejected` where needed";
                return Err(context.refused(&name, &bytes, faults, help, err)?);
            }
        };
        if digests.contains(&data.digest) {
            return Err(Failure::new(
                format!("`{name}` holds the same as a file before it"),
                "name each sample once: pooled with itself it would look twice as large",
            ));
        }
        digests.push(data.digest.clone());
        let unit = data.unit.clone().unwrap_or_default();
        // A file that names conditions holds an environment for each.
        let mut conditions: Vec<Option<&str>> = Vec::new();
        let is = |row: &Specimen, own: Option<&str>| match (row.condition(), own) {
            (Some(one), Some(other)) => same_condition(one, other),
            (one, other) => one.is_none() && other.is_none(),
        };
        // One of which all are rejected is no environment: there are no values in it.
        for row in data.rows.iter().filter(|row| row.rejected.is_none()) {
            if !conditions.iter().any(|own| is(row, *own)) {
                conditions.push(row.condition());
            }
        }
        if conditions.is_empty() {
            conditions.push(None);
        }
        // What was rejected of no environment is still told, with the first.
        let stray = |row: &Specimen| row.rejected.is_some() && !conditions.iter().any(|own| is(row, *own));
        if conditions.len() > MOST_CONDITIONS {
            return Err(Failure::new(
                format!(
                    "`{name}` names {} conditions; at most {MOST_CONDITIONS} are compared",
                    conditions.len()
                ),
                "write one word for each environment in the column `condition`",
            ));
        }
        for (at, own) in conditions.iter().enumerate() {
            let rows: Vec<&Specimen> =
                data.rows.iter().filter(|row| is(row, *own) || (at == 0 && stray(row))).collect();
            let name = match own {
                Some(condition) if conditions.len() > 1 => format!("{name}, {condition}"),
                None if conditions.len() > 1 => format!("{name}, no condition"),
                _ => name.clone(),
            };
            let (groups, labels) = by_batch(&rows);
            let mut own = sample(name, String::new(), unit.clone(), groups, left_out(&rows), &levels);
            own.labels = labels;
            own.modes = modes(&rows);
            samples.push(own);
        }
    }
    alike(&samples)?;
    let report = with_pooled(samples, &levels);
    if context.json() {
        writeln!(out, "{:#}", json(&report))?;
    } else {
        let frame = Frame {
            width: context.width,
            style: Style { colour: context.colour },
            all: args.all,
            ..Frame::default()
        };
        write!(out, "{}", text(&report, &frame))?;
    }
    Ok(Status::Done)
}

/// More environments than any property is tested in.
const MOST_CONDITIONS: usize = 12;

/// Values by the label of their batch.
type Batches = Vec<(String, Vec<f64>)>;

/// Values by batch, in the order in which batches first come, and `panel/specimen` of each.
fn by_batch(rows: &[&Specimen]) -> (Batches, Vec<Vec<String>>) {
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    let mut groups: Batches = Vec::new();
    let mut labels: Vec<Vec<String>> = Vec::new();
    for row in rows.iter().filter(|row| row.rejected.is_none()) {
        let at = *places.entry(&row.batch).or_insert(groups.len());
        let label = shown(&format!("{}/{}", row.panel, row.specimen));
        match (groups.get_mut(at), labels.get_mut(at)) {
            (Some((_, values)), Some(own)) => {
                values.push(row.value);
                own.push(label);
            }
            _ => {
                groups.push((row.batch.to_string(), vec![row.value]));
                labels.push(vec![label]);
            }
        }
    }
    (groups, labels)
}

/// Refuses levels that the tests do not take, before anything is read.
fn usable(args: &BasisArgs) -> Result<(), Failure> {
    for (option, level) in
        [("--outliers", args.outliers), ("--variances", args.variances), ("--fit", args.fit)]
    {
        if let Some(level) = level.filter(|level| !LEVELS_TAKEN.contains(level)) {
            return Err(Failure::new(
                format!("`{option} {level}` is no level of significance"),
                "write a number from 0.0001 to 0.5, as a rule 0.05",
            ));
        }
    }
    if let Some(level) = args.batches.filter(|level| !is_k_sample_level(*level)) {
        return Err(Failure::new(
            format!("`--batches {level}` is no level of the k-sample test"),
            "write 0.1, 0.05, 0.025 or 0.01: for others no critical values are published",
        ));
    }
    Ok(())
}

/// Refuses samples in several units: environments of one property are compared as they stand.
fn alike(samples: &[SampleReport]) -> Result<(), Failure> {
    let Some(first) = samples.first() else { return Ok(()) };
    match samples.iter().find(|own| own.unit != first.unit) {
        None => Ok(()),
        Some(other) => {
            let unit = |own: &SampleReport| match own.unit.as_str() {
                "" => "no unit".to_string(),
                unit => format!("`{unit}`"),
            };
            Err(Failure::new(
                format!(
                    "{} has values in {}, {} in {}: they are no environments of one property",
                    first.name,
                    unit(first),
                    other.name,
                    unit(other)
                ),
                "name each alone, or write the values in one unit",
            ))
        }
    }
}

fn with_pooled(samples: Vec<SampleReport>, levels: &Levels) -> BasisReport {
    let environments: Vec<Vec<&[f64]>> = samples.iter().map(SampleReport::slices).collect();
    let pooled =
        (samples.len() > 1).then(|| pooled(&environments, levels).map_err(|problem| problem.to_string()));
    BasisReport { samples, pooled, between: None }
}
