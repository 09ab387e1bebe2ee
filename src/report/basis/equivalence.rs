//! A new sample against its baseline: every step in the order in which a reviewer follows it.

use super::steps::{self, Step};
use super::{
    CAUTION_LINE, SampleReport, data_json, outliers_json, picture, rejected_json, steps_json, write_batches,
    write_rejected, write_steps,
};
use crate::calc::figure;
use crate::qualify::equivalence::{ENOUGH_POWER, Equivalence, Power, Test};
use crate::report::page::{Frame, Page, count};
use crate::statistics::{MeanChange, StrengthEquivalence};
use serde_json::{Value, json};

/// An equivalence with both of its samples.
#[derive(Debug, Clone, PartialEq)]
pub struct EquivalenceReport {
    /// The new sample.
    pub new: SampleReport,
    /// What it is held against.
    pub baseline: SampleReport,
    /// What was found.
    pub found: Equivalence,
    /// How often samples of this size find a shift; why that is not known.
    pub power: Result<Vec<Power>, String>,
    /// Panels of the new sample.
    pub panels: usize,
    /// Specimens and panels that the showing's plan asks of it.
    pub plan: (u32, u32),
    /// What the new sample lacks.
    pub lacks: Vec<String>,
    /// What the baseline lacks of its own plan.
    pub baseline_lacks: Vec<String>,
    /// Where the level comes from.
    pub level_from: String,
    /// The command that says whether it counts for a duty.
    pub counts_by: String,
}

/// Values that are added up in numbers.
const ADDED: usize = 24;
/// Batches that are pooled in numbers.
const POOLED: usize = 6;

/// Returns the answer as a document of schema `basis/1` with `"kind": "equivalence"`.
pub fn equivalence_json(report: &EquivalenceReport) -> Value {
    let EquivalenceReport { new, baseline, found, .. } = report;
    let frame = Frame { all: true, ..Frame::default() };
    let sample = |own: &SampleReport, lacks: &[String]| {
        json!({
            "of": own.name, "batches": own.groups.len(), "data": data_json(own), "rejected": rejected_json(own),
            "outliers": outliers_json(own), "notes": own.notes, "complete": lacks.is_empty(), "lacks": lacks,
        })
    };
    let with = |mut document: Value, further: Value| {
        if let (Some(map), Value::Object(further)) = (document.as_object_mut(), further) {
            map.extend(further);
        }
        document
    };
    let test = match &found.test {
        Test::MeanAndLeast(own) => json!({
            "test": "mean-and-minimum", "k_mean": own.k_mean, "k_min": own.k_min, "limit_mean": own.mean_limit,
            "limit_min": own.minimum_limit, "mean_holds": own.mean_holds(), "min_holds": own.minimum_holds(),
        }),
        Test::Mean(own) => json!({
            "test": "two-sided-mean", "pooled_sd": own.pooled_sd, "t": own.t, "limit_low": own.low,
            "limit_high": own.high, "mean_holds": own.holds(),
        }),
    };
    let power: Vec<Value> =
        report.power.iter().flatten().map(|one| json!({"shift_sd": one.shift, "power": one.power})).collect();
    let head = json!({"schema": "basis/1", "kind": "equivalence", "showing": new.of, "unit": new.unit});
    let own = json!({
        "alpha": found.alpha,
        "n": found.new.n,
        "panels": report.panels,
        "mean": found.new.mean,
        "sd": found.new.sd,
        "min": least(new),
        "baseline": with(
            sample(baseline, &report.baseline_lacks),
            json!({"n": found.baseline.n, "mean": found.baseline.mean, "sd": found.baseline.sd}),
        ),
    });
    let foot = json!({
        "equivalent": found.holds(),
        "power": power,
        "advised_n": found.advised(),
        "steps": steps_json(all_steps(report, &frame)),
        "caution": CAUTION_LINE,
    });
    [sample(new, &report.lacks), own, test, foot].into_iter().fold(head, with)
}

fn least(own: &SampleReport) -> f64 {
    own.groups.iter().flat_map(|(_, values)| values.iter().copied()).fold(f64::INFINITY, f64::min)
}

/// Returns the answer for people.
pub fn equivalence_text(report: &EquivalenceReport, frame: &Frame) -> String {
    let EquivalenceReport { new, baseline, found, .. } = report;
    let mut page = Page::new(frame);
    let unit = if new.unit.is_empty() { String::new() } else { format!(", {}", new.unit) };
    page.heading(&format!("Equivalence of {} to {}, {}{unit}", new.name, baseline.name, new.of));
    for (title, own) in [("Baseline", baseline), ("New", new)] {
        page.gap();
        page.heading(&format!("{title}: {}", own.name));
        write_batches(&mut page, own);
        write_rejected(&mut page, own);
        for note in &own.notes {
            page.hang("  - ", "    ", note);
        }
    }
    write_steps(&mut page, &all_steps(report, frame));
    let limits: Vec<(char, f64)> = match &found.test {
        Test::MeanAndLeast(own) => vec![('L', own.minimum_limit), ('M', own.mean_limit)],
        Test::Mean(own) => vec![('[', own.low), (']', own.high)],
    };
    let words = match &found.test {
        Test::MeanAndLeast(_) => "| the batch's mean; M limit of the new mean, L of the least new value",
        Test::Mean(_) => "| the batch's mean; [ ] limits of the new mean",
    };
    let drawn = picture::against(baseline, new, &limits, frame.columns());
    if !drawn.is_empty() {
        page.gap();
        for line in drawn {
            page.line(&line);
        }
        page.hang("        ", "        ", &format!("o one specimen, 2 to 9 as many, # more; {words}"));
    }
    page.gap();
    page.paragraph(CAUTION_LINE);
    page.finish()
}

fn all_steps(report: &EquivalenceReport, frame: &Frame) -> Vec<Step> {
    let EquivalenceReport { new, baseline, found, .. } = report;
    let mut all = vec![pooled(report)];
    all.extend(outliers("Baseline", baseline, frame));
    all.push(sample(report));
    all.extend(outliers("New sample", new, frame));
    match &found.test {
        Test::MeanAndLeast(own) => all.extend(mean_and_least(report, own)),
        Test::Mean(own) => all.extend(mean(report, own)),
    }
    all.push(power(report));
    all.push(decision(report));
    all
}

/// The baseline's mean and deviation from those of its batches.
fn pooled(report: &EquivalenceReport) -> Step {
    let EquivalenceReport { baseline, found, .. } = report;
    let of = found.baseline;
    let mut shows = Vec::new();
    match &baseline.procedure {
        Ok(procedure) if (2..=POOLED).contains(&procedure.batches.len()) => {
            let (mut sum, mut squares) = (Vec::new(), Vec::new());
            for batch in &procedure.batches {
                sum.push(format!("{} x {}", batch.n, figure(batch.mean)));
                let own = batch.sd.filter(|_| batch.n > 1);
                squares.extend(own.map(|sd| format!("{} x {}^2", batch.n - 1, figure(sd))));
                squares.push(format!("{} x ({} - m0)^2", batch.n, figure(batch.mean)));
            }
            shows.push(format!(
                "m0 = sum n_i m_i / n0 = ({})/{} = {}",
                sum.join(" + "),
                of.n,
                figure(of.mean)
            ));
            shows.push(format!(
                "s0 = sqrt((sum (n_i - 1) s_i^2 + sum n_i (m_i - m0)^2)/(n0 - 1)) = sqrt(({})/{}) = {}",
                squares.join(" + "),
                of.n - 1,
                figure(of.sd)
            ));
        }
        _ => shows.push(format!(
            "mean and deviation of all {} values, as in the table above (divisor n0 - 1)",
            of.n
        )),
    }
    let differ = baseline.procedure.as_ref().is_ok_and(|own| own.is_one_population() == Some(false));
    if differ {
        shows.push(
            "its batches differ (k-sample Anderson-Darling): s0 holds their differences too, which makes the limits wider"
                .to_string(),
        );
    }
    if !baseline.rejected.is_empty() {
        shows
            .push(format!("{} rejected above, and not in these", count(baseline.rejected.len(), "specimen")));
    }
    let whole = match report.baseline_lacks.as_slice() {
        [] => String::new(),
        lacks => {
            format!("; it is not complete, so that nothing is equivalent to it yet: {}", lacks.join(", "))
        }
    };
    let known = match found.test {
        Test::MeanAndLeast(_) => ", taken as known",
        Test::Mean(_) => "",
    };
    Step {
        title: format!("Baseline: pooled mean and deviation of {}", baseline.name),
        shows,
        decision: format!(
            "m0 = {}, s0 = {}, n0 = {} of {}{known}{whole}",
            baseline.with_unit(of.mean),
            baseline.with_unit(of.sd),
            of.n,
            count(baseline.groups.len(), "batch")
        ),
    }
}

fn outliers(whose: &str, own: &SampleReport, frame: &Frame) -> Vec<Step> {
    let Ok(procedure) = &own.procedure else {
        let why = own.procedure.as_ref().err().map(ToString::to_string).unwrap_or_default();
        return vec![Step {
            title: format!("{whose}: outliers (maximum normed residual)"),
            shows: vec![format!("not tested: {why}")],
            decision: "whether a value stands out is not known".to_string(),
        }];
    };
    let named = |step: Step| {
        let mut title = step.title;
        if let Some(first) = title.get_mut(..1) {
            first.make_ascii_lowercase();
        }
        Step { title: format!("{whose}: {title}"), ..step }
    };
    let mut all = vec![named(steps::within_batches(own, procedure, frame))];
    if own.groups.len() > 1 {
        all.push(named(steps::in_all(own, procedure, frame)));
    }
    all
}

fn sample(report: &EquivalenceReport) -> Step {
    let EquivalenceReport { new, found, plan: (specimens, panels), .. } = report;
    let values: Vec<f64> = new.groups.iter().flat_map(|(_, values)| values.iter().copied()).collect();
    let of = found.new;
    let mut shows = Vec::new();
    if values.len() <= ADDED {
        let added: Vec<String> = values.iter().copied().map(figure).collect();
        shows.push(format!("mean = ({})/{} = {}", added.join(" + "), of.n, figure(of.mean)));
    }
    if !new.rejected.is_empty() {
        shows.push(format!("{} rejected above, and not in these", count(new.rejected.len(), "specimen")));
    }
    shows.push(format!(
        "planned: {} of {}",
        count(*specimens as usize, "specimen"),
        count(*panels as usize, "panel")
    ));
    let whole = match report.lacks.as_slice() {
        [] => "complete".to_string(),
        lacks => format!("not complete: {}", lacks.join(", ")),
    };
    Step {
        title: format!("New sample: {}", new.name),
        shows,
        decision: format!(
            "n = {} of {} in {}, mean = {}, s = {}, least = {}; {whole}",
            of.n,
            count(report.panels, "panel"),
            count(new.groups.len(), "batch"),
            new.with_unit(of.mean),
            new.with_unit(of.sd),
            new.with_unit(least(new))
        ),
    }
}

fn mean_and_least(report: &EquivalenceReport, own: &StrengthEquivalence) -> Vec<Step> {
    let EquivalenceReport { new, found, .. } = report;
    let (alpha, n) = (figure(found.alpha), found.new.n);
    let (m0, s0) = (figure(found.baseline.mean), figure(found.baseline.sd));
    let factors = Step {
        title: "Level and factors".to_string(),
        shows: vec![
            format!("alpha = {alpha}, {}", report.level_from),
            format!("k_mean = {}, k_min = {} (n = {n})", figure(own.k_mean), figure(own.k_min)),
            "by chance the mean falls below its limit as often as the least value below its own, and one of both with \
             alpha: M. G. Vangel, Technometrics 44 (2002), DOT/FAA/AR-03/19 (from memory); computed from the joint \
             distribution, as `bondline calc equivalence` does for any n and alpha"
                .to_string(),
        ],
        decision: format!(
            "where nothing changed, {} of 100 such samples are rejected",
            figure(found.alpha * 100.0)
        ),
    };
    let side = |what: &str, words: &str, k: f64, limit: f64, value: f64, holds: bool| Step {
        title: format!("Limit of the {what}"),
        shows: vec![format!("m0 - {words} s0 = {m0} - {} x {s0} = {}", figure(k), figure(limit))],
        decision: if holds {
            format!("the {what}, {}, is not below {}: it holds", new.with_unit(value), figure(limit))
        } else {
            format!("the {what}, {}, is below {}: it does not hold", new.with_unit(value), figure(limit))
        },
    };
    vec![
        factors,
        side("new mean", "k_mean", own.k_mean, own.mean_limit, own.mean, own.mean_holds()),
        side("least new value", "k_min", own.k_min, own.minimum_limit, own.minimum, own.minimum_holds()),
    ]
}

fn mean(report: &EquivalenceReport, own: &MeanChange) -> Vec<Step> {
    let EquivalenceReport { new, found, .. } = report;
    let (old, now) = (found.baseline, found.new);
    let degrees = old.n + now.n - 2;
    let spread = Step {
        title: "Deviation of both samples".to_string(),
        shows: vec![format!(
            "s_p = sqrt(((n0 - 1) s0^2 + (n - 1) s^2)/(n0 + n - 2)) = sqrt(({} x {}^2 + {} x {}^2)/{degrees}) = {}",
            old.n - 1,
            figure(old.sd),
            now.n - 1,
            figure(now.sd),
            figure(own.pooled_sd)
        )],
        decision: format!("s_p = {}", new.with_unit(own.pooled_sd)),
    };
    let level = Step {
        title: "Level and quantile".to_string(),
        shows: vec![
            format!("alpha = {}, {}", figure(found.alpha), report.level_from),
            format!(
                "t({}; {degrees}) = {}, Student, two-sided: half of alpha on either side",
                figure(1.0 - found.alpha / 2.0),
                figure(own.t)
            ),
        ],
        decision: format!(
            "where nothing changed, {} of 100 such samples are rejected",
            figure(found.alpha * 100.0)
        ),
    };
    // The middle of both limits is the baseline's mean.
    let reach = 0.5 * (own.high - own.low);
    let limits = Step {
        title: "Limits of the new mean (two-sample t test, DOT/FAA/AR-03/19, from memory)".to_string(),
        shows: vec![
            format!(
                "reach = t s_p sqrt(1/n0 + 1/n) = {} x {} x sqrt(1/{} + 1/{}) = {}",
                figure(own.t),
                figure(own.pooled_sd),
                old.n,
                now.n,
                figure(reach)
            ),
            format!(
                "m0 -/+ reach = {} -/+ {} = {} .. {}",
                figure(old.mean),
                figure(reach),
                figure(own.low),
                figure(own.high)
            ),
        ],
        decision: format!(
            "the new mean, {}, lies {} {} .. {}: it {}",
            new.with_unit(own.mean),
            if own.holds() { "within" } else { "outside" },
            figure(own.low),
            figure(own.high),
            if own.holds() { "holds" } else { "does not hold" }
        ),
    };
    vec![spread, level, limits]
}

fn power(report: &EquivalenceReport) -> Step {
    let found = &report.found;
    let title = "Power: what this sample would find, the scatter being the baseline's".to_string();
    let moved = match found.test {
        Test::MeanAndLeast(_) => "fallen by",
        Test::Mean(_) => "moved by",
    };
    let shows = match &report.power {
        Err(why) => vec![format!("not known: {why}")],
        Ok(all) => all
            .iter()
            .map(|one| {
                format!(
                    "a mean {moved} {} ({}) is found {:.0} times in 100",
                    deviations(one.shift),
                    report.new.with_unit(one.shift * found.baseline.sd),
                    one.power * 100.0
                )
            })
            .collect(),
    };
    let one = report.power.iter().flatten().find(|one| one.shift == 1.0);
    let enough = one.map(|one| one.power >= ENOUGH_POWER);
    let often = figure(ENOUGH_POWER * 100.0);
    let decision = match (enough, found.advised()) {
        (Some(true), _) => {
            format!(
                "enough to find a change of one standard deviation {often} times in 100 (common practice, no source)"
            )
        }
        (_, Some(n)) => format!(
            "a fall of one standard deviation can go unseen: {n} values find it {often} times in 100 (common practice, no \
             source)"
        ),
        (Some(false), None) => {
            format!(
                "a change of one standard deviation can go unseen: it is found less than {often} times in 100 (common \
                 practice, no source)"
            )
        }
        (None, None) => "what the sample would find is not known".to_string(),
    };
    Step { title, shows, decision }
}

fn decision(report: &EquivalenceReport) -> Step {
    let mut shows = vec![report.found.words(&report.new.unit)];
    let lacking = !report.lacks.is_empty() || !report.baseline_lacks.is_empty();
    if lacking {
        shows.push("a sample that is not complete closes no duty, whatever it found".to_string());
    }
    shows.push(format!(
        "design values stay those of {}; whether it counts for a duty, `{}` says",
        report.baseline.name, report.counts_by
    ));
    let decision = match (report.found.holds(), lacking) {
        (true, false) => "equivalent: to be equivalent is not to be equal",
        (true, true) => "no difference found, but not complete",
        (false, _) => {
            "not equivalent; it may be repeated once, with a new set of panels and a `reason`; both stay in the record"
        }
    };
    Step { title: "Decision".to_string(), shows, decision: decision.to_string() }
}

fn deviations(shift: f64) -> String {
    let word = if shift == 1.0 { "deviation" } else { "deviations" };
    format!("{} standard {word}", figure(shift))
}
