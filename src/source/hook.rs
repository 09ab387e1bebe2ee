//! The pre-commit hook: putting it in place beside one that is there already, and taking it out again.

mod script;

use std::ffi::OsString;
use std::fs::{self, Metadata};
use std::io::{ErrorKind, Write};
use std::os::unix::ffi::OsStringExt;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::{Place, SourceError};
use script::{Script, Written};

/// The hook's file name.
const HOOK: &str = "pre-commit";
/// What a hook that was there before is called while ours runs it.
const BEFORE: &str = "pre-commit.before-bondline";
/// Larger files are no hook of ours and are not read.
const HOOK_LIMIT: u64 = 1024 * 1024;

/// What installing or removing did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HookReport {
    /// The hook's file.
    pub path: PathBuf,
    /// What was done.
    pub done: HookDone,
    /// Where the hook that was there before is kept while ours runs it first.
    pub chained: Option<PathBuf>,
    /// What the user should know, in words.
    pub notes: Vec<String>,
}

/// What was done to the hook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HookDone {
    /// Written where there was none of ours.
    Installed,
    /// Ours was there and is rewritten: another program, another ledger, or another version.
    Updated,
    /// Ours was there and is as it should be.
    Unchanged,
    /// Taken out; what was there before is back.
    Removed,
    /// There was none of ours for this ledger.
    Absent,
}

/// What stands in the hook's place now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HookState {
    /// The hook's file.
    pub path: PathBuf,
    /// What it is.
    pub kind: HookKind,
    /// Where the hook that was there before is kept.
    pub chained: Option<PathBuf>,
}

/// What a hook is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HookKind {
    /// There is none.
    Absent,
    /// Ours, as we wrote it.
    Ours {
        /// The program it calls.
        program: PathBuf,
        /// The folders of the ledgers it looks after; `""` is the top of the work tree.
        ledgers: Vec<String>,
        /// Whether this place's ledger is among them.
        covers_this: bool,
    },
    /// Ours, but changed by hand since.
    Edited,
    /// Someone else's.
    Other,
}

/// Why the hook was not installed or removed. Nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum HookError {
    /// There is no repository, or it has no work tree.
    #[error(transparent)]
    Place(#[from] SourceError),
    /// The program's path cannot be written into the hook.
    #[error("the program's path {} is not absolute", program.display())]
    RelativeProgram {
        /// The path.
        program: PathBuf,
    },
    /// A hook would have to be kept under a name that another file has.
    #[error("there are both a {} and a {}, and they differ", hook.display(), before.display())]
    BeforeTaken {
        /// The hook that is there.
        hook: PathBuf,
        /// The name it would be kept under.
        before: PathBuf,
    },
    /// Our hook was changed by hand.
    #[error("{} was written by bondline and changed by hand since", hook.display())]
    Edited {
        /// The hook.
        hook: PathBuf,
    },
    /// The hook is not ours.
    #[error("{} was not written by bondline", hook.display())]
    NotOurs {
        /// The hook.
        hook: PathBuf,
    },
    /// A folder or a device has the hook's name.
    #[error("{} is no file", hook.display())]
    NotAFile {
        /// The path.
        hook: PathBuf,
    },
    /// The configuration of the hooks' folder cannot be read.
    #[error("git's setting core.hooksPath cannot be read: {why}")]
    HooksPath {
        /// What git's library said.
        why: String,
    },
    /// The system refused.
    #[error("{} cannot be written: {why}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
}

impl HookError {
    /// Says what to do about it, in one sentence.
    pub fn mend(&self) -> String {
        match self {
            HookError::Place(error) => error.mend(),
            HookError::RelativeProgram { .. } => "call the program by its full path".to_owned(),
            HookError::BeforeTaken { before, .. } => {
                format!("see which of them is wanted, and move {} away", before.display())
            }
            HookError::Edited { .. } => format!(
                "move the added lines into a file {BEFORE} beside it, which it runs first; then delete it and run `bondline hook install`"
            ),
            HookError::NotOurs { .. } => "remove it by hand if it is not wanted".to_owned(),
            HookError::NotAFile { .. } => "move it away".to_owned(),
            HookError::HooksPath { .. } => "see `git config --show-origin core.hooksPath`".to_owned(),
            HookError::Io { .. } => "see that the folder exists and that you may write to it".to_owned(),
        }
    }
}

/// Puts the hook in place for this ledger.
///
/// A hook that is there already is kept beside ours and run first, with its arguments and input; a
/// commit it refuses stays refused. Ledgers in other folders of the repository that ours looks after
/// already stay looked after. `program` is the absolute path by which the hook calls bondline.
///
/// # Errors
///
/// A [`HookError`]; nothing was changed then.
pub fn install(place: &Place, program: &Path) -> Result<HookReport, HookError> {
    if !program.is_absolute() {
        return Err(HookError::RelativeProgram { program: program.to_owned() });
    }
    let folder = Hooks::of(place)?;
    let (hook, before) = (folder.path.join(HOOK), folder.path.join(BEFORE));
    let mut ledgers = vec![place.prefix().to_owned()];
    let found = Found::at(&hook)?;
    if let Found::Ours(written) = &found {
        ledgers.extend(written.ledgers.iter().cloned());
    }
    ledgers.sort();
    ledgers.dedup();
    let text = Script { program, ledgers: &ledgers }.text();
    let done = match &found {
        Found::Edited => return Err(HookError::Edited { hook }),
        Found::Ours(written) if written.text == text && is_executable(&hook) => HookDone::Unchanged,
        Found::Ours(_) => {
            write_beside(&hook, &text)?;
            HookDone::Updated
        }
        Found::Absent => {
            fs::create_dir_all(&folder.path).map_err(|error| io(&folder.path, &error))?;
            write_beside(&hook, &text)?;
            HookDone::Installed
        }
        Found::Other => {
            keep(&hook, &before)?;
            write_beside(&hook, &text)?;
            HookDone::Installed
        }
    };
    let chained = exists(&before).then_some(before);
    let mut notes = folder.notes;
    if let Some(chained) = chained.as_deref().filter(|chained| !is_executable(chained)) {
        notes.push(format!(
            "{} is not executable, so git did not run it before and it is not run now",
            chained.display()
        ));
    }
    Ok(HookReport { path: hook, done, chained, notes })
}

/// Takes the hook out for this ledger. Once it looks after no ledger any more, what was there before
/// is put back, the same file with the same bytes and mode.
///
/// # Errors
///
/// [`HookError::NotOurs`] and [`HookError::Edited`] if the file there is not as we wrote it; nothing
/// was changed then.
pub fn remove(place: &Place) -> Result<HookReport, HookError> {
    let folder = Hooks::of(place)?;
    let (hook, before) = (folder.path.join(HOOK), folder.path.join(BEFORE));
    let written = match Found::at(&hook)? {
        Found::Absent => {
            return Ok(HookReport { path: hook, done: HookDone::Absent, chained: None, notes: Vec::new() });
        }
        Found::Other => return Err(HookError::NotOurs { hook }),
        Found::Edited => return Err(HookError::Edited { hook }),
        Found::Ours(written) => written,
    };
    let chained = exists(&before).then(|| before.clone());
    if !written.ledgers.iter().any(|ledger| ledger == place.prefix()) {
        return Ok(HookReport { path: hook, done: HookDone::Absent, chained, notes: Vec::new() });
    }
    let rest: Vec<String> = written.ledgers.into_iter().filter(|ledger| ledger != place.prefix()).collect();
    if !rest.is_empty() {
        write_beside(&hook, &Script { program: &written.program, ledgers: &rest }.text())?;
        let notes = vec![format!("the hook stays for {}", rest.join(", "))];
        return Ok(HookReport { path: hook, done: HookDone::Removed, chained, notes });
    }
    // One rename both removes ours and restores what was there.
    let restored = if chained.is_some() { fs::rename(&before, &hook) } else { fs::remove_file(&hook) };
    restored.map_err(|error| io(&hook, &error))?;
    let notes = chained.is_some().then(|| format!("{} is what it was before", hook.display()));
    Ok(HookReport { path: hook, done: HookDone::Removed, chained: None, notes: notes.into_iter().collect() })
}

/// Says what stands in the hook's place.
///
/// # Errors
///
/// If there is no repository, or its hooks' folder cannot be read.
pub fn state(place: &Place) -> Result<HookState, HookError> {
    let folder = Hooks::of(place)?;
    let (hook, before) = (folder.path.join(HOOK), folder.path.join(BEFORE));
    let kind = match Found::at(&hook)? {
        Found::Absent => HookKind::Absent,
        Found::Other => HookKind::Other,
        Found::Edited => HookKind::Edited,
        Found::Ours(written) => HookKind::Ours {
            covers_this: written.ledgers.iter().any(|ledger| ledger == place.prefix()),
            program: written.program,
            ledgers: written.ledgers,
        },
    };
    Ok(HookState { path: hook, kind, chained: exists(&before).then_some(before) })
}

/// The folder git runs hooks from.
struct Hooks {
    path: PathBuf,
    notes: Vec<String>,
}

impl Hooks {
    fn of(place: &Place) -> Result<Hooks, HookError> {
        let repository = place.need_repository()?;
        let top = place.need_top()?;
        let configured = repository.with(|git| -> Result<Option<PathBuf>, git2::Error> {
            // A snapshot, so that a value just set is seen.
            match git.config()?.snapshot()?.get_path("core.hooksPath") {
                Ok(path) => Ok(Some(path)),
                Err(error) if error.code() == git2::ErrorCode::NotFound => Ok(None),
                Err(error) => Err(error),
            }
        })?;
        let configured =
            configured.map_err(|error| HookError::HooksPath { why: error.message().to_owned() })?;
        let Some(configured) = configured.filter(|path| !path.as_os_str().is_empty()) else {
            // All work trees of a repository share the hooks of its common folder.
            return Ok(Hooks { path: repository.common_dir().join("hooks"), notes: Vec::new() });
        };
        // Relative to where hooks run: the top of this work tree.
        let path = top.join(configured);
        let mut notes = Vec::new();
        if !path.starts_with(repository.common_dir()) && path.starts_with(top) {
            notes.push(format!(
                "core.hooksPath names {}, inside the work tree: if the hook is committed, others get it with the path of your program, and the one on their PATH is run",
                path.display()
            ));
        } else if !path.starts_with(repository.common_dir()) {
            notes.push(format!(
                "core.hooksPath names {}, which other repositories may share: the hook looks after a ledger in the same folder of any of them",
                path.display()
            ));
        }
        Ok(Hooks { path, notes })
    }
}

/// What a file in the hook's place is.
enum Found {
    Absent,
    Ours(Written),
    Edited,
    Other,
}

impl Found {
    fn at(hook: &Path) -> Result<Found, HookError> {
        let Some(metadata) = look(hook)? else { return Ok(Found::Absent) };
        if metadata.is_symlink() {
            return Ok(Found::Other);
        }
        if !metadata.is_file() {
            return Err(HookError::NotAFile { hook: hook.to_owned() });
        }
        if metadata.len() > HOOK_LIMIT {
            return Ok(Found::Other);
        }
        let text = fs::read(hook).map_err(|error| io(hook, &error))?;
        Ok(match script::read(text) {
            script::Read::Ours(written) => Found::Ours(written),
            script::Read::Edited => Found::Edited,
            script::Read::Other => Found::Other,
        })
    }
}

/// Gives the hook that is there a second name, so that at no moment it is without one.
fn keep(hook: &Path, before: &Path) -> Result<(), HookError> {
    if exists(before) {
        let same = !is_link(hook) && !is_link(before) && fs::read(hook).ok() == fs::read(before).ok();
        if !same {
            return Err(HookError::BeforeTaken { hook: hook.to_owned(), before: before.to_owned() });
        }
        // The same bytes may have another mode; the one git runs now is the one to keep.
        return fs::rename(hook, before).map_err(|error| io(before, &error));
    }
    match fs::hard_link(hook, before) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            Err(HookError::BeforeTaken { hook: hook.to_owned(), before: before.to_owned() })
        }
        // Not every file system has second names.
        Err(_) => fs::rename(hook, before).map_err(|error| io(before, &error)),
    }
}

/// Writes an executable file in one step: whoever runs it meanwhile runs the old or the new one.
fn write_beside(path: &Path, text: &[u8]) -> Result<(), HookError> {
    let failed = |error: std::io::Error| io(path, &error);
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new().prefix(".pre-commit.").tempfile_in(folder).map_err(failed)?;
    file.write_all(text).map_err(failed)?;
    file.as_file().set_permissions(fs::Permissions::from_mode(0o755)).map_err(failed)?;
    file.as_file().sync_all().map_err(failed)?;
    file.persist(path).map_err(|error| io(path, &error.error))?;
    Ok(())
}

fn look(path: &Path) -> Result<Option<Metadata>, HookError> {
    match fs::symlink_metadata(path) {
        Ok(metadata) => Ok(Some(metadata)),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(error) => Err(io(path, &error)),
    }
}

fn exists(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok()
}

fn is_link(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok_and(|metadata| metadata.is_symlink())
}

fn is_executable(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|metadata| metadata.permissions().mode() & 0o111 != 0)
}

fn io(path: &Path, error: &std::io::Error) -> HookError {
    HookError::Io { path: path.to_owned(), why: error.to_string() }
}

fn path_of(bytes: Vec<u8>) -> PathBuf {
    PathBuf::from(OsString::from_vec(bytes))
}

#[cfg(test)]
mod tests;
