//! Pieces from stage to stage: what primer and paint really weighed.

use super::figures::{PanelMass, Residual};
use crate::ledger::weighed::Standing;
use crate::record::Condition;
use std::collections::BTreeMap;

/// What was added between two stages of one piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Added {
    /// The stage before.
    pub since: Condition,
    /// The later reading less the earlier, in kg.
    pub weighed_kg: f64,
    /// The same of the predictions, in kg.
    pub predicted_kg: f64,
    /// Whether both predictions are those kept from when it was built.
    pub as_built: bool,
}

impl Added {
    /// Returns what was weighed less what was predicted, in kg.
    pub fn kg(&self) -> f64 {
        self.weighed_kg - self.predicted_kg
    }

    /// Returns it in per cent of the predicted increment; `None` where nothing was to be added.
    pub fn percent(&self) -> Option<f64> {
        (self.predicted_kg > 0.0).then(|| 100.0 * self.kg() / self.predicted_kg)
    }
}

/// One reading of a piece.
#[derive(Debug, Clone, PartialEq)]
pub struct StageReading {
    /// Weighed against predicted.
    pub residual: Residual,
    /// Against the last reading of the stage before, where the piece has one.
    pub added: Option<Added>,
}

/// One piece with its readings, by stage, then day.
#[derive(Debug, Clone, PartialEq)]
pub struct PieceStages {
    /// Its serial; a piece without is known by its only weighing.
    pub serial: Option<String>,
    /// Its readings, at least one.
    pub readings: Vec<StageReading>,
}

/// The pieces of one panel that were on the scale.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelPieces {
    /// Id of the panel.
    pub panel: String,
    /// How many there are in the scope.
    pub quantity: u64,
    /// Whether its weighings count in the mass statement.
    pub counts: bool,
    /// By serial, those without behind.
    pub pieces: Vec<PieceStages>,
}

impl PanelPieces {
    /// Returns all readings.
    pub fn readings(&self) -> impl Iterator<Item = (&PieceStages, &StageReading)> {
        self.pieces.iter().flat_map(|piece| piece.readings.iter().map(move |reading| (piece, reading)))
    }
}

/// Returns the pieces of panels that were on the scale, by panel.
pub fn stages(panels: &[PanelMass]) -> Vec<PanelPieces> {
    let weighed = panels.iter().filter(|panel| !panel.residuals.is_empty());
    let one = |panel: &PanelMass| PanelPieces {
        panel: panel.panel.clone(),
        quantity: panel.quantity,
        counts: panel.weighings > 0,
        pieces: pieces(&panel.residuals),
    };
    weighed.map(one).collect()
}

fn pieces(residuals: &[Residual]) -> Vec<PieceStages> {
    let mut list: BTreeMap<(bool, &str), Vec<&Residual>> = BTreeMap::new();
    for one in residuals {
        // Two weighings without a serial may be of two pieces.
        let key = one.serial.as_deref().map_or((true, one.weighing.as_str()), |serial| (false, serial));
        list.entry(key).or_default().push(one);
    }
    let piece = |mut readings: Vec<&Residual>| {
        readings.sort_by(|a, b| (a.condition, a.on, &a.weighing).cmp(&(b.condition, b.on, &b.weighing)));
        let serial = readings.first().and_then(|one| one.serial.clone());
        let mut out: Vec<StageReading> = Vec::with_capacity(readings.len());
        for residual in readings {
            let before =
                out.iter().rev().map(|one| &one.residual).find(|own| own.condition < residual.condition);
            let added = before.map(|before| Added {
                since: before.condition,
                weighed_kg: residual.weighed_kg - before.weighed_kg,
                predicted_kg: residual.predicted_kg - before.predicted_kg,
                as_built: residual.as_built && before.as_built,
            });
            out.push(StageReading { residual: residual.clone(), added });
        }
        PieceStages { serial, readings: out }
    };
    list.into_values().map(piece).collect()
}

/// How many readings of pieces stand so.
pub fn tally(panels: &[PanelPieces]) -> BTreeMap<Standing, usize> {
    let mut counts = BTreeMap::new();
    for (_, reading) in panels.iter().flat_map(PanelPieces::readings) {
        *counts.entry(reading.residual.standing).or_default() += 1;
    }
    counts
}
