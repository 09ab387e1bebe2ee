//! `bondline hook`.

use super::args::{HookArgs, HookCommand, HookRunArgs};
use super::context::{Context, Failure, Loaded, Status};
use crate::article::ArticleError;
use crate::gate::{Finding, GateReport, Side, judge};
use crate::qualify::verdict::{Evaluation, evaluate};
use crate::record::{PolicyLevel, places};
use crate::source::hook::{HookDone, HookError, install, remove};
use serde_json::json;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &HookArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
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
                HookDone::Unchanged => "was not installed",
                _ => "is removed",
            };
            said(context, out, &report.path, words, report.chained.as_deref(), &report.notes)
        }
        HookCommand::Run(run) => gate(context, run, out, err),
    }
}

fn failure(error: HookError) -> Failure {
    let mend = error.mend();
    Failure::Stopped {
        message: error.to_string(),
        help: (!mend.is_empty()).then_some(mend),
        faults: Vec::new(),
    }
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
        writeln!(out, "{note}")?;
    }
    Ok(Status::Done)
}

fn gate(
    context: &mut Context,
    args: &HookRunArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let (base, staged) = match &args.range {
        None => (place.head_or_empty()?, place.index()?),
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
            (place.revision(&merge_base)?, place.revision(to)?)
        }
    };
    let (base, staged) = (context.read(base), context.read(staged));
    let (before, after) = rayon::join(|| judged(context, &base), || judged(context, &staged));
    let report = judge(
        &Side { ledger: &base.ledger, evaluation: before.as_ref() },
        &Side { ledger: &staged.ledger, evaluation: after.as_ref() },
    );
    if context.json() {
        let findings: Vec<_> = report
            .findings
            .iter()
            .map(|finding| {
                let (file, line) = place_of(finding, &staged, &base);
                json!({
                    "rule": finding.rule,
                    "level": finding.level.word(),
                    "file": file,
                    "line": line,
                    "panel": finding.panel,
                    "message": finding.message,
                    "help": finding.help,
                })
            })
            .collect();
        let document = json!({ "schema": "hook-run/1", "blocked": report.blocked(), "findings": findings, "known": report.known });
        writeln!(out, "{document:#}")?;
    } else {
        text(&report, &staged, &base, out, err)?;
    }
    Ok(if report.blocked() { Status::Objection } else { Status::Done })
}

fn judged(context: &Context, loaded: &Loaded) -> Result<Evaluation, ArticleError> {
    evaluate(&loaded.ledger, context.today)
}

/// File and line that a finding points at, in what is staged or in what is committed.
fn place_of(finding: &Finding, staged: &Loaded, base: &Loaded) -> (String, Option<usize>) {
    if let Some((file, line)) = &finding.place {
        return (file.clone(), *line);
    }
    for side in [staged, base] {
        let Some(file) = side.ledger.file_of(&finding.address) else { continue };
        let line = side
            .snapshot
            .read_limited(file, crate::source::RECORD_LIMIT)
            .ok()
            .and_then(|bytes| String::from_utf8(bytes.to_vec()).ok())
            .and_then(|text| {
                let index = places(&text);
                let stretch = index.find(&finding.route).or_else(|| index.nearest(&finding.route))?;
                stretch.place(file).line
            });
        return (file.to_string(), line.or(Some(1)));
    }
    ("ledger.yaml".to_string(), None)
}

fn text(
    report: &GateReport,
    staged: &Loaded,
    base: &Loaded,
    out: &mut dyn Write,
    _err: &mut dyn Write,
) -> Result<(), Failure> {
    for finding in &report.findings {
        let (file, line) = place_of(finding, staged, base);
        let line = line.map_or(String::new(), |line| format!(":{line}"));
        let word = if finding.level == PolicyLevel::Block { "blocked" } else { "warning" };
        writeln!(out, "{word}[{}]: {}", finding.rule, finding.message)?;
        writeln!(out, " --> {file}{line}")?;
        writeln!(out, "help: {}", finding.help)?;
        writeln!(out)?;
    }
    let known: usize = report.known.values().sum();
    if known > 0 {
        let rules: Vec<String> = report.known.iter().map(|(rule, count)| format!("{rule} {count}")).collect();
        writeln!(out, "known already, not blocking again: {}", rules.join(", "))?;
    }
    let blocks = report.findings.iter().filter(|finding| finding.level == PolicyLevel::Block).count();
    if blocks > 0 {
        let words =
            if blocks == 1 { "1 finding blocks".to_string() } else { format!("{blocks} findings block") };
        writeln!(
            out,
            "{words} this commit; nothing was changed. `bondline impact --staged` shows the whole change."
        )?;
    } else if report.findings.is_empty() && known == 0 {
        writeln!(out, "nothing objects to this commit")?;
    }
    Ok(())
}
