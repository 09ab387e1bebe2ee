//! The two-parameter Weibull distribution: estimates, and the design value by them.

use super::elementary::exponentials;
use super::sample::sum_of;
use super::{Basis, StatisticsError, finite};

/// The fewest values that a Weibull distribution is fitted to.
pub const FEWEST_FOR_WEIBULL: usize = 3;
/// From this size of sample on the published approximation of V is good to 1 %.
pub const APPROXIMATED_FROM: usize = 16;

/// From this size of sample on the search for the shape begins with some of the values.
const MANY: usize = 256;

/// V of small samples: n from 3, for B and for A.
///
/// # Source
/// Simulated for this project with numpy (`tests/outside/weibull_factors.py`), 4 million samples of each size,
/// standard error at most 0.2 %; MIL-HDBK-17-1F table 8.5.8 has 6.711 for n = 10 (from memory).
const SMALL: [[f64; 2]; 13] = [
    [18.595, 37.753],
    [12.305, 24.257],
    [9.930, 19.244],
    [8.684, 16.662],
    [7.932, 15.091],
    [7.384, 13.968],
    [6.984, 13.159],
    [6.701, 12.563],
    [6.463, 12.072],
    [6.275, 11.680],
    [6.106, 11.335],
    [5.971, 11.068],
    [5.861, 10.830],
];

/// A fitted two-parameter Weibull distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weibull {
    /// Scale alpha, in the unit of the values.
    pub scale: f64,
    /// Shape beta.
    pub shape: f64,
}

/// Sums that show a shape to be the root of its equation, of y = x over the greatest x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShapeProof {
    /// The greatest value.
    pub greatest: f64,
    /// Mean of ln y.
    pub mean_log: f64,
    /// P, the sum of y^beta.
    pub powers: f64,
    /// L, the sum of y^beta ln y.
    pub weighted: f64,
}

impl ShapeProof {
    /// L/P less the mean of ln y, which is 1/beta where beta is the root.
    pub fn inverse_shape(&self) -> f64 {
        self.weighted / self.powers - self.mean_log
    }
}

impl Weibull {
    /// Returns what shows that the shape is the root for these values, all above 0.
    pub fn proof(&self, values: &[f64]) -> ShapeProof {
        let greatest = values.iter().copied().fold(0.0, f64::max);
        let logs: Vec<f64> = values.iter().map(|value| (value / greatest).ln()).collect();
        let power = |log: f64| (self.shape * log).exp();
        ShapeProof {
            greatest,
            mean_log: logs.iter().sum::<f64>() / logs.len() as f64,
            powers: logs.iter().map(|log| power(*log)).sum(),
            weighted: logs.iter().map(|log| power(*log) * log).sum(),
        }
    }

    /// Returns the value that the share `p` of the population lies above.
    pub fn above(&self, p: f64) -> f64 {
        self.scale * (-p.ln()).powf(1.0 / self.shape)
    }
}

/// Fits a two-parameter Weibull distribution by maximum likelihood, without correction for bias.
///
/// # Errors
/// [`StatisticsError::Count`] for fewer than three values, [`StatisticsError::NotPositive`] for one at or below
/// 0, [`StatisticsError::NoSpread`] where all are equal, [`StatisticsError::NotFinite`].
///
/// # Source
/// MIL-HDBK-17-1F 8.3.4.2 (from memory): the shape is the root of sum x^b ln x/sum x^b - 1/b - mean ln x, which
/// grows with b throughout; Newton's method inside a bracket, in logarithms less their largest, so that no power
/// overflows.
pub fn weibull(values: &[f64]) -> Result<Weibull, StatisticsError> {
    let n = values.len();
    let what = "a Weibull distribution";
    if n < FEWEST_FOR_WEIBULL {
        return Err(StatisticsError::too_few(what, n, FEWEST_FOR_WEIBULL));
    }
    weibull_of_logs(&logarithms(what, values)?)
}

/// [`weibull`] of the logarithms of three values or more.
pub(super) fn weibull_of_logs(logs: &[f64]) -> Result<Weibull, StatisticsError> {
    let (what, n) = ("a Weibull distribution", logs.len());
    let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let own: Vec<f64> = logs.iter().map(|log| log - largest).collect();
    let count = n as f64;
    let average = sum_of(&own, |y| y) / count;
    let variance = sum_of(&own, |y| (y - average) * (y - average)) / (count - 1.0);
    if variance <= 0.0 {
        return Err(StatisticsError::NoSpread { what });
    }
    // By moments: the standard deviation of ln x is pi/(sqrt 6 b).
    let mut shape = std::f64::consts::PI / (6.0 * variance).sqrt();
    if n >= MANY {
        // Some of the values lead near the root of all.
        let some: Vec<f64> = own.iter().copied().step_by(n.div_ceil(MANY / 2)).collect();
        let near = root(&some, some.iter().sum::<f64>() / some.len() as f64, shape).0;
        // Those few can be all alike, which leads nowhere.
        shape = if (0.25 * shape..4.0 * shape).contains(&near) { near } else { shape };
    }
    let (shape, power) = root(&own, average, shape);
    let shape = finite("the Weibull shape", shape)?;
    let scale = (largest + power.ln() / shape).exp();
    if shape <= 0.0 || scale <= 0.0 {
        return Err(StatisticsError::NoQuantile { what });
    }
    Ok(Weibull { scale: finite("the Weibull scale", scale)?, shape })
}

/// The shape of logarithms less their largest, whose mean is `average`, from a first guess on; and the mean of
/// x^shape over the largest.
fn root(own: &[f64], average: f64, guess: f64) -> (f64, f64) {
    let count = own.len() as f64;
    let mut powers = vec![0.0; own.len()];
    let mut sums = |shape: f64| {
        powers.iter_mut().zip(own).for_each(|(power, y)| *power = shape * y);
        exponentials(&mut powers);
        power_sums(own, &powers)
    };
    let mut shape = guess;
    let (mut low, mut high) = (0.0, f64::INFINITY);
    for _ in 0..200 {
        let [s0, s1, s2] = sums(shape);
        let mean = s1 / s0;
        let (excess, slope) = (mean - 1.0 / shape - average, s2 / s0 - mean * mean + 1.0 / (shape * shape));
        if excess < 0.0 {
            low = shape;
        } else {
            high = shape;
        }
        let newton = shape - excess / slope;
        let next = if newton > low && newton < high {
            newton
        } else if high.is_finite() {
            0.5 * (low + high)
        } else {
            2.0 * shape
        };
        let step = next - shape;
        shape = next;
        // Newton's method squares what is left: a step of 1e-8 leaves less than a float can tell, and so does the
        // series of the sum behind it.
        if next == newton && step.abs() <= 1e-8 * next {
            return (shape, (s0 + step * (s1 + 0.5 * step * s2)) / count);
        }
    }
    let [s0, ..] = sums(shape);
    (shape, s0 / count)
}

/// The sums of powers p, y p and y y p, in eight parts each: one alone waits for each addition to end.
fn power_sums(own: &[f64], powers: &[f64]) -> [f64; 3] {
    let mut parts = [[0.0; 8]; 3];
    for (own, powers) in own.chunks(8).zip(powers.chunks(8)) {
        let [zero, one, two] = &mut parts;
        for ((((y, power), zero), one), two) in own.iter().zip(powers).zip(zero).zip(one).zip(two) {
            *zero += power;
            *one += y * power;
            *two += y * y * power;
        }
    }
    parts.map(|part| part.into_iter().sum())
}

/// Natural logarithms of values that must all be above 0.
pub(super) fn logarithms(what: &'static str, values: &[f64]) -> Result<Vec<f64>, StatisticsError> {
    values
        .iter()
        .map(|value| {
            let value = finite("a value of the sample", *value)?;
            if value > 0.0 { Ok(value.ln()) } else { Err(StatisticsError::NotPositive { what, value }) }
        })
        .collect()
}

/// A design value by a Weibull distribution, with what it was computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeibullValue {
    /// The design value, in the unit of the sample.
    pub value: f64,
    /// The quantile of the fitted distribution.
    pub quantile: f64,
    /// The factor V.
    pub v: f64,
}

/// Returns the factor V of a sample of `n` values.
///
/// # Errors
/// [`StatisticsError::Count`] for fewer than three.
///
/// # Source
/// MIL-HDBK-17-1F, footnotes of tables 8.5.8 and 8.5.9 (from memory): V_B = 3.803 + exp(1.79 - 0.516 ln n +
/// 5.1/(n - 1)), V_A = 6.649 + exp(2.55 - 0.526 ln n + 4.76/n), from n = 16 on; below that the approximation is
/// up to 5 % high, and values simulated for this project stand in its place.
pub fn weibull_factor(n: usize, basis: Basis) -> Result<f64, StatisticsError> {
    let small = n.checked_sub(FEWEST_FOR_WEIBULL).map(|at| SMALL.get(at));
    match small {
        None => {
            let what = "a Weibull design value";
            Err(StatisticsError::too_few(what, n, FEWEST_FOR_WEIBULL))
        }
        Some(Some([b, a])) if n < APPROXIMATED_FROM => Ok(if basis == Basis::B { *b } else { *a }),
        Some(_) => {
            let count = n as f64;
            Ok(match basis {
                Basis::B => 3.803 + (1.79 - 0.516 * count.ln() + 5.1 / (count - 1.0)).exp(),
                Basis::A => 6.649 + (2.55 - 0.526 * count.ln() + 4.76 / count).exp(),
            })
        }
    }
}

/// Returns the design value of `n` values that a Weibull distribution was fitted to.
///
/// # Errors
/// As [`weibull_factor`]; [`StatisticsError::NotFinite`].
///
/// # Source
/// B = q exp(-V/(beta sqrt n)), q the quantile of the fitted distribution; MIL-HDBK-17-1F 8.3.4.2 (from memory).
pub fn weibull_value(fit: &Weibull, n: usize, basis: Basis) -> Result<WeibullValue, StatisticsError> {
    let v = weibull_factor(n, basis)?;
    let quantile = fit.above(basis.content());
    let value = quantile * (-v / (fit.shape * (n as f64).sqrt())).exp();
    Ok(WeibullValue { value: finite("the basis value", value)?, quantile, v })
}

#[cfg(test)]
mod tests {
    use super::super::samples::{BEARINGS, S18};
    use super::*;

    fn near(what: &str, got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() < relative, "{what}: {got} is not {expected}");
    }

    #[test]
    fn the_lives_of_ball_bearings() {
        // Lawless: 2.10 and 81.9 (from memory); to six figures recomputed with scipy.
        let fit = weibull(&BEARINGS).unwrap();
        near("scale", fit.scale, 81.8783, 1e-6);
        near("shape", fit.shape, 2.10206, 3e-6);
        // The sums by numpy at the root that scipy.optimize.brentq found.
        let proof = fit.proof(&BEARINGS);
        near("P", proof.powers, 4.750_164_930_675, 1e-9);
        near("L", proof.weighted, -2.514_844_203_041, 1e-9);
        near("mean of ln y", proof.mean_log, -1.005_146_570_453, 1e-12);
        near("1/beta", proof.inverse_shape(), 0.475_724_068_341, 1e-9);
        for (basis, v, value) in [(Basis::B, 5.30066, 16.5913), (Basis::A, 9.67635, 3.5148)] {
            let own = weibull_value(&fit, 23, basis).unwrap();
            near("V", own.v, v, 1e-6);
            near("value", own.value, value, 1e-5);
        }
    }

    #[test]
    fn an_invented_sample() {
        // Recomputed with numpy.
        let fit = weibull(S18.as_flattened()).unwrap();
        near("scale", fit.scale, 2_580.880_5, 1e-8);
        near("shape", fit.shape, 47.15905, 1e-6);
        near("B", weibull_value(&fit, 18, Basis::B).unwrap().value, 2_392.432, 1e-6);
        near("A", weibull_value(&fit, 18, Basis::A).unwrap().value, 2_223.587, 1e-6);
    }

    #[test]
    fn the_fit_follows_a_change_of_units_and_of_power() {
        let fit = weibull(&BEARINGS).unwrap();
        let scaled = weibull(&BEARINGS.map(|value| value * 1e200)).unwrap();
        near("scale", scaled.scale, fit.scale * 1e200, 1e-12);
        near("shape", scaled.shape, fit.shape, 1e-12);
        let squared = weibull(&BEARINGS.map(|value| value * value)).unwrap();
        near("shape", squared.shape, fit.shape / 2.0, 1e-12);
        near("scale", squared.scale, fit.scale * fit.scale, 1e-12);
    }

    #[test]
    fn a_large_sample_has_the_root_of_its_own() {
        // Values that recur, so that those the search begins with are all alike; the root itself is the check.
        for turn in [1_u32, 2, 4, 8, 40] {
            let values: Vec<f64> =
                (0..5_120).map(|i| 100.0 + f64::from(i % turn) + 0.5 * f64::from(i / 5_119)).collect();
            let fit = weibull(&values).unwrap();
            let (mut s0, mut s1, mut logs) = (0.0, 0.0, 0.0);
            for value in &values {
                let log = (value / fit.scale).ln();
                let power = (fit.shape * log).exp();
                s0 += power;
                s1 += power * log;
                logs += log;
            }
            let count = values.len() as f64;
            assert!((fit.shape * (s1 / s0 - logs / count) - 1.0).abs() < 1e-9, "{turn}: {fit:?}");
            near("the mean of (x/scale)^shape", s0 / count, 1.0, 1e-11);
        }
    }

    #[test]
    fn factors_meet_where_the_approximation_begins() {
        // Simulated apart, a million samples: V_B 6.707 at 10, 5.575 at 18; the approximation gives 5.623 there.
        assert!((weibull_factor(10, Basis::B).unwrap() - 6.707).abs() < 0.03);
        for basis in [Basis::A, Basis::B] {
            let all: Vec<f64> = (3..60).map(|n| weibull_factor(n, basis).unwrap()).collect();
            assert!(all.windows(2).all(|pair| pair[1] < pair[0] * 1.005), "{all:?}");
        }
        assert!(weibull_factor(2, Basis::B).is_err());
    }

    #[test]
    fn what_has_no_fit_is_refused() {
        assert!(matches!(weibull(&[1.0, 2.0]), Err(StatisticsError::Count { .. })));
        assert!(matches!(weibull(&[1.0, 0.0, 2.0]), Err(StatisticsError::NotPositive { .. })));
        assert!(matches!(weibull(&[1.0, -3.0, 2.0]), Err(StatisticsError::NotPositive { .. })));
        assert!(matches!(weibull(&[4.0; 9]), Err(StatisticsError::NoSpread { .. })));
        assert!(weibull(&[1.0, f64::NAN, 2.0]).is_err());
        // Nearly equal, and worlds apart.
        let near_equal = weibull(&[1.0, 1.0 + 1e-12, 1.0 + 2e-12]).unwrap();
        assert!(near_equal.shape > 1e11 && near_equal.scale.is_finite());
        let wide = weibull(&[1e-300, 1.0, 1e300]).unwrap();
        assert!(wide.shape > 0.0 && wide.scale.is_finite());
    }
}
