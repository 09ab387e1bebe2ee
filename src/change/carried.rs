//! Which decisions the edits between two states carry out.

use super::decide::overlay;
use super::diff::{Change, Edits, diff};
use super::explain::record_of;
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
