use super::*;
use proptest::prelude::*;
use std::f64::consts::PI;

fn near(what: &str, got: f64, expected: f64, relative: f64) {
    assert!((got - expected).abs() <= relative * expected.abs(), "{what}: {got} is not {expected}");
}

/// A plate of one metre and D = 1 N m, Poisson's ratio 0.3.
fn isotropic(length: f64, width: f64, support: Support) -> Plate {
    Plate::new([length, width], isotropic_bending(1.0), None, support).unwrap()
}

fn isotropic_bending(d: f64) -> Matrix3 {
    [[d, 0.3 * d, 0.0], [0.3 * d, d, 0.0], [0.0, 0.0, 0.35 * d]]
}

/// The same as a Mindlin plate of this thickness, shear correction 5/6.
fn mindlin(thickness: f64, support: Support) -> Plate {
    // E from D = 1, then S = 5/6 G t.
    let modulus = 12.0 * 0.91 / thickness.powi(3);
    let shear = 5.0 / 6.0 * modulus / 2.6 * thickness;
    Plate::new([1.0, 1.0], isotropic_bending(1.0), Some([shear; 2]), support).unwrap()
}

const SIMPLE: Support = Support::SimplySupported;
const CLAMPED: Support = Support::Clamped;

fn factor(plate: &Plate, load: Vector3) -> f64 {
    buckling(plate, load).unwrap().unwrap().factor
}

// Roark's Formulas for Stress and Strain, table 11.4 case 1a (printed to 0.6 %); the first two
// columns by the series in numpy: w D/(q b^4), M/(q b^2).
#[test]
fn simply_supported_isotropic_plates_under_pressure() {
    let rows = [
        (1.0, 0.04436, 0.2873, 0.0444, 0.2874),
        (1.2, 0.06170, 0.3761, 0.0616, 0.3762),
        (1.4, 0.07737, 0.4533, 0.0770, 0.4530),
        (1.6, 0.09072, 0.5174, 0.0906, 0.5172),
        (1.8, 0.10173, 0.5691, 0.1017, 0.5688),
        (2.0, 0.11061, 0.6101, 0.1110, 0.6102),
        (3.0, 0.13358, 0.7132, 0.1335, 0.7134),
        (4.0, 0.13998, 0.7408, 0.1400, 0.7410),
        (5.0, 0.14164, 0.7477, 0.1417, 0.7476),
    ];
    for (ratio, alpha, beta, alpha_printed, beta_printed) in rows {
        let it = pressure(&isotropic(ratio, 1.0, SIMPLE), 1.0).unwrap();
        // E t^3 = 12 (1 - nu^2) D and sigma = 6 M/t^2.
        let (got_alpha, got_beta) = (it.deflection * 12.0 * 0.91, 6.0 * it.centre[1]);
        near("alpha", got_alpha, alpha, 1.2e-4);
        near("beta", got_beta, beta, 1.8e-4);
        near("alpha printed", got_alpha, alpha_printed, 6e-3);
        near("beta printed", got_beta, beta_printed, 6e-3);
        assert!(matches!(it.method, Method::Navier { .. }));
    }
    // Timoshenko and Woinowsky-Krieger, table 8, square: 0.0479, Q 0.338, corner force 0.065 (memory).
    let it = pressure(&isotropic(1.0, 1.0, SIMPLE), 1.0).unwrap();
    near("deflection", it.deflection, 0.004_062_35, 1e-5);
    near("moment", it.centre[0], 0.047_886, 1e-4);
    near("edge force", it.edge_shears[0], 0.338, 2e-3);
    near("edge force y", it.edge_shears[1], it.edge_shears[0], 1e-6);
    near("corner force", -2.0 * it.corner_twist, 0.065, 3e-3);
    near("greatest twist", it.greatest()[2], -it.corner_twist, 1e-9);
}

// Timoshenko and Gere, table 9-1 (memory): 8.41 5.14 4.20 4.00 4.13 4.47 4.20, confirmed by numpy.
#[test]
fn simply_supported_isotropic_plates_in_compression() {
    let rows = [
        (0.4, 8.4100, 1),
        (0.6, 5.1378, 1),
        (0.8, 4.2025, 1),
        (1.0, 4.0, 1),
        (1.2, 4.1344, 1),
        (1.4, 4.4702, 1),
        (1.6, 4.2025, 2),
        (2.0, 4.0, 2),
        (3.0, 4.0, 3),
    ];
    for (ratio, k, m) in rows {
        let it = buckling(&isotropic(ratio, 1.0, SIMPLE), [-PI * PI, 0.0, 0.0]).unwrap().unwrap();
        near("k", it.factor, k, 2e-5);
        assert_eq!(it.half_waves, Some([m, 1]));
    }
    // Equal in both directions, square: 2 (closed form).
    near("biaxial", factor(&isotropic(1.0, 1.0, SIMPLE), [-PI * PI, -PI * PI, 0.0]), 2.0, 1e-12);
}

// Figures by numpy.
#[test]
fn an_orthotropic_plate() {
    let bending = |d11: f64, d22: f64| [[d11, 2.5, 0.0], [2.5, d22, 0.0], [0.0, 0.0, 3.0]];
    let of = |sides, d11, d22| Plate::new(sides, bending(d11, d22), None, SIMPLE).unwrap();
    let plate = of([0.5, 0.4], 20.0, 8.0);
    let it = pressure(&plate, 4e3).unwrap();
    near("w", it.deflection, 61.633_55e-3, 1e-5);
    near("Mx", it.centre[0], 54.0273, 1e-5);
    near("My", it.centre[1], 33.8611, 1e-5);
    near("Nx", factor(&plate, [-1.0, 0.0, 0.0]), 2609.28, 1e-5);
    let turned = of([0.5, 0.4], 8.0, 20.0);
    near("w turned", pressure(&turned, 4e3).unwrap().deflection, 48.276_88e-3, 1e-5);
    let it = buckling(&turned, [-1.0, 0.0, 0.0]).unwrap().unwrap();
    near("Nx turned", it.factor, 2793.87, 1e-5);
    assert_eq!(it.half_waves, Some([2, 1]));
    let it = buckling(&of([1.2, 0.3], 20.0, 8.0), [-1.0, 0.0, 0.0]).unwrap().unwrap();
    near("Nx long", it.factor, 4657.60, 1e-5);
    assert_eq!(it.half_waves, Some([3, 1]));
}

// Timoshenko and Woinowsky-Krieger, table 35 (memory): w, Mx and My at the edges, Mx, My in the
// centre; a is the short side, here y.
#[test]
fn clamped_isotropic_plates_under_pressure() {
    let rows = [
        (1.0, 0.00126, -0.0513, -0.0513, 0.0231, 0.0231),
        (1.5, 0.00220, -0.0570, -0.0757, 0.0203, 0.0368),
        (2.0, 0.00254, -0.0571, -0.0829, 0.0158, 0.0412),
    ];
    for (ratio, w, edge_x, edge_y, x, y) in rows {
        let it = pressure(&isotropic(ratio, 1.0, CLAMPED), 1.0).unwrap();
        near("w", it.deflection, w, 5e-3);
        near("edge x", it.edge_moments[0], edge_x, 3e-3);
        near("edge y", it.edge_moments[1], edge_y, 3e-3);
        // Printed 0.0231, by every later series 0.02291.
        near("centre x", it.centre[0], x, 1e-2);
        near("centre y", it.centre[1], y, 1e-2);
    }
    // The accepted figure of the square plate to more digits: Taylor and Govindjee 2004 (memory).
    let square = pressure(&isotropic(1.0, 1.0, CLAMPED), 1.0).unwrap();
    near("square", square.deflection, 0.001_265_319, 1e-5);
}

// Shear: 9.34 by the sine series (Timoshenko and Gere, art. 9.7), 5.35 + 4 (b/a)^2 within 2 %;
// clamped: 10.07 in compression, 14.71 in shear, 5.30 in both directions (Levy 1942, Budiansky and
// Connor 1948). All from memory.
#[test]
fn buckling_in_shear_and_clamped() {
    let pi2 = PI * PI;
    for (ratio, k) in [(1.0, 9.34), (1.5, 7.12), (2.0, 6.35), (3.0, 5.79)] {
        let got = factor(&isotropic(ratio, 1.0, SIMPLE), [0.0, 0.0, pi2]);
        near("shear", got, k, if ratio == 1.0 { 2e-3 } else { 3.5e-2 });
        near("either way", factor(&isotropic(ratio, 1.0, SIMPLE), [0.0, 0.0, -pi2]), got, 1e-6);
    }
    let square = isotropic(1.0, 1.0, CLAMPED);
    for (load, k) in [([-pi2, 0.0, 0.0], 10.07), ([0.0, 0.0, pi2], 14.71), ([-pi2, -pi2, 0.0], 5.30)] {
        let got = factor(&square, load);
        near("clamped", got, k, 1e-2);
    }
}

// Simply supported: the exact relations of Kirchhoff and Mindlin plates, w = w_K + M/S with
// M = (Mx + My)/(1 + nu) = 0.0736713 q a^2, and k = 4/(1 + 2 pi^2 D/S) (Wang, Reddy and Lee, Shear
// Deformable Beams and Plates, 2000; from memory). Clamped: 0.001505 and 0.002172 q a^4/D for
// a/10 and a/5 (from memory, finite-element literature).
#[test]
fn plates_with_shear() {
    for (thickness, clamped) in [(0.1, 0.001_505), (0.2, 0.002_172)] {
        let plate = mindlin(thickness, SIMPLE);
        let shear = plate.shear.unwrap()[0];
        let it = pressure(&plate, 1.0).unwrap();
        near("simple", it.deflection, 0.004_062_353 + 0.073_671_3 / shear, 2e-6);
        near("clamped", pressure(&mindlin(thickness, CLAMPED), 1.0).unwrap().deflection, clamped, 1e-3);
        let it = buckling(&plate, [-PI * PI, 0.0, 0.0]).unwrap().unwrap();
        near("k", it.factor, 4.0 / (1.0 + 2.0 * PI * PI / shear), 1e-9);
    }
}

// The two ways of solution, which share no line, on what both can do.
#[test]
fn navier_and_ritz_agree() {
    let bending = [[20.0, 2.5, 0.0], [2.5, 8.0, 0.0], [0.0, 0.0, 3.0]];
    for shear in [None, Some([4e3, 2e3]), Some([4e7, 2e7])] {
        let plate = Plate::new([0.5, 0.4], bending, shear, SIMPLE).unwrap();
        let navier = pressure(&plate, 1.0).unwrap();
        let ritz = Ritz::new(&plate, [16, 16]);
        let shape = ritz.pressure().unwrap();
        let (centre, x, y) = (
            ritz.local(&shape, [0.0, 0.0]),
            ritz.local(&shape, [-1.0, 0.0]),
            ritz.local(&shape, [0.0, -1.0]),
        );
        near("w", centre.deflection, navier.deflection, 1e-5);
        near("Mx", centre.moments[0], navier.centre[0], 1e-4);
        near("My", centre.moments[1], navier.centre[1], 1e-4);
        near("Qx", x.shears[0], navier.edge_shears[0], 5e-3);
        near("Qy", y.shears[1], navier.edge_shears[1], 5e-3);
        near("Mxy", ritz.local(&shape, [-1.0, -1.0]).moments[2], navier.corner_twist, 1e-3);
        for load in [[-1.0, 0.0, 0.0], [-1.0, -0.5, 0.0], [0.3, -1.0, 0.0]] {
            let whole = buckling(&plate, load).unwrap().unwrap();
            if !whole.crimping {
                near("factor", 1.0 / ritz.buckling(load).unwrap(), whole.factor, 1e-5);
            }
        }
    }
}

fn anisotropic() -> Matrix3 {
    [[30.0, 12.0, 6.0], [12.0, 18.0, 4.0], [6.0, 4.0, 14.0]]
}

#[test]
fn the_grid_of_a_long_plate_is_that_of_a_strip_with_an_end() {
    // Levy's single series for a strip without end, w_n = c (1 - (1 + k x/2) exp(-k x)) sin(k y), k = n pi/b:
    // twisting at the end -(1 - nu) q b^2 2/pi^3 sum of cos(k y)/n^3, far from it My = q y (b - y)/2.
    // S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, 1959, art. 30 (from memory).
    let (width, nu) = (0.2, 0.3);
    for ratio in [10.0, 20.0, 50.0] {
        let plate = isotropic(ratio * width, width, Support::SimplySupported);
        let bent = pressure(&plate, 1e3).unwrap();
        let q = 1e3 * width * width;
        for j in 1..8 {
            let y = f64::from(j) / 8.0;
            let at = usize::try_from(j).unwrap();
            let sum: f64 =
                (0..200).map(|n| f64::from(2 * n + 1)).map(|n| (n * PI * y).cos() / n.powi(3)).sum();
            let twist = -(1.0 - nu) * q * 2.0 / PI.powi(3) * sum;
            let scale = (1.0 - nu) * q * 2.0 / PI.powi(3);
            assert!(
                (bent.grid[0][at][2] - twist).abs() < 1e-3 * scale,
                "{ratio} {j}: {:?} {twist}",
                bent.grid[0][at]
            );
            let (across, far) = (q * y * (1.0 - y) / 2.0, bent.grid[4][at]);
            near("My of the strip", far[1], across, 2e-3);
            near("Mx of the strip", far[0], nu * across, 5e-3);
        }
    }
}

#[test]
fn a_plate_stiff_in_shear_is_kirchhoffs() {
    for (bending, support) in [
        (isotropic_bending(30.0), SIMPLE),
        (isotropic_bending(30.0), CLAMPED),
        (anisotropic(), SIMPLE),
        (anisotropic(), CLAMPED),
    ] {
        let of = |shear| Plate::new([0.6, 0.4], bending, shear, support).unwrap();
        let (thin, stiff) = (of(None), of(Some([1e9; 2])));
        let (a, b) = (pressure(&thin, 1.0).unwrap(), pressure(&stiff, 1.0).unwrap());
        near("w", b.deflection, a.deflection, 3e-4);
        near("Mx", b.centre[0], a.centre[0], 1e-3);
        for load in [[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]] {
            near("factor", factor(&stiff, load), factor(&thin, load), 5e-4);
        }
    }
}

// What is taken from the degree below is what would be solved for there, to the last bit.
#[test]
fn moments_of_the_degree_below_are_taken_as_they_were_found() {
    let plate = Plate::new([0.6, 0.4], anisotropic(), Some([3e3, 2e3]), CLAMPED).unwrap();
    let (found, none) = (RefCell::default(), RefCell::default());
    Solved::smoothed(&plate, [8, 10], &found).unwrap();
    let with = Solved::smoothed(&plate, [10, 12], &found).unwrap().moments;
    let alone = Solved::smoothed(&plate, [10, 12], &none).unwrap().moments;
    assert_eq!(with.map(f64::to_bits), alone.map(f64::to_bits));
    // They are means: of the higher degree alone they are others.
    assert_ne!(with[3], Solved::new(&plate, [10, 12]).unwrap().moments[3]);
}

// A soft core shears off at N = S (NASA CR-1457, from memory), whatever the support and the load's kind.
#[test]
fn a_soft_core_crimps() {
    for support in [SIMPLE, CLAMPED] {
        let plate = Plate::new([0.5, 0.4], isotropic_bending(1e6), Some([3e3, 2e3]), support).unwrap();
        let it = buckling(&plate, [-1.0, 0.0, 0.0]).unwrap().unwrap();
        near("x", it.factor, 3e3, 1e-3);
        near("y", factor(&plate, [0.0, -1.0, 0.0]), 2e3, 1e-3);
        // Shear alone: the root of the product.
        near("xy", factor(&plate, [0.0, 0.0, 1.0]), 6e6_f64.sqrt(), 1e-3);
        near("pulled across", factor(&plate, [-1.0, 5.0, 0.0]), 3e3, 2e-2);
    }
}

#[test]
fn what_is_pulled_does_not_buckle() {
    for support in [SIMPLE, CLAMPED] {
        let plate = isotropic(1.0, 1.0, support);
        for load in [[0.0; 3], [1.0, 0.0, 0.0], [1.0, 2.0, 0.0], [1.0, 1.0, 0.5]] {
            assert_eq!(buckling(&plate, load), Ok(None));
        }
        let pulled = factor(&plate, [-1.0, 1.0, 0.0]);
        assert!(pulled > factor(&plate, [-1.0, 0.0, 0.0]));
    }
    // Closed form for m = 2: k = (m^2 + 1)^2/(m^2 - 1) is 8.33, for m = 1 none.
    near("pulled", factor(&isotropic(1.0, 1.0, SIMPLE), [-PI * PI, PI * PI, 0.0]), 25.0 / 3.0, 1e-12);
}

#[test]
fn a_reduced_stiffness_is_that_about_the_neutral_plane() {
    // One isotropic layer referred to a plane at a distance e: A = 12 D0/h^2, B = e A, D = D0 + e^2 A.
    let (own, e) = (isotropic_bending(5.0), 0.003);
    let a = own.map(|row| row.map(|value| value * 12.0 / 0.002_f64.powi(2)));
    let b = a.map(|row| row.map(|value| value * e));
    let mut d = own;
    for (row, membrane) in d.iter_mut().zip(a) {
        for (value, membrane) in row.iter_mut().zip(membrane) {
            *value += e * e * membrane;
        }
    }
    let reduced = reduced_bending(&a, &b, &d).unwrap();
    for (row, own) in reduced.iter().zip(own) {
        for (value, own) in row.iter().zip(own) {
            assert!((value - own).abs() < 1e-9);
        }
    }
    assert!(reduced_bending(&[[0.0; 3]; 3], &b, &d).is_err());
    assert!(reduced_bending(&a, &b, &own).is_err());
    assert!(reduced_bending(&a, &b, &[[f64::NAN; 3]; 3]).is_err());
}

#[test]
fn what_is_out_of_range_is_named() {
    let good = isotropic_bending(1.0);
    let named = |sides, bending, shear, part: &str| {
        let error = Plate::new(sides, bending, shear, SIMPLE).unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    };
    named([0.0, 1.0], good, None, "length");
    named([1.0, f64::NAN], good, None, "width");
    named([100.0, 1.0], good, None, "length over width");
    named([1.0, 1.0], [[f64::INFINITY; 3]; 3], None, "bending stiffness");
    named([1.0, 1.0], [[0.0; 3]; 3], None, "not symmetric and positive definite");
    named([1.0, 1.0], [[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]], None, "positive definite");
    named([1.0, 1.0], [[1.0, 0.2, 0.0], [0.3, 1.0, 0.0], [0.0, 0.0, 1.0]], None, "not symmetric");
    named([1.0, 1.0], good, Some([1.0, 0.0]), "transverse shear");
    let plate = isotropic(1.0, 1.0, SIMPLE);
    assert!(pressure(&plate, f64::NAN).is_err() && buckling(&plate, [f64::NAN, 0.0, 0.0]).is_err());
    assert!(pressure(&plate, 1.0).unwrap().over_thickness(0.0).is_err());
}

#[test]
fn the_deflection_is_weighed_against_the_thickness() {
    let it = pressure(&isotropic(1.0, 1.0, SIMPLE), -1.0).unwrap();
    near("w/t", it.over_thickness(0.004_062_353).unwrap(), 1.0, 1e-5);
}

// Slender and very unequal plates: an answer, or a named failure, never a number that is none.
#[test]
fn slender_plates_are_answered_or_refused() {
    let bending = [[400.0, 3.0, 0.0], [3.0, 10.0, 0.0], [0.0, 0.0, 5.0]];
    let named =
        |error: LaminateError| assert!(matches!(error, LaminateError::NotConverged { .. }), "{error}");
    for (sides, support, shear) in [
        ([4.0, 0.2], SIMPLE, Some([1e5, 5e4])),
        ([4.0, 0.2], CLAMPED, None),
        ([50.0, 1.0], SIMPLE, None),
        ([50.0, 1.0], CLAMPED, None),
    ] {
        let plate = Plate::new(sides, bending, shear, support).unwrap();
        match pressure(&plate, 1e3) {
            Ok(it) => {
                let edges = it.edge_moments.iter().chain(&it.edge_shears);
                assert!(
                    it.deflection > 0.0 && it.greatest().iter().chain(edges).all(|value| value.is_finite())
                );
            }
            Err(error) => named(error),
        }
        for load in [[-1.0, 0.0, 0.0], [0.0, -1.0, 0.0]] {
            buckling(&plate, load).map_or_else(named, |it| assert!(it.unwrap().factor > 0.0));
        }
    }
}

fn any_plate() -> impl Strategy<Value = ([f64; 2], Matrix3)> {
    ([0.2..0.8_f64, 0.2..0.8_f64], 5.0..80.0_f64, 5.0..80.0_f64, 0.0..0.5_f64, 2.0..20.0_f64).prop_map(
        |(sides, d11, d22, share, d66)| {
            let d12 = share * (d11 * d22).sqrt();
            (sides, [[d11, d12, 0.0], [d12, d22, 0.0], [0.0, 0.0, d66]])
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    // No pair of half-waves within a wide window comes before the one that the bounded search gives.
    #[test]
    fn the_search_over_half_waves_misses_none(
        (sides, bending) in any_plate(),
        shear in proptest::option::of([1e3..1e6_f64, 1e3..1e6_f64]),
        load in [-2.0..1.0_f64, -2.0..1.0_f64],
    ) {
        let load = [load[0], load[1], 0.0];
        let plate = Plate::new(sides, bending, shear, SIMPLE).unwrap();
        let found = buckling(&plate, load).unwrap();
        let [[d11, d12, _], [_, d22, _], [_, _, d66]] = bending;
        for m in 1..60 {
            for n in 1..60 {
                let (x, y) = (f64::from(m) * PI / sides[0], f64::from(n) * PI / sides[1]);
                let work = -load[0] * x * x - load[1] * y * y;
                if work <= 0.0 {
                    continue;
                }
                let thin = d11 * x.powi(4) + 2.0 * (d12 + 2.0 * d66) * x * x * y * y + d22 * y.powi(4);
                let stiffness = match shear {
                    None => thin,
                    // The 3 x 3 of w and both rotations, condensed by determinants.
                    Some([sx, sy]) => {
                        let full = nalgebra::Matrix3::new(
                            sx * x * x + sy * y * y, sx * x, sy * y,
                            sx * x, d11 * x * x + d66 * y * y + sx, (d12 + d66) * x * y,
                            sy * y, (d12 + d66) * x * y, d66 * x * x + d22 * y * y + sy,
                        );
                        full.determinant() / full.fixed_view::<2, 2>(1, 1).determinant()
                    }
                };
                prop_assert!(found.unwrap().factor <= stiffness / work * (1.0 + 1e-6));
            }
        }
    }

    #[test]
    fn results_scale_and_turn_with_the_plate((sides, bending) in any_plate(), q in 1.0..1e4_f64) {
        let [[d11, d12, _], [_, d22, _], [_, _, d66]] = bending;
        let turned = [[d22, d12, 0.0], [d12, d11, 0.0], [0.0, 0.0, d66]];
        let here = Plate::new(sides, bending, None, SIMPLE).unwrap();
        let there = Plate::new([sides[1], sides[0]], turned, None, SIMPLE).unwrap();
        let (one, other) = (pressure(&here, q).unwrap(), pressure(&there, 2.0 * q).unwrap());
        prop_assert!((2.0 * one.deflection / other.deflection - 1.0).abs() < 1e-9);
        prop_assert!((2.0 * one.centre[0] / other.centre[1] - 1.0).abs() < 1e-6);
        let (one, other) = (factor(&here, [-q, -1.0, 0.0]), factor(&there, [-1.0, -q, 0.0]));
        prop_assert!((one / other - 1.0).abs() < 1e-9);
    }
}
