//! The schemas in `schema/`: as the types say, sound in themselves, and true of every record of the example.

use crate::support::{files, root};
use bondline::calc;
use bondline::record::{RecordKind, schema};
use boon::{Compiler, Schemas};
use std::fs;

/// Reads a record the way a validator of an editor would: scalars stay what YAML makes of them.
fn value(text: &str) -> serde_json::Value {
    serde_json::to_value(serde_yaml::from_str::<serde_yaml::Value>(text).unwrap()).unwrap()
}

fn kind_of(file: &str) -> Option<RecordKind> {
    let file = file.strip_prefix("history/").map_or(file, |rest| rest.split_once('/').unwrap().1);
    match file.split_once('/') {
        None => (file == "ledger.yaml").then_some(RecordKind::Ledger),
        Some((top, _)) => RecordKind::by_folder(top).filter(|_| file.ends_with(".yaml")),
    }
}

#[test]
fn the_files_are_what_the_types_say() {
    let all = schema::all();
    let folder = root().join("schema");
    for (name, text) in &all {
        let path = folder.join(name);
        if std::env::var_os("UPDATE_GOLDEN").is_some() {
            fs::write(&path, text).unwrap();
        }
        let kept = fs::read_to_string(&path).unwrap_or_default();
        assert!(kept == *text, "schema/{name} is stale; UPDATE_GOLDEN=1 writes it");
    }
    let kept: Vec<String> = files(&folder)
        .into_iter()
        .filter(|file| file.ends_with(".schema.json") && !file.contains('/'))
        .collect();
    assert_eq!(kept, all.keys().cloned().collect::<Vec<_>>());
}

#[test]
fn the_files_of_the_calculator_are_what_its_topics_say() {
    let folder = root().join("schema/calc");
    let all = calc::schemas();
    for (name, text) in &all {
        let path = folder.join(name);
        if std::env::var_os("UPDATE_GOLDEN").is_some() {
            fs::create_dir_all(&folder).unwrap();
            fs::write(&path, text).unwrap();
        }
        let kept = fs::read_to_string(&path).unwrap_or_default();
        assert!(kept == *text, "schema/calc/{name} is stale; UPDATE_GOLDEN=1 writes it");
    }
    let mut names: Vec<String> = all.into_iter().map(|(name, _)| name).collect();
    names.sort();
    assert_eq!(files(&folder), names);
}

#[test]
fn every_record_of_the_example_fits_its_schema() {
    let (mut schemas, mut compiler) = (Schemas::new(), Compiler::new());
    let top = root().join("example-project");
    let mut seen = 0;
    for file in files(&top) {
        let Some(kind) = kind_of(&file) else { continue };
        let url = format!("mem:///{}.json", kind.word());
        let _ = compiler.add_resource(&url, schema::of(kind));
        let index =
            compiler.compile(&url, &mut schemas).unwrap_or_else(|error| panic!("{kind:?}: {error:#}"));
        let text = fs::read_to_string(top.join(&file)).unwrap();
        if let Err(error) = schemas.validate(&value(&text), index) {
            panic!("{file}: {error:#}");
        }
        seen += 1;
    }
    assert!(seen > 100, "only {seen} records were looked at");
}

#[test]
fn what_the_program_refuses_a_schema_refuses_too() {
    let (mut schemas, mut compiler) = (Schemas::new(), Compiler::new());
    let wrong = [
        (RecordKind::Panel, "zones: []\nno_such_key: 1\n"),
        (RecordKind::Recipe, "process: oven-120\n"),
        (RecordKind::Recipe, "process: oven-120\nlayers: [{material: a, angle: {}}]\n"),
        (RecordKind::Panel, "zones: [{name: a, area: [1]}]\n"),
        (RecordKind::Evidence, "showing: a\nsubject: {panel: x}\nkind: testing\nstate: done\n"),
        (RecordKind::Ledger, "programme: x\n"),
    ];
    for (kind, text) in wrong {
        let url = format!("mem:///{}.json", kind.word());
        let _ = compiler.add_resource(&url, schema::of(kind));
        let index = compiler.compile(&url, &mut schemas).unwrap();
        assert!(schemas.validate(&value(text), index).is_err(), "{kind:?} lets through\n{text}");
    }
}
