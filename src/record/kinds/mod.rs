//! One type per kind of record. Field names are the keys of the YAML; nothing here checks across records.

mod article;
mod design;
mod head;
mod proof;
mod section;
mod steering;
mod trial;

pub use article::*;
pub use design::*;
pub use head::*;
pub use proof::*;
pub use section::*;
pub use steering::*;
pub use trial::*;

/// Declares a record type: unknown keys are refused, and every record takes the common keys.
macro_rules! record {
    ($(#[$meta:meta])* pub struct $name:ident { $($(#[$field_meta:meta])* pub $field:ident: $type:ty,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, PartialEq, serde::Deserialize, serde::Serialize, schemars::JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $($(#[$field_meta])* pub $field: $type,)*
            /// A title for people; in no facet.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub title: Option<String>,
            /// Notes for people; in no facet.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub notes: Option<String>,
            /// Where the figures come from; `assumed` lists them as an assumption.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub source: Option<String>,
            /// The role that keeps this record.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub owner: Option<String>,
            /// The specification and its issue.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub spec: Option<String>,
            /// Price, optionally per unit.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub price: Option<crate::quantity::Money>,
            /// Labour.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub labour: Option<crate::quantity::Duration>,
        }
    };
}

/// Declares a part of a record: unknown keys are refused.
macro_rules! part {
    ($(#[$meta:meta])* pub struct $name:ident { $($(#[$field_meta:meta])* pub $field:ident: $type:ty,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, PartialEq, serde::Deserialize, serde::Serialize, schemars::JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $($(#[$field_meta])* pub $field: $type,)*
        }
    };
}

/// Declares a closed set of words.
macro_rules! word_set {
    ($(#[$meta:meta])* pub enum $name:ident { $($(#[$variant_meta:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Deserialize, serde::Serialize, schemars::JsonSchema)]
        pub enum $name {
            $($(#[$variant_meta])* #[serde(rename = $word)] $variant,)*
        }

        impl $name {
            /// Returns the word as records write it.
            pub fn word(self) -> &'static str {
                match self { $($name::$variant => $word,)* }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.word())
            }
        }
    };
}

pub(crate) use part;
pub(crate) use record;
pub(crate) use word_set;
