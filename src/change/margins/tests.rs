//! What makes the inputs of two states differ, and what is told of margins that are gone.

use super::{Side, by_case, lost};
use crate::ledger::{Ledger, TestData};
use crate::qualify::fixture::{base, judged};
use crate::qualify::margins::{Margin, PanelMargins, Uncomputed};
use crate::record::{ComputedCheck, EvidenceKind, EvidenceRef, Figure};
use proptest::prelude::*;
use std::sync::Arc;

fn result(ledger: &mut Ledger, id: &str, value: &str) {
    let own = Arc::make_mut(&mut ledger.evidence.get_mut(id).unwrap().value);
    own.result.as_mut().unwrap().value = Some(Figure::parse(value).unwrap());
}

#[test]
fn an_inline_result_is_an_input() {
    let ledger = base();
    let evaluation = judged(&ledger);
    let mut other = base();
    assert!(Side::of(&ledger, &evaluation).is_same(
        "tail-fairing",
        &Side::of(&other, &evaluation),
        "tail-fairing"
    ));
    result(&mut other, "modulus-1", "62 GPa");
    // The verdicts are held the same on purpose: only the record differs.
    assert!(!Side::of(&ledger, &evaluation).is_same(
        "tail-fairing",
        &Side::of(&other, &evaluation),
        "tail-fairing"
    ));
}

#[test]
fn a_baseline_and_its_data_are_inputs() {
    // An equivalence is what counts; the specimens of its baseline give the value.
    let mut ledger = base();
    let mut extended = ledger.evidence["modulus-1"].clone();
    extended.id = "modulus-2".to_string();
    let own = Arc::make_mut(&mut extended.value);
    (own.kind, own.baseline) = (EvidenceKind::Equivalence, EvidenceRef::parse("modulus-1").ok());
    ledger.evidence.insert("modulus-2".to_string(), extended);
    let mut evaluation = judged(&ledger);
    for duty in evaluation.duties.values_mut().filter(|duty| duty.showing == "modulus") {
        for (_, own) in Arc::make_mut(&mut duty.panels).iter_mut() {
            Arc::make_mut(own).evidence = ["modulus-2".into()].into();
        }
    }
    let same = |other: &Ledger| {
        Side::of(&ledger, &evaluation).is_same("bow-hatch", &Side::of(other, &evaluation), "bow-hatch")
    };
    assert!(same(&ledger.clone()));
    let mut other = ledger.clone();
    result(&mut other, "modulus-1", "62 GPa");
    assert!(!same(&other));
    let mut other = ledger.clone();
    let data = TestData {
        file: "x.csv".into(),
        digest: "sha256:1".into(),
        unit: Some("GPa".into()),
        ..TestData::default()
    };
    other.data.insert("modulus-1".to_string(), data);
    assert!(!same(&other));
}

fn margin(check: ComputedCheck, case: &str, place: &str, criterion: &'static str, margin: f64) -> Margin {
    Margin {
        check,
        case: case.to_string(),
        place: place.to_string(),
        criterion,
        mode: criterion.to_string(),
        layer: None,
        margin,
        words: String::new(),
        environment: None,
        rests: Vec::new(),
        notes: Vec::new(),
    }
}

fn lacks(check: ComputedCheck, case: &str, place: &str, why: &str) -> Uncomputed {
    Uncomputed { check, case: case.to_string(), place: place.to_string(), why: why.to_string() }
}

fn all(margins: Vec<Margin>, uncomputed: Vec<Uncomputed>) -> PanelMargins {
    PanelMargins { margins, uncomputed, ..PanelMargins::default() }
}

#[test]
fn what_a_section_or_a_joint_lacks_is_of_every_case_of_it() {
    use ComputedCheck::{Mismatch, Section};
    let before = all(
        vec![
            margin(Section, "twist", "wall floor", "tsai-wu", 1.0),
            margin(Section, "twist, pane lost", "wall left", "tsai-wu", 2.0),
            margin(Mismatch, "cold", "joint left", "mismatch-shear", 3.0),
            margin(Mismatch, "cold", "joint right", "mismatch-shear", 4.0),
        ],
        Vec::new(),
    );
    let after = all(
        vec![margin(Mismatch, "cold", "joint right", "mismatch-shear", 4.0)],
        vec![lacks(Section, "", "section", "no modulus"), lacks(Mismatch, "", "joint left", "no strength")],
    );
    let gone: Vec<f64> = lost(&before, &after).iter().map(|(margin, _)| margin.margin).collect();
    assert_eq!(gone, [1.0, 2.0, 3.0]);
    let rows = by_case("frame", &before, &after);
    let row = |case: &str| rows.iter().find(|row| row.case == case).unwrap();
    assert_eq!(row("twist").lacking.as_deref(), Some("no modulus"));
    assert_eq!(row("twist, pane lost").lacking.as_deref(), Some("no modulus"));
    // The other joint is left, and is the least of what is left only.
    assert_eq!(row("cold").lacking.as_deref(), Some("no strength"));
    assert!(row("cold").lost && row("cold").now.is_some());
    // What both joints were judged for and one still is, is no loss without a reason.
    let fewer = all(after.margins.clone(), Vec::new());
    assert!(lost(&before, &fewer).is_empty());
}

#[test]
fn what_was_missing_before_explains_no_loss() {
    use ComputedCheck::Strength;
    let missing = lacks(Strength, "gust", "zone skin", "no Yt");
    let before = all(vec![margin(Strength, "gust", "zone skin", "max-strain", 1.0)], vec![missing.clone()]);
    assert!(lost(&before, &all(Vec::new(), vec![missing])).is_empty());
    let other = lacks(Strength, "gust", "zone skin", "no E1");
    assert_eq!(lost(&before, &all(Vec::new(), vec![other])).len(), 1);
}

#[test]
fn a_new_case_that_cannot_be_computed_is_told() {
    let after = all(Vec::new(), vec![lacks(ComputedCheck::Strength, "gust", "zone skin", "no Xt")]);
    let rows = by_case("skin", &PanelMargins::default(), &after);
    assert_eq!(rows.len(), 1);
    assert!(rows[0].was.is_none() && rows[0].now.is_none() && !rows[0].lost);
    assert_eq!(rows[0].lacking.as_deref(), Some("no Xt"));
}

proptest! {
    /// Whatever is taken away with a reason of its check, place and case is told, and nothing else.
    #[test]
    fn every_margin_that_is_taken_away_is_told(
        kept in prop::collection::vec(any::<bool>(), 1..12),
        whole in any::<bool>(),
    ) {
        let names: Vec<String> = (0..kept.len()).map(|at| format!("case {at}")).collect();
        let one = |at: usize| margin(ComputedCheck::Section, &names[at], "wall floor", "tsai-wu", at as f64);
        let before = all((0..kept.len()).map(one).collect(), Vec::new());
        let left = (0..kept.len()).filter(|at| kept[*at]).map(one).collect();
        let gone: Vec<usize> = (0..kept.len()).filter(|at| !kept[*at]).collect();
        let why = |case: &str| lacks(ComputedCheck::Section, case, "section", "no modulus");
        let reasons = if whole { vec![why("")] } else { gone.iter().map(|at| why(&names[*at])).collect() };
        let after = all(left, reasons);
        let told: Vec<usize> =
            lost(&before, &after).iter().map(|(margin, _)| margin.margin as usize).collect();
        prop_assert_eq!(told, gone.clone());
        let rows: Vec<String> =
            by_case("frame", &before, &after).into_iter().filter(|row| row.lost).map(|row| row.case).collect();
        prop_assert_eq!(rows.len(), gone.len());
    }
}
