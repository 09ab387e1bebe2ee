//! The standard normal distribution.

use std::f64::consts::{PI, SQRT_2};

use super::{StatisticsError, open_probability};

/// Returns the probability that a standard normal value is at most `x`.
///
/// Both tails keep full relative precision.
///
/// # Errors
/// [`StatisticsError::NotFinite`] if `x` is not a number; infinities give 0 and 1.
///
/// # Source
/// Phi(x) = erfc(-x / sqrt 2) / 2; M. Abramowitz, I. A. Stegun, *Handbook of Mathematical
/// Functions*, 26.2.29 (from memory).
pub fn normal_cdf(x: f64) -> Result<f64, StatisticsError> {
    if x.is_nan() { Err(StatisticsError::NotFinite { what: "x" }) } else { Ok(cumulative(x)) }
}

/// Returns the value that a standard normal variable stays below with probability `p`.
///
/// # Errors
/// [`StatisticsError::Probability`] unless 0 < `p` < 1.
///
/// # Source
/// Start from Abramowitz & Stegun 26.2.23 (|error| < 4.5e-4, from memory), then Halley steps on
/// the cumulative itself, so the start does not matter to the digits.
pub fn normal_quantile(p: f64) -> Result<f64, StatisticsError> {
    open_probability("p", p).map(quantile)
}

/// The cumulative for an `x` known to be a number.
pub(super) fn cumulative(x: f64) -> f64 {
    0.5 * libm::erfc(-x / SQRT_2)
}

/// The density for an `x` known to be a number.
pub(super) fn density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / (2.0 * PI).sqrt()
}

/// The quantile for a `p` known to lie strictly between 0 and 1.
pub(super) fn quantile(p: f64) -> f64 {
    if p > 0.5 {
        // 1 - p is exact here, and the lower tail is where the cumulative has its digits.
        return -lower_quantile(1.0 - p);
    }
    lower_quantile(p)
}

fn lower_quantile(p: f64) -> f64 {
    if p == 0.5 {
        return 0.0;
    }
    let t = (-2.0 * p.ln()).sqrt();
    let top = 2.515517 + t * (0.802853 + t * 0.010328);
    let bottom = 1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308));
    let mut x = top / bottom - t;
    for _ in 0..4 {
        let slope = density(x);
        if slope <= 0.0 {
            break;
        }
        let step = (cumulative(x) - p) / slope;
        x -= step / (1.0 + 0.5 * x * step);
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Room for the last two or three bits of a double.
    const ROUNDING: f64 = 2e-15;

    #[test]
    fn cumulative_agrees_with_arbitrary_precision() {
        // mpmath 1.x, ncdf(x) at 30 digits.
        for (x, expected) in [
            (-8.0, 6.220_960_574_271_784e-16),
            (-2.0, 0.022_750_131_948_179_21),
            (0.5, 0.691_462_461_274_013_1),
        ] {
            let got = normal_cdf(x).unwrap();
            assert!((got / expected - 1.0).abs() < 2e-14, "{x}: {got} against {expected}");
        }
        assert_eq!(normal_cdf(f64::INFINITY).unwrap(), 1.0);
        assert_eq!(normal_cdf(f64::NEG_INFINITY).unwrap(), 0.0);
    }

    #[test]
    fn quantile_agrees_with_arbitrary_precision() {
        // mpmath 1.x, root of ncdf(x) = p at 30 digits, p read as a decimal.
        for (p, expected) in [
            (1e-12, -7.034_483_825_301_132),
            (0.001, -3.090_232_306_167_813_5),
            (0.025, -1.959_963_984_540_054_2),
            (0.3, -0.524_400_512_708_040_8),
            (0.9, 1.281_551_565_544_600_5),
            (0.99, 2.326_347_874_040_841),
        ] {
            let got = normal_quantile(p).unwrap();
            assert!((got / expected - 1.0).abs() < 1e-13, "{p}: {got} against {expected}");
        }
        assert_eq!(normal_quantile(0.5).unwrap(), 0.0);
    }

    #[test]
    fn quantile_undoes_the_cumulative() {
        for i in 1..400 {
            let p = f64::from(i) / 400.0;
            assert!((normal_cdf(normal_quantile(p).unwrap()).unwrap() - p).abs() < ROUNDING);
        }
        assert!(normal_quantile(5e-324).unwrap() < -38.0);
        for p in [1e-300, 1e-100, 1e-20] {
            assert!((normal_cdf(normal_quantile(p).unwrap()).unwrap() / p - 1.0).abs() < 1e-11);
        }
    }

    #[test]
    fn what_is_no_probability_is_refused() {
        for p in [0.0, 1.0, -0.1, 1.1, f64::NAN, f64::INFINITY] {
            assert!(normal_quantile(p).is_err());
        }
        assert!(normal_cdf(f64::NAN).is_err());
    }
}
