//! From specimens by batch to design values: which method, and why.

use super::anova::{Anova, anova};
use super::batches::{EqualVariances, KSample, equal_variances, k_sample, k_sample_merged, merged};
use super::fit::{Distribution, FEWEST_FOR_FIT, Fit, Fitted, Ordered, goodness_of_fit, judged};
use super::modified::{Modified, modified};
use super::outlier::{NormedResidual, outliers};
use super::ranks::{HansonKoopmans, hanson_koopmans, ranked};
use super::tolerance::recalled_factor;
use super::weibull::{Weibull, WeibullValue, weibull_value};
use super::{Basis, Sample, StatisticsError, finite, sample};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Levels of significance of the procedure's tests, and its one option.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levels {
    /// Of the test for outliers.
    pub outliers: f64,
    /// Of the k-sample test of batches.
    pub batches: f64,
    /// Of the test of equal variances.
    pub variances: f64,
    /// Of the tests of fit: a distribution whose observed level is not above it is rejected.
    pub fit: f64,
    /// Whether the modified coefficient of variation is asked for: named where it is, never the default.
    pub modified_cv: bool,
}

impl Default for Levels {
    /// Outliers, variances and fit at 0.05, batches at 0.025: MIL-HDBK-17-1F chapter 8 (from memory).
    fn default() -> Self {
        Self { outliers: 0.05, batches: 0.025, variances: 0.05, fit: 0.05, modified_cv: false }
    }
}

/// What one batch shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// How many values.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation; none of a single value.
    pub sd: Option<f64>,
    /// The least value.
    pub least: f64,
    /// The greatest.
    pub greatest: f64,
    /// Outliers within it, the farthest first, and the one that is none any more; places are those within the
    /// batch.
    pub outliers: Vec<NormedResidual>,
}

/// The method that design values come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// All values as one population of this distribution.
    One(Distribution),
    /// The normal distribution, untested: there are too few values.
    Untested,
    /// All values as one population of no distribution that fits.
    NoDistribution,
    /// Batches differ: analysis of variance.
    Batches,
    /// The normal distribution with the modified coefficient of variation.
    ModifiedNormal,
}

impl Method {
    /// Its name as a sentence takes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::One(Distribution::Weibull) => "Weibull",
            Self::One(Distribution::Normal) => "normal",
            Self::One(Distribution::Lognormal) => "lognormal",
            Self::Untested => "normal, untested",
            Self::NoDistribution => "without a distribution",
            Self::Batches => "analysis of variance",
            Self::ModifiedNormal => "normal with the modified coefficient of variation",
        }
    }
}

/// How a design value was computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Way {
    /// mean - k s.
    Normal {
        /// Tolerance factor.
        k: f64,
        /// The sample, with the deviation that was used.
        of: Sample,
    },
    /// exp(mean - k s) of the logarithms.
    Lognormal {
        /// Tolerance factor.
        k: f64,
        /// The sample of logarithms.
        of: Sample,
    },
    /// q exp(-V/(beta sqrt n)).
    Weibull(Weibull, WeibullValue),
    /// x(r) (x(1)/x(r))^k.
    HansonKoopmans(HansonKoopmans),
    /// The value of this rank.
    Rank(usize),
    /// mean - T S.
    Anova(Anova),
}

/// A design value with how it was computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DesignValue {
    /// The value, in the unit of the sample.
    pub value: f64,
    /// How.
    pub way: Way,
}

/// Every step of the procedure.
#[derive(Debug, Clone, PartialEq)]
pub struct Procedure {
    /// Levels that were used.
    pub levels: Levels,
    /// Batches in the order given.
    pub batches: Vec<Batch>,
    /// All values.
    pub whole: Sample,
    /// Outliers among all values, as [`Batch::outliers`]; places count over all batches.
    pub outliers: Vec<NormedResidual>,
    /// Whether the batches come from one population; why not tested.
    pub one_population: Result<KSample, StatisticsError>,
    /// Whether the batches have one spread; why not tested.
    pub variances: Result<EqualVariances, StatisticsError>,
    /// Fit of each distribution to all values, in the order of [`Distribution::ALL`]; why not tested.
    pub fits: [Result<Fit, StatisticsError>; 3],
    /// The sample with the modified coefficient of variation and the test of batches on it, where asked for.
    pub modified: Option<(Modified, Result<KSample, StatisticsError>)>,
    /// The method.
    pub method: Method,
    /// The B value.
    pub b: Result<DesignValue, StatisticsError>,
    /// The A value.
    pub a: Result<DesignValue, StatisticsError>,
}

/// Fewest specimens and batches of a design value: fewer make an estimate.
///
/// # Source
/// DOT/FAA/AR-03/19 and MIL-HDBK-17-1F table 2.3 (from memory).
const ENOUGH_B: (usize, usize) = (18, 3);
const ENOUGH_A: (usize, usize) = (55, 5);

/// Fewest specimens that tell anything of a batch: below, its spread is not known and its outliers are not looked for.
/// Common practice, no source.
const WHOLE_BATCH: usize = 3;

/// Fewest batches of an analysis of variance: of fewer the factor on the spread between batches is mostly a guess, and the
/// value an estimate.
///
/// # Source
/// CMH-17-1G chapter 8 (from memory).
const ENOUGH_ANOVA: usize = 5;

impl Procedure {
    /// Coefficient of variation; none where the mean is not above 0.
    pub fn cv(&self) -> Option<f64> {
        (self.whole.mean > 0.0).then(|| self.whole.sd / self.whole.mean).filter(|cv| cv.is_finite())
    }

    /// Returns the design value of a basis.
    pub fn value(&self, basis: Basis) -> &Result<DesignValue, StatisticsError> {
        if basis == Basis::B { &self.b } else { &self.a }
    }

    /// Whether the batches may be taken as one population; `None` where that could not be tested.
    pub fn is_one_population(&self) -> Option<bool> {
        self.one_population.as_ref().ok().map(KSample::is_one)
    }

    /// Returns how many specimens of how many batches a design value of a basis wants: fewer make an estimate.
    pub const fn wants(basis: Basis) -> (usize, usize) {
        if matches!(basis, Basis::B) { ENOUGH_B } else { ENOUGH_A }
    }

    /// Returns what the sample lacks for its design value of a basis, by the method that gave it, in words: what lacks
    /// anything is an estimate and may not be designed with.
    pub fn lacks(&self, basis: Basis) -> Vec<String> {
        let (specimens, batches) = Self::wants(basis);
        let mut all = Vec::new();
        if self.whole.n < specimens {
            all.push(format!("{} of {specimens} specimens", self.whole.n));
        }
        let whole = self.batches.iter().filter(|own| own.n >= WHOLE_BATCH).count();
        if self.batches.len() < batches {
            all.push(format!("{} of {batches} batches", self.batches.len()));
        } else if whole < batches {
            all.push(format!("{whole} of {batches} batches with {WHOLE_BATCH} specimens or more"));
        } else if self.method == Method::Batches && whole < ENOUGH_ANOVA {
            all.push(format!("{whole} of {ENOUGH_ANOVA} batches for an analysis of variance"));
        }
        all
    }

    /// Returns how well the spread of batch means is known: the limits, over what the sample shows, that hold their
    /// true standard deviation in 95 of 100 samples; `None` for one batch. It is of means: what scatters within a
    /// batch is in it.
    ///
    /// # Source
    /// sqrt((k - 1)/chi-square) at 0.975 and 0.025, of normal batch means: textbook interval of a variance.
    pub fn batch_spread(&self) -> Option<[f64; 2]> {
        let free = self.batches.len().checked_sub(1).filter(|free| *free > 0)? as f64;
        let own = ChiSquared::new(free).ok()?;
        let limit = |p: f64| Some((free / own.inverse_cdf(p)).sqrt()).filter(|value| value.is_finite());
        Some([limit(0.975)?, limit(0.025)?])
    }
}

/// Computes design values by the public handbook's procedure.
///
/// `groups` are the values by batch, in one unit. An outlier is named and stays in: it goes by a cause that is
/// written down. In the end one method gives both values; where it can't, its error says why.
///
/// Values are an engineering aid, not approved design values.
///
/// # Errors
/// [`StatisticsError::Count`] for no batch, an empty one, or fewer than two values;
/// [`StatisticsError::NoSpread`] where all values are equal; [`StatisticsError::NotFinite`];
/// [`StatisticsError::Level`] or [`StatisticsError::Probability`] for levels that can't be used.
///
/// # Source
/// MIL-HDBK-17-1F chapter 8 (from memory): outliers within batches and in all; batches (k-sample
/// Anderson-Darling), spread (Levene); of one population the first of Weibull, normal, lognormal that fits, else
/// no distribution; of batches that differ the analysis of variance.
pub fn procedure(groups: &[&[f64]], levels: &Levels) -> Result<Procedure, StatisticsError> {
    let what = "a design value";
    let all: Vec<f64> = groups.iter().flat_map(|own| own.iter().copied()).collect();
    if groups.iter().any(|own| own.is_empty()) {
        return Err(StatisticsError::too_few("a batch", 0, 1));
    }
    let whole = match sample(&all) {
        Err(StatisticsError::Count { n, least, most, .. }) => {
            return Err(StatisticsError::Count { what, n, least, most });
        }
        other => other?,
    };
    if whole.sd <= 0.0 {
        return Err(StatisticsError::NoSpread { what });
    }
    let mut batches = Vec::with_capacity(groups.len());
    for own in groups {
        batches.push(Batch {
            n: own.len(),
            mean: super::mean(own)?,
            sd: sample(own).ok().map(|of| of.sd),
            least: own.iter().copied().fold(f64::INFINITY, f64::min),
            greatest: own.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            outliers: outliers(own, levels.outliers)?,
        });
    }
    let found_outliers = outliers(&all, levels.outliers)?;
    // Sorted once for all tests that look at order.
    let in_order = merged(groups);
    let sizes: Vec<usize> = groups.iter().map(|own| own.len()).collect();
    let mut sorted: Vec<Vec<f64>> = sizes.iter().map(|size| Vec::with_capacity(*size)).collect();
    for (value, group) in &in_order {
        if let Some(own) = sorted.get_mut(*group as usize) {
            own.push(*value);
        }
    }
    let sorted_groups: Vec<&[f64]> = sorted.iter().map(Vec::as_slice).collect();
    let one_population = usable(k_sample_merged(&in_order, &sizes, levels.batches))?;
    let variances = usable(equal_variances(&sorted_groups, levels.variances))?;
    let fits = if all.len() < FEWEST_FOR_FIT {
        Distribution::ALL.map(|distribution| goodness_of_fit(&all, distribution))
    } else {
        let ordered = Ordered::of_sorted(in_order.iter().map(|(value, _)| *value).collect());
        Distribution::ALL.map(|distribution| judged(&ordered, distribution))
    };
    super::open_probability("the level of fit", levels.fit)?;
    let modified = levels.modified_cv.then(|| modified(groups)).transpose()?.map(|own| {
        let spread: Vec<&[f64]> = own.groups.iter().map(Vec::as_slice).collect();
        let test = k_sample(&spread, levels.batches);
        (own, test)
    });
    let fits_well =
        |fit: &Result<Fit, StatisticsError>| fit.as_ref().ok().filter(|fit| fit.level > levels.fit).copied();
    let [_, normal, _] = &fits;
    // From 8 % on the rule modifies nothing, and the sample goes the common way.
    let raised = modified.as_ref().filter(|(own, _)| own.modified > own.cv);
    let raised = raised.filter(|(_, test)| test.as_ref().map_or(true, KSample::is_one));
    let raised = raised.filter(|_| all.len() < FEWEST_FOR_FIT || fits_well(normal).is_some());
    let fit = fits.iter().find_map(fits_well);
    let differ = one_population.as_ref().is_ok_and(|test| !test.is_one());
    let method = match (raised, differ, fit) {
        (Some(_), _, _) => Method::ModifiedNormal,
        (None, true, _) => Method::Batches,
        (None, false, Some(fit)) => Method::One(fit.fitted.distribution()),
        (None, false, None) if all.len() < FEWEST_FOR_FIT => Method::Untested,
        (None, false, None) => Method::NoDistribution,
    };
    let by_sample = |of: Sample, basis: Basis| -> Result<DesignValue, StatisticsError> {
        let k = recalled_factor(of.n, basis)?;
        let value = finite("the basis value", of.mean - k * of.sd)?;
        Ok(DesignValue { value, way: Way::Normal { k, of } })
    };
    let value = |basis: Basis| -> Result<DesignValue, StatisticsError> {
        match (method, fit, raised) {
            (Method::ModifiedNormal, _, Some((own, _))) => by_sample(own.sample, basis),
            (Method::Batches, _, _) => {
                let own = anova(groups, basis)?;
                Ok(DesignValue { value: own.value, way: Way::Anova(own) })
            }
            (Method::One(_), Some(fit), _) => match fit.fitted {
                Fitted::Normal(of) => by_sample(of, basis),
                Fitted::Lognormal(of) => {
                    let k = recalled_factor(of.n, basis)?;
                    let value = finite("the basis value", (of.mean - k * of.sd).exp())?;
                    Ok(DesignValue { value, way: Way::Lognormal { k, of } })
                }
                Fitted::Weibull(of) => {
                    let own = weibull_value(&of, all.len(), basis)?;
                    Ok(DesignValue { value: own.value, way: Way::Weibull(of, own) })
                }
            },
            (Method::NoDistribution, _, _) => match ranked(&all, basis) {
                Ok((value, rank)) => Ok(DesignValue { value, way: Way::Rank(rank) }),
                Err(_) => {
                    let own = hanson_koopmans(&all, basis)?;
                    Ok(DesignValue { value: own.value, way: Way::HansonKoopmans(own) })
                }
            },
            _ => by_sample(whole, basis),
        }
    };
    let above_zero = |given: Result<DesignValue, StatisticsError>| {
        given.and_then(|given| {
            if given.value > 0.0 { Ok(given) } else { Err(StatisticsError::NoValue { value: given.value }) }
        })
    };
    let (b, a) = (above_zero(value(Basis::B)), above_zero(value(Basis::A)));
    Ok(Procedure {
        levels: *levels,
        batches,
        whole,
        outliers: found_outliers,
        one_population,
        variances,
        fits,
        modified,
        method,
        b,
        a,
    })
}

/// A test whose level can't be used is a fault of whoever asked; one that the sample can't bear is told.
fn usable<T>(test: Result<T, StatisticsError>) -> Result<Result<T, StatisticsError>, StatisticsError> {
    match test {
        Err(StatisticsError::Level { what, value }) => Err(StatisticsError::Level { what, value }),
        Err(problem @ StatisticsError::Probability { .. }) => Err(problem),
        other => Ok(other),
    }
}

#[cfg(test)]
#[path = "procedure_tests.rs"]
mod tests;
