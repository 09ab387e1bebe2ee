//! Design values from specimens, step by step, and equivalence.
//!
//! Plain values in, plain values out: specimens by batch become a design value by the handbook's
//! procedure ([`procedure()`]: outliers, batches, fit, the method that follows), each step of which
//! stands alone too; a sample becomes [`Sample`], a sample size and a [`Basis`] a factor
//! ([`tolerance_factor`]), and a new sample is set against an old one by [`strength_equivalent`] or
//! [`mean_change_two_sided`]. Everything rests on the normal and the
//! noncentral t distribution, which are this room's own: the libraries at hand have no
//! noncentral t, and the normal of one of them is good to ten digits only.
//!
//! No function returns NaN or an infinity: what would lead there is an error.
//!
//! The values are an engineering aid, not approved design values.

mod anova;
mod batches;
mod conditions;
#[cfg(test)]
mod coverage_tests;
mod elementary;
mod equivalence;
mod fit;
mod modified;
mod noncentral;
mod normal;
mod normalise;
mod order;
mod outlier;
mod pooling;
mod power;
mod procedure;
mod quadrature;
mod random;
mod ranks;
mod recalled;
mod sample;
#[cfg(test)]
mod samples;
mod tolerance;
mod weibull;

pub use anova::{Anova, anova};
pub use batches::{
    EqualVariances, KSample, KSampleSpread, equal_variances, is_k_sample_level, k_sample, k_sample_levels,
    median,
};
pub use conditions::between_tested;
pub use equivalence::{
    MeanChange, StrengthEquivalence, equivalence_limits, mean_change_two_sided, strength_equivalent,
};
pub use fit::{Distribution, FEWEST_FOR_FIT, Fit, Fitted, fitted, goodness_of_fit};
pub use modified::{Modified, modified, modified_cv};
pub use noncentral::{noncentral_t_cdf, noncentral_t_quantile, student_t_quantile};
pub use normal::{normal_cdf, normal_quantile};
pub use normalise::{Ratio, Scatter, USUAL_REACH};
pub use outlier::{FEWEST_FOR_OUTLIER, NormedResidual, normed_residual, outlier_critical, outliers};
pub use pooling::{Against, Pooled, PooledValue, pooled};
pub use power::{ChanceFailures, chance_failures, mean_power, specimens_for, strength_power};
pub use procedure::{Batch, DesignValue, Levels, Method, Procedure, Way, procedure};
pub use random::SplitMix;
pub use ranks::{HansonKoopmans, hanson_koopmans, hanson_koopmans_factor, rank_confidence, rank_of, ranked};
pub use sample::{Sample, mean, sample};
pub use tolerance::{Basis, basis_value, tolerance_factor};
pub use weibull::{
    APPROXIMATED_FROM, FEWEST_FOR_WEIBULL, Weibull, WeibullValue, weibull, weibull_factor, weibull_value,
};

/// Levels of significance that a ledger, a showing or an option may set. Below, a test rejects next to nothing, and
/// quantiles and inversions have too few digits left to give a value at all; above, it is the toss of a coin.
///
/// # Source
/// The project's own rule: common practice, no source.
pub const LEVELS_TAKEN: std::ops::RangeInclusive<f64> = 1e-4..=0.5;

/// Why a statistical value could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StatisticsError {
    /// A probability outside its open or closed range.
    #[error("{what} is {value}; it must lie between {low} and {high}")]
    Probability {
        /// Which probability.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Lower end of the range.
        low: f64,
        /// Upper end of the range.
        high: f64,
    },
    /// Too few or too many values for the method.
    #[error("{what} takes {}, not {n}", range(what, *least, *most))]
    Count {
        /// Which method.
        what: &'static str,
        /// How many values there were.
        n: usize,
        /// The fewest it takes.
        least: usize,
        /// The most it takes.
        most: usize,
    },
    /// A value that is not a finite number, or a result too large for one.
    #[error("{what} is not a finite number")]
    NotFinite {
        /// Which value.
        what: &'static str,
    },
    /// A figure that a ratio can't be made of.
    #[error("{what} is {value}; it must be more than 0")]
    Ratio {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A negative standard deviation.
    #[error("{what} is {value}; a standard deviation cannot be negative")]
    NegativeDeviation {
        /// Whose deviation.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// Values that are all equal, for a method that lives on their spread.
    #[error("{what} needs values that differ: all are equal")]
    NoSpread {
        /// Which method.
        what: &'static str,
    },
    /// The two values of a sample that a method leans on are equal, whatever the others are.
    #[error("{what} leans on the least value and that of rank {rank}, which are equal")]
    Tied {
        /// Which method.
        what: &'static str,
        /// The rank of the greater one, from 1 for the least.
        rank: usize,
    },
    /// Values that are all equal within each batch, for a method that lives on the spread there.
    #[error("{what} needs values that differ within a batch: in each all are equal")]
    NoSpreadWithin {
        /// Which method.
        what: &'static str,
    },
    /// A value at or below zero, for a method that takes logarithms.
    #[error("{what} takes values above 0, not {}", short(*value))]
    NotPositive {
        /// Which method.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A design value that is no strength or modulus.
    #[error("it comes to {}, and at or below 0 it is none; compression is written as a positive number", short(*value))]
    NoValue {
        /// What it comes to.
        value: f64,
    },
    /// A level of significance that a method has no critical value for.
    #[error("{what} has critical values at 0.1, 0.05, 0.025 and 0.01, not at {value}")]
    Level {
        /// Which method.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A condition outside those tested: nothing is extrapolated.
    #[error(
        "{} lies outside what was tested, {} to {}: nothing is extrapolated",
        short(*condition), short(*lowest), short(*highest)
    )]
    Untested {
        /// The condition.
        condition: f64,
        /// The lowest that was tested.
        lowest: f64,
        /// The highest.
        highest: f64,
    },
    /// Two values at one condition.
    #[error("{condition} was tested twice: which value holds is not known")]
    TestedTwice {
        /// The condition.
        condition: f64,
    },
    /// The search for a quantile did not settle: a defect, not a fault of the data.
    #[error("no quantile was found for {what}")]
    NoQuantile {
        /// Which distribution.
        what: &'static str,
    },
}

/// A number with six digits at most, for a sentence.
fn short(value: f64) -> String {
    format!("{value:.5e}").parse::<f64>().map_or_else(|_| value.to_string(), |rounded| rounded.to_string())
}

/// How many values a method takes; what counts something else ends in a comma and says so.
fn range(what: &str, least: usize, most: usize) -> String {
    let values = if what.ends_with(',') { "" } else { " values" };
    if most == usize::MAX {
        format!("at least {least}{values}")
    } else {
        format!("{least} to {most}{values}")
    }
}

impl StatisticsError {
    /// Too few values for a method that takes any number from `least` on.
    fn too_few(what: &'static str, n: usize, least: usize) -> Self {
        Self::Count { what, n, least, most: usize::MAX }
    }
}

/// Returns `value` if it is finite.
fn finite(what: &'static str, value: f64) -> Result<f64, StatisticsError> {
    if value.is_finite() { Ok(value) } else { Err(StatisticsError::NotFinite { what }) }
}

/// Returns `value` if it lies strictly between 0 and 1.
fn open_probability(what: &'static str, value: f64) -> Result<f64, StatisticsError> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(StatisticsError::Probability { what, value, low: 0.0, high: 1.0 })
    }
}

/// Refuses a standard deviation that is negative or not finite.
fn deviation(what: &'static str, value: f64) -> Result<(), StatisticsError> {
    finite(what, value)?;
    if value < 0.0 {
        return Err(StatisticsError::NegativeDeviation { what, value });
    }
    Ok(())
}
