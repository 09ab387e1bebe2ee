//! Reading the text of one record, and writing down what was read so that it is read faster the next time.

use super::recall::WritesDown;
use crate::record::{
    Assembly, Concession, Decision, Evidence, Finish, LedgerHead, Material, Panel, Process, ReadOutcome,
    Recipe, RecordKind, RecordType, Showing, Study, Tool, Weighing, read,
};
use std::sync::Arc;

/// What a record's type must be, to be read here.
pub(super) trait Readable: RecordType + Send + Sync + 'static {}

impl<T: RecordType + Send + Sync + 'static> Readable for T {}

/// Reads a record from the bytes of `file`: the record, unless a fault is an error, and the faults.
pub(super) fn read_record<T: Readable>(file: &str, bytes: &[u8]) -> ReadOutcome<T> {
    read::<T>(file, bytes)
}

/// Reads what [`writes_down`] wrote; `None` where that can't be read.
pub(super) fn read_written<T: Readable>(bytes: &[u8]) -> Option<T> {
    serde_json::from_slice(bytes).ok()
}

/// Returns what writes a record down.
pub(super) fn writes_down<T: Readable>(value: &Arc<T>) -> WritesDown {
    let value = Arc::clone(value);
    Box::new(move || written(&*value))
}

fn written<T: Readable>(value: &T) -> Option<Vec<u8>> {
    let bytes = serde_json::to_vec(value).ok()?;
    (read_written::<T>(&bytes)? == *value).then_some(bytes)
}

/// Returns what is written down of a record of a kind that is read from these bytes, for whoever holds it against what
/// was; `None` where they have a fault or can't be written down.
pub fn written_anew(kind: RecordKind, bytes: &[u8]) -> Option<Vec<u8>> {
    fn of<T: Readable>(bytes: &[u8]) -> Option<Vec<u8>> {
        let read = read_record::<T>("", bytes);
        written(&read.value.filter(|_| read.faults.is_empty())?)
    }
    match kind {
        RecordKind::Ledger => of::<LedgerHead>(bytes),
        RecordKind::Material => of::<Material>(bytes),
        RecordKind::Process => of::<Process>(bytes),
        RecordKind::Tool => of::<Tool>(bytes),
        RecordKind::Finish => of::<Finish>(bytes),
        RecordKind::Recipe => of::<Recipe>(bytes),
        RecordKind::Panel => of::<Panel>(bytes),
        RecordKind::Assembly => of::<Assembly>(bytes),
        RecordKind::Showing => of::<Showing>(bytes),
        RecordKind::Evidence => of::<Evidence>(bytes),
        RecordKind::Decision => of::<Decision>(bytes),
        RecordKind::Concession => of::<Concession>(bytes),
        RecordKind::Weighing => of::<Weighing>(bytes),
        RecordKind::Study => of::<Study>(bytes),
    }
}
