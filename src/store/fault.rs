//! Why a store can't be used.

use rusqlite::ErrorCode;
use thiserror::Error;

/// Why a store can't be used; the answer is then worked out as if there were none.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Trouble {
    /// Somebody else is writing in it.
    #[error("another process is writing in it")]
    Locked,
    /// It is no store, or no longer a whole one.
    #[error("it is damaged")]
    Damaged,
    /// A later version made it.
    #[error("it has format {0}, of a later version")]
    Newer(i32),
    /// Something that is no store stands in the place of its folder or of one of its files.
    #[error("`{0}` stands in its way: it is a link, or not what has to be there")]
    Obstructed(String),
    /// It belongs to somebody else, whose word is not taken.
    #[error("it, or the repository, belongs to another user")]
    Foreign,
    /// It may not be written, or is out of reach.
    #[error("it can't be opened or written: {0}")]
    Barred(String),
}

impl Trouble {
    /// Returns whether it is worth a word beside an answer: it will not pass by itself.
    pub fn matters(&self) -> bool {
        matches!(self, Trouble::Damaged | Trouble::Newer(_) | Trouble::Obstructed(_))
    }

    /// Returns the word that programs read.
    pub fn word(&self) -> &'static str {
        match self {
            Trouble::Locked => "locked",
            Trouble::Damaged => "damaged",
            Trouble::Newer(_) => "newer",
            Trouble::Obstructed(_) => "obstructed",
            Trouble::Foreign => "foreign",
            Trouble::Barred(_) => "barred",
        }
    }
}

impl From<rusqlite::Error> for Trouble {
    fn from(error: rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Trouble::Locked,
            Some(
                ErrorCode::ReadOnly
                | ErrorCode::CannotOpen
                | ErrorCode::PermissionDenied
                | ErrorCode::DiskFull
                | ErrorCode::SystemIoFailure
                | ErrorCode::OutOfMemory
                | ErrorCode::OperationInterrupted,
            ) => Trouble::Barred(error.to_string()),
            // Not a database, malformed, a table that is not there, a value of another type.
            _ => Trouble::Damaged,
        }
    }
}

impl From<std::io::Error> for Trouble {
    fn from(error: std::io::Error) -> Self {
        Trouble::Barred(error.to_string())
    }
}
