//! `bondline decide close`.

use super::{Wrote, decision, text_of, uneditable, wrong_status};
use crate::change::found::found;
use crate::cli::args::CloseArgs;
use crate::cli::context::{Context, Failure, Status};
use crate::record::edit::{self, EditError};
use crate::record::{DecisionStatus, FoundFigures};
use crate::report::decision as view;
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
    let evaluation = context.evaluate(&now, err)?;
    let statement = context.statement(&now)?;
    let mut figures = found((&now.ledger, &evaluation), &statement, own, Some(&applied), context.today);
    figures.note = match (figures.note.take(), &args.note) {
        (Some(before), Some(note)) if before.trim() != note.trim() => {
            Some(format!("{}\n{note}", before.trim_end()))
        }
        (before, note) => before.or_else(|| note.clone()),
    };
    let was = text_of(&now, entry)?;
    let text = written(&was, &figures).map_err(|fault| uneditable(&entry.file, &fault))?;
    let said = view::came_true(own.predicted.as_ref(), &figures);
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

fn written(text: &str, figures: &FoundFigures) -> Result<String, EditError> {
    let value = serde_yaml::to_value(figures).map_err(|_| EditError::NotWritable)?;
    let lines = edit::block_lines(&value).ok_or(EditError::NotWritable)?;
    edit::append_block(text, "found", &lines)
}
