//! Mass and verdicts through the commits; what became of predictions.

use super::decision::{calibration_json, calibration_text, held_json, signed};
use super::page::{Frame, Page, count, shown};
use super::table::{Align, Table, wrap};
use crate::change::diff::Change;
use crate::change::found::{Calibration, Held};
use crate::record::Day;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The state after one commit.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The commit.
    pub commit: String,
    /// Its day.
    pub on: Day,
    /// The first line of its message.
    pub summary: String,
    /// The programme's mass, kg; `None` where it could not be worked out.
    pub kg: Option<f64>,
    /// The same less that before, kg.
    pub delta_kg: Option<f64>,
    /// Duties by verdict; `None` where they could not be judged.
    pub counts: Option<BTreeMap<&'static str, usize>>,
    /// Decisions that it carries out.
    pub decisions: Vec<String>,
    /// Records that can't be used.
    pub broken: usize,
}

/// A commit as it is named above what it did.
#[derive(Debug, Clone, PartialEq)]
pub struct Made {
    /// The commit.
    pub commit: String,
    /// Its day.
    pub on: Day,
    /// The first line of its message.
    pub summary: String,
    /// Decisions that it carries out.
    pub decisions: Vec<String>,
}

impl Made {
    /// Puts the line that stands above what it did.
    pub(super) fn head(&self, page: &mut Page<'_>) {
        let commit: String = self.commit.chars().take(7).collect();
        let decisions = match self.decisions.as_slice() {
            [] => String::new(),
            all => format!("[{}] ", all.join(", ")),
        };
        page.gap();
        let first = format!("{}  {commit}  ", self.on);
        page.hang(&first, "    ", &format!("{decisions}{}", shown(&self.summary)));
    }

    /// Returns its keys with further ones behind them.
    pub fn json(&self, more: impl IntoIterator<Item = (&'static str, Value)>) -> Value {
        let own = [
            ("commit", json!(self.commit)),
            ("on", json!(self.on.to_string())),
            ("summary", json!(self.summary)),
            ("decisions", json!(self.decisions)),
        ];
        own.into_iter().chain(more).map(|(key, value)| (key.to_string(), value)).collect()
    }
}

/// Returns the changes of a commit for programs.
pub fn changes_json(changes: &[Change]) -> Value {
    let one = |change: &Change| {
        json!({
            "address": change.address,
            "attribute": change.attribute,
            "was": change.was,
            "is": change.is,
        })
    };
    changes.iter().map(one).collect()
}

/// One commit that changed a record.
#[derive(Debug, Clone, PartialEq)]
pub struct Edited {
    /// The commit.
    pub made: Made,
    /// What it changed.
    pub changes: Vec<Change>,
}

const NOTE: &str =
    "Every state is judged as of today; the verdicts of a day long past may have been others then.";

/// Returns the history as a document of schema `history/1`, the newest commit first.
pub fn json(steps: &[Step], left: usize, calibration: &Calibration) -> Value {
    let steps: Vec<Value> = steps
        .iter()
        .map(|step| {
            json!({
                "commit": step.commit,
                "on": step.on.to_string(),
                "summary": step.summary,
                "kg": step.kg,
                "delta_kg": step.delta_kg,
                "counts": step.counts,
                "decisions": step.decisions,
                "broken": step.broken,
            })
        })
        .collect();
    json!({ "schema": "history/1", "commits": steps, "left_out": left, "predictions": calibration_json(calibration) })
}

/// Returns the history for people.
pub fn text(steps: &[Step], left: usize, calibration: &Calibration, frame: &Frame) -> String {
    let mut table = Table::new([
        ("Day", Align::Left),
        ("Commit", Align::Left),
        ("kg", Align::Right),
        ("by", Align::Right),
        ("Met", Align::Right),
        ("Not met", Align::Right),
        ("What", Align::Left),
    ]);
    for step in steps {
        let counts = step.counts.as_ref();
        let met = counts.map(|counts| counts.get("met").copied().unwrap_or(0));
        let all = counts.map(|counts| counts.values().sum::<usize>());
        let number = |n: Option<usize>| n.map_or_else(|| "-".to_string(), |n| n.to_string());
        let what = match step.decisions.as_slice() {
            [] => shown(&step.summary),
            decisions => format!("[{}] {}", decisions.join(", "), shown(&step.summary)),
        };
        table.row([
            step.on.to_string(),
            step.commit.chars().take(7).collect(),
            step.kg.map_or_else(|| "-".to_string(), |kg| format!("{kg:.3}")),
            match step.delta_kg {
                Some(delta) if delta.abs() >= 0.0005 => signed(delta),
                Some(_) => String::new(),
                None => "-".to_string(),
            },
            number(met),
            number(all.zip(met).map(|(all, met)| all - met)),
            what,
        ]);
    }
    let mut text = table.render(frame.columns());
    if left > 0 {
        text.push_str(&format!("and {} before; --all shows them\n", count(left, "commit")));
    }
    text.push_str(&wrap(NOTE, frame.columns()));
    text.push_str(&format!("\n{}\n", frame.style.heading("Predictions")));
    text.push_str(&calibration_text(calibration, frame));
    text
}

/// Returns the commits that changed a record as a document of schema `history-of/1`.
pub fn record_json(address: &str, rows: &[Edited], left: usize, outcome: Option<&Held>) -> Value {
    let rows: Vec<Value> =
        rows.iter().map(|row| row.made.json([("changes", changes_json(&row.changes))])).collect();
    json!({
        "schema": "history-of/1",
        "address": address,
        "commits": rows,
        "left_out": left,
        "outcome": outcome.map(held_json),
    })
}

/// Returns them for people.
pub fn record_text(address: &str, rows: &[Edited], left: usize, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.heading(address);
    for row in rows {
        row.made.head(&mut page);
        let most = frame.shown(row.changes.len(), 12);
        for change in row.changes.iter().take(most) {
            let of = |value: &Option<String>| value.as_deref().map_or_else(|| "nothing".to_string(), shown);
            let place = change.address.split_once('#').map_or("the record", |(_, route)| route);
            let words = match (&change.was, &change.is) {
                (None, Some(_)) if change.attribute.is_empty() => "the record is new".to_string(),
                (Some(_), None) if change.attribute.is_empty() => "the record goes".to_string(),
                _ => format!("{}: {} -> {}", shown(place), of(&change.was), of(&change.is)),
            };
            page.hang("  ", "    ", &words);
        }
        if row.changes.is_empty() {
            page.hang("  ", "    ", "nothing that counts: its text alone, or its name");
        }
        if row.changes.len() > most {
            page.hang("  ", "    ", &format!("and {} more", row.changes.len() - most));
        }
    }
    if left > 0 {
        page.gap();
        page.paragraph(&format!("and {} before; --all shows them", count(left, "commit")));
    }
    page.finish()
}
