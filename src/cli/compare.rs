//! `bondline compare`.

use super::args::{CompareArgs, Source};
use super::context::{Context, Failure, Loaded, Status, to_the_end};
use super::laid::{Named, all_or_no_decisions};
use crate::change::compare::{Base, edit_conflicts, gatherings, together};
use crate::change::footprint::{Conflict, conflicts};
use crate::report::compare as view;
use crate::report::compare::{Comparison, Gathering};
use crate::report::page::{Frame, shown};
use crate::source::Place;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &CompareArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    if let Some(twice) =
        args.of.iter().enumerate().find(|(at, name)| args.of.iter().take(*at).any(|one| one == *name))
    {
        return Err(Failure::new(format!("`{}` is named twice", twice.1), "name each change once"));
    }
    let source = Source { at: args.base.clone(), staged: false };
    // Where the work tree can't be read, revisions still can.
    let current = context.load(&place, &source);
    if let Ok(current) = &current
        && let Some(decisions) =
            all_or_no_decisions(&current.ledger, &args.of).map_err(mixed(&place, &args.of))?
    {
        return decided(context, args, current, &decisions, (out, err));
    }
    revisions(context, args, &place, (out, err))
}

/// Where some arguments are decisions and others are revisions, says so instead of calling a revision an unknown
/// decision.
fn mixed<'a>(place: &'a Place, of: &'a [String]) -> impl Fn(Failure) -> Failure + 'a {
    move |failure| {
        let revision = of.iter().find(|name| {
            failure.message.contains(&format!("no decision is called `{name}`"))
                && place.revision(name).is_ok()
        });
        match revision {
            Some(name) => Failure::new(
                format!("`{name}` is a revision, and others of these are decisions"),
                "compare decisions with decisions or revisions with revisions; `--base REV` lays decisions over a revision",
            ),
            None => failure,
        }
    }
}

/// A state with what is judged of it.
type Judged = (Loaded, crate::qualify::verdict::Evaluation);

fn judged(
    context: &Context,
    state: Loaded,
    before: &crate::qualify::verdict::Evaluation,
    err: &mut dyn Write,
) -> Result<Judged, Failure> {
    let evaluation = context.evaluate_beside(&state, before, err)?;
    Ok((state, evaluation))
}

fn decided(
    context: &Context,
    args: &CompareArgs,
    current: &Loaded,
    decisions: &[Named<'_>],
    (out, err): (&mut dyn Write, &mut dyn Write),
) -> Result<Status, Failure> {
    let laid = |of: &[usize]| {
        let some: Vec<Named<'_>> = of.iter().filter_map(|at| decisions.get(*at)).cloned().collect();
        context.laid_over(current, &some).map_err(|failure| Failure {
            // Here the state is named by another option.
            help: failure.help.map(|help| help.replace("--at REV", "--base REV")),
            ..failure
        })
    };
    let clash = |of: &[usize]| -> Vec<Conflict> {
        // Of more than two, the first pair that differs speaks for all.
        let pairs =
            of.iter().enumerate().flat_map(|(at, one)| of.iter().skip(at + 1).map(move |two| (*one, *two)));
        let found = pairs.filter_map(|(one, two)| {
            let (one, two) = (decisions.get(one)?.1, decisions.get(two)?.1);
            conflicts(&current.ledger, &current.snapshot, one, two).ok()
        });
        found.flatten().collect()
    };
    let names: Vec<String> = decisions.iter().map(|(id, _)| id.clone()).collect();
    let whole =
        |of: &[usize], _: &[crate::change::compare::Column]| -> Result<Result<Loaded, Gathering>, Failure> {
            let found = clash(of);
            if !found.is_empty() {
                return Ok(Err(Gathering::Conflict(of.to_vec(), found)));
            }
            Ok(laid(of).map_err(|failure| Gathering::Impossible(of.to_vec(), failure.message)))
        };
    compared(context, args, current, &names, true, &laid, &whole, (out, err))
}

fn revisions(
    context: &Context,
    args: &CompareArgs,
    place: &Place,
    (out, err): (&mut dyn Write, &mut dyn Write),
) -> Result<Status, Failure> {
    let base = match (&args.base, args.of.split_first()) {
        (Some(base), _) => base.clone(),
        (None, Some((first, rest))) => {
            rest.iter().try_fold(first.clone(), |base, one| place.merge_base(&base, one))?
        }
        (None, None) => "HEAD".to_string(),
    };
    let current = context.read(place.revision(&base)?);
    let state = |of: &[usize]| -> Result<Loaded, Failure> {
        let name = of.first().and_then(|at| args.of.get(*at)).map_or("", String::as_str);
        Ok(context.read(place.revision(name)?))
    };
    let whole = |of: &[usize],
                 columns: &[crate::change::compare::Column]|
     -> Result<Result<Loaded, Gathering>, Failure> {
        let some: Vec<String> = of.iter().filter_map(|at| args.of.get(*at)).cloned().collect();
        let merge = place.merged_from(&base, &some)?;
        if merge.conflicts.is_empty() {
            let mut merged = context.read(merge.snapshot);
            merged.is_laid = true;
            return Ok(Ok(merged));
        }
        let impacts: Vec<_> = of.iter().filter_map(|at| columns.get(*at)).map(|own| &own.impact).collect();
        let named = match impacts.as_slice() {
            [one, two] => edit_conflicts(one, two),
            _ => Vec::new(),
        };
        if !named.is_empty() {
            return Ok(Err(Gathering::Conflict(of.to_vec(), named)));
        }
        let files: Vec<String> = merge.conflicts.iter().map(|file| shown(file)).collect();
        let words = format!("git can't join what they change in {}", files.join(", "));
        Ok(Err(Gathering::Impossible(of.to_vec(), words)))
    };
    compared(context, args, &current, &args.of, false, &state, &whole, (out, err))
}

/// Evaluates the base, each change, and those that are taken together.
#[allow(
    clippy::too_many_arguments,
    reason = "what differs between decisions and revisions comes as functions"
)]
fn compared(
    context: &Context,
    args: &CompareArgs,
    current: &Loaded,
    names: &[String],
    decisions: bool,
    state: &dyn Fn(&[usize]) -> Result<Loaded, Failure>,
    whole: &dyn Fn(&[usize], &[crate::change::compare::Column]) -> Result<Result<Loaded, Gathering>, Failure>,
    (out, err): (&mut dyn Write, &mut dyn Write),
) -> Result<Status, Failure> {
    let before = to_the_end(context.evaluate(current, err)?);
    let label = current.label();
    let missing = |state: &Loaded, problem| context.missing(state, &problem);
    let base = Base::of((&label, &current.ledger, &before)).map_err(|problem| missing(current, problem))?;
    let mut columns = Vec::with_capacity(names.len());
    for (at, name) in names.iter().enumerate() {
        let own = to_the_end(judged(context, state(&[at])?, &before, err)?);
        columns.push(base.column((name, &own.0.ledger, &own.1)).map_err(|problem| missing(&own.0, problem))?);
    }
    let mut gathered = Vec::new();
    for of in gatherings(names.len()) {
        match whole(&of, &columns)? {
            Err(none) => gathered.push(none),
            Ok(state) => {
                let own = to_the_end(judged(context, state, &before, err)?);
                let label =
                    of.iter().filter_map(|at| names.get(*at)).cloned().collect::<Vec<_>>().join(" with ");
                let column = base
                    .column((&label, &own.0.ledger, &own.1))
                    .map_err(|problem| missing(&own.0, problem))?;
                gathered.push(Gathering::Whole(Box::new(together(&columns, &of, column))));
            }
        }
    }
    let found = Comparison { base: label.clone(), decisions, columns, together: gathered };
    let text = |frame: &Frame| view::text(&found, frame);
    context.answer(out, (current, &before), args.all, || view::json(&found), text)?;
    Ok(Status::Done)
}
