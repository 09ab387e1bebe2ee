//! A value with its unit, tolerance or limits: as written, in SI, and as exact decimals.
//!
//! A quantity in a record is text (`200 g/m2 +/- 4 %`). It is read once into SI floating point for
//! the engineering; the text is kept, so that whatever must be equal or inside a window is compared
//! as exact decimals ([`Decimal`]) and never by binary rounding.

mod decimal;
mod exposure;
mod grade;
mod measures;
mod parse;
mod unit;

pub use decimal::Decimal;
pub use exposure::{EARLY, Exposed, ExposureUnit, MONTH_DAYS};
pub use grade::{Adhesion, Blisters, Frequency};
pub use measures::*;
pub use parse::QuantityError;
pub use unit::{Kind, UnitSystem, accepted_units};

use foldhash::HashMap;
use std::cell::RefCell;
use std::fmt;
use std::sync::Arc;

/// How far a quantity may stray from its nominal, as it was written.
#[derive(Debug, Clone, PartialEq)]
pub enum Spread {
    /// Nothing was said.
    None,
    /// `+/- 4 %` of the nominal, on quantities that are not fractions.
    Relative(Decimal),
    /// `+/- 8 g/m2`: a distance each way, in the nominal's unit.
    Absolute(Decimal),
    /// `(45 .. 80 um)`: low and high limit, in the nominal's unit.
    Limits(Decimal, Decimal),
}

/// A value with its unit, as written and in SI; copies share it.
#[derive(Debug, Clone)]
pub struct Quantity(Arc<Own>);

/// What is known of a quantity, behind a pointer: records have room for dozens of quantities, and most stay empty.
#[derive(Debug)]
struct Own {
    text: String,
    kind: Kind,
    number: Decimal,
    unit: unit::Unit,
    spread: Spread,
    si: f64,
    low: Option<f64>,
    high: Option<f64>,
}

impl Quantity {
    /// Reads `text` as a quantity of `kind`.
    ///
    /// # Errors
    /// [`QuantityError`] names what is wrong and how to write it instead.
    pub fn parse(kind: Kind, text: &str) -> Result<Self, QuantityError> {
        /// Beyond this many texts of a kind the memory of them begins anew.
        const MOST: usize = 1024;
        /// No longer text is remembered.
        const LONGEST: usize = 64;
        thread_local! {
            static KNOWN: RefCell<HashMap<Kind, HashMap<Box<str>, Quantity>>> = RefCell::default();
        }
        // Records write the same few figures thousands of times.
        let known = |known: &RefCell<HashMap<Kind, HashMap<Box<str>, Quantity>>>| {
            known.borrow().get(&kind).and_then(|known| known.get(text)).cloned()
        };
        if let Some(known) = KNOWN.with(known) {
            return Ok(known);
        }
        let own = parse::quantity(kind, text)?;
        if text.len() <= LONGEST {
            KNOWN.with_borrow_mut(|known| {
                let known = known.entry(kind).or_default();
                if known.len() >= MOST {
                    known.clear();
                }
                known.insert(text.into(), own.clone());
            });
        }
        Ok(own)
    }

    /// Returns the text as it was written, trimmed.
    pub fn text(&self) -> &str {
        &self.0.text
    }

    /// Returns what kind of quantity this is.
    pub fn kind(&self) -> Kind {
        self.0.kind
    }

    /// Returns the nominal in the SI unit of its kind (see [`Kind::si_unit`]).
    pub fn si(&self) -> f64 {
        self.0.si
    }

    /// Returns the low limit in SI; the nominal where none was written.
    pub fn low_si(&self) -> f64 {
        self.0.low.unwrap_or(self.0.si)
    }

    /// Returns the high limit in SI; the nominal where none was written.
    pub fn high_si(&self) -> f64 {
        self.0.high.unwrap_or(self.0.si)
    }

    /// Returns the spread as written.
    pub fn spread(&self) -> &Spread {
        &self.0.spread
    }

    /// Returns whether a tolerance or limits were written.
    pub fn has_spread(&self) -> bool {
        self.0.spread != Spread::None
    }

    /// Returns the nominal in `unit` as an exact decimal, not rounded; `None` for a foreign unit.
    pub fn exact_in(&self, unit: &str) -> Option<Decimal> {
        self.convert(&self.0.number, unit)
    }

    /// Returns the low limit in `unit`; `None` where none was written.
    pub fn exact_low_in(&self, unit: &str) -> Option<Decimal> {
        let low = match &self.0.spread {
            Spread::None => return None,
            Spread::Relative(share) => &self.0.number - &(&self.0.number * share),
            Spread::Absolute(step) => &self.0.number - step,
            Spread::Limits(low, _) => low.clone(),
        };
        self.convert(&low, unit)
    }

    /// Returns the high limit in `unit`; `None` where none was written.
    pub fn exact_high_in(&self, unit: &str) -> Option<Decimal> {
        let high = match &self.0.spread {
            Spread::None => return None,
            Spread::Relative(share) => &self.0.number + &(&self.0.number * share),
            Spread::Absolute(step) => &self.0.number + step,
            Spread::Limits(_, high) => high.clone(),
        };
        self.convert(&high, unit)
    }

    /// Returns the nominal in `unit` with six significant digits and the unit behind it.
    ///
    /// # Source
    /// The project's own canonical form: conversion before rounding, half to even, shortest decimal.
    pub fn canonical(&self, unit: &str) -> String {
        Self::canonical_text(self.exact_in(unit), unit)
    }

    /// Returns the low limit in canonical form, where one was written.
    pub fn canonical_low(&self, unit: &str) -> Option<String> {
        self.exact_low_in(unit).map(|v| Self::canonical_text(Some(v), unit))
    }

    /// Returns the high limit in canonical form, where one was written.
    pub fn canonical_high(&self, unit: &str) -> Option<String> {
        self.exact_high_in(unit).map(|v| Self::canonical_text(Some(v), unit))
    }

    /// Writes a decimal that is already in `unit` in canonical form.
    pub fn canonical_text(value: Option<Decimal>, unit: &str) -> String {
        match value {
            Some(value) if unit.is_empty() => value.six_digits(),
            Some(value) => format!("{} {unit}", value.six_digits()),
            None => "unstated".to_string(),
        }
    }

    fn convert(&self, number: &Decimal, to: &str) -> Option<Decimal> {
        let to = unit::find(self.0.kind, to)?;
        Some(self.0.unit.convert(number, &to))
    }
}

impl PartialEq for Quantity {
    fn eq(&self, other: &Self) -> bool {
        self.0.kind == other.0.kind && self.0.text == other.0.text
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.text)
    }
}

/// How far apart two spellings are, in letters that are wrong, lacking, too many or changed about; a text that is far
/// longer than any name is as far as can be, since comparing would cost more than a suggestion is worth.
pub(crate) fn apart(one: &str, two: &str) -> usize {
    const LONGEST: usize = 200;
    match one.len().max(two.len()) > LONGEST {
        true => usize::MAX,
        false => strsim::damerau_levenshtein(one, two),
    }
}

#[cfg(test)]
mod tests;
