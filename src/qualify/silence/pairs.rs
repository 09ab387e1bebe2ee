//! A first look at evidence, held to the whole comparison over many pairs of edits.

use super::{HEAD, judged, load};
use crate::ledger::Ledger;
use std::collections::BTreeMap;

/// Every pair of a few edits of a stack with several constituents of each role, faces, zones and paint: a first look
/// may say no more than the whole comparison, and change no verdict, whichever edit the evidence was made before.
#[test]
fn a_first_look_at_pairs_of_edits_says_no_more_than_the_whole() {
    const EDITS: [(&str, &str); 16] = [
        ("fibre: {name: hs-a, type: carbon", "fibre: {name: hs-b, type: carbon"),
        ("areal: 200 g/m2", "areal: 210 g/m2"),
        ("content: 37 %", "content: 38.5 %"),
        ("gw: {kind: fabric, areal: 300 g/m2", "gw: {kind: fabric, areal: 320 g/m2"),
        ("foam: {kind: core, density: 52 kg/m3}", "foam: {kind: core, density: 60 kg/m3}"),
        ("film: {kind: adhesive, areal: 150 g/m2}", "film: {kind: adhesive, areal: 300 g/m2}"),
        ("thickness: 6 mm", "thickness: 8 mm"),
        ("mixed: {process: oven, layers: [", "mixed: {process: oven, layers: [{material: cx, angle: 30}, "),
        (
            "{material: cw, angle: 0}, {material: cx, angle: 90}",
            "{material: cx, angle: 90}, {material: cw, angle: 0}",
        ),
        ("{material: foam, thickness: 9 mm}", "{material: cw, angle: 45}"),
        (
            "{material: film}, {material: foam, thickness: 6 mm}, {material: film}",
            "{material: foam, thickness: 6 mm}",
        ),
        ("oven: {method: oven, site: one}", "oven: {method: oven, site: two}"),
        ("{material: prime, dry_film: 25 um}, ", ""),
        ("dry_film: 40 um", "dry_film: 55 um"),
        ("exposure: {zone: indoor}", "exposure: {zone: outdoor}"),
        ("width: 18 mm", "width: 9 mm"),
    ];
    let body = "  mixed: {process: oven, layers: [{material: cw, angle: 0}, {material: cx, angle: 90}, {material: film}, {material: foam, thickness: 6 mm}, {material: film}, {material: foam, thickness: 9 mm}, {material: cx, angle: 90}]}
panels: {p: {tool: mould, exposure: {zone: indoor}, zones: [{name: a, area: 1 m2, recipe: mixed, finish: white}, {name: b, area: 1 m2, recipe: sand}, {name: c, area: 1 m2, recipe: dry2}], joints: [{name: j, adhesive: paste, process: brt, between: [a, b], width: 18 mm, length: 1 m}]}, q: {tool: mould2, exposure: {zone: indoor}, zones: [{name: a, area: 1 m2, recipe: solid, finish: white}]}}
showings:
  la: {kind: lamina-strength-fibre, accept: {all_at_least: 1 MPa}}
  mo: {kind: lamina-modulus, accept: {all_at_least: 1 MPa}}
  ca: {kind: compression-after-impact, accept: {all_at_least: 1 MPa}}
  ph: {kind: physicals, accept: {all_at_least: 1 MPa}, sensitivity: {plies: [{within: 5 %, asks: analysis}, {asks: equivalence}], fibre-areal: [{asks: analysis}], core-thickness: [{at_most: conformed, asks: none}, {asks: retest}]}}
  cs: {kind: core-shear, accept: {all_at_least: 1 MPa}}
  pa: {kind: paint-adhesion, accept: {all_at_least: 1 MPa}}
  bs: {kind: bond-shear, accept: {all_at_least: 1 MPa}}
  st: {kind: static-strength, accept: {all_at_least: 1 MPa}}
  sm: {kind: statement, subject: laminate, accept: {all_at_least: 1 MPa}}
evidence:
";
    let labels = [
        ("la", "{lamina: [cw, oven]}"),
        ("la", "{lamina: [cx, oven]}"),
        ("mo", "{lamina: [gw, ra, inf]}"),
        ("mo", "{lamina: [cw, oven]}"),
        ("ca", "{laminate: mixed}"),
        ("ca", "{laminate: sand}"),
        ("ph", "{laminate: mixed}"),
        ("ph", "{laminate: solid}"),
        ("ph", "{laminate: dry1}"),
        ("cs", "{laminate: mixed}"),
        ("cs", "{laminate: sand}"),
        ("pa", "{painted: [mixed, white]}"),
        ("bs", "{bond: [paste, brt, laminate.mixed, laminate.sand]}"),
        ("st", "{panel: p}"),
        ("st", "{panel: q}"),
        ("sm", "{laminate: mixed}"),
        ("sm", "{laminate: dry1}"),
    ];
    let mut body = body.to_string();
    for (at, (showing, subject)) in labels.iter().enumerate() {
        body += &format!(
            "  e{at}: {{showing: {showing}, subject: {subject}, kind: test, state: done, result: {{value: 2 MPa}}}}\n"
        );
    }
    let second = HEAD.lines().find(|line| line.starts_with("  cw:")).unwrap();
    let second = second.replace("cw:", "cx:").replace("hs-a", "hs-x").replace("200 g/m2", "150 g/m2");
    let second = format!("{second}\n  gw: {{kind");
    let laid = |edit: (&str, &str), old: Option<&Ledger>| {
        load(&body, &[("  gw: {kind", second.as_str()), edit], old)
    };
    let mut seen = BTreeMap::new();
    for (at, one) in EDITS.into_iter().enumerate() {
        let made = laid(one, None);
        // Each with half of the others.
        for (_, other) in EDITS.into_iter().enumerate().filter(|(other, _)| (at + other) % 2 == 1) {
            // What was made after one edit, asked of what stands after the other.
            for word in judged(&laid(other, Some(&made))).into_values() {
                *seen.entry(word).or_insert(0) += 1;
            }
        }
    }
    let words: Vec<&str> = seen.keys().map(String::as_str).collect();
    // All sorts come up, so that the law is not empty.
    assert_eq!(words, ["lapsed analysis", "lapsed equivalence", "lapsed retest", "met none", "open retest"]);
}
