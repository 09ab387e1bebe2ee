//! Damage in git's own files: every command says what it can't read and ends, and answers what it can.

use crate::git::bed::Bed;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

const ASKED: [&[&str]; 6] = [
    &["check"],
    &["hook", "run"],
    &["check", "--at", "HEAD"],
    &["history"],
    &["impact"],
    &["decide", "draft", "X", "--set", "recipe/skin#layers.1.angle=90", "--dry-run"],
];

fn bed() -> Bed {
    let bed = Bed::small();
    bed.edit("recipes/skin.yaml", "angle: 45", "angle: 30");
    bed.commit_all("second");
    bed
}

/// Runs everything into the damage; returns how many were refused.
fn asked(bed: &Bed, what: &str) -> usize {
    let before = bed.read("recipes/skin.yaml");
    let mut refused = 0;
    for arguments in ASKED {
        let run = bed.bondline(arguments);
        assert!(matches!(run.code, Some(0..=2)), "{what}: {arguments:?}: {run:?}");
        assert!(!run.flat().contains("panicked"), "{what}: {arguments:?}: {run:?}");
        if run.code == Some(2) {
            super::refused(&run, &[]);
            // It names what is damaged, and the way to know more.
            let told = [
                "git fsck",
                "git reset",
                "it is whole",
                "git log",
                "name a branch",
                "commit the ledger first",
                "check` shows",
            ];
            assert!(told.iter().any(|word| run.flat().contains(word)), "{what}: {arguments:?}: {run:?}");
            refused += 1;
        }
    }
    assert_eq!(bed.read("recipes/skin.yaml"), before);
    refused
}

/// A file of git's as it may be found after a crash.
fn damages(bytes: &[u8]) -> Vec<(&'static str, Vec<u8>)> {
    let half = bytes[..bytes.len() / 2].to_vec();
    let mut flipped = bytes.to_vec();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 0x55;
    vec![("empty", Vec::new()), ("half", half), ("zeros", vec![0; bytes.len()]), ("flipped", flipped)]
}

#[test]
fn head_references_index_and_settings() {
    let bed = bed();
    let git = bed.top().join(".git");
    let mut all = 0;
    for file in ["HEAD", "refs/heads/main", "index", "config"] {
        let whole = fs::read(git.join(file)).unwrap();
        for (how, bytes) in damages(&whole) {
            fs::write(git.join(file), bytes).unwrap();
            let refused = asked(&bed, &format!("{file} {how}"));
            all += refused;
            // An empty index is a new one, and settings may lack; of a damaged HEAD nothing is guessed.
            assert!(refused > 0 || matches!((file, how), ("index", "empty") | ("config", _)), "{file} {how}");
            fs::write(git.join(file), &whole).unwrap();
        }
        fs::remove_file(git.join(file)).unwrap();
        asked(&bed, &format!("{file} gone"));
        fs::write(git.join(file), &whole).unwrap();
    }
    assert!(all > 25, "{all}");
    let run = bed.bondline(&["check"]);
    assert_eq!(run.code, Some(0), "{run:?}");
}

/// The file of a commit or of an old text is cut off at any length, or gone: it is named, nobody looks for its end for ever,
/// and no revision is blamed.
#[test]
fn old_objects_that_are_cut_off_or_gone() {
    let bed = bed();
    bed.edit("panels/hatch.yaml", "area: 1 m2", "area: 1.2 m2");
    bed.commit_all("third");
    bed.edit("panels/hatch.yaml", "area: 1.2 m2", "area: 1.3 m2");
    bed.commit_all("fourth");
    for of in ["HEAD~2", "HEAD~2^{tree}", "HEAD~2:panels/hatch.yaml"] {
        let id = bed.git(&["rev-parse", of]);
        let file = bed.top().join(".git/objects").join(&id[..2]).join(&id[2..]);
        let bytes = fs::read(&file).unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o644)).unwrap();
        let mut lengths: Vec<Option<usize>> = [1, 2, 10, 20, 30, 40, 60].map(Some).into();
        lengths.push(bytes.len().checked_sub(3));
        lengths.push(None);
        for length in lengths {
            match length.filter(|length| *length < bytes.len()) {
                Some(length) => fs::write(&file, &bytes[..length]).unwrap(),
                None => fs::remove_file(&file).unwrap(),
            }
            let when = format!("{of} cut to {length:?}");
            let at = bed.bondline(&["--no-store", "gaps", "--at", "HEAD~2"]);
            super::refused(&at, &[&id[..7]]);
            assert!(!at.flat().contains("no revision"), "{when}: {at:?}");
            let run = bed.bondline(&["--no-store", "history", "--grew", "hatch"]);
            let is_noted =
                run.code == Some(0) && run.err.contains(&format!("git's object {id} can't be read"));
            assert!(is_noted || run.code == Some(2) && run.flat().contains(&id[..7]), "{when}: {run:?}");
            fs::write(&file, &bytes).unwrap();
        }
        let run = bed.bondline(&["--no-store", "history", "--grew", "hatch"]);
        assert!(run.code == Some(0) && run.err.is_empty(), "{run:?}");
    }
}

/// A `.git` that is damaged is not taken for none: what is ignored and what is approved would be others.
#[test]
fn a_repository_that_is_none_any_more_is_not_passed_over() {
    let bed = bed();
    let git = bed.top().join(".git");
    fs::remove_file(git.join("HEAD")).unwrap();
    for arguments in [&["check"][..], &["hook", "run"], &["conform", "e-adhesion"]] {
        super::refused(&bed.bondline(arguments), &["it is damaged", ".git"]);
    }
    // Inside another repository it would be that one's.
    let outer = bed.room();
    bed.git_at(outer, &["init", "-q", "--template="]);
    super::refused(&bed.bondline(&["check"]), &["it is damaged", "repo/.git"]);
    // An empty folder of the name never was one.
    fs::remove_dir_all(&git).unwrap();
    fs::create_dir(&git).unwrap();
    assert_eq!(bed.bondline(&["check"]).code, Some(0));
}

fn objects(folder: &Path) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = Vec::new();
    for entry in fs::read_dir(folder).unwrap().flatten() {
        match entry.file_type().unwrap().is_dir() {
            true => all.extend(objects(&entry.path())),
            false => all.push(entry.path()),
        }
    }
    all.sort();
    all
}

#[test]
fn every_object_of_the_repository() {
    let bed = bed();
    let store = bed.top().join(".git/objects");
    let answer = bed.bondline(&["--no-store", "check"]);
    let (mut refused, mut seen) = (0, 0);
    for (at, path) in objects(&store).into_iter().enumerate() {
        let whole = fs::read(&path).unwrap();
        let (how, bytes) = damages(&whole).swap_remove(at % 4);
        fs::set_permissions(&path, std::os::unix::fs::PermissionsExt::from_mode(0o644)).unwrap();
        fs::write(&path, bytes).unwrap();
        for arguments in [
            &["--no-store", "check", "--at", "HEAD"][..],
            &["--no-store", "impact", "HEAD~1", "HEAD"],
            &["--no-store", "hook", "run"],
        ] {
            let run = bed.bondline(arguments);
            assert!(matches!(run.code, Some(0..=2)), "{how}: {arguments:?}: {run:?}");
            assert!(!run.flat().contains("panicked"), "{run:?}");
            refused += usize::from(run.code != Some(0));
            seen += 1;
        }
        // Files on disk need no object to be read, only to be held against what was committed.
        let run = bed.bondline(&["--no-store", "check"]);
        assert!(run.out == answer.out || run.code == Some(2), "{how} {}: {run:?}", path.display());
        fs::write(&path, &whole).unwrap();
    }
    assert!(refused > seen / 3, "{refused} of {seen}");
    assert_eq!(bed.bondline(&["--no-store", "check", "--at", "HEAD"]).out, answer.out);
}

#[test]
fn a_pack_that_is_damaged_anywhere() {
    let bed = bed();
    bed.git(&["gc", "-q"]);
    let store = bed.top().join(".git/objects/pack");
    for path in objects(&store)
        .into_iter()
        .filter(|path| path.extension().is_some_and(|end| end == "pack" || end == "idx"))
    {
        let whole = fs::read(&path).unwrap();
        fs::set_permissions(&path, std::os::unix::fs::PermissionsExt::from_mode(0o644)).unwrap();
        let mut refused = 0;
        for part in 0..12 {
            let mut bytes = whole.clone();
            match part {
                0 => bytes.clear(),
                1 => bytes.truncate(whole.len() / 2),
                part => {
                    let at = whole.len() * (part - 2) / 10;
                    bytes[at..(at + 8).min(whole.len())].iter_mut().for_each(|byte| *byte ^= 0xa5);
                }
            }
            fs::write(&path, bytes).unwrap();
            for arguments in [&["--no-store", "check", "--at", "HEAD"][..], &["history"]] {
                let run = bed.bondline(arguments);
                assert!(matches!(run.code, Some(0..=2)), "{part}: {arguments:?}: {run:?}");
                assert!(!run.flat().contains("panicked"), "{run:?}");
                refused += usize::from(run.code == Some(2));
            }
        }
        assert!(refused > 4, "{}: {refused}", path.display());
        fs::write(&path, &whole).unwrap();
    }
    assert_eq!(bed.bondline(&["check", "--at", "HEAD"]).code, Some(0));
}
