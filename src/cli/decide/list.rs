//! `bondline decide list` and `bondline decide show`.

use super::decision;
use crate::change::decide::{DecideError, overlay};
use crate::cli::args::{ListArgs, ShowArgs};
use crate::cli::context::{Context, Failure, Status, nearest};
use crate::record::DecisionStatus;
use crate::report::decision as view;
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
    let rows: Vec<view::Listed<'_>> = loaded
        .ledger
        .decisions
        .values()
        .filter(|entry| status.is_none_or(|status| entry.value.status == status))
        .map(|entry| view::Listed { id: &entry.id, decision: &entry.value })
        .collect();
    let rule = loaded.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    context.note_broken(&loaded, err)?;
    if context.json() {
        writeln!(out, "{:#}", view::list_json(&rows, rule))?;
    } else {
        write!(out, "{}", view::list_text(&rows, rule, &context.frame(&loaded.ledger, false)))?;
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
    let applied = match place.repository() {
        Some(_) => context.application(&place, &loaded, entry)?,
        None => None,
    };
    let settled = context.settled(&place, &loaded, own);
    let open =
        matches!(own.status, DecisionStatus::Draft | DecisionStatus::Proposed | DecisionStatus::Approved);
    let stands = (open && applied.is_none() && !own.changes.is_empty()).then(|| {
        match settled.and_then(|own| overlay(&loaded.ledger, &loaded.snapshot, &[&own])) {
            Ok(_) => view::Stands::Fits,
            Err(DecideError::Done { .. }) => view::Stands::Done,
            Err(fault) => view::Stands::Stale(fault.to_string()),
        }
    });
    let rule = loaded.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    let shown = view::Shown {
        id: &entry.id,
        file: &entry.file,
        decision: own,
        rule,
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
