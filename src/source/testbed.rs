//! Repositories for tests: made with fixed names and dates, and with no user's configuration in the way.

use std::fs;
use std::path::{Path, PathBuf};

use git2::{IndexAddOption, Oid, RepositoryInitOptions, Signature, Time};
use tempfile::TempDir;

use super::Place;

/// A folder with a repository `repo` in it; what lies beside is for linked work trees and clones.
pub(crate) struct Bed {
    pub(crate) dir: TempDir,
    pub(crate) repo: git2::Repository,
}

impl Bed {
    pub(crate) fn new() -> Bed {
        Bed::with(RepositoryInitOptions::new().initial_head("main"))
    }

    fn with(options: &mut RepositoryInitOptions) -> Bed {
        let dir = TempDir::new().unwrap();
        let repo = git2::Repository::init_opts(dir.path().join("repo"), options).unwrap();
        // Whoever runs the tests may ignore files everywhere; not here.
        repo.config().unwrap().set_str("core.excludesFile", "/dev/null").unwrap();
        Bed { dir, repo }
    }

    /// One commit with a small ledger at the top.
    pub(crate) fn small() -> Bed {
        let bed = Bed::new();
        bed.write("ledger.yaml", "format: 1\n");
        bed.write("materials/cw-200.yaml", "kind: fabric\n");
        bed.write("evidence/e-001.yaml", "data: data/x.csv\n");
        bed.write("evidence/data/x.csv", "a,b\n");
        bed.write("data/y.csv", "c\n");
        bed.write("README.md", "words\n");
        bed.commit("first");
        bed
    }

    pub(crate) fn top(&self) -> PathBuf {
        self.dir.path().join("repo").canonicalize().unwrap()
    }

    pub(crate) fn write(&self, path: &str, text: &str) {
        write(&self.top(), path, text);
    }

    pub(crate) fn remove(&self, path: &str) {
        fs::remove_file(self.top().join(path)).unwrap();
    }

    /// Brings the index to what is on disk.
    pub(crate) fn stage(&self) {
        let mut index = self.repo.index().unwrap();
        index.add_all(["*"], IndexAddOption::DEFAULT, None).unwrap();
        index.update_all(["*"], None).unwrap();
        index.write().unwrap();
    }

    /// Commits everything on disk.
    pub(crate) fn commit(&self, message: &str) -> Oid {
        self.stage();
        let tree = self.repo.find_tree(self.repo.index().unwrap().write_tree().unwrap()).unwrap();
        let parent = self.repo.head().ok().map(|head| head.peel_to_commit().unwrap());
        let who = who();
        let parents: Vec<_> = parent.iter().collect();
        self.repo.commit(Some("HEAD"), &who, &who, message, &tree, &parents).unwrap()
    }

    pub(crate) fn place(&self) -> Place {
        Place::find(&self.top()).unwrap()
    }
}

pub(crate) fn who() -> Signature<'static> {
    Signature::new("A. Tester", "tester@example.org", &Time::new(1_770_000_000, 0)).unwrap()
}

pub(crate) fn write(top: &Path, path: &str, text: &str) {
    let path = top.join(path);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, text).unwrap();
}
