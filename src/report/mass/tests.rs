use super::*;
use crate::article::fixture::ledger;
use crate::article::weigh::{statement, statement_by};

const LEDGER: &str = "
ledger:
  format: 1
  programme: Sanderling amphibian (invented)
  budgets: {closures: 2 kg, tail: 3 kg}
  growth: {estimated: 10 %}
materials:
  cw: {kind: prepreg, fibre: {name: f, type: carbon, density: 1.78 g/cm3, areal: 200 g/m2}, resin: {name: r, density: 1.25 g/cm3, content: 50 % +/- 2 %}}
  top: {kind: coating, dry_density: 1000 kg/m3, role: colour}
  seal: {kind: part, linear_mass: 100 g/m}
processes: {oven: {method: oven}}
finishes: {white: {coats: [{material: top, dry_film: 50 um +/- 10 um}]}}
recipes: {solid: {process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 90}]}}
panels:
  bow-hatch:
    group: closures
    quantity: 2
    zones: [{name: outer field, area: 2 m2, recipe: solid, finish: white, centroid: [2 m, 0 m, -0.0001 m]}]
    edges: [{name: seal, part: seal, length: 3 m}]
  rudder:
    group: tail
    maturity: weighed
    balance: {hinge: [9 m, 0 m, 0 m], limit: 0.5 kg m}
    zones: [{name: skin, area: 1 m2, recipe: solid, centroid: [10 m, 0 m, 0 m]}]
weighings: {w1: {panel: rudder, mass: 0.9 kg}}
";

/// The figures are worked by hand: two plies of 200 g/m2 at 50 % weigh 800 g/m2, at 48 and 52 % 769.2 and
/// 833.3; over 5 m2 that is -0.154 and +0.167 kg. The paint on 4 m2 is 0.200 kg within 0.040.
/// Limits: sqrt(0.154^2 + 0.040^2) = 0.159, sqrt(0.167^2 + 0.040^2) = 0.171.
const PROGRAMME: &str = "\
Sanderling amphibian (invented) weighs 4.900 kg (4.741 to 5.071 kg at two
sigma), with growth 5.300 kg. Over budget: closures by 2.000 kg. Over the limit
of its balance: rudder.

group        kg  budget  margin  after growth   chance
------------------------------------------------------
closures  4.000   2.000  -2.000        -2.400    0.0 %
tail      0.900   3.000  +2.100        +2.100  100.0 %

panel      group     count   each     kg  with growth  known
----------------------------------------------------------------------
bow-hatch  closures      2  2.000  4.000        4.400  estimated
rudder     tail          1  0.900  0.900        0.900  weighed, 1 of 3
----------------------------------------------------------------------
sum                                4.900        5.300

on the scale  serial  condition     kg  predicted  residual      %  counts
--------------------------------------------------------------------------
rudder        w1      painted    0.900  0.800 now    +0.100  +12.5  yes

cause of spread                low kg  high kg
----------------------------------------------
material/cw#resin.content      -0.154   +0.167
finish/white#coats.1.dry_film  -0.040   +0.040

Centre of gravity x 3.674, y 0.000, z 0.000 m; 12.2 % of the mass has no
position and is left out of it.
Balance of rudder: 0.9000 kg m about the hinge, limit 0.5000 kg m, over it.
rudder counts as weighed but has 1 weighing: provisional, three are needed.

An engineering aid, not approved data: masses are predicted from what the
records say.
";

#[test]
fn a_programme_reads_as_a_sentence_and_tables() {
    let all = ledger(LEDGER);
    let statement = statement(&all, Scope::Programme).unwrap();
    assert_eq!(text(&statement, 80), PROGRAMME);
    let narrow = text(&statement, 60);
    // Headings fold before names are cut.
    assert!(narrow.lines().all(|line| line.chars().count() <= 60), "{narrow}");
    assert!(narrow.contains("bow-hatch  closures") && narrow.contains("weighed, …"), "{narrow}");
}

const PANEL: &str = "\
Panel bow-hatch, all 2 pieces together, weighs 4.000 kg (3.871 to 4.139 kg at
two sigma), with growth 4.400 kg.

what       where                       kg    share
--------------------------------------------------
ply cw     outer field              1.600   80.0 %
edge seal  seal                     0.300   15.0 %
paint top  outer field              0.100    5.0 %
--------------------------------------------------
sum        one panel, as predicted  2.000  100.0 %
";

#[test]
fn a_panel_shows_its_pieces_largest_first() {
    let all = ledger(LEDGER);
    let got = text(&statement(&all, Scope::Panel("bow-hatch".into())).unwrap(), 80);
    assert!(got.starts_with(PANEL), "{got}");
}

#[test]
fn imperial_ledgers_read_pounds_and_inches() {
    let all = ledger(&LEDGER.replace("format: 1", "format: 1\n  units: imperial"));
    let got = text(&statement(&all, Scope::Programme).unwrap(), 80);
    // 4.9 kg = 10.803 lb, 3.674 m = 144.65 in, 0.9 kg m = 78.117 lb in (NIST SP 811 factors).
    for part in ["weighs 10.803 lb", "x 144.6", "78.117 lb in"] {
        assert!(got.contains(part), "{part} in\n{got}");
    }
    assert!(!got.contains(" kg"), "{got}");
}

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

/// The keys are those of `design.md` section 9; more may follow them.
#[test]
fn json_has_the_keys_that_are_held_to() {
    let all = ledger(LEDGER);
    let got = json(&statement(&all, Scope::Programme).unwrap());
    assert_eq!(keys(&got)[0], "schema");
    assert_eq!(got["schema"], "mass/1");
    let holds = |value: &Value, wanted: &[&str]| {
        for key in wanted {
            assert!(value.get(key).is_some(), "{key} in {value}");
        }
    };
    holds(&got, &["total", "cg_m", "groups", "panels"]);
    assert_eq!(keys(&got["total"]), ["kg", "low_kg", "high_kg", "with_growth_kg"]);
    let group = ["group", "kg", "budget_kg", "margin_kg", "margin_with_growth_kg", "probability_within"];
    holds(&got["groups"][0], &group);
    holds(&got["panels"][0], &["panel", "quantity", "each_kg", "kg", "contributions"]);
    assert_eq!(keys(&got["panels"][0]["contributions"][0]), ["what", "where", "kg"]);
    assert_eq!(got["panels"][0]["contributions"][0]["what"], "edge seal");
    assert_eq!(got["panels"][0]["quantity"], 2);
    assert_eq!(got["panels"][0]["balance"], Value::Null);
    assert_eq!(got["panels"][1]["balance"]["ok"], false);
    assert_eq!((&got["panels"][1]["provisional"], &got["panels"][1]["weighings"]), (&json!(true), &json!(1)));
    let one = &got["panels"][1]["residuals"][0];
    let wanted = [
        "weighing",
        "serial",
        "on",
        "condition",
        "weighed_kg",
        "predicted_kg",
        "as_built",
        "residual_kg",
        "residual_percent",
        "counts",
        "standing",
    ];
    assert_eq!(keys(one), wanted);
    // 0.9 - 0.8 = 0.1, an eighth of the prediction, which is that of now.
    assert!((one["residual_percent"].as_f64().unwrap() - 12.5).abs() < 1e-9);
    assert_eq!(
        (&one["counts"], &one["as_built"], &one["standing"]),
        (&json!(true), &json!(false), &json!("not-judged"))
    );
    assert!((got["total"]["kg"].as_f64().unwrap() - 4.9).abs() < 1e-12);
    assert!((got["cg_m"][0].as_f64().unwrap() - (2.0 * 3.4 + 10.0 * 0.9) / 4.3).abs() < 1e-12);
    let causes: Vec<&str> =
        got["causes"].as_array().unwrap().iter().map(|one| one["cause"].as_str().unwrap()).collect();
    assert!(causes.is_sorted() && causes.len() == 2, "{causes:?}");
    let unplaced = ledger(
        &LEDGER
            .replace(", centroid: [2 m, 0 m, -0.0001 m]", "")
            .replace("[10 m, 0 m, 0 m]", "[1 m, 0 m, 0 m]"),
    );
    let one = json(&statement(&unplaced, Scope::Panel("bow-hatch".into())).unwrap());
    assert_eq!((&one["cg_m"], &one["share_without_position"]), (&Value::Null, &json!(1.0)));
}

#[test]
fn sampled_spread_says_its_seed() {
    let all = ledger(LEDGER);
    let sampled = statement_by(&all, Scope::Programme, Method::MonteCarlo { seed: 11 }).unwrap();
    assert!(text(&sampled, 80).contains("Spread sampled with seed 11."));
    assert_eq!(json(&sampled)["spread"], json!({ "method": "monte-carlo", "seed": 11 }));
}
