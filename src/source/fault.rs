//! What can go wrong between the ledger's place and a file's bytes, in words, each with its mend.

use std::path::PathBuf;

use thiserror::Error;

/// Why a file of a snapshot cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ReadFault {
    /// There is no such file.
    #[error("there is no such file")]
    Missing,
    /// The file is ignored by git and tracked by no one, so no commit will hold it.
    #[error(
        "git ignores this file, so no commit would hold it; add it with `git add -f` or take it out of .gitignore"
    )]
    Ignored,
    /// The file is larger than what is read. Nothing of it was read.
    #[error("it is {size} bytes long; at most {limit} are read")]
    TooLarge {
        /// Its size in bytes.
        size: u64,
        /// The most that is read, in bytes.
        limit: u64,
    },
    /// The file, or a folder on the way to it, is a symbolic link.
    #[error("it is, or lies behind, a symbolic link, and links are not followed; put the file itself there")]
    Link,
    /// The path leaves the ledger.
    #[error("its path leads out of the ledger; only files inside are read")]
    Outside,
    /// It is neither a file nor a link.
    #[error("it is no plain file but {what}")]
    NotRegular {
        /// What it is, in words.
        what: String,
    },
    /// It was changed between being listed and being read.
    #[error("it was changed while it was being read; run the command again")]
    Changed,
    /// The repository lacks the object, as shallow and partial clones do, or it is damaged.
    #[error("git's object {id} cannot be read: {why}")]
    Object {
        /// The object's id.
        id: String,
        /// Why, with the way on.
        why: String,
    },
    /// The system refused.
    #[error("the system refuses it: {0}")]
    Io(String),
}

/// Why there is no snapshot, or no place to take one of.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SourceError {
    /// The starting folder cannot be looked at.
    #[error("{} cannot be opened: {why}", path.display())]
    Start {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
    /// No folder on the way up holds a ledger.
    #[error("there is no ledger.yaml in {} or any folder above it, up to {}", start.display(), top.display())]
    NoLedger {
        /// Where the search began.
        start: PathBuf,
        /// The last folder looked into: the top of the repository, or the root.
        top: PathBuf,
    },
    /// The ledger's own file is a symbolic link or no file.
    #[error("{} is {what}, not a plain file", path.display())]
    LedgerFile {
        /// The file.
        path: PathBuf,
        /// What it is.
        what: String,
    },
    /// A name that has to be text is not UTF-8.
    #[error("the path {} is not UTF-8", path.display())]
    NotUtf8 {
        /// The path, shown with what could be read of it.
        path: PathBuf,
    },
    /// The ledger is in no repository.
    #[error("the ledger at {} is in no git repository{}", root.display(), if *ignored { " that keeps it: the one around it ignores it" } else { "" })]
    NoRepository {
        /// The ledger's root.
        root: PathBuf,
        /// A repository lies around it, but ignores it.
        ignored: bool,
    },
    /// The repository belongs to another user, so git will not trust its configuration.
    #[error("the git repository at {} belongs to another user", path.display())]
    Owner {
        /// Where it is.
        path: PathBuf,
    },
    /// The repository is in a form that is not read here.
    #[error("the git repository at {} cannot be opened: {why}", path.display())]
    Unsupported {
        /// Where it is.
        path: PathBuf,
        /// What git's library said.
        why: String,
    },
    /// A bare repository has neither work tree nor index.
    #[error("the git repository at {} is bare: it has no work tree and no index", path.display())]
    Bare {
        /// Where it is.
        path: PathBuf,
    },
    /// HEAD names a branch that has no commit.
    #[error("the repository has no commit yet")]
    NoCommit,
    /// A revision names nothing.
    #[error("there is no revision `{asked}`{}", if *shallow { " in this shallow clone" } else { "" })]
    UnknownRevision {
        /// What was asked for.
        asked: String,
        /// Branches and tags spelt nearly so.
        near: Vec<String>,
        /// History was cut off, so it may exist elsewhere.
        shallow: bool,
    },
    /// A revision names several things.
    #[error("`{asked}` {}", could_be(candidates))]
    AmbiguousRevision {
        /// What was asked for.
        asked: String,
        /// What it could mean.
        candidates: Vec<String>,
    },
    /// The text is no revision.
    #[error("`{asked}` is {what}, not one revision")]
    NotARevision {
        /// What was asked for.
        asked: String,
        /// What it is.
        what: String,
    },
    /// The revision exists, but holds no ledger at this place.
    #[error("{asked} ({short}) holds no {}", if folder.is_empty() { "ledger.yaml".to_owned() } else { format!("{folder}/ledger.yaml") })]
    NoLedgerThere {
        /// What was asked for.
        asked: String,
        /// The short id of what it means.
        short: String,
        /// The ledger's folder in the repository.
        folder: String,
    },
    /// An object is not in the repository.
    #[error("git's object {id} for {of} cannot be read: {why}")]
    Object {
        /// The object's id.
        id: String,
        /// What it belongs to.
        of: String,
        /// Why, with the way on.
        why: String,
    },
    /// Two revisions have no ancestor in common.
    #[error("{one} and {two} have no commit in common{}", if *shallow { " in this shallow clone" } else { "" })]
    NoMergeBase {
        /// One revision.
        one: String,
        /// The other.
        two: String,
        /// History was cut off.
        shallow: bool,
    },
    /// The index cannot be read.
    #[error("git's index {} cannot be read: {why}", path.display())]
    Index {
        /// The index file.
        path: PathBuf,
        /// What git's library said.
        why: String,
    },
    /// What git's library would read is no plain file, or too long: it would be waited for, or read, without end.
    #[error("{} is {what}", path.display())]
    NotPlain {
        /// The file.
        path: PathBuf,
        /// What it is, in words.
        what: String,
    },
    /// There are more files than are listed.
    #[error("the ledger holds more than {limit} files")]
    TooManyFiles {
        /// How many are listed at most.
        limit: usize,
    },
    /// The git directory, with what it borrows from, has more files than are looked over.
    #[error("{} holds more than {limit} files", path.display())]
    TooManyObjects {
        /// The folder in which counting ended.
        path: PathBuf,
        /// How many are looked over at most.
        limit: usize,
    },
    /// The system refused.
    #[error("{} cannot be read: {why}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
    /// git's library refused.
    #[error("{doing} failed: {why}")]
    Git {
        /// What was being done.
        doing: String,
        /// What git's library said.
        why: String,
    },
}

/// One candidate is left where an id is too short for git to look it up at all.
fn could_be(candidates: &[String]) -> String {
    match candidates {
        [only] => format!("is too short an id; it could be {only}"),
        several => format!("could be any of {}", several.join(", ")),
    }
}

impl SourceError {
    /// Says what to do about it, in one sentence.
    pub fn mend(&self) -> String {
        match self {
            SourceError::Start { .. } => "name a folder that exists with `-C DIR`".to_owned(),
            SourceError::NoLedger { .. } => {
                "go to a ledger, name its folder with `-C DIR`, or start one with `bondline new`".to_owned()
            }
            SourceError::LedgerFile { .. } => "put the file itself there: nothing else is read".to_owned(),
            SourceError::NotUtf8 { .. } => "rename it".to_owned(),
            SourceError::NoRepository { ignored: false, .. } => {
                "start one with `git init` there and commit the ledger".to_owned()
            }
            SourceError::NoRepository { ignored: true, .. } => {
                "take the ledger out of .gitignore, or start a repository in it with `git init`".to_owned()
            }
            SourceError::Owner { path } => format!(
                "if you trust it, run `git config --global --add safe.directory {}`",
                shell_word(&path.to_string_lossy())
            ),
            SourceError::Unsupported { why, .. } => unsupported_mend(why).to_owned(),
            SourceError::Bare { .. } => {
                "name a revision with `--at REV`, or go to a clone with a work tree".to_owned()
            }
            SourceError::NoCommit => "commit the ledger first".to_owned(),
            SourceError::UnknownRevision { shallow: true, .. } => {
                "fetch the whole history with `git fetch --unshallow`".to_owned()
            }
            SourceError::UnknownRevision { near, .. } if !near.is_empty() => {
                format!(
                    "did you mean {}?",
                    near.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(" or ")
                )
            }
            SourceError::UnknownRevision { .. } => {
                "name a branch, a tag, a commit's id, or one relative to them such as `HEAD~1`".to_owned()
            }
            SourceError::AmbiguousRevision { .. } => "write one of them in full".to_owned(),
            SourceError::NotARevision { .. } => "name a branch, a tag or a commit".to_owned(),
            SourceError::NoLedgerThere { .. } => {
                "name a revision that holds the ledger in this folder; `git log -- ledger.yaml` lists them"
                    .to_owned()
            }
            SourceError::Object { .. } => {
                "fetch the whole history, or run `git fsck` to see what is damaged".to_owned()
            }
            SourceError::NoMergeBase { shallow: true, .. } => {
                "fetch the whole history with `git fetch --unshallow`".to_owned()
            }
            SourceError::NoMergeBase { .. } => "name two revisions of one history".to_owned(),
            SourceError::Index { why, .. } => index_mend(why).to_owned(),
            SourceError::NotPlain { .. } => {
                "take it away; git makes no such thing, so ask whoever sent the repository what it is for"
                    .to_owned()
            }
            SourceError::TooManyFiles { .. } => {
                "keep data that no record names outside the kind folders".to_owned()
            }
            SourceError::TooManyObjects { .. } => "pack its objects with `git gc`".to_owned(),
            SourceError::Io { .. } => "see that the file exists and that you may read it".to_owned(),
            SourceError::Git { .. } => "run `git fsck` to see whether the repository is sound".to_owned(),
        }
    }
}

fn unsupported_mend(why: &str) -> &'static str {
    if why.contains("partialclone") {
        "make a clone without `--filter`: partial clones cannot be read"
    } else if why.contains("sha256") || why.contains("objectformat") || why.contains("object format") {
        "use a repository with SHA-1 object ids: others cannot be read"
    } else if why.contains("refstorage") || why.contains("reftable") {
        "go back to plain references with `git refs migrate --ref-format=files`"
    } else {
        "see that it is whole and that you may read it"
    }
}

fn index_mend(why: &str) -> &'static str {
    if why.contains("link") {
        "write it in one piece with `git update-index --no-split-index`"
    } else if why.contains("sdir") {
        "write it in full with `git sparse-checkout reapply --no-sparse-index`"
    } else {
        "if GIT_INDEX_FILE is set, see that it names git's index; else make it anew with `git reset`"
    }
}

/// Why an object is not to be had, in words.
pub(super) fn object_words(error: &git2::Error, shallow: bool) -> String {
    match error.code() {
        git2::ErrorCode::NotFound if shallow => {
            "it is not in this shallow clone; `git fetch --unshallow` brings it".to_owned()
        }
        git2::ErrorCode::NotFound => "it is missing from the repository; `git fsck` tells more".to_owned(),
        git2::ErrorCode::HashsumMismatch => "its bytes do not match its id, so it is damaged".to_owned(),
        _ => error.message().to_owned(),
    }
}

/// Quotes a text so that a POSIX shell reads it as one word.
pub(super) fn shell_word(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+:@".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text.to_owned()
    } else {
        format!("'{}'", text.replace('\'', r"'\''"))
    }
}

pub(super) fn git_error(doing: &str, error: &git2::Error) -> SourceError {
    SourceError::Git { doing: doing.to_owned(), why: error.message().to_owned() }
}
