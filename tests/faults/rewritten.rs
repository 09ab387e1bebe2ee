//! Files as git or a file system makes others of them: line ends, names that differ by case, names that are no UTF-8,
//! files that are longer than any record.

use crate::git::bed::{Bed, PROGRAM, TODAY};
use crate::hostile::{bounded, within};
use std::ffi::OsStr;
use std::fs::{self, File};
use std::os::unix::ffi::OsStrExt;

/// A checkout with carriage returns is the same ledger: no verdict, no digest and no gate sees another.
#[test]
fn line_ends_that_git_rewrites() {
    let bed = Bed::small();
    let asked = [&["check", "--notes"][..], &["gaps", "--all"], &["impact"], &["hook", "run"], &["mass"]];
    let answers = asked.map(|arguments| bed.bondline(arguments).out);
    let again = |bed: &Bed| {
        for file in bed.git(&["ls-files"]).lines() {
            fs::remove_file(bed.top().join(file)).unwrap();
        }
        bed.git(&["checkout", "--", "."]);
    };
    bed.git(&["config", "core.autocrlf", "true"]);
    again(&bed);
    assert!(
        bed.read("evidence/data/m.csv").contains("\r\n") && bed.read("recipes/skin.yaml").contains("\r\n")
    );
    for (arguments, answer) in asked.iter().zip(&answers) {
        let run = bed.bondline(arguments);
        assert_eq!((run.code, &run.out), (Some(0), answer), "{arguments:?}: {run:?}");
    }
    // Other figures are other data, whatever ends their lines.
    bed.edit("evidence/data/m.csv", "61", "62");
    assert!(bed.bondline(&["check"]).out.contains("digest-differs"));
    bed.edit("evidence/data/m.csv", "62", "61");
    // What is conformed there holds where lines end plainly.
    let text = bed.read("evidence/e-modulus.yaml");
    let plain: String = text
        .split_once("conformed:")
        .unwrap()
        .0
        .lines()
        .filter(|line| !line.starts_with("digest"))
        .map(|line| format!("{line}\r\n"))
        .collect();
    bed.write("evidence/e-again.yaml", &plain.replace("m.csv", "again.csv"));
    bed.write("evidence/data/again.csv", "batch,panel,specimen,value [GPa]\r\nb2,p1,s1,61\r\n");
    let run = bed.bondline(&["conform", "e-again"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    bed.git(&["add", "-A"]);
    let run = bed.bondline(&["hook", "run"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    bed.commit_all("Conformed beside carriage returns");
    bed.git(&["config", "core.autocrlf", "false"]);
    again(&bed);
    assert!(!bed.read("evidence/data/m.csv").contains('\r'));
    let run = bed.bondline(&["check", "--notes"]);
    assert!(run.code == Some(0) && !run.out.contains("digest"), "{run:?}");
}

#[test]
fn edits_keep_the_line_ends_that_they_find() {
    let bed = Bed::small();
    bed.git(&["config", "core.autocrlf", "true"]);
    for file in bed.git(&["ls-files"]).lines() {
        fs::remove_file(bed.top().join(file)).unwrap();
    }
    bed.git(&["checkout", "--", "."]);
    let before = bed.read("recipes/skin.yaml");
    let run = bed.bondline(&["decide", "draft", "Turn", "--set", "recipe/skin#layers.1.angle=90"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    let drafted = bed.read("decisions/dd-001-turn.yaml");
    bed.write("decisions/dd-001-turn.yaml", &drafted.replace('\n', "\r\n"));
    let run = bed.bondline(&["decide", "apply", "dd-001"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    assert_eq!(bed.read("recipes/skin.yaml"), before.replace("angle: 45", "angle: 90"));
    assert_eq!(bed.bondline(&["decide", "apply", "dd-001", "--undo"]).code, Some(0));
    assert_eq!(bed.read("recipes/skin.yaml"), before);
}

#[test]
fn names_that_differ_by_case_alone() {
    let bed = Bed::small();
    // As a system that takes both for one never could make them.
    bed.write("materials/CW.yaml", &bed.read("materials/cw.yaml"));
    bed.write("Materials/other.yaml", "kind: part\nmass: 1 g\n");
    bed.git(&["add", "-A"]);
    for arguments in [&["check"][..], &["check", "--staged"]] {
        let run = bed.bondline(arguments);
        assert_eq!(run.code, Some(1), "{run:?}");
        for words in
            ["`materials/CW.yaml` and `materials/cw.yaml` are both material `cw`", "rename it to `materials`"]
        {
            assert!(run.flat().contains(words), "{words}: {run:?}");
        }
    }
    assert_eq!(bed.bondline(&["hook", "run"]).code, Some(1));
    // Neither is taken for the other: what rests on them has no answer.
    super::refused(&bed.bondline(&["mass", "hatch"]), &["duplicate-id"]);
}

#[test]
fn names_that_are_no_utf8() {
    let bed = Bed::small();
    let odd = |name: &[u8]| bed.top().join(OsStr::from_bytes(name));
    fs::write(odd(b"materials/\xff\x1b[31m.yaml"), "kind: part\nmass: 1 g\n").unwrap();
    fs::create_dir(odd(b"panels/\xe9")).unwrap();
    fs::write(odd(b"panels/\xe9/x.yaml"), "x").unwrap();
    fs::write(odd(b"\xfe"), "beside the ledger's folders").unwrap();
    let run = bed.bondline(&["check"]);
    assert_eq!(run.code, Some(1), "{run:?}");
    assert_eq!(run.out.matches("is a file whose name is not UTF-8").count(), 2, "{run:?}");
    assert!(!run.out.contains('\x1b'), "{run:?}");
    bed.git(&["add", "-A"]);
    assert_eq!(bed.bondline(&["hook", "run"]).code, Some(1));
    for arguments in [&["report"][..], &["export", "json"], &["mass"]] {
        assert_eq!(bed.bondline(arguments).code, Some(0), "{arguments:?}");
    }
    // A ledger below such a folder, in a repository and in none.
    for has_git in [true, false] {
        let folder = odd(b"l\xff");
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("ledger.yaml"), "format: 1\nprogramme: Test (invented)\n").unwrap();
        if !has_git {
            fs::remove_dir_all(bed.top().join(".git")).unwrap();
        }
        let output = bed.command(PROGRAM, &folder).args(["--today", TODAY, "check"]).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        match has_git {
            true => assert!(output.status.code() == Some(2) && said.contains("is not UTF-8"), "{said}"),
            false => assert_eq!(output.status.code(), Some(0), "{said}"),
        }
    }
}

/// Sparse files: nothing of them is read.
#[test]
fn four_gigabytes_anywhere() {
    let bed = Bed::small();
    let huge = |path: &str| {
        let file = bed.top().join(path);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        let was = fs::read(&file).ok();
        File::options()
            .write(true)
            .create(true)
            .truncate(true)
            .open(&file)
            .unwrap()
            .set_len(4 << 30)
            .unwrap();
        move || match &was {
            Some(was) => fs::write(&file, was).unwrap(),
            None => fs::remove_file(&file).unwrap(),
        }
    };
    let told = |path: &str, arguments: &[&str], code: i32, words: &str| {
        let put_back = huge(path);
        let run = bounded(&bed, arguments);
        put_back();
        assert_eq!(run.code, Some(code), "{path}: {arguments:?}: {run:?}");
        assert!(run.flat().contains(words), "{path}: {words}: {run:?}");
    };
    told("materials/huge.yaml", &["check"], 1, "4294967296 bytes long; at most");
    told("materials/cw.yaml", &["mass", "hatch"], 2, "4294967296 bytes long; at most");
    told("ledger.yaml", &["check"], 1, "4294967296 bytes long; at most");
    told("evidence/data/m.csv", &["check"], 1, "4294967296 bytes long; at most");
    told("evidence/data/m.csv", &["conform", "e-modulus"], 2, "m");
    told("materials/huge.bin", &["check"], 0, "no faults");
    for git in [
        ".git/index",
        ".git/HEAD",
        ".git/config",
        ".git/packed-refs",
        ".git/refs/heads/main",
        ".git/info/exclude",
        ".gitignore",
        "materials/.gitignore",
    ] {
        told(git, &["check"], 2, "4294967296 bytes long, of which at most");
    }
    told(
        ".git/bondline-writing.json",
        &["decide", "draft", "X", "--set", "recipe/skin#layers.1.angle=90"],
        2,
        "cut short",
    );
    told(".git/hooks/pre-commit", &["hook", "install"], 0, "hook that was there before");
    told("bondline-report/bondline-report.json", &["report"], 2, "holds other things");
    fs::remove_dir_all(bed.top().join("bondline-report")).unwrap();
    assert_eq!(bed.bondline(&["report"]).code, Some(0));
    told("bondline-report/index.html", &["report"], 0, "pages in");
    told("bondline-export.xlsx", &["export", "xlsx"], 2, "no such export");
    told("bondline-export.sqlite", &["export", "sqlite"], 2, "no such export");
    told(".git/bondline/store-1.sqlite", &["check"], 0, "no faults");
    within(&bed, &["check"]);
}
