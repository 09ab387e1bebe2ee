//! The design value of batches that differ: one-way analysis of variance.

use super::batches::squares;
use super::tolerance::recalled_factor;
use super::{Basis, StatisticsError, finite, mean};

/// A design value that counts the spread between batches, with what it was computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anova {
    /// The design value, in the unit of the sample.
    pub value: f64,
    /// Mean of all values.
    pub mean: f64,
    /// Mean square between batches.
    pub between: f64,
    /// Mean square within batches.
    pub within: f64,
    /// Effective size of a batch, n'.
    pub effective: f64,
    /// Estimate of the population's standard deviation, S.
    pub deviation: f64,
    /// Ratio of the mean squares, at least 1.
    pub ratio: f64,
    /// Weight w.
    pub weight: f64,
    /// Tolerance factor of as many values as there are.
    pub k0: f64,
    /// Tolerance factor of as many values as there are batches.
    pub k1: f64,
    /// The factor T.
    pub factor: f64,
    /// Batches.
    pub groups: usize,
    /// Values.
    pub n: usize,
}

/// Returns the design value of batches that may not be taken as one population.
///
/// # Errors
/// [`StatisticsError::Count`] for fewer than two batches, an empty one or no more values than batches;
/// [`StatisticsError::NoSpreadWithin`] where no batch has any; [`StatisticsError::NotFinite`].
///
/// # Source
/// MIL-HDBK-17-1F 8.3.5.2 (from memory): T = (k0 - k1/sqrt n' + (k1 - k0) w)/(1 - 1/sqrt n'),
/// S^2 = MSB/n' + (n' - 1)/n' MSE. Approximate by nature: of 100 simulated values, 95 of which should hold, 92 to
/// 96 do.
pub fn anova(groups: &[&[f64]], basis: Basis) -> Result<Anova, StatisticsError> {
    let k = groups.len();
    let n: usize = groups.iter().map(|own| own.len()).sum();
    let what = "an analysis of variance";
    if k < 2 {
        let what = "an analysis of variance, in batches,";
        return Err(StatisticsError::too_few(what, k, 2));
    }
    if n <= k {
        return Err(StatisticsError::too_few(what, n, k + 1));
    }
    let all: Vec<f64> = groups.iter().flat_map(|own| own.iter().copied()).collect();
    let mean = mean(&all)?;
    let (between, within) = squares(groups)?;
    let (between, within) = (between / (k - 1) as f64, within / (n - k) as f64);
    if within <= 0.0 {
        return Err(StatisticsError::NoSpreadWithin { what });
    }
    let total = n as f64;
    let starred = groups.iter().map(|own| (own.len() * own.len()) as f64).sum::<f64>() / total;
    let effective = (total - starred) / (k - 1) as f64;
    let deviation = (between / effective + (effective - 1.0) / effective * within).sqrt();
    let ratio = (between / within).max(1.0);
    let weight = (ratio / (ratio + effective - 1.0)).sqrt();
    let (k0, k1) = (recalled_factor(n, basis)?, recalled_factor(k, basis)?);
    let root = 1.0 / effective.sqrt();
    let factor = (k0 - k1 * root + (k1 - k0) * weight) / (1.0 - root);
    let value = finite("the basis value", mean - factor * deviation)?;
    Ok(Anova {
        value,
        mean,
        between,
        within,
        effective,
        deviation,
        ratio,
        weight,
        k0,
        k1,
        factor,
        groups: k,
        n,
    })
}

#[cfg(test)]
mod tests {
    use super::super::samples::{GEAR, S18};
    use super::*;

    fn near(what: &str, got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() < relative, "{what}: {got} is not {expected}");
    }

    #[test]
    fn gears() {
        // Mean squares 0.000081 and 0.000035, F = 2.2969 in the NIST/SEMATECH e-Handbook 1.3.5.4 (from memory);
        // the rest recomputed with numpy.
        let groups: Vec<&[f64]> = GEAR.iter().map(|own| &own[..]).collect();
        let found = anova(&groups, Basis::B).unwrap();
        near("MSB", found.between, 8.100_444_4e-5, 1e-7);
        near("MSE", found.within, 3.526_666_7e-5, 1e-7);
        near("F", found.ratio, 2.29691, 3e-6);
        near("n'", found.effective, 10.0, 1e-12);
        near("S", found.deviation, 0.006_311_9, 1e-5);
        near("w", found.weight, 0.450_913, 2e-6);
        near("T", found.factor, 1.68982, 5e-6);
        near("B", found.value, 0.986_974, 1e-6);
    }

    #[test]
    fn three_batches_of_an_invented_sample() {
        // Recomputed with numpy.
        let groups: Vec<&[f64]> = S18.iter().map(|own| &own[..]).collect();
        for (basis, factor, value) in [(Basis::B, 3.79374, 2_323.324), (Basis::A, 6.49639, 2_159.616)] {
            let found = anova(&groups, basis).unwrap();
            near("MSB", found.between, 9_758.867_2, 1e-8);
            near("MSE", found.within, 2_451.134_4, 1e-7);
            near("S", found.deviation, 60.57301, 1e-6);
            near("w", found.weight, 0.665_802, 2e-6);
            near("T", found.factor, factor, 3e-6);
            near("value", found.value, value, 1e-6);
        }
    }

    #[test]
    fn batches_of_unlike_size_and_batches_alike() {
        // Recomputed with numpy: the mean is that of all values, and only u is kept at 1.
        let groups = [&S18[0][..], &S18[1][..4], &S18[2][..5]];
        let found = anova(&groups, Basis::B).unwrap();
        near("n'", found.effective, 4.933_333, 1e-6);
        near("mean", found.mean, 2_547.773_3, 2e-8);
        near("S", found.deviation, 62.94715, 1e-6);
        near("T", found.factor, 3.54146, 3e-6);
        near("B", found.value, 2_324.848, 1e-6);
        let alike: [&[f64]; 3] =
            [&[10.0, 10.2, 9.9, 10.1], &[10.05, 10.15, 9.95, 10.0], &[10.1, 9.9, 10.0, 10.2]];
        let found = anova(&alike, Basis::B).unwrap();
        assert_eq!(found.ratio, 1.0);
        near("w", found.weight, 0.5, 1e-12);
        near("T", found.factor, 2.210_132, 1e-6);
        near("S", found.deviation, 0.101_036, 1e-5);
        near("B", found.value, 9.82253, 1e-6);
    }

    #[test]
    fn what_cannot_be_analysed_is_refused() {
        assert!(anova(&[&[1.0, 2.0]], Basis::B).is_err());
        assert!(anova(&[&[1.0], &[2.0]], Basis::B).is_err());
        assert!(anova(&[&[1.0, 1.0], &[2.0, 2.0]], Basis::B).is_err());
        assert!(anova(&[&[1.0, 2.0], &[]], Basis::B).is_err());
        assert!(anova(&[&[1.0, f64::NAN], &[2.0, 2.0]], Basis::B).is_err());
    }
}
