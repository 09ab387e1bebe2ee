//! What was kept of earlier answers never shows in a later one.

use super::config;
use super::edits::{apply, edits};
use super::programme::{Records, plans, proved};
use crate::support::{Bench, layout};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// Lays a state over the one before it, so that what is the same keeps its look.
fn lay(bench: &Bench, before: &BTreeMap<String, Vec<u8>>, texts: &BTreeMap<String, Vec<u8>>) {
    for path in before.keys().filter(|path| !texts.contains_key(*path)) {
        std::fs::remove_file(bench.ledger().join(path)).unwrap();
    }
    for (path, text) in texts.iter().filter(|(path, text)| before.get(*path) != Some(text)) {
        layout::write(&bench.ledger().join(path), text);
    }
}

/// Takes a stretch out of some file: most often that is a fault, and then one of several kinds.
fn broken(records: &Records, pick: usize, at: usize) -> BTreeMap<String, Vec<u8>> {
    let mut texts = records.texts();
    let paths: Vec<String> = texts.keys().cloned().collect();
    let text = texts.get_mut(&paths[pick % paths.len()]).unwrap();
    let from = at % text.len();
    text.drain(from..(from + 1 + at % 7).min(text.len()));
    texts
}

proptest! {
    #![proptest_config(config(12))]

    #[test]
    fn check_says_the_same_with_the_store_and_without(
        plan in plans(), steps in proptest::collection::vec((edits(), any::<(usize, usize)>(), 0..6_usize), 2..6),
    ) {
        let bench = Bench::new();
        let mut records = proved(&plan);
        let mut texts = records.texts();
        lay(&bench, &BTreeMap::new(), &texts);
        layout::init(&bench.ledger());
        layout::commit(&bench.ledger(), "first");
        for (edit, (pick, at), then) in steps {
            let mut next = texts.clone();
            match then {
                0 | 1 => next = broken(&records, pick, at),
                2 => {}
                _ => if let Some(changed) = apply(&records, &edit) {
                    records = changed;
                    next = records.texts();
                },
            }
            lay(&bench, &texts, &next);
            texts = next;
            match then {
                3 => layout::stage(&bench.ledger()),
                4 => layout::commit(&bench.ledger(), "next"),
                _ => {}
            }
            for question in [&["check", "--notes"][..], &["check", "--staged", "--format", "json"], &["check", "--at", "HEAD"], &["gaps", "--all", "--format", "json"], &["impact"], &["mass", "--staged"], &["history"]] {
                let without = bench.run(&[question, &["--no-store"]].concat());
                prop_assert_eq!(&bench.run(question), &without, "the first time, {:?}", question);
                prop_assert_eq!(&bench.run(question), &without, "the second time, {:?}", question);
            }
        }
        let verified = bench.run(&["store", "verify", "--format", "json"]).json();
        prop_assert_eq!(&verified["verified"]["differing"], &serde_json::json!([]));
    }
}
