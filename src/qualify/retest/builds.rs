//! Which articles are made, and whose duties the test of each closes.

use super::StepKind;
use crate::article::{Claims, Configuration, Configurator, Subject};
use crate::ledger::Entry;
use crate::qualify::coverage::{Coverage, Demand, TestedTo, bounds};
use crate::qualify::delta::{AsMade, compare, number};
use crate::qualify::judge::{Detail, Rules};
use crate::qualify::pool::equivalence_plan;
use crate::qualify::rests::RESTS_ON;
use crate::qualify::table::{KindRow, Table};
use crate::qualify::verdict::{Duty, Evaluation, Judged, Verdict};
use crate::record::sensitivity::Asks;
use crate::record::{Bounds, Showing};
use rayon::prelude::*;
use std::cmp::Reverse;

/// Beyond this many articles that differ in what a showing looks at, only equal ones share a build: the
/// plan is then an upper bound.
const COMPARED_ARTICLES: usize = 60;

/// What one build has to give.
pub(super) struct Need {
    pub(super) showing: String,
    pub(super) build: Subject,
    pub(super) closes: Vec<Subject>,
    pub(super) kind: StepKind,
    /// Specimens, without spares.
    pub(super) specimens: u32,
    /// Panels, however few the specimens.
    pub(super) panels: u32,
    pub(super) prerequisite: bool,
    /// Records that an equivalence may be held against.
    pub(super) baselines: Vec<String>,
    /// Finished records that were not conformed.
    pub(super) unconformed: Vec<String>,
}

/// One duty that is to be closed.
struct Wanted<'d> {
    duty: &'d Duty,
    kind: StepKind,
    specimens: u32,
    panels: u32,
    prerequisite: bool,
    judged: &'d Judged,
}

impl Wanted<'_> {
    /// Whether the test of this subject is a whole one: what only fills up a sample proves nothing elsewhere.
    fn is_whole(&self) -> bool {
        !(self.judged.verdict == Verdict::Short && self.judged.asks == Asks::None)
    }
}

/// Chooses the builds of one showing greedily: the subject whose article, tested as it is now, closes most of
/// what remains; among equals the smaller.
///
/// What asks more is built first, since a test closes what asks only for an equivalence too.
pub(super) fn builds(
    configurator: &Configurator<'_>,
    evaluation: &Evaluation,
    showing: &Entry<Showing>,
    duties: &[(&Duty, bool)],
) -> Vec<Need> {
    let mut wanted: Vec<Wanted<'_>> = Vec::new();
    for (duty, prerequisite) in duties {
        let Some((_, judged)) = duty.worst() else { continue };
        // What is computed is made up for at a desk: figures are written, nothing is tested.
        let live = Table::row(showing.value.kind.as_str()).is_some_and(|row| row.live);
        let kind = match step_kind(judged) {
            kind if live && kind.is_tested() => StepKind::Analysis,
            kind => kind,
        };
        let (specimens, panels) = sample(&showing.value, kind, judged);
        wanted.push(Wanted { duty, kind, specimens, panels, prerequisite: *prerequisite, judged });
    }
    let tested: Vec<&Duty> = wanted.iter().filter(|one| one.kind.is_tested()).map(|one| one.duty).collect();
    let closes = would_conform(configurator, evaluation, showing, &tested);
    let mut next = 0..tested.len();
    let places: Vec<Option<usize>> =
        wanted.iter().map(|one| if one.kind.is_tested() { next.next() } else { None }).collect();
    let place = |at: usize| places.get(at).copied().flatten();
    let closed = |build: usize, other: usize| {
        if build == other {
            return true;
        }
        let (Some(one), Some(two)) = (wanted.get(build), wanted.get(other)) else { return false };
        let enough = one.kind == two.kind || one.kind < two.kind && one.is_whole();
        let known = |build: usize, other: usize| closes.get(build)?.get(other).copied();
        enough
            && place(build).zip(place(other)).and_then(|(build, other)| known(build, other)).unwrap_or(false)
    };
    let mut needs = Vec::new();
    let mut remaining: Vec<usize> = (0..wanted.len()).collect();
    for kind in
        [StepKind::Test, StepKind::Equivalence, StepKind::Analysis, StepKind::RestsOn, StepKind::NoTest]
    {
        let of_kind = |at: &usize| wanted.get(*at).is_some_and(|one| one.kind == kind);
        let mut counts: Vec<usize> = (0..wanted.len())
            .map(|build| remaining.iter().filter(|other| of_kind(&build) && closed(build, **other)).count())
            .collect();
        while let Some(build) = remaining.iter().copied().filter(of_kind).max_by_key(|at| {
            let subject = wanted.get(*at).map(|one| &one.duty.subject);
            (counts.get(*at).copied().unwrap_or(0), Reverse(subject))
        }) {
            let (gone, rest): (Vec<usize>, Vec<usize>) =
                remaining.into_iter().partition(|other| closed(build, *other));
            remaining = rest;
            for at in remaining.iter().filter(|at| of_kind(at)) {
                if let Some(count) = counts.get_mut(*at) {
                    *count = count.saturating_sub(gone.iter().filter(|other| closed(*at, **other)).count());
                }
            }
            let Some(own) = wanted.get(build) else { break };
            let gone: Vec<&Wanted<'_>> = gone.iter().filter_map(|at| wanted.get(*at)).collect();
            let alike = || gone.iter().filter(|one| one.kind == kind);
            needs.push(Need {
                showing: showing.id.clone(),
                build: own.duty.subject.clone(),
                closes: gone.iter().map(|one| one.duty.subject.clone()).collect(),
                kind,
                specimens: alike().map(|one| one.specimens).max().unwrap_or(0),
                panels: alike().map(|one| one.panels).max().unwrap_or(0),
                prerequisite: gone.iter().all(|one| one.prerequisite),
                baselines: alike()
                    .flat_map(|one| one.judged.evidence.iter().map(ToString::to_string))
                    .collect(),
                unconformed: alike().flat_map(|one| unconformed(one.judged)).collect(),
            });
        }
    }
    needs
}

fn step_kind(judged: &Judged) -> StepKind {
    // What is said of a concession decides nothing.
    let mut own = judged.because.iter().filter(|reason| reason.attribute != "concession");
    if own.all(|reason| reason.rule == RESTS_ON) {
        return StepKind::RestsOn;
    }
    // What could not be computed lacks a figure in a record: somebody looks it up, no specimen shows it.
    let is_uncomputed =
        |reason: &super::super::judge::Reason| reason.attribute == super::super::live::COMPUTED;
    if judged.verdict == Verdict::Open && judged.because.iter().any(is_uncomputed) {
        return StepKind::Analysis;
    }
    match (judged.verdict, judged.asks) {
        (Verdict::Failed, _) => StepKind::NoTest,
        (Verdict::Lapsed | Verdict::Short, Asks::Analysis) => StepKind::Analysis,
        (Verdict::Lapsed | Verdict::Short, Asks::Equivalence) => StepKind::Equivalence,
        _ => StepKind::Test,
    }
}

/// Returns the specimens that are needed, without spares, and the panels that the batches take.
fn sample(showing: &Showing, kind: StepKind, judged: &Judged) -> (u32, u32) {
    let plan = showing.plan.as_ref();
    match kind {
        StepKind::Analysis | StepKind::RestsOn | StepKind::NoTest => (0, 0),
        StepKind::Equivalence => equivalence_plan(showing),
        // Short by sample: what the plan asks less what counts. A panel that is missing needs a specimen.
        StepKind::Test if judged.verdict == Verdict::Short && judged.asks == Asks::None => {
            let panels = judged.lacks.panels.max(1);
            (judged.lacks.specimens.max(panels), panels)
        }
        StepKind::Test => {
            let batches = plan.and_then(|plan| plan.batches).unwrap_or(1);
            let each = plan.and_then(|plan| plan.panels_per_batch).unwrap_or(1);
            (plan.and_then(|plan| plan.specimens).unwrap_or(1), batches.saturating_mul(each))
        }
    }
}

/// Records that are finished but were not conformed, where nothing else is there.
fn unconformed(judged: &Judged) -> Vec<String> {
    let any = judged.because.iter().any(|reason| reason.attribute == "conformed");
    if any { judged.evidence.iter().map(ToString::to_string).collect() } else { Vec::new() }
}

/// Whether an article made and tested as each subject is now would conform for each other, and cover what its
/// panels ask: rows by build.
fn would_conform(
    configurator: &Configurator<'_>,
    evaluation: &Evaluation,
    showing: &Entry<Showing>,
    duties: &[&Duty],
) -> Vec<Vec<bool>> {
    let row = Table::row(showing.value.kind.as_str());
    // All subjects of a showing are of one kind.
    let (Some(row), Some(kind), true) =
        (row, duties.first().map(|duty| duty.subject.kind().word()), duties.len() > 1)
    else {
        return Vec::new();
    };
    let own = showing.value.own_steps().map(|own| ("", own));
    // What the showing does not look at plays no part: articles that differ only there are one.
    let mut distinct: Vec<Configuration> = Vec::new();
    let places: Vec<Option<usize>> = duties
        .iter()
        .map(|duty| {
            let whole = configurator.configuration(&duty.subject, None).ok()?;
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
    let rules = Rules::of(row, showing.value.kind.as_str(), kind, own);
    // Where evidence carries over between equal subjects only, what no cell asks about counts too.
    let detail = if rules.is_whole() { Detail::Allowed } else { Detail::Verdicts };
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
                        rules.judge(now, &made, &deltas, detail).is_empty()
                    }
            };
            distinct.iter().enumerate().map(one).collect()
        })
        .collect();
    let known = |at: Option<usize>, other: Option<usize>| {
        at.zip(other).and_then(|(at, other)| conforms.get(at)?.get(other).copied()).unwrap_or(false)
    };
    let tested: Vec<TestedTo> =
        duties.iter().map(|duty| to_be_tested(evaluation, &showing.value, duty)).collect();
    let room = Cover { showing, row, evaluation };
    places
        .iter()
        .zip(&tested)
        .map(|(build, tested)| {
            let row = places.iter().zip(duties);
            row.map(|(other, duty)| known(*build, *other) && room.covers(tested, duty)).collect()
        })
        .collect()
}

struct Cover<'a> {
    showing: &'a Entry<Showing>,
    row: &'a KindRow,
    evaluation: &'a Evaluation,
}

impl Cover<'_> {
    fn covers(&self, tested: &TestedTo, duty: &Duty) -> bool {
        let showing = &self.showing.value;
        let own = showing.own_steps();
        let coverage = Coverage { id: &self.showing.id, showing, row: self.row, own };
        demands(self.evaluation, duty)
            .all(|demand| coverage.panel(tested, demand).0.iter().all(|reason| reason.effect == Asks::None))
    }
}

fn demands<'e>(evaluation: &'e Evaluation, duty: &'e Duty) -> impl Iterator<Item = &'e Demand> {
    let known = &evaluation.grounds.demands;
    duty.panels.keys().filter_map(|panel| known.of(&duty.subject, panel)).map(|used| &used.demand)
}

/// What a test of a subject is made to: as its showing says, and as hard as the panels that use it ask.
fn to_be_tested(evaluation: &Evaluation, showing: &Showing, duty: &Duty) -> TestedTo {
    let environment = showing.environment.as_ref();
    let mut temperature = environment.and_then(|own| own.temperature.as_ref()).map(|own| own.si());
    let moisture = environment.and_then(|own| own.moisture.as_ref()).map(ToString::to_string);
    let mut all = Claims::default();
    let size = |hole: Option<&String>| hole.and_then(|hole| number(hole)).map(|(size, _)| size);
    for demand in demands(evaluation, duty) {
        temperature = match (bounds(showing), &demand.structural, demand.minimum) {
            (Bounds::Hot, Some((skin, _)), _) => temperature.map(|own| own.max(*skin)),
            (Bounds::Cold, _, Some(minimum)) => temperature.map(|own| own.min(minimum)),
            _ => temperature,
        };
        all.zones.extend(demand.claims.zones.iter().cloned());
        all.lightning.extend(demand.claims.lightning.iter().cloned());
        all.fluids.extend(demand.claims.fluids.iter().cloned());
        all.core_forms.extend(demand.claims.core_forms.iter().cloned());
        all.fasteners.extend(demand.claims.fasteners.iter().cloned());
        if size(demand.claims.hole.as_ref()) > size(all.hole.as_ref()) {
            all.hole.clone_from(&demand.claims.hole);
        }
    }
    TestedTo {
        temperature,
        moisture,
        zones: Some(all.zones),
        lightning: Some(all.lightning),
        fluids: Some(all.fluids),
        core_forms: Some(all.core_forms),
        fasteners: Some(all.fasteners),
        hole: all.hole,
    }
}
