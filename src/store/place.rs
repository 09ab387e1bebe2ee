//! Where a store is: its folder, its file, and whose they are.

use super::{FORMAT, Trouble};
use std::fs::{self, File, Metadata, TryLockError};
use std::io::ErrorKind;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// Returns the folder of stores in a repository's common git directory.
pub fn folder_in(common: &Path) -> PathBuf {
    common.join("bondline")
}

/// Returns the file of the store of this format.
pub fn file_in(common: &Path) -> PathBuf {
    folder_in(common).join(format!("store-{FORMAT}.sqlite"))
}

/// The file, and what SQLite lays beside it.
pub(super) fn all_files(file: &Path) -> Vec<PathBuf> {
    let beside = |end: &str| {
        let mut name = file.as_os_str().to_owned();
        name.push(end);
        PathBuf::from(name)
    };
    // The log first: alone it means nothing, beside another file it would be laid over that.
    vec![beside("-wal"), beside("-shm"), beside("-journal"), file.to_path_buf()]
}

/// The user that this process acts as; where the system does not say, the one whose the git directory is.
fn user(common: &Path) -> Result<u32, Trouble> {
    let of = |path: &Path| fs::metadata(path).map(|metadata| metadata.uid());
    Ok(of(Path::new("/proc/self")).or_else(|_| of(common))?)
}

/// What is at a place, where it is what has to be there; no link is followed.
fn looked(path: &Path, fits: impl Fn(&Metadata) -> bool) -> Result<Option<Metadata>, Trouble> {
    match fs::symlink_metadata(path) {
        Ok(metadata) if fits(&metadata) => Ok(Some(metadata)),
        Ok(_) => Err(Trouble::Obstructed(path.display().to_string())),
        Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// The folder, where it is there and one itself: by a link in its place another's store would be taken.
pub(super) fn folder(common: &Path) -> Result<Option<Metadata>, Trouble> {
    looked(&folder_in(common), Metadata::is_dir)
}

/// The store's file, where it is there and this user's own.
pub(super) fn present(common: &Path) -> Result<Option<PathBuf>, Trouble> {
    let file = file_in(common);
    let Some(folder) = folder(common)? else { return Ok(None) };
    // A pipe that stands where SQLite lays a file of its own would be waited for.
    for one in all_files(&file) {
        looked(&one, Metadata::is_file)?;
    }
    let (own, user) = (looked(&file, Metadata::is_file)?, user(common)?);
    // Whoever can write in it could make any answer of it.
    if [Some(&folder), own.as_ref()].into_iter().flatten().any(|metadata| metadata.uid() != user) {
        return Err(Trouble::Foreign);
    }
    Ok(own.map(|_| file))
}

/// The store's file in a folder that is there now. Nothing is made in somebody else's repository: it would lie
/// there as a file that its owner can't write.
pub(super) fn made(common: &Path) -> Result<PathBuf, Trouble> {
    let (folder, user) = (folder_in(common), user(common)?);
    if fs::metadata(common)?.uid() != user {
        return Err(Trouble::Foreign);
    }
    match fs::create_dir(&folder) {
        Ok(()) => {}
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
        Err(error) => return Err(error.into()),
    }
    present(common).map(|found| found.unwrap_or_else(|| file_in(common)))
}

/// The right to make or to take away a store, until it is dropped.
pub(super) fn locked(common: &Path) -> Result<File, Trouble> {
    let place = folder_in(common).join("lock");
    looked(&place, Metadata::is_file)?;
    let file = File::options().create(true).truncate(false).write(true).open(place)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(Trouble::Locked),
        Err(TryLockError::Error(error)) => Err(error.into()),
    }
}

/// Takes the file away with all that lies beside it.
pub(super) fn cleared(file: &Path) -> Result<(), Trouble> {
    for one in all_files(file) {
        match fs::remove_file(&one) {
            Ok(()) => {}
            Err(error) if error.kind() == ErrorKind::NotFound => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(())
}
