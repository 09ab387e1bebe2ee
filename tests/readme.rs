//! The walk of the README, run line by line in a fresh example: each line that it prints is one that the program prints,
//! in that order. `…` stands for anything.

use crate::git::bed::{Bed, PROGRAM, Run, TODAY};
use crate::support::root;
use std::fs;
use std::path::Path;

/// One line of the walk: a command with what it prints, or text that the reader puts into a file.
enum Step {
    Command(String, Vec<String>),
    Edit(String),
}

fn steps() -> Vec<Step> {
    let text = fs::read_to_string(root().join("README.md")).unwrap();
    let (_, walk) = text.split_once("\n## A walk through the example\n").unwrap();
    let (walk, _) = walk.split_once("\n## The records\n").unwrap();
    let mut steps = Vec::new();
    let mut inside: Option<&str> = None;
    for line in walk.lines() {
        match (inside, line.strip_prefix("```")) {
            (None, Some(language)) => inside = Some(language),
            (Some(_), Some(_)) => inside = None,
            (Some("yaml"), None) => steps.push(Step::Edit(line.to_string())),
            (Some("console"), None) => match (line.strip_prefix("$ "), steps.last_mut()) {
                (Some(command), _) => steps.push(Step::Command(command.to_string(), Vec::new())),
                (None, Some(Step::Command(_, printed))) => printed.push(line.to_string()),
                (None, _) => panic!("output before any command: {line}"),
            },
            _ => {}
        }
    }
    steps
}

/// Whether a printed line is one that is shown, in which `…` stands for anything.
fn fits(shown: &str, printed: &str) -> bool {
    let mut parts = shown.split('…');
    let Some(mut rest) = printed.strip_prefix(parts.next().unwrap_or_default()) else { return false };
    let mut parts = parts.peekable();
    if parts.peek().is_none() {
        return rest.is_empty();
    }
    while let Some(part) = parts.next() {
        if parts.peek().is_none() {
            return rest.ends_with(part);
        }
        let Some(at) = rest.find(part) else { return false };
        rest = &rest[at + part.len()..];
    }
    true
}

#[test]
fn the_walk_of_the_readme_prints_what_it_shows() {
    let bed = Bed::example();
    let folder = Path::new(PROGRAM).parent().unwrap();
    let path = format!("{}:/usr/local/bin:/usr/bin:/bin", folder.display());
    let mut wrong = Vec::new();
    let (mut commands, mut lines) = (0, 0);
    for step in steps() {
        let (command, shown) = match step {
            Step::Edit(line) => {
                bed.edit("finishes/white.yaml", "\nowner:", &format!("\n{line}\nowner:"));
                continue;
            }
            Step::Command(command, _) if command.starts_with("cd ") => continue,
            // It has a minute to search, in which a program that is not optimised does not come to the end.
            Step::Command(command, _) if command.starts_with("bondline study ") => continue,
            Step::Command(command, shown) => (command, shown),
        };
        if command == "bondline check" {
            // The two slips that the text above it tells.
            let file = "recipes/hatch-outer.yaml";
            bed.edit(file, "{id: p1, material:", "{id: p1, materail:");
            bed.edit(file, "thickness: 6 mm}", "thickness: 6}");
        }
        // Whoever reads it runs it on the day; the example is judged on one.
        let dated = match command.strip_prefix("bondline ") {
            Some(rest) => format!("bondline --today {TODAY} {rest}"),
            None => command.clone(),
        };
        let output =
            bed.command("sh", bed.top()).env("PATH", &path).args(["-c", &format!("{dated} 2>&1")]).output();
        let run = Run::of(&output.unwrap());
        let mut printed = run.out.lines();
        commands += 1;
        for line in shown.iter().filter(|line| line.trim() != "…") {
            lines += 1;
            let line = line.replace("/sanderling/", "/repo/");
            if !printed.any(|own| fits(&line, own.trim_end())) {
                wrong.push(format!("$ {command}\n  shows   {line}"));
                break;
            }
        }
    }
    assert!(commands > 20 && lines > 180, "the walk is found: {commands} commands, {lines} lines");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn dots_stand_for_anything() {
    assert!(fits("a", "a") && !fits("a", "ab") && !fits("ab", "a"));
    assert!(fits("a …/b", "a x/y/b") && !fits("a …/b", "a x/y/c") && fits("a…", "abc") && fits("…c", "abc"));
    assert!(fits("a…b…c", "a1b2c") && !fits("a…b…c", "a1c"));
}
