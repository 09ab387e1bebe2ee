//! Showings by subjects: what is asked of each, with its verdict as a word and a shape.

use super::Site;
use super::tables::Page;
use crate::article::Subject;
use crate::qualify::verdict::{Duty, Verdict};
use crate::report::page::count;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Cells of a page: more would make it heavy.
const CELLS: usize = 1_400;

/// Duties of one kind of subject, by subject and showing.
type Rows<'a> = BTreeMap<&'a Subject, BTreeMap<&'a str, &'a Duty>>;

/// Returns the kinds of subject that anything is asked of, each with the number of its pages.
pub(super) fn pages(site: &super::Inputs<'_>) -> Vec<(&'static str, usize)> {
    let mut kinds: BTreeMap<&'static str, (BTreeSet<&Subject>, BTreeSet<&str>)> = BTreeMap::new();
    for (showing, subject) in site.evaluation.duties.keys() {
        let own = kinds.entry(subject.kind().word()).or_default();
        own.0.insert(subject);
        own.1.insert(showing);
    }
    let number = |(subjects, showings): (BTreeSet<&Subject>, BTreeSet<&str>)| {
        subjects.len().div_ceil(rows_of_a_page(showings.len()))
    };
    kinds.into_iter().map(|(kind, own)| (kind, number(own))).collect()
}

fn rows_of_a_page(columns: usize) -> usize {
    (CELLS / columns.max(1)).max(1)
}

/// Returns template, title and context of one page of one kind.
pub(super) fn context(site: &Site<'_>, kind: &'static str, page: usize) -> (&'static str, String, Page) {
    let mut rows: Rows<'_> = BTreeMap::new();
    let mut columns: BTreeSet<&str> = BTreeSet::new();
    for ((showing, subject), duty) in &site.inputs.evaluation.duties {
        if subject.kind().word() == kind {
            columns.insert(showing);
            rows.entry(subject).or_default().insert(showing, duty);
        }
    }
    let (all, of) = (rows.len(), rows_of_a_page(columns.len()));
    let shown: Vec<(&Subject, &BTreeMap<&str, &Duty>)> =
        rows.iter().skip(page * of).take(of).map(|(subject, own)| (*subject, own)).collect();
    let cells = |own: &BTreeMap<&str, &Duty>| -> Vec<Value> {
        let cell = |showing: &&str| match own.get(*showing) {
            Some(duty) => json!({ "word": duty.verdict().word(), "asks": duty.asks().word() }),
            None => Value::Null,
        };
        columns.iter().map(cell).collect()
    };
    let body: Vec<Value> = shown
        .iter()
        .map(|(subject, own)| {
            let words: BTreeSet<&str> = own.values().map(|duty| duty.verdict().word()).collect();
            json!({
                "subject": subject.to_string(),
                "cells": cells(own),
                "verdicts": words.into_iter().collect::<Vec<_>>().join(" "),
            })
        })
        .collect();
    let pages: Vec<Value> = (0..all.div_ceil(of))
        .map(|at| json!({ "file": file(kind, at), "number": at + 1, "here": at == page }))
        .collect();
    let duties: usize = rows.values().map(BTreeMap::len).sum();
    let mut context = Map::new();
    let mut put = |name: &str, value: Value| context.insert(name.to_string(), value);
    put(
        "opening",
        json!(format!(
            "{} asked of {} of kind {kind}, {} in all.",
            count(columns.len(), "showing"),
            count(all, "subject"),
            count(duties, "duty")
        )),
    );
    put("columns", json!(columns));
    put("rows", Value::Array(body));
    put("pages", Value::Array(pages));
    put(
        "sieves",
        json!([{ "name": "verdicts", "label": "Verdict", "words": Verdict::ALL.map(Verdict::word) }]),
    );
    let kinds =
        site.matrix.iter().map(|(own, _)| json!({ "kind": own, "file": file(own, 0), "here": *own == kind }));
    put("kinds", kinds.collect());
    ("matrix.html", format!("What is asked of each {kind}"), context.into())
}

/// Returns the path of a page.
pub(super) fn file(kind: &str, page: usize) -> String {
    match page {
        0 => format!("matrix/{kind}.html"),
        n => format!("matrix/{kind}-{}.html", n + 1),
    }
}
