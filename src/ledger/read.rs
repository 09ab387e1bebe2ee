//! Reading the text of one record.

use crate::record::{ReadOutcome, RecordType, read};

/// What a record's type must be, to be read here.
pub(super) trait Readable: RecordType + Send + Sync + 'static {}

impl<T: RecordType + Send + Sync + 'static> Readable for T {}

/// Reads a record from the bytes of `file`: the record, unless a fault is an error, and the faults.
pub(super) fn read_record<T: Readable>(file: &str, bytes: &[u8]) -> ReadOutcome<T> {
    read::<T>(file, bytes)
}
