//! Design values of one property in several environments, by the spread of all of them.

use super::batches::{EqualVariances, KSample, equal_variances, k_sample};
use super::fit::{Distribution, Fit, goodness_of_fit};
use super::noncentral::noncentral_t_quantile;
use super::normal::quantile;
use super::procedure::Levels;
use super::recalled::recalled;
use super::{Basis, Sample, StatisticsError, finite, sample};

/// The design value of one environment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PooledValue {
    /// The environment's own sample.
    pub sample: Sample,
    /// Tolerance factor of its size, with the freedom of all.
    pub k: [f64; 2],
    /// The B and the A value, in the unit of the sample.
    pub values: [f64; 2],
}

/// Why environments may not be pooled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Against {
    /// The batches of one environment, from 0, are no one population.
    #[error("the batches of environment {} differ", .0 + 1)]
    Batches(usize),
    /// The normalised values do not have one spread.
    #[error("the environments do not have one spread")]
    Spread,
    /// The normalised values of all environments are not normal.
    #[error("the normalised values of all environments are not normal")]
    NotNormal,
}

/// Several environments under one spread, and whether that may be.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// Coefficient of variation of all values over the mean of their environment.
    pub cv: f64,
    /// Degrees of freedom: all values less the environments.
    pub freedom: usize,
    /// Batches of each environment that has several: does one population stand behind them?
    pub batches: Vec<Option<KSample>>,
    /// Whether the normalised values of all environments have one spread.
    pub variances: EqualVariances,
    /// Whether the normalised values of all environments are normal.
    pub fit: Fit,
    /// Value by environment.
    pub environments: Vec<PooledValue>,
    /// Why they may not be pooled; empty where they may.
    pub against: Vec<Against>,
}

/// Pools environments, each given as its values by batch: every value over the mean of its environment.
///
/// The values are computed whether or not the conditions hold; where [`Pooled::against`] says why they do not,
/// nothing of it is a design value. That the same mode of failure stands behind all, and that the environments
/// are those of one material, is for whoever calls.
///
/// # Errors
/// [`StatisticsError::Count`] for fewer than two environments or one of fewer than two values;
/// [`StatisticsError::NotPositive`] for a mean at or below 0; those of the tests, but for batches.
///
/// # Source
/// Pooling by coefficient of variation, CMH-17-1G 8.3.5 (from memory). The factor is exact for a small spread: k =
/// t'(0.95; N - r, z sqrt n)/sqrt n, the noncentral t of the environment's own size with the freedom of all. Since
/// the deviation follows the environment's own mean, the value errs to the safe side for a large one: simulated
/// 95.8 of 100 for 8 of 38 specimens at 5 %.
pub fn pooled(environments: &[Vec<&[f64]>], levels: &Levels) -> Result<Pooled, StatisticsError> {
    let r = environments.len();
    if r < 2 {
        let what = "pooling, in environments,";
        return Err(StatisticsError::too_few(what, r, 2));
    }
    let mut against = Vec::new();
    let (mut normalised, mut samples, mut batches) = (Vec::new(), Vec::new(), Vec::new());
    for (at, own) in environments.iter().enumerate() {
        let all: Vec<f64> = own.iter().flat_map(|batch| batch.iter().copied()).collect();
        let of = sample(&all)?;
        if of.mean <= 0.0 {
            return Err(StatisticsError::NotPositive { what: "pooling", value: of.mean });
        }
        let test = k_sample(own, levels.batches).ok();
        match &test {
            Some(test) if !test.is_one() => against.push(Against::Batches(at)),
            _ => {}
        }
        batches.push(test);
        normalised.push(all.iter().map(|value| value / of.mean).collect::<Vec<f64>>());
        samples.push(of);
    }
    let slices: Vec<&[f64]> = normalised.iter().map(Vec::as_slice).collect();
    let variances = equal_variances(&slices, levels.variances)?;
    if !variances.is_equal() {
        against.push(Against::Spread);
    }
    let all: Vec<f64> = normalised.iter().flatten().copied().collect();
    let fit = goodness_of_fit(&all, Distribution::Normal)?;
    if fit.level <= levels.fit {
        against.push(Against::NotNormal);
    }
    let n = all.len();
    let freedom = n.saturating_sub(r);
    let squares: f64 = all.iter().map(|value| (value - 1.0) * (value - 1.0)).sum();
    let cv = finite("the pooled coefficient of variation", (squares / freedom as f64).sqrt())?;
    let mut found = Vec::with_capacity(r);
    for own in samples {
        let factor = |basis: Basis| pooled_factor(own.n, freedom, basis);
        let k = [factor(Basis::B)?, factor(Basis::A)?];
        let value = |k: f64| finite("the basis value", own.mean * (1.0 - k * cv));
        let [b, a] = k;
        found.push(PooledValue { sample: own, k, values: [value(b)?, value(a)?] });
    }
    Ok(Pooled { cv, freedom, batches, variances, fit, environments: found, against })
}

/// The tolerance factor of `n` values whose spread has `freedom` degrees.
fn pooled_factor(n: usize, freedom: usize, basis: Basis) -> Result<f64, StatisticsError> {
    // Sizes and freedoms below a million leave the key its own.
    let key = (n as f64) * 1e7 + basis.content();
    recalled("pooled", freedom, key, || {
        let root = (n as f64).sqrt();
        let t = noncentral_t_quantile(basis.confidence(), freedom, quantile(basis.content()) * root)?;
        finite("the tolerance factor", t / root)
    })
}

#[cfg(test)]
mod tests {
    use super::super::samples::S18;
    use super::*;

    #[test]
    fn two_environments_of_an_invented_sample() {
        let warm: Vec<Vec<f64>> =
            S18.iter().map(|own| own.iter().map(|value| 0.8 * value + 3.0).collect()).collect();
        let cold: Vec<&[f64]> = S18.iter().map(|own| &own[..]).collect();
        let both = [cold, warm.iter().map(Vec::as_slice).collect()];
        let found = pooled(&both, &Levels::default()).unwrap();
        assert_eq!((found.freedom, found.against.clone()), (34, Vec::new()));
        // scipy 1.10.1: nct.ppf(0.95, 34, norm.ppf(p) sqrt 18)/sqrt 18.
        let [b, a] = found.environments[0].k;
        assert!((b - K_B).abs() < 1e-6 && (a - K_A).abs() < 1e-6, "{b} {a}");
        // More freedom, a smaller factor than of 18 values alone (1.97380).
        assert!(b < 1.97380);
        for own in &found.environments {
            assert!((own.values[0] / (own.sample.mean * (1.0 - b * found.cv)) - 1.0).abs() < 1e-12);
        }
        assert_eq!(found.environments[0].k, found.environments[1].k);
    }

    const K_B: f64 = 1.821_710_962_8;
    const K_A: f64 = 3.060_744_450_8;

    #[test]
    fn what_speaks_against_pooling_is_said() {
        let calm: Vec<f64> = (0..12).map(|i| 100.0 + 0.1 * f64::from(i)).collect();
        let wild: Vec<f64> = (0..12).map(|i| 100.0 + 6.0 * f64::from(i)).collect();
        let found = pooled(&[vec![&calm[..]], vec![&wild[..]]], &Levels::default()).unwrap();
        assert!(
            found.against.iter().any(|why| why.to_string().contains("one spread")),
            "{:?}",
            found.against
        );
        let (low, high) = (&calm[..6], &calm[6..]);
        let found = pooled(&[vec![low, high], vec![&calm[..]]], &Levels::default()).unwrap();
        assert!(
            found.against.iter().any(|why| why.to_string().contains("batches of environment 1")),
            "{:?}",
            found.against
        );
        assert!(pooled(&[vec![&calm[..]]], &Levels::default()).is_err());
        assert!(pooled(&[vec![&[1.0][..]], vec![&calm[..]]], &Levels::default()).is_err());
        assert!(pooled(&[vec![&[-1.0, -2.0][..]], vec![&calm[..]]], &Levels::default()).is_err());
    }
}
