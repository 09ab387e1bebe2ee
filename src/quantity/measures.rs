//! One type per kind of quantity, so that a record says in its types what it expects.

use super::{Kind, Quantity, accepted_units};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::ops::Deref;

macro_rules! measures {
    ($($(#[$doc:meta])* $name:ident: $kind:ident, $example:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $name(Quantity);

        impl $name {
            /// The kind that this type reads.
            pub const KIND: Kind = Kind::$kind;

            /// Reads the text.
            ///
            /// # Errors
            /// [`super::QuantityError`] names what is wrong and how to write it instead.
            pub fn parse(text: &str) -> Result<Self, super::QuantityError> {
                Quantity::parse(Kind::$kind, text).map(Self)
            }
        }

        impl Deref for $name {
            type Target = Quantity;
            fn deref(&self) -> &Quantity {
                &self.0
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = String::deserialize(deserializer)?;
                Self::parse(&text).map_err(serde::de::Error::custom)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.text())
            }
        }

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                schema(Kind::$kind, $example)
            }
        }
    )*

        /// Returns the kind that the type called `name` reads, as the schemas name it.
        pub fn kind_by_type_name(name: &str) -> Option<Kind> {
            match name {
                $(stringify!($name) => Some(Kind::$kind),)*
                _ => None,
            }
        }
    };
}

measures! {
    /// A share of the whole: `38 %` or `0.38`.
    Fraction: Fraction, "38 % +/- 2 %";
    /// A length.
    Length: Length, "0.22 mm";
    /// An area.
    Area: Area, "0.82 m2";
    /// A mass.
    Mass: Mass, "41 kg";
    /// Mass per length.
    LinearMass: LinearMass, "85 g/m";
    /// Mass per area.
    ArealMass: ArealMass, "200 g/m2 +/- 4 %";
    /// Mass per volume.
    Density: Density, "52 kg/m3";
    /// Stress, modulus or pressure.
    Stress: Stress, "520 MPa";
    /// A temperature on the scale.
    Temperature: Temperature, "120 degC";
    /// A difference of temperatures.
    TemperatureDifference: TemperatureDifference, "28 K";
    /// Kelvin per time.
    HeatingRate: HeatingRate, "2 K/min";
    /// A span of time.
    Duration: Duration, "90 min";
    /// Speed of wind.
    Speed: Speed, "2 m/s";
    /// Solar irradiance.
    Irradiance: Irradiance, "1120 W/m2";
    /// An angle; a bare number is degrees.
    Angle: Angle, "45";
    /// Force per length of edge.
    LineForce: LineForce, "12 N/mm";
    /// A force, or a moment per length of edge.
    Force: Force, "450 N";
    /// Moment of a force: a torque or a bending moment of a section.
    Moment: Moment, "60 N m";
    /// Stiffness of a section, EI or GJ.
    Rigidity: Rigidity, "450 N m2";
    /// Moment of a mass about an axis.
    MassMoment: MassMoment, "0.02 kg m";
    /// Coefficient of thermal expansion.
    Expansion: Expansion, "3e-6 1/K";
    /// Moisture diffusivity.
    Diffusivity: Diffusivity, "3e-7 mm2/s";
    /// Engineering strain.
    Strain: Strain, "4000 ustrain";
    /// A bare ratio.
    Ratio: Ratio, "0.3";
}

fn schema(kind: Kind, example: &str) -> Schema {
    let units = accepted_units(kind);
    let description = if units.is_empty() {
        "a number without a unit".to_string()
    } else if kind.takes_bare_numbers() {
        format!("{}: a bare number, or a number with one of {}", kind.name(), units.join(", "))
    } else {
        format!(
            "{}: a number with one of {} or another unit of that kind, with an optional tolerance (`+/- 4 %`) or limits (`(45 .. 80 {})`)",
            kind.name(),
            units.join(", "),
            units.first().copied().unwrap_or_default()
        )
    };
    if kind.takes_bare_numbers() {
        json_schema!({ "type": ["string", "number"], "description": description, "examples": [example] })
    } else {
        json_schema!({ "type": "string", "description": description, "examples": [example], "pattern": "^\\s*[-+]?[0-9.]" })
    }
}

/// What one price is for, with the size of that unit in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Per {
    /// One piece, or the sum as it stands.
    Each,
    /// So many kg.
    Mass(f64),
    /// So many m.
    Length(f64),
    /// So many m2.
    Area(f64),
    /// So many m3.
    Volume(f64),
    /// So many s.
    Time(f64),
}

impl Per {
    /// Units that a price may be for, for messages.
    pub const ACCEPTED: &'static str = "kg, m2, m, l, m3, h or each";

    fn parse(text: &str) -> Option<Self> {
        match text {
            "each" | "piece" => return Some(Per::Each),
            "l" | "L" | "litre" => return Some(Per::Volume(1e-3)),
            "m3" => return Some(Per::Volume(1.0)),
            _ => {}
        }
        let one = |kind| Quantity::parse(kind, &format!("1 {text}")).ok().map(|unit| unit.si());
        one(Kind::Area)
            .map(Per::Area)
            .or_else(|| one(Kind::Mass).map(Per::Mass))
            .or_else(|| one(Kind::Length).map(Per::Length))
            .or_else(|| one(Kind::Duration).map(Per::Time))
    }

    /// Returns the words for it.
    pub fn word(self) -> &'static str {
        match self {
            Per::Each => "each",
            Per::Mass(_) => "mass",
            Per::Length(_) => "length",
            Per::Area(_) => "area",
            Per::Volume(_) => "volume",
            Per::Time(_) => "time",
        }
    }
}

/// A sum of money with its currency: `180 EUR`, or a price `12 EUR/m2`.
#[derive(Debug, Clone, PartialEq)]
pub struct Money {
    text: String,
    amount: f64,
    currency: String,
    per: Per,
}

impl Money {
    /// Reads `180 EUR` or `12 EUR/m2`.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let bad = || {
            format!(
                "`{text}` is no sum of money: write a number and a three-letter currency, for example `180 EUR`; a price by a unit names it, as in `38 EUR/m2`"
            )
        };
        let text = text.trim();
        let (number, rest) = text.split_once(' ').ok_or_else(bad)?;
        let amount: f64 = number.parse().map_err(|_| bad())?;
        let (currency, per) = match rest.trim().split_once('/') {
            Some((currency, per)) => {
                let per = per.trim();
                let known = Per::parse(per).ok_or_else(|| {
                    format!(
                        "`{text}` is a price for one `{per}`, which is no unit: a price is for {}",
                        Per::ACCEPTED
                    )
                })?;
                (currency.trim(), known)
            }
            None => (rest.trim(), Per::Each),
        };
        if !amount.is_finite() || currency.len() != 3 || !currency.bytes().all(|b| b.is_ascii_uppercase()) {
            return Err(bad());
        }
        Ok(Self { text: text.to_string(), amount, currency: currency.to_string(), per })
    }

    /// Returns the figure in its own currency.
    pub fn amount(&self) -> f64 {
        self.amount
    }

    /// Returns the currency's three letters.
    pub fn currency(&self) -> &str {
        &self.currency
    }

    /// Returns what the price is for.
    pub fn per(&self) -> Per {
        self.per
    }

    /// Returns the text as written.
    pub fn text(&self) -> &str {
        &self.text
    }
}

impl<'de> Deserialize<'de> for Money {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

impl Serialize for Money {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text)
    }
}

impl JsonSchema for Money {
    fn schema_name() -> Cow<'static, str> {
        "Money".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "description": "a sum of money: a number and a three-letter currency, optionally per unit", "examples": ["180 EUR", "12 EUR/m2"], "pattern": "^\\s*-?[0-9.]+ [A-Z]{3}" })
    }
}
