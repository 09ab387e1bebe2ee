//! `bondline gaps`.

use super::args::{Format, GapsArgs};
use super::context::{Context, Failure, Status, nearest, to_the_end};
use crate::ledger::Ledger;
use crate::qualify::gaps::{Gaps, GapsOptions, gaps, together, trials_of};
use crate::qualify::next::{next_tests, single_points};
use crate::qualify::verdict::Verdict;
use crate::report::gaps as view;
use crate::report::junit::{self, Case};
use crate::report::next;
use crate::report::page::Frame;
use crate::report::reason::reason_words;
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
    let junit = context.format == Format::Junit;
    // A case that passed is a case too.
    let options = GapsOptions { all: args.all || junit, milestone: args.milestone.clone() };
    let found = gaps(&loaded.ledger, &evaluation, &options);
    if found.unknown_milestone {
        let head = loaded.ledger.head.as_ref();
        let names: Vec<&str> =
            head.map_or_else(Vec::new, |head| head.milestones.iter().map(|text| text.as_str()).collect());
        let asked = args.milestone.as_deref().unwrap_or_default();
        return Err(Failure::new(format!("the ledger has no milestone `{asked}`"), nearest(asked, &names)));
    }
    if junit {
        if args.next {
            return Err(Failure::new(
                "`gaps --next` has no format `junit`: what is ranked neither passes nor fails",
                "leave --next out, or write `--format json`",
            ));
        }
        write!(out, "{}", junit::document("bondline gaps", &suites(&loaded.ledger, &found)))?;
        return Ok(status(args, &found));
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

/// A case for each duty, a suite for each milestone that needs some; what is conceded passes and says so.
fn suites(ledger: &Ledger, found: &Gaps) -> Vec<(String, Vec<Case>)> {
    let mut suites: Vec<(String, Vec<Case>)> = Vec::new();
    for gap in &found.duties {
        let because: Vec<String> = gap.because.iter().map(reason_words).collect();
        let panels = gap.panels.join(", ");
        let text = format!(
            "{} {} is {}, asks {}; panels: {panels}\n{}",
            gap.showing,
            gap.subject,
            gap.verdict,
            gap.asks,
            because.join("\n")
        );
        let passed = gap.verdict.is_closed();
        let case = Case {
            class: gap.showing.clone(),
            name: gap.subject.to_string(),
            file: ledger.showings.get(&gap.showing).map(|entry| entry.file.clone()),
            line: ledger.showings.contains_key(&gap.showing).then_some(1),
            failure: (!passed).then(|| (gap.verdict.word().to_string(), text.clone())),
            said: if gap.verdict == Verdict::Conceded { text } else { String::new() },
        };
        let name = gap.needed_by.clone().unwrap_or_else(|| "needed by no milestone".to_string());
        match suites.last_mut().filter(|(own, _)| *own == name) {
            Some((_, cases)) => cases.push(case),
            None => suites.push((name, vec![case])),
        }
    }
    suites
}
