//! Pieces from stage to stage: what primer and paint really weighed.

use super::figures::{PanelMass, Residual};
use super::scale::piece_key;
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
        list.entry(piece_key(one.serial.as_deref(), &one.weighing)).or_default().push(one);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::article::fixture::ledger;
    use crate::article::weigh::{MassStatement, Scope, statement};
    use crate::ledger::Ledger;
    use crate::record::{Day, Disposition, Text};
    use proptest::prelude::*;
    use std::sync::Arc;

    const LEDGER: &str = "
ledger: {format: 1, programme: Sanderling (invented), weighing: {explain: 3 %, hold: 6 %}}
materials:
  cw: {kind: prepreg, fibre: {name: f, type: carbon, density: 1.78 g/cm3, areal: 225 g/m2}, resin: {name: r, density: 1.25 g/cm3, content: 50 %}}
processes: {oven: {method: oven}}
recipes: {solid: {process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 90}]}}
panels:
  hatch: {maturity: weighed, zones: [{name: all, area: 10 m2, recipe: solid}]}
weighings:
  a: {panel: hatch, serial: H1, mass: 10.1 kg, as_built: {predicted: 10 kg}, condition: painted}
  b: {panel: hatch, serial: H1, mass: 9.2 kg, as_built: {predicted: 9 kg}, condition: bare}
  c: {panel: hatch, serial: H1, mass: 9.6 kg, as_built: {predicted: 9.4 kg}, condition: primed, on: 2026-05-01}
  d: {panel: hatch, serial: H1, mass: 9.7 kg, as_built: {predicted: 9.4 kg}, condition: primed, on: 2026-05-02}
  e: {panel: hatch, mass: 9.8 kg, condition: painted}
";

    /// By hand: bare to primed adds 0.4 kg as predicted, weighed again 0.5 kg, 25 % more; from there painted adds
    /// 0.4 of 0.6 kg.
    #[test]
    fn each_stage_is_against_the_last_reading_of_the_one_before() {
        let all = stages(&statement(&ledger(LEDGER), Scope::Programme).unwrap().panels);
        let pieces = &all[0].pieces;
        assert_eq!(pieces.len(), 2);
        let of = |at: usize| {
            let one = &pieces[0].readings[at];
            let round = |kg: f64| (kg * 1e6).round() / 1e6;
            let added = one.added.map(|a| {
                (a.since.word(), round(a.weighed_kg), round(a.predicted_kg), round(a.percent().unwrap()))
            });
            (one.residual.weighing.as_str(), added)
        };
        assert_eq!(of(0), ("b", None));
        assert_eq!(of(1), ("c", Some(("bare", 0.4, 0.4, 0.0))));
        assert_eq!(of(2), ("d", Some(("bare", 0.5, 0.4, 25.0))));
        assert_eq!(of(3), ("a", Some(("primed", 0.4, 0.6, -33.333_333))));
        assert_eq!((pieces[1].serial.clone(), pieces[1].readings[0].added), (None, None));
        assert_eq!(
            tally(&all),
            BTreeMap::from([(Standing::Within, 3), (Standing::ToExplain, 1), (Standing::NotJudged, 1)])
        );
    }

    /// The statement without what it says of explanations and dispositions.
    fn masses(ledger: &Ledger) -> MassStatement {
        let mut all = statement(ledger, Scope::Programme).unwrap();
        for one in all.panels.iter_mut().flat_map(|panel| &mut panel.residuals) {
            (one.standing, one.explained, one.disposition) = (Standing::Within, None, None);
        }
        all
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn words_weigh_nothing(
            words in prop::collection::vec(proptest::option::of("[a-z ]{0,12}"), 5),
            decided in prop::collection::vec(proptest::option::of("[a-z]{1,12}"), 5),
        ) {
            let plain = ledger(LEDGER);
            let mut told = ledger(LEDGER);
            for ((entry, explained), cause) in told.weighings.values_mut().zip(words).zip(decided) {
                let mut value = (*entry.value).clone();
                value.explained = explained;
                let on: Day = serde_yaml::from_str("2026-05-03").unwrap();
                value.disposition = cause.map(|cause| Disposition { cause, by: Text::from("shop"), on });
                entry.value = Arc::new(value);
            }
            prop_assert_eq!(masses(&plain), masses(&told));
        }
    }
}
