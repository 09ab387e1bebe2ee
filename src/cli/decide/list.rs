//! `bondline decide list` and `bondline decide show`.

use super::decision;
use crate::change::decide::{DecideError, overlay};
use crate::change::found::Application;
use crate::cli::args::{ListArgs, ShowArgs};
use crate::cli::context::{Context, Failure, Loaded, Status, nearest};
use crate::ledger::Entry;
use crate::record::{Change, Decision, DecisionStatus};
use crate::report::decision as view;
use crate::source::Place;
use std::io::Write;

pub(super) fn list(
    context: &Context,
    args: &ListArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load(&place, &args.source)?;
    let status = match &args.status {
        None => None,
        Some(text) => {
            Some(DecisionStatus::ALL.iter().copied().find(|one| one.word() == text).ok_or_else(|| {
                let words: Vec<&str> = DecisionStatus::ALL.iter().map(|one| one.word()).collect();
                Failure::new(format!("`{text}` is no status"), nearest(text, &words))
            })?)
        }
    };
    let entries: Vec<&Entry<Decision>> = loaded
        .ledger
        .decisions
        .values()
        .filter(|entry| status.is_none_or(|status| entry.value.status == status))
        .collect();
    // What was approved and what has become of it are two things.
    let mut became = Vec::new();
    for entry in &entries {
        became.push(match entry.value.status {
            DecisionStatus::Approved => became_of(context, &place, &loaded, entry)?,
            _ => (None, None),
        });
    }
    let rows: Vec<view::Listed<'_>> = entries
        .iter()
        .zip(&became)
        .map(|(entry, (applied, stands))| view::Listed {
            id: &entry.id,
            decision: &entry.value,
            applied: applied.as_ref(),
            stands: stands.as_ref(),
        })
        .collect();
    let rule = loaded.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    context.note_broken(&loaded, err)?;
    if context.json() {
        writeln!(out, "{:#}", view::list_json(&rows, rule, context.today))?;
    } else {
        let frame = context.frame(&loaded.ledger, false);
        write!(out, "{}", view::list_text(&rows, rule, context.today, &frame))?;
    }
    Ok(Status::Done)
}

pub(super) fn show(
    context: &Context,
    args: &ShowArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load(&place, &args.source)?;
    let entry = decision(&loaded, &args.decision)?;
    let own = &*entry.value;
    let (applied, stands) = became_of(context, &place, &loaded, entry)?;
    let rule = loaded.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    let shown = view::Shown {
        id: &entry.id,
        file: &entry.file,
        decision: own,
        rule,
        today: context.today,
        applied: applied.as_ref(),
        stands,
    };
    context.note_broken(&loaded, err)?;
    if context.json() {
        writeln!(out, "{:#}", view::show_json(&shown))?;
    } else {
        write!(out, "{}", view::show_text(&shown, &context.frame(&loaded.ledger, false)))?;
    }
    Ok(Status::Done)
}

/// The commit that carried a decision out; where there is none and it is still to be carried out, how the records stand
/// to it.
fn became_of(
    context: &Context,
    place: &Place,
    loaded: &Loaded,
    entry: &Entry<Decision>,
) -> Result<(Option<Application>, Option<view::Stands>), Failure> {
    let own = &*entry.value;
    let applied = match place.repository() {
        Some(_) => context.application(place, loaded, entry)?,
        None => None,
    };
    let open =
        matches!(own.status, DecisionStatus::Draft | DecisionStatus::Proposed | DecisionStatus::Approved);
    let stands = (open && applied.is_none() && !own.changes.is_empty()).then(|| {
        let settled = context.settled(place, loaded, own);
        match settled.and_then(|own| overlay(&loaded.ledger, &loaded.snapshot, &[&own])) {
            Ok(_) => view::Stands::Fits,
            Err(DecideError::Done { .. }) => in_part(context, place, loaded, own),
            Err(fault) => view::Stands::Stale(fault.to_string()),
        }
    });
    Ok((applied, stands))
}

/// How much of a decision the records hold that hold some of it: each of its changes is looked at by itself.
fn in_part(context: &Context, place: &Place, loaded: &Loaded, own: &Decision) -> view::Stands {
    let is_done = |change: &Change| {
        let alone = Decision { changes: vec![change.clone()], ..own.clone() };
        let settled = context.settled(place, loaded, &alone);
        let laid = settled.and_then(|alone| overlay(&loaded.ledger, &loaded.snapshot, &[&alone]));
        matches!(laid, Err(DecideError::Done { .. }))
    };
    let (done, of) = (own.changes.iter().filter(|change| is_done(change)).count(), own.changes.len());
    if done < of { view::Stands::Part { done, of } } else { view::Stands::Done }
}
