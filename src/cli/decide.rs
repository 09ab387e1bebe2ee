//! `bondline decide`.

mod apply;
mod approve;
mod close;
mod draft;
mod list;
mod propose;
mod rebase;
mod renumber;

pub(super) use apply::way_on;

use super::args::{DecideArgs, DecideCommand, Source};
use super::context::{Context, Failure, Loaded, Status, unwritten};
use super::laid::one_decision;
use crate::ledger::{Entry, number_of};
use crate::record::edit::{self, EditError};
use crate::record::{Address, Change, Decision, DecisionStatus};
use crate::report::page::{count, shown};
use crate::source::Place;
use crate::source::write::{FileEdit, Writer};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &DecideArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    match &args.what {
        DecideCommand::Draft(args) => draft::run(context, args, out, err),
        DecideCommand::Propose(args) => propose::run(context, args, out, err),
        DecideCommand::Approve(args) => approve::run(context, args, out, err),
        DecideCommand::Apply(args) => apply::run(context, args, out, err),
        DecideCommand::Rebase(args) => rebase::run(context, args, out, err),
        DecideCommand::Close(args) => close::run(context, args, out, err),
        DecideCommand::List(args) => list::list(context, args, out, err),
        DecideCommand::Show(args) => list::show(context, args, out, err),
        DecideCommand::Renumber(args) => renumber::run(context, args, out, err),
    }
}

/// The decision that an argument names; a file may be named by its whole path.
pub(super) fn decision<'l>(loaded: &'l Loaded, text: &str) -> Result<&'l Entry<Decision>, Failure> {
    one_decision(&loaded.ledger, text.rsplit('/').next().unwrap_or(text))
}

/// The text of a decision's file.
fn text_of(loaded: &Loaded, entry: &Entry<Decision>) -> Result<String, Failure> {
    loaded
        .text(&entry.file)
        .ok_or_else(|| Failure::new(format!("`{}` can't be read", entry.file), "run the command again"))
}

fn uneditable(file: &str, fault: &EditError) -> Failure {
    Failure::new(format!("`{file}` can't be edited: {fault}"), "change the record by hand")
}

/// The text with its status set.
fn with_status(text: &str, status: DecisionStatus) -> Result<String, EditError> {
    edit::set(text, "status", &serde_yaml::Value::from(status.word()))
}

/// The numbers that are taken, in the work tree, the index and every branch; branches that can't be read.
fn taken(context: &Context, place: &Place, loaded: &Loaded) -> Result<(BTreeSet<u32>, Vec<String>), Failure> {
    let stem = |file: &str| -> Option<u32> {
        number_of(&file.rsplit('/').next()?.strip_suffix(".yaml")?.to_lowercase())
    };
    // By the names of files: a record that is broken has its number too.
    let decisions = |file: &&str| file.starts_with("decisions/");
    let mut numbers: BTreeSet<u32> =
        loaded.snapshot.files().map(|file| file.path.as_str()).filter(decisions).filter_map(stem).collect();
    let mut missing = Vec::new();
    if place.repository().is_some() {
        let index = context.load(place, &Source { staged: true, ..Source::default() })?;
        numbers
            .extend(index.snapshot.files().map(|file| file.path.as_str()).filter(decisions).filter_map(stem));
        let (branches, unread) = place.on_branches("decisions")?;
        numbers.extend(branches.iter().flat_map(|branch| &branch.files).filter_map(|file| stem(file)));
        missing = unread;
    }
    Ok((numbers, missing))
}

/// The next number; says which branches it could not look into.
pub(super) fn next_number(
    context: &Context,
    place: &Place,
    loaded: &Loaded,
    err: &mut dyn Write,
) -> Result<u32, Failure> {
    let (numbers, missing) = taken(context, place, loaded)?;
    if !missing.is_empty() {
        writeln!(
            err,
            "note: these branches are not here whole, their decisions are not counted: {}",
            missing.join(", ")
        )?;
    }
    Ok(numbers.last().map_or(1, |last| last.saturating_add(1)))
}

/// What a command wrote, or would write.
struct Wrote<'a> {
    did: &'a str,
    id: &'a str,
    file: &'a str,
    dry_run: bool,
    /// Sentences for people.
    said: Vec<String>,
    /// What else programs get.
    more: Value,
}

impl Wrote<'_> {
    fn write(
        self,
        context: &Context,
        writer: &Writer,
        edits: &[FileEdit],
        out: &mut dyn Write,
    ) -> Result<Status, Failure> {
        if !self.dry_run {
            writer.write_all(edits).map_err(unwritten)?;
        }
        let changed: Vec<&FileEdit> = edits.iter().filter(|edit| edit.was != edit.shall).collect();
        if context.json() {
            let written: BTreeSet<&String> = changed.iter().map(|edit| &edit.file).collect();
            let mut document = json!({
                "schema": "decide/1",
                "did": self.did,
                "decision": self.id,
                "file": self.file,
                "dry_run": self.dry_run,
                "written": written,
            });
            if let (Some(map), Value::Object(more)) = (document.as_object_mut(), self.more) {
                map.extend(more);
            }
            writeln!(out, "{document:#}")?;
            return Ok(Status::Done);
        }
        for edit in &changed {
            let what = match (&edit.was, &edit.shall, self.dry_run) {
                (None, _, false) => "written",
                (None, _, true) => "would be written",
                (_, None, false) => "removed",
                (_, None, true) => "would be removed",
                (_, _, false) => "edited",
                (_, _, true) => "would be edited",
            };
            writeln!(out, "{}: {what}", shown(&edit.file))?;
            if self.dry_run {
                for line in lines_that_differ(edit.was.as_deref(), edit.shall.as_deref()) {
                    writeln!(out, "  {}", shown(&line))?;
                }
            }
        }
        for sentence in &self.said {
            write!(out, "{}", crate::report::table::wrap(sentence, context.width))?;
        }
        Ok(Status::Done)
    }
}

/// The lines that go, with `-`, and those that come, with `+`, where they stand.
fn lines_that_differ(was: Option<&str>, shall: Option<&str>) -> Vec<String> {
    let old: Vec<&str> = was.unwrap_or_default().lines().collect();
    let new: Vec<&str> = shall.unwrap_or_default().lines().collect();
    use crate::article::{Aligned, Likeness, align};
    let pairs = align(old.len(), new.len(), |i, j| match old.get(i) == new.get(j) {
        true => Likeness::Differ(0),
        false => Likeness::Apart,
    });
    let mut found: Vec<(usize, usize, String)> = Vec::new();
    // A line that went stands before those that came in its place.
    let mut at = 0;
    for pair in pairs {
        match pair {
            Aligned::Kept(_, j) | Aligned::Altered(_, j) => at = j + 1,
            Aligned::Removed(i) => found.push((at, 0, format!("- {}", old.get(i).unwrap_or(&"")))),
            Aligned::Inserted(j) => found.push((j, 1, format!("+ {}", new.get(j).unwrap_or(&"")))),
            Aligned::Moved(i, j) => {
                found.push((at, 0, format!("- {}", old.get(i).unwrap_or(&""))));
                found.push((j, 1, format!("+ {}", new.get(j).unwrap_or(&""))));
            }
        }
    }
    found.into_iter().map(|(_, _, line)| line).collect()
}

/// The status in words, where a decision must have another.
fn wrong_status(entry: &Entry<Decision>, wanted: &str, help: &str) -> Failure {
    Failure::new(
        format!("{} is {}; {wanted}", entry.id, entry.value.status.word()),
        help.replace("{id}", short_id(&entry.id)),
    )
}

/// A commit as it is named beside other words.
fn brief(commit: &str) -> &str {
    commit.get(..7).unwrap_or(commit)
}

/// What an approval does not open: duties that a release needs.
fn still_closed(decision: &Decision) -> Option<String> {
    let lapsed = decision.predicted.as_ref()?.lapsed.len();
    (lapsed > 0).then(|| {
        let duties = count(lapsed, "duty");
        format!(
            "It was predicted to lapse or open {duties}: where a released panel needs one of them, the gate refuses its commit all the same until it is proved again or conceded, or the release is taken back."
        )
    })
}

/// `dd-007` of `dd-007-lighter-mesh`.
pub(super) fn short_id(id: &str) -> &str {
    let end = id.strip_prefix("dd-").and_then(|rest| rest.find('-')).map_or(id.len(), |at| at + 3);
    id.get(..end).unwrap_or(id)
}

/// The commit that has the records which a decision changes as they are now; `None` where none has.
pub(super) fn base_of(
    context: &Context,
    place: &Place,
    now: &Loaded,
    changes: &[Change],
) -> Result<Option<String>, Failure> {
    if place.repository().is_none() {
        return Ok(None);
    }
    let head = place.head_or_empty()?;
    let Some(commit) = head.commit().map(str::to_string) else { return Ok(None) };
    let head = context.read(head);
    let bytes = |loaded: &Loaded, address: &Address| {
        loaded.ledger.file_of(address).and_then(|file| loaded.text(file))
    };
    let same = touched(changes).iter().all(|address| bytes(&head, address) == bytes(now, address));
    Ok(same.then_some(commit))
}

/// The records that some changes name.
fn touched(changes: &[Change]) -> BTreeSet<Address> {
    changes
        .iter()
        .flat_map(Change::places)
        .filter_map(|place| Address::parse(place.split('#').next()?))
        .collect()
}
