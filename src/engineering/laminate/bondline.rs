//! Shear in a bond by shear lag: unlike expansion of sheet and frame, and lap joints under load.
//!
//! Both adherends strain in one direction only, the adhesive is sheared only, both stay elastic.
//! Peel, bending from the step between the mid-lines, yielding and creep of the adhesive are left
//! out: a stiff bond's peak is worse with peel, a ductile bond's is better. An engineering aid, not
//! approved data.

use super::{LaminateError, thickness, within};

/// What a bond holds: a strip of sheet or laminate, per width across the direction of strain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adherend {
    /// Force per width and strain, E t, N/m.
    pub stiffness: f64,
    /// Thickness over which its force becomes stress, m.
    pub thickness: f64,
}

impl Adherend {
    /// Returns a strip that is free to strain across (plane stress): E t.
    ///
    /// # Arguments
    /// * `e` – modulus along the bond at temperature, Pa; of a laminate 1/(a11 t)
    /// * `t` – thickness, m
    pub fn strip(e: f64, t: f64) -> Adherend {
        Adherend { stiffness: e * t, thickness: t }
    }

    /// Returns a strip so wide that it cannot strain across: E t/(1 - nu2).
    ///
    /// # Arguments
    /// * `e` – modulus, Pa
    /// * `nu` – Poisson's ratio, -1 to 0.5
    /// * `t` – thickness, m
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] for Poisson's ratio.
    pub fn wide(e: f64, nu: f64, t: f64) -> Result<Adherend, LaminateError> {
        let fits = nu > -1.0 && nu <= 0.5;
        let nu = within("Poisson's ratio", nu, fits, "above -1 to 0.5", "")?;
        Ok(Adherend { stiffness: e * t / (1.0 - nu * nu), thickness: t })
    }

    fn check(&self, what: &'static str) -> Result<(), LaminateError> {
        let fits = (1.0..=1e13).contains(&self.stiffness);
        within(what, self.stiffness, fits, "1 to 1e13", "N/m")?;
        thickness("the adherend's thickness", self.thickness).map(|_| ())
    }
}

/// A layer of adhesive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adhesive {
    /// Shear modulus at temperature, Pa.
    pub g: f64,
    /// Thickness of the layer, m.
    pub thickness: f64,
}

/// Returns how much longer the sheet would be than the frame if the bond let go, as a strain.
///
/// # Arguments
/// * `sheet`, `frame` – coefficients of thermal expansion, 1/K
/// * `rise` – temperature above that at which the bond set, K; negative in the cold
/// * `swelling` – a further free strain of the sheet beyond the frame's, as from moisture; 0 without
///
/// # Source
/// Sum of free strains.
pub fn free_strain(sheet: f64, frame: f64, rise: f64, swelling: f64) -> f64 {
    (sheet - frame) * rise + swelling
}

/// The bond between a sheet and a frame of unlike expansion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mismatch {
    /// How fast the shear dies away from the ends, omega, 1/m.
    pub omega: f64,
    /// Greatest shear stress, at the two ends, Pa; without sign.
    pub peak_shear: f64,
    /// The same in an endless bond: no length makes it greater, Pa.
    pub long_shear: f64,
    /// Shear strain of an adhesive that holds back nothing, the limit for a soft bond: strain L/(2 t).
    pub free_shear_strain: f64,
    /// Force in the middle of the sheet per width, N/m, tension positive; the frame has the opposite.
    pub middle_force: f64,
    /// Mean stress in the middle of the sheet, Pa, tension positive.
    pub sheet_stress: f64,
    /// Mean stress in the middle of the frame, Pa, tension positive.
    pub frame_stress: f64,
    length: f64,
    strain: f64,
}

/// Strength over stress; 1 is at the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BondReserves {
    /// Of the adhesive in shear; none where it bears no shear.
    pub bond: Option<f64>,
    /// Of the sheet against crazing; none where it is not in tension.
    pub sheet: Option<f64>,
}

/// Returns shear in a bond, and forces in sheet and frame, from their unlike expansion.
///
/// # Arguments
/// * `sheet`, `frame` – the adherends, at temperature
/// * `adhesive` – the bond, at temperature
/// * `length` – of the bond, m
/// * `strain` – free strain of the sheet beyond the frame's; see [`free_strain`]
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// Shear lag: omega2 = (G/t)(1/(E1 t1) + 1/(E2 t2)); tau(x) = strain G/(t omega) sinh(omega x)/
/// cosh(omega L/2), greatest at the ends; middle force = strain/(1/(E1 t1) + 1/(E2 t2)) (1 -
/// 1/cosh(omega L/2)). O. Volkersen 1938; L. J. Hart-Smith, NASA CR-112236, 1973 (from memory).
///
/// # Example
/// One metre of 5 mm sheet (E = 3 GPa) on 2 mm laminate (50 GPa), 60 K warmer, an elastic joint of
/// 5 mm with G = 1 MPa. All values invented.
///
/// ```
/// use bondline_engineering::laminate::{Adherend, Adhesive, free_strain, mismatch_shear};
/// let (sheet, frame) = (Adherend::strip(3e9, 0.005), Adherend::strip(50e9, 0.002));
/// let soft = Adhesive { g: 1e6, thickness: 0.005 };
/// let strain = free_strain(70e-6, 3e-6, 60.0, 0.0);
/// let bond = mismatch_shear(&sheet, &frame, &soft, 1.0, strain)?;
/// assert!((bond.peak_shear - 0.20e6).abs() < 0.005e6); // Pa
/// assert!(bond.sheet_stress < 0.0); // warm: the sheet is pressed
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn mismatch_shear(
    sheet: &Adherend,
    frame: &Adherend,
    adhesive: &Adhesive,
    length: f64,
    strain: f64,
) -> Result<Mismatch, LaminateError> {
    let omega = omega(sheet, frame, adhesive, length)?;
    let strain = within("the free strain", strain, (-0.5..=0.5).contains(&strain), "-0.5 to 0.5", "")?;
    let half = omega * length / 2.0;
    let long_shear = strain.abs() * adhesive.g / (adhesive.thickness * omega);
    // 1 - 1/cosh u = tanh u tanh(u/2), which keeps its digits in a short bond.
    let held = half.tanh() * (half / 2.0).tanh();
    let middle_force = -strain * held / (1.0 / sheet.stiffness + 1.0 / frame.stiffness);
    Ok(Mismatch {
        omega,
        peak_shear: long_shear * half.tanh(),
        long_shear,
        free_shear_strain: strain.abs() * length / (2.0 * adhesive.thickness),
        middle_force,
        sheet_stress: middle_force / sheet.thickness,
        frame_stress: -middle_force / frame.thickness,
        length,
        strain,
    })
}

impl Mismatch {
    /// Returns the shear stress at `x` from the middle of the bond, Pa; positive where the sheet
    /// draws the frame towards +x.
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] beyond the ends.
    pub fn shear_at(&self, x: f64) -> Result<f64, LaminateError> {
        let x = along(x, self.length)?;
        let (far, half) = (self.omega * x.abs(), self.omega * self.length / 2.0);
        // sinh far/cosh half without either growing out of bounds.
        let share = (far - half).exp() * -(-2.0 * far).exp_m1() / (1.0 + (-2.0 * half).exp());
        Ok(self.long_shear * share * x.signum() * self.strain.signum())
    }

    /// Returns strength over stress of the adhesive in shear and of the sheet against crazing.
    ///
    /// # Arguments
    /// * `shear_strength` – of the adhesive at temperature, Pa
    /// * `craze_stress` – tension that the sheet bears for as long as the mismatch lasts, Pa
    ///
    /// The sheet's is of its mean stress in the middle: bending and what the flight adds come on top.
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`].
    pub fn reserves(&self, shear_strength: f64, craze_stress: f64) -> Result<BondReserves, LaminateError> {
        let strength =
            |what, value: f64| within(what, value, (1.0..=1e11).contains(&value), "1 to 1e11", "Pa");
        let (bond, craze) = (
            strength("the adhesive's shear strength", shear_strength)?,
            strength("the sheet's craze stress", craze_stress)?,
        );
        // Below a pascal there is no stress to speak of, and no factor that would mean anything.
        let over = |limit: f64, stress: f64| if stress >= 1.0 { Some(limit / stress) } else { None };
        Ok(BondReserves { bond: over(bond, self.peak_shear), sheet: over(craze, self.sheet_stress) })
    }
}

/// A lap joint under load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lap {
    /// How fast the shear dies away from the ends, omega, 1/m.
    pub omega: f64,
    /// Mean shear stress, load over length, Pa.
    pub mean: f64,
    /// Shear stress at the end where the first adherend comes in loaded, Pa.
    pub at_first: f64,
    /// Shear stress at the end where the second adherend goes out loaded, Pa.
    pub at_second: f64,
    /// The greater of both over the mean.
    pub concentration: f64,
    length: f64,
    // (S2 - S1)/(S1 + S2): 0 for a balanced joint.
    unlike: f64,
}

/// Returns the shear stress in a lap joint.
///
/// # Arguments
/// * `first`, `second` – the adherends, at temperature
/// * `adhesive` – the bond, at temperature
/// * `length` – overlap, m
/// * `load` – force per width, N/m
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// O. Volkersen, Luftfahrtforschung 15, 1938 (from memory): at the ends mean (omega L/2) [coth(omega
/// L/2) +- (S2 - S1)/(S1 + S2) tanh(omega L/2)], S = E t. The more yielding adherend's loaded end is
/// the worse. Without the bending of a single lap.
///
/// # Example
/// ```
/// use bondline_engineering::laminate::{Adherend, Adhesive, lap_shear};
/// let plate = Adherend::strip(70e9, 0.0016);
/// let joint = lap_shear(&plate, &plate, &Adhesive { g: 1e9, thickness: 0.0002 }, 0.0127, 1e5)?;
/// assert!((joint.mean - 7.874e6).abs() < 1e3); // Pa
/// assert!((joint.concentration - 1.985).abs() < 1e-3);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn lap_shear(
    first: &Adherend,
    second: &Adherend,
    adhesive: &Adhesive,
    length: f64,
    load: f64,
) -> Result<Lap, LaminateError> {
    let omega = omega(first, second, adhesive, length)?;
    let load = within("the load", load, (-1e12..=1e12).contains(&load), "-1e12 to 1e12", "N/m")?;
    let half = omega * length / 2.0;
    let mean = load / length;
    let unlike = (second.stiffness - first.stiffness) / (first.stiffness + second.stiffness);
    let (even, odd) = (half / half.tanh(), half * half.tanh() * unlike);
    Ok(Lap {
        omega,
        mean,
        at_first: mean * (even + odd),
        at_second: mean * (even - odd),
        concentration: even + odd.abs(),
        length,
        unlike,
    })
}

impl Lap {
    /// Returns the shear stress at `x` from the middle, Pa; negative `x` lies towards the end where the
    /// first adherend comes in loaded.
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] beyond the ends.
    pub fn shear_at(&self, x: f64) -> Result<f64, LaminateError> {
        let x = along(x, self.length)?;
        let (far, half) = (self.omega * x.abs(), self.omega * self.length / 2.0);
        let (grown, twice) = ((far - half).exp(), (-2.0 * half).exp());
        let even = grown * (1.0 + (-2.0 * far).exp()) / -(-2.0 * half).exp_m1();
        let odd = grown * -(-2.0 * far).exp_m1() / (1.0 + twice);
        Ok(self.mean * half * (even - self.unlike * odd * x.signum()))
    }
}

fn omega(one: &Adherend, other: &Adherend, adhesive: &Adhesive, length: f64) -> Result<f64, LaminateError> {
    one.check("the first adherend's stiffness")?;
    other.check("the second adherend's stiffness")?;
    let g = within(
        "the adhesive's shear modulus",
        adhesive.g,
        (1.0..=1e12).contains(&adhesive.g),
        "1 to 1e12",
        "Pa",
    )?;
    let layer = thickness("the adhesive's thickness", adhesive.thickness)?;
    within("the bond's length", length, (1e-5..=1e3).contains(&length), "10 um to 1 km", "m")?;
    Ok((g / layer * (1.0 / one.stiffness + 1.0 / other.stiffness)).sqrt())
}

fn along(x: f64, length: f64) -> Result<f64, LaminateError> {
    let fits = x.abs() <= length / 2.0 * (1.0 + 1e-12);
    within("the place along the bond", x, fits, "within half the length of the middle", "m")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(got: f64, expected: f64, relative: f64) {
        assert!((got - expected).abs() <= relative * expected.abs(), "{got}, expected {expected}");
    }

    fn case(g: f64, t: f64) -> Mismatch {
        let (sheet, frame) = (Adherend::strip(3e9, 5e-3), Adherend::strip(50e9, 2e-3));
        let strain = free_strain(70e-6, 3e-6, 60.0, 0.0);
        mismatch_shear(&sheet, &frame, &Adhesive { g, thickness: t }, 1.0, strain).unwrap()
    }

    // The trade page's worked figures for 1 m, 5 mm sheet, 2 mm laminate, 60 K: MPa as printed there
    // (calculated there, not published). It gives no moduli of the adherends (3 and 50 GPa here, both in
    // its ranges) and none of the two epoxies (1000 and 800 MPa here).
    #[test]
    fn a_stiff_bond_is_torn_and_a_soft_one_is_not() {
        for (g, t, printed, half_digit) in [
            (1e9, 0.5e-3, 20.0, 1.0),
            (8e8, 2e-3, 9.0, 0.5),
            (1e8, 3e-3, 2.6, 0.06),
            (1e6, 5e-3, 0.20, 0.005),
            (1.5e6, 3e-3, 0.32, 0.005),
        ] {
            let got = case(g, t).peak_shear / 1e6;
            assert!((got - printed).abs() <= half_digit, "{g} {t}: {got}, printed {printed}");
        }
        close(case(1e6, 5e-3).free_shear_strain, 0.40, 0.01);
        close(case(1.5e6, 3e-3).free_shear_strain, 0.67, 0.01);
    }

    #[test]
    fn the_middle_force_is_what_the_shear_adds_up_to() {
        for (g, t) in [(1e9, 0.5e-3), (1e8, 3e-3), (1e6, 5e-3)] {
            let bond = case(g, t);
            let n = 20_000;
            let step = 0.5 / f64::from(n);
            let sum: f64 = (0..n).map(|at| bond.shear_at((f64::from(at) + 0.5) * step).unwrap() * step).sum();
            close(-bond.middle_force, sum, 1e-5);
            close(bond.shear_at(0.5).unwrap(), bond.peak_shear, 1e-12);
            close(bond.shear_at(-0.5).unwrap(), -bond.peak_shear, 1e-12);
            assert!(bond.shear_at(0.0).unwrap() == 0.0);
            assert!(bond.shear_at(0.51).is_err());
            close(bond.sheet_stress * 5e-3, -bond.frame_stress * 2e-3, 1e-12);
        }
    }

    #[test]
    fn only_a_sheet_in_tension_crazes() {
        let warm = case(1e8, 3e-3).reserves(12e6, 7e6).unwrap();
        assert_eq!(warm.sheet, None);
        close(warm.bond.unwrap(), 12.0 / 2.646, 2e-3);
        let (sheet, frame) = (Adherend::strip(3e9, 5e-3), Adherend::strip(50e9, 2e-3));
        let adhesive = Adhesive { g: 1e8, thickness: 3e-3 };
        let cold =
            mismatch_shear(&sheet, &frame, &adhesive, 1.0, free_strain(70e-6, 3e-6, -60.0, 0.0)).unwrap();
        // A long stiff bond holds the sheet at the whole strain, shared by the stiffnesses: by hand.
        close(cold.sheet_stress, 67e-6 * 60.0 * 3e9 * 1e8 / (1e8 + 1.5e7), 1e-6);
        close(cold.reserves(12e6, 7e6).unwrap().sheet.unwrap(), 7e6 / cold.sheet_stress, 1e-12);
        assert!(cold.reserves(0.0, 7e6).is_err() && cold.reserves(12e6, f64::NAN).is_err());
        // Swelling of the sheet undoes the cold.
        assert!(free_strain(70e-6, 3e-6, -60.0, 67e-6 * 60.0).abs() < 1e-18);
        let nothing = mismatch_shear(&sheet, &frame, &adhesive, 1.0, 0.0).unwrap();
        assert_eq!(nothing.reserves(12e6, 7e6).unwrap(), BondReserves { bond: None, sheet: None });
    }

    // Balanced lap as the texts write it, from memory: tau_max/tau_mean = sqrt(D/2) coth sqrt(D/2), D =
    // G L2/(E t t_a). By numpy: D = 7.2004464, 1.8974254 coth 1.8974254 = 1.9847204.
    #[test]
    fn a_balanced_lap_follows_volkersen() {
        let plate = Adherend::strip(70e9, 1.6e-3);
        let adhesive = Adhesive { g: 1e9, thickness: 0.2e-3 };
        let joint = lap_shear(&plate, &plate, &adhesive, 12.7e-3, 1e5).unwrap();
        let u = (1e9 * 12.7e-3_f64.powi(2) / (70e9 * 1.6e-3 * 0.2e-3) / 2.0_f64).sqrt();
        close(joint.concentration, 1.9847203555056372, 1e-12);
        close(joint.at_first, joint.at_second, 1e-12);
        close(joint.shear_at(0.0).unwrap(), joint.mean * u / u.sinh(), 1e-12);
    }

    #[test]
    fn an_unbalanced_lap_is_worst_where_the_weaker_comes_in() {
        let (weak, stiff) = (Adherend::strip(20e9, 2e-3), Adherend::strip(70e9, 2e-3));
        let adhesive = Adhesive { g: 1e9, thickness: 0.3e-3 };
        let joint = lap_shear(&weak, &stiff, &adhesive, 25e-3, 1e5).unwrap();
        assert!(joint.at_first > joint.at_second);
        close(joint.shear_at(-12.5e-3).unwrap(), joint.at_first, 1e-12);
        close(joint.shear_at(12.5e-3).unwrap(), joint.at_second, 1e-12);
        let turned = lap_shear(&stiff, &weak, &adhesive, 25e-3, 1e5).unwrap();
        close(turned.at_second, joint.at_first, 1e-12);
    }

    #[test]
    fn faults_are_named() {
        let plate = Adherend::strip(70e9, 1.6e-3);
        let adhesive = Adhesive { g: 1e9, thickness: 0.2e-3 };
        assert!(mismatch_shear(&Adherend::strip(0.0, 1e-3), &plate, &adhesive, 1.0, 1e-3).is_err());
        assert!(mismatch_shear(&plate, &plate, &Adhesive { g: 0.0, ..adhesive }, 1.0, 1e-3).is_err());
        assert!(mismatch_shear(&plate, &plate, &Adhesive { thickness: 0.0, ..adhesive }, 1.0, 1e-3).is_err());
        assert!(mismatch_shear(&plate, &plate, &adhesive, 0.0, 1e-3).is_err());
        assert!(mismatch_shear(&plate, &plate, &adhesive, 1.0, f64::NAN).is_err());
        assert!(lap_shear(&plate, &plate, &adhesive, 1.0, f64::INFINITY).is_err());
        assert!(Adherend::wide(70e9, 1.0, 1e-3).is_err());
        close(Adherend::wide(70e9, 0.3, 1e-3).unwrap().stiffness, 70e6 / 0.91, 1e-12);
    }

    proptest! {
        #[test]
        fn shear_grows_with_strain_and_stiffness_and_stays_below_its_limits(
            log_g in 5.0..9.5, t in 1e-4..6e-3, length in 0.05..3.0, strain in 1e-5..6e-3
        ) {
            let (sheet, frame) = (Adherend::strip(3e9, 5e-3), Adherend::strip(50e9, 2e-3));
            let of = |g: f64, strain: f64| {
                mismatch_shear(&sheet, &frame, &Adhesive { g, thickness: t }, length, strain).unwrap()
            };
            let g = 10_f64.powf(log_g);
            let bond = of(g, strain);
            prop_assert!(bond.peak_shear <= bond.long_shear);
            prop_assert!(bond.peak_shear <= g * bond.free_shear_strain * (1.0 + 1e-12));
            prop_assert!(of(1.1 * g, strain).peak_shear > bond.peak_shear);
            prop_assert!((of(g, 2.0 * strain).peak_shear / bond.peak_shear - 2.0).abs() < 1e-12);
            // The sheet never bears more than its whole strain held.
            prop_assert!(bond.sheet_stress.abs() <= 3e9 * strain);
        }

        #[test]
        fn a_lap_carries_its_load(
            s1 in 1e7..3e8, s2 in 1e7..3e8, log_g in 6.0..9.5, length in 5e-3..0.05
        ) {
            let adherend = |stiffness| Adherend { stiffness, thickness: 2e-3 };
            let adhesive = Adhesive { g: 10_f64.powf(log_g), thickness: 0.3e-3 };
            let joint = lap_shear(&adherend(s1), &adherend(s2), &adhesive, length, 1e5).unwrap();
            let n = 4000;
            let step = length / f64::from(n);
            let sum: f64 =
                (0..n).map(|at| joint.shear_at((f64::from(at) + 0.5) * step - length / 2.0).unwrap() * step).sum();
            prop_assert!((sum / 1e5 - 1.0).abs() < 1e-4);
        }
    }
}
