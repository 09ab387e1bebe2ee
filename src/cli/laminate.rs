//! `bondline laminate`.

use super::args::LaminateArgs;
use super::context::{Context, Failure, Status, named};
use crate::qualify::margins::laminate_report;
use crate::record::{Address, RecordKind};
use crate::report::laminate as view;
use crate::report::page::Frame;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &LaminateArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_with(&place, &args.source, &args.with)?;
    let ledger = &loaded.ledger;
    let recipe = named(&args.recipe, RecordKind::Recipe, &ledger.recipes, ledger)?;
    let of = Address::new(RecordKind::Recipe, recipe.id.clone());
    let evaluation = context.evaluate_for(&loaded, &of, err)?;
    let report =
        laminate_report(ledger, &evaluation, recipe).map_err(|missing| context.missing(&loaded, &missing))?;
    let (document, text) = (|| view::json(&report), |frame: &Frame| view::text(&report, frame));
    context.answer(out, (&loaded, &evaluation), args.all, document, text)?;
    Ok(Status::Done)
}
