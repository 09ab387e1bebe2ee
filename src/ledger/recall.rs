//! What was read once and need not be read again.

use crate::source::blob_bytes;
use std::any::Any;
use std::collections::HashMap;
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, PoisonError, RwLock};

/// A value of whatever type that several ledgers may share.
pub type Remembered = Arc<dyn Any + Send + Sync>;

/// Something that an earlier run wrote down, among other things.
#[derive(Debug, Clone)]
pub struct Written {
    /// All that was written down with it.
    pub all: Arc<[u8]>,
    /// Where it stands there.
    pub at: Range<usize>,
}

impl Written {
    /// Returns the bytes.
    pub fn bytes(&self) -> &[u8] {
        self.all.get(self.at.clone()).unwrap_or_default()
    }
}

/// Writes a record down for later runs; nothing comes of one that would not be read again as the very same.
pub type WritesDown = Box<dyn FnOnce() -> Option<Vec<u8>> + Send + Sync>;

/// Work that was done because nothing was remembered, or spared because something was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Work {
    /// A record was parsed.
    Parsed,
    /// The digest of a data file was computed.
    Digested,
    /// Something remembered was used.
    Spared,
}

/// How often each kind of work was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Records parsed.
    pub parsed: usize,
    /// Data files digested.
    pub digested: usize,
    /// Readings spared.
    pub spared: usize,
}

/// Remembers what was found in a blob, so that a second snapshot reads only what differs.
///
/// `what` says as what the blob was read: the kind of record, or `data`. Only what had no fault is
/// kept, so that faults are always found in the file they stand in.
pub trait Recall: Sync {
    /// Returns what was read from the blob as `what`.
    fn find(&self, blob: &str, what: &'static str) -> Option<Remembered>;

    /// Keeps what was read from the blob as `what`.
    fn keep(&self, blob: &str, what: &'static str, value: Remembered);

    /// Returns what an earlier run wrote down of the record that it read from the blob.
    fn written(&self, _blob: &str, _what: &'static str) -> Option<Written> {
        None
    }

    /// Keeps how the record that was read from the blob is written down, for later runs.
    fn write(&self, _blob: &str, _what: &'static str, _how: WritesDown) {}

    /// Returns whether anything is written down for later runs.
    fn writes(&self) -> bool {
        false
    }

    /// Counts one piece of work.
    fn count(&self, work: Work);

    /// Returns the work so far.
    fn counts(&self) -> Counts;

    /// Returns whether anything is kept: where nothing is, no blob need be named.
    fn keeps(&self) -> bool {
        true
    }
}

/// Remembers nothing, for whoever reads one snapshot only.
pub struct NoRecall;

impl Recall for NoRecall {
    fn find(&self, _blob: &str, _what: &'static str) -> Option<Remembered> {
        None
    }

    fn keep(&self, _blob: &str, _what: &'static str, _value: Remembered) {}

    fn count(&self, _work: Work) {}

    fn counts(&self) -> Counts {
        Counts::default()
    }

    fn keeps(&self) -> bool {
        false
    }
}

/// What a blob is called. There is one for each file of a ledger, so an id of git takes its bytes and no text.
#[derive(Debug, PartialEq, Eq, Hash)]
enum Blob {
    Git([u8; 20]),
    Named(Box<str>),
}

impl Blob {
    fn of(text: &str) -> Self {
        blob_bytes(text).map_or_else(|| Self::Named(text.into()), Self::Git)
    }
}

/// Remembers for as long as the program runs.
#[derive(Default)]
pub struct MemoryRecall {
    // Ids by what they were read as, so that looking up needs no text of its own.
    kept: RwLock<HashMap<&'static str, HashMap<Blob, Remembered>>>,
    parsed: AtomicUsize,
    digested: AtomicUsize,
    spared: AtomicUsize,
}

impl MemoryRecall {
    /// Returns an empty memory.
    pub fn new() -> Self {
        Self::default()
    }

    /// Forgets what no ledger holds any more.
    pub fn forget_others(&self) {
        let mut kept = self.kept.write().unwrap_or_else(PoisonError::into_inner);
        for blobs in kept.values_mut() {
            blobs.retain(|_, value| Arc::strong_count(value) > 1);
            blobs.shrink_to_fit();
        }
    }
}

impl Recall for MemoryRecall {
    fn find(&self, blob: &str, what: &'static str) -> Option<Remembered> {
        let kept = self.kept.read().unwrap_or_else(PoisonError::into_inner);
        kept.get(what).and_then(|blobs| blobs.get(&Blob::of(blob))).cloned()
    }

    fn keep(&self, blob: &str, what: &'static str, value: Remembered) {
        let mut kept = self.kept.write().unwrap_or_else(PoisonError::into_inner);
        kept.entry(what).or_default().insert(Blob::of(blob), value);
    }

    fn count(&self, work: Work) {
        let counter = match work {
            Work::Parsed => &self.parsed,
            Work::Digested => &self.digested,
            Work::Spared => &self.spared,
        };
        counter.fetch_add(1, Ordering::Relaxed);
    }

    fn counts(&self) -> Counts {
        Counts {
            parsed: self.parsed.load(Ordering::Relaxed),
            digested: self.digested.load(Ordering::Relaxed),
            spared: self.spared.load(Ordering::Relaxed),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_somebody_holds_is_not_forgotten() {
        let recall = MemoryRecall::new();
        let held: Remembered = Arc::new(1_u32);
        recall.keep("a", "panel", Arc::clone(&held));
        recall.keep("b", "panel", Arc::new(2_u32));
        recall.keep("c", "recipe", Arc::new(3_u32));
        let id = "00ff".repeat(10);
        recall.keep(&id, "panel", Arc::clone(&held));
        recall.forget_others();
        let is_known = |blob: &str, what: &'static str| recall.find(blob, what).is_some();
        assert!(is_known("a", "panel") && is_known(&id, "panel"));
        // What only looks like an id of git is another name.
        for other in [id.to_uppercase(), format!("{id} lib"), id[2..].to_string(), id.replace("ff", "fe")] {
            assert!(!is_known(&other, "panel"), "{other}");
        }
        assert_eq!(Blob::of(&id), Blob::Git([0, 255].repeat(10).try_into().unwrap()));
        assert!(!is_known("b", "panel") && !is_known("c", "recipe"));
    }
}
