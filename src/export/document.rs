//! The description of the tables, written from their list.

use super::{Column, FORM, Follows, TABLES};

/// Returns `schema/export.md`.
pub fn markdown() -> String {
    let mut out = format!(
        "# Tables of `bondline export`, form {FORM}\n\n\
         Written from the list in the program; a test holds it to that. All four forms have these tables and columns. \
         CSV: one file a table, RFC 4180, UTF-8; a text that begins with `=`, `+`, `-`, `@`, a tab or a carriage return \
         has a `'` before it, so that no spreadsheet takes it for a formula. XLSX: one sheet a table with the unit in \
         the header, sums and what follows from other columns as formulas. JSON: one document `export/{FORM}`, tables \
         under `tables`. SQLite: typed columns, keys and foreign keys; `user_version` is {FORM}. A cell that is empty \
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

/// What a column means, with what it names and how it follows from others.
fn meaning(column: &Column) -> String {
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
