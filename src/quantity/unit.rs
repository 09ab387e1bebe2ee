//! Units: their spelling, their dimension, their exact factor to SI.

use super::Decimal;
use std::collections::HashMap;
use std::sync::OnceLock;

/// What a quantity measures; decides which units are accepted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// A share of the whole: `38 %`, `0.38`; SI 1.
    Fraction,
    /// SI m.
    Length,
    /// SI m2.
    Area,
    /// SI kg.
    Mass,
    /// Mass per length; SI kg/m.
    LinearMass,
    /// Mass per area; SI kg/m2.
    ArealMass,
    /// SI kg/m3.
    Density,
    /// Stress, modulus, pressure; SI Pa.
    Stress,
    /// A point on the scale; SI K.
    Temperature,
    /// A difference of temperatures; SI K.
    TemperatureDifference,
    /// SI K/s.
    HeatingRate,
    /// SI s.
    Duration,
    /// SI m/s.
    Speed,
    /// SI W/m2.
    Irradiance,
    /// A bare number is degrees; SI rad.
    Angle,
    /// Force per length of edge; SI N/m.
    LineForce,
    /// SI N.
    Force,
    /// Moment of a force, torque; SI N m.
    Moment,
    /// Stiffness of a section in bending or torsion, EI and GJ; SI N m2.
    Rigidity,
    /// Moment of a mass about an axis; SI kg m.
    MassMoment,
    /// Thermal expansion; SI 1/K.
    Expansion,
    /// SI m2/s.
    Diffusivity,
    /// Engineering strain: `4000 ustrain`, `0.4 %`; SI 1.
    Strain,
    /// A bare ratio that takes no unit (Poisson's ratio, absorptance).
    Ratio,
}

/// The system that reports are written in.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Default, serde::Deserialize, serde::Serialize, schemars::JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum UnitSystem {
    /// Metric units of the trade: g/m2, mm, degC, MPa.
    #[default]
    Si,
    /// Imperial units of the trade: oz/yd2, in, degF, ksi.
    Imperial,
}

/// Exponents of metre, kilogram, second, kelvin.
type Exponents = [i8; 4];

/// A unit of one kind: its exact factor and offset to SI.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Unit {
    factor: Decimal,
    offset: Decimal,
    /// `%` or `points`: on fractions a tolerance in it means percentage points.
    pub(super) percent: bool,
    factor_f64: f64,
    offset_f64: f64,
}

impl Unit {
    fn new(factor: Decimal, offset: Decimal, percent: bool) -> Self {
        let (factor_f64, offset_f64) = (factor.to_f64(), offset.to_f64());
        Self { factor, offset, percent, factor_f64, offset_f64 }
    }

    pub(super) fn to_si(&self, number: f64) -> f64 {
        number * self.factor_f64 + self.offset_f64
    }

    pub(super) fn convert(&self, number: &Decimal, to: &Unit) -> Decimal {
        if self == to {
            return number.clone();
        }
        let si = &(number * &self.factor) + &self.offset;
        (&si - &to.offset).over(&to.factor).unwrap_or_else(Decimal::zero)
    }

    /// Converts a difference, where an offset plays no part.
    pub(super) fn convert_step(&self, number: &Decimal, to: &Unit) -> Decimal {
        (number * &self.factor).over(&to.factor).unwrap_or_else(Decimal::zero)
    }
}

/// The base symbols: spelling, exponents, exact factor to SI.
///
/// Source: the international avoirdupois pound 0.45359237 kg and the international yard 0.9144 m are
/// exact (NIST SP 811, appendix B); lbf uses standard gravity 9.80665 m/s2.
const SYMBOLS: &[(&str, Exponents, &str)] = &[
    ("m", [1, 0, 0, 0], "1"),
    ("km", [1, 0, 0, 0], "1000"),
    ("cm", [1, 0, 0, 0], "0.01"),
    ("mm", [1, 0, 0, 0], "0.001"),
    ("um", [1, 0, 0, 0], "0.000001"),
    ("nm", [1, 0, 0, 0], "0.000000001"),
    ("in", [1, 0, 0, 0], "0.0254"),
    ("ft", [1, 0, 0, 0], "0.3048"),
    ("yd", [1, 0, 0, 0], "0.9144"),
    ("mil", [1, 0, 0, 0], "0.0000254"),
    ("kg", [0, 1, 0, 0], "1"),
    ("g", [0, 1, 0, 0], "0.001"),
    ("mg", [0, 1, 0, 0], "0.000001"),
    ("t", [0, 1, 0, 0], "1000"),
    ("lb", [0, 1, 0, 0], "0.45359237"),
    ("oz", [0, 1, 0, 0], "0.028349523125"),
    ("s", [0, 0, 1, 0], "1"),
    ("min", [0, 0, 1, 0], "60"),
    ("h", [0, 0, 1, 0], "3600"),
    ("d", [0, 0, 1, 0], "86400"),
    ("week", [0, 0, 1, 0], "604800"),
    ("K", [0, 0, 0, 1], "1"),
    ("N", [1, 1, -2, 0], "1"),
    ("kN", [1, 1, -2, 0], "1000"),
    ("lbf", [1, 1, -2, 0], "4.4482216152605"),
    ("Pa", [-1, 1, -2, 0], "1"),
    ("hPa", [-1, 1, -2, 0], "100"),
    ("kPa", [-1, 1, -2, 0], "1000"),
    ("MPa", [-1, 1, -2, 0], "1000000"),
    ("GPa", [-1, 1, -2, 0], "1000000000"),
    ("bar", [-1, 1, -2, 0], "100000"),
    ("mbar", [-1, 1, -2, 0], "100"),
    ("W", [2, 1, -3, 0], "1"),
    ("J", [2, 1, -2, 0], "1"),
];

/// Pound-force per square inch: a ratio of exact figures, so kept as one.
const PSI: [(&str, &str); 3] = [("psi", "1"), ("ksi", "1000"), ("Msi", "1000000")];

const ALIASES: &[(&str, &str)] = &[
    ("µm", "um"),
    ("μm", "um"),
    ("micron", "um"),
    ("microns", "um"),
    ("mils", "mil"),
    ("inch", "in"),
    ("sec", "s"),
    ("hour", "h"),
    ("hours", "h"),
    ("hr", "h"),
    ("day", "d"),
    ("days", "d"),
    ("weeks", "week"),
    ("minutes", "min"),
    ("lbs", "lb"),
    ("°C", "degC"),
    ("°F", "degF"),
    ("°", "deg"),
    ("gsm", "g/m2"),
];

fn exponents(kind: Kind) -> Exponents {
    match kind {
        Kind::Fraction | Kind::Angle | Kind::Strain | Kind::Ratio => [0, 0, 0, 0],
        Kind::Length => [1, 0, 0, 0],
        Kind::Area => [2, 0, 0, 0],
        Kind::Mass => [0, 1, 0, 0],
        Kind::LinearMass => [-1, 1, 0, 0],
        Kind::ArealMass => [-2, 1, 0, 0],
        Kind::Density => [-3, 1, 0, 0],
        Kind::Stress => [-1, 1, -2, 0],
        Kind::Temperature | Kind::TemperatureDifference => [0, 0, 0, 1],
        Kind::HeatingRate => [0, 0, -1, 1],
        Kind::Duration => [0, 0, 1, 0],
        Kind::Speed => [1, 0, -1, 0],
        Kind::Irradiance => [0, 1, -3, 0],
        Kind::LineForce => [0, 1, -2, 0],
        Kind::Force => [1, 1, -2, 0],
        Kind::Moment => [2, 1, -2, 0],
        Kind::Rigidity => [3, 1, -2, 0],
        Kind::MassMoment => [1, 1, 0, 0],
        Kind::Expansion => [0, 0, 0, -1],
        Kind::Diffusivity => [2, 0, -1, 0],
    }
}

impl Kind {
    /// The kinds that a unit tells; a difference of temperatures has the units of a temperature.
    pub const ALL: [Kind; 22] = [
        Kind::Fraction,
        Kind::Length,
        Kind::Area,
        Kind::Mass,
        Kind::LinearMass,
        Kind::ArealMass,
        Kind::Density,
        Kind::Stress,
        Kind::Temperature,
        Kind::HeatingRate,
        Kind::Duration,
        Kind::Speed,
        Kind::Irradiance,
        Kind::Angle,
        Kind::LineForce,
        Kind::Force,
        Kind::Moment,
        Kind::Rigidity,
        Kind::MassMoment,
        Kind::Expansion,
        Kind::Diffusivity,
        Kind::Strain,
    ];

    /// Returns the name used in messages.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Fraction => "fraction",
            Kind::Length => "length",
            Kind::Area => "area",
            Kind::Mass => "mass",
            Kind::LinearMass => "mass per length",
            Kind::ArealMass => "areal mass",
            Kind::Density => "density",
            Kind::Stress => "stress",
            Kind::Temperature => "temperature",
            Kind::TemperatureDifference => "temperature difference",
            Kind::HeatingRate => "heating rate",
            Kind::Duration => "duration",
            Kind::Speed => "speed",
            Kind::Irradiance => "irradiance",
            Kind::Angle => "angle",
            Kind::LineForce => "force per length",
            Kind::Force => "force",
            Kind::Moment => "moment",
            Kind::Rigidity => "section stiffness",
            Kind::MassMoment => "mass moment",
            Kind::Expansion => "coefficient of expansion",
            Kind::Diffusivity => "diffusivity",
            Kind::Strain => "strain",
            Kind::Ratio => "ratio",
        }
    }

    /// Returns the unit that [`super::Quantity::si`] is in.
    pub fn si_unit(self) -> &'static str {
        match self {
            Kind::Fraction | Kind::Strain | Kind::Ratio => "1",
            Kind::Length => "m",
            Kind::Area => "m2",
            Kind::Mass => "kg",
            Kind::LinearMass => "kg/m",
            Kind::ArealMass => "kg/m2",
            Kind::Density => "kg/m3",
            Kind::Stress => "Pa",
            Kind::Temperature | Kind::TemperatureDifference => "K",
            Kind::HeatingRate => "K/s",
            Kind::Duration => "s",
            Kind::Speed => "m/s",
            Kind::Irradiance => "W/m2",
            Kind::Angle => "rad",
            Kind::LineForce => "N/m",
            Kind::Force => "N",
            Kind::Moment => "N m",
            Kind::Rigidity => "N m2",
            Kind::MassMoment => "kg m",
            Kind::Expansion => "1/K",
            Kind::Diffusivity => "m2/s",
        }
    }

    /// Returns whether a number without a unit is meant, not forgotten.
    pub fn takes_bare_numbers(self) -> bool {
        matches!(self, Kind::Fraction | Kind::Angle | Kind::Ratio | Kind::Strain)
    }
}

/// Returns the units to offer for a kind, the usual one first.
pub fn accepted_units(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Fraction => &["%", "points"],
        Kind::Length => &["mm", "m", "um", "cm", "in", "mil", "ft"],
        Kind::Area => &["m2", "mm2", "cm2", "ft2", "in2"],
        Kind::Mass => &["kg", "g", "lb", "oz"],
        Kind::LinearMass => &["g/m", "kg/m", "lb/ft", "oz/ft"],
        Kind::ArealMass => &["g/m2", "kg/m2", "oz/yd2", "lb/ft2"],
        Kind::Density => &["kg/m3", "g/cm3", "lb/ft3", "lb/in3"],
        Kind::Stress => &["MPa", "GPa", "kPa", "Pa", "bar", "mbar", "psi", "ksi", "Msi"],
        Kind::Temperature => &["degC", "K", "degF"],
        Kind::TemperatureDifference => &["K", "degC", "degF"],
        Kind::HeatingRate => &["K/min", "degC/min", "degF/min"],
        Kind::Duration => &["min", "h", "s", "d", "week"],
        Kind::Speed => &["m/s", "km/h", "ft/s"],
        Kind::Irradiance => &["W/m2"],
        Kind::Angle => &["deg", "rad"],
        Kind::LineForce => &["N/mm", "N/m", "kN/m", "lbf/in"],
        Kind::Force => &["N", "kN", "lbf"],
        Kind::Moment => &["N m", "N mm", "kN m", "lbf in"],
        Kind::Rigidity => &["N m2", "N mm2", "kN m2", "lbf in2"],
        Kind::MassMoment => &["kg m", "g mm", "g cm", "lb in"],
        Kind::Expansion => &["1/K", "um/m/K", "1/degF"],
        Kind::Diffusivity => &["mm2/s", "m2/s"],
        Kind::Strain => &["ustrain", "%"],
        Kind::Ratio => &[],
    }
}

struct Symbol {
    name: &'static str,
    exponents: Exponents,
    factor: Decimal,
}

fn symbols() -> &'static [Symbol] {
    static TABLE: OnceLock<Vec<Symbol>> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut table: Vec<Symbol> = SYMBOLS
            .iter()
            .filter_map(|(name, exponents, factor)| {
                Some(Symbol { name, exponents: *exponents, factor: Decimal::parse(factor)? })
            })
            .collect();
        // lbf/in2 = 4.4482216152605 / 0.00064516 Pa, exact as a ratio.
        if let (Some(force), Some(area)) = (Decimal::parse("4.4482216152605"), Decimal::parse("0.00064516"))
            && let Some(psi) = force.over(&area)
        {
            for (name, times) in PSI {
                if let Some(times) = Decimal::parse(times) {
                    table.push(Symbol { name, exponents: [-1, 1, -2, 0], factor: &psi * &times });
                }
            }
        }
        table
    })
}

fn special(kind: Kind, text: &str) -> Option<Unit> {
    let decimal = |t: &str| Decimal::parse(t).unwrap_or_else(Decimal::zero);
    let plain = |t: &str| Some(Unit::new(decimal(t), Decimal::zero(), false));
    match (kind, text) {
        (Kind::Fraction, "%" | "points" | "point" | "wt-%" | "wt%") => {
            Some(Unit::new(decimal("0.01"), Decimal::zero(), true))
        }
        (Kind::Strain, "%") => plain("0.01"),
        (Kind::Strain, "ustrain" | "microstrain" | "µstrain" | "μstrain") => plain("0.000001"),
        (Kind::Fraction | Kind::Strain | Kind::Ratio, "" | "1") => plain("1"),
        (Kind::Angle, "deg" | "") => {
            Some(Unit::new(decimal("0.017453292519943295769"), Decimal::zero(), false))
        }
        (Kind::Angle, "rad") => plain("1"),
        (Kind::Temperature, "degC") => Some(Unit::new(decimal("1"), decimal("273.15"), false)),
        (Kind::Temperature, "degF") => Some(Unit::new(
            decimal("5").over(&decimal("9"))?,
            decimal("459.67").over(&decimal("9")).map(|v| &v * &decimal("5"))?,
            false,
        )),
        _ => None,
    }
}

/// Finds `text` as a unit of `kind`; `None` when unknown or of another dimension.
pub(super) fn find(kind: Kind, text: &str) -> Option<Unit> {
    let text = text.trim();
    if let Some(own) = usual().get(text)
        && let Some((_, unit)) = own.iter().find(|(known, _)| *known == kind)
    {
        return Some(unit.clone());
    }
    work_out(kind, text)
}

/// The units that are offered, worked out once: nearly all that is written is among them.
fn usual() -> &'static HashMap<&'static str, Vec<(Kind, Unit)>> {
    static TABLE: OnceLock<HashMap<&'static str, Vec<(Kind, Unit)>>> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut table: HashMap<&'static str, Vec<(Kind, Unit)>> = HashMap::new();
        for kind in Kind::ALL.into_iter().chain([Kind::TemperatureDifference, Kind::Ratio]) {
            for text in accepted_units(kind).iter().chain(&["", "1"]) {
                if let Some(unit) = work_out(kind, text) {
                    table.entry(text).or_default().push((kind, unit));
                }
            }
        }
        table
    })
}

fn work_out(kind: Kind, text: &str) -> Option<Unit> {
    let text = alias(text);
    if let Some(unit) = special(kind, text) {
        return Some(unit);
    }
    let (dimension, factor) = compound(text)?;
    (dimension == exponents(kind) && !text.is_empty()).then(|| Unit::new(factor, Decimal::zero(), false))
}

/// Returns the kinds' names that `text` would be a unit of; empty when it is no unit at all.
pub(super) fn measures(text: &str) -> Vec<&'static str> {
    Kind::ALL.iter().filter(|kind| find(**kind, text).is_some()).map(|kind| kind.name()).collect()
}

fn alias(text: &str) -> &str {
    ALIASES.iter().find(|(from, _)| *from == text).map_or(text, |(_, to)| to)
}

/// Reads `g/m2`, `N m`, `kg·m^-3`, `1/K`, `um/m/K` into exponents and factor.
fn compound(text: &str) -> Option<(Exponents, Decimal)> {
    let mut total = [0i8; 4];
    let mut factor = Decimal::whole(1);
    let mut sign = 1i8;
    let mut rest = text;
    let mut first = true;
    while !rest.is_empty() {
        if !first {
            let separator = rest.chars().next()?;
            match separator {
                '/' => sign = -1,
                '·' | '*' | ' ' | '.' => sign = 1,
                _ => return None,
            }
            rest = rest.get(separator.len_utf8()..)?.trim_start();
        }
        let end = rest.find(['/', '·', '*', ' ', '.']).unwrap_or(rest.len());
        let (token, after) = rest.split_at(end);
        if !(first && token == "1" && after.starts_with('/')) {
            let (symbol, power) = split_power(token)?;
            let symbol = alias(symbol);
            let (exponents, base) = if symbol == "degC" || symbol == "degF" {
                // In compounds a temperature is a difference.
                let fifths = if symbol == "degF" {
                    Decimal::whole(5).over(&Decimal::whole(9))?
                } else {
                    Decimal::whole(1)
                };
                ([0, 0, 0, 1], fifths)
            } else {
                let found = symbols().iter().find(|s| s.name == symbol)?;
                (found.exponents, found.factor.clone())
            };
            let power = power.checked_mul(sign)?;
            for (sum, exponent) in total.iter_mut().zip(exponents) {
                *sum = sum.checked_add(exponent.checked_mul(power)?)?;
            }
            for _ in 0..power.unsigned_abs() {
                factor = if power < 0 { factor.over(&base)? } else { &factor * &base };
            }
        }
        first = false;
        rest = after;
    }
    (!first).then_some((total, factor))
}

fn split_power(token: &str) -> Option<(&str, i8)> {
    if let Some(symbol) = token.strip_suffix('²') {
        return Some((symbol, 2));
    }
    if let Some(symbol) = token.strip_suffix('³') {
        return Some((symbol, 3));
    }
    let at = token.find(|c: char| c.is_ascii_digit() || c == '^' || c == '-').unwrap_or(token.len());
    let (symbol, power) = token.split_at(at);
    if power.is_empty() {
        return Some((symbol, 1));
    }
    let power: i8 = power.strip_prefix('^').unwrap_or(power).parse().ok()?;
    (!symbol.is_empty() && (-4..=4).contains(&power) && power != 0).then_some((symbol, power))
}
