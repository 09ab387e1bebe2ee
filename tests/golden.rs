//! Runs every case under `tests/golden/` and compares what the program answered, byte by byte.
//!
//! `UPDATE_GOLDEN=1 cargo test golden` writes the answers; the difference is reviewed like code.

use crate::support::{Bench, files, layout, root, words};
use rayon::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Folders with a file `cmd`, with their names relative to `tests/golden`.
pub fn cases() -> Vec<(String, PathBuf)> {
    let top = root().join("tests/golden");
    files(&top)
        .into_iter()
        .filter_map(|file| Some(file.strip_suffix("/cmd")?.to_string()))
        .map(|name| (name.clone(), top.join(name)))
        .collect()
}

#[test]
fn every_case_answers_as_written() {
    let update = std::env::var_os("UPDATE_GOLDEN").is_some();
    let only = std::env::var("GOLDEN").unwrap_or_default();
    let all: Vec<_> = cases().into_iter().filter(|(name, _)| name.contains(&only)).collect();
    assert!(!all.is_empty(), "there are no cases");
    let failed: Vec<String> = all
        .par_iter()
        .filter_map(|(name, case)| {
            let from = Instant::now();
            let answer = transcript(case);
            let taken = from.elapsed();
            // With `--nocapture`; nothing is asserted of it.
            if std::env::var_os("GOLDEN_TIMES").is_some() {
                eprintln!("{:6.2} s {name}", taken.as_secs_f64());
            }
            let file = case.join("expected.txt");
            let expected = fs::read_to_string(&file).unwrap_or_default();
            if answer == expected {
                return None;
            }
            if update {
                fs::write(&file, &answer).unwrap();
                return None;
            }
            Some(format!("{name}:\n{}", words::difference(&expected, &answer)))
        })
        .collect();
    assert!(
        failed.is_empty(),
        "{} of {} cases differ; UPDATE_GOLDEN=1 writes the answers\n\n{}",
        failed.len(),
        all.len(),
        failed.join("\n")
    );
}

/// Everything that the case's commands answered.
fn transcript(case: &Path) -> String {
    let bench = Bench::new();
    layout::lay(case, &bench.ledger());
    let mut all = String::new();
    for line in fs::read_to_string(case.join("cmd")).unwrap().lines() {
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        all.push_str(&format!("$ {line}\n"));
        let (line, cut) = line.split_once(" | ").map_or((line, ""), |(line, cut)| (line, cut));
        let words = words::split(line);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        match words.as_slice() {
            ["bondline", arguments @ ..] | ["at", _, "bondline", arguments @ ..] => {
                let width =
                    words.get(1).filter(|_| words[0] == "at").map_or(80, |width| width.parse().unwrap());
                let answer = bench.run_at(width, arguments);
                all.push_str(&shortened(&ended(&answer.out), cut));
                if !answer.err.is_empty() {
                    all.push_str(&format!("--- stderr\n{}", ended(&answer.err)));
                }
                all.push_str(&format!("--- exit {}\n\n", answer.code));
            }
            // Windows line ends are shown, or nothing would hold them.
            ["show", path] => {
                let text = ended(&bench.read(path)).replace("\r\n", "\\r\n");
                all.push_str(&format!("{text}\n"));
            }
            ["list", path] => {
                files(&bench.ledger().join(path)).iter().for_each(|file| all.push_str(&format!("{file}\n")));
                all.push('\n');
            }
            ["replace", path, old, new] => {
                let (old, new) = (words::unescape(old), words::unescape(new));
                let text = bench.read(path);
                assert!(text.contains(&old), "{}: {path} does not hold {old:?}", case.display());
                bench.write(path, &text.replace(&old, &new));
            }
            ["move", old, new] => {
                let text = bench.read(old);
                bench.write(new, &text);
                std::fs::remove_file(bench.ledger().join(old)).unwrap();
            }
            ["stage"] => layout::stage(&bench.ledger()),
            ["commit", message] => layout::commit(&bench.ledger(), message),
            _ => panic!("{}: no command of golden cases: {line}", case.display()),
        }
    }
    all
}

/// The first lines of an answer (`head N`), the last (`tail N`), or all of it.
fn shortened(text: &str, cut: &str) -> String {
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let number = |words: &str| words.parse::<usize>().unwrap().min(lines.len());
    match cut.split_once(' ') {
        None => text.to_string(),
        Some(("head", n)) => lines[..number(n)].concat(),
        Some(("tail", n)) => lines[lines.len() - number(n)..].concat(),
        Some(_) => panic!("no way to shorten: {cut}"),
    }
}

/// Text that lacks the last line end gets one that says so.
fn ended(text: &str) -> String {
    if text.is_empty() || text.ends_with('\n') {
        text.to_string()
    } else {
        format!("{text}\n[no line end]\n")
    }
}

#[test]
fn every_answer_has_a_case() {
    let top = root().join("tests/golden");
    let lost: Vec<String> = files(&top)
        .into_iter()
        .filter_map(|file| file.strip_suffix("/expected.txt").map(str::to_string))
        .filter(|case| !top.join(case).join("cmd").is_file())
        .collect();
    assert!(lost.is_empty(), "answers without a case: {lost:?}");
    // Files of a case that the runner does not know would say nothing.
    const KNOWN: [&str; 11] = [
        "base",
        "beside",
        "cmd",
        "commits",
        "expected.txt",
        "git",
        "ledger",
        "make",
        "removed",
        "staged",
        "why.md",
    ];
    for (name, case) in cases() {
        for entry in fs::read_dir(case).unwrap() {
            let own = entry.unwrap().file_name().to_string_lossy().into_owned();
            assert!(KNOWN.contains(&own.as_str()), "{name}: the runner knows no `{own}`");
        }
    }
}
