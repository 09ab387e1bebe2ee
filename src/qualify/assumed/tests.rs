use super::*;
use crate::article::fixture::ledger;
use crate::qualify::fixture::{base, edited, judged};

fn found() -> Vec<Assumption> {
    let all = base();
    assumptions(&all, &judged(&all)).unwrap()
}

fn at<'a>(all: &'a [Assumption], address: &str) -> &'a Assumption {
    all.iter().find(|one| one.address.as_deref() == Some(address)).unwrap()
}

/// By hand: a prepreg of 200 g/m2 at 38 % weighs 322.58 g/m2. Two hatches of 2 m2 with two plies and a
/// fairing of 1 m2 with two take 10 m2: 3.2258 kg. Foam: 2 x 2 m2 x 6 mm x 52 kg/m3 = 1.248 kg. Paint:
/// 5 m2 x 50 um x 1000 kg/m3 = 0.250 kg.
#[test]
fn records_of_no_source_show_the_mass_that_stands_on_them() {
    let all = found();
    let near = |address: &str, kg: f64| {
        let got = at(&all, address).mass_kg;
        assert!((got - kg).abs() < 1e-4, "{address} {got}");
    };
    near("material/cw", 10.0 * 0.2 / 0.62);
    near("material/foam", 1.248);
    near("material/top", 0.25);
    assert_eq!(at(&all, "material/foam").panels, ["bow-hatch"]);
    let duties: Vec<&str> = at(&all, "material/foam").duties.iter().map(|(id, _)| id.as_str()).collect();
    assert_eq!(duties, ["adhesion", "flatwise"]);
    // What no panel uses stands for nothing.
    assert!(all.iter().all(|one| one.address.as_deref() != Some("material/spare")));
    let evidence = at(&all, "evidence/modulus-1");
    assert_eq!(evidence.duties.len(), 1);
    assert_eq!(evidence.panels, ["bow-hatch", "tail-fairing"]);
}

#[test]
fn typed_figures_are_named_and_those_of_a_showing_are_not() {
    let all = found();
    assert!(at(&all, "material/cw#lamina").what.starts_with("E1, G12, nu12 typed in"));
    assert!(at(&all, "material/cw#strength").what.starts_with("Xc typed in"));
}

#[test]
fn a_missing_climate_is_one_assumption_with_its_duties() {
    let all = found();
    let climate: Vec<&Assumption> = all.iter().filter(|one| one.kind == AssumptionKind::Climate).collect();
    assert_eq!(climate.len(), 1);
    assert_eq!(climate[0].duties.len(), 6);
    let hot = edited("currency: EUR", "climate: {ambient: 43 degC, irradiance: 1120 W/m2}");
    let with = assumptions(&hot, &judged(&hot)).unwrap();
    assert!(with.iter().all(|one| one.kind != AssumptionKind::Climate));
    assert!(with.iter().any(|one| one.address.as_deref() == Some("ledger#climate.sky")), "{with:#?}");
}

#[test]
fn every_assumption_of_the_judgement_is_there_with_its_record() {
    let all = base();
    let evaluation = judged(&all);
    let found = assumptions(&all, &evaluation).unwrap();
    for words in &evaluation.assumptions {
        assert!(found.iter().any(|one| *one.what == **words), "{words}");
    }
    let unstated = found.iter().find(|one| one.what.ends_with("cure.cycle unstated")).unwrap();
    assert_eq!(unstated.address.as_deref(), Some("evidence/modulus-1"));
    assert!(found.is_sorted_by_key(|one| (one.kind, one.address.clone(), one.what.clone())));
}

/// By hand: 300 g/m2 of fabric at 40 % resin make a ply of 500 g/m2, of which 200 g/m2 are resin. Over 3 m2:
/// 1.5 kg and 0.6 kg. The latches stand on the assembly's list.
#[test]
fn resin_of_dry_fabric_and_parts_of_assemblies_weigh_too() {
    let text = "
ledger: {format: 1, programme: p}
materials:
  gw: {kind: fabric, areal: 300 g/m2, fibre: {name: f, type: glass, density: 2.6 g/cm3}, source: assumed}
  epoxy: {kind: resin, density: 1.2 g/cm3, source: handbook}
  latch: {kind: part, mass: 0.25 kg, source: Assumed}
processes: {wet: {method: wet-layup}}
recipes: {one: {process: wet, layers: [{material: gw, angle: 0}], resin: {material: epoxy, content: 40 %}, source: measured}}
panels: {lid: {zones: [{name: skin, area: 3 m2, recipe: one}], source: assumed}}
assemblies: {box: {children: [{panel: lid}, {part: latch, count: 2}]}}
";
    let all = ledger(text);
    let found = assumptions(&all, &judged(&all)).unwrap();
    let kg = |address: &str| at(&found, address).mass_kg;
    for (address, wanted) in
        [("material/gw", 1.5), ("material/epoxy", 0.6), ("material/latch", 0.5), ("panel/lid", 1.5)]
    {
        assert!((kg(address) - wanted).abs() < 1e-9, "{address} {}", kg(address));
    }
    assert!(found.iter().all(|one| one.address.as_deref() != Some("recipe/one")));
    // No duty asks for the sun, and still the design day is missing.
    assert_eq!(found.iter().filter(|one| one.kind == AssumptionKind::Climate).count(), 1);
}

#[test]
fn sources_that_say_so_are_assumed() {
    for source in ["assumed", " Assumed, as the last batch", "HANDBOOK of plastics"] {
        assert!(is_assumed(source), "{source}");
    }
    for source in ["report R-17", "not assumed", ""] {
        assert!(!is_assumed(source), "{source}");
    }
}
