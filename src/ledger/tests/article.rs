use super::*;

const HATCH: &str = "panels/bow-hatch.yaml";
const OUTER: &str = "recipes/hatch-outer.yaml";

#[test]
fn unknown_references_are_found_wherever_they_stand() {
    for (file, from, to) in [
        (OUTER, "process: oven-120", "process: oven-121"),
        (OUTER, "material: film-150", "material: film-151"),
        ("recipes/fairing.yaml", "material: resin-a", "material: resin-b"),
        ("finishes/white.yaml", "process: spray-1", "process: spray-2"),
        ("finishes/white.yaml", "material: base-c", "material: base-d"),
        ("tools/hatch-mould.yaml", "from: hatch-pattern", "from: hatch-patern"),
        ("materials/cw-200-e1.yaml", "from: lamina-tension", "from: lamina-tensoin"),
        (HATCH, "tool: hatch-mould", "tool: hatch-mold"),
        (HATCH, "recipe: hatch-outer", "recipe: hatch-oute"),
        (HATCH, "finish: white", "finish: whit"),
        (HATCH, "material: acrylic-a", "material: acrylic-b"),
        (HATCH, "adhesive: paste-a", "adhesive: paste-b"),
        (HATCH, "process: bond-rt", "process: bond-tr"),
        (HATCH, "[outer field, window]", "[outer field, windw]"),
        (HATCH, "part: seal-d", "part: seal-e"),
        (HATCH, "part: latch-a", "part: latch-b"),
        (HATCH, "overlap: 3 %", "design_strain: {tension: {from: lamina-tensoin}}"),
        ("assemblies/bow.yaml", "panel: bow-hatch", "panel: bow-hatsh"),
        ("assemblies/bow.yaml", "part: latch-a", "part: latch-b"),
        ("assemblies/whole.yaml", "assembly: bow", "assembly: bov"),
        ("weighings/w-001.yaml", "panel: bow-hatch", "panel: bow-hutch"),
    ] {
        let ledger = with(file, from, to);
        error(&ledger, "unknown-reference", file);
        assert!(help(&ledger).starts_with("did you mean `"), "{from}: {}", help(&ledger));
    }
}

#[test]
fn help_lists_all_where_none_is_near_and_they_are_few() {
    let ledger = with(HATCH, "finish: white", "finish: entirely-other");
    assert_eq!(help(&ledger), "there are: white");
}

#[test]
fn materials_must_be_of_the_right_kind() {
    for (file, from, to, words) in [
        (OUTER, "material: film-150", "material: acrylic-a", "`acrylic-a` is a sheet"),
        (
            "recipes/fairing.yaml",
            "material: resin-a",
            "material: foam-52",
            "`foam-52` is a core; a resin was",
        ),
        ("finishes/white.yaml", "material: base-c", "material: resin-a", "a coating was expected"),
        (HATCH, "material: acrylic-a", "material: foam-52", "a sheet was expected"),
        (HATCH, "adhesive: paste-a", "adhesive: resin-a", "an adhesive was expected"),
        (HATCH, "part: seal-d", "part: film-150", "`film-150` is an adhesive; a part was"),
        (HATCH, "part: latch-a", "part: film-150", "a part was expected"),
        ("assemblies/bow.yaml", "part: latch-a", "part: film-150", "a part was expected"),
    ] {
        let ledger = with(file, from, to);
        error(&ledger, "wrong-material-kind", file);
        assert!(ledger.faults[0].message.contains(words), "{}", ledger.faults[0].message);
        assert_eq!(ledger.faults[0].why.len(), 1);
    }
}

#[test]
fn parts_have_the_mass_that_their_place_needs() {
    error(&with(HATCH, "part: seal-d", "part: latch-a"), "missing-mass", HATCH);
    error(&with(HATCH, "part: latch-a", "part: seal-d"), "missing-mass", HATCH);
    error(
        &with("assemblies/bow.yaml", "part: latch-a", "part: seal-d"),
        "missing-mass",
        "assemblies/bow.yaml",
    );
}

#[test]
fn milestones_of_panels_are_known() {
    let ledger = with(HATCH, "released_for: first-flight", "released_for: first-fligth");
    error(&ledger, "unknown-milestone", HATCH);
    assert_eq!(help(&ledger), "did you mean `first-flight`?");
}

#[test]
fn children_are_exactly_one_thing() {
    let file = "assemblies/bow.yaml";
    error(
        &with(file, "{panel: bow-hatch, count: 1}", "{panel: bow-hatch, part: latch-a}"),
        "exactly-one",
        file,
    );
    error(&with(file, "{panel: bow-hatch, count: 1}", "{count: 1}"), "exactly-one", file);
}

#[test]
fn circles_of_assemblies_and_tools_show_the_whole_loop() {
    let ledger = with("assemblies/bow.yaml", "{part: latch-a, count: 4}", "{assembly: whole}");
    only(&ledger, &[("circle", Level::Error, "assemblies/bow.yaml")]);
    assert!(ledger.faults[0].message.ends_with("bow -> whole -> bow"), "{}", ledger.faults[0].message);
    assert!(ledger.assemblies.is_empty() && ledger.broken.len() == 2);

    let ledger = with("tools/hatch-pattern.yaml", "kind: pattern", "kind: pattern\nfrom: hatch-pattern");
    error(&ledger, "circle", "tools/hatch-pattern.yaml");
    assert!(ledger.faults[0].message.ends_with("hatch-pattern -> hatch-pattern"));
    assert!(ledger.tools.contains_key("hatch-mould"), "it only points into the circle");
}

#[test]
fn every_circle_is_found_and_long_chains_are_walked() {
    let mut files = sound();
    for at in 0..3000 {
        files.put(&format!("tools/t-{at:04}.yaml"), format!("kind: mould\nfrom: t-{:04}\n", at + 1));
    }
    files.put("tools/t-3000.yaml", "kind: mould\nfrom: t-2999\n");
    files.put("tools/u-1.yaml", "kind: mould\nfrom: u-2\n");
    files.put("tools/u-2.yaml", "kind: mould\nfrom: u-1\n");
    let ledger = load(&files);
    only(
        &ledger,
        &[("circle", Level::Error, "tools/t-2999.yaml"), ("circle", Level::Error, "tools/u-1.yaml")],
    );
    assert_eq!(ledger.broken.len(), 4);
}

#[test]
fn designation_defaults_to_the_id_with_a_note() {
    let file = "materials/foam-52.yaml";
    let ledger = with(file, "designation: foam 52\n", "");
    only(&ledger, &[("designation-defaults", Level::Note, file)]);
    assert!(ledger.materials.contains_key("foam-52"));
}

#[test]
fn figures_of_materials_are_in_range() {
    let cw = "materials/cw-200-e1.yaml";
    for (file, from, to) in [
        (cw, "1790 kg/m3", "0 kg/m3"),
        (cw, "areal: 200 g/m2", "areal: -200 g/m2"),
        (cw, "content: 38 %", "content: 0 %"),
        (cw, "content: 38 %", "content: 100 %"),
        (cw, "content: 38 %", "content: 3800 %"),
        (cw, "cured_thickness: 0.21 mm", "cured_thickness: 0 mm"),
        (cw, "dry_tg: 130 degC", "dry_tg: 1800 degC"),
        (cw, "wet_tg: 105 degC", "wet_tg: -300 degC"),
        (cw, "E1: 60 GPa", "E1: 0 GPa"),
        (cw, "nu12: 0.05", "nu12: 1.0"),
        (cw, "{from: lamina-tension}", "-5 MPa"),
        ("materials/foam-52.yaml", "52 kg/m3", "-52 kg/m3"),
        ("materials/foam-52.yaml", "nu: 0.3", "nu: 0.51"),
        ("materials/acrylic-a.yaml", "nu: 0.35", "nu: -1.1"),
        ("materials/acrylic-a.yaml", "nu: 0.35", "nu: 0.35\nmodulus_at: [{temperature: 60 degC, E: 0 GPa}]"),
        ("materials/base-c.yaml", "1500 kg/m3", "1500 kg/m3\ntransfer: 120 %"),
        ("materials/latch-a.yaml", "120 g", "0 g"),
        ("materials/seal-d.yaml", "85 g/m", "-85 g/m"),
        ("processes/oven-120.yaml", "to: 120 degC", "to: 5000 degC"),
        ("processes/oven-120.yaml", "ramp: 2 K/min", "ramp: 0 K/min"),
        ("processes/oven-120.yaml", "hold: 90 min", "hold: -90 min"),
        ("processes/bond-rt.yaml", "method: bond", "method: bond\npressure: -1 kPa"),
        ("tools/hatch-mould.yaml", "kind: mould", "kind: mould\npulls: {expected: 0}"),
        ("tools/hatch-mould.yaml", "kind: mould", "kind: mould\nfootprint: [1 m, 0 m]"),
    ] {
        error(&with(file, from, to), "out-of-range", file);
    }
}

#[test]
fn limits_are_in_range_too() {
    let file = "materials/cw-200-e1.yaml";
    error(&with(file, "content: 38 %", "content: 38 % +/- 40 %"), "out-of-range", file);
    error(&with(file, "areal: 200 g/m2", "areal: 200 g/m2 +/- 250 g/m2"), "out-of-range", file);
    only(&with("finishes/white.yaml", "(30 .. 60 um)", "(0 .. 60 um)"), &[]);
}

#[test]
fn wet_above_dry_is_probably_not_meant() {
    let file = "materials/cw-200-e1.yaml";
    warning(&with(file, "wet_tg: 105 degC", "wet_tg: 140 degC"), "wet-above-dry", file);
}

#[test]
fn thickness_that_its_constituents_do_not_give() {
    // 0.200/1790 + 0.200 x 0.38/0.62/1240 m = 0.1117 mm + 0.0989 mm = 0.2106 mm, by hand.
    let file = "materials/cw-200-e1.yaml";
    let ledger = with(file, "cured_thickness: 0.21 mm", "cured_thickness: 0.24 mm");
    warning(&ledger, "thickness-differs", file);
    assert!(ledger.faults[0].message.ends_with("0.211 mm"), "{}", ledger.faults[0].message);
    only(&with(file, "cured_thickness: 0.21 mm", "cured_thickness: 0.231 mm"), &[]);
    only(&with(file, "cured_thickness: 0.21 mm", "cured_thickness: 0.19 mm"), &[]);
    // 0.300/2550 + 0.300 x 0.38/0.62/1150 m = 0.1176 mm + 0.1599 mm = 0.2775 mm, by hand; a fabric is judged
    // in the recipe that gives it its resin.
    let file = "materials/gw-300.yaml";
    let ledger = with(file, "cured_thickness: 0.28 mm", "cured_thickness: 0.35 mm");
    warning(&ledger, "thickness-differs", "recipes/fairing.yaml");
    assert!(ledger.faults[0].message.ends_with("0.278 mm"), "{}", ledger.faults[0].message);
}

#[test]
fn layers_have_the_angle_and_thickness_that_they_need() {
    error(&with(OUTER, "material: cw-200-e1, angle: 45", "material: cw-200-e1"), "missing-angle", OUTER);
    error(&with("recipes/fairing.yaml", ", angle: 0", ""), "missing-angle", "recipes/fairing.yaml");
    error(&with(OUTER, "foam-52, thickness: 6 mm", "foam-52"), "missing-thickness", OUTER);
    error(&with(OUTER, "material: film-150", "material: paste-a"), "missing-thickness", OUTER);
    warning(&with(OUTER, "material: mesh-73", "material: mesh-73, angle: 0"), "angle-without-ply", OUTER);
    error(&with(OUTER, "thickness: 6 mm", "thickness: 0 mm"), "out-of-range", OUTER);
    let twice = with(OUTER, "{material: cw-200-e1, angle: 0}", "{id: p1, material: cw-200-e1, angle: 0}");
    error(&twice, "duplicate-name", OUTER);
}

#[test]
fn dry_fabric_needs_resin_and_prepreg_does_not() {
    let file = "recipes/fairing.yaml";
    error(&with(file, "resin: {material: resin-a, content: 38 %}\n", ""), "missing-resin", file);
    error(&with(file, "content: 38 %", "content: 0 %"), "out-of-range", file);
    warning(
        &with(OUTER, "class:", "resin: {material: resin-a, content: 38 %}\nclass:"),
        "unused-resin",
        OUTER,
    );
}

#[test]
fn empty_lists() {
    let layers = "process: oven-120\nlayers: []\n";
    error(&plus("recipes/x.yaml", layers), "empty-list", "recipes/x.yaml");
    error(&plus("panels/x.yaml", "zones: []\n"), "empty-list", "panels/x.yaml");
    error(&plus("finishes/x.yaml", "coats: []\n"), "empty-list", "finishes/x.yaml");
    error(&plus("assemblies/x.yaml", "children: []\n"), "empty-list", "assemblies/x.yaml");
    error(&plus("studies/x.yaml", "vary: []\n"), "empty-list", "studies/x.yaml");
}

#[test]
fn figures_of_finishes_are_in_range() {
    let file = "finishes/white.yaml";
    for (from, to) in [
        ("solar_absorptance: 0.30", "solar_absorptance: 130 %"),
        ("emittance: 0.90", "emittance: -0.1"),
        ("dry_film: 40 um (30 .. 60 um)", "dry_film: 0 um"),
        ("removed: 5 um", "removed: -5 um"),
        ("removed: 5 um", "removed: 50 um"),
        ("coats:", "repaint: -60 um\ncoats:"),
    ] {
        error(&with(file, from, to), "out-of-range", file);
    }
}

#[test]
fn figures_of_panels_are_in_range() {
    for (from, to) in [
        ("area: 0.82 m2", "area: 0 m2"),
        ("thickness: 4 mm", "thickness: 0 mm"),
        ("length: 3.1 m", "length: -3.1 m"),
        ("width: 18 mm", "width: 0 mm"),
        ("thickness: 1.5 mm", "thickness: 0 mm"),
        ("squeeze_out: 20 %", "squeeze_out: -20 %"),
        ("squeeze_out: 20 %", "squeeze_out: 600 %"),
        ("length: 3.4 m", "length: 0 m"),
        ("count: 2", "count: 0"),
        ("overlap: 3 %", "overlap: -3 %"),
        ("overlap: 3 %", "quantity: 0"),
        ("overlap: 3 %", "holes: {largest: 0 mm}"),
        ("overlap: 3 %", "plate: {length: 0 m, width: 1 m}"),
        ("overlap: 3 %", "exposure: {minimum: -300 degC}"),
        ("overlap: 3 %", "design_strain: {tension: -4000 ustrain}"),
        ("overlap: 3 %", "design_strain: {compression: 3600}"),
        ("factor: 1.5", "factor: 0"),
        ("factor: 1.5", "special_factor: -1"),
    ] {
        error(&with(HATCH, from, to), "out-of-range", HATCH);
    }
    error(&with("assemblies/whole.yaml", "40 kg", "0 kg"), "out-of-range", "assemblies/whole.yaml");
    error(&with("assemblies/bow.yaml", "count: 4", "count: 0"), "out-of-range", "assemblies/bow.yaml");
    error(&with("weighings/w-001.yaml", "6.2 kg", "0 kg"), "out-of-range", "weighings/w-001.yaml");
}

#[test]
fn zones_are_laminate_or_sheet() {
    let both = with(HATCH, "finish: white", "sheet: {material: acrylic-a, thickness: 4 mm}");
    error(&both, "recipe-or-sheet", HATCH);
    error(&with(HATCH, "recipe: hatch-outer, ", ""), "recipe-or-sheet", HATCH);
    error(&with(HATCH, "area: 0.41 m2", "area: 0.41 m2, finish: white"), "finish-on-sheet", HATCH);
    let name =
        with("panels/tail-fairing.yaml", "zones: [", "zones: [{name: all, area: 1 m2, recipe: fairing}, ");
    error(&name, "duplicate-name", "panels/tail-fairing.yaml");
}

#[test]
fn structural_panels_take_structural_recipes() {
    let file = "panels/tail-fairing.yaml";
    warning(&with(file, "class: non-structural\n", ""), "class-mismatch", file);
    warning(&with(file, "class: non-structural", "class: structural"), "class-mismatch", file);
}

#[test]
fn joints_without_proof_weigh_only() {
    warning(&with(HATCH, "process: bond-rt, ", ""), "joint-without-proof", HATCH);
    warning(&with(HATCH, "between: [outer field, window], ", ""), "joint-without-proof", HATCH);
    error(&with(HATCH, ", thickness: 1.5 mm", ""), "missing-thickness", HATCH);
}

#[test]
fn what_the_engineering_refuses_is_out_of_range() {
    const LAMINA: &str = "materials/cw-200-e1.yaml";
    for (file, from, to) in [
        (LAMINA, "areal: 200 g/m2", "areal: 1e-9 g/m2"),
        (LAMINA, "areal: 200 g/m2", "areal: 200000 kg/m2"),
        (LAMINA, "density: 1790 kg/m3", "density: 1790000 kg/m3"),
        (LAMINA, "density: 1240 kg/m3", "density: 1e-6 kg/m3"),
        (LAMINA, "cured_thickness: 0.21 mm", "cured_thickness: 21 m"),
        ("materials/film-150.yaml", "150 g/m2", "15000 kg/m2"),
        ("materials/foam-52.yaml", "52 kg/m3", "52 kg/m3 (0 .. 60 kg/m3)"),
        (OUTER, "thickness: 6 mm", "thickness: 6 km"),
        (HATCH, "thickness: 4 mm", "thickness: 1e-12 mm"),
    ] {
        let ledger = with(file, from, to);
        let found =
            ledger.faults.iter().find(|fault| fault.rule == "out-of-range" && fault.place.file == file);
        assert_eq!(found.map(|fault| fault.level), Some(Level::Error), "{to}: {:?}", ledger.faults);
        let written = to.rsplit(": ").next().unwrap_or_default();
        assert!(
            ledger.faults.iter().any(|fault| fault.message.contains(written)),
            "{to}: {:?}",
            ledger.faults
        );
    }
}

#[test]
fn nested_counts_beyond_counting_name_the_lowest_assembly() {
    let mut files = sound();
    let mut below = "bow".to_string();
    for level in ["a", "b", "c", "d"] {
        let text = format!("children: [{{assembly: {below}, count: 4000}}]\n");
        files.put(&format!("assemblies/{level}.yaml"), text);
        below = level.to_string();
    }
    // 5 pieces in a bow (a hatch, four latches): 5 x 4000^3 = 3.2e11, and 4000 times that is too many.
    let ledger = load(&files);
    error(&ledger, "out-of-range", "assemblies/d.yaml");
    assert!(
        ledger.faults.iter().any(|fault| fault.message.contains("children of `d`")),
        "{:?}",
        ledger.faults
    );
    files.put("assemblies/d.yaml", "children: [{assembly: c, count: 3}]\n");
    only(&load(&files), &[]);
}
