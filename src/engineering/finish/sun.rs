//! The heat balance of a surface in the sun.

use super::{FinishError, within};

/// Stefan-Boltzmann constant, W/(m2 K4).
///
/// # Source
/// CODATA 2018, exact value 5.670374419...e-8 (from memory).
pub const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;

// What is refused beyond these is a slip of units, not weather.
const HOTTEST: f64 = 2000.0;
// Beyond this, film coefficient and emittance are zero in all but name.
const HOTTEST_SURFACE: f64 = 1e9;
const BRIGHTEST: f64 = 1e6;
const WINDIEST: f64 = 500.0;
const STRONGEST_FILM: f64 = 1e5;

/// What heats and cools a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Solar absorptance, 0 to 1.
    pub absorptance: f64,
    /// Thermal emittance, 0 to 1.
    pub emittance: f64,
    /// Solar irradiance on the surface, W/m2.
    pub irradiance: f64,
    /// Air temperature, K.
    pub ambient: f64,
    /// Radiant temperature of the sky, K; see [`default_sky`].
    pub sky: f64,
    /// Wind over the surface, m/s.
    pub wind: f64,
}

/// Returns the film coefficient of a flat surface in `wind` m/s, in W/(m2 K).
///
/// # Errors
/// [`FinishError::OutOfRange`] for a wind that is negative, absurd or not a number.
///
/// # Source
/// h = 5.7 + 3.8 v, made for v up to about 5 m/s; W. H. McAdams, *Heat Transmission*, as given in
/// J. A. Duffie, W. A. Beckman, *Solar Engineering of Thermal Processes* (from memory). In still
/// air it gives 5.7; free convection over a pale, little warmed surface gives less, and the
/// surface is then a few kelvin hotter than this says.
pub fn film_coefficient(wind: f64) -> Result<f64, FinishError> {
    Ok(5.7 + 3.8 * within("the wind", wind, 0.0, WINDIEST, "m/s")?)
}

/// Returns the radiant temperature of a clear sky over air of `ambient` K, in K.
///
/// # Errors
/// [`FinishError::OutOfRange`] unless `ambient` is 0 to 2000 K.
///
/// # Source
/// T_sky = 0.0552 T_a^1.5; W. C. Swinbank, Q. J. R. Meteorol. Soc. 89 (1963) (from memory).
pub fn default_sky(ambient: f64) -> Result<f64, FinishError> {
    // The root rather than a power: it is the same to the last bit on every machine.
    let ambient = temperature("the air temperature", ambient)?;
    Ok(0.0552 * ambient * ambient.sqrt())
}

/// Returns the steady temperature of a surface in the sun, in K.
///
/// # Errors
/// [`FinishError::OutOfRange`] for a value that is not a number or outside its range.
///
/// # Source
/// [`surface_temperature`] with the film coefficient of [`film_coefficient`].
pub fn skin_temperature(balance: Balance) -> Result<f64, FinishError> {
    let Balance { absorptance, emittance, irradiance, ambient, sky, wind } = balance;
    surface_temperature(absorptance, emittance, irradiance, ambient, sky, film_coefficient(wind)?)
}

/// Returns the steady temperature of a surface with a known film coefficient, in K.
///
/// # Arguments
/// * `absorptance`, `emittance` – solar absorptance and thermal emittance, 0 to 1
/// * `irradiance` – W/m2 on the surface
/// * `ambient`, `sky` – air and radiant sky temperature, K
/// * `film_coefficient` – h, W/(m2 K)
///
/// # Errors
/// [`FinishError::OutOfRange`]; [`FinishError::NothingCools`] where heat comes in and neither
/// film coefficient nor emittance lets it out (or they are so small that 1e9 K would not).
///
/// # Source
/// a G = h (T - T_a) + e s (T^4 - T_sky^4), back insulated: the steady energy balance of a
/// surface, as in any text on heat transfer.
pub fn surface_temperature(
    absorptance: f64,
    emittance: f64,
    irradiance: f64,
    ambient: f64,
    sky: f64,
    film_coefficient: f64,
) -> Result<f64, FinishError> {
    let absorbed = within("the absorptance", absorptance, 0.0, 1.0, "")?
        * within("the irradiance", irradiance, 0.0, BRIGHTEST, "W/m2")?;
    let losses = Losses::new(emittance, ambient, sky, film_coefficient)?;
    if losses.film == 0.0 && losses.radiance == 0.0 {
        // Nothing in, nothing out: any temperature would do, the air's is the one that stays.
        return if absorbed == 0.0 { Ok(ambient) } else { Err(FinishError::NothingCools) };
    }

    // The loss grows with T, and at the warmer of air and sky it is not negative. From there
    // either path alone would carry the heat away at the smaller of these two temperatures.
    let (mut low, warmest) = (0.0, ambient.max(sky));
    let by_air = warmest + absorbed / losses.film;
    let by_radiation = (warmest.powi(4) + absorbed / losses.radiance).sqrt().sqrt();
    let mut high = by_air.min(by_radiation);
    if high > HOTTEST_SURFACE {
        return Err(FinishError::NothingCools);
    }
    let mut t = high;
    for _ in 0..200 {
        let excess = losses.at(t) - absorbed;
        if excess > 0.0 {
            high = t;
        } else {
            low = t;
        }
        let newton = t - excess / (losses.film + 4.0 * losses.radiance * t * t * t);
        let next = if newton >= low && newton <= high { newton } else { 0.5 * (low + high) };
        if (next - t).abs() <= 1e-13 * high {
            return Ok(next);
        }
        t = next;
    }
    Ok(t)
}

/// How dark a surface may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ColourLimit {
    /// Even a surface that absorbs nothing exceeds the limit.
    None,
    /// The largest solar absorptance, from 0 to below 1.
    UpTo(f64),
    /// Even a surface that absorbs everything keeps the limit.
    Any,
}

/// Returns the largest solar absorptance that keeps a surface at or below `limit` K.
///
/// # Arguments
/// * `limit` – temperature not to be exceeded, K
/// * `emittance` – thermal emittance, 0 to 1
/// * `irradiance` – W/m2 on the surface
/// * `ambient`, `sky` – air and radiant sky temperature, K
/// * `film_coefficient` – h, W/(m2 K)
///
/// # Errors
/// [`FinishError::OutOfRange`].
///
/// # Source
/// The balance of [`surface_temperature`] solved for the absorptance; closed form.
pub fn colour_limit(
    limit: f64,
    emittance: f64,
    irradiance: f64,
    ambient: f64,
    sky: f64,
    film_coefficient: f64,
) -> Result<ColourLimit, FinishError> {
    let irradiance = within("the irradiance", irradiance, 0.0, BRIGHTEST, "W/m2")?;
    let losses = Losses::new(emittance, ambient, sky, film_coefficient)?;
    let lost = losses.at(temperature("the temperature limit", limit)?);
    Ok(if lost < 0.0 {
        ColourLimit::None
    } else if lost >= irradiance {
        ColourLimit::Any
    } else {
        ColourLimit::UpTo(lost / irradiance)
    })
}

/// What carries heat away.
struct Losses {
    film: f64,
    /// Emittance times the Stefan-Boltzmann constant.
    radiance: f64,
    ambient: f64,
    sky: f64,
}

impl Losses {
    fn new(emittance: f64, ambient: f64, sky: f64, film: f64) -> Result<Self, FinishError> {
        Ok(Self {
            film: within("the film coefficient", film, 0.0, STRONGEST_FILM, "W/(m2 K)")?,
            radiance: within("the emittance", emittance, 0.0, 1.0, "")? * STEFAN_BOLTZMANN,
            ambient: temperature("the air temperature", ambient)?,
            sky: temperature("the sky temperature", sky)?,
        })
    }

    /// Net loss of a surface at `t` K, W/m2.
    fn at(&self, t: f64) -> f64 {
        self.film * (t - self.ambient) + self.radiance * (t.powi(4) - self.sky.powi(4))
    }
}

pub(super) fn temperature(what: &'static str, value: f64) -> Result<f64, FinishError> {
    within(what, value, 0.0, HOTTEST, "K")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ZERO: f64 = 273.15;

    fn celsius(a: f64, g: f64, air: f64, sky: f64, h: f64) -> f64 {
        surface_temperature(a, 0.9, g, air + ZERO, sky + ZERO, h).unwrap() - ZERO
    }

    #[test]
    fn hot_dry_day_agrees_with_brentq() {
        // scipy.optimize.brentq on the balance, printed to 0.001 K. 1120 W/m2 and 49 degC:
        // MIL-STD-810 method 505, MIL-HDBK-310 (from memory).
        for (a, expected) in [(0.25, 65.134), (0.5, 80.310), (0.9, 102.809)] {
            assert!((celsius(a, 1120.0, 49.0, 49.0, 10.0) - expected).abs() < 6e-4, "{a}");
        }
        // Sky 15 K colder.
        assert!((celsius(0.25, 1120.0, 49.0, 34.0, 10.0) - 59.746).abs() < 6e-4);
        // And 4 W/(m2 K) to a cabin of 40 degC: two paths to two temperatures are one path, of
        // both coefficients, to their weighted mean.
        let mean = (10.0 * 49.0 + 4.0 * 40.0) / 14.0;
        assert!((celsius(0.25, 1120.0, mean, 34.0, 14.0) - 56.057).abs() < 6e-4);
    }

    #[test]
    fn table_of_colours_comes_out() {
        // Computed beforehand in scipy with the sky at 0.0552 T^1.5 and emittance 0.9, whole
        // degrees. Columns 1 and 4 are calm air, whose film follows from the difference itself:
        // h = 1.52 (T - Ta)^(1/3), free convection over a warm plate (common practice, no
        // source); 2 and 3 are h = 10 and 20. Measurements quoted from *Soaring*, September 1975,
        // at 38 degC: white 66 degC, black just over 104 degC; the last column ends at 101.
        let table = [
            (0.2, [67.0, 61.0, 57.0, 53.0]),
            (0.3, [75.0, 67.0, 61.0, 61.0]),
            (0.4, [82.0, 73.0, 65.0, 68.0]),
            (0.5, [89.0, 79.0, 69.0, 75.0]),
            (0.6, [96.0, 85.0, 73.0, 81.0]),
            (0.7, [102.0, 91.0, 77.0, 87.0]),
            (0.8, [108.0, 96.0, 80.0, 93.0]),
            (0.95, [116.0, 105.0, 86.0, 101.0]),
        ];
        let days = [
            (49.0, 1120.0, None),
            (49.0, 1120.0, Some(10.0)),
            (49.0, 1120.0, Some(20.0)),
            (38.0, 1000.0, None),
        ];
        for (a, row) in table {
            for ((air, g, film), expected) in days.into_iter().zip(row) {
                let sky = default_sky(air + ZERO).unwrap() - ZERO;
                let got = match film {
                    Some(h) => celsius(a, g, air, sky, h),
                    None => {
                        let (mut low, mut high) = (air, 200.0);
                        for _ in 0..60 {
                            let t: f64 = 0.5 * (low + high);
                            let hotter = celsius(a, g, air, sky, 1.52 * (t - air).cbrt()) > t;
                            if hotter { low = t } else { high = t }
                        }
                        high
                    }
                };
                assert!((got - expected).abs() <= 0.51, "{a} at {air}, {film:?}: {got} against {expected}");
            }
        }
    }

    #[test]
    fn night_blue_runs_as_hot_as_the_story_says() {
        // An expert's figures for the invented example, to 0.1 K: climate 43 degC, 1120 W/m2, sky
        // 25 degC, wind 1 m/s on the ramp, 2 m/s under load.
        for (a, structural, ramp) in [(0.30, 54.4, 57.0), (0.45, 62.5, 66.8), (0.90, 85.6, 94.0)] {
            for (wind, expected) in [(2.0, structural), (1.0, ramp)] {
                let got = skin_temperature(Balance {
                    absorptance: a,
                    emittance: 0.90,
                    irradiance: 1120.0,
                    ambient: 43.0 + ZERO,
                    sky: 25.0 + ZERO,
                    wind,
                });
                let got = got.unwrap() - ZERO;
                assert!((got - expected).abs() <= 0.05, "{a} at {wind} m/s: {got} against {expected}");
            }
        }
    }

    #[test]
    fn one_path_alone_has_its_closed_form() {
        // No radiation: T = Ta + a G/h. No film: T^4 = Tsky^4 + a G/(e s).
        let by_air = surface_temperature(0.5, 0.0, 1000.0, 300.0, 250.0, 20.0).unwrap();
        assert!((by_air - 325.0).abs() < 1e-10);
        let by_sky = surface_temperature(0.5, 0.8, 1000.0, 300.0, 250.0, 0.0).unwrap();
        let expected = (250f64.powi(4) + 500.0 / (0.8 * STEFAN_BOLTZMANN)).powf(0.25);
        assert!((by_sky - expected).abs() < 1e-10);
        // Dark, sky as warm as the air: the air's temperature.
        assert!((surface_temperature(0.5, 0.8, 0.0, 300.0, 300.0, 5.0).unwrap() - 300.0).abs() < 1e-10);
        assert_eq!(surface_temperature(0.0, 0.0, 900.0, 300.0, 250.0, 0.0), Ok(300.0));
        assert_eq!(surface_temperature(0.1, 0.0, 900.0, 300.0, 250.0, 0.0), Err(FinishError::NothingCools));
    }

    #[test]
    fn colour_limit_says_none_or_any_where_it_must() {
        assert_eq!(colour_limit(310.0, 0.9, 1120.0, 320.0, 320.0, 10.0), Ok(ColourLimit::None));
        assert_eq!(colour_limit(500.0, 0.9, 1120.0, 320.0, 320.0, 10.0), Ok(ColourLimit::Any));
        // Closed form without radiation: a = h (T - Ta)/G.
        assert_eq!(colour_limit(350.0, 0.0, 1000.0, 300.0, 250.0, 10.0), Ok(ColourLimit::UpTo(0.5)));
        assert_eq!(colour_limit(300.0, 0.0, 0.0, 300.0, 250.0, 10.0), Ok(ColourLimit::Any));
    }

    #[test]
    fn bad_arguments_are_refused() {
        for bad in [f64::NAN, f64::INFINITY, -1.0] {
            assert!(surface_temperature(bad, 0.9, 1000.0, 300.0, 290.0, 10.0).is_err());
            assert!(surface_temperature(0.5, bad, 1000.0, 300.0, 290.0, 10.0).is_err());
            assert!(surface_temperature(0.5, 0.9, bad, 300.0, 290.0, 10.0).is_err());
            assert!(surface_temperature(0.5, 0.9, 1000.0, bad, 290.0, 10.0).is_err());
            assert!(surface_temperature(0.5, 0.9, 1000.0, 300.0, bad, 10.0).is_err());
            assert!(surface_temperature(0.5, 0.9, 1000.0, 300.0, 290.0, bad).is_err());
            assert!(colour_limit(bad, 0.9, 1000.0, 300.0, 290.0, 10.0).is_err());
            assert!(film_coefficient(bad).is_err());
            assert!(default_sky(bad).is_err());
        }
        for next_to_none in [1e-300, 1e-310] {
            let t = surface_temperature(0.5, next_to_none, 1000.0, 300.0, 290.0, next_to_none);
            assert_eq!(t, Err(FinishError::NothingCools));
        }
        assert!(surface_temperature(1.01, 0.9, 1000.0, 300.0, 290.0, 10.0).is_err());
    }

    proptest! {
        #[test]
        fn the_balance_closes_and_the_colour_limit_undoes_it(
            a in 0.0..1.0, e in 0.0..1.0, g in 1.0..1e5, air in 0.0..1999.0, sky in 0.0..1999.0, h in 0.01..1e4,
        ) {
            let t = surface_temperature(a, e, g, air, sky, h).unwrap();
            let losses = Losses::new(e, air, sky, h).unwrap();
            let size = a * g + h * air.max(t) + losses.radiance * sky.max(t).powi(4);
            prop_assert!((losses.at(t) - a * g).abs() <= 1e-11 * size);
            if t < HOTTEST {
                match colour_limit(t, e, g, air, sky, h).unwrap() {
                    ColourLimit::UpTo(limit) => prop_assert!((limit - a).abs() <= 1e-11 * size / g),
                    ColourLimit::None => prop_assert!(a * g <= 1e-11 * size),
                    ColourLimit::Any => prop_assert!((1.0 - a) * g <= 1e-11 * size),
                }
            }
        }
    }
}
