//! The data against the printed tables (`tests/reference/sensitivity-printed.md`), cell by cell.

use super::*;
use crate::record::sensitivity::FACETS;

const PRINTED: &str = include_str!("../../../tests/reference/sensitivity-printed.md");

/// The printed columns by their heads.
const COLUMNS: [(&str, &str); 25] = [
    ("FIB", "fibre"),
    ("FAW", "fibre-areal"),
    ("WEV", "weave"),
    ("RES", "resin"),
    ("RC", "resin-content"),
    ("CUR", "cure"),
    ("OUT", "out-time"),
    ("PLY", "plies"),
    ("COR", "core"),
    ("CRD", "core-density"),
    ("CRT", "core-thickness"),
    ("ADH", "adhesive"),
    ("SIT", "site"),
    ("SRF", "surfacing"),
    ("MSH", "mesh"),
    ("FIL", "filler"),
    ("PRM", "primer"),
    ("BAS", "base-coat"),
    ("TOP", "top-coat"),
    ("COL", "colour"),
    ("DFT", "film-build"),
    ("TOL", "tool"),
    ("GEO", "geometry"),
    ("EDG", "edges"),
    ("ENV", "environment"),
];

const KINDS: [&str; 30] = [
    "lamina-strength-fibre",
    "lamina-strength-matrix",
    "lamina-modulus",
    "open-hole",
    "bearing",
    "compression-after-impact",
    "interlaminar",
    "flatwise-tension",
    "core-shear",
    "edgewise-compression",
    "bond-shear",
    "bond-peel",
    "glass-transition",
    "physicals",
    "flammability",
    "lightning",
    "paint-adhesion",
    "paint-weathering",
    "paint-humidity",
    "print-through",
    "impact",
    "static-strength",
    "fatigue",
    "stiffness",
    "glazing-bond",
    "glazing-sheet",
    "fluid-resistance",
    "electrical-bonding",
    "computed",
    "statement",
];

fn table() -> &'static Table {
    Table::built_in().unwrap()
}

/// The cells of the markdown tables under headings that begin with `heading`.
fn markdown(heading: &str) -> Vec<Vec<Vec<String>>> {
    let mut tables: Vec<Vec<Vec<String>>> = Vec::new();
    let mut inside = false;
    for line in PRINTED.lines() {
        if let Some(title) = line.strip_prefix("## ") {
            inside = title.starts_with(heading);
            if inside {
                tables.push(Vec::new());
            }
        } else if inside && line.starts_with('|') && !line.starts_with("|-") {
            let cells = line.trim().trim_matches('|').split('|').map(|cell| cell.trim().to_string());
            tables.last_mut().unwrap().push(cells.collect());
        }
    }
    tables
}

/// Level and window of a printed cell; words behind them are for people.
fn printed(cell: &str) -> (Asks, Option<String>) {
    let head = cell.split_whitespace().next().unwrap();
    let (level, window) =
        head.split_once('/').map_or((head, None), |(level, window)| (level, Some(window.to_string())));
    let level = match level {
        "0" => Asks::None,
        "A" => Asks::Analysis,
        "E" => Asks::Equivalence,
        "F" => Asks::Retest,
        other => panic!("no level: {other}"),
    };
    (level, window)
}

type Expected = BTreeMap<(String, String), (Asks, Option<String>)>;

/// The printed tables with the windows that hold where none is printed, without corrections.
fn as_printed() -> Expected {
    let mut all = Expected::new();
    let tables = markdown("Printed:");
    assert_eq!(tables.len(), 2);
    for table in tables {
        let (head, rows) = table.split_first().unwrap();
        assert_eq!(rows.len(), 27, "the printed rows but mass");
        for row in rows {
            assert_eq!(row.len(), head.len(), "{row:?}");
            for (column, cell) in head.iter().zip(row).skip(1) {
                let facet = COLUMNS.iter().find(|(short, _)| short == column).unwrap().1;
                let twice = all.insert((row[0].clone(), facet.to_string()), printed(cell));
                assert!(twice.is_none(), "{} {facet} is printed twice", row[0]);
            }
        }
    }
    assert_eq!(all.len(), 27 * 25);
    all
}

fn corrections() -> Expected {
    let rows = markdown("Corrections").remove(0);
    rows.iter().skip(1).map(|row| ((row[0].clone(), row[1].clone()), printed(&row[2]))).collect()
}

/// What the data must hold: printed, then corrected, then given the windows that hold unprinted.
fn expected() -> Expected {
    let implied: BTreeMap<String, String> = markdown("Windows that hold")
        .remove(0)
        .iter()
        .skip(1)
        .map(|row| (row[0].clone(), row[1].clone()))
        .collect();
    let mut all = as_printed();
    for (place, cell) in corrections() {
        all.insert(place, cell);
    }
    for ((_, facet), (level, window)) in &mut all {
        if *level != Asks::None && window.is_none() {
            *window = implied.get(facet).cloned();
        }
    }
    all
}

/// The key that a facet's cell stands at, where it is not the facet.
fn key_of(kind: &str, facet: &str, level: Asks) -> String {
    match facet {
        "film-build" if level != Asks::None => "film-build.max".to_string(),
        "site" if ["bond-peel", "glazing-bond"].contains(&kind) => "site.bond".to_string(),
        _ => facet.to_string(),
    }
}

/// The steps that a level and a window make: the rules of the comparison, restated here so that a slip
/// in one cell of the data is seen.
fn steps(kind: &str, facet: &str, level: Asks, window: Option<&str>) -> Vec<Step> {
    let x = level;
    let analysis = level == Asks::Analysis;
    let last = if analysis { Asks::Analysis } else { Asks::Retest };
    let near = if analysis { Asks::Analysis } else { Asks::Equivalence };
    let text = match (facet, window) {
        _ if level == Asks::None => "[{asks: none}]".to_string(),
        ("film-build", Some("w7" | "w13")) | ("geometry.load", None) => {
            format!("[{{at_most: conformed, asks: none}}, {{asks: {x}}}]")
        }
        (_, Some("w7" | "w13")) | ("edges", Some("w9")) => format!("[{{asks: {x}}}]"),
        (_, Some("w1")) => {
            format!("[{{within: 5 %, asks: none}}, {{within: 10 %, asks: {x}}}, {{asks: {last}}}]")
        }
        (_, Some("w2")) => format!(
            "[{{within: 2 points, when: prepreg, asks: none}}, {{within: 4 points, when: dry, asks: none}}, \
             {{within: 4 points, when: prepreg, asks: {x}}}, {{within: 8 points, when: dry, asks: {x}}}, \
             {{asks: {last}}}]"
        ),
        (_, Some("w3")) => {
            format!("[{{window: w3, asks: none}}, {{window: w3-near, asks: {near}}}, {{asks: {last}}}]")
        }
        (_, Some("w4")) => format!("[{{at_most: conformed, asks: none}}, {{asks: {x}}}]"),
        (_, Some("w6")) => format!("[{{in: tested_range, asks: none}}, {{asks: {x}}}]"),
        (_, Some("w9")) => {
            format!("[{{window: w9-met, asks: none}}, {{window: w9-failed, asks: {x}}}, {{asks: analysis}}]")
        }
        (_, Some(window)) => format!("[{{window: {window}, asks: none}}, {{asks: {x}}}]"),
        ("core-density", None) => format!("[{{within: 5 %, asks: none}}, {{asks: {x}}}]"),
        ("core", None) if kind.starts_with("lamina-strength") => {
            format!("[{{subset_of: conformed, asks: none}}, {{asks: {x}}}]")
        }
        ("glazing", None) => format!(
            "[{{at_least: conformed, within: 10 %, only_thickness: true, asks: none}}, {{asks: {x}}}]"
        ),
        (_, None) => format!("[{{asks: {x}}}]"),
    };
    serde_yaml::from_str(&text).unwrap()
}

/// Level, window, steps, by kind and key.
type Cells = BTreeMap<(String, String), (Asks, Option<String>, Vec<Step>)>;

/// Every cell that the data must hold.
fn expected_cells() -> Cells {
    let mut cells = BTreeMap::new();
    for ((kind, facet), (level, window)) in expected() {
        let mut put = |key: &str, level: Asks, window: Option<&str>, facet: &str| {
            let made = steps(&kind, facet, level, window);
            cells.insert((kind.clone(), key.to_string()), (level, window.map(str::to_string), made));
        };
        put(&key_of(&kind, &facet, level), level, window.as_deref(), &facet);
        if level == Asks::None {
            continue;
        }
        let last = if level == Asks::Analysis { Asks::Analysis } else { Asks::Retest };
        match facet.as_str() {
            "film-build" => put("film-build.total", Asks::None, None, "film-build"),
            "resin-content" => {
                put("resin-content.route", last, None, "route");
                put("resin-content.uptake", level, Some("w1"), "uptake");
                put("resin-content.fill", level, Some("w1"), "fill");
            }
            "geometry" if window.as_deref() == Some("w9") => {
                for attribute in ["role", "route", "class", "load_path"] {
                    put(&format!("geometry.{attribute}"), level, None, attribute);
                }
            }
            _ => {}
        }
    }
    cells
}

#[test]
fn the_built_in_table_is_read() {
    let table = table();
    assert_eq!(table.number, 2);
    assert_eq!(table.digest.len(), 64);
    assert_eq!(table.short_digest().len(), 12);
    let kinds: BTreeSet<&str> = table.kinds.keys().map(String::as_str).collect();
    assert_eq!(kinds, BTreeSet::from(KINDS));
    assert_eq!(table.windows.len(), 14);
}

#[test]
fn the_digest_is_sha_256_in_hexadecimal() {
    // FIPS 180-4 example: SHA-256("abc"); the same routine digests the file.
    let digest: String = Sha256::digest(b"abc").iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(digest, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    let text: String = Sha256::digest(BUILT_IN).iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(table().digest, text);
    let other = format!("{BUILT_IN}\n");
    assert_ne!(Table::parse(&other).unwrap().digest, text);
}

#[test]
fn every_cell_is_as_printed_or_corrected() {
    let mut faults = Vec::new();
    let mut compared = 0;
    let expected = expected_cells();
    for ((kind, key), (level, window, steps)) in &expected {
        compared += 1;
        match table().kinds[kind].cells.get(key) {
            Some(cell) => {
                if cell.level != *level || cell.window != *window {
                    faults.push(format!(
                        "{kind} x {key}: {} {:?}, must be {level} {window:?}",
                        cell.level, cell.window
                    ));
                }
                if cell.steps != *steps {
                    faults.push(format!("{kind} x {key}: steps {:?}, must be {steps:?}", cell.steps));
                }
            }
            None if *level == Asks::None => {}
            None => faults.push(format!("{kind} x {key}: missing, must be {level} {window:?}")),
        }
    }
    // Nor does the data hold a cell that is neither printed nor a correction.
    for (kind, row) in &table().kinds {
        for key in row.cells.keys() {
            if !expected.contains_key(&(kind.clone(), key.clone())) {
                faults.push(format!("{kind} x {key}: in the data only"));
            }
        }
    }
    assert_eq!(faults, Vec::<String>::new());
    assert!(compared > 27 * 25, "{compared}");
}

#[test]
fn every_correction_changes_something() {
    let printed = as_printed();
    let same_level = [
        // Printed at the same level; what is corrected is the attribute or the attribute's reading.
        ("lamina-strength-fibre", "core"),
        ("lamina-strength-matrix", "core"),
        ("bond-peel", "site"),
        ("glazing-bond", "site"),
    ];
    for ((kind, facet), cell) in corrections() {
        let idle = printed.get(&(kind.clone(), facet.clone())) == Some(&cell);
        let known = same_level.contains(&(kind.as_str(), facet.as_str()));
        assert_eq!(idle, known, "{kind} x {facet}");
    }
}

#[test]
fn a_cell_asks_only_in_facets_that_a_subject_of_the_row_has() {
    for (kind, row) in &table().kinds {
        let subjects: Vec<&String> = std::iter::once(&row.subject).chain(&row.also).collect();
        for (key, cell) in &row.cells {
            let facet = facet_of(key).unwrap();
            let had = subjects.iter().any(|subject| row.has_facet(subject, facet));
            assert!(had || cell.level == Asks::None, "{kind} x {key} asks {}", cell.level);
        }
    }
}

#[test]
fn cells_for_another_subject_are_these() {
    // The other direction of the rule above, so that a row does not gain such a cell unseen.
    let mut found = BTreeSet::new();
    for (kind, row) in &table().kinds {
        for (key, cell) in &row.cells {
            let facet = facet_of(key).unwrap();
            if cell.level != Asks::None && !row.has_facet(&row.subject, facet) {
                found.insert(format!("{kind} x {facet}"));
            }
        }
    }
    let known = [
        "interlaminar x mesh",
        "glass-transition x adhesive",
        "glass-transition x surfacing",
        "flammability x glazing",
        "lightning x geometry",
        "lightning x glazing",
        "impact x geometry",
        "impact x glazing",
        "glazing-bond x base-coat",
        "glazing-bond x core-density",
        "glazing-bond x core-thickness",
        "glazing-bond x filler",
        "glazing-bond x film-build",
        "glazing-bond x top-coat",
        "fluid-resistance x adhesive",
        "fluid-resistance x base-coat",
        "fluid-resistance x core",
        "fluid-resistance x film-build",
        "fluid-resistance x filler",
        "fluid-resistance x glazing",
        "fluid-resistance x primer",
        "fluid-resistance x surfacing",
        "fluid-resistance x top-coat",
    ];
    assert_eq!(found, known.iter().map(ToString::to_string).collect());
}

#[test]
fn every_cell_names_its_source() {
    for (kind, row) in &table().kinds {
        for (key, cell) in &row.cells {
            let marked = ["[V", "[2]", "[M]", "[CP]"].iter().any(|mark| cell.source.contains(mark));
            assert!(marked, "{kind} x {key}: {}", cell.source);
        }
    }
}

#[test]
fn the_level_is_that_of_a_step() {
    for (kind, row) in &table().kinds {
        for (key, cell) in &row.cells {
            let asked: Vec<Asks> = cell.steps.iter().map(|step| step.asks).collect();
            // Under w3 even an `F` cell begins with equivalence just outside its window; and w9 asks
            // analysis until the computed duty is there.
            assert!(asked.contains(&cell.level) || cell.window.as_deref() == Some("w3"), "{kind} x {key}");
            if cell.level == Asks::Analysis {
                assert!(asked.iter().all(|asks| *asks <= Asks::Analysis), "{kind} x {key}");
            }
        }
    }
}

#[test]
fn own_facets_are_those_of_the_subject() {
    // Every kind of subject is compared in the same facets wherever it stands. `computed` has none.
    let mut sets: BTreeMap<&str, BTreeSet<&[String]>> = BTreeMap::new();
    for row in table().kinds.values().filter(|row| !row.live) {
        for subject in std::iter::once(&row.subject).chain(&row.also) {
            sets.entry(subject).or_default().insert(row.own_of(subject));
        }
    }
    assert!(sets.values().all(|set| set.len() == 1));
    let sizes: BTreeMap<&str, usize> =
        sets.iter().map(|(subject, set)| (*subject, set.first().unwrap().len())).collect();
    let known = [
        ("lamina", 8),
        ("laminate", 15),
        ("painted", 21),
        ("bond", 14),
        ("sheet", 1),
        ("panel", 26),
        ("programme", 26),
    ];
    assert_eq!(sizes, BTreeMap::from(known));
    let all: BTreeSet<&str> = FACETS.iter().map(|(facet, _)| *facet).collect();
    assert_eq!(all.len(), 26);
    assert!(all.iter().all(|facet| table().kinds["fatigue"].has_facet("panel", facet)));
}

#[test]
fn an_attribute_goes_before_its_facet() {
    let row = &table().kinds["lamina-strength-fibre"];
    let key = |attribute: &str| row.cell(attribute).map(|(key, _)| key);
    assert_eq!(key("resin-content.route"), Some("resin-content.route"));
    assert_eq!(key("resin-content.route.a"), Some("resin-content.route"));
    assert_eq!(key("resin-content.a"), Some("resin-content"));
    assert_eq!(key("resin-content.high.a2"), Some("resin-content"));
    assert_eq!(key("fibre.name.a"), Some("fibre"));
    assert_eq!(key("fibre-areal.a"), Some("fibre-areal"));
    assert_eq!(key("plies"), None);
    let fatigue = &table().kinds["fatigue"];
    assert_eq!(fatigue.cell("geometry.load.limit-lift").unwrap().0, "geometry.load");
    assert_eq!(fatigue.cell("geometry.area.z1").unwrap().0, "geometry");
    assert_eq!(fatigue.cell("geometry.role.j1").unwrap().0, "geometry.role");
    // Only the bond process counts for peel: the paste's own site asks nothing here.
    let peel = &table().kinds["bond-peel"];
    assert_eq!((peel.cell("site.bond").unwrap().1.level, peel.cell("site.material.f")), (Asks::Retest, None));
}

#[test]
fn a_showing_replaces_the_row() {
    let row = &table().kinds["lightning"];
    let own: Sensitivity = serde_yaml::from_str(
        "{film-build: [{at_most: conformed + 5 um, asks: none}, {asks: equivalence}], mesh.areal: [{at_least: conformed, asks: none}]}",
    )
    .unwrap();
    let film = row.ruling("film-build.max", Some(&own)).unwrap();
    assert_eq!((film.key, film.level(), film.cell), ("film-build", Asks::Equivalence, None));
    // A forgotten last step asks retest.
    assert_eq!(row.ruling("mesh.areal.m", Some(&own)).unwrap().level(), Asks::Retest);
    // The facet's row covers the attributes that were not named.
    let metal = row.ruling("mesh.metal.m", Some(&own)).unwrap();
    assert_eq!((metal.key, metal.level()), ("mesh", Asks::Retest));
    assert!(metal.cell.is_some());
    assert_eq!(row.ruling("cure.cycle", Some(&own)), None);
    assert_eq!(row.ruling("film-build.max.x1", None).unwrap().key, "film-build.max");
}

#[test]
fn zones_cover_milder_ones() {
    let orders = &table().orders;
    for (tested, asked) in [
        ("2A", "3"),
        ("2B", "2A"),
        ("1B", "2B"),
        ("1B", "3"),
        ("1A", "2A"),
        ("1A", "1C"),
        ("1A", "3"),
        ("2A", "2A"),
        ("odd", "odd"),
    ] {
        assert!(orders.lightning_covers(tested, asked), "{tested} covers {asked}");
    }
    for (tested, asked) in [
        ("3", "2A"),
        ("2A", "2B"),
        ("1B", "1A"),
        ("1A", "1B"),
        ("1A", "2B"),
        ("1B", "1C"),
        ("1C", "2A"),
        ("1C", "3"),
        ("odd", "3"),
        ("1A", "odd"),
    ] {
        assert!(!orders.lightning_covers(tested, asked), "{tested} does not cover {asked}");
    }
    assert!(orders.exposure_covers("outdoor", "indoor") && orders.exposure_covers("bay", "indoor"));
    assert!(orders.exposure_covers("bilge", "bilge"));
    assert!(!orders.exposure_covers("indoor", "bay") && !orders.exposure_covers("outdoor", "bilge"));
}

#[test]
fn climate_is_judged_by_coverage_where_the_row_says_so() {
    let judged = |kind: &str| table().kinds[kind].judges_climate_by_coverage();
    assert!(judged("bond-peel") && judged("static-strength") && judged("glazing-sheet"));
    assert!(!judged("stiffness") && !judged("paint-weathering") && !judged("impact"));
}

#[test]
fn a_broken_table_is_refused_with_its_place() {
    let broken = |from: &str, to: &str| {
        assert!(BUILT_IN.contains(from), "{from}");
        Table::parse(&BUILT_IN.replacen(from, to, 1)).unwrap_err()
    };
    let route = "steps: [{asks: retest}], source: \"AC 20-107B";
    assert!(
        broken(route, "steps: [{within: 5 %, asks: retest}], source: \"AC 20-107B").contains("last step")
    );
    assert!(broken("      fibre: ", "      fiber: ").contains("fiber"));
    assert!(broken("window: w4, ", "window: w44, ").contains("w44"));
    assert!(broken("level: retest", "level: severe").contains("severe"));
    assert!(broken("number: 2", "number: 1\nissue: 2").contains("issue"));
    assert!(Table::parse("").is_err());
}

#[test]
fn rows_are_those_of_the_page() {
    let rows = markdown("Rows").remove(0);
    assert_eq!(rows.len() - 1, KINDS.len());
    for row in rows.iter().skip(1) {
        let [kind, subject, also, only_where, context] = row.as_slice() else { panic!("{row:?}") };
        let data = &table().kinds[kind];
        assert_eq!(data.subject, *subject, "{kind}");
        let words = |text: &str| -> BTreeSet<String> {
            text.split_whitespace().filter(|word| *word != "-").map(str::to_string).collect()
        };
        let also = match also.as_str() {
            "any" => words("lamina laminate painted bond sheet panel"),
            also => words(also),
        };
        assert_eq!(data.also.iter().cloned().collect::<BTreeSet<_>>(), also, "{kind}");
        let only_where = match only_where.as_str() {
            "-" => OnlyWhere::None,
            "core" => OnlyWhere::Core,
            "panel has fittings" => OnlyWhere::Fittings,
            "panel has fittings or holes" => OnlyWhere::FittingsOrHoles,
            "no sheet face" => OnlyWhere::NoSheetFace,
            "a face is a sheet" => OnlyWhere::SheetFace,
            "exposure.compartment" => OnlyWhere::Compartment,
            "exposure.lightning" => OnlyWhere::Lightning,
            "exposure.fluids" => OnlyWhere::Fluids,
            "not bare" => OnlyWhere::Painted,
            "not bare, outdoor" => OnlyWhere::PaintedOutdoor,
            "mesh or lightning" => OnlyWhere::MeshOrLightning,
            "what the check needs" => OnlyWhere::WhatTheCheckNeeds,
            other => panic!("{other}"),
        };
        assert_eq!(data.only_where, only_where, "{kind}");
        let demanded: BTreeSet<String> = data.context.iter().map(|context| format!("{context:?}")).collect();
        // A statement's context is that of whatever subject it is made for: it has no letters.
        let context = if context == "as the subject" { BTreeSet::new() } else { words(context) };
        assert_eq!(demanded, context, "{kind}");
    }
}

#[test]
fn worked_stories_hold() {
    // What an expert expects of single changes, told without the printed table at hand.
    let level = |kind: &str, attribute: &str| {
        table().kinds[kind].cell(attribute).map_or(Asks::None, |(_, cell)| cell.level)
    };
    let strengths =
        ["lamina-strength-fibre", "open-hole", "bearing", "compression-after-impact", "interlaminar"];
    for kind in strengths {
        // Another shop asks the reduced test, not the whole one; so does a little more resin.
        assert_eq!(level(kind, "site.layup"), Asks::Equivalence, "{kind}");
        assert_eq!(level(kind, "resin-content.a"), Asks::Equivalence, "{kind}");
        // A darker paint: hot strength has to be shown hotter.
        assert_eq!(level(kind, "colour.absorptance"), Asks::Retest, "{kind}");
        assert_eq!(level(kind, "primer"), Asks::None, "{kind}");
    }
    assert_eq!(level("lamina-modulus", "resin-content.a"), Asks::Analysis);
    assert_eq!(level("paint-weathering", "site.paint"), Asks::None);
    for kind in ["paint-adhesion", "paint-humidity", "lightning"] {
        assert!(level(kind, "primer") > Asks::None, "{kind}");
    }
    // Dropping a core.
    for kind in ["compression-after-impact", "impact", "static-strength", "fatigue"] {
        assert_eq!(level(kind, "core.designation.c"), Asks::Retest, "{kind}");
    }
    assert_eq!(level("lightning", "core.designation.c"), Asks::Equivalence);
    // Two more clear coats over the mesh.
    assert_eq!(level("lightning", "film-build.max"), Asks::Retest);
    assert_eq!(level("lightning", "film-build.total"), Asks::None);
}
