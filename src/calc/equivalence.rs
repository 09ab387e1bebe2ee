//! Is what is made now still what was qualified: limits of strengths and of moduli.

use super::specimens::{enough, level, mean_and_deviation, mean_step, numbers, unit_of};
use super::{At, Checks, Refusal, Refusals, Topic, Work};
use crate::quantity::{Fraction, Ratio};
use crate::statistics::{
    LEVELS_TAKEN, StatisticsError, chance_failures, equivalence_limits, mean_change_two_sided, mean_power,
    specimens_for, strength_equivalent, strength_power,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What kind of property it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum PropertyKind {
    /// May not fall: mean and least value are held against limits.
    Strength,
    /// May not move either way: the mean is held between limits.
    Modulus,
}

/// The qualified sample.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Qualified {
    /// Mean, a bare number.
    mean: Ratio,
    /// Sample standard deviation (divisor n - 1), a bare number.
    deviation: Ratio,
    /// Specimens; asked for by a modulus.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    n: Option<u32>,
}

/// Inputs of `calc equivalence`: a qualified sample, and new values or how many there will be.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Equivalence {
    /// Whether it is a strength, which may not fall, or a modulus, which may not move.
    property: PropertyKind,
    /// Unit of all values, such as `MPa`.
    unit: String,
    /// The qualified sample.
    qualified: Qualified,
    /// New values, as bare numbers in that unit; this or `n`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    values: Option<Vec<Ratio>>,
    /// How many new values of a strength there will be, for the limits alone; this or `values`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    n: Option<u32>,
    /// Probability of a rejection though nothing changed; 5 % where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    alpha: Option<Fraction>,
    /// How far the mean has moved, in standard deviations, for the power; 1 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    fall: Option<Ratio>,
    /// How many properties the whole set tests, for the failures that chance alone brings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    tests: Option<u32>,
}

/// The power that a sample is advised for; common practice, no source.
const ENOUGH: f64 = 0.8;

impl Topic for Equivalence {
    const NAME: &'static str = "equivalence";
    const ABOUT: &'static str = "whether a new sample is equivalent to a qualified one, by limits";
    const SOURCE: &'static str = "Strength: mean at least m0 - k_mean s0, least value at least m0 - k_min \
        s0, both events of one probability and either of alpha: M. G. Vangel 2002, DOT/FAA/AR-03/19 (from \
        memory), the joint probability computed; modulus: mean within m0 -/+ t s_p sqrt(1/n0 + 1/n1), t the \
        Student quantile of 1 - alpha/2";
    const CAUTION: &'static str = "To be equivalent is not to be equal: of few new specimens a real loss \
        can go unseen. A rejected sample is not tested again until it passes.";
    const SAMPLE: &'static str = "\
# Warp compression of the invented Sanderling from a second oven
property: strength
unit: MPa
qualified: {mean: 416.8, deviation: 15.4, n: 18}
values: [404.2, 418.9, 399.7, 411.0, 413.6, 396.1, 407.5, 412.3]
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        if let Some(fall) = &self.fall {
            let fits = fall.si() > 0.0 && fall.si() <= 8.0;
            checks.wants(fits, "fall", fall.text(), "above 0 and at most 8");
        }
        if let Some(tests) = self.tests {
            checks.wants((1..=100_000).contains(&tests), "tests", &tests.to_string(), "from 1 to 100 000");
        }
        let unit = unit_of(&mut checks, &self.unit);
        checks.not_negative("qualified.deviation", &self.qualified.deviation);
        let alpha = level(&mut checks, "alpha", self.alpha.as_ref(), 0.05);
        checks.one_of(&[("values", self.values.is_some()), ("n", self.n.is_some())]);
        if let Some(n) = self.n {
            checks.wants((1..=10_000).contains(&n), "n", &n.to_string(), "from 1 to 10 000");
        }
        if let Some(n) = self.qualified.n {
            checks.wants((2..=10_000).contains(&n), "qualified.n", &n.to_string(), "from 2 to 10 000");
        }
        match self.property {
            PropertyKind::Strength => {
                if let Some(given) = self.alpha.as_ref().filter(|own| own.si() > 0.0 && own.si() < 1.0) {
                    let fits = LEVELS_TAKEN.contains(&given.si());
                    checks.wants(fits, "alpha", given.text(), "from 0.01 % to 50 % for a strength");
                }
                if let Some(values) =
                    self.values.as_ref().filter(|values| !(1..=10_000).contains(&values.len()))
                {
                    let message =
                        format!("`values` holds {} values; the limits take 1 to 10 000", values.len());
                    checks.refuse(Refusal::new("out-of-range", "values", message, "write the new values"));
                }
            }
            PropertyKind::Modulus => {
                if self.qualified.n.is_none() {
                    checks.asks_for(
                        "qualified",
                        "qualified.n",
                        "a modulus is judged by how many specimens were qualified",
                    );
                }
                if let Some(values) = &self.values {
                    enough(&mut checks, "values", values, 2, "the test of a mean");
                } else if self.n.is_some() {
                    let why = "the limits of a modulus rest on the spread of the new values";
                    checks.asks_for("n", "values", why);
                }
            }
        }
        checks.done()?;
        let mut work = Work::new();
        match self.property {
            PropertyKind::Strength => self.strength(&mut work, alpha, unit)?,
            PropertyKind::Modulus => self.modulus(&mut work, alpha, unit)?,
        }
        Ok(work)
    }
}

impl Equivalence {
    fn strength(&self, work: &mut Work, alpha: f64, unit: &'static str) -> Result<(), Refusals> {
        let (m0, s0) = (self.qualified.mean.si(), self.qualified.deviation.si());
        let values = self.values.as_ref().map(|own| numbers(own));
        let n = values.as_ref().map_or(self.n.unwrap_or_default() as usize, Vec::len);
        let (k_mean, k_min) = equivalence_limits(n, alpha).at("alpha")?;
        let (low_mean, low_min) = (m0 - k_mean * s0, m0 - k_min * s0);
        let words = "[found on the joint distribution of mean and minimum]";
        work.step("k_mean", "factor of the mean of n values at alpha", words, &[], k_mean, "");
        work.step("k_min", "factor of the least of n values at alpha", words, &[], k_min, "");
        let text = "{} - {} x {}";
        work.step("limit of the mean", "m0 - k_mean s0", text, &[m0, k_mean, s0], low_mean, unit);
        work.step("limit of the least", "m0 - k_min s0", text, &[m0, k_min, s0], low_min, unit);
        for (name, value, unit) in [
            ("k_mean", k_mean, ""),
            ("k_min", k_min, ""),
            ("limit_mean", low_mean, unit),
            ("limit_least", low_min, unit),
        ] {
            work.result(name, value, unit);
        }
        self.foresight(work, alpha, |fall| strength_power(n, alpha, fall))?;
        let Some(values) = values else { return Ok(()) };
        let found = strength_equivalent(m0, s0, &values, alpha).at("values")?;
        mean_step(work, "mean", &values, found.mean, unit);
        let all: Vec<Vec<f64>> = values.iter().map(|value| vec![*value]).collect();
        let (text, numbers) =
            super::specimens::terms("min(", "{}", ")", &all, "by looking through the values");
        work.step("least", "the least value", &text.replace(" + ", ", "), &numbers, found.minimum, unit);
        work.result("mean", found.mean, unit);
        work.result("least", found.minimum, unit);
        work.result("equivalent", found.holds(), "");
        work.note(match (found.mean_holds(), found.minimum_holds()) {
            (true, true) => "Mean and least value reach their limits: equivalent.",
            (false, true) => "The mean is below its limit: not equivalent.",
            (true, false) => "The least value is below its limit: not equivalent.",
            (false, false) => "Mean and least value are below their limits: not equivalent.",
        });
        Ok(())
    }

    /// What the test finds, how many specimens find more, and what chance fails of a set.
    fn foresight(
        &self,
        work: &mut Work,
        alpha: f64,
        power: impl Fn(f64) -> Result<f64, StatisticsError>,
    ) -> Result<(), Refusals> {
        let fall = self.fall.as_ref().map_or(1.0, |own| own.si());
        let found = power(fall).at("fall")?;
        let formula = "how often a mean that moved by `fall` standard deviations is found";
        work.step("power", formula, "[with both limits moved by that]", &[], found, "");
        work.result("power", found, "");
        if self.property == PropertyKind::Strength {
            match specimens_for(alpha, fall, ENOUGH).at("fall")? {
                Some(n) => work.note(format!("{n} new values would find it 80 times in 100.")),
                None => work.note("More than 200 new values would be needed to find it 80 times in 100."),
            }
        }
        if let Some(tests) = self.tests {
            let chance = chance_failures(std::iter::repeat_n(alpha, tests as usize));
            let text = "{} x {}";
            let numbers = [f64::from(tests), alpha];
            work.step(
                "chance",
                "tests alpha, failures where nothing changed",
                text,
                &numbers,
                chance.expected,
                "",
            );
            work.result("chance_failures", chance.expected, "");
        }
        Ok(())
    }

    fn modulus(&self, work: &mut Work, alpha: f64, unit: &'static str) -> Result<(), Refusals> {
        let (m0, s0) = (self.qualified.mean.si(), self.qualified.deviation.si());
        let n0 = self.qualified.n.unwrap_or_default() as usize;
        let values = numbers(self.values.as_deref().unwrap_or_default());
        let new = mean_and_deviation(work, &values, "values", unit)?;
        let found = mean_change_two_sided(m0, s0, n0, new.mean, new.sd, new.n, alpha).at("values")?;
        let (old, own) = (n0 as f64, new.n as f64);
        let formula = "sqrt(((n0 - 1) s0^2 + (n1 - 1) s1^2)/(n0 + n1 - 2))";
        let text = "sqrt((({} - 1) x {}^2 + ({} - 1) x {}^2)/({} + {} - 2))";
        work.step("s_p", formula, text, &[old, s0, own, new.sd, old, own], found.pooled_sd, unit);
        let formula = "Student quantile of 1 - alpha/2, n0 + n1 - 2 degrees";
        work.step("t", formula, "[by the t distribution]", &[], found.t, "");
        let reach = found.t * found.pooled_sd * (1.0 / old + 1.0 / own).sqrt();
        let text = "{} x {} x sqrt(1/{} + 1/{})";
        let numbers = [found.t, found.pooled_sd, old, own];
        work.step("reach", "t s_p sqrt(1/n0 + 1/n1)", text, &numbers, reach, unit);
        work.step("low", "m0 - reach", "{} - {}", &[m0, reach], found.low, unit);
        work.step("high", "m0 + reach", "{} + {}", &[m0, reach], found.high, unit);
        for (name, value) in [("limit_low", found.low), ("limit_high", found.high), ("mean", found.mean)] {
            work.result(name, value, unit);
        }
        self.foresight(work, alpha, |fall| mean_power(n0, new.n, alpha, fall))?;
        work.result("equivalent", found.holds(), "");
        work.note(if found.holds() {
            "The mean lies within its limits: equivalent."
        } else {
            "The mean lies outside its limits: not equivalent."
        });
        Ok(())
    }
}
