//! Reading a quantity from text, with errors that show the mend.

use super::unit::{self, Kind, Unit, accepted_units};
use super::{Decimal, Own, Quantity, Spread};
use std::sync::Arc;
use thiserror::Error;

/// Why a text is no quantity of the kind that was expected.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum QuantityError {
    /// A number stands where a quantity belongs.
    #[error("`{text}` has no unit; {} was expected", article(*.kind))]
    BareNumber {
        /// What was written.
        text: String,
        /// The whole text with the unit that its limits or its tolerance carry, where they carry one.
        mended: Option<String>,
        /// What was expected.
        kind: Kind,
    },
    /// The number in front is one that no figure of the trade needs.
    #[error("`{text}` has too large or too long a number for {}", article(*.kind))]
    Unwieldy {
        /// What was written.
        text: String,
        /// What was expected.
        kind: Kind,
    },
    /// The unit is not known at all.
    #[error("`{unit}` is no unit of {}", .kind.name())]
    UnknownUnit {
        /// What was written.
        text: String,
        /// The unit as written.
        unit: String,
        /// What was expected.
        kind: Kind,
    },
    /// The unit is one of another dimension.
    #[error("`{unit}` measures {is}, {} was expected", article(*.kind))]
    WrongDimension {
        /// What was written.
        text: String,
        /// The unit as written.
        unit: String,
        /// What that unit measures.
        is: String,
        /// What was expected.
        kind: Kind,
    },
    /// There is no number in front.
    #[error("`{text}` is no {}", .kind.name())]
    NoNumber {
        /// What was written.
        text: String,
        /// What was expected.
        kind: Kind,
    },
    /// The tolerance or the limits can't be read.
    #[error("`{text}`: {problem}")]
    Spread {
        /// What was written.
        text: String,
        /// What is wrong with it.
        problem: String,
        /// How to write it.
        help: String,
    },
}

/// Units as people write them by mistake, and what they mean; the distance of letters would mislead.
const MISTAKEN: [(&str, &str); 8] = [
    ("mu", "um"),
    ("micron", "um"),
    ("c", "degC"),
    ("deg", "degC"),
    ("f", "degF"),
    ("percent", "%"),
    ("pct", "%"),
    ("per cent", "%"),
];

fn article(kind: Kind) -> String {
    let name = kind.name();
    let vowel = name.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {name}", if vowel { "an" } else { "a" })
}

impl QuantityError {
    /// Returns how to mend the text.
    pub fn help(&self) -> String {
        match self {
            QuantityError::BareNumber { text, mended, kind } => {
                let units = accepted_units(*kind);
                let first = units.first().copied().unwrap_or_default();
                let mended = mended.clone().unwrap_or_else(|| format!("{text} {first}"));
                format!("write the unit, for example `{mended}`; accepted: {}", list(units))
            }
            QuantityError::Unwieldy { .. } => {
                "at most 60 digits are read, and exponents from -60 to 60".to_string()
            }
            QuantityError::UnknownUnit { text, unit, kind } => {
                let units = accepted_units(*kind);
                let known = MISTAKEN
                    .iter()
                    .find(|(wrong, right)| unit.eq_ignore_ascii_case(wrong) && units.contains(right));
                if let Some((_, right)) = known {
                    let mended = text.replacen(unit, right, 1);
                    return format!("did you mean `{mended}`? accepted: {}", list(units));
                }
                let near = units
                    .iter()
                    .map(|known| (super::apart(&unit.to_lowercase(), &known.to_lowercase()), known))
                    .min_by_key(|(distance, _)| *distance)
                    .filter(|(distance, known)| *distance <= 2 && *distance < known.len());
                match near {
                    Some((_, near)) => {
                        format!("did you mean `{}`? accepted: {}", text.replacen(unit, near, 1), list(units))
                    }
                    None if units.is_empty() => format!("{} takes no unit", article(*kind)),
                    None => format!("accepted units: {}", list(units)),
                }
            }
            QuantityError::WrongDimension { kind, .. } => match accepted_units(*kind) {
                [] => format!("write {} as a number without a unit", article(*kind)),
                units => format!("write {} in one of {}", article(*kind), list(units)),
            },
            QuantityError::NoNumber { text, kind } => {
                let unit = accepted_units(*kind).first().copied().unwrap_or_default();
                if text.contains(',') {
                    format!("write a decimal point, not a comma, and the unit: `12.5 {unit}`")
                } else {
                    format!("write a number and its unit, for example `{}`", format!("12.5 {unit}").trim())
                }
            }
            QuantityError::Spread { help, .. } => help.clone(),
        }
    }
}

fn list(units: &[&str]) -> String {
    units.iter().map(|unit| format!("`{unit}`")).collect::<Vec<_>>().join(", ")
}

pub(super) fn quantity(kind: Kind, text: &str) -> Result<Quantity, QuantityError> {
    let text = text.trim();
    let (head, spread) = split_spread(text);
    let (number, nominal, unit_text) = number_and_unit(kind, text, head)?;
    let unit = unit_of(kind, text, unit_text, number)?;
    let spread = match spread {
        Tail::None => Spread::None,
        Tail::Tolerance(tail) => tolerance(kind, text, tail, &unit)?,
        Tail::Limits(tail) => limits(kind, text, tail, &unit, unit_text, &nominal)?,
    };
    let nominal_f64 = nominal.to_f64();
    let si = unit.to_si(nominal_f64);
    let (low, high) = match &spread {
        Spread::None => (None, None),
        Spread::Relative(share) => {
            let step = (nominal_f64 * share.to_f64()).abs();
            (Some(unit.to_si(nominal_f64 - step)), Some(unit.to_si(nominal_f64 + step)))
        }
        Spread::Absolute(step) => {
            let step = step.to_f64();
            (Some(unit.to_si(nominal_f64 - step)), Some(unit.to_si(nominal_f64 + step)))
        }
        Spread::Limits(low, high) => (Some(unit.to_si(low.to_f64())), Some(unit.to_si(high.to_f64()))),
    };
    Ok(Quantity(Arc::new(Own { text: text.to_string(), kind, number: nominal, unit, spread, si, low, high })))
}

enum Tail<'a> {
    None,
    Tolerance(&'a str),
    Limits(&'a str),
}

fn split_spread(text: &str) -> (&str, Tail<'_>) {
    for mark in ["+/-", "±", "+-"] {
        if let Some((head, tail)) = text.split_once(mark) {
            return (head.trim(), Tail::Tolerance(tail.trim()));
        }
    }
    if let Some((head, tail)) = text.split_once('(') {
        return (head.trim(), Tail::Limits(tail.trim()));
    }
    (text, Tail::None)
}

/// Splits `200 g/m2` behind the number; the number is checked by [`Decimal::parse`] later.
fn split_number(text: &str) -> (&str, &str) {
    let bytes = text.as_bytes();
    let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let mut end = 0;
    if matches!(bytes.first(), Some(b'+' | b'-')) {
        end = 1;
    }
    while digit(end) || bytes.get(end) == Some(&b'.') {
        end += 1;
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let signed = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        if digit(end + 1 + signed) {
            end += 1 + signed;
            while digit(end) {
                end += 1;
            }
        }
    }
    let (number, unit) = text.split_at(end);
    (number, unit.trim())
}

fn number_and_unit<'a>(
    kind: Kind,
    text: &str,
    head: &'a str,
) -> Result<(&'a str, Decimal, &'a str), QuantityError> {
    let (number, unit) = split_number(head);
    match Decimal::parse(number) {
        Some(value) if !unit.starts_with(',') => Ok((number, value, unit)),
        None if number.bytes().any(|byte| byte.is_ascii_digit()) && number.parse::<f64>().is_ok() => {
            Err(QuantityError::Unwieldy { text: text.to_string(), kind })
        }
        _ => Err(QuantityError::NoNumber { text: text.to_string(), kind }),
    }
}

fn unit_of(kind: Kind, text: &str, unit: &str, number: &str) -> Result<Unit, QuantityError> {
    // A share may be bare, but none is more than the whole: `3` was meant as `3 %`.
    let bare = kind == Kind::Fraction
        && unit.is_empty()
        && Decimal::parse(number).is_some_and(|value| value.abs() > Decimal::whole(1));
    if let Some(found) = unit::find(kind, unit).filter(|_| !bare) {
        return Ok(found);
    }
    if unit.is_empty() {
        let mended = tail_unit(kind, text)
            .and_then(|unit| Some(format!("{number} {unit}{}", text.strip_prefix(number)?)));
        return Err(QuantityError::BareNumber { text: number.to_string(), mended, kind });
    }
    let measures = unit::measures(unit);
    Err(match measures.first() {
        Some(_) => QuantityError::WrongDimension {
            text: text.to_string(),
            unit: unit.to_string(),
            is: measures.join(" or "),
            kind,
        },
        None => QuantityError::UnknownUnit { text: text.to_string(), unit: unit.to_string(), kind },
    })
}

/// The unit that the limits or the tolerance behind a bare number carry, where it may stand in front too.
fn tail_unit(kind: Kind, text: &str) -> Option<&str> {
    let (_, tail) = split_spread(text);
    let figure = match tail {
        Tail::None => return None,
        Tail::Tolerance(tail) => tail,
        Tail::Limits(tail) => tail.strip_suffix(')')?.rsplit("..").next()?.trim(),
    };
    let (_, unit) = split_number(figure);
    // A temperature's tolerance is a difference: its `K` says nothing about the scale in front.
    let scale = kind == Kind::Temperature && matches!(split_spread(text).1, Tail::Tolerance(_));
    (!unit.is_empty() && !scale && unit::find(kind, unit).is_some()).then_some(unit)
}

fn tolerance(kind: Kind, text: &str, tail: &str, unit: &Unit) -> Result<Spread, QuantityError> {
    let bad = |problem: &str| QuantityError::Spread {
        text: text.to_string(),
        problem: problem.to_string(),
        help: match accepted_units(kind).first() {
            Some(first) => {
                format!("write the tolerance behind `+/-` with its unit, for example `+/- 5 {first}`")
            }
            None => "write the tolerance behind `+/-`, for example `+/- 0.05`".to_string(),
        },
    };
    let (number, unit_text) = split_number(tail);
    let value = Decimal::parse(number).ok_or_else(|| bad("the tolerance is no number"))?;
    if value < Decimal::zero() {
        return Err(bad("a tolerance is not negative"));
    }
    let points = matches!(unit_text, "%" | "points" | "point");
    match kind {
        Kind::Temperature => {
            let step = unit::find(Kind::TemperatureDifference, unit_text)
                .ok_or_else(|| bad("a tolerance on a temperature is a difference in K, degC or degF"))?;
            Ok(Spread::Absolute(step.convert_step(&value, unit)))
        }
        Kind::Fraction => {
            let step = unit::find(kind, unit_text)
                .ok_or_else(|| bad("a tolerance on a fraction is in `%` or `points`"))?;
            if unit_text.is_empty() && unit.percent {
                return Err(bad("the tolerance has no unit"));
            }
            Ok(Spread::Absolute(step.convert_step(&value, unit)))
        }
        _ if points => match value.over(&Decimal::whole(100)) {
            Some(share) => Ok(Spread::Relative(share)),
            None => Err(bad("the tolerance is no number")),
        },
        _ => {
            let step = unit::find(kind, unit_text).ok_or_else(|| {
                bad(if unit_text.is_empty() {
                    "the tolerance has no unit"
                } else {
                    "the tolerance has a unit of another kind"
                })
            })?;
            Ok(Spread::Absolute(step.convert_step(&value, unit)))
        }
    }
}

fn limits(
    kind: Kind,
    text: &str,
    tail: &str,
    unit: &Unit,
    unit_text: &str,
    nominal: &Decimal,
) -> Result<Spread, QuantityError> {
    let bad = |problem: &str| QuantityError::Spread {
        text: text.to_string(),
        problem: problem.to_string(),
        help: format!("write limits as `({} .. {} {unit_text})` around the nominal", "LOW", "HIGH"),
    };
    let inside = tail.strip_suffix(')').ok_or_else(|| bad("the limits are not closed by `)`"))?;
    let (low, high) =
        inside.split_once("..").ok_or_else(|| bad("limits are two figures with `..` between"))?;
    let (low_number, low_unit) = split_number(low.trim());
    let (high_number, high_unit) = split_number(high.trim());
    let read = |number: &str, unit_text: &str| -> Result<Decimal, QuantityError> {
        let value = Decimal::parse(number).ok_or_else(|| bad("a limit is no number"))?;
        let written =
            unit::find(kind, unit_text).ok_or_else(|| bad("a limit has no unit, or one of another kind"))?;
        Ok(written.convert(&value, unit))
    };
    let high = read(high_number, high_unit)?;
    let low = read(low_number, if low_unit.is_empty() { high_unit } else { low_unit })?;
    if low > *nominal || high < *nominal {
        return Err(bad("the nominal lies outside its limits"));
    }
    Ok(Spread::Limits(low, high))
}
