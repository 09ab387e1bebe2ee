//! Extensions: evidence that leans on other evidence of the same showing.

use super::compared::Compared;
use super::coverage::Demand;
use super::equivalence;
use super::judge::Reason;
use super::made::Made;
use super::pool::{self, Outcome, Pool};
use super::trial;
use super::verdict::{Room, note};
use crate::record::sensitivity::Asks;
use crate::record::{EvidenceKind, LoadPath};
use std::collections::BTreeSet;

pub(super) enum Extension {
    /// With what had to be assumed of its baseline.
    Counts(String, Vec<String>),
    Fails(String),
    Short(Asks, Vec<Reason>),
}

impl Room<'_> {
    /// A failed equivalence may be repeated once, later, on a new set of panels and with a reason.
    pub(super) fn is_repeat(&self, failed: &Made<'_>, repeat: &Made<'_>) -> bool {
        let (old, new) = (&failed.entry.value, &repeat.entry.value);
        let panels = |made: &Made<'_>| -> BTreeSet<(String, String)> {
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
        demand: &Demand,
        load_path: Option<LoadPath>,
        made: &Made<'_>,
        candidates: &[Made<'_>],
        compared: &[Compared<'_>],
    ) -> Extension {
        let showing = &self.showing.value;
        let evidence = &made.entry.value;
        let level = match evidence.kind {
            EvidenceKind::Equivalence => Asks::Equivalence,
            _ => Asks::Analysis,
        };
        let baseline = evidence.baseline.as_ref().and_then(|baseline| {
            candidates
                .iter()
                .zip(compared)
                .find(|(made, _)| made.entry.id == baseline.id() && self.primary(&made.entry.value))
        });
        let own = pool::pool(self.ledger, showing, &[made.entry]);
        let ramp = demand.ramp.as_ref().map(|(ramp, _)| *ramp);
        let baseline_pool = baseline.map(|(baseline, _)| pool::pool(self.ledger, showing, &[baseline.entry]));
        let outcome = match (evidence.kind, &baseline_pool) {
            (EvidenceKind::Equivalence, Some(_)) if trial::is_asked(showing) => {
                trial::judge(self.ledger, showing, &[made.entry], pool::equivalence_plan(showing).0).1
            }
            (EvidenceKind::Equivalence, Some(pool)) => own.told(equivalence::equivalent(&own, pool, showing)),
            (EvidenceKind::Equivalence, None) => {
                Outcome::Unknown("it names no finished baseline".to_string())
            }
            _ => self.argument(&own, ramp),
        };
        let words = match outcome {
            Outcome::Fails(words) => return Extension::Fails(words),
            Outcome::Unknown(words) => {
                return Extension::Short(
                    baseline.map_or(Asks::Retest, |(_, compared)| compared.asks),
                    vec![note("result", &words, Asks::None)],
                );
            }
            Outcome::Holds(words) => words,
        };
        let Some((baseline, to_now)) = baseline else {
            let words = "it names no finished, conformed primary baseline of the same showing";
            return Extension::Short(Asks::Retest, vec![note("baseline", words, Asks::None)]);
        };
        if evidence.kind == EvidenceKind::Equivalence {
            let lacks = match trial::is_asked(showing) {
                true => {
                    trial::judge(self.ledger, showing, &[made.entry], pool::equivalence_plan(showing).0).0
                }
                false => pool::equivalence_completeness(&own, showing),
            };
            if !lacks.is_complete() {
                return Extension::Short(
                    to_now.asks,
                    vec![note("sample", &lacks.lacks.join(", "), Asks::None)],
                );
            }
        }
        let (complete, outcome, doubts) =
            trial::sample(self.ledger, showing, &[baseline.entry], load_path, ramp);
        // Design values stay the baseline's; what the panel asks of them is asked now.
        let values = match outcome {
            Outcome::Holds(values) if complete.is_complete() => values,
            Outcome::Fails(words) if complete.is_complete() && showing.accept.above_skin_by.is_some() => {
                return Extension::Fails(format!("{words}; the requirement moved"));
            }
            _ => {
                let words = format!("its baseline evidence/{} is not complete and passed", baseline.entry.id);
                return Extension::Short(to_now.asks, vec![note("baseline", &words, Asks::None)]);
            }
        };
        if to_now.asks > level {
            let mut reasons = to_now.reasons();
            reasons.insert(
                0,
                note(
                    "baseline",
                    &format!(
                        "evidence/{} to now asks {}, more than {} closes",
                        baseline.entry.id, to_now.asks, evidence.kind
                    ),
                    Asks::None,
                ),
            );
            return Extension::Short(to_now.asks, reasons);
        }
        let words = format!("{words}; values stay those of evidence/{}: {values}", baseline.entry.id);
        Extension::Counts(words, doubts)
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
