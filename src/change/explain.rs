//! Which edits between two states approved decisions account for.

use super::approved::standing;
use super::decide::overlay;
use super::diff::{Change, Edits, diff};
use super::past::Past;
use super::stale::says_what_was;
use crate::ledger::{Ledger, is_as_predicted};
use crate::record::{Address, Approval, Day, Decision, DecisionStatus, RecordKind};
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
    /// Decisions that speak of what was edited and account for nothing, with the places that they name and why.
    idle: BTreeMap<Address, (Vec<String>, String)>,
    /// Decisions that are given up, and that a commit carried out.
    pub stands: BTreeSet<String>,
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

    /// Returns the decisions that speak of an edit's place and account for nothing, and why, in words.
    pub fn idle_on(&self, change: &Change) -> Vec<String> {
        // By the record and the first key: lists may have moved.
        let key = |place: &str| -> (String, String) {
            let (record, route) = place.split_once('#').unwrap_or((place, ""));
            (canonical(record), route.split('.').next().unwrap_or_default().to_string())
        };
        let own = key(&change.address);
        let speaks = |place: &String| {
            let (record, first) = key(place);
            record == own.0 && (first.is_empty() || first == own.1)
        };
        let all = self.idle.iter().filter(|(_, (places, _))| places.iter().any(speaks));
        all.map(|(decision, (_, why))| format!("{decision} does not count: {why}")).collect()
    }

    /// Returns the decisions that touch a record and are approved only in the head.
    pub fn fresh_on(&self, record: &str) -> impl Iterator<Item = &Address> {
        self.fresh.iter().filter(move |(_, records)| records.contains(record)).map(|(address, _)| address)
    }
}

/// Takes out of what is approved together with its change the decisions that commits between the base and the head
/// have approved before the change: `head` is the state of a commit.
pub fn in_order(explained: &mut Explained, base: &Ledger, head: (&Ledger, &Snapshot), past: &Past<'_>) {
    explained.fresh.retain(|address, _| {
        let Some(entry) = head.0.decisions.get(address.id()) else { return true };
        let stands = |known: &Decision| is_approved([base, head.0], known);
        !past.stood_before(head, &entry.id, &entry.value, &stands)
    });
}

/// Returns the record of an address with a route.
pub fn record_of(address: &str) -> &str {
    address.split('#').next().unwrap_or(address)
}

/// Returns whether a decision is approved by the roles that both states ask for.
///
/// Approvals speak for what was proposed: of changes that are no longer those, nobody has approved anything.
fn is_approved(states: [&Ledger; 2], decision: &Decision) -> bool {
    let mut needed = states.into_iter().filter_map(|ledger| ledger.head.as_ref()?.approvals.as_ref());
    let come = Approval::come(&decision.approvals, today(states));
    decision.status == DecisionStatus::Approved
        && is_as_predicted(decision)
        && needed.all(|needed| Approval::by_all(&come, &needed.decision, needed.persons))
}

/// The day on which two states are looked at.
fn today(states: [&Ledger; 2]) -> Option<Day> {
    states.into_iter().filter_map(|ledger| ledger.today).max()
}

/// Says why a decision is not approved by what both states ask for: `None` where it is, and nothing in it where it is
/// given up for another and nobody looks for it.
fn not_approved(states: [&Ledger; 2], decision: &Decision) -> Option<Option<String>> {
    use DecisionStatus::{Approved, Draft, Proposed};
    if is_approved(states, decision) {
        return None;
    }
    Some(match decision.status {
        Draft | Proposed => Some(format!("it is {}, not approved", decision.status.word())),
        Approved if !is_as_predicted(decision) => {
            Some("its changes are not those that were approved".to_string())
        }
        Approved => {
            let rules = states.into_iter().filter_map(|ledger| ledger.head.as_ref()?.approvals.as_ref());
            let come = Approval::come(&decision.approvals, today(states));
            let lacks = rules.map(|rule| Approval::lacking(&come, &rule.decision, rule.persons));
            let lacks = lacks.max_by_key(Vec::len).unwrap_or_default();
            let ahead = decision.approvals.iter().map(|approval| approval.on);
            let ahead = ahead.filter(|on| today(states).is_some_and(|today| !on.has_come(today))).min();
            let ahead = ahead.map_or_else(String::new, |on| format!(": {on} has not come"));
            Some(format!("it lacks {}{ahead}", lacks.join(" and ")))
        }
        DecisionStatus::Withdrawn => Some("it is withdrawn".to_string()),
        _ => None,
    })
}

/// Works out what the decisions approved in `head` account for of the edits from `base` to it.
///
/// The decisions are laid over the base as `impact` lays a proposal: what then still differs from the head
/// was decided by nobody. A change that does not say what was there accounts for nothing, and neither does
/// one whose `was` the base does not have: it was carried out before, or was made for something else. The same
/// holds of a decision that would leave a record broken, and of one that another approved one supersedes,
/// unless that other builds on it. What a commit behind the base carried out already is used up. `past` also moves a
/// decision's places to where they stand in the base.
pub fn explain(
    (base, snapshot): (&Ledger, &Snapshot),
    (head, later): (&Ledger, &Snapshot),
    edits: &Edits,
    past: &Past<'_>,
) -> Explained {
    let edited: BTreeSet<&str> = edits.changes.iter().map(|change| record_of(&change.address)).collect();
    let touched = |decision: &Decision| -> BTreeSet<String> {
        records(decision).into_iter().filter(|own| edited.contains(&**own)).collect()
    };
    let stands = standing((base, snapshot), (head, later), past);
    let mut found = Explained { stands, ..Explained::default() };
    let mut decisions: BTreeMap<&str, Decision> = BTreeMap::new();
    for entry in head.decisions.values() {
        let records = touched(&entry.value);
        if records.is_empty() {
            continue;
        }
        let mut idle = |why: String| {
            let places = entry.value.changes.iter().flat_map(crate::record::Change::places);
            let address = Address::new(RecordKind::Decision, entry.id.clone());
            found.idle.insert(address, (places.cloned().collect(), why));
        };
        if let Some(why) = not_approved([base, head], &entry.value) {
            why.into_iter().for_each(&mut idle);
            continue;
        }
        let Some(mut own) = unspent((base, snapshot), &entry.id, &entry.value, past) else {
            // What no longer fits is done with, and nobody looks for it here.
            if past.fits_anywhere((base, snapshot), &entry.value) {
                idle("it was carried out already, and an approval is for one time".to_string());
            }
            continue;
        };
        own.changes.retain(|change| says_what_was(base, snapshot, change));
        if own.changes.is_empty() {
            idle("its changes do not say `was`".to_string());
        }
        decisions.insert(&entry.id, own);
        let known = base.decisions.get(&entry.id);
        if !known.is_some_and(|known| is_approved([base, head], &known.value)) {
            found.fresh.insert(Address::new(RecordKind::Decision, entry.id.clone()), records);
        }
    }
    let with = |decisions: &[&Decision]| {
        let texts = overlay(base, snapshot, decisions).ok()?;
        let decided = Ledger::load(&snapshot.overlay(texts), past.recall);
        // A record that can't be read differs in nothing but that it is not there.
        decided.broken.iter().all(|record| base.broken.contains(record)).then_some(decided)
    };
    let laid = Laid { base, snapshot, head, decisions: &decisions };
    let mut all = laid.all(&|_| true);
    let mut decided = with(&all);
    if decided.is_none() {
        // One of them breaks a record: only that one does not count.
        all = laid.all(&|decisions| with(decisions).is_some());
        decided = with(&all);
    }
    let mut chosen: Vec<Decision> = all.iter().map(|one| (*one).clone()).collect();
    if let Some(decided) = decided.filter(|_| !all.is_empty()) {
        found.left = diff(&decided, head);
        found.any = true;
    }
    let open = |found: &Explained| edits.changes.iter().any(|change| !found.covers(change));
    // What is approved and still to be done moves the places of what was done in the same list: it is left out as
    // long as less is left over without it.
    while found.any && open(&found) {
        let fewest = otherwise(&chosen, &found.left)
            .into_iter()
            .filter_map(|less| {
                let own: Vec<&Decision> = less.iter().collect();
                let left = diff(&with(&own)?, head);
                Some((less, left))
            })
            .min_by_key(|(_, left)| left.changes.len());
        match fewest {
            Some((less, left)) if left.changes.len() < found.left.changes.len() => {
                (chosen, found.left) = (less, left);
            }
            _ => break,
        }
    }
    // What was carried out in part is looked for change by change.
    let open = open(&found);
    for decision in all.iter().filter(|decision| open && decision.changes.len() > 1) {
        for change in &decision.changes {
            let one = Decision { changes: vec![change.clone()], ..(*decision).clone() };
            let Some(decided) = with(&[&one]) else { continue };
            let own = diff(base, &decided).changes.into_iter();
            found.single.extend(own.map(|change| (change.address, change.was, change.is)));
        }
    }
    found
}

/// The decisions less one of them that touches what is left over, or less one change of one; and those that put
/// something into a list, in another order: in one gap what came first stands in front.
fn otherwise(decisions: &[Decision], left: &Edits) -> Vec<Vec<Decision>> {
    let left: BTreeSet<&str> = left.changes.iter().map(|change| record_of(&change.address)).collect();
    let touches = |change: &crate::record::Change| {
        change.places().any(|place| left.contains(canonical(record_of(place)).as_str()))
    };
    let mut all = Vec::new();
    for (at, decision) in decisions.iter().enumerate() {
        if !decision.changes.iter().any(touches) {
            continue;
        }
        let mut whole = decisions.to_vec();
        let own = whole.remove(at);
        if at + 1 < decisions.len() && own.changes.iter().any(|change| change.insert.is_some()) {
            all.push(whole.iter().cloned().chain([own]).collect());
        }
        all.push(whole);
        let single = 0..if decision.changes.len() > 1 { decision.changes.len() } else { 0 };
        for change in single.filter(|change| decision.changes.get(*change).is_some_and(touches)) {
            let mut less = decisions.to_vec();
            if let Some(own) = less.get_mut(at) {
                own.changes.remove(change);
            }
            all.push(less);
        }
    }
    all
}

/// What an approved decision still allows, its places as they stand in the base; `None` where nothing.
fn unspent(state: (&Ledger, &Snapshot), id: &str, decision: &Decision, past: &Past<'_>) -> Option<Decision> {
    let mut own = decision.clone();
    if past.fits_anywhere(state, decision) {
        // A history that can't be read allows nothing: nobody can say that it was not done before.
        let spent = past.spent(state, id, decision).ok()?;
        let mut at = 0..;
        own.changes.retain(|_| at.next().is_none_or(|at| !spent.contains_key(&at)));
    }
    (!own.changes.is_empty()).then(|| past.settled(state, &own).ok()).flatten()
}

/// The decisions that can be laid one over the other.
struct Laid<'a> {
    base: &'a Ledger,
    snapshot: &'a Snapshot,
    head: &'a Ledger,
    decisions: &'a BTreeMap<&'a str, Decision>,
}

impl<'a> Laid<'a> {
    /// Returns as many decisions as can be laid and leave what `stands` asks; one may build on another that
    /// comes after it by name.
    fn all(&self, stands: &dyn Fn(&[&Decision]) -> bool) -> Vec<&'a Decision> {
        let mut laid: Vec<&Decision> = Vec::new();
        let fits = |laid: &[&'a Decision], more: &[&'a Decision]| {
            let tried = [laid, more].concat();
            (overlay(self.base, self.snapshot, &tried).is_ok() && stands(&tried)).then_some(tried)
        };
        let mut open: Vec<(&str, &Decision)> = self.decisions.iter().map(|(id, one)| (*id, one)).collect();
        let mut superseded: Vec<(&str, &Decision)> = Vec::new();
        open.retain(|(id, one)| {
            let by = self.superseding(id).is_none();
            if !by {
                superseded.push((id, one));
            }
            by
        });
        loop {
            let before = open.len();
            open.retain(|(_, one)| match fits(&laid, &[one]) {
                Some(tried) => {
                    laid = tried;
                    false
                }
                None => true,
            });
            // One that is superseded was carried out before its successor only where that one expects it.
            superseded.retain(|(id, old)| {
                let by = self.superseding(id).and_then(|by| open.iter().find(|(id, _)| *id == by));
                match by.and_then(|(_, new)| fits(&laid, &[old, new])) {
                    Some(tried) => {
                        laid = tried;
                        let by = self.superseding(id);
                        open.retain(|(id, _)| Some(*id) != by);
                        false
                    }
                    None => true,
                }
            });
            if open.len() == before {
                return laid;
            }
        }
    }

    /// Returns the approved decision that stands in place of one.
    fn superseding(&self, id: &str) -> Option<&'a str> {
        let approved = |decision: &Decision| is_approved([self.base, self.head], decision);
        // It may be named by the beginning of its id.
        let own = |decision: &Decision| {
            let old = decision.supersedes.as_ref().and_then(|old| self.head.decision(old.id()));
            old.is_some_and(|old| old.id == id)
        };
        let all = self.head.decisions.values();
        all.filter(|entry| own(&entry.value) && approved(&entry.value)).map(|entry| entry.id.as_str()).next()
    }
}

/// Returns the records that a decision names, as edits write them.
pub fn records(decision: &Decision) -> BTreeSet<String> {
    let places = decision.changes.iter().flat_map(crate::record::Change::places);
    places.map(|place| canonical(record_of(place))).collect()
}

/// Writes a record's address as edits do, however a decision writes it.
fn canonical(text: &str) -> String {
    Address::parse(text).map_or_else(|| text.to_string(), |address| address.to_string())
}
