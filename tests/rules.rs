//! Every rule that the program can name has a golden case in which it does.

use crate::golden::cases;
use crate::support::{files, root};
use bondline::record::Level;
use bondline::report::rules::rule;
use std::collections::BTreeMap;
use std::fs;

/// Rules that no input is known to raise, each with the reason that it stays in the source.
const UNREACHED: [(&str, &str); 2] = [
    (
        "unreadable-record",
        "stands behind the walk for a text that serde refuses although the walk found nothing wrong; the property \
         tests of the reader look for such a text and have found none",
    ),
    (
        "format-older",
        "format 1 is the first that there was; the unit test of the head asks it of a program that has outlived one",
    ),
];

/// What stands in front of a rule where a fault is made.
const MAKERS: [&str; 11] = [
    ".error(",
    ".warning(",
    ".note(",
    "Fault::error(",
    "Fault::warning(",
    " fault(",
    "Refusal::new(",
    "Level::Error,",
    "Level::Warning,",
    "rule:",
    "} => (",
];

/// The rules in the source of the rooms that make faults and findings, each with a file that names it.
pub fn rules() -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    for room in ["record", "ledger", "change", "gate", "calc"] {
        let folder = root().join("src").join(room);
        for file in files(&folder).into_iter().filter(|file| !file.contains("tests")) {
            let text = fs::read_to_string(folder.join(&file)).unwrap();
            let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
            for maker in MAKERS {
                for (at, _) in text.match_indices(maker) {
                    let rest = text[at + maker.len()..].trim_start();
                    let Some(rest) = rest.strip_prefix('"') else { continue };
                    let word = rest.split('"').next().unwrap();
                    if !word.is_empty()
                        && word.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
                    {
                        found.insert(word.to_string(), format!("src/{room}/{file}"));
                    }
                }
            }
        }
    }
    for (rule, _) in bondline::gate::RULES {
        found.insert(rule.to_string(), "src/gate/mod.rs".to_string());
    }
    found
}

/// All answers of the golden cases, joined.
fn answers() -> Vec<(String, String)> {
    let text = |case: &std::path::Path| fs::read_to_string(case.join("expected.txt")).unwrap_or_default();
    cases().into_iter().map(|(name, case)| (name, text(&case))).collect()
}

#[test]
fn every_rule_has_a_golden_case() {
    let answers = answers();
    let shown = |rule: &str| {
        // The first is how a text names it, the second how JSON does.
        let marks = [format!("[{rule}]"), format!("\"rule\": \"{rule}\"")];
        answers.iter().any(|(_, text)| marks.iter().any(|mark| text.contains(mark)))
    };
    let rules = rules();
    let lacking: Vec<_> = rules
        .iter()
        .filter(|(rule, _)| !shown(rule) && UNREACHED.iter().all(|(other, _)| other != rule))
        .collect();
    assert!(lacking.is_empty(), "rules without a golden case: {lacking:#?}");
    for (rule, _) in UNREACHED {
        assert!(rules.contains_key(rule) && !shown(rule), "`{rule}` does not belong in that list");
    }
}

#[test]
fn every_rule_in_an_answer_is_found_in_the_source() {
    // Otherwise the scan above has gone blind, and the test before this one with it.
    let rules = rules();
    assert!(rules.len() > 60, "only {} rules", rules.len());
    for (case, text) in answers() {
        for line in text.lines() {
            let levels = ["error[", "warning[", "note["];
            let rest = levels.iter().find_map(|level| line.strip_prefix(level));
            let json = line.trim().strip_prefix("\"rule\": \"");
            let Some(rule) =
                rest.and_then(|rest| rest.split(']').next()).or(json.and_then(|r| r.split('"').next()))
            else {
                continue;
            };
            // Reasons of verdicts in JSON name rows of the sensitivity table under the same key.
            if rest.is_some()
                || rule.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
                    && !rule.is_empty()
            {
                let known = rules.contains_key(rule) || rest.is_none() && text.contains("\"because\"");
                assert!(known, "{case} shows the rule `{rule}`, which the scan does not find");
            }
        }
    }
}

/// What is listed of a rule is how grave it is at its worst, and the worst of each is among the cases but for a few.
#[test]
fn rules_are_listed_as_grave_as_answers_show_them_at_their_worst() {
    let mut worst: BTreeMap<String, Level> = BTreeMap::new();
    for (_, text) in answers() {
        for line in text.lines() {
            let levels = [("error[", Level::Error), ("warning[", Level::Warning), ("note[", Level::Note)];
            let found = levels.iter().find_map(|(word, level)| Some((line.strip_prefix(word)?, *level)));
            let Some((name, level)) = found.and_then(|(rest, level)| Some((rest.split(']').next()?, level)))
            else {
                continue;
            };
            let own = worst.entry(name.to_string()).or_insert(level);
            *own = (*own).max(level);
        }
    }
    assert!(worst.len() > 60, "only {} rules shown", worst.len());
    for (name, level) in worst {
        // Notes beside answers are no findings, and are listed nowhere.
        let Some(rule) = rule(&name) else { continue };
        // Some are graver where there is no case for it; those are few.
        let sometimes = ["empty-list", "missing-data"].contains(&name.as_str());
        assert!(rule.level == level || sometimes && rule.level > level, "`{name}`: {level:?}");
    }
}
