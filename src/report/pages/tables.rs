//! Tables as pages show them: cells that are words, figures, verdicts, or lead to the page of a record.

use super::svg::cut;
use serde_json::{Map, Value, json};

/// Letters of what people wrote that a cell of a list shows.
const WORDS: f64 = 900.0;

/// Letters of a word that is not broken.
const LONGEST: usize = 22;

/// One cell, as the templates take it: what it is under `t`, the rest beside.
pub(super) type Cell = Value;

/// Words; what somebody wrote may run from right to left.
pub(super) fn text(words: impl AsRef<str>) -> Cell {
    let words = words.as_ref();
    // Only a word that is longer than any of the trade is broken, so that columns stay readable.
    let whole = words.split_whitespace().all(|one| one.chars().count() <= LONGEST);
    json!({ "t": "text", "v": words, "whole": whole })
}

/// Words that are cut where they are long.
pub(super) fn short(words: Option<&str>) -> Cell {
    text(cut(words.unwrap_or_default(), WORDS))
}

/// A figure; its column is set to the right.
pub(super) fn number(words: impl AsRef<str>) -> Cell {
    json!({ "t": "number", "v": words.as_ref() })
}

/// A record by its name.
pub(super) fn record(kind: &str, id: &str) -> Cell {
    json!({ "t": "ref", "kind": kind, "id": id })
}

/// Records of one kind.
pub(super) fn records<S: AsRef<str>>(kind: &str, ids: &[S], most: usize) -> Cell {
    let ids: Vec<&str> = ids.iter().map(AsRef::as_ref).collect();
    json!({ "t": "refs", "kind": kind, "ids": ids, "most": most })
}

/// A verdict with its shape.
pub(super) fn verdict(word: &str) -> Cell {
    json!({ "t": "verdict", "v": word })
}

/// Verdicts with how many duties have each.
pub(super) fn verdicts(counts: &[(&'static str, usize)]) -> Cell {
    let all: Vec<Value> = counts.iter().map(|(word, n)| json!({ "word": word, "n": n })).collect();
    json!({ "t": "verdicts", "v": all })
}

/// A subject, leading to the record that it is about.
pub(super) fn subject(words: &str) -> Cell {
    json!({ "t": "subject", "v": words })
}

/// A duty: the showing, on its subject.
pub(super) fn duty(showing: &str, subject: &str) -> Cell {
    json!({ "t": "duty", "showing": showing, "subject": subject, "at": anchor(subject) })
}

/// What a subject's place on the page of its showing is called.
pub(super) fn anchor(subject: &str) -> String {
    let plain = |one: char| if one.is_ascii_alphanumeric() || one == '-' { one } else { '.' };
    format!("on-{}", subject.chars().map(plain).collect::<String>())
}

/// A row, with what a filter asks of it and what links lead to it by.
#[derive(Debug, Clone, Default)]
pub(super) struct Row {
    /// Its cells.
    pub cells: Vec<Cell>,
    /// Its anchor.
    pub id: Option<String>,
    /// Words by the name of the filter that asks for them.
    pub data: Vec<(&'static str, String)>,
}

impl From<Vec<Cell>> for Row {
    fn from(cells: Vec<Cell>) -> Self {
        Self { cells, ..Self::default() }
    }
}

/// A table.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    /// What it is called.
    pub name: String,
    /// Columns: name, and whether figures stand in it.
    pub columns: Vec<(&'static str, bool)>,
    /// Rows.
    pub rows: Vec<Row>,
    /// What stands below it.
    pub note: Option<String>,
}

impl Grid {
    /// Returns an empty table.
    pub fn new(name: impl Into<String>, columns: Vec<(&'static str, bool)>) -> Self {
        Self { name: name.into(), columns, rows: Vec::new(), note: None }
    }

    /// Adds a row.
    pub fn row(&mut self, row: impl Into<Row>) {
        self.rows.push(row.into());
    }

    /// Cuts it to so many rows, and says below where the rest is.
    pub fn at_most(mut self, most: usize, rest: &str) -> Self {
        if self.rows.len() > most {
            let left = self.rows.len() - most;
            self.rows.truncate(most);
            self.note = Some(format!("{left} more rows: {rest}"));
        }
        self
    }

    /// Returns what a template draws it from; null where it has no row.
    pub fn json(&self) -> Value {
        if self.rows.is_empty() {
            return Value::Null;
        }
        let columns: Vec<Value> =
            self.columns.iter().map(|(name, number)| json!({ "name": name, "number": number })).collect();
        let row = |row: &Row| {
            let data: Vec<Value> = row.data.iter().map(|(name, words)| json!([name, words])).collect();
            json!({ "id": row.id, "data": data, "cells": row.cells })
        };
        let rows: Vec<Value> = self.rows.iter().map(row).collect();
        json!({ "name": self.name, "columns": columns, "rows": rows, "note": self.note })
    }
}

/// Facts in a list: a name, and what it is.
#[derive(Debug, Clone, Default)]
pub(super) struct Facts(Vec<(&'static str, Cell)>);

impl Facts {
    /// Adds a fact.
    pub fn add(&mut self, name: &'static str, cell: Cell) {
        self.0.push((name, cell));
    }

    /// Adds what was written, where something was.
    pub fn written(&mut self, name: &'static str, words: Option<impl AsRef<str>>) {
        if let Some(words) = words.filter(|own| !own.as_ref().trim().is_empty()) {
            self.add(name, text(words));
        }
    }

    /// Returns what a template lists.
    pub fn json(&self) -> Value {
        self.0.iter().map(|(name, cell)| json!({ "name": name, "cell": cell })).collect()
    }
}

/// The context of a page.
#[derive(Debug, Default)]
pub(super) struct Page(Map<String, Value>);

impl Page {
    /// Puts a value.
    pub fn put(&mut self, name: &str, value: Value) {
        self.0.insert(name.to_string(), value);
    }

    /// Returns it.
    pub fn done(self) -> Map<String, Value> {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_is_cut_says_so() {
        let mut grid = Grid::new("t", vec![("a", false)]);
        for at in 0..5 {
            grid.row(vec![text(at.to_string())]);
        }
        let own = grid.at_most(2, "elsewhere").json();
        assert_eq!(own["rows"].as_array().unwrap().len(), 2);
        assert_eq!(own["note"], "3 more rows: elsewhere");
        assert!(Grid::new("t", Vec::new()).json().is_null());
    }

    #[test]
    fn anchors_have_no_letter_that_a_link_would_change() {
        assert_eq!(anchor("lamina/cw-200@oven 3"), "on-lamina.cw-200.oven.3");
    }
}
