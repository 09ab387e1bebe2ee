//! What a sample says: count, mean, deviation.

use super::{StatisticsError, finite};

/// Count, mean and standard deviation of a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// How many values.
    pub n: usize,
    /// Their mean, in their unit.
    pub mean: f64,
    /// Their sample standard deviation (divisor n - 1), in their unit.
    pub sd: f64,
}

/// Returns the mean of `values`, in their unit.
///
/// # Errors
/// [`StatisticsError::Count`] for no value, [`StatisticsError::NotFinite`] for a value that is
/// not finite or a sum that overflows.
pub fn mean(values: &[f64]) -> Result<f64, StatisticsError> {
    if values.is_empty() {
        return Err(StatisticsError::too_few("a mean", 0, 1));
    }
    for value in values {
        finite("a value of the sample", *value)?;
    }
    let n = values.len() as f64;
    let rough = finite("the mean", sum_of(values, |v| v) / n)?;
    // A second pass takes away what the first lost in rounding.
    finite("the mean", rough + sum_of(values, |v| v - rough) / n)
}

/// The sum of `of` over all values. Of many, in eight sums at once: one alone waits for each addition to end.
pub(super) fn sum_of(values: &[f64], of: impl Fn(f64) -> f64) -> f64 {
    const MANY: usize = 64;
    if values.len() < MANY {
        return values.iter().map(|value| of(*value)).sum();
    }
    let (parts, rest) = values.as_chunks::<8>();
    let mut sums = [0.0; 8];
    for part in parts {
        for (sum, value) in sums.iter_mut().zip(part) {
            *sum += of(*value);
        }
    }
    sums.into_iter().sum::<f64>() + rest.iter().map(|value| of(*value)).sum::<f64>()
}

/// Returns count, mean and standard deviation of `values`.
///
/// # Errors
/// [`StatisticsError::Count`] for fewer than two values (one value has no deviation; see
/// [`mean`]), [`StatisticsError::NotFinite`] as [`mean`].
///
/// # Source
/// s^2 = sum (x - mean)^2 / (n - 1), in two passes.
pub fn sample(values: &[f64]) -> Result<Sample, StatisticsError> {
    let n = values.len();
    if n < 2 {
        return Err(StatisticsError::too_few("a standard deviation", n, 2));
    }
    let mean = mean(values)?;
    let squares = sum_of(values, |v| (v - mean) * (v - mean));
    let sd = finite("the standard deviation", (squares / (n as f64 - 1.0)).sqrt())?;
    Ok(Sample { n, mean, sd })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_samples_have_their_closed_forms() {
        let s = sample(&[1.0, 2.0, 3.0, 4.0]).unwrap();
        assert_eq!((s.n, s.mean), (4, 2.5));
        assert!((s.sd - (5.0f64 / 3.0).sqrt()).abs() < 1e-15);
        assert_eq!(sample(&[7.0, 7.0]).unwrap().sd, 0.0);
        assert_eq!(mean(&[3.0]).unwrap(), 3.0);
    }

    #[test]
    fn a_large_offset_costs_no_digits() {
        let s = sample(&[1e9 + 4.0, 1e9 + 7.0, 1e9 + 13.0, 1e9 + 16.0]).unwrap();
        assert_eq!((s.mean, s.sd * s.sd), (1e9 + 10.0, 30.0f64.sqrt() * 30.0f64.sqrt()));
    }

    #[test]
    fn what_has_no_deviation_is_refused() {
        assert!(sample(&[]).is_err());
        assert!(sample(&[1.0]).is_err());
        assert!(sample(&[1.0, f64::NAN]).is_err());
        assert!(sample(&[f64::MAX, f64::MAX]).is_err());
        assert!(sample(&[f64::MAX / 4.0, -f64::MAX / 4.0]).is_err());
        assert!(mean(&[]).is_err());
    }
}
