//! What is to be changed, and what may be varied: decisions and studies.

use super::{part, record, word_set};
use crate::quantity::{Angle, Fraction, Mass, Money, Ratio};
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
        /// What people call it; the place itself where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub name: Option<Text>,
        /// The place, `KIND/ID#ROUTE`; of several, all change together.
        pub attribute: OneOrMany<Text>,
        /// The values to try, beside what stands there.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub among: Vec<Free>,
        /// The least value; a tolerance that stands there is kept.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub from: Option<Text>,
        /// The greatest value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub to: Option<Text>,
        /// The step; the two ends alone where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub step: Option<Text>,
        /// Whether the entry may be left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub drop: Option<bool>,
    }
}

part! {
    /// What must hold of every recipe, panel and budget that a candidate of a study changes.
    #[derive(Default)]
    pub struct Keep {
        /// The least margin; one that can no longer be computed does not hold.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub margins: Option<Ratio>,
        /// Plies and cores mirror each other about the middle.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub symmetric: Option<bool>,
        /// As much fibre at +a as at -a, for every angle but 0 and 90.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub balanced: Option<bool>,
        /// The most plies of one angle next to each other.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub max_same_angle: Option<u32>,
        /// The least share of the fibre at 0, at +/-45 and at 90.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub share_per_direction: Option<Fraction>,
        /// The angle of the outermost plies, either sign.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub surface: Option<Angle>,
        /// No skin gets nearer to what limits its heat than that allows, or than it is now.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub temperature: Option<bool>,
        /// No budget is exceeded that is kept now, and none by more.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub budgets: Option<bool>,
    }
}

part! {
    /// What a study is after.
    #[derive(Default)]
    pub struct Goal {
        /// Mass to take off the programme.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub save: Option<Mass>,
    }
}

part! {
    /// Bounds on a study.
    #[derive(Default)]
    pub struct Limits {
        /// The most weeks of tests.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub weeks: Option<f64>,
        /// The most that the tests may cost.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cost: Option<Money>,
        /// How many candidates are judged in full.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub variations: Option<u32>,
        /// Seconds of search.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub seconds: Option<f64>,
    }
}

record! {
    /// A search over variations.
    pub struct Study {
        /// What may vary.
        pub vary: Vec<Vary>,
        /// What must hold.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub keep: Option<Keep>,
        /// What is sought.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub goal: Option<Goal>,
        /// Bounds on the search.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limits: Option<Limits>,
    }
}
