//! The laws.

use super::config;
use super::edits::{apply, edits};
use super::judging::{
    Seen, beside_as_alone, close, evaluated, load, read_with, there_and_back, today, try_load,
};
use super::programme::{plans, proved};
use bondline::article::weigh::programme_mass;
use bondline::ledger::MemoryRecall;
use bondline::qualify::verdict::{Verdict, evaluate_beside};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use std::collections::BTreeMap;

proptest! {
    #![proptest_config(config(48))]

    /// What was just conformed to the design speaks for the design.
    #[test]
    fn evidence_made_now_counts_now(plan in plans()) {
        let ledger = load(&proved(&plan));
        for (key, duty) in &evaluated(&ledger).duties {
            let own = ledger.evidence.values().any(|entry| {
                entry.value.showing.id() == key.0
                    && bondline::article::Subject::from_label(&entry.value.subject).as_ref() == Some(&key.1)
            });
            if own {
                // Whether the zone, the heat or the figure is enough is another matter.
                let coverage = |attribute: &str| ["skin", "claims", "exposure", "environment"].iter().any(|start| attribute.starts_with(start));
                for reason in duty.because().iter().filter(|_| duty.verdict() == Verdict::Lapsed || duty.verdict() == Verdict::Open) {
                    prop_assert!(coverage(&reason.attribute), "{key:?}: {:?} {reason:?}", duty.verdict());
                }
            }
        }
    }

    #[test]
    fn undoing_restores_every_verdict(plan in plans(), edit in edits()) {
        let base = proved(&plan);
        let Some(changed) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let [before, after, undone] = there_and_back(&base, &changed)?;
        let there = before.to(&after);
        prop_assert!(!there.changes.is_empty(), "a change that is not shown: {edit:?}");
        prop_assert_eq!(&undone.evaluation.duties, &before.evaluation.duties);
        let nothing = before.to(&undone);
        prop_assert!(nothing.changes.is_empty() && nothing.duties.is_empty() && nothing.ended.is_empty());
        prop_assert!(nothing.panels.is_empty() && nothing.retest.steps.is_empty());
    }

    /// What was taken over from state to state is, many states later, still what would be judged anew.
    #[test]
    fn states_judged_in_a_row_are_as_judged_alone(plan in plans(), all in prop::collection::vec(edits(), 2..6)) {
        let mut records = proved(&plan);
        let recall = MemoryRecall::new();
        let mut last = evaluated(&read_with(records.texts(), &recall).unwrap());
        for edit in &all {
            let Some(changed) = apply(&records, edit) else { continue };
            let Ok(ledger) = read_with(changed.texts(), &recall) else { continue };
            last = evaluate_beside(&ledger, today(), &last).unwrap();
            let alone = evaluated(&ledger);
            prop_assert_eq!(&alone.duties, &last.duties);
            prop_assert_eq!(&alone.assumptions, &last.assumptions);
            records = changed;
        }
    }

    /// What is taken over from another state is what would be judged anew, for every panel and in every word.
    #[test]
    fn judged_beside_another_state_is_as_judged_alone(plan in plans(), edit in edits()) {
        let base = proved(&plan);
        let Some(changed) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let recall = MemoryRecall::new();
        let (Ok(old), Ok(new)) = (read_with(base.texts(), &recall), read_with(changed.texts(), &recall)) else {
            return Err(TestCaseError::reject("refused by the reader"));
        };
        for (one, two) in [(&old, &new), (&new, &old), (&old, &old)] {
            beside_as_alone(one, two)?;
        }
    }

    #[test]
    fn there_and_back_are_opposite(plan in plans(), edit in edits()) {
        let base = proved(&plan);
        let Some(changed) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let Ok(after) = try_load(&changed) else { return Err(TestCaseError::reject("refused by the reader")) };
        let (before, after) = (Seen::of(load(&base)), Seen::of(after));
        let (there, back) = (before.to(&after), after.to(&before));
        prop_assert!(close(there.mass.0, back.mass.1) && close(there.mass.1, back.mass.0));
        let deltas = |found: &bondline::change::impact::Impact, sign: f64| -> BTreeMap<String, i64> {
            found.panels.iter().map(|panel| (panel.panel.clone(), (sign * panel.delta * 1e9).round() as i64)).collect()
        };
        prop_assert_eq!(deltas(&there, 1.0), deltas(&back, -1.0));
        type Rows = BTreeMap<(String, String, String), (Option<Verdict>, Option<Verdict>)>;
        let rows = |found: &bondline::change::impact::Impact, back: bool| -> Rows {
            let mut rows = Rows::new();
            for row in &found.duties {
                let was = row.was_subject.as_ref().unwrap_or(&row.subject).to_string();
                let is = row.subject.to_string();
                let (key, pair) = if back {
                    ((row.showing.clone(), is, was), (Some(row.now), row.was))
                } else {
                    ((row.showing.clone(), was, is), (row.was, Some(row.now)))
                };
                rows.insert(key, pair);
            }
            for (showing, subject, was) in &found.ended {
                let pair = if back { (None, Some(*was)) } else { (Some(*was), None) };
                rows.insert((showing.clone(), subject.to_string(), subject.to_string()), pair);
            }
            rows
        };
        prop_assert_eq!(rows(&there, false), rows(&back, true));
        for row in there.duties.iter().chain(&back.duties) {
            prop_assert!(!row.because.is_empty(), "{row:?}");
        }
        // Every duty whose verdict differs is a row, and no other.
        let (old, new) = (before.verdicts(), after.verdicts());
        for row in &there.duties {
            let key = format!("{} on {}", row.showing, row.subject);
            prop_assert_eq!((new[&key].0, new[&key].1), (row.now, row.asks));
            let was = format!("{} on {}", row.showing, row.was_subject.as_ref().unwrap_or(&row.subject));
            prop_assert_eq!(old.get(&was).map(|was| was.0), row.was);
        }
        for (key, now) in &new {
            let same = old.get(key).is_some_and(|was| (was.0, was.1) == (now.0, now.1));
            let shown = there.duties.iter().any(|row| format!("{} on {}", row.showing, row.subject) == *key);
            prop_assert!(same || shown, "{key} is now {now:?} and is no row");
        }
    }

    #[test]
    fn two_steps_come_to_what_one_does(plan in plans(), first in edits(), second in edits()) {
        let base = proved(&plan);
        let Some(middle) = apply(&base, &first) else { return Err(TestCaseError::reject("nothing to edit")) };
        let Some(last) = apply(&middle, &second) else { return Err(TestCaseError::reject("nothing to edit")) };
        let (Ok(b), Ok(c)) = (try_load(&middle), try_load(&last)) else {
            return Err(TestCaseError::reject("refused by the reader"));
        };
        let (a, b, c) = (Seen::of(load(&base)), Seen::of(b), Seen::of(c));
        let (one, two, whole) = (a.to(&b), b.to(&c), a.to(&c));
        prop_assert!(close(one.mass.1 - one.mass.0 + two.mass.1 - two.mass.0 + 1.0, whole.mass.1 - whole.mass.0 + 1.0));
        // A duty that keeps its subject all the way: its ends are those of the two steps.
        let (old, new) = (a.verdicts(), c.verdicts());
        for (key, was) in &old {
            let Some(now) = new.get(key) else { continue };
            let shown = whole.duties.iter().any(|row| format!("{} on {}", row.showing, row.subject) == *key);
            let differs = (was.0, was.1) != (now.0, now.1);
            let replaced = whole.duties.iter().any(|row| row.was_subject.is_some());
            prop_assert!(shown == differs || replaced, "{key}: {was:?} {now:?}");
        }
    }
}

/// Edits in place that leave every subject, every panel and every demand where it is, each on an
/// attribute of its own, so that each adds one difference to what was conformed.
pub(crate) const DIFFERENCES: [(&str, &str, &str); 12] = [
    ("materials/cloth-c.yaml", "/resin/content", "39.5 %"),
    ("materials/cloth-c.yaml", "/fibre/areal", "290 g/m2"),
    ("materials/cloth-c.yaml", "/fibre/density", "1800 kg/m3"),
    ("materials/cloth-c.yaml", "/supplier", "supplier nine"),
    ("materials/cloth-c.yaml", "/form", "satin"),
    ("processes/oven-o.yaml", "/site", "hall nine"),
    ("processes/oven-o.yaml", "/cure/0/to", "127 degC"),
    ("processes/oven-o.yaml", "/vacuum", "80 kPa"),
    ("processes/spray-s.yaml", "/site", "another shop"),
    ("materials/dry-g.yaml", "/areal", "320 g/m2"),
    ("materials/foam-f.yaml", "/density", "75 kg/m3"),
    ("finishes/finish-0.yaml", "/coats/0/dry_film", "75 um"),
];

proptest! {
    #![proptest_config(config(32))]

    /// With one record per showing, so that no other can come nearer, and on its own subject: a difference
    /// more may well bring one subject nearer to what was made for another.
    #[test]
    fn one_difference_more_never_asks_less(plan in plans(), one in 0..12_usize, two in 0..12_usize) {
        prop_assume!(one != two);
        let mut base = proved(&plan);
        let mut kept = std::collections::BTreeSet::new();
        let evidence = base.ids("evidence");
        for id in evidence {
            let path = format!("evidence/{id}.yaml");
            if !kept.insert(base.values[&path]["showing"].to_string()) {
                base.values.remove(&path);
                base.conformed.remove(&path);
            }
        }
        let with = |differences: &[usize]| -> Seen {
            let mut all = base.clone();
            for at in differences {
                let (path, place, to) = DIFFERENCES[*at];
                *all.values.get_mut(path).unwrap().pointer_mut(place).unwrap() = serde_json::json!(to);
            }
            Seen::of(load(&all))
        };
        let both = with(&[one, two]);
        let own: Vec<String> = both
            .ledger
            .evidence
            .values()
            .filter_map(|entry| {
                let subject = bondline::article::Subject::from_label(&entry.value.subject)?;
                Some(format!("{} on {subject}", entry.value.showing.id()))
            })
            .collect();
        let both = both.verdicts();
        for fewer in [with(&[]), with(&[one]), with(&[two])] {
            for (key, was) in fewer.verdicts().into_iter().filter(|(key, _)| own.contains(key)) {
                let now = &both[&key];
                prop_assert!(now.1 >= was.1, "{key}: {was:?} {now:?}");
                // Failed and lapsed stand apart: evidence that speaks no more can't fail.
                prop_assert!(!now.0.is_closed() || was.0.is_closed(), "{key}: {was:?} {now:?}");
            }
        }
    }
}

#[test]
fn unchanged_verdicts_are_taken_over() {
    let plan = plans().new_tree(&mut TestRunner::deterministic()).unwrap().current();
    let texts = proved(&plan).texts();
    let recall = MemoryRecall::new();
    let (one, two) = (read_with(texts.clone(), &recall).unwrap(), read_with(texts, &recall).unwrap());
    let first = evaluated(&one);
    let second = evaluate_beside(&two, today(), &first).unwrap();
    let taken = second.duties.iter().filter(|(key, duty)| {
        let before = first.duties.get(key);
        before.is_some_and(|before| {
            duty.panels.iter().all(|(panel, judged)| {
                before.panels.get(panel).is_some_and(|known| std::sync::Arc::ptr_eq(known, judged))
            })
        })
    });
    // What was laid over a verdict afterwards is held apart.
    assert!(2 * taken.count() > second.duties.len());
}

#[test]
fn programmes_are_worth_judging() {
    // A guard on the generator: all verdicts and all kinds of subjects come up.
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::new(config(1));
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for _ in 0..24 {
        let plan = plans().new_tree(&mut runner).unwrap().current();
        let ledger = load(&proved(&plan));
        assert!(programme_mass(&ledger).unwrap() > 0.0);
        for duty in evaluated(&ledger).duties.values() {
            *seen.entry(duty.verdict().to_string()).or_default() += 1;
            *seen.entry(format!("{:?}", duty.subject.kind())).or_default() += 1;
        }
    }
    for word in ["met", "failed", "open", "lapsed", "Lamina", "Laminate", "Painted", "Panel", "Bond"] {
        assert!(seen.get(word).is_some_and(|count| *count > 3), "{word}: {seen:?}");
    }
}
