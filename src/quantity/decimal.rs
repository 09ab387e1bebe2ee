//! Exact decimals: what equality and windows are judged on.

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One, Signed, ToPrimitive, Zero};
use std::cmp::Ordering;
use std::fmt;
use std::ops::{Add, Mul, Sub};

/// An exact rational number, read from and written as a decimal.
#[derive(Clone, PartialEq, Eq)]
pub struct Decimal(Ratio);

/// Nearly every figure of the trade is a ratio of two small whole numbers, and those need no memory of
/// their own. The form is the only one for a value: in lowest terms, the denominator positive, and `Big`
/// only where one of the two does not fit; so equal values are equal forms.
#[derive(Clone, PartialEq, Eq)]
enum Ratio {
    Small(i64, i64),
    Big(Box<BigRational>),
}

/// Exponents beyond this are refused: no figure of the trade needs them, and they would cost memory.
const MAX_EXPONENT: u32 = 60;
/// Longer digit strings are refused for the same reason.
const MAX_DIGITS: usize = 60;
/// Digits and scale up to which parsing stays within 64 bits.
const SMALL_DIGITS: usize = 18;

impl Decimal {
    /// Returns zero.
    pub fn zero() -> Self {
        Self::whole(0)
    }

    /// Returns the whole number `value`.
    pub fn whole(value: i64) -> Self {
        Self(Ratio::Small(value, 1))
    }

    /// Brings a ratio to its only form; `denom` is positive.
    fn reduced(numer: i128, denom: i128) -> Self {
        let divisor = gcd(numer.unsigned_abs(), denom.unsigned_abs());
        let (numer, denom) = match i128::try_from(divisor) {
            Ok(divisor) if divisor > 1 => (numer / divisor, denom / divisor),
            _ => (numer, denom),
        };
        match (i64::try_from(numer), i64::try_from(denom)) {
            (Ok(numer), Ok(denom)) => Self(Ratio::Small(numer, denom)),
            _ => Self(Ratio::Big(Box::new(BigRational::new_raw(BigInt::from(numer), BigInt::from(denom))))),
        }
    }

    fn from_big(value: BigRational) -> Self {
        match (value.numer().to_i64(), value.denom().to_i64()) {
            (Some(numer), Some(denom)) => Self(Ratio::Small(numer, denom)),
            _ => Self(Ratio::Big(Box::new(value))),
        }
    }

    fn to_big(&self) -> BigRational {
        match &self.0 {
            Ratio::Small(numer, denom) => BigRational::new_raw(BigInt::from(*numer), BigInt::from(*denom)),
            Ratio::Big(value) => (**value).clone(),
        }
    }

    /// Reads `12`, `-0.5`, `1.2e-3`; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let (mantissa, exponent) = match text.find(['e', 'E']) {
            Some(at) => (text.get(..at)?, text.get(at + 1..)?.parse::<i32>().ok()?),
            None => (text, 0),
        };
        if exponent.unsigned_abs() > MAX_EXPONENT {
            return None;
        }
        let (negative, digits) = match mantissa.as_bytes().first()? {
            b'-' => (true, mantissa.get(1..)?),
            b'+' => (false, mantissa.get(1..)?),
            _ => (false, mantissa),
        };
        let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
        if whole.is_empty() && part.is_empty() || whole.len() + part.len() > MAX_DIGITS {
            return None;
        }
        if !whole.bytes().chain(part.bytes()).all(|b| b.is_ascii_digit()) {
            return None;
        }
        let scale = exponent.checked_sub(i32::try_from(part.len()).ok()?)?;
        if whole.len() + part.len() <= SMALL_DIGITS && scale.unsigned_abs() as usize <= SMALL_DIGITS {
            let number =
                whole.bytes().chain(part.bytes()).fold(0i64, |all, digit| all * 10 + i64::from(digit - b'0'));
            let number = if negative { -number } else { number };
            let ten = 10i64.pow(scale.unsigned_abs());
            return Some(if scale < 0 {
                Self::reduced(number.into(), ten.into())
            } else {
                Self::reduced(i128::from(number) * i128::from(ten), 1)
            });
        }
        let sign = if negative { -1 } else { 1 };
        let number: BigInt = format!("{whole}{part}").parse().ok()?;
        let ten = power_of_ten(scale.unsigned_abs());
        let value = BigRational::from_integer(number * sign);
        Some(Self::from_big(if scale < 0 { value / ten } else { value * ten }))
    }

    /// Returns the absolute value.
    pub fn abs(&self) -> Self {
        match &self.0 {
            Ratio::Small(numer, denom) => Self::reduced(i128::from(*numer).abs(), i128::from(*denom)),
            Ratio::Big(value) => Self::from_big(value.abs()),
        }
    }

    /// Returns the quotient; `None` when `other` is zero.
    pub fn over(&self, other: &Self) -> Option<Self> {
        if other.is_zero() {
            return None;
        }
        Some(match (&self.0, &other.0) {
            (Ratio::Small(a, b), Ratio::Small(c, d)) => {
                let (numer, denom) = (i128::from(*a) * i128::from(*d), i128::from(*b) * i128::from(*c));
                if denom < 0 { Self::reduced(-numer, -denom) } else { Self::reduced(numer, denom) }
            }
            _ => Self::from_big(self.to_big() / other.to_big()),
        })
    }

    /// Returns whether this is zero.
    pub fn is_zero(&self) -> bool {
        matches!(self.0, Ratio::Small(0, _))
    }

    /// Returns the nearest floating-point number.
    pub fn to_f64(&self) -> f64 {
        const EXACT: u64 = 1 << f64::MANTISSA_DIGITS;
        match &self.0 {
            // Both are exact in binary, so one division rounds once.
            #[allow(clippy::cast_precision_loss)]
            Ratio::Small(numer, denom) if numer.unsigned_abs() <= EXACT && denom.unsigned_abs() <= EXACT => {
                *numer as f64 / *denom as f64
            }
            _ => self.to_big().to_f64().unwrap_or(f64::NAN),
        }
    }

    /// Writes six significant digits, half to even, as the shortest plain decimal.
    pub fn six_digits(&self) -> String {
        if let Ratio::Small(numer, denom) = self.0
            && let Some(text) = six_digits_small(numer, denom)
        {
            return text;
        }
        six_digits_big(&self.to_big())
    }
}

/// Six digits within 128 bits; `None` where that is too narrow.
fn six_digits_small(numer: i64, denom: i64) -> Option<String> {
    if numer == 0 {
        return Some("0".to_string());
    }
    let (size, denom) = (u128::from(numer.unsigned_abs()), u128::from(denom.unsigned_abs()));
    let places = |value: u128| i32::try_from(value.ilog10()).ok();
    // The place of the first digit is this or one less.
    let upper = places(size)? - places(denom)?;
    let ten = |exponent: i32| 10u128.checked_pow(exponent.unsigned_abs());
    let reaches = if upper >= 0 {
        size >= denom.checked_mul(ten(upper)?)?
    } else {
        size.checked_mul(ten(upper)?)? >= denom
    };
    let place = if reaches { upper } else { upper - 1 };
    let shift = place - 5;
    let (size, denom) = if shift >= 0 {
        (size, denom.checked_mul(ten(shift)?)?)
    } else {
        (size.checked_mul(ten(shift)?)?, denom)
    };
    let (mut rounded, rest) = (size / denom, size % denom);
    match rest.checked_mul(2)?.cmp(&denom) {
        Ordering::Greater => rounded += 1,
        Ordering::Equal if rounded % 2 == 1 => rounded += 1,
        _ => {}
    }
    let mut shift = shift;
    while shift < 0 && rounded % 10 == 0 {
        rounded /= 10;
        shift += 1;
    }
    let sign = if numer < 0 { "-" } else { "" };
    let after = usize::try_from(shift.unsigned_abs()).ok()?;
    if shift >= 0 {
        return Some(format!("{sign}{rounded}{:0<after$}", ""));
    }
    let padded = format!("{rounded:0>width$}", width = after + 1);
    let (whole, part) = padded.split_at(padded.len() - after);
    Some(format!("{sign}{whole}.{part}"))
}

fn six_digits_big(value: &BigRational) -> String {
    if value.is_zero() {
        return "0".to_string();
    }
    let magnitude = value.abs();
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
    let sign = if value.is_negative() { "-" } else { "" };
    format!("{sign}{}", plain(&rounded))
}

/// The greatest common divisor; of nothing and a number, the number.
fn gcd(one: u128, two: u128) -> u128 {
    let (mut one, mut two) = (one, two);
    while two != 0 {
        if let (Ok(small), Ok(other)) = (u64::try_from(one), u64::try_from(two)) {
            let (mut one, mut two) = (small, other);
            while two != 0 {
                (one, two) = (two, one % two);
            }
            return u128::from(one);
        }
        (one, two) = (two, one % two);
    }
    one
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

impl Ord for Decimal {
    fn cmp(&self, other: &Self) -> Ordering {
        match (&self.0, &other.0) {
            (Ratio::Small(a, b), Ratio::Small(c, d)) => {
                (i128::from(*a) * i128::from(*d)).cmp(&(i128::from(*c) * i128::from(*b)))
            }
            _ => self.to_big().cmp(&other.to_big()),
        }
    }
}

impl PartialOrd for Decimal {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Add for &Decimal {
    type Output = Decimal;
    fn add(self, other: Self) -> Decimal {
        match (&self.0, &other.0) {
            (Ratio::Small(a, b), Ratio::Small(c, d)) => {
                let (a, b, c, d) = (i128::from(*a), i128::from(*b), i128::from(*c), i128::from(*d));
                Decimal::reduced(a * d + c * b, b * d)
            }
            _ => Decimal::from_big(self.to_big() + other.to_big()),
        }
    }
}

impl Sub for &Decimal {
    type Output = Decimal;
    fn sub(self, other: Self) -> Decimal {
        match (&self.0, &other.0) {
            (Ratio::Small(a, b), Ratio::Small(c, d)) => {
                let (a, b, c, d) = (i128::from(*a), i128::from(*b), i128::from(*c), i128::from(*d));
                Decimal::reduced(a * d - c * b, b * d)
            }
            _ => Decimal::from_big(self.to_big() - other.to_big()),
        }
    }
}

impl Mul for &Decimal {
    type Output = Decimal;
    fn mul(self, other: Self) -> Decimal {
        match (&self.0, &other.0) {
            (Ratio::Small(a, b), Ratio::Small(c, d)) => {
                Decimal::reduced(i128::from(*a) * i128::from(*c), i128::from(*b) * i128::from(*d))
            }
            _ => Decimal::from_big(self.to_big() * other.to_big()),
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The same number by big integers alone.
    fn big(numer: i64, denom: i64) -> BigRational {
        BigRational::new(BigInt::from(numer), BigInt::from(denom))
    }

    fn decimal(numer: i64, denom: i64) -> Decimal {
        Decimal::from_big(big(numer, denom))
    }

    /// Numbers at the edges of 64 bits as often as ordinary ones.
    fn whole() -> impl Strategy<Value = i64> {
        prop_oneof![
            any::<i64>(),
            -2000i64..2000,
            Just(i64::MAX),
            Just(i64::MIN),
            -1_000_000_000i64..1_000_000_000
        ]
    }

    fn divisor() -> impl Strategy<Value = i64> {
        whole().prop_filter("not zero", |value| *value != 0)
    }

    #[test]
    fn a_value_has_one_form_at_the_edge_of_64_bits() {
        let most = Decimal::parse("9223372036854775807").unwrap();
        let over = &most + &Decimal::whole(1);
        assert!(matches!(over.0, Ratio::Big(_)));
        assert_eq!(&over - &Decimal::whole(1), most);
        assert!(matches!((&over - &Decimal::whole(1)).0, Ratio::Small(..)));
        assert_eq!(Decimal::whole(i64::MIN).abs(), over);
        assert_eq!(Decimal::whole(1).over(&Decimal::whole(i64::MIN)).unwrap().to_big(), big(1, i64::MIN));
    }

    #[test]
    fn exponents_at_the_edge_of_their_type_are_no_numbers() {
        for exponent in [i32::MIN, i32::MIN + 1, i32::MAX, 61, -61] {
            for mantissa in ["1", "-1", "1.5", "0", ".5"] {
                assert_eq!(Decimal::parse(&format!("{mantissa}e{exponent}")), None, "{mantissa}e{exponent}");
            }
        }
        assert_eq!(Decimal::parse("1e99999999999"), None);
        assert!(Decimal::parse("1e60").is_some() && Decimal::parse("1.5e-60").is_some());
    }

    proptest! {
        #[test]
        fn small_forms_answer_as_big_integers_do(a in whole(), b in divisor(), c in whole(), d in divisor()) {
            let (one, two) = (decimal(a, b), decimal(c, d));
            let (big_one, big_two) = (big(a, b), big(c, d));
            prop_assert_eq!((&one + &two).to_big(), &big_one + &big_two);
            prop_assert_eq!((&one - &two).to_big(), &big_one - &big_two);
            prop_assert_eq!((&one * &two).to_big(), &big_one * &big_two);
            prop_assert_eq!(one.cmp(&two), big_one.cmp(&big_two));
            prop_assert_eq!(one == two, big_one == big_two);
            prop_assert_eq!(one.over(&two).map(|value| value.to_big()), (c != 0).then(|| &big_one / &big_two));
            prop_assert_eq!(one.abs().to_big(), big_one.abs());
            prop_assert_eq!(one.to_f64().to_bits(), big_one.to_f64().unwrap().to_bits());
            prop_assert_eq!(one.six_digits(), six_digits_big(&big_one));
            prop_assert_eq!(&one, &Decimal::from_big(one.to_big()));
        }

        #[test]
        fn reading_is_exact(whole in "[0-9]{0,22}", part in "[0-9]{1,22}", exponent in -30i32..30, minus: bool) {
            let sign = if minus { "-" } else { "" };
            let read = Decimal::parse(&format!("{sign}{whole}.{part}e{exponent}")).unwrap();
            let digits: BigInt = format!("{sign}{whole}{part}").parse().unwrap();
            let scale = exponent - i32::try_from(part.len()).unwrap();
            prop_assert_eq!(read.to_big(), BigRational::from_integer(digits) * power(scale));
        }
    }
}
