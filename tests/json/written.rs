//! The schemas of the documents that commands print, written from the strict types that the tests read them into, and
//! held against documents of the example.

use super::decided::*;
use super::figures::*;
use super::moved::*;
use super::*;
use crate::compare::Compare;
use crate::support::{files, root};
use boon::{Compiler, Schemas};
use schemars::generate::{SchemaGenerator, SchemaSettings};
use serde_json::{Map, json};
use std::fs;

/// A sample of one, as a whole document.
#[derive(schemars::JsonSchema)]
#[allow(dead_code, reason = "its shape alone is asked for")]
struct BasisOne {
    schema: String,
    caution: String,
    report: Option<Report>,
    between: Option<BasisBetween>,
    #[serde(flatten)]
    sample: BasisSample,
}

/// What one form of a document is, as a schema.
type Form = fn(&mut SchemaGenerator) -> schemars::Schema;

/// All documents with the forms that each may have. `export/1` has the tables of `schema/export.md`.
fn documents() -> Vec<(&'static str, Vec<Form>)> {
    macro_rules! forms {
        ($($type:ty),*) => { vec![$(SchemaGenerator::subschema_for::<$type> as Form),*] };
    }
    vec![
        ("assumptions/1", forms![Assumptions]),
        ("basis/1", forms![BasisOne, BasisSeveral, BasisEquivalence]),
        ("calc/1", forms![Calc]),
        ("calc-topic/1", forms![CalcTopicAlone]),
        ("calc-topics/1", forms![CalcTopics]),
        ("check/1", forms![Check]),
        ("compare/1", forms![Compare]),
        ("conform/1", forms![Conform]),
        ("decide/1", forms![Draft, Rebase, Propose, Approve, Apply, Close, Renumber]),
        ("decision/1", forms![Decision]),
        ("decisions/1", forms![Decisions]),
        ("decisions-staged/1", forms![Staged]),
        ("error/1", forms![Failed]),
        ("export-written/1", forms![ExportWritten]),
        ("gaps/1", forms![Gaps, Next]),
        ("history/1", forms![History]),
        ("history-of/1", forms![HistoryOf]),
        ("history-lapsed/1", forms![HistoryLapsed]),
        ("history-grew/1", forms![HistoryGrew]),
        ("hook/1", forms![Hook]),
        ("hook-run/1", forms![HookRun]),
        ("impact/1", forms![Impact]),
        ("import/1", forms![Import]),
        ("laminate/1", forms![Laminate]),
        ("leeway/1", forms![Leeway, Keep]),
        ("man/1", forms![Man]),
        ("mass/1", forms![Mass]),
        ("new/1", forms![New]),
        ("panel/1", forms![Panel]),
        ("report/1", forms![Pages]),
        ("store/1", forms![Store]),
        ("study/1", forms![Study]),
        ("why/1", forms![WhyRecord, WhyUses, WhyUsedBy, WhyDuty]),
    ]
}

/// Readers must take keys that a later version adds: what is not named is not forbidden.
fn opened(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            for key in ["additionalProperties", "unevaluatedProperties"] {
                if map.get(key) == Some(&Value::Bool(false)) {
                    map.remove(key);
                }
            }
            map.values_mut().for_each(opened);
        }
        Value::Array(all) => all.iter_mut().for_each(opened),
        _ => {}
    }
}

fn schema_of(name: &str, forms: &[Form]) -> Value {
    let mut generator = SchemaSettings::draft2020_12().into_generator();
    let all: Vec<Value> = forms.iter().map(|form| form(&mut generator).to_value()).collect();
    let mut definitions: Value = generator.take_definitions(true).into();
    opened(&mut definitions);
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": name,
        "description": "What `bondline --format json` prints. Units stand in the names of keys; later versions may add keys.",
        "type": "object",
        "required": ["schema"],
        "properties": { "schema": { "const": name } },
        "anyOf": all,
        "$defs": definitions,
    })
}

fn file_of(name: &str) -> String {
    format!("{}.schema.json", name.replace('/', "-"))
}

fn all() -> BTreeMap<String, String> {
    let mut all: BTreeMap<String, String> = documents()
        .into_iter()
        .map(|(name, forms)| (file_of(name), format!("{:#}\n", schema_of(name, &forms))))
        .collect();
    all.insert(file_of("export/1"), format!("{:#}\n", bondline::export::schema()));
    all
}

#[test]
fn schemas_of_documents_are_what_the_types_say() {
    let folder = root().join("schema/json");
    for (name, text) in &all() {
        let path = folder.join(name);
        if std::env::var_os("UPDATE_GOLDEN").is_some() {
            fs::create_dir_all(&folder).unwrap();
            fs::write(&path, text).unwrap();
        }
        let kept = fs::read_to_string(&path).unwrap_or_default();
        assert!(kept == *text, "schema/json/{name} is stale; UPDATE_GOLDEN=1 writes it");
    }
    assert_eq!(files(&folder), all().keys().cloned().collect::<Vec<_>>());
}

#[test]
fn documents_of_the_example_fit_their_schemas() {
    let bench = Bench::example();
    bench.write("m.csv", "id,kind,density [kg/m3]\nfoam-99,core,60\nbad id,core,x\n");
    let mut seen: Map<String, Value> = Map::new();
    for line in [
        "check",
        "mass",
        "mass --weighings --learned --spread monte-carlo --seed 3",
        "laminate hatch-outer",
        "panel bow-hatch",
        "impact dd-003",
        "compare dd-003 dd-002",
        "gaps",
        "gaps --next",
        "why panel/bow-hatch",
        "why panel/bow-hatch --uses",
        "why lamina-tension-rtd lamina/cw-200-e1@oven-120",
        "assumptions",
        "leeway finish/white",
        "leeway --keep e-001",
        "basis e-002",
        "decide list",
        "decide show dd-003",
        "history --commits 3",
        "history --lapsed e-016",
        "history --grew bow-hatch",
        "mass --as-of 2026-03-01",
        "calc",
        "calc tolerance-factor",
        "conform e-002 --dry-run",
        "export json",
        "import csv materials m.csv",
        "man pages-of-man",
        "report --out pages",
        "panel nobody",
    ] {
        let answer = bench.run(&[&line.split(' ').collect::<Vec<_>>()[..], &["--format", "json"]].concat());
        let document = answer.json();
        let name = document["schema"].as_str().unwrap_or_else(|| panic!("{line}")).to_string();
        let path = root().join("schema/json").join(file_of(&name));
        let mut schemas = Schemas::new();
        let compiled = Compiler::new().compile(path.to_str().unwrap(), &mut schemas).unwrap();
        if let Err(error) = schemas.validate(&document, compiled) {
            panic!("{line}: {error:#}");
        }
        // And a document without what is promised does not fit.
        let mut less = document.clone();
        less["schema"] = json!("other/1");
        assert!(schemas.validate(&less, compiled).is_err(), "{line}");
        seen.insert(name, document);
    }
    assert!(seen.len() >= 19, "{:?}", seen.keys());
}
