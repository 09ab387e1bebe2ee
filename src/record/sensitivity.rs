//! Steps of a sensitivity row: what a difference asks, as records and the built-in table write it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a difference asks, from nothing to a full test.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Deserialize, Serialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Asks {
    /// Nothing.
    #[default]
    None,
    /// A calculation or an engineering memo.
    Analysis,
    /// A reduced test that shows equivalence.
    Equivalence,
    /// The full test.
    Retest,
}

impl Asks {
    /// Returns the word that records and reports use.
    pub fn word(self) -> &'static str {
        match self {
            Asks::None => "none",
            Asks::Analysis => "analysis",
            Asks::Equivalence => "equivalence",
            Asks::Retest => "retest",
        }
    }
}

impl std::fmt::Display for Asks {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// One step of a row: at most one condition, and what is asked where it holds.
#[derive(Debug, Clone, PartialEq, Default, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Nominals differ by no more: `5 %`, `2 points`, `5 K`, `5 g/m2`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<String>,
    /// The worst limit is no higher: `conformed`, optionally `conformed + 5 um`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_most: Option<String>,
    /// The worst limit is no lower: `conformed`, optionally `conformed - 5 um`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_least: Option<String>,
    /// Inside what was tested: `tested_range`.
    #[serde(rename = "in", default, skip_serializing_if = "Option::is_none")]
    pub inside: Option<String>,
    /// No member that was not tested: `conformed`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub subset_of: Option<String>,
    /// Bounded by what was tested: `conformed`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covered_by: Option<String>,
    /// A window of the built-in table by its name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window: Option<String>,
    /// Only for this route of the resin: prepreg or dry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub when: Option<String>,
    /// Only where nothing but thickness differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub only_thickness: Option<bool>,
    /// What is asked.
    pub asks: Asks,
}
