//! Exponentials, logarithms and tails of the normal distribution of many values at once.
//!
//! Written so that the compiler can take several values by one instruction, of the widest that the processor has,
//! which is asked at run time. Products and sums stay apart (no fused ones) and each value is worked out by itself:
//! the results are the same to the last bit on every machine.
//!
//! # Source
//! Reductions and coefficients of logarithm and error function: e_log.c and s_erf.c of FreeBSD's msun, as the crate
//! libm has them. "Copyright (C) 1993 by Sun Microsystems, Inc. All rights reserved. Developed at SunPro, a Sun
//! Microsystems, Inc. business. Permission to use, copy, modify, and distribute this software is freely granted,
//! provided that this notice is preserved." The exponential is Taylor's series over half of ln 2, whose first term
//! left out is below 1e-17. The tests hold exponentials and logarithms to less than two units in the last place of
//! libm's, and tails, which are products of two exponentials, to less than four.

use pulp::Arch;

/// Puts `of` of each value in its place; both are of one length.
#[inline(always)]
fn each(values: &mut [f64], of: impl Fn(f64) -> f64) {
    for value in values {
        *value = of(*value);
    }
}

/// Takes each value to its exponential.
pub(super) fn exponentials(values: &mut [f64]) {
    Arch::new().dispatch(
        #[inline(always)]
        || each(values, exp),
    );
}

/// Takes each value, which must be at most 0, to its exponential less 1.
pub(super) fn exponentials_less_one(values: &mut [f64]) {
    Arch::new().dispatch(
        #[inline(always)]
        || each(values, exp_less_one),
    );
}

/// Takes each value to its natural logarithm.
pub(super) fn logarithms_of(values: &mut [f64]) {
    // What the common way has no digits for is rare, and sorted out before.
    if values.iter().all(|value| (f64::MIN_POSITIVE..=f64::MAX).contains(value)) {
        Arch::new().dispatch(
            #[inline(always)]
            || each(values, log),
        );
    } else {
        each(values, f64::ln);
    }
}

/// Takes each value z to the probability that a standard normal one lies beyond |z|. Values in their order are the
/// quickest.
pub(super) fn tails(values: &mut [f64]) {
    Arch::new().dispatch(
        #[inline(always)]
        || {
            each(values, |z| z.abs() / std::f64::consts::SQRT_2);
            for run in values.chunk_by_mut(|one, two| piece(*one) == piece(*two)) {
                match run.first().map(|first| piece(*first)) {
                    Some(0) => each(run, |x| 0.5 * complement_near(x)),
                    Some(1) => each(run, |x| 0.5 * complement_middle(x)),
                    Some(2) => each(run, |x| 0.5 * complement_far(x, &RA, &SA)),
                    Some(3) => each(run, |x| 0.5 * complement_far(x, &RB, &SB)),
                    _ => each(run, |x| 0.5 * libm::erfc(x)),
                }
            }
        },
    );
}

/// Which piece of the complementary error function a value that is not negative lies in.
#[inline(always)]
fn piece(x: f64) -> u8 {
    // What is no number is above none of them, and in the first piece it stays what it is.
    u8::from(x >= 0.84375) + u8::from(x >= 1.25) + u8::from(x >= 1.0 / 0.35) + u8::from(x >= 26.0)
}

/// The polynomial with these coefficients, the constant one first.
#[inline(always)]
fn polynomial<const N: usize>(x: f64, coefficients: &[f64; N]) -> f64 {
    let mut sum = 0.0;
    for own in coefficients.iter().rev() {
        sum = sum * x + own;
    }
    sum
}

/// erfc below 0.84375.
#[inline(always)]
fn complement_near(x: f64) -> f64 {
    let z = x * x;
    let y = polynomial(z, &PP) / polynomial(z, &QQ);
    if x < 0.25 { 1.0 - (x + x * y) } else { 0.5 - (x - 0.5 + x * y) }
}

/// erfc from there to 1.25.
#[inline(always)]
fn complement_middle(x: f64) -> f64 {
    let s = x - 1.0;
    1.0 - ERX - polynomial(s, &PA) / polynomial(s, &QA)
}

/// erfc beyond, by the coefficients of the piece.
#[inline(always)]
fn complement_far<const R: usize, const S: usize>(x: f64, above: &[f64; R], below: &[f64; S]) -> f64 {
    let s = 1.0 / (x * x);
    let ratio = polynomial(s, above) / polynomial(s, below);
    // The upper half of the digits, whose square is exact.
    let z = f64::from_bits(x.to_bits() & !0xffff_ffff);
    exp(-z * z - 0.5625) * exp((z - x) * (z + x) + ratio) / x
}

/// Rounds to the nearest whole number, which then stands in the lowest bits.
const ROUND: f64 = 6_755_399_441_055_744.0;
const LN2_HIGH: f64 = 6.931_471_803_691_238e-1;
const LN2_LOW: f64 = 1.908_214_929_270_587_7e-10;
/// Where exponentials leave the floats that have all their digits.
const LEAST: f64 = -708.0;
const MOST: f64 = 709.7;

/// k and e^r - 1 of x = k ln 2 + r, k in the lowest bits of a float.
#[inline(always)]
fn reduced(x: f64) -> (u64, f64) {
    let shifted = x * std::f64::consts::LOG2_E + ROUND;
    let k = shifted - ROUND;
    let (high, low) = (x - k * LN2_HIGH, k * LN2_LOW);
    let r = high - low;
    // What rounding took off r.
    let left = (high - r) - low;
    (shifted.to_bits(), r + (left + r * r * polynomial(r, &SERIES)))
}

#[inline(always)]
fn exp(x: f64) -> f64 {
    let inside = x.clamp(LEAST, MOST);
    let (k, rest) = reduced(inside);
    let value = f64::from_bits((1.0 + rest).to_bits().wrapping_add(k << 52));
    let value = if x < LEAST { 0.0 } else { value };
    if x > MOST { f64::INFINITY } else { value }
}

#[inline(always)]
fn exp_less_one(x: f64) -> f64 {
    let (k, rest) = reduced(x.clamp(LEAST, 0.0));
    let power = f64::from_bits(1.0_f64.to_bits().wrapping_add(k << 52));
    power * rest + (power - 1.0)
}

#[inline(always)]
fn log(x: f64) -> f64 {
    // To a power of 2 and a factor between the roots of a half and of 2.
    const ROOT: u64 = 0x3fe6_a09e << 32;
    let shifted = x.to_bits().wrapping_add((0x3ff0_0000 << 32) - ROOT);
    let power = f64::from_bits((shifted >> 52) | (0x4330_0000 << 32)) - (4_503_599_627_370_496.0 + 1023.0);
    let factor = f64::from_bits((shifted & 0x000f_ffff_ffff_ffff).wrapping_add(ROOT));
    let f = factor - 1.0;
    let half = 0.5 * f * f;
    let s = f / (2.0 + f);
    let z = s * s;
    let r = z * polynomial(z, &LOG);
    s * (half + r) + power * LN2_LOW - half + f + power * LN2_HIGH
}

/// 1/2!, 1/3! and so on.
const SERIES: [f64; 12] = [
    0.5,
    1.0 / 6.0,
    1.0 / 24.0,
    1.0 / 120.0,
    1.0 / 720.0,
    1.0 / 5_040.0,
    1.0 / 40_320.0,
    1.0 / 362_880.0,
    1.0 / 3_628_800.0,
    1.0 / 39_916_800.0,
    1.0 / 479_001_600.0,
    1.0 / 6_227_020_800.0,
];
const LOG: [f64; 7] = [
    6.666666666666735e-1,
    3.999999999940942e-1,
    2.857142874366239e-1,
    0.22222198432149784,
    1.818357216161805e-1,
    0.15313837699209373,
    0.14798198605116586,
];
const ERX: f64 = 8.450629115104675e-1;
const PP: [f64; 5] = [
    0.12837916709551256,
    -0.3250421072470015,
    -0.02848174957559851,
    -0.005770270296489442,
    -2.3763016656650163e-5,
];
const QQ: [f64; 6] = [
    1.0,
    0.39791722395915535,
    0.0650222499887673,
    0.005081306281875766,
    0.00013249473800432164,
    -3.960228278775368e-6,
];
const PA: [f64; 7] = [
    -0.0023621185607526594,
    0.41485611868374833,
    -0.3722078760357013,
    0.31834661990116175,
    -0.11089469428239668,
    0.035478304325618236,
    -0.002166375594868791,
];
const QA: [f64; 7] = [
    1.0,
    0.10642088040084423,
    0.540397917702171,
    0.07182865441419627,
    0.12617121980876164,
    0.01363708391202905,
    0.011984499846799107,
];
const RA: [f64; 8] = [
    -0.009864944034847148,
    -0.6938585727071818,
    -10.558626225323291,
    -62.375332450326006,
    -162.39666946257347,
    -184.60509290671104,
    -81.2874355063066,
    -9.814329344169145,
];
const SA: [f64; 9] = [
    1.0,
    19.651271667439257,
    137.65775414351904,
    434.56587747522923,
    645.3872717332679,
    429.00814002756783,
    108.63500554177944,
    6.570249770319282,
    -0.0604244152148581,
];
const RB: [f64; 7] = [
    -0.0098649429247001,
    -0.799283237680523,
    -17.757954917754752,
    -160.63638485582192,
    -637.5664433683896,
    -1025.0951316110772,
    -483.5191916086514,
];
const SB: [f64; 8] = [
    1.0,
    30.33806074348246,
    325.7925129965739,
    1536.729586084437,
    3199.8582195085955,
    2553.0504064331644,
    474.52854120695537,
    -22.44095244658582,
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers of both ends and between, close together.
    fn range(low: f64, high: f64, n: u32) -> Vec<f64> {
        (0..=n).map(|i| (low + (high - low) * f64::from(i) / f64::from(n)).min(high)).collect()
    }

    /// How far apart, in units of the last place of the second.
    fn apart(got: f64, expected: f64) -> f64 {
        if got == expected { 0.0 } else { (got - expected).abs() / (expected.next_up() - expected).abs() }
    }

    fn worst(values: &[f64], many: fn(&mut [f64]), one: fn(f64) -> f64) -> f64 {
        let mut got = values.to_vec();
        many(&mut got);
        values.iter().zip(&got).map(|(value, got)| apart(*got, one(*value))).fold(0.0, f64::max)
    }

    #[test]
    fn exponentials_are_those_of_libm() {
        for (low, high) in [(-708.0, 709.5), (-40.0, 1.0), (-1.0, 1.0), (-1e-3, 1e-3), (-1e-12, 1e-12)] {
            let found = worst(&range(low, high, 400_000), exponentials, libm::exp);
            assert!(found < 2.0, "{low} {high}: {found}");
        }
        let mut ends = [-1e9, -709.0, f64::NEG_INFINITY, 710.0, f64::INFINITY, f64::NAN];
        exponentials(&mut ends);
        assert_eq!(ends[..5], [0.0, 0.0, 0.0, f64::INFINITY, f64::INFINITY]);
        assert!(ends[5].is_nan());
    }

    #[test]
    fn exponentials_less_one_are_those_of_libm() {
        for (low, high) in
            [(-708.0, 0.0), (-40.0, 0.0), (-1.0, 0.0), (-1e-3, 0.0), (-1e-12, 0.0), (-1e-250, 0.0)]
        {
            let found = worst(&range(low, high, 400_000), exponentials_less_one, libm::expm1);
            assert!(found < 2.0, "{low} {high}: {found}");
        }
        let mut ends = [-1e9, f64::NEG_INFINITY, f64::NAN];
        exponentials_less_one(&mut ends);
        assert_eq!(ends[..2], [-1.0, -1.0]);
        assert!(ends[2].is_nan());
    }

    #[test]
    fn logarithms_are_those_of_libm() {
        for (low, high) in
            [(1e-280, 1e-270), (1e-9, 1.0), (0.7, 1.42), (0.999, 1.001), (1.0, 1e6), (1e300, 1.7e308)]
        {
            let found = worst(&range(low, high, 400_000), logarithms_of, libm::log);
            assert!(found < 2.0, "{low} {high}: {found}");
        }
        let mut ends = [0.0, 5e-324, f64::INFINITY, -1.0];
        logarithms_of(&mut ends);
        assert_eq!(ends[..3], [f64::NEG_INFINITY, 5e-324_f64.ln(), f64::INFINITY]);
        assert!(ends[3].is_nan());
    }

    #[test]
    fn tails_are_those_of_libm() {
        let one = |z: f64| 0.5 * libm::erfc(z.abs() / std::f64::consts::SQRT_2);
        for (low, high) in [(-36.0, 36.0), (-8.0, 8.0), (-2.0, 2.0), (-1e-9, 1e-9), (36.0, 39.0)] {
            let found = worst(&range(low, high, 400_000), tails, one);
            assert!(found < 4.0, "{low} {high}: {found}");
        }
        let mut ends = [f64::NEG_INFINITY, f64::INFINITY, f64::NAN];
        tails(&mut ends);
        assert_eq!(ends[..2], [0.0, 0.0]);
        assert!(ends[2].is_nan());
    }

    #[test]
    fn each_value_is_worked_out_by_itself() {
        // Whatever stands beside a value and however wide the instructions are.
        let values = range(-30.0, 30.0, 997);
        for (many, one) in
            [(exponentials as fn(&mut [f64]), exp as fn(f64) -> f64), (exponentials_less_one, exp_less_one)]
        {
            let mut together = values.clone();
            many(&mut together);
            assert!(values.iter().zip(&together).all(|(value, got)| one(*value) == *got));
        }
        let mut together = values.clone();
        tails(&mut together);
        for (value, got) in values.iter().zip(&together) {
            let mut alone = [*value];
            tails(&mut alone);
            assert_eq!(alone[0], *got);
        }
    }
}
