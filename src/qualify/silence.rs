//! Ways in which a difference could go unasked, or be asked for nothing: each was found by review once.

use super::tests::{conform_all, today};
use super::verdict::{evaluate, evaluate_in_whole};
use crate::article::fixture;
use crate::change::impact::impact;
use crate::ledger::{Entry, Ledger};
use crate::record::Evidence;
use std::collections::BTreeMap;
use std::sync::Arc;

mod pairs;

const HEAD: &str = r#"
ledger:
  format: 1
  programme: Test (invented)
  milestones: [first-flight, type-approval]
  climate: {ambient: 43 degC, irradiance: 1120 W/m2, sky: 25 degC, wind: 1 m/s, structural_wind: 2 m/s}
materials:
  cw: {kind: prepreg, fibre: {name: hs-a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}, resin: {name: ep-1, density: 1240 kg/m3, content: 37 %}, form: twill}
  gw: {kind: fabric, areal: 300 g/m2, fibre: {name: e, type: glass, density: 2560 kg/m3}, form: twill}
  ra: {kind: resin, density: 1150 kg/m3}
  foam: {kind: core, density: 52 kg/m3}
  film: {kind: adhesive, areal: 150 g/m2}
  paste: {kind: adhesive, density: 1100 kg/m3}
  pane: {kind: sheet, density: 1190 kg/m3}
  prime: {kind: coating, role: primer, dry_density: 1500 kg/m3}
  col: {kind: coating, role: colour, dry_density: 1400 kg/m3}
  pat: {kind: part, mass: 1 kg}
tools:
  master: {kind: pattern, body: mdf}
  plug: {kind: pattern, from: master, body: glass}
  mould: {kind: mould, from: plug, body: carbon, survey: s1}
  mould2: {kind: mould, from: plug, body: carbon, survey: s2}
processes:
  oven: {method: oven, site: one}
  inf: {method: infusion, site: one}
  brt: {method: bond, site: one}
finishes:
  white:
    colour: {name: white, solar_absorptance: 0.30, emittance: 0.90}
    coats: [{material: prime, dry_film: 25 um}, {material: col, dry_film: 40 um}]
recipes:
  solid: {process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 90}]}
  sand: {process: oven, layers: [{material: cw, angle: 0}, {material: film}, {material: foam, thickness: 6 mm}, {material: film}, {material: cw, angle: 0}]}
  dry1: {process: inf, layers: [{material: gw, angle: 0}], resin: {material: ra, content: 36 % +/- 1 %}}
  dry2: {process: inf, layers: [{material: gw, angle: 0}, {material: gw, angle: 90}], resin: {material: ra, content: 36 % +/- 1 %}}
"#;

fn load(body: &str, edits: &[(&str, &str)], old: Option<&Ledger>) -> Ledger {
    let mut text = format!("{HEAD}{body}");
    for (from, to) in edits {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    let mut ledger = fixture::ledger(&text);
    match old {
        None => conform_all(&mut ledger),
        Some(old) => {
            for (id, entry) in &mut ledger.evidence {
                if let Some(before) = old.evidence.get(id) {
                    let mut value: Evidence = (*entry.value).clone();
                    value.conformed.clone_from(&before.value.conformed);
                    *entry = Entry { value: Arc::new(value), ..entry.clone() };
                }
            }
        }
    }
    ledger
}

/// Verdict and asks by showing, subject and panel; a first look may change nothing of it.
fn judged(ledger: &Ledger) -> BTreeMap<String, String> {
    let evaluation = evaluate(ledger, today()).unwrap();
    assert_eq!(evaluation.duties, evaluate_in_whole(ledger, today()).unwrap().duties);
    let (_, wrong) = super::compared::first_looks(ledger).unwrap();
    assert_eq!(wrong, Vec::<String>::new());
    evaluation
        .duties
        .values()
        .flat_map(|duty| {
            duty.panels.iter().map(|(panel, judged)| {
                (format!("{} {panel}", duty.showing), format!("{} {}", judged.verdict, judged.asks))
            })
        })
        .collect()
}

/// Conforms `body` and asserts that all is met; then edits it and returns the verdicts.
fn after(body: &str, edits: &[(&str, &str)]) -> BTreeMap<String, String> {
    let old = load(body, &[], None);
    let before = judged(&old);
    assert!(before.values().all(|verdict| verdict == "met none"), "as conformed: {before:?}");
    judged(&load(body, edits, Some(&old)))
}

const PANEL: &str = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: solid, finish: white}]}}\n";
const LAMINA: &str = "showings: {t: {kind: lamina-strength-matrix, accept: {all_at_least: 500 MPa}}}\nevidence: {e: {showing: t, subject: {lamina: [cw, oven]}, kind: test, state: done, result: {value: 600 MPa}}}\n";
const PANEL_TEST: &str = "showings: {st: {kind: static-strength, accept: {statement: true}}}\nevidence: {e: {showing: st, subject: {panel: p}, kind: test, state: done, result: {statement: true}}}\n";

#[test]
fn a_dropped_or_swapped_cure_step_is_asked() {
    let body = format!("{PANEL}{LAMINA}");
    let cure = |steps: &str| format!("oven: {{method: oven, site: one, cure: [{steps}]}}");
    let (low, high) =
        ("{ramp: 2 K/min, to: 80 degC, hold: 45 min}", "{ramp: 2 K/min, to: 120 degC, hold: 90 min}");
    let plain = "oven: {method: oven, site: one}";
    let both = cure(&format!("{low}, {high}"));
    let old = load(&body, &[(plain, &both)], None);
    let dropped = judged(&load(&body, &[(plain, &cure(low))], Some(&old)));
    assert_eq!(dropped["t p"], "lapsed retest");
    let swapped = judged(&load(&body, &[(plain, &cure(&format!("{high}, {low}")))], Some(&old)));
    assert_ne!(swapped["t p"], "met none");
}

#[test]
fn loads_are_asked_when_they_are_new_or_larger_and_not_when_lower() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: solid}], loads: [{name: suction, pressure: 3.2 kPa, factor: 1.5}]}}\n".to_string() + PANEL_TEST;
    let new = [("factor: 1.5}]", "factor: 1.5}, {name: rail, pressure: 90 kPa, factor: 1.5}]")];
    assert_eq!(after(&body, &new)["st p"], "lapsed retest");
    assert_eq!(after(&body, &[("3.2 kPa", "3.0 kPa")])["st p"], "met none");
    assert_eq!(after(&body, &[("3.2 kPa", "3.2 kPa +/- 50 %")])["st p"], "lapsed retest");
    assert_eq!(after(&body, &[("factor: 1.5", "factor: 1.6")])["st p"], "lapsed retest");
}

#[test]
fn panel_evidence_carries_over_between_equal_panels_only() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: solid}], loads: [{name: s, pressure: 1 kPa}]}, q: {zones: [{name: a, area: 1 m2, recipe: solid}], loads: [{name: s, pressure: 1 kPa}, {name: big, pressure: 99 kPa}]}, r: {zones: [{name: a, area: 1 m2, recipe: solid}], loads: [{name: s, pressure: 1 kPa}]}}\n".to_string() + PANEL_TEST;
    let found = judged(&load(&body, &[], None));
    assert_eq!((found["st p"].as_str(), found["st r"].as_str()), ("met none", "met none"));
    assert_eq!(found["st q"], "open retest");
}

#[test]
fn a_hot_test_without_a_temperature_does_not_bound_heat() {
    let body = format!(
        "{PANEL}showings: {{etw: {{kind: lamina-strength-fibre, accept: {{all_at_least: 500 MPa}}, environment: {{name: ETW, moisture: equilibrium}}}}}}\nevidence: {{e: {{showing: etw, subject: {{lamina: [cw, oven]}}, kind: test, state: done, result: {{value: 600 MPa}}}}}}\n"
    );
    assert_eq!(judged(&load(&body, &[], None))["etw p"], "lapsed retest");
}

const BOND: &str = "showings: {bs: {kind: bond-shear, accept: {all_at_least: 1 MPa}}}\nevidence: {e: {showing: bs, subject: {bond: [paste, brt, laminate.solid, laminate.solid]}, kind: test, state: done, result: {value: 2 MPa}}}\n";

#[test]
fn every_joint_and_both_faces_of_a_bond_count() {
    let joint = |name: &str, dims: &str| {
        format!("{{name: {name}, adhesive: paste, process: brt, between: [a, b], {dims}, length: 1 m}}")
    };
    let usual = "role: structural, width: 18 mm, thickness: 0.5 mm";
    let body = format!(
        "panels: {{p: {{zones: [{{name: a, area: 1 m2, recipe: solid, finish: white}}, {{name: b, area: 1 m2, recipe: solid}}], joints: [{}, {}]}}}}\n{BOND}",
        joint("j1", usual),
        joint("j2", usual)
    );
    let sealing = joint("j2", "role: sealing, width: 4 mm, thickness: 4 mm");
    assert_eq!(after(&body, &[(&joint("j2", usual), &sealing)])["bs p"], "lapsed analysis");
    let painted =
        [("{name: b, area: 1 m2, recipe: solid}", "{name: b, area: 1 m2, recipe: solid, finish: white}")];
    assert_eq!(after(&body, &painted)["bs p"], "lapsed equivalence", "its primer lies under the bond");
}

#[test]
fn a_bond_is_credited_with_its_own_faces_exposure_only() {
    let body = format!(
        "panels: {{p: {{exposure: {{zone: indoor}}, zones: [{{name: a, area: 1 m2, recipe: solid}}, {{name: b, area: 1 m2, recipe: solid}}, {{name: w, area: 1 m2, recipe: solid, exposure: {{zone: outdoor}}}}], joints: [{{name: j, adhesive: paste, process: brt, between: [a, b], width: 18 mm, length: 1 m}}]}}}}\n{BOND}"
    );
    assert_ne!(
        after(&body, &[("exposure: {zone: indoor}", "exposure: {zone: outdoor}")])["bs p"],
        "met none"
    );
}

#[test]
fn films_inside_a_face_are_not_the_bonds_adhesive() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: sand}, {name: b, area: 1 m2, recipe: solid}], joints: [{name: j, adhesive: paste, process: brt, between: [a, b], width: 18 mm, length: 1 m}]}}\nshowings: {bs: {kind: bond-shear, accept: {all_at_least: 1 MPa}}}\nevidence: {e: {showing: bs, subject: {bond: [paste, brt, laminate.sand, laminate.solid]}, kind: test, state: done, result: {value: 2 MPa}}}\n";
    assert_eq!(after(body, &[("areal: 150 g/m2", "areal: 250 g/m2")])["bs p"], "met none");
}

#[test]
fn what_is_conformed_over_several_panels_conforms_for_each() {
    let two = "panels: {p: {tool: mould, zones: [{name: a, area: 1 m2, recipe: sand, finish: white}, {name: b, area: 1 m2, recipe: solid}], joints: [{name: j, adhesive: paste, process: brt, between: [a, b], role: structural, length: 1 m, width: 18 mm}]}, q: {tool: mould2, zones: [{name: a, area: 1 m2, recipe: sand}, {name: b, area: 1 m2, recipe: solid}], joints: [{name: j, adhesive: paste, process: brt, between: [a, b], role: sealing, length: 1 m, width: 20 mm}]}}\nshowings: {bs: {kind: bond-shear, accept: {all_at_least: 1 MPa}}, ph: {kind: physicals, accept: {statement: true}}, t: {kind: lamina-strength-fibre, accept: {all_at_least: 500 MPa}}}\nevidence: {e: {showing: bs, subject: {bond: [paste, brt, laminate.sand, laminate.solid]}, kind: test, state: done, result: {value: 2 MPa}}, f: {showing: ph, subject: {laminate: solid}, kind: inspection, state: done, result: {statement: true}}, g: {showing: ph, subject: {laminate: sand}, kind: inspection, state: done, result: {statement: true}}, h: {showing: t, subject: {lamina: [cw, oven]}, kind: test, state: done, result: {value: 600 MPa}}}\n";
    // A core without a form and two moulds with a chain behind each are in it too.
    assert_eq!(after(two, &[])["bs q"], "met none");
}

#[test]
fn tolerances_of_every_dry_content_count() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: dry1}, {name: b, area: 1 m2, recipe: dry2}]}}\nshowings: {t: {kind: lamina-strength-fibre, accept: {all_at_least: 500 MPa}}}\nevidence: {e: {showing: t, subject: {lamina: [gw, ra, inf]}, kind: test, state: done, result: {value: 600 MPa}}}\n";
    let second = |content: &str| format!("angle: 90}}], resin: {{material: ra, content: {content}}}");
    let usual = second("36 % +/- 1 %");
    assert_eq!(after(body, &[(&usual, &second("36 % +/- 9 %"))])["t p"], "lapsed analysis");
    assert_ne!(after(body, &[(&usual, &second("41 % +/- 1 %"))])["t p"], "met none");
    let old = load(body, &[(&usual, &second("38 % +/- 2 %"))], None);
    assert_eq!(judged(&old)["t p"], "met none", "both contents were conformed");
    assert_ne!(judged(&load(body, &[(&usual, &second("38 % +/- 20 %"))], Some(&old)))["t p"], "met none");
}

#[test]
fn widening_is_judged_in_the_unit_written() {
    let body = format!("{PANEL}{LAMINA}");
    let areal = |text: &str| ("areal: 200 g/m2", format!("areal: {text}"));
    let widened = |was: &str, is: &str| {
        let (key, was) = areal(was);
        let old = load(&body, &[(key, &was)], None);
        let (key, is) = areal(is);
        judged(&load(&body, &[(key, &is)], Some(&old)))["t p"].clone()
    };
    assert_eq!(widened("200 g/m2 +/- 4 %", "191 g/m2 +/- 4.1 %"), "lapsed analysis");
    assert_eq!(widened("200 g/m2 +/- 4 %", "209 g/m2 +/- 4 %"), "met none");
    // The upper limit is 215.44952, and 215.45 to six digits.
    assert_eq!(widened("200 g/m2 +/- 4 %", "207.163 g/m2 +/- 4 %"), "met none");
    assert_eq!(widened("207.163 g/m2 +/- 4 %", "207.163 g/m2 +/- 4.001 %"), "lapsed analysis");
    assert_eq!(widened("200 g/m2 +/- 8 g/m2", "209 g/m2 +/- 8.36 g/m2"), "lapsed analysis");
    assert_eq!(widened("200 g/m2 +/- 8 g/m2", "191 g/m2 +/- 8 g/m2"), "met none");
}

#[test]
fn sheets_are_asked_for_structure_and_tolerance() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, sheet: {material: pane, thickness: 4 mm}}]}}\nshowings: {gs: {kind: glazing-sheet, accept: {statement: true}}}\nevidence: {e: {showing: gs, subject: {sheet: [pane, 4 mm]}, kind: test, state: done, result: {statement: true}}}\n";
    assert_eq!(
        after(body, &[("thickness: 4 mm}", "thickness: 4 mm, structural: true}")])["gs p"],
        "lapsed retest"
    );
    assert_ne!(after(body, &[("thickness: 4 mm}", "thickness: 4 mm +/- 2 mm}")])["gs p"], "met none");
}

#[test]
fn the_wettest_zone_is_asked_wherever_it_stands() {
    let zone = |name: &str, moisture: &str| {
        format!("{{name: {name}, area: 1 m2, recipe: solid, exposure: {{moisture: {moisture}}}}}")
    };
    let (a, b) = (zone("a", "as-fabricated"), zone("b", "as-fabricated"));
    let body = format!("panels: {{p: {{zones: [{a}, {b}]}}}}\n{LAMINA}");
    assert_ne!(after(&body, &[(&a, &zone("a", "equilibrium"))])["t p"], "met none");
    assert_ne!(after(&body, &[(&b, &zone("b", "equilibrium"))])["t p"], "met none");
}

#[test]
fn a_failure_is_not_superseded_away() {
    let body = format!("{PANEL}{LAMINA}").replace("600 MPa}}}", "600 MPa}}, f: {showing: t, subject: {lamina: [cw, oven]}, kind: test, state: done, result: {value: 300 MPa}}}");
    assert_eq!(judged(&load(&body, &[], None))["t p"], "failed none");
    for state in ["planned", "done, result: {value: 700 MPa}"] {
        let more = format!(
            "300 MPa}}}}, g: {{showing: t, subject: {{lamina: [cw, oven]}}, kind: test, state: {state}, supersedes: f}}}}"
        );
        assert_eq!(
            judged(&load(&body.replace("300 MPa}}}", &more), &[], None))["t p"],
            "failed none",
            "{state}"
        );
    }
}

#[test]
fn a_repeat_needs_its_own_later_panels() {
    let body = format!(
        "{PANEL}showings: {{ad: {{kind: paint-adhesion, accept: {{rating_at_least: 4}}, plan: {{specimens: 1, equivalence: {{specimens: 1, panels: 1}}}}}}}}\nevidence: {{b: {{showing: ad, subject: {{painted: [solid, white]}}, kind: test, state: done, result: {{rating: 5}}}}, f: {{showing: ad, subject: {{painted: [solid, white]}}, kind: equivalence, baseline: b, state: done, result: {{rating: 1}}}}, r: {{showing: ad, subject: {{painted: [solid, white]}}, kind: equivalence, baseline: b, state: done, made: 2020-01-01, reason: again, result: {{rating: 5}}}}}}\n"
    );
    assert_eq!(judged(&load(&body, &[], None))["ad p"], "failed none");
}

#[test]
fn a_concession_covers_the_nominal_and_not_the_wider_limits() {
    let body = format!(
        "{PANEL}{LAMINA}concessions: {{c: {{showing: t, subject: {{lamina: [cw, oven]}}, reason: x, covers: {{resin-content.a: {{at_most: 41 %}}}}, serials: [s1], until: 2027-01-01, approvals: []}}}}\n"
    );
    assert_eq!(after(&body, &[("content: 37 %", "content: 40 %")])["t p"], "conceded equivalence");
    assert_eq!(after(&body, &[("content: 37 %", "content: 40 % +/- 20 %")])["t p"], "lapsed equivalence");
}

#[test]
fn each_constituent_is_judged_by_its_own_route() {
    let hybrid = (
        "  solid: {process",
        "  hyb: {process: oven, layers: [{material: cw, angle: 0}, {material: gw, angle: 0}], resin: {material: ra, content: 36 %}}\n  solid: {process",
    );
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: hyb}]}}\nshowings: {ph: {kind: physicals, accept: {statement: true}}}\nevidence: {e: {showing: ph, subject: {laminate: hyb}, kind: inspection, state: done, result: {statement: true}}}\n";
    let old = load(body, &[hybrid], None);
    let up = [
        hybrid,
        ("content: 37 %", "content: 38 %"),
        ("ra, content: 36 %}}\n  solid", "ra, content: 37 %}}\n  solid"),
    ];
    assert_eq!(judged(&load(body, &up, Some(&old)))["ph p"], "met none");
}

#[test]
fn tools_that_were_not_recorded_are_listed() {
    let body = "panels: {p: {tool: mould, zones: [{name: a, area: 1 m2, recipe: solid}]}}\nshowings: {ph: {kind: physicals, accept: {statement: true}}}\nevidence: {e: {showing: ph, subject: {laminate: solid}, kind: inspection, state: done, result: {statement: true}}}\n";
    let mut old = load(body, &[], None);
    for entry in old.evidence.values_mut() {
        let mut value: Evidence = (*entry.value).clone();
        value.conformed.as_mut().unwrap().attributes.retain(|key, _| !key.starts_with("tool."));
        *entry = Entry { value: Arc::new(value), ..entry.clone() };
    }
    let evaluation = evaluate(&old, today()).unwrap();
    assert!(
        evaluation.assumptions.iter().any(|words| words.contains("does not record tool.body")),
        "{:?}",
        evaluation.assumptions
    );
}

#[test]
fn a_panel_repointed_to_an_unproved_recipe_in_use_is_named() {
    let body = "panels: {p: {released: true, zones: [{name: a, area: 1 m2, recipe: solid}]}, q: {zones: [{name: a, area: 1 m2, recipe: sand}]}}\nshowings: {ph: {kind: physicals, accept: {statement: true}}}\nevidence: {e: {showing: ph, subject: {laminate: solid}, kind: inspection, state: done, result: {statement: true}}}\n";
    let old = load(body, &[], None);
    let new = load(body, &[("recipe: solid}]}, q", "recipe: sand}]}, q")], Some(&old));
    let found = impact((&old, "b"), (&new, "h"), today()).unwrap();
    assert_eq!(found.grounded, ["p"]);
    assert!(found.panel_rows.iter().any(|row| row.panel == "p"), "{:?}", found.panel_rows);
    let zone = found.changes.iter().find(|change| change.attribute == "zones.recipe").unwrap();
    assert_eq!(zone.facet.as_deref(), Some("plies"));
}

#[test]
fn a_replaced_duty_without_a_row_has_ended_and_a_renamed_one_has_not() {
    let body = format!(
        "{PANEL}showings: {{ad: {{kind: paint-adhesion, accept: {{rating_at_least: 4}}}}}}\nevidence: {{}}\n"
    );
    let swapped = [
        ("finish: white}", "finish: blue}"),
        (
            "  white:\n",
            "  blue:\n    colour: {name: blue, solar_absorptance: 0.90, emittance: 0.90}\n    coats: [{material: prime, dry_film: 30 um}]\n  white:\n",
        ),
    ];
    let old = load(&body, &[], None);
    let found = impact((&old, "b"), (&load(&body, &swapped, Some(&old)), "h"), today()).unwrap();
    assert_eq!(found.ended.len(), 1, "{:?}", found.ended);
    let renamed = [("finish: white}", "finish: snow}"), ("  white:\n", "  snow:\n")];
    let found = impact((&old, "b"), (&load(&body, &renamed, Some(&old)), "h"), today()).unwrap();
    assert!(found.ended.is_empty() && found.duties.is_empty(), "{found:?}");
}

#[test]
fn a_material_renamed_with_its_former_id_is_one_change() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: sand}]}}\nshowings: {ph: {kind: physicals, accept: {statement: true}}}\nevidence: {e: {showing: ph, subject: {laminate: sand}, kind: inspection, state: done, result: {statement: true}}}\n";
    let old = load(body, &[], None);
    let named = [
        ("foam: {kind: core", "spuma: {formerly: [foam], kind: core"),
        ("material: foam", "material: spuma"),
    ];
    let found = impact((&old, "b"), (&load(body, &named, Some(&old)), "h"), today()).unwrap();
    assert!(
        found.duties.is_empty() && found.changes.iter().all(|change| change.facet.is_none()),
        "{:?}",
        found.changes
    );
    let unnamed = [("foam: {kind: core", "spuma: {kind: core"), ("material: foam", "material: spuma")];
    let found = impact((&old, "b"), (&load(body, &unnamed, Some(&old)), "h"), today()).unwrap();
    assert!(!found.duties.is_empty(), "another designation is another core");
    assert!(
        found.changes.iter().any(|change| change.facet.as_deref() == Some("core")),
        "{:?}",
        found.changes
    );
}

#[test]
fn each_row_looks_at_its_own_sites() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: solid, finish: white}]}}\nprocesses: {}\nshowings: {ad: {kind: paint-adhesion, accept: {rating_at_least: 4}}, t: {kind: lamina-strength-fibre, accept: {all_at_least: 500 MPa}}}\nevidence: {e: {showing: ad, subject: {painted: [solid, white]}, kind: test, state: done, result: {rating: 5}}, f: {showing: t, subject: {lamina: [cw, oven]}, kind: test, state: done, result: {value: 600 MPa}}}\n".replace("processes: {}\n", "");
    let supplier = after(&body, &[("form: twill}", "form: twill, supplier: other}")]);
    assert_eq!((supplier["ad p"].as_str(), supplier["t p"].as_str()), ("met none", "lapsed analysis"));
    let layup = after(&body, &[("oven: {method: oven, site: one}", "oven: {method: oven, site: two}")]);
    assert_eq!((layup["ad p"].as_str(), layup["t p"].as_str()), ("lapsed equivalence", "lapsed equivalence"));
}

/// A concession may lean on any evidence that only what it covers keeps from counting, however much else is nearer.
#[test]
fn a_concession_leans_on_any_of_many() {
    let verdict = |covers: &str| {
        let (mut materials, mut evidence) = (String::new(), String::new());
        for at in 0..34 {
            materials += &format!(
                "  m{at:02}: {{kind: prepreg, fibre: {{name: hs-a, type: carbon, density: 1790 kg/m3, areal: 100 g/m2}}, resin: {{name: ep-1, density: 1240 kg/m3, content: 37 %}}, form: plain}}\n"
            );
            evidence += &format!(
                "  e{at:02}: {{showing: t, subject: {{lamina: [m{at:02}, oven]}}, kind: test, state: done, result: {{value: 600 MPa}}}}\n"
            );
        }
        materials += "  z: {kind: prepreg, fibre: {name: hs-a, type: carbon, density: 1600 kg/m3, areal: 200 g/m2}, resin: {name: ep-1, density: 1240 kg/m3, content: 37 %}, form: twill}\n";
        evidence += "  z: {showing: t, subject: {lamina: [z, oven]}, kind: test, state: done, result: {value: 600 MPa}}\n";
        let body = format!(
            "{PANEL}showings: {{t: {{kind: lamina-strength-matrix, accept: {{all_at_least: 500 MPa}}}}}}\nevidence:\n{evidence}concessions: {{c: {{showing: t, subject: {{lamina: [cw, oven]}}, reason: x, covers: {{{covers}}}, serials: [s1], until: 2027-01-01, approvals: []}}}}\n"
        );
        judged(&load(&body, &[("  gw: {kind", &*format!("{materials}  gw: {{kind"))], None))["t p"].clone()
    };
    assert_eq!(verdict("weave.form.a: {equals: twill}"), "lapsed retest");
    assert_eq!(verdict("weave.form.a: {equals: twill}, fibre-areal.a: {at_most: 190 g/m2}"), "lapsed retest");
    assert_eq!(
        verdict("weave.form.a: {equals: twill}, fibre-areal.a: {at_most: 400 g/m2}"),
        "conceded retest"
    );
    assert_eq!(verdict("fibre.density.a: {equals: 1790 kg/m3}"), "conceded retest");
}

/// A ply that is gone and whose fibre nobody recorded asks for an analysis at most: a first look may not
/// claim more.
#[test]
fn a_ply_gone_without_a_name_asks_an_analysis() {
    let body = format!(
        "{PANEL}showings: {{i: {{kind: interlaminar, subject: laminate, accept: {{all_at_least: 1 MPa}}}}}}\nevidence: {{e: {{showing: i, subject: {{laminate: hyb}}, kind: test, state: done, result: {{value: 2 MPa}}}}, f: {{showing: i, subject: {{laminate: solid}}, kind: test, state: done, result: {{value: 2 MPa}}}}}}\n"
    );
    let moved = ("oven: {method: oven, site: one}", "oven: {method: oven, site: two}");
    // Whether it was unstated or is not recorded.
    let unstated = [
        ("  gw: {kind: fabric", "  nf: {kind: fabric, areal: 280 g/m2, form: plain}\n  gw: {kind: fabric"),
        (
            "  solid: {process",
            "  hyb: {process: oven, layers: [{material: cw, angle: 0}, {material: nf, angle: 0}, {material: cw, angle: 90}]}\n  solid: {process",
        ),
    ];
    let recorded = [(
        "  solid: {process",
        "  hyb: {process: oven, layers: [{material: cw, angle: 0}, {material: gw, angle: 0}, {material: cw, angle: 90}], resin: {material: ra, content: 36 %}}\n  solid: {process",
    )];
    for edits in [&unstated[..], &recorded[..]] {
        let old = load(&body, edits, None);
        let mut both = edits.to_vec();
        both.push(moved);
        // `e` was made at the site of now, `f` at the old one.
        let mut new = load(&body, &both, None);
        for (id, from) in [("e", None), ("f", Some(&old))] {
            let mut value: Evidence = (*new.evidence[id].value).clone();
            match from {
                Some(from) => value.conformed.clone_from(&from.evidence[id].value.conformed),
                None => {
                    let names = ["fibre.name.a2", "resin.name.a2"];
                    let unknown = |key: &str| names.contains(&key);
                    if edits.len() == 1 {
                        value.conformed.as_mut().unwrap().attributes.retain(|key, _| !unknown(key));
                    }
                }
            }
            let entry = new.evidence.get_mut(id).unwrap();
            *entry = Entry { value: Arc::new(value), ..entry.clone() };
        }
        assert_eq!(judged(&new)["i p"], "lapsed analysis", "{edits:?}");
    }
}

/// A trial that runs on an article that has moved on since proves something else; one that is the same by value
/// counts under whatever name.
#[test]
fn a_running_trial_of_another_article_is_no_longer_under_way() {
    let body = "panels: {p: {exposure: {zone: outdoor}, zones: [{name: a, area: 1 m2, recipe: solid, finish: white}]}}\nshowings: {w: {kind: paint-weathering, accept: {rating_at_least: 4}}}\nevidence: {e: {showing: w, subject: {painted: [solid, white]}, kind: test, state: running}}\n";
    let old = load(body, &[], None);
    assert_eq!(judged(&old)["w p"], "short retest");
    // What an equivalence closes is still of use when the trial is finished.
    let primer = ("prime: {kind: coating", "prime: {designation: other, kind: coating");
    let near = load(body, &[primer], Some(&old));
    assert_eq!(judged(&near)["w p"], "short retest");
    let said = evaluate(&near, today()).unwrap().duties.values().next().unwrap().because()[0].is.clone();
    assert_eq!(said, "under way: e (of another article: will ask equivalence)");
    let colour = ("col: {kind: coating", "col: {designation: other, kind: coating");
    let new = load(body, &[colour], Some(&old));
    assert_eq!(judged(&new)["w p"], "open retest");
    let evaluation = evaluate(&new, today()).unwrap();
    let duty = evaluation.duties.values().next().unwrap();
    let behind = &duty.panels.get("p").unwrap().behind[0];
    assert_eq!(behind.evidence, "e");
    assert!(behind.because.iter().any(|reason| reason.attribute == "base-coat"), "{behind:?}");
    assert!(duty.because()[0].is.contains("no longer this: e"), "{:?}", duty.because());
    let renamed =
        [("  white:\n", "  gloss:\n"), ("recipe: solid, finish: white", "recipe: solid, finish: gloss")];
    assert_eq!(judged(&load(body, &renamed, Some(&old)))["w p"], "short retest");
}

/// A statement about one material says nothing of another: no cell of its row says what may differ.
#[test]
fn a_statement_does_not_carry_over_to_another_subject() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: solid}, {name: b, area: 1 m2, recipe: dry1}]}}\nshowings: {s: {kind: statement, subject: lamina, accept: {statement: true}}}\nevidence: {e: {showing: s, subject: {lamina: [cw, oven]}, kind: inspection, state: done, result: {statement: true}}}\n";
    let evaluation = evaluate(&load(body, &[], None), today()).unwrap();
    let verdicts: Vec<String> =
        evaluation.duties.values().map(|duty| format!("{} {}", duty.subject, duty.verdict())).collect();
    assert_eq!(verdicts, ["lamina/cw@oven met", "lamina/gw+ra@inf open"]);
}

/// Tests of one lamina are cut from the same panels; a painted laminate is an article of its own.
#[test]
fn tests_of_one_article_share_its_panels() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: solid, finish: white}]}}\nshowings: {t: {kind: lamina-strength-matrix, accept: {all_at_least: 1 MPa}, plan: {specimens: 18, batches: 3, panels_per_batch: 2, cost: 10 EUR}}, u: {kind: lamina-strength-fibre, accept: {all_at_least: 1 MPa}, plan: {specimens: 130, cost: 10 EUR}}, a: {kind: paint-adhesion, accept: {rating_at_least: 4}, plan: {specimens: 1, cost: 10 EUR}}}\n";
    let more = [("  format: 1\n", "  format: 1\n  currency: EUR\n  rates: {panel_layup: 100 EUR}\n")];
    let ledger = load(body, &more, None);
    let evaluation = evaluate(&ledger, today()).unwrap();
    let keys: Vec<_> = evaluation.duties.keys().cloned().collect();
    let plan = super::retest::plan(&ledger, &evaluation, &keys);
    let rows: Vec<(&str, u32, u32, Option<&str>)> = plan
        .steps
        .iter()
        .map(|step| (step.showing.as_str(), step.specimens, step.panels, step.shares.as_deref()))
        .collect();
    // 20 and 143 specimens with spares, 24 from a panel: 7 panels, more than the 6 of the batches.
    let first = "showing/t lamina/cw@oven";
    assert_eq!(rows, [("a", 2, 1, None), ("t", 20, 7, None), ("u", 143, 0, Some(first))]);
    assert_eq!((plan.panels, plan.cost), (8, Some(165.0 * 10.0 + 8.0 * 100.0)));
}

/// Another process id for the same material, once the old one is in use no more, leaves a statement about the
/// material as it is; another material does not take it over.
#[test]
fn a_statement_follows_its_material_to_another_process_id() {
    let body = "panels: {p: {zones: [{name: a, area: 1 m2, recipe: solid}]}}\nshowings: {s: {kind: statement, subject: lamina, accept: {statement: true}}}\nevidence: {e: {showing: s, subject: {lamina: [cw, oven]}, kind: inspection, state: done, result: {statement: true}}}\n";
    let old = load(body, &[], None);
    let judged = |edits: &[(&str, &str)]| {
        let evaluation = evaluate(&load(body, edits, Some(&old)), today()).unwrap();
        let duty = evaluation.duties.values().next().unwrap().clone();
        format!("{} {}", duty.subject, duty.verdict())
    };
    let renamed = [("  oven:", "  oven2:"), ("process: oven", "process: oven2")];
    assert_eq!(judged(&renamed), "lamina/cw@oven2 met");
    let areal = ("areal: 200 g/m2", "areal: 300 g/m2");
    let other: Vec<_> = renamed.iter().copied().chain([areal]).collect();
    assert_eq!(judged(&other), "lamina/cw@oven2 lapsed");
}
