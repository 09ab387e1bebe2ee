//! Window w9 and verdicts of computed showings, on the golden base `carried` with single edits.
//!
//! What is expected is `qualification.md`'s, section 4: plies, core thickness, areas and dimensions ask an
//! analysis until a computed duty of that panel and mode is met, then nothing, and what the cell says where that
//! duty fails or another mode governs.

use crate::support::{Bench, layout};
use std::collections::BTreeMap;

type Verdicts = BTreeMap<String, (String, String)>;

/// The base with edits: file, old text, new text.
fn edited(edits: &[(&str, &str, &str)]) -> Bench {
    let bench = Bench::new();
    layout::lay_base("carried", &bench.ledger());
    for (file, old, new) in edits {
        let text = bench.read(file);
        assert!(text.contains(old), "{file} does not hold {old:?}");
        bench.write(file, &text.replace(old, new));
    }
    bench
}

/// Verdict and what is asked, by showing and subject.
fn verdicts(bench: &Bench) -> Verdicts {
    let answer = bench.run(&["gaps", "--all", "--format", "json"]).json();
    let text = |value: &serde_json::Value| value.as_str().unwrap().to_string();
    answer["duties"]
        .as_array()
        .unwrap()
        .iter()
        .map(|duty| {
            let name = format!("{} {}", text(&duty["showing"]), text(&duty["subject"]));
            (name, (text(&duty["verdict"]), text(&duty["asks"])))
        })
        .collect()
}

#[track_caller]
fn holds(edits: &[(&str, &str, &str)], expected: &[(&str, &str, &str)]) {
    let found = verdicts(&edited(edits));
    for (duty, verdict, asks) in expected {
        let own = found.get(*duty).unwrap_or_else(|| panic!("no {duty} in {found:#?}"));
        assert_eq!((own.0.as_str(), own.1.as_str()), (*verdict, *asks), "{duty} after {edits:#?}");
    }
}

const STATIC: &str = "static-strength panel/bow-hatch";
const MARGINS: &str = "hatch-margins panel/bow-hatch";
const STIFF: &str = "frame-stiffness panel/pane-frame";
const TORSION: &str = "frame-torsion panel/pane-frame";

/// One ply more on the tool side.
const PLY: (&str, &str, &str) = (
    "recipes/hatch-outer.yaml",
    "  - {id: p1, material: cw-200-e1, angle: 45}\n",
    "  - {id: p1, material: cw-200-e1, angle: 45}\n  - {id: p1b, material: cw-200-e1, angle: 45}\n",
);
/// A plate one centimetre wider: a dimension.
const WIDER: (&str, &str, &str) = ("panels/bow-hatch.yaml", "width: 0.6 m", "width: 0.61 m");
/// The computed showing goes: it is asked of another panel.
const NOTHING_COMPUTED: (&str, &str, &str) =
    ("showings/hatch-margins.yaml", "panel: [bow-hatch]", "panel: [pane-frame]");
/// More is asked of the margin than there is.
const ASKED_MORE: (&str, &str, &str) =
    ("showings/hatch-margins.yaml", "margin_at_least: 0", "margin_at_least: 40");

fn mode(word: &'static str) -> (&'static str, &'static str, &'static str) {
    match word {
        "wrinkling" => {
            ("evidence/e-003.yaml", "result: {margin: 0.42}", "result: {margin: 0.42, mode: wrinkling}")
        }
        _ => ("evidence/e-003.yaml", "result: {margin: 0.42}", "result: {margin: 0.42, mode: core shear}"),
    }
}

#[test]
fn without_a_computed_showing_an_analysis_is_asked() {
    holds(&[], &[(STATIC, "met", "none")]);
    holds(&[PLY, NOTHING_COMPUTED], &[(STATIC, "lapsed", "analysis")]);
    holds(&[WIDER, NOTHING_COMPUTED], &[(STATIC, "lapsed", "analysis")]);
}

#[test]
fn a_met_computed_showing_in_the_same_mode_bears_the_change_out() {
    holds(&[PLY], &[(MARGINS, "met", "none"), (STATIC, "met", "none")]);
    holds(&[WIDER], &[(MARGINS, "met", "none"), (STATIC, "met", "none")]);
    holds(&[PLY, mode("wrinkling")], &[(STATIC, "met", "none")]);
}

#[test]
fn another_mode_asks_what_the_cell_says() {
    // Plies: the cell's level is analysis; dimensions: retest.
    holds(&[PLY, mode("core shear")], &[(MARGINS, "met", "none"), (STATIC, "lapsed", "analysis")]);
    holds(&[WIDER, mode("core shear")], &[(STATIC, "lapsed", "retest")]);
    // Where nothing differs a mode changes nothing.
    holds(&[mode("core shear")], &[(STATIC, "met", "none")]);
}

#[test]
fn a_failed_computed_showing_asks_what_the_cell_says() {
    holds(&[ASKED_MORE], &[(MARGINS, "failed", "none"), (STATIC, "met", "none")]);
    holds(&[PLY, ASKED_MORE], &[(STATIC, "lapsed", "analysis")]);
    holds(&[WIDER, ASKED_MORE], &[(STATIC, "lapsed", "retest")]);
}

#[test]
fn one_that_is_open_or_lapsed_leaves_it_with_the_analysis() {
    let open = ("materials/foam-52.yaml", "compressive_modulus: 70 MPa\n", "");
    holds(&[WIDER, open], &[(MARGINS, "open", "retest"), (STATIC, "lapsed", "analysis")]);
    // The strength has no evidence that holds: what asks more of it than it is.
    let lower = ("materials/cw-200-e1.yaml", "content: 38 %", "content: 41 %");
    holds(&[WIDER, lower], &[(MARGINS, "lapsed", "analysis"), (STATIC, "lapsed", "analysis")]);
}

#[test]
fn what_no_window_judges_stays_as_it_is() {
    // A role of a load is no dimension: more load asks a retest whatever is computed.
    let more = ("panels/bow-hatch.yaml", "pressure: 3.2 kPa", "pressure: 3.4 kPa");
    holds(&[more], &[(MARGINS, "met", "none"), (STATIC, "lapsed", "retest")]);
    let less = ("panels/bow-hatch.yaml", "pressure: 3.2 kPa", "pressure: 3.1 kPa");
    holds(&[less], &[(STATIC, "met", "none")]);
}

#[test]
fn design_strains_count_in_the_mode_as_tested() {
    // They are asked of the laminate by its name, which the article as tested keeps.
    let strain =
        ("panels/bow-hatch.yaml", "plate: {", "design_strain: {compression: {from: hatch-strain}}\nplate: {");
    let showing = "# Invented: not a real aircraft, material or test.\nkind: compression-after-impact\n\
         applies_to: {panel: [bow-hatch]}\naccept: {all_at_least: 100 ustrain}\nplan: {batches: 1, specimens: 4, weeks: 1}\n";
    let evidence = "# Invented: not a real aircraft, material or test.\nshowing: hatch-strain\nsubject: {laminate: hatch-outer}\n\
         kind: test\nstate: done\nmade: 2026-02-01\ndata: data/e-005.csv\n";
    let data =
        "batch,panel,specimen,value [ustrain]\nL1,P1,s1,1900\nL1,P1,s2,1920\nL1,P1,s3,1910\nL1,P1,s4,1905\n";
    let bench = edited(&[strain]);
    bench.write("showings/hatch-strain.yaml", showing);
    bench.write("evidence/e-005.yaml", evidence);
    bench.write("evidence/data/e-005.csv", data);
    // The frame's laminate has its own test.
    bench.write(
        "evidence/e-006.yaml",
        &evidence.replace("hatch-outer", "hatch-frame").replace("e-005", "e-006"),
    );
    bench.write("evidence/data/e-006.csv", &data.replace("L1", "L2"));
    // What the panel asks of its strain is no attribute of the article: the static test stays conformed.
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "base");
    assert_eq!(bench.run(&["conform", "e-005", "e-006"]).code, 0);
    let panel = bench.run(&["panel", "bow-hatch", "--format", "json"]).json();
    assert_eq!(panel["least_margin"]["criterion"], "design-strain", "{panel:#}");
    // A core half a millimetre thicker: the laminate's own test lapses not (w6), and the mode is the same.
    let recipe = bench.read("recipes/hatch-outer.yaml").replace("thickness: 8 mm", "thickness: 8.5 mm");
    bench.write("recipes/hatch-outer.yaml", &recipe);
    let found = verdicts(&bench);
    assert_eq!(found[MARGINS].0, "met", "{found:#?}");
    assert_eq!(found[STATIC].0, "met", "{}", bench.run(&["why", "static-strength", "panel/bow-hatch"]).out);
}

#[test]
fn stiffness_leans_on_the_section_in_torsion() {
    // A ply of the rim more.
    let ply = (
        "recipes/hatch-frame.yaml",
        "  - {id: f1, material: cw-200-e1, angle: 45}\n",
        "  - {id: f1, material: cw-200-e1, angle: 45}\n  - {id: f1b, material: cw-200-e1, angle: 45}\n",
    );
    let more = ("showings/frame-torsion.yaml", "at_least: 120 N m2", "at_least: 600 N m2");
    let none =
        ("showings/frame-torsion.yaml", "kind: computed", "kind: computed\napplies_to: {panel: [bow-hatch]}");
    let open = ("materials/paste-a.yaml", "shear_modulus: 1.2 MPa\n", "");
    holds(&[ply], &[(TORSION, "met", "none"), (STIFF, "met", "none")]);
    holds(&[ply, more], &[(TORSION, "failed", "none"), (STIFF, "lapsed", "analysis")]);
    holds(&[ply, none], &[(STIFF, "lapsed", "analysis")]);
    holds(&[ply, open], &[(TORSION, "open", "retest"), (STIFF, "lapsed", "analysis")]);
    // Its cell of dimensions has no window: they ask an analysis whatever is computed.
    let wider = ("panels/pane-frame.yaml", "area: 0.30 m2", "area: 0.31 m2");
    holds(&[wider], &[(TORSION, "met", "none"), (STIFF, "lapsed", "analysis")]);
}

/// The base with a second test of the modulus, in an environment of this name, of a third of the stiffness.
fn tested_soft_too(name: &str, from: &str) -> Bench {
    let bench =
        edited(&[("materials/cw-200-e1.yaml", "{from: lamina-modulus}", &format!("{{from: {from}}}"))]);
    let showing = bench.read("showings/lamina-modulus.yaml");
    let showing = showing.replace("55 GPa", "15 GPa").replace("name: RTD", &format!("name: {name}"));
    bench.write("showings/lamina-modulus-soft.yaml", &showing);
    let evidence = bench.read("evidence/e-001.yaml");
    let own = evidence.replace("showing: lamina-modulus\n", "showing: lamina-modulus-soft\n");
    let own: String = own
        .lines()
        .filter(|line| !line.starts_with("digest:"))
        .map(|line| format!("{}\n", line.replace("data/e-001.csv", "data/e-009.csv")))
        .collect();
    bench.write("evidence/e-009.yaml", &own);
    bench.write(
        "evidence/data/e-009.csv",
        "batch,panel,specimen,value [GPa]\nL1,P1,s1,20.1\nL1,P1,s2,19.8\nL1,P1,s3,20.4\n",
    );
    bench
}

fn section(bench: &Bench) -> serde_json::Value {
    bench.run(&["panel", "pane-frame", "--format", "json"]).json()["section"].clone()
}

#[test]
fn a_section_is_as_soft_as_in_the_softest_environment() {
    let gj = |bench: &Bench| section(bench)["GJ_N_mm2"].as_f64().unwrap();
    let (stiff, soft) = (gj(&edited(&[])), gj(&tested_soft_too("ZHOT", "lamina-modulus-soft")));
    assert!(soft < 0.99 * stiff, "{soft} {stiff}");
    let (both, names) = (
        ["[lamina-modulus, lamina-modulus-soft]", "[lamina-modulus-soft, lamina-modulus]"],
        ["AHOT", "ZHOT"],
    );
    for (from, name) in both.into_iter().flat_map(|from| names.map(|name| (from, name))) {
        let bench = tested_soft_too(name, from);
        assert_eq!(gj(&bench), soft, "{from} {name}");
        assert_eq!(section(&bench)["environment"], name);
        let walls = section(&bench)["walls"].as_array().unwrap().clone();
        for environment in ["RTD", name] {
            assert!(walls.iter().any(|wall| wall["environment"] == environment), "{from} {environment}");
        }
        // Between the two stiffnesses the softer fails.
        let asked = format!("at_least: {:.0} N m2", (soft + stiff) / 2.0 / 1e6);
        let showing = bench.read("showings/frame-torsion.yaml").replace("at_least: 120 N m2", &asked);
        bench.write("showings/frame-torsion.yaml", &showing);
        assert_eq!(verdicts(&bench)[TORSION].0, "failed", "{from} {name} {asked}");
        // What an environment leaves unknown may be softer than what is known.
        bench.write("showings/frame-torsion.yaml", &showing.replace(&asked, "at_least: 1 N m2"));
        assert_eq!(verdicts(&bench)[TORSION].0, "met");
        std::fs::remove_file(bench.ledger().join("evidence/e-009.yaml")).unwrap();
        let found = verdicts(&bench);
        assert_eq!(found[TORSION].0, "open", "{from} {name} {found:#?}");
    }
}

#[test]
fn a_strength_that_is_missing_stops_strengths_alone() {
    let none = edited(&[]);
    std::fs::remove_file(none.ledger().join("evidence/e-002.yaml")).unwrap();
    assert_eq!(section(&none)["GJ_N_mm2"], section(&edited(&[]))["GJ_N_mm2"]);
    assert_eq!(verdicts(&none)[TORSION].0, "met");
    let answer = none.run(&["panel", "pane-frame", "--format", "json"]).json();
    let of = |list: &str, key: &str, word: &str| {
        answer[list]
            .as_array()
            .unwrap()
            .iter()
            .filter(|own| own[key].as_str().is_some_and(|own| own.contains(word)))
            .count()
    };
    assert!(of("uncomputed", "lacks", "Xt of material") > 0, "{answer:#}");
    assert!(of("margins", "mode", "crazing") > 0, "{answer:#}");
    assert_eq!(answer["mismatch"].as_array().unwrap().len(), 4);
    assert_eq!(of("margins", "criterion", "tsai-wu"), 0);
}

#[test]
fn an_uncomputed_duty_takes_no_specimen() {
    let open = ("materials/foam-52.yaml", "compressive_modulus: 70 MPa\n", "");
    let answer = edited(&[open]).run(&["gaps", "--format", "json"]).json();
    let own = answer["duties"].as_array().unwrap().iter().find(|duty| duty["showing"] == "hatch-margins");
    let own = own.unwrap();
    assert_eq!((own["verdict"].as_str(), own["closes_with"]["specimens"].as_u64()), (Some("open"), Some(0)));
    assert_eq!(own["closes_with"]["kind"], "analysis");
}

/// What the computed showing of the hatch is edited to, so that it rests on a report that nobody wrote.
const RESTS_ON_NOTHING: (&str, &str, &str) =
    ("showings/hatch-margins.yaml", "accept: {", "rests_on: [hatch-report]\naccept: {");
const INVENTED: &str = "# Invented: not a real aircraft, material or test.\n";

#[test]
fn w9_sees_what_a_computed_showing_rests_on_and_what_concedes_it() {
    let report = format!(
        "{INVENTED}kind: statement\nsubject: panel\napplies_to: {{panel: [bow-hatch]}}\naccept: {{statement: true}}\n"
    );
    let bench = edited(&[PLY, RESTS_ON_NOTHING]);
    bench.write("showings/hatch-report.yaml", &report);
    let found = verdicts(&bench);
    assert_eq!(found[MARGINS], ("lapsed".to_string(), "analysis".to_string()), "{found:#?}");
    assert_eq!(found[STATIC], ("lapsed".to_string(), "analysis".to_string()), "{found:#?}");
    // A failure that is conceded is closed, and the wider plate needs no retest for it.
    let bench = edited(&[WIDER, ASKED_MORE]);
    bench.write(
        "concessions/c-001.yaml",
        &format!(
            "{INVENTED}showing: hatch-margins\nsubject: {{panel: bow-hatch}}\nreason: the margin asked was a wish\n\
             covers: failed\nlimit: 4\nuntil: 2027-01-01\n"
        ),
    );
    let found = verdicts(&bench);
    assert_eq!(found[MARGINS].0, "conceded", "{found:#?}");
    assert_eq!(found[STATIC].0, "met", "{found:#?}");
}

#[test]
fn the_article_is_judged_with_the_plate_that_it_had() {
    // Tested as a small plate, where the frame under racking governs and not wrinkling of the field.
    let small = (
        "evidence/e-003.yaml",
        "geometry.plate: [900 mm, 600 mm, simply-supported]",
        "geometry.plate: [100 mm, 80 mm, simply-supported]",
    );
    holds(&[small], &[(MARGINS, "met", "none"), (STATIC, "lapsed", "retest")]);
    // Nearly as large: the same mode.
    let near = (small.0, small.1, "geometry.plate: [890 mm, 600 mm, simply-supported]");
    holds(&[near], &[(STATIC, "met", "none")]);
    // What is not recorded is not taken for what is now.
    let unrecorded = (small.0, "    geometry.plate: [900 mm, 600 mm, simply-supported]\n", "");
    holds(&[unrecorded, PLY], &[(MARGINS, "met", "none"), (STATIC, "lapsed", "analysis")]);
    let section = (small.0, "    geometry.section: none\n", "    geometry.section: unstated\n");
    holds(&[section, PLY], &[(STATIC, "lapsed", "analysis")]);
}

#[test]
fn a_mode_does_not_govern_where_another_cannot_be_computed() {
    // The showing asks for strength alone, which is met; the core is not judged.
    let strength = ("showings/hatch-margins.yaml", "check: margins", "check: strength");
    let open = ("materials/foam-52.yaml", "compressive_strength: 0.9 MPa\n", "");
    let smaller = ("panels/bow-hatch.yaml", "width: 0.6 m", "width: 0.1 m");
    let tested = (
        "evidence/e-003.yaml",
        "geometry.plate: [900 mm, 600 mm, simply-supported]",
        "geometry.plate: [900 mm, 110 mm, simply-supported]",
    );
    holds(&[smaller, tested, strength], &[(MARGINS, "met", "none"), (STATIC, "met", "none")]);
    holds(&[smaller, tested, strength, open], &[(MARGINS, "met", "none"), (STATIC, "lapsed", "analysis")]);
}

#[test]
fn two_stacks_of_one_recipe_are_no_article() {
    // Both zones of one sandwich, tested as it is.
    let bench = edited(&[("panels/bow-hatch.yaml", "recipe: hatch-frame", "recipe: hatch-outer")]);
    let evidence = bench.read("evidence/e-003.yaml");
    let (head, _) = evidence.split_once("conformed:").unwrap();
    bench.write("evidence/e-003.yaml", head);
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "base");
    assert_eq!(bench.run(&["conform", "e-003"]).code, 0);
    let conformed = bench.read("evidence/e-003.yaml");
    let both = |one: &str, two: &str| {
        let text = conformed
            .replace("plies.z1: [a 45, a 0, c, a 0, a 45]", &format!("plies.z1: {one}"))
            .replace("plies.z2: [a 45, a 0, c, a 0, a 45]", &format!("plies.z2: {two}"));
        assert_ne!(text, conformed);
        bench.write("evidence/e-003.yaml", &text);
        verdicts(&bench)[STATIC].clone()
    };
    let other = "[a 45, a 0, c, a 0, a 0, a 45]";
    assert_eq!(both(other, other).0, "met");
    assert_eq!(both("[a 45, a 0, c, a 0, a 45]", other), ("lapsed".to_string(), "analysis".to_string()));
}

#[test]
fn evidence_of_a_laminate_leaves_the_other_zones_as_they_are() {
    // The frame governs by far, and its laminate is none of the sandwich's test.
    let bench = edited(&[
        ("panels/bow-hatch.yaml", "N: [-8 N/mm, 0 N/mm, 6 N/mm]", "N: [-150 N/mm, 0 N/mm, 6 N/mm]"),
        ("showings/hatch-margins.yaml", "margin_at_least: 0", "margin_at_least: -0.9"),
    ]);
    bench.write(
        "showings/edgewise.yaml",
        &format!("{INVENTED}kind: edgewise-compression\napplies_to: {{recipe: [hatch-outer]}}\naccept: {{all_at_least: 100 MPa}}\n"),
    );
    bench.write(
        "evidence/e-005.yaml",
        &format!(
            "{INVENTED}showing: edgewise\nsubject: {{laminate: hatch-outer}}\nkind: test\nstate: done\nmade: 2026-02-01\n\
             result: {{value: 180 MPa}}\n"
        ),
    );
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "base");
    assert_eq!(bench.run(&["conform", "e-005"]).code, 0);
    let recipe = bench.read(PLY.0).replace(PLY.1, PLY.2);
    bench.write(PLY.0, &recipe);
    let found = verdicts(&bench);
    assert_eq!(found[MARGINS].0, "met", "{found:#?}");
    let why = bench.run(&["why", "edgewise", "laminate/hatch-outer"]).out;
    assert_eq!(found["edgewise laminate/hatch-outer"].0, "met", "{found:#?}\n{why}");
}

#[test]
fn a_bond_of_glazing_leans_on_its_section_and_mismatch_as_tested() {
    // The zone is painted and stands in the sun: its skin says how hot the bond gets, then and now.
    let bench = edited(&[("showings/hatch-margins.yaml", "panel: [bow-hatch]", "panel: [pane-frame]")]);
    bench.write(
        "showings/pane-bond.yaml",
        &format!("{INVENTED}kind: glazing-bond\nsubject: panel\naccept: {{statement: true}}\n"),
    );
    bench.write(
        "evidence/e-005.yaml",
        &format!(
            "{INVENTED}showing: pane-bond\nsubject: {{panel: pane-frame}}\nkind: test\nstate: done\nmade: 2026-02-01\n\
             result: {{statement: true}}\n"
        ),
    );
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "base");
    assert_eq!(bench.run(&["conform", "e-005"]).code, 0);
    let asked = |old: &str, new: &str| {
        let text = bench.read("panels/pane-frame.yaml");
        assert!(text.contains(old), "{old}");
        bench.write("panels/pane-frame.yaml", &text.replace(old, new));
        let found = verdicts(&bench);
        let why = bench.run(&["why", "pane-bond", "panel/pane-frame"]).out;
        bench.write("panels/pane-frame.yaml", &text);
        assert_eq!(found["hatch-margins panel/pane-frame"].0, "met", "{found:#?}");
        (found["pane-bond panel/pane-frame"].clone(), why)
    };
    // A bond a tenth of a millimetre thicker.
    let (verdict, why) = asked("thickness: 1.5 mm", "thickness: 1.6 mm");
    assert_eq!(verdict.0, "met", "{why}");
    // A corner of the section moved by a millimetre.
    let (verdict, why) = asked("b: [60 mm, 0 mm]", "b: [61 mm, 0 mm]");
    assert_eq!(verdict.0, "met", "{why}");
}

#[test]
fn a_check_is_asked_only_where_a_panel_has_what_it_needs() {
    let all = ("showings/hatch-margins.yaml", "applies_to: {panel: [bow-hatch]}\n", "");
    let check = |word: &'static str| ("showings/hatch-margins.yaml", "check: margins", word);
    let flat = ("panels/bow-hatch.yaml", "recipe: hatch-outer", "recipe: hatch-frame");
    let asked = |edits: &[(&str, &str, &str)]| verdicts(&edited(edits)).get(MARGINS).cloned();
    // A loaded sandwich, then none.
    assert_eq!(asked(&[all, check("check: sandwich")]).unwrap().0, "met");
    assert_eq!(asked(&[all, check("check: sandwich"), flat]), None);
    // The force is the frame's; the plate is the field's.
    assert_eq!(asked(&[all, check("check: buckling")]), None);
    let field = ("panels/bow-hatch.yaml", "name: racking, zone: frame", "name: racking, zone: outer field");
    assert_eq!(asked(&[all, check("check: buckling"), field]).unwrap().0, "met");
    // Nothing presses it: it holds, and nothing has to be looked up.
    let pulled = ("panels/bow-hatch.yaml", "N: [-8 N/mm, 0 N/mm, 6 N/mm]", "N: [8 N/mm, 2 N/mm, 0 N/mm]");
    assert_eq!(asked(&[all, check("check: buckling"), field, pulled]).unwrap().0, "met");
    // But not where the stiffness of the plate is unknown.
    let unknown = ("materials/cw-200-e1.yaml", "E2: 58 GPa, ", "E2: {from: frame-section}, ");
    assert_eq!(asked(&[all, check("check: buckling"), field, pulled, unknown]).unwrap().0, "open");
    // A bond of two laminates has no mismatch with a sheet.
    let found = verdicts(&edited(&[all, check("check: mismatch")]));
    assert!(
        !found.contains_key(MARGINS) && found.contains_key("hatch-margins panel/pane-frame"),
        "{found:#?}"
    );
}
