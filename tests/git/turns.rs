//! Where evidence or a mass turned, against every commit of the example judged by itself.

use super::bed::{Bed, PROGRAM, Run};
use bondline::article::weigh::panel_mass;
use bondline::ledger::{Ledger, MemoryRecall};
use bondline::qualify::verdict::{Verdict, evaluate};
use bondline::record::Day;
use bondline::source::Place;
use std::collections::{BTreeMap, BTreeSet};

type Proved = BTreeMap<String, BTreeSet<String>>;

#[test]
fn the_turns_of_evidence_and_mass_are_those_of_every_commit_by_itself() {
    let bed = Bed::example();
    let place = Place::find(bed.top()).unwrap();
    let today = Day::parse("2026-12-01").unwrap();
    let recall = MemoryRecall::new();
    let mut line = place.line("HEAD").unwrap();
    line.reverse();
    let mut states: Vec<(String, Proved, Option<f64>)> = Vec::new();
    for commit in &line {
        let ledger = Ledger::load(&place.revision(&commit.id).unwrap(), &recall).as_of(today);
        let evaluation = evaluate(&ledger, today).unwrap();
        let mut proved = Proved::new();
        for ((showing, subject), duty) in &evaluation.duties {
            for (panel, judged) in duty.panels.iter().filter(|(_, own)| own.verdict == Verdict::Met) {
                for evidence in &judged.evidence {
                    proved
                        .entry(evidence.to_string())
                        .or_default()
                        .insert(format!("{showing} {subject} {panel}"));
                }
            }
        }
        states.push((commit.id.clone(), proved, panel_mass(&ledger, "bow-hatch").ok()));
    }
    let none = BTreeSet::new();
    let (mut losses, mut checked) = (0, 0);
    // Each takes a process that judges a handful of states: some of them are enough.
    let all: BTreeSet<&String> = states.iter().flat_map(|(_, proved, _)| proved.keys()).collect();
    for evidence in all.into_iter().step_by(4) {
        let of = |state: &(String, Proved, _)| state.1.get(evidence).unwrap_or(&none).clone();
        // Where the same comes back later, halving may rightly pass over it.
        let all: Vec<BTreeSet<String>> = states.iter().map(of).collect();
        let mut runs = all.clone();
        runs.dedup();
        if runs.iter().filter(|one| !one.is_empty()).collect::<BTreeSet<_>>().len()
            != runs.iter().filter(|one| !one.is_empty()).count()
        {
            continue;
        }
        checked += 1;
        let expected: Vec<(String, BTreeSet<String>)> = (1..all.len())
            .filter_map(|at| {
                let lost: BTreeSet<String> = all[at - 1].difference(&all[at]).cloned().collect();
                (!lost.is_empty()).then(|| (states[at].0.clone(), lost))
            })
            .rev()
            .collect();
        let found = bed.document(&["history", "--lapsed", evidence]);
        let text = |value: &serde_json::Value| value.as_str().unwrap().to_string();
        let got: Vec<(String, BTreeSet<String>)> = found["commits"]
            .as_array()
            .unwrap()
            .iter()
            .map(|one| {
                let lost = one["lost"].as_array().unwrap().iter();
                let words = |own: &serde_json::Value| {
                    format!("{} {} {}", text(&own["showing"]), text(&own["subject"]), text(&own["panel"]))
                };
                (text(&one["commit"]), lost.map(words).collect())
            })
            .collect();
        assert_eq!(got, expected, "{evidence}");
        assert_eq!(found["proves"].as_u64().unwrap() as usize, all.last().unwrap().len(), "{evidence}");
        losses += expected.len();
    }
    assert!(checked > 10 && losses > 3, "{checked} {losses}");

    let masses: Vec<Option<f64>> = states.iter().map(|(.., kg)| *kg).collect();
    let expected: Vec<(String, f64)> = (1..masses.len())
        .filter_map(|at| {
            let rise = masses[at]? - masses[at - 1]?;
            (rise > 1e-6).then(|| (states[at].0.clone(), rise))
        })
        .rev()
        .collect();
    let found = bed.document(&["history", "--grew", "bow-hatch"]);
    let got = found["commits"].as_array().unwrap();
    assert_eq!(got.len(), expected.len());
    for (got, (commit, rise)) in got.iter().zip(&expected) {
        assert_eq!(got["commit"].as_str(), Some(commit.as_str()));
        assert!((got["delta_kg"].as_f64().unwrap() - rise).abs() < 1e-9);
    }
}

#[test]
fn a_day_of_the_past_is_the_state_of_its_last_commit() {
    let bed = Bed::example();
    let place = Place::find(bed.top()).unwrap();
    let line = place.line("HEAD").unwrap();
    let commit = &line[line.len() / 2];
    let day = bondline::change::past::day_of(commit.time);
    let last = line.iter().find(|one| bondline::change::past::day_of(one.time) <= day).unwrap();
    let run = |arguments: &[&str]| {
        let output =
            bed.command(PROGRAM, bed.top()).args(["--format", "json", "gaps"]).args(arguments).output();
        Run::of(&output.unwrap()).out
    };
    let then = run(&["--as-of", &day.to_string()]);
    assert_eq!(then, run(&["--at", &last.id, "--today", &day.to_string()]));
    assert!(then.contains(&last.id));
    let refused = run(&["--as-of", "1999-01-01"]);
    assert!(refused.contains("no commit is as old as 1999-01-01; the first is of"), "{refused}");
}
