//! Tools: glass transition against the cure, growth in the oven, the angle that a corner takes, moulds for
//! a rate, pulls that are left.
//!
//! Temperatures in K, lengths in m, angles in rad, times in s. Screening with simple physics: a first
//! article is measured, and a tool is corrected by what was measured. Nothing here is approved data.

/// Why a figure of a tool could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ToolingError {
    /// A value that is not a number or outside its range.
    #[error("{what} is {value} {unit}; it must be {range}")]
    OutOfRange {
        /// Which value.
        what: &'static str,
        /// What was given, in `unit`.
        value: f64,
        /// The range, in words.
        range: &'static str,
        /// SI unit, empty for a bare ratio or count.
        unit: &'static str,
    },
    /// A rate, a cycle and hours that no number of moulds can be counted for.
    #[error("{moulds:e} moulds would be needed: the rate, the cycle or the hours can't be meant so")]
    TooMany {
        /// What came out, moulds.
        moulds: f64,
    },
    /// Free strains that leave nothing of the length or the thickness.
    #[error("{what} shrinks to nothing or less: its free strain is {strain}")]
    Vanishes {
        /// What shrinks.
        what: &'static str,
        /// Its strain, a bare ratio.
        strain: f64,
    },
}

/// A rule of practice as data: a margin and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// What it is for.
    pub about: &'static str,
    /// The margin, K.
    pub margin: f64,
    /// Where it comes from.
    pub source: &'static str,
}

/// How far the glass transition of a mould lies above the hottest that the part makes it.
pub const MOULD_RULE: Rule = Rule {
    about: "glass transition of a mould, dry, over the hottest of cure, post-cure and exotherm",
    margin: 20.0,
    source: "common practice, no source",
};

/// How far the glass transition (or deflection temperature) of a pattern lies above the mould's cure on it.
pub const PATTERN_RULE: Rule = Rule {
    about: "glass transition or heat deflection temperature of a pattern over the mould's cure on it",
    margin: 15.0,
    source: "common practice, no source (10 to 15 K; the larger is taken)",
};

// Slips of units end here.
const HOTTEST: f64 = 2000.0;
const LARGEST_EXPANSION: f64 = 1e-3;
const LONGEST: f64 = 1e4;
const LONGEST_TIME: f64 = 1e12;
/// More moulds than this no programme has; a count beyond it is a slip.
const MOST_MOULDS: f64 = 1e6;
/// What a quotient may lie above a whole number and still be it: rounding must not ask for a mould more.
const ROUNDING: f64 = 1e-9;

/// A tool's glass transition beside what it has to bear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatCheck {
    /// The hottest that the tool gets, K.
    pub hottest: f64,
    /// What its glass transition must at least be, K: the hottest and the margin.
    pub needed: f64,
    /// Glass transition less `needed`, K; negative where the tool is too soft.
    pub spare: f64,
}

impl HeatCheck {
    /// Returns whether the rule is kept.
    pub fn is_kept(&self) -> bool {
        self.spare >= 0.0
    }
}

/// Checks a tool's glass transition against the hottest of what is cured on it.
///
/// # Arguments
/// * `glass_transition` – of the tool, dry, or its heat deflection temperature, K
/// * `temperatures` – cure, post-cure on the tool, exotherm, K; at least one
/// * `margin` – K over the hottest; see [`MOULD_RULE`] and [`PATTERN_RULE`]
///
/// # Errors
/// [`ToolingError::OutOfRange`], also for an empty list.
///
/// # Source
/// Tg >= hottest + margin; the margins: common practice, no source.
///
/// ```
/// use bondline_engineering::fabrication::tooling::{MOULD_RULE, check_heat};
///
/// // A mould of Tg 135 degC, a part cured at 120 degC: 5 K short of the rule.
/// let check = check_heat(408.15, &[393.15], MOULD_RULE.margin)?;
/// assert!(!check.is_kept());
/// assert!((check.spare + 5.0).abs() < 1e-9);
/// # Ok::<(), bondline_engineering::fabrication::tooling::ToolingError>(())
/// ```
pub fn check_heat(
    glass_transition: f64,
    temperatures: &[f64],
    margin: f64,
) -> Result<HeatCheck, ToolingError> {
    let tg = temperature("the tool's glass transition", glass_transition)?;
    let margin = within("the margin", margin, (0.0..=HOTTEST).contains(&margin), "0 to 2000", "K")?;
    let mut hottest = f64::NEG_INFINITY;
    for one in temperatures {
        hottest = hottest.max(temperature("a temperature of the cycle", *one)?);
    }
    let fits = hottest.is_finite();
    within("the number of temperatures of the cycle", 0.0, fits, "at least one", "")?;
    Ok(HeatCheck { hottest, needed: hottest + margin, spare: tg - hottest - margin })
}

/// Returns how much more a tool grows than the part on it, in m, from the room to the cure.
///
/// Positive where the tool grows more: a part that takes the tool's size when it sets is longer by this, at
/// room temperature, than the tool is there (to first order).
///
/// # Arguments
/// * `tool`, `part` – coefficients of expansion, 1/K
/// * `set` – temperature at which the part sets (gels), K
/// * `room` – temperature at which lengths are measured, K
/// * `length` – over which, m
///
/// # Errors
/// [`ToolingError::OutOfRange`].
///
/// # Source
/// (alpha_tool - alpha_part) (T_set - T_room) L: linear expansion, any text on mechanics of materials.
///
/// ```
/// use bondline_engineering::fabrication::tooling::mismatch;
///
/// // 1 m, glass tool 14e-6, carbon part 3e-6 1/K, 100 K: 1.1 mm.
/// let grows = mismatch(14e-6, 3e-6, 393.15, 293.15, 1.0)?;
/// assert!((grows - 1.1e-3).abs() < 1e-12);
/// # Ok::<(), bondline_engineering::fabrication::tooling::ToolingError>(())
/// ```
pub fn mismatch(tool: f64, part: f64, set: f64, room: f64, length: f64) -> Result<f64, ToolingError> {
    let tool = expansion("the tool's coefficient of expansion", tool)?;
    let part = expansion("the part's coefficient of expansion", part)?;
    let by = temperature("the temperature at which the part sets", set)?
        - temperature("the room temperature", room)?;
    let length = within("the length", length, (0.0..=LONGEST).contains(&length), "0 to 10 000", "m")?;
    Ok((tool - part) * by * length)
}

/// Returns the factor by which a tool is made larger than the part is to be, both at room temperature.
///
/// # Arguments
/// * `tool`, `part` – coefficients of expansion, 1/K
/// * `set` – temperature at which the part sets (gels), K
/// * `room` – temperature at which lengths are measured, K
///
/// # Errors
/// [`ToolingError::OutOfRange`]; [`ToolingError::Vanishes`] where a coefficient and the difference of
/// temperatures leave nothing of the tool.
///
/// # Source
/// (1 + alpha_part dT)/(1 + alpha_tool dT), dT = T_set - T_room: tool and part are equally long when the part
/// sets. Common practice, no source; the equality is what the outside check solves.
///
/// ```
/// use bondline_engineering::fabrication::tooling::scale_factor;
///
/// let factor = scale_factor(14e-6, 3e-6, 393.15, 293.15)?;
/// assert!((factor - 1.0003 / 1.0014).abs() < 1e-15);
/// # Ok::<(), bondline_engineering::fabrication::tooling::ToolingError>(())
/// ```
pub fn scale_factor(tool: f64, part: f64, set: f64, room: f64) -> Result<f64, ToolingError> {
    let tool = expansion("the tool's coefficient of expansion", tool)?;
    let part = expansion("the part's coefficient of expansion", part)?;
    let by = temperature("the temperature at which the part sets", set)?
        - temperature("the room temperature", room)?;
    Ok(stretch("the part", part * by)? / stretch("the tool", tool * by)?)
}

/// What makes a corner change its angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corner {
    /// Angle that the laminate turns through, rad: 180 degrees less the included angle of the corner.
    pub swept: f64,
    /// Coefficient of expansion in the plane, along the arc, 1/K.
    pub expansion_in_plane: f64,
    /// Coefficient of expansion through the thickness, 1/K.
    pub expansion_through: f64,
    /// Temperature of use less that of the cure, K; negative on cooling down.
    pub temperature_change: f64,
    /// Cure shrinkage in the plane, a strain; negative where it shrinks.
    pub shrinkage_in_plane: f64,
    /// Cure shrinkage through the thickness, a strain; negative where it shrinks.
    pub shrinkage_through: f64,
}

/// How far a corner closes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpringIn {
    /// By the change of temperature, rad; positive closes.
    pub thermal: f64,
    /// By the shrinkage of the cure, rad; positive closes.
    pub shrinkage: f64,
}

impl SpringIn {
    /// Returns both together, rad; positive closes the corner.
    pub fn total(&self) -> f64 {
        self.thermal + self.shrinkage
    }
}

/// Returns how far a corner of a laminate closes after its cure.
///
/// A mean of measured corners of common laminates is 0.7 to 1.5 degrees for a right angle (common practice,
/// no source). What the tool does to the part (friction, its own growth) is not in it.
///
/// # Errors
/// [`ToolingError::OutOfRange`]; [`ToolingError::Vanishes`].
///
/// # Source
/// d_theta/theta = (alpha_i - alpha_t) dT/(1 + alpha_t dT) + (phi_i - phi_t)/(1 + phi_t); H. E. Nelson,
/// D. S. Cairns 1989; D. W. Radford, T. S. Rennick 2000 (from memory).
///
/// ```
/// use bondline_engineering::fabrication::tooling::{Corner, spring_in};
///
/// let corner = Corner {
///     swept: std::f64::consts::FRAC_PI_2,
///     expansion_in_plane: 2.5e-6,
///     expansion_through: 45e-6,
///     temperature_change: -160.0,
///     shrinkage_in_plane: 0.0,
///     shrinkage_through: -0.005,
/// };
/// assert!((spring_in(&corner)?.total().to_degrees() - 1.06870).abs() < 5e-6);
/// # Ok::<(), bondline_engineering::fabrication::tooling::ToolingError>(())
/// ```
pub fn spring_in(corner: &Corner) -> Result<SpringIn, ToolingError> {
    let swept = corner.swept;
    let turn = std::f64::consts::TAU;
    within(
        "the angle that the laminate turns through",
        swept,
        (0.0..=turn).contains(&swept),
        "0 to 2 pi",
        "rad",
    )?;
    let along = expansion("the expansion in the plane", corner.expansion_in_plane)?;
    let through = expansion("the expansion through the thickness", corner.expansion_through)?;
    let by = corner.temperature_change;
    within("the change of temperature", by, by.abs() <= HOTTEST, "-2000 to 2000", "K")?;
    let [along_cure, through_cure] = [
        ("the shrinkage in the plane", corner.shrinkage_in_plane),
        ("the shrinkage through the thickness", corner.shrinkage_through),
    ]
    .map(|(what, value)| within(what, value, value.abs() <= 0.5, "-0.5 to 0.5", ""));
    let (along_cure, through_cure) = (along_cure?, through_cure?);
    let thickness = "the thickness of the corner";
    Ok(SpringIn {
        thermal: swept * (along - through) * by / stretch(thickness, through * by)?,
        shrinkage: swept * (along_cure - through_cure) / stretch(thickness, through_cure)?,
    })
}

/// How many moulds a rate needs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moulds {
    /// Moulds that would be busy all the hours, not rounded.
    pub busy: f64,
    /// Whole moulds, at least 1.
    pub whole: u32,
    /// Share of the hours that each of the whole moulds is busy, 0 to 1.
    pub load: f64,
}

/// Returns how many moulds a rate of parts needs; spares, and ovens that hold several, are not in it.
///
/// # Arguments
/// * `parts` – parts to be made in a span of time, above 0
/// * `cycle` – lay-up, cure, cooling, demoulding and preparing together, s
/// * `hours` – s that a mould is available in the same span
/// * `efficiency` – share of them that it really works, above 0 and at most 1
///
/// # Errors
/// [`ToolingError::OutOfRange`]; [`ToolingError::TooMany`] beyond a million.
///
/// # Source
/// ceil(parts x cycle/(hours x efficiency)): common practice, no source. A quotient within 1e-9 above a whole
/// number counts as that number.
///
/// ```
/// use bondline_engineering::fabrication::tooling::moulds_for_rate;
///
/// // 6 parts a week, 30 h each, 80 h a week at 85 %: 2.65 moulds are busy, so 3.
/// let moulds = moulds_for_rate(6.0, 30.0 * 3600.0, 80.0 * 3600.0, 0.85)?;
/// assert_eq!(moulds.whole, 3);
/// # Ok::<(), bondline_engineering::fabrication::tooling::ToolingError>(())
/// ```
pub fn moulds_for_rate(parts: f64, cycle: f64, hours: f64, efficiency: f64) -> Result<Moulds, ToolingError> {
    within("the number of parts", parts, parts > 0.0 && parts <= 1e9, "above 0 and at most 1e9", "")?;
    time("the cycle", cycle)?;
    time("the time available", hours)?;
    let fits = efficiency > 0.0 && efficiency <= 1.0;
    within("the efficiency", efficiency, fits, "above 0 and at most 1", "")?;
    let busy = parts * cycle / (hours * efficiency);
    let whole = (busy * (1.0 - ROUNDING)).ceil().max(1.0);
    if whole.is_nan() || whole > MOST_MOULDS {
        return Err(ToolingError::TooMany { moulds: busy });
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let count = whole as u32;
    Ok(Moulds { busy, whole: count, load: (busy / whole).min(1.0) })
}

/// What is left of a mould.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    /// Pulls until the life or the resurfacing is due; 0 where it is.
    pub left: u32,
    /// Pulls beyond it.
    pub beyond: u32,
    /// Weeks until then at the rate given; `None` where nothing is pulled.
    pub weeks: Option<f64>,
}

/// Returns the pulls that are left of a mould and the weeks until they are used up.
///
/// # Arguments
/// * `life` – pulls until it is worn out, or until it is resurfaced
/// * `used` – pulls made since it was new, or since it was resurfaced
/// * `rate` – pulls a week of this mould; 0 where it rests
///
/// # Errors
/// [`ToolingError::OutOfRange`] for a rate that is negative, absurd or not a number.
///
/// # Source
/// life - used, divided by the rate: a count.
///
/// ```
/// use bondline_engineering::fabrication::tooling::pulls_left;
///
/// let life = pulls_left(120, 96, 3.0)?;
/// assert_eq!((life.left, life.weeks), (24, Some(8.0)));
/// # Ok::<(), bondline_engineering::fabrication::tooling::ToolingError>(())
/// ```
pub fn pulls_left(life: u32, used: u32, rate: f64) -> Result<Life, ToolingError> {
    within("the rate", rate, (0.0..=1e6).contains(&rate), "0 to 1e6", "pulls a week")?;
    let left = life.saturating_sub(used);
    // A rate so small that the quotient overflows is none.
    let weeks = Some(f64::from(left) / rate).filter(|weeks| weeks.is_finite());
    Ok(Life { left, beyond: used.saturating_sub(life), weeks: if left == 0 { Some(0.0) } else { weeks } })
}

fn within(
    what: &'static str,
    value: f64,
    fits: bool,
    range: &'static str,
    unit: &'static str,
) -> Result<f64, ToolingError> {
    if fits { Ok(value) } else { Err(ToolingError::OutOfRange { what, value, range, unit }) }
}

fn temperature(what: &'static str, value: f64) -> Result<f64, ToolingError> {
    within(what, value, (0.0..=HOTTEST).contains(&value), "0 to 2000", "K")
}

fn expansion(what: &'static str, value: f64) -> Result<f64, ToolingError> {
    within(what, value, value.abs() <= LARGEST_EXPANSION, "-0.001 to 0.001", "1/K")
}

fn time(what: &'static str, value: f64) -> Result<f64, ToolingError> {
    within(what, value, value > 0.0 && value <= LONGEST_TIME, "above 0 and at most 1e12", "s")
}

/// 1 + strain, where something is left.
fn stretch(what: &'static str, strain: f64) -> Result<f64, ToolingError> {
    if strain > -1.0 { Ok(1.0 + strain) } else { Err(ToolingError::Vanishes { what, strain }) }
}

#[cfg(test)]
mod tests;
