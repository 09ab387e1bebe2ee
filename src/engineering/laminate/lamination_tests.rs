//! Stiffness of plies and stacks beside figures computed elsewhere, and what holds for all of them.

use super::*;
use proptest::prelude::*;
use std::f64::consts::{FRAC_PI_2, PI};

/// T300/5208, the textbooks' carbon ply; expansions as in the same books, from memory.
const BOOK: Lamina = Lamina { e1: 181e9, e2: 10.3e9, g12: 7.17e9, nu12: 0.28, cte1: 0.02e-6, cte2: 22.5e-6 };
/// Invented values.
const OWN: Lamina = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 30e-6 };

pub(super) fn stack(lamina: Lamina, thickness: f64, degrees: &[f64]) -> Vec<ElasticLayer> {
    degrees.iter().map(|one| ElasticLayer { lamina, angle: one.to_radians(), thickness }).collect()
}

/// Within a share of the matrix's largest entry for 0, of the entry itself otherwise.
fn near(got: &Matrix3, expected: &Matrix3, tolerance: f64) {
    let largest = expected.iter().flatten().fold(0.0_f64, |most, v| most.max(v.abs()));
    for (g, e) in got.iter().flatten().zip(expected.iter().flatten()) {
        let room = if *e == 0.0 { 1e-9 * largest } else { tolerance * e.abs() };
        assert!((g - e).abs() <= room, "{got:?} is not {expected:?}");
    }
}

fn close(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance * expected.abs(), "{got} is not {expected}");
}

fn scaled(m: Matrix3, factor: f64) -> Matrix3 {
    m.map(|row| row.map(|v| v * factor))
}

// Kaw, Mechanics of Composite Materials, ch. 2 (from memory), computed again with numpy.
#[test]
fn reduced_stiffness_of_the_textbook_ply() {
    let q = [[181.8111, 2.8969, 0.0], [2.8969, 10.3462, 0.0], [0.0, 0.0, 7.17]];
    near(&BOOK.stiffness().unwrap(), &scaled(q, 1e9), 2e-5);
    let turned = [[23.6468, 32.4626, 20.0535], [32.4626, 109.3792, 54.1930], [20.0535, 54.1930, 36.7356]];
    near(&BOOK.rotated_stiffness(PI / 3.0).unwrap(), &scaled(turned, 1e9), 1e-5);
}

// Kaw, example 4.2 (from memory), computed again with numpy.
#[test]
fn stiffness_of_the_textbook_laminate() {
    let got = stiffness(&stack(BOOK, 5e-3, &[0.0, 30.0, -45.0])).unwrap();
    let a = [
        [1.739241e9, 3.883864e8, 5.663373e7],
        [3.883864e8, 4.532535e8, -1.140636e8],
        [5.663373e7, -1.140636e8, 4.524825e8],
    ];
    let b = [
        [-3.128834e6, 9.855216e5, -1.071656e6],
        [9.855216e5, 1.157791e6, -1.071656e6],
        [-1.071656e6, -1.071656e6, 9.855216e5],
    ];
    let d = [
        [3.343203e4, 6.460977e3, -5.240294e3],
        [6.460977e3, 9.319771e3, -5.595913e3],
        [-5.240294e3, -5.595913e3, 7.662780e3],
    ];
    near(&got.a, &a, 1e-6);
    near(&got.b, &b, 1e-6);
    near(&got.d, &d, 1e-6);
    assert!(!got.is_balanced());
    close(got.thickness, 15e-3, 1e-12);
}

// Kaw, example 4.3 (from memory), computed again with numpy.
#[test]
fn deformation_of_the_textbook_laminate() {
    let whole = stiffness(&stack(BOOK, 5e-3, &[0.0, 30.0, -45.0])).unwrap().compliance().unwrap();
    let got = whole.deformation(&Load { force: [1000.0, 1000.0, 0.0], ..Load::default() }).unwrap();
    for (g, e) in got.strain.iter().zip([3.122948e-7, 3.491705e-6, -7.598445e-7]) {
        close(*g, e, 1e-6);
    }
    for (g, e) in got.curvature.iter().zip([2.971437e-5, -3.285024e-4, 4.101467e-4]) {
        close(*g, e, 1e-6);
    }
}

// Tsai and Hahn, Introduction to Composite Materials (from memory), computed again with numpy.
#[test]
fn invariants_and_the_quasi_isotropic_laminate() {
    let u = BOOK.invariants().unwrap();
    for (got, expected) in u.iter().zip([76.3682e9, 85.7325e9, 19.7104e9, 22.6074e9, 26.8804e9]) {
        close(*got, expected, 2e-6);
    }
    let layers = stack(BOOK, 0.125e-3, &[0.0, 45.0, -45.0, 90.0, 90.0, -45.0, 45.0, 0.0]);
    assert!(is_symmetric(&layers).unwrap());
    let stiff = stiffness(&layers).unwrap();
    assert!(stiff.is_balanced());
    let whole = stiff.compliance().unwrap();
    let (plane, bending) = (whole.in_plane(), whole.bending());
    close(plane.ex, 69.6757e9, 1e-6);
    close(plane.ey, 69.6757e9, 1e-6);
    close(plane.gxy, u[4], 1e-9);
    close(plane.nu_xy, u[3] / u[0], 1e-9);
    close(plane.nu_xy, 0.29603, 2e-5);
    close(bending.ex, 116.5521e9, 1e-6);
    close(bending.ey, 26.9812e9, 2e-6);
}

// Computed with numpy.
#[test]
fn the_unsymmetric_cross_ply_is_soft() {
    let layers = stack(OWN, 0.2e-3, &[0.0, 90.0]);
    assert!(!is_symmetric(&layers).unwrap());
    let stiff = stiffness(&layers).unwrap();
    let a = [[2.957358e7, 1.086377e6, 0.0], [1.086377e6, 2.957358e7, 0.0], [0.0, 0.0, 2.76e6]];
    near(&stiff.a, &a, 1e-6);
    near(&stiff.b, &[[-2.595233e3, 0.0, 0.0], [0.0, 2.595233e3, 0.0], [0.0; 3]], 1e-6);
    let d = [[0.3943145, 1.448502e-2, 0.0], [1.448502e-2, 0.3943145, 0.0], [0.0, 0.0, 3.68e-2]];
    near(&stiff.d, &d, 1e-6);
    let whole = stiff.compliance().unwrap();
    close(whole.in_plane().ex, 31_132.017e6, 1e-7);
    let got = whole.deformation(&Load { force: [100e3, 0.0, 0.0], ..Load::default() }).unwrap();
    close(got.strain[0], 8.030318e-3, 1e-6);
    close(got.strain[1], -2.949913e-4, 1e-6);
    close(got.curvature[0], 52.85260, 1e-6);
    assert!(got.curvature[1].abs() < 1e-9 && got.curvature[2].abs() < 1e-9);
}

// Computed with numpy.
#[test]
fn a_sandwich_through_the_same_routine() {
    let core = Lamina { e1: 0.7e6, e2: 0.3e6, g12: 0.2e6, nu12: 0.25, cte1: 0.0, cte2: 0.0 };
    let mut layers = stack(OWN, 0.2e-3, &[45.0, -45.0, 0.0, -45.0, 45.0]);
    layers[2] = ElasticLayer { lamina: core, angle: 0.0, thickness: 8e-3 };
    let got = stiffness(&layers).unwrap();
    let a = [[3.618571e7, 2.514058e7, 0.0], [2.514058e7, 3.618243e7, 0.0], [0.0, 0.0, 2.848881e7]];
    let d = [[638.7276, 443.8074, 21.79996], [443.8074, 638.7101, 21.79996], [21.79996, 21.79996, 502.9027]];
    near(&got.a, &a, 1e-6);
    near(&got.d, &d, 1e-6);
    assert!(got.b.iter().flatten().all(|v| v.abs() < 1e-6));
    assert!(got.is_balanced());
    got.compliance().unwrap();
}

// S. Timoshenko, Analysis of Bi-Metal Thermostats, J. Optical Society of America 11, 1925, eq. (4)
// (from memory): curvature = 6 (a2 - a1) dT (1 + m)^2 / (h (3 (1 + m)^2 + (1 + m n)(m^2 + 1/(m n)))),
// m = t1/t2, n = E1/E2. With Poisson's ratio 0 the strip and the plate are the same.
#[test]
fn two_bonded_strips_curve_as_timoshenko_says() {
    for (t1, t2, e1, e2) in
        [(1e-3, 1e-3, 70e9, 70e9), (0.4e-3, 1.1e-3, 200e9, 70e9), (3e-3, 0.1e-3, 3e9, 138e9)]
    {
        let (a1, a2, change) = (11e-6, 23e-6, -80.0);
        let layers = [
            ElasticLayer { lamina: Lamina::isotropic(e1, 0.0, a1).unwrap(), angle: 0.0, thickness: t1 },
            ElasticLayer { lamina: Lamina::isotropic(e2, 0.0, a2).unwrap(), angle: 0.0, thickness: t2 },
        ];
        let (m, n, h) = (t1 / t2, e1 / e2, t1 + t2);
        let square = (1.0 + m) * (1.0 + m);
        let expected = 6.0 * (a2 - a1) * change * square
            / (h * (3.0 * square + (1.0 + m * n) * (m * m + 1.0 / (m * n))));
        let got = stiffness(&layers).unwrap().compliance().unwrap().after_cure(change).unwrap();
        close(got.curvature[0], expected, 1e-9);
        close(got.curvature[1], expected, 1e-9);
    }
}

#[test]
fn a_void_takes_room_and_carries_nothing() {
    let ply = ElasticLayer { lamina: OWN, angle: 0.0, thickness: 1e-3 };
    let film = ElasticLayer { lamina: Lamina::VOID, angle: 0.0, thickness: 0.2e-3 };
    let bare = stiffness(&[ply]).unwrap();
    let got = stiffness(&[ply, film]).unwrap();
    close(got.a[0][0], bare.a[0][0], 1e-12);
    // The ply's middle lies 0.1 mm below that of the stack.
    close(got.b[0][0], -0.1e-3 * bare.a[0][0], 1e-9);
    close(got.thickness, 1.2e-3, 1e-12);
    assert_eq!(stiffness(&[film]).unwrap().compliance(), Err(LaminateError::Singular));
}

#[test]
fn named_faults() {
    assert_eq!(stiffness(&[]), Err(LaminateError::NoLayers));
    let fault = |layer: ElasticLayer| match stiffness(&[stack(OWN, 1e-3, &[0.0])[0], layer]).unwrap_err() {
        LaminateError::InLayer { layer: 2, fault } => *fault,
        other => panic!("{other}"),
    };
    let good = ElasticLayer { lamina: OWN, angle: 0.0, thickness: 1e-3 };
    let with = |lamina| fault(ElasticLayer { lamina, ..good });
    assert!(matches!(with(Lamina { nu12: 4.0, ..OWN }), LaminateError::PoissonBound { nu12: 4.0, .. }));
    assert!(matches!(with(Lamina { nu12: f64::NAN, ..OWN }), LaminateError::PoissonBound { .. }));
    for lamina in [
        Lamina { e1: -1.0, ..OWN },
        Lamina { e2: f64::NAN, ..OWN },
        Lamina { g12: 0.0, ..OWN },
        Lamina { e1: f64::INFINITY, ..OWN },
        Lamina { cte1: f64::NAN, ..OWN },
        Lamina { nu12: f64::NAN, ..Lamina::VOID },
    ] {
        assert!(matches!(with(lamina), LaminateError::OutOfRange { .. }), "{lamina:?}");
    }
    for layer in [
        ElasticLayer { thickness: 0.0, ..good },
        ElasticLayer { thickness: -1e-3, ..good },
        ElasticLayer { thickness: f64::NAN, ..good },
        ElasticLayer { angle: 45.0, ..good },
        ElasticLayer { angle: f64::NAN, ..good },
    ] {
        assert!(matches!(fault(layer), LaminateError::OutOfRange { .. }), "{layer:?}");
    }
    for nu in [-1.0, 0.51, f64::NAN] {
        assert!(Lamina::isotropic(70e9, nu, 0.0).is_err());
    }
    let whole = stiffness(&[good]).unwrap().compliance().unwrap();
    assert!(whole.after_cure(f64::NAN).is_err());
    assert!(whole.deformation(&Load { force: [f64::INFINITY, 0.0, 0.0], ..Load::default() }).is_err());
}

pub(super) fn any_lamina() -> impl Strategy<Value = Lamina> {
    (1e9..300e9, 0.01..1.0, 0.01..0.6, -0.9..0.9, -2e-6..30e-6, -2e-6..80e-6).prop_map(
        |(e1, across, shear, nu, cte1, cte2): (f64, f64, f64, f64, f64, f64)| {
            let e2 = e1 * across;
            // A share of the bound, so that every draw is a material.
            Lamina { e1, e2, g12: e1 * shear, nu12: nu * (e1 / e2).sqrt(), cte1, cte2 }
        },
    )
}

pub(super) fn any_layer() -> impl Strategy<Value = ElasticLayer> {
    (any_lamina(), -PI..PI, 0.05e-3..2e-3).prop_map(|(lamina, angle, thickness)| ElasticLayer {
        lamina,
        angle,
        thickness,
    })
}

pub(super) fn any_stack() -> impl Strategy<Value = Vec<ElasticLayer>> {
    prop::collection::vec(any_layer(), 1..9)
}

proptest! {
    #[test]
    fn invariants_do_not_turn(lamina in any_lamina(), angle in -PI..PI) {
        let trace = |q: Matrix3| (q[0][0] + q[1][1] + 2.0 * q[0][1], q[2][2] - q[0][1]);
        let (one, two) = trace(lamina.stiffness().unwrap());
        let (turned_one, turned_two) = trace(lamina.rotated_stiffness(angle).unwrap());
        let size = lamina.stiffness().unwrap()[0][0];
        prop_assert!((one - turned_one).abs() <= 1e-10 * size);
        prop_assert!((two - turned_two).abs() <= 1e-10 * size);
    }

    // Stress by Qbar, and by turning strain into the ply, Q, and stress back.
    #[test]
    fn the_rotated_stiffness_is_that_of_the_turned_ply(
        lamina in any_lamina(), angle in -PI..PI, strain in prop::array::uniform3(-1e-3..1e-3)
    ) {
        let direct = matrix::times(&lamina.rotated_stiffness(angle).unwrap(), &strain);
        let own = matrix::times(&lamina.stiffness().unwrap(), &strain_in_ply(strain, angle).unwrap());
        let back = stress_in_ply(own, -angle).unwrap();
        let size = lamina.stiffness().unwrap()[0][0] * 1e-3;
        for (a, b) in direct.iter().zip(back) {
            prop_assert!((a - b).abs() <= 1e-10 * size);
        }
    }

    #[test]
    fn symmetric_stacks_do_not_couple(half in any_stack(), middle in any_layer()) {
        let mut layers = half.clone();
        layers.push(middle);
        layers.extend(half.iter().rev());
        prop_assert!(is_symmetric(&layers).unwrap());
        let got = stiffness(&layers).unwrap();
        let size = got.a[0][0].max(got.a[1][1]) * got.thickness;
        prop_assert!(got.b.iter().flatten().all(|v| v.abs() <= 1e-12 * size));
        let heat = got.thermal_force.iter().fold(0.0_f64, |most, v| most.max(v.abs())) * got.thickness;
        prop_assert!(got.thermal_moment.iter().all(|v| v.abs() <= 1e-12 * heat.max(1e-3)));
    }

    #[test]
    fn a_is_the_sum_of_the_plies(layers in any_stack()) {
        let whole = stiffness(&layers).unwrap();
        let parts: Vec<_> = layers.iter().map(|one| stiffness(&[*one]).unwrap()).collect();
        for row in 0..3 {
            for column in 0..3 {
                let sum: f64 = parts.iter().map(|part| part.a[row][column]).sum();
                prop_assert!((whole.a[row][column] - sum).abs() <= 1e-11 * (whole.a[0][0] + whole.a[1][1]));
            }
        }
    }

    #[test]
    fn one_ply_has_its_own_moduli(lamina in any_lamina(), thickness in 1e-5..1e-2) {
        let layer = ElasticLayer { lamina, angle: 0.0, thickness };
        let whole = stiffness(&[layer]).unwrap().compliance().unwrap();
        for got in [whole.in_plane(), whole.bending()] {
            close(got.ex, lamina.e1, 1e-9);
            close(got.ey, lamina.e2, 1e-9);
            close(got.gxy, lamina.g12, 1e-9);
            prop_assert!((got.nu_xy - lamina.nu12).abs() < 1e-9 * (1.0 + lamina.nu12.abs()));
            prop_assert!((got.nu_yx - lamina.nu21()).abs() < 1e-9);
            prop_assert!(got.shear_per_x.abs() < 1e-9 && got.shear_per_y.abs() < 1e-9);
        }
        prop_assert!((whole.expansion[0] - lamina.cte1).abs() < 1e-14);
        prop_assert!((whole.expansion[1] - lamina.cte2).abs() < 1e-14);
    }

    #[test]
    fn half_a_turn_and_splitting_a_ply_change_nothing(layers in any_stack(), which in 0usize..8) {
        let whole = stiffness(&layers).unwrap();
        let mut other: Vec<_> = layers.iter().map(|one| ElasticLayer { angle: if one.angle > 0.0 { one.angle - PI } else { one.angle + PI }, ..*one }).collect();
        let which = which % other.len();
        other[which].thickness /= 2.0;
        other.insert(which, other[which]);
        let got = stiffness(&other).unwrap();
        for (mine, theirs, size) in [
            (&whole.a, &got.a, whole.a[0][0] + whole.a[1][1]),
            (&whole.d, &got.d, whole.d[0][0] + whole.d[1][1]),
        ] {
            for (x, y) in mine.iter().flatten().zip(theirs.iter().flatten()) {
                prop_assert!((x - y).abs() <= 1e-11 * size);
            }
        }
    }

    #[test]
    fn the_inverse_answers_the_load(layers in any_stack(), n in prop::array::uniform3(-1e5..1e5), m in prop::array::uniform3(-1e2..1e2)) {
        let stiff = stiffness(&layers).unwrap();
        let got = stiff.compliance().unwrap().deformation(&Load { force: n, moment: m, temperature: 0.0 }).unwrap();
        let force = matrix::plus(&matrix::times(&stiff.a, &got.strain), 1.0, &matrix::times(&stiff.b, &got.curvature));
        let moment = matrix::plus(&matrix::times(&stiff.b, &got.strain), 1.0, &matrix::times(&stiff.d, &got.curvature));
        for i in 0..3 {
            prop_assert!((force[i] - n[i]).abs() <= 1e-7 * 1e5);
            prop_assert!((moment[i] - m[i]).abs() <= 1e-7 * 1e2);
        }
    }
}

#[test]
fn a_right_angle_leaves_no_coupling() {
    let turned = OWN.rotated_stiffness(FRAC_PI_2).unwrap();
    assert_eq!((turned[0][2], turned[1][2]), (0.0, 0.0));
}
