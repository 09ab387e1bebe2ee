//! Files that a command makes beside the records: each changes from one whole to another, and none is written or
//! taken away through a link, which may lead anywhere.

use super::context::Failure;
use crate::source::write::{WriteError, no_link};
use std::collections::BTreeSet;
use std::fs::{self, File, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Why a file was not laid.
#[derive(Debug)]
pub(super) enum Unlaid {
    /// It, or a folder on the way to it, is a link.
    Link(PathBuf),
    /// The system refused.
    Refused(PathBuf, io::Error),
}

impl Unlaid {
    /// Says what happened; `way` is the way on.
    pub(super) fn failure(self, way: &str) -> Failure {
        match self {
            Self::Link(path) => Failure::new(
                format!("`{}` is a link: nothing is written through it", path.display()),
                format!("take the link away, or {way}"),
            ),
            Self::Refused(path, error) => {
                Failure::new(format!("`{}` can't be written: {error}", path.display()), way)
            }
        }
    }
}

/// Makes temporary files with the rights of any new file, which else would be for their owner alone.
fn temporary() -> tempfile::Builder<'static, 'static> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(BESIDE);
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    builder
}

/// What the names of files begin with that are not yet in their places.
const BESIDE: &str = ".bondline-";

/// The right to write in a folder, until it is dropped. What a killed process left there, and in the folders below
/// that it writes in, is taken away.
///
/// # Errors
/// Where another process is writing in it.
pub(super) fn alone(folder: &Path, below: &BTreeSet<String>) -> Result<Option<File>, Failure> {
    let Ok(file) = File::open(folder) else { return Ok(None) };
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            return Err(Failure::new(
                format!("another bondline is writing in {}", folder.display()),
                "run the command again when that one is done, or name another folder",
            ));
        }
        // Not every file system locks folders; every file changes in one step there too.
        Err(TryLockError::Error(_)) => return Ok(None),
    }
    for own in std::iter::once("").chain(below.iter().map(String::as_str)) {
        let own = folder.join(own);
        if own != folder && !own.symlink_metadata().is_ok_and(|found| found.is_dir()) {
            continue;
        }
        for entry in fs::read_dir(own).into_iter().flatten().flatten() {
            if is_left(&entry) && entry.file_type().is_ok_and(|kind| kind.is_file()) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
    Ok(Some(file))
}

/// Whether a killed process left an entry of a folder before it had its place.
pub(super) fn is_left(entry: &fs::DirEntry) -> bool {
    entry.file_name().to_string_lossy().starts_with(BESIDE)
}

/// The folder that a file is made in: the one that it shall stand in, so that moving it there is one step.
pub(super) fn beside(to: &Path) -> &Path {
    to.parent().filter(|own| !own.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Writes a file under another name, then puts it in its place. A link that stands there is replaced, not followed.
///
/// # Errors
/// What the system says; whatever stood there stands there still.
pub(super) fn replace(to: &Path, write: impl FnOnce(&mut File) -> io::Result<()>) -> io::Result<()> {
    let mut own = temporary().tempfile_in(beside(to))?;
    write(own.as_file_mut())?;
    own.persist(to).map(drop).map_err(|error| error.error)
}

/// Refuses a file below a folder, `/` between the parts, where it or a folder on the way is a link.
///
/// # Errors
/// [`Unlaid::Link`] with the first link.
pub(super) fn unlinked(folder: &Path, file: &str) -> Result<(), Unlaid> {
    no_link(folder, file).map_err(|error| match error {
        WriteError::Link { link, .. } => Unlaid::Link(folder.join(link)),
        other => Unlaid::Refused(folder.join(file), io::Error::other(other.to_string())),
    })
}

/// Lays a file below a folder, with the folders on the way; one that is the same is left alone.
///
/// # Errors
/// [`Unlaid`].
pub(super) fn lay(folder: &Path, file: &str, bytes: &[u8]) -> Result<(), Unlaid> {
    unlinked(folder, file)?;
    let path = folder.join(file);
    laid(&path, bytes).map_err(|error| Unlaid::Refused(path, error))
}

fn laid(path: &Path, bytes: &[u8]) -> io::Result<()> {
    fs::create_dir_all(beside(path))?;
    // By its length first: what stands there may be of any.
    let is_alike = |own: fs::Metadata| own.is_file() && usize::try_from(own.len()) == Ok(bytes.len());
    if path.symlink_metadata().is_ok_and(is_alike) && fs::read(path).is_ok_and(|old| old == bytes) {
        return Ok(());
    }
    replace(path, |file| file.write_all(bytes))
}

/// Takes a file below a folder away, where it is a file and no link is on the way.
pub(super) fn take_away(folder: &Path, file: &str) {
    let path = folder.join(file);
    if unlinked(folder, file).is_ok() && path.symlink_metadata().is_ok_and(|found| found.is_file()) {
        // One that can't be taken away is left over, and does no harm.
        let _ = fs::remove_file(path);
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    #[test]
    fn links_lead_nowhere() {
        let room = tempfile::tempdir().unwrap();
        let (own, other) = (room.path().join("own"), room.path().join("other"));
        fs::create_dir_all(&own).unwrap();
        fs::create_dir_all(&other).unwrap();
        fs::write(other.join("a"), "theirs").unwrap();
        symlink(&other, own.join("folder")).unwrap();
        symlink(other.join("a"), own.join("file")).unwrap();
        symlink(other.join("new"), own.join("nowhere")).unwrap();
        for file in ["folder/a", "folder/below/a", "file", "nowhere"] {
            assert!(matches!(lay(&own, file, b"ours"), Err(Unlaid::Link(_))), "{file}");
            take_away(&own, file);
            assert!(own.join("file").is_symlink() && own.join("nowhere").is_symlink());
        }
        assert_eq!(fs::read_to_string(other.join("a")).unwrap(), "theirs");
        assert_eq!(fs::read_dir(&other).unwrap().count(), 1);
        lay(&own, "below/a", b"one").unwrap();
        lay(&own, "below/a", b"two").unwrap();
        assert_eq!(fs::read_to_string(own.join("below/a")).unwrap(), "two");
        take_away(&own, "below/a");
        take_away(&own, "below");
        assert_eq!(fs::read_dir(own.join("below")).unwrap().count(), 0);
    }
}
