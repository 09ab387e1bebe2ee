//! What the topics on specimens have in common: values in one unit, by batch or not, mean and deviation.

use super::{At, Checks, Refusal, Refusals, Work};
use crate::quantity::{Fraction, Kind, Ratio, accepted_units};
use crate::statistics::{Sample, sample};
use std::collections::BTreeMap;

/// As many terms are written into a step; of more it is said in words what was summed.
const SHOWN: usize = 40;

/// Values by the name of their batch.
pub(super) type Batches = BTreeMap<String, Vec<Ratio>>;

/// Plain numbers of a list.
pub(super) fn numbers(values: &[Ratio]) -> Vec<f64> {
    values.iter().map(|value| value.si()).collect()
}

/// Plain numbers by batch, in the order of the names.
pub(super) fn by_batch(batches: &Batches) -> Vec<Vec<f64>> {
    batches.values().map(|own| numbers(own)).collect()
}

/// The unit of the values as steps and results carry it: one that records take too.
pub(super) fn unit_of(checks: &mut Checks, written: &str) -> &'static str {
    if written.trim() == "1" {
        return "";
    }
    let all = Kind::ALL.iter().flat_map(|kind| accepted_units(*kind));
    let known = all.copied().find(|own| *own == written.trim());
    if known.is_none() {
        let message = format!("`{written}` is no unit of specimens' values");
        let help =
            "write one such as `MPa`, `GPa`, `ksi`, `N/mm`, `N`, `ustrain` or `degC`; `1` for bare ratios";
        checks.refuse(Refusal::new("unknown-unit", "unit", message, help));
    }
    known.unwrap_or_default()
}

/// Wants so many values, not all of them equal.
pub(super) fn enough(checks: &mut Checks, field: &str, values: &[Ratio], least: usize, what: &str) {
    if values.len() < least {
        let held = match values.len() {
            1 => "1 value".to_string(),
            n => format!("{n} values"),
        };
        let message = format!("`{field}` holds {held}; {what} takes {least} or more");
        checks.refuse(Refusal::new("out-of-range", field, message, "add specimens"));
    } else {
        differ(checks, field, values.iter(), what);
    }
}

/// Wants values that are not all equal.
fn differ<'v>(checks: &mut Checks, field: &str, mut values: impl Iterator<Item = &'v Ratio>, what: &str) {
    let first = values.next().map(|value| value.si());
    if first.is_some_and(|first| values.all(|value| value.si() == first)) {
        let message = format!("the values of `{field}` are all equal; {what} lives on their spread");
        let help = "write the values as measured, not their mean";
        checks.refuse(Refusal::new("out-of-range", field, message, help));
    }
}

/// Wants two batches or more, none of them empty, and so many values in all, not all of them equal.
pub(super) fn enough_batches(checks: &mut Checks, batches: &Batches, least: usize, what: &str) {
    if batches.len() < 2 {
        let held = if batches.is_empty() { "no batch" } else { "1 batch" };
        let message = format!("`batches` holds {held}; {what} takes 2 or more");
        checks.refuse(Refusal::new(
            "out-of-range",
            "batches",
            message,
            "write a list of values for each batch",
        ));
        return;
    }
    for (name, _) in batches.iter().filter(|(_, own)| own.is_empty()) {
        let (field, help) = (format!("batches.{name}"), "write its values, or take it out");
        checks.refuse(Refusal::new("out-of-range", field, format!("batch `{name}` has no value"), help));
    }
    let n: usize = batches.values().map(Vec::len).sum();
    if n < least {
        let message = format!("`batches` holds {n} values in all; {what} takes {least} or more here");
        checks.refuse(Refusal::new("out-of-range", "batches", message, "add specimens"));
    } else {
        differ(checks, "batches", batches.values().flatten(), what);
    }
}

/// Wants every value above 0; `why` may follow.
pub(super) fn above_zero(checks: &mut Checks, field: &str, values: &[Ratio], why: &str) {
    for (at, value) in values.iter().enumerate() {
        let fits = value.si() > 0.0;
        if !fits {
            let message =
                format!("value {} of `{field}` is `{}`; it must be above 0{why}", at + 1, value.text());
            let help = "correct it, or ask for a value that takes no logarithms";
            checks.refuse(Refusal::new("out-of-range", format!("{field}.{}", at + 1), message, help));
        }
    }
}

/// A level of significance, or its usual value.
pub(super) fn level(checks: &mut Checks, field: &str, given: Option<&Fraction>, usual: f64) -> f64 {
    given.map_or(usual, |own| {
        checks.wants(own.si() > 0.0 && own.si() < 1.0, field, own.text(), "above 0 and below 1 (100 %)");
        own.si()
    })
}

/// A sum as it is put into a step: `term` for each row of numbers between `open` and `close`, or `words` in
/// brackets where there are too many.
pub(super) fn terms(
    open: &str,
    term: &str,
    close: &str,
    rows: &[Vec<f64>],
    words: &str,
) -> (String, Vec<f64>) {
    if rows.len() > SHOWN {
        return (format!("[{words}]"), Vec::new());
    }
    let sum = vec![term; rows.len()].join(" + ");
    (format!("{open}{sum}{close}"), rows.iter().flatten().copied().collect())
}

/// Adds a step whose text is a sum.
pub(super) fn summed(
    work: &mut Work,
    symbol: &str,
    formula: &str,
    (text, mut numbers): (String, Vec<f64>),
    behind: &[f64],
    value: f64,
    unit: &'static str,
) {
    numbers.extend(behind);
    work.step(symbol, formula, &text, &numbers, value, unit);
}

/// Adds mean and standard deviation of values as steps.
pub(super) fn mean_and_deviation(
    work: &mut Work,
    values: &[f64],
    field: &str,
    unit: &'static str,
) -> Result<Sample, Refusals> {
    let of = sample(values).at(field)?;
    mean_step(work, "mean", values, of.mean, unit);
    let (n, rows) = (values.len(), values.iter().map(|value| vec![*value, of.mean]).collect::<Vec<_>>());
    let words = format!("by the sum of {n} squares");
    let sum = terms("sqrt((", "({} - {})^2", ")/({} - 1))", &rows, &words);
    summed(work, "s", "sqrt(sum (x - mean)^2/(n - 1))", sum, &[n as f64], of.sd, unit);
    Ok(of)
}

/// Adds a mean as a step.
pub(super) fn mean_step(work: &mut Work, symbol: &str, values: &[f64], mean: f64, unit: &'static str) {
    let rows: Vec<Vec<f64>> = values.iter().map(|value| vec![*value]).collect();
    let sum = terms("(", "{}", ")/{}", &rows, &format!("by the sum of {} values", values.len()));
    summed(work, symbol, "sum x/n", sum, &[values.len() as f64], mean, unit);
}
