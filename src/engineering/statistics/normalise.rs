//! Fibre-dominated values brought to a nominal fibre volume or cured ply thickness.
//!
//! The fibres carry a fibre-dominated load, and a ply has so many of them whatever resin lies between: the
//! same force over a thicker ply is less stress. What was measured is therefore brought to the nominal ply.
//! That holds for small distances only, so a specimen far from nominal is to be doubted ([`Ratio::is_far`]),
//! and scatter that grows by it says that something else scatters ([`Scatter::grows_from`]).

use super::{StatisticsError, finite, mean, sample};

/// How far from nominal a specimen may lie before normalising it is doubted, as a share of the nominal, where
/// nobody says otherwise.
///
/// # Source
/// Common practice, no source.
pub const USUAL_REACH: f64 = 0.05;

/// What a measured value is multiplied with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratio {
    ratio: f64,
    /// Distance of the specimen from nominal, as a share of the nominal.
    away: f64,
}

impl Ratio {
    /// Returns the ratio that brings a value from a ply of the thickness `specimen` to one of `nominal`, both
    /// in the same unit.
    ///
    /// # Errors
    /// [`StatisticsError::Ratio`] for a thickness that is not above 0, [`StatisticsError::NotFinite`].
    ///
    /// # Source
    /// normalised = measured x CPT specimen / CPT nominal; MIL-HDBK-17-1F, volume 1, section 2.4.3 (from
    /// memory).
    pub fn of_thickness(specimen: f64, nominal: f64) -> Result<Self, StatisticsError> {
        let ratio = Self::of("the cured ply thickness", specimen, nominal)?;
        Ok(Self { ratio, away: ratio - 1.0 })
    }

    /// Returns the ratio that brings a value from the fibre volume `specimen` to `nominal`, both in the same
    /// unit.
    ///
    /// # Errors
    /// As [`Ratio::of_thickness`].
    ///
    /// # Source
    /// normalised = measured x FV nominal / FV specimen; MIL-HDBK-17-1F, volume 1, section 2.4.3 (from memory).
    pub fn of_fibre_volume(specimen: f64, nominal: f64) -> Result<Self, StatisticsError> {
        let away = Self::of("the fibre volume", specimen, nominal)? - 1.0;
        Ok(Self { ratio: Self::of("the fibre volume", nominal, specimen)?, away })
    }

    fn of(what: &'static str, over: f64, under: f64) -> Result<f64, StatisticsError> {
        for value in [over, under] {
            if finite(what, value)? <= 0.0 {
                return Err(StatisticsError::Ratio { what, value });
            }
        }
        let ratio = finite(what, over / under)?;
        if ratio > 0.0 { Ok(ratio) } else { Err(StatisticsError::Ratio { what, value: ratio }) }
    }

    /// Returns the normalised value, in the unit of `measured`.
    ///
    /// # Errors
    /// [`StatisticsError::NotFinite`].
    pub fn bring(self, measured: f64) -> Result<f64, StatisticsError> {
        finite("the normalised value", measured * self.ratio)
    }

    /// Returns the ratio itself.
    pub fn value(self) -> f64 {
        self.ratio
    }

    /// Returns how far the specimen lies from nominal, as a share of the nominal.
    pub fn away(self) -> f64 {
        self.away
    }

    /// Returns whether the specimen lies further from nominal than `reach`, a share; a value by it is doubtful.
    ///
    /// # Source
    /// That normalising holds near nominal only: MIL-HDBK-17-1F, section 2.4.3 (from memory). The share itself:
    /// see [`USUAL_REACH`].
    pub fn is_far(self, reach: f64) -> bool {
        // A billionth absorbs the conversion of units.
        self.away.abs() > reach + 1e-9
    }
}

/// Mean and coefficient of variation of some values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// How many values.
    pub n: usize,
    /// Their mean, in their unit.
    pub mean: f64,
    /// Standard deviation (divisor n - 1) over mean, a fraction; `None` for one value or a mean of 0.
    pub cv: Option<f64>,
}

impl Scatter {
    /// Returns what some values scatter.
    ///
    /// # Errors
    /// As [`mean`].
    ///
    /// # Source
    /// CV = s / mean, in any textbook.
    pub fn of(values: &[f64]) -> Result<Self, StatisticsError> {
        let mean = mean(values)?;
        let cv = sample(values).ok().map(|own| own.sd / mean.abs()).filter(|cv| cv.is_finite());
        Ok(Self { n: values.len(), mean, cv })
    }

    /// Returns whether this scatters more than `measured`, which normalising should not do.
    ///
    /// # Source
    /// Normalising a fibre-dominated property lessens its scatter or leaves it; where it grows, the measured
    /// volumes or thicknesses are in doubt, or the property is not fibre-dominated: MIL-HDBK-17-1F, section
    /// 2.4.3 (from memory).
    pub fn grows_from(&self, measured: &Self) -> bool {
        match (self.cv, measured.cv) {
            (Some(now), Some(was)) => now > was + 1e-9,
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_worked_sample_comes_out() {
        // Made up; reckoned with python's `decimal` and `statistics`: x t / 0.21 and x 55 / v.
        let strengths = [612.0, 598.0, 641.0, 575.0, 630.0, 605.0];
        let plies = [0.213, 0.217, 0.202, 0.226, 0.206, 0.215];
        let brought: Vec<f64> = strengths
            .iter()
            .zip(plies)
            .map(|(own, ply)| Ratio::of_thickness(ply, 0.21).unwrap().bring(*own).unwrap())
            .collect();
        let expected =
            [620.742857142857, 617.933333333333, 616.580952380952, 618.809523809524, 618.0, 619.404761904762];
        for (got, want) in brought.iter().zip(expected) {
            assert!((got - want).abs() < 1e-9, "{got} against {want}");
        }
        let (was, is) = (Scatter::of(&strengths).unwrap(), Scatter::of(&brought).unwrap());
        assert!((was.mean - 610.1666666666666).abs() < 1e-9 && (is.mean - 618.5785714285714).abs() < 1e-9);
        assert!((was.cv.unwrap() - 0.038497209605541746).abs() < 1e-12, "{was:?}");
        assert!((is.cv.unwrap() - 0.0023046322226624154).abs() < 1e-12, "{is:?}");
        assert!(!is.grows_from(&was) && was.grows_from(&is));
        let by_volume = Ratio::of_fibre_volume(0.52, 0.55).unwrap().bring(600.0).unwrap();
        assert!((by_volume - 634.6153846153846).abs() < 1e-9);
    }

    #[test]
    fn what_is_far_is_so_on_both_sides() {
        let far = |ply: f64| Ratio::of_thickness(ply, 0.2).unwrap().is_far(0.05);
        assert_eq!([0.19, 0.21, 0.1899, 0.2101].map(far), [false, false, true, true]);
        // The distance is the specimen's, not that of the ratio, which would be 5.3 % below.
        let far = |volume: f64| Ratio::of_fibre_volume(volume, 0.5).unwrap().is_far(0.05);
        assert_eq!([0.475, 0.525, 0.4749, 0.5251].map(far), [false, false, true, true]);
    }

    #[test]
    fn nothing_comes_of_nothing() {
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(Ratio::of_thickness(bad, 0.2).is_err() && Ratio::of_thickness(0.2, bad).is_err());
            assert!(Ratio::of_fibre_volume(bad, 0.5).is_err() && Ratio::of_fibre_volume(0.5, bad).is_err());
        }
        assert!(Ratio::of_thickness(1e300, 1e-300).is_err() && Ratio::of_thickness(1e-300, 1e300).is_err());
        assert!(Ratio::of_thickness(2.0, 1.0).unwrap().bring(f64::MAX).is_err());
        assert_eq!(Scatter::of(&[5.0]).unwrap().cv, None);
        assert_eq!(Scatter::of(&[-5.0, 5.0]).unwrap().cv, None);
        assert!(Scatter::of(&[]).is_err());
    }

    proptest! {
        // A ply at nominal stays, and thickness and fibre volume of one and the same fibre agree: V = F/(rho t).
        #[test]
        fn both_ways_agree(ply in 0.05f64..1.0, nominal in 0.05f64..1.0, value in 1.0f64..5000.0) {
            let stays = Ratio::of_thickness(ply, ply).unwrap().bring(value).unwrap();
            prop_assert!((stays - value).abs() <= 1e-12 * value);
            let fibre = 0.05;
            let one = Ratio::of_thickness(ply, nominal).unwrap().value();
            let two = Ratio::of_fibre_volume(fibre / ply, fibre / nominal).unwrap().value();
            prop_assert!((one - two).abs() <= 1e-12 * one);
        }
    }
}
