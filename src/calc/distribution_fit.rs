//! Which distribution fits a sample: Anderson-Darling and its observed significance level.

use super::specimens::{enough, level, mean_and_deviation, numbers, summed, terms, unit_of};
use super::{At, Checks, Refusals, Topic, Work};
use crate::quantity::{Fraction, Ratio};
use crate::statistics::{Distribution, FEWEST_FOR_FIT, Fit, Fitted, Weibull, goodness_of_fit, sample};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

/// Inputs of `calc distribution-fit`: specimens of one population.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct DistributionFit {
    /// Unit of the values, such as `MPa`.
    unit: String,
    /// Values, as bare numbers in that unit; five or more.
    values: Vec<Ratio>,
    /// Level of significance: what has an observed level not above it is rejected; 5 % where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    alpha: Option<Fraction>,
}

impl Topic for DistributionFit {
    const NAME: &'static str = "distribution-fit";
    const ABOUT: &'static str = "which distribution fits a sample: Weibull, normal, lognormal";
    const SOURCE: &'static str = "AD = -n - sum (2 i - 1)/n (ln F(x_i) + ln S(x_(n+1-i))), S = 1 - F; \
        normal and lognormal: AD* = (1 + 4/n - 25/n^2) AD, OSL = 1/(1 + exp(-0.48 + 0.78 ln AD* + 4.58 \
        AD*)); Weibull: AD* = (1 + 0.2/sqrt(n)) AD, OSL = 1/(1 + exp(-0.10 + 1.24 ln AD* + 4.48 AD*)): \
        MIL-HDBK-17-1F 8.3.4 (from memory)";
    const CAUTION: &'static str = "One population is taken for granted: look at `calc batches` first. The \
        first that is not rejected, of Weibull, normal, lognormal, is the one to take; a small sample \
        rejects little.";
    const SAMPLE: &'static str = "\
# Interlaminar shear coupons of the invented Sanderling
unit: MPa
values: [61.2, 58.7, 63.5, 60.1, 57.4, 62.8, 59.6, 64.4, 61.9, 60.8, 56.2, 62.1]
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        let unit = unit_of(&mut checks, &self.unit);
        enough(&mut checks, "values", &self.values, FEWEST_FOR_FIT, "a test of fit");
        let alpha = level(&mut checks, "alpha", self.alpha.as_ref(), 0.05);
        checks.done()?;
        let mut values = numbers(&self.values);
        values.sort_unstable_by(f64::total_cmp);
        let mut work = Work::new();
        let mut fits = Vec::new();
        for distribution in Distribution::ALL {
            let name = distribution.name();
            if distribution != Distribution::Normal && values.first().is_some_and(|least| *least <= 0.0) {
                work.note(format!("Not judged: {name}, which takes values above 0 only."));
                continue;
            }
            let fit = goodness_of_fit(&values, distribution).at("values")?;
            estimates(&mut work, &values, &fit.fitted, unit)?;
            distances(&mut work, &values, &fit);
            fits.push(fit);
        }
        let rows: Vec<Value> = fits
            .iter()
            .map(|fit| {
                json!({
                    "distribution": fit.fitted.distribution().name(), "AD": fit.statistic,
                    "AD_corrected": fit.corrected, "level": fit.level, "fits": fit.level > alpha,
                })
            })
            .collect();
        work.result("fits", rows, "");
        let first = fits.iter().find(|fit| fit.level > alpha).map(|fit| fit.fitted.distribution().name());
        work.result("first_that_fits", first.unwrap_or("none"), "");
        work.result("shares_below", shares(&values, &fits), "");
        if first.is_none() {
            work.note("None fits: a design value goes by `calc ranked-value`.");
        }
        Ok(work)
    }
}

/// The steps to what a distribution was fitted with.
fn estimates(work: &mut Work, values: &[f64], fitted: &Fitted, unit: &'static str) -> Result<(), Refusals> {
    match fitted {
        Fitted::Normal(_) => mean_and_deviation(work, values, "values", unit).map(|_| ()),
        Fitted::Weibull(of) => {
            weibull_steps(work, values, of, unit);
            Ok(())
        }
        Fitted::Lognormal(_) => {
            let logs: Vec<f64> = values.iter().map(|value| value.ln()).collect();
            let of = sample(&logs).at("values")?;
            let n = values.len() as f64;
            let rows: Vec<Vec<f64>> = values.iter().map(|value| vec![*value]).collect();
            let words = format!("by the sum of {} logarithms", rows.len());
            let text = terms("(", "ln({})", ")/{}", &rows, &words);
            summed(work, "mean of ln x", "sum ln x/n", text, &[n], of.mean, "");
            let rows: Vec<Vec<f64>> = logs.iter().map(|log| vec![*log, of.mean]).collect();
            let words = format!("by the sum of {} squares", rows.len());
            let text = terms("sqrt((", "({} - {})^2", ")/({} - 1))", &rows, &words);
            summed(work, "s of ln x", "sqrt(sum (ln x - mean)^2/(n - 1))", text, &[n], of.sd, "");
            Ok(())
        }
    }
}

/// The steps to shape and scale of a Weibull distribution, the shape with the proof that it is the root.
pub(super) fn weibull_steps(work: &mut Work, values: &[f64], of: &Weibull, unit: &'static str) {
    let n = values.len() as f64;
    let proof = of.proof(values);
    let shares: Vec<f64> = values.iter().map(|value| value / proof.greatest).collect();
    let logs: Vec<Vec<f64>> = shares.iter().map(|share| vec![*share]).collect();
    let words = format!("by the sum over {} values", values.len());
    let text = terms("(", "ln({})", ")/{}", &logs, &words);
    summed(work, "mean of ln y", "sum ln y/n, y = x over the greatest x", text, &[n], proof.mean_log, "");
    work.step("beta", "the shape at which 1/beta is as below", "[by trial]", &[], of.shape, "");
    let rows: Vec<Vec<f64>> = shares.iter().map(|share| vec![*share, of.shape]).collect();
    let text = terms("", "{}^{}", "", &rows, &words);
    summed(work, "P", "sum of y^beta", text, &[], proof.powers, "");
    let rows: Vec<Vec<f64>> =
        shares.iter().map(|share| vec![(of.shape * share.ln()).exp(), *share]).collect();
    let text = terms("", "{} x ln({})", "", &rows, &words);
    summed(work, "L", "sum of y^beta ln y", text, &[], proof.weighted, "");
    let numbers = [proof.weighted, proof.powers, proof.mean_log];
    work.step("1/beta", "L/P - mean of ln y", "{}/{} - {}", &numbers, proof.inverse_shape(), "");
    let text = "{} x ({}/{})^(1/{})";
    let formula = "greatest x times (P/n)^(1/beta), the scale";
    work.step("alpha", formula, text, &[proof.greatest, proof.powers, n, of.shape], of.scale, unit);
}

/// The steps to the statistic and the level.
fn distances(work: &mut Work, values: &[f64], fit: &Fit) {
    let name = fit.fitted.distribution().name();
    let n = fit.n as f64;
    let tails: Vec<[f64; 2]> = values.iter().map(|value| fit.fitted.tails(*value).map(f64::exp)).collect();
    let rows: Vec<Vec<f64>> = tails
        .iter()
        .zip(tails.iter().rev())
        .enumerate()
        .map(|(at, ([below, _], [_, above]))| vec![(2 * at + 1) as f64, *below, *above])
        .collect();
    // The logarithm of a share too small for a float is known, but can't be written as one.
    let lost = rows.iter().flatten().any(|number| *number <= 0.0);
    let words = format!("by the sum over {} values", values.len());
    let (text, terms_in) = terms("-{} - (", "{} x (ln({}) + ln({}))", ")/{}", &rows, &words);
    let (text, numbers) = if lost {
        (format!("[{words}]"), Vec::new())
    } else {
        (text, [n].into_iter().chain(terms_in).collect())
    };
    let formula = "-n - sum (2 i - 1) (ln F_i + ln S_(n+1-i))/n, F and S as in the table of shares";
    summed(work, &format!("AD {name}"), formula, (text, numbers), &[n], fit.statistic, "");
    let (star, level) = (format!("AD* {name}"), format!("OSL {name}"));
    let (formula, text, numbers) = match fit.fitted {
        Fitted::Weibull(_) => ("(1 + 0.2/sqrt(n)) AD", "(1 + 0.2/sqrt({})) x {}", vec![n, fit.statistic]),
        _ => ("(1 + 4/n - 25/n^2) AD", "(1 + 4/{} - 25/{}^2) x {}", vec![n, n, fit.statistic]),
    };
    work.step(star, formula, text, &numbers, fit.corrected, "");
    let (formula, text) = match fit.fitted {
        Fitted::Weibull(_) => {
            ("1/(1 + exp(-0.10 + 1.24 ln AD* + 4.48 AD*))", "1/(1 + exp(-0.10 + 1.24 x ln({}) + 4.48 x {}))")
        }
        _ => {
            ("1/(1 + exp(-0.48 + 0.78 ln AD* + 4.58 AD*))", "1/(1 + exp(-0.48 + 0.78 x ln({}) + 4.58 x {}))")
        }
    };
    let numbers = [fit.corrected, fit.corrected];
    let text = if fit.corrected > 0.0 { text } else { "[no distance at all]" };
    work.step(level, formula, text, &numbers, fit.level, "");
}

/// The values in their order with the share below and above each, by every distribution.
fn shares(values: &[f64], fits: &[Fit]) -> Vec<Value> {
    let row = |(at, value): (usize, &f64)| {
        let mut row = Map::new();
        row.insert("i".to_string(), json!(at + 1));
        row.insert("x".to_string(), json!(value));
        for fit in fits {
            let letter = fit.fitted.distribution().name();
            let [below, above] = fit.fitted.tails(*value).map(f64::exp);
            row.insert(format!("F_{letter}"), json!(below));
            row.insert(format!("S_{letter}"), json!(above));
        }
        Value::Object(row)
    };
    values.iter().enumerate().map(row).collect()
}
