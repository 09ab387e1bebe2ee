//! Comparison, the sensitivity table, coverage, verdicts, the retest plan.

pub mod delta;
pub mod table;
pub mod windows;
