//! What was edited: attribute by attribute between two ledgers, with the layer difference.

use super::facets::{class_of, facet_of_route};
use super::same::same_quantity;
use crate::article::{Aligned, Configurator, Likeness, align, layer_role};
use crate::ledger::{Ledger, Records};
use crate::qualify::delta::{AsMade, compare};
use crate::record::{Address, MaterialKind, RecordKind, Zone};
use serde::Serialize;
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::sync::Arc;

/// One edit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// `kind/id#route`, with list places.
    pub address: String,
    /// The route without list places.
    pub attribute: String,
    /// As it was; `None` where it is new.
    pub was: Option<String>,
    /// As it is; `None` where it is gone.
    pub is: Option<String>,
    /// The facet that it counts in.
    pub facet: Option<String>,
    /// The class of change.
    pub class: Option<&'static str>,
}

/// All edits, with the records that only changed their name.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Edits {
    /// The edits, sorted by address.
    pub changes: Vec<Change>,
    /// Renamed records: kind and old id, new id.
    pub renamed: BTreeMap<(RecordKind, String), String>,
}

impl Edits {
    /// Returns the records of a kind that only changed their name: old id, new id.
    pub fn renamed_of(&self, kind: RecordKind) -> BTreeMap<String, String> {
        let own = self.renamed.iter().filter(|((renamed, _), _)| *renamed == kind);
        own.map(|((_, old), new)| (old.clone(), new.clone())).collect()
    }
}

/// Compares two ledgers record by record.
pub fn diff(base: &Ledger, head: &Ledger) -> Edits {
    let mut edits = Edits::default();
    let mut room = Room {
        base,
        head,
        base_values: Configurator::new(base),
        head_values: Configurator::new(head),
        edits: &mut edits,
    };
    room.head();
    room.records(RecordKind::Material, &base.materials, &head.materials);
    room.records(RecordKind::Process, &base.processes, &head.processes);
    room.records(RecordKind::Tool, &base.tools, &head.tools);
    room.records(RecordKind::Finish, &base.finishes, &head.finishes);
    room.records(RecordKind::Recipe, &base.recipes, &head.recipes);
    room.records(RecordKind::Panel, &base.panels, &head.panels);
    room.records(RecordKind::Assembly, &base.assemblies, &head.assemblies);
    room.records(RecordKind::Showing, &base.showings, &head.showings);
    room.records(RecordKind::Evidence, &base.evidence, &head.evidence);
    room.records(RecordKind::Decision, &base.decisions, &head.decisions);
    room.records(RecordKind::Concession, &base.concessions, &head.concessions);
    room.records(RecordKind::Weighing, &base.weighings, &head.weighings);
    room.records(RecordKind::Study, &base.studies, &head.studies);
    room.data();
    edits.changes.sort_by(|one, two| one.address.cmp(&two.address));
    edits
}

struct Room<'a> {
    base: &'a Ledger,
    head: &'a Ledger,
    base_values: Configurator<'a>,
    head_values: Configurator<'a>,
    edits: &'a mut Edits,
}

/// Keys that people add without changing what the record means.
pub(super) const SILENT: [&str; 4] = ["title", "notes", "owner", "formerly"];

fn essence(value: &Value) -> Value {
    match value {
        Value::Object(map) => Value::Object(
            map.iter()
                .filter(|(key, _)| !SILENT.contains(&key.as_str()))
                .map(|(k, v)| (k.clone(), v.clone()))
                .collect(),
        ),
        other => other.clone(),
    }
}

/// The same value, every text that is the old id of a renamed record replaced by the new one.
fn renamed_within(value: &Value, renamed: &BTreeMap<(RecordKind, String), String>) -> Value {
    if renamed.is_empty() {
        return value.clone();
    }
    match value {
        Value::String(text) => {
            let new = renamed.iter().find(|((_, old), _)| old == text).map(|(_, new)| new);
            Value::String(new.unwrap_or(text).clone())
        }
        Value::Array(all) => Value::Array(all.iter().map(|one| renamed_within(one, renamed)).collect()),
        Value::Object(map) => {
            Value::Object(map.iter().map(|(key, one)| (key.clone(), renamed_within(one, renamed))).collect())
        }
        other => other.clone(),
    }
}

/// Returns a record, or a part of one, as a tree of values.
pub(crate) fn tree<T: Serialize>(value: &T) -> Value {
    serde_json::to_value(value).unwrap_or(Value::Null)
}

impl Room<'_> {
    fn head(&mut self) {
        if self.base.head == self.head.head {
            return;
        }
        let (was, is) = (tree(&self.base.head), tree(&self.head.head));
        self.walk(RecordKind::Ledger, "ledger", &[], &was, &is, &was);
    }

    fn records<T: Serialize + PartialEq>(&mut self, kind: RecordKind, base: &Records<T>, head: &Records<T>) {
        let gone: Vec<&String> = base.keys().filter(|id| !head.contains_key(*id)).collect();
        let come: Vec<&String> = head.keys().filter(|id| !base.contains_key(*id)).collect();
        let mut left: Vec<(&String, Value)> = Vec::new();
        for id in gone {
            if let Some(entry) = base.get(id) {
                left.push((id, tree(&*entry.value)));
            }
        }
        for id in come {
            let Some(entry) = head.get(id) else { continue };
            let value = tree(&*entry.value);
            let address = Address::new(kind, id.clone());
            let same = |old: &str| {
                // What a material is called counts unless it says so itself: equal words are not enough.
                let behind =
                    |configurator: &Configurator<'_>, id: &str| configurator.behind(&Address::new(kind, id));
                kind != RecordKind::Material
                    || behind(&self.base_values, old) == behind(&self.head_values, id)
            };
            // What it names may have been renamed as well; kinds come after those that they name.
            let own = |old: &Value| renamed_within(&essence(old), &self.edits.renamed);
            match left.iter().position(|(id, old)| own(old) == essence(&value) && same(id)) {
                Some(at) => {
                    let (old, _) = left.remove(at);
                    self.edits.renamed.insert((kind, old.clone()), id.clone());
                    self.push(
                        address.to_string(),
                        String::new(),
                        Some(Address::new(kind, old.clone()).to_string()),
                        Some(address.to_string()),
                        None,
                    );
                }
                None => self.push(address.to_string(), String::new(), None, Some(in_a_line(&value)), None),
            }
        }
        for (id, value) in left {
            self.push(
                Address::new(kind, id.clone()).to_string(),
                String::new(),
                Some(short(&value)),
                None,
                None,
            );
        }
        for (id, old) in base {
            let Some(new) = head.get(id) else { continue };
            // What was read from the same bytes is held once.
            if Arc::ptr_eq(&old.value, &new.value) || old.value == new.value {
                continue;
            }
            let address = Address::new(kind, id.clone()).to_string();
            let (was, is) = (tree(&*old.value), tree(&*new.value));
            self.walk(kind, &address, &[], &was, &is, &is);
        }
    }

    /// Data whose bytes are others under the same record.
    fn data(&mut self) {
        let (base, head) = (self.base, self.head);
        for (id, old) in &base.data {
            let Some(new) = head.data.get(id).filter(|new| new.digest != old.digest) else { continue };
            let short = |ledger: &Ledger, data: &crate::ledger::TestData| {
                let digest: String = data.digest.chars().take(15).collect();
                let altered = ledger.evidence.get(id).is_some_and(|entry| ledger.is_altered(entry));
                let words = if altered { " (not what was conformed)" } else { "" };
                Some(format!("{}, {digest}...{words}", data.file))
            };
            let address = at(
                &Address::new(RecordKind::Evidence, id.clone()).to_string(),
                &[Step::Key("data".to_string())],
            );
            self.push(address, "data".to_string(), short(base, old), short(head, new), None);
        }
    }

    fn push(
        &mut self,
        address: String,
        attribute: String,
        was: Option<String>,
        is: Option<String>,
        facet: Option<String>,
    ) {
        let class = facet.as_deref().and_then(|facet| class_of(facet, &address));
        self.edits.changes.push(Change { address, attribute, was, is, facet, class });
    }

    /// One value at a route; `record` is the whole record, for what decides its facet.
    fn walk(
        &mut self,
        kind: RecordKind,
        address: &str,
        route: &[Step],
        was: &Value,
        is: &Value,
        record: &Value,
    ) {
        if was == is || same_quantity(was, is) {
            return;
        }
        match (was, is) {
            (Value::Object(old), Value::Object(new)) => {
                let mut keys: Vec<&String> = old.keys().chain(new.keys()).collect();
                keys.sort();
                keys.dedup();
                for key in keys {
                    let mut route = route.to_vec();
                    route.push(Step::Key(key.clone()));
                    let (was, is) =
                        (old.get(key).unwrap_or(&Value::Null), new.get(key).unwrap_or(&Value::Null));
                    self.walk(kind, address, &route, was, is, record);
                }
            }
            (Value::Array(old), Value::Array(new)) if old.iter().chain(new).all(Value::is_object) => {
                self.list(kind, address, route, old, new, record);
            }
            (Value::Null, Value::Array(new)) if !new.is_empty() && new.iter().all(Value::is_object) => {
                self.list(kind, address, route, &[], new, record);
            }
            (Value::Array(old), Value::Null) if !old.is_empty() && old.iter().all(Value::is_object) => {
                self.list(kind, address, route, old, &[], record);
            }
            _ => self.leaf(kind, address, route, was, is, record),
        }
    }

    fn leaf(
        &mut self,
        kind: RecordKind,
        address: &str,
        route: &[Step],
        was: &Value,
        is: &Value,
        record: &Value,
    ) {
        let attribute = attribute(route);
        let target = facet_of_route(kind, &attribute, record);
        let facet = match target {
            // The sides of a joint follow what zones are called.
            _ if kind == RecordKind::Panel
                && attribute == "joints.between"
                && self.is_between_the_same(address, was, is) =>
            {
                None
            }
            super::facets::Target::Facet(facet) => facet.map(str::to_string),
            super::facets::Target::Reference(kind) => self.behind(kind, was, is),
        };
        self.push(at(address, route), attribute, text(was), text(is), facet);
    }

    /// Whether a joint names the same zones as before, where some zones of the panel only changed their name.
    fn is_between_the_same(&self, address: &str, was: &Value, is: &Value) -> bool {
        let id = address.split_once('/').map_or("", |(_, id)| id);
        let (Some(old), Some(new)) = (self.base.panels.get(id), self.head.panels.get(id)) else {
            return false;
        };
        let (old, new) = (&old.value.zones, &new.value.zones);
        let (Some(was), Some(is)) = (was.as_array(), is.as_array()) else { return false };
        let nameless = |zone: &Zone| {
            let mut value = tree(zone);
            if let Some(map) = value.as_object_mut() {
                map.remove("name");
            }
            value
        };
        old.len() == new.len()
            && was.len() == is.len()
            && was.iter().zip(is).all(|(was, is)| {
                was == is
                    || old.iter().zip(new).any(|(old, new)| {
                        was.as_str() == Some(old.name.as_str())
                            && is.as_str() == Some(new.name.as_str())
                            && nameless(old) == nameless(new)
                    })
            })
    }

    /// The facet of the first attribute that differs behind a reference, compared as evidence is.
    fn behind(&self, kind: RecordKind, was: &Value, is: &Value) -> Option<String> {
        let of = |configurator: &Configurator<'_>, value: &Value| match value.as_str() {
            Some(id) => configurator.behind(&Address::new(kind, id)),
            // No finish is a finish too: bare.
            None if kind == RecordKind::Finish => configurator.bare(),
            None => None,
        };
        let old = of(&self.base_values, was).unwrap_or_default();
        let new = of(&self.head_values, is).unwrap_or_default();
        let made = AsMade { main: old, ..AsMade::default() };
        compare(&new, &made).all.first().map(|delta| delta.key.facet().to_string())
    }

    fn list(
        &mut self,
        kind: RecordKind,
        address: &str,
        route: &[Step],
        old: &[Value],
        new: &[Value],
        record: &Value,
    ) {
        let layers = kind == RecordKind::Recipe && attribute(route) == "layers";
        for one in aligned((self.base, old), (self.head, new), layers) {
            match one {
                Aligned::Kept(..) => {}
                Aligned::Altered(i, j) => {
                    let (Some(was), Some(is)) = (old.get(i), new.get(j)) else { continue };
                    let mut route = route.to_vec();
                    route.push(Step::Place(place(is, j)));
                    self.walk(kind, address, &route, was, is, record);
                }
                Aligned::Moved(i, j) => {
                    let (Some(was), Some(is)) = (old.get(i), new.get(j)) else { continue };
                    let mut own = route.to_vec();
                    own.push(Step::Place(place(is, j)));
                    let facet = self.entry_facet(kind, route, is, record);
                    let words =
                        |at: usize, value: &Value| Some(format!("place {}: {}", at + 1, short(value)));
                    self.push(at(address, &own), attribute(route), words(i, was), words(j, is), facet);
                }
                Aligned::Inserted(j) => {
                    let Some(is) = new.get(j) else { continue };
                    let mut own = route.to_vec();
                    own.push(Step::Place(place(is, j)));
                    let facet = self.entry_facet(kind, route, is, record);
                    self.push(at(address, &own), attribute(route), None, Some(short(is)), facet);
                }
                Aligned::Removed(i) => {
                    let Some(was) = old.get(i) else { continue };
                    let mut own = route.to_vec();
                    own.push(Step::Place(place(was, i)));
                    let facet = self.entry_facet(kind, route, was, record);
                    self.push(at(address, &own), attribute(route), Some(short(was)), None, facet);
                }
            }
        }
    }

    /// The facet of an entry that came, went or moved.
    fn entry_facet(&self, kind: RecordKind, route: &[Step], entry: &Value, record: &Value) -> Option<String> {
        let attribute = attribute(route);
        let id = entry.get("material").and_then(Value::as_str);
        let material = id.and_then(|id| self.head.materials.get(id).or_else(|| self.base.materials.get(id)));
        match (kind, attribute.as_str(), material) {
            (RecordKind::Recipe, "layers", Some(material)) => Some(
                match material.value.kind {
                    MaterialKind::Core => "core",
                    MaterialKind::Adhesive => "adhesive",
                    MaterialKind::Mesh => "mesh",
                    MaterialKind::Surfacing => "surfacing",
                    _ => "plies",
                }
                .to_string(),
            ),
            // Repeating a coat of the same product changes the film only.
            (RecordKind::Finish, "coats", Some(material)) => {
                let coats = record.get("coats").and_then(Value::as_array);
                let id = material.id.as_str();
                let uses = coats.map_or(0, |coats| {
                    coats
                        .iter()
                        .filter(|coat| coat.get("material").and_then(Value::as_str) == Some(id))
                        .count()
                });
                let role = material.value.role.map_or("base-coat", |role| match role {
                    crate::record::CoatRole::Filler => "filler",
                    crate::record::CoatRole::Primer => "primer",
                    crate::record::CoatRole::Colour => "base-coat",
                    crate::record::CoatRole::Clear => "top-coat",
                });
                Some(if uses > 1 { "film-build" } else { role }.to_string())
            }
            _ => match facet_of_route(kind, &attribute, record) {
                super::facets::Target::Facet(facet) => facet.map(str::to_string),
                super::facets::Target::Reference(_) => None,
            },
        }
    }
}

/// The entries of a list before and now, paired; `layers` are those of a recipe, by the layer difference.
pub(super) fn aligned(
    (base, old): (&Ledger, &[Value]),
    (head, new): (&Ledger, &[Value]),
    layers: bool,
) -> Vec<Aligned> {
    align(old.len(), new.len(), |i, j| match layers {
        true => layer_likeness((base, old.get(i)), (head, new.get(j))),
        false => entries(old.get(i), new.get(j)),
    })
}

fn layer_likeness((base, was): (&Ledger, Option<&Value>), (head, is): (&Ledger, Option<&Value>)) -> Likeness {
    let (Some(was), Some(is)) = (was, is) else { return Likeness::Apart };
    let role = |ledger: &Ledger, layer: &Value| {
        let id = layer.get("material").and_then(Value::as_str)?;
        ledger.materials.get(id).map(|material| layer_role(material.value.kind))
    };
    if role(base, was) != role(head, is) {
        return Likeness::Apart;
    }
    let differs = |key: &str| was.get(key).unwrap_or(&Value::Null) != is.get(key).unwrap_or(&Value::Null);
    let count = ["material", "angle", "thickness"].iter().filter(|key| differs(key)).count();
    let count = u32::try_from(count).unwrap_or(3);
    match (was.get("id").filter(|id| !id.is_null()), is.get("id").filter(|id| !id.is_null())) {
        (Some(old), Some(new)) if old == new => Likeness::SameId(count),
        (Some(_), Some(_)) if count == 0 => Likeness::Differ(1),
        (Some(_), Some(_)) => Likeness::Apart,
        // A name given or taken is an edit, though the layer is the same.
        (old, new) if old != new => Likeness::Differ(count.max(1)),
        _ => Likeness::Differ(count),
    }
}

/// Entries with a name pair by it; others by how many keys differ.
fn entries(was: Option<&Value>, is: Option<&Value>) -> Likeness {
    let (Some(Value::Object(was)), Some(Value::Object(is))) = (was, is) else { return Likeness::Apart };
    let named = |map: &Map<String, Value>| {
        ["id", "name"].iter().find_map(|key| map.get(*key).and_then(Value::as_str).map(str::to_string))
    };
    let keys: std::collections::BTreeSet<&String> = was.keys().chain(is.keys()).collect();
    let null = Value::Null;
    let count =
        keys.iter().filter(|key| was.get(**key).unwrap_or(&null) != is.get(**key).unwrap_or(&null)).count();
    let count = u32::try_from(count).unwrap_or(u32::MAX);
    match (named(was), named(is)) {
        (Some(old), Some(new)) if old == new => Likeness::SameId(count),
        // Called otherwise and otherwise the same: the name alone was edited.
        (Some(_), Some(_)) if count == 1 => Likeness::Differ(1),
        (Some(_), Some(_)) => Likeness::Apart,
        // Two entries with nothing in common are one gone and one come.
        _ if count as usize >= keys.len() => Likeness::Apart,
        _ => Likeness::Differ(count.min(3)),
    }
}

#[derive(Debug, Clone)]
enum Step {
    Key(String),
    Place(String),
}

fn place(entry: &Value, at: usize) -> String {
    ["id", "name"]
        .iter()
        .find_map(|key| entry.get(*key).and_then(Value::as_str))
        .map_or_else(|| (at + 1).to_string(), |name| name.replace(' ', "-"))
}

fn at(address: &str, route: &[Step]) -> String {
    if route.is_empty() {
        return address.to_string();
    }
    let parts: Vec<&str> = route
        .iter()
        .map(|step| match step {
            Step::Key(key) | Step::Place(key) => key.as_str(),
        })
        .collect();
    format!("{address}#{}", parts.join("."))
}

fn attribute(route: &[Step]) -> String {
    let parts: Vec<&str> = route
        .iter()
        .filter_map(|step| match step {
            Step::Key(key) => Some(key.as_str()),
            Step::Place(_) => None,
        })
        .collect();
    parts.join(".")
}

fn text(value: &Value) -> Option<String> {
    match value {
        Value::Null => None,
        other => Some(short(other)),
    }
}

/// Says which record it is: its title, or the beginning of what it holds.
fn in_a_line(record: &Value) -> String {
    const LONGEST: usize = 100;
    if let Some(title) = record.get("title").and_then(Value::as_str) {
        return format!("the record \"{title}\"");
    }
    let text = short(record);
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", text.get(..end).unwrap_or_default()),
        None => text,
    }
}

/// Writes a value in one line, as flow YAML.
pub fn short(value: &Value) -> String {
    match value {
        Value::Null => "none".to_string(),
        Value::String(text) => text.clone(),
        Value::Bool(_) | Value::Number(_) => value.to_string(),
        Value::Array(all) => format!("[{}]", all.iter().map(short).collect::<Vec<_>>().join(", ")),
        Value::Object(map) => {
            let parts: Vec<String> = map
                .iter()
                .filter(|(_, value)| !value.is_null())
                .map(|(key, value)| format!("{key}: {}", short(value)))
                .collect();
            format!("{{{}}}", parts.join(", "))
        }
    }
}
