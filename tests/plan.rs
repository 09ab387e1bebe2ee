//! The plan of the example, carried out on paper: what it says restores a duty does restore it.

use crate::support::{Bench, layout};
use serde_json::Value;

/// Verdicts of the duties that a limit restores, `met` or another word.
fn verdicts(bench: &Bench, restores: &[Value]) -> Vec<String> {
    let gaps = bench.run(&["gaps", "--all", "--format", "json"]).json();
    let duties = gaps["duties"].as_array().unwrap();
    let verdict = |wanted: &Value| {
        let same = |duty: &&Value| ["showing", "subject"].iter().all(|key| duty[key] == wanted[key]);
        duties.iter().find(same).unwrap()["verdict"].as_str().unwrap().to_string()
    };
    restores.iter().map(verdict).collect()
}

#[test]
fn the_searched_limits_are_the_largest_that_restore() {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "all");
    let panel = bench.read("panels/bow-hatch.yaml");
    bench.write("panels/bow-hatch.yaml", &panel.replace("finish: white", "finish: night-blue"));
    let finish = bench.read("finishes/night-blue.yaml");
    let impact = bench.run(&["impact", "--format", "json"]).json();
    let limits = impact["retest"]["limits"].as_array().unwrap();
    let limit = |attribute: &str| limits.iter().find(|limit| limit["attribute"] == attribute).unwrap();
    let colour = limit("colour.absorptance");
    let restores = colour["restores"].as_array().unwrap();
    assert!(restores.len() > 3, "{colour}");
    assert!(verdicts(&bench, restores).iter().all(|verdict| verdict != "met"), "{colour}");
    let largest = colour["largest"].as_f64().unwrap();
    let painted = |absorptance: f64| {
        let text = format!("solar_absorptance: {absorptance:.2}");
        assert!(finish.contains("solar_absorptance: 0.90"));
        bench.write("finishes/night-blue.yaml", &finish.replace("solar_absorptance: 0.90", &text));
        verdicts(&bench, restores)
    };
    assert!(painted(largest).iter().all(|verdict| verdict == "met"), "{colour}");
    assert!(painted(largest + 0.01).iter().any(|verdict| verdict != "met"), "{colour}");
    // 333 um now: 80 - 25, 33, 25, 55 and 55 and 55 - 5, and 60 of repaint.
    let film = limit("film-build.max");
    assert_eq!(film["now"], 333.0);
    let restores = film["restores"].as_array().unwrap();
    let clear = "  - {material: clear-d, dry_film: 45 um +/- 10 um}\n";
    let coats = |count: usize, repaint: &str| {
        let text = finish.replace(&clear.repeat(2), &clear.repeat(count)).replace("repaint: 60 um", repaint);
        bench.write("finishes/night-blue.yaml", &text);
        verdicts(&bench, restores)
    };
    let largest = film["largest"].as_f64().unwrap();
    // 333 - 2 x 55 = 223 without two coats; the rest is repaint.
    let repaint = |max: f64| format!("repaint: {} um", 60.0 + max - 223.0);
    assert!(coats(0, &repaint(largest)).iter().all(|verdict| verdict == "met"), "{film}");
    assert!(coats(0, &repaint(largest + 1.0)).iter().any(|verdict| verdict != "met"), "{film}");
}
