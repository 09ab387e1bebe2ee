use super::*;
use crate::article::fixture::ledger;

/// By hand: two plies of 225 g/m2 of fibre and as much resin weigh 0.9 kg/m2, 9 kg over 10 m2. 100 um of paint of
/// 1000 kg/m3 weigh 1 kg within 0.2, two sigma: 10 % each.
const LEDGER: &str = "
ledger: {format: 1, programme: Sanderling (invented), weighing: {scatter: 0 %, scale: 0.1 %}}
materials:
  cw: {kind: prepreg, fibre: {name: f, type: carbon, density: 1.78 g/cm3, areal: 225 g/m2}, resin: {name: r, density: 1.25 g/cm3, content: 50 %}}
  top: {kind: coating, dry_density: 1000 kg/m3, role: colour}
processes: {oven: {method: oven}}
finishes: {white: {coats: [{material: top, dry_film: 100 um +/- 20 um}]}}
recipes: {solid: {process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 90}]}}
panels:
  hatch: {quantity: 3, zones: [{name: all, area: 10 m2, recipe: solid, finish: white}]}
weighings:
  w1: {panel: hatch, serial: H1, mass: 9 kg, as_built: {predicted: 9 kg}, condition: bare}
  w2: {panel: hatch, serial: H1, mass: 10.1 kg, as_built: {predicted: 10 kg}, condition: painted}
";

fn near(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-9, "{got} against {expected}");
}

fn taught(text: &str) -> Learned {
    let all = ledger(text);
    learned(&all, &statement(&all, Scope::Programme).unwrap()).unwrap()
}

fn of(learned: &Learned, contributor: Contributor) -> Estimate {
    *learned.estimates.iter().find(|one| one.contributor == contributor).unwrap()
}

/// By hand: noise of the painted reading 0.001 x 10 = 0.01 kg; gain 0.01/(0.01 + 0.0001) = 0.990 099; share
/// 0.099 009 9, variance 0.01 - 0.990 099 x 0.01 = 9.900 99e-5. Three hatches with 1 kg each.
#[test]
fn paint_is_learned_by_hand() {
    let got = taught(LEDGER);
    assert_eq!((got.readings, got.pieces), (2, 1));
    let paint = of(&got, Contributor::TopCoat);
    near(paint.prior, 0.1);
    near(paint.share, 0.1 * 100.0 / 101.0);
    near(paint.deviation, (0.01_f64 / 101.0).sqrt());
    assert_eq!(paint.says, Says::Heavy);
    near(got.kg, 30.0);
    near(got.change_kg, 30.0 / 101.0);
    near(got.deviation_kg, 3.0 * (0.01_f64 / 101.0).sqrt());
    for ply in [Contributor::Fibre, Contributor::Resin] {
        let one = of(&got, ply);
        assert_eq!((one.says, one.share, one.prior), (Says::NoTolerance, 0.0, 0.0));
        near(one.weighed_kg, 4.5);
        near(one.predicted_kg, 13.5);
    }
}

/// What was on the scale is not learned anew: of a panel that counts as weighed by a piece that was on it painted in the
/// end, nothing is predicted still; by two pieces of which one was bare, half of the paint.
#[test]
fn a_weighed_panel_moves_by_what_was_not_on_the_scale() {
    let got = taught(&LEDGER.replace("{quantity: 3,", "{quantity: 3, maturity: weighed,"));
    near(got.change_kg, 0.0);
    let bare = "w9: {panel: hatch, serial: H9, mass: 9 kg, as_built: {predicted: 9 kg}, condition: bare}";
    let more = LEDGER.replace("{quantity: 3,", "{quantity: 3, maturity: weighed,");
    assert!(more.contains("weighings:"), "{more}");
    let with = more.replacen("weighings:\n", &format!("weighings:\n  {bare}\n"), 1);
    let share = taught(&with);
    // Of three pieces on an aircraft the paint of each is half predicted: the share of the paint times 3 kg by half.
    near(share.change_kg, 3.0 * 0.5 * of(&share, Contributor::TopCoat).share);
}

/// An area drawn wrong is wrong for all pieces alike: it is noise that they share, and no prior of the paint. By
/// hand: one deviation of 2 % over two is 1 %, 0.1 kg of the painted 10 kg and 0.09 kg of the bare 9 kg. The
/// bare reading told almost all of it: 0 kg, so that the paint is heavy by nearly what it was.
#[test]
fn areas_stray_panel_by_panel() {
    let got = taught(&LEDGER.replace("area: 10 m2", "area: 10 m2 +/- 2 %"));
    let paint = of(&got, Contributor::TopCoat);
    near(paint.prior, 0.1);
    // S = [0.0081 + 0.000081, 0.009; 0.009, 0.01 + 0.0001 + 0.01], X P = (0, 0.01), y = (0, 0.1).
    let (a, b, d): (f64, f64, f64) = (0.0081 + 0.000_081, 0.009, 0.01 + 0.0001 + 0.01);
    near(paint.share, 0.01 * 0.1 * a / (a * d - b * b));
}

#[test]
fn scatter_stays_on_from_stage_to_stage() {
    let got = taught(&LEDGER.replace("scatter: 0 %", "scatter: 1 %"));
    // The body's 0.09 kg is in both readings, the paint's 0.01 kg in the painted one.
    let body = 0.0081;
    let (a, b, d): (f64, f64, f64) = (body + 0.000_081, body, 0.01 + body + 0.0001 + 0.0001);
    near(of(&got, Contributor::TopCoat).share, 0.01 * 0.1 * a / (a * d - b * b));
}

#[test]
fn pieces_on_hold_teach_nothing() {
    let got = taught(&LEDGER.replace("10.1 kg", "11 kg"));
    assert_eq!(got.left_out, ["w2"]);
    let paint = of(&got, Contributor::TopCoat);
    assert_eq!((paint.says, paint.share), (Says::NotWeighed, 0.0));
    let disposed = LEDGER.replace(
        "mass: 10.1 kg,",
        "mass: 11 kg, disposition: {cause: painted twice, by: shop, on: 2026-05-01},",
    );
    assert_eq!(taught(&disposed).left_out, ["w2"]);
}

#[test]
fn a_coarse_scale_is_too_little_to_tell() {
    let got = taught(&LEDGER.replace("scale: 0.1 %", "scale: 5 %"));
    assert_eq!(of(&got, Contributor::TopCoat).says, Says::TooFew);
    let none = taught(LEDGER.split("weighings:").next().unwrap());
    assert_eq!((none.readings, none.change_kg), (0, 0.0));
}

#[test]
fn a_weighing_without_a_prediction_is_named() {
    let got = taught(&LEDGER.replace("as_built: {predicted: 10 kg}, ", ""));
    assert_eq!(got.of_now, ["w2"]);
    near(of(&got, Contributor::TopCoat).share, 0.1 * 100.0 / 101.0);
}
