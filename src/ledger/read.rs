//! Reading the text of one record.

use crate::record::{Fault, RecordType, read};

/// What a record's type must be, to be read here.
pub(super) trait Readable: RecordType + Send + Sync + 'static {}

impl<T: RecordType + Send + Sync + 'static> Readable for T {}

/// Reads a record from the bytes of `file`: the record, unless a fault is an error, and the faults.
pub(super) fn read_record<T: Readable>(file: &str, bytes: &[u8]) -> (Option<T>, Vec<Fault>) {
    let outcome = read::<T>(file, bytes);
    (outcome.value, outcome.faults)
}
