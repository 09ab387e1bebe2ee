//! Duties and their verdicts, panel by panel.

use super::coverage::{Coverage, Demand, bounds};
use super::delta::{AsMade, Deltas, compare};
use super::demands::{Demands, Used};
use super::extension::Extension;
use super::judge::{Reason, judge};
use super::made::{Made, made_of};
use super::pool::{self, Completeness, Outcome};
use super::sieve::Sieve;
use super::table::{KindRow, Table};
use crate::article::{
    ArticleError, Configuration, Configurator, FORM, Key, Limit, Sites, Subject, Uses, uses,
};
use crate::ledger::{Entry, Ledger};
use crate::record::sensitivity::Asks;
use crate::record::{
    Bounds, Class, Day, Evidence, EvidenceKind, EvidenceState, LoadPath, Showing, SubjectKind,
};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt;
use std::sync::Arc;

/// What is known of a duty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    /// Finished evidence conforms and covers, the sample is whole, the criterion holds.
    Met,
    /// Not met, and a live concession covers exactly what is missing.
    Conceded,
    /// It conforms, but more is needed.
    Short,
    /// Finished evidence, none conforming any more.
    Lapsed,
    /// Nothing recorded.
    Open,
    /// Conforming evidence shows that the criterion does not hold.
    Failed,
}

impl Verdict {
    /// Returns the word.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Met => "met",
            Verdict::Conceded => "conceded",
            Verdict::Short => "short",
            Verdict::Lapsed => "lapsed",
            Verdict::Open => "open",
            Verdict::Failed => "failed",
        }
    }

    /// Returns whether nothing stands in the way of a release.
    pub fn is_closed(self) -> bool {
        matches!(self, Verdict::Met | Verdict::Conceded)
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// The verdict for one panel, with everything behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// The verdict.
    pub verdict: Verdict,
    /// What it asks.
    pub asks: Asks,
    /// Why; never empty.
    pub because: Vec<Reason>,
    /// Where the nearest evidence is carried over: the differences to this subject's own evidence.
    pub own: Vec<Reason>,
    /// Where nothing was ever recorded for it: how the nearest evidence differs.
    pub nearest: Vec<Reason>,
    /// Differences that were allowed, with the rule that allows each.
    pub allowed: Vec<Reason>,
    /// Evidence that counts, or that came nearest.
    pub evidence: Vec<String>,
    /// Evidence that was recorded for another subject, among `evidence`.
    pub carried_over: Vec<String>,
    /// Planned or running records.
    pub under_way: Vec<String>,
    /// What the criterion came to, in words.
    pub criterion: Option<String>,
    /// What the sample lacks.
    pub lacks: Completeness,
    /// What had to be assumed.
    pub assumptions: Vec<String>,
}

impl Judged {
    /// Returns what orders verdicts from mild to grave.
    pub fn gravity(&self) -> (u8, Asks, u8) {
        gravity(self.verdict, self.asks)
    }
}

/// Returns what orders verdicts from mild to grave: the class, what is asked, and lapsed before short
/// before open among equals.
pub fn gravity(verdict: Verdict, asks: Asks) -> (u8, Asks, u8) {
    let class = match verdict {
        Verdict::Met => 0,
        Verdict::Conceded => 1,
        Verdict::Failed => 3,
        _ => 2,
    };
    let tie = match verdict {
        Verdict::Lapsed => 2,
        Verdict::Short => 1,
        _ => 0,
    };
    (class, asks, tie)
}

/// One duty: a showing on a subject.
#[derive(Debug, Clone, PartialEq)]
pub struct Duty {
    /// The showing's id.
    pub showing: String,
    /// The subject.
    pub subject: Subject,
    /// Verdicts by panel; one under the empty name for the whole programme.
    pub panels: BTreeMap<String, Judged>,
    /// The milestone that needs it.
    pub needed_by: Option<String>,
}

impl Duty {
    /// Returns the gravest verdict of its panels.
    pub fn worst(&self) -> Option<(&String, &Judged)> {
        // The first of equals, so that the answer does not depend on chance.
        self.panels.iter().rev().max_by_key(|(_, judged)| judged.gravity())
    }

    /// Returns the verdict.
    pub fn verdict(&self) -> Verdict {
        self.worst().map_or(Verdict::Open, |(_, judged)| judged.verdict)
    }

    /// Returns what it asks.
    pub fn asks(&self) -> Asks {
        self.worst().map_or(Asks::Retest, |(_, judged)| judged.asks)
    }

    /// Returns the panels whose own verdict is the worst one.
    pub fn worst_panels(&self) -> Vec<String> {
        let Some((_, worst)) = self.worst() else { return Vec::new() };
        let gravity = worst.gravity();
        self.panels
            .iter()
            .filter(|(name, judged)| !name.is_empty() && judged.gravity() == gravity)
            .map(|(name, _)| name.clone())
            .collect()
    }

    /// Returns why, with the panels named that share the reason.
    pub fn because(&self) -> Vec<Reason> {
        self.reasons(|judged| &judged.because)
    }

    /// Returns the differences to this subject's own evidence, where the nearest is carried over.
    pub fn own(&self) -> Vec<Reason> {
        self.reasons(|judged| &judged.own)
    }

    fn reasons(&self, pick: impl Fn(&Judged) -> &Vec<Reason>) -> Vec<Reason> {
        let mut all: Vec<Reason> = Vec::new();
        for panel in self.worst_panels() {
            let Some(judged) = self.panels.get(&panel) else { continue };
            for reason in pick(judged) {
                match all.iter_mut().find(|known| {
                    known.attribute == reason.attribute
                        && known.was == reason.was
                        && known.is == reason.is
                        && known.rule == reason.rule
                        && known.evidence == reason.evidence
                }) {
                    Some(known) => known.panels.push(panel.clone()),
                    None => all.push(Reason { panels: vec![panel.clone()], ..reason.clone() }),
                }
            }
        }
        if all.is_empty()
            && let Some((_, judged)) = self.worst()
        {
            all.clone_from(pick(judged));
        }
        all
    }
}

/// A showing and a subject.
pub type DutyKey = (String, Subject);

/// A whole ledger, judged.
#[derive(Debug, Clone)]
pub struct Evaluation {
    /// All duties.
    pub duties: BTreeMap<DutyKey, Duty>,
    /// Subjects in use.
    pub uses: Uses,
    /// Figures and conditions that had to be assumed, sorted.
    pub assumptions: Vec<String>,
}

/// Judges every duty of a ledger on a day.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which there is no answer.
pub fn evaluate(ledger: &Ledger, today: Day) -> Result<Evaluation, ArticleError> {
    let uses = uses(ledger)?;
    let configurator = Configurator::new(ledger);
    let Ok(table) = Table::built_in() else {
        return Ok(Evaluation { duties: BTreeMap::new(), uses, assumptions: Vec::new() });
    };
    let demands = Demands::all(ledger, &configurator, &uses)?;
    let superseded = superseded(ledger);
    let mut by_showing: BTreeMap<&str, Vec<&Entry<Evidence>>> = BTreeMap::new();
    for evidence in ledger.evidence.values().filter(|evidence| !superseded.contains(evidence.id.as_str())) {
        by_showing.entry(evidence.value.showing.id()).or_default().push(evidence);
    }
    let showings: Vec<&Entry<Showing>> = ledger.showings.values().collect();
    let judged: Vec<Result<Vec<Duty>, ArticleError>> = showings
        .par_iter()
        .map(|showing| {
            let Some(row) = table.kinds.get(showing.value.kind.as_str()) else { return Ok(Vec::new()) };
            let records = by_showing.get(showing.id.as_str()).map_or(&[][..], Vec::as_slice);
            Room {
                ledger,
                configurator: &configurator,
                uses: &uses,
                demands: &demands,
                showing,
                row,
                records,
            }
            .duties()
        })
        .collect();
    let mut duties = BTreeMap::new();
    for list in judged {
        for duty in list? {
            duties.insert((duty.showing.clone(), duty.subject.clone()), duty);
        }
    }
    super::rests::rest(ledger, &uses, &mut duties)?;
    super::concede::concede(ledger, today, &mut duties);
    let mut assumptions: BTreeSet<String> = unbounded_heat(ledger, &uses, &duties);
    for duty in duties.values() {
        for judged in duty.panels.values() {
            assumptions.extend(judged.assumptions.iter().cloned());
        }
    }
    Ok(Evaluation { duties, uses, assumptions: assumptions.into_iter().collect() })
}

/// Records that a finished, conformed correction of the same showing stands in place of.
///
/// One whose own values fail the criterion stays: a failure leaves the pool by disposition only.
fn superseded(ledger: &Ledger) -> BTreeSet<&str> {
    let mut all = BTreeSet::new();
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
            && ledger.showings.get(own.showing.id()).is_some_and(|showing| {
                let values = pool::pool(ledger, &showing.value, &[old]);
                let complete = pool::completeness(&values, &showing.value).is_complete();
                matches!(pool::judge(&values, &showing.value.accept, None, complete, None), Outcome::Fails(_))
            });
        if !failed {
            all.insert(old.id.as_str());
        }
    }
    all
}

/// Structural laminas, laminates and bonds that no hot showing is asked of.
fn unbounded_heat(ledger: &Ledger, uses: &Uses, duties: &BTreeMap<DutyKey, Duty>) -> BTreeSet<String> {
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
        .map(|(subject, _)| format!("nothing bounds heat on {subject}: no hot showing is asked of it"))
        .collect()
}

/// Everything that one showing's duties are judged with.
pub(super) struct Room<'a> {
    pub(super) ledger: &'a Ledger,
    pub(super) configurator: &'a Configurator<'a>,
    pub(super) uses: &'a Uses,
    pub(super) demands: &'a Demands<'a>,
    pub(super) showing: &'a Entry<Showing>,
    pub(super) row: &'a KindRow,
    pub(super) records: &'a [&'a Entry<Evidence>],
}

/// One candidate compared with what is now and with what one panel asks.
#[derive(Clone)]
pub(super) struct Compared {
    pub(super) asks: Asks,
    pub(super) reasons: Vec<Reason>,
    allowed: Vec<Reason>,
    notes: Vec<String>,
    /// It asks this at least at first look, and its differences were not worked out.
    unseen: bool,
}

impl Compared {
    fn at_first_look(at_least: Asks) -> Self {
        Self { asks: at_least, reasons: Vec::new(), allowed: Vec::new(), notes: Vec::new(), unseen: true }
    }
}

/// How many candidates that all ask for a retest are looked through for the nearest. Which of them is
/// named changes no verdict and nothing that is asked.
const NEAREST: usize = 32;

/// What one panel asks of a subject, as it is now.
struct Asked<'a> {
    subject: &'a Subject,
    configuration: &'a Configuration,
    demand: &'a Demand,
}

/// One candidate as one configuration sees it.
struct Sight {
    at_least: Asks,
    deltas: Option<Vec<Deltas>>,
}

impl Room<'_> {
    fn duties(&self) -> Result<Vec<Duty>, ArticleError> {
        let kind = self
            .showing
            .value
            .subject
            .map_or_else(|| self.row.subject.clone(), |kind| kind.word().to_string());
        let sieve = Sieve::of(self.row, &kind, self.showing.value.own_steps());
        let candidates = self.candidates(&sieve);
        let mut all = Vec::new();
        for (subject, panels) in self.uses.iter().filter(|(subject, _)| subject.kind().word() == kind) {
            if !self.contains(subject)? {
                continue;
            }
            let mut using = Vec::new();
            if *subject == Subject::Programme {
                let mut any = self.showing.value.applies_to.is_none();
                for panel in self.ledger.panels.values() {
                    any |= self.applies(panel, &Sites::default(), subject)?;
                }
                if any {
                    using.push(String::new());
                }
            }
            for (panel, sites) in panels {
                let Some(entry) = self.ledger.panels.get(panel) else { continue };
                if self.applies(entry, sites, subject)? && self.has(entry, sites, subject)? {
                    using.push(panel.clone());
                }
            }
            if using.is_empty() {
                continue;
            }
            all.push(self.duty(subject, using, &candidates, &sieve));
        }
        self.assign_lapses(&mut all, &candidates)?;
        Ok(all)
    }

    /// Finished, conformed evidence of the showing, dispositions left out.
    fn candidates(&self, sieve: &Sieve) -> Vec<Made<'_>> {
        self.records
            .iter()
            .filter(|entry| entry.value.state == EvidenceState::Done && entry.value.disposition.is_none())
            .filter_map(|entry| made_of(entry, sieve))
            .collect()
    }

    fn duty(&self, subject: &Subject, using: Vec<String>, candidates: &[Made<'_>], sieve: &Sieve) -> Duty {
        let nothing = Used { variants: Arc::new(vec![Configuration::default()]), demand: Demand::default() };
        // Panels share what is equal, so where it lies tells them apart.
        let mut shared: HashMap<*const Configuration, Vec<Sight>> = HashMap::new();
        let mut panels = BTreeMap::new();
        for panel in using {
            let Used { variants, demand } = self.demands.of(subject, &panel).unwrap_or(&nothing);
            let load_path = self.ledger.panels.get(&panel).and_then(|panel| panel.value.load_path);
            let mut worst: Option<Judged> = None;
            for configuration in variants.iter() {
                let sights = shared.entry(std::ptr::from_ref(configuration)).or_insert_with(|| {
                    let now = sieve.look(configuration);
                    let at_least = |one: &Made<'_>| one.at_least(&now);
                    candidates.iter().map(|one| Sight { at_least: at_least(one), deltas: None }).collect()
                });
                let asked = Asked { subject, configuration, demand };
                let compared = self.compare_all(&asked, candidates, sights);
                let judged = self.verdict(subject, demand, load_path, candidates, &compared);
                if worst.as_ref().is_none_or(|worst| judged.gravity() > worst.gravity()) {
                    worst = Some(judged);
                }
            }
            let Some(mut judged) = worst else { continue };
            judged.assumptions.extend(demand.assumptions.iter().cloned());
            judged.assumptions.sort();
            judged.assumptions.dedup();
            panels.insert(panel, judged);
        }
        Duty {
            showing: self.showing.id.clone(),
            subject: subject.clone(),
            panels,
            needed_by: self.showing.value.needed_by.as_ref().map(ToString::to_string),
        }
    }

    /// Compares every candidate as far as the verdict needs.
    ///
    /// What asks anything at first look does not conform; its differences are worked out only where they
    /// count or a reader sees them: on the subject's own evidence, on a baseline that an extension leans on,
    /// and where nothing conforms, to find the nearest.
    fn compare_all(&self, asked: &Asked<'_>, candidates: &[Made<'_>], sights: &mut [Sight]) -> Vec<Compared> {
        let mut all: Vec<Compared> = candidates
            .iter()
            .zip(sights.iter_mut())
            .map(|(made, sight)| {
                if sight.at_least > Asks::None && made.label.as_ref() != Some(asked.subject) {
                    Compared::at_first_look(sight.at_least)
                } else {
                    self.nearest_article(asked, made, sight)
                }
            })
            .collect();
        let mut see = |all: &mut Vec<Compared>, which: &mut dyn Iterator<Item = usize>| {
            for at in which {
                if let (Some(made), Some(sight), Some(compared)) =
                    (candidates.get(at), sights.get_mut(at), all.get_mut(at))
                    && compared.unseen
                {
                    *compared = self.nearest_article(asked, made, sight);
                }
            }
        };
        let baselines: Vec<usize> = candidates
            .iter()
            .zip(&all)
            .filter(|(_, compared)| compared.asks == Asks::None)
            .filter_map(|(made, _)| made.entry.value.baseline.as_ref())
            .filter_map(|baseline| candidates.iter().position(|one| one.entry.id == baseline.id()))
            .collect();
        see(&mut all, &mut baselines.into_iter());
        if all.iter().any(|compared| compared.asks == Asks::None) {
            return all;
        }
        let less: Vec<usize> = places(&all, |one| one.unseen && one.asks < Asks::Retest).collect();
        see(&mut all, &mut less.into_iter());
        if all.iter().all(|compared| compared.asks == Asks::Retest) {
            let some: Vec<usize> = places(&all, |one| one.unseen).take(NEAREST).collect();
            see(&mut all, &mut some.into_iter());
        }
        all
    }

    /// Compares with every article of the evidence; the one that asks least speaks.
    fn nearest_article(&self, asked: &Asked<'_>, made: &Made<'_>, sight: &mut Sight) -> Compared {
        let deltas = sight.deltas.get_or_insert_with(|| {
            made.articles.iter().map(|article| compare(asked.configuration, article)).collect()
        });
        let mut best: Option<Compared> = None;
        for (article, deltas) in made.articles.iter().zip(deltas.iter()) {
            let compared = self.compare(asked, (made, article), deltas);
            let less =
                |best: &Compared| (compared.asks, compared.reasons.len()) < (best.asks, best.reasons.len());
            if best.as_ref().is_none_or(less) {
                best = Some(compared);
            }
        }
        best.unwrap_or_else(|| Compared {
            asks: Asks::Retest,
            reasons: Vec::new(),
            allowed: Vec::new(),
            notes: Vec::new(),
            unseen: false,
        })
    }

    fn compare(
        &self,
        &Asked { subject, configuration, demand }: &Asked<'_>,
        (made, article): (&Made<'_>, &AsMade),
        deltas: &Deltas,
    ) -> Compared {
        let showing = &self.showing.value;
        let own = showing.own_steps();
        let mut reasons = judge(
            self.row,
            showing.kind.as_str(),
            subject.kind().word(),
            own.map(|own| (self.showing.id.as_str(), own)),
            configuration,
            article,
            deltas,
        );
        // Evidence of another panel counts only where both are the same in every own attribute.
        let whole = matches!(subject, Subject::Panel(_) | Subject::Programme);
        let foreign =
            made.label.as_ref().is_some_and(|label| label != subject && self.uses.contains_key(label));
        if whole && foreign {
            for reason in &mut reasons {
                if reason.effect < Asks::Retest {
                    reason.effect = Asks::Retest;
                    reason.rule = format!("{}: carries over only between equal panels", showing.kind);
                }
            }
        }
        let coverage = Coverage { id: &self.showing.id, showing, row: self.row, own };
        reasons.extend(coverage.requirement(&made.tested));
        let (covered, not_recorded) = coverage.panel(&made.tested, demand);
        reasons.extend(covered);
        for reason in &mut reasons {
            reason.evidence = Some(made.entry.id.clone());
        }
        let id = &made.entry.id;
        let mut notes: Vec<String> = deltas
            .not_recorded
            .iter()
            .copied()
            .chain(not_recorded.iter().map(|key| Key::parse(key)))
            .filter(|key| {
                key.limit == Limit::Nominal
                    && (key.facet() == "claims" || self.row.has_facet(subject.kind().word(), key.facet()))
            })
            .map(|key| format!("evidence/{id} does not record {key} (form {FORM}): nothing is asked for it"))
            .collect();
        notes.extend(
            deltas
                .unstated
                .iter()
                .filter(|key| self.row.has_facet(subject.kind().word(), key.facet()))
                .map(|key| format!("evidence/{id} was conformed with {key} unstated")),
        );
        let (reasons, allowed): (Vec<Reason>, Vec<Reason>) =
            reasons.into_iter().partition(|reason| reason.effect > Asks::None);
        let asks = reasons.iter().map(|reason| reason.effect).max().unwrap_or_default();
        Compared { asks, reasons, allowed, notes, unseen: false }
    }

    pub(super) fn primary(&self, evidence: &Evidence) -> bool {
        match evidence.kind {
            EvidenceKind::Test | EvidenceKind::Inspection => true,
            EvidenceKind::Analysis => {
                let means = &self.showing.value.means;
                let paper = ["MC0", "MC1", "MC2", "MC3", "MC8"];
                evidence.baseline.is_none()
                    && !means.is_empty()
                    && means.iter().all(|code| paper.contains(&code.as_str()))
            }
            EvidenceKind::Equivalence | EvidenceKind::Similarity => false,
        }
    }

    fn verdict(
        &self,
        subject: &Subject,
        demand: &Demand,
        load_path: Option<LoadPath>,
        candidates: &[Made<'_>],
        compared: &[Compared],
    ) -> Judged {
        let showing = &self.showing.value;
        let ramp = demand.ramp.as_ref().map(|(ramp, _)| *ramp);
        let mut judged = Judged {
            verdict: Verdict::Open,
            asks: Asks::Retest,
            because: Vec::new(),
            own: Vec::new(),
            nearest: Vec::new(),
            allowed: Vec::new(),
            evidence: Vec::new(),
            carried_over: Vec::new(),
            under_way: Vec::new(),
            criterion: None,
            lacks: Completeness::default(),
            assumptions: Vec::new(),
        };
        let label = |entry: &Entry<Evidence>| Subject::from_label(&entry.value.subject);
        let mut unconformed = Vec::new();
        for entry in self.records.iter().filter(|entry| label(entry).as_ref() == Some(subject)) {
            match entry.value.state {
                EvidenceState::Planned | EvidenceState::Running => judged.under_way.push(entry.id.clone()),
                EvidenceState::Done if entry.value.conformed.is_none() => unconformed.push(entry.id.clone()),
                EvidenceState::Done => {}
            }
        }
        if self.row.live {
            judged.because.push(note("computed", "this version does not compute this showing", Asks::Retest));
            return judged;
        }
        let conforming: Vec<(&Made<'_>, &Compared)> =
            candidates.iter().zip(compared).filter(|(_, compared)| compared.asks == Asks::None).collect();
        let (primaries, extensions): (Vec<_>, Vec<_>) =
            conforming.iter().copied().partition(|(made, _)| self.primary(&made.entry.value));
        let mut failures = Vec::new();
        let mut failed_equivalences: Vec<&Made<'_>> = Vec::new();
        let mut repeats: Vec<&Made<'_>> = Vec::new();
        let mut met = false;
        let mut short: Option<(Asks, Vec<Reason>)> = None;
        if !primaries.is_empty() {
            let records: Vec<&Entry<Evidence>> = primaries.iter().map(|(made, _)| made.entry).collect();
            let all = pool::pool(self.ledger, showing, &records);
            judged.lacks = pool::completeness(&all, showing);
            let outcome = pool::judge(&all, &showing.accept, load_path, judged.lacks.is_complete(), ramp);
            judged.evidence.extend(records.iter().map(|entry| entry.id.clone()));
            match outcome {
                Outcome::Fails(words) => {
                    let moved = showing.accept.above_skin_by.is_some();
                    let rule = if moved { "the requirement moved" } else { "the criterion does not hold" };
                    failures.push(Reason {
                        was: "held".to_string(),
                        rule: rule.to_string(),
                        ..note("criterion", &words, Asks::None)
                    });
                    judged.criterion = Some(words);
                }
                Outcome::Holds(words) if judged.lacks.is_complete() => {
                    met = true;
                    judged.criterion = Some(words);
                }
                Outcome::Holds(words) => {
                    short =
                        Some((Asks::None, vec![note("sample", &judged.lacks.lacks.join(", "), Asks::None)]));
                    judged.criterion = Some(words);
                }
                Outcome::Unknown(words) => {
                    let mut lacks = judged.lacks.lacks.clone();
                    lacks.push(words.clone());
                    short = Some((Asks::None, vec![note("sample", &lacks.join(", "), Asks::None)]));
                    judged.criterion = Some(words);
                }
            }
        }
        for (made, _) in &extensions {
            match self.extension(demand, load_path, made, candidates, compared) {
                Extension::Counts(words) => {
                    if made.entry.value.reason.is_some() {
                        repeats.push(made);
                    }
                    if !met {
                        judged.evidence.push(made.entry.id.clone());
                        judged.criterion = Some(words);
                    }
                    met = true;
                }
                Extension::Fails(words) => {
                    failed_equivalences.push(made);
                    judged.evidence.push(made.entry.id.clone());
                    let rule = format!("evidence/{} does not hold", made.entry.id);
                    failures.push(Reason {
                        was: "held".to_string(),
                        rule,
                        evidence: Some(made.entry.id.clone()),
                        ..note("criterion", &words, Asks::None)
                    });
                }
                Extension::Short(asks, mut reasons) => {
                    if short.as_ref().is_none_or(|(known, _)| asks < *known) {
                        for reason in &mut reasons {
                            reason.evidence.get_or_insert_with(|| made.entry.id.clone());
                        }
                        short = Some((asks, reasons));
                    }
                }
            }
        }
        for (made, compared) in &conforming {
            judged.allowed.extend(compared.allowed.iter().cloned());
            judged.assumptions.extend(compared.notes.iter().cloned());
            if made.label.as_ref() != Some(subject) {
                judged.carried_over.push(made.entry.id.clone());
            }
        }
        if let ([failed], [repeat], [_]) =
            (failed_equivalences.as_slice(), repeats.as_slice(), failures.as_slice())
            && self.is_repeat(failed, repeat)
        {
            failures.clear();
            judged.assumptions.push(format!(
                "evidence/{} failed and was repeated once as evidence/{}: {}",
                failed.entry.id,
                repeat.entry.id,
                repeat.entry.value.reason.as_deref().unwrap_or_default()
            ));
        }
        if !failures.is_empty() {
            (judged.verdict, judged.asks, judged.because) = (Verdict::Failed, Asks::None, failures);
            return judged;
        }
        if met {
            let words = judged.criterion.clone().unwrap_or_default();
            let mut reason = note("evidence", &words, Asks::None);
            reason.was = "conformed".to_string();
            reason.rule = "conforms and covers".to_string();
            reason.evidence = judged.evidence.first().cloned();
            (judged.verdict, judged.asks, judged.because) = (Verdict::Met, Asks::None, vec![reason]);
            return judged;
        }
        if let Some((asks, reasons)) = short {
            (judged.verdict, judged.asks, judged.because) = (Verdict::Short, asks, reasons);
            return judged;
        }
        // None conforms: the cheapest honest way back is the candidate that asks least.
        let nearest = candidates.iter().zip(compared).min_by_key(|(made, compared)| {
            let foreign = made.label.as_ref() != Some(subject);
            (compared.asks, compared.unseen, foreign, compared.reasons.len(), made.entry.id.clone())
        });
        if let Some((made, compared_to)) = nearest {
            judged.verdict = Verdict::Lapsed;
            judged.asks = compared_to.asks;
            judged.because.clone_from(&compared_to.reasons);
            judged.allowed.clone_from(&compared_to.allowed);
            judged.assumptions.clone_from(&compared_to.notes);
            judged.evidence.push(made.entry.id.clone());
            if made.label.as_ref() != Some(subject) {
                judged.carried_over.push(made.entry.id.clone());
                let own = candidates
                    .iter()
                    .zip(compared)
                    .filter(|(made, _)| made.label.as_ref() == Some(subject))
                    .min_by_key(|(made, compared)| {
                        (compared.asks, compared.reasons.len(), made.entry.id.clone())
                    });
                if let Some((_, own)) = own {
                    judged.own.clone_from(&own.reasons);
                }
            }
            return judged;
        }
        if !unconformed.is_empty() {
            judged.verdict = Verdict::Short;
            let words =
                format!("finished but not conformed: run `bondline conform {}`", unconformed.join(" "));
            judged.because.push(note("conformed", &words, Asks::Retest));
            judged.evidence = unconformed;
        } else if !judged.under_way.is_empty() {
            judged.verdict = Verdict::Short;
            let words = format!("under way: {}", judged.under_way.join(", "));
            judged.because.push(note("evidence", &words, Asks::Retest));
        } else {
            judged.because.push(note("evidence", "nothing recorded", Asks::Retest));
        }
        judged
    }
}

fn places(all: &[Compared], which: impl Fn(&Compared) -> bool) -> impl Iterator<Item = usize> {
    all.iter().enumerate().filter(move |(_, one)| which(one)).map(|(at, _)| at)
}

/// A reason that names no attribute of a configuration.
pub fn note(attribute: &str, words: &str, effect: Asks) -> Reason {
    Reason {
        attribute: attribute.to_string(),
        was: "none".to_string(),
        is: words.to_string(),
        effect,
        rule: String::new(),
        source: String::new(),
        evidence: None,
        panels: Vec::new(),
    }
}

/// Returns the kind of subject that a showing is judged on.
pub fn subject_kind(showing: &Showing, row: &KindRow) -> Option<SubjectKind> {
    showing.subject.or_else(|| {
        [
            SubjectKind::Lamina,
            SubjectKind::Laminate,
            SubjectKind::Painted,
            SubjectKind::Bond,
            SubjectKind::Sheet,
            SubjectKind::Panel,
            SubjectKind::Programme,
        ]
        .into_iter()
        .find(|kind| kind.word() == row.subject)
    })
}

/// Counts the candidates that ask anything at first look, and names those of them that the whole comparison
/// asks less of; there may be none.
#[cfg(test)]
pub(super) fn first_looks(ledger: &Ledger) -> Result<(usize, Vec<String>), ArticleError> {
    let uses = uses(ledger)?;
    let configurator = Configurator::new(ledger);
    let table = Table::built_in().expect("the table is sound");
    let demands = Demands::all(ledger, &configurator, &uses)?;
    let (mut sure, mut wrong) = (0, Vec::new());
    for showing in ledger.showings.values() {
        let row = &table.kinds[showing.value.kind.as_str()];
        let records: Vec<&Entry<Evidence>> =
            ledger.evidence.values().filter(|one| one.value.showing.id() == showing.id).collect();
        let (configurator, uses, demands) = (&configurator, &uses, &demands);
        let room = Room { ledger, configurator, uses, demands, showing, row, records: &records };
        for (subject, Used { variants, demand }) in demands.iter() {
            let kind = subject.kind().word();
            if !row.allows(kind) {
                continue;
            }
            let sieve = Sieve::of(row, kind, showing.value.own_steps());
            for made in room.candidates(&sieve) {
                for configuration in variants.iter() {
                    let at_least = made.at_least(&sieve.look(configuration));
                    if at_least == Asks::None {
                        continue;
                    }
                    sure += 1;
                    let asked = Asked { subject, configuration, demand };
                    let whole = room.nearest_article(&asked, &made, &mut Sight { at_least, deltas: None });
                    if whole.asks < at_least {
                        wrong.push(format!("{} {subject}: {}", showing.id, made.entry.id));
                    }
                }
            }
        }
    }
    Ok((sure, wrong))
}
