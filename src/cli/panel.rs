//! `bondline panel`.

use super::args::PanelArgs;
use super::context::{Context, Failure, Status, address, nearest, unreadable};
use crate::article::weigh::{Scope, statement};
use crate::qualify::margins::{heat_of, margins_of, moisture, tool_checks};
use crate::record::{Address, RecordKind};
use crate::report::panel as view;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &PanelArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_alone(&place, &args.source)?;
    let ledger = &loaded.ledger;
    let found = address(&args.panel, &[RecordKind::Panel], ledger);
    if let Some(failure) = found.as_ref().and_then(|found| unreadable(ledger, found)) {
        return Err(failure);
    }
    let panel = found
        .as_ref()
        .filter(|found| found.kind() == RecordKind::Panel)
        .and_then(|found| ledger.panels.get(found.id()));
    let Some(panel) = panel else {
        let names: Vec<&str> = ledger.panels.keys().map(String::as_str).collect();
        return Err(Failure::new(
            format!("no panel is called `{}`", args.panel),
            nearest(&args.panel, &names),
        ));
    };
    let of = Address::new(RecordKind::Panel, panel.id.clone());
    let evaluation = context.evaluate_for(&loaded, &of, err)?;
    let missing = |problem: &crate::article::ArticleError| context.missing(&loaded, problem);
    let duties = &evaluation.duties;
    let report = view::PanelReport {
        panel,
        mass: statement(ledger, Scope::Panel(panel.id.clone())).map_err(|problem| missing(&problem))?,
        margins: margins_of(ledger, duties, &panel.id).map_err(|problem| missing(&problem))?,
        heat: heat_of(ledger, duties, panel).map_err(|problem| missing(&problem))?,
        moisture: moisture(ledger, duties, panel).map_err(|problem| missing(&problem))?,
        tools: tool_checks(ledger, duties, panel).map_err(|problem| missing(&problem))?,
        duties: view::duties_of(duties, &panel.id),
    };
    let head = context.report_head(&loaded, &evaluation);
    if context.json() {
        writeln!(out, "{:#}", head.add_to(view::json(&report)))?;
    } else {
        write!(out, "{}", view::text(&report, &context.frame(ledger, args.all)))?;
        writeln!(out)?;
        write!(out, "{}", head.text(context.width))?;
    }
    Ok(Status::Done)
}
