//! An equivalence: its new sample against its baseline, as the verdict compares them.

use super::evidence::{evidence_sample, no_part};
use super::typed;
use crate::article::Subject;
use crate::cli::args::BasisArgs;
use crate::cli::context::{Context, Failure, Loaded, Status};
use crate::ledger::{Entry, Ledger};
use crate::qualify::equivalence::{Equivalence, apart, has_values, is_tested};
use crate::qualify::pool::{
    completeness, equivalence_completeness, equivalence_plan, is_alpha_of_ledger, levels, pool,
};
use crate::qualify::trial::is_asked;
use crate::record::{Address, Evidence, EvidenceState, RecordKind, Showing};
use crate::report::basis::{EquivalenceReport, equivalence_json, equivalence_text};
use crate::report::page::shown;
use std::collections::BTreeSet;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &BasisArgs,
    loaded: &Loaded,
    entry: &Entry<Evidence>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    if args.of.len() > 1 || args.between.is_some() {
        return Err(Failure::new(
            format!("evidence/{} is an equivalence: it is held against its baseline alone", entry.id),
            "name it alone and without `--between`: design values stay the baseline's",
        ));
    }
    let ledger = &loaded.ledger;
    let showing = ledger.showings.get(entry.value.showing.id()).ok_or_else(|| {
        Failure::new(
            format!("showing/{} of evidence/{} can't be read", entry.value.showing.id(), entry.id),
            "`bondline check` says why",
        )
    })?;
    let report = report(args, ledger, showing, entry)?;
    let evaluation = context.evaluate_for(loaded, &Address::new(RecordKind::Showing, &showing.id), err)?;
    context.answer(
        out,
        (loaded, &evaluation),
        args.all,
        || equivalence_json(&report),
        |frame| equivalence_text(&report, frame),
    )?;
    Ok(Status::Done)
}

/// The record that an equivalence is held against.
fn baseline<'l>(ledger: &'l Ledger, entry: &Entry<Evidence>) -> Result<&'l Entry<Evidence>, Failure> {
    let named = entry.value.baseline.as_ref().and_then(|own| ledger.evidence.get(own.id()));
    let found = named.ok_or_else(|| {
        Failure::new(
            format!("evidence/{} is held against nothing: its baseline can't be read", entry.id),
            "write `baseline:` with the finished test that it is to be equivalent to; `bondline check` says what is \
             wrong",
        )
    })?;
    match no_part(ledger, found) {
        None => Ok(found),
        Some(why) => Err(Failure::new(
            format!("evidence/{} has no baseline: evidence/{}: {why}", entry.id, found.id),
            "name a finished test as its `baseline`",
        )),
    }
}

fn report(
    args: &BasisArgs,
    ledger: &Ledger,
    showing: &Entry<Showing>,
    entry: &Entry<Evidence>,
) -> Result<EquivalenceReport, Failure> {
    if entry.value.state != EvidenceState::Done {
        return Err(Failure::new(
            format!("evidence/{} is {}: there is nothing to compare yet", entry.id, entry.value.state),
            "`bondline calc equivalence` gives the limits and the power of a planned sample",
        ));
    }
    if is_asked(&showing.value) || !is_tested(&showing.value) {
        return Err(Failure::new(
            format!(
                "showing/{} asks for no values with a spread: its equivalences are held against the criterion itself",
                showing.id
            ),
            "`bondline why SHOWING SUBJECT` says what came of it",
        ));
    }
    let old = baseline(ledger, entry)?;
    let levels = typed(args, levels(ledger, &showing.value));
    let mut new = evidence_sample(ledger, showing, &[entry], &levels)?;
    let of_old = evidence_sample(ledger, showing, &[old], &levels)?;
    let [own, base] = [entry, old].map(|record| pool(ledger, &showing.value, &[record]));
    if let Some(why) = apart(&own, &base) {
        return Err(Failure::new(
            format!("evidence/{} can't be held against evidence/{}: {why}", entry.id, old.id),
            "write one `nominal` in the showing's `normalise`",
        ));
    }
    if !has_values(&own, &base, &showing.value) {
        let few = if own.values.len() < 2 { &entry.id } else { &old.id };
        return Err(Failure::new(
            format!("evidence/{few} has fewer than two values: nothing can be tested"),
            "write the specimens into its data file",
        ));
    }
    let found = Equivalence::of(&own, &base, &showing.value).map_err(|problem| {
        Failure::new(
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
        lacks: equivalence_completeness(&own, &showing.value).lacks,
        baseline_lacks: completeness(&base, &showing.value).lacks,
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
