//! Environments under one spread: what was looked at in each, what speaks against pooling, and the values.

use super::{BasisReport, ESTIMATE, SampleReport, outliers_json};
use crate::calc::figure;
use crate::report::page::Page;
use crate::report::table::{Align, Table};
use crate::statistics::{Against, Basis, Pooled};
use serde_json::{Value, json};

pub(super) fn json(report: &BasisReport) -> Value {
    match &report.pooled {
        None => Value::Null,
        Some(Err(problem)) => json!({"refused": problem}),
        Some(Ok(found)) => {
            let against = against(report, found);
            let may = against.is_empty();
            let environments: Vec<Value> = report
                .samples
                .iter()
                .zip(&found.environments)
                .map(|(sample, own)| {
                    let ([k_b, k_a], [b, a]) = (own.k, own.values);
                    json!({
                        "of": sample.name, "n": own.sample.n, "mean": own.sample.mean,
                        "k_B": k_b, "k_A": k_a, "B_basis": may.then_some(b), "A_basis": may.then_some(a),
                        "estimate": sample.is_estimate(Basis::B), "A_estimate": sample.is_estimate(Basis::A),
                        "outliers": outliers_json(sample),
                        "one_population": one_population(sample), "equal_spread": equal_spread(sample),
                    })
                })
                .collect();
            json!({
                "may_be_pooled": may,
                "against": against,
                "open": open_questions(report),
                "cv": found.cv,
                "freedom": found.freedom,
                "levene": found.variances.statistic,
                "levene_critical": found.variances.critical,
                "normal_level": found.fit.level,
                "environments": environments,
            })
        }
    }
}

/// What speaks against pooling, with environments by their names.
fn against(report: &BasisReport, found: &Pooled) -> Vec<String> {
    let name = |at: usize| report.samples.get(at).map(|own| own.name.as_str());
    let mut all: Vec<String> = found
        .against
        .iter()
        .map(|why| match why {
            Against::Batches(at) if let Some(name) = name(*at) => format!("the batches of {name} differ"),
            other => other.to_string(),
        })
        .collect();
    let modes: Vec<_> = report.samples.iter().filter(|own| !own.modes.is_empty()).collect();
    if modes.windows(2).any(|pair| matches!(pair, [one, two] if !one.modes.keys().eq(two.modes.keys()))) {
        all.push("the environments do not fail by the same modes".to_string());
    }
    all
}

/// The test of the batches of one environment; null where there are too few.
fn one_population(own: &SampleReport) -> Value {
    let test = own.procedure.as_ref().ok().and_then(|found| found.one_population.as_ref().ok());
    test.map_or(
        Value::Null,
        |test| json!({"statistic": test.statistic, "critical": test.critical, "holds": test.is_one()}),
    )
}

/// The test of their spread; null where there are too few.
fn equal_spread(own: &SampleReport) -> Value {
    let test = own.procedure.as_ref().ok().and_then(|found| found.variances.as_ref().ok());
    test.map_or(
        Value::Null,
        |test| json!({"statistic": test.statistic, "critical": test.critical, "holds": test.is_equal()}),
    )
}

/// What was looked at in one environment before it is pooled, a sentence each.
fn looked_at(own: &SampleReport) -> Vec<String> {
    let Ok(found) = &own.procedure else { return vec!["not looked at: no design value".to_string()] };
    let out = super::steps::named_outliers(own, found);
    let mut all = vec![match out.len() {
        0 => "no outliers within its batches or among all of its values".to_string(),
        _ => {
            let words = |(within, batch, specimen, residual): &(&str, &str, Option<&str>, &_)| {
                let residual: &crate::statistics::NormedResidual = residual;
                let specimen = specimen.map_or_else(String::new, |own| format!(" ({own})"));
                let within = if *within == "batch" { "its batch" } else { "all" };
                format!("{} of {batch}{specimen} stands out of {within}", figure(residual.value))
            };
            out.iter().map(words).collect::<Vec<_>>().join(", ")
        }
    }];
    all.push(match &found.one_population {
        Ok(test) => format!(
            "batches {}: ADK {} against {}",
            if test.is_one() { "of one population" } else { "that differ" },
            figure(test.statistic),
            figure(test.critical)
        ),
        Err(problem) => format!("whether its batches differ is not tested: {problem}"),
    });
    all.push(match &found.variances {
        Ok(test) => format!(
            "batches that {}: Levene {} against {}",
            if test.is_equal() { "scatter alike" } else { "do not scatter alike" },
            figure(test.statistic),
            figure(test.critical)
        ),
        Err(problem) => format!("whether its batches scatter alike is not tested: {problem}"),
    });
    all
}

/// What has to be settled before a pooled value is used, though it is no condition of pooling: a sentence each.
fn open_questions(report: &BasisReport) -> Vec<String> {
    let mut all = Vec::new();
    for own in &report.samples {
        let Ok(found) = &own.procedure else { continue };
        if !super::steps::named_outliers(own, found).is_empty() {
            all.push(format!("{} has outliers: look for their cause before it is pooled", own.name));
        }
        if found.one_population.is_err() {
            all.push(format!("whether the batches of {} differ is not known", own.name));
        }
        if found.variances.as_ref().is_ok_and(|test| !test.is_equal()) {
            all.push(format!("the batches of {} do not scatter alike: find out why", own.name));
        }
    }
    all
}

pub(super) fn text(page: &mut Page<'_>, report: &BasisReport, pooled: &Result<Pooled, String>) {
    page.gap();
    page.heading("Environments under one spread");
    let found = match pooled {
        Ok(found) => found,
        Err(problem) => return page.hang("  ? ", "    ", &format!("not pooled: {problem}")),
    };
    page.hang(
        "    ",
        "      ",
        &format!(
            "every value over the mean of its environment: coefficient of variation {:.3} % with {} degrees of \
             freedom",
            found.cv * 100.0,
            found.freedom
        ),
    );
    page.hang(
        "    ",
        "      ",
        &format!(
            "one spread: Levene {} against {}; normal: observed level {}",
            figure(found.variances.statistic),
            figure(found.variances.critical),
            figure(found.fit.level)
        ),
    );
    for own in &report.samples {
        page.hang("    ", "      ", &format!("{}: {}", own.name, looked_at(own).join("; ")));
    }
    let against = against(report, found);
    if against.is_empty() {
        let mut table = Table::new([
            ("environment", Align::Left),
            ("n", Align::Right),
            ("mean", Align::Right),
            ("k B", Align::Right),
            ("B", Align::Right),
            ("k A", Align::Right),
            ("A", Align::Right),
        ]);
        for (sample, own) in report.samples.iter().zip(&found.environments) {
            let ([k_b, k_a], [b, a]) = (own.k, own.values);
            table.row([
                sample.name.clone(),
                own.sample.n.to_string(),
                figure(own.sample.mean),
                figure(k_b),
                figure(b),
                figure(k_a),
                figure(a),
            ]);
        }
        page.table(&table);
        for (letter, basis) in [("B", Basis::B), ("A", Basis::A)] {
            let small = report.samples.iter().filter(|own| own.is_estimate(basis));
            let small: Vec<&str> = small.map(|own| own.name.as_str()).collect();
            if !small.is_empty() {
                let words = format!("{letter} of {}: {ESTIMATE}", small.join(", "));
                page.hang("    - ", "      ", &words);
            }
        }
        if report.samples.iter().any(|own| own.procedure.as_ref().is_ok_and(|own| own.levels.modified_cv)) {
            page.hang("    - ", "      ", "the modified coefficient of variation is not used here");
        }
        for open in open_questions(report) {
            page.hang("    ? ", "      ", &open);
        }
        page.hang(
            "    > ",
            "      ",
            "they may be pooled if one mode of failure stands behind all: that is for whoever reads the fracture \
             faces. B = mean (1 - k cv), k by the noncentral t of its own size with the freedom of all (CMH-17-1G 8.3.5, from memory)",
        );
    } else {
        page.hang(
            "    > ",
            "      ",
            &format!("not pooled: {}; each environment stands alone", against.join("; ")),
        );
    }
}
