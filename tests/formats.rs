//! The forms for other programs, read by what others wrote: a schema, an XML parser, a Markdown parser.

use crate::outside::python;
use crate::support::{Answer, Bench, layout, root};
use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};
use std::io::Write;
use std::process::{Command, Stdio};

/// Holds a log against the public schema (`tests/reference/sarif/README.md` says where it is from).
fn fits_the_schema(log: &serde_json::Value) {
    let path = root().join("tests/reference/sarif/sarif-schema-2.1.0.json");
    let schema: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let (mut schemas, mut compiler) = (boon::Schemas::new(), boon::Compiler::new());
    compiler.enable_format_assertions();
    compiler.add_resource("urn:sarif", schema).unwrap();
    let index = compiler.compile("urn:sarif", &mut schemas).unwrap();
    if let Err(error) = schemas.validate(log, index) {
        panic!("{error:#}\n{log:#}");
    }
    // The schema is looked at: it refuses what is no log.
    let mut wrong = log.clone();
    wrong["runs"][0]["results"] = serde_json::json!([{ "level": "grave" }]);
    assert!(schemas.validate(&wrong, index).is_err());
}

/// A ledger with faults of several kinds, in a folder of a repository that is not its top.
fn faulty() -> Bench {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "As it was");
    bench.write("materials/wrong.yaml", "title: \"a | b `c` <d>\"\nkind: \u{1F600}\n");
    bench.write("materials/ö x.yaml", "kind: core\n");
    let panel = bench.read("panels/bow-hatch.yaml").replace("recipe: hatch-outer", "recipe: hatch-outr");
    bench.write("panels/bow-hatch.yaml", &panel);
    layout::stage(&bench.ledger());
    bench
}

#[test]
fn findings_fit_the_public_schema() {
    let bench = faulty();
    for arguments in [&["check", "--format", "sarif"][..], &["check", "--notes", "--format", "sarif"]] {
        let answer = bench.run(arguments);
        assert_eq!(answer.code, 1, "{}", answer.err);
        let log = answer.json();
        fits_the_schema(&log);
        let results = log["runs"][0]["results"].as_array().unwrap();
        assert!(results.len() >= 4, "{log:#}");
        for one in results {
            let rule =
                &log["runs"][0]["tool"]["driver"]["rules"][one["ruleIndex"].as_u64().unwrap() as usize];
            assert_eq!(rule["id"], one["ruleId"]);
            assert!(!rule["help"]["text"].as_str().unwrap().is_empty(), "{rule}");
            let place = &one["locations"][0]["physicalLocation"];
            assert_eq!(place["artifactLocation"]["uriBaseId"], "%SRCROOT%");
            assert!(!place["artifactLocation"]["uri"].as_str().unwrap().starts_with('/'));
        }
        let prints: std::collections::BTreeSet<String> =
            results.iter().map(|one| one["partialFingerprints"]["finding/v1"].to_string()).collect();
        assert_eq!(prints.len(), results.len(), "two findings have one fingerprint");
    }
    let answer = bench.run(&["hook", "run", "--format", "sarif"]);
    assert_eq!(answer.code, 1, "{}", answer.err);
    fits_the_schema(&answer.json());
    assert!(!answer.json()["runs"][0]["results"].as_array().unwrap().is_empty());
    // A clean one is a log too.
    let answer = Bench::example().run(&["check", "--format", "sarif", "--today", "2026-12-01"]);
    assert_eq!((answer.code, answer.json()["runs"][0]["results"].as_array().unwrap().len()), (0, 0));
    fits_the_schema(&answer.json());
}

#[test]
fn every_rule_has_words_for_hosts() {
    let lacking: Vec<String> = crate::rules::rules()
        .into_iter()
        // The calculator has no findings.
        .filter(|(_, file)| !file.starts_with("src/calc/"))
        .map(|(rule, _)| rule)
        .filter(|rule| bondline::report::rules::rule(rule).is_none())
        .collect();
    assert!(lacking.is_empty(), "rules without words in report/rules.rs: {lacking:?}");
    let known = crate::rules::rules();
    let idle: Vec<&str> = bondline::report::rules::RULES
        .iter()
        .map(|own| own.name)
        .filter(|own| !known.contains_key(*own))
        .collect();
    assert!(idle.is_empty(), "words for rules that are not there: {idle:?}");
}

/// What an XML parser that is not ours reads: counts of suites, cases, failures; and places of failures.
fn read_cases(answer: &Answer) -> serde_json::Value {
    const SCRIPT: &str = "import sys, json, xml.etree.ElementTree as tree
top = tree.fromstring(sys.stdin.buffer.read())
assert top.tag == 'testsuites', top.tag
names, places, cases, failures = [], [], 0, 0
for suite in top:
    assert suite.tag == 'testsuite', suite.tag
    own = list(suite)
    assert all(case.tag == 'testcase' for case in own)
    failed = [case for case in own if case.find('failure') is not None]
    assert int(suite.get('tests')) == len(own) and int(suite.get('failures')) == len(failed)
    cases, failures = cases + len(own), failures + len(failed)
    names += [suite.get('name') + '/' + case.get('classname') + '/' + case.get('name') for case in own]
    places += [[case.get('file'), case.get('line'), case.find('failure').text] for case in failed]
assert int(top.get('tests')) == cases and int(top.get('failures')) == failures
print(json.dumps({'cases': cases, 'failures': failures, 'names': names, 'places': places}))";
    let mut child = Command::new(python())
        .args(["-c", SCRIPT])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("tests/run installs the interpreter");
    child.stdin.take().unwrap().write_all(answer.out.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", answer.out);
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn test_cases_are_read_by_another_parser() {
    let bench = faulty();
    let errors = bench.run(&["check", "--format", "json"]).json();
    let errors = errors["faults"].as_array().unwrap().iter().filter(|own| own["level"] == "error").count();
    let check = read_cases(&bench.run(&["check", "--format", "junit"]));
    assert_eq!(check["failures"], errors);
    assert!(check["cases"].as_u64().unwrap() > 100);
    let gate = read_cases(&bench.run(&["hook", "run", "--format", "junit"]));
    assert!(gate["failures"].as_u64().unwrap() > 0 && gate["cases"].as_u64() >= Some(12));
    let sound = Bench::example();
    let gaps = sound.run(&["gaps", "--format", "json", "--all"]).json();
    let duties = gaps["duties"].as_array().unwrap();
    let open = duties.iter().filter(|own| own["verdict"] != "met" && own["verdict"] != "conceded").count();
    let cases = read_cases(&sound.run(&["gaps", "--format", "junit"]));
    assert_eq!((&cases["cases"], &cases["failures"]), (&duties.len().into(), &open.into()));
    for read in [&check, &gate, &cases] {
        for place in read["places"].as_array().unwrap() {
            let (file, line) = (place[0].as_str().unwrap(), place[1].as_str());
            let text = place[2].as_str().unwrap();
            assert!(
                text.starts_with(file) && line.is_none_or(|line| line.parse::<usize>().is_ok()),
                "{place}"
            );
        }
        let mut names: Vec<&str> =
            read["names"].as_array().unwrap().iter().map(|one| one.as_str().unwrap()).collect();
        let all = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), all, "two cases have one name");
    }
}

/// Rows of cells of all tables, and everything that is text, as a Markdown parser reads it.
fn read_tables(text: &str) -> (Vec<Vec<String>>, Vec<String>) {
    let mut options = Options::empty();
    options.insert(Options::ENABLE_TABLES);
    let (mut rows, mut odd): (Vec<Vec<String>>, Vec<String>) = (Vec::new(), Vec::new());
    let mut cell: Option<String> = None;
    for event in Parser::new_ext(text, options) {
        match event {
            Event::Start(Tag::TableHead | Tag::TableRow) => rows.push(Vec::new()),
            Event::Start(Tag::TableCell) => cell = Some(String::new()),
            Event::End(TagEnd::TableCell) => rows.last_mut().unwrap().push(cell.take().unwrap()),
            Event::Text(text) => cell.iter_mut().for_each(|cell| cell.push_str(&text)),
            Event::InlineHtml(html) if &*html == "<br>" => cell.iter_mut().for_each(|cell| cell.push('\n')),
            Event::InlineHtml(html) | Event::Html(html) | Event::Code(html) => odd.push(html.to_string()),
            Event::Start(Tag::Link { .. } | Tag::Image { .. }) => odd.push("link".to_string()),
            _ => {}
        }
    }
    (rows, odd)
}

#[test]
fn the_summary_is_one_that_a_host_can_show() {
    let bench = Bench::example();
    let answer = bench.run(&["impact", "dd-003", "--format", "markdown", "--all"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let document = bench.run(&["impact", "dd-003", "--format", "json"]).json();
    let (rows, odd) = read_tables(&answer.out);
    assert!(odd.is_empty(), "{odd:?}");
    assert!(rows.iter().all(|row| row.len() >= 2), "{rows:?}");
    // Every duty, every step, every margin stands in it as the document has it.
    for duty in document["duties"].as_array().unwrap() {
        let name = format!("{} {}", duty["showing"].as_str().unwrap(), duty["subject"].as_str().unwrap());
        let row = rows.iter().find(|row| row[0] == name).unwrap_or_else(|| panic!("{name} is not in it"));
        assert_eq!(row[2], duty["now"].as_str().unwrap());
        assert_eq!(row[5].lines().count(), duty["because"].as_array().unwrap().len(), "{row:?}");
    }
    let steps = document["retest"]["steps"].as_array().unwrap();
    assert_eq!(rows.iter().filter(|row| row.len() == 8).count(), steps.len() + 1);
    let margins = document["margins"].as_array().unwrap();
    assert_eq!(rows.iter().filter(|row| row.len() == 5).count(), margins.len() + 1);
    let delta = format!("{:+.3}", document["mass"]["delta_kg"].as_f64().unwrap());
    assert!(rows.iter().any(|row| row[0] == "whole programme" && row[1] == delta), "{rows:?}");
    assert!(answer.out.contains("not a finding of compliance"));
}

#[test]
fn names_full_of_marks_break_no_table() {
    let bench = Bench::example();
    let file = "panels/bow-hatch.yaml";
    let text = bench.read(file).replace("name: wave slap,", "name: \"x|y`z<b>@me *[a](http://b)*\",");
    bench.write(file, &text);
    let answer = bench.run(&["impact", "--format", "markdown", "--all"]);
    // Outside a repository everything is new: all panels, with that name among the margins or reasons.
    assert_eq!(answer.code, 0, "{}", answer.err);
    let (rows, odd) = read_tables(&answer.out);
    assert!(odd.is_empty(), "{odd:?}");
    assert!(rows.iter().flatten().any(|cell| cell.starts_with("x|y`z<b>@")), "{}", answer.out);
    let widths: std::collections::BTreeSet<usize> = rows.iter().map(Vec::len).collect();
    assert!(widths.iter().all(|own| [2, 5, 6, 8].contains(own)), "{widths:?}");
}
