//! The tables as a SQLite database.

use super::{Cell, Column, Contents, ExportError, FORM, TABLES, Table, Type};
use rusqlite::{Connection, ToSql, types::Null};
use std::path::Path;

/// Written into the file's header, by which it is known again: `BLEX`.
const APPLICATION: i32 = 0x424c_4558;
/// Where it stands in the file, and what the file begins with (SQLite file format, section 1.3).
const AT: std::ops::Range<usize> = 68..72;
const BEGIN: &[u8] = b"SQLite format 3\0";

/// Writes a new database at `path`, which must not exist.
///
/// # Errors
/// [`ExportError`] where it can't be written.
pub fn write(contents: &Contents, path: &Path) -> Result<(), ExportError> {
    written(contents, path).map_err(|error| ExportError::new(path, error))
}

fn written(contents: &Contents, path: &Path) -> rusqlite::Result<()> {
    let mut base = Connection::open(path)?;
    // The file is thrown away whole where anything fails, so that no journal has to stand beside it.
    base.execute_batch("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA foreign_keys = ON;")?;
    base.pragma_update(None, "application_id", APPLICATION)?;
    base.pragma_update(None, "user_version", FORM)?;
    let write = base.transaction()?;
    // Rows that name others of their own table stand in no order.
    write.execute_batch("PRAGMA defer_foreign_keys = ON;")?;
    for (table, rows) in TABLES.iter().zip(&contents.rows) {
        write.execute_batch(&definition(table))?;
        let marks: Vec<String> = (1..=table.columns.len()).map(|at| format!("?{at}")).collect();
        let mut insert =
            write.prepare(&format!("INSERT INTO \"{}\" VALUES ({})", table.name, marks.join(", ")))?;
        for row in rows {
            let cells: Vec<&dyn ToSql> = row.iter().map(value).collect();
            insert.execute(cells.as_slice())?;
        }
    }
    write.execute_batch(
        "CREATE TABLE \"about\" (\"table\" TEXT NOT NULL, \"column\" TEXT NOT NULL, \"unit\" TEXT, \"type\" TEXT NOT \
         NULL, \"meaning\" TEXT NOT NULL, PRIMARY KEY (\"table\", \"column\")) STRICT;",
    )?;
    {
        let mut insert = write.prepare("INSERT INTO \"about\" VALUES (?1, ?2, ?3, ?4, ?5)")?;
        for table in TABLES {
            for own in table.columns {
                let unit = Some(own.unit).filter(|unit| !unit.is_empty());
                insert.execute((table.name, own.key(), unit, own.kind.word(), own.meaning))?;
            }
        }
    }
    write.commit()?;
    base.close().map_err(|(_, error)| error)
}

fn definition(table: &Table) -> String {
    let of =
        |name: &str| table.columns.iter().find(|own| own.name == name).map(Column::key).unwrap_or_default();
    let mut lines: Vec<String> = table
        .columns
        .iter()
        .map(|own| {
            let kind = match own.kind {
                Type::Text | Type::Day => "TEXT",
                Type::Number => "REAL",
                Type::Whole | Type::Truth => "INTEGER",
            };
            let always = if own.always { " NOT NULL" } else { "" };
            let check = if own.kind == Type::Truth {
                format!(" CHECK (\"{}\" IN (0, 1))", own.key())
            } else {
                String::new()
            };
            format!("\"{}\" {kind}{always}{check}", own.key())
        })
        .collect();
    let key: Vec<String> = table.key.iter().map(|name| format!("\"{}\"", of(name))).collect();
    lines.push(format!("PRIMARY KEY ({})", key.join(", ")));
    for own in table.columns {
        let Some(other) = own.names.and_then(|names| TABLES.iter().find(|table| table.name == names)) else {
            continue;
        };
        let key = other.key.first().copied().unwrap_or_default();
        lines.push(format!("FOREIGN KEY (\"{}\") REFERENCES \"{}\" (\"{key}\")", own.key(), other.name));
    }
    format!("CREATE TABLE \"{}\" (\n  {}\n) STRICT;", table.name, lines.join(",\n  "))
}

fn value(cell: &Cell) -> &dyn ToSql {
    match cell {
        Cell::None => &Null,
        Cell::Text(text) => text,
        Cell::Number(number) => number,
        Cell::Whole(number) => number,
        Cell::Truth(truth) => truth,
    }
}

/// Returns whether a file begins as such a database does.
pub fn is_export(bytes: &[u8]) -> bool {
    bytes.starts_with(BEGIN) && bytes.get(AT) == Some(APPLICATION.to_be_bytes().as_slice())
}
