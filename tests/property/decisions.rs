//! Laws of decisions: edits said as changes come to the same edits, and an impact of a decision is the impact of
//! carrying it out.

use super::config;
use super::edits::{apply, edits};
use super::judging::{Seen, close, read, try_load};
use super::programme::{plans, proved};
use bondline::change::carried::carries;
use bondline::change::decide::{DecideError, overlay};
use bondline::change::diff::diff;
use bondline::change::draft::{bare, changes_between};
use bondline::change::rebase::{follow, renew};
use bondline::ledger::{Ledger, MemoryRecall};
use bondline::record::Change;
use bondline::source::Snapshot;
use proptest::prelude::*;

/// A state read both ways.
fn state(texts: std::collections::BTreeMap<String, Vec<u8>>) -> Result<(Snapshot, Ledger), TestCaseError> {
    let refused = |faults: Vec<String>| TestCaseError::reject(format!("refused by the reader: {faults:?}"));
    Ok((Snapshot::in_memory(texts.clone()), read(texts).map_err(refused)?))
}

proptest! {
    #![proptest_config(config(48))]

    #[test]
    fn edits_said_as_changes_come_to_the_same_records(plan in plans(), some in proptest::collection::vec(edits(), 1..4)) {
        let base = proved(&plan);
        let mut head = base.clone();
        for edit in &some {
            if let Some(next) = apply(&head, edit)
                && try_load(&next).is_ok()
            {
                head = next;
            }
        }
        let (old, new) = (state(base.texts())?, state(head.texts())?);
        let edited = changes_between((&old.1, &old.0), (&new.1, &new.0)).unwrap();
        prop_assert_eq!(edited.changes.is_empty(), diff(&old.1, &new.1).changes.is_empty());
        let decision = bare(edited.changes);
        let texts = overlay(&old.1, &old.0, &[&decision]).unwrap();
        let laid = old.0.overlay(texts);
        let decided = Ledger::load(&laid, &MemoryRecall::new());
        prop_assert_eq!(diff(&decided, &new.1).changes, vec![]);
        // What the decision does is what the edits do.
        let (before, after, by_hand) = (Seen::of(old.1), Seen::of(decided), Seen::of(new.1));
        let (one, two) = (before.to(&after), before.to(&by_hand));
        prop_assert!(close(one.mass.1, two.mass.1));
        prop_assert_eq!(&one.duties, &two.duties);
        prop_assert_eq!(&one.ended, &two.ended);
        prop_assert_eq!(&one.changes, &two.changes);
        // And whoever makes those edits carries the decision out.
        if !decision.changes.is_empty() {
            let edits = diff(&before.ledger, &by_hand.ledger);
            let recall = MemoryRecall::new();
            prop_assert!(carries((&before.ledger, &old.0), &edits, &decision, &recall));
        }
    }

    #[test]
    fn changes_that_do_not_touch_each_other_may_come_in_any_order(plan in plans(), first in edits(), second in edits()) {
        let base = proved(&plan);
        let (Some(one), Some(two)) = (apply(&base, &first), apply(&base, &second)) else {
            return Err(TestCaseError::reject("nothing to edit"));
        };
        let (old, one, two) = (state(base.texts())?, state(one.texts())?, state(two.texts())?);
        let changes = |new: &(Snapshot, Ledger)| changes_between((&old.1, &old.0), (&new.1, &new.0)).unwrap().changes;
        let (one, two) = (bare(changes(&one)), bare(changes(&two)));
        let records = |changes: &[Change]| -> Vec<String> {
            let places = changes.iter().flat_map(|own| [&own.set, &own.remove, &own.insert, &own.add, &own.drop]);
            places.flatten().map(|place| place.split('#').next().unwrap_or_default().to_string()).collect()
        };
        let apart = records(&one.changes).iter().all(|own| !records(&two.changes).contains(own));
        prop_assume!(apart && !one.changes.is_empty() && !two.changes.is_empty());
        let laid = |all: &[&bondline::record::Decision]| overlay(&old.1, &old.0, all).unwrap();
        prop_assert_eq!(laid(&[&one, &two]), laid(&[&two, &one]));
    }

    #[test]
    fn a_decision_follows_a_record_that_grew_in_front_of_it(plan in plans(), edit in edits(), more in 1_usize..3) {
        let base = proved(&plan);
        let Some(head) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let (old, new) = (state(base.texts())?, state(head.texts())?);
        let decision = bare(changes_between((&old.1, &old.0), (&new.1, &new.0)).unwrap().changes);
        let place = |change: &Change| change.set.clone().or_else(|| change.remove.clone()).or_else(|| change.insert.clone());
        let in_layers = decision.changes.iter().all(|change| {
            place(change).is_some_and(|place| place.starts_with("recipe/") && place.contains("#layers"))
        });
        // What goes in front of all stays in front of all, films or no films.
        let in_front = decision.changes.iter().any(|own| own.after.as_ref().is_some_and(|at| at.0.as_u64() == Some(0)));
        prop_assume!(in_layers && !in_front && !decision.changes.is_empty());
        // Meanwhile films come in front of all layers of every recipe, in both states alike.
        let grown = |records: &super::programme::Records| {
            let mut records = records.clone();
            for id in records.ids("recipes") {
                let layers = records.record("recipes", &id)["layers"].as_array_mut().unwrap();
                for _ in 0..more {
                    layers.insert(0, serde_json::json!({ "material": "veil-v" }));
                }
            }
            records
        };
        prop_assume!(read(grown(&base).texts()).is_ok() && read(grown(&head).texts()).is_ok());
        let (moved, wanted) = (state(grown(&base).texts())?, state(grown(&head).texts())?);
        let settled = match follow(&decision, (&old.1, &old.0), (&moved.1, &moved.0)) {
            Ok(settled) => settled,
            // Among equals nobody can say which one it was: that is refused, and nothing else is.
            Err(DecideError::Unsure { places, .. }) => {
                prop_assert!(places.len() > 1);
                return Ok(());
            }
            Err(other) => return Err(TestCaseError::fail(other.to_string())),
        };
        let texts = overlay(&moved.1, &moved.0, &[&settled]).unwrap();
        let decided = Ledger::load(&moved.0.overlay(texts), &MemoryRecall::new());
        prop_assert_eq!(diff(&decided, &wanted.1).changes, vec![]);
        // It fits already: there is nothing to renew.
        prop_assert_eq!(renew(&settled, &moved.1, &moved.0).unwrap().changes, settled.changes);
    }
}
