//! Links and settings that lead out of the ledger and its git directory: nothing is read through them into an answer,
//! and nothing is written.

use super::{EXPORTS, HOOKS, RECORDS, REPORT, STORE, bounded};
use crate::git::bed::{Bed, Run};
use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};

/// What nobody may read into an answer, or change.
const SECRET: &str = "kind: part\nmass: 4711 g\n# the neighbour's own\n";

/// A folder beside the repository with files in it, and how all of it looks.
struct Outside {
    folder: PathBuf,
}

impl Outside {
    fn of(bed: &Bed) -> Self {
        let folder = bed.beside("outside");
        fs::create_dir_all(folder.join("deep")).unwrap();
        for name in ["secret.yaml", "deep/secret.yaml", "m.csv", "store-1.sqlite", "lock", "pre-commit"] {
            fs::write(folder.join(name), SECRET).unwrap();
        }
        Self { folder }
    }

    fn look(&self) -> BTreeMap<PathBuf, (Vec<u8>, std::time::SystemTime)> {
        let mut all = BTreeMap::new();
        let mut waiting = vec![self.folder.clone()];
        while let Some(folder) = waiting.pop() {
            for entry in fs::read_dir(folder).unwrap().flatten() {
                let modified = entry.metadata().unwrap().modified().unwrap();
                match entry.file_type().unwrap().is_dir() {
                    true => {
                        all.insert(entry.path(), (Vec::new(), modified));
                        waiting.push(entry.path());
                    }
                    false => drop(all.insert(entry.path(), (fs::read(entry.path()).unwrap(), modified))),
                }
            }
        }
        all
    }
}

/// Runs all of them; nothing outside is told or touched.
fn asked(bed: &Bed, outside: &Outside, what: &str, also: &[&[&str]]) -> Vec<Run> {
    let before = outside.look();
    let all = RECORDS.iter().chain(also);
    all.map(|arguments| {
        let run = bounded(bed, arguments);
        assert!(matches!(run.code, Some(0..=2)), "{what}: {arguments:?}: {run:?}");
        assert!(
            !run.flat().contains("4711") && !run.flat().contains("neighbour"),
            "{what}: {arguments:?}: {run:?}"
        );
        assert_eq!(outside.look(), before, "{what}: {arguments:?}");
        run
    })
    .collect()
}

fn replaced_by_link(path: &Path, target: &Path) {
    if path.is_dir() && !path.is_symlink() {
        fs::remove_dir_all(path).unwrap();
    } else {
        let _ = fs::remove_file(path);
    }
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    symlink(target, path).unwrap();
}

#[test]
fn links_among_the_records() {
    for (link, target) in [
        ("materials/cw.yaml", "secret.yaml"),
        ("materials/more.yaml", "secret.yaml"),
        ("materials", ""),
        ("materials/deep", "deep"),
        ("evidence/data/m.csv", "m.csv"),
        ("evidence/data", ""),
        ("decisions", "deep"),
        ("decisions/dd-001-x.yaml", "new.yaml"),
        ("bondline-report", "deep"),
        ("bondline-report/index.html", "secret.yaml"),
        ("bondline-export", "deep"),
        ("bondline-export.sqlite", "store-1.sqlite"),
    ] {
        let bed = Bed::small();
        let outside = Outside::of(&bed);
        replaced_by_link(&bed.top().join(link), &outside.folder.join(target));
        let runs = asked(
            &bed,
            &outside,
            link,
            match link {
                link if link.starts_with("bondline-export") => &EXPORTS,
                link if link.starts_with("bondline-report") => &REPORT,
                _ => &[],
            },
        );
        if !link.starts_with("bondline-") && link != "decisions/dd-001-x.yaml" {
            let run = &runs[0];
            assert!(run.flat().contains("link"), "{link}: {run:?}");
        }
    }
}

/// Git reads no rules of what is ignored through a link in a work tree; its library would, and hide records by them.
#[test]
fn rules_of_what_is_ignored_are_read_through_no_link() {
    for link in [".gitignore", "materials/.gitignore", "evidence/data/.gitignore"] {
        let bed = Bed::small();
        let rules = bed.beside("rules");
        bed.write("materials/odd.yaml", "kind: part\nzzz: 1\n");
        assert_eq!(bounded(&bed, &["check"]).code, Some(1), "{link}");
        for text in [Some("odd.yaml\nmaterials/odd.yaml\n"), None] {
            match text {
                Some(text) => fs::write(&rules, text).unwrap(),
                None => fs::remove_file(&rules).unwrap(),
            }
            replaced_by_link(&bed.top().join(link), &rules);
            for arguments in [&["check"][..], &["check", "--no-store"], &["gaps"]] {
                let run = bounded(&bed, arguments);
                let said = run.flat().contains("a link, through which git reads no rules");
                assert!(run.code == Some(2) && said, "{link}: {arguments:?}: {run:?}");
            }
        }
        fs::remove_file(bed.top().join(link)).unwrap();
        assert_eq!(bounded(&bed, &["check"]).code, Some(1), "{link}");
    }
}

#[test]
fn links_in_the_git_directory() {
    for (link, target) in [
        ("bondline", ""),
        ("bondline", "deep"),
        ("bondline/store-1.sqlite", "store-1.sqlite"),
        ("bondline/store-1.sqlite", "new.sqlite"),
        ("bondline/store-1.sqlite-wal", "secret.yaml"),
        ("bondline/store-1.sqlite-journal", "new"),
        ("bondline/lock", "lock"),
        ("bondline/lock", "new"),
        ("bondline-writing.lock", "new"),
        ("bondline-writing.lock", "lock"),
        ("bondline-writing.json", "secret.yaml"),
        ("hooks", ""),
        ("hooks", "new"),
        ("hooks/pre-commit", "pre-commit"),
        ("hooks/pre-commit.before-bondline", "pre-commit"),
    ] {
        let bed = Bed::small();
        let outside = Outside::of(&bed);
        assert_eq!(bed.bondline(&["check"]).code, Some(0));
        replaced_by_link(&bed.top().join(".git").join(link), &outside.folder.join(target));
        let runs = asked(&bed, &outside, link, if link.starts_with("hooks") { &HOOKS } else { &STORE });
        assert_eq!(runs[0].code, Some(0), "{link}: {:?}", runs[0]);
        assert!(!outside.folder.join("new").exists());
    }
}

/// The settings of a repository say where much lies; what they say of places outside is not taken up for writing.
#[test]
fn settings_that_name_other_places() {
    let bed = Bed::small();
    let outside = Outside::of(&bed);
    bed.git(&["config", "core.hooksPath", outside.folder.to_str().unwrap()]);
    let runs = asked(&bed, &outside, "hooksPath", &[&["hook", "install"], &["hook", "remove"]]);
    for run in &runs[runs.len() - 2..] {
        assert_eq!(run.code, Some(2));
        assert!(run.flat().contains("outside of it: nothing is written there"), "{run:?}");
    }
    // By a link inside, too.
    symlink(&outside.folder, bed.top().join("hooks")).unwrap();
    bed.git(&["config", "core.hooksPath", "hooks"]);
    let runs = asked(&bed, &outside, "a link", &[&["hook", "install"]]);
    assert_eq!(runs.last().unwrap().code, Some(2));
    bed.git(&["config", "--unset", "core.hooksPath"]);
    // A user's own setting is the user's own word.
    let own = bed.beside("own-hooks");
    fs::write(bed.beside(".gitconfig"), format!("[core]\n\thooksPath = {}\n", own.display())).unwrap();
    let mut command = super::super::git::bed::Bed::command(&bed, crate::git::bed::PROGRAM, bed.top());
    let output = command.args(["hook", "install"]).output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(own.join("pre-commit").exists());
    fs::remove_file(bed.beside(".gitconfig")).unwrap();
    // A work tree elsewhere, and an index that is another's.
    bed.git(&["config", "core.worktree", outside.folder.to_str().unwrap()]);
    asked(&bed, &outside, "worktree", &[]);
}

/// Objects that are borrowed are taken as git takes them: by the digest of what they hold, which tells nothing to
/// whoever does not have them. A store that is not there is none.
#[test]
fn alternates_and_included_settings_outside() {
    let bed = Bed::small();
    let outside = Outside::of(&bed);
    fs::create_dir_all(bed.top().join(".git/objects/info")).unwrap();
    let list = format!("{0}\n{0}/nowhere\n../../../outside/deep\n", outside.folder.display());
    fs::write(bed.top().join(".git/objects/info/alternates"), list).unwrap();
    let config = bed.top().join(".git/config");
    let text = fs::read_to_string(&config).unwrap();
    // A note that is no setting: what of it is quoted in a fault?
    fs::write(&config, format!("{text}[include]\n\tpath = {}/secret.yaml\n", outside.folder.display()))
        .unwrap();
    asked(&bed, &outside, "include", &[]);
    fs::write(&config, &text).unwrap();
    let runs = asked(&bed, &outside, "alternates", &[]);
    assert_eq!(runs[0].code, Some(0), "{:?}", runs[0]);
}

/// Stores of objects that all borrow from each other, and a folder of references that lies elsewhere.
#[test]
fn circles_of_stores_and_references_elsewhere() {
    let bed = Bed::small();
    let stores: Vec<_> = (0..12).map(|number| bed.beside(&format!("store{number}"))).collect();
    let all: String = stores.iter().map(|store| format!("{}\n", store.display())).collect();
    for store in stores.iter().chain([&bed.top().join(".git/objects")]) {
        fs::create_dir_all(store.join("info")).unwrap();
        fs::write(store.join("info/alternates"), &all).unwrap();
    }
    for asked in [&["check"][..], &["history"], &["gaps", "--at", "HEAD"]] {
        let run = bounded(&bed, asked);
        assert_eq!(run.code, Some(0), "{asked:?}: {run:?}");
    }
    fs::remove_file(bed.top().join(".git/objects/info/alternates")).unwrap();
    std::os::unix::fs::symlink(bed.beside("store1"), bed.top().join(".git/refs/heads/elsewhere")).unwrap();
    let run = bounded(&bed, &["check"]);
    assert!(run.code == Some(2) && run.flat().contains("a link to a folder"), "{run:?}");
    fs::remove_file(bed.top().join(".git/refs/heads/elsewhere")).unwrap();
    // Branches lie in folders that may be called like those of objects: what they say is no object.
    for folder in ["refs/heads/ab", "logs/refs/heads/ab"] {
        let file = bed.top().join(".git").join(folder).join("long");
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::File::create(&file).unwrap().set_len(4 << 30).unwrap();
        let run = bounded(&bed, &["check"]);
        assert!(run.code == Some(2) && run.flat().contains("4294967296 bytes long"), "{folder}: {run:?}");
        fs::remove_file(file).unwrap();
    }
    assert_eq!(bounded(&bed, &["check"]).code, Some(0));
}

/// A hard link is a file like any other, but the one who made it can't have more than the file already; what is
/// written replaces the name and leaves the file that it was.
#[test]
fn hard_links_are_replaced_and_not_written_through() {
    let bed = Bed::small();
    let outside = Outside::of(&bed);
    let own = outside.folder.join("skin.yaml");
    fs::write(
        &own,
        bed.read("evidence/e-modulus.yaml").split_once("conformed:").unwrap().0.replace("digest", "#"),
    )
    .unwrap();
    fs::remove_file(bed.top().join("evidence/e-modulus.yaml")).unwrap();
    fs::hard_link(&own, bed.top().join("evidence/e-modulus.yaml")).unwrap();
    fs::create_dir_all(bed.top().join(".git/hooks")).unwrap();
    fs::hard_link(outside.folder.join("pre-commit"), bed.top().join(".git/hooks/pre-commit")).unwrap();
    let _ = fs::remove_file(bed.top().join(".git/bondline-writing.lock"));
    fs::hard_link(outside.folder.join("lock"), bed.top().join(".git/bondline-writing.lock")).unwrap();
    let before = outside.look();
    for arguments in [&["conform", "e-modulus"][..], &["hook", "install"], &["hook", "remove"], &["report"]] {
        let run = bounded(&bed, arguments);
        assert_eq!(run.code, Some(0), "{arguments:?}: {run:?}");
        assert_eq!(outside.look(), before, "{arguments:?}");
    }
    assert!(bed.read("evidence/e-modulus.yaml").contains("conformed:"));
}
