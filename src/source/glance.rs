//! How a work tree looks without any file of it being opened: where nothing looks otherwise, nothing is otherwise, and
//! what was found of it before need not be found again.

use std::ffi::OsStr;
use std::fs::{self, Metadata};
use std::io::ErrorKind;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use super::guard::IGNORES;
use super::path::{folders, is_listed, join};
use super::stamps::Seen;
use super::{FILE_LIMIT, KIND_FOLDERS, LEDGER_FILE, Place, hex};

/// What all that decides on the state of a work tree looked like: each listed file, the index, and the rules by which git
/// ignores files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Glance {
    text: String,
    is_settled: bool,
}

impl Glance {
    /// A text that two glances share only where everything looked the same.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether nothing changed so short before that it may change once more without looking otherwise.
    pub fn is_settled(&self) -> bool {
        self.is_settled
    }
}

impl Place {
    /// Looks at a work tree without opening a file. `None` where there is no repository, or something can't be looked at.
    pub fn glance(&self) -> Option<Glance> {
        let top = self.need_top().ok()?;
        let mut all = Looks::new();
        let (words, files) = self.need_repository().ok()?.ignore_rules()?;
        all.word(words.as_bytes());
        for file in files.into_iter().chain([self.index_path(top).ok()?]) {
            all.file(file.as_os_str(), &fs::metadata(&file))?;
        }
        let way = join(self.prefix(), LEDGER_FILE);
        for folder in [""].into_iter().chain(folders(&way)) {
            for rules in IGNORES.iter().map(|name| top.join(folder).join(name)) {
                all.file(rules.as_os_str(), &fs::symlink_metadata(&rules))?;
            }
        }
        let mut waiting = vec![String::new()];
        while !waiting.is_empty() {
            let looks: Vec<Option<Folder>> =
                waiting.par_iter().map(|folder| Folder::of(self.root(), folder)).collect();
            let mut next = Vec::new();
            for (folder, found) in std::mem::take(&mut waiting).iter().zip(looks) {
                all.folder(self.root(), folder, &found?, &mut next)?;
            }
            waiting = next;
        }
        Some(all.end())
    }
}

/// What stands in a folder, sorted by name.
struct Folder {
    /// It is the top of another repository, whose files are none of the ledger's.
    is_nested: bool,
    entries: Vec<(Vec<u8>, Metadata)>,
}

impl Folder {
    fn of(root: &Path, folder: &str) -> Option<Folder> {
        let place = root.join(folder);
        let mut names = Vec::new();
        for found in fs::read_dir(&place).ok()? {
            let found = found.ok()?;
            let name = found.file_name();
            if name == ".git" {
                if folder.is_empty() {
                    continue;
                }
                return Some(Folder { is_nested: true, entries: Vec::new() });
            }
            // At the top other files are nobody's, and a folder counts by its name.
            let counts = || {
                let is_ours = name.to_str().is_some_and(|name| is_listed(name) || IGNORES.contains(&name));
                is_ours || found.file_type().is_ok_and(|kind| kind.is_dir())
            };
            if !folder.is_empty() || counts() {
                names.push((name.as_bytes().to_owned(), found));
            }
        }
        if names.len() > FILE_LIMIT {
            return None;
        }
        names.sort_unstable_by(|(one, _), (two, _)| one.cmp(two));
        let looked = |(name, found): (Vec<u8>, fs::DirEntry)| Some((name, found.metadata().ok()?));
        let entries = names.into_par_iter().with_min_len(64).map(looked).collect::<Option<_>>()?;
        Some(Folder { is_nested: false, entries })
    }
}

/// A digest over what was looked at.
struct Looks {
    sum: Sha256,
    begun: SystemTime,
    is_settled: bool,
    count: usize,
}

impl Looks {
    fn new() -> Looks {
        Looks { sum: Sha256::new(), begun: SystemTime::now(), is_settled: true, count: 0 }
    }

    fn word(&mut self, word: &[u8]) {
        self.sum.update(u64::try_from(word.len()).unwrap_or(u64::MAX).to_le_bytes());
        self.sum.update(word);
    }

    fn seen(&mut self, metadata: &Metadata) {
        let seen = Seen::of(metadata);
        let mut bytes = Vec::with_capacity(Seen::BYTES);
        seen.write(&mut bytes);
        self.sum.update(&bytes);
        self.is_settled &= seen.is_settled(self.begun);
    }

    /// A file that need not be there.
    fn file(&mut self, path: &OsStr, found: &std::io::Result<Metadata>) -> Option<()> {
        self.word(path.as_bytes());
        match found {
            Ok(metadata) => {
                self.word(b"there");
                self.seen(metadata);
            }
            Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
                self.word(b"absent");
            }
            Err(_) => return None,
        }
        Some(())
    }

    fn folder(&mut self, root: &Path, folder: &str, found: &Folder, next: &mut Vec<String>) -> Option<()> {
        self.count = self.count.saturating_add(found.entries.len());
        if self.count > FILE_LIMIT {
            return None;
        }
        self.word(folder.as_bytes());
        self.word(if found.is_nested { b"nested" } else { b"folder" });
        self.sum.update(u64::try_from(found.entries.len()).ok()?.to_le_bytes());
        for (name, metadata) in &found.entries {
            self.word(name);
            if !metadata.is_dir() {
                self.seen(metadata);
                continue;
            }
            self.word(b"/");
            let name = std::str::from_utf8(name).ok()?;
            let path = join(folder, name);
            if !folder.is_empty() || KIND_FOLDERS.contains(&name) {
                next.push(path);
            } else {
                // It is no folder of the ledger where it is the top of another repository.
                let is_nested = fs::symlink_metadata(root.join(path).join(".git")).is_ok();
                self.word(if is_nested { b"nested" } else { b"other" });
            }
        }
        Some(())
    }

    fn end(self) -> Glance {
        Glance { text: hex(&self.sum.finalize()), is_settled: self.is_settled }
    }
}

/// Where git looks for what a person ignores everywhere, where no setting says so.
pub(super) fn usual_rules() -> Vec<PathBuf> {
    let home = std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".config"));
    let own = std::env::var_os("XDG_CONFIG_HOME").map(PathBuf::from);
    own.into_iter().chain(home).map(|folder| folder.join("git/ignore")).collect()
}

#[cfg(test)]
mod tests {
    use super::super::Stamps;
    use super::super::testbed::{Bed, write};
    use std::fs;
    use std::os::unix::fs::{PermissionsExt, symlink};
    use std::time::{Duration, SystemTime};

    fn looks(bed: &Bed) -> (String, Option<String>) {
        let place = bed.place();
        let identity = place.work_tree().ok().and_then(|tree| tree.identity(&mut Stamps::default()));
        (place.glance().unwrap().text().to_owned(), identity)
    }

    /// What makes another state of the work tree makes it look otherwise, and so does whatever may make one.
    #[test]
    fn whatever_may_make_another_state_looks_otherwise() {
        let bed = Bed::small();
        let top = bed.top();
        write(bed.dir.path(), "rules", "*.old\n");
        let mode = |path: &str, mode: u32| {
            fs::set_permissions(top.join(path), fs::Permissions::from_mode(mode)).unwrap();
        };
        let again = |path: &str, text: &str| {
            let place = top.join(path);
            let modified = fs::metadata(&place).unwrap().modified().unwrap();
            fs::write(&place, text).unwrap();
            fs::File::options().write(true).open(&place).unwrap().set_modified(modified).unwrap();
        };
        let settings = |rules: &str| bed.repo.config().unwrap().set_str("core.excludesFile", rules).unwrap();
        let turns: Vec<(&str, bool, Box<dyn Fn() + '_>)> = vec![
            ("edited", true, Box::new(|| bed.write("materials/cw-200.yaml", "kind: core\n"))),
            ("same size and time", true, Box::new(|| again("materials/cw-200.yaml", "kind: film\n"))),
            ("data edited", true, Box::new(|| bed.write("evidence/data/x.csv", "a,c\n"))),
            ("ledger.yaml edited", true, Box::new(|| bed.write("ledger.yaml", "format: 1\nname: x\n"))),
            ("added", true, Box::new(|| bed.write("panels/a.yaml", "a: 1\n"))),
            ("added as ignored may be", true, Box::new(|| bed.write("panels/b.old", "b\n"))),
            (
                "renamed",
                true,
                Box::new(|| fs::rename(top.join("panels/a.yaml"), top.join("panels/c.yaml")).unwrap()),
            ),
            ("removed", true, Box::new(|| bed.remove("panels/c.yaml"))),
            ("a link", true, Box::new(|| symlink("../README.md", top.join("panels/l.yaml")).unwrap())),
            ("rights", false, Box::new(|| mode("evidence/e-001.yaml", 0o600))),
            ("staged", false, Box::new(|| bed.stage())),
            (
                "untracked",
                false,
                Box::new(|| {
                    let mut index = bed.repo.index().unwrap();
                    index.read(true).unwrap();
                    index.remove_path(std::path::Path::new("panels/b.old")).unwrap();
                    index.write().unwrap();
                }),
            ),
            ("ignored here", true, Box::new(|| bed.write(".gitignore", "*.old\n"))),
            ("not any more", true, Box::new(|| bed.remove(".gitignore"))),
            ("ignored in its folder", true, Box::new(|| bed.write("panels/.gitignore", "*.old\n"))),
            ("not any more", true, Box::new(|| bed.remove("panels/.gitignore"))),
            ("ignored in this copy", true, Box::new(|| bed.write(".git/info/exclude", "*.old\n"))),
            ("not any more", true, Box::new(|| bed.write(".git/info/exclude", ""))),
            (
                "ignored everywhere",
                true,
                Box::new(|| settings(bed.dir.path().join("rules").to_str().unwrap())),
            ),
            ("by other rules", true, Box::new(|| write(bed.dir.path(), "rules", "*.older\n"))),
            ("nowhere", false, Box::new(|| settings("/dev/null"))),
            ("attributes", false, Box::new(|| bed.write(".gitattributes", "*.csv text\n"))),
            ("a folder", true, Box::new(|| fs::create_dir(top.join("drawings")).unwrap())),
            (
                "that is another repository",
                true,
                Box::new(|| {
                    git2::Repository::init(top.join("drawings")).map(drop).unwrap();
                }),
            ),
            (
                "records that are another repository",
                true,
                Box::new(|| {
                    git2::Repository::init(top.join("evidence/data")).map(drop).unwrap();
                }),
            ),
        ];
        let mut last = looks(&bed);
        assert_eq!(looks(&bed), last, "looking changes nothing");
        for (what, is_other, turn) in turns {
            turn();
            let now = looks(&bed);
            assert_ne!(now.0, last.0, "{what}");
            assert_eq!(now.1 != last.1, is_other, "{what}: {now:?}");
            assert_eq!(looks(&bed), now, "{what}");
            last = now;
        }
    }

    #[test]
    fn what_stands_elsewhere_does_not_matter() {
        let bed = Bed::small();
        let before = looks(&bed);
        bed.write("README.md", "other words\n");
        bed.write("notes.txt", "new\n");
        bed.write("data/y.csv", "d\n");
        assert_eq!(looks(&bed), before);
    }

    #[test]
    fn what_has_just_changed_is_not_settled() {
        let bed = Bed::small();
        assert!(!bed.place().glance().unwrap().is_settled());
        // Nor is what bears a time to come; the time of a change can't be set, and is now.
        let file = fs::File::options().write(true).open(bed.top().join("ledger.yaml")).unwrap();
        file.set_modified(SystemTime::now() - Duration::from_secs(60)).unwrap();
        assert!(!bed.place().glance().unwrap().is_settled());
    }
}
