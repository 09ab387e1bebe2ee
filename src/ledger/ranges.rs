//! Ranges that figures must lie in, nominal and limits.

use super::sink::Sink;
use crate::quantity::{Kind, Money, Quantity};
use crate::record::Sourced;
use std::ops::Deref;

/// A range in SI units, and how to say it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Range {
    low: f64,
    high: f64,
    /// Whether the nominal may be neither end.
    open: bool,
    words: &'static str,
}

/// Densities, lengths, masses and the like.
pub(super) const POSITIVE: Range =
    Range { low: 0.0, high: f64::INFINITY, open: true, words: "it must be more than 0" };
/// Figures that may be nothing at all.
pub(super) const NOT_NEGATIVE: Range =
    Range { low: 0.0, high: f64::INFINITY, open: false, words: "it must not be less than 0" };
/// Shares of a whole.
pub(super) const SHARE: Range =
    Range { low: 0.0, high: 1.0, open: false, words: "it must be from 0 to 100 %" };
/// Shares that leave something of both parts.
pub(super) const PART: Range =
    Range { low: 0.0, high: 1.0, open: true, words: "it must be more than 0 and less than 100 %" };
/// Shares that are thrown away: something has to be left.
pub(super) const SCRAP: Range =
    Range { low: 0.0, high: 0.95, open: false, words: "it must be from 0 to 95 %" };
/// Shares that are added on top.
pub(super) const EXTRA: Range =
    Range { low: 0.0, high: 5.0, open: false, words: "it must be from 0 to 500 %" };
/// Temperatures on the scale.
pub(super) const TEMPERATURE: Range = Range {
    low: 0.0,
    high: 2000.0,
    open: false,
    words: "it must not be below absolute zero, and less than 2000 K is expected here",
};
/// Poisson's ratio of an isotropic solid: the moduli of shear and bulk are positive inside these bounds
/// (linear elasticity, in any textbook; from memory).
pub(super) const POISSON: Range = Range {
    low: -1.0,
    high: 0.5,
    open: false,
    words: "it must be from -1 to 0.5, as for any isotropic solid",
};

/// Cured layers and sheets: what the engineering takes (see `laminate`).
pub(super) const THICKNESS: Range =
    Range { low: 1e-9, high: 10.0, open: false, words: "it must be from 1 nm to 10 m" };

/// Design strains: what the engineering takes (see `laminate`). Their unit has no dimension, so one that lost it is seen by
/// its size alone.
pub(super) const STRAIN: Range = Range {
    low: 1e-6,
    high: 0.5,
    open: false,
    words: "it must be from 1 ustrain to 0.5, which is 50 %; microstrains are written `3600 ustrain`",
};

/// Narrows a range without an upper end to what the engineering takes of a kind (see `laminate`), so that
/// `check` finds what every answer would stumble over.
fn narrowed(range: Range, kind: Kind) -> Range {
    if range.high.is_finite() {
        return range;
    }
    match kind {
        Kind::ArealMass if range.open => {
            Range { low: 1e-6, high: 1e4, open: false, words: "it must be from 0.000 001 to 10 000 kg/m2" }
        }
        Kind::ArealMass => Range { high: 1e4, words: "it must be from 0 to 10 000 kg/m2", ..range },
        Kind::Density => {
            Range { low: 1e-3, high: 3e4, open: false, words: "it must be from 0.001 to 30 000 kg/m3" }
        }
        _ => range,
    }
}

/// Refuses a quantity whose nominal or limits lie outside a range.
pub(super) fn within(sink: &mut Sink, range: Range, at: &str, quantity: Option<&Quantity>) {
    let Some(quantity) = quantity else { return };
    let range = narrowed(range, quantity.kind());
    let nominal = quantity.si();
    let inside = |value: f64| value >= range.low && value <= range.high;
    let nominal_inside = inside(nominal) && !(range.open && (nominal <= range.low || nominal >= range.high));
    if !nominal_inside {
        refuse(sink, at, &format!("`{}` is out of range", quantity.text()), range.words, MEND_QUANTITY);
    } else if !inside(quantity.low_si()) || !inside(quantity.high_si()) {
        refuse(
            sink,
            at,
            &format!("the limits of `{}` are out of range", quantity.text()),
            range.words,
            MEND_QUANTITY,
        );
    }
}

/// The same for several quantities of one range.
pub(super) fn all_within(sink: &mut Sink, range: Range, all: &[(&str, Option<&Quantity>)]) {
    for (at, quantity) in all {
        within(sink, range, at, *quantity);
    }
}

/// Refuses a count below `least`.
pub(super) fn count(sink: &mut Sink, at: &str, count: Option<u32>, least: u32) {
    if let Some(count) = count.filter(|count| *count < least) {
        refuse(
            sink,
            at,
            &format!("`{count}` is out of range"),
            &format!("it must be at least {least}"),
            MEND_FIGURE,
        );
    }
}

/// Refuses a bare number that is no number or below `least`, or just `least` where that is not allowed.
pub(super) fn number(sink: &mut Sink, at: &str, number: Option<f64>, least: f64, itself: bool) {
    let Some(number) = number else { return };
    if !number.is_finite() || number < least || (number == least && !itself) {
        let words = if itself {
            format!("it must be at least {least}")
        } else {
            format!("it must be more than {least}")
        };
        refuse(sink, at, &format!("`{number}` is out of range"), &words, MEND_FIGURE);
    }
}

/// Refuses a negative sum of money.
///
/// Sums in different currencies can't be added, so there is one: the ledger's, where it names one.
pub(super) fn money(sink: &mut Sink, at: &str, money: Option<&Money>, currency: Option<&str>) {
    if let (Some(money), Some(currency)) = (money, currency)
        && money.currency() != currency
    {
        sink.error(
            "wrong-currency",
            at,
            format!("`{}` is not in the ledger's currency {currency}", money.text()),
        )
        .label("another currency")
        .help(format!("write the sum in {currency}: sums are added as they stand"));
    }
    if let Some(money) = money.filter(|money| money.amount() < 0.0) {
        refuse(
            sink,
            at,
            &format!("`{}` is out of range", money.text()),
            "it must not be less than 0",
            MEND_FIGURE,
        );
    }
}

pub(super) const MEND_QUANTITY: &str = "correct the figure, or the unit that it is written in";
pub(super) const MEND_FIGURE: &str = "correct the figure";

/// Adds one fault `out-of-range`, with how to mend it.
pub(super) fn refuse(sink: &mut Sink, at: &str, what: &str, words: &str, mend: &str) {
    sink.error("out-of-range", at, format!("{what}: {words}")).label("out of range").help(mend);
}

/// Returns the quantity of a value that was typed in; `None` where it comes from a showing.
pub(super) fn typed<T: Deref<Target = Quantity>>(value: &Sourced<T>) -> Option<&Quantity> {
    match value {
        Sourced::Value(value) => Some(value),
        Sourced::From(_) => None,
    }
}
