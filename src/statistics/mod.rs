//! Tolerance factors and equivalence limits.
//!
//! Plain values in, plain values out: a sample becomes [`Sample`], a sample size and a [`Basis`]
//! a factor ([`tolerance_factor`]), and a new sample is set against an old one by
//! [`strength_equivalent`] or [`mean_change_two_sided`]. Everything rests on the normal and the
//! noncentral t distribution, which are this room's own: the libraries at hand have no
//! noncentral t, and the normal of one of them is good to ten digits only.
//!
//! No function returns NaN or an infinity: what would lead there is an error.
//!
//! The values are an engineering aid, not approved design values.

mod equivalence;
mod noncentral;
mod normal;
mod normalise;
mod quadrature;
mod sample;
mod tolerance;

pub use equivalence::{
    MeanChange, StrengthEquivalence, equivalence_limits, mean_change_two_sided, strength_equivalent,
};
pub use noncentral::{noncentral_t_cdf, noncentral_t_quantile, student_t_quantile};
pub use normal::{normal_cdf, normal_quantile};
pub use normalise::{Ratio, Scatter, USUAL_REACH};
pub use sample::{Sample, mean, sample};
pub use tolerance::{Basis, basis_value, tolerance_factor};

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
    #[error("{what} takes {least} to {most} values, not {n}")]
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
    /// The search for a quantile did not settle: a defect, not a fault of the data.
    #[error("no quantile was found for {what}")]
    NoQuantile {
        /// Which distribution.
        what: &'static str,
    },
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
