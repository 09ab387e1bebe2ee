//! Levels of significance that a ledger may set.

use super::ranges::{MEND_QUANTITY, refuse};
use super::sink::Sink;
use crate::record::Statistics;
use crate::statistics::{LEVELS_TAKEN, is_k_sample_level};

/// Checks the levels under `statistics`.
pub(super) fn statistics(sink: &mut Sink, own: Option<&Statistics>) {
    let Some(own) = own else { return };
    for (key, level) in [
        ("statistics.outliers", &own.outliers),
        ("statistics.variances", &own.variances),
        ("statistics.fit", &own.fit),
        ("statistics.equivalence", &own.equivalence),
    ] {
        if let Some(level) = level.as_ref().filter(|level| !LEVELS_TAKEN.contains(&level.si())) {
            refuse(
                sink,
                key,
                &format!("`{}` is out of range", level.text()),
                "levels of significance are taken from 0.0001 to 0.5, as a rule 0.05",
                MEND_QUANTITY,
            );
        }
    }
    if let Some(level) = &own.batches
        && !is_k_sample_level(level.si())
    {
        refuse(
            sink,
            "statistics.batches",
            &format!("`{}` is no level of the k-sample test", level.text()),
            "its critical values are published at 0.1, 0.05, 0.025 and 0.01",
            MEND_QUANTITY,
        );
    }
}
