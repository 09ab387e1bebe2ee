//! Comparison, the sensitivity table, coverage, verdicts, the retest plan.

pub mod table;
