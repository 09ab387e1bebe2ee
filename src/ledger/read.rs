//! Reading the text of one record.

use crate::record::{Fault, Place, RecordKind};
use serde::de::DeserializeOwned;

/// Reads a record of `kind` from the bytes of `file`.
///
/// # Errors
/// The faults in the text.
// For now one fault from the parser; the reader in `record` takes this over.
pub(super) fn read_record<T: DeserializeOwned>(
    _kind: RecordKind,
    file: &str,
    bytes: &[u8],
) -> Result<T, Vec<Fault>> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    serde_yaml::from_slice(bytes).map_err(|error| {
        let location = error.location();
        let place = Place {
            line: location.as_ref().map(|at| at.line()),
            column: location.as_ref().map(|at| at.column()),
            ..Place::file(file)
        };
        vec![Fault::error("bad-record", place, error.to_string())]
    })
}
