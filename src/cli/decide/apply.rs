//! `bondline decide apply`.

use super::draft::leaves_no_fault;
use super::propose::outdated;
use super::{Wrote, brief, decision, short_id, still_closed, wrong_status};
use crate::change::decide::{DecideError, Overlay, overlay, words};
use crate::cli::args::ApplyArgs;
use crate::cli::context::{Context, Failure, Loaded, Status};
use crate::ledger::Entry;
use crate::record::{Approval, Change, Decision, DecisionStatus};
use crate::source::write::{FileEdit, Writer};
use crate::source::{Place, same_but_ends, with_ends_of};
use serde_json::json;
use std::io::Write;

pub(super) fn run(
    context: &Context,
    args: &ApplyArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let (place, writer, now) = context.opened(err)?;
    let entry = decision(&now, &args.decision)?;
    let short = short_id(&entry.id);
    if entry.value.changes.is_empty() {
        return Err(Failure::new(format!("{} changes nothing", entry.id), "write `changes` first"));
    }
    if args.undo {
        return undo(context, args, (&place, &writer, &now), entry, out);
    }
    let status = entry.value.status;
    if !matches!(status, DecisionStatus::Draft | DecisionStatus::Proposed | DecisionStatus::Approved) {
        return Err(wrong_status(
            entry,
            "it is carried out no more",
            "draft another: `bondline decide draft`",
        ));
    }
    as_approved(context, &place, &now, entry)?;
    let settled = context.settled(&place, &now, &entry.value).map_err(|fault| refused(entry, &fault))?;
    let texts = overlay(&now.ledger, &now.snapshot, &[&settled]).map_err(|fault| refused(entry, &fault))?;
    let spent = context.past(&place).spent((&now.ledger, &now.snapshot), &entry.id, &entry.value)?;
    if let Some((at, commit)) = spent.first_key_value() {
        let what = match spent.len() < entry.value.changes.len() {
            true => format!("change {} of {} is", at + 1, entry.id),
            false => format!("{} is", entry.id),
        };
        return Err(Failure::new(
            format!("{what} carried out already, in commit {}", brief(commit)),
            "the same once more is another change: `bondline decide draft` writes a decision for it",
        ));
    }
    leaves_no_fault(context, &now, &settled.changes)?;
    // An approval stands on what was predicted; a proposal is tried out, and its approvals will ask.
    if status == DecisionStatus::Approved {
        let outdated = outdated(context, &place, &now, &entry.id, &entry.value, err)?;
        if !outdated.is_empty() {
            return Err(Failure::new(
                format!("{} {}: {}", entry.id, super::propose::OTHERWISE, outdated.join(", ")),
                format!(
                    "its approvals speak for what was proposed: `bondline decide rebase {short}` drafts it anew in its place, to be proposed and approved again"
                ),
            ));
        }
    }
    let edits = edits(&now, &texts)?;
    let mut said = Vec::new();
    let beside = edited_beside(context, &place, &now, &edits)?;
    for (was, is) in entry.value.changes.iter().zip(&settled.changes) {
        let place = |change: &Change| change.places().next().cloned().unwrap_or_default();
        let gap = |change: &Change| change.after.as_ref().map_or_else(String::new, |after| words(&after.0));
        // That a neighbour was edited moves nothing.
        if (place(was), gap(was)) == (place(is), gap(is)) {
            continue;
        }
        said.push(match was.insert.is_some() {
            true => format!(
                "what was to go into {} behind {} goes into {} behind {} now",
                place(was),
                gap(was),
                place(is),
                gap(is)
            ),
            false => format!("{} stands at {} now", place(was), place(is)),
        });
    }
    if args.dry_run {
        said.push(format!("Nothing is written: `bondline decide apply {short}` does it."));
    } else {
        said.push(match (place.repository(), beside.as_slice()) {
            (None, _) => "Carried out, in no repository: nothing takes it back but an edit by hand.".to_string(),
            (Some(_), []) => format!(
                "Carried out. `bondline impact` shows what it does; `bondline decide apply {short} --undo` takes it back while it is not committed."
            ),
            (Some(_), files) => format!(
                "Carried out. `bondline impact` shows what it does, with the other edits that are not committed in {}: `--undo` takes nothing back there; commit it without them (`git add -p`).",
                files.join(", ")
            ),
        });
    }
    if status != DecisionStatus::Approved {
        said.push(format!(
            "{} is not approved but {}: the gate lets it into nothing that a released panel or a frozen recipe rests on.",
            entry.id,
            status.word()
        ));
    }
    said.extend(still_closed(&entry.value));
    let rule = now.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    // What is said to be approved later is not approved yet.
    let come = Approval::come(&entry.value.approvals, Some(context.today));
    let lacks = rule.map(|rule| Approval::lacking(&come, &rule.decision, rule.persons));
    if let (DecisionStatus::Approved, Some(lacks)) = (status, lacks.filter(|lacks| !lacks.is_empty())) {
        said.push(format!(
            "{} says approved, and lacks {}: the gate lets it into nothing that a released panel or a frozen recipe rests on.",
            entry.id,
            lacks.join(" and ")
        ));
    }
    let wrote = Wrote {
        did: "apply",
        id: &entry.id,
        file: &entry.file,
        dry_run: args.dry_run,
        said,
        more: json!({ "status": status.word() }),
    };
    wrote.write(context, &writer, &edits, out)
}

/// Refuses what is not what was approved by the record in HEAD; one whose own digest says so can't be read at all.
fn as_approved(
    context: &Context,
    place: &Place,
    now: &Loaded,
    entry: &Entry<Decision>,
) -> Result<(), Failure> {
    match context.altered_decisions(place, now)?.iter().find(|one| one.id == entry.id) {
        Some(altered) => Err(Failure::new(
            altered.in_head(),
            format!("{}; `git checkout HEAD -- {}` brings it back", altered.help(), entry.file),
        )),
        None => Ok(()),
    }
}

/// The files that it edits and that differ from HEAD already.
fn edited_beside(
    context: &Context,
    place: &Place,
    now: &Loaded,
    edits: &[FileEdit],
) -> Result<Vec<String>, Failure> {
    if place.repository().is_none() {
        return Ok(Vec::new());
    }
    let head = context.read(place.head_or_empty()?);
    let files = edits.iter().map(|edit| &edit.file);
    let is_same = |file: &str| match (head.text(file), now.text(file)) {
        (Some(then), Some(now)) => same_but_ends(&then, &now),
        (then, now) => then == now,
    };
    let differ = files.filter(|file| head.snapshot.entry(file).is_some() && !is_same(file));
    Ok(differ.cloned().collect())
}

fn refused(entry: &Entry<Decision>, fault: &DecideError) -> Failure {
    Failure::new(fault.to_string(), way_on(&entry.id, entry.value.status, fault))
}

/// The way on where a decision can't be carried out.
pub(in crate::cli) fn way_on(id: &str, status: DecisionStatus, fault: &DecideError) -> String {
    let short = short_id(id);
    match (fault, status) {
        (DecideError::Done { .. }, _) => format!(
            "it is carried out already, in whole or in part: `bondline impact {short} --at REV` lays it over the state before"
        ),
        (
            DecideError::MovedOn { .. }
            | DecideError::Renamed { .. }
            | DecideError::Gone { .. }
            | DecideError::Unsure { .. }
            | DecideError::NoPlace { .. },
            DecisionStatus::Approved,
        ) => format!(
            "it may be carried out already: `--at REV` lays it over the state before; if the record has moved on, `bondline decide rebase {short}` drafts a decision in its place"
        ),
        (DecideError::NoRecord { .. }, DecisionStatus::Approved) => {
            "the record is gone, or called otherwise by a commit that changed it too: draft another decision that names this one by `supersedes`"
                .to_string()
        }
        (DecideError::Gone { .. } | DecideError::Unsure { .. } | DecideError::NoRecord { .. }, _) => {
            "look where it went and write the change anew, or say by `status: withdrawn` that it is not pursued"
                .to_string()
        }
        (DecideError::MovedOn { .. } | DecideError::NoPlace { .. }, _) => {
            format!("the record has moved on; `bondline decide rebase {short}` brings the decision up to it")
        }
        (DecideError::Renamed { .. }, _) => {
            format!("`bondline decide rebase {short}` writes what it is called now")
        }
        (DecideError::Twice { .. }, _) => {
            "keep one of the two in the decision: which of them is meant nobody can tell".to_string()
        }
        _ => "bring the decision's `changes` up to the records as they are now".to_string(),
    }
}

fn edits(now: &Loaded, texts: &Overlay) -> Result<Vec<FileEdit>, Failure> {
    let unreadable = |file: &str| Failure::new(format!("`{file}` can't be read"), "run the command again");
    texts
        .iter()
        .map(|(file, bytes)| {
            let was = match now.snapshot.entry(file) {
                Some(_) => Some(now.text(file).ok_or_else(|| unreadable(file))?),
                None => None,
            };
            let shall = match bytes {
                Some(bytes) => Some(String::from_utf8(bytes.clone()).map_err(|_| unreadable(file))?),
                None => None,
            };
            Ok(FileEdit { file: file.clone(), was, shall })
        })
        .collect()
}

/// Puts the records back as HEAD has them, where they are exactly HEAD's with the decision carried out.
fn undo(
    context: &Context,
    args: &ApplyArgs,
    (place, writer, now): (&Place, &Writer, &Loaded),
    entry: &Entry<Decision>,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    if place.repository().is_none() {
        return Err(Failure::new(
            "in no repository there is no state to go back to",
            "edit the records by hand",
        ));
    }
    let head = context.read(place.head_or_empty()?);
    let settled = context.settled(place, &head, &entry.value);
    let short = short_id(&entry.id);
    let texts = settled.and_then(|own| overlay(&head.ledger, &head.snapshot, &[&own])).map_err(|fault| {
        Failure::new(
            format!("{} can't be laid over HEAD: {fault}", entry.id),
            format!(
                "if it is committed already, `git revert` its commit; `bondline decide show {short}` names it"
            ),
        )
    })?;
    let mut edits = Vec::new();
    for (file, bytes) in &texts {
        let text = now.snapshot.entry(file).and_then(|_| now.text(file));
        let carried = bytes.as_ref().map(|bytes| String::from_utf8_lossy(bytes).into_owned());
        let is_carried = match (&text, &carried) {
            (Some(text), Some(carried)) => same_but_ends(text, carried),
            (text, carried) => text == carried,
        };
        if !is_carried {
            return Err(Failure::new(
                format!(
                    "`{file}` is not HEAD's with {} carried out: it was not applied, or was edited since",
                    entry.id
                ),
                format!("`git diff -- {file}` shows what differs"),
            ));
        }
        let before = head.snapshot.entry(file).and_then(|_| head.text(file));
        // As git has them on disk, not as it keeps them.
        let before =
            before.map(|before| text.as_deref().map_or(before.clone(), |now| with_ends_of(&before, now)));
        edits.push(FileEdit { file: file.clone(), was: text, shall: before });
    }
    let wrote = Wrote {
        did: "undo",
        id: &entry.id,
        file: &entry.file,
        dry_run: args.dry_run,
        said: vec![format!("The records are as in HEAD again; {} itself stays as it is.", entry.id)],
        more: json!({ "status": entry.value.status.word() }),
    };
    wrote.write(context, writer, &edits, out)
}
