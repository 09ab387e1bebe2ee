//! The tables in which a ledger leaves for other tools: one list of tables and columns, five forms.
//!
//! Everything here shows what other rooms found. `schema/export.md` is written from [`TABLES`]; so are the headers
//! of CSV and XLSX, the keys of JSON and the columns of SQLite and
//! PostgreSQL.

mod contents;
pub mod csv;
mod document;
mod engineering;
pub mod json;
mod list;
pub mod postgres;
mod proof;
mod shop;
pub mod sqlite;
pub mod xlsx;

pub use contents::{Contents, Source, contents};
pub use document::{markdown, schema};
pub use list::TABLES;

/// Number of the form of the tables: raised when a column changes its meaning or goes, not when one is added.
pub const FORM: u32 = 1;

/// What a cell of a column may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Type {
    /// Words.
    Text,
    /// A number.
    Number,
    /// A whole number.
    Whole,
    /// Yes or no.
    Truth,
    /// A day, year-month-day.
    Day,
}

impl Type {
    /// Returns the word for it.
    pub fn word(self) -> &'static str {
        match self {
            Type::Text => "text",
            Type::Number => "number",
            Type::Whole => "whole number",
            Type::Truth => "yes or no",
            Type::Day => "day",
        }
    }
}

/// How a column follows from others, where a spreadsheet can work it out again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Follows {
    /// Two columns of the row multiplied.
    Product(&'static str, &'static str),
    /// The first column of the row less the second.
    Difference(&'static str, &'static str),
    /// The totals of columns of other tables: table and column.
    Totals(&'static [(&'static str, &'static str)]),
}

/// One column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// Its name without the unit.
    pub name: &'static str,
    /// The unit of its numbers; empty where they have none.
    pub unit: &'static str,
    /// What its cells are.
    pub kind: Type,
    /// What it means.
    pub meaning: &'static str,
    /// Whether every row has it.
    pub always: bool,
    /// The table whose key it names.
    pub names: Option<&'static str>,
    /// How it follows from others.
    pub follows: Option<Follows>,
    /// Whether its sum over all rows means something.
    pub total: bool,
}

impl Column {
    /// Returns the name with its unit, for programs: `mass_kg`, `areal_g_m2`.
    pub fn key(&self) -> String {
        match self.unit {
            "" => self.name.to_string(),
            "%" => format!("{}_percent", self.name),
            unit => format!("{}_{}", self.name, unit.replace('/', "_")),
        }
    }

    /// Returns the name with its unit, for people: `mass [kg]`.
    pub fn heading(&self) -> String {
        let words = self.name.replace('_', " ");
        if self.unit.is_empty() { words } else { format!("{words} [{}]", self.unit) }
    }
}

/// One table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Table {
    /// Its name.
    pub name: &'static str,
    /// What a row is.
    pub meaning: &'static str,
    /// The columns that tell its rows apart.
    pub key: &'static [&'static str],
    /// Its columns.
    pub columns: &'static [Column],
}

impl Table {
    /// Returns the place of a column, by its name.
    pub fn place(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|own| own.name == column)
    }
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing is known or nothing applies.
    None,
    /// Words; of a column of days a day.
    Text(String),
    /// A finite number.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// Yes or no.
    Truth(bool),
}

impl Cell {
    pub(crate) fn text(text: impl Into<String>) -> Self {
        let text = text.into();
        if text.is_empty() { Cell::None } else { Cell::Text(text) }
    }

    pub(crate) fn maybe<T: ToString>(value: Option<T>) -> Self {
        value.map_or(Cell::None, |value| Cell::text(value.to_string()))
    }

    pub(crate) fn number(value: impl Into<Option<f64>>) -> Self {
        value.into().filter(|value| value.is_finite()).map_or(Cell::None, Cell::Number)
    }

    pub(crate) fn whole(value: impl TryInto<i64>) -> Self {
        value.try_into().map_or(Cell::None, Cell::Whole)
    }

    /// Returns the number, whole or not.
    pub fn as_number(&self) -> Option<f64> {
        match self {
            Cell::Number(value) => Some(*value),
            Cell::Whole(value) => Some(*value as f64),
            _ => None,
        }
    }
}

/// Why an export can't be written.
#[derive(Debug, thiserror::Error)]
#[error("`{path}` can't be written: {why}")]
pub struct ExportError {
    /// The file.
    pub path: String,
    /// What refused, in words.
    pub why: String,
}

impl ExportError {
    pub(crate) fn new(path: &std::path::Path, why: impl ToString) -> Self {
        Self { path: path.display().to_string(), why: why.to_string() }
    }
}

#[cfg(test)]
mod tests;
