//! Other ledgers that a ledger takes records from: at the commits that it names, read through git's objects alone.
//!
//! What `ledger.yaml` names is looked up when a snapshot is taken, and again where a text laid over it changes
//! `ledger.yaml`. No work tree of another repository is read, no link followed, and nothing looked at that lies
//! elsewhere than beside or below the repository of the ledger. Imports of an import are not followed.

use std::collections::BTreeMap;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use super::objects::{self, Objects};
use super::path::clean;
use super::{EntryKind, FileEntry, LEDGER_FILE, ReadFault, Repository, SourceError};
use crate::record::{Import, LedgerHead, RecordKind, Within, is_id, named};

/// How many imports are read; further ones are a fault.
pub const MOST_IMPORTS: usize = 16;
/// The fewest digits of a commit, as git itself shortens ids.
const FEWEST_DIGITS: usize = 7;
/// The most: of the longer of git's two kinds of ids.
const MOST_DIGITS: usize = 64;

/// Why nothing can be taken from an import.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ImportFault {
    /// What is written can't be one, whatever lies there; the key that is wrong, and why.
    #[error("{1}")]
    Written(&'static str, String),
    /// The path leads elsewhere than beside or below the repository.
    #[error("`{0}` lies neither below this repository nor beside it")]
    Outside(String),
    /// A link on the way.
    #[error("`{0}` is, or lies behind, a symbolic link, and links are not followed")]
    Link(String),
    /// There is no repository.
    #[error("there is no git repository at `{path}`: {why}")]
    NoRepository {
        /// The path as written.
        path: String,
        /// What is there instead.
        why: String,
    },
    /// The commit is not there, or is none.
    #[error("the commit `{commit}` is not in `{path}`: {why}")]
    NoCommit {
        /// The commit as written.
        commit: String,
        /// The path as written.
        path: String,
        /// Why, in words.
        why: String,
    },
    /// The commit has no ledger there.
    #[error("commit {commit} of `{path}` has no `ledger.yaml` {place}")]
    NoLedger {
        /// The commit, short.
        commit: String,
        /// The path as written.
        path: String,
        /// Where it was looked for, in words.
        place: String,
    },
    /// Its files can't be listed.
    #[error("commit {commit} of `{path}` can't be read: {why}")]
    Unreadable {
        /// The commit, short.
        commit: String,
        /// The path as written.
        path: String,
        /// Why, in words.
        why: String,
    },
}

impl ImportFault {
    /// The key of the import that is at fault.
    pub fn key(&self) -> &'static str {
        match self {
            Self::Written(key, _) => key,
            Self::Outside(_) | Self::Link(_) | Self::NoRepository { .. } => "path",
            Self::NoCommit { .. } | Self::Unreadable { .. } => "commit",
            Self::NoLedger { .. } => "folder",
        }
    }

    /// The way on.
    pub fn mend(&self) -> String {
        match self {
            Self::Written("commit", _) => {
                "write the commit's id, as `git rev-parse HEAD` prints it there".to_owned()
            }
            Self::Written("name", _) => {
                "write a name of lower-case letters, digits and `-` that no other import and no kind of record has"
                    .to_owned()
            }
            Self::Written(..) => "write it as the README shows under Imports".to_owned(),
            Self::Outside(_) => {
                "clone the other repository beside this one, or make it a submodule, and write that folder"
                    .to_owned()
            }
            Self::Link(_) => {
                "write the folder that the link leads to, or clone the repository there".to_owned()
            }
            Self::NoRepository { path, .. } => format!(
                "clone it there; where `{path}` is a submodule, run `git submodule update --init {path}`"
            ),
            Self::NoCommit { path, .. } | Self::Unreadable { path, .. } => {
                format!("fetch it with `git -C {path} fetch`, or name a commit that is there")
            }
            Self::NoLedger { .. } => {
                "write in `folder` where the ledger stands in that repository".to_owned()
            }
        }
    }
}

/// How an import was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Imported {
    /// Its place in the list, from 0.
    pub at: usize,
    /// Its name.
    pub name: String,
    /// What is taken, or why nothing can be.
    pub outcome: Result<Taken, ImportFault>,
}

/// What is taken from an import.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// The full id of the commit.
    pub commit: String,
    /// As what its records are read.
    pub within: Arc<Within>,
    /// How the commit stands to where its repository is now; `None` of a state of the past, and where that can't be
    /// told.
    pub drift: Option<Drift>,
}

/// How a pinned commit stands to its repository's HEAD.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drift {
    /// Commits of HEAD that the pinned one has not.
    pub behind: usize,
    /// Commits of the pinned one that HEAD has not.
    pub ahead: usize,
    /// The files, by their path here, that differ between the two or are in one alone.
    pub differing: Vec<String>,
}

/// Where a ledger stands, for what it imports; it keeps what was looked up.
pub(super) struct Home {
    root: PathBuf,
    roof: PathBuf,
    found: Mutex<BTreeMap<String, Arc<Mount>>>,
}

/// The ledger of one import in one commit.
pub(super) struct Mount {
    name: String,
    commit: String,
    within: Arc<Within>,
    repository: Arc<Repository>,
    folder: String,
    /// Files of the kinds that are taken, by their path there.
    files: BTreeMap<String, FileEntry>,
    objects: Objects,
}

/// The imports of one state of a ledger.
#[derive(Clone)]
pub(super) struct Mounts {
    home: Arc<Home>,
    is_past: bool,
    all: Arc<Vec<(Imported, Option<Arc<Mount>>)>>,
}

impl fmt::Debug for Home {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Home").field("root", &self.root).finish_non_exhaustive()
    }
}

impl Home {
    /// The home of a ledger at `root`, in a repository whose work tree or, where it is bare, git directory is `top`.
    pub(super) fn new(root: &Path, top: Option<&Path>) -> Arc<Home> {
        let own = top.unwrap_or(root);
        let roof = own.parent().unwrap_or(own).to_owned();
        Arc::new(Home { root: root.to_owned(), roof, found: Mutex::default() })
    }

    /// Goes to a folder beside or below the repository, over no link.
    fn folder(&self, path: &str) -> Result<PathBuf, ImportFault> {
        let outside = || ImportFault::Outside(path.to_owned());
        let is_drive = path.as_bytes().get(1) == Some(&b':');
        if path.starts_with('/') || path.contains(['\\', '\0']) || is_drive {
            return Err(outside());
        }
        let mut here = self.root.clone();
        for part in path.split('/') {
            match part {
                "" | "." => {}
                ".." => {
                    here.pop();
                    if !here.starts_with(&self.roof) {
                        return Err(outside());
                    }
                }
                part if part.eq_ignore_ascii_case(".git") => return Err(outside()),
                part => {
                    here.push(part);
                    if fs::symlink_metadata(&here).is_ok_and(|about| about.is_symlink()) {
                        return Err(ImportFault::Link(path.to_owned()));
                    }
                }
            }
        }
        if here == self.roof { Err(outside()) } else { Ok(here) }
    }

    /// Looks an import up, once for all states that name it so.
    fn mount(&self, wanted: &Import) -> Result<Arc<Mount>, ImportFault> {
        let asked = format!("{wanted:?}");
        let mut found = self.found.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = found.get(&asked) {
            return Ok(Arc::clone(known));
        }
        // What is not there now may be there when a long command asks again.
        let own = Arc::new(self.looked_up(wanted)?);
        found.insert(asked, Arc::clone(&own));
        Ok(own)
    }

    fn looked_up(&self, wanted: &Import) -> Result<Mount, ImportFault> {
        let Import { name, path, commit, folder, kinds, title: _ } = wanted;
        let (name, path, commit) = (name.as_str(), path.as_str(), commit.as_str());
        if !is_id(name) || RecordKind::by_word(name).is_some() || RecordKind::by_folder(name).is_some() {
            return Err(ImportFault::Written("name", format!("`{name}` can't be the name of an import")));
        }
        let digits = commit.bytes().all(|byte| byte.is_ascii_hexdigit());
        if !digits || !(FEWEST_DIGITS..=MOST_DIGITS).contains(&commit.len()) {
            let words =
                format!("`{commit}` is no commit's id, which has {FEWEST_DIGITS} hexadecimal digits or more");
            return Err(ImportFault::Written("commit", words));
        }
        let folder = match folder.as_ref().map(|folder| folder.as_str()) {
            None | Some("" | "." | "./") => String::new(),
            Some(folder) => clean(folder).map_err(|_| {
                ImportFault::Written("folder", format!("`{folder}` is no folder inside a repository"))
            })?,
        };
        let here = self.folder(path)?;
        let repository = Repository::at(&here).map_err(|why| ImportFault::NoRepository {
            path: path.to_owned(),
            why: if here.exists() { why } else { "there is no such folder".to_owned() },
        })?;
        let repository = Arc::new(repository);
        let no_commit =
            |why: String| ImportFault::NoCommit { commit: commit.to_owned(), path: path.to_owned(), why };
        let found = repository.find(&commit.to_ascii_lowercase()).map_err(|error| match error {
            SourceError::UnknownRevision { .. } => no_commit("there is none of this id".to_owned()),
            other => no_commit(other.to_string()),
        })?;
        let id = found.commit.map(|id| id.to_string()).unwrap_or_default();
        if !id.starts_with(&commit.to_ascii_lowercase()) {
            return Err(no_commit("it names something else there".to_owned()));
        }
        let short: String = id.chars().take(FEWEST_DIGITS).collect();
        let unreadable = |error: SourceError| ImportFault::Unreadable {
            commit: short.clone(),
            path: path.to_owned(),
            why: error.to_string(),
        };
        let none = || ImportFault::NoLedger {
            commit: short.clone(),
            path: path.to_owned(),
            place: if folder.is_empty() { "at its top".to_owned() } else { format!("in `{folder}`") },
        };
        let root = objects::subtree(&repository, found.tree, &folder).map_err(unreadable)?;
        let (files, _, objects) = objects::tree(&repository, root.ok_or_else(none)?).map_err(unreadable)?;
        if files.get(LEDGER_FILE).is_none_or(|file| file.kind != EntryKind::Regular) {
            return Err(none());
        }
        let kind_of = |path: &str| RecordKind::by_folder(path.split_once('/')?.0);
        let kinds: Vec<RecordKind> = crate::record::ImportedKind::ALL
            .iter()
            .filter(|kind| kinds.as_ref().is_none_or(|kinds| kinds.contains(kind)))
            .map(|kind| kind.record())
            .filter(|kind| kinds.is_some() || files.keys().any(|path| kind_of(path) == Some(*kind)))
            .collect();
        let files = files
            .into_iter()
            .filter(|(path, file)| {
                file.kind == EntryKind::Regular && kind_of(path).is_some_and(|kind| kinds.contains(&kind))
            })
            .collect();
        let within = Arc::new(Within { name: name.to_owned(), kinds });
        Ok(Mount { name: name.to_owned(), commit: id, within, repository, folder, files, objects })
    }

    /// Looks up what a `ledger.yaml` imports. What is no list of imports is found at fault by whoever reads the record.
    pub(super) fn mounts(self: &Arc<Home>, head: Option<&[u8]>, is_past: bool) -> Mounts {
        let mut all: Vec<(Imported, Option<Arc<Mount>>)> = Vec::new();
        for (at, wanted) in head.map(imports).unwrap_or_default().into_iter().enumerate() {
            let name = wanted.name.as_str().to_owned();
            let found = if at >= MOST_IMPORTS {
                let words = format!("there are more than {MOST_IMPORTS} imports, and no more are read");
                Err(ImportFault::Written("", words))
            } else if all.iter().any(|(other, _)| other.name == name) {
                Err(ImportFault::Written("name", format!("two imports are called `{name}`")))
            } else {
                self.mount(&wanted)
            };
            let outcome = found.as_ref().map_err(Clone::clone).map(|mount| Taken {
                commit: mount.commit.clone(),
                within: Arc::clone(&mount.within),
                drift: if is_past { None } else { mount.drift() },
            });
            all.push((Imported { at, name, outcome }, found.ok()));
        }
        Mounts { home: Arc::clone(self), is_past, all: Arc::new(all) }
    }
}

/// The entries of `imports:`, as whoever reads the record reads them; none of a `ledger.yaml` that is at fault.
fn imports(head: &[u8]) -> Vec<Import> {
    // Most ledgers have none, and need not be read twice.
    if !head.windows(8).any(|own| own == b"imports:") {
        return Vec::new();
    }
    let found = crate::record::read::<LedgerHead>(LEDGER_FILE, head).value;
    found.map(|head| head.imports.into_iter().take(MOST_IMPORTS + 1).collect()).unwrap_or_default()
}

impl Mounts {
    /// The imports of the same ledger with another `ledger.yaml`.
    pub(super) fn with_head(&self, head: Option<&[u8]>) -> Mounts {
        self.home.mounts(head, self.is_past)
    }

    /// Whether there are none.
    pub(super) fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    /// How each was found.
    pub(super) fn states(&self) -> impl Iterator<Item = &Imported> {
        self.all.iter().map(|(state, _)| state)
    }

    /// The records that are taken, by the paths that their files have here.
    pub(super) fn paths(&self) -> impl Iterator<Item = String> {
        let mounts = self.all.iter().filter_map(|(_, mount)| mount.as_ref());
        mounts.flat_map(|mount| mount.files.keys().map(|path| named(Some(&mount.name), path)))
    }

    /// The import that a path is of, and the path there.
    fn of<'a>(&self, path: &'a str) -> Option<(&Mount, &'a str)> {
        let (name, rest) = path.split_once(':')?;
        let mut mounts = self.all.iter().filter_map(|(_, mount)| mount.as_deref());
        Some((mounts.find(|mount| mount.name == name)?, rest))
    }

    /// Reads a file of an import; `None` where the path is of none.
    pub(super) fn read(&self, path: &str, limit: u64) -> Option<Result<Arc<[u8]>, ReadFault>> {
        let (mount, rest) = self.of(path)?;
        Some(clean(rest).and_then(|rest| mount.objects.read(&rest, limit)))
    }

    /// The id of such a file's bytes; `None` where the path is of none.
    pub(super) fn blob_id(&self, path: &str) -> Option<Option<String>> {
        let (mount, rest) = self.of(path)?;
        Some(clean(rest).ok().and_then(|rest| mount.objects.blob(&rest).ok()).map(|id| id.to_string()))
    }
}

impl Mount {
    /// How the commit stands to HEAD of its repository.
    fn drift(&self) -> Option<Drift> {
        let head = self.repository.head().ok()??;
        let own = git2::Oid::from_str(&self.commit).ok()?;
        let (ahead, behind) =
            self.repository.with(|git| git.graph_ahead_behind(own, head).ok()).ok().flatten()?;
        let tree = self.repository.find("HEAD").ok()?.tree;
        let now = match objects::subtree(&self.repository, tree, &self.folder).ok()? {
            Some(root) => objects::tree(&self.repository, root).ok()?.2.items().clone(),
            None => BTreeMap::new(),
        };
        let taken = |path: &str| {
            let kind = path.split_once('/').and_then(|(folder, _)| RecordKind::by_folder(folder));
            kind.is_some_and(|kind| self.within.kinds.contains(&kind))
        };
        let was = self.objects.items();
        let paths: std::collections::BTreeSet<&String> = was.keys().chain(now.keys()).collect();
        let differing = paths.into_iter().filter(|path| taken(path) && was.get(*path) != now.get(*path));
        let differing = differing.map(|path| named(Some(&self.name), path)).collect();
        Some(Drift { behind, ahead, differing })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(path: &str) -> Result<PathBuf, ImportFault> {
        Home::new(Path::new("/work/programmes/one/ledger"), Some(Path::new("/work/programmes/one")))
            .folder(path)
    }

    #[test]
    fn only_what_lies_beside_or_below_is_looked_at() {
        assert_eq!(at("../../shared"), Ok(PathBuf::from("/work/programmes/shared")));
        assert_eq!(at("../vendor/shared"), Ok(PathBuf::from("/work/programmes/one/vendor/shared")));
        assert_eq!(at("shared/./x//"), Ok(PathBuf::from("/work/programmes/one/ledger/shared/x")));
        for path in
            ["/etc", "../..", "../../../secret", "../../x/../../y", "c:x", "a\\b", "../.git/x", ".GIT"]
        {
            assert_eq!(at(path), Err(ImportFault::Outside(path.to_owned())), "{path}");
        }
    }

    #[test]
    fn what_is_no_list_of_imports_imports_nothing() {
        let head = |rest: &str| imports(format!("format: 1\nprogramme: Test\n{rest}").as_bytes());
        for rest in
            ["", "imports:\n", "imports: 3\n", "imports: {a: b}\n", "imports: [\n", "imports: [{name: a}]"]
        {
            assert!(head(rest).is_empty(), "{rest}");
        }
        let many = format!("imports: [{}]", "{name: a, path: b, commit: abcdef1}, ".repeat(40));
        assert_eq!(head(&many).len(), MOST_IMPORTS + 1);
        // A commit of digits alone is one too, whatever YAML takes it for.
        for commit in ["1234567", "12345e7", "0123456", "\"1234567\""] {
            let found = head(&format!("imports: [{{name: a, path: b, commit: {commit}}}]"));
            assert_eq!(found[0].commit.as_str(), commit.trim_matches('"'));
        }
    }
}
