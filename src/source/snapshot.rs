//! The one type that all records are read from, wherever they come from, and texts laid over it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use git2::{ObjectType, Oid};
use rayon::prelude::*;

use super::disk::Disk;
use super::imports::{Home, Imported, Mounts};
use super::objects::{Item, Objects};
use super::path::{clean, is_listed};
use super::stamps::{Stamps, Sum};
use super::{DATA_LIMIT, LEDGER_FILE, RECORD_LIMIT, ReadFault};

/// A ledger's files as they were at one point: cheap to clone, and shared between threads.
///
/// All paths are relative to the ledger's root and separated by `/`. Bytes are read when they are
/// asked for and not kept; a work tree's file that changes after it was listed is a
/// [`ReadFault::Changed`], so one snapshot does not mix two states of a file unnoticed.
#[derive(Clone)]
pub struct Snapshot {
    base: Arc<Base>,
    over: Option<Arc<Over>>,
    mounts: Option<Mounts>,
}

struct Base {
    origin: Origin,
    commit: Option<String>,
    files: BTreeMap<String, FileEntry>,
    folders: Vec<String>,
    content: Arc<Content>,
    /// Whether a file was asked for that is not listed.
    strayed: AtomicBool,
}

/// Where a snapshot's bytes come from.
pub(super) enum Content {
    Disk(Disk),
    Objects(Objects),
    Memory(BTreeMap<String, Arc<[u8]>>),
}

struct Over {
    edits: BTreeMap<String, Option<Arc<[u8]>>>,
    files: BTreeMap<String, FileEntry>,
}

/// Where a snapshot was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// The files on disk, those ignored by git left out; also files given in memory.
    WorkTree,
    /// What the next commit would hold.
    Index,
    /// A commit, or a tree.
    Revision {
        /// As it was asked for.
        asked: String,
        /// The commit's full id; empty where a tree was named.
        commit: String,
        /// The full id of the tree of the ledger's folder; empty where the commit has no such folder.
        tree: String,
    },
    /// Nothing: the state before the first commit.
    Empty,
}

/// A file in which two snapshots differ.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Differing {
    /// Its path.
    pub path: String,
    /// Whether it was a plain file.
    pub was: bool,
    /// Whether it is one.
    pub is: bool,
}

/// One listed file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileEntry {
    /// Its path, relative to the ledger's root. A name that is not UTF-8 is shown with its broken
    /// bytes replaced and is never [`EntryKind::Regular`].
    pub path: String,
    /// What it is.
    pub kind: EntryKind,
    /// Its size in bytes, where listing told it: on disk and in memory.
    pub size: Option<u64>,
}

/// What a listed path is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EntryKind {
    /// A plain file.
    Regular,
    /// A symbolic link, which is never followed.
    Link,
    /// Anything else, in words: `unmerged`, `a repository of its own`, `a socket`.
    Other(String),
}

impl std::fmt::Debug for Snapshot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Snapshot")
            .field("origin", &self.base.origin)
            .field("files", &self.listing().len())
            .finish()
    }
}

impl Snapshot {
    pub(super) fn new(
        origin: Origin,
        commit: Option<String>,
        files: BTreeMap<String, FileEntry>,
        folders: Vec<String>,
        content: Content,
    ) -> Snapshot {
        let (content, strayed) = (Arc::new(content), AtomicBool::new(false));
        let base = Arc::new(Base { origin, commit, files, folders, content, strayed });
        Snapshot { base, over: None, mounts: None }
    }

    /// The same snapshot with what its `ledger.yaml` imports.
    pub(super) fn at_home(mut self, home: &Arc<Home>) -> Snapshot {
        let is_past = !matches!(self.base.origin, Origin::WorkTree | Origin::Index);
        self.mounts = Some(home.mounts(self.head().as_deref(), is_past));
        self
    }

    /// The text of `ledger.yaml`, where there is one.
    fn head(&self) -> Option<Arc<[u8]>> {
        self.entry(LEDGER_FILE).filter(|file| file.kind == EntryKind::Regular)?;
        self.read_limited(LEDGER_FILE, RECORD_LIMIT).ok()
    }

    /// How the ledgers were found that this one takes records from, in the order of its list.
    pub fn imports(&self) -> Vec<Imported> {
        self.mounts.iter().flat_map(Mounts::states).cloned().collect()
    }

    /// The files of records that are taken from other ledgers: the import's name, `:`, and the path there. They can be
    /// read as any other file, and stand in no listing of this ledger's own.
    pub fn imported_paths(&self) -> Vec<String> {
        self.mounts.iter().flat_map(Mounts::paths).collect()
    }

    pub(super) fn has_imports(&self) -> bool {
        self.mounts.as_ref().is_some_and(|mounts| !mounts.is_empty())
    }

    /// The snapshot of nothing.
    pub fn empty() -> Snapshot {
        Snapshot::new(Origin::Empty, None, BTreeMap::new(), Vec::new(), Content::Memory(BTreeMap::new()))
    }

    /// A snapshot of files given here, as a work tree in no repository. Paths that leave the ledger
    /// are left out.
    pub fn in_memory(files: BTreeMap<String, Vec<u8>>) -> Snapshot {
        Snapshot::in_memory_at(files, None)
    }

    /// As [`Snapshot::in_memory`], as a work tree over a commit.
    pub fn in_memory_at(files: BTreeMap<String, Vec<u8>>, commit: Option<&str>) -> Snapshot {
        let files: BTreeMap<String, Arc<[u8]>> = files
            .into_iter()
            .filter_map(|(path, bytes)| Some((clean(&path).ok()?, Arc::from(bytes))))
            .collect();
        let listed = files
            .iter()
            .filter(|(path, _)| is_listed(path))
            .map(|(path, bytes)| (path.clone(), FileEntry::of_bytes(path, bytes)))
            .collect();
        let folders = tops(files.keys());
        Snapshot::new(Origin::WorkTree, commit.map(str::to_owned), listed, folders, Content::Memory(files))
    }

    /// Where the snapshot was taken. Texts laid over it do not change that.
    pub fn origin(&self) -> &Origin {
        &self.base.origin
    }

    /// The origin in words: `work tree`, `index`, `HEAD~1 (4f2c9e1)`, `nothing`.
    pub fn label(&self) -> String {
        match &self.base.origin {
            Origin::WorkTree => "work tree".to_owned(),
            Origin::Index => "index".to_owned(),
            Origin::Empty => "nothing".to_owned(),
            Origin::Revision { asked, commit, tree } => {
                let (id, word) = if commit.is_empty() { (tree, "tree ") } else { (commit, "") };
                let short: String = id.chars().take(7).collect();
                if id.starts_with(asked.as_str()) { short } else { format!("{asked} ({word}{short})") }
            }
        }
    }

    /// The full id of the commit: the revision's own; HEAD's for the work tree and the index.
    pub fn commit(&self) -> Option<&str> {
        self.base.commit.as_deref()
    }

    /// Whether nothing is listed: the state before a ledger's first commit.
    pub fn is_empty(&self) -> bool {
        self.listing().is_empty()
    }

    /// `ledger.yaml` and all files under the kind folders, sorted by path. Other files of the ledger
    /// are not listed, but can be read.
    pub fn files(&self) -> impl Iterator<Item = &FileEntry> {
        self.listing().values()
    }

    /// One listed file.
    pub fn entry(&self, path: &str) -> Option<&FileEntry> {
        self.listing().get(path)
    }

    /// The names of the folders at the ledger's root, sorted: kind folders and all others that are
    /// not ignored.
    pub fn top_level_folders(&self) -> Vec<String> {
        match &self.over {
            None => self.base.folders.clone(),
            Some(over) => {
                let laid = over.edits.iter().filter(|(_, bytes)| bytes.is_some()).map(|(path, _)| path);
                let all: BTreeSet<String> = self.base.folders.iter().cloned().chain(tops(laid)).collect();
                all.into_iter().collect()
            }
        }
    }

    /// The bytes of any file inside the ledger, of [`DATA_LIMIT`] at most.
    ///
    /// # Errors
    ///
    /// A [`ReadFault`]; in particular, no link is followed, neither at the file nor on the way, and
    /// a file that is too large is refused by its size, unread.
    pub fn read(&self, path: &str) -> Result<Arc<[u8]>, ReadFault> {
        self.read_limited(path, DATA_LIMIT)
    }

    /// As [`Snapshot::read`], of `limit` bytes at most.
    ///
    /// # Errors
    ///
    /// As [`Snapshot::read`].
    pub fn read_limited(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, ReadFault> {
        let path = clean(path)?;
        if let Some(laid) = self.over.as_ref().and_then(|over| over.edits.get(&path)) {
            return limited(laid.as_ref(), limit);
        }
        if let Some(read) = self.mounts.as_ref().and_then(|mounts| mounts.read(&path, limit)) {
            return read;
        }
        self.note_stray(&path);
        let read = match &*self.base.content {
            Content::Disk(disk) => disk.read(&path, limit),
            Content::Objects(objects) => objects.read(&path, limit),
            Content::Memory(files) => limited(files.get(&path), limit),
        };
        // What can't be read today may be read tomorrow, and nothing that is listed will have changed.
        if let Err(ReadFault::Changed | ReadFault::Object { .. } | ReadFault::Io(_)) = &read {
            self.base.strayed.store(true, Ordering::Relaxed);
        }
        read
    }

    /// Reads many files at once on all cores; the answers stand in the order of `paths`.
    pub fn read_many(&self, paths: &[String], limit: u64) -> Vec<Result<Arc<[u8]>, ReadFault>> {
        paths.par_iter().map(|path| self.read_limited(path, limit)).collect()
    }

    /// The id git gives a file's bytes, known from the index or the revision or else computed.
    ///
    /// On disk the bytes are taken as they are, so where git converts line ends the id differs from
    /// that of the commit. None where the file cannot be read.
    pub fn blob_id(&self, path: &str) -> Option<String> {
        let path = clean(path).ok()?;
        let laid = self.over.as_ref().is_some_and(|over| over.edits.contains_key(&path));
        let imported = self.mounts.as_ref().filter(|_| !laid).and_then(|mounts| mounts.blob_id(&path));
        if let Some(id) = imported {
            return id;
        }
        self.note_stray(&path);
        if let (false, Content::Objects(objects)) = (laid, &*self.base.content) {
            return objects.blob(&path).ok().map(|id| id.to_string());
        }
        let bytes = self.read(&path).ok()?;
        Oid::hash_object(ObjectType::Blob, &bytes).ok().map(|id| id.to_string())
    }

    /// The same snapshot with texts laid over it; `None` takes a file away. Paths that leave the
    /// ledger are left out.
    pub fn overlay(&self, edits: BTreeMap<String, Option<Vec<u8>>>) -> Snapshot {
        let mut all = self.over.as_ref().map(|over| over.edits.clone()).unwrap_or_default();
        let mut files = self.listing().clone();
        let mut is_headed = false;
        for (path, text) in edits {
            let Ok(path) = clean(&path) else { continue };
            is_headed |= path == LEDGER_FILE;
            let bytes = text.map(Arc::<[u8]>::from);
            match &bytes {
                Some(bytes) if is_listed(&path) => {
                    files.insert(path.clone(), FileEntry::of_bytes(&path, bytes));
                }
                Some(_) => {}
                None => {
                    files.remove(&path);
                }
            }
            all.insert(path, bytes);
        }
        let over = Some(Arc::new(Over { edits: all, files }));
        let mut laid = Snapshot { base: Arc::clone(&self.base), over, mounts: self.mounts.clone() };
        // Another list of imports, or another commit of one.
        if let Some(mounts) = self.mounts.as_ref().filter(|_| is_headed) {
            laid.mounts = Some(mounts.with_head(laid.head().as_deref()));
        }
        laid
    }

    /// Returns a text that an index and a revision share only where all that is listed is the same; `None` for other
    /// snapshots, and where records are taken from other ledgers.
    pub fn listed_objects(&self) -> Option<String> {
        let mut all = Sum::new();
        for (path, item) in self.objects()? {
            all.add(path, &item.kind, Some(&item.id));
        }
        Some(all.end())
    }

    fn objects(&self) -> Option<impl Iterator<Item = (&String, &Item)>> {
        match (&self.over, &*self.base.content) {
            (None, Content::Objects(objects)) if !self.has_imports() => {
                Some(objects.items().iter().filter(|(path, _)| self.base.files.contains_key(*path)))
            }
            _ => None,
        }
    }

    /// Returns the listed files in which an index or a revision differs from another: each with whether it is plain in
    /// the two, which it is not where it is absent. `None` for other snapshots.
    pub fn differing(&self, later: &Snapshot) -> Option<Vec<Differing>> {
        let (mut old, mut new) = (self.objects()?.peekable(), later.objects()?.peekable());
        let plain = |item: &Item| item.kind == EntryKind::Regular;
        let mut all = Vec::new();
        loop {
            let (path, was, is) = match (old.peek(), new.peek()) {
                (Some((one, _)), Some((two, _))) if one == two => {
                    let ((path, was), (_, is)) = (old.next()?, new.next()?);
                    if was == is {
                        continue;
                    }
                    (path, plain(was), plain(is))
                }
                (Some((one, _)), Some((two, _))) if one < two => {
                    (*one, old.next().is_some_and(|(_, own)| plain(own)), false)
                }
                (Some((one, _)), None) => (*one, old.next().is_some_and(|(_, own)| plain(own)), false),
                (_, Some((two, _))) => (*two, false, new.next().is_some_and(|(_, own)| plain(own))),
                (None, None) => return Some(all),
            };
            all.push(Differing { path: path.clone(), was, is });
        }
    }

    /// Returns the same snapshot with only some of its files listed.
    pub fn only(&self, paths: &BTreeSet<String>) -> Snapshot {
        let own = paths.iter().filter_map(|path| Some((path.clone(), self.listing().get(path)?.clone())));
        Snapshot {
            base: Arc::new(Base {
                origin: self.base.origin.clone(),
                commit: self.base.commit.clone(),
                files: own.collect(),
                folders: self.base.folders.clone(),
                content: Arc::clone(&self.base.content),
                strayed: AtomicBool::new(false),
            }),
            over: self.over.clone(),
            mounts: self.mounts.clone(),
        }
    }

    fn note_stray(&self, path: &str) {
        if !self.base.files.contains_key(path) {
            self.base.strayed.store(true, Ordering::Relaxed);
        }
    }

    /// Returns the state that texts were laid over, as it was listed.
    pub fn without_overlay(&self) -> Snapshot {
        Snapshot { over: None, ..self.clone() }
    }

    /// Returns whether a file was asked for, in this snapshot or one laid over it, that is not listed or could not be
    /// read: then what was read follows from more than [`Snapshot::identity`] tells.
    pub fn has_strayed(&self) -> bool {
        self.base.strayed.load(Ordering::Relaxed)
    }

    /// Returns a text that two states of one ledger share only where all that is listed is the same: paths, kinds
    /// and bytes. `None` where a file can't be read, texts are laid over it, or records are taken from other ledgers:
    /// what those have, and whether they are here, no file of this one tells.
    ///
    /// Of a work tree, files that look as they did when `stamps` was taken are not read again; what was learnt is
    /// noted there.
    pub fn identity(&self, stamps: &mut Stamps) -> Option<String> {
        if self.over.is_some() || self.has_imports() {
            return None;
        }
        match (&self.base.origin, &*self.base.content) {
            (Origin::Revision { tree, .. }, _) => (!tree.is_empty()).then(|| format!("tree {tree}")),
            (_, Content::Objects(objects)) => {
                let mut all = Sum::new();
                for (path, item) in objects.items() {
                    all.add(path, &item.kind, Some(&item.id));
                }
                Some(format!("index {}", all.end()))
            }
            (_, Content::Disk(disk)) => {
                let blobs = stamps.blobs(self.base.files.values(), disk)?;
                let mut all = Sum::new();
                for (file, blob) in self.base.files.values().zip(&blobs) {
                    all.add(&file.path, &file.kind, blob.as_ref());
                }
                for folder in &self.base.folders {
                    all.add(folder, &EntryKind::Other("a folder".to_owned()), None);
                }
                // They are named where one of them is looked for.
                for path in &disk.ignored {
                    all.add(path, &EntryKind::Other("ignored".to_owned()), None);
                }
                Some(format!("files {}", all.end()))
            }
            (_, Content::Memory(_)) => None,
        }
    }

    /// Files of a work tree that would be listed, but that git ignores; of many some.
    pub fn ignored(&self) -> &[String] {
        match &*self.base.content {
            Content::Disk(disk) => &disk.ignored,
            _ => &[],
        }
    }

    /// Learns the blobs of the files of a work tree that look as they did when `stamps` was taken: what was read of them
    /// before need not be read again.
    pub fn learn(&self, stamps: &Stamps) {
        if let Content::Disk(disk) = &*self.base.content {
            disk.learn(stamps);
        }
    }

    /// Returns the blob of a file of a work tree that was learnt, if nothing is laid over it.
    pub fn learnt(&self, path: &str) -> Option<String> {
        let Content::Disk(disk) = &*self.base.content else { return None };
        if self.over.as_ref().is_some_and(|over| over.edits.contains_key(path)) {
            return None;
        }
        disk.known(path).map(|blob| blob.to_string())
    }

    /// Returns whether stamps are true of a work tree: files that look as they did have the bytes that were noted.
    pub fn agrees(&self, stamps: &Stamps) -> bool {
        match &*self.base.content {
            Content::Disk(disk) => stamps.is_true_of(disk),
            _ => false,
        }
    }

    fn listing(&self) -> &BTreeMap<String, FileEntry> {
        self.over.as_ref().map_or(&self.base.files, |over| &over.files)
    }
}

impl FileEntry {
    fn of_bytes(path: &str, bytes: &[u8]) -> FileEntry {
        FileEntry { path: path.to_owned(), kind: EntryKind::Regular, size: u64::try_from(bytes.len()).ok() }
    }
}

fn limited(bytes: Option<&Arc<[u8]>>, limit: u64) -> Result<Arc<[u8]>, ReadFault> {
    let bytes = bytes.ok_or(ReadFault::Missing)?;
    let size = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
    if size > limit { Err(ReadFault::TooLarge { size, limit }) } else { Ok(Arc::clone(bytes)) }
}

/// The first folders of paths, sorted, each once.
pub(super) fn tops<'a>(paths: impl Iterator<Item = &'a String>) -> Vec<String> {
    let tops: BTreeSet<&str> = paths.filter_map(|path| path.split_once('/').map(|(top, _)| top)).collect();
    tops.into_iter().map(str::to_owned).collect()
}
