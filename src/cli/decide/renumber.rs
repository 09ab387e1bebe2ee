//! `bondline decide renumber`.

use super::{Wrote, decision, next_number, text_of, uneditable};
use crate::cli::args::RenumberArgs;
use crate::cli::context::{Context, Failure, Loaded, Status};
use crate::ledger::{Entry, number_of};
use crate::record::{Decision, DecisionStatus, edit};
use crate::source::write::FileEdit;
use serde_json::json;
use std::collections::BTreeMap;
use std::io::Write;

pub(super) fn run(
    context: &Context,
    args: &RenumberArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let (place, writer, now) = context.opened(err)?;
    let entry = match &args.decision {
        Some(text) => decision(&now, text)?,
        None => twin(&now)?,
    };
    if entry.value.status == DecisionStatus::Approved {
        return Err(Failure::new(
            format!("{} is approved, and approved decisions keep their names", entry.id),
            "renumber the other one",
        ));
    }
    let old = number_of(&entry.id).ok_or_else(|| {
        Failure::new(format!("{} has no number", entry.id), "ids of decisions begin with `dd-` and a number")
    })?;
    let number = next_number(context, &place, &now, err)?;
    let rest =
        entry.id.split_once('-').and_then(|(_, rest)| rest.split_once('-')).map_or("", |(_, rest)| rest);
    let dash = if rest.is_empty() { "" } else { "-" };
    let id = format!("dd-{number:03}{dash}{rest}");
    let file = match entry.file.rsplit_once('/') {
        Some((folder, _)) => format!("{folder}/{id}.yaml"),
        None => format!("{id}.yaml"),
    };
    let text = text_of(&now, entry)?;
    let mut edits = vec![
        FileEdit { file: file.clone(), was: None, shall: Some(text.clone()) },
        FileEdit { file: entry.file.clone(), was: Some(text), shall: None },
    ];
    // Whoever names it by its whole id, or by a number that only it had.
    let twins = now.ledger.decisions.keys().filter(|own| number_of(own) == Some(old)).count();
    for other in now.ledger.decisions.values().filter(|other| other.id != entry.id) {
        let Some(named) = other.value.supersedes.as_ref().map(|named| named.id()) else { continue };
        if named == entry.id
            || (twins == 1 && now.ledger.decision(named).is_some_and(|own| own.id == entry.id))
        {
            if other.value.status == DecisionStatus::Approved {
                return Err(Failure::new(
                    format!("{} is approved and says that it supersedes {}", other.id, entry.id),
                    "renumber the other one of the two",
                ));
            }
            let was = text_of(&now, other)?;
            let shall = edit::set(&was, "supersedes", &serde_yaml::Value::from(id.as_str()))
                .map_err(|fault| uneditable(&other.file, &fault))?;
            edits.push(FileEdit { file: other.file.clone(), was: Some(was), shall: Some(shall) });
        }
    }
    let wrote = Wrote {
        did: "renumber",
        id: &id,
        file: &file,
        dry_run: args.dry_run,
        said: vec![format!("{} is {id} now.", entry.id)],
        more: json!({ "was": entry.id }),
    };
    wrote.write(context, &writer, &edits, out)
}

/// Of two decisions with one number the one to renumber: not the approved one; else the one raised later.
fn twin(now: &Loaded) -> Result<&Entry<Decision>, Failure> {
    let mut by_number: BTreeMap<u32, Vec<&Entry<Decision>>> = BTreeMap::new();
    for entry in now.ledger.decisions.values() {
        if let Some(number) = number_of(&entry.id) {
            by_number.entry(number).or_default().push(entry);
        }
    }
    let Some(mut all) = by_number.into_values().find(|all| all.len() > 1) else {
        return Err(Failure::new(
            "no two decisions have the same number",
            "name the decision that shall have another: `bondline decide renumber dd-007-...`",
        ));
    };
    all.sort_by_key(|entry| {
        (entry.value.status != DecisionStatus::Approved, entry.value.raised, entry.id.clone())
    });
    let none = || Failure::new("no two decisions have the same number", "name one");
    all.last().copied().ok_or_else(none)
}
