use super::allowable::*;
use super::*;
use proptest::prelude::*;

fn near(got: f64, expected: f64, relative: f64) {
    assert!((got - expected).abs() <= relative * expected.abs(), "{got} is not {expected}");
}

fn aluminium(thickness: f64) -> Face {
    Face { modulus: 70e9, poisson: 0.3, thickness }
}

fn core(thickness: f64) -> Core {
    Core { thickness, modulus: 130e6, modulus_through: 130e6, shear_modulus: 90e6 }
}

// Formulas: Allen 1969, Zenkert 1995 (from memory); figures by numpy, printed to these digits.
#[test]
fn beam_rigidity_and_deflection() {
    let of = Sandwich::new([aluminium(0.5e-3); 2], core(10e-3)).unwrap();
    let (d, u) = (of.bending_stiffness() * 0.025, of.shear_stiffness() * 0.025);
    near(d, 48.541_666_67, 1e-9);
    near(of.bending_stiffness_thin() * 0.025, 48.234_375, 1e-9);
    near(u, 24_806.25, 1e-9);
    for (beam, bending, shear) in [
        (Beam::ThreePoint(100.0), 1.158_798e-3, 0.302_343e-3),
        (Beam::Uniform(200.0), 1.448_498e-3, 0.302_343e-3),
        (Beam::Cantilever(20.0), 3.708_155e-3, 0.241_875e-3),
    ] {
        let it = beam_deflection(beam, 0.3, d, u).unwrap();
        near(it.bending, bending, 1e-6);
        near(it.shear, shear, 2e-6);
        near(it.total(), bending + shear, 1e-6);
    }
}

// As above.
#[test]
fn unequal_faces() {
    let above = Face { modulus: 20e9, poisson: 0.3, thickness: 1.5e-3 };
    let of = Sandwich::new([aluminium(0.8e-3), above], core(20e-3)).unwrap();
    near(of.neutral_axis(), 7.866_59e-3, 1e-6);
    near(of.bending_stiffness(), 8_856.720_44, 1e-8);
    near(of.bending_stiffness_thin(), 8_738.393_02, 1e-8);
    near(of.depth(), 21.15e-3, 1e-12);
    near(of.shear_stiffness(), 2_012_951.2, 1e-7);
}

// Formulas: MIL-HDBK-23A, NASA CR-1457, Hoff and Mautner 1945 (from memory); figures by numpy.
#[test]
fn wrinkling_and_dimpling() {
    for (k, expected) in [(SOLID_DESIGN, 882.634e6), (SOLID_IDEAL, 1_606.394e6)] {
        near(wrinkling_solid(70e9, 517e6, 152e6, k).unwrap(), expected, 1e-6);
    }
    let other = WrinklingConstant { value: 0.82, source: "as checked by numpy" };
    near(wrinkling_solid(70e9, 517e6, 152e6, other).unwrap(), 1_447.520e6, 1e-6);
    for (k, expected) in [(HONEYCOMB_DESIGN, 393.905e6), (HONEYCOMB_IDEAL, 978.794e6)] {
        near(wrinkling_honeycomb(70e9, 0.5e-3, 517e6, 12.7e-3, k).unwrap(), expected, 2e-6);
    }
    near(dimpling(70e9, 0.3, 0.5e-3, 6.35e-3).unwrap(), 953.848e6, 1e-6);
}

// 2 M^2/(E t d^3), MIL-HDBK-23A (from memory), for a core without bending stiffness and thin faces.
#[test]
fn bending_squeezes_the_core_by_the_handbook_formula_where_faces_are_thin() {
    let soft = Core { modulus: 0.0, ..core(20e-3) };
    let of = Sandwich::new([aluminium(0.1e-3); 2], soft).unwrap();
    let d = of.depth();
    let handbook = 2.0 * 50.0_f64.powi(2) / (70e9 * 0.1e-3 * d.powi(3));
    near(of.curvature_pressure(50.0).unwrap(), handbook, 1e-4);
    near(of.curvature_pressure(-50.0).unwrap(), handbook, 1e-4);
}

#[test]
fn a_wide_panel_is_stiffer_by_one_minus_nu_squared() {
    let soft = Core { modulus: 0.0, ..core(20e-3) };
    let of = Sandwich::new([aluminium(0.5e-3); 2], soft).unwrap();
    near(of.wide().bending_stiffness(), of.bending_stiffness() / 0.91, 1e-12);
    near(of.wide().shear_stiffness(), of.shear_stiffness(), 1e-12);
}

#[test]
fn a_harmless_load_has_no_reserve_factor() {
    assert_eq!(face_compression(400e6, 200e6).unwrap().reserve(), None);
    near(face_compression(400e6, -200e6).unwrap().reserve().unwrap(), 2.0, 1e-12);
    near(core_shear(1e6, -0.25e6).unwrap().reserve().unwrap(), 4.0, 1e-12);
    near(core_crushing(2e6, 0.4e6, 0.1e6).unwrap().reserve().unwrap(), 4.0, 1e-12);
    near(core_crushing(2e6, -0.4e6, 0.1e6).unwrap().reserve().unwrap(), 20.0, 1e-12);
    near(local_pressure(2e6, 100.0, 1e-4).unwrap().reserve().unwrap(), 2.0, 1e-12);
    assert_eq!(crimping(2e6), Ok(2e6));
}

#[test]
fn what_is_out_of_range_is_named() {
    let named = |result: Result<Sandwich, LaminateError>, part: &str| {
        assert!(result.unwrap_err().to_string().contains(part), "{part}");
    };
    let good = aluminium(0.5e-3);
    named(Sandwich::new([Face { modulus: f64::NAN, ..good }, good], core(1e-2)), "the face's modulus");
    named(Sandwich::new([good, Face { thickness: 0.0, ..good }], core(1e-2)), "the face's thickness");
    named(Sandwich::new([good, Face { poisson: 1.0, ..good }], core(1e-2)), "Poisson");
    named(Sandwich::new([good; 2], core(0.0)), "the core's thickness");
    named(Sandwich::new([good; 2], Core { modulus: -1.0, ..core(1e-2) }), "the core's modulus is");
    named(Sandwich::new([good; 2], Core { shear_modulus: 0.0, ..core(1e-2) }), "shear modulus");
    let of = Sandwich::new([good; 2], core(1e-2)).unwrap();
    assert!(of.face_stresses(f64::NAN, 0.0).is_err() && of.face_stresses(0.0, f64::INFINITY).is_err());
    assert!(of.core_shear(f64::NAN).is_err() && of.curvature_pressure(f64::NAN).is_err());
    assert!(beam_deflection(Beam::Uniform(f64::NAN), 1.0, 1.0, 1.0).is_err());
    assert!(beam_deflection(Beam::Uniform(1.0), 0.0, 1.0, 1.0).is_err());
    assert!(beam_deflection(Beam::Uniform(1.0), 1.0, 0.0, 1.0).is_err());
    let none = WrinklingConstant { value: 0.0, source: "" };
    assert!(wrinkling_solid(70e9, 517e6, 152e6, none).is_err());
    assert!(dimpling(70e9, 0.3, 0.5e-3, 0.0).is_err());
    assert!(core_shear(f64::NAN, 1.0).is_err() && core_shear(1.0, f64::NAN).is_err());
    assert!(core_crushing(1.0, f64::NAN, 0.0).is_err() && core_crushing(1.0, 0.0, f64::NAN).is_err());
    assert!(core_crushing(1.0, f64::INFINITY, 0.0).is_err() && local_pressure(1.0, 1.0, 0.0).is_err());
}

fn any_sandwich() -> impl Strategy<Value = Sandwich> {
    let face = || {
        (5e9..200e9, 0.0..0.45, 1e-4..3e-3).prop_map(|(modulus, poisson, thickness)| Face {
            modulus,
            poisson,
            thickness,
        })
    };
    let core = (2e-3..4e-2, 0.0..2e8, 1e7..1e9, 5e6..3e8).prop_map(
        |(thickness, modulus, modulus_through, shear_modulus)| Core {
            thickness,
            modulus,
            modulus_through,
            shear_modulus,
        },
    );
    (face(), face(), core).prop_map(|(below, above, core)| Sandwich::new([below, above], core).unwrap())
}

proptest! {
    // The stresses of the faces and of the core add up to the loads that made them.
    #[test]
    fn stresses_balance_the_loads(of in any_sandwich(), force in -1e5..1e5_f64, moment in -1e3..1e3_f64) {
        let stresses = of.face_stresses(force, moment).unwrap();
        let (axis, [below, above], core) = (of.neutral_axis(), of.faces(), of.core());
        let strain = force / of.extensional_stiffness();
        let curvature = moment / of.bending_stiffness();
        let middle = below.thickness + core.thickness / 2.0;
        let of_core = core.modulus * core.thickness * (strain + (middle - axis) * curvature);
        let sum = stresses[0].middle * below.thickness + of_core + stresses[1].middle * above.thickness;
        let scale = force.abs() + moment.abs() / of.depth() * 100.0;
        prop_assert!((sum - force).abs() <= 1e-9 * scale);
        let turned = Sandwich::new([above, below], core).unwrap().face_stresses(force, -moment).unwrap();
        prop_assert!((turned[0].outer - stresses[1].outer).abs() <= 1e-6 * stresses[1].outer.abs() + 1.0);
    }

    #[test]
    fn the_thin_face_stiffness_is_below_the_exact_one(of in any_sandwich()) {
        prop_assert!(of.bending_stiffness_thin() <= of.bending_stiffness() * (1.0 + 1e-12));
        let shear = of.core_shear(1e3).unwrap();
        prop_assert!(shear.greatest > 0.0);
    }

    #[test]
    fn reserve_falls_as_the_load_grows(allowable in 1e3..1e9_f64, load in 1e3..1e9_f64) {
        let less = Check::new(allowable, load).unwrap().reserve().unwrap();
        let more = Check::new(allowable, load * 1.1).unwrap().reserve().unwrap();
        prop_assert!(more < less);
    }
}
