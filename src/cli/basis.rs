//! `bondline basis`: design values from specimens, with every step.

use super::args::BasisArgs;
use super::context::{Context, Failure, Status, named};
use crate::article::Subject;
use crate::calc::figure;
use crate::ledger::{Entry, Ledger, Specimen, read_specimens, same_condition};
use crate::qualify::normalised::Normalised;
use crate::qualify::pool::{Pool, levels, pool};
use crate::record::{
    Address, Evidence, EvidenceKind, EvidenceState, Fault, Figure, MAX_BYTES, RecordKind, Showing, render,
};
use crate::report::basis::{BasisReport, Between, LeftOut, SampleReport, json, text};
use crate::report::page::{Frame, Style, count, shown};
use crate::statistics::{Basis, LEVELS_TAKEN, Levels, between_tested, is_k_sample_level, pooled, procedure};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;

/// A data file may be larger than a record.
const MOST_BYTES: u64 = 64 * MAX_BYTES as u64;

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
    of_evidence(context, args, out, err)
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
        file.take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(|error| mend(&error))?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(mend(&format!("it is larger than {} MB", MOST_BYTES >> 20)));
        }
        let data = match read_specimens(&name, &bytes) {
            Ok(data) => data,
            Err(faults) => return Err(refused(context, &name, &bytes, faults, err)?),
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
            let mut own =
                sample(name, String::new(), unit.clone(), by_batch(&rows), left_out(&rows), &levels);
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

/// Modes of failure of the specimens that count, with how many failed by each.
fn modes(rows: &[&Specimen]) -> BTreeMap<String, usize> {
    let mut all = BTreeMap::new();
    for row in rows.iter().filter(|row| row.rejected.is_none()) {
        if let Some(mode) = row.mode() {
            *all.entry(mode.to_string()).or_default() += 1;
        }
    }
    all
}

/// Values by batch, in the order in which batches first come.
fn by_batch(rows: &[&Specimen]) -> Vec<(String, Vec<f64>)> {
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    let mut groups: Vec<(String, Vec<f64>)> = Vec::new();
    for row in rows.iter().filter(|row| row.rejected.is_none()) {
        let at = *places.entry(&row.batch).or_insert(groups.len());
        match groups.get_mut(at) {
            Some((_, values)) => values.push(row.value),
            None => groups.push((row.batch.clone(), vec![row.value])),
        }
    }
    groups
}

fn left_out(rows: &[&Specimen]) -> Vec<LeftOut> {
    let rejected = rows.iter().filter_map(|row| Some((row, row.rejected.as_ref()?)));
    rejected
        .map(|(row, reason)| LeftOut {
            line: row.line,
            labels: [&row.batch, &row.panel, &row.specimen].map(|label| shown(label)),
            value: row.value.is_finite().then_some(row.value),
            reason: shown(reason),
        })
        .collect()
}

fn sample(
    name: String,
    of: String,
    unit: String,
    groups: Vec<(String, Vec<f64>)>,
    rejected: Vec<LeftOut>,
    levels: &Levels,
) -> SampleReport {
    let slices: Vec<&[f64]> = groups.iter().map(|(_, values)| values.as_slice()).collect();
    let procedure = procedure(&slices, levels);
    // Labels go to a terminal.
    let groups = groups.into_iter().map(|(label, values)| (shown(&label), values)).collect();
    SampleReport {
        name,
        of,
        unit,
        groups,
        rejected,
        modes: BTreeMap::new(),
        notes: Vec::new(),
        tested_in: None,
        normalised: None,
        procedure,
    }
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

/// Values at a temperature between those tested; moisture has to be the same.
fn between(at: &str, samples: &[SampleReport]) -> Result<Between, Failure> {
    let asked = Figure::parse(at).ok().and_then(|own| Some(own.number_in("degC")? + 273.15));
    let Some(kelvin) = asked else {
        return Err(Failure::new(
            format!("`--between {}` is no temperature", shown(at)),
            "write it with its unit, for example `--between '60 degC'`",
        ));
    };
    let value = |basis: Basis| -> Result<f64, String> {
        let mut tested = Vec::new();
        let mut moisture: Option<&String> = None;
        for own in samples {
            let (temperature, own_moisture) = own
                .tested_in
                .as_ref()
                .ok_or_else(|| format!("{} names no temperature of its test", own.name))?;
            if let Some(other) = moisture.filter(|other| *other != own_moisture) {
                return Err(format!(
                    "`{other}` and `{own_moisture}` are two moistures: nothing lies between them"
                ));
            }
            moisture = Some(own_moisture);
            let found = own.procedure.as_ref().map_err(ToString::to_string)?;
            let given = found.value(basis).as_ref().map_err(ToString::to_string)?;
            // In degrees, as people read what is refused.
            tested.push([temperature - 273.15, given.value]);
        }
        between_tested(&tested, kelvin - 273.15).map_err(|problem| format!("in degC, {problem}"))
    };
    let estimates = [Basis::B, Basis::A].map(|basis| samples.iter().any(|own| own.is_estimate(basis)));
    Ok(Between { at: shown(at), values: [value(Basis::B), value(Basis::A)], estimates })
}

fn of_evidence(
    context: &mut Context,
    args: &BasisArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_alone(&place, &args.source)?;
    let ledger = &loaded.ledger;
    // Evidence of one showing is one sample; further showings are further environments.
    let mut samples: Vec<(String, Vec<&Entry<Evidence>>)> = Vec::new();
    for of in &args.of {
        let entry = named(of, RecordKind::Evidence, &ledger.evidence, ledger)?;
        let subject = Subject::from_label(&entry.value.subject);
        let other = samples
            .iter()
            .flat_map(|(_, records)| records)
            .find(|known| Subject::from_label(&known.value.subject) != subject);
        if let Some(other) = other {
            return Err(Failure::new(
                format!(
                    "evidence/{} and evidence/{} are of two subjects: they are no one sample",
                    other.id, entry.id
                ),
                "name evidence of one subject; `bondline why SHOWING SUBJECT` says what is pooled for another",
            ));
        }
        if let Some(why) = no_part(ledger, entry) {
            return Err(Failure::new(
                format!("evidence/{} gives no design value: {why}", entry.id),
                "name finished tests; `bondline why SHOWING SUBJECT` says what each record does",
            ));
        }
        let showing = entry.value.showing.id().to_string();
        match samples.iter_mut().find(|(known, _)| *known == showing) {
            Some((_, records)) if records.iter().any(|known| known.id == entry.id) => {}
            Some((_, records)) => records.push(entry),
            None => samples.push((showing, vec![entry])),
        }
    }
    let mut found = Vec::new();
    let mut first: Option<(Address, Levels)> = None;
    for (showing, records) in &samples {
        let id = records.first().map_or("", |entry| entry.id.as_str());
        let entry = ledger.showings.get(showing).ok_or_else(|| {
            Failure::new(
                format!("showing/{showing} of evidence/{id} can't be read"),
                "`bondline check` says why",
            )
        })?;
        let own = typed(args, levels(ledger, &entry.value));
        first.get_or_insert((Address::new(RecordKind::Showing, showing.clone()), own));
        found.push(evidence_sample(ledger, entry, records, &own)?);
    }
    let (of, levels) = first.unwrap_or((Address::ledger(), typed(args, Levels::default())));
    let evaluation = context.evaluate_for(&loaded, &of, err)?;
    alike(&found)?;
    let mut report = with_pooled(found, &levels);
    let apart = apart(ledger, samples.iter().map(|(showing, _)| showing.as_str()), &report.samples);
    if let Some(why) = &apart {
        report.pooled = Some(Err(why.clone()));
    }
    if let Some(at) = &args.between {
        report.between = Some(match apart {
            Some(why) => {
                Between { at: shown(at), values: [Err(why.clone()), Err(why)], estimates: [true; 2] }
            }
            None => between(at, &report.samples)?,
        });
    }
    context.answer(out, (&loaded, &evaluation), args.all, || json(&report), |frame| text(&report, frame))?;
    Ok(Status::Done)
}

/// Why evidence of several showings is no one property in several environments: another kind, another method,
/// another nominal.
fn apart<'l>(
    ledger: &'l Ledger,
    showings: impl Iterator<Item = &'l str>,
    samples: &[SampleReport],
) -> Option<String> {
    let entries: Vec<_> = showings.filter_map(|id| ledger.showings.get(id)).collect();
    // A method's year is no other method.
    let method = |own: &Showing| {
        let text = own.method.as_ref()?.as_str();
        Some(text.rsplit_once('-').map_or(text, |(before, _)| before).trim().to_lowercase())
    };
    let first = entries.first()?;
    for other in entries.iter().skip(1) {
        let (one, two) = (&first.value, &other.value);
        if one.kind != two.kind {
            return Some(format!(
                "showing/{} is of {}, showing/{} of {}: they are two properties",
                first.id, one.kind, other.id, two.kind
            ));
        }
        if let (Some(own), Some(another)) = (method(one), method(two))
            && own != another
        {
            return Some(format!(
                "showing/{} and showing/{} are by two methods: they are two properties",
                first.id, other.id
            ));
        }
    }
    let nominal = |own: &SampleReport| own.normalised.clone();
    let first = samples.first()?;
    let other = samples.iter().find(|own| nominal(own) != nominal(first))?;
    Some(format!("{} and {} are not normalised to the same", first.name, other.name))
}

/// Why a record is no part of a sample that design values come from.
fn no_part(ledger: &Ledger, entry: &Entry<Evidence>) -> Option<String> {
    let own = &entry.value;
    let newer = || {
        let mut all = ledger.evidence.values();
        all.find(|other| other.value.supersedes.as_ref().is_some_and(|old| old.id() == entry.id))
    };
    match own.kind {
        EvidenceKind::Test | EvidenceKind::Inspection => {}
        other => {
            return Some(format!("an {other} extends a baseline, and design values stay the baseline's"));
        }
    }
    if own.state != EvidenceState::Done {
        return Some(format!("it is {}", own.state));
    }
    if own.disposition.is_some() {
        return Some("its `disposition` takes it out of the pool".to_string());
    }
    newer().map(|newer| format!("evidence/{} supersedes it", newer.id))
}

fn evidence_sample(
    ledger: &Ledger,
    showing: &Entry<Showing>,
    records: &[&Entry<Evidence>],
    levels: &Levels,
) -> Result<SampleReport, Failure> {
    let values = pool(ledger, &showing.value, records);
    let names: Vec<String> = records.iter().map(|entry| format!("evidence/{}", entry.id)).collect();
    let names = names.join(", ");
    if let Some(foreign) = values.foreign.first() {
        return Err(Failure::new(
            format!("the values of evidence/{foreign} can't be brought to {}", values.unit),
            "`bondline check` names the column and the unit that was expected",
        ));
    }
    if values.values.is_empty() {
        let why =
            if values.rejected > 0 { "all specimens are rejected" } else { "there are no specimen values" };
        return Err(Failure::new(
            format!("{names} gives no design value: {why}"),
            "name evidence with `data:`, a CSV file of specimens",
        ));
    }
    let rejected = records
        .iter()
        .filter_map(|entry| ledger.data.get(&entry.id))
        .flat_map(|data| left_out(&data.rows.iter().collect::<Vec<_>>()))
        .collect();
    let subject = records.first().and_then(|entry| Subject::from_label(&entry.value.subject));
    let on = subject.map_or(String::new(), |subject| format!(" on {subject}"));
    let of = format!("showing/{}{on}", showing.id);
    if let Some(lacking) = values.normalised.as_ref().and_then(|own| own.lacking.first()) {
        return Err(Failure::new(
            format!("the values of evidence/{lacking} can't be normalised as its showing asks"),
            "`bondline check` names the column that is missing",
        ));
    }
    let nominal = values.normalised.as_ref().map(Normalised::words);
    let normalised = normalised(&values);
    let rows: Vec<&Specimen> = records
        .iter()
        .filter_map(|entry| ledger.data.get(&entry.id))
        .flat_map(|data| data.rows.iter())
        .collect();
    let groups = values.by_batch.into_iter().collect();
    let mut own = sample(names, of, values.unit, groups, rejected, levels);
    own.modes = modes(&rows);
    own.normalised = nominal;
    own.notes.extend(normalised);
    let unconformed = records.iter().filter(|entry| entry.value.conformed.is_none());
    let unconformed: Vec<String> = unconformed.map(|entry| format!("evidence/{}", entry.id)).collect();
    if !unconformed.is_empty() {
        own.notes
            .push(format!("not conformed, so that it counts for no duty yet: {}", unconformed.join(", ")));
    }
    own.notes.extend(asked(&showing.value.accept, &own));
    own.tested_in = showing.value.environment.as_ref().and_then(|environment| {
        let moisture = environment.moisture.as_ref().map_or("unstated", |own| own.as_str());
        Some((environment.temperature.as_ref()?.si(), moisture.to_string()))
    });
    Ok(own)
}

/// What values were normalised to, and how they scattered before.
fn normalised(values: &Pool) -> Vec<String> {
    let Some(own) = &values.normalised else { return Vec::new() };
    let mut notes = vec![format!("normalised to {}", own.words())];
    if let (Some(was), Some(is)) = (own.scatter_measured(), values.scatter()) {
        let grows = if values.scatter_grows() { ": they scatter more, so find out why" } else { "" };
        let cv = |own: Option<f64>| own.map_or("-".to_string(), |cv| format!("{:.2} %", cv * 100.0));
        notes.push(format!(
            "as measured: mean {}, coefficient of variation {}; normalised: mean {}, {}{grows}",
            figure(was.mean),
            cv(was.cv),
            figure(is.mean),
            cv(is.cv)
        ));
    }
    for far in &own.far {
        notes.push(format!(
            "evidence/{} line {}, {}: {:+.1} % from nominal, farther than {:.1} %: its normalised value is to be \
             doubted",
            far.evidence,
            far.line,
            far.specimen,
            far.away * 100.0,
            own.reach * 100.0
        ));
    }
    notes
}

/// What the showing asks of its basis, beside what the sample gives.
fn asked(accept: &crate::record::Accept, own: &SampleReport) -> Option<String> {
    let (basis, limit) = (accept.basis?, accept.at_least.as_ref()?);
    Some(format!(
        "asked: {}-basis of at least {}; a single load path raises B to A",
        basis.word(),
        limit.text()
    ))
    .filter(|_| own.procedure.is_ok())
}

/// Draws the faults for people; programs get them in the failure's document.
fn refused(
    context: &Context,
    file: &str,
    bytes: &[u8],
    faults: Vec<Fault>,
    err: &mut dyn Write,
) -> Result<Failure, Failure> {
    let message = format!("{} in {file}", count(faults.len(), "error"));
    let help =
        Some("the columns are batch, panel, specimen, value [unit], and `rejected` where needed".to_string());
    if context.json() {
        return Ok(Failure { message, help, faults });
    }
    let text = std::str::from_utf8(bytes).ok();
    for fault in &faults {
        writeln!(err, "{}\n", render::fault(fault, text, context.colour_err, context.width))?;
    }
    Ok(Failure { message, help, faults: Vec::new() })
}
