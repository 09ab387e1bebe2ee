//! Writing several files of a ledger so that every one is whole at any moment, and all or none change.

use super::Place;
use serde::{Deserialize, Serialize};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
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
const JOURNAL: &str = "bondline-writing.json";

/// Writes the edits, all of them or none.
///
/// Each text is written beside its file first and renamed when all are there: no moment leaves half a file, and
/// a full disk leaves all as they were. If a rename is refused those before it are taken back; if the process is
/// killed between two, [`finish`] completes them.
///
/// # Errors
/// [`WriteError`]; the ledger is then as it was, but for files that it names.
pub fn write_all(place: &Place, edits: &[FileEdit]) -> Result<(), WriteError> {
    let root = place.root();
    let edits: Vec<&FileEdit> = edits.iter().filter(|edit| edit.was != edit.shall).collect();
    for edit in &edits {
        unchanged(root, edit)?;
    }
    let refused =
        |file: &str, why: io::Error| WriteError::Refused { file: file.to_string(), why, stuck: Vec::new() };
    let mut ready = Vec::new();
    for edit in &edits {
        let path = root.join(&edit.file);
        let beside = match &edit.shall {
            Some(text) => Some(beside(&path, text).map_err(|error| refused(&edit.file, error))?),
            None => None,
        };
        ready.push((*edit, path, beside));
    }
    let journal = (edits.len() > 1).then(|| journal_of(place));
    if let Some(journal) = &journal {
        let text = serde_json::to_string(&edits).unwrap_or_default();
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
/// [`WriteError`] if the system refuses.
pub fn finish(place: &Place) -> Result<Vec<String>, WriteError> {
    let journal = journal_of(place);
    let Ok(text) = fs::read_to_string(&journal) else { return Ok(Vec::new()) };
    let Ok(edits) = serde_json::from_str::<Vec<FileEdit>>(&text) else {
        remove_journal(Some(&journal));
        return Ok(Vec::new());
    };
    // The journal may not be made to write outside the ledger.
    let own = |file: &str| super::resolve("", file).is_ok_and(|path| path == file);
    let open: Vec<FileEdit> =
        edits.into_iter().filter(|edit| own(&edit.file) && unchanged(place.root(), edit).is_ok()).collect();
    let files = open.iter().map(|edit| edit.file.clone()).collect();
    for edit in &open {
        write_all(place, std::slice::from_ref(edit))?;
    }
    remove_journal(Some(&journal));
    Ok(files)
}

fn journal_of(place: &Place) -> PathBuf {
    match place.repository() {
        Some(repository) => repository.git_dir().join(JOURNAL),
        None => place.root().join(format!(".{JOURNAL}")),
    }
}

/// One that can't be removed only makes the next run look again.
fn remove_journal(journal: Option<&Path>) {
    if let Some(journal) = journal {
        let _ = fs::remove_file(journal);
    }
}

/// Checks that a file is as it was read, and may be written.
fn unchanged(root: &Path, edit: &FileEdit) -> Result<(), WriteError> {
    let path = root.join(&edit.file);
    let file = || edit.file.clone();
    match &edit.was {
        None if fs::symlink_metadata(&path).is_ok() => Err(WriteError::Taken { file: file() }),
        None => Ok(()),
        Some(was) => {
            if fs::read(&path).ok().as_deref() != Some(was.as_bytes()) {
                return Err(WriteError::ChangedMeanwhile { file: file() });
            }
            match fs::metadata(&path) {
                Ok(metadata) if metadata.permissions().readonly() => {
                    Err(WriteError::ReadOnly { file: file() })
                }
                _ => Ok(()),
            }
        }
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
    let mut file = tempfile::Builder::new().prefix(".bondline-").tempfile_in(folder)?;
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

    fn read(place: &Place, file: &str) -> Option<String> {
        fs::read_to_string(place.root().join(file)).ok()
    }

    #[test]
    fn files_are_replaced_made_and_removed_together() {
        let (_folder, place) = ledger(&[("recipes/a.yaml", "a"), ("recipes/b.yaml", "b")]);
        write_all(
            &place,
            &[
                edit("recipes/a.yaml", Some("a"), Some("a2")),
                edit("recipes/b.yaml", Some("b"), None),
                edit("materials/c.yaml", None, Some("c")),
            ],
        )
        .unwrap();
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a2"));
        assert_eq!(read(&place, "recipes/b.yaml"), None);
        assert_eq!(read(&place, "materials/c.yaml").as_deref(), Some("c"));
        let left: Vec<_> = fs::read_dir(place.root().join("recipes")).unwrap().collect();
        assert_eq!(left.len(), 1, "no temporary file stays");
        assert!(!place.root().join(format!(".{JOURNAL}")).exists());
    }

    #[test]
    fn one_that_moved_on_or_is_protected_leaves_all_as_they_were() {
        let (_folder, place) = ledger(&[("recipes/a.yaml", "a"), ("recipes/b.yaml", "other")]);
        let edits =
            [edit("recipes/a.yaml", Some("a"), Some("a2")), edit("recipes/b.yaml", Some("b"), Some("b2"))];
        assert!(
            matches!(write_all(&place, &edits), Err(WriteError::ChangedMeanwhile { file }) if file == "recipes/b.yaml")
        );
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a"));

        let path = place.root().join("recipes/b.yaml");
        let mut permissions = fs::metadata(&path).unwrap().permissions();
        permissions.set_readonly(true);
        fs::set_permissions(&path, permissions).unwrap();
        let edits = [edits[0].clone(), edit("recipes/b.yaml", Some("other"), Some("b2"))];
        assert!(matches!(write_all(&place, &edits), Err(WriteError::ReadOnly { .. })));
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
        let error = write_all(&place, &edits).unwrap_err();
        assert!(matches!(&error, WriteError::Refused { stuck, .. } if stuck.is_empty()), "{error}");
        assert_eq!(read(&place, "recipes/a.yaml").as_deref(), Some("a"));
        assert_eq!(read(&place, "recipes/d.yaml").as_deref(), Some("d"));
        assert_eq!(read(&place, "recipes/new.yaml"), None);
        assert_eq!(finish(&place).unwrap(), Vec::<String>::new());
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
        fs::write(journal_of(&place), serde_json::to_string(&edits).unwrap()).unwrap();
        assert_eq!(finish(&place).unwrap(), ["recipes/b.yaml"]);
        assert_eq!(read(&place, "recipes/b.yaml").as_deref(), Some("b2"));
        assert_eq!(read(&place, "recipes/c.yaml").as_deref(), Some("mine"));
        assert!(!place.root().parent().unwrap().join("outside.yaml").exists());
        assert_eq!(finish(&place).unwrap(), Vec::<String>::new());
    }
}
