//! What came true of decisions, against what was predicted; and how far off predictions are as a rule.

use super::diff::diff;
use super::impact::{renamed_subject, replacements};
use super::predicted::kilograms;
use crate::article::ArticleError;
use crate::article::weigh::{MassStatement, Residual};
use crate::ledger::Ledger;
use crate::ledger::weighed::Standing;
use crate::qualify::duty::DutyKey;
use crate::qualify::verdict::{Duty, Evaluation};
use crate::record::{
    Condition, Day, Decision, EvidenceKind, FoundDuty, FoundFigures, Phrase, Predicted, PredictedDuty,
    RecordKind, Text,
};
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
    /// The commit that took it back since, and its day, where one did.
    pub undone: Option<(String, Day)>,
}

/// What the duties that a prediction names are called now.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Successors {
    /// The duties that were asked with the decision carried out on the state that it was predicted on.
    known: BTreeSet<Named>,
    /// Those that stand under another name now.
    now: BTreeMap<Named, DutyKey>,
}

/// A duty by its showing and the words of its subject, as predictions write it.
type Named = (String, String);

fn named(key: &DutyKey) -> Named {
    (key.0.clone(), key.1.to_string())
}

impl Successors {
    /// Follows the duties of the state that a decision was predicted to leave to what they are now, as an impact
    /// follows what was renamed or replaced.
    ///
    /// # Errors
    /// [`ArticleError`] names a record without which there is no answer.
    pub fn of(
        (then, before): (&Ledger, &Evaluation),
        (ledger, evaluation): (&Ledger, &Evaluation),
    ) -> Result<Self, ArticleError> {
        let edits = diff(then, ledger);
        let mut now: BTreeMap<Named, DutyKey> = BTreeMap::new();
        for key in before.duties.keys().filter(|key| !evaluation.duties.contains_key(*key)) {
            let showing = edits.renamed.get(&(RecordKind::Showing, key.0.clone())).unwrap_or(&key.0);
            let new = (showing.clone(), renamed_subject(&key.1, &edits.renamed));
            if evaluation.duties.contains_key(&new) {
                now.insert(named(key), new);
            }
        }
        for (new, old) in replacements(then, before, ledger, evaluation, &edits)? {
            now.entry(named(&old)).or_insert(new);
        }
        Ok(Self { known: before.duties.keys().map(named).collect(), now })
    }
}

/// Works out what came true of a decision by a day.
///
/// `statement` is the programme's mass statement, for the residuals of what was weighed; `successors` says what the
/// predicted duties are called now; `done` is the day on which each piece of evidence was done, as
/// [`Past::done`](super::past::Past::done) finds it: when its article was made says nothing of that.
pub fn found(
    (ledger, evaluation): (&Ledger, &Evaluation),
    statement: &MassStatement,
    decision: &Decision,
    applied: Option<&Application>,
    successors: &Successors,
    (done, today): (&BTreeMap<String, Day>, Day),
) -> FoundFigures {
    let start = since(decision, applied);
    let predicted = decision.predicted.as_ref();
    let mut duties = Vec::new();
    let mut last: Option<Day> = None;
    let mut used: BTreeSet<&str> = BTreeSet::new();
    let mut open = false;
    for expected in predicted.map(|own| own.lapsed.as_slice()).unwrap_or_default() {
        let said: Named = (expected.showing.to_string(), expected.subject.to_string());
        let Some((key, duty)) = followed(evaluation, expected, successors) else {
            // One that was asked and is no more asks no test either; one that nobody knows proves nothing.
            let is_known = successors.known.contains(&said);
            open |= !is_known;
            duties.push(row(expected, None, if is_known { "ended" } else { NOT_FOUND }, None));
            continue;
        };
        let verdict = duty.verdict();
        let since_then = duty.panels.values().flat_map(|judged| &judged.evidence).filter_map(|id| {
            let done = *done.get(id.as_str())?;
            start.is_none_or(|start| done >= start).then_some((id.as_str(), done))
        });
        let mut earned: Option<Day> = None;
        for (id, done) in since_then {
            used.insert(id);
            earned = earned.max(Some(done));
        }
        if verdict.is_closed() {
            last = last.max(earned);
        } else {
            open = true;
            earned = None;
        }
        let now = (named(key) != said).then_some(key);
        duties.push(row(expected, now, verdict.word(), earned));
    }
    let specimens: usize = used.iter().map(|id| tested(ledger, id)).sum();
    let until = if open { Some(today) } else { last };
    let weeks = match (start, until) {
        (Some(start), Some(until)) => Some(weeks_between(start, until)),
        // Where nothing was asked, and where nothing was done, no time was measured.
        _ => None,
    };
    let (weighed, pieces, panels) = match (predicted, applied) {
        (Some(predicted), Some(applied)) => weighed(predicted, statement, applied),
        _ => (None, 0, 0),
    };
    FoundFigures {
        on: Some(today),
        applied: applied.map(|own| own.on),
        commit: applied.map(|own| Text::from(own.commit.as_str())),
        calculated: applied.and_then(|own| kilograms(own.delta_kg)),
        weighed: weighed.and_then(kilograms),
        pieces: (pieces > 0).then_some(pieces),
        weighed_panels: (panels > 0).then_some(panels),
        finished: (applied.is_some() && predicted.is_some()).then_some(!open),
        duties,
        specimens: u32::try_from(specimens).ok().filter(|specimens| *specimens > 0),
        weeks,
        note: decision.found.as_ref().and_then(|own| own.0.note.clone()),
    }
}

/// A predicted duty as it is asked now.
fn followed<'a>(
    evaluation: &'a Evaluation,
    expected: &PredictedDuty,
    successors: &Successors,
) -> Option<(&'a DutyKey, &'a Duty)> {
    let said: Named = (expected.showing.to_string(), expected.subject.to_string());
    let same = evaluation.duties.iter().find(|(key, _)| named(key) == said);
    same.or_else(|| evaluation.duties.get_key_value(successors.now.get(&said)?))
}

/// Returns the evidence that counts today for the duties that a decision was predicted to lapse.
pub fn evidence_for<'a>(
    evaluation: &'a Evaluation,
    decision: &Decision,
    successors: &Successors,
) -> BTreeSet<&'a str> {
    let lapsed = decision.predicted.iter().flat_map(|predicted| &predicted.lapsed);
    let duties = lapsed.filter_map(|expected| followed(evaluation, expected, successors));
    duties
        .flat_map(|(_, duty)| duty.panels.values().flat_map(|judged| &judged.evidence))
        .map(Phrase::as_str)
        .collect()
}

/// The verdict on a duty that no state at hand knows.
const NOT_FOUND: &str = "not found";

fn row(expected: &PredictedDuty, now: Option<&DutyKey>, verdict: &str, earned: Option<Day>) -> FoundDuty {
    FoundDuty {
        showing: expected.showing.clone(),
        subject: expected.subject.clone(),
        now: now.map(|(showing, subject)| Text::from(format!("{showing} on {subject}").as_str())),
        verdict: Text::from(verdict),
        earned,
    }
}

/// How many specimens a piece of evidence tested: those of its data that count, or the one article whose result is
/// written alone.
fn tested(ledger: &Ledger, id: &str) -> usize {
    match (ledger.data.get(id), ledger.evidence.get(id)) {
        (Some(data), _) => data.rows.iter().filter(|row| row.rejected.is_none()).count(),
        (None, Some(entry)) if matches!(entry.value.kind, EvidenceKind::Test | EvidenceKind::Equivalence) => {
            usize::from(entry.value.result.is_some())
        }
        _ => 0,
    }
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
/// the change, the mean of what they are off by more than pieces weighed before the change in the same condition, times
/// its quantity. What a bare piece is off by says nothing of a painted one: paint has its own. A panel that was never
/// weighed before in that condition says nothing of the change: what it is off by may be as old as the panel.
/// Each piece counts once, by its last weighing that has one to compare with; one that is on hold or was disposed of
/// does not count. `None` where no panel has both; beside it the pieces that counted, and the panels that they are of:
/// all other panels are in the sum as predicted. Common practice, no source.
fn weighed(
    predicted: &Predicted,
    statement: &MassStatement,
    applied: &Application,
) -> (Option<f64>, u32, u32) {
    let mean = |all: &[f64]| all.iter().sum::<f64>() / all.len() as f64;
    // What no panel has, as parts of assemblies, is in the whole alone.
    let (mut total, mut pieces, mut panels) = (predicted.mass.si(), 0usize, 0u32);
    for panel in predicted.panels.keys() {
        let Some(own) = statement.panels.iter().find(|one| one.panel == *panel) else { continue };
        // The last weighing of each piece among those that count.
        let last = |counts: &dyn Fn(&Residual) -> bool| -> Vec<&Residual> {
            let mut last: BTreeMap<(bool, &str), &Residual> = BTreeMap::new();
            let fit = |one: &&Residual| {
                !matches!(one.standing, Standing::OnHold | Standing::Disposed) && counts(one)
            };
            for one in own.residuals.iter().filter(fit) {
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
        let is_after = |one: &Residual| one.on.map(|on| on >= applied.on);
        let before = |condition: Condition| -> Option<f64> {
            // One of before that keeps no prediction is held against that of now, which has the change in it: the
            // change would count twice.
            let all = last(&|one| is_after(one) == Some(false) && one.as_built && one.condition == condition);
            let all: Vec<f64> = all.into_iter().map(Residual::kg).collect();
            (!all.is_empty()).then(|| mean(&all))
        };
        let known: BTreeMap<Condition, f64> = own
            .residuals
            .iter()
            .map(|one| one.condition)
            .collect::<BTreeSet<_>>()
            .into_iter()
            .filter_map(|condition| Some((condition, before(condition)?)))
            .collect();
        let after: Vec<f64> = last(&|one| is_after(one) == Some(true) && known.contains_key(&one.condition))
            .into_iter()
            .filter_map(|one| Some(one.kg() - known.get(&one.condition)?))
            .collect();
        if after.is_empty() {
            continue;
        }
        pieces += after.len();
        panels += 1;
        total += mean(&after) * own.quantity as f64;
    }
    ((pieces > 0).then_some(total), u32::try_from(pieces).unwrap_or(u32::MAX), panels)
}

/// One decision that was held to its prediction.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// Its id.
    pub decision: String,
    /// Predicted difference of mass, kg.
    pub predicted_kg: f64,
    /// What it came to by the scale, kg; `None` where nothing was weighed: the calculation is what predicted it.
    pub found_kg: Option<f64>,
    /// What it came to as calculated, kg.
    pub calculated_kg: Option<f64>,
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
    /// How many have a mass to compare, by the scale.
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
    let finished = found.finished == Some(true);
    // Of a decision that was to lapse nothing no time was measured, though older records say that it took none.
    let weeks = found.weeks.filter(|_| !predicted.lapsed.is_empty());
    Some(Held {
        decision: id.to_string(),
        predicted_kg: predicted.mass.si(),
        found_kg: found.weighed.as_ref().map(|mass| mass.si()),
        calculated_kg: found.calculated.as_ref().map(|mass| mass.si()),
        predicted_weeks: predicted.weeks,
        found_weeks: weeks.filter(|_| finished),
        weeks_so_far: weeks.filter(|_| !finished),
        specimens: (predicted.specimens, found.specimens),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::article::weigh::{Method, Scope, statement_by};
    use crate::ledger::MemoryRecall;
    use crate::source::Snapshot;

    /// One panel of 10 kg predicted, with weighings `serial condition day kg disposed`; the change of 2026-03-01 was
    /// predicted to take 1 kg off. Returns the weighed difference and the pieces.
    fn found_of(weighings: &[(&str, &str, &str, f64, bool)]) -> (Option<f64>, u32) {
        let mut files: BTreeMap<String, Vec<u8>> = BTreeMap::new();
        let mut add = |file: &str, text: String| drop(files.insert(file.to_string(), text.into_bytes()));
        add("ledger.yaml", "format: 1\nprogramme: Test (invented)\n".to_string());
        add("materials/plate.yaml", "kind: sheet\ndensity: 1000 kg/m3\nE: 3 GPa\n".to_string());
        add(
            "panels/hatch.yaml",
            "zones:\n  - {name: all, area: 1 m2, sheet: {material: plate, thickness: 10 mm}}\n".to_string(),
        );
        for (at, (serial, condition, day, kg, disposed)) in weighings.iter().enumerate() {
            let disposed = match disposed {
                true => "disposition: {cause: resin-rich, by: chief engineer, on: 2026-05-02}\n",
                false => "",
            };
            add(
                &format!("weighings/w{at}.yaml"),
                format!(
                    "panel: hatch\nserial: {serial}\nmass: {kg} kg\non: {day}\nas_built: {{predicted: 10 kg}}\ncondition: {condition}\nexplained: invented\n{disposed}"
                ),
            );
        }
        let ledger = Ledger::load(&Snapshot::in_memory(files), &MemoryRecall::new());
        assert!(ledger.broken.is_empty(), "{:?}", ledger.faults);
        let statement = statement_by(&ledger, Scope::Programme, Method::Causes).unwrap();
        let predicted: Predicted =
            serde_yaml::from_str("mass: -1 kg\npanels: {hatch: -1 kg}\nspecimens: 0\nweeks: 0\n").unwrap();
        let applied = Application {
            commit: String::new(),
            on: Day::parse("2026-03-01").unwrap(),
            delta_kg: -1.0,
            undone: None,
        };
        let (kg, pieces, panels) = weighed(&predicted, &statement, &applied);
        assert_eq!(panels, u32::from(pieces > 0), "one panel, weighed where any piece of it was");
        (kg, pieces)
    }

    fn close(found: (Option<f64>, u32), kg: f64, pieces: u32) {
        assert!(found.0.is_some_and(|own| (own - kg).abs() < 1e-9) && found.1 == pieces, "{found:?}");
    }

    /// By hand: 0.3 kg over the prediction before, 0.1 kg after: the change took 0.2 kg more off than its 1 kg.
    #[test]
    fn each_piece_counts_once_and_only_beside_what_was_weighed_before() {
        let before = ("A", "painted", "2026-01-10", 10.3, false);
        let after = ("B", "painted", "2026-04-03", 10.1, false);
        close(found_of(&[before, after]), -1.2, 1);
        // The same piece bare and primed on the days before: it is still one, as it was last.
        let bare = ("B", "bare", "2026-04-01", 10.7, false);
        let primed = ("B", "primed", "2026-04-02", 10.4, false);
        close(found_of(&[before, bare, primed, after]), -1.2, 1);
        // A second piece counts as much as the first, however often that was weighed: mean 0.2 over.
        let other = ("C", "painted", "2026-04-04", 10.3, false);
        close(found_of(&[before, bare, primed, after, other]), -1.1, 2);
        // One that was disposed of does not count, on either side.
        let scrap = ("D", "painted", "2026-04-05", 12.0, true);
        close(found_of(&[before, after, scrap]), -1.2, 1);
        assert_eq!(found_of(&[("A", "painted", "2026-01-10", 12.0, true), after]), (None, 0));
    }

    #[test]
    fn a_panel_that_was_never_weighed_before_says_nothing_of_the_change() {
        assert_eq!(found_of(&[("B", "painted", "2026-04-03", 10.4, false)]), (None, 0));
        assert_eq!(found_of(&[("A", "painted", "2026-01-10", 10.4, false)]), (None, 0));
        assert_eq!(found_of(&[]), (None, 0));
    }
}
