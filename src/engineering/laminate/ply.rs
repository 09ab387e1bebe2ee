//! One cured ply of fibre and resin, from prepreg or from dry fabric.

use super::{LaminateError, areal, density, thickness, within};

/// What a ply is made of; the same for prepreg and for dry fabric with its resin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constituents {
    /// Mass of fibre per area, kg/m2; above 0.
    pub fibre_areal: f64,
    /// Mass fraction of resin in fibre and resin together, 0 to below 1, before any bleed.
    pub resin_content: f64,
    /// Density of the fibre, kg/m3.
    pub fibre_density: f64,
    /// Density of the cured resin, kg/m3.
    pub resin_density: f64,
}

/// One cured ply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ply {
    /// Mass of fibre and resin per area after any bleed, kg/m2.
    pub areal_mass: f64,
    /// Resin in it, kg/m2.
    pub resin_areal: f64,
    /// Cured thickness, m.
    pub thickness: f64,
    /// Fibre volume over ply volume, voids included in the latter.
    pub fibre_volume: f64,
}

impl Ply {
    /// Returns the density of the cured ply, kg/m3.
    pub fn density(&self) -> f64 {
        self.areal_mass / self.thickness
    }

    /// Returns the mass fraction of resin after any bleed.
    pub fn resin_content(&self) -> f64 {
        self.resin_areal / self.areal_mass
    }
}

/// Returns areal mass, cured thickness and fibre volume fraction of a ply.
///
/// # Arguments
/// * `of` – the constituents
/// * `bleed` – resin bled off this ply, kg/m2; see [`bleed_share`]
/// * `voids` – volume fraction of voids, 0 to below 1
///
/// # Errors
/// [`LaminateError::OutOfRange`]; [`LaminateError::BledDry`] where more resin is bled off than
/// the ply brings.
///
/// # Source
/// Rule of volumes: areal mass = F/(1 - w) - bleed, thickness = (F/rho_f + R/rho_r)/(1 - v),
/// V_f = F/(rho_f t), with F the fibre and R the resin per area; SAE CMH-17 / MIL-HDBK-17-3F (from
/// memory).
pub fn ply(of: &Constituents, bleed: f64, voids: f64) -> Result<Ply, LaminateError> {
    check(of)?;
    let bleed = areal("the bleed", bleed)?;
    let voids = fraction("the void content", voids)?;
    let brought = of.fibre_areal * of.resin_content / (1.0 - of.resin_content);
    if bleed > brought {
        return Err(LaminateError::BledDry { bleed, resin: brought });
    }
    let resin = brought - bleed;
    let solid = of.fibre_areal / of.fibre_density + resin / of.resin_density;
    Ok(Ply {
        areal_mass: of.fibre_areal + resin,
        resin_areal: resin,
        thickness: thickness("the ply's thickness", solid / (1.0 - voids))?,
        fibre_volume: of.fibre_areal / of.fibre_density / (solid / (1.0 - voids)),
    })
}

/// Returns a ply of known fibre volume fraction.
///
/// `of.resin_content` is not used: it follows.
///
/// # Arguments
/// * `fibre_volume` – fibre volume over ply volume, above 0
/// * `voids` – volume fraction of voids; the two may not exceed 1 together
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// t = F/(rho_f V_f), resin volume fraction 1 - V_f - v; as [`ply`].
pub fn ply_at_fibre_volume(of: &Constituents, fibre_volume: f64, voids: f64) -> Result<Ply, LaminateError> {
    check(&Constituents { resin_content: 0.0, ..*of })?;
    let fits = (1e-6..=1.0).contains(&fibre_volume);
    within("the fibre volume fraction", fibre_volume, fits, "above 0 and at most 1", "")?;
    fraction("the void content", voids)?;
    let resin_volume = 1.0 - fibre_volume - voids;
    within("the resin volume fraction", resin_volume, resin_volume >= 0.0, "0 or more", "")?;
    let thickness = thickness("the ply's thickness", of.fibre_areal / (of.fibre_density * fibre_volume))?;
    let resin_areal = thickness * resin_volume * of.resin_density;
    Ok(Ply { areal_mass: of.fibre_areal + resin_areal, resin_areal, thickness, fibre_volume })
}

/// Returns the mass fraction of resin that gives `fibre_volume` without voids.
///
/// # Errors
/// As [`ply_at_fibre_volume`].
///
/// # Source
/// w = (1 - V_f) rho_r / [(1 - V_f) rho_r + V_f rho_f]; as [`ply`].
pub fn resin_content_at(
    fibre_volume: f64,
    fibre_density: f64,
    resin_density: f64,
) -> Result<f64, LaminateError> {
    // The fraction does not depend on how much fibre there is.
    let any = Constituents { fibre_areal: 1.0, resin_content: 0.0, fibre_density, resin_density };
    Ok(ply_at_fibre_volume(&any, fibre_volume, 0.0)?.resin_content())
}

/// Volume fractions of a ply at a stated thickness.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtThickness {
    /// Fibre volume over ply volume; above 1 where the thickness cannot hold the fibre.
    pub fibre_volume: f64,
    /// Resin volume over ply volume.
    pub resin_volume: f64,
    /// What is left for voids; negative where the thickness cannot hold fibre and resin.
    pub voids: f64,
}

/// Returns the volume fractions of a ply whose cured thickness is stated or measured.
///
/// It refuses no thickness that disagrees with the constituents: `voids` far from the few per
/// cent that a process leaves says so, and the caller judges.
///
/// # Arguments
/// * `of` – the constituents
/// * `bleed` – resin bled off this ply, kg/m2
/// * `cured` – its thickness, m
///
/// # Errors
/// As [`ply`].
///
/// # Source
/// As [`ply`].
pub fn at_thickness(of: &Constituents, bleed: f64, cured: f64) -> Result<AtThickness, LaminateError> {
    let made = ply(of, bleed, 0.0)?;
    let cured = thickness("the cured thickness", cured)?;
    let fibre_volume = of.fibre_areal / (of.fibre_density * cured);
    let resin_volume = made.resin_areal / (of.resin_density * cured);
    Ok(AtThickness { fibre_volume, resin_volume, voids: 1.0 - fibre_volume - resin_volume })
}

/// Returns how much resin each of `plies` prepreg plies loses of what the whole laminate bleeds,
/// in kg/m2.
///
/// # Errors
/// [`LaminateError::OutOfRange`] for a bleed that is negative or not a number;
/// [`LaminateError::NothingToBleed`] for a bleed without plies.
///
/// # Source
/// The project's own convention: the plies share the bleed equally.
pub fn bleed_share(laminate_bleed: f64, plies: usize) -> Result<f64, LaminateError> {
    let bleed = areal("the bleed", laminate_bleed)?;
    match plies {
        0 if bleed > 0.0 => Err(LaminateError::NothingToBleed),
        0 => Ok(0.0),
        _ => Ok(bleed / plies as f64),
    }
}

fn check(of: &Constituents) -> Result<(), LaminateError> {
    areal("the fibre's areal mass", of.fibre_areal)?;
    let fits = of.fibre_areal >= 1e-6;
    within("the fibre's areal mass", of.fibre_areal, fits, "0.000 001 or more", "kg/m2")?;
    fraction("the resin content", of.resin_content)?;
    density("the fibre's density", of.fibre_density)?;
    density("the resin's density", of.resin_density)?;
    Ok(())
}

fn fraction(what: &'static str, value: f64) -> Result<f64, LaminateError> {
    within(what, value, (0.0..1.0).contains(&value), "from 0 to below 1", "")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(got: f64, expected: f64, tolerance: f64) {
        assert!((got - expected).abs() <= tolerance, "{got} against {expected}");
    }

    fn prepreg(fibre_density: f64) -> Constituents {
        Constituents { fibre_areal: 0.134, resin_content: 0.35, fibre_density, resin_density: 1300.0 }
    }

    #[test]
    fn two_prepregs_of_a_published_data_sheet_come_out() {
        // Hexcel, HexPly 8552 product data sheet (35 %, 134 g/m2; IM7, then AS4): 0.131 mm, 57.70 %,
        // 1.57 g/cm3 and 0.130 mm, 57.42 %, 1.58 g/cm3; beside them numpy's figures.
        for (fibre, t, sheet_t, vf, sheet_vf, rho, sheet_rho) in [
            (1770.0, 0.13121, 0.131, 57.699, 57.70, 1571.2, 1570.0),
            (1790.0, 0.13036, 0.130, 57.424, 57.42, 1581.4, 1580.0),
        ] {
            let got = ply(&prepreg(fibre), 0.0, 0.0).unwrap();
            close(got.areal_mass, 0.206154, 6e-7);
            close(got.thickness * 1e3, t, 6e-6);
            close(got.thickness * 1e3, sheet_t, 5e-4);
            close(got.fibre_volume * 100.0, vf, 6e-4);
            close(got.fibre_volume * 100.0, sheet_vf, 0.01);
            close(got.density(), rho, 0.06);
            close(got.density(), sheet_rho, 5.0);
        }
    }

    #[test]
    fn voids_thicken_a_ply_and_weigh_nothing() {
        // numpy, on the first prepreg above.
        let got = ply(&prepreg(1770.0), 0.0, 0.01).unwrap();
        close(got.thickness * 1e3, 0.132535, 6e-7);
        close(got.fibre_volume, 0.571219, 6e-7);
        close(got.density(), 1555.47, 6e-3);
        close(got.areal_mass, ply(&prepreg(1770.0), 0.0, 0.0).unwrap().areal_mass, 0.0);
    }

    #[test]
    fn a_ply_follows_from_its_fibre_volume() {
        // numpy: 190 g/m2, V_f 0.577, 1.77 and 1.30 g/cm3.
        let of = Constituents { fibre_areal: 0.190, ..prepreg(1770.0) };
        let got = ply_at_fibre_volume(&of, 0.577, 0.0).unwrap();
        close(got.thickness * 1e3, 0.186039, 6e-7);
        close(got.resin_areal * 1e3, 102.3030, 6e-5);
        close(got.resin_content(), 0.349989, 6e-7);
        close(resin_content_at(0.577, 1770.0, 1300.0).unwrap(), 0.349989, 6e-7);
    }

    #[test]
    fn bleed_takes_resin_and_thickness_off() {
        // Closed form: 134 g/m2 at 35 % brings 72.1538 g/m2; 12 g/m2 off six plies is 2 each.
        let share = bleed_share(0.012, 6).unwrap();
        close(share, 0.002, 1e-18);
        let (before, after) = (ply(&prepreg(1770.0), 0.0, 0.0), ply(&prepreg(1770.0), share, 0.0));
        let (before, after) = (before.unwrap(), after.unwrap());
        close(before.resin_areal, 0.0721538, 6e-8);
        close(before.areal_mass - after.areal_mass, 0.002, 1e-15);
        close(before.thickness - after.thickness, 0.002 / 1300.0, 1e-15);
        assert!(matches!(ply(&prepreg(1770.0), 0.08, 0.0), Err(LaminateError::BledDry { .. })));
        assert_eq!(bleed_share(0.0, 0), Ok(0.0));
        assert_eq!(bleed_share(0.01, 0), Err(LaminateError::NothingToBleed));
    }

    #[test]
    fn a_stated_thickness_shows_what_is_left_for_voids() {
        let made = ply(&prepreg(1770.0), 0.0, 0.0).unwrap();
        let own = at_thickness(&prepreg(1770.0), 0.0, made.thickness).unwrap();
        close(own.voids, 0.0, 1e-15);
        close(own.fibre_volume, made.fibre_volume, 1e-15);
        close(at_thickness(&prepreg(1770.0), 0.0, made.thickness / 0.99).unwrap().voids, 0.01, 1e-15);
        assert!(at_thickness(&prepreg(1770.0), 0.0, 0.9 * made.thickness).unwrap().voids < -0.1);
    }

    #[test]
    fn bad_arguments_are_refused() {
        let good = prepreg(1770.0);
        for bad in [
            Constituents { fibre_areal: 0.0, ..good },
            Constituents { fibre_areal: f64::NAN, ..good },
            Constituents { resin_content: 1.0, ..good },
            Constituents { resin_content: -0.1, ..good },
            Constituents { fibre_density: 0.0, ..good },
            Constituents { resin_density: f64::INFINITY, ..good },
        ] {
            assert!(ply(&bad, 0.0, 0.0).is_err(), "{bad:?}");
            assert!(at_thickness(&bad, 0.0, 1e-4).is_err(), "{bad:?}");
        }
        for bad in [f64::NAN, -0.1, f64::INFINITY] {
            assert!(ply(&good, bad, 0.0).is_err());
            assert!(ply(&good, 0.0, bad).is_err());
            assert!(at_thickness(&good, 0.0, bad).is_err());
            assert!(ply_at_fibre_volume(&good, bad, 0.0).is_err());
            assert!(bleed_share(bad, 3).is_err());
        }
        assert!(ply(&good, 0.0, 1.0).is_err());
        assert!(ply_at_fibre_volume(&good, 0.0, 0.0).is_err());
        assert!(ply_at_fibre_volume(&good, 0.7, 0.4).is_err());
    }

    proptest! {
        #[test]
        fn content_and_fibre_volume_lead_to_one_ply(
            fibre_areal in 0.01..2.0, resin_content in 0.05..0.9, fibre_density in 900.0..3000.0,
            resin_density in 900.0..2000.0, voids in 0.0..0.1,
        ) {
            let of = Constituents { fibre_areal, resin_content, fibre_density, resin_density };
            let one = ply(&of, 0.0, voids).unwrap();
            let two = ply_at_fibre_volume(&of, one.fibre_volume, voids).unwrap();
            prop_assert!((two.areal_mass / one.areal_mass - 1.0).abs() < 1e-12);
            prop_assert!((two.thickness / one.thickness - 1.0).abs() < 1e-12);
            prop_assert!((one.resin_content() - resin_content).abs() < 1e-12);
        }
    }
}
