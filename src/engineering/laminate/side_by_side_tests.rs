use super::super::{Lamina, PlyStrength, first_ply, layer_reserves};
use super::*;
use proptest::prelude::*;

/// Invented values: two kinds of prepreg, a core without strengths, a layer that is left out of account.
fn kinds() -> Vec<JudgedLayer> {
    let carbon = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.1e-6, cte2: 28e-6 };
    let glass = Lamina { e1: 24e9, e2: 22e9, g12: 4e9, nu12: 0.13, cte1: 12e-6, cte2: 13e-6 };
    let core = Lamina { e1: 90e6, e2: 60e6, g12: 30e6, nu12: 0.25, cte1: 30e-6, cte2: 30e-6 };
    let strength = |xt, xc, yt, yc, s| {
        Some(PlyStrength { xt: Some(xt), xc: Some(xc), yt: Some(yt), yc: Some(yc), s: Some(s), s23: None })
    };
    let strong = strength(1500e6, 1200e6, 50e6, 250e6, 70e6);
    let weak = strength(420e6, 380e6, 400e6, 360e6, 60e6);
    let mut all = Vec::new();
    for step in -5..=6 {
        let angle = f64::from(step * 15).to_radians();
        for (lamina, thickness, strength) in
            [(carbon, 0.13e-3, strong), (carbon, 0.2e-3, strong), (glass, 0.24e-3, weak)]
        {
            all.push(JudgedLayer { lamina, angle, thickness, strength });
        }
    }
    all.push(JudgedLayer { lamina: core, angle: 0.3, thickness: 6e-3, strength: None });
    all.push(JudgedLayer { lamina: Lamina::VOID, angle: 0.0, thickness: 0.15e-3, strength: None });
    all
}

fn stack(layers: &[u16]) -> Vec<JudgedLayer> {
    let kinds = kinds();
    layers.iter().map(|kind| kinds[usize::from(*kind)]).collect()
}

/// The answers of every set of instructions that this machine has.
fn answers(kinds: &Kinds, candidates: &[Candidate<'_>]) -> Vec<Vec<Result<FirstPly, LaminateError>>> {
    let mut all = vec![Vec::new(); 2];
    kinds.first_ply(candidates, &mut all[0]);
    Work { kinds, candidates, answers: &mut all[1] }.with_simd(pulp::Scalar::new());
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = pulp::x86::V3::try_new() {
        let mut own = Vec::new();
        Simd::vectorize(simd, Work { kinds, candidates, answers: &mut own });
        all.push(own);
    }
    all
}

fn like_one_stack(
    candidate: &Candidate<'_>,
    criterion: Criterion,
    answer: &Result<FirstPly, LaminateError>,
) -> Result<(), TestCaseError> {
    let layers = stack(candidate.layers);
    let expected = first_ply(&layers, candidate.load, criterion);
    let (Ok(got), Ok(expected)) = (answer, &expected) else {
        prop_assert_eq!(answer, &expected);
        return Ok(());
    };
    prop_assert!((got.factor / expected.factor - 1.0).abs() < 1e-9, "{:?} {:?}", got, expected);
    // Of points that fail together either may be named; the one that is does fail.
    let reserves = layer_reserves(&layers, candidate.load, criterion).unwrap();
    let named = reserves.iter().find(|own| own.layer == got.layer && own.position == got.position).unwrap();
    let own = named.reserve.unwrap();
    prop_assert!((own.factor / expected.factor - 1.0).abs() < 1e-9, "{:?} {:?}", named, expected);
    prop_assert_eq!((own.mode, own.leading), (got.mode, got.leading));
    Ok(())
}

fn loads() -> impl Strategy<Value = Load> {
    let part = |size: f64| proptest::array::uniform3(prop_oneof![1 => Just(0.0), 4 => -size..size]);
    let heat = prop_oneof![7 => Just(0.0), 1 => -150.0..50.0];
    (part(2e5), part(40.0), heat).prop_map(|(force, moment, temperature)| Load { force, moment, temperature })
}

proptest! {
    #[test]
    fn side_by_side_is_like_one_by_one(
        stacks in proptest::collection::vec((proptest::collection::vec(0..38_u16, 0..40), loads()), 1..30),
        criterion in proptest::sample::select(vec![
            Criterion::TSAI_WU, Criterion::TsaiWu { interaction: 0.1 }, Criterion::TsaiHill { by_sign: false },
            Criterion::TSAI_HILL, Criterion::MaximumStrain, Criterion::Hashin,
        ]),
    ) {
        let kinds = Kinds::new(&kinds(), criterion).unwrap();
        let candidates: Vec<Candidate<'_>> =
            stacks.iter().map(|(layers, load)| Candidate { layers, load }).collect();
        for answers in answers(&kinds, &candidates) {
            prop_assert_eq!(answers.len(), candidates.len());
            for (candidate, answer) in candidates.iter().zip(&answers) {
                like_one_stack(candidate, criterion, answer)?;
            }
        }
    }
}

#[test]
fn what_one_stack_refuses_is_refused_in_its_place() {
    let kinds = Kinds::new(&kinds(), Criterion::TSAI_WU).unwrap();
    let pull = Load { force: [1e5, 0.0, 0.0], ..Load::default() };
    let (none, absurd) = (Load::default(), Load { moment: [1e13, 0.0, 0.0], ..Load::default() });
    let cases: [(&[u16], &Load); 8] = [
        (&[0, 3, 3, 0], &pull),
        (&[], &pull),
        (&[0, 3, 3, 0], &none),
        (&[0, 3, 3, 0], &absurd),
        (&[37, 37], &pull),
        (&[36, 36], &pull),
        (&[0, 99], &pull),
        (&[6, 6], &pull),
    ];
    let candidates = cases.map(|(layers, load)| Candidate { layers, load });
    for answers in answers(&kinds, &candidates) {
        for (at, (candidate, answer)) in candidates.iter().zip(&answers).enumerate() {
            if at == 6 {
                let told = answer.as_ref().unwrap_err().to_string();
                assert_eq!(
                    told,
                    "the kind of a layer is 99 ; it must be the number, from 0, of a kind that was prepared"
                );
            } else {
                like_one_stack(candidate, Criterion::TSAI_WU, answer).unwrap();
            }
        }
        let [first, empty, unloaded, load, void, core, ..] = &answers[..] else { panic!("{answers:?}") };
        assert!(first.is_ok());
        assert_eq!(empty, &Err(LaminateError::NoLayers));
        assert_eq!(unloaded, &Err(LaminateError::NoFailure));
        assert!(matches!(load, Err(LaminateError::OutOfRange { .. })));
        assert_eq!(void, &Err(LaminateError::Singular));
        assert_eq!(core, &Err(LaminateError::NothingJudged));
    }
}

#[test]
fn a_stack_of_more_layers_than_points_goes_its_own_way() {
    let kinds = Kinds::new(&kinds(), Criterion::TSAI_WU).unwrap();
    let many: Vec<u16> = (0..3000).map(|at| at % 36).collect();
    let load = Load { force: [1e5, 2e4, 0.0], ..Load::default() };
    let candidates = [Candidate { layers: &many, load: &load }, Candidate { layers: &[0, 1], load: &load }];
    for answers in answers(&kinds, &candidates) {
        for (candidate, answer) in candidates.iter().zip(&answers) {
            like_one_stack(candidate, Criterion::TSAI_WU, answer).unwrap();
        }
    }
}

#[test]
fn a_kind_that_cannot_be_is_told_by_its_number() {
    let mut all = kinds();
    all[2].thickness = -1.0;
    assert!(matches!(Kinds::new(&all, Criterion::TSAI_WU), Err(LaminateError::InLayer { layer: 3, .. })));
    assert_eq!(Kinds::new(&kinds(), Criterion::TSAI_WU).unwrap().len(), 38);
    assert!(Kinds::new(&[], Criterion::TSAI_WU).unwrap().is_empty());
}
