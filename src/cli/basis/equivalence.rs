//! An equivalence: its new sample against its baseline, as the verdict compares them.

use super::typed;
use crate::cli::args::BasisArgs;
use crate::cli::context::{Context, Failure, Loaded, Status};
use crate::ledger::Entry;
use crate::qualify::pool::levels;
use crate::record::{Address, Evidence, RecordKind};
use crate::report::basis::{equivalence_json, equivalence_report, equivalence_text};
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &BasisArgs,
    loaded: &Loaded,
    entry: &Entry<Evidence>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    if args.of.len() > 1 || args.between.is_some() {
        return Err(Failure::new(
            format!("evidence/{} is an equivalence: it is held against its baseline alone", entry.id),
            "name it alone and without `--between`: design values stay the baseline's",
        ));
    }
    let ledger = &loaded.ledger;
    let showing = ledger.showings.get(entry.value.showing.id()).ok_or_else(|| {
        Failure::new(
            format!("showing/{} of evidence/{} can't be read", entry.value.showing.id(), entry.id),
            "`bondline check` says why",
        )
    })?;
    let report = equivalence_report(ledger, showing, entry, &typed(args, levels(ledger, &showing.value)))?;
    let evaluation = context.evaluate_for(loaded, &Address::new(RecordKind::Showing, &showing.id), err)?;
    context.answer(
        out,
        (loaded, &evaluation),
        args.all,
        || equivalence_json(&report),
        |frame| equivalence_text(&report, frame),
    )?;
    Ok(Status::Done)
}
