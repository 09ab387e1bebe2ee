//! What the pages of `view` rest on, told apart from what it was before.

use super::args::ReportArgs;
use crate::record::Day;
use crate::source::Place;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::Metadata;
use std::os::unix::fs::MetadataExt;
use std::time::{Duration, SystemTime};

/// A file that was written so shortly before it was read can be written again under the same time.
const SETTLED: Duration = Duration::from_secs(2);

/// What a file looks like without being read.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Stamp {
    size: u64,
    modified: Option<SystemTime>,
    changed: (i64, i64),
    inode: u64,
}

impl Stamp {
    fn of(metadata: &Metadata) -> Self {
        Self {
            size: metadata.len(),
            modified: metadata.modified().ok(),
            changed: (metadata.ctime(), metadata.ctime_nsec()),
            inode: metadata.ino(),
        }
    }

    /// Whether a later write would show, where the file was read at `at`.
    fn is_settled(&self, at: SystemTime) -> bool {
        let settled = |since: SystemTime| at.duration_since(since).is_ok_and(|age| age >= SETTLED);
        let changed = u64::try_from(self.changed.0).map(|s| SystemTime::UNIX_EPOCH + Duration::from_secs(s));
        self.modified.is_some_and(settled) && changed.is_ok_and(settled)
    }
}

/// A file as it was read last.
struct Known {
    stamp: Stamp,
    at: SystemTime,
    id: String,
}

impl Known {
    /// What was read before, where the file is still that; else what `read` says.
    fn of(before: Option<Known>, stamp: Stamp, now: SystemTime, read: impl FnOnce() -> String) -> Self {
        match before {
            Some(known) if known.stamp == stamp && known.stamp.is_settled(known.at) => known,
            _ => Self { stamp, at: now, id: read() },
        }
    }
}

/// Which states the pages show, and what was read of them.
pub(super) struct Watch {
    files: bool,
    index: bool,
    revisions: Vec<String>,
    known: BTreeMap<String, Known>,
}

impl Watch {
    /// Looks at what a report of this kind reads.
    pub(super) fn of(args: &ReportArgs) -> Self {
        let mut own =
            Self { files: false, index: false, revisions: vec!["HEAD".to_string()], known: BTreeMap::new() };
        match &args.source.at {
            Some(at) => own.revisions.push(at.clone()),
            None if args.source.staged => own.index = true,
            None => own.files = true,
        }
        for (base, head) in args.change.iter().filter_map(|asked| asked.split_once("..")) {
            own.revisions.push(base.to_string());
            if head.is_empty() {
                own.files = true;
            } else {
                own.revisions.push(head.to_string());
            }
        }
        own
    }

    /// What all that is now, in a word, as it is seen on a day.
    pub(super) fn state(&mut self, place: &Place, today: Day) -> String {
        let mut all = Sha256::new();
        let mut note = |words: &[&str]| {
            for word in words {
                all.update(word.as_bytes());
                all.update([0]);
            }
        };
        note(&["day", &today.to_string()]);
        if self.files
            && let Ok(snapshot) = place.work_tree()
        {
            let mut next = BTreeMap::new();
            for file in snapshot.files() {
                let read = || snapshot.blob_id(&file.path).unwrap_or_default();
                // One that has gone meanwhile is read as nothing.
                let Ok(metadata) = place.root().join(&file.path).symlink_metadata() else { continue };
                let before = self.known.remove(&file.path);
                let known = Known::of(before, Stamp::of(&metadata), SystemTime::now(), read);
                note(&["file", &file.path, &known.id]);
                next.insert(file.path.clone(), known);
            }
            self.known = next;
        }
        if self.index
            && let Ok(snapshot) = place.index()
        {
            for file in snapshot.files() {
                note(&["index", &file.path, &snapshot.blob_id(&file.path).unwrap_or_default()]);
            }
        }
        for revision in &self.revisions {
            let found = match revision.as_str() {
                "HEAD" => place.head_or_empty(),
                other => place.revision(other),
            };
            let found = found.map_or_else(|error| error.to_string(), |own| format!("{:?}", own.origin()));
            note(&["revision", revision, &found]);
        }
        all.finalize().iter().take(8).fold(String::new(), |mut text, byte| {
            let _ = write!(text, "{byte:02x}");
            text
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_settled_file_is_read_once_and_a_new_one_until_it_is_settled() {
        let room = tempfile::tempdir().unwrap();
        let file = room.path().join("a.yaml");
        std::fs::write(&file, "a").unwrap();
        let reads = std::cell::Cell::new(0);
        let read = || {
            reads.set(reads.get() + 1);
            "id".to_string()
        };
        let stamp = || Stamp::of(&file.metadata().unwrap());
        let (now, later) = (SystemTime::now(), SystemTime::now() + Duration::from_secs(10));
        let known = Known::of(None, stamp(), now, read);
        // It was read right after it was written: what is written next may have the same time.
        let known = Known::of(Some(known), stamp(), later, read);
        assert_eq!(reads.get(), 2);
        let known = Known::of(Some(known), stamp(), later, read);
        assert_eq!(reads.get(), 2);
        std::fs::write(&file, "ab").unwrap();
        Known::of(Some(known), stamp(), later, read);
        assert_eq!(reads.get(), 3);
    }

    #[test]
    fn another_day_is_another_state() {
        let room = tempfile::tempdir().unwrap();
        std::fs::write(room.path().join("ledger.yaml"), "format: 1\nprogramme: x\n").unwrap();
        let place = Place::find(room.path()).unwrap();
        let args = ReportArgs {
            source: Default::default(),
            with: Default::default(),
            out: Default::default(),
            change: Vec::new(),
            commits: 0,
        };
        let mut watch = Watch::of(&args);
        let mut on = |day: &str| watch.state(&place, Day::parse(day).unwrap());
        let first = on("2026-06-01");
        assert_eq!(on("2026-06-01"), first);
        assert_ne!(on("2026-06-02"), first);
    }
}
