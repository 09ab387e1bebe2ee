//! Moisture uptake of a plate by Fick's law, and how long conditioning takes.
//!
//! One diffusivity, constant surface humidity, dry at the start, edges ignored: resins that do
//! not follow Fick's law, and edges of thick coupons, take other times. An engineering aid; a
//! conditioned coupon is weighed, not calculated.

use std::f64::consts::PI;

// Slips of units end here.
const THICKEST: f64 = 10.0;
const FASTEST: f64 = 1.0;
const LONGEST: f64 = 1e15;

/// Why moisture could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MoistureError {
    /// A value that is not a number or outside its range.
    #[error("{what} is {value} {unit}; it must be {range}")]
    OutOfRange {
        /// Which value.
        what: &'static str,
        /// What was given, in `unit`.
        value: f64,
        /// The range, in words.
        range: &'static str,
        /// SI unit, empty for a bare ratio.
        unit: &'static str,
    },
}

/// Through which faces a plate takes up moisture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Faces {
    /// Both faces.
    Both,
    /// One face, the other sealed: as a plate of twice the thickness with both open.
    One,
}

/// Returns the share of the moisture at equilibrium that a plate has taken up, 0 to 1.
///
/// # Arguments
/// * `diffusivity` – through the thickness, m2/s
/// * `time` – s
/// * `thickness` – m
///
/// # Errors
/// [`MoistureError::OutOfRange`].
///
/// # Source
/// [`uptake_at`].
pub fn uptake(diffusivity: f64, time: f64, thickness: f64, faces: Faces) -> Result<f64, MoistureError> {
    let scale = time_scale(diffusivity, thickness, faces)?;
    uptake_at(within("the time", time, (0.0..=LONGEST).contains(&time), "0 to 1e15", "s")? / scale)
}

/// Returns the share taken up by a plate open on both faces at the dimensionless time D t/h^2.
///
/// # Errors
/// [`MoistureError::OutOfRange`] for a time that is negative or not a number.
///
/// # Source
/// G = 1 - (8/pi^2) sum exp[-(2j+1)^2 pi^2 x]/(2j+1)^2, J. Crank, *The Mathematics of Diffusion*,
/// eq. 4.18 with l = h/2; for small x the equal series 4 sqrt(x) [1/sqrt(pi) + 2 sum (-1)^n
/// ierfc(n/(2 sqrt x))], eq. 4.20 (both from memory), which keeps its digits where G is small.
/// Neither is the fit 1 - exp(-7.3 x^0.75).
pub fn uptake_at(x: f64) -> Result<f64, MoistureError> {
    within("the dimensionless time", x, x >= 0.0, "0 or more", "").map(series)
}

/// Returns the dimensionless time D t/h^2 at which a plate open on both faces has taken up
/// `fraction`.
///
/// # Errors
/// [`MoistureError::OutOfRange`] unless 0 <= `fraction` < 1: equilibrium itself is never reached.
///
/// # Source
/// [`uptake_at`] inverted by bisection. "99.9 %" is 0.679 here; rules of 0.67 and of 0.93 in print
/// round the series and the fit.
pub fn time_at(fraction: f64) -> Result<f64, MoistureError> {
    within("the fraction", fraction, (0.0..1.0).contains(&fraction), "from 0 to below 1", "")?;
    // exp(-pi^2 x) bounds what is missing from above (every term decays at least as fast), and the
    // first term bounds it from below.
    let missing = (-fraction).ln_1p();
    let mut high = -missing / (PI * PI);
    let mut low = (-(missing + (PI * PI / 8.0).ln()) / (PI * PI)).max(0.0);
    for _ in 0..2000 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if series(middle) < fraction {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(high)
}

/// Returns the time a plate takes to take up `fraction` of its moisture at equilibrium, in s.
///
/// # Arguments
/// * `fraction` – 0 to below 1
/// * `diffusivity` – through the thickness, m2/s
/// * `thickness` – m
///
/// # Errors
/// [`MoistureError::OutOfRange`].
///
/// # Source
/// [`time_at`].
///
/// ```
/// use bondline_engineering::fabrication::moisture::{Faces, time_to_fraction};
///
/// // A laminate of 3 mm, D = 2.6e-7 mm2/s, 95 % of equilibrium: 113 days, or 452 with one face sealed.
/// let days = |faces| Ok(time_to_fraction(0.95, 2.6e-13, 3.0e-3, faces)? / 86400.0);
/// assert!((days(Faces::Both)? - 113.0817).abs() < 1e-4);
/// assert!((days(Faces::One)? - 452.3267).abs() < 1e-4);
/// # Ok::<(), bondline_engineering::fabrication::moisture::MoistureError>(())
/// ```
pub fn time_to_fraction(
    fraction: f64,
    diffusivity: f64,
    thickness: f64,
    faces: Faces,
) -> Result<f64, MoistureError> {
    let time = time_at(fraction)? * time_scale(diffusivity, thickness, faces)?;
    within("the time", time, time.is_finite(), "a finite number", "s")
}

/// Returns the diffusivity at another temperature, m2/s.
///
/// Diffusion in the cold of a room or of flight is far slower than in the chamber: a time that holds at 70
/// degC holds nowhere else.
///
/// # Arguments
/// * `diffusivity` – measured at `measured_at`, m2/s
/// * `measured_at`, `at` – K, above 0
/// * `activation` – activation energy over the gas constant, K; 0 or more
///
/// # Errors
/// [`MoistureError::OutOfRange`], also where the result is no diffusivity that could be meant.
///
/// # Source
/// D = D_m exp[-C (1/T - 1/T_m)] (Arrhenius), as used for resins by C. H. Shen and G. S. Springer (from
/// memory). C is measured; there is no usual value here.
///
/// ```
/// use bondline_engineering::fabrication::moisture::diffusivity_at;
///
/// // C = 5000 K from 70 to 20 degC: slower by exp[5000 (1/293.15 - 1/343.15)], a factor of 12.
/// let slow = diffusivity_at(2.6e-13, 343.15, 293.15, 5000.0)?;
/// assert!((2.6e-13 / slow - 12.0).abs() < 0.1);
/// # Ok::<(), bondline_engineering::fabrication::moisture::MoistureError>(())
/// ```
pub fn diffusivity_at(
    diffusivity: f64,
    measured_at: f64,
    at: f64,
    activation: f64,
) -> Result<f64, MoistureError> {
    let fits = |value: f64| (f64::MIN_POSITIVE..=FASTEST).contains(&value);
    let from = within("the diffusivity", diffusivity, fits(diffusivity), "above 0 and at most 1", "m2/s")?;
    let [measured_at, at] = [("the temperature of the measurement", measured_at), ("the temperature", at)]
        .map(|(what, value)| within(what, value, (1.0..=2000.0).contains(&value), "1 to 2000", "K"));
    let (measured_at, at) = (measured_at?, at?);
    let fits_activation = (0.0..=1e5).contains(&activation);
    let activation = within("the activation temperature", activation, fits_activation, "0 to 100 000", "K")?;
    let found = from * (-activation * (1.0 / at - 1.0 / measured_at)).exp();
    within("the diffusivity at that temperature", found, fits(found), "above 0 and at most 1", "m2/s")
}

/// h^2/D of the plate open on both faces that behaves alike, s.
fn time_scale(diffusivity: f64, thickness: f64, faces: Faces) -> Result<f64, MoistureError> {
    let fits = (f64::MIN_POSITIVE..=FASTEST).contains(&diffusivity);
    within("the diffusivity", diffusivity, fits, "above 0 and at most 1", "m2/s")?;
    let fits = thickness > 1e-12 && thickness <= THICKEST;
    within("the thickness", thickness, fits, "above 1e-12 and at most 10", "m")?;
    let reach = match faces {
        Faces::Both => thickness,
        Faces::One => 2.0 * thickness,
    };
    let scale = reach * reach / diffusivity;
    within("the time scale", scale, scale.is_finite(), "a finite number", "s")
}

fn within(
    what: &'static str,
    value: f64,
    fits: bool,
    range: &'static str,
    unit: &'static str,
) -> Result<f64, MoistureError> {
    if fits { Ok(value) } else { Err(MoistureError::OutOfRange { what, value, range, unit }) }
}

fn series(x: f64) -> f64 {
    // Either series has all digits after a few terms on its side of this.
    if x < 0.05 { early(x) } else { late(x) }
}

fn late(x: f64) -> f64 {
    let mut missing = 0.0;
    for j in 0..30 {
        let odd = f64::from(2 * j + 1);
        missing += (-odd * odd * PI * PI * x).exp() / (odd * odd);
    }
    1.0 - 8.0 / (PI * PI) * missing
}

fn early(x: f64) -> f64 {
    if x == 0.0 {
        return 0.0;
    }
    let root = x.sqrt();
    let mut sum = 0.0;
    for n in 1..20 {
        let z = f64::from(n) / (2.0 * root);
        let term = (-z * z).exp() / PI.sqrt() - z * libm::erfc(z);
        sum += if n % 2 == 0 { term } else { -term };
    }
    4.0 * root * (1.0 / PI.sqrt() + 2.0 * sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() <= relative, "{got} against {expected}");
    }

    #[test]
    fn uptake_agrees_with_arbitrary_precision() {
        // mpmath 1.x, 30 digits: nsum of the exponential series.
        for (x, expected) in [
            (0.0001, 0.022_567_583_341_910_25),
            (0.01, 0.225_675_833_418_984),
            (0.02, 0.319_153_738_782_497_6),
            (0.049183, 0.500_001_583_446_148_7),
            (0.1, 0.697_881_906_226_726_8),
            (0.5, 0.994_170_478_926_160_4),
        ] {
            close(uptake_at(x).unwrap(), expected, 1e-14);
        }
    }

    #[test]
    fn both_series_are_one_function() {
        for i in 1..100 {
            let x = f64::from(i) * 0.003;
            assert!((early(x) - late(x)).abs() < 1e-14, "{x}");
        }
    }

    #[test]
    fn dimensionless_times_agree_with_scipy() {
        // Root of the exact series, six decimals.
        for (fraction, x) in
            [(0.5, 0.049183), (0.9, 0.212021), (0.95, 0.282252), (0.99, 0.445322), (0.999, 0.678623)]
        {
            assert!((time_at(fraction).unwrap() - x).abs() < 6e-7, "{fraction}");
        }
        // The fit 1 - exp(-7.3 x^0.75) of C. H. Shen and G. S. Springer (from memory) would give
        // 0.3050 for 95 %: this is not the fit.
        assert!((time_at(0.95).unwrap() - 0.3050).abs() > 0.02);
    }

    /// Another way to the same answer: the heat equation marched in small steps, no series in it.
    #[test]
    fn uptake_agrees_with_marching_the_equation() {
        let (cells, wet) = (100, 1.0);
        let step = 1.0 / f64::from(cells);
        let mut dry = vec![0.0_f64; cells as usize + 1];
        (dry[0], dry[cells as usize]) = (wet, wet);
        let (mut x, share) = (0.0, 0.25);
        for (until, fraction) in [(0.049183, 0.5), (0.282252, 0.95), (0.678623, 0.999)] {
            while x < until {
                let old = dry.clone();
                for at in 1..cells as usize {
                    dry[at] = old[at] + share * (old[at - 1] - 2.0 * old[at] + old[at + 1]);
                }
                x += share * step * step;
            }
            // By trapezes over the thickness.
            let taken = (dry.iter().sum::<f64>() - wet) * step;
            assert!((taken - fraction).abs() < 3e-4, "{taken} against {fraction} at {x}");
        }
    }

    #[test]
    fn a_coupon_of_three_millimetres_takes_its_days() {
        // Same root, h = 3.0 mm, D = 2.6e-7 mm2/s.
        let days = |faces| time_to_fraction(0.95, 2.6e-13, 3.0e-3, faces).unwrap() / 86400.0;
        close(days(Faces::Both), 113.0817, 1e-6);
        close(days(Faces::One), 452.3267, 1e-6);
    }

    #[test]
    fn diffusivity_goes_by_the_temperature() {
        // By hand: 5000 (1/293.15 - 1/343.15) = 2.48522; exp of it 12.0038 (python's math.exp).
        close(diffusivity_at(2.6e-13, 343.15, 293.15, 5000.0).unwrap(), 2.6e-13 / 12.003_8, 1e-4);
        close(diffusivity_at(2.6e-13, 343.15, 343.15, 5000.0).unwrap(), 2.6e-13, 1e-15);
        close(diffusivity_at(2.6e-13, 343.15, 293.15, 0.0).unwrap(), 2.6e-13, 1e-15);
        let there = diffusivity_at(2.6e-13, 343.15, 293.15, 5000.0).unwrap();
        close(diffusivity_at(there, 293.15, 343.15, 5000.0).unwrap(), 2.6e-13, 1e-13);
    }

    #[test]
    fn time_and_uptake_undo_each_other() {
        for fraction in [0.0, 1e-12, 1e-6, 0.01, 0.3, 0.5, 0.77, 0.999, 1.0 - 1e-9] {
            let x = time_at(fraction).unwrap();
            assert!((uptake_at(x).unwrap() - fraction).abs() <= 1e-15 + 1e-13 * fraction, "{fraction}");
        }
        let t = time_to_fraction(0.6, 3e-13, 2.5e-3, Faces::One).unwrap();
        close(uptake(3e-13, t, 2.5e-3, Faces::One).unwrap(), 0.6, 1e-13);
        assert_eq!(time_at(0.0), Ok(0.0));
        assert_eq!(uptake_at(f64::INFINITY), Ok(1.0));
    }

    #[test]
    fn bad_arguments_are_refused() {
        for bad in [f64::NAN, -1.0, f64::INFINITY] {
            assert!(time_at(bad).is_err());
            assert!(time_to_fraction(0.9, bad, 1e-3, Faces::Both).is_err());
            assert!(time_to_fraction(0.9, 1e-13, bad, Faces::Both).is_err());
            assert!(uptake(1e-13, bad, 1e-3, Faces::Both).is_err());
        }
        for bad in [f64::NAN, f64::INFINITY, -1.0] {
            assert!(diffusivity_at(bad, 300.0, 300.0, 5000.0).is_err());
            assert!(diffusivity_at(1e-13, bad, 300.0, 5000.0).is_err());
            assert!(diffusivity_at(1e-13, 300.0, bad, 5000.0).is_err());
            assert!(diffusivity_at(1e-13, 300.0, 300.0, bad).is_err());
        }
        // Frozen to nothing: no diffusivity, not one of zero.
        assert!(diffusivity_at(1e-13, 300.0, 1.0, 1e5).is_err());
        assert!(time_at(1.0).is_err());
        assert!(uptake_at(f64::NAN).is_err());
        assert!(time_to_fraction(0.9, 0.0, 1e-3, Faces::Both).is_err());
        assert!(time_to_fraction(0.9, 1e-13, 0.0, Faces::Both).is_err());
        assert!(time_to_fraction(0.9, f64::MIN_POSITIVE, 10.0, Faces::Both).is_err());
    }
}
