//! A row of the built-in table: what a difference asks of a kind of showing, and who says so.

use super::head::CAUTION_LINE;
use super::page::{Frame, Page};
use crate::qualify::judge::step_words;
use crate::qualify::table::{KindRow, Table};
use serde_json::{Value, json};

/// Returns a row as a document of schema `why/1`.
pub fn json(table: &Table, kind: &str, row: &KindRow) -> Value {
    let cells: Vec<Value> = row
        .cells
        .iter()
        .map(|(key, cell)| {
            json!({
                "attribute": key,
                "level": cell.level.to_string(),
                "window": cell.window,
                "steps": cell.steps.iter().map(step_words).collect::<Vec<_>>(),
                "source": cell.source,
                "note": cell.note,
            })
        })
        .collect();
    json!({
        "schema": "why/1",
        "table": { "number": table.number, "digest": table.digest },
        "kind": kind,
        "subject": row.subject,
        "also": row.also,
        "only_where": row.only_where,
        "own": row.own,
        "context": row.context,
        "computed": row.live,
        "cells": cells,
        "caution": CAUTION_LINE,
    })
}

/// Returns a row as text.
pub fn text(table: &Table, kind: &str, row: &KindRow, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.heading(kind);
    let also = if row.also.is_empty() {
        String::new()
    } else {
        format!("; by `subject:` also for a {}", row.also.join(", "))
    };
    let subject = if row.subject == "painted" { "painted laminate" } else { row.subject.as_str() };
    page.paragraph(&format!("Shown for each {subject}{also}, {}.", row.only_where.words()));
    if row.live {
        page.paragraph("Computed anew each time: no difference is compared.");
    }
    if row.whole {
        page.paragraph("Evidence of another subject counts only where every own attribute is equal.");
    }
    page.paragraph(&format!("Compared in: {}.", row.own.join(", ")));
    if !row.context.is_empty() {
        let asked: Vec<&str> = row.context.iter().map(|context| context.words()).collect();
        page.paragraph(&format!("Asked by the panels that use it: {}.", asked.join("; ")));
    }
    if row.cells.is_empty() && !row.live {
        page.paragraph("No cell: a difference of its own asks nothing.");
    }
    for (key, cell) in &row.cells {
        page.gap();
        match cell.steps.as_slice() {
            [only] if only.is_unconditional() => page.hang("", "  ", &format!("{key}: asks {}", only.asks)),
            steps => {
                page.hang("", "  ", &format!("{key}:"));
                for step in steps {
                    page.hang("  - ", "    ", &step_words(step));
                }
            }
        }
        let named = cell.window.as_ref().and_then(|name| Some((name, table.windows.get(name)?)));
        if let Some((name, window)) = named {
            page.hang("  ", "    ", &format!("{name}: {} ({})", window.rule, window.source));
        }
        page.hang("  ", "    ", &format!("source: {}", cell.source));
        if let Some(note) = &cell.note {
            page.hang("  ", "    ", &format!("note: {note}"));
        }
    }
    let without: Vec<&str> = row
        .own
        .iter()
        .map(String::as_str)
        .filter(|facet| !row.cells.keys().any(|key| key.split('.').next() == Some(facet)))
        .collect();
    if !without.is_empty() && !row.cells.is_empty() {
        page.gap();
        page.paragraph(&format!("No rule asks for: {}.", without.join(", ")));
    }
    page.gap();
    page.paragraph(&format!("Table {} ({}).", table.number, table.short_digest()));
    page.finish_with_caution()
}
