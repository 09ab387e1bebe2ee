//! `bondline history`.

use super::args::{HistoryArgs, Source};
use super::context::{Context, Failure, Loaded, Status, day_of, nearest};
use super::decide::short_id;
use super::{history_kept, history_record, history_turns};
use crate::article::weigh::groups;
use crate::change::diff::{Change, Edits, diff};
use crate::change::explain::{record_of, records};
use crate::change::found::calibration;
use crate::change::progress::Of;
use crate::ledger::Ledger;
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
    let of = match args.of.as_deref().map(|text| (text, Of::parse(text))) {
        None => Of::Programme,
        Some((_, Some(Of::Group(name)))) => Of::Group(name),
        Some((text, _)) => return history_record::run(context, place, (&now, &line), text, args, out),
    };
    let most = if args.all { line.len() } else { args.commits.min(line.len()) };
    // What the oldest of them moved in a group is told by the state before it.
    let looked = if of == Of::Programme { most } else { line.len().min(most + 1) };
    let mut steps = steps(context, place, &Shown::all(line.get(..looked).unwrap_or_default(), &of), &[]);
    let before = if steps.len() > most { steps.pop() } else { None };
    if let Of::Group(name) = &of
        && !of.is_in(&now.ledger)
        && steps.iter().all(|step| step.progress.is_none())
    {
        let names: Vec<&str> = groups(&now.ledger).into_iter().collect();
        let looked = if steps.len() < line.len() { "; --all looks through all commits" } else { "" };
        return Err(Failure::new(
            format!("no panel is of the group `{name}`"),
            format!("{}{looked}", nearest(name, &names)),
        ));
    }
    let left = line.len() - steps.len();
    let calibration = calibration(&now.ledger);
    if context.json() {
        writeln!(out, "{:#}", view::json(&of, &steps, left, &calibration))?;
    } else {
        let frame = context.frame(&now.ledger, args.all);
        let due = now.ledger.next_milestone();
        write!(out, "{}", view::text((&of, due), (&steps, before.as_ref()), left, &calibration, &frame))?;
    }
    Ok(Status::Done)
}

/// A commit whose state is looked at, and what it is asked of.
pub(super) struct Shown<'a> {
    pub commit: &'a Commit,
    pub of: Of,
}

impl<'a> Shown<'a> {
    pub(super) fn all(commits: &'a [Commit], of: &Of) -> Vec<Self> {
        commits.iter().map(|commit| Self { commit, of: of.clone() }).collect()
    }
}

/// A state of the history.
struct Judged {
    commit: String,
    loaded: Loaded,
    kg: Option<f64>,
    /// `None` where it can't be judged, or need not be.
    evaluation: Option<Evaluation>,
}

/// After so many states in a row what is remembered of them begins anew: each brings some, and there may be thousands.
const IN_A_ROW: usize = 512;

/// Judges the states after some commits of a line, the newest first, each as of today. What is `known` already, as of
/// today too, is not judged again, and what was kept of a commit is not read again.
pub(super) fn steps(
    context: &Context,
    place: &Place,
    shown: &[Shown<'_>],
    known: &[(&Ledger, &Evaluation)],
) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    // The state after the commit before, where that was read.
    let mut last: Option<Judged> = None;
    let mut in_a_row = 0;
    for own in shown.iter().rev() {
        let Shown { commit, of } = own;
        if let Some(step) = history_kept::found(context, place, own) {
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
        let parent = commit.parents.first();
        // Commits between them may have left the ledger alone.
        let tree = |commit: &str| place.object_at(commit, "").ok().flatten();
        let is_parents = |last: &Judged| {
            let of_parent = || tree(parent?).zip(tree(&last.commit));
            Some(&last.commit) == parent || of_parent().is_some_and(|(own, other)| own == other)
        };
        let before = last.take().filter(is_parents).or_else(|| {
            let loaded = context.read(place.revision(parent?).ok()?);
            let kg = of.kg(&loaded.ledger).ok().flatten();
            Some(Judged { commit: parent?.clone(), loaded, kg, evaluation: None })
        });
        let loaded = context.read(snapshot);
        step.broken = loaded.ledger.broken.len();
        let was = before.as_ref().and_then(|before| before.kg);
        let judged = known.iter().find(|(ledger, _)| ledger.is_of(&loaded.ledger)).map(|(_, found)| *found);
        let beside = before.as_ref().and_then(|before| before.evaluation.as_ref());
        let beside = beside.or(known.first().map(|(_, found)| *found));
        in_a_row += 1;
        let is_begun_anew = in_a_row > IN_A_ROW;
        let is_asked = of.is_in(&loaded.ledger) && of.has_figures();
        let ((kg, decisions), (evaluation, progress)) = rayon::join(
            || {
                let before = before.as_ref().map(|before| &before.loaded);
                let kg = of.kg(&loaded.ledger).ok().flatten();
                (kg, decisions(context, place, commit, before, &loaded))
            },
            || {
                let evaluation = match (judged, beside) {
                    _ if !is_asked => None,
                    (Some(_), _) => None,
                    _ if is_begun_anew => evaluate(&loaded.ledger, context.today).ok(),
                    (None, Some(other)) => evaluate_beside(&loaded.ledger, context.today, other).ok(),
                    (None, None) => context.judged(&loaded.ledger).ok(),
                };
                let judged = judged.or(evaluation.as_ref()).filter(|_| is_asked);
                let progress = judged.and_then(|judged| of.progress(&loaded.ledger, judged));
                (evaluation, progress)
            },
        );
        (step.kg, step.progress) = (kg, progress);
        (step.decisions, step.others) = decisions;
        // Of a record it depends on what that was called before, which is for whoever follows its names.
        let is_followed = matches!(of, Of::Record(_));
        step.delta_kg = kg.zip(was).filter(|_| !is_followed).map(|(is, was)| is - was);
        // Giving a large evaluation back takes a while, and the next state needs none of it.
        if let Some(before) = before.and_then(|before| before.evaluation) {
            rayon::spawn(move || drop(before));
        }
        if is_begun_anew {
            in_a_row = 0;
            context.forget_others();
        }
        history_kept::keep(context, place, of, &step);
        last = Some(Judged { commit: commit.id.clone(), kg: step.kg, loaded, evaluation });
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
        progress: None,
        decisions: Vec::new(),
        others: false,
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
    let (decisions, others) = decisions(context, place, commit, before, after);
    view::Made {
        commit: commit.id.clone(),
        on: day_of(commit.time),
        summary: commit.summary.clone(),
        decisions,
        others,
    }
}

/// The decisions that a commit names or carries out, as short as they can be named; and whether it changes the design in
/// records that none of them changes.
fn decisions(
    context: &Context,
    place: &Place,
    commit: &Commit,
    before: Option<&Loaded>,
    after: &Loaded,
) -> (Vec<String>, bool) {
    let named = commit.decisions.iter().map(|name| match after.ledger.decision(name) {
        Some(entry) => entry.id.clone(),
        None => name.clone(),
    });
    let mut all: BTreeSet<String> = named.collect();
    let edits = before.map(|before| diff(&before.ledger, &after.ledger));
    if let (Some(before), Some(edits)) = (before, &edits) {
        all.extend(context.carried_out(place, before, after, edits));
    }
    let short = |id: &String| {
        let short = short_id(id);
        if after.ledger.decision(short).is_some() { short.to_string() } else { id.clone() }
    };
    let others = edits.is_some_and(|edits| !all.is_empty() && changes_others(&edits, &after.ledger, &all));
    (all.iter().map(short).collect(), others)
}

/// The kinds of record that an aircraft is made of.
const DESIGN: [RecordKind; 7] = [
    RecordKind::Material,
    RecordKind::Process,
    RecordKind::Tool,
    RecordKind::Finish,
    RecordKind::Recipe,
    RecordKind::Panel,
    RecordKind::Assembly,
];

/// Whether something of the design differs in a record that none of some decisions changes.
fn changes_others(edits: &Edits, after: &Ledger, decisions: &BTreeSet<String>) -> bool {
    let own = decisions.iter().filter_map(|id| after.decisions.get(id));
    let own: BTreeSet<String> = own.flat_map(|entry| records(&entry.value)).collect();
    let counts = |change: &Change| {
        let kind = Address::parse(record_of(&change.address)).map(|own| own.kind());
        let is_design = kind.is_some_and(|kind| DESIGN.contains(&kind));
        change.facet.is_some()
            || is_design && (change.attribute.is_empty() || kind == Some(RecordKind::Assembly))
    };
    edits.changes.iter().any(|change| counts(change) && !own.contains(record_of(&change.address)))
}
