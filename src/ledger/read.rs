//! Reading the text of one record.

use crate::record::{Fault, Place, RecordKind};
use serde::de::DeserializeOwned;

/// What a record's type must be, to be read here.
pub(super) trait Readable: DeserializeOwned + Send + Sync + 'static {}

impl<T: DeserializeOwned + Send + Sync + 'static> Readable for T {}

/// Reads a record of `kind` from the bytes of `file`: the record, unless a fault is an error, and the faults.
// For now one fault from the parser; the reader in `record` takes this over.
pub(super) fn read_record<T: Readable>(
    _kind: RecordKind,
    file: &str,
    bytes: &[u8],
) -> (Option<T>, Vec<Fault>) {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    match serde_yaml::from_slice(bytes) {
        Ok(value) => (Some(value), Vec::new()),
        Err(error) => {
            let location = error.location();
            let place = Place {
                line: location.as_ref().map(|at| at.line()),
                column: location.as_ref().map(|at| at.column()),
                ..Place::file(file)
            };
            (None, vec![Fault::error("bad-record", place, error.to_string())])
        }
    }
}
