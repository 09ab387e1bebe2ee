//! Outliers: the maximum normed residual.

use super::noncentral::student_t_quantile;
use super::order::{Marked, in_order};
use super::recalled::recalled;
use super::{StatisticsError, finite, open_probability, sample};

/// The fewest values of which one may stand out.
pub const FEWEST_FOR_OUTLIER: usize = 3;
/// The most values a critical value is computed for.
const MOST: usize = 1_000_000;

/// The value of a sample that lies farthest from its mean, and whether it lies too far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormedResidual {
    /// Its place among the values given, from 0.
    pub index: usize,
    /// The value, in the unit of the sample.
    pub value: f64,
    /// Its distance from the mean over the sample's standard deviation.
    pub residual: f64,
    /// What a sample of this size passes with probability alpha if nothing stands out.
    pub critical: f64,
    /// How many values the sample had.
    pub n: usize,
}

impl NormedResidual {
    /// Returns whether the value is an outlier.
    pub fn is_outlier(&self) -> bool {
        self.residual > self.critical
    }
}

/// Returns the critical value of the maximum normed residual of `n` values at level `alpha`, two-sided.
///
/// # Errors
/// [`StatisticsError::Count`] unless `n` is 3 to a million, [`StatisticsError::Probability`] unless
/// 0 < `alpha` < 1.
///
/// # Source
/// C = (n - 1)/sqrt(n) sqrt(t^2/(n - 2 + t^2)), t the Student quantile of 1 - alpha/(2 n) with n - 2 degrees
/// of freedom; MIL-HDBK-17-1F 8.3.3 and table 8.5.7 (from memory).
pub fn outlier_critical(n: usize, alpha: f64) -> Result<f64, StatisticsError> {
    if !(FEWEST_FOR_OUTLIER..=MOST).contains(&n) {
        let what = "a test for outliers";
        return Err(StatisticsError::Count { what, n, least: FEWEST_FOR_OUTLIER, most: MOST });
    }
    open_probability("alpha", alpha)?;
    let critical = || {
        let count = n as f64;
        let t = student_t_quantile(1.0 - alpha / (2.0 * count), n - 2)?;
        Ok((count - 1.0) / count.sqrt() * (t * t / (count - 2.0 + t * t)).sqrt())
    };
    recalled("outlier", n, alpha, critical)
}

/// Returns the value farthest from the mean, with its critical value at level `alpha`.
///
/// # Errors
/// As [`outlier_critical`] and [`sample()`]; [`StatisticsError::NoSpread`] where all values are equal.
///
/// # Source
/// As [`outlier_critical`].
pub fn normed_residual(values: &[f64], alpha: f64) -> Result<NormedResidual, StatisticsError> {
    let n = values.len();
    let critical = outlier_critical(n, alpha)?;
    let of = sample(values)?;
    if of.sd <= 0.0 {
        return Err(StatisticsError::NoSpread { what: "a test for outliers" });
    }
    let away = |value: &f64| (value - of.mean).abs();
    let farthest = values.iter().enumerate().max_by(|(_, one), (_, two)| away(one).total_cmp(&away(two)));
    let (index, value) =
        farthest.ok_or(StatisticsError::Count { what: "a test for outliers", n, least: 3, most: MOST })?;
    Ok(NormedResidual { index, value: *value, residual: away(value) / of.sd, critical, n })
}

/// Returns every outlier of a sample, the farthest first: what was found is left out and the rest looked at
/// again, until nothing stands out. The last entry is the one that does not; of values that are all equal, or
/// of fewer than three, there is none. It ends at half of the sample, where the last entry too is an outlier:
/// what calls most values outliers is no test for outliers.
///
/// # Errors
/// As [`normed_residual`], but for a sample without spread or with too few values.
///
/// # Source
/// MIL-HDBK-17-1F 8.3.3.1 (from memory). That a value stands out is no reason to leave it out of a design
/// value: it goes by a cause that is written down. The end at half: the project's own rule.
pub fn outliers(values: &[f64], alpha: f64) -> Result<Vec<NormedResidual>, StatisticsError> {
    let mut found = Vec::new();
    if values.len() < FEWEST_FOR_OUTLIER {
        return Ok(found);
    }
    // Most samples have no outlier: one look tells, and nothing is sorted.
    match normed_residual(values, alpha) {
        Ok(first) if !first.is_outlier() => return Ok(vec![first]),
        Ok(_) => {}
        Err(StatisticsError::NoSpread { .. }) => return Ok(found),
        Err(problem) => return Err(problem),
    }
    let mut left = Left::of(values);
    while found.len() < values.len() / 2 && left.n >= FEWEST_FOR_OUTLIER {
        let Some(farthest) = left.farthest(alpha)? else { break };
        found.push(farthest);
        if !farthest.is_outlier() {
            break;
        }
    }
    Ok(found)
}

/// One value on one side of the median, with the sums from the median out to it.
#[derive(Debug, Clone, Copy)]
struct Reach {
    index: usize,
    value: f64,
    /// Its distance from the median, with its sign.
    off: f64,
    /// The sum of these distances from the median to this value, and of their squares.
    sums: [f64; 2],
}

/// What is left of a sample while its ends are taken off.
///
/// The value farthest from the mean is the least or the greatest, so sorting once is enough. Sums run outwards
/// from the median: what is taken off was never in those of the rest, so that even one huge value costs the
/// others no digits. At most half is taken off, so the median stays within what is left and near its mean.
#[derive(Debug)]
struct Left {
    n: usize,
    /// The values at and above the median, and those below it, each outwards; the last is taken off.
    sides: [Vec<Reach>; 2],
}

impl Left {
    fn of(values: &[f64]) -> Self {
        let mut sorted: Vec<Marked> = values.iter().copied().zip(0..).collect();
        in_order(&mut sorted);
        let (below, above) = sorted.split_at(values.len() / 2);
        let median = above.first().map_or(0.0, |(value, _)| *value);
        let outwards = |side: &mut dyn Iterator<Item = &Marked>| {
            let mut sums = [0.0; 2];
            let reach = |(value, index): &Marked| {
                let off = value - median;
                let [sum, squares] = sums;
                sums = [sum + off, squares + off * off];
                Reach { index: *index as usize, value: *value, off, sums }
            };
            side.map(reach).collect()
        };
        let sides = [outwards(&mut above.iter()), outwards(&mut below.iter().rev())];
        Self { n: values.len(), sides }
    }

    /// Takes off the value farthest from the mean of what is left; `None` where all that is left is equal.
    fn farthest(&mut self, alpha: f64) -> Result<Option<NormedResidual>, StatisticsError> {
        let critical = outlier_critical(self.n, alpha)?;
        let count = self.n as f64;
        let [above, below] = &mut self.sides;
        let (high, low) = (above.last().copied(), below.last().copied());
        let [sum, squares] = [high, low].iter().flatten().fold([0.0; 2], |[sum, squares], own| {
            let [own_sum, own_squares] = own.sums;
            [sum + own_sum, squares + own_squares]
        });
        let mean = sum / count;
        let sd = finite("the standard deviation", ((squares - sum * mean) / (count - 1.0)).max(0.0).sqrt())?;
        if sd <= 0.0 {
            return Ok(None);
        }
        let away = |own: &Reach| (own.off - mean).abs();
        let upper = match (&high, &low) {
            (Some(high), Some(low)) => (away(low), low.index) < (away(high), high.index),
            (high, _) => high.is_some(),
        };
        let taken = if upper { above.pop() } else { below.pop() };
        Ok(taken.map(|own| {
            let n = self.n;
            self.n -= 1;
            NormedResidual { index: own.index, value: own.value, residual: away(&own) / sd, critical, n }
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn critical_values_agree_with_published_tables() {
        // One-sided 0.025 column of a published table of Grubbs' test and ASTM E178 as transcribed, to the
        // printed digits; recomputed with scipy.stats.t to four.
        for (n, expected) in [
            (3, 1.1543),
            (4, 1.4813),
            (5, 1.7150),
            (6, 1.8871),
            (7, 2.0200),
            (8, 2.1266),
            (10, 2.2900),
            (12, 2.4116),
            (15, 2.5483),
            (18, 2.6516),
            (20, 2.7082),
            (25, 2.8217),
            (30, 2.9085),
            (50, 3.1282),
            (100, 3.3841),
        ] {
            let got = outlier_critical(n, 0.05).unwrap();
            assert!((got - expected).abs() < 6e-5, "{n}: {got}");
        }
    }

    #[test]
    fn the_example_of_tietjen_and_moore_has_one_outlier() {
        // NIST/SEMATECH e-Handbook 1.3.5.17.1: G = 2.4687 (from memory, recomputed).
        let values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
        let found = outliers(&values, 0.05).unwrap();
        assert_eq!((found[0].index, found[0].is_outlier()), (7, true));
        assert!((found[0].residual / 2.468_765 - 1.0).abs() < 1e-6, "{found:?}");
        assert!((found[0].critical - 2.1266).abs() < 6e-5);
        assert_eq!((found.len(), found[1].is_outlier(), found[1].n), (2, false, 7));
    }

    #[test]
    fn places_are_those_of_the_sample_given() {
        let values = [10.0, 900.0, 10.1, 9.9, -700.0, 10.05, 9.95, 10.02, 9.98];
        let found = outliers(&values, 0.05).unwrap();
        let places: Vec<usize> = found.iter().filter(|one| one.is_outlier()).map(|one| one.index).collect();
        assert!(found.iter().all(|one| values[one.index] == one.value), "{found:?}");
        assert_eq!(places.len() + 1, found.len());
    }

    /// The test as it is defined: the whole sample anew for every value that goes.
    fn by_definition(values: &[f64]) -> Vec<NormedResidual> {
        let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
        let mut found = Vec::new();
        while found.len() < values.len() / 2 {
            let own: Vec<f64> = left.iter().map(|(_, value)| *value).collect();
            let Ok(farthest) = normed_residual(&own, 0.05) else { break };
            let (index, _) = left.remove(farthest.index);
            found.push(NormedResidual { index, ..farthest });
            if !farthest.is_outlier() {
                break;
            }
        }
        found
    }

    /// Numbers between 0 and 1 without the ends, from a linear congruence (Knuth's MMIX, from memory).
    fn uniform(n: usize, seed: u64) -> Vec<f64> {
        let next = |state: &u64| {
            Some(state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407))
        };
        std::iter::successors(next(&seed), next)
            .map(|state| ((state >> 11) as f64 + 0.5) / (1u64 << 53) as f64)
            .take(n)
            .collect()
    }

    #[test]
    fn one_sorting_finds_what_the_definition_finds() {
        for (seed, n, offset, scale) in
            [(1, 6, 600.0, 20.0), (2, 37, 0.0, 1.0), (3, 200, 2500.0, 60.0), (4, 1001, -50.0, 1.0)]
        {
            // Cauchy quantiles: heavy tails, so that many stand out.
            let heavy: Vec<f64> = uniform(n, seed)
                .iter()
                .map(|u| offset + scale * (std::f64::consts::PI * (u - 0.5)).tan())
                .collect();
            let even: Vec<f64> = uniform(n, seed).iter().map(|u| offset + scale * u).collect();
            for values in [heavy, even] {
                let (got, expected) = (outliers(&values, 0.05).unwrap(), by_definition(&values));
                assert_eq!(got.len(), expected.len(), "{seed}");
                for (got, expected) in got.iter().zip(&expected) {
                    let of = |own: &NormedResidual| (own.index, own.value, own.critical, own.n);
                    assert_eq!(of(got), of(expected), "{seed}");
                    assert!((got.residual / expected.residual - 1.0).abs() < 1e-12, "{got:?} {expected:?}");
                }
            }
        }
    }

    #[test]
    fn one_huge_value_costs_the_others_no_digits() {
        let mut values = vec![10.0, 10.1, 9.9, 10.05, 9.95, 10.02, 9.98, 10.7, 10.01];
        let expected = outliers(&values, 0.05).unwrap();
        values.push(1e14);
        let got = outliers(&values, 0.05).unwrap();
        assert_eq!((got[0].index, got[0].is_outlier(), expected[0].is_outlier()), (9, true, true));
        assert_eq!(got.len(), expected.len() + 1);
        for (got, expected) in got[1..].iter().zip(&expected) {
            assert_eq!((got.index, got.n), (expected.index, expected.n));
            assert!((got.residual / expected.residual - 1.0).abs() < 1e-12, "{got:?} {expected:?}");
        }
    }

    #[test]
    fn no_more_than_half_are_outliers() {
        // Each is 1000 times as far as the one before: whatever is left, the farthest stands out.
        let values: Vec<f64> = (0..24).map(|power| 1000.0f64.powi(power)).collect();
        let found = outliers(&values, 0.05).unwrap();
        assert_eq!(found.len(), 12);
        assert!(found.iter().all(NormedResidual::is_outlier), "{found:?}");
    }

    #[test]
    fn a_hundred_thousand_heavy_tailed_values_take_no_square_of_time() {
        let values: Vec<f64> =
            uniform(99_000, 5).iter().map(|u| (std::f64::consts::PI * (u - 0.5)).tan()).collect();
        let begun = std::time::Instant::now();
        let found = outliers(&values, 0.05).unwrap();
        assert!(found.len() > 1000, "{}", found.len());
        // Anew for each outlier it takes minutes without optimisation.
        assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
    }

    #[test]
    fn what_can_have_no_outlier_is_said() {
        assert!(normed_residual(&[1.0, 2.0], 0.05).is_err());
        assert_eq!(
            normed_residual(&[2.0; 5], 0.05),
            Err(StatisticsError::NoSpread { what: "a test for outliers" })
        );
        assert!(normed_residual(&[1.0, 2.0, f64::NAN], 0.05).is_err());
        assert!(outlier_critical(5, 0.0).is_err());
        assert_eq!(outliers(&[2.0; 5], 0.05).unwrap(), []);
        assert_eq!(outliers(&[2.0], 0.05).unwrap(), []);
    }
}
