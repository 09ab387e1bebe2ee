//! Comparison, the sensitivity table, coverage, verdicts, the retest plan.

pub mod assumed;
pub mod behind;
pub mod concede;
pub mod conform;
pub mod coverage;
pub mod delta;
#[cfg(test)]
pub(crate) mod fixture;
pub mod gaps;
pub mod judge;
pub mod pool;
pub mod rests;
pub mod retest;
mod sieve;
#[cfg(test)]
mod silence;
pub mod table;
#[cfg(test)]
pub(crate) mod tests;
pub mod verdict;
pub mod windows;
