//! What the ledger asks of the files it is read from.

use crate::record::{import_of, named, without_import};
use crate::source::{EntryKind, Imported, Origin, Snapshot};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Files of one state of a ledger, with paths relative to the ledger's root and `/` between parts.
pub trait Files: Sync {
    /// Returns all regular files under the kind folders or in place of one, and `ledger.yaml`, sorted.
    fn paths(&self) -> Vec<String>;

    /// Returns paths under the kind folders that are no regular files, and what they are instead.
    fn oddities(&self) -> Vec<(String, String)>;

    /// Returns the names of the folders at the root.
    fn folders(&self) -> Vec<String>;

    /// Returns the bytes of a file of at most `limit` bytes.
    ///
    /// # Errors
    /// Says why the file can't be read, without its path.
    fn read(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, String>;

    /// Returns an id that is the same exactly where the bytes are; `None` where none is known without
    /// reading the file.
    fn blob_id(&self, path: &str) -> Option<String>;

    /// Returns the id of bytes that were read; `None` where such ids are not used.
    fn blob_of(&self, _bytes: &[u8]) -> Option<String> {
        None
    }

    /// Returns files that would be among [`Files::paths`], but that git ignores; of many some.
    fn ignored(&self) -> Vec<String> {
        Vec::new()
    }

    /// Returns how the ledgers were found that `ledger.yaml` imports, in its order. The files of records that are
    /// taken from them are among [`Files::paths`], with the import's name and `:` before the path that they have there.
    fn imports(&self) -> Vec<Imported> {
        Vec::new()
    }
}

/// Files that stand in memory only.
#[derive(Debug, Clone, Default)]
pub struct MemoryFiles {
    files: BTreeMap<String, Arc<[u8]>>,
    oddities: Vec<(String, String)>,
    folders: Vec<String>,
}

impl MemoryFiles {
    /// Returns no files.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a file or replaces it.
    pub fn put(&mut self, path: &str, bytes: impl Into<Vec<u8>>) {
        self.files.insert(path.to_string(), Arc::from(bytes.into()));
    }

    /// Takes a file away.
    pub fn remove(&mut self, path: &str) {
        self.files.remove(path);
    }

    /// Adds a path that is no regular file.
    pub fn put_oddity(&mut self, path: &str, what: &str) {
        self.oddities.push((path.to_string(), what.to_string()));
    }

    /// Adds an empty folder at the root.
    pub fn put_folder(&mut self, name: &str) {
        self.folders.push(name.to_string());
    }
}

impl Files for MemoryFiles {
    fn paths(&self) -> Vec<String> {
        self.files
            .keys()
            .filter(|path| *path == super::find::HEAD_FILE || in_kind_folder(path))
            .cloned()
            .collect()
    }

    fn oddities(&self) -> Vec<(String, String)> {
        self.oddities.clone()
    }

    fn folders(&self) -> Vec<String> {
        let tops = self.files.keys().filter_map(|path| path.split_once('/')).map(|(top, _)| top.to_string());
        let all: std::collections::BTreeSet<String> = tops.chain(self.folders.iter().cloned()).collect();
        all.into_iter().collect()
    }

    fn read(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, String> {
        let bytes = self.files.get(path).ok_or("there is no such file")?;
        if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > limit {
            return Err(format!("it is larger than {limit} bytes"));
        }
        Ok(Arc::clone(bytes))
    }

    fn blob_id(&self, path: &str) -> Option<String> {
        self.files.get(path).map(|bytes| super::data::digest(bytes))
    }
}

fn in_kind_folder(path: &str) -> bool {
    let top = path.split_once('/').map_or(path, |(top, _)| top);
    crate::record::RecordKind::by_folder(top).is_some()
}

/// Joins a path that a record gives to that record's own folder, and takes `.` and `..` out of it.
/// `None` where it is absolute or leads out of the ledger.
pub(super) fn resolve(record: &str, relative: &str) -> Option<String> {
    let drive = relative.as_bytes().get(1) == Some(&b':');
    if relative.starts_with('/') || drive {
        return None;
    }
    // A record of an import names files of its own ledger.
    let (import, record) = (import_of(record), without_import(record));
    let folder = record.rsplit_once('/').map_or("", |(folder, _)| folder);
    let mut parts: Vec<&str> = Vec::new();
    for part in folder.split('/').chain(relative.split('/')) {
        match part {
            "" | "." => {}
            ".." => {
                parts.pop()?;
            }
            part if part.eq_ignore_ascii_case(".git") => return None,
            part => parts.push(part),
        }
    }
    (!parts.is_empty()).then(|| named(import, &parts.join("/")))
}

impl Files for Snapshot {
    fn paths(&self) -> Vec<String> {
        let own = self.files().filter(|file| file.kind == EntryKind::Regular).map(|file| file.path.clone());
        let mut all: Vec<String> = own.chain(self.imported_paths()).collect();
        all.sort_unstable();
        all
    }

    fn oddities(&self) -> Vec<(String, String)> {
        self.files()
            .filter_map(|file| match &file.kind {
                EntryKind::Regular => None,
                EntryKind::Link => Some((file.path.clone(), "a link".to_string())),
                EntryKind::Other(what) => Some((file.path.clone(), what.clone())),
            })
            .collect()
    }

    fn folders(&self) -> Vec<String> {
        self.top_level_folders()
    }

    fn read(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, String> {
        self.read_limited(path, limit).map_err(|fault| fault.to_string())
    }

    fn blob_id(&self, path: &str) -> Option<String> {
        match self.origin() {
            // There the id is worked out from the bytes, where it is not known: reading them twice would cost more than
            // it saves.
            Origin::WorkTree if import_of(path).is_none() => self.learnt(path),
            _ => Snapshot::blob_id(self, path),
        }
    }

    fn ignored(&self) -> Vec<String> {
        Snapshot::ignored(self).to_vec()
    }

    fn imports(&self) -> Vec<Imported> {
        Snapshot::imports(self)
    }

    fn blob_of(&self, bytes: &[u8]) -> Option<String> {
        crate::source::blob_of(bytes)
    }
}
