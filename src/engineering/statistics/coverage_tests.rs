//! Do design values keep what they promise? Samples of known populations, ten thousand a case, with fixed seeds.
//!
//! A B value has to lie below the true 10th percentile, an A value below the 1st, in 95 of 100 samples. Exact
//! methods must do so within three standard errors of the simulation, conservative ones at least as often.

use super::*;
use rayon::prelude::*;

const SAMPLES: u32 = 10_000;
/// Of a share of 0.95 in so many samples, three standard errors: 3 sqrt(0.95 x 0.05/10 000).
const ROOM: f64 = 0.006_54;

/// Samples drawn by a seed.
struct Draw(SplitMix);

impl Draw {
    /// From above 0 to below 1.
    fn share(&mut self) -> f64 {
        (self.0.next() >> 12) as f64 / (1u64 << 52) as f64 + 1.0 / (1u64 << 53) as f64
    }

    /// Two standard normal values, by G. E. P. Box and M. E. Muller.
    fn pair(&mut self) -> [f64; 2] {
        let (size, (sine, cosine)) =
            ((-2.0 * self.share().ln()).sqrt(), (std::f64::consts::TAU * self.share()).sin_cos());
        [size * cosine, size * sine]
    }

    fn normals(&mut self, n: usize) -> Vec<f64> {
        let mut all: Vec<f64> = (0..n.div_ceil(2)).flat_map(|_| self.pair()).collect();
        all.truncate(n);
        all
    }

    /// Weibull values of scale 1.
    fn weibulls(&mut self, n: usize, shape: f64) -> Vec<f64> {
        (0..n).map(|_| (-self.share().ln()).powf(1.0 / shape)).collect()
    }
}

/// The share of samples in which each of `N` statements holds.
fn shares<const N: usize>(seed: u64, holds: impl Fn(&mut Draw) -> [bool; N] + Sync) -> [f64; N] {
    let counts = (0..SAMPLES)
        .into_par_iter()
        .map(|at| {
            let mut draw = Draw(SplitMix(seed.wrapping_mul(0x0100_0000_01b3) ^ (u64::from(at) << 24)));
            holds(&mut draw).map(u32::from)
        })
        .reduce(|| [0; N], |one, two| std::array::from_fn(|i| one[i] + two[i]));
    counts.map(|count| f64::from(count) / f64::from(SAMPLES))
}

#[track_caller]
fn exact(what: &str, shares: &[f64]) {
    println!("{what}: {shares:?}");
    assert!(shares.iter().all(|share| (share - 0.95).abs() < ROOM), "{what}: {shares:?}");
}

#[track_caller]
fn as_simulated(what: &str, share: f64, expected: f64, room: f64) {
    println!("{what}: {share}");
    assert!((share - expected).abs() < room, "{what}: {share}, not {expected}");
}

/// The percentile that a basis promises, of the standard normal distribution.
fn below(basis: Basis) -> f64 {
    normal_quantile(1.0 - basis.content()).unwrap()
}

#[test]
fn normal_samples() {
    let truth = [below(Basis::B), below(Basis::A)].map(|z| 100.0 + 5.0 * z);
    for (n, seed) in [(3, 11), (18, 12), (30, 13)] {
        let found = shares(seed, |draw| {
            let values: Vec<f64> = draw.normals(n).iter().map(|z| 100.0 + 5.0 * z).collect();
            let of = sample(&values).unwrap();
            let value = |basis| basis_value(&of, basis).unwrap();
            [value(Basis::B) < truth[0], value(Basis::A) < truth[1]]
        });
        exact(&format!("normal, {n}"), &found);
    }
}

#[test]
fn lognormal_samples() {
    let truth = [below(Basis::B), below(Basis::A)].map(|z| (3.0 + 0.4 * z).exp());
    let found = shares(21, |draw| {
        let values: Vec<f64> = draw.normals(18).iter().map(|z| (3.0 + 0.4 * z).exp()).collect();
        let Fitted::Lognormal(of) = fitted(&values, Distribution::Lognormal).unwrap() else { panic!() };
        let value = |basis| basis_value(&of, basis).unwrap().exp();
        [value(Basis::B) < truth[0], value(Basis::A) < truth[1]]
    });
    exact("lognormal, 18", &found);
}

fn weibull_shares(n: usize, seed: u64) -> [f64; 2] {
    let population = Weibull { scale: 1.0, shape: 22.0 };
    let truth = [Basis::B, Basis::A].map(|basis| population.above(basis.content()));
    let found = shares(seed, |draw| {
        let fit = weibull(&draw.weibulls(n, population.shape)).unwrap();
        let value = |basis| weibull_value(&fit, n, basis).unwrap().value;
        [value(Basis::B) < truth[0], value(Basis::A) < truth[1]]
    });
    println!("Weibull, {n}: {found:?}");
    found
}

#[test]
fn weibull_samples() {
    // Small samples go by V simulated for this project, those from 16 on by the handbook's approximation.
    for (n, seed) in [(5, 31), (10, 32), (30, 33)] {
        exact(&format!("Weibull, {n}"), &weibull_shares(n, seed));
    }
}

#[test]
fn the_approximation_of_v_is_a_little_high_at_eighteen() {
    // V_B is 5.623 where a million samples give 5.575: on the safe side.
    let [b, a] = weibull_shares(18, 34);
    assert!(b > 0.95 - ROOM && b < 0.96 && a > 0.95 - ROOM && a < 0.96, "{b} {a}");
}

/// B and A of three environments of one coefficient of variation.
fn pooled_shares(cv: f64, seed: u64) -> [f64; 6] {
    let environments = [(18, 700.0), (12, 640.0), (8, 400.0)];
    let levels = Levels::default();
    let truth = |mean: f64, basis| mean * (1.0 + cv * below(basis));
    let found = shares(seed, |draw| {
        let all: Vec<Vec<f64>> = environments
            .iter()
            .map(|(n, mean)| draw.normals(*n).iter().map(|z| mean * (1.0 + cv * z)).collect())
            .collect();
        let slices: Vec<Vec<&[f64]>> = all.iter().map(|own| vec![own.as_slice()]).collect();
        let found = pooled(&slices, &levels).unwrap();
        let mut holds = [false; 6];
        for (at, (own, (_, mean))) in found.environments.iter().zip(environments).enumerate() {
            holds[2 * at] = own.values[0] < truth(mean, Basis::B);
            holds[2 * at + 1] = own.values[1] < truth(mean, Basis::A);
        }
        holds
    });
    println!("pooled, cv {cv}: {found:?}");
    found
}

#[test]
fn pooled_environments() {
    // Exact while the deviation hardly follows the environment's own mean; else that takes some of the mean's
    // scatter away, and the value of a small environment is conservative: numpy, 400 000 samples.
    exact("pooled, small spread", &pooled_shares(0.002, 300));
    let found = pooled_shares(0.05, 42);
    for (share, expected) in found.into_iter().zip([0.9534, 0.9532, 0.9562, 0.9563, 0.9581, 0.9584]) {
        as_simulated("pooled, 5 %", share, expected, ROOM);
    }
}

#[test]
fn two_ordered_values() {
    // Of a population whose logarithm falls off exponentially to the left the factor is exact.
    for (n, seed) in [(5, 51), (12, 52), (18, 53), (28, 54)] {
        let found = shares(seed, |draw| {
            let values: Vec<f64> = (0..n).map(|_| draw.share().powf(0.2)).collect();
            let value = |basis| hanson_koopmans(&values, basis).unwrap().value;
            [value(Basis::B) < 0.1_f64.powf(0.2), value(Basis::A) < 0.01_f64.powf(0.2)]
        });
        exact(&format!("Hanson-Koopmans, exact, {n}"), &found);
    }
    // Of the others it is conservative.
    let truth = [below(Basis::B), below(Basis::A)];
    let population = Weibull { scale: 1.0, shape: 22.0 };
    for (n, seed) in [(12, 55), (18, 56)] {
        let found = shares(seed, |draw| {
            let normal: Vec<f64> = draw.normals(n).iter().map(|z| 1.0 + 0.06 * z).collect();
            let wide: Vec<f64> = draw.normals(n).iter().map(|z| (0.4 * z).exp()).collect();
            let weibull = draw.weibulls(n, population.shape);
            let value = |values: &[f64], basis| hanson_koopmans(values, basis).unwrap().value;
            [
                value(&normal, Basis::B) < 1.0 + 0.06 * truth[0],
                value(&normal, Basis::A) < 1.0 + 0.06 * truth[1],
                value(&wide, Basis::B) < (0.4 * truth[0]).exp(),
                value(&wide, Basis::A) < (0.4 * truth[1]).exp(),
                value(&weibull, Basis::B) < population.above(0.90),
                value(&weibull, Basis::A) < population.above(0.99),
            ]
        });
        println!("Hanson-Koopmans, {n}: {found:?}");
        assert!(found.iter().all(|share| *share > 0.95 - ROOM), "{n}: {found:?}");
        assert!(found.iter().any(|share| *share > 0.95 + ROOM), "{n}: {found:?}");
    }
}

#[test]
fn ranks_of_large_samples() {
    // Whatever the population; here two heaps, which no distribution fits.
    let heap = |u: f64| if u < 0.5 { u } else { 3.0 + u };
    for (n, basis, seed) in [(29, Basis::B, 61), (60, Basis::B, 62), (100, Basis::B, 63), (299, Basis::A, 64)]
    {
        let [share] = shares(seed, |draw| {
            let values: Vec<f64> = (0..n).map(|_| heap(draw.share())).collect();
            [ranked(&values, basis).unwrap().0 < heap(1.0 - basis.content())]
        });
        let sure = rank_confidence(n, rank_of(n, basis).unwrap(), basis);
        assert!(sure >= 0.95, "{n} {basis:?}: {sure}");
        as_simulated(&format!("rank, {n} {basis:?}"), share, sure, ROOM);
    }
}

/// The share for batches of one size, with a true ratio of the deviation between batches to that within.
fn batch_share(batches: usize, size: usize, ratio: f64, seed: u64) -> f64 {
    let truth = below(Basis::B) * (1.0 + ratio * ratio).sqrt();
    let [share] = shares(seed, |draw| {
        let shifts = draw.normals(batches);
        let groups: Vec<Vec<f64>> = shifts
            .iter()
            .map(|shift| draw.normals(size).iter().map(|z| ratio * shift + z).collect())
            .collect();
        let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
        [anova(&slices, Basis::B).unwrap().value < truth]
    });
    share
}

#[test]
fn batches_that_differ() {
    // Simulated apart in numpy, 20 000 samples a case: three batches of six without a difference, with as much
    // spread between as within, with three times as much. Three standard errors of both simulations.
    for (ratio, expected, seed) in [(0.0, 0.961, 71), (1.0, 0.925, 72), (3.0, 0.940, 73)] {
        let what = format!("analysis of variance, 3 of 6, ratio {ratio}");
        as_simulated(&what, batch_share(3, 6, ratio, seed), expected, 0.0095);
    }
    for (batches, size, seed) in [(5, 5, 74), (10, 4, 75)] {
        for ratio in [0.0, 1.0, 3.0] {
            let share = batch_share(batches, size, ratio, seed);
            println!("analysis of variance, {batches} of {size}, ratio {ratio}: {share}");
            assert!((0.92..=0.965).contains(&share), "{batches} of {size}, {ratio}: {share}");
        }
    }
}

/// The procedure takes a Weibull distribution first wherever it fits, which it does for most small normal samples:
/// so the values of normal data are lower than need be. No figure of others is known for this; what stands here
/// was simulated with these functions, so that a change is seen.
#[test]
fn the_whole_procedure_on_normal_samples() {
    let truth = [below(Basis::B), below(Basis::A)].map(|z| 100.0 + 5.0 * z);
    let levels = Levels::default();
    for (batches, size, seed, expected) in
        [(3, 6, 81, [0.982, 0.991, 0.817, 0.122]), (5, 11, 82, [0.9745, 0.979, 0.5145, 0.428])]
    {
        let [b, a, weibull, normal, apart] = shares(seed, |draw| {
            let groups: Vec<Vec<f64>> =
                (0..batches).map(|_| draw.normals(size).iter().map(|z| 100.0 + 5.0 * z).collect()).collect();
            let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
            let found = procedure(&slices, &levels).unwrap();
            let value = |basis: Basis| found.value(basis).as_ref().unwrap().value;
            [
                value(Basis::B) < truth[0],
                value(Basis::A) < truth[1],
                found.method == Method::One(Distribution::Weibull),
                found.method == Method::One(Distribution::Normal),
                found.method == Method::Batches,
            ]
        });
        for (what, share, expected) in [
            ("B", b, expected[0]),
            ("A", a, expected[1]),
            ("Weibull taken", weibull, expected[2]),
            ("normal taken", normal, expected[3]),
        ] {
            let room = 3.0 * (expected * (1.0 - expected) / f64::from(SAMPLES)).sqrt();
            as_simulated(&format!("procedure, {batches} of {size}, {what}"), share, expected, room);
        }
        assert!(b > 0.95 && a > 0.95);
        // Batches of one population are told apart as often as the level says, 2.5 %, by an approximate critical
        // value.
        as_simulated("batches told apart", apart, 0.025, 0.005);
    }
}
