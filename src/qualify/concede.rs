//! Concessions: a departure that is accepted covers what it names, and no more.
//!
//! A duty is judged again as if the differences that a concession covers were none (`Room::granted`). What it leans on
//! then has to prove the duty by itself, so that a sample that lacks specimens or fails is not conceded with a difference.
//! Which record is the nearest plays no part, so that a test that is added takes nothing from what was accepted of another.
//! Records that differ in the same attributes stand or fall together, beside what conforms anyway: what failed on an
//! article that differs in nothing more counts, and what failed on one that does is history. `covers` bounds what is now,
//! whatever it was.
//!
//! A concession is for the units that it names by `serials` or counts by `limit`. A duty speaks of all pieces
//! of a panel, so a concession holds for a panel only while it is for all of them: it must name or count at least as
//! many units as one aircraft has of all panels that lean on it, each serial being one piece, and no piece
//! beyond it may be on record. Pieces are on record by
//! their weighings; those weighed before the concession was approved were built without it and do not use it
//! up. This reading is the project's own.

use super::compared::{Asked, Compared, Sight, baseline};
use super::delta::number;
use super::duty::Granted;
use super::judge::Reason;
use super::made::Made;
use super::rests::{RESTS_ON, rested_on};
use super::verdict::{Duty, DutyKey, Judged, Room, Verdict, note};
use crate::article::Subject;
use crate::article::weigh::{Counts, counts};
use crate::ledger::{Entry, Ledger};
use crate::record::sensitivity::Asks;
use crate::record::{Approval, Concession, Covered, Covers, Day, Phrase, Text, Weighing, exact_in};
use std::cell::{LazyCell, OnceCell};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use thin_vec::{ThinVec, thin_vec};

/// The attribute of a reason that tells of a concession.
const CONCESSION: &str = "concession";

/// What a concession does for one panel's verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// It holds; how much of it is used, in words, where that is counted.
    Holds(Option<String>),
    /// Something that it does not name is missing too.
    Further(Vec<String>),
    /// A role that the ledger asks for has not approved it; or all have, and too few different people: how many by
    /// name, and how many are asked for.
    NotApproved(Option<(usize, u32)>),
    /// It is said to be approved, on a day that has not come.
    NotYet(Day),
    /// Its last day is past.
    Ended(Day),
    /// It is for fewer units than there are; how, in words.
    UsedUp(String),
}

impl Standing {
    /// Says how it stands in words that follow the concession's address.
    fn words(&self, concession: &Concession) -> String {
        match self {
            Standing::Holds(None) => format!("until {}", concession.until),
            Standing::Holds(Some(used)) => format!("until {}, {used}", concession.until),
            Standing::Further(what) => format!("does not cover {}", what.join(", ")),
            Standing::NotApproved(None) => {
                "is not approved by the roles that the ledger asks for".to_string()
            }
            Standing::NotApproved(Some((named, persons))) => format!(
                "is approved by the roles that the ledger asks for, but names {named} of the {persons} different people (`by`)"
            ),
            Standing::NotYet(day) => format!("is said to be approved on {day}, which has not come"),
            Standing::Ended(day) => format!("ended on {day}"),
            Standing::UsedUp(how) => format!("is used up: {how}"),
        }
    }
}

/// Lays live concessions over verdicts.
pub fn concede(ledger: &Ledger, today: Day, duties: &mut BTreeMap<DutyKey, Duty>) {
    let pieces = Pieces::of(ledger);
    for concession in ledger.concessions.values() {
        let Some(key) = duty_of(&concession.value) else { continue };
        let Some(duty) = duties.get_mut(&key) else { continue };
        let standings = standings(&pieces, concession, duty, today);
        for (panel, standing) in standings {
            if !duty.panels.contains_key(&panel) {
                // Nothing of what is shared is copied for it.
                continue;
            }
            let own = Arc::make_mut(&mut duty.panels).get_mut(&panel);
            let Some(judged) = own.map(Arc::make_mut) else { continue };
            let words = format!("concession/{} {}", concession.id, standing.words(&concession.value));
            let reason = note(CONCESSION, &words, Asks::None);
            if let Standing::Holds(_) = standing {
                grant(judged, &concession.id);
                judged.verdict = Verdict::Conceded;
                judged.because.insert(0, reason);
            } else {
                judged.because.push(reason);
            }
        }
    }
    say_conceded_below(ledger, duties);
}

/// Says of what a duty rests on that it is conceded, where that is so in the end: it was judged before concessions.
fn say_conceded_below(ledger: &Ledger, duties: &mut BTreeMap<DutyKey, Duty>) {
    let mut conceded: BTreeSet<(String, String)> = BTreeSet::new();
    for ((showing, subject), duty) in duties.iter() {
        let panels = duty.panels.iter().filter(|(_, own)| own.verdict == Verdict::Conceded);
        conceded.extend(panels.map(|(panel, _)| (rested_on(showing, subject), panel.clone())));
    }
    let rests =
        |showing: &str| ledger.showings.get(showing).is_some_and(|own| !own.value.rests_on.is_empty());
    if conceded.is_empty() {
        return;
    }
    for (_, duty) in duties.iter_mut().filter(|((showing, _), _)| rests(showing)) {
        let is_below = |panel: &str, reason: &Reason| {
            reason.rule == RESTS_ON && conceded.contains(&(reason.attribute.to_string(), panel.to_string()))
        };
        let any = |(panel, own): (&String, &Arc<Judged>)| own.because.iter().any(|one| is_below(panel, one));
        if !duty.panels.iter().any(any) {
            // Nothing of what is shared is copied for it.
            continue;
        }
        for (panel, judged) in Arc::make_mut(&mut duty.panels).iter_mut() {
            if judged.because.iter().any(|reason| is_below(panel, reason)) {
                let because = &mut Arc::make_mut(judged).because;
                for reason in because.iter_mut().filter(|reason| is_below(panel, reason)) {
                    reason.is = Verdict::Conceded.word().into();
                }
            }
        }
    }
}

/// Puts in a verdict's place what it is with the differences that a concession covers set aside: the evidence that it
/// leans on then, and what was accepted of it. What else was said of concessions stays.
fn grant(judged: &mut Judged, concession: &str) {
    let own = judged.granted.iter_mut().find(|own| own.concession == *concession);
    let Some(mut met) = own.and_then(|own| own.judged.take()) else { return };
    met.because.extend(judged.because.iter().filter(|reason| reason.attribute == CONCESSION).cloned());
    (met.asks, met.others) = (judged.asks, std::mem::take(&mut judged.others));
    *judged = *met;
}

impl Room<'_> {
    /// Returns the concessions that name the showing and a subject, live or not.
    pub(super) fn concessions<'r>(
        &'r self,
        subject: &'r Subject,
    ) -> impl Iterator<Item = &'r Entry<Concession>> {
        let all = self.conceding.iter().filter(move |(of, _)| of == subject);
        all.map(|(_, concession)| *concession)
    }

    /// Judges what becomes of a verdict where a concession that names the duty is granted, for each by itself.
    pub(super) fn granted(
        &self,
        asked: &Asked<'_>,
        all: (&[Made<'_>], &[Compared<'_>]),
        sights: &mut [Sight],
        under_way: &[Compared<'_>],
        judged: &Judged,
    ) -> ThinVec<Granted> {
        if all.0.is_empty() || !matches!(judged.verdict, Verdict::Lapsed | Verdict::Short) {
            return ThinVec::new();
        }
        let concessions = self.concessions(asked.subject);
        let of_differences = concessions.filter_map(|concession| match &concession.value.covers {
            Covers::Differences(differences) => Some((concession, differences)),
            Covers::Failed => None,
        });
        let one = |(concession, differences): (&Entry<Concession>, &BTreeMap<String, Covered>)| {
            let way = self.shortest_way(asked, all, sights, under_way, (judged, differences));
            let Way { further, judged, is_elsewhere: _ } = way;
            Granted { concession: concession.id.as_str().into(), further, judged }
        };
        of_differences.map(one).collect()
    }

    /// Finds the records by which least is missing once the differences that a concession covers are set aside.
    fn shortest_way(
        &self,
        asked: &Asked<'_>,
        (candidates, compared): (&[Made<'_>], &[Compared<'_>]),
        sights: &mut [Sight],
        under_way: &[Compared<'_>],
        (judged, differences): (&Judged, &BTreeMap<String, Covered>),
    ) -> Way {
        let is_accepted = |reason: &Reason| {
            differences.get(reason.attribute.as_str()).is_some_and(|covered| reaches(covered, reason))
        };
        let one = |(made, sight)| self.compare_without(asked, made, sight, &is_accepted);
        let without: Vec<(Compared<'_>, ThinVec<Reason>)> =
            candidates.iter().zip(sights.iter_mut()).map(one).collect();
        let mut sets: BTreeMap<BTreeSet<&str>, Vec<usize>> = BTreeMap::new();
        for (at, (_, set_aside)) in without.iter().enumerate().filter(|(_, (_, own))| !own.is_empty()) {
            let attributes = set_aside.iter().map(|reason| reason.attribute.as_str()).collect();
            sets.entry(attributes).or_default().push(at);
        }
        // Some differ in less, and make one sample with the others nevertheless.
        let together: Vec<usize> = sets.values().flatten().copied().collect();
        let together = (sets.len() > 1).then_some(&together);
        let way = |members: &Vec<usize>| {
            // What a member extends is compared alike.
            let bases = members.iter().filter_map(|at| baseline(candidates, candidates.get(*at)?));
            let set: BTreeSet<usize> = members.iter().copied().chain(bases).collect();
            let mut beside = compared.to_vec();
            for (at, own) in beside.iter_mut().enumerate().filter(|(at, _)| set.contains(at)) {
                if let Some((without, _)) = without.get(at) {
                    own.clone_from(without);
                }
            }
            let mut told = self.verdict(asked, candidates, &beside, under_way);
            if told.verdict == Verdict::Met {
                // Of several that differ alike, the subject's own is named.
                let is_foreign = |at: &usize| {
                    candidates.get(*at).and_then(|made| made.label.as_ref()) != Some(asked.subject)
                };
                let (foreign, own): (Vec<usize>, Vec<usize>) = set.iter().copied().partition(is_foreign);
                let all = || own.iter().chain(&foreign).filter_map(|at| without.get(*at));
                // One that differs in more than was accepted is not what it leans on.
                let conforms = |(left, _): &&(Compared<'_>, ThinVec<Reason>)| left.asks == Asks::None;
                let any = all().any(|one| conforms(&one));
                let leant_on = all().filter(|one| !any || conforms(one));
                told.because = each_once(leant_on.flat_map(|(_, set_aside)| set_aside));
                return Way { judged: Some(Box::new(told)), ..Way::default() };
            }
            let left = members.iter().filter_map(|at| without.get(*at)).map(|(own, _)| {
                let (left, is_elsewhere) = (asking(&own.reasons()), !judged.has_evidence(own.id()));
                let told = |one: &Phrase| match is_elsewhere {
                    true => format!("{one} of evidence/{}", own.id()).into(),
                    false => one.clone(),
                };
                let further = left.iter().map(told).collect();
                Way { further, judged: None, is_elsewhere: is_elsewhere && !left.is_empty() }
            });
            let nearest = left.min_by_key(Way::order).filter(|left| !left.further.is_empty());
            if let Some(nearest) = nearest.filter(|_| told.verdict == Verdict::Lapsed) {
                return nearest;
            }
            let of = told.evidence.join(", ");
            let say = |one: &Reason| format!("{}: {} ({of})", one.attribute, one.is).into();
            Way { further: told.because.iter().map(say).collect(), ..Way::default() }
        };
        let is_lapse = judged.verdict == Verdict::Lapsed;
        let plain = Way {
            further: match judged.verdict {
                Verdict::Lapsed => asking(&judged.because),
                other => thin_vec![other.word().into()],
            },
            ..Way::default()
        };
        // What the nearest lacks is told rather than what another does, where that is no less.
        let nearest = (is_lapse && !judged.because.iter().any(is_accepted)).then(|| plain.clone());
        let ways = sets.values().chain(together).map(way);
        // Where nothing that differs is accepted, all of it is further.
        nearest.into_iter().chain(ways).min_by_key(Way::order).unwrap_or(plain)
    }
}

/// Some records, with the differences that a concession covers set aside.
#[derive(Debug, Clone, Default)]
struct Way {
    /// What is missing still, in words.
    further: ThinVec<Phrase>,
    /// The verdict where nothing is.
    judged: Option<Box<Judged>>,
    /// Whether what is missing is told of another record than the one that the verdict names.
    is_elsewhere: bool,
}

impl Way {
    /// What orders ways: first those on which nothing is missing, of these the one with least set aside.
    fn order(&self) -> (bool, usize, bool, Option<(Option<Asks>, usize)>) {
        let because = self.judged.as_ref().map(|own| &own.because);
        let weight = because.map(|all| (all.iter().map(|reason| reason.effect).max(), all.len()));
        (self.judged.is_none(), self.further.len(), self.is_elsewhere, weight)
    }
}

/// Attributes of what asks anything.
fn asking(because: &[Reason]) -> ThinVec<Phrase> {
    because
        .iter()
        .filter(|reason| reason.effect > Asks::None)
        .map(|reason| reason.attribute.clone())
        .collect()
}

/// Differences of several records, each told of the first.
fn each_once<'r>(all: impl Iterator<Item = &'r Reason>) -> ThinVec<Reason> {
    let mut seen = BTreeSet::new();
    all.filter(|reason| seen.insert((&reason.attribute, &reason.was, &reason.is))).cloned().collect()
}

/// Adds to a verdict what is granted of another article that the panel has of the same subject: a concession is for the
/// panel, so it closes all of them or none.
pub(super) fn add_article(worst: &mut Judged, verdict: Verdict, granted: &[Granted]) {
    for own in &mut worst.granted {
        match granted.iter().find(|other| other.concession == own.concession) {
            Some(other) => own.further.extend(other.further.iter().cloned()),
            None => own.further.push(verdict.word().into()),
        }
    }
    for other in granted {
        if !worst.granted.iter().any(|own| own.concession == other.concession) {
            let mut further = other.further.clone();
            further.insert(0, worst.verdict.word().into());
            worst.granted.push(Granted { concession: other.concession.clone(), further, judged: None });
        }
    }
}

/// Returns the duty that a concession is for.
pub fn duty_of(concession: &Concession) -> Option<DutyKey> {
    Some((concession.showing.id().to_string(), Subject::from_label(&concession.subject)?))
}

/// Returns the concession that a conceded verdict leans on.
pub fn conceded_by(judged: &Judged) -> Option<&str> {
    let first = judged.because.first().filter(|_| judged.verdict == Verdict::Conceded)?;
    first.is.strip_prefix("concession/")?.split(' ').next()
}

/// Returns the concessions that name a showing, each with its subject.
pub(super) fn of_showing<'a>(ledger: &'a Ledger, showing: &str) -> Vec<(Subject, &'a Entry<Concession>)> {
    let own = ledger.concessions.values().filter(|one| one.value.showing.id() == showing);
    own.filter_map(|one| Some((Subject::from_label(&one.value.subject)?, one))).collect()
}

/// Returns how a concession stands to each panel of its duty that is neither met nor conceded.
pub fn standings(
    pieces: &Pieces<'_>,
    concession: &Entry<Concession>,
    duty: &Duty,
    today: Day,
) -> BTreeMap<String, Standing> {
    let own = &concession.value;
    let open = || duty.panels.iter().filter(|(_, judged)| !judged.verdict.is_closed());
    let reached: Vec<&String> =
        open().filter(|(_, judged)| further(concession, judged).is_empty()).map(|(panel, _)| panel).collect();
    let named = LazyCell::new(|| pieces.named(own, &reached));
    let lacks = LazyCell::new(|| {
        let from = || match approved_from(pieces.ledger, own) {
            Some(day) => Standing::NotYet(day),
            None => Standing::NotApproved(too_few(pieces.ledger, own)),
        };
        (!is_approved(pieces.ledger, own, Some(today))).then(from)
    });
    let standing = |panel: &String, judged: &Judged| {
        let further = further(concession, judged);
        if !further.is_empty() {
            let told = |what: String| match beside(&own.covers, &what, judged) {
                Some(words) => format!("{what} ({words})"),
                None => what,
            };
            return Standing::Further(further.into_iter().map(told).collect());
        }
        if let Some(lacks) = &*lacks {
            return lacks.clone();
        }
        if own.until < today {
            return Standing::Ended(own.until);
        }
        match pieces.used(own, panel, &reached, &named) {
            Ok(used) => Standing::Holds(used),
            Err(how) => Standing::UsedUp(how),
        }
    };
    open().map(|(panel, judged)| (panel.clone(), standing(panel, judged))).collect()
}

/// Whether a concession has the approvals that the ledger asks for, of those that have come by a day; of all where no day
/// is named.
pub fn is_approved(ledger: &Ledger, concession: &Concession, today: Option<Day>) -> bool {
    let needed = ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    let come = Approval::come(&concession.approvals, today);
    needed.is_none_or(|needed| Approval::by_all(&come, &needed.concession, needed.persons))
}

/// The first day on which a concession has all approvals that it needs, by what they say; `None` where it never has.
fn approved_from(ledger: &Ledger, concession: &Concession) -> Option<Day> {
    let needed = ledger.head.as_ref()?.approvals.as_ref()?;
    let mut approvals = concession.approvals.clone();
    approvals.sort_by_key(|approval| approval.on);
    // One more takes nothing away, so that halving finds the first that is enough.
    let ends: Vec<usize> = (1..=approvals.len()).collect();
    let enough = |end: &usize| {
        let until = approvals.get(..*end).unwrap_or_default();
        Approval::by_all(until, &needed.concession, needed.persons)
    };
    let first = ends.partition_point(|end| !enough(end));
    approvals.get(first).map(|approval| approval.on)
}

/// Whether the roles that the ledger asks for have approved a concession, however many people they were.
pub fn is_approved_by_roles(ledger: &Ledger, approvals: &[Approval]) -> bool {
    let needed = ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    needed.is_none_or(|needed| Approval::by_all(approvals, &needed.concession, None))
}

/// How many people approved a concession and how many are asked for, where that alone is lacking.
fn too_few(ledger: &Ledger, concession: &Concession) -> Option<(usize, u32)> {
    let needed = ledger.head.as_ref()?.approvals.as_ref()?;
    let people = Approval::people(&concession.approvals, &needed.concession).len();
    let roles = Approval::by_all(&concession.approvals, &needed.concession, None);
    needed.persons.filter(|_| roles).map(|persons| (people, persons))
}

/// What is missing beyond what a concession names, in any article that the panel has of the subject.
fn further(concession: &Entry<Concession>, judged: &Judged) -> Vec<String> {
    let asks = |reason: &&Reason| reason.effect > Asks::None;
    let mut all: Vec<String> = Vec::new();
    if let Some(own) = judged.granted.iter().find(|own| own.concession == *concession.id) {
        // What the evidence lacks is judged already; what it rests on is known only now.
        let rests_on = judged.because.iter().filter(asks).filter(|reason| reason.rule == RESTS_ON);
        all.extend(own.further.iter().map(ToString::to_string));
        all.extend(rests_on.map(|reason| reason.attribute.to_string()));
    } else {
        let others = judged.others.iter().map(|(verdict, because)| (*verdict, because));
        for (verdict, because) in std::iter::once((judged.verdict, &judged.because)).chain(others) {
            let missing = || because.iter().filter(asks).map(|reason| reason.attribute.to_string());
            match (&concession.value.covers, verdict) {
                // What a failure rests on beside is no part of it; nor is what a duty rests on that its evidence met.
                (Covers::Failed, Verdict::Failed) | (Covers::Differences(_), Verdict::Lapsed) => {
                    all.extend(missing());
                }
                _ => all.push(verdict.word().to_string()),
            }
        }
    }
    let mut seen = BTreeSet::new();
    all.retain(|one| seen.insert(one.clone()));
    all
}

/// The pieces of panels: those of one aircraft, and those on record.
pub struct Pieces<'a> {
    ledger: &'a Ledger,
    counts: OnceCell<Option<Counts>>,
    weighed: OnceCell<Weighed<'a>>,
}

/// The weighings that count.
#[derive(Default)]
struct Weighed<'a> {
    by_panel: BTreeMap<&'a str, Vec<&'a Entry<Weighing>>>,
    /// The panels that a serial is on record for.
    panels: BTreeMap<&'a str, BTreeSet<&'a str>>,
}

/// How far the serials of a concession reach.
struct Named<'p> {
    /// How many of them are on record as pieces of a panel and of no other.
    known: BTreeMap<String, u64>,
    /// How many are on record nowhere: each may be of any panel, and is of one only.
    open: u64,
    /// The panels that lean on it and of which one aircraft has more than are on record, and how many more in all.
    short: Vec<&'p String>,
    asked: u64,
}

impl<'a> Pieces<'a> {
    /// Returns the pieces of a ledger; they are counted when they are first asked for.
    pub fn of(ledger: &'a Ledger) -> Self {
        Self { ledger, counts: OnceCell::new(), weighed: OnceCell::new() }
    }

    /// Pieces of a panel in one aircraft; `None` where assemblies can't be counted.
    fn counted(&self, panel: &str) -> Option<u64> {
        let counts = self.counts.get_or_init(|| counts(self.ledger).ok()).as_ref()?;
        counts.panels.get(panel).map(|placed| placed.count)
    }

    fn weighed(&self) -> &Weighed<'a> {
        self.weighed.get_or_init(|| {
            let mut all = Weighed::default();
            for own in self.ledger.counted_weighings() {
                let panel = own.value.panel.id();
                all.by_panel.entry(panel).or_default().push(own);
                if let Some(serial) = &own.value.serial {
                    all.panels.entry(serial.as_str()).or_default().insert(panel);
                }
            }
            all
        })
    }

    /// Pieces of some panels that were weighed since a concession was approved, by serial; a weighing that
    /// names none is a piece of its own.
    fn on_record(&self, concession: &Concession, panels: &[&String]) -> BTreeSet<String> {
        let since = concession.approvals.iter().map(|approval| approval.on).min();
        let of = |panel: &&String| self.weighed().by_panel.get(panel.as_str());
        let all = panels.iter().filter_map(of).flatten();
        // One without a day may have been weighed since.
        let all = all.filter(|own| since.is_none_or(|since| own.value.on.is_none_or(|on| on >= since)));
        all.map(|weighing| match &weighing.value.serial {
            Some(serial) => serial.to_string(),
            None => format!("the piece of weighing/{}, which has no serial", weighing.id),
        })
        .collect()
    }

    fn named<'p>(&self, concession: &Concession, reached: &[&'p String]) -> Named<'p> {
        let serials: BTreeSet<&str> = concession.serials.iter().map(|serial| serial.as_str()).collect();
        let (mut known, mut open) = (BTreeMap::<String, u64>::new(), 0);
        for serial in serials {
            let Some(panels) = self.weighed().panels.get(serial) else {
                open += 1;
                continue;
            };
            // One that is on record as two panels' is of nobody knows which.
            for panel in panels.iter().filter(|_| panels.len() == 1) {
                *known.entry((*panel).to_string()).or_default() += 1;
            }
        }
        let lacks = |panel: &&'p String| {
            let own = known.get(panel.as_str()).copied().unwrap_or(0);
            let more = self.counted(panel)?.checked_sub(own).filter(|more| *more > 0)?;
            Some((*panel, more))
        };
        let (short, more): (Vec<&String>, Vec<u64>) = reached.iter().filter_map(lacks).unzip();
        Named { known, open, short, asked: more.into_iter().fold(0, u64::saturating_add) }
    }

    /// Says why some serials are not for all pieces of a panel, where they are not.
    fn too_few(&self, named: &Named<'_>, panel: &str) -> Option<String> {
        let pieces = self.counted(panel)?;
        let known = named.known.get(panel).copied().unwrap_or(0);
        if known >= pieces {
            return None;
        }
        let here = known + named.open;
        if here < pieces {
            let named = if here == 0 { "no unit".to_string() } else { units_in_words(here) };
            return Some(format!("it is for {named} of {panel}, one aircraft has {pieces}"));
        }
        (named.asked > named.open).then(|| {
            let names: Vec<&str> = named.short.iter().map(|panel| panel.as_str()).collect();
            let beside = if named.known.is_empty() { "" } else { "beside those on record " };
            format!(
                "{beside}it is for {}, and {} are asked of {}",
                units_in_words(named.open),
                named.asked,
                names.join(", ")
            )
        })
    }

    /// Says how much of a concession is used, or why it is not for all pieces of a panel; `reached` are all
    /// panels that lean on it.
    fn used(
        &self,
        concession: &Concession,
        panel: &String,
        reached: &[&String],
        named: &Named<'_>,
    ) -> Result<Option<String>, String> {
        let limit = concession.limit.map(u64::from);
        if !concession.serials.is_empty() {
            if let Some(why) = self.too_few(named, panel) {
                return Err(why);
            }
            let is_named = |own: &String| concession.serials.iter().any(|serial| serial.as_str() == own);
            if let Some(other) = self.on_record(concession, &[panel]).into_iter().find(|own| !is_named(own)) {
                return Err(format!("{other} of {panel} is on record, which it does not name"));
            }
        }
        let Some(limit) = limit else { return Ok(None) };
        let pieces: u64 = reached.iter().filter_map(|panel| self.counted(panel)).sum();
        if pieces > limit {
            let names: Vec<&str> = reached.iter().map(|panel| panel.as_str()).collect();
            let units = units_in_words(limit);
            return Err(format!("it is for {units}, one aircraft has {pieces} of {}", names.join(", ")));
        }
        let record = self.on_record(concession, reached);
        if record.len() as u64 > limit {
            let all: Vec<&str> = record.iter().map(String::as_str).collect();
            return Err(format!(
                "it is for {}, on record are {}: {}",
                units_in_words(limit),
                record.len(),
                all.join(", ")
            ));
        }
        Ok(Some(format!("{} of {limit} on record", record.len())))
    }
}

/// Conditions that evidence has to bound, which are in no configuration.
const CONDITIONS: [&str; 2] = ["skin.structural", "exposure.minimum"];

fn units_in_words(units: u64) -> String {
    if units == 1 { "1 unit".to_string() } else { format!("{units} units") }
}

/// What a concession says of an attribute that it does not cover, beside what that is, or of one that it names without the
/// letter: a bound of another quantity, or a name that is cut short, shows side by side.
fn beside(covers: &Covers, attribute: &str, judged: &Judged) -> Option<String> {
    let Covers::Differences(covers) = covers else { return None };
    let Some(covered) = covers.get(attribute) else {
        let is_short =
            |name: &&String| attribute.strip_prefix(name.as_str()).is_some_and(|rest| rest.starts_with('.'));
        let short = covers.keys().find(is_short)?;
        let others = judged.others.iter().flat_map(|(_, because)| because);
        let differs = judged.because.iter().chain(others).any(|reason| reason.attribute == *short.as_str());
        return Some(match differs {
            true => format!("it names `{short}` alone: add `{attribute}`"),
            false => format!("it names `{short}`, which is no whole name: write `{attribute}`"),
        });
    };
    let others = judged.others.iter().flat_map(|(_, because)| because);
    let mut reasons = judged.because.iter().chain(others).filter(|reason| {
        // Of several articles one may lie within it.
        reason.attribute == *attribute && !reaches(covered, reason)
    });
    let is = figure(attribute, reasons.next()?.is.as_str());
    let says = match (&covered.at_most, &covered.at_least, &covered.equals) {
        (Some(bound), ..) => format!("at most {bound}"),
        (_, Some(bound), _) => format!("at least {bound}"),
        (.., Some(value)) => value.to_string(),
        _ => return None,
    };
    let bound = covered.at_most.as_ref().or(covered.at_least.as_ref());
    let is_comparable = |bound: &Text| {
        number(&is).is_none_or(|(_, unit)| {
            number(bound.as_str()).is_some_and(|(_, own)| {
                own == unit || !own.is_empty() && exact_in(bound.as_str(), unit).is_some()
            })
        })
    };
    let other = if bound.is_none_or(is_comparable) { "" } else { ", which can't be held against that" };
    Some(format!("{is}, and it says {says}{other}"))
}

/// A value without what stands behind a temperature: what it is of, such as the surface of a skin.
fn figure(attribute: &str, is: &str) -> String {
    match CONDITIONS.contains(&attribute) {
        true => is.split(' ').take(2).collect::<Vec<_>>().join(" "),
        false => is.to_string(),
    }
}

/// Whether the value now lies in what is covered; texts that are no figures must be equal.
fn reaches(covered: &Covered, reason: &Reason) -> bool {
    let is = reason.is.as_str();
    let figure = figure(&reason.attribute, is);
    let in_unit = |bound: &str, unit: &str| match number(bound)? {
        (bound, own) if own == unit => Some(bound),
        // A bare number is no share of one either: 39 is not 3900 %.
        (_, "") => None,
        _ => exact_in(bound, unit),
    };
    let compare = |bound: &str| -> Option<std::cmp::Ordering> {
        let (is, unit) = number(&figure)?;
        Some(is.cmp(&in_unit(bound, unit)?))
    };
    let at_most =
        covered.at_most.as_ref().is_none_or(|bound| compare(bound.as_str()).is_some_and(|o| o.is_le()));
    let at_least =
        covered.at_least.as_ref().is_none_or(|bound| compare(bound.as_str()).is_some_and(|o| o.is_ge()));
    let equals = covered.equals.as_ref().is_none_or(|value| {
        let same = |own: &str| own == is || compare(own).is_some_and(|o| o.is_eq());
        // One entry of a list may stand without the brackets.
        match value.values() {
            [own] => same(own) || format!("[{own}]") == is,
            _ => value.to_string() == is,
        }
    });
    let any = covered.at_most.is_some() || covered.at_least.is_some() || covered.equals.is_some();
    any && at_most && at_least && equals
}

#[cfg(test)]
mod tests;
