//! `bondline gaps`.

use super::args::GapsArgs;
use super::context::{Context, Failure, Status, nearest, to_the_end};
use crate::qualify::gaps::{Gaps, GapsOptions, gaps, together, trials_of};
use crate::qualify::next::{next_tests, single_points};
use crate::report::gaps as view;
use crate::report::next;
use crate::report::page::Frame;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &GapsArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = to_the_end(context.load_with(&place, &args.source, &args.with)?);
    let evaluation = to_the_end(context.evaluate(&loaded, err)?);
    let options = GapsOptions { all: args.all, milestone: args.milestone.clone() };
    let found = gaps(&loaded.ledger, &evaluation, &options);
    if found.unknown_milestone {
        let head = loaded.ledger.head.as_ref();
        let names: Vec<&str> =
            head.map_or_else(Vec::new, |head| head.milestones.iter().map(|text| text.as_str()).collect());
        let asked = args.milestone.as_deref().unwrap_or_default();
        return Err(Failure::new(format!("the ledger has no milestone `{asked}`"), nearest(asked, &names)));
    }
    if args.next {
        let missing = |problem: &crate::article::ArticleError| context.missing(&loaded, problem);
        let tests = next_tests(&loaded.ledger, &evaluation, &found).map_err(|problem| missing(&problem))?;
        let points = single_points(&loaded.ledger, &evaluation, context.today);
        let trials = trials_of(&loaded.ledger, &evaluation, &options, context.today);
        let text = |frame: &Frame| {
            view::text(&found, None, &trials, Some((tests.as_slice(), points.as_slice())), frame)
        };
        let document = || next::add_to(view::json(&found, &trials), &tests, &points);
        context.answer(out, (&loaded, &evaluation), args.all, document, text)?;
        return Ok(status(args, &found));
    }
    let trials = trials_of(&loaded.ledger, &evaluation, &options, context.today);
    let text = |frame: &Frame| {
        let plan = together(&loaded.ledger, &evaluation, &found);
        view::text(&found, Some(&plan), &trials, None, frame)
    };
    context.answer(out, (&loaded, &evaluation), args.all, || view::json(&found, &trials), text)?;
    Ok(status(args, &found))
}

fn status(args: &GapsArgs, found: &Gaps) -> Status {
    let open = found.duties.iter().any(|gap| !gap.verdict.is_closed());
    if args.strict && open { Status::Objection } else { Status::Done }
}
