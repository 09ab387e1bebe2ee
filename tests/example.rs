//! The example project: whole, sound, and equal to the end of its own history.

use crate::support::{Bench, files, root};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fs;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Step {
    #[allow(dead_code, reason = "the test reads it only to hold its form")]
    date: String,
    message: String,
    #[serde(default)]
    removed: Vec<String>,
}

#[test]
fn the_last_step_of_the_history_is_the_example() {
    let top = root().join("example-project");
    let history = top.join("history");
    let mut steps: Vec<_> = fs::read_dir(&history).unwrap().map(|step| step.unwrap().path()).collect();
    steps.sort();
    assert!(steps.len() > 5);
    let mut laid: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    for step in &steps {
        let about: Step = serde_yaml::from_slice(&fs::read(step.join("step.yaml")).unwrap()).unwrap();
        assert!(!about.message.is_empty());
        for file in files(step).into_iter().filter(|file| file != "step.yaml") {
            let bytes = fs::read(step.join(&file)).unwrap();
            // Whole files that differ: one that does not is noise in the history.
            assert_ne!(laid.get(&file), Some(&bytes), "{}: {file} is as it was", step.display());
            laid.insert(file, bytes);
        }
        for file in about.removed {
            assert!(laid.remove(&file).is_some(), "{}: {file} was not there", step.display());
        }
    }
    let now: BTreeMap<String, Vec<u8>> = files(&top)
        .into_iter()
        .filter(|file| !file.starts_with("history/"))
        .map(|file| (file.clone(), fs::read(top.join(&file)).unwrap()))
        .collect();
    let names = |map: &BTreeMap<String, Vec<u8>>| map.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&laid), names(&now));
    for (file, bytes) in &now {
        assert_eq!(laid.get(file), Some(bytes), "{file} differs");
    }
}

#[test]
fn the_example_has_no_faults() {
    // The last of its readings are taken in November.
    let answer = Bench::example().run(&["check", "--notes", "--today", "2026-12-01"]);
    assert_eq!((answer.code, answer.out.as_str(), answer.err.as_str()), (0, "no faults\n", ""));
}

#[test]
fn every_step_of_the_history_can_be_read() {
    let bench = Bench::new();
    let there = bench.ledger().join("x").display().to_string();
    assert_eq!(bench.run(&["new", "x", "--example", "-C", &bench.ledger().display().to_string()]).code, 0);
    for back in 0..14 {
        let at = format!("HEAD~{back}");
        let answer = bench.run(&["-C", &there, "check", "--at", &at]);
        assert!(!answer.out.contains("error["), "{at}: {}", answer.out);
        assert_eq!(answer.code, 0, "{at}: {}{}", answer.out, answer.err);
    }
}
