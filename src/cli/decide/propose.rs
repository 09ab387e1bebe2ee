//! `bondline decide propose`.

use super::draft::leaves_no_fault;
use super::{Wrote, decision, short_id, text_of, touched, uneditable, way_on, with_status, wrong_status};
use crate::change::decide::{DecideError, overlay};
use crate::change::draft::without_nothing;
use crate::change::impact::{Impact, impact_of};
use crate::change::predicted::predicted;
use crate::cli::args::DecisionArgs;
use crate::cli::context::{Context, Failure, Loaded, Status};
use crate::record::edit;
use crate::record::{Decision, DecisionStatus, Predicted, Text};
use crate::report::decision::signed;
use crate::report::page::count;
use crate::source::Place;
use crate::source::write::FileEdit;
use serde_json::json;
use std::io::Write;

pub(super) fn run(
    context: &Context,
    args: &DecisionArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let (place, writer, now) = context.opened(err)?;
    let entry = decision(&now, &args.decision)?;
    let own = &*entry.value;
    match own.status {
        DecisionStatus::Draft | DecisionStatus::Proposed if own.approvals.is_empty() => {}
        DecisionStatus::Draft | DecisionStatus::Proposed => {
            return Err(Failure::new(
                format!("{} has approvals, which speak for what was proposed", entry.id),
                "a change of it needs them again: take `approvals` out first, or draft another decision",
            ));
        }
        _ => {
            return Err(wrong_status(
                entry,
                "a draft is proposed",
                "`bondline decide draft` writes a new one",
            ));
        }
    }
    let (text, foretold, found) =
        foretell(context, &place, &now, &entry.id, own, &text_of(&now, entry)?, err).map_err(|failure| {
            match failure.message.is_empty() {
                true => uneditable(&entry.file, &edit::EditError::NotWritable),
                false => failure,
            }
        })?;
    let mut said = vec![found.verdict.clone()];
    said.push(format!(
        "Predicted: {:+.3} kg, {}, {}, {} weeks.",
        found.mass.1 - found.mass.0,
        duties(foretold.lapsed.len()),
        count(foretold.specimens as usize, "specimen"),
        foretold.weeks,
    ));
    said.push(next_step(&now, &entry.id));
    said.push(crate::report::head::CAUTION_LINE.to_string());
    let wrote = Wrote {
        did: "propose",
        id: &entry.id,
        file: &entry.file,
        dry_run: args.dry_run,
        said,
        more: json!({ "predicted": foretold, "verdict": found.verdict, "caution": crate::report::head::CAUTION_LINE }),
    };
    let edit = FileEdit { file: entry.file.clone(), was: Some(text_of(&now, entry)?), shall: Some(text) };
    wrote.write(context, &writer, &[edit], out)
}

fn duties(n: usize) -> String {
    match n {
        0 => "no duty lapses or opens".to_string(),
        1 => "1 duty lapses or opens".to_string(),
        n => format!("{n} duties lapse or open"),
    }
}

fn next_step(now: &Loaded, id: &str) -> String {
    let roles = now.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    let roles: Vec<&str> =
        roles.map(|own| own.decision.iter().map(|role| role.as_str()).collect()).unwrap_or_default();
    let short = short_id(id);
    match roles.first() {
        Some(role) => format!(
            "Next: `bondline decide approve {short} --role {role}`; it needs {}.",
            roles.join(" and ")
        ),
        None => format!("Next: `bondline decide approve {short} --role ROLE`; the ledger asks for no role."),
    }
}

/// The record's text with the prediction and the status written into it, the prediction, and the impact that it
/// is taken from.
///
/// It is made on the last commit, so that it can be made again; outside a repository, on the work tree.
pub(super) fn foretell(
    context: &Context,
    place: &Place,
    now: &Loaded,
    id: &str,
    own: &Decision,
    text: &str,
    err: &mut dyn Write,
) -> Result<(String, Predicted, Impact), Failure> {
    if own.changes.is_empty() {
        return Err(Failure::new(
            format!("{id} changes nothing"),
            "write `changes`, or say by `status: withdrawn` that it is not pursued",
        ));
    }
    let base = committed(context, place, now)?;
    for address in touched(&own.changes) {
        let bytes = |loaded: &Loaded| loaded.ledger.file_of(&address).and_then(|file| loaded.text(file));
        // The work tree may hold the decision carried out: a draft that was made from it does.
        let is_own = || {
            let laid = overlay(&base.ledger, &base.snapshot, &[own]).ok()?;
            let laid = context.read(base.snapshot.overlay(laid));
            let value = |text: Option<String>| -> Option<serde_yaml::Value> {
                text.map(|text| without_nothing(serde_yaml::from_str(&text).unwrap_or_default()))
            };
            Some(value(bytes(&laid)) == value(bytes(now)))
        };
        if bytes(&base) != bytes(now) && is_own() != Some(true) {
            return Err(Failure::new(
                format!("{address} has edits that are not committed, and {id} changes it"),
                "commit or undo them first: what a decision does is predicted on a commit",
            ));
        }
    }
    let (foretold, found) = predict(context, place, &base, id, own, err)?;
    let text =
        written(text, &foretold).map_err(|fault| uneditable(&format!("decisions/{id}.yaml"), &fault))?;
    Ok((text, foretold, found))
}

/// The last commit's state, on which predictions are made; outside a repository, the work tree's.
fn committed(context: &Context, place: &Place, now: &Loaded) -> Result<Loaded, Failure> {
    let committed = match place.repository() {
        Some(_) => place.head_or_empty()?,
        None => now.snapshot.clone(),
    };
    Ok(context.read(if committed.is_empty() { now.snapshot.clone() } else { committed }))
}

/// What is said of a decision whose prediction no longer holds.
pub(super) const OTHERWISE: &str = "does something else than when it was proposed";

/// Says how what a decision is predicted to do now differs from what was predicted when it was proposed; empty where
/// it does not.
pub(super) fn outdated(
    context: &Context,
    place: &Place,
    now: &Loaded,
    id: &str,
    own: &Decision,
    err: &mut dyn Write,
) -> Result<Vec<String>, Failure> {
    let Some(said) = &own.predicted else { return Ok(Vec::new()) };
    let base = committed(context, place, now)?;
    if said.commit.as_ref().map(Text::as_str) == base.snapshot.commit() && said.on == Some(context.today) {
        return Ok(Vec::new());
    }
    // Its places are read on the state that it was proposed on, and followed from there.
    let settled = context.settled(place, &base, own).map_err(|fault| behind(id, own, &fault))?;
    let mut fresh = settled.clone();
    (fresh.predicted, fresh.base) = (None, None);
    let (is, _) = predict(context, place, &base, id, &fresh, err)?;
    let mut differs = Vec::new();
    let mut row = |what: &str, was: String, is: String| {
        if was != is {
            differs.push(format!("{what} {is} instead of {was}"));
        }
    };
    let money = |own: &Predicted| {
        own.cost
            .as_ref()
            .map_or("unknown".to_string(), |cost| format!("{:.0} {}", cost.amount(), cost.currency()))
    };
    row("mass", format!("{} kg", signed(said.mass.si())), format!("{} kg", signed(is.mass.si())));
    row("specimens", said.specimens.to_string(), is.specimens.to_string());
    row("weeks", said.weeks.to_string(), is.weeks.to_string());
    row("cost", money(said), money(&is));
    row("duties that lapse", said.lapsed.len().to_string(), is.lapsed.len().to_string());
    if differs.is_empty() && said.lapsed != is.lapsed {
        differs.push("other duties lapse".to_string());
    }
    Ok(differs)
}

/// What a decision does to a state: as it is frozen, and the whole of it.
fn predict(
    context: &Context,
    place: &Place,
    base: &Loaded,
    id: &str,
    own: &Decision,
    err: &mut dyn Write,
) -> Result<(Predicted, Impact), Failure> {
    // The prediction is made for the places as the records have them now.
    let settled = context.settled(place, base, own).map_err(|fault| behind(id, own, &fault))?;
    if settled.changes != own.changes {
        return Err(Failure::new(
            format!("the records have moved on since {id} was made: its places stand elsewhere now"),
            format!("`bondline decide rebase {}` brings it up to them", short_id(id)),
        ));
    }
    let texts = overlay(&base.ledger, &base.snapshot, &[own]).map_err(|fault| behind(id, own, &fault))?;
    leaves_no_fault(context, base, &own.changes)?;
    let head = context.read(base.snapshot.overlay(texts));
    let before = context.evaluate(base, err)?;
    let after = context.evaluate_beside(&head, &before, err)?;
    let found = impact_of((&base.ledger, &base.label()), &before, (&head.ledger, id), &after)
        .map_err(|missing| context.missing(&head, &missing))?;
    let currency = base.ledger.head.as_ref().and_then(|head| head.currency.as_ref());
    let currency = currency.map_or("EUR", |currency| currency.as_str());
    let foretold = predicted(&found, &own.changes, base.snapshot.commit(), context.today, currency)
        .ok_or_else(|| Failure::new("the change in mass is no number", "`bondline mass` shows why"))?;
    Ok((foretold, found))
}

fn behind(id: &str, own: &Decision, fault: &DecideError) -> Failure {
    Failure::new(fault.to_string(), way_on(id, own.status, fault))
}

fn written(text: &str, foretold: &Predicted) -> Result<String, edit::EditError> {
    let value = serde_yaml::to_value(foretold).map_err(|_| edit::EditError::NotWritable)?;
    let lines = edit::block_lines(&value).ok_or(edit::EditError::NotWritable)?;
    let text = edit::append_block(text, "predicted", &lines)?;
    with_status(&text, DecisionStatus::Proposed)
}
