//! Does a distribution fit: Anderson-Darling and its observed significance level.

use super::elementary::{exponentials, exponentials_less_one, logarithms_of, tails};
use super::normal::cumulative;
use super::sample::sum_of;
use super::weibull::{Weibull, logarithms, weibull, weibull_of_logs};
use super::{Sample, StatisticsError, finite, sample};

/// The fewest values of which a fit is judged: the correction for small samples turns negative below.
pub const FEWEST_FOR_FIT: usize = 5;

/// A distribution that design values are computed by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Distribution {
    /// Two-parameter Weibull.
    Weibull,
    /// Normal.
    Normal,
    /// Normal in the logarithm.
    Lognormal,
}

impl Distribution {
    /// All, in the order in which the first that fits is taken.
    ///
    /// # Source
    /// MIL-HDBK-17-1F 8.3.4 (from memory).
    pub const ALL: [Self; 3] = [Self::Weibull, Self::Normal, Self::Lognormal];

    /// Its name as a sentence takes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Weibull => "Weibull",
            Self::Normal => "normal",
            Self::Lognormal => "lognormal",
        }
    }
}

/// What was fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fitted {
    /// Scale and shape.
    Weibull(Weibull),
    /// Mean and standard deviation.
    Normal(Sample),
    /// Mean and standard deviation of the natural logarithms.
    Lognormal(Sample),
}

impl Fitted {
    /// Returns the distribution.
    pub fn distribution(&self) -> Distribution {
        match self {
            Self::Weibull(_) => Distribution::Weibull,
            Self::Normal(_) => Distribution::Normal,
            Self::Lognormal(_) => Distribution::Lognormal,
        }
    }

    /// Returns ln F and ln(1 - F) at a value, F the share of the population below it; of a lognormal or Weibull
    /// the value lies above 0.
    pub fn tails(&self, value: f64) -> [f64; 2] {
        let normal = |of: &Sample, value: f64| {
            let z = (value - of.mean) / of.sd;
            [log_cumulative(z), log_cumulative(-z)]
        };
        match self {
            Self::Normal(of) => normal(of, value),
            Self::Lognormal(of) => normal(of, value.ln()),
            Self::Weibull(of) => {
                let log = of.shape * (value.ln() - of.scale.ln());
                let power = log.exp();
                // Of a power too small for a float F is the power itself.
                [if power > SMALLEST { (-(-power).exp_m1()).ln() } else { log }, -power]
            }
        }
    }

    /// Returns the value that the share `p` of the population lies below, for a probability plot.
    ///
    /// # Errors
    /// [`StatisticsError::Probability`] unless 0 < `p` < 1.
    pub fn below(&self, p: f64) -> Result<f64, StatisticsError> {
        let z = super::normal_quantile(p)?;
        finite(
            "the quantile",
            match self {
                Self::Normal(of) => of.mean + z * of.sd,
                Self::Lognormal(of) => (of.mean + z * of.sd).exp(),
                Self::Weibull(of) => of.above(1.0 - p),
            },
        )
    }
}

/// ln Phi(z), down to where Phi itself is no float any more.
fn log_cumulative(z: f64) -> f64 {
    if z > -37.0 {
        return cumulative(z).ln();
    }
    // The first terms of the asymptotic series, Abramowitz & Stegun 26.2.12 (from memory): good to 1e-9 here.
    let inverse = 1.0 / (z * z);
    -0.5 * z * z - (-z).ln() - 0.5 * std::f64::consts::TAU.ln()
        + (1.0 - inverse * (1.0 - 3.0 * inverse * (1.0 - 5.0 * inverse))).ln()
}

/// How well a distribution fits a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// The distribution with its estimates.
    pub fitted: Fitted,
    /// Anderson-Darling statistic.
    pub statistic: f64,
    /// The same, corrected for the size of the sample.
    pub corrected: f64,
    /// Observed significance level: how often a sample of the fitted distribution lies farther from it.
    pub level: f64,
    /// How many values.
    pub n: usize,
}

/// Fits a distribution, whatever fits.
///
/// # Errors
/// Those of [`weibull`] and [`sample()`]; [`StatisticsError::NotPositive`] for a lognormal of a value at or below
/// 0; [`StatisticsError::NoSpread`] where all values are equal.
pub fn fitted(values: &[f64], distribution: Distribution) -> Result<Fitted, StatisticsError> {
    match distribution {
        Distribution::Weibull => weibull(values).map(Fitted::Weibull),
        Distribution::Normal => spread(sample(values)?, "a normal distribution").map(Fitted::Normal),
        Distribution::Lognormal => {
            let what = "a lognormal distribution";
            spread(sample(&logarithms(what, values)?)?, what).map(Fitted::Lognormal)
        }
    }
}

/// A sample that must have a spread.
fn spread(of: Sample, what: &'static str) -> Result<Sample, StatisticsError> {
    if of.sd > 0.0 { Ok(of) } else { Err(StatisticsError::NoSpread { what }) }
}

/// The Anderson-Darling statistic of an ordered sample: the sum of (1 - 2 i)/n (ln F(i) + ln S(n + 1 - i)), less n.
fn distance(fitted: &Fitted, own: &Ordered) -> f64 {
    let count = own.values.len() as f64;
    // For each value what a logarithm is taken of, and what comes on top of it. One logarithm serves for both sides,
    // as long as a float holds their product; of a Weibull the one above is the exponent itself.
    let (mut terms, rest) = match fitted {
        Fitted::Normal(of) => (both_sides(&own.values, of), Vec::new()),
        Fitted::Lognormal(of) => (both_sides(&own.logs, of), Vec::new()),
        Fitted::Weibull(of) => {
            let scale = of.scale.ln();
            let mut less: Vec<f64> = own.logs.iter().map(|log| of.shape * (log - scale)).collect();
            exponentials(&mut less);
            less.iter_mut().for_each(|power| *power = -*power);
            let rest: Vec<f64> = less.iter().rev().copied().collect();
            exponentials_less_one(&mut less);
            less.iter_mut().for_each(|share| *share = -*share);
            (less, rest)
        }
    };
    let small: Vec<usize> =
        (0..).zip(&terms).filter(|(_, own)| own.is_nan() || **own <= SMALLEST).map(|(at, _)| at).collect();
    terms.iter_mut().for_each(|own| *own = own.max(SMALLEST));
    logarithms_of(&mut terms);
    terms.iter_mut().zip(&rest).for_each(|(own, rest)| *own += rest);
    for at in small {
        let place = |at: usize| own.values.get(at).map_or([0.0; 2], |value| fitted.tails(*value));
        let ([below, _], [_, above]) = (place(at), place(own.values.len() - 1 - at));
        if let Some(own) = terms.get_mut(at) {
            *own = below + above;
        }
    }
    for (at, own) in terms.iter_mut().enumerate() {
        *own *= (1.0 - 2.0 * (at + 1) as f64) / count;
    }
    sum_of(&terms, |own| own) - count
}

/// Below this a share is taken by its logarithm.
const SMALLEST: f64 = 1e-280;

/// Of ordered values the share below each times that above its counterpart from the other end.
fn both_sides(values: &[f64], of: &Sample) -> Vec<f64> {
    let z: Vec<f64> = values.iter().map(|value| (value - of.mean) / of.sd).collect();
    // The smaller share has all its digits.
    let mut tail = z.clone();
    tails(&mut tail);
    let sides = z.iter().zip(&tail);
    sides
        .clone()
        .zip(sides.rev())
        .map(|((low, below), (high, above))| {
            let below = if *low < 0.0 { *below } else { 1.0 - below };
            below * if *high < 0.0 { 1.0 - above } else { *above }
        })
        .collect()
}

/// Judges how well a distribution fits, by the Anderson-Darling statistic.
///
/// # Errors
/// As [`fitted`]; [`StatisticsError::Count`] for fewer than five values.
///
/// # Source
/// MIL-HDBK-17-1F 8.3.4 (from memory). Normal and lognormal: AD* = (1 + 4/n - 25/n^2) AD, level 1/(1 +
/// exp(-0.48 + 0.78 ln AD* + 4.58 AD*)); Weibull: AD* = (1 + 0.2/sqrt n) AD, level 1/(1 + exp(-0.10 + 1.24 ln
/// AD* + 4.48 AD*)). Other texts correct with 1 + 0.75/n + 2.25/n^2 and hold against 0.752: not to be mixed.
pub fn goodness_of_fit(values: &[f64], distribution: Distribution) -> Result<Fit, StatisticsError> {
    let n = values.len();
    if n < FEWEST_FOR_FIT {
        let what = "a test of fit";
        return Err(StatisticsError::too_few(what, n, FEWEST_FOR_FIT));
    }
    judged(&Ordered::of(values)?, distribution)
}

/// A sample in its order, with its logarithms: what the fits of all distributions share.
#[derive(Debug)]
pub(super) struct Ordered {
    values: Vec<f64>,
    /// Empty where a value is not above 0.
    logs: Vec<f64>,
}

impl Ordered {
    /// # Errors
    /// [`StatisticsError::NotFinite`].
    pub(super) fn of(values: &[f64]) -> Result<Self, StatisticsError> {
        for value in values {
            finite("a value of the sample", *value)?;
        }
        let mut values = values.to_vec();
        values.sort_unstable_by(f64::total_cmp);
        Ok(Self::of_sorted(values))
    }

    /// Of finite values that are in their order already.
    pub(super) fn of_sorted(values: Vec<f64>) -> Self {
        let mut logs = Vec::new();
        if values.first().is_some_and(|least| *least > 0.0) {
            logs.clone_from(&values);
            logarithms_of(&mut logs);
        }
        Self { values, logs }
    }

    fn logs(&self, what: &'static str) -> Result<&[f64], StatisticsError> {
        match self.values.first() {
            Some(least) if *least <= 0.0 => Err(StatisticsError::NotPositive { what, value: *least }),
            _ => Ok(&self.logs),
        }
    }
}

/// [`goodness_of_fit`] of an ordered sample of five values or more.
pub(super) fn judged(own: &Ordered, distribution: Distribution) -> Result<Fit, StatisticsError> {
    let fitted = match distribution {
        Distribution::Weibull => Fitted::Weibull(weibull_of_logs(own.logs("a Weibull distribution")?)?),
        Distribution::Normal => Fitted::Normal(spread(sample(&own.values)?, "a normal distribution")?),
        Distribution::Lognormal => {
            let what = "a lognormal distribution";
            Fitted::Lognormal(spread(sample(own.logs(what)?)?, what)?)
        }
    };
    let n = own.values.len();
    let count = n as f64;
    let statistic = finite("the Anderson-Darling statistic", distance(&fitted, own))?;
    let (corrected, shift, slope, grow) = match distribution {
        Distribution::Weibull => ((1.0 + 0.2 / count.sqrt()) * statistic, -0.10, 1.24, 4.48),
        _ => ((1.0 + 4.0 / count - 25.0 / (count * count)) * statistic, -0.48, 0.78, 4.58),
    };
    // Of a statistic of nought, which a fit beyond all doubt has, the logarithm is none.
    let level = if corrected > 0.0 {
        1.0 / (1.0 + (shift + slope * corrected.ln() + grow * corrected).exp())
    } else {
        1.0
    };
    Ok(Fit { fitted, statistic, corrected, level: finite("the significance level", level)?, n })
}

#[cfg(test)]
mod tests {
    use super::super::samples::{BEARINGS, S18};
    use super::*;

    fn near(what: &str, got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() < relative, "{what}: {got} is not {expected}");
    }

    #[test]
    fn levels_of_two_samples() {
        // Statistic as scipy.stats.anderson (normal) and by the definition in numpy; levels recomputed.
        let s18 = S18.as_flattened();
        for (values, distribution, statistic, corrected, level) in [
            (s18, Distribution::Normal, 0.147_934, 0.169_393, 0.748_212),
            (s18, Distribution::Lognormal, 0.145_291, 0.166_367, 0.753_435),
            (s18, Distribution::Weibull, 0.302_787, 0.317_061, 0.525_953),
            (&BEARINGS[..], Distribution::Normal, 0.604_015, 0.680_515, 0.088_142),
            (&BEARINGS[..], Distribution::Lognormal, 0.186_319, 0.209_917, 0.676_163),
            (&BEARINGS[..], Distribution::Weibull, 0.328_610, 0.342_314, 0.473_961),
        ] {
            let fit = goodness_of_fit(values, distribution).unwrap();
            near("AD", fit.statistic, statistic, 5e-6);
            near("AD*", fit.corrected, corrected, 5e-6);
            near("level", fit.level, level, 5e-6);
        }
    }

    #[test]
    fn a_degenerate_sample_is_rejected_whatever_its_order() {
        // scipy's test of anderson has 3.208057 from an independent routine in R.
        for at in [0, 4, 9] {
            let mut values = [1.0; 10];
            values[at] = 0.0;
            let fit = goodness_of_fit(&values, Distribution::Normal).unwrap();
            near("AD", fit.statistic, 3.208_057, 1e-6);
            near("level", fit.level, 2.679e-8, 1e-3);
        }
    }

    #[test]
    fn logarithms_of_tails_join() {
        // scipy 1.10.1, stats.norm.logcdf.
        for (z, expected) in [
            (-5.0, -15.064_998_393_988_727),
            (-36.9, -685.332_883_165_350_7),
            (-37.1, -692.738_280_715_623_3),
            (-200.0, -20_006.217_280_898_19),
        ] {
            near("ln Phi", log_cumulative(z), expected, 1e-11);
        }
    }

    #[test]
    fn far_outliers_leave_numbers() {
        let mut values: Vec<f64> = (0..2000).map(|i| 1000.0 + f64::from(i % 7)).collect();
        values.push(1e9);
        for distribution in Distribution::ALL {
            let fit = goodness_of_fit(&values, distribution).unwrap();
            assert!(fit.level < 1e-6 && fit.statistic.is_finite(), "{fit:?}");
        }
    }

    #[test]
    fn what_has_no_fit_is_refused() {
        assert!(goodness_of_fit(&[1.0, 2.0, 3.0, 4.0], Distribution::Normal).is_err());
        for distribution in Distribution::ALL {
            assert!(matches!(
                goodness_of_fit(&[3.0; 8], distribution),
                Err(StatisticsError::NoSpread { .. })
            ));
            assert!(goodness_of_fit(&[1.0, 2.0, 3.0, 4.0, f64::NAN], distribution).is_err());
        }
        for distribution in [Distribution::Weibull, Distribution::Lognormal] {
            let refused = goodness_of_fit(&[1.0, 2.0, 3.0, 4.0, -1.0], distribution);
            assert!(matches!(refused, Err(StatisticsError::NotPositive { .. })));
        }
    }
}
