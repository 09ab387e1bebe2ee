//! Writing several files of a ledger so that every one is whole at any moment, all or none change, and nobody else
//! writes meanwhile.

use super::Place;
use super::path::folders;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fs::{self, File, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use thiserror::Error;

/// One file as it was read and as it shall be; `None` is no file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileEdit {
    /// The path from the ledger's root.
    pub file: String,
    /// The text that was read.
    pub was: Option<String>,
    /// The text that it shall have.
    pub shall: Option<String>,
}

/// Why nothing was written, or what was taken back.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The file is not what was read.
    #[error("`{file}` was changed by someone else meanwhile")]
    ChangedMeanwhile {
        /// The file.
        file: String,
    },
    /// A new file's name is taken.
    #[error("`{file}` is there already")]
    Taken {
        /// The file.
        file: String,
    },
    /// A folder on the way to the file, or the file itself, is a link: it may lead out of the ledger.
    #[error("`{file}` can't be written: `{link}` is a symbolic link, and links are not followed")]
    Link {
        /// The file.
        file: String,
        /// The link.
        link: String,
    },
    /// The file is a record of another ledger.
    #[error("`{file}` is of an import, which can't be changed from here")]
    Imported {
        /// The file.
        file: String,
    },
    /// Another process has been writing all the time.
    #[error("another bondline has been writing in this ledger for {seconds} seconds")]
    Busy {
        /// How long was waited.
        seconds: u64,
    },
    /// A change was cut short, and can't be finished.
    #[error("an earlier change of {} was cut short and is not finished: {why}", files.join(", "))]
    CutShort {
        /// The journal.
        journal: String,
        /// The files of that change.
        files: Vec<String>,
        /// Why it is not finished.
        why: String,
    },
    /// The file is protected from writing.
    #[error("`{file}` is read-only")]
    ReadOnly {
        /// The file.
        file: String,
    },
    /// The system refused; what was written before is taken back.
    #[error("`{file}` can't be written: {why}")]
    Refused {
        /// The file.
        file: String,
        /// What the system said.
        why: io::Error,
        /// Files that could not be taken back, with what the system said.
        stuck: Vec<String>,
    },
}

impl WriteError {
    /// Says how things stand and what to do, in one sentence.
    pub fn mend(&self) -> String {
        match self {
            WriteError::ChangedMeanwhile { .. } => "nothing was changed; run the command again".to_string(),
            WriteError::Taken { .. } => {
                "nothing was changed; move that file, or run the command again".to_string()
            }
            WriteError::Link { .. } => {
                "nothing was changed; put a folder or a file of its own in the link's place".to_string()
            }
            WriteError::Imported { .. } => {
                "nothing was changed; change it in its own repository, and name that commit under `imports`"
                    .to_string()
            }
            WriteError::Busy { .. } => {
                "nothing was changed; run the command again when that one is done".to_string()
            }
            WriteError::CutShort { journal, .. } => format!(
                "`git diff` shows how the files stand: put them right, then remove `{journal}`, which holds what they should have been"
            ),
            WriteError::ReadOnly { .. } => {
                "nothing was changed; whoever protected it may lift that with `chmod u+w`".to_string()
            }
            WriteError::Refused { stuck, .. } if stuck.is_empty() => {
                "nothing was changed; check its folder's permissions and the room on the disk".to_string()
            }
            WriteError::Refused { stuck, .. } => format!(
                "these are changed and could not be taken back: {}; `git diff` shows them",
                stuck.join(", ")
            ),
        }
    }
}

/// The file that says what is being written, so that a change that was cut short can be finished.
const JOURNAL: &str = "bondline-writing";

/// The file that whoever writes has locked.
const LOCK: &str = "bondline-writing.lock";

/// The most that a journal holds, in bytes: the texts of many records, twice.
const JOURNAL_LIMIT: u64 = 256 * 1024 * 1024;

/// What the names of texts begin with that are not yet in their places.
const BESIDE: &str = ".bondline-new-";

/// As long as another process is waited for.
const LONGEST: Duration = Duration::from_secs(60);

/// A change of several files, as it is noted before the first is renamed.
#[derive(Debug, Serialize, Deserialize)]
struct Journal {
    /// The ledger's folder in the repository.
    ledger: String,
    /// The commit that the files were read beside; none before the first, and in no repository.
    head: Option<String>,
    edits: Vec<FileEdit>,
}

/// The right to write files of a ledger. Whoever has it is alone: what is read while it is held stays so, as far as
/// bondline goes. It ends with the value, or with the process however that ends.
#[derive(Debug)]
pub struct Writer {
    place: Place,
    /// The lock, or why there is none: whoever writes nothing needs none.
    lock: io::Result<File>,
}

impl Writer {
    /// Waits until nobody else writes.
    ///
    /// # Errors
    /// [`WriteError::Busy`] after a minute.
    pub fn wait(place: &Place) -> Result<Self, WriteError> {
        let opened = match place.repository() {
            Some(repository) => lock_file(&repository.git_dir().join(LOCK)),
            // In no repository the folder itself is locked: nothing is left behind.
            None => File::open(place.root()),
        };
        let begin = Instant::now();
        let lock = match opened {
            Err(error) => Err(error),
            Ok(file) => loop {
                match file.try_lock() {
                    Ok(()) => break Ok(file),
                    Err(TryLockError::WouldBlock) if begin.elapsed() < LONGEST => {
                        std::thread::sleep(Duration::from_millis(10));
                    }
                    Err(TryLockError::WouldBlock) => {
                        return Err(WriteError::Busy { seconds: LONGEST.as_secs() });
                    }
                    Err(TryLockError::Error(error)) => break Err(error),
                }
            },
        };
        Ok(Self { place: place.clone(), lock })
    }

    fn locked(&self) -> Result<(), WriteError> {
        match &self.lock {
            Ok(_) => Ok(()),
            Err(error) => Err(WriteError::Refused {
                file: LOCK.to_string(),
                why: io::Error::new(error.kind(), error.to_string()),
                stuck: Vec::new(),
            }),
        }
    }

    /// Writes the edits, all of them or none.
    ///
    /// Each text is written beside its file first and renamed when all are there: no moment leaves half a file, and
    /// a full disk leaves all as they were. If a rename is refused those before it are taken back; if the process is
    /// killed between two, [`Writer::finish`] completes them.
    ///
    /// # Errors
    /// [`WriteError`]; the ledger is then as it was, but for files that it names.
    pub fn write_all(&self, edits: &[FileEdit]) -> Result<(), WriteError> {
        let root = self.place.root();
        let edits: Vec<&FileEdit> = edits.iter().filter(|edit| edit.was != edit.shall).collect();
        if edits.is_empty() {
            return Ok(());
        }
        // A path of an import has no place on this ledger's disk.
        if let Some(edit) = edits.iter().find(|edit| crate::record::import_of(&edit.file).is_some()) {
            return Err(WriteError::Imported { file: edit.file.clone() });
        }
        self.locked()?;
        for edit in &edits {
            no_link(root, &edit.file)?;
            unchanged(root, edit)?;
        }
        sweep(root, &edits);
        let refused = |file: &str, why: io::Error| WriteError::Refused {
            file: file.to_string(),
            why,
            stuck: Vec::new(),
        };
        let mut ready = Vec::new();
        for edit in &edits {
            let path = root.join(&edit.file);
            let beside = match &edit.shall {
                Some(text) => Some(beside(&path, text).map_err(|error| refused(&edit.file, error))?),
                None => None,
            };
            ready.push((*edit, path, beside));
        }
        let journal = (edits.len() > 1).then(|| journal_of(&self.place));
        if let Some(journal) = &journal {
            let all = Journal {
                ledger: self.place.prefix().to_string(),
                head: self.head(),
                edits: edits.iter().map(|edit| (*edit).clone()).collect(),
            };
            let text = serde_json::to_string(&all).unwrap_or_default();
            let written = beside(journal, &text).and_then(|file| file.persist(journal).map_err(|e| e.error));
            written.map_err(|error| refused(&journal.display().to_string(), error))?;
        }
        let mut done: Vec<&FileEdit> = Vec::new();
        for (edit, path, beside) in ready {
            let written = match beside {
                // A new file must not replace one that came meanwhile.
                Some(beside) if edit.was.is_none() => {
                    beside.persist_noclobber(&path).map(drop).map_err(|e| e.error)
                }
                Some(beside) => beside.persist(&path).map(drop).map_err(|e| e.error),
                None => fs::remove_file(&path),
            };
            if let Err(why) = written {
                let stuck: Vec<String> = done
                    .iter()
                    .rev()
                    .filter_map(|edit| {
                        take_back(root, edit).err().map(|error| format!("{} ({error})", edit.file))
                    })
                    .collect();
                remove_journal(journal.as_deref());
                return Err(WriteError::Refused { file: edit.file.clone(), why, stuck });
            }
            done.push(edit);
        }
        remove_journal(journal.as_deref());
        Ok(())
    }

    /// Completes a change of several files that was cut short; the files that it wrote, none as a rule.
    ///
    /// A file that is neither what it was nor what it should be was edited since and is left alone.
    ///
    /// # Errors
    /// [`WriteError::CutShort`] for a change that was begun in another ledger or on another commit, or that can't be
    /// read; others if the system refuses.
    pub fn finish(&self) -> Result<Vec<String>, WriteError> {
        let path = journal_of(&self.place);
        let cut_short = |files: Vec<String>, why: &str| WriteError::CutShort {
            journal: path.display().to_string(),
            files,
            why: why.to_string(),
        };
        let some = || vec!["some files".to_string()];
        let text = match journal_in(&path) {
            Ok(Some(text)) => text,
            Ok(None) => return Ok(Vec::new()),
            Err(error) => return Err(cut_short(some(), &format!("its journal can't be read: {error}"))),
        };
        let Ok(journal) = serde_json::from_str::<Journal>(&text) else {
            return Err(cut_short(some(), "its journal can't be read"));
        };
        let files = || journal.edits.iter().map(|edit| edit.file.clone()).collect::<Vec<_>>();
        if journal.ledger != self.place.prefix() {
            return Err(cut_short(files(), &format!("it was begun in the ledger of `{}`", journal.ledger)));
        }
        let root = self.place.root();
        // The journal may not be made to write outside the ledger.
        let own = |file: &str| super::resolve("", file).is_ok_and(|path| path == file);
        let open: Vec<&FileEdit> = journal
            .edits
            .iter()
            .filter(|edit| {
                own(&edit.file) && no_link(root, &edit.file).is_ok() && unchanged(root, edit).is_ok()
            })
            .collect();
        let begun = journal.edits.iter().any(|edit| is(root, &edit.file, edit.shall.as_deref()));
        if open.is_empty() || !begun && journal.head != self.head() {
            remove_journal(Some(&path));
            return Ok(Vec::new());
        }
        if journal.head != self.head() {
            return Err(cut_short(files(), "HEAD is another commit since"));
        }
        for edit in &open {
            self.write_all(std::slice::from_ref(*edit))?;
        }
        remove_journal(Some(&path));
        Ok(open.into_iter().map(|edit| edit.file.clone()).collect())
    }

    fn head(&self) -> Option<String> {
        Some(self.place.repository()?.head().ok()??.to_string())
    }
}

/// The file that is locked. A link there would make one wherever it leads, and a pipe is waited for.
fn lock_file(path: &Path) -> io::Result<File> {
    if fs::symlink_metadata(path).is_ok_and(|metadata| !metadata.is_file()) {
        return Err(io::Error::other(format!("{} is no plain file; take it away", path.display())));
    }
    File::options().create(true).truncate(false).write(true).open(path)
}

/// Reads a journal; none where there is none. What is no plain file, or longer than any, is none of ours.
fn journal_in(path: &Path) -> io::Result<Option<String>> {
    match fs::symlink_metadata(path) {
        Ok(metadata) if !metadata.is_file() => return Err(io::Error::other("it is no plain file")),
        Ok(metadata) if metadata.len() > JOURNAL_LIMIT => return Err(io::Error::other("it is too long")),
        Ok(_) => {}
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    }
    fs::read_to_string(path).map(Some)
}

/// Returns the files of a change that was cut short, where there is one in this ledger.
pub fn unfinished(place: &Place) -> Option<Vec<String>> {
    let text = journal_in(&journal_of(place)).unwrap_or_else(|_| Some(String::new()))?;
    let edits = serde_json::from_str::<Journal>(&text).map(|journal| journal.edits).unwrap_or_default();
    Some(edits.into_iter().map(|edit| edit.file).collect())
}

/// The journal of one ledger: several in one repository have one each.
fn journal_of(place: &Place) -> PathBuf {
    match place.repository() {
        Some(repository) => {
            let own = match place.prefix() {
                "" => String::new(),
                prefix => format!("-{}", super::blob_of(prefix.as_bytes()).unwrap_or_default()),
            };
            repository.git_dir().join(format!("{JOURNAL}{own}.json"))
        }
        None => place.root().join(format!(".{JOURNAL}.json")),
    }
}

/// One that can't be removed only makes the next run look again.
fn remove_journal(journal: Option<&Path>) {
    if let Some(journal) = journal {
        let _ = fs::remove_file(journal);
    }
}

/// Takes away texts that a killed process left beside the files; whoever holds the lock is the only one to make any.
fn sweep(root: &Path, edits: &[&FileEdit]) {
    let folders: BTreeSet<PathBuf> =
        edits.iter().filter_map(|edit| Some(root.join(&edit.file).parent()?.to_path_buf())).collect();
    for folder in folders {
        let Ok(all) = fs::read_dir(folder) else { continue };
        for entry in all.filter_map(Result::ok) {
            if entry.file_name().to_string_lossy().starts_with(BESIDE) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

/// Checks that no link is on the way to a file, nor in its place.
pub(crate) fn no_link(root: &Path, file: &str) -> Result<(), WriteError> {
    for step in folders(file).chain([file]) {
        if fs::symlink_metadata(root.join(step)).is_ok_and(|metadata| metadata.is_symlink()) {
            return Err(WriteError::Link { file: file.to_string(), link: step.to_string() });
        }
    }
    Ok(())
}

fn is(root: &Path, file: &str, text: Option<&str>) -> bool {
    let path = root.join(file);
    match text {
        None => fs::symlink_metadata(&path).is_err(),
        Some(text) => fs::read(&path).ok().as_deref() == Some(text.as_bytes()),
    }
}

/// Checks that a file is as it was read, and may be written.
fn unchanged(root: &Path, edit: &FileEdit) -> Result<(), WriteError> {
    let file = || edit.file.clone();
    if !is(root, &edit.file, edit.was.as_deref()) {
        return Err(match &edit.was {
            None => WriteError::Taken { file: file() },
            Some(_) => WriteError::ChangedMeanwhile { file: file() },
        });
    }
    match fs::metadata(root.join(&edit.file)) {
        Ok(metadata) if metadata.permissions().readonly() => Err(WriteError::ReadOnly { file: file() }),
        _ => Ok(()),
    }
}

fn take_back(root: &Path, edit: &FileEdit) -> io::Result<()> {
    let path = root.join(&edit.file);
    match &edit.was {
        Some(was) => beside(&path, was)?.persist(&path).map(drop).map_err(|error| error.error),
        None => fs::remove_file(&path),
    }
}

/// The text in a file of its own in the same folder, on the disk, with the permissions of the one it replaces.
fn beside(path: &Path, text: &str) -> io::Result<tempfile::NamedTempFile> {
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    fs::create_dir_all(folder)?;
    let mut file = tempfile::Builder::new().prefix(BESIDE).tempfile_in(folder)?;
    file.write_all(text.as_bytes())?;
    file.as_file().sync_all()?;
    // A new file is made as any program makes one; a temporary one would be its maker's alone.
    match fs::metadata(path) {
        Ok(metadata) => fs::set_permissions(file.path(), metadata.permissions())?,
        Err(_) => open_to_all(&file)?,
    }
    Ok(file)
}

#[cfg(unix)]
fn open_to_all(file: &tempfile::NamedTempFile) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(file.path(), fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn open_to_all(_: &tempfile::NamedTempFile) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edit(file: &str, was: Option<&str>, shall: Option<&str>) -> FileEdit {
        let text = |text: &str| text.to_string();
        FileEdit { file: file.to_string(), was: was.map(text), shall: shall.map(text) }
    }

    fn ledger(files: &[(&str, &str)]) -> (tempfile::TempDir, Place) {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("ledger.yaml"), "format: 1\n").unwrap();
        for (file, text) in files {
            let path = folder.path().join(file);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
        }
        let place = Place::find(folder.path()).unwrap();
        (folder, place)
    }

    fn writer(place: &Place) -> Writer {
        Writer::wait(place).unwrap()
    }

    fn noted(place: &Place, ledger: &str, edits: Vec<FileEdit>) {
        let journal = Journal { ledger: ledger.to_string(), head: None, edits };
        fs::write(journal_of(place), serde_json::to_string(&journal).unwrap()).unwrap();
    }

    fn read(place: &Place, file: &str) -> Option<String> {
        fs::read_to_string(place.root().join(file)).ok()
    }

    #[test]
    fn files_are_replaced_made_and_removed_together() {
        let (_folder, place) = ledger(&[("recipes/a.yaml", "a"), ("recipes/b.yaml", "b")]);
        let edits = [
            edit("recipes/a.yaml", Some("a"), Some("a2")),
            edit("recipes/b.yaml", Some("b"), None),
            edit("materials/c.yaml", None, Some("c")),
        ];
        writer(&place).write_all(&edits).unwrap();
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a2"));
        assert_eq!(read(&place, "recipes/b.yaml"), None);
        assert_eq!(read(&place, "materials/c.yaml").as_deref(), Some("c"));
        let left: Vec<_> = fs::read_dir(place.root().join("recipes")).unwrap().collect();
        assert_eq!(left.len(), 1, "no temporary file stays");
        assert!(!journal_of(&place).exists());
    }

    #[test]
    fn one_that_moved_on_or_is_protected_leaves_all_as_they_were() {
        let (_folder, place) = ledger(&[("recipes/a.yaml", "a"), ("recipes/b.yaml", "other")]);
        let edits =
            [edit("recipes/a.yaml", Some("a"), Some("a2")), edit("recipes/b.yaml", Some("b"), Some("b2"))];
        assert!(
            matches!(writer(&place).write_all(&edits), Err(WriteError::ChangedMeanwhile { file }) if file == "recipes/b.yaml")
        );
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a"));

        let path = place.root().join("recipes/b.yaml");
        let mut permissions = fs::metadata(&path).unwrap().permissions();
        permissions.set_readonly(true);
        fs::set_permissions(&path, permissions).unwrap();
        let edits = [edits[0].clone(), edit("recipes/b.yaml", Some("other"), Some("b2"))];
        assert!(matches!(writer(&place).write_all(&edits), Err(WriteError::ReadOnly { .. })));
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a"));
    }

    #[test]
    fn a_refusal_midway_takes_back_what_was_written() {
        let (_folder, place) = ledger(&[("recipes/a.yaml", "a"), ("recipes/d.yaml", "d")]);
        // The same new file twice: the second rename is refused, as by a disk that fails between two.
        let edits = [
            edit("recipes/a.yaml", Some("a"), Some("a2")),
            edit("recipes/d.yaml", Some("d"), None),
            edit("recipes/new.yaml", None, Some("one")),
            edit("recipes/new.yaml", None, Some("two")),
        ];
        let error = writer(&place).write_all(&edits).unwrap_err();
        assert!(matches!(&error, WriteError::Refused { stuck, .. } if stuck.is_empty()), "{error}");
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a"));
        assert_eq!(read(&place, "recipes/d.yaml").as_deref(), Some("d"));
        assert_eq!(read(&place, "recipes/new.yaml"), None);
        assert_eq!(writer(&place).finish().unwrap(), Vec::<String>::new());
    }

    #[test]
    fn what_was_cut_short_is_finished_and_what_was_edited_since_is_left() {
        let (_folder, place) =
            ledger(&[("recipes/a.yaml", "a2"), ("recipes/b.yaml", "b"), ("recipes/c.yaml", "mine")]);
        let edits = vec![
            edit("recipes/a.yaml", Some("a"), Some("a2")),
            edit("recipes/b.yaml", Some("b"), Some("b2")),
            edit("recipes/c.yaml", Some("c"), Some("c2")),
            edit("../outside.yaml", None, Some("x")),
        ];
        noted(&place, "", edits);
        assert_eq!(writer(&place).finish().unwrap(), ["recipes/b.yaml"]);
        assert_eq!(read(&place, "recipes/b.yaml").as_deref(), Some("b2"));
        assert_eq!(read(&place, "recipes/c.yaml").as_deref(), Some("mine"));
        assert!(!place.root().parent().unwrap().join("outside.yaml").exists());
        assert_eq!(writer(&place).finish().unwrap(), Vec::<String>::new());
    }

    #[test]
    fn a_journal_of_another_ledger_or_that_cannot_be_read_is_refused_and_stays() {
        let (_folder, place) = ledger(&[("recipes/a.yaml", "a")]);
        noted(&place, "b", vec![edit("recipes/a.yaml", Some("a"), Some("a2"))]);
        let error = writer(&place).finish().unwrap_err();
        assert!(error.to_string().contains("begun in the ledger of `b`"), "{error}");
        assert!(error.mend().contains("bondline-writing.json"));
        fs::write(journal_of(&place), "[]").unwrap();
        assert!(matches!(writer(&place).finish(), Err(WriteError::CutShort { .. })));
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a"));
        assert!(journal_of(&place).exists());
    }

    #[test]
    fn links_are_not_written_through() {
        let (folder, place) = ledger(&[("recipes/a.yaml", "a")]);
        let outside = tempfile::tempdir().unwrap();
        std::os::unix::fs::symlink(outside.path(), folder.path().join("decisions")).unwrap();
        let error = writer(&place).write_all(&[edit("decisions/dd-001.yaml", None, Some("x"))]).unwrap_err();
        assert!(matches!(&error, WriteError::Link { link, .. } if link == "decisions"), "{error}");
        assert_eq!(fs::read_dir(outside.path()).unwrap().count(), 0);
        fs::write(outside.path().join("b.yaml"), "b").unwrap();
        std::os::unix::fs::symlink(outside.path().join("b.yaml"), folder.path().join("recipes/b.yaml"))
            .unwrap();
        let error = writer(&place).write_all(&[edit("recipes/b.yaml", Some("b"), Some("b2"))]).unwrap_err();
        assert!(matches!(error, WriteError::Link { .. }), "{error}");
    }

    #[test]
    fn one_writer_waits_for_the_other_and_sweeps_what_a_killed_one_left() {
        let (_folder, place) = ledger(&[("recipes/a.yaml", "a"), ("recipes/.bondline-new-killed", "half")]);
        let first = writer(&place);
        let other = place.clone();
        let waiting = std::thread::spawn(move || {
            writer(&other).write_all(&[edit("recipes/a.yaml", Some("a2"), Some("a3"))]).unwrap();
        });
        std::thread::sleep(Duration::from_millis(100));
        assert!(!waiting.is_finished());
        first.write_all(&[edit("recipes/a.yaml", Some("a"), Some("a2"))]).unwrap();
        drop(first);
        waiting.join().unwrap();
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a3"));
        assert!(!place.root().join("recipes/.bondline-new-killed").exists());
    }
}
