//! A fault in what was written, with its place and its mend.

use std::fmt;

/// How grave a fault is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Level {
    /// Worth knowing.
    Note,
    /// Probably not meant; nothing is stopped by it.
    Warning,
    /// The record can't be used as it stands.
    Error,
}

impl Level {
    /// Returns the word that reports use.
    pub fn word(self) -> &'static str {
        match self {
            Level::Note => "note",
            Level::Warning => "warning",
            Level::Error => "error",
        }
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A stretch of text in a file: lines and columns from 1, columns in characters.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Place {
    /// Path relative to the ledger's root.
    pub file: String,
    /// Line, where known.
    pub line: Option<usize>,
    /// Column, where known.
    pub column: Option<usize>,
    /// Bytes from the start of the (BOM-less) text, where known.
    pub span: Option<(usize, usize)>,
}

impl Place {
    /// Returns the place of a whole file.
    pub fn file(path: impl Into<String>) -> Self {
        Self { file: path.into(), ..Self::default() }
    }
}

/// Another place that explains a fault.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Why {
    /// Where.
    pub place: Place,
    /// What stands there.
    pub label: String,
}

/// One fault: a stable code, a sentence, a place, and the mend.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Stable code, such as `unknown-reference`.
    pub rule: &'static str,
    /// How grave.
    pub level: Level,
    /// Where it stands.
    pub place: Place,
    /// The fact, in the user's words, no full stop.
    pub message: String,
    /// What is marked, in two or three words.
    pub label: String,
    /// An action that mends it.
    pub help: Option<String>,
    /// Places that explain it.
    pub why: Vec<Why>,
}

impl Fault {
    /// Returns an error without help.
    pub fn error(rule: &'static str, place: Place, message: impl Into<String>) -> Self {
        Self {
            rule,
            level: Level::Error,
            place,
            message: message.into(),
            label: String::new(),
            help: None,
            why: Vec::new(),
        }
    }

    /// Returns a warning without help.
    pub fn warning(rule: &'static str, place: Place, message: impl Into<String>) -> Self {
        Self { level: Level::Warning, ..Self::error(rule, place, message) }
    }

    /// Adds what is marked.
    pub fn labelled(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// Adds the mend.
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}
