//! Faults stand where the mend goes.

use super::*;

/// Asserts that the only fault is marked at the last place of `mark` in the changed file.
#[track_caller]
fn marks(file: &str, from: &str, to: &str, mark: &str) {
    let text = changed(file, from, to);
    let before = &text[..text.rfind(mark).expect("the mark is in the text")];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
    let ledger = with(file, from, to);
    assert_eq!(ledger.faults.len(), 1, "{:#?}", ledger.faults);
    let place = &ledger.faults[0].place;
    assert_eq!((place.line, place.column), (Some(line), Some(column)), "{:#?}", ledger.faults);
}

#[test]

fn faults_have_lines_and_columns() {
    let outer = "recipes/hatch-outer.yaml";
    let hatch = "panels/bow-hatch.yaml";
    let tension = "showings/lamina-tension.yaml";
    marks(outer, "film-150", "film-151", "film-151");
    marks(outer, "oven-120", "oven-121", "oven-121");
    marks(outer, "foam-52, thickness: 6 mm", "foam-52", "{material: foam-52}");
    marks(hatch, "0.82 m2", "0 m2", "0 m2");
    marks(hatch, "[outer field, window]", "[outer field, windw]", "windw");
    marks(hatch, "process: bond-rt, ", "", "{name: window bond");
    marks("processes/infusion-1.yaml", "25 degC", "-400 degC", "cure");
    marks("ledger.yaml", "over-budget: warn", "over-buget: warn", "over-buget");
    marks(tension, "mesh.areal:", "mesh.colour:", "mesh.colour");
    marks(tension, "rests_on: [wet-tg]", "rests_on: [wet-gt]", "wet-gt");
    marks("showings/wet-tg.yaml", "material: cw-200-e1", "material: cw-200-e9", "cw-200-e9");
    marks("showings/wet-tg.yaml", "panel: [bow-hatch]", "panel: [bow-hatch, bow-hutch]", "bow-hutch");
    marks("concessions/c-001.yaml", "film-build.max", "film-bild.max", "film-bild.max");
    marks("evidence/e-001.yaml", "cw-200-e1, oven", "cw-200-e9, oven", "cw-200-e9");
    marks("evidence/e-001.yaml", "data/e-001.csv", "data/e-100.csv", "data/e-100.csv");
    marks("decisions/dd-001-lighter.yaml", "{drop: recipe/fairing}", "{drop: fairing}", "fairing");
    marks("materials/cw-200-e1.yaml", "{from: lamina-tension}", "{from: lamina-tensoin}", "lamina-tensoin");
}
