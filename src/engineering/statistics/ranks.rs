//! Design values without a distribution: Hanson-Koopmans for small samples, ranks for large ones.

use super::quadrature::points;
use super::recalled::recalled;
use super::{Basis, StatisticsError, finite};

/// The largest sample for a B value by Hanson-Koopmans.
const MOST_B: usize = 28;
/// The largest sample for an A value by Hanson-Koopmans.
const MOST_A: usize = 298;

/// Which value of the ordered sample the B value by Hanson-Koopmans leans on, from n = 2 on.
///
/// # Source
/// MIL-HDBK-17-1F table 8.5.14 (from memory).
const RANKS: [usize; 27] =
    [2, 3, 4, 4, 5, 5, 6, 6, 6, 7, 7, 7, 8, 8, 8, 8, 9, 9, 10, 10, 10, 11, 11, 11, 11, 11, 12];

/// A design value by two values of the ordered sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HansonKoopmans {
    /// The design value, in the unit of the sample.
    pub value: f64,
    /// The rank of the upper value, from 1 for the least.
    pub rank: usize,
    /// The upper value.
    pub upper: f64,
    /// The least value.
    pub least: f64,
    /// The factor k.
    pub k: f64,
}

/// Returns rank and factor k of the Hanson-Koopmans design value of `n` values.
///
/// # Errors
/// [`StatisticsError::Count`] unless `n` is 2 to 28 for B, 2 to 298 for A.
///
/// # Source
/// k solves P((1 - k) ln U(r) + k ln U(1) <= ln(1 - p)) = 0.95 for uniform order statistics, integrated over
/// U(r); D. L. Hanson, L. H. Koopmans, Annals of Mathematical Statistics 35 (1964), and MIL-HDBK-17-1F 8.3.4.5.2,
/// tables 8.5.14 and 8.5.15 (from memory).
pub fn hanson_koopmans_factor(n: usize, basis: Basis) -> Result<(usize, f64), StatisticsError> {
    let most = if basis == Basis::B { MOST_B } else { MOST_A };
    let what = "a Hanson-Koopmans design value";
    let rank = match basis {
        Basis::A => (2..=MOST_A).contains(&n).then_some(n),
        Basis::B => n.checked_sub(2).and_then(|at| RANKS.get(at)).copied(),
    };
    let Some(rank) = rank else { return Err(StatisticsError::Count { what, n, least: 2, most }) };
    let k = recalled("hanson-koopmans", n, basis.content(), || Ok(solve(n, rank, basis)))?;
    Ok((rank, finite("the Hanson-Koopmans factor", k)?))
}

/// The factor by bisection: the confidence grows with it.
fn solve(n: usize, rank: usize, basis: Basis) -> f64 {
    let (share, wanted) = (1.0 - basis.content(), basis.confidence());
    let (r, size) = (rank as f64, n as f64);
    // Density of U(r) is that of Beta(r, n - r + 1).
    let constant = libm::lgamma(size + 1.0) - libm::lgamma(r) - libm::lgamma(size - r + 1.0);
    let middle = r / (size + 1.0);
    let spread = (middle * (1.0 - middle) / (size + 2.0)).sqrt();
    let mut breaks = vec![0.0, share, 1.0];
    breaks.extend([-8.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 8.0].map(|c| middle + c * spread));
    breaks.retain(|at| (0.0..=1.0).contains(at));
    breaks.sort_by(f64::total_cmp);
    let nodes: Vec<(f64, f64)> = points(&breaks, 3)
        .into_iter()
        .map(|(u, w)| (u, w * (constant + (r - 1.0) * u.ln() + (size - r) * (-u).ln_1p()).exp()))
        .collect();
    let confidence = |k: f64| {
        nodes
            .iter()
            .map(|(u, weight)| {
                let within = if *u <= share { 1.0 } else { (share / u).powf(1.0 / k) };
                // That the least of the r - 1 values below U(r) lies within this share of it.
                weight * -((r - 1.0) * (-within.min(1.0)).ln_1p()).exp_m1()
            })
            .sum::<f64>()
    };
    let (mut low, mut high) = (0.5, 200.0);
    for _ in 0..200 {
        let k = 0.5 * (low + high);
        if confidence(k) < wanted {
            low = k;
        } else {
            high = k;
        }
        if high - low <= 1e-13 * high {
            break;
        }
    }
    0.5 * (low + high)
}

/// Returns the design value by Hanson-Koopmans.
///
/// # Errors
/// As [`hanson_koopmans_factor`]; [`StatisticsError::NotPositive`] for a value at or below 0;
/// [`StatisticsError::Tied`] where the two values that it leans on are equal.
///
/// # Source
/// B = x(r) (x(1)/x(r))^k, A = x(n) (x(1)/x(n))^k; MIL-HDBK-17-1F 8.3.4.5.2.
pub fn hanson_koopmans(values: &[f64], basis: Basis) -> Result<HansonKoopmans, StatisticsError> {
    let what = "a Hanson-Koopmans design value";
    let own = ordered(values)?;
    let (rank, k) = hanson_koopmans_factor(own.len(), basis)?;
    let (Some(least), Some(upper)) = (own.first().copied(), own.get(rank - 1).copied()) else {
        return Err(StatisticsError::Count { what, n: own.len(), least: 2, most: MOST_A });
    };
    if least <= 0.0 {
        return Err(StatisticsError::NotPositive { what, value: least });
    }
    if upper <= least {
        return Err(StatisticsError::Tied { what, rank });
    }
    let value = finite("the basis value", upper * (least / upper).powf(k))?;
    Ok(HansonKoopmans { value, rank, upper, least, k })
}

/// Returns the rank of the value of a large sample that is its design value, from 1 for the least; `None` where
/// the sample is too small for one.
///
/// # Source
/// The largest r with P(Bin(n, 1 - p) >= r) of at least the confidence; MIL-HDBK-17-1F tables 8.5.12 and 8.5.13
/// (from memory), here from the binomial itself.
pub fn rank_of(n: usize, basis: Basis) -> Option<usize> {
    let (q, size) = (1.0 - basis.content(), n as f64);
    let doubt = 1.0 - basis.confidence();
    let spread = (size * q * (1.0 - q)).sqrt();
    // What lies farther below is nothing beside the doubt.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let first = (size * q - 14.0 * spread - 20.0).max(0.0).floor() as usize;
    let at = first as f64;
    let constant = libm::lgamma(size + 1.0) - libm::lgamma(at + 1.0) - libm::lgamma(size - at + 1.0);
    let mut share = (constant + at * q.ln() + (size - at) * (-q).ln_1p()).exp();
    let mut below = 0.0;
    let mut rank = first;
    while rank < n {
        below += share;
        // P(fewer than rank + 1).
        if below > doubt {
            break;
        }
        let own = rank as f64;
        share *= (size - own) / (own + 1.0) * q / (1.0 - q);
        rank += 1;
    }
    (rank > 0).then_some(rank)
}

/// Returns how surely the value of this rank of `n`, from 1 for the least, is at most the percentile of a basis.
///
/// # Source
/// P(Bin(n, 1 - p) >= rank), as [`rank_of`].
pub fn rank_confidence(n: usize, rank: usize, basis: Basis) -> f64 {
    let (q, size) = (1.0 - basis.content(), n as f64);
    let whole = libm::lgamma(size + 1.0);
    let share = |at: usize| {
        let own = at as f64;
        let ways = whole - libm::lgamma(own + 1.0) - libm::lgamma(size - own + 1.0);
        (ways + own * q.ln() + (size - own) * (-q).ln_1p()).exp()
    };
    (1.0 - (0..rank.min(n + 1)).map(share).sum::<f64>()).max(0.0)
}

/// Returns the design value of a large sample by its rank, with the rank.
///
/// # Errors
/// [`StatisticsError::Count`] where the sample is too small, [`StatisticsError::NotFinite`].
///
/// # Source
/// As [`rank_of`].
pub fn ranked(values: &[f64], basis: Basis) -> Result<(f64, usize), StatisticsError> {
    let own = ordered(values)?;
    let least = if basis == Basis::B { MOST_B + 1 } else { MOST_A + 1 };
    let rank = rank_of(own.len(), basis);
    let value = rank.and_then(|rank| Some((*own.get(rank.checked_sub(1)?)?, rank)));
    let what = "a design value by rank";
    value.ok_or(StatisticsError::too_few(what, own.len(), least))
}

fn ordered(values: &[f64]) -> Result<Vec<f64>, StatisticsError> {
    let mut own = Vec::with_capacity(values.len());
    for value in values {
        own.push(finite("a value of the sample", *value)?);
    }
    own.sort_unstable_by(f64::total_cmp);
    Ok(own)
}

#[cfg(test)]
mod tests {
    use super::super::samples::S18;
    use super::*;

    #[test]
    fn factors_of_b_agree_with_the_integral_computed_apart() {
        // Own integral in scipy, printed to three decimals; agrees with the handbook's table 8.5.14 as remembered.
        for (n, rank, k) in [
            (2, 2, 35.177),
            (3, 3, 7.859),
            (4, 4, 4.505),
            (5, 4, 4.101),
            (7, 5, 2.858),
            (8, 6, 2.382),
            (9, 6, 2.253),
            (10, 6, 2.137),
            (12, 7, 1.814),
            (14, 8, 1.599),
            (15, 8, 1.540),
            (16, 8, 1.485),
            (17, 8, 1.434),
            (18, 9, 1.354),
            (20, 10, 1.253),
            (21, 10, 1.218),
            (22, 10, 1.184),
            (23, 11, 1.143),
            (24, 11, 1.114),
            (25, 11, 1.087),
            (27, 11, 1.035),
            (28, 12, 1.010),
        ] {
            let (own, got) = hanson_koopmans_factor(n, Basis::B).unwrap();
            assert_eq!(own, rank, "{n}");
            assert!((got - k).abs() < 6e-4, "{n}: {got} is not {k}");
        }
    }

    #[test]
    fn factors_of_a_agree_with_the_integral_computed_apart() {
        // As above; table 8.5.15 has 80.0038, 16.9122, 6.8905, 3.5727 for 2, 3, 5, 10 (from memory).
        for (n, k) in [
            (2, 80.0037),
            (3, 16.9122),
            (4, 9.4958),
            (5, 6.8905),
            (7, 4.7835),
            (8, 4.2501),
            (9, 3.8650),
            (10, 3.5727),
            (15, 2.7567),
            (20, 2.3668),
            (30, 1.9698),
            (100, 1.3081),
            (200, 1.0943),
            (298, 1.0001),
        ] {
            let (rank, got) = hanson_koopmans_factor(n, Basis::A).unwrap();
            assert_eq!(rank, n);
            assert!((got - k).abs() < 2e-4, "{n}: {got} is not {k}");
        }
    }

    #[test]
    fn a_value_from_data() {
        // The first twelve of an invented sample, recomputed with numpy.
        let found = hanson_koopmans(&S18.as_flattened()[..12], Basis::B).unwrap();
        assert_eq!((found.rank, found.least, found.upper), (7, 2476.9, 2583.9));
        assert!((found.k - 1.8141).abs() < 6e-5 && (found.value / 2393.072 - 1.0).abs() < 1e-6, "{found:?}");
    }

    #[test]
    fn ranks_begin_where_the_tables_say() {
        // MIL-HDBK-17-1F tables 8.5.12 and 8.5.13 (from memory), confirmed with the exact binomial in scipy.
        for (basis, firsts) in [
            (Basis::B, &[29, 46, 61, 76, 89, 103, 116, 129, 142, 154, 167, 179, 191, 203, 215, 227][..]),
            (Basis::A, &[299, 473, 628, 773, 913][..]),
        ] {
            for (at, first) in firsts.iter().enumerate() {
                assert_eq!(rank_of(*first, basis), Some(at + 1), "{basis:?} {first}");
                assert_eq!(rank_of(first - 1, basis), (at > 0).then_some(at), "{basis:?} {first}");
            }
        }
        // scipy: the largest r with binom.sf(r - 1, n, q) >= 0.95.
        assert_eq!(rank_of(5_000, Basis::B), Some(465));
        assert_eq!(rank_of(100_000, Basis::A), Some(949));
        assert_eq!(rank_of(0, Basis::A), None);
        // 1 - 0.9^29, and scipy's binom.sf(464, 5000, 0.1).
        assert!((rank_confidence(29, 1, Basis::B) - (1.0 - 0.9_f64.powi(29))).abs() < 1e-14);
        assert!((rank_confidence(5_000, 465, Basis::B) - 0.9540315455336154).abs() < 1e-9);
        for (n, basis) in [(29, Basis::B), (500, Basis::B), (1000, Basis::A)] {
            let rank = rank_of(n, basis).unwrap();
            assert!(rank_confidence(n, rank, basis) >= 0.95 && rank_confidence(n, rank + 1, basis) < 0.95);
        }
    }

    #[test]
    fn what_ranks_cannot_answer_is_refused() {
        assert!(hanson_koopmans(&[1.0; 12], Basis::B).is_err());
        assert!(hanson_koopmans(&[-1.0, 2.0, 3.0], Basis::B).is_err());
        assert!(hanson_koopmans(&[1.0], Basis::B).is_err());
        assert!(hanson_koopmans(&vec![1.0; 29], Basis::B).is_err());
        assert!(ranked(&[1.0; 28], Basis::B).is_err());
        assert_eq!(ranked(&(0..29).map(f64::from).collect::<Vec<_>>(), Basis::B).unwrap(), (0.0, 1));
        assert!(ranked(&[f64::NAN; 30], Basis::B).is_err());
    }
}
