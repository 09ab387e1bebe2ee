//! Strains and stresses of every layer, from the deformation of the laminate.

use super::elastic::Direction;
use super::lamination::{Deformation, ElasticLayer, Load, checked, stiffness, total_thickness};
use super::matrix::{Symmetric, plus};
use super::{LaminateError, Vector3, within};

/// Where in a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Position {
    /// The face towards the tool, at smaller z.
    Bottom,
    /// Half way.
    Middle,
    /// The face away from the tool, at larger z.
    Top,
}

/// The state of one point through the thickness.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointState {
    /// Which layer, the first at the tool face being 0.
    pub layer: usize,
    /// Where in the layer.
    pub position: Position,
    /// Height over the mid-plane, m.
    pub z: f64,
    /// Total strain [x, y, xy] in laminate axes, shear engineering.
    pub strain: Vector3,
    /// Stress [x, y, xy] in laminate axes, Pa.
    pub stress: Vector3,
    /// Total strain [1, 2, 12] in ply axes.
    pub ply_strain: Vector3,
    /// Total strain less free thermal expansion, in ply axes: what stresses the ply.
    pub ply_mechanical_strain: Vector3,
    /// Stress [1, 2, 12] in ply axes, Pa.
    pub ply_stress: Vector3,
}

/// Strains and stresses at bottom, middle and top of every layer, first layer first.
///
/// Stress follows from mechanical strain, total less free thermal; the stresses of cure are those of
/// the temperature change from the stress-free state, linear and without creep.
///
/// # Arguments
/// * `layers` - from the tool face
/// * `deformation` - total, the thermal part included, as [`super::Compliance::deformation`] gives it
/// * `temperature` - change from the stress-free temperature, K
///
/// # Errors
/// Those of [`stiffness`]; [`LaminateError::OutOfRange`] for a deformation that is no number.
///
/// # Source
/// A. K. Kaw, Mechanics of Composite Materials, ch. 4 (from memory; figures in the tests were computed
/// again with numpy).
pub fn recover(
    layers: &[ElasticLayer],
    deformation: &Deformation,
    temperature: f64,
) -> Result<Vec<PointState>, LaminateError> {
    bounded(deformation, temperature)?;
    let mut states = Vec::with_capacity(3 * layers.len());
    each(layers, |at| {
        let layer = at.layer;
        let own = layer.lamina.reduced();
        let free_own = [layer.lamina.cte1, layer.lamina.cte2, 0.0];
        for (position, share) in [(Position::Bottom, 0.0), (Position::Middle, 0.5), (Position::Top, 1.0)] {
            let z = at.bottom + share * layer.thickness;
            let strain = deformation.strain_at(z);
            let ply_strain = at.direction.strain_to_ply(&strain);
            let ply_mechanical_strain = plus(&ply_strain, -temperature, &free_own);
            states.push(PointState {
                layer: at.number,
                position,
                z,
                strain,
                stress: at.turned.times(&plus(&strain, -temperature, &at.free)),
                ply_strain,
                ply_mechanical_strain,
                ply_stress: own.times(&ply_mechanical_strain),
            });
        }
    })?;
    Ok(states)
}

/// A layer where it lies in its stack.
struct Lying<'l> {
    number: usize,
    layer: &'l ElasticLayer,
    direction: Direction,
    /// From the middle of the stack, m.
    bottom: f64,
    /// Stiffness and free expansion in laminate axes.
    turned: Symmetric,
    free: Vector3,
}

/// Goes through the layers of a stack, from the tool face.
fn each(layers: &[ElasticLayer], mut visit: impl FnMut(Lying<'_>)) -> Result<(), LaminateError> {
    let mut bottom = -total_thickness(layers)? / 2.0;
    for (number, layer) in layers.iter().enumerate() {
        let direction = checked(number, layer)?;
        let (turned, free) = (layer.lamina.rotated(&direction), layer.lamina.expansion(&direction));
        visit(Lying { number, layer, direction, bottom, turned, free });
        bottom += layer.thickness;
    }
    Ok(())
}

/// The middles of all layers of a stack, made ready for many states of deformation.
#[derive(Debug, Clone)]
pub struct Middles(Vec<Middle>);

#[derive(Debug, Clone)]
struct Middle {
    z: f64,
    turned: Symmetric,
    free: Vector3,
}

impl Middles {
    /// Takes a stack, from the tool face.
    ///
    /// # Errors
    /// As [`recover`].
    pub fn of(layers: &[ElasticLayer]) -> Result<Self, LaminateError> {
        let mut all = Vec::with_capacity(layers.len());
        each(layers, |at| {
            let z = at.bottom + 0.5 * at.layer.thickness;
            all.push(Middle { z, turned: at.turned, free: at.free });
        })?;
        Ok(Self(all))
    }

    /// Stress [x, y, xy] in laminate axes in the middle of every layer, Pa: that of [`recover`].
    ///
    /// # Errors
    /// As [`recover`].
    pub fn stresses(
        &self,
        deformation: &Deformation,
        temperature: f64,
    ) -> Result<Vec<Vector3>, LaminateError> {
        bounded(deformation, temperature)?;
        let stress = |own: &Middle| {
            let strain = deformation.strain_at(own.z);
            own.turned.times(&plus(&strain, -temperature, &own.free))
        };
        Ok(self.0.iter().map(stress).collect())
    }
}

fn bounded(deformation: &Deformation, temperature: f64) -> Result<(), LaminateError> {
    Load { temperature, ..Load::default() }.checked()?;
    for value in deformation.strain {
        within("a strain", value, value.abs() <= LARGEST, "-1e9 to 1e9", "")?;
    }
    for value in deformation.curvature {
        within("a curvature", value, value.abs() <= LARGEST, "-1e9 to 1e9", "1/m")?;
    }
    Ok(())
}

const LARGEST: f64 = 1e9;

/// [`recover`] for a stack under a load.
///
/// # Errors
/// Those of [`stiffness`], [`super::Stiffness::compliance`] and [`Load::checked`].
///
/// ```
/// use bondline_engineering::laminate::{ElasticLayer, Lamina, Load, recover_under};
/// // Invented values: one sheet, pulled.
/// let sheet = ElasticLayer { lamina: Lamina::isotropic(70e9, 0.3, 0.0)?, angle: 0.0, thickness: 2e-3 };
/// let states = recover_under(&[sheet], &Load { force: [100e3, 0.0, 0.0], ..Load::default() })?;
/// assert_eq!(states.len(), 3);
/// assert!((states[1].stress[0] - 50e6).abs() < 1.0);
/// assert!((states[1].strain[1] + 0.3 * 50e6 / 70e9).abs() < 1e-12);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn recover_under(layers: &[ElasticLayer], load: &Load) -> Result<Vec<PointState>, LaminateError> {
    let deformation = stiffness(layers)?.compliance()?.deformation(load)?;
    recover(layers, &deformation, load.temperature)
}

/// Principal strains of a strain state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrincipalStrain {
    /// The larger, tension positive.
    pub major: f64,
    /// The smaller.
    pub minor: f64,
    /// The largest engineering shear strain in the plane, `major - minor`.
    pub shear: f64,
    /// Angle of the major strain from x towards y, rad, -pi/2 to pi/2.
    pub angle: f64,
}

/// Principal strains in the plane of a strain [x, y, xy], shear engineering.
///
/// # Errors
/// [`LaminateError::OutOfRange`] for a strain that is no number.
///
/// # Source
/// Mohr's circle.
pub fn principal_strain(strain: Vector3) -> Result<PrincipalStrain, LaminateError> {
    for value in strain {
        within("a strain", value, value.abs() <= LARGEST, "-1e9 to 1e9", "")?;
    }
    let [x, y, shear] = strain;
    let (middle, radius) = ((x + y) / 2.0, libm::hypot((x - y) / 2.0, shear / 2.0));
    Ok(PrincipalStrain {
        major: middle + radius,
        minor: middle - radius,
        shear: 2.0 * radius,
        angle: libm::atan2(shear, x - y) / 2.0,
    })
}
