//! Specimens of evidence: which were rejected and why, what was measured, and what normalising made of it.

use super::page::{Page, count, shown};
use super::table::{Align, Table};
use crate::ledger::{Entry, Ledger, Specimen, TestData};
use crate::qualify::duty::{Duty, Judged};
use crate::qualify::equivalence::is_tested;
use crate::qualify::normalised::{Far, Normalised};
use crate::qualify::outliers::{Outlier, standing_out};
use crate::qualify::pool::{Pool, digits, pool};
use crate::record::{Evidence, EvidenceKind, NormaliseTo, Showing};
use crate::statistics::Scatter;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// Rejected or doubtful specimens shown singly.
const SHOWN: usize = 20;

/// The row of all records together; no record is called so, since ids have no blanks.
const POOLED: &str = "all pooled";

/// The rule behind the figures, and where it comes from.
const RULE: &str = "Normalised = measured x ply thickness / nominal, or measured x nominal / fibre volume; it holds near \
nominal only and should lessen the scatter (MIL-HDBK-17-1F, section 2.4.3, from memory).";

/// What becomes of an outlier, and where the test comes from.
const OUTLIER_RULE: &str = "By the maximum normed residual (MIL-HDBK-17-1F 8.3.3, from memory). It stays in the sample until a \
cause is found: then the data name it under `rejected`.";

/// The specimens of one record as its showing takes them.
pub struct Sampled<'a> {
    entry: &'a Entry<Evidence>,
    data: &'a TestData,
    pool: Pool,
}

impl<'a> Sampled<'a> {
    /// Returns what a record's data hold; `None` where it has none.
    pub fn of(ledger: &'a Ledger, showing: &Showing, entry: &'a Entry<Evidence>) -> Option<Self> {
        let data = ledger.data.get(&entry.id)?;
        Some(Self { entry, data, pool: pool(ledger, showing, &[entry]) })
    }

    fn rejected(&self) -> impl Iterator<Item = (&'a Specimen, &'a str)> + use<'a> {
        rejected(self.data)
    }

    /// Returns counts, scatter and what is doubtful, a sentence each; nothing where all specimens count and are
    /// taken as measured.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = Vec::new();
        let rejected = self.rejected().count();
        if rejected > 0 {
            said.push(format!("{} of {} rejected", rejected, count(self.data.rows.len(), "specimen")));
        }
        said.extend(normalised_sentences(&self.pool));
        said
    }

    /// Returns what the data hold as JSON.
    pub fn json(&self) -> Value {
        json!({
            "specimens": self.pool.specimens,
            "unit": self.pool.unit,
            "rejected": rejected_json(self.data),
            "normalised": normalised_json(&self.pool),
        })
    }
}

/// Returns what was measured, what normalising made of it and what is doubtful, a sentence each; nothing where values
/// are taken as measured.
pub fn normalised_sentences(pool: &Pool) -> Vec<String> {
    let Some(own) = &pool.normalised else { return Vec::new() };
    let words =
        |scatter: Option<Scatter>| scatter.map_or("no values".to_string(), |own| in_words(&own, &pool.unit));
    let mut said = vec![
        format!("as measured: {}", words(own.scatter_measured())),
        format!("normalised to {}: {}", own.words(), words(pool.scatter())),
    ];
    said.extend(doubts(pool, own));
    said
}

/// The rejected specimens of some data, with why.
fn rejected(data: &TestData) -> impl Iterator<Item = (&Specimen, &str)> {
    data.rows.iter().filter_map(|row| Some((row, row.rejected.as_deref()?)))
}

/// Returns the rejected specimens of some data, a sentence each, with how many are not shown.
fn rejected_words(data: &TestData, most: usize) -> (Vec<String>, usize) {
    let unit = data.unit.as_ref().map_or(String::new(), |unit| format!(" {unit}"));
    let words = |(row, why): (&Specimen, &str)| {
        let value = if row.value.is_finite() {
            format!("{}{unit}", digits(row.value))
        } else {
            "no value".to_string()
        };
        format!(
            "{}:{}: specimen {} of batch {}, panel {}, {value}: {why}",
            shown(&data.file),
            row.line,
            row.specimen,
            row.batch,
            row.panel
        )
    };
    let all = rejected(data).count();
    (rejected(data).take(most).map(words).collect(), all.saturating_sub(most))
}

/// Returns how many specimens of some data were rejected and which, a sentence each; none where none was.
pub fn rejected_sentences(data: &TestData) -> Vec<String> {
    let (mut lines, more) = rejected_words(data, SHOWN);
    let n = lines.len() + more;
    if n > 0 {
        lines.insert(0, format!("Rejected: {n} of {}.", count(data.rows.len(), "specimen")));
    }
    if more > 0 {
        lines.push(format!("… and {more} more."));
    }
    lines
}

fn rejected_json(data: &TestData) -> Vec<Value> {
    rejected(data)
        .map(|(row, why)| {
            json!({
                "line": row.line,
                "batch": &*row.batch,
                "panel": &*row.panel,
                "specimen": &*row.specimen,
                "value": row.value.is_finite().then_some(row.value),
                "unit": data.unit,
                "reason": why,
            })
        })
        .collect()
}

fn in_words(own: &Scatter, unit: &str) -> String {
    let cv = own.cv.map_or("no CV of one".to_string(), |cv| format!("CV {}", percent(cv)));
    format!("mean {} of {}, {cv}", format!("{} {unit}", digits(own.mean)).trim(), own.n)
}

fn percent(share: f64) -> String {
    format!("{:.2} %", share * 100.0)
}

/// What was measured of a specimen, in the unit that people use for it.
fn measured_words(to: Option<NormaliseTo>, far: &Far) -> String {
    match to {
        Some(NormaliseTo::FibreVolume) => format!("{} %", digits(far.measured * 100.0)),
        _ => format!("{} mm", digits(far.measured * 1e3)),
    }
}

/// What is doubtful about normalised values of one record, a sentence each.
fn doubts(pool: &Pool, own: &Normalised) -> Vec<String> {
    let mut said: Vec<String> = far_words(own).into_iter().collect();
    said.extend(pool.scatter_grows().then(|| SCATTER_GROWS.to_string()));
    said
}

const SCATTER_GROWS: &str = "doubtful: normalising makes the scatter grow, so what was measured of the plies, or whether \
fibres govern, is in question";

/// Which specimens of one record lie far from nominal.
fn far_words(own: &Normalised) -> Option<String> {
    let to = own.nominal.as_ref().map(|nominal| nominal.to);
    if own.far.is_empty() {
        return None;
    }
    let one = |far: &Far| {
        let measured = measured_words(to, far);
        format!("{} on line {} ({measured}, {:+.1} %)", far.specimen, far.line, far.away * 100.0)
    };
    let mut list: Vec<String> = own.far.iter().take(SHOWN).map(one).collect();
    if own.far.len() > SHOWN {
        list.push(format!("{} more", own.far.len() - SHOWN));
    }
    let reach = format!("{} %", digits(own.reach * 100.0));
    Some(format!("doubtful, more than {reach} from nominal: {}", list.join(", ")))
}

fn normalised_json(pool: &Pool) -> Value {
    let Some(own) = &pool.normalised else { return Value::Null };
    let scatter = |own: Option<Scatter>| {
        own.map(|own| json!({ "specimens": own.n, "mean": own.mean, "cv_fraction": own.cv }))
    };
    let nominal = own.nominal.as_ref();
    json!({
        "to": nominal.map(|nominal| nominal.to.to_string()),
        "nominal": nominal.map(|nominal| &nominal.text),
        "nominal_si": nominal.map(|nominal| nominal.value),
        "nominal_from": nominal.and_then(|nominal| nominal.material.as_ref()).map(|id| format!("material/{id}")),
        "nominal_as_made": nominal.is_some_and(|nominal| nominal.as_made),
        "within_fraction": own.reach,
        "as_measured": scatter(own.scatter_measured()),
        "normalised": scatter(pool.scatter()),
        "scatter_grows": pool.scatter_grows(),
        "doubtful": own.far.iter().map(|far| json!({
            "evidence": far.evidence,
            "line": far.line,
            "specimen": far.specimen,
            "measured_si": far.measured,
            "away_fraction": far.away,
        })).collect::<Vec<_>>(),
        "lacking": own.lacking,
    })
}

/// The records that stand by themselves behind the gravest verdict of a duty: what its pool was made of.
fn pooled<'l>(ledger: &'l Ledger, duty: &Duty) -> Vec<&'l Entry<Evidence>> {
    let ids = duty.worst().map_or(&[][..], |(_, judged): (_, &std::sync::Arc<Judged>)| &judged.evidence);
    ids.iter()
        .filter_map(|id| ledger.evidence.get(id.as_str()))
        .filter(|entry| entry.value.kind.stands_alone())
        .collect()
}

/// Returns what normalising made of the values behind a duty as JSON; null where they are taken as measured.
pub fn pooled_json(ledger: &Ledger, duty: &Duty) -> Value {
    let Some(showing) = ledger.showings.get(&duty.showing) else { return Value::Null };
    normalised_json(&pool(ledger, &showing.value, &pooled(ledger, duty)))
}

/// What stands out of a pool that a verdict of the duty rests on, with the specimen's line in its data file.
fn standing_out_of(ledger: &Ledger, duty: &Duty) -> Vec<(bool, Outlier)> {
    let Some(showing) = ledger.showings.get(&duty.showing) else { return Vec::new() };
    let mut looked: BTreeSet<Vec<&str>> = BTreeSet::new();
    let mut all: Vec<(bool, Outlier)> = Vec::new();
    for judged in duty.panels.values() {
        let records = judged.evidence.iter().filter_map(|id| ledger.evidence.get(id.as_str()));
        let (own, further): (Vec<_>, Vec<_>) = records.partition(|entry| entry.value.kind.stands_alone());
        let baselines = further
            .into_iter()
            .filter(|entry| entry.value.kind == EvidenceKind::Equivalence && is_tested(&showing.value))
            .filter_map(|entry| ledger.evidence.get(entry.value.baseline.as_ref()?.id()))
            .map(|baseline| (true, vec![baseline]));
        let own = showing.value.accept.basis.map(|_| (false, own));
        for (of_baseline, records) in own.into_iter().chain(baselines) {
            if !looked.insert(records.iter().map(|entry| entry.id.as_str()).collect()) {
                continue;
            }
            let found = standing_out(ledger, &records, &pool(ledger, &showing.value, &records));
            for one in found {
                if !all.iter().any(|(_, known)| *known == one) {
                    all.push((of_baseline, one));
                }
            }
        }
    }
    all
}

/// Returns what stands out of the pools behind a duty as JSON.
pub fn outliers_json(ledger: &Ledger, duty: &Duty) -> Vec<Value> {
    standing_out_of(ledger, duty)
        .into_iter()
        .map(|(of_baseline, one)| {
            let (panel, specimen) =
                one.specimen.map_or((None, None), |[panel, own]| (Some(panel), Some(own)));
            json!({
                "evidence": one.evidence, "baseline": of_baseline, "line": one.line, "batch": one.batch,
                "panel": panel, "specimen": specimen, "within": one.within.map_or("all", |_| "batch"),
                "value": one.residual.value, "unit": one.unit,
                "residual": one.residual.residual, "critical": one.residual.critical, "level": one.level,
            })
        })
        .collect()
}

fn write_outliers(page: &mut Page<'_>, ledger: &Ledger, duty: &Duty) {
    let found = standing_out_of(ledger, duty);
    if found.is_empty() {
        return;
    }
    // What stands out of its batch and of all is one specimen.
    let mut specimens: Vec<(bool, &Outlier, Vec<String>)> = Vec::new();
    for (of_baseline, one) in &found {
        let within = one.within.as_ref().map_or("all", |_| "its batch");
        let words = format!(
            "{} standard deviations from the mean of {within} (critical {}, n = {})",
            digits(one.residual.residual),
            digits(one.residual.critical),
            one.residual.n
        );
        let same = |(_, known, _): &&mut (bool, &Outlier, Vec<String>)| {
            (&known.evidence, &known.batch, &known.specimen, known.line)
                == (&one.evidence, &one.batch, &one.specimen, one.line)
        };
        match specimens.iter_mut().find(same) {
            Some((_, _, said)) => said.push(words),
            None => specimens.push((*of_baseline, one, vec![words])),
        }
    }
    page.heading(&format!("Stands out: {}", count(specimens.len(), "value")));
    let shown = page.frame.shown(specimens.len(), SHOWN);
    for (of_baseline, one, said) in specimens.iter().take(shown) {
        let at = match (&one.specimen, one.line, ledger.data.get(&one.evidence)) {
            (Some([panel, specimen]), Some(line), Some(data)) => format!(
                "{}:{line}: specimen {} of batch {}, panel {}",
                super::page::shown(&data.file),
                super::page::shown(specimen),
                super::page::shown(&one.batch),
                super::page::shown(panel)
            ),
            _ => format!("evidence/{}", one.evidence),
        };
        let value = format!("{} {}", digits(one.residual.value), one.unit);
        let of = if *of_baseline { ", of the baseline" } else { "" };
        page.hang("  ", "    ", &format!("{at}{of}: {}: {}", value.trim(), said.join("; ")));
    }
    if shown < specimens.len() {
        page.paragraph(&format!("… and {} more; the JSON has them all.", specimens.len() - shown));
    }
    page.paragraph(OUTLIER_RULE);
}

/// Writes what was measured and normalised, record by record and together, and the rejected specimens.
pub(crate) fn write(page: &mut Page<'_>, ledger: &Ledger, duty: &Duty, records: &[&Entry<Evidence>]) {
    let Some(showing) = ledger.showings.get(&duty.showing) else { return };
    let sampled: Vec<Sampled<'_>> =
        records.iter().filter_map(|entry| Sampled::of(ledger, &showing.value, entry)).collect();
    if showing.value.normalise.is_some() && !sampled.is_empty() {
        write_normalised(page, ledger, &showing.value, duty, &sampled);
    }
    write_outliers(page, ledger, duty);
    let most = page.frame.shown(usize::MAX, SHOWN);
    let (mut lines, mut total, mut specimens) = (Vec::new(), 0, 0);
    for own in &sampled {
        let (words, _) = rejected_words(own.data, most.saturating_sub(lines.len()));
        lines.extend(words);
        total += own.rejected().count();
        specimens += own.data.rows.len();
    }
    if total > 0 {
        page.heading(&format!("Rejected: {total} of {}", count(specimens, "specimen")));
        for line in &lines {
            page.hang("  ", "    ", line);
        }
        if total > lines.len() {
            page.paragraph(&format!("… and {} more; the JSON has them all.", total - lines.len()));
        }
    }
}

fn write_normalised(
    page: &mut Page<'_>,
    ledger: &Ledger,
    showing: &Showing,
    duty: &Duty,
    sampled: &[Sampled<'_>],
) {
    let pooled = pooled(ledger, duty);
    let all = (pooled.len() > 1).then(|| pool(ledger, showing, &pooled));
    let pools: Vec<(String, &Pool)> = sampled
        .iter()
        .map(|own| (own.entry.id.clone(), &own.pool))
        .chain(all.as_ref().map(|all| (POOLED.to_string(), all)))
        .collect();
    let mut nominals: Vec<String> =
        pools.iter().filter_map(|(_, pool)| Some(pool.normalised.as_ref()?.words())).collect();
    nominals.dedup();
    page.heading(&format!("Normalised to {}", nominals.join(", ")));
    let unit = pools.first().map_or("", |(_, pool)| &pool.unit);
    let mut rows = Table::new([
        ("values in", Align::Left),
        ("n", Align::Right),
        ("as measured", Align::Right),
        ("CV", Align::Right),
        ("normalised", Align::Right),
        ("CV", Align::Right),
    ]);
    for (name, pool) in &pools {
        let measured = pool.normalised.as_ref().and_then(Normalised::scatter_measured);
        let mean = |own: Option<Scatter>| own.map_or("-".to_string(), |own| digits(own.mean));
        let cv = |own: Option<Scatter>| own.and_then(|own| own.cv).map_or("-".to_string(), percent);
        rows.row([
            if unit.is_empty() { name.clone() } else { format!("{name}, {unit}") },
            pool.values.len().to_string(),
            mean(measured),
            cv(measured),
            mean(pool.scatter()),
            cv(pool.scatter()),
        ]);
    }
    page.table(&rows);
    for (name, pool) in &pools {
        // What lies far is said of each record; the pool is the same specimens again.
        let far = if name == POOLED { None } else { pool.normalised.as_ref().and_then(far_words) };
        let grows = pool.scatter_grows().then(|| SCATTER_GROWS.to_string());
        for doubt in far.into_iter().chain(grows) {
            page.hang("  ", "    ", &format!("{name}: {doubt}"));
        }
    }
    page.paragraph(RULE);
}
