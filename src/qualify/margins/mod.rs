//! Margins of panels: what each load case leaves and by which mode, with the design values in force.
//!
//! The engineering is [`crate::laminate`]'s; here records become its plain values. A margin is the reserve
//! factor less one. What can't be computed is said with what is missing, never left out.
//!
//! An engineering aid, not approved data.

mod bonds;
mod build;
mod core;
mod frame;
mod heat;
mod inputs;
mod laid;
mod plies;
mod recipe;
mod tested;
mod values;
mod zones;

pub use bonds::MismatchState;
pub use build::{Moisture, ToolCheck, moisture, tool_checks};
pub use frame::{FrameState, WallReport};
pub(crate) use heat::heat_limits;
pub use heat::{Heat, HeatReport, heat_of};
pub(super) use inputs::MARGINS;
pub(crate) use inputs::Side;
pub(crate) use laid::laid_up;
pub use laid::{CarryingLayer, CoreLayer, LaidUp};
pub use recipe::{LaminateReport, Mechanics, UsedMargin, code, laminate_report};
pub(crate) use recipe::{code_of, laminate_report_with};
pub(super) use tested::{AsTested, mode_as_tested};
pub(crate) use values::Values;
pub use values::{DesignValue, Lacking, Origin, Statistic, Support};
pub use zones::Memo;
pub(crate) use zones::{environments, plate_zone};

use super::duty::{Duty, DutyKey, Verdict};
use super::earlier::{Word, word};
use crate::article::{ArticleError, Subject};
use crate::ledger::{Entry, Ledger};
use crate::record::{ComputedCheck, Panel};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A layer that a margin is critical in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CriticalLayer {
    /// Place among all layers as they lie, from 1 at the tool face.
    pub number: usize,
    /// Its name within the recipe.
    pub name: Option<String>,
    /// Its material.
    pub material: String,
    /// Its angle in degrees, where it is a ply.
    pub angle_deg: Option<f64>,
    /// `bottom` (towards the tool), `middle` or `top`.
    #[serde(with = "word")]
    pub face: Word,
}

/// Evidence that a margin rests on.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Rest {
    /// The showing.
    pub showing: String,
    /// What it was judged on.
    pub subject: Subject,
    /// The verdict there.
    pub verdict: Verdict,
}

/// One margin.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Margin {
    /// What it is a margin of.
    pub check: ComputedCheck,
    /// The load case.
    pub case: String,
    /// The zone, wall or joint.
    pub place: String,
    /// The criterion, such as `tsai-wu`.
    #[serde(with = "word")]
    pub criterion: Word,
    /// How it fails, such as `matrix tension` or `wrinkling`.
    pub mode: String,
    /// The layer that is critical, where it is one.
    pub layer: Option<CriticalLayer>,
    /// Reserve factor on the factored load less one.
    pub margin: f64,
    /// What is applied and what is allowed, in words with units; empty where the criterion has no such pair.
    pub words: String,
    /// The environment whose values it stands on, where there are several.
    pub environment: Option<String>,
    /// Evidence that it rests on.
    pub rests: Vec<Rest>,
    /// What has to be known of it, such as `undamaged, unnotched`.
    pub notes: Vec<String>,
}

impl Margin {
    /// Returns the evidence that it rests on and that is not in force.
    pub fn unmet(&self) -> impl Iterator<Item = &Rest> {
        self.rests.iter().filter(|rest| !rest.verdict.is_closed())
    }
}

/// A margin that can't be computed.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Uncomputed {
    /// What it would be a margin of.
    pub check: ComputedCheck,
    /// The load case; empty where it is none's.
    pub case: String,
    /// The zone, wall or joint.
    pub place: String,
    /// What is missing.
    pub why: String,
}

/// A plate under one load case.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PlateState {
    /// The load case.
    pub case: String,
    /// The zone whose laminate it is made of.
    pub zone: String,
    /// The environment whose values it stands on, where there are several.
    pub environment: Option<String>,
    /// Deflection in the middle under the limit pressure, core shear included, m.
    pub deflection_m: Option<f64>,
    /// The same over the thickness.
    pub over_thickness: Option<f64>,
    /// Whether linear theory holds.
    pub is_linear: bool,
    /// Factor on the factored load at which it buckles.
    pub buckling_factor: Option<f64>,
}

/// Everything that is computed of a panel.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PanelMargins {
    /// Plates under load, in the order of cases.
    pub plates: Vec<PlateState>,
    /// The frame section.
    pub section: Option<FrameState>,
    /// Why there is no section with the values of some environment.
    pub no_section: Vec<String>,
    /// Bonds of sheet under mismatch.
    pub mismatch: Vec<MismatchState>,
    /// All margins, in the order of load cases.
    pub margins: Vec<Margin>,
    /// What could not be computed.
    pub uncomputed: Vec<Uncomputed>,
    /// Values that were used, each once.
    pub used: Vec<DesignValue>,
    /// Figures that had to be assumed.
    pub assumptions: Vec<String>,
}

impl PanelMargins {
    /// Returns the margins that a check counts.
    pub fn of(&self, check: ComputedCheck) -> impl Iterator<Item = &Margin> {
        self.margins.iter().filter(move |margin| counts(check, margin.check))
    }

    /// Returns the least margin that a check counts.
    pub fn governing(&self, check: ComputedCheck) -> Option<&Margin> {
        self.of(check).min_by(|one, two| one.margin.total_cmp(&two.margin))
    }

    /// Returns the least margin of some kinds of check.
    pub fn governing_of(&self, checks: &[ComputedCheck]) -> Option<&Margin> {
        let own = self.margins.iter().filter(|margin| checks.contains(&margin.check));
        own.min_by(|one, two| one.margin.total_cmp(&two.margin))
    }

    /// Returns what a check could not compute.
    pub fn lacking(&self, check: ComputedCheck) -> impl Iterator<Item = &Uncomputed> {
        self.uncomputed.iter().filter(move |one| counts(check, one.check))
    }

    /// Keeps a value once.
    fn note(&mut self, values: &[DesignValue]) {
        for value in values {
            if !self.used.contains(value) {
                self.used.push(value.clone());
            }
        }
    }
}

/// Writes a margin as stress engineers do: with its sign, two decimals; never a nought that is below nothing.
pub fn signed(margin: f64) -> String {
    let text = format!("{margin:+.2}");
    if text == "-0.00" && margin < 0.0 { format!("{margin:+.4}") } else { text }
}

/// Whether a check that a showing asks for counts a margin of `own`.
pub(crate) fn counts(asked: ComputedCheck, own: ComputedCheck) -> bool {
    let no_margin =
        [ComputedCheck::TemperatureMargin, ComputedCheck::Mass, ComputedCheck::SectionTorsion].contains(&own);
    asked == own || asked == ComputedCheck::Margins && !no_margin
}

/// Returns the evidence behind some values, each once.
fn rests_of(values: &[DesignValue]) -> Vec<Rest> {
    let mut all: Vec<Rest> = values
        .iter()
        .filter_map(|value| match &value.from {
            Origin::Evidence(own) => Some(Rest {
                showing: own.showing.clone(),
                subject: own.subject.clone(),
                verdict: own.verdict,
            }),
            Origin::Typed => None,
        })
        .collect();
    all.sort();
    all.dedup();
    all
}

/// Computes everything of a panel with the design values in force; `duties` are what gives them.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which a stack cannot be laid up.
pub fn margins_of(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &str,
) -> Result<PanelMargins, ArticleError> {
    margins_with(ledger, duties, panel, &Memo::default())
}

/// As [`margins_of`], with plates that further panels share, and taken over where they were computed from the very
/// same before.
///
/// # Errors
/// As [`margins_of`].
pub fn margins_with(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &str,
    memo: &Memo,
) -> Result<PanelMargins, ArticleError> {
    margins_shared(ledger, duties, panel, memo, false).map(Arc::unwrap_or_clone)
}

/// As [`margins_with`], for whoever only looks at them; they are kept for later runs where the state is no trial
/// (`keeps`).
///
/// # Errors
/// As [`margins_of`].
pub(super) fn margins_shared(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &str,
    memo: &Memo,
    keeps: bool,
) -> Result<Arc<PanelMargins>, ArticleError> {
    let Some(entry) = ledger.panels.get(panel) else { return Ok(Arc::default()) };
    let compute = || {
        let load_path = entry.value.load_path;
        let values = Values { ledger, duties, panel: Some(panel), load_path, environment: None };
        let mut found = PanelMargins::default();
        margins_by(ledger, entry, &values, memo, &mut found)?;
        Ok(found)
    };
    memo.known.margins(&Side::new(ledger, duties), panel, &memo.recalled, keeps, compute)
}

/// Computes everything of a panel with what `values` finds, which may look in another ledger.
fn margins_by(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    values: &Values<'_>,
    memo: &Memo,
    found: &mut PanelMargins,
) -> Result<(), ArticleError> {
    zones::zones(ledger, panel, values, memo, found)?;
    frame::frame(ledger, panel, values, found)?;
    bonds::mismatch(ledger, panel, values, found)?;
    if panel.value.load_path.is_none() && !found.used.is_empty() {
        found.assumptions.push(format!("panel/{} names no load_path: B-basis values are taken", panel.id));
    }
    let doubt = |value: &DesignValue| match &value.from {
        Origin::Evidence(own) => own.doubt.clone(),
        Origin::Typed => None,
    };
    found.assumptions.extend(found.used.iter().filter_map(doubt));
    found.assumptions.sort();
    found.assumptions.dedup();
    let mut seen = BTreeSet::new();
    found.uncomputed.retain(|one| seen.insert(one.clone()));
    Ok(())
}
