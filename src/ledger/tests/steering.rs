use super::*;

const LIGHTER: &str = "decisions/dd-001-lighter.yaml";
const DROP: &str = "{drop: recipe/fairing}";

#[test]
fn a_change_is_exactly_one_thing_with_what_it_needs() {
    for change in [
        "{was: 5}",
        "{drop: recipe/fairing, add: recipe/other, record: {}}",
        "{set: recipe/fairing#layers.1.angle}",
        "{insert: recipe/fairing#layers, entry: {material: gw-300}}",
        "{insert: recipe/fairing#layers, after: 0}",
        "{insert: recipe/fairing#layers, after: 0, entry: {}, was: 5}",
        "{insert: recipe/fairing#layers, after: 0, entry: {}, between: [{}]}",
        "{drop: recipe/fairing, between: [null, null]}",
        "{add: recipe/other}",
        "{drop: recipe/fairing, to: 5}",
        "{remove: recipe/fairing#layers.1, entry: {}}",
    ] {
        error(&with(LIGHTER, DROP, change), "bad-change", LIGHTER);
    }
    for change in [
        "{remove: recipe/fairing#layers.1, was: {material: gw-300, angle: 0}}",
        "{add: material/new, record: {kind: resin}}",
        "{insert: recipe/fairing#layers, after: 0, between: [null, {material: gw-300, angle: 0}], entry: {material: gw-300}}",
        "{drop: recipe/gone-since}",
        "{set: ledger#climate.ambient, to: 45 degC}",
    ] {
        only(&with(LIGHTER, DROP, change), &[]);
    }
}

#[test]
fn places_of_changes_are_addresses() {
    for change in [
        "{drop: fairing}",
        "{drop: recipe/fairing#layers}",
        "{set: recipe/fairing, to: 5}",
        "{set: recipe/fairing#, to: 5}",
        "{set: recipe/fairing#layers..angle, to: 5}",
        "{set: laminate/fairing#layers.1, to: 5}",
    ] {
        error(&with(LIGHTER, DROP, change), "bad-address", LIGHTER);
    }
}

#[test]
fn decisions_supersede_decisions_that_are_there() {
    let ledger = with(LIGHTER, "status: proposed", "status: proposed\nsupersedes: dd-000");
    error(&ledger, "unknown-reference", LIGHTER);
    // The beginning of its own id is itself: found, and a circle.
    error(&with(LIGHTER, "status: proposed", "status: proposed\nsupersedes: dd-001"), "circle", LIGHTER);
}

#[test]
fn studies_vary_places_in_one_way() {
    let file = "studies/lean.yaml";
    let attribute = "recipe/hatch-outer#layers.4.thickness";
    error(&with(file, attribute, "recipe/hatch-outer"), "bad-address", file);
    for way in [
        "",
        ", among: [1 mm], drop: true",
        ", from: 1 mm",
        ", among: [1 mm], from: 1 mm, to: 2 mm",
        ", drop: false",
    ] {
        error(&with(file, ", from: 4 mm, to: 6 mm, step: 1 mm", way), "bad-variation", file);
    }
    for way in [", among: [1 mm, 2 mm]", ", from: 1 mm, to: 2 mm"] {
        only(&with(file, ", from: 4 mm, to: 6 mm, step: 1 mm", way), &[]);
    }
    let (range, all) = (".thickness, from: 4 mm, to: 6 mm, step: 1 mm", ", drop: true");
    only(&with(file, range, all), &[]);
    // What the records say now stops no commit: it is a warning.
    warning(&with(file, range, ".thickness, drop: true"), "stale-study", file);
    warning(&with(file, "layers.4", "layers.44"), "stale-study", file);
    warning(&with(file, "from: 4 mm", "from: 7 mm"), "stale-study", file);
    error(&with(file, "vary:", "keep: {share_per_direction: 40 %}\nvary:"), "bad-share", file);
}

#[test]
fn bounds_of_a_study_are_figures_that_a_search_can_keep_to() {
    let file = "studies/lean.yaml";
    let lean = |extra: &str| with(file, "vary:", &format!("{extra}\nvary:"));
    for bad in [
        "limits: {weeks: -1}",
        "limits: {weeks: .nan}",
        "limits: {weeks: .inf}",
        "limits: {seconds: -5}",
        "limits: {seconds: .nan}",
        "limits: {variations: 0}",
        "limits: {cost: -1 EUR}",
        "goal: {save: -500 g}",
        "goal: {save: 0 g}",
        "keep: {max_same_angle: 0}",
    ] {
        error(&lean(bad), "out-of-range", file);
    }
    for good in
        ["limits: {weeks: 0, seconds: 0, variations: 1}", "goal: {save: 1 g}", "keep: {margins: -0.1}"]
    {
        only(&lean(good), &[]);
    }
}
