//! The design value of a Weibull population.

use super::distribution_fit::weibull_steps;
use super::specimens::{above_zero, enough, numbers, unit_of};
use super::{At, Checks, Refusals, Topic, Work};
use crate::quantity::Ratio;
use crate::statistics::{Basis, FEWEST_FOR_WEIBULL, weibull, weibull_value};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Inputs of `calc weibull-value`: specimens of one Weibull population.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct WeibullValues {
    /// Unit of the values, such as `MPa`.
    unit: String,
    /// Values above 0, as bare numbers in that unit; three or more.
    values: Vec<Ratio>,
}

impl Topic for WeibullValues {
    const NAME: &'static str = "weibull-value";
    const ABOUT: &'static str = "design values of a sample from a two-parameter Weibull distribution";
    const SOURCE: &'static str = "value = q exp(-V/(beta sqrt(n))), q = alpha (-ln p)^(1/beta), alpha and \
        beta by maximum likelihood; from 16 values on V_B = 3.803 + exp(1.79 - 0.516 ln n + 5.1/(n - 1)), \
        V_A = 6.649 + exp(2.55 - 0.526 ln n + 4.76/n): MIL-HDBK-17-1F 8.3.4.2 and tables 8.5.8, 8.5.9 (from \
        memory); below 16 V was simulated for this project";
    const CAUTION: &'static str = "One Weibull population is taken for granted: look at `calc batches` and \
        `calc distribution-fit` first. A value of fewer than 18 specimens from 3 batches (B) or 55 from 5 \
        (A) is an estimate and must not be designed with.";
    const SAMPLE: &'static str = "\
# Interlaminar shear coupons of the invented Sanderling
unit: MPa
values: [61.2, 58.7, 63.5, 60.1, 57.4, 62.8, 59.6, 64.4, 61.9, 60.8, 56.2, 62.1, 60.4, 63.0, 58.1, 61.5, 59.2, 62.4]
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        let unit = unit_of(&mut checks, &self.unit);
        enough(&mut checks, "values", &self.values, FEWEST_FOR_WEIBULL, "a Weibull distribution");
        above_zero(&mut checks, "values", &self.values, "");
        checks.done()?;
        let values = numbers(&self.values);
        let n = values.len();
        let fit = weibull(&values).at("values")?;
        let mut work = Work::new();
        weibull_steps(&mut work, &values, &fit, unit);
        let count = n as f64;
        for (name, basis) in [("B", Basis::B), ("A", Basis::A)] {
            let found = weibull_value(&fit, n, basis).at("values")?;
            let numbers = [fit.scale, basis.content(), fit.shape];
            let text = "{} x (-ln({}))^(1/{})";
            work.step(format!("q of {name}"), "alpha (-ln p)^(1/beta)", text, &numbers, found.quantile, unit);
            let (formula, text, numbers) = match basis {
                _ if n < 16 => ("V of so few values", "[simulated: table in the program]", vec![]),
                Basis::B => (
                    "3.803 + exp(1.79 - 0.516 ln n + 5.1/(n - 1))",
                    "3.803 + exp(1.79 - 0.516 x ln({}) + 5.1/({} - 1))",
                    vec![count, count],
                ),
                Basis::A => (
                    "6.649 + exp(2.55 - 0.526 ln n + 4.76/n)",
                    "6.649 + exp(2.55 - 0.526 x ln({}) + 4.76/{})",
                    vec![count, count],
                ),
            };
            work.step(format!("V of {name}"), formula, text, &numbers, found.v, "");
            let numbers = [found.quantile, found.v, fit.shape, count];
            let text = "{} x exp(-{}/({} x sqrt({})))";
            work.step(name, "q exp(-V/(beta sqrt(n)))", text, &numbers, found.value, unit);
            work.result(name, found.value, unit);
        }
        work.result("scale", fit.scale, unit);
        work.result("shape", fit.shape, "");
        Ok(work)
    }
}
