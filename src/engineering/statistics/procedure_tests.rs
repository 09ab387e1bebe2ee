use super::super::normal_quantile;
use super::super::samples::{BEARINGS, GEAR, S18};
use super::*;

fn near(what: &str, got: f64, expected: f64, relative: f64) {
    assert!((got / expected - 1.0).abs() < relative, "{what}: {got} is not {expected}");
}

fn of(groups: &[&[f64]]) -> Procedure {
    procedure(groups, &Levels::default()).unwrap()
}

#[test]
fn an_invented_sample_goes_the_way_computed_apart() {
    // Each figure recomputed with numpy and scipy.
    let groups: Vec<&[f64]> = S18.iter().map(|own| &own[..]).collect();
    let found = of(&groups);
    for (batch, residual) in found.batches.iter().zip([1.5185, 1.6031, 1.4177]) {
        assert!((batch.outliers[0].residual - residual).abs() < 6e-5 && batch.outliers.len() == 1);
    }
    assert!((found.outliers[0].residual - 1.9843).abs() < 6e-5 && found.outliers.len() == 1);
    assert_eq!(found.is_one_population(), Some(true));
    assert!(found.variances.as_ref().unwrap().is_equal());
    assert_eq!(found.method, Method::One(Distribution::Weibull));
    near("B", found.b.as_ref().unwrap().value, 2_392.432, 1e-6);
    near("A", found.a.as_ref().unwrap().value, 2_223.587, 1e-6);
    assert_eq!((found.lacks(Basis::B).len(), found.lacks(Basis::A).len()), (0, 2));
    // 2 degrees: chi-square 7.377759 and 0.050636 (tables).
    let [low, high] = found.batch_spread().unwrap();
    near("low", low, (2.0_f64 / 7.377_759).sqrt(), 1e-6);
    near("high", high, (2.0_f64 / 0.050_636).sqrt(), 1e-5);
}

#[test]
fn batches_that_differ_are_analysed() {
    // Gear data turn at 0.05 (see the test of batches).
    let groups: Vec<&[f64]> = GEAR.iter().map(|own| &own[..]).collect();
    let found = procedure(&groups, &Levels { batches: 0.05, ..Levels::default() }).unwrap();
    assert_eq!((found.method, found.is_one_population()), (Method::Batches, Some(false)));
    near("B", found.b.unwrap().value, 0.986_974, 1e-6);
    assert_ne!(of(&groups).method, Method::Batches);
}

/// A value of the standard normal distribution for each of `n` equal shares.
fn normal_scores(n: u32) -> Vec<f64> {
    (1..=n).map(|i| normal_quantile((f64::from(i) - 0.375) / (f64::from(n) + 0.25)).unwrap()).collect()
}

#[test]
fn each_distribution_is_taken_where_those_before_it_do_not_fit() {
    let normal: Vec<f64> = normal_scores(100).iter().map(|z| 100.0 + 5.0 * z).collect();
    let found = of(&[&normal]);
    assert_eq!(found.method, Method::One(Distribution::Normal), "{:?}", found.fits);
    near("B", found.b.unwrap().value, found.whole.mean - 1.52675 * found.whole.sd, 1e-5);
    let logs = normal_scores(100);
    let lognormal: Vec<f64> = logs.iter().map(|z| (3.0 + 0.6 * z).exp()).collect();
    let found = of(&[&lognormal]);
    assert_eq!(found.method, Method::One(Distribution::Lognormal), "{:?}", found.fits);
    let own = sample(&logs).unwrap();
    near("B", found.b.unwrap().value, (3.0 + 0.6 * (own.mean - 1.52675 * own.sd)).exp(), 1e-4);
    // Two heaps far apart fit nothing: ranks for a large sample, two ordered values for a small one.
    let heaps = |n: u32| -> Vec<f64> {
        (0..n).map(|i| if i % 2 == 0 { 50.0 } else { 90.0 } + 0.1 * f64::from(i)).collect()
    };
    let found = of(&[&heaps(40)]);
    assert_eq!(found.method, Method::NoDistribution, "{:?}", found.fits);
    assert!(matches!(found.b.unwrap().way, Way::Rank(1)));
    assert!(matches!(found.a.unwrap().way, Way::HansonKoopmans(own) if own.rank == 40));
    let found = of(&[&heaps(20)]);
    assert!(matches!(found.b.unwrap().way, Way::HansonKoopmans(own) if own.rank == 10), "{:?}", found.method);
}

#[test]
fn an_outlier_is_named_and_stays() {
    let mut values = normal_scores(18).iter().map(|z| 500.0 + 10.0 * z).collect::<Vec<f64>>();
    values[4] = 700.0;
    let found = of(&[&values[..9], &values[9..]]);
    assert_eq!((found.outliers[0].index, found.outliers[0].is_outlier()), (4, true));
    assert_eq!(found.batches[0].outliers[0].index, 4);
    assert_eq!(found.whole.n, 18);
}

#[test]
fn the_modified_coefficient_is_an_option_that_takes_a_larger_spread() {
    let groups: Vec<&[f64]> = S18.iter().map(|own| &own[..]).collect();
    let plain = of(&groups);
    let raised = procedure(&groups, &Levels { modified_cv: true, ..Levels::default() }).unwrap();
    assert_eq!((plain.modified, raised.method), (None, Method::ModifiedNormal));
    // 2553.1222 (1 - 1.97380 x 0.06).
    near("B", raised.b.unwrap().value, 2_553.122_2 * (1.0 - 1.97380 * 0.06), 1e-6);
    // From 8 % on it modifies nothing: the sample goes the common way, batches that differ among it.
    let wide: Vec<Vec<f64>> =
        S18.iter().map(|own| own.iter().map(|value| value - 2000.0).collect()).collect();
    let apart = [wide[0].clone(), wide[1].iter().map(|value| value + 400.0).collect(), wide[2].clone()];
    for groups in [&wide[..], &apart[..]] {
        let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
        let (plain, asked) =
            (of(&slices), procedure(&slices, &Levels { modified_cv: true, ..Levels::default() }).unwrap());
        assert!(plain.cv().unwrap() > 0.08);
        assert_eq!((plain.method, &plain.b, &plain.a), (asked.method, &asked.b, &asked.a));
    }
    assert_eq!(of(&apart.iter().map(Vec::as_slice).collect::<Vec<_>>()).method, Method::Batches);
    // The rule is one of the normal distribution: lives of bearings are not.
    let skewed: Vec<f64> = BEARINGS.iter().map(|life| life.powi(3)).collect();
    let found = procedure(&[&skewed], &Levels { modified_cv: true, ..Levels::default() }).unwrap();
    assert_ne!(found.method, Method::ModifiedNormal);
}

/// By hand: 18 values of which two batches have one each are of one batch that tells anything; three batches that differ are
/// fewer than the five that an analysis of variance wants.
#[test]
fn batches_of_one_and_few_that_differ_make_an_estimate() {
    let even = |n: usize, mean: f64| (0..n).map(|at| mean + (at as f64 * 7.0) % 5.0).collect::<Vec<f64>>();
    let lacks = |groups: &[Vec<f64>]| {
        let found =
            procedure(&groups.iter().map(Vec::as_slice).collect::<Vec<_>>(), &Levels::default()).unwrap();
        (found.method, found.lacks(Basis::B))
    };
    assert!(lacks(&[even(6, 500.0), even(6, 500.5), even(6, 501.0)]).1.is_empty());
    let (_, own) = lacks(&[even(16, 500.0), even(1, 500.5), even(1, 501.0)]);
    assert_eq!(own, ["1 of 3 batches with 3 specimens or more"]);
    let (method, own) = lacks(&[even(6, 500.0), even(6, 520.0), even(6, 540.0)]);
    assert_eq!(
        (method, own),
        (Method::Batches, vec!["3 of 5 batches for an analysis of variance".to_string()])
    );
    let five: Vec<Vec<f64>> = (0..5).map(|at| even(6, 500.0 + 20.0 * f64::from(at))).collect();
    assert_eq!(lacks(&five), (Method::Batches, Vec::new()));
}

#[test]
fn what_is_tied_is_said_to_be_tied() {
    let tied: Vec<f64> =
        std::iter::repeat_n(500.0, 9).chain((1..10).map(|at| 500.0 + f64::from(at))).collect();
    let (rank, _) = super::super::hanson_koopmans_factor(18, Basis::B).unwrap();
    let what = "a Hanson-Koopmans design value";
    assert_eq!(hanson_koopmans(&tied, Basis::B), Err(StatisticsError::Tied { what, rank }));
    let alike = anova(&[&[5.0; 3], &[6.0; 3]], Basis::B);
    assert_eq!(alike, Err(StatisticsError::NoSpreadWithin { what: "an analysis of variance" }));
}

#[test]
fn small_and_odd_samples_are_answered_or_refused() {
    assert!(matches!(procedure(&[], &Levels::default()), Err(StatisticsError::Count { n: 0, .. })));
    assert!(matches!(procedure(&[&[5.0]], &Levels::default()), Err(StatisticsError::Count { n: 1, .. })));
    assert!(matches!(procedure(&[&[5.0; 9]], &Levels::default()), Err(StatisticsError::NoSpread { .. })));
    assert!(procedure(&[&[5.0, f64::NAN]], &Levels::default()).is_err());
    assert!(procedure(&[&[5.0, f64::INFINITY]], &Levels::default()).is_err());
    assert!(procedure(&[&[5.0, 6.0], &[]], &Levels::default()).is_err());
    for levels in [
        Levels { batches: 0.03, ..Levels::default() },
        Levels { outliers: 0.0, ..Levels::default() },
        Levels { variances: 2.0, ..Levels::default() },
        Levels { fit: f64::NAN, ..Levels::default() },
    ] {
        assert!(procedure(&[&[5.0, 6.0, 7.0], &[5.5, 6.5, 7.1]], &levels).is_err(), "{levels:?}");
    }
    // Two values, batches of one, one batch, values below nought: each has an answer.
    assert_eq!(of(&[&[5.0, 6.0]]).method, Method::Untested);
    let ones = of(&[&[5.0], &[6.0], &[7.0], &[8.0], &[6.5], &[6.4]]);
    assert!(ones.b.is_ok() && ones.variances.is_err(), "{ones:?}");
    let one = of(&[&[5.0, 6.0, 5.5, 5.2, 5.9, 5.4]]);
    assert!(one.one_population.is_err() && one.batch_spread().is_none() && one.b.is_ok());
    let below = of(&[&[-5.0, -6.0, -5.5, -5.2, -5.9, -5.4]]);
    assert_eq!((below.method, below.cv()), (Method::One(Distribution::Normal), None));
    assert!(matches!(below.fits[0], Err(StatisticsError::NotPositive { .. })));
    // Nothing fits and a value is at nought: there is no value, and why is said.
    let mut heaps: Vec<f64> = (0..20).map(|i| if i % 2 == 0 { 0.0 } else { 90.0 }).collect();
    heaps[3] = 91.0;
    let found = of(&[&heaps]);
    assert!(matches!(found.b, Err(StatisticsError::NotPositive { .. })), "{:?}", found.b);
}
