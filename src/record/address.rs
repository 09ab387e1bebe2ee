//! Kinds, folders and addresses: `kind/id`, and the route behind `#`.

use std::fmt;

macro_rules! kinds {
    ($($name:ident: $word:literal, $folder:literal;)*) => {
        /// A kind of record; its folder says which one a file is.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum RecordKind {
            /// `ledger.yaml` itself.
            Ledger,
            $(#[doc = concat!("A record under `", $folder, "/`.")] $name,)*
        }

        impl RecordKind {
            /// All kinds that have a folder.
            pub const ALL: &'static [RecordKind] = &[$(RecordKind::$name),*];

            /// Returns the kind in the singular, as addresses write it.
            pub fn word(self) -> &'static str {
                match self {
                    RecordKind::Ledger => "ledger",
                    $(RecordKind::$name => $word,)*
                }
            }

            /// Returns the folder that holds records of this kind; empty for `ledger.yaml`.
            pub fn folder(self) -> &'static str {
                match self {
                    RecordKind::Ledger => "",
                    $(RecordKind::$name => $folder,)*
                }
            }
        }
    };
}

kinds! {
    Material: "material", "materials";
    Process: "process", "processes";
    Tool: "tool", "tools";
    Finish: "finish", "finishes";
    Recipe: "recipe", "recipes";
    Panel: "panel", "panels";
    Assembly: "assembly", "assemblies";
    Showing: "showing", "showings";
    Evidence: "evidence", "evidence";
    Decision: "decision", "decisions";
    Concession: "concession", "concessions";
    Weighing: "weighing", "weighings";
    Study: "study", "studies";
}

impl RecordKind {
    /// Finds a kind by its word in the singular.
    pub fn by_word(word: &str) -> Option<Self> {
        if word == "ledger" {
            return Some(RecordKind::Ledger);
        }
        Self::ALL.iter().copied().find(|kind| kind.word() == word)
    }

    /// Finds a kind by its folder.
    pub fn by_folder(folder: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|kind| kind.folder() == folder)
    }
}

impl fmt::Display for RecordKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// The name of one record: its kind and id.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Address {
    kind: RecordKind,
    id: String,
}

impl Address {
    /// Returns the address of the record `id` of `kind`.
    pub fn new(kind: RecordKind, id: impl Into<String>) -> Self {
        Self { kind, id: id.into() }
    }

    /// Returns the address of `ledger.yaml`.
    pub fn ledger() -> Self {
        Self { kind: RecordKind::Ledger, id: String::new() }
    }

    /// Reads `kind/id`; `None` where it is none.
    pub fn parse(text: &str) -> Option<Self> {
        if text == "ledger" {
            return Some(Self::ledger());
        }
        let (kind, id) = text.split_once('/')?;
        let kind = RecordKind::by_word(kind).or_else(|| RecordKind::by_folder(kind))?;
        let id = id.strip_suffix(".yaml").unwrap_or(id);
        let stem = id.rsplit('/').next()?;
        // There is one ledger, and it has no id.
        (kind != RecordKind::Ledger && is_id(stem)).then(|| Self::new(kind, stem))
    }

    /// Returns the kind.
    pub fn kind(&self) -> RecordKind {
        self.kind
    }

    /// Returns the bare id.
    pub fn id(&self) -> &str {
        &self.id
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.kind == RecordKind::Ledger {
            return f.write_str("ledger");
        }
        write!(f, "{}/{}", self.kind.word(), self.id)
    }
}

/// Returns whether `text` is an id: `[a-z0-9][a-z0-9-]*`.
pub fn is_id(text: &str) -> bool {
    let bytes = text.as_bytes();
    bytes.first().is_some_and(|b| b.is_ascii_lowercase() || b.is_ascii_digit())
        && bytes.iter().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || *b == b'-')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ledger_has_one_address() {
        assert_eq!(Address::parse("ledger"), Some(Address::ledger()));
        assert_eq!(Address::parse("ledger/clo"), None, "it would be written as `ledger` and be another");
        let recipe = Address::new(RecordKind::Recipe, "skin");
        for text in ["recipe/skin", "recipes/skin.yaml", "recipes/thick/skin.yaml"] {
            assert_eq!(Address::parse(text), Some(recipe.clone()), "{text}");
        }
        for text in ["recipe/", "recipe/Skin", "skin", "/skin", "nothing/skin"] {
            assert_eq!(Address::parse(text), None, "{text}");
        }
    }
}
