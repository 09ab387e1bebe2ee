//! Where a route stands in the text of a record.

use crate::record::Place;

/// Returns the place of `route` in the text of `file`.
// For now the whole file; the index of places in `record` takes this over.
pub(super) fn place(file: &str, _text: &str, _route: &str) -> Place {
    Place::file(file)
}
