//! Pools of specimens: is the sample complete, does the criterion hold?

use super::estimate::basis_of;
use super::normalised::Normalised;
use crate::ledger::{Entry, Ledger, Nominal};
use crate::record::{Accept, BasisWord, Evidence, Figure, LoadPath, Showing, Statistics};
use crate::statistics::{Levels, Procedure, StatisticsError, mean, procedure};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;
use thin_vec::ThinVec;

/// Level of the equivalence tests; MIL-HDBK-17-1F custom, from memory.
pub const EQUIVALENCE_ALPHA: f64 = 0.05;
/// Share of rejected specimens above which a sample is short; the project's own rule.
pub(super) const REJECTED_SHARE: f64 = 0.20;
/// Specimens of an equivalence where the plan names none; see [`equivalence_plan`].
const EQUIVALENCE_SPECIMENS: u32 = 8;
/// The same for moduli.
const MODULUS_SPECIMENS: u32 = 4;
/// Panels of an equivalence.
const EQUIVALENCE_PANELS: u32 = 2;

/// All values of some evidence records, in one unit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Pool {
    /// Values that count; normalised where the showing asks for that.
    pub values: Vec<f64>,
    /// Their unit; empty where they have none.
    pub unit: String,
    /// The same by batch, in the order of their labels.
    pub by_batch: BTreeMap<String, Vec<f64>>,
    /// Where each value by batch was written.
    pub origins: BTreeMap<String, Vec<Written>>,
    /// Levels of the tests behind a design value.
    pub levels: Levels,
    /// Level of the tests of equivalence.
    pub alpha: f64,
    /// Panels by batch.
    pub batches: BTreeMap<String, BTreeSet<String>>,
    /// Rejected specimens.
    pub rejected: usize,
    /// Statements.
    pub statements: Vec<bool>,
    /// Specimens in all, statements included.
    pub specimens: usize,
    /// Records whose values could not be brought to one unit.
    pub foreign: Vec<String>,
    /// What was measured and what it was brought to, where the showing asks for normalised values.
    pub normalised: Option<Normalised>,
    /// What the procedure found, once somebody asked.
    pub(super) found: OnceLock<Result<Procedure, StatisticsError>>,
}

/// Where a value was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Written {
    /// The record: its place among those that were pooled.
    pub record: usize,
    /// The row of its data; `None` for the value of the record itself.
    pub row: Option<usize>,
}

impl Pool {
    /// Returns every step from the values to their design values.
    ///
    /// # Errors
    /// As [`procedure`].
    pub fn procedure(&self) -> Result<&Procedure, StatisticsError> {
        let found = self.found.get_or_init(|| {
            let groups: Vec<&[f64]> = self.by_batch.values().map(Vec::as_slice).collect();
            procedure(&groups, &self.levels)
        });
        found.as_ref().map_err(Clone::clone)
    }
}

/// The statistics that a showing names, above those of the ledger.
fn named<T>(ledger: &Ledger, showing: &Showing, get: impl Fn(&Statistics) -> Option<T>) -> Option<T> {
    let head = || ledger.head.as_ref()?.statistics.as_ref();
    showing.statistics.as_ref().and_then(&get).or_else(|| head().and_then(&get))
}

/// Returns the levels of the tests behind a showing's design values.
pub fn levels(ledger: &Ledger, showing: &Showing) -> Levels {
    let usual = Levels::default();
    let of =
        |get: &dyn Fn(&Statistics) -> Option<f64>, usual: f64| named(ledger, showing, get).unwrap_or(usual);
    Levels {
        outliers: of(&|own| own.outliers.as_ref().map(|level| level.si()), usual.outliers),
        batches: of(&|own| own.batches.as_ref().map(|level| level.si()), usual.batches),
        variances: of(&|own| own.variances.as_ref().map(|level| level.si()), usual.variances),
        fit: of(&|own| own.fit.as_ref().map(|level| level.si()), usual.fit),
        modified_cv: named(ledger, showing, |own| own.modified_cv).unwrap_or(usual.modified_cv),
    }
}

/// Returns the level of a showing's tests of equivalence.
pub fn alpha(ledger: &Ledger, showing: &Showing) -> f64 {
    named(ledger, showing, |own| own.equivalence.as_ref().map(|level| level.si()))
        .unwrap_or(EQUIVALENCE_ALPHA)
}

/// Returns whether the ledger sets a level of the tests of equivalence.
pub fn is_alpha_of_ledger(ledger: &Ledger) -> bool {
    let of = |statistics: &Statistics| statistics.equivalence.is_some();
    ledger.head.as_ref().and_then(|head| head.statistics.as_ref()).is_some_and(of)
}

/// Returns the figure that fixes the unit of a criterion.
fn criterion_figure(accept: &Accept) -> Option<&Figure> {
    accept.limits().next().or(accept.rating_at_least.as_ref()).or(accept.margin_at_least.as_ref())
}

/// Pools the specimens of some records of one showing.
pub fn pool(ledger: &Ledger, showing: &Showing, records: &[&Entry<Evidence>]) -> Pool {
    let mut all = Pool {
        levels: levels(ledger, showing),
        alpha: alpha(ledger, showing),
        normalised: Normalised::of(showing),
        ..Pool::default()
    };
    let mut unit = criterion_figure(&showing.accept).map(|figure| figure.unit().to_string());
    if showing.accept.above_skin_by.is_some() {
        unit = Some("degC".to_string());
    }
    for (place, record) in records.iter().enumerate() {
        if let Some(data) = ledger.data.get(&record.id) {
            let own = data.unit.clone();
            let nominal = Nominal::of(ledger, showing, &record.value).and_then(Result::ok);
            let wanted = unit.get_or_insert_with(|| own.clone().unwrap_or_default()).clone();
            for (at, row) in data.rows.iter().enumerate() {
                if row.rejected.is_some() {
                    all.rejected += 1;
                    continue;
                }
                let value = match &own {
                    Some(own) if *own != wanted => Figure::of(row.value, own).number_in(&wanted),
                    _ => Some(row.value),
                };
                let Some(value) = value else {
                    if all.foreign.last() != Some(&record.id) {
                        all.foreign.push(record.id.clone());
                    }
                    continue;
                };
                let value = match &mut all.normalised {
                    Some(normalised) => normalised.bring(&record.id, nominal.as_ref(), row, value),
                    None => Some(value),
                };
                let Some(value) = value else { continue };
                all.values.push(value);
                all.by_batch.entry(row.batch.to_string()).or_default().push(value);
                let written = Written { record: place, row: Some(at) };
                all.origins.entry(row.batch.to_string()).or_default().push(written);
                all.specimens += 1;
                all.batches.entry(row.batch.to_string()).or_default().insert(row.panel.to_string());
            }
            continue;
        }
        let Some(result) = &record.value.result else { continue };
        // A record without specimen values is one specimen of one batch and panel.
        all.specimens += 1;
        all.batches.entry(format!("record {}", record.id)).or_default().insert("1".to_string());
        if let Some(statement) = result.statement {
            all.statements.push(statement);
        }
        if let Some(figure) =
            [&result.value, &result.rating, &result.margin].into_iter().find_map(|f| f.as_ref())
        {
            let wanted = unit.get_or_insert_with(|| figure.unit().to_string()).clone();
            match figure.number_in(&wanted) {
                Some(value) => {
                    all.values.push(value);
                    let batch = format!("record {}", record.id);
                    let written = Written { record: place, row: None };
                    all.origins.entry(batch.clone()).or_default().push(written);
                    all.by_batch.entry(batch).or_default().push(value);
                    // An argument states what holds for the nominal ply (see `ledger::normalise`).
                    all.normalised.iter_mut().for_each(|own| own.measured.push(value));
                }
                None => all.foreign.push(record.id.clone()),
            }
        }
    }
    all.unit = unit.unwrap_or_default();
    all
}

/// Whether a sample is large enough, and what it lacks.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Completeness {
    /// Specimens that are missing.
    pub specimens: u32,
    /// Panels that are missing in the batches that come nearest.
    pub panels: u32,
    /// What is missing in words; empty where nothing is.
    pub lacks: ThinVec<String>,
}

impl Completeness {
    /// Returns whether nothing is missing.
    pub fn is_complete(&self) -> bool {
        self.lacks.is_empty()
    }
}

fn lacking(pool: &Pool, specimens: u32, batches: u32, panels: u32) -> Completeness {
    let have = u32::try_from(pool.specimens).unwrap_or(u32::MAX);
    // The fullest batches are filled up first.
    let mut own: Vec<u32> =
        pool.batches.values().map(|own| u32::try_from(own.len()).unwrap_or(u32::MAX)).collect();
    own.sort_unstable_by(|one, two| two.cmp(one));
    own.truncate(batches as usize);
    let begun = u32::try_from(own.len()).unwrap_or(u32::MAX);
    let unbegun = batches.saturating_sub(begun).saturating_mul(panels);
    let missing = own.iter().map(|own| panels.saturating_sub(*own)).fold(unbegun, u32::saturating_add);
    let mut found =
        Completeness { specimens: specimens.saturating_sub(have), panels: missing, lacks: ThinVec::new() };
    if have < specimens {
        found.lacks.push(format!("{have} of {specimens} specimens"));
    }
    let whole = pool.batches.values().filter(|own| own.len() >= panels as usize).count();
    if whole < batches as usize {
        found.lacks.push(format!("{whole} of {batches} batches with {panels} panels"));
    }
    let counted = pool.specimens + pool.rejected;
    #[allow(clippy::cast_precision_loss)]
    if pool.rejected as f64 > REJECTED_SHARE * counted as f64 {
        found.lacks.push(format!("{} of {counted} specimens rejected", pool.rejected));
    }
    if !pool.foreign.is_empty() {
        found.lacks.push(format!("values in a foreign unit in {}", pool.foreign.join(", ")));
    }
    if let Some(own) = pool.normalised.as_ref().filter(|own| !own.lacking.is_empty()) {
        found.lacks.push(format!("values not normalised to {} in {}", own.words(), own.lacking.join(", ")));
    }
    found
}

/// Compares a sample with the showing's plan; without a plan one specimen is enough.
pub fn completeness(pool: &Pool, showing: &Showing) -> Completeness {
    let plan = showing.plan.as_ref();
    let specimens = plan.and_then(|plan| plan.specimens).unwrap_or(1);
    let batches = plan.and_then(|plan| plan.batches).unwrap_or(1);
    let panels = plan.and_then(|plan| plan.panels_per_batch).unwrap_or(1);
    lacking(pool, specimens, batches, panels)
}

/// Returns specimens and panels of an equivalence.
pub fn equivalence_plan(showing: &Showing) -> (u32, u32) {
    let plan = showing.plan.as_ref().and_then(|plan| plan.equivalence.as_ref());
    let (mut usual, mut panels) = (EQUIVALENCE_SPECIMENS, EQUIVALENCE_PANELS);
    if showing.kind.as_str() == "lamina-modulus" {
        usual = MODULUS_SPECIMENS;
    }
    if super::trial::is_asked(showing) {
        // Read is the panel itself, and the equivalence asks no more of them than the trial.
        usual = usual.min(super::trial::panels(showing));
        panels = panels.min(usual);
    }
    (
        plan.and_then(|plan| plan.specimens).unwrap_or(usual),
        plan.and_then(|plan| plan.panels).unwrap_or(panels),
    )
}

/// Compares the sample of an equivalence with its plan; panels count over all batches.
pub fn equivalence_completeness(pool: &Pool, showing: &Showing) -> Completeness {
    let (specimens, panels) = equivalence_plan(showing);
    let mut found = lacking(pool, specimens, 1, 1);
    let have: usize = pool.batches.values().map(BTreeSet::len).sum();
    if have < panels as usize {
        found.lacks.push(format!("{have} of {panels} panels"));
    }
    found
}

/// What came of a criterion.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// It holds; the figures in words.
    Holds(String),
    /// It does not.
    Fails(String),
    /// The sample is too small to say.
    Unknown(String),
}

/// Returns the basis that a panel's load path raises the criterion to.
pub fn required_basis(accept: &Accept, load_path: Option<LoadPath>) -> Option<BasisWord> {
    let own = accept.basis?;
    Some(match (own, load_path) {
        (_, Some(LoadPath::Single)) | (BasisWord::A, _) => BasisWord::A,
        (BasisWord::B, _) => BasisWord::B,
    })
}

/// Judges the criterion on a pool.
///
/// `complete`: a basis of a sample that is not complete is not judged. `ramp`: hottest skin on the
/// ramp in K, for `above_skin_by`.
pub fn judge(
    pool: &Pool,
    accept: &Accept,
    load_path: Option<LoadPath>,
    complete: bool,
    ramp: Option<f64>,
) -> Outcome {
    let mut holds = Vec::new();
    let mut unknown = Vec::new();
    let unit = &pool.unit;
    let shown = |value: f64| format!("{} {unit}", digits(value)).trim().to_string();
    let least = pool.values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = pool.values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let average = mean(&pool.values).ok();
    let mut check =
        |name: &str, value: Option<f64>, limit: Option<&Figure>, at_least: bool| -> Option<Outcome> {
            let limit = limit?;
            let Some(bound) = limit.number_in(unit) else {
                unknown.push(format!("{name}: `{}` is in another unit than the values", limit.text()));
                return None;
            };
            let Some(value) = value.filter(|value| value.is_finite()) else {
                unknown.push(format!("{name}: no values"));
                return None;
            };
            let words = format!("{name} {} against {}", shown(value), limit.text());
            // Figures are read from decimal text; a billionth absorbs the conversion of units.
            let slack = bound.abs() * 1e-9;
            if (at_least && value >= bound - slack) || (!at_least && value <= bound + slack) {
                holds.push(words);
                None
            } else {
                Some(Outcome::Fails(words))
            }
        };
    let any = !pool.values.is_empty();
    let (least, most) = (any.then_some(least), any.then_some(most));
    let (mut failed, mut no_basis) = (None, None);
    for (name, value, limit, at_least) in [
        ("mean", average, accept.mean_at_least.as_ref(), true),
        ("mean", average, accept.mean_at_most.as_ref(), false),
        ("least", least, accept.all_at_least.as_ref(), true),
        ("greatest", most, accept.all_at_most.as_ref(), false),
        ("worst rating", least, accept.rating_at_least.as_ref(), true),
        ("worst margin", least, accept.margin_at_least.as_ref(), true),
    ] {
        failed = failed.or(check(name, value, limit, at_least));
    }
    match required_basis(accept, load_path) {
        None => {
            failed = failed.or(check("least", least, accept.at_least.as_ref(), true));
            failed = failed.or(check("greatest", most, accept.at_most.as_ref(), false));
        }
        Some(word) if accept.at_least.is_some() => {
            let basis = basis_of(word);
            if complete {
                match pool.procedure().and_then(|found| Ok((found.value(basis).clone()?.value, found))) {
                    Ok((value, found)) => {
                        let lacks = found.lacks(basis);
                        let estimate = if lacks.is_empty() {
                            String::new()
                        } else {
                            format!(", an estimate by {}", lacks.join(", "))
                        };
                        let method = found.method.name();
                        let out = pool.out_words("").map_or_else(String::new, |out| format!(", {out}"));
                        let name = format!("{word}-basis of {} ({method}{estimate}{out})", pool.values.len());
                        failed = failed.or(check(&name, Some(value), accept.at_least.as_ref(), true));
                    }
                    Err(problem) => no_basis = Some(format!("no {word}-basis: {problem}")),
                }
            } else {
                // The basis lies below the mean, so a mean below the criterion settles it already.
                failed = failed.or(check("mean", average, accept.at_least.as_ref(), true));
                unknown.push(format!("{word}-basis waits for the whole sample"));
            }
        }
        Some(_) => {}
    }
    unknown.extend(no_basis);
    if let Some(margin) = &accept.above_skin_by {
        match (ramp, least) {
            (Some(ramp), Some(tg)) => {
                let distance = tg + 273.15 - ramp;
                let words = format!(
                    "least Tg {} is {distance:.1} K above the ramp skin of {:.1} degC, asked {}",
                    shown(tg),
                    ramp - 273.15,
                    margin.text()
                );
                if distance >= margin.si() - 1e-9 {
                    holds.push(words);
                } else {
                    failed = failed.or(Some(Outcome::Fails(words)));
                }
            }
            (None, Some(_)) => holds.push("no skin temperature is asked".to_string()),
            (_, None) => unknown.push("no values".to_string()),
        }
    }
    if accept.statement == Some(true) {
        if pool.statements.iter().any(|statement| !statement) {
            failed =
                failed.or(Some(Outcome::Fails("a pooled record states that it was not shown".to_string())));
        } else if pool.statements.is_empty() {
            unknown.push("no statement".to_string());
        } else {
            holds.push("stated".to_string());
        }
    } else if pool.statements.contains(&false) {
        failed = failed.or(Some(Outcome::Fails("the record states that it was not shown".to_string())));
    }
    match failed {
        Some(outcome) => outcome,
        None if !unknown.is_empty() => Outcome::Unknown(unknown.join("; ")),
        None if holds.is_empty() => Outcome::Unknown("no criterion could be judged".to_string()),
        None => Outcome::Holds(holds.join("; ")),
    }
}

/// Writes five significant digits.
pub fn digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    #[allow(clippy::cast_possible_truncation)]
    let place = value.abs().log10().floor() as i32;
    let after = usize::try_from((4 - place).clamp(0, 12)).unwrap_or(0);
    let text = format!("{value:.after$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text }
}

#[cfg(test)]
mod tests {
    use super::super::verdict::{Duty, Evaluation, Verdict, evaluate, evaluate_beside};
    use crate::article::fixture::ledger as read;
    use crate::ledger::{Ledger, Specimen, TestData};
    use crate::record::{Day, LedgerHead};

    const TEXT: &str = "
ledger: {format: 1, programme: Test (invented)}
materials:
  thin: {kind: prepreg, fibre: {name: f, type: carbon, density: 1780 kg/m3, areal: 200 g/m2}, resin: {name: r, density: 1250 kg/m3, content: 38 %}, cured_thickness: 0.2 mm}
processes: {oven: {method: oven}}
recipes:
  skin: {process: oven, layers: [{material: thin, angle: 0}]}
panels:
  hatch: {class: structural, zones: [{name: skin, area: 1 m2, recipe: skin}]}
showings:
  pull: {kind: lamina-strength-fibre, accept: {basis: B, at_least: 560 MPa}, plan: {specimens: 6}}
evidence:
  e-1: {showing: pull, subject: {lamina: [thin, oven]}, kind: test, state: done}
";

    fn ledger() -> Ledger {
        let mut ledger = read(TEXT);
        let values = [590.0, 600.0, 605.0, 596.0, 609.0, 601.0];
        let rows = values.iter().enumerate().map(|(at, value)| Specimen {
            batch: "b".into(),
            panel: "p".into(),
            specimen: format!("s{at}").into(),
            value: *value,
            line: at + 2,
            ..Specimen::default()
        });
        let data = TestData { unit: Some("MPa".to_string()), rows: rows.collect(), ..TestData::default() };
        ledger.data.insert("e-1".to_string(), data);
        super::super::tests::conform_all(&mut ledger);
        ledger
    }

    #[test]
    fn levels_that_the_ledger_sets_are_judged_anew_beside_another_state() {
        let today = Day::parse("2026-06-01").unwrap();
        let before = ledger();
        let old = evaluate(&before, today).unwrap();
        let mut after = before.clone();
        let head = read(&TEXT.replace("(invented)}", "(invented), statistics: {modified_cv: true}}")).head;
        assert!(head.as_ref().is_some_and(|head: &LedgerHead| head.statistics.is_some()));
        after.head = head;
        let beside = evaluate_beside(&after, today, &old).unwrap();
        let alone = evaluate(&after, today).unwrap();
        assert_eq!(beside.duties, alone.duties);
        let verdict = |of: &Evaluation| of.duties.values().map(Duty::verdict).collect::<Vec<_>>();
        assert_eq!((verdict(&old), verdict(&alone)), (vec![Verdict::Met], vec![Verdict::Failed]));
    }
}
