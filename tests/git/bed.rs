//! Repositories made by the tests with fixed names, dates and ids, out of reach of anybody's own git.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

/// The program under test.
pub(crate) const PROGRAM: &str = env!("CARGO_BIN_EXE_bondline");

/// The day that everything is judged on.
pub(crate) const TODAY: &str = "2026-12-01";

/// What a run left.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Run {
    pub(crate) fn of(output: &Output) -> Self {
        Self {
            code: output.status.code(),
            out: String::from_utf8(output.stdout.clone()).unwrap(),
            err: String::from_utf8(output.stderr.clone()).unwrap(),
        }
    }

    /// Both streams, each run of blanks and line ends as one blank: how lines break plays no part.
    pub(crate) fn flat(&self) -> String {
        format!("{} {}", self.out, self.err).split_whitespace().collect::<Vec<_>>().join(" ")
    }

    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|fault| panic!("{fault}: {self:?}"))
    }
}

/// A folder with a work tree `repo` in it; what lies beside is for linked work trees and clones.
pub(crate) struct Bed {
    dir: TempDir,
    top: PathBuf,
}

impl Bed {
    /// A folder without a repository.
    pub(crate) fn bare_folder() -> Self {
        let dir = TempDir::new().unwrap();
        fs::create_dir(dir.path().join("repo")).unwrap();
        let top = dir.path().join("repo").canonicalize().unwrap();
        Self { dir, top }
    }

    /// An empty repository on the branch `main`.
    pub(crate) fn new() -> Self {
        let bed = Self::bare_folder();
        bed.git(&["init", "-q", "-b", "main", "--template="]);
        bed
    }

    /// The invented example with its history, as the program lays it.
    pub(crate) fn example() -> Self {
        let bed = Self::bare_folder();
        let run = bed.bondline(&["new", "--example"]);
        assert_eq!(run.code, Some(0), "{run:?}");
        bed
    }

    pub(crate) fn top(&self) -> &Path {
        &self.top
    }

    pub(crate) fn beside(&self, name: &str) -> PathBuf {
        self.dir.path().canonicalize().unwrap().join(name)
    }

    /// A command that no user's or system's configuration reaches.
    pub(crate) fn command(&self, program: impl AsRef<OsStr>, at: &Path) -> Command {
        let mut command = Command::new(program);
        command
            .current_dir(at)
            .env_clear()
            .env("PATH", "/usr/local/bin:/usr/bin:/bin")
            .env("HOME", self.dir.path())
            .env("GIT_CONFIG_GLOBAL", "/dev/null")
            .env("GIT_CONFIG_NOSYSTEM", "1")
            .stdin(Stdio::null());
        for who in ["AUTHOR", "COMMITTER"] {
            command.env(format!("GIT_{who}_NAME"), "A. Tester");
            command.env(format!("GIT_{who}_EMAIL"), "tester@example.org");
            command.env(format!("GIT_{who}_DATE"), "2026-11-14T12:00:00Z");
        }
        command
    }

    /// The folder that all of it lies in.
    pub(crate) fn room(&self) -> &Path {
        self.dir.path()
    }

    pub(crate) fn git_at(&self, at: &Path, arguments: &[&str]) -> Run {
        Run::of(&self.command("git", at).args(arguments).output().expect("git can be run"))
    }

    pub(crate) fn try_git(&self, arguments: &[&str]) -> Run {
        self.git_at(&self.top, arguments)
    }

    /// Runs git and returns what it said, trimmed.
    pub(crate) fn git(&self, arguments: &[&str]) -> String {
        let run = self.try_git(arguments);
        assert_eq!(run.code, Some(0), "git {arguments:?}: {run:?}");
        run.out.trim().to_string()
    }

    pub(crate) fn bondline_at(&self, at: &Path, arguments: &[&str]) -> Run {
        let mut command = self.command(PROGRAM, at);
        Run::of(&command.args(["--today", TODAY]).args(arguments).output().unwrap())
    }

    pub(crate) fn bondline(&self, arguments: &[&str]) -> Run {
        self.bondline_at(&self.top, arguments)
    }

    /// Runs the program and returns its document; anything but success fails the test.
    pub(crate) fn document(&self, arguments: &[&str]) -> serde_json::Value {
        let run = self.bondline(&[&["--format", "json"], arguments].concat());
        assert_eq!(run.code, Some(0), "{arguments:?}: {run:?}");
        assert_eq!(run.err, "", "{arguments:?}");
        run.json()
    }

    pub(crate) fn read(&self, path: &str) -> String {
        fs::read_to_string(self.top.join(path)).unwrap()
    }

    pub(crate) fn write(&self, path: &str, text: &str) {
        let path = self.top.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    /// Writes an executable file.
    pub(crate) fn script(&self, path: &Path, text: &str) {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
        fs::set_permissions(path, fs::Permissions::from_mode(0o755)).unwrap();
    }

    /// Replaces the one place in a file where `from` stands.
    pub(crate) fn edit(&self, path: &str, from: &str, to: &str) {
        let text = self.read(path);
        assert_eq!(text.matches(from).count(), 1, "{path}: {from:?}");
        self.write(path, &text.replacen(from, to, 1));
    }

    pub(crate) fn commit_all(&self, message: &str) -> String {
        self.git(&["add", "-A"]);
        self.git(&["commit", "-q", "--no-verify", "-m", message]);
        self.git(&["rev-parse", "HEAD"])
    }

    /// Every file of the work tree with its bytes and mode, what is staged, and HEAD.
    pub(crate) fn state(&self) -> BTreeMap<String, String> {
        let mut all = BTreeMap::new();
        gather(&self.top, &mut all);
        // Git brings the times in its index up to date before it asks any hook: entries, not bytes.
        all.insert("index".to_string(), self.git(&["ls-files", "--stage", "-t", "-v"]));
        all.insert("HEAD".to_string(), fs::read_to_string(self.top.join(".git/HEAD")).unwrap());
        all.insert("branches".to_string(), self.try_git(&["show-ref", "--head"]).out);
        all
    }

    /// The bytes of the index file.
    pub(crate) fn index(&self) -> Vec<u8> {
        fs::read(self.top.join(".git/index")).unwrap()
    }

    /// A small invented ledger in the folder (`""` for the top), its evidence conformed.
    pub(crate) fn lay_small(&self, folder: &str) {
        let at = if folder.is_empty() { String::new() } else { format!("{folder}/") };
        for (path, text) in SMALL {
            self.write(&format!("{at}{path}"), text);
        }
        let run = self.bondline_at(&self.top.join(folder), &["conform", "e-adhesion", "e-modulus"]);
        assert_eq!(run.code, Some(0), "{run:?}");
    }

    /// A repository with the small ledger at the top and one commit.
    pub(crate) fn small() -> Self {
        let bed = Self::new();
        bed.lay_small("");
        bed.commit_all("first");
        bed
    }
}

fn gather(folder: &Path, into: &mut BTreeMap<String, String>) {
    for entry in fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        if entry.file_name() == ".git" {
            continue;
        }
        if entry.file_type().unwrap().is_dir() {
            gather(&entry.path(), into);
        } else {
            let mode = entry.metadata().unwrap().permissions().mode();
            let bytes = bondline::source::blob_of(&fs::read(entry.path()).unwrap()).unwrap();
            into.insert(entry.path().display().to_string(), format!("{mode:o} {bytes}"));
        }
    }
}

/// Invented for the tests.
const SMALL: [(&str, &str); 14] = [
    (
        "ledger.yaml",
        "format: 1\nprogramme: Test (invented)\ncurrency: EUR\nmilestones: [first-flight, type-approval]\n",
    ),
    (
        "materials/cw.yaml",
        "kind: prepreg\nfibre: {name: hs-a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 37 %}\n",
    ),
    ("materials/prime.yaml", "kind: coating\nrole: primer\ndry_density: 1500 kg/m3\ndesignation: prime-x\n"),
    ("materials/clear.yaml", "kind: coating\nrole: clear\ndry_density: 1150 kg/m3\ndesignation: clear-z\n"),
    ("processes/oven.yaml", "method: oven\n"),
    (
        "finishes/white.yaml",
        "coats:\n  - {material: prime, dry_film: 25 um}\n  - {material: clear, dry_film: 40 um}\n",
    ),
    (
        "recipes/skin.yaml",
        "class: structural\nprocess: oven\nlayers:\n  - {material: cw, angle: 45}\n  - {material: cw, angle: 0}\n",
    ),
    (
        "panels/hatch.yaml",
        "class: structural\nreleased: true\ngroup: closures\nzones:\n  - {name: outer, area: 1 m2, recipe: skin, finish: white}\n",
    ),
    ("panels/trial.yaml", "class: structural\nzones:\n  - {name: outer, area: 0.5 m2, recipe: skin}\n"),
    ("showings/adhesion.yaml", "kind: paint-adhesion\naccept: {rating_at_least: 4}\n"),
    ("showings/modulus.yaml", "kind: lamina-modulus\naccept: {mean_at_least: 50 GPa}\n"),
    (
        "evidence/e-adhesion.yaml",
        "showing: adhesion\nsubject: {painted: [skin, white]}\nkind: test\nstate: done\nmade: 2026-01-10\nresult: {rating: 5}\n",
    ),
    (
        "evidence/e-modulus.yaml",
        "showing: modulus\nsubject: {lamina: [cw, oven]}\nkind: test\nstate: done\nmade: 2026-01-10\ndata: data/m.csv\n",
    ),
    ("evidence/data/m.csv", "batch,panel,specimen,value [GPa]\nb1,p1,s1,61\n"),
];
