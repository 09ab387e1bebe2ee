//! The description of the tables, written from their list.

use super::{Column, FORM, Follows, TABLES, Type};
use serde_json::{Map, Value, json};

/// Returns `schema/export.md`.
pub fn markdown() -> String {
    let mut out = format!(
        "# Tables of `bondline export`, form {FORM}\n\n\
         Written from the list in the program; a test holds it to that. All five forms have these tables and columns. \
         CSV: one file a table, RFC 4180, UTF-8; a text that begins with `=`, `+`, `-`, `@`, a tab or a carriage return \
         has a `'` before it, so that no spreadsheet takes it for a formula. XLSX: one sheet a table with the unit in \
         the header, sums and what follows from other columns as formulas. JSON: one document `export/{FORM}`, tables \
         under `tables`. SQLite: typed columns, keys and foreign keys; `user_version` is {FORM}. SQL: a script for PostgreSQL that `psql` \
         loads, in one transaction; a schema a programme, typed columns (text, double precision, bigint, boolean, date), \
         keys and foreign keys, what is said here as comments, and beside the tables `export`, one row with `programme`, \
         `form` ({FORM}), `state`, `commit`, `decisions`, `today`, `program`, `loaded` (when), `caution`. Loaded again, the \
         rows are replaced and the tables stay, with views and grants on them; `\\0` in a text becomes U+FFFD. A cell that is empty \
         was not recorded or does not apply. Figures are not rounded.\n\n\
         An engineering aid, not approved data and not a finding of compliance.\n"
    );
    for table in TABLES {
        out.push_str(&format!(
            "\n## {}\n\n{} Key: `{}`.\n\n",
            table.name,
            table.meaning,
            table.key.join("`, `")
        ));
        out.push_str("| column | unit | type | meaning |\n| --- | --- | --- | --- |\n");
        for column in table.columns {
            out.push_str(&format!(
                "| `{}` | {} | {} | {} |\n",
                column.key(),
                column.unit,
                column.kind.word(),
                meaning(column)
            ));
        }
    }
    out
}

/// Returns the JSON Schema of the document `export/1`.
pub fn schema() -> Value {
    let tables: Map<String, Value> = TABLES
        .iter()
        .map(|table| {
            let columns: Map<String, Value> =
                table.columns.iter().map(|column| (column.key(), cell(column))).collect();
            let names: Vec<String> = table.columns.iter().map(Column::key).collect();
            let row = json!({ "type": "object", "properties": columns, "required": names });
            let own = json!({ "type": "array", "description": table.meaning, "items": row });
            (table.name.to_string(), own)
        })
        .collect();
    let names: Vec<&str> = TABLES.iter().map(|table| table.name).collect();
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": format!("export/{FORM}"),
        "description": "What `bondline export json` writes. Units stand in the names of keys; later versions may add keys.",
        "type": "object",
        "required": ["schema", "tables", "caution"],
        "properties": {
            "schema": { "const": format!("export/{FORM}") },
            "caution": { "type": "string" },
            "tables": { "type": "object", "properties": tables, "required": names },
        },
    })
}

fn cell(column: &Column) -> Value {
    let word = match column.kind {
        Type::Text | Type::Day => "string",
        Type::Number => "number",
        Type::Whole => "integer",
        Type::Truth => "boolean",
    };
    let kind = if column.always { json!(word) } else { json!([word, "null"]) };
    let mut own = json!({ "type": kind, "description": meaning(column) });
    if column.kind == Type::Day
        && let Some(map) = own.as_object_mut()
    {
        map.insert("format".to_string(), json!("date"));
    }
    own
}

/// What a column means, with what it names and how it follows from others.
pub(super) fn meaning(column: &Column) -> String {
    let mut words = column.meaning.to_string();
    if let Some(names) = column.names {
        words.push_str(&format!(" Names a row of `{names}`."));
    }
    match column.follows {
        Some(Follows::Product(one, two)) => words.push_str(&format!(" `{one}` times `{two}`.")),
        Some(Follows::Difference(one, two)) => words.push_str(&format!(" `{one}` less `{two}`.")),
        Some(Follows::Totals(all)) => {
            let all: Vec<String> = all.iter().map(|(table, column)| format!("`{table}.{column}`")).collect();
            words.push_str(&format!(" The sum of {}.", all.join(" and ")));
        }
        None => {}
    }
    if !column.always {
        words.push_str(" May be empty.");
    }
    words
}
