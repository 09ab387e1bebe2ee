//! What is to be changed, and what may be varied: decisions and studies.

use super::{part, record, word_set};
use crate::record::{Day, DecisionRef, Free, OneOrMany, Text};
use serde::{Deserialize, Serialize};

word_set! {
    /// How far a decision is.
    pub enum DecisionStatus {
        /// Being written.
        Draft = "draft",
        /// Open for approval.
        Proposed = "proposed",
        /// Agreed.
        Approved = "approved",
        /// Turned down.
        Rejected = "rejected",
        /// Taken back.
        Withdrawn = "withdrawn",
        /// Replaced by another.
        Superseded = "superseded",
    }
}

part! {
    /// An approval as typed.
    pub struct Approval {
        /// The role.
        pub role: Text,
        /// When.
        pub on: Day,
        /// Who.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub by: Option<Text>,
    }
}

impl Approval {
    /// Returns whether every one of the roles has approved.
    pub fn by_all(approvals: &[Self], roles: &[Text]) -> bool {
        roles.iter().all(|role| approvals.iter().any(|approval| approval.role == *role))
    }
}

/// One change; all places refer to the record before any of the changes.
#[derive(Debug, Clone, PartialEq, Default, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Change {
    /// Sets the value at this place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<String>,
    /// Takes the entry at this place out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remove: Option<String>,
    /// Puts an entry into this list.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub insert: Option<String>,
    /// Adds this record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub add: Option<String>,
    /// Drops this record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drop: Option<String>,
    /// What stood there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<Free>,
    /// What shall stand there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Free>,
    /// The place in the list behind which the entry goes; 0 is first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<Free>,
    /// The entry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry: Option<Free>,
    /// The record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub record: Option<Free>,
}

record! {
    /// A design decision that carries its own change.
    pub struct Decision {
        /// draft, proposed, approved, rejected, withdrawn, superseded.
        pub status: DecisionStatus,
        /// When it was raised.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub raised: Option<Day>,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub why: Option<String>,
        /// What else was considered.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub options: Vec<Free>,
        /// The change itself.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub changes: Vec<Change>,
        /// What was predicted, written when it was proposed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub predicted: Option<Free>,
        /// Who approved it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub approvals: Vec<Approval>,
        /// The decision that it replaces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub supersedes: Option<DecisionRef>,
        /// What came true.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub found: Option<Free>,
    }
}

part! {
    /// One thing that a study may vary.
    pub struct Vary {
        /// The attribute.
        pub attribute: String,
        /// The values to try.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub among: Vec<Free>,
        /// The least value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub from: Option<Text>,
        /// The greatest value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub to: Option<Text>,
        /// The step.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub step: Option<Text>,
        /// Whether the entry may be left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub drop: Option<bool>,
    }
}

record! {
    /// A search over variations.
    pub struct Study {
        /// What may vary.
        pub vary: Vec<Vary>,
        /// Criteria that must hold.
        #[serde(default, skip_serializing_if = "OneOrMany::is_empty")]
        pub keep: OneOrMany<Free>,
        /// What is sought.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub goal: Option<Free>,
        /// Bounds on the search.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limits: Option<Free>,
    }
}
