//! What may stand where in a record, compiled from the schema of its type.

use super::{RecordKind, reference_kind_by_type_name, schema};
use crate::quantity::{Kind, kind_by_type_name};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// What is expected at one place.
#[derive(Debug, Clone)]
pub(crate) enum Shape {
    /// Anything.
    Any,
    /// Any scalar, as words.
    Words,
    /// A whole number, zero or more.
    Whole,
    /// A number.
    Number,
    /// `true` or `false`.
    Truth,
    /// One of these words.
    OneOf(Vec<String>),
    /// A quantity.
    Quantity(Kind),
    /// A reference to a record.
    Reference(RecordKind),
    /// A number with a unit of whatever kind.
    Figure,
    /// A day.
    Day,
    /// Hours in a cabinet or months outdoors.
    Exposed,
    /// A sum of money.
    Money,
    /// How far a value may lie from the conformed one.
    Distance,
    /// A limit beside the conformed one.
    Bound,
    /// A list, of a fixed length where one is given.
    List { item: Box<Shape>, exactly: Option<u64> },
    /// A map keyed by users' words.
    Map(Box<Shape>),
    /// A part with known keys.
    Part(Part),
    /// Any of these; they differ in form.
    Either(Vec<Shape>),
}

/// A map with known keys.
#[derive(Debug, Clone)]
pub(crate) struct Part {
    /// What it is called in messages, without article.
    pub(crate) name: String,
    /// Its keys in the order of the type.
    pub(crate) fields: Vec<Field>,
}

/// One known key.
#[derive(Debug, Clone)]
pub(crate) struct Field {
    pub(crate) key: String,
    pub(crate) shape: Shape,
    pub(crate) required: bool,
    /// Whether nothing behind the colon counts as absent.
    pub(crate) nullable: bool,
    /// How a value may look.
    pub(crate) example: Option<String>,
}

/// Returns what a record of `kind` looks like.
pub(crate) fn of(kind: RecordKind) -> &'static Shape {
    static SHAPES: OnceLock<BTreeMap<RecordKind, Shape>> = OnceLock::new();
    static ANY: Shape = Shape::Any;
    let shapes = SHAPES.get_or_init(|| {
        std::iter::once(RecordKind::Ledger)
            .chain(RecordKind::ALL.iter().copied())
            .map(|kind| {
                let schema = schema::of(kind);
                let name = match kind {
                    RecordKind::Ledger => "`ledger.yaml`".to_string(),
                    RecordKind::Evidence => "evidence record".to_string(),
                    kind => kind.word().to_string(),
                };
                (kind, compile(&schema, &schema, &name))
            })
            .collect()
    });
    shapes.get(&kind).unwrap_or(&ANY)
}

/// Returns what is expected at a route of a record of `kind`; list places may be names or numbers.
pub(crate) fn at(kind: RecordKind, route: &str) -> Option<&'static Shape> {
    route.split('.').try_fold(of(kind), step)
}

fn step(shape: &'static Shape, part: &str) -> Option<&'static Shape> {
    match shape {
        Shape::Part(own) => own.fields.iter().find(|field| field.key == part).map(|field| &field.shape),
        Shape::List { item, .. } => Some(item),
        Shape::Map(inner) => Some(inner),
        Shape::Either(all) => all.iter().find_map(|one| step(one, part)),
        _ => None,
    }
}

/// Returns what a text looks like that is described by `schema` and called `name` in messages.
pub(crate) fn of_schema(schema: &Value, name: &str) -> Shape {
    compile(schema, schema, name)
}

/// Types are not recursive, so references are simply followed.
fn compile(schema: &Value, root: &Value, name: &str) -> Shape {
    if let Some(type_name) = reference(schema) {
        if let Some(kind) = kind_by_type_name(type_name) {
            return Shape::Quantity(kind);
        }
        if let Some(kind) = reference_kind_by_type_name(type_name) {
            return Shape::Reference(kind);
        }
        return match (type_name, definition(root, type_name)) {
            ("Figure", _) => Shape::Figure,
            ("Day", _) => Shape::Day,
            ("Exposed", _) => Shape::Exposed,
            ("Money", _) => Shape::Money,
            ("Distance", _) => Shape::Distance,
            ("Bound", _) => Shape::Bound,
            ("Text", _) => Shape::Words,
            (_, Some(definition)) => compile(definition, root, &spoken(type_name)),
            (_, None) => Shape::Any,
        };
    }
    let words = words(schema);
    if !words.is_empty() {
        return Shape::OneOf(words);
    }
    if let Some(options) = schema.get("anyOf").and_then(Value::as_array) {
        let mut shapes: Vec<Shape> = options
            .iter()
            .filter(|option| !is_null(option))
            .map(|option| compile(option, root, name))
            .collect();
        return match shapes.pop() {
            Some(only) if shapes.is_empty() => only,
            Some(last) => {
                shapes.push(last);
                Shape::Either(shapes)
            }
            None => Shape::Any,
        };
    }
    let types = types(schema);
    if types.contains(&"object") {
        return match (schema.get("properties"), schema.get("additionalProperties")) {
            (Some(properties), _) => Shape::Part(part(schema, properties, root, name)),
            (None, Some(values @ Value::Object(_))) => Shape::Map(Box::new(compile(values, root, name))),
            _ => Shape::Map(Box::new(Shape::Any)),
        };
    }
    if types.contains(&"array") {
        let item = schema.get("items").map_or(Shape::Any, |item| compile(item, root, name));
        let (least, most) = (schema.get("minItems"), schema.get("maxItems"));
        let exactly = least.and_then(Value::as_u64).filter(|_| least == most);
        return Shape::List { item: Box::new(item), exactly };
    }
    match types.first() {
        Some(&"integer") => Shape::Whole,
        Some(&"number") => Shape::Number,
        Some(&"boolean") => Shape::Truth,
        Some(&"string") => Shape::Words,
        _ => Shape::Any,
    }
}

fn part(schema: &Value, properties: &Value, root: &Value, name: &str) -> Part {
    let required: Vec<&str> = schema
        .get("required")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .collect();
    let fields = properties
        .as_object()
        .into_iter()
        .flatten()
        .map(|(key, schema)| {
            let target = target(schema, root);
            // One entry or many: none where nothing is written, as its type reads it.
            let nullable = types(schema).contains(&"null")
                || reference(schema).is_some_and(|name| name.starts_with("OneOrMany"))
                || schema.get("anyOf").and_then(Value::as_array).is_some_and(|all| all.iter().any(is_null));
            let example = target.get("examples").and_then(|all| all.get(0)).map(|example| match example {
                Value::String(text) => text.clone(),
                other => other.to_string(),
            });
            Field {
                key: key.clone(),
                shape: compile(schema, root, name),
                required: required.contains(&key.as_str()),
                nullable,
                example,
            }
        })
        .collect();
    Part { name: name.to_string(), fields }
}

fn reference(schema: &Value) -> Option<&str> {
    schema.get("$ref")?.as_str()?.strip_prefix("#/$defs/")
}

fn definition<'s>(root: &'s Value, name: &str) -> Option<&'s Value> {
    root.get("$defs")?.get(name)
}

/// The definition behind a reference, directly or as the only choice besides nothing.
fn target<'s>(schema: &'s Value, root: &'s Value) -> &'s Value {
    let choice = schema.get("anyOf").and_then(|all| all.get(0)).unwrap_or(schema);
    reference(choice).and_then(|name| definition(root, name)).unwrap_or(schema)
}

fn types(schema: &Value) -> Vec<&str> {
    match schema.get("type") {
        Some(Value::String(one)) => vec![one.as_str()],
        Some(Value::Array(many)) => many.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    }
}

fn is_null(schema: &Value) -> bool {
    types(schema) == ["null"]
}

fn words(schema: &Value) -> Vec<String> {
    let text = |value: &Value| value.as_str().map(str::to_string);
    if let Some(one) = schema.get("const").and_then(text) {
        return vec![one];
    }
    if let Some(all) = schema.get("enum").and_then(Value::as_array) {
        return all.iter().filter_map(text).collect();
    }
    schema.get("oneOf").and_then(Value::as_array).into_iter().flatten().flat_map(words).collect()
}

/// Turns `CureSegment` into `cure segment`.
fn spoken(type_name: &str) -> String {
    match type_name {
        "PrepregResin" | "RecipeResin" => return "resin".to_string(),
        "ZoneSheet" => return "sheet".to_string(),
        "Elastic" => return "lamina".to_string(),
        "SectionShape" => return "section".to_string(),
        "Pulls" | "Holes" | "Rates" | "Approvals" | "Growth" | "Climate" | "Conformed" | "Tested"
        | "Exposure" | "Covers" | "Statistics" => {
            return format!("`{}`", type_name.to_lowercase());
        }
        "Keep" | "Goal" | "Limits" => return format!("`{}`", type_name.to_lowercase()),
        "AsBuilt" => return "`as_built`".to_string(),
        "DesignStrain" => return "`design_strain`".to_string(),
        "AppliesTo" => return "`applies_to`".to_string(),
        "Accept" => return "criterion".to_string(),
        "Covered" => return "covered attribute".to_string(),
        _ => {}
    }
    let mut words = String::new();
    for letter in type_name.chars() {
        if letter.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.extend(letter.to_lowercase());
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn anys(shape: &Shape, at: &str, found: &mut Vec<String>) {
        match shape {
            Shape::Any => found.push(at.to_string()),
            Shape::List { item, .. } => anys(item, at, found),
            Shape::Map(value) => anys(value, at, found),
            Shape::Part(part) => {
                for field in &part.fields {
                    anys(&field.shape, &format!("{at}.{}", field.key), found);
                }
            }
            Shape::Either(all) => all.iter().for_each(|one| anys(one, at, found)),
            _ => {}
        }
    }

    #[test]
    fn only_what_is_free_on_purpose_is_anything() {
        let mut found = Vec::new();
        for kind in RecordKind::ALL {
            anys(of(*kind), kind.word(), &mut found);
        }
        anys(of(RecordKind::Ledger), "ledger", &mut found);
        assert_eq!(
            found,
            [
                "decision.options",
                "decision.changes.was",
                "decision.changes.to",
                "decision.changes.after",
                "decision.changes.entry",
                "decision.changes.between",
                "decision.changes.record",
                "study.vary.among",
            ]
        );
    }
}
