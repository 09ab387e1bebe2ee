//! `bondline conform`.

use super::args::{ConformArgs, Source};
use super::context::{Context, Failure, Needs, Status, address, nearest};
use crate::qualify::conform::{ConformError, Conformity, conformity};
use crate::record::{RecordKind, edit};
use serde_json::json;
use serde_yaml::Value;
use std::io::Write;
use std::path::Path;

pub(super) fn run(
    context: &mut Context,
    args: &ConformArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let now = context.load(&place, &Source::default())?;
    let then = match &args.at {
        Some(revision) => Some(context.load(&place, &Source { at: Some(revision.clone()), staged: false })?),
        None => None,
    };
    let design = then.as_ref().unwrap_or(&now);
    context.usable(design, Needs::Mass)?;
    let mut planned: Vec<(Conformity, String, String, Option<String>)> = Vec::new();
    for text in &args.evidence {
        let unknown = || {
            let names: Vec<&str> = now.ledger.evidence.keys().map(String::as_str).collect();
            Failure::new(format!("no evidence is called `{text}`"), nearest(text, &names))
        };
        let found = address(text, &[RecordKind::Evidence], &now.ledger).ok_or_else(unknown)?;
        let entry = now.ledger.evidence.get(found.id()).ok_or_else(unknown)?;
        if found.kind() != RecordKind::Evidence {
            return Err(unknown());
        }
        let made = conformity(&design.ledger, entry, design.snapshot.commit()).map_err(|fault| {
            let help = match &fault {
                ConformError::Already(_) => {
                    "write a new record for the correction; this one stays as it was".to_string()
                }
                ConformError::Measured { attribute, known, .. } => match known.as_slice() {
                    [] => format!("take `{attribute}` out of `measured`, or correct the subject"),
                    known => format!("write one of {}", known.join(", ")),
                },
                _ => "`bondline check` shows what is wrong with a record".to_string(),
            };
            Failure::new(fault.to_string(), help)
        })?;
        let bytes = now.snapshot.read(&entry.file).map_err(|fault| {
            Failure::new(format!("`{}` can't be read: {fault}", entry.file), "run the command again")
        })?;
        let text = String::from_utf8(bytes.to_vec())
            .map_err(|_| Failure::new(format!("`{}` is not UTF-8", entry.file), "save it as UTF-8"))?;
        if entry.value.conformed.is_some() {
            writeln!(
                err,
                "note: evidence/{} is conformed already but not done; its configuration is taken anew",
                entry.id
            )?;
        }
        let digest = now.ledger.data.get(&entry.id).map(|data| data.digest.clone());
        let edited = edited(&text, &made, digest.as_deref()).map_err(|fault| {
            Failure::new(
                format!("`{}` can't be edited: {fault}", entry.file),
                "add the block by hand, or mend the record",
            )
        })?;
        planned.push((made, entry.file.clone(), edited, digest));
    }
    context.note_broken(design, err)?;
    let mut written = Vec::new();
    for (made, file, text, _) in &planned {
        if !args.dry_run {
            replace(&place.root().join(file), text)?;
        }
        written.push(json!({ "evidence": made.id, "file": file, "subject": made.subject.to_string(), "assumptions": made.assumptions }));
    }
    if context.json() {
        let document = json!({ "schema": "conform/1", "written": written, "dry_run": args.dry_run });
        writeln!(out, "{document:#}")?;
        return Ok(Status::Done);
    }
    for (made, file, _, digest) in &planned {
        if args.dry_run {
            writeln!(out, "{file}: would be written")?;
            if let Some(digest) = digest {
                writeln!(out, "digest: {digest}")?;
            }
            write!(out, "{}", made.block())?;
        } else {
            writeln!(
                out,
                "{file}: conformed as {}, {} attributes",
                made.subject,
                made.configuration.attributes().len()
            )?;
        }
        for assumption in &made.assumptions {
            writeln!(out, "# assumed: {assumption}")?;
        }
    }
    Ok(Status::Done)
}

/// The record's text with digest and configuration written into it.
fn edited(text: &str, made: &Conformity, digest: Option<&str>) -> Result<String, edit::EditError> {
    let text = match digest {
        Some(digest) => edit::put(text, "digest", &Value::String(digest.to_string()))?,
        None => text.to_string(),
    };
    let block = made.block();
    let lines: Vec<String> =
        block.lines().skip(1).map(|line| line.strip_prefix("  ").unwrap_or(line).to_string()).collect();
    edit::append_block(&text, "conformed", &lines)
}

/// Writes beside the file and renames, so that no moment leaves half a record.
fn replace(path: &Path, text: &str) -> Result<(), Failure> {
    let cannot = |error: &dyn std::fmt::Display| {
        Failure::new(
            format!("`{}` can't be written: {error}", path.display()),
            "nothing was changed there; check its folder's permissions",
        )
    };
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    let mut file =
        tempfile::Builder::new().prefix(".bondline-").tempfile_in(folder).map_err(|error| cannot(&error))?;
    file.write_all(text.as_bytes()).map_err(|error| cannot(&error))?;
    file.as_file().sync_all().map_err(|error| cannot(&error))?;
    if let Ok(metadata) = std::fs::metadata(path) {
        std::fs::set_permissions(file.path(), metadata.permissions()).map_err(|error| cannot(&error))?;
    }
    file.persist(path).map_err(|error| cannot(&error.error))?;
    Ok(())
}
