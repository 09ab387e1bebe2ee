//! Statistics of specimens beside scipy, and the whole procedure beside one written apart.

use super::{cases, close};
use bondline::statistics::{
    Basis, Distribution, Levels, Method, Procedure, StatisticsError, Way, anova, equal_variances,
    equivalence_limits, goodness_of_fit, hanson_koopmans_factor, k_sample, k_sample_levels,
    mean_change_two_sided, normed_residual, outliers, pooled, procedure, rank_of, sample, tolerance_factor,
    weibull, weibull_factor,
};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// The script's answers, computed once for all tests.
fn answers() -> &'static Value {
    static ALL: OnceLock<Value> = OnceLock::new();
    ALL.get_or_init(|| cases("statistics.py"))
}

fn list<'v>(value: &'v Value, key: &str) -> &'v [Value] {
    value[key].as_array().unwrap_or_else(|| panic!("no list `{key}`"))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("no number: {value}"))
}

fn count(value: &Value) -> usize {
    usize::try_from(value.as_u64().unwrap_or_else(|| panic!("no count: {value}"))).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

fn groups(case: &Value) -> Vec<Vec<f64>> {
    list(case, "groups").iter().map(numbers).collect()
}

fn slices(groups: &[Vec<f64>]) -> Vec<&[f64]> {
    groups.iter().map(Vec::as_slice).collect()
}

fn basis(name: &Value) -> Basis {
    if name == "A" { Basis::A } else { Basis::B }
}

#[test]
fn tolerance_factors_are_those_of_the_noncentral_t_in_scipy() {
    let cases = list(answers(), "factors");
    assert_eq!(cases.len(), 20);
    for case in cases {
        let (n, content) = (count(&case["n"]), number(&case["content"]));
        let got = tolerance_factor(n, content, 0.95).unwrap();
        close(&format!("k of {n} at {content}"), got, number(&case["factor"]), 1e-6, 0.0);
    }
}

#[test]
fn every_statistic_is_that_of_scipy() {
    let sets = list(answers(), "sets");
    assert!(sets.len() >= 50, "{} sets", sets.len());
    let (mut compared, mut found_outliers) = (0, 0);
    for (at, case) in sets.iter().enumerate() {
        let groups = groups(case);
        let (slices, all) = (slices(&groups), groups.concat());
        let near = |what: &str, got: f64, key: &Value, relative: f64| {
            close(&format!("{what} of set {at}"), got, number(key), relative, 1e-12);
        };
        let far = normed_residual(&all, 0.05).unwrap();
        near("MNR", far.residual, &case["residual"], 1e-10);
        // scipy's Student quantile is good to nine digits: its own incomplete beta gives ours.
        near("its limit", far.critical, &case["critical"], 1e-8);
        for (own, expected) in groups.iter().chain([&all]).zip(list(case, "outliers")) {
            let out: Vec<f64> = outliers(own, 0.05)
                .unwrap()
                .iter()
                .filter(|one| one.is_outlier())
                .map(|one| own[one.index])
                .collect();
            // Of equal values either may be named.
            let there: Vec<f64> =
                expected.as_array().unwrap().iter().map(|place| own[count(place)]).collect();
            assert_eq!(out, there, "outliers of set {at}");
            found_outliers += out.len();
        }
        if groups.len() > 1 {
            let test = k_sample(&slices, 0.025).unwrap();
            near("ADK", test.statistic, &case["adk"], 1e-9);
            near("ADC", test.critical, &case["adc"], 1e-10);
            near("sigma", test.sigma, &case["sigma"], 1e-10);
            // In scipy's own standardised form, at its own levels.
            near("A2", (test.statistic - 1.0) / test.sigma, &case["standardised"], 1e-8);
            for (alpha, expected) in k_sample_levels().into_iter().zip(list(case, "criticals")) {
                let test = k_sample(&slices, alpha).unwrap();
                near("its critical", (test.critical - 1.0) / test.sigma, expected, 1e-9);
            }
            let spread = equal_variances(&slices, 0.05).unwrap();
            near("Levene's W", spread.statistic, &case["levene"], 1e-8);
            near("F", spread.critical, &case["f"], 1e-7);
            for (name, basis) in [("B", Basis::B), ("A", Basis::A)] {
                let found = anova(&slices, basis).unwrap();
                near("the value of batches", found.value, &case["anova"][name], 1e-7);
                near("F of batches", found.between / found.within, &case["oneway"], 1e-8);
            }
        }
        for distribution in Distribution::ALL {
            let expected = &case["fits"][distribution.name()];
            let fit = match goodness_of_fit(&all, distribution) {
                Ok(fit) => fit,
                Err(_) => {
                    assert!(expected.is_null(), "{} of set {at}", distribution.name());
                    continue;
                }
            };
            near("AD", fit.statistic, &expected[0], 1e-8);
            near("OSL", fit.level, &expected[1], 1e-7);
            // scipy's own fit of a Gumbel ends at its own tolerance.
            let loose = if distribution == Distribution::Weibull { 1e-4 } else { 1e-8 };
            near("scipy's AD", fit.statistic, &case["anderson"][distribution.name()], loose);
            compared += 1;
        }
        if let Ok(fit) = weibull(&all) {
            near("shape", fit.shape, &case["weibull"][0], 1e-10);
            near("scale", fit.scale, &case["weibull"][1], 1e-10);
            near("scipy's shape", fit.shape, &case["weibull_min"][0], 1e-3);
            near("scipy's scale", fit.scale, &case["weibull_min"][1], 1e-3);
        }
    }
    assert!(compared > 120 && found_outliers > 3, "{compared} {found_outliers}");
}

#[test]
fn ranks_and_their_factors_are_those_of_quadrature_and_the_binomial() {
    let answers = answers();
    for row in list(answers, "hanson") {
        let (n, basis) = (count(&row[0]), basis(&row[1]));
        let (rank, k) = hanson_koopmans_factor(n, basis).unwrap();
        assert_eq!(rank, count(&row[2]), "{n} {basis:?}");
        close(&format!("k of {n} {basis:?}"), k, number(&row[3]), 1e-8, 0.0);
    }
    for row in list(answers, "ranks") {
        let (n, basis, expected) = (count(&row[0]), basis(&row[1]), count(&row[2]));
        assert_eq!(rank_of(n, basis).unwrap_or(0), expected, "{n} {basis:?}");
    }
    assert!(list(answers, "hanson").len() == 18 && list(answers, "ranks").len() == 24);
}

#[test]
fn factors_of_weibull_values_are_near_those_of_a_simulation() {
    // Simulated anew, 200 000 samples a size: within four standard errors, and where the handbook's approximation
    // takes over also within 1.5 %, which is what it is good to.
    for row in list(answers(), "weibull_v") {
        let n = count(&row[0]);
        for (name, basis) in [("B", Basis::B), ("A", Basis::A)] {
            let (simulated, error) = (number(&row[1][name][0]), number(&row[1][name][1]));
            let got = weibull_factor(n, basis).unwrap();
            let room = (4.0 * error).max(if n < 16 { 0.0 } else { 0.015 * got });
            assert!((got - simulated).abs() < room, "V_{name} of {n}: {got} against {simulated} +- {error}");
        }
    }
}

#[test]
fn limits_of_equivalence_are_those_of_the_joint_distribution() {
    let rows = list(answers(), "equivalence");
    assert_eq!(rows.len(), 8);
    for row in rows {
        let (n, alpha) = (count(&row[0]), number(&row[1]));
        let (k_mean, k_min) = equivalence_limits(n, alpha).unwrap();
        // There the distribution is a sum over cells.
        close(&format!("k_mean of {n} at {alpha}"), k_mean, number(&row[2]), 1e-5, 0.0);
        close(&format!("k_min of {n} at {alpha}"), k_min, number(&row[3]), 1e-5, 0.0);
    }
    let case = &answers()["modulus"];
    let (old, new) = (sample(&numbers(&case["old"])).unwrap(), sample(&numbers(&case["new"])).unwrap());
    // At the observed level of scipy's ttest_ind the new mean lies on a limit.
    let p = number(&case["p"]);
    let found = mean_change_two_sided(old.mean, old.sd, old.n, new.mean, new.sd, new.n, p).unwrap();
    let limit = if new.mean < old.mean { found.low } else { found.high };
    close("the limit", limit, new.mean, 1e-9, 0.0);
}

#[test]
fn pooled_environments_are_those_of_scipy() {
    let case = &answers()["pooled"];
    let groups = groups(case);
    let environments: Vec<Vec<&[f64]>> = groups.iter().map(|own| vec![own.as_slice()]).collect();
    let found = pooled(&environments, &Levels::default()).unwrap();
    close("the pooled cv", found.cv, number(&case["cv"]), 1e-10, 0.0);
    close("Levene's W", found.variances.statistic, number(&case["levene"]), 1e-8, 0.0);
    close("AD", found.fit.statistic, number(&case["fit"][0]), 1e-8, 0.0);
    for (own, expected) in found.environments.iter().zip(list(case, "values")) {
        let [b, a] = own.values;
        close("B", b, number(&expected["B"]), 1e-8, 0.0);
        close("A", a, number(&expected["A"]), 1e-8, 0.0);
    }
}

/// The branch that was taken, in the words of the script.
fn branch(found: &Procedure, n: usize) -> String {
    let way = |basis| if rank_of(n, basis).is_some() { "rank" } else { "two" };
    match found.method {
        Method::One(distribution) => distribution.name().to_string(),
        Method::Untested => "untested".to_string(),
        Method::NoDistribution => format!("none, {}, {}", way(Basis::B), way(Basis::A)),
        Method::Batches => "batches".to_string(),
        Method::ModifiedNormal => "modified".to_string(),
    }
}

#[test]
fn the_procedure_is_that_written_apart() {
    let cases = list(answers(), "procedure");
    assert!(cases.len() >= 300, "{} data sets", cases.len());
    let mut branches: BTreeMap<String, usize> = BTreeMap::new();
    let mut refused = 0;
    for (at, case) in cases.iter().enumerate() {
        let groups = groups(case);
        let n = groups.iter().map(Vec::len).sum();
        let levels = Levels {
            batches: number(&case["alpha"]),
            modified_cv: case["modified"].as_bool().unwrap(),
            ..Levels::default()
        };
        let found = procedure(&slices(&groups), &levels).unwrap();
        let taken = branch(&found, n);
        assert_eq!(taken, case["method"].as_str().unwrap(), "set {at}: {:?}", found.fits);
        for (name, basis) in [("B", Basis::B), ("A", Basis::A)] {
            let what = format!("{name} of set {at}, {taken}");
            match (found.value(basis), &case["values"][name]) {
                (Ok(value), Value::Null) => {
                    // Below 16 values there is no formula for V: shape and quantile are held, V has its own test.
                    let Way::Weibull(fit, own) = value.way else { panic!("{what}: {value:?}") };
                    close(&what, fit.shape, number(&case["small"]["shape"]), 1e-8, 0.0);
                    close(&what, own.quantile, number(&case["small"]["quantiles"][name]), 1e-8, 0.0);
                    let v = weibull_factor(n, basis).unwrap();
                    let expected = own.quantile * (-v / (fit.shape * (n as f64).sqrt())).exp();
                    close(&what, value.value, expected, 1e-12, 0.0);
                }
                (Ok(value), expected) => close(&what, value.value, number(expected), 1e-7, 0.0),
                // What comes out at or below 0 is none here.
                (Err(StatisticsError::NoValue { value }), expected) if !expected.is_null() => {
                    close(&what, *value, number(expected), 1e-7, 0.0);
                    assert!(*value <= 0.0, "{what}: {value}");
                }
                (Err(_), expected) => {
                    assert!(expected.is_null(), "{what}: refused here, {expected} there");
                    refused += 1;
                }
            }
        }
        *branches.entry(taken).or_default() += 1;
    }
    let wanted = [
        "Weibull",
        "normal",
        "lognormal",
        "untested",
        "batches",
        "modified",
        "none, two, two",
        "none, rank, two",
        "none, rank, rank",
    ];
    for branch in wanted {
        assert!(branches.get(branch).is_some_and(|taken| *taken >= 5), "{branch}: {branches:?}");
    }
    assert!(branches.len() == wanted.len() && refused > 5, "{branches:?}, {refused} refused");
}
