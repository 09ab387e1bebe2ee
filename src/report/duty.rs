//! Everything behind one duty: verdicts by panel, reasons, criterion, evidence, the chain.

use super::head::CAUTION_LINE;
use super::page::{Frame, Page, merged};
use super::reason::{reason_words, reasons_json, write_reasons};
use super::specimens::{self, Sampled};
use super::trials::{trials_json, write_readings};
use crate::article::{ArticleError, Subject};
use crate::ledger::{Entry, Ledger};
use crate::qualify::behind::behind;
use crate::qualify::trial::TrialState;
use crate::qualify::verdict::{Behind, Duty, Judged, superseded};
use crate::record::sensitivity::Asks;
use crate::record::{Accept, Address, Evidence, Phrase, ReadingLimit, RecordKind};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Differences shown that a rule allows.
const ALLOWED_SHOWN: usize = 8;

/// One link of the chain from a clause down to the files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// What it is in the chain: clause, showing, subject, record, panel, evidence, baseline, after, rests
    /// on.
    pub role: &'static str,
    /// The clause, the address or the subject.
    pub name: String,
    /// Where it is written, relative to the ledger's root.
    pub file: Option<String>,
}

/// Returns the chain of a duty: clauses, the showing, the subject, the records that it is made of, the
/// panels that use it, the evidence, what that extends, what has to be finished first and what it rests on.
///
/// # Errors
/// [`ArticleError::Missing`] where a recipe names a material that can't be had.
pub fn chain(ledger: &Ledger, duty: &Duty) -> Result<Vec<Link>, ArticleError> {
    let mut all = Vec::new();
    let mut record = |role: &'static str, address: Address| {
        all.push(Link { role, file: file_of(ledger, &address), name: address.to_string() });
    };
    let showing = ledger.showings.get(&duty.showing);
    record("showing", Address::new(RecordKind::Showing, &duty.showing));
    for address in behind(ledger, &duty.subject)? {
        let own = matches!(&duty.subject, Subject::Panel(panel) if address.kind() == RecordKind::Panel
            && address.id() == panel);
        // Panels come below; all records of a programme are the ledger itself.
        if !own && duty.subject != Subject::Programme {
            record("record", address);
        }
    }
    for panel in duty.panels.keys().filter(|panel| !panel.is_empty()) {
        record("panel", Address::new(RecordKind::Panel, panel));
    }
    for evidence in evidence_of(duty) {
        record("evidence", Address::new(RecordKind::Evidence, evidence));
    }
    for baseline in baselines_of(ledger, duty).keys() {
        record("baseline", Address::new(RecordKind::Evidence, *baseline));
    }
    if let Some(showing) = showing {
        for after in &showing.value.after {
            record("after", after.address());
        }
        for rests in &showing.value.rests_on {
            record("rests on", rests.address());
        }
        let clauses = showing.value.clause.iter().map(|clause| Link {
            role: "clause",
            name: clause.to_string(),
            file: Some(showing.file.clone()),
        });
        all.splice(0..0, clauses);
    }
    let subject = Link { role: "subject", name: duty.subject.to_string(), file: None };
    let place = all.iter().position(|link| link.role == "showing").map_or(all.len(), |at| at + 1);
    all.insert(place, subject);
    Ok(all)
}

/// Evidence that counts, came nearest, is under way for any panel, or does not count for a reason.
fn evidence_of(duty: &Duty) -> BTreeSet<&str> {
    fn of(judged: &Judged) -> impl Iterator<Item = &Phrase> {
        judged.because.iter().filter_map(|reason| reason.evidence.as_ref())
    }
    let all = duty.panels.values();
    all.flat_map(|judged| judged.evidence.iter().chain(&judged.under_way).chain(of(judged)))
        .map(Phrase::as_str)
        .collect()
}

/// What evidence of a duty extends and is not named itself, with the records that extend it.
fn baselines_of<'l>(ledger: &'l Ledger, duty: &Duty) -> BTreeMap<&'l str, Vec<String>> {
    let own = evidence_of(duty);
    let mut all: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for id in &own {
        let baseline = ledger.evidence.get(*id).and_then(|entry| entry.value.baseline.as_ref());
        if let Some(baseline) = baseline.filter(|one| !own.iter().any(|id| *id == one.id())) {
            all.entry(baseline.id()).or_default().push(format!("evidence/{id}"));
        }
    }
    all
}

/// Finished evidence of the showing for this subject that no verdict counts, and why: what was set aside by a
/// disposition, and what a later record stands in for.
pub fn set_aside(ledger: &Ledger, duty: &Duty) -> Vec<(String, String)> {
    let of = |entry: &&Entry<Evidence>| {
        entry.value.showing.id() == duty.showing
            && Subject::from_label(&entry.value.subject).as_ref() == Some(&duty.subject)
    };
    let of_it = ledger.evidence.values().filter(of);
    of_it.filter_map(|entry| Some((entry.id.clone(), why_not_counted(ledger, entry)?))).collect()
}

/// Why no verdict counts a record, where it was set aside or a later one stands in its place.
pub fn why_not_counted(ledger: &Ledger, entry: &Entry<Evidence>) -> Option<String> {
    if let Some(own) = &entry.value.disposition {
        let cause = own.cause.trim().trim_end_matches('.');
        return Some(format!("set aside by {} on {}: {cause}", own.by, own.on));
    }
    let later = superseded(ledger).get(entry.id.as_str()).copied()?;
    Some(format!("superseded by evidence/{later}"))
}

fn file_of(ledger: &Ledger, address: &Address) -> Option<String> {
    let id = address.id();
    let file = match address.kind() {
        RecordKind::Ledger => return Some("ledger.yaml".to_string()),
        RecordKind::Material => ledger.materials.get(id).map(|entry| &entry.file),
        RecordKind::Process => ledger.processes.get(id).map(|entry| &entry.file),
        RecordKind::Tool => ledger.tools.get(id).map(|entry| &entry.file),
        RecordKind::Finish => ledger.finishes.get(id).map(|entry| &entry.file),
        RecordKind::Recipe => ledger.recipes.get(id).map(|entry| &entry.file),
        RecordKind::Panel => ledger.panels.get(id).map(|entry| &entry.file),
        RecordKind::Assembly => ledger.assemblies.get(id).map(|entry| &entry.file),
        RecordKind::Showing => ledger.showings.get(id).map(|entry| &entry.file),
        RecordKind::Evidence => ledger.evidence.get(id).map(|entry| &entry.file),
        RecordKind::Decision => ledger.decisions.get(id).map(|entry| &entry.file),
        RecordKind::Concession => ledger.concessions.get(id).map(|entry| &entry.file),
        RecordKind::Weighing => ledger.weighings.get(id).map(|entry| &entry.file),
        RecordKind::Study => ledger.studies.get(id).map(|entry| &entry.file),
    };
    file.cloned()
}

/// Returns the criterion of a showing in words.
pub fn criterion_words(accept: &Accept) -> String {
    let mut parts = Vec::new();
    let mut say = |words: &str, value: Option<&str>| {
        if let Some(value) = value {
            parts.push(format!("{words} {value}"));
        }
    };
    let basis = accept.basis.map(|basis| format!("{basis}-basis"));
    let value = basis.as_deref().unwrap_or("value");
    say(&format!("{value} at least"), accept.at_least.as_ref().map(|figure| figure.text()));
    say(&format!("{value} at most"), accept.at_most.as_ref().map(|figure| figure.text()));
    say("mean at least", accept.mean_at_least.as_ref().map(|figure| figure.text()));
    say("mean at most", accept.mean_at_most.as_ref().map(|figure| figure.text()));
    say("every value at least", accept.all_at_least.as_ref().map(|figure| figure.text()));
    say("every value at most", accept.all_at_most.as_ref().map(|figure| figure.text()));
    say("rating at least", accept.rating_at_least.as_ref().map(|figure| figure.text()));
    say("margin at least", accept.margin_at_least.as_ref().map(|figure| figure.text()));
    say("above the skin on the ramp by", accept.above_skin_by.as_ref().map(|figure| figure.text()));
    if !accept.readings.is_empty() {
        let limits: Vec<String> = accept.readings.iter().map(ReadingLimit::words).collect();
        parts.push(format!("at every reading {}", limits.join(", ")));
    }
    if accept.statement == Some(true) {
        parts.push("stated to be so".to_string());
    }
    if parts.is_empty() { "no criterion".to_string() } else { parts.join(", ") }
}

/// Returns one duty as a document of schema `why/1`, with the exposure trials that speak for it.
///
/// # Errors
/// [`ArticleError::Missing`] where a recipe names a material that can't be had.
pub fn json(ledger: &Ledger, duty: &Duty, trials: &[TrialState]) -> Result<Value, ArticleError> {
    let showing = ledger.showings.get(&duty.showing);
    let panels: Vec<Value> = duty.panels.iter().map(|(panel, judged)| panel_json(panel, judged)).collect();
    let evidence: Vec<Value> = evidence_of(duty)
        .into_iter()
        .map(|id| {
            let entry = ledger.evidence.get(id);
            let of = |read: &dyn Fn(&Evidence) -> Option<String>| entry.and_then(|entry| read(&entry.value));
            json!({
                "evidence": id,
                "kind": of(&|own| Some(own.kind.to_string())),
                "state": of(&|own| Some(own.state.to_string())),
                "recorded_for": of(&|own| Subject::from_label(&own.subject).map(|own| own.to_string())),
                "carried_over": duty.panels.values().any(|judged| judged.is_carried_over(id)),
                "made": of(&|own| own.made.map(|day| day.to_string())),
                "baseline": of(&|own| own.baseline.as_ref().map(|one| one.id().to_string())),
                "altered": entry.is_some_and(|entry| ledger.is_altered(entry)),
                "report": of(&|own| own.report.as_ref().map(ToString::to_string)),
                "file": entry.map(|entry| &entry.file),
                "data": of(&|own| own.data.clone()),
                "digest": of(&|own| own.digest.clone()),
                "sample": entry
                    .zip(showing)
                    .and_then(|(entry, showing)| Sampled::of(ledger, &showing.value, entry))
                    .map(|own| own.json()),
            })
        })
        .collect();
    let chain: Vec<Value> = chain(ledger, duty)?
        .into_iter()
        .map(|link| json!({ "role": link.role, "name": link.name, "file": link.file }))
        .collect();
    let mut document = json!({
        "schema": "why/1",
        "showing": duty.showing,
        "subject": duty.subject.to_string(),
        "verdict": duty.verdict().word(),
        "asks": duty.asks().to_string(),
        "needed_by": duty.needed_by,
        "criterion": showing.map(|showing| criterion_words(&showing.value.accept)),
        "method": showing.and_then(|showing| showing.value.method.as_ref()).map(ToString::to_string),
        "because": reasons_json(&duty.because()),
        "own": reasons_json(&duty.own()),
        "panels": panels,
        "evidence": evidence,
        "normalised": specimens::pooled_json(ledger, duty),
        "outliers": specimens::outliers_json(ledger, duty),
        "set_aside": set_aside(ledger, duty)
            .into_iter()
            .map(|(evidence, why)| json!({ "evidence": evidence, "why": why }))
            .collect::<Vec<_>>(),
        "chain": chain,
        "caution": CAUTION_LINE,
    });
    if let Some(map) = document.as_object_mut().filter(|_| !trials.is_empty()) {
        map.insert("trials".to_string(), trials_json(trials).into());
    }
    Ok(document)
}

fn panel_json(panel: &str, judged: &Judged) -> Value {
    json!({
        // A duty of the whole programme belongs to no panel.
        "panel": (!panel.is_empty()).then_some(panel),
        "verdict": judged.verdict.word(),
        "asks": judged.asks.to_string(),
        "criterion": judged.criterion,
        "because": reasons_json(&judged.because),
        "nearest": reasons_json(&judged.nearest),
        "own": reasons_json(&judged.own),
        "allowed": reasons_json(&judged.allowed),
        "evidence": judged.evidence,
        "carried_over": judged.carried_over,
        "under_way": judged.under_way,
        "behind": judged.behind.iter().map(behind_json).collect::<Vec<_>>(),
        "lacking_specimens": judged.lacks.specimens,
        "lacks": judged.lacks.lacks,
        "assumptions": judged.assumptions.iter().map(|one| &**one).collect::<Vec<_>>(),
    })
}

/// Returns one duty as text, with the exposure trials that speak for it.
///
/// # Errors
/// [`ArticleError::Missing`] where a recipe names a material that can't be had.
pub fn text(
    ledger: &Ledger,
    duty: &Duty,
    trials: &[TrialState],
    frame: &Frame,
) -> Result<String, ArticleError> {
    let mut page = Page::new(frame);
    let showing = ledger.showings.get(&duty.showing);
    page.verdict(duty.verdict(), &format!("{} {}", duty.showing, duty.subject));
    if let Some(title) = showing.and_then(|showing| showing.value.title.as_ref()) {
        page.paragraph(title);
    }
    if let Some(showing) = showing {
        let mut words = format!("Asked: {}", criterion_words(&showing.value.accept));
        if let Some(method) = &showing.value.method {
            words.push_str(&format!(", by {method}"));
        }
        if let Some(milestone) = &duty.needed_by {
            words.push_str(&format!("; needed by {milestone}"));
        }
        page.paragraph(&format!("{words}."));
    }
    page.heading("By panel");
    write_panels(&mut page, duty);
    write_evidence(&mut page, ledger, duty);
    let records: Vec<&Entry<Evidence>> =
        evidence_of(duty).into_iter().filter_map(|id| ledger.evidence.get(id)).collect();
    specimens::write(&mut page, ledger, duty, &records);
    write_readings(&mut page, trials);
    let aside = set_aside(ledger, duty);
    if !aside.is_empty() {
        page.heading("Not counted");
        for (id, why) in aside {
            let words = ledger.evidence.get(&id).map_or_else(String::new, |own| evidence_words(ledger, own));
            page.hang("  ", "    ", &format!("evidence/{id}: {why}; {words}"));
        }
    }
    page.heading("The chain");
    for link in chain(ledger, duty)? {
        let file = link.file.map_or_else(String::new, |file| format!(" ({})", super::page::shown(&file)));
        page.hang(&format!("  {:<9} ", link.role), "            ", &format!("{}{file}", link.name));
    }
    Ok(page.finish_with_caution())
}

fn behind_json(one: &Behind) -> Value {
    json!({ "evidence": one.evidence, "asks": one.asks.to_string(), "because": reasons_json(&one.because) })
}

/// Panels that were judged alike are said together.
fn write_panels(page: &mut Page<'_>, duty: &Duty) {
    let mut groups: Vec<(Vec<String>, &Arc<Judged>)> = Vec::new();
    for (panel, judged) in &*duty.panels {
        let name = if panel.is_empty() { "the programme".to_string() } else { panel.clone() };
        match groups.iter_mut().find(|(_, known)| *known == judged) {
            Some((names, _)) => names.push(name),
            None => groups.push((vec![name], judged)),
        }
    }
    for (names, judged) in groups {
        let asks = if judged.asks > Asks::None { format!(", asks {}", judged.asks) } else { String::new() };
        page.verdict(judged.verdict, &format!("{}{asks}", names.join(", ")));
        if let Some(criterion) = &judged.criterion {
            page.hang("    ", "    ", &format!("criterion: {criterion}"));
        }
        write_reasons(page, &judged.because);
        if !judged.own.is_empty() {
            page.hang("    ", "    ", "against its own evidence:");
            write_reasons(page, &judged.own);
        }
        if !judged.nearest.is_empty() {
            page.hang("    ", "    ", "what the nearest evidence differs in:");
            write_reasons(page, &judged.nearest);
        }
        for one in &judged.behind {
            let words =
                format!("under way, of another article: evidence/{} will ask {}:", one.evidence, one.asks);
            page.hang("    ", "    ", &words);
            write_reasons(page, &one.because);
        }
        if !judged.allowed.is_empty() {
            page.hang("    ", "    ", "differs, and a rule allows it:");
            let shown = page.frame.shown(judged.allowed.len(), ALLOWED_SHOWN);
            for reason in judged.allowed.iter().take(shown) {
                page.hang("    - ", "      ", &reason_words(reason));
            }
            if shown < judged.allowed.len() {
                page.hang("    - ", "      ", &format!("… {} more", judged.allowed.len() - shown));
            }
        }
        for assumption in merged(&judged.assumptions) {
            page.hang("    assumed: ", "      ", &assumption);
        }
    }
}

fn write_evidence(page: &mut Page<'_>, ledger: &Ledger, duty: &Duty) {
    let all = evidence_of(duty);
    page.heading("Evidence");
    if all.is_empty() {
        page.paragraph("Nothing recorded.");
    }
    for id in all {
        let mut words = format!("evidence/{id}");
        if let Some(entry) = ledger.evidence.get(id) {
            words.push_str(&format!(": {}", evidence_words(ledger, entry)));
        }
        let carried: Vec<&str> = duty
            .panels
            .iter()
            .filter(|(_, judged)| judged.is_carried_over(id))
            .map(|(panel, _)| if panel.is_empty() { "the programme" } else { panel.as_str() })
            .collect();
        if !carried.is_empty() {
            words.push_str(&format!("; carried over for {}", carried.join(", ")));
        }
        page.hang("  ", "    ", &words);
    }
    for (id, extended_by) in baselines_of(ledger, duty) {
        let mut words = format!("evidence/{id}, which {} extends", extended_by.join(" and "));
        if let Some(entry) = ledger.evidence.get(id) {
            words.push_str(&format!(": {}", evidence_words(ledger, entry)));
        }
        page.hang("  ", "    ", &words);
    }
}

fn evidence_words(ledger: &Ledger, entry: &Entry<Evidence>) -> String {
    let own = &entry.value;
    let mut parts = vec![format!("{}, {}", own.kind, own.state)];
    parts.extend(Subject::from_label(&own.subject).map(|subject| format!("recorded for {subject}")));
    parts.extend(own.made.map(|day| format!("made {day}")));
    parts.extend(own.baseline.as_ref().map(|baseline| format!("baseline evidence/{}", baseline.id())));
    let reason = own.reason.as_deref().map(|reason| reason.trim().trim_end_matches('.'));
    parts.extend(reason.map(|reason| format!("repeated: {reason}")));
    parts.extend(own.report.as_ref().map(|report| format!("report {report}")));
    let altered = if ledger.is_altered(entry) { ", no longer the bytes that were conformed" } else { "" };
    parts.extend(own.data.as_ref().map(|data| format!("data {data}{altered}")));
    parts.push(super::page::shown(&entry.file));
    parts.join("; ")
}

#[cfg(test)]
mod tests;
