//! The form of a text that is no record but is written like one: what may stand where, and what was read.

use super::schema;
use super::shape::{self, Shape};
use super::walk::expected;
use crate::quantity::Quantity;
use serde_json::{Map, Value, json};

/// What may stand where in a text, from the type that it is read into.
#[derive(Debug, Clone)]
pub struct Form(Shape);

/// One value that was read: a figure or a word.
#[derive(Debug, Clone, PartialEq)]
pub struct Leaf {
    /// Where: `layers.2.thickness`, list places counted from 1.
    pub route: String,
    /// As written.
    pub text: String,
    /// Read, where it is a quantity.
    pub quantity: Option<Quantity>,
}

/// One key that may stand at the top.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyForm {
    /// The key.
    pub key: String,
    /// Whether it must be there.
    pub needed: bool,
    /// What is expected behind it, in words.
    pub expects: String,
}

impl Form {
    /// Returns the form of a type, called `name` in messages, without article.
    pub fn of<T: schemars::JsonSchema>(name: &str) -> Self {
        Self(shape::of_schema(&schema::root::<T>(), name))
    }

    pub(super) fn shape(&self) -> &Shape {
        &self.0
    }

    /// Returns the keys at the top, in the order of the type.
    pub fn keys(&self) -> Vec<KeyForm> {
        let Shape::Part(part) = &self.0 else { return Vec::new() };
        let one = |field: &shape::Field| KeyForm {
            key: field.key.clone(),
            needed: field.required,
            expects: expected(&field.shape),
        };
        part.fields.iter().map(one).collect()
    }

    /// Returns every figure and word of `value`, which was written from the type of this form.
    pub fn leaves(&self, value: &Value) -> Vec<Leaf> {
        let mut found = Vec::new();
        leaves(&self.0, value, "", &mut found);
        found
    }

    /// Returns `value` with every quantity as an object of its text, its value in SI and that unit.
    pub fn in_si(&self, value: &Value) -> Value {
        in_si(&self.0, value)
    }
}

/// What is expected of an entry of `shape`.
fn below<'s>(shape: &'s Shape, key: &str) -> &'s Shape {
    static ANY: Shape = Shape::Any;
    match shape {
        Shape::Part(part) => {
            part.fields.iter().find(|field| field.key == key).map_or(&ANY, |field| &field.shape)
        }
        Shape::Map(values) => values,
        Shape::List { item, .. } => item,
        _ => &ANY,
    }
}

fn written(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

fn quantity(shape: &Shape, value: &Value) -> Option<Quantity> {
    match shape {
        Shape::Quantity(kind) => Quantity::parse(*kind, &written(value)).ok(),
        _ => None,
    }
}

fn leaves(shape: &Shape, value: &Value, route: &str, found: &mut Vec<Leaf>) {
    let at = |key: &str| if route.is_empty() { key.to_string() } else { format!("{route}.{key}") };
    match value {
        Value::Null => {}
        Value::Object(entries) => {
            entries.iter().for_each(|(key, value)| leaves(below(shape, key), value, &at(key), found));
        }
        Value::Array(items) => {
            for (place, item) in items.iter().enumerate() {
                leaves(below(shape, ""), item, &at(&(place + 1).to_string()), found);
            }
        }
        scalar => found.push(Leaf {
            route: route.to_string(),
            text: written(scalar),
            quantity: quantity(shape, scalar),
        }),
    }
}

fn in_si(shape: &Shape, value: &Value) -> Value {
    match value {
        Value::Object(entries) => {
            let one = |(key, value): (&String, &Value)| (key.clone(), in_si(below(shape, key), value));
            Value::Object(entries.iter().map(one).collect::<Map<String, Value>>())
        }
        Value::Array(items) => items.iter().map(|item| in_si(below(shape, ""), item)).collect(),
        scalar => match quantity(shape, scalar) {
            Some(read) => {
                json!({ "written": read.text(), "value": read.si(), "unit": read.kind().si_unit() })
            }
            None => scalar.clone(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Angle, Length};

    #[derive(serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
    struct Layer {
        thickness: Length,
        angle: Option<Angle>,
    }

    #[derive(serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
    struct Stack {
        layers: Vec<Layer>,
        note: Option<String>,
    }

    #[test]
    fn figures_are_found_wherever_they_stand() {
        let form = Form::of::<Stack>("stack");
        let stack: Stack =
            serde_yaml::from_str("{layers: [{thickness: 0.2 mm, angle: 45}, {thickness: 8 mm}], note: x}")
                .unwrap();
        let value = serde_json::to_value(&stack).unwrap();
        let found = form.leaves(&value);
        let told: Vec<(&str, &str)> =
            found.iter().map(|leaf| (leaf.route.as_str(), leaf.text.as_str())).collect();
        assert_eq!(
            told,
            [
                ("layers.1.thickness", "0.2 mm"),
                ("layers.1.angle", "45"),
                ("layers.2.thickness", "8 mm"),
                ("note", "x")
            ]
        );
        assert!((found[1].quantity.as_ref().unwrap().si() - 45f64.to_radians()).abs() < 1e-15);
        assert_eq!(found[3].quantity, None);
        let si = form.in_si(&value);
        assert_eq!(si["layers"][1]["thickness"], json!({ "written": "8 mm", "value": 0.008, "unit": "m" }));
        let keys = form.keys();
        assert_eq!((keys[0].key.as_str(), keys[0].needed, keys[1].needed), ("layers", true, false));
    }
}
