//! Extensions: evidence that leans on other evidence of the same showing.

use super::compared::{Asked, Compared, baseline};
use super::duty::Judged;
use super::equivalence;
use super::judge::Reason;
use super::made::Made;
use super::pool::{self, Completeness, Outcome, Pool};
use super::trial;
use super::verdict::{Room, note, superseded};
use crate::ledger::{Entry, Ledger};
use crate::record::sensitivity::Asks;
use crate::record::{Evidence, EvidenceKind, EvidenceState, LoadPath, Showing};
use foldhash::HashMap;
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::fmt;
use std::rc::Rc;
use std::sync::Arc;
use thin_vec::{ThinVec, thin_vec};

/// Differences from a baseline that are said in one sentence.
const DIFFERENCES_SAID: usize = 3;

/// The attribute of a reason that is about what evidence leans on, and not about a difference.
pub(super) const BASELINE: &str = "baseline";

pub(super) enum Extension {
    /// With what had to be assumed of its baseline.
    Counts(String, Vec<String>),
    Fails(String),
    Short(Asks, ThinVec<Reason>),
}

/// Whether an extension may lean on a primary record.
enum Fit {
    /// Complete and passed, with its values and what had to be assumed of them.
    Holds(String, Vec<String>),
    /// Its sample lacks something.
    Lacks(String),
    /// Its sample is whole, and gives no value.
    Unknown(String),
    /// It shows that the criterion does not hold.
    Fails(String),
}

impl Fit {
    fn holds(&self) -> bool {
        matches!(self, Fit::Holds(..))
    }
}

impl fmt::Display for Fit {
    /// What is said behind the record's name.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fit::Holds(values, _) => write!(f, "holds: {values}"),
            Fit::Lacks(what) => write!(f, "is not complete: {what}"),
            Fit::Unknown(words) => write!(f, "gives no value: {words}"),
            Fit::Fails(words) => write!(f, "does not hold: {words}"),
        }
    }
}

/// A record, as one way of loads and one skin on the ramp ask.
type FitKey = (String, Option<LoadPath>, Option<u64>);

/// Which records an extension may lean on, as far as somebody asked.
#[derive(Default)]
pub(super) struct Fits(RefCell<HashMap<FitKey, Rc<Fit>>>);

/// Candidates, each as compared.
type All<'c, 'm, 's> = (&'c [Made<'m>], &'c [Compared<'s>]);

/// One of them.
type One<'c, 'm, 's> = (&'c Made<'m>, &'c Compared<'s>);

/// Whether a record's own values show that its criterion does not hold; those of an equivalence, that it is not
/// equivalent.
pub(super) fn has_failed(ledger: &Ledger, showing: &Showing, entry: &Entry<Evidence>) -> bool {
    let baseline = || ledger.evidence.get(entry.value.baseline.as_ref()?.id());
    let outcome = match (entry.value.kind, baseline()) {
        (EvidenceKind::Equivalence, Some(baseline)) => held_against(ledger, showing, entry, baseline).1,
        _ => trial::sample(ledger, showing, &[entry], None, None).1,
    };
    matches!(outcome, Outcome::Fails(_))
}

/// What the sample of an equivalence lacks, and what comes of it against its baseline.
fn held_against(
    ledger: &Ledger,
    showing: &Showing,
    entry: &Entry<Evidence>,
    baseline: &Entry<Evidence>,
) -> (Completeness, Outcome) {
    // Readings in time are held against their own limits.
    if trial::is_asked(showing) {
        return trial::judge(ledger, showing, &[entry], pool::equivalence_plan(showing).0);
    }
    let [own, base] = [entry, baseline].map(|one| pool::pool(ledger, showing, &[one]));
    let outcome = own.told(equivalence::equivalent(&own, &base, showing));
    (pool::equivalence_completeness(&own, showing), outcome)
}

impl Room<'_> {
    /// A failed equivalence may be repeated once, later, on a new set of panels and with a reason.
    pub(super) fn is_repeat(&self, failed: &Made<'_>, repeat: &Made<'_>) -> bool {
        let (old, new) = (&failed.entry.value, &repeat.entry.value);
        let panels = |made: &Made<'_>| -> BTreeSet<(Arc<str>, Arc<str>)> {
            self.ledger.data.get(&made.entry.id).map_or_else(BTreeSet::new, |data| {
                data.rows.iter().map(|row| (row.batch.clone(), row.panel.clone())).collect()
            })
        };
        let equivalences = old.kind == EvidenceKind::Equivalence && new.kind == EvidenceKind::Equivalence;
        let (was, is) = (panels(failed), panels(repeat));
        let later = old.made.is_some() && new.made > old.made;
        let new_set = !was.is_empty() && !is.is_empty() && was.is_disjoint(&is);
        equivalences && old.baseline == new.baseline && later && new_set
    }

    /// Judges one conforming extension: whether it counts, fails, or leaves the duty short.
    pub(super) fn extension(
        &self,
        asked: &Asked<'_>,
        one: One<'_, '_, '_>,
        all: All<'_, '_, '_>,
    ) -> Extension {
        let (made, _) = one;
        let showing = &self.showing.value;
        let evidence = &made.entry.value;
        let level = match evidence.kind {
            EvidenceKind::Equivalence => Asks::Equivalence,
            _ => Asks::Analysis,
        };
        let baseline = self.leant_on(one, all);
        let (lacks, outcome) = match (evidence.kind, baseline) {
            (EvidenceKind::Equivalence, Some((baseline, _))) => {
                held_against(self.ledger, showing, made.entry, baseline.entry)
            }
            (EvidenceKind::Equivalence, None) => {
                (Completeness::default(), Outcome::Unknown(self.no_baseline(evidence)))
            }
            _ => {
                let own = pool::pool(self.ledger, showing, &[made.entry]);
                (Completeness::default(), self.argument(&own, asked.ramp()))
            }
        };
        // What it leans on decides what would close the duty, whatever else is wrong with it.
        let fit = baseline.map(|(baseline, _)| self.fit(asked, baseline.entry));
        let leans = match (&baseline, fit.as_deref()) {
            (Some((_, to_now)), Some(Fit::Holds(..))) => to_now.asks,
            _ => Asks::Retest,
        };
        let words = match outcome {
            Outcome::Fails(words) => return Extension::Fails(words),
            Outcome::Unknown(words) => {
                return Extension::Short(leans, thin_vec![note("result", &words, Asks::None)]);
            }
            Outcome::Holds(words) => words,
        };
        let Some(((baseline, to_now), fit)) = baseline.zip(fit) else {
            let words = self.no_baseline(evidence);
            return Extension::Short(Asks::Retest, thin_vec![note(BASELINE, &words, Asks::None)]);
        };
        if !lacks.is_complete() {
            return Extension::Short(leans, thin_vec![note("sample", &lacks.lacks.join(", "), Asks::None)]);
        }
        // Design values stay the baseline's; what the panel asks of them is asked now.
        let (values, doubts) = match &*fit {
            Fit::Holds(values, doubts) => (values, doubts.clone()),
            Fit::Fails(words) if showing.accept.above_skin_by.is_some() => {
                return Extension::Fails(format!("{words}; the requirement moved"));
            }
            unfit => {
                let words = format!("its baseline evidence/{} {unfit}", baseline.entry.id);
                return Extension::Short(leans, thin_vec![note(BASELINE, &words, leans)]);
            }
        };
        if to_now.asks > level {
            let mut reasons = to_now.reasons();
            let words = format!(
                "from evidence/{} to now asks {}, more than {} closes",
                baseline.entry.id, to_now.asks, evidence.kind
            );
            reasons.insert(0, note(BASELINE, &words, Asks::None));
            return Extension::Short(to_now.asks, reasons);
        }
        let words = format!("{words}; values stay those of evidence/{}: {values}", baseline.entry.id);
        Extension::Counts(words, doubts)
    }

    /// Says why evidence has no baseline that counts.
    fn no_baseline(&self, evidence: &Evidence) -> String {
        let named = evidence.baseline.as_ref().and_then(|own| self.ledger.evidence.get(own.id()));
        let why = named.and_then(|base| {
            let later = || superseded(self.ledger).get(base.id.as_str()).copied();
            let own = &base.value;
            let words = match later() {
                Some(later) => format!("is superseded by evidence/{later}: hold the values against that one"),
                None if own.disposition.is_some() => "was set aside".to_string(),
                None if own.state != EvidenceState::Done => format!("is {}", own.state),
                None if own.conformed.is_none() => "is not conformed".to_string(),
                None => return None,
            };
            Some(format!("its baseline evidence/{} {words}", base.id))
        });
        why.unwrap_or_else(|| {
            "it names no finished, conformed primary baseline of the same showing".to_string()
        })
    }

    /// Returns what it takes to come back from a candidate that does not conform: at least as much as its differences ask.
    ///
    /// Further evidence leans on a primary record that is complete and passed, and from which no difference asks for a
    /// retest: from a candidate that is none, and extends none, no way but a whole test leads back. `all` holds every
    /// candidate as compared, those that extensions lean on worked out.
    pub(super) fn way_back(&self, asked: &Asked<'_>, one: One<'_, '_, '_>, all: All<'_, '_, '_>) -> Asks {
        let (own, asks) = (&one.0.entry.value, one.1.asks);
        if matches!(asks, Asks::None | Asks::Retest) || one.1.is_unseen() {
            return asks;
        }
        // Where paper is all that is asked for, another analysis stands by itself as this one does.
        if asks == Asks::Analysis && !own.kind.stands_alone() && self.primary(own) {
            return asks;
        }
        match self.leant_on(one, all) {
            Some((baseline, to_now))
                if to_now.asks < Asks::Retest && self.fit(asked, baseline.entry).holds() =>
            {
                asks
            }
            _ => Asks::Retest,
        }
    }

    /// Says why more than its differences ask for leads back from a candidate.
    pub(super) fn long_way(&self, asked: &Asked<'_>, one: One<'_, '_, '_>, all: All<'_, '_, '_>) -> Reason {
        let id = &one.0.entry.id;
        let words = match self.leant_on(one, all) {
            None => format!("evidence/{id} names no baseline that anything could lean on"),
            Some((baseline, to_now)) => {
                let base = &baseline.entry.id;
                let of = if base == id { "" } else { "its baseline " };
                let fit = self.fit(asked, baseline.entry);
                if fit.holds() {
                    let reasons = to_now.reasons();
                    let gravest = reasons.iter().filter(|reason| reason.effect == to_now.asks);
                    let why: Vec<String> =
                        gravest.take(DIFFERENCES_SAID).map(|reason| reason.difference(" → ")).collect();
                    format!(
                        "further evidence leans on {of}evidence/{base}, from which to now {} asks {}",
                        why.join(", "),
                        to_now.asks
                    )
                } else {
                    format!("{of}evidence/{base} {fit}; nothing can lean on it")
                }
            }
        };
        Reason { evidence: Some(id.into()), ..note(BASELINE, &words, Asks::Retest) }
    }

    /// Asks no more of a duty that an extension leaves short than leads back from another candidate.
    pub(super) fn take_shorter_way(&self, asked: &Asked<'_>, all: All<'_, '_, '_>, judged: &mut Judged) {
        let ways = all.0.iter().zip(all.1).filter(|(_, one)| one.asks > Asks::None && !one.is_unseen());
        let nearest =
            ways.map(|one| (self.way_back(asked, one, all), one)).min_by_key(|(way, (made, one))| {
                (*way, made.label.as_ref() != Some(asked.subject), one.count, &made.entry.id)
            });
        if let Some((way, one)) = nearest.filter(|(way, _)| *way < judged.asks) {
            let base = &self.leant_on(one, all).unwrap_or(one).0.entry.id;
            let words = format!("evidence/{base} can be leant on instead: to now asks {way}");
            judged.because.push(Reason { evidence: Some(base.into()), ..note(BASELINE, &words, way) });
            judged.asks = way;
        }
    }

    /// The primary record that evidence leans on which extends a candidate: itself, or what it extends.
    fn leant_on<'c, 'm, 's>(
        &self,
        one: One<'c, 'm, 's>,
        (candidates, compared): All<'c, 'm, 's>,
    ) -> Option<One<'c, 'm, 's>> {
        if self.primary(&one.0.entry.value) {
            return Some(one);
        }
        let at = baseline(candidates, one.0)?;
        candidates.get(at).zip(compared.get(at)).filter(|(made, _)| self.primary(&made.entry.value))
    }

    /// Judges whether a primary record is a baseline by itself, for what one panel asks.
    fn fit(&self, asked: &Asked<'_>, entry: &Entry<Evidence>) -> Rc<Fit> {
        let (load_path, ramp) = (asked.load_path, asked.ramp());
        let key = (entry.id.clone(), load_path, ramp.map(f64::to_bits));
        if let Some(known) = self.fits.0.borrow().get(&key) {
            return Rc::clone(known);
        }
        let (lacks, outcome, doubts) =
            trial::sample(self.ledger, &self.showing.value, &[entry], load_path, ramp);
        let fit = Rc::new(match outcome {
            Outcome::Holds(values) if lacks.is_complete() => Fit::Holds(values, doubts),
            Outcome::Fails(words) if lacks.is_complete() => Fit::Fails(words),
            Outcome::Unknown(words) if lacks.is_complete() => Fit::Unknown(words),
            // That it fails so far is said too, where it does.
            Outcome::Fails(words) => Fit::Lacks(format!("{}; {words}", lacks.lacks.join(", "))),
            _ => Fit::Lacks(lacks.lacks.join(", ")),
        });
        self.fits.0.borrow_mut().insert(key, Rc::clone(&fit));
        fit
    }

    /// Analysis and similarity hold by a statement, or by a value that meets the criterion.
    fn argument(&self, own: &Pool, ramp: Option<f64>) -> Outcome {
        if own.statements.contains(&false) {
            return Outcome::Fails("the record states that it does not hold".to_string());
        }
        if own.statements.contains(&true) {
            return Outcome::Holds("stated".to_string());
        }
        let accept = crate::record::Accept { basis: None, ..self.showing.value.accept.clone() };
        pool::judge(own, &accept, None, true, ramp)
    }
}

#[cfg(test)]
mod tests;
