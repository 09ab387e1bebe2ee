//! The design value of batches that differ: one-way analysis of variance.

use super::specimens::{Batches, by_batch, enough_batches, mean_step, summed, terms, unit_of};
use super::{At, Checks, Refusals, Topic, Work};
use crate::statistics::{Basis, anova, mean};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Inputs of `calc batch-variance`: specimens by batch.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct BatchVariance {
    /// Unit of the values, such as `MPa`.
    unit: String,
    /// Values by the name of their batch, as bare numbers in that unit.
    batches: Batches,
}

impl Topic for BatchVariance {
    const NAME: &'static str = "batch-variance";
    const ABOUT: &'static str = "design values of batches that differ, by one-way analysis of variance";
    const SOURCE: &'static str = "n' = (N - sum n_i^2/N)/(k - 1), S^2 = MSB/n' + (n' - 1)/n' MSE, w = \
        sqrt(u/(u + n' - 1)), T = (k0 - k1/sqrt(n') + (k1 - k0) w)/(1 - 1/sqrt(n')), value = mean - T S: \
        MIL-HDBK-17-1F 8.3.5.2 (from memory)";
    const CAUTION: &'static str = "The method is approximate: of 95 values in 100 that should lie below the \
        true percentile, 92 to 96 do (simulated). Batches are taken as a draw of many; of few batches k1 is \
        large and the value low. A value of fewer than 18 specimens from 3 batches (B) or 55 from 5 (A) is \
        an estimate and must not be designed with.";
    const SAMPLE: &'static str = "\
# Warp compression coupons of the invented Sanderling, three batches
unit: MPa
batches:
  b1: [412.4, 421.1, 405.9, 426.0, 417.2, 409.7]
  b2: [441.5, 434.8, 448.3, 438.9, 443.1, 436.6]
  b3: [399.2, 406.7, 402.5, 413.4, 396.0, 408.9]
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        let unit = unit_of(&mut checks, &self.unit);
        let what = "an analysis of variance";
        enough_batches(&mut checks, &self.batches, self.batches.len() + 1, what);
        checks.done()?;
        let groups = by_batch(&self.batches);
        let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
        let b = anova(&slices, Basis::B).at("batches")?;
        let a = anova(&slices, Basis::A).at("batches")?;
        let mut work = Work::new();
        let mut means = Vec::with_capacity(groups.len());
        for (name, own) in self.batches.keys().zip(&groups) {
            let centre = mean(own).at("batches")?;
            mean_step(&mut work, &format!("mean of {name}"), own, centre, unit);
            means.push(centre);
        }
        let (k, n) = (groups.len() as f64, b.n as f64);
        mean_step(&mut work, "mean", &groups.concat(), b.mean, unit);
        let squares: Vec<Vec<f64>> = groups.iter().map(|own| vec![own.len() as f64]).collect();
        let sum = terms("({} - (", "{}^2", ")/{})/({} - 1)", &squares, "by the sizes of the batches");
        let (text, sizes) = sum;
        let numbers: Vec<f64> = [n].into_iter().chain(sizes).collect();
        summed(&mut work, "n'", "(N - sum n_i^2/N)/(k - 1)", (text, numbers), &[n, k], b.effective, "");
        let rows: Vec<Vec<f64>> =
            groups.iter().zip(&means).map(|(own, centre)| vec![own.len() as f64, *centre, b.mean]).collect();
        let sum = terms("(", "{} x ({} - {})^2", ")/({} - 1)", &rows, "by the means of the batches");
        summed(&mut work, "MSB", "sum n_i (mean_i - mean)^2/(k - 1)", sum, &[k], b.between, "");
        let rows: Vec<Vec<f64>> = groups
            .iter()
            .zip(&means)
            .flat_map(|(own, centre)| own.iter().map(|value| vec![*value, *centre]))
            .collect();
        let sum = terms("(", "({} - {})^2", ")/({} - {})", &rows, "by all values about their batch means");
        summed(&mut work, "MSE", "sum (x - mean_i)^2/(N - k)", sum, &[n, k], b.within, "");
        let numbers = [b.between, b.effective, b.effective, b.effective, b.within];
        let text = "sqrt({}/{} + ({} - 1)/{} x {})";
        work.step("S", "sqrt(MSB/n' + (n' - 1)/n' MSE)", text, &numbers, b.deviation, unit);
        work.step("u", "MSB/MSE, at least 1", "max(1, {}/{})", &[b.between, b.within], b.ratio, "");
        let text = "sqrt({}/({} + {} - 1))";
        work.step("w", "sqrt(u/(u + n' - 1))", text, &[b.ratio, b.ratio, b.effective], b.weight, "");
        for (name, one) in [("B", &b), ("A", &a)] {
            let words = "[as `calc tolerance-factor` finds it]";
            work.step(format!("k0 of {name}"), "tolerance factor of N values", words, &[], one.k0, "");
            work.step(format!("k1 of {name}"), "tolerance factor of k values", words, &[], one.k1, "");
            let formula = "(k0 - k1/sqrt(n') + (k1 - k0) w)/(1 - 1/sqrt(n'))";
            let text = "({} - {}/sqrt({}) + ({} - {}) x {})/(1 - 1/sqrt({}))";
            let numbers = [one.k0, one.k1, one.effective, one.k1, one.k0, one.weight, one.effective];
            work.step(format!("T of {name}"), formula, text, &numbers, one.factor, "");
            let numbers = [one.mean, one.factor, one.deviation];
            work.step(name, "mean - T S", "{} - {} x {}", &numbers, one.value, unit);
        }
        for (name, value, unit) in
            [("B", b.value, unit), ("A", a.value, unit), ("S", b.deviation, unit), ("u", b.ratio, "")]
        {
            work.result(name, value, unit);
        }
        if b.between < b.within {
            work.note("The batch means scatter less than the specimens of one batch: u is kept at 1.");
        }
        Ok(work)
    }
}
