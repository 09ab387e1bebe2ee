//! Snapshots (path, blob id, bytes) of the work tree, the index, a revision, and overlays on them; installing the hook.
//!
//! [`Place::find`] says where the ledger is; [`Place::work_tree`], [`Place::index`] and
//! [`Place::revision`] give the one type [`Snapshot`], so that whatever reads a ledger reads all
//! three alike. The index and revisions are read through git's objects: nothing is checked out,
//! stashed or written to be read, no link is followed, and no program that a repository's
//! configuration names is run.

mod branches;
mod disk;
mod fault;
mod glance;
mod guard;
mod imports;
mod lines;
mod merge;
mod objects;
mod path;
mod place;
mod repository;
mod snapshot;
mod stamps;

pub mod hook;
pub mod write;

#[cfg(test)]
mod testbed;
#[cfg(test)]
mod tests;

pub use branches::BranchFiles;
pub use fault::{ReadFault, SourceError};
pub use glance::Glance;
pub use imports::{Drift, ImportFault, Imported, MOST_IMPORTS, Taken};
pub use lines::{same_but_ends, with_ends, with_ends_of};
pub use merge::Merged;
pub use path::resolve;
pub use place::Place;
pub use repository::{Commit, Repository};
pub use snapshot::{Differing, EntryKind, FileEntry, Origin, Snapshot};
pub use stamps::Stamps;

/// The file at a ledger's root that makes a folder a ledger.
pub const LEDGER_FILE: &str = "ledger.yaml";

/// The folders whose files a snapshot lists. Files anywhere else in the ledger can be read by path.
pub const KIND_FOLDERS: [&str; 13] = [
    "assemblies",
    "concessions",
    "decisions",
    "evidence",
    "finishes",
    "materials",
    "panels",
    "processes",
    "recipes",
    "showings",
    "studies",
    "tools",
    "weighings",
];

/// The size, in bytes, above which a record is refused without being read.
pub const RECORD_LIMIT: u64 = crate::record::MAX_BYTES as u64;

/// The size, in bytes, above which any other file is refused without being read.
pub const DATA_LIMIT: u64 = 64 * 1024 * 1024;

/// The number of files above which a snapshot is refused: a tree can name itself over and over and
/// so hold more files than any machine can list.
pub const FILE_LIMIT: usize = 1_000_000;

/// Returns git's id of a blob with these bytes.
pub fn blob_of(bytes: &[u8]) -> Option<String> {
    git2::Oid::hash_object(git2::ObjectType::Blob, bytes).ok().map(|id| id.to_string())
}

/// Returns the bytes of an id as [`blob_of`] writes it; `None` of any other text.
pub(crate) fn blob_bytes(id: &str) -> Option<[u8; 20]> {
    let is_written = id.len() == 40 && !id.bytes().any(|byte| byte.is_ascii_uppercase());
    let id = git2::Oid::from_str(id).ok().filter(|_| is_written)?;
    id.as_bytes().try_into().ok()
}

/// Bytes as hexadecimal digits.
fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
