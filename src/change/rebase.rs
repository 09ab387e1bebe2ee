//! A decision brought up to records that have moved on since it was proposed.

use super::decide::{alike, lookup};
use super::diff::aligned;
use crate::article::Aligned;
use crate::ledger::Ledger;
use crate::record::{Address, Change, Decision, Free, RecordKind, places};
use crate::source::Snapshot;
use serde_yaml::Value;

/// Returns the decision with its list places moved to where those entries stand now, by the layer difference
/// between the state it was proposed on and this one; each `was` stays, so that what is no longer there is
/// still found out.
pub fn follow(
    decision: &Decision,
    (then, before): (&Ledger, &Snapshot),
    (now, after): (&Ledger, &Snapshot),
) -> Decision {
    let mut moved = decision.clone();
    for change in &mut moved.changes {
        let Some((place, insert)) = place_of(change) else { continue };
        let Some(found) = new_place((then, before), (now, after), &place, insert.as_ref()) else { continue };
        let (route, after) = found;
        if change.insert.is_some() {
            change.insert = Some(route);
            change.after = after.map(Free);
        } else if change.remove.is_some() {
            change.remove = Some(route);
        } else {
            change.set = Some(route);
        }
    }
    moved
}

/// Returns the decision with every `was` as the records have it now; `None` names the change whose place is
/// gone, from 1.
///
/// # Errors
/// The change whose place is gone, counted from 1.
pub fn renew(decision: &Decision, now: &Ledger, snapshot: &Snapshot) -> Result<Decision, usize> {
    let mut renewed = decision.clone();
    for (at, change) in renewed.changes.iter_mut().enumerate() {
        let Some(place) = change.set.clone().or_else(|| change.remove.clone()) else { continue };
        let here = value_at(now, snapshot, &place);
        match (here, change.set.is_some()) {
            (Some(here), _) => {
                if !change.was.as_ref().is_some_and(|was| alike(&was.0, &here)) {
                    change.was = Some(Free(here));
                }
            }
            // A key that is not there is set anew where the record is there.
            (None, true) if change.was.is_none() => {}
            (None, _) => return Err(at + 1),
        }
    }
    Ok(renewed)
}

fn value_at(ledger: &Ledger, snapshot: &Snapshot, place: &str) -> Option<Value> {
    let (name, route) = place.split_once('#')?;
    let text = text_of(ledger, snapshot, name)?;
    let route = places(&text).numbered_route(route)?;
    lookup(&serde_yaml::from_str(&text).ok()?, &route).cloned()
}

fn text_of(ledger: &Ledger, snapshot: &Snapshot, name: &str) -> Option<String> {
    let file = ledger.file_of(&Address::parse(name)?)?;
    String::from_utf8(snapshot.read(file).ok()?.to_vec()).ok()
}

/// The place that a change names, and behind which entry it inserts.
fn place_of(change: &Change) -> Option<(String, Option<Value>)> {
    if let Some(list) = &change.insert {
        return Some((list.clone(), change.after.as_ref().map(|after| after.0.clone())));
    }
    change.set.clone().or_else(|| change.remove.clone()).map(|place| (place, None))
}

/// Where an entry of a list stands now; `None` where its place says nothing about lists, or it is gone.
fn new_place(
    (then, before): (&Ledger, &Snapshot),
    (now, after): (&Ledger, &Snapshot),
    place: &str,
    insert: Option<&Value>,
) -> Option<(String, Option<Value>)> {
    let (name, route) = place.split_once('#')?;
    let (old, new) = (text_of(then, before, name)?, text_of(now, after, name)?);
    if old == new {
        return None;
    }
    let parts: Vec<&str> = route.split('.').collect();
    let (list, at, rest) = match insert {
        Some(behind) => (route.to_string(), usize::try_from(behind.as_u64()?).ok()?, &[][..]),
        None => {
            let at = parts.iter().position(|part| part.parse::<usize>().is_ok())?;
            (parts.get(..at)?.join("."), parts.get(at)?.parse().ok()?, parts.get(at + 1..)?)
        }
    };
    // In front of all is still in front of all.
    if at == 0 {
        return None;
    }
    let entries = |text: &str| -> Option<Vec<serde_json::Value>> {
        let value: Value = serde_yaml::from_str(text).ok()?;
        let route = places(text).numbered_route(&list)?;
        let Some(Value::Sequence(all)) = lookup(&value, &route) else { return None };
        all.iter().map(|one| serde_json::to_value(one).ok()).collect()
    };
    let (was, is) = (entries(&old)?, entries(&new)?);
    let layers = Address::parse(name)?.kind() == RecordKind::Recipe && list == "layers";
    let found = aligned((then, &was), (now, &is), layers).into_iter().find_map(|one| match one {
        Aligned::Kept(i, j) | Aligned::Altered(i, j) | Aligned::Moved(i, j) if i + 1 == at => Some(j + 1),
        _ => None,
    })?;
    if insert.is_some() {
        return Some((place.to_string(), Some(Value::from(found as u64))));
    }
    let mut route = format!("{name}#{list}.{found}");
    for part in rest {
        route.push('.');
        route.push_str(part);
    }
    Some((route, None))
}
