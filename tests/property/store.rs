//! What was kept of earlier answers never shows in a later one.

use super::config;
use super::edits::{apply, edits};
use super::programme::{Records, plans, proved};
use super::renames::{REFERENCES, renamed};
use crate::support::{Bench, layout};
use bondline::record::{Address, RecordKind};
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

/// Lays a programme into a repository of its own, as its first commit.
fn committed(bench: &Bench, records: &Records) -> BTreeMap<String, Vec<u8>> {
    let texts = records.texts();
    lay(bench, &BTreeMap::new(), &texts);
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "first");
    texts
}

/// What a question is answered without the store is what it is answered with it, the first time and the second.
fn ask(bench: &Bench, question: &[&str]) -> Result<(), TestCaseError> {
    let without = bench.run(&[question, &["--no-store"]].concat());
    prop_assert_eq!(&bench.run(question), &without, "the first time, {:?}", question);
    prop_assert_eq!(&bench.run(question), &without, "the second time, {:?}", question);
    Ok(())
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
        let mut texts = committed(&bench, &records);
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
                ask(&bench, question)?;
            }
        }
        let verified = bench.run(&["store", "verify", "--format", "json"]).json();
        prop_assert_eq!(&verified["verified"]["differing"], &serde_json::json!([]));
    }
}

/// A record of the programme: its folder, its id, and the address that `history` is asked for.
fn one_of(records: &Records, pick: usize) -> (String, String, String) {
    let paths: Vec<&String> = records.values.keys().filter(|path| path.contains('/')).collect();
    let (folder, file) = paths[pick % paths.len()].split_once('/').unwrap();
    let kind = RecordKind::ALL.iter().find(|kind| kind.folder() == folder).unwrap();
    let id = file.strip_suffix(".yaml").unwrap();
    (folder.to_string(), id.to_string(), Address::new(*kind, id).to_string())
}

proptest! {
    #![proptest_config(config(5))]

    #[test]
    fn history_says_the_same_with_the_store_and_without(
        plan in plans(),
        steps in proptest::collection::vec((edits(), any::<(usize, usize)>(), 0..8_usize), 2..5),
        asked in any::<(usize, usize)>(),
    ) {
        let bench = Bench::new();
        let mut records = proved(&plan);
        let mut texts = committed(&bench, &records);
        let (_, _, first) = one_of(&records, asked.0);
        prop_assert_eq!(bench.run(&["history", "group/closures"]).code, 0);
        for (number, (edit, (pick, at), then)) in steps.into_iter().enumerate() {
            let (folder, id, _) = one_of(&records, pick);
            let mut next = texts.clone();
            match then {
                0 => next = broken(&records, pick, at),
                // Gone for as long as nothing else is committed: what refers to it dangles.
                1 => { next.remove(&format!("{folder}/{id}.yaml")); }
                2 | 3 if REFERENCES.iter().any(|(name, _)| *name == folder) => {
                    records = renamed(&records, &folder, &id, &format!("{id}-n{number}"));
                    next = records.texts();
                }
                _ => if let Some(changed) = apply(&records, &edit) {
                    records = changed;
                    next = records.texts();
                },
            }
            lay(&bench, &texts, &next);
            texts = next;
            layout::commit(&bench.ledger(), "next");
            let (_, _, now) = one_of(&records, asked.1);
            let group = ["group/closures", "group/tail"][number % 2];
            for question in [
                &["history", group, "--format", "json"][..],
                &["history", &now, "--commits", "2", "--format", "json"],
                &["history", &now, "--all"],
                &["history", &first, "--format", "json"],
            ] {
                ask(&bench, question)?;
            }
        }
        let verified = bench.run(&["store", "verify", "--format", "json"]).json();
        prop_assert!(verified["verified"]["same"].as_u64() > Some(0), "{}", verified);
        prop_assert_eq!(&verified["verified"]["differing"], &serde_json::json!([]));
    }
}
