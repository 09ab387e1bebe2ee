//! The checked whole: every record read and cross-referenced, with all its faults.

use crate::record::{
    Address, Assembly, Concession, Decision, Evidence, Fault, Finish, LedgerHead, Material, Panel, Process,
    Recipe, RecordKind, Showing, Study, Tool, Weighing,
};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

mod built;
mod carried;
mod circles;
mod data;
mod days;
mod design;
mod files;
mod find;
mod head;
mod known;
mod load;
mod multitude;
mod places;
mod plausible;
mod proof;
mod ranges;
mod read;
mod readings;
mod recall;
mod references;
mod sink;
mod steering;
mod subjects;
mod table;
mod trial;
/// The only record whose id begins with the name and a dash.
fn only<'a, T>(records: &'a Records<T>, name: &str) -> Option<&'a Entry<T>> {
    let mut fits = records.values().filter(|entry| {
        entry.id.strip_prefix(name).is_some_and(|rest| !name.is_empty() && rest.starts_with('-'))
    });
    fits.next().filter(|_| fits.next().is_none())
}

#[cfg(test)]
mod tests;
mod words;

pub use files::{Files, MemoryFiles};
pub use multitude::MOST_PIECES;
pub use readings::TrialReading;
pub use recall::{Counts, MemoryRecall, NoRecall, Recall, Remembered, Work};
pub use words::{FACETS, KNOWN_SHOWING_KINDS, ShowingKind};

/// One record with its id and its file.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry<T> {
    /// The id: the file's stem.
    pub id: String,
    /// Path relative to the ledger's root.
    pub file: String,
    /// What was written; shared with whoever remembers it.
    pub value: Arc<T>,
}

/// Records of one kind by id.
pub type Records<T> = BTreeMap<String, Entry<T>>;

/// One row of a data file.
#[derive(Debug, Clone, PartialEq)]
pub struct Specimen {
    /// Label of the batch.
    pub batch: String,
    /// Label of the panel.
    pub panel: String,
    /// Label of the specimen.
    pub specimen: String,
    /// The value in the file's unit; NaN where a rejected specimen has none.
    pub value: f64,
    /// Why it was rejected, where it was.
    pub rejected: Option<String>,
    /// Line in the file.
    pub line: usize,
}

/// The specimens of one evidence record.
#[derive(Debug, Clone, PartialEq)]
pub struct TestData {
    /// Path relative to the ledger's root.
    pub file: String,
    /// `sha256:` and 64 hexadecimal digits, of the file's bytes.
    pub digest: String,
    /// Unit in the header, where one was written.
    pub unit: Option<String>,
    /// All rows, rejected ones included.
    pub rows: Vec<Specimen>,
    /// The readings in time of an exposure trial, which has no specimens; rejected ones included.
    pub readings: Vec<TrialReading>,
}

/// A whole ledger as read from one snapshot; records with errors are left out and named in `broken`.
#[derive(Debug, Clone, Default)]
pub struct Ledger {
    /// `ledger.yaml`; `None` where it is missing or broken.
    pub head: Option<LedgerHead>,
    /// Constituents.
    pub materials: Records<Material>,
    /// Processes.
    pub processes: Records<Process>,
    /// Patterns and moulds.
    pub tools: Records<Tool>,
    /// Paint recipes.
    pub finishes: Records<Finish>,
    /// Laminate recipes.
    pub recipes: Records<Recipe>,
    /// Panels.
    pub panels: Records<Panel>,
    /// Assemblies.
    pub assemblies: Records<Assembly>,
    /// What must be shown.
    pub showings: Records<Showing>,
    /// What was shown.
    pub evidence: Records<Evidence>,
    /// Decisions.
    pub decisions: Records<Decision>,
    /// Concessions.
    pub concessions: Records<Concession>,
    /// Weighings.
    pub weighings: Records<Weighing>,
    /// Studies.
    pub studies: Records<Study>,
    /// Specimens by evidence id.
    pub data: BTreeMap<String, TestData>,
    /// Everything wrong, sorted by file, line and rule.
    pub faults: Vec<Fault>,
    /// Records that exist but can't be used.
    pub broken: BTreeSet<Address>,
}

impl Ledger {
    /// Finds a decision by its id, or by the beginning of it that only one has: `dd-007`.
    pub fn decision(&self, name: &str) -> Option<&Entry<Decision>> {
        self.decisions.get(name).or_else(|| only(&self.decisions, name))
    }

    /// Finds a concession likewise.
    pub fn concession(&self, name: &str) -> Option<&Entry<Concession>> {
        self.concessions.get(name).or_else(|| only(&self.concessions, name))
    }

    /// Returns the file of a record.
    pub fn file_of(&self, address: &Address) -> Option<&str> {
        let id = address.id();
        match address.kind() {
            RecordKind::Ledger => Some("ledger.yaml"),
            RecordKind::Material => self.materials.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Process => self.processes.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Tool => self.tools.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Finish => self.finishes.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Recipe => self.recipes.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Panel => self.panels.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Assembly => self.assemblies.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Showing => self.showings.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Evidence => self.evidence.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Decision => self.decisions.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Concession => self.concessions.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Weighing => self.weighings.get(id).map(|entry| entry.file.as_str()),
            RecordKind::Study => self.studies.get(id).map(|entry| entry.file.as_str()),
        }
    }
}
