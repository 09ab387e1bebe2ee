//! The merge of two revisions, made in memory: no work tree, no index and no object of the repository changes.

use std::collections::{BTreeMap, BTreeSet};

use git2::{Index, Oid};

use super::fault::git_error;
use super::{DATA_LIMIT, Place, Snapshot, SourceError, guard, objects};

/// What merging two revisions gives.
#[derive(Debug)]
pub struct Merged {
    /// The ledger as the merge leaves it: the first revision with what the second one brings.
    pub snapshot: Snapshot,
    /// Files of the ledger that both changed in ways that git cannot join, by path in the ledger, sorted. Where
    /// there are any, the snapshot is no merge.
    pub conflicts: Vec<String>,
}

impl Place {
    /// Merges two revisions as `git merge` would, from their common commits, without touching anything.
    ///
    /// What git writes on the way goes into memory, so that it also works in a repository that can't be written.
    /// Conflicts in files outside the ledger play no part.
    ///
    /// # Errors
    ///
    /// [`SourceError::NoMergeBase`] where the two have no commit in common; others if a revision is not found,
    /// holds no ledger, or its objects are missing.
    pub fn merged(&self, ours: &str, theirs: &str) -> Result<Merged, SourceError> {
        let base = self.revision(ours)?;
        self.revision(theirs)?;
        // Says so where there is none; git itself would merge with nothing.
        let common = self.merge_base(ours, theirs)?;
        self.may_be_joined(&[&common, ours, theirs])?;
        let failed = |error: git2::Error| git_error("merging in memory", &error);
        self.in_memory(|repository| {
            let commit = |asked: &str| {
                let found = self.need_repository()?.find(asked)?.commit;
                let id = found.ok_or_else(|| SourceError::NotARevision {
                    asked: asked.to_owned(),
                    what: "a tree, which has no history".to_owned(),
                })?;
                repository.find_commit(id).map_err(failed)
            };
            let (one, two) = (commit(ours)?, commit(theirs)?);
            let index = repository.merge_commits(&one, &two, None).map_err(failed)?;
            self.outcome(repository, base, &one.tree_id(), &index)
        })?
    }

    /// Joins further trees to the first, all from one common commit: what each changed since then is laid over
    /// what was joined before.
    ///
    /// # Errors
    ///
    /// As [`Place::merged`].
    pub fn merged_from(&self, base: &str, revisions: &[String]) -> Result<Merged, SourceError> {
        let failed = |error: git2::Error| git_error("merging in memory", &error);
        let Some((first, rest)) = revisions.split_first() else {
            return Ok(Merged { snapshot: self.revision(base)?, conflicts: Vec::new() });
        };
        let start = self.revision(first)?;
        let all: Vec<&str> = std::iter::once(base).chain(revisions.iter().map(String::as_str)).collect();
        self.may_be_joined(&all)?;
        self.in_memory(|repository| {
            let tree = |asked: &str| {
                let found = self.need_repository()?.find(asked)?;
                repository.find_tree(found.tree).map_err(failed)
            };
            let (ancestor, head) = (tree(base)?, tree(first)?);
            let mut joined = head.clone();
            let mut index = Index::new().map_err(failed)?;
            index.read_tree(&joined).map_err(failed)?;
            for revision in rest {
                index = repository.merge_trees(&ancestor, &joined, &tree(revision)?, None).map_err(failed)?;
                if index.has_conflicts() {
                    let outcome = self.outcome(repository, start.clone(), &head.id(), &index)?;
                    if !outcome.conflicts.is_empty() {
                        return Ok(outcome);
                    }
                    // Those outside the ledger are left as they were.
                    for path in self.in_conflict(&index)? {
                        index.conflict_remove(std::path::Path::new(&path)).map_err(failed)?;
                    }
                }
                let id = index.write_tree_to(repository).map_err(failed)?;
                joined = repository.find_tree(id).map_err(failed)?;
            }
            self.outcome(repository, start, &head.id(), &index)
        })?
    }

    /// Refuses to join what git's library could not hold: it lists every file of each tree, and reads those in which
    /// they differ whole.
    fn may_be_joined(&self, revisions: &[&str]) -> Result<(), SourceError> {
        let repository = self.need_repository()?;
        let mut trees = Vec::new();
        for revision in revisions {
            trees.push(objects::files(repository, repository.find(revision)?.tree)?);
        }
        let is_everywhere = |path: &String, id: &Oid| trees.iter().all(|tree| tree.get(path) == Some(id));
        let differing = trees.iter().flatten().filter(|(path, id)| !is_everywhere(path, id));
        repository.with(|git| {
            let store = git.odb().map_err(|error| git_error("merging in memory", &error))?;
            for (path, id) in differing {
                // One that is not here is said by the merge.
                let size =
                    store.read_header(*id).map_or(0, |(size, _)| u64::try_from(size).unwrap_or(u64::MAX));
                guard::light(git, *id).map_err(|error| git_error("merging in memory", &error))?;
                if size > DATA_LIMIT {
                    return Err(SourceError::Git {
                        doing: "merging in memory".to_owned(),
                        why: format!("{path} is longer than {DATA_LIMIT} bytes"),
                    });
                }
            }
            Ok(())
        })?
    }

    /// Works on a handle of its own whose new objects stay in memory.
    fn in_memory<T>(&self, work: impl FnOnce(&git2::Repository) -> T) -> Result<T, SourceError> {
        let shared = self.need_repository()?;
        // How texts are joined is for settings and attributes to say too, of this user and of the system.
        shared.note_more();
        let own = shared.another()?;
        let failed = |error: git2::Error| git_error("merging in memory", &error);
        {
            let store = own.odb().map_err(failed)?;
            // Above those on disk, so that whatever is written lands in it.
            store.add_new_mempack_backend(MEMORY_FIRST).map_err(failed)?;
        }
        Ok(work(&own))
    }

    /// Paths of the repository that could not be joined, sorted.
    fn in_conflict(&self, index: &Index) -> Result<BTreeSet<String>, SourceError> {
        let failed = |error: git2::Error| git_error("merging in memory", &error);
        let mut all = BTreeSet::new();
        for conflict in index.conflicts().map_err(failed)? {
            let conflict = conflict.map_err(failed)?;
            let sides = [conflict.our, conflict.their, conflict.ancestor];
            all.extend(sides.iter().flatten().map(|entry| String::from_utf8_lossy(&entry.path).into_owned()));
        }
        Ok(all)
    }

    /// The snapshot of what an index holds, told by how it differs from the first revision's tree.
    fn outcome(
        &self,
        repository: &git2::Repository,
        base: Snapshot,
        head: &Oid,
        index: &Index,
    ) -> Result<Merged, SourceError> {
        let failed = |error: git2::Error| git_error("merging in memory", &error);
        let own = |path: &str| match self.prefix() {
            "" => Some(path.to_owned()),
            prefix => Some(path.strip_prefix(prefix)?.strip_prefix('/')?.to_owned()),
        };
        let conflicts: Vec<String> = self.in_conflict(index)?.iter().filter_map(|path| own(path)).collect();
        if !conflicts.is_empty() {
            return Ok(Merged { snapshot: base, conflicts });
        }
        let before = repository.find_tree(*head).map_err(failed)?;
        let difference = repository.diff_tree_to_index(Some(&before), Some(index), None).map_err(failed)?;
        let mut edits: BTreeMap<String, Option<Vec<u8>>> = BTreeMap::new();
        for delta in difference.deltas() {
            let name = |file: &git2::DiffFile<'_>| file.path().and_then(|path| path.to_str()).and_then(own);
            let (old, new) = (delta.old_file(), delta.new_file());
            if let Some(path) = name(&old) {
                edits.insert(path, None);
            }
            if delta.status() == git2::Delta::Deleted {
                continue;
            }
            let Some(path) = name(&new) else { continue };
            if !matches!(new.mode(), git2::FileMode::Blob | git2::FileMode::BlobExecutable) {
                let why = format!("{path} is no plain file, and links are not followed");
                return Err(SourceError::Git { doing: "merging in memory".to_owned(), why });
            }
            let blob = repository.find_blob(new.id()).map_err(failed)?;
            if u64::try_from(blob.size()).unwrap_or(u64::MAX) > DATA_LIMIT {
                return Err(SourceError::Git {
                    doing: "merging in memory".to_owned(),
                    why: format!("{path} is longer than {DATA_LIMIT} bytes"),
                });
            }
            edits.insert(path, Some(blob.content().to_vec()));
        }
        Ok(Merged { snapshot: base.overlay(edits), conflicts })
    }
}

/// Higher than any priority that the library gives to what is on disk.
const MEMORY_FIRST: i32 = 1000;
