//! What is kept for later runs, worked out anew, to hold the two against each other.

use super::beside::{VERDICTS, agree, both};
use super::earlier::{Earlier, Mark, Values};
use super::judge::Detail;
use super::margins::MARGINS;
use super::verdict::evaluate_after;
use crate::article::ArticleError;
use crate::ledger::Ledger;
use crate::record::Day;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Verdicts and margins of some states, worked out without what earlier runs kept.
#[derive(Default)]
pub struct Anew(BTreeMap<(&'static str, Mark), Vec<u8>>);

/// Knows nothing, and takes what is handed over.
#[derive(Default)]
struct Taker(Mutex<Vec<(&'static str, Values)>>);

impl Earlier for Taker {
    fn find(&self, _what: &'static str, _mark: &Mark) -> Option<Vec<u8>> {
        None
    }

    fn keep(&self, what: &'static str, values: Values) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).push((what, values));
    }
}

impl Anew {
    /// Adds what a state gives.
    ///
    /// # Errors
    /// [`ArticleError`] names a record or figure without which there is no answer.
    pub fn add(&mut self, ledger: &Ledger, today: Day) -> Result<(), ArticleError> {
        for detail in [Detail::Verdicts, Detail::Allowed] {
            let taker = Arc::new(Taker::default());
            let evaluation = evaluate_after(ledger, today, detail, Some(Arc::<Taker>::clone(&taker)))?;
            for panel in ledger.panels.keys() {
                // What can't be computed is not kept either.
                let _ = evaluation.margins(ledger, panel);
            }
            let taken = std::mem::take(&mut *taker.0.lock().unwrap_or_else(PoisonError::into_inner));
            for (what, values) in taken {
                for (mark, value) in values() {
                    let own = self.0.entry((what, mark)).or_default();
                    *own = if what == VERDICTS { both(own, &value) } else { value };
                }
            }
        }
        Ok(())
    }

    /// Returns all, by kind and mark.
    pub fn iter(&self) -> impl Iterator<Item = (&'static str, &Mark, &[u8])> {
        self.0.iter().map(|((what, mark), value)| (*what, mark, value.as_slice()))
    }
}

/// Returns whether a value that was kept says the same as the one that was worked out anew; `None` where it speaks of
/// other states.
pub fn is_same(what: &str, kept: &[u8], anew: &[u8]) -> Option<bool> {
    match what {
        VERDICTS => agree(kept, anew),
        _ => Some(kept == anew),
    }
}

/// Returns whether values of a kind are worked out here.
pub fn is_kind(what: &str) -> bool {
    [VERDICTS, MARGINS].contains(&what)
}
