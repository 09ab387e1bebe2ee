//! Values between tested conditions.

use super::{StatisticsError, finite};

/// Returns the value at a condition between those tested, on a straight line between its neighbours; never beyond
/// them.
///
/// `tested` are condition and value of each test, in any order.
///
/// # Errors
/// [`StatisticsError::Untested`] where `at` lies outside what was tested, with its ends;
/// [`StatisticsError::TestedTwice`]; [`StatisticsError::Count`] for none; [`StatisticsError::NotFinite`].
///
/// # Source
/// A straight line between two tests; common practice, no source.
///
/// ```
/// use bondline_engineering::statistics::{StatisticsError, between_tested};
/// // Invented: MPa at degC.
/// let tested = [[82.0, 420.0], [23.0, 600.0]];
/// assert!((between_tested(&tested, 52.5)? - 510.0).abs() < 1e-9);
/// assert!(matches!(between_tested(&tested, 90.0), Err(StatisticsError::Untested { .. })));
/// # Ok::<(), StatisticsError>(())
/// ```
pub fn between_tested(tested: &[[f64; 2]], at: f64) -> Result<f64, StatisticsError> {
    let mut own = Vec::with_capacity(tested.len());
    for [condition, value] in tested {
        own.push([finite("a tested condition", *condition)?, finite("a tested value", *value)?]);
    }
    let at = finite("the condition", at)?;
    own.sort_by(|[one, _], [two, _]| one.total_cmp(two));
    if let Some([[twice, _], _]) = own.array_windows().find(|[[one, _], [two, _]]| one == two) {
        return Err(StatisticsError::TestedTwice { condition: *twice });
    }
    if let Some([_, value]) = own.iter().find(|[condition, _]| *condition == at) {
        return Ok(*value);
    }
    let around = own.array_windows().find(|[[low, _], [high, _]]| (*low..=*high).contains(&at));
    match (around, own.first(), own.last()) {
        (Some([[low, one], [high, two]]), ..) => {
            finite("the value between", one + (two - one) * (at - low) / (high - low))
        }
        (None, Some([lowest, _]), Some([highest, _])) => {
            Err(StatisticsError::Untested { condition: at, lowest: *lowest, highest: *highest })
        }
        _ => Err(StatisticsError::too_few("a value between tests", 0, 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_lie_on_the_line_and_never_beyond() {
        let tested = [[82.0, 420.0], [23.0, 600.0], [-55.0, 630.0]];
        assert_eq!(between_tested(&tested, 23.0).unwrap(), 600.0);
        assert!((between_tested(&tested, -16.0).unwrap() - 615.0).abs() < 1e-12);
        assert!((between_tested(&tested, 70.0).unwrap() - (600.0 - 180.0 * 47.0 / 59.0)).abs() < 1e-9);
        for at in [-56.0, 82.1] {
            let refused = between_tested(&tested, at);
            let ends = StatisticsError::Untested { condition: at, lowest: -55.0, highest: 82.0 };
            assert_eq!(refused, Err(ends));
        }
        assert_eq!(between_tested(&[[23.0, 5.0]], 23.0).unwrap(), 5.0);
        assert!(between_tested(&[[23.0, 5.0]], 24.0).is_err());
        assert!(between_tested(&[], 24.0).is_err());
        assert!(matches!(
            between_tested(&[[23.0, 5.0], [23.0, 6.0]], 23.0),
            Err(StatisticsError::TestedTwice { .. })
        ));
        assert!(between_tested(&tested, f64::NAN).is_err());
        assert!(between_tested(&[[23.0, f64::NAN]], 23.0).is_err());
    }
}
