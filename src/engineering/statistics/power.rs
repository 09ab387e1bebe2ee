//! What a planned equivalence would find, and how often chance alone fails one.

use super::equivalence::{both_above, equivalence_limits};
use super::noncentral::{noncentral_t_cdf, student_t_quantile};
use super::{StatisticsError, finite, open_probability};

/// The largest sample that is looked at for advice.
const MOST_ADVISED: usize = 200;
/// The largest fall that is looked at, in standard deviations.
const MOST_FALL: f64 = 8.0;

/// Returns how often the mean-and-minimum test of `n` new values rejects a material whose mean has fallen by
/// `fall` of the qualified standard deviations, its scatter being what it was.
///
/// At a fall of nought that is `alpha` itself.
///
/// # Errors
/// As [`equivalence_limits`]; [`StatisticsError::Probability`] for a fall outside 0 to 8.
///
/// # Source
/// The joint probability of [`equivalence_limits`] with both limits moved by the fall.
pub fn strength_power(n: usize, alpha: f64, fall: f64) -> Result<f64, StatisticsError> {
    let (k_mean, k_min) = equivalence_limits(n, alpha)?;
    let fall = checked(fall)?;
    let passes = if n == 1 {
        super::normal_cdf(k_mean.min(k_min) - fall)?
    } else {
        both_above(n, k_mean - fall, k_min - fall)
    };
    finite("the power", (1.0 - passes).clamp(0.0, 1.0))
}

/// Returns how often the two-sided test of means finds a mean that has moved by `shift` standard deviations, with
/// `n0` qualified and `n1` new values.
///
/// # Errors
/// [`StatisticsError::Count`] for fewer than two values of either; [`StatisticsError::Probability`].
///
/// # Source
/// The noncentral t with noncentrality shift/sqrt(1/n0 + 1/n1): textbook power of the two-sample t test.
pub fn mean_power(n0: usize, n1: usize, alpha: f64, shift: f64) -> Result<f64, StatisticsError> {
    for n in [n0, n1] {
        if n < 2 {
            let what = "a test of means";
            return Err(StatisticsError::too_few(what, n, 2));
        }
    }
    open_probability("alpha", alpha)?;
    let shift = checked(shift)?;
    let degrees = n0 + n1 - 2;
    let t = student_t_quantile(1.0 - alpha / 2.0, degrees)?;
    let away = shift / (1.0 / n0 as f64 + 1.0 / n1 as f64).sqrt();
    let within = noncentral_t_cdf(t, degrees, away)? - noncentral_t_cdf(-t, degrees, away)?;
    finite("the power", (1.0 - within).clamp(0.0, 1.0))
}

fn checked(fall: f64) -> Result<f64, StatisticsError> {
    if (0.0..=MOST_FALL).contains(&fall) {
        Ok(fall)
    } else {
        Err(StatisticsError::Probability { what: "the change", value: fall, low: 0.0, high: MOST_FALL })
    }
}

/// Returns the smallest sample whose mean-and-minimum test finds a fall with at least this power; `None` where
/// 200 values are too few.
///
/// # Errors
/// As [`strength_power`]; [`StatisticsError::Probability`] for a power outside 0 to 1.
pub fn specimens_for(alpha: f64, fall: f64, power: f64) -> Result<Option<usize>, StatisticsError> {
    open_probability("the power", power)?;
    // It grows with the sample.
    let (mut low, mut high) = (1, MOST_ADVISED);
    if strength_power(high, alpha, fall)? < power {
        return Ok(None);
    }
    while low < high {
        let middle = usize::midpoint(low, high);
        if strength_power(middle, alpha, fall)? < power {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    Ok(Some(low))
}

/// How often chance alone fails a set of equivalences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChanceFailures {
    /// Failures to be expected where nothing changed.
    pub expected: f64,
    /// The probability of at least one, were the tests independent.
    pub any: f64,
}

/// Returns how many tests at these levels fail by chance where nothing changed.
pub fn chance_failures(levels: impl IntoIterator<Item = f64>) -> ChanceFailures {
    let (expected, none) = levels.into_iter().fold((0.0, 1.0), |(expected, none), alpha| {
        let alpha = alpha.clamp(0.0, 1.0);
        (expected + alpha, none * (1.0 - alpha))
    });
    ChanceFailures { expected, any: 1.0 - none }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_change_the_power_is_the_level() {
        for n in [1, 2, 5, 8, 18, 40] {
            for alpha in [0.01, 0.05] {
                let own = strength_power(n, alpha, 0.0).unwrap();
                assert!((own - alpha).abs() < 1e-6, "{n} {alpha}: {own}");
                let own = mean_power(n + 1, n + 1, alpha, 0.0).unwrap();
                assert!((own - alpha).abs() < 1e-9, "{n} {alpha}: {own}");
            }
        }
    }

    #[test]
    fn power_agrees_with_simulation_and_with_the_noncentral_t() {
        // numpy 1.24, 4 000 000 samples: a mean of 8 (and 5, 18) normal values or their least below the limits of
        // the published factors; standard error 0.0002.
        for (n, fall, expected) in [(8, 1.0, POWER_8), (5, 1.0, POWER_5), (18, 0.5, POWER_18)] {
            let own = strength_power(n, 0.05, fall).unwrap();
            assert!((own - expected).abs() < 1.2e-3, "{n} {fall}: {own}");
        }
        // scipy 1.10.1, stats.nct: 1 - cdf(t) + cdf(-t).
        let own = mean_power(18, 8, 0.05, 1.0).unwrap();
        assert!((own - POWER_T).abs() < 1e-9, "{own}");
    }

    const POWER_8: f64 = 0.8321;
    const POWER_5: f64 = 0.6581;
    const POWER_18: f64 = 0.5969;
    const POWER_T: f64 = 0.617_382_534_374_911;

    #[test]
    fn advice_is_the_first_sample_that_suffices() {
        for (fall, power) in [(1.0, 0.8), (0.5, 0.5), (2.0, 0.99)] {
            let n = specimens_for(0.05, fall, power).unwrap().unwrap();
            assert!(strength_power(n, 0.05, fall).unwrap() >= power);
            assert!(n == 1 || strength_power(n - 1, 0.05, fall).unwrap() < power, "{n}");
        }
        assert_eq!(specimens_for(0.05, 0.01, 0.99).unwrap(), None);
        assert!(specimens_for(0.05, 1.0, 1.0).is_err());
        assert!(strength_power(8, 0.05, -1.0).is_err() && strength_power(8, 0.05, f64::NAN).is_err());
        assert!(mean_power(1, 8, 0.05, 1.0).is_err());
    }

    #[test]
    fn chance_fails_one_of_twenty() {
        let own = chance_failures([0.05; 20]);
        assert!((own.expected - 1.0).abs() < 1e-12 && (own.any - (1.0 - 0.95_f64.powi(20))).abs() < 1e-12);
        assert_eq!(chance_failures([]), ChanceFailures { expected: 0.0, any: 0.0 });
    }
}
