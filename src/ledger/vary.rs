//! What a study may vary: places that are there, and the values to try at each.

use super::Ledger;
use super::words::suggest;
use crate::quantity::{Decimal, Kind, Quantity};
use crate::record::shape::{self, Shape};
use crate::record::{Address, MaterialKind, RecordKind, Vary};
use serde_json::Value;

/// More steps than this in one range are a slip of the unit.
const MOST_STEPS: usize = 200;

/// One place that a variation changes.
#[derive(Debug, Clone, PartialEq)]
pub struct VariedPlace {
    /// The record.
    pub address: Address,
    /// The route, list places as numbers.
    pub route: String,
    /// What stands there, in the words that the record has.
    pub is: Value,
}

/// One thing that may stand at all places of a variation.
#[derive(Debug, Clone, PartialEq)]
pub enum VariedTo {
    /// What stands there stays.
    AsItIs,
    /// This value.
    Value(Value),
    /// Nothing: the entry is left out.
    Dropped,
}

/// A variation, looked up in the ledger.
#[derive(Debug, Clone, PartialEq)]
pub struct Varied {
    /// The places, in the order written.
    pub places: Vec<VariedPlace>,
    /// What may stand there; the first is what stands there now.
    pub options: Vec<VariedTo>,
}

/// Why a variation can't be tried.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VaryFault {
    /// The key of the variation, such as `from` or `among.2`; empty for the whole.
    pub key: String,
    /// What is wrong.
    pub message: String,
    /// What is marked.
    pub label: &'static str,
    /// How to mend it.
    pub help: String,
}

impl VaryFault {
    fn new(key: impl Into<String>, message: String, label: &'static str, help: impl Into<String>) -> Self {
        Self { key: key.into(), message, label, help: help.into() }
    }
}

/// Looks a variation up: its places, and the values to try.
///
/// # Errors
/// [`VaryFault`] says which key is wrong and how to mend it.
pub fn varied(ledger: &Ledger, vary: &Vary) -> Result<Varied, VaryFault> {
    let mut places = Vec::new();
    for (at, text) in vary.attribute.iter().enumerate() {
        let key = match vary.attribute.0.len() {
            1 => "attribute".to_string(),
            _ => format!("attribute.{}", at + 1),
        };
        places.push(place(ledger, text.as_str(), key)?);
    }
    let Some(first) = places.first() else {
        let help = "write KIND/ID#ROUTE, for example `recipe/hatch-outer#layers.3.material`";
        return Err(VaryFault::new("attribute", "no place is named".to_string(), "no entries", help));
    };
    let kind = shape::at(first.address.kind(), &first.route);
    let mut options = vec![VariedTo::AsItIs];
    let mut add = |value: Value| {
        // What stands there is tried anyway.
        let stands = places.iter().all(|place| said(&place.is) == said(&value));
        let known = VariedTo::Value(value);
        if !stands && !options.contains(&known) {
            options.push(known);
        }
    };
    if vary.drop == Some(true) {
        for (at, place) in places.iter().enumerate() {
            if place.route.rsplit('.').next().is_none_or(|last| last.parse::<usize>().is_err()) {
                let key =
                    if places.len() == 1 { "attribute".to_string() } else { format!("attribute.{}", at + 1) };
                let message = format!(
                    "`{}#{}` is no entry of a list: only those can be dropped",
                    place.address, place.route
                );
                return Err(VaryFault::new(
                    key,
                    message,
                    "no entry",
                    "name the entry itself, for example `recipe/x#layers.4`",
                ));
            }
        }
        options.push(VariedTo::Dropped);
    } else if let (Some(from), Some(to)) = (&vary.from, &vary.to) {
        let step = vary.step.as_ref().map(crate::record::Text::as_str);
        for value in range(first, kind, from.as_str(), to.as_str(), step)? {
            add(value);
        }
    } else {
        for (at, value) in vary.among.iter().enumerate() {
            let value = serde_json::to_value(&value.0).unwrap_or(Value::Null);
            let unfit =
                |(message, help)| VaryFault::new(format!("among.{}", at + 1), message, "does not fit", help);
            fits(ledger, first, kind, &value).map_err(unfit)?;
            places.iter().try_for_each(|place| keeps_shape(ledger, place, &value)).map_err(unfit)?;
            add(value);
        }
    }
    Ok(Varied { places, options })
}

/// A value as people would compare it: `45` and `"45"` say the same.
fn said(value: &Value) -> String {
    match value {
        Value::String(text) => text.trim().to_string(),
        other => other.to_string(),
    }
}

fn place(ledger: &Ledger, text: &str, key: String) -> Result<VariedPlace, VaryFault> {
    let whole = "write KIND/ID#ROUTE, for example `recipe/hatch-outer#layers.3.material`";
    let (name, route) = text.split_once('#').ok_or_else(|| {
        VaryFault::new(key.clone(), format!("`{text}` names no place in a record"), "no place", whole)
    })?;
    let address = Address::parse(name.trim()).ok_or_else(|| {
        VaryFault::new(key.clone(), format!("`{text}` names no record"), "bad address", whole)
    })?;
    let Some(record) = tree_of(ledger, &address) else {
        let broken = ledger.broken.contains(&address);
        let message = match broken {
            true => format!("`{address}` cannot be read"),
            false => format!("there is no {} `{}`", address.kind(), address.id()),
        };
        let ids = ledger.ids(address.kind());
        let help = match broken {
            true => "mend its own faults first".to_string(),
            false => suggest(address.id(), ids.into_iter())
                .unwrap_or_else(|| format!("name a {} that there is", address.kind())),
        };
        return Err(VaryFault::new(key, message, "not there", help));
    };
    let (mut here, mut numbered): (&Value, Vec<String>) = (&record, Vec::new());
    for part in route.split('.') {
        let (found, name, known): (Option<&Value>, String, Vec<String>) = match here {
            Value::Array(entries) => {
                let at = match part.parse::<usize>() {
                    Ok(place) => place.checked_sub(1),
                    Err(_) => {
                        entries.iter().position(|entry| entry_name(entry).is_some_and(|name| name == part))
                    }
                };
                let known = entries.iter().filter_map(entry_name).collect();
                (
                    at.and_then(|at| entries.get(at)),
                    at.map_or(String::new(), |at| (at + 1).to_string()),
                    known,
                )
            }
            Value::Object(map) => {
                let known =
                    map.iter().filter(|(_, value)| !value.is_null()).map(|(key, _)| key.clone()).collect();
                (map.get(part).filter(|value| !value.is_null()), part.to_string(), known)
            }
            _ => (None, String::new(), Vec::new()),
        };
        let Some(found) = found else {
            let within = numbered.join(".");
            let within = if within.is_empty() { address.to_string() } else { format!("{address}#{within}") };
            let count = here.as_array().map(Vec::len);
            let message = match count {
                Some(count) if part.parse::<usize>().is_ok() => {
                    format!("`{within}` has {count} entries, and none is number {part}")
                }
                _ => format!("`{within}` has no `{part}`"),
            };
            let help =
                suggest(part, known.iter().map(String::as_str)).unwrap_or_else(|| match known.as_slice() {
                    [] => "name a place that there is".to_string(),
                    some => format!("there is {}", some.join(", ")),
                });
            return Err(VaryFault::new(key, message, "not there", help));
        };
        numbered.push(name);
        here = found;
    }
    Ok(VariedPlace { address, route: numbered.join("."), is: here.clone() })
}

/// How an entry of a list is called, where it is.
fn entry_name(entry: &Value) -> Option<String> {
    let name = ["id", "name"].into_iter().find_map(|key| entry.get(key).and_then(Value::as_str))?;
    Some(name.replace(' ', "-"))
}

/// Checks that a value may stand at a place.
fn fits(
    ledger: &Ledger,
    place: &VariedPlace,
    shape: Option<&Shape>,
    value: &Value,
) -> Result<(), (String, String)> {
    match shape {
        Some(Shape::Quantity(kind)) => match value {
            Value::String(_) | Value::Number(_) => Quantity::parse(*kind, &said(value))
                .map(|_| ())
                .map_err(|fault| (fault.to_string(), fault.help())),
            _ => Err((
                format!("`{}` takes a {}", place.route, kind.name()),
                format!("write for example `{}`", said(&place.is)),
            )),
        },
        Some(Shape::Reference(kind)) => {
            let text = said(value);
            let id = Address::parse(&text)
                .filter(|_| text.contains('/'))
                .map_or(text.clone(), |own| own.id().to_string());
            let ids = ledger.ids(*kind);
            if ids.contains(&id.as_str()) {
                return Ok(());
            }
            let help = suggest(&id, ids.into_iter());
            Err((
                format!("there is no {kind} `{id}`"),
                help.unwrap_or_else(|| {
                    format!("write `{}/{id}.yaml`, or name another {kind}", kind.folder())
                }),
            ))
        }
        Some(Shape::OneOf(words)) if !words.contains(&said(value)) => Err((
            format!("`{}` is none of its words", said(value)),
            format!("write one of {}", words.join(", ")),
        )),
        _ => Ok(()),
    }
}

/// Checks that a material may take another's place in a layer whose thickness stays: a core is as thick as the recipe
/// says, a mesh or a film never is.
fn keeps_shape(ledger: &Ledger, place: &VariedPlace, value: &Value) -> Result<(), (String, String)> {
    let Some(layer) = place.route.strip_suffix(".material").filter(|own| own.starts_with("layers.")) else {
        return Ok(());
    };
    if place.address.kind() != RecordKind::Recipe {
        return Ok(());
    }
    let text = said(value);
    let id = text.rsplit('/').next().unwrap_or(&text);
    let at = layer.rsplit('.').next().and_then(|at| at.parse::<usize>().ok()?.checked_sub(1));
    let recipe = ledger.recipes.get(place.address.id());
    let here = recipe.zip(at).and_then(|(recipe, at)| recipe.value.layers.get(at));
    let (Some(here), Some(material)) = (here, ledger.materials.get(id)) else { return Ok(()) };
    let whole = format!("{}#{layer}", place.address);
    match &here.thickness {
        Some(thickness) if !super::design::takes_thickness(&material.value) => Err((
            format!(
                "the {} `{id}` takes no thickness from a recipe, and `{whole}` has {}",
                material.value.kind,
                thickness.text()
            ),
            format!("vary the whole layer: `attribute: {whole}, among: [{{material: {id}}}]`"),
        )),
        None if material.value.kind == MaterialKind::Core => Err((
            format!("the core `{id}` needs a thickness, and `{whole}` has none"),
            format!(
                "vary the whole layer: `attribute: {whole}, among: [{{material: {id}, thickness: 6 mm}}]`"
            ),
        )),
        _ => Ok(()),
    }
}

/// The values from one to another, both among them, in the unit of the first.
fn range(
    place: &VariedPlace,
    shape: Option<&Shape>,
    from: &str,
    to: &str,
    step: Option<&str>,
) -> Result<Vec<Value>, VaryFault> {
    let stands = said(&place.is);
    let Some(Shape::Quantity(kind)) = shape else {
        let message =
            format!("`{}#{}` is no quantity: `{stands}` has nothing between", place.address, place.route);
        return Err(VaryFault::new("from", message, "no quantity", "list the values: `among: [..]`"));
    };
    let read = |key: &'static str, kind: Kind, text: &str| {
        Quantity::parse(kind, text)
            .map_err(|fault| VaryFault::new(key, fault.to_string(), "does not fit", fault.help()))
    };
    let (low, high) = (read("from", *kind, from)?, read("to", *kind, to)?);
    for (key, one) in [("from", &low), ("to", &high)] {
        if one.has_spread() {
            let message =
                format!("`{}` has a tolerance: a range keeps the one that stands there", one.text());
            return Err(VaryFault::new(key, message, "tolerance", "write the nominal alone"));
        }
    }
    let unit = unit_of(from);
    let number = |key: &'static str, one: &Quantity| -> Result<Decimal, VaryFault> {
        let bare = unit.is_empty().then(|| Decimal::parse(one.text().trim()));
        bare.unwrap_or_else(|| one.exact_in(&unit)).ok_or_else(|| {
            VaryFault::new(
                key,
                format!("`{}` is not in the unit of `{from}`", one.text()),
                "another unit",
                format!("write all three in {unit}"),
            )
        })
    };
    let (first, last) = (number("from", &low)?, number("to", &high)?);
    if first > last {
        let help = format!("write `from: {to}, to: {from}`");
        return Err(VaryFault::new(
            "from",
            format!("the range from `{from}` to `{to}` is empty"),
            "empty range",
            help,
        ));
    }
    // A step between temperatures is a difference.
    let of_step = if *kind == Kind::Temperature { Kind::TemperatureDifference } else { *kind };
    let width = match step {
        None => &last - &first,
        Some(text) => {
            let own = Quantity::parse(of_step, text)
                .map_err(|fault| VaryFault::new("step", fault.to_string(), "does not fit", fault.help()))?;
            let width = match of_step {
                Kind::TemperatureDifference => own.exact_in("K"),
                _ => Some(number("step", &own)?),
            };
            width.filter(|width| *width > Decimal::zero()).ok_or_else(|| {
                VaryFault::new(
                    "step",
                    format!("a step of `{text}` gets nowhere"),
                    "no step",
                    "write a step above zero",
                )
            })?
        }
    };
    let mut values = Vec::new();
    let mut here = first;
    while here <= last {
        if values.len() >= MOST_STEPS {
            let message = format!("from `{from}` to `{to}` are more than {MOST_STEPS} values");
            return Err(VaryFault::new("step", message, "too fine", "take a coarser step"));
        }
        values.push(here.clone());
        if width.is_zero() {
            break;
        }
        here = &here + &width;
    }
    // The greatest value is tried even where the steps miss it.
    if values.last().is_some_and(|reached| *reached < last) {
        values.push(last);
    }
    let tail = spread_of(&stands);
    let bare = matches!(place.is, Value::Number(_)) && unit.is_empty();
    values
        .into_iter()
        .map(|value| {
            let text = format!("{value} {unit}").trim().to_string();
            let text = if tail.is_empty() { text } else { format!("{text} {tail}") };
            Quantity::parse(*kind, &text).map_err(|fault| {
                let message = format!("with the tolerance that stands there: {fault}");
                VaryFault::new(
                    "from",
                    message,
                    "does not fit",
                    "list the values with their tolerances: `among: [..]`",
                )
            })?;
            let number = bare.then(|| serde_json::from_str(&text).ok()).flatten();
            Ok(number.unwrap_or(Value::String(text)))
        })
        .collect()
}

/// The unit of a plain quantity as written.
fn unit_of(text: &str) -> String {
    let text = text.trim();
    let at = text.find(|c: char| c.is_whitespace() || c == '%').unwrap_or(text.len());
    text.get(at..).unwrap_or_default().trim().to_string()
}

/// The tolerance or the limits of a quantity as written; empty where it has none.
fn spread_of(text: &str) -> &str {
    let at = ["+/-", "±", "("].into_iter().filter_map(|mark| text.find(mark)).min();
    at.and_then(|at| text.get(at..)).unwrap_or_default().trim()
}

/// A record as a tree of values.
pub fn tree_of(ledger: &Ledger, address: &Address) -> Option<Value> {
    fn tree<T: serde::Serialize>(records: &super::Records<T>, id: &str) -> Option<Value> {
        serde_json::to_value(&*records.get(id)?.value).ok()
    }
    let id = address.id();
    match address.kind() {
        RecordKind::Ledger => serde_json::to_value(ledger.head.as_ref()?).ok(),
        RecordKind::Material => tree(&ledger.materials, id),
        RecordKind::Process => tree(&ledger.processes, id),
        RecordKind::Tool => tree(&ledger.tools, id),
        RecordKind::Finish => tree(&ledger.finishes, id),
        RecordKind::Recipe => tree(&ledger.recipes, id),
        RecordKind::Panel => tree(&ledger.panels, id),
        RecordKind::Assembly => tree(&ledger.assemblies, id),
        RecordKind::Showing => tree(&ledger.showings, id),
        RecordKind::Evidence => tree(&ledger.evidence, id),
        RecordKind::Decision => tree(&ledger.decisions, id),
        RecordKind::Concession => tree(&ledger.concessions, id),
        RecordKind::Weighing => tree(&ledger.weighings, id),
        RecordKind::Study => tree(&ledger.studies, id),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn options(vary: &str) -> Result<Vec<String>, VaryFault> {
        let ledger = crate::qualify::tests::base();
        let vary: Vary = serde_yaml::from_str(vary).unwrap();
        let found = varied(&ledger, &vary)?;
        Ok(found
            .options
            .iter()
            .map(|one| match one {
                VariedTo::AsItIs => "as it is".to_string(),
                VariedTo::Value(value) => said(value),
                VariedTo::Dropped => "dropped".to_string(),
            })
            .collect())
    }

    #[test]
    fn a_range_keeps_both_ends_and_what_stands_there_is_tried_once() {
        let core = "recipe/hatch-outer#layers.6.thickness";
        let ledger = crate::qualify::tests::base();
        let is = place(&ledger, core, String::new());
        // Wherever the core stands in the base; the test says what it found.
        let Ok(is) = is else { panic!("{is:?}") };
        let now = said(&is.is);
        let all = options(&format!("{{attribute: {core}, from: 1 mm, to: 2.5 mm, step: 1 mm}}")).unwrap();
        assert_eq!(all, ["as it is", "1 mm", "2 mm", "2.5 mm"], "{now}");
        let all = options(&format!("{{attribute: {core}, among: [{now}, 1 mm, 1 mm]}}")).unwrap();
        assert_eq!(all, ["as it is", "1 mm"]);
        for (text, key) in [
            (format!("{{attribute: {core}, from: 2 mm, to: 1 mm}}"), "from"),
            (format!("{{attribute: {core}, from: 1 mm, to: 2 kg}}"), "to"),
            (format!("{{attribute: {core}, from: 1 mm, to: 2 mm, step: 1 g}}"), "step"),
            (format!("{{attribute: {core}, from: 1 mm, to: 2 mm, step: 0 mm}}"), "step"),
            (format!("{{attribute: {core}, from: 1 mm, to: 2 m, step: 1 um}}"), "step"),
            (format!("{{attribute: {core}, among: [1 mm, thick]}}"), "among.2"),
            (format!("{{attribute: [{core}, recipe/hatch-outer#layers.55], drop: true}}"), "attribute.2"),
            (format!("{{attribute: {core}, drop: true}}"), "attribute"),
            ("{attribute: recipe/nothing#layers.1.material, among: [a]}".to_string(), "attribute"),
            ("{attribute: recipe/hatch-outer#layers.1.material, among: [nothing]}".to_string(), "among.1"),
            ("{attribute: recipe/hatch-outer#layers.1.material, from: 1 mm, to: 2 mm}".to_string(), "from"),
        ] {
            assert_eq!(options(&text).unwrap_err().key, key, "{text}");
        }
    }
}
