//! Comparison, the sensitivity table, coverage, verdicts, the retest plan.
