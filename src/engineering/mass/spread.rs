//! How far a total may stray, and what that means for a budget.

use std::f64::consts::SQRT_2;

use super::{MassError, finite};

/// The total when one cause stands at either of its limits and everything else is nominal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CauseTotals {
    /// The total with the cause at its low limit, kg.
    pub at_low: f64,
    /// The total with the cause at its high limit, kg.
    pub at_high: f64,
}

/// A total with its limits at two sigma.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadTotal {
    /// Low limit, kg; may be negative where the limits written are wider than the total.
    pub low: f64,
    /// Nominal, kg.
    pub nominal: f64,
    /// High limit, kg.
    pub high: f64,
}

/// Returns the limits of a total from what each of its causes does to it alone.
///
/// A cause may push the total either way at either limit (more removed film is less mass); each
/// difference goes to the side it falls on. A cause whose two limits push the same way counts
/// with both.
///
/// # Arguments
/// * `nominal` – the total with every cause nominal, kg
/// * `causes` – the totals of each independent cause
///
/// # Errors
/// [`MassError::NotFinite`].
///
/// # Source
/// Root of the sum of squares of independent differences: first-order propagation, JCGM 100:2008
/// (GUM) eq. 10, kept apart by sign (the project's own convention).
pub fn spread(nominal: f64, causes: &[CauseTotals]) -> Result<SpreadTotal, MassError> {
    finite("the nominal total", nominal)?;
    let (mut below, mut above) = (0.0, 0.0);
    for cause in causes {
        for total in [cause.at_low, cause.at_high] {
            let difference = finite("a cause's total", total)? - nominal;
            let side = if difference < 0.0 { &mut below } else { &mut above };
            *side += difference * difference;
        }
    }
    Ok(SpreadTotal {
        low: finite("the low limit", nominal - f64::sqrt(below))?,
        nominal,
        high: finite("the high limit", nominal + f64::sqrt(above))?,
    })
}

/// Returns the probability that a total is at most `budget`.
///
/// The limits are two sigma; a budget above the nominal is judged by the sigma above it, one
/// below by the sigma below. Without spread on that side the answer is 0 or 1.
///
/// # Arguments
/// * `nominal`, `low`, `high` – the total and its limits, kg
/// * `budget` – kg
///
/// # Errors
/// [`MassError::NotFinite`]; [`MassError::Limits`] unless low <= nominal <= high.
///
/// # Source
/// Phi((budget - nominal)/sigma), sigma half the distance to the limit on that side: two normal
/// halves joined at the nominal (the project's own convention).
pub fn probability_within(nominal: f64, low: f64, high: f64, budget: f64) -> Result<f64, MassError> {
    for (what, value) in [
        ("the nominal total", nominal),
        ("the low limit", low),
        ("the high limit", high),
        ("the budget", budget),
    ] {
        finite(what, value)?;
    }
    if low > nominal || nominal > high {
        return Err(MassError::Limits { nominal, low, high });
    }
    let room = finite("the distance to the budget", budget - nominal)?;
    let reach = if room >= 0.0 { high - nominal } else { nominal - low };
    let sigma = 0.5 * finite("the distance to the limit", reach)?;
    if sigma == 0.0 {
        return Ok(if room >= 0.0 { 1.0 } else { 0.0 });
    }
    // The normal cumulative; written out because the statistics stand above this room.
    Ok(0.5 * libm::erfc(-(room / sigma) / SQRT_2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn cause(at_low: f64, at_high: f64) -> CauseTotals {
        CauseTotals { at_low, at_high }
    }

    #[test]
    fn independent_causes_add_as_squares() {
        // Closed form: 3 and 4 each way make 5.
        let got = spread(100.0, &[cause(97.0, 103.0), cause(96.0, 104.0)]).unwrap();
        assert_eq!((got.low, got.nominal, got.high), (95.0, 100.0, 105.0));
        assert_eq!(spread(7.0, &[]).unwrap(), SpreadTotal { low: 7.0, nominal: 7.0, high: 7.0 });
    }

    #[test]
    fn each_side_keeps_its_own() {
        // Uneven limits, one cause that works backwards, one that does nothing.
        let got = spread(100.0, &[cause(97.0, 106.0), cause(108.0, 96.0), cause(100.0, 100.0)]).unwrap();
        assert_eq!((got.low, got.high), (95.0, 110.0));
        // Both limits of one cause push up.
        let got = spread(100.0, &[cause(103.0, 104.0)]).unwrap();
        assert_eq!((got.low, got.high), (100.0, 105.0));
    }

    #[test]
    fn probability_has_its_closed_forms() {
        let p = |budget| probability_within(100.0, 98.0, 104.0, budget).unwrap();
        assert_eq!(p(100.0), 0.5);
        // Limits are two sigma; standard normal table, Abramowitz & Stegun 26.1: Phi(1) =
        // 0.8413447460685429, Phi(2) = 0.9772498680518208 (mpmath gives the same).
        assert!((p(102.0) - 0.841_344_746_068_542_9).abs() < 1e-15);
        assert!((p(104.0) - 0.977_249_868_051_820_8).abs() < 1e-15);
        assert!((p(99.0) - (1.0 - 0.841_344_746_068_542_9)).abs() < 1e-15);
        assert!((p(98.0) - (1.0 - 0.977_249_868_051_820_8)).abs() < 1e-15);
    }

    #[test]
    fn without_spread_it_is_one_or_nought() {
        for (budget, expected) in [(99.9, 0.0), (100.0, 1.0), (100.1, 1.0)] {
            assert_eq!(probability_within(100.0, 100.0, 100.0, budget), Ok(expected));
        }
        // No room above, some below.
        assert_eq!(probability_within(100.0, 98.0, 100.0, 100.0), Ok(1.0));
        assert!(
            (probability_within(100.0, 98.0, 100.0, 99.0).unwrap() - 0.158_655_253_931_457_05).abs() < 1e-15
        );
    }

    #[test]
    fn bad_arguments_are_refused() {
        for bad in [f64::NAN, f64::INFINITY] {
            assert!(spread(bad, &[]).is_err());
            assert!(spread(1.0, &[cause(bad, 1.0)]).is_err());
            assert!(probability_within(bad, 0.0, 2.0, 1.0).is_err());
            assert!(probability_within(1.0, 0.0, 2.0, bad).is_err());
            assert!(probability_within(1.0, 0.0, bad, 1.0).is_err());
        }
        assert!(spread(0.0, &[cause(f64::MAX, f64::MAX)]).is_err());
        assert!(matches!(probability_within(1.0, 1.1, 2.0, 1.0), Err(MassError::Limits { .. })));
        assert!(probability_within(0.0, 0.0, f64::MIN_POSITIVE, 1e308).is_ok());
    }

    proptest! {
        #[test]
        fn the_order_of_causes_does_not_matter_and_more_never_narrows(
            pairs in prop::collection::vec((90.0..110.0, 90.0..110.0), 1..10),
        ) {
            let mut causes: Vec<_> = pairs.into_iter().map(|(l, h)| cause(l, h)).collect();
            let all = spread(100.0, &causes).unwrap();
            causes.reverse();
            let reversed = spread(100.0, &causes).unwrap();
            prop_assert!((all.low - reversed.low).abs() < 1e-9 && (all.high - reversed.high).abs() < 1e-9);
            causes.pop();
            let fewer = spread(100.0, &causes).unwrap();
            prop_assert!(all.low <= fewer.low + 1e-9 && all.high >= fewer.high - 1e-9);
            let mut before = 0.0;
            for step in -30..30 {
                let now = probability_within(100.0, all.low, all.high, 100.0 + f64::from(step)).unwrap();
                prop_assert!((0.0..=1.0).contains(&now) && now >= before);
                before = now;
            }
        }
    }
}
