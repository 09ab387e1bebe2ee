//! `bondline conform`.

use super::args::{ConformArgs, Source};
use super::context::{Context, Failure, Loaded, Needs, Status, address, nearest, unreadable, unwritten};
use crate::article::Subject;
use crate::ledger::Entry;
use crate::qualify::complete::{CompleteError, completed};
use crate::qualify::conform::{ConformError, Conformity, conformity};
use crate::record::{Evidence, RecordKind, edit};
use crate::report::page::{count, shown};
use crate::report::specimens::Sampled;
use crate::source::Place;
use crate::source::write::FileEdit;
use serde_json::{Value, json};
use std::io::Write;

/// One record, worked out before anything is written.
struct Planned {
    id: String,
    subject: Subject,
    assumptions: Vec<String>,
    /// Attributes in all, or those added.
    attributes: usize,
    /// What is written, as it is written.
    block: String,
    /// The attributes that are added, where the record is completed.
    added: Option<Vec<String>>,
    file: String,
    /// The text as it was read.
    was: String,
    /// The text as it shall be.
    shall: String,
    digest: Option<String>,
    /// What its data hold, in sentences and as JSON.
    sample: (Vec<String>, Value),
}

impl Planned {
    fn edit(&self) -> FileEdit {
        FileEdit { file: self.file.clone(), was: Some(self.was.clone()), shall: Some(self.shall.clone()) }
    }

    fn changed(&self) -> bool {
        self.was != self.shall
    }
}

pub(super) fn run(
    context: &mut Context,
    args: &ConformArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let (place, writer, now) = context.opened(err)?;
    let then = match &args.at {
        Some(revision) => Some(context.load(&place, &Source::at(revision))?),
        None => None,
    };
    let design = then.as_ref().unwrap_or(&now);
    let asked = asked(args, &now)?;
    let mut planned = Vec::new();
    if args.complete {
        for entry in asked {
            planned.push(complete(context, &place, entry, &now)?);
        }
    } else {
        context.usable(design, Needs::Mass, None)?;
        for entry in asked {
            planned.push(plan(entry, &now, design, err)?);
        }
        context.note_broken(design, err)?;
    }
    if !args.dry_run {
        let edits: Vec<FileEdit> = planned.iter().filter(|one| one.changed()).map(Planned::edit).collect();
        writer.write_all(&edits).map_err(unwritten)?;
    }
    if context.json() {
        let written: Vec<Value> = planned
            .iter()
            .filter(|one| one.changed())
            .map(|one| {
                let mut row = json!({ "evidence": one.id, "file": one.file, "subject": one.subject.to_string(), "assumptions": one.assumptions, "sample": one.sample.1 });
                if let (Some(map), Some(added)) = (row.as_object_mut(), &one.added) {
                    map.insert("added".to_string(), json!(added));
                }
                row
            })
            .collect();
        let unchanged: Vec<&str> =
            planned.iter().filter(|one| !one.changed()).map(|one| one.id.as_str()).collect();
        let document = json!({
            "schema": "conform/1", "written": written, "unchanged": unchanged, "dry_run": args.dry_run,
        });
        writeln!(out, "{document:#}")?;
        return Ok(Status::Done);
    }
    for one in &planned {
        writeln!(out, "{}", said(one, args.dry_run))?;
        if args.dry_run {
            if let Some(digest) = &one.digest {
                writeln!(out, "digest: {digest}")?;
            }
            write!(out, "{}", one.block)?;
        }
        for sentence in &one.sample.0 {
            writeln!(out, "# data: {sentence}")?;
        }
        for assumption in &one.assumptions {
            writeln!(out, "# assumed: {assumption}")?;
        }
    }
    Ok(Status::Done)
}

fn said(one: &Planned, dry_run: bool) -> String {
    let file = shown(&one.file);
    match (one.changed(), dry_run, &one.added) {
        (false, _, Some(_)) => format!("{file}: unchanged, lacks nothing"),
        (false, _, None) => format!("{file}: unchanged, conformed as {} already", one.subject),
        (true, true, _) => format!("{file}: would be written"),
        (true, false, Some(added)) => {
            format!("{file}: completed as {}, {} added", one.subject, count(added.len(), "attribute"))
        }
        (true, false, None) => format!("{file}: conformed as {}, {} attributes", one.subject, one.attributes),
    }
}

/// The records that are named, each once.
fn asked<'l>(args: &ConformArgs, now: &'l Loaded) -> Result<Vec<&'l Entry<Evidence>>, Failure> {
    let mut list: Vec<&Entry<Evidence>> = Vec::new();
    for text in &args.evidence {
        let unknown = || {
            let names: Vec<&str> = now.ledger.evidence.keys().map(String::as_str).collect();
            Failure::new(format!("no evidence is called `{text}`"), nearest(text, &names))
        };
        let found = address(text, &[RecordKind::Evidence], &now.ledger).ok_or_else(unknown)?;
        if found.kind() != RecordKind::Evidence {
            return Err(unknown());
        }
        if let Some(failure) = unreadable(&now.ledger, &found) {
            return Err(failure);
        }
        let entry = now.ledger.evidence.get(found.id()).ok_or_else(unknown)?;
        if let Some(import) = found.import() {
            return Err(Failure::new(
                format!("{found} is a record of the import `{import}`, which can't be changed from here"),
                "conform it in its own repository, and name that commit under `imports` in `ledger.yaml`",
            ));
        }
        if list.iter().all(|other| other.id != entry.id) {
            list.push(entry);
        }
    }
    Ok(list)
}

fn plan(
    entry: &Entry<Evidence>,
    now: &Loaded,
    design: &Loaded,
    err: &mut dyn Write,
) -> Result<Planned, Failure> {
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
    let was = text_of(entry, now)?;
    let digest = now.ledger.data.get(&entry.id).map(|data| data.digest.clone());
    let shall = edited(&was, &made, digest.as_deref()).map_err(|fault| {
        Failure::new(
            format!("`{}` can't be edited: {fault}", entry.file),
            "add the block by hand, or mend the record",
        )
    })?;
    if entry.value.conformed.is_some() && was != shall {
        writeln!(
            err,
            "note: evidence/{} is conformed already but not done; its configuration is taken anew",
            entry.id
        )?;
    }
    Ok(Planned {
        id: entry.id.clone(),
        attributes: made.configuration.len(),
        block: made.block(),
        subject: made.subject,
        assumptions: made.assumptions,
        added: None,
        file: entry.file.clone(),
        was,
        shall,
        digest,
        sample: sample(entry, now),
    })
}

/// What the record's data hold as its showing takes them.
fn sample(entry: &Entry<Evidence>, now: &Loaded) -> (Vec<String>, Value) {
    let showing = now.ledger.showings.get(entry.value.showing.id());
    let sampled = showing.and_then(|showing| Sampled::of(&now.ledger, &showing.value, entry));
    sampled.map_or((Vec::new(), Value::Null), |own| (own.sentences(), own.json()))
}

fn text_of(entry: &Entry<Evidence>, now: &Loaded) -> Result<String, Failure> {
    let bytes = now.snapshot.read(&entry.file).map_err(|fault| {
        Failure::new(format!("`{}` can't be read: {fault}", entry.file), "run the command again")
    })?;
    String::from_utf8(bytes.to_vec())
        .map_err(|_| Failure::new(format!("`{}` is not UTF-8", entry.file), "save it as UTF-8"))
}

/// Reads the ledger as it was at the commit that a record names: at that very commit, not at whatever a name
/// stands for today.
pub(super) fn as_of(context: &Context, place: &Place, commit: &str) -> Result<Loaded, Failure> {
    if commit.len() < 7 || !commit.chars().all(|digit| digit.is_ascii_hexdigit()) {
        return Err(Failure::new(format!("`{commit}` is no commit's id"), "write its hexadecimal digits"));
    }
    let loaded = context.load(place, &Source::at(commit))?;
    // A branch or a tag may be called like the beginning of an id.
    let id = loaded.snapshot.commit().unwrap_or_default();
    if !id.starts_with(&commit.to_ascii_lowercase()) {
        let what = format!("`{commit}` is no commit's id but a name of {id}");
        return Err(Failure::new(what, "give the branch or tag another name, or write the whole id"));
    }
    Ok(loaded)
}

/// Works out what the record lacks from the ledger at the commit that it names.
fn complete(
    context: &Context,
    place: &Place,
    entry: &Entry<Evidence>,
    now: &Loaded,
) -> Result<Planned, Failure> {
    let refused = |fault: &CompleteError| {
        let help = match fault {
            CompleteError::NotConformed(id) => format!("`bondline conform {id}` writes its configuration"),
            CompleteError::NoCommit(_) => {
                "what is lacking stays \"not recorded\": it asks nothing and is an assumption".to_string()
            }
            CompleteError::Differs { .. } | CompleteError::Several { .. } => {
                "nothing was written; what is lacking stays \"not recorded\", or a new record says it"
                    .to_string()
            }
            CompleteError::Newer { .. } => "use the newer program".to_string(),
            _ => "`bondline check --at COMMIT` shows what is wrong with a record there".to_string(),
        };
        Failure::new(fault.to_string(), help)
    };
    let conformed = entry.value.conformed.as_ref();
    let conformed = conformed.ok_or_else(|| refused(&CompleteError::NotConformed(entry.id.clone())))?;
    let commit = conformed.commit.as_ref();
    let commit = commit.ok_or_else(|| refused(&CompleteError::NoCommit(entry.id.clone())))?;
    let design = as_of(context, place, commit.as_str()).map_err(|fault| {
        Failure::new(
            format!(
                "evidence/{} was conformed at {commit}, which can't be read: {}",
                entry.id, fault.message
            ),
            "fetch that commit; without it what is lacking stays \"not recorded\"",
        )
    })?;
    let found = completed(&design.ledger, entry).map_err(|fault| refused(&fault))?;
    let was = text_of(entry, now)?;
    let shall = found.written_into(&was, conformed.form).map_err(|fault| {
        Failure::new(
            format!("`{}` can't be edited: {fault}", entry.file),
            "write one attribute a line, then again",
        )
    })?;
    let rows = found.rows();
    Ok(Planned {
        id: entry.id.clone(),
        attributes: rows.len(),
        block: rows.iter().map(|(key, value)| format!("    {key}: {value}\n")).collect(),
        subject: found.subject,
        assumptions: found.assumptions,
        added: Some(rows.into_iter().map(|(key, _)| key).collect()),
        file: entry.file.clone(),
        was,
        shall,
        digest: None,
        sample: sample(entry, now),
    })
}

/// The record's text with digest and configuration written into it.
fn edited(text: &str, made: &Conformity, digest: Option<&str>) -> Result<String, edit::EditError> {
    let text = match digest {
        Some(digest) => edit::put(text, "digest", &serde_yaml::Value::String(digest.to_string()))?,
        None => text.to_string(),
    };
    let block = made.block();
    let lines: Vec<String> =
        block.lines().skip(1).map(|line| line.strip_prefix("  ").unwrap_or(line).to_string()).collect();
    edit::append_block(&text, "conformed", &lines)
}
