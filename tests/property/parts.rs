//! What the gate says by parts is, byte for byte, what it says of the whole.
//!
//! Programmes of several families that share nothing are committed, and edited in every way that a record can be; the
//! real program judges what is staged with the store and without.

use super::config;
use super::edits::{Edit, apply, edits};
use super::programme::{Plan, Records, design, plans, proved_of};
use super::renames::{REFERENCES, renamed};
use crate::git::bed::{Bed, PROGRAM, Run, TODAY};
use crate::support::layout;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{TestError, TestRunner};
use serde_json::{Value, json};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

type Texts = BTreeMap<String, Vec<u8>>;

/// One step of an author: what is edited in which family, and whether it is committed then.
#[derive(Debug, Clone)]
struct Step {
    way: usize,
    family: usize,
    pick: usize,
    edit: Edit,
    commits: bool,
}

const WAYS: usize = 15;

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let step = (0..WAYS, any::<usize>(), any::<usize>(), edits(), any::<bool>())
        .prop_map(|(way, family, pick, edit, commits)| Step { way, family, pick, edit, commits });
    proptest::collection::vec(step, 3..7)
}

/// A family's records: its showings are asked of its own panels.
fn family(plan: &Plan) -> Records {
    let mut all = design(plan);
    for panel in all.ids("panels") {
        all.record("panels", &panel)["group"] = json!("own");
    }
    for showing in all.ids("showings") {
        let own = all.record("showings", &showing);
        if own.get("applies_to").is_none() {
            own["applies_to"] = json!({});
        }
        own["applies_to"]["group"] = json!("own");
    }
    proved_of(plan, all)
}

/// The texts of a family, with its number before every id of its own.
fn numbered(records: &Records, number: usize) -> Texts {
    let texts = records.texts();
    let stem = |path: &String| path.rsplit('/').next().unwrap().split('.').next().unwrap().to_string();
    let mut ids: BTreeSet<String> = texts.keys().filter(|path| path.contains('/')).map(stem).collect();
    ids.insert("own".to_string());
    let turned = |text: &str| {
        let mut all = String::new();
        let mut word = String::new();
        for letter in text.chars().chain(['\0']) {
            if letter.is_ascii_alphanumeric() || letter == '-' {
                word.push(letter);
                continue;
            }
            let bare = word.trim_start_matches('-');
            if ids.contains(bare) {
                all.push_str(&word[..word.len() - bare.len()]);
                all.push_str(&format!("f{number}-{bare}"));
            } else {
                all.push_str(&word);
            }
            word.clear();
            all.extend((letter != '\0').then_some(letter));
        }
        all
    };
    let text = |(path, bytes): (String, Vec<u8>)| {
        let text = String::from_utf8(bytes).unwrap();
        // What was digested stays.
        let text = if path.ends_with(".csv") { text } else { turned(&text) };
        (if path == "ledger.yaml" { path } else { turned(&path) }, text.into_bytes())
    };
    texts.into_iter().map(text).collect()
}

fn whole(families: &[Records], more: &Texts) -> Texts {
    let mut all = Texts::new();
    for (number, records) in families.iter().enumerate().rev() {
        all.extend(numbered(records, number));
    }
    all.extend(more.clone());
    all
}

fn picked(ids: &[String], pick: usize) -> Option<&String> {
    ids.get(pick.checked_rem(ids.len())?)
}

/// Edits one family; `None` where there is nothing to edit.
fn edited(families: &mut [Records], more: &mut Texts, step: &Step) -> Option<()> {
    let count = families.len();
    let at = step.family % count;
    let own = &mut families[at];
    let pick = |folder: &str| picked(&own.ids(folder), step.pick).cloned();
    match step.way {
        0 | 1 => *own = apply(own, &step.edit)?,
        2 => {
            let panel = pick("panels")?;
            let released = own.record("panels", &panel)["released"] == true;
            own.record("panels", &panel)["released"] = json!(!released);
        }
        3 => {
            let (folder, _) = REFERENCES[step.pick % 8];
            let id = pick(folder)?;
            // Their subjects are labels that the renaming does not know.
            let (conceded, rest) =
                own.values.clone().into_iter().partition(|(path, _)| path.starts_with("concessions/"));
            own.values = rest;
            *own = renamed(own, folder, &id, "zz-one");
            own.values.extend::<BTreeMap<String, Value>>(conceded);
        }
        4 => {
            let id = pick("evidence")?;
            own.values.remove(&format!("evidence/{id}.yaml"));
            own.conformed.remove(&format!("evidence/{id}.yaml"));
        }
        5 => {
            let id = pick("evidence")?;
            let value = own.record("evidence", &id).clone();
            let block = own.conformed.get(&format!("evidence/{id}.yaml"))?.clone();
            own.put("evidence", "e-again", value);
            own.conformed.insert("evidence/e-again.yaml".to_string(), block);
        }
        6 => {
            let value = own.record("evidence", &pick("evidence")?).clone();
            let concession = json!({
                "showing": value["showing"], "subject": value["subject"], "reason": "invented", "covers": "failed",
                "limit": 2, "until": "2027-06-01",
            });
            own.put("concessions", &format!("c-{}", step.pick % 3), concession);
        }
        7 => {
            *own = apply(own, &step.edit)?;
            let other = &mut families[(at + 1) % count];
            *other = apply(other, &step.edit)?;
        }
        8 => {
            let texts = whole(families, more);
            let paths: Vec<&String> = texts.keys().collect();
            let path = paths[step.pick % paths.len()].clone();
            let mut text = texts[&path].clone();
            let from = step.pick % text.len();
            text.drain(from..(from + 1 + step.pick % 7).min(text.len()));
            more.insert(path, text);
        }
        9 => {
            let value = own.record("panels", &pick("panels")?).clone();
            own.put("panels", "p-again", value);
        }
        10 => {
            let own = own.record("showings", &pick("showings")?);
            own["title"] = json!("Another title");
            if step.pick.is_multiple_of(3) {
                own["needed_by"] = json!("type-approval");
            }
        }
        11 => {
            // A panel is laid up by another family's recipe: the two are one part from now on.
            let other = (at + 1) % count;
            let recipe = picked(&families[other].ids("recipes"), step.pick)?.clone();
            let panel = picked(&families[at].ids("panels"), step.pick)?.clone();
            families[at].record("panels", &panel)["zones"][0]["recipe"] = json!(format!("f{other}-{recipe}"));
        }
        12 => {
            let mut value = own.record("showings", &pick("showings")?).clone();
            if step.pick.is_multiple_of(2) {
                value.as_object_mut()?.remove("applies_to");
            }
            own.put("showings", "s-again", value);
        }
        13 => {
            let paths: Vec<String> = own.data.keys().cloned().collect();
            let path = picked(&paths, step.pick)?;
            let text = own.data.get_mut(path)?;
            *text = text.replacen("60", "61", 1);
        }
        _ => {
            // The panel of another group is asked by other showings.
            let panel = pick("panels")?;
            let group = if step.pick.is_multiple_of(2) {
                format!("f{}-own", (at + 1) % count)
            } else {
                "none".to_string()
            };
            own.record("panels", &panel)["group"] = json!(group);
        }
    }
    Some(())
}

fn lay(bed: &Bed, before: &Texts, texts: &Texts) {
    for path in before.keys().filter(|path| !texts.contains_key(*path)) {
        std::fs::remove_file(bed.top().join(path)).unwrap();
    }
    for (path, text) in texts.iter().filter(|(path, text)| before.get(*path) != Some(text)) {
        layout::write(&bed.top().join(path), text);
    }
    layout::stage(bed.top());
}

/// What the gate says, and how it came by it.
fn gate(bed: &Bed, more: &[&str]) -> (Run, String) {
    let mut command = bed.command(PROGRAM, bed.top());
    command.args(["--today", TODAY, "--format", "json", "hook", "run"]).args(more).env("BONDLINE_WORK", "1");
    let run = Run::of(&command.output().unwrap());
    let mut works = run.err.lines().filter_map(|line| line.strip_prefix("work: "));
    // What was read comes before how it was judged.
    let work = works.find(|work| !work.contains("records parsed and")).unwrap_or_default().to_string();
    (run, work)
}

#[test]
fn by_parts_the_gate_says_what_it_says_of_the_whole() {
    let strategy = (proptest::collection::vec(plans(), 4..6), steps(), any::<(bool, bool)>());
    let ways: RefCell<BTreeMap<String, usize>> = RefCell::default();
    let mut runner = TestRunner::new(config(14));
    let found = runner.run(&strategy, |(plans, steps, (budgets, block))| {
        let mut families: Vec<Records> = plans.iter().map(family).collect();
        let head = families[0].values.get_mut("ledger.yaml").unwrap();
        if budgets {
            head["budgets"] = json!({"f0-own": "1 g", "f1-own": "900 kg"});
        }
        if block {
            head["policy"] =
                json!({"over-budget": "block", "lapsed-evidence": "block", "unqualified-recipe": "warn"});
        }
        // Budgets of assemblies: one by the name of a group, over and the group's double, and one by a name of its own.
        for (own, (name, budget)) in families.iter_mut().zip([("own", "1 g"), ("whole", "2 g")]) {
            let children: Vec<Value> = own
                .values
                .keys()
                .filter_map(|path| path.strip_prefix("panels/")?.strip_suffix(".yaml"))
                .map(|panel| json!({ "panel": panel }))
                .collect();
            if budgets && !children.is_empty() {
                let assembly = json!({ "budget": budget, "children": children });
                own.values.insert(format!("assemblies/{name}.yaml"), assembly);
            }
        }
        let mut more = Texts::new();
        let bed = Bed::bare_folder();
        layout::init(bed.top());
        let mut texts = whole(&families, &more);
        lay(&bed, &Texts::new(), &texts);
        layout::commit(bed.top(), "first");
        // Nothing is staged yet.
        for _ in 0..2 {
            prop_assert_eq!(&gate(&bed, &[]).0.out, &gate(&bed, &["--no-store"]).0.out);
        }
        for step in &steps {
            let kept = (families.clone(), more.clone());
            if edited(&mut families, &mut more, step).is_none() {
                (families, more) = kept;
                continue;
            }
            let next = whole(&families, &more);
            lay(&bed, &texts, &next);
            texts = next;
            let (alone, _) = gate(&bed, &["--no-store"]);
            for _ in 0..2 {
                let (run, work) = gate(&bed, &[]);
                prop_assert_eq!(&run.out, &alone.out, "way {}: {}", step.way, work);
                prop_assert_eq!(run.code, alone.code);
                let words = match work.split_once(", as ") {
                    Some((_, why)) => why,
                    None => work.split(',').next().unwrap_or_default(),
                };
                let words = words.to_string();
                *ways.borrow_mut().entry(words).or_default() += 1;
            }
            let verified = bed.bondline(&["--format", "json", "store", "verify"]).json();
            prop_assert_eq!(&verified["verified"]["differing"], &json!([]), "way {}", step.way);
            if step.commits {
                layout::commit(bed.top(), "next");
            }
        }
        Ok(())
    });
    if let Err(TestError::Fail(why, (_, steps, more))) = found {
        let steps: Vec<String> = steps.iter().map(|step| format!("{step:?}")).collect();
        panic!("{why}\n{more:?}\n{}", steps.join("\n"));
    }
    let ways = ways.into_inner();
    let by_parts = ways.get("judged by parts").copied().unwrap_or_default();
    assert!(by_parts >= 20, "{ways:#?}");
    assert!(ways.len() >= 5, "{ways:#?}");
    eprintln!("{ways:#?}");
}

/// How many records are parsed for a change of three does not grow with the ledger.
#[test]
fn a_change_of_three_records_parses_as_many_whatever_the_size_of_the_ledger() {
    let strategy = proptest::collection::vec(plans(), 12);
    let plans: Vec<Plan> = strategy.new_tree(&mut TestRunner::new(config(1))).unwrap().current();
    let parsed = |count: usize| -> (usize, usize) {
        let mut families: Vec<Records> = plans.iter().take(count).map(family).collect();
        let bed = Bed::bare_folder();
        layout::init(bed.top());
        let texts = whole(&families, &Texts::new());
        lay(&bed, &Texts::new(), &texts);
        layout::commit(bed.top(), "first");
        gate(&bed, &[]);
        for folder in ["materials", "processes", "panels"] {
            let id = families[1].ids(folder)[0].clone();
            families[1].record(folder, &id)["title"] = Value::from("Another title");
        }
        lay(&bed, &texts, &whole(&families, &Texts::new()));
        let (run, work) = gate(&bed, &[]);
        assert_eq!(run.out, gate(&bed, &["--no-store"]).0.out);
        assert!(work.starts_with("judged by parts"), "{work}");
        let number = work.split(' ').rev().nth(2).unwrap().parse().unwrap();
        (number, texts.keys().filter(|path| path.ends_with(".yaml")).count())
    };
    let (few, small) = parsed(4);
    let (as_few, large) = parsed(12);
    assert_eq!(few, as_few);
    assert!(large > 2 * small && few < small, "{few} of {small} and {large}");
}
