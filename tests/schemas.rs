//! `new --schemas`: what it writes fits the records it was made from, offers their ids, and goes through no link.

use crate::support::{Bench, files};
use boon::{Compiler, Schemas};
use serde_json::Value;
use std::fs;
use std::os::unix::fs::symlink;

fn schema_of(bench: &Bench, kind: &str) -> Value {
    serde_json::from_str(&bench.read(&format!(".schemas/{kind}.schema.json"))).unwrap()
}

#[test]
fn schemas_with_ids_offer_them_and_take_the_records() {
    let bench = Bench::example();
    let answer = bench.run(&["new", "--schemas"]);
    assert_eq!(answer.code, 0, "{}{}", answer.out, answer.err);
    let kinds =
        [("panels", "panel"), ("recipes", "recipe"), ("materials", "material"), ("showings", "showing")];
    for (folder, kind) in kinds {
        let mut schemas = Schemas::new();
        let mut compiler = Compiler::new();
        let name = format!("https://bondline.invalid/{kind}");
        compiler.add_resource(&name, schema_of(&bench, kind)).unwrap();
        let index = compiler.compile(&name, &mut schemas).unwrap();
        let all = files(&bench.ledger().join(folder));
        let records: Vec<&String> = all.iter().filter(|file| file.ends_with(".yaml")).collect();
        assert!(!records.is_empty(), "{folder}");
        for file in records {
            let text = bench.read(&format!("{folder}/{file}"));
            let record: Value = serde_yaml::from_str(&text).unwrap();
            if let Err(error) = schemas.validate(&record, index) {
                panic!("{folder}/{file}: {error:#}");
            }
        }
    }
    let panel = bench.read(".schemas/panel.schema.json");
    assert!(panel.contains("\"hatch-outer\""), "an id of a recipe is offered in a panel");
    assert!(bench.read(".vscode/settings.json").contains("./.schemas/panel.schema.json"));
}

#[test]
fn schemas_and_settings_are_not_written_through_links() {
    let bench = Bench::small();
    let outside = bench.ledger().parent().unwrap().join("outside");
    fs::create_dir_all(&outside).unwrap();
    fs::write(outside.join("thesis"), "years of work").unwrap();
    fs::create_dir_all(bench.ledger().join(".schemas")).unwrap();
    let link = bench.ledger().join(".schemas/panel.schema.json");
    symlink(outside.join("thesis"), &link).unwrap();
    symlink(&outside, bench.ledger().join(".vscode")).unwrap();
    let refused = bench.run(&["new", "--schemas"]);
    assert_eq!(refused.code, 2, "{}", refused.out);
    assert!(refused.err.contains("panel.schema.json` is a link"), "{}", refused.err);
    assert_eq!(fs::read_to_string(outside.join("thesis")).unwrap(), "years of work");
    assert!(!bench.ledger().join(".schemas/recipe.schema.json").exists(), "some were written");
    // Schemas are written, and the settings of a linked folder are left to whoever has it.
    fs::remove_file(link).unwrap();
    let answer = bench.run(&["new", "--schemas"]);
    assert_eq!(answer.code, 0, "{}{}", answer.out, answer.err);
    assert!(answer.out.contains(".vscode` is a link"), "{}", answer.out);
    assert!(bench.ledger().join(".schemas/panel.schema.json").is_file());
    assert_eq!(fs::read_dir(&outside).unwrap().count(), 1);
    fs::remove_dir_all(bench.ledger().join(".schemas")).unwrap();
    symlink(&outside, bench.ledger().join(".schemas")).unwrap();
    let refused = bench.run(&["new", "--schemas"]);
    assert!(refused.code == 2 && refused.err.contains(".schemas` is a link"), "{}", refused.err);
    assert_eq!(fs::read_dir(&outside).unwrap().count(), 1);
}

#[test]
fn manual_pages_are_not_written_through_links() {
    let bench = Bench::small();
    let mine = bench.ledger().parent().unwrap().join("mine");
    fs::write(&mine, "mine").unwrap();
    fs::create_dir_all(bench.ledger().join("man")).unwrap();
    symlink(&mine, bench.ledger().join("man/bondline.1")).unwrap();
    let refused = bench.run(&["man", "man"]);
    assert!(refused.code == 2 && refused.err.contains("is a link"), "{}{}", refused.out, refused.err);
    assert_eq!(fs::read_to_string(&mine).unwrap(), "mine");
}
