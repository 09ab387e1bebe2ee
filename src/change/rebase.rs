//! A decision brought up to records that have moved on since it was proposed.

use super::decide::{DecideError, alike, candidates, lookup, text_behind, words};
use super::diff::aligned;
use super::draft::between;
use super::explain::record_of;
use crate::article::Aligned;
use crate::ledger::Ledger;
use crate::record::{Address, Change, Decision, Free, PlaceIndex, RecordKind, places};
use crate::source::Snapshot;
use serde_yaml::Value;
use std::collections::BTreeMap;

/// What became of the place of a change between two states.
#[derive(Debug, Clone, PartialEq)]
enum Place {
    /// It is where it was, or says nothing about lists.
    Unmoved,
    /// It is elsewhere: the place now, and behind which entry an insert goes.
    Moved(String, Option<u64>),
    /// The entry is gone.
    Gone,
    /// Nobody can tell the entry from its equals: the places that it may be at.
    Unsure(Vec<String>),
    /// Something equal was put into this gap of a list, named by the entry before it.
    Filled(u64),
}

/// Returns the decision with its list places moved to where those entries stand now, by the layer difference
/// between the state it was made on and this one; each `was` stays, so that what is no longer there is still
/// found out. `called` has records by the names of then that are called otherwise now.
///
/// # Errors
/// [`DecideError`] for the first change whose entry is gone, can't be told from its equals, or was put in already.
pub fn follow(
    decision: &Decision,
    (then, before): (&Ledger, &Snapshot),
    (now, after): (&Ledger, &Snapshot),
    called: &BTreeMap<String, String>,
) -> Result<Decision, DecideError> {
    let mut moved = decision.clone();
    for (at, change) in moved.changes.iter_mut().enumerate() {
        let Some(place) = change.set.as_ref().or(change.remove.as_ref()).or(change.insert.as_ref()).cloned()
        else {
            continue;
        };
        let at = at + 1;
        let name = record_of(&place);
        let own = called.get(name).map_or(name, String::as_str);
        if text_behind(then, before, name).is_some() && text_behind(now, after, own).is_none() {
            return Err(DecideError::NoRecord { at, address: name.to_string() });
        }
        match new_place((then, before), (now, after), &place, change, called) {
            Place::Unmoved => {}
            Place::Moved(route, behind) => {
                if change.insert.is_some() {
                    change.insert = Some(route);
                    change.after = behind.map(|behind| Free(Value::from(behind)));
                } else if change.remove.is_some() {
                    change.remove = Some(route);
                } else {
                    change.set = Some(route);
                }
            }
            Place::Gone => return Err(DecideError::Gone { at, place }),
            Place::Unsure(places) => return Err(DecideError::Unsure { at, place, places }),
            Place::Filled(behind) => {
                let to = change.entry.as_ref().map(|entry| words(&entry.0)).unwrap_or_default();
                return Err(DecideError::Done { at, place: format!("{place}.{behind}"), to });
            }
        }
        for place in [&mut change.set, &mut change.remove, &mut change.insert].into_iter().flatten() {
            if let Some((name, route)) = place.split_once('#')
                && let Some(now) = called.get(name)
            {
                *place = format!("{now}#{route}");
            }
        }
        if change.insert.is_some() && change.between.is_some() {
            // The neighbours were held against the state that it was made on: they may have been edited since.
            change.between = neighbours(now, after, change).or_else(|| change.between.take());
        }
    }
    Ok(moved)
}

/// The entries that an insert goes between, as a state has them.
fn neighbours(ledger: &Ledger, snapshot: &Snapshot, change: &Change) -> Option<Free> {
    let place = change.insert.as_ref()?;
    let after = usize::try_from(change.after.as_ref()?.0.as_u64()?).ok()?;
    let Value::Sequence(entries) = value_at(ledger, snapshot, place)? else { return None };
    Some(between(&entries, after))
}

/// Returns the decision with every `was` as the records have it now; `None` names the change whose place is
/// gone, from 1.
///
/// # Errors
/// The change whose place is gone, counted from 1.
pub fn renew(decision: &Decision, now: &Ledger, snapshot: &Snapshot) -> Result<Decision, usize> {
    let mut renewed = decision.clone();
    let is_dated = made_on(decision).is_some();
    for (at, change) in renewed.changes.iter_mut().enumerate() {
        let expected = change.between.clone();
        if let (Some(expected), Some(here)) = (expected, neighbours(now, snapshot, change))
            && !alike(&expected.0, &here.0)
        {
            return Err(at + 1);
        }
        let Some(place) = change.set.clone().or_else(|| change.remove.clone()) else { continue };
        let here = value_at(now, snapshot, &place);
        match (here, change.set.is_some()) {
            (Some(here), _) => {
                if !change.was.as_ref().is_some_and(|was| alike(&was.0, &here)) {
                    // Without a state to follow it from, a value that stands elsewhere in the list may have moved.
                    if !is_dated && stands_elsewhere(now, snapshot, &place, change.was.as_ref()) {
                        return Err(at + 1);
                    }
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

/// Returns the commit whose records the places of a decision's changes refer to.
pub fn made_on(decision: &Decision) -> Option<&str> {
    let proposed = decision.predicted.as_ref().and_then(|own| own.commit.as_ref());
    proposed.or(decision.base.as_ref()).map(crate::record::Text::as_str)
}

fn stands_elsewhere(ledger: &Ledger, snapshot: &Snapshot, place: &str, was: Option<&Free>) -> bool {
    let Some((name, route)) = place.split_once('#') else { return false };
    let text = text_behind(ledger, snapshot, name).unwrap_or_default();
    let value: Value = serde_yaml::from_str(&text).unwrap_or(Value::Null);
    let route = places(&text).numbered_route(route).unwrap_or_else(|| route.to_string());
    was.is_some_and(|was| !candidates(&value, &route, &was.0).is_empty())
}

fn value_at(ledger: &Ledger, snapshot: &Snapshot, place: &str) -> Option<Value> {
    let (name, route) = place.split_once('#')?;
    let text = text_behind(ledger, snapshot, name)?;
    let route = places(&text).numbered_route(route)?;
    lookup(&serde_yaml::from_str(&text).ok()?, &route).cloned()
}

/// Where the entries of lists that a change names stand now.
fn new_place(
    (then, before): (&Ledger, &Snapshot),
    (now, after): (&Ledger, &Snapshot),
    place: &str,
    change: &Change,
    called: &BTreeMap<String, String>,
) -> Place {
    let Some((name, route)) = place.split_once('#') else { return Place::Unmoved };
    let Some(old) = text_behind(then, before, name) else { return Place::Unmoved };
    let own = called.get(name).map_or(name, String::as_str);
    let Some(new) = text_behind(now, after, own) else { return Place::Gone };
    if old == new {
        return Place::Unmoved;
    }
    let (old, new) = (Text::of(then, &old), Text::of(now, &new));
    let recipe = Address::parse(name).is_some_and(|address| address.kind() == RecordKind::Recipe);
    let whose = |list: &str| recipe && list == "layers";
    let mut route: Vec<String> = route.split('.').map(str::to_string).collect();
    let (was_route, mut moved) = (route.clone(), false);
    for at in 0..was_route.len() {
        let Some(own) = was_route.get(at).and_then(|part| part.parse::<usize>().ok()) else { continue };
        // The lists around it may have moved themselves.
        let lists = (was_route.get(..at).unwrap_or_default(), route.get(..at).unwrap_or_default());
        let (was_list, list) = (lists.0.join("."), lists.1.join("."));
        let Some(was) = old.entries(&was_list) else { return Place::Unmoved };
        let Some(is) = new.entries(&list) else { return Place::Gone };
        if own > was.len() {
            return Place::Unmoved;
        }
        // In a list of plain values, as a centroid's, a place is what it is by its number.
        if !was.iter().chain(&is).all(serde_json::Value::is_object) {
            continue;
        }
        let found = match Pairs::of((then, &was), (now, &is), whose(&was_list)).place(own) {
            Ok(found) => found,
            Err(places) if places.is_empty() => return Place::Gone,
            Err(places) => {
                return Place::Unsure(places.iter().map(|at| format!("{name}#{list}.{at}")).collect());
            }
        };
        moved |= found != own;
        if let Some(part) = route.get_mut(at) {
            *part = found.to_string();
        }
    }
    let route = route.join(".");
    if change.insert.is_some() {
        return gap((&old, &new), (&was_route.join("."), &route), (name, whose(&route)), change, moved);
    }
    if moved { Place::Moved(format!("{name}#{route}"), None) } else { Place::Unmoved }
}

/// Where a gap of a list is now: between the entries that it was between.
fn gap(
    (old, new): (&Text<'_>, &Text<'_>),
    (was_route, route): (&str, &str),
    (name, layers): (&str, bool),
    change: &Change,
    moved: bool,
) -> Place {
    // One that is named by an entry's name follows by that.
    let Some(after) = change.after.as_ref().and_then(|after| after.0.as_u64()) else { return Place::Unmoved };
    let Ok(after) = usize::try_from(after) else { return Place::Unmoved };
    let Some(was) = old.entries(was_route) else { return Place::Unmoved };
    let Some(is) = new.entries(route) else { return Place::Gone };
    if after > was.len() || !was.iter().chain(&is).all(serde_json::Value::is_object) {
        return if moved {
            Place::Moved(format!("{name}#{route}"), Some(after as u64))
        } else {
            Place::Unmoved
        };
    }
    let pairs = Pairs::of((old.ledger, &was), (new.ledger, &is), layers);
    let unsure = |places: Vec<usize>| match places.is_empty() {
        true => Place::Gone,
        false => Place::Unsure(places.iter().map(|at| format!("{name}#{route}.{at}")).collect()),
    };
    let found = match after {
        0 => 0,
        after => match pairs.place(after) {
            Ok(found) => found,
            Err(places) => return unsure(places),
        },
    };
    // What came into the gap since was there first: it stays in front, as where both are judged together.
    let end = match after < was.len() {
        true => match pairs.place(after + 1) {
            Ok(end) => end.max(found + 1),
            Err(places) if places.is_empty() => found + 1,
            Err(places) => return unsure(places.into_iter().map(|at| at.saturating_sub(1)).collect()),
        },
        false => is.len() + 1,
    };
    let entry = change.entry.as_ref().and_then(|entry| serde_yaml::to_value(&entry.0).ok());
    let inside = is.get(found..end.saturating_sub(1)).unwrap_or_default();
    let alike_one = |one: &serde_json::Value| {
        let one = serde_yaml::to_value(one).ok();
        entry.as_ref().zip(one.as_ref()).is_some_and(|(entry, one)| alike(entry, one))
    };
    if let Some(at) = inside.iter().position(alike_one) {
        return Place::Filled((found + at + 1) as u64);
    }
    if moved || end != after + 1 {
        return Place::Moved(format!("{name}#{route}"), Some((end - 1) as u64));
    }
    Place::Unmoved
}

/// A record's text and the ledger that tells what its entries are.
struct Text<'a> {
    ledger: &'a Ledger,
    value: Value,
    index: PlaceIndex,
}

impl<'a> Text<'a> {
    fn of(ledger: &'a Ledger, text: &str) -> Self {
        Self { ledger, value: serde_yaml::from_str(text).unwrap_or(Value::Null), index: places(text) }
    }

    fn entries(&self, list: &str) -> Option<Vec<serde_json::Value>> {
        let route = self.index.numbered_route(list)?;
        let Some(Value::Sequence(all)) = lookup(&self.value, &route) else { return None };
        all.iter().map(|one| serde_json::to_value(one).ok()).collect()
    }
}

/// Which entry became which, seen from both ends of the list: where the two differ, equals can't be told apart.
struct Pairs {
    front: BTreeMap<usize, usize>,
    back: BTreeMap<usize, usize>,
}

impl Pairs {
    fn of(
        (then, was): (&Ledger, &[serde_json::Value]),
        (now, is): (&Ledger, &[serde_json::Value]),
        layers: bool,
    ) -> Self {
        let pairs = |was: &[serde_json::Value], is: &[serde_json::Value]| -> BTreeMap<usize, usize> {
            let all = aligned((then, was), (now, is), layers).into_iter();
            all.filter_map(|one| match one {
                Aligned::Kept(i, j) | Aligned::Altered(i, j) | Aligned::Moved(i, j) => Some((i + 1, j + 1)),
                _ => None,
            })
            .collect()
        };
        let turned =
            |all: &[serde_json::Value]| -> Vec<serde_json::Value> { all.iter().rev().cloned().collect() };
        let back = pairs(&turned(was), &turned(is)).into_iter();
        let back = back.map(|(i, j)| (was.len() + 1 - i, is.len() + 1 - j)).collect();
        Self { front: pairs(was, is), back }
    }

    /// Where an entry stands now, from 1.
    ///
    /// # Errors
    /// The places that it may be at; none where it is gone.
    fn place(&self, at: usize) -> Result<usize, Vec<usize>> {
        match (self.front.get(&at), self.back.get(&at)) {
            (Some(front), Some(back)) if front == back => Ok(*front),
            (front, back) => {
                let mut places: Vec<usize> = front.into_iter().chain(back).copied().collect();
                places.sort_unstable();
                places.dedup();
                Err(places)
            }
        }
    }
}
