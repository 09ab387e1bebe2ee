//! A stack of layers: thickness, areal mass, fibre volume; stiffness, stresses, failure.
//!
//! [`ply()`] turns reinforcement and matrix into a cured ply, [`at_thickness`] judges a measured or
//! stated thickness, [`solid`] and [`film`] are the layers without fibres, [`stack()`] adds layers
//! up. Plain values in SI: kg/m2, kg/m3, m.
//!
//! [`stiffness`] makes A, B, D of elastic layers and [`Compliance`] their inverse; [`recover_under`] gives
//! strains and stresses of every layer, [`reserve`] judges one ply, [`first_ply`] and [`last_ply`] a stack,
//! [`strain_peaks`] holds ply strains against design strains.
//!
//! [`sandwich`] has faces on a core with their local failures, [`plate`] rectangular plates under pressure
//! and in-plane load.
//!
//! [`section`] has thin-walled sections with glazing and bonds, [`mismatch_shear`] and [`lap_shear`] the
//! shear in a bond, [`sheet_modulus`] a transparent sheet at temperature.
//!
//! # Conventions of the mechanics
//! - z = 0 at the mid-plane; layers are listed from the tool face, z = -h/2, upward in z.
//! - Ply angles are positive from x towards y, rad. Vectors are [x, y, xy] and [1, 2, 12].
//! - Shear strain is engineering strain, twice the tensor's.
//! - Curvature is [-w,xx, -w,yy, -2 w,xy]; N = A e + B k, M = B e + D k.
//! - Forces are per width, N/m; moments per width, N. Stresses Pa, temperatures K.
//!
//! An engineering aid: the cured part is measured, not calculated.

mod bondline;
mod criteria;
mod design_strain;
mod discount;
mod elastic;
mod failure;
mod gauge;
mod glazing;
mod lamination;
mod lanes;
mod matrix;
pub mod plate;
mod ply;
mod recovery;
pub mod sandwich;
pub mod section;
mod side_by_side;
mod stack;

#[cfg(test)]
mod failure_tests;
#[cfg(test)]
mod lamination_tests;

pub use bondline::{Adherend, Adhesive, BondReserves, Lap, Mismatch, free_strain, lap_shear, mismatch_shear};
pub use criteria::{Criterion, Mode, PlyStrength, Reserve, reserve};
pub use design_strain::{DesignStrain, StrainPeak, StrainPeaks, strain_peaks};
pub use discount::{LastPly, USUAL_REMAINDER, last_ply};
pub use elastic::{Lamina, strain_in_ply, stress_in_ply};
pub use failure::{
    FirstPly, JudgedLayer, LayerReserve, PreparedLayer, first_ply, first_ply_prepared, layer_reserves,
};
pub use glazing::{GlazingError, long_load_modulus, sheet_modulus};
pub use lamination::{
    Compliance, Deformation, ElasticLayer, Load, Moduli, Stiffness, is_symmetric, stiffness,
};
pub use ply::{
    AtThickness, Constituents, Ply, at_thickness, bleed_share, ply, ply_at_fibre_volume, resin_content_at,
};
pub use recovery::{
    Middles, PointState, Position, PrincipalStrain, principal_strain, recover, recover_under,
};
pub use section::{
    PaneLoss, Rigidity, Section, SectionError, SectionLoad, SectionResponse, Torsion, Wall, WallAxial,
    WallKind, WallState,
};
pub use side_by_side::{Candidate, Kinds};
pub use stack::{Layer, Stack, film, solid, stack};

/// Rows by columns, in the order x, y, xy or 1, 2, 12.
pub type Matrix3 = [[f64; 3]; 3];

/// In the order x, y, xy or 1, 2, 12.
pub type Vector3 = [f64; 3];

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
    /// Poisson's ratio outside the thermodynamic bound.
    #[error("nu12 is {nu12}; with these moduli its magnitude must be below {limit}")]
    PoissonBound {
        /// What was given.
        nu12: f64,
        /// The square root of E1 / E2.
        limit: f64,
    },
    /// A stack of no layers.
    #[error("the stack has no layers")]
    NoLayers,
    /// A fault of one layer.
    #[error("layer {layer} from the tool face: {fault}")]
    InLayer {
        /// Which, the first at the tool face being 1.
        layer: usize,
        /// What is wrong with it.
        fault: Box<LaminateError>,
    },
    /// A stack that does not resist every strain and curvature.
    #[error(
        "the stack has no stiffness, or next to none, against some strain or curvature: no layer with elastic values is thick enough to bear it"
    )]
    Singular,
    /// No layer of the stack has strengths, or nothing was given to hold it against.
    #[error("no layer of the stack has strengths to judge it by, or no limit is given")]
    NothingJudged,
    /// A load under which no judged layer ever fails.
    #[error("the load stresses no layer that has strengths, so that no multiple of it fails one")]
    NoFailure,
    /// Strengths that a criterion needs and does not have.
    #[error("{criterion} needs {} under these stresses, and the ply has no such strength", .missing.join(", "))]
    MissingStrengths {
        /// Which criterion.
        criterion: &'static str,
        /// Which strengths: `Xt`, `Xc`, `Yt`, `Yc`, `S`.
        missing: Vec<&'static str>,
    },
    /// A stiffness that some deformation does not meet, or that is not symmetric.
    #[error("{what} is not symmetric and positive definite")]
    NotStiff {
        /// Which stiffness.
        what: &'static str,
    },
    /// A series that did not settle.
    #[error("{what} did not converge: the last terms changed it by {:.1} %", change * 100.0)]
    NotConverged {
        /// What was computed.
        what: &'static str,
        /// Last change as a share.
        change: f64,
    },
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
