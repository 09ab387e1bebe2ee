//! One figure moved, everything judged again: what lapses, which margin, budget or balance goes.

use super::knob::Knob;
use super::once::Once;
use crate::article::weigh::{Balanced, Scope, programme_mass, statement};
use crate::article::{ArticleError, Subject};
use crate::change::balance::balances;
use crate::change::diff::Edits;
use crate::change::impact::{moved_by, worse};
use crate::graph::Uses;
use crate::ledger::{Ledger, MemoryRecall};
use crate::qualify::lapses::{Lapse, lapses};
use crate::qualify::verdict::{DutyKey, Evaluation, Verdict, evaluate_few, evaluate_until_lost};
use crate::record::sensitivity::Asks;
use crate::record::{Address, ComputedCheck, Day, RecordKind};
use crate::source::Snapshot;
use std::collections::{BTreeMap, BTreeSet};

/// A margin that falls below nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Negative {
    /// The panel.
    pub panel: String,
    /// The load case.
    pub case: String,
    /// How it fails.
    pub mode: String,
    /// As it is now.
    pub was: f64,
    /// As it would be.
    pub margin: f64,
}

/// A duty that was not closed and comes to ask more: a test under way that no longer counts, or a harder way to prove
/// it again.
#[derive(Debug, Clone, PartialEq)]
pub struct More {
    /// The showing.
    pub showing: String,
    /// The subject as it is called then.
    pub subject: Subject,
    /// The verdict before; `None` where nothing of the kind was asked.
    pub was: Option<Verdict>,
    /// What it asked before.
    pub was_asks: Option<Asks>,
    /// The verdict then.
    pub now: Verdict,
    /// What it asks then.
    pub asks: Asks,
    /// The panels that it is gravest on.
    pub panels: Vec<String>,
}

/// What a trial brings with it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// Duties that lapse, by showing and subject.
    pub lapses: Vec<Lapse>,
    /// Duties that come to ask more beside those, by showing and subject.
    pub more: Vec<More>,
    /// All duties that have to be proved again for it: the very ones that the impact of the same edit plans for.
    pub again: Vec<DutyKey>,
    /// Margins that fall below nothing.
    pub margins: Vec<Negative>,
    /// Groups and assemblies that pass their budget.
    pub budgets: Vec<String>,
    /// Movable panels that go out of balance.
    pub balance: Vec<String>,
    /// Mass of the programme, in kg.
    pub kg: f64,
}

impl Found {
    /// Returns whether nothing that held is lost, and no duty asks more.
    pub fn is_clear(&self) -> bool {
        self.lapses.is_empty()
            && self.again.is_empty()
            && self.margins.is_empty()
            && self.budgets.is_empty()
            && self.balance.is_empty()
    }
}

/// The state that figures are moved in.
pub struct Bench<'a> {
    pub(super) ledger: &'a Ledger,
    pub(super) snapshot: &'a Snapshot,
    pub(super) evaluation: &'a Evaluation,
    pub(super) today: Day,
    pub(super) uses: Uses,
    pub(super) kg: f64,
    recall: MemoryRecall,
    /// The files as they stand, read once for all trials.
    once: Once<'a>,
    /// The least margin of each load case, by panel.
    margins: BTreeMap<String, Cases>,
    balance: BTreeMap<String, Balanced>,
    /// What each group and assembly may still gain, in kg.
    room: BTreeMap<String, f64>,
}

/// A trial with its whole state.
pub(super) struct Trial {
    pub(super) ledger: Ledger,
    pub(super) evaluation: Evaluation,
    pub(super) found: Found,
}

impl<'a> Bench<'a> {
    /// Gets ready for trials.
    ///
    /// # Errors
    /// [`ArticleError`] names a record or figure without which there is no answer.
    pub fn new(
        ledger: &'a Ledger,
        snapshot: &'a Snapshot,
        evaluation: &'a Evaluation,
        today: Day,
    ) -> Result<Self, ArticleError> {
        let mut bench = Self {
            ledger,
            snapshot,
            evaluation,
            today,
            uses: Uses::of(ledger),
            kg: programme_mass(ledger)?,
            recall: MemoryRecall::new(),
            once: Once::new(snapshot),
            margins: BTreeMap::new(),
            balance: balances(ledger)?,
            room: room(ledger)?,
        };
        let panels: BTreeSet<String> = ledger.panels.keys().cloned().collect();
        bench.margins = least_margins(ledger, evaluation, &panels)?;
        Ok(bench)
    }

    /// Returns the panels that rest on a record; on a panel, itself.
    pub fn touched(&self, address: &Address) -> BTreeSet<String> {
        let above = self.uses.reached_from(address).into_iter().map(|one| one.address);
        std::iter::once(address.clone())
            .chain(above)
            .filter(|one| one.kind() == RecordKind::Panel)
            .map(|one| one.id().to_string())
            .collect()
    }

    /// Returns whether the ledger takes another text at a place: it reads, and no error is new.
    pub(super) fn takes(&self, knob: &Knob, to: &str) -> bool {
        let Some(snapshot) = knob.overlaid(self.snapshot, to) else { return false };
        let ledger = Ledger::load(&self.once.under(&snapshot, knob.file()), &self.recall);
        !ledger.broken.contains(&knob.address) && ledger.new_errors(self.ledger).is_empty()
    }

    /// Judges the ledger with another text at a place; `None` where the record does not take it or it can't be
    /// judged.
    pub(super) fn trial(&self, knob: &Knob, panels: &BTreeSet<String>, to: &str) -> Option<Trial> {
        let ledger = knob.turned(self.ledger, to)?;
        let evaluation = evaluate_few(&ledger, self.today, self.evaluation, panels).ok()?;
        let found = self.found(&ledger, &evaluation, panels, true).ok()?;
        Some(Trial { ledger, evaluation, found })
    }

    /// Returns the mass in kg where all that held still holds, `None` in its place where something is lost; `None`
    /// as [`Bench::trial`]. What is lost beside the first is not looked for.
    pub(super) fn is_clear(&self, knob: &Knob, panels: &BTreeSet<String>, to: &str) -> Option<Option<f64>> {
        let ledger = knob.turned(self.ledger, to)?;
        let judged = evaluate_until_lost(&ledger, self.today, self.evaluation, panels).ok()?;
        let Some(evaluation) = judged else { return Some(None) };
        let found = self.found(&ledger, &evaluation, panels, false).ok()?;
        Some(found.is_clear().then_some(found.kg))
    }

    fn found(
        &self,
        ledger: &Ledger,
        evaluation: &Evaluation,
        panels: &BTreeSet<String>,
        whole: bool,
    ) -> Result<Found, ArticleError> {
        let kg = programme_mass(ledger)?;
        let mut found = Found { lapses: lapses(self.evaluation, evaluation), kg, ..Found::default() };
        // A figure moved renames nothing.
        let moved = moved_by((self.ledger, self.evaluation), (ledger, evaluation), Edits::default())?;
        found.again = worse(&moved.duties, &moved.panel_rows);
        found.again.sort();
        found.again.dedup();
        let lapsed = |showing: &String, subject: &Subject| {
            found.lapses.iter().any(|own| own.showing == *showing && own.subject == *subject)
        };
        let more =
            moved.duties.into_iter().filter(|row| row.is_worse() && !lapsed(&row.showing, &row.subject));
        found.more = more
            .map(|row| More {
                showing: row.showing,
                subject: row.subject,
                was: row.was,
                was_asks: row.was_asks,
                now: row.now,
                asks: row.asks,
                panels: row.panels,
            })
            .collect();
        if !whole && !found.is_clear() {
            return Ok(found);
        }
        let now = least_margins(ledger, evaluation, panels)?;
        for (panel, cases) in &now {
            let before = self.margins.get(panel);
            for (case, (margin, mode)) in cases {
                let was = before.and_then(|before| before.get(case)).map(|(was, _)| *was);
                if let Some(was) = was.filter(|was| *was >= 0.0 && *margin < 0.0) {
                    let (panel, case, mode) = (panel.clone(), case.clone(), mode.clone());
                    found.margins.push(Negative { panel, case, mode, was, margin: *margin });
                }
            }
        }
        // What a group gains is no more than what the whole gains where nothing else gets lighter.
        if self.room.values().any(|room| *room >= 0.0 && kg - self.kg > *room) {
            let now = room(ledger)?;
            let passed = self
                .room
                .iter()
                .filter(|(name, room)| **room >= 0.0 && now.get(*name).is_some_and(|room| *room < 0.0));
            found.budgets = passed.map(|(name, _)| name.clone()).collect();
        }
        if panels.iter().any(|panel| self.balance.contains_key(panel)) {
            let now = balances(ledger)?;
            let lost = now.iter().filter(|(panel, one)| {
                one.is_over() && self.balance.get(*panel).is_some_and(|was| !was.is_over())
            });
            found.balance = lost.map(|(panel, _)| panel.clone()).collect();
        }
        Ok(found)
    }
}

/// Load cases, each with its least margin and how that fails.
type Cases = BTreeMap<String, (f64, String)>;

/// The least margin of each load case of some panels, with how it fails.
fn least_margins(
    ledger: &Ledger,
    evaluation: &Evaluation,
    panels: &BTreeSet<String>,
) -> Result<BTreeMap<String, Cases>, ArticleError> {
    let mut all = BTreeMap::new();
    for id in panels {
        let Some(panel) = ledger.panels.get(id) else { continue };
        if panel.value.loads.is_empty() && panel.value.section.is_none() && panel.value.joints.is_empty() {
            continue;
        }
        let found = evaluation.margins(ledger, id)?;
        let mut cases = Cases::new();
        for margin in found.of(ComputedCheck::Margins) {
            let own =
                cases.entry(margin.case.clone()).or_insert_with(|| (margin.margin, margin.mode.clone()));
            if margin.margin < own.0 {
                *own = (margin.margin, margin.mode.clone());
            }
        }
        all.insert(id.clone(), cases);
    }
    Ok(all)
}

/// What each group and each assembly with a budget may still gain, nominal, in kg.
fn room(ledger: &Ledger) -> Result<BTreeMap<String, f64>, ArticleError> {
    let whole = statement(ledger, Scope::Programme)?;
    Ok(whole.budgeted().into_iter().map(|(of, kg, budget)| (of.to_string(), budget - kg)).collect())
}
