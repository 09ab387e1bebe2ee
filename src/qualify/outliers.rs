//! Values that stand out of a pool that a verdict rests on: each is named with its specimen, and none goes by itself.

use super::pool::{Pool, Written};
use crate::ledger::{Entry, Ledger, Specimen};
use crate::record::Evidence;
use crate::statistics::{NormedResidual, outliers};

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
    /// How far it lies, and how far it might.
    pub residual: NormedResidual,
    /// The level of the test.
    pub level: f64,
}

impl Pool {
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
            specimen: row.map(|row| [row.panel.clone(), row.specimen.clone()]),
            line: row.map(|row| row.line),
            residual,
            level,
        })
    };
    let found = |values: &[f64]| outliers(values, level).unwrap_or_default().into_iter();
    let mut all = Vec::new();
    let mut first = 0;
    for (batch, values) in &pool.by_batch {
        let out = found(values).filter(NormedResidual::is_outlier);
        all.extend(out.filter_map(|one| named(Some(batch), first + one.index, one)));
        first += values.len();
    }
    // One batch is all: it is not said twice.
    if pool.by_batch.len() > 1 {
        let values: Vec<f64> = pool.by_batch.values().flatten().copied().collect();
        let out = found(&values).filter(NormedResidual::is_outlier);
        all.extend(out.filter_map(|one| named(None, one.index, one)));
    }
    all
}
