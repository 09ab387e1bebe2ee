//! The tables as one JSON document.

use super::{Cell, Contents, FORM, TABLES};
use crate::report::head::CAUTION_LINE;
use serde_json::{Map, Value, json};

/// Returns the document; units stand in the keys.
pub fn document(contents: &Contents) -> Value {
    let mut tables = Map::new();
    for (table, rows) in TABLES.iter().zip(&contents.rows) {
        let keys: Vec<String> = table.columns.iter().map(super::Column::key).collect();
        let one = |row: &Vec<Cell>| -> Value {
            Value::Object(keys.iter().cloned().zip(row.iter().map(value)).collect())
        };
        tables.insert(table.name.to_string(), rows.iter().map(one).collect());
    }
    json!({ "schema": format!("export/{FORM}"), "tables": tables, "caution": CAUTION_LINE })
}

fn value(cell: &Cell) -> Value {
    match cell {
        Cell::None => Value::Null,
        Cell::Text(text) => json!(text),
        Cell::Number(number) => json!(number),
        Cell::Whole(number) => json!(number),
        Cell::Truth(truth) => json!(truth),
    }
}

/// Returns whether a file begins as such a document does.
pub fn is_export(bytes: &[u8]) -> bool {
    let start = bytes.get(..bytes.len().min(64)).unwrap_or_default();
    String::from_utf8_lossy(start).trim_start_matches('{').trim_start().starts_with("\"schema\": \"export/")
}
