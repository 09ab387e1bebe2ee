//! Decisions that don't fit the records as they stand.

use super::decide::{DecideError, overlay, text_behind, text_of};
use super::past::Past;
use crate::ledger::Ledger;
use crate::record::{Change, Decision, DecisionStatus, Fault, Place, places};
use crate::source::Snapshot;

/// Finds decisions that are still to be carried out and can't be, as the records stand, or that would leave
/// faults behind them; none where the records themselves have errors.
pub fn open_faults(ledger: &Ledger, snapshot: &Snapshot, past: &Past<'_>) -> Vec<Fault> {
    let open = |decision: &Decision| {
        matches!(decision.status, DecisionStatus::Draft | DecisionStatus::Proposed)
            && !decision.changes.is_empty()
    };
    let mut all = Vec::new();
    // A record that is broken can't be told from one that is missing.
    if ledger.has_errors() {
        return all;
    }
    for entry in ledger.decisions.values().filter(|entry| open(&entry.value)) {
        let index = places(&text_of(snapshot, &entry.file).unwrap_or_default());
        let stale = |route: &str, message: String| {
            let stretch = index.find(route).or_else(|| index.nearest(route));
            let place = stretch.map_or_else(|| Place::file(&entry.file), |found| found.place(&entry.file));
            Fault::warning("stale-decision", place, message)
        };
        for (at, _) in entry
            .value
            .changes
            .iter()
            .enumerate()
            .filter(|(_, change)| !says_what_was(ledger, snapshot, change))
        {
            let route = format!("changes.{}", at + 1);
            let stretch = index.find(&route).or_else(|| index.nearest(&route));
            let place = stretch.map_or_else(|| Place::file(&entry.file), |found| found.place(&entry.file));
            let message = format!("change {} does not say what it is made from", at + 1);
            let found = Fault::warning("missing-was", place, message).labelled("no `was`");
            all.push(found.help("write `was:` with what stands there now: the gate lets no change through by a decision that would hold of anything"));
        }
        let settled = past.settled_here((ledger, snapshot), &entry.value);
        match settled.and_then(|own| overlay(ledger, snapshot, &[&own])) {
            Err(error @ DecideError::Done { .. }) => {
                let found = stale(&format!("changes.{}", error.at()), error.to_string());
                let help = match entry.value.status {
                    DecisionStatus::Draft => "propose it and have it approved, or take the edit back",
                    _ => "have it approved, or take the edit back",
                };
                all.push(found.labelled("carried out, but not approved").help(help));
            }
            Err(error) => {
                let found = stale(&format!("changes.{}", error.at()), error.to_string());
                let help = match error {
                    DecideError::Renamed { .. } => {
                        format!("`bondline decide rebase {}` writes what it is called now", entry.id)
                    }
                    _ => "bring the change up to the records as they are now, or say by `status` that it is withdrawn"
                        .to_string(),
                };
                all.push(found.labelled("can't be carried out").help(help));
            }
            Ok(texts) => {
                let decided = Ledger::load(&snapshot.overlay(texts), past.recall);
                let new = decided.new_errors(ledger);
                for left in new {
                    let found = stale("changes", format!("carried out, it leaves a fault: {}", left.message));
                    let help =
                        left.help.clone().unwrap_or_else(|| "correct what the change writes".to_string());
                    all.push(found.labelled("leaves a fault").help(help));
                }
            }
        }
    }
    all
}

/// Returns whether a change says what it is made from; without that it would allow the same again and again.
pub(super) fn says_what_was(ledger: &Ledger, snapshot: &Snapshot, change: &Change) -> bool {
    if change.was.is_some() || change.set.is_none() && change.remove.is_none() {
        return true;
    }
    // Where nothing stands, nothing can be said.
    let place = change.set.as_ref().and_then(|text| text.split_once('#'));
    let text = place.and_then(|(record, route)| Some((text_behind(ledger, snapshot, record)?, route)));
    text.is_some_and(|(text, route)| places(&text).numbered_route(route).is_none())
}
