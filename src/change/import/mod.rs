//! Records from the rows of a spreadsheet's CSV: how its columns become keys, and what each row comes to.
//!
//! Nothing here writes: what shall be written is handed on as texts by file.

mod guess;
mod make;
mod sheet;
#[cfg(test)]
mod tests;

pub use guess::guessed;
pub use make::{Made, Refused, made};
pub use sheet::{Line, Sheet, SheetFault, sheet};

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What rows become.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ImportKind {
    /// A material a row.
    Materials,
    /// A panel a row; rows with the same id are its zones.
    Panels,
    /// A specimen a row; the file becomes the data of one evidence record.
    Specimens,
}

impl ImportKind {
    /// Returns the word.
    pub fn word(self) -> &'static str {
        match self {
            ImportKind::Materials => "materials",
            ImportKind::Panels => "panels",
            ImportKind::Specimens => "specimens",
        }
    }
}

/// Where a column goes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// The key of the record, such as `fibre.areal` or `zone.area`; empty where the column is left out.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub to: String,
    /// The unit of its bare numbers; empty where they have none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub unit: String,
}

/// How the columns of a file become keys of records.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mapping {
    /// What rows become.
    pub kind: ImportKind,
    /// By the column's name as the file has it.
    pub columns: BTreeMap<String, Target>,
    /// Values that every record gets, by key.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub set: BTreeMap<String, serde_yaml::Value>,
}

impl Mapping {
    /// Reads a mapping that was saved.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn read(text: &str) -> Result<Self, String> {
        serde_yaml::from_str(text).map_err(|error| error.to_string())
    }

    /// Returns it as YAML, with what may be edited said above.
    pub fn text(&self) -> String {
        let own = serde_yaml::to_string(self).unwrap_or_default();
        format!(
            "# How columns become keys: `to` names the key of the record, `unit` that of bare numbers; a column with\n\
             # neither is left out. `set` holds values that every record gets, such as `kind: prepreg`.\n{own}"
        )
    }
}
