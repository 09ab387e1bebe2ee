//! One small invented ledger without faults, and for each rule the change that breaks it.

mod article;
mod data;
mod finding;
mod places;
mod proof;
mod specimens;
mod steering;

use super::{Ledger, MemoryFiles, MemoryRecall};
use crate::record::{Fault, Level};

const SOUND: &[(&str, &str)] = &[
    (
        "ledger.yaml",
        "format: 1\nprogramme: Sanderling (invented)\nmilestones: [first-article, first-flight]\nreached: first-article\nbudgets: {closures: 41 kg}\npolicy: {over-budget: warn}\nclimate: {ambient: 43 degC, irradiance: 1120 W/m2}\n",
    ),
    (
        "materials/cw-200-e1.yaml",
        "kind: prepreg\nfibre: {name: hs-a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 38 %}\ncured_thickness: 0.21 mm\ndry_tg: 130 degC\nwet_tg: 105 degC\nlamina: {E1: 60 GPa, E2: 60 GPa, G12: 4 GPa, nu12: 0.05}\nstrength: {Xt: {from: lamina-tension}}\n",
    ),
    (
        "materials/gw-300.yaml",
        "kind: fabric\nareal: 300 g/m2\nfibre: {name: e-a, type: glass, density: 2550 kg/m3}\ncured_thickness: 0.28 mm\n",
    ),
    ("materials/resin-a.yaml", "kind: resin\ndesignation: resin a\ndensity: 1150 kg/m3\n"),
    ("materials/foam-52.yaml", "kind: core\ndesignation: foam 52\ndensity: 52 kg/m3\nE: 70 MPa\nnu: 0.3\n"),
    ("materials/film-150.yaml", "kind: adhesive\ndesignation: film 150\nareal: 150 g/m2\n"),
    ("materials/paste-a.yaml", "kind: adhesive\ndesignation: paste a\ndensity: 1100 kg/m3\n"),
    ("materials/mesh-73.yaml", "kind: mesh\ndesignation: mesh 73\nareal: 73 g/m2\nmetal: copper\n"),
    ("materials/base-c.yaml", "kind: coating\ndesignation: base c\nrole: colour\ndry_density: 1500 kg/m3\n"),
    (
        "materials/acrylic-a.yaml",
        "kind: sheet\ndesignation: acrylic a\ndensity: 1190 kg/m3\nE: 3 GPa\nnu: 0.35\n",
    ),
    ("materials/seal-d.yaml", "kind: part\ndesignation: seal d\nlinear_mass: 85 g/m\n"),
    ("materials/latch-a.yaml", "kind: part\ndesignation: latch a\nmass: 120 g\n"),
    ("processes/oven-120.yaml", "method: oven\ncure: [{ramp: 2 K/min, to: 120 degC, hold: 90 min}]\n"),
    ("processes/infusion-1.yaml", "method: infusion\ncure: {to: 25 degC, hold: 24 h}\n"),
    ("processes/bond-rt.yaml", "method: bond\n"),
    ("processes/spray-1.yaml", "method: spray\n"),
    ("tools/hatch-pattern.yaml", "kind: pattern\n"),
    ("tools/hatch-mould.yaml", "kind: mould\nfrom: hatch-pattern\n"),
    (
        "finishes/white.yaml",
        "colour: {name: white, solar_absorptance: 0.30, emittance: 0.90}\nprocess: spray-1\ncoats:\n  - {material: base-c, dry_film: 40 um (30 .. 60 um), removed: 5 um}\n",
    ),
    (
        "recipes/hatch-outer.yaml",
        "class: structural\nprocess: oven-120\nlayers:\n  - {material: mesh-73}\n  - {id: p1, material: cw-200-e1, angle: 45}\n  - {material: film-150}\n  - {material: foam-52, thickness: 6 mm}\n  - {material: cw-200-e1, angle: 0}\n",
    ),
    (
        "recipes/fairing.yaml",
        "class: non-structural\nprocess: infusion-1\nlayers:\n  - {material: gw-300, angle: 0}\nresin: {material: resin-a, content: 38 %}\n",
    ),
    (
        "panels/bow-hatch.yaml",
        "group: closures\nreleased_for: first-flight\nclass: structural\ntool: hatch-mould\nzones:\n  - {name: outer field, area: 0.82 m2, recipe: hatch-outer, finish: white}\n  - {name: window, area: 0.41 m2, sheet: {material: acrylic-a, thickness: 4 mm}}\njoints:\n  - {name: window bond, adhesive: paste-a, process: bond-rt, between: [outer field, window], length: 3.1 m, width: 18 mm, thickness: 1.5 mm, squeeze_out: 20 %}\nedges: [{name: seal, part: seal-d, length: 3.4 m}]\nfittings: [{part: latch-a, count: 2}]\noverlap: 3 %\nloads: [{name: suction, pressure: 3.2 kPa, factor: 1.5}]\n",
    ),
    (
        "panels/tail-fairing.yaml",
        "class: non-structural\nzones: [{name: all, area: 1 m2, recipe: fairing}]\n",
    ),
    ("assemblies/bow.yaml", "children: [{panel: bow-hatch, count: 1}, {part: latch-a, count: 4}]\n"),
    ("assemblies/whole.yaml", "children: [{assembly: bow}]\nbudget: 40 kg\n"),
    (
        "showings/lamina-tension.yaml",
        "kind: lamina-strength-fibre\nsubject: lamina\naccept: {basis: B, at_least: 520 MPa}\nenvironment: {name: RTD, temperature: 23 degC}\nplan: {batches: 1, specimens: 2, weeks: 2, conditioning: {to: 95 %, coupon_thickness: 2.5 mm}}\nneeded_by: first-flight\nafter: [wet-tg]\nrests_on: [wet-tg]\nsensitivity: {film-build: [{asks: none}], mesh.areal: [{asks: none}]}\n",
    ),
    (
        "showings/wet-tg.yaml",
        "kind: glass-transition\napplies_to: {material: cw-200-e1, panel: [bow-hatch]}\naccept: {mean_at_least: 95 degC}\n",
    ),
    (
        "evidence/e-001.yaml",
        "showing: lamina-tension\nsubject: {lamina: [cw-200-e1, oven-120]}\nkind: test\nstate: done\ndata: data/e-001.csv\nmeasured: {resin-content: 37.5 %}\n",
    ),
    ("evidence/data/e-001.csv", "batch,panel,specimen,value [MPa]\nb1,p1,s1,610\nb1,p1,s2,620.5\n"),
    (
        "evidence/e-002.yaml",
        "showing: lamina-tension\nsubject: {lamina: [cw-200-e1, oven-120]}\nkind: equivalence\nstate: done\ndata: data/e-002.csv\nbaseline: e-001\n",
    ),
    ("evidence/data/e-002.csv", "batch,panel,specimen,value [MPa]\nb7,p1,s1,605\n"),
    (
        "decisions/dd-001-lighter.yaml",
        "status: proposed\nchanges:\n  - {set: recipe/hatch-outer#layers.2.material, was: cw-200-e1, to: gw-300}\n  - {insert: recipe/hatch-outer#layers, after: 0, entry: {material: mesh-73}}\n  - {drop: recipe/fairing}\n",
    ),
    (
        "concessions/c-001.yaml",
        "showing: lamina-tension\nsubject: {panel: bow-hatch}\nreason: film too thick on one piece\ncovers: {film-build.max: {at_most: 190 um}}\nlimit: 1\nuntil: 2027-01-01\n",
    ),
    ("weighings/w-001.yaml", "panel: bow-hatch\nmass: 6.2 kg\n"),
    (
        "studies/lean.yaml",
        "vary:\n  - {attribute: recipe/hatch-outer#layers.4.thickness, from: 4 mm, to: 6 mm, step: 1 mm}\n",
    ),
];

/// The sound ledger's files.
fn sound() -> MemoryFiles {
    let mut files = MemoryFiles::new();
    for (path, text) in SOUND {
        files.put(path, *text);
    }
    files
}

/// The text of one of the sound ledger's files with a piece replaced.
fn changed(path: &str, from: &str, to: &str) -> String {
    let (_, text) = SOUND.iter().find(|(other, _)| *other == path).expect("a file of the sound ledger");
    assert!(text.contains(from), "`{from}` is not in {path}");
    text.replacen(from, to, 1)
}

fn load(files: &MemoryFiles) -> Ledger {
    Ledger::load(files, &MemoryRecall::new())
}

/// Loads the sound ledger with one piece of one file replaced.
fn with(path: &str, from: &str, to: &str) -> Ledger {
    let mut files = sound();
    files.put(path, changed(path, from, to));
    load(&files)
}

/// Loads the sound ledger with one more file.
fn plus(path: &str, text: &str) -> Ledger {
    let mut files = sound();
    files.put(path, text);
    load(&files)
}

fn short(fault: &Fault) -> (&'static str, Level, &str) {
    (fault.rule, fault.level, fault.place.file.as_str())
}

/// Asserts that a ledger has exactly these faults.
#[track_caller]
fn only(ledger: &Ledger, expected: &[(&'static str, Level, &str)]) {
    let mut found: Vec<_> = ledger.faults.iter().map(short).collect();
    found.sort();
    let mut expected = expected.to_vec();
    expected.sort();
    assert_eq!(found, expected, "{:#?}", ledger.faults);
    for fault in &ledger.faults {
        assert!(!fault.message.is_empty() && !fault.message.ends_with('.'), "{fault:?}");
    }
}

/// Asserts one error in the file, and that its record is left out and named.
#[track_caller]
fn error(ledger: &Ledger, rule: &'static str, file: &str) {
    only(ledger, &[(rule, Level::Error, file)]);
    assert!(ledger.has_errors());
    let address = crate::record::Address::parse(file).expect("a record's file");
    assert!(ledger.broken.contains(&address), "{:?} lacks {address}", ledger.broken);
}

/// Asserts one warning in the file and that nothing is left out.
#[track_caller]
fn warning(ledger: &Ledger, rule: &'static str, file: &str) {
    only(ledger, &[(rule, Level::Warning, file)]);
    assert!(ledger.broken.is_empty() && !ledger.has_errors());
}

#[track_caller]
fn help(ledger: &Ledger) -> &str {
    ledger.faults.iter().find_map(|fault| fault.help.as_deref()).expect("help")
}

#[test]
fn sound_ledger_has_no_faults() {
    let ledger = load(&sound());
    only(&ledger, &[]);
    assert!(ledger.broken.is_empty());
    assert_eq!(ledger.materials.len(), 11);
    assert_eq!(ledger.processes.len(), 4);
    assert_eq!(ledger.tools.len(), 2);
    assert_eq!(ledger.recipes.len(), 2);
    assert_eq!(ledger.panels.len(), 2);
    assert_eq!(ledger.assemblies.len(), 2);
    assert_eq!(ledger.showings.len(), 2);
    assert_eq!(ledger.evidence.len(), 2);
    let others = (ledger.finishes.len(), ledger.decisions.len(), ledger.concessions.len());
    assert_eq!(others, (1, 1, 1));
    assert_eq!((ledger.weighings.len(), ledger.studies.len(), ledger.data.len()), (1, 1, 2));
    assert_eq!(ledger.head.expect("head").milestones.len(), 2);
}
