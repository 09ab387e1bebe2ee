//! `bondline impact`.

use super::args::{ImpactArgs, Source};
use super::context::{Context, Failure, Loaded, Status, nearest, to_the_end, unreadable};
use crate::change::impact::impact_of;
use crate::ledger::{Entry, Ledger};
use crate::record::{Address, Decision, RecordKind};
use crate::report::impact;
use crate::report::page::Frame;
use crate::source::{Place, Snapshot};
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &ImpactArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let (base, head, names) = sides(context, &place, args)?;
    let (base, head) = (to_the_end(base), to_the_end(head));
    let before = to_the_end(context.evaluate(&base, err)?);
    let after = to_the_end(context.evaluate_beside(&head, &before, err)?);
    let found = impact_of((&base.ledger, &names.0), &before, (&head.ledger, &names.1), &after)
        .map_err(|missing| context.missing(&head, &missing))?;
    let (document, text) = (|| impact::json(&found), |frame: &Frame| impact::text(&found, frame));
    context.answer(out, (&head, &after), args.all, document, text)?;
    let worse = found.duties.iter().any(|row| row.is_worse()) || !found.grounded.is_empty();
    Ok(if args.strict && worse { Status::Objection } else { Status::Done })
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
    let work = || context.load(place, &Source { at: args.at.clone(), staged: false });
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
        [] => Err(Failure::new("--at needs a decision", "write `bondline impact dd-003 --at REV`")),
        of => {
            let current = work();
            if let Ok(current) = &current
                && let Some(decisions) = decisions(current, of)?
            {
                let texts = context.laid(place, current, &decisions)?;
                let head = context.read(current.snapshot.overlay(texts));
                let ids: Vec<&str> = decisions.iter().map(|entry| entry.id.as_str()).collect();
                let names = (current.label(), format!("{} with {}", current.label(), ids.join(" and ")));
                let base = context.read(current.snapshot.clone());
                return Ok((base, head, names));
            }
            match of {
                [base] => {
                    let (base, head) = (context.read(place.revision(base)?), current?);
                    let names = (base.label(), head.label());
                    Ok((base, head, names))
                }
                [base, head] => {
                    let (base, head) =
                        (context.read(place.revision(base)?), context.read(place.revision(head)?));
                    let names = (base.label(), head.label());
                    Ok((base, head, names))
                }
                _ => Err(Failure::new(
                    "more than two revisions are named",
                    "write `bondline impact BASE HEAD`, or only decisions",
                )),
            }
        }
    }
}

/// Reads all arguments as decisions, by id or by a beginning that only one has; `None` where none is one.
fn decisions<'a>(loaded: &'a Loaded, of: &[String]) -> Result<Option<Vec<&'a Entry<Decision>>>, Failure> {
    let all = &loaded.ledger.decisions;
    let mut found = Vec::new();
    for text in of {
        let name =
            text.trim_start_matches("decision/").trim_start_matches("decisions/").trim_end_matches(".yaml");
        let fits: Vec<_> = match all.get(name) {
            Some(entry) => vec![entry],
            None => all.values().filter(|entry| entry.id.starts_with(&format!("{name}-"))).collect(),
        };
        match fits.as_slice() {
            [only] => found.push(*only),
            // One that is there but broken is not one that is missing.
            [] => {
                if let Some(broken) = broken(&loaded.ledger, name) {
                    return Err(broken);
                }
            }
            many => {
                let names: Vec<&str> = many.iter().map(|entry| entry.id.as_str()).collect();
                return Err(Failure::new(
                    format!("`{text}` is the beginning of several decisions"),
                    format!("name one of {}", names.join(", ")),
                ));
            }
        }
    }
    if found.len() == of.len() {
        return Ok(Some(found));
    }
    if found.is_empty() && !of.iter().any(|text| text.starts_with("dd-") || text.starts_with("decision/")) {
        return Ok(None);
    }
    let unknown = of
        .iter()
        .find(|text| !found.iter().any(|entry: &&Entry<Decision>| entry.id.starts_with(text.as_str())));
    let broken = loaded.ledger.broken.iter().filter(|one| one.kind() == RecordKind::Decision);
    let names: Vec<&str> = all.keys().map(String::as_str).chain(broken.map(Address::id)).collect();
    let text = unknown.map_or("", String::as_str);
    Err(Failure::new(format!("no decision is called `{text}`"), nearest(text, &names)))
}

/// Says what is wrong with a decision that is there, by its id or its beginning, but can't be read.
fn broken(ledger: &Ledger, name: &str) -> Option<Failure> {
    let begins = |id: &str| id == name || id.strip_prefix(name).is_some_and(|rest| rest.starts_with('-'));
    let found = ledger.broken.iter().find(|one| one.kind() == RecordKind::Decision && begins(one.id()))?;
    unreadable(ledger, found)
}
