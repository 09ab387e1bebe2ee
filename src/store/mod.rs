//! What was worked out once, kept by content in one SQLite file beside the repository's objects.
//!
//! A cache and nothing else: every value can be worked out again, and whoever asks is ready for there being none.
//! A key is a digest over all that a value follows from, so no value is ever out of date: it is only asked for no
//! longer. The room knows keys and bytes; what they mean is known to whoever puts them here.

mod fault;
mod place;
#[cfg(test)]
mod tests;

pub use fault::Trouble;
pub use place::{file_in, folder_in};

use rusqlite::{Connection, OpenFlags, OptionalExtension, TransactionBehavior, params};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// The number of the form that the file has; it stands in the file's name and in its header.
pub const FORMAT: i32 = 1;
/// The bytes of keys and values that are kept at most: what was not used for the longest time goes first.
pub const LIMIT: u64 = 256 * 1024 * 1024;
/// The largest single value.
pub const LARGEST: usize = 16 * 1024 * 1024;
/// What was not used for so long goes, in seconds: 90 days.
pub const AGE: u64 = 90 * 24 * 3600;
/// Written into the file's header, by which it is known again: `BLST`.
const APPLICATION: i32 = 0x424c_5354;
/// How long somebody else's writing is waited for; an answer that is worked out anew never takes so long to begin.
const PATIENCE: Duration = Duration::from_millis(100);
/// A use is noted again when the last note of it is so many seconds old.
const FRESH: u64 = 3600;

/// A digest over all that a value follows from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key([u8; 32]);

impl Key {
    /// Returns the key of some parts; where one ends and the next begins counts.
    pub fn of(parts: &[&str]) -> Self {
        let mut digest = Sha256::new();
        for part in parts {
            digest.update(u64::try_from(part.len()).unwrap_or(u64::MAX).to_le_bytes());
            digest.update(part.as_bytes());
        }
        Self(digest.finalize().into())
    }

    /// Returns the key as hexadecimal digits.
    pub fn text(&self) -> String {
        self.0.iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

/// One value to be kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// What it is found by.
    pub key: Key,
    /// Its kind, in a word.
    pub what: String,
    /// What it was worked out from, for whoever works it out again.
    pub about: String,
    /// The bytes.
    pub value: Vec<u8>,
}

/// A value that was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The bytes.
    pub value: Vec<u8>,
    /// Whether a use of it was noted so lately that this one need not be.
    pub is_noted: bool,
}

/// What is kept of one kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Share {
    /// The kind.
    pub what: String,
    /// How many values.
    pub count: u64,
    /// Their bytes, with what they are found by.
    pub bytes: u64,
}

/// The opened file.
pub struct Store {
    connection: Connection,
}

impl Store {
    /// Opens the store to read in it; `None` where there is none yet.
    ///
    /// # Errors
    /// [`Trouble`] where it is there and can't be used.
    pub fn to_read(common: &Path) -> Result<Option<Self>, Trouble> {
        let Some(file) = place::present(common)? else { return Ok(None) };
        Self::opened(&file, OpenFlags::SQLITE_OPEN_READ_WRITE).map(Some)
    }

    /// Opens the store to write in it; makes it where there is none, and anew where it is damaged, or was found to
    /// be (`anew`).
    ///
    /// # Errors
    /// [`Trouble`] where it can't be had.
    pub fn to_write(common: &Path, anew: bool) -> Result<Self, Trouble> {
        let file = place::made(common)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
        let usable = || match Self::opened(&file, OpenFlags::SQLITE_OPEN_READ_WRITE) {
            Err(Trouble::Damaged) => None,
            other => Some(other),
        };
        if !anew
            && file.exists()
            && let Some(found) = usable()
        {
            return found;
        }
        // One process makes it; whoever comes at the same time goes without.
        let lock = place::locked(common)?;
        if !anew
            && file.exists()
            && let Some(found) = usable()
        {
            return found;
        }
        place::cleared(&file)?;
        let made = Self::begun(&file, flags);
        drop(lock);
        made
    }

    fn begun(file: &Path, flags: OpenFlags) -> Result<Self, Trouble> {
        let connection = Connection::open_with_flags(file, flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
        connection.busy_timeout(PATIENCE)?;
        // Pages that are free go back to the disk, so that the bound holds for the file too.
        connection.execute_batch(
            "PRAGMA auto_vacuum = FULL; PRAGMA journal_mode = WAL; PRAGMA synchronous = OFF;",
        )?;
        connection.execute_batch(&format!(
            "BEGIN IMMEDIATE;
             CREATE TABLE kept (key BLOB NOT NULL UNIQUE, what TEXT NOT NULL, about TEXT NOT NULL, value BLOB NOT NULL,
                                proof BLOB NOT NULL, used INTEGER NOT NULL) STRICT;
             CREATE INDEX by_use ON kept (used);
             PRAGMA application_id = {APPLICATION};
             PRAGMA user_version = {FORMAT};
             COMMIT;"
        ))?;
        Ok(Self { connection })
    }

    fn opened(file: &Path, flags: OpenFlags) -> Result<Self, Trouble> {
        let connection = Connection::open_with_flags(file, flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
        connection.busy_timeout(PATIENCE)?;
        // What a power cut takes away is worked out again, and what it leaves in pieces is found by its digest.
        connection.pragma_update(None, "synchronous", "OFF")?;
        let number = |name: &str| connection.pragma_query_value(None, name, |row| row.get::<_, i32>(0));
        let (application, version) = (number("application_id")?, number("user_version")?);
        match (application == APPLICATION, version) {
            (true, FORMAT) => Ok(Self { connection }),
            (true, version) if version > FORMAT => Err(Trouble::Newer(version)),
            _ => Err(Trouble::Damaged),
        }
    }

    /// Returns the value of a key; one that is not what was put there counts as damage.
    ///
    /// # Errors
    /// [`Trouble`] where the file can't be read.
    pub fn find(&self, key: &Key) -> Result<Option<Found>, Trouble> {
        let mut ask =
            self.connection.prepare("SELECT what, about, value, proof, used FROM kept WHERE key = ?1")?;
        let row = ask
            .query_row([&key.0[..]], |row| {
                let kept = Kept { key: *key, what: row.get(0)?, about: row.get(1)?, value: row.get(2)? };
                let (proof, used): (Vec<u8>, i64) = (row.get(3)?, row.get(4)?);
                Ok((kept, proof, used))
            })
            .optional()?;
        let Some((kept, proof, used)) = row else { return Ok(None) };
        if kept.proof() != proof {
            return Err(Trouble::Damaged);
        }
        let is_noted = u64::try_from(used).is_ok_and(|used| now().abs_diff(used) < FRESH);
        Ok(Some(Found { value: kept.value, is_noted }))
    }

    /// Keeps values in one piece, notes which were used, and lets go what is too old or too much.
    ///
    /// # Errors
    /// [`Trouble`] where that can't be done; then nothing of it is.
    pub fn keep(&mut self, all: &[Kept], used: &[Key]) -> Result<(), Trouble> {
        self.keep_at(all, used, now(), LIMIT)
    }

    fn keep_at(&mut self, all: &[Kept], used: &[Key], now: u64, limit: u64) -> Result<(), Trouble> {
        let now = i64::try_from(now).unwrap_or(i64::MAX);
        let ago = |seconds: u64| now.saturating_sub(i64::try_from(seconds).unwrap_or(i64::MAX));
        let write = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        for key in used {
            write.execute(
                "UPDATE kept SET used = ?1 WHERE key = ?2 AND used NOT BETWEEN ?3 AND ?1",
                params![now, &key.0[..], ago(FRESH)],
            )?;
        }
        for one in all.iter().filter(|one| one.value.len() <= LARGEST) {
            write.execute(
                "INSERT OR REPLACE INTO kept (key, what, about, value, proof, used) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![&one.key.0[..], one.what, one.about, one.value, one.proof(), now],
            )?;
        }
        // A day that is yet to come was noted by a clock that went wrong.
        write.execute("UPDATE kept SET used = ?1 WHERE used > ?1", [now])?;
        write.execute("DELETE FROM kept WHERE used < ?1", [ago(AGE)])?;
        write.execute(
            "DELETE FROM kept WHERE rowid IN (
                 SELECT rowid FROM (
                     SELECT rowid, sum(length(about) + length(value) + 128) OVER (ORDER BY used DESC, rowid DESC) AS so_far
                     FROM kept)
                 WHERE so_far > ?1)",
            [i64::try_from(limit).unwrap_or(i64::MAX)],
        )?;
        write.commit()?;
        Ok(())
    }

    /// Returns what is kept, by kind.
    ///
    /// # Errors
    /// [`Trouble`] where the file can't be read.
    pub fn shares(&self) -> Result<Vec<Share>, Trouble> {
        let mut ask = self.connection.prepare(
            "SELECT what, count(*), sum(length(about) + length(value) + 128) FROM kept GROUP BY what ORDER BY what",
        )?;
        let number = |value: i64| u64::try_from(value).unwrap_or_default();
        let rows = ask.query_map([], |row| {
            Ok(Share { what: row.get(0)?, count: number(row.get(1)?), bytes: number(row.get(2)?) })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Returns every value, sorted by key, with whether it is still what was put there.
    ///
    /// # Errors
    /// [`Trouble`] where the file can't be read.
    pub fn all(&self) -> Result<Vec<(Kept, bool)>, Trouble> {
        let mut ask =
            self.connection.prepare("SELECT key, what, about, value, proof FROM kept ORDER BY key")?;
        let rows = ask.query_map([], |row| {
            let key: Vec<u8> = row.get(0)?;
            let kept = Kept {
                key: Key(key.try_into().unwrap_or_default()),
                what: row.get(1)?,
                about: row.get(2)?,
                value: row.get(3)?,
            };
            let proof: Vec<u8> = row.get(4)?;
            let holds = kept.proof() == proof;
            Ok((kept, holds))
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Checks the file as SQLite does.
    ///
    /// # Errors
    /// [`Trouble::Damaged`] where it is not sound.
    pub fn is_sound(&self) -> Result<(), Trouble> {
        let said: String = self.connection.pragma_query_value(None, "integrity_check", |row| row.get(0))?;
        if said == "ok" { Ok(()) } else { Err(Trouble::Damaged) }
    }

    /// Takes the store away; returns whether there was one.
    ///
    /// # Errors
    /// [`Trouble`] where it can't be taken away.
    pub fn clear(common: &Path) -> Result<bool, Trouble> {
        let file = file_in(common);
        place::folder(common)?;
        if std::fs::symlink_metadata(&file).is_err() {
            return Ok(false);
        }
        let _lock = place::locked(common)?;
        place::cleared(&file)?;
        Ok(true)
    }

    /// Returns the bytes that the store takes on disk.
    pub fn size(common: &Path) -> u64 {
        let file = file_in(common);
        let sizes =
            place::all_files(&file).into_iter().filter_map(|file: PathBuf| std::fs::metadata(file).ok());
        sizes.map(|metadata| metadata.len()).sum()
    }
}

impl Kept {
    /// A digest by which a value is known to be the one that was put there.
    fn proof(&self) -> Vec<u8> {
        let mut digest = Sha256::new();
        digest.update(self.key.0);
        for part in [self.what.as_bytes(), self.about.as_bytes(), &self.value] {
            digest.update(u64::try_from(part.len()).unwrap_or(u64::MAX).to_le_bytes());
            digest.update(part);
        }
        digest.finalize().to_vec()
    }
}

fn now() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs())
}
