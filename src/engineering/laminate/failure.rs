//! First-ply failure of a laminate, in a form that allocates nothing.

use super::criteria::{Criterion, Mode, PlyStrength, Reserve};
use super::elastic::Lamina;
use super::gauge::{Gauge, Strain, StrainForm};
use super::lamination::{ElasticLayer, Held, Load, Sums, checked};
use super::matrix::{Blocks, Symmetric, plus, times, transposed};
use super::recovery::Position;
use super::{LaminateError, Matrix3, Vector3};

/// A layer whose strength counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedLayer {
    /// Elastic values; [`Lamina::VOID`] for a layer that has none.
    pub lamina: Lamina,
    /// Angle of the ply's axis 1, rad, positive from x towards y.
    pub angle: f64,
    /// Thickness, m.
    pub thickness: f64,
    /// Strengths; `None` for a core, a film: it carries its share and is not judged.
    pub strength: Option<PlyStrength>,
}

impl JudgedLayer {
    /// The layer without its strengths.
    pub fn elastic(&self) -> ElasticLayer {
        ElasticLayer { lamina: self.lamina, angle: self.angle, thickness: self.thickness }
    }
}

/// A layer made ready: rotation, stiffness and strengths worked out once, for a caller that evaluates
/// many stacks of few kinds of layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PreparedLayer {
    pub(super) thickness: f64,
    /// Stiffness in laminate axes times thickness, N/m.
    pub(super) membrane: Symmetric,
    thermal: Vector3,
    /// Ply stress from strain in laminate axes.
    to_stress: Matrix3,
    /// Ply stress of the free expansion held back, per kelvin.
    free: Vector3,
    pub(super) gauge: Option<Gauge>,
    /// The criterion in strains of the laminate, where it is one closed form.
    pub(super) form: Option<StrainForm>,
}

impl PreparedLayer {
    /// Prepares a layer for a criterion.
    ///
    /// # Errors
    /// Those of [`Lamina::checked`], [`PlyStrength::checked`], of the thickness, the angle and the
    /// criterion.
    pub fn new(layer: &JudgedLayer, criterion: Criterion) -> Result<Self, LaminateError> {
        Self::numbered(0, layer, criterion).map_err(|fault| match fault {
            LaminateError::InLayer { fault, .. } => *fault,
            other => other,
        })
    }

    pub(super) fn numbered(
        number: usize,
        layer: &JudgedLayer,
        criterion: Criterion,
    ) -> Result<Self, LaminateError> {
        let direction = checked(number, &layer.elastic())?;
        let lamina = layer.lamina;
        let own = lamina.reduced();
        let q = lamina.rotated(&direction);
        let column = |strain: Vector3| own.times(&direction.strain_to_ply(&strain));
        let columns = [column([1.0, 0.0, 0.0]), column([0.0, 1.0, 0.0]), column([0.0, 0.0, 1.0])];
        let gauge = match &layer.strength {
            Some(strength) => {
                let gauge = Gauge::new(criterion, &lamina, strength);
                Some(gauge.map_err(|fault| in_layer(number, fault))?)
            }
            None => None,
        };
        let to_stress = transposed(&columns);
        Ok(Self {
            thickness: layer.thickness,
            membrane: Symmetric::default().plus(&q, layer.thickness),
            thermal: q.times(&lamina.expansion(&direction)),
            form: gauge.as_ref().and_then(Gauge::closed).map(|form| form.of_strain(&to_stress)),
            to_stress,
            free: own.times(&[lamina.cte1, lamina.cte2, 0.0]),
            gauge,
        })
    }

    /// Thickness, m.
    pub fn thickness(&self) -> f64 {
        self.thickness
    }

    /// Failure of the layer at a face with this strain in laminate axes; `None` where it has no closed form.
    #[inline]
    pub(super) fn fails_at(&self, strain: &Vector3, layer: usize, position: Position) -> Option<FirstPly> {
        let Reserve { factor, mode, leading } =
            self.gauge.as_ref()?.closed_reserve(&times(&self.to_stress, strain))?;
        Some(FirstPly { factor, layer, position, mode, leading })
    }

    /// The layer once its matrix has failed: `broken` has its remaining stiffness, and of its
    /// strengths that of the fibres alone is judged.
    pub(super) fn without_matrix(&self, broken: Self) -> Self {
        Self { gauge: self.gauge.map(|gauge| gauge.of_fibre()), form: None, ..broken }
    }
}

pub(super) fn in_layer(number: usize, fault: LaminateError) -> LaminateError {
    LaminateError::InLayer { layer: number + 1, fault: Box::new(fault) }
}

/// Where and how a laminate first fails.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FirstPly {
    /// The smallest reserve of all judged layers: failure at this many times the forces and moments,
    /// the temperature change staying as it is.
    pub factor: f64,
    /// The critical layer, the first at the tool face being 0.
    pub layer: usize,
    /// The face of the layer that is critical.
    pub position: Position,
    /// The mode that the criterion names.
    pub mode: Mode,
    /// The stress nearest to its own strength at failure.
    pub leading: Mode,
}

impl FirstPly {
    /// Margin of safety: reserve factor less 1.
    pub fn margin(&self) -> f64 {
        self.factor - 1.0
    }
}

/// First-ply failure of a laminate under forces, moments and a temperature change.
///
/// Both faces of every layer with strengths are judged; of equals the one nearer the tool is named.
/// The factor is on forces and moments; what temperature does is there all the time. The margin is that
/// of the strengths given: with values of plain specimens it is one for an undamaged, unnotched laminate.
///
/// An engineering aid, not approved data.
///
/// # Errors
/// Those of [`super::stiffness`], [`super::Stiffness::compliance`], [`Load::checked`] and
/// [`super::reserve`], with the layer; [`LaminateError::NothingJudged`] if no layer has strengths;
/// [`LaminateError::NoFailure`] if no factor fails any, as without a load.
///
/// # Source
/// Classical lamination, as in A. K. Kaw, Mechanics of Composite Materials, ch. 5 (from memory).
///
/// ```
/// use bondline_engineering::laminate::{Criterion, JudgedLayer, Lamina, Load, PlyStrength, first_ply};
/// // Invented values.
/// let lamina = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 0.0 };
/// let strength = Some(PlyStrength {
///     xt: Some(1500e6), xc: Some(1200e6), yt: Some(50e6), yc: Some(250e6), s: Some(70e6), s23: None,
/// });
/// let ply = |degrees: f64| JudgedLayer { lamina, angle: degrees.to_radians(), thickness: 0.19e-3, strength };
/// let stack = [ply(0.0), ply(90.0), ply(90.0), ply(0.0)];
/// let load = Load { force: [100e3, 0.0, 0.0], ..Load::default() };
/// let found = first_ply(&stack, &load, Criterion::TSAI_WU)?;
/// assert_eq!(found.layer, 1);
/// assert!((found.factor / 3.11619 - 1.0).abs() < 1e-5);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn first_ply(
    layers: &[JudgedLayer],
    load: &Load,
    criterion: Criterion,
) -> Result<FirstPly, LaminateError> {
    first_ply_prepared(prepare(layers, criterion)?.iter(), load)
}

pub(super) fn prepare(
    layers: &[JudgedLayer],
    criterion: Criterion,
) -> Result<Vec<PreparedLayer>, LaminateError> {
    layers
        .iter()
        .enumerate()
        .map(|(number, layer)| PreparedLayer::numbered(number, layer, criterion))
        .collect()
}

/// [`first_ply`] on prepared layers, from the tool face: allocates nothing, for millions of stacks.
///
/// # Errors
/// Those of [`first_ply`].
///
/// ```
/// use bondline_engineering::laminate::{Criterion, JudgedLayer, Lamina, Load, PlyStrength, PreparedLayer, first_ply_prepared};
/// // Invented values.
/// let lamina = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 0.0 };
/// let strength = Some(PlyStrength {
///     xt: Some(1500e6), xc: Some(1200e6), yt: Some(50e6), yc: Some(250e6), s: Some(70e6), s23: None,
/// });
/// let ready = |degrees: f64| {
///     let layer = JudgedLayer { lamina, angle: degrees.to_radians(), thickness: 0.19e-3, strength };
///     PreparedLayer::new(&layer, Criterion::TSAI_WU)
/// };
/// let kinds = [ready(45.0)?, ready(-45.0)?];
/// let stack = [0, 1, 1, 0].iter().filter_map(|kind: &usize| kinds.get(*kind));
/// let found = first_ply_prepared(stack, &Load { force: [100e3, 0.0, 0.0], ..Load::default() })?;
/// assert!((found.factor / 0.98278 - 1.0).abs() < 1e-5);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn first_ply_prepared<'a, I>(layers: I, load: &Load) -> Result<FirstPly, LaminateError>
where
    I: Iterator<Item = &'a PreparedLayer> + Clone,
{
    let state = Strained::of(layers.clone(), load)?;
    if state.heat.is_none()
        && let Some(answer) = by_forms(layers.clone(), &state)
    {
        return answer;
    }
    let mut bottom = state.bottom;
    let mut judged = false;
    let mut least: Option<FirstPly> = None;
    for (layer, ready) in layers.enumerate() {
        let top = bottom + ready.thickness;
        if let Some(gauge) = &ready.gauge {
            judged = true;
            for (position, z) in [(Position::Bottom, bottom), (Position::Top, top)] {
                let (scaled, constant) = state.stresses(ready, z);
                let limit = least.map_or(f64::INFINITY, |known| known.factor * (1.0 - SAME));
                if least.is_some() && !gauge.may_fail_below(limit, &scaled, &constant) {
                    continue;
                }
                let found = gauge.reserve(&scaled, &constant).map_err(|fault| in_layer(layer, fault))?;
                if let Some(Reserve { factor, mode, leading }) = found
                    && factor < limit
                {
                    least = Some(FirstPly { factor, layer, position, mode, leading });
                }
            }
        }
        bottom = top;
    }
    least.ok_or(if judged { LaminateError::NoFailure } else { LaminateError::NothingJudged })
}

/// First-ply failure where every judged layer has one closed form and no part of the stress is constant;
/// `None` where not.
///
/// The largest inverse of a factor is found without a branch that the processor would guess wrongly: the
/// lowest bits of a float, which are less than what makes two factors the same, carry the number of the
/// point instead, so counted that the first of equals wins.
fn by_forms<'a>(
    mut layers: impl Iterator<Item = &'a PreparedLayer> + Clone,
    state: &Strained,
) -> Option<Result<FirstPly, LaminateError>> {
    let mut bottom = state.bottom;
    // A face of one layer is that of the next.
    let mut below = Strain::of(state.strain_at(bottom));
    let mut judged = false;
    let (mut largest, mut left) = ([0.0; 2], POINTS);
    for ready in layers.clone() {
        let top = bottom + ready.thickness;
        let above = Strain::of(state.strain_at(top));
        // More layers than points can be numbered.
        left = left.checked_sub(2)?;
        if ready.gauge.is_some() {
            judged = true;
            let form = ready.form.as_ref()?;
            let [low, high] = StrainForm::inverses(form.parts(&below), form.parts(&above));
            let [known_low, known_high] = largest;
            let (low, high) = (numbered(low, left + 1), numbered(high, left));
            // What is no number is not larger.
            largest = [
                if low > known_low { low } else { known_low },
                if high > known_high { high } else { known_high },
            ];
        }
        (bottom, below) = (top, above);
    }
    let none = if judged { LaminateError::NoFailure } else { LaminateError::NothingJudged };
    let [low, high] = largest;
    let largest = low.max(high);
    if largest <= LEAST_INVERSE {
        return Some(Err(none));
    }
    let (layer, position) = place(largest)?;
    // Walked again, or rounding would lay the point elsewhere.
    let mut bottom = state.bottom;
    for ready in layers.by_ref().take(layer) {
        bottom += ready.thickness;
    }
    let ready = layers.next()?;
    let z = if position == Position::Top { bottom + ready.thickness } else { bottom };
    ready.fails_at(&state.strain_at(z), layer, position).map(Ok)
}

/// The lowest bits of an inverse, and the number of points that they can tell apart.
pub(super) const POINTS: u64 = (1 << 12) - 1;

/// The inverse with a number in its lowest bits: that of the lower face of layer i is POINTS - 1 - 2 i, the next lower
/// one that of the upper face.
#[inline(always)]
pub(super) fn numbered(inverse: f64, number: u64) -> f64 {
    f64::from_bits(inverse.to_bits() & !POINTS | number)
}

/// Layer and face that a numbered inverse is of.
#[inline]
pub(super) fn place(inverse: f64) -> Option<(usize, Position)> {
    let point = usize::try_from(POINTS - 1 - (inverse.to_bits() & POINTS)).ok()?;
    Some((point / 2, if point % 2 == 0 { Position::Bottom } else { Position::Top }))
}

/// Below this a factor is too large for a float.
pub(super) const LEAST_INVERSE: f64 = 1e-300;

/// Factors this near to each other are the same: a ply and its mirror image differ by rounding.
const SAME: f64 = 1e-12;

/// The reserve of one face of one layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LayerReserve {
    /// Which layer, the first at the tool face being 0.
    pub layer: usize,
    /// Which face.
    pub position: Position,
    /// `None` if no factor fails it.
    pub reserve: Option<Reserve>,
}

/// Reserves of both faces of every layer that has strengths, first layer first, for a table of margins.
///
/// # Errors
/// Those of [`first_ply`], but for [`LaminateError::NoFailure`].
pub fn layer_reserves(
    layers: &[JudgedLayer],
    load: &Load,
    criterion: Criterion,
) -> Result<Vec<LayerReserve>, LaminateError> {
    let ready = prepare(layers, criterion)?;
    let state = Strained::of(ready.iter(), load)?;
    let mut bottom = state.bottom;
    let mut reserves = Vec::new();
    for (layer, ready) in ready.iter().enumerate() {
        let top = bottom + ready.thickness;
        if let Some(gauge) = &ready.gauge {
            for (position, z) in [(Position::Bottom, bottom), (Position::Top, top)] {
                let (scaled, constant) = state.stresses(ready, z);
                let reserve = gauge.reserve(&scaled, &constant).map_err(|fault| in_layer(layer, fault))?;
                reserves.push(LayerReserve { layer, position, reserve });
            }
        }
        bottom = top;
    }
    if reserves.is_empty() { Err(LaminateError::NothingJudged) } else { Ok(reserves) }
}

/// The deformation of a stack: what scales with the load, and what temperature does.
pub(super) struct Strained {
    pub bottom: f64,
    strain: Vector3,
    curvature: Vector3,
    heat: Option<Heat>,
}

struct Heat {
    strain: Vector3,
    curvature: Vector3,
    change: f64,
}

impl Strained {
    pub fn of<'a>(
        layers: impl Iterator<Item = &'a PreparedLayer> + Clone,
        load: &Load,
    ) -> Result<Self, LaminateError> {
        let Load { force, moment, temperature: change } = load.checked()?;
        let total: f64 = layers.clone().map(|layer| layer.thickness).sum();
        if total <= 0.0 {
            return Err(LaminateError::NoLayers);
        }
        let mut sums = Sums::at_bottom_of(total);
        for layer in layers.clone() {
            sums = sums.and(&layer.membrane, layer.thickness);
        }
        let blocks =
            Blocks::new(&sums.a.sum(), &sums.b.sum(), &sums.d.sum()).ok_or(LaminateError::Singular)?;
        let (strain, curvature) = blocks.solve(&force, &moment);
        let heat = (change != 0.0).then(|| {
            let mut held = Held::at_bottom_of(total);
            for layer in layers {
                held.add(&layer.thermal, layer.thickness);
            }
            let (strain, curvature) = blocks.solve(&held.force, &held.moment);
            Heat { strain: strain.map(|v| v * change), curvature: curvature.map(|v| v * change), change }
        });
        Ok(Self { bottom: -total / 2.0, strain, curvature, heat })
    }

    /// Strain that scales with the load, at height `z`.
    #[inline]
    fn strain_at(&self, z: f64) -> Vector3 {
        plus(&self.strain, z, &self.curvature)
    }

    /// Stress in ply axes at height `z`: what scales with the load, and what does not.
    pub fn stresses(&self, layer: &PreparedLayer, z: f64) -> (Vector3, Vector3) {
        let scaled = times(&layer.to_stress, &self.strain_at(z));
        let constant = self.heat.as_ref().map_or([0.0; 3], |heat| {
            let held = times(&layer.to_stress, &plus(&heat.strain, z, &heat.curvature));
            let free = layer.free.map(|v| v * heat.change);
            // Both are large and may be equal: what rounding leaves of their difference is no stress.
            let dust = free.iter().chain(&held).fold(0.0_f64, |most, v| most.max(v.abs())) * 1e-12;
            plus(&held, -1.0, &free).map(|v| if v.abs() <= dust { 0.0 } else { v })
        });
        (scaled, constant)
    }
}
