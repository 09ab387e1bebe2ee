//! An estimate of last-ply failure by ply discount.

use super::criteria::Criterion;
use super::failure::{FirstPly, JudgedLayer, PreparedLayer, first_ply_prepared, prepare};
use super::lamination::Load;
use super::{LaminateError, within};

/// The share of E2 and G12 that is left to a ply whose matrix has failed: 0.1, common practice, no source.
pub const USUAL_REMAINDER: f64 = 0.1;

/// Failures of a laminate up to the last ply.
#[derive(Debug, Clone, PartialEq)]
pub struct LastPly {
    /// The largest factor on forces and moments that the laminate bears on the way.
    pub factor: f64,
    /// The failures in order; the first is first-ply failure.
    pub steps: Vec<FirstPly>,
}

/// Estimates last-ply failure by ply discount.
///
/// The ply that fails first, if it does so by its matrix (across the fibres or in shear), keeps
/// `remainder` of E2 and G12, all of E1 and nu12, and from then on is judged by its fibre stress alone,
/// against `xt` and `xc`. The whole load is then put on what is left, and so on, until fibres fail or
/// nothing more does. A criterion without modes fails the fibres if the fibre stress is the one nearest
/// to its strength. The result is the largest factor met on the way.
///
/// An estimate: delaminations, edges and the order of loading are not in it, and other rules of discount
/// give other figures.
///
/// # Arguments
/// * `remainder` - above 0, at most 1; [`USUAL_REMAINDER`] is usual
///
/// # Errors
/// Those of [`super::first_ply`], and [`LaminateError::OutOfRange`] for the remainder.
///
/// # Source
/// Common practice, no source.
pub fn last_ply(
    layers: &[JudgedLayer],
    load: &Load,
    criterion: Criterion,
    remainder: f64,
) -> Result<LastPly, LaminateError> {
    within("the remainder", remainder, remainder > 0.0 && remainder <= 1.0, "above 0, at most 1", "")?;
    let mut ready = prepare(layers, criterion)?;
    let first = first_ply_prepared(ready.iter(), load)?;
    let mut steps = vec![first];
    let mut last = first;
    // Each round takes the matrix of one more layer, so that there are no more rounds than layers.
    while !last.leading.is_fibre() {
        let (Some(layer), Some(own)) = (layers.get(last.layer), ready.get_mut(last.layer)) else { break };
        let mut left = *layer;
        left.lamina.e2 *= remainder;
        left.lamina.g12 *= remainder;
        *own = own.without_matrix(PreparedLayer::numbered(last.layer, &left, criterion)?);
        last = match first_ply_prepared(ready.iter(), load) {
            Ok(found) => found,
            Err(LaminateError::NoFailure | LaminateError::Singular) => break,
            Err(fault) => return Err(fault),
        };
        steps.push(last);
    }
    let factor = steps.iter().fold(0.0_f64, |most, step| most.max(step.factor));
    Ok(LastPly { factor, steps })
}
