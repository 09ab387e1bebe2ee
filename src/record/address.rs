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

    /// Reads `kind/id`, of a record of an import `name:kind/id` or `kind/name:id`; `None` where it is none.
    pub fn parse(text: &str) -> Option<Self> {
        if text == "ledger" {
            return Some(Self::ledger());
        }
        let Parts { import, word, id } = Parts::of(text);
        let kind = RecordKind::by_word(word?).or_else(|| RecordKind::by_folder(word?))?;
        let id = id.strip_suffix(".yaml").unwrap_or(id);
        let stem = id.rsplit('/').next()?;
        let is_name = import.is_none_or(is_id) && is_id(stem);
        // There is one ledger, and it has no id.
        (kind != RecordKind::Ledger && is_name).then(|| Self::new(kind, named(import, stem)))
    }

    /// Returns the name of the import that the record is of.
    pub fn import(&self) -> Option<&str> {
        import_of(&self.id)
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
        match self.id.split_once(OF_IMPORT) {
            Some((import, id)) => write!(f, "{import}{OF_IMPORT}{}/{id}", self.kind.word()),
            None => write!(f, "{}/{}", self.kind.word(), self.id),
        }
    }
}

/// What stands between the name of an import and what is in it: no id of a record's own ledger has it.
const OF_IMPORT: char = ':';

/// Returns the name of the import that a record's id, or the path of its file, is of.
pub fn import_of(text: &str) -> Option<&str> {
    text.split_once(OF_IMPORT).map(|(import, _)| import).filter(|import| is_id(import))
}

/// Returns what a record's id, or the path of its file, is in its own ledger.
pub fn without_import(text: &str) -> &str {
    match import_of(text) {
        Some(import) => text.get(import.len() + OF_IMPORT.len_utf8()..).unwrap_or(text),
        None => text,
    }
}

/// Returns what is called so in an import, or in this ledger, by the name that it has here.
pub fn named(import: Option<&str>, text: &str) -> String {
    import.map_or_else(|| text.to_string(), |import| format!("{import}{OF_IMPORT}{text}"))
}

/// A name of a record taken apart, whatever its parts are.
pub(super) struct Parts<'a> {
    pub(super) import: Option<&'a str>,
    pub(super) word: Option<&'a str>,
    pub(super) id: &'a str,
}

impl<'a> Parts<'a> {
    /// Takes `id`, `kind/id`, `name:id`, `name:kind/id` and `kind/name:id` apart.
    pub(super) fn of(text: &'a str) -> Self {
        let (import, rest) = match text.split_once(OF_IMPORT) {
            Some((import, rest)) if !import.contains('/') => (Some(import), rest),
            _ => (None, text),
        };
        let (word, id) = rest.split_once('/').map_or((None, rest), |(word, id)| (Some(word), id));
        match id.split_once(OF_IMPORT) {
            Some((inner, id)) if import.is_none() && word.is_some() => Self { import: Some(inner), word, id },
            _ => Self { import, word, id },
        }
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
        let shared = Address::new(RecordKind::Recipe, "lib:skin");
        for text in ["lib:recipe/skin", "recipe/lib:skin", "lib:recipes/skin.yaml"] {
            assert_eq!(Address::parse(text), Some(shared.clone()), "{text}");
        }
        assert_eq!((shared.to_string().as_str(), shared.import()), ("lib:recipe/skin", Some("lib")));
        assert_eq!((without_import("lib:skin"), without_import("skin")), ("skin", "skin"));
        for text in ["lib:skin", "lib:a:recipe/skin", "lib:recipe/a:skin", "Lib:recipe/skin", ":recipe/skin"]
        {
            assert_eq!(Address::parse(text), None, "{text}");
        }
        for text in ["recipe/", "recipe/Skin", "skin", "/skin", "nothing/skin"] {
            assert_eq!(Address::parse(text), None, "{text}");
        }
    }
}
