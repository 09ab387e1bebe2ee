//! Do batches differ: the k-sample Anderson-Darling test, and equality of their variances.

use super::specimens::{Batches, by_batch, enough_batches, level, summed, terms, unit_of};
use super::{At, Checks, Refusals, Topic, Work, figure};
use crate::quantity::Fraction;
use crate::statistics::{EqualVariances, KSample, equal_variances, k_sample, k_sample_levels, mean, median};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Inputs of `calc batches`: specimens by batch.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct BatchTest {
    /// Unit of the values, such as `MPa`.
    unit: String,
    /// Values by the name of their batch, as bare numbers in that unit.
    batches: Batches,
    /// Level of significance of the k-sample test: 10 %, 5 %, 2.5 % or 1 %; 2.5 % where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    alpha: Option<Fraction>,
    /// Level of significance of the test of equal variances; 5 % where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    alpha_variances: Option<Fraction>,
}

impl Topic for BatchTest {
    const NAME: &'static str = "batches";
    const ABOUT: &'static str =
        "whether batches may be taken as one population, and whether they have one spread";
    const SOURCE: &'static str = "ADK = (N - 1)/(N^2 (k - 1)) sum_i 1/n_i sum_j h_j (N F_ij - n_i \
        H_j)^2/(H_j (N - H_j) - N h_j/4), ADC = 1 + sigma (b0 + b1/sqrt(k - 1) + b2/(k - 1)): \
        MIL-HDBK-17-1F 8.3.2.2, F. W. Scholz, M. A. Stephens 1987; W by distances from the medians: H. \
        Levene 1960, M. B. Brown, A. B. Forsythe 1974 (all from memory)";
    const CAUTION: &'static str = "That a test finds no difference does not show that there is none: of few \
        batches little can be found.";
    const SAMPLE: &'static str = "\
# Warp compression coupons of the invented Sanderling, three batches
unit: MPa
batches:
  b1: [412.4, 421.1, 405.9, 426.0, 417.2, 409.7]
  b2: [431.5, 424.8, 438.3, 428.9, 433.1, 426.6]
  b3: [409.2, 416.7, 412.5, 423.4, 406.0, 418.9]
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        let unit = unit_of(&mut checks, &self.unit);
        enough_batches(&mut checks, &self.batches, 4, "the k-sample test");
        let alpha = self.alpha.as_ref().map_or(0.025, |own| own.si());
        if let Some(given) = &self.alpha {
            let known = k_sample_levels().iter().any(|own| (own - alpha).abs() < 1e-9);
            checks.wants(known, "alpha", given.text(), "10 %, 5 %, 2.5 % or 1 %");
        }
        let spread = level(&mut checks, "alpha_variances", self.alpha_variances.as_ref(), 0.05);
        checks.done()?;
        let groups = by_batch(&self.batches);
        let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
        let names: Vec<&str> = self.batches.keys().map(String::as_str).collect();
        // What is 0.1 as written is 0.1 among the levels too.
        let alpha = k_sample_levels().into_iter().find(|own| (own - alpha).abs() < 1e-9).unwrap_or(alpha);
        let test = k_sample(&slices, alpha).at("batches")?;
        let mut work = Work::new();
        one_population(&mut work, &names, &groups, &test);
        work.result("ADK", test.statistic, "");
        work.result("ADC", test.critical, "");
        work.result("one_population", test.is_one(), "");
        match equal_variances(&slices, spread) {
            Ok(test) => {
                one_spread(&mut work, &names, &groups, &test, unit)?;
                work.result("W", test.statistic, "");
                work.result("F", test.critical, "");
                work.result("one_spread", test.is_equal(), "");
            }
            Err(problem) => work.note(format!("No test of equal variances: {problem}.")),
        }
        let at = figure(alpha * 100.0);
        work.note(if test.is_one() {
            format!("At {at} % ADK does not pass ADC: the batches may be taken as one population.")
        } else {
            format!(
                "At {at} % ADK passes ADC: the batches differ. A design value counts the spread between \
                 them: `calc batch-variance`."
            )
        });
        Ok(work)
    }
}

/// The steps to the k-sample statistic and its critical value.
fn one_population(work: &mut Work, names: &[&str], groups: &[Vec<f64>], test: &KSample) {
    let (n, k) = (test.n as f64, test.groups as f64);
    let mut all = groups.concat();
    all.sort_unstable_by(f64::total_cmp);
    let mut distinct = all.clone();
    distinct.dedup();
    // As many as lie below, and half of those that are equal.
    let half = |of: &[f64], at: f64| {
        let below = of.iter().filter(|value| **value < at).count() as f64;
        below + 0.5 * of.iter().filter(|value| **value == at).count() as f64
    };
    let mut sums = Vec::with_capacity(groups.len());
    for (name, own) in names.iter().zip(groups) {
        let size = own.len() as f64;
        let mut sum = 0.0;
        let mut rows = Vec::with_capacity(distinct.len());
        for at in &distinct {
            let ties = all.iter().filter(|value| **value == *at).count() as f64;
            let (h, f) = (half(&all, *at), half(own, *at));
            let divisor = h * (n - h) - n * ties / 4.0;
            if divisor > 0.0 {
                sum += ties * (n * f - size * h).powi(2) / divisor;
                rows.push(vec![ties, n, f, size, h, divisor]);
            }
        }
        let words = format!("by the sum over {} values that differ", rows.len());
        let text = terms("(", "{} x ({} x {} - {} x {})^2/{}", ")/{}", &rows, &words);
        let formula =
            "sum_j h_j (N F_j - n H_j)^2/(H_j (N - H_j) - N h_j/4)/n, over the values in their order";
        summed(work, &format!("A of {name}"), formula, text, &[size], sum / size, "");
        sums.push(vec![sum / size]);
    }
    let text = terms("({} - 1)/({}^2 x ({} - 1)) x (", "{}", ")", &sums, "by the sums of all batches");
    let numbers = [n, n, k].into_iter().chain(text.1).collect();
    let formula = "(N - 1)/(N^2 (k - 1)) sum of A";
    summed(work, "ADK", formula, (text.0, numbers), &[], test.statistic, "");
    let spread = &test.spread;
    let sizes: Vec<Vec<f64>> = groups.iter().map(|own| vec![own.len() as f64]).collect();
    let text = terms("", "1/{}", "", &sizes, "by the sizes of the batches");
    summed(work, "H", "sum of 1/n_i", text, &[], spread.inverse, "");
    let ones: Vec<Vec<f64>> = (1..test.n).map(|i| vec![i as f64]).collect();
    let text = terms("", "1/{}", "", &ones, "by the sum of 1/1 to 1/(N - 1)");
    summed(work, "h", "sum of 1/i from 1 to N - 1", text, &[], spread.harmonic, "");
    let words = "[by the double sum]";
    work.step("g", "sum of 1/((N - i) j) over all i < j < N", words, &[], spread.double, "");
    let (g, h, big) = (spread.double, spread.harmonic, spread.inverse);
    let [a, b, c, d] = spread.polynomial;
    let text = "(4 x {} - 6) x ({} - 1) + (10 - 6 x {}) x {}";
    work.step("a", "(4 g - 6)(k - 1) + (10 - 6 g) H", text, &[g, k, g, big], a, "");
    let text = "(2 x {} - 4) x {}^2 + 8 x {} x {} + (2 x {} - 14 x {} - 4) x {} - 8 x {} + 4 x {} - 6";
    let formula = "(2 g - 4) k^2 + 8 h k + (2 g - 14 h - 4) H - 8 h + 4 g - 6";
    work.step("b", formula, text, &[g, k, h, k, g, h, big, h, g], b, "");
    let text = "(6 x {} + 2 x {} - 2) x {}^2 + (4 x {} - 4 x {} + 6) x {} + (2 x {} - 6) x {} + 4 x {}";
    let formula = "(6 h + 2 g - 2) k^2 + (4 h - 4 g + 6) k + (2 h - 6) H + 4 h";
    work.step("c", formula, text, &[h, g, k, h, g, k, h, big, h], c, "");
    let text = "(2 x {} + 6) x {}^2 - 4 x {} x {}";
    work.step("d", "(2 h + 6) k^2 - 4 h k", text, &[h, k, h, k], d, "");
    let text = "sqrt(({} x {}^3 + {} x {}^2 + {} x {} + {})/(({} - 1) x ({} - 2) x ({} - 3)))/({} - 1)";
    let formula = "sqrt((a N^3 + b N^2 + c N + d)/((N - 1)(N - 2)(N - 3)))/(k - 1)";
    work.step("sigma", formula, text, &[a, n, b, n, c, n, d, n, n, n, k], test.sigma, "");
    let [b0, b1, b2] = test.constants;
    let text = "1 + {} x ({} + {}/sqrt({} - 1) + {}/({} - 1))";
    let formula = "1 + sigma (b0 + b1/sqrt(k - 1) + b2/(k - 1)), b by the level";
    work.step("ADC", formula, text, &[test.sigma, b0, b1, k, b2, k], test.critical, "");
}

/// The steps to Levene's statistic.
fn one_spread(
    work: &mut Work,
    names: &[&str],
    groups: &[Vec<f64>],
    test: &EqualVariances,
    unit: &'static str,
) -> Result<(), Refusals> {
    let (n, k) = (groups.iter().map(Vec::len).sum::<usize>() as f64, groups.len() as f64);
    let (mut centres, mut apart) = (Vec::new(), Vec::new());
    for (name, own) in names.iter().zip(groups) {
        let middle = median(own).at("batches")?;
        work.step(
            format!("median of {name}"),
            "middle of its values in their order",
            "[by sorting]",
            &[],
            middle,
            unit,
        );
        let distances: Vec<f64> = own.iter().map(|value| (value - middle).abs()).collect();
        let centre = mean(&distances).at("batches")?;
        let rows: Vec<Vec<f64>> = own.iter().map(|value| vec![*value, middle]).collect();
        let words = format!("by the sum of {} distances", rows.len());
        let text = terms("(", "abs({} - {})", ")/{}", &rows, &words);
        let size = own.len() as f64;
        summed(work, &format!("d of {name}"), "mean of |x - median|", text, &[size], centre, unit);
        centres.push((size, centre));
        apart.push(distances);
    }
    let whole = mean(&apart.concat()).at("batches")?;
    let rows: Vec<Vec<f64>> = centres.iter().map(|(size, centre)| vec![*size, *centre]).collect();
    let text = terms("(", "{} x {}", ")/{}", &rows, "by the sizes and means of the batches");
    summed(work, "d", "mean of all distances", text, &[n], whole, unit);
    let between: f64 = centres.iter().map(|(size, centre)| size * (centre - whole).powi(2)).sum();
    let rows: Vec<Vec<f64>> = centres.iter().map(|(size, centre)| vec![*size, *centre, whole]).collect();
    let text = terms("", "{} x ({} - {})^2", "", &rows, "by the sizes and means of the batches");
    summed(work, "between", "sum of n_i (d_i - d)^2", text, &[], between, "");
    let rows: Vec<Vec<f64>> = apart
        .iter()
        .zip(&centres)
        .flat_map(|(own, (_, centre))| own.iter().map(|distance| vec![*distance, *centre]))
        .collect();
    let within: f64 =
        rows.iter().flat_map(|row| row.first().zip(row.last())).map(|(x, m)| (x - m).powi(2)).sum();
    let words = format!("by the sum of {} squares", rows.len());
    let text = terms("", "({} - {})^2", "", &rows, &words);
    summed(work, "within", "sum of (|x - median| - d_i)^2", text, &[], within, "");
    let text = "({}/({} - 1))/({}/({} - {}))";
    let formula = "(between/(k - 1))/(within/(N - k))";
    work.step("W", formula, text, &[between, k, within, n, k], test.statistic, "");
    let formula = "F quantile of 1 - alpha_variances, k - 1 and N - k degrees";
    work.step("F", formula, "[by the F distribution]", &[], test.critical, "");
    Ok(())
}
