//! A sandwich of two faces and a core: stiffness, deflection with core shear, stresses.
//!
//! The textbook theory of two isotropic faces on a core, all per width. A laminated face comes in
//! as its effective modulus along the span; the whole laminate with its core as a layer is the
//! business of the lamination functions. [`allowable`] holds what faces and core bear.
//!
//! Axes: face 0 is the tool face, at negative z; a positive moment stretches face 1. The moment
//! is M = D kappa about the neutral axis, where the force N acts too.
//!
//! Conventions that differ between texts, and what is used here:
//! * d = t_c + (t_0 + t_1)/2, between the faces' mid-planes.
//! * Shear stiffness S = G d^2/t_c (not G t_c, not G d): the faces' shear strain is nil, so the
//!   core shears by d/t_c times the section's angle.
//!
//! An engineering aid, not approved data: sandwich strength is shown by test.

pub mod allowable;

use super::{LaminateError, thickness, within};

// Stiffer than diamond is a slip of units.
const STIFFEST: f64 = 2e12;

pub(crate) fn modulus(what: &'static str, value: f64) -> Result<f64, LaminateError> {
    within(what, value, (1e2..=STIFFEST).contains(&value), "100 Pa to 2 TPa", "Pa")
}

pub(crate) fn finite(what: &'static str, value: f64, unit: &'static str) -> Result<f64, LaminateError> {
    within(what, value, value.abs() <= 1e15, "a number of at most 1e15", unit)
}

pub(crate) fn positive(what: &'static str, value: f64, unit: &'static str) -> Result<f64, LaminateError> {
    within(what, value, (1e-12..=1e15).contains(&value), "above 0", unit)
}

/// A face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Face {
    /// Modulus along the span, Pa.
    pub modulus: f64,
    /// Poisson's ratio in the face's plane, above -1 and below 1; used where the panel is wide.
    pub poisson: f64,
    /// Thickness, m.
    pub thickness: f64,
}

/// A core.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Core {
    /// Thickness, m.
    pub thickness: f64,
    /// Modulus along the span, Pa; 0 for a honeycomb, whose cells fold.
    pub modulus: f64,
    /// Modulus through the thickness, Pa.
    pub modulus_through: f64,
    /// Shear modulus in the plane of span and thickness, Pa: of the L or the W direction.
    pub shear_modulus: f64,
}

/// Two faces on a core, per width.
///
/// # Example
/// ```
/// use bondline_engineering::laminate::sandwich::{Core, Face, Sandwich};
/// let face = Face { modulus: 70e9, poisson: 0.3, thickness: 0.5e-3 };
/// let core = Core { thickness: 10e-3, modulus: 130e6, modulus_through: 130e6, shear_modulus: 90e6 };
/// let sandwich = Sandwich::new([face, face], core)?;
/// // 25 mm wide: 48 541 666.67 N mm2 and 24 806.25 N.
/// assert!((sandwich.bending_stiffness() * 0.025 - 48.541_666_67).abs() < 1e-6);
/// assert!((sandwich.shear_stiffness() * 0.025 - 24_806.25).abs() < 1e-6);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sandwich {
    faces: [Face; 2],
    core: Core,
    wide: bool,
}

impl Sandwich {
    /// Makes a narrow sandwich beam of faces and core.
    ///
    /// # Arguments
    /// * `faces` – of the tool side and of the other side
    /// * `core` – the core
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`].
    pub fn new(faces: [Face; 2], core: Core) -> Result<Sandwich, LaminateError> {
        for face in &faces {
            modulus("the face's modulus", face.modulus)?;
            thickness("the face's thickness", face.thickness)?;
            poisson(face.poisson)?;
        }
        thickness("the core's thickness", core.thickness)?;
        let along = core.modulus;
        within("the core's modulus", along, (0.0..=STIFFEST).contains(&along), "0 to 2 TPa", "Pa")?;
        modulus("the core's modulus through the thickness", core.modulus_through)?;
        modulus("the core's shear modulus", core.shear_modulus)?;
        Ok(Sandwich { faces, core, wide: false })
    }

    /// Returns the same as a wide panel in cylindrical bending: E/(1 - nu^2) for each face's E.
    ///
    /// # Source
    /// Plane strain across the width; Allen, Analysis and Design of Structural Sandwich Panels,
    /// 1969 (from memory).
    pub fn wide(self) -> Sandwich {
        Sandwich { wide: true, ..self }
    }

    /// Returns the faces as given.
    pub fn faces(&self) -> [Face; 2] {
        self.faces
    }

    /// Returns the core as given.
    pub fn core(&self) -> Core {
        self.core
    }

    /// Returns the thickness over all, m.
    pub fn thickness(&self) -> f64 {
        self.core.thickness + self.faces[0].thickness + self.faces[1].thickness
    }

    /// Returns d, the distance between the faces' mid-planes, m.
    pub fn depth(&self) -> f64 {
        self.core.thickness + (self.faces[0].thickness + self.faces[1].thickness) / 2.0
    }

    /// Returns the extensional stiffness, N/m: the sum of E t.
    pub fn extensional_stiffness(&self) -> f64 {
        self.layers().iter().map(|layer| layer.modulus * (layer.top - layer.bottom)).sum()
    }

    /// Returns how far the neutral axis lies from the outer surface of face 0, m.
    ///
    /// # Source
    /// Sum of E t z over sum of E t.
    pub fn neutral_axis(&self) -> f64 {
        let moment: f64 = self
            .layers()
            .iter()
            .map(|layer| layer.modulus * (layer.top.powi(2) - layer.bottom.powi(2)) / 2.0)
            .sum();
        moment / self.extensional_stiffness()
    }

    /// Returns the bending stiffness D about the neutral axis, N m: exact, with the core.
    ///
    /// # Source
    /// Integral of E (z - z0)^2; parallel axes. Allen 1969 (from memory).
    pub fn bending_stiffness(&self) -> f64 {
        let axis = self.neutral_axis();
        self.layers()
            .iter()
            .map(|layer| layer.modulus * ((layer.top - axis).powi(3) - (layer.bottom - axis).powi(3)) / 3.0)
            .sum()
    }

    /// Returns the bending stiffness with thin faces and a soft core, N m.
    ///
    /// # Source
    /// D = E0 t0 E1 t1 d^2/(E0 t0 + E1 t1); Allen 1969, Zenkert, An Introduction to Sandwich
    /// Construction, 1995 (from memory). Below the exact one.
    pub fn bending_stiffness_thin(&self) -> f64 {
        let [below, _, above] = self.layers();
        let below = below.modulus * self.faces[0].thickness;
        let above = above.modulus * self.faces[1].thickness;
        below * above / (below + above) * self.depth().powi(2)
    }

    /// Returns the shear stiffness S = G d^2/t_c, N/m.
    ///
    /// # Source
    /// Allen 1969 (from memory); see the module for other conventions.
    pub fn shear_stiffness(&self) -> f64 {
        self.core.shear_modulus * self.depth().powi(2) / self.core.thickness
    }

    /// Returns the stresses in the faces under a force and a moment per width.
    ///
    /// # Arguments
    /// * `force` – N, N/m, at the neutral axis; tension is positive
    /// * `moment` – M, N (N m/m); positive stretches face 1
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] where a load is not a number.
    ///
    /// # Source
    /// sigma = E [N/(E t) + (z - z0) M/D]: plane sections.
    pub fn face_stresses(&self, force: f64, moment: f64) -> Result<[FaceStress; 2], LaminateError> {
        let strain = finite("the force", force, "N/m")? / self.extensional_stiffness();
        let curvature = finite("the moment", moment, "N")? / self.bending_stiffness();
        let axis = self.neutral_axis();
        let at = |layer: &Layer, z: f64| layer.modulus * (strain + (z - axis) * curvature);
        let [below, _, above] = self.layers();
        Ok([
            FaceStress {
                outer: at(&below, below.bottom),
                middle: at(&below, (below.bottom + below.top) / 2.0),
                inner: at(&below, below.top),
            },
            FaceStress {
                outer: at(&above, above.top),
                middle: at(&above, (above.bottom + above.top) / 2.0),
                inner: at(&above, above.bottom),
            },
        ])
    }

    /// Returns the core's shear stress under a transverse force per width.
    ///
    /// # Arguments
    /// * `force` – Q, N/m
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] where the force is not a number.
    ///
    /// # Source
    /// tau = Q/D times the first moment of E beyond the place (shear flow of a composite beam);
    /// thin faces and a soft core: Q/d. Allen 1969 (from memory).
    pub fn core_shear(&self, force: f64) -> Result<CoreShear, LaminateError> {
        let force = finite("the transverse force", force, "N/m")?;
        let axis = self.neutral_axis();
        let [below, core, _] = self.layers();
        // The flow is greatest at the neutral axis, or at the interface nearest to it.
        let place = axis.clamp(core.bottom, core.top);
        let moment = |layer: &Layer, to: f64| {
            layer.modulus * ((to - axis).powi(2) - (layer.bottom - axis).powi(2)) / 2.0
        };
        let first = -(moment(&below, below.top) + moment(&core, place));
        Ok(CoreShear { greatest: force * first / self.bending_stiffness(), thin: force / self.depth() })
    }

    /// Returns the pressure with which bending squeezes the core, Pa.
    ///
    /// # Arguments
    /// * `moment` – M, N (N m/m)
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] where the moment is not a number.
    ///
    /// # Source
    /// Each face carries M/d along a curve of radius D/M, so it presses inward with M^2/(d D); for
    /// equal thin faces that is 2 M^2/(E t d^3), as MIL-HDBK-23A has it (from memory).
    pub fn curvature_pressure(&self, moment: f64) -> Result<f64, LaminateError> {
        Ok(finite("the moment", moment, "N")?.powi(2) / (self.depth() * self.bending_stiffness()))
    }

    fn layers(&self) -> [Layer; 3] {
        let modulus = |face: &Face| {
            if self.wide { face.modulus / (1.0 - face.poisson.powi(2)) } else { face.modulus }
        };
        let [below, above] = &self.faces;
        let first = below.thickness;
        let second = first + self.core.thickness;
        [
            Layer { modulus: modulus(below), bottom: 0.0, top: first },
            Layer { modulus: self.core.modulus, bottom: first, top: second },
            Layer { modulus: modulus(above), bottom: second, top: second + above.thickness },
        ]
    }
}

// Heights from the outer surface of face 0.
struct Layer {
    modulus: f64,
    bottom: f64,
    top: f64,
}

pub(crate) fn poisson(value: f64) -> Result<f64, LaminateError> {
    within("the face's Poisson's ratio", value, value.abs() < 1.0, "above -1 and below 1", "")
}

/// Stresses in a face, Pa; tension is positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaceStress {
    /// At the outer surface.
    pub outer: f64,
    /// In the middle of the face: what wrinkling and dimpling are compared with.
    pub middle: f64,
    /// At the core.
    pub inner: f64,
}

/// Shear stress in the core, Pa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoreShear {
    /// The greatest in the core.
    pub greatest: f64,
    /// By the thin-face formula Q/d.
    pub thin: f64,
}

/// A beam and its load; forces in N, the whole of each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Beam {
    /// Supported at both ends, the force in the middle.
    ThreePoint(f64),
    /// Supported at both ends, the force spread evenly over the span.
    Uniform(f64),
    /// Clamped at one end, the force at the other.
    Cantilever(f64),
}

/// Greatest deflection of a beam, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deflection {
    /// By bending.
    pub bending: f64,
    /// By shear of the core.
    pub shear: f64,
}

impl Deflection {
    /// Returns both together, m.
    pub fn total(&self) -> f64 {
        self.bending + self.shear
    }
}

/// Returns the deflection of a sandwich beam, in the middle or at the free end.
///
/// # Arguments
/// * `beam` – support and load
/// * `span` – L, m
/// * `bending` – D of the whole width, N m2
/// * `shear` – U of the whole width, N
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// P L^3/48 D + P L/4 U; 5 P L^3/384 D + P L/8 U; P L^3/3 D + P L/U. Allen 1969, Zenkert 1995 (from
/// memory).
///
/// # Example
/// ```
/// use bondline_engineering::laminate::sandwich::{Beam, beam_deflection};
/// let it = beam_deflection(Beam::ThreePoint(100.0), 0.3, 48.541_666_67, 24_806.25)?;
/// assert!((it.bending - 1.158_798e-3).abs() < 1e-9 && (it.shear - 0.302_343e-3).abs() < 1e-9);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn beam_deflection(beam: Beam, span: f64, bending: f64, shear: f64) -> Result<Deflection, LaminateError> {
    within("the span", span, (1e-6..=1e4).contains(&span), "1 um to 10 km", "m")?;
    positive("the bending stiffness", bending, "N m2")?;
    positive("the shear stiffness", shear, "N")?;
    let (force, by_bending, by_shear) = match beam {
        Beam::ThreePoint(force) => (force, 1.0 / 48.0, 1.0 / 4.0),
        Beam::Uniform(force) => (force, 5.0 / 384.0, 1.0 / 8.0),
        Beam::Cantilever(force) => (force, 1.0 / 3.0, 1.0),
    };
    finite("the force", force, "N")?;
    Ok(Deflection {
        bending: by_bending * force * span.powi(3) / bending,
        shear: by_shear * force * span / shear,
    })
}

#[cfg(test)]
mod tests;
