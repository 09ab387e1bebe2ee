//! Results as test cases in XML, in the form that continuous integration reads: `testsuites`, `testsuite`,
//! `testcase`, `failure`. No standards body keeps that form (common practice, no source).

use std::fmt::Write;

/// One case.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Case {
    /// What it belongs to, such as a kind of record or a showing.
    pub class: String,
    /// Its name; no two of a suite have the same class and name.
    pub name: String,
    /// File relative to the ledger's root.
    pub file: Option<String>,
    /// Line from 1.
    pub line: Option<usize>,
    /// What is wrong: a word and a text.
    pub failure: Option<(String, String)>,
    /// What there is to say although it passed.
    pub said: String,
}

/// Returns the document: suites by name, each with its cases, in the order given.
pub fn document(name: &str, suites: &[(String, Vec<Case>)]) -> String {
    let failed = |cases: &[Case]| cases.iter().filter(|case| case.failure.is_some()).count();
    let (all, bad) =
        suites.iter().fold((0, 0), |(n, bad), (_, cases)| (n + cases.len(), bad + failed(cases)));
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    // Writing to memory takes every byte.
    let _ = writeln!(
        out,
        "<testsuites name=\"{}\" tests=\"{all}\" failures=\"{bad}\" errors=\"0\">",
        escaped(name)
    );
    for (suite, cases) in suites {
        let _ = writeln!(
            out,
            "  <testsuite name=\"{}\" tests=\"{}\" failures=\"{}\" errors=\"0\" skipped=\"0\">",
            escaped(suite),
            cases.len(),
            failed(cases)
        );
        cases.iter().for_each(|case| write_case(&mut out, case));
        out.push_str("  </testsuite>\n");
    }
    out.push_str("</testsuites>\n");
    out
}

fn write_case(out: &mut String, case: &Case) {
    let _ =
        write!(out, "    <testcase classname=\"{}\" name=\"{}\"", escaped(&case.class), escaped(&case.name));
    if let Some(file) = &case.file {
        let _ = write!(out, " file=\"{}\"", escaped(file));
    }
    if let Some(line) = case.line {
        let _ = write!(out, " line=\"{line}\"");
    }
    if case.failure.is_none() && case.said.is_empty() {
        out.push_str("/>\n");
        return;
    }
    out.push_str(">\n");
    if let Some((word, text)) = &case.failure {
        let first = text.lines().next().unwrap_or_default();
        let at = case.file.as_ref().map_or_else(String::new, |file| {
            let line = case.line.map_or_else(String::new, |line| format!(":{line}"));
            format!("{file}{line}\n")
        });
        let _ = writeln!(
            out,
            "      <failure type=\"{}\" message=\"{}\">{}</failure>",
            escaped(word),
            escaped(first),
            escaped(&format!("{at}{text}"))
        );
    }
    if !case.said.is_empty() {
        let _ = writeln!(out, "      <system-out>{}</system-out>", escaped(&case.said));
    }
    out.push_str("    </testcase>\n");
}

/// Text for XML 1.0: marks as entities; characters that it can't hold at all as `\u{..}`.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\n' => out.push_str("&#10;"),
            '\t' => out.push_str("&#9;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.extend(c.escape_unicode()),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failure_has_its_place_and_nothing_breaks_out() {
        let case = Case {
            class: "panel".into(),
            name: "a\"<b>".into(),
            file: Some("panels/x.yaml".into()),
            line: Some(3),
            failure: Some(("unknown-key".into(), "no key `<x>` & more\u{1}\nhelp: none".into())),
            said: String::new(),
        };
        let passed = Case { class: "panel".into(), name: "y".into(), ..Case::default() };
        let got = document("check", &[("panels".into(), vec![case, passed])]);
        let wanted = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
            <testsuites name=\"check\" tests=\"2\" failures=\"1\" errors=\"0\">\n  \
            <testsuite name=\"panels\" tests=\"2\" failures=\"1\" errors=\"0\" skipped=\"0\">\n    \
            <testcase classname=\"panel\" name=\"a&quot;&lt;b&gt;\" file=\"panels/x.yaml\" line=\"3\">\n      \
            <failure type=\"unknown-key\" message=\"no key `&lt;x&gt;` &amp; more\\u{1}\">\
            panels/x.yaml:3&#10;no key `&lt;x&gt;` &amp; more\\u{1}&#10;help: none</failure>\n    \
            </testcase>\n    \
            <testcase classname=\"panel\" name=\"y\"/>\n  \
            </testsuite>\n</testsuites>\n";
        assert_eq!(got, wanted);
    }
}
