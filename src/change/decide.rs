//! A decision's changes laid over a snapshot: one path for proposing and for applying.

use super::footprint::{as_one, fits};
use super::rebase::follow;
use super::same::same_quantity_text;
use crate::ledger::Ledger;
use crate::record::edit::{self, EditError};
use crate::record::{Address, Change, Decision, RecordKind, places};
use crate::source::Snapshot;
use serde_yaml::Value;
use std::collections::BTreeMap;
use thiserror::Error;

/// Why a decision can't be laid over a snapshot.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum DecideError {
    /// A change names no record that there is.
    #[error("change {at}: there is no `{address}`")]
    NoRecord {
        /// Which change, from 1.
        at: usize,
        /// The address.
        address: String,
    },
    /// A change is of a record of another ledger.
    #[error(
        "change {at}: `{address}` is a record of the import `{import}`, which can't be changed from here"
    )]
    Imported {
        /// Which change, from 1.
        at: usize,
        /// The record.
        address: String,
        /// The import.
        import: String,
    },
    /// A change names no place that there is.
    #[error("change {at}: `{address}` has no `{route}`")]
    NoPlace {
        /// Which change, from 1.
        at: usize,
        /// The record.
        address: String,
        /// The route.
        route: String,
    },
    /// The record has moved on since.
    #[error("change {at}: `{place}` is `{is}` now, the decision was made for `{was}`{candidates}")]
    MovedOn {
        /// Which change, from 1.
        at: usize,
        /// The record and the route.
        place: String,
        /// What stands there.
        is: String,
        /// What the decision expects.
        was: String,
        /// Places that hold what it expects, in words.
        candidates: Box<str>,
    },
    /// The record is called otherwise now.
    #[error("change {at}: `{record}` is called `{now}` now")]
    Renamed {
        /// Which change, from 1.
        at: usize,
        /// The record's address as the decision writes it.
        record: String,
        /// Its address now.
        now: String,
    },
    /// The entry of a list that it names is no longer there.
    #[error("change {at}: the entry that `{place}` named when the decision was made is gone")]
    Gone {
        /// Which change, from 1.
        at: usize,
        /// The record and the route.
        place: String,
    },
    /// The entry of a list that it names can't be told from its equals, since the list has changed.
    #[error(
        "change {at}: the entry that `{place}` named when the decision was made can't be told from its equals; it may be {}",
        if let [only] = places.as_slice() { format!("{only}, or gone") } else { places.join(" or ") }
    )]
    Unsure {
        /// Which change, from 1.
        at: usize,
        /// The record and the route.
        place: String,
        /// The places that it may be at.
        places: Vec<String>,
    },
    /// What it sets stands there already.
    #[error("change {at}: `{place}` is `{to}` already")]
    Done {
        /// Which change, from 1.
        at: usize,
        /// The record and the route.
        place: String,
        /// What stands there.
        to: String,
    },
    /// The change itself can't be read.
    #[error("change {at}: {problem}")]
    Unclear {
        /// Which change, from 1.
        at: usize,
        /// What is wrong.
        problem: String,
    },
    /// Two changes of one decision take hold of the same.
    #[error("change {at}: change {other} takes hold of the same, `{route}` in `{file}`")]
    Twice {
        /// Which change, from 1.
        at: usize,
        /// The other one.
        other: usize,
        /// The route of what both take hold of.
        route: String,
        /// The file.
        file: String,
    },
    /// Nothing would be written where something is asked for.
    #[error("change {at}: nothing is to be written to `{place}`")]
    Nothing {
        /// Which change, from 1.
        at: usize,
        /// The record and the route.
        place: String,
    },
    /// The text could not be edited.
    #[error("change {at}: {fault}")]
    Edit {
        /// Which change, from 1.
        at: usize,
        /// Why.
        fault: EditError,
    },
    /// A file could not be read.
    #[error("`{file}` can't be read: {why}")]
    Unreadable {
        /// The file.
        file: String,
        /// Why.
        why: String,
    },
}

impl DecideError {
    /// Returns which change it is about, from 1; 0 where it is about none.
    pub fn at(&self) -> usize {
        match self {
            DecideError::NoRecord { at, .. }
            | DecideError::Imported { at, .. }
            | DecideError::NoPlace { at, .. }
            | DecideError::MovedOn { at, .. }
            | DecideError::Renamed { at, .. }
            | DecideError::Gone { at, .. }
            | DecideError::Unsure { at, .. }
            | DecideError::Done { at, .. }
            | DecideError::Unclear { at, .. }
            | DecideError::Twice { at, .. }
            | DecideError::Nothing { at, .. }
            | DecideError::Edit { at, .. } => *at,
            DecideError::Unreadable { .. } => 0,
        }
    }
}

/// Texts to lay over a snapshot; `None` takes the file away.
pub type Overlay = BTreeMap<String, Option<Vec<u8>>>;

/// Works out the texts that some decisions leave.
///
/// Decisions that take hold of different places are read together: all their places refer to the records before
/// any of them, so that their order plays no part. Others are laid one after the other in the order given; where
/// one of them is made for the records before all, its places are followed through what those before it leave.
///
/// # Errors
/// [`DecideError`] names the change that can't be made, and why.
pub fn overlay(
    ledger: &Ledger,
    snapshot: &Snapshot,
    decisions: &[&Decision],
) -> Result<Overlay, DecideError> {
    let mut texts: Overlay = BTreeMap::new();
    if decisions.len() > 1
        && let Some(one) = as_one(ledger, snapshot, decisions)
        && apply(ledger, snapshot, &one, &mut texts).is_ok()
    {
        return Ok(texts);
    }
    texts.clear();
    for decision in decisions {
        if texts.is_empty() || !fits(ledger, snapshot, decision) {
            apply(ledger, snapshot, decision, &mut texts)?;
            continue;
        }
        let laid = snapshot.overlay(texts.clone());
        let own = follow(decision, (ledger, snapshot), (ledger, &laid), &BTreeMap::new())?;
        apply(ledger, snapshot, &own, &mut texts)?;
    }
    Ok(texts)
}

/// What one change does to one record's text, its place worked out on the text before any change.
pub(super) enum Act<'a> {
    Set { route: String, to: &'a Value },
    Remove { list: String, place: usize, route: String },
    Insert { list: String, after: usize, entry: &'a Value },
}

fn apply(
    ledger: &Ledger,
    snapshot: &Snapshot,
    decision: &Decision,
    texts: &mut Overlay,
) -> Result<(), DecideError> {
    let mut acts: BTreeMap<String, Vec<(usize, Act<'_>)>> = BTreeMap::new();
    for (at, change) in decision.changes.iter().enumerate() {
        let at = at + 1;
        if let Some(text) = &change.add {
            let (file, bytes) = added(ledger, snapshot, texts, at, text, change)?;
            texts.insert(file, Some(bytes));
            continue;
        }
        if let Some(text) = &change.drop {
            let (_, file) = record(ledger, texts, at, text)?;
            texts.insert(file, None);
            continue;
        }
        let (text, what) = [(&change.set, "set"), (&change.remove, "remove"), (&change.insert, "insert")]
            .into_iter()
            .find_map(|(text, what)| text.as_ref().map(|text| (text, what)))
            .ok_or_else(|| DecideError::Unclear {
                at,
                problem: "none of set, remove, insert, add, drop".to_string(),
            })?;
        let (name, route) = text.split_once('#').ok_or_else(|| DecideError::Unclear {
            at,
            problem: format!("`{text}` names no place: write `kind/id#route`"),
        })?;
        let (address, file) = record(ledger, texts, at, name)?;
        let before = read(snapshot, texts, &file)?;
        let act = act(at, &address, route, what, change, &before)?;
        acts.entry(file).or_default().push((at, act));
    }
    for (file, mut list) in acts {
        apart(&file, &list)?;
        let mut text = read(snapshot, texts, &file)?;
        // Values first, they shift nobody; then lists from the deepest route and the last place backward.
        list.sort_by(|(one_at, one), (two_at, two)| {
            let rank = |at: usize, act: &Act<'_>| match act {
                Act::Set { .. } => (0, 0, String::new(), 0, at),
                Act::Remove { list, place, .. } => {
                    (1, depth(list), list.clone(), usize::MAX - place.saturating_mul(2), 0)
                }
                Act::Insert { list, after, .. } => (
                    1,
                    depth(list),
                    list.clone(),
                    usize::MAX - after.saturating_mul(2).saturating_add(1),
                    usize::MAX - at,
                ),
            };
            rank(*one_at, one).cmp(&rank(*two_at, two))
        });
        for (at, act) in list {
            let result = match &act {
                Act::Set { route, to } => set(&text, route, to),
                Act::Remove { route, .. } => edit::remove(&text, route),
                Act::Insert { list, after, entry } => edit::insert(&text, list, *after, entry),
            };
            text = result.map_err(|fault| DecideError::Edit { at, fault })?;
        }
        texts.insert(file, Some(text.into_bytes()));
    }
    Ok(())
}

/// Refuses a decision that takes hold of one value twice, or of a value and of what it is a part of: which of the two
/// is meant nobody can tell.
fn apart(file: &str, acts: &[(usize, Act<'_>)]) -> Result<(), DecideError> {
    let held = |act: &Act<'_>| match act {
        Act::Set { route, .. } | Act::Remove { route, .. } => Some(route.clone()),
        Act::Insert { .. } => None,
    };
    let within = |inner: &str, outer: &str| {
        inner == outer || inner.strip_prefix(outer).is_some_and(|rest| rest.starts_with('.'))
    };
    for (nth, (at, act)) in acts.iter().enumerate() {
        let Some(own) = held(act) else { continue };
        for (before, other) in acts.iter().take(nth) {
            if held(other).is_some_and(|other| within(&own, &other) || within(&other, &own)) {
                let (first, second) = (before.min(at), before.max(at));
                return Err(DecideError::Twice {
                    at: *second,
                    other: *first,
                    route: own,
                    file: file.to_string(),
                });
            }
        }
        // What goes into a list that is taken away or set as a whole is lost.
        for (before, other) in acts {
            if let Act::Insert { list, .. } = other
                && within(list, &own)
            {
                return Err(DecideError::Twice {
                    at: *before,
                    other: *at,
                    route: own,
                    file: file.to_string(),
                });
            }
        }
    }
    Ok(())
}

/// Deeper routes go first: usize::MAX - depth sorts them to the front.
fn depth(route: &str) -> usize {
    usize::MAX - route.split('.').count()
}

fn set(text: &str, route: &str, to: &Value) -> Result<String, EditError> {
    if places(text).find(route).is_some() {
        return edit::set(text, route, to);
    }
    let (parent, key) = route.rsplit_once('.').unwrap_or(("", route));
    edit::add_key(text, parent, key, to)
}

pub(super) fn record(
    ledger: &Ledger,
    texts: &Overlay,
    at: usize,
    text: &str,
) -> Result<(Address, String), DecideError> {
    let missing = || DecideError::NoRecord { at, address: text.to_string() };
    let address = Address::parse(text).ok_or_else(missing)?;
    if let Some(import) = address.import() {
        return Err(DecideError::Imported { at, address: address.to_string(), import: import.to_string() });
    }
    // A decision may go on from what one before it adds.
    let new = format!("{}/{}.yaml", address.kind().folder(), address.id());
    let file = match ledger.file_of(&address) {
        Some(file) => file.to_string(),
        None if matches!(texts.get(&new), Some(Some(_))) => new,
        None => return Err(missing()),
    };
    Ok((address, file))
}

pub(super) fn read(snapshot: &Snapshot, texts: &Overlay, file: &str) -> Result<String, DecideError> {
    let unreadable = |why: String| DecideError::Unreadable { file: file.to_string(), why };
    match texts.get(file) {
        Some(Some(bytes)) => String::from_utf8(bytes.clone()).map_err(|_| unreadable(NOT_UTF8.to_string())),
        Some(None) => Err(unreadable("an earlier change drops it".to_string())),
        None => text_of(snapshot, file).map_err(unreadable),
    }
}

const NOT_UTF8: &str = "it is not UTF-8";

/// The text of a file; why it can't be read.
pub(super) fn text_of(snapshot: &Snapshot, file: &str) -> Result<String, String> {
    let bytes = snapshot.read(file).map_err(|fault| fault.to_string())?;
    String::from_utf8(bytes.to_vec()).map_err(|_| NOT_UTF8.to_string())
}

/// The text of a record, where there is one that can be read.
pub(super) fn text_behind(ledger: &Ledger, snapshot: &Snapshot, name: &str) -> Option<String> {
    text_of(snapshot, ledger.file_of(&Address::parse(name)?)?).ok()
}

fn added(
    ledger: &Ledger,
    snapshot: &Snapshot,
    texts: &Overlay,
    at: usize,
    text: &str,
    change: &Change,
) -> Result<(String, Vec<u8>), DecideError> {
    let unclear = |problem: String| DecideError::Unclear { at, problem };
    let address = Address::parse(text).filter(|address| address.kind() != RecordKind::Ledger);
    let address = address
        .filter(|address| address.import().is_none())
        .ok_or_else(|| unclear(format!("`{text}` is no address of a new record: write `kind/id`")))?;
    let file = format!("{}/{}.yaml", address.kind().folder(), address.id());
    let taken = ledger.file_of(&address).is_some() || snapshot.entry(&file).is_some();
    if taken && !matches!(texts.get(&file), Some(None)) || matches!(texts.get(&file), Some(Some(_))) {
        return Err(unclear(format!("`{address}` is there already")));
    }
    let record = change.record.as_ref().ok_or_else(|| unclear("`add` needs `record:`".to_string()))?;
    let yaml = serde_yaml::to_string(&record.0).map_err(|error| unclear(error.to_string()))?;
    Ok((file, yaml.into_bytes()))
}

pub(super) fn act<'a>(
    at: usize,
    address: &Address,
    route: &str,
    what: &str,
    change: &'a Change,
    before: &str,
) -> Result<Act<'a>, DecideError> {
    let unclear = |problem: &str| DecideError::Unclear { at, problem: problem.to_string() };
    let no_place = || DecideError::NoPlace { at, address: address.to_string(), route: route.to_string() };
    let index = places(before);
    if what == "insert" {
        let entry = change.entry.as_ref().ok_or_else(|| unclear("`insert` needs `entry:`"))?;
        let list = index.numbered_route(route).ok_or_else(no_place)?;
        let after = match change.after.as_ref().map(|after| &after.0) {
            Some(Value::Number(number)) => number
                .as_u64()
                .and_then(|n| usize::try_from(n).ok())
                .ok_or_else(|| unclear("`after` is no place"))?,
            Some(Value::String(name)) => {
                let inner = index.numbered_route(&format!("{route}.{name}")).ok_or_else(no_place)?;
                inner.rsplit('.').next().and_then(|last| last.parse().ok()).ok_or_else(no_place)?
            }
            _ => return Err(unclear("`insert` needs `after:`, a place in the list; 0 is first")),
        };
        between_fits(at, address, (&list, after), change, before)?;
        return Ok(Act::Insert { list, after, entry: &entry.0 });
    }
    let expected = change.was.as_ref().map(|was| &was.0);
    let numbered = index.numbered_route(route);
    let value: Value = serde_yaml::from_str(before).unwrap_or(Value::Null);
    let here = numbered.as_deref().and_then(|route| lookup(&value, route));
    let fits = |found: Option<&Value>| match (expected, found) {
        (None, _) => true,
        (Some(Value::Null), None) => true,
        (Some(was), Some(found)) => alike(was, found),
        (Some(_), None) => false,
    };
    if !fits(here) || numbered.is_none() && what != "set" {
        let to = change.to.as_ref().map(|to| &to.0).filter(|_| what == "set");
        let done = to.is_some_and(|to| here.is_some_and(|here| alike(to, here)));
        return Err(match here {
            Some(here) if done => {
                DecideError::Done { at, place: format!("{address}#{route}"), to: words(here) }
            }
            None if expected.is_none() => no_place(),
            _ => {
                let numbered = numbered.as_deref().unwrap_or(route);
                moved_on((at, address), (route, numbered), here, expected, &value)
            }
        });
    }
    let settled = numbered.unwrap_or_else(|| route.to_string());
    if what == "remove" {
        let (list, place) = settled.rsplit_once('.').unwrap_or(("", &settled));
        return match place.parse() {
            Ok(place) => Ok(Act::Remove { list: list.to_string(), place, route: settled.clone() }),
            // A key of a map: nothing shifts.
            Err(_) => Ok(Act::Remove { list: settled.clone(), place: 0, route: settled.clone() }),
        };
    }
    let to = change.to.as_ref().ok_or_else(|| unclear("`set` needs `to:`"))?;
    Ok(Act::Set { route: settled, to: &to.0 })
}

fn moved_on(
    (at, address): (usize, &Address),
    (route, numbered): (&str, &str),
    here: Option<&Value>,
    expected: Option<&Value>,
    value: &Value,
) -> DecideError {
    let others = expected.map(|expected| candidates(value, numbered, expected)).unwrap_or_default();
    DecideError::MovedOn {
        at,
        place: format!("{address}#{route}"),
        is: here.map_or_else(|| "nothing".to_string(), words),
        was: expected.map_or_else(|| "something".to_string(), words),
        candidates: match others.as_slice() {
            [] => "".into(),
            others => format!("; that stands at {}", others.join(", ")).into(),
        },
    }
}

/// The places of the list around a route that hold a value; none of them is taken for the one that was meant.
pub(super) fn candidates(value: &Value, route: &str, expected: &Value) -> Vec<String> {
    let parts: Vec<&str> = route.split('.').collect();
    let Some(at) = parts.iter().rposition(|part| part.parse::<usize>().is_ok()) else { return Vec::new() };
    let (list, rest) =
        (parts.get(..at).unwrap_or_default().join("."), parts.get(at + 1..).unwrap_or_default());
    let Some(Value::Sequence(entries)) = lookup(value, &list) else { return Vec::new() };
    let place = |place: usize| {
        [&[list.clone(), place.to_string()][..], &rest.iter().map(ToString::to_string).collect::<Vec<_>>()]
            .concat()
            .join(".")
    };
    let holds = |route: &String| lookup(value, route).is_some_and(|found| alike(expected, found));
    (1..=entries.len()).map(place).filter(holds).collect()
}

/// Checks that an insert's neighbours are those that it names.
fn between_fits(
    at: usize,
    address: &Address,
    (list, after): (&str, usize),
    change: &Change,
    before: &str,
) -> Result<(), DecideError> {
    let Some(Value::Sequence(expected)) = change.between.as_ref().map(|between| &between.0) else {
        return Ok(());
    };
    let value: Value = serde_yaml::from_str(before).unwrap_or(Value::Null);
    let Some(Value::Sequence(entries)) = lookup(&value, list) else { return Ok(()) };
    let here = |after: usize| match super::draft::between(entries, after).0 {
        Value::Sequence(two) => two,
        _ => Vec::new(),
    };
    let is = |two: &[Value]| {
        two.len() == expected.len() && two.iter().zip(expected).all(|(one, other)| alike(one, other))
    };
    if is(&here(after)) {
        return Ok(());
    }
    let entry = change.entry.as_ref().map(|entry| &entry.0);
    // It stands between them already.
    let (front, back) = (here(after), here(after.saturating_add(1)));
    if let (Some(first), Some(last), Some(entry)) = (front.first(), back.last(), entry)
        && is(&[first.clone(), last.clone()])
        && entries.get(after).is_some_and(|there| alike(there, entry))
    {
        let place = format!("{address}#{list}.{}", after.saturating_add(1));
        return Err(DecideError::Done { at, place, to: words(entry) });
    }
    let gaps: Vec<String> =
        (0..=entries.len()).filter(|at| is(&here(*at))).map(|at| format!("{list}, behind {at}")).collect();
    let said = |two: &[Value]| {
        let one = |value: &Value| if value.is_null() { "the end".to_string() } else { words(value) };
        two.iter().map(one).collect::<Vec<_>>().join(" and ")
    };
    Err(DecideError::MovedOn {
        at,
        place: format!("{address}#{list}, behind {after}"),
        is: format!("between {}", said(&here(after))),
        was: format!("between {}", said(expected)),
        candidates: match gaps.as_slice() {
            [] => "".into(),
            gaps => format!("; that gap is at {}", gaps.join(", ")).into(),
        },
    })
}

pub(super) fn lookup<'a>(value: &'a Value, route: &str) -> Option<&'a Value> {
    let mut here = value;
    for part in route.split('.').filter(|part| !part.is_empty()) {
        here = match here {
            Value::Sequence(entries) => entries.get(part.parse::<usize>().ok()?.checked_sub(1)?)?,
            Value::Mapping(_) => here.get(part)?,
            _ => return None,
        };
    }
    Some(here)
}

/// Compares values as records read them: `45` and `"45"` say the same, and so do `6 mm` and `6.0 mm`.
pub(crate) fn alike(one: &Value, two: &Value) -> bool {
    match (one, two) {
        (Value::Mapping(one), Value::Mapping(two)) => {
            one.len() == two.len()
                && one.iter().all(|(key, value)| two.get(key).is_some_and(|other| alike(value, other)))
        }
        (Value::Sequence(one), Value::Sequence(two)) => {
            one.len() == two.len() && one.iter().zip(two).all(|(one, two)| alike(one, two))
        }
        (Value::Null, Value::Null) => true,
        (Value::String(one), Value::String(two)) => one == two || same_quantity_text(one, two),
        _ => words(one) == words(two),
    }
}

pub(crate) fn words(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => serde_json::to_value(other).map_or_else(|_| String::new(), |json| super::diff::short(&json)),
    }
}

#[cfg(test)]
mod tests;
