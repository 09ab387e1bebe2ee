//! References from one record to another: a bare id where only one kind can stand, or `kind/id`.

use super::{Address, RecordKind, address::is_id};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;

macro_rules! references {
    ($($name:ident: $kind:ident, $word:literal;)*) => {$(
        #[doc = concat!("Names one ", $word, ".")]
        #[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name(String);

        impl $name {
            /// The kind that may stand here.
            pub const KIND: RecordKind = RecordKind::$kind;

            /// Reads a bare id or `kind/id`.
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
                json_schema!({
                    "type": "string",
                    "description": concat!("the id of a ", $word, " (or `", $word, "/ID`)"),
                    "pattern": concat!("^(", $word, "/)?[a-z0-9][a-z0-9-]*$")
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

/// Reads the id of a record of `kind`.
///
/// # Errors
/// A sentence that says what was expected.
pub fn id_of(kind: RecordKind, text: &str) -> Result<String, String> {
    let text = text.trim();
    if let Some((word, id)) = text.split_once('/') {
        return match RecordKind::by_word(word) {
            Some(other) if other != kind => {
                Err(format!("`{text}` names a {other}, a {kind} was expected here"))
            }
            Some(_) if is_id(id) => Ok(id.to_string()),
            _ => Err(format!("`{text}` is no id of a {kind}: ids are lower-case letters, digits and `-`")),
        };
    }
    if is_id(text) {
        Ok(text.to_string())
    } else {
        Err(format!("`{text}` is no id of a {kind}: ids are lower-case letters, digits and `-`"))
    }
}
