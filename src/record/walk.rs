//! Walks a record's text against what its type expects, so that every fault of a file is found in one go.

use super::hints::{example, look, meant};
use super::material_fields::KindFields;
use super::sensitivity::{Bound, Distance};
use super::shape::{Field, Part, Shape};
use super::tree::{Lines, Node, NodeKind, Tree};
use super::wording::{LONGEST_WORD, a, list, nearest, short, short_message, split_help, this};
use super::{Day, Fault, Figure, Place, RecordKind, Why, id_of, is_id};
use crate::quantity::{Exposed, Money, Quantity, QuantityError};
use std::collections::HashMap;

/// Faults of one file beyond this many are only counted.
const MAX_FAULTS: usize = 500;
/// No quantity with tolerance is longer; looking for the nearest unit would take long.
const LONGEST_QUANTITY: usize = 200;

/// Returns all faults that `shape` finds in a tree.
pub(crate) fn faults(
    tree: &Tree,
    text: &str,
    lines: &Lines,
    file: &str,
    kind: Option<RecordKind>,
    shape: &Shape,
) -> (Vec<Fault>, Vec<Named>) {
    let mut walk = Walk { tree, text, lines, file, faults: Vec::new(), named: Vec::new(), more: 0 };
    let Some(root) = tree.root() else { return (Vec::new(), Vec::new()) };
    if let Shape::Part(part) = shape {
        match tree.resolved(root).map(|node| &node.kind) {
            Some(NodeKind::Map { .. }) => walk.part(root, part),
            _ => walk.not_a_map(root, part),
        }
    }
    if kind == Some(RecordKind::Material) {
        walk.kind_of_material(root);
    }
    if walk.more > 0 {
        let message = format!("{} more faults in this file are not listed", walk.more);
        walk.faults.push(Fault {
            level: super::Level::Warning,
            ..Fault::error("more-faults", Place::file(file), message)
        });
    }
    (walk.faults, walk.named)
}

/// A record that a text names, whether there is one or not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    /// The kind that may stand there.
    pub kind: RecordKind,
    /// The bare id.
    pub id: String,
    /// Where it is named.
    pub place: Place,
    /// Whether it is written so; if not, `id` is the nearest that could be an id, and may be empty.
    pub is_id: bool,
}

struct Walk<'t> {
    tree: &'t Tree,
    text: &'t str,
    lines: &'t Lines,
    file: &'t str,
    faults: Vec<Fault>,
    named: Vec<Named>,
    more: usize,
}

impl<'t> Walk<'t> {
    fn report(&mut self, fault: Fault) {
        if self.faults.len() < MAX_FAULTS {
            self.faults.push(fault);
        } else {
            self.more += 1;
        }
    }

    /// The place of what is written at a node; of a list or map only its first line.
    fn place(&self, id: usize) -> Place {
        let (start, end) = self.tree.node(id).map_or((0, 0), |node| (node.start, node.end));
        let first = self.text.get(start..end).and_then(|text| text.lines().next()).unwrap_or_default();
        let first = match self.tree.node(id).map(|node| &node.kind) {
            Some(NodeKind::Scalar { block: false, .. }) | None => first,
            _ => first.split(" #").next().unwrap_or_default().trim_end(),
        };
        self.lines.place(self.file, self.text, start, start + first.len())
    }

    fn value(&mut self, id: usize, shape: &Shape, called: &str) {
        let Some(node) = self.tree.resolved(id) else { return };
        match shape {
            Shape::Any => self.anything(id),
            Shape::Part(part) => match node.kind {
                NodeKind::Map { .. } => self.part(id, part),
                _ => self.wrong_form(id, shape, called),
            },
            Shape::Map(values) => match &node.kind {
                NodeKind::Map { .. } => {
                    for (key, value) in self.unique_keys(id) {
                        let null = self.tree.resolved(value).is_some_and(Node::is_null);
                        if null && matches!(**values, Shape::Either(_)) {
                            self.no_value(id, &key, value);
                        } else {
                            self.value(value, values, &key);
                        }
                    }
                }
                _ if node.is_null() => {}
                _ => self.wrong_form(id, shape, called),
            },
            Shape::List { item, exactly } => match &node.kind {
                NodeKind::List { items, .. } => {
                    for entry in items {
                        self.value(*entry, item, called);
                    }
                    if let Some(count) = exactly.filter(|count| usize::try_from(*count) != Ok(items.len())) {
                        let message = format!("`{called}` takes {count} values, {} are here", items.len());
                        let fault = Fault::error("bad-value", self.place(id), message);
                        self.report(fault.labelled(format!("{} values", items.len())));
                    }
                }
                _ if node.is_null() => {}
                _ => self.wrong_form(id, shape, called),
            },
            Shape::Either(shapes) => match shapes.iter().find(|shape| fits(shape, node)) {
                Some(shape) => self.value(id, shape, called),
                None => self.wrong_form(id, shape, called),
            },
            _ => match &node.kind {
                NodeKind::Scalar { text, plain, .. } => self.scalar(id, text, *plain, shape, called),
                _ => self.wrong_form(id, shape, called),
            },
        }
    }

    fn part(&mut self, id: usize, part: &Part) {
        let entries = self.unique_keys(id);
        let known = |key: &str| part.fields.iter().find(|field| field.key == key);
        for (key, value) in &entries {
            let Some(field) = known(key) else {
                let key_node = self.key_of(id, key).unwrap_or(*value);
                let there: Vec<String> = entries.iter().map(|(key, _)| key.clone()).collect();
                self.unknown_key(key_node, key, part, &there);
                continue;
            };
            let null = self.tree.resolved(*value).is_some_and(Node::is_null);
            if null && field.nullable {
                continue;
            }
            if null && !matches!(field.shape, Shape::Words | Shape::Any | Shape::List { .. } | Shape::Map(_))
            {
                self.no_value(id, key, *value);
                if let Some(fault) = self.faults.last_mut() {
                    fault.help = Some(example(&part.name, field));
                }
                continue;
            }
            let before = self.faults.len();
            self.value(*value, &field.shape, key);
            self.add_look(before, &part.name, key);
        }
        for field in part.fields.iter().filter(|field| field.required) {
            if !entries.iter().any(|(key, _)| *key == field.key) {
                self.missing(id, &part.name, field);
            }
        }
    }

    /// Adds how a value looks to a fault that says only that it looks otherwise.
    fn add_look(&mut self, before: usize, part: &str, key: &str) {
        let Some(look) = look(part, key) else { return };
        let bare = |fault: &&mut Fault| fault.rule == "bad-value" && fault.help.is_none();
        if let Some(fault) = self.faults.iter_mut().skip(before).find(bare) {
            fault.help = Some(format!("write {look}"));
        }
    }

    fn no_value(&mut self, map: usize, key: &str, value: usize) {
        let place = self.key_of(map, key).map_or_else(|| self.place(value), |key| self.place(key));
        let fault = Fault::error("missing-key", place, format!("`{}` has no value", short(key)));
        self.report(fault.labelled("nothing behind it").help("write a value behind it, or take the key out"));
    }

    fn missing(&mut self, id: usize, name: &str, field: &Field) {
        let message = format!("`{}` is missing in {}", field.key, this(name));
        let fault = Fault::error("missing-key", self.place(id), message);
        self.report(fault.labelled(format!("needs `{}`", field.key)).help(example(name, field)));
    }

    fn key_of(&self, map: usize, key: &str) -> Option<usize> {
        match &self.tree.resolved(map)?.kind {
            NodeKind::Map { entries, .. } => {
                entries.iter().map(|entry| entry.key).find(|id| self.tree.scalar(*id) == Some(key))
            }
            _ => None,
        }
    }

    /// Returns keys and values of a map and reports repeated keys and keys that are no words.
    fn unique_keys(&mut self, id: usize) -> Vec<(String, usize)> {
        let tree = self.tree;
        let Some(Node { kind: NodeKind::Map { entries, .. }, .. }) = tree.resolved(id) else {
            return Vec::new();
        };
        let mut first: HashMap<&str, usize> = HashMap::new();
        let mut unique = Vec::with_capacity(entries.len());
        for entry in entries {
            let Some(key) = tree.scalar(entry.key) else {
                let fault =
                    Fault::error("bad-value", self.place(entry.key), "a key is one word, not a list or map");
                self.report(fault.labelled("not a word").help("quote the text if it belongs to a value"));
                continue;
            };
            if let Some(before) = first.get(key).copied() {
                let place = self.place(before);
                let line = place.line.unwrap_or_default();
                let mut fault = Fault::error(
                    "duplicate-key",
                    self.place(entry.key),
                    format!("`{}` stands here twice, first on line {line}", short(key)),
                )
                .labelled("again here")
                .help("keep one of the two");
                fault.why.push(Why { place, label: "first here".to_string() });
                self.report(fault);
                continue;
            }
            first.insert(key, entry.key);
            unique.push((key.to_string(), entry.value));
        }
        unique
    }

    /// Free values: only what would be lost in silence is a fault.
    fn anything(&mut self, id: usize) {
        let tree = self.tree;
        let Some(node) = tree.resolved(id) else { return };
        match &node.kind {
            NodeKind::List { items, .. } => items.iter().for_each(|item| self.anything(*item)),
            NodeKind::Map { .. } => {
                for (_, value) in self.unique_keys(id) {
                    self.anything(value);
                }
            }
            _ => {}
        }
    }

    fn unknown_key(&mut self, id: usize, key: &str, part: &Part, there: &[String]) {
        let message = format!("`{}` is no key of {}", short(key), a(&part.name));
        let names = part.fields.iter().map(|field| field.key.as_str());
        let help = if key == "<<" {
            "merge keys are not read: write the keys out".to_string()
        } else if let Some(near) = meant(key, part, there) {
            format!("did you mean `{near}`?")
        } else {
            format!("known keys: {}", list(names))
        };
        let fault =
            Fault::error("unknown-key", self.place(id), message).labelled("not known here").help(help);
        self.report(fault);
    }

    fn wrong_form(&mut self, id: usize, shape: &Shape, called: &str) {
        let is = match self.tree.resolved(id).map(|node| &node.kind) {
            Some(NodeKind::List { .. }) => "a list",
            Some(NodeKind::Map { .. }) => "a map",
            _ if self.tree.resolved(id).is_some_and(Node::is_null) => "nothing",
            _ => "a single value",
        };
        let verb = if matches!(shape, Shape::Words) { "were" } else { "was" };
        let message = format!("`{}` is {is}; {} {verb} expected", short(called), expected(shape));
        self.report(Fault::error("bad-value", self.place(id), message).labelled(is.to_string()));
    }

    fn not_a_map(&mut self, id: usize, part: &Part) {
        let required: Vec<&str> =
            part.fields.iter().filter(|field| field.required).map(|field| field.key.as_str()).collect();
        let message = format!("{} is a map of keys and values", a(&part.name));
        let fault = Fault::error("not-a-map", self.place(id), message).labelled("no map");
        self.report(fault.help(format!("begin with `KEY: VALUE` lines; needed here: {}", list(required))));
    }

    fn scalar(&mut self, id: usize, text: &str, plain: bool, shape: &Shape, called: &str) {
        let fault = |rule, message: String| Fault::error(rule, self.place(id), short_message(&message));
        let found = match shape {
            Shape::Quantity(kind) if text.len() > LONGEST_QUANTITY => {
                let message = format!("`{}` is no {}: it is far too long", short(text), kind.name());
                Some(fault("bad-quantity", message).labelled("too long").help("write a number and its unit"))
            }
            Shape::Quantity(kind) => {
                Quantity::parse(*kind, text).err().map(|error| quantity_fault(self.place(id), &error))
            }
            Shape::Reference(kind) => match id_of(*kind, text) {
                Ok(named) => {
                    let place = self.place(id);
                    if self.named.len() < MAX_FAULTS {
                        self.named.push(Named { kind: *kind, id: named, place, is_id: true });
                    }
                    None
                }
                Err(error) => {
                    let fault = reference_fault(self.place(id), *kind, text, &error);
                    if fault.rule == "bad-reference" && self.named.len() < MAX_FAULTS {
                        let place = self.place(id);
                        self.named.push(Named { kind: *kind, id: slug(text), place, is_id: false });
                    }
                    Some(fault)
                }
            },
            Shape::Figure => Figure::parse(text).err().map(|error| {
                let (fact, help) = split_help(&error);
                fault("bad-quantity", fact).labelled("no figure").help(help)
            }),
            Shape::Money => Money::parse(text).err().map(|error| {
                let (fact, help) = split_help(&error);
                fault("bad-quantity", fact).labelled("no sum of money").help(help)
            }),
            Shape::Distance => Distance::parse(text).err().map(|error| {
                let (fact, help) = split_help(&error);
                fault("bad-quantity", fact).labelled("no distance").help(help)
            }),
            Shape::Bound => Bound::parse(text).err().map(|error| {
                let (fact, help) = split_help(&error);
                fault("bad-quantity", fact).labelled("no limit").help(help)
            }),
            Shape::Exposed => Exposed::parse(text).err().map(|error| {
                let (fact, help) = split_help(&error);
                fault("bad-quantity", fact).labelled("no exposure").help(help)
            }),
            Shape::Day => Day::parse(text).err().map(|error| {
                let (fact, help) = split_help(&error);
                fault("bad-day", fact).labelled("no day").help(help)
            }),
            Shape::OneOf(words) => (!words.iter().any(|word| word == text)).then(|| {
                let words = words.iter().map(String::as_str);
                let help = match nearest(text, words.clone()) {
                    Some(near) => format!("did you mean `{near}`? accepted: {}", list(words)),
                    None => format!("accepted: {}", list(words)),
                };
                fault("bad-value", format!("`{}` is no value of `{called}`", short(text)))
                    .labelled("not one of its words")
                    .help(help)
            }),
            Shape::Whole => not_read::<u32>(text, plain).then(|| {
                fault(
                    "bad-value",
                    format!("`{called}` is a whole number, zero or more, not `{}`", short(text)),
                )
                .labelled("no whole number")
                .help("write digits only, without quotes or unit")
            }),
            Shape::Number => {
                let bad = !plain || !serde_yaml::from_str::<f64>(text).is_ok_and(f64::is_finite);
                bad.then(|| {
                    fault("bad-value", format!("`{called}` is a number, not `{}`", short(text)))
                        .labelled("no number")
                        .help("write a number without quotes or unit, with a decimal point")
                })
            }
            Shape::Truth => not_read::<bool>(text, plain).then(|| {
                fault("bad-value", format!("`{called}` is `true` or `false`, not `{}`", short(text)))
                    .labelled("neither `true` nor `false`")
                    .help("write `true` or `false`")
            }),
            _ => None,
        };
        if let Some(fault) = found {
            self.report(fault);
        }
    }

    /// What the kind of a material asks of its other keys.
    fn kind_of_material(&mut self, root: usize) {
        let tree = self.tree;
        let Some(Node { kind: NodeKind::Map { entries, .. }, .. }) = tree.resolved(root) else { return };
        // Nothing behind the colon counts as absent, as it does for the type.
        let present = |id: &usize| !tree.resolved(*id).is_some_and(Node::is_null);
        let value = |key: &str| {
            let found = entries.iter().find(|entry| tree.scalar(entry.key) == Some(key));
            found.map(|entry| entry.value).filter(present)
        };
        let Some(row) = value("kind").and_then(|id| tree.scalar(id)).and_then(KindFields::of) else { return };
        let word = row.kind.word();
        for entry in entries.iter().filter(|entry| present(&entry.value)) {
            let Some(key) = tree.scalar(entry.key) else { continue };
            let known = super::material_fields::KINDS.iter().any(|row| row.takes(key));
            if known && !row.takes(key) {
                let message = format!("`{key}` does not go with `kind: {word}`");
                let help = match (word, key) {
                    ("prepreg", "areal") => {
                        "write the areal mass of the fibre as `fibre: {areal: ...}`".to_string()
                    }
                    ("prepreg", "density") => {
                        "write the densities of fibre and resin under `fibre` and `resin`".to_string()
                    }
                    ("coating", "density") => {
                        "write the density of the dry film as `dry_density`".to_string()
                    }
                    _ => format!("keys of {}: {}", a(word), list(row.own())),
                };
                let fault = Fault::error("key-not-for-kind", self.place(entry.key), message);
                self.report(fault.labelled(format!("not for {}", a(word))).help(help));
            }
        }
        for group in row.needs.iter().filter(|group| !group.iter().any(|key| value(key).is_some())) {
            let keys = group.iter().map(|key| format!("`{key}`")).collect::<Vec<_>>().join(" or ");
            let message = format!("{keys} is missing in this {word}");
            let place = value("kind").map_or_else(|| self.place(root), |id| self.place(id));
            let fault = Fault::error("missing-key", place, message).labelled(format!("needs {keys}"));
            let look = group.iter().find_map(|key| look(word, key)).unwrap_or(keys);
            self.report(fault.help(format!("add {look}")));
        }
        if let (Some(form), false) = (value("form"), row.forms.is_empty())
            && let Some(text) = tree.scalar(form).filter(|text| !row.forms.contains(text))
        {
            let words = row.forms.iter().copied();
            let help = match nearest(text, words.clone()) {
                Some(near) => format!("did you mean `{near}`? accepted: {}", list(words)),
                None => format!("accepted: {}", list(words)),
            };
            let message = format!("`{}` is no form of {}", short(text), a(word));
            let fault = Fault::error("bad-value", self.place(form), message);
            self.report(fault.labelled("not one of its words").help(help));
        }
        if let Some(fibre) = value("fibre").filter(|_| row.takes("fibre"))
            && matches!(tree.resolved(fibre).map(|node| &node.kind), Some(NodeKind::Map { .. }))
        {
            let areal = self.key_of(fibre, "areal");
            if areal.is_none() && row.fibre_areal {
                let message = format!("`areal` is missing in the fibre of this {word}");
                let fault = Fault::error("missing-key", self.place(fibre), message).labelled("needs `areal`");
                self.report(fault.help("add the areal mass of the fibre, for example `areal: 200 g/m2`"));
            }
            if let (Some(areal), false) = (areal, row.fibre_areal) {
                let message = format!("`areal` stands beside the fibre in {}, not in it", a(word));
                let fault = Fault::error("key-not-for-kind", self.place(areal), message);
                self.report(fault.labelled("not in here").help("move `areal` one level up"));
            }
        }
    }
}

/// Whether `text`, unquoted, can't be read as a `T`.
fn not_read<T: serde::de::DeserializeOwned>(text: &str, plain: bool) -> bool {
    !plain || text.len() > LONGEST_WORD || serde_yaml::from_str::<T>(text).is_err()
}

/// Whether a node has the form that `shape` expects; what is in it may still be wrong.
fn fits(shape: &Shape, node: &Node) -> bool {
    match (&node.kind, shape) {
        (_, Shape::Any)
        | (NodeKind::Map { .. }, Shape::Part(_) | Shape::Map(_))
        | (NodeKind::List { .. }, Shape::List { .. }) => true,
        (_, Shape::Either(shapes)) => shapes.iter().any(|shape| fits(shape, node)),
        (NodeKind::Scalar { .. }, shape) => {
            !matches!(shape, Shape::Part(_) | Shape::Map(_) | Shape::List { .. })
        }
        _ => false,
    }
}

fn quantity_fault(place: Place, error: &QuantityError) -> Fault {
    let (rule, label) = match error {
        QuantityError::BareNumber { .. } => ("missing-unit", "needs a unit".to_string()),
        QuantityError::UnknownUnit { .. } => ("unknown-unit", "no unit".to_string()),
        QuantityError::WrongDimension { is, .. } => ("wrong-dimension", format!("measures {}", short(is))),
        _ => ("bad-quantity", "can't be read".to_string()),
    };
    Fault::error(rule, place, short_message(&error.to_string()))
        .labelled(label)
        .help(short_message(&error.help()))
}

fn reference_fault(place: Place, kind: RecordKind, text: &str, error: &str) -> Fault {
    let text = text.trim();
    let (fact, _) = split_help(error);
    let other =
        text.split_once('/').and_then(|(word, _)| RecordKind::by_word(word)).filter(|other| *other != kind);
    if other.is_some() {
        return Fault::error("wrong-reference-kind", place, short_message(error))
            .labelled(format!("not {}", a(kind.word())))
            .help(format!("write the id of {}", a(kind.word())));
    }
    // Whoever knows which records there are says which of them may be meant.
    Fault::error("bad-reference", place, short_message(&fact))
        .labelled("no id")
        .help("ids are lower-case letters, digits and `-`")
}

/// What was written, made an id as far as that goes; empty where nothing comes of it.
fn slug(text: &str) -> String {
    let bare = text.trim().rsplit('/').next().unwrap_or_default();
    let bare = bare.strip_suffix(".yaml").unwrap_or(bare);
    let slug: String = bare
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' })
        .collect::<String>()
        .split('-')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("-");
    if is_id(&slug) && slug.len() <= LONGEST_WORD { slug } else { String::new() }
}

/// What `shape` expects, in words.
pub(crate) fn expected(shape: &Shape) -> String {
    match shape {
        Shape::Any => "anything".to_string(),
        Shape::Words => "words".to_string(),
        Shape::Whole => "a whole number".to_string(),
        Shape::Number => "a number".to_string(),
        Shape::Truth => "`true` or `false`".to_string(),
        Shape::OneOf(words) => list(words.iter().map(String::as_str)).replace(", ", " or "),
        Shape::Quantity(kind) => a(kind.name()),
        Shape::Reference(kind) => format!("the id of {}", a(kind.word())),
        Shape::Figure => "a figure with its unit".to_string(),
        Shape::Day => "a day".to_string(),
        Shape::Exposed => "an exposure such as `500 h` or `3 months`".to_string(),
        Shape::Money => "a sum of money".to_string(),
        Shape::Distance => "a distance such as `5 %`".to_string(),
        Shape::Bound => "a limit such as `conformed + 5 um`".to_string(),
        Shape::List { item, exactly: Some(count) } => {
            format!("a list of {count} values, each {}", expected(item))
        }
        Shape::List { item, .. } if matches!(**item, Shape::Words) => "a list of words".to_string(),
        Shape::List { item, .. } => format!("a list, each entry {}", expected(item)),
        Shape::Map(_) => "a map".to_string(),
        Shape::Part(part) => {
            let keys: Vec<&str> = part.fields.iter().take(4).map(|field| field.key.as_str()).collect();
            let more = if part.fields.len() > keys.len() { ", ..." } else { "" };
            format!("a map `{{{}{more}}}`", keys.join(", "))
        }
        Shape::Either(shapes) => shapes.iter().map(expected).collect::<Vec<_>>().join(" or "),
    }
}
