//! Faults stand where the mend goes.

use super::*;

#[track_caller]
fn at(ledger: &Ledger, line: usize, column: usize) {
    assert_eq!(ledger.faults.len(), 1, "{:#?}", ledger.faults);
    let place = &ledger.faults[0].place;
    assert_eq!((place.line, place.column), (Some(line), Some(column)), "{:#?}", ledger.faults);
}

#[test]
#[ignore = "places in the text come with the reader of records"]
fn faults_have_lines_and_columns() {
    let outer = "recipes/hatch-outer.yaml";
    at(&with(outer, "material: film-150", "material: film-151"), 6, 16);
    at(&with(outer, "process: oven-120", "process: oven-121"), 2, 10);
    at(&with(outer, "foam-52, thickness: 6 mm", "foam-52"), 7, 5);
    at(&with("panels/bow-hatch.yaml", "area: 0.82 m2", "area: 0 m2"), 6, 30);
    at(&with("panels/bow-hatch.yaml", "[outer field, window]", "[outer field, windw]"), 9, 87);
    at(&with("ledger.yaml", "over-budget: warn", "over-buget: warn"), 6, 22);
    at(&with("showings/lamina-tension.yaml", "mesh.areal:", "mesh.colour:"), 9, 44);
    at(&with("concessions/c-001.yaml", "film-build.max", "film-bild.max"), 4, 26);
    at(&with("evidence/e-001.yaml", "cw-200-e1, oven", "cw-200-e9, oven"), 2, 20);
    at(&with("decisions/dd-001-lighter.yaml", "{drop: recipe/fairing}", "{drop: fairing}"), 5, 12);
}
