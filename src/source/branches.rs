//! What the branches of a repository hold beside the state at hand.

use super::fault::git_error;
use super::repository::Repository;
use super::{Place, SourceError, guard, objects};
use git2::BranchType;
use std::collections::BTreeSet;

/// One branch: its name, and the files of a folder of the ledger in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BranchFiles {
    /// `main`, `origin/main`.
    pub branch: String,
    /// Paths from the ledger's root.
    pub files: BTreeSet<String>,
}

impl Place {
    /// Lists the files below a folder of the ledger in every local and remote-tracking branch.
    ///
    /// A branch whose objects are not here (of a shallow or partial clone) is left out and named second.
    /// In no repository there are none.
    ///
    /// # Errors
    /// If the repository's references can't be read.
    pub fn on_branches(&self, folder: &str) -> Result<(Vec<BranchFiles>, Vec<String>), SourceError> {
        let Some(repository) = self.repository() else { return Ok(Default::default()) };
        let tips = repository.with(|git| -> Result<Vec<(String, Option<git2::Oid>)>, git2::Error> {
            let mut tips = Vec::new();
            for kind in [BranchType::Local, BranchType::Remote] {
                for branch in git.branches(Some(kind))? {
                    let (branch, _) = branch?;
                    let name = String::from_utf8_lossy(branch.name_bytes()?).into_owned();
                    // `origin/HEAD` is another name of a branch that is listed itself.
                    if kind == BranchType::Remote && name.ends_with("/HEAD") {
                        continue;
                    }
                    let tip = branch.get().target().filter(|id| guard::light(git, *id).is_ok());
                    let tree = tip.and_then(|id| git.find_commit(id).ok()).map(|commit| commit.tree_id());
                    tips.push((name, tree));
                }
            }
            Ok(tips)
        })?;
        let tips = tips.map_err(|error| git_error("listing the branches", &error))?;
        let own = match self.prefix() {
            "" => folder.to_owned(),
            prefix => format!("{prefix}/{folder}"),
        };
        let (mut found, mut missing) = (Vec::new(), Vec::new());
        for (branch, tree) in tips {
            let files = tree.and_then(|tree| match objects::subtree(repository, tree, &own).ok()? {
                Some(tree) => files_of(repository, tree, folder),
                None => Some(BTreeSet::new()),
            });
            match files {
                Some(files) => found.push(BranchFiles { branch, files }),
                None => missing.push(branch),
            }
        }
        Ok((found, missing))
    }
}

/// The files below a tree; `None` where one of its objects is not here, or it has more than can be listed.
fn files_of(repository: &Repository, tree: git2::Oid, folder: &str) -> Option<BTreeSet<String>> {
    let files = objects::files(repository, tree).ok()?;
    Some(files.into_keys().map(|file| format!("{folder}/{file}")).collect())
}
