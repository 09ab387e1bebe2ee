//! What is not met yet, in the order in which it is needed, with what closes each.

use super::concede::is_approved;
use super::judge::Reason;
use super::retest::{RetestPlan, StepKind, limits, plan, plan_with, to_be_repeated, ways};
use super::trial::{TrialState, trials};
use super::verdict::{Duty, DutyKey, Evaluation, Judged, Verdict};
use crate::article::{Configurator, Subject};
use crate::ledger::{Entry, Ledger};
use crate::record::sensitivity::Asks;
use crate::record::{Concession, Day};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

/// Which duties are wanted.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct GapsOptions {
    /// Met duties too.
    pub all: bool,
    /// Only duties needed by this milestone or an earlier one. A duty without a milestone, or with one
    /// that the ledger does not list, is always needed.
    pub milestone: Option<String>,
}

/// What closes one duty, by itself; a test may close several duties, so these are not to be summed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ClosesWith {
    /// What has to be done for the duty itself; `None` where nothing has to be.
    pub kind: Option<StepKind>,
    /// Specimens, prerequisites and spares included.
    pub specimens: u32,
    /// Panels to lay up, prerequisites included.
    pub panels: u32,
    /// Weeks until it is reported, prerequisites included.
    pub weeks: f64,
    /// Cost in the ledger's currency; `None` where a rate is missing.
    pub cost: Option<f64>,
    /// What is missing for the cost.
    pub missing: Vec<String>,
    /// Steps that have to be finished first, by name.
    pub prerequisites: Vec<String>,
    /// Ways without a test, in words.
    pub ways: Vec<String>,
}

/// One duty with what closes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Gap {
    /// The showing.
    pub showing: String,
    /// The subject.
    pub subject: Subject,
    /// The verdict.
    pub verdict: Verdict,
    /// What it asks.
    pub asks: Asks,
    /// The milestone that needs it.
    pub needed_by: Option<String>,
    /// Panels whose own verdict is not met; of a met duty all panels.
    pub panels: Vec<String>,
    /// Why; never empty.
    pub because: Vec<Reason>,
    /// What closes it.
    pub closes_with: ClosesWith,
}

impl Gap {
    /// Returns the key of the duty.
    pub fn key(&self) -> DutyKey {
        (self.showing.clone(), self.subject.clone())
    }
}

/// The duties wanted, and how many there are of each verdict in all.
#[derive(Debug, Clone, PartialEq)]
pub struct Gaps {
    /// The milestone asked for.
    pub milestone: Option<String>,
    /// The milestone asked for is none of the ledger's, so nothing was left out.
    pub unknown_milestone: bool,
    /// By milestone in the ledger's order, then the gravest first, then by showing and subject.
    pub duties: Vec<Gap>,
    /// How many duties have each verdict, all duties counted; a verdict that none has counts 0.
    pub counts: BTreeMap<&'static str, usize>,
    /// Showings that nothing in use is asked for: no duty comes of them. Those needed by the milestone asked for, by id.
    pub asked_of_nothing: Vec<String>,
    /// Evidence whose data are no longer what was conformed, with the duties needed by the milestone asked for that are
    /// closed by it on some panel; what closes none is left out.
    pub altered: BTreeMap<String, Vec<DutyKey>>,
}

impl Gaps {
    /// Returns the part of them that is needed by a milestone or an earlier one, as [`gaps`] finds it for that.
    pub fn up_to(&self, ledger: &Ledger, milestone: &str) -> Self {
        let milestones = Milestones::of(ledger);
        let limit = Some(milestones.place(Some(milestone)));
        let in_time = |gap: &&Gap| is_in_time(limit, milestones.place(gap.needed_by.as_deref()));
        let needs = |showing: &str| milestones.needs(limit, ledger, showing);
        let mut altered = self.altered.clone();
        altered.values_mut().for_each(|duties| duties.retain(|(showing, _)| needs(showing)));
        altered.retain(|_, duties| !duties.is_empty());
        Self {
            milestone: Some(milestone.to_string()),
            unknown_milestone: matches!(limit, Some(Place::Unlisted | Place::None)),
            duties: self.duties.iter().filter(in_time).cloned().collect(),
            counts: self.counts.clone(),
            asked_of_nothing: self.asked_of_nothing.iter().filter(|id| needs(id)).cloned().collect(),
            altered,
        }
    }
}

/// Counts the duties by verdict; one that none has counts 0.
pub fn counts(evaluation: &Evaluation) -> BTreeMap<&'static str, usize> {
    counted(evaluation.duties.values().map(Duty::verdict))
}

fn counted(verdicts: impl Iterator<Item = Verdict>) -> BTreeMap<&'static str, usize> {
    let mut counts: BTreeMap<&'static str, usize> =
        Verdict::ALL.iter().map(|verdict| (verdict.word(), 0)).collect();
    for verdict in verdicts {
        *counts.entry(verdict.word()).or_default() += 1;
    }
    counts
}

/// How far duties are ready for a milestone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ready {
    /// The milestone.
    pub milestone: String,
    /// How many of them are met or conceded.
    pub closed: usize,
    /// How many duties it needs: its own, those of earlier milestones, and those of none, as [`Gaps::up_to`] has them.
    pub duties: usize,
}

/// Counts duties, each with the milestone that needs it, by verdict, and how far they are ready for each milestone in the
/// order of the ledger.
pub fn tally<'d>(
    ledger: &Ledger,
    duties: impl Iterator<Item = (Option<&'d str>, Verdict)>,
) -> (BTreeMap<&'static str, usize>, Vec<Ready>) {
    let milestones = Milestones::of(ledger);
    let mut own = vec![(0, 0); milestones.0.len()];
    // What is needed by no milestone of the ledger is needed by each.
    let (mut closed, mut asked) = (0, 0);
    let verdicts: Vec<Verdict> = duties
        .map(|(needed_by, verdict)| {
            let is_closed = usize::from(verdict.is_closed());
            let at = match milestones.place(needed_by) {
                Place::Listed(at) => own.get_mut(at),
                Place::Unlisted | Place::None => None,
            };
            match at {
                Some(at) => *at = (at.0 + is_closed, at.1 + 1),
                None => (closed, asked) = (closed + is_closed, asked + 1),
            }
            verdict
        })
        .collect();
    let ready = milestones.0.iter().zip(own).map(|(milestone, (own_closed, own_asked))| {
        (closed, asked) = (closed + own_closed, asked + own_asked);
        Ready { milestone: milestone.clone(), closed, duties: asked }
    });
    let ready = ready.collect();
    (counted(verdicts.into_iter()), ready)
}

/// Returns counts that were written as texts and are read back; `None` where one is of no verdict.
pub fn read_counts(counts: &BTreeMap<String, usize>) -> Option<BTreeMap<&'static str, usize>> {
    let word = |text: &String| Verdict::ALL.iter().map(|verdict| verdict.word()).find(|own| own == text);
    counts.iter().map(|(text, count)| Some((word(text)?, *count))).collect()
}

/// Finds the duties that are not met, conceded ones included.
pub fn gaps(ledger: &Ledger, evaluation: &Evaluation, options: &GapsOptions) -> Gaps {
    let milestones = Milestones::of(ledger);
    let limit = options.milestone.as_deref().map(|name| milestones.place(Some(name)));
    let unknown_milestone = matches!(limit, Some(Place::Unlisted | Place::None));
    let wanted = |duty: &Duty| {
        is_in_time(limit, milestones.place(duty.needed_by.as_deref()))
            && (options.all || duty.verdict() != Verdict::Met)
    };
    let mut duties: Vec<&Duty> = evaluation.duties.values().filter(|duty| wanted(duty)).collect();
    duties.sort_by_cached_key(|duty| {
        let gravity = duty.worst().map(|(_, judged)| judged.gravity());
        // Milestones that the ledger does not list stay together too.
        let needed_by = duty.needed_by.clone();
        let place = milestones.place(needed_by.as_deref());
        (place, needed_by, Reverse(gravity), duty.showing.clone(), duty.subject.clone())
    });
    let configurator = Configurator::new(ledger);
    let asked: BTreeSet<&str> = evaluation.duties.keys().map(|(showing, _)| showing.as_str()).collect();
    let needs = |showing: &str| milestones.needs(limit, ledger, showing);
    // What another ledger has and this one does not use is for its own people.
    let of_nothing = ledger.showings.keys().filter(|id| !asked.contains(id.as_str()) && !id.contains(':'));
    Gaps {
        milestone: options.milestone.clone(),
        unknown_milestone,
        duties: duties.into_par_iter().map(|duty| gap(ledger, &configurator, evaluation, duty)).collect(),
        counts: counts(evaluation),
        asked_of_nothing: of_nothing.filter(|id| needs(id)).cloned().collect(),
        altered: altered(ledger, evaluation, &needs),
    }
}

/// Evidence with other data than it was conformed with, and the duties of the showings that are wanted which it closes.
fn altered(
    ledger: &Ledger,
    evaluation: &Evaluation,
    is_wanted: &dyn Fn(&str) -> bool,
) -> BTreeMap<String, Vec<DutyKey>> {
    let leaning = |id: &str| -> Vec<DutyKey> {
        // What extends it has its values.
        let extends = |own: &str| ledger.evidence.get(own).is_some_and(|own| own.value.extends(id));
        let leans = |own: &Judged| {
            own.verdict.is_closed() && own.evidence.iter().any(|own| *own == *id || extends(own))
        };
        let all = evaluation
            .duties
            .iter()
            .filter(|(key, duty)| is_wanted(&key.0) && duty.panels.values().any(|own| leans(own)));
        all.map(|(key, _)| key.clone()).collect()
    };
    let altered = ledger.evidence.values().filter(|entry| ledger.is_altered(entry));
    altered.map(|entry| (entry.id.clone(), leaning(&entry.id))).filter(|(_, all)| !all.is_empty()).collect()
}

fn is_in_time(limit: Option<Place>, own: Place) -> bool {
    match (limit, own) {
        (Some(Place::Listed(limit)), Place::Listed(own)) => own <= limit,
        _ => true,
    }
}

/// Returns the exposure trials whose showings are needed by the milestone asked for; all where none is.
pub fn trials_of(
    ledger: &Ledger,
    evaluation: &Evaluation,
    options: &GapsOptions,
    today: Day,
) -> Vec<TrialState> {
    let milestones = Milestones::of(ledger);
    let limit = options.milestone.as_deref().map(|name| milestones.place(Some(name)));
    let mut all = trials(ledger, evaluation, today);
    all.retain(|trial| milestones.needs(limit, ledger, &trial.showing));
    all
}

/// Plans what closes all of the duties together, each shared test counted once.
pub fn together(ledger: &Ledger, evaluation: &Evaluation, gaps: &Gaps) -> RetestPlan {
    let keys: Vec<DutyKey> =
        gaps.duties.iter().filter(|gap| !gap.verdict.is_closed()).map(Gap::key).collect();
    let mut all = plan(ledger, evaluation, &keys);
    // Without a limit the ways still say what would have to be kept.
    all.limits = limits(ledger, evaluation, &keys).unwrap_or_default();
    all.ways = ways(ledger, evaluation, &keys, &|_| None, &all.limits);
    all
}

/// Returns the concessions that are approved and have not ended, by id.
pub fn live_concessions(ledger: &Ledger, today: Day) -> Vec<&str> {
    let live = |entry: &&Entry<Concession>| {
        entry.value.until >= today && is_approved(ledger, &entry.value, Some(today))
    };
    ledger.concessions.values().filter(live).map(|entry| entry.id.as_str()).collect()
}

fn gap(ledger: &Ledger, configurator: &Configurator<'_>, evaluation: &Evaluation, duty: &Duty) -> Gap {
    let verdict = duty.verdict();
    let lacking = |own: Verdict| verdict == Verdict::Met || own != Verdict::Met;
    let panels = duty
        .panels
        .iter()
        .filter(|(name, judged)| !name.is_empty() && lacking(judged.verdict))
        .map(|(name, _)| name.clone())
        .collect();
    Gap {
        showing: duty.showing.clone(),
        subject: duty.subject.clone(),
        verdict,
        asks: duty.asks(),
        needed_by: duty.needed_by.clone(),
        panels,
        because: duty.because(),
        closes_with: closes_with(ledger, configurator, evaluation, duty),
    }
}

fn closes_with(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    evaluation: &Evaluation,
    duty: &Duty,
) -> ClosesWith {
    if duty.verdict().is_closed() {
        return ClosesWith { cost: Some(0.0), ..ClosesWith::default() };
    }
    let key = (duty.showing.clone(), duty.subject.clone());
    let plan = plan_with(ledger, configurator, evaluation, &[key]);
    let own = plan.steps.iter().find(|step| step.showing == duty.showing && !step.prerequisite);
    let repeat =
        own.filter(|step| step.kind == StepKind::NoTest).and_then(|step| to_be_repeated(ledger, step));
    let repeat =
        repeat.map(|id| format!("repeat evidence/{id} once, on a new set of panels and with a `reason`"));
    ClosesWith {
        kind: own.map(|step| step.kind),
        specimens: plan.specimens,
        panels: plan.panels,
        weeks: plan.weeks,
        cost: plan.cost,
        prerequisites: plan.steps.iter().filter(|step| step.prerequisite).map(|step| step.name()).collect(),
        missing: plan.missing,
        ways: repeat.into_iter().chain(plan.ways).collect(),
    }
}

/// Where a milestone stands: listed ones in their order, then unlisted ones, then none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Place {
    Listed(usize),
    Unlisted,
    None,
}

struct Milestones(Vec<String>);

impl Milestones {
    fn of(ledger: &Ledger) -> Self {
        let names = ledger.head.iter().flat_map(|head| &head.milestones);
        Self(names.map(|name| name.as_str().to_string()).collect())
    }

    /// Whether a showing is needed by a milestone or an earlier one.
    fn needs(&self, limit: Option<Place>, ledger: &Ledger, showing: &str) -> bool {
        let needed_by = ledger.showings.get(showing).and_then(|own| own.value.needed_by.as_ref());
        is_in_time(limit, self.place(needed_by.map(|name| name.as_str())))
    }

    fn place(&self, name: Option<&str>) -> Place {
        match name {
            None => Place::None,
            Some(name) => self.0.iter().position(|own| own == name).map_or(Place::Unlisted, Place::Listed),
        }
    }
}

#[cfg(test)]
mod tests;
