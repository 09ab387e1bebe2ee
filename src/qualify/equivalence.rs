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

#[cfg(test)]
mod tests {
    use super::*;

    /// Invented values; all expected ones from numpy 1.24 and scipy 1.10.1.
    const BASELINE: [f64; 18] = [
        712.0, 698.0, 725.0, 704.0, 690.0, 718.0, 731.0, 709.0, 716.0, 740.0, 702.0, 722.0, 695.0, 719.0,
        707.0, 688.0, 711.0, 700.0,
    ];
    const NEW: [f64; 8] = [706.0, 699.0, 715.0, 702.0, 697.0, 711.0, 720.0, 693.0];

    fn showing(text: &str) -> Showing {
        serde_yaml::from_str(text).unwrap()
    }

    fn sampled(values: &[f64]) -> Pool {
        Pool { values: values.to_vec(), unit: "MPa".to_string(), alpha: 0.05, ..Pool::default() }
    }

    fn close(got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() <= relative, "{got} against {expected}");
    }

    #[test]
    fn strengths_are_held_by_mean_and_least_value() {
        let showing = showing("{kind: lamina-strength-fibre, accept: {basis: B, at_least: 600 MPa}}");
        let found = Equivalence::of(&sampled(&NEW), &sampled(&BASELINE), &showing).unwrap();
        close(found.baseline.mean, 710.388_888_888_9, 1e-12);
        close(found.baseline.sd, 14.050_911_165_3, 1e-11);
        let Test::MeanAndLeast(own) = found.test else { panic!("{found:?}") };
        // k of the published kind for 8 values, 0.6789 and 2.6999, in m0 - k s0.
        close(own.mean_limit, 710.388_889 - 0.6789 * 14.050_911, 2e-6);
        close(own.minimum_limit, 710.388_889 - 2.6999 * 14.050_911, 2e-6);
        assert!(found.holds());
        // Of 1 000 000 simulated samples of 8 fallen by 0.5, 1, 2 deviations: standard error 0.0005.
        for (own, expected) in found.power().unwrap().iter().zip([0.34423, 0.83219, 0.99992]) {
            assert!((own.power - expected).abs() < 2e-3, "{own:?}");
        }
        assert_eq!(found.advised(), Some(8));
    }

    #[test]
    fn moduli_are_held_by_the_mean_alone_either_way() {
        let showing = showing("{kind: lamina-modulus, accept: {mean_at_least: 55 GPa}}");
        let baseline = sampled(&[60.4, 59.1, 60.9, 61.2, 59.8, 60.1]);
        let found = Equivalence::of(&sampled(&[58.2, 58.9, 57.9, 58.4]), &baseline, &showing).unwrap();
        let Test::Mean(own) = found.test else { panic!("{found:?}") };
        close(own.pooled_sd, 0.654_312_616_4, 1e-9);
        close(own.t, 2.306_004_135, 1e-9);
        close(own.low, 59.276_043_062_8, 1e-9);
        close(own.high, 61.223_956_937_2, 1e-9);
        assert!(!found.holds() && found.words("GPa").contains("not in"));
        for (own, expected) in
            found.power().unwrap().iter().zip([0.105_333_770, 0.276_902_584, 0.774_333_012])
        {
            assert!((own.power - expected).abs() < 1e-8, "{own:?}");
        }
    }

    #[test]
    fn ratings_are_held_against_the_criterion_however_many_there_are() {
        let showing = showing("{kind: paint-adhesion, accept: {rating_at_least: 4}}");
        let rated = |values: &[f64]| Pool { unit: String::new(), ..sampled(values) };
        // Below the mean of a baseline without any scatter, and good enough.
        let outcome = equivalent(&rated(&[4.0, 5.0, 4.0]), &rated(&[5.0, 5.0, 5.0]), &showing);
        assert!(matches!(outcome, Outcome::Holds(_)), "{outcome:?}");
        let outcome = equivalent(&rated(&[3.0, 5.0, 4.0]), &rated(&[5.0, 5.0, 5.0]), &showing);
        assert!(matches!(outcome, Outcome::Fails(_)), "{outcome:?}");
    }
}
