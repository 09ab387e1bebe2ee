//! Decisions that were approved and are no longer what was approved.

use super::decide::text_of;
use super::diff::{Edits, tree};
use super::past::Past;
use crate::ledger::{Entry, Ledger};
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
    /// What is wrong with it.
    pub how: How,
}

/// What became of a decision that should have stayed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum How {
    /// It is gone.
    Gone,
    /// These first-level keys differ, sorted.
    Differs(Vec<String>),
    /// It was given up, and is back with the approvals of then.
    Back,
    /// It is given up, and a commit carried it out.
    Stands,
    /// It is called superseded, and no approved decision names it by `supersedes`.
    BySomething,
}

impl Altered {
    /// Returns the key that it shows in; empty where that is none.
    pub fn key(&self) -> &str {
        match &self.how {
            How::Gone => "",
            How::Differs(keys) => keys.first().map_or("", String::as_str),
            How::Back | How::Stands | How::BySomething => "status",
        }
    }

    /// Says what is wrong, as the end of a sentence.
    pub fn words(&self) -> String {
        match &self.how {
            How::Gone => "it is gone".to_string(),
            How::Differs(keys) => {
                let keys: Vec<String> = keys.iter().map(|key| format!("`{key}`")).collect();
                format!("{} {}", keys.join(", "), if keys.len() == 1 { "differs" } else { "differ" })
            }
            How::Back => "the approvals that it had then are no approvals any more".to_string(),
            How::Stands => "it was carried out, and what stands in the records was decided by it".to_string(),
            How::BySomething => "no approved decision names it by `supersedes`".to_string(),
        }
    }

    /// Says the way on.
    pub fn help(&self) -> &'static str {
        match self.how {
            How::Back => {
                "leave it given up: what is wanted after all is another decision, drafted and approved anew"
            }
            How::Stands => "leave it approved: another decision takes back what it did",
            How::BySomething => "write `status: withdrawn`, or approve what takes its place first",
            _ => {
                "leave it as it was, or take it back whole by `status: withdrawn`; another change is another decision"
            }
        }
    }

    /// Says it whole, of a record in HEAD.
    pub fn in_head(&self) -> String {
        match self.how {
            How::Back => format!("{} is {} in HEAD, and is back: {}", self.id, self.was.word(), self.words()),
            _ => format!("{} is approved in HEAD, and is not what was approved: {}", self.id, self.words()),
        }
    }
}

fn is_given_up(status: DecisionStatus) -> bool {
    use DecisionStatus::{Rejected, Superseded, Withdrawn};
    matches!(status, Rejected | Superseded | Withdrawn)
}

/// Returns whether a commit behind a state carried a decision out, in whole or in part, and nobody took it back.
pub fn is_carried_out(state: (&Ledger, &Snapshot), id: &str, decision: &Decision, past: &Past<'_>) -> bool {
    match past.application(state, id, decision) {
        Ok(Some(application)) => application.undone.is_none(),
        Ok(None) => past.spent(state, id, decision).is_ok_and(|spent| !spent.is_empty()),
        Err(_) => false,
    }
}

/// Finds the decisions that `base` has as approved and `head` as given up, and of which a commit carried something out
/// that nobody took back.
pub fn standing(base: (&Ledger, &Snapshot), head: (&Ledger, &Snapshot), past: &Past<'_>) -> BTreeSet<String> {
    // What is staged has no commits of its own yet.
    let state = if head.1.commit().is_some() { head } else { base };
    let given_up = |id: &str| head.0.decisions.get(id).is_some_and(|now| is_given_up(now.value.status));
    let approved = base.0.decisions.values().filter(|entry| entry.value.status == DecisionStatus::Approved);
    approved
        .filter(|entry| given_up(&entry.id) && is_carried_out(state, &entry.id, &entry.value, past))
        .map(|entry| entry.id.clone())
        .collect()
}

/// Finds decisions that `base` has as approved and that are not the same in `now`, by id, and those that were given up
/// and are back by the approvals of then. What was found of one since is no part of what was approved, and a new id is
/// none either; one that can't be read is a fault of its own. An approval may be taken back, unless the decision
/// `stands` in the records, and names and further approvals may be added to it.
pub fn altered(base: &Ledger, now: &Ledger, edits: &Edits, stands: &BTreeSet<String>) -> Vec<Altered> {
    let asked = base.head.as_ref().and_then(|head| head.approvals.as_ref());
    let roles = asked.map_or(&[][..], |asked| &asked.decision);
    let mut all = Vec::new();
    for entry in base.decisions.values() {
        let (id, old) = (&entry.id, &*entry.value);
        if is_given_up(old.status) {
            all.extend(back(entry, now).map(|id| Altered { id, was: old.status, how: How::Back }));
            continue;
        }
        let renamed = edits.renamed.get(&(RecordKind::Decision, id.clone()));
        // The diff has held a renamed record against what it was.
        if old.status != DecisionStatus::Approved
            || renamed.is_some_and(|called| called != id)
            || now.broken.contains(&Address::new(RecordKind::Decision, id.clone()))
        {
            continue;
        }
        let found = |how: How| Altered { id: id.clone(), was: old.status, how };
        let Some(new) = now.decisions.get(id).map(|now| &*now.value) else {
            all.push(found(How::Gone));
            continue;
        };
        // Whoever called approved what the roles did not approve may take that back.
        // What is said to be approved later is not approved yet, and that day may be corrected.
        let come = Approval::come(&old.approvals, now.today);
        let is_ahead = come.len() < old.approvals.len();
        if (new.status != DecisionStatus::Approved || is_ahead) && !Approval::by_all(&come, roles, None) {
            continue;
        }
        // As far as it may differ, it is taken to be as it was.
        let mut like = Decision { found: old.found.clone(), ..new.clone() };
        if Approval::are_kept(&come, &new.approvals) {
            like.approvals.clone_from(&old.approvals);
        }
        if matches!(new.status, DecisionStatus::Withdrawn | DecisionStatus::Superseded) {
            like.status = old.status;
            like.notes.clone_from(&old.notes);
        }
        if like != *old {
            all.push(found(How::Differs(differing(old, &like))));
        } else if is_given_up(new.status) && stands.contains(id) {
            all.push(found(How::Stands));
        } else if new.status == DecisionStatus::Superseded && !is_superseded(now, id) {
            all.push(found(How::BySomething));
        }
    }
    all
}

/// The decisions that a given up one is back in: itself, or what has its prediction and its approvals by another id.
fn back<'l>(old: &'l Entry<Decision>, now: &'l Ledger) -> impl Iterator<Item = String> + 'l {
    let was = &old.value;
    let kept = |new: &Decision| {
        let own = |one: &Approval| was.approvals.iter().any(|old| (&old.role, old.on) == (&one.role, one.on));
        new.approvals.iter().any(own)
    };
    let same = move |new: &Entry<Decision>| {
        new.id == old.id || was.predicted.is_some() && new.value.predicted == was.predicted
    };
    now.decisions
        .values()
        .filter(move |new| !is_given_up(new.value.status) && same(new) && kept(&new.value))
        .map(|new| new.id.clone())
}

fn is_superseded(ledger: &Ledger, id: &str) -> bool {
    ledger.decisions.values().any(|entry| {
        let old = entry.value.supersedes.as_ref().and_then(|old| ledger.decision(old.id()));
        entry.value.status == DecisionStatus::Approved && old.is_some_and(|old| old.id == id)
    })
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
        let route = own.key();
        let stretch =
            if route.is_empty() { None } else { index.find(route).or_else(|| index.nearest(route)) };
        let place = stretch.map_or_else(|| Place::file(&file), |found| found.place(&file));
        let message = own.in_head();
        let help = match own.how {
            How::Gone | How::Differs(_) => {
                format!("{}; `git checkout HEAD -- {file}` brings it back", own.help())
            }
            _ => own.help().to_string(),
        };
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
