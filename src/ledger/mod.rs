//! The checked whole: every record read and cross-referenced, with all its faults.

use crate::record::{
    Address, Assembly, Concession, Decision, Evidence, Fault, Finish, LedgerHead, Material, Panel, Process,
    Recipe, RecordKind, Showing, Study, Tool, Weighing,
};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

mod approvals;
mod built;
mod carried;
mod circles;
mod conditions;
mod counted;
mod data;
mod days;
mod design;
mod exposure;
mod files;
mod find;
mod fresh;
mod head;
mod imports;
mod known;
mod levels;
mod load;
mod multitude;
mod normalise;
mod places;
mod plausible;
mod prices;
mod proof;
mod ranges;
mod read;
mod readings;
mod recall;
mod references;
mod serials;
mod sink;
mod steering;
mod subjects;
pub(crate) mod table;
mod trial;
mod vary;
pub mod weighed;
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

pub use approvals::number_of;
pub(crate) use conditions::same_condition;
pub use counted::Uncounted;
pub use data::{digest as digest_of, read_specimens};
pub use files::{Files, MemoryFiles};
pub use multitude::MOST_PIECES;
pub use normalise::{NoNominal, Nominal};
pub use read::written_anew;
pub use readings::TrialReading;
pub use recall::{Counts, MemoryRecall, NoRecall, Recall, Remembered, Work, WritesDown, Written};
pub use steering::{digest_of_changes, is_as_predicted};
pub use vary::{Varied, VariedPlace, VariedTo, VaryFault, tree_of, varied};
pub use words::{FACETS, KNOWN_SHOWING_KINDS, ShowingKind};
pub use words::{GATE_RULES, gate_level};

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
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Specimen {
    /// Label of the batch.
    pub batch: Arc<str>,
    /// Label of the panel.
    pub panel: Arc<str>,
    /// Label of the specimen.
    pub specimen: Box<str>,
    /// The value in the file's unit; NaN where a rejected specimen has none.
    pub value: f64,
    /// Why it was rejected, where it was.
    pub rejected: Option<Box<str>>,
    /// What further columns say of it, where they say anything; rows that follow each other share what is equal.
    pub further: Option<Arc<Further>>,
    /// Line in the file.
    pub line: usize,
}

/// What a data file says of a specimen beside its labels and its value.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Further {
    /// Thickness of a cured ply, in m.
    pub ply_thickness: Option<f64>,
    /// Thickness of the whole specimen, in m.
    pub thickness: Option<f64>,
    /// How many plies it has.
    pub plies: Option<u32>,
    /// Fibre volume over volume, above 0 and below 1.
    pub fibre_volume: Option<f64>,
    /// Width, in m.
    pub width: Option<f64>,
    /// How it failed, as the laboratory wrote it.
    pub mode: Option<Arc<str>>,
    /// What it was tested in, as the laboratory wrote it.
    pub condition: Option<Arc<str>>,
    /// Cells of the columns that are not known, in their order, with U+001F between them; empty where all are.
    /// [`Specimen::others`] takes them apart.
    pub others: Box<str>,
}

impl Specimen {
    /// Returns the thickness of a cured ply in m: as measured, or the specimen's over its plies.
    pub fn ply_thickness(&self) -> Option<f64> {
        let further = self.further.as_ref()?;
        further.ply_thickness.or_else(|| Some(further.thickness? / f64::from(further.plies?)))
    }

    /// Returns fibre volume over volume.
    pub fn fibre_volume(&self) -> Option<f64> {
        self.further.as_ref()?.fibre_volume
    }

    /// Returns the width in m.
    pub fn width(&self) -> Option<f64> {
        self.further.as_ref()?.width
    }

    /// Returns how it failed, as the laboratory wrote it.
    pub fn mode(&self) -> Option<&str> {
        self.further.as_ref()?.mode.as_deref()
    }

    /// Returns what it was tested in, as the laboratory wrote it.
    pub fn condition(&self) -> Option<&str> {
        self.further.as_ref()?.condition.as_deref()
    }

    /// Returns the cells of the columns that are not known, in the order of their names; none where all are
    /// empty.
    pub fn others(&self) -> impl Iterator<Item = &str> {
        let joined = self.further.as_ref().map(|own| &*own.others).filter(|own| !own.is_empty());
        joined.into_iter().flat_map(|own| own.split(table::BETWEEN))
    }
}

/// The specimens of one evidence record.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TestData {
    /// Path relative to the ledger's root.
    pub file: String,
    /// `sha256:` and 64 hexadecimal digits, of the file's bytes with plain line ends, or of those that were conformed.
    pub digest: String,
    /// Unit in the header, where one was written.
    pub unit: Option<String>,
    /// Names of the columns that are not known, as written.
    pub others: Vec<String>,
    /// All rows, rejected ones included; states that have the same file share them.
    pub rows: Arc<[Specimen]>,
    /// The readings in time of an exposure trial, which has no specimens; rejected ones included.
    pub readings: Arc<[TrialReading]>,
    /// All readings of the file, where some are of a day that has not come and are left out above ([`Ledger::as_of`]).
    pub with_later: Option<Arc<[TrialReading]>>,
    /// While this is held, what the file was read as is not forgotten.
    pub(crate) held: Held,
}

impl TestData {
    /// Returns the readings of the file, those of days that have not come too.
    pub fn all_readings(&self) -> &[TrialReading] {
        self.with_later.as_ref().unwrap_or(&self.readings)
    }

    /// Leaves the readings out whose day has not come, which nobody can have taken.
    fn as_of(&mut self, today: crate::record::Day) {
        if let Some(all) = self.with_later.take() {
            self.readings = all;
        }
        let has_come = |row: &&TrialReading| row.on.is_none_or(|on| on.has_come(today));
        if !self.readings.iter().all(|row| has_come(&row)) {
            let come = self.readings.iter().filter(has_come).cloned().collect();
            self.with_later = Some(std::mem::replace(&mut self.readings, come));
        }
    }
}

/// What something is remembered by; it says nothing of itself.
#[derive(Clone, Default)]
pub(crate) struct Held {
    _by: Option<Remembered>,
}

impl std::fmt::Debug for Held {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Held")
    }
}

impl PartialEq for Held {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

/// A whole ledger as read from one snapshot; records with errors are left out and named in `broken`.
#[derive(Debug, Clone, Default)]
pub struct Ledger {
    /// The day it is looked at from ([`Ledger::as_of`]); without one every weighing counts, whatever its day.
    pub today: Option<crate::record::Day>,
    /// Finished evidence that counts as under way on that day, since its article is made later.
    pub ahead: BTreeSet<String>,
    /// `ledger.yaml`; `None` where it is missing or broken.
    pub head: Option<LedgerHead>,
    /// How the ledgers were found that records are taken from; their records stand among the others, and their ids begin
    /// with the import's name and `:`.
    pub imports: Vec<crate::source::Imported>,
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
    /// Files that would be records, but that git ignores, and so does this program; of many some.
    pub ignored: Vec<String>,
}

impl Ledger {
    /// Returns the place of a milestone in the ledger's order; `None` where it is no milestone.
    pub fn milestone(&self, name: Option<&str>) -> Option<usize> {
        let name = name?;
        self.head.as_ref()?.milestones.iter().position(|own| own.as_str() == name)
    }

    /// Returns the milestone after the one that is reached; the first where none is, `None` behind the last.
    pub fn next_milestone(&self) -> Option<&str> {
        let head = self.head.as_ref()?;
        let reached = self.milestone(head.reached.as_ref().map(crate::record::Text::as_str));
        head.milestones.get(reached.map_or(0, |at| at + 1)).map(crate::record::Text::as_str)
    }

    /// Returns whether the release of a panel needs what is due at a milestone: a duty without one is needed always, and a
    /// release without one is for everything.
    pub fn release_needs(&self, panel: &Panel, due: Option<&str>) -> bool {
        let release = self.milestone(panel.released_for.as_ref().map(crate::record::Text::as_str));
        self.milestone(due).zip(release).is_none_or(|(due, release)| due <= release)
    }

    /// Returns whether another ledger holds the very same, read from the same bytes: equal values that were read apart
    /// may count as different.
    pub fn is_of(&self, other: &Self) -> bool {
        fn same<T>(one: &Records<T>, two: &Records<T>) -> bool {
            let pairs = one.values().zip(two.values());
            one.len() == two.len() && { pairs }.all(|(one, two)| {
                one.id == two.id && one.file == two.file && Arc::ptr_eq(&one.value, &two.value)
            })
        }
        self.today == other.today
            && self.head == other.head
            && self.broken == other.broken
            && same(&self.materials, &other.materials)
            && same(&self.processes, &other.processes)
            && same(&self.tools, &other.tools)
            && same(&self.finishes, &other.finishes)
            && same(&self.recipes, &other.recipes)
            && same(&self.panels, &other.panels)
            && same(&self.assemblies, &other.assemblies)
            && same(&self.showings, &other.showings)
            && same(&self.evidence, &other.evidence)
            && same(&self.decisions, &other.decisions)
            && same(&self.concessions, &other.concessions)
            && same(&self.weighings, &other.weighings)
            && self.data.len() == other.data.len()
            && self.data.iter().zip(&other.data).all(|((one, own), (two, theirs))| {
                one == two && own.file == theirs.file && own.digest == theirs.digest
            })
    }

    /// Finds a decision by its id, or by the beginning of it that only one has: `dd-007`.
    pub fn decision(&self, name: &str) -> Option<&Entry<Decision>> {
        self.decisions.get(name).or_else(|| only(&self.decisions, name))
    }

    /// Returns whether the data of a record are no longer the bytes that its digest was taken of, where they may not grow.
    pub fn is_altered(&self, entry: &Entry<Evidence>) -> bool {
        let own = &entry.value;
        let now = self.data.get(&entry.id);
        !own.grows() && own.digest.as_deref().zip(now).is_some_and(|(kept, now)| kept != now.digest)
    }

    /// Returns the evidence that further evidence corrects.
    pub fn superseded(&self) -> BTreeSet<&str> {
        self.evidence.values().filter_map(|entry| Some(entry.value.supersedes.as_ref()?.id())).collect()
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
