//! When each step starts, how long it takes, and what decides the end.

use super::articles::{Shared, leader};
use super::{PlanStep, StepKind};
use crate::article::Subject;
use crate::ledger::Ledger;
use crate::qualify::judge::Reason;
use crate::qualify::rests::{RESTS_ON, related};
use crate::qualify::verdict::{Duty, Evaluation};
use std::collections::BTreeSet;

/// Starts each step after the latest finish of what it names by `after`, and counts its weeks: lead, lay-up,
/// conditioning, test. What a step shares is there when the first of those that share it has it ready.
pub(super) fn schedule(ledger: &Ledger, evaluation: &Evaluation, steps: &mut [PlanStep], shared: &Shared) {
    let before: Vec<Vec<usize>> =
        (0..steps.len()).map(|at| waited_for(ledger, evaluation, steps, at)).collect();
    // At most as many rounds as steps: a circle is a fault elsewhere and must only end here.
    for _ in 0..=steps.len() {
        for (at, weeks) in durations(steps, shared).into_iter().enumerate() {
            if let Some(step) = steps.get_mut(at) {
                step.weeks = weeks;
            }
        }
        let starts: Vec<f64> = before
            .iter()
            .map(|needed| {
                let finish = |at: &usize| steps.get(*at).map(PlanStep::finish);
                needed.iter().filter_map(finish).fold(0.0, f64::max)
            })
            .collect();
        let mut moved = false;
        for (step, start) in steps.iter_mut().zip(starts) {
            moved |= (step.start - start).abs() > 0.0;
            step.start = start;
        }
        if !moved {
            break;
        }
    }
    for group in &shared.chambers {
        let Some(first) = leader(steps, group) else { continue };
        let name = steps.get(first).map(PlanStep::name);
        for at in group.iter().filter(|at| **at != first) {
            if let Some(step) = steps.get_mut(*at) {
                step.conditioned_with.clone_from(&name);
            }
        }
    }
}

/// Weeks of each step from its start.
fn durations(steps: &[PlanStep], shared: &Shared) -> Vec<f64> {
    let first_of = |groups: &[Vec<usize>], at: usize| {
        let group = groups.iter().find(|group| group.contains(&at))?;
        leader(steps, group).filter(|first| *first != at).and_then(|first| steps.get(first))
    };
    // Panels that lie there when a step begins with them need no lay-up; what is laid up at the same time is
    // ready no sooner, since its specimens may take longer to machine.
    let laid = |at: usize, step: &PlanStep| {
        let begins = step.start + step.lead_weeks;
        match first_of(&shared.layups, at) {
            Some(first) if first.start + first.lead_weeks + first.layup_weeks <= begins => begins,
            _ => begins + step.layup_weeks,
        }
    };
    let one = |(at, step): (usize, &PlanStep)| {
        let ready = laid(at, step);
        let conditioned = match first_of(&shared.chambers, at) {
            Some(first) => {
                let place = steps.iter().position(|other| std::ptr::eq(other, first));
                let theirs = place.map_or(ready, |place| laid(place, first)) + first.conditioning_weeks;
                (ready + step.conditioning_weeks).min(theirs.max(ready))
            }
            None => ready + step.conditioning_weeks,
        };
        conditioned + step.test_weeks - step.start
    };
    steps.iter().enumerate().map(one).collect()
}

/// Steps that have to be finished before one can start: those of the showings that it names by `after`, on
/// related subjects. What a verdict rests on is waited for only by the verdict, not by a test.
fn waited_for(ledger: &Ledger, evaluation: &Evaluation, steps: &[PlanStep], at: usize) -> Vec<usize> {
    let uses = &evaluation.uses;
    let Some((step, entry)) =
        steps.get(at).and_then(|step| Some((step, ledger.showings.get(&step.showing)?)))
    else {
        return Vec::new();
    };
    // By the reasons, since what is computed rests on whatever its design values come from.
    let rests: BTreeSet<String> = match step.kind {
        StepKind::RestsOn => {
            let duties = step.closes.iter().filter_map(|subject| {
                evaluation.duties.get(&(step.showing.clone(), subject.clone())).map(Duty::because)
            });
            let on = |reason: &Reason| {
                let named = reason.attribute.strip_prefix("showing/").filter(|_| reason.rule == RESTS_ON)?;
                Some(named.split(' ').next().unwrap_or(named).to_string())
            };
            duties.flatten().filter_map(|reason| on(&reason)).collect()
        }
        _ => BTreeSet::new(),
    };
    let after = entry.value.after.iter().map(|needed| needed.id());
    let needed: Vec<&str> = after.chain(rests.iter().map(String::as_str)).collect();
    let touches = |other: &PlanStep| {
        let pair = |one: &Subject, two: &Subject| related(ledger, uses, one, two).unwrap_or(true);
        step.closes.iter().any(|one| other.closes.iter().any(|two| pair(one, two)))
    };
    steps
        .iter()
        .enumerate()
        .filter(|(place, other)| *place != at && other.showing != step.showing)
        .filter(|(_, other)| needed.contains(&other.showing.as_str()) && touches(other))
        .map(|(place, _)| place)
        .collect()
}

/// Puts the steps in the order of their start and name, and returns the names of those on the critical path,
/// first to last: from the latest finish backwards, each time to what was waited for; among equals the
/// smaller name.
pub(super) fn order_and_walk(
    ledger: &Ledger,
    evaluation: &Evaluation,
    steps: &mut [PlanStep],
) -> Vec<String> {
    steps.sort_by(|one, two| {
        one.start
            .total_cmp(&two.start)
            .then_with(|| one.name().cmp(&two.name()))
            .then(one.kind.cmp(&two.kind))
    });
    let mut here = steps
        .iter()
        .enumerate()
        .filter(|(_, step)| step.finish() > 0.0)
        .max_by(|(_, one), (_, two)| {
            one.finish().total_cmp(&two.finish()).then_with(|| two.name().cmp(&one.name()))
        })
        .map(|(at, _)| at);
    let mut path = Vec::new();
    while let Some((at, step)) =
        here.filter(|_| path.len() <= steps.len()).and_then(|at| Some((at, steps.get(at)?)))
    {
        path.push(step.name());
        if step.start <= 0.0 {
            break;
        }
        here = waited_for(ledger, evaluation, steps, at)
            .into_iter()
            .filter_map(|place| Some((place, steps.get(place)?)))
            .filter(|(_, other)| (other.finish() - step.start).abs() < 1e-9)
            .min_by_key(|(_, other)| other.name())
            .map(|(place, _)| place);
    }
    path.reverse();
    path
}
