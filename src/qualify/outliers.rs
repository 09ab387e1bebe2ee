//! Values that stand out of a pool that a verdict rests on: each is named with its specimen, and none goes by itself.

use super::pool::{Pool, Written};
use crate::ledger::{Entry, Ledger, Specimen};
use crate::record::Evidence;
use crate::statistics::{NormedResidual, outliers};
use std::collections::BTreeSet;

/// A value that stands out by the maximum normed residual.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlier {
    /// The batch that it stands out of; `None` for all values of the pool.
    pub within: Option<String>,
    /// The record.
    pub evidence: String,
    /// Its batch.
    pub batch: String,
    /// Its panel, specimen and line of the data file; `None` for the value of a record itself.
    pub specimen: Option<[String; 2]>,
    /// Line of the data file.
    pub line: Option<usize>,
    /// Unit of the value; empty where it has none.
    pub unit: String,
    /// How far it lies, and how far it might; normalised where the pool is.
    pub residual: NormedResidual,
    /// The level of the test.
    pub level: f64,
}

/// What stands out of a batch, with its place over all batches.
type OfBatch<'p> = (&'p String, usize, NormedResidual);

impl Pool {
    /// What stands out of batches and of all; what can't be tested has none.
    fn out(&self) -> (Vec<OfBatch<'_>>, Vec<NormedResidual>) {
        let found = |values: &[f64]| {
            let all = outliers(values, self.levels.outliers).unwrap_or_default();
            all.into_iter().filter(NormedResidual::is_outlier)
        };
        let mut of_batches = Vec::new();
        let mut first = 0;
        for (batch, values) in &self.by_batch {
            of_batches.extend(found(values).map(|one| (batch, first + one.index, one)));
            first += values.len();
        }
        // One batch is all: it is not said twice.
        let of_all = if self.by_batch.len() > 1 {
            found(&self.by_batch.values().flatten().copied().collect::<Vec<f64>>()).collect()
        } else {
            Vec::new()
        };
        (of_batches, of_all)
    }

    /// Returns how many values stand out of their batch or of all, in words; `None` for none. `of` says whose they
    /// are, with a blank before it.
    pub(super) fn out_words(&self, of: &str) -> Option<String> {
        let (of_batches, of_all) = self.out();
        let places: BTreeSet<usize> =
            of_batches.iter().map(|(_, place, _)| *place).chain(of_all.iter().map(|one| one.index)).collect();
        match places.len() {
            0 => None,
            1 => Some(format!("1 value{of} stands out")),
            n => Some(format!("{n} values{of} stand out")),
        }
    }

    /// Returns the specimen of a value by batch, where it has one.
    fn specimen<'l>(
        ledger: &'l Ledger,
        records: &[&'l Entry<Evidence>],
        written: Written,
    ) -> (Option<&'l str>, Option<&'l Specimen>) {
        let Some(record) = records.get(written.record) else { return (None, None) };
        let row = || ledger.data.get(&record.id)?.rows.get(written.row?);
        (Some(&record.id), row())
    }

    /// Returns `panel/specimen` of every value by batch, in the order of [`Pool::by_batch`]; empty for the value of
    /// a record itself.
    pub fn labels(&self, ledger: &Ledger, records: &[&Entry<Evidence>]) -> Vec<Vec<String>> {
        let label = |written: &Written| {
            let (_, row) = Self::specimen(ledger, records, *written);
            row.map_or_else(String::new, |row| format!("{}/{}", row.panel, row.specimen))
        };
        self.origins.values().map(|own| own.iter().map(label).collect()).collect()
    }
}

/// Returns the values that stand out of their batch or of all: `records` are those that were pooled, in their order.
/// What can't be tested has none.
pub fn standing_out(ledger: &Ledger, records: &[&Entry<Evidence>], pool: &Pool) -> Vec<Outlier> {
    let level = pool.levels.outliers;
    let origins: Vec<(&String, Written)> = pool
        .origins
        .iter()
        .flat_map(|(batch, written)| written.iter().map(move |written| (batch, *written)))
        .collect();
    let named = |within: Option<&String>, place: usize, residual: NormedResidual| {
        let (batch, written) = origins.get(place)?;
        let (evidence, row) = Pool::specimen(ledger, records, *written);
        Some(Outlier {
            within: within.cloned(),
            evidence: evidence?.to_string(),
            batch: (*batch).clone(),
            specimen: row.map(|row| [row.panel.to_string(), row.specimen.to_string()]),
            line: row.map(|row| row.line),
            unit: pool.unit.clone(),
            residual,
            level,
        })
    };
    let (by_batch, all) = pool.out();
    let of_batch = by_batch.into_iter().filter_map(|(batch, place, one)| named(Some(batch), place, one));
    let of_all = all.into_iter().filter_map(|one| named(None, one.index, one));
    of_batch.chain(of_all).collect()
}
