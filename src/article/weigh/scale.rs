//! What the scale says, and how a weighed panel is brought up to what the ledger says now.
//!
//! Tolerances go on acting on a weighed panel: the weighings fix where the next one is expected, not how far
//! it may stray from the others.

use super::figures::Residual;
use super::pieces::{Pass, Piece, Sort, Weigher};
use crate::article::ArticleError;
use crate::ledger::weighed::{Limits, standing};
use crate::ledger::{Entry, Ledger};
use crate::quantity::{Fraction, Mass};
use crate::record::{Condition, Growth, Maturity, Panel, RecordKind, Text, Weighing};
use std::collections::{BTreeMap, BTreeSet};

/// Weighings below this number are provisional (`design.md`: "fewer than three are provisional").
const ENOUGH_WEIGHINGS: usize = 3;

/// One panel weighed: all figures for one piece, in kg.
pub(super) struct Weighed<'a> {
    pub(super) pieces: Vec<Piece<'a>>,
    /// As predicted.
    pub(super) predicted: f64,
    /// From the scale where it is weighed, else as predicted.
    pub(super) kg: f64,
    /// Allowance for growth.
    pub(super) growth: f64,
    /// How many weighings it rests on.
    pub(super) weighings: usize,
    /// It claims to be weighed but rests on too few weighings.
    pub(super) provisional: bool,
}

/// Growth allowances as shares; none where the ledger gives none.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Allowances {
    estimated: f64,
    calculated: f64,
    weighed: f64,
    paint: Option<f64>,
    paste: Option<f64>,
}

impl Allowances {
    pub(super) fn of(ledger: &Ledger) -> Self {
        let Some(growth) = ledger.head.as_ref().and_then(|head| head.growth.as_ref()) else {
            return Self::default();
        };
        let Growth { estimated, calculated, weighed, paint, paste } = growth;
        let share = |figure: &Option<Fraction>| figure.as_ref().map(|share| share.si());
        Self {
            estimated: share(estimated).unwrap_or(0.0),
            calculated: share(calculated).unwrap_or(0.0),
            weighed: share(weighed).unwrap_or(0.0),
            paint: share(paint),
            paste: share(paste),
        }
    }

    fn by_maturity(&self, maturity: Maturity) -> f64 {
        match maturity {
            Maturity::Estimated => self.estimated,
            Maturity::Calculated => self.calculated,
            Maturity::Weighed => self.weighed,
        }
    }

    fn of_piece(&self, sort: Sort, maturity: Maturity) -> f64 {
        let own = match sort {
            sort if sort.is_paint() => self.paint,
            Sort::Paste => self.paste,
            _ => None,
        };
        own.unwrap_or_else(|| self.by_maturity(maturity))
    }
}

/// Returns whether a panel had such a piece on when it was weighed in that condition.
pub(super) fn on_the_scale(sort: Sort, condition: Condition) -> bool {
    match condition {
        Condition::Painted => true,
        Condition::Primed => sort != Sort::TopCoat,
        Condition::Bare => !sort.is_paint(),
        Condition::Trimmed => !sort.is_paint() && sort != Sort::Fitting,
    }
}

impl<'a> Weigher<'a> {
    /// Weighs one panel in one pass.
    pub(super) fn weigh(
        &self,
        panel: &'a Entry<Panel>,
        pass: &Pass<'a, '_>,
    ) -> Result<Weighed<'a>, ArticleError> {
        let pieces = self.pieces(panel, pass)?;
        let predicted: f64 = pieces.iter().map(|piece| piece.kg).sum();
        let maturity = panel.value.maturity.unwrap_or(Maturity::Estimated);
        let allowances = Allowances::of(self.ledger);
        let weighings = match maturity {
            Maturity::Weighed => self.last_weighings(&panel.id),
            Maturity::Estimated | Maturity::Calculated => &[],
        };
        let provisional = maturity == Maturity::Weighed && weighings.len() < ENOUGH_WEIGHINGS;
        if weighings.is_empty() {
            let growth =
                pieces.iter().map(|piece| piece.kg * allowances.of_piece(piece.sort, maturity)).sum();
            return Ok(Weighed { pieces, predicted, kg: predicted, growth, weighings: 0, provisional });
        }
        // Nothing is known to have changed since a weighing that keeps no prediction of its own: it is taken
        // to have been what the ledger says now, at nominal, however the causes are moved.
        let nominal =
            match pass.sight.is_moved() && weighings.iter().any(|weighing| as_built(weighing).is_none()) {
                true => Some(self.pieces(panel, &Pass::nominal(self))?),
                false => None,
            };
        let was = nominal.as_deref().unwrap_or(&pieces);
        let n = weighings.len() as f64;
        let kg = weighings.iter().map(|weighing| brought_up(weighing, was, predicted, pass)).sum::<f64>() / n;
        // What was not on the scale is still predicted, and keeps the allowance of its sort.
        let mut unweighed = 0.0;
        let mut growth = 0.0;
        for piece in &pieces {
            let off =
                weighings.iter().filter(|weighing| !on_the_scale(piece.sort, condition(weighing))).count();
            let kg = piece.kg * off as f64 / n;
            unweighed += kg;
            growth += kg * allowances.of_piece(piece.sort, maturity);
        }
        growth += (kg - unweighed) * allowances.by_maturity(Maturity::Weighed);
        Ok(Weighed { pieces, predicted, kg, growth, weighings: weighings.len(), provisional })
    }
}

/// What tells the pieces of a panel apart: their serials. Two weighings without one may be of two pieces.
pub(super) fn piece_key<'k>(serial: Option<&'k str>, weighing: &'k str) -> (bool, &'k str) {
    serial.map_or((true, weighing), |serial| (false, serial))
}

/// The last weighing of each piece, by what was on it and then by its day; they stay in their order.
pub(super) fn last_of_each<'a>(all: &[&'a Entry<Weighing>]) -> Vec<&'a Entry<Weighing>> {
    let key = |own: &'a Entry<Weighing>| piece_key(own.value.serial.as_ref().map(Text::as_str), &own.id);
    let stage = |own: &'a Entry<Weighing>| (condition(own), own.value.on, own.id.as_str());
    let mut last: BTreeMap<_, &'a Entry<Weighing>> = BTreeMap::new();
    for weighing in all.iter().copied() {
        let known = last.entry(key(weighing)).or_insert(weighing);
        if stage(known) < stage(weighing) {
            *known = weighing;
        }
    }
    all.iter().copied().filter(|own| last.get(&key(own)).is_some_and(|last| last.id == own.id)).collect()
}

impl Weigher<'_> {
    /// Returns every weighing of a panel against what was predicted of it; `pieces` are those of now.
    pub(super) fn residuals(&self, panel: &str, pieces: &[Piece<'_>]) -> Vec<Residual> {
        let last: BTreeSet<&str> =
            self.last_weighings(panel).iter().map(|weighing| weighing.id.as_str()).collect();
        let one = |weighing: &&Entry<Weighing>| {
            let value = &weighing.value;
            let built = as_built(weighing).map(|mass| mass.si());
            let limits = Limits::of(self.ledger, condition(weighing));
            Residual {
                weighing: weighing.id.clone(),
                is_last: last.contains(weighing.id.as_str()),
                serial: value.serial.as_ref().map(ToString::to_string),
                on: value.on,
                condition: condition(weighing),
                weighed_kg: value.mass.si(),
                predicted_kg: built.unwrap_or_else(|| of_condition(pieces, condition(weighing))),
                as_built: built.is_some(),
                limits,
                standing: standing(value, limits),
                explained: value.explained.clone(),
                disposition: value.disposition.clone(),
            }
        };
        self.weighings_of(panel).iter().map(one).collect()
    }
}

fn of_condition(pieces: &[Piece<'_>], condition: Condition) -> f64 {
    pieces.iter().filter(|piece| on_the_scale(piece.sort, condition)).map(|piece| piece.kg).sum()
}

pub(super) fn condition(weighing: &Entry<Weighing>) -> Condition {
    crate::ledger::weighed::stage(&weighing.value)
}

fn as_built(weighing: &Entry<Weighing>) -> Option<&Mass> {
    weighing.value.as_built.as_ref().and_then(|built| built.predicted.as_ref())
}

/// The weighed mass, plus what the prediction of the weighed condition has changed by since it was built,
/// plus the predicted mass of what was not on the scale. The last two begin with the same prediction of the
/// weighed condition, so the sum is the mass less the prediction as built, plus the whole prediction now.
fn brought_up(weighing: &Entry<Weighing>, was: &[Piece<'_>], now: f64, pass: &Pass<'_, '_>) -> f64 {
    let read = |figure: &Mass, route: &str| {
        pass.sight.read(figure, RecordKind::Weighing, &weighing.id, || route.to_string())
    };
    let built = match as_built(weighing) {
        Some(built) => read(built, "as_built.predicted"),
        None => of_condition(was, condition(weighing)),
    };
    read(&weighing.value.mass, "mass") - built + now
}
