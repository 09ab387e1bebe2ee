//! Studies: what the variations of a design save, and what it takes to prove each combination again.
//!
//! A candidate is a list of changes, laid over the ledger by the path that decisions take ([`space`]). Masses
//! add up by blocks ([`weigh`]), so that candidates can be taken the lightest first without weighing any of
//! them; stacking rules and mechanics are looked up in plain values ([`stacks`], [`mechanics`]); what is left is judged in full, beside the
//! ledger as it stands (`judge`). `search` says what is worth a full judgement and what was proved by it,
//! [`draft`] makes a decision of a row.

pub mod draft;
mod fewest;
mod judge;
pub mod mechanics;
mod rank;
mod reach;
mod search;
pub mod space;
pub mod stacks;
pub mod weigh;

#[cfg(test)]
mod laws;
#[cfg(test)]
mod tests;

pub use judge::{Criterion, LeastMargin, Outcome, Row, Thrown, TouchedPanel};
pub use rank::{Bundle, Ranked, Single};
pub use search::{Ended, Found, Progress, StudyOptions, ThrownOut, run};

use crate::article::ArticleError;
use crate::change::decide::DecideError;
use crate::ledger::{Ledger, Recall};
use crate::qualify::verdict::Evaluation;
use crate::record::Day;
use crate::source::Snapshot;
use space::Space;

/// Why there is no answer to a study.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StudyError {
    /// A variation can't be tried.
    #[error("variation {at}: {message}")]
    Vary {
        /// Which, from 1.
        at: usize,
        /// What is wrong.
        message: String,
        /// How to mend it.
        help: String,
    },
    /// Too many variations change the mass of one thing.
    #[error("{} make more than {most} combinations that have to be weighed each", names.join(", "))]
    Interwoven {
        /// What the variations are called.
        names: Vec<String>,
        /// The most that are weighed.
        most: usize,
    },
    /// It was stopped while combinations were being weighed.
    #[error("stopped while combinations were being weighed")]
    Stopped(Ended),
    /// The cost limit is in another currency.
    #[error("`limits.cost` is in {of_limit}, and the ledger counts in {of_ledger}")]
    Currency {
        /// Of the limit.
        of_limit: String,
        /// Of the ledger.
        of_ledger: String,
    },
    /// A choice can't be carried out.
    #[error(transparent)]
    Decide(#[from] DecideError),
    /// A record or figure is missing without which there is no answer.
    #[error(transparent)]
    Article(#[from] ArticleError),
}

/// The ledger as it stands, judged.
pub struct Room<'a> {
    /// What was read.
    pub ledger: &'a Ledger,
    /// The texts that it was read from.
    pub snapshot: &'a Snapshot,
    /// Its verdicts.
    pub evaluation: &'a Evaluation,
    /// The day.
    pub today: Day,
    /// Remembers records that candidates share.
    pub recall: &'a dyn Recall,
}

impl Room<'_> {
    /// Returns the ledger of a choice.
    ///
    /// # Errors
    /// [`StudyError`] where the choice can't be carried out.
    pub fn load(&self, space: &Space, choice: &[u16]) -> Result<Ledger, StudyError> {
        let texts = space.texts(self.ledger, self.snapshot, choice)?;
        Ok(Ledger::load(&self.snapshot.overlay(texts), self.recall).as_of(self.today))
    }
}
