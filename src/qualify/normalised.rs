//! Values brought to a nominal ply where a showing asks for that, and what was measured before.

use super::pool::{Outcome, Pool, digits};
use crate::ledger::{Nominal, Specimen};
use crate::record::{NormaliseTo, Showing};
use crate::statistics::{Ratio, Scatter, USUAL_REACH};
use std::collections::BTreeMap;

/// What was brought to a nominal ply, beside the values of a pool.
#[derive(Debug, Clone, PartialEq)]
pub struct Normalised {
    /// What the values are brought to; `None` until a record has specimens.
    pub nominal: Option<Nominal>,
    /// How far from it a specimen may lie before its value is doubted, a share.
    pub reach: f64,
    /// The values as measured, in the order and unit of the pool's.
    pub measured: Vec<f64>,
    /// Specimens that lie further from nominal.
    pub far: Vec<Far>,
    /// Records whose values can't be brought there, or were brought to another nominal.
    pub lacking: Vec<String>,
}

/// A specimen whose normalised value is to be doubted.
#[derive(Debug, Clone, PartialEq)]
pub struct Far {
    /// The record.
    pub evidence: String,
    /// Line in its data.
    pub line: usize,
    /// Label of the specimen.
    pub specimen: String,
    /// What was measured of it, in m or a fraction.
    pub measured: f64,
    /// Its distance from nominal, as a share of that.
    pub away: f64,
}

impl Normalised {
    /// Begins a pool; `None` where its showing asks for values as measured.
    pub(super) fn of(showing: &Showing) -> Option<Self> {
        let own = showing.normalise.as_ref()?;
        let reach = own.within.as_ref().map_or(USUAL_REACH, |within| within.si());
        Some(Self { nominal: None, reach, measured: Vec::new(), far: Vec::new(), lacking: Vec::new() })
    }

    /// Returns a specimen's value brought to nominal; `None` with the record among the lacking where it can't
    /// be, or where the record is brought to another nominal than those before it.
    pub(super) fn bring(
        &mut self,
        evidence: &str,
        nominal: Option<&Nominal>,
        row: &Specimen,
        measured: f64,
    ) -> Option<f64> {
        let ratio = nominal.filter(|own| self.takes(own)).and_then(|own| {
            let thing = own.measured(row)?;
            let ratio = match own.to {
                NormaliseTo::CuredThickness => Ratio::of_thickness(thing, own.value),
                NormaliseTo::FibreVolume => Ratio::of_fibre_volume(thing, own.value),
            };
            Some((ratio.ok()?, thing))
        });
        let brought = ratio.and_then(|(ratio, thing)| Some((ratio.bring(measured).ok()?, ratio, thing)));
        let Some((value, ratio, thing)) = brought else {
            if self.lacking.last().is_none_or(|last| last != evidence) {
                self.lacking.push(evidence.to_string());
            }
            return None;
        };
        if ratio.is_far(self.reach) {
            self.far.push(Far {
                evidence: evidence.to_string(),
                line: row.line,
                specimen: row.specimen.to_string(),
                measured: thing,
                away: ratio.away(),
            });
        }
        self.measured.push(measured);
        Some(value)
    }

    /// Values brought to several nominals are no one sample.
    fn takes(&mut self, nominal: &Nominal) -> bool {
        self.nominal.get_or_insert_with(|| nominal.clone()).is_same(nominal)
    }

    /// Returns what the values are brought to, in words.
    pub fn words(&self) -> String {
        self.nominal.as_ref().map_or_else(|| "a nominal".to_string(), Nominal::words)
    }

    /// Returns what the values scatter as measured.
    pub fn scatter_measured(&self) -> Option<Scatter> {
        Scatter::of(&self.measured).ok()
    }
}

impl Pool {
    /// Returns the values by batch as they were measured, in the order of [`Pool::by_batch`] and the pool's unit;
    /// `None` where they are judged so.
    pub fn measured_by_batch(&self) -> Option<Vec<Vec<f64>>> {
        let own = self.normalised.as_ref()?;
        // Values stand in the order of records and rows, those of batches in that order within each batch.
        let mut places: Vec<(usize, Option<usize>, usize, usize)> = Vec::new();
        for (batch, written) in self.origins.values().enumerate() {
            places.extend(written.iter().enumerate().map(|(at, one)| (one.record, one.row, batch, at)));
        }
        places.sort_unstable();
        let mut all: Vec<Vec<f64>> = self.by_batch.values().map(|own| vec![f64::NAN; own.len()]).collect();
        for ((_, _, batch, at), value) in places.into_iter().zip(&own.measured) {
            *all.get_mut(batch)?.get_mut(at)? = *value;
        }
        Some(all)
    }

    /// Returns what the values scatter, as they are judged.
    pub fn scatter(&self) -> Option<Scatter> {
        Scatter::of(&self.values).ok()
    }

    /// Returns whether the values scatter more than before they were normalised.
    pub fn scatter_grows(&self) -> bool {
        let measured = self.normalised.as_ref().and_then(Normalised::scatter_measured);
        self.scatter().zip(measured).is_some_and(|(now, was)| now.grows_from(&was))
    }

    /// Returns whether both are taken as measured, or normalised to the same.
    pub(super) fn is_normalised_as(&self, other: &Self) -> bool {
        let nominal = |pool: &'_ Self| pool.normalised.as_ref().and_then(|own| own.nominal.clone());
        match (nominal(self), nominal(other)) {
            (Some(own), Some(other)) => own.is_same(&other),
            _ => true,
        }
    }

    /// Returns what has to be assumed to take the values as normalised, a sentence each.
    pub(super) fn doubts(&self) -> Vec<String> {
        let Some(own) = &self.normalised else { return Vec::new() };
        let mut far: BTreeMap<&str, usize> = BTreeMap::new();
        for one in &own.far {
            *far.entry(&one.evidence).or_default() += 1;
        }
        let reach = digits(own.reach * 100.0);
        let mut said: Vec<String> = far
            .into_iter()
            .map(|(evidence, n)| {
                format!(
                    "evidence/{evidence}: {n} values normalised from more than {reach} % off {}",
                    own.words()
                )
            })
            .collect();
        if self.scatter_grows() {
            said.push(format!("values scatter more when normalised to {}, and are taken so", own.words()));
        }
        said
    }

    /// Says of an outcome that it stands on normalised values, where it does.
    pub(super) fn told(&self, outcome: Outcome) -> Outcome {
        let Some(own) = self.normalised.as_ref().filter(|own| !own.measured.is_empty()) else {
            return outcome;
        };
        let said = |words: String| format!("{words}; values normalised to {}", own.words());
        match outcome {
            Outcome::Holds(words) => Outcome::Holds(said(words)),
            Outcome::Fails(words) => Outcome::Fails(said(words)),
            Outcome::Unknown(words) => Outcome::Unknown(words),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::pool::{completeness, pool};
    use super::super::verdict::{Duty, Evaluation, Verdict, evaluate, evaluate_beside};
    use crate::article::fixture::ledger as read;
    use crate::ledger::{Further, Ledger, Specimen, TestData};
    use crate::record::{AttributeValue, Day};
    use std::sync::Arc;

    const TEXT: &str = "
ledger: {format: 1, programme: Test (invented)}
materials:
  thin: {kind: prepreg, fibre: {name: f, type: carbon, density: 1780 kg/m3, areal: 200 g/m2}, resin: {name: r, density: 1250 kg/m3, content: 38 %}, cured_thickness: 0.2 mm}
  thick: {kind: prepreg, fibre: {name: f, type: carbon, density: 1780 kg/m3, areal: 200 g/m2}, resin: {name: r, density: 1250 kg/m3, content: 38 %}, cured_thickness: 0.25 mm}
processes: {oven: {method: oven}}
recipes:
  skin: {process: oven, layers: [{material: thin, angle: 0}]}
panels:
  hatch: {class: structural, zones: [{name: skin, area: 1 m2, recipe: skin}]}
showings:
  pull: {kind: lamina-strength-fibre, accept: {all_at_least: 500 MPa}, normalise: {to: cured-thickness}}
evidence:
  e-1: {showing: pull, subject: {lamina: [thin, oven]}, kind: test, state: done}
  e-2: {showing: pull, subject: {lamina: [thick, oven]}, kind: test, state: done}
";

    /// Two records of two specimens each with plies of these thicknesses, in mm.
    fn ledger(text: &str, plies: [f64; 2]) -> Ledger {
        let mut ledger = read(text);
        for id in ["e-1", "e-2"] {
            let rows = plies.iter().enumerate().map(|(at, ply)| Specimen {
                batch: "b".into(),
                panel: "p".into(),
                specimen: format!("s{at}").into(),
                value: 600.0,
                further: Some(Arc::new(Further { ply_thickness: Some(ply * 1e-3), ..Further::default() })),
                line: at + 2,
                ..Specimen::default()
            });
            let data =
                TestData { unit: Some("MPa".to_string()), rows: rows.collect(), ..TestData::default() };
            ledger.data.insert(id.to_string(), data);
        }
        super::super::tests::conform_all(&mut ledger);
        ledger
    }

    #[test]
    fn values_are_brought_to_nominal_and_what_was_measured_stays() {
        let ledger = ledger(TEXT, [0.19, 0.22]);
        let showing = &ledger.showings["pull"].value;
        let all = pool(&ledger, showing, &[&ledger.evidence["e-1"]]);
        assert!((all.values[0] - 570.0).abs() < 1e-9 && (all.values[1] - 660.0).abs() < 1e-9);
        let own = all.normalised.as_ref().unwrap();
        assert_eq!(own.measured, [600.0, 600.0]);
        // 5 % off is near, 10 % is not.
        assert_eq!(own.far.iter().map(|far| far.line).collect::<Vec<_>>(), [3]);
        assert!(all.scatter_grows());
        assert!(completeness(&all, showing).is_complete());
    }

    #[test]
    fn what_was_measured_stands_by_batch_as_the_normalised_values_do() {
        let mut ledger = ledger(TEXT, [0.19, 0.22]);
        let data = ledger.data.get_mut("e-1").unwrap();
        let mut rows = data.rows.to_vec();
        // The batches of a file need not stand in the order of their labels.
        for (at, batch) in ["z", "a", "z", "a"].into_iter().enumerate() {
            let mut row = rows[at % 2].clone();
            (row.batch, row.value, row.line) = (batch.into(), 600.0 + at as f64, at + 2);
            if at < 2 { rows[at] = row } else { rows.push(row) }
        }
        data.rows = rows.into();
        let showing = &ledger.showings["pull"].value;
        let all = pool(&ledger, showing, &[&ledger.evidence["e-1"]]);
        let measured = all.measured_by_batch().unwrap();
        assert_eq!(measured, [[601.0, 603.0], [600.0, 602.0]]);
        let labels = all.labels(&ledger, &[&ledger.evidence["e-1"]]);
        assert_eq!(labels[0], ["p/s1", "p/s1"]);
        for (own, normalised) in measured.iter().zip(all.by_batch.values()) {
            let ratio = normalised[0] / own[0];
            assert!((normalised[1] / own[1] - ratio).abs() < 1e-12 && (ratio - 1.0).abs() > 0.01);
        }
    }

    #[test]
    fn values_of_two_nominals_are_no_one_sample() {
        let ledger = ledger(TEXT, [0.2, 0.2]);
        let showing = &ledger.showings["pull"].value;
        let all = pool(&ledger, showing, &[&ledger.evidence["e-1"], &ledger.evidence["e-2"]]);
        assert_eq!(
            (all.values.len(), all.normalised.as_ref().unwrap().lacking.as_slice()),
            (2, &["e-2".to_string()][..])
        );
        let lacks = completeness(&all, showing).lacks;
        assert!(lacks[0].contains("e-2") && lacks[0].contains("0.2 mm"), "{lacks:?}");
        // One nominal in the showing stands for both.
        let text = TEXT.replace("cured-thickness}", "cured-thickness, nominal: 0.2 mm}");
        let ledger = self::ledger(&text, [0.2, 0.2]);
        let showing = &ledger.showings["pull"].value;
        let all = pool(&ledger, showing, &[&ledger.evidence["e-1"], &ledger.evidence["e-2"]]);
        assert_eq!(all.values.len(), 4);
        assert!(completeness(&all, showing).is_complete());
    }

    #[test]
    fn an_equivalence_is_compared_at_the_nominal_of_its_baseline() {
        let whole = |ledger: &Ledger| {
            let (showing, records) = (&ledger.showings["pull"].value, &ledger.evidence);
            ["e-1", "e-2"].map(|id| pool(ledger, showing, &[&records[id]]))
        };
        let [own, baseline] = whole(&ledger(TEXT, [0.2, 0.2]));
        assert!(!own.is_normalised_as(&baseline) && own.is_normalised_as(&own));
        let text = TEXT.replace("cured-thickness}", "cured-thickness, nominal: 0.2 mm}");
        let [own, baseline] = whole(&ledger(&text, [0.2, 0.2]));
        assert!(own.is_normalised_as(&baseline));
    }

    #[test]
    fn a_later_edit_of_a_material_does_not_move_what_was_shown() {
        let today = Day::parse("2026-06-01").unwrap();
        // The other material was the same when its article was made, and is in no use: nothing else tells.
        let before = ledger(&TEXT.replace("0.25 mm", "0.2 mm"), [0.2, 0.2]);
        let old = evaluate(&before, today).unwrap();
        let mut after = before.clone();
        let other = read(&TEXT.replace("0.25 mm", "0.3 mm")).materials["thick"].value.clone();
        after.materials.get_mut("thick").unwrap().value = other;
        let (beside, alone) =
            (evaluate_beside(&after, today, &old).unwrap(), evaluate(&after, today).unwrap());
        assert_eq!(beside.duties, alone.duties);
        let verdict = |of: &Evaluation| of.duties.values().map(Duty::verdict).collect::<Vec<_>>();
        assert_eq!((verdict(&old), verdict(&alone)), (vec![Verdict::Met], vec![Verdict::Met]));
        // What was made is judged again where it is altered, which the gate sees.
        let thick = &mut after.evidence.get_mut("e-2").unwrap().value;
        let made = Arc::make_mut(thick).conformed.as_mut().unwrap();
        made.attributes.insert("weave.thickness.a".into(), AttributeValue::One("0.3 mm".into()));
        let (beside, alone) =
            (evaluate_beside(&after, today, &old).unwrap(), evaluate(&after, today).unwrap());
        assert_eq!(beside.duties, alone.duties);
        assert_ne!(alone.duties, old.duties);
    }
}
