//! The steps in the order in which a reviewer follows them, with the decision at each.

use super::SampleReport;
use crate::calc::figure;
use crate::report::page::{Frame, count};
use crate::statistics::{
    APPROXIMATED_FROM, Basis, Distribution, Fit, Fitted, KSample, Method, NormedResidual, Procedure,
    StatisticsError, Way,
};

/// One step: what was computed, and what follows from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// What is looked at.
    pub title: String,
    /// What was computed, in numbers.
    pub shows: Vec<String>,
    /// What follows.
    pub decision: String,
}

/// The distribution that the values were computed by, where there is one.
pub(super) fn distribution(found: &Procedure) -> Option<&'static str> {
    match found.method {
        Method::One(distribution) => Some(distribution.name()),
        Method::Untested | Method::ModifiedNormal => Some(Distribution::Normal.name()),
        Method::NoDistribution | Method::Batches => None,
    }
}

/// Outliers within batches and in all: where, the batch's label, the specimen where it is known, the residual.
pub(super) fn named_outliers<'a>(
    own: &'a SampleReport,
    found: &'a Procedure,
) -> Vec<(&'static str, &'a str, Option<&'a str>, &'a NormedResidual)> {
    let mut all = Vec::new();
    for (at, ((label, _), batch)) in own.groups.iter().zip(&found.batches).enumerate() {
        let outliers = batch.outliers.iter().filter(|one| one.is_outlier());
        all.extend(outliers.map(|one| ("batch", label.as_str(), specimen(own, at, one.index), one)));
    }
    for one in found.outliers.iter().filter(|one| one.is_outlier()) {
        let (batch, specimen) = batch_at(own, one.index);
        all.push(("all", batch, specimen, one));
    }
    all
}

/// The label of a value of a batch; none where labels are not known.
fn specimen(own: &SampleReport, batch: usize, place: usize) -> Option<&str> {
    own.labels.get(batch)?.get(place).map(String::as_str).filter(|label| !label.is_empty())
}

/// The label of the batch that the value at a place among all is of, and of its specimen.
fn batch_at(own: &SampleReport, mut place: usize) -> (&str, Option<&str>) {
    for (at, (label, values)) in own.groups.iter().enumerate() {
        match place.checked_sub(values.len()) {
            Some(rest) => place = rest,
            None => return (label, specimen(own, at, place)),
        }
    }
    ("", None)
}

/// A value that stands out, with its batch and its specimen.
fn value_named(value: f64, batch: &str, specimen: Option<&str>) -> String {
    let specimen = specimen.map_or_else(String::new, |own| format!(" ({own})"));
    format!("{} of {batch}{specimen}", figure(value))
}

/// Outliers of one batch, or of all, that are named where not all are asked for.
const OUTLIERS_SHOWN: usize = 10;

/// Writes the steps; `frame` says whether long lists are shortened.
pub(super) fn steps(own: &SampleReport, found: &Procedure, frame: &Frame) -> Vec<Step> {
    let mut all = vec![
        within_batches(own, found, frame),
        in_all(own, found, frame),
        one_population(found),
        spread(found),
        fits(own, found),
    ];
    all.extend(modified(found));
    all.push(method(own, found));
    for basis in [Basis::B, Basis::A] {
        all.push(value(own, found, basis));
    }
    all.push(worth(found));
    all
}

fn residual(label: &str, one: &NormedResidual, level: f64) -> String {
    format!(
        "{label}{} lies {} standard deviations from the mean; critical {} (n = {}, level {})",
        figure(one.value),
        figure(one.residual),
        figure(one.critical),
        one.n,
        figure(level)
    )
}

const UNKNOWN: &str = "whether a value stands out is not known";
const STAYS: &str = "it stays in the sample until a cause is found: then the data name it under `rejected`";

pub(super) fn within_batches(own: &SampleReport, found: &Procedure, frame: &Frame) -> Step {
    let mut shows = Vec::new();
    let mut named = Vec::new();
    for (at, ((label, _), batch)) in own.groups.iter().zip(&found.batches).enumerate() {
        if batch.outliers.is_empty() {
            let why = if batch.n < 3 { "too few values" } else { "all values are equal" };
            shows.push(format!("{label}: not tested, {why}"));
        }
        residuals(&mut shows, &format!("{label}: "), &batch.outliers, found.levels.outliers, frame);
        let outliers = batch.outliers.iter().filter(|one| one.is_outlier());
        named.extend(outliers.map(|one| value_named(one.value, label, specimen(own, at, one.index))));
    }
    let tested = found.batches.iter().any(|batch| !batch.outliers.is_empty());
    let decision = if tested { stands(&named, frame) } else { UNKNOWN.to_string() };
    Step { title: "Outliers within batches (maximum normed residual)".to_string(), shows, decision }
}

/// Writes how far the farthest lie, the farthest first, and always the one that the search ended with.
fn residuals(shows: &mut Vec<String>, label: &str, all: &[NormedResidual], level: f64, frame: &Frame) {
    let (Some(first), Some((last, before))) = (all.first(), all.split_last()) else { return };
    let shown = frame.shown(before.len(), OUTLIERS_SHOWN);
    shows.extend(before.iter().take(shown).map(|one| residual(label, one, level)));
    if shown < before.len() {
        shows.push(format!("{label}… and {} more; --all shows them", before.len() - shown));
    }
    shows.push(residual(label, last, level));
    // It also ends where all that is left is equal.
    if last.is_outlier() && all.len() == first.n / 2 {
        shows.push(format!(
            "{label}the search ends here, at half of the values: what calls most of them outliers is no test \
             for outliers"
        ));
    }
}

fn stands(named: &[String], frame: &Frame) -> String {
    match named {
        [] => "nothing stands out".to_string(),
        [one] => format!("{one} is an outlier: {STAYS}"),
        several => {
            let shown = frame.shown(several.len(), OUTLIERS_SHOWN);
            let rest = several.len() - shown;
            let more = if rest > 0 { format!(", … and {rest} more") } else { String::new() };
            let first: Vec<&str> = several.iter().take(shown).map(String::as_str).collect();
            format!(
                "{}{more} are outliers: each stays in the sample until a cause is found: then the data name it under \
                 `rejected`",
                first.join(", ")
            )
        }
    }
}

pub(super) fn in_all(own: &SampleReport, found: &Procedure, frame: &Frame) -> Step {
    let mut shows = Vec::new();
    residuals(&mut shows, "", &found.outliers, found.levels.outliers, frame);
    let outliers = found.outliers.iter().filter(|one| one.is_outlier());
    let of = |one: &NormedResidual| {
        let (batch, specimen) = batch_at(own, one.index);
        value_named(one.value, batch, specimen)
    };
    let named: Vec<String> = outliers.map(of).collect();
    let decision = if shows.is_empty() {
        shows.push("not tested: too few values".to_string());
        UNKNOWN.to_string()
    } else {
        stands(&named, frame)
    };
    Step { title: "Outliers among all values".to_string(), shows, decision }
}

fn not_tested(problem: &StatisticsError) -> String {
    format!("not tested: {problem}")
}

/// The critical value of the k-sample test, in numbers.
fn critical(test: &KSample) -> String {
    let [b0, b1, b2] = test.constants;
    let free = test.groups - 1;
    format!(
        "critical 1 + {} ({b0} + {b1}/sqrt({free}) - {}/{free}) = {} (level {})",
        figure(test.sigma),
        -b2,
        figure(test.critical),
        figure(test.alpha)
    )
}

fn one_population(found: &Procedure) -> Step {
    let title = "Batches: one population? (k-sample Anderson-Darling)".to_string();
    match &found.one_population {
        Err(problem) => Step {
            title,
            shows: vec![not_tested(problem)],
            decision: "whether batches differ is not known: the values are taken as one population"
                .to_string(),
        },
        Ok(test) => Step {
            title,
            shows: vec![
                format!("ADK = {} (k = {}, n = {})", figure(test.statistic), test.groups, test.n),
                critical(test),
            ],
            decision: if test.is_one() {
                "they may be taken as one population".to_string()
            } else {
                "the batches differ and may not be taken as one population".to_string()
            },
        },
    }
}

fn spread(found: &Procedure) -> Step {
    let title = "Batches: one spread? (Levene, from the medians)".to_string();
    match &found.variances {
        Err(problem) => Step {
            title,
            shows: vec![not_tested(problem)],
            decision: "whether the batches scatter alike is not known".to_string(),
        },
        Ok(test) => {
            let [first, second] = test.degrees;
            Step {
                title,
                shows: vec![format!(
                    "W = {}; critical F({}; {first}, {second}) = {}",
                    figure(test.statistic),
                    figure(1.0 - test.alpha),
                    figure(test.critical)
                )],
                decision: match (test.is_equal(), found.method) {
                    (true, _) => "they scatter alike".to_string(),
                    (false, Method::Batches) => {
                        "they do not scatter alike, which the analysis of variance supposes: \
                                                 find out why before the value is used"
                            .to_string()
                    }
                    (false, _) => "they do not scatter alike: find out why".to_string(),
                },
            }
        }
    }
}

fn parameters(fit: &Fit) -> String {
    match fit.fitted {
        Fitted::Weibull(own) => format!("alpha = {}, beta = {}", figure(own.scale), figure(own.shape)),
        Fitted::Normal(own) => format!("mean = {}, s = {}", figure(own.mean), figure(own.sd)),
        Fitted::Lognormal(own) => {
            format!("mean of ln x = {}, s of ln x = {}", figure(own.mean), figure(own.sd))
        }
    }
}

/// That the shape is the root, in sums that a pocket calculator makes.
fn shape_proof(own: &SampleReport, fit: &Fit) -> Option<String> {
    let Fitted::Weibull(of) = fit.fitted else { return None };
    let values: Vec<f64> = own.groups.iter().flat_map(|(_, values)| values.iter().copied()).collect();
    let proof = of.proof(&values);
    let [greatest, powers, weighted, mean] =
        [proof.greatest, proof.powers, proof.weighted, proof.mean_log].map(figure);
    Some(format!(
        "beta is found by trial, with y = x/{greatest}: P = sum y^beta = {powers}, L = sum y^beta ln y = {weighted}, mean \
         of ln y = {mean}, and 1/beta = L/P - mean of ln y = {}; alpha = {greatest} ({powers}/{})^(1/beta) = {}",
        figure(proof.inverse_shape()),
        values.len(),
        figure(proof.greatest * (proof.powers / values.len() as f64).powf(1.0 / of.shape)),
    ))
}

fn fits(own: &SampleReport, found: &Procedure) -> Step {
    let mut shows = Vec::new();
    let mut fit_well = Vec::new();
    for (distribution, fit) in Distribution::ALL.iter().zip(&found.fits) {
        let name = distribution.name();
        match fit {
            Err(problem) => shows.push(format!("{name}: {}", not_tested(problem))),
            Ok(fit) => {
                let well = fit.level > found.levels.fit;
                shows.push(format!(
                    "{name}: {}; AD = {}, AD* = {}, observed level {} {} {}",
                    parameters(fit),
                    figure(fit.statistic),
                    figure(fit.corrected),
                    figure(fit.level),
                    if well { "above" } else { "not above" },
                    figure(found.levels.fit)
                ));
                shows.extend(shape_proof(own, fit));
                if well {
                    fit_well.push(name);
                }
            }
        }
    }
    let tested = found.fits.iter().any(Result::is_ok);
    if tested {
        shows.push(
            "Weibull: AD* = (1 + 0.2/sqrt n) AD, level 1/(1 + exp(-0.10 + 1.24 ln AD* + 4.48 AD*)); the others: AD* = \
             (1 + 4/n - 25/n^2) AD, level 1/(1 + exp(-0.48 + 0.78 ln AD* + 4.58 AD*))"
                .to_string(),
        );
    }
    Step {
        title: "Fit of distributions to all values (Anderson-Darling)".to_string(),
        shows,
        decision: match (fit_well.is_empty(), tested) {
            (true, false) => "none could be tested".to_string(),
            (true, true) => "none fits".to_string(),
            (false, _) => format!("not rejected: {}", fit_well.join(", ")),
        },
    }
}

fn modified(found: &Procedure) -> Option<Step> {
    let (own, test) = found.modified.as_ref()?;
    let mut shows = vec![
        "below 4 %: 6 %; below 8 %: CV/2 + 4 %; from there on CV itself".to_string(),
        "for the test of batches each is spread to its own modified CV about its mean, then all by sqrt(SSE*/SSE'), so \
         that the whole has s*"
            .to_string(),
        format!(
        "CV = {:.3} %, modified to {:.3} %: s* = {}",
        own.cv * 100.0,
        own.modified * 100.0,
        figure(own.sample.sd)
    ),
    ];
    shows.push(match test {
        Ok(test) => format!(
            "batches with the modified spread: ADK = {} against {}",
            figure(test.statistic),
            figure(test.critical)
        ),
        Err(problem) => format!("batches with the modified spread: {}", not_tested(problem)),
    });
    let used = found.method == Method::ModifiedNormal;
    Some(Step {
        title: "Modified coefficient of variation, asked for by name (CMH-17-1G 8.4.4, from memory)"
            .to_string(),
        shows,
        decision: if used {
            "it is used: the values are taken as one normal population with the modified spread".to_string()
        } else {
            "it is not used: it modifies nothing, batches with the modified spread still differ, or the values are not \
             normal"
                .to_string()
        },
    })
}

fn method(own: &SampleReport, found: &Procedure) -> Step {
    let decision = match found.method {
        Method::One(distribution) => {
            format!("{}: the first of Weibull, normal, lognormal that fits", distribution.name())
        }
        Method::Untested => {
            "normal, untested: fewer than five values say nothing of a distribution".to_string()
        }
        Method::NoDistribution => {
            "no distribution: by ordered values (ranks, or Hanson-Koopmans for small samples)".to_string()
        }
        Method::Batches => "the batches differ: one-way analysis of variance".to_string(),
        Method::ModifiedNormal => "normal with the modified coefficient of variation".to_string(),
    };
    let mut shows = Vec::new();
    if found.method == Method::Batches {
        // What the spread between batches costs.
        let pooled = crate::statistics::basis_value(&found.whole, Basis::B);
        if let (Ok(pooled), Ok(value)) = (pooled, &found.b) {
            shows.push(format!(
                "taken as one normal population the B value would be {}, {} more",
                own.with_unit(pooled),
                own.with_unit(pooled - value.value)
            ));
        }
    }
    Step { title: "Method (MIL-HDBK-17-1F chapter 8, from memory)".to_string(), shows, decision }
}

/// The factor V in numbers, or where it comes from.
fn factor(n: usize, basis: Basis, v: f64) -> String {
    let count = n as f64;
    match basis {
        _ if n < APPROXIMATED_FROM => {
            format!(
                "V = {} (n = {n}, simulated for this project; the approximation is high below 16)",
                figure(v)
            )
        }
        Basis::B => format!(
            "V = 3.803 + exp(1.79 - 0.516 ln {n} + 5.1/{}) = {} (MIL-HDBK-17-1F table 8.5.8, footnote, from memory)",
            n - 1,
            figure(v)
        ),
        Basis::A => format!(
            "V = 6.649 + exp(2.55 - 0.526 ln {n} + 4.76/{count}) = {} (MIL-HDBK-17-1F table 8.5.9, footnote, from memory)",
            figure(v)
        ),
    }
}

fn value(own: &SampleReport, found: &Procedure, basis: Basis) -> Step {
    let letter = if basis == Basis::B { "B" } else { "A" };
    let (share, n) = (figure(basis.content()), found.whole.n);
    let title = format!(
        "{letter} value: with 95 % confidence {} % of the population lie above it",
        figure(basis.content() * 100.0)
    );
    let given = match found.value(basis) {
        Ok(given) => given,
        Err(problem) => {
            return Step { title, shows: Vec::new(), decision: format!("no {letter} value: {problem}") };
        }
    };
    let shows = match given.way {
        Way::Normal { k, of } => vec![
            format!("k = {} (n = {}, noncentral t)", figure(k), of.n),
            format!(
                "{letter} = mean - k s = {} - {} x {} = {}",
                figure(of.mean),
                figure(k),
                figure(of.sd),
                figure(given.value)
            ),
        ],
        Way::Lognormal { k, of } => vec![
            format!("k = {} (n = {}, noncentral t)", figure(k), of.n),
            format!(
                "{letter} = exp({} - {} x {}) = {}",
                figure(of.mean),
                figure(k),
                figure(of.sd),
                figure(given.value)
            ),
        ],
        Way::Weibull(fit, of) => vec![
            format!(
                "q = alpha (-ln {share})^(1/beta) = {} x {}^(1/{}) = {}",
                figure(fit.scale),
                figure(-basis.content().ln()),
                figure(fit.shape),
                figure(of.quantile)
            ),
            factor(n, basis, of.v),
            format!(
                "{letter} = q exp(-V/(beta sqrt n)) = {} exp(-{}/({} x {})) = {}",
                figure(of.quantile),
                figure(of.v),
                figure(fit.shape),
                figure((n as f64).sqrt()),
                figure(given.value)
            ),
        ],
        Way::HansonKoopmans(of) => vec![format!(
            "Hanson-Koopmans (rank by MIL-HDBK-17-1F table 8.5.14, from memory; k by its integral): {letter} = x({r}) (x(1)/x({r}))^k = {} ({}/{})^{} = {}",
            figure(of.upper),
            figure(of.least),
            figure(of.upper),
            figure(of.k),
            figure(given.value),
            r = of.rank
        )],
        Way::Rank(rank) => vec![format!(
            "{letter} = x({rank}), the value of rank {rank} of {n} from the least = {}",
            figure(given.value)
        )],
        Way::Anova(of) => vec![
            format!(
                "MSB = {}, MSE = {}, n' = {}, S = sqrt(MSB/n' + (n' - 1)/n' MSE) = {}",
                figure(of.between),
                figure(of.within),
                figure(of.effective),
                figure(of.deviation)
            ),
            format!(
                "u = {}, w = sqrt(u/(u + n' - 1)) = {}, k0 = {} (n = {}), k1 = {} (n = {})",
                figure(of.ratio),
                figure(of.weight),
                figure(of.k0),
                of.n,
                figure(of.k1),
                of.groups
            ),
            format!("T = (k0 - k1/sqrt n' + (k1 - k0) w)/(1 - 1/sqrt n') = {}", figure(of.factor)),
            format!(
                "{letter} = mean - T S = {} - {} x {} = {}",
                figure(of.mean),
                figure(of.factor),
                figure(of.deviation),
                figure(given.value)
            ),
        ],
    };
    let lacks = found.lacks(basis);
    let estimate = if lacks.is_empty() {
        String::new()
    } else {
        format!(", an estimate that may not be designed with: {}", lacks.join(", "))
    };
    Step { title, shows, decision: format!("{letter} = {}{estimate}", own.with_unit(given.value)) }
}

fn worth(found: &Procedure) -> Step {
    let mut shows = Vec::new();
    let batches = found.batches.len();
    match found.batch_spread() {
        Some([low, high]) if batches < 10 => shows.push(format!(
            "{}: the true standard deviation of batch means lies between {:.2} and {:.2} times what they show, in \
             95 of 100 such samples of batches alike in size (chi-square, {})",
            count(batches, "batch"),
            low,
            high,
            count(batches - 1, "degree")
        )),
        Some(_) => {}
        None => shows.push("one batch: nothing is known of the spread between batches".to_string()),
    }
    for (letter, basis) in [("B", Basis::B), ("A", Basis::A)] {
        let lacks = found.lacks(basis);
        if !lacks.is_empty() {
            shows.push(format!("for {letter}: {}", lacks.join(", ")));
        }
    }
    let word = |basis| if found.lacks(basis).is_empty() { "enough" } else { "too little" };
    Step {
        title: "What the sample is worth".to_string(),
        shows,
        decision: format!(
            "{} specimens of {}: {} for a B value (18 of 3 batches), {} for an A value (55 of 5; DOT/FAA/AR-03/19, \
             from memory)",
            found.whole.n,
            count(batches, "batch"),
            word(Basis::B),
            word(Basis::A)
        ),
    }
}
