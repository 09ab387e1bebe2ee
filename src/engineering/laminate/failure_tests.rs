//! Stresses, criteria and failure beside figures computed elsewhere, and what holds for all of them.

use super::lamination_tests::{any_lamina, stack};
use super::*;
use proptest::prelude::*;
use std::f64::consts::PI;

const PLY: Lamina = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 30e-6 };

const ALL: [Criterion; 6] = [
    Criterion::MaximumStress,
    Criterion::MaximumStrain,
    Criterion::TSAI_HILL,
    Criterion::TsaiHill { by_sign: false },
    Criterion::TSAI_WU,
    Criterion::Hashin,
];

fn strength(xt: f64, xc: f64, yt: f64, yc: f64, s: f64) -> PlyStrength {
    let some = |mpa: f64| Some(mpa * 1e6);
    PlyStrength { xt: some(xt), xc: some(xc), yt: some(yt), yc: some(yc), s: some(s), s23: None }
}

fn judged(layers: &[ElasticLayer], strength: PlyStrength) -> Vec<JudgedLayer> {
    layers
        .iter()
        .map(|one| JudgedLayer {
            lamina: one.lamina,
            angle: one.angle,
            thickness: one.thickness,
            strength: Some(strength),
        })
        .collect()
}

fn close(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance * expected.abs(), "{got} is not {expected}");
}

fn found(criterion: Criterion, strength: &PlyStrength, scaled: Vector3, constant: Vector3) -> Reserve {
    reserve(criterion, &PLY, strength, scaled, constant).unwrap().unwrap()
}

// Kaw, example 4.3 (from memory), computed again with numpy.
#[test]
fn stresses_of_the_textbook_laminate() {
    let book = Lamina { e1: 181e9, e2: 10.3e9, g12: 7.17e9, nu12: 0.28, cte1: 0.02e-6, cte2: 22.5e-6 };
    let layers = stack(book, 5e-3, &[0.0, 30.0, -45.0]);
    let got = recover_under(&layers, &Load { force: [1000.0, 1000.0, 0.0], ..Load::default() }).unwrap();
    let expected = [
        (0, [3.351320e4, 6.187536e4, -2.750372e4]),
        (4, [1.063300e5, 7.746782e4, 5.903179e4]),
        (8, [-2.546861e4, -1.840209e4, 4.091257e4]),
    ];
    for (point, stress) in expected {
        for (g, e) in got[point].stress.iter().zip(stress) {
            close(*g, e, 1e-6);
        }
    }
    for (g, e) in got[4].ply_stress.iter().zip([1.502375e5, 3.356035e4, 1.701819e4]) {
        close(*g, e, 1e-6);
    }
    assert_eq!((got[4].layer, got[4].position), (1, Position::Middle));
    assert!(got[4].z.abs() < 1e-15);
    close(got[0].z, -7.5e-3, 1e-12);
}

// Kaw, examples 2.13 to 2.19 (from memory), computed again with numpy.
#[test]
fn the_textbook_off_axis_ply() {
    let strength = strength(1500.0, 1500.0, 40.0, 246.0, 68.0);
    let own = stress_in_ply([2e6, -3e6, 4e6], PI / 3.0).unwrap();
    for (g, e) in own.iter().zip([1.71410e6, -2.71410e6, -4.16506e6]) {
        close(*g, e, 3e-6);
    }
    let at = |criterion| found(criterion, &strength, own, [0.0; 3]);
    close(at(Criterion::MaximumStress).factor, 16.3263, 3e-6);
    assert_eq!(at(Criterion::MaximumStress).mode, Mode::Shear);
    close(at(Criterion::TsaiHill { by_sign: false }).factor, 10.9376, 5e-6);
    close(at(Criterion::TSAI_HILL).factor, 16.0607, 5e-6);
    close(at(Criterion::TSAI_WU).factor, 22.3887, 5e-6);
    close(at(Criterion::TsaiWu { interaction: 0.0 }).factor, 22.4966, 5e-6);
    let wu = at(Criterion::TSAI_WU);
    assert_eq!((wu.mode, wu.leading), (Mode::Interaction, Mode::Shear));
}

// Strengths as in a public lecture exercise on glass and epoxy; figures computed with numpy.
#[test]
fn strength_off_the_axis() {
    let strength = strength(1080.0, 620.0, 39.0, 128.0, 89.0);
    use Mode::{FibreCompression, FibreTension, MatrixCompression, MatrixTension, Shear};
    let table = [
        (0.0, 1.0, 1080.0, FibreTension, 1080.0, 1080.0),
        (0.0, -1.0, 620.0, FibreCompression, 620.0, 620.0),
        (5.0, 1.0, 1025.061, Shear, 739.719, 788.013),
        (5.0, -1.0, 624.746, FibreCompression, 534.698, 550.859),
        (15.0, 1.0, 356.0, Shear, 294.457, 303.880),
        (15.0, -1.0, 356.0, Shear, 312.099, 365.303),
        (30.0, 1.0, 156.0, MatrixTension, 123.955, 123.323),
        (30.0, -1.0, 205.537, Shear, 187.444, 239.988),
        (45.0, 1.0, 78.0, MatrixTension, 71.442, 70.992),
        (45.0, -1.0, 178.0, Shear, 146.144, 181.310),
        (60.0, 1.0, 52.0, MatrixTension, 50.419, 50.264),
        (60.0, -1.0, 170.667, MatrixCompression, 131.672, 149.359),
        (90.0, 1.0, 39.0, MatrixTension, 39.0, 39.0),
        (90.0, -1.0, 128.0, MatrixCompression, 128.0, 128.0),
    ];
    for (degrees, sign, most, mode, hill, wu) in table {
        let own = stress_in_ply([sign * 1e6, 0.0, 0.0], f64::to_radians(degrees)).unwrap();
        let at = |criterion| found(criterion, &strength, own, [0.0; 3]);
        close(at(Criterion::MaximumStress).factor, most, 5e-6);
        assert_eq!(at(Criterion::MaximumStress).mode, mode, "{degrees} {sign}");
        close(at(Criterion::TSAI_HILL).factor, hill, 1e-5);
        close(at(Criterion::TSAI_WU).factor, wu, 1e-5);
    }
}

// Computed with numpy.
#[test]
fn first_ply_failure_of_three_laminates() {
    let strength = strength(1500.0, 1200.0, 50.0, 250.0, 70.0);
    let cross = judged(&stack(PLY, 0.19e-3, &[0.0, 90.0, 90.0, 0.0]), strength);
    let bias = judged(&stack(PLY, 0.19e-3, &[45.0, -45.0, -45.0, 45.0]), strength);
    let pull = Load { force: [100e3, 0.0, 0.0], ..Load::default() };
    let bend = Load { moment: [10.0, 0.0, 0.0], ..Load::default() };
    let three = [Criterion::MaximumStress, Criterion::TSAI_HILL, Criterion::TSAI_WU];
    for (layers, load, factors, numbers) in [
        (&cross, &pull, [3.13368, 3.13276, 3.11619], [1, 1, 1]),
        (&bias, &pull, [1.06400, 1.03687, 0.98278], [0, 0, 0]),
        (&cross, &bend, [10.19933, 10.24520, 11.91249], [0, 0, 3]),
    ] {
        for ((criterion, factor), number) in three.into_iter().zip(factors).zip(numbers) {
            let got = first_ply(layers, load, criterion).unwrap();
            close(got.factor, factor, 5e-6);
            assert_eq!(got.layer, number, "{}", criterion.name());
        }
    }
}

// By hand from the formulas of Hashin 1980.
#[test]
fn the_modes_of_hashin() {
    let own = PlyStrength { s23: Some(100e6), ..strength(1500.0, 1200.0, 50.0, 250.0, 70.0) };
    let at = |stress: Vector3| found(Criterion::Hashin, &own, stress.map(|v| v * 1e6), [0.0; 3]);
    let fibre = at([750.0, 0.0, 35.0]);
    close(fibre.factor, 2.0_f64.sqrt(), 1e-12);
    assert_eq!(fibre.mode, Mode::FibreTension);
    let buckled = at([-600.0, 0.0, 10.0]);
    assert_eq!(buckled.mode, Mode::FibreCompression);
    close(buckled.factor, 2.0, 1e-12);
    let split = at([100.0, 25.0, 35.0]);
    assert_eq!(split.mode, Mode::MatrixTension);
    close(split.factor, 2.0_f64.sqrt(), 1e-12);
    // (200/200)^2 R^2 - ((250/200)^2 - 1) 200/250 R = 1, so R^2 - 0.45 R - 1 = 0.
    let crushed = at([0.0, -200.0, 0.0]);
    assert_eq!(crushed.mode, Mode::MatrixCompression);
    close(crushed.factor, (0.45 + 4.2025_f64.sqrt()) / 2.0, 1e-12);
    close(at([0.0, -250.0, 0.0]).factor, 1.0, 1e-12);
    let plain = PlyStrength { s23: None, ..own };
    close(found(Criterion::Hashin, &plain, [0.0, -125e6, 0.0], [0.0; 3]).factor, 2.0, 1e-12);
    // Shear alone belongs to the matrix.
    assert_eq!(at([0.0, 0.0, 35.0]).mode, Mode::MatrixTension);
}

#[test]
fn a_constant_part_is_not_multiplied() {
    let own = strength(1500.0, 1200.0, 50.0, 250.0, 70.0);
    let at = |scaled, constant| found(Criterion::MaximumStress, &own, scaled, constant);
    close(at([0.0, 10e6, 0.0], [0.0, 30e6, 0.0]).factor, 2.0, 1e-12);
    // From tension of cure through zero into compression.
    let turned = at([0.0, -10e6, 0.0], [0.0, 30e6, 0.0]);
    close(turned.factor, 28.0, 1e-12);
    assert_eq!(turned.mode, Mode::MatrixCompression);
    for criterion in ALL {
        let failed = found(criterion, &own, [1e6, 0.0, 0.0], [0.0, 60e6, 0.0]);
        assert_eq!((failed.factor, failed.leading), (0.0, Mode::MatrixTension));
        assert_eq!(failed.margin(), -1.0);
        assert_eq!(reserve(criterion, &PLY, &own, [0.0; 3], [0.0; 3]), Ok(None));
        assert_eq!(reserve(criterion, &PLY, &own, [0.0; 3], [1e6, 1e6, 0.0]), Ok(None));
    }
}

#[test]
fn missing_strengths_are_named() {
    let none = PlyStrength::default();
    let missing = |criterion, strength: &PlyStrength, stress| match reserve(
        criterion, &PLY, strength, stress, [0.0; 3],
    ) {
        Err(LaminateError::MissingStrengths { missing, .. }) => missing,
        other => panic!("{other:?}"),
    };
    let stress = [1e6, -1e6, 1e6];
    assert_eq!(missing(Criterion::MaximumStress, &none, stress), ["Xt", "Yc", "S"]);
    assert_eq!(missing(Criterion::TSAI_HILL, &none, stress), ["Xt", "Yc", "S"]);
    assert_eq!(missing(Criterion::TsaiHill { by_sign: false }, &none, stress), ["Xt", "Yt", "S"]);
    assert_eq!(missing(Criterion::TSAI_WU, &none, stress), ["Xt", "Xc", "Yt", "Yc", "S"]);
    assert_eq!(missing(Criterion::Hashin, &none, stress).len(), 3);
    assert_eq!(missing(Criterion::TSAI_WU, &none, [1e6, 0.0, 0.0]), ["Xt", "Xc"]);
    // What this state does not ask for may be missing.
    let pulled = PlyStrength { xt: Some(1500e6), ..none };
    assert!(reserve(Criterion::MaximumStress, &PLY, &pulled, [1e6, 1e-9, -1e-9], [0.0; 3]).is_ok());
    let layers = judged(&stack(PLY, 1e-3, &[90.0]), pulled);
    let fault =
        first_ply(&layers, &Load { force: [1e3, 0.0, 0.0], ..Load::default() }, Criterion::MaximumStress);
    assert_eq!(
        fault.unwrap_err().to_string(),
        "layer 1 from the tool face: maximum stress needs Yt under these stresses, and the ply has no such strength"
    );
}

#[test]
fn named_faults() {
    let own = strength(1500.0, 1200.0, 50.0, 250.0, 70.0);
    let layers = judged(&stack(PLY, 1e-3, &[0.0]), own);
    let load = Load { force: [1e3, 0.0, 0.0], ..Load::default() };
    let at = |layers: &[JudgedLayer], load: &Load| first_ply(layers, load, Criterion::TSAI_WU).unwrap_err();
    assert_eq!(at(&[], &load), LaminateError::NoLayers);
    assert_eq!(at(&layers, &Load::default()), LaminateError::NoFailure);
    assert_eq!(at(&[JudgedLayer { strength: None, ..layers[0] }], &load), LaminateError::NothingJudged);
    assert_eq!(at(&[JudgedLayer { lamina: Lamina::VOID, ..layers[0] }], &load), LaminateError::Singular);
    let bad = PlyStrength { xt: Some(-1.0), ..own };
    assert!(matches!(
        at(&judged(&stack(PLY, 1e-3, &[0.0]), bad), &load),
        LaminateError::InLayer { layer: 1, .. }
    ));
    assert!(matches!(at(&layers, &Load { temperature: f64::NAN, ..load }), LaminateError::OutOfRange { .. }));
    for interaction in [-1.0, 1.0, f64::NAN] {
        assert!(first_ply(&layers, &load, Criterion::TsaiWu { interaction }).is_err());
    }
    assert!(reserve(Criterion::TSAI_WU, &PLY, &own, [f64::NAN, 0.0, 0.0], [0.0; 3]).is_err());
    assert!(reserve(Criterion::TSAI_WU, &PLY, &own, [f64::INFINITY, 0.0, 0.0], [0.0; 3]).is_err());
    for remainder in [0.0, 1.5, f64::NAN] {
        assert!(last_ply(&layers, &load, Criterion::TSAI_WU, remainder).is_err());
    }
}

// By hand: once the plies across are broken, the plies along carry by A of the discounted stack.
#[test]
fn the_last_ply_of_a_cross_ply_is_its_fibres() {
    let own = strength(1500.0, 1200.0, 50.0, 250.0, 70.0);
    let layers = judged(&stack(PLY, 0.19e-3, &[0.0, 90.0, 90.0, 0.0]), own);
    let load = Load { force: [100e3, 0.0, 0.0], ..Load::default() };
    let got = last_ply(&layers, &load, Criterion::MaximumStress, USUAL_REMAINDER).unwrap();
    let modes: Vec<_> = got.steps.iter().map(|step| (step.layer, step.mode)).collect();
    assert_eq!(got.steps[0], first_ply(&layers, &load, Criterion::MaximumStress).unwrap());
    assert_eq!(modes[..2], [(1, Mode::MatrixTension), (2, Mode::MatrixTension)]);
    assert_eq!(modes.last().unwrap().1, Mode::FibreTension);
    // At 1500 MPa along, 1.087 % of strain, the plies along are pulled across by less than
    // Q12 1.087 % = 30 MPa: they do not split.
    assert_eq!(got.steps.len(), 3);
    let mut left = stack(PLY, 0.19e-3, &[0.0, 90.0, 90.0, 0.0]);
    for broken in &mut left[1..3] {
        broken.lamina = Lamina { e2: 0.9e9, g12: 0.69e9, ..PLY };
    }
    let states = recover_under(&left, &load).unwrap();
    close(got.factor, 1500e6 / states[0].ply_stress[0], 1e-9);
    assert!(got.factor > got.steps[0].factor);
}

#[test]
fn a_core_carries_and_is_not_judged() {
    let own = strength(1500.0, 1200.0, 50.0, 250.0, 70.0);
    let mut layers = judged(&stack(PLY, 0.2e-3, &[0.0, 0.0, 0.0]), own);
    layers[1] = JudgedLayer {
        lamina: Lamina { e1: 50e6, e2: 50e6, g12: 20e6, nu12: 0.3, cte1: 0.0, cte2: 0.0 },
        thickness: 10e-3,
        strength: None,
        ..layers[1]
    };
    let load = Load { moment: [500.0, 0.0, 0.0], ..Load::default() };
    let all = layer_reserves(&layers, &load, Criterion::MaximumStress).unwrap();
    assert_eq!(all.iter().map(|one| one.layer).collect::<Vec<_>>(), [0, 0, 2, 2]);
    let got = first_ply(&layers, &load, Criterion::MaximumStress).unwrap();
    assert_eq!((got.layer, got.position, got.mode), (0, Position::Bottom, Mode::FibreCompression));
    let least =
        all.iter().filter_map(|one| one.reserve).fold(f64::INFINITY, |least, one| least.min(one.factor));
    close(got.factor, least, 1e-12);
}

// More layers than the fast way can number, and a layer that it cannot judge: the long way answers.
#[test]
fn stacks_beyond_the_fast_way() {
    let own = strength(1500.0, 1200.0, 50.0, 250.0, 70.0);
    let load = Load { force: [1e5, 2e4, 3e4], moment: [20.0, 5.0, 0.0], ..Load::default() };
    let whole = first_ply(&judged(&stack(PLY, 2.5e-3, &[30.0]), own), &load, Criterion::TSAI_WU).unwrap();
    let thin = judged(&stack(PLY, 1e-6, &[30.0; 2500]), own);
    let got = first_ply(&thin, &load, Criterion::TSAI_WU).unwrap();
    close(got.factor, whole.factor, 1e-9);
    assert_eq!(
        (got.layer, got.position),
        (if whole.position == Position::Top { 2499 } else { 0 }, whole.position)
    );
    let mut layers = judged(&stack(PLY, 1e-3, &[0.0, 0.0]), own);
    layers[1].strength = Some(PlyStrength { xc: None, ..own });
    let fault = first_ply(&layers, &load, Criterion::TSAI_WU).unwrap_err();
    assert!(fault.to_string().starts_with("layer 2 from the tool face: Tsai-Wu needs Xc"), "{fault}");
}

#[test]
fn design_strains() {
    let own = strength(1500.0, 1200.0, 50.0, 250.0, 70.0);
    let layers = judged(&stack(PLY, 1e-3, &[0.0]), own);
    let allowed = DesignStrain { tension: Some(4e-3), compression: Some(3e-3), shear: None };
    // 2000 microstrain along, 600 of Poisson's contraction across.
    let load = Load { force: [138e9 * 1e-3 * 2e-3, 0.0, 0.0], ..Load::default() };
    let got = strain_peaks(&layers, &load, &allowed).unwrap();
    let (tension, compression) = (got.tension.unwrap(), got.compression.unwrap());
    close(tension.strain, 2e-3, 1e-12);
    close(tension.reserve.unwrap(), 2.0, 1e-12);
    close(compression.strain, 0.6e-3, 1e-12);
    close(compression.reserve.unwrap(), 5.0, 1e-12);
    assert_eq!(got.shear, None);
    close(got.reserve.unwrap(), 2.0, 1e-12);
    // A free ply is not strained by heat in this sense; a held one is.
    let hot = strain_peaks(&layers, &Load { temperature: -100.0, ..load }, &allowed).unwrap();
    close(hot.tension.unwrap().strain, 2e-3, 1e-9);
    let none = strain_peaks(&layers, &load, &DesignStrain::default());
    assert_eq!(none, Err(LaminateError::NothingJudged));
    let bad = DesignStrain { tension: Some(4000.0), ..allowed };
    assert!(strain_peaks(&layers, &load, &bad).is_err());
}

// Mohr's circle by hand.
#[test]
fn principal_strains() {
    let got = principal_strain([1e-3, -1e-3, 0.0]).unwrap();
    assert_eq!((got.major, got.minor, got.shear, got.angle), (1e-3, -1e-3, 2e-3, 0.0));
    let got = principal_strain([0.0, 0.0, 2e-3]).unwrap();
    close(got.major, 1e-3, 1e-12);
    close(got.angle, PI / 4.0, 1e-12);
    assert!(principal_strain([f64::NAN, 0.0, 0.0]).is_err());
}

fn any_strength() -> impl Strategy<Value = PlyStrength> {
    (200.0..3000.0, 200.0..2000.0, 10.0..90.0, 50.0..300.0, 20.0..150.0)
        .prop_map(|(xt, xc, yt, yc, s)| strength(xt, xc, yt, yc, s))
}

fn any_judged() -> impl Strategy<Value = Vec<JudgedLayer>> {
    let layer = (any_lamina(), -1.5..1.5, 0.05e-3..1e-3, any_strength()).prop_map(
        |(lamina, angle, thickness, one)| JudgedLayer { lamina, angle, thickness, strength: Some(one) },
    );
    prop::collection::vec(layer, 1..7)
}

fn any_load() -> impl Strategy<Value = Load> {
    (prop::array::uniform3(-1e5..1e5), prop::array::uniform3(-30.0..30.0)).prop_map(|(force, moment)| Load {
        force,
        moment,
        temperature: 0.0,
    })
}

/// A load in axes turned by `angle`: as stress turns.
fn turned(load: &Load, angle: f64) -> Load {
    let turn = |v| stress_in_ply(v, angle).unwrap();
    Load { force: turn(load.force), moment: turn(load.moment), temperature: load.temperature }
}

/// Failure indices of the definition, written apart from the gauge's forms: the largest at this stress.
fn index(criterion: Criterion, lamina: &Lamina, strength: &PlyStrength, stress: Vector3) -> f64 {
    let [s1, s2, t] = stress;
    let PlyStrength { xt, xc, yt, yc, s, .. } = *strength;
    let [xt, xc, yt, yc, s] = [xt, xc, yt, yc, s].map(Option::unwrap);
    let x = if s1 >= 0.0 { xt } else { xc };
    let y = if s2 >= 0.0 { yt } else { yc };
    match criterion {
        Criterion::MaximumStress => (s1.abs() / x).max(s2.abs() / y).max(t.abs() / s),
        Criterion::MaximumStrain => {
            let e1 = (s1 - lamina.nu12 * s2) / lamina.e1;
            let e2 = s2 / lamina.e2 - lamina.nu12 * s1 / lamina.e1;
            let along = e1.abs() * lamina.e1 / if e1 >= 0.0 { xt } else { xc };
            let across = e2.abs() * lamina.e2 / if e2 >= 0.0 { yt } else { yc };
            along.max(across).max(t.abs() / s)
        }
        Criterion::TsaiHill { by_sign } => {
            let (x, y) = if by_sign { (x, y) } else { (xt, yt) };
            (s1 / x).powi(2) - s1 * s2 / x.powi(2) + (s2 / y).powi(2) + (t / s).powi(2)
        }
        Criterion::TsaiWu { interaction } => {
            let f12 = interaction / (xt * xc * yt * yc).sqrt();
            (1.0 / xt - 1.0 / xc) * s1
                + (1.0 / yt - 1.0 / yc) * s2
                + s1 * s1 / (xt * xc)
                + s2 * s2 / (yt * yc)
                + 2.0 * f12 * s1 * s2
                + (t / s).powi(2)
        }
        Criterion::Hashin => {
            let shear = (t / s).powi(2);
            let fibre = if s1 > 0.0 { (s1 / xt).powi(2) + shear } else { s1.abs() / xc };
            fibre.max((s2 / y).powi(2) + shear)
        }
    }
}

proptest! {
    #[test]
    fn the_index_is_one_at_the_reserve_and_less_before(
        lamina in any_lamina(), own in any_strength(),
        scaled in prop::array::uniform3(-50e6..50e6), constant in prop::array::uniform3(-9e6..9e6), still in any::<bool>()
    ) {
        let constant = if still { [0.0; 3] } else { constant };
        for criterion in ALL {
            let Some(got) = reserve(criterion, &lamina, &own, scaled, constant).unwrap() else { continue };
            let at = |factor| index(criterion, &lamina, &own, matrix::plus(&constant, factor, &scaled));
            let name = criterion.name();
            if got.factor > 0.0 {
                // Hashin's fibre mode jumps where s1 turns to tension: there the index steps over 1.
                let (below, above) = (at(got.factor * (1.0 - 1e-7)), at(got.factor * (1.0 + 1e-7)));
                prop_assert!(below <= 1.0 && above >= 1.0, "{name}: {below} {above} at {got:?}");
            } else {
                prop_assert!(at(0.0) >= 1.0, "{name}");
            }
            // A ply that fails before any load has no way to it.
            let steps = if got.factor > 0.0 { 1..50 } else { 0..0 };
            for share in steps {
                prop_assert!(at(got.factor * f64::from(share) / 50.0) <= 1.0 + 1e-12, "{name} at {share}");
            }
        }
    }

    #[test]
    fn twice_the_load_is_half_the_reserve(layers in any_judged(), load in any_load(), times in 0.01..100.0) {
        let more = Load { force: load.force.map(|v| v * times), moment: load.moment.map(|v| v * times), ..load };
        for criterion in ALL {
            let (one, other) = (first_ply(&layers, &load, criterion), first_ply(&layers, &more, criterion));
            match (one, other) {
                (Ok(one), Ok(other)) => close(other.factor * times, one.factor, 1e-9),
                (one, other) => prop_assert_eq!(one, other),
            }
        }
    }

    #[test]
    fn margins_fall_with_load_whatever_the_temperature(
        layers in any_judged(), load in any_load(), change in -150.0..50.0, times in 1.01..3.0
    ) {
        let cold = Load { temperature: change, ..load };
        let more = Load { force: load.force.map(|v| v * times), moment: load.moment.map(|v| v * times), ..cold };
        for criterion in [Criterion::MaximumStress, Criterion::MaximumStrain, Criterion::TSAI_WU] {
            let one = first_ply(&layers, &cold, criterion).unwrap().factor;
            let other = first_ply(&layers, &more, criterion).unwrap().factor;
            prop_assert!(other <= one && (one == 0.0 || other < one));
        }
    }

    #[test]
    fn turning_laminate_and_load_changes_nothing(layers in any_judged(), load in any_load(), angle in -3.0..3.0, change in -100.0..100.0) {
        let load = Load { temperature: change, ..load };
        let other: Vec<_> = layers.iter().map(|one| JudgedLayer { angle: one.angle - angle, ..*one }).collect();
        for criterion in ALL {
            let one = first_ply(&layers, &load, criterion);
            let two = first_ply(&other, &turned(&load, angle), criterion);
            match (one, two) {
                (Ok(one), Ok(two)) => prop_assert!((one.factor - two.factor).abs() <= 1e-6 * one.factor.max(1e-6)),
                (one, two) => prop_assert_eq!(one, two),
            }
        }
    }

    // The screen of the fast way against judging every face.
    #[test]
    fn the_first_ply_is_the_least_of_all_faces(layers in any_judged(), load in any_load(), change in -200.0..200.0) {
        let load = Load { temperature: change, ..load };
        for criterion in ALL {
            let all = layer_reserves(&layers, &load, criterion).unwrap();
            let least = all.iter().filter_map(|one| one.reserve).fold(f64::INFINITY, |least, one| least.min(one.factor));
            match first_ply(&layers, &load, criterion) {
                Ok(got) => prop_assert!((got.factor - least).abs() <= 1e-11 * least),
                Err(fault) => prop_assert!(fault == LaminateError::NoFailure && least.is_infinite()),
            }
        }
    }
}
