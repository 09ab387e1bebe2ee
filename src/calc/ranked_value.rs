//! Design values without a distribution: by ranks of a large sample, by two ordered values of a small one.

use super::specimens::{above_zero, enough, numbers, unit_of};
use super::{At, Checks, Refusals, Topic, Work};
use crate::quantity::Ratio;
use crate::statistics::{Basis, HansonKoopmans, hanson_koopmans, rank_confidence, ranked};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Inputs of `calc ranked-value`: specimens of one population.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RankedValue {
    /// Unit of the values, such as `MPa`.
    unit: String,
    /// Values, as bare numbers in that unit; two or more, above 0 where there are too few for a rank (29 for B,
    /// 299 for A).
    values: Vec<Ratio>,
}

impl Topic for RankedValue {
    const NAME: &'static str = "ranked-value";
    const ABOUT: &'static str = "design values without a distribution, by ranks or by two ordered values";
    const SOURCE: &'static str = "From 29 values on (B) or 299 (A) the value of the largest rank r with \
        P(Bin(n, 1 - p) >= r) >= 0.95; below, x_r (x_1/x_r)^k, r by MIL-HDBK-17-1F table 8.5.14 (A: the \
        greatest value), k the root of P((1 - k) ln U_r + k ln U_1 <= ln(1 - p)) = 0.95: MIL-HDBK-17-1F \
        8.3.4.5 (from memory), D. L. Hanson, L. H. Koopmans 1964";
    const CAUTION: &'static str = "One population is taken for granted: look at `calc batches` first. The \
        price of naming no distribution is a low value. A value of fewer than 18 specimens from 3 batches \
        (B) or 55 from 5 (A) is an estimate and must not be designed with.";
    const SAMPLE: &'static str = "\
# Bonded lap coupons of the invented Sanderling, failed in two modes
unit: MPa
values: [21.4, 28.9, 22.0, 29.6, 21.1, 30.2, 22.7, 28.3, 20.6, 29.9, 23.1, 30.8, 21.8, 27.9, 22.4, 29.1, 20.9, 28.6]
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        let unit = unit_of(&mut checks, &self.unit);
        enough(&mut checks, "values", &self.values, 2, "a design value by ranks");
        let values = numbers(&self.values);
        let n = values.len();
        if n < 299 {
            above_zero(&mut checks, "values", &self.values, " where there are fewer than 299");
        }
        checks.done()?;
        let mut work = Work::new();
        for (name, basis) in [("B", Basis::B), ("A", Basis::A)] {
            let value = match ranked(&values, basis) {
                Ok((value, rank)) => {
                    by_rank(&mut work, name, n, basis, rank, value, unit);
                    value
                }
                Err(_) => {
                    let found = hanson_koopmans(&values, basis).at("values")?;
                    by_two(&mut work, name, n, &found, unit);
                    found.value
                }
            };
            work.result(name, value, unit);
        }
        Ok(work)
    }
}

fn by_rank(work: &mut Work, name: &str, n: usize, basis: Basis, rank: usize, value: f64, unit: &'static str) {
    let (p, count) = (basis.content(), n as f64);
    let formula = "the largest rank that is sure enough";
    work.step(format!("r of {name}"), formula, "[by the binomial distribution]", &[], rank as f64, "");
    let sure = rank_confidence(n, rank, basis);
    // Of the first rank the sum has one term, which anybody can reckon.
    let text = if rank == 1 { "1 - {}^{}" } else { "[by the binomial distribution]" };
    let formula = "P(r or more of n lie below the percentile), at least 0.95";
    work.step(format!("P of {name}"), formula, text, &[p, count], sure, "");
    let next = rank_confidence(n, rank + 1, basis);
    let formula = "the same of the next rank, below 0.95";
    work.step(format!("P of the next {name}"), formula, "[by the binomial distribution]", &[], next, "");
    work.step(name, "x_r", "[the value of rank r]", &[], value, unit);
    work.result(&format!("rank_{name}"), rank, "");
}

fn by_two(work: &mut Work, name: &str, n: usize, found: &HansonKoopmans, unit: &'static str) {
    let rank = found.rank as f64;
    let from = if found.rank == n { "[the greatest value]" } else { "[by the table]" };
    work.step(format!("r of {name}"), "rank of the upper value", from, &[], rank, "");
    let formula = "the factor that is sure enough whatever the distribution";
    work.step(format!("k of {name}"), formula, "[by the integral]", &[], found.k, "");
    let numbers = [found.upper, found.least, found.upper, found.k];
    work.step(name, "x_r (x_1/x_r)^k", "{} x ({}/{})^{}", &numbers, found.value, unit);
    work.result(&format!("rank_{name}"), found.rank, "");
    work.result(&format!("k_{name}"), found.k, "");
}
