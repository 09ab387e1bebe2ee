//! What the gate found, as JSON and as text.

use super::page::{Frame, Page, count};
use serde_json::{Value, json};

/// One finding of the gate, ready to be shown.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct FindingView {
    /// File relative to the ledger's root; `None` where it belongs to no file.
    pub file: Option<String>,
    /// Line from 1.
    pub line: Option<usize>,
    /// The rule, such as `unqualified-recipe`.
    pub rule: String,
    /// `block` or `warn`.
    pub level: String,
    /// The panel that it is about.
    pub panel: Option<String>,
    /// The fact, no full stop.
    pub message: String,
    /// What to do about it.
    pub help: Option<String>,
}

/// Returns the findings as a document of schema `hook-run/1`, sorted by place, rule and panel.
pub fn json(blocked: bool, findings: &[FindingView]) -> Value {
    let mut sorted: Vec<&FindingView> = findings.iter().collect();
    sorted.sort();
    let one = |finding: &&FindingView| {
        json!({
            "rule": finding.rule,
            "level": finding.level,
            "file": finding.file,
            "line": finding.line,
            "panel": finding.panel,
            "message": finding.message,
            "help": finding.help,
        })
    };
    json!({
        "schema": "hook-run/1",
        "blocked": blocked,
        "findings": sorted.iter().map(one).collect::<Vec<_>>(),
    })
}

/// Returns the findings as text: those that block first, then the answer.
pub fn text(blocked: bool, findings: &[FindingView], frame: &Frame) -> String {
    let mut page = Page::new(frame);
    let mut sorted: Vec<&FindingView> = findings.iter().collect();
    sorted.sort_by(|one, two| (one.level != "block", one).cmp(&(two.level != "block", two)));
    for finding in &sorted {
        let (mark, word) = if finding.level == "block" { ("✕", "blocks") } else { ("◇", "warns") };
        let named = |panel: &&String| !finding.message.contains(&format!("`{panel}`"));
        let panel = finding.panel.as_ref().filter(named);
        let panel = panel.map_or_else(String::new, |panel| format!("panel/{panel}: "));
        page.hang(
            &format!("{mark} {word} "),
            "    ",
            &format!("[{}] {panel}{}", finding.rule, finding.message),
        );
        if let Some(file) = &finding.file {
            let line = finding.line.map_or_else(String::new, |line| format!(":{line}"));
            page.hang("    at ", "       ", &format!("{}{line}", super::page::shown(file)));
        }
        if let Some(help) = &finding.help {
            page.hang("    help: ", "          ", help);
        }
    }
    if !sorted.is_empty() {
        page.gap();
    }
    let blocks = sorted.iter().filter(|finding| finding.level == "block").count();
    let warns = sorted.len() - blocks;
    let verb = |n: usize, one: &str, many: &str| if n == 1 { one.to_string() } else { many.to_string() };
    let sum = format!(
        "{} {}, {} {}",
        count(blocks, "finding"),
        verb(blocks, "blocks", "block"),
        warns,
        verb(warns, "warns", "warn")
    );
    page.paragraph(&if blocked {
        format!("Blocked: {sum}.")
    } else if sorted.is_empty() {
        "Nothing to object to.".to_string()
    } else {
        format!(
            "Passed: {}.",
            if warns == 1 { "1 finding warns".to_string() } else { format!("{warns} findings warn") }
        )
    });
    page.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn findings() -> Vec<FindingView> {
        let warn = FindingView {
            file: None,
            line: None,
            rule: "over-budget".into(),
            level: "warn".into(),
            panel: None,
            message: "closures weigh 41.2 kg of 41 kg".into(),
            help: None,
        };
        let block = FindingView {
            file: Some("recipes/hatch-outer.yaml".into()),
            line: Some(9),
            rule: "unqualified-recipe".into(),
            level: "block".into(),
            panel: Some("bow-hatch".into()),
            message: "lamina-tension-warp-etw is no longer met for lamina/cw-200-e1@oven-120".into(),
            help: Some("prove it again, concede it, or take the change back".into()),
        };
        vec![block, warn]
    }

    #[test]
    fn the_document_has_the_keys_that_are_held_to() {
        let got = json(true, &findings());
        let keys = |value: &Value| -> Vec<String> { value.as_object().unwrap().keys().cloned().collect() };
        assert_eq!(keys(&got), ["schema", "blocked", "findings"]);
        assert_eq!((&got["schema"], &got["blocked"]), (&json!("hook-run/1"), &json!(true)));
        let wanted = ["rule", "level", "file", "line", "panel", "message", "help"];
        assert_eq!(keys(&got["findings"][0]), wanted);
        assert_eq!(got["findings"][0]["panel"], Value::Null);
        assert_eq!(got["findings"][1]["line"], 9);
    }

    #[test]
    fn what_blocks_comes_first_and_fits() {
        for width in [40, 60, 80] {
            let frame = Frame { width, ..Frame::default() };
            let got = text(true, &findings(), &frame);
            assert!(got.lines().all(|line| line.chars().count() <= width), "{got}");
            assert!(got.starts_with("✕ blocks [unqualified-recipe]"), "{got}");
            assert!(got.ends_with("Blocked: 1 finding blocks, 1 warns.\n"), "{got}");
        }
        assert_eq!(text(false, &[], &Frame::default()), "Nothing to object to.\n");
    }
}
