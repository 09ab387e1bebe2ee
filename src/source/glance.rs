//! How a work tree looks without any file of it being opened: where nothing looks otherwise, nothing is otherwise, and
//! what was found of it before need not be found again.

use std::ffi::{OsStr, OsString};
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
        let mut all = Looks::new(SystemTime::now());
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
        let mut count = 0_usize;
        while !waiting.is_empty() {
            let found: Vec<Option<Folder>> =
                waiting.par_iter().map(|folder| Folder::of(self.root(), folder, all.begun)).collect();
            let mut next = Vec::new();
            for (path, folder) in waiting.iter().zip(found) {
                let folder = folder?;
                count = count.saturating_add(folder.count);
                if count > FILE_LIMIT {
                    return None;
                }
                all.word(path.as_bytes());
                all.word(&folder.sum);
                all.is_settled &= folder.is_settled;
                next.extend(folder.below);
            }
            waiting = next;
        }
        Some(Glance { text: hex(&all.sum.finalize()), is_settled: all.is_settled })
    }
}

/// What a folder of the ledger looks like.
struct Folder {
    sum: Vec<u8>,
    is_settled: bool,
    count: usize,
    /// The folders in it that may hold files of the ledger.
    below: Vec<String>,
}

impl Folder {
    fn of(root: &Path, folder: &str, begun: SystemTime) -> Option<Folder> {
        let mut all = Looks::new(begun);
        let mut found = Vec::new();
        for entry in fs::read_dir(root.join(folder)).ok()? {
            let entry = entry.ok()?;
            let name = entry.file_name();
            if name == ".git" {
                if folder.is_empty() {
                    continue;
                }
                // The top of another repository, whose files are none of the ledger's.
                all.word(b"nested");
                return Some(all.of_folder(0, Vec::new()));
            }
            // At the top other files are nobody's, and a folder counts by its name.
            let counts = || {
                let is_ours = name.to_str().is_some_and(|name| is_listed(name) || IGNORES.contains(&name));
                is_ours || entry.file_type().is_ok_and(|kind| kind.is_dir())
            };
            if !folder.is_empty() || counts() {
                found.push(entry);
            }
        }
        if found.len() > FILE_LIMIT {
            return None;
        }
        // A folder has no looks of its own: it is what stands in it.
        let look = |entry: fs::DirEntry| {
            let metadata = entry.metadata().ok()?;
            Some((entry.file_name(), (!metadata.is_dir()).then(|| Seen::of(&metadata))))
        };
        let mut looks: Vec<(OsString, Option<Seen>)> =
            found.into_par_iter().with_min_len(64).map(look).collect::<Option<_>>()?;
        looks.sort_unstable_by(|(one, _), (two, _)| one.cmp(two));
        let mut below = Vec::new();
        for (name, seen) in &looks {
            all.word(name.as_bytes());
            if let Some(seen) = seen {
                all.seen(seen);
                continue;
            }
            all.word(b"/");
            let name = name.to_str()?;
            if !folder.is_empty() || KIND_FOLDERS.contains(&name) {
                below.push(join(folder, name));
            } else {
                // It is no folder of the ledger where it is the top of another repository.
                let is_nested = fs::symlink_metadata(root.join(name).join(".git")).is_ok();
                all.word(if is_nested { b"nested" } else { b"other" });
            }
        }
        Some(all.of_folder(looks.len(), below))
    }
}

/// A digest over what was looked at.
struct Looks {
    sum: Sha256,
    begun: SystemTime,
    is_settled: bool,
}

impl Looks {
    fn new(begun: SystemTime) -> Looks {
        Looks { sum: Sha256::new(), begun, is_settled: true }
    }

    fn word(&mut self, word: &[u8]) {
        self.sum.update(u64::try_from(word.len()).unwrap_or(u64::MAX).to_le_bytes());
        self.sum.update(word);
    }

    fn seen(&mut self, seen: &Seen) {
        let mut bytes = Vec::with_capacity(Seen::BYTES);
        seen.write(&mut bytes);
        self.word(&bytes);
        self.is_settled &= seen.is_settled(self.begun);
    }

    /// A file that need not be there.
    fn file(&mut self, path: &OsStr, found: &std::io::Result<Metadata>) -> Option<()> {
        self.word(path.as_bytes());
        match found {
            Ok(metadata) => self.seen(&Seen::of(metadata)),
            Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
                self.word(b"absent");
            }
            Err(_) => return None,
        }
        Some(())
    }

    fn of_folder(self, count: usize, below: Vec<String>) -> Folder {
        Folder { sum: self.sum.finalize().to_vec(), is_settled: self.is_settled, count, below }
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
