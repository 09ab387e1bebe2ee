//! What the faces and the core of a sandwich bear, and the reserve.
//!
//! Face stresses in compression are positive here. The constants of wrinkling come with their
//! source, since published ones differ by a factor of two: what is used is shown.
//!
//! An engineering aid, not approved data.

use super::super::{LaminateError, thickness, within};
use super::{finite, modulus, poisson, positive};

/// What bears, and what it has to bear, in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Check {
    /// What it bears; above 0.
    pub allowable: f64,
    /// What it has to bear; 0 where the load goes the harmless way.
    pub applied: f64,
}

impl Check {
    /// Pairs an allowable with a load; a load below 0 does no harm and counts as 0.
    ///
    /// # Arguments
    /// * `allowable` – Pa or N/m, above 0
    /// * `applied` – in the same unit
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`].
    pub fn new(allowable: f64, applied: f64) -> Result<Check, LaminateError> {
        positive("the allowable", allowable, "")?;
        Ok(Check { allowable, applied: finite("the load", applied, "")?.max(0.0) })
    }

    /// Returns the reserve factor, allowable over applied; none where nothing is applied.
    pub fn reserve(&self) -> Option<f64> {
        let reserve = self.allowable / self.applied;
        reserve.is_finite().then_some(reserve)
    }
}

/// A constant of a wrinkling formula, with where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WrinklingConstant {
    /// The factor, above 0 and at most 1.
    pub value: f64,
    /// Its source, in words.
    pub source: &'static str,
}

/// Solid cores, for design: allows for waviness of the face.
pub const SOLID_DESIGN: WrinklingConstant = WrinklingConstant {
    value: 0.5,
    source: "design value for solid cores, Hoff and Mautner 1945; from memory",
};
/// Solid cores, a perfect face.
pub const SOLID_IDEAL: WrinklingConstant = WrinklingConstant {
    value: 0.91,
    source: "perfect face on a deep solid core, Hoff and Mautner 1945; from memory",
};
/// Honeycomb, for design: allows for waviness of the face.
pub const HONEYCOMB_DESIGN: WrinklingConstant = WrinklingConstant {
    value: 0.33,
    source: "design value for honeycomb cores, NASA CR-1457 (1969); from memory",
};
/// Honeycomb, a perfect face.
pub const HONEYCOMB_IDEAL: WrinklingConstant = WrinklingConstant {
    value: 0.82,
    source: "perfect face on a honeycomb core, NASA CR-1457 (1969); from memory",
};

fn constant(of: WrinklingConstant) -> Result<f64, LaminateError> {
    let fits = of.value > 0.0 && of.value <= 1.0;
    within("the wrinkling constant", of.value, fits, "above 0 and at most 1", "")
}

/// Returns the compressive stress at which a face wrinkles on a solid core, Pa.
///
/// # Arguments
/// * `face` – E_f along the load, Pa; for a laminated face E/(1 - nu_xy nu_yx) is the usual choice
/// * `through` – E_c of the core through its thickness, Pa
/// * `shear` – G_c of the core in the plane of load and thickness, Pa
/// * `k` – [`SOLID_DESIGN`], [`SOLID_IDEAL`] or another with its source
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// sigma = k (E_f E_c G_c)^(1/3); Hoff and Mautner 1945 (from memory). The core is deep against
/// the wrinkle.
///
/// # Example
/// ```
/// use bondline_engineering::laminate::sandwich::allowable::{SOLID_DESIGN, wrinkling_solid};
/// let stress = wrinkling_solid(70e9, 517e6, 152e6, SOLID_DESIGN)?;
/// assert!((stress / 882.634e6 - 1.0).abs() < 1e-6);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn wrinkling_solid(
    face: f64,
    through: f64,
    shear: f64,
    k: WrinklingConstant,
) -> Result<f64, LaminateError> {
    let face = modulus("the face's modulus", face)?;
    let through = modulus("the core's modulus through the thickness", through)?;
    let shear = modulus("the core's shear modulus", shear)?;
    Ok(constant(k)? * libm::cbrt(face) * libm::cbrt(through) * libm::cbrt(shear))
}

/// Returns the compressive stress at which a face wrinkles on a honeycomb core, Pa.
///
/// # Arguments
/// * `face` – E_f along the load, Pa
/// * `face_thickness` – t_f, m
/// * `through` – E_c of the core through its thickness, Pa
/// * `core_thickness` – t_c, m
/// * `k` – [`HONEYCOMB_DESIGN`], [`HONEYCOMB_IDEAL`] or another with its source
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// sigma = k E_f [E_c t_f/(E_f t_c)]^(1/2); MIL-HDBK-23A, NASA CR-1457 (from memory). Both faces
/// wrinkle against each other.
pub fn wrinkling_honeycomb(
    face: f64,
    face_thickness: f64,
    through: f64,
    core_thickness: f64,
    k: WrinklingConstant,
) -> Result<f64, LaminateError> {
    let face = modulus("the face's modulus", face)?;
    let through = modulus("the core's modulus through the thickness", through)?;
    let ratio = thickness("the face's thickness", face_thickness)?
        / thickness("the core's thickness", core_thickness)?;
    Ok(constant(k)? * (face * through * ratio).sqrt())
}

/// Returns the compressive stress at which a face buckles into the cells of a honeycomb, Pa.
///
/// # Arguments
/// * `face` – E_f, Pa; for an orthotropic face the geometric mean of both directions is usual
///   (common practice, no source)
/// * `ratio` – Poisson's ratio of the face
/// * `face_thickness` – t_f, m
/// * `cell` – s, the diameter of the circle inscribed in a cell, m
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// sigma = 2 E_f/(1 - nu^2) (t_f/s)^2; MIL-HDBK-23A, NASA CR-1457 (from memory).
pub fn dimpling(face: f64, ratio: f64, face_thickness: f64, cell: f64) -> Result<f64, LaminateError> {
    let slender = thickness("the face's thickness", face_thickness)? / positive("the cell size", cell, "m")?;
    Ok(2.0 * modulus("the face's modulus", face)? / (1.0 - poisson(ratio)?.powi(2)) * slender.powi(2))
}

/// Returns the force per width at which the core shears off under compression of the panel, N/m.
///
/// # Arguments
/// * `shear_stiffness` – S along the load, N/m, as [`super::Sandwich::shear_stiffness`]
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// N = S = G d^2/t_c: general buckling with a wave length towards 0; NASA CR-1457 (from memory).
/// The form N = G t_c of some texts is lower by (t_c/d)^2.
pub fn crimping(shear_stiffness: f64) -> Result<f64, LaminateError> {
    positive("the shear stiffness", shear_stiffness, "N/m")
}

/// Returns the reserve of the core in shear.
///
/// # Arguments
/// * `strength` – shear strength of the core in the direction of the force, Pa
/// * `stress` – shear stress, Pa, of either sign; see [`super::Sandwich::core_shear`]
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// Strength over stress.
pub fn core_shear(strength: f64, stress: f64) -> Result<Check, LaminateError> {
    Check::new(strength, stress.abs())
}

/// Returns the reserve of the core against crushing.
///
/// The pressure on the panel and the squeeze of bending act on the same core and are added: that
/// is exact under the loaded face and safe elsewhere.
///
/// # Arguments
/// * `strength` – compressive strength of the core through its thickness, Pa
/// * `pressure` – on the face, Pa; suction counts as 0
/// * `curvature` – by bending, Pa, as [`super::Sandwich::curvature_pressure`]
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// Strength over the sum of pressures; MIL-HDBK-23A for the squeeze (from memory).
pub fn core_crushing(strength: f64, pressure: f64, curvature: f64) -> Result<Check, LaminateError> {
    let pressure = finite("the pressure", pressure, "Pa")?.max(0.0);
    Check::new(strength, pressure + finite("the pressure of bending", curvature, "Pa")?.max(0.0))
}

/// Returns the reserve of the core under a force on a patch of the face.
///
/// # Arguments
/// * `strength` – compressive strength of the core through its thickness, Pa
/// * `force` – on the patch, N
/// * `area` – of the patch, m2
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// Force over area: the face spreads nothing, which is on the safe side. Common practice, no
/// source.
pub fn local_pressure(strength: f64, force: f64, area: f64) -> Result<Check, LaminateError> {
    Check::new(strength, force / positive("the area of the patch", area, "m2")?)
}

/// Returns the reserve of a face against an instability in compression.
///
/// # Arguments
/// * `allowable` – wrinkling or dimpling stress, Pa
/// * `stress` – in the middle of the face, Pa, tension positive as [`super::FaceStress`]
///
/// # Errors
/// [`LaminateError::OutOfRange`].
pub fn face_compression(allowable: f64, stress: f64) -> Result<Check, LaminateError> {
    Check::new(allowable, -stress)
}
