//! Every JSON document read back into strict types: the keys that are held to, no others, and figures that
//! agree with each other.

use crate::support::{Bench, layout};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::collections::BTreeMap;

/// Declares strict types of documents; what a document may hold besides is named here too.
macro_rules! documents {
    ($($name:ident { $($key:ident: $type:ty),* $(,)? })*) => {
        $(
            #[derive(Debug, Deserialize, schemars::JsonSchema)]
            #[serde(deny_unknown_fields)]
            #[allow(non_snake_case, reason = "units stand in keys")]
            #[allow(dead_code, reason = "most fields are there to be held to, not to be read")]
            pub(super) struct $name { $(pub(super) $key: $type),* }
        )*
    };
}

mod decided;
mod figures;
mod moved;
mod past;
mod written;

documents! {
    Report { version: String, table: u32, table_digest: String, commit: Option<String>, date: String, assumptions: usize, live_concessions: usize }
    Fault { rule: String, level: String, file: String, line: Option<usize>, column: Option<usize>, message: String, help: Option<String> }
    CalcStep { symbol: String, formula: String, value: f64, unit: String, text: String }
    Calc { schema: String, topic: String, inputs: Value, steps: Vec<CalcStep>, results: BTreeMap<String, Value>, notes: Vec<String>, source: String, caution: String }
    CalcTopic { topic: String, about: String }
    CalcKey { key: String, needed: bool, expects: String, means: String }
    CalcTopicAlone { schema: String, topic: String, about: String, keys: Vec<CalcKey>, sample: String, source: String }
    CalcTopics { schema: String, topics: Vec<CalcTopic> }
    Check { schema: String, faults: Vec<Fault> }
    ExportWritten { schema: String, path: String, rows: BTreeMap<String, usize> }
    ImportRefused { line: usize, column: Option<String>, message: String, help: Option<String> }
    Import { schema: String, mapping: Value, written: bool, files: Vec<String>, kept: Vec<String>, refused: Vec<ImportRefused> }
    Man { schema: String, folder: String, pages: Vec<String> }
    Pages { schema: String, out: String, files: Vec<String> }
    Failed { schema: String, error: Failure }
    Failure { message: String, help: Option<String>, faults: Vec<Fault> }
    Total { kg: f64, low_kg: f64, high_kg: f64, with_growth_kg: f64 }
    Group { group: String, kg: f64, budget_kg: Option<f64>, margin_kg: Option<f64>, margin_with_growth_kg: Option<f64>, probability_within: Option<f64>, low_kg: f64, high_kg: f64, with_growth_kg: f64 }
    AssemblyMass { assembly: String, quantity: u32, each_kg: f64, budget_kg: Option<f64>, margin_kg: Option<f64>, margin_with_growth_kg: Option<f64>, probability_within: Option<f64> }
    Contribution { what: String, r#where: String, kg: f64 }
    Balance { moment_kg_m: f64, limit_kg_m: Option<f64>, share_without_position: f64, ok: Option<bool> }
    PanelMass { panel: String, quantity: u32, each_kg: f64, kg: f64, contributions: Vec<Contribution>, group: Option<String>, low_kg: f64, high_kg: f64, with_growth_kg: f64, maturity: String, weighings: usize, provisional: bool, residuals: Vec<Residual>, balance: Option<Balance> }
    Residual { weighing: String, serial: Option<String>, on: Option<String>, condition: String, weighed_kg: f64, predicted_kg: f64, as_built: bool, residual_kg: f64, residual_percent: Option<f64>, counts: bool, standing: String }
    Cause { cause: String, at_low_kg: f64, at_high_kg: f64 }
    Mass { schema: String, scope: String, total: Total, cg_m: Option<[f64; 3]>, share_without_position: f64, groups: Vec<Group>, assemblies: Vec<AssemblyMass>, panels: Vec<PanelMass>, parts: Vec<Value>, spread: Value, causes: Vec<Cause>, weighings: Option<Weighings>, not_counted: Option<Vec<NotCounted>>, learned: Option<Learned> }
    NotCounted { weighing: String, why: String }
    Decided { cause: String, by: String, on: String }
    Added { since: String, weighed_kg: f64, predicted_kg: f64, as_built: bool, residual_kg: f64, residual_percent: Option<f64> }
    StageReading { weighing: String, condition: String, on: Option<String>, weighed_kg: f64, predicted_kg: f64, as_built: bool, residual_kg: f64, residual_percent: Option<f64>, explain_percent: f64, hold_percent: f64, standing: String, explained: Option<String>, disposition: Option<Decided>, added: Option<Added> }
    WeighedPiece { serial: Option<String>, readings: Vec<StageReading> }
    WeighedPanel { panel: String, counts: bool, pieces: Vec<WeighedPiece> }
    Weighings { counts: BTreeMap<String, usize>, panels: Vec<WeighedPanel> }
    Contributor { contributor: String, weighed_kg: f64, predicted_kg: f64, prior_sigma_percent: f64, estimate_percent: f64, sigma_percent: f64, says: String }
    LearnedPanel { panel: String, kg: f64, change_kg: f64, change_sigma_kg: f64, learned_kg: f64 }
    Learned { weighings: usize, pieces: usize, left_out: Vec<String>, predicted_now: Vec<String>, scatter_percent: f64, scale_percent: f64, contributors: Vec<Contributor>, kg: f64, change_kg: f64, change_sigma_kg: f64, learned_kg: f64, panels: Vec<LearnedPanel>, suggestion: String }
    Reason { attribute: String, was: String, is: String, effect: String, rule: String, source: String, evidence: Option<String>, panels: Vec<String> }
    Change { address: String, attribute: String, was: Option<String>, is: Option<String>, facet: Option<String>, class: Option<String> }
    OverBudget { group: String, of: String, over_kg: f64, was_over_kg: f64 }
    BalanceMove { panel: String, was_kg_m: Option<f64>, is_kg_m: Option<f64>, limit_kg_m: Option<f64>, ok: Option<bool> }
    Critical { number: usize, name: Option<String>, material: String, angle_deg: Option<f64>, face: String }
    RestsOn { showing: String, subject: String, verdict: String }
    Margin { check: String, case: String, place: String, criterion: String, mode: String, margin: f64, layer: Option<Critical>, words: String, environment: Option<String>, rests_on: Vec<RestsOn>, notes: Vec<String> }
    MarginMove { panel: String, case: String, was: Option<f64>, is: Option<f64>, was_margin: Option<Margin>, is_margin: Option<Margin>, lacking: Option<String> }
    Uncomputed { check: String, case: String, place: String, lacks: String, panel: Option<String> }
    Layer { material: String, name: Option<String>, role: String, angle_deg: Option<f64>, thickness_mm: Option<f64>, areal_mass_g_m2: f64, fibre_volume_fraction: Option<f64> }
    Moduli { Ex_GPa: f64, Ey_GPa: f64, Gxy_GPa: f64, nu_xy: f64, nu_yx: f64 }
    LoadMargin { name: String, panel: String, check: String, case: String, place: String, criterion: String, mode: String, margin: f64, layer: Option<usize>, critical: Option<Critical>, words: String, environment: Option<String>, rests_on: Vec<RestsOn>, notes: Vec<String> }
    DesignValue { what: String, value_si: f64, from: String, subject: Option<String>, verdict: Option<String>, evidence: Option<Vec<String>>, specimens: Option<usize>, statistic: Option<String>, method: Option<String>, environment: Option<String>, estimate: Option<bool>, normalised_to: Option<String> }
    Laminate { schema: String, recipe: String, code: String, thickness_mm: f64, areal_mass_g_m2: f64, layers: Vec<Layer>, A_N_mm: Option<[[f64; 3]; 3]>, B_N: Option<[[f64; 3]; 3]>, D_N_mm: Option<[[f64; 3]; 3]>, effective: Option<Moduli>, effective_bending: Option<Moduli>, expansion_1_K: Option<[f64; 3]>, curvature_after_cure_1_m: Option<[f64; 3]>, symmetric: Option<bool>, balanced: Option<bool>, carrying_thickness_mm: f64, loads: Vec<LoadMargin>, uncomputed: Vec<Uncomputed>, values: Vec<DesignValue>, lacking: Vec<String>, uncounted: Vec<String>, environment: Option<String>, panels: Vec<String>, caution: String, report: Report }
    MassMove { was_kg: f64, is_kg: f64, delta_kg: f64 }
    PanelMove { panel: String, delta_kg: f64 }
    DutyRow { showing: String, subject: String, was_subject: Option<String>, was: Option<String>, was_asks: Option<String>, now: Option<String>, asks: String, because: Vec<Reason>, own: Vec<Reason>, panels: Vec<String> }
    Ended { showing: String, subject: String, was: String, now_subject: Option<String> }
    Step { showing: String, build: Option<String>, closes: Vec<String>, kind: String, specimens: u32, panels: u32, shares: Option<String>, lead_weeks: f64, layup_weeks: f64, conditioning_weeks: f64, conditioned_with: Option<String>, test_weeks: f64, start_week: f64, weeks: f64, power_one_sd: Option<f64>, cost: Option<f64>, prerequisite: bool }
    Limit { finish: String, attribute: String, unit: String, now: f64, largest: f64, restores: Vec<Restored>, leaves: usize }
    Restored { showing: String, subject: String }
    Equivalences { tests: u32, expected_chance_failures: f64, any_by_chance: f64 }
    Retest { specimens: u32, panels: u32, weeks: f64, cost: Option<f64>, missing: Vec<String>, critical_path: Vec<String>, steps: Vec<Step>, ways: Vec<String>, limits: Vec<Limit>, equivalences: Option<Equivalences>, assumptions: Vec<String> }
    CostMove { currency: String, was: f64, is: f64, delta: Option<f64>, was_labour_h: f64, is_labour_h: f64, delta_labour_h: Option<f64>, at_least: bool, missing: Vec<String> }
    Weakened { address: String, what: String, was: Option<String>, is: Option<String>, why: String, certain: bool }
    Impact { schema: String, base: String, head: String, verdict: String, changes: Vec<Change>, weakened: Vec<Weakened>, mass: MassMove, panels: Vec<PanelMove>, balance: Vec<BalanceMove>, over_budget: Vec<OverBudget>, cost: Option<CostMove>, margins: Vec<MarginMove>, duties: Vec<DutyRow>, ended: Vec<Ended>, retest: Retest, panel_verdicts: Vec<Value>, assumptions: Vec<String>, grounded: Vec<String>, caution: String, report: Report }
    Closes { kind: Option<String>, specimens: u32, panels: u32, weeks: f64, cost: Option<f64>, missing: Vec<String>, prerequisites: Vec<String>, ways: Vec<String> }
    Gap { showing: String, subject: String, verdict: String, asks: String, needed_by: Option<String>, panels: Vec<String>, because: Vec<Reason>, closes_with: Option<Closes> }
    Nearest { subject: String, asks: String, because: Vec<Reason> }
    Represents { stands: String, subjects: Vec<String>, nearest: Option<Nearest> }
    Projected { readings: usize, slope: f64, intercept: f64, at_months: Option<f64>, low_months: Option<f64>, high_months: Option<f64>, at_h: Option<f64>, low_h: Option<f64>, high_h: Option<f64> }
    ReadOnce { on: Option<String>, value: Value, line: usize, after_months: Option<f64>, after_h: Option<f64> }
    ReadPanel { panel: String, place: Option<String>, readings: Vec<ReadOnce>, projected: Option<Projected>, not_projected: Option<String> }
    ReadProperty { property: String, unit: String, limit: Option<String>, worst: Value, last_months: Option<f64>, last_h: Option<f64>, panels: Vec<ReadPanel> }
    ReadSite { site: String, kind: String, method: Option<String>, start: Option<String>, properties: Vec<ReadProperty> }
    DueProperty { property: String, panels: Vec<String> }
    DueReading { site: String, on: Option<String>, overdue: bool, readings: Vec<DueProperty>, after_months: Option<f64>, after_h: Option<f64> }
    Beyond { site: String, kind: String, panel: String, place: Option<String>, property: String, value: Value, limit: String, line: usize, after_months: Option<f64>, after_h: Option<f64> }
    Trial { evidence: String, showing: String, subject: String, state: String, beyond_limit: Vec<Beyond>, due: Vec<DueReading>, represents: Represents, sites: Vec<ReadSite>, rejected: Vec<String> }
    Gaps { schema: String, milestone: Option<String>, duties: Vec<Gap>, counts: BTreeMap<String, usize>, asked_of_nothing: Vec<String>, altered: BTreeMap<String, usize>, trials: Vec<Trial>, caution: String, report: Report }
    Finding { rule: String, level: String, file: String, line: Option<usize>, panel: Option<String>, message: String, help: Option<String> }
    HookRun { schema: String, blocked: bool, findings: Vec<Finding>, known: BTreeMap<String, usize> }
    StoreKept { what: String, count: u64, bytes: u64 }
    StoreDiffering { what: String, key: String }
    StoreVerified { same: u64, differing: Vec<StoreDiffering>, not_made_again: u64 }
    Store { schema: String, path: String, state: String, why: Option<String>, bytes: u64, limit_bytes: u64, kept: Vec<StoreKept>, cleared: Option<bool>, verified: Option<StoreVerified> }
    Hook { schema: String, path: String, done: String, chained: Option<String>, notes: Vec<String> }
    New { schema: String, ledger: String, ids: Option<usize>, settings: Option<bool> }
    Written { evidence: String, file: String, subject: String, assumptions: Vec<String>, sample: Option<Sample>, added: Option<Vec<String>> }
    Sample { specimens: usize, unit: String, rejected: Vec<Rejected>, normalised: Option<Normalised> }
    Rejected { line: usize, batch: String, panel: String, specimen: String, value: Option<f64>, unit: Option<String>, reason: String }
    Normalised { to: Option<String>, nominal: Option<String>, nominal_si: Option<f64>, nominal_from: Option<String>, nominal_as_made: bool, within_fraction: f64, as_measured: Option<Scatter>, normalised: Option<Scatter>, scatter_grows: bool, doubtful: Vec<Doubtful>, lacking: Vec<String> }
    Scatter { specimens: usize, mean: f64, cv_fraction: Option<f64> }
    Doubtful { evidence: String, line: usize, specimen: String, measured_si: f64, away_fraction: f64 }
    Conform { schema: String, written: Vec<Written>, unchanged: Vec<String>, dry_run: bool }
    Stands { showing: String, subject: String }
    Assumption { kind: String, address: Option<String>, what: String, mass_kg: f64, duties: Vec<Stands>, panels: Vec<String> }
    Assumptions { schema: String, assumptions: Vec<Assumption>, caution: String, report: Report }
    StudyVariation { name: String, options: usize }
    StudySpace { variations: Vec<StudyVariation>, candidates: u64, broken: u64, first_fault: Option<String>, looked_at: u64, judged: usize }
    StudyMargin { panel: String, case: String, mode: String, margin: f64 }
    StudyTouched { panel: String, released: bool, margin_computed: bool }
    StudyDuty { showing: String, subject: String, verdict: String, asks: String }
    StudyApart { specimens: u32, weeks: f64 }
    StudyChange { set: Option<String>, remove: Option<String>, was: Value, to: Option<Value> }
    StudyRow { row: usize, free: bool, among_best: bool, weakened: Vec<Weakened>, open: Value, unit_cost: Value, delta_kg: f64, saved_g: f64, kg: f64, weeks: f64, cost: Option<f64>, known_cost: f64, missing: Vec<String>, specimens: u32, panels: u32, saved_g_per_week: Option<f64>, apart: Option<StudyApart>, reaches_goal: bool, proven: bool, gap_kg: f64, least_margin: Option<StudyMargin>, duties: Vec<StudyDuty>, touched_panels: Vec<StudyTouched>, grounded: Vec<String>, words: Vec<String>, changes: Vec<StudyChange> }
    StudySingle { words: String, open: Value, weakened: Option<usize>, delta_kg: f64, weeks: Option<f64>, specimens: Option<u32>, thrown_out_by: Option<String>, because: Option<String> }
    StudyBundle { words: Vec<String>, delta_kg: f64, specimens: u32, specimens_apart: u32, weeks: f64, weeks_apart: f64, shared: Vec<String> }
    StudyThrown { criterion: String, count: u64, lighter_than_all_rows: u64, lightest_delta_kg: f64, because: String }
    StudyMiss { changes: Vec<String>, delta_kg: f64, criterion: String, because: String, shortfall: Option<f64> }
    Study { schema: String, study: String, title: Option<String>, answer: String, base_kg: f64, goal_kg: Option<f64>, cheapest_row: Option<usize>, fewest_changes_row: Option<usize>, fewest_changes_proven: Option<bool>, space: StudySpace, whole: bool, ended_by: String, bound_kg: Option<f64>, rows: Vec<StudyRow>, singles: Vec<StudySingle>, bundles: Vec<StudyBundle>, thrown_out: Vec<StudyThrown>, nearest_miss: Option<StudyMiss>, draft: Option<String>, caution: String, report: Report }
    Used { route: String, address: String }
    RecordDuty { showing: String, subject: String, verdict: String, asks: String, panels: Vec<String> }
    WhyRecord { schema: String, address: String, route: Option<String>, value: Option<String>, facet: Option<String>, file: Option<String>, line: Option<usize>, uses: Vec<Used>, used_by: Vec<Used>, standing: Vec<String>, duties: Vec<RecordDuty> }
    Reached { address: String, depth: usize, by: String }
    WhyUses { schema: String, address: String, uses: Vec<Reached> }
    SetAside { evidence: String, why: String }
    WhyUsedBy { schema: String, address: String, used_by: Vec<Reached> }
    Behind { evidence: String, asks: String, because: Vec<Reason> }
    PanelDuty { panel: Option<String>, verdict: String, asks: String, criterion: Option<String>, because: Vec<Reason>, nearest: Vec<Reason>, own: Vec<Reason>, allowed: Vec<Reason>, evidence: Vec<String>, carried_over: Vec<String>, under_way: Vec<String>, behind: Vec<Behind>, lacking_specimens: u32, lacks: Vec<String>, assumptions: Vec<String> }
    DutyEvidence { evidence: String, kind: String, state: String, recorded_for: Option<String>, carried_over: bool, made: Option<String>, baseline: Option<String>, altered: bool, report: Option<String>, file: Option<String>, data: Option<String>, digest: Option<String>, sample: Option<Sample> }
    Outlier { evidence: String, baseline: bool, line: Option<usize>, batch: String, panel: Option<String>, specimen: Option<String>, within: String, value: f64, unit: String, residual: f64, critical: f64, level: f64 }
    Link { role: String, name: String, file: Option<String> }
    Place { attribute: String, address: String, file: String, line: Option<usize> }
    WhyDuty { schema: String, showing: String, subject: String, verdict: String, asks: String, needed_by: Option<String>, criterion: Option<String>, method: Option<String>, because: Vec<Reason>, own: Vec<Reason>, panels: Vec<PanelDuty>, evidence: Vec<DutyEvidence>, normalised: Option<Normalised>, outliers: Vec<Outlier>, set_aside: Vec<SetAside>, chain: Vec<Link>, caution: String, written: Vec<Place>, trials: Option<Vec<Trial>>, report: Report }
}

#[track_caller]
fn read<T: DeserializeOwned>(bench: &Bench, line: &str, code: u8) -> T {
    read_of(bench, &line.split(' ').collect::<Vec<_>>(), code)
}

/// As [`read`], of arguments with blanks in them.
#[track_caller]
fn read_of<T: DeserializeOwned>(bench: &Bench, arguments: &[&str], code: u8) -> T {
    let answer = bench.run(&[arguments, &["--format", "json"]].concat());
    assert_eq!(answer.code, code, "{arguments:?}: {}{}", answer.out, answer.err);
    assert!(answer.err.is_empty(), "{arguments:?}: {}", answer.err);
    serde_json::from_value(answer.json()).unwrap_or_else(|error| panic!("{arguments:?}: {error}"))
}

/// Sums in another order than the program's may differ in the last digits.
const ROUNDING_KG: f64 = 1e-9;

#[track_caller]
fn near(one: f64, two: f64) {
    assert!((one - two).abs() < ROUNDING_KG, "{one} is not {two}");
}

#[track_caller]
fn sorted<K: Ord + std::fmt::Debug>(keys: impl Iterator<Item = K>) {
    let keys: Vec<K> = keys.collect();
    assert!(keys.windows(2).all(|pair| pair[0] <= pair[1]), "not sorted: {keys:?}");
}

fn known_verdict(word: &str) -> bool {
    ["met", "conceded", "short", "lapsed", "failed", "open"].contains(&word)
}

#[test]
fn mass_documents_add_up() {
    let bench = Bench::example();
    let lines = ["mass", "mass bow-hatch", "mass assembly/closures", "mass --spread monte-carlo --seed 3"];
    for line in
        lines.into_iter().chain(["mass --weighings --learned", "mass bow-hatch --weighings --learned"])
    {
        let mass: Mass = read(&bench, line, 0);
        let asked = line.contains("--weighings");
        assert_eq!((mass.weighings.is_some(), mass.learned.is_some()), (asked, asked), "{line}");
        if let Some(learned) = &mass.learned {
            near(learned.kg, mass.total.kg);
            near(learned.panels.iter().map(|panel| panel.change_kg).sum(), learned.change_kg);
            let by_share =
                learned.contributors.iter().map(|one| one.predicted_kg * one.estimate_percent / 100.0);
            near(by_share.sum(), learned.change_kg);
        }
        assert_eq!(mass.schema, "mass/1");
        near(mass.panels.iter().map(|panel| panel.kg).sum(), mass.total.kg);
        assert!(mass.total.low_kg < mass.total.kg && mass.total.kg < mass.total.high_kg, "{line}");
        for panel in &mass.panels {
            near(panel.contributions.iter().map(|one| one.kg).sum(), panel.each_kg);
            let counted: Vec<f64> =
                panel.residuals.iter().filter(|one| one.counts).map(|one| one.residual_kg).collect();
            // What counts is the mean of the residuals on top of what is predicted now.
            let mean = counted.iter().sum::<f64>() / counted.len().max(1) as f64;
            near(f64::from(panel.quantity) * (panel.each_kg + mean), panel.kg);
            for one in &panel.residuals {
                near(one.weighed_kg - one.predicted_kg, one.residual_kg);
            }
        }
        for group in &mass.groups {
            assert_eq!(group.margin_kg, group.budget_kg.map(|budget| budget - group.kg), "{line}");
        }
        sorted(mass.panels.iter().map(|panel| panel.panel.clone()));
        sorted(mass.groups.iter().map(|group| group.group.clone()));
    }
}

#[test]
fn impact_documents_agree_with_mass_and_gaps() {
    let bench = Bench::example();
    let mass: Mass = read(&bench, "mass", 0);
    for decision in ["dd-003", "dd-004"] {
        let impact: Impact = read(&bench, &format!("impact {decision}"), 0);
        assert_eq!(impact.schema, "impact/1");
        near(impact.mass.was_kg, mass.total.kg);
        near(impact.mass.is_kg - impact.mass.was_kg, impact.mass.delta_kg);
        near(impact.panels.iter().map(|panel| panel.delta_kg).sum(), impact.mass.delta_kg);
        for row in &impact.duties {
            assert!(!row.because.is_empty(), "{}: no reason", row.showing);
            assert!(row.was.iter().chain(&row.now).all(|word| known_verdict(word)));
            assert!(row.was != row.now || row.asks != "none", "{}: nothing differs", row.showing);
        }
        sorted(impact.duties.iter().map(|row| (row.showing.clone(), row.subject.clone())));
        let specimens: u32 = impact.retest.steps.iter().map(|step| step.specimens).sum();
        assert_eq!(impact.retest.specimens, specimens);
        let cost: f64 = impact.retest.steps.iter().filter_map(|step| step.cost).sum();
        near(impact.retest.cost.unwrap(), cost);
        let end = impact.retest.steps.iter().map(|step| step.start_week + step.weeks).fold(0.0, f64::max);
        near(impact.retest.weeks, end);
        assert!(!impact.retest.critical_path.is_empty());
        for step in
            impact.retest.steps.iter().filter(|step| step.shares.is_none() && step.conditioned_with.is_none())
        {
            near(step.weeks, step.lead_weeks + step.layup_weeks + step.conditioning_weeks + step.test_weeks);
        }
    }
}

#[test]
fn gaps_documents_count_all_duties() {
    let bench = Bench::example();
    let some: Gaps = read(&bench, "gaps", 0);
    let all: Gaps = read(&bench, "gaps --all", 0);
    assert_eq!((some.schema.as_str(), &some.counts), ("gaps/1", &all.counts));
    assert_eq!(all.duties.len(), all.counts.values().sum::<usize>());
    for (word, count) in &all.counts {
        assert!(known_verdict(word));
        assert_eq!(all.duties.iter().filter(|gap| gap.verdict == *word).count(), *count, "{word}");
    }
    assert!(some.duties.iter().all(|gap| gap.verdict != "met" && gap.closes_with.is_some()));
    let first: Gaps = read(&bench, "gaps --milestone first-flight --strict", 1);
    assert_eq!(first.milestone.as_deref(), Some("first-flight"));
    let early = ["first-article", "first-flight"];
    assert!(first.duties.iter().all(|gap| gap.needed_by.as_deref().is_none_or(|by| early.contains(&by))));
}

#[test]
fn duties_of_the_example_open() {
    let bench = Bench::example();
    let all: Gaps = read(&bench, "gaps --all", 0);
    // Hours and months never stand in one reading.
    let exposed = |months: Option<f64>, hours: Option<f64>| months.is_some() != hours.is_some();
    assert!(all.trials.len() > 2);
    for trial in &all.trials {
        assert!(trial.due.iter().all(|due| exposed(due.after_months, due.after_h)), "{trial:?}");
        assert!(trial.due.iter().all(|due| due.on.is_some() == due.after_months.is_some()), "{trial:?}");
        for property in trial.sites.iter().flat_map(|site| &site.properties) {
            assert!(exposed(property.last_months, property.last_h), "{property:?}");
            let readings = property.panels.iter().flat_map(|panel| &panel.readings);
            assert!(readings.into_iter().all(|one| exposed(one.after_months, one.after_h)), "{property:?}");
        }
    }
    // One in three, of every kind of verdict: each takes a whole evaluation.
    for gap in all.duties.iter().step_by(3) {
        let arguments = ["why", &gap.showing, &gap.subject, "--format", "json"];
        let answer = bench.run(&arguments);
        let why: WhyDuty =
            serde_json::from_value(answer.json()).unwrap_or_else(|error| panic!("{arguments:?}: {error}"));
        assert_eq!((&why.verdict, &why.asks), (&gap.verdict, &gap.asks), "{arguments:?}");
        assert!(why.panels.iter().all(|panel| known_verdict(&panel.verdict)));
        assert!(why.chain.iter().any(|link| link.role == "showing"));
        for place in &why.written {
            let text = bench.read(&place.file);
            let line = place.line.unwrap_or_else(|| panic!("{}: {place:?}", gap.showing));
            assert!((1..=text.lines().count()).contains(&line), "{place:?}");
        }
    }
}

#[test]
fn other_documents_have_their_keys() {
    let bench = Bench::example();
    // The last readings of the example are taken in November.
    let check: Check = read(&bench, "check --today 2026-12-01", 0);
    assert_eq!((check.schema.as_str(), check.faults.len()), ("check/1", 0));
    let assumptions: Assumptions = read(&bench, "assumptions", 0);
    assert_eq!(assumptions.schema, "assumptions/1");
    // Each report's head names the number that `assumptions` lists.
    assert_eq!(assumptions.report.assumptions, assumptions.assumptions.len());
    let why: WhyRecord = read(&bench, "why panel/bow-hatch", 0);
    assert!(!why.uses.is_empty() && !why.used_by.is_empty() && !why.duties.is_empty());
    let why: WhyRecord = read(&bench, "why recipe/hatch-outer#layers.3", 0);
    assert!(why.value.is_some() && why.line.is_some());
    let uses: WhyUses = read(&bench, "why panel/bow-hatch --uses", 0);
    assert!(uses.uses.iter().any(|one| one.address == "material/cw-200-e1"));
    let used: WhyUsedBy = read(&bench, "why material/cw-200-e1 --used-by", 0);
    assert!(used.used_by.iter().any(|one| one.address == "panel/bow-hatch"));
    let failed: Failed = read(&bench, "mass nothing", 2);
    assert_eq!(failed.schema, "error/1");
    let refused: Failed = read(&bench, "conform e-001", 2);
    assert!(refused.error.message.contains("conformed already"));
    let new: New = read(&bench, "new there", 0);
    assert_eq!(new.schema, "new/1");
}

#[test]
fn documents_about_a_repository_have_their_keys() {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "all");
    let clean: HookRun = read(&bench, "hook run", 0);
    assert!(!clean.blocked && clean.findings.is_empty());
    let hook: Hook = read(&bench, "hook install", 0);
    assert_eq!(hook.schema, "hook/1");
    let store: Store = read(&bench, "store verify", 0);
    assert_eq!((store.schema.as_str(), store.limit_bytes), ("store/1", 256 << 20));
    assert!(store.verified.is_some_and(|verified| verified.differing.is_empty()));
    let panel = bench.read("panels/bow-hatch.yaml");
    bench.write("panels/bow-hatch.yaml", &panel.replace("finish: white", "finish: night-blue"));
    layout::stage(&bench.ledger());
    let blocked: HookRun = read(&bench, "hook run", 1);
    assert!(blocked.blocked && blocked.schema == "hook-run/1");
    for finding in &blocked.findings {
        let text = bench.read(&finding.file);
        assert!(text.lines().nth(finding.line.unwrap() - 1).is_some(), "{finding:?}");
        assert_eq!(finding.panel.as_deref(), Some("bow-hatch"));
    }
    let impact: Impact = read(&bench, "impact --staged", 0);
    assert_eq!(impact.grounded, ["bow-hatch"]);
    let at: Impact = read(&bench, "impact HEAD HEAD", 0);
    assert!(at.changes.is_empty() && at.report.commit.is_some());
}

#[test]
fn documents_of_laminates_and_margins_have_their_keys() {
    let bench = Bench::new();
    layout::lay_base("carried", &bench.ledger());
    let laminate: Laminate = read(&bench, "laminate hatch-outer", 0);
    assert_eq!((laminate.schema.as_str(), laminate.layers.len()), ("laminate/1", 5));
    // One row a criterion; the stack is its layers' sum; A is symmetric.
    let sum: f64 = laminate.layers.iter().filter_map(|layer| layer.thickness_mm).sum();
    assert!((laminate.thickness_mm - sum).abs() < 1e-9);
    let a = laminate.A_N_mm.unwrap();
    assert!((a[0][1] - a[1][0]).abs() < 1e-6 && a[0][0] > a[0][1]);
    assert!(laminate.loads.iter().all(|row| row.panel == "bow-hatch" && row.name == row.case));
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "all");
    let recipe = bench.read("recipes/hatch-outer.yaml");
    bench.write("recipes/hatch-outer.yaml", &recipe.replace("thickness: 8 mm", "thickness: 7 mm"));
    let impact: Impact = read(&bench, "impact", 0);
    let [row] = impact.margins.as_slice() else { panic!("{:?}", impact.margins) };
    assert_eq!(row.was, row.was_margin.as_ref().map(|own| own.margin));
    assert_eq!(row.is, row.is_margin.as_ref().map(|own| own.margin));
    assert!(row.is < row.was && row.lacking.is_none());
}

#[test]
fn a_conformed_record_is_read_back_unchanged() {
    let bench = Bench::new();
    layout::lay_base("small", &bench.ledger());
    let before = bench.read("evidence/e-002.yaml");
    let conform: Conform = read(&bench, "conform e-002", 0);
    assert_eq!((conform.written.len(), conform.dry_run), (1, false));
    let after = bench.read("evidence/e-002.yaml");
    assert!(after.starts_with(&before) && after.len() > before.len(), "{after}");
    let check: Check = read(&bench, "check", 0);
    assert!(check.faults.is_empty(), "{check:?}");
    let again: Failed = read(&bench, "conform e-002", 2);
    assert!(again.error.message.contains("conformed already"));
    assert_eq!(bench.read("evidence/e-002.yaml"), after);
    // Without a repository no commit was written, so there is nothing to complete from.
    let none: Failed = read(&bench, "conform e-002 --complete", 2);
    assert!(none.error.message.contains("names no commit"), "{none:?}");
    layout::init(&bench.ledger());
    bench.write("evidence/e-002.yaml", &before);
    layout::commit(&bench.ledger(), "all");
    let _: Conform = read(&bench, "conform e-002", 0);
    let whole = bench.read("evidence/e-002.yaml");
    bench.write("evidence/e-002.yaml", &whole.replace("    resin.name.a: ep-1\n", ""));
    let completed: Conform = read(&bench, "conform e-002 --complete", 0);
    assert_eq!(completed.written[0].added.as_deref(), Some(&["resin.name.a".to_string()][..]));
    assert_eq!(bench.read("evidence/e-002.yaml"), whole);
}

#[test]
fn the_calculator_keeps_its_keys() {
    let bench = Bench::new();
    let all: CalcTopics = read(&bench, "calc", 0);
    assert_eq!(all.schema, "calc-topics/1");
    assert_eq!(all.topics.len(), bondline::calc::TOPICS.len());
    for topic in bondline::calc::TOPICS {
        bench.write("one.yaml", topic.sample);
        let answer: Calc = read(&bench, &format!("calc {} one.yaml", topic.name), 0);
        assert_eq!((answer.schema.as_str(), answer.topic.as_str()), ("calc/1", topic.name));
        assert!(!answer.steps.is_empty() && !answer.results.is_empty());
    }
    bench.write("one.yaml", "nothing: here\n");
    let failed: Failed = read(&bench, "calc ply one.yaml", 2);
    assert!(failed.error.faults.len() >= 4);
}

/// The example's study, and what its rows say against what `mass` and `impact` say.
#[test]
fn the_study_of_the_example_agrees_with_mass_and_impact() {
    let bench = Bench::example();
    let study: Study = read(&bench, "study half-a-kilo --draft 1", 0);
    let mass: Mass = read(&bench, "mass", 0);
    assert_eq!(study.schema, "study/1");
    near(study.base_kg, mass.total.kg);
    assert!(study.whole && study.bound_kg.is_none());
    assert!(study.rows.iter().all(|row| row.proven == row.among_best && row.delta_kg < 0.0));
    // The smallest set that does it stands beside the best: two changes, where the best make four.
    let fewest = &study.rows[study.fewest_changes_row.unwrap() - 1];
    assert!(fewest.reaches_goal && study.fewest_changes_proven == Some(true));
    assert_eq!((fewest.changes.len(), fewest.among_best), (2, false));
    assert!(study.rows.iter().filter(|row| row.reaches_goal).all(|row| row.words.len() >= 2));
    assert!(study.rows.iter().any(|row| row.reaches_goal) && study.cheapest_row.is_some());
    let options: u64 = study.space.variations.iter().map(|one| one.options as u64).product();
    assert_eq!(options, study.space.candidates + study.space.broken);
    // What was written as a decision does what the row says.
    let file = study.draft.unwrap();
    let id = file.trim_start_matches("decisions/").trim_end_matches(".yaml");
    let impact: Impact = read(&bench, &format!("impact {id}"), 0);
    let row = &study.rows[0];
    near(impact.mass.delta_kg, row.delta_kg);
    assert_eq!((impact.retest.weeks, impact.retest.specimens), (row.weeks, row.specimens));
    assert_eq!(impact.grounded, row.grounded);
}
