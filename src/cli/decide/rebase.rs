//! `bondline decide rebase`.

use super::draft::leaves_no_fault;
use super::propose::{OTHERWISE, foretell, outdated};
use super::{Wrote, base_of, decision, next_number, short_id, text_of, uneditable, way_on, wrong_status};
use crate::change::decide::alike;
use crate::change::draft::Draft;
use crate::change::rebase::renew;
use crate::cli::args::DecisionArgs;
use crate::cli::context::{Context, Failure, Loaded, Status};
use crate::ledger::Entry;
use crate::record::edit::{self, EditError};
use crate::record::{Address, Change, Decision, DecisionStatus};
use crate::source::write::{FileEdit, Writer};
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
    let short = short_id(&entry.id);
    let settled = context
        .past(&place)
        .settled_by_name((&now.ledger, &now.snapshot), own)
        .map_err(|fault| Failure::new(fault.to_string(), way_on(&entry.id, DecisionStatus::Draft, &fault)))?;
    let renewed = renew(&settled, &now.ledger, &now.snapshot).map_err(|at| gone(&now, entry, at))?;
    if let Some((at, change)) = renewed.changes.iter().enumerate().find(|(_, change)| is_done(change)) {
        return Err(Failure::new(
            format!("change {}, {}, is carried out already", at + 1, line(change)),
            format!("`bondline decide show {short}` names the commit, where there is one"),
        ));
    }
    let moved = renewed.changes != own.changes;
    // Changes that still fit may come to something else than what was approved.
    let outdated = match own.status {
        DecisionStatus::Approved if !moved => outdated(context, &place, &now, &entry.id, own, err)?,
        _ => Vec::new(),
    };
    if !moved && outdated.is_empty() {
        return Err(Failure::new(
            format!("{} fits the records as they are", entry.id),
            format!("`bondline impact {short}` shows what it does"),
        ));
    }
    leaves_no_fault(context, &now, &renewed.changes)?;
    let open = match own.status {
        DecisionStatus::Draft => true,
        DecisionStatus::Proposed => own.approvals.is_empty(),
        DecisionStatus::Approved => false,
        _ => return Err(wrong_status(entry, "it is not pursued", "draft another: `bondline decide draft`")),
    };
    let mut said: Vec<String> = own
        .changes
        .iter()
        .zip(&renewed.changes)
        .enumerate()
        .filter(|(_, (was, is))| was != is)
        .map(|(at, (was, is))| format!("change {}: {} becomes {}", at + 1, line(was), line(is)))
        .collect();
    if !outdated.is_empty() {
        said.push(format!("{} {OTHERWISE}: {}.", entry.id, outdated.join(", ")));
    }
    if !open {
        return anew(context, args, (&place, &writer, &now), entry, renewed, said, out, err);
    }
    let was = text_of(&now, entry)?;
    let mut text = rewritten(&was, own, &renewed).map_err(|fault| uneditable(&entry.file, &fault))?;
    if own.base.is_some() {
        let base = base_of(context, &place, &now, &renewed.changes)?;
        text = with_base(&text, base.as_deref()).map_err(|fault| uneditable(&entry.file, &fault))?;
    }
    if own.status == DecisionStatus::Proposed {
        let (foretold, _, found) = foretell(context, &place, &now, &entry.id, &renewed, &text, err)?;
        text = foretold;
        said.push(found.verdict);
        said.push(crate::report::head::CAUTION_LINE.to_string());
    }
    let wrote = Wrote {
        did: "rebase",
        id: &entry.id,
        file: &entry.file,
        dry_run: args.dry_run,
        said,
        more: json!({ "changes": renewed.changes }),
    };
    let edit = FileEdit { file: entry.file.clone(), was: Some(was), shall: Some(text) };
    wrote.write(context, &writer, &[edit], out)
}

/// Whether what a change sets stands there.
fn is_done(change: &Change) -> bool {
    let both = change.set.as_ref().and(change.was.as_ref()).zip(change.to.as_ref());
    both.is_some_and(|(was, to)| alike(&was.0, &to.0))
}

fn gone(now: &Loaded, entry: &Entry<Decision>, at: usize) -> Failure {
    let change = entry.value.changes.get(at.saturating_sub(1));
    let record = change.and_then(|change| Address::parse(change.places().next()?.split('#').next()?));
    if let Some(record) = record.filter(|record| now.ledger.file_of(record).is_none()) {
        return Failure::new(
            format!(
                "change {at}: there is no {record} any more, and no commit that only renamed it tells what it is called now"
            ),
            "write the change anew where it went, or say by `status: withdrawn` that it is not pursued",
        );
    }
    let change = change.map(line).unwrap_or_default();
    Failure::new(
        format!("change {at}, {change}: its place is gone, or cannot be told from others"),
        "look where it went and write the change anew, or say by `status: withdrawn` that it is not pursued",
    )
}

/// A decision with approvals stays as it was approved: what it becomes is a new draft that stands in its place.
#[expect(clippy::too_many_arguments, reason = "wiring")]
fn anew(
    context: &Context,
    args: &DecisionArgs,
    (place, writer, now): (&crate::source::Place, &Writer, &Loaded),
    entry: &Entry<Decision>,
    renewed: Decision,
    mut said: Vec<String>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let own = &*entry.value;
    let draft = Draft {
        title: own.title.clone().unwrap_or_else(|| entry.id.clone()),
        name: None,
        why: Some(format!("{} was made on records that have moved on since.", entry.id)),
        owner: own.owner.clone(),
        raised: context.today,
        supersedes: Some(entry.id.clone()),
        base: base_of(context, place, now, &renewed.changes)?,
        changes: renewed.changes,
    };
    let id = draft.id(next_number(context, place, now, err)?);
    let file = format!("decisions/{id}.yaml");
    let text = draft.text().ok_or_else(|| uneditable(&file, &EditError::NotWritable))?;
    let stays = match own.status {
        DecisionStatus::Approved => "is approved and stays",
        _ => "has approvals, which speak for what was proposed, and stays",
    };
    said.push(format!(
        "{} {stays} as it is; {id} is drafted in its place and needs its own approval.",
        entry.id
    ));
    let wrote = Wrote {
        did: "rebase",
        id: &id,
        file: &file,
        dry_run: args.dry_run,
        said,
        more: json!({ "changes": draft.changes, "supersedes": entry.id }),
    };
    let edit = FileEdit { file: file.clone(), was: None, shall: Some(text) };
    wrote.write(context, writer, &[edit], out)
}

fn line(change: &Change) -> String {
    let value = serde_yaml::to_value(change).ok();
    value.and_then(|value| edit::one_line(&value)).unwrap_or_default()
}

/// The text with the changes that differ written anew, each in its place.
fn rewritten(text: &str, was: &Decision, is: &Decision) -> Result<String, EditError> {
    let mut text = text.to_string();
    for (at, (was, is)) in was.changes.iter().zip(&is.changes).enumerate() {
        if was == is {
            continue;
        }
        let route = format!("changes.{}", at + 1);
        for (key, old, new) in [
            ("set", yaml(&was.set), yaml(&is.set)),
            ("remove", yaml(&was.remove), yaml(&is.remove)),
            ("insert", yaml(&was.insert), yaml(&is.insert)),
            ("after", yaml(&was.after), yaml(&is.after)),
            ("between", yaml(&was.between), yaml(&is.between)),
            ("was", yaml(&was.was), yaml(&is.was)),
        ] {
            text = match (old, new) {
                (old, new) if old == new => text,
                (Some(_), Some(new)) => edit::set(&text, &format!("{route}.{key}"), &new)?,
                (None, Some(new)) => edit::add_key(&text, &route, key, &new)?,
                (Some(_), None) => edit::remove(&text, &format!("{route}.{key}"))?,
                (None, None) => text,
            };
        }
    }
    Ok(text)
}

/// The text with the commit that its places refer to now.
fn with_base(text: &str, base: Option<&str>) -> Result<String, EditError> {
    match base {
        Some(base) => edit::set(text, "base", &serde_yaml::Value::from(base)),
        None => edit::remove(text, "base"),
    }
}

fn yaml<T: serde::Serialize>(value: &Option<T>) -> Option<serde_yaml::Value> {
    value.as_ref().and_then(|value| serde_yaml::to_value(value).ok())
}
