//! References from one record to another: a bare id where only one kind can stand, or `kind/id`; of a record of an
//! import with the import's name and `:` before it.

use super::address::{Parts, is_id, named};
use super::{Address, RecordKind, SubjectLabel, Text};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::cell::RefCell;
use std::fmt;
use std::sync::Arc;

/// What ids match.
macro_rules! id {
    () => {
        "[a-z0-9][a-z0-9-]*"
    };
}

macro_rules! references {
    ($($name:ident: $kind:ident, $word:literal;)*) => {$(
        #[doc = concat!("Names one ", $word, ".")]
        #[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name(String);

        impl $name {
            /// The kind that may stand here.
            pub const KIND: RecordKind = RecordKind::$kind;

            /// Reads a bare id or `kind/id`, with `name:` before it where an import has the record.
            ///
            /// # Errors
            /// A sentence that says what was expected.
            pub fn parse(text: &str) -> Result<Self, String> {
                id_of(RecordKind::$kind, text).map(Self)
            }

            /// Returns the bare id.
            pub fn id(&self) -> &str {
                &self.0
            }

            /// Returns the address.
            pub fn address(&self) -> Address {
                Address::new(RecordKind::$kind, self.0.clone())
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = String::deserialize(deserializer)?;
                Self::parse(&text).map_err(serde::de::Error::custom)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(&self.0)
            }
        }

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                // What is one programme's own is taken from no other ledger.
                let (words, pattern) = match super::ImportedKind::of(RecordKind::$kind) {
                    None => ("", concat!("^(", $word, "/)?", id!(), "$")),
                    Some(_) => (
                        "; `NAME:` before it for one of an import",
                        concat!("^(", id!(), ":)?(", $word, "/)?", id!(), "$|^", $word, "/", id!(), ":", id!(), "$"),
                    ),
                };
                json_schema!({
                    "type": "string",
                    "description": format!(concat!("the id of a ", $word, " (or `", $word, "/ID`{})"), words),
                    "pattern": pattern
                })
            }
        }
    )*

        /// Returns the kind that the reference type called `name` points to.
        pub fn reference_kind_by_type_name(name: &str) -> Option<RecordKind> {
            match name {
                $(stringify!($name) => Some(RecordKind::$kind),)*
                _ => None,
            }
        }
    };
}

references! {
    MaterialRef: Material, "material";
    ProcessRef: Process, "process";
    ToolRef: Tool, "tool";
    FinishRef: Finish, "finish";
    RecipeRef: Recipe, "recipe";
    PanelRef: Panel, "panel";
    AssemblyRef: Assembly, "assembly";
    ShowingRef: Showing, "showing";
    EvidenceRef: Evidence, "evidence";
    DecisionRef: Decision, "decision";
}

/// Reads the id of a record of `kind`, as whoever is read names it ([`Import::reading`](Within::reading)).
///
/// # Errors
/// A sentence that says what was expected.
pub fn id_of(kind: RecordKind, text: &str) -> Result<String, String> {
    let text = text.trim();
    let Parts { import, word, id } = Parts::of(text);
    let word = word.map(RecordKind::by_word);
    if let Some(Some(other)) = word
        && other != kind
    {
        return Err(format!("`{text}` names a {other}, a {kind} was expected here"));
    }
    if word == Some(None) || !is_id(id) || !import.is_none_or(is_id) {
        return Err(format!("`{text}` is no id of a {kind}: ids are lower-case letters, digits and `-`"));
    }
    Ok(WITHIN.with_borrow(|within| match (within, import) {
        (Some(within), None) => within.called(kind, id),
        _ => named(import, id),
    }))
}

thread_local! {
    /// The import whose record this thread is reading.
    static WITHIN: RefCell<Option<Arc<Within>>> = const { RefCell::new(None) };
}

/// An import, as what its records name is read: the names in it are those of its own ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Within {
    /// The import's name.
    pub name: String,
    /// Which kinds of records are taken from it, in their order.
    pub kinds: Vec<RecordKind>,
}

impl Within {
    /// Reads something in which names are those of the import: of a kind that is taken from it, or that nobody takes
    /// from anywhere, a record of the import; of another kind, a record of the ledger that reads.
    pub fn reading<T>(self: &Arc<Self>, read: impl FnOnce() -> T) -> T {
        /// Puts back what was there, whatever happens in between.
        struct Back(Option<Arc<Within>>);
        impl Drop for Back {
            fn drop(&mut self) {
                WITHIN.set(self.0.take());
            }
        }
        let _back = Back(WITHIN.replace(Some(Arc::clone(self))));
        read()
    }

    /// Returns what a name in the import's records is here.
    fn called(&self, kind: RecordKind, id: &str) -> String {
        let is_own = self.kinds.contains(&kind) || super::ImportedKind::of(kind).is_none();
        named(is_own.then_some(self.name.as_str()), id)
    }

    /// Brings the label of a subject to what its names are here: labels hold words, not references, and are read by
    /// whoever looks for the subject.
    pub fn label(&self, label: &mut SubjectLabel) {
        let change = |text: &mut Text, kind: RecordKind| {
            let Parts { import: None, id, .. } = Parts::of(text.as_str()) else { return };
            *text = Text::from(self.called(kind, id).as_str());
        };
        let list = |list: &mut Option<Vec<Text>>, kinds: &[RecordKind]| {
            for (text, kind) in list.iter_mut().flatten().zip(kinds) {
                if text.as_str() != "bare" {
                    change(text, *kind);
                }
            }
        };
        use RecordKind::{Finish, Material, Panel, Process, Recipe};
        let SubjectLabel { lamina, laminate, painted, bond, sheet, panel, programme: _ } = label;
        match lamina.as_ref().map(Vec::len) {
            Some(3) => list(lamina, &[Material, Material, Process]),
            _ => list(lamina, &[Material, Process]),
        }
        list(painted, &[Recipe, Finish]);
        list(bond, &[Material, Process]);
        list(sheet, &[Material]);
        for face in bond.iter_mut().flatten().skip(2) {
            let Some((of, id)) = face.as_str().split_once('.') else { continue };
            let kind = if of == "sheet" { Material } else { Recipe };
            let Parts { import: None, id, .. } = Parts::of(id) else { continue };
            *face = Text::from(format!("{of}.{}", self.called(kind, id)).as_str());
        }
        laminate.iter_mut().for_each(|text| change(text, Recipe));
        panel.iter_mut().for_each(|text| change(text, Panel));
    }
}

/// Returns a name as a label writes it, without the word of its kind: `name:kind/id` is `name:id`.
pub fn without_kind(text: &str) -> String {
    let Parts { import, id, .. } = Parts::of(text);
    named(import, id.rsplit('/').next().unwrap_or_default())
}
