//! Places of records that a person can move, and the records with another value written there.

use crate::change::diff::tree;
use crate::change::facets::{Target, facet_of_route};
use crate::ledger::{Entry, Ledger, Records};
use crate::quantity::{Decimal, Kind, Quantity};
use crate::record::{Address, RecordKind, RecordType, edit, places, read};
use crate::source::Snapshot;
use serde_yaml::Value;
use std::sync::Arc;

/// Digits of a figure that a person writes and a shop can measure (common practice, no source): an edge named in more
/// would be the search's own, and nobody could keep to it. Where more are written they count.
const DIGITS: i32 = 3;
/// How far temperatures are moved either way, in the unit that they are written in: nought is no scale to them.
const DEGREES: i64 = 100;
/// Places that are left alone: the corners of a section are its shape, which is no single figure.
const LEFT_OUT: [&str; 1] = ["section.corners"];

/// Keys that hold what a thing is called.
const NAMES: [&str; 6] = ["designation", "formerly", "name", "site", "supplier", "survey"];

/// What can be done at a place.
#[derive(Debug, Clone, PartialEq)]
pub enum Setting {
    /// A figure, moved either way.
    Figure(Figure),
    /// A word: any other.
    Word(String),
    /// The name of another record, which counts by its values.
    Reference(Address),
}

/// A place that can be moved.
#[derive(Debug, Clone, PartialEq)]
pub struct Knob {
    /// The record.
    pub address: Address,
    /// The place in it, entries by their names.
    pub route: String,
    /// The route without list places.
    pub attribute: String,
    /// The facet that it counts in; `None` for a reference.
    pub facet: Option<&'static str>,
    /// What stands there.
    pub setting: Setting,
    numbered: String,
    file: String,
    text: Arc<str>,
}

impl Knob {
    /// Returns `kind/id#route`.
    pub fn place(&self) -> String {
        format!("{}#{}", self.address, self.route)
    }

    /// Returns whether it stands at a route or below, list places by name or number.
    pub fn stands_at(&self, route: &str) -> bool {
        [&self.route, &self.numbered]
            .into_iter()
            .any(|own| own.strip_prefix(route).is_some_and(|rest| rest.is_empty() || rest.starts_with('.')))
    }

    /// Returns the route with list places as numbers.
    pub fn numbered(&self) -> &str {
        &self.numbered
    }

    /// Returns the file of the record.
    pub(super) fn file(&self) -> &str {
        &self.file
    }

    /// Returns the ledger with another text at this place; `None` where the record does not take it.
    pub fn turned(&self, ledger: &Ledger, to: &str) -> Option<Ledger> {
        let bytes = self.edited(to)?;
        let mut trial = ledger.clone();
        let (id, file) = (self.address.id(), self.file.as_str());
        match self.address.kind() {
            RecordKind::Material => put(&mut trial.materials, id, file, &bytes)?,
            RecordKind::Process => put(&mut trial.processes, id, file, &bytes)?,
            RecordKind::Tool => put(&mut trial.tools, id, file, &bytes)?,
            RecordKind::Finish => put(&mut trial.finishes, id, file, &bytes)?,
            RecordKind::Recipe => put(&mut trial.recipes, id, file, &bytes)?,
            RecordKind::Panel => put(&mut trial.panels, id, file, &bytes)?,
            _ => return None,
        }
        Some(trial)
    }

    /// Returns the file with another text at this place, laid over a snapshot as a decision's changes are.
    pub fn overlaid(&self, snapshot: &Snapshot, to: &str) -> Option<Snapshot> {
        let bytes = self.edited(to)?;
        Some(snapshot.overlay([(self.file.clone(), Some(bytes))].into_iter().collect()))
    }

    fn edited(&self, to: &str) -> Option<Vec<u8>> {
        // A bare figure is no text: only so does it read back as what stood there.
        let value = match Decimal::parse(to) {
            Some(_) => serde_yaml::from_str(to).ok()?,
            None => Value::from(to),
        };
        edit::set(&self.text, &self.numbered, &value).ok().map(String::into_bytes)
    }
}

fn put<T: RecordType>(records: &mut Records<T>, id: &str, file: &str, bytes: &[u8]) -> Option<()> {
    let value = Arc::new(read::<T>(file, bytes).value?);
    records.insert(id.to_string(), Entry { id: id.to_string(), file: file.to_string(), value });
    Some(())
}

/// Finds the places of one record that count in a facet, in the order of its text.
pub fn knobs(ledger: &Ledger, snapshot: &Snapshot, address: &Address) -> Vec<Knob> {
    let id = address.id();
    let record = match address.kind() {
        RecordKind::Material => ledger.materials.get(id).map(|entry| tree(&*entry.value)),
        RecordKind::Process => ledger.processes.get(id).map(|entry| tree(&*entry.value)),
        RecordKind::Tool => ledger.tools.get(id).map(|entry| tree(&*entry.value)),
        RecordKind::Finish => ledger.finishes.get(id).map(|entry| tree(&*entry.value)),
        RecordKind::Recipe => ledger.recipes.get(id).map(|entry| tree(&*entry.value)),
        RecordKind::Panel => ledger.panels.get(id).map(|entry| tree(&*entry.value)),
        _ => None,
    };
    let (Some(record), Some(file)) = (record, ledger.file_of(address)) else { return Vec::new() };
    let text = snapshot.read(file).ok().and_then(|bytes| String::from_utf8(bytes.to_vec()).ok());
    let Some(text) = text.map(Arc::<str>::from) else { return Vec::new() };
    let value: Value = serde_yaml::from_str(&text).unwrap_or(Value::Null);
    let mut leaves = Vec::new();
    walk(&value, &mut Vec::new(), &mut leaves);
    let index = places(&text);
    let mut found = Vec::new();
    for (numbered, attribute, word) in leaves {
        if LEFT_OUT.iter().any(|left| attribute.starts_with(left)) {
            continue;
        }
        let (facet, setting) = match facet_of_route(address.kind(), &attribute, &record) {
            Target::Reference(kind) => {
                (None, Setting::Reference(Address::parse(&word).unwrap_or_else(|| Address::new(kind, word))))
            }
            Target::Facet(None) => continue,
            Target::Facet(Some(facet)) => match Figure::parse(&word, &attribute) {
                Some(figure) => (Some(facet), Setting::Figure(figure)),
                None => (Some(facet), Setting::Word(word)),
            },
        };
        let route = index.canonical_route(&numbered).unwrap_or_else(|| numbered.clone());
        found.push(Knob {
            address: address.clone(),
            route,
            attribute,
            facet,
            setting,
            numbered,
            file: file.to_string(),
            text: Arc::clone(&text),
        });
    }
    found
}

/// Values that are no map or list, each with its route and the same without list places.
fn walk(value: &Value, way: &mut Vec<(String, bool)>, found: &mut Vec<(String, String, String)>) {
    let word = match value {
        Value::Mapping(all) => {
            for (key, value) in all {
                way.push((key.as_str().unwrap_or_default().to_string(), true));
                walk(value, way, found);
                way.pop();
            }
            return;
        }
        Value::Sequence(all) => {
            for (at, value) in all.iter().enumerate() {
                way.push(((at + 1).to_string(), false));
                walk(value, way, found);
                way.pop();
            }
            return;
        }
        Value::String(text) => text.clone(),
        Value::Number(number) => number.to_string(),
        _ => return,
    };
    let joined = |keys_only: bool| {
        let parts = way.iter().filter(|(_, key)| *key || !keys_only).map(|(part, _)| part.as_str());
        parts.collect::<Vec<_>>().join(".")
    };
    found.push((joined(false), joined(true), word));
}

/// A figure as it is written: its number in whole steps of its last digit, its unit, how it may stray.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// As written.
    pub text: String,
    /// The unit; empty where none is written.
    pub unit: String,
    /// Its number, in steps.
    pub now: i64,
    /// The farthest that is looked at, below and above, in steps.
    pub bounds: (i64, i64),
    /// Digits behind the point of one step.
    decimals: u32,
    tail: Tail,
}

/// What is written behind a figure.
#[derive(Debug, Clone, PartialEq)]
enum Tail {
    /// Nothing, or a tolerance, which is kept as it stands.
    Kept(String),
    /// Limits, which move with the nominal; the unit is written behind the second.
    Limits(Decimal, Decimal, String),
}

impl Figure {
    /// Reads a figure; `None` where the text is a word.
    pub fn parse(text: &str, attribute: &str) -> Option<Self> {
        let text = text.trim();
        let mark = ["+/-", "±", "+-", "("].iter().filter_map(|mark| text.find(mark)).min();
        let (head, tail) = text.split_at(mark.unwrap_or(text.len()));
        let head = head.trim();
        let end = head.find(|c: char| c.is_whitespace() || c == '%').unwrap_or(head.len());
        let (number, unit) = head.split_at(end);
        let (number, unit) = (Decimal::parse(number)?, unit.trim().to_string());
        if !Kind::ALL.iter().chain([&Kind::Ratio]).any(|kind| Quantity::parse(*kind, text).is_ok()) {
            // A factor on loads and a count are bare and may be more than the whole.
            Decimal::parse(text)?;
        }
        let last = attribute.rsplit('.').next().unwrap_or_default();
        // What a thing is called may be a number and is none.
        if NAMES.contains(&last) {
            return None;
        }
        let decimals = match last {
            "count" => 0,
            _ => decimals(&number, head.split(['e', 'E']).next().unwrap_or_default()),
        };
        let scale = Decimal::parse(&format!("1e{decimals}"))?;
        let steps = |value: &Decimal| whole(&(value * &scale));
        let now = steps(&number)?;
        let reach = |far: i64| steps(&Decimal::whole(far));
        let temperature = Quantity::parse(Kind::Temperature, text).is_ok();
        let bounds = match last {
            "angle" => (reach(-90)?.min(now), reach(90)?.max(now)),
            _ if temperature => (now - reach(DEGREES)?, now + reach(DEGREES)?),
            _ if now == 0 => (reach(-1)?, reach(1)?),
            _ => (now.min(0).min(now.checked_mul(2)?), now.max(0).max(now.checked_mul(2)?)),
        };
        let tail = match tail.strip_prefix('(').and_then(|tail| tail.trim_end().strip_suffix(')')) {
            Some(inside) => {
                let (low, high) = inside.split_once("..")?;
                let split = |text: &str| {
                    let text = text.trim();
                    let end = text.find(|c: char| c.is_whitespace() || c == '%').unwrap_or(text.len());
                    Decimal::parse(text.get(..end)?)
                        .map(|own| (own, text.get(end..).unwrap_or("").trim().to_string()))
                };
                let ((low, low_unit), (high, high_unit)) = (split(low)?, split(high)?);
                if high_unit != unit || !low_unit.is_empty() && low_unit != unit {
                    // Limits in another unit than the nominal are left as they stand.
                    Tail::Kept(tail.trim().to_string())
                } else {
                    Tail::Limits(&low - &number, &high - &number, high_unit)
                }
            }
            None => Tail::Kept(tail.trim().to_string()),
        };
        Some(Self { text: text.to_string(), unit, now, bounds, decimals, tail })
    }

    /// Returns the number at a step, exactly.
    pub fn number(&self, at: i64) -> Decimal {
        let ten = Decimal::parse(&format!("1e-{}", self.decimals)).unwrap_or_else(Decimal::zero);
        &Decimal::whole(at) * &ten
    }

    /// Writes the nominal at a step with its unit.
    pub fn nominal(&self, at: i64) -> String {
        format!("{} {}", self.plain(at), self.unit).trim_end().to_string()
    }

    fn plain(&self, at: i64) -> String {
        plain(at, self.decimals)
    }

    /// Writes the whole figure at a step, with what is written behind it.
    pub fn written(&self, at: i64) -> String {
        let nominal = self.nominal(at);
        match &self.tail {
            Tail::Kept(tail) if tail.is_empty() => nominal,
            Tail::Kept(tail) => format!("{nominal} {tail}"),
            Tail::Limits(low, high, unit) => {
                let number = self.number(at);
                let (mut low, high) = (&number + low, &number + high);
                // What was not below nothing does not go there: a film has no negative limit.
                if low < Decimal::zero() && number >= Decimal::zero() {
                    low = Decimal::zero();
                }
                format!("{nominal} ({} .. {} {unit})", low.six_digits(), high.six_digits()).replace(" )", ")")
            }
        }
    }

    /// Returns the points on the way to a bound at which a first look is taken, nearest first, and the step next
    /// to now before them.
    pub fn points(&self, bound: i64) -> Vec<i64> {
        let way = bound - self.now;
        if way == 0 {
            return Vec::new();
        }
        let mut points = vec![self.now + way.signum()];
        points.extend(GRID.iter().map(|percent| self.now + way * percent / 100));
        points.retain(|point| *point != self.now);
        points.dedup();
        points
    }
}

/// The points of a first look, in percent of the way from now to the bound.
pub const GRID: [i64; 9] = [1, 2, 5, 10, 20, 35, 50, 75, 100];

/// Digits behind the point that three significant digits leave, no fewer than are written.
fn decimals(number: &Decimal, written: &str) -> u32 {
    let size = number.abs().to_f64();
    // The place of the first digit.
    #[allow(clippy::cast_possible_truncation)]
    let place = if size > 0.0 { size.log10().floor() as i32 } else { 0 };
    let own =
        written.split_once('.').map_or(0, |(_, part)| part.chars().take_while(char::is_ascii_digit).count());
    let own = i32::try_from(own).unwrap_or(0);
    u32::try_from((DIGITS - 1 - place).max(own).clamp(0, 15)).unwrap_or(0)
}

/// A decimal that is a whole number of steps.
fn whole(value: &Decimal) -> Option<i64> {
    let near = value.to_f64().round();
    if near.abs() > 1e15 {
        return None;
    }
    #[allow(clippy::cast_possible_truncation)]
    Some(near as i64)
}

/// Writes a whole number of steps as the shortest plain decimal.
fn plain(at: i64, decimals: u32) -> String {
    let width = decimals as usize + 1;
    let digits = format!("{:0>width$}", at.unsigned_abs());
    let (whole, part) = digits.split_at(digits.len() - decimals as usize);
    let part = part.trim_end_matches('0');
    let sign = if at < 0 { "-" } else { "" };
    if part.is_empty() { format!("{sign}{whole}") } else { format!("{sign}{whole}.{part}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(text: &str, attribute: &str) -> Figure {
        Figure::parse(text, attribute).unwrap()
    }

    #[test]
    fn a_figure_moves_in_its_third_digit_or_its_last() {
        let content = figure("39.5 % +/- 2 %", "resin.content");
        assert_eq!((content.now, content.bounds), (395, (0, 790)));
        assert_eq!(content.written(396), "39.6 % +/- 2 %");
        assert_eq!(content.nominal(370), "37 %");
        let film = figure("40 um (0 .. 80 um)", "coats.dry_film");
        assert_eq!(film.written(412), "41.2 um (1.2 .. 81.2 um)");
        assert_eq!(film.written(300), "30 um (0 .. 70 um)");
        assert_eq!(figure("0.30", "colour.solar_absorptance").written(301), "0.301");
        assert_eq!(figure("120 degC", "cure.to").bounds, (20, 220));
        assert_eq!(figure("45", "layers.angle").bounds, (-900, 900));
        assert_eq!(figure("1790 kg/m3", "fibre.density").written(1789), "1789 kg/m3");
        assert_eq!(figure("6 mm", "layers.thickness").written(551), "5.51 mm");
        assert_eq!(figure("2", "fittings.count").bounds, (0, 4));
        assert_eq!(figure("-1100 N", "section.loads.shear").bounds, (-2200, 0));
        assert_eq!(figure("0.0525", "x").nominal(524), "0.0524");
        assert_eq!(Figure::parse("51", "designation"), None);
        for word in ["oven", "hs-1", "2A", "hall 1", "51 foam", ""] {
            assert_eq!(Figure::parse(word, "x"), None, "{word}");
        }
    }

    #[test]
    fn a_first_look_begins_next_to_now() {
        let own = figure("200 g/m2", "fibre.areal");
        assert_eq!(own.points(400), [201, 202, 204, 210, 220, 240, 270, 300, 350, 400]);
        assert_eq!(own.points(0).last(), Some(&0));
        assert_eq!(figure("2", "fittings.count").points(4), [3, 4]);
        assert!(own.points(own.now).is_empty());
    }
}
