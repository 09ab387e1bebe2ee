//! The JSON Schemas of all records, generated from their types.

use super::material_fields::{KINDS, KindFields};
use super::*;
use schemars::generate::SchemaSettings;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// Returns the schema (JSON Schema, draft 2020-12) of the records of `kind`.
pub fn of(kind: RecordKind) -> Value {
    let mut schema = match kind {
        RecordKind::Ledger => root::<LedgerHead>(),
        RecordKind::Material => root::<Material>(),
        RecordKind::Process => root::<Process>(),
        RecordKind::Tool => root::<Tool>(),
        RecordKind::Finish => root::<Finish>(),
        RecordKind::Recipe => root::<Recipe>(),
        RecordKind::Panel => root::<Panel>(),
        RecordKind::Assembly => root::<Assembly>(),
        RecordKind::Showing => root::<Showing>(),
        RecordKind::Evidence => root::<Evidence>(),
        RecordKind::Decision => root::<Decision>(),
        RecordKind::Concession => root::<Concession>(),
        RecordKind::Weighing => root::<Weighing>(),
        RecordKind::Study => root::<Study>(),
    };
    if kind == RecordKind::Material
        && let Value::Object(schema) = &mut schema
    {
        let own: Vec<&str> = KINDS.iter().flat_map(KindFields::own).collect();
        schema.insert("allOf".to_string(), KINDS.iter().map(|row| rule_of_kind(row, &own)).collect());
    }
    schema
}

/// Returns the schema of a type that is read from a file of its own.
pub fn root<T: schemars::JsonSchema>() -> Value {
    SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<T>().to_value()
}

/// Returns all schemas as they are written to `schema/`: file name, and text that ends in a line end.
pub fn all() -> BTreeMap<String, String> {
    std::iter::once(RecordKind::Ledger)
        .chain(RecordKind::ALL.iter().copied())
        .map(|kind| (format!("{kind}.schema.json"), format!("{:#}\n", of(kind))))
        .collect()
}

/// Adds the ids of a ledger to a schema, wherever a record is named: editors offer them, and a record that is yet to be
/// written may be named all the same.
pub fn with_ids(mut schema: Value, ids: &dyn Fn(RecordKind) -> Vec<String>) -> Value {
    let definitions = schema.get_mut("$defs").and_then(Value::as_object_mut);
    for (name, own) in definitions.into_iter().flatten() {
        let kind = name.strip_suffix("Ref").and_then(|word| RecordKind::by_word(&word.to_lowercase()));
        let Some(map) = kind.and_then(|kind| Some((ids(kind), own.as_object_mut()?))) else { continue };
        let (ids, map) = map;
        if ids.is_empty() {
            continue;
        }
        let mut plain = Map::new();
        for key in ["type", "pattern"] {
            plain.extend(map.remove(key).map(|value| (key.to_string(), value)));
        }
        map.insert("anyOf".to_string(), json!([{ "enum": ids }, plain]));
    }
    schema
}

/// What a material's kind asks of its other keys; a key with nothing behind it counts as absent.
fn rule_of_kind(row: &KindFields, own: &[&str]) -> Value {
    let mut properties = Map::new();
    for key in own {
        if !row.takes(key) {
            properties.insert((*key).to_string(), json!({ "type": "null" }));
        }
    }
    if !row.forms.is_empty() {
        let words: Vec<Value> = row.forms.iter().map(|word| json!(word)).chain([Value::Null]).collect();
        properties.insert("form".to_string(), json!({ "enum": words }));
    }
    if row.takes("fibre") {
        let areal = if row.fibre_areal {
            json!({ "required": ["areal"], "properties": { "areal": { "not": { "type": "null" } } } })
        } else {
            json!({ "properties": { "areal": { "type": "null" } } })
        };
        properties.insert("fibre".to_string(), areal);
    }
    let needs: Vec<Value> = row
        .needs
        .iter()
        .map(|group| {
            let one = |key: &&str| {
                let there = Map::from_iter([((*key).to_string(), json!({ "not": { "type": "null" } }))]);
                json!({ "required": [key], "properties": there })
            };
            match group {
                [key] => one(key),
                many => json!({ "anyOf": many.iter().map(one).collect::<Vec<_>>() }),
            }
        })
        .collect();
    json!({
        "if": { "properties": { "kind": { "const": row.kind.word() } }, "required": ["kind"] },
        "then": { "properties": properties, "allOf": needs }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn written_schemas_are_those_of_the_types() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("schema");
        for (name, text) in all() {
            let path = folder.join(&name);
            if std::env::var_os("UPDATE_GOLDEN").is_some() {
                std::fs::create_dir_all(&folder).unwrap();
                std::fs::write(&path, &text).unwrap();
            }
            let written = std::fs::read_to_string(&path).unwrap_or_default();
            assert_eq!(written, text, "schema/{name} is stale: UPDATE_GOLDEN=1 cargo test rewrites it");
        }
    }

    fn holds(kind: RecordKind, yaml: &str) -> Result<(), String> {
        let mut schemas = boon::Schemas::new();
        let mut compiler = boon::Compiler::new();
        compiler.add_resource("mem:///schema", of(kind)).unwrap();
        let compiled = compiler.compile("mem:///schema", &mut schemas).unwrap();
        let value: Value = serde_yaml::from_str(yaml).unwrap();
        schemas.validate(&value, compiled).map_err(|error| error.to_string())
    }

    #[test]
    fn schemas_compile_and_judge_as_the_reader_does() {
        for kind in RecordKind::ALL.iter().copied().chain([RecordKind::Ledger]) {
            for text in super::super::samples::valid(kind) {
                holds(kind, text).unwrap_or_else(|error| panic!("{kind}: {error}\n{text}"));
            }
        }
        for (kind, text) in [
            (RecordKind::Material, "{kind: core}"),
            (RecordKind::Material, "{kind: core, density: 52 kg/m3, areal: 3 g/m2}"),
            (RecordKind::Material, "{kind: core, density: 52 kg/m3, form: twill}"),
            (RecordKind::Material, "{kind: adhesive}"),
            (RecordKind::Recipe, "{process: p, layers: [], mirrored: all}"),
            (RecordKind::Panel, "{zones: [{name: a}]}"),
        ] {
            assert!(holds(kind, text).is_err(), "{text}");
        }
    }
}
