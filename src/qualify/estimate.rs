//! Design values that are estimates: what the procedure wants, which a showing's own plan need not ask for.

use super::pool::{Pool, required_basis};
use crate::ledger::Entry;
use crate::record::{BasisWord, Evidence, LoadPath, Showing};
use crate::statistics::{Basis, Procedure};

/// Returns the basis of the statistics that a word names.
pub fn basis_of(word: BasisWord) -> Basis {
    match word {
        BasisWord::A => Basis::A,
        BasisWord::B => Basis::B,
    }
}

/// Says that a basis value is an estimate, as a sentence of the assumptions; `None` where the sample is large
/// enough for the procedure.
///
/// The plan says what a complete sample is, and the verdict goes by that: what is missing for a design value is
/// an assumption of whoever made the plan.
pub fn estimate(records: &[&Entry<Evidence>], found: &Procedure, word: BasisWord) -> Option<String> {
    let basis = basis_of(word);
    if found.lacks(basis).is_empty() {
        return None;
    }
    let showing = records.first()?.value.showing.id();
    let names: Vec<&str> = records.iter().map(|record| record.id.as_str()).collect();
    Some(format!(
        "showing/{showing}: design value ({word}-basis of {}) is an estimate: it has {}",
        names.join(", "),
        found.lacks(basis).join(", ")
    ))
}

impl Pool {
    /// Says of a whole sample that the design value which its showing asks for is an estimate; `None` where none is
    /// asked, where there is none, and where it is no estimate.
    pub(super) fn estimate(
        &self,
        showing: &Showing,
        records: &[&Entry<Evidence>],
        load_path: Option<LoadPath>,
    ) -> Option<String> {
        let word = required_basis(&showing.accept, load_path)?;
        showing.accept.at_least.as_ref()?;
        let found = self.procedure().ok()?;
        found.value(basis_of(word)).as_ref().ok()?;
        estimate(records, found, word)
    }
}
