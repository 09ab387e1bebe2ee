//! What it takes to prove again: the tests, their articles, the weeks and the money.
//!
//! Steps 1 to 5 and 8 to 10 of the plan: needs, prerequisites, builds, specimens, durations, cost, and
//! the ways without a test. Lay-up and conditioning shared between tests are counted per test here, so
//! panels and weeks are upper bounds; the plan says so.

use super::delta::{AsMade, compare};
use super::judge::{Detail, Reason, Rules};
use super::pool::equivalence_plan;
use super::table::Table;
use super::verdict::{Duty, DutyKey, Evaluation, Judged, Verdict};
use crate::article::{Configuration, Configurator, Key, ORDER, Subject};
use crate::fabrication::moisture::{Faces, time_to_fraction};
use crate::ledger::Ledger;
use crate::record::sensitivity::Asks;
use crate::record::{MaterialKind, Showing};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// Moisture diffusivity where the material gives none, m2/s; an assumption (CFRP at 70 degC, from memory).
const DIFFUSIVITY: f64 = 3e-13;
/// Spare specimens as a share; the project's own rule.
const SPARES: f64 = 0.10;
/// Specimens cut from one panel; common practice, no source.
const SPECIMENS_PER_PANEL: u32 = 24;
/// Attributes that a way without a test names.
const UNDO_SHOWN: usize = 8;
const WEEK: f64 = 7.0 * 24.0 * 3600.0;

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
    /// Weeks of conditioning.
    pub conditioning_weeks: f64,
    /// Weeks in all, conditioning included.
    pub weeks: f64,
    /// Week that it can start in.
    pub start: f64,
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
    /// What had to be assumed.
    pub assumptions: Vec<String>,
}

/// Plans what closes the duties named by `keys`, as the ledger stands.
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
    for (id, subjects) in by_showing {
        let Some(showing) = ledger.showings.get(&id) else { continue };
        let duties: Vec<(&Duty, bool)> = subjects
            .iter()
            .filter_map(|(subject, prerequisite)| {
                let duty = evaluation.duties.get(&(id.clone(), subject.clone()))?;
                (!duty.verdict().is_closed()).then_some((duty, *prerequisite))
            })
            .collect();
        plan_showing(ledger, configurator, &showing.value, &id, &duties, &mut plan);
    }
    share_panels(ledger, &mut plan);
    schedule(ledger, &mut plan);
    plan.specimens = plan.steps.iter().map(|step| step.specimens).sum();
    plan.panels = plan.steps.iter().map(|step| step.panels).sum();
    plan.weeks = plan.steps.iter().map(PlanStep::finish).fold(0.0, f64::max);
    plan.missing.sort();
    plan.missing.dedup();
    plan.cost = plan.missing.is_empty().then(|| plan.steps.iter().filter_map(|step| step.cost).sum());
    plan.assumptions.sort();
    plan.assumptions.dedup();
    plan.ways = ways(ledger, evaluation, keys, &|_| None);
    plan
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

fn step_kind(judged: &Judged) -> StepKind {
    if judged.because.iter().all(|reason| reason.rule == "rests on") {
        return StepKind::RestsOn;
    }
    match (judged.verdict, judged.asks) {
        (Verdict::Failed, _) => StepKind::NoTest,
        (Verdict::Lapsed | Verdict::Short, Asks::Analysis) => StepKind::Analysis,
        (Verdict::Lapsed | Verdict::Short, Asks::Equivalence) => StepKind::Equivalence,
        _ => StepKind::Test,
    }
}

fn plan_showing(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    showing: &Showing,
    id: &str,
    duties: &[(&Duty, bool)],
    plan: &mut RetestPlan,
) {
    let mut groups: BTreeMap<StepKind, Vec<(&Duty, bool, &Judged)>> = BTreeMap::new();
    for (duty, prerequisite) in duties {
        if let Some((_, judged)) = duty.worst() {
            groups.entry(step_kind(judged)).or_default().push((duty, *prerequisite, judged));
        }
    }
    for (kind, open) in groups {
        let desk = matches!(kind, StepKind::Analysis | StepKind::RestsOn | StepKind::NoTest);
        let subjects: Vec<&Subject> = open.iter().map(|(duty, ..)| &duty.subject).collect();
        let closes = if desk { Vec::new() } else { would_conform(configurator, showing, &subjects) };
        // A desk task closes its own duty.
        let closed = |build: usize, other: usize| {
            build == other || closes.get(build).and_then(|row| row.get(other)).copied().unwrap_or(false)
        };
        let mut remaining: Vec<usize> = (0..open.len()).collect();
        let mut counts: Vec<usize> = remaining
            .iter()
            .map(|build| remaining.iter().filter(|other| closed(*build, **other)).count())
            .collect();
        // Greedily: the subject whose article, tested as it is now, closes most of what remains.
        while let Some(build) = remaining
            .iter()
            .copied()
            .max_by_key(|at| (counts.get(*at).copied().unwrap_or(0), std::cmp::Reverse(subjects.get(*at))))
        {
            let (gone, rest): (Vec<usize>, Vec<usize>) =
                remaining.into_iter().partition(|other| closed(build, *other));
            remaining = rest;
            for at in &remaining {
                if let Some(count) = counts.get_mut(*at) {
                    *count = count.saturating_sub(gone.iter().filter(|other| closed(*at, **other)).count());
                }
            }
            let duties = || gone.iter().filter_map(|at| open.get(*at));
            let need = duties().map(|(_, _, judged)| need(showing, kind, judged)).max();
            let prerequisite = duties().all(|(_, prerequisite, _)| *prerequisite);
            let Some(build) = subjects.get(build) else { break };
            plan.steps.push(step(
                ledger,
                showing,
                id,
                (*build).clone(),
                duties().map(|(duty, ..)| duty.subject.clone()).collect(),
                kind,
                need.unwrap_or(0),
                prerequisite,
                &mut plan.missing,
                &mut plan.assumptions,
            ));
        }
    }
}

/// Beyond this many articles that differ in what a showing looks at, only equal ones share a build: the
/// plan is then an upper bound, as it says.
const COMPARED_ARTICLES: usize = 60;

/// Whether an article made as each subject is now would conform for each other: rows by build.
fn would_conform(
    configurator: &Configurator<'_>,
    showing: &Showing,
    subjects: &[&Subject],
) -> Vec<Vec<bool>> {
    let row = Table::built_in().ok().and_then(|table| table.kinds.get(showing.kind.as_str()));
    // All subjects of a showing are of one kind.
    let (Some(row), Some(kind), true) =
        (row, subjects.first().map(|subject| subject.kind().word()), subjects.len() > 1)
    else {
        return Vec::new();
    };
    let own = showing.own_steps().map(|own| ("", own));
    // What the showing does not look at plays no part: articles that differ only there are one.
    let mut distinct: Vec<Configuration> = Vec::new();
    let places: Vec<Option<usize>> = subjects
        .iter()
        .map(|subject| {
            let whole = configurator.configuration(subject, None).ok()?;
            let seen = whole.only(|facet| {
                row.has_facet(kind, facet) || own.is_some_and(|(_, steps)| steps.contains_key(facet))
            });
            let at = distinct.iter().position(|known| *known == seen);
            Some(at.unwrap_or_else(|| {
                distinct.push(seen);
                distinct.len() - 1
            }))
        })
        .collect();
    let rules = Rules::of(row, showing.kind.as_str(), kind, own);
    let compared = distinct.len() <= COMPARED_ARTICLES;
    let conforms: Vec<Vec<bool>> = distinct
        .par_iter()
        .enumerate()
        .map(|(build, made)| {
            let made = AsMade { main: made.clone(), ..AsMade::default() };
            let one = |(other, now): (usize, &Configuration)| {
                build == other
                    || compared && {
                        let deltas = compare(now, &made);
                        rules.judge(now, &made, &deltas, Detail::Verdicts).is_empty()
                    }
            };
            distinct.iter().enumerate().map(one).collect()
        })
        .collect();
    let known = |at: Option<usize>, other: Option<usize>| {
        at.zip(other).and_then(|(at, other)| conforms.get(at)?.get(other).copied()).unwrap_or(false)
    };
    places.iter().map(|build| places.iter().map(|other| known(*build, *other)).collect()).collect()
}

/// Specimens that are needed, without spares.
fn need(showing: &Showing, kind: StepKind, judged: &Judged) -> u32 {
    match kind {
        StepKind::Analysis | StepKind::RestsOn | StepKind::NoTest => 0,
        StepKind::Equivalence => equivalence_plan(showing).0,
        StepKind::Test => {
            let whole = showing.plan.as_ref().and_then(|plan| plan.specimens).unwrap_or(1);
            match (judged.verdict, judged.asks) {
                // Short by sample: what the plan asks less what counts; a missing batch needs at least one.
                (Verdict::Short, Asks::None) => judged.lacks.specimens.max(1),
                _ => whole,
            }
        }
    }
}

#[allow(clippy::too_many_arguments)]
fn step(
    ledger: &Ledger,
    showing: &Showing,
    id: &str,
    build: Subject,
    closes: Vec<Subject>,
    kind: StepKind,
    need: u32,
    prerequisite: bool,
    missing: &mut Vec<String>,
    assumptions: &mut Vec<String>,
) -> PlanStep {
    let written = showing.plan.as_ref();
    let base = PlanStep {
        showing: id.to_string(),
        build,
        closes,
        kind,
        specimens: 0,
        panels: 0,
        shares: None,
        conditioning_weeks: 0.0,
        weeks: 0.0,
        start: 0.0,
        cost: Some(0.0),
        prerequisite,
    };
    match kind {
        StepKind::RestsOn | StepKind::NoTest => return base,
        StepKind::Analysis => {
            let weeks = written.and_then(|plan| plan.analysis_weeks).unwrap_or(1.0);
            return PlanStep { weeks, ..base };
        }
        StepKind::Test | StepKind::Equivalence => {}
    }
    let spares = written.and_then(|plan| plan.spares.as_ref()).map_or(SPARES, |spares| spares.si());
    // A hair below, so that ten and a tenth of ten are eleven and not twelve.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let specimens = (f64::from(need) * (1.0 + spares) - 1e-9).ceil().clamp(0.0, 1e9) as u32;
    let panels = least_panels(showing, kind).max(specimens.div_ceil(per_panel(showing)));
    let conditioning_weeks = conditioning(ledger, showing, &base.build, assumptions);
    let weeks = written.and_then(|plan| plan.lead).unwrap_or(0.0)
        + written.and_then(|plan| plan.layup).unwrap_or(0.0)
        + conditioning_weeks
        + written.and_then(|plan| plan.weeks).unwrap_or_else(|| {
            assumptions.push(format!("showing/{id}#plan.weeks is not given: no test time is counted"));
            0.0
        });
    let cost = cost(ledger, showing, id, specimens, panels, missing);
    PlanStep { specimens, panels, conditioning_weeks, weeks, cost, ..base }
}

/// Specimens that one panel gives.
fn per_panel(showing: &Showing) -> u32 {
    let written = showing.plan.as_ref().and_then(|plan| plan.specimens_per_panel);
    written.unwrap_or(SPECIMENS_PER_PANEL).max(1)
}

/// Panels that the batches take, however few the specimens.
fn least_panels(showing: &Showing, kind: StepKind) -> u32 {
    let written = showing.plan.as_ref();
    match kind {
        StepKind::Equivalence => equivalence_plan(showing).1,
        _ => {
            let batches = written.and_then(|plan| plan.batches).unwrap_or(1);
            batches.saturating_mul(written.and_then(|plan| plan.panels_per_batch).unwrap_or(1))
        }
    }
}

/// Tests that look at the same facets of one lamina or laminate are cut from the same panels: as many as the
/// largest set of batches takes, or as all specimens together need. The first of them lays the panels up.
///
/// Painted laminates, bonds and panels are articles of their own.
fn share_panels(ledger: &Ledger, plan: &mut RetestPlan) {
    let Ok(table) = Table::built_in() else { return };
    let mut groups: BTreeMap<(Subject, Vec<String>), Vec<usize>> = BTreeMap::new();
    for (at, step) in plan.steps.iter().enumerate() {
        let laid = matches!(step.build, Subject::Lamina { .. } | Subject::Laminate(_));
        let row = ledger.showings.get(&step.showing).and_then(|one| table.kinds.get(one.value.kind.as_str()));
        if let (true, true, Some(row)) = (laid, step.panels > 0, row) {
            let own = row.own_of(step.build.kind().word()).to_vec();
            groups.entry((step.build.clone(), own)).or_default().push(at);
        }
    }
    for group in groups.into_values().filter(|group| group.len() > 1) {
        let steps = || group.iter().filter_map(|at| plan.steps.get(*at));
        let showings =
            || steps().filter_map(|step| Some((step, &*ledger.showings.get(&step.showing)?.value)));
        let least = showings().map(|(step, showing)| least_panels(showing, step.kind)).max().unwrap_or(1);
        let each = showings().map(|(_, showing)| per_panel(showing)).min().unwrap_or(SPECIMENS_PER_PANEL);
        let specimens = steps().map(|step| step.specimens).fold(0, u32::saturating_add);
        let together = least.max(specimens.div_ceil(each));
        let named = |at: &usize| plan.steps.get(*at).map(|step| (step.name(), *at));
        let Some((first, lays)) = group.iter().filter_map(named).min() else { continue };
        for at in &group {
            let Some(step) = plan.steps.get_mut(*at) else { continue };
            let (panels, shares) = if *at == lays { (together, None) } else { (0, Some(first.clone())) };
            let Some(showing) = ledger.showings.get(&step.showing) else { continue };
            // What a rate is missing for was said when the step was made.
            step.cost = cost(ledger, &showing.value, &step.showing, step.specimens, panels, &mut Vec::new());
            (step.panels, step.shares) = (panels, shares);
        }
    }
}

/// Weeks to condition the coupon, by Fick through both faces.
fn conditioning(ledger: &Ledger, showing: &Showing, build: &Subject, assumptions: &mut Vec<String>) -> f64 {
    let Some(conditioning) = showing.plan.as_ref().and_then(|plan| plan.conditioning.as_ref()) else {
        return 0.0;
    };
    let materials: Vec<String> = match build {
        Subject::Lamina { material, resin, .. } => {
            std::iter::once(material.clone()).chain(resin.clone()).collect()
        }
        Subject::Laminate(recipe) | Subject::Painted(recipe, _) => {
            ledger.recipes.get(recipe).map_or_else(Vec::new, |recipe| {
                recipe.value.layers.iter().map(|layer| layer.material.id().to_string()).collect()
            })
        }
        _ => Vec::new(),
    };
    // The slowest constituent decides.
    let slowest = materials
        .iter()
        .filter_map(|id| ledger.materials.get(id))
        .filter(|entry| {
            matches!(entry.value.kind, MaterialKind::Prepreg | MaterialKind::Fabric | MaterialKind::Resin)
        })
        .filter_map(|entry| entry.value.diffusivity.as_ref().map(|diffusivity| diffusivity.si()))
        .fold(f64::INFINITY, f64::min);
    let diffusivity = if slowest.is_finite() {
        slowest
    } else {
        assumptions.push(format!("{build} gives no diffusivity: 3e-7 mm2/s assumed"));
        DIFFUSIVITY
    };
    match time_to_fraction(conditioning.to.si(), diffusivity, conditioning.coupon_thickness.si(), Faces::Both)
    {
        Ok(seconds) => seconds / WEEK,
        Err(fault) => {
            assumptions.push(format!("{build}: conditioning time not counted: {fault}"));
            0.0
        }
    }
}

fn cost(
    ledger: &Ledger,
    showing: &Showing,
    id: &str,
    specimens: u32,
    panels: u32,
    missing: &mut Vec<String>,
) -> Option<f64> {
    let rates = ledger.head.as_ref().and_then(|head| head.rates.as_ref());
    let own = showing.plan.as_ref().and_then(|plan| plan.cost.as_ref());
    let specimen = own.or_else(|| rates.and_then(|rates| rates.specimen.as_ref()));
    let panel = rates.and_then(|rates| rates.panel_layup.as_ref());
    let weeks = showing.plan.as_ref().and_then(|plan| plan.lab_weeks);
    let lab = rates.and_then(|rates| rates.lab_week.as_ref());
    let mut sum = 0.0;
    let mut whole = true;
    let mut add = |count: f64, rate: Option<&crate::quantity::Money>, name: String| match rate {
        Some(rate) => sum += count * rate.amount(),
        None if count > 0.0 => {
            missing.push(name);
            whole = false;
        }
        None => {}
    };
    add(f64::from(specimens), specimen, format!("showing/{id}#plan.cost or ledger#rates.specimen"));
    add(f64::from(panels), panel, "ledger#rates.panel_layup".to_string());
    if let Some(weeks) = weeks {
        add(weeks, lab, "ledger#rates.lab_week".to_string());
    }
    whole.then_some(sum)
}

/// Starts each step after the latest finish of what it names by `after`; finds the critical path.
fn schedule(ledger: &Ledger, plan: &mut RetestPlan) {
    // What a showing rests on must be proved before its own verdict stands again.
    let after = |showing: &str| -> Vec<String> {
        ledger.showings.get(showing).map_or_else(Vec::new, |entry| {
            let needed = entry.value.after.iter().chain(&entry.value.rests_on);
            needed.map(|needed| needed.id().to_string()).collect()
        })
    };
    // At most as many rounds as steps: a circle is a fault elsewhere and must only end here.
    for _ in 0..plan.steps.len() {
        let finishes: BTreeMap<String, f64> = plan.steps.iter().fold(BTreeMap::new(), |mut all, step| {
            let latest = all.entry(step.showing.clone()).or_insert(0.0_f64);
            *latest = latest.max(step.finish());
            all
        });
        let mut moved = false;
        for step in &mut plan.steps {
            let start = after(&step.showing)
                .iter()
                .filter(|needed| **needed != step.showing)
                .filter_map(|needed| finishes.get(needed))
                .fold(0.0, |latest: f64, finish| latest.max(*finish));
            if start > step.start {
                step.start = start;
                moved = true;
            }
        }
        if !moved {
            break;
        }
    }
    plan.steps.sort_by(|one, two| {
        one.start
            .total_cmp(&two.start)
            .then_with(|| one.name().cmp(&two.name()))
            .then(one.kind.cmp(&two.kind))
    });
    let last =
        plan.steps.iter().filter(|step| step.finish() > 0.0).max_by(|one, two| {
            one.finish().total_cmp(&two.finish()).then_with(|| two.name().cmp(&one.name()))
        });
    let mut path = Vec::new();
    let mut here = last;
    while let Some(step) = here.filter(|_| path.len() <= plan.steps.len()) {
        path.push(step.name());
        let needed = after(&step.showing);
        here = plan
            .steps
            .iter()
            .filter(|other| {
                needed.contains(&other.showing)
                    && (other.finish() - step.start).abs() < 1e-9
                    && step.start > 0.0
            })
            .min_by_key(|other| other.name());
    }
    path.reverse();
    plan.critical_path = path;
}

/// Returns the ways that need no test: a limit, a concession, a special factor, undoing.
///
/// `before` gives the duty as it stood before a change; what differed then already is not to be undone now.
pub fn ways<'e>(
    ledger: &Ledger,
    evaluation: &Evaluation,
    keys: &[DutyKey],
    before: &dyn Fn(&DutyKey) -> Option<&'e Duty>,
) -> Vec<String> {
    let mut undo: BTreeSet<String> = BTreeSet::new();
    let mut film: BTreeMap<String, usize> = BTreeMap::new();
    let mut hot: BTreeSet<String> = BTreeSet::new();
    let mut strength = false;
    let mut any = false;
    let mut moved = false;
    for key in keys {
        let Some(duty) = evaluation.duties.get(key).filter(|duty| !duty.verdict().is_closed()) else {
            continue;
        };
        any = true;
        moved |= duty.verdict() == Verdict::Failed
            && ledger
                .showings
                .get(&key.0)
                .is_some_and(|showing| showing.value.accept.above_skin_by.is_some());
        strength |= ledger
            .showings
            .get(&key.0)
            .is_some_and(|showing| showing.value.kind.as_str().contains("strength"));
        let old = before(key).map(Duty::because).unwrap_or_default();
        for reason in duty.because() {
            let known = |old: &Reason| old.attribute == reason.attribute && old.is == reason.is;
            if reason.effect == Asks::None || old.iter().any(known) {
                continue;
            }
            let lapsed = duty.verdict() == Verdict::Lapsed;
            if reason.attribute.starts_with("film-build.max") && !reason.was.starts_with("0 ") && lapsed {
                *film.entry(reason.was.clone()).or_default() += 1;
            } else if reason.attribute == "skin.structural" {
                hot.insert(format!(
                    "a lighter colour on {}: no structural skin above {}",
                    reason.panels.join(", "),
                    reason.was
                ));
            }
            // Only what somebody wrote can be undone.
            let written = ORDER.contains(&Key::parse(&reason.attribute).base.as_str());
            if written && lapsed {
                undo.insert(reason.attribute.clone());
            }
        }
    }
    let mut all: Vec<String> = hot.into_iter().collect();
    all.extend(film.into_iter().map(|(was, count)| {
        format!(
            "a film no thicker than {was}: takes the film out of {count} {}",
            if count == 1 { "duty" } else { "duties" }
        )
    }));
    if !undo.is_empty() {
        let more = undo.len().saturating_sub(UNDO_SHOWN);
        let named: Vec<String> = undo.into_iter().take(UNDO_SHOWN).collect();
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        all.push(format!("undo: {}{more}", named.join(", ")));
    }
    if moved {
        all.push(
            "a colour that leaves the asked margin below the wet glass transition that was measured"
                .to_string(),
        );
    }
    if any {
        all.push(
            "a concession for named serials, until a day, approved by the roles that the ledger asks for"
                .to_string(),
        );
    }
    if strength {
        all.push(
            "a special factor on limit loads where a design value is uncertain (14 CFR 23.2265)".to_string(),
        );
    }
    all
}
