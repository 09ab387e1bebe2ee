//! Does a value stand out: the maximum normed residual and what it may reach.

use super::specimens::{enough, level, mean_and_deviation, numbers, unit_of};
use super::{At, Checks, Refusals, Topic, Work, figure};
use crate::quantity::{Fraction, Ratio};
use crate::statistics::{outlier_critical, outliers, student_t_quantile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

/// Inputs of `calc outlier`: specimens, or only how many there are.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Outlier {
    /// Unit of the values, such as `MPa`; goes with `values`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    unit: Option<String>,
    /// Values of one batch, or of all, as bare numbers in that unit; this or `n`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    values: Option<Vec<Ratio>>,
    /// How many values, for the critical value alone; this or `values`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    n: Option<u32>,
    /// Level of significance of the two-sided test; 5 % where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    alpha: Option<Fraction>,
}

impl Topic for Outlier {
    const NAME: &'static str = "outlier";
    const ABOUT: &'static str = "whether a value stands out of its sample, by the maximum normed residual";
    const SOURCE: &'static str = "MNR = max |x - mean|/s; C = (n - 1)/sqrt(n) sqrt(t^2/(n - 2 + t^2)), t \
        the Student quantile of 1 - alpha/(2 n) with n - 2 degrees: MIL-HDBK-17-1F 8.3.3 (from memory); the \
        test of F. E. Grubbs, ASTM E178 (from memory)";
    const CAUTION: &'static str = "That a value stands out is no reason to leave it out: it goes by a cause \
        that was found and is written down.";
    const SAMPLE: &'static str = "\
# Bearing coupons of the invented Sanderling, one batch
unit: MPa
values: [412.6, 405.1, 418.9, 409.7, 350.2, 415.3, 407.8, 411.0]
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        checks.one_of(&[("values", self.values.is_some()), ("n", self.n.is_some())]);
        let alpha = level(&mut checks, "alpha", self.alpha.as_ref(), 0.05);
        if let Some(n) = self.n {
            checks.wants((3..=100_000).contains(&n), "n", &n.to_string(), "from 3 to 100 000");
        }
        if let Some(values) = &self.values {
            enough(&mut checks, "values", values, 3, "a test for outliers");
        }
        let unit = self.unit.as_ref().map_or("", |own| unit_of(&mut checks, own));
        match (&self.unit, &self.values) {
            (None, Some(_)) => checks.asks_for("values", "unit", "the values are bare numbers of one unit"),
            (Some(_), None) => checks.goes_with(true, "unit", "values"),
            _ => {}
        }
        checks.done()?;
        let mut work = Work::new();
        let Some(values) = &self.values else {
            let n = self.n.unwrap_or_default() as usize;
            let critical = critical(&mut work, n, alpha, "n")?;
            work.result("critical", critical, "");
            return Ok(work);
        };
        let mut left = numbers(values);
        let found = outliers(&left, alpha).at("values")?;
        let mut rows: Vec<Value> = Vec::new();
        for one in &found {
            if !rows.is_empty() {
                work.note(format!("Round {} looks at what is left.", rows.len() + 1));
            }
            let of = mean_and_deviation(&mut work, &left, "values", unit)?;
            let text = "abs({} - {})/{}";
            work.step("MNR", "max |x - mean|/s", text, &[one.value, of.mean, of.sd], one.residual, "");
            critical(&mut work, one.n, alpha, "values")?;
            rows.push(json!({
                "round": rows.len() + 1, "n": one.n, "value": one.value, "place": one.index + 1,
                "residual": one.residual, "critical": one.critical, "outlier": one.is_outlier(),
            }));
            if let Some(at) = left.iter().position(|value| *value == one.value) {
                left.remove(at);
            }
        }
        let out: Vec<f64> = found.iter().filter(|one| one.is_outlier()).map(|one| one.value).collect();
        if let Some(first) = found.first() {
            work.result("residual", first.residual, "");
            work.result("critical", first.critical, "");
        }
        work.result("outlier", !out.is_empty(), "");
        work.result("rounds", rows, "");
        let at = figure(alpha * 100.0);
        work.note(match out.len() {
            0 => format!("At {at} % MNR does not pass C: nothing stands out."),
            1 => format!("At {at} % MNR passes C: one value stands out. Look for its cause."),
            n => format!("At {at} % MNR passes C: {n} values stand out in turn. Look for their cause."),
        });
        Ok(work)
    }
}

/// The steps to the critical value.
fn critical(work: &mut Work, n: usize, alpha: f64, field: &str) -> Result<f64, Refusals> {
    let count = n as f64;
    let p = 1.0 - alpha / (2.0 * count);
    let (t, found) = (student_t_quantile(p, n - 2).at(field)?, outlier_critical(n, alpha).at(field)?);
    work.step("p", "1 - alpha/(2 n)", "1 - {}/(2 x {})", &[alpha, count], p, "");
    work.step("t", "Student quantile of p, n - 2 degrees", "[by the t distribution]", &[], t, "");
    let text = "({} - 1)/sqrt({}) x sqrt({}^2/({} - 2 + {}^2))";
    let formula = "(n - 1)/sqrt(n) sqrt(t^2/(n - 2 + t^2))";
    work.step("C", formula, text, &[count, count, t, count, t], found, "");
    Ok(found)
}
