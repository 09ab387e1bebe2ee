//! The elastic ply: reduced stiffness, its rotation, its expansion.

use super::matrix::Symmetric;
use super::{LaminateError, Matrix3, Vector3, within};
use std::f64::consts::TAU;

/// Elastic values of one layer in its own axes: 1 along the fibres (or the warp), 2 across in the plane.
///
/// Plane stress, linear, the same in tension and compression.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamina {
    /// Young's modulus along 1, Pa.
    pub e1: f64,
    /// Young's modulus along 2, Pa.
    pub e2: f64,
    /// In-plane shear modulus, Pa.
    pub g12: f64,
    /// Major Poisson's ratio: strain in 2 under stress in 1, with the sign turned.
    pub nu12: f64,
    /// Coefficient of thermal expansion along 1, 1/K.
    pub cte1: f64,
    /// Coefficient of thermal expansion along 2, 1/K.
    pub cte2: f64,
}

impl Lamina {
    /// A layer whose stiffness is left out of account, such as a film without elastic values: it takes
    /// up room in the stack, so that what lies beside it stands off the mid-plane, and carries nothing.
    pub const VOID: Self = Self { e1: 0.0, e2: 0.0, g12: 0.0, nu12: 0.0, cte1: 0.0, cte2: 0.0 };

    /// An isotropic layer, such as a sheet, a metal mesh taken as a foil, or a resin film.
    ///
    /// # Arguments
    /// * `e` - Young's modulus, Pa
    /// * `nu` - Poisson's ratio, above -1 and at most 0.5
    /// * `cte` - coefficient of thermal expansion, 1/K
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] for a value that is no number or outside its range.
    pub fn isotropic(e: f64, nu: f64, cte: f64) -> Result<Self, LaminateError> {
        within("Poisson's ratio", nu, nu > -1.0 && nu <= 0.5, "above -1, at most 0.5", "")?;
        let lamina = Self { e1: e, e2: e, g12: e / (2.0 * (1.0 + nu)), nu12: nu, cte1: cte, cte2: cte };
        lamina.checked()
    }

    /// Whether this is [`Lamina::VOID`]: no stiffness at all.
    pub fn is_void(&self) -> bool {
        self.e1 == 0.0 && self.e2 == 0.0 && self.g12 == 0.0 && self.nu12 == 0.0
    }

    /// Returns the values if they can be those of a material.
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] for a modulus outside 1 Pa to 10 TPa, an expansion beyond 0.01/K;
    /// [`LaminateError::PoissonBound`] if `nu12` squared is not below `e1 / e2`: the layer would give
    /// out work.
    ///
    /// # Source
    /// The bound: R. M. Jones, Mechanics of Composite Materials, 2nd ed., section 2.4 (from memory).
    pub fn checked(self) -> Result<Self, LaminateError> {
        for (what, value) in [("cte1", self.cte1), ("cte2", self.cte2)] {
            within(what, value, value.abs() <= LARGEST_EXPANSION, "-0.01 to 0.01", "1/K")?;
        }
        if self.is_void() {
            return Ok(self);
        }
        for (what, value) in [("E1", self.e1), ("E2", self.e2), ("G12", self.g12)] {
            within(what, value, (1.0..=STIFFEST).contains(&value), "1 Pa to 10 TPa", "Pa")?;
        }
        let limit = (self.e1 / self.e2).sqrt();
        if self.nu12.abs() < limit {
            Ok(self)
        } else {
            Err(LaminateError::PoissonBound { nu12: self.nu12, limit })
        }
    }

    /// Reduced stiffness Q in ply axes, Pa: stress [1, 2, 12] = Q strain, shear strain engineering.
    ///
    /// # Errors
    /// Those of [`Lamina::checked`].
    ///
    /// # Source
    /// A. K. Kaw, Mechanics of Composite Materials, ch. 2 (from memory; the figures in the tests were
    /// computed again with numpy).
    ///
    /// ```
    /// use bondline_engineering::laminate::Lamina;
    /// let ply = Lamina { e1: 181e9, e2: 10.3e9, g12: 7.17e9, nu12: 0.28, cte1: 0.02e-6, cte2: 22.5e-6 };
    /// let q = ply.stiffness()?;
    /// assert!((q[0][0] / 181.8111e9 - 1.0).abs() < 1e-6);
    /// assert!((q[0][1] / 2.8969e9 - 1.0).abs() < 1e-4);
    /// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
    /// ```
    pub fn stiffness(&self) -> Result<Matrix3, LaminateError> {
        Ok(self.checked()?.reduced().full())
    }

    /// Stiffness Qbar in laminate axes, Pa, of a ply turned by `angle` (rad, positive from x to y).
    ///
    /// # Errors
    /// Those of [`Lamina::checked`]; [`LaminateError::OutOfRange`] for an angle beyond one turn, which
    /// degrees given for radians mostly are.
    ///
    /// # Source
    /// A. K. Kaw, Mechanics of Composite Materials, ch. 2 (from memory).
    pub fn rotated_stiffness(&self, angle: f64) -> Result<Matrix3, LaminateError> {
        Ok(self.checked()?.rotated(&Direction::of(angle)?).full())
    }

    /// Coefficients of expansion in laminate axes [x, y, xy], 1/K, shear engineering.
    ///
    /// # Errors
    /// Those of [`Lamina::rotated_stiffness`].
    pub fn rotated_expansion(&self, angle: f64) -> Result<Vector3, LaminateError> {
        Ok(self.checked()?.expansion(&Direction::of(angle)?))
    }

    /// The stiffness invariants U1, U2, U3, U4, U5, Pa: U1, U4 and U5 do not change with the angle.
    ///
    /// # Errors
    /// Those of [`Lamina::checked`].
    ///
    /// # Source
    /// S. W. Tsai, H. T. Hahn, Introduction to Composite Materials, 1980 (from memory).
    pub fn invariants(&self) -> Result<[f64; 5], LaminateError> {
        let [q11, q12, _, q22, _, q66] = self.checked()?.reduced().0;
        Ok([
            (3.0 * q11 + 3.0 * q22 + 2.0 * q12 + 4.0 * q66) / 8.0,
            (q11 - q22) / 2.0,
            (q11 + q22 - 2.0 * q12 - 4.0 * q66) / 8.0,
            (q11 + q22 + 6.0 * q12 - 4.0 * q66) / 8.0,
            (q11 + q22 - 2.0 * q12 + 4.0 * q66) / 8.0,
        ])
    }

    /// Minor Poisson's ratio nu21 = nu12 E2 / E1; 0 for a void.
    pub fn nu21(&self) -> f64 {
        if self.is_void() { 0.0 } else { self.nu12 * self.e2 / self.e1 }
    }

    /// Q of checked values.
    pub(super) fn reduced(&self) -> Symmetric {
        if self.is_void() {
            return Symmetric::default();
        }
        let share = 1.0 / (1.0 - self.nu12 * self.nu21());
        let (q11, q22) = (self.e1 * share, self.e2 * share);
        Symmetric([q11, self.nu12 * q22, 0.0, q22, 0.0, self.g12])
    }

    pub(super) fn rotated(&self, direction: &Direction) -> Symmetric {
        let Direction { c, s } = *direction;
        let [q11, q12, _, q22, _, q66] = self.reduced().0;
        let (c2, s2, cs) = (c * c, s * s, c * s);
        let (c4, s4, c2s2) = (c2 * c2, s2 * s2, cs * cs);
        let (along, across) = (q11 - q12 - 2.0 * q66, q22 - q12 - 2.0 * q66);
        Symmetric([
            q11 * c4 + 2.0 * (q12 + 2.0 * q66) * c2s2 + q22 * s4,
            (q11 + q22 - 4.0 * q66) * c2s2 + q12 * (c4 + s4),
            (along * c2 - across * s2) * cs,
            q11 * s4 + 2.0 * (q12 + 2.0 * q66) * c2s2 + q22 * c4,
            (along * s2 - across * c2) * cs,
            (q11 + q22 - 2.0 * q12 - 2.0 * q66) * c2s2 + q66 * (c4 + s4),
        ])
    }

    pub(super) fn expansion(&self, direction: &Direction) -> Vector3 {
        direction.strain_to_laminate(&[self.cte1, self.cte2, 0.0])
    }
}

const STIFFEST: f64 = 1e13;
const LARGEST_EXPANSION: f64 = 1e-2;

/// Cosine and sine of a ply's angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Direction {
    pub c: f64,
    pub s: f64,
}

impl Direction {
    pub fn of(angle: f64) -> Result<Self, LaminateError> {
        within("the angle", angle, angle.abs() <= TAU, "-2 pi to 2 pi", "rad")?;
        let (s, c) = libm::sincos(angle);
        // A right angle is not a float; what its cosine leaves would couple where nothing does.
        let clean = |v: f64| if v.abs() < 1e-15 { 0.0 } else { v };
        Ok(Self { c: clean(c), s: clean(s) })
    }

    pub fn stress_to_ply(&self, stress: &Vector3) -> Vector3 {
        let (Self { c, s }, [x, y, t]) = (*self, *stress);
        let (c2, s2, cs) = (c * c, s * s, c * s);
        [c2 * x + s2 * y + 2.0 * cs * t, s2 * x + c2 * y - 2.0 * cs * t, cs * (y - x) + (c2 - s2) * t]
    }

    pub fn strain_to_ply(&self, strain: &Vector3) -> Vector3 {
        let (Self { c, s }, [x, y, g]) = (*self, *strain);
        let (c2, s2, cs) = (c * c, s * s, c * s);
        [c2 * x + s2 * y + cs * g, s2 * x + c2 * y - cs * g, 2.0 * cs * (y - x) + (c2 - s2) * g]
    }

    pub fn strain_to_laminate(&self, strain: &Vector3) -> Vector3 {
        Self { c: self.c, s: -self.s }.strain_to_ply(strain)
    }
}

/// Stress [x, y, xy], Pa, turned into the axes [1, 2, 12] of a ply at `angle` (rad).
///
/// # Errors
/// [`LaminateError::OutOfRange`] for an angle beyond one turn.
pub fn stress_in_ply(stress: Vector3, angle: f64) -> Result<Vector3, LaminateError> {
    Ok(Direction::of(angle)?.stress_to_ply(&stress))
}

/// Strain [x, y, xy], shear engineering, turned into the axes [1, 2, 12] of a ply at `angle` (rad).
///
/// # Errors
/// [`LaminateError::OutOfRange`] for an angle beyond one turn.
pub fn strain_in_ply(strain: Vector3, angle: f64) -> Result<Vector3, LaminateError> {
    Ok(Direction::of(angle)?.strain_to_ply(&strain))
}
