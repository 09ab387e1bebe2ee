//! Levels of significance that a ledger may set.

use super::ranges::{MEND_QUANTITY, PART, refuse, within};
use super::sink::Sink;
use crate::record::Statistics;
use crate::statistics::k_sample_levels;

/// Checks the levels under `statistics`.
pub(super) fn statistics(sink: &mut Sink, own: Option<&Statistics>) {
    let Some(own) = own else { return };
    for (key, level) in [
        ("statistics.outliers", &own.outliers),
        ("statistics.variances", &own.variances),
        ("statistics.fit", &own.fit),
    ] {
        within(sink, PART, key, level.as_deref());
    }
    if let Some(level) = &own.batches
        && !k_sample_levels().iter().any(|known| (known - level.si()).abs() < 1e-12)
    {
        refuse(
            sink,
            "statistics.batches",
            &format!("`{}` is no level of the k-sample test", level.text()),
            "its critical values are published at 0.1, 0.05, 0.025 and 0.01",
            MEND_QUANTITY,
        );
    }
    if let Some(level) = &own.equivalence
        && !(1e-4..=0.5).contains(&level.si())
    {
        refuse(
            sink,
            "statistics.equivalence",
            &format!("`{}` is out of range", level.text()),
            "the tests of equivalence take levels from 0.0001 to 0.5",
            MEND_QUANTITY,
        );
    }
}
