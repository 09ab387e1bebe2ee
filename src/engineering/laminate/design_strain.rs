//! Ply strains beside design strains from notched and impacted specimens.

use super::failure::JudgedLayer;
use super::lamination::{ElasticLayer, Load, stiffness};
use super::recovery::{PointState, Position, recover};
use super::{LaminateError, within};

/// Design strains, all positive; `None` for one that is not given and then not judged.
///
/// They come from open-hole and compression-after-impact specimens as a rule, and size the panel where
/// plain strengths would not.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DesignStrain {
    /// Largest tensile strain along or across a ply.
    pub tension: Option<f64>,
    /// Largest compressive strain along or across a ply, as a positive number.
    pub compression: Option<f64>,
    /// Largest engineering shear strain in ply axes.
    pub shear: Option<f64>,
}

/// A strain and where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrainPeak {
    /// Magnitude of the mechanical strain, total less free thermal.
    pub strain: f64,
    /// Which layer, the first at the tool face being 0.
    pub layer: usize,
    /// Which face.
    pub position: Position,
    /// Reserve factor on forces and moments; `None` if no limit was given, or no factor reaches it.
    pub reserve: Option<f64>,
}

/// The largest strains of the judged layers, in ply axes; `None` where there is none of that sense.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StrainPeaks {
    /// Largest tensile strain along 1 or 2.
    pub tension: Option<StrainPeak>,
    /// Largest compressive strain along 1 or 2.
    pub compression: Option<StrainPeak>,
    /// Largest shear strain.
    pub shear: Option<StrainPeak>,
    /// The smallest reserve factor of any point of any judged layer; `None` if nothing limits the load.
    pub reserve: Option<f64>,
}

/// Strains of both faces of every layer with strengths, beside design strains.
///
/// Mechanical strain is total less free thermal. Each peak names the point of the largest strain under
/// the load as it is, and the reserve of that point; `reserve` of the whole is the smallest over all
/// points, which with a temperature change may belong to another.
///
/// # Errors
/// Those of [`super::recover_under`]; [`LaminateError::OutOfRange`] for a design strain outside 1e-6 to 0.5;
/// [`LaminateError::NothingJudged`] if no layer has strengths or no design strain is given.
pub fn strain_peaks(
    layers: &[JudgedLayer],
    load: &Load,
    allowed: &DesignStrain,
) -> Result<StrainPeaks, LaminateError> {
    let limits = [allowed.tension, allowed.compression, allowed.shear];
    for limit in limits.into_iter().flatten() {
        within("a design strain", limit, (1e-6..=0.5).contains(&limit), "1e-6 to 0.5", "")?;
    }
    if limits.iter().all(Option::is_none) || layers.iter().all(|layer| layer.strength.is_none()) {
        return Err(LaminateError::NothingJudged);
    }
    let elastic: Vec<ElasticLayer> = layers.iter().map(JudgedLayer::elastic).collect();
    let whole = stiffness(&elastic)?.compliance()?;
    let under = |load: Load| recover(&elastic, &whole.deformation(&load)?, load.temperature);
    let loaded = under(Load { temperature: 0.0, ..*load })?;
    let heated = under(Load { temperature: load.temperature, ..Load::default() })?;
    let mut peaks = StrainPeaks::default();
    for (scaled, constant) in loaded.iter().zip(&heated) {
        let judged = layers.get(scaled.layer).is_some_and(|layer| layer.strength.is_some());
        if judged && scaled.position != Position::Middle {
            peaks.take(scaled, constant, allowed);
        }
    }
    Ok(peaks)
}

impl StrainPeaks {
    fn take(&mut self, scaled: &PointState, constant: &PointState, allowed: &DesignStrain) {
        let ([s1, s2, s12], [c1, c2, c12]) = (scaled.ply_mechanical_strain, constant.ply_mechanical_strain);
        let mut least = self.reserve;
        let mut offer = |peak: &mut Option<StrainPeak>, m: f64, c: f64, limit: Option<f64>| {
            let reserve = limit.and_then(|limit| reach(m, c, limit));
            least = smaller(least, reserve);
            let strain = m + c;
            if strain > DUST && peak.is_none_or(|known| strain > known.strain * (1.0 + 1e-12)) {
                *peak = Some(StrainPeak { strain, layer: scaled.layer, position: scaled.position, reserve });
            }
        };
        for (m, c) in [(s1, c1), (s2, c2)] {
            offer(&mut self.tension, m, c, allowed.tension);
            offer(&mut self.compression, -m, -c, allowed.compression);
        }
        for sign in [1.0, -1.0] {
            offer(&mut self.shear, sign * s12, sign * c12, allowed.shear);
        }
        self.reserve = least;
    }
}

/// What rounding leaves of no strain.
const DUST: f64 = 1e-15;

/// The smallest factor at which `factor m + c` reaches the limit; 0 if `c` does alone.
fn reach(m: f64, c: f64, limit: f64) -> Option<f64> {
    if c >= limit {
        return Some(0.0);
    }
    let factor = (limit - c) / m;
    (m > 0.0 && factor.is_finite()).then_some(factor)
}

fn smaller(one: Option<f64>, other: Option<f64>) -> Option<f64> {
    match (one, other) {
        (Some(one), Some(other)) => Some(one.min(other)),
        (one, other) => one.or(other),
    }
}
