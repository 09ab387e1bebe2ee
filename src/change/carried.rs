//! Which decisions the edits between two states carry out.

use super::decide::overlay;
use super::diff::{Change, Edits, diff};
use super::explain::{record_of, records};
use super::past::Past;
use crate::ledger::{Ledger, Recall};
use crate::record::{Address, Decision, DecisionStatus, RecordKind, read};
use crate::source::Snapshot;
use std::collections::BTreeSet;

/// Returns whether the files that differ between two states could carry a decision out: some open decision of `head`
/// whose every record stands in one of them. Where none does, [`carried_out`] finds none, and no record need be read
/// to know it but the decisions.
pub fn may_carry(base: &Snapshot, head: &Snapshot) -> bool {
    fn record(path: &str) -> Option<Address> {
        let (folder, _) = path.split_once('/')?;
        let id = path.rsplit('/').next()?.strip_suffix(".yaml")?;
        Some(Address::new(RecordKind::by_folder(folder)?, id))
    }
    let paths = |one: &Snapshot| -> BTreeSet<String> { one.files().map(|file| file.path.clone()).collect() };
    let (old, new) = (paths(base), paths(head));
    // What has no id may be anything.
    let differs = |path: &&String| base.blob_id(path).is_none_or(|own| head.blob_id(path) != Some(own));
    let mut edited: BTreeSet<String> = BTreeSet::new();
    for path in old.union(&new).filter(differs) {
        if path == "ledger.yaml" {
            edited.insert(Address::ledger().to_string());
        }
        edited.extend(record(path).map(|own| own.to_string()));
    }
    if edited.is_empty() {
        return false;
    }
    let edited: BTreeSet<&str> = edited.iter().map(String::as_str).collect();
    new.iter().filter(|path| record(path).is_some_and(|own| own.kind() == RecordKind::Decision)).any(|path| {
        let Ok(bytes) = head.read(path) else { return true };
        // One that can't be read is no decision of the ledger.
        read::<Decision>(path, &bytes).value.is_some_and(|own| is_open(&own) && touches(&own, &edited))
    })
}

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
    let all = head.decisions.values().filter(|entry| is_open(&entry.value) && touches(&entry.value, &edited));
    let state = (base, snapshot);
    let step = Carried { before: state, after: head, made: made_edits(edits), past };
    let carries = |id: &str, decision: &Decision| {
        let settled = past.settled(state, decision).ok()?;
        step.of(id, &settled)?;
        // The same once more is not what was decided.
        let spent = past.spent(state, id, decision).unwrap_or_default();
        spent.is_empty().then_some(())
    };
    all.filter(|entry| carries(&entry.id, &entry.value).is_some()).map(|entry| entry.id.clone()).collect()
}

/// What was made from one state to the next, for finding whether a decision was carried out by it.
pub(super) struct Carried<'a> {
    pub(super) before: (&'a Ledger, &'a Snapshot),
    pub(super) after: &'a Ledger,
    pub(super) made: BTreeSet<Made>,
    pub(super) past: &'a Past<'a>,
}

impl Carried<'_> {
    /// Returns the edits that a decision comes to where all of them were made, its places as they stand before;
    /// alone, or beside others that were carried out with it and moved its places.
    pub(super) fn of(&self, id: &str, decision: &Decision) -> Option<BTreeSet<Made>> {
        of_decision(self.before, decision, &self.made, self.past.recall)
            .or_else(|| self.beside(self.others(id, decision), decision))
    }

    /// As [`Carried::of`] for one change of a decision, whose other changes may have been made with it.
    pub(super) fn of_change(&self, id: &str, decision: &Decision, at: usize) -> Option<BTreeSet<Made>> {
        let single =
            |change: &crate::record::Change| Decision { changes: vec![change.clone()], ..decision.clone() };
        let one = single(decision.changes.get(at)?);
        of_decision(self.before, &one, &self.made, self.past.recall).or_else(|| {
            let rest = decision.changes.iter().enumerate().filter(|(other, _)| *other != at);
            let mut others = self.others(id, &one);
            others.extend(rest.map(|(_, change)| single(change)).filter(|rest| shares(rest, &one)));
            self.beside(others, &one)
        })
    }

    /// The other decisions that touch a record of this one and could have been carried out with it.
    fn others(&self, id: &str, decision: &Decision) -> Vec<Decision> {
        let all = self.after.decisions.values();
        all.filter(|entry| entry.id != id && is_open(&entry.value) && shares(&entry.value, decision))
            .filter_map(|entry| self.past.settled(self.before, &entry.value).ok())
            .collect()
    }

    fn beside(&self, others: Vec<Decision>, decision: &Decision) -> Option<BTreeSet<Made>> {
        if others.is_empty() {
            // Alone it was looked at already.
            return None;
        }
        // In one gap of a list what came first stands in front.
        self.in_order(&others, decision, false).or_else(|| self.in_order(&others, decision, true))
    }

    fn in_order(&self, others: &[Decision], decision: &Decision, is_first: bool) -> Option<BTreeSet<Made>> {
        let (base, snapshot) = self.before;
        let with = |decisions: &[&Decision]| {
            let texts = overlay(base, snapshot, decisions).ok()?;
            Some(Ledger::load(&snapshot.overlay(texts), self.past.recall))
        };
        let all = |others: &[Decision]| {
            let mut all: Vec<&Decision> = others.iter().collect();
            all.insert(if is_first { 0 } else { all.len() }, decision);
            with(&all)
        };
        let mut chosen: Vec<Decision> = Vec::new();
        for other in others {
            chosen.push(other.clone());
            if all(&chosen).is_none() {
                chosen.pop();
            }
        }
        // Those that were not carried out leave more over, or as much.
        let mut left = diff(&all(&chosen)?, self.after).changes.len();
        while !chosen.is_empty() {
            let without = |at: usize| {
                let mut less = chosen.clone();
                less.remove(at);
                let left = diff(&all(&less)?, self.after).changes.len();
                Some((less, left))
            };
            match (0..chosen.len()).filter_map(without).min_by_key(|(_, left)| *left) {
                Some((less, fewer)) if fewer <= left => (chosen, left) = (less, fewer),
                _ => break,
            }
        }
        if chosen.is_empty() {
            return None;
        }
        let decided = all(&chosen)?;
        let without = with(&chosen.iter().collect::<Vec<_>>())?;
        let own = made_edits(&diff(&without, &decided));
        (!own.is_empty() && own.is_subset(&made_edits(&diff(&without, self.after)))).then_some(own)
    }
}

/// Whether two decisions name one record.
fn shares(one: &Decision, other: &Decision) -> bool {
    !records(one).is_disjoint(&records(other))
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
    records(decision).iter().all(|own| edited.contains(own.as_str()))
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    const DECISION: &str = "status: approved\nchanges:\n  - {set: recipe/skin#layers.1.angle, was: 45, to: 30}\n  - {set: ledger#climate.ambient, was: 43 degC, to: 42 degC}\n";

    fn state(edits: &[(&str, Option<&str>)]) -> Snapshot {
        let mut files: BTreeMap<String, Vec<u8>> = BTreeMap::new();
        for (file, text) in [
            ("ledger.yaml", "format: 1\nclimate: {ambient: 43 degC}\n"),
            ("recipes/deep/skin.yaml", "layers: [{material: cw, angle: 45}]\n"),
            ("recipes/other.yaml", "layers: []\n"),
            ("decisions/dd-001-turn.yaml", DECISION),
        ] {
            files.insert(file.to_string(), text.into());
        }
        for (file, text) in edits {
            match text {
                Some(text) => files.insert(file.to_string(), text.as_bytes().to_vec()),
                None => files.remove(*file),
            };
        }
        Snapshot::in_memory(files)
    }

    /// Only where every record that an open decision changes stands in a file that differs.
    #[test]
    fn what_no_file_of_a_decision_differs_in_carries_nothing_out() {
        let base = state(&[]);
        let (head, skin) =
            (("ledger.yaml", Some("format: 1\n")), ("recipes/deep/skin.yaml", Some("layers: []\n")));
        let may = |edits: &[(&str, Option<&str>)]| may_carry(&base, &state(edits));
        assert!(!may(&[]));
        assert!(!may(&[("recipes/other.yaml", None), ("notes.txt", Some("x"))]));
        assert!(!may(&[skin]) && !may(&[head]));
        assert!(may(&[skin, head]));
        // Moved into another folder, or gone, it is edited too.
        let moved = [("recipes/deep/skin.yaml", None), ("recipes/skin.yaml", Some("layers: []\n")), head];
        assert!(may(&moved) && may(&moved[..1].iter().copied().chain([head]).collect::<Vec<_>>()));
        for (from, to) in [("approved", "withdrawn"), ("approved", "superseded"), ("changes", "chances")] {
            let text = DECISION.replace(from, to);
            assert!(!may(&[skin, head, ("decisions/dd-001-turn.yaml", Some(&text))]), "{to}");
        }
        let draft = DECISION.replace("approved", "draft");
        assert!(may(&[skin, head, ("decisions/dd-001-turn.yaml", Some(&draft))]));
        // A decision that comes with its change counts, one that goes does not.
        assert!(may_carry(&state(&[("decisions/dd-001-turn.yaml", None)]), &state(&[skin, head])));
        assert!(!may(&[skin, head, ("decisions/dd-001-turn.yaml", None)]));
    }
}
