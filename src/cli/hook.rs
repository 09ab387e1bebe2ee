//! `bondline hook`.

use super::args::{Format, HookArgs, HookCommand, HookRunArgs};
use super::conform::as_of;
use super::context::{Context, Failure, Loaded, Status, to_the_end, unwritten};
use super::decide::short_id;
use super::hook_parts;
use crate::change::carried::may_carry;
use crate::change::diff::diff;
use crate::gate::{Completions, Finding, RULES, Side, judge, to_be_completed};
use crate::ledger::Entry;
use crate::qualify::complete::completed;
use crate::qualify::verdict::evaluate_beside;
use crate::record::{Evidence, Level, places};
use crate::report::gate::{self as view, FindingView};
use crate::report::junit::{self, Case};
use crate::report::sarif::{self, Found};
use crate::source::hook::{HookDone, HookError, install, remove};
use crate::source::write::{Writer, unfinished};
use crate::source::{Place, Snapshot};
use serde_json::json;
use std::io::Write;

pub(super) fn run(context: &mut Context, args: &HookArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    match &args.what {
        HookCommand::Install => {
            let place = context.place()?;
            let program = std::env::current_exe()?;
            let report = install(&place, &program).map_err(failure)?;
            let words = match report.done {
                HookDone::Unchanged => "is installed already",
                HookDone::Updated => "is brought up to date",
                _ => "is installed",
            };
            said(context, out, &report.path, words, report.chained.as_deref(), &report.notes)
        }
        HookCommand::Remove => {
            let place = context.place()?;
            let report = remove(&place).map_err(failure)?;
            let words = match report.done {
                HookDone::Unchanged | HookDone::Absent => "was not installed",
                _ => "is removed",
            };
            said(context, out, &report.path, words, report.chained.as_deref(), &report.notes)
        }
        HookCommand::Run(run) => gate(context, run, out),
        HookCommand::Decisions => decisions(context, out),
    }
}

/// The decisions that what is staged carries out, as short as they can be named.
fn decisions(context: &Context, out: &mut dyn Write) -> Result<Status, Failure> {
    let place = context.place()?;
    let staged = place.index()?;
    let base = place.before("HEAD", &staged)?;
    // Most commits touch nothing that a decision changes: neither state need be read for them.
    if !may_carry(&base, &staged) {
        if context.json() {
            writeln!(out, "{:#}", json!({ "schema": "decisions-staged/1", "decisions": [] }))?;
        }
        return Ok(Status::Done);
    }
    let (base, staged) = (context.read(base), context.read(staged));
    let found = context.carried_out(&place, &base, &staged, &diff(&base.ledger, &staged.ledger));
    let names: Vec<&str> = found
        .iter()
        .map(|id| {
            let short = short_id(id);
            if staged.ledger.decision(short).is_some() { short } else { id }
        })
        .collect();
    if context.json() {
        writeln!(out, "{:#}", json!({ "schema": "decisions-staged/1", "decisions": found }))?;
        return Ok(Status::Done);
    }
    for name in names {
        writeln!(out, "{name}")?;
    }
    Ok(Status::Done)
}

fn failure(error: HookError) -> Failure {
    let mend = error.mend();
    Failure { message: error.to_string(), help: (!mend.is_empty()).then_some(mend), faults: Vec::new() }
}

fn said(
    context: &Context,
    out: &mut dyn Write,
    path: &std::path::Path,
    words: &str,
    chained: Option<&std::path::Path>,
    notes: &[String],
) -> Result<Status, Failure> {
    if context.json() {
        let document = json!({
            "schema": "hook/1",
            "path": path.display().to_string(),
            "done": words,
            "chained": chained.map(|chained| chained.display().to_string()),
            "notes": notes,
        });
        writeln!(out, "{document:#}")?;
        return Ok(Status::Done);
    }
    writeln!(out, "The gate {words}: {}", path.display())?;
    if let Some(chained) = chained {
        writeln!(out, "The hook that was there before: {}", chained.display())?;
    }
    for note in notes {
        writeln!(out, "{}", crate::report::table::wrap(note, context.width))?;
    }
    Ok(Status::Done)
}

fn gate(context: &mut Context, args: &HookRunArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    let place = context.place()?;
    let (base, staged) = match &args.range {
        None => {
            whole(&place)?;
            let staged = place.index()?;
            (place.before("HEAD", &staged)?, staged)
        }
        Some(range) => {
            let (from, to) = range
                .split_once("..")
                .filter(|(from, to)| !from.is_empty() && !to.is_empty())
                .ok_or_else(|| {
                Failure::new(
                    format!("`{range}` is no range"),
                    "write two revisions with two dots between: `main..HEAD`",
                )
            })?;
            let merge_base = place.merge_base(from, to)?;
            let staged = place.revision(to)?;
            (place.before(&merge_base, &staged)?, staged)
        }
    };
    let by_parts = args.range.is_none() && context.memory.is_allowed();
    let known = by_parts.then(|| hook_parts::judged(context, &place, &base, &staged));
    let hook_parts::Judged { report, base, staged } = match known {
        Some(Ok(judged)) => judged,
        Some(Err(why)) => {
            context.memory.work(format!("the whole was judged, as {why}"));
            whole_ledger(context, &place, base, staged, Some(why))?
        }
        None => whole_ledger(context, &place, base, staged, None)?,
    };
    let views: Vec<FindingView> = report
        .findings
        .iter()
        .map(|finding| {
            let (file, line) = place_of(finding, &staged, &base);
            FindingView {
                file: Some(file),
                line,
                rule: finding.rule.to_string(),
                level: finding.level.word().to_string(),
                panel: finding.panel.clone(),
                message: finding.message.clone(),
                help: Some(finding.help.clone()),
            }
        })
        .collect();
    if context.json() {
        let mut document = view::json(report.blocked(), &views);
        if let Some(map) = document.as_object_mut() {
            map.insert("known".to_string(), json!(report.known));
        }
        writeln!(out, "{document:#}")?;
    } else if context.format == Format::Sarif {
        let found: Vec<Found> = views.iter().map(found).collect();
        writeln!(out, "{:#}", sarif::log("hook run", place.prefix(), &found))?;
    } else if context.format == Format::Junit {
        write!(out, "{}", junit::document("bondline hook run", &[("gate".to_string(), cases(&views))]))?;
    } else {
        write!(out, "{}", view::text(report.blocked(), &views, &context.frame(&staged.ledger, false)))?;
        let known: usize = report.known.values().sum();
        if known > 0 {
            let rules: Vec<String> =
                report.known.iter().map(|(rule, count)| format!("{rule} {count}")).collect();
            writeln!(out, "Known already and not blocking again: {}.", rules.join(", "))?;
        }
    }
    Ok(if report.blocked() { Status::Objection } else { Status::Done })
}

/// Judges both states in whole, because they could not be judged by parts (`why`): what a later run needs for that is
/// kept when the answer is out.
fn whole_ledger(
    context: &Context,
    place: &Place,
    base: Snapshot,
    staged: Snapshot,
    why: Option<&str>,
) -> Result<hook_parts::Judged, Failure> {
    let (base, staged) = (to_the_end(context.read(base)), to_the_end(context.read(staged)));
    let ((before, after), (edits, explained)) = rayon::join(
        || {
            let before = context.judged(&base.ledger);
            let after = match &before {
                Ok(before) => evaluate_beside(&staged.ledger, context.today, before),
                Err(_) => context.judged(&staged.ledger),
            };
            (to_the_end(before), to_the_end(after))
        },
        || {
            let edits = diff(&base.ledger, &staged.ledger);
            let explained = context.explain(place, &base, &staged, &edits);
            (edits, explained)
        },
    );
    let report = judge(
        &Side::of(&base.ledger, before.as_ref()),
        &Side::of(&staged.ledger, after.as_ref()),
        &edits,
        &explained,
        &completions(context, place, &base, &staged),
        context.today,
    );
    if let Some(why) = why.filter(|why| hook_parts::is_useless(why)) {
        hook_parts::keep(context, place, &base, &before, why);
    }
    if let Some(why) = why.filter(|_| !report.blocked()) {
        hook_parts::keep(context, place, &staged, &after, why);
    }
    Ok(hook_parts::Judged { report, base, staged })
}

/// Refuses a commit after a change that was cut short: what is staged may be half of it.
fn whole(place: &Place) -> Result<(), Failure> {
    if unfinished(place).is_none() {
        return Ok(());
    }
    let finished = Writer::wait(place).and_then(|writer| writer.finish()).map_err(unwritten)?;
    if finished.is_empty() {
        return Ok(());
    }
    let files = finished.join(" ");
    Err(Failure::new(
        format!(
            "an earlier change was cut short, and half of it may be staged; it is finished now in the work tree: {files}"
        ),
        format!("stage the rest of it, `git add {files}`, and commit again"),
    ))
}

/// A finding for code hosts: what blocks is an error there.
fn found(view: &FindingView) -> Found {
    Found {
        rule: view.rule.clone(),
        level: if view.level == "block" { Level::Error } else { Level::Warning },
        file: view.file.clone(),
        begin: (view.line, None),
        end: None,
        message: view.message.clone(),
        help: view.help.clone(),
        panel: view.panel.clone(),
        related: Vec::new(),
    }
}

/// A case for each finding, and one for each rule that found nothing; what only warns passes and says so.
fn cases(views: &[FindingView]) -> Vec<Case> {
    let mut cases = Vec::new();
    for (rule, _) in RULES {
        let own: Vec<&FindingView> = views.iter().filter(|view| view.rule == rule).collect();
        if own.is_empty() {
            cases.push(Case { class: "gate".to_string(), name: rule.to_string(), ..Case::default() });
        }
        for (at, view) in own.iter().enumerate() {
            let help = view.help.as_ref().map_or_else(String::new, |help| format!("\nhelp: {help}"));
            let text = format!("{}{help}", view.message);
            let blocks = view.level == "block";
            let panel = view.panel.as_ref().map_or_else(String::new, |panel| format!(" panel/{panel}"));
            cases.push(Case {
                class: "gate".to_string(),
                name: format!("{rule}{panel} {}", at + 1),
                file: view.file.clone(),
                line: view.line,
                failure: blocks.then(|| (rule.to_string(), text.clone())),
                said: if blocks { String::new() } else { format!("warns: {text}") },
            });
        }
    }
    cases
}

/// What completing the records gives to which something was added: nobody's word is taken for it.
fn completions(context: &Context, place: &Place, base: &Loaded, staged: &Loaded) -> Completions {
    let one = |entry: &Entry<Evidence>| {
        let commit = entry.value.conformed.as_ref().and_then(|conformed| conformed.commit.as_ref());
        let commit = commit.ok_or_else(|| "it names no commit that it was conformed at".to_string())?;
        let design = as_of(context, place, commit.as_str())
            .map_err(|fault| format!("the ledger of commit {commit} can't be read: {}", fault.message))?;
        completed(&design.ledger, entry).map_err(|fault| fault.to_string())
    };
    let added = to_be_completed(&base.ledger, &staged.ledger);
    added.into_iter().map(|entry| (entry.id.clone(), one(entry))).collect()
}

/// File and line that a finding points at, in what is staged or in what is committed.
fn place_of(finding: &Finding, staged: &Loaded, base: &Loaded) -> (String, Option<usize>) {
    if let Some((file, line)) = &finding.place {
        return (file.clone(), *line);
    }
    for side in [staged, base] {
        let Some(file) = side.ledger.file_of(&finding.address) else { continue };
        let line = side.text(file).and_then(|text| {
            let index = places(&text);
            let stretch = index.find(&finding.route).or_else(|| index.nearest(&finding.route))?;
            stretch.place(file).line
        });
        return (file.to_string(), line.or(Some(1)));
    }
    ("ledger.yaml".to_string(), None)
}
