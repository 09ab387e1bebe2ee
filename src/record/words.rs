//! Small shapes that records are made of: text, days, one or many, a figure or where it comes from.

use super::ShowingRef;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{Error, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;

/// Words as written: trimmed, inner blanks single, case kept.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Text(String);

impl Text {
    /// Returns the words.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl From<&str> for Text {
    fn from(text: &str) -> Self {
        Self(text.split_whitespace().collect::<Vec<_>>().join(" "))
    }
}

impl fmt::Display for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Text {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(Self::from(String::deserialize(deserializer)?.as_str()))
    }
}

impl Serialize for Text {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}

impl JsonSchema for Text {
    fn schema_name() -> Cow<'static, str> {
        "Text".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": ["string", "number", "boolean"], "description": "words" })
    }
}

/// A day of the calendar, `2026-03-14`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(pub jiff::civil::Date);

impl Day {
    /// Reads `2026-03-14`.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let shaped = text.len() == 10 && text.bytes().filter(|b| *b == b'-').count() == 2;
        text.parse()
            .ok()
            .filter(|_| shaped)
            .map(Self)
            .ok_or_else(|| format!("`{text}` is no day: write year-month-day, for example `2026-03-14`"))
    }

    /// Returns whether the day has come for somebody: where the clock says `today`, it may be a day later elsewhere.
    pub fn has_come(self, today: Self) -> bool {
        self.0 <= today.0 || today.0.tomorrow().is_ok_and(|tomorrow| self.0 == tomorrow)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0.to_string())
    }
}

impl JsonSchema for Day {
    fn schema_name() -> Cow<'static, str> {
        "Day".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "format": "date", "description": "a day: year-month-day", "examples": ["2026-03-14"] })
    }
}

/// A single entry or a list of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OneOrMany<T>(pub Vec<T>);

impl<T> Default for OneOrMany<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T> OneOrMany<T> {
    /// Returns the entries.
    pub fn iter(&self) -> std::slice::Iter<'_, T> {
        self.0.iter()
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for OneOrMany<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct V<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for V<T> {
            type Value = OneOrMany<T>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("one entry or a list of them")
            }
            fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
                T::deserialize(serde::de::value::StrDeserializer::new(text)).map(|one| OneOrMany(vec![one]))
            }
            fn visit_bool<E: Error>(self, value: bool) -> Result<Self::Value, E> {
                self.visit_str(if value { "true" } else { "false" })
            }
            fn visit_u64<E: Error>(self, value: u64) -> Result<Self::Value, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_i64<E: Error>(self, value: i64) -> Result<Self::Value, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_f64<E: Error>(self, value: f64) -> Result<Self::Value, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_unit<E: Error>(self) -> Result<Self::Value, E> {
                Ok(OneOrMany(Vec::new()))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
                let mut all = Vec::new();
                while let Some(one) = seq.next_element()? {
                    all.push(one);
                }
                Ok(OneOrMany(all))
            }
        }
        deserializer.deserialize_any(V(PhantomData))
    }
}

impl<T: Serialize> Serialize for OneOrMany<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.0.as_slice() {
            [one] => one.serialize(serializer),
            many => many.serialize(serializer),
        }
    }
}

impl<T: JsonSchema> JsonSchema for OneOrMany<T> {
    fn schema_name() -> Cow<'static, str> {
        format!("OneOrMany{}", T::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let one = generator.subschema_for::<T>();
        json_schema!({ "anyOf": [one, { "type": "array", "items": one }] })
    }
}

/// A figure, or `{from: showing/ID}`: the design value that the showing's evidence supports now.
///
/// `{from: [showing/ID, ...]}` names one showing an environment; margins are worked out for each.
#[derive(Debug, Clone, PartialEq)]
pub enum Sourced<T> {
    /// Typed in.
    Value(T),
    /// From a showing's evidence.
    From(OneOrMany<ShowingRef>),
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Sourced<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct V<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for V<T> {
            type Value = Sourced<T>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a quantity or `{from: showing/ID}`")
            }
            fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
                T::deserialize(serde::de::value::StrDeserializer::new(text)).map(Sourced::Value)
            }
            fn visit_u64<E: Error>(self, value: u64) -> Result<Self::Value, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_i64<E: Error>(self, value: i64) -> Result<Self::Value, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_f64<E: Error>(self, value: f64) -> Result<Self::Value, E> {
                self.visit_str(&value.to_string())
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut from = None;
                while let Some(key) = map.next_key::<String>()? {
                    if key != "from" {
                        return Err(A::Error::unknown_field(&key, &["from"]));
                    }
                    if from.is_some() {
                        return Err(A::Error::duplicate_field("from"));
                    }
                    from = Some(map.next_value()?);
                }
                let from: OneOrMany<ShowingRef> = from.ok_or_else(|| A::Error::missing_field("from"))?;
                if from.0.is_empty() {
                    return Err(A::Error::invalid_length(0, &"at least one showing"));
                }
                Ok(Sourced::From(from))
            }
        }
        deserializer.deserialize_any(V(PhantomData))
    }
}

impl<T: Serialize> Serialize for Sourced<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Sourced::Value(value) => value.serialize(serializer),
            Sourced::From(showing) => {
                std::collections::BTreeMap::from([("from", showing)]).serialize(serializer)
            }
        }
    }
}

impl<T: JsonSchema> JsonSchema for Sourced<T> {
    fn schema_name() -> Cow<'static, str> {
        format!("Sourced{}", T::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<T>();
        let showing = generator.subschema_for::<OneOrMany<ShowingRef>>();
        json_schema!({ "anyOf": [value, {
            "type": "object",
            "properties": { "from": showing },
            "required": ["from"],
            "additionalProperties": false
        }]})
    }
}

/// A value of any shape, kept as it was read.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[serde(transparent)]
pub struct Free(pub serde_yaml::Value);

impl JsonSchema for Free {
    fn schema_name() -> Cow<'static, str> {
        "Free".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "description": "a value of any shape" })
    }
}
