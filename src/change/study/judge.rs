//! One candidate judged in full: what it saves, what it un-proves, and what proves it again.

use super::reach::{above, is_made_of, kin, reach};
use super::space::{Choice, Space};
use super::weigh::left_behind;
use super::{Room, StudyError};
use crate::article::Subject;
use crate::article::weigh::programme_mass;
use crate::change::budget::exceeded;
use crate::change::cost::{self, CostMove};
use crate::change::impact::{grounded, moved, worse};
use crate::change::margins::{Side, lost};
use crate::change::weaker::{Weaker, weaker};
use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::qualify::margins::{HeatReport, Margin, PanelMargins, heat_of, margins_with, signed};
use crate::qualify::retest::{StepKind, plan};
use crate::qualify::verdict::{DutyKey, Evaluation, Verdict, evaluate_beside};
use crate::record::{Address, ComputedCheck, Keep, Limits, RecordKind};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What a candidate is thrown out by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Criterion {
    /// It leaves a fault behind in a record.
    Broken,
    /// A rule of the lay-up.
    Stack(super::stacks::StackRule),
    /// A budget that is kept now.
    Budgets,
    /// A duty fails: no test would show anything else.
    Failed,
    /// A skin gets too hot.
    Temperature,
    /// A margin is too small, or can no longer be computed.
    Margins,
    /// The tests take too long.
    Weeks,
    /// The tests cost too much.
    Cost,
}

impl Criterion {
    /// Returns the word: the key of `keep` or `limits`, else one of its own.
    pub fn word(self) -> &'static str {
        match self {
            Criterion::Broken => "broken-record",
            Criterion::Stack(rule) => rule.word(),
            Criterion::Budgets => "budgets",
            Criterion::Failed => "failed-duty",
            Criterion::Temperature => "temperature",
            Criterion::Margins => "margins",
            Criterion::Weeks => "weeks",
            Criterion::Cost => "cost",
        }
    }
}

/// Why a candidate is thrown out.
#[derive(Debug, Clone, PartialEq)]
pub struct Thrown {
    /// The candidate.
    pub choice: Choice,
    /// What it would change the mass by, kg.
    pub delta: f64,
    /// By what.
    pub criterion: Criterion,
    /// Why, in words.
    pub words: String,
    /// How far it is from being kept, in the criterion's own measure, where it has one.
    pub shortfall: Option<f64>,
    /// The variations that decide it: every candidate that has the same options there is thrown out too.
    pub decided_by: Vec<usize>,
}

/// A panel that is made of what a candidate changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TouchedPanel {
    /// The panel.
    pub panel: String,
    /// Whether it is released.
    pub released: bool,
    /// Whether a margin is computed for it: without one, `keep.margins` holds nothing of it.
    pub has_margin: bool,
}

/// The least margin of the panels that a candidate changes.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastMargin {
    /// The panel.
    pub panel: String,
    /// The load case.
    pub case: String,
    /// How it fails.
    pub mode: String,
    /// The margin.
    pub margin: f64,
}

/// A candidate that keeps what must be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Which option of each variation.
    pub choice: Choice,
    /// What it changes the programme's mass by, kg.
    pub delta: f64,
    /// The programme's mass, kg.
    pub kg: f64,
    /// Weeks until the last test is reported.
    pub weeks: f64,
    /// Cost of the tests, where nothing is missing.
    pub cost: Option<f64>,
    /// The part of the cost that is known.
    pub known_cost: f64,
    /// What is missing for the cost.
    pub missing: Vec<String>,
    /// Specimens.
    pub specimens: u32,
    /// Test panels.
    pub panels: u32,
    /// The duties that have to be proved again, each with its verdict and what it asks.
    pub duties: Vec<(DutyKey, Verdict, String)>,
    /// Duties on what it changes that are not met or conceded and were not before: nobody asks more than that, and
    /// nothing is proved of it either.
    pub open: Vec<(DutyKey, Verdict)>,
    /// The showings that are tested again.
    pub tested: BTreeSet<String>,
    /// What is made and tested: the step by its name, specimens and panels.
    pub tests: Vec<(String, u32, u32)>,
    /// What it asks less than now, or may: a candidate that lowers what is asked has shown nothing.
    pub weaker: Vec<Weaker>,
    /// The panels that are made of what it changes, sorted.
    pub touched: Vec<TouchedPanel>,
    /// Released panels that would no longer be covered.
    pub grounded: Vec<String>,
    /// The least margin of the panels that change.
    pub least: Option<LeastMargin>,
    /// What one aircraft costs to make, before and after; `None` where nothing is priced.
    pub unit_cost: Option<CostMove>,
}

impl Row {
    /// Returns whether it asks for nothing that is not asked for already, by what is asked now.
    pub fn asks_nothing(&self) -> bool {
        self.duties.is_empty() && !self.is_weakened()
    }

    /// Returns whether it lowers what is asked, or may.
    pub fn is_weakened(&self) -> bool {
        !self.weaker.is_empty()
    }

    /// Returns whether nothing has to be proved again, and all of what it changes is proved.
    pub fn is_free(&self) -> bool {
        self.asks_nothing() && self.open.is_empty()
    }

    /// Returns whether this is at least as good as another in everything that counts, and better in something.
    ///
    /// A cost that is not known may be anything from its known part up: it is no better than any other, and a cost
    /// that is known is no worse than it where it is no more than that part. The very same tests cost the same, known
    /// or not. So what beats another beats all that this one beats.
    pub fn dominates(&self, other: &Row) -> bool {
        // What asks less is no answer to the same question.
        if self.is_weakened() && !other.is_weakened() {
            return false;
        }
        let same = self.costs_the_same(other);
        let (mut no_worse, mut better) = (same, false);
        if let (Some(cost), false) = (self.cost, same) {
            let other = other.cost.map_or((other.known_cost, true), |cost| (cost, false));
            no_worse = cost <= other.0;
            better = cost < other.0 || other.1;
        }
        let mut compare = |own: f64, other: f64| {
            no_worse &= own <= other;
            better |= own < other;
        };
        compare(grams(self.delta), grams(other.delta));
        compare(self.weeks, other.weeks);
        no_worse && better
    }

    /// Whether the tests cost the same for sure: known costs that are equal, or the very same tests.
    pub(super) fn costs_the_same(&self, other: &Row) -> bool {
        match (self.cost, other.cost) {
            (Some(own), Some(other)) => own.total_cmp(&other).is_eq(),
            (None, None) => {
                (&self.tests, &self.missing) == (&other.tests, &other.missing)
                    && self.known_cost.total_cmp(&other.known_cost).is_eq()
            }
            _ => false,
        }
    }
}

/// Masses that differ by less than a milligram are one: it is the order of summing. In kg.
const SAME_MASS: f64 = 1e-6;

/// A mass in g, as masses are compared: see [`SAME_MASS`].
pub(super) fn grams(kg: f64) -> f64 {
    (kg * 1e6).round() / 1e3
}

/// What comes of a candidate.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// It keeps what must be kept.
    Kept(Box<Row>),
    /// It does not.
    Thrown(Box<Thrown>),
}

/// Judges candidates of one study.
pub(super) struct Judge<'a> {
    pub(super) room: &'a Room<'a>,
    pub(super) space: &'a Space,
    pub(super) keep: &'a Keep,
    pub(super) limits: &'a Limits,
    pub(super) base_kg: f64,
    /// The panels that each variation reaches.
    reach: Vec<BTreeSet<String>>,
    /// The records that each variation changes, and all that have them.
    above: Vec<BTreeSet<Address>>,
    /// Panels whose verdicts may stand in for a panel's own, by that panel.
    kin: BTreeMap<String, BTreeSet<String>>,
    /// What is computed of panels as they stand, once somebody asked.
    margins: Mutex<BTreeMap<String, Arc<PanelMargins>>>,
    heat: Mutex<BTreeMap<String, Arc<Vec<HeatReport>>>>,
    /// Candidates that weigh something else than their blocks add up to: both differences in kg.
    misweighed: Mutex<BTreeMap<Choice, (f64, f64)>>,
}

impl<'a> Judge<'a> {
    pub(super) fn new(
        room: &'a Room<'a>,
        space: &'a Space,
        (keep, limits): (&'a Keep, &'a Limits),
        base_kg: f64,
    ) -> Self {
        let uses = Uses::of(room.ledger);
        let reach = reach(room.ledger, &uses, space);
        let kin = kin(room, &uses, space, &reach);
        let (margins, heat, misweighed) = (Mutex::default(), Mutex::default(), Mutex::default());
        let above = above(&uses, space);
        Self { room, space, keep, limits, base_kg, reach, above, kin, margins, heat, misweighed }
    }

    /// The first candidate, in the order of choices, that weighs something else than its blocks add up to: what was
    /// estimated and what it weighs, kg of difference. With one, nothing is proved of those that were not judged.
    pub(super) fn misweighed(&self) -> Option<(Choice, f64, f64)> {
        let own = locked(&self.misweighed);
        own.first_key_value().map(|(choice, (sum, weighed))| (choice.clone(), *sum, *weighed))
    }

    /// The variations that what is computed of a panel may depend on: those that reach it, or a panel whose
    /// verdict may stand in for its own.
    fn behind(&self, panel: &str) -> Vec<usize> {
        let alone = BTreeSet::from([panel.to_string()]);
        let near = self.kin.get(panel).unwrap_or(&alone);
        let reaches = |own: &BTreeSet<String>| own.contains(panel) || !own.is_disjoint(near);
        self.reach.iter().enumerate().filter(|(_, own)| reaches(own)).map(|(at, _)| at).collect()
    }

    /// As [`Judge::behind`], without coats: strength, stiffness and heat know a paint by its colour alone.
    fn behind_structure(&self, panel: &str) -> Vec<usize> {
        let coats = |at: &usize| {
            self.space.variations.get(*at).is_some_and(|own| {
                own.places.iter().all(|place| {
                    place.address.kind() == RecordKind::Finish && place.route.starts_with("coats.")
                })
            })
        };
        self.behind(panel).into_iter().filter(|at| !coats(at)).collect()
    }

    /// Judges one candidate.
    ///
    /// # Errors
    /// [`StudyError`] where the ledger as it stands has no answer.
    pub(super) fn judge(&self, choice: &[u16], delta: f64) -> Result<Outcome, StudyError> {
        let room = self.room;
        let thrown = |criterion, words: String, shortfall, decided_by: Vec<usize>| {
            let choice = choice.to_vec();
            Ok(Outcome::Thrown(Box::new(Thrown { choice, delta, criterion, words, shortfall, decided_by })))
        };
        let all = || (0..choice.len()).collect::<Vec<usize>>();
        let head = match room.load(self.space, choice) {
            Ok(head) => head,
            Err(StudyError::Decide(problem)) => {
                return thrown(Criterion::Broken, problem.to_string(), None, all());
            }
            Err(problem) => return Err(problem),
        };
        if let Some(left) = left_behind(room.ledger, &head) {
            return thrown(Criterion::Broken, left, None, all());
        }
        let kg = match programme_mass(&head) {
            Ok(kg) => kg,
            Err(problem) => return thrown(Criterion::Broken, problem.to_string(), None, all()),
        };
        if (kg - self.base_kg - delta).abs() > SAME_MASS {
            locked(&self.misweighed).insert(choice.to_vec(), (delta, kg - self.base_kg));
        }
        if self.keep.budgets == Some(true)
            && let Some((words, over)) = over_budget(room.ledger, &head)?
        {
            return thrown(Criterion::Budgets, words, Some(over), all());
        }
        let after = match evaluate_beside(&head, room.today, room.evaluation) {
            Ok(after) => after,
            Err(problem) => return thrown(Criterion::Broken, problem.to_string(), None, all()),
        };
        let before = (room.ledger, room.evaluation);
        let found = moved(before, (&head, &after))?;
        let changed = self.changed(&head, &after);
        if self.keep.temperature == Some(true) {
            for panel in &changed {
                if let Some((words, over)) = self.too_hot((&head, &after), panel)? {
                    return thrown(Criterion::Temperature, words, Some(over), self.behind_structure(panel));
                }
            }
        }
        let mut least: Option<LeastMargin> = None;
        for panel in &changed {
            match self.margins((&head, &after), panel)? {
                Ok(own) => {
                    let lower =
                        |own: &LeastMargin| least.as_ref().is_none_or(|known| own.margin < known.margin);
                    if let Some(own) = own.filter(lower) {
                        least = Some(own);
                    }
                }
                Err((words, below)) => {
                    return thrown(Criterion::Margins, words, below, self.behind_structure(panel));
                }
            }
        }
        if let Some(failed) = found.duties.iter().find(|row| row.is_worse() && row.now == Verdict::Failed) {
            let why = failed.because.first().map_or(String::new(), |reason| format!(": {}", reason.is));
            let words = format!("{} {} fails{why}", failed.showing, failed.subject);
            let duty = after.duties.get(&(failed.showing.clone(), failed.subject.clone()));
            let panels = duty.map(|duty| duty.panels.keys().collect::<Vec<_>>()).unwrap_or_default();
            let decided_by = match failed.subject {
                Subject::Programme => all(),
                _ if panels.is_empty() => all(),
                _ => {
                    let behind: BTreeSet<usize> =
                        panels.into_iter().flat_map(|panel| self.behind(panel)).collect();
                    behind.into_iter().collect()
                }
            };
            return thrown(Criterion::Failed, words, None, decided_by);
        }
        let worse = worse(&found.duties, &found.panel_rows);
        let plan = plan(&head, &after, &worse);
        if let Some(step) = plan.steps.iter().find(|step| step.kind == StepKind::NoTest) {
            let words = format!("{} has failed, and no test would show anything else", step.name());
            return thrown(Criterion::Failed, words, None, all());
        }
        if let Some(most) = self.limits.weeks
            && plan.weeks > most
        {
            let words = format!("the tests take {:.1} weeks, at most {most} are allowed", plan.weeks);
            return thrown(Criterion::Weeks, words, Some(plan.weeks - most), all());
        }
        let known_cost = plan.steps.iter().filter_map(|step| step.cost).fold(0.0, |sum, cost| sum + cost);
        if let Some(most) = &self.limits.cost {
            let over = known_cost - most.amount();
            if over > 0.0 {
                let words = format!("the tests cost {known_cost:.0}, at most {} are allowed", most.text());
                return thrown(Criterion::Cost, words, Some(over), all());
            }
            if plan.cost.is_none() {
                let words = format!(
                    "the tests cost at least {known_cost:.0}, and it can't be shown that they cost at most {}: {} missing",
                    most.text(),
                    missing(&plan.missing)
                );
                return thrown(Criterion::Cost, words, None, all());
            }
        }
        let grounded = grounded(&head, &found.duties, &found.panel_rows, &after);
        let judged = |key: &DutyKey| {
            let duty = after.duties.get(key);
            let verdict = duty.map_or(Verdict::Open, |duty| duty.verdict());
            (key.clone(), verdict, duty.map_or(String::new(), |duty| duty.asks().to_string()))
        };
        let mut duties: Vec<_> = worse.iter().map(judged).collect();
        duties.sort_by(|one, two| one.0.cmp(&two.0));
        duties.dedup_by(|one, two| one.0 == two.0);
        Ok(Outcome::Kept(Box::new(Row {
            choice: choice.to_vec(),
            delta: kg - self.base_kg,
            kg,
            weeks: plan.weeks,
            cost: plan.cost,
            known_cost,
            specimens: plan.specimens,
            panels: plan.panels,
            open: self.open(choice, &after, &duties),
            duties,
            tested: plan
                .steps
                .iter()
                .filter(|step| step.kind.is_tested())
                .map(|step| step.showing.clone())
                .collect(),
            tests: plan
                .steps
                .iter()
                .filter(|step| step.kind.is_tested())
                .map(|step| (step.name(), step.specimens, step.panels))
                .collect(),
            missing: plan.missing,
            weaker: weaker(&found.edits, (room.ledger, &head)),
            touched: self.touched(choice, (&head, &after))?,
            grounded,
            least,
            unit_cost: cost::moved(room.ledger, &head)?,
        })))
    }

    /// What a choice changes, and all that is made of it.
    fn reached(&self, choice: &[u16]) -> BTreeSet<Address> {
        let changed = self.above.iter().zip(choice).filter(|(_, option)| **option != 0);
        changed.flat_map(|(own, _)| own).cloned().collect()
    }

    /// The panels that are made of what a choice changes.
    fn touched(
        &self,
        choice: &[u16],
        (head, after): (&Ledger, &Evaluation),
    ) -> Result<Vec<TouchedPanel>, StudyError> {
        let reached = self.reached(choice);
        let panels = reached.iter().filter(|address| address.kind() == RecordKind::Panel);
        let mut all = Vec::new();
        for entry in panels.filter_map(|address| head.panels.get(address.id())) {
            let margins = margins_with(head, &after.duties, &entry.id, after.memo())?;
            all.push(TouchedPanel {
                panel: entry.id.clone(),
                released: entry.value.released,
                has_margin: margins.governing(ComputedCheck::Margins).is_some(),
            });
        }
        Ok(all)
    }

    /// Duties on what a choice changes that are neither closed nor among those that it asks.
    fn open(
        &self,
        choice: &[u16],
        after: &Evaluation,
        asked: &[(DutyKey, Verdict, String)],
    ) -> Vec<(DutyKey, Verdict)> {
        let changed = self.reached(choice);
        after
            .duties
            .iter()
            .filter(|(key, _)| is_made_of(&key.1, &changed) && !asked.iter().any(|(own, _, _)| own == *key))
            .map(|(key, duty)| (key.clone(), duty.verdict()))
            .filter(|(_, verdict)| !verdict.is_closed())
            .collect()
    }

    /// The panels that what is computed of them is made from something else than now.
    fn changed(&self, head: &Ledger, after: &Evaluation) -> Vec<String> {
        let (old, new) = (Side::of(self.room.ledger, self.room.evaluation), Side::of(head, after));
        let panels = head.panels.keys().filter(|panel| self.room.ledger.panels.contains_key(*panel));
        panels.filter(|panel| !old.is_same(panel, &new, panel)).cloned().collect()
    }

    /// Says where a skin gets nearer to what limits its heat than that allows, and than it is now.
    fn too_hot(
        &self,
        head: (&Ledger, &Evaluation),
        panel: &str,
    ) -> Result<Option<(String, f64)>, StudyError> {
        let of = |(ledger, evaluation): (&Ledger, &Evaluation)| match ledger.panels.get(panel) {
            Some(entry) => heat_of(ledger, &evaluation.duties, entry).map(|(reports, _)| reports),
            None => Ok(Vec::new()),
        };
        let known = locked(&self.heat).get(panel).cloned();
        let was = match known {
            Some(known) => known,
            None => {
                let found = Arc::new(of((self.room.ledger, self.room.evaluation))?);
                locked(&self.heat).insert(panel.to_string(), Arc::clone(&found));
                found
            }
        };
        let is = of(head)?;
        let before = |zone: &str| was.iter().find(|own: &&HeatReport| own.zone == zone);
        for report in &is {
            let old = before(&report.zone);
            if let Some(new) =
                report.lacking.iter().find(|own| !old.is_some_and(|old| old.lacking.contains(own)))
            {
                return Ok(Some((format!("panel {panel}, zone {}: {new}", report.zone), f64::INFINITY)));
            }
            // What limits it may be another value now: it is the least left over that must not shrink below nothing.
            let left = |report: &HeatReport| {
                report.limits.iter().map(|(_, spare)| *spare).fold(f64::INFINITY, f64::min)
            };
            let (now, then) = (left(report), old.map_or(f64::INFINITY, left));
            if now < 0.0 && now < then - 1e-9 {
                let words = format!("panel {panel}, zone {}: {:.1} K too hot", report.zone, -now);
                return Ok(Some((words, -now)));
            }
        }
        Ok(None)
    }

    /// The least margin of a panel; what is wrong where one falls below what must be kept.
    #[allow(clippy::type_complexity, reason = "used once, above")]
    fn margins(
        &self,
        (head, after): (&Ledger, &Evaluation),
        panel: &str,
    ) -> Result<Result<Option<LeastMargin>, (String, Option<f64>)>, StudyError> {
        let memo = after.memo();
        let now = margins_with(head, &after.duties, panel, memo)?;
        let short = |own: &Margin| LeastMargin {
            panel: panel.to_string(),
            case: own.case.clone(),
            mode: own.mode.clone(),
            margin: own.margin,
        };
        let least = now.governing(ComputedCheck::Margins).map(short);
        let Some(limit) = self.keep.margins.as_ref().map(|own| own.si()) else { return Ok(Ok(least)) };
        let known = locked(&self.margins).get(panel).cloned();
        let was = match known {
            Some(known) => known,
            None => {
                let found = margins_with(self.room.ledger, &self.room.evaluation.duties, panel, memo)?;
                let found = Arc::new(found);
                locked(&self.margins).insert(panel.to_string(), Arc::clone(&found));
                found
            }
        };
        if let Some((margin, why)) = lost(&was, &now).first() {
            let words = format!(
                "panel {panel}, {}, {}: can no longer be computed: {}",
                margin.case, margin.mode, why.why
            );
            return Ok(Err((words, None)));
        }
        let new = now.uncomputed.iter().find(|one| !was.uncomputed.contains(one));
        if let Some(new) =
            new.filter(|_| now.of(ComputedCheck::Margins).count() < was.of(ComputedCheck::Margins).count())
        {
            return Ok(Err((format!("panel {panel}, {}: cannot be computed: {}", new.case, new.why), None)));
        }
        let mut worst: Option<&Margin> = None;
        for own in now.of(ComputedCheck::Margins).filter(|own| own.margin < limit) {
            let same = |old: &&Margin| {
                old.check == own.check
                    && old.case == own.case
                    && old.place == own.place
                    && old.criterion == own.criterion
                    && old.environment == own.environment
            };
            // What is below already may stay, and may not fall.
            let then = was.of(ComputedCheck::Margins).filter(same).map(|old| old.margin).reduce(f64::min);
            let fell = then.is_none_or(|then| own.margin < then - 1e-9 * (1.0 + then.abs()));
            if fell && worst.is_none_or(|worst| own.margin < worst.margin) {
                worst = Some(own);
            }
        }
        Ok(match worst {
            Some(own) => Err((
                format!(
                    "panel {panel}, {}, {}: margin {}, at least {} is kept",
                    own.case,
                    own.mode,
                    signed(own.margin),
                    signed(limit)
                ),
                Some(limit - own.margin),
            )),
            None => Ok(least),
        })
    }
}

/// What lacks a price, in words.
fn missing(names: &[String]) -> String {
    let verb = if names.len() == 1 { "is" } else { "are" };
    format!("{} {verb}", names.join(", "))
}

/// A panic elsewhere leaves nothing half done here.
fn locked<T>(own: &Mutex<T>) -> MutexGuard<'_, T> {
    own.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The budget that is exceeded by most, of those that were kept or are exceeded by more than they were.
fn over_budget(base: &Ledger, head: &Ledger) -> Result<Option<(String, f64)>, StudyError> {
    let all = exceeded(base, head)?;
    let worst = all.into_iter().min_by(|one, two| two.over_kg.total_cmp(&one.over_kg));
    Ok(worst.map(|own| (format!("{} is {:.3} kg over its budget", own.of, own.over_kg), own.over_kg)))
}
