//! `bondline decide approve`.

use super::propose::{OTHERWISE, outdated};
use super::{Wrote, decision, short_id, still_closed, text_of, uneditable, with_status, wrong_status};
use crate::change::approved::is_carried_out;
use crate::change::decide::{DecideError, overlay};
use crate::cli::args::ApproveArgs;
use crate::cli::context::{Context, Failure, Loaded, Status, nearest};
use crate::ledger::is_as_predicted;
use crate::record::edit::{self, EditError};
use crate::record::{Approval, DecisionStatus, Text};
use crate::source::Place;
use crate::source::write::FileEdit;
use serde_json::json;
use std::io::Write;

pub(super) fn run(
    context: &Context,
    args: &ApproveArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let (place, writer, now) = context.opened(err)?;
    let entry = decision(&now, &args.decision)?;
    let own = &*entry.value;
    let short = short_id(&entry.id);
    let rule = now.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    let asked = rule.map_or(&[][..], |rule| &rule.decision);
    let persons = rule.and_then(|rule| rule.persons);
    // The ledger may ask for more than it did when it was approved.
    let later = own.status == DecisionStatus::Approved && !own.approvals.is_empty();
    // What is said to be approved later is not approved yet.
    let come = |all: &[Approval]| Approval::come(all, Some(context.today));
    let lacks = !Approval::by_all(&come(&own.approvals), asked, persons);
    match own.status {
        DecisionStatus::Proposed => {}
        DecisionStatus::Approved if later && lacks => {}
        DecisionStatus::Draft => {
            return Err(wrong_status(
                entry,
                "what is approved is a proposal",
                "`bondline decide propose {id}` freezes what it is predicted to do",
            ));
        }
        DecisionStatus::Approved if lacks => {
            return Err(wrong_status(
                entry,
                "only a proposal is approved",
                "nobody has approved it: set it to `proposed`",
            ));
        }
        _ => {
            return Err(wrong_status(
                entry,
                "only a proposal is approved",
                "`bondline decide show {id}` shows how it stands",
            ));
        }
    }
    if !is_as_predicted(own) {
        return Err(Failure::new(
            format!("the changes of {} are not those that were proposed", entry.id),
            format!("`bondline decide propose {short}` predicts anew what they do"),
        ));
    }
    let roles: Vec<&str> = asked.iter().map(Text::as_str).collect();
    let role = Text::from(args.role.as_str());
    if role.as_str().is_empty() {
        return Err(Failure::new("an approval needs a role", "write `--role chief-engineer`"));
    }
    if !roles.is_empty() && !roles.contains(&role.as_str()) {
        return Err(Failure::new(
            format!("the ledger asks for no approval by `{role}`"),
            format!("it asks for {}; {}", roles.join(" and "), nearest(role.as_str(), &roles)),
        ));
    }
    let by = args.by.as_deref().map(Text::from);
    if by.as_ref().is_some_and(|by| by.as_str().trim().is_empty()) {
        return Err(Failure::new("`--by` names nobody", "write `--by NAME`, or leave it out"));
    }
    let ahead = |one: &&Approval| one.role == role && !one.on.has_come(context.today);
    if let Some(ahead) = own.approvals.iter().find(ahead) {
        return Err(Failure::new(
            format!(
                "{} says that `{role}` approves it on {}, and today is {}",
                entry.id, ahead.on, context.today
            ),
            format!("correct that day in {}: an approval counts from its day on", entry.file),
        ));
    }
    let mut of_role = own.approvals.iter().enumerate().filter(|(_, approval)| approval.role == role);
    // Where people are counted, an approval that names nobody may be given its name, and where too few have a role
    // each, a role may have another.
    let nameless = of_role.clone().find(|(_, approval)| approval.is_nameless() && persons.is_some());
    // One whose day has not come keeps its place: it is not for another to take.
    let named = Approval::people(&own.approvals, asked);
    let another = by.as_ref().is_some_and(|by| {
        let all_roles = roles.iter().all(|role| own.approvals.iter().any(|one| one.role.as_str() == *role));
        let few = persons.is_some_and(|persons| named.len() < persons as usize);
        all_roles && few && !named.contains(&Approval::folded(by))
    });
    let is_there = nameless.is_none() && of_role.next().is_some() && !another;
    // All may be there and the status not say it yet, where a day was corrected or the ledger asks for less.
    if is_there && lacks {
        return Err(Failure::new(
            format!("{} has the approval of `{role}` already", entry.id),
            format!("`bondline decide show {short}` lists the approvals"),
        ));
    }
    if let Some(raised) = own.raised.filter(|raised| context.today < *raised) {
        return Err(Failure::new(
            format!("{} was raised on {raised}, and today is {}", entry.id, context.today),
            "nobody approves what is not raised yet: look at `--today`, or correct `raised`",
        ));
    }
    match (&by, persons) {
        _ if is_there => {}
        (None, Some(persons)) => {
            return Err(Failure::new(
                format!("the ledger asks for {persons} different people"),
                "say who approves: `--by NAME`",
            ));
        }
        (Some(by), Some(persons)) => {
            let mut named = named.clone();
            let again = !named.insert(Approval::folded(by));
            // Roles that somebody else may still fill, or be named for.
            let open = roles.iter().filter(|open| {
                let mut own = own.approvals.iter().filter(|one| one.role.as_str() == **open);
                **open != role.as_str() && own.all(Approval::is_nameless)
            });
            // Nobody may use up the role that a second person would have to fill.
            if again && named.len() + open.count() < persons as usize {
                return Err(Failure::new(
                    format!(
                        "{by} has approved {} already, and the ledger asks for {persons} different people",
                        entry.id
                    ),
                    "somebody else has to approve in this role",
                ));
            }
        }
        _ => {}
    }
    if let Some(altered) = context.altered_decisions(&place, &now)?.iter().find(|one| one.id == entry.id) {
        return Err(Failure::new(altered.in_head(), altered.help()));
    }
    // Of one that was carried out nothing is left to predict.
    let state = (&now.ledger, &now.snapshot);
    let done = later && is_carried_out(state, &entry.id, own, &context.past(&place));
    let outdated = if done { Vec::new() } else { outdated(context, &place, &now, &entry.id, own, err)? };
    if !outdated.is_empty() {
        let help = match own.approvals.is_empty() {
            _ if later => format!("`bondline decide rebase {short}` drafts it anew in its place"),
            true => format!("`bondline decide propose {short}` predicts anew what it does"),
            false => format!(
                "the approvals that it has speak for what was proposed: take `approvals` out, and `bondline decide propose {short}` predicts anew"
            ),
        };
        return Err(Failure::new(format!("{} {OTHERWISE}: {}", entry.id, outdated.join(", ")), help));
    }
    let approval = Approval { role: role.clone(), on: context.today, by };
    let mut approvals = own.approvals.clone();
    match nameless.and_then(|(at, _)| approvals.get_mut(at)) {
        Some(named) => named.by.clone_from(&approval.by),
        None if is_there => {}
        None => approvals.push(approval.clone()),
    }
    let come = come(&approvals);
    let approved = Approval::by_all(&come, asked, persons);
    let was = text_of(&now, entry)?;
    let written = match (nameless, &approval.by) {
        (Some((at, _)), Some(by)) => {
            let name = serde_yaml::Value::from(by.as_str());
            edit::add_key(&was, &format!("approvals.{}", at + 1), "by", &name)
        }
        _ if is_there => Ok(was.clone()),
        _ => entered(&was, &approval, own.approvals.len()),
    };
    let text = written
        .and_then(|text| match approved && !later {
            true => with_status(&text, DecisionStatus::Approved),
            false => Ok(text),
        })
        .map_err(|fault| uneditable(&entry.file, &fault))?;
    let open: Vec<&str> =
        roles.iter().copied().filter(|open| come.iter().all(|one| one.role.as_str() != *open)).collect();
    let words = match (approved, open.is_empty()) {
        (true, _) if later => "Approved by all that the ledger asks for now; commit it.".to_string(),
        (true, _) => format!(
            "Approved. Next: `bondline decide apply {short}`; commit the approval before what it allows."
        ),
        (false, true) => "Every role has approved, but too few different people.".to_string(),
        (false, false) => format!("It still needs {}.", open.join(" and ")),
    };
    let replaced = match (approved, &own.supersedes) {
        (true, Some(old)) => replaced(context, &place, &now, old.id())?,
        _ => None,
    };
    let mut said = vec![words];
    said.extend(replaced.as_ref().map(|(old, _)| {
        let verb = if args.dry_run { "would be" } else { "is" };
        format!("{old} was never carried out: it {verb} superseded now.")
    }));
    said.extend(still_closed(own).filter(|_| approved && !later));
    said.push("An approval is what was typed; it is no signature for certification.".to_string());
    let wrote = Wrote {
        did: "approve",
        id: &entry.id,
        file: &entry.file,
        dry_run: args.dry_run,
        said,
        more: json!({
            "approved": approved,
            "open": open,
            "superseded": replaced.as_ref().map(|(old, _)| old),
        }),
    };
    let edit = FileEdit { file: entry.file.clone(), was: Some(was), shall: Some(text) };
    let edits: Vec<FileEdit> = std::iter::once(edit).chain(replaced.map(|(_, edit)| edit)).collect();
    wrote.write(context, &writer, &edits, out)
}

/// The decision that another stands in place of, with the edit that says so; `None` where it is given up already, or
/// where something of it stands, or may stand, in the records: what stands there was decided by it.
fn replaced(
    context: &Context,
    place: &Place,
    now: &Loaded,
    old: &str,
) -> Result<Option<(String, FileEdit)>, Failure> {
    let open = |status| matches!(status, DecisionStatus::Proposed | DecisionStatus::Approved);
    let Some(entry) = now.ledger.decision(old).filter(|one| open(one.value.status)) else {
        return Ok(None);
    };
    let state = (&now.ledger, &now.snapshot);
    let is_here = || {
        let laid = context.settled(place, now, &entry.value);
        let laid = laid.and_then(|own| overlay(&now.ledger, &now.snapshot, &[&own]));
        matches!(laid, Err(DecideError::Done { .. }))
    };
    let whole = place.repository().is_some_and(|repository| !repository.is_shallow());
    if !whole || is_here() || is_carried_out(state, &entry.id, &entry.value, &context.past(place)) {
        return Ok(None);
    }
    let was = text_of(now, entry)?;
    let text =
        with_status(&was, DecisionStatus::Superseded).map_err(|fault| uneditable(&entry.file, &fault))?;
    Ok(Some((entry.id.clone(), FileEdit { file: entry.file.clone(), was: Some(was), shall: Some(text) })))
}

fn entered(text: &str, approval: &Approval, before: usize) -> Result<String, EditError> {
    let value = serde_yaml::to_value(approval).map_err(|_| EditError::NotWritable)?;
    if before > 0 {
        return edit::insert(text, "approvals", before, &value);
    }
    let line = edit::one_line(&value).ok_or(EditError::NotWritable)?;
    edit::append_block(text, "approvals", &[format!("- {line}")])
}
