//! Faults of the records as JSON, and the line that sums them up.

use super::page::count;
use crate::record::{Fault, Level};
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// Returns the faults as a document of schema `check/1`, sorted by place and rule.
pub fn json(faults: &[Fault]) -> Value {
    let mut sorted: Vec<&Fault> = faults.iter().collect();
    sorted.sort_by(|one, two| {
        (&one.place.file, one.place.line, one.place.column, one.rule, &one.message).cmp(&(
            &two.place.file,
            two.place.line,
            two.place.column,
            two.rule,
            &two.message,
        ))
    });
    let one = |fault: &&Fault| {
        json!({
            "rule": fault.rule,
            "level": fault.level.word(),
            "file": fault.place.file,
            "line": fault.place.line,
            "column": fault.place.column,
            "message": fault.message,
            "help": fault.help,
        })
    };
    json!({ "schema": "check/1", "faults": sorted.iter().map(one).collect::<Vec<_>>() })
}

/// Returns faults that are rendered already, a blank line between two, and the summary below them.
pub fn text(rendered: &[String], faults: &[Fault]) -> String {
    let mut out = String::new();
    for one in rendered {
        out.push_str(one.trim_end());
        out.push_str("\n\n");
    }
    out.push_str(&text_summary(faults));
    out.push('\n');
    out
}

/// Returns how many faults there are, such as `3 errors, 1 warning in 2 files`.
pub fn text_summary(faults: &[Fault]) -> String {
    let parts: Vec<String> = [Level::Error, Level::Warning, Level::Note]
        .into_iter()
        .filter_map(|level| {
            let n = faults.iter().filter(|fault| fault.level == level).count();
            (n > 0).then(|| count(n, level.word()))
        })
        .collect();
    if parts.is_empty() {
        return "no faults".to_string();
    }
    let files: BTreeSet<&str> = faults.iter().map(|fault| fault.place.file.as_str()).collect();
    format!("{} in {}", parts.join(", "), count(files.len(), "file"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Place;

    fn faults() -> Vec<Fault> {
        let at = |file: &str, line| Place { line: Some(line), column: Some(3), ..Place::file(file) };
        vec![
            Fault::error("unknown-reference", at("recipes/b.yaml", 9), "no material is called `x`")
                .help("did you mean `y`?"),
            Fault::error("no-unit", at("recipes/a.yaml", 10), "`5` has no unit"),
            Fault::warning("folder", Place::file("recipes/a.yaml"), "not a kind folder"),
            Fault::error("no-unit", at("recipes/a.yaml", 2), "`5` has no unit"),
        ]
    }

    #[test]
    fn the_document_has_the_keys_that_are_held_to() {
        let got = json(&faults());
        let keys: Vec<&str> = got.as_object().unwrap().keys().map(String::as_str).collect();
        assert_eq!(keys, ["schema", "faults"]);
        assert_eq!(got["schema"], "check/1");
        let list = got["faults"].as_array().unwrap();
        let keys: Vec<&str> = list[0].as_object().unwrap().keys().map(String::as_str).collect();
        assert_eq!(keys, ["rule", "level", "file", "line", "column", "message", "help"]);
        let lines: Vec<Option<u64>> = list.iter().map(|one| one["line"].as_u64()).collect();
        assert_eq!(lines, [None, Some(2), Some(10), Some(9)]);
        assert_eq!((&list[0]["level"], &list[3]["help"]), (&json!("warning"), &json!("did you mean `y`?")));
    }

    #[test]
    fn the_summary_counts_by_level_and_file() {
        assert_eq!(text_summary(&faults()), "3 errors, 1 warning in 2 files");
        assert_eq!(text_summary(&faults()[..1]), "1 error in 1 file");
        assert_eq!(text_summary(&[]), "no faults");
        let got = text(&["error: one\n".into()], &faults()[..1]);
        assert_eq!(got, "error: one\n\n1 error in 1 file\n");
    }
}
