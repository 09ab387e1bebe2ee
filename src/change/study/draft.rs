//! A row of a study as a draft of a decision.

use super::rank::Ranked;
use crate::ledger::Ledger;
use crate::record::edit::block_lines;
use crate::record::{Change, Day, Free};
use serde_yaml::{Mapping, Value};

/// A draft that is to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// The decision's id.
    pub id: String,
    /// Its file, relative to the ledger's root.
    pub file: String,
    /// What stands in it.
    pub text: String,
}

/// Returns the number of a new decision: one more than the highest in the ledger.
pub fn next_number(ledger: &Ledger) -> u32 {
    let own = ledger.decisions.keys().map(String::as_str);
    let broken = ledger.broken.iter().filter(|one| one.kind() == crate::record::RecordKind::Decision);
    let numbers = own.chain(broken.map(|one| one.id())).filter_map(|id| {
        let digits = id.strip_prefix("dd-")?.split('-').next()?;
        digits.parse::<u32>().ok()
    });
    numbers.max().unwrap_or(0) + 1
}

/// Writes a row as a draft; `study` is the study's id, `title` what people call it.
pub fn draft(ledger: &Ledger, study: &str, title: Option<&str>, row: &Ranked, today: Day) -> Draft {
    let id = format!("dd-{:03}-{study}-row-{}", next_number(ledger), row.number);
    let mut all = Mapping::new();
    let mut put = |key: &str, value: Value| {
        all.insert(Value::from(key), value);
    };
    let first = row.words.first().map_or(study, String::as_str);
    let rest = match row.words.len() {
        0 | 1 => String::new(),
        many => format!(", and {} more", many - 1),
    };
    put("title", Value::from(format!("{first}{rest}")));
    put("status", Value::from("draft"));
    put("raised", Value::from(today.to_string()));
    let weeks = match row.grams_per_week {
        Some(_) => format!("{:.1} weeks and {} specimens of tests", row.row.weeks, row.row.specimens),
        None => "no test".to_string(),
    };
    let why = format!(
        "Row {} of study/{study}{}: {}. Saves {:.0} g for {weeks}.",
        row.number,
        title.map_or(String::new(), |title| format!(" ({title})")),
        row.words.join("; "),
        -row.row.delta * 1e3
    );
    put("why", Value::from(why));
    put("changes", Value::Sequence(row.changes.iter().map(change).collect()));
    let lines = block_lines(&Value::Mapping(all)).unwrap_or_default();
    let text = lines.iter().fold(String::new(), |text, line| text + line + "\n");
    Draft { file: format!("decisions/{id}.yaml"), id, text }
}

/// One change, its keys in the order that people write them.
fn change(change: &Change) -> Value {
    let mut all = Mapping::new();
    let text = |text: &Option<String>| text.as_ref().map(|text| Value::from(text.as_str()));
    let free = |own: &Option<Free>| own.as_ref().map(|own| own.0.clone());
    let keys = [
        ("set", text(&change.set)),
        ("remove", text(&change.remove)),
        ("was", free(&change.was)),
        ("to", free(&change.to)),
    ];
    for (key, value) in keys {
        if let Some(value) = value {
            all.insert(Value::from(key), value);
        }
    }
    Value::Mapping(all)
}
