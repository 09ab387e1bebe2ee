//! What decisions touch: whether several can be read together, and where they speak against each other.

use super::decide::{Act, DecideError, act, read, record, words};
use crate::ledger::Ledger;
use crate::record::{Address, Change, Decision};
use crate::source::Snapshot;
use serde_yaml::Value;
use std::collections::BTreeMap;

/// Where one change takes hold, worked out on the records before any of the changes.
#[derive(Debug, Clone, PartialEq)]
enum Hold {
    /// A whole record, added or dropped.
    Record,
    /// A value that is set or removed, with its route.
    Value(String),
    /// A gap of a list that something is put into: the list's route and the entry before.
    Gap(String, usize),
}

/// One change with what it leaves.
#[derive(Debug, Clone)]
struct Touch {
    address: Address,
    hold: Hold,
    /// What stands there afterwards; `None` where nothing does.
    leaves: Option<Value>,
}

impl Touch {
    fn place(&self) -> String {
        match &self.hold {
            Hold::Record => self.address.to_string(),
            Hold::Value(route) => format!("{}#{route}", self.address),
            Hold::Gap(list, after) => format!("{}#{list}, behind {after}", self.address),
        }
    }

    fn words(&self) -> Option<String> {
        self.leaves.as_ref().map(words)
    }

    /// Whether both take hold of the same, or one of what the other is a part of.
    fn meets(&self, other: &Touch) -> bool {
        let within = |inner: &str, outer: &str| {
            outer.is_empty()
                || inner == outer
                || inner.strip_prefix(outer).is_some_and(|rest| rest.starts_with('.'))
        };
        self.address == other.address
            && match (&self.hold, &other.hold) {
                (Hold::Record, _) | (_, Hold::Record) => true,
                (Hold::Value(one), Hold::Value(two)) => within(one, two) || within(two, one),
                (Hold::Gap(one, after), Hold::Gap(two, behind)) => one == two && after == behind,
                (Hold::Gap(list, _), Hold::Value(route)) | (Hold::Value(route), Hold::Gap(list, _)) => {
                    within(list, route)
                }
            }
    }
}

/// Two decisions, or two states, that leave one attribute at different values.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Conflict {
    /// The place, `kind/id#route`.
    pub address: String,
    /// What the one leaves there; `None` where nothing.
    pub one: Option<String>,
    /// What the other leaves there.
    pub other: Option<String>,
}

fn touch(ledger: &Ledger, snapshot: &Snapshot, at: usize, change: &Change) -> Result<Touch, DecideError> {
    let unclear = |problem: String| DecideError::Unclear { at, problem };
    if let Some(text) = change.add.as_ref().or(change.drop.as_ref()) {
        let address = Address::parse(text).ok_or_else(|| unclear(format!("`{text}` is no address")))?;
        let leaves = change.add.as_ref().and(change.record.as_ref()).map(|record| record.0.clone());
        return Ok(Touch { address, hold: Hold::Record, leaves });
    }
    let (text, what) = [(&change.set, "set"), (&change.remove, "remove"), (&change.insert, "insert")]
        .into_iter()
        .find_map(|(text, what)| text.as_ref().map(|text| (text, what)))
        .ok_or_else(|| unclear("it does nothing".to_string()))?;
    let (name, route) = text.split_once('#').ok_or_else(|| unclear(format!("`{text}` names no place")))?;
    let none = BTreeMap::new();
    let (address, file) = record(ledger, &none, at, name)?;
    let before = read(snapshot, &none, &file)?;
    let (hold, leaves) = match act(at, &address, route, what, change, &before)? {
        Act::Set { route, to } => (Hold::Value(route), Some(to.clone())),
        Act::Remove { route, .. } => (Hold::Value(route), None),
        Act::Insert { list, after, entry } => (Hold::Gap(list, after), Some(entry.clone())),
    };
    Ok(Touch { address, hold, leaves })
}

fn touches(ledger: &Ledger, snapshot: &Snapshot, decision: &Decision) -> Result<Vec<Touch>, DecideError> {
    decision.changes.iter().enumerate().map(|(at, change)| touch(ledger, snapshot, at + 1, change)).collect()
}

/// Returns whether a decision is made for the records as they stand.
pub(super) fn fits(ledger: &Ledger, snapshot: &Snapshot, decision: &Decision) -> bool {
    touches(ledger, snapshot, decision).is_ok()
}

/// Reads several decisions as one, where all are made for the records as they stand and none takes hold of
/// what another does: then each place means what it meant when its decision was written, whatever the order.
/// An edit that several make alike is made once. `None` where they have to be taken one after the other.
pub(super) fn as_one(ledger: &Ledger, snapshot: &Snapshot, decisions: &[&Decision]) -> Option<Decision> {
    let (first, rest) = decisions.split_first()?;
    let mut all = (*first).clone();
    let mut held = touches(ledger, snapshot, first).ok()?;
    for decision in rest {
        let own = touches(ledger, snapshot, decision).ok()?;
        let mut new = Vec::new();
        for (touch, change) in own.into_iter().zip(&decision.changes) {
            let meets: Vec<&Touch> = held.iter().filter(|known| known.meets(&touch)).collect();
            match meets.as_slice() {
                [] => {
                    all.changes.push(change.clone());
                    new.push(touch);
                }
                // Entries for one gap all find room, in the order of their decisions.
                gaps if matches!(touch.hold, Hold::Gap(..))
                    && gaps.iter().all(|known| known.hold == touch.hold) =>
                {
                    all.changes.push(change.clone());
                    new.push(touch);
                }
                [known] if known.hold == touch.hold && known.words() == touch.words() => {}
                _ => return None,
            }
        }
        held.append(&mut new);
    }
    Some(all)
}

/// Places that two decisions leave at different values, sorted.
///
/// # Errors
/// [`DecideError`] where a change of either can't be placed.
pub fn conflicts(
    ledger: &Ledger,
    snapshot: &Snapshot,
    one: &Decision,
    other: &Decision,
) -> Result<Vec<Conflict>, DecideError> {
    let (one, other) = (touches(ledger, snapshot, one)?, touches(ledger, snapshot, other)?);
    let mut all = Vec::new();
    for (mine, theirs) in one.iter().flat_map(|mine| other.iter().map(move |theirs| (mine, theirs))) {
        // Two entries put into one gap both find room.
        let gaps = matches!((&mine.hold, &theirs.hold), (Hold::Gap(..), Hold::Gap(..)));
        let alike = mine.hold == theirs.hold && mine.words() == theirs.words();
        if mine.meets(theirs) && !gaps && !alike {
            all.push(Conflict { address: mine.place(), one: mine.words(), other: theirs.words() });
        }
    }
    all.sort();
    all.dedup();
    Ok(all)
}
