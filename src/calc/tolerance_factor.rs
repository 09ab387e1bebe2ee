//! One-sided tolerance factors of normal samples, and the design value that they give.

use super::{At, Checks, Refusals, Topic, Work};
use crate::quantity::{Fraction, Ratio};
use crate::statistics::{noncentral_t_quantile, normal_quantile, tolerance_factor};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Mean and deviation of a sample, in any unit, the same for both.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SampleFigures {
    /// Mean, a bare number.
    mean: Ratio,
    /// Sample standard deviation (divisor n - 1), a bare number.
    deviation: Ratio,
}

/// Inputs of `calc tolerance-factor`: a sample of normal data.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ToleranceFactor {
    /// Specimens.
    n: u32,
    /// Share of the population that lies above the design value: 90 % for a B value, 99 % for an A value.
    content: Fraction,
    /// Confidence; 95 % where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    confidence: Option<Fraction>,
    /// The sample itself, for the design value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sample: Option<SampleFigures>,
}

impl Topic for ToleranceFactor {
    const NAME: &'static str = "tolerance-factor";
    const ABOUT: &'static str = "the one-sided tolerance factor of normal data, and the design value by it";
    const SOURCE: &'static str = "k = t(confidence; n - 1, z_p sqrt(n))/sqrt(n), the noncentral t itself and not an \
        approximation; MIL-HDBK-17-1F section 8.5 (from memory)";
    const CAUTION: &'static str = "One normal population: outliers, batches that differ and other distributions are not \
        looked at. Design values from too few batches are estimates and must not be designed with.";
    const SAMPLE: &'static str = "\
# Warp compression coupons of the invented Sanderling, in MPa
n: 18
content: 90 %
sample: {mean: 2553.1, deviation: 57.5}
";

    fn work(&self) -> Result<Work, Refusals> {
        let confidence = self.confidence.as_ref().map_or(0.95, |own| own.si());
        let mut checks = Checks::new();
        let (least, most) = (2, 100_000);
        checks.wants((least..=most).contains(&self.n), "n", &self.n.to_string(), "from 2 to 100 000");
        let open = |value: f64| value > 0.0 && value < 1.0;
        let range = "above 0 and below 1 (100 %)";
        checks.wants(open(self.content.si()), "content", self.content.text(), range);
        if let Some(given) = &self.confidence {
            checks.wants(open(given.si()), "confidence", given.text(), range);
        }
        if let Some(sample) = &self.sample {
            checks.not_negative("sample.deviation", &sample.deviation);
        }
        checks.done()?;
        let (n, content) = (self.n as usize, self.content.si());
        let root = f64::from(self.n).sqrt();
        let z = normal_quantile(content).at("content")?;
        let delta = z * root;
        let k = tolerance_factor(n, content, confidence).at("n")?;
        let t = noncentral_t_quantile(confidence, n - 1, delta).at("n")?;
        let mut work = Work::new();
        let quantile = "standard normal quantile of the content";
        work.step("z_p", quantile, "[by the inverse of the normal distribution]", &[], z, "");
        work.step("delta", "z_p sqrt(n)", "{} x sqrt({})", &[z, f64::from(self.n)], delta, "");
        let quantile = "noncentral t quantile of the confidence, n - 1 degrees, noncentrality delta";
        work.step("t", quantile, "[found on the noncentral t distribution]", &[], t, "");
        work.step("k", "t/sqrt(n)", "{}/sqrt({})", &[t, f64::from(self.n)], k, "");
        work.result("k", k, "");
        if let Some(sample) = &self.sample {
            let (mean, s) = (sample.mean.si(), sample.deviation.si());
            let value = mean - k * s;
            work.step("value", "mean - k s", "{} - {} x {}", &[mean, k, s], value, "");
            work.result("value", value, "");
        }
        Ok(work)
    }
}
