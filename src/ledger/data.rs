//! Data files of evidence: where they lie, what they hold, which batches they share.

use super::files::resolve;
use super::known::Known;
use super::recall::Work;
use super::sink::{At, Sink, settle};
use super::table::{self, Table};
use super::{
    Entry, Files, Held, Ledger, MemoryFiles, Recall, TestData, TrialReading, conditions, normalise,
    plausible, readings, trial,
};
use crate::record::{Address, Evidence, EvidenceState, Fault, Figure, Level, Lots, RecordKind, Showing};
use crate::source::{DATA_LIMIT, ReadFault, with_ends};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Returns `sha256:` and 64 hexadecimal digits.
pub fn digest(bytes: &[u8]) -> String {
    let hex: String = Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect();
    format!("sha256:{hex}")
}

/// Returns the digest of a data file with plain line ends: git may rewrite them in a checkout, which changes no value.
fn digest_of_lines(bytes: &[u8]) -> String {
    if bytes.contains(&b'\r') { digest(&with_ends(bytes, b"\n")) } else { digest(bytes) }
}

/// Whether a digest is that of these bytes, as they are or with the other line ends throughout.
fn is_of(written: &str, bytes: &[u8]) -> bool {
    [digest(bytes), digest_of_lines(bytes), digest(&with_ends(bytes, b"\r\n"))]
        .iter()
        .any(|own| own == written)
}

/// What is remembered of a data file without faults.
struct Read {
    table: Table,
    /// Instead of the table, where the file is one of readings in time.
    readings: Option<Arc<[TrialReading]>>,
    digest: String,
}

/// Reads the data file of one record.
pub(super) fn read(
    known: Known<'_>,
    files: &dyn Files,
    recall: &dyn Recall,
    sink: &mut Sink,
    own: &Entry<Evidence>,
) -> Option<TestData> {
    let Some(written) = own.value.data.as_deref() else {
        normalise::evidence(known, sink, own, None);
        return None;
    };
    let Some(file) = resolve(&own.file, written) else {
        sink.error("outside-ledger", "data", format!("`{written}` lies outside the ledger"))
            .label("outside")
            .help("put the file into the ledger, and write its path relative to this record's folder");
        return None;
    };
    let read = match load(files, recall, &file) {
        Ok(read) => read,
        Err(Unread::Missing(why)) => {
            let message = format!("the data file `{file}` can't be read: {why}");
            // Before a test is done its data may well not be there yet.
            let raised = if own.value.state == EvidenceState::Done {
                sink.error("missing-data", "data", message)
            } else {
                sink.warning("missing-data", "data", message)
            };
            let is_there = why != ReadFault::Missing.to_string();
            raised.label(if is_there { "not to be read" } else { "no such data" });
            raised.help(if written.contains('\\') {
                "write the path with `/`"
            } else if is_there {
                "see that it is a plain file which you may read"
            } else {
                "write the path relative to this record's folder"
            });
            return None;
        }
        Err(Unread::Bad(lines)) => {
            bad_lines(sink, &file, lines);
            return None;
        }
    };
    let mut digest = read.digest.clone();
    let other = own.value.digest.as_deref().filter(|kept| *kept != digest);
    if let Some(kept) = other.filter(|kept| files.read(&file, DATA_LIMIT).is_ok_and(|now| is_of(kept, &now)))
    {
        digest = kept.to_string();
    } else if let Some(kept) = other.filter(|_| !own.value.grows()) {
        sink.warning("digest-differs", "digest", format!("`{file}` is no longer what it was when conformed"))
            .label("other bytes")
            .help(format!(
                "restore the file ({kept}), or record the correction as new evidence that supersedes this"
            ));
    }
    trial::data_fits(sink, own, &file, read.readings.as_deref());
    let of_specimens = read.readings.is_none();
    if let Some(showing) = known.ledger.showings.get(own.value.showing.id()).filter(|_| of_specimens) {
        unit_fits(sink, &file, &read.table, showing);
        conditions::fit(sink, &file, &read.table, showing);
        normalise::evidence(known, sink, own, Some((&file, &read.table)));
    }
    Some(TestData {
        file,
        digest,
        unit: read.table.unit.clone(),
        others: read.table.others.clone(),
        rows: Arc::clone(&read.table.rows),
        readings: read.readings.clone().unwrap_or_default(),
        with_later: None,
        held: Held { _by: Some(read) },
    })
}

fn bad_lines(sink: &mut Sink, file: &str, lines: Vec<table::BadLine>) {
    for bad in lines {
        sink.elsewhere(Level::Error, "bad-data", file, At::Line(bad.line), bad.message)
            .label(bad.label)
            .help(bad.help);
    }
}

enum Unread {
    Missing(String),
    Bad(Vec<table::BadLine>),
}

fn load(files: &dyn Files, recall: &dyn Recall, file: &str) -> Result<Arc<Read>, Unread> {
    let listed = files.blob_id(file);
    let find = |blob: Option<&str>| {
        let read = recall.find(blob?, "data")?.downcast::<Read>().ok()?;
        recall.count(Work::Spared);
        Some(read)
    };
    if let Some(read) = find(listed.as_deref()) {
        return Ok(read);
    }
    let bytes = files.read(file, DATA_LIMIT).map_err(Unread::Missing)?;
    // By the bytes that were read, and not by those that were there when the files were listed.
    let blob = if recall.keeps() { files.blob_of(&bytes).or_else(|| listed.clone()) } else { None };
    if blob != listed
        && let Some(read) = find(blob.as_deref())
    {
        return Ok(read);
    }
    let (table, readings) = if readings::are_readings(&bytes) {
        (Table::default(), Some(readings::read(&bytes).map_err(Unread::Bad)?.into()))
    } else {
        (table::read(&bytes).map_err(Unread::Bad)?, None)
    };
    let read = Arc::new(Read { table, readings, digest: digest_of_lines(&bytes) });
    recall.count(Work::Digested);
    if let Some(blob) = blob {
        recall.keep(&blob, "data", Arc::<Read>::clone(&read));
    }
    Ok(read)
}

/// Reads a table of specimens that is no ledger's; `file` is what its faults call it.
///
/// # Errors
/// All faults in the order of their lines.
pub fn read_specimens(file: &str, bytes: &[u8]) -> Result<TestData, Vec<Fault>> {
    let table = table::read(bytes).map_err(|lines| {
        let mut sink = Sink::new(file);
        bad_lines(&mut sink, file, lines);
        let mut files = MemoryFiles::new();
        files.put(file, bytes);
        settle(&files, vec![sink])
    })?;
    Ok(TestData {
        file: file.to_string(),
        digest: digest_of_lines(bytes),
        unit: table.unit,
        others: table.others,
        readings: Arc::default(),
        with_later: None,
        held: Held::default(),
        rows: table.rows,
    })
}

/// Values in one kind of unit can't meet a criterion in another; values without one are taken in the
/// criterion's, which whoever wrote them may not have meant.
fn unit_fits(sink: &mut Sink, file: &str, table: &Table, showing: &Entry<Showing>) {
    let accept = &showing.value.accept;
    let here = "the criterion stands here";
    if let Some(unit) = &table.unit {
        if let Some(other) = accept.limits().find(|criterion| criterion.number_in(unit).is_none()) {
            let bare = other.unit().is_empty();
            let message = format!("values in {unit} can't meet the criterion `{}`", other.text());
            sink.elsewhere(Level::Error, "bad-data", file, At::Line(1), message)
                .label("other unit")
                .help(if bare {
                    "write the unit of the criterion in the showing, or take the values' out if they have none"
                } else {
                    "write the unit that the values are in"
                })
                .why(&showing.file, "accept", here);
            return;
        }
    } else if let Some(limit) = accept.limits().find(|limit| !limit.unit().is_empty()) {
        let unit = limit.unit();
        // `600 MPa` in the cell's unit is another number than 600 where the two are not the same.
        let same = |said: &str| limit.number_in(said).is_some_and(|number| close(number, limit.number()));
        if let Some((said, line)) = table.said.iter().find(|(said, _)| !same(said)) {
            let message = format!(
                "the column of units says `{said}`, but is not read: the values would be taken in {unit}"
            );
            sink.elsewhere(Level::Error, "bad-data", file, At::Line(*line), message)
                .label("another unit")
                .help(format!(
                    "write the unit in the header, for example `value [{unit}]`, and all values in it"
                ))
                .why(&showing.file, "accept", here);
            return;
        }
        let message = format!("the values have no unit: they are taken in {unit}, as the criterion is");
        sink.elsewhere(Level::Warning, "unit-assumed", file, At::Line(1), message)
            .label("no unit")
            .help(format!("write the unit that they are in, for example `value [{unit}]`"))
            .why(&showing.file, "accept", here);
    }
    let Some(unit) = table.unit.as_deref().or_else(|| accept.limits().next().map(Figure::unit)) else {
        return;
    };
    let values: Vec<f64> =
        table.rows.iter().filter(|row| row.rejected.is_none()).map(|row| row.value).collect();
    if let Some((factor, middle, limit)) = plausible::far_off(accept, unit, &values) {
        let message = format!(
            "the values lie around {middle} {unit}, a factor of {factor:.0} from the criterion `{limit}`"
        );
        sink.elsewhere(Level::Warning, "implausible", file, At::Line(1), message)
            .label("implausible")
            .help("check the units of both; if they are right, leave them: they are used as they stand")
            .why(&showing.file, "accept", here);
    }
}

fn close(one: f64, other: f64) -> bool {
    (one - other).abs() <= 1e-9 * one.abs().max(other.abs())
}

/// A record, its data, and the line on which a batch stands first.
type Report<'a> = (&'a Entry<Evidence>, &'a TestData, usize);

/// Finds batch labels that two reports of one showing have without both saying that they share lots.
/// The later record, by id, is the one at fault.
pub(super) fn shared_batches(ledger: &Ledger) -> Vec<(Address, Sink)> {
    let superseded = ledger.superseded();
    let mut owners: BTreeMap<(&str, &str), Vec<Report<'_>>> = BTreeMap::new();
    for (id, data) in &ledger.data {
        let Some(entry) = ledger.evidence.get(id) else { continue };
        // A correction has the batches of what it corrects.
        if superseded.contains(id.as_str()) {
            continue;
        }
        let mut seen = BTreeSet::new();
        for row in data.rows.iter().filter(|row| seen.insert(&*row.batch)) {
            owners.entry((entry.value.showing.id(), &row.batch)).or_default().push((entry, data, row.line));
        }
    }
    let mut found = Vec::new();
    for ((_, batch), reports) in owners {
        for (index, (entry, data, line)) in reports.iter().enumerate() {
            let shared = |entry: &Entry<Evidence>| entry.value.lots == Some(Lots::Shared);
            let earlier = reports.iter().take(index);
            let Some((other, other_data, other_line)) =
                earlier.into_iter().find(|(other, _, _)| !(shared(entry) && shared(other)))
            else {
                continue;
            };
            let mut sink = Sink::new(&data.file);
            sink.error(
                "shared-batch",
                At::Line(*line),
                format!("batch `{batch}` is in `{}` and in `{}`", other.id, entry.id),
            )
            .label("label used before")
            .help(
                "if it is the same lot, write `lots: shared` in both records; if not, tell the labels apart",
            )
            .why(&other_data.file, At::Line(*other_line), format!("`{}` has it here", other.id));
            found.push((Address::new(RecordKind::Evidence, entry.id.clone()), sink));
        }
    }
    found
}
