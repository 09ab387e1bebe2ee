//! Coats of paint: film and areal mass.

use super::{FinishError, within};

// A film of a metre, or one denser than any metal, is a slip of units.
const THICKEST: f64 = 1.0;
const DENSEST: f64 = 3e4;

/// One coat, from the laminate outward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coat {
    /// Dry film as applied, m.
    pub dry_film: f64,
    /// Its low limit, m; the nominal where none is known.
    pub low: f64,
    /// Its high limit, m; the nominal where none is known.
    pub high: f64,
    /// Film sanded or polished off again, m.
    pub removed: f64,
    /// Its low limit, m.
    pub removed_low: f64,
    /// Its high limit, m.
    pub removed_high: f64,
    /// Density of the dry film, kg/m3.
    pub dry_density: f64,
}

/// What the coats of one face add up to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Build {
    /// Film that stays, nominal, m.
    pub total: f64,
    /// Most film that limits and repaint allow, m.
    pub max: f64,
    /// Areal mass of the film that stays, nominal, kg/m2; repaint is not in it.
    pub areal_mass: f64,
}

/// Returns film and areal mass of the coats of one face.
///
/// `repaint_high` is the most film that repair may add, in m; 0 where none is allowed. No coats
/// give a build of zero.
///
/// # Errors
/// [`FinishError::OutOfRange`] for a film, density or repaint that is negative, absurd or not a
/// number; [`FinishError::Limits`] for limits that do not enclose their nominal.
///
/// # Source
/// total = sum max(0, dry - removed); max = sum max(0, high dry - low removed) + repaint;
/// mass = sum max(0, dry - removed) density. 1 um of density 1000 kg/m3 weighs 1 g/m2.
pub fn build(coats: &[Coat], repaint_high: f64) -> Result<Build, FinishError> {
    let repaint = within("the repaint film", repaint_high, 0.0, THICKEST, "m")?;
    let mut sum = Build { total: 0.0, max: repaint, areal_mass: 0.0 };
    for (place, coat) in coats.iter().enumerate() {
        check(place + 1, coat)?;
        let stays = (coat.dry_film - coat.removed).max(0.0);
        sum.total += stays;
        sum.max += (coat.high - coat.removed_low).max(0.0);
        sum.areal_mass += stays * coat.dry_density;
    }
    Ok(sum)
}

fn check(place: usize, coat: &Coat) -> Result<(), FinishError> {
    for (what, nominal, low, high) in [
        ("dry film", coat.dry_film, coat.low, coat.high),
        ("removed film", coat.removed, coat.removed_low, coat.removed_high),
    ] {
        for value in [nominal, low, high] {
            within(what, value, 0.0, THICKEST, "m")?;
        }
        if low > nominal || nominal > high {
            return Err(FinishError::Limits { coat: place, what, nominal, low, high });
        }
    }
    within("the density of the dry film", coat.dry_density, 0.0, DENSEST, "kg/m3").map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;

    const UM: f64 = 1e-6;

    fn coat(film: [f64; 3], removed: [f64; 3], dry_density: f64) -> Coat {
        let [dry_film, low, high] = film.map(|v| v * UM);
        let [removed, removed_low, removed_high] = removed.map(|v| v * UM);
        Coat { dry_film, low, high, removed, removed_low, removed_high, dry_density }
    }

    #[test]
    fn four_coats_add_up_by_hand() {
        // The finish of the design, added up on paper: filler 40 (0 .. 80) less 25, primer 25 +/-
        // 8, base 20 +/- 5, clear 45 +/- 10 less 5; repaint 60. Densities invented.
        let coats = [
            coat([40.0, 0.0, 80.0], [25.0, 25.0, 25.0], 700.0),
            coat([25.0, 17.0, 33.0], [0.0; 3], 1700.0),
            coat([20.0, 15.0, 25.0], [0.0; 3], 1300.0),
            coat([45.0, 35.0, 55.0], [5.0; 3], 1150.0),
        ];
        let got = build(&coats, 60.0 * UM).unwrap();
        assert!((got.total / UM - 100.0).abs() < 1e-9);
        assert!((got.max / UM - (55.0 + 33.0 + 25.0 + 50.0 + 60.0)).abs() < 1e-9);
        // g/m2: 15 x 0.7 + 25 x 1.7 + 20 x 1.3 + 40 x 1.15 = 125.0
        assert!((got.areal_mass - 0.125).abs() < 1e-12);
    }

    #[test]
    fn limits_of_what_is_removed_count_too() {
        let got = build(&[coat([40.0, 30.0, 50.0], [25.0, 10.0, 30.0], 1000.0)], 0.0).unwrap();
        assert!((got.total / UM - 15.0).abs() < 1e-9);
        assert!((got.max / UM - 40.0).abs() < 1e-9);
    }

    #[test]
    fn a_coat_sanded_through_weighs_nothing_and_takes_from_no_other() {
        let gone = coat([20.0; 3], [30.0; 3], 1500.0);
        let kept = coat([10.0; 3], [0.0; 3], 1000.0);
        let got = build(&[gone, kept], 0.0).unwrap();
        assert!((got.total / UM - 10.0).abs() < 1e-9 && (got.max / UM - 10.0).abs() < 1e-9);
        assert!((got.areal_mass - 0.010).abs() < 1e-12);
        assert_eq!(build(&[], 0.0), Ok(Build { total: 0.0, max: 0.0, areal_mass: 0.0 }));
    }

    #[test]
    fn bad_coats_are_refused() {
        let good = coat([20.0, 15.0, 25.0], [0.0; 3], 1200.0);
        for bad in [
            Coat { dry_film: f64::NAN, ..good },
            Coat { high: f64::INFINITY, ..good },
            Coat { dry_density: -1.0, ..good },
            Coat { removed: -1e-6, ..good },
            Coat { low: 21.0 * UM, ..good },
            Coat { high: 19.0 * UM, ..good },
        ] {
            assert!(build(&[good, bad], 0.0).is_err(), "{bad:?}");
        }
        assert!(build(&[good], f64::NAN).is_err());
        let crossed = Coat { high: 19.0 * UM, ..good };
        assert!(matches!(build(&[good, crossed], 0.0), Err(FinishError::Limits { coat: 2, .. })));
    }
}
