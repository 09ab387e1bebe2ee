//! Which edits between two states approved decisions account for.

use super::decide::overlay;
use super::diff::{Change, Edits, diff};
use crate::ledger::{Ledger, Recall};
use crate::record::{Address, Approval, Decision, DecisionStatus, RecordKind};
use crate::source::Snapshot;
use std::collections::{BTreeMap, BTreeSet};

/// What approved decisions account for.
#[derive(Debug, Clone, Default)]
pub struct Explained {
    /// What differs between the base with its decisions laid over it and the head.
    left: Edits,
    /// Edits that single changes of decisions come to, where a decision is carried out in part.
    single: BTreeSet<(String, Option<String>, Option<String>)>,
    /// Whether any decision was laid over the base.
    any: bool,
    /// Decisions that touch what was edited and whose approval the base does not have, with the records
    /// that they touch.
    fresh: BTreeMap<Address, BTreeSet<String>>,
}

impl Explained {
    /// Returns whether an approved decision says so.
    pub fn covers(&self, change: &Change) -> bool {
        let own = record_of(&change.address);
        // A whole record or entry that is left over holds whatever is within it.
        let within = |outer: &str, inner: &str| {
            let rest = inner.strip_prefix(outer);
            outer.is_empty() || rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
        };
        let remains = |left: &Change| {
            let (one, two) = (left.attribute.as_str(), change.attribute.as_str());
            record_of(&left.address) == own && (within(one, two) || within(two, one))
        };
        self.any && !self.left.changes.iter().any(remains)
            || self.single.contains(&(change.address.clone(), change.was.clone(), change.is.clone()))
    }

    /// Returns the decisions that touch a record and are approved only in the head.
    pub fn fresh_on(&self, record: &str) -> impl Iterator<Item = &Address> {
        self.fresh.iter().filter(move |(_, records)| records.contains(record)).map(|(address, _)| address)
    }
}

/// Returns the record of an address with a route.
pub fn record_of(address: &str) -> &str {
    address.split('#').next().unwrap_or(address)
}

/// Returns whether a decision is approved by the roles that both states ask for.
fn is_approved(states: [&Ledger; 2], decision: &Decision) -> bool {
    let mut needed = states.into_iter().filter_map(|ledger| ledger.head.as_ref()?.approvals.as_ref());
    decision.status == DecisionStatus::Approved
        && needed.all(|needed| Approval::by_all(&decision.approvals, &needed.decision))
}

/// Works out what the decisions approved in `head` account for of the edits from `base` to it.
///
/// The decisions are laid over the base as `impact` lays a proposal: what then still differs from the head
/// was decided by nobody. A decision whose `was` the base does not have was carried out before, or was made
/// for something else; it accounts for nothing. Neither does one that would leave a record broken.
pub fn explain(
    (base, snapshot): (&Ledger, &Snapshot),
    head: &Ledger,
    edits: &Edits,
    recall: &dyn Recall,
) -> Explained {
    let edited: BTreeSet<&str> = edits.changes.iter().map(|change| record_of(&change.address)).collect();
    let touched = |decision: &Decision| -> BTreeSet<String> {
        let changes = decision.changes.iter().flat_map(|change| {
            [&change.set, &change.remove, &change.insert, &change.add, &change.drop].into_iter().flatten()
        });
        changes.map(|text| canonical(record_of(text))).filter(|own| edited.contains(&**own)).collect()
    };
    let mut found = Explained::default();
    let mut laid: Vec<&Decision> = Vec::new();
    for entry in head.decisions.values().filter(|entry| is_approved([base, head], &entry.value)) {
        let records = touched(&entry.value);
        if records.is_empty() {
            continue;
        }
        let mut tried = laid.clone();
        tried.push(&entry.value);
        if overlay(base, snapshot, &tried).is_ok() {
            laid = tried;
        }
        let known = base.decisions.get(&entry.id);
        if !known.is_some_and(|known| is_approved([base, head], &known.value)) {
            found.fresh.insert(Address::new(RecordKind::Decision, entry.id.clone()), records);
        }
    }
    let with = |decisions: &[&Decision]| {
        let texts = overlay(base, snapshot, decisions).ok()?;
        let decided = Ledger::load(&snapshot.overlay(texts), recall);
        // A record that can't be read differs in nothing but that it is not there.
        decided.broken.iter().all(|record| base.broken.contains(record)).then_some(decided)
    };
    if let Some(decided) = with(&laid).filter(|_| !laid.is_empty()) {
        found.left = diff(&decided, head);
        found.any = true;
    }
    // What was carried out in part is looked for change by change.
    let open = edits.changes.iter().any(|change| !found.covers(change));
    for decision in laid.iter().filter(|decision| open && decision.changes.len() > 1) {
        for change in &decision.changes {
            let one = Decision { changes: vec![change.clone()], ..(*decision).clone() };
            let Some(decided) = with(&[&one]) else { continue };
            let own = diff(base, &decided).changes.into_iter();
            found.single.extend(own.map(|change| (change.address, change.was, change.is)));
        }
    }
    found
}

/// Writes a record's address as edits do, however a decision writes it.
fn canonical(text: &str) -> String {
    Address::parse(text).map_or_else(|| text.to_string(), |address| address.to_string())
}
