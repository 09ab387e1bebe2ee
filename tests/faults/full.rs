//! A disk that is full while something beside the records is written: hooks, pages, exports, a new ledger, the store.
//!
//! As in `tests/git/full_disk.rs`, a limit on the size of files stands for the disk's end.

use crate::git::bed::{Bed, PROGRAM, Run, TODAY};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Runs the program with files no longer than so many blocks of half a kibibyte.
fn limited(bed: &Bed, blocks: u32, arguments: &[&str]) -> Run {
    let mut command = bed.command("sh", bed.top());
    command.args(["-c", "trap '' XFSZ; ulimit -f \"$1\"; shift; exec \"$@\"", "sh"]);
    command.arg(blocks.to_string()).args([PROGRAM, "--today", TODAY]).args(arguments);
    Run::of(&command.output().unwrap())
}

fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry.file_type().unwrap().is_dir() {
            found.extend(files(&entry.path()));
        } else {
            found.insert(entry.path(), fs::read(entry.path()).unwrap());
        }
    }
    found
}

/// With more and more room, until it succeeds: each refusal says which file, and no file is half there.
fn until_it_fits(bed: &Bed, arguments: &[&str], folder: &Path, steps: &[u32]) {
    let first = files(folder);
    let whole = |now: &BTreeMap<PathBuf, Vec<u8>>, then: &BTreeMap<PathBuf, Vec<u8>>| {
        for (path, bytes) in now.iter().filter(|(path, _)| !path.ends_with("bondline-report.json")) {
            let is_whole = [first.get(path), then.get(path)].contains(&Some(bytes));
            assert!(is_whole, "{arguments:?}: {} is half there", path.display());
        }
    };
    let mut left = Vec::new();
    for blocks in steps {
        let run = limited(bed, *blocks, arguments);
        if run.code == Some(0) {
            assert!(!left.is_empty(), "{arguments:?} needs no room");
            let then = files(folder);
            left.iter().for_each(|now| whole(now, &then));
            return;
        }
        super::refused(&run, &["written"]);
        assert!(run.flat().contains("File too large"), "{run:?}");
        left.push(files(folder));
    }
    panic!("{arguments:?} does not fit: {:?}", limited(bed, *steps.last().unwrap(), arguments));
}

#[test]
fn hooks_pages_and_exports_are_whole_or_not_there() {
    let bed = Bed::small();
    bed.script(&bed.top().join(".git/hooks/pre-commit"), "#!/bin/sh\nexit 0\n");
    let steps: Vec<u32> = (0..40).collect();
    until_it_fits(&bed, &["hook", "install"], &bed.top().join(".git/hooks"), &steps);
    assert_eq!(bed.bondline(&["hook", "remove"]).code, Some(0));
    assert_eq!(fs::read_to_string(bed.top().join(".git/hooks/pre-commit")).unwrap(), "#!/bin/sh\nexit 0\n");
    let steps = [0, 1, 4, 16, 48, 4000];
    until_it_fits(&bed, &["report"], &bed.top().join("bondline-report"), &steps);
    for (form, name) in
        [("csv", "bondline-export"), ("xlsx", "bondline-export.xlsx"), ("sqlite", "bondline-export.sqlite")]
    {
        let to = bed.top().join(name);
        for blocks in [0, 2] {
            let run = limited(&bed, blocks, &["export", form]);
            super::refused(&run, &[name]);
            // Of CSV the tables that fitted are there, each whole; of one file nothing.
            assert!(form == "csv" || !to.exists(), "{form}");
        }
        assert_eq!(bed.bondline(&["export", form]).code, Some(0), "{form}");
        let before =
            if to.is_dir() { files(&to) } else { BTreeMap::from([(to.clone(), fs::read(&to).unwrap())]) };
        super::refused(&limited(&bed, 0, &["export", form]), &[name]);
        let after =
            if to.is_dir() { files(&to) } else { BTreeMap::from([(to.clone(), fs::read(&to).unwrap())]) };
        assert_eq!(before, after, "{form}: an earlier export stays as it was");
    }
    let left = |folder: &Path| {
        files(folder).into_keys().filter(|path| path.to_string_lossy().contains("/.bondline-")).count()
    };
    assert_eq!(left(bed.top()), 0, "nothing is left beside the files");
}

#[test]
fn a_new_ledger_and_the_store() {
    let bed = Bed::small();
    super::refused(&limited(&bed, 0, &["new", "fresh"]), &["can't be written"]);
    let run = bed.bondline(&["new", "other"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    // The store is no copy of anything: without room for it the answer is the same, and said without a word.
    let answer = bed.bondline(&["--no-store", "check", "--notes"]);
    for blocks in [0, 1, 8, 24] {
        let run = limited(&bed, blocks, &["check", "--notes"]);
        assert_eq!((run.code, &run.out, &run.err), (answer.code, &answer.out, &answer.err), "{blocks}");
        let again = bed.bondline(&["check", "--notes"]);
        assert_eq!((again.code, &again.out), (answer.code, &answer.out), "{blocks}");
        assert_eq!(bed.bondline(&["store", "clear"]).code, Some(0));
    }
}
