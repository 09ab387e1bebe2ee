//! Changes as a decision carries them: from wishes typed by hand, and from the edits between two states.

use super::decide::{DecideError, Overlay, lookup, overlay, text_of, words};
use super::diff::aligned;
use crate::article::Aligned;
use crate::ledger::{Ledger, NoRecall};
use crate::record::edit::one_line;
use crate::record::{Address, Change, Day, Decision, DecisionStatus, Free, RecordKind, places};
use crate::source::Snapshot;
use serde_yaml::Value;
use std::collections::{BTreeMap, BTreeSet};
use thiserror::Error;

/// One thing that somebody wants changed, before the ledger is asked what stands there.
#[derive(Debug, Clone, PartialEq)]
pub enum Wish {
    /// Set the value at a place, `kind/id#route`.
    Set(String, Value),
    /// Take the entry or key at a place out.
    Remove(String),
    /// Put an entry behind a place of a list; place 0 is in front of all.
    Insert(String, Value),
    /// Add a record.
    Add(Address, Value),
    /// Drop a record.
    Drop(Address),
}

/// Why edits can't be said as changes.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum DraftError {
    /// A file of either state can't be read as a record.
    #[error("`{file}` can't be read: {why}")]
    Unreadable {
        /// The file.
        file: String,
        /// Why.
        why: String,
    },
    /// The edits of a file can't be said as changes of places.
    #[error("the edits of `{file}` can't be said as changes of single places: {why}")]
    Unsayable {
        /// The file.
        file: String,
        /// Why.
        why: String,
    },
}

/// What the edits between two states come to.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Edited {
    /// The changes, record by record.
    pub changes: Vec<Change>,
    /// Edited records of kinds that no decision changes: evidence, decisions and the like; and data.
    pub left_out: Vec<String>,
    /// Files that differ in nothing that a record says: comments, order, blanks.
    pub unsaid: Vec<String>,
    /// New records whose comments a decision does not carry.
    pub uncommented: Vec<String>,
}

/// Whether decisions change records of a kind; what was found or decided is no design.
fn is_design(kind: RecordKind) -> bool {
    !matches!(
        kind,
        RecordKind::Evidence
            | RecordKind::Decision
            | RecordKind::Concession
            | RecordKind::Weighing
            | RecordKind::Study
    )
}

/// Says wishes as changes that name what stands there now.
///
/// # Errors
/// [`DecideError`] names the wish, counted from 1, whose record or place is not there.
///
/// What is wished of a record that comes with the same wishes is written into that record.
pub fn changes_of(ledger: &Ledger, snapshot: &Snapshot, wishes: &[Wish]) -> Result<Vec<Change>, DecideError> {
    let new: Vec<&Address> = wishes
        .iter()
        .filter_map(|wish| match wish {
            Wish::Add(address, _) => Some(address),
            _ => None,
        })
        .collect();
    let of_new = |wish: &Wish| match wish {
        Wish::Set(place, _) | Wish::Remove(place) | Wish::Insert(place, _) => {
            let address = place.split('#').next().and_then(Address::parse);
            address.filter(|address| new.contains(&address) && ledger.file_of(address).is_none())
        }
        _ => None,
    };
    let numbered = || wishes.iter().enumerate().map(|(at, wish)| (at + 1, wish));
    let mut changes = numbered()
        .filter(|(_, wish)| of_new(wish).is_none())
        .map(|(at, wish)| change_of(ledger, snapshot, at, wish))
        .collect::<Result<Vec<Change>, _>>()?;
    let edited: BTreeSet<Address> = wishes.iter().filter_map(of_new).collect();
    if edited.is_empty() {
        return Ok(changes);
    }
    let added: Vec<Change> = changes.iter().filter(|change| change.add.is_some()).cloned().collect();
    let laid = snapshot.overlay(overlay(ledger, snapshot, &[&bare(added)])?);
    let with = Ledger::load(&laid, &NoRecall);
    for address in edited {
        let own = numbered().filter(|(_, wish)| of_new(wish).as_ref() == Some(&address));
        let own: Vec<(usize, Change)> =
            own.map(|(at, wish)| Ok((at, change_of(&with, &laid, at, wish)?))).collect::<Result<_, _>>()?;
        let last = own.last().map_or(0, |(at, _)| *at);
        let texts = overlay(&with, &laid, &[&bare(own.into_iter().map(|(_, change)| change).collect())])?;
        let unreadable =
            || DecideError::Unclear { at: last, problem: format!("{address} can't be read then") };
        let text = texts.into_values().next().flatten().ok_or_else(unreadable)?;
        let record: Value = serde_yaml::from_slice(&text).map_err(|_| unreadable())?;
        let name = address.to_string();
        for change in changes.iter_mut().filter(|change| change.add.as_ref() == Some(&name)) {
            change.record = Some(Free(record.clone()));
        }
    }
    Ok(changes)
}

fn change_of(ledger: &Ledger, snapshot: &Snapshot, at: usize, wish: &Wish) -> Result<Change, DecideError> {
    let unclear = |problem: String| DecideError::Unclear { at, problem };
    match wish {
        Wish::Add(address, record) => Ok(Change {
            add: Some(address.to_string()),
            record: Some(Free(record.clone())),
            ..Change::default()
        }),
        Wish::Drop(address) => {
            if ledger.file_of(address).is_none() {
                return Err(DecideError::NoRecord { at, address: address.to_string() });
            }
            Ok(Change { drop: Some(address.to_string()), ..Change::default() })
        }
        Wish::Set(place, _) | Wish::Remove(place) | Wish::Insert(place, _) => {
            let (name, route) = place
                .split_once('#')
                .ok_or_else(|| unclear(format!("`{place}` names no place: write `kind/id#route`")))?;
            let missing = || DecideError::NoRecord { at, address: name.to_string() };
            let address = Address::parse(name).ok_or_else(missing)?;
            let file = ledger.file_of(&address).ok_or_else(missing)?;
            let text = text_of(snapshot, file)
                .map_err(|why| DecideError::Unreadable { file: file.to_string(), why })?;
            let no_place =
                || DecideError::NoPlace { at, address: address.to_string(), route: route.to_string() };
            let index = places(&text);
            let value: Value = serde_yaml::from_str(&text).unwrap_or(Value::Null);
            let here =
                |route: &str| index.numbered_route(route).and_then(|route| lookup(&value, &route).cloned());
            let named = |route: &str| index.canonical_route(route).unwrap_or_else(|| route.to_string());
            match wish {
                Wish::Set(_, Value::Null) | Wish::Insert(_, Value::Null) => {
                    Err(DecideError::Nothing { at, place: place.clone() })
                }
                Wish::Set(_, to) => {
                    let was = here(route);
                    if was.is_none() {
                        // A key that is not there yet needs a map to stand in.
                        let parent = route.rsplit_once('.').map_or("", |(parent, _)| parent);
                        if !parent.is_empty() && !here(parent).is_some_and(|value| value.is_mapping()) {
                            return Err(no_place());
                        }
                    }
                    if was.as_ref() == Some(to) {
                        return Err(DecideError::Done { at, place: place.clone(), to: words(to) });
                    }
                    Ok(Change {
                        set: Some(format!("{address}#{}", named(route))),
                        was: was.map(Free),
                        to: Some(Free(to.clone())),
                        ..Change::default()
                    })
                }
                Wish::Remove(_) => {
                    let was = here(route).ok_or_else(no_place)?;
                    Ok(Change {
                        remove: Some(format!("{address}#{}", named(route))),
                        was: Some(Free(was)),
                        ..Change::default()
                    })
                }
                Wish::Insert(_, entry) => {
                    let (list, after) = route.rsplit_once('.').ok_or_else(|| {
                        unclear(format!(
                            "`{place}` names no place of a list: write `{place}.0` for the front, `{place}.3` for behind the third"
                        ))
                    })?;
                    let Some(Value::Sequence(entries)) = here(list) else { return Err(no_place()) };
                    let after = match after.parse::<usize>() {
                        Ok(place) if place <= entries.len() => place,
                        Ok(_) => return Err(no_place()),
                        Err(_) => index
                            .numbered_route(route)
                            .and_then(|route| route.rsplit('.').next()?.parse().ok())
                            .ok_or_else(no_place)?,
                    };
                    Ok(Change {
                        insert: Some(format!("{address}#{}", named(list))),
                        after: Some(Free(Value::from(after as u64))),
                        between: Some(between(&entries, after)),
                        entry: Some(Free(entry.clone())),
                        ..Change::default()
                    })
                }
                Wish::Add(..) | Wish::Drop(..) => Err(no_place()),
            }
        }
    }
}

/// Says the edits between two states as the changes of one decision.
///
/// The changes laid over the first state give records of the same values as the second; that is tried before
/// they are handed out.
///
/// # Errors
/// [`DraftError`] names the file whose edits can't be said.
pub fn changes_between(
    (base, before): (&Ledger, &Snapshot),
    (head, after): (&Ledger, &Snapshot),
) -> Result<Edited, DraftError> {
    let mut found = Edited::default();
    let (old, new) = (files(base), files(head));
    let addresses: BTreeSet<&Address> = old.keys().chain(new.keys()).collect();
    // What another ledger changed comes with its commit, which `ledger.yaml` names.
    for address in addresses.into_iter().filter(|address| address.import().is_none()) {
        let (was, is) = (old.get(address), new.get(address));
        let same = match (was, is) {
            (Some(was), Some(is)) => before.read(was).ok() == after.read(is).ok(),
            _ => false,
        };
        if same {
            continue;
        }
        let value = |snapshot: &Snapshot, file: &str| -> Result<Value, DraftError> {
            let unreadable = |why: String| DraftError::Unreadable { file: file.to_string(), why };
            let text = text_of(snapshot, file).map_err(unreadable)?;
            let value = serde_yaml::from_str(&text).map_err(|error| unreadable(error.to_string()))?;
            // A key without a value is one that is not there: no change sets it.
            Ok(without_nothing(value))
        };
        let has_comments = |snapshot: &Snapshot, file: &str| {
            text_of(snapshot, file).is_ok_and(|text| {
                text.lines().any(|line| line.trim_start().starts_with('#') || line.contains(" #"))
            })
        };
        let was = was.map(|file| Ok((file, value(before, file)?))).transpose()?;
        let is = is.map(|file| value(after, file)).transpose()?;
        if was.as_ref().map(|(_, was)| was) == is.as_ref() {
            found.unsaid.extend(new.get(address).cloned());
            continue;
        }
        if !is_design(address.kind()) {
            found.left_out.push(address.to_string());
            continue;
        }
        match (was, is) {
            (None, Some(record)) => {
                if new.get(address).is_some_and(|file| has_comments(after, file)) {
                    found.uncommented.push(address.to_string());
                }
                found.changes.push(Change {
                    add: Some(address.to_string()),
                    record: Some(Free(record)),
                    ..Change::default()
                });
            }
            (Some(_), None) => {
                found.changes.push(Change { drop: Some(address.to_string()), ..Change::default() });
            }
            (Some((file, was)), Some(is)) => {
                let own = tried(base, before, head, address, file, (&was, &is))?;
                found.changes.extend(own);
            }
            (None, None) => {}
        }
    }
    // Data beside the records: what was measured is nobody's decision.
    let paths = |snapshot: &Snapshot| -> BTreeSet<String> {
        let all = snapshot.files().map(|file| file.path.clone());
        all.filter(|path| path.ends_with(".csv")).collect()
    };
    let data = &paths(before) | &paths(after);
    found.left_out.extend(data.into_iter().filter(|path| before.read(path).ok() != after.read(path).ok()));
    Ok(found)
}

/// A value without the keys of maps that have none.
pub fn without_nothing(value: Value) -> Value {
    match value {
        Value::Mapping(all) => Value::Mapping(
            all.into_iter()
                .filter(|(_, one)| !one.is_null())
                .map(|(key, one)| (key, without_nothing(one)))
                .collect(),
        ),
        Value::Sequence(all) => Value::Sequence(all.into_iter().map(without_nothing).collect()),
        other => other,
    }
}

/// The changes of one record; the finest that come out as they should.
fn tried(
    base: &Ledger,
    before: &Snapshot,
    head: &Ledger,
    address: &Address,
    file: &str,
    (was, is): (&Value, &Value),
) -> Result<Vec<Change>, DraftError> {
    let text = text_of(before, file).map_err(|why| DraftError::Unreadable { file: file.to_string(), why })?;
    let index = places(&text);
    let mut why = String::new();
    for depth in [usize::MAX, 1] {
        let mut walk = Walk { base, head, address, index: &index, depth, changes: Vec::new() };
        walk.value(&[], was, is);
        let changes = walk.changes;
        match carried(base, before, file, &changes) {
            Ok(Some(came)) if without_nothing(came.clone()) == *is => return Ok(changes),
            Ok(_) => why = "they come out otherwise".to_string(),
            Err(error) => why = error.to_string(),
        }
    }
    Err(DraftError::Unsayable { file: file.to_string(), why })
}

/// What a file reads as with some changes laid over it.
fn carried(
    ledger: &Ledger,
    snapshot: &Snapshot,
    file: &str,
    changes: &[Change],
) -> Result<Option<Value>, DecideError> {
    let decision = bare(changes.to_vec());
    let texts: Overlay = overlay(ledger, snapshot, &[&decision])?;
    let text = texts.get(file).and_then(Option::as_ref).map(|bytes| String::from_utf8_lossy(bytes));
    Ok(text.and_then(|text| serde_yaml::from_str(&text).ok()))
}

/// A decision that holds nothing but changes.
pub fn bare(changes: Vec<Change>) -> Decision {
    Decision {
        status: DecisionStatus::Draft,
        raised: None,
        why: None,
        options: Vec::new(),
        base: None,
        changes,
        predicted: None,
        approvals: Vec::new(),
        supersedes: None,
        found: None,
        title: None,
        notes: None,
        source: None,
        owner: None,
        spec: None,
        price: None,
        labour: None,
    }
}

/// The records of a ledger and their files.
fn files(ledger: &Ledger) -> BTreeMap<Address, String> {
    let mut all: BTreeMap<Address, String> = ledger
        .addresses()
        .into_iter()
        .filter_map(|address| {
            let file = ledger.file_of(&address)?.to_string();
            Some((address, file))
        })
        .collect();
    if let Some(file) = ledger.file_of(&Address::ledger()) {
        all.insert(Address::ledger(), file.to_string());
    }
    all
}

struct Walk<'a> {
    base: &'a Ledger,
    head: &'a Ledger,
    address: &'a Address,
    index: &'a crate::record::PlaceIndex,
    /// How deep places are told apart; deeper values are set whole.
    depth: usize,
    changes: Vec<Change>,
}

impl Walk<'_> {
    fn place(&self, route: &[String]) -> String {
        let route = route.join(".");
        let named = self.index.canonical_route(&route).unwrap_or(route);
        format!("{}#{named}", self.address)
    }

    fn value(&mut self, route: &[String], was: &Value, is: &Value) {
        if was == is {
            return;
        }
        match (was, is) {
            (Value::Mapping(old), Value::Mapping(new)) if route.is_empty() || route.len() < self.depth => {
                let keys: Vec<&Value> =
                    old.keys().chain(new.keys().filter(|key| !old.contains_key(key))).collect();
                for key in keys {
                    let Some(word) = key.as_str() else { continue };
                    let mut own = route.to_vec();
                    own.push(word.to_string());
                    match (old.get(key), new.get(key)) {
                        (Some(was), Some(is)) => self.value(&own, was, is),
                        (Some(was), None) => self.changes.push(Change {
                            remove: Some(self.place(&own)),
                            was: Some(Free(was.clone())),
                            ..Change::default()
                        }),
                        (None, Some(is)) => self.changes.push(Change {
                            set: Some(self.place(&own)),
                            to: Some(Free(is.clone())),
                            ..Change::default()
                        }),
                        (None, None) => {}
                    }
                }
            }
            (Value::Sequence(old), Value::Sequence(new))
                if route.len() < self.depth
                    && !old.is_empty()
                    && !new.is_empty()
                    && old.iter().chain(new).all(Value::is_mapping) =>
            {
                self.list(route, old, new);
            }
            _ => self.changes.push(Change {
                set: Some(self.place(route)),
                was: Some(Free(was.clone())),
                to: Some(Free(is.clone())),
                ..Change::default()
            }),
        }
    }

    fn list(&mut self, route: &[String], old: &[Value], new: &[Value]) {
        let json = |all: &[Value]| -> Vec<serde_json::Value> {
            all.iter().map(|one| serde_json::to_value(one).unwrap_or(serde_json::Value::Null)).collect()
        };
        let layers = self.address.kind() == RecordKind::Recipe && route == ["layers"];
        let pairs = aligned((self.base, &json(old)), (self.head, &json(new)), layers);
        // Behind which entry of the old list each new one stands.
        let stays: BTreeMap<usize, usize> = pairs
            .iter()
            .filter_map(|one| match one {
                Aligned::Kept(i, j) | Aligned::Altered(i, j) => Some((*j, *i)),
                _ => None,
            })
            .collect();
        let behind = |j: usize| stays.range(..j).next_back().map_or(0, |(_, i)| i + 1);
        let mut gone: Vec<usize> = Vec::new();
        let mut come: Vec<usize> = Vec::new();
        for one in &pairs {
            match *one {
                Aligned::Kept(i, j) | Aligned::Altered(i, j) => {
                    if let (Some(was), Some(is)) = (old.get(i), new.get(j)) {
                        let mut own = route.to_vec();
                        own.push((i + 1).to_string());
                        self.value(&own, was, is);
                    }
                }
                Aligned::Removed(i) => gone.push(i),
                Aligned::Inserted(j) => come.push(j),
                Aligned::Moved(i, j) => {
                    gone.push(i);
                    come.push(j);
                }
            }
        }
        gone.sort_unstable();
        come.sort_unstable();
        for i in gone {
            let Some(was) = old.get(i) else { continue };
            let mut own = route.to_vec();
            own.push((i + 1).to_string());
            self.changes.push(Change {
                remove: Some(self.place(&own)),
                was: Some(Free(was.clone())),
                ..Change::default()
            });
        }
        for j in come {
            let Some(entry) = new.get(j) else { continue };
            self.changes.push(Change {
                insert: Some(self.place(route)),
                after: Some(Free(Value::from(behind(j) as u64))),
                between: Some(between(old, behind(j))),
                entry: Some(Free(entry.clone())),
                ..Change::default()
            });
        }
    }
}

/// The entries before and behind a gap of a list, as an insert names them; 0 is the gap in front of all.
pub(super) fn between(entries: &[Value], after: usize) -> Free {
    let entry = |at: Option<usize>| at.and_then(|at| entries.get(at)).cloned().unwrap_or(Value::Null);
    Free(Value::Sequence(vec![entry(after.checked_sub(1)), entry(Some(after))]))
}

/// What stands in the text of a new decision.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// The title.
    pub title: String,
    /// What stands behind the number in its id; made from the title where absent.
    pub name: Option<String>,
    /// Why, in the words of whoever drafts it.
    pub why: Option<String>,
    /// The role that keeps it.
    pub owner: Option<String>,
    /// The day.
    pub raised: Day,
    /// The decision that it replaces.
    pub supersedes: Option<String>,
    /// The commit that has the records which the places of the changes refer to, where one has.
    pub base: Option<String>,
    /// What it changes.
    pub changes: Vec<Change>,
}

impl Draft {
    /// Returns the record's id under a number: `dd-007-lighter-mesh`.
    pub fn id(&self, number: u32) -> String {
        let name = self.name.clone().unwrap_or_else(|| slug(&self.title));
        format!("dd-{number:03}-{name}")
    }

    /// Returns the record's text; `None` where a value can't be written on a line.
    pub fn text(&self) -> Option<String> {
        let line = |text: &str| one_line(&Value::from(text));
        let mut text = format!("title: {}\nstatus: draft\nraised: {}\n", line(&self.title)?, self.raised);
        if let Some(why) = self.why.as_ref().filter(|why| !why.trim().is_empty()) {
            text.push_str(&format!("why: {}\n", line(why.trim())?));
        }
        if let Some(supersedes) = &self.supersedes {
            text.push_str(&format!("supersedes: {supersedes}\n"));
        }
        if let Some(base) = &self.base {
            text.push_str(&format!("base: {base}\n"));
        }
        text.push_str("changes:\n");
        for change in &self.changes {
            text.push_str(&format!("  - {}\n", one_line(&serde_yaml::to_value(change).ok()?)?));
        }
        if let Some(owner) = &self.owner {
            text.push_str(&format!("owner: {}\n", line(owner)?));
        }
        Some(text)
    }
}

/// The title as part of an id: letters, digits and dashes, cut between words.
fn slug(title: &str) -> String {
    const LONGEST: usize = 40;
    let lower = title.to_lowercase();
    let words = lower.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
    let mut slug = String::new();
    for word in words {
        if !slug.is_empty() && slug.len() + 1 + word.len() > LONGEST {
            break;
        }
        if !slug.is_empty() {
            slug.push('-');
        }
        slug.extend(word.chars().take(LONGEST));
    }
    if slug.is_empty() { "untitled".to_string() } else { slug }
}

#[cfg(test)]
mod tests;
