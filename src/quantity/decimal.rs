//! Exact decimals: what equality and windows are judged on.

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One, Signed, Zero};
use std::fmt;
use std::ops::{Add, Mul, Sub};

/// An exact rational number, read from and written as a decimal.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Decimal(BigRational);

/// Exponents beyond this are refused: no figure of the trade needs them, and they would cost memory.
const MAX_EXPONENT: i32 = 60;
/// Longer digit strings are refused for the same reason.
const MAX_DIGITS: usize = 60;

impl Decimal {
    /// Returns zero.
    pub fn zero() -> Self {
        Self(BigRational::zero())
    }

    /// Returns the whole number `value`.
    pub fn whole(value: i64) -> Self {
        Self(BigRational::from_integer(BigInt::from(value)))
    }

    /// Reads `12`, `-0.5`, `1.2e-3`; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let (mantissa, exponent) = match text.find(['e', 'E']) {
            Some(at) => (text.get(..at)?, text.get(at + 1..)?.parse::<i32>().ok()?),
            None => (text, 0),
        };
        if exponent.abs() > MAX_EXPONENT {
            return None;
        }
        let (sign, digits) = match mantissa.as_bytes().first()? {
            b'-' => (-1, mantissa.get(1..)?),
            b'+' => (1, mantissa.get(1..)?),
            _ => (1, mantissa),
        };
        let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
        if whole.is_empty() && part.is_empty() || whole.len() + part.len() > MAX_DIGITS {
            return None;
        }
        if !whole.bytes().chain(part.bytes()).all(|b| b.is_ascii_digit()) {
            return None;
        }
        let number: BigInt = format!("{whole}{part}").parse().ok()?;
        let scale = exponent - i32::try_from(part.len()).ok()?;
        let ten = power_of_ten(scale.unsigned_abs());
        let value = BigRational::from_integer(number * sign);
        Some(Self(if scale < 0 { value / ten } else { value * ten }))
    }

    /// Returns the absolute value.
    pub fn abs(&self) -> Self {
        Self(self.0.abs())
    }

    /// Returns the quotient; `None` when `other` is zero.
    pub fn over(&self, other: &Self) -> Option<Self> {
        (!other.0.is_zero()).then(|| Self(&self.0 / &other.0))
    }

    /// Returns whether this is zero.
    pub fn is_zero(&self) -> bool {
        self.0.is_zero()
    }

    /// Returns the nearest floating-point number.
    pub fn to_f64(&self) -> f64 {
        // Through the decimal text: the ratio of two big integers loses range.
        num_traits::ToPrimitive::to_f64(&self.0).unwrap_or(f64::NAN)
    }

    /// Writes six significant digits, half to even, as the shortest plain decimal.
    pub fn six_digits(&self) -> String {
        if self.0.is_zero() {
            return "0".to_string();
        }
        let magnitude = self.0.abs();
        // The place of the first digit: 10^place <= magnitude < 10^(place+1).
        let mut place = estimate_place(&magnitude);
        while power(place + 1) <= magnitude {
            place += 1;
        }
        while power(place) > magnitude {
            place -= 1;
        }
        let step = power(place - 5);
        let rounded = round_half_even(&(&magnitude / &step)) * step;
        let sign = if self.0.is_negative() { "-" } else { "" };
        format!("{sign}{}", plain(&rounded))
    }
}

fn power_of_ten(exponent: u32) -> BigRational {
    BigRational::from_integer(BigInt::from(10u8).pow(exponent))
}

fn power(exponent: i32) -> BigRational {
    let ten = power_of_ten(exponent.unsigned_abs());
    if exponent < 0 { BigRational::one() / ten } else { ten }
}

fn estimate_place(magnitude: &BigRational) -> i32 {
    let digits = |n: &BigInt| i32::try_from(n.magnitude().to_string().len()).unwrap_or(i32::MAX / 4);
    digits(magnitude.numer()) - digits(magnitude.denom())
}

fn round_half_even(value: &BigRational) -> BigRational {
    let floor = value.floor();
    let rest = value - &floor;
    let half = BigRational::new(BigInt::one(), BigInt::from(2u8));
    let up = rest > half || (rest == half && !(floor.to_integer() % BigInt::from(2u8)).is_zero());
    if up { floor + BigRational::one() } else { floor }
}

/// Writes a non-negative rational whose denominator divides a power of ten.
fn plain(value: &BigRational) -> String {
    let mut shift = 0u32;
    let mut scaled = value.clone();
    while !scaled.is_integer() && shift < 100 {
        scaled *= power_of_ten(1);
        shift += 1;
    }
    let digits = scaled.to_integer().to_string();
    if shift == 0 {
        return digits;
    }
    let shift = usize::try_from(shift).unwrap_or(0);
    let padded = format!("{digits:0>width$}", width = shift + 1);
    let (whole, part) = padded.split_at(padded.len() - shift);
    format!("{whole}.{part}")
}

impl Add for &Decimal {
    type Output = Decimal;
    fn add(self, other: Self) -> Decimal {
        Decimal(&self.0 + &other.0)
    }
}

impl Sub for &Decimal {
    type Output = Decimal;
    fn sub(self, other: Self) -> Decimal {
        Decimal(&self.0 - &other.0)
    }
}

impl Mul for &Decimal {
    type Output = Decimal;
    fn mul(self, other: Self) -> Decimal {
        Decimal(&self.0 * &other.0)
    }
}

impl fmt::Debug for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.six_digits())
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.six_digits())
    }
}
