//! The repository around a ledger: opened once per thread that needs it, asked for revisions and objects.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use sha2::{Digest, Sha256};

use git2::{ErrorCode, ObjectType, Oid};

use super::fault::{git_error, object_words};
use super::glance::usual_rules;
use super::{ReadFault, SourceError, guard, hex};

/// How many candidates an error lists.
const CANDIDATES: usize = 5;

/// The git repository a ledger lies in.
///
/// git's library lets one handle serve one thread at a time, so idle handles are kept and handed
/// out: at most as many are opened as threads read at once.
pub struct Repository {
    git_dir: PathBuf,
    common_dir: PathBuf,
    top: Option<PathBuf>,
    shallow: bool,
    open_at: PathBuf,
    idle: Mutex<Vec<git2::Repository>>,
    /// Whether names and objects say all of the history, once somebody asked.
    whole: OnceLock<bool>,
    /// Whether anything followed from more than files, names and the ids below.
    more: AtomicBool,
    /// The first object that was looked for and can't be read.
    lacked: Mutex<Option<String>>,
    /// Commits that were asked for by their ids, and are here.
    asked: Mutex<BTreeSet<String>>,
}

/// One commit of a ledger's history.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Commit {
    /// The full id.
    pub id: String,
    /// The full ids of its parents, the first parent first.
    pub parents: Vec<String>,
    /// When it was committed, in seconds since 1970-01-01T00:00:00Z.
    pub time: i64,
    /// The first line of its message.
    pub summary: String,
    /// The decisions that its message names in lines `Decision: ...` at its end.
    pub decisions: Vec<String>,
}

/// What a revision means.
pub(super) struct Revision {
    pub(super) commit: Option<Oid>,
    /// The tree of the repository's top, or the tree that was named.
    pub(super) tree: Oid,
}

impl std::fmt::Debug for Repository {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Repository")
            .field("git_dir", &self.git_dir)
            .field("top", &self.top)
            .finish_non_exhaustive()
    }
}

impl Repository {
    /// Finds the repository that a folder lies in.
    pub(super) fn around(folder: &Path) -> Result<Option<Repository>, SourceError> {
        let real = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
        let no_ceiling: [&Path; 0] = [];
        let found = match git2::Repository::discover_path(folder, no_ceiling) {
            Ok(found) => Some(found),
            Err(error) if error.code() == ErrorCode::NotFound => None,
            Err(error) => return Err(open_error(folder, &error)),
        };
        if let Some(broken) = passed_over(folder, found.as_deref().map(real).as_deref()) {
            return Err(broken);
        }
        found.map(|found| Self::opened(&found)).transpose()
    }

    /// Opens the repository whose top, or bare git directory, a folder is, and no other.
    ///
    /// # Errors
    /// Why there is none, in words.
    pub(super) fn at(folder: &Path) -> Result<Repository, String> {
        // Looked for no higher up.
        let found = match git2::Repository::discover_path(folder, folder.parent()) {
            Ok(found) => found,
            Err(error) if error.code() == ErrorCode::NotFound => {
                return Err("the folder is not the top of one".to_owned());
            }
            Err(error) => return Err(open_error(folder, &error).to_string()),
        };
        Self::opened(&found).map_err(|error| error.to_string())
    }

    /// Opens the repository of a git directory, where nothing in it makes git's library wait or go elsewhere.
    fn opened(found: &Path) -> Result<Repository, SourceError> {
        guard::git_folder(found)?;
        let repository = git2::Repository::open(found).map_err(|error| open_error(found, &error))?;
        guard::settings(&repository)?;
        let real = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
        let git_dir = real(repository.path());
        let top = repository.workdir().map(real);
        // By its work tree where that has a `.git`, so that a linked work tree stays itself.
        let open_at = top.clone().filter(|top| top.join(".git").exists()).unwrap_or_else(|| git_dir.clone());
        Ok(Repository {
            common_dir: real(repository.commondir()),
            shallow: repository.is_shallow(),
            git_dir,
            top,
            open_at,
            idle: Mutex::new(vec![repository]),
            whole: OnceLock::new(),
            more: AtomicBool::new(false),
            lacked: Mutex::default(),
            asked: Mutex::default(),
        })
    }

    /// The git directory: a linked work tree has its own.
    pub fn git_dir(&self) -> &Path {
        &self.git_dir
    }

    /// The git directory that all work trees of the repository share.
    pub fn common_dir(&self) -> &Path {
        &self.common_dir
    }

    /// The top of the work tree; none in a bare repository.
    pub fn top(&self) -> Option<&Path> {
        self.top.as_deref()
    }

    /// Whether the history was cut off when it was cloned.
    pub fn is_shallow(&self) -> bool {
        self.shallow
    }

    /// Lends a handle for as long as `work` runs.
    pub(super) fn with<T>(&self, work: impl FnOnce(&git2::Repository) -> T) -> Result<T, SourceError> {
        let idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let repository = match idle {
            Some(repository) => repository,
            None => {
                git2::Repository::open(&self.open_at).map_err(|error| open_error(&self.open_at, &error))?
            }
        };
        let answer = work(&repository);
        self.idle.lock().unwrap_or_else(PoisonError::into_inner).push(repository);
        Ok(answer)
    }

    /// Opens a handle of its own, for work that others must not see.
    pub(super) fn another(&self) -> Result<git2::Repository, SourceError> {
        git2::Repository::open(&self.open_at).map_err(|error| open_error(&self.open_at, &error))
    }

    /// The full id of HEAD's commit; none before the first.
    pub(super) fn head(&self) -> Result<Option<Oid>, SourceError> {
        self.with(|repository| match repository.head() {
            Ok(head) => {
                let light = head.target().map_or(Ok(()), |id| guard::light_named(repository, id).map(drop));
                match light.and_then(|()| head.peel_to_commit()) {
                    Ok(commit) => Ok(Some(commit.id())),
                    Err(error) => Err(git_error("reading HEAD", &error)),
                }
            }
            Err(error) if error.code() == ErrorCode::UnbornBranch => Ok(None),
            Err(error) => Err(git_error("reading HEAD", &error)),
        })?
    }

    /// Finds what a revision means: a branch, tag, id, or anything else of git's notation for one.
    pub(super) fn find(&self, asked: &str) -> Result<Revision, SourceError> {
        let found = self.looked_up(asked);
        if found.is_err() || !self.is_by_name(asked) {
            self.note_more();
        }
        found
    }

    /// Whether a revision begins with what [`Repository::names`] knows, or with a full id.
    fn is_by_name(&self, asked: &str) -> bool {
        // Where names led to before stands in a log.
        if asked.contains("@{") {
            return false;
        }
        let name = start(asked);
        if matches!(name, "HEAD" | "@") || asked.starts_with(":/") || is_full_id(name) {
            return true;
        }
        let known = |repository: &git2::Repository| {
            let found = repository.resolve_reference_from_short_name(name).ok();
            // A link leads to where the reference behind it does, which is a name too.
            found.is_some_and(|found| found.name().is_ok_and(|name| name.starts_with("refs/")))
        };
        self.with(known).unwrap_or(false)
    }

    pub(super) fn note_more(&self) {
        self.more.store(true, Ordering::Relaxed);
    }

    pub(super) fn has_more(&self) -> bool {
        self.more.load(Ordering::Relaxed)
    }

    /// Notes an object that can't be read.
    pub(super) fn note_lack(&self, id: Oid) {
        self.note_more();
        let mut lacked = self.lacked.lock().unwrap_or_else(PoisonError::into_inner);
        lacked.get_or_insert_with(|| id.to_string());
    }

    pub(super) fn lacked(&self) -> Option<String> {
        self.lacked.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub(super) fn note_id(&self, id: &str) {
        self.asked.lock().unwrap_or_else(PoisonError::into_inner).insert(id.to_owned());
    }

    pub(super) fn asked_by_id(&self) -> Vec<String> {
        self.asked.lock().unwrap_or_else(PoisonError::into_inner).iter().cloned().collect()
    }

    /// Whether names and objects say all of the history: nothing was cut off or left out when it was cloned, and nothing
    /// is said to have other parents than it says.
    pub(super) fn is_whole(&self) -> bool {
        let is_partial = |repository: &git2::Repository| -> Result<bool, git2::Error> {
            let settings = repository.config()?.snapshot()?;
            if settings.get_string("extensions.partialclone").is_ok() {
                return Ok(true);
            }
            let mut all = settings.entries(Some("remote\\..*\\.promisor"))?;
            Ok(all.next().is_some())
        };
        *self.whole.get_or_init(|| {
            let is_partial = self.with(is_partial).is_ok_and(|found| found.unwrap_or(true));
            !self.shallow && !is_partial && !self.common_dir.join("info/grafts").exists()
        })
    }

    /// Where HEAD and every reference lead; `None` where that can't be told, or is not all.
    pub(super) fn names(&self) -> Option<String> {
        if !self.is_whole() {
            return None;
        }
        self.with(|repository| {
            let target = |reference: &git2::Reference<'_>| {
                let to = reference.symbolic_target().ok().flatten().map(str::to_owned);
                to.or_else(|| reference.target().map(|id| id.to_string()))
            };
            let mut all = Sha256::new();
            let head = repository.find_reference("HEAD").ok()?;
            all.update(target(&head)?);
            // Before the first commit its branch is not there.
            all.update(repository.refname_to_id("HEAD").map(|id| id.to_string()).unwrap_or_default());
            for reference in repository.references().ok()? {
                let reference = reference.ok()?;
                all.update(b"\n");
                all.update(reference.name().ok()?);
                all.update(b" ");
                all.update(target(&reference)?);
            }
            Some(hex(&all.finalize()))
        })
        .ok()
        .flatten()
    }

    /// The files whose rules say what git ignores, beside those of the work tree, and the settings that name them.
    pub(super) fn ignore_rules(&self) -> Option<(String, Vec<PathBuf>)> {
        let mut files = vec![self.git_dir.join("info/exclude"), self.common_dir.join("info/exclude")];
        files.dedup();
        let settings = self.with(|repository| {
            let settings = repository.config().and_then(|mut all| all.snapshot()).ok()?;
            let of_all = guard::rules_of_all(&settings, "core.excludesFile");
            Some((of_all, settings.get_string("core.ignoreCase").ok()))
        });
        let (of_all, case) = settings.ok()??;
        // Looked for from wherever the program runs.
        if of_all.as_ref().is_some_and(|file| !file.is_absolute()) {
            return None;
        }
        let words = format!("{of_all:?} {case:?}");
        match of_all {
            Some(file) => files.push(file),
            None => files.extend(usual_rules()),
        }
        Some((words, files))
    }

    fn looked_up(&self, asked: &str) -> Result<Revision, SourceError> {
        let not_one =
            |what: &str| SourceError::NotARevision { asked: asked.to_owned(), what: what.to_owned() };
        if asked.trim().is_empty() {
            return Err(not_one("empty"));
        }
        if asked.contains('\0') {
            return Err(not_one("no name"));
        }
        // `..` cannot stand in a reference's name, but may in a path or a message behind a colon.
        if asked.split(':').next().unwrap_or_default().contains("..") {
            return Err(not_one("a range"));
        }
        self.with(|repository| {
            self.names_two(repository, asked)?;
            light_start(repository, asked)
                .map_err(|error| git_error(&format!("looking for `{asked}`"), &error))?;
            let object = repository
                .revparse_single(asked)
                .map_err(|error| self.not_found(repository, asked, &error))?;
            let missing = |error: git2::Error| SourceError::Object {
                id: object.id().to_string(),
                of: format!("`{asked}`"),
                why: object_words(&error, self.shallow),
            };
            match object.peel_to_commit() {
                Ok(commit) => Ok(Revision { commit: Some(commit.id()), tree: commit.tree_id() }),
                Err(error) if error.code() == ErrorCode::NotFound => Err(missing(error)),
                Err(_) => match object.peel_to_tree() {
                    Ok(tree) => Ok(Revision { commit: None, tree: tree.id() }),
                    Err(error) if error.code() == ErrorCode::NotFound => Err(missing(error)),
                    Err(_) => Err(not_one(match object.kind() {
                        Some(ObjectType::Blob) => "a file",
                        Some(ObjectType::Tag) => "a tag on a file",
                        _ => "an object without files",
                    })),
                },
            }
        })?
    }

    /// git takes the tag when a tag and a branch share a name, with a warning that is easily missed;
    /// two different commits under one name are refused here.
    fn names_two(&self, repository: &git2::Repository, asked: &str) -> Result<(), SourceError> {
        let target = |name: String| {
            let reference = repository.find_reference(&name).ok()?;
            guard::light_named(repository, reference.target()?).ok()?;
            let found = reference.peel(ObjectType::Any).ok()?.id();
            Some((name, found))
        };
        let name = asked.split(['~', '^', '@', ':']).next().unwrap_or_default();
        if name.is_empty() {
            return Ok(());
        }
        let tag = target(format!("refs/tags/{name}"));
        let branch = target(format!("refs/heads/{name}"));
        match (tag, branch) {
            (Some((tag, one)), Some((branch, other))) if one != other => {
                Err(SourceError::AmbiguousRevision { asked: asked.to_owned(), candidates: vec![branch, tag] })
            }
            _ => Ok(()),
        }
    }

    fn not_found(&self, repository: &git2::Repository, asked: &str, error: &git2::Error) -> SourceError {
        if self.is_unborn(repository) && (asked == "@" || asked.starts_with("HEAD")) {
            return SourceError::NoCommit;
        }
        match error.code() {
            ErrorCode::Ambiguous => {
                let candidates =
                    commits_by_prefix(repository, asked.split(['~', '^', ':']).next().unwrap_or_default());
                if candidates.is_empty() {
                    self.unknown(repository, asked)
                } else {
                    SourceError::AmbiguousRevision { asked: asked.to_owned(), candidates }
                }
            }
            ErrorCode::NotFound | ErrorCode::InvalidSpec | ErrorCode::Peel => {
                self.gone(repository, asked).unwrap_or_else(|| self.unknown(repository, asked))
            }
            _ => {
                SourceError::Git { doing: format!("looking for `{asked}`"), why: error.message().to_owned() }
            }
        }
    }

    /// The fault of a name that leads to an object which is not here, or can't be read.
    fn gone(&self, repository: &git2::Repository, asked: &str) -> Option<SourceError> {
        let name = start(asked);
        let name = if matches!(name, "" | "@") { "HEAD" } else { name };
        let reference = repository.resolve_reference_from_short_name(name).ok()?;
        let id = reference.resolve().ok()?.target()?;
        let error = repository.find_object(id, None).err()?;
        self.note_lack(id);
        let why = object_words(&error, self.shallow);
        Some(SourceError::Object { id: id.to_string(), of: format!("`{name}`"), why })
    }

    fn is_unborn(&self, repository: &git2::Repository) -> bool {
        matches!(repository.head(), Err(error) if error.code() == ErrorCode::UnbornBranch)
    }

    fn unknown(&self, repository: &git2::Repository, asked: &str) -> SourceError {
        let mut near: Vec<(usize, String)> = Vec::new();
        if let Ok(references) = repository.references() {
            for name in references.flatten().filter_map(|it| it.shorthand().map(str::to_owned).ok()) {
                let distance = crate::quantity::apart(&name, asked);
                if distance <= 2.min(asked.len() / 3) {
                    near.push((distance, name));
                }
            }
        }
        near.sort();
        near.dedup();
        SourceError::UnknownRevision {
            asked: asked.to_owned(),
            near: near.into_iter().map(|(_, name)| name).take(CANDIDATES).collect(),
            shallow: self.shallow,
        }
    }

    /// The full id of the best commit that both revisions descend from.
    pub(super) fn merge_base(&self, one: &str, two: &str) -> Result<String, SourceError> {
        let commit = |asked: &str| {
            self.find(asked)?.commit.ok_or_else(|| SourceError::NotARevision {
                asked: asked.to_owned(),
                what: "a tree, which has no history".to_owned(),
            })
        };
        let (first, second) = (commit(one)?, commit(two)?);
        let light = |repository: &git2::Repository| {
            guard::light_history(repository, first)?;
            guard::light_history(repository, second)
        };
        self.with(|repository| match light(repository).and_then(|()| repository.merge_base(first, second)) {
            Ok(base) => Ok(base.to_string()),
            Err(error) if error.code() == ErrorCode::NotFound => Err(SourceError::NoMergeBase {
                one: one.to_owned(),
                two: two.to_owned(),
                shallow: self.shallow,
            }),
            Err(error) => Err(git_error("looking for the common commit", &error)),
        })?
    }

    /// The commits behind `asked`, newest first, in which the folder differs from what it was in the
    /// first parent.
    pub(super) fn history(
        &self,
        asked: &str,
        paths: &[String],
        first_parents: bool,
    ) -> Result<Vec<Commit>, SourceError> {
        let Some(tip) = self.find(asked)?.commit else {
            return Err(SourceError::NotARevision {
                asked: asked.to_owned(),
                what: "a tree, which has no history".to_owned(),
            });
        };
        self.with(|repository| {
            let failed = |error: git2::Error| git_error("reading the history", &error);
            guard::light_history(repository, tip).map_err(failed)?;
            let mut walk = repository.revwalk().map_err(failed)?;
            walk.set_sorting(git2::Sort::TOPOLOGICAL | git2::Sort::TIME).map_err(failed)?;
            walk.push(tip).map_err(failed)?;
            if first_parents {
                walk.simplify_first_parent().map_err(failed)?;
            }
            let mut commits = Vec::new();
            for id in walk {
                let commit = id.and_then(|id| repository.find_commit(id)).map_err(failed)?;
                let parent = commit.parent(0).ok();
                let below = |commit: &git2::Commit<'_>, path: &str| {
                    entry_below(repository, commit.tree_id(), path).unwrap_or_else(|(id, _)| {
                        self.note_lack(id);
                        None
                    })
                };
                let differs = |path: &String| {
                    let before = parent.as_ref().and_then(|parent| below(parent, path));
                    below(&commit, path) != before
                };
                if paths.iter().any(differs) {
                    commits.push(Commit {
                        id: commit.id().to_string(),
                        parents: commit.parent_ids().map(|id| id.to_string()).collect(),
                        time: commit.time().seconds(),
                        summary: String::from_utf8_lossy(commit.summary_bytes().unwrap_or_default())
                            .into_owned(),
                        decisions: decisions_of(&commit),
                    });
                }
            }
            Ok(commits)
        })?
    }

    /// As [`Place::last_before`](super::Place::last_before).
    pub(super) fn last_before(&self, time: i64) -> Result<(Option<String>, Option<i64>), SourceError> {
        let tip = self.find("HEAD")?.commit;
        self.with(|repository| {
            let failed = |error: git2::Error| git_error("reading the history", &error);
            let (mut next, mut oldest) = (tip, None);
            while let Some(id) = next {
                guard::light(repository, id).map_err(failed)?;
                let commit = repository.find_commit(id).map_err(failed)?;
                let made = commit.time().seconds();
                if made < time {
                    return Ok((Some(id.to_string()), Some(made)));
                }
                oldest = Some(made);
                // What a shallow clone cut off is not here.
                let is_here = |id: &Oid| !self.shallow || repository.odb().is_ok_and(|all| all.exists(*id));
                next = commit.parent_ids().next().filter(is_here);
            }
            Ok((None, oldest))
        })?
    }

    /// The bytes of a blob, refused by its header when it is too large.
    pub(super) fn blob(&self, id: Oid, limit: u64) -> Result<Arc<[u8]>, ReadFault> {
        let fault = |error: git2::Error| {
            self.note_lack(id);
            ReadFault::Object { id: id.to_string(), why: object_words(&error, self.shallow) }
        };
        self.with(|repository| {
            guard::light(repository, id).map_err(fault)?;
            let store = repository.odb().map_err(fault)?;
            let (size, kind) = store.read_header(id).map_err(fault)?;
            if kind != ObjectType::Blob {
                return Err(ReadFault::Object {
                    id: id.to_string(),
                    why: format!("it is a {}, not a file", kind.str()),
                });
            }
            let size = u64::try_from(size).unwrap_or(u64::MAX);
            if size > limit {
                return Err(ReadFault::TooLarge { size, limit });
            }
            // Reading checks the bytes against the id, which is the library's default.
            let object = store.read(id).map_err(fault)?;
            Ok(Arc::from(object.data()))
        })
        .map_err(|error| ReadFault::Io(error.to_string()))?
    }
}

/// Looks at the objects that a revision leads over, before they are read: of `main~2:a/b` those of the branch, of the
/// commits behind it, and of the folders on the way.
fn light_start(repository: &git2::Repository, asked: &str) -> Result<(), git2::Error> {
    // A message is looked for in whatever lies behind the names.
    if asked.starts_with(":/") || asked.contains("^{/") {
        for reference in repository.references()?.flatten() {
            if let Some(id) = reference.target() {
                guard::light_history(repository, guard::light_named(repository, id)?)?;
            }
        }
        return Ok(());
    }
    let (commit, path) = asked.split_once(':').map_or((asked, None), |(commit, path)| (commit, Some(path)));
    let written = start(commit);
    // `@` stands for HEAD, and what is in braces behind it for where a name led before; it may be part of a name too.
    let is_name = |name: &&str| repository.resolve_reference_from_short_name(name).is_ok();
    let name = Some(written).filter(is_name).unwrap_or_else(|| written.split('@').next().unwrap_or_default());
    let name = if name.is_empty() { "HEAD" } else { name };
    let target = match repository.resolve_reference_from_short_name(name) {
        Ok(reference) => reference.target(),
        // An id, or what tells it from all others.
        Err(_) => Oid::from_str(name)
            .and_then(|begin| repository.odb()?.exists_prefix(begin, name.len().min(40)))
            .ok(),
    };
    let Some(id) = target else { return Ok(()) };
    let id = guard::light_named(repository, id)?;
    // As far back as it could go: `~2^^` reads the commits of four generations.
    let steps = commit.get(written.len()..).unwrap_or_default();
    let numbers =
        steps.split(|c: char| !c.is_ascii_digit()).filter_map(|number| number.parse::<usize>().ok());
    let marks = steps.chars().filter(|c| matches!(c, '~' | '^')).count();
    let generations = numbers.fold(marks, usize::saturating_add);
    match generations {
        0 => {}
        // A number that no history is as long as: all of it.
        1000.. => guard::light_history(repository, id)?,
        few => guard::light_line(repository, id, few)?,
    }
    let Some(path) = path.filter(|_| !commit.is_empty()) else { return Ok(()) };
    let Ok(object) = repository.revparse_single(commit) else { return Ok(()) };
    let own = match object.peel_to_commit() {
        Ok(commit) => commit.tree_id(),
        Err(_) => match object.peel_to_tree() {
            Ok(tree) => tree.id(),
            Err(_) => return Ok(()),
        },
    };
    // What is not here is said by whoever reads it.
    match entry_below(repository, own, path) {
        Ok(found) => found.map_or(Ok(()), |id| guard::light(repository, id)),
        Err((_, error)) if error.code() == ErrorCode::NotFound => Ok(()),
        Err((_, error)) => Err(error),
    }
}

/// The entry that a path names below a tree, one name at a time, so that no tree is read that was not looked at; the tree
/// itself for an empty path. The fault comes with the tree that can't be read.
fn entry_below(
    repository: &git2::Repository,
    tree: Oid,
    path: &str,
) -> Result<Option<Oid>, (Oid, git2::Error)> {
    let (mut own, mut is_tree) = (tree, true);
    for name in path.split('/').filter(|name| !name.is_empty()) {
        if !is_tree {
            return Ok(None);
        }
        let tree = guard::light(repository, own).and_then(|()| repository.find_tree(own));
        let tree = tree.map_err(|error| (own, error))?;
        let Some(entry) = tree.get_name(name) else { return Ok(None) };
        (own, is_tree) = (entry.id(), entry.kind() == Some(ObjectType::Tree));
    }
    Ok(Some(own))
}

/// What a revision begins with: `main` of `main~2:a/b`.
fn start(asked: &str) -> &str {
    asked.split(['~', '^', ':']).next().unwrap_or_default()
}

fn is_full_id(name: &str) -> bool {
    name.len() == 40 && name.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// The values of the lines `Decision: ...` among the trailers of a commit's message.
fn decisions_of(commit: &git2::Commit<'_>) -> Vec<String> {
    let message = String::from_utf8_lossy(commit.message_bytes());
    let Ok(trailers) = git2::message_trailers_strs(&message) else { return Vec::new() };
    let named = trailers.iter().filter(|(key, _)| key.eq_ignore_ascii_case("decision"));
    named.map(|(_, value)| value.trim().to_string()).filter(|value| !value.is_empty()).collect()
}

/// Lists commits whose id begins so, as short ids that tell them apart by eye, with their first line.
fn commits_by_prefix(repository: &git2::Repository, prefix: &str) -> Vec<String> {
    if prefix.is_empty() || !prefix.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return Vec::new();
    }
    let prefix = prefix.to_ascii_lowercase();
    let mut ids: Vec<Oid> = Vec::new();
    if let Ok(store) = repository.odb() {
        // The candidates are a courtesy: if the walk breaks off, those found so far are named.
        let _ = store.foreach(|id| {
            if id.to_string().starts_with(&prefix) {
                ids.push(*id);
            }
            true
        });
    }
    ids.sort();
    ids.dedup();
    let commits = ids.iter().filter_map(|id| {
        guard::light(repository, *id).ok()?;
        repository.find_commit(*id).ok()
    });
    let mut words: Vec<String> = commits
        .take(CANDIDATES)
        .map(|commit| {
            let summary = String::from_utf8_lossy(commit.summary_bytes().unwrap_or_default()).into_owned();
            let id: String = commit.id().to_string().chars().take(prefix.len().max(7) + 4).collect();
            format!("{id} ({summary})")
        })
        .collect();
    if words.is_empty() {
        words = ids.iter().take(CANDIDATES).map(Oid::to_string).collect();
    }
    words
}

/// A `.git` on the way up that git's library passes over, as it holds no repository: a linked work tree whose
/// repository was moved, or one that is damaged. Going on without it would answer for another ledger.
fn passed_over(folder: &Path, found: Option<&Path>) -> Option<SourceError> {
    for up in folder.ancestors() {
        let git = up.join(".git");
        let is_found =
            found.is_some_and(|found| found == up || git.canonicalize().is_ok_and(|git| git == found));
        if is_found {
            return None;
        }
        let Ok(metadata) = git.symlink_metadata() else { continue };
        let why = if git.is_file() {
            if found.is_some() {
                // It points to what was found.
                return None;
            }
            "it points to a repository that is not there"
        } else if git.is_dir() {
            // An empty folder, or one of another program, is no repository that was lost.
            if !["HEAD", "objects", "refs", "config"]
                .iter()
                .any(|own| git.join(own).symlink_metadata().is_ok())
            {
                continue;
            }
            "it is damaged: HEAD, objects or refs are missing or can't be read"
        } else if metadata.is_symlink() {
            "it is a link that leads nowhere"
        } else {
            "it is neither a folder nor a file"
        };
        return Some(SourceError::Unsupported { path: git, why: why.to_owned() });
    }
    None
}

fn open_error(path: &Path, error: &git2::Error) -> SourceError {
    match error.code() {
        ErrorCode::Owner => SourceError::Owner { path: path.to_owned() },
        _ => SourceError::Unsupported { path: path.to_owned(), why: error.message().to_owned() },
    }
}
