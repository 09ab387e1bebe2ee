//! `bondline compare`.

use super::args::{CompareArgs, Source};
use super::context::{Context, Failure, Loaded, Status, to_the_end};
use super::decide::short_id;
use super::laid::{Named, all_or_no_decisions};
use crate::change::compare::{Base, Column, edit_conflicts, gatherings, together};
use crate::change::footprint::conflicts;
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
    let mut seen: Vec<&String> = Vec::new();
    for name in &args.of {
        if seen.contains(&name) {
            return Err(Failure::new(format!("`{name}` is named twice"), "name each change once"));
        }
        seen.push(name);
    }
    let source = Source { at: args.base.clone(), ..Source::default() };
    // Where the work tree can't be read, revisions still can.
    let current = context.load(&place, &source);
    if let Ok(current) = &current
        && let Some(decisions) = all_or_no_decisions(&current.ledger, &args.of)
            .map_err(|failure| mixed(&place, &args.of, failure))?
    {
        let names: Vec<String> = decisions.iter().map(|(id, _)| id.clone()).collect();
        let changes = Decided { context, place: &place, current, decisions: &decisions };
        return compared(context, args, current, &names, &changes, (out, err));
    }
    if let Some(day) = &args.as_of.day {
        return Err(Failure::new(
            "--as-of is for decisions, which are laid over the state of that day",
            format!(
                "revisions are compared with what they have in common: leave it out, or write `--base` with the commit of {day} and `--today {day}`"
            ),
        ));
    }
    let base = match (&args.base, args.of.split_first()) {
        (Some(base), _) => base.clone(),
        (None, Some((first, rest))) => {
            rest.iter().try_fold(first.clone(), |base, one| place.merge_base(&base, one))?
        }
        (None, None) => "HEAD".to_string(),
    };
    if args.base.is_none() {
        not_the_base(&place, &base, &args.of)?;
    }
    let current = context.read(place.revision(&base)?);
    let changes = Revised { context, place: &place, base: &base, of: &args.of };
    compared(context, args, &current, &args.of, &changes, (out, err))
}

/// Refuses a revision that the others come from: as their base it would be compared with itself.
fn not_the_base(place: &Place, base: &str, of: &[String]) -> Result<(), Failure> {
    let (mut own, mut others) = (Vec::new(), Vec::new());
    for name in of {
        let is_base = place.merge_base(name, name)? == base;
        if is_base { own.push(name) } else { others.push(name) }
    }
    let way = match (own.as_slice(), others.as_slice()) {
        ([], _) | ([_], []) => return Ok(()),
        ([name, other, ..], _) => {
            let message = format!("`{name}` and `{other}` are one commit");
            return Err(Failure::new(message, "name each change once"));
        }
        ([name], [other]) => format!("`bondline impact {name} {other}` shows what lies between the two"),
        _ => "leave it out, and the others are compared from where they part".to_string(),
    };
    let name = own.first().map_or("", |name| name.as_str());
    Err(Failure::new(
        format!("what is compared comes from `{name}` itself, which would have nothing to show"),
        format!("{way}; `--base REV` holds all of them against another state"),
    ))
}

/// Where some arguments are decisions and others are revisions, says so instead of calling a revision an unknown
/// decision.
fn mixed(place: &Place, of: &[String], failure: Failure) -> Failure {
    let revision = of.iter().find(|name| {
        failure.message.contains(&format!("no decision is called `{name}`")) && place.revision(name).is_ok()
    });
    match revision {
        Some(name) => Failure::new(
            format!("`{name}` is a revision, and others of these are decisions"),
            "compare decisions with decisions or revisions with revisions; `--base REV` lays decisions over a revision",
        ),
        None => failure,
    }
}

/// A whole, or why there is none.
type Whole = Result<Loaded, Vec<Gathering>>;

/// What is compared: how each state is had, and how several become one.
trait Changes {
    /// Whether they are decisions.
    const DECISIONS: bool;
    /// The state with one of them.
    fn alone(&self, at: usize) -> Result<Loaded, Failure>;
    /// The state with some of them.
    fn whole(&self, of: &[usize], columns: &[Column]) -> Result<Whole, Failure>;
}

/// Decisions laid over one state.
struct Decided<'a> {
    context: &'a Context,
    place: &'a Place,
    current: &'a Loaded,
    decisions: &'a [Named<'a>],
}

impl Decided<'_> {
    fn laid(&self, of: &[usize]) -> Result<Loaded, Failure> {
        let some: Vec<Named<'_>> = of.iter().filter_map(|at| self.decisions.get(*at)).cloned().collect();
        self.context.laid_over(self.place, self.current, &some).map_err(|failure| Failure {
            // Here the state is named by another option.
            help: failure.help.map(|help| {
                let ids = some.iter().map(|(id, _)| format!("bondline impact {} --at REV", short_id(id)));
                ids.fold(help, |help, own| help.replace(&own, "--base REV")).replace("--at REV", "--base REV")
            }),
            ..failure
        })
    }
}

impl Changes for Decided<'_> {
    const DECISIONS: bool = true;

    fn alone(&self, at: usize) -> Result<Loaded, Failure> {
        self.laid(&[at])
    }

    fn whole(&self, of: &[usize], _: &[Column]) -> Result<Whole, Failure> {
        let Loaded { ledger, snapshot, .. } = self.current;
        let mut clashes = Vec::new();
        for (one, two) in pairs(of) {
            let (Some((_, first)), Some((_, second))) = (self.decisions.get(one), self.decisions.get(two))
            else {
                continue;
            };
            let found = conflicts(ledger, snapshot, first, second).unwrap_or_default();
            if !found.is_empty() {
                clashes.push(Gathering::Conflict(vec![one, two], found));
            }
        }
        if !clashes.is_empty() {
            return Ok(Err(clashes));
        }
        Ok(self.laid(of).map_err(|failure| vec![Gathering::Impossible(of.to_vec(), failure.message)]))
    }
}

/// Revisions from one base.
struct Revised<'a> {
    context: &'a Context,
    place: &'a Place,
    base: &'a str,
    of: &'a [String],
}

impl Changes for Revised<'_> {
    const DECISIONS: bool = false;

    fn alone(&self, at: usize) -> Result<Loaded, Failure> {
        let name = self.of.get(at).map_or("", String::as_str);
        Ok(self.context.read(self.place.revision(name)?))
    }

    fn whole(&self, of: &[usize], columns: &[Column]) -> Result<Whole, Failure> {
        let some: Vec<String> = of.iter().filter_map(|at| self.of.get(*at)).cloned().collect();
        let merge = self.place.merged_from(self.base, &some)?;
        if merge.conflicts.is_empty() {
            let mut merged = self.context.read(merge.snapshot);
            merged.is_laid = true;
            return Ok(Ok(merged));
        }
        let mut clashes = Vec::new();
        for (one, two) in pairs(of) {
            let (Some(first), Some(second)) = (columns.get(one), columns.get(two)) else { continue };
            let found = edit_conflicts(&first.impact, &second.impact);
            if !found.is_empty() {
                clashes.push(Gathering::Conflict(vec![one, two], found));
            }
        }
        if clashes.is_empty() {
            let files: Vec<String> = merge.conflicts.iter().map(|file| shown(file)).collect();
            let words = format!("git can't join what they change in {}", files.join(", "));
            clashes.push(Gathering::Impossible(of.to_vec(), words));
        }
        Ok(Err(clashes))
    }
}

fn pairs(of: &[usize]) -> impl Iterator<Item = (usize, usize)> + '_ {
    of.iter().enumerate().flat_map(|(at, one)| of.iter().skip(at + 1).map(move |two| (*one, *two)))
}

/// Evaluates the base, each change, and those that are taken together.
fn compared<C: Changes>(
    context: &Context,
    args: &CompareArgs,
    current: &Loaded,
    names: &[String],
    changes: &C,
    (out, err): (&mut dyn Write, &mut dyn Write),
) -> Result<Status, Failure> {
    let before = to_the_end(context.evaluate(current, err)?);
    let label = current.label();
    let base =
        Base::of((&label, &current.ledger, &before)).map_err(|missing| context.missing(current, &missing))?;
    let column = |name: &str, state: Loaded, err: &mut dyn Write| -> Result<Column, Failure> {
        let state = to_the_end(state);
        let after = to_the_end(context.evaluate_beside(&state, &before, err)?);
        base.column((name, &state.ledger, &after)).map_err(|missing| context.missing(&state, &missing))
    };
    let mut columns = Vec::with_capacity(names.len());
    for (at, name) in names.iter().enumerate() {
        columns.push(column(name, changes.alone(at)?, err)?);
    }
    let mut gathered = Vec::new();
    for of in gatherings(names.len()) {
        match changes.whole(&of, &columns)? {
            Err(none) => gathered.extend(none),
            Ok(state) => {
                let some: Vec<String> = of.iter().filter_map(|at| names.get(*at)).cloned().collect();
                let whole = column(&some.join(" with "), state, err)?;
                gathered.push(Gathering::Whole(Box::new(together(&columns, &of, whole))));
            }
        }
    }
    let found = Comparison { base: label.clone(), decisions: C::DECISIONS, columns, together: gathered };
    let text = |frame: &Frame| view::text(&found, frame);
    context.answer(out, (current, &before), args.all, || view::json(&found), text)?;
    Ok(Status::Done)
}
