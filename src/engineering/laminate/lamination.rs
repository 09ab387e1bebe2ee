//! The elastic laminate: A, B, D, their inverse, moduli, thermal terms.

use super::elastic::{Direction, Lamina};
use super::matrix::{Blocks, Symmetric, SymmetricSum, plus, times, transposed};
use super::{LaminateError, Matrix3, Vector3, thickness, within};

/// One layer of an elastic stack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ElasticLayer {
    /// Elastic values; [`Lamina::VOID`] for a layer that has none.
    pub lamina: Lamina,
    /// Angle of the ply's axis 1, rad, positive from x towards y.
    pub angle: f64,
    /// Thickness, m.
    pub thickness: f64,
}

/// Loads on a unit width of laminate.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Load {
    /// Forces [Nx, Ny, Nxy] in the mid-plane, N/m.
    pub force: Vector3,
    /// Moments [Mx, My, Mxy] about the mid-plane, N (that is N m per m); positive strains the last
    /// layer, the one at +h/2, in tension.
    pub moment: Vector3,
    /// Temperature less the temperature at which the stack is free of stress, K.
    pub temperature: f64,
}

impl Load {
    /// Returns the load if it is one of numbers.
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] for forces or moments beyond 1e12, or a temperature change beyond
    /// 5000 K.
    pub fn checked(self) -> Result<Self, LaminateError> {
        for value in self.force {
            within("a force", value, value.abs() <= LARGEST_LOAD, "-1e12 to 1e12", "N/m")?;
        }
        for value in self.moment {
            within("a moment", value, value.abs() <= LARGEST_LOAD, "-1e12 to 1e12", "N")?;
        }
        let change = self.temperature;
        within("the temperature change", change, change.abs() <= HOTTEST, "-5000 to 5000", "K")?;
        Ok(self)
    }
}

pub(super) const LARGEST_LOAD: f64 = 1e12;
const HOTTEST: f64 = 5000.0;

/// Stiffness of a laminate about its mid-plane: N = A e + B k, M = B e + D k.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stiffness {
    /// In-plane stiffness A, N/m.
    pub a: Matrix3,
    /// Coupling B, N.
    pub b: Matrix3,
    /// Bending stiffness D, N m.
    pub d: Matrix3,
    /// Thickness of the whole stack, m.
    pub thickness: f64,
    /// Force that holds the stack from expanding, [x, y, xy], N/m per K.
    pub thermal_force: Vector3,
    /// Moment that holds the stack from curving, [x, y, xy], N per K.
    pub thermal_moment: Vector3,
}

/// Returns A, B, D and the thermal terms of a stack, first layer at the tool face (z = -h/2).
///
/// Layers that are [`Lamina::VOID`] count for thickness alone.
///
/// # Errors
/// [`LaminateError::NoLayers`]; [`LaminateError::InLayer`] around the fault of a layer.
///
/// # Source
/// A. K. Kaw, Mechanics of Composite Materials, ch. 4 (from memory; figures in the tests were computed
/// again with numpy).
///
/// ```
/// use bondline_engineering::laminate::{ElasticLayer, Lamina, stiffness};
/// // Invented values.
/// let ply = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 30e-6 };
/// let at = |degrees: f64| ElasticLayer { lamina: ply, angle: degrees.to_radians(), thickness: 0.2e-3 };
/// let cross = stiffness(&[at(0.0), at(90.0)])?;
/// assert!((cross.b[0][0] / -2595.233 - 1.0).abs() < 1e-6);
/// // An unsymmetric stack is softer than its A alone would say.
/// let moduli = cross.compliance()?.in_plane();
/// assert!((moduli.ex / 31_132.017e6 - 1.0).abs() < 1e-7);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn stiffness(layers: &[ElasticLayer]) -> Result<Stiffness, LaminateError> {
    let total = total_thickness(layers)?;
    let (mut sums, mut held) = (Sums::at_bottom_of(total), Held::at_bottom_of(total));
    for (number, layer) in layers.iter().enumerate() {
        let direction = checked(number, layer)?;
        let q = layer.lamina.rotated(&direction);
        held.add(&q.times(&layer.lamina.expansion(&direction)), layer.thickness);
        sums = sums.and(&Symmetric::default().plus(&q, layer.thickness), layer.thickness);
    }
    Ok(Stiffness {
        a: sums.a.sum().full(),
        b: sums.b.sum().full(),
        d: sums.d.sum().full(),
        thickness: total,
        thermal_force: held.force,
        thermal_moment: held.moment,
    })
}

/// Thickness of a stack of at least one layer, m.
pub(super) fn total_thickness(layers: &[ElasticLayer]) -> Result<f64, LaminateError> {
    if layers.is_empty() {
        return Err(LaminateError::NoLayers);
    }
    Ok(layers.iter().map(|layer| layer.thickness).sum())
}

/// The layer's direction, once all its values are found sound.
pub(super) fn checked(number: usize, layer: &ElasticLayer) -> Result<Direction, LaminateError> {
    let check = || {
        layer.lamina.checked()?;
        thickness("the thickness", layer.thickness)?;
        Direction::of(layer.angle)
    };
    check().map_err(|fault| LaminateError::InLayer { layer: number + 1, fault: Box::new(fault) })
}

/// The running sums of a stack.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sums {
    pub a: SymmetricSum,
    pub b: SymmetricSum,
    pub d: SymmetricSum,
    /// Where the next layer begins, m.
    z: f64,
}

impl Sums {
    pub fn at_bottom_of(total: f64) -> Self {
        let none = SymmetricSum::none();
        Self { a: none, b: none, d: none, z: -total / 2.0 }
    }

    /// The sums with one more layer; `membrane` is its stiffness times its thickness.
    #[inline]
    pub fn and(self, membrane: &Symmetric, thickness: f64) -> Self {
        let middle = self.z + 0.5 * thickness;
        // Parallel axes: the difference of cubes would lose digits far from the mid-plane.
        let second = middle * middle + thickness * thickness * (1.0 / 12.0);
        Self {
            a: self.a.plus(membrane, 1.0),
            b: self.b.plus(membrane, middle),
            d: self.d.plus(membrane, second),
            z: self.z + thickness,
        }
    }
}

/// The running sums of what holds a stack from expanding, per kelvin.
#[derive(Debug, Clone, Copy)]
pub(super) struct Held {
    pub force: Vector3,
    pub moment: Vector3,
    /// Where the next layer begins, m.
    z: f64,
}

impl Held {
    pub fn at_bottom_of(total: f64) -> Self {
        Self { force: [0.0; 3], moment: [0.0; 3], z: -total / 2.0 }
    }

    pub fn add(&mut self, thermal: &Vector3, thickness: f64) {
        let middle = self.z + thickness / 2.0;
        self.force = plus(&self.force, thickness, thermal);
        self.moment = plus(&self.moment, thickness * middle, thermal);
        self.z += thickness;
    }
}

impl Stiffness {
    /// The whole 6x6 inverted.
    ///
    /// # Errors
    /// [`LaminateError::Singular`] if some strain or curvature meets no stiffness, or so little beside
    /// the rest that fewer than four digits of the result would be good.
    ///
    /// # Source
    /// Block elimination; the result is compared with `numpy.linalg.inv` in `tests/outside`.
    pub fn compliance(&self) -> Result<Compliance, LaminateError> {
        let blocks = Blocks::new(&Symmetric::of(&self.a), &Symmetric::of(&self.b), &Symmetric::of(&self.d))
            .ok_or(LaminateError::Singular)?;
        let (alpha, beta, delta) = blocks.inverted();
        let (expansion, curvature) = blocks.solve(&self.thermal_force, &self.thermal_moment);
        let whole = Compliance { alpha, beta, delta, thickness: self.thickness, expansion, curvature };
        if whole.is_finite() { Ok(whole) } else { Err(LaminateError::Singular) }
    }

    /// Whether forces in x or y leave the stack free of in-plane shear: A16 and A26 below one part in
    /// 1e9 of A11 + A22. So is every stack with a ply at -angle for each ply at +angle.
    pub fn is_balanced(&self) -> bool {
        let [[a11, _, a16], [_, a22, a26], _] = self.a;
        let small = 1e-9 * (a11 + a22);
        a16.abs() <= small && a26.abs() <= small
    }
}

/// Whether the layers mirror each other about the mid-plane in thickness, stiffness and expansion
/// (a ply at 90 degrees mirrors one at -90).
///
/// # Errors
/// Those of [`stiffness`].
pub fn is_symmetric(layers: &[ElasticLayer]) -> Result<bool, LaminateError> {
    total_thickness(layers)?;
    let mut symmetric = true;
    for (number, (below, above)) in layers.iter().zip(layers.iter().rev()).enumerate() {
        let (one, other) = (checked(number, below)?, checked(layers.len() - 1 - number, above)?);
        symmetric &= alike(&[below.thickness], &[above.thickness])
            && alike(&below.lamina.rotated(&one).0, &above.lamina.rotated(&other).0)
            && alike(&below.lamina.expansion(&one), &above.lamina.expansion(&other));
    }
    Ok(symmetric)
}

/// Equal but for rounding, measured by the largest of all.
fn alike(one: &[f64], other: &[f64]) -> bool {
    let largest = one.iter().chain(other).fold(0.0_f64, |most, value| most.max(value.abs()));
    one.iter().zip(other).all(|(a, b)| (a - b).abs() <= 1e-9 * largest)
}

/// The inverse of a laminate's stiffness: e = alpha N + beta M, k = beta' N + delta M.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compliance {
    /// In-plane compliance, m/N.
    pub alpha: Matrix3,
    /// Coupling, 1/N; not symmetric in general: rows strain, columns moment.
    pub beta: Matrix3,
    /// Bending compliance, 1/(N m).
    pub delta: Matrix3,
    /// Thickness of the whole stack, m.
    pub thickness: f64,
    /// Expansion of the free stack [x, y, xy], 1/K, shear engineering.
    pub expansion: Vector3,
    /// Curvature of the free stack per kelvin [x, y, xy], 1/(m K).
    pub curvature: Vector3,
}

/// Strain of the mid-plane and curvature of a laminate.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Deformation {
    /// Strain of the mid-plane [x, y, xy], shear engineering.
    pub strain: Vector3,
    /// Curvature [-w,xx, -w,yy, -2 w,xy], 1/m.
    pub curvature: Vector3,
}

impl Deformation {
    /// Strain [x, y, xy] at height `z` (m) over the mid-plane.
    pub fn strain_at(&self, z: f64) -> Vector3 {
        plus(&self.strain, z, &self.curvature)
    }
}

/// Engineering constants of a laminate taken as one homogeneous layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moduli {
    /// Young's modulus along x, Pa.
    pub ex: f64,
    /// Young's modulus along y, Pa.
    pub ey: f64,
    /// Shear modulus, Pa.
    pub gxy: f64,
    /// Strain in y under load in x, sign turned.
    pub nu_xy: f64,
    /// Strain in x under load in y, sign turned.
    pub nu_yx: f64,
    /// Shear strain per strain in x under load in x; 0 without coupling.
    pub shear_per_x: f64,
    /// Shear strain per strain in y under load in y; 0 without coupling.
    pub shear_per_y: f64,
}

impl Compliance {
    /// In-plane moduli with the stack free to curve: from alpha of the full inverse, so that an
    /// unsymmetric stack is as soft as it is.
    pub fn in_plane(&self) -> Moduli {
        moduli(&self.alpha, self.thickness)
    }

    /// Young's modulus in the plane along a direction at `angle` (rad from x towards y), Pa, with the stack free to
    /// curve and to shear.
    ///
    /// # Source
    /// The strain along the direction under a unit force along it: R. M. Jones, Mechanics of Composite Materials,
    /// equation 2.97, with the coupling terms kept (from memory).
    ///
    /// ```
    /// use bondline_engineering::laminate::{ElasticLayer, Lamina, stiffness};
    /// // Invented values.
    /// let ply = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 0.0 };
    /// let one = stiffness(&[ElasticLayer { lamina: ply, angle: 0.0, thickness: 0.2e-3 }])?.compliance()?;
    /// // By hand: 1/E(45) = (1/E1 + 1/E2 + 1/G12 - 2 nu12/E1)/4.
    /// let by_hand = 4.0 / (1.0 / 138e9 + 1.0 / 9e9 + 1.0 / 6.9e9 - 0.6 / 138e9);
    /// assert!((one.modulus_along(45f64.to_radians()) / by_hand - 1.0).abs() < 1e-9);
    /// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
    /// ```
    pub fn modulus_along(&self, angle: f64) -> f64 {
        let (s, c) = angle.sin_cos();
        let force = [c * c, s * s, c * s];
        let [x, y, xy] = times(&self.alpha, &force);
        1.0 / (self.thickness * (c * c * x + s * s * y + c * s * xy))
    }

    /// Moduli in bending with the stack free to strain: those of a homogeneous layer of the same
    /// thickness with the same delta.
    pub fn bending(&self) -> Moduli {
        let h = self.thickness;
        moduli(&self.delta, h * h * h / 12.0)
    }

    /// Mid-plane strain and curvature under a load, the temperature change included.
    ///
    /// # Errors
    /// Those of [`Load::checked`].
    pub fn deformation(&self, load: &Load) -> Result<Deformation, LaminateError> {
        let Load { force, moment, temperature } = load.checked()?;
        let strain = plus(&times(&self.alpha, &force), 1.0, &times(&self.beta, &moment));
        let curvature = plus(&times(&transposed(&self.beta), &force), 1.0, &times(&self.delta, &moment));
        Ok(Deformation {
            strain: plus(&strain, temperature, &self.expansion),
            curvature: plus(&curvature, temperature, &self.curvature),
        })
    }

    /// What the free stack does on a temperature change (K): after cure, the difference between the
    /// temperature of use and the stress-free one, which is negative.
    ///
    /// Linear: a wide, thin unsymmetric plate may instead snap into one of two cylinders (M. W. Hyer,
    /// J. Composite Materials 15, 1981, from memory), which this does not show. Chemical shrinkage and
    /// friction on the tool are not in it either.
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] for a change that is no number or beyond 5000 K.
    ///
    /// ```
    /// use bondline_engineering::laminate::{ElasticLayer, Lamina, stiffness};
    /// // Invented values: two sheets bonded hot, the upper one expanding more.
    /// let sheet = |cte| Lamina::isotropic(70e9, 0.0, cte);
    /// let layer = |lamina| ElasticLayer { lamina, angle: 0.0, thickness: 1e-3 };
    /// let pair = stiffness(&[layer(sheet(10e-6)?), layer(sheet(20e-6)?)])?;
    /// let cooled = pair.compliance()?.after_cure(-100.0)?;
    /// // Timoshenko 1925 for equal layers: curvature = 1.5 difference of expansion / total thickness.
    /// assert!((cooled.curvature[0] / (-1.5 * 10e-6 * 100.0 / 2e-3) - 1.0).abs() < 1e-9);
    /// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
    /// ```
    pub fn after_cure(&self, temperature: f64) -> Result<Deformation, LaminateError> {
        self.deformation(&Load { temperature, ..Load::default() })
    }

    fn is_finite(&self) -> bool {
        let all = [&self.alpha, &self.beta, &self.delta];
        all.iter()
            .flat_map(|m| m.iter())
            .chain([&self.expansion, &self.curvature])
            .flatten()
            .all(|v| v.is_finite())
    }
}

fn moduli(compliance: &Matrix3, size: f64) -> Moduli {
    let [[c11, c12, c16], [_, c22, c26], [_, _, c66]] = *compliance;
    Moduli {
        ex: 1.0 / (size * c11),
        ey: 1.0 / (size * c22),
        gxy: 1.0 / (size * c66),
        nu_xy: -c12 / c11,
        nu_yx: -c12 / c22,
        shear_per_x: c16 / c11,
        shear_per_y: c26 / c22,
    }
}
