//! Where a ledger is: its root, the repository around it, and the snapshots that can be taken of it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use super::disk::{self, Git};
use super::imports::Home;
use super::objects::{self, tracked};
use super::path::join;
use super::repository::{Commit, Repository, Revision};
use super::snapshot::Content;
use super::{LEDGER_FILE, Origin, RECORD_LIMIT, Snapshot, SourceError, guard};

/// A ledger's place on disk and in its repository.
#[derive(Debug, Clone)]
pub struct Place {
    root: PathBuf,
    prefix: String,
    repository: Option<Arc<Repository>>,
    /// A repository lies around the ledger, but ignores it.
    ignored: bool,
    index_file: Option<PathBuf>,
    /// Where what it imports is looked up; each folder that a ledger stood in has its own.
    homes: Arc<Mutex<BTreeMap<String, Arc<Home>>>>,
}

impl Place {
    /// Finds the ledger that a folder lies in, walking up to the nearest `ledger.yaml`, but not out
    /// of the repository that `start` lies in.
    ///
    /// In a bare repository, which has no files to walk through, the ledger is the one at the top of
    /// its revisions. A repository that ignores the ledger's folder does not count as its repository.
    ///
    /// # Errors
    ///
    /// [`SourceError::NoLedger`] if there is none; others if the repository cannot be opened.
    pub fn find(start: &Path) -> Result<Place, SourceError> {
        let unreachable =
            |error: std::io::Error| SourceError::Start { path: start.to_owned(), why: error.to_string() };
        let start = start.canonicalize().map_err(unreachable)?;
        let start = if start.is_dir() { start } else { start.parent().map(Path::to_owned).unwrap_or(start) };
        let mut top = start.clone();
        for folder in start.ancestors() {
            if is_ledger(folder)? {
                return Place::at(folder);
            }
            folder.clone_into(&mut top);
            if folder.join(".git").exists() {
                break;
            }
        }
        if let Some(bare) = Repository::around(&start)?.filter(|it| it.top().is_none()) {
            return Ok(Place {
                root: bare.git_dir().to_owned(),
                prefix: String::new(),
                repository: Some(Arc::new(bare)),
                ignored: false,
                index_file: None,
                homes: Arc::default(),
            });
        }
        Err(SourceError::NoLedger { start, top })
    }

    fn at(root: &Path) -> Result<Place, SourceError> {
        let mut place = Place {
            root: root.to_owned(),
            prefix: String::new(),
            repository: None,
            ignored: false,
            index_file: None,
            homes: Arc::default(),
        };
        let Some(repository) = Repository::around(root)? else { return Ok(place) };
        // A repository whose work tree is elsewhere does not hold this folder.
        let Some(below) = repository.top().and_then(|top| root.strip_prefix(top).ok()) else {
            return Ok(place);
        };
        let Some(prefix) = below.to_str() else {
            return Err(SourceError::NotUtf8 { path: below.to_owned() });
        };
        let prefix = prefix.to_owned();
        let ledger_file = join(&prefix, LEDGER_FILE);
        if let Some(top) = repository.top() {
            guard::ignores_to(top, &ledger_file)?;
        }
        let ignored = repository.with(|git| git.is_path_ignored(&ledger_file).unwrap_or(false))?;
        if ignored && !tracked(&repository.git_dir().join("index"), &prefix)?.contains_key(LEDGER_FILE) {
            place.ignored = true;
            return Ok(place);
        }
        place.prefix = prefix;
        place.repository = Some(Arc::new(repository));
        Ok(place)
    }

    /// The same place with another index file, as git names one in `GIT_INDEX_FILE` while a hook
    /// runs. A relative path starts from the top of the work tree, where git starts hooks.
    #[must_use]
    pub fn with_index_file(mut self, index_file: Option<PathBuf>) -> Place {
        self.index_file = index_file;
        self
    }

    /// The folder that holds `ledger.yaml`, as an absolute path without links.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The repository that holds the ledger.
    pub fn repository(&self) -> Option<&Repository> {
        self.repository.as_deref()
    }

    /// The ledger's folder in the repository: `""` at its top, else such as `a/b`.
    pub fn prefix(&self) -> &str {
        &self.prefix
    }

    /// The repository, or why there is none.
    pub(super) fn need_repository(&self) -> Result<&Arc<Repository>, SourceError> {
        self.repository
            .as_ref()
            .ok_or_else(|| SourceError::NoRepository { root: self.root.clone(), ignored: self.ignored })
    }

    /// The top of the work tree, or why there is none.
    pub(super) fn need_top(&self) -> Result<&Path, SourceError> {
        let repository = self.need_repository()?;
        repository.top().ok_or_else(|| SourceError::Bare { path: repository.git_dir().to_owned() })
    }

    /// The files on disk: tracked and untracked ones, ignored ones not. In no repository, all.
    ///
    /// # Errors
    ///
    /// If a folder cannot be listed, the index cannot be read, or the repository is bare.
    pub fn work_tree(&self) -> Result<Snapshot, SourceError> {
        let (git, head) = match &self.repository {
            None => (None, None),
            Some(repository) => {
                let tracked = tracked(&self.index_path(self.need_top()?)?, &self.prefix)?;
                let git = Git { repository: Arc::clone(repository), prefix: self.prefix.clone(), tracked };
                (Some(git), repository.head()?)
            }
        };
        let (files, folders, disk) = disk::list(&self.root, git)?;
        let commit = head.map(|id| id.to_string());
        let own = Snapshot::new(Origin::WorkTree, commit, files, folders, Content::Disk(disk));
        Ok(self.at_home(own, &self.prefix))
    }

    /// What the next commit would hold. Files announced with `git add --intent-to-add` are not in it;
    /// files in conflict are listed as `unmerged`.
    ///
    /// # Errors
    ///
    /// If there is no repository, it is bare, or the index cannot be read.
    pub fn index(&self) -> Result<Snapshot, SourceError> {
        let repository = self.need_repository()?;
        let file = self.index_path(self.need_top()?)?;
        let (files, folders, objects) = objects::index(repository, &file, &self.prefix)?;
        let commit = repository.head()?.map(|id| id.to_string());
        let own = Snapshot::new(Origin::Index, commit, files, folders, Content::Objects(objects));
        Ok(self.at_home(own, &self.prefix))
    }

    /// The ledger in a revision: a branch, a tag, an id, `HEAD~1`, anything of git's notation for one
    /// commit or one tree. A tree may be that of the repository's top or the ledger's own folder.
    ///
    /// # Errors
    ///
    /// [`SourceError::NoLedgerThere`] if the revision has no `ledger.yaml` in the ledger's folder;
    /// others if it is not found, not one revision, or its objects are missing.
    pub fn revision(&self, spec: &str) -> Result<Snapshot, SourceError> {
        let repository = self.need_repository()?;
        let found = repository.find(spec)?;
        let snapshot = self.at_revision(spec, &found, &self.prefix)?;
        if snapshot.entry(LEDGER_FILE).is_some() {
            return Ok(snapshot);
        }
        if found.commit.is_none() && !self.prefix.is_empty() {
            let own = self.at_revision(spec, &found, "")?;
            if own.entry(LEDGER_FILE).is_some() {
                return Ok(own);
            }
        }
        Err(SourceError::NoLedgerThere {
            asked: spec.to_owned(),
            short: found.commit.unwrap_or(found.tree).to_string().chars().take(7).collect(),
            folder: self.prefix.clone(),
        })
    }

    /// HEAD's ledger. Before the first commit, the snapshot of nothing; where HEAD has no ledger in
    /// this folder, an empty snapshot that bears HEAD's name and commit.
    ///
    /// # Errors
    ///
    /// If there is no repository or HEAD cannot be read.
    pub fn head_or_empty(&self) -> Result<Snapshot, SourceError> {
        let repository = self.need_repository()?;
        if repository.head()?.is_none() {
            return Ok(Snapshot::empty());
        }
        let found = repository.find("HEAD")?;
        let snapshot = self.at_revision("HEAD", &found, &self.prefix)?;
        if snapshot.entry(LEDGER_FILE).is_some() {
            return Ok(snapshot);
        }
        let nothing = Content::Memory(std::collections::BTreeMap::new());
        let commit = snapshot.commit().map(str::to_owned);
        Ok(Snapshot::new(snapshot.origin().clone(), commit, Default::default(), Vec::new(), nothing))
    }

    /// What the ledger was in a revision, for a later state to be held against: the one in this folder, or
    /// else the one of another folder that the later state no longer has there, for then it was moved. Where
    /// there is neither, and before the first commit, nothing.
    ///
    /// `spec` is `HEAD` for an index, else a revision; `later` is where that state came from.
    ///
    /// # Errors
    ///
    /// If there is no repository, or the revision or the index cannot be read.
    pub fn before(&self, spec: &str, later: &Snapshot) -> Result<Snapshot, SourceError> {
        let repository = self.need_repository()?;
        if spec == "HEAD" && repository.head()?.is_none() {
            return Ok(Snapshot::empty());
        }
        let found = repository.find(spec)?;
        let snapshot = self.at_revision(spec, &found, &self.prefix)?;
        if snapshot.entry(LEDGER_FILE).is_some() {
            return Ok(snapshot);
        }
        let kept = match later.origin() {
            Origin::Revision { asked, .. } => {
                objects::ledgers(repository, repository.find(asked)?.tree, LEDGER_FILE)?
            }
            _ => {
                let all = tracked(&self.index_path(self.need_top()?)?, "")?;
                all.into_keys().filter_map(|path| objects::ledger_of(&path, LEDGER_FILE)).collect()
            }
        };
        let mut moved: Option<(usize, Snapshot)> = None;
        for folder in objects::ledgers(repository, found.tree, LEDGER_FILE)? {
            if kept.contains(&folder) {
                continue;
            }
            let own = self.at_revision(spec, &found, &folder)?;
            let alike = own.files().filter(|file| later.entry(&file.path).is_some()).count();
            // Of several that moved at once, the one that has most in common.
            if moved.as_ref().is_none_or(|(most, _)| alike > *most) {
                moved = Some((alike, own));
            }
        }
        if let Some((_, own)) = moved {
            return Ok(own);
        }
        let nothing = Content::Memory(std::collections::BTreeMap::new());
        let commit = snapshot.commit().map(str::to_owned);
        Ok(Snapshot::new(snapshot.origin().clone(), commit, Default::default(), Vec::new(), nothing))
    }

    /// The id of the tree of HEAD's ledger; none where there is no repository, no commit, or no such folder.
    ///
    /// # Errors
    ///
    /// If HEAD cannot be read.
    pub fn head_tree(&self) -> Result<Option<String>, SourceError> {
        let Some(repository) = &self.repository else { return Ok(None) };
        if repository.head()?.is_none() {
            return Ok(None);
        }
        let found = repository.find("HEAD")?;
        Ok(objects::subtree(repository, found.tree, &self.prefix)?.map(|tree| tree.to_string()))
    }

    /// A text that says where HEAD and every other name of the repository lead. `None` where there is no repository, or
    /// more than that and the objects says what its history is: where it is a shallow or partial clone, or has grafts.
    pub fn names(&self) -> Option<String> {
        self.repository.as_ref()?.names()
    }

    /// Whether names and objects say all of the history.
    pub fn is_whole(&self) -> bool {
        self.repository.as_ref().is_some_and(|repository| repository.is_whole())
    }

    /// Whether anything was looked up, here or by anybody with a copy of this place, that followed from more than files,
    /// [`Place::names`] and [`Place::asked_by_id`]: a revision or an object that is not here, a name that is none of those,
    /// a merge, which goes by settings too, another ledger.
    pub fn has_more(&self) -> bool {
        self.repository.as_ref().is_some_and(|repository| repository.has_more())
    }

    /// The first object of the repository that was looked for and can't be read.
    pub fn lacked(&self) -> Option<String> {
        self.repository.as_ref()?.lacked()
    }

    /// Looks for a commit by its full id, and notes that somebody did: no name need lead to it, and then it may go.
    pub fn by_id(&self, id: &str) -> Option<Snapshot> {
        // A branch that is called like a commit is not that commit.
        let found = self.revision(id).ok().filter(|found| found.commit() == Some(id))?;
        if let Some(repository) = &self.repository {
            repository.note_id(id);
        }
        Some(found)
    }

    /// As [`Place::has_commit`], noting that somebody asked.
    pub fn has_asked(&self, id: &str) -> bool {
        let is_here = self.has_commit(id);
        if let Some(repository) = self.repository.as_ref().filter(|_| is_here) {
            repository.note_id(id);
        }
        is_here
    }

    /// The full ids of commits that are here and were asked for so.
    pub fn asked_by_id(&self) -> Vec<String> {
        self.repository.as_ref().map(|repository| repository.asked_by_id()).unwrap_or_default()
    }

    /// Whether a full id is that of a commit that is here.
    pub fn has_commit(&self, id: &str) -> bool {
        let found = self.repository.as_ref().and_then(|repository| repository.find(id).ok());
        found.and_then(|found| found.commit).is_some_and(|commit| commit.to_string() == id)
    }

    /// The bytes of a blob of the repository, of [`RECORD_LIMIT`] at most.
    pub fn blob(&self, id: &str) -> Option<Vec<u8>> {
        let id = git2::Oid::from_str(id).ok()?;
        self.repository.as_ref()?.blob(id, RECORD_LIMIT).ok().map(|bytes| bytes.to_vec())
    }

    /// The full id of the best commit that both revisions descend from.
    ///
    /// # Errors
    ///
    /// [`SourceError::NoMergeBase`] if there is none; others if a revision is not found.
    pub fn merge_base(&self, a: &str, b: &str) -> Result<String, SourceError> {
        self.need_repository()?.merge_base(a, b)
    }

    /// The commits behind a revision in which the ledger's folder differs from what it was in the
    /// first parent, newest first.
    ///
    /// # Errors
    ///
    /// If there is no repository or the revision is not found.
    pub fn history(&self, spec: &str) -> Result<Vec<Commit>, SourceError> {
        self.need_repository()?.history(spec, std::slice::from_ref(&self.prefix), false)
    }

    /// The same along first parents alone: what a branch went through, merges as one step.
    ///
    /// # Errors
    ///
    /// As [`Place::history`].
    pub fn line(&self, spec: &str) -> Result<Vec<Commit>, SourceError> {
        self.need_repository()?.history(spec, std::slice::from_ref(&self.prefix), true)
    }

    /// The full id of the first commit back from HEAD, along first parents, that was made before a time in seconds
    /// since 1970; beside it the time of the last that was looked at.
    ///
    /// # Errors
    ///
    /// As [`Place::history`].
    pub fn last_before(&self, time: i64) -> Result<(Option<String>, Option<i64>), SourceError> {
        self.need_repository()?.last_before(time)
    }

    /// The commits behind a revision in which one of these files of the ledger differs from what it was in the
    /// first parent, newest first.
    ///
    /// # Errors
    ///
    /// As [`Place::history`].
    pub fn history_of(&self, spec: &str, files: &[String]) -> Result<Vec<Commit>, SourceError> {
        let paths: Vec<String> = files.iter().map(|file| join(&self.prefix, file)).collect();
        self.need_repository()?.history(spec, &paths, false)
    }

    /// Returns the id of what stands at a path of the ledger in a revision, without reading what is in it: where it is the
    /// same in two, nothing below differs. `None` where there is nothing.
    ///
    /// # Errors
    ///
    /// If there is no repository, or the revision or its folders cannot be read.
    pub fn object_at(&self, spec: &str, path: &str) -> Result<Option<String>, SourceError> {
        let repository = self.need_repository()?;
        let found = repository.find(spec)?;
        let found = objects::at(repository, found.tree, &join(&self.prefix, path))?;
        Ok(found.map(|id| id.to_string()))
    }

    /// What other ledgers have is in no file of this one.
    fn at_home(&self, own: Snapshot, prefix: &str) -> Snapshot {
        let own = own.at_home(&self.home(prefix));
        if let Some(repository) = self.repository.as_ref().filter(|_| own.has_imports()) {
            repository.note_more();
        }
        own
    }

    fn at_revision(&self, spec: &str, found: &Revision, prefix: &str) -> Result<Snapshot, SourceError> {
        let repository = self.need_repository()?;
        let commit = found.commit.map(|id| id.to_string());
        let origin = |tree: String| Origin::Revision {
            asked: spec.to_owned(),
            commit: commit.clone().unwrap_or_default(),
            tree,
        };
        let Some(root) = objects::subtree(repository, found.tree, prefix)? else {
            let nothing = Content::Memory(std::collections::BTreeMap::new());
            return Ok(Snapshot::new(
                origin(String::new()),
                commit.clone(),
                Default::default(),
                Vec::new(),
                nothing,
            ));
        };
        let (files, folders, objects) = objects::tree(repository, root)?;
        let own = Snapshot::new(
            origin(root.to_string()),
            commit.clone(),
            files,
            folders,
            Content::Objects(objects),
        );
        Ok(self.at_home(own, prefix))
    }

    /// Where the ledger in a folder of the repository looks up what it imports.
    fn home(&self, prefix: &str) -> Arc<Home> {
        let top = self.repository.as_ref().and_then(|repository| repository.top());
        let root = match top {
            Some(top) if prefix != self.prefix => top.join(prefix),
            _ => self.root.clone(),
        };
        let mut homes = self.homes.lock().unwrap_or_else(PoisonError::into_inner);
        let home = homes.entry(prefix.to_owned()).or_insert_with(|| Home::new(&root, top));
        Arc::clone(home)
    }

    pub(super) fn index_path(&self, top: &Path) -> Result<PathBuf, SourceError> {
        match &self.index_file {
            // An index that is named and missing would answer that everything was deleted.
            Some(file) => {
                let path = top.join(file);
                match fs::metadata(&path) {
                    Ok(_) => Ok(path),
                    Err(error) => Err(SourceError::Index { path, why: error.to_string() }),
                }
            }
            None => Ok(self.need_repository()?.git_dir().join("index")),
        }
    }
}

/// Whether a folder is a ledger's root.
fn is_ledger(folder: &Path) -> Result<bool, SourceError> {
    let path = folder.join(LEDGER_FILE);
    match fs::symlink_metadata(&path) {
        Ok(metadata) if metadata.is_file() => Ok(true),
        Ok(metadata) if metadata.is_symlink() => {
            Err(SourceError::LedgerFile { path, what: "a symbolic link".to_owned() })
        }
        // A folder of that name is nobody's ledger; a pipe or a device would be taken for one that is not there.
        Ok(metadata) if !metadata.is_dir() => {
            Err(SourceError::LedgerFile { path, what: disk::words_of(&metadata) })
        }
        Ok(_) | Err(_) => Ok(false),
    }
}
