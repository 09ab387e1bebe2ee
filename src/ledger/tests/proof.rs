use super::*;

const TENSION: &str = "showings/lamina-tension.yaml";
const FIRST: &str = "evidence/e-001.yaml";
const SECOND: &str = "evidence/e-002.yaml";
const LENIENT: &str = "concessions/c-001.yaml";

#[test]
fn kinds_of_showings_are_known() {
    let ledger = with(TENSION, "kind: lamina-strength-fibre", "kind: lamina-strength-fiber");
    error(&ledger, "unknown-showing-kind", TENSION);
    assert_eq!(help(&ledger), "did you mean `lamina-strength-fibre`?");
    error(&with(TENSION, "subject: lamina", "subject: panel"), "wrong-subject", TENSION);
    only(&with("showings/wet-tg.yaml", "accept:", "subject: bond\naccept:"), &[]);
}

#[test]
fn table_of_kinds_is_the_printed_one() {
    // Thirty kinds stand in the printed table; two of its rows name two each or none of their own.
    let words: std::collections::BTreeSet<&str> =
        super::super::KNOWN_SHOWING_KINDS.iter().map(|kind| kind.word).collect();
    assert_eq!(words.len(), super::super::KNOWN_SHOWING_KINDS.len());
    assert_eq!(words.len(), 30);
}

#[test]
fn references_of_showings_are_known() {
    for (file, from, to) in [
        (TENSION, "after: [wet-tg]", "after: [wet-tk]"),
        (TENSION, "rests_on: [wet-tg]", "rests_on: [wet-gt]"),
        ("showings/wet-tg.yaml", "material: cw-200-e1", "material: cw-200-e2"),
        ("showings/wet-tg.yaml", "material: cw-200-e1", "recipe: hatch-inner"),
        ("showings/wet-tg.yaml", "panel: [bow-hatch]", "panel: [bow-hatch, bow-hutch]"),
    ] {
        error(&with(file, from, to), "unknown-reference", file);
    }
    error(
        &with(TENSION, "needed_by: first-flight", "needed_by: second-flight"),
        "unknown-milestone",
        TENSION,
    );
}

#[test]
fn sensitivity_names_facets_and_their_attributes() {
    let ledger = with(TENSION, "film-build:", "film-bild:");
    error(&ledger, "unknown-facet", TENSION);
    assert_eq!(help(&ledger), "did you mean `film-build`?");
    let ledger = with(TENSION, "mesh.areal:", "mesh.colour:");
    error(&ledger, "unknown-facet", TENSION);
    assert!(help(&ledger).starts_with("write `mesh`, or mesh with .designation"));
    error(&with(TENSION, "mesh.areal:", "plies.count:"), "unknown-facet", TENSION);
    only(&with(TENSION, "mesh.areal:", "geometry.load.suction:"), &[]);
}

#[test]
fn accept_needs_a_criterion() {
    error(&with(TENSION, "accept: {basis: B, at_least: 520 MPa}", "accept: {}"), "empty-criterion", TENSION);
    error(&with(TENSION, ", at_least: 520 MPa", ""), "empty-criterion", TENSION);
}

#[test]
fn strength_on_the_mean_only_is_not_raised_by_the_load_path() {
    warning(
        &with(TENSION, "basis: B, at_least: 520 MPa", "mean_at_least: 520 MPa"),
        "basis-not-asked",
        TENSION,
    );
    only(&with(TENSION, "basis: B, at_least", "basis: B, mean_at_least: 600 MPa, at_least"), &[]);
}

#[test]
fn figures_of_plans_are_in_range() {
    for (from, to) in [
        ("batches: 1", "batches: 0"),
        ("batches: 1", "panels_per_batch: 0"),
        ("specimens: 2", "specimens: 0"),
        ("specimens: 2", "specimens_per_panel: 0"),
        ("specimens: 2", "equivalence: {specimens: 0}"),
        ("specimens: 2", "equivalence: {panels: 0}"),
        ("weeks: 2", "weeks: -2"),
        ("weeks: 2", "lead: -1"),
        ("weeks: 2", "cost: -5 EUR"),
        ("weeks: 2", "spares: -10 %"),
        ("to: 95 %", "to: 100 %"),
        ("coupon_thickness: 2.5 mm", "coupon_thickness: 0 mm"),
        ("temperature: 23 degC", "temperature: 2300 degC"),
    ] {
        error(&with(TENSION, from, to), "out-of-range", TENSION);
    }
}

#[test]
fn circles_of_showings() {
    for list in ["after", "rests_on"] {
        let ledger = with("showings/wet-tg.yaml", "accept:", &format!("{list}: [lamina-tension]\naccept:"));
        only(&ledger, &[("circle", Level::Error, TENSION)]);
        assert!(ledger.faults[0].message.ends_with("lamina-tension -> wet-tg -> lamina-tension"));
        assert_eq!(ledger.broken.len(), 2);
    }
}

#[test]
fn circles_of_evidence_and_decisions() {
    let ledger = with(FIRST, "kind: test", "kind: test\nsupersedes: e-002\n");
    only(&ledger, &[]);
    let mut files = sound();
    files.put(FIRST, changed(FIRST, "kind: test", "kind: test\nsupersedes: e-002"));
    files.put(SECOND, changed(SECOND, "baseline: e-001", "baseline: e-001\nsupersedes: e-001"));
    let ledger = load(&files);
    only(&ledger, &[("circle", Level::Error, FIRST)]);
    assert!(ledger.evidence.is_empty() && ledger.data.is_empty());
    let ledger = with(SECOND, "baseline: e-001", "baseline: e-002");
    let rules: Vec<&str> = ledger.faults.iter().map(|fault| fault.rule).collect();
    assert_eq!(rules, ["circle", "wrong-baseline"]);
    let file = "decisions/dd-001-lighter.yaml";
    error(&with(file, "status: proposed", "status: proposed\nsupersedes: dd-001-lighter"), "circle", file);
}

#[test]
fn references_of_evidence_are_known() {
    for (file, from, to) in [
        (FIRST, "showing: lamina-tension", "showing: lamina-tensoin"),
        (FIRST, "kind: test", "kind: test\nsupersedes: e-000"),
        (SECOND, "baseline: e-001", "baseline: e-100"),
        (LENIENT, "showing: lamina-tension", "showing: lamina-tensoin"),
    ] {
        error(&with(file, from, to), "unknown-reference", file);
    }
}

#[test]
fn subjects_have_one_key_of_the_right_shape() {
    for subject in [
        "{}",
        "{lamina: [cw-200-e1, oven-120], panel: bow-hatch}",
        "{lamina: [cw-200-e1]}",
        "{lamina: [a, b, c, d]}",
        "{painted: [hatch-outer]}",
        "{bond: [paste-a, bond-rt, laminate.hatch-outer]}",
        "{sheet: [acrylic-a]}",
        "{sheet: [acrylic-a, 4]}",
        "{programme: false}",
        "{laminate: Hatch Outer}",
        "{bond: [paste-a, bond-rt, hatch-outer, sheet.acrylic-a]}",
    ] {
        error(&with(FIRST, "{lamina: [cw-200-e1, oven-120]}", subject), "bad-subject", FIRST);
    }
    for subject in [
        "{lamina: [gw-300, resin-a, infusion-1]}",
        "{laminate: hatch-outer}",
        "{painted: [hatch-outer, white]}",
        "{painted: [hatch-outer, bare]}",
        "{bond: [paste-a, bond-rt, laminate.hatch-outer, sheet.acrylic-a]}",
        "{sheet: [acrylic-a, 4 mm]}",
        "{panel: bow-hatch}",
        "{programme: true}",
    ] {
        only(&with(FIRST, "{lamina: [cw-200-e1, oven-120]}", subject), &[]);
    }
}

#[test]
fn subjects_resolve_until_conformed() {
    for subject in [
        "{lamina: [cw-200-e9, oven-120]}",
        "{lamina: [cw-200-e1, oven-999]}",
        "{laminate: gone}",
        "{painted: [gone, white]}",
        "{painted: [hatch-outer, gone]}",
        "{bond: [gone, bond-rt, laminate.hatch-outer, sheet.acrylic-a]}",
        "{bond: [paste-a, bond-rt, laminate.gone, sheet.acrylic-a]}",
        "{bond: [paste-a, bond-rt, laminate.hatch-outer, sheet.gone]}",
        "{sheet: [gone, 4 mm]}",
        "{panel: gone}",
    ] {
        error(&with(FIRST, "{lamina: [cw-200-e1, oven-120]}", subject), "unknown-reference", FIRST);
        let conformed = format!("{subject}\nconformed: {{form: 1, attributes: {{fibre.name.a: hs-a}}}}");
        only(&with(FIRST, "{lamina: [cw-200-e1, oven-120]}", &conformed), &[]);
        error(&with(LENIENT, "{panel: bow-hatch}", subject), "unknown-reference", LENIENT);
    }
    let kind = with(FIRST, "{lamina: [cw-200-e1, oven-120]}", "{lamina: [gw-300, oven-120]}");
    error(&kind, "wrong-material-kind", FIRST);
}

#[test]
fn extensions_need_a_baseline_that_can_bear_them() {
    error(&with(SECOND, "baseline: e-001", ""), "missing-baseline", SECOND);
    let planned = with(SECOND, "state: done\ndata: data/e-002.csv\nbaseline: e-001", "state: planned");
    only(&planned, &[]);
    let other = with(FIRST, "showing: lamina-tension", "showing: wet-tg");
    assert!(other.faults.iter().any(|fault| short(fault) == ("wrong-baseline", Level::Error, SECOND)));
    let mut files = sound();
    files.put(
        "evidence/e-003.yaml",
        changed(SECOND, "baseline: e-001", "baseline: e-002").replace("e-002.csv", "e-003.csv"),
    );
    files.put("evidence/data/e-003.csv", "batch,panel,specimen,value [MPa]\nb8,p1,s1,600\n");
    error(&load(&files), "wrong-baseline", "evidence/e-003.yaml");
}

#[test]
fn attributes_belong_to_configurations() {
    error(&with(FIRST, "resin-content: 37.5 %", "resincontent: 37.5 %"), "unknown-attribute", FIRST);
    error(&with(LENIENT, "film-build.max", "film-bild.max"), "unknown-attribute", LENIENT);
    only(&with(LENIENT, "film-build.max", "resin-content.high.a"), &[]);
    only(&with(LENIENT, "film-build.max", "claims.lightning"), &[]);
}

#[test]
fn evidence_that_is_done_shows_something() {
    warning(&with(FIRST, "data: data/e-001.csv\n", ""), "no-result", FIRST);
    error(&with(FIRST, "kind: test", "kind: test\ntested: {temperature: 9000 degC}"), "out-of-range", FIRST);
}

#[test]
fn concessions_say_how_far_they_reach() {
    error(&with(LENIENT, "{at_most: 190 um}", "{}"), "exactly-one", LENIENT);
    error(&with(LENIENT, "{at_most: 190 um}", "{at_most: 190 um, equals: 5}"), "exactly-one", LENIENT);
    error(&with(LENIENT, "{film-build.max: {at_most: 190 um}}", "{}"), "empty-list", LENIENT);
    error(&with(LENIENT, "limit: 1", "limit: 0"), "out-of-range", LENIENT);
    error(&with(LENIENT, "limit: 1\n", ""), "missing-key", LENIENT);
    error(&with(LENIENT, "limit: 1", "serials: []"), "missing-key", LENIENT);
    error(&with(LENIENT, "limit: 1", "serials: [H-1, ' ']"), "missing-key", LENIENT);
    only(&with(LENIENT, "limit: 1", "serials: [H-1]"), &[]);
    only(&with(LENIENT, "{film-build.max: {at_most: 190 um}}", "failed"), &[]);
}
