//! The hooks for commits and for merges: putting them in place beside ones that are there already, and taking
//! them out again.

mod script;

use std::ffi::OsString;
use std::fs::{self, File, Metadata, TryLockError};
use std::io::{ErrorKind, Write};
use std::os::unix::ffi::OsStringExt;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use git2::ConfigLevel;
use thiserror::Error;

use super::{Place, SourceError};
use script::{Script, Task, Written};

/// The file name of the hook that commits run.
const HOOK: &str = "pre-commit";
/// The one that merges without conflict run instead; git calls no other before a merge is made.
const MERGE_HOOK: &str = "pre-merge-commit";
/// The one that writes a commit's message before anyone edits it.
const MESSAGE_HOOK: &str = "prepare-commit-msg";
/// Behind the name of a hook that was there before, while ours runs it.
const BEFORE: &str = ".before-bondline";
/// What the names of hooks begin with that are not yet in their places.
const BESIDE: &str = ".bondline-hook.";
/// git's setting of the folder.
const HOOKS_PATH: &str = "core.hooksPath";
/// As long as another process is waited for.
const LONGEST: Duration = Duration::from_secs(20);
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
    /// The repository itself sends its hooks to a place that is none of its own.
    #[error("this repository's hooks lie in {}, outside of it: nothing is written there", folder.display())]
    Elsewhere {
        /// The folder.
        folder: PathBuf,
    },
    /// Another process is at it.
    #[error("another bondline has been writing hooks in {} for {seconds} seconds", folder.display())]
    Busy {
        /// The folder.
        folder: PathBuf,
        /// How long was waited.
        seconds: u64,
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
                "move the added lines into a file of its name with `{BEFORE}` behind, which it runs first; then delete it and run `bondline hook install`"
            ),
            HookError::NotOurs { .. } => "remove it by hand if it is not wanted".to_owned(),
            HookError::NotAFile { .. } => "move it away".to_owned(),
            HookError::Elsewhere { .. } => "let the hooks there run `bondline hook run`; or see `git config --show-origin core.hooksPath`, and unset it with `git config --unset core.hooksPath`".to_owned(),
            HookError::Busy { .. } => "run the command again when that one is done".to_owned(),
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
/// A [`HookError`]; nothing was changed then, unless the system refused between the two files.
pub fn install(place: &Place, program: &Path) -> Result<HookReport, HookError> {
    if !program.is_absolute() {
        return Err(HookError::RelativeProgram { program: program.to_owned() });
    }
    let folder = Hooks::of(place)?;
    folder.is_own(place)?;
    let _alone = folder.alone()?;
    let (commits, merges) = (Slot::of(&folder, HOOK), Slot::of(&folder, MERGE_HOOK));
    let messages = Slot::of(&folder, MESSAGE_HOOK);
    // All are looked at before any is touched.
    let (found, found_merges) = (commits.to_install()?, merges.to_install()?);
    let found_messages = messages.to_install()?;
    fs::create_dir_all(&folder.path).map_err(|error| io(&folder.path, &error))?;
    let done = commits.install(place, program, &found)?;
    let beside =
        [merges.install(place, program, &found_merges)?, messages.install(place, program, &found_messages)?];
    let done = match done {
        HookDone::Unchanged if beside.iter().any(|done| *done != HookDone::Unchanged) => HookDone::Updated,
        done => done,
    };
    let mut notes = folder.notes;
    for slot in [&commits, &merges, &messages] {
        if exists(&slot.before) && !is_executable(&slot.before) {
            notes.push(format!(
                "{} is not executable, so git did not run it before and it is not run now",
                slot.before.display()
            ));
        }
    }
    if exists(&merges.before) {
        notes.push(format!("The hook for merges that was there before: {}", merges.before.display()));
    }
    if exists(&messages.before) {
        notes.push(format!("The hook for messages that was there before: {}", messages.before.display()));
    }
    notes.push(format!(
        "A commit that carries a decision out is given the line `Decision: ...` ({MESSAGE_HOOK})."
    ));
    notes.push(format!(
        "Merges without conflict run it too ({MERGE_HOOK}). Rebase, cherry-pick and revert run no such hook: check a branch with `bondline hook run --range A..B`."
    ));
    let chained = exists(&commits.before).then_some(commits.before);
    Ok(HookReport { path: commits.hook, done, chained, notes })
}

/// One hook's file, and where the one that was there before is kept.
struct Slot {
    task: Task,
    hook: PathBuf,
    before: PathBuf,
}

impl Slot {
    fn of(folder: &Hooks, name: &str) -> Self {
        let task = if name == MESSAGE_HOOK { Task::Message } else { Task::Gate };
        Self { task, hook: folder.path.join(name), before: folder.path.join(format!("{name}{BEFORE}")) }
    }

    /// Returns what is there, where ours can be put in its place.
    fn to_install(&self) -> Result<Found, HookError> {
        let found = Found::at(&self.hook)?;
        match found {
            Found::Edited => Err(HookError::Edited { hook: self.hook.clone() }),
            Found::Other if exists(&self.before) && !is_same(&self.hook, &self.before) => {
                Err(HookError::BeforeTaken { hook: self.hook.clone(), before: self.before.clone() })
            }
            found => Ok(found),
        }
    }

    fn install(&self, place: &Place, program: &Path, found: &Found) -> Result<HookDone, HookError> {
        let mut ledgers = vec![place.prefix().to_owned()];
        if let Found::Ours(written) = found {
            ledgers.extend(written.ledgers.iter().cloned());
        }
        ledgers.sort();
        ledgers.dedup();
        let text = Script { task: self.task, program, ledgers: &ledgers }.text();
        Ok(match found {
            Found::Edited => return Err(HookError::Edited { hook: self.hook.clone() }),
            Found::Ours(written) if written.text == text && is_executable(&self.hook) => HookDone::Unchanged,
            Found::Ours(_) => {
                write_beside(&self.hook, &text)?;
                HookDone::Updated
            }
            Found::Absent => {
                write_beside(&self.hook, &text)?;
                HookDone::Installed
            }
            Found::Other => {
                keep(&self.hook, &self.before)?;
                write_beside(&self.hook, &text)?;
                HookDone::Installed
            }
        })
    }

    /// Takes ours out for one ledger; the rest of what it looks after.
    fn remove(&self, prefix: &str, written: Written) -> Result<Vec<String>, HookError> {
        let rest: Vec<String> = written.ledgers.into_iter().filter(|ledger| ledger != prefix).collect();
        if rest.is_empty() {
            // One rename both removes ours and restores what was there.
            let restored = match exists(&self.before) {
                true => fs::rename(&self.before, &self.hook),
                false => fs::remove_file(&self.hook),
            };
            restored.map_err(|error| io(&self.hook, &error))?;
        } else {
            write_beside(
                &self.hook,
                &Script { task: self.task, program: &written.program, ledgers: &rest }.text(),
            )?;
        }
        Ok(rest)
    }
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
    folder.is_own(place)?;
    let _alone = folder.alone()?;
    let (commits, merges) = (Slot::of(&folder, HOOK), Slot::of(&folder, MERGE_HOOK));
    let messages = Slot::of(&folder, MESSAGE_HOOK);
    let (written, for_merges) = (Found::at(&commits.hook)?, Found::at(&merges.hook)?);
    let for_messages = Found::at(&messages.hook)?;
    if let Found::Edited = for_merges {
        return Err(HookError::Edited { hook: merges.hook });
    }
    if let Found::Edited = for_messages {
        return Err(HookError::Edited { hook: messages.hook });
    }
    match written {
        Found::Other => return Err(HookError::NotOurs { hook: commits.hook }),
        Found::Edited => return Err(HookError::Edited { hook: commits.hook }),
        Found::Absent | Found::Ours(_) => {}
    }
    let own = |written: &Written| written.ledgers.iter().any(|ledger| ledger == place.prefix());
    // Someone else's hooks are left alone: from before ours knew of merges and messages. The hook for commits goes
    // last: as long as it is ours, a removal that was cut short can be done again.
    for (slot, found) in [(&merges, for_merges), (&messages, for_messages)] {
        if let Found::Ours(written) = found
            && own(&written)
        {
            slot.remove(place.prefix(), written)?;
        }
    }
    let chained = exists(&commits.before).then(|| commits.before.clone());
    let Found::Ours(written) = written else {
        return Ok(HookReport {
            path: commits.hook,
            done: HookDone::Absent,
            chained: None,
            notes: Vec::new(),
        });
    };
    if !own(&written) {
        return Ok(HookReport { path: commits.hook, done: HookDone::Absent, chained, notes: Vec::new() });
    }
    let rest = commits.remove(place.prefix(), written)?;
    let (chained, note) = match (rest.is_empty(), chained) {
        (false, chained) => (chained, Some(format!("the hook stays for {}", rest.join(", ")))),
        (true, Some(_)) => (None, Some(format!("{} is what it was before", commits.hook.display()))),
        (true, None) => (None, None),
    };
    Ok(HookReport { path: commits.hook, done: HookDone::Removed, chained, notes: note.into_iter().collect() })
}

/// Says what stands in the hook's place.
///
/// # Errors
///
/// If there is no repository, or its hooks' folder cannot be read.
pub fn state(place: &Place) -> Result<HookState, HookError> {
    let folder = Hooks::of(place)?;
    let Slot { hook, before, .. } = Slot::of(&folder, HOOK);
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
    /// Whether the user's or the machine's settings name it, and not the repository, which somebody else may have made.
    by_user: bool,
    notes: Vec<String>,
}

impl Hooks {
    fn of(place: &Place) -> Result<Hooks, HookError> {
        let repository = place.need_repository()?;
        let top = place.need_top()?;
        let configured = repository.with(|git| -> Result<Option<(PathBuf, bool)>, git2::Error> {
            // A snapshot, so that a value just set is seen.
            let settings = git.config()?.snapshot()?;
            match settings.get_path(HOOKS_PATH) {
                Ok(path) => {
                    let by_user = matches!(
                        settings.get_entry(HOOKS_PATH)?.level(),
                        ConfigLevel::Global
                            | ConfigLevel::XDG
                            | ConfigLevel::System
                            | ConfigLevel::ProgramData
                    );
                    Ok(Some((path, by_user)))
                }
                Err(error) if error.code() == git2::ErrorCode::NotFound => Ok(None),
                Err(error) => Err(error),
            }
        })?;
        let configured =
            configured.map_err(|error| HookError::HooksPath { why: error.message().to_owned() })?;
        let Some((configured, by_user)) = configured.filter(|(path, _)| !path.as_os_str().is_empty()) else {
            // All work trees of a repository share the hooks of its common folder.
            let path = repository.common_dir().join("hooks");
            return Ok(Hooks { path, by_user: false, notes: Vec::new() });
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
        Ok(Hooks { path, by_user, notes })
    }

    /// Refuses to write where the repository alone, by a setting or a link, sends its hooks.
    fn is_own(&self, place: &Place) -> Result<(), HookError> {
        let repository = place.need_repository()?;
        let real = self.standing().canonicalize().map_err(|error| io(&self.path, &error))?;
        let is_inside = real.starts_with(repository.common_dir()) || real.starts_with(place.need_top()?);
        // A link that leads nowhere yet is none of the repository's either.
        let leads_nowhere =
            !self.path.is_dir() && fs::symlink_metadata(&self.path).is_ok_and(|own| own.is_symlink());
        if self.by_user || is_inside && !leads_nowhere {
            return Ok(());
        }
        let folder = if is_inside { self.path.clone() } else { real };
        Err(HookError::Elsewhere { folder })
    }

    /// The folder, or the nearest above it that is there.
    fn standing(&self) -> &Path {
        self.path.ancestors().find(|folder| folder.is_dir()).unwrap_or(Path::new("/"))
    }

    /// The right to write hooks, until it is dropped: of two at once the later could take the earlier's hook for
    /// one that was there before. What a killed one left beside the hooks is taken away.
    fn alone(&self) -> Result<Option<File>, HookError> {
        let standing = self.standing();
        let file = File::open(standing).map_err(|error| io(standing, &error))?;
        let begin = Instant::now();
        loop {
            match file.try_lock() {
                Ok(()) => break,
                Err(TryLockError::WouldBlock) if begin.elapsed() < LONGEST => {
                    std::thread::sleep(Duration::from_millis(10));
                }
                Err(TryLockError::WouldBlock) => {
                    return Err(HookError::Busy { folder: standing.to_owned(), seconds: LONGEST.as_secs() });
                }
                // Not every file system locks folders; alone there as a rule, and every step is whole.
                Err(TryLockError::Error(_)) => return Ok(None),
            }
        }
        for entry in fs::read_dir(standing).into_iter().flatten().flatten() {
            if entry.file_name().to_string_lossy().starts_with(BESIDE) {
                let _ = fs::remove_file(entry.path());
            }
        }
        Ok(Some(file))
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
        if !is_same(hook, before) {
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
    let mut file = tempfile::Builder::new().prefix(BESIDE).tempfile_in(folder).map_err(failed)?;
    file.write_all(text).map_err(failed)?;
    file.as_file().set_permissions(fs::Permissions::from_mode(0o755)).map_err(failed)?;
    file.as_file().sync_all().map_err(failed)?;
    file.persist(path).map_err(|error| io(path, &error.error))?;
    Ok(())
}

fn is_same(one: &Path, other: &Path) -> bool {
    let short =
        |path: &Path| fs::symlink_metadata(path).is_ok_and(|own| own.is_file() && own.len() <= HOOK_LIMIT);
    short(one) && short(other) && fs::read(one).ok() == fs::read(other).ok()
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
