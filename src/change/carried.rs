//! Which decisions the edits between two states carry out.

use super::decide::overlay;
use super::diff::{Change, Edits, diff};
use super::explain::record_of;
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
    recall: &dyn Recall,
) -> Vec<String> {
    let edited: BTreeSet<&str> = edits.changes.iter().map(|change| record_of(&change.address)).collect();
    let made: BTreeSet<Made<'_>> = edits.changes.iter().map(made_of).collect();
    let all = head.decisions.values().filter(|entry| is_open(&entry.value) && touches(&entry.value, &edited));
    all.filter(|entry| is_whole((base, snapshot), &entry.value, &made, recall))
        .map(|entry| entry.id.clone())
        .collect()
}

type Made<'a> = (&'a str, Option<&'a str>, Option<&'a str>);

fn made_of(change: &Change) -> Made<'_> {
    (&change.address, change.was.as_deref(), change.is.as_deref())
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
    let made: BTreeSet<Made<'_>> = edits.changes.iter().map(made_of).collect();
    is_whole((base, snapshot), decision, &made, recall)
}

fn is_whole(
    (base, snapshot): (&Ledger, &Snapshot),
    decision: &Decision,
    made: &BTreeSet<Made<'_>>,
    recall: &dyn Recall,
) -> bool {
    let Ok(texts) = overlay(base, snapshot, &[decision]) else { return false };
    let decided = Ledger::load(&snapshot.overlay(texts), recall);
    let own = diff(base, &decided).changes;
    !own.is_empty() && own.iter().all(|change| made.contains(&made_of(change)))
}
