//! `bondline decide close`.

use super::{Wrote, brief, decision, text_of, uneditable, wrong_status};
use crate::change::decide::overlay;
use crate::change::found::{Successors, evidence_for, found};
use crate::cli::args::CloseArgs;
use crate::cli::context::{Context, Failure, Loaded, Status};
use crate::qualify::verdict::Evaluation;
use crate::record::edit::{self, EditError};
use crate::record::{Decision, DecisionStatus, FoundFigures};
use crate::report::decision as view;
use crate::source::Place;
use crate::source::write::FileEdit;
use serde_json::json;
use std::io::Write;

pub(super) fn run(
    context: &Context,
    args: &CloseArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let (place, writer, now) = context.opened(err)?;
    let entry = decision(&now, &args.decision)?;
    let own = &*entry.value;
    if own.status != DecisionStatus::Approved {
        return Err(wrong_status(
            entry,
            "what is closed was approved and carried out",
            "`bondline decide show {id}` shows how it stands",
        ));
    }
    if own.predicted.is_none() {
        writeln!(
            err,
            "note: {} was approved without a prediction; only what it came to is written",
            entry.id
        )?;
    }
    let applied = context.application(&place, &now, entry)?.ok_or_else(|| {
        Failure::new(
            format!("no commit on this branch carries {} out", entry.id),
            "close it once it is applied and committed; one that is not pursued is `withdrawn`",
        )
    })?;
    if let Some((commit, on)) = &applied.undone {
        return Err(Failure::new(
            format!(
                "{} was carried out in {} and taken back on {on} in {}: nothing is left to hold to its prediction",
                entry.id,
                brief(&applied.commit),
                brief(commit)
            ),
            "what does it again is another decision; say by `status: withdrawn` that this one is not pursued",
        ));
    }
    let evaluation = context.evaluate(&now, err)?;
    let statement = context.statement(&now)?;
    let successors = successors(context, &place, own, (&now, &evaluation), err)?;
    let used = evidence_for(&evaluation, own, &successors);
    let head = place.head_or_empty()?;
    let past = context.past(&place);
    let done = past.done((&now.ledger, head.commit()), used.into_iter(), context.today)?;
    let mut figures = found(
        (&now.ledger, &evaluation),
        &statement,
        own,
        Some(&applied),
        &successors,
        (&done, context.today),
    );
    figures.note = match (figures.note.take(), &args.note) {
        (Some(before), Some(note)) if before.trim() != note.trim() => {
            Some(format!("{}\n{note}", before.trim_end()))
        }
        (before, note) => before.or_else(|| note.clone()),
    };
    // What comes to the same on a later day says nothing new.
    if let Some(known) = own.found.as_ref().map(|found| &found.0)
        && (FoundFigures { on: known.on, ..figures.clone() }) == *known
    {
        figures.on = known.on;
    }
    let was = text_of(&now, entry)?;
    let text = written(&was, &figures).map_err(|fault| uneditable(&entry.file, &fault))?;
    let mut said = view::came_true(own.predicted.as_ref(), &figures);
    if text != was && !args.dry_run {
        said.push("Commit it: `bondline history` reads what is committed.".to_string());
    }
    let wrote = Wrote {
        did: "close",
        id: &entry.id,
        file: &entry.file,
        dry_run: args.dry_run,
        said,
        more: json!({ "found": figures }),
    };
    let edit = FileEdit { file: entry.file.clone(), was: Some(was), shall: Some(text) };
    wrote.write(context, &writer, &[edit], out)
}

/// What the predicted duties are called now; nothing is known of them where the state that they were predicted on is
/// not here.
fn successors(
    context: &Context,
    place: &Place,
    own: &Decision,
    (now, evaluation): (&Loaded, &Evaluation),
    err: &mut dyn Write,
) -> Result<Successors, Failure> {
    let predicted = own.predicted.as_ref().filter(|predicted| !predicted.lapsed.is_empty());
    let Some(commit) = predicted.and_then(|predicted| predicted.commit.as_ref()) else {
        return Ok(Successors::default());
    };
    let laid = context.past(place).revisions.commit(commit.as_str()).and_then(|then| {
        let then = context.read(then);
        let texts = overlay(&then.ledger, &then.snapshot, &[own]).ok()?;
        Some(context.read(then.snapshot.overlay(texts)))
    });
    let Some(laid) = laid else {
        writeln!(
            err,
            "note: commit {commit} that {} was predicted on is not here: a duty that is called otherwise now is not found",
            own.title.as_deref().unwrap_or("it")
        )?;
        return Ok(Successors::default());
    };
    let before = context.evaluate_beside(&laid, evaluation, err)?;
    Successors::of((&laid.ledger, &before), (&now.ledger, evaluation))
        .map_err(|missing| context.missing(now, &missing))
}

/// The text with what was found: where it says something already only what differs is written, key by key.
fn written(text: &str, figures: &FoundFigures) -> Result<String, EditError> {
    let value = serde_yaml::to_value(figures).map_err(|_| EditError::NotWritable)?;
    let known: serde_yaml::Value = serde_yaml::from_str(text).unwrap_or_default();
    if let (Some(serde_yaml::Value::Mapping(was)), serde_yaml::Value::Mapping(is)) =
        (known.get("found"), &value)
    {
        let mut text = text.to_string();
        let gone = was.keys().filter(|key| !is.contains_key(*key));
        for key in gone.filter_map(serde_yaml::Value::as_str) {
            text = edit::remove(&text, &format!("found.{key}"))?;
        }
        for (key, value) in is {
            let Some(word) = key.as_str() else { continue };
            text = match was.get(key) {
                Some(old) if old == value => text,
                Some(old) => renewed(&text, &format!("found.{word}"), old, value)?,
                None => edit::add_key(&text, "found", word, value)?,
            };
        }
        return Ok(text);
    }
    let lines = edit::block_lines(&value).ok_or(EditError::NotWritable)?;
    edit::append_block(text, "found", &lines)
}

/// A value set anew; of a list as long as before, only the entries that differ.
fn renewed(
    text: &str,
    route: &str,
    was: &serde_yaml::Value,
    is: &serde_yaml::Value,
) -> Result<String, EditError> {
    match (was.as_sequence(), is.as_sequence()) {
        (Some(was), Some(is)) if was.len() == is.len() => {
            let differ = was.iter().zip(is).enumerate().filter(|(_, (was, is))| was != is);
            differ
                .map(|(at, (_, is))| (at + 1, is))
                .try_fold(text.to_string(), |text, (at, is)| edit::set(&text, &format!("{route}.{at}"), is))
        }
        _ => edit::set(text, route, is),
    }
}
