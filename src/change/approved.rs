//! Decisions that were approved and are no longer what was approved.

use super::decide::text_of;
use super::diff::{Edits, tree};
use crate::ledger::Ledger;
use crate::record::{Address, Approval, Decision, DecisionStatus, Fault, Place, RecordKind, places};
use crate::source::Snapshot;
use std::collections::BTreeSet;

/// A decision that was approved, or was once and is given up, in one state, and is something else, or gone, in a later
/// one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Altered {
    /// Its id.
    pub id: String,
    /// How it stood: approved, withdrawn, superseded or rejected.
    pub was: DecisionStatus,
    /// The first-level keys that differ, sorted; `None` where the record is gone.
    pub keys: Option<Vec<String>>,
}

impl Altered {
    /// Says what differs, as the end of a sentence.
    pub fn words(&self) -> String {
        match &self.keys {
            None => "it is gone".to_string(),
            Some(_) if self.was != DecisionStatus::Approved => {
                "the approvals that it had do not come back with its `status`".to_string()
            }
            Some(keys) => {
                let keys: Vec<String> = keys.iter().map(|key| format!("`{key}`")).collect();
                format!("{} {}", keys.join(", "), if keys.len() == 1 { "differs" } else { "differ" })
            }
        }
    }

    /// Says the way on.
    pub fn help(&self) -> String {
        match self.was {
            DecisionStatus::Approved => {
                "leave it as it was, or take it back whole by `status: withdrawn`; another change is another decision"
            }
            _ => "leave its `status`, or draft it anew: what was given up is approved anew",
        }
        .to_string()
    }
}

/// Finds decisions that `base` has as approved and that are not the same in `now`, by id, and those that were given up
/// and are called approved by the approvals of then. What was found of one since is no part of what was approved, and
/// a new id is none either; one that can't be read is a fault of its own. An approval may be taken back, and names and
/// further approvals may be added to it.
pub fn altered(base: &Ledger, now: &Ledger, edits: &Edits) -> Vec<Altered> {
    use DecisionStatus::{Approved, Draft, Proposed, Superseded, Withdrawn};
    let mut all = Vec::new();
    for entry in base.decisions.values() {
        let old = &*entry.value;
        let renamed = edits.renamed.get(&(RecordKind::Decision, entry.id.clone()));
        let was = old.status;
        // The diff has held a renamed record against what it was.
        if matches!(was, Draft | Proposed)
            || renamed.is_some_and(|called| *called != entry.id)
            || now.broken.contains(&Address::new(RecordKind::Decision, entry.id.clone()))
        {
            continue;
        }
        let new = now.decisions.get(&entry.id).map(|now| &*now.value);
        if was != Approved {
            let again = new.is_some_and(|new| {
                new.status == Approved && new.predicted == old.predicted && new.approvals == old.approvals
            });
            if again && !old.approvals.is_empty() {
                all.push(Altered { id: entry.id.clone(), was, keys: Some(vec!["status".to_string()]) });
            }
            continue;
        }
        // As far as it may differ, it is taken to be as it was.
        let alike = |new: &Decision| {
            let mut like = Decision { found: old.found.clone(), ..new.clone() };
            if matches!(new.status, Withdrawn | Superseded) {
                like.status = old.status;
            }
            if Approval::are_kept(&old.approvals, &new.approvals) {
                like.approvals.clone_from(&old.approvals);
            }
            like
        };
        let is = new.map(alike);
        if is.as_ref() != Some(old) {
            all.push(Altered { id: entry.id.clone(), was, keys: is.map(|is| differing(old, &is)) });
        }
    }
    all
}

/// Returns the altered decisions as faults of the records of `now`, whose snapshot is beside it. One of which a fault
/// of the records says already that its changes are others is not said again.
pub fn faults(altered: &[Altered], (now, snapshot): (&Ledger, &Snapshot)) -> Vec<Fault> {
    let said =
        |file: &str| now.faults.iter().any(|fault| fault.rule == "changed-since" && fault.place.file == file);
    let one = |own: &Altered| {
        let address = Address::new(RecordKind::Decision, own.id.clone());
        let file = now.file_of(&address).map_or_else(|| format!("decisions/{}.yaml", own.id), str::to_string);
        if said(&file) {
            return None;
        }
        let index = places(&text_of(snapshot, &file).unwrap_or_default());
        let route = own.keys.as_ref().and_then(|keys| keys.first());
        let stretch = route.and_then(|route| index.find(route).or_else(|| index.nearest(route)));
        let place = stretch.map_or_else(|| Place::file(&file), |found| found.place(&file));
        let message = match own.was {
            DecisionStatus::Approved => {
                format!("{} is approved in HEAD, and is not what was approved: {}", own.id, own.words())
            }
            given_up => format!("{} is {} in HEAD: {}", own.id, given_up.word(), own.words()),
        };
        let help = format!("{}; `git checkout HEAD -- {file}` brings it back", own.help());
        Some(Fault::error("changed-since", place, message).labelled("not what HEAD has").help(help))
    };
    altered.iter().filter_map(one).collect()
}

fn differing(was: &Decision, is: &Decision) -> Vec<String> {
    let (was, is) = (tree(was), tree(is));
    let keys = [&was, &is].into_iter().filter_map(|one| one.as_object()).flat_map(|one| one.keys());
    let keys: BTreeSet<&String> = keys.filter(|key| was.get(key.as_str()) != is.get(key.as_str())).collect();
    keys.into_iter().cloned().collect()
}
