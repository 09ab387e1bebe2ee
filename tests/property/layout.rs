//! Where records stand and in which order they are written plays no part, and edits keep what they do not edit.

use super::config;
use super::edits::{apply, edits};
use super::judging::{Seen, load, read, try_load};
use super::programme::{plans, proved};
use bondline::change::decide::overlay;
use bondline::cli::{Terminal, run};
use bondline::record::Decision;
use bondline::source::Snapshot;
use proptest::prelude::*;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::ffi::OsString;

/// The same value with the keys of every map in another order.
pub(crate) fn turned(value: &Value, by: usize) -> Value {
    match value {
        Value::Object(map) => {
            let mut keys: Vec<&String> = map.keys().collect();
            let count = keys.len().max(1);
            keys.rotate_left(by % count);
            if by % 2 == 1 {
                keys.reverse();
            }
            let turned: Map<String, Value> =
                keys.into_iter().map(|key| (key.clone(), turned(&map[key], by))).collect();
            Value::Object(turned)
        }
        Value::Array(list) => Value::Array(list.iter().map(|value| turned(value, by)).collect()),
        other => other.clone(),
    }
}

/// Lays a decision with these changes over the texts and returns the texts that it leaves.
fn decided(texts: &BTreeMap<String, Vec<u8>>, changes: &Value) -> Result<BTreeMap<String, Vec<u8>>, String> {
    let decision: Decision = serde_yaml::from_str(
        &json!({"title": "x", "status": "proposed", "why": "x", "changes": changes}).to_string(),
    )
    .map_err(|fault| fault.to_string())?;
    let ledger = read(texts.clone()).map_err(|faults| faults.join("\n"))?;
    let laid = overlay(&ledger, &Snapshot::in_memory(texts.clone()), &[&decision])
        .map_err(|fault| fault.to_string())?;
    let mut all = texts.clone();
    for (path, text) in laid {
        match text {
            Some(text) => all.insert(path, text),
            None => all.remove(&path),
        };
    }
    Ok(all)
}

proptest! {
    #![proptest_config(config(32))]

    #[test]
    fn folders_and_the_order_of_keys_are_nothing(plan in plans(), by in 1..9_usize, deep in any::<u64>()) {
        let base = proved(&plan);
        let mut other = base.clone();
        other.values.clear();
        other.conformed.clear();
        other.data.clear();
        for (at, (path, value)) in base.values.iter().enumerate() {
            let moved = match path.split_once('/') {
                // Data stands beside its evidence, so that one stays.
                Some((folder, file)) if deep >> (at % 64) & 1 == 1 && value.get("data").is_none() => {
                    format!("{folder}/some where/{}/{file}", at % 3)
                }
                _ => path.clone(),
            };
            if let Some(block) = base.conformed.get(path) {
                other.conformed.insert(moved.clone(), block.clone());
            }
            other.values.insert(moved, turned(value, by));
        }
        other.data.clone_from(&base.data);
        let before = Seen::of(load(&base));
        let after = Seen::of(try_load(&other).map_err(|faults| TestCaseError::fail(format!("{faults:#?}")))?);
        prop_assert_eq!(&after.evaluation.duties, &before.evaluation.duties);
        prop_assert_eq!(&after.evaluation.assumptions, &before.evaluation.assumptions);
        let found = before.to(&after);
        prop_assert_eq!(found.mass.0, found.mass.1);
        prop_assert!(found.changes.is_empty(), "{:#?}", found.changes);
    }

    /// Lists whose order says nothing, the rows of test data and the names of records of proof, which they are
    /// read in the order of.
    #[test]
    fn lists_without_an_order_have_none(plan in plans(), by in 1..9_usize) {
        let mut base = proved(&plan);
        let ids = base.ids("showings");
        for id in &ids {
            let others: Vec<&String> = ids.iter().filter(|other| *other > id).collect();
            let showing = base.record("showings", id);
            showing["clause"] = json!(["CS 23.2240", "CS 23.2260", "CS 23.2265"]);
            showing["means"] = json!(["MC2", "MC4", "MC5"]);
            showing["applies_to"] = json!({"group": ["closures", "tail", "hull"]});
            showing["after"] = json!(others);
            if others.len() > 1 {
                showing["rests_on"] = json!(others);
            }
        }
        for id in base.ids("panels") {
            base.record("panels", &id)["exposure"]["fluids"] = json!(["fuel", "oil", "water"]);
        }
        // Some rests on nothing that there is a duty of.
        prop_assume!(try_load(&base).is_ok());
        let mut other = base.clone();
        for id in &ids {
            let showing = other.record("showings", id);
            for route in ["/clause", "/means", "/applies_to/group", "/after", "/rests_on"] {
                if let Some(Value::Array(list)) = showing.pointer_mut(route) {
                    let places = list.len().max(1);
                    list.rotate_left(by % places);
                }
            }
        }
        for id in base.ids("panels") {
            other.record("panels", &id)["exposure"]["fluids"] = json!(["water", "oil", "fuel"]);
        }
        for (path, text) in &mut other.data {
            let mut lines: Vec<&str> = text.lines().collect();
            lines[1..].reverse();
            *text = lines.join("\n") + "\n";
            let id = path.trim_start_matches("evidence/data/").trim_end_matches(".csv");
            let record = other.values.get_mut(&format!("evidence/{id}.yaml")).unwrap();
            record.as_object_mut().unwrap().remove("digest");
        }
        // The other way round by name: the last record of proof is the first.
        let turned_name = |id: &str| format!("e-{:02}", 99 - id[2..].parse::<u32>().unwrap());
        for id in base.ids("evidence") {
            let (from, to) = (format!("evidence/{id}.yaml"), format!("evidence/{}.yaml", turned_name(&id)));
            let value = other.values.remove(&from).unwrap();
            let block = other.conformed.remove(&from).unwrap();
            other.values.insert(format!("{to}.new"), value);
            other.conformed.insert(format!("{to}.new"), block);
        }
        let whole = |path: &String| path.trim_end_matches(".new").to_string();
        other.values = other.values.iter().map(|(path, value)| (whole(path), value.clone())).collect();
        other.conformed = other.conformed.iter().map(|(path, block)| (whole(path), block.clone())).collect();
        let before = Seen::of(load(&base));
        let after = Seen::of(try_load(&other).map_err(|faults| TestCaseError::fail(format!("{faults:#?}")))?);
        prop_assert_eq!(after.verdicts(), before.verdicts());
    }

    #[test]
    fn how_a_joint_names_its_sides_is_nothing(plan in plans()) {
        let base = proved(&plan);
        let mut other = base.clone();
        for panel in base.ids("panels") {
            if let Some(joints) = other.record("panels", &panel).get_mut("joints") {
                joints[0]["between"] = json!(["zone 1", "zone 0"]);
            }
        }
        prop_assume!(other != base);
        let (before, after) = (Seen::of(load(&base)), Seen::of(load(&other)));
        prop_assert_eq!(after.verdicts(), before.verdicts());
        prop_assert!(before.to(&after).duties.is_empty());
    }

    #[test]
    fn a_decision_keeps_every_other_byte(plan in plans(), at in any::<usize>(), angle in 0..90_i32) {
        let mut texts = proved(&plan).texts();
        // Text as people write it: remarks, blank lines, no end of line at the end.
        for (at, (path, text)) in texts.iter_mut().enumerate() {
            if path.starts_with("recipes/") {
                let own = String::from_utf8(text.clone()).unwrap();
                let mut own = own.replacen("layers:", "layers:      # from the tool face inward", 1);
                if at % 2 == 0 {
                    own = own.replacen("\nprocess:", "\n\n# how it is cured\nprocess:", 1);
                    own.truncate(own.trim_end().len());
                }
                *text = own.into_bytes();
            }
        }
        let base = load(&proved(&plan));
        let recipes: Vec<_> = base.recipes.values().collect();
        let recipe = recipes[at % recipes.len()];
        let count = recipe.value.layers.len();
        let place = at / 7 % count + 1;
        let route = format!("recipe/{}#layers.{place}", recipe.id);
        let was = json!(recipe.value.layers[place - 1].material.id());
        let to = match was.as_str().unwrap() {
            "cloth-c" => "cloth-g",
            "cloth-g" => "cloth-c",
            "dry-g" => "dry-h",
            "dry-h" => "dry-g",
            "foam-f" => "comb-h",
            "comb-h" => "foam-f",
            _ => return Err(TestCaseError::reject("nothing to put in its place")),
        };
        let to = json!(to);

        // Set and set back.
        let set = |was: &Value, to: &Value| json!([{"set": format!("{route}.material"), "was": was, "to": to}]);
        let there = decided(&texts, &set(&was, &to)).map_err(TestCaseError::fail)?;
        prop_assert_ne!(&there, &texts);
        let back = decided(&there, &set(&to, &was)).map_err(TestCaseError::fail)?;
        prop_assert_eq!(&back, &texts);
        // Only that file, and in it only that line.
        let file = format!("recipes/{}.yaml", recipe.id);
        for (path, text) in &there {
            if *path != file {
                prop_assert_eq!(text, &texts[path]);
            }
        }
        let lines = |texts: &BTreeMap<String, Vec<u8>>| -> Vec<String> {
            String::from_utf8(texts[&file].clone()).unwrap().split('\n').map(str::to_string).collect()
        };
        let differing = lines(&texts).iter().zip(&lines(&there)).filter(|(one, two)| one != two).count();
        prop_assert_eq!((differing, lines(&texts).len()), (1, lines(&there).len()));

        // Insert and take out.
        let list = format!("recipe/{}#layers", recipe.id);
        let entry = json!({"material": "cloth-c", "angle": angle});
        let after = at % (count + 1);
        let longer = decided(&texts, &json!([{"insert": list, "after": after, "entry": entry}])).map_err(TestCaseError::fail)?;
        let shorter = decided(&longer, &json!([{"remove": format!("{list}.{}", after + 1), "was": entry}])).map_err(TestCaseError::fail)?;
        prop_assert_eq!(String::from_utf8(shorter[&file].clone()).unwrap(), String::from_utf8(texts[&file].clone()).unwrap());
        prop_assert_eq!(&shorter, &texts);
    }
}

proptest! {
    #![proptest_config(config(6))]

    #[test]
    fn the_three_states_answer_alike(plan in plans(), edit in edits()) {
        let base = proved(&plan);
        let Some(changed) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        if try_load(&changed).is_err() {
            return Err(TestCaseError::reject("refused by the reader"));
        }
        let bed = crate::git::bed::Bed::new();
        let lay = |texts: BTreeMap<String, Vec<u8>>| {
            texts.into_iter().for_each(|(path, text)| bed.write(&path, &String::from_utf8(text).unwrap()));
        };
        let answer = |arguments: &[&str]| -> Value {
            let start = ["bondline", "--format", "json", "--today", "2026-06-01", "-C", bed.top().to_str().unwrap()];
            let all = start.iter().chain(arguments).map(OsString::from);
            let (mut out, mut err) = (Vec::new(), Vec::new());
            let code = run(all, &mut out, &mut err, Terminal::default());
            assert_eq!((code, String::from_utf8(err).unwrap().as_str()), (0, ""), "{arguments:?}");
            let mut document: Value = serde_json::from_slice(&out).unwrap();
            if let Some(report) = document.get_mut("report").and_then(Value::as_object_mut) {
                report.remove("commit");
            }
            document
        };
        lay(base.texts());
        bed.commit_all("base");
        lay(changed.texts());
        bed.git(&["add", "-A"]);
        let staged = answer(&["impact", "--staged"]);
        let work = answer(&["impact"]);
        bed.commit_all("changed");
        let committed = answer(&["impact", "HEAD~1", "HEAD"]);
        for key in ["changes", "mass", "panels", "duties", "ended", "retest"] {
            prop_assert_eq!(&staged[key], &work[key]);
            prop_assert_eq!(&committed[key], &work[key]);
        }
        for command in [&["gaps", "--all"][..], &["mass"], &["check"], &["assumptions"]] {
            let work = answer(command);
            prop_assert_eq!(&answer(&[command, &["--staged"]].concat()), &work);
            prop_assert_eq!(&answer(&[command, &["--at", "HEAD"]].concat()), &work);
        }
    }
}
