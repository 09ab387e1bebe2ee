//! Design values from specimens: every step with its decision, as text, picture and JSON.

mod equivalence;
pub(crate) mod picture;
mod pooled;
mod records;
mod steps;

use super::head::CAUTION_LINE;
use super::page::{Frame, Page, count};
use super::table::{Align, Table};
use crate::calc::figure;
use crate::statistics::{Basis, Pooled, Procedure, StatisticsError};
pub use equivalence::{EquivalenceReport, equivalence_json, equivalence_text};
pub use records::{
    NoSample, equivalence_report, evidence_sample, left_out, modes, no_part, no_part_beside, sample,
};
use serde_json::{Value, json};
use std::collections::BTreeMap;
pub use steps::Step;

/// A specimen that was left out.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// Line in the file, from 1.
    pub line: usize,
    /// Batch, panel, specimen.
    pub labels: [String; 3],
    /// The value, where one was written.
    pub value: Option<f64>,
    /// Why it was rejected.
    pub reason: String,
}

/// One sample: a file, or what evidence of one showing holds.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleReport {
    /// What it is called: a file, or evidence.
    pub name: String,
    /// Where it stands: showing and subject; empty for a file.
    pub of: String,
    /// Unit of the values; empty where none is written.
    pub unit: String,
    /// Values by batch.
    pub groups: Vec<(String, Vec<f64>)>,
    /// `panel/specimen` of each value by batch; empty where that is not known.
    pub labels: Vec<Vec<String>>,
    /// Rejected specimens.
    pub rejected: Vec<LeftOut>,
    /// Modes of failure with how many specimens failed by each; empty where none are written.
    pub modes: BTreeMap<String, usize>,
    /// What else has to be known of the values, such as that they are normalised.
    pub notes: Vec<String>,
    /// Temperature (K) and moisture that it was tested in, where that is known.
    pub tested_in: Option<(f64, String)>,
    /// What the values were normalised to, where they were.
    pub normalised: Option<String>,
    /// Values by batch as they were measured; empty where they are taken so.
    pub measured: Vec<Vec<f64>>,
    /// Every step; why there is none.
    pub procedure: Result<Procedure, StatisticsError>,
}

impl SampleReport {
    /// Batches with values, as the statistics take them.
    pub fn slices(&self) -> Vec<&[f64]> {
        self.groups.iter().map(|(_, values)| values.as_slice()).collect()
    }

    /// Whether the sample is too small for a basis.
    pub fn is_estimate(&self, basis: Basis) -> bool {
        self.procedure.as_ref().map_or(true, |found| !found.lacks(basis).is_empty())
    }

    fn with_unit(&self, value: f64) -> String {
        format!("{} {}", figure(value), self.unit).trim_end().to_string()
    }
}

/// What `basis` answers.
#[derive(Debug, Clone, PartialEq)]
pub struct BasisReport {
    /// The samples; several are environments of one property.
    pub samples: Vec<SampleReport>,
    /// Their values under one spread, where there are several; why not.
    pub pooled: Option<Result<Pooled, String>>,
    /// The temperature that values are asked for at, and what they are there.
    pub between: Option<Between>,
}

/// Design values at a temperature between those tested.
#[derive(Debug, Clone, PartialEq)]
pub struct Between {
    /// The temperature, as asked.
    pub at: String,
    /// B and A value, each with why there is none.
    pub values: [Result<f64, String>; 2],
    /// Whether an end that B or A stand on is an estimate.
    pub estimates: [bool; 2],
}

/// Returns the answer as a document of schema `basis/1`: one sample's keys at the top, several under `samples`.
pub fn json(report: &BasisReport) -> Value {
    let mut document = json!({"schema": "basis/1"});
    let Some(map) = document.as_object_mut() else { return document };
    match report.samples.as_slice() {
        [one] => {
            if let Value::Object(own) = sample_json(one) {
                map.extend(own);
            }
        }
        several => {
            map.insert("samples".into(), several.iter().map(sample_json).collect());
            map.insert("pooled".into(), pooled::json(report));
        }
    }
    if let Some(own) = &report.between {
        let ([b, a], [estimate, a_estimate]) = (&own.values, own.estimates);
        let why: Vec<&String> = own.values.iter().filter_map(|own| own.as_ref().err()).collect();
        let between = json!({
            "at": own.at, "B_basis": b.as_ref().ok(), "A_basis": a.as_ref().ok(), "estimate": estimate,
            "A_estimate": a_estimate, "refused": why,
        });
        map.insert("between".into(), between);
    }
    map.insert("caution".into(), json!(CAUTION_LINE));
    document
}

fn data_json(own: &SampleReport) -> Vec<Value> {
    let one = |(at, (label, values)): (usize, &(String, Vec<f64>))| {
        let mut document = json!({"batch": label, "values": values});
        if let (Some(measured), Some(map)) = (own.measured.get(at), document.as_object_mut()) {
            map.insert("as_measured".into(), json!(measured));
        }
        document
    };
    own.groups.iter().enumerate().map(one).collect()
}

fn rejected_json(own: &SampleReport) -> Vec<Value> {
    let one = |one: &LeftOut| {
        let [batch, panel, specimen] = &one.labels;
        json!({
            "line": one.line, "batch": batch, "panel": panel, "specimen": specimen, "value": one.value,
            "reason": one.reason,
        })
    };
    own.rejected.iter().map(one).collect()
}

fn outliers_json(own: &SampleReport) -> Vec<Value> {
    let Ok(found) = &own.procedure else { return Vec::new() };
    steps::named_outliers(own, found)
        .into_iter()
        .map(|(within, label, specimen, residual)| {
            json!({
                "within": within, "batch": label, "specimen": specimen, "value": residual.value,
                "residual": residual.residual, "critical": residual.critical,
            })
        })
        .collect()
}

pub(crate) fn sample_json(own: &SampleReport) -> Value {
    let mut document = json!({
        "of": own.name,
        "showing": if own.of.is_empty() { Value::Null } else { json!(own.of) },
        "unit": own.unit,
        "n": own.groups.iter().map(|(_, values)| values.len()).sum::<usize>(),
        "batches": own.groups.len(),
        "data": data_json(own),
        "rejected": rejected_json(own),
        "modes": own.modes,
        "notes": own.notes,
    });
    let Some(map) = document.as_object_mut() else { return document };
    match &own.procedure {
        Err(problem) => {
            map.insert("refused".into(), json!(problem.to_string()));
            map.insert("steps".into(), json!([]));
        }
        Ok(found) => {
            let value = |basis| found.value(basis).as_ref().ok().map(|own| own.value);
            map.insert("mean".into(), json!(found.whole.mean));
            map.insert("sd".into(), json!(found.whole.sd));
            map.insert("cv".into(), json!(found.cv()));
            map.insert("outliers".into(), json!(outliers_json(own)));
            map.insert("poolable".into(), json!(found.is_one_population()));
            map.insert("distribution".into(), json!(steps::distribution(found)));
            map.insert("method".into(), json!(found.method.name()));
            map.insert("B_basis".into(), json!(value(Basis::B)));
            map.insert("A_basis".into(), json!(value(Basis::A)));
            map.insert("estimate".into(), json!(own.is_estimate(Basis::B)));
            map.insert("A_estimate".into(), json!(own.is_estimate(Basis::A)));
            let frame = Frame { all: true, ..Frame::default() };
            let steps = steps_json(steps::steps(own, found, &frame));
            map.insert("steps".into(), json!(steps));
        }
    }
    document
}

/// Returns the answer for people.
pub fn text(report: &BasisReport, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    for own in &report.samples {
        sample_text(&mut page, own);
    }
    if let Some(pooled) = &report.pooled {
        pooled::text(&mut page, report, pooled);
    }
    if let Some(own) = &report.between {
        between_text(&mut page, report, own);
    }
    page.gap();
    page.paragraph(CAUTION_LINE);
    page.finish()
}

fn sample_text(page: &mut Page<'_>, own: &SampleReport) {
    page.gap();
    let of = if own.of.is_empty() { String::new() } else { format!(", {}", own.of) };
    let unit = if own.unit.is_empty() { String::new() } else { format!(", {}", own.unit) };
    page.heading(&format!("Design values of {}{of}{unit}", own.name));
    write_batches(page, own);
    write_rejected(page, own);
    if !own.modes.is_empty() {
        let modes: Vec<String> = own.modes.iter().map(|(mode, n)| format!("{mode} ({n})")).collect();
        page.hang("  - ", "    ", &format!("modes of failure: {}", modes.join(", ")));
    }
    for note in &own.notes {
        page.hang("  - ", "    ", note);
    }
    let found = match &own.procedure {
        Ok(found) => found,
        Err(problem) => {
            page.gap();
            page.hang("  ? ", "    ", &format!("no design value: {problem}"));
            return;
        }
    };
    write_steps(page, &steps::steps(own, found, page.frame));
    page.gap();
    for line in picture::lines(own, found, page.frame.columns()) {
        page.line(&line);
    }
}

fn write_rejected(page: &mut Page<'_>, own: &SampleReport) {
    for one in &own.rejected {
        let [batch, panel, specimen] = &one.labels;
        let value = one.value.map_or("no value".to_string(), |value| own.with_unit(value));
        page.hang(
            "  - ",
            "    ",
            &format!("rejected, line {}: {batch}/{panel}/{specimen}, {value}: {}", one.line, one.reason),
        );
    }
}

fn write_steps(page: &mut Page<'_>, steps: &[Step]) {
    for (at, step) in steps.iter().enumerate() {
        page.gap();
        page.heading(&format!("{:>2}  {}", at + 1, step.title));
        for line in &step.shows {
            page.hang("    ", "      ", line);
        }
        page.hang("    > ", "      ", &step.decision);
    }
}

fn steps_json(steps: Vec<Step>) -> Vec<Value> {
    let numbered = steps.into_iter().enumerate();
    numbered
        .map(|(at, step)| {
            json!({"step": at + 1, "title": step.title, "shows": step.shows, "decision": step.decision})
        })
        .collect()
}

/// The batches as the procedure takes them, behind what was measured where they were normalised.
fn write_batches(page: &mut Page<'_>, own: &SampleReport) {
    if !own.measured.is_empty() {
        let labels = own.groups.iter().map(|(label, _)| label.clone());
        page.gap();
        page.paragraph("As measured:");
        batches_table(page, &labels.zip(own.measured.iter().cloned()).collect::<Vec<_>>());
        page.gap();
        page.paragraph(&format!("Normalised to {}:", own.normalised.as_deref().unwrap_or("a nominal")));
        batches_table(page, &own.groups);
        return;
    }
    page.gap();
    batches_table(page, &own.groups);
}

fn batches_table(page: &mut Page<'_>, groups: &[(String, Vec<f64>)]) {
    let mut table = Table::new([
        ("batch", Align::Left),
        ("n", Align::Right),
        ("mean", Align::Right),
        ("sd", Align::Right),
        ("cv", Align::Right),
        ("least", Align::Right),
        ("greatest", Align::Right),
    ]);
    let mut row = |label: &str, values: &[f64]| {
        let mean = crate::statistics::mean(values).ok();
        let sd = crate::statistics::sample(values).ok().map(|of| of.sd);
        let cv = sd.zip(mean).filter(|(_, mean)| *mean > 0.0).map(|(sd, mean)| sd / mean);
        let shown = |value: Option<f64>| value.map_or("-".to_string(), figure);
        table.row([
            label.to_string(),
            values.len().to_string(),
            shown(mean),
            shown(sd),
            cv.map_or("-".to_string(), |cv| format!("{:.2} %", cv * 100.0)),
            shown(values.iter().copied().reduce(f64::min)),
            shown(values.iter().copied().reduce(f64::max)),
        ]);
    };
    let shown = page.frame.shown(groups.len(), BATCHES_SHOWN);
    for (label, values) in groups.iter().take(shown) {
        row(label, values);
    }
    let all: Vec<f64> = groups.iter().flat_map(|(_, values)| values.iter().copied()).collect();
    if groups.len() != 1 {
        row("all", &all);
    }
    page.table(&table);
    if shown < groups.len() {
        page.paragraph(&format!("… and {} more; --all shows them", count(groups.len() - shown, "batch")));
    }
}

/// What is said of a value of too small a sample.
const ESTIMATE: &str = "an estimate that may not be designed with";

/// Batches that a table shows where not all are asked for.
const BATCHES_SHOWN: usize = 20;

fn between_text(page: &mut Page<'_>, report: &BasisReport, own: &Between) {
    page.gap();
    page.heading(&format!("At {}, on a straight line between the conditions tested", own.at));
    let unit = report.samples.first().map_or("", |own| own.unit.as_str());
    for ((letter, value), estimate) in ["B", "A"].into_iter().zip(&own.values).zip(own.estimates) {
        match value {
            Ok(value) => {
                let marked = if estimate { format!(", {ESTIMATE}") } else { String::new() };
                let value = format!("{} {unit}", figure(*value));
                page.hang("    > ", "      ", &format!("{letter} = {}{marked}", value.trim_end()));
            }
            Err(why) => page.hang("    ? ", "      ", &format!("no {letter} value: {why}")),
        }
    }
    page.hang("    ", "      ", "each end as it stands alone above; common practice, no source");
}
