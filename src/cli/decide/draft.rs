//! `bondline decide draft`.

use super::{Wrote, base_of, decision, next_number, short_id};
use crate::change::decide::{DecideError, overlay};
use crate::change::draft::{Draft, Wish, bare, changes_between, changes_of};
use crate::cli::args::DraftArgs;
use crate::cli::context::{Context, Failure, Loaded, Status, nearest};
use crate::record::{Address, Change, RecordKind, is_id, places};
use crate::report::page::count;
use crate::source::write::FileEdit;
use serde_json::json;
use serde_yaml::Value;
use std::io::Write;
use std::path::Path;

pub(super) fn run(
    context: &Context,
    args: &DraftArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let (place, writer, now) = context.opened(err)?;
    if args.title.trim().is_empty() || args.title.contains('\n') {
        return Err(Failure::new(
            "a decision needs a title of one line",
            "say in a few words what is changed",
        ));
    }
    let supersedes = match &args.supersedes {
        Some(text) => Some(decision(&now, text)?.id.clone()),
        None => None,
    };
    let changes = if args.from_worktree {
        let base = context.read(place.head_or_empty()?);
        let edited = changes_between((&base.ledger, &base.snapshot), (&now.ledger, &now.snapshot)).map_err(
            |fault| Failure::new(fault.to_string(), "`bondline check` shows what is wrong with a record"),
        )?;
        if !edited.left_out.is_empty() {
            writeln!(err, "note: not part of a design, and left out: {}", edited.left_out.join(", "))?;
        }
        if !edited.unsaid.is_empty() {
            writeln!(
                err,
                "note: no value differs, and a decision carries no comments: {}",
                edited.unsaid.join(", ")
            )?;
        }
        if !edited.uncommented.is_empty() {
            writeln!(err, "note: without their comments: {}", edited.uncommented.join(", "))?;
        }
        if edited.changes.is_empty() {
            return Err(Failure::new(
                "the work tree holds no edit of a design since HEAD",
                "edit a recipe first, or type the change: `--set recipe/x#layers.3.material=y`",
            ));
        }
        edited.changes
    } else {
        let wishes = wishes(context, args, &now)?;
        if wishes.is_empty() {
            return Err(Failure::new(
                "a decision needs a change",
                "type one, as `--set recipe/x#layers.3.material=y`, or take the edits of the work tree with --from-worktree",
            ));
        }
        let changes = changes_of(&now.ledger, &now.snapshot, &wishes)
            .map_err(|fault| Failure::new(fault.to_string(), help_for(&fault, &now)))?;
        leaves_no_fault(context, &now, &changes)?;
        changes
    };
    let base = match args.from_worktree {
        // The edits were read against HEAD.
        true => place.head_or_empty()?.commit().map(str::to_string),
        false => base_of(context, &place, &now, &changes)?,
    };
    let draft = Draft {
        title: args.title.split_whitespace().collect::<Vec<_>>().join(" "),
        name: None,
        why: args.why.clone(),
        owner: args.owner.clone(),
        raised: context.today,
        supersedes,
        base,
        changes,
    };
    let number = next_number(context, &place, &now, err)?;
    let id = draft.id(number);
    let file = format!("decisions/{id}.yaml");
    let text = draft.text().ok_or_else(|| {
        Failure::new("a value can't be written on a line", "write it without tags and custom types")
    })?;
    let laid = [(file.clone(), Some(text.clone().into_bytes()))].into_iter().collect();
    let with = context.read(now.snapshot.overlay(laid));
    let new: Vec<_> = with.ledger.new_errors(&now.ledger).into_iter().cloned().collect();
    if !new.is_empty() {
        return Err(Failure {
            message: "the draft would be a decision that can't be read".to_string(),
            help: Some("say otherwise what the faults below name; nothing is written".to_string()),
            faults: new,
        });
    }
    let short = short_id(&id).to_string();
    let mut said = vec![format!("{id}: {}", count(draft.changes.len(), "change"))];
    if args.from_worktree {
        said.push(format!(
            "The work tree holds these edits already: `bondline impact {short} --at HEAD` shows what they do. Next: `bondline decide propose {short}`; commit the decision alone (`git add {file}`) once it is approved, and the edits after it."
        ));
    } else {
        said.push(format!(
            "Next: `bondline impact {short}` shows what it does, `bondline decide propose {short}` opens it for approval."
        ));
    }
    let wrote = Wrote {
        did: "draft",
        id: &id,
        file: &file,
        dry_run: args.dry_run,
        said,
        more: json!({ "changes": draft.changes }),
    };
    let edit = FileEdit { file: file.clone(), was: None, shall: Some(text) };
    wrote.write(context, &writer, &[edit], out)
}

/// As [`help_of`], with the nearest record where none is called so.
fn help_for(fault: &DecideError, now: &Loaded) -> String {
    let near = match fault {
        DecideError::NoRecord { address, .. } => {
            let all: Vec<String> = now.ledger.addresses().iter().map(ToString::to_string).collect();
            let names: Vec<&str> = all.iter().map(String::as_str).collect();
            Some(nearest(address, &names)).filter(|help| help.ends_with('?'))
        }
        DecideError::NoPlace { address, route, .. } => near_place(now, address, route),
        _ => None,
    };
    near.unwrap_or_else(|| help_of(fault).to_string())
}

/// The name that is nearest to the first one of a route that is not there.
fn near_place(now: &Loaded, address: &str, route: &str) -> Option<String> {
    let file = now.ledger.file_of(&Address::parse(address)?)?;
    let index = places(&now.text(file)?);
    let parts: Vec<&str> = route.split('.').collect();
    let known = (0..parts.len()).rev().find_map(|n| {
        let front = parts.get(..n)?.join(".");
        index.find(&front).map(|_| (front, parts.get(n)))
    });
    let (front, Some(word)) = known? else { return None };
    let children = index.children(&front);
    let names: Vec<&str> = children.iter().map(String::as_str).collect();
    let whose = if front.is_empty() { address.to_string() } else { format!("`{front}`") };
    match nearest(word, &names) {
        _ if names.is_empty() => None,
        help if help.ends_with('?') => Some(help),
        _ => Some(format!("{whose} has {}", names.join(", "))),
    }
}

fn help_of(fault: &DecideError) -> &'static str {
    match fault {
        DecideError::NoRecord { .. } => "`bondline why KIND/ID` shows a record that there is",
        DecideError::NoPlace { .. } => {
            "list places count from 1; an entry with an id or a name may be named by it: `panel/x#zones.window.area`"
        }
        DecideError::Imported { .. } => {
            "change it in its own repository, and set `ledger#imports.N.commit` to that commit"
        }
        DecideError::Done { .. } => "there is nothing to change there",
        DecideError::Twice { .. } => "keep one of the two: which of them is meant nobody can tell",
        DecideError::Nothing { .. } => "take it out with `--remove`, or write `''` for an empty text",
        _ => "write `kind/id#route`, as in `recipe/hatch-outer#layers.3.material`",
    }
}

/// Refuses changes that would leave a record broken.
pub(super) fn leaves_no_fault(context: &Context, now: &Loaded, changes: &[Change]) -> Result<(), Failure> {
    let texts = overlay(&now.ledger, &now.snapshot, &[&bare(changes.to_vec())])
        .map_err(|fault| Failure::new(fault.to_string(), help_of(&fault)))?;
    let decided = context.read(now.snapshot.overlay(texts));
    let new: Vec<_> = decided.ledger.new_errors(&now.ledger).into_iter().cloned().collect();
    if new.is_empty() {
        return Ok(());
    }
    Err(Failure {
        message: "carried out, the changes would leave a record broken".to_string(),
        help: Some("mend what the faults below name".to_string()),
        faults: new,
    })
}

/// The changes that were typed, in the order set, remove, insert, add, drop.
fn wishes(context: &Context, args: &DraftArgs, now: &Loaded) -> Result<Vec<Wish>, Failure> {
    let mut all = Vec::new();
    for text in &args.set {
        let (place, value) = parted(text, "--set", "recipe/x#layers.3.material=cw-150-e1")?;
        all.push(Wish::Set(place.to_string(), value_of(value)?));
    }
    all.extend(args.remove.iter().map(|place| Wish::Remove(place.clone())));
    for text in &args.insert {
        let (place, value) = parted(text, "--insert", "recipe/x#layers.5={material: cw-200-e1, angle: 0}")?;
        all.push(Wish::Insert(place.to_string(), value_of(value)?));
    }
    for text in &args.add {
        let (address, from) = parted(text, "--add", "material/b=material/a")?;
        all.push(Wish::Add(new_address(address, now)?, record_of(context, from, now)?));
    }
    for text in &args.drop {
        all.push(Wish::Drop(address_of(text)?));
    }
    Ok(all)
}

/// Parts `PLACE=VALUE` at the first `=`, which no place holds.
fn parted<'t>(text: &'t str, option: &str, example: &str) -> Result<(&'t str, &'t str), Failure> {
    text.split_once('=').map(|(place, value)| (place.trim(), value.trim())).ok_or_else(|| {
        Failure::new(format!("`{option} {text}` has no `=`"), format!("write `{option} '{example}'`"))
    })
}

fn value_of(text: &str) -> Result<Value, Failure> {
    serde_yaml::from_str(text).map_err(|error| {
        Failure::new(format!("`{text}` is no value: {error}"), "write it as it stands in a record, in YAML")
    })
}

fn address_of(text: &str) -> Result<Address, Failure> {
    Address::parse(text).filter(|address| address.kind() != RecordKind::Ledger).ok_or_else(|| {
        Failure::new(
            format!("`{text}` is no address of a record"),
            "write `kind/id`, as in `material/cw-150-e1`",
        )
    })
}

fn new_address(text: &str, now: &Loaded) -> Result<Address, Failure> {
    let address = address_of(text)?;
    if !is_id(address.id()) {
        return Err(Failure::new(
            format!("`{}` is no id", address.id()),
            "an id is of small letters, digits and dashes",
        ));
    }
    if now.ledger.file_of(&address).is_some() || now.ledger.broken.contains(&address) {
        return Err(Failure::new(format!("{address} is there already"), "choose another id"));
    }
    Ok(address)
}

/// A new record's content: that of another record, or of a file.
fn record_of(context: &Context, from: &str, now: &Loaded) -> Result<Value, Failure> {
    let text = match Address::parse(from).and_then(|address| now.ledger.file_of(&address)) {
        Some(file) => now
            .text(file)
            .ok_or_else(|| Failure::new(format!("`{file}` can't be read"), "run the command again"))?,
        None => std::fs::read_to_string(context.directory.join(Path::new(from))).map_err(|error| {
            Failure::new(
                format!("`{from}` is neither a record nor a file that can be read: {error}"),
                "name a record (`material/a`) or a YAML file",
            )
        })?,
    };
    value_of(&text)
}
