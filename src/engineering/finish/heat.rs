//! What the sun leaves of the temperatures that a skin must not exceed, and how dark it may therefore be.

use super::FinishError;
use super::sun::{ColourLimit, colour_limit, film_coefficient, temperature};

/// How far the highest temperature of use stays below a wet glass transition, K.
///
/// # Source
/// 28 K (50 degF) for epoxy: MIL-HDBK-17 (from memory), FAA policy PS-ACE100-2-18-1999 (read in quotation).
pub const WET_GLASS_TRANSITION_MARGIN: f64 = 28.0;

/// Which of the two skin temperatures a limit is held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Skin {
    /// The hottest that the skin gets, standing in the sun: storage, creep, glass transition.
    Ramp,
    /// The skin under limit load, cooled by taxi and take-off: strength.
    Structural,
}

/// A temperature that a skin must not exceed.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatLimit {
    /// What it is: `wet Tg of the laminate`, `core`, `hottest test`.
    pub name: String,
    /// The temperature itself, K.
    pub temperature: f64,
    /// What the skin has to stay below it, K; 0 for service temperatures and for test temperatures, and
    /// [`WET_GLASS_TRANSITION_MARGIN`] for a wet glass transition.
    pub margin: f64,
    /// Which skin temperature it is held against.
    pub against: Skin,
}

impl HeatLimit {
    /// Returns the highest skin temperature that keeps it, K.
    ///
    /// # Errors
    /// [`FinishError::OutOfRange`] where temperature, margin or their difference lies outside 0 to 2000 K.
    pub fn allowed(&self) -> Result<f64, FinishError> {
        let margin = temperature("the margin of a limit", self.margin)?;
        temperature("a limit less its margin", temperature("a temperature limit", self.temperature)? - margin)
    }
}

/// What is left of one limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// Highest skin temperature that keeps the limit, K.
    pub allowed: f64,
    /// The skin temperature that it is held against, K.
    pub skin: f64,
}

impl Left {
    /// Returns what is left over the rule, K; negative where the limit is exceeded.
    pub fn spare(&self) -> f64 {
        self.allowed - self.skin
    }
}

/// Returns what is left of each limit, in their order.
///
/// # Arguments
/// * `limits` – what must not be exceeded
/// * `ramp`, `structural` – temperatures of the painted skin, K; see [`super::skin_temperature`]
///
/// # Errors
/// [`FinishError::OutOfRange`].
///
/// # Source
/// limit - margin - skin; the margin of a wet glass transition: [`WET_GLASS_TRANSITION_MARGIN`].
pub fn heat_left(limits: &[HeatLimit], ramp: f64, structural: f64) -> Result<Vec<Left>, FinishError> {
    let ramp = temperature("the ramp temperature", ramp)?;
    let structural = temperature("the structural temperature", structural)?;
    let left = |limit: &HeatLimit| {
        let skin = match limit.against {
            Skin::Ramp => ramp,
            Skin::Structural => structural,
        };
        Ok(Left { allowed: limit.allowed()?, skin })
    };
    limits.iter().map(left).collect()
}

/// Sun, air and wind of the design day; the same for every colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sunshine {
    /// Thermal emittance of the surface, 0 to 1.
    pub emittance: f64,
    /// Solar irradiance on the surface, W/m2.
    pub irradiance: f64,
    /// Air temperature, K.
    pub ambient: f64,
    /// Radiant temperature of the sky, K; see [`super::default_sky`].
    pub sky: f64,
    /// Wind on the ramp, m/s.
    pub ramp_wind: f64,
    /// Wind that has cooled the skin when it is loaded, m/s.
    pub structural_wind: f64,
}

/// How dark a skin may be for all its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Darkest {
    /// For all of them; [`ColourLimit::Any`] where there are none.
    pub limit: ColourLimit,
    /// The place in the list of the limit that governs, the first of equals; `None` where none does.
    pub governs: Option<usize>,
    /// For each limit by itself.
    pub each: Vec<ColourLimit>,
}

/// Returns the largest solar absorptance with which a skin keeps all its limits, and which of them governs.
///
/// # Errors
/// [`FinishError::OutOfRange`].
///
/// # Source
/// a = [h (T - T_a) + e s (T^4 - T_sky^4)]/G of each limit by [`colour_limit`], with the film coefficient of
/// the wind that its skin temperature goes by; the least of them.
///
/// ```
/// use bondline_engineering::finish::{ColourLimit, HeatLimit, Skin, Sunshine, WET_GLASS_TRANSITION_MARGIN, darkest};
///
/// let day = Sunshine {
///     emittance: 0.9, irradiance: 1120.0, ambient: 322.15, sky: 322.15, ramp_wind: 1.0, structural_wind: 2.0,
/// };
/// let wet_tg = HeatLimit {
///     name: "wet Tg".into(), temperature: 378.15, margin: WET_GLASS_TRANSITION_MARGIN, against: Skin::Ramp,
/// };
/// let test = HeatLimit { name: "hottest test".into(), temperature: 348.15, margin: 0.0, against: Skin::Structural };
/// let found = darkest(&[wet_tg, test], &day)?;
/// // [9.5 x 28 + 0.9 s (350.15^4 - 322.15^4)]/1120 = 0.4317 on the ramp; more under load.
/// assert!(matches!(found.limit, ColourLimit::UpTo(a) if (a - 0.4317).abs() < 1e-4));
/// assert_eq!(found.governs, Some(0));
/// # Ok::<(), bondline_engineering::finish::FinishError>(())
/// ```
pub fn darkest(limits: &[HeatLimit], day: &Sunshine) -> Result<Darkest, FinishError> {
    let each = limits
        .iter()
        .map(|limit| {
            let wind = match limit.against {
                Skin::Ramp => day.ramp_wind,
                Skin::Structural => day.structural_wind,
            };
            let film = film_coefficient(wind)?;
            colour_limit(limit.allowed()?, day.emittance, day.irradiance, day.ambient, day.sky, film)
        })
        .collect::<Result<Vec<ColourLimit>, FinishError>>()?;
    // Below 0 where even white is too hot, so that such a limit governs.
    let rank = |limit: &ColourLimit| match limit {
        ColourLimit::None => -1.0,
        ColourLimit::UpTo(a) => *a,
        ColourLimit::Any => 1.0,
    };
    let mut governs: Option<(usize, ColourLimit)> = None;
    for (place, one) in each.iter().enumerate().filter(|(_, one)| **one != ColourLimit::Any) {
        if governs.is_none_or(|(_, least)| rank(one) < rank(&least)) {
            governs = Some((place, *one));
        }
    }
    Ok(Darkest {
        limit: governs.map_or(ColourLimit::Any, |(_, least)| least),
        governs: governs.map(|(place, _)| place),
        each,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finish::{Balance, skin_temperature};
    use proptest::prelude::*;

    const ZERO: f64 = 273.15;

    fn limit(name: &str, celsius: f64, margin: f64, against: Skin) -> HeatLimit {
        HeatLimit { name: name.to_string(), temperature: celsius + ZERO, margin, against }
    }

    fn day() -> Sunshine {
        let (ambient, sky) = (43.0 + ZERO, 25.0 + ZERO);
        Sunshine { emittance: 0.9, irradiance: 1120.0, ambient, sky, ramp_wind: 1.0, structural_wind: 2.0 }
    }

    fn skin(a: f64, day: &Sunshine, wind: f64) -> f64 {
        let Sunshine { emittance, irradiance, ambient, sky, .. } = *day;
        skin_temperature(Balance { absorptance: a, emittance, irradiance, ambient, sky, wind }).unwrap()
    }

    #[test]
    fn margins_are_over_the_skin_that_each_goes_by() {
        // The invented example's white and night blue: ramp 57.0 and 94.0, structural 54.4 and 85.6 degC.
        let limits = [
            limit("wet Tg of the laminate", 105.0, WET_GLASS_TRANSITION_MARGIN, Skin::Ramp),
            limit("hottest test", 82.0, 0.0, Skin::Structural),
        ];
        let spare = |ramp, structural| -> Vec<f64> {
            heat_left(&limits, ramp + ZERO, structural + ZERO).unwrap().iter().map(Left::spare).collect()
        };
        for (got, by_hand) in spare(57.0, 54.4).into_iter().zip([20.0, 27.6]) {
            assert!((got - by_hand).abs() < 1e-9);
        }
        for (got, by_hand) in spare(94.0, 85.6).into_iter().zip([-17.0, -3.6]) {
            assert!((got - by_hand).abs() < 1e-9);
        }
    }

    #[test]
    fn the_lowest_limit_governs_and_is_named() {
        let cool = limit("core", 30.0, 0.0, Skin::Ramp);
        let some = limit("sheet", 60.0, 0.0, Skin::Ramp);
        let none = limit("steel", 900.0, 0.0, Skin::Ramp);
        let found = darkest(&[none.clone(), some.clone(), cool.clone()], &day()).unwrap();
        assert_eq!(found.limit, ColourLimit::None);
        assert_eq!(found.governs, Some(2));
        assert_eq!(found.each[0], ColourLimit::Any);
        let found = darkest(&[some.clone(), some, none.clone()], &day()).unwrap();
        assert_eq!(found.governs, Some(0));
        let found = darkest(&[none], &day()).unwrap();
        assert_eq!((found.limit, found.governs), (ColourLimit::Any, None));
        let found = darkest(&[], &day()).unwrap();
        assert_eq!((found.limit, found.governs), (ColourLimit::Any, None));
    }

    #[test]
    fn bad_limits_are_refused() {
        for bad in [f64::NAN, f64::INFINITY, -1.0] {
            let of = |temperature, margin| {
                [HeatLimit { name: String::new(), temperature, margin, against: Skin::Ramp }]
            };
            assert!(darkest(&of(bad, 0.0), &day()).is_err());
            assert!(darkest(&of(300.0, bad), &day()).is_err());
            assert!(heat_left(&of(300.0, 0.0), bad, 300.0).is_err());
            assert!(heat_left(&of(300.0, 0.0), 300.0, bad).is_err());
        }
        let under = [HeatLimit { name: String::new(), temperature: 20.0, margin: 28.0, against: Skin::Ramp }];
        assert!(darkest(&under, &day()).is_err());
        let windy = Sunshine { ramp_wind: f64::NAN, ..day() };
        assert!(darkest(&[limit("core", 90.0, 0.0, Skin::Ramp)], &windy).is_err());
    }

    proptest! {
        #[test]
        fn the_darkest_keeps_all_limits_and_a_shade_darker_does_not(
            tg in 70.0..140.0, test in 50.0..110.0, core in 50.0..110.0,
        ) {
            let day = day();
            let limits = [
                limit("wet Tg", tg, WET_GLASS_TRANSITION_MARGIN, Skin::Ramp),
                limit("test", test, 0.0, Skin::Structural),
                limit("core", core, 0.0, Skin::Ramp),
            ];
            let found = darkest(&limits, &day).unwrap();
            if let ColourLimit::UpTo(a) = found.limit {
                let least = |a: f64| {
                    let (ramp, load) = (skin(a, &day, day.ramp_wind), skin(a, &day, day.structural_wind));
                    let left = heat_left(&limits, ramp, load).unwrap();
                    let spare: Vec<f64> = left.iter().map(Left::spare).collect();
                    (spare.iter().copied().fold(f64::INFINITY, f64::min), spare[found.governs.unwrap()])
                };
                let (all, governing) = least(a);
                prop_assert!(all > -1e-8 && governing.abs() < 1e-8);
                prop_assert!(a > 0.999 || least(a + 1e-3).0 < 0.0);
            }
        }
    }
}
