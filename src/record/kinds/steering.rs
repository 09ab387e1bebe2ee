//! What is to be changed, and what may be varied: decisions and studies.

use super::{part, record, word_set};
use crate::quantity::{Angle, Fraction, Mass, Money, Ratio};
use crate::record::{Day, DecisionRef, Free, OneOrMany, Text};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

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

impl DecisionStatus {
    /// All of them, in the order a decision passes through.
    pub const ALL: [Self; 6] =
        [Self::Draft, Self::Proposed, Self::Approved, Self::Rejected, Self::Withdrawn, Self::Superseded];
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
    /// Returns whether every one of the roles has approved, and as many different people as are asked for.
    ///
    /// People count by the approvals that are asked for: one in another role adds nobody. An approval that names
    /// nobody counts as nobody where people are counted.
    pub fn by_all(approvals: &[Self], roles: &[Text], persons: Option<u32>) -> bool {
        roles.iter().all(|role| approvals.iter().any(|approval| approval.role == *role))
            && persons.is_none_or(|persons| Self::people(approvals, roles).len() >= persons as usize)
    }

    /// Returns the people who approved in one of the roles, each once however the name is written; where no role is
    /// asked for, in any.
    pub fn people(approvals: &[Self], roles: &[Text]) -> BTreeSet<String> {
        let counts = |approval: &&Self| roles.is_empty() || roles.contains(&approval.role);
        approvals
            .iter()
            .filter(counts)
            .filter_map(|approval| approval.by.as_ref())
            .map(Self::folded)
            .filter(|name| !name.is_empty())
            .collect()
    }

    /// Returns those whose day has come: what is said to be approved later is not approved yet. All where there is no
    /// `today`.
    pub fn come(approvals: &[Self], today: Option<Day>) -> Vec<Self> {
        let has_come = |approval: &&Self| today.is_none_or(|today| approval.on.has_come(today));
        approvals.iter().filter(has_come).cloned().collect()
    }

    /// Says what is lacking for [`Approval::by_all`], in words; empty where nothing is.
    pub fn lacking(approvals: &[Self], roles: &[Text], persons: Option<u32>) -> Vec<String> {
        let open = roles.iter().filter(|role| approvals.iter().all(|approval| approval.role != **role));
        let mut all: Vec<String> = open.map(|role| format!("the approval of {role}")).collect();
        let named = Self::people(approvals, roles).len();
        if let Some(persons) = persons.filter(|persons| named < *persons as usize) {
            all.push(format!("different people by name ({named} of {persons})"));
        }
        all
    }

    /// Returns whether approvals are those that there were, with names where none stood and others behind them: a
    /// ledger that begins to ask for different people by name asks it of what was approved before too.
    pub fn are_kept(old: &[Self], new: &[Self]) -> bool {
        let same = |(old, new): (&Self, &Self)| {
            old.role == new.role && old.on == new.on && (old.is_nameless() || old.by == new.by)
        };
        old.len() <= new.len() && old.iter().zip(new).all(same)
    }

    /// Returns whether it names nobody.
    pub fn is_nameless(&self) -> bool {
        self.by.as_ref().is_none_or(|by| Self::folded(by).is_empty())
    }

    /// Returns a name without regard to case and blanks: `Ann Lee` and `ann  lee` are one person.
    pub fn folded(name: &Text) -> String {
        name.as_str().split_whitespace().map(str::to_lowercase).collect::<Vec<_>>().join(" ")
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
    /// The entries that it goes between, the one before and the one behind; null where there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub between: Option<Free>,
    /// The record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub record: Option<Free>,
}

impl Change {
    /// Returns what it names: a place in a record, or a record that it adds or drops. One that is sound has one.
    pub fn places(&self) -> impl Iterator<Item = &String> {
        [&self.set, &self.remove, &self.insert, &self.add, &self.drop].into_iter().flatten()
    }
}

part! {
    /// A duty that a decision was predicted to leave open.
    pub struct PredictedDuty {
        /// The showing.
        pub showing: Text,
        /// The subject, as reports write it.
        pub subject: Text,
        /// analysis, equivalence or retest.
        pub asks: Text,
    }
}

part! {
    /// What a decision was predicted to do, frozen when it was proposed.
    pub struct Predicted {
        /// The commit that it was predicted on.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub commit: Option<Text>,
        /// The day of the prediction.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub on: Option<Day>,
        /// Digest of the changes that it was predicted for.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub changes: Option<Text>,
        /// By how much the programme's mass moves.
        pub mass: Mass,
        /// By how much the mass of panels moves, all counted pieces.
        #[serde(default, deserialize_with = "crate::record::unique::map", skip_serializing_if = "BTreeMap::is_empty")]
        pub panels: BTreeMap<String, Mass>,
        /// Duties that are new or worse with it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub lapsed: Vec<PredictedDuty>,
        /// Specimens of the plan that proves them again, spares included.
        pub specimens: u32,
        /// Weeks along the plan's critical path.
        pub weeks: f64,
        /// Cost of the tests; absent where a rate is missing.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cost: Option<Money>,
        /// What the cost lacks.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub missing: Vec<Text>,
    }
}

part! {
    /// What became of a duty that a decision was predicted to leave open.
    pub struct FoundDuty {
        /// The showing.
        pub showing: Text,
        /// The subject, as reports write it.
        pub subject: Text,
        /// The duty as it is called now, where that is otherwise.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub now: Option<Text>,
        /// The verdict on the day; `ended` where it is asked no more, `not found` where nobody knows it.
        pub verdict: Text,
        /// The day of the last evidence that it was earned again by.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub earned: Option<Day>,
    }
}

part! {
    /// What came true of a decision, figure by figure.
    pub struct FoundFigures {
        /// The day it was looked at.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub on: Option<Day>,
        /// The day it was carried out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub applied: Option<Day>,
        /// The commit that carried it out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub commit: Option<Text>,
        /// By how much the calculated mass of the programme moved in that commit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub calculated: Option<Mass>,
        /// The same corrected by pieces weighed since.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub weighed: Option<Mass>,
        /// Pieces weighed since.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub pieces: Option<u32>,
        /// Panels that those pieces are of; the others count as predicted.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub weighed_panels: Option<u32>,
        /// What became of the duties.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub duties: Vec<FoundDuty>,
        /// Specimens tested for them since.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub specimens: Option<u32>,
        /// Weeks from the approval to the last evidence; to the day, where a duty is still open.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub weeks: Option<f64>,
        /// Whether every duty is met or conceded again.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub finished: Option<bool>,
        /// What else was found, in words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub note: Option<String>,
    }
}

/// What came true: figures, or words alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Found(pub FoundFigures);

impl<'de> Deserialize<'de> for Found {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct V;
        impl<'de> Visitor<'de> for V {
            type Value = Found;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a map, as `bondline decide close` writes it, or words")
            }
            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Found, E> {
                let empty = serde_yaml::Value::Mapping(serde_yaml::Mapping::new());
                let mut figures: FoundFigures = serde_yaml::from_value(empty).map_err(E::custom)?;
                figures.note = Some(text.to_string());
                Ok(Found(figures))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Found, A::Error> {
                FoundFigures::deserialize(serde::de::value::MapAccessDeserializer::new(map)).map(Found)
            }
        }
        deserializer.deserialize_any(V)
    }
}

impl JsonSchema for Found {
    fn schema_name() -> Cow<'static, str> {
        "Found".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let figures = generator.subschema_for::<FoundFigures>();
        json_schema!({
            "description": "what came true: figures, as `decide close` writes them, or words",
            "anyOf": [figures, { "type": "string" }]
        })
    }
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
        /// The commit whose records the places of the changes refer to, until it is proposed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub base: Option<Text>,
        /// The change itself.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub changes: Vec<Change>,
        /// What was predicted, written when it was proposed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub predicted: Option<Predicted>,
        /// Who approved it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub approvals: Vec<Approval>,
        /// The decision that it replaces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub supersedes: Option<DecisionRef>,
        /// What came true.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub found: Option<Found>,
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
