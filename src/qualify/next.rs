//! Which test to make next, and which evidence most rests on.
//!
//! How tests are ranked is common practice, no source: what finishing one unlocks, over the weeks until it is
//! reported. A panel counts by the share of its open duties that the test closes, one that it makes releasable
//! therefore as one; a milestone likewise, but each duty at the first milestone that needs it alone. Mass counts by the
//! same share of each panel, over the mass of all panels that need something; other duties, which the test closes beside
//! its own or lets begin, by their share of all that are open.

use super::gaps::Gaps;
use super::lapses::{Lapse, lapses};
use super::rests::{RESTS_ON, rested_on};
use super::retest::{PlanStep, RetestPlan, StepKind, plan_with};
use super::verdict::{DutyKey, Evaluation, Verdict, evaluate_few};
use crate::article::weigh::{Weigher, counts};
use crate::article::{ArticleError, Configurator, Subject};
use crate::ledger::Ledger;
use crate::record::{Day, EvidenceState};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// A share of what something still needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The panel or the milestone.
    pub name: String,
    /// Duties that are closed.
    pub closed: usize,
    /// Duties that it still needs in all.
    pub of: usize,
    /// Duties that are conceded beside those: not met, and they hold nothing up.
    pub conceded: usize,
}

/// What a worth is made of: shares, each of its own whole.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Worth {
    /// Sum over the panels.
    pub panels: f64,
    /// Sum over the milestones.
    pub milestones: f64,
    /// Of the mass of all panels that need something.
    pub mass: f64,
    /// Of all open duties: those that it closes beside its own or lets begin.
    pub duties: f64,
}

impl Worth {
    /// Returns the sum.
    pub fn sum(&self) -> f64 {
        self.panels + self.milestones + self.mass + self.duties
    }
}

impl Part {
    /// Returns whether nothing is left.
    pub fn is_whole(&self) -> bool {
        self.closed == self.of
    }

    #[allow(clippy::cast_precision_loss)]
    fn share(&self) -> f64 {
        if self.of == 0 { 0.0 } else { self.closed as f64 / self.of as f64 }
    }
}

/// One test, with what has to come first, and what it unlocks.
#[derive(Debug, Clone, PartialEq)]
pub struct NextTest {
    /// The showing.
    pub showing: String,
    /// The subject whose article is made.
    pub build: Subject,
    /// What it is.
    pub kind: StepKind,
    /// Duties that it closes, prerequisites and what rests on them alone included.
    pub closes: Vec<DutyKey>,
    /// Steps that have to come first, by name.
    pub prerequisites: Vec<String>,
    /// Specimens, panels, weeks and cost of it and its prerequisites together.
    pub plan: RetestPlan,
    /// Panels that need what it closes.
    pub panels: Vec<Part>,
    /// Mass of those that become releasable, all their pieces, in kg.
    pub releasable_kg: f64,
    /// Milestones that need what it closes.
    pub milestones: Vec<Part>,
    /// Open duties that may begin only after one of these.
    pub begins: Vec<DutyKey>,
    /// Mass of the panels that need what it closes, each by its share, all pieces, in kg.
    pub unlocked_kg: f64,
    /// Open duties that it closes beside its own or lets begin.
    pub others: usize,
    /// The shares.
    pub worth: Worth,
}

impl NextTest {
    /// Returns the worth over the weeks until it is reported; less than a week counts as one.
    pub fn per_week(&self) -> f64 {
        self.worth.sum() / self.plan.weeks.max(1.0)
    }

    /// Returns the worth for a thousand of the currency; `None` where the cost is not known or nothing.
    pub fn per_thousand(&self) -> Option<f64> {
        let cost = self.plan.cost.filter(|cost| *cost > 0.0)?;
        Some(self.worth.sum() / (cost / 1000.0))
    }
}

/// Evidence that duties stand on, with no other that would hold them.
#[derive(Debug, Clone, PartialEq)]
pub struct SinglePoint {
    /// The record.
    pub evidence: String,
    /// Its showing.
    pub showing: String,
    /// Duties that would no longer be closed without it, on what panels.
    pub lapses: Vec<Lapse>,
    /// Panels among them that are released.
    pub released: Vec<String>,
    /// Panels in all.
    pub panels: Vec<String>,
}

/// What is still needed, by panel and by milestone.
struct Needs {
    panels: BTreeMap<String, BTreeSet<DutyKey>>,
    /// Conceded duties of each panel's release.
    conceded: BTreeMap<String, usize>,
    /// All duties that are open.
    open: usize,
    milestones: Vec<Milestone>,
}

/// What a milestone still needs.
struct Milestone {
    name: String,
    /// All.
    needed: BTreeSet<DutyKey>,
    /// What no milestone before it needs.
    first: BTreeSet<DutyKey>,
    /// What is conceded of what it needs.
    conceded: usize,
}

/// Ranks the tests that close the duties of `gaps`, best first.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which a panel can't be weighed.
pub fn next_tests(
    ledger: &Ledger,
    evaluation: &Evaluation,
    gaps: &Gaps,
) -> Result<Vec<NextTest>, ArticleError> {
    let open: Vec<DutyKey> =
        gaps.duties.iter().filter(|gap| !gap.verdict.is_closed()).map(super::gaps::Gap::key).collect();
    let configurator = Configurator::new(ledger);
    let joint = plan_with(ledger, &configurator, evaluation, &open);
    let needs = needs(ledger, evaluation);
    let (weigher, pieces) = (Weigher::new(ledger), counts(ledger)?);
    let mut mass: BTreeMap<&str, f64> = BTreeMap::new();
    for panel in ledger.panels.keys() {
        let count = pieces.panels.get(panel).map_or(0, |placed| placed.count);
        #[allow(clippy::cast_precision_loss)]
        mass.insert(panel, weigher.panel_mass(panel)? * count as f64);
    }
    // All that something holds back.
    let held_kg: f64 = needs.panels.keys().filter_map(|panel| mass.get(panel.as_str())).sum();
    let does = |step: &&PlanStep| step.kind.is_tested() || step.kind == StepKind::Analysis;
    let steps: Vec<&PlanStep> = joint.steps.iter().filter(does).collect();
    let mut all: Vec<NextTest> = steps
        .into_par_iter()
        .filter_map(|step| {
            let keys: Vec<DutyKey> =
                step.closes.iter().map(|subject| (step.showing.clone(), subject.clone())).collect();
            let plan = plan_with(ledger, &configurator, evaluation, &keys);
            // Behind what has failed no test gets through.
            if plan.steps.iter().any(|own| own.kind == StepKind::NoTest) {
                return None;
            }
            let mut closed: BTreeSet<DutyKey> = plan
                .steps
                .iter()
                .flat_map(|own| own.closes.iter().map(|subject| (own.showing.clone(), subject.clone())))
                .collect();
            let prerequisites =
                plan.steps.iter().filter(|own| own.prerequisite).map(PlanStep::name).collect();
            lift(evaluation, &mut closed);
            let part = |name: &String, needed: &BTreeSet<DutyKey>, conceded: usize| Part {
                name: name.clone(),
                closed: needed.intersection(&closed).count(),
                of: needed.len(),
                conceded,
            };
            let conceded = |name: &String| needs.conceded.get(name).copied().unwrap_or(0);
            let moved = |part: &Part| part.closed > 0;
            let panels: Vec<Part> = needs
                .panels
                .iter()
                .map(|(name, own)| part(name, own, conceded(name)))
                .filter(moved)
                .collect();
            let milestones: Vec<Part> = needs
                .milestones
                .iter()
                .map(|own| part(&own.name, &own.needed, own.conceded))
                .filter(moved)
                .collect();
            let releasable = panels.iter().filter(|part| part.is_whole());
            let releasable_kg = releasable.filter_map(|part| mass.get(part.name.as_str())).sum();
            #[allow(clippy::cast_precision_loss)]
            let first = |own: &Milestone| {
                own.first.intersection(&closed).count() as f64 / own.needed.len().max(1) as f64
            };
            let weight = |part: &Part| mass.get(part.name.as_str()).map_or(0.0, |kg| kg * part.share());
            let unlocked_kg: f64 = panels.iter().map(weight).sum();
            let begins = begins(ledger, evaluation, &closed);
            let own = (step.showing.clone(), step.build.clone());
            let others = closed.iter().filter(|key| **key != own).count() + begins.len();
            #[allow(clippy::cast_precision_loss)]
            let worth = Worth {
                panels: panels.iter().map(Part::share).sum(),
                milestones: needs.milestones.iter().map(first).sum(),
                mass: if held_kg > 0.0 { unlocked_kg / held_kg } else { 0.0 },
                duties: others as f64 / needs.open.max(1) as f64,
            };
            Some(NextTest {
                showing: step.showing.clone(),
                build: step.build.clone(),
                kind: step.kind,
                begins,
                closes: closed.into_iter().collect(),
                prerequisites,
                plan,
                panels,
                releasable_kg,
                milestones,
                unlocked_kg,
                others,
                worth,
            })
        })
        .collect();
    all.sort_by(|one, two| {
        let cost = |own: &NextTest| match own.plan.cost {
            Some(cost) if cost <= 0.0 => f64::INFINITY,
            _ => own.per_thousand().unwrap_or(0.0),
        };
        two.per_week()
            .total_cmp(&one.per_week())
            .then_with(|| cost(two).total_cmp(&cost(one)))
            .then_with(|| (&one.showing, &one.build).cmp(&(&two.showing, &two.build)))
    });
    Ok(all)
}

/// Adds duties that rest on nothing but what is closed.
fn lift(evaluation: &Evaluation, closed: &mut BTreeSet<DutyKey>) {
    loop {
        let names: BTreeSet<String> =
            closed.iter().map(|(showing, subject)| rested_on(showing, subject)).collect();
        let free = |duty: &&super::verdict::Duty| {
            let mut open = duty.panels.values().filter(|own| !own.verdict.is_closed()).peekable();
            open.peek().is_some()
                && open
                    .flat_map(|own| &own.because)
                    .filter(|own| own.attribute != "concession")
                    .all(|own| own.rule == RESTS_ON && names.contains(own.attribute.as_str()))
        };
        let more: Vec<DutyKey> = evaluation
            .duties
            .iter()
            .filter(|(key, duty)| !closed.contains(*key) && free(duty))
            .map(|(key, _)| key.clone())
            .collect();
        if more.is_empty() {
            return;
        }
        closed.extend(more);
    }
}

/// Open duties whose showings come after one that is closed here.
fn begins(ledger: &Ledger, evaluation: &Evaluation, closed: &BTreeSet<DutyKey>) -> Vec<DutyKey> {
    let mut all = Vec::new();
    for (key, duty) in &evaluation.duties {
        if duty.verdict().is_closed() || closed.contains(key) {
            continue;
        }
        let Some(showing) = ledger.showings.get(&key.0) else { continue };
        let waits = showing.value.after.iter().any(|needed| {
            closed.iter().any(|(own, subject)| {
                own == needed.id()
                    && super::rests::related(ledger, &evaluation.uses, &key.1, subject).unwrap_or(false)
            })
        });
        if waits {
            all.push(key.clone());
        }
    }
    all
}

/// What each panel needs for its release and each milestone for being reached, and what is not closed yet.
fn needs(ledger: &Ledger, evaluation: &Evaluation) -> Needs {
    let names: Vec<&str> =
        ledger.head.iter().flat_map(|head| &head.milestones).map(|name| name.as_str()).collect();
    let mut panels: BTreeMap<String, BTreeSet<DutyKey>> = BTreeMap::new();
    let new = |name: &&str| Milestone {
        name: (*name).to_string(),
        needed: BTreeSet::new(),
        first: BTreeSet::new(),
        conceded: 0,
    };
    let (mut conceded, mut open) = (BTreeMap::new(), 0);
    let mut milestones: Vec<Milestone> = names.iter().map(new).collect();
    for (key, duty) in &evaluation.duties {
        let due = ledger.milestone(duty.needed_by.as_deref());
        for (panel, judged) in duty.panels.iter().filter(|(_, judged)| judged.verdict != Verdict::Met) {
            let Some(entry) = ledger.panels.get(panel) else { continue };
            let is_needed = ledger.release_needs(&entry.value, duty.needed_by.as_deref());
            if is_needed && judged.verdict.is_closed() {
                *conceded.entry(panel.clone()).or_insert(0) += 1;
            } else if is_needed {
                panels.entry(panel.clone()).or_default().insert(key.clone());
            }
        }
        if duty.verdict() == Verdict::Conceded {
            let counts = |at: usize| due.is_none_or(|due| due <= at);
            milestones
                .iter_mut()
                .enumerate()
                .filter(|(at, _)| counts(*at))
                .for_each(|(_, own)| own.conceded += 1);
        }
        if !duty.verdict().is_closed() {
            open += 1;
            for (at, own) in milestones.iter_mut().enumerate() {
                if due.is_none_or(|due| due <= at) {
                    own.needed.insert(key.clone());
                }
                if due.unwrap_or(0) == at {
                    own.first.insert(key.clone());
                }
            }
        }
    }
    Needs { panels, conceded, open, milestones }
}

/// Finds the evidence that closed duties stand on and that no other stands in for, what most rests on first: each
/// record is taken away, with what it corrects, and what it held is judged again.
pub fn single_points(ledger: &Ledger, evaluation: &Evaluation, today: Day) -> Vec<SinglePoint> {
    let mut stands: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for duty in evaluation.duties.values() {
        for (panel, judged) in duty.panels.iter().filter(|(_, judged)| judged.verdict.is_closed()) {
            for id in &judged.evidence {
                stands.entry(id).or_default().insert(panel.clone());
            }
        }
    }
    // An equivalence stands on its baseline too.
    for entry in ledger.evidence.values() {
        let Some(baseline) = entry.value.baseline.as_ref() else { continue };
        if let Some(panels) = stands.get(entry.id.as_str()).cloned()
            && let Some((id, _)) = ledger.evidence.get_key_value(baseline.id())
        {
            stands.entry(id).or_default().extend(panels);
        }
    }
    let stands: Vec<(&str, BTreeSet<String>)> = stands.into_iter().collect();
    let mut all: Vec<SinglePoint> = stands
        .into_par_iter()
        .filter_map(|(id, panels)| {
            let own = ledger.evidence.get(id).filter(|own| own.value.state == EvidenceState::Done)?;
            let mut without = ledger.clone();
            let mut gone = Some(own);
            while let Some(one) = gone {
                without.evidence.remove(&one.id);
                without.data.remove(&one.id);
                let old = one.value.supersedes.as_ref().map(|old| old.id());
                gone = old
                    .and_then(|old| ledger.evidence.get(old))
                    .filter(|old| without.evidence.contains_key(&old.id));
            }
            let after = evaluate_few(&without, today, evaluation, &panels).ok()?;
            let lapses = lapses(evaluation, &after);
            if lapses.is_empty() {
                return None;
            }
            let panels: BTreeSet<String> = lapses.iter().flat_map(|one| one.panels.iter().cloned()).collect();
            let released = |panel: &&String| ledger.panels.get(*panel).is_some_and(|own| own.value.released);
            Some(SinglePoint {
                evidence: id.to_string(),
                showing: own.value.showing.id().to_string(),
                released: panels.iter().filter(released).cloned().collect(),
                panels: panels.into_iter().collect(),
                lapses,
            })
        })
        .collect();
    all.sort_by(|one, two| {
        let rank = |own: &SinglePoint| (own.released.len(), own.lapses.len(), own.panels.len());
        rank(two).cmp(&rank(one)).then_with(|| one.evidence.cmp(&two.evidence))
    });
    all
}

#[cfg(test)]
mod tests;
