//! Ledgers on disk for tests, and the program run on them in this process.

pub mod layout;
pub mod words;

use bondline::cli::{self, Terminal};
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// The day that every test takes as today.
pub const TODAY: &str = "2026-10-15";

/// What the program answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// Standard output, with the folder's path replaced.
    pub out: String,
    /// Standard error, likewise.
    pub err: String,
    /// Exit status.
    pub code: u8,
}

impl Answer {
    /// The answer read as JSON.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error} in\n{}{}", self.out, self.err))
    }
}

/// A temporary folder with a ledger in it.
pub struct Bench {
    dir: TempDir,
}

impl Bench {
    /// An empty folder.
    pub fn new() -> Self {
        Self { dir: tempfile::Builder::new().prefix("bondline-").tempdir().unwrap() }
    }

    /// The example project, without its history.
    pub fn example() -> Self {
        let bench = Self::new();
        layout::lay_base("example", &bench.ledger());
        bench
    }

    /// The small ledger that golden cases share.
    pub fn small() -> Self {
        let bench = Self::new();
        layout::lay_base("small", &bench.ledger());
        bench
    }

    /// The folder that the ledger lies in.
    pub fn ledger(&self) -> PathBuf {
        let path = self.dir.path().canonicalize().unwrap().join("ledger");
        std::fs::create_dir_all(&path).unwrap();
        path
    }

    /// Writes a file of the ledger.
    pub fn write(&self, path: &str, text: &str) {
        layout::write(&self.ledger().join(path), text.as_bytes());
    }

    /// The text of a file of the ledger.
    pub fn read(&self, path: &str) -> String {
        std::fs::read_to_string(self.ledger().join(path)).unwrap()
    }

    /// Runs the program in the ledger's folder on the fixed day, 80 columns wide and without colour.
    pub fn run(&self, arguments: &[&str]) -> Answer {
        self.run_at(80, arguments)
    }

    /// As [`Bench::run`], so many columns wide.
    pub fn run_at(&self, width: usize, arguments: &[&str]) -> Answer {
        let ledger = self.ledger();
        let mut all: Vec<OsString> = vec!["bondline".into()];
        // An argument that names another folder or day wins; clap takes each once.
        if !arguments.contains(&"-C") {
            all.extend(["-C".into(), ledger.clone().into()]);
        }
        if !arguments.contains(&"--today") {
            all.extend(["--today".into(), TODAY.into()]);
        }
        let given = |argument: &str| argument.replace("{DIR}", &ledger.display().to_string());
        all.extend(arguments.iter().map(|argument| OsString::from(given(argument))));
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let code = cli::run(all, &mut out, &mut err, Terminal { width, ..Terminal::default() });
        Answer { out: self.plain(&out), err: self.plain(&err), code }
    }

    /// Text without what differs from one machine or run to the next.
    fn plain(&self, bytes: &[u8]) -> String {
        let text = String::from_utf8(bytes.to_vec()).expect("the program writes UTF-8");
        let real = self.ledger();
        let mut text = text.replace(&real.display().to_string(), "[DIR]");
        text = text.replace(&self.dir.path().join("ledger").display().to_string(), "[DIR]");
        words::plain(&text)
    }
}

/// The folder of the crate.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every file under a folder, as paths relative to it with `/`, sorted.
pub fn files(folder: &Path) -> Vec<String> {
    fn walk(folder: &Path, top: &Path, found: &mut Vec<String>) {
        let Ok(entries) = std::fs::read_dir(folder) else { return };
        for entry in entries {
            let path = entry.unwrap().path();
            if path.is_dir() && !path.is_symlink() {
                walk(&path, top, found);
            } else {
                let relative = path.strip_prefix(top).unwrap();
                let parts: Vec<_> = relative.iter().map(|part| part.to_string_lossy().into_owned()).collect();
                found.push(parts.join("/"));
            }
        }
    }
    let mut found = Vec::new();
    walk(folder, folder, &mut found);
    found.sort();
    found
}
