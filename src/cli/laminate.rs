//! `bondline laminate`.

use super::args::LaminateArgs;
use super::context::{Context, Failure, Status, address, nearest, unreadable};
use crate::qualify::margins::laminate_report;
use crate::record::RecordKind;
use crate::report::laminate as view;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &LaminateArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_alone(&place, &args.source)?;
    let ledger = &loaded.ledger;
    let found = address(&args.recipe, &[RecordKind::Recipe], ledger);
    if let Some(failure) = found.as_ref().and_then(|found| unreadable(ledger, found)) {
        return Err(failure);
    }
    let recipe = found
        .as_ref()
        .filter(|found| found.kind() == RecordKind::Recipe)
        .and_then(|found| ledger.recipes.get(found.id()));
    let Some(recipe) = recipe else {
        let names: Vec<&str> = ledger.recipes.keys().map(String::as_str).collect();
        return Err(Failure::new(
            format!("no recipe is called `{}`", args.recipe),
            nearest(&args.recipe, &names),
        ));
    };
    let of = found.unwrap_or_else(|| crate::record::Address::new(RecordKind::Recipe, recipe.id.clone()));
    let evaluation = context.evaluate_for(&loaded, &of, err)?;
    let report = laminate_report(ledger, &evaluation.duties, recipe)
        .map_err(|missing| context.missing(&loaded, &missing))?;
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
