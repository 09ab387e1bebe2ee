//! One-sided tolerance factors: what a sample guarantees of its population.

use super::noncentral::noncentral_t_quantile;
use super::normal::quantile;
use super::recalled::recalled;
use super::{Sample, StatisticsError, finite, open_probability};

/// The most values a factor is computed for.
const MOST: usize = 1_000_000;

/// Which share of the population a design value leaves above it.
///
/// # Source
/// 14 CFR 23.2260 and 27.613; MIL-HDBK-17-1F (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Basis {
    /// At least 99 % of the population above the value, with 95 % confidence.
    A,
    /// At least 90 % of the population above the value, with 95 % confidence.
    B,
}

impl Basis {
    /// Returns the share of the population above the value.
    pub fn content(self) -> f64 {
        match self {
            Self::A => 0.99,
            Self::B => 0.90,
        }
    }

    /// Returns the confidence that it is at least that share.
    pub fn confidence(self) -> f64 {
        0.95
    }
}

/// Returns the one-sided tolerance factor k of a normal sample of `n` values.
///
/// At least the share `content` of the population lies above mean - k s with probability
/// `confidence`.
///
/// # Errors
/// [`StatisticsError::Count`] unless `n` is 2 to a million, [`StatisticsError::Probability`]
/// unless `content` and `confidence` lie strictly between 0 and 1.
///
/// # Source
/// k = t'(confidence; n - 1, z sqrt n) / sqrt n, the quantile of the noncentral t, z the normal
/// quantile of `content`; MIL-HDBK-17-1F section 8.5 (from memory). Exact, no approximation.
pub fn tolerance_factor(n: usize, content: f64, confidence: f64) -> Result<f64, StatisticsError> {
    if !(2..=MOST).contains(&n) {
        return Err(StatisticsError::Count { what: "a tolerance factor", n, least: 2, most: MOST });
    }
    open_probability("the content", content)?;
    open_probability("the confidence", confidence)?;
    let root = (n as f64).sqrt();
    let t = noncentral_t_quantile(confidence, n - 1, quantile(content) * root)?;
    finite("the tolerance factor", t / root)
}

/// Returns the basis value mean - k s of a normal sample, in its unit.
///
/// # Errors
/// As [`tolerance_factor`]; [`StatisticsError::NegativeDeviation`];
/// [`StatisticsError::NotFinite`] for a sample that is not finite or a result that overflows.
///
/// # Source
/// As [`tolerance_factor`]. The sample is taken as normal and of one population: no test of
/// either is made here.
pub fn basis_value(sample: &Sample, basis: Basis) -> Result<f64, StatisticsError> {
    super::deviation("the sample", sample.sd)?;
    let k = recalled_factor(sample.n, basis)?;
    finite("the basis value", sample.mean - k * sample.sd)
}

/// [`tolerance_factor`] of a basis, remembered.
pub(super) fn recalled_factor(n: usize, basis: Basis) -> Result<f64, StatisticsError> {
    recalled("tolerance", n, basis.content(), || tolerance_factor(n, basis.content(), basis.confidence()))
}

#[cfg(test)]
mod tests {
    use super::super::sample;
    use super::*;

    fn k(n: usize, basis: Basis) -> f64 {
        tolerance_factor(n, basis.content(), basis.confidence()).unwrap()
    }

    /// (n, kB, kA): scipy.stats.nct, and again by direct quadrature over the chi-square density;
    /// printed to five decimals.
    const FACTORS: &[(usize, f64, f64)] = &[
        (2, 20.58147, 37.09358),
        (3, 6.15528, 10.55273),
        (4, 4.16193, 7.04236),
        (5, 3.40663, 5.74108),
        (6, 3.00626, 5.06199),
        (7, 2.75543, 4.64172),
        (8, 2.58191, 4.35386),
        (9, 2.45376, 4.14302),
        (10, 2.35464, 3.98112),
        (11, 2.27531, 3.85234),
        (12, 2.21013, 3.74708),
        (13, 2.15544, 3.65920),
        (14, 2.10877, 3.58451),
        (15, 2.06837, 3.52013),
        (16, 2.03300, 3.46394),
        (17, 2.00171, 3.41440),
        (18, 1.97380, 3.37033),
        (19, 1.94870, 3.33082),
        (20, 1.92599, 3.29516),
        (21, 1.90532, 3.26277),
        (22, 1.88641, 3.23320),
        (23, 1.86902, 3.20607),
        (24, 1.85297, 3.18108),
        (25, 1.83810, 3.15796),
        (26, 1.82427, 3.13649),
        (27, 1.81137, 3.11650),
        (28, 1.79930, 3.09782),
        (29, 1.78798, 3.08033),
        (30, 1.77733, 3.06390),
        (35, 1.73225, 2.99459),
        (40, 1.69718, 2.94094),
        (50, 1.64556, 2.86245),
        (60, 1.60891, 2.80705),
        (75, 1.56970, 2.74811),
        (100, 1.52675, 2.68396),
        (200, 1.44955, 2.56974),
        (300, 1.41691, 2.52188),
    ];

    #[test]
    fn factors_agree_with_scipy_to_the_last_printed_digit() {
        for (n, b, a) in FACTORS {
            assert!((k(*n, Basis::B) - b).abs() < 6e-6, "B, n = {n}: {}", k(*n, Basis::B));
            assert!((k(*n, Basis::A) - a).abs() < 6e-6, "A, n = {n}: {}", k(*n, Basis::A));
        }
    }

    #[test]
    fn factors_agree_with_arbitrary_precision() {
        // mpmath 1.x, 30 digits: root of the integral of ncdf(t s - d) over the density of
        // chi/sqrt(n - 1).
        for (n, content, confidence, expected) in [
            (2, 0.90, 0.95, 20.581_467_624_244_98),
            (3, 0.99, 0.95, 10.552_730_123_706_52),
            (4, 0.999, 0.99, 16.175_555_776_270_56),
            (10, 0.5, 0.95, 0.579_681_207_550_456_2),
            (18, 0.90, 0.95, 1.973_795_038_705_487),
            (43, 0.90, 0.99, 1.873_953_605_851_2),
            (300, 0.99, 0.95, 2.521_880_800_864_465),
            (1000, 0.90, 0.95, 1.353_817_471_225_263),
            (10_000, 0.99, 0.95, 2.358_366_668_780_236),
        ] {
            let got = tolerance_factor(n, content, confidence).unwrap();
            assert!((got / expected - 1.0).abs() < 1e-11, "{n} {content} {confidence}: {got}");
        }
    }

    #[test]
    fn factors_agree_with_an_older_printed_table() {
        // A public transcription of the classic one-sided 95 % / 90 % table; it differs from the
        // exact factors by up to 0.0027.
        for (n, printed) in [
            (3, 6.158),
            (4, 4.163),
            (5, 3.407),
            (6, 3.006),
            (7, 2.755),
            (8, 2.582),
            (9, 2.454),
            (10, 2.355),
            (11, 2.275),
            (12, 2.21),
            (13, 2.155),
            (14, 2.108),
            (15, 2.068),
            (16, 2.032),
            (17, 2.001),
            (18, 1.974),
            (19, 1.949),
            (20, 1.926),
            (21, 1.905),
            (22, 1.887),
            (23, 1.869),
            (24, 1.853),
            (25, 1.838),
            (30, 1.778),
            (35, 1.732),
            (40, 1.697),
        ] {
            assert!((k(n, Basis::B) - printed).abs() < 0.003, "n = {n}");
        }
    }

    #[test]
    fn factors_for_another_confidence_are_exact_not_approximate() {
        // NIST/SEMATECH e-Handbook 7.2.6.3: 90 % content, 99 % confidence; 1.9017 exact at n = 40.
        // At n = 43 the handbook prints its approximation, 1.8752; the exact value is 1.8740.
        assert!((tolerance_factor(40, 0.90, 0.99).unwrap() - 1.9017).abs() < 6e-5);
        assert!((tolerance_factor(43, 0.90, 0.99).unwrap() - 1.8740).abs() < 6e-5);
    }

    #[test]
    fn handbook_approximations_lie_near() {
        // MIL-HDBK-17-1F section 8.5, closed forms for n > 15 (from memory): within 0.2 %.
        for n in 16..=100 {
            let x = n as f64;
            let b = 1.282 + (0.958 - 0.520 * x.ln() + 3.19 / x).exp();
            let a = 2.326 + (1.34 - 0.522 * x.ln() + 3.87 / x).exp();
            assert!((k(n, Basis::B) / b - 1.0).abs() < 0.002, "B, n = {n}");
            assert!((k(n, Basis::A) / a - 1.0).abs() < 0.002, "A, n = {n}");
        }
    }

    #[test]
    fn basis_values_of_an_invented_sample_agree_with_scipy() {
        // Synthetic strengths in MPa; expected values by scipy.stats.nct.
        let values = [
            2512.4, 2588.1, 2476.9, 2633.0, 2550.2, 2497.7, 2601.5, 2540.8, 2667.3, 2583.9, 2620.1, 2571.6,
            2459.2, 2533.7, 2502.5, 2581.4, 2488.0, 2547.9,
        ];
        let close = |got: f64, expected: f64| assert!((got / expected - 1.0).abs() < 1e-6, "{got}");
        let s = sample(&values).unwrap();
        close(s.mean, 2553.1222);
        close(s.sd, 57.5401);
        close(basis_value(&s, Basis::B).unwrap(), 2439.550);
        close(basis_value(&s, Basis::A).unwrap(), 2359.193);
        let s = sample(&values.map(f64::ln)).unwrap();
        close(basis_value(&s, Basis::B).unwrap().exp(), 2441.631);
        close(basis_value(&s, Basis::A).unwrap().exp(), 2366.101);
    }

    #[test]
    fn factors_fall_with_the_sample_and_end_at_the_quantile() {
        let mut before = f64::INFINITY;
        for n in [2, 3, 5, 10, 50, 200, 1000, 10_000, 100_000, 1_000_000] {
            let now = k(n, Basis::A);
            assert!(now < before && now > 2.3263, "n = {n}: {now}");
            before = now;
        }
        assert!((before - 2.326_347_874).abs() < 0.005);
    }

    #[test]
    fn bad_arguments_are_refused() {
        for n in [0, 1, MOST + 1, usize::MAX] {
            assert!(tolerance_factor(n, 0.9, 0.95).is_err());
        }
        for p in [0.0, 1.0, -1.0, f64::NAN] {
            assert!(tolerance_factor(5, p, 0.95).is_err());
            assert!(tolerance_factor(5, 0.9, p).is_err());
        }
        let absurd = Sample { n: 2, mean: -f64::MAX, sd: f64::MAX };
        assert!(basis_value(&absurd, Basis::A).is_err());
        for (mean, sd) in [(f64::NAN, 1.0), (1.0, f64::NAN), (1.0, -1.0)] {
            assert!(basis_value(&Sample { n: 5, mean, sd }, Basis::B).is_err());
        }
    }
}
