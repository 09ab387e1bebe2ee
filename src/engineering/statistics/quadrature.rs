//! Gauss-Legendre integration over pieces, for smooth integrands.

use std::f64::consts::PI;
use std::sync::OnceLock;

/// Points a piece gets: exact for polynomials of degree 39.
const POINTS: usize = 20;

/// Returns the points and weights of one piece as (place in -1..1, weight).
///
/// # Source
/// Roots of the Legendre polynomial by Newton's method from the asymptotic start
/// cos(pi (i - 1/4)/(n + 1/2)); weights 2/((1 - x^2) P'(x)^2), Abramowitz & Stegun 25.4.29 (from
/// memory).
fn rule() -> &'static [(f64, f64)] {
    static RULE: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
    RULE.get_or_init(|| {
        let n = POINTS as f64;
        (1..=POINTS)
            .map(|i| {
                let mut x = (PI * (i as f64 - 0.25) / (n + 0.5)).cos();
                let mut slope = 1.0;
                for _ in 0..50 {
                    let (value, derivative) = legendre(x);
                    slope = derivative;
                    let step = value / derivative;
                    x -= step;
                    if step.abs() < 1e-16 {
                        break;
                    }
                }
                (x, 2.0 / ((1.0 - x * x) * slope * slope))
            })
            .collect()
    })
}

/// Legendre polynomial of degree [`POINTS`] and its derivative, for |x| < 1.
fn legendre(x: f64) -> (f64, f64) {
    let (mut before, mut now) = (1.0, x);
    for k in 2..=POINTS {
        let k = k as f64;
        (before, now) = (now, ((2.0 * k - 1.0) * x * now - (k - 1.0) * before) / k);
    }
    let n = POINTS as f64;
    (now, n * (before - x * now) / (1.0 - x * x))
}

/// Returns the points of an integral over `breaks` (ascending), each stretch between two
/// neighbours cut into `pieces` equal pieces, as (place, weight).
pub(super) fn points(breaks: &[f64], pieces: usize) -> Vec<(f64, f64)> {
    let mut all = Vec::with_capacity(breaks.len() * pieces * POINTS);
    for (from, to) in breaks.iter().zip(breaks.iter().skip(1)) {
        let half = 0.5 * (to - from) / pieces as f64;
        if half <= 0.0 {
            continue;
        }
        for piece in 0..pieces {
            let middle = from + half * (2 * piece + 1) as f64;
            all.extend(rule().iter().map(|(x, w)| (middle + half * x, half * w)));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_and_the_exponential_come_out_exact() {
        let sum = |f: &dyn Fn(f64) -> f64, breaks: &[f64], pieces| {
            points(breaks, pieces).iter().map(|(x, w)| w * f(*x)).sum::<f64>()
        };
        // Closed forms.
        assert!((sum(&|x| x.powi(39) + x.powi(38), &[-1.0, 1.0], 1) - 2.0 / 39.0).abs() < 1e-15);
        assert!((sum(&f64::exp, &[0.0, 0.5, 2.0], 3) - 2f64.exp_m1()).abs() < 1e-13);
        assert_eq!(sum(&f64::exp, &[1.0, 1.0], 2), 0.0);
    }
}
