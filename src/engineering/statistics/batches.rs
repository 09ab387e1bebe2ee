//! Do batches differ: in distribution (k-sample Anderson-Darling), in spread (Levene)?

use super::order::{Marked, in_order};
use super::recalled::recalled;
use super::sample::sum_of;
use super::{StatisticsError, finite, mean, open_probability};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Levels at which the critical value of the k-sample test is known, with its three constants.
///
/// # Source
/// F. W. Scholz, M. A. Stephens, *K-sample Anderson-Darling tests*, J. American Statistical Association 82
/// (1987), table 2 (from memory; the same stand in scipy.stats.anderson_ksamp).
const LEVELS: [(f64, [f64; 3]); 4] = [
    (0.10, [1.281, 0.250, -0.305]),
    (0.05, [1.645, 0.678, -0.362]),
    (0.025, [1.960, 1.149, -0.391]),
    (0.01, [2.326, 1.822, -0.396]),
];

/// Returns whether [`k_sample`] takes a level.
pub fn is_k_sample_level(alpha: f64) -> bool {
    k_sample_constants(alpha).is_some()
}

/// Returns the levels that [`k_sample`] takes.
pub fn k_sample_levels() -> [f64; 4] {
    LEVELS.map(|(alpha, _)| alpha)
}

/// b0, b1, b2 of the critical value at a level.
fn k_sample_constants(alpha: f64) -> Option<[f64; 3]> {
    LEVELS.iter().find(|(level, _)| (level - alpha).abs() < 1e-12).map(|(_, constants)| *constants)
}

/// What the k-sample test found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KSample {
    /// Anderson-Darling statistic over k - 1.
    pub statistic: f64,
    /// What it passes with probability alpha if all groups come from one population.
    pub critical: f64,
    /// Standard deviation of the statistic.
    pub sigma: f64,
    /// What that was computed from.
    pub spread: KSampleSpread,
    /// The three constants of the critical value at this level.
    pub constants: [f64; 3],
    /// Level.
    pub alpha: f64,
    /// Groups.
    pub groups: usize,
    /// Values in all.
    pub n: usize,
}

impl KSample {
    /// Returns whether the groups may be taken as one population.
    pub fn is_one(&self) -> bool {
        self.statistic <= self.critical
    }
}

/// Tests whether `groups` come from one population, whatever its distribution.
///
/// # Errors
/// [`StatisticsError::Count`] for fewer than two groups, an empty group or fewer than four values;
/// [`StatisticsError::Level`] for an `alpha` that no critical value is published for;
/// [`StatisticsError::NotFinite`]; [`StatisticsError::NoSpread`] where all values are equal.
///
/// # Source
/// MIL-HDBK-17-1F 8.3.2.2: the statistic with ties at half their count, over k - 1; critical value
/// 1 + sigma (b0 + b1/sqrt(k - 1) + b2/(k - 1)). Formula as the NIST reference manual quotes the handbook;
/// variance and constants: F. W. Scholz, M. A. Stephens 1987 (from memory, as in scipy).
pub fn k_sample(groups: &[&[f64]], alpha: f64) -> Result<KSample, StatisticsError> {
    let sizes: Vec<usize> = groups.iter().map(|own| own.len()).collect();
    testable(&sizes, alpha)?;
    for value in groups.iter().copied().flatten() {
        finite("a value of the sample", *value)?;
    }
    k_sample_merged(&merged(groups), &sizes, alpha)
}

/// The values of all groups in their order, each with its group; equals in the order of their groups.
pub(super) fn merged(groups: &[&[f64]]) -> Vec<Marked> {
    let own = groups.iter().zip(0..);
    // Nought is one value, whatever its sign.
    let mut all: Vec<Marked> =
        own.flat_map(|(own, group)| own.iter().map(move |value| (value + 0.0, group))).collect();
    in_order(&mut all);
    all
}

/// The constants of a test of groups of these sizes at this level, if there is one.
fn testable(sizes: &[usize], alpha: f64) -> Result<[f64; 3], StatisticsError> {
    let (what, k, n) = ("the k-sample test", sizes.len(), sizes.iter().sum::<usize>());
    if k < 2 {
        return Err(StatisticsError::too_few("the k-sample test, in groups,", k, 2));
    }
    if sizes.contains(&0) {
        return Err(StatisticsError::too_few("a group of the k-sample test", 0, 1));
    }
    let constants = k_sample_constants(alpha).ok_or(StatisticsError::Level { what, value: alpha })?;
    // Groups of one value each have one order only: there is nothing to test.
    let fewest = (k + 1).max(4);
    if n < fewest { Err(StatisticsError::too_few(what, n, fewest)) } else { Ok(constants) }
}

/// [`k_sample`] of finite values that are [`merged`].
pub(super) fn k_sample_merged(
    all: &[Marked],
    sizes: &[usize],
    alpha: f64,
) -> Result<KSample, StatisticsError> {
    let what = "the k-sample test";
    let [b0, b1, b2] = testable(sizes, alpha)?;
    let (k, n) = (sizes.len(), all.len());
    let equal = |one: &Marked, two: &Marked| one.0 == two.0;
    if all.first().zip(all.last()).is_some_and(|(least, most)| equal(least, most)) {
        return Err(StatisticsError::NoSpread { what });
    }
    let total = n as f64;
    let sizes: Vec<f64> = sizes.iter().map(|size| *size as f64).collect();
    let inverses: Vec<f64> = sizes.iter().map(|size| 1.0 / size).collect();
    // The sum over groups of (N M - n_i B)^2/n_i is N^2 of the sum of M^2/n_i, less N B^2: so only the groups
    // that a value occurs in have to be touched.
    let mut below = vec![0.0; k];
    let mut squares = 0.0;
    let mut before = 0.0;
    let mut statistic = 0.0;
    let mut counts: Vec<(u32, f64)> = Vec::new();
    for tied in all.chunk_by(equal) {
        let ties = tied.len() as f64;
        counts.clear();
        for (_, group) in tied {
            match counts.last_mut() {
                Some((known, count)) if known == group => *count += 1.0,
                _ => counts.push((*group, 1.0)),
            }
        }
        let mut half = 0.0;
        let mut whole = 0.0;
        for (group, count) in &counts {
            let group = *group as usize;
            let (Some(inverse), Some(known)) = (inverses.get(group), below.get_mut(group)) else {
                continue;
            };
            half += (*known * count + 0.25 * count * count) * inverse;
            whole += (2.0 * *known * count + count * count) * inverse;
            *known += count;
        }
        let middle = before + 0.5 * ties;
        let divisor = middle * (total - middle) - 0.25 * total * ties;
        if divisor > 0.0 {
            let sum = total * total * (squares + half) - total * middle * middle;
            statistic += ties / total * sum / divisor;
        }
        squares += whole;
        before += ties;
    }
    statistic *= (total - 1.0) / total;
    let (spread, free) = (KSampleSpread::of(&sizes, n), (k - 1) as f64);
    let sigma = spread.sigma / free;
    Ok(KSample {
        statistic: finite("the k-sample statistic", statistic / free)?,
        critical: finite("its critical value", 1.0 + sigma * (b0 + b1 / free.sqrt() + b2 / free))?,
        sigma,
        spread,
        constants: [b0, b1, b2],
        alpha,
        groups: k,
        n,
    })
}

/// What the spread of the k-sample statistic is computed from: it depends on the sizes of the groups alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KSampleSpread {
    /// H, the sum of 1/n_i over the groups.
    pub inverse: f64,
    /// h, the sum of 1/i from 1 to N - 1.
    pub harmonic: f64,
    /// g, the sum of 1/((N - i) j) over i < j < N.
    pub double: f64,
    /// a, b, c, d of the variance (a N^3 + b N^2 + c N + d)/((N - 1)(N - 2)(N - 3)).
    pub polynomial: [f64; 4],
    /// The standard deviation, before the statistic is divided by k - 1.
    pub sigma: f64,
}

impl KSampleSpread {
    /// Of groups of these sizes with `n` values in all, four or more.
    fn of(sizes: &[f64], n: usize) -> Self {
        let (k, total) = (sizes.len() as f64, n as f64);
        let inverse: f64 = sizes.iter().map(|size| 1.0 / size).sum();
        let sum = |name, which: fn((f64, f64)) -> f64| recalled(name, n, 0.0, || Ok(which(harmonic_sums(n))));
        // What is only remembered never fails.
        let harmonic = sum("harmonic", |both| both.0).unwrap_or_default();
        let double = sum("double-harmonic", |both| both.1).unwrap_or_default();
        let (h, g) = (harmonic, double);
        let a = (4.0 * g - 6.0) * (k - 1.0) + (10.0 - 6.0 * g) * inverse;
        let b = (2.0 * g - 4.0) * k * k + 8.0 * h * k + (2.0 * g - 14.0 * h - 4.0) * inverse - 8.0 * h
            + 4.0 * g
            - 6.0;
        let c = (6.0 * h + 2.0 * g - 2.0) * k * k
            + (4.0 * h - 4.0 * g + 6.0) * k
            + (2.0 * h - 6.0) * inverse
            + 4.0 * h;
        let d = (2.0 * h + 6.0) * k * k - 4.0 * h * k;
        let square =
            (((a * total + b) * total + c) * total + d) / ((total - 1.0) * (total - 2.0) * (total - 3.0));
        Self { inverse, harmonic, double, polynomial: [a, b, c, d], sigma: square.max(0.0).sqrt() }
    }
}

/// h and g of so many values.
fn harmonic_sums(n: usize) -> (f64, f64) {
    let harmonic: f64 = (1..n).map(|i| 1.0 / i as f64).sum();
    // The sum over i < j < N by what is left of the harmonic sum behind i.
    let mut left = harmonic;
    let mut g = 0.0;
    for i in 1..n.saturating_sub(1) {
        left -= 1.0 / i as f64;
        g += left / (n - i) as f64;
    }
    (harmonic, g)
}

/// What the test of equal spread found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EqualVariances {
    /// Levene's statistic on the distances from the median.
    pub statistic: f64,
    /// What it passes with probability alpha if all groups have one spread.
    pub critical: f64,
    /// Degrees of freedom between and within groups.
    pub degrees: [usize; 2],
    /// Level.
    pub alpha: f64,
}

impl EqualVariances {
    /// Returns whether the groups may be taken to have one spread.
    pub fn is_equal(&self) -> bool {
        self.statistic <= self.critical
    }
}

/// Tests whether `groups` have one spread, by their distances from their medians.
///
/// # Errors
/// [`StatisticsError::Count`] for fewer than two groups, an empty one, or no more values than groups;
/// [`StatisticsError::NoSpread`] where all distances are equal; [`StatisticsError::Probability`] unless
/// 0 < `alpha` < 1.
///
/// # Source
/// H. Levene 1960, with the median as M. B. Brown, A. B. Forsythe, J. American Statistical Association 69
/// (1974); MIL-HDBK-17-1F 8.3.4.1 (from memory).
pub fn equal_variances(groups: &[&[f64]], alpha: f64) -> Result<EqualVariances, StatisticsError> {
    let what = "a test of equal variances";
    open_probability("alpha", alpha)?;
    let k = groups.len();
    let n: usize = groups.iter().map(|own| own.len()).sum();
    if k < 2 {
        return Err(StatisticsError::too_few("a test of equal variances, in groups,", k, 2));
    }
    if n <= k {
        return Err(StatisticsError::too_few(what, n, k + 1));
    }
    let mut distances: Vec<Vec<f64>> = Vec::with_capacity(k);
    for own in groups {
        let middle = median(own)?;
        distances.push(own.iter().map(|value| (value - middle).abs()).collect());
    }
    let (between, within) = squares(&distances.iter().map(Vec::as_slice).collect::<Vec<_>>())?;
    let (free, rest) = (k - 1, n - k);
    if within <= 0.0 {
        return Err(StatisticsError::NoSpread { what });
    }
    let statistic = finite("Levene's statistic", (between / free as f64) / (within / rest as f64))?;
    Ok(EqualVariances {
        statistic,
        critical: f_quantile(1.0 - alpha, free, rest)?,
        degrees: [free, rest],
        alpha,
    })
}

/// Returns the median of some values.
///
/// # Errors
/// [`StatisticsError::Count`] for none, [`StatisticsError::NotFinite`].
pub fn median(values: &[f64]) -> Result<f64, StatisticsError> {
    let mut own = Vec::with_capacity(values.len());
    for value in values {
        own.push(finite("a value of the sample", *value)?);
    }
    own.sort_by(f64::total_cmp);
    let half = own.len() / 2;
    match (own.get(half), half.checked_sub(1).and_then(|before| own.get(before))) {
        (Some(upper), Some(lower)) if own.len().is_multiple_of(2) => Ok(0.5 * lower + 0.5 * upper),
        (Some(middle), _) => Ok(*middle),
        _ => Err(StatisticsError::too_few("a median", 0, 1)),
    }
}

/// Sums of squares between and within groups.
pub(super) fn squares(groups: &[&[f64]]) -> Result<(f64, f64), StatisticsError> {
    let all: Vec<f64> = groups.iter().flat_map(|own| own.iter().copied()).collect();
    let middle = mean(&all)?;
    let (mut between, mut within) = (0.0, 0.0);
    for own in groups {
        let centre = mean(own)?;
        between += own.len() as f64 * (centre - middle) * (centre - middle);
        within += sum_of(own, |value| (value - centre) * (value - centre));
    }
    Ok((finite("the sum of squares", between)?, finite("the sum of squares", within)?))
}

/// The quantile of Snedecor's F.
pub(super) fn f_quantile(p: f64, first: usize, second: usize) -> Result<f64, StatisticsError> {
    let compute = || {
        let own = FisherSnedecor::new(first as f64, second as f64)
            .map_err(|_| StatisticsError::NoQuantile { what: "Snedecor's F distribution" })?;
        finite("the quantile", own.inverse_cdf(p))
    };
    // Degrees below two thousand million leave the key its own.
    match first.checked_shl(32).filter(|_| first < 1 << 31 && second < 1 << 31) {
        Some(high) => recalled("f", high | second, p, compute),
        None => compute(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples::{GEAR, S18};
    use super::*;

    fn near(what: &str, got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() < relative, "{what}: {got} is not {expected}");
    }

    fn slices(groups: &[Vec<f64>]) -> Vec<&[f64]> {
        groups.iter().map(Vec::as_slice).collect()
    }

    #[test]
    fn four_laboratories_differ() {
        // Smoothness of paper, F. W. Scholz, M. A. Stephens 1987, as in scipy's test of anderson_ksamp:
        // A2 with midranks 8.39261, sigma 1.20377; over k - 1, and the critical values, recomputed with numpy.
        let groups = [
            vec![38.7, 41.5, 43.8, 44.5, 45.5, 46.0, 47.7, 58.0],
            vec![39.2, 39.3, 39.7, 41.4, 41.8, 42.9, 43.3, 45.8],
            vec![34.0, 35.0, 39.0, 40.0, 43.0, 43.0, 44.0, 45.0],
            vec![34.0, 34.8, 34.8, 35.4, 37.2, 37.8, 41.2, 42.8],
        ];
        for (alpha, critical) in [(0.05, 1.76872), (0.025, 2.00035)] {
            let found = k_sample(&slices(&groups), alpha).unwrap();
            near("ADK", found.statistic, 2.79754, 3e-6);
            near("sigma", found.sigma * 3.0, 1.20377, 4e-6);
            near("ADC", found.critical, critical, 3e-6);
            assert!(!found.is_one());
        }
    }

    #[test]
    fn gears_with_many_ties_turn_with_the_level() {
        // NIST GEAR.DAT, in scipy's tests from the NIST/SEMATECH e-Handbook 1.3.5.8.1; recomputed with numpy.
        let groups = GEAR.map(|own| own.to_vec());
        let (five, two) =
            (k_sample(&slices(&groups), 0.05).unwrap(), k_sample(&slices(&groups), 0.025).unwrap());
        near("ADK", five.statistic, 1.44713, 5e-6);
        near("sigma", five.sigma * 9.0, 2.14830, 5e-6);
        near("ADC", five.critical, 1.43701, 5e-6);
        near("ADC", two.critical, 1.54890, 5e-6);
        assert!(!five.is_one() && two.is_one());
        // Levene W = 1.7059 in the e-Handbook 1.3.5.10; F(0.95; 9, 90) = 1.9856.
        let spread = equal_variances(&slices(&groups), 0.05).unwrap();
        near("W", spread.statistic, 1.705_917_7, 1e-6);
        near("F", spread.critical, 1.9856, 3e-5);
        assert!(spread.is_equal());
    }

    #[test]
    fn three_batches_of_an_invented_sample() {
        // Recomputed with numpy and scipy.
        let groups = S18.map(|own| own.to_vec());
        let found = k_sample(&slices(&groups), 0.025).unwrap();
        near("ADK", found.statistic, 1.67554, 5e-6);
        near("sigma", found.sigma, 0.47208, 2e-5);
        near("ADC", found.critical, 2.21652, 5e-6);
        let spread = equal_variances(&slices(&groups), 0.05).unwrap();
        assert!((spread.statistic - 0.5506).abs() < 6e-5 && (spread.critical - 3.6823).abs() < 6e-5);
    }

    /// The definition, term by term.
    fn by_definition(groups: &[Vec<f64>]) -> f64 {
        let mut all: Vec<f64> = groups.iter().flatten().copied().collect();
        all.sort_by(f64::total_cmp);
        let n = all.len() as f64;
        let mut distinct = all.clone();
        distinct.dedup();
        let mut sum = 0.0;
        for own in groups {
            for z in &distinct {
                let count =
                    |of: &[f64], what: &dyn Fn(f64) -> bool| of.iter().filter(|v| what(**v)).count() as f64;
                let (ties, f) = (count(&all, &|v| v == *z), count(own, &|v| v == *z));
                let half = |of: &[f64], equal: f64| count(of, &|v| v < *z) + 0.5 * equal;
                let (m, b) = (half(own, f), half(&all, ties));
                let size = own.len() as f64;
                sum += ties / n * (n * m - size * b).powi(2) / (size * (b * (n - b) - n * ties / 4.0));
            }
        }
        (n - 1.0) / n * sum / (groups.len() as f64 - 1.0)
    }

    #[test]
    fn the_short_way_agrees_with_the_definition() {
        let groups = [vec![1.0, 2.0, 2.0, 3.5], vec![2.0, 2.5], vec![0.0, -0.0, 7.0, 3.5, 3.5], vec![4.0]];
        near("ADK", k_sample(&slices(&groups), 0.05).unwrap().statistic, by_definition(&groups), 1e-12);
        let gear = GEAR.map(|own| own.to_vec());
        near("ADK", k_sample(&slices(&gear), 0.05).unwrap().statistic, by_definition(&gear), 1e-12);
    }

    #[test]
    fn what_cannot_be_compared_is_refused() {
        let two = [vec![1.0, 2.0], vec![3.0, 4.0]];
        assert!(k_sample(&slices(&two), 0.04).is_err());
        assert!(k_sample(&[&[1.0, 2.0, 3.0, 4.0]], 0.05).is_err());
        assert!(k_sample(&[&[1.0, 2.0, 3.0], &[]], 0.05).is_err());
        assert!(k_sample(&[&[1.0], &[2.0, 3.0]], 0.05).is_err());
        assert!(k_sample(&[&[1.0], &[2.0], &[3.0], &[4.0], &[5.0]], 0.05).is_err());
        assert!(matches!(k_sample(&[&[1.0; 3], &[1.0; 3]], 0.05), Err(StatisticsError::NoSpread { .. })));
        assert!(k_sample(&[&[1.0, f64::INFINITY], &[2.0, 3.0]], 0.05).is_err());
        assert!(equal_variances(&[&[1.0], &[2.0]], 0.05).is_err());
        assert!(matches!(
            equal_variances(&[&[1.0, 1.0], &[2.0, 2.0]], 0.05),
            Err(StatisticsError::NoSpread { .. })
        ));
        assert!(median(&[]).is_err());
        assert_eq!(median(&[3.0, 1.0, 2.0]).unwrap(), 2.0);
        assert_eq!(median(&[3.0, 1.0]).unwrap(), 2.0);
    }
}
