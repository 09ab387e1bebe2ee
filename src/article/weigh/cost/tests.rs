//! A panel reckoned by hand. The formulas are common practice, no source; all figures are invented.

use super::*;
use crate::article::fixture::ledger;

const LEDGER: &str = "
ledger:
  format: 1
  programme: Sanderling amphibian (invented)
  currency: EUR
  rates: {labour: 60 EUR/h, layer: 12 min, coat: 30 min, scrap: 25 %}
materials:
  cw: {kind: prepreg, fibre: {name: f, type: carbon, density: 1.78 g/cm3, areal: 200 g/m2}, resin: {name: r, density: 1.25 g/cm3, content: 40 %}, price: 48 EUR/m2}
  foam: {kind: core, density: 50 kg/m3, price: 1000 EUR/m3}
  paste: {kind: adhesive, density: 1.1 g/cm3, price: 58 EUR/kg, scrap: 20 %}
  top: {kind: coating, dry_density: 1300 kg/m3, role: colour, solids_by_volume: 50 %, transfer: 60 %, price: 40 EUR/l}
  seal: {kind: part, linear_mass: 85 g/m, price: 9 EUR/m}
  latch: {kind: part, mass: 120 g, price: 70 EUR}
processes: {oven: {method: oven}}
tools: {mould: {kind: mould, price: 9000 EUR, pulls: {expected: 150, made: 3}}}
finishes: {white: {coats: [{material: top, dry_film: 60 um, removed: 10 um}]}}
recipes:
  skin: {process: oven, layers: [{material: cw, angle: 0}, {material: foam, thickness: 6 mm}, {material: cw, angle: 0}]}
panels:
  hatch:
    quantity: 2
    overlap: 5 %
    labour: 2 h
    tool: mould
    zones: [{name: field, area: 1 m2, recipe: skin, finish: white}]
    joints: [{name: rim, adhesive: paste, length: 2 m, width: 20 mm, thickness: 1 mm}]
    edges: [{part: seal, length: 3 m}]
    fittings: [{part: latch, count: 2}]
";

fn near(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-9, "{got} against {expected}");
}

fn each(text: &str) -> PanelCost {
    let found = cost_of(&ledger(text), &Scope::Panel("hatch".into())).unwrap().unwrap();
    found.panels.into_iter().next().unwrap()
}

fn line(own: &PanelCost, what: &str) -> f64 {
    own.lines.iter().find(|line| line.what == what).unwrap_or_else(|| panic!("{what}: {own:?}")).amount
}

#[test]
fn a_panel_reckoned_by_hand() {
    let own = each(LEDGER);
    // 2 plies of 1.05 m2 over 0.75 are 2.8 m2; 0.006 m3 over 0.75 are 0.008 m3; 60 um over 0.3 are 0.2 l, sanding
    // takes nothing back; 0.044 kg over 0.8 are 0.055 kg.
    near(line(&own, "ply cw"), 134.4);
    near(line(&own, "core foam"), 8.0);
    near(line(&own, "paint top"), 8.0);
    near(line(&own, "adhesive paste"), 3.19);
    near(line(&own, "part seal"), 27.0);
    near(line(&own, "part latch"), 140.0);
    near(line(&own, "mould mould"), 60.0);
    // 3 layers of 0.2 h, one coat of 0.5 h, 2 h for the rest, at 60 an hour.
    near(own.each.hours, 3.1);
    near(own.each.labour, 186.0);
    near(own.each.materials, 320.59);
    near(own.each.total(), 566.59);
    assert!(own.each.is_whole(), "{:?}", own.each.missing);
    let all = cost_of(&ledger(LEDGER), &Scope::Programme).unwrap().unwrap();
    near(all.total.total(), 2.0 * 566.59);
    near(all.total.hours, 6.2);
    assert_eq!(all.currency, "EUR");
}

#[test]
fn what_is_missing_is_named_and_the_rest_is_the_least() {
    let without = LEDGER.replace(", price: 48 EUR/m2", "").replace("layer: 12 min, ", "");
    let own = each(&without);
    let missing: Vec<&str> = own.each.missing.iter().map(String::as_str).collect();
    assert_eq!(missing, ["ledger#rates.layer", "material/cw#price"]);
    near(own.each.total(), 566.59 - 134.4 - 36.0);
    // Each figure alone, taken away, is named.
    for (figure, named) in [
        (", scrap: 25 %", "ledger#rates.scrap"),
        ("labour: 60 EUR/h, ", "ledger#rates.labour"),
        (", coat: 30 min", "ledger#rates.coat"),
        (", transfer: 60 %", "material/top#transfer"),
        ("solids_by_volume: 50 %, ", "material/top#solids_by_volume"),
        (", price: 58 EUR/kg", "material/paste#price"),
        (", price: 9 EUR/m", "material/seal#price"),
        ("price: 9000 EUR, ", "tool/mould#price"),
        (", pulls: {expected: 150, made: 3}", "tool/mould#pulls.expected"),
        ("    labour: 2 h\n", "panel/hatch#labour"),
    ] {
        assert!(LEDGER.contains(figure), "{figure}");
        let own = each(&LEDGER.replace(figure, ""));
        assert_eq!(own.each.missing.iter().map(String::as_str).collect::<Vec<_>>(), [named]);
        assert!(own.each.total() < 566.59 - 1e-6, "{figure}: {}", own.each.total());
    }
}

#[test]
fn a_price_in_another_unit_or_currency_is_missing() {
    for (was, is) in [("40 EUR/l", "40 EUR/kg"), ("70 EUR}", "70 EUR/m2}"), ("48 EUR/m2", "48 USD/m2")] {
        let own = each(&LEDGER.replace(was, is));
        assert_eq!(own.each.missing.len(), 1, "{is}: {:?}", own.each.missing);
    }
}

#[test]
fn prepreg_by_weight_is_bought_with_the_resin_that_bleeds_off() {
    let by_weight =
        LEDGER.replace("48 EUR/m2", "90 EUR/kg").replace("{method: oven}", "{method: oven, bleed: 30 g/m2}");
    // 200 g/m2 over 0.6 are 0.33333 kg/m2; 2.1 m2 over 0.75 are 2.8 m2.
    near(line(&each(&by_weight), "ply cw"), 2.8 / 3.0 * 90.0);
}

#[test]
fn own_figures_go_before_the_rates() {
    let own = each(&LEDGER.replace("48 EUR/m2", "48 EUR/m2, scrap: 30 %, labour: 30 min"));
    near(line(&own, "ply cw"), 2.1 / 0.7 * 48.0);
    near(own.each.hours, 3.1 + 2.0 * 0.3);
    let own = each(&LEDGER.replace("skin: {process", "skin: {labour: 2 h, process"));
    near(own.each.hours, 3.1 - 0.6 + 2.0);
    let own = each(&LEDGER.replace("{method: oven}", "{method: oven, labour: 1 h, price: 25 EUR}"));
    near(own.each.hours, 4.1);
    near(own.each.materials, 345.59);
}

#[test]
fn dry_fabric_pays_for_its_resin() {
    let dry = LEDGER
        .replace("{material: cw, angle: 0}, {material: foam, thickness: 6 mm}, {material: cw, angle: 0}]", "{material: gw, angle: 0}], resin: {material: r, content: 50 %}")
        .replace("  foam:", "  gw: {kind: fabric, areal: 300 g/m2, fibre: {name: g, type: glass, density: 2550 kg/m3}, price: 6 EUR/m2}\n  r: {kind: resin, density: 1150 kg/m3, price: 14 EUR/kg}\n  foam:");
    // As much resin as fibre: 0.3 kg/m2 on 1.05 m2.
    let own = each(&dry);
    near(line(&own, "ply gw"), 1.05 / 0.75 * 6.0);
    near(line(&own, "resin r"), 0.315 * 14.0);
}

#[test]
fn a_ledger_without_prices_says_nothing() {
    let bare: String = LEDGER
        .lines()
        .filter(|line| !line.contains("rates:") && !line.contains("tools:"))
        .collect::<Vec<_>>()
        .join("\n");
    let bare = without_prices(&bare);
    assert_eq!(cost_of(&ledger(&bare), &Scope::Programme).unwrap(), None);
    // A price of the panel alone is a price: everything else is missing beside it.
    let mut one = ledger(&bare);
    let panel = one.panels.get_mut("hatch").unwrap();
    std::sync::Arc::make_mut(&mut panel.value).price = Some(serde_yaml::from_str("900 EUR").unwrap());
    let found = cost_of(&one, &Scope::Panel("hatch".into())).unwrap().unwrap();
    assert_eq!((found.total.materials, found.currency.as_str()), (900.0, "EUR"));
    assert!(found.total.missing.iter().any(|what| what.starts_with("material/")), "{:?}", found.total);
}

/// Takes every `, price: ...` out.
fn without_prices(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find(", price: ") {
        out.push_str(&rest[..at]);
        let after = &rest[at + 9..];
        rest = &after[after.find([',', '}']).unwrap()..];
    }
    out + &rest.replace("    tool: mould\n", "")
}
