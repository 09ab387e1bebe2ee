//! `bondline impact`.

use super::args::{Format, ImpactArgs, Source};
use super::context::{Context, Failure, Loaded, Status, to_the_end};
use super::laid::all_or_no_decisions;
use crate::change::impact::{Impact, impact_of};
use crate::change::joint::joint;
use crate::qualify::verdict::Evaluation;
use crate::report::page::{Frame, shown};
use crate::report::{impact, joint as view, markdown};
use crate::source::{Place, Snapshot};
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &ImpactArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    if let [ours, theirs] = args.merge.as_slice() {
        return merged(context, &place, (ours, theirs), args, (out, err));
    }
    let (base, head, names) = sides(context, &place, args)?;
    let (base, head) = (to_the_end(base), to_the_end(head));
    let before = to_the_end(context.evaluate(&base, err)?);
    let after = to_the_end(context.evaluate_beside(&head, &before, err)?);
    let found = impact_of((&base.ledger, &names.0), &before, (&head.ledger, &names.1), &after)
        .map_err(|missing| context.missing(&head, &missing))?;
    if !summarised(context, (&head, &after), &found, args, out)? {
        let (document, text) = (|| impact::json(&found), |frame: &Frame| impact::text(&found, frame));
        context.answer(out, (&head, &after), args.all, document, text)?;
    }
    Ok(if args.strict && found.is_worse() { Status::Objection } else { Status::Done })
}

/// Writes the summary for a merge request where that is asked for, and says whether it was.
fn summarised(
    context: &Context,
    (head, after): (&Loaded, &Evaluation),
    found: &Impact,
    args: &ImpactArgs,
    out: &mut dyn Write,
) -> Result<bool, Failure> {
    if context.format != Format::Markdown {
        return Ok(false);
    }
    let line = context.report_head(head, after).line();
    write!(out, "{}", markdown::text(found, &line, &context.frame(&head.ledger, args.all)))?;
    Ok(true)
}

/// What two branches do alone and merged, from their common commit; nothing is checked out or written.
fn merged(
    context: &Context,
    place: &Place,
    (ours, theirs): (&String, &String),
    args: &ImpactArgs,
    (out, err): (&mut dyn Write, &mut dyn Write),
) -> Result<Status, Failure> {
    let merge = place.merged(ours, theirs)?;
    if !merge.conflicts.is_empty() {
        return Err(conflict(&format!("{ours} and {theirs}"), &merge.conflicts));
    }
    let base = to_the_end(context.read(place.revision(&place.merge_base(ours, theirs)?)?));
    let before = to_the_end(context.evaluate(&base, err)?);
    let mut whole = to_the_end(context.read(merge.snapshot));
    whole.is_laid = true;
    let label = format!("{ours} and {theirs} merged");
    let of = |state: &Loaded, label: &str, err: &mut dyn Write| -> Result<_, Failure> {
        let after = to_the_end(context.evaluate_beside(state, &before, err)?);
        let found = impact_of((&base.ledger, &base.label()), &before, (&state.ledger, label), &after)
            .map_err(|missing| context.missing(state, &missing))?;
        Ok((found, after))
    };
    let mut alone = Vec::new();
    for one in [ours, theirs] {
        let state = to_the_end(context.read(place.revision(one)?));
        alone.push(of(&state, one, err)?.0);
    }
    let (mut found, after) = of(&whole, &label, err)?;
    let parts: Vec<&Impact> = alone.iter().collect();
    let joint = joint(&parts, &found);
    let names = [ours.clone(), theirs.clone()];
    found.verdict = format!("{} {}", joint.sentences(&names), found.verdict).trim().to_string();
    if !summarised(context, (&whole, &after), &found, args, out)? {
        let document = || view::add_to(impact::json(&found), &joint, &parts);
        let text = |frame: &Frame| impact::text_of(&found, Some((&joint, &names)), frame);
        context.answer(out, (&whole, &after), args.all, document, text)?;
    }
    Ok(if args.strict && found.is_worse() { Status::Objection } else { Status::Done })
}

/// The failure of states that can't be joined, with the files.
pub(super) fn conflict(whose: &str, files: &[String]) -> Failure {
    let shown: Vec<String> = files.iter().map(|file| shown(file)).collect();
    Failure::new(
        format!("{whose} change the same places differently: {}", shown.join(", ")),
        "merge them by hand on a branch, then ask for the impact of that",
    )
}

/// The two revisions of `A..B`, as git people write them: HEAD where an end is left out. `A...B` means something else.
fn ends<'t>(text: &'t str) -> Option<(&'t str, &'t str)> {
    let (from, to) = text.split_once("..")?;
    let is_other = (from.is_empty() && to.is_empty()) || to.starts_with('.') || to.contains("..");
    let end = |own: &'t str| if own.is_empty() { "HEAD" } else { own };
    (!is_other).then(|| (end(from), end(to)))
}

/// The two states, and what they are called.
fn sides(
    context: &Context,
    place: &Place,
    args: &ImpactArgs,
) -> Result<(Loaded, Loaded, (String, String)), Failure> {
    if args.staged {
        let (base, head) = (context.read(place.head_or_empty()?), context.read(place.index()?));
        let names = (base.label(), head.label());
        return Ok((base, head, names));
    }
    let work = || context.load(place, &Source { at: args.at.clone(), ..Source::default() });
    match args.of.as_slice() {
        [] if args.at.is_none() => {
            // In no repository nothing is committed: the whole ledger is new.
            let before = match place.repository() {
                Some(_) => place.head_or_empty()?,
                None => Snapshot::empty(),
            };
            let (base, head) = (context.read(before), work()?);
            let names = (base.label(), head.label());
            Ok((base, head, names))
        }
        [] if args.as_of.day.is_some() => Err(Failure::new(
            "--as-of needs a decision to lay over that day's state, or a revision to hold it against",
            "write `bondline impact dd-003 --as-of DATE`, or `bondline impact REV --as-of DATE` for what differs from REV to that day",
        )),
        [] => Err(Failure::new("--at needs a decision", "write `bondline impact dd-003 --at REV`")),
        of => {
            let current = work();
            if args.at.is_some() {
                // What it names is laid over that state, and can't be read without it.
                if let Err(failure) = current {
                    return Err(failure);
                }
            }
            if let Ok(current) = &current
                && let Some(decisions) = all_or_no_decisions(&current.ledger, of)?
            {
                let mut head = context.laid_over(place, current, &decisions)?;
                // The paragraph names both sides; nothing has to be said before it.
                let with = std::mem::take(&mut head.with).join(" and ");
                let names = (current.label(), format!("{} with {with}", current.label()));
                let base = context.read(current.snapshot.clone());
                return Ok((base, head, names));
            }
            let two = |base: &str, head: &str| {
                let (base, head) = (context.read(place.revision(base)?), context.read(place.revision(head)?));
                let names = (base.label(), head.label());
                Ok((base, head, names))
            };
            match of {
                [one] => match ends(one) {
                    Some((base, head)) => two(base, head),
                    None => {
                        let (base, head) = (context.read(place.revision(one)?), current?);
                        let names = (base.label(), head.label());
                        Ok((base, head, names))
                    }
                },
                [base, head] => two(base, head),
                _ => Err(Failure::new(
                    "more than two revisions are named",
                    "write `bondline impact BASE HEAD`, or only decisions",
                )),
            }
        }
    }
}
