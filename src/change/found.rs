//! What came true of decisions, against what was predicted; and how far off predictions are as a rule.

use super::predicted::kilograms;
use crate::article::weigh::{MassStatement, Residual};
use crate::ledger::Ledger;
use crate::ledger::weighed::Standing;
use crate::qualify::verdict::Evaluation;
use crate::record::{Day, Decision, FoundDuty, FoundFigures, Predicted, Text};
use std::collections::{BTreeMap, BTreeSet};

/// When a decision was carried out, and by how much that moved the calculated mass.
#[derive(Debug, Clone, PartialEq)]
pub struct Application {
    /// The commit.
    pub commit: String,
    /// Its day.
    pub on: Day,
    /// Calculated mass of the programme after less before, in kg.
    pub delta_kg: f64,
}

/// Works out what came true of a decision by a day.
///
/// `statement` is the programme's mass statement, for the residuals of what was weighed.
pub fn found(
    (ledger, evaluation): (&Ledger, &Evaluation),
    statement: &MassStatement,
    decision: &Decision,
    applied: Option<&Application>,
    today: Day,
) -> FoundFigures {
    let start = since(decision, applied);
    let predicted = decision.predicted.as_ref();
    let mut duties = Vec::new();
    let mut last: Option<Day> = None;
    let mut used: BTreeSet<&str> = BTreeSet::new();
    let mut open = false;
    for expected in predicted.map(|own| own.lapsed.as_slice()).unwrap_or_default() {
        let duty = evaluation.duties.iter().find(|((showing, subject), _)| {
            showing == expected.showing.as_str() && subject.to_string() == expected.subject.as_str()
        });
        // One that is asked no more asks no test either.
        let Some((_, duty)) = duty else {
            duties.push(row(expected.showing.clone(), expected.subject.clone(), "ended", None));
            continue;
        };
        let verdict = duty.verdict();
        let since_then = duty.panels.values().flat_map(|judged| &judged.evidence).filter_map(|id| {
            let entry = ledger.evidence.get(id)?;
            let made = entry.value.made?;
            start.is_none_or(|start| made >= start).then_some((entry.id.as_str(), made))
        });
        let mut earned: Option<Day> = None;
        for (id, made) in since_then {
            used.insert(id);
            earned = earned.max(Some(made));
        }
        if verdict.is_closed() {
            last = last.max(earned);
        } else {
            open = true;
            earned = None;
        }
        duties.push(row(expected.showing.clone(), expected.subject.clone(), verdict.word(), earned));
    }
    let specimens: usize =
        used.iter().filter_map(|id| ledger.data.get(*id)).map(|data| data.rows.len()).sum();
    let until = if open { Some(today) } else { last };
    let weeks = match (start, until) {
        (Some(start), Some(until)) => Some(weeks_between(start, until)),
        // Nothing was asked, so nothing took time.
        (Some(_), None) if duties.is_empty() => Some(0.0),
        _ => None,
    };
    let (weighed, pieces) = match (predicted, applied) {
        (Some(predicted), Some(applied)) => weighed(predicted, statement, applied),
        _ => (None, 0),
    };
    FoundFigures {
        on: Some(today),
        applied: applied.map(|own| own.on),
        commit: applied.map(|own| Text::from(own.commit.as_str())),
        calculated: applied.and_then(|own| kilograms(own.delta_kg)),
        weighed: weighed.and_then(kilograms),
        pieces: (pieces > 0).then_some(pieces),
        finished: (applied.is_some() && predicted.is_some()).then_some(!open),
        duties,
        specimens: u32::try_from(specimens).ok().filter(|specimens| *specimens > 0),
        weeks,
        note: decision.found.as_ref().and_then(|own| own.0.note.clone()),
    }
}

fn row(showing: Text, subject: Text, verdict: &str, earned: Option<Day>) -> FoundDuty {
    FoundDuty { showing, subject, verdict: Text::from(verdict), earned }
}

/// The day from which the time counts: the last approval, or the day it was carried out.
fn since(decision: &Decision, applied: Option<&Application>) -> Option<Day> {
    decision.approvals.iter().map(|approval| approval.on).max().or(applied.map(|own| own.on))
}

fn weeks_between(from: Day, to: Day) -> f64 {
    let days = from.0.until(to.0).map_or(0, |span| span.get_days());
    (f64::from(days.max(0)) / 7.0 * 10.0).round() / 10.0
}

/// The predicted difference corrected by what the scale has said since: for each panel with pieces weighed after
/// the change and pieces weighed before, the mean residual of the ones less that of the others, times its quantity. A
/// panel that was never weighed before says nothing of the change: what it is off by may be as old as the panel.
/// Each piece counts once, by its last weighing on either side; one that is on hold or was disposed of does not
/// count. `None` where no panel has both. Common practice, no source.
fn weighed(predicted: &Predicted, statement: &MassStatement, applied: &Application) -> (Option<f64>, u32) {
    let mean = |all: &[&Residual]| all.iter().map(|one| one.kg()).sum::<f64>() / all.len() as f64;
    // What no panel has, as parts of assemblies, is in the whole alone.
    let (mut total, mut pieces) = (predicted.mass.si(), 0usize);
    for panel in predicted.panels.keys() {
        let Some(own) = statement.panels.iter().find(|one| one.panel == *panel) else { continue };
        let dated = |after: bool| -> Vec<&Residual> {
            let counts = |one: &&Residual| {
                one.on.is_some_and(|on| (on >= applied.on) == after)
                    && !matches!(one.standing, Standing::OnHold | Standing::Disposed)
                    // One of before that keeps no prediction is held against that of now, which has the change in
                    // it: the change would count twice.
                    && (after || one.as_built)
            };
            let mut last: BTreeMap<(bool, &str), &Residual> = BTreeMap::new();
            for one in own.residuals.iter().filter(counts) {
                // Two weighings without a serial may be of two pieces.
                let piece = one.serial.as_deref().map_or((true, &*one.weighing), |serial| (false, serial));
                let order = |one: &Residual| (one.on, one.condition, one.weighing.clone());
                let known = last.entry(piece).or_insert(one);
                if order(known) < order(one) {
                    *known = one;
                }
            }
            last.into_values().collect()
        };
        let (before, after) = (dated(false), dated(true));
        if after.is_empty() || before.is_empty() {
            continue;
        }
        pieces += after.len();
        total += (mean(&after) - mean(&before)) * own.quantity as f64;
    }
    ((pieces > 0).then_some(total), u32::try_from(pieces).unwrap_or(u32::MAX))
}

/// One decision that was held to its prediction.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// Its id.
    pub decision: String,
    /// Predicted difference of mass, kg.
    pub predicted_kg: f64,
    /// What it came to, kg: by the scale where anything was weighed, else as calculated.
    pub found_kg: Option<f64>,
    /// Whether the scale had a part in it.
    pub is_weighed: bool,
    /// Weeks predicted.
    pub predicted_weeks: f64,
    /// Weeks taken; `None` while a duty is open.
    pub found_weeks: Option<f64>,
    /// Weeks so far where a duty is open.
    pub weeks_so_far: Option<f64>,
    /// Specimens predicted and tested.
    pub specimens: (u32, Option<u32>),
}

/// How far off predictions are, over the decisions that were held to theirs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Calibration {
    /// The decisions.
    pub held: Vec<Held>,
    /// How many have a mass to compare.
    pub masses: usize,
    /// Mean of found less predicted mass, kg.
    pub mass_bias_kg: Option<f64>,
    /// Mean size of that difference, kg.
    pub mass_error_kg: Option<f64>,
    /// How many are finished, so that their weeks compare.
    pub finished: usize,
    /// Mean of weeks taken less weeks predicted.
    pub weeks_bias: Option<f64>,
    /// Weeks taken over weeks predicted, all together; `None` where none were predicted.
    pub weeks_ratio: Option<f64>,
}

/// Gathers the decisions with both a prediction and what was found, by id.
pub fn calibration(ledger: &Ledger) -> Calibration {
    let held: Vec<Held> =
        ledger.decisions.values().filter_map(|entry| held(&entry.id, &entry.value)).collect();
    let mean = |all: &[f64]| (!all.is_empty()).then(|| all.iter().sum::<f64>() / all.len() as f64);
    let masses: Vec<f64> = held.iter().filter_map(|one| Some(one.found_kg? - one.predicted_kg)).collect();
    let sizes: Vec<f64> = masses.iter().map(|one| one.abs()).collect();
    let weeks: Vec<(f64, f64)> =
        held.iter().filter_map(|one| Some((one.predicted_weeks, one.found_weeks?))).collect();
    let late: Vec<f64> = weeks.iter().map(|(predicted, found)| found - predicted).collect();
    let (said, took): (f64, f64) =
        weeks.iter().fold((0.0, 0.0), |sum, (predicted, found)| (sum.0 + predicted, sum.1 + found));
    Calibration {
        masses: masses.len(),
        mass_bias_kg: mean(&masses),
        mass_error_kg: mean(&sizes),
        finished: weeks.len(),
        weeks_bias: mean(&late),
        weeks_ratio: (said > 0.0).then(|| took / said),
        held,
    }
}

/// Reads one decision's prediction and what was found of it.
pub fn held(id: &str, decision: &Decision) -> Option<Held> {
    let (predicted, found) = (decision.predicted.as_ref()?, &decision.found.as_ref()?.0);
    // Words alone compare with nothing.
    found.on?;
    let kg = found.weighed.as_ref().or(found.calculated.as_ref()).map(|mass| mass.si());
    let finished = found.finished == Some(true);
    Some(Held {
        decision: id.to_string(),
        predicted_kg: predicted.mass.si(),
        found_kg: kg,
        is_weighed: found.weighed.is_some(),
        predicted_weeks: predicted.weeks,
        found_weeks: found.weeks.filter(|_| finished),
        weeks_so_far: found.weeks.filter(|_| !finished),
        specimens: (predicted.specimens, found.specimens),
    })
}
