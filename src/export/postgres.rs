//! The tables as a script that `psql` loads into PostgreSQL: a schema a programme, so that many lie in one database.
//!
//! Tables stay where they are when they are loaded again, and their rows are replaced whole, in one transaction: views
//! and grants that others made on them outlive it. Names are quoted and rows are data of `COPY`, whatever stands in
//! them.

use super::document::meaning;
use super::{Cell, Column, Contents, FORM, TABLES, Table, Type};
use std::fmt::Write as _;
use std::io;

/// The table beside the others that says where the rows come from.
pub const ORIGIN: &str = "export";
/// What a script begins with.
const BEGIN: &str = "-- Written by `bondline export sql` for PostgreSQL";
/// The longest name of PostgreSQL, in bytes (`NAMEDATALEN` less one, as it is built everywhere).
const LONGEST: usize = 63;

/// Why a name can't be that of a schema.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SchemaError {
    /// Nothing.
    #[error("a schema needs a name")]
    Empty,
    /// More than PostgreSQL takes; it would cut the name off, and two programmes might meet.
    #[error("`{0}` has more than {LONGEST} bytes, which PostgreSQL would cut off")]
    Long(String),
    /// A line end or the like.
    #[error("{0:?} has a control character")]
    Control(String),
    /// A name that PostgreSQL keeps for itself.
    #[error("`{0}` begins with `pg_`, which PostgreSQL keeps for itself")]
    Reserved(String),
}

/// The name of a schema that PostgreSQL takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Schema(String);

impl Schema {
    /// Takes a name as somebody wrote it.
    ///
    /// # Errors
    /// [`SchemaError`] where PostgreSQL would refuse or shorten it.
    pub fn named(name: &str) -> Result<Self, SchemaError> {
        let own = name.to_string();
        match name {
            "" => Err(SchemaError::Empty),
            name if name.len() > LONGEST => Err(SchemaError::Long(own)),
            name if name.chars().any(char::is_control) => Err(SchemaError::Control(own)),
            name if name.starts_with("pg_") => Err(SchemaError::Reserved(own)),
            _ => Ok(Self(own)),
        }
    }

    /// Returns the name that follows from a programme's: small letters and digits, with `_` for what is between them,
    /// so that nobody has to quote it.
    pub fn of(programme: &str) -> Self {
        let words: Vec<String> = programme
            .to_lowercase()
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(str::to_string)
            .collect();
        let mut name = words.join("_");
        if !name.starts_with(char::is_alphabetic) || name.starts_with("pg_") {
            name = format!("programme_{name}").trim_end_matches('_').to_string();
        }
        while name.len() > LONGEST {
            name.pop();
        }
        Self(name)
    }

    /// Returns that of the programme whose tables these are.
    pub fn of_tables(contents: &Contents) -> Self {
        Self::of(&programme(contents))
    }

    /// Returns the name.
    pub fn name(&self) -> &str {
        &self.0
    }
}

/// The row of a table that says what was read: its cells, by the names of `programme`.
fn of_programme<'a>(contents: &'a Contents, name: &str) -> &'a Cell {
    let at = TABLES.iter().find(|own| own.name == "programme").and_then(|own| own.place(name));
    let row = contents.of("programme").first();
    at.and_then(|at| row?.get(at)).unwrap_or(&Cell::None)
}

fn programme(contents: &Contents) -> String {
    match of_programme(contents, "programme") {
        Cell::Text(name) => name.replace('\0', "\u{fffd}"),
        _ => String::new(),
    }
}

/// Writes the script.
///
/// Returns how many NUL characters were replaced by U+FFFD, since PostgreSQL has none in texts.
///
/// # Errors
/// What `out` refuses.
pub fn write(contents: &Contents, schema: &Schema, out: &mut dyn io::Write) -> io::Result<usize> {
    let programme = programme(contents);
    let within = identifier(&schema.0);
    writeln!(out, "{BEGIN}, form {FORM}.")?;
    out.write_all(head(schema, &programme).as_bytes())?;
    for table in TABLES {
        out.write_all(table_there(&within, table).as_bytes())?;
    }
    out.write_all(emptied(&within).as_bytes())?;
    let mut replaced = origin(contents, &within, out)?;
    for (table, rows) in TABLES.iter().zip(&contents.rows) {
        let names: Vec<String> = table.columns.iter().map(|own| identifier(&own.key())).collect();
        writeln!(out, "COPY {within}.{} ({}) FROM stdin;", identifier(table.name), names.join(", "))?;
        for row in rows {
            let cells: Vec<String> =
                row.iter().zip(table.columns).map(|(cell, own)| copied(cell, own, &mut replaced)).collect();
            writeln!(out, "{}", cells.join("\t"))?;
        }
        writeln!(out, "\\.\n")?;
    }
    for table in TABLES {
        out.write_all(keys(&within, table).as_bytes())?;
    }
    for table in TABLES {
        out.write_all(comments(&within, table).as_bytes())?;
    }
    let rows: usize = contents.rows.iter().map(Vec::len).sum();
    let said = format!("{} tables with {rows} rows are in the schema {}", TABLES.len(), schema.0);
    writeln!(out, "COMMIT;\n\nSELECT {} AS \"loaded\";", literal(&said))?;
    Ok(replaced)
}

/// The beginning of the transaction, and the schema, which is either new, empty, or this programme's in this form.
fn head(schema: &Schema, programme: &str) -> String {
    let (within, name) = (identifier(&schema.0), literal(&schema.0));
    let foreign = format!("the schema {} is there and holds no such export", schema.0);
    let body = format!(
        "DECLARE
  held text;
  form bigint;
BEGIN
  PERFORM pg_advisory_xact_lock(hashtext('bondline export'), hashtext({name}));
  IF NOT EXISTS (SELECT FROM pg_namespace WHERE nspname = {name}) THEN
    CREATE SCHEMA {within};
  ELSIF NOT EXISTS (SELECT FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace WHERE n.nspname = {name}) THEN
    NULL;
  ELSIF to_regclass({origin}) IS NULL THEN
    RAISE EXCEPTION USING MESSAGE = {foreign}, HINT = {other};
  ELSE
    EXECUTE {asked} INTO held, form;
    IF held <> {programme} THEN
      RAISE EXCEPTION USING MESSAGE = {full} || held, HINT = {other};
    ELSIF form <> {FORM} THEN
      RAISE EXCEPTION USING MESSAGE = {older} || form, HINT = {drop};
    END IF;
  END IF;
END",
        origin = literal(&format!("{within}.{}", identifier(ORIGIN))),
        foreign = literal(&foreign),
        other = literal("name another one with `--schema`"),
        asked = literal(&format!("SELECT programme, form FROM {within}.{}", identifier(ORIGIN))),
        programme = literal(programme),
        full = literal(&format!("the schema {} holds the programme ", schema.0)),
        older = literal(&format!("this is form {FORM} of the tables; the schema {} has form ", schema.0)),
        drop = literal("drop the schema with what rests on it, or name another one with `--schema`"),
    );
    format!(
        "-- Load it with `psql -f FILE DATABASE`, or send it there: it is one transaction, and replaces what an earlier
-- one loaded. An engineering aid, not approved data and not a finding of compliance.
\\set ON_ERROR_STOP on
BEGIN;
SET LOCAL client_encoding = 'UTF8';
SET LOCAL standard_conforming_strings = on;
SET LOCAL client_min_messages = warning;
SET LOCAL datestyle = 'ISO, YMD';
SET LOCAL search_path = pg_catalog;

DO {};

COMMENT ON SCHEMA {within} IS {};
CREATE TABLE IF NOT EXISTS {within}.{origin} (
  \"programme\" text NOT NULL,
  \"form\" bigint NOT NULL,
  \"state\" text,
  \"commit\" text,
  \"decisions\" text,
  \"today\" date,
  \"program\" text NOT NULL,
  \"loaded\" timestamp with time zone NOT NULL DEFAULT now(),
  \"caution\" text
);
COMMENT ON TABLE {within}.{origin} IS 'Where the rows of this schema come from; one row.';
",
        literal(&body),
        literal(&format!("{programme}: tables of `bondline export`, form {FORM}.")),
        origin = identifier(ORIGIN),
    )
}

/// A table with all its columns, whether it was there before or not, without its keys and rows.
fn table_there(within: &str, table: &Table) -> String {
    let own = format!("{within}.{}", identifier(table.name));
    let mut text = format!("CREATE TABLE IF NOT EXISTS {own} ();\n");
    // Keys of others that lean on the table go first, or its own can't.
    for column in table.columns.iter().filter(|own| own.names.is_some()) {
        let _ = writeln!(text, "ALTER TABLE {own} DROP CONSTRAINT IF EXISTS {};", foreign(table, column));
    }
    text
}

/// Takes all rows away, and brings the columns to what they are now.
fn emptied(within: &str) -> String {
    let names: Vec<String> = TABLES.iter().map(|own| format!("{within}.{}", identifier(own.name))).collect();
    let mut text = format!("TRUNCATE {within}.{}, {};\n", identifier(ORIGIN), names.join(", "));
    for (table, own) in TABLES.iter().zip(&names) {
        let primary = identifier(&format!("{}_key", table.name));
        let _ = write!(text, "ALTER TABLE {own} DROP CONSTRAINT IF EXISTS {primary}");
        for column in table.columns {
            let (key, kind) = (identifier(&column.key()), kind(column));
            let _ = write!(text, ",\n  ADD COLUMN IF NOT EXISTS {key} {kind}");
            if column.always {
                let _ = write!(text, ",\n  ALTER COLUMN {key} SET NOT NULL");
            }
        }
        text.push_str(";\n");
    }
    text
}

fn kind(column: &Column) -> &'static str {
    match column.kind {
        Type::Text => "text",
        Type::Number => "double precision",
        Type::Whole => "bigint",
        Type::Truth => "boolean",
        Type::Day => "date",
    }
}

/// The row of [`ORIGIN`].
fn origin(contents: &Contents, within: &str, out: &mut dyn io::Write) -> io::Result<usize> {
    let mut replaced = 0;
    let mut of = |name: &str, kind: Type| {
        let column = Column {
            name: "",
            unit: "",
            kind,
            meaning: "",
            always: false,
            names: None,
            follows: None,
            total: false,
        };
        copied(of_programme(contents, name), &column, &mut replaced)
    };
    let cells = [
        of("programme", Type::Text),
        FORM.to_string(),
        of("state", Type::Text),
        of("commit", Type::Text),
        of("decisions", Type::Text),
        of("today", Type::Day),
        concat!("bondline ", env!("CARGO_PKG_VERSION")).to_string(),
        of("caution", Type::Text),
    ];
    writeln!(
        out,
        "COPY {within}.{} (\"programme\", \"form\", \"state\", \"commit\", \"decisions\", \"today\", \"program\", \
         \"caution\") FROM stdin;\n{}\n\\.\n",
        identifier(ORIGIN),
        cells.join("\t")
    )?;
    Ok(replaced)
}

/// The key of a table and the keys of others that it names.
fn keys(within: &str, table: &Table) -> String {
    let own = format!("{within}.{}", identifier(table.name));
    let of =
        |name: &str| table.columns.iter().find(|own| own.name == name).map(Column::key).unwrap_or_default();
    let key: Vec<String> = table.key.iter().map(|name| identifier(&of(name))).collect();
    let primary = identifier(&format!("{}_key", table.name));
    let mut text = format!("ALTER TABLE {own} ADD CONSTRAINT {primary} PRIMARY KEY ({});\n", key.join(", "));
    for column in table.columns {
        let Some(other) = column.names.and_then(|names| TABLES.iter().find(|own| own.name == names)) else {
            continue;
        };
        let _ = writeln!(
            text,
            "ALTER TABLE {own} ADD CONSTRAINT {} FOREIGN KEY ({}) REFERENCES {within}.{} ({});",
            foreign(table, column),
            identifier(&column.key()),
            identifier(other.name),
            identifier(other.key.first().copied().unwrap_or_default())
        );
    }
    text
}

fn foreign(table: &Table, column: &Column) -> String {
    identifier(&format!("{}_{}_names", table.name, column.name))
}

fn comments(within: &str, table: &Table) -> String {
    let own = format!("{within}.{}", identifier(table.name));
    let mut text = format!("COMMENT ON TABLE {own} IS {};\n", literal(table.meaning));
    for column in table.columns {
        let mut words = meaning(column);
        if !column.unit.is_empty() {
            let _ = write!(words, " Unit: {}.", column.unit);
        }
        let _ =
            writeln!(text, "COMMENT ON COLUMN {own}.{} IS {};", identifier(&column.key()), literal(&words));
    }
    text
}

/// A name between double quotes.
fn identifier(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

/// A text between single quotes, where a backslash is one (`standard_conforming_strings`).
fn literal(text: &str) -> String {
    format!("'{}'", text.replace('\'', "''"))
}

/// A cell in the text form of `COPY`.
fn copied(cell: &Cell, column: &Column, replaced: &mut usize) -> String {
    match cell {
        Cell::None => "\\N".to_string(),
        Cell::Number(number) => number.to_string(),
        Cell::Whole(number) => number.to_string(),
        Cell::Truth(truth) => if *truth { "t" } else { "f" }.to_string(),
        // PostgreSQL has no year 0: it is 1 BC there.
        Cell::Text(day) if column.kind == Type::Day && day.starts_with("0000") => {
            day.replacen("0000", "0001", 1) + " BC"
        }
        Cell::Text(text) => {
            let mut safe = String::with_capacity(text.len());
            for c in text.chars() {
                match c {
                    '\\' => safe.push_str("\\\\"),
                    '\n' => safe.push_str("\\n"),
                    '\r' => safe.push_str("\\r"),
                    '\t' => safe.push_str("\\t"),
                    '\0' => {
                        *replaced += 1;
                        safe.push('\u{fffd}');
                    }
                    other => safe.push(other),
                }
            }
            safe
        }
    }
}

/// Returns whether a file begins as such a script does.
pub fn is_export(bytes: &[u8]) -> bool {
    bytes.starts_with(BEGIN.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_schemas_are_what_postgresql_takes() {
        let of = |programme: &str| Schema::of(programme).0;
        assert_eq!(of("Sanderling (invented)"), "sanderling_invented");
        assert_eq!(of("Möwe 2"), "möwe_2");
        assert_eq!(of("2 seats"), "programme_2_seats");
        assert_eq!(of("PG_one"), "programme_pg_one");
        assert_eq!(of("'; --"), "programme");
        for programme in ["ö".repeat(40), "a".repeat(200), "鳥".repeat(30), "İ".repeat(60)] {
            let name = of(&programme);
            assert!(name.len() <= LONGEST && Schema::named(&name).is_ok(), "{name}");
        }
        assert_eq!(Schema::named(""), Err(SchemaError::Empty));
        assert!(matches!(Schema::named("a\nb"), Err(SchemaError::Control(_))));
        assert!(matches!(Schema::named("pg_mine"), Err(SchemaError::Reserved(_))));
        assert!(matches!(Schema::named(&"ö".repeat(32)), Err(SchemaError::Long(_))));
        assert_eq!(Schema::named("a\"; b").map(|own| identifier(own.name())), Ok("\"a\"\"; b\"".to_string()));
    }

    #[test]
    fn names_of_constraints_are_not_cut_off() {
        for table in TABLES {
            assert_ne!(table.name, ORIGIN);
            for column in table.columns {
                assert!(foreign(table, column).len() <= LONGEST + 2, "{}.{}", table.name, column.name);
                assert!(column.key().len() <= LONGEST);
            }
        }
    }

    #[test]
    fn cells_are_data() {
        let mut replaced = 0;
        let text = |kind| Column { kind, ..TABLES[0].columns[0] };
        let mut of = |cell: Cell| copied(&cell, &text(Type::Text), &mut replaced);
        assert_eq!(of(Cell::Text("\\.\n\\N\tit's\r\"\0".into())), "\\\\.\\n\\\\N\\tit's\\r\"\u{fffd}");
        assert_eq!(of(Cell::None), "\\N");
        assert_eq!(of(Cell::Number(1e-7)), "0.0000001");
        assert_eq!(copied(&Cell::Text("0000-02-29".into()), &text(Type::Day), &mut 0), "0001-02-29 BC");
        assert_eq!(replaced, 1);
    }
}
