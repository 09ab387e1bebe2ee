use super::*;
use crate::article::fixture::ledger;
use crate::article::weigh::{learned, stages, statement};

const LEDGER: &str = "
ledger: {format: 1, programme: Sanderling (invented), weighing: {explain: 3 %, hold: 6 %}}
materials:
  cw: {kind: prepreg, fibre: {name: f, type: carbon, density: 1.78 g/cm3, areal: 225 g/m2}, resin: {name: r, density: 1.25 g/cm3, content: 50 %}}
  top: {kind: coating, dry_density: 1000 kg/m3, role: colour}
processes: {oven: {method: oven}}
finishes: {white: {coats: [{material: top, dry_film: 100 um +/- 20 um}]}}
recipes: {solid: {process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 90}]}}
panels:
  hatch: {zones: [{name: all, area: 10 m2, recipe: solid, finish: white}]}
weighings:
  w1: {panel: hatch, serial: H1, mass: 9 kg, as_built: {predicted: 9 kg}, condition: bare}
  w2: {panel: hatch, serial: H1, mass: 10.1 kg, as_built: {predicted: 10 kg}, condition: painted}
  w3: {panel: hatch, serial: H2, mass: 10.4 kg, as_built: {predicted: 10 kg}}
  w4: {panel: hatch, serial: H3, mass: 10.7 kg, as_built: {predicted: 10 kg}, explained: thick}
  w5: {panel: hatch, serial: H4, mass: 10.7 kg, as_built: {predicted: 10 kg}, disposition: {cause: two coats., by: shop, on: 2026-05-01}}
  w6: {panel: hatch, mass: 10 kg}
";

fn shown() -> String {
    let all = ledger(LEDGER);
    let statement = statement(&all, Scope::Programme).unwrap();
    let pieces = stages(&statement.panels);
    text(&statement, (Some(&pieces), Some(&learned(&all, &statement).unwrap())), &[], 80)
}

/// By hand: 0.1 kg of 10 is 1 %; from bare to painted 1.1 kg were added where 1 kg was predicted.
#[test]
fn pieces_read_as_a_sentence_and_tables() {
    let got = shown();
    for part in [
        "6 weighings of 5 pieces: 1 on hold, 1 to be",
        "hatch  H1      bare       9.000      9.000     0.000   0.0  within",
        "hatch  H1      painted   10.100     10.000    +0.100  +1.0  within",
        "hatch  H2      painted   10.400     10.000    +0.400  +4.0  to explain",
        "hatch  H3      painted   10.700     10.000    +0.700  +7.0  on hold",
        "hatch  w6      painted   10.000 10.000 now     0.000   0.0  not judged",
        "bare         H1      painted  +1.100      1.000    +0.100  +10.0",
        "H3 of hatch is on hold: +7.0 % when painted, beyond 6 %",
        "H4, painted: two coats, disposed by shop on 2026-05-01.",
        "1 weighing keeps no prediction as built",
        "Left out, on hold or disposed: w4, w5.",
        "No tolerance is written, so that nothing can be learned, of fibre, resin.",
        "not approved data",
    ] {
        let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat(&got).contains(&flat(part)), "{part} in\n{got}");
    }
    assert!(got.lines().all(|line| line.chars().count() <= 80), "{got}");
}

#[test]
fn keys_stand_beside_those_that_are_held_to() {
    let all = ledger(LEDGER);
    let statement = statement(&all, Scope::Programme).unwrap();
    let mut document = super::super::mass::json(&statement);
    let plain = document.clone();
    beside(&mut document, (None, &[]), None);
    assert_eq!(document, plain);
    beside(&mut document, (Some(&stages(&statement.panels)), &[]), Some(&learned(&all, &statement).unwrap()));
    for (key, value) in plain.as_object().unwrap() {
        assert_eq!(document.get(key), Some(value));
    }
    let counts = &document["weighings"]["counts"];
    assert_eq!(
        (&counts["on-hold"], &counts["disposed"], &counts["within"]),
        (&json!(1), &json!(1), &json!(2))
    );
    let readings = document["weighings"]["panels"][0]["pieces"][0]["readings"].as_array().unwrap();
    assert_eq!(readings[1]["added"]["since"], "bare");
    let paint = document["learned"]["contributors"].as_array().unwrap().last().unwrap();
    assert_eq!(paint["contributor"], "top-coats");
    let sum =
        document["learned"]["kg"].as_f64().unwrap() + document["learned"]["change_kg"].as_f64().unwrap();
    assert!((sum - document["learned"]["learned_kg"].as_f64().unwrap()).abs() < 1e-12);
}

#[test]
fn nothing_on_the_scale_is_said() {
    let all = ledger(LEDGER.split("weighings:").next().unwrap());
    let statement = statement(&all, Scope::Programme).unwrap();
    let pieces = stages(&statement.panels);
    let got = text(&statement, (Some(&pieces), Some(&learned(&all, &statement).unwrap())), &[], 80);
    assert!(
        got.contains("nothing was on the scale yet") && got.contains("No weighing to learn from"),
        "{got}"
    );
}
