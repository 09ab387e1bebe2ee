use super::*;
use crate::report::fixture::{base, edited, fits, judged, keys};
use crate::report::page::Style;

fn duty(ledger: &Ledger, showing: &str) -> Duty {
    judged(ledger).duties.into_values().find(|duty| duty.showing == showing).unwrap()
}

#[test]
fn json_has_verdicts_reasons_evidence_criterion_and_chain() {
    let all = base();
    let got = json(&all, &duty(&all, "tension"), &[]).unwrap();
    let wanted = [
        "schema",
        "showing",
        "subject",
        "verdict",
        "asks",
        "needed_by",
        "criterion",
        "method",
        "because",
        "own",
        "panels",
        "evidence",
        "normalised",
        "outliers",
        "set_aside",
        "chain",
        "caution",
    ];
    assert_eq!(keys(&got), wanted);
    assert_eq!((&got["schema"], &got["verdict"]), (&json!("why/1"), &json!("met")));
    assert_eq!(got["criterion"], "every value at least 500 MPa");
    let wanted = [
        "panel",
        "verdict",
        "asks",
        "criterion",
        "because",
        "nearest",
        "own",
        "allowed",
        "evidence",
        "carried_over",
        "under_way",
        "behind",
        "lacking_specimens",
        "lacks",
        "assumptions",
    ];
    assert_eq!(keys(&got["panels"][0]), wanted);
    assert_eq!(got["panels"][1]["panel"], "tail-fairing");
    let wanted = [
        "evidence",
        "kind",
        "state",
        "recorded_for",
        "carried_over",
        "made",
        "baseline",
        "altered",
        "report",
        "file",
        "data",
        "digest",
        "sample",
    ];
    assert_eq!(keys(&got["evidence"][0]), wanted);
    assert_eq!(got["evidence"][0]["report"], "R-17 issue 2");
    let chain: Vec<String> = got["chain"]
        .as_array()
        .unwrap()
        .iter()
        .map(|link| format!("{} {}", link["role"].as_str().unwrap(), link["name"].as_str().unwrap()))
        .collect();
    let expected = [
        "clause CS 23.2260",
        "clause 14 CFR 23.2260",
        "showing showing/tension",
        "subject lamina/cw@oven",
        "record material/cw",
        "record process/oven",
        "panel panel/bow-hatch",
        "panel panel/tail-fairing",
        "evidence evidence/tension-1",
    ];
    assert_eq!(chain, expected);
    assert_eq!(got["chain"][4]["file"], "materials/cw.yaml");
    let after = json(&all, &duty(&all, "compression"), &[]).unwrap();
    assert!(after["chain"].as_array().unwrap().iter().any(|link| link["role"] == "after"));
}

#[test]
fn evidence_of_another_subject_is_marked_as_carried_over() {
    // A second material of the same fibre and resin is another subject with an equal configuration.
    let twin = "materials:\n  cw-b:\n    kind: prepreg\n    fibre: {name: f, type: carbon, density: 1.78 g/cm3, areal: 200 g/m2}\n    resin: {name: r, density: 1.25 g/cm3, content: 38 %}\n    cured_thickness: 0.2 mm";
    let mut all = edited("materials:", twin);
    let recipe = all.recipes.get_mut("solid").unwrap();
    let recipe = std::sync::Arc::make_mut(&mut recipe.value);
    for layer in &mut recipe.layers {
        layer.material = crate::record::MaterialRef::parse("cw-b").unwrap();
    }
    let duty = judged(&all)
        .duties
        .remove(&("tension".to_string(), Subject::parse("lamina/cw-b@oven").unwrap()))
        .unwrap();
    let got = json(&all, &duty, &[]).unwrap();
    assert_eq!((&got["verdict"], &got["evidence"][0]["carried_over"]), (&json!("met"), &json!(true)));
    let words = text(&all, &duty, &[], &Frame::default()).unwrap();
    assert!(words.contains("carried over for tail-fairing"), "{words}");
}

#[test]
fn text_fits_and_tells_the_reason() {
    let all = edited("areal: 200 g/m2", "areal: 240 g/m2");
    for width in [40, 60, 80] {
        let frame = Frame::of(&all, width, Style::default(), false);
        let got = text(&all, &duty(&all, "tension"), &[], &frame).unwrap();
        fits(&got, width);
        let flat = got.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in [
            "▽ lapsed tension lamina/cw@oven",
            "Asked: every value at least 500 MPa, by ASTM D3039-17; needed by type-approval.",
            "▽ lapsed bow-hatch, tail-fairing, asks retest",
            "fibre-areal.a: 200 g/m2 → 240 g/m2; asks retest",
            "recorded for lamina/cw@oven; made 2025-05-02; report R-17 issue 2",
            "clause CS 23.2260 (showings/tension.yaml)",
        ] {
            assert!(flat.contains(part), "{part} in\n{got}");
        }
    }
    let open = text(&all, &duty(&all, "flatwise"), &[], &Frame::default()).unwrap();
    assert!(open.contains("Nothing recorded."), "{open}");
}

#[test]
fn criteria_read_as_words() {
    let words = |text: &str| criterion_words(&serde_yaml::from_str::<Accept>(text).unwrap());
    assert_eq!(words("{basis: B, at_least: 520 MPa}"), "B-basis at least 520 MPa");
    assert_eq!(words("{above_skin_by: 28 K}"), "above the skin on the ramp by 28 K");
    assert_eq!(words("{statement: true}"), "stated to be so");
    assert_eq!(words("{}"), "no criterion");
}

/// A correction that is only planned stands in for nothing; the finished one is named.
#[test]
fn what_stands_in_for_a_record_is_the_one_that_counts() {
    use crate::record::EvidenceState;
    use std::sync::Arc;
    let mut all = base();
    let old = all.evidence["tension-1"].clone();
    for (id, state) in [("a-planned", EvidenceState::Planned), ("z-finished", EvidenceState::Done)] {
        let mut value = (*old.value).clone();
        value.state = state;
        value.supersedes = Some(serde_yaml::from_str("tension-1").unwrap());
        all.evidence
            .insert(id.to_string(), Entry { id: id.to_string(), value: Arc::new(value), ..old.clone() });
    }
    let aside = set_aside(&all, &duty(&all, "tension"));
    assert_eq!(aside, [("tension-1".to_string(), "superseded by evidence/z-finished".to_string())]);
}
