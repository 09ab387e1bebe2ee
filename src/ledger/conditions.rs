//! What specimens were tested in, beside what the showing asks.

use super::Entry;
use super::sink::{At, Sink};
use super::table::Table;
use crate::record::{Level, Showing};

/// Faults named singly.
const MOST_SHOWN: usize = 20;

/// Refuses specimens that were tested in something else than the showing names, or in several things where it
/// names nothing.
///
/// They are not left out: a slip of the pen would then make the sample smaller without anybody's reason, and
/// the low values of a hot and wet test could be taken out by one word. What is no part of a sample says so in
/// `rejected`, or stands in a file of its own.
pub(super) fn fit(sink: &mut Sink, file: &str, table: &Table, showing: &Entry<Showing>) {
    let counted = || table.rows.iter().filter(|row| row.rejected.is_none());
    // A column that is empty throughout says nothing.
    let Some((first, row)) = counted().find_map(|row| Some((row.condition()?, row))) else { return };
    let named = showing.value.environment.as_ref().and_then(|own| own.name.as_ref());
    let wanted = named.map_or(first, |name| name.as_str());
    let same = |own: &str| own.to_lowercase() == wanted.to_lowercase();
    let others = counted().filter(|row| !row.condition().is_some_and(same));
    for other in others.take(MOST_SHOWN) {
        let (message, label) = match (other.condition(), named) {
            (None, _) => (
                format!("specimen `{}` has no condition, where others have `{first}`", other.specimen),
                "empty cell",
            ),
            (Some(own), Some(_)) => (
                format!("specimen `{}` was tested in `{own}`, the showing asks `{wanted}`", other.specimen),
                "other condition",
            ),
            (Some(own), None) => (
                format!(
                    "specimen `{}` was tested in `{own}`, others in `{first}`: they are no one sample",
                    other.specimen
                ),
                "other condition",
            ),
        };
        let raised = sink.elsewhere(Level::Error, "other-condition", file, At::Line(other.line), message);
        raised.label(label).help(
            "write each condition into a file and a record of its own, or say in `rejected` why the specimen \
             does not count",
        );
        match named {
            Some(_) => raised.why(&showing.file, "environment.name", "asked here"),
            None => raised.why(file, At::Line(row.line), "tested otherwise"),
        };
    }
}
