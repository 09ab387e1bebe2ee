//! Outliers: the maximum normed residual.

use super::noncentral::student_t_quantile;
use super::recalled::recalled;
use super::{StatisticsError, open_probability, sample};

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
    recalled("outlier", n, alpha, || {
        let count = n as f64;
        let t = student_t_quantile(1.0 - alpha / (2.0 * count), n - 2)?;
        Ok((count - 1.0) / count.sqrt() * (t * t / (count - 2.0 + t * t)).sqrt())
    })
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
/// of fewer than three, there is none.
///
/// # Errors
/// As [`normed_residual`], but for a sample without spread or with too few values.
///
/// # Source
/// MIL-HDBK-17-1F 8.3.3.1 (from memory). That a value stands out is no reason to leave it out of a design
/// value: it goes by a cause that is written down.
pub fn outliers(values: &[f64], alpha: f64) -> Result<Vec<NormedResidual>, StatisticsError> {
    let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    let mut found = Vec::new();
    loop {
        let own: Vec<f64> = left.iter().map(|(_, value)| *value).collect();
        let farthest = match normed_residual(&own, alpha) {
            Ok(farthest) => farthest,
            Err(StatisticsError::NoSpread { .. }) => return Ok(found),
            Err(StatisticsError::Count { n, .. }) if n < FEWEST_FOR_OUTLIER => return Ok(found),
            Err(problem) => return Err(problem),
        };
        let Some((at, _)) = left.get(farthest.index).copied() else { return Ok(found) };
        let place = farthest.index;
        found.push(NormedResidual { index: at, ..farthest });
        if !farthest.is_outlier() {
            return Ok(found);
        }
        left.remove(place);
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
