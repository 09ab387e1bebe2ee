//! What it takes to prove again: the tests, their articles, the weeks and the money.
//!
//! Which articles are made and tested (`builds`), how many specimens and panels they take and which tests
//! are cut from one lay-up (`articles`), how long coupons are conditioned (`conditioning`), when each step
//! starts and what decides the end (`schedule`), what it costs (`cost`), and the ways without a test
//! (`ways`, `limits`).

mod articles;
mod builds;
mod conditioning;
mod cost;
mod limits;
mod schedule;
#[cfg(test)]
mod tests;
mod ways;

pub use limits::{AttributeLimit, limits};
pub use ways::{said, ways};

use super::equivalence;
use super::pool;
use super::verdict::{Duty, DutyKey, Evaluation};
use crate::article::{Configurator, Subject};
use crate::ledger::Ledger;
use crate::record::{Evidence, EvidenceKind, Showing};
use crate::statistics::{ChanceFailures, chance_failures, mean_power, strength_power};
use std::collections::BTreeMap;

/// What one step of the plan is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum StepKind {
    /// The full test.
    Test,
    /// The reduced test against a baseline.
    Equivalence,
    /// A desk task.
    Analysis,
    /// What another duty needs first; nothing of its own.
    RestsOn,
    /// Evidence shows that the criterion does not hold: the same test again would show it again.
    NoTest,
}

impl StepKind {
    /// Returns the word.
    pub fn word(self) -> &'static str {
        match self {
            StepKind::Test => "test",
            StepKind::Equivalence => "equivalence",
            StepKind::Analysis => "analysis",
            StepKind::RestsOn => "rests on",
            StepKind::NoTest => "no test",
        }
    }

    /// Returns whether specimens are made and tested.
    pub fn is_tested(self) -> bool {
        matches!(self, StepKind::Test | StepKind::Equivalence)
    }
}

/// How often a planned equivalence finds a shift of the mean by one standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepPower {
    /// Whether the shift may go either way (a test of means) or is a fall (mean and least value of a strength).
    pub either_way: bool,
    /// The probability that it is found.
    pub one_sd: f64,
}

/// One step of the plan: one build, one test.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanStep {
    /// The showing.
    pub showing: String,
    /// The subject whose article is made.
    pub build: Subject,
    /// The subjects whose duties it closes.
    pub closes: Vec<Subject>,
    /// What it is.
    pub kind: StepKind,
    /// Specimens, spares included.
    pub specimens: u32,
    /// Panels to lay up.
    pub panels: u32,
    /// The step whose panels its specimens are cut from too, where it lays up none of its own.
    pub shares: Option<String>,
    /// Weeks before lay-up can start.
    pub lead_weeks: f64,
    /// Weeks of lay-up, cure and machining.
    pub layup_weeks: f64,
    /// Weeks of conditioning.
    pub conditioning_weeks: f64,
    /// The step whose specimens go into the chamber at the same time.
    pub conditioned_with: Option<String>,
    /// Weeks from ready specimens to the report, or of the desk task.
    pub test_weeks: f64,
    /// Weeks from its start to its end.
    pub weeks: f64,
    /// Week that it can start in.
    pub start: f64,
    /// Records that an equivalence may be held against: those behind the verdicts that it mends.
    pub baselines: Vec<String>,
    /// How often an equivalence finds what changed.
    pub power: Option<StepPower>,
    /// Cost, where nothing is missing.
    pub cost: Option<f64>,
    /// Whether it is here only because another step needs it first.
    pub prerequisite: bool,
}

impl PlanStep {
    /// Returns the step's name: `showing/ID subject`.
    pub fn name(&self) -> String {
        format!("showing/{} {}", self.showing, self.build)
    }

    /// Returns the week that it ends in.
    pub fn finish(&self) -> f64 {
        self.start + self.weeks
    }
}

/// The whole plan.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RetestPlan {
    /// Steps, in the order of their start and name.
    pub steps: Vec<PlanStep>,
    /// Specimens in all.
    pub specimens: u32,
    /// Panels in all.
    pub panels: u32,
    /// Weeks until the last is reported.
    pub weeks: f64,
    /// Cost, where nothing is missing.
    pub cost: Option<f64>,
    /// What is missing for the cost.
    pub missing: Vec<String>,
    /// Names of the steps on the critical path, first to last.
    pub critical_path: Vec<String>,
    /// Ways without a test, in words.
    pub ways: Vec<String>,
    /// How far a colour or a film may go: what some of the ways say, as figures.
    pub limits: Vec<AttributeLimit>,
    /// Equivalences and what chance alone fails of them; none where there are none.
    pub chance: Option<(usize, ChanceFailures)>,
    /// What had to be assumed.
    pub assumptions: Vec<String>,
}

/// Plans what closes the duties named by `keys`, as the ledger stands.
///
/// The ways without a test name no searched limits; [`limits()`] finds them.
pub fn plan(ledger: &Ledger, evaluation: &Evaluation, keys: &[DutyKey]) -> RetestPlan {
    plan_with(ledger, &Configurator::new(ledger), evaluation, keys)
}

/// As [`plan`], with configurations that further plans on the same ledger share.
pub fn plan_with(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    evaluation: &Evaluation,
    keys: &[DutyKey],
) -> RetestPlan {
    let mut plan = RetestPlan::default();
    let mut wanted: BTreeMap<DutyKey, bool> = keys.iter().map(|key| (key.clone(), false)).collect();
    add_prerequisites(ledger, evaluation, &mut wanted);
    let mut by_showing: BTreeMap<String, Vec<(Subject, bool)>> = BTreeMap::new();
    for ((showing, subject), prerequisite) in wanted {
        by_showing.entry(showing).or_default().push((subject, prerequisite));
    }
    let mut needs = Vec::new();
    for (id, subjects) in by_showing {
        let Some(showing) = ledger.showings.get(&id) else { continue };
        let duties: Vec<(&Duty, bool)> = subjects
            .iter()
            .filter_map(|(subject, prerequisite)| {
                let duty = evaluation.duties.get(&(id.clone(), subject.clone()))?;
                (!duty.verdict().is_closed()).then_some((duty, *prerequisite))
            })
            .collect();
        needs.extend(builds::builds(configurator, evaluation, showing, &duties));
    }
    let mut steps = Vec::new();
    for need in needs {
        let Some(showing) = ledger.showings.get(&need.showing) else { continue };
        steps.push(articles::step(ledger, showing, need, &mut plan.assumptions));
    }
    let shared = articles::shared(ledger, configurator, &steps);
    schedule::schedule(ledger, evaluation, &mut steps, &shared);
    articles::lay_up(ledger, &mut steps, &shared.layups);
    for step in &mut steps {
        let Some(showing) = ledger.showings.get(&step.showing) else { continue };
        step.cost = cost::cost(ledger, showing, step, &mut plan.missing);
    }
    plan.critical_path = schedule::order_and_walk(ledger, evaluation, &mut steps);
    plan.assumptions.extend(unmended(ledger, &steps));
    plan.chance = equivalences(ledger, &mut steps);
    plan.steps = steps;
    plan.specimens = plan.steps.iter().map(|step| step.specimens).sum();
    plan.panels = plan.steps.iter().map(|step| step.panels).sum();
    plan.weeks = plan.steps.iter().map(PlanStep::finish).fold(0.0, f64::max);
    plan.missing.sort();
    plan.missing.dedup();
    plan.cost = plan
        .missing
        .is_empty()
        .then(|| plan.steps.iter().filter_map(|step| step.cost).fold(0.0, |sum, cost| sum + cost));
    plan.assumptions.sort();
    plan.assumptions.dedup();
    plan.ways = ways(ledger, evaluation, keys, &|_| None, &[]);
    plan
}

/// Works out what the equivalences of a plan would find, and how many fail by chance.
fn equivalences(ledger: &Ledger, steps: &mut [PlanStep]) -> Option<(usize, ChanceFailures)> {
    let mut levels = Vec::new();
    for step in steps.iter_mut().filter(|step| step.kind == StepKind::Equivalence) {
        let Some(showing) = ledger.showings.get(&step.showing) else { continue };
        let alpha = pool::alpha(ledger, &showing.value);
        let (specimens, _) = pool::equivalence_plan(&showing.value);
        // Ratings, statements and readings are held against their own limits: nothing is tested at a level.
        if specimens < 2 || !equivalence::is_tested(&showing.value) {
            continue;
        }
        let either_way = equivalence::two_sided(showing.value.kind.as_str());
        let one_sd = if either_way {
            let of = |size| mean_power(size, specimens as usize, alpha, 1.0).ok();
            smallest_baseline(ledger, &showing.value, &step.baselines).and_then(of)
        } else {
            strength_power(specimens as usize, alpha, 1.0).ok()
        };
        step.power = one_sd.map(|one_sd| StepPower { either_way, one_sd });
        levels.push(alpha);
    }
    (!levels.is_empty()).then(|| (levels.len(), chance_failures(levels)))
}

/// Returns how many values the smallest of some baselines has that a mean can be tested against: which of them the
/// test will name is not decided yet, and the smallest finds least.
fn smallest_baseline(ledger: &Ledger, showing: &Showing, records: &[String]) -> Option<usize> {
    let sizes = records.iter().filter_map(|id| {
        let own = ledger.evidence.get(id)?;
        // What an equivalence extended is its baseline still.
        let of = own.value.baseline.as_ref().map_or(Some(own), |base| ledger.evidence.get(base.id()))?;
        Some(pool::pool(ledger, showing, &[of]).values.len()).filter(|size| *size >= 2)
    });
    sizes.min()
}

/// What no step of the plan mends, and what no rate is given for.
fn unmended(ledger: &Ledger, steps: &[PlanStep]) -> Vec<String> {
    let mut all: Vec<String> = steps
        .iter()
        .filter(|step| step.kind == StepKind::NoTest)
        .map(|step| match to_be_repeated(ledger, step) {
            Some(id) => format!(
                "{} has failed: evidence/{id} may be repeated once, on a new set of panels and with a `reason`; no week is \
                 counted for it",
                step.name()
            ),
            None => format!("{} has failed and is mended without a test; no week is counted for it", step.name()),
        })
        .collect();
    if steps.iter().any(|step| step.kind == StepKind::Analysis) {
        all.push("desk tasks cost nothing: the ledger has no rate for them".to_string());
    }
    all
}

/// The failed equivalence behind a step that was not repeated yet. Where a requirement moved, a repeat finds the same.
pub(super) fn to_be_repeated<'s>(ledger: &Ledger, step: &'s PlanStep) -> Option<&'s str> {
    let moved = ledger.showings.get(&step.showing)?.value.accept.above_skin_by.is_some();
    let failed = step.baselines.iter().find(|id| {
        let own = ledger.evidence.get(*id).filter(|own| own.value.kind == EvidenceKind::Equivalence);
        own.is_some_and(|own| {
            let again = |one: &Evidence| one.baseline == own.value.baseline && one.reason.is_some();
            !ledger.evidence.values().any(|one| again(&one.value))
        })
    });
    failed.filter(|_| !moved).map(String::as_str)
}

/// Unmet showings named by `after` join, marked prerequisite.
fn add_prerequisites(ledger: &Ledger, evaluation: &Evaluation, wanted: &mut BTreeMap<DutyKey, bool>) {
    let mut queue: Vec<DutyKey> = wanted.keys().cloned().collect();
    while let Some((showing, subject)) = queue.pop() {
        let Some(entry) = ledger.showings.get(&showing) else { continue };
        for needed in &entry.value.after {
            for (key, duty) in evaluation.duties.iter().filter(|((own, _), _)| own == needed.id()) {
                let related =
                    super::rests::related(ledger, &evaluation.uses, &subject, &key.1).unwrap_or(false);
                if related && !duty.verdict().is_closed() && !wanted.contains_key(key) {
                    wanted.insert(key.clone(), true);
                    queue.push(key.clone());
                }
            }
        }
    }
}
