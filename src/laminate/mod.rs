//! A stack of layers: thickness, areal mass, fibre volume.
//!
//! [`ply()`] turns reinforcement and matrix into a cured ply, [`at_thickness`] judges a measured or
//! stated thickness, [`solid`] and [`film`] are the layers without fibres, [`stack()`] adds layers
//! up. Plain values in SI: kg/m2, kg/m3, m.
//!
//! [`section`] has thin-walled sections with glazing and bonds, [`mismatch_shear`] and [`lap_shear`] the
//! shear in a bond, [`sheet_modulus`] a transparent sheet at temperature.
//!
//! An engineering aid: the cured part is measured, not calculated.

mod bondline;
mod glazing;
mod ply;
pub mod section;
mod stack;

pub use bondline::{Adherend, Adhesive, BondReserves, Lap, Mismatch, free_strain, lap_shear, mismatch_shear};
pub use glazing::{GlazingError, long_load_modulus, sheet_modulus};
pub use ply::{
    AtThickness, Constituents, Ply, at_thickness, bleed_share, ply, ply_at_fibre_volume, resin_content_at,
};
pub use section::{
    PaneLoss, Rigidity, Section, SectionError, SectionLoad, SectionResponse, Torsion, Wall, WallAxial,
    WallKind, WallState,
};
pub use stack::{Layer, Stack, film, solid, stack};

/// Why a layer or a stack could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LaminateError {
    /// A value that is not a number or outside its range.
    #[error("{what} is {value} {unit}; it must be {range}")]
    OutOfRange {
        /// Which value.
        what: &'static str,
        /// What was given, in `unit`.
        value: f64,
        /// The range, in words.
        range: &'static str,
        /// SI unit, empty for a bare ratio.
        unit: &'static str,
    },
    /// More resin bled off than the ply brings.
    #[error("{bleed} kg/m2 of resin is bled off a ply that brings {resin} kg/m2")]
    BledDry {
        /// Bled off this ply, kg/m2.
        bleed: f64,
        /// Resin of the ply before, kg/m2.
        resin: f64,
    },
    /// A bleed with no prepreg ply to take it from.
    #[error("resin is bled off a laminate that has no prepreg ply")]
    NothingToBleed,
}

// Slips of units end here: a ply of a hundred kilograms a square metre, a metal denser than any,
// a layer thicker than a hull.
const HEAVIEST: f64 = 1e4;
const DENSEST: f64 = 3e4;
const THICKEST: f64 = 10.0;

fn within(
    what: &'static str,
    value: f64,
    fits: bool,
    range: &'static str,
    unit: &'static str,
) -> Result<f64, LaminateError> {
    if fits { Ok(value) } else { Err(LaminateError::OutOfRange { what, value, range, unit }) }
}

fn areal(what: &'static str, value: f64) -> Result<f64, LaminateError> {
    within(what, value, (0.0..=HEAVIEST).contains(&value), "0 to 10 000", "kg/m2")
}

fn density(what: &'static str, value: f64) -> Result<f64, LaminateError> {
    within(what, value, (1e-3..=DENSEST).contains(&value), "0.001 to 30 000", "kg/m3")
}

fn thickness(what: &'static str, value: f64) -> Result<f64, LaminateError> {
    within(what, value, (1e-9..=THICKEST).contains(&value), "1 nm to 10 m", "m")
}
