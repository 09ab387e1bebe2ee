//! `bondline panel`.

use super::args::PanelArgs;
use super::context::{Context, Failure, Status, named};
use crate::article::weigh::{Scope, cost_of, statement};
use crate::qualify::margins::{heat_of, moisture, tool_checks};
use crate::record::{Address, RecordKind};
use crate::report::page::Frame;
use crate::report::panel as view;
use std::io::Write;
use std::sync::Arc;

pub(super) fn run(
    context: &mut Context,
    args: &PanelArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_with(&place, &args.source, &args.with)?;
    let ledger = &loaded.ledger;
    let panel = named(&args.panel, RecordKind::Panel, &ledger.panels, ledger)?;
    let of = Address::new(RecordKind::Panel, panel.id.clone());
    let evaluation = context.evaluate_for(&loaded, &of, err)?;
    let missing = |problem: &crate::article::ArticleError| context.missing(&loaded, problem);
    let duties = &evaluation.duties;
    let report = view::PanelReport {
        panel,
        mass: statement(ledger, Scope::Panel(panel.id.clone())).map_err(|problem| missing(&problem))?,
        cost: cost_of(ledger, &Scope::Panel(panel.id.clone())).map_err(|problem| missing(&problem))?,
        margins: evaluation
            .margins(ledger, &panel.id)
            .map(Arc::unwrap_or_clone)
            .map_err(|problem| missing(&problem))?,
        heat: heat_of(ledger, duties, panel).map_err(|problem| missing(&problem))?,
        moisture: moisture(ledger, duties, panel).map_err(|problem| missing(&problem))?,
        tools: tool_checks(ledger, duties, panel).map_err(|problem| missing(&problem))?,
        duties: view::duties_of(duties, &panel.id),
    };
    let (document, text) = (|| view::json(&report), |frame: &Frame| view::text(&report, frame));
    context.answer(out, (&loaded, &evaluation), args.all, document, text)?;
    Ok(Status::Done)
}
