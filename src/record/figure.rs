//! A number with a unit of whatever kind: criteria and results, whose kind the test decides.

use crate::quantity::{Decimal, Kind, Quantity};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;

/// A number with its unit as written; dimensionless where none was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    text: String,
    number: f64,
    unit: String,
}

/// Kinds that a result may be measured in, tried in this order.
const KINDS: [Kind; 19] = [
    Kind::Stress,
    Kind::Temperature,
    Kind::Fraction,
    Kind::Length,
    Kind::ArealMass,
    Kind::Density,
    Kind::LineForce,
    Kind::Force,
    Kind::Moment,
    Kind::Rigidity,
    Kind::Mass,
    Kind::Duration,
    Kind::Strain,
    Kind::Expansion,
    Kind::Diffusivity,
    Kind::Area,
    Kind::LinearMass,
    Kind::MassMoment,
    Kind::Angle,
];

impl Figure {
    /// Reads `520 MPa`, `4.5`, `95 degC`.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let split = text.find(|c: char| c.is_whitespace() || c == '%').unwrap_or(text.len());
        let (number, unit) = text.split_at(split);
        let unit = unit.trim();
        let value = Decimal::parse(number).ok_or_else(|| {
            format!("`{text}` is no figure: write a number and its unit, for example `520 MPa`")
        })?;
        if !unit.is_empty() && Self::kind_of(unit).is_none() {
            return Err(format!("`{unit}` is no unit: write for example `520 MPa`, `95 degC` or `38 %`"));
        }
        Ok(Self { text: text.to_string(), number: value.to_f64(), unit: unit.to_string() })
    }

    /// Returns a figure made from a number and a unit that is known to be one.
    pub fn of(number: f64, unit: &str) -> Self {
        Self { text: format!("{number} {unit}").trim().to_string(), number, unit: unit.to_string() }
    }

    fn kind_of(unit: &str) -> Option<Kind> {
        KINDS.into_iter().find(|kind| Quantity::parse(*kind, &format!("1 {unit}")).is_ok())
    }

    /// Returns the text as written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Returns the number in its own unit.
    pub fn number(&self) -> f64 {
        self.number
    }

    /// Returns the unit as written; empty where none was.
    pub fn unit(&self) -> &str {
        &self.unit
    }

    /// Returns the number in `unit`; `None` where the two measure different things.
    pub fn number_in(&self, unit: &str) -> Option<f64> {
        if unit == self.unit {
            return Some(self.number);
        }
        exact_in(&format!("{} {}", self.number, self.unit), unit).map(|value| value.to_f64())
    }
}

/// Returns a quantity of whatever kind in a unit; `None` where it has no number or is of another kind.
pub fn exact_in(text: &str, unit: &str) -> Option<Decimal> {
    KINDS.into_iter().find_map(|kind| Quantity::parse(kind, text).ok()?.exact_in(unit))
}

impl<'de> Deserialize<'de> for Figure {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text)
    }
}

impl JsonSchema for Figure {
    fn schema_name() -> Cow<'static, str> {
        "Figure".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": ["string", "number"], "description": "a number with the unit that the test reports in; a rating or ratio takes none", "examples": ["520 MPa", "95 degC", "4"] })
    }
}
