//! `bondline assumptions`.

use super::args::AssumptionsArgs;
use super::context::{Context, Failure, Status};
use crate::qualify::assumed::assumptions;
use crate::report::assumptions as view;
use crate::report::page::Frame;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &AssumptionsArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_with(&place, &args.source, &args.with)?;
    let evaluation = context.evaluate(&loaded, err)?;
    let found =
        assumptions(&loaded.ledger, &evaluation).map_err(|missing| context.missing(&loaded, &missing))?;
    let (document, text) = (|| view::json(&found), |frame: &Frame| view::text(&found, frame));
    context.answer(out, (&loaded, &evaluation), args.all, document, text)?;
    Ok(Status::Done)
}
