//! What git's library would read of a repository that somebody else may have made, looked over before it does: a
//! pipe there is waited for without end, and a device or a huge file is read whole.

use std::fs::{self, Metadata};
use std::io::{BufRead, BufReader, Read};
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use git2::{ErrorClass, ErrorCode, ObjectType, Oid};
use rayon::prelude::*;

use super::path::folders;
use super::{FILE_LIMIT, SourceError};

/// The most that settings, references and their like may hold, in bytes: they are read whole.
const WORDS: u64 = 16 * 1024 * 1024;
/// The most that lists and single objects may take, in bytes: the index of a million files fits.
const LISTS: u64 = 256 * 1024 * 1024;
/// The most that a commit, a tag or a tree may hold, in bytes: git's library unpacks them whole.
const OBJECT: usize = 64 * 1024 * 1024;
/// How deep settings include each other, stores of objects borrow from each other, and tags name tags.
const DEEP: usize = 10;
/// The most files of a git directory, and of the stores that it borrows from, that are looked over.
const FILES: usize = 4 * FILE_LIMIT;
/// Folders of a git directory that are read to their ground.
const READ: [&str; 4] = ["info", "logs", "objects", "refs"];
/// What decides which files of a folder count.
pub(super) const IGNORES: [&str; 2] = [IGNORE, ".gitattributes"];
const IGNORE: &str = ".gitignore";

/// Looks a git directory over, and the one that it shares with other work trees.
pub(super) fn git_folder(git_dir: &Path) -> Result<(), SourceError> {
    let seen = AtomicUsize::new(0);
    top(git_dir, &seen)?;
    if let Some(common) = text(&git_dir.join("commondir"))? {
        let common = git_dir.join(common.trim_end());
        if common.is_dir() {
            top(&common, &seen)?;
        }
    }
    Ok(())
}

fn top(git_dir: &Path, seen: &AtomicUsize) -> Result<(), SourceError> {
    let Ok(entries) = fs::read_dir(git_dir) else { return Ok(()) };
    for entry in entries.flatten() {
        let (path, name) = (entry.path(), entry.file_name());
        let limit = match name.to_str() {
            Some("index" | "packed-refs") => Some(LISTS),
            Some("HEAD" | "config" | "config.worktree" | "shallow" | "commondir" | "gitdir") => Some(WORDS),
            // Read only where somebody asks for a reference of its name.
            _ => None,
        };
        let Some(metadata) = plain(&path, limit)? else { continue };
        if metadata.is_dir() && READ.iter().any(|own| name == *own) {
            let ground = match name.to_str() {
                Some("objects") => Ground::Objects,
                Some("refs") => Ground::References,
                _ => Ground::Words,
            };
            below(&path, ground, seen)?;
        }
    }
    for file in ["config", "config.worktree"] {
        included(&git_dir.join(file), DEEP)?;
    }
    borrowed(&git_dir.join("objects"), seen)
}

/// What lies below a folder of a git directory.
#[derive(Clone, Copy, PartialEq)]
enum Ground {
    Objects,
    References,
    Words,
}

/// Looks over every file below a folder. Packs and what lies beside them are read piece by piece.
fn below(top: &Path, ground: Ground, seen: &AtomicUsize) -> Result<(), SourceError> {
    let mut waiting = vec![top.to_owned()];
    while !waiting.is_empty() {
        // A store has 256 folders beside each other.
        let look = |folder: &PathBuf| inside(folder, top, ground, seen);
        let found: Vec<Result<Vec<PathBuf>, SourceError>> =
            waiting.par_iter().with_min_len(16).map(look).collect();
        let mut next = Vec::new();
        for found in found {
            next.extend(found?);
        }
        waiting = next;
    }
    Ok(())
}

/// Looks over the files of a folder; returns its folders.
fn inside(
    folder: &Path,
    top: &Path,
    ground: Ground,
    seen: &AtomicUsize,
) -> Result<Vec<PathBuf>, SourceError> {
    let longest = if ground == Ground::Objects { LISTS } else { WORDS };
    let mut folders = Vec::new();
    let Ok(entries) = fs::read_dir(folder) else { return Ok(folders) };
    let by_pieces = folder.file_name().is_some_and(|name| name == "pack" || name == "commit-graphs");
    let of_single = ground == Ground::Objects && folder.parent() == Some(top) && has_single(folder);
    for entry in entries.flatten() {
        if seen.fetch_add(1, Ordering::Relaxed) >= FILES {
            return Err(SourceError::TooManyObjects { path: folder.to_owned(), limit: FILES });
        }
        // Of an object's own file the header says how long it is before it is read, and there are many of them.
        if of_single && entry.file_type().is_ok_and(|own| own.is_file()) {
            continue;
        }
        let by_pieces = by_pieces || entry.file_name() == "commit-graph";
        let limit = (!by_pieces).then_some(longest);
        // By its folder, not by its path, which would be looked up anew each time.
        let Ok(own) = entry.metadata() else { continue };
        if own.is_symlink() {
            // A link to a folder could lead round in a circle; git itself makes none there, and among references its
            // library would follow it.
            let is_folder = plain(&entry.path(), limit)?.is_some_and(|found| found.is_dir());
            if is_folder && ground == Ground::References {
                let what = "a link to a folder, where git keeps references".to_owned();
                return Err(SourceError::NotPlain { path: entry.path(), what });
            }
        } else if let Some(what) = unfit(&own, limit) {
            return Err(SourceError::NotPlain { path: entry.path(), what });
        } else if own.is_dir() {
            folders.push(entry.path());
        }
    }
    Ok(folders)
}

/// Whether a folder of a store is one of the 256 that objects with files of their own lie in.
fn has_single(folder: &Path) -> bool {
    let name = folder.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    name.len() == 2 && name.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// Looks over the stores that a store of objects borrows from: git takes objects from there too.
fn borrowed(objects: &Path, seen: &AtomicUsize) -> Result<(), SourceError> {
    for other in stores(objects)?.iter().skip(1) {
        below(other, Ground::Objects, seen)?;
    }
    Ok(())
}

/// A store of objects, then those that it borrows from, each once however often it is named: without that a few that
/// name each other would be walked for ever, or as often as there are ways to them.
fn stores(objects: &Path) -> Result<Vec<PathBuf>, SourceError> {
    let mut all = vec![objects.canonicalize().unwrap_or_else(|_| objects.to_owned())];
    let mut from = 0;
    for _ in 0..DEEP {
        let reached = all.len();
        for at in from..reached {
            let Some(own) = all.get(at).cloned() else { continue };
            let Some(lines) = text(&own.join("info/alternates"))? else { continue };
            for line in lines.lines().filter(|line| !line.is_empty() && !line.starts_with('#')) {
                let Ok(other) = own.join(line).canonicalize() else { continue };
                if !other.is_dir() || all.contains(&other) {
                    continue;
                }
                all.push(other);
            }
        }
        if all.len() == reached {
            break;
        }
        from = reached;
    }
    Ok(all)
}

/// Looks over the files that settings include.
fn included(settings: &Path, deep: usize) -> Result<(), SourceError> {
    if deep == 0 {
        return Ok(());
    }
    let Some(words) = text(settings)? else { return Ok(()) };
    for path in includes(&words) {
        let path = match path.strip_prefix("~/") {
            Some(rest) => match std::env::var_os("HOME") {
                Some(home) => PathBuf::from(home).join(rest),
                None => continue,
            },
            None => settings.parent().unwrap_or(Path::new(".")).join(path),
        };
        plain(&path, Some(WORDS))?;
        included(&path, deep - 1)?;
    }
    Ok(())
}

/// The paths under `[include]` and `[includeIf ...]`, whatever their condition.
fn includes(settings: &str) -> Vec<String> {
    let joined = settings.replace("\\\r\n", "").replace("\\\n", "");
    let mut all = Vec::new();
    let mut is_include = false;
    for line in joined.lines() {
        let mut line = line.trim_start_matches('\u{feff}').trim();
        if let Some(section) = line.strip_prefix('[') {
            let name: String = section.chars().take_while(char::is_ascii_alphanumeric).collect();
            is_include = matches!(name.to_ascii_lowercase().as_str(), "include" | "includeif");
            // A key may stand behind its section on one line.
            line = section.rsplit_once(']').map_or("", |(_, rest)| rest).trim();
        }
        let Some((key, value)) = line.split_once('=') else { continue };
        if is_include && key.trim().eq_ignore_ascii_case("path") {
            all.push(unquoted(value.trim()));
        }
    }
    all
}

/// A value of git's settings: quotes taken away, what a backslash stands before as it is, no remark behind it.
fn unquoted(value: &str) -> String {
    let (mut text, mut is_quoted, mut chars) = (String::new(), false, value.chars());
    while let Some(one) = chars.next() {
        match one {
            '"' => is_quoted = !is_quoted,
            '\\' => text.extend(chars.next()),
            '#' | ';' if !is_quoted => break,
            one => text.push(one),
        }
    }
    text.trim_end().to_owned()
}

/// Looks over the files that settings name for what git ignores everywhere.
pub(super) fn settings(repository: &git2::Repository) -> Result<(), SourceError> {
    let Ok(settings) = repository.config().and_then(|mut all| all.snapshot()) else { return Ok(()) };
    for name in ["core.excludesFile", "core.attributesFile"] {
        if let Some(path) = rules_of_all(&settings, name) {
            // Where it is no file git reads nothing; `/dev/null` is how somebody says that there is none.
            if path != Path::new("/dev/null") {
                plain(&path, Some(WORDS))?;
            }
        }
    }
    Ok(())
}

/// The file that a setting names, where git's library looks for it: of ways that begin with `~` it knows only the one home.
pub(super) fn rules_of_all(settings: &git2::Config, name: &str) -> Option<PathBuf> {
    let text = settings.get_string(name).ok()?;
    if text.starts_with("~/") { settings.get_path(name).ok() } else { Some(PathBuf::from(text)) }
}

/// Looks over what says which files of a folder count.
pub(super) fn ignores(folder: &Path) -> Result<(), SourceError> {
    // Git reads no rules through a link in a work tree; its library would, from wherever that leads.
    let rules = folder.join(IGNORE);
    if fs::symlink_metadata(&rules).is_ok_and(|found| found.is_symlink()) {
        return Err(SourceError::NotPlain {
            path: rules,
            what: "a link, through which git reads no rules".to_owned(),
        });
    }
    IGNORES.iter().try_for_each(|name| plain(&folder.join(name), Some(WORDS)).map(drop))
}

/// The same for a folder and all those on the way from the top to a file below it.
pub(super) fn ignores_to(top: &Path, file: &str) -> Result<(), SourceError> {
    ignores(top)?;
    folders(file).try_for_each(|folder| ignores(&top.join(folder)))
}

/// Reads a short file of a git directory; none where there is none.
fn text(path: &Path) -> Result<Option<String>, SourceError> {
    if !plain(path, Some(WORDS))?.is_some_and(|metadata| metadata.is_file()) {
        return Ok(None);
    }
    let mut bytes = Vec::new();
    let read = fs::File::open(path).and_then(|file| file.take(WORDS).read_to_end(&mut bytes));
    Ok(read.ok().map(|_| String::from_utf8_lossy(&bytes).into_owned()))
}

/// Refuses what is neither file nor folder, at the end of a link too, and a file that is too long. What is not
/// there, or may not be looked at, is left to git.
fn plain(path: &Path, limit: Option<u64>) -> Result<Option<Metadata>, SourceError> {
    let Ok(metadata) = fs::metadata(path) else { return Ok(None) };
    match unfit(&metadata, limit) {
        Some(what) => Err(SourceError::NotPlain { path: path.to_owned(), what }),
        None => Ok(Some(metadata)),
    }
}

/// Says what is wrong with what git would read, where something is.
fn unfit(metadata: &Metadata, limit: Option<u64>) -> Option<String> {
    let kind = metadata.file_type();
    // A socket can't be opened as a file, and git itself lays one there.
    if kind.is_fifo() {
        Some("a pipe, where git reads a file".to_owned())
    } else if kind.is_char_device() || kind.is_block_device() {
        Some("a device, where git reads a file".to_owned())
    } else {
        let limit = limit.filter(|limit| metadata.is_file() && metadata.len() > *limit)?;
        Some(format!("{} bytes long, of which at most {limit} are read", metadata.len()))
    }
}

/// Refuses a commit, a tag or a tree that is too large, by its header, and any object whose own file is cut short:
/// git's library would unpack the one whole, and look for the end of the other, be it that of its header, for ever. What is
/// not here is said by whoever reads it.
pub(super) fn light(repository: &git2::Repository, id: Oid) -> Result<(), git2::Error> {
    let own = own_file(&repository.commondir().join("objects"), &id.to_string()).map(Opened::of);
    let (size, kind) = match &own {
        Some(Some(own)) => (own.size, own.kind),
        Some(None) => return Err(damaged("object", id)),
        None => match repository.odb().and_then(|store| store.read_header(id)) {
            Ok(found) => found,
            Err(_) => return Ok(()),
        },
    };
    if size > OBJECT {
        // A large file is refused by whoever would read it, without its end being looked for.
        if kind == ObjectType::Blob {
            return Ok(());
        }
        let words = format!("the {} {id} is {size} bytes long; at most {OBJECT} are read", kind.str());
        return Err(git2::Error::from_str(&words));
    }
    if own.flatten().is_none_or(Opened::ends_rightly) { Ok(()) } else { Err(damaged(kind.str(), id)) }
}

fn damaged(kind: &str, id: Oid) -> git2::Error {
    let words = format!("the file of the {kind} {id} is damaged");
    git2::Error::new(ErrorCode::HashsumMismatch, ErrorClass::Odb, words)
}

/// The file that an object has of its own, here or in a store that this one borrows from.
fn own_file(objects: &Path, id: &str) -> Option<fs::File> {
    let (folder, name) = id.split_at_checked(2)?;
    let own = |store: &Path| fs::File::open(store.join(folder).join(name)).ok();
    // Few borrow at all: where it lies here nobody is asked for the others.
    let borrows = || objects.join("info/alternates").exists();
    let elsewhere = || stores(objects).ok()?.iter().skip(1).find_map(|store| own(store));
    own(objects).or_else(|| borrows().then(elsewhere).flatten())
}

/// An object in a file of its own, its header read.
struct Opened {
    kind: ObjectType,
    size: usize,
    rest: BufReader<flate2::read::ZlibDecoder<fs::File>>,
}

impl Opened {
    /// `None` where it has no header.
    fn of(file: fs::File) -> Option<Self> {
        // Kind and number of bytes, with a zero behind.
        let mut inflated = BufReader::new(flate2::read::ZlibDecoder::new(file));
        let mut header = Vec::new();
        inflated.by_ref().take(32).read_until(0, &mut header).ok()?;
        let header = std::str::from_utf8(header.strip_suffix(&[0])?).ok()?;
        let (kind, size) = header.split_once(' ')?;
        Some(Self { kind: ObjectType::from_str(kind)?, size: size.parse().ok()?, rest: inflated })
    }

    fn ends_rightly(self) -> bool {
        let size = u64::try_from(self.size).unwrap_or(u64::MAX);
        // A little more than there should be, so that what is too long is seen as well.
        let read = std::io::copy(&mut self.rest.take(size.saturating_add(64)), &mut std::io::sink());
        read.is_ok_and(|read| read == size)
    }
}

/// The same for an object and, where it is a tag, for what that names, to the end.
pub(super) fn light_named(repository: &git2::Repository, id: Oid) -> Result<Oid, git2::Error> {
    let mut id = id;
    for _ in 0..=DEEP {
        light(repository, id)?;
        match repository.find_tag(id) {
            Ok(tag) => id = tag.target_id(),
            Err(_) => return Ok(id),
        }
    }
    Err(git2::Error::from_str(&format!("the tag {id} is one of a long row of tags that name tags")))
}

/// The same for the commits behind one, so many generations back.
pub(super) fn light_line(
    repository: &git2::Repository,
    tip: Oid,
    generations: usize,
) -> Result<(), git2::Error> {
    let mut own = vec![tip];
    for _ in 0..=generations {
        let mut next = Vec::new();
        for id in own {
            light(repository, id)?;
            next.extend(parents(repository, id)?);
        }
        next.sort();
        next.dedup();
        own = next;
    }
    Ok(())
}

/// The parents of a commit; none of what is no commit, and of what a shallow clone cut off.
fn parents(repository: &git2::Repository, id: Oid) -> Result<Vec<Oid>, git2::Error> {
    match repository.find_commit(id) {
        Ok(commit) => Ok(commit.parent_ids().collect()),
        Err(error) if error.code() == ErrorCode::NotFound && !repository.is_shallow() => Err(error),
        Err(_) => Ok(Vec::new()),
    }
}

/// The same for every commit behind one: git's library reads them all to bring them in order.
pub(super) fn light_history(repository: &git2::Repository, tip: Oid) -> Result<(), git2::Error> {
    let (mut waiting, mut seen) = (vec![tip], std::collections::HashSet::from([tip]));
    while let Some(id) = waiting.pop() {
        light(repository, id)?;
        waiting.extend(parents(repository, id)?.into_iter().filter(|parent| seen.insert(*parent)));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::includes;

    /// As `git config` reads them: quotes, remarks, lines that go on, a key behind its section.
    #[test]
    fn included_settings_are_found_however_they_are_written() {
        let text = "[core]\n\tpath = no\n[include]\n\tpath = a\n\tPath=\"b # c\" ; remark\n[includeIf \"gitdir:x]y\"]path = d\\\ne\n[Include]\n\tpath = \"f\\\\g\\\"h\"\n[user]\n\tpath = no\n";
        assert_eq!(includes(text), ["a", "b # c", "de", "f\\g\"h"]);
    }
}
