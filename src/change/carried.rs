//! Which decisions the edits between two states carry out.

use super::decide::overlay;
use super::diff::{Change, Edits, diff};
use super::explain::record_of;
use super::past::Past;
use crate::ledger::{Ledger, Recall};
use crate::record::{Address, Decision, DecisionStatus};
use crate::source::Snapshot;
use std::collections::BTreeSet;

/// Finds the decisions of `head` that the edits from `base` to it carry out whole: laid over the base, each of
/// their edits is among those that were made.
///
/// One that is rejected, withdrawn or superseded is no longer carried out; one that changes nothing of the base
/// never is. Sorted by id.
pub fn carried_out(
    (base, snapshot): (&Ledger, &Snapshot),
    head: &Ledger,
    edits: &Edits,
    past: &Past<'_>,
) -> Vec<String> {
    let edited: BTreeSet<&str> = edits.changes.iter().map(|change| record_of(&change.address)).collect();
    let made = made_edits(edits);
    let all = head.decisions.values().filter(|entry| is_open(&entry.value) && touches(&entry.value, &edited));
    let carries = |id: &str, decision: &Decision| {
        let settled = past.settled((base, snapshot), decision).ok()?;
        of_decision((base, snapshot), &settled, &made, past.recall)?;
        // The same once more is not what was decided.
        let spent = past.spent((base, snapshot), id, decision).unwrap_or_default();
        spent.is_empty().then_some(())
    };
    all.filter(|entry| carries(&entry.id, &entry.value).is_some()).map(|entry| entry.id.clone()).collect()
}

/// One edit: the address, what stood there and what does.
pub(super) type Made = (String, Option<String>, Option<String>);

fn made_of(change: &Change) -> Made {
    (change.address.clone(), change.was.clone(), change.is.clone())
}

pub(super) fn made_edits(edits: &Edits) -> BTreeSet<Made> {
    edits.changes.iter().map(made_of).collect()
}

fn is_open(decision: &Decision) -> bool {
    use DecisionStatus::{Approved, Draft, Proposed};
    !decision.changes.is_empty() && matches!(decision.status, Draft | Proposed | Approved)
}

/// Whether each of a decision's changes is to a record that was edited.
fn touches(decision: &Decision, edited: &BTreeSet<&str>) -> bool {
    decision.changes.iter().all(|change| {
        let places = [&change.set, &change.remove, &change.insert, &change.add, &change.drop];
        places.into_iter().flatten().all(|place| {
            let own = record_of(place);
            let own = Address::parse(own).map_or_else(|| own.to_string(), |address| address.to_string());
            edited.contains(own.as_str())
        })
    })
}

/// Returns whether the edits between two states carry a decision out whole, whatever its status.
pub fn carries(
    (base, snapshot): (&Ledger, &Snapshot),
    edits: &Edits,
    decision: &Decision,
    recall: &dyn Recall,
) -> bool {
    of_decision((base, snapshot), decision, &made_edits(edits), recall).is_some()
}

/// Returns the edits that a decision comes to where all of them were made.
pub(super) fn of_decision(
    (base, snapshot): (&Ledger, &Snapshot),
    decision: &Decision,
    made: &BTreeSet<Made>,
    recall: &dyn Recall,
) -> Option<BTreeSet<Made>> {
    let texts = overlay(base, snapshot, &[decision]).ok()?;
    let decided = Ledger::load(&snapshot.overlay(texts), recall);
    let own = made_edits(&diff(base, &decided));
    (!own.is_empty() && own.is_subset(made)).then_some(own)
}
