//! `bondline history`.

use super::args::{HistoryArgs, Source};
use super::context::{Context, Failure, Loaded, Status, address, day_of};
use super::decide::short_id;
use super::why::{KINDS, unknown_record};
use super::{history_kept, history_turns};
use crate::article::weigh::programme_mass;
use crate::change::diff::diff;
use crate::change::explain::record_of;
use crate::change::found::{calibration, held};
use crate::ledger::Ledger;
use crate::qualify::gaps::counts;
use crate::qualify::verdict::{Evaluation, evaluate, evaluate_beside};
use crate::record::{Address, RecordKind};
use crate::report::history::{self as view, Step};
use crate::source::{Commit, Place};
use std::collections::BTreeSet;
use std::io::Write;

pub(super) fn run(
    context: &Context,
    args: &HistoryArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let status = told(context, &place, args, (out, &mut *err))?;
    if let Some(id) = place.lacked() {
        writeln!(
            err,
            "note: git's object {id} can't be read; what rests on it is left out, so that commits may be missing here or seem to change more than they did; `git fsck` tells more"
        )?;
    }
    Ok(status)
}

fn told(
    context: &Context,
    place: &Place,
    args: &HistoryArgs,
    (out, err): (&mut dyn Write, &mut dyn Write),
) -> Result<Status, Failure> {
    let at = args.at.as_deref().unwrap_or("HEAD");
    let now = context.load(place, &Source::at(at))?;
    let line = place.line(at)?;
    if place.repository().is_some_and(|repository| repository.is_shallow()) {
        writeln!(err, "note: this clone is shallow: commits before its end are not here")?;
    }
    if let Some(evidence) = &args.lapsed {
        return history_turns::lapsed(context, place, (&now, &line), evidence, args.all, out);
    }
    if let Some(panel) = &args.grew {
        return history_turns::grew(context, place, (&now, &line), panel, args.all, out);
    }
    if let Some(text) = &args.of {
        return of_record(context, place, (&now, &line), text, args, out);
    }
    let most = if args.all { line.len() } else { args.commits.min(line.len()) };
    let steps = steps(context, place, line.get(..most).unwrap_or_default(), &[]);
    let left = line.len() - steps.len();
    let calibration = calibration(&now.ledger);
    if context.json() {
        writeln!(out, "{:#}", view::json(&steps, left, &calibration))?;
    } else {
        write!(out, "{}", view::text(&steps, left, &calibration, &context.frame(&now.ledger, args.all)))?;
    }
    Ok(Status::Done)
}

/// A state of the history.
struct Judged {
    loaded: Loaded,
    /// Mass of the programme.
    kg: Option<f64>,
    /// `None` where it can't be judged, or need not be.
    evaluation: Option<Evaluation>,
}

impl Judged {
    fn unjudged(loaded: Loaded) -> Self {
        let kg = programme_mass(&loaded.ledger).ok();
        Self { loaded, kg, evaluation: None }
    }
}

/// After so many states in a row what is remembered of them begins anew: each brings some, and there may be thousands.
const IN_A_ROW: usize = 512;

/// Judges the states after some commits, the newest first, each as of today. What is `known` already, as of today too,
/// is not judged again, and what was kept of a commit is not read again.
pub(super) fn steps(
    context: &Context,
    place: &Place,
    shown: &[Commit],
    known: &[(&Ledger, &Evaluation)],
) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    // The state after the commit before, where that was read.
    let mut last: Option<Judged> = None;
    let mut in_a_row = 0;
    for commit in shown.iter().rev() {
        if let Some(step) = history_kept::found(context, place, commit) {
            steps.push(step);
            last = None;
            continue;
        }
        let mut step = unjudged(commit);
        // A commit that took the ledger away is a step all the same.
        let Ok(snapshot) = place.revision(&commit.id) else {
            steps.push(step);
            last = None;
            continue;
        };
        let before = last.take().or_else(|| {
            let parent = place.revision(commit.parents.first()?).ok()?;
            Some(Judged::unjudged(context.read(parent)))
        });
        let loaded = context.read(snapshot);
        step.broken = loaded.ledger.broken.len();
        let was = before.as_ref().and_then(|before| before.kg);
        let own = known.iter().find(|(ledger, _)| ledger.is_of(&loaded.ledger)).map(|(_, found)| *found);
        let beside = before.as_ref().and_then(|before| before.evaluation.as_ref());
        let beside = beside.or(known.first().map(|(_, found)| *found));
        in_a_row += 1;
        let is_begun_anew = in_a_row > IN_A_ROW;
        let ((kg, decisions), (evaluation, found)) = rayon::join(
            || {
                let before = before.as_ref().map(|before| &before.loaded);
                (programme_mass(&loaded.ledger).ok(), decisions(context, place, commit, before, &loaded))
            },
            || {
                let evaluation = match (own, beside) {
                    (Some(_), _) => None,
                    _ if is_begun_anew => evaluate(&loaded.ledger, context.today).ok(),
                    (None, Some(other)) => evaluate_beside(&loaded.ledger, context.today, other).ok(),
                    (None, None) => context.judged(&loaded.ledger).ok(),
                };
                let found = own.or(evaluation.as_ref()).map(counts);
                (evaluation, found)
            },
        );
        (step.kg, step.decisions, step.counts) = (kg, decisions, found);
        step.delta_kg = kg.zip(was).map(|(is, was)| is - was);
        // Giving a large evaluation back takes a while, and the next state needs none of it.
        if let Some(before) = before.and_then(|before| before.evaluation) {
            rayon::spawn(move || drop(before));
        }
        if is_begun_anew {
            in_a_row = 0;
            context.forget_others();
        }
        history_kept::keep(context, place, &step);
        last = Some(Judged { kg: step.kg, loaded, evaluation });
        steps.push(step);
    }
    steps.reverse();
    steps
}

/// What a commit says of itself.
pub(super) fn unjudged(commit: &Commit) -> Step {
    Step {
        commit: commit.id.clone(),
        on: day_of(commit.time),
        summary: commit.summary.clone(),
        kg: None,
        delta_kg: None,
        counts: None,
        decisions: Vec::new(),
        broken: 0,
    }
}

/// A commit as it is named above what it did.
pub(super) fn made(
    context: &Context,
    place: &Place,
    commit: &Commit,
    before: Option<&Loaded>,
    after: &Loaded,
) -> view::Made {
    view::Made {
        commit: commit.id.clone(),
        on: day_of(commit.time),
        summary: commit.summary.clone(),
        decisions: decisions(context, place, commit, before, after),
    }
}

/// The decisions that a commit names or carries out, as short as they can be named.
fn decisions(
    context: &Context,
    place: &Place,
    commit: &Commit,
    before: Option<&Loaded>,
    after: &Loaded,
) -> Vec<String> {
    let named = commit.decisions.iter().map(|name| match after.ledger.decision(name) {
        Some(entry) => entry.id.clone(),
        None => name.clone(),
    });
    let mut all: BTreeSet<String> = named.collect();
    if let Some(before) = before {
        all.extend(context.carried_out(place, before, after));
    }
    let short = |id: &String| {
        let short = short_id(id);
        if after.ledger.decision(short).is_some() { short.to_string() } else { id.clone() }
    };
    all.iter().map(short).collect()
}

/// The commits that changed one record; of a decision, how it came out besides.
fn of_record(
    context: &Context,
    place: &Place,
    (now, line): (&Loaded, &[Commit]),
    text: &str,
    args: &HistoryArgs,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let unknown = || {
        let failure = unknown_record(text, &now.ledger);
        let help = failure.help.map(|help| format!("{help}; one that is gone is named by `kind/id`"));
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
    let own = asked.to_string();
    let mut rows: Vec<view::Edited> = Vec::new();
    for commit in line {
        let (Ok(after), before) = (place.revision(&commit.id), commit.parents.first()) else { continue };
        let before = match before.map(|parent| place.revision(parent)) {
            Some(Ok(before)) => before,
            _ => crate::source::Snapshot::empty(),
        };
        // Most commits leave it as it is, wherever it lies.
        let ends = format!("/{}.yaml", asked.id());
        let blobs = |snapshot: &crate::source::Snapshot| -> BTreeSet<Option<String>> {
            let fits = |path: &str| match asked.kind() {
                RecordKind::Ledger => path == "ledger.yaml",
                kind => path.starts_with(kind.folder()) && path.to_lowercase().ends_with(&ends),
            };
            let files = snapshot.files().filter(|file| fits(&file.path));
            files.map(|file| snapshot.blob_id(&file.path)).collect()
        };
        if blobs(&before) == blobs(&after) {
            continue;
        }
        let (before, after) = (context.read(before), context.read(after));
        let edits = diff(&before.ledger, &after.ledger);
        let changes = edits.changes.into_iter().filter(|change| record_of(&change.address) == own).collect();
        rows.push(view::Edited { made: made(context, place, commit, Some(&before), &after), changes });
    }
    if rows.is_empty() && now.ledger.file_of(&asked).is_none() {
        return Err(unknown());
    }
    let decision = (asked.kind() == RecordKind::Decision).then(|| now.ledger.decision(asked.id())).flatten();
    let outcome = decision.and_then(|entry| held(&entry.id, &entry.value));
    let most = if args.all { rows.len() } else { args.commits.min(rows.len()) };
    let left = rows.len() - most;
    rows.truncate(most);
    if context.json() {
        writeln!(out, "{:#}", view::record_json(&own, &rows, left, outcome.as_ref()))?;
    } else {
        let frame = context.frame(&now.ledger, args.all);
        write!(out, "{}", view::record_text(&own, &rows, left, &frame))?;
        if let Some(entry) = decision
            && let Some(found) = &entry.value.found
        {
            writeln!(out)?;
            for sentence in crate::report::decision::came_true(entry.value.predicted.as_ref(), &found.0) {
                write!(out, "{}", crate::report::table::wrap(&sentence, context.width))?;
            }
        }
    }
    Ok(Status::Done)
}
