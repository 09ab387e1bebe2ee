//! Computed showings that ask for what their check does not judge; `check` refuses such records, and behind it
//! nothing may be met by chance.

use crate::article::fixture::ledger;
use crate::qualify::verdict::{Verdict, evaluate};
use crate::record::Day;

const TEXT: &str = "
ledger: {format: 1, programme: Sanderling amphibian (invented)}
materials:
  cw:
    kind: prepreg
    fibre: {name: f, type: carbon, density: 1780 kg/m3, areal: 200 g/m2}
    resin: {name: r, density: 1250 kg/m3, content: 38 %}
    cured_thickness: 0.2 mm
    lamina: {E1: 60 GPa, E2: 60 GPa, G12: 4 GPa, nu12: 0.05}
    strength: {Xt: 600 MPa, Xc: 400 MPa, Yt: 600 MPa, Yc: 400 MPa, S: 80 MPa}
processes: {oven: {method: oven}}
recipes: {solid: {process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 0}]}}
panels:
  skin:
    exposure: {sun: false}
    zones: [{name: all, area: 1 m2, recipe: solid}]
    loads: [{name: pull, N: [10 N/mm, 0 N/mm, 0 N/mm], factor: 1.5}]
showings:
  own: {kind: computed, SHOWING}
";

/// The verdicts of a showing that is written so, and why.
fn judged(showing: &str) -> Vec<(Verdict, String)> {
    let ledger = ledger(&TEXT.replace("SHOWING", showing));
    let found = evaluate(&ledger, Day::parse("2026-06-01").unwrap()).unwrap();
    let all = found.duties.values().flat_map(|duty| duty.panels.values());
    all.map(|own| (own.verdict, own.because.iter().map(|one| one.is.clone()).collect::<Vec<_>>().join("; ")))
        .collect()
}

#[track_caller]
fn is(showing: &str, verdict: Verdict, words: &str) {
    let all = judged(showing);
    assert!(
        all.len() == 1 && all[0].0 == verdict && all[0].1.contains(words),
        "{showing} is not {verdict} for {words:?}: {all:?}"
    );
}

#[test]
fn a_check_judges_its_own_criterion() {
    is("check: margins, accept: {margin_at_least: 0.5}", Verdict::Met, "against +0.50");
    is("check: margins, accept: {margin_at_least: 50 %}", Verdict::Met, "against +0.50");
    is("check: margins, accept: {margin_at_least: 90}", Verdict::Failed, "against +90.00");
    is("check: margins, accept: {}", Verdict::Met, "against +0.00");
    is("check: mass, accept: {at_most: 9 kg}", Verdict::Met, "against 9 kg");
    is("check: mass, accept: {at_most: 0.1 kg}", Verdict::Failed, "against 0.1 kg");
    is("subject: painted, accept: {above_skin_by: 28 K}", Verdict::Met, "no zone");
}

#[test]
fn another_subject_than_the_check_is_of_is_open() {
    // The programme weighs less than 9 kg, and the panel has margins: neither may stand in for what is asked.
    is(
        "check: mass, subject: panel, accept: {at_most: 9 kg}",
        Verdict::Open,
        "of a programme, not of a panel",
    );
    is("check: margins, subject: programme, accept: {margin_at_least: 0}", Verdict::Open, "of a panel");
    is("check: strength, subject: painted, accept: {margin_at_least: 0}", Verdict::Open, "of a panel");
    is(
        "check: temperature-margin, subject: panel, accept: {above_skin_by: 28 K}",
        Verdict::Open,
        "of a painted",
    );
}

#[test]
fn what_a_check_does_not_judge_leaves_it_open() {
    is("check: margins, accept: {margin_at_least: 0, at_least: 900 MPa}", Verdict::Open, "`accept.at_least`");
    is("check: margins, accept: {margin_at_least: 0, statement: true}", Verdict::Open, "`accept.statement`");
    is("check: margins, accept: {margin_at_least: 0 MPa}", Verdict::Open, "no plain number");
    is("check: mass, accept: {mean_at_most: 9 kg}", Verdict::Open, "`at_most` in kg");
    is("check: mass, accept: {at_most: 9 m}", Verdict::Open, "`at_most` in kg");
    is(
        "subject: painted, accept: {above_skin_by: 28 K, rating_at_least: 4}",
        Verdict::Open,
        "`accept.rating_at_least`",
    );
}

/// A modulus from evidence that fails what is asked of it, conceded or not: the margins hold on it either way, and
/// carry what was accepted by name.
#[test]
fn values_of_what_is_conceded_carry_a_margin_and_are_named() {
    let text = TEXT.replace("E1: 60 GPa", "E1: {from: showing/stiff}").replace(
        "SHOWING",
        "check: margins, accept: {margin_at_least: 0}}\n  stiff: {kind: lamina-modulus, subject: lamina, accept: {mean_at_least: 65 GPa}",
    ) + "
evidence:
  e: {showing: stiff, subject: {lamina: [cw, oven]}, kind: test, state: done, result: {value: 60 GPa}}
";
    let told = |concession: &str| {
        let mut ledger = ledger(&(text.clone() + concession));
        crate::qualify::tests::conform_all(&mut ledger);
        let found = evaluate(&ledger, Day::parse("2026-06-01").unwrap()).unwrap();
        let own = found.duties.iter().find(|((showing, _), _)| showing == "own").unwrap().1;
        let (_, judged) = own.worst().unwrap();
        let rests = judged.because.iter().filter(|one| one.rule == super::RESTS_ON);
        (judged.verdict, rests.map(|one| format!("{} {}", one.attribute, one.is)).collect::<Vec<_>>())
    };
    let below = |word: &str| vec![format!("showing/stiff lamina/cw@oven {word}")];
    assert_eq!(told(""), (Verdict::Lapsed, below("failed")));
    let concession = "
concessions:
  c: {showing: stiff, subject: {lamina: [cw, oven]}, reason: r, covers: failed, until: 2027-01-01}
";
    assert_eq!(told(concession), (Verdict::Met, below("conceded")));
}

/// A test of an article that is made more than a day ahead has not been made yet, whoever says that it is done.
#[test]
fn what_is_made_on_a_day_ahead_is_under_way() {
    let text = TEXT.replace("SHOWING", "check: margins, accept: {margin_at_least: 0}}\n  stiff: {kind: lamina-modulus, subject: lamina, accept: {mean_at_least: 50 GPa}")
        + "
evidence:
  e: {showing: stiff, subject: {lamina: [cw, oven]}, kind: test, state: done, made: 2026-06-02, result: {value: 60 GPa}}
";
    let mut ledger = ledger(&text);
    crate::qualify::tests::conform_all(&mut ledger);
    let told = |day: &str| {
        let today = Day::parse(day).unwrap();
        let found = evaluate(&ledger.clone().as_of(today), today).unwrap();
        let own = found.duties.iter().find(|((showing, _), _)| showing == "stiff").unwrap().1;
        let (_, judged) = own.worst().unwrap();
        (judged.verdict, judged.under_way.iter().map(ToString::to_string).collect::<Vec<_>>())
    };
    // A day is a day later elsewhere.
    assert_eq!(told("2026-05-31"), (Verdict::Short, vec!["e".to_string()]));
    assert_eq!(told("2026-06-01"), (Verdict::Met, vec![]));
}
