//! `bondline check`.

use super::args::{CheckArgs, Format};
use super::context::{Context, Failure, Loaded, Status, to_the_end};
use crate::change::approved::faults as altered_faults;
use crate::record::{Fault, Level, RecordKind, render};
use crate::report::junit::{self, Case};
use crate::report::{faults, sarif};
use std::collections::BTreeMap;
use std::io::Write;

pub(super) fn run(context: &mut Context, args: &CheckArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    let place = context.place()?;
    let mut loaded = to_the_end(context.load(&place, &args.source)?);
    let stale = context.stale_decisions(&place, &loaded);
    let stale = unsaid(&loaded.ledger.faults, stale);
    // A state of the past is held against no later one.
    if args.source.at.is_none() {
        let altered = context.altered_decisions(&place, &loaded)?;
        let altered = altered_faults(&altered, (&loaded.ledger, &loaded.snapshot));
        loaded.ledger.faults.extend(altered);
    }
    loaded.ledger.faults.extend(stale);
    let ahead = loaded.ledger.days_far_ahead(&loaded.snapshot, context.today);
    loaded.ledger.faults.extend(ahead);
    let shown: Vec<&Fault> = loaded
        .ledger
        .faults
        .iter()
        .filter(|fault| args.notes || context.json() || fault.level > Level::Note)
        .collect();
    if context.json() {
        let all: Vec<Fault> = loaded.ledger.faults.clone();
        writeln!(out, "{:#}", faults::json(&all))?;
    } else if context.format == Format::Sarif {
        let found: Vec<sarif::Found> = shown
            .iter()
            .map(|fault| sarif::Found::of(fault, loaded.text(&fault.place.file).as_deref()))
            .collect();
        writeln!(out, "{:#}", sarif::log("check", place.prefix(), &found))?;
    } else if context.format == Format::Junit {
        write!(out, "{}", junit::document("bondline check", &suites(&loaded, &shown)))?;
    } else {
        let mut texts: BTreeMap<&str, Option<String>> = BTreeMap::new();
        for fault in &shown {
            let text = texts.entry(&fault.place.file).or_insert_with(|| {
                let text = loaded.text(&fault.place.file)?;
                Some(text.strip_prefix('\u{feff}').map(str::to_string).unwrap_or(text))
            });
            writeln!(out, "{}\n", render::fault(fault, text.as_deref(), context.colour, context.width))?;
        }
        writeln!(out, "{}", faults::text_summary(&loaded.ledger.faults))?;
        let hidden = loaded.ledger.faults.len() - shown.len();
        if hidden > 0 {
            let notes = if hidden == 1 { "1 note" } else { &format!("{hidden} notes") };
            writeln!(out, "{notes} not shown; `bondline check --notes` shows them")?;
        }
    }
    Ok(if loaded.ledger.has_errors() { Status::Objection } else { Status::Done })
}

/// A case for each file that is read, a suite for each folder; an error fails its file, a warning does not.
fn suites(loaded: &Loaded, shown: &[&Fault]) -> Vec<(String, Vec<Case>)> {
    let mut files: BTreeMap<(String, String), Vec<&Fault>> = BTreeMap::new();
    let folder = |file: &str| file.split_once('/').map_or("ledger", |(folder, _)| folder).to_string();
    let is_record = |file: &str| {
        file == "ledger.yaml" || RecordKind::by_folder(&folder(file)).is_some() && file.ends_with(".yaml")
    };
    for file in loaded.snapshot.files().map(|entry| entry.path.as_str()).filter(|file| is_record(file)) {
        files.entry((folder(file), file.to_string())).or_default();
    }
    for fault in shown {
        let file = fault.place.file.clone();
        files.entry((folder(&file), file)).or_default().push(fault);
    }
    let mut suites: Vec<(String, Vec<Case>)> = Vec::new();
    for ((folder, file), faults) in files {
        let (errors, others): (Vec<&Fault>, Vec<&Fault>) =
            faults.into_iter().partition(|fault| fault.level == Level::Error);
        let words = |fault: &Fault| {
            let line = fault.place.line.map_or_else(String::new, |line| format!(" (line {line})"));
            let help = fault.help.as_ref().map_or_else(String::new, |help| format!("\nhelp: {help}"));
            format!("{}{line}{help}", fault.message)
        };
        let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
        let mut cases: Vec<Case> = Vec::new();
        for fault in &errors {
            let count = seen.entry(fault.rule).or_default();
            *count += 1;
            let which = if *count > 1 { format!(" ({count})") } else { String::new() };
            cases.push(Case {
                class: folder.clone(),
                name: format!("{file}: {}{which}", fault.rule),
                file: Some(file.clone()),
                line: fault.place.line,
                failure: Some((fault.rule.to_string(), words(fault))),
                said: String::new(),
            });
        }
        let said = |fault: &&Fault| format!("{} [{}]: {}", fault.level, fault.rule, words(fault));
        let said = others.iter().map(said).collect::<Vec<_>>().join("\n");
        match cases.first_mut() {
            Some(first) => first.said = said,
            None => cases.push(Case {
                class: folder.clone(),
                name: file.clone(),
                file: Some(file),
                said,
                ..Case::default()
            }),
        }
        match suites.last_mut().filter(|(name, _)| *name == folder) {
            Some((_, own)) => own.append(&mut cases),
            None => suites.push((folder, cases)),
        }
    }
    suites
}

/// What carrying a decision out would leave, without what was said already of the very value that names it.
fn unsaid(known: &[Fault], stale: Vec<Fault>) -> Vec<Fault> {
    let named = |fault: &Fault| fault.message.split('`').nth(1).map(str::to_string);
    let said = |fault: &Fault| {
        known
            .iter()
            .filter(|own| own.rule == fault.rule && own.place.file == fault.place.file)
            .any(|own| named(own).is_some_and(|name| Some(name) == named(fault)))
    };
    stale.into_iter().filter(|fault| !said(fault)).collect()
}
