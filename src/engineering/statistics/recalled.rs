//! Factors that cost a search or an integral, remembered by what they depend on.

use super::StatisticsError;
use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

/// How many are remembered at most; then all begins anew.
const LIMIT: usize = 8192;

/// What a factor is called, the size of its sample, the bits of its probability.
type Known = BTreeMap<(&'static str, usize, u64), f64>;

/// Returns what `compute` gives for this name, size of sample and probability, computed once: a ledger asks for
/// the same few again and again.
pub(super) fn recalled(
    name: &'static str,
    n: usize,
    probability: f64,
    compute: impl FnOnce() -> Result<f64, StatisticsError>,
) -> Result<f64, StatisticsError> {
    static KNOWN: Mutex<Known> = Mutex::new(BTreeMap::new());
    let key = (name, n, probability.to_bits());
    // A thread that panicked while it held the lock left at worst a missing entry.
    if let Some(known) = KNOWN.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
        return Ok(*known);
    }
    let found = compute()?;
    let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    // One large sample can ask for thousands of sizes: they may not keep out what is asked for again.
    if known.len() >= LIMIT {
        known.clear();
    }
    known.insert(key, found);
    Ok(found)
}
