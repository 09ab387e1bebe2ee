//! What specimens were tested in, beside what the showing asks.

use super::sink::{At, Sink};
use super::table::Table;
use super::{Entry, Ledger, Specimen, TestData};
use crate::record::{Address, Evidence, Level, RecordKind, Showing};
use std::collections::BTreeMap;

/// Faults named singly.
const MOST_SHOWN: usize = 20;

const MEND: &str = "write each condition into a file and a record of its own, or say in `rejected` why the specimen \
                    does not count";

/// Returns whether two conditions are one: a laboratory writes `RTD`, `rtd` or `RTD ` for the same.
pub(crate) fn same_condition(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

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
    let same = |own: &str| same_condition(own, wanted);
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
        raised.label(label).help(MEND);
        match named {
            Some(_) => raised.why(&showing.file, "environment.name", "asked here"),
            None => raised.why(file, At::Line(row.line), "tested otherwise"),
        };
    }
}

/// A record, its data, and the first specimen that counts and says its condition.
type Report<'a> = (&'a Entry<Evidence>, &'a TestData, &'a Specimen, &'a str);

/// Finds records of one showing and subject whose specimens were tested in several things, where the showing
/// names nothing: they would be taken as one sample. The later record, by id, is the one at fault.
pub(super) fn across(ledger: &Ledger) -> Vec<(Address, Sink)> {
    let superseded = ledger.superseded();
    let mut reports: BTreeMap<&str, Vec<Report<'_>>> = BTreeMap::new();
    for (id, data) in ledger.data.iter().filter(|(id, _)| !superseded.contains(id.as_str())) {
        let Some(entry) = ledger.evidence.get(id) else { continue };
        let showing = entry.value.showing.id();
        let named =
            ledger.showings.get(showing).and_then(|own| own.value.environment.as_ref()?.name.as_ref());
        let mut counted = data.rows.iter().filter(|row| row.rejected.is_none());
        // One that names its condition is judged file by file; a column that is empty throughout says nothing.
        if let (None, Some((row, own))) = (named, counted.find_map(|row| Some((row, row.condition()?)))) {
            reports.entry(showing).or_default().push((entry, data, row, own));
        }
    }
    let mut found = Vec::new();
    for own in reports.values() {
        for (index, (entry, data, row, condition)) in own.iter().enumerate() {
            let mut earlier = own.iter().take(index);
            let Some((first, first_data, first_row, first_condition)) =
                earlier.find(|(first, ..)| first.value.subject == entry.value.subject)
            else {
                continue;
            };
            if same_condition(condition, first_condition) {
                continue;
            }
            let mut sink = Sink::new(&data.file);
            let message = format!(
                "`{}` was tested in `{condition}`, `{}` in `{first_condition}`: they are no one sample",
                entry.id, first.id
            );
            sink.error("other-condition", At::Line(row.line), message)
                .label("other condition")
                .help(
                    "give each condition a showing of its own, and name it there under `environment`; or correct \
                     the word",
                )
                .why(&first_data.file, At::Line(first_row.line), format!("`{}` has it here", first.id));
            found.push((Address::new(RecordKind::Evidence, entry.id.clone()), sink));
        }
    }
    found
}
