//! Samples from records, as their showing takes them.

use super::{EquivalenceReport, LeftOut, SampleReport};
use crate::article::Subject;
use crate::calc::figure;
use crate::ledger::{Entry, Ledger, Nominal, Specimen};
use crate::qualify::equivalence::{Equivalence, apart, has_values, is_tested};
use crate::qualify::normalised::Normalised;
use crate::qualify::pool::{
    Pool, completeness, equivalence_completeness, equivalence_plan, is_alpha_of_ledger, pool,
};
use crate::qualify::trial::is_asked;
use crate::record::{Accept, Evidence, EvidenceState, NormaliseTo, Showing};
use crate::report::page::shown;
use crate::report::specimens::normalised_sentences;
use crate::statistics::{Levels, procedure};
use std::collections::{BTreeMap, BTreeSet};

/// Why records give no sample.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct NoSample {
    /// What is wrong.
    pub message: String,
    /// The mend.
    pub help: String,
}

impl NoSample {
    fn new(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { message: message.into(), help: help.into() }
    }
}

/// Modes of failure of the specimens that count, with how many failed by each.
pub fn modes(rows: &[&Specimen]) -> BTreeMap<String, usize> {
    let mut all = BTreeMap::new();
    for row in rows.iter().filter(|row| row.rejected.is_none()) {
        if let Some(mode) = row.mode() {
            *all.entry(mode.to_string()).or_default() += 1;
        }
    }
    all
}

/// Returns the rejected ones of some specimens.
pub fn left_out(rows: &[&Specimen]) -> Vec<LeftOut> {
    let rejected = rows.iter().filter_map(|row| Some((row, row.rejected.as_ref()?)));
    rejected
        .map(|(row, reason)| LeftOut {
            line: row.line,
            labels: [&*row.batch, &*row.panel, &*row.specimen].map(shown),
            value: row.value.is_finite().then_some(row.value),
            reason: shown(reason),
        })
        .collect()
}

/// Returns a sample of values by batch, with every step of its design values.
pub fn sample(
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
        labels: Vec::new(),
        rejected,
        modes: BTreeMap::new(),
        notes: Vec::new(),
        tested_in: None,
        normalised: None,
        measured: Vec::new(),
        procedure,
    }
}

/// Why a record is no part of a sample that design values come from.
pub fn no_part(ledger: &Ledger, entry: &Entry<Evidence>) -> Option<String> {
    let newer = ledger
        .evidence
        .values()
        .find(|other| other.value.supersedes.as_ref().is_some_and(|old| old.id() == entry.id));
    no_part_beside(entry, newer.map(|newer| newer.id.as_str()))
}

/// As [`no_part`], where the record that supersedes this one is known.
pub fn no_part_beside(entry: &Entry<Evidence>, newer: Option<&str>) -> Option<String> {
    let own = &entry.value;
    if !own.kind.stands_alone() {
        return Some(format!("an {} extends a baseline, and design values stay the baseline's", own.kind));
    }
    if own.state != EvidenceState::Done {
        return Some(format!("it is {}", own.state));
    }
    if own.disposition.is_some() {
        return Some("its `disposition` takes it out of the pool".to_string());
    }
    newer.map(|newer| format!("evidence/{newer} supersedes it"))
}

/// Returns the sample that some records of one showing are together, as the showing takes it.
///
/// # Errors
/// [`NoSample`] where they hold no values, or none that can be brought to one unit or nominal.
pub fn evidence_sample(
    ledger: &Ledger,
    showing: &Entry<Showing>,
    records: &[&Entry<Evidence>],
    levels: &Levels,
) -> Result<SampleReport, NoSample> {
    let values = pool(ledger, &showing.value, records);
    let names: Vec<String> = records.iter().map(|entry| format!("evidence/{}", entry.id)).collect();
    let names = names.join(", ");
    if let Some(foreign) = values.foreign.first() {
        return Err(NoSample::new(
            format!("the values of evidence/{foreign} can't be brought to {}", values.unit),
            "`bondline check` names the column and the unit that was expected",
        ));
    }
    if values.values.is_empty() {
        let why =
            if values.rejected > 0 { "all specimens are rejected" } else { "there are no specimen values" };
        return Err(NoSample::new(
            format!("{names} gives no design value: {why}"),
            "name evidence with `data:`, a CSV file of specimens",
        ));
    }
    let subject = records.first().and_then(|entry| Subject::from_label(&entry.value.subject));
    let on = subject.map_or(String::new(), |subject| format!(" on {subject}"));
    let of = format!("showing/{}{on}", showing.id);
    if let Some(lacking) = values.normalised.as_ref().and_then(|own| own.lacking.first()) {
        return Err(NoSample::new(
            format!("the values of evidence/{lacking} can't be normalised as its showing asks"),
            "`bondline check` names the column that is missing",
        ));
    }
    let nominal = values.normalised.as_ref().map(Normalised::words);
    let normalised = normalised_sentences(&values);
    let rows: Vec<&Specimen> = records
        .iter()
        .filter_map(|entry| ledger.data.get(&entry.id))
        .flat_map(|data| data.rows.iter())
        .collect();
    let labels = values.labels(ledger, records);
    let measured = values.measured_by_batch().unwrap_or_default();
    let reckoned = reckoned(ledger, &showing.value, records, &values);
    let groups = values.by_batch.into_iter().collect();
    let mut own = sample(names, of, values.unit, groups, left_out(&rows), levels);
    own.labels = labels.into_iter().map(|own| own.iter().map(|label| shown(label)).collect()).collect();
    own.modes = modes(&rows);
    own.normalised = nominal;
    own.measured = measured;
    own.notes.extend(normalised);
    own.notes.extend(reckoned);
    let unconformed = records.iter().filter(|entry| entry.value.conformed.is_none());
    let unconformed: Vec<String> = unconformed.map(|entry| format!("evidence/{}", entry.id)).collect();
    if !unconformed.is_empty() {
        own.notes
            .push(format!("not conformed, so that it counts for no duty yet: {}", unconformed.join(", ")));
    }
    if records.iter().all(|entry| entry.value.kind.stands_alone()) {
        own.notes.extend(asked(&showing.value.accept, &own));
    }
    own.tested_in = showing.value.environment.as_ref().and_then(|environment| {
        let moisture = environment.moisture.as_ref().map_or("unstated", |own| own.as_str());
        Some((environment.temperature.as_ref()?.si(), moisture.to_string()))
    });
    Ok(own)
}

/// The first normalised value in numbers, as an example of all.
fn reckoned(
    ledger: &Ledger,
    showing: &Showing,
    records: &[&Entry<Evidence>],
    values: &Pool,
) -> Option<String> {
    let (batch, normalised) = values.by_batch.iter().find_map(|(batch, own)| Some((batch, own.first()?)))?;
    let written = values.origins.get(batch)?.first()?;
    let measured = *values.measured_by_batch()?.first()?.first()?;
    let record = records.get(written.record)?;
    let row = ledger.data.get(&record.id)?.rows.get(written.row?)?;
    let nominal = Nominal::of(ledger, showing, &record.value)?.ok()?;
    let thing = nominal.measured(row)?;
    let (rule, numbers) = match nominal.to {
        NormaliseTo::CuredThickness => (
            "measured x ply thickness / nominal",
            format!("{} mm / {} mm", figure(thing * 1e3), figure(nominal.value * 1e3)),
        ),
        NormaliseTo::FibreVolume => (
            "measured x nominal / fibre volume",
            format!("{} % / {} %", figure(nominal.value * 100.0), figure(thing * 100.0)),
        ),
    };
    Some(format!(
        "normalised = {rule} (MIL-HDBK-17-1F 2.4.3, from memory): of {}/{} in {} {} x {numbers} = {}",
        shown(&row.panel),
        shown(&row.specimen),
        shown(batch),
        figure(measured),
        figure(*normalised)
    ))
}

/// What the showing asks of its basis, beside what the sample gives.
fn asked(accept: &Accept, own: &SampleReport) -> Option<String> {
    let (basis, limit) = (accept.basis?, accept.at_least.as_ref()?);
    Some(format!(
        "asked: {}-basis of at least {}; a single load path raises B to A",
        basis.word(),
        limit.text()
    ))
    .filter(|_| own.procedure.is_ok())
}

/// The record that an equivalence is held against.
fn baseline<'l>(ledger: &'l Ledger, entry: &Entry<Evidence>) -> Result<&'l Entry<Evidence>, NoSample> {
    let named = entry.value.baseline.as_ref().and_then(|own| ledger.evidence.get(own.id()));
    let found = named.ok_or_else(|| {
        NoSample::new(
            format!("evidence/{} is held against nothing: its baseline can't be read", entry.id),
            "write `baseline:` with the finished test that it is to be equivalent to; `bondline check` says what is \
             wrong",
        )
    })?;
    match no_part(ledger, found) {
        None => Ok(found),
        Some(why) => Err(NoSample::new(
            format!("evidence/{} has no baseline: evidence/{}: {why}", entry.id, found.id),
            "name a finished test as its `baseline`",
        )),
    }
}

/// Holds an equivalence against its baseline, as the verdict does.
///
/// # Errors
/// [`NoSample`] where there is nothing to compare yet, or nothing that can be compared.
pub fn equivalence_report(
    ledger: &Ledger,
    showing: &Entry<Showing>,
    entry: &Entry<Evidence>,
    levels: &Levels,
) -> Result<EquivalenceReport, NoSample> {
    if entry.value.state != EvidenceState::Done {
        return Err(NoSample::new(
            format!("evidence/{} is {}: there is nothing to compare yet", entry.id, entry.value.state),
            "`bondline calc equivalence` gives the limits and the power of a planned sample",
        ));
    }
    if is_asked(&showing.value) || !is_tested(&showing.value) {
        return Err(NoSample::new(
            format!(
                "showing/{} asks for no values with a spread: its equivalences are held against the criterion itself",
                showing.id
            ),
            "`bondline why SHOWING SUBJECT` says what came of it",
        ));
    }
    let old = baseline(ledger, entry)?;
    let mut new = evidence_sample(ledger, showing, &[entry], levels)?;
    let of_old = evidence_sample(ledger, showing, &[old], levels)?;
    let [own, base] = [entry, old].map(|record| pool(ledger, &showing.value, &[record]));
    if let Some(why) = apart(&own, &base) {
        return Err(NoSample::new(
            format!("evidence/{} can't be held against evidence/{}: {why}", entry.id, old.id),
            "write one `nominal` in the showing's `normalise`",
        ));
    }
    if !has_values(&own, &base, &showing.value) {
        let few = if own.values.len() < 2 { &entry.id } else { &old.id };
        return Err(NoSample::new(
            format!("evidence/{few} has fewer than two values: nothing can be tested"),
            "write the specimens into its data file",
        ));
    }
    let found = Equivalence::of(&own, &base, &showing.value).map_err(|problem| {
        NoSample::new(
            format!("evidence/{} can't be held against evidence/{}: {problem}", entry.id, old.id),
            "`bondline check` looks at the data",
        )
    })?;
    if entry.value.disposition.is_some() {
        new.notes.push("its `disposition` takes it out of the pool".to_string());
    }
    new.notes.extend(entry.value.reason.as_deref().map(|why| format!("repeated: {}", why.trim())));
    if levels.modified_cv {
        let words =
            "the modified coefficient of variation is for design values: no limit here is made with it";
        new.notes.push(words.to_string());
    }
    let subject = Subject::from_label(&entry.value.subject).map_or_else(String::new, |own| own.to_string());
    let panels = own.batches.values().map(BTreeSet::len).sum();
    Ok(EquivalenceReport {
        power: found.power().map_err(|problem| problem.to_string()),
        panels,
        plan: equivalence_plan(&showing.value),
        lacks: equivalence_completeness(&own, &showing.value).lacks.into(),
        baseline_lacks: completeness(&base, &showing.value).lacks.into(),
        level_from: if showing.value.statistics.as_ref().is_some_and(|own| own.equivalence.is_some()) {
            format!("as showing/{} asks", showing.id)
        } else if is_alpha_of_ledger(ledger) {
            "as the ledger asks".to_string()
        } else {
            "the usual level (MIL-HDBK-17-1F, from memory)".to_string()
        },
        counts_by: format!("bondline why {} {}", showing.id, shown(&subject)),
        new,
        baseline: of_old,
        found,
    })
}
