//! Comparison, the sensitivity table, coverage, verdicts, the retest plan.

mod alone;
pub mod anew;
mod asked;
pub mod assumed;
pub mod behind;
mod beside;
mod compared;
pub mod complete;
pub mod concede;
mod conditions;
pub mod conform;
pub mod coverage;
pub mod delta;
mod demands;
pub mod duty;
pub mod earlier;
pub mod equivalence;
pub mod estimate;
mod extension;
#[cfg(test)]
pub(crate) mod fixture;
pub mod gaps;
mod homes;
pub mod judge;
pub mod keep;
pub mod lapses;
pub mod live;
mod made;
pub mod margins;
pub mod next;
pub mod normalised;
pub mod outliers;
pub mod pool;
mod reach;
pub mod resting;
pub mod rests;
pub mod retest;
pub mod search;
mod sieve;
#[cfg(test)]
mod silence;
pub mod table;
#[cfg(test)]
pub(crate) mod tests;
mod touched;
pub mod trial;
pub mod verdict;
pub mod windows;
