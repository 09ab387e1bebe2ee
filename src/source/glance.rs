//! How a work tree looks without any file of it being opened: where nothing looks otherwise, nothing is otherwise, and
//! what was found of it before need not be found again.

use std::ffi::OsString;
use std::fs::{self, Metadata};
use std::io::{ErrorKind, Read};
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::SystemTime;

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use super::guard::IGNORES;
use super::path::{folders, is_listed, join};
use super::stamps::Seen;
use super::{KIND_FOLDERS, LEDGER_FILE, Place, hex};

/// What all that decides on the state of a work tree looked like: each listed file, the index, and the rules by which git
/// ignores files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Glance {
    text: String,
    /// The same of folders, which look otherwise for ever once anything came or went, be it back as it was.
    folders: String,
    is_settled: bool,
}

impl Glance {
    /// A text that two glances share only where everything looked the same; glances are equal where nothing came and went
    /// between them either.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether nothing changed so short before that it may change once more without looking otherwise.
    pub fn is_settled(&self) -> bool {
        self.is_settled
    }
}

/// Files that are looked at beyond twice those of the index: where git ignores many more, listing is quicker.
const BEYOND: usize = 10_000;

impl Place {
    /// Looks at a work tree without opening a file of it. `None` where there is no repository, something can't be looked
    /// at, or what is there may be read otherwise than it looks.
    pub fn glance(&self) -> Option<Glance> {
        self.glance_at(SystemTime::now())
    }

    fn glance_at(&self, begun: SystemTime) -> Option<Glance> {
        let top = self.need_top().ok()?;
        let mut all = Looks::new(begun);
        let (words, files) = self.need_repository().ok()?.ignore_rules()?;
        all.word(words.as_bytes());
        let index = self.index_path(top).ok()?;
        let left = AtomicUsize::new(tracked(&index).saturating_mul(2).saturating_add(BEYOND));
        for file in files.iter().chain([&index]) {
            all.file(file, &fs::metadata(file))?;
        }
        let way = join(self.prefix(), LEDGER_FILE);
        for folder in [""].into_iter().chain(folders(&way)) {
            for rules in IGNORES.iter().map(|name| top.join(folder).join(name)) {
                let found = fs::symlink_metadata(&rules);
                // What it leads to may be another tomorrow.
                if found.as_ref().is_ok_and(Metadata::is_symlink) {
                    return None;
                }
                all.file(&rules, &found)?;
            }
        }
        let mut waiting = vec![String::new()];
        while !waiting.is_empty() {
            let look = |folder: &String| Folder::of(self.root(), folder, begun, &left);
            let found: Vec<Option<Folder>> = waiting.par_iter().map(look).collect();
            let mut next = Vec::new();
            for (path, folder) in waiting.iter().zip(found) {
                let folder = folder?;
                all.word(path.as_bytes());
                all.word(&folder.sum);
                all.folder(&folder.own);
                all.is_settled &= folder.is_settled;
                next.extend(folder.below);
            }
            waiting = next;
        }
        let (text, folders) = (hex(&all.sum.finalize()), hex(&all.folders.finalize()));
        Some(Glance { text, folders, is_settled: all.is_settled })
    }
}

/// How many files the head of an index says that it has; none where there is none.
fn tracked(index: &Path) -> usize {
    let mut head = [0; 12];
    let read = fs::metadata(index).and_then(|found| match found.is_file() {
        true => fs::File::open(index)?.read_exact(&mut head),
        false => Err(ErrorKind::InvalidInput.into()),
    });
    let [b'D', b'I', b'R', b'C', _, _, _, _, count @ ..] = head else { return 0 };
    read.ok().and_then(|()| usize::try_from(u32::from_be_bytes(count)).ok()).unwrap_or_default()
}

/// What a folder of the ledger looks like.
struct Folder {
    sum: Vec<u8>,
    own: Seen,
    is_settled: bool,
    /// The folders in it that may hold files of the ledger.
    below: Vec<String>,
}

impl Folder {
    fn of(root: &Path, folder: &str, begun: SystemTime, left: &AtomicUsize) -> Option<Folder> {
        let place = root.join(folder);
        let mut all = Looks::new(begun);
        let own = Seen::of(&fs::symlink_metadata(&place).ok()?);
        let mut found = Vec::new();
        for entry in fs::read_dir(&place).ok()? {
            let entry = entry.ok()?;
            let name = entry.file_name();
            if name == ".git" {
                if folder.is_empty() {
                    continue;
                }
                all.word(if is_nested(&place)? { b"nested" } else { b"folder" });
                return Some(all.of_folder(own, Vec::new()));
            }
            // At the top other files are nobody's, and a folder counts by its name.
            let counts = || {
                let is_ours = name.to_str().is_some_and(|name| is_listed(name) || IGNORES.contains(&name));
                is_ours || entry.file_type().is_ok_and(|kind| kind.is_dir())
            };
            if !folder.is_empty() || counts() {
                left.try_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(1)).ok()?;
                found.push(entry);
            }
        }
        // A folder has no looks of its own here: it is what stands in it.
        let look = |entry: fs::DirEntry| {
            let (metadata, name) = (entry.metadata().ok()?, entry.file_name());
            let leads_on = metadata.is_symlink() && IGNORES.iter().any(|rules| name == *rules);
            (!leads_on).then(|| (name, (!metadata.is_dir()).then(|| Seen::of(&metadata))))
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
                all.word(if is_nested(&root.join(name))? { b"nested" } else { b"other" });
            }
        }
        Some(all.of_folder(own, below))
    }
}

/// Whether a folder is the top of another repository, whose files are none of the ledger's. `None` where that follows from
/// what stands elsewhere.
fn is_nested(folder: &Path) -> Option<bool> {
    match fs::symlink_metadata(folder.join(".git")) {
        Ok(found) => (!found.is_symlink()).then_some(true),
        Err(error) => (error.kind() == ErrorKind::NotFound).then_some(false),
    }
}

/// A digest over what was looked at.
struct Looks {
    sum: Sha256,
    folders: Sha256,
    begun: SystemTime,
    is_settled: bool,
}

impl Looks {
    fn new(begun: SystemTime) -> Looks {
        Looks { sum: Sha256::new(), folders: Sha256::new(), begun, is_settled: true }
    }

    fn word(&mut self, word: &[u8]) {
        self.sum.update(u64::try_from(word.len()).unwrap_or(u64::MAX).to_le_bytes());
        self.sum.update(word);
    }

    fn seen(&mut self, seen: &Seen) {
        self.word(&seen.bytes());
        self.is_settled &= seen.is_settled(self.begun);
    }

    fn folder(&mut self, seen: &Seen) {
        self.folders.update(seen.bytes());
        self.is_settled &= seen.is_settled(self.begun);
    }

    /// A file that need not be there.
    fn file(&mut self, path: &Path, found: &std::io::Result<Metadata>) -> Option<()> {
        self.word(path.as_os_str().as_bytes());
        match found {
            Ok(metadata) => self.seen(&Seen::of(metadata)),
            Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
                self.word(b"absent");
                // It may have come and gone.
                if let Some(folder) = path.parent().and_then(|folder| fs::metadata(folder).ok()) {
                    self.folder(&Seen::of(&folder));
                }
            }
            Err(_) => return None,
        }
        Some(())
    }

    fn of_folder(self, own: Seen, below: Vec<String>) -> Folder {
        Folder { sum: self.sum.finalize().to_vec(), own, is_settled: self.is_settled, below }
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
        type Turn<'a> = (&'static str, bool, Box<dyn Fn() + 'a>);
        let turns: Vec<Turn<'_>> = vec![
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
            // The clocks of some file systems are coarse.
            std::thread::sleep(Duration::from_millis(20));
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
    fn what_has_just_changed_or_bears_a_time_to_come_is_not_settled() {
        let bed = Bed::small();
        let later = SystemTime::now() + Duration::from_secs(60);
        assert!(!bed.place().glance().unwrap().is_settled(), "it was just made");
        assert!(bed.place().glance_at(later).unwrap().is_settled(), "a minute later");
        let file = fs::File::options().write(true).open(bed.top().join("evidence/e-001.yaml")).unwrap();
        file.set_modified(later).unwrap();
        assert!(!bed.place().glance_at(later).unwrap().is_settled(), "made when it is looked at");
        assert!(bed.place().glance_at(later + Duration::from_secs(60)).unwrap().is_settled());
    }

    /// What was another state for a moment is not taken for the one that it was before and after.
    #[test]
    fn what_came_and_went_looks_the_same_but_is_no_equal_glance() {
        let bed = Bed::small();
        let turns: [(&str, &dyn Fn()); 4] = [
            ("a file", &|| {
                bed.write("materials/x.yaml", "a");
                bed.remove("materials/x.yaml");
            }),
            ("a folder", &|| {
                fs::rename(bed.top().join("materials"), bed.top().join("off")).unwrap();
                fs::rename(bed.top().join("off"), bed.top().join("materials")).unwrap();
            }),
            ("rules", &|| {
                bed.write(".gitignore", "*.yaml\n");
                bed.remove(".gitignore");
            }),
            ("rules of this copy", &|| {
                let _ = fs::remove_file(bed.top().join(".git/info/exclude"));
                bed.write(".git/info/exclude", "*.yaml\n");
                bed.remove(".git/info/exclude");
            }),
        ];
        let _ = fs::remove_file(bed.top().join(".git/info/exclude"));
        for (what, turn) in turns {
            let before = bed.place().glance().unwrap();
            std::thread::sleep(Duration::from_millis(20));
            turn();
            let after = bed.place().glance().unwrap();
            assert_eq!(after.text(), before.text(), "{what}");
            assert_ne!(after, before, "{what}");
        }
    }

    /// Where looks do not say what is read there is no glance.
    #[test]
    fn what_leads_elsewhere_is_not_known_by_its_looks() {
        type Turn<'a> = (&'static str, &'a dyn Fn(&Bed));
        let turns: [Turn<'_>; 5] = [
            ("a link that may make a repository", &|bed| {
                symlink("/nowhere", bed.top().join("materials/.git")).unwrap()
            }),
            ("and beside", &|bed| {
                fs::create_dir(bed.top().join("drawings")).unwrap();
                symlink("/nowhere", bed.top().join("drawings/.git")).unwrap();
            }),
            ("attributes", &|bed| symlink("x", bed.top().join("materials/.gitattributes")).unwrap()),
            ("rules at the top", &|bed| symlink("x", bed.top().join(".gitignore")).unwrap()),
            ("rules by a way from here", &|bed| {
                bed.repo.config().unwrap().set_str("core.excludesFile", "~nobody/x").unwrap();
            }),
        ];
        for (what, turn) in turns {
            let bed = Bed::small();
            assert!(bed.place().glance().is_some());
            turn(&bed);
            let glance = super::Place::find(&bed.top()).ok().and_then(|place| place.glance());
            assert_eq!(glance, None, "{what}");
        }
    }

    /// Git need not look at what it ignores, however much that is.
    #[test]
    fn many_files_that_are_ignored_are_not_looked_at() {
        let bed = Bed::small();
        bed.write(".gitignore", "raw/\n");
        fs::create_dir(bed.top().join("evidence/raw")).unwrap();
        for at in 0..super::BEYOND {
            fs::write(bed.top().join(format!("evidence/raw/{at}")), "").unwrap();
        }
        assert!(bed.place().glance().is_some(), "twice those of the index are looked at beside");
        for at in 0..40 {
            fs::write(bed.top().join(format!("evidence/raw/more-{at}")), "").unwrap();
        }
        assert_eq!(bed.place().glance(), None);
        assert_eq!(bed.place().work_tree().unwrap().files().count(), 4);
    }
}
