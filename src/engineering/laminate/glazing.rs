//! Transparent sheet: its modulus at temperature and under loads that last.
//!
//! Between two tested temperatures a modulus is interpolated; beyond them it is not known, since a
//! transparent plastic softens fast. An engineering aid, not approved data.

use super::{LaminateError, within};
use crate::statistics::{StatisticsError, between_tested};

/// Why a sheet's modulus is not known.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GlazingError {
    /// No modulus at any temperature.
    #[error("the sheet has no tested modulus")]
    Untested,
    /// A temperature beyond those tested.
    #[error("the sheet's modulus was tested from {lowest} K to {highest} K; {temperature} K lies outside")]
    OutsideTested {
        /// What was asked, K.
        temperature: f64,
        /// Lowest temperature tested, K.
        lowest: f64,
        /// Highest temperature tested, K.
        highest: f64,
    },
    /// Two moduli at one temperature.
    #[error("the sheet has two moduli at {temperature} K")]
    TestedTwice {
        /// The temperature, K.
        temperature: f64,
    },
    /// A value that is not a number or outside its range.
    #[error(transparent)]
    Laminate(#[from] LaminateError),
}

/// Returns the modulus of a sheet at a temperature.
///
/// # Arguments
/// * `tested` – temperature, K, and modulus, Pa, of each test, in any order
/// * `temperature` – K, within those tested
///
/// # Errors
/// [`GlazingError::OutsideTested`], which carries the tested range; [`GlazingError::Untested`],
/// [`GlazingError::TestedTwice`], [`GlazingError::Laminate`].
///
/// # Source
/// A straight line between two tests; common practice, no source.
///
/// # Example
/// ```
/// use bondline_engineering::laminate::{GlazingError, sheet_modulus};
/// let tested = [[296.0, 3.0e9], [333.0, 2.0e9]]; // invented
/// assert!((sheet_modulus(&tested, 314.5)? - 2.5e9).abs() < 1.0);
/// assert!(matches!(sheet_modulus(&tested, 345.0), Err(GlazingError::OutsideTested { .. })));
/// # Ok::<(), GlazingError>(())
/// ```
pub fn sheet_modulus(tested: &[[f64; 2]], temperature: f64) -> Result<f64, GlazingError> {
    let mut tests = Vec::with_capacity(tested.len());
    for [at, modulus] in tested {
        tests.push([kelvin("the tested temperature", *at)?, pascal("the tested modulus", *modulus)?]);
    }
    let temperature = kelvin("the temperature", temperature)?;
    between_tested(&tests, temperature).map_err(|problem| match problem {
        StatisticsError::Untested { condition, lowest, highest } => {
            GlazingError::OutsideTested { temperature: condition, lowest, highest }
        }
        StatisticsError::TestedTwice { condition } => GlazingError::TestedTwice { temperature: condition },
        _ => GlazingError::Untested,
    })
}

/// Returns the modulus of a sheet under a load that lasts: E/(1 + phi).
///
/// # Arguments
/// * `modulus` – at temperature, Pa
/// * `creep` – phi, creep strain over elastic strain after the time of the load, at the same
///   temperature and stress; from a creep test (ISO 899-1, ASTM D2990)
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// Effective modulus of linear viscoelasticity under a constant load (from memory).
pub fn long_load_modulus(modulus: f64, creep: f64) -> Result<f64, LaminateError> {
    let modulus = pascal("the modulus", modulus)?;
    Ok(modulus / (1.0 + within("the creep factor", creep, (0.0..=1e3).contains(&creep), "0 to 1000", "")?))
}

fn kelvin(what: &'static str, value: f64) -> Result<f64, LaminateError> {
    within(what, value, (1.0..=1500.0).contains(&value), "1 to 1500", "K")
}

fn pascal(what: &'static str, value: f64) -> Result<f64, LaminateError> {
    within(what, value, (1e3..=1e13).contains(&value), "1 kPa to 10 000 GPa", "Pa")
}

#[cfg(test)]
mod tests {
    use super::*;

    // Values are invented, in the range of trade texts (2.8 to 3.3 GPa at 23 C, 1.8 to 2.2 at 60 C);
    // expected: numpy.interp([296.15, 300, 320, 333.15], [233.15, 296.15, 333.15], [4.2, 3.1, 2.0]).
    const TESTED: [[f64; 2]; 3] = [[333.15, 2.0e9], [233.15, 4.2e9], [296.15, 3.1e9]];

    #[test]
    fn between_tests_the_modulus_is_interpolated() {
        for (at, expected) in [
            (233.15, 4.2),
            (296.15, 3.1),
            (300.0, 2.985540540540541),
            (320.0, 2.390945945945946),
            (333.15, 2.0),
        ] {
            let got = sheet_modulus(&TESTED, at).unwrap() / 1e9;
            assert!((got - expected).abs() < 1e-12, "{at}: {got}");
        }
    }

    #[test]
    fn beyond_them_it_is_not_known() {
        for at in [233.14, 333.16] {
            let range = GlazingError::OutsideTested { temperature: at, lowest: 233.15, highest: 333.15 };
            assert_eq!(sheet_modulus(&TESTED, at), Err(range));
        }
        assert_eq!(sheet_modulus(&[], 300.0), Err(GlazingError::Untested));
        assert_eq!(sheet_modulus(&[[296.0, 3e9]], 296.0), Ok(3e9));
        assert!(matches!(sheet_modulus(&[[296.0, 3e9]], 297.0), Err(GlazingError::OutsideTested { .. })));
        let twice = [[296.0, 3e9], [333.0, 2e9], [296.0, 2.9e9]];
        assert_eq!(sheet_modulus(&twice, 320.0), Err(GlazingError::TestedTwice { temperature: 296.0 }));
        assert!(matches!(sheet_modulus(&TESTED, f64::NAN), Err(GlazingError::Laminate(_))));
        assert!(matches!(sheet_modulus(&[[296.0, 0.0]], 296.0), Err(GlazingError::Laminate(_))));
    }

    #[test]
    fn a_lasting_load_sees_a_softer_sheet() {
        assert_eq!(long_load_modulus(3e9, 0.5), Ok(2e9));
        assert_eq!(long_load_modulus(3e9, 0.0), Ok(3e9));
        assert!(long_load_modulus(3e9, -0.1).is_err() && long_load_modulus(3e9, f64::NAN).is_err());
    }
}
