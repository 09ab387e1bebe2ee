//! Is what is made now still what was qualified: limits for a new, small sample.

use std::f64::consts::{PI, TAU};

use super::noncentral::student_t_quantile;
use super::normal::{cumulative, density, quantile};
use super::quadrature::points;
use super::recalled::recalled;
use super::{LEVELS_TAKEN, Sample, StatisticsError, deviation, finite, mean, open_probability};

/// The most new values the mean-and-minimum test takes.
const MOST: usize = 10_000;
/// Relative width of the search for the marginal probability.
const SETTLED: f64 = 1e-10;

/// Returns (`k_mean`, `k_min`) for the mean-and-minimum test of `n` new values.
///
/// With the qualified mean m0 and deviation s0 taken as known, the new sample is rejected if its
/// mean is below m0 - `k_mean` s0 or its smallest value below m0 - `k_min` s0. Both events have
/// equal probability, and either of them happens with probability `alpha` when nothing changed.
///
/// The limits are remembered, so that asking again costs nothing.
///
/// # Errors
/// [`StatisticsError::Count`] unless `n` is 1 to 10 000, [`StatisticsError::Probability`] unless
/// `alpha` is 0.0001 to 0.5.
///
/// # Source
/// M. G. Vangel, *Lot acceptance and compliance testing using the sample mean and an extremum*,
/// Technometrics 44 (2002), followed by DOT/FAA/AR-03/19 (both from memory). The joint
/// probability is computed, not approximated: given a smallest value of at least -m, the values
/// are normals truncated at -m, and the distribution of their sum is found by inverting its
/// characteristic function (J. Gil-Pelaez, Biometrika 38 (1951), from memory).
pub fn equivalence_limits(n: usize, alpha: f64) -> Result<(f64, f64), StatisticsError> {
    if !(1..=MOST).contains(&n) {
        let what = "the mean-and-minimum test";
        return Err(StatisticsError::Count { what, n, least: 1, most: MOST });
    }
    if !LEVELS_TAKEN.contains(&alpha) {
        let (low, high) = (*LEVELS_TAKEN.start(), *LEVELS_TAKEN.end());
        return Err(StatisticsError::Probability { what: "alpha", value: alpha, low, high });
    }
    let p = recalled("equivalence", n, alpha, || Ok(marginal(n, alpha)))?;
    Ok(limits_at(n, p))
}

/// The limits of which each is passed below with probability `p`.
fn limits_at(n: usize, p: f64) -> (f64, f64) {
    let n = n as f64;
    // P(min < -k) = 1 - (1 - Phi(-k))^n = p, without losing a small p against 1.
    let one = -((-p).ln_1p() / n).exp_m1();
    (-quantile(p) / n.sqrt(), -quantile(one))
}

/// The probability of each event for which either happens with probability `alpha`.
fn marginal(n: usize, alpha: f64) -> f64 {
    if n == 1 {
        return alpha;
    }
    let excess = |p: f64| {
        let (k_mean, k_min) = limits_at(n, p);
        1.0 - both_above(n, k_mean, k_min) - alpha
    };
    // Either event is at least as likely as one and at most as both apart.
    let (mut low, mut high) = (0.5 * alpha, alpha);
    let (mut at_low, mut at_high) = (excess(low), excess(high));
    for _ in 0..200 {
        if high - low <= SETTLED * alpha || at_low >= 0.0 || at_high <= 0.0 {
            break;
        }
        // Regula falsi, kept off the ends so that the bracket shrinks from both sides.
        let share = (at_low / (at_low - at_high)).clamp(0.02, 0.98);
        let middle = low + share * (high - low);
        let at = excess(middle);
        if at < 0.0 {
            (low, at_low) = (middle, at);
            // Illinois: halving the stale end keeps the other from lagging.
            at_high *= 0.5;
        } else {
            (high, at_high) = (middle, at);
            at_low *= 0.5;
        }
    }
    if at_low >= 0.0 {
        low
    } else if at_high <= 0.0 {
        high
    } else {
        0.5 * (low + high)
    }
}

/// Probability that `n` standard normals have a mean of at least -`k_mean` and none is below
/// -`k_min`.
pub(super) fn both_above(n: usize, k_mean: f64, k_min: f64) -> f64 {
    let size = n as f64;
    let sum_limit = -size * k_mean;
    // Beyond this the characteristic function to the power n is gone, or, for few values, has
    // fallen to the trace that the cut at -k_min leaves (about (density/u)^n).
    let last = (9.0 / size.sqrt()).max(30.0 / (size - 1.0));
    // 16 deviations of the sum fit in one period, so that its images do not overlap.
    let step = TAU / (16.0 * size.sqrt());
    let pieces = (last * (9.0 + k_min) / (TAU * 3.0)).ceil() as usize + 6;
    let nodes: Vec<(f64, f64)> =
        points(&[-k_min, 9.0], pieces).into_iter().map(|(z, w)| (z, w * density(z))).collect();

    let mut sum = 0.0;
    let mut k = 0.5;
    while k * step <= last {
        let u = k * step;
        let (mut real, mut imaginary) = (0.0, 0.0);
        for (z, weight) in &nodes {
            let (sine, cosine) = (u * z).sin_cos();
            real += weight * cosine;
            imaginary += weight * sine;
        }
        let size_n = real.hypot(imaginary).powf(size);
        sum += size_n * (size * imaginary.atan2(real) - u * sum_limit).sin() / k;
        k += 1.0;
    }
    0.5 * (size * cumulative(k_min).ln()).exp() + sum / PI
}

/// What the mean-and-minimum test found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrengthEquivalence {
    /// Factor of the mean, by [`equivalence_limits`].
    pub k_mean: f64,
    /// Factor of the smallest value.
    pub k_min: f64,
    /// The mean of the new values.
    pub mean: f64,
    /// What it may not be below.
    pub mean_limit: f64,
    /// The smallest new value.
    pub minimum: f64,
    /// What it may not be below.
    pub minimum_limit: f64,
}

impl StrengthEquivalence {
    /// Returns whether the mean reaches its limit.
    pub fn mean_holds(&self) -> bool {
        self.mean >= self.mean_limit
    }

    /// Returns whether the smallest value reaches its limit.
    pub fn minimum_holds(&self) -> bool {
        self.minimum >= self.minimum_limit
    }

    /// Returns whether both hold.
    pub fn holds(&self) -> bool {
        self.mean_holds() && self.minimum_holds()
    }
}

/// Tests whether new strengths are no lower than those qualified, by mean and minimum.
///
/// # Arguments
/// * `m0`, `s0` – mean and sample standard deviation of the baseline, taken as known
/// * `new` – the new values, in the same unit
/// * `alpha` – the probability of rejecting though nothing changed, usually 0.05
///
/// # Errors
/// [`StatisticsError::NotFinite`], [`StatisticsError::NegativeDeviation`], and as
/// [`equivalence_limits`].
///
/// # Source
/// As [`equivalence_limits`].
pub fn strength_equivalent(
    m0: f64,
    s0: f64,
    new: &[f64],
    alpha: f64,
) -> Result<StrengthEquivalence, StatisticsError> {
    finite("the baseline's mean", m0)?;
    deviation("the baseline", s0)?;
    let (k_mean, k_min) = equivalence_limits(new.len(), alpha)?;
    Ok(StrengthEquivalence {
        k_mean,
        k_min,
        mean: mean(new)?,
        mean_limit: finite("the limit of the mean", m0 - k_mean * s0)?,
        minimum: new.iter().copied().fold(f64::INFINITY, f64::min),
        minimum_limit: finite("the limit of the minimum", m0 - k_min * s0)?,
    })
}

/// What the two-sided test of a mean found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanChange {
    /// The standard deviation pooled over both samples.
    pub pooled_sd: f64,
    /// The Student quantile used.
    pub t: f64,
    /// The new mean.
    pub mean: f64,
    /// What it may not be below.
    pub low: f64,
    /// What it may not be above.
    pub high: f64,
}

impl MeanChange {
    /// Returns whether the new mean lies within its limits, ends included.
    pub fn holds(&self) -> bool {
        self.low <= self.mean && self.mean <= self.high
    }
}

/// Tests whether a mean (a modulus, a glass transition, a physical property) changed either way.
///
/// # Arguments
/// * `m0`, `s0`, `n0` – mean, sample standard deviation and count of the baseline
/// * `m1`, `s1`, `n1` – the same of the new sample, in the same unit
/// * `alpha` – the probability of rejecting though nothing changed, usually 0.05
///
/// # Errors
/// [`StatisticsError::Count`] for a sample of fewer than two, [`StatisticsError::NotFinite`],
/// [`StatisticsError::NegativeDeviation`], [`StatisticsError::Probability`] unless
/// 0 < `alpha` < 1.
///
/// # Source
/// Limits m0 -/+ t(1 - alpha/2; n0 + n1 - 2) s_p sqrt(1/n0 + 1/n1), s_p pooled: the two-sample t
/// test, as DOT/FAA/AR-03/19 uses it for modulus (from memory).
pub fn mean_change_two_sided(
    m0: f64,
    s0: f64,
    n0: usize,
    m1: f64,
    s1: f64,
    n1: usize,
    alpha: f64,
) -> Result<MeanChange, StatisticsError> {
    change(&Sample { n: n0, mean: m0, sd: s0 }, &Sample { n: n1, mean: m1, sd: s1 }, alpha)
}

fn change(old: &Sample, new: &Sample, alpha: f64) -> Result<MeanChange, StatisticsError> {
    open_probability("alpha", alpha)?;
    for (whose, sample) in [("the baseline", old), ("the new sample", new)] {
        if !(2..=MOST).contains(&sample.n) {
            return Err(StatisticsError::Count { what: whose, n: sample.n, least: 2, most: MOST });
        }
        finite(whose, sample.mean)?;
        deviation(whose, sample.sd)?;
    }
    let (n0, n1) = (old.n as f64, new.n as f64);
    let squares = (n0 - 1.0) * old.sd * old.sd + (n1 - 1.0) * new.sd * new.sd;
    let pooled_sd = finite("the pooled deviation", (squares / (n0 + n1 - 2.0)).sqrt())?;
    let t = student_t_quantile(1.0 - 0.5 * alpha, old.n + new.n - 2)?;
    let reach = t * pooled_sd * (1.0 / n0 + 1.0 / n1).sqrt();
    Ok(MeanChange {
        pooled_sd,
        t,
        mean: new.mean,
        low: finite("the lower limit", old.mean - reach)?,
        high: finite("the upper limit", old.mean + reach)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() <= relative, "{got} against {expected}");
    }

    /// (n, k_min and k_mean at 0.05, then at 0.01): joint distribution by fast Fourier transform
    /// in numpy, confirmed by simulation of 4 000 000 samples (rates 0.0499, 0.0498, 0.00998);
    /// printed to four decimals.
    const FACTORS: &[(usize, f64, f64, f64, f64)] = &[
        (3, 2.3226, 1.0859, 2.9019, 1.4661),
        (5, 2.5281, 0.8523, 3.0713, 1.1424),
        (8, 2.6999, 0.6789, 3.2152, 0.9058),
        (9, 2.7409, 0.6410, 3.2500, 0.8545),
        (10, 2.7770, 0.6089, 3.2807, 0.8110),
        (11, 2.8093, 0.5811, 3.3082, 0.7735),
        (14, 2.8890, 0.5162, 3.3766, 0.6861),
        (16, 2.9322, 0.4834, 3.4138, 0.6420),
        (18, 2.9697, 0.4561, 3.4463, 0.6055),
        (25, 3.0718, 0.3878, 3.5352, 0.5140),
        (30, 3.1270, 0.3543, 3.5835, 0.4694),
    ];

    /// Half a unit of the last printed digit of the smallest entry, and the grid the reference
    /// was computed on.
    const PRINTED: f64 = 3e-4;

    #[test]
    fn factors_agree_with_the_joint_distribution() {
        for (n, min5, mean5, min1, mean1) in FACTORS {
            for (alpha, k_min, k_mean) in [(0.05, min5, mean5), (0.01, min1, mean1)] {
                let (mean, min) = equivalence_limits(*n, alpha).unwrap();
                close(mean, *k_mean, PRINTED);
                close(min, *k_min, PRINTED);
            }
        }
    }

    #[test]
    fn two_values_agree_with_the_plain_integral() {
        // mpmath 1.x, 20 digits: P = integral over z of the density times
        // [1 - Phi(max(-m, -2k - z))] from -m, root in the marginal probability.
        for (alpha, k_mean, k_min) in [
            (0.05, 1.307_658_586, 2.138_573_597),
            (0.01, 1.779_781_163, 2.751_799_46),
            (0.2, 0.746_966_974_7, 1.435_629_461),
        ] {
            let (mean, min) = equivalence_limits(2, alpha).unwrap();
            close(mean, k_mean, 1e-5);
            close(min, k_min, 1e-5);
        }
    }

    #[test]
    fn one_value_is_its_own_mean_and_minimum() {
        let (mean, min) = equivalence_limits(1, 0.05).unwrap();
        close(mean, 1.644_853_626_951_472_7, 1e-12);
        close(min, mean, 1e-12);
    }

    #[test]
    fn the_joint_probability_keeps_its_limits() {
        for n in [2, 3, 8, 40, 1000] {
            let size = n as f64;
            // No minimum to speak of: the mean alone. No mean to speak of: the minimum alone.
            let k = 1.2 / size.sqrt();
            assert!((both_above(n, k, 12.0) - cumulative(1.2)).abs() < 1e-9, "n = {n}");
            assert!((both_above(n, 7.0 / size.sqrt(), 3.5) - cumulative(3.5).powf(size)).abs() < 1e-6);
        }
    }

    #[test]
    fn each_event_is_likelier_than_half_and_rarer_than_alpha() {
        for n in [2, 3, 7, 30, 300, 10_000] {
            for alpha in [1e-4, 0.01, 0.05, 0.3] {
                let p = marginal(n, alpha);
                assert!(p > 0.5 * alpha && p < alpha, "n = {n}, alpha = {alpha}: {p}");
                let (k_mean, k_min) = equivalence_limits(n, alpha).unwrap();
                // The lenient bound of splitting alpha in halves.
                let (split_mean, split_min) = limits_at(n, 0.5 * alpha);
                assert!(k_mean < split_mean && k_min < split_min && k_mean > 0.0);
            }
        }
    }

    #[test]
    fn the_bound_of_halves_is_told_from_the_joint_one() {
        // scipy: alpha split in halves for n = 8, 0.05 gives 2.731 and 0.693.
        let (mean, min) = limits_at(8, 0.025);
        assert!((min - 2.731).abs() < 6e-4 && (mean - 0.693).abs() < 6e-4);
    }

    #[test]
    fn an_invented_sample_is_equivalent_by_mean_and_minimum() {
        // Synthetic strengths in MPa; limits computed with numpy.
        let new = [2481.0, 2533.0, 2460.0, 2502.0, 2518.0, 2449.0, 2490.0, 2511.0];
        let found = strength_equivalent(2550.0, 95.0, &new, 0.05).unwrap();
        close(found.mean_limit, 2485.50, 5e-6);
        close(found.minimum_limit, 2293.51, 5e-6);
        assert_eq!((found.mean, found.minimum), (2493.0, 2449.0));
        assert!(found.holds());
        let lower = new.map(|v| v - 8.0);
        let found = strength_equivalent(2550.0, 95.0, &lower, 0.05).unwrap();
        assert!(!found.mean_holds() && found.minimum_holds() && !found.holds());
    }

    #[test]
    fn an_invented_modulus_moved() {
        // Synthetic, GPa; scipy.stats.t gives 2.05183.
        let found = mean_change_two_sided(164.0, 3.1, 21, 161.2, 2.4, 8, 0.05).unwrap();
        close(found.pooled_sd, 2.93460, 5e-6);
        close(found.t, 2.05183, 5e-6);
        close(found.low, 161.4983, 5e-7);
        close(found.high, 166.5017, 5e-7);
        assert!(!found.holds());
        assert!(mean_change_two_sided(164.0, 3.1, 21, 161.6, 2.4, 8, 0.05).unwrap().holds());
    }

    #[test]
    fn bad_arguments_are_refused() {
        assert!(equivalence_limits(0, 0.05).is_err());
        assert!(equivalence_limits(MOST + 1, 0.05).is_err());
        for alpha in [0.0, 0.6, -0.1, f64::NAN] {
            assert!(equivalence_limits(8, alpha).is_err());
        }
        assert!(strength_equivalent(f64::NAN, 1.0, &[1.0], 0.05).is_err());
        assert!(strength_equivalent(1.0, -1.0, &[1.0], 0.05).is_err());
        assert!(strength_equivalent(1.0, 1.0, &[], 0.05).is_err());
        assert!(strength_equivalent(1.0, 1.0, &[1.0, f64::NAN], 0.05).is_err());
        assert!(mean_change_two_sided(1.0, 1.0, 1, 1.0, 1.0, 8, 0.05).is_err());
        assert!(mean_change_two_sided(1.0, 1.0, 8, 1.0, f64::NAN, 8, 0.05).is_err());
        assert!(mean_change_two_sided(1.0, 1.0, 8, 1.0, 1.0, 8, 1.0).is_err());
    }
}
