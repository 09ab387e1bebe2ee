//! Duties and their verdicts, panel by panel.

use super::beside::{Before, Ground, Grounds};
use super::compared::{Asked, Compared, Sight};
use super::coverage::{Demand, bounds};
use super::demands::{Demands, Used};
pub use super::duty::{Behind, Duty, DutyKey, Judged, Verdict, gravity};
use super::earlier::{Earlier, Effort, Recalled, count};
use super::extension::{Extension, Fits, has_failed};
use super::judge::{Detail, Reason, Rules};
use super::live::{Live, W9, leans_on_computed};
use super::made::{Forms, Made, all_made};
use super::margins::{Memo, PanelMargins, margins_shared};
use super::pool::Outcome;
use super::reach::Reach;
use super::sieve::{Look, Sieve};
use super::table::{KindRow, Table};
use super::touched::Design;
use super::trial;
use crate::article::{ArticleError, Configuration, Configurator, Sites, Subject, Uses, uses};
use crate::ledger::{Entry, Ledger};
use crate::record::sensitivity::Asks;
use crate::record::{
    Address, Bounds, Class, Concession, Day, Evidence, EvidenceKind, EvidenceState, OneOrMany, Panel, Phrase,
    RecordKind, Showing, SubjectKind, Text,
};
use foldhash::{HashMap, HashSet};
use litemap::LiteMap;
use rayon::prelude::*;
use std::cell::{Cell, LazyCell, OnceCell};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Deref;
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use thin_vec::{ThinVec, thin_vec};

/// A whole ledger, judged.
#[derive(Debug, Clone)]
pub struct Evaluation {
    /// All duties.
    pub duties: BTreeMap<DutyKey, Duty>,
    /// Subjects in use.
    pub uses: Uses,
    /// Figures and conditions that had to be assumed, sorted.
    pub assumptions: Vec<Phrase>,
    /// What the verdicts were made from.
    pub(super) grounds: Arc<Grounds>,
    /// Plates that were solved for computed showings, for whoever computes margins of this state or beside it.
    pub(super) memo: Arc<Memo>,
    /// Evidence in the form that comparing takes, for states beside it.
    pub(super) forms: Arc<Forms>,
    /// Whether what is worked out of it is kept for later runs.
    keeps: bool,
}

impl Evaluation {
    /// Returns how much had to be worked out, of this state and those beside it.
    pub fn effort(&self) -> Effort {
        self.memo.recalled.effort()
    }

    /// Returns the margins of a panel of the state that was judged; what was computed already is taken from there.
    ///
    /// # Errors
    /// [`ArticleError`] names a record or figure without which a stack cannot be laid up.
    pub fn margins(&self, ledger: &Ledger, panel: &str) -> Result<Arc<PanelMargins>, ArticleError> {
        margins_shared(ledger, &self.duties, panel, &self.memo, self.keeps)
    }

    /// Returns the plates that were solved already.
    pub(crate) fn memo(&self) -> &Memo {
        &self.memo
    }
}

/// Judges every duty of a ledger on a day.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which there is no answer.
pub fn evaluate(ledger: &Ledger, today: Day) -> Result<Evaluation, ArticleError> {
    evaluate_with(ledger, today, Detail::Verdicts)
}

/// As [`evaluate_with`], asking first what earlier runs kept, and keeping for later ones what this one had to work out.
///
/// # Errors
/// As [`evaluate`].
pub fn evaluate_after(
    ledger: &Ledger,
    today: Day,
    detail: Detail,
    earlier: Option<Arc<dyn Earlier>>,
) -> Result<Evaluation, ArticleError> {
    let begun = Begun { other: None, memo: Arc::new(Memo::after(earlier)), keeps: true };
    whole(ledger, today, detail, begun, true, None)
}

/// As [`evaluate`], with the differences that were allowed where they are asked for.
///
/// # Errors
/// As [`evaluate`].
pub fn evaluate_with(ledger: &Ledger, today: Day, detail: Detail) -> Result<Evaluation, ArticleError> {
    whole(ledger, today, detail, Begun::beside(None), true, None)
}

/// As [`evaluate`], in the detail of the evaluation of another state, taking over what was judged there from
/// the very same.
///
/// # Errors
/// As [`evaluate`].
pub fn evaluate_beside(ledger: &Ledger, today: Day, other: &Evaluation) -> Result<Evaluation, ArticleError> {
    whole(ledger, today, other.grounds.detail, Begun::beside(Some(other)), true, None)
}

/// As [`evaluate_beside`], judging anew only what some panels ask and what the programme asks; every other panel
/// keeps the verdicts of the other state, which the caller knows not to be touched by what differs.
///
/// # Errors
/// As [`evaluate`].
pub fn evaluate_few(
    ledger: &Ledger,
    today: Day,
    other: &Evaluation,
    panels: &BTreeSet<String>,
) -> Result<Evaluation, ArticleError> {
    whole(ledger, today, other.grounds.detail, Begun::beside(Some(other)), true, Some(panels))
}

/// As [`evaluate_few`], given up as soon as a duty that the other state met is surely not closed any more: `None`
/// then. An evaluation says nothing of whether one is lost.
///
/// # Errors
/// As [`evaluate`].
pub fn evaluate_until_lost(
    ledger: &Ledger,
    today: Day,
    other: &Evaluation,
    panels: &BTreeSet<String>,
) -> Result<Option<Evaluation>, ArticleError> {
    let goes_on = |duties: &_| if lost(ledger, other, duties) { Err(Ended::Lost) } else { Ok(()) };
    let begun = Begun::beside(Some(other));
    match evaluated(ledger, today, other.grounds.detail, begun, true, Some(panels), goes_on) {
        Ok(evaluation) => Ok(Some(evaluation)),
        Err(Ended::Lost) => Ok(None),
        Err(Ended::Unfit(error)) => Err(error),
    }
}

/// As [`evaluate`], every candidate compared in whole.
#[cfg(test)]
pub(super) fn evaluate_in_whole(ledger: &Ledger, today: Day) -> Result<Evaluation, ArticleError> {
    whole(ledger, today, Detail::Verdicts, Begun::beside(None), false, None)
}

fn whole(
    ledger: &Ledger,
    today: Day,
    detail: Detail,
    begun: Begun<'_>,
    first_look: bool,
    only: Option<&BTreeSet<String>>,
) -> Result<Evaluation, ArticleError> {
    evaluated(ledger, today, detail, begun, first_look, only, |_| Ok::<_, ArticleError>(()))
}

/// What an evaluation begins with.
struct Begun<'a> {
    other: Option<&'a Evaluation>,
    memo: Arc<Memo>,
    /// Whether what is judged is kept for later runs. What is judged beside another state may be a trial, of which there
    /// are thousands; it takes from there alone.
    keeps: bool,
}

impl<'a> Begun<'a> {
    fn beside(other: Option<&'a Evaluation>) -> Self {
        Self { other, memo: other.map_or_else(Arc::default, |other| Arc::clone(&other.memo)), keeps: false }
    }
}

/// Why there is no evaluation.
enum Ended {
    Lost,
    Unfit(ArticleError),
}

impl From<ArticleError> for Ended {
    fn from(error: ArticleError) -> Self {
        Ended::Unfit(error)
    }
}

/// `goes_on` is asked with the verdicts from evidence, before what is computed, which takes longest; neither what they
/// rest on nor concessions are laid over them yet.
fn evaluated<E: From<ArticleError>>(
    ledger: &Ledger,
    today: Day,
    detail: Detail,
    Begun { other, memo, keeps }: Begun<'_>,
    first_look: bool,
    only: Option<&BTreeSet<String>>,
    goes_on: impl Fn(&BTreeMap<DutyKey, Duty>) -> Result<(), E>,
) -> Result<Evaluation, E> {
    let uses = uses(ledger)?;
    let configurator = Configurator::new(ledger);
    let forms = other.map_or_else(Arc::default, |other| Arc::clone(&other.forms));
    let other = other.map(|other| &*other.grounds);
    let known = other.map(|other| &other.demands);
    let recalled = &memo.recalled;
    let touched = other.filter(|_| first_look && only.is_none()).and_then(|own| own.design.touched(ledger));
    let touched = touched.as_ref();
    let demands = match only {
        Some(only) => Demands::all(ledger, &configurator, &few(&uses, only), known, None)?,
        None => Demands::all(ledger, &configurator, &uses, known, touched)?,
    };
    let by_showing = by_showing(ledger);
    let showings: Vec<(&Entry<Showing>, &KindRow)> = ledger
        .showings
        .values()
        .filter_map(|showing| Some((showing, Table::row(showing.value.kind.as_str())?)))
        .collect();
    let reach = Reach::of(&uses);
    let judge_one = |(showing, row): &(&Entry<Showing>, &KindRow), live: Option<&Live<'_>>| {
        let records = by_showing.get(showing.id.as_str()).map_or(&[][..], Vec::as_slice);
        let kind = row.subject_of(&showing.value);
        // What was judged from the very same needs neither.
        let rules = LazyCell::new(|| rules(showing, row, kind));
        // What w9 lets pass is known only with the panel, so that no first look can tell.
        let sieve =
            LazyCell::new(|| if first_look && live.is_none() { Sieve::of(&rules) } else { Sieve::default() });
        let (configurator, uses, reach, demands) = (&configurator, &uses, &reach, &demands);
        let mut room = Room {
            ledger,
            configurator,
            uses,
            reach,
            demands,
            showing,
            row,
            records,
            rules: &rules,
            sieve: &sieve,
            forms: Some(&forms),
            detail,
            live,
            only,
            fits: Fits::default(),
            conceding: super::concede::of_showing(ledger, &showing.id),
        };
        let ground = Ground::of(&room);
        let asks = first_look && only.is_none() && live.is_none() && !row.live && recalled.asks();
        let mark = LazyCell::new(|| ground.mark(detail, recalled));
        let before = OnceCell::new();
        let find = || before.get_or_init(|| Before::of(recalled, &mark));
        let mut kept = only.and_then(|only| Some((other?.showings.get(&showing.id)?, only)));
        let other = other.filter(|_| live.is_none() && !row.live);
        let same = other.and_then(|other| Some((other.of(&showing.id, &ground)?, &other.demands)));
        // What panels have verdicts on that nothing touched is not even looked through.
        let few = touched.filter(|touched| touched.leaves(&showing.value)).zip(same);
        if let Some((touched, (ground, _))) = few {
            room.only = Some(&touched.panels);
            kept = Some((ground, &touched.panels));
        }
        let room = room;
        let once = OnceCell::new();
        let candidates = || -> &[Made<'_>] { once.get_or_init(|| room.candidates()) };
        let earlier: Option<&dyn Fn() -> _> = if asks { Some(&find) } else { None };
        let taken = Taken { same, earlier, recalled: Some(recalled), anew: Cell::new(false) };
        let mut duties = room.duties(kind, &taken, &candidates)?;
        if let Some((kept, only)) = kept {
            kept.complete(&mut duties, only);
        }
        let is_anew = asks && keeps && taken.anew.get();
        let anew = before.into_inner().filter(|_| is_anew).map(|before| before.and_anew(*mark));
        let mut ground = ground.holding(&duties, anew);
        let before = few.and_then(|(touched, (own, _))| Some((own.homes.as_ref()?, touched)));
        ground.homes = room.assign_lapses(&mut duties, &candidates, before);
        Ok::<_, ArticleError>((duties, ground))
    };
    let mut duties = BTreeMap::new();
    let mut grounds = HashMap::default();
    let mut judge = |which: &[(&Entry<Showing>, &KindRow)],
                     live: Option<&Live<'_>>,
                     duties: &mut BTreeMap<DutyKey, Duty>|
     -> Result<(), ArticleError> {
        let judged: Vec<_> = which.par_iter().map(|one| judge_one(one, live)).collect();
        for ((showing, _), one) in which.iter().zip(judged) {
            let (all, ground) = one?;
            grounds.insert(showing.id.clone(), ground);
            for duty in all {
                duties.insert((duty.showing.clone(), duty.subject.clone()), duty);
            }
        }
        Ok(())
    };
    // Evidence first, then what is computed with its values, then what looks at what was computed.
    let (computed, proved): (Vec<_>, Vec<_>) = showings.iter().copied().partition(|(_, row)| row.live);
    if computed.is_empty() {
        judge(&proved, None, &mut duties)?;
    } else {
        let (after, first): (Vec<_>, Vec<_>) =
            proved.into_iter().partition(|(_, row)| leans_on_computed(row));
        judge(&first, None, &mut duties)?;
        goes_on(&duties)?;
        let mut standing = duties.clone();
        super::rests::rest(ledger, &uses, &mut standing)?;
        super::concede::concede(ledger, today, &mut standing);
        let mut live = Live::new(ledger, standing, (Arc::clone(&memo), keeps));
        let mut found = BTreeMap::new();
        judge(&computed, Some(&live), &mut found)?;
        if !after.is_empty() {
            // w9 looks at what stands in the end: what rests on an unmet duty is not met, what is conceded is
            // closed. One that rests on a duty which itself looks at what is computed finds none yet: nothing
            // goes round in a circle.
            let mut laid = duties.clone();
            laid.extend(found.iter().map(|(key, duty)| (key.clone(), duty.clone())));
            super::rests::rest(ledger, &uses, &mut laid)?;
            super::concede::concede(ledger, today, &mut laid);
            live.keep(&laid);
        }
        duties.extend(found);
        judge(&after, Some(&live), &mut duties)?;
    }
    super::rests::rest(ledger, &uses, &mut duties)?;
    super::concede::concede(ledger, today, &mut duties);
    let mut assumptions = unbounded_heat(ledger, &uses, &duties);
    let judged = duties.values().flat_map(|duty| duty.panels.values());
    // Most are said of many panels, and comparing is what takes the time.
    let said: HashSet<&Phrase> = judged.flat_map(|judged| &judged.assumptions).collect();
    assumptions.extend(said.into_iter().cloned());
    assumptions.sort_unstable();
    assumptions.dedup();
    let grounds = Arc::new(Grounds { detail, showings: grounds, demands, design: Design::of(ledger) });
    grounds.keep(&memo.recalled);
    Ok(Evaluation { duties, uses, assumptions, grounds, memo, forms, keeps })
}

/// Whether a duty that was met is surely not closed in the end: what it rests on closes nothing that is not, and
/// concessions close only what one names.
fn lost(ledger: &Ledger, before: &Evaluation, duties: &BTreeMap<DutyKey, Duty>) -> bool {
    let conceded: BTreeSet<&str> = ledger.concessions.values().map(|one| one.value.showing.id()).collect();
    duties.iter().filter(|(key, _)| !conceded.contains(key.0.as_str())).any(|(key, duty)| {
        let Some(was) = before.duties.get(key) else { return false };
        let met = |panel: &String| was.panels.get(panel).is_some_and(|own| own.verdict == Verdict::Met);
        duty.panels.iter().any(|(panel, now)| !now.verdict.is_closed() && met(panel))
    })
}

/// Subjects as some panels use them, and those that no panel uses.
fn few(uses: &Uses, panels: &BTreeSet<String>) -> Uses {
    let mut few = Uses::new();
    for (subject, using) in uses {
        let own = using.iter().filter(|(panel, _)| panels.contains(*panel));
        let own: LiteMap<String, Sites> = own.map(|(panel, sites)| (panel.clone(), sites.clone())).collect();
        if !own.is_empty() || using.is_empty() {
            few.insert(subject.clone(), own);
        }
    }
    few
}

/// Evidence by the showing that it answers, without what a correction stands in place of.
pub(super) fn by_showing(ledger: &Ledger) -> BTreeMap<&str, Vec<&Entry<Evidence>>> {
    let superseded = superseded(ledger);
    let mut all: BTreeMap<&str, Vec<&Entry<Evidence>>> = BTreeMap::new();
    for evidence in ledger.evidence.values().filter(|one| !superseded.contains_key(one.id.as_str())) {
        all.entry(evidence.value.showing.id()).or_default().push(evidence);
    }
    all
}

/// Records that a finished, conformed correction of the same showing stands in place of, each with that.
///
/// One whose own values fail the criterion stays: a failure leaves the pool by disposition only.
pub fn superseded(ledger: &Ledger) -> BTreeMap<&str, &str> {
    let mut all = BTreeMap::new();
    for correction in ledger.evidence.values() {
        let own = &correction.value;
        let Some(old) = own.supersedes.as_ref().and_then(|old| ledger.evidence.get(old.id())) else {
            continue;
        };
        let finished = own.state == EvidenceState::Done && own.conformed.is_some();
        if !finished || own.showing != old.value.showing {
            continue;
        }
        let failed = old.value.disposition.is_none()
            && old.value.state == EvidenceState::Done
            && ledger
                .showings
                .get(own.showing.id())
                .is_some_and(|showing| has_failed(ledger, &showing.value, old));
        if !failed {
            all.entry(old.id.as_str()).or_insert(correction.id.as_str());
        }
    }
    all
}

/// Structural laminas, laminates and bonds that no hot showing is asked of.
fn unbounded_heat(ledger: &Ledger, uses: &Uses, duties: &BTreeMap<DutyKey, Duty>) -> Vec<Phrase> {
    let hot: BTreeSet<&Subject> = duties
        .keys()
        .filter(|(showing, _)| {
            ledger.showings.get(showing).is_some_and(|entry| bounds(&entry.value) == Bounds::Hot)
        })
        .map(|(_, subject)| subject)
        .collect();
    let structural = |panel: &String| {
        ledger
            .panels
            .get(panel)
            .is_some_and(|panel| panel.value.class.unwrap_or(Class::Structural) == Class::Structural)
    };
    uses.iter()
        .filter(|(subject, panels)| {
            let kind =
                matches!(subject.kind(), SubjectKind::Lamina | SubjectKind::Laminate | SubjectKind::Bond);
            kind && !hot.contains(subject) && panels.keys().any(structural)
        })
        .map(|(subject, _)| format!("nothing bounds heat on {subject}: no hot showing is asked of it").into())
        .collect()
}

/// Evidence brought into the form that comparing takes, once somebody asks for it.
pub(super) type InForm<'f, 'r> = &'f dyn Fn() -> &'r [Made<'r>];

/// Everything that one showing's duties are judged with.
pub(super) struct Room<'a> {
    pub(super) ledger: &'a Ledger,
    pub(super) configurator: &'a Configurator<'a>,
    pub(super) uses: &'a Uses,
    pub(super) reach: &'a Reach<'a>,
    pub(super) demands: &'a Demands,
    pub(super) showing: &'a Entry<Showing>,
    pub(super) row: &'a KindRow,
    pub(super) records: &'a [&'a Entry<Evidence>],
    pub(super) rules: &'a dyn Deref<Target = Rules<'a>>,
    pub(super) sieve: &'a dyn Deref<Target = Sieve>,
    /// Evidence that was brought into form for other states, where any was.
    pub(super) forms: Option<&'a Forms>,
    pub(super) detail: Detail,
    /// What is computed of panels, where anything is.
    pub(super) live: Option<&'a Live<'a>>,
    /// Panels that are judged, where not all are.
    pub(super) only: Option<&'a BTreeSet<String>>,
    /// Which records an extension may lean on, as far as somebody asked.
    pub(super) fits: Fits,
    /// Concessions that name the showing, live or not, each with its subject.
    pub(super) conceding: Vec<(Subject, &'a Entry<Concession>)>,
}

/// Where verdicts that were made from the very same are taken from.
#[derive(Default)]
pub(super) struct Taken<'a> {
    /// What was judged from the same showing and records in another state of this run.
    same: Option<(&'a Ground, &'a Demands)>,
    /// What an earlier run judged from them.
    earlier: Option<&'a dyn Fn() -> &'a Before>,
    /// Where the work is counted.
    recalled: Option<&'a Recalled>,
    /// Whether any verdict had to be judged.
    anew: Cell<bool>,
}

impl Taken<'_> {
    fn judged(&self, subject: &Subject, panel: &str, used: &Arc<Used>) -> Option<Arc<Judged>> {
        let same = self.same.and_then(|(ground, demands)| ground.judged(demands, subject, panel, used));
        let note = |which: fn(&Recalled) -> &AtomicUsize| {
            if let Some(recalled) = self.recalled {
                count(which(recalled));
            }
        };
        let known = same.cloned().inspect(|_| note(|own| &own.shared));
        // Nobody uses the programme, and it is judged anew.
        let earlier = || self.earlier.filter(|_| !panel.is_empty())?().judged(&used.mark(subject)).cloned();
        let known = known.or_else(|| earlier().inspect(|_| note(|own| &own.found)));
        if known.is_none() {
            note(|own| &own.judged);
            self.anew.set(self.anew.get() || !panel.is_empty());
        }
        known
    }
}

pub(super) fn rules<'a>(showing: &'a Entry<Showing>, row: &'a KindRow, kind: &'a str) -> Rules<'a> {
    let own = showing.value.own_steps().map(|own| (showing.id.as_str(), own));
    Rules::of(row, showing.value.kind.as_str(), kind, own)
}

/// Whether a record of a showing may speak for a duty: finished, and no failure that was set aside.
pub(super) fn is_candidate(evidence: &Evidence) -> bool {
    evidence.state == EvidenceState::Done && evidence.disposition.is_none()
}

/// Whether a record is still to be finished.
pub(super) fn is_running(evidence: &Evidence) -> bool {
    evidence.state != EvidenceState::Done
}

impl Room<'_> {
    /// Returns whether a subject is in use, or is a panel that can't be read now: its evidence stays its own.
    pub(super) fn is_in_use(&self, subject: &Subject) -> bool {
        let is_unread =
            |panel: &String| self.ledger.broken.contains(&Address::new(RecordKind::Panel, panel.clone()));
        self.uses.contains_key(subject) || matches!(subject, Subject::Panel(panel) if is_unread(panel))
    }

    /// `candidates` are brought into form only where something is to be compared with them.
    fn duties<'r>(
        &self,
        kind: &str,
        taken: &Taken<'_>,
        candidates: InForm<'_, 'r>,
    ) -> Result<Vec<Duty>, ArticleError> {
        let once = OnceCell::new();
        let running = || once.get_or_init(|| self.running()).as_slice();
        let mut all = Vec::new();
        let panels = &self.ledger.panels;
        let all_taken = || panels.values().filter(|panel| self.takes(panel));
        let asked: BTreeMap<&str, &Entry<Panel>> = match self.only {
            None => all_taken().map(|panel| (panel.id.as_str(), panel)).collect(),
            Some(only) => only
                .iter()
                .filter_map(|id| panels.get(id))
                .filter(|panel| self.takes(panel))
                .map(|panel| (panel.id.as_str(), panel))
                .collect(),
        };
        for (subject, panels) in self.reach.subjects(kind, asked.keys().copied()) {
            if !self.contains(subject)? {
                continue;
            }
            let mut using = Vec::new();
            if *subject == Subject::Programme {
                let mut any = self.showing.value.applies_to.is_none();
                for panel in all_taken() {
                    any |= self.applies(panel, &Sites::default(), subject)?;
                }
                if any {
                    using.push(String::new());
                }
            }
            for (panel, sites) in panels {
                let Some(entry) = asked.get(panel.as_str()) else { continue };
                if self.applies(entry, sites, subject)? && self.has(entry, sites, subject)? {
                    using.push(panel.clone());
                }
            }
            if using.is_empty() {
                continue;
            }
            all.push(self.duty(subject, using, (candidates, &running), taken)?);
        }
        Ok(all)
    }

    /// Finished, conformed evidence of the showing, dispositions left out.
    pub(super) fn candidates(&self) -> Vec<Made<'_>> {
        all_made(self.records, self.sieve, self.forms, is_candidate)
    }

    /// Evidence under way that was conformed already.
    pub(super) fn running(&self) -> Vec<Made<'_>> {
        all_made(self.records, self.sieve, self.forms, is_running)
    }

    /// Evidence under way whose article is known, compared with what is asked: what was made for the subject,
    /// or is the same by value.
    fn under_way<'m>(&self, asked: &Asked<'_>, running: &'m [Made<'m>]) -> Vec<Compared<'m>> {
        if running.is_empty() {
            return Vec::new();
        }
        let now = self.sieve.look(asked.configuration);
        let of = |made: &'m Made<'m>| {
            let own = made.label.as_ref() == Some(asked.subject);
            let at_least = made.at_least(&now, self.is_foreign(asked.subject, asked.configuration, made));
            if !own && at_least > Asks::None {
                return None;
            }
            let compared =
                self.compare(asked, made, &mut Sight { at_least, is_plain_judged: true, seen: None });
            (own || compared.asks == Asks::None).then_some(compared)
        };
        running.iter().filter_map(of).collect()
    }

    pub(super) fn duty<'r, 's>(
        &self,
        subject: &Subject,
        using: Vec<String>,
        (candidates, running): (InForm<'_, 'r>, InForm<'_, 's>),
        taken: &Taken<'_>,
    ) -> Result<Duty, ArticleError> {
        // Panels share what is equal, so where it lies tells them apart.
        let mut shared: HashMap<*const Configuration, (Look, Vec<Sight>)> = HashMap::default();
        let mut panels = LiteMap::with_capacity(using.len());
        for panel in using {
            if let Some(live) = self.live.filter(|_| self.row.live) {
                let mut judged = live.judged(self.showing, subject, &panel)?;
                judged.under_way = self.begun(subject);
                panels.insert(panel, Arc::new(judged.without_spare_room()));
                continue;
            }
            let programme;
            let used = match self.demands.of(subject, &panel) {
                Some(used) => used,
                // The programme is used by no panel.
                None => {
                    programme = match subject {
                        Subject::Programme => self.demands.programme(self.configurator)?,
                        other => Arc::new(Used::by_none(self.configurator.variants(other, None)?)),
                    };
                    &programme
                }
            };
            if let Some(known) = taken.judged(subject, &panel, used) {
                panels.insert(panel, known);
                continue;
            }
            let (candidates, running) = (candidates(), running());
            let Used { variants, demand, load_path, .. } = &**used;
            let w9 = self.w9(&panel)?;
            let mut worst: Option<Judged> = None;
            let mut others: ThinVec<(Verdict, ThinVec<Reason>)> = ThinVec::new();
            for configuration in variants.iter() {
                let (now, sights) = shared.entry(std::ptr::from_ref(configuration)).or_insert_with(|| {
                    let now = self.sieve.look(configuration);
                    let at_least =
                        |one: &Made<'_>| one.at_least(&now, self.is_foreign(subject, configuration, one));
                    let sight = |one| Sight { at_least: at_least(one), is_plain_judged: false, seen: None };
                    let sights = candidates.iter().map(sight).collect();
                    (now, sights)
                });
                let (load_path, w9) = (*load_path, w9.as_ref());
                let asked = Asked { subject, configuration, demand, load_path, w9 };
                let mut compared = self.compare_all(&asked, candidates, (now, sights));
                let under_way = self.under_way(&asked, running);
                let mut judged = self.verdict(&asked, candidates, &compared, &under_way);
                if judged.verdict == Verdict::Short && judged.asks > Asks::None && !candidates.is_empty() {
                    // What was not looked at, since an extension conforms, may be what closes it for less.
                    self.find_nearest(&asked, candidates, (now, sights), &mut compared);
                    self.take_shorter_way(&asked, (candidates, &compared), &mut judged);
                }
                let all = (candidates, compared.as_slice());
                judged.granted = self.granted(&asked, all, sights, &under_way, &judged);
                let (graver, other) = match worst.take() {
                    Some(worst) if judged.gravity() > worst.gravity() => (judged, Some(worst)),
                    Some(worst) => (worst, Some(judged)),
                    None => (judged, None),
                };
                worst = Some(graver);
                let Some(unmet) = other.filter(|other| !other.verdict.is_closed()) else { continue };
                others.push((unmet.verdict, unmet.because));
                if let Some(worst) = &mut worst {
                    super::concede::add_article(worst, unmet.verdict, &unmet.granted);
                }
            }
            let Some(mut judged) = worst else { continue };
            judged.others = others;
            self.complete(&mut judged, demand);
            for one in judged.granted.iter_mut().filter_map(|one| one.judged.as_deref_mut()) {
                self.complete(one, demand);
            }
            panels.insert(panel, Arc::new(judged.without_spare_room()));
        }
        Ok(Duty {
            showing: self.showing.id.clone(),
            subject: subject.clone(),
            panels: Arc::new(panels),
            needed_by: self.showing.value.needed_by.as_ref().map(ToString::to_string),
        })
    }

    /// Says beside a verdict what is under way, and what is assumed of the panel.
    fn complete(&self, judged: &mut Judged, demand: &Demand) {
        trial::say_running(self.ledger, &self.showing.value, judged);
        judged.assumptions.extend(demand.assumptions.iter().cloned());
        judged.assumptions.sort();
        judged.assumptions.dedup();
    }

    /// What w9 says of a panel, where the row looks at what is computed.
    fn w9<'p>(&'p self, panel: &'p str) -> Result<Option<W9<'p>>, ArticleError> {
        match self.live.filter(|_| leans_on_computed(self.row)) {
            Some(live) => live.w9(self.showing.value.kind.as_str(), panel),
            None => Ok(None),
        }
    }

    /// Records that are planned or running for a subject by their label.
    fn begun(&self, subject: &Subject) -> ThinVec<Phrase> {
        let own = self.records.iter().filter(|entry| {
            is_running(&entry.value) && Subject::from_label(&entry.value.subject).as_ref() == Some(subject)
        });
        own.map(|entry| Phrase::from(&entry.id)).collect()
    }

    pub(super) fn primary(&self, evidence: &Evidence) -> bool {
        let by_paper = || evidence.baseline.is_none() && by_paper(&self.showing.value.means);
        evidence.kind.stands_alone() || evidence.kind == EvidenceKind::Analysis && by_paper()
    }

    pub(super) fn verdict(
        &self,
        asked: &Asked<'_>,
        candidates: &[Made<'_>],
        compared: &[Compared<'_>],
        under_way: &[Compared<'_>],
    ) -> Judged {
        let &Asked { subject, load_path, .. } = asked;
        let showing = &self.showing.value;
        let mut judged = Judged::open();
        let label = |entry: &Entry<Evidence>| Subject::from_label(&entry.value.subject);
        let mut unconformed = Vec::new();
        judged.under_way.extend(under_way.iter().map(|one| one.id().into()));
        for one in under_way.iter().filter(|one| one.asks > Asks::None) {
            let (evidence, asks, because) = (one.id().into(), one.asks, one.reasons());
            judged.behind.push(Behind { evidence, asks, because });
        }
        for entry in self.records.iter().filter(|entry| label(entry).as_ref() == Some(subject)) {
            match entry.value.state {
                _ if judged.under_way.iter().any(|id| *id == entry.id) => {}
                EvidenceState::Planned | EvidenceState::Running => {
                    judged.under_way.push(entry.id.as_str().into())
                }
                EvidenceState::Done if entry.value.conformed.is_none() => unconformed.push(entry.id.clone()),
                EvidenceState::Done => {}
            }
        }
        if self.row.live {
            // Trials of single figures compute nothing.
            judged.because.push(note(super::live::COMPUTED, "not computed in this trial", Asks::Retest));
            return judged;
        }
        let conforming: Vec<(&Made<'_>, &Compared<'_>)> =
            candidates.iter().zip(compared).filter(|(_, compared)| compared.asks == Asks::None).collect();
        let (primaries, extensions): (Vec<_>, Vec<_>) =
            conforming.iter().copied().partition(|(made, _)| self.primary(&made.entry.value));
        let mut failures = ThinVec::new();
        let mut failed_equivalences: Vec<&Made<'_>> = Vec::new();
        let mut repeats: Vec<&Made<'_>> = Vec::new();
        let mut met = false;
        let mut short: Option<(Asks, ThinVec<Reason>)> = None;
        if !primaries.is_empty() {
            let records: Vec<&Entry<Evidence>> = primaries.iter().map(|(made, _)| made.entry).collect();
            let (lacks, outcome, doubts) =
                trial::sample(self.ledger, showing, &records, load_path, asked.ramp());
            judged.lacks = lacks;
            judged.assumptions.extend(doubts.into_iter().map(Phrase::from));
            judged.evidence.extend(records.iter().map(|entry| Phrase::from(&entry.id)));
            match outcome {
                Outcome::Fails(words) => {
                    let moved = showing.accept.above_skin_by.is_some();
                    let rule = if moved { "the requirement moved" } else { "the criterion does not hold" };
                    failures.push(Reason {
                        was: "held".into(),
                        rule: rule.into(),
                        ..note("criterion", &words, Asks::None)
                    });
                    judged.criterion = Some(words.into());
                }
                Outcome::Holds(words) if judged.lacks.is_complete() => {
                    met = true;
                    judged.criterion = Some(words.into());
                }
                Outcome::Holds(words) => {
                    short = Some((
                        Asks::None,
                        thin_vec![note("sample", &judged.lacks.lacks.join(", "), Asks::None)],
                    ));
                    judged.criterion = Some(words.into());
                }
                Outcome::Unknown(words) => {
                    let mut lacks = judged.lacks.lacks.clone();
                    lacks.push(words.clone());
                    short = Some((Asks::None, thin_vec![note("sample", &lacks.join(", "), Asks::None)]));
                    judged.criterion = Some(words.into());
                }
            }
        }
        for (made, own) in &extensions {
            match self.extension(asked, (made, own), (candidates, compared)) {
                Extension::Counts(words, doubts) => {
                    judged.assumptions.extend(doubts.into_iter().map(Phrase::from));
                    if made.entry.value.reason.is_some() {
                        repeats.push(made);
                    }
                    if !met {
                        judged.evidence.push(made.entry.id.as_str().into());
                        judged.criterion = Some(words.into());
                    }
                    met = true;
                }
                Extension::Fails(words) => {
                    failed_equivalences.push(made);
                    judged.evidence.push(made.entry.id.as_str().into());
                    let rule = format!("evidence/{} does not hold", made.entry.id);
                    failures.push(Reason {
                        was: "held".into(),
                        rule: rule.into(),
                        evidence: Some(made.entry.id.as_str().into()),
                        ..note("criterion", &words, Asks::None)
                    });
                }
                Extension::Short(asks, mut reasons) => {
                    if short.as_ref().is_none_or(|(known, _)| asks < *known) {
                        for reason in &mut reasons {
                            reason.evidence.get_or_insert_with(|| made.entry.id.as_str().into());
                        }
                        short = Some((asks, reasons));
                    }
                }
            }
        }
        for (made, compared) in &conforming {
            if self.detail == Detail::Allowed {
                judged.allowed.extend(compared.allowed());
            }
            judged.assumptions.extend(self.notes(subject, (made, compared)));
            if made.label.as_ref() != Some(subject) {
                judged.carried_over.push(made.entry.id.as_str().into());
            }
        }
        if let ([failed], [repeat], [_]) =
            (failed_equivalences.as_slice(), repeats.as_slice(), failures.as_slice())
            && self.is_repeat(failed, repeat)
        {
            failures.clear();
            let words = format!(
                "evidence/{} failed and was repeated once as evidence/{}: {}",
                failed.entry.id,
                repeat.entry.id,
                repeat.entry.value.reason.as_deref().unwrap_or_default()
            );
            judged.assumptions.push(words.into());
        }
        if !failures.is_empty() {
            (judged.verdict, judged.asks, judged.because) = (Verdict::Failed, Asks::None, failures);
            return judged;
        }
        if met {
            let words = judged.criterion.clone().unwrap_or_default();
            let mut reason = note("evidence", &words, Asks::None);
            reason.was = "conformed".into();
            reason.rule = "conforms and covers".into();
            reason.evidence = judged.evidence.first().cloned();
            (judged.verdict, judged.asks, judged.because) = (Verdict::Met, Asks::None, thin_vec![reason]);
            return judged;
        }
        if let Some((asks, reasons)) = short {
            (judged.verdict, judged.asks, judged.because) = (Verdict::Short, asks, reasons);
            return judged;
        }
        // None conforms: the cheapest honest way back is the candidate that asks least.
        let all = (candidates, compared);
        let ways = candidates.iter().zip(compared).map(|one| (self.way_back(asked, one, all), one));
        let nearest = ways.min_by_key(|(way_back, (made, one))| {
            let foreign = made.label.as_ref() != Some(subject);
            (*way_back, one.asks, one.is_unseen(), foreign, one.count, &made.entry.id)
        });
        if let Some((way_back, one)) = nearest {
            let (made, compared_to) = one;
            judged.verdict = Verdict::Lapsed;
            judged.asks = way_back;
            judged.because = compared_to.reasons();
            if judged.asks > compared_to.asks {
                judged.because.insert(0, self.long_way(asked, one, all));
            }
            if self.detail == Detail::Allowed {
                judged.allowed = compared_to.allowed();
            }
            judged.assumptions = self.notes(subject, one);
            judged.evidence.push(made.entry.id.as_str().into());
            if made.label.as_ref() != Some(subject) {
                judged.carried_over.push(made.entry.id.as_str().into());
                let own = candidates
                    .iter()
                    .zip(compared)
                    .filter(|(made, _)| made.label.as_ref() == Some(subject))
                    .min_by_key(|(made, compared)| (compared.asks, compared.count, &made.entry.id));
                if let Some((_, own)) = own {
                    judged.own = own.reasons();
                }
            }
            return judged;
        }
        if !unconformed.is_empty() {
            judged.verdict = Verdict::Short;
            let words =
                format!("finished but not conformed: run `bondline conform {}`", unconformed.join(" "));
            judged.because.push(note("conformed", &words, Asks::Retest));
            judged.evidence = unconformed.into_iter().map(Phrase::from).collect();
        } else if !judged.under_way.is_empty() {
            // What is made of another article comes to prove something else.
            let lost = |id: &&Phrase| {
                judged.behind.iter().any(|one| one.evidence == **id && one.asks == Asks::Retest)
            };
            let (gone, left): (Vec<&Phrase>, Vec<&Phrase>) = judged.under_way.iter().partition(lost);
            let named = |ids: &[&Phrase]| {
                let one = |id: &&Phrase| match judged.behind.iter().find(|one| one.evidence == **id) {
                    Some(one) if one.asks < Asks::Retest => {
                        format!("{id} (of another article: will ask {})", one.asks)
                    }
                    _ => id.to_string(),
                };
                ids.iter().map(one).collect::<Vec<_>>().join(", ")
            };
            let words = match left.is_empty() {
                false => format!("under way: {}", named(&left)),
                true => format!("under way of an article that is no longer this: {}", named(&gone)),
            };
            judged.verdict = if left.is_empty() { Verdict::Open } else { Verdict::Short };
            judged.because.push(note("evidence", &words, Asks::Retest));
        } else {
            judged.because.push(note("evidence", "nothing recorded", Asks::Retest));
        }
        judged
    }
}

/// Whether the means of compliance name none but paper, so that an analysis is primary evidence.
pub fn by_paper(means: &OneOrMany<Text>) -> bool {
    let paper = ["MC0", "MC1", "MC2", "MC3", "MC8"];
    !means.is_empty() && means.iter().all(|code| paper.contains(&code.as_str()))
}

/// A reason that names no attribute of a configuration.
pub fn note(attribute: &str, words: &str, effect: Asks) -> Reason {
    Reason {
        attribute: attribute.into(),
        was: "none".into(),
        is: words.into(),
        effect,
        rule: Phrase::default(),
        source: Phrase::default(),
        evidence: None,
        panels: ThinVec::new(),
    }
}
