//! The mechanism on a small invented ledger: what lapses, what must not, and why.

use super::conform::conformity;
use super::retest::plan;
use super::verdict::{Evaluation, Verdict, evaluate};
use crate::article::{Subject, fixture};
use crate::change::impact::{Impact, impact};
use crate::ledger::{Entry, Ledger, Specimen, TestData};
use crate::record::sensitivity::Asks;
use crate::record::{Conformed, Day, Evidence};
use std::collections::BTreeMap;
use std::sync::Arc;

pub(crate) fn today() -> Day {
    Day::parse("2026-06-01").unwrap()
}

/// An invented ledger: a hatch and a float, one prepreg, a mesh, two finishes.
const BASE: &str = r#"
ledger:
  format: 1
  programme: Test (invented)
  currency: EUR
  milestones: [first-flight, type-approval]
  climate: {ambient: 43 degC, irradiance: 1120 W/m2, sky: 25 degC, wind: 1 m/s, structural_wind: 2 m/s}
  rates: {specimen: 100 EUR, panel_layup: 500 EUR}
materials:
  cw-200: {kind: prepreg, fibre: {name: hs-a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}, resin: {name: ep-1, density: 1240 kg/m3, content: 37 %}, form: twill}
  foam-52: {kind: core, density: 52 kg/m3, form: foam}
  film-150: {kind: adhesive, areal: 150 g/m2}
  mesh-73: {kind: mesh, areal: 73 g/m2, metal: copper}
  veil-90: {kind: surfacing, areal: 90 g/m2}
  prime-x: {kind: coating, role: primer, dry_density: 1500 kg/m3}
  white-y: {kind: coating, role: colour, dry_density: 1400 kg/m3}
  blue-y: {kind: coating, role: colour, dry_density: 1300 kg/m3}
  clear-z: {kind: coating, role: clear, dry_density: 1150 kg/m3}
processes:
  oven-120: {method: oven, cure: [{ramp: 2 K/min, to: 120 degC, hold: 90 min}], vacuum: 900 mbar, site: hall one}
finishes:
  white:
    colour: {name: white, solar_absorptance: 0.30, emittance: 0.90}
    coats: [{material: prime-x, dry_film: 25 um}, {material: white-y, dry_film: 40 um}]
  blue:
    colour: {name: night blue, solar_absorptance: 0.90, emittance: 0.90}
    coats: [{material: prime-x, dry_film: 25 um}, {material: blue-y, dry_film: 20 um}, {material: clear-z, dry_film: 40 um}, {material: clear-z, dry_film: 40 um}]
recipes:
  hatch-outer:
    class: structural
    status: frozen
    process: oven-120
    layers:
      - {material: veil-90}
      - {material: mesh-73}
      - {material: cw-200, angle: 45}
      - {material: cw-200, angle: 0}
      - {material: film-150}
      - {material: foam-52, thickness: 6 mm}
      - {material: film-150}
      - {material: cw-200, angle: 0}
  float-skin:
    class: structural
    process: oven-120
    layers: [{material: cw-200, angle: 45}, {material: cw-200, angle: 0}, {material: cw-200, angle: 45}]
panels:
  hatch:
    released: true
    class: structural
    exposure: {zone: outdoor, lightning: 2A, minimum: -54 degC}
    zones: [{name: outer, area: 1 m2, recipe: hatch-outer, finish: white}]
  float:
    class: structural
    exposure: {zone: outdoor, minimum: -54 degC}
    zones: [{name: shell, area: 2 m2, recipe: float-skin, finish: white}]
showings:
  tension-etw:
    kind: lamina-strength-fibre
    accept: {basis: B, at_least: 500 MPa}
    environment: {name: ETW, temperature: 82 degC, moisture: equilibrium}
    plan: {batches: 3, panels_per_batch: 2, specimens: 18, weeks: 2, conditioning: {to: 95 %, coupon_thickness: 2 mm}}
  tension-rtd:
    kind: lamina-strength-fibre
    accept: {basis: B, at_least: 500 MPa}
    environment: {name: RTD, temperature: 21 degC}
    plan: {batches: 3, panels_per_batch: 2, specimens: 18, weeks: 1}
  modulus: {kind: lamina-modulus, accept: {mean_at_least: 50 GPa}, environment: {name: RTD, temperature: 21 degC}}
  wet-tg: {kind: glass-transition, accept: {above_skin_by: 28 K}}
  zap: {kind: lightning, accept: {statement: true}, after: [adhesion]}
  adhesion: {kind: paint-adhesion, accept: {rating_at_least: 4}}
  weathering: {kind: paint-weathering, accept: {rating_at_least: 4}}
  core-shear: {kind: core-shear, accept: {mean_at_least: 0.5 MPa}}
  physicals: {kind: physicals, accept: {statement: true}}
evidence:
  e-etw: {showing: tension-etw, subject: {lamina: [cw-200, oven-120]}, kind: test, state: done}
  e-rtd: {showing: tension-rtd, subject: {lamina: [cw-200, oven-120]}, kind: test, state: done}
  e-mod: {showing: modulus, subject: {lamina: [cw-200, oven-120]}, kind: test, state: done, result: {value: 55 GPa}}
  e-tg: {showing: wet-tg, subject: {lamina: [cw-200, oven-120]}, kind: test, state: done, result: {value: 110 degC}}
  e-zap: {showing: zap, subject: {painted: [hatch-outer, white]}, kind: test, state: done, result: {statement: true}}
  e-adh: {showing: adhesion, subject: {painted: [hatch-outer, white]}, kind: test, state: done, result: {rating: 5}}
  e-adh-f: {showing: adhesion, subject: {painted: [float-skin, white]}, kind: test, state: done, result: {rating: 5}}
  e-wea: {showing: weathering, subject: {painted: [hatch-outer, white]}, kind: test, state: done, result: {rating: 5}}
  e-core: {showing: core-shear, subject: {laminate: hatch-outer}, kind: test, state: done, result: {value: 0.6 MPa}}
  e-phy: {showing: physicals, subject: {laminate: hatch-outer}, kind: inspection, state: done, result: {statement: true}}
  e-phy-f: {showing: physicals, subject: {laminate: float-skin}, kind: inspection, state: done, result: {statement: true}}
"#;

/// Eighteen strengths, three batches of two panels; B-basis well above 500 MPa.
fn strengths() -> TestData {
    let mut rows = Vec::new();
    for at in 0..18 {
        rows.push(Specimen {
            batch: format!("b{}", at % 3).into(),
            panel: format!("p{}", at % 2).into(),
            specimen: format!("s{at}").into(),
            value: 600.0 + f64::from((at * 7) % 11) - 5.0,
            line: at as usize + 2,
            ..Specimen::default()
        });
    }
    TestData {
        file: "x.csv".into(),
        digest: "sha256:0".into(),
        unit: Some("MPa".into()),
        rows: rows.into(),
        ..TestData::default()
    }
}

/// Conforms every finished record as the ledger stands.
pub(crate) fn conform_all(ledger: &mut Ledger) {
    let made: Vec<(String, Conformed)> = ledger
        .evidence
        .values()
        .filter(|entry| entry.value.conformed.is_none())
        .map(|entry| {
            let conformity = conformity(ledger, entry, Some("abc")).unwrap();
            let block: BTreeMap<String, Conformed> = serde_yaml::from_str(&conformity.block()).unwrap();
            (entry.id.clone(), block["conformed"].clone())
        })
        .collect();
    for (id, conformed) in made {
        let entry = ledger.evidence.get_mut(&id).unwrap();
        let mut value: Evidence = (*entry.value).clone();
        value.conformed = Some(conformed);
        *entry = Entry { value: Arc::new(value), ..entry.clone() };
    }
}

fn with_data(mut ledger: Ledger) -> Ledger {
    for id in ["e-etw", "e-rtd"] {
        ledger.data.insert(id.to_string(), strengths());
    }
    ledger
}

pub(crate) fn base() -> Ledger {
    let mut ledger = with_data(fixture::ledger(BASE));
    conform_all(&mut ledger);
    ledger
}

/// The base with its text edited, the evidence conformed as the base was.
fn edited(edits: &[(&str, &str)]) -> Ledger {
    let mut text = BASE.to_string();
    for (from, to) in edits {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    let mut ledger = with_data(fixture::ledger(&text));
    let old = base();
    for (id, entry) in &mut ledger.evidence {
        if let Some(before) = old.evidence.get(id) {
            let mut value: Evidence = (*entry.value).clone();
            value.conformed.clone_from(&before.value.conformed);
            entry.value = Arc::new(value);
        }
    }
    ledger
}

fn verdicts(evaluation: &Evaluation) -> BTreeMap<String, (Verdict, Asks)> {
    evaluation
        .duties
        .values()
        .map(|duty| (format!("{} {}", duty.showing, duty.subject), (duty.verdict(), duty.asks())))
        .collect()
}

fn changed(edits: &[(&str, &str)]) -> (Impact, BTreeMap<String, (Verdict, Asks)>) {
    let (old, new) = (base(), edited(edits));
    let found = impact((&old, "base"), (&new, "head"), today()).unwrap();
    (found, verdicts(&evaluate(&new, today()).unwrap()))
}

#[test]
fn everything_conformed_is_met() {
    let evaluation = evaluate(&base(), today()).unwrap();
    let open: Vec<_> = evaluation
        .duties
        .values()
        .filter(|duty| duty.verdict() != Verdict::Met)
        .map(|duty| format!("{} {} {} {:?}", duty.showing, duty.subject, duty.verdict(), duty.because()))
        .collect();
    assert!(open.is_empty(), "{open:#?}");
    let names: Vec<String> = verdicts(&evaluation).into_keys().collect();
    assert!(names.contains(&"core-shear laminate/hatch-outer".to_string()));
    assert!(!names.contains(&"core-shear laminate/float-skin".to_string()), "no core, no duty");
    assert!(!names.contains(&"zap painted/float-skin+white".to_string()), "no lightning zone, no duty");
}

#[test]
fn resin_content_inside_the_window_asks_nothing() {
    let (found, _) = changed(&[("content: 37 %", "content: 38 %")]);
    assert!(found.duties.is_empty(), "{:#?}", found.duties);
    assert_eq!(found.changes.len(), 1);
    assert_eq!(found.changes[0].facet.as_deref(), Some("resin-content"));
    assert_eq!(found.changes[0].address, "material/cw-200#resin.content");
}

#[test]
fn leaner_resin_beyond_the_window_asks_equivalence_for_strength_and_analysis_for_modulus() {
    let (found, now) = changed(&[("content: 37 %", "content: 39.5 %")]);
    assert_eq!(now["tension-etw lamina/cw-200@oven-120"], (Verdict::Lapsed, Asks::Equivalence));
    assert_eq!(now["tension-rtd lamina/cw-200@oven-120"], (Verdict::Lapsed, Asks::Equivalence));
    assert_eq!(now["modulus lamina/cw-200@oven-120"], (Verdict::Lapsed, Asks::Analysis));
    // One lamina set, not one per recipe.
    let laminas = found.duties.iter().filter(|row| matches!(row.subject, Subject::Lamina { .. })).count();
    assert_eq!(laminas, 4, "tension twice, modulus, wet Tg");
    let etw = found.duties.iter().find(|row| row.showing == "tension-etw").unwrap();
    assert_eq!(etw.because[0].attribute, "resin-content.a");
    assert_eq!((etw.because[0].was.as_str(), etw.because[0].is.as_str()), ("37 %", "39.5 %"));
    assert_eq!(now["weathering painted/hatch-outer+white"].0, Verdict::Met);
}

#[test]
fn the_edge_of_a_window_is_inside() {
    assert_eq!(
        changed(&[("content: 37 %", "content: 39 %")]).1["tension-rtd lamina/cw-200@oven-120"].0,
        Verdict::Met
    );
    let (_, now) = changed(&[("content: 37 %", "content: 41.1 %")]);
    assert_eq!(now["tension-rtd lamina/cw-200@oven-120"], (Verdict::Lapsed, Asks::Retest));
}

#[test]
fn night_blue_on_the_hatch_lapses_for_the_hatch_only() {
    let (found, now) =
        changed(&[("recipe: hatch-outer, finish: white", "recipe: hatch-outer, finish: blue")]);
    assert_eq!(now["tension-etw lamina/cw-200@oven-120"], (Verdict::Lapsed, Asks::Retest));
    assert_eq!(now["tension-rtd lamina/cw-200@oven-120"].0, Verdict::Met);
    let row = found.duties.iter().find(|row| row.showing == "tension-etw").unwrap();
    assert_eq!(row.panels, ["hatch"], "the white float that shares the prepreg stays covered");
    assert!(row.because[0].is.contains("85.6 degC"), "{:?}", row.because);
    assert_eq!(now["wet-tg lamina/cw-200@oven-120"].0, Verdict::Failed, "the requirement moved");
    assert_eq!(now["zap painted/hatch-outer+blue"].0, Verdict::Lapsed);
    assert_eq!(now["adhesion painted/hatch-outer+blue"].0, Verdict::Lapsed);
    assert_eq!(now["weathering painted/hatch-outer+blue"], (Verdict::Lapsed, Asks::Retest));
    assert_eq!(now["adhesion painted/float-skin+white"].0, Verdict::Met);
    let zap = found.duties.iter().find(|row| row.showing == "zap").unwrap();
    assert_eq!(
        zap.was_subject.as_ref().map(ToString::to_string).as_deref(),
        Some("painted/hatch-outer+white")
    );
    assert!(zap.because.iter().any(|reason| reason.attribute == "film-build.max"), "{:?}", zap.because);
    assert!(found.ended.is_empty(), "{:?}", found.ended);
    assert!(found.mass.1 > found.mass.0);
    assert_eq!(found.grounded, ["hatch"]);
    assert!(found.verdict.contains("hatch"), "{}", found.verdict);
}

#[test]
fn renaming_changes_nothing() {
    for edits in [
        &[("hatch-outer", "bow-outer")][..],
        &[
            ("finish: white", "finish: snow"),
            ("  white:\n    colour: {name: white", "  snow:\n    colour: {name: white"),
            ("[hatch-outer, white]", "[hatch-outer, snow]"),
            ("[float-skin, white]", "[float-skin, snow]"),
        ],
        &[("oven-120", "oven-one")],
        &[("cw-200", "cloth-one")],
    ] {
        let (found, now) = changed(edits);
        assert!(found.duties.is_empty(), "{edits:?}: {:#?}", found.duties);
        assert!(found.ended.is_empty(), "{edits:?}: {:?}", found.ended);
        assert!((found.mass.0 - found.mass.1).abs() < 1e-12);
        assert!(now.values().all(|(verdict, _)| *verdict == Verdict::Met));
        assert!(found.changes.iter().all(|change| change.facet.is_none()), "{:#?}", found.changes);
    }
}

#[test]
fn a_site_changed_in_place_or_by_a_new_process_asks_the_same() {
    let (_, in_place) = changed(&[("site: hall one", "site: hall two")]);
    let renamed = [("oven-120", "oven-two"), ("site: hall one", "site: hall two")];
    let (_, by_id) = changed(&renamed);
    assert_eq!(in_place["tension-etw lamina/cw-200@oven-120"], (Verdict::Lapsed, Asks::Equivalence));
    assert_eq!(by_id["tension-etw lamina/cw-200@oven-two"], (Verdict::Lapsed, Asks::Equivalence));
    assert_eq!(in_place["weathering painted/hatch-outer+white"].0, Verdict::Met);
    let (found, _) = changed(&[("site: hall one", "site: hall two")]);
    let step = found.retest.steps.iter().find(|step| step.showing == "tension-etw").unwrap();
    assert_eq!(step.specimens, 9, "eight and a tenth spare, rounded up, not eighteen");
}

#[test]
fn dropping_the_core_ends_core_duties_and_keeps_laminas() {
    let (found, now) = changed(&[(
        "      - {material: film-150}\n      - {material: foam-52, thickness: 6 mm}\n      - {material: film-150}\n",
        "",
    )]);
    assert!(found.ended.iter().any(|(showing, ..)| showing == "core-shear"), "{:?}", found.ended);
    assert!(!now.contains_key("core-shear laminate/hatch-outer"));
    assert_eq!(now["tension-etw lamina/cw-200@oven-120"].0, Verdict::Met);
    assert_eq!(now["zap painted/hatch-outer+white"], (Verdict::Lapsed, Asks::Equivalence));
    assert_eq!(now["physicals laminate/hatch-outer"].0, Verdict::Lapsed);
    assert_eq!(found.changes.len(), 3, "three layers gone: {:#?}", found.changes);
    assert!(found.mass.1 < found.mass.0);
}

#[test]
fn a_primer_of_equal_density_lapses_adhesion_but_weighs_the_same() {
    let (found, now) = changed(&[("prime-x", "prime-w")]);
    assert!((found.mass.0 - found.mass.1).abs() < 1e-12);
    assert_eq!(now["adhesion painted/hatch-outer+white"], (Verdict::Lapsed, Asks::Retest));
    assert_eq!(now["zap painted/hatch-outer+white"].0, Verdict::Lapsed);
    assert_eq!(now["tension-rtd lamina/cw-200@oven-120"].0, Verdict::Met);
}

#[test]
fn two_small_steps_equal_one_large_one() {
    let (_, direct) = changed(&[("content: 37 %", "content: 39.5 %")]);
    // Conformity is by value against what was made: the way there plays no part.
    let middle = edited(&[("content: 37 %", "content: 38 %")]);
    let last = edited(&[("content: 37 %", "content: 39.5 %")]);
    let found = impact((&middle, "38"), (&last, "39.5"), today()).unwrap();
    let laminas = found.duties.iter().filter(|row| matches!(row.subject, Subject::Lamina { .. })).count();
    assert_eq!(laminas, 4, "{:#?}", found.duties);
    assert_eq!(verdicts(&evaluate(&last, today()).unwrap()), direct);
}

#[test]
fn the_plan_says_specimens_weeks_and_cost() {
    let (found, _) = changed(&[("recipe: hatch-outer, finish: white", "recipe: hatch-outer, finish: blue")]);
    let etw = found.retest.steps.iter().find(|step| step.showing == "tension-etw").unwrap();
    assert_eq!((etw.specimens, etw.panels), (20, 6), "18 and 10 % spare; 3 batches of 2 panels");
    // t95 = 0.282252 h2/D (exact Fick series) with h = 2 mm, D = 3e-7 mm2/s: 43.56 days.
    assert!((etw.conditioning_weeks - 0.282_252 * 4.0 / 3e-7 / 86_400.0 / 7.0).abs() < 1e-4);
    assert!((etw.weeks - etw.conditioning_weeks - 2.0).abs() < 1e-9);
    assert_eq!(etw.cost, Some(20.0 * 100.0 + 6.0 * 500.0));
    assert!(found.retest.cost.is_some(), "{:?}", found.retest.missing);
    let zap = found.retest.steps.iter().find(|step| step.showing == "zap").unwrap();
    let adhesion = found.retest.steps.iter().find(|step| step.showing == "adhesion").unwrap();
    assert!((zap.start - adhesion.finish()).abs() < 1e-9, "zap comes after adhesion");
    let all: Vec<_> = evaluate(&base(), today()).unwrap().duties.into_keys().collect();
    assert!(plan(&base(), &evaluate(&base(), today()).unwrap(), &all).steps.is_empty());
}

#[test]
fn undoing_restores_every_verdict_and_impact_is_opposite() {
    let (old, new) = (base(), edited(&[("content: 37 %", "content: 39.5 %")]));
    let there = impact((&old, "a"), (&new, "b"), today()).unwrap();
    let back = impact((&new, "b"), (&old, "a"), today()).unwrap();
    assert_eq!(there.duties.len(), back.duties.len());
    for (one, two) in there.duties.iter().zip(&back.duties) {
        assert_eq!((one.was, Some(one.now)), (Some(two.now), two.was));
        assert!(two.is_restored() && !two.because.is_empty());
    }
    assert!((there.mass.0 - back.mass.1).abs() < 1e-12);
}

#[test]
fn the_ledger_knows_the_kinds_of_the_table() {
    let table = super::table::Table::built_in().unwrap();
    let known: Vec<&str> = crate::ledger::KNOWN_SHOWING_KINDS.iter().map(|kind| kind.word).collect();
    let mut sorted = known.clone();
    sorted.sort_unstable();
    assert_eq!(sorted, table.kinds.keys().map(String::as_str).collect::<Vec<_>>());
    for kind in crate::ledger::KNOWN_SHOWING_KINDS {
        let row = &table.kinds[kind.word];
        assert_eq!(row.subject, kind.own.word(), "{}", kind.word);
        let mut also: Vec<&str> = kind.also.iter().map(|kind| kind.word()).collect();
        let mut of_table: Vec<&str> = row.also.iter().map(String::as_str).collect();
        also.sort_unstable();
        of_table.sort_unstable();
        assert_eq!(also, of_table, "{}", kind.word);
    }
}

#[test]
fn a_first_look_never_says_more_than_the_whole_comparison() {
    let film = "      - {material: film-150}\n      - {material: foam-52, thickness: 6 mm}\n      - {material: film-150}\n";
    let edits = [
        ("content: 37 %", "content: 37 %"),
        ("content: 37 %", "content: 39.5 %"),
        ("prime-x", "prime-w"),
        ("thickness: 6 mm", "thickness: 9 mm"),
        ("angle: 45}", "angle: 30}"),
        (film, ""),
    ];
    for edit in edits {
        let (sure, wrong) = super::compared::first_looks(&edited(&[edit])).expect("it has an answer");
        assert!(sure > 0, "{edit:?}");
        let ledger = edited(&[edit]);
        let whole = super::verdict::evaluate_in_whole(&ledger, today()).expect("it has an answer");
        assert_eq!(whole.duties, evaluate(&ledger, today()).expect("it has an answer").duties, "{edit:?}");
        assert_eq!(wrong, Vec::<String>::new(), "{edit:?}");
    }
}
