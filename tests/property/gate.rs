//! Laws of the gate: the stricter policy wins, and what changes nothing is not stopped.

use super::config;
use super::edits::{apply, edits};
use super::figures::rewrite;
use super::judging::{Seen, read, today};
use super::layout::turned;
use super::programme::{Records, plans, proved};
use super::renames::{REFERENCES, renamed};
use bondline::change::diff::diff;
use bondline::change::explain::explain;
use bondline::change::past::{NoHistory, Past};
use bondline::gate::{GateReport, RULES, Side, judge};
use bondline::ledger::MemoryRecall;
use bondline::source::Snapshot;
use proptest::prelude::*;
use serde_json::{Value, json};

/// What the gate says of a commit from one state to another; `Err` where one of them is not sound.
fn judged(base: &Records, staged: &Records) -> Result<GateReport, TestCaseError> {
    let refused = |faults: Vec<String>| TestCaseError::reject(format!("refused by the reader: {faults:?}"));
    let before = Seen::of(read(base.texts()).map_err(refused)?);
    let after = Seen::of(read(staged.texts()).map_err(refused)?);
    let edits = diff(&before.ledger, &after.ledger);
    let (snapshot, later) = (Snapshot::in_memory(base.texts()), Snapshot::in_memory(staged.texts()));
    let explained = explain(
        (&before.ledger, &snapshot),
        (&after.ledger, &later),
        &edits,
        &Past { revisions: &NoHistory, recall: &MemoryRecall::new() },
    );
    Ok(judge(
        &Side::of(&before.ledger, Ok(&before.evaluation)),
        &Side::of(&after.ledger, Ok(&after.evaluation)),
        &edits,
        &explained,
        // No evidence is completed here.
        &std::collections::BTreeMap::new(),
        today(),
    ))
}

/// All panels released, so that the gate has something to hold.
fn released(mut records: Records) -> Records {
    for panel in records.ids("panels") {
        records.record("panels", &panel)["released"] = json!(true);
    }
    records
}

const LEVELS: [&str; 3] = ["off", "warn", "block"];

fn with_policy(records: &Records, levels: &[usize]) -> Records {
    let mut all = records.clone();
    // What can't be read blocks whatever is written.
    let rules = RULES.iter().map(|(rule, _)| *rule).filter(|rule| *rule != "broken-record");
    let policy: serde_json::Map<String, Value> =
        rules.zip(levels).map(|(rule, level)| (rule.to_string(), json!(LEVELS[*level]))).collect();
    all.values.get_mut("ledger.yaml").unwrap()["policy"] = Value::Object(policy);
    all
}

/// The findings but for the one that the policy itself is laxer than it was.
fn findings(report: &GateReport) -> Vec<(&'static str, &'static str, String, String)> {
    let own = report.findings.iter().filter(|finding| finding.route != "policy");
    own.map(|finding| {
        let address = format!("{}#{}", finding.address, finding.route);
        (finding.rule, finding.level.word(), address, finding.message.clone())
    })
    .collect()
}

proptest! {
    #![proptest_config(config(32))]

    #[test]
    fn the_stricter_policy_wins(
        plan in plans(), edit in edits(),
        before in proptest::collection::vec(0..3_usize, RULES.len()),
        after in proptest::collection::vec(0..3_usize, RULES.len()),
    ) {
        let base = released(proved(&plan));
        let Some(changed) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let stricter: Vec<usize> = before.iter().zip(&after).map(|(one, two)| *one.max(two)).collect();
        let mixed = judged(&with_policy(&base, &before), &with_policy(&changed, &after))?;
        let strict = judged(&with_policy(&base, &stricter), &with_policy(&changed, &stricter))?;
        prop_assert_eq!(findings(&mixed), findings(&strict));
        prop_assert_eq!(&mixed.known, &strict.known);
        // The policy that is laxer is an objection of its own, unless that rule is off on both sides.
        let weakened = RULES.iter().filter(|(rule, _)| *rule != "broken-record").position(|(rule, _)| *rule == "weakened-requirement").unwrap();
        let laxer = before.iter().zip(&after).take(RULES.len() - 1).any(|(one, two)| two < one);
        let said = mixed.findings.iter().any(|finding| finding.route == "policy");
        prop_assert_eq!(said, laxer && stricter[weakened] > 0);
    }

    /// Units, names and the order of keys are ways of writing: no commit is stopped by them. Only finished
    /// evidence keeps its name.
    #[test]
    fn what_changes_nothing_is_not_stopped(
        plan in plans(), folder in 0..7_usize, at in any::<usize>(), picks in any::<u64>(), way in 0..3_usize,
    ) {
        let base = released(proved(&plan));
        let mut other = base.clone();
        match way {
            0 => {
                let mut at = 0;
                for (path, value) in &mut other.values {
                    if !path.starts_with("evidence/") {
                        rewrite(value, picks, &mut at);
                    }
                }
            }
            1 => {
                let (folder, _) = REFERENCES[folder];
                let ids = base.ids(folder);
                let Some(old) = at.checked_rem(ids.len()).map(|at| &ids[at]) else {
                    return Err(TestCaseError::reject("no such record"));
                };
                other = renamed(&base, folder, old, "zz-one");
            }
            _ => {
                for value in other.values.values_mut() {
                    *value = turned(value, at % 8 + 1);
                }
            }
        }
        let found = judged(&base, &other)?;
        prop_assert!(found.findings.is_empty(), "{way}: {:#?}", found.findings);
    }

    /// What was found before is known.
    #[test]
    fn nothing_edited_is_nothing_new(plan in plans()) {
        let base = released(proved(&plan));
        let found = judged(&base, &base)?;
        prop_assert!(found.findings.is_empty(), "{:#?}", found.findings);
    }
}
