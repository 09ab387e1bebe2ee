//! Which contributors of mass are systematically off, from pieces on the scale.

use super::{MassError, finite};
use nalgebra::{Cholesky, DMatrix, DVector};

/// One reading of the scale against its prediction.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Weighed less predicted, kg.
    pub residual: f64,
    /// What each contributor was predicted to weigh in what lay on the scale, kg; as many as there are priors.
    pub masses: Vec<f64>,
    /// What the reading strays with beside the contributors: covariance with every reading, itself among them,
    /// kg2.
    pub covariance: Vec<f64>,
}

/// Estimates of the shares that contributors are off by, such as 0.04 for 4 % heavy.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimates {
    /// The shares, in the order of the priors.
    pub shares: Vec<f64>,
    /// Their covariance, row by row.
    pub covariance: Vec<Vec<f64>>,
}

impl Estimates {
    /// Returns one standard deviation of each share.
    pub fn deviations(&self) -> Vec<f64> {
        let rows = self.covariance.iter().enumerate();
        rows.map(|(at, row)| row.get(at).copied().unwrap_or(0.0).max(0.0).sqrt()).collect()
    }

    /// Returns what the shares make of contributors with such masses, and one standard deviation of it, in kg.
    pub fn effect(&self, masses: &[f64]) -> (f64, f64) {
        let sum = masses.iter().zip(&self.shares).map(|(kg, share)| kg * share).sum();
        let row = |row: &Vec<f64>| row.iter().zip(masses).map(|(own, kg)| own * kg).sum::<f64>();
        let variance: f64 = self.covariance.iter().zip(masses).map(|(own, kg)| kg * row(own)).sum();
        (sum, variance.max(0.0).sqrt())
    }
}

/// Estimates by how much each contributor is off, from residuals and what was believed before them.
///
/// Each residual is the sum of its contributors' masses times their shares, and noise. Before the readings each
/// share is 0 within its prior deviation, independent of the others; a prior of 0 stays 0.
///
/// # Arguments
/// * `readings` – at least none
/// * `priors` – one standard deviation of each share before the readings
///
/// # Errors
/// [`MassError::NotFinite`] for figures that are none, and where the readings have no noise to tell them apart
/// (a covariance that is not positive definite).
///
/// # Source
/// Posterior of the Bayesian general linear model: mean C H' (H C H' + R)^-1 y, covariance
/// C - C H' (H C H' + R)^-1 H C: S. M. Kay, Fundamentals of Statistical Signal Processing, volume I: Estimation
/// Theory, Prentice Hall 1993, theorem 10.3 (its number from memory). With equal priors and noise it is ridge
/// regression.
pub fn learn(readings: &[Reading], priors: &[f64]) -> Result<Estimates, MassError> {
    for prior in priors {
        finite("a prior deviation", *prior)?;
    }
    let (rows, columns) = (readings.len(), priors.len());
    let own = |row: usize, column: usize| {
        readings.get(row).and_then(|reading| reading.masses.get(column)).copied().unwrap_or(0.0)
    };
    let noise = |row: usize, column: usize| {
        readings.get(row).and_then(|reading| reading.covariance.get(column)).copied().unwrap_or(0.0)
    };
    let masses = DMatrix::from_fn(rows, columns, own);
    let before = DMatrix::from_fn(columns, columns, |row, column| {
        let prior = priors.get(row).copied().unwrap_or(0.0);
        if row == column { prior * prior } else { 0.0 }
    });
    let residuals = DVector::from_iterator(rows, readings.iter().map(|reading| reading.residual));
    let (mean, after) = if rows == 0 {
        (DVector::zeros(columns), before)
    } else {
        let reach = &before * masses.transpose();
        let spread = &masses * &reach + DMatrix::from_fn(rows, rows, noise);
        let unfit = || MassError::NotFinite { what: "the spread of the weighings" };
        let solved = Cholesky::new(spread).ok_or_else(unfit)?;
        let mean = &reach * solved.solve(&residuals);
        let after = &before - &reach * solved.solve(&reach.transpose());
        (mean, after)
    };
    for value in mean.iter().chain(after.iter()) {
        finite("an estimate", *value)?;
    }
    Ok(Estimates {
        shares: mean.iter().copied().collect(),
        covariance: after.row_iter().map(|row| row.iter().copied().collect()).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn reading(residual: f64, masses: &[f64], covariance: &[f64]) -> Reading {
        Reading { residual, masses: masses.to_vec(), covariance: covariance.to_vec() }
    }

    fn near(got: f64, expected: f64) {
        assert!((got - expected).abs() < 1e-12, "{got} against {expected}");
    }

    /// By hand: prior 10 %, 2 kg of it on the scale, 0.3 kg heavy, noise 0.1 kg. Gain
    /// 0.01 x 2/(4 x 0.01 + 0.01) = 0.4; share 0.4 x 0.3 = 0.12; variance 0.01 - 0.4 x 2 x 0.01 = 0.002.
    #[test]
    fn one_contributor_by_hand() {
        let got = learn(&[reading(0.3, &[2.0], &[0.01])], &[0.1]).unwrap();
        near(got.shares[0], 0.12);
        near(got.deviations()[0], 0.002_f64.sqrt());
        let (kg, deviation) = got.effect(&[5.0]);
        near(kg, 0.6);
        near(deviation, 5.0 * 0.002_f64.sqrt());
    }

    /// By hand: bare 10 kg without, painted 11 kg with 1 kg of paint; noises 0 off the diagonal. The paint
    /// shows only where the two differ, by 0.1 kg; with next to no noise its share is 0.1, the body's 0.
    #[test]
    fn what_differs_between_stages_is_told_apart() {
        let tiny = 1e-12;
        let readings = [reading(0.0, &[10.0, 0.0], &[tiny, 0.0]), reading(0.1, &[10.0, 1.0], &[0.0, tiny])];
        let got = learn(&readings, &[0.1, 0.2]).unwrap();
        assert!(got.shares[0].abs() < 1e-9 && (got.shares[1] - 0.1).abs() < 1e-9, "{got:?}");
    }

    #[test]
    fn nothing_on_the_scale_changes_nothing() {
        let got = learn(&[], &[0.1, 0.0]).unwrap();
        assert_eq!((got.shares.clone(), got.deviations()), (vec![0.0, 0.0], vec![0.1, 0.0]));
        let got = learn(&[reading(1.0, &[0.0, 3.0], &[0.01])], &[0.1, 0.0]).unwrap();
        assert_eq!((got.shares.clone(), got.deviations()), (vec![0.0, 0.0], vec![0.1, 0.0]));
    }

    #[test]
    fn what_is_no_figure_is_refused() {
        assert!(learn(&[], &[f64::NAN]).is_err());
        assert!(learn(&[reading(f64::INFINITY, &[1.0], &[0.01])], &[0.1]).is_err());
        // Two readings that say the same without noise.
        let same = [reading(1.0, &[1.0], &[0.0, 0.0]), reading(2.0, &[1.0], &[0.0, 0.0])];
        assert!(learn(&same, &[0.1]).is_err());
    }

    proptest! {
        #[test]
        fn readings_never_widen_and_residuals_scale(
            rows in prop::collection::vec((-0.5..0.5, prop::array::uniform3(0.0..5.0)), 1..6),
            factor in 0.1..10.0,
        ) {
            let make = |factor: f64| -> Vec<Reading> {
                rows.iter().enumerate().map(|(at, (residual, masses))| {
                    let mut covariance = vec![0.0; rows.len()];
                    covariance[at] = 0.01;
                    reading(residual * factor, masses, &covariance)
                }).collect()
            };
            let priors = [0.1, 0.05, 0.2];
            let (one, scaled) = (learn(&make(1.0), &priors).unwrap(), learn(&make(factor), &priors).unwrap());
            for ((a, b), (after, prior)) in
                one.shares.iter().zip(&scaled.shares).zip(one.deviations().iter().zip(priors))
            {
                prop_assert!((a * factor - b).abs() < 1e-9);
                prop_assert!(*after <= prior + 1e-9);
            }
        }
    }
}
