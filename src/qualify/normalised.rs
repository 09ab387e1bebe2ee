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
                specimen: row.specimen.clone(),
                measured: thing,
                away: ratio.away(),
            });
        }
        self.measured.push(measured);
        Some(value)
    }

    /// Values brought to several nominals are no one sample.
    fn takes(&mut self, nominal: &Nominal) -> bool {
        let own = self.nominal.get_or_insert_with(|| nominal.clone());
        own.to == nominal.to && (own.value - nominal.value).abs() <= 1e-9 * own.value.abs()
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
    /// Returns what the values scatter, as they are judged.
    pub fn scatter(&self) -> Option<Scatter> {
        Scatter::of(&self.values).ok()
    }

    /// Returns whether the values scatter more than before they were normalised.
    pub fn scatter_grows(&self) -> bool {
        let measured = self.normalised.as_ref().and_then(Normalised::scatter_measured);
        self.scatter().zip(measured).is_some_and(|(now, was)| now.grows_from(&was))
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
