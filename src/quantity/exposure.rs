//! How long a panel was exposed: hours in a cabinet or months outdoors, two kinds that never convert.

use super::Decimal;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;

/// Days of a month, or of a part of one: 365.25/12.
pub const MONTH_DAYS: f64 = 30.4375;

/// By so much of its exposure a reading may come early: common practice, no source.
pub const EARLY: f64 = 0.05;

/// What exposure is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ExposureUnit {
    /// Hours in a cabinet.
    Hours,
    /// Months of the calendar.
    Months,
}

impl ExposureUnit {
    /// Returns the unit as it is written.
    pub fn word(self) -> &'static str {
        match self {
            Self::Hours => "h",
            Self::Months => "months",
        }
    }

    /// Returns the unit as it is said.
    pub fn long(self) -> &'static str {
        match self {
            Self::Hours => "hours",
            Self::Months => "months",
        }
    }
}

/// An exposure: `500 h` or `3 months`. Nothing turns the one into the other: what an hour in a cabinet is worth
/// outdoors is not known, and two exposures in different units have no order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exposed {
    /// How many; finite, 0 or more.
    pub number: f64,
    /// Of what.
    pub unit: ExposureUnit,
}

impl Exposed {
    /// Reads `500 h`, `1 month` or `3 months`.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let bad = || format!("`{text}` is no exposure: write hours as `500 h` or months as `3 months`");
        let (number, unit) = text.split_once(char::is_whitespace).ok_or_else(bad)?;
        let number = Decimal::parse(number).map(|number| number.to_f64()).filter(|number| *number >= 0.0);
        let number = number.ok_or_else(bad)?;
        match unit.trim() {
            "h" | "hours" | "hour" => Ok(Self { number, unit: ExposureUnit::Hours }),
            "months" | "month" => Ok(Self { number, unit: ExposureUnit::Months }),
            _ => Err(bad()),
        }
    }
}

impl fmt::Display for Exposed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let one = self.number == 1.0 && self.unit == ExposureUnit::Months;
        write!(f, "{} {}", self.number, if one { "month" } else { self.unit.word() })
    }
}

impl<'de> Deserialize<'de> for Exposed {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(deserializer)?).map_err(serde::de::Error::custom)
    }
}

impl Serialize for Exposed {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl JsonSchema for Exposed {
    fn schema_name() -> Cow<'static, str> {
        "Exposed".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "description": "an exposure: hours in a cabinet or months outdoors; neither becomes the other", "examples": ["500 h", "3 months"], "pattern": "^\\s*[0-9.]+\\s+(h|hours?|months?)\\s*$" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_and_months_are_read_and_nothing_else() {
        let (hours, months) = (Exposed::parse("500 h").unwrap(), Exposed::parse("3 months").unwrap());
        assert_eq!((hours.number, hours.unit), (500.0, ExposureUnit::Hours));
        assert_eq!((months.number, months.unit), (3.0, ExposureUnit::Months));
        assert_eq!(Exposed::parse("1 month").unwrap().to_string(), "1 month");
        assert_eq!(hours.to_string(), "500 h");
        for text in ["", "3", "3 years", "3 weeks", "-1 h", "x months", "2 d", "h 500"] {
            assert!(Exposed::parse(text).is_err(), "{text}");
        }
    }
}
