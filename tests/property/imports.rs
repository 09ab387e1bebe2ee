//! Records taken from another ledger count as if they stood in this one.

use crate::git::bed::Bed;
use crate::property::config;
use crate::property::judging::{Seen, Verdicts, close, load};
use crate::property::programme::{Records, plans, proved};
use bondline::article::weigh::{Scope, statement};
use bondline::ledger::{Ledger, MemoryRecall};
use bondline::record::Level;
use bondline::source::Place;
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeSet;

/// Folders of what can be taken.
const KINDS: [&str; 7] = ["materials", "processes", "tools", "finishes", "recipes", "showings", "evidence"];

/// The ids of a folder that another ledger may have: what is said of a panel stays with the panel.
fn movable(records: &Records, folder: &str) -> Vec<String> {
    let about_panels = |id: &String| {
        let value = &records.values[&format!("{folder}/{id}.yaml")];
        !value["subject"]["panel"].is_null() || !value["applies_to"]["panel"].is_null()
    };
    let mut all = records.ids(folder);
    // Either all showings or none: their order is part of what some of them say.
    if folder == "showings" && all.iter().any(about_panels) {
        return Vec::new();
    }
    all.retain(|id| !about_panels(id));
    all
}

/// Gives every text that is one of the ids the name that it has here.
fn rename(value: &mut Value, ids: &BTreeSet<String>) {
    match value {
        Value::String(text) => {
            let (face, id) = match text.split_once('.') {
                Some((face @ ("laminate" | "sheet"), id)) => (format!("{face}."), id),
                _ => (String::new(), text.as_str()),
            };
            if ids.contains(id) {
                *text = format!("{face}lib:{id}");
            }
        }
        Value::Array(all) => all.iter_mut().for_each(|one| rename(one, ids)),
        Value::Object(all) => all.values_mut().for_each(|one| rename(one, ids)),
        _ => {}
    }
}

/// Lays a programme as two repositories, the folders of `kinds` in the other one, and reads it.
fn imported(bed: &Bed, records: &Records, kinds: u8) -> Ledger {
    let moved: Vec<&str> =
        KINDS.iter().enumerate().filter(|(at, _)| kinds >> at & 1 == 1).map(|(_, kind)| *kind).collect();
    let (mut own, mut other) = (records.clone(), records.clone());
    let mut ids = BTreeSet::new();
    for folder in &moved {
        ids.extend(movable(records, folder));
    }
    let is_moved = |path: &str| {
        path.split_once('/').is_some_and(|(folder, name)| {
            moved.contains(&folder) && ids.contains(name.trim_end_matches(".yaml"))
        })
    };
    own.values.retain(|path, _| !is_moved(path));
    own.conformed.retain(|path, _| !is_moved(path));
    own.values.values_mut().for_each(|value| rename(value, &ids));
    other.values.retain(|path, _| is_moved(path) || path == "ledger.yaml");
    other.conformed.retain(|path, _| is_moved(path));
    let shared = bed.beside("lib");
    std::fs::create_dir_all(&shared).unwrap();
    let git = |arguments: &[&str]| assert_eq!(bed.git_at(&shared, arguments).code, Some(0), "{arguments:?}");
    git(&["init", "-q", "-b", "main", "--template="]);
    for (path, text) in other.texts() {
        let path = shared.join(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }
    git(&["add", "-A"]);
    git(&["commit", "-q", "--no-verify", "-m", "shared"]);
    let commit = bed.git_at(&shared, &["rev-parse", "HEAD"]).out.trim().to_string();
    // Only the commit counts: its work tree may be anything.
    for folder in KINDS {
        let _ = std::fs::remove_dir_all(shared.join(folder));
    }
    own.values.get_mut("ledger.yaml").unwrap()["imports"] =
        serde_json::json!([{"name": "lib", "path": "../lib", "commit": commit}]);
    for (path, text) in own.texts() {
        bed.write(&path, &String::from_utf8(text).unwrap());
    }
    let snapshot = Place::find(bed.top()).unwrap().work_tree().unwrap();
    let ledger = Ledger::load(&snapshot, &MemoryRecall::new());
    let faults: Vec<_> = ledger.faults.iter().filter(|fault| fault.level == Level::Error).collect();
    assert!(faults.is_empty(), "{moved:?}: {faults:#?}");
    ledger
}

/// Verdicts by names without that of the import.
fn bare(verdicts: Verdicts) -> Verdicts {
    verdicts.into_iter().map(|(duty, verdict)| (duty.replace("lib:", ""), verdict)).collect()
}

proptest! {
    #![proptest_config(config(24))]

    #[test]
    fn what_is_imported_counts_as_what_is_written_here(plan in plans(), kinds in 1..128_u8) {
        let records = proved(&plan);
        let whole = Seen::of(load(&records));
        let bed = Bed::new();
        let apart = Seen::of(imported(&bed, &records, kinds));
        prop_assert_eq!(bare(apart.verdicts()), whole.verdicts());
        let mass = |seen: &Seen| statement(&seen.ledger, Scope::Programme).unwrap().total.kg;
        prop_assert!(close(mass(&apart), mass(&whole)));
        prop_assert_eq!(apart.evaluation.assumptions.len(), whole.evaluation.assumptions.len());
    }
}

#[test]
fn something_is_imported_and_met() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::new(config(12));
    let (mut met, mut evidence) = (0, 0);
    for _ in 0..12 {
        let plan = plans().new_tree(&mut runner).unwrap().current();
        let seen = Seen::of(imported(&Bed::new(), &proved(&plan), 127));
        evidence += seen.ledger.evidence.keys().filter(|id| id.starts_with("lib:")).count();
        let own = |verdict: &bondline::qualify::verdict::Verdict| format!("{verdict:?}") == "Met";
        met += seen
            .verdicts()
            .iter()
            .filter(|(duty, own_verdict)| duty.contains("lib:") && own(&own_verdict.0))
            .count();
    }
    assert!(evidence > 20 && met > 10, "{evidence} pieces of evidence, {met} duties met");
}
