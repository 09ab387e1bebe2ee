//! The files of a ledger read once, for trials that differ from it in one.

use crate::ledger::Files;
use crate::source::{Snapshot, blob_of};
use foldhash::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// The bytes of a file, and the id that is the same exactly where they are.
type Kept = (Arc<[u8]>, Option<String>);

/// Files that are kept once they were read.
pub(super) struct Once<'a> {
    files: &'a Snapshot,
    kept: Mutex<HashMap<String, Kept>>,
}

impl<'a> Once<'a> {
    pub(super) fn new(files: &'a Snapshot) -> Self {
        Self { files, kept: Mutex::default() }
    }

    /// The files with another text laid over one of them.
    pub(super) fn under<'o>(&'o self, laid: &'o Snapshot, file: &'o str) -> Under<'o> {
        Under { once: self, laid, file }
    }

    fn kept(&self, path: &str) -> Option<Kept> {
        let known = self.kept.lock().unwrap_or_else(PoisonError::into_inner).get(path).cloned();
        if known.is_some() {
            return known;
        }
        // What can't be read is left to whoever asks, with the reason.
        let bytes = self.files.read(path).ok()?;
        let blob = blob_of(&bytes);
        let own = (bytes, blob);
        self.kept.lock().unwrap_or_else(PoisonError::into_inner).insert(path.to_string(), own.clone());
        Some(own)
    }
}

/// One trial's files.
pub(super) struct Under<'a> {
    once: &'a Once<'a>,
    laid: &'a Snapshot,
    file: &'a str,
}

impl Files for Under<'_> {
    fn paths(&self) -> Vec<String> {
        self.laid.paths()
    }

    fn oddities(&self) -> Vec<(String, String)> {
        self.laid.oddities()
    }

    fn folders(&self) -> Vec<String> {
        self.laid.folders()
    }

    fn read(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, String> {
        let fits = |(bytes, _): &Kept| u64::try_from(bytes.len()).is_ok_and(|own| own <= limit);
        let kept = if path == self.file { None } else { self.once.kept(path) };
        match kept.filter(fits) {
            Some((bytes, _)) => Ok(bytes),
            None => Files::read(self.laid, path, limit),
        }
    }

    fn blob_id(&self, path: &str) -> Option<String> {
        if path == self.file { None } else { self.once.kept(path)?.1 }
    }

    fn blob_of(&self, bytes: &[u8]) -> Option<String> {
        blob_of(bytes)
    }
}
