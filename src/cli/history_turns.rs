//! `bondline history --lapsed EVIDENCE` and `--grew PANEL`: the commits in which something turned.

use super::context::{Context, Failure, Loaded, Status, address, nearest, unreadable};
use super::history::made;
use crate::article::weigh::panel_mass;
use crate::change::diff::{Edits, diff};
use crate::change::explain::record_of;
use crate::change::followed::{called_before, edits_of};
use crate::change::impact::renamed_subject;
use crate::change::turns::turns;
use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::qualify::verdict::{DutyKey, Evaluation, Verdict, evaluate_beside};
use crate::record::{Address, RecordKind};
use crate::report::history::Made;
use crate::report::turns::{self as view, Growth, Lapse, Lost};
use crate::source::{Commit, Place};
use std::collections::BTreeSet;
use std::io::Write;

/// A line of commits, oldest first, and how its states are read.
struct Line<'a> {
    context: &'a Context,
    place: &'a Place,
    commits: Vec<&'a Commit>,
}

impl Line<'_> {
    /// The state after a commit; `None` where it holds no ledger or is not here.
    fn state(&self, at: usize) -> Option<Loaded> {
        let commit = self.commits.get(at)?;
        Some(self.context.read(self.place.revision(&commit.id).ok()?))
    }

    /// Finds the turns of what a record comes to, back through the names that it had: the place of each commit with
    /// the name that the record has in it.
    fn turns<T: PartialEq>(
        &self,
        address: &Address,
        mut value: impl FnMut(&Loaded, &str) -> T,
    ) -> Vec<(usize, String)> {
        let mut found = Vec::new();
        let (mut end, mut name) = (self.commits.len(), address.id().to_string());
        loop {
            let turned = turns(end, |at| {
                let state = self.state(at);
                Ok::<_, std::convert::Infallible>(state.map(|state| {
                    let own = Address::new(address.kind(), name.clone());
                    state.ledger.file_of(&own).is_some().then(|| value(&state, &name))
                }))
            });
            let Ok(turned) = turned;
            let first = turned.first().copied();
            found.extend(turned.into_iter().map(|at| (at, name.clone())));
            // It came by another name, or was new.
            let before = first.and_then(|at| {
                let (before, after, edits) = self.edits(at)?;
                let own = Address::new(address.kind(), name.clone());
                let old = called_before((&before.ledger, &after.ledger), &edits, &own);
                old.map(|old| (at, old))
            });
            match before {
                Some((at, old)) => (end, name) = (at, old),
                None => break,
            }
        }
        found.sort();
        found
    }

    /// The states before and after a commit, and what differs between them.
    fn edits(&self, at: usize) -> Option<(Loaded, Loaded, Edits)> {
        let (before, after) = (self.state(at.checked_sub(1)?)?, self.state(at)?);
        let edits = diff(&before.ledger, &after.ledger);
        Some((before, after, edits))
    }

    /// As [`Line::edits`], with the name that a record of this one's kind had before the commit.
    fn step(&self, at: usize, own: &Address) -> Option<(Loaded, Loaded, Edits, String)> {
        let (before, after, edits) = self.edits(at)?;
        let old = called_before((&before.ledger, &after.ledger), &edits, own);
        let old = old.unwrap_or_else(|| own.id().to_string());
        let edits = edits_of((&before.ledger, &after.ledger), edits, own, &old);
        Some((before, after, edits, old))
    }

    fn made(&self, at: usize, before: &Loaded, after: &Loaded) -> Option<Made> {
        Some(made(self.context, self.place, self.commits.get(at)?, Some(before), after))
    }
}

fn line<'a>(context: &'a Context, place: &'a Place, commits: &'a [Commit]) -> Line<'a> {
    Line { context, place, commits: commits.iter().rev().collect() }
}

fn named(now: &Loaded, text: &str, kind: RecordKind, names: Vec<&String>) -> Result<Address, Failure> {
    let found = address(text, &[kind], &now.ledger).filter(|found| found.kind() == kind);
    if let Some(failure) = found.as_ref().and_then(|found| unreadable(&now.ledger, found)) {
        return Err(failure);
    }
    found.filter(|found| now.ledger.file_of(found).is_some()).ok_or_else(|| {
        let names: Vec<&str> = names.into_iter().map(String::as_str).collect();
        Failure::new(format!("no {kind} is called `{text}`"), nearest(text, &names))
    })
}

/// The duties that evidence proves in a state, with the panels; evaluations beside each other share what is the same.
fn proved(evaluation: &Evaluation, evidence: &str) -> BTreeSet<(DutyKey, String)> {
    leaning(evaluation, evidence, Verdict::Met)
}

/// The duties with a verdict that leans on evidence, with the panels.
fn leaning(evaluation: &Evaluation, evidence: &str, verdict: Verdict) -> BTreeSet<(DutyKey, String)> {
    let mut all = BTreeSet::new();
    for (key, duty) in &evaluation.duties {
        for (panel, judged) in &*duty.panels {
            if judged.verdict == verdict && judged.has_evidence(evidence) {
                all.insert((key.clone(), panel.clone()));
            }
        }
    }
    all
}

/// A duty and its panel as they are called after some edits: what was only renamed proves what it proved.
fn called_now(((showing, subject), panel): (DutyKey, String), edits: &Edits) -> (DutyKey, String) {
    let now = |kind: RecordKind, id: String| edits.renamed.get(&(kind, id.clone())).cloned().unwrap_or(id);
    let subject = renamed_subject(&subject, &edits.renamed);
    ((now(RecordKind::Showing, showing), subject), now(RecordKind::Panel, panel))
}

/// What extends evidence and proves something, with how much: values stay those of what is extended.
fn through(ledger: &Ledger, evaluation: &Evaluation, evidence: &str) -> Vec<(String, usize)> {
    let all = ledger.evidence.values().filter(|one| one.value.extends(evidence));
    let counted = all.map(|one| (one.id.clone(), proved(evaluation, &one.id).len()));
    counted.filter(|(_, count)| *count > 0).collect()
}

/// Judges one state after the other, each beside the last.
struct Judge<'a> {
    context: &'a Context,
    last: Option<Evaluation>,
}

impl Judge<'_> {
    fn of(&mut self, ledger: &Ledger) -> Option<&Evaluation> {
        let found = match &self.last {
            Some(other) => evaluate_beside(ledger, self.context.today, other),
            None => self.context.judged(ledger),
        };
        self.last = found.ok();
        self.last.as_ref()
    }
}

/// Answers `history --lapsed`.
///
/// # Errors
/// [`Failure`] where there is no such evidence.
pub(super) fn lapsed(
    context: &Context,
    place: &Place,
    (now, commits): (&Loaded, &[Commit]),
    text: &str,
    all: bool,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let own = named(now, text, RecordKind::Evidence, now.ledger.evidence.keys().collect())?;
    let line = line(context, place, commits);
    let mut judge = Judge { context, last: None };
    let evaluation = judge.of(&now.ledger);
    let proves = evaluation.map_or(0, |found| proved(found, own.id()).len());
    let conceded = evaluation.map_or(0, |found| leaning(found, own.id(), Verdict::Conceded).len());
    let through = evaluation.map_or_else(Vec::new, |found| through(&now.ledger, found, own.id()));
    let turned = line.turns(&own, |state, name| judge.of(&state.ledger).map(|found| proved(found, name)));
    let mut found = Vec::new();
    for (at, name) in turned {
        let own = Address::new(RecordKind::Evidence, name.clone());
        let Some((before, after, edits, old)) = line.step(at, &own) else { continue };
        let Some(was) = judge.of(&before.ledger).map(|was| proved(was, &old)) else { continue };
        let Some(is) = judge.of(&after.ledger) else { continue };
        let kept = proved(is, &name);
        let lost: Vec<Lost> = was
            .into_iter()
            .map(|one| called_now(one, &edits))
            .filter(|one| !kept.contains(one))
            .map(|(key, panel)| {
                let now = is.duties.get(&key).and_then(|duty| duty.panels.get(&panel)).map(|own| &**own);
                Lost::of(key, panel, now)
            })
            .collect();
        if lost.is_empty() {
            continue;
        }
        found.extend(line.made(at, &before, &after).map(|made| Lapse { made, lost }));
    }
    found.reverse();
    if context.json() {
        writeln!(out, "{:#}", view::lapsed_json(&own.to_string(), (proves, conceded), &found))?;
    } else {
        let frame = context.frame(&now.ledger, all);
        write!(out, "{}", view::lapsed_text(&own.to_string(), (proves, conceded, &through), &found, &frame))?;
    }
    Ok(Status::Done)
}

/// Answers `history --grew`.
///
/// # Errors
/// [`Failure`] where there is no such panel.
pub(super) fn grew(
    context: &Context,
    place: &Place,
    (now, commits): (&Loaded, &[Commit]),
    text: &str,
    all: bool,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let own = named(now, text, RecordKind::Panel, now.ledger.panels.keys().collect())?;
    let line = line(context, place, commits);
    // To the milligram, so that the order of summing makes no turn.
    let milligrams = |kg: f64| format!("{kg:.6}");
    let turned = line.turns(&own, |state, name| panel_mass(&state.ledger, name).ok().map(milligrams));
    let mut found = Vec::new();
    for (at, name) in turned {
        let own = Address::new(RecordKind::Panel, name.clone());
        let Some((before, after, edits, old)) = line.step(at, &own) else { continue };
        let (Ok(was), Ok(is)) = (panel_mass(&before.ledger, &old), panel_mass(&after.ledger, &name)) else {
            continue;
        };
        if is <= was {
            continue;
        }
        let below = Uses::of(&after.ledger).reach(&own);
        let mut below: BTreeSet<String> = below.into_iter().map(|one| one.address.to_string()).collect();
        below.insert(own.to_string());
        let changes =
            edits.changes.into_iter().filter(|one| below.contains(record_of(&one.address))).collect();
        let made = line.made(at, &before, &after);
        found.extend(made.map(|made| Growth { made, was_kg: was, kg: is, changes }));
    }
    found.reverse();
    let kg = panel_mass(&now.ledger, own.id()).ok();
    if context.json() {
        writeln!(out, "{:#}", view::grew_json(&own.to_string(), kg, &found))?;
    } else {
        let frame = context.frame(&now.ledger, all);
        write!(out, "{}", view::grew_text(&own.to_string(), kg, &found, &frame))?;
    }
    Ok(Status::Done)
}
