//! Pipes, devices and sockets where files belong: a reader of a pipe waits for ever, one of a device reads for ever.

use super::{EXPORTS, HOOKS, RECORDS, REPORT, STORE, WRITING, bounded};
use crate::git::bed::Bed;
use std::fs;
use std::os::unix::fs::symlink;
use std::os::unix::net::UnixListener;
use std::path::Path;
use std::process::Command;

fn pipe(path: &Path) {
    if path.is_dir() {
        fs::remove_dir_all(path).unwrap();
    } else {
        let _ = fs::remove_file(path);
    }
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

/// Where git's library reads, and what it would find: all commands that meet it are refused, and end.
#[test]
fn where_git_reads_a_file() {
    let places = [
        "HEAD",
        "config",
        "config.worktree",
        "index",
        "packed-refs",
        "shallow",
        "commondir",
        "refs/heads/main",
        "refs/tags/x",
        "info/exclude",
        "info/attributes",
        "info/grafts",
        "logs/HEAD",
        "objects/info/alternates",
        "objects/info/commit-graph",
        "objects/pack/pack-0000000000000000000000000000000000000000.idx",
        "objects/00/00000000000000000000000000000000000000",
        "bondline-writing.json",
        "bondline-writing.lock",
    ];
    for (at, place) in places.iter().enumerate() {
        let bed = Bed::small();
        let path = bed.top().join(".git").join(place);
        if at % 3 == 2 {
            // By a link to a device that never ends.
            let _ = fs::remove_file(&path);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            symlink("/dev/zero", &path).unwrap();
        } else {
            pipe(&path);
        }
        for arguments in [&["check"][..], &["hook", "run"], &["history"], WRITING[0]] {
            let run = bounded(&bed, arguments);
            assert_eq!(run.code, Some(2), "{place}: {arguments:?}: {run:?}");
            let flat = run.flat();
            assert!(flat.contains(".git") && flat.contains("help: "), "{place}: {run:?}");
        }
        // It is taken away, as it says, and all is well; but for HEAD, which is lost.
        if !matches!(*place, "HEAD" | "config" | "index" | "refs/heads/main") {
            fs::remove_file(&path).unwrap();
            assert_eq!(bounded(&bed, &["check"]).code, Some(0), "{place}");
        }
    }
}

#[test]
fn where_settings_and_lists_of_what_is_ignored_point() {
    let with = |bed: &Bed, more: &str| {
        let config = bed.top().join(".git/config");
        let text = fs::read_to_string(&config).unwrap();
        fs::write(config, format!("{text}{more}\n")).unwrap();
    };
    type Plant<'a> = (&'a str, &'a dyn Fn(&Bed));
    let plants: [Plant<'_>; 9] = [
        ("an included setting", &|bed| with(bed, "[include]\n\tpath = ../pipe")),
        ("by a condition", &|bed| with(bed, "[includeIf \"onbranch:main\"]\n\tpath = ../pipe")),
        ("included by an included one", &|bed| {
            bed.write(".git/more", "[include]\n\tpath = ../pipe\n");
            with(bed, "[include]\n\tpath = more");
        }),
        ("excludesFile", &|bed| with(bed, &format!("[core]\n\texcludesFile = {}/pipe", bed.top().display()))),
        ("attributesFile", &|bed| {
            with(bed, &format!("[core]\n\tattributesFile = {}/pipe", bed.top().display()))
        }),
        (".gitignore", &|bed| pipe(&bed.top().join(".gitignore"))),
        ("a folder's .gitignore", &|bed| pipe(&bed.top().join("evidence/data/.gitignore"))),
        (".gitattributes", &|bed| pipe(&bed.top().join(".gitattributes"))),
        ("a borrowed store", &|bed| {
            let other = bed.beside("other");
            pipe(&other.join("info/alternates"));
            bed.write(".git/objects/info/alternates", &format!("{}\n", other.display()));
        }),
    ];
    for (what, plant) in plants {
        let bed = Bed::small();
        pipe(&bed.top().join("pipe"));
        plant(&bed);
        for arguments in [&["check"][..], WRITING[0], &["report"]] {
            let run = bounded(&bed, arguments);
            assert_eq!(run.code, Some(2), "{what}: {arguments:?}: {run:?}");
            assert!(run.flat().contains("is a pipe"), "{what}: {run:?}");
        }
    }
}

#[test]
fn among_the_records_and_where_files_are_written() {
    for place in [
        "ledger.yaml",
        "materials/cw.yaml",
        "materials/more.yaml",
        "materials",
        "evidence/data/m.csv",
        "decisions/dd-001-x.yaml",
        "bondline-report",
        "bondline-report/index.html",
        "bondline-report/bondline-report.json",
        "bondline-export",
        "bondline-export/about.json",
        "bondline-export/tables.json",
        "bondline-export.sqlite",
        ".git/bondline",
        ".git/bondline/store-1.sqlite",
        ".git/bondline/store-1.sqlite-wal",
        ".git/bondline/store-1.sqlite-shm",
        ".git/bondline/store-1.sqlite-journal",
        ".git/bondline/lock",
        ".git/hooks/pre-commit",
        ".git/hooks/pre-commit.before-bondline",
    ] {
        let bed = Bed::small();
        bed.bondline(&["check"]);
        pipe(&bed.top().join(place));
        if place.ends_with(".before-bondline") {
            bed.script(&bed.top().join(".git/hooks/pre-commit"), "#!/bin/sh\n");
        }
        let own: &[&[&str]] = match place {
            place if place.starts_with(".git/bondline") => &STORE,
            place if place.starts_with(".git/hooks") => &HOOKS,
            place if place.starts_with("bondline-export") => &EXPORTS,
            place if place.starts_with("bondline-report") => &REPORT,
            _ => &RECORDS,
        };
        for arguments in own.iter().chain(&RECORDS[..1]) {
            let run = bounded(&bed, arguments);
            assert!(matches!(run.code, Some(0..=2)) && !run.flat().contains("panicked"), "{place}: {run:?}");
        }
        if !place.starts_with(".git") && !place.starts_with("bondline-") && place != "decisions/dd-001-x.yaml"
        {
            let run = bounded(&bed, &["check"]);
            assert!(run.code != Some(0) && run.flat().contains("pipe"), "{place}: {run:?}");
        }
    }
}

/// A socket can't be opened as a file; git's own watcher of files lays one into the git directory.
#[test]
fn sockets_are_no_files_and_no_hindrance() {
    let bed = Bed::small();
    let _git = UnixListener::bind(bed.top().join(".git/fsmonitor--daemon.ipc")).unwrap();
    assert_eq!(bounded(&bed, &["check"]).code, Some(0));
    let _record = UnixListener::bind(bed.top().join("materials/s.yaml")).unwrap();
    let run = bounded(&bed, &["check"]);
    assert!(run.code == Some(1) && run.flat().contains("is a socket, no plain file"), "{run:?}");
}
