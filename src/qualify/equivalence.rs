//! A new sample held against its baseline: the one comparison that a verdict goes by and that `basis` prints.

use super::normalised::Normalised;
use super::pool::{Outcome, Pool, digits, judge};
use crate::record::{Accept, Showing};
use crate::statistics::{
    MeanChange, Sample, StatisticsError, StrengthEquivalence, mean_change_two_sided, mean_power, sample,
    specimens_for, strength_equivalent, strength_power,
};

/// The power that a sample is advised for; common practice, no source.
pub const ENOUGH_POWER: f64 = 0.8;

/// Shifts of the mean that the power is told for, in standard deviations; common practice, no source.
const SHIFTS: [f64; 3] = [0.5, 1.0, 2.0];

/// Returns whether a kind's equivalence is a two-sided test of means; the others test mean and minimum.
pub fn two_sided(kind: &str) -> bool {
    matches!(kind, "lamina-modulus" | "glass-transition" | "physicals" | "stiffness")
}

/// Returns whether an equivalence of a showing is a test at a level of significance: of values with a spread, not of
/// ratings, statements or readings in time.
pub fn is_tested(showing: &Showing) -> bool {
    let accept = &showing.accept;
    accept.readings.is_empty()
        && accept.rating_at_least.is_none()
        && accept.statement.is_none()
        && (accept.limits().next().is_some() || accept.above_skin_by.is_some())
}

/// The test that a kind of showing is held to, and what it found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Test {
    /// Mean and least value against limits below the baseline's mean.
    MeanAndLeast(StrengthEquivalence),
    /// The mean between limits on both sides.
    Mean(MeanChange),
}

/// How often the test finds a shift of the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Power {
    /// The shift: a fall for a strength, either way for a mean; in standard deviations.
    pub shift: f64,
    /// The probability that it is found.
    pub power: f64,
}

/// A new sample held against its baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct Equivalence {
    /// The probability of a rejection though nothing changed.
    pub alpha: f64,
    /// The baseline, all of its batches together; its mean and deviation are taken as known by
    /// [`Test::MeanAndLeast`].
    pub baseline: Sample,
    /// The new sample.
    pub new: Sample,
    /// The test.
    pub test: Test,
}

impl Equivalence {
    /// Holds one sample against the other.
    ///
    /// # Errors
    /// Fewer than two values of either; those of [`strength_equivalent`] and [`mean_change_two_sided`].
    pub fn of(own: &Pool, baseline: &Pool, showing: &Showing) -> Result<Self, StatisticsError> {
        let (alpha, new, of) = (own.alpha, sample(&own.values)?, sample(&baseline.values)?);
        let test = if two_sided(showing.kind.as_str()) {
            Test::Mean(mean_change_two_sided(of.mean, of.sd, of.n, new.mean, new.sd, new.n, alpha)?)
        } else {
            Test::MeanAndLeast(strength_equivalent(of.mean, of.sd, &own.values, alpha)?)
        };
        Ok(Self { alpha, baseline: of, new, test })
    }

    /// Returns whether the new sample is equivalent.
    pub fn holds(&self) -> bool {
        match &self.test {
            Test::MeanAndLeast(found) => found.holds(),
            Test::Mean(found) => found.holds(),
        }
    }

    /// Returns what was found as half a sentence, with values in `unit`.
    pub fn words(&self, unit: &str) -> String {
        let alpha = self.alpha;
        let words = match &self.test {
            Test::Mean(found) => {
                let [mean, low, high] = [found.mean, found.low, found.high].map(digits);
                let lies = if found.holds() { "in" } else { "not in" };
                format!("mean {mean} {lies} {low} .. {high} {unit}")
            }
            Test::MeanAndLeast(found) => {
                let [mean, least] = [found.mean, found.minimum].map(digits);
                let limits = [found.mean_limit, found.minimum_limit].map(digits);
                let [of_mean, of_least] = limits;
                format!("mean {mean} (limit {of_mean}), least {least} (limit {of_least}) {unit}")
            }
        };
        format!("{} at alpha {alpha}", words.trim_end())
    }

    /// Returns how often samples of this size find a shift of the mean, the scatter being what it was.
    ///
    /// # Errors
    /// As [`strength_power`] and [`mean_power`].
    pub fn power(&self) -> Result<Vec<Power>, StatisticsError> {
        let of = |shift: f64| match self.test {
            Test::MeanAndLeast(_) => strength_power(self.new.n, self.alpha, shift),
            Test::Mean(_) => mean_power(self.baseline.n, self.new.n, self.alpha, shift),
        };
        SHIFTS.into_iter().map(|shift| Ok(Power { shift, power: of(shift)? })).collect()
    }

    /// Returns how many new values find a fall of one standard deviation with [`ENOUGH_POWER`]; `None` for a test
    /// of means, and where 200 are too few.
    pub fn advised(&self) -> Option<usize> {
        match self.test {
            Test::MeanAndLeast(_) => specimens_for(self.alpha, 1.0, ENOUGH_POWER).ok().flatten(),
            Test::Mean(_) => None,
        }
    }
}

/// Why a sample and its baseline are not values of one thing: they are normalised to two nominals.
pub fn apart(own: &Pool, baseline: &Pool) -> Option<String> {
    let nominal = |pool: &Pool| pool.normalised.as_ref().map_or_else(String::new, Normalised::words);
    (!own.is_normalised_as(baseline)).then(|| {
        format!(
            "its values are normalised to another nominal than its baseline's ({}, not {}): write one `nominal` in the \
             showing",
            nominal(own),
            nominal(baseline)
        )
    })
}

/// Returns whether there are values to be tested; else the criterion itself is held.
pub fn has_values(own: &Pool, baseline: &Pool, showing: &Showing) -> bool {
    is_tested(showing) && own.values.len() >= 2 && baseline.values.len() >= 2
}

/// Judges an equivalence against its baseline.
pub fn equivalent(own: &Pool, baseline: &Pool, showing: &Showing) -> Outcome {
    if let Some(words) = apart(own, baseline) {
        return Outcome::Unknown(words);
    }
    // Ratings and statements have no spread to test against: the criterion itself is held.
    if !has_values(own, baseline, showing) {
        return judge(own, &Accept { basis: None, ..showing.accept.clone() }, None, true, None);
    }
    // It moves mean and deviation, and so the limits.
    let out = baseline.out_words(" of the baseline").map_or_else(String::new, |out| format!("; {out}"));
    match Equivalence::of(own, baseline, showing) {
        Ok(found) if found.holds() => Outcome::Holds(found.words(&own.unit) + &out),
        Ok(found) => Outcome::Fails(found.words(&own.unit) + &out),
        Err(problem) => Outcome::Unknown(problem.to_string()),
    }
}
