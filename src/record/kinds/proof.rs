//! What must be shown and what was shown: showings, evidence, concessions.

use super::{Class, LoadPath, Statistics, part, record, word_set};
use crate::quantity::*;
use crate::record::once::{Known, once};
use crate::record::sensitivity::{Sensitivity, Step};
use crate::record::{Attributes, Day, EvidenceRef, Figure, OneOrMany, ShowingRef, Text};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

word_set! {
    /// Which design value the criterion is set on.
    pub enum BasisWord {
        /// 99 % content, 95 % confidence.
        A = "A",
        /// 90 % content, 95 % confidence.
        B = "B",
    }
}

word_set! {
    /// Which end of the temperatures a test bounds.
    pub enum Bounds {
        /// The hot end.
        Hot = "hot",
        /// The cold end.
        Cold = "cold",
        /// Neither.
        None = "none",
    }
}

part! {
    /// The criterion.
    pub struct Accept {
        /// A or B: the criterion is set on the basis value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub basis: Option<BasisWord>,
        /// Least value of the basis.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at_least: Option<Figure>,
        /// Greatest value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at_most: Option<Figure>,
        /// Least mean.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub mean_at_least: Option<Figure>,
        /// Greatest mean.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub mean_at_most: Option<Figure>,
        /// Least single value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub all_at_least: Option<Figure>,
        /// Greatest single value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub all_at_most: Option<Figure>,
        /// Least rating.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub rating_at_least: Option<Figure>,
        /// Least margin.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub margin_at_least: Option<Figure>,
        /// Least distance of the wet glass transition above the skin on the ramp.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub above_skin_by: Option<TemperatureDifference>,
        /// The record says so.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub statement: Option<bool>,
        /// Limits of an exposure trial, each held at every reading; they stand alone.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub readings: Vec<super::ReadingLimit>,
    }
}

part! {
    /// What it is tested in.
    pub struct Environment {
        /// CTD, RTD, ETD, ETW or another name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub name: Option<Text>,
        /// Test temperature.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub temperature: Option<Temperature>,
        /// as-fabricated, equilibrium, or another word.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub moisture: Option<Text>,
        /// Which end it bounds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub bounds: Option<Bounds>,
    }
}

part! {
    /// Conditioning before the test.
    pub struct Conditioning {
        /// Share of equilibrium.
        pub to: Fraction,
        /// Thickness of the coupon.
        pub coupon_thickness: Length,
    }
}

part! {
    /// The reduced set that shows equivalence.
    pub struct EquivalencePlan {
        /// Specimens.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub specimens: Option<u32>,
        /// Panels.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub panels: Option<u32>,
    }
}

part! {
    /// How much has to be tested, and what it takes.
    pub struct Plan {
        /// Batches.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub batches: Option<u32>,
        /// Panels from each batch.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub panels_per_batch: Option<u32>,
        /// Specimens in all.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub specimens: Option<u32>,
        /// Weeks from ready specimens to the report.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub weeks: Option<f64>,
        /// Conditioning.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub conditioning: Option<Conditioning>,
        /// Cost of one specimen.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cost: Option<Money>,
        /// The reduced set that shows equivalence.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub equivalence: Option<EquivalencePlan>,
        /// Spare specimens, as a share; 10 % where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub spares: Option<Fraction>,
        /// Specimens cut from one panel; 24 where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub specimens_per_panel: Option<u32>,
        /// Weeks of a desk task; one where absent.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub analysis_weeks: Option<f64>,
        /// Weeks before lay-up can start.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub lead: Option<f64>,
        /// Weeks of lay-up, cure and machining.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub layup: Option<f64>,
        /// Weeks in the laboratory that are paid by the week.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub lab_weeks: Option<f64>,
        /// When the panels of an exposure trial are read: months outdoors, hours in a cabinet. Both kinds are asked
        /// where both are here.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub readings: Vec<Exposed>,
    }
}

part! {
    /// Which subjects and panels a showing is asked of.
    pub struct AppliesTo {
        /// Of the panel.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub class: Option<Class>,
        /// Of the panel.
        #[serde(default, skip_serializing_if = "OneOrMany::is_empty")]
        pub group: OneOrMany<Text>,
        /// Every key must be equal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub exposure: Option<super::Exposure>,
        /// The subject contains or is it.
        #[serde(default, skip_serializing_if = "OneOrMany::is_empty")]
        pub material: OneOrMany<crate::record::MaterialRef>,
        /// The subject contains, is, or is used by it.
        #[serde(default, skip_serializing_if = "OneOrMany::is_empty")]
        pub recipe: OneOrMany<crate::record::RecipeRef>,
        /// The panel itself.
        #[serde(default, skip_serializing_if = "OneOrMany::is_empty")]
        pub panel: OneOrMany<crate::record::PanelRef>,
        /// Of the panel.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub load_path: Option<LoadPath>,
    }
}

word_set! {
    /// What a duty is about.
    pub enum SubjectKind {
        /// Fibre and resin by one process.
        Lamina = "lamina",
        /// A recipe.
        Laminate = "laminate",
        /// A recipe with its finish.
        Painted = "painted",
        /// Two faces and the adhesive between.
        Bond = "bond",
        /// Solid sheet.
        Sheet = "sheet",
        /// A panel.
        Panel = "panel",
        /// The whole.
        Programme = "programme",
    }
}

word_set! {
    /// What a computed showing computes.
    pub enum ComputedCheck {
        /// Every margin of the panel that can be computed.
        Margins = "margins",
        /// Plies against their strengths and the panel's design strains.
        Strength = "strength",
        /// Faces and core of a sandwich.
        Sandwich = "sandwich",
        /// Buckling of the plate.
        Buckling = "buckling",
        /// Walls, sheet and bonds of the frame section, whole and with the pane lost.
        Section = "section",
        /// Torsional stiffness GJ of the frame section.
        SectionTorsion = "section-torsion",
        /// Bonds of the sheet under mismatch of expansion.
        Mismatch = "mismatch",
        /// Distance of glass transitions and service temperatures above the skin on the ramp.
        TemperatureMargin = "temperature-margin",
        /// Mass of the programme.
        Mass = "mass",
    }
}

impl ComputedCheck {
    /// Returns the kind of subject that the check is asked of.
    pub fn subject(self) -> SubjectKind {
        match self {
            Self::Mass => SubjectKind::Programme,
            Self::TemperatureMargin => SubjectKind::Painted,
            _ => SubjectKind::Panel,
        }
    }

    /// Returns the one key of `accept` that the check judges, and its unit where it can't do without the key;
    /// a margin is asked to be at least 0 and a temperature margin to be the usual one where it is absent.
    pub fn criterion(self) -> (&'static str, Option<&'static str>) {
        match self {
            Self::Mass => ("at_most", Some("kg")),
            Self::SectionTorsion => ("at_least", Some("N m2")),
            Self::TemperatureMargin => ("above_skin_by", None),
            _ => ("margin_at_least", None),
        }
    }
}

word_set! {
    /// What fibre-dominated values are brought to.
    pub enum NormaliseTo {
        /// The nominal thickness of a cured ply.
        CuredThickness = "cured-thickness",
        /// The nominal fibre volume.
        FibreVolume = "fibre-volume",
    }
}

part! {
    /// Brings values of fibre-dominated properties to a nominal ply; criteria and design values then stand on
    /// what comes of that.
    pub struct Normalise {
        /// cured-thickness, fibre-volume.
        pub to: NormaliseTo,
        /// The nominal, such as `0.21 mm` or `55 %`; the cured thickness of the subject's ply material where
        /// absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub nominal: Option<Figure>,
        /// How far from nominal a specimen may lie before its normalised value is doubted; 5 % where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub within: Option<Fraction>,
    }
}

record! {
    /// A qualification item: what must be shown.
    pub struct Showing {
        /// Picks subject, sensitivity and plan: a kind of the built-in table.
        pub kind: Text,
        /// The rules that it answers.
        #[serde(default, skip_serializing_if = "OneOrMany::is_empty")]
        pub clause: OneOrMany<Text>,
        /// Means-of-compliance codes (EASA AMC to 21.A.15).
        #[serde(default, skip_serializing_if = "OneOrMany::is_empty")]
        pub means: OneOrMany<Text>,
        /// Which subjects and panels it is asked of; all where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub applies_to: Option<AppliesTo>,
        /// Another subject than the kind's own.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub subject: Option<SubjectKind>,
        /// What a computed showing computes; all margins of the panel, the mass of the programme, or the
        /// temperature margin of a painted laminate where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub check: Option<ComputedCheck>,
        /// The criterion.
        pub accept: Accept,
        /// Levels of the tests behind its design values, above those of `ledger.yaml`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub statistics: Option<Statistics>,
        /// The test method with its year.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub method: Option<Text>,
        /// What it is tested in.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub environment: Option<Environment>,
        /// Brings values to a nominal ply before they are judged.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub normalise: Option<Normalise>,
        /// How much has to be tested.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub plan: Option<Plan>,
        /// The milestone that needs it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub needed_by: Option<Text>,
        /// Showings that must be finished first.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub after: Vec<ShowingRef>,
        /// Showings that its verdict needs.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub rests_on: Vec<ShowingRef>,
        /// Rows that stand above the built-in table.
        #[serde(default, deserialize_with = "crate::record::unique::map", skip_serializing_if = "BTreeMap::is_empty")]
        pub sensitivity: BTreeMap<String, Vec<Step>>,
    }
}

impl Showing {
    /// Returns the rows of its own, which stand above the built-in table; `None` where it has none.
    pub fn own_steps(&self) -> Option<&Sensitivity> {
        Some(&self.sensitivity).filter(|own| !own.is_empty())
    }

    /// Returns what it computes where its kind is `computed`: what it says, or what its subject is asked as a
    /// rule.
    pub fn computed_check(&self) -> ComputedCheck {
        self.check.unwrap_or(match self.subject {
            Some(SubjectKind::Programme) => ComputedCheck::Mass,
            Some(SubjectKind::Painted) => ComputedCheck::TemperatureMargin,
            _ => ComputedCheck::Margins,
        })
    }
}

impl Accept {
    /// Returns the keys that are written.
    pub fn keys(&self) -> Vec<&'static str> {
        let Self {
            basis,
            at_least,
            at_most,
            mean_at_least,
            mean_at_most,
            all_at_least,
            all_at_most,
            rating_at_least,
            margin_at_least,
            above_skin_by,
            statement,
            readings,
        } = self;
        let all = [
            ("basis", basis.is_some()),
            ("at_least", at_least.is_some()),
            ("at_most", at_most.is_some()),
            ("mean_at_least", mean_at_least.is_some()),
            ("mean_at_most", mean_at_most.is_some()),
            ("all_at_least", all_at_least.is_some()),
            ("all_at_most", all_at_most.is_some()),
            ("rating_at_least", rating_at_least.is_some()),
            ("margin_at_least", margin_at_least.is_some()),
            ("above_skin_by", above_skin_by.is_some()),
            ("statement", statement.is_some()),
            ("readings", !readings.is_empty()),
        ];
        all.into_iter().filter_map(|(key, written)| written.then_some(key)).collect()
    }

    /// Returns the limits on values, means and single values, all in the unit of the data.
    pub fn limits(&self) -> impl Iterator<Item = &Figure> {
        [
            &self.at_least,
            &self.at_most,
            &self.mean_at_least,
            &self.mean_at_most,
            &self.all_at_least,
            &self.all_at_most,
        ]
        .into_iter()
        .flatten()
    }
}

part! {
    /// The label of a subject: exactly one key.
    pub struct SubjectLabel {
        /// Prepreg and process, or fabric, resin and process.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub lamina: Option<Vec<Text>>,
        /// A recipe.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub laminate: Option<Text>,
        /// Recipe and finish, or recipe and `bare`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub painted: Option<Vec<Text>>,
        /// Adhesive, process and two faces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub bond: Option<Vec<Text>>,
        /// Material and thickness.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub sheet: Option<Vec<Text>>,
        /// A panel.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub panel: Option<Text>,
        /// The whole.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub programme: Option<bool>,
    }
}

word_set! {
    /// What kind of evidence it is.
    pub enum EvidenceKind {
        /// A test.
        Test = "test",
        /// A reduced test that extends a baseline.
        Equivalence = "equivalence",
        /// An analysis.
        Analysis = "analysis",
        /// An inspection.
        Inspection = "inspection",
        /// An argument from likeness.
        Similarity = "similarity",
    }
}

impl Evidence {
    /// Returns whether its data may still change: the readings of a trial grow until it is done.
    pub fn grows(&self) -> bool {
        self.trial.is_some() && self.state != EvidenceState::Done
    }

    /// Returns whether it names other evidence as its baseline.
    pub fn extends(&self, evidence: &str) -> bool {
        self.baseline.as_ref().is_some_and(|own| own.id() == evidence)
    }
}

impl EvidenceKind {
    /// Returns whether specimens or an article were looked at for it, so that it stands by itself and extends no
    /// baseline.
    pub fn stands_alone(self) -> bool {
        matches!(self, Self::Test | Self::Inspection)
    }
}

word_set! {
    /// How far it is.
    pub enum EvidenceState {
        /// Not begun.
        Planned = "planned",
        /// Begun.
        Running = "running",
        /// Finished.
        Done = "done",
    }
}

word_set! {
    /// Whether batch labels are the same lots as in other reports.
    pub enum Lots {
        /// They are not.
        Own = "own",
        /// They are.
        Shared = "shared",
    }
}

part! {
    /// A result where there are no specimen values.
    pub struct Outcome {
        /// It was shown, or not.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub statement: Option<bool>,
        /// How a test article failed, in the words of the computed margins, such as `wrinkling`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub mode: Option<Text>,
        /// A rating.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub rating: Option<Figure>,
        /// A margin.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub margin: Option<Figure>,
        /// A value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub value: Option<Figure>,
    }
}

part! {
    /// What it was tested to.
    pub struct Tested {
        /// Test temperature.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub temperature: Option<Temperature>,
        /// Moisture of the specimens.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub moisture: Option<Text>,
        /// Lightning zone of the currents.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub lightning: Option<Text>,
        /// Exposure zone.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub zone: Option<Text>,
        /// Fluids.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub fluids: Option<Vec<Text>>,
        /// The mould of the article.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub tool: Option<Text>,
    }
}

part! {
    /// Takes a failed test out of the pool, or a weighed piece off hold, visibly.
    pub struct Disposition {
        /// The assignable cause.
        pub cause: String,
        /// Who decided.
        pub by: Text,
        /// When.
        pub on: Day,
    }
}

/// The value of one attribute of a configuration: one text, or an ordered list. Copies share their texts.
#[derive(Debug, Clone, Eq, PartialOrd, Ord, Hash)]
#[allow(clippy::derived_hash_with_manual_eq, reason = "equality is the derived one, only quicker")]
pub enum AttributeValue {
    /// One value.
    One(Arc<str>),
    /// An ordered list.
    #[allow(
        clippy::box_collection,
        reason = "lists are rare, and so a value takes no more than one text does"
    )]
    List(Box<Vec<Arc<str>>>),
}

impl PartialEq for AttributeValue {
    fn eq(&self, other: &Self) -> bool {
        let same = |one: &Arc<str>, two: &Arc<str>| Arc::ptr_eq(one, two) || one == two;
        match (self, other) {
            (AttributeValue::One(one), AttributeValue::One(two)) => same(one, two),
            (AttributeValue::List(all), AttributeValue::List(others)) => {
                all.len() == others.len() && all.iter().zip(others.iter()).all(|(one, two)| same(one, two))
            }
            _ => false,
        }
    }
}

/// Returns a text that is shared with whatever says the same on this thread: configurations say the same few
/// things thousands of times.
fn shared(text: &str) -> Arc<str> {
    thread_local! {
        static KNOWN: Known<str> = Known::default();
    }
    once(&KNOWN, text)
}

impl AttributeValue {
    /// Returns a single value.
    pub fn one(text: &str) -> Self {
        AttributeValue::One(shared(text))
    }

    /// Returns the values, one or many.
    pub fn values(&self) -> &[Arc<str>] {
        match self {
            AttributeValue::One(one) => std::slice::from_ref(one),
            AttributeValue::List(all) => all,
        }
    }

    /// Returns the values as texts, one or many.
    pub fn texts(&self) -> impl Iterator<Item = &str> + Clone {
        self.values().iter().map(|value| &**value)
    }

    /// Returns an ordered list.
    pub fn list<T: Into<Arc<str>>>(values: impl IntoIterator<Item = T>) -> Self {
        AttributeValue::List(Box::new(values.into_iter().map(Into::into).collect()))
    }

    /// Returns whether this says that nothing was stated.
    pub fn is_unstated(&self) -> bool {
        matches!(self, AttributeValue::One(text) if &**text == "unstated")
    }
}

impl fmt::Display for AttributeValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            AttributeValue::One(one) => f.write_str(one),
            AttributeValue::List(all) => write!(f, "[{}]", all.join(", ")),
        }
    }
}

impl<'de> Deserialize<'de> for AttributeValue {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct V;
        impl<'de> Visitor<'de> for V {
            type Value = AttributeValue;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("one value or a list of values")
            }
            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<AttributeValue, E> {
                Ok(AttributeValue::one(text.trim()))
            }
            fn visit_bool<E: serde::de::Error>(self, value: bool) -> Result<AttributeValue, E> {
                self.visit_str(if value { "true" } else { "false" })
            }
            fn visit_u64<E: serde::de::Error>(self, value: u64) -> Result<AttributeValue, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_i64<E: serde::de::Error>(self, value: i64) -> Result<AttributeValue, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<AttributeValue, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<AttributeValue, A::Error> {
                let mut all = Vec::new();
                while let Some(one) = seq.next_element::<String>()? {
                    all.push(shared(one.trim()));
                }
                Ok(AttributeValue::List(Box::new(all)))
            }
        }
        deserializer.deserialize_any(V)
    }
}

impl Serialize for AttributeValue {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            AttributeValue::One(one) => serializer.serialize_str(one),
            AttributeValue::List(all) => serializer.collect_seq(all.iter().map(|one| &**one)),
        }
    }
}

impl JsonSchema for AttributeValue {
    fn schema_name() -> Cow<'static, str> {
        "AttributeValue".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "one value, or an ordered list of values",
            "anyOf": [{ "type": ["string", "number", "boolean"] }, { "type": "array", "items": { "type": ["string", "number", "boolean"] } }]
        })
    }
}

fn attributes<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Attributes, D::Error> {
    let named: BTreeMap<String, AttributeValue> = crate::record::unique::map(deserializer)?;
    Ok(named.into_iter().map(|(name, value)| (shared(&name), value)).collect())
}

fn written<S: Serializer>(attributes: &Attributes, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_map(attributes.iter().map(|(name, value)| (&**name, value)))
}

part! {
    /// The as-made configuration, written by `bondline conform`.
    pub struct Conformed {
        /// Version of the canonical form.
        pub form: u32,
        /// The commit that it was taken from; a hint only.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub commit: Option<Text>,
        /// What it was tested to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub tested: Option<Tested>,
        /// The flat map of attributes.
        #[serde(deserialize_with = "attributes", serialize_with = "written")]
        #[schemars(with = "BTreeMap<String, AttributeValue>")]
        pub attributes: Attributes,
        /// Further articles of the same evidence: what differs.
        #[serde(default, deserialize_with = "crate::record::unique::maps", skip_serializing_if = "Vec::is_empty")]
        pub others: Vec<BTreeMap<String, AttributeValue>>,
    }
}

record! {
    /// What was shown, by what, on what article.
    pub struct Evidence {
        /// The showing that it answers.
        pub showing: ShowingRef,
        /// What it was recorded for: a label.
        pub subject: SubjectLabel,
        /// test, equivalence, analysis, inspection, similarity.
        pub kind: EvidenceKind,
        /// planned, running, done.
        pub state: EvidenceState,
        /// When the article was made.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub made: Option<Day>,
        /// The report and its issue.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub report: Option<Text>,
        /// The file of specimen values, relative to this record's folder.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub data: Option<String>,
        /// Digest of the data's bytes with plain line ends, written by the tool.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub digest: Option<String>,
        /// The result where there are no specimen values.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub result: Option<Outcome>,
        /// Attributes measured on the article; they stand above what the ledger said.
        #[serde(default, deserialize_with = "crate::record::unique::map", skip_serializing_if = "BTreeMap::is_empty")]
        pub measured: BTreeMap<String, AttributeValue>,
        /// What stands for a whole exposure trial.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub trial: Option<super::Trial>,
        /// What it was tested to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub tested: Option<Tested>,
        /// Whether batch labels are shared with other reports of the showing.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub lots: Option<Lots>,
        /// The primary evidence that this extends.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub baseline: Option<EvidenceRef>,
        /// The record that this corrects.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub supersedes: Option<EvidenceRef>,
        /// Takes a failed test out of the pool.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub disposition: Option<Box<Disposition>>,
        /// Why a failed equivalence was repeated.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub reason: Option<String>,
        /// The as-made configuration.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub conformed: Option<Conformed>,
    }
}

part! {
    /// How far a concession reaches for one attribute.
    pub struct Covered {
        /// Up to and including.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at_most: Option<Text>,
        /// Down to and including.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at_least: Option<Text>,
        /// This value only.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub equals: Option<AttributeValue>,
    }
}

/// What a concession covers.
#[derive(Debug, Clone, PartialEq)]
pub enum Covers {
    /// `failed`: a criterion that does not hold.
    Failed,
    /// Differences, attribute by attribute.
    Differences(BTreeMap<String, Covered>),
}

impl<'de> Deserialize<'de> for Covers {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct V;
        impl<'de> Visitor<'de> for V {
            type Value = Covers;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("`failed`, or attributes with `at_most`, `at_least` or `equals`")
            }
            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Covers, E> {
                match text.trim() {
                    "failed" => Ok(Covers::Failed),
                    other => Err(E::invalid_value(serde::de::Unexpected::Str(other), &self)),
                }
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Covers, A::Error> {
                let mut all = BTreeMap::new();
                while let Some((key, value)) = map.next_entry::<String, Covered>()? {
                    if all.insert(key.clone(), value).is_some() {
                        return Err(serde::de::Error::custom(format!("duplicate entry `{key}`")));
                    }
                }
                Ok(Covers::Differences(all))
            }
        }
        deserializer.deserialize_any(V)
    }
}

impl Serialize for Covers {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Covers::Failed => serializer.serialize_str("failed"),
            Covers::Differences(all) => all.serialize(serializer),
        }
    }
}

impl JsonSchema for Covers {
    fn schema_name() -> Cow<'static, str> {
        "Covers".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let covered = generator.subschema_for::<Covered>();
        json_schema!({
            "description": "`failed`, or attributes with how far each is covered",
            "anyOf": [{ "const": "failed" }, { "type": "object", "additionalProperties": covered }]
        })
    }
}

record! {
    /// A departure that is accepted, for some pieces, until a day.
    pub struct Concession {
        /// The showing that is not met.
        pub showing: ShowingRef,
        /// The subject that it is accepted for.
        pub subject: SubjectLabel,
        /// Why it is accepted.
        pub reason: String,
        /// What it covers, and no more.
        pub covers: Covers,
        /// The serials that it is for.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub serials: Vec<Text>,
        /// How many units it is for.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
        /// The last day that it holds.
        pub until: Day,
        /// Who approved it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub approvals: Vec<super::Approval>,
    }
}
