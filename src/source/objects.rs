//! The index and revisions: files that are read through git's objects.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use git2::{Index, IndexEntryExtendedFlag, Oid};

use super::fault::object_words;
use super::guard::light;
use super::path::{folders, is_listed, join};
use super::snapshot::tops;
use super::{EntryKind, FILE_LIMIT, FileEntry, KIND_FOLDERS, ReadFault, Repository, SourceError};

/// The longest path that is listed, in bytes; no file system takes longer ones.
const PATH_LIMIT: usize = 4096;
/// What a submodule or a clone inside the ledger is called.
pub(super) const NESTED: &str = "a repository of its own";
/// What a name that cannot be shown is called.
pub(super) const UNREADABLE_NAME: &str = "a file whose name is not UTF-8";

/// Files known by their objects, and the repository that has these.
pub(super) struct Objects {
    repository: Arc<Repository>,
    items: BTreeMap<String, Item>,
    /// The tree in which files that were not listed are looked up; none for the index, whose items
    /// are all its files.
    tree: Option<Oid>,
}

/// One file of the index or a tree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Item {
    pub(super) id: Oid,
    pub(super) kind: EntryKind,
}

/// A file of the index, with what git notes beside it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Tracked {
    pub(super) item: Item,
    /// Left out of the work tree by a sparse checkout.
    pub(super) sparse: bool,
    /// Announced with `git add --intent-to-add`: the next commit does not hold it.
    pub(super) announced: bool,
}

/// What listing gives: the files' entries, the folders at the top, and where the bytes are.
pub(super) type Listing = (BTreeMap<String, FileEntry>, Vec<String>, Objects);

/// Lists the index as the next commit would hold it.
pub(super) fn index(repository: &Arc<Repository>, file: &Path, prefix: &str) -> Result<Listing, SourceError> {
    let items: BTreeMap<String, Item> = tracked(file, prefix)?
        .into_iter()
        .filter(|(_, tracked)| !tracked.announced)
        .map(|(path, tracked)| (path, tracked.item))
        .collect();
    let folders = tops(items.keys());
    Ok((entries(&items), folders, Objects { repository: Arc::clone(repository), items, tree: None }))
}

/// Reads the files of an index that lie under a folder, by their path in it.
pub(super) fn tracked(file: &Path, prefix: &str) -> Result<BTreeMap<String, Tracked>, SourceError> {
    let failed =
        |error: git2::Error| SourceError::Index { path: file.to_owned(), why: error.message().to_owned() };
    // Opened by itself and not through the repository, so that a handle lent before never answers
    // with an index it has kept.
    let index = Index::open(file).map_err(failed)?;
    // In the order of their paths, so that the map is built at once.
    let mut all: Vec<(String, Tracked)> = Vec::with_capacity(index.len());
    for entry in index.iter() {
        let Some(path) = below(&entry.path, prefix) else { continue };
        let stage = (entry.flags >> 12) & 3;
        let (path, readable) = readable(path);
        let flags = IndexEntryExtendedFlag::from_bits_truncate(entry.flags_extended);
        let kind = if stage > 0 {
            EntryKind::Other("unmerged".to_owned())
        } else if !readable {
            EntryKind::Other(UNREADABLE_NAME.to_owned())
        } else {
            kind_of(entry.mode)
        };
        let tracked = Tracked {
            item: Item { id: entry.id, kind },
            sparse: flags.is_skip_worktree(),
            announced: flags.is_intent_to_add(),
        };
        // Of the sides of a conflict the last.
        match all.last_mut().filter(|(last, _)| *last == path) {
            Some((_, last)) => *last = tracked,
            None => all.push((path, tracked)),
        }
    }
    Ok(all.into_iter().collect())
}

fn below<'a>(path: &'a [u8], prefix: &str) -> Option<&'a [u8]> {
    if prefix.is_empty() { Some(path) } else { path.strip_prefix(prefix.as_bytes())?.strip_prefix(b"/") }
}

fn readable(path: &[u8]) -> (String, bool) {
    match std::str::from_utf8(path) {
        Ok(path) => (path.to_owned(), true),
        Err(_) => (String::from_utf8_lossy(path).into_owned(), false),
    }
}

fn kind_of(mode: u32) -> EntryKind {
    match mode & 0o170_000 {
        0o100_000 => EntryKind::Regular,
        0o120_000 => EntryKind::Link,
        0o160_000 => EntryKind::Other(NESTED.to_owned()),
        0o040_000 => EntryKind::Other("a folder".to_owned()),
        _ => EntryKind::Other("of a kind unknown to git".to_owned()),
    }
}

fn entries(items: &BTreeMap<String, Item>) -> BTreeMap<String, FileEntry> {
    items
        .iter()
        .filter(|(path, _)| is_listed(path))
        .map(|(path, item)| {
            (path.clone(), FileEntry { path: path.clone(), kind: item.kind.clone(), size: None })
        })
        .collect()
}

/// Finds the tree of a folder inside a tree; none if there is no such folder.
pub(super) fn subtree(repository: &Repository, top: Oid, prefix: &str) -> Result<Option<Oid>, SourceError> {
    if prefix.is_empty() {
        return Ok(Some(top));
    }
    repository.with(|git| {
        let mut own = top;
        for name in prefix.split('/') {
            let of = if own == top { "the revision" } else { prefix };
            let tree = light(git, own)
                .and_then(|()| git.find_tree(own))
                .map_err(|error| missing(repository, own, of, &error))?;
            match tree.get_name(name) {
                Some(entry) if entry.kind() == Some(git2::ObjectType::Tree) => own = entry.id(),
                _ => return Ok(None),
            }
        }
        Ok(Some(own))
    })?
}

/// The object at a path below a tree, a file's or a folder's; `None` where there is nothing.
pub(super) fn at(repository: &Repository, top: Oid, path: &str) -> Result<Option<Oid>, SourceError> {
    if path.is_empty() {
        return Ok(Some(top));
    }
    let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
    let Some(folder) = subtree(repository, top, folder)? else { return Ok(None) };
    repository.with(|git| {
        let tree = light(git, folder)
            .and_then(|()| git.find_tree(folder))
            .map_err(|error| missing(repository, folder, path, &error))?;
        Ok(tree.get_name(name).map(|entry| entry.id()))
    })?
}

/// The folder of a ledger, where a path is that of its first file.
pub(super) fn ledger_of(path: &str, file: &str) -> Option<String> {
    let folder = path.strip_suffix(file)?;
    if folder.is_empty() { Some(String::new()) } else { folder.strip_suffix('/').map(str::to_owned) }
}

/// The folders below a tree that hold a ledger; `""` is the tree itself.
pub(super) fn ledgers(
    repository: &Repository,
    top: Oid,
    file: &str,
) -> Result<std::collections::BTreeSet<String>, SourceError> {
    let mut all = std::collections::BTreeSet::new();
    walk(repository, top, |folder, entry| {
        let Ok(name) = std::str::from_utf8(entry.name_bytes()) else { return Ok(None) };
        match entry.kind() {
            Some(git2::ObjectType::Tree) => return Ok(Some(join(folder, name))),
            Some(git2::ObjectType::Blob) if name == file => {
                all.insert(folder.to_owned());
            }
            _ => {}
        }
        Ok(None)
    })?;
    Ok(all)
}

/// The files below a tree, by path.
pub(super) fn files(repository: &Repository, top: Oid) -> Result<BTreeMap<String, Oid>, SourceError> {
    let mut all = BTreeMap::new();
    walk(repository, top, |folder, entry| {
        let (name, _) = entry_name(entry.name_bytes());
        let path = join(folder, &name);
        match entry.kind() {
            Some(git2::ObjectType::Tree) => return Ok(Some(path)),
            Some(git2::ObjectType::Blob) => drop(all.insert(path, entry.id())),
            _ => {}
        }
        Ok(None)
    })?;
    Ok(all)
}

/// Looks at each entry of a tree with the folder that it stands in, and goes on into those that it gives a
/// path for.
fn walk(
    repository: &Repository,
    root: Oid,
    mut look: impl FnMut(&str, &git2::TreeEntry<'_>) -> Result<Option<String>, SourceError>,
) -> Result<(), SourceError> {
    repository.with(|git| -> Result<(), SourceError> {
        let mut waiting = vec![(root, String::new())];
        let mut seen = 0_usize;
        // Each tree is looked at once, however often it is named.
        let mut known = std::collections::HashSet::new();
        while let Some((id, folder)) = waiting.pop() {
            let looked = if known.insert(id) { light(git, id) } else { Ok(()) };
            let tree = looked
                .and_then(|()| git.find_tree(id))
                .map_err(|error| missing(repository, id, &folder, &error))?;
            for entry in tree.iter() {
                seen = seen.saturating_add(1);
                if seen > FILE_LIMIT {
                    return Err(SourceError::TooManyFiles { limit: FILE_LIMIT });
                }
                if let Some(path) = look(&folder, &entry)? {
                    waiting.push((entry.id(), path));
                }
            }
        }
        Ok(())
    })?
}

/// Lists the ledger whose root is this tree.
pub(super) fn tree(repository: &Arc<Repository>, root: Oid) -> Result<Listing, SourceError> {
    let mut items = BTreeMap::new();
    let mut tops = Vec::new();
    walk(repository, root, |folder, entry| {
        let (name, fault) = entry_name(entry.name_bytes());
        let path = join(folder, &name);
        let kind = kind_of(u32::try_from(entry.filemode_raw()).unwrap_or_default());
        let is_folder = fault.is_none() && entry.kind() == Some(git2::ObjectType::Tree);
        if is_folder && folder.is_empty() {
            tops.push(name);
        }
        if folder.is_empty() && !is_listed(&path) {
            return Ok(None);
        }
        if path.len() > PATH_LIMIT {
            return Err(SourceError::Git {
                doing: format!("listing {}", path.chars().take(60).collect::<String>()),
                why: format!("a path in it is longer than {PATH_LIMIT} bytes"),
            });
        }
        if !is_folder {
            let kind = fault.map_or(kind, |words| EntryKind::Other(words.to_owned()));
            items.insert(path, Item { id: entry.id(), kind });
            return Ok(None);
        }
        Ok((!folder.is_empty() || KIND_FOLDERS.contains(&path.as_str())).then_some(path))
    })?;
    tops.sort();
    Ok((entries(&items), tops, Objects { repository: Arc::clone(repository), items, tree: Some(root) }))
}

/// A tree's entry by a name that is safe to join; trees can be made by hand to hold any bytes.
fn entry_name(name: &[u8]) -> (String, Option<&'static str>) {
    let (name, is_utf8) = readable(name);
    let refused = name.is_empty()
        || name == "."
        || name == ".."
        || name.eq_ignore_ascii_case(".git")
        || name.contains('/');
    if refused {
        (name.replace(['/', '.'], "\u{fffd}"), Some("of a name that git refuses"))
    } else {
        (name, (!is_utf8).then_some(UNREADABLE_NAME))
    }
}

fn missing(repository: &Repository, id: Oid, of: &str, error: &git2::Error) -> SourceError {
    repository.note_lack(id);
    let of = if of.is_empty() { "the ledger's folder" } else { of };
    SourceError::Object {
        id: id.to_string(),
        of: of.to_owned(),
        why: object_words(error, repository.is_shallow()),
    }
}

impl Objects {
    /// All files with what they are; of a revision only those that are listed.
    pub(super) fn items(&self) -> &BTreeMap<String, Item> {
        &self.items
    }

    pub(super) fn read(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, ReadFault> {
        self.repository.blob(self.blob(path)?, limit)
    }

    /// The blob of a plain file.
    pub(super) fn blob(&self, path: &str) -> Result<Oid, ReadFault> {
        if let Some(item) = self.items.get(path) {
            return item.plain();
        }
        for folder in folders(path) {
            if let Some(item) = self.items.get(folder) {
                return item.plain().and(Err(ReadFault::Missing));
            }
        }
        match self.tree {
            Some(root) => self.look_up(root, path),
            None => {
                let inside = format!("{path}/");
                let next = self.items.range(inside.clone()..).next();
                match next.is_some_and(|(next, _)| next.starts_with(&inside)) {
                    true => Err(ReadFault::NotRegular { what: "a folder".to_owned() }),
                    false => Err(ReadFault::Missing),
                }
            }
        }
    }

    /// Goes down a tree one name at a time, so that a link on the way is seen as one.
    fn look_up(&self, root: Oid, path: &str) -> Result<Oid, ReadFault> {
        let fault = |id: Oid| {
            move |error: git2::Error| {
                self.repository.note_lack(id);
                ReadFault::Object {
                    id: id.to_string(),
                    why: object_words(&error, self.repository.is_shallow()),
                }
            }
        };
        self.repository
            .with(|git| {
                let mut here = root;
                let mut names = path.split('/').peekable();
                while let Some(name) = names.next() {
                    let tree = light(git, here).and_then(|()| git.find_tree(here)).map_err(fault(here))?;
                    let Some(entry) = tree.get_name_bytes(name.as_bytes()) else {
                        return Err(ReadFault::Missing);
                    };
                    let kind = kind_of(u32::try_from(entry.filemode_raw()).unwrap_or_default());
                    let item = Item { id: entry.id(), kind };
                    let is_folder = entry.kind() == Some(git2::ObjectType::Tree);
                    match names.peek() {
                        Some(_) if is_folder => here = item.id,
                        Some(_) => return item.plain().and(Err(ReadFault::Missing)),
                        None => return item.plain(),
                    }
                }
                Err(ReadFault::Missing)
            })
            .map_err(|error| ReadFault::Io(error.to_string()))?
    }
}

impl Item {
    fn plain(&self) -> Result<Oid, ReadFault> {
        match &self.kind {
            EntryKind::Regular => Ok(self.id),
            EntryKind::Link => Err(ReadFault::Link),
            EntryKind::Other(what) => Err(ReadFault::NotRegular { what: what.clone() }),
        }
    }
}
