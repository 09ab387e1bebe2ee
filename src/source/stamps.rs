//! What the files of a work tree looked like when their bytes were last read, so that they need not be read again.

use std::fs::Metadata;
use std::os::unix::fs::MetadataExt;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use git2::{ObjectType, Oid};
use rayon::prelude::*;
use sha2::{Digest, Sha256};

use super::disk::Disk;
use super::{DATA_LIMIT, EntryKind, FileEntry, hex};

/// What begins the bytes of stamps; the digit is their form.
const BEGIN: &[u8] = b"bondline stamps 1\n";
/// A file that changed so short before it was looked at may change once more without looking otherwise: clocks of
/// file systems are coarse, and some go by two seconds.
const SETTLED: Duration = Duration::from_secs(3);

/// How a file looks without being opened: size, device, inode, and when its bytes and its entry changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seen([i64; 7]);

impl Seen {
    const BYTES: usize = 7 * 8;

    pub(super) fn of(of: &Metadata) -> Seen {
        let whole = |value: u64| i64::from_le_bytes(value.to_le_bytes());
        Seen([
            whole(of.size()),
            whole(of.dev()),
            whole(of.ino()),
            of.mtime(),
            of.mtime_nsec(),
            of.ctime(),
            of.ctime_nsec(),
        ])
    }

    /// Whether nothing changed shortly before, nor later than, this moment.
    pub(super) fn is_settled(&self, at: SystemTime) -> bool {
        let Some(before) = at.checked_sub(SETTLED).and_then(|at| at.duration_since(UNIX_EPOCH).ok()) else {
            return false;
        };
        let before = i64::try_from(before.as_secs()).unwrap_or_default();
        let [.., modified, _, changed, _] = self.0;
        modified < before && changed < before
    }

    pub(super) fn bytes(&self) -> [u8; Seen::BYTES] {
        let mut all = [0; Seen::BYTES];
        for (bytes, one) in all.chunks_exact_mut(8).zip(self.0) {
            bytes.copy_from_slice(&one.to_le_bytes());
        }
        all
    }

    fn read(bytes: &[u8]) -> Option<Seen> {
        let mut all = [0; 7];
        for (one, bytes) in all.iter_mut().zip(bytes.chunks_exact(8)) {
            *one = i64::from_le_bytes(bytes.try_into().ok()?);
        }
        Some(Seen(all))
    }
}

/// What the files of a work tree looked like, with the blobs of their bytes as they are on disk: git's own index
/// holds those that its filters would make.
#[derive(Debug, Clone, Default)]
pub struct Stamps {
    /// Sorted by path.
    files: Vec<(String, Seen, Oid)>,
    /// Whether anything was learnt.
    is_new: bool,
    read: usize,
}

impl Stamps {
    /// Reads stamps that were written by [`Stamps::to_bytes`]; none where they can't be read.
    pub fn from_bytes(bytes: &[u8]) -> Stamps {
        Self::parsed(bytes).unwrap_or_default()
    }

    fn parsed(bytes: &[u8]) -> Option<Stamps> {
        let mut rest = bytes.strip_prefix(BEGIN)?;
        let mut take = |count: usize| -> Option<&[u8]> {
            let (own, after) = rest.split_at_checked(count)?;
            rest = after;
            Some(own)
        };
        let number = |bytes: &[u8]| usize::try_from(u32::from_le_bytes(bytes.try_into().ok()?)).ok();
        let count = number(take(4)?)?;
        let mut files = Vec::new();
        for _ in 0..count {
            let length = number(take(4)?)?;
            let path = std::str::from_utf8(take(length)?).ok()?.to_owned();
            let seen = Seen::read(take(Seen::BYTES)?)?;
            files.push((path, seen, Oid::from_bytes(take(20)?).ok()?));
        }
        Some(Stamps { files, is_new: false, read: 0 })
    }

    /// Returns the stamps as bytes.
    pub fn to_bytes(&self) -> Vec<u8> {
        let number = |value: usize| u32::try_from(value).unwrap_or(u32::MAX).to_le_bytes();
        let mut all = BEGIN.to_vec();
        all.extend_from_slice(&number(self.files.len()));
        for (path, seen, blob) in &self.files {
            all.extend_from_slice(&number(path.len()));
            all.extend_from_slice(path.as_bytes());
            all.extend_from_slice(&seen.bytes());
            all.extend_from_slice(blob.as_bytes());
        }
        all
    }

    /// Whether there is something in them that was not there when they were read.
    pub fn is_new(&self) -> bool {
        self.is_new
    }

    /// How many files had to be read for them.
    pub fn read(&self) -> usize {
        self.read
    }

    /// Whether files that look as they did have the bytes that were noted.
    pub(super) fn is_true_of(&self, disk: &Disk) -> bool {
        self.files.par_iter().filter(|(path, seen, _)| disk.seen(path) == Some(seen)).all(
            |(path, _, blob)| {
                let bytes = disk.read(path, DATA_LIMIT).ok();
                bytes.and_then(|bytes| Oid::hash_object(ObjectType::Blob, &bytes).ok()) == Some(*blob)
            },
        )
    }

    /// The blobs of listed files that look as they did, by path.
    pub(super) fn known<'s>(&'s self, disk: &'s Disk) -> impl Iterator<Item = (&'s str, Oid)> {
        // Both sorted: no file need be looked for.
        let mut listed = disk.all_seen().peekable();
        self.files.iter().filter_map(move |(path, seen, blob)| {
            while listed.next_if(|(own, _)| *own < path.as_str()).is_some() {}
            let now = listed.next_if(|(own, _)| *own == path);
            now.filter(|(_, now)| *now == seen).map(|_| (path.as_str(), *blob))
        })
    }

    /// The blobs of listed files in their order, `None` for what is no plain file; no answer at all where one can't
    /// be read.
    pub(super) fn blobs<'f>(
        &mut self,
        files: impl Iterator<Item = &'f FileEntry>,
        disk: &Disk,
    ) -> Option<Vec<Option<Oid>>> {
        let mut known = self.known(disk).peekable();
        let mut all: Vec<(&FileEntry, Option<Oid>)> = Vec::new();
        let mut asked: Vec<usize> = Vec::new();
        for file in files {
            while known.next_if(|(path, _)| *path < file.path.as_str()).is_some() {}
            let same = known.next_if(|(path, _)| *path == file.path).map(|(_, blob)| blob);
            let blob = if file.kind != EntryKind::Regular {
                None
            } else if same.is_some() {
                same
            } else if disk.seen(&file.path).is_some() {
                asked.push(all.len());
                None
            } else {
                Some(disk.left_out(&file.path)?)
            };
            all.push((file, blob));
        }
        drop(known);
        let read: Vec<(usize, Option<Oid>)> = asked
            .par_iter()
            .map(|at| {
                let bytes = all.get(*at).and_then(|(file, _)| disk.read(&file.path, DATA_LIMIT).ok());
                (*at, bytes.and_then(|bytes| Oid::hash_object(ObjectType::Blob, &bytes).ok()))
            })
            .collect();
        self.read += read.len();
        for (at, blob) in read {
            if let Some(own) = all.get_mut(at) {
                own.1 = Some(blob?);
            }
        }
        let settled = |(file, blob): &(&FileEntry, Option<Oid>)| {
            let seen = disk.seen(&file.path).filter(|seen| seen.is_settled(disk.begun))?;
            Some((file.path.clone(), *seen, (*blob)?))
        };
        if !asked.is_empty() || self.files.len() != all.len() {
            let files: Vec<(String, Seen, Oid)> = all.iter().filter_map(settled).collect();
            self.is_new |= files != self.files;
            self.files = files;
        }
        Some(all.into_iter().map(|(_, blob)| blob).collect())
    }
}

/// A digest over files.
pub(super) struct Sum(Sha256);

impl Sum {
    pub(super) fn new() -> Sum {
        Sum(Sha256::new())
    }

    pub(super) fn add(&mut self, path: &str, kind: &EntryKind, blob: Option<&Oid>) {
        // No path holds a zero.
        self.0.update(path.as_bytes());
        match kind {
            EntryKind::Regular => self.0.update(b"\0file\0"),
            EntryKind::Link => self.0.update(b"\0link\0"),
            EntryKind::Other(what) => {
                self.0.update(b"\0other ");
                self.0.update(what.as_bytes());
                self.0.update(b"\0");
            }
        }
        match blob {
            Some(blob) => {
                self.0.update([1]);
                self.0.update(blob.as_bytes());
            }
            None => self.0.update([0]),
        }
    }

    pub(super) fn end(self) -> String {
        hex(&self.0.finalize())
    }
}
