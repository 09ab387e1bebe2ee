//! Faults as JSON, and the line that sums them up.

use crate::record::{Fault, Level};
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// Returns the list of faults.
pub fn json(faults: &[Fault]) -> Value {
    faults
        .iter()
        .map(|fault| {
            json!({
                "rule": fault.rule,
                "level": fault.level.word(),
                "file": fault.place.file,
                "line": fault.place.line,
                "column": fault.place.column,
                "message": fault.message,
                "help": fault.help,
            })
        })
        .collect()
}

/// Returns the document of `check`.
pub fn document(faults: &[Fault]) -> Value {
    json!({ "schema": "check/1", "faults": json(faults) })
}

/// Returns the last line: how many faults of each level, in how many files.
pub fn summary(faults: &[Fault], of: &str) -> String {
    let count = |level: Level| faults.iter().filter(|fault| fault.level == level).count();
    let (errors, warnings) = (count(Level::Error), count(Level::Warning));
    if errors + warnings == 0 {
        return format!("no fault in the {of}");
    }
    let files: BTreeSet<&str> = faults
        .iter()
        .filter(|fault| fault.level > Level::Note)
        .map(|fault| fault.place.file.as_str())
        .collect();
    let plural = |n: usize, word: &str| if n == 1 { format!("1 {word}") } else { format!("{n} {word}s") };
    let mut parts = Vec::new();
    if errors > 0 {
        parts.push(plural(errors, "error"));
    }
    if warnings > 0 {
        parts.push(plural(warnings, "warning"));
    }
    format!("{} in {} of the {of}", parts.join(", "), plural(files.len(), "file"))
}
