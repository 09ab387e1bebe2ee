//! The modified coefficient of variation: a named option for samples that scatter less than the material will.

use super::{Sample, StatisticsError, finite, mean, sample};

/// Returns the modified coefficient of variation.
///
/// 6 % below 4 %, half of it and 4 % between 4 % and 8 %, itself from 8 % on.
///
/// # Source
/// CMH-17-1G 8.4.4 (from memory).
pub fn modified_cv(cv: f64) -> f64 {
    if cv < 0.04 {
        0.06
    } else if cv < 0.08 {
        cv / 2.0 + 0.04
    } else {
        cv
    }
}

/// A sample whose spread was raised to what the rule asks.
#[derive(Debug, Clone, PartialEq)]
pub struct Modified {
    /// Coefficient of variation of all values as measured.
    pub cv: f64,
    /// The modified one.
    pub modified: f64,
    /// All values with the modified deviation.
    pub sample: Sample,
    /// Values by batch, spread about the batch means so that the whole has the modified deviation: for the test
    /// of batches alone.
    pub groups: Vec<Vec<f64>>,
}

/// Applies the rule of the modified coefficient of variation to values by batch.
///
/// # Errors
/// Those of [`sample()`]; [`StatisticsError::NotPositive`] for a mean at or below 0;
/// [`StatisticsError::NoSpread`] where all values are equal.
///
/// # Source
/// CMH-17-1G 8.4.4 (from memory): each batch is spread to its own modified coefficient, then all about the batch
/// means by sqrt(SSE*/SSE'), SSE* = (N - 1) (CV* mean)^2 - sum n_i (mean_i - mean)^2. SSE* is above 0 where any
/// batch scatters within, since CV* is never below CV; where none does, there is nothing to spread, and the second
/// factor is left at 1.
pub fn modified(groups: &[&[f64]]) -> Result<Modified, StatisticsError> {
    let what = "a modified coefficient of variation";
    let all: Vec<f64> = groups.iter().flat_map(|own| own.iter().copied()).collect();
    let whole = sample(&all)?;
    if whole.mean <= 0.0 {
        return Err(StatisticsError::NotPositive { what, value: whole.mean });
    }
    if whole.sd <= 0.0 {
        return Err(StatisticsError::NoSpread { what });
    }
    let cv = whole.sd / whole.mean;
    let raised = modified_cv(cv);
    let deviation = raised * whole.mean;
    let mut spread = Vec::with_capacity(groups.len());
    let (mut between, mut within) = (0.0, 0.0);
    for own in groups {
        let centre = mean(own)?;
        let factor = match sample(own) {
            Ok(of) if of.sd > 0.0 => modified_cv(of.sd / centre.abs()) * centre.abs() / of.sd,
            _ => 1.0,
        };
        let values: Vec<f64> = own.iter().map(|value| centre + factor * (value - centre)).collect();
        between += own.len() as f64 * (centre - whole.mean) * (centre - whole.mean);
        within += values.iter().map(|value| (value - centre) * (value - centre)).sum::<f64>();
        spread.push((centre, values));
    }
    let wanted = (whole.n as f64 - 1.0) * deviation * deviation - between;
    let factor = if wanted > 0.0 && within > 0.0 { (wanted / within).sqrt() } else { 1.0 };
    let mut groups = Vec::with_capacity(spread.len());
    for (centre, values) in spread {
        let own: Result<Vec<f64>, _> = values
            .into_iter()
            .map(|value| finite("a modified value", centre + factor * (value - centre)))
            .collect();
        groups.push(own?);
    }
    Ok(Modified { cv, modified: raised, sample: Sample { sd: deviation, ..whole }, groups })
}

#[cfg(test)]
mod tests {
    use super::super::samples::S18;
    use super::*;

    #[test]
    fn the_rule_has_three_pieces_that_meet() {
        for (cv, expected) in [(0.01, 0.06), (0.04, 0.06), (0.05, 0.065), (0.08, 0.08), (0.12, 0.12)] {
            assert!((modified_cv(cv) - expected).abs() < 1e-15, "{cv}");
        }
    }

    #[test]
    fn spread_values_have_the_modified_deviation_and_the_old_means() {
        let groups: Vec<&[f64]> = S18.iter().map(|own| &own[..]).collect();
        let found = modified(&groups).unwrap();
        // 57.5401/2553.1222: below 4 %.
        assert!((found.cv - 0.022_537_1).abs() < 1e-7 && found.modified == 0.06);
        let all: Vec<f64> = found.groups.iter().flatten().copied().collect();
        let again = sample(&all).unwrap();
        assert!((again.sd / found.sample.sd - 1.0).abs() < 1e-12, "{again:?}");
        assert!((again.mean / found.sample.mean - 1.0).abs() < 1e-12);
        for (own, spread) in groups.iter().zip(&found.groups) {
            assert!((mean(own).unwrap() / mean(spread).unwrap() - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn what_has_no_coefficient_is_refused() {
        assert!(modified(&[&[1.0; 4]]).is_err());
        assert!(modified(&[&[-1.0, -2.0, -3.0]]).is_err());
        assert!(modified(&[&[1.0]]).is_err());
        // Batch means that scatter more than the rule raises: CV* is CV.
        let wild = modified(&[&[1.0, 1.01], &[9.0, 9.01]]).unwrap();
        assert!(wild.groups.iter().flatten().all(|value| value.is_finite()));
        // Batches without any scatter within have nothing to spread.
        let flat: [&[f64]; 2] = [&[10.0, 10.0], &[10.1, 10.1]];
        assert_eq!(modified(&flat).unwrap().groups, flat);
    }
}
