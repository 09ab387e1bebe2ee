//! The noncentral t distribution.

use super::normal::{cumulative, density, quantile};
use super::quadrature::points;
use super::{StatisticsError, finite, open_probability};

/// The most degrees of freedom taken; beyond, the spread of the divisor drowns in rounding.
const MOST_DEGREES: usize = 1_000_000;
/// The largest |noncentrality| taken: far beyond z sqrt(n) of any sample.
const MOST_NONCENTRALITY: f64 = 1e5;
/// Half-width of the integral in units of 1/sqrt(degrees): what is left out is below e^-50.
const REACH: f64 = 10.0;
/// Relative width at which the search for a quantile ends.
const SETTLED: f64 = 1e-14;

/// Returns the probability that a noncentral t value is at most `t`.
///
/// The variable is (Z + `noncentrality`) / S, Z standard normal, `degrees` S^2 chi-square with
/// `degrees` degrees of freedom.
///
/// # Errors
/// [`StatisticsError::Count`] unless `degrees` is 1 to a million,
/// [`StatisticsError::NotFinite`] for `t` or a noncentrality that is not finite or beyond 1e5.
///
/// # Source
/// By definition P = E[Phi(t S - noncentrality)], integrated over the density of S
/// (N. L. Johnson, S. Kotz, N. Balakrishnan, *Continuous Univariate Distributions* vol. 2,
/// ch. 31, from memory). Preferred to the usual sum of incomplete betas because that needs a
/// continued fraction whose length grows with the sample, and the one at hand stops at 140 terms
/// without saying so.
pub fn noncentral_t_cdf(t: f64, degrees: usize, noncentrality: f64) -> Result<f64, StatisticsError> {
    finite("t", t)?;
    check(degrees, noncentrality)?;
    Ok(evaluate(t, degrees, noncentrality).0)
}

/// Returns the value that a noncentral t variable stays below with probability `p`.
///
/// # Errors
/// As [`noncentral_t_cdf`], and [`StatisticsError::Probability`] unless 0 < `p` < 1.
///
/// # Source
/// Newton's method on [`noncentral_t_cdf`] inside a bracket, bisection where a step leaves it.
pub fn noncentral_t_quantile(p: f64, degrees: usize, noncentrality: f64) -> Result<f64, StatisticsError> {
    open_probability("p", p)?;
    check(degrees, noncentrality)?;
    let lost = StatisticsError::NoQuantile { what: "the noncentral t distribution" };

    // Normal approximation of t S - noncentrality; good enough to start from.
    let spread = (1.0 + 0.5 * noncentrality * noncentrality / degrees as f64).sqrt();
    let mut t = noncentrality + quantile(p) * spread;
    let Some((mut low, mut high)) = bracket(t, spread, |t| evaluate(t, degrees, noncentrality).0 < p) else {
        return Err(lost);
    };
    t = t.clamp(low, high);
    for _ in 0..400 {
        let (value, slope) = evaluate(t, degrees, noncentrality);
        if value < p {
            low = t;
        } else {
            high = t;
        }
        let newton = t - (value - p) / slope;
        // A NaN or an infinity from a slope of zero fails this comparison too.
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        let scale = SETTLED * next.abs().max(f64::MIN_POSITIVE);
        if (next - t).abs() <= scale || high - low <= scale || value == p {
            return finite("the quantile", if value == p { t } else { next });
        }
        t = next;
    }
    Err(lost)
}

/// Returns the value that a Student t variable stays below with probability `p`.
///
/// # Errors
/// As [`noncentral_t_quantile`].
///
/// # Source
/// The noncentral t with noncentrality zero.
pub fn student_t_quantile(p: f64, degrees: usize) -> Result<f64, StatisticsError> {
    noncentral_t_quantile(p, degrees, 0.0)
}

fn check(degrees: usize, noncentrality: f64) -> Result<(), StatisticsError> {
    if degrees == 0 || degrees > MOST_DEGREES {
        let what = "the t distribution, in degrees of freedom,";
        return Err(StatisticsError::Count { what, n: degrees, least: 1, most: MOST_DEGREES });
    }
    // Not `>`: a NaN must not pass.
    if noncentrality.abs() <= MOST_NONCENTRALITY {
        Ok(())
    } else {
        Err(StatisticsError::NotFinite { what: "the noncentrality" })
    }
}

/// Widens from `start` by doubling until `below` changes from true to false.
fn bracket(start: f64, width: f64, below: impl Fn(f64) -> bool) -> Option<(f64, f64)> {
    let mut step = width;
    let up = below(start);
    let mut edge = start;
    for _ in 0..1000 {
        let next = if up { edge + step } else { edge - step };
        if !next.is_finite() {
            return None;
        }
        if below(next) != up {
            return Some(if up { (edge, next) } else { (next, edge) });
        }
        edge = next;
        step *= 2.0;
    }
    None
}

/// Cumulative and density of the noncentral t at a finite `t`, arguments already checked.
fn evaluate(t: f64, degrees: usize, noncentrality: f64) -> (f64, f64) {
    let nu = degrees as f64;
    let peak = ((nu - 1.0) / nu).sqrt();
    let width = 1.0 / nu.sqrt();
    let (from, to) = ((peak - REACH * width).max(0.0), peak + REACH * width);

    // Breaks where S has its mass, and where Phi climbs from 0 to 1.
    let mut breaks = vec![from, to];
    breaks.extend([-4.0, -1.5, 0.0, 1.5, 4.0].map(|c| peak + c * width));
    if t != 0.0 {
        breaks.extend([-9.0, -4.0, -1.5, 0.0, 1.5, 4.0, 9.0].map(|c| (noncentrality + c) / t));
    }
    breaks.retain(|s| *s >= from && *s <= to);
    breaks.sort_by(f64::total_cmp);

    let (mut mass, mut below, mut slope) = (0.0, 0.0, 0.0);
    for (s, w) in points(&breaks, 2) {
        // The density of S up to a constant, which the division by `mass` removes: no log gamma,
        // whose absolute error would grow with the sample.
        let log = if degrees == 1 { 0.0 } else { (nu - 1.0) * (s / peak).ln() };
        let weight = w * (log - 0.5 * nu * (s * s - peak * peak)).exp();
        mass += weight;
        below += weight * cumulative(t * s - noncentrality);
        slope += weight * s * density(t * s - noncentrality);
    }
    ((below / mass).clamp(0.0, 1.0), slope / mass)
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::function::{beta::beta_reg, gamma::ln_gamma};

    #[test]
    fn cumulative_agrees_with_arbitrary_precision() {
        // mpmath 1.x, 30 digits: quad of ncdf(t s - d) over the density of chi/sqrt(nu).
        for (t, nu, d, expected) in [
            (1.5, 4, 1.0, 0.640_340_865_590_047),
            (-1.0, 4, 1.0, 0.032_773_295_332_027_85),
            (0.0, 7, 2.0, 0.022_750_131_948_179_21),
            (3.0, 7, 2.0, 0.757_259_402_631_215_7),
            (20.0, 5, 12.0, 0.872_532_477_231_037_5),
            (0.5, 3, -2.0, 0.992_199_698_923_563_7),
            (-6.0, 3, -2.0, 0.070_648_555_924_419_12),
        ] {
            let got = noncentral_t_cdf(t, nu, d).unwrap();
            assert!((got / expected - 1.0).abs() < 1e-12, "{t} {nu} {d}: {got} against {expected}");
        }
    }

    #[test]
    fn student_quantiles_agree_with_scipy() {
        // scipy 1.17.1, stats.t.ppf; the first agrees with mpmath at 40 digits.
        for (p, nu, expected) in [
            (0.975, 4, 2.776_445_105_197_793_4),
            (0.975, 27, 2.051_830_516_480_284_6),
            (0.995, 1, 63.656_741_162_871_526),
            (0.9, 200, 1.285_798_793_994_801_2),
            (0.975, 20_000, 1.960_082_605_158_134_8),
        ] {
            let got = student_t_quantile(p, nu).unwrap();
            assert!((got / expected - 1.0).abs() < 1e-11, "{p} {nu}: {got} against {expected}");
            assert!((student_t_quantile(1.0 - p, nu).unwrap() / got + 1.0).abs() < 1e-11);
        }
        assert!(student_t_quantile(0.5, 5).unwrap().abs() < 1e-12);
    }

    /// The other road: a Poisson-weighted sum of incomplete betas (R. V. Lenth, *Algorithm AS
    /// 243*, Applied Statistics 38, 1989, from memory), through another library's beta function.
    fn by_incomplete_betas(t: f64, nu: usize, d: f64) -> f64 {
        let (nu, half) = (nu as f64, 0.5 * d * d);
        let x = t * t / (t * t + nu);
        let mut sum = cumulative(-d);
        for j in 0..400 {
            let j = f64::from(j);
            let p = (j * half.ln() - half - ln_gamma(j + 1.0)).exp();
            let q = d / 2f64.sqrt() * (j * half.ln() - half - ln_gamma(j + 1.5)).exp();
            sum += 0.5 * (p * beta_reg(j + 0.5, nu / 2.0, x) + q * beta_reg(j + 1.0, nu / 2.0, x));
        }
        sum
    }

    #[test]
    fn cumulative_agrees_with_the_sum_of_incomplete_betas() {
        for nu in [1, 2, 4, 11, 29, 60] {
            for d in [0.5, 2.2, 5.0, 12.0] {
                for share in [0.4, 1.0, 1.3, 2.5] {
                    let (t, direct) = (d * share, by_incomplete_betas(d * share, nu, d));
                    let got = noncentral_t_cdf(t, nu, d).unwrap();
                    assert!((got - direct).abs() < 1e-11, "{t} {nu} {d}: {got} against {direct}");
                }
            }
        }
    }

    #[test]
    fn mirror_image_and_round_trip_hold() {
        for nu in [1, 3, 17, 400, 9999] {
            for d in [-3.0, 0.0, 1.0, 30.0, 230.0] {
                for p in [1e-6, 0.05, 0.5, 0.95, 0.999_999] {
                    let t = noncentral_t_quantile(p, nu, d).unwrap();
                    let back = noncentral_t_cdf(t, nu, d).unwrap();
                    assert!((back - p).abs() < 1e-12, "{nu} {d} {p}: {back}");
                    let mirrored = noncentral_t_cdf(-t, nu, -d).unwrap();
                    assert!((mirrored + p - 1.0).abs() < 1e-12, "{nu} {d} {p}: {mirrored}");
                }
            }
        }
    }

    #[test]
    fn bad_arguments_are_refused() {
        assert!(noncentral_t_cdf(f64::NAN, 3, 0.0).is_err());
        assert!(noncentral_t_cdf(1.0, 0, 0.0).is_err());
        assert!(noncentral_t_cdf(1.0, 3, f64::NAN).is_err());
        assert!(noncentral_t_cdf(1.0, 3, f64::INFINITY).is_err());
        assert!(noncentral_t_quantile(1.0, 3, 0.0).is_err());
        assert!(noncentral_t_quantile(0.5, usize::MAX, 0.0).is_err());
    }
}
