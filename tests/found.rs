//! What `decide close` says of pieces that were weighed since, with figures that are worked out by hand.
//!
//! A ply of 225 g/m2 of fibre weighs 225/(1 - content): 450 g/m2 at 50 % of resin and 375 g/m2 at 40 %. Two of them on
//! 10 m2 are 9.0 kg and 7.5 kg, and there are two hatches: the decision is predicted to save 3.0 kg.

use crate::support::{Bench, layout};
use serde_json::Value;

const FILES: [(&str, &str); 8] = [
    ("ledger.yaml", "format: 1\nprogramme: Sanderling (invented)\nweighing: {explain: 50 %, hold: 60 %}\n"),
    (
        "materials/cw.yaml",
        "kind: prepreg\nfibre: {name: f, type: carbon, density: 1.78 g/cm3, areal: 225 g/m2}\nresin: {name: r, density: 1.25 g/cm3, content: 50 %}\n",
    ),
    ("materials/latch.yaml", "kind: part\nmass: 1 kg\n"),
    ("processes/oven.yaml", "method: oven\n"),
    (
        "recipes/solid.yaml",
        "process: oven\nlayers:\n  - {material: cw, angle: 0}\n  - {material: cw, angle: 90}\n",
    ),
    ("recipes/other.yaml", "process: oven\nlayers:\n  - {material: cw, angle: 0}\n"),
    ("panels/hatch.yaml", "zones: [{name: all, area: 10 m2, recipe: solid}]\n"),
    ("assemblies/bow.yaml", "children: [{panel: hatch, count: 2}, {part: latch, count: 4}]\n"),
];

/// The day before which the decision is carried out, and one well after it.
const BEFORE: &str = "2026-01-10";
const SINCE: &str = "2026-03-01";

fn weighing(mass: &str, as_built: Option<&str>, on: &str, more: &str) -> String {
    let built = as_built.map_or(String::new(), |kg| format!("as_built: {{predicted: {kg}}}\n"));
    format!("panel: hatch\nmass: {mass}\non: {on}\n{built}{more}")
}

/// Carries the decision out with some pieces weighed before it and others since; returns the bench, what `decide
/// close` says and what it writes under `found`.
fn closed(sets: &[&str], before: &[String], since: &[String]) -> (Bench, String, Value) {
    closed_with(&[], sets, before, since)
}

/// As `closed`, with other files beside those of the ledger or in their place.
fn closed_with(
    files: &[(&str, &str)],
    sets: &[&str],
    before: &[String],
    since: &[String],
) -> (Bench, String, Value) {
    let bench = Bench::new();
    for (file, text) in FILES.iter().chain(files) {
        bench.write(file, text);
    }
    let weigh = |all: &[String], name: &str| {
        for (at, text) in all.iter().enumerate() {
            bench.write(&format!("weighings/{name}-{at}.yaml"), text);
        }
    };
    weigh(before, "before");
    let run = |arguments: &[&str]| {
        let answer = bench.run(&[arguments, &["--today", "2026-02-03"]].concat());
        assert_eq!(answer.code, 0, "{arguments:?}: {}", answer.err);
    };
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "base");
    let set: Vec<&str> = sets.iter().flat_map(|set| ["--set", *set]).collect();
    run(&[&["decide", "draft", "Leaner"], &set[..]].concat());
    run(&["decide", "propose", "dd-001"]);
    run(&["decide", "approve", "dd-001", "--role", "chief-engineer"]);
    layout::commit(&bench.ledger(), "Approve");
    run(&["decide", "apply", "dd-001"]);
    layout::commit(&bench.ledger(), "Leaner");
    weigh(since, "since");
    layout::commit(&bench.ledger(), "Weigh");
    let dry = bench.run(&["decide", "close", "dd-001", "--dry-run", "--format", "json"]);
    assert_eq!(dry.code, 0, "{}", dry.err);
    let answer = bench.run(&["decide", "close", "dd-001"]);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    let said = answer.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let found = dry.json()["found"].clone();
    // What is written is what was said.
    let text = bench.read("decisions/dd-001-leaner.yaml");
    for key in ["calculated", "weighed", "pieces"] {
        let line = match &found[key] {
            Value::Null => {
                assert!(!text.contains(&format!("  {key}: ")), "{key}: {text}");
                continue;
            }
            Value::String(own) => format!("  {key}: {own}\n"),
            own => format!("  {key}: {own}\n"),
        };
        assert!(text.contains(&line), "{line}: {text}");
    }
    (bench, said, found)
}

const LEANER: &str = "material/cw#resin.content=40 %";

#[track_caller]
fn says(found: &Value, weighed: Option<&str>, pieces: Option<u64>) {
    assert_eq!((found["weighed"].as_str(), found["pieces"].as_u64()), (weighed, pieces), "{found}");
}

/// Before: one piece 0.2 kg heavier than it was predicted. Since: 0.4 and 0.2 kg heavier, 0.3 kg on the mean, so 0.1
/// kg of a piece more than before, on two of them: -3.0 + 2 x 0.1 = -2.8 kg.
#[test]
fn pieces_before_and_since_correct_the_prediction() {
    let before = [weighing("9.2 kg", Some("9 kg"), BEFORE, "serial: H1\n")];
    let since = [
        weighing("7.9 kg", Some("7.5 kg"), SINCE, "serial: H3\n"),
        weighing("7.7 kg", Some("7.5 kg"), SINCE, "serial: H4\n"),
    ];
    let (bench, said, found) = closed(&[LEANER], &before, &since);
    says(&found, Some("-2.8 kg"), Some(2));
    assert_eq!(found["calculated"], "-3 kg");
    let line = "Mass: -2.800 kg by 2 pieces weighed since (of 1 panel, all weighed), predicted -3.000, calculated -3.000.";
    assert!(said.contains(line), "{said}");
    // The calibration goes by the scale: 0.2 kg more than was said.
    layout::commit(&bench.ledger(), "Close");
    let history = bench.run(&["history", "--format", "json"]).json();
    let own = &history["predictions"];
    assert_eq!((own["masses"].as_u64(), own["decisions"][0]["weighed"].as_bool()), (Some(1), Some(true)));
    assert!((own["mass_bias_kg"].as_f64().unwrap() - 0.2).abs() < 1e-9, "{own}");
    let listed = bench.run(&["decide", "list", "--format", "json"]).json();
    assert_eq!(listed["decisions"][0]["held"]["found_mass_kg"].as_f64(), Some(-2.8));
}

#[test]
fn without_a_weighing_what_was_calculated_stands() {
    let (bench, said, found) = closed(&[LEANER], &[], &[]);
    says(&found, None, None);
    assert!(
        said.contains(
            "Mass: -3.000 kg as calculated, predicted -3.000; no panel was weighed both before and since in one condition"
        ),
        "{said}"
    );
    assert!(said.contains("Commit it: `bondline history`"), "{said}");
    let listed = bench.run(&["decide", "list", "--format", "json"]).json();
    let held = &listed["decisions"][0]["held"];
    assert_eq!((held["found_mass_kg"].as_f64(), held["weighed"].as_bool()), (None, Some(false)));
    assert_eq!(held["calculated_mass_kg"].as_f64(), Some(-3.0));
    // A program that agrees with itself is no measure: it is in no mean.
    layout::commit(&bench.ledger(), "Close");
    let history = bench.run(&["history", "--format", "json"]).json();
    let own = &history["predictions"];
    assert_eq!((own["masses"].as_u64(), own["mass_error_kg"].as_f64()), (Some(0), None), "{own}");
    assert_eq!(own["decisions"].as_array().unwrap().len(), 1);
}

/// A bare piece is held against bare ones: 0.1 kg more than the one before, not against what paint was off by.
#[test]
fn a_bare_piece_is_held_against_bare_ones() {
    let stage = |serial: &str, mass: &str, built: &str, condition: &str, on: &str| {
        weighing(mass, Some(built), on, &format!("serial: {serial}\ncondition: {condition}\n"))
    };
    let before = [
        stage("H1", "9.2 kg", "9 kg", "bare", BEFORE),
        stage("H1", "9.9 kg", "9 kg", "painted", "2026-01-12"),
    ];
    let since = [stage("H3", "7.8 kg", "7.5 kg", "bare", SINCE)];
    let (_, _, found) = closed(&[LEANER], &before, &since);
    says(&found, Some("-2.8 kg"), Some(1));
    // Nothing was weighed primed before: it says nothing.
    let (_, _, found) = closed(&[LEANER], &before, &[stage("H3", "7.8 kg", "7.5 kg", "primed", SINCE)]);
    says(&found, None, None);
}

/// What a revert took back is held to nothing, and the list says so.
#[test]
fn what_was_taken_back_is_not_closed() {
    let (bench, _, _) = closed(&[LEANER], &[], &[]);
    let carried = bench.read("materials/cw.yaml");
    bench.write("materials/cw.yaml", &carried.replace("content: 40 %", "content: 50 %"));
    layout::commit(&bench.ledger(), "Revert");
    let refused = bench.run(&["decide", "close", "dd-001"]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("taken back on"), "{}", refused.err);
    let listed = bench.run(&["decide", "list", "--format", "json"]).json();
    let own = &listed["decisions"][0];
    assert_eq!(own["state"], "taken back");
    assert!(own["applied"]["commit"].is_string() && own["taken_back"]["commit"].is_string(), "{own}");
    // Done once more it stands.
    bench.write("materials/cw.yaml", &carried);
    layout::commit(&bench.ledger(), "Again");
    assert_eq!(bench.run(&["decide", "close", "dd-001"]).code, 0);
}

/// What was weighed before says how heavy pieces were, and nothing of the change.
#[test]
fn a_panel_that_was_weighed_only_before_says_nothing_of_the_change() {
    let before = [weighing("9.5 kg", Some("9 kg"), BEFORE, "serial: H1\n")];
    let (_, said, found) = closed(&[LEANER], &before, &[]);
    says(&found, None, None);
    assert!(said.contains("no panel was weighed both before and since"), "{said}");
}

/// How far off a panel is that was never weighed before may be as old as the panel.
#[test]
fn a_panel_that_was_weighed_only_since_says_nothing_of_the_change() {
    let since = [weighing("7.8 kg", Some("7.5 kg"), SINCE, "serial: H3\n")];
    let (_, said, found) = closed(&[LEANER], &[], &since);
    says(&found, None, None);
    assert!(said.contains("no panel was weighed both before and since"), "{said}");
}

/// One that keeps no prediction is held against that of today, which has the change in it: as what was before it would
/// count the change a second time. Beside one that keeps its own it is left out, -3.0 + 2 x (0.3 - 0.1) = -2.6 kg; alone
/// it says nothing.
#[test]
fn a_piece_of_before_that_keeps_no_prediction_is_no_measure() {
    let none = weighing("9.2 kg", None, BEFORE, "serial: H1\n");
    let own = weighing("9.1 kg", Some("9 kg"), BEFORE, "serial: H2\n");
    let since = |built| [weighing("7.8 kg", built, SINCE, "serial: H3\n")];
    let (_, _, found) = closed(&[LEANER], &[none.clone(), own.clone()], &since(Some("7.5 kg")));
    says(&found, Some("-2.6 kg"), Some(1));
    let (_, _, found) = closed(&[LEANER], &[none], &since(Some("7.5 kg")));
    says(&found, None, None);
    // Of a piece weighed since, today's is the prediction that it was built to.
    let (_, _, found) = closed(&[LEANER], &[own], &since(None));
    says(&found, Some("-2.6 kg"), Some(1));
}

/// One piece three times on the scale is one piece, and counts as it was weighed last: 0.3 kg heavier. The other is
/// 0.1 kg heavier, so 0.2 kg on the mean, against 0.1 kg before: -3.0 + 2 x 0.1 = -2.8 kg.
#[test]
fn a_piece_that_is_weighed_stage_by_stage_is_one_piece() {
    let stage = |mass: &str, condition: &str, on: &str| {
        weighing(mass, Some("7.5 kg"), on, &format!("serial: H3\ncondition: {condition}\n"))
    };
    let before = [weighing("9.1 kg", Some("9 kg"), BEFORE, "serial: H1\n")];
    let since = [
        stage("7.5 kg", "bare", "2026-03-01"),
        stage("7.7 kg", "primed", "2026-03-02"),
        stage("7.8 kg", "painted", "2026-03-03"),
        weighing("7.6 kg", Some("7.5 kg"), SINCE, "serial: H4\n"),
    ];
    let (_, said, found) = closed(&[LEANER], &before, &since);
    says(&found, Some("-2.8 kg"), Some(2));
    assert!(said.contains("by 2 pieces weighed since"), "{said}");
}

/// A lid of one ply on 1 m2 loses 75 g too, and nobody weighs one: -3.075 + 2 x 0.1 = -2.875 kg, of which the lid's part
/// is no figure of the scale.
#[test]
fn what_was_not_weighed_is_said_to_be_as_calculated() {
    let files = [
        ("panels/lid.yaml", "zones: [{name: all, area: 1 m2, recipe: other}]\n"),
        (
            "assemblies/bow.yaml",
            "children: [{panel: hatch, count: 2}, {panel: lid, count: 1}, {part: latch, count: 4}]\n",
        ),
    ];
    let before = [weighing("9.2 kg", Some("9 kg"), BEFORE, "serial: H1\n")];
    let since = [
        weighing("7.9 kg", Some("7.5 kg"), SINCE, "serial: H3\n"),
        weighing("7.7 kg", Some("7.5 kg"), SINCE, "serial: H4\n"),
    ];
    let (_, said, found) = closed_with(&files, &[LEANER], &before, &since);
    says(&found, Some("-2.875 kg"), Some(2));
    assert_eq!(found["weighed_panels"], 1);
    let line = "Mass: -2.875 kg by 2 pieces weighed since (of 2 panels, 1 weighed; the other as calculated), predicted -3.075";
    assert!(said.contains(line), "{said}");
}

/// Off by more than the ledger lets pass: nobody knows yet what was weighed.
#[test]
fn a_piece_on_hold_does_not_count() {
    let before = [weighing("9 kg", Some("9 kg"), BEFORE, "serial: H1\n")];
    let since = [
        weighing("7.8 kg", Some("7.5 kg"), SINCE, "serial: H3\n"),
        weighing("13 kg", Some("7.5 kg"), SINCE, "serial: H4\n"),
    ];
    let (_, _, found) = closed(&[LEANER], &before, &since);
    says(&found, Some("-2.4 kg"), Some(1));
}

/// Four latches of 1 kg become 0.5 kg: 2.0 kg less that no panel has, beside the 3.0 kg of the hatches. What is found
/// of the hatches leaves them in: -5.0 + 2 x 0.3 = -4.4 kg.
#[test]
fn parts_that_no_panel_has_stay_in_the_sum() {
    let before = [weighing("9 kg", Some("9 kg"), BEFORE, "serial: H1\n")];
    let since = [weighing("7.8 kg", Some("7.5 kg"), SINCE, "serial: H3\n")];
    let (_, _, found) = closed(&[LEANER, "material/latch#mass=0.5 kg"], &before, &since);
    assert_eq!(found["calculated"], "-5 kg");
    says(&found, Some("-4.4 kg"), Some(1));
}

/// A weighing of a panel that the decision leaves as it is says nothing of it.
#[test]
fn other_panels_on_the_scale_do_not_count() {
    let before = [weighing("9.2 kg", Some("9 kg"), BEFORE, "serial: H1\n")];
    let since = [weighing("9.9 kg", Some("9 kg"), SINCE, "serial: H3\n")];
    let (_, said, found) =
        closed(&["recipe/other#layers.1.angle=45", "material/latch#mass=0.5 kg"], &before, &since);
    says(&found, None, None);
    assert!(
        said.contains(
            "Mass: -2.000 kg as calculated, predicted -2.000; no panel was weighed both before and since in one condition"
        ),
        "{said}"
    );
}
