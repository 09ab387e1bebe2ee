//! Findings as SARIF 2.1.0, the open format in which code hosts show findings in their place
//! (OASIS, Static Analysis Results Interchange Format Version 2.1.0).

use super::rules::rule;
use crate::record::{Fault, Level, Place};
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};

/// The base that all paths stand on. Who reads the log says where it is: a path of this machine in it would make
/// the same findings look different on each.
const ROOT: &str = "%SRCROOT%";

/// One finding, ready for a host.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The rule.
    pub rule: String,
    /// How grave.
    pub level: Level,
    /// File relative to the ledger's root; `None` where it belongs to no file.
    pub file: Option<String>,
    /// Line and column from 1, columns in characters, as far as known.
    pub begin: (Option<usize>, Option<usize>),
    /// Line and column behind the last character, where known.
    pub end: Option<(usize, usize)>,
    /// The fact, no full stop.
    pub message: String,
    /// What mends it.
    pub help: Option<String>,
    /// The panel that it is about.
    pub panel: Option<String>,
    /// Places that explain it.
    pub related: Vec<(Place, String)>,
}

impl Found {
    /// Takes a fault over; `text` is its file's, where at hand.
    pub fn of(fault: &Fault, text: Option<&str>) -> Self {
        let text = text.map(|text| text.strip_prefix('\u{feff}').unwrap_or(text));
        let end = text.zip(fault.place.span).and_then(|(text, (from, to))| end_of(text, from, to));
        Self {
            rule: fault.rule.to_string(),
            level: fault.level,
            file: Some(fault.place.file.clone()),
            begin: (fault.place.line, fault.place.column),
            // Without a column, the end would stand alone.
            end: end.filter(|_| fault.place.line.is_some() && fault.place.column.is_some()),
            message: fault.message.clone(),
            help: fault.help.clone(),
            panel: None,
            related: fault.why.iter().map(|why| (why.place.clone(), why.label.clone())).collect(),
        }
    }
}

/// Line and column behind a stretch of text.
fn end_of(text: &str, from: usize, to: usize) -> Option<(usize, usize)> {
    let stretch = text.get(from..to)?;
    let before = text.get(..to)?;
    if stretch.trim_end().is_empty() {
        return None;
    }
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
    Some((line, column))
}

/// Returns the log of one run.
///
/// `command`: which command found it; `prefix`: the ledger's folder in its repository, empty at the top.
pub fn log(command: &str, prefix: &str, found: &[Found]) -> Value {
    let mut sorted: Vec<&Found> = found.iter().collect();
    sorted.sort_by_key(|one| (&one.file, one.begin, &one.rule, &one.message, &one.panel));
    let names: BTreeSet<&str> = sorted.iter().map(|one| one.rule.as_str()).collect();
    let names: Vec<&str> = names.into_iter().collect();
    // Equal findings in one file are told apart by their order; lines would move with every edit above them.
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let results: Vec<Value> = sorted
        .iter()
        .map(|one| {
            let print = fingerprint(command, one);
            let count = seen.entry(print.clone()).or_default();
            *count += 1;
            result(one, prefix, &names, &format!("{print}:{count}"))
        })
        .collect();
    json!({
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [{
            "tool": { "driver": {
                "name": "bondline",
                "semanticVersion": env!("CARGO_PKG_VERSION"),
                "rules": names.iter().map(|name| descriptor(name)).collect::<Vec<_>>(),
            }},
            "automationDetails": { "id": format!("bondline/{}/", command.replace(' ', "-")) },
            "originalUriBaseIds": { ROOT: { "description": { "text": "The top of the repository that holds the ledger." } } },
            "columnKind": "unicodeCodePoints",
            "results": results,
        }],
    })
}

fn word(level: Level) -> &'static str {
    match level {
        Level::Error => "error",
        Level::Warning => "warning",
        Level::Note => "note",
    }
}

fn descriptor(name: &str) -> Value {
    let Some(own) = rule(name) else { return json!({ "id": name }) };
    json!({
        "id": name,
        "shortDescription": { "text": own.means },
        "help": { "text": own.mend },
        "defaultConfiguration": { "level": word(own.level) },
    })
}

/// What stays the same while other lines move: rule, file, panel and words.
fn fingerprint(command: &str, one: &Found) -> String {
    let mut digest = Sha256::new();
    for part in [
        command,
        &one.rule,
        one.file.as_deref().unwrap_or(""),
        one.panel.as_deref().unwrap_or(""),
        &one.message,
    ] {
        digest.update(part.as_bytes());
        digest.update([0]);
    }
    digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Text as a message has it: braces are placeholders unless they are doubled (3.11.5), and `[text](target)` is a link
/// unless backslashes stand before its brackets (3.11.6; the backslashes named from memory). Other brackets stay as people read them.
fn plain(text: &str) -> String {
    let links = text.contains("](");
    let mut all = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '{' | '}' => all.push(c),
            '[' | ']' | '\\' if links => all.push('\\'),
            _ => {}
        }
        all.push(c);
    }
    all
}

fn result(one: &Found, prefix: &str, names: &[&str], print: &str) -> Value {
    let text = match one.help.as_deref().filter(|help| !help.is_empty()) {
        Some(help) => format!("{}. To mend it: {help}", one.message),
        None => format!("{}.", one.message),
    };
    let mut own = Map::new();
    own.insert("ruleId".into(), json!(one.rule));
    if let Some(at) = names.iter().position(|name| *name == one.rule) {
        own.insert("ruleIndex".into(), json!(at));
    }
    own.insert("level".into(), json!(word(one.level)));
    own.insert("message".into(), json!({ "text": plain(&text) }));
    let mut locations = Vec::new();
    if let Some(file) = &one.file {
        locations.push(location(file, prefix, one.begin, one.end, None));
    }
    own.insert("locations".into(), json!(locations));
    let related: Vec<Value> = one
        .related
        .iter()
        .map(|(place, label)| location(&place.file, prefix, (place.line, place.column), None, Some(label)))
        .collect();
    if !related.is_empty() {
        own.insert("relatedLocations".into(), json!(related));
    }
    own.insert("partialFingerprints".into(), json!({ "finding/v1": print }));
    if let Some(panel) = &one.panel {
        own.insert("properties".into(), json!({ "panel": panel }));
    }
    Value::Object(own)
}

fn location(
    file: &str,
    prefix: &str,
    (line, column): (Option<usize>, Option<usize>),
    end: Option<(usize, usize)>,
    label: Option<&String>,
) -> Value {
    let path = if prefix.is_empty() { file.to_string() } else { format!("{prefix}/{file}") };
    let mut physical = json!({ "artifactLocation": { "uri": uri(&path), "uriBaseId": ROOT } });
    if let Some(line) = line {
        let mut region = Map::new();
        region.insert("startLine".into(), json!(line));
        if let Some(column) = column {
            region.insert("startColumn".into(), json!(column));
        }
        if let Some((end_line, end_column)) = end {
            region.insert("endLine".into(), json!(end_line));
            region.insert("endColumn".into(), json!(end_column));
        }
        if let Some(map) = physical.as_object_mut() {
            map.insert("region".into(), Value::Object(region));
        }
    }
    let mut own = json!({ "physicalLocation": physical });
    if let (Some(label), Some(map)) = (label.filter(|label| !label.is_empty()), own.as_object_mut()) {
        map.insert("message".into(), json!({ "text": plain(label) }));
    }
    own
}

/// A path as a relative reference: RFC 3986 lets few characters stand for themselves.
fn uri(path: &str) -> String {
    let mut out = String::new();
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Why;

    fn found(line: usize) -> Found {
        let place =
            Place { line: Some(line), column: Some(3), span: Some((2, 5)), ..Place::file("a b/ö.yaml") };
        Found::of(&Fault::error("unknown-key", place, "no key `x`").help("take it out"), Some("k\näbc: 1\n"))
    }

    #[test]
    fn a_finding_keeps_its_fingerprint_where_lines_move() {
        let print = |found: &[Found]| {
            let log = log("check", "", found);
            log["runs"][0]["results"]
                .as_array()
                .unwrap()
                .iter()
                .map(|one| one["partialFingerprints"].clone())
                .collect::<Vec<_>>()
        };
        assert_eq!(print(&[found(2)]), print(&[found(9)]));
        let two = print(&[found(2), found(4)]);
        assert_ne!(two[0], two[1]);
        assert_eq!(two[0], print(&[found(2)])[0]);
        let other = Found { message: "no key `y`".into(), ..found(2) };
        assert_ne!(print(&[other]), print(&[found(2)]));
    }

    #[test]
    fn places_are_relative_and_escaped() {
        let log = log("check", "design/ledger", &[found(2)]);
        let own = &log["runs"][0]["results"][0];
        let physical = &own["locations"][0]["physicalLocation"];
        assert_eq!(physical["artifactLocation"]["uri"], "design/ledger/a%20b/%C3%B6.yaml");
        assert_eq!(physical["artifactLocation"]["uriBaseId"], ROOT);
        assert_eq!(
            physical["region"],
            json!({ "startLine": 2, "startColumn": 3, "endLine": 2, "endColumn": 3 })
        );
        assert_eq!(own["message"]["text"], "no key `x`. To mend it: take it out");
        assert_eq!(log["runs"][0]["tool"]["driver"]["rules"][0]["id"], "unknown-key");
    }

    #[test]
    fn what_a_user_wrote_is_neither_placeholder_nor_link() {
        let place = || Place::file("panels/a.yaml");
        let mut fault = Fault::error("unknown-key", place(), "it has {material: clear-d} and [45, -45]")
            .help("see [the {0} page](https://elsewhere.example) or C:\\a");
        fault.why.push(Why { place: place(), label: "{0} [here](1)".to_string() });
        let log = log("check", "", &[Found::of(&fault, None)]);
        let own = &log["runs"][0]["results"][0];
        assert_eq!(
            own["message"]["text"],
            "it has {{material: clear-d}} and \\[45, -45\\]. To mend it: \
             see \\[the {{0}} page\\](https://elsewhere.example) or C:\\\\a"
        );
        assert_eq!(own["relatedLocations"][0]["message"]["text"], "{{0}} \\[here\\](1)");
        assert_eq!(plain("[0, {a: 1}]"), "[0, {{a: 1}}]");
    }
}
