//! The tables as CSV, RFC 4180.

use super::{Cell, Contents, ExportError, TABLES, Table};

/// The file beside the tables that says what they are.
pub const ABOUT: &str = "about.csv";
/// What a file of that name begins with.
const ABOUT_HEAD: &str = "table,column,unit,type,meaning";

/// Returns every file with its text: one a table, and one about them.
///
/// # Errors
/// [`ExportError`] where a row can't be written.
pub fn files(contents: &Contents) -> Result<Vec<(String, Vec<u8>)>, ExportError> {
    let mut all = vec![(ABOUT.to_string(), about()?)];
    for (table, rows) in TABLES.iter().zip(&contents.rows) {
        all.push((format!("{}.csv", table.name), file(table, rows)?));
    }
    Ok(all)
}

/// Returns whether a text is that of [`ABOUT`].
pub fn is_export(bytes: &[u8]) -> bool {
    bytes.starts_with(ABOUT_HEAD.as_bytes())
}

fn writer() -> csv::Writer<Vec<u8>> {
    csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new())
}

fn finished(name: &str, writer: csv::Writer<Vec<u8>>) -> Result<Vec<u8>, ExportError> {
    writer.into_inner().map_err(|error| ExportError { path: name.to_string(), why: error.to_string() })
}

fn about() -> Result<Vec<u8>, ExportError> {
    let refused = |error: csv::Error| ExportError { path: ABOUT.to_string(), why: error.to_string() };
    let mut writer = writer();
    writer.write_record(ABOUT_HEAD.split(',')).map_err(refused)?;
    for table in TABLES {
        for column in table.columns {
            let cells =
                [table.name, &column.key(), column.unit, column.kind.word(), &guarded(column.meaning)];
            writer.write_record(cells).map_err(refused)?;
        }
    }
    finished(ABOUT, writer)
}

fn file(table: &Table, rows: &[Vec<Cell>]) -> Result<Vec<u8>, ExportError> {
    let refused =
        |error: csv::Error| ExportError { path: format!("{}.csv", table.name), why: error.to_string() };
    let mut writer = writer();
    writer.write_record(table.columns.iter().map(super::Column::key)).map_err(refused)?;
    for row in rows {
        writer.write_record(row.iter().map(spelt)).map_err(refused)?;
    }
    finished(table.name, writer)
}

fn spelt(cell: &Cell) -> String {
    match cell {
        Cell::None => String::new(),
        Cell::Text(text) => guarded(text),
        Cell::Number(number) => number.to_string(),
        Cell::Whole(number) => number.to_string(),
        Cell::Truth(truth) => if *truth { "yes" } else { "no" }.to_string(),
    }
}

/// A text that a spreadsheet would take for a formula gets an apostrophe before it, by which spreadsheets know text.
fn guarded(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_formula_stays_text_and_a_number_a_number() {
        for text in ["=1+1", "+1", "-1", "@sum", "\t=1", "\r=1"] {
            assert_eq!(spelt(&Cell::Text(text.into())), format!("'{text}"));
        }
        assert_eq!(spelt(&Cell::Number(-1.5)), "-1.5");
        assert_eq!(spelt(&Cell::Text("a=b".into())), "a=b");
    }
}
