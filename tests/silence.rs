//! No silence that nobody meant: every attribute of every kind of record in the example is changed once, and
//! what answers is held in `tests/silence/attributes.txt`, for a person to read.
//!
//! `UPDATE_GOLDEN=1 cargo test silence` writes the file. A line that moves to "asks nothing" is read twice.

use crate::support::{files, root};
use bondline::change::impact::{Impact, impact_of};
use bondline::ledger::{Ledger, MemoryRecall};
use bondline::qualify::judge::Detail;
use bondline::qualify::verdict::{Evaluation, evaluate_beside, evaluate_with};
use bondline::record::{Day, Level, edit};
use bondline::source::Snapshot;
use rayon::prelude::*;
use serde_yaml::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;

type Texts = BTreeMap<String, Vec<u8>>;

fn example() -> Texts {
    let top = root().join("example-project");
    files(&top)
        .into_iter()
        .filter(|file| !file.starts_with("history/"))
        .map(|file| {
            let bytes = fs::read(top.join(&file)).unwrap();
            (file, bytes)
        })
        .collect()
}

/// Every scalar of a record: its route, and the value.
fn leaves(value: &Value, route: &str, into: &mut Vec<(String, Value)>) {
    let below = |key: &str| if route.is_empty() { key.to_string() } else { format!("{route}.{key}") };
    match value {
        Value::Mapping(map) => {
            for (key, inner) in map {
                leaves(inner, &below(key.as_str().unwrap_or("?")), into);
            }
        }
        Value::Sequence(all) if all.iter().any(|one| one.is_mapping() || one.is_sequence()) => {
            for (at, inner) in all.iter().enumerate() {
                leaves(inner, &below(&(at + 1).to_string()), into);
            }
        }
        other => into.push((route.to_string(), other.clone())),
    }
}

/// The route without places in lists; keys that people choose are written as `*`.
fn attribute(route: &str) -> String {
    let parts: Vec<&str> = route.split('.').collect();
    let chosen = ["budgets", "covers", "measured", "policy", "sensitivity"];
    if let Some(at) = parts.iter().position(|part| chosen.contains(part)) {
        // Some of those keys hold dots themselves.
        return format!("{}.*", parts[..=at].join("."));
    }
    parts.into_iter().filter(|part| part.parse::<usize>().is_err()).collect::<Vec<_>>().join(".")
}

/// Other values to try in place of one, the likeliest first.
fn others(value: &Value, same_place: &BTreeSet<String>) -> Vec<Value> {
    let text = match value {
        Value::Bool(set) => return vec![Value::from(!set)],
        Value::Number(number) => {
            let number = number.as_f64().unwrap();
            return vec![Value::from(number + 1.0), Value::from(number * 0.5)];
        }
        Value::String(text) => text.clone(),
        Value::Sequence(all) => {
            let longer: Vec<Value> = all.iter().cloned().chain([Value::from("another")]).collect();
            return vec![Value::from(all[..all.len().saturating_sub(1)].to_vec()), Value::from(longer)];
        }
        _ => return Vec::new(),
    };
    let mut all = Vec::new();
    let end = text.find(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | '-')).unwrap_or(text.len());
    if let Ok(number) = text[..end].parse::<f64>() {
        for factor in [1.3, 0.7, 1.02] {
            all.push(Value::from(format!("{}{}", (number * factor * 1e6).round() / 1e6, &text[end..])));
        }
        // A tolerance may forbid it, and a day is no quantity.
        all.push(Value::from(format!(
            "{}{}",
            number + 1.0,
            text[end..].split("+/-").next().unwrap().trim_end()
        )));
        if text.len() == 10 && text.matches('-').count() == 2 {
            all.insert(0, Value::from(format!("{}-01", &text[..7])));
            all.insert(1, Value::from(format!("{}-02", &text[..7])));
        }
    }
    // What stands elsewhere in such a place is a value that it may have.
    all.extend(same_place.iter().filter(|other| **other != text).map(|other| Value::from(other.as_str())));
    for word in [
        "bay", "outdoor", "2B", "1A", "proof", "both", "glass", "plain", "infusion", "sealing", "single",
        "trial",
    ] {
        all.push(Value::from(word));
    }
    all.push(Value::from(format!("{text} of another kind")));
    all.push(Value::from(format!("{text}-x")));
    all
}

struct Bed {
    texts: Texts,
    recall: MemoryRecall,
    ledger: Ledger,
    evaluation: Evaluation,
    today: Day,
}

impl Bed {
    fn new() -> Self {
        let (texts, recall, today) = (example(), MemoryRecall::new(), Day::parse("2026-11-25").unwrap());
        let ledger = Ledger::load(&Snapshot::in_memory(texts.clone()), &recall);
        assert!(ledger.faults.iter().all(|fault| fault.level < Level::Error));
        let evaluation = evaluate_with(&ledger, today, Detail::Allowed).unwrap();
        Self { texts, recall, ledger, evaluation, today }
    }

    /// The ledger with one text changed; `None` where that is a fault.
    fn with(&self, file: &str, text: String) -> Option<Ledger> {
        let edits = BTreeMap::from([(file.to_string(), Some(text.into_bytes()))]);
        let snapshot = Snapshot::in_memory(self.texts.clone()).overlay(edits);
        let ledger = Ledger::load(&snapshot, &self.recall);
        ledger.faults.iter().all(|fault| fault.level < Level::Error).then_some(ledger)
    }

    /// What the change of one value comes to.
    fn change(&self, file: &str, text: &str, route: &str, others: &[Value]) -> Option<(Impact, Evaluation)> {
        others.iter().find_map(|other| {
            let changed = edit::set(text, route, other).ok().filter(|changed| changed != text)?;
            let ledger = self.with(file, changed)?;
            let after = evaluate_beside(&ledger, self.today, &self.evaluation).ok()?;
            let found = impact_of((&self.ledger, "a"), &self.evaluation, (&ledger, "b"), &after).ok()?;
            // A number that is rounded away is no change.
            (!found.changes.is_empty()).then_some((found, after))
        })
    }
}

/// What answers the change of an attribute: duties, a rule that lets it pass, mass alone, or nothing.
fn answer(bed: &Bed, found: &Impact, after: &Evaluation) -> (String, &'static str) {
    let facets: BTreeSet<&str> = found.changes.iter().filter_map(|change| change.facet.as_deref()).collect();
    let facet = facets.into_iter().collect::<Vec<_>>().join("+");
    let moved = !found.duties.is_empty() || !found.ended.is_empty() || !found.panel_rows.is_empty();
    let weighs = (found.mass.0 - found.mass.1).abs() > 1e-9;
    // Rules that let it pass now and had nothing to let pass before.
    let passes = after.duties.iter().any(|(key, duty)| {
        let before = bed.evaluation.duties.get(key);
        duty.panels.iter().any(|(panel, judged)| {
            let old = before.and_then(|before| before.panels.get(panel));
            judged.allowed.iter().chain(&judged.because).chain(&judged.own).chain(&judged.nearest).any(
                |reason| {
                    !old.is_some_and(|old| {
                        old.allowed.iter().chain(&old.because).chain(&old.own).chain(&old.nearest).any(
                            |known| {
                                (&known.attribute, &known.was, &known.is)
                                    == (&reason.attribute, &reason.was, &reason.is)
                            },
                        )
                    })
                },
            )
        })
    });
    let said = match (moved, passes, weighs) {
        (true, ..) => "duties answer",
        (false, true, _) => "a rule lets it pass",
        (false, false, true) => "mass alone",
        (false, false, false) => "asks nothing",
    };
    (facet, said)
}

#[test]
fn every_attribute_is_answered_or_known_to_ask_nothing() {
    let bed = Bed::new();
    // Routes by kind, sort and attribute; the values that stand in such places.
    type Place = (String, String, Value);
    let mut places: BTreeMap<(String, String), Vec<Place>> = BTreeMap::new();
    for (file, bytes) in bed.texts.iter().filter(|(file, _)| file.ends_with(".yaml")) {
        let value: Value = serde_yaml::from_slice(bytes).unwrap();
        let folder = file.split('/').next().unwrap().trim_end_matches(".yaml");
        let sort = match value.get("kind").and_then(Value::as_str) {
            Some(kind) if folder == "materials" => format!("{folder} {kind}"),
            _ => folder.to_string(),
        };
        let mut all = Vec::new();
        leaves(&value, "", &mut all);
        for (route, leaf) in all {
            // What finished evidence was made of is held by the gate.
            if route.starts_with("conformed") || route == "digest" {
                continue;
            }
            places.entry((sort.clone(), attribute(&route))).or_default().push((file.clone(), route, leaf));
        }
    }
    let lines: Vec<(String, String, &str)> = places
        .par_iter()
        .map(|((sort, attribute), all)| {
            let values: BTreeSet<String> =
                all.iter().filter_map(|(.., leaf)| leaf.as_str().map(str::to_string)).take(12).collect();
            // The place that answers most speaks: elsewhere nobody may use the record.
            let mut best: Option<(String, &str)> = None;
            for (file, route, leaf) in all.iter().take(10) {
                let text = std::str::from_utf8(&bed.texts[file]).unwrap();
                let Some((found, after)) = bed.change(file, text, route, &others(leaf, &values)) else {
                    continue;
                };
                let (facet, said) = answer(&bed, &found, &after);
                let order = ["duties answer", "a rule lets it pass", "mass alone", "asks nothing"];
                let rank = |said: &str| order.iter().position(|one| *one == said);
                if best.as_ref().is_none_or(|(_, known)| rank(said) < rank(known)) {
                    let done = said == "duties answer";
                    best = Some((facet, said));
                    if done {
                        break;
                    }
                }
            }
            let (facet, said) = best.unwrap_or((String::new(), "no other value could be laid"));
            (format!("{sort}: {attribute}"), facet, said)
        })
        .collect();
    // What counts in a facet is answered.
    let unanswered: Vec<String> = lines
        .iter()
        .filter(|(_, facet, said)| {
            !facet.is_empty() && !matches!(*said, "duties answer" | "a rule lets it pass")
        })
        .map(|(attribute, facet, said)| format!("{attribute} counts in {facet}: {said}"))
        .collect();
    assert!(unanswered.is_empty(), "nothing answers: {unanswered:#?}");
    let mut text = String::from(
        "What answers when one attribute of the invented example is changed, and the facet that it counts in.\n",
    );
    for said in
        ["duties answer", "a rule lets it pass", "mass alone", "asks nothing", "no other value could be laid"]
    {
        text.push_str(&format!("\n## {said}\n"));
        for (attribute, facet, _) in lines.iter().filter(|(.., own)| *own == said) {
            let facet = if facet.is_empty() { String::new() } else { format!(" [{facet}]") };
            text.push_str(&format!("{attribute}{facet}\n"));
        }
    }
    let held = root().join("tests/silence/attributes.txt");
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        fs::create_dir_all(held.parent().unwrap()).unwrap();
        fs::write(&held, &text).unwrap();
    }
    let known = fs::read_to_string(&held).unwrap_or_default();
    assert!(known == text, "tests/silence/attributes.txt does not say this:\n{text}");
}
