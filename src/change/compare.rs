//! Several changes side by side from one base, and what they do together.

pub use super::budget::OverBudget;
use super::budget::over;
use super::footprint::Conflict;
use super::impact::{DutyRow, Impact, PanelRow, impact_of};
use super::joint::{Joint, joint};
use super::margins::MarginMove;
use crate::article::weigh::{MassStatement, Scope, statement};
use crate::article::{ArticleError, Subject};
use crate::ledger::Ledger;
use crate::mass::{CauseTotals, spread};
use crate::qualify::verdict::{Evaluation, Verdict};
use crate::record::sensitivity::Asks;
use std::collections::{BTreeMap, BTreeSet};

/// How far the programme's mass moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassDelta {
    /// Nominal difference in kg.
    pub kg: f64,
    /// Its low limit at two sigma: what the two states have in common cancels out.
    pub low_kg: f64,
    /// Its high limit at two sigma.
    pub high_kg: f64,
    /// Difference with growth.
    pub with_growth_kg: f64,
}

/// One change of those that are compared.
#[derive(Debug, Clone)]
pub struct Column {
    /// What it is called.
    pub name: String,
    /// Everything that it does.
    pub impact: Impact,
    /// How far the mass moves.
    pub mass: MassDelta,
    /// How far the centre of gravity moves, m; `None` where either state has none.
    pub cg_shift: Option<[f64; 3]>,
    /// Groups over budget.
    pub over: Vec<OverBudget>,
}

impl Column {
    /// Returns the least margin of those that the change moves, with its case.
    pub fn least_margin(&self) -> Option<&MarginMove> {
        let of = |row: &MarginMove| row.now.as_ref().map(|margin| margin.margin);
        let rows = self.impact.margins.iter().filter(|row| row.now.is_some());
        rows.min_by(|one, two| of(one).unwrap_or(f64::INFINITY).total_cmp(&of(two).unwrap_or(f64::INFINITY)))
    }

    /// Returns the margins that are worse than before: fallen, or no longer to be had.
    pub fn worse_margins(&self) -> Vec<&MarginMove> {
        let fallen = |row: &&MarginMove| match (&row.was, &row.now) {
            (Some(was), Some(now)) => row.lost || now.margin < was.margin,
            (was, _) => row.lost || was.is_some() && row.lacking.is_some(),
        };
        self.impact.margins.iter().filter(fallen).collect()
    }

    /// Counts the duties that got worse: by their verdict now and what they ask.
    pub fn worse(&self) -> BTreeMap<(Verdict, Asks), usize> {
        let mut counts = BTreeMap::new();
        for row in self.impact.duties.iter().filter(|row| row.is_worse()) {
            *counts.entry((row.now, row.asks)).or_default() += 1;
        }
        counts
    }

    /// Counts the single panels that lose a verdict while their duty as a whole stays.
    pub fn worse_panels(&self) -> usize {
        let worse = |row: &&PanelRow| !row.now.is_closed() && row.was.is_none_or(Verdict::is_closed);
        self.impact.panel_rows.iter().filter(worse).count()
    }

    /// Counts the duties that are met again.
    pub fn restored(&self) -> usize {
        self.impact.duties.iter().filter(|row| row.is_restored()).count()
    }

    /// Counts the duties that end; those that another subject takes over in the same place not among them.
    pub fn ended(&self) -> usize {
        self.impact.ended.len().saturating_sub(self.impact.renewed.len())
    }

    fn worse_slots(&self) -> BTreeSet<(String, Subject)> {
        let worse = self.impact.duties.iter().filter(|row| row.is_worse());
        worse.map(|row| (row.showing.clone(), row.subject.clone())).collect()
    }
}

/// One state to be compared: its name, its ledger, what was judged of it.
pub type State<'a> = (&'a str, &'a Ledger, &'a Evaluation);

/// The state that others are compared with, weighed once.
pub struct Base<'a> {
    label: &'a str,
    ledger: &'a Ledger,
    evaluation: &'a Evaluation,
    mass: Option<MassStatement>,
}

impl<'a> Base<'a> {
    /// Returns the base.
    ///
    /// # Errors
    /// [`ArticleError`] names a record or figure without which it can't be weighed.
    pub fn of((label, ledger, evaluation): State<'a>) -> Result<Self, ArticleError> {
        Ok(Self { label, ledger, evaluation, mass: weighed(ledger)? })
    }

    /// Returns what a state does against the base.
    ///
    /// # Errors
    /// [`ArticleError`] names a record or figure without which there is no answer.
    pub fn column(&self, (name, ledger, evaluation): State<'_>) -> Result<Column, ArticleError> {
        let impact = impact_of((self.ledger, self.label), self.evaluation, (ledger, name), evaluation)?;
        let now = weighed(ledger)?;
        let mass = mass_delta(self.mass.as_ref(), now.as_ref());
        let cg = |own: Option<&MassStatement>| own.and_then(|own| own.cg_m);
        let cg_shift = match (cg(self.mass.as_ref()), cg(now.as_ref())) {
            (Some([x, y, z]), Some([a, b, c])) => Some([a - x, b - y, c - z]),
            _ => None,
        };
        let over = over(self.mass.as_ref(), now.as_ref());
        Ok(Column { name: name.to_string(), impact, mass, cg_shift, over })
    }
}

/// The programme's statement; `None` where nothing weighs anything.
fn weighed(ledger: &Ledger) -> Result<Option<MassStatement>, ArticleError> {
    if ledger.panels.is_empty() && ledger.assemblies.is_empty() {
        return Ok(None);
    }
    statement(ledger, Scope::Programme).map(Some)
}

/// The difference of two totals: a cause that both have is moved in both at once, so that what they share
/// cancels out.
fn mass_delta(was: Option<&MassStatement>, is: Option<&MassStatement>) -> MassDelta {
    let total =
        |own: Option<&MassStatement>| own.map_or((0.0, 0.0), |own| (own.total.kg, own.total.with_growth_kg));
    let ((was_kg, was_growth), (is_kg, is_growth)) = (total(was), total(is));
    let kg = is_kg - was_kg;
    let mut causes: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for (own, sign) in [(was, -1.0), (is, 1.0)] {
        for cause in own.iter().flat_map(|own| &own.causes) {
            let sum = causes.entry(&cause.cause).or_default();
            sum.0 += sign * cause.at_low_kg;
            sum.1 += sign * cause.at_high_kg;
        }
    }
    let totals: Vec<CauseTotals> =
        causes.values().map(|(low, high)| CauseTotals { at_low: kg + low, at_high: kg + high }).collect();
    // Limits that the arithmetic can't take are no finite numbers: then no limit is known.
    let (low_kg, high_kg) = spread(kg, &totals).map_or((f64::NAN, f64::NAN), |own| (own.low, own.high));
    MassDelta { kg, low_kg, high_kg, with_growth_kg: is_growth - was_growth }
}

/// What several changes cost to prove: their sum, or what is saved of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Work {
    /// Specimens.
    pub specimens: i64,
    /// Test panels.
    pub panels: i64,
    /// Weeks, one plan after the other.
    pub weeks: f64,
    /// Cost; `None` where any is not known.
    pub cost: Option<f64>,
}

/// What some of the changes do together.
#[derive(Debug, Clone)]
pub struct Together {
    /// Which of the columns, by place.
    pub of: Vec<usize>,
    /// The whole.
    pub column: Column,
    /// What is otherwise than under each alone.
    pub joint: Joint,
    /// Duties that at least two of them un-prove alone: retests that are shared.
    pub shared: Vec<(String, Subject)>,
    /// Proving each alone, one after the other.
    pub sum: Work,
    /// Nominal masses moved alone, added, kg.
    pub sum_kg: f64,
    /// Unit costs moved alone, added; `None` where one prices nothing.
    pub sum_unit_cost: Option<f64>,
}

impl Together {
    /// Returns what proving them together saves against one after the other.
    pub fn saved(&self) -> Work {
        let whole = work(&self.column.impact);
        Work {
            specimens: self.sum.specimens - whole.specimens,
            panels: self.sum.panels - whole.panels,
            weeks: self.sum.weeks - whole.weeks,
            cost: self.sum.cost.zip(whole.cost).map(|(sum, whole)| sum - whole),
        }
    }

    /// Returns whether together they are just their sum.
    pub fn is_plain(&self) -> bool {
        let saved = self.saved();
        self.joint.is_plain()
            && self.shared.is_empty()
            && (self.column.mass.kg - self.sum_kg).abs() < 5e-7
            && saved.specimens == 0
            && saved.panels == 0
    }
}

/// What proving an impact's duties again takes.
pub fn work(impact: &Impact) -> Work {
    let plan = &impact.retest;
    let cost = if plan.steps.is_empty() { Some(0.0) } else { plan.cost };
    Work { specimens: plan.specimens.into(), panels: plan.panels.into(), weeks: plan.weeks, cost }
}

/// Compares some of the columns with their whole.
pub fn together(columns: &[Column], of: &[usize], whole: Column) -> Together {
    let parts: Vec<&Column> = of.iter().filter_map(|at| columns.get(*at)).collect();
    let impacts: Vec<&Impact> = parts.iter().map(|part| &part.impact).collect();
    let mut sum = Work { specimens: 0, panels: 0, weeks: 0.0, cost: Some(0.0) };
    for one in impacts.iter().map(|impact| work(impact)) {
        sum.specimens += one.specimens;
        sum.panels += one.panels;
        sum.weeks += one.weeks;
        sum.cost = sum.cost.zip(one.cost).map(|(sum, own)| sum + own);
    }
    let mut seen: BTreeMap<(String, Subject), usize> = BTreeMap::new();
    for slot in parts.iter().flat_map(|part| part.worse_slots()) {
        *seen.entry(slot).or_default() += 1;
    }
    let shared = seen.into_iter().filter(|(_, n)| *n > 1).map(|(slot, _)| slot).collect();
    let sum_kg = parts.iter().map(|part| part.mass.kg).sum();
    let sum_unit_cost =
        impacts.iter().map(|own| own.cost.as_ref().and_then(super::cost::CostMove::delta)).sum();
    let joint = joint(&impacts, &whole.impact);
    Together { of: of.to_vec(), joint, column: whole, shared, sum, sum_kg, sum_unit_cost }
}

/// Places that two changes leave at different values, told from their edits against one base.
pub fn edit_conflicts(one: &Impact, other: &Impact) -> Vec<Conflict> {
    let mine: BTreeMap<&str, &Option<String>> =
        one.changes.iter().map(|change| (change.address.as_str(), &change.is)).collect();
    let mut all = Vec::new();
    for change in &other.changes {
        if let Some(is) = mine.get(change.address.as_str()).filter(|is| **is != &change.is) {
            let (one, other) = ((*is).clone(), change.is.clone());
            all.push(Conflict { address: change.address.clone(), one, other });
        }
    }
    all.sort();
    all
}

/// Which of so many columns are taken together: every pair where there are at most four, else all of them.
pub fn gatherings(columns: usize) -> Vec<Vec<usize>> {
    match columns {
        0 | 1 => Vec::new(),
        2..=4 => (0..columns).flat_map(|one| (one + 1..columns).map(move |two| vec![one, two])).collect(),
        _ => vec![(0..columns).collect()],
    }
}

/// Returns the duties of a column that got worse, sorted.
pub fn worse_rows(column: &Column) -> Vec<&DutyRow> {
    let mut rows: Vec<&DutyRow> = column.impact.duties.iter().filter(|row| row.is_worse()).collect();
    rows.sort_by(|one, two| (&one.showing, &one.subject).cmp(&(&two.showing, &two.subject)));
    rows
}
