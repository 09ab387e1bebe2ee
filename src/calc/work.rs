//! Steps and results in the making, and what is refused.

use crate::quantity::Quantity;
use crate::record::{Fault, Place, PlaceIndex, Stretch};
use serde_json::{Map, Value};
use std::fmt;

/// One step: a formula, the numbers put into it, what came out.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What is worked out.
    pub symbol: String,
    /// The formula in plain text, without the symbol and the equals sign.
    pub formula: String,
    /// The numbers put in; reckoned as it stands it gives `value`. Words in brackets `[...]` where it can't be
    /// reckoned in a line.
    pub text: String,
    /// What came out, in `unit`.
    pub value: f64,
    /// The unit; empty for a bare number.
    pub unit: &'static str,
}

/// One result.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The key in JSON, with the unit in it.
    pub key: String,
    /// What it is called, without the unit.
    pub name: String,
    /// A number, words, a truth, a list or matrix of numbers, or a list of rows.
    pub value: Value,
    /// The unit; empty for a bare number, words and rows.
    pub unit: &'static str,
}

/// How a topic was worked out.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Work {
    /// The steps in their order.
    pub steps: Vec<Step>,
    /// The results in their order.
    pub results: Vec<Outcome>,
    /// Sentences that the figures need.
    pub notes: Vec<String>,
}

impl Work {
    /// Returns an empty sheet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a step; `numbers` are put into `text` for its `{}` in their order, with six digits.
    pub fn step(
        &mut self,
        symbol: impl Into<String>,
        formula: &str,
        text: &str,
        numbers: &[f64],
        value: f64,
        unit: &'static str,
    ) {
        let text = put_in(text, numbers);
        self.steps.push(Step { symbol: symbol.into(), formula: formula.to_string(), text, value, unit });
    }

    /// Adds a result; its key is the name with the unit behind it.
    pub fn result(&mut self, name: &str, value: impl Into<Value>, unit: &'static str) {
        let tail: String = unit.chars().map(|c| if matches!(c, '/' | ' ') { '_' } else { c }).collect();
        let tail = if unit == "%" { "percent".to_string() } else { tail };
        let key = if tail.is_empty() { name.to_string() } else { format!("{name}_{tail}") };
        self.results.push(Outcome { key, name: name.to_string(), value: value.into(), unit });
    }

    /// Adds a sentence that the figures need.
    pub fn note(&mut self, words: impl Into<String>) {
        self.notes.push(words.into());
    }

    /// Returns the results as a map.
    pub fn document(&self) -> Map<String, Value> {
        self.results.iter().map(|one| (one.key.clone(), one.value.clone())).collect()
    }

    /// Refuses work with a figure that is not finite: none may reach an answer.
    pub(super) fn checked(self) -> Result<Self, Refusals> {
        // What is not finite became null on its way into a value.
        let lost = self.results.iter().find(|one| holds_null(&one.value)).map(|one| &one.name);
        let step = self.steps.iter().find(|step| !step.value.is_finite()).map(|step| &step.symbol);
        match step.or(lost) {
            Some(name) => {
                let message = format!("`{name}` comes out as no finite number");
                Err(Refusal::new("no-answer", "", message, "look for a figure that is out by powers of ten")
                    .into())
            }
            None => Ok(self),
        }
    }
}

fn holds_null(value: &Value) -> bool {
    match value {
        Value::Null => true,
        Value::Array(items) => items.iter().any(holds_null),
        Value::Object(entries) => entries.values().any(holds_null),
        _ => false,
    }
}

/// Returns `value`, or 0 where rounding alone is left of it beside `size`.
pub(super) fn settled(value: f64, size: f64) -> f64 {
    if value.abs() <= 1e-12 * size.abs() { 0.0 } else { value }
}

/// Puts numbers into the `{}` of a text; negative ones stand in brackets behind an operator.
fn put_in(text: &str, numbers: &[f64]) -> String {
    let mut out = String::new();
    let mut numbers = numbers.iter();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once("{}") {
        out.push_str(before);
        let number = numbers.next().copied().unwrap_or(f64::NAN);
        let bare = out.trim_end().is_empty() || out.trim_end().ends_with('(');
        let figure = figure(number);
        let raised = after.starts_with('^');
        if number < 0.0 && (!bare || raised) || figure.contains('e') && raised {
            out.push_str(&format!("({figure})"));
        } else {
            out.push_str(&figure);
        }
        rest = after;
    }
    out.push_str(rest);
    out
}

/// Returns a number with six significant digits, without noughts behind them.
pub fn figure(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".to_string() } else { value.to_string() };
    }
    let rounded = format!("{value:.5e}");
    let (mantissa, exponent) = rounded.split_once('e').unwrap_or((&rounded, "0"));
    let power: i32 = exponent.parse().unwrap_or(0);
    let trimmed = |text: &str| match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_string(),
        false => text.to_string(),
    };
    if (-4..9).contains(&power) {
        let places = usize::try_from(5 - power).unwrap_or(0);
        // Digits beyond the sixth in front of the point are noughts, as rounded.
        let value = rounded.parse::<f64>().unwrap_or(value);
        trimmed(&format!("{value:.places$}"))
    } else {
        format!("{}e{power}", trimmed(mantissa))
    }
}

/// Why an input is refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// The rule's word.
    pub rule: &'static str,
    /// Where: `layers.2.thickness`; empty for the whole.
    pub field: String,
    /// The fact, no full stop.
    pub message: String,
    /// The mend; may be empty.
    pub help: String,
}

impl Refusal {
    /// Returns a refusal of the input at `field`.
    pub fn new(
        rule: &'static str,
        field: impl Into<String>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Self {
        Self { rule, field: field.into(), message: message.into(), help: help.into() }
    }

    /// Returns it with its place in the text.
    pub(super) fn fault(self, file: &str, index: &PlaceIndex) -> Fault {
        // Of a map or list the key is marked, of a value the value itself.
        let whole = index.find(&self.field).filter(|found| !index.text(*found).contains(['{', '[', '\n']));
        let place = whole.or_else(|| index.nearest(&self.field)).map_or_else(
            || Place::file(file),
            |found| {
                let first = index.text(found).lines().next().unwrap_or_default().len();
                shortened(found, first).place(file)
            },
        );
        let label = match self.rule {
            "out-of-range" => "out of range",
            "exactly-one" => "exactly one is wanted",
            "missing-key" => "asks for another input",
            "unknown-reference" => "not among them",
            "unknown-unit" => "no unit",
            _ => "no answer",
        };
        let fault = Fault::error(self.rule, place, self.message).labelled(label);
        if self.help.is_empty() { fault } else { fault.help(self.help) }
    }
}

/// A stretch cut to its first line.
fn shortened(stretch: Stretch, bytes: usize) -> Stretch {
    Stretch { end: stretch.start + bytes, ..stretch }
}

/// All that is refused of an input.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Refusals(pub Vec<Refusal>);

impl From<Refusal> for Refusals {
    fn from(one: Refusal) -> Self {
        Self(vec![one])
    }
}

/// Says at which input an error of an engineering room arose.
pub trait At<T> {
    /// Returns the error as a refusal of the input at `field`; empty for the whole.
    ///
    /// # Errors
    /// The error, with its place.
    fn at(self, field: &str) -> Result<T, Refusals>;
}

impl<T, E: fmt::Display> At<T> for Result<T, E> {
    fn at(self, field: &str) -> Result<T, Refusals> {
        self.map_err(|error| Refusal::new("no-answer", field, error.to_string(), "").into())
    }
}

/// Looks at inputs before anything is worked out, so that all that is out of range is said at once.
#[derive(Debug, Default)]
pub struct Checks(Refusals);

impl Checks {
    /// Returns checks that found nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Wants `fits`; `range` says what would fit, such as `above 0`.
    pub fn wants(&mut self, fits: bool, field: &str, written: &str, range: &str) {
        if !fits {
            let last = field.rsplit('.').next().unwrap_or(field);
            let message = format!("`{last}` is `{written}`; it must be {range}");
            let help = format!("write a value that is {range}");
            self.0.0.push(Refusal::new("out-of-range", field, message, help));
        }
    }

    /// Takes up a refusal that was found elsewhere.
    pub fn refuse(&mut self, one: Refusal) {
        self.0.0.push(one);
    }

    /// Wants a quantity above 0.
    pub fn above_zero(&mut self, field: &str, quantity: &Quantity) {
        self.wants(quantity.si() > 0.0, field, quantity.text(), "above 0");
    }

    /// Wants a quantity of 0 or more.
    pub fn not_negative(&mut self, field: &str, quantity: &Quantity) {
        self.wants(quantity.si() >= 0.0, field, quantity.text(), "0 or more");
    }

    /// Wants a share from 0 to 1.
    pub fn share(&mut self, field: &str, quantity: &Quantity) {
        self.wants((0.0..=1.0).contains(&quantity.si()), field, quantity.text(), "from 0 to 1 (100 %)");
    }

    /// Wants exactly one of some inputs; `given` says of each whether it is there.
    pub fn one_of(&mut self, given: &[(&str, bool)]) {
        let there: Vec<&str> = given.iter().filter(|(_, there)| *there).map(|(field, _)| *field).collect();
        let all = given.iter().map(|(field, _)| format!("`{field}`")).collect::<Vec<_>>().join(" or ");
        match there.as_slice() {
            [_] => {}
            [] => {
                let message = format!("none of {all} is here");
                self.0.0.push(Refusal::new("exactly-one", "", message, format!("write {all}")));
            }
            [_, second, ..] => {
                let message = format!("{all}: more than one is here");
                self.0.0.push(Refusal::new("exactly-one", *second, message, "keep one of them"));
            }
        }
    }

    /// Refuses an input that asks for another one which is not here; `why` says what for.
    pub fn asks_for(&mut self, field: &str, other: &str, why: &str) {
        let message = format!("`{other}` is missing: {why}");
        self.0.0.push(Refusal::new("missing-key", field, message, format!("add `{other}`")));
    }

    /// Refuses an input that is there without the one that it goes with; ask where that one is not.
    pub fn goes_with(&mut self, given: bool, field: &str, other: &str) {
        if given {
            let message = format!("`{field}` goes with `{other}`, which is not here");
            let help = format!("write `{other}`, or take `{field}` out");
            self.0.0.push(Refusal::new("missing-key", field, message, help));
        }
    }

    /// Refuses what was found.
    ///
    /// # Errors
    /// All of it.
    pub fn done(self) -> Result<(), Refusals> {
        if self.0.0.is_empty() { Ok(()) } else { Err(self.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_have_six_digits() {
        for (value, text) in [
            (0.0, "0"),
            (-0.0, "0"),
            (1.0, "1"),
            (-12.5, "-12.5"),
            (0.616_437_9, "0.616438"),
            (1_234_567.0, "1234570"),
            (999_999.6, "1000000"),
            (100.0, "100"),
            (0.000_123_456_78, "0.000123457"),
            (2.6e-13, "2.6e-13"),
            (48_541_666.67, "48541700"),
            (1.08e11, "1.08e11"),
            (f64::INFINITY, "inf"),
        ] {
            assert_eq!(figure(value), text);
        }
    }

    #[test]
    fn negative_numbers_stand_in_brackets_behind_an_operator() {
        assert_eq!(put_in("{} x {} + ({} - 1)", &[-1.0, -2.0, -3.0]), "-1 x (-2) + (-3 - 1)");
        assert_eq!(put_in("{} x {}^2", &[2.0, -3.0]), "2 x (-3)^2");
        assert_eq!(put_in("({}^2 + 1)", &[-3.0]), "((-3)^2 + 1)");
        assert_eq!(put_in("{}^4", &[1e-12]), "(1e-12)^4");
    }

    #[test]
    fn keys_carry_their_unit() {
        let mut work = Work::new();
        work.result("GJ", 1.0, "N mm2");
        work.result("A", 1.0, "N/mm");
        work.result("whole", 3, "");
        work.result("load", 88.0, "%");
        let keys: Vec<&str> = work.results.iter().map(|one| one.key.as_str()).collect();
        assert_eq!(keys, ["GJ_N_mm2", "A_N_mm", "whole", "load_percent"]);
    }

    #[test]
    fn what_is_not_finite_is_refused() {
        let mut work = Work::new();
        work.result("a", f64::NAN, "mm");
        assert!(work.checked().is_err());
        let mut work = Work::new();
        work.step("a", "b", "", &[], f64::INFINITY, "mm");
        assert!(work.checked().is_err());
        let mut work = Work::new();
        work.result("rows", vec![vec![1.0, f64::NAN]], "mm");
        assert!(work.checked().is_err());
    }
}
