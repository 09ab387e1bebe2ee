//! The bench calculator: one formula on figures that somebody typed in, with its steps and its source.
//!
//! A topic is one file: a type with its inputs as quantities, what it works out from them, a sample. The trait
//! [`Topic`] and one line in [`TOPICS`] make of it what can be listed, explained, read with all faults, worked
//! out, and described by a schema. The formulas themselves stand in the engineering rooms; nothing is computed
//! here but the steps on the way, and a test holds those to the result.

mod batch_variance;
mod batches;
mod bond;
mod colour_difference;
mod colour_limit;
mod day;
mod distribution_fit;
mod equivalence;
mod failure;
mod laminate;
mod layers;
mod moisture;
mod moulds;
mod outlier;
mod plate;
mod ply;
mod ranked_value;
mod sandwich;
mod section;
mod skin_temperature;
mod specimens;
mod spring_in;
mod tolerance_factor;
mod tool_heat;
mod tool_mismatch;
mod weibull_value;
mod work;

pub use work::{At, Checks, Outcome, Refusal, Refusals, Step, Work, figure};

use crate::record::{Fault, Form, KeyForm, Leaf, places, read_form, schema};
use schemars::JsonSchema;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// One formula, or a few that belong together: the implementing type holds the inputs.
///
/// The doc comments of its fields become the schema's descriptions and the topic's help.
pub trait Topic: DeserializeOwned + Serialize + JsonSchema {
    /// Its name on the command line and of its schema.
    const NAME: &'static str;
    /// What it works out, in one line without full stop.
    const ABOUT: &'static str;
    /// Where formulas and constants come from.
    const SOURCE: &'static str;
    /// What holds for this topic beside the caution of all; may be empty.
    const CAUTION: &'static str;
    /// An input that works; its figures are invented where it does not say whose they are.
    const SAMPLE: &'static str;

    /// Works it out.
    ///
    /// # Errors
    /// [`Refusals`] name the inputs that are missing or out of range.
    fn work(&self) -> Result<Work, Refusals>;
}

/// Works a topic out from the name, the bytes and the form of its input.
type Answering = fn(&str, &[u8], &Form) -> Result<Answer, Vec<Fault>>;

/// A topic without its type.
#[derive(Clone, Copy)]
pub struct TopicEntry {
    /// As [`Topic::NAME`].
    pub name: &'static str,
    /// As [`Topic::ABOUT`].
    pub about: &'static str,
    /// As [`Topic::SOURCE`].
    pub source: &'static str,
    /// As [`Topic::SAMPLE`].
    pub sample: &'static str,
    schema: fn() -> Value,
    form: fn(&str) -> Form,
    answer: Answering,
}

impl TopicEntry {
    const fn of<T: Topic>() -> Self {
        Self {
            name: T::NAME,
            about: T::ABOUT,
            source: T::SOURCE,
            sample: T::SAMPLE,
            schema: schema::root::<T>,
            form: Form::of::<T>,
            answer: answer::<T>,
        }
    }

    fn form(&self) -> Form {
        (self.form)(&format!("input of `{}`", self.name))
    }

    /// Returns the schema of the inputs (JSON Schema, draft 2020-12).
    pub fn schema(&self) -> Value {
        (self.schema)()
    }

    /// Returns the keys of the inputs, each with what it means.
    pub fn keys(&self) -> Vec<(KeyForm, String)> {
        let schema = self.schema();
        let told = |key: &str| {
            let text = schema.get("properties")?.get(key)?.get("description")?.as_str()?;
            Some(text.split_whitespace().collect::<Vec<_>>().join(" "))
        };
        self.form().keys().into_iter().map(|key| (key.clone(), told(&key.key).unwrap_or_default())).collect()
    }

    /// Reads the inputs from the bytes of `file` and works the topic out.
    ///
    /// # Errors
    /// Everything wrong in the inputs, each with its place and its mend.
    pub fn answer(&self, file: &str, bytes: &[u8]) -> Result<Answer, Vec<Fault>> {
        (self.answer)(file, bytes, &self.form())
    }
}

/// All topics, in the order that the list shows them.
pub const TOPICS: &[TopicEntry] = &[
    TopicEntry::of::<ply::Ply>(),
    TopicEntry::of::<laminate::Laminate>(),
    TopicEntry::of::<failure::Failure>(),
    TopicEntry::of::<sandwich::SandwichBeam>(),
    TopicEntry::of::<sandwich::Wrinkling>(),
    TopicEntry::of::<sandwich::Dimpling>(),
    TopicEntry::of::<sandwich::Crimping>(),
    TopicEntry::of::<plate::PlatePressure>(),
    TopicEntry::of::<plate::PlateBuckling>(),
    TopicEntry::of::<section::Section>(),
    TopicEntry::of::<bond::BondMismatch>(),
    TopicEntry::of::<bond::LapShear>(),
    TopicEntry::of::<bond::SheetModulus>(),
    TopicEntry::of::<skin_temperature::SkinTemperature>(),
    TopicEntry::of::<colour_limit::ColourLimit>(),
    TopicEntry::of::<colour_difference::ColourDifference>(),
    TopicEntry::of::<moisture::Moisture>(),
    TopicEntry::of::<tool_heat::ToolHeat>(),
    TopicEntry::of::<tool_mismatch::ToolMismatch>(),
    TopicEntry::of::<spring_in::SpringIn>(),
    TopicEntry::of::<moulds::Moulds>(),
    TopicEntry::of::<outlier::Outlier>(),
    TopicEntry::of::<batches::BatchTest>(),
    TopicEntry::of::<distribution_fit::DistributionFit>(),
    TopicEntry::of::<tolerance_factor::ToleranceFactor>(),
    TopicEntry::of::<weibull_value::WeibullValues>(),
    TopicEntry::of::<ranked_value::RankedValue>(),
    TopicEntry::of::<batch_variance::BatchVariance>(),
    TopicEntry::of::<equivalence::Equivalence>(),
];

/// Returns the topic called so.
pub fn topic(name: &str) -> Option<&'static TopicEntry> {
    TOPICS.iter().find(|topic| topic.name == name)
}

/// Returns all schemas as they are written to `schema/calc/`: file name, and text that ends in a line end.
pub fn schemas() -> Vec<(String, String)> {
    let one = |topic: &TopicEntry| (format!("{}.schema.json", topic.name), format!("{:#}\n", topic.schema()));
    TOPICS.iter().map(one).collect()
}

/// The caution below every answer.
pub const CAUTION: &str = "An engineering aid, not approved data: one formula on the figures that were typed in. If a result \
     surprises you, ask before cutting material or flying.";

/// What came of a topic.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The topic's name.
    pub topic: &'static str,
    /// What it works out.
    pub about: &'static str,
    /// Every figure and word that was read.
    pub read: Vec<Leaf>,
    /// The inputs, every quantity with its text, its value in SI and that unit.
    pub inputs: Value,
    /// How it was worked out.
    pub work: Work,
    /// Where formulas and constants come from.
    pub source: &'static str,
    /// What to be careful of.
    pub caution: String,
}

fn answer<T: Topic>(file: &str, bytes: &[u8], form: &Form) -> Result<Answer, Vec<Fault>> {
    let outcome = read_form::<T>(file, bytes, form);
    let Some(inputs) = outcome.value else { return Err(outcome.faults) };
    let refused = |refusals: Refusals| {
        let text = String::from_utf8_lossy(bytes);
        let index = places(&text);
        refusals.0.into_iter().map(|refusal| refusal.fault(file, &index)).collect::<Vec<Fault>>()
    };
    let mut work = inputs.work().and_then(Work::checked).map_err(refused)?;
    let value = serde_json::to_value(&inputs).unwrap_or_default();
    let read = form.leaves(&value);
    for leaf in read.iter().filter(|leaf| leaf.quantity.as_ref().is_some_and(|one| one.has_spread())) {
        work.note(format!(
            "The tolerance or limits of `{}` play no part: the nominal was taken.",
            leaf.route
        ));
    }
    let caution =
        [T::CAUTION, CAUTION].iter().filter(|words| !words.is_empty()).copied().collect::<Vec<_>>().join(" ");
    Ok(Answer {
        topic: T::NAME,
        about: T::ABOUT,
        inputs: form.in_si(&value),
        read,
        work,
        source: T::SOURCE,
        caution,
    })
}

#[cfg(test)]
mod tests;
