//! A small invented ledger for tests, its evidence conformed to it.

use crate::article::fixture::ledger as read;
use crate::ledger::Ledger;
use crate::qualify::conform::conformity;
use crate::qualify::verdict::{Evaluation, evaluate};
use crate::record::{Conformed, Day, EvidenceState};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

const TEXT: &str = "
ledger:
  format: 1
  programme: Sanderling amphibian (invented)
  currency: EUR
  milestones: [first-flight, type-approval]
  rates: {specimen: 180 EUR, panel_layup: 900 EUR}
materials:
  cw:
    kind: prepreg
    fibre: {name: f, type: carbon, density: 1.78 g/cm3, areal: 200 g/m2}
    resin: {name: r, density: 1.25 g/cm3, content: 38 %}
    cured_thickness: 0.2 mm
    lamina: {E1: 60 GPa, E2: {from: modulus}, G12: 4 GPa, nu12: 0.05}
    strength: {Xt: {from: tension}, Xc: 400 MPa}
    source: Handbook values, to be replaced
  foam: {kind: core, density: 52 kg/m3, form: foam, source: assumed from the data sheet}
  film: {kind: adhesive, areal: 150 g/m2}
  top: {kind: coating, dry_density: 1000 kg/m3, role: colour, source: ASSUMED}
  spare: {kind: coating, dry_density: 1000 kg/m3, role: colour, source: assumed}
processes: {oven: {method: oven}}
finishes:
  white: {coats: [{material: top, dry_film: 50 um}]}
recipes:
  solid: {process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 90}]}
  sandwich:
    process: oven
    layers:
      - {material: cw, angle: 0}
      - {material: film}
      - {material: foam, thickness: 6 mm}
      - {material: film}
      - {material: cw, angle: 0}
panels:
  bow-hatch:
    group: closures
    quantity: 2
    released: true
    class: structural
    exposure: {zone: outdoor, minimum: -54 degC}
    zones: [{name: outer field, area: 2 m2, recipe: sandwich, finish: white}]
  tail-fairing:
    exposure: {zone: outdoor, minimum: -54 degC}
    zones: [{name: skin, area: 1 m2, recipe: solid, finish: white}]
showings:
  adhesion:
    kind: paint-adhesion
    accept: {rating_at_least: 4}
    needed_by: first-flight
  compression:
    kind: lamina-strength-fibre
    clause: [CS 23.2260]
    accept: {all_at_least: 300 MPa}
    plan: {specimens: 10, batches: 2, panels_per_batch: 1, weeks: 2, cost: 130 EUR}
    needed_by: type-approval
    after: [tension]
  flatwise: {kind: flatwise-tension, accept: {all_at_least: 1 MPa}, needed_by: some-day}
  modulus: {kind: lamina-modulus, accept: {mean_at_least: 50 GPa}, plan: {specimens: 6, weeks: 1}}
  tension:
    title: Lamina tension, warp, room temperature
    kind: lamina-strength-fibre
    clause: [CS 23.2260, 14 CFR 23.2260]
    method: ASTM D3039-17
    accept: {all_at_least: 500 MPa}
    plan: {specimens: 1, weeks: 2, cost: 130 EUR}
    needed_by: type-approval
evidence:
  compression-1: {showing: compression, subject: {lamina: [cw, oven]}, kind: test, state: planned}
  modulus-1:
    showing: modulus
    subject: {lamina: [cw, oven]}
    kind: test
    state: done
    made: 2025-05-02
    result: {value: 61 GPa}
    source: assumed
  tension-1:
    showing: tension
    subject: {lamina: [cw, oven]}
    kind: test
    state: done
    made: 2025-05-02
    report: R-17 issue 2
    result: {value: 620 MPa}
";

/// Returns the ledger as it was when its evidence was made.
pub(crate) fn base() -> Ledger {
    let mut all = read(TEXT);
    conform(&mut all);
    all
}

/// Returns the ledger after an edit of its text; its evidence stays conformed to what it was before.
pub(crate) fn edited(from: &str, to: &str) -> Ledger {
    assert!(TEXT.contains(from), "{from}");
    let mut all = read(&TEXT.replace(from, to));
    all.evidence = base().evidence;
    all
}

/// Returns the files of the ledger after edits of its text, its evidence conformed to what it was before.
pub(crate) fn files(edits: &[(&str, &str)]) -> BTreeMap<String, Vec<u8>> {
    let text = edits.iter().fold(TEXT.to_string(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    });
    let all: BTreeMap<String, serde_yaml::Value> = serde_yaml::from_str(&text).unwrap();
    let mut files = BTreeMap::new();
    for (folder, records) in all {
        let bytes = |value: &serde_yaml::Value| serde_yaml::to_string(value).unwrap().into_bytes();
        match records.as_mapping() {
            _ if folder == "ledger" => drop(files.insert("ledger.yaml".to_string(), bytes(&records))),
            Some(records) => {
                for (id, record) in records {
                    files.insert(format!("{folder}/{}.yaml", id.as_str().unwrap()), bytes(record));
                }
            }
            None => {}
        }
    }
    for entry in base().evidence.values() {
        files.insert(entry.file.clone(), serde_yaml::to_string(&*entry.value).unwrap().into_bytes());
    }
    files
}

pub(crate) fn conform(ledger: &mut Ledger) {
    let mut made = BTreeMap::new();
    for entry in ledger.evidence.values().filter(|entry| entry.value.state == EvidenceState::Done) {
        let block = conformity(ledger, entry, None).unwrap().block();
        let read: BTreeMap<String, Conformed> = serde_yaml::from_str(&block).unwrap();
        made.insert(entry.id.clone(), read.into_values().next().unwrap());
    }
    for (id, conformed) in made {
        Arc::make_mut(&mut ledger.evidence.get_mut(&id).unwrap().value).conformed = Some(conformed);
    }
}

/// Returns the day that the tests are judged on.
pub(crate) fn today() -> Day {
    Day::parse("2026-03-14").unwrap()
}

/// Judges a ledger on that day.
pub(crate) fn judged(ledger: &Ledger) -> Evaluation {
    evaluate(ledger, today()).unwrap()
}

/// Returns the files of the invented example, as it stands, by their paths.
pub(crate) fn example() -> BTreeMap<String, Vec<u8>> {
    fn gather(folder: &Path, below: &str, files: &mut BTreeMap<String, Vec<u8>>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = format!("{below}{}", path.file_name().unwrap().to_str().unwrap());
            match path.is_dir() {
                true if name == "history" => {}
                true => gather(&path, &format!("{name}/"), files),
                false => drop(files.insert(name, std::fs::read(&path).unwrap())),
            }
        }
    }
    let mut files = BTreeMap::new();
    gather(&Path::new(env!("CARGO_MANIFEST_DIR")).join("example-project"), "", &mut files);
    files
}
