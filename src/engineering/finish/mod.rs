//! Paint build, colour, skin temperature.
//!
//! [`build`] turns coats into film and areal mass; [`skin_temperature`] and
//! [`surface_temperature`] say how hot the sun makes a surface, [`heat_left`] what that leaves of the
//! temperatures that must not be exceeded, [`colour_limit`] and [`darkest`] how dark a surface may
//! be; [`cie76`] and [`ciede2000`] how far two colours lie apart; [`project`] when a
//! property that was read in time reaches its limit. Plain values in SI: kelvin, watts, metres, kilograms.
//!
//! The balance is a steady one with an insulated back: an engineering aid for comparing colours,
//! not a substitute for a measured skin temperature.

mod colour;
mod film;
mod heat;
mod sun;
mod trial;

pub use colour::{Ciede2000, Lab, cie76, ciede2000};
pub use film::{Build, Coat, build};
pub use heat::{Darkest, HeatLimit, Left, Skin, Sunshine, WET_GLASS_TRANSITION_MARGIN, darkest, heat_left};
pub use sun::{
    Balance, ColourLimit, STEFAN_BOLTZMANN, colour_limit, default_sky, film_coefficient, skin_temperature,
    surface_temperature,
};
pub use trial::{CONFIDENCE, Keep, NoProjection, Projection, Reading, project};

/// Why a value of the finish could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FinishError {
    /// A value that is not a number or outside its range.
    #[error("{what} is {value} {unit}; it must lie between {low} and {high} {unit}")]
    OutOfRange {
        /// Which value.
        what: &'static str,
        /// What was given, in `unit`.
        value: f64,
        /// Least allowed.
        low: f64,
        /// Most allowed.
        high: f64,
        /// SI unit, empty for a bare ratio.
        unit: &'static str,
    },
    /// A surface that neither air nor radiation can cool.
    #[error(
        "a surface that absorbs heat, with no film coefficient and no emittance, has no steady temperature"
    )]
    NothingCools,
    /// Limits that do not enclose their nominal.
    #[error("coat {coat}: the {what} is {nominal} m, outside its own limits {low} .. {high} m")]
    Limits {
        /// Place of the coat, counted from 1.
        coat: usize,
        /// Which value.
        what: &'static str,
        /// Its nominal, m.
        nominal: f64,
        /// Its low limit, m.
        low: f64,
        /// Its high limit, m.
        high: f64,
    },
}

/// Returns `value` if it lies within `low..=high`; refuses NaN.
fn within(
    what: &'static str,
    value: f64,
    low: f64,
    high: f64,
    unit: &'static str,
) -> Result<f64, FinishError> {
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(FinishError::OutOfRange { what, value, low, high, unit })
    }
}
