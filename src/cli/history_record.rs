//! `bondline history ADDRESS`: the commits that changed a record, and those that moved its mass or its verdicts.

use super::args::HistoryArgs;
use super::context::{Context, Failure, Loaded, Status, address};
use super::history::{Shown, made, steps};
use super::why::{KINDS, unknown_record};
use crate::article::Subject;
use crate::change::diff::{Change, Edits, diff};
use crate::change::explain::{record_of, records};
use crate::change::followed::{called_before, edits_of};
use crate::change::found::held;
use crate::change::progress::Of;
use crate::graph::Uses;
use crate::ledger::{Entry, Ledger};
use crate::qualify::behind::behind;
use crate::record::{Address, Decision, RecordKind};
use crate::report::decision::came_true;
use crate::report::history::{self as view, Step};
use crate::report::table::wrap;
use crate::source::{Commit, Place, Snapshot};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

/// The record through the line of commits, the newest first.
struct Trail {
    /// What it is called after each commit.
    names: Vec<Address>,
    /// The commits in which its file differs.
    edited: Vec<usize>,
}

/// What a commit does to a record's file, as far as the objects of the two trees say it.
fn files_of(snapshot: &Snapshot, own: &Address) -> BTreeSet<Option<String>> {
    let ends = format!("/{}.yaml", own.id());
    let fits = |path: &str| match own.kind() {
        RecordKind::Ledger => path == "ledger.yaml",
        kind => path.starts_with(kind.folder()) && path.to_lowercase().ends_with(&ends),
    };
    snapshot.files().filter(|file| fits(&file.path)).map(|file| snapshot.blob_id(&file.path)).collect()
}

/// The states before and after a commit; before the first there is nothing.
fn states(place: &Place, commit: &Commit) -> Option<(Snapshot, Snapshot)> {
    let after = place.revision(&commit.id).ok()?;
    let before = commit.parents.first().and_then(|parent| place.revision(parent).ok());
    Some((before.unwrap_or_else(Snapshot::empty), after))
}

impl Trail {
    /// Follows a record back, through the names that it had.
    fn follow(context: &Context, place: &Place, line: &[Commit], asked: &Address) -> Self {
        let mut trail = Self { names: Vec::with_capacity(line.len()), edited: Vec::new() };
        let mut own = asked.clone();
        let folder = match asked.kind() {
            RecordKind::Ledger => "ledger.yaml",
            kind => kind.folder(),
        };
        // Listing the files of a commit takes long where there are many; most leave the folder as it is.
        let mut next = None;
        for (at, commit) in line.iter().enumerate() {
            trail.names.push(own.clone());
            let is = next.take().unwrap_or_else(|| place.object_at(&commit.id, folder).ok());
            let was = commit.parents.first().map(|parent| place.object_at(parent, folder).ok());
            next.clone_from(&was);
            if was.is_some_and(|was| was.is_some() && was == is) {
                continue;
            }
            let Some((before, after)) = states(place, commit) else { continue };
            // Most commits leave it as it is, wherever it lies.
            let (was, is) = (files_of(&before, &own), files_of(&after, &own));
            if was == is {
                continue;
            }
            trail.edited.push(at);
            if was.is_empty() && !before.is_empty() {
                let (before, after) = (context.read(before), context.read(after));
                let edits = diff(&before.ledger, &after.ledger);
                if let Some(old) = called_before((&before.ledger, &after.ledger), &edits, &own) {
                    own = Address::new(own.kind(), old);
                }
            }
        }
        trail
    }

    fn before(&self, at: usize) -> Option<&Address> {
        self.names.get(at + 1).or_else(|| self.names.get(at))
    }
}

/// How the record stands after some commits, by their places in the line.
fn figures(
    context: &Context,
    place: &Place,
    line: &[Commit],
    trail: &Trail,
    wanted: &BTreeSet<usize>,
) -> BTreeMap<usize, Step> {
    // What a commit moved is told by the state before it.
    let places: BTreeSet<usize> = wanted.iter().flat_map(|at| [*at, at + 1]).collect();
    let shown = |at: &usize| {
        let of = Of::Record(trail.names.get(*at)?.clone());
        Some((*at, Shown { commit: line.get(*at)?, of }))
    };
    let (places, shown): (Vec<usize>, Vec<Shown<'_>>) = places.iter().filter_map(shown).unzip();
    places.into_iter().zip(steps(context, place, &shown, &[])).collect()
}

/// What of a commit's changes has to do with a record: itself, what it is made of, what is made of it and whatever that
/// has besides, and evidence of such.
fn connected(
    edits: Edits,
    (old, own): (&Address, &Address),
    (before, after): (&Ledger, &Ledger),
) -> Vec<Change> {
    // What was taken out of it, or it out of something, is connected by the state before alone.
    let sides = [Near::of(before, old), Near::of(after, own)];
    let near = |change: &Change| {
        let record = Address::parse(record_of(&change.address));
        record.is_some_and(|record| sides.iter().any(|side| side.has(&record)))
    };
    edits.changes.into_iter().filter(near).collect()
}

/// What has to do with a record in one state.
struct Near<'l> {
    ledger: &'l Ledger,
    own: &'l Address,
    below: BTreeSet<Address>,
    above: BTreeSet<Address>,
}

impl<'l> Near<'l> {
    fn of(ledger: &'l Ledger, own: &'l Address) -> Self {
        let uses = Uses::of(ledger);
        let above: BTreeSet<Address> = uses.above(own).into_iter().collect();
        // Its mass is that of the panels that use it, and those are made of more.
        let panels = above.iter().filter(|own| own.kind() == RecordKind::Panel);
        let mut below = uses.below(panels.chain([own]));
        below.insert(own.clone());
        below.extend(
            subject_of(ledger, own).and_then(|subject| behind(ledger, &subject).ok()).into_iter().flatten(),
        );
        Self { ledger, own, below, above }
    }

    fn has(&self, record: &Address) -> bool {
        if self.below.contains(record) || self.above.contains(record) {
            return true;
        }
        match (self.own.kind(), record.kind()) {
            // What a showing is asked of, and what panels are asked, is for showings to say.
            (RecordKind::Showing, kind) => !matches!(kind, RecordKind::Decision | RecordKind::Study),
            (RecordKind::Panel | RecordKind::Assembly, RecordKind::Showing | RecordKind::Ledger) => true,
            (_, RecordKind::Evidence | RecordKind::Concession) => {
                let subject = subject_of(self.ledger, record);
                let made_of = subject.and_then(|subject| behind(self.ledger, &subject).ok());
                made_of.is_some_and(|made_of| made_of.contains(self.own) || made_of.is_subset(&self.below))
            }
            _ => false,
        }
    }
}

/// The subject that evidence or a concession names.
fn subject_of(ledger: &Ledger, record: &Address) -> Option<Subject> {
    let label = match record.kind() {
        RecordKind::Evidence => &ledger.evidence.get(record.id())?.value.subject,
        RecordKind::Concession => &ledger.concessions.get(record.id())?.value.subject,
        _ => return None,
    };
    Subject::from_label(label)
}

/// What commits of the line did by a decision, by their places in it.
fn deeds(
    context: &Context,
    place: &Place,
    (now, line): (&Loaded, &[Commit]),
    entry: &Entry<Decision>,
) -> Result<BTreeMap<usize, &'static str>, Failure> {
    let Some(applied) = context.application(place, now, entry)? else { return Ok(BTreeMap::new()) };
    let at = |commit: &str| line.iter().position(|own| own.id == commit);
    let undone = applied.undone.as_ref().and_then(|(commit, _)| Some((at(commit)?, "taken back")));
    Ok(at(&applied.commit).map(|at| (at, "carried out")).into_iter().chain(undone).collect())
}

/// Answers `history ADDRESS`.
///
/// # Errors
/// [`Failure`] where there never was such a record.
pub(super) fn run(
    context: &Context,
    place: &Place,
    (now, line): (&Loaded, &[Commit]),
    text: &str,
    args: &HistoryArgs,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let unknown = || {
        let failure = unknown_record(text, &now.ledger);
        let help = failure.help.map(|help| {
            format!("{help}; one that is gone is named by `kind/id`, a group of panels by `group/NAME`")
        });
        Failure { help, ..failure }
    };
    // An id that several kinds have is most likely meant of these.
    let first = [
        RecordKind::Decision,
        RecordKind::Panel,
        RecordKind::Recipe,
        RecordKind::Finish,
        RecordKind::Material,
    ];
    let kinds: Vec<RecordKind> = first.into_iter().chain(KINDS).collect();
    let asked: Address =
        address(text, &kinds, &now.ledger).or_else(|| Address::parse(text)).ok_or_else(unknown)?;
    let trail = Trail::follow(context, place, line, &asked);
    if trail.edited.is_empty() && now.ledger.file_of(&asked).is_none() {
        return Err(unknown());
    }
    let most = if args.all { line.len() } else { args.commits.min(line.len()) };
    // What another record's commit did to this one is looked for among the newest.
    let of = Of::Record(asked.clone());
    let newest = if of.has_figures() { most } else { 0 };
    let wanted: BTreeSet<usize> = trail.edited.iter().copied().take(most).chain(0..newest).collect();
    let found =
        if of.has_figures() { figures(context, place, line, &trail, &wanted) } else { BTreeMap::new() };
    let has_moved = |at: &usize| {
        let (is, was) = (found.get(at), found.get(&(at + 1)));
        is.zip(was).is_some_and(|(is, was)| view::moves(was, is))
    };
    let decision = (asked.kind() == RecordKind::Decision).then(|| now.ledger.decision(asked.id())).flatten();
    let did = match decision {
        Some(entry) => deeds(context, place, (now, line), entry)?,
        None => BTreeMap::new(),
    };
    let moved = wanted.into_iter().filter(|at| has_moved(at));
    let told: BTreeSet<usize> =
        moved.chain(trail.edited.iter().copied()).chain(did.keys().copied()).collect();
    let mut rows: Vec<view::Edited> = Vec::new();
    for at in told.iter().take(most) {
        let Some(((before, after), commit)) = line.get(*at).and_then(|own| Some((states(place, own)?, own)))
        else {
            continue;
        };
        let (Some(own), Some(old)) = (trail.names.get(*at), trail.before(*at)) else { continue };
        let (before, after) = (context.read(before), context.read(after));
        let edits = diff(&before.ledger, &after.ledger);
        let edits = edits_of((&before.ledger, &after.ledger), edits, own, old.id());
        let is_edited = trail.edited.contains(at);
        let since = edits.renamed_of(own.kind()).remove(own.id()).map(|new| Address::new(own.kind(), new));
        let named = |names: BTreeSet<String>, edits: Edits| -> Vec<Change> {
            let is_own = |one: &Change| names.contains(record_of(&one.address));
            edits.changes.into_iter().filter(is_own).collect()
        };
        let did = did.get(at).copied();
        let changes = match (is_edited, did.and(decision)) {
            (true, _) => named([own.to_string(), old.to_string()].into(), edits),
            (false, Some(entry)) => named(records(&entry.value), edits),
            (false, None) => connected(edits, (old, own), (&before.ledger, &after.ledger)),
        };
        // What can't be read seems to go, and to come again with the commit that mends it.
        let unread: Vec<String> = after.ledger.broken.iter().map(ToString::to_string).collect();
        let was_unread: BTreeSet<String> = before.ledger.broken.iter().map(ToString::to_string).collect();
        let seems = |one: &Change| {
            let record = record_of(&one.address);
            one.attribute.is_empty()
                && (unread.iter().any(|own| own == record) || was_unread.contains(record))
        };
        let changes: Vec<Change> = changes;
        let changes = changes.into_iter().filter(|one| !seems(one)).collect();
        rows.push(view::Edited {
            made: made(context, place, commit, Some(&before), &after),
            is_edited,
            did,
            was_called: (own != old).then(|| old.to_string()),
            called_since: since.map(|new| new.to_string()),
            unread,
            was_unread: !was_unread.is_empty(),
            was: found.get(&(at + 1)).cloned(),
            is: found.get(at).cloned(),
            changes,
        });
    }
    let history = view::Recorded {
        of,
        left: told.len() - rows.len(),
        looked: (newest < line.len()).then_some(newest),
        outcome: decision.and_then(|entry| held(&entry.id, &entry.value)),
        rows,
    };
    if context.json() {
        writeln!(out, "{:#}", history.json())?;
        return Ok(Status::Done);
    }
    let frame = context.frame(&now.ledger, args.all);
    write!(out, "{}", history.text(now.ledger.next_milestone(), &frame))?;
    if let Some(entry) = decision
        && let Some(found) = &entry.value.found
    {
        writeln!(out)?;
        for sentence in came_true(entry.value.predicted.as_ref(), &found.0) {
            write!(out, "{}", wrap(&sentence, context.width))?;
        }
    }
    Ok(Status::Done)
}
