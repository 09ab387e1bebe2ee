//! The work tree: files on disk, with git's word on which of them count.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs::{self, File, Metadata};
use std::io::{ErrorKind, Read};
use std::ops::Bound;
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};
use std::time::SystemTime;

use rayon::prelude::*;

use super::objects::{NESTED, Tracked, UNREADABLE_NAME};
use super::path::{folders, is_listed, join};
use super::stamps::{Seen, Stamps};
use super::{EntryKind, FILE_LIMIT, FileEntry, KIND_FOLDERS, ReadFault, Repository, SourceError, guard};

/// How many files that git ignores are known by name at most.
const IGNORED_NAMED: usize = 1000;

/// A ledger's root on disk.
pub(super) struct Disk {
    root: PathBuf,
    git: Option<Git>,
    /// When listing began.
    pub(super) begun: SystemTime,
    /// What each listed file looked like when it was listed, by path.
    stamps: Stamped,
    /// Files that would be listed, but that git ignores, sorted; of many some.
    pub(super) ignored: Vec<String>,
    /// The blobs of files that look as they did when those were noted, by path, where somebody had noted any.
    known: OnceLock<Vec<(String, git2::Oid)>>,
}

/// Plain files with what they looked like, sorted by path.
#[derive(Default)]
struct Stamped(Vec<(String, Stamp)>);

impl Stamped {
    fn get(&self, path: &str) -> Option<&Stamp> {
        let at = self.0.binary_search_by(|(own, _)| own.as_str().cmp(path)).ok()?;
        self.0.get(at).map(|(_, stamp)| stamp)
    }
}

/// What git knows about the files.
pub(super) struct Git {
    pub(super) repository: Arc<Repository>,
    /// The ledger's folder in the repository.
    pub(super) prefix: String,
    /// The index, by path in the ledger.
    pub(super) tracked: BTreeMap<String, Tracked>,
}

#[derive(Debug, Clone)]
struct Stamp {
    size: u64,
    modified: Option<SystemTime>,
    seen: Seen,
}

impl Stamp {
    fn of(metadata: &Metadata) -> Stamp {
        Stamp { size: metadata.len(), modified: metadata.modified().ok(), seen: Seen::of(metadata) }
    }

    /// Whether the bytes are likely the same: owners and links may change meanwhile.
    fn is_same(&self, other: &Stamp) -> bool {
        (self.size, self.modified) == (other.size, other.modified)
    }
}

/// What listing gives: the files' entries, the folders at the top, and where the bytes are.
pub(super) type Listing = (BTreeMap<String, FileEntry>, Vec<String>, Disk);

/// Lists the files on disk.
pub(super) fn list(root: &Path, git: Option<Git>) -> Result<Listing, SourceError> {
    let (begun, stamps, known) = (SystemTime::now(), Stamped::default(), OnceLock::new());
    let mut disk = Disk { root: root.to_owned(), git, begun, stamps, ignored: Vec::new(), known };
    let mut walk = Walk {
        root,
        git: disk.git.as_ref(),
        files: Vec::new(),
        stamps: Vec::new(),
        tops: Vec::new(),
        ignored: Vec::new(),
    };
    match &disk.git {
        Some(git) => git.repository.with(|handle| walk.run(Some(handle)))??,
        None => walk.run(None)?,
    }
    let Walk { files, mut stamps, mut tops, mut ignored, .. } = walk;
    // A map of what is sorted is built at once, where one by one each entry is looked for.
    stamps.sort_unstable_by(|(one, _), (two, _)| one.cmp(two));
    let mut files: BTreeMap<String, FileEntry> =
        files.into_iter().map(|file| (file.path.clone(), file)).collect();
    if let Some(git) = &disk.git {
        // A sparse checkout leaves files off the disk that are nevertheless unchanged.
        for (path, tracked) in git.tracked.iter().filter(|(path, it)| it.sparse && is_listed(path)) {
            files.entry(path.clone()).or_insert_with(|| FileEntry {
                path: path.clone(),
                kind: tracked.item.kind.clone(),
                size: None,
            });
        }
        let sparse = git.tracked.iter().filter(|(_, it)| it.sparse).map(|(path, _)| path);
        tops.extend(super::snapshot::tops(sparse));
    }
    tops.sort();
    tops.dedup();
    ignored.sort_unstable();
    (disk.stamps, disk.ignored) = (Stamped(stamps), ignored);
    Ok((files, tops, disk))
}

struct Walk<'a> {
    root: &'a Path,
    git: Option<&'a Git>,
    files: Vec<FileEntry>,
    stamps: Vec<(String, Stamp)>,
    tops: Vec<String>,
    ignored: Vec<String>,
}

impl Walk<'_> {
    fn run(&mut self, handle: Option<&git2::Repository>) -> Result<(), SourceError> {
        let mut waiting = vec![String::new()];
        while let Some(folder) = waiting.pop() {
            let place = self.root.join(&folder);
            let failed =
                |error: std::io::Error| SourceError::Io { path: place.clone(), why: error.to_string() };
            if self.git.is_some() {
                guard::ignores(&place)?;
            }
            let mut names = Vec::new();
            for found in fs::read_dir(&place).map_err(failed)? {
                let found = found.map_err(failed)?;
                let name = found.file_name();
                let path = join(&folder, &name.to_string_lossy());
                if name == ".git" || (folder.is_empty() && !is_listed(&path) && !is_folder(&found)) {
                    continue;
                }
                names.push((found, name, path));
            }
            names.sort_unstable_by(|(.., one), (.., two)| one.cmp(two));
            // Looking at files takes most of the time of listing them; an entry looks from its folder, without walking
            // down to it once more.
            let looks: Vec<std::io::Result<Metadata>> =
                names.par_iter().with_min_len(64).map(|(found, ..)| found.metadata()).collect();
            // Both sorted: no file need be looked for.
            let first = (Bound::Included(names_from(&names)), Bound::Unbounded);
            let tracked = self.git.map(|git| git.tracked.range::<str, _>(first));
            let mut tracked = tracked.into_iter().flatten().map(|(path, _)| path.as_str()).peekable();
            for ((_, name, path), metadata) in names.into_iter().zip(looks) {
                while tracked.next_if(|own| *own < path.as_str()).is_some() {}
                let is_tracked = tracked.peek() == Some(&path.as_str());
                let metadata = match metadata {
                    Ok(metadata) => metadata,
                    Err(error) if error.kind() == ErrorKind::NotFound => continue,
                    Err(error) => return Err(failed(error)),
                };
                if name.to_str().is_none() {
                    self.add(path, EntryKind::Other(UNREADABLE_NAME.to_owned()), &metadata)?;
                } else if metadata.is_dir() {
                    if self.is_nested(&path) {
                        if is_listed(&path) {
                            self.add(path, EntryKind::Other(NESTED.to_owned()), &metadata)?;
                        }
                    } else if self.git.is_none_or(|git| git.counts_folder(handle, &path)) {
                        if folder.is_empty() {
                            self.tops.push(path.clone());
                        }
                        if !folder.is_empty() || KIND_FOLDERS.contains(&path.as_str()) {
                            waiting.push(path);
                        }
                    }
                } else if is_tracked || self.git.is_none_or(|git| !git.is_ignored(handle, &path)) {
                    self.add(path, kind_of(&metadata), &metadata)?;
                } else if is_listed(&path) && self.ignored.len() < IGNORED_NAMED {
                    self.ignored.push(path);
                }
            }
        }
        Ok(())
    }

    fn is_nested(&self, path: &str) -> bool {
        let Some(git) = self.git else { return false };
        let submodule = git.tracked.get(path).is_some_and(|tracked| tracked.item.kind != EntryKind::Regular);
        submodule || self.root.join(path).join(".git").exists()
    }

    fn add(&mut self, path: String, kind: EntryKind, metadata: &Metadata) -> Result<(), SourceError> {
        if self.files.len() >= FILE_LIMIT {
            return Err(SourceError::TooManyFiles { limit: FILE_LIMIT });
        }
        let size = (kind == EntryKind::Regular).then_some(metadata.len());
        if size.is_some() {
            self.stamps.push((path.clone(), Stamp::of(metadata)));
        }
        self.files.push(FileEntry { path, kind, size });
        Ok(())
    }
}

/// The first of some names in a folder, by path.
fn names_from(names: &[(fs::DirEntry, OsString, String)]) -> &str {
    names.first().map_or("", |(.., path)| path.as_str())
}

fn is_folder(found: &fs::DirEntry) -> bool {
    found.file_type().is_ok_and(|kind| kind.is_dir())
}

/// What is no plain file, in words.
pub(super) fn words_of(metadata: &Metadata) -> String {
    match kind_of(metadata) {
        EntryKind::Other(what) => what,
        EntryKind::Link => "a symbolic link".to_owned(),
        EntryKind::Regular => "a file".to_owned(),
    }
}

fn kind_of(metadata: &Metadata) -> EntryKind {
    let kind = metadata.file_type();
    if kind.is_file() {
        return EntryKind::Regular;
    }
    if kind.is_symlink() {
        return EntryKind::Link;
    }
    let what = if kind.is_dir() {
        "a folder"
    } else if kind.is_fifo() {
        "a pipe"
    } else if kind.is_socket() {
        "a socket"
    } else {
        "a device"
    };
    EntryKind::Other(what.to_owned())
}

impl Git {
    /// Whether a file counts: tracked, or not ignored.
    fn counts(&self, handle: Option<&git2::Repository>, path: &str) -> bool {
        self.tracked.contains_key(path) || !self.is_ignored(handle, path)
    }

    /// Whether a folder may hold files that count. An ignored folder does if files in it are tracked.
    fn counts_folder(&self, handle: Option<&git2::Repository>, path: &str) -> bool {
        let inside = format!("{path}/");
        let next = self.tracked.range(inside.clone()..).next();
        next.is_some_and(|(next, _)| next.starts_with(&inside)) || !self.is_ignored(handle, path)
    }

    fn is_ignored(&self, handle: Option<&git2::Repository>, path: &str) -> bool {
        let path = join(&self.prefix, path);
        handle.is_some_and(|handle| handle.is_path_ignored(&path).unwrap_or(false))
    }
}

impl Disk {
    /// What a listed file looked like when it was listed.
    pub(super) fn seen(&self, path: &str) -> Option<&Seen> {
        self.stamps.get(path).map(|stamp| &stamp.seen)
    }

    /// Learns the blobs of files that look as they did when `stamps` was taken.
    pub(super) fn learn(&self, stamps: &Stamps) {
        self.known.get_or_init(|| stamps.known(self).map(|(path, blob)| (path.to_owned(), blob)).collect());
    }

    /// The blob of a listed file, where it is known without reading it.
    pub(super) fn known(&self, path: &str) -> Option<git2::Oid> {
        let all = self.known.get()?;
        let at = all.binary_search_by(|(own, _)| own.as_str().cmp(path)).ok()?;
        all.get(at).map(|(_, blob)| *blob)
    }

    /// What all listed files looked like when they were listed, by path.
    pub(super) fn all_seen(&self) -> impl Iterator<Item = (&str, &Seen)> {
        self.stamps.0.iter().map(|(path, stamp)| (path.as_str(), &stamp.seen))
    }

    /// The blob of a file that a sparse checkout leaves off the disk.
    pub(super) fn left_out(&self, path: &str) -> Option<git2::Oid> {
        self.git.as_ref()?.tracked.get(path).filter(|tracked| tracked.sparse).map(|tracked| tracked.item.id)
    }

    pub(super) fn read(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, ReadFault> {
        let listed = self.stamps.get(path);
        let (place, metadata) = match self.stat(path) {
            Ok(found) => found,
            Err(ReadFault::Missing) => return self.read_absent(path, limit),
            Err(fault) => return Err(fault),
        };
        match kind_of(&metadata) {
            EntryKind::Regular => {}
            EntryKind::Link => return Err(ReadFault::Link),
            EntryKind::Other(what) => return Err(ReadFault::NotRegular { what }),
        }
        if let (None, Some(git)) = (listed, &self.git) {
            guard::ignores_to(&self.root, path).map_err(|error| ReadFault::Io(error.to_string()))?;
            let counts = git.repository.with(|handle| git.counts(Some(handle), path));
            if !counts.map_err(|error| ReadFault::Io(error.to_string()))? {
                return Err(ReadFault::Ignored);
            }
        }
        if metadata.len() > limit {
            return Err(ReadFault::TooLarge { size: metadata.len(), limit });
        }
        if listed.is_some_and(|stamp| !stamp.is_same(&Stamp::of(&metadata))) {
            return Err(ReadFault::Changed);
        }
        let failed = |error: std::io::Error| ReadFault::Io(error.to_string());
        let file = File::open(&place).map_err(failed)?;
        let opened = file.metadata().map_err(failed)?;
        // Between the look and the opening a link may have taken the file's place.
        if (opened.dev(), opened.ino()) != (metadata.dev(), metadata.ino()) {
            return Err(ReadFault::Changed);
        }
        let mut bytes = Vec::with_capacity(usize::try_from(metadata.len()).unwrap_or_default());
        file.take(limit.saturating_add(1)).read_to_end(&mut bytes).map_err(failed)?;
        if u64::try_from(bytes.len()) != Ok(metadata.len()) {
            return Err(ReadFault::Changed);
        }
        Ok(Arc::from(bytes))
    }

    /// A file that is not on disk: gone since it was listed, left out by a sparse checkout, or none.
    fn read_absent(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, ReadFault> {
        if self.stamps.get(path).is_some() {
            return Err(ReadFault::Changed);
        }
        let Some(git) = &self.git else { return Err(ReadFault::Missing) };
        match git.tracked.get(path) {
            Some(tracked) if tracked.sparse => match &tracked.item.kind {
                EntryKind::Regular => git.repository.blob(tracked.item.id, limit),
                EntryKind::Link => Err(ReadFault::Link),
                EntryKind::Other(what) => Err(ReadFault::NotRegular { what: what.clone() }),
            },
            _ => Err(ReadFault::Missing),
        }
    }

    /// Looks at a file without following a link anywhere on the way to it.
    fn stat(&self, path: &str) -> Result<(PathBuf, Metadata), ReadFault> {
        for folder in folders(path) {
            let place = self.root.join(folder);
            let metadata = look(&place)?;
            if metadata.is_symlink() {
                return Err(ReadFault::Link);
            }
            if !metadata.is_dir() {
                return Err(ReadFault::Missing);
            }
            if self.git.is_some() && place.join(".git").exists() {
                return Err(ReadFault::NotRegular { what: format!("part of {NESTED}") });
            }
        }
        let place = self.root.join(path);
        let metadata = look(&place)?;
        Ok((place, metadata))
    }
}

fn look(place: &Path) -> Result<Metadata, ReadFault> {
    fs::symlink_metadata(place).map_err(|error| match error.kind() {
        ErrorKind::NotFound | ErrorKind::NotADirectory => ReadFault::Missing,
        _ => ReadFault::Io(error.to_string()),
    })
}
