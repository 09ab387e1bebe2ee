//! `bondline assumptions`.

use super::args::AssumptionsArgs;
use super::context::{Context, Failure, Status};
use crate::qualify::assumed::assumptions;
use crate::report::assumptions as view;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &AssumptionsArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_alone(&place, &args.source)?;
    let evaluation = context.evaluate(&loaded, err)?;
    let found =
        assumptions(&loaded.ledger, &evaluation).map_err(|missing| context.missing(&loaded, &missing))?;
    let report_head = context.report_head(&loaded, &evaluation);
    if context.json() {
        writeln!(out, "{:#}", report_head.add_to(view::json(&found)))?;
    } else {
        write!(out, "{}", view::text(&found, &context.frame(&loaded.ledger, args.all)))?;
        writeln!(out)?;
        write!(out, "{}", report_head.text(context.width))?;
    }
    Ok(Status::Done)
}
