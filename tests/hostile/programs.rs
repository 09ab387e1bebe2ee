//! Everything in a repository that makes git run a program, each with one that leaves a mark.

use super::{READING, WRITING, bounded};
use crate::git::bed::Bed;
use std::fs;

/// Sets all that a repository can bring along; returns the file that would be there if any of it were run.
fn armed(bed: &Bed) -> std::path::PathBuf {
    let (mark, evil) = (bed.beside("mark"), bed.beside("evil"));
    bed.script(&evil, &format!("#!/bin/sh\necho \"$0 $*\" >>'{}'\ncat\nexit 0\n", mark.display()));
    let evil = evil.display().to_string();
    let mut settings = String::new();
    for (section, keys) in [
        (
            "core",
            &["pager", "editor", "fsmonitor", "sshCommand", "askPass", "alternateRefsCommand", "gitProxy"][..],
        ),
        ("diff", &["external"]),
        ("diff \"evil\"", &["command", "textconv"]),
        ("filter \"evil\"", &["clean", "smudge", "process"]),
        ("merge \"evil\"", &["driver"]),
        ("credential", &["helper"]),
        ("gpg", &["program"]),
        ("gpg \"ssh\"", &["program", "defaultKeyCommand"]),
        ("pager", &["log", "show", "diff"]),
        ("sequence", &["editor"]),
        ("uploadpack", &["packObjectsHook"]),
        ("trailer \"decision\"", &["cmd", "command"]),
        ("browser \"evil\"", &["cmd", "path"]),
        ("remote \"origin\"", &["uploadpack", "receivepack", "vcs"]),
    ] {
        settings.push_str(&format!("[{section}]\n"));
        keys.iter().for_each(|key| settings.push_str(&format!("\t{key} = {evil}\n")));
    }
    for word in ["cat-file", "diff", "log", "status", "check"] {
        settings.push_str(&format!("[alias]\n\t{word} = !{evil}\n"));
    }
    settings.push_str(&format!("[remote \"origin\"]\n\turl = ext::{evil}\n[filter \"evil\"]\n\trequired = true\n[extensions]\n\tpartialClone = origin\n"));
    let included = bed.top().join(".git/more");
    // Settings of settings count as well.
    fs::write(&included, settings.replace("[extensions]\n\tpartialClone = origin\n", "")).unwrap();
    let config = bed.top().join(".git/config");
    let text = fs::read_to_string(&config).unwrap();
    fs::write(&config, format!("{text}[include]\n\tpath = more\n[commit]\n\tgpgSign = true\n")).unwrap();
    for hook in [
        "pre-commit",
        "post-checkout",
        "post-index-change",
        "fsmonitor-watchman",
        "reference-transaction",
        "pre-auto-gc",
        "prepare-commit-msg",
        "post-commit",
        "update",
        "post-merge",
        "pre-merge-commit",
    ] {
        bed.script(&bed.top().join(".git/hooks").join(hook), &format!("#!/bin/sh\nexec '{evil}' {hook}\n"));
    }
    for file in [".gitattributes", "materials/.gitattributes"] {
        bed.write(file, "* filter=evil diff=evil merge=evil text working-tree-encoding=UTF-16\n");
    }
    bed.write(
        ".gitmodules",
        &format!("[submodule \"x\"]\n\tpath = materials/x\n\turl = ext::{evil}\n\tupdate = !{evil}\n"),
    );
    for name in [".envrc", "bondline", "git", "less", "sh", ".bondline/init", "bondline.toml"] {
        bed.script(&bed.top().join(name), &format!("#!/bin/sh\nexec '{evil}' {name}\n"));
    }
    mark
}

#[test]
fn nothing_of_a_repository_is_run() {
    let bed = Bed::small();
    bed.edit("recipes/skin.yaml", "angle: 45", "angle: 30");
    bed.commit_all("second");
    let answers = READING.map(|arguments| bounded(&bed, arguments).out);
    let mark = armed(&bed);
    for (arguments, answer) in READING.iter().zip(&answers) {
        let run = bounded(&bed, arguments);
        assert!(!mark.exists(), "{arguments:?} ran {}", fs::read_to_string(&mark).unwrap());
        assert_eq!(run.out, *answer, "{arguments:?}: {run:?}");
    }
    for arguments in WRITING {
        let run = bounded(&bed, arguments);
        assert!(!run.flat().contains("panicked"), "{run:?}");
        assert!(!mark.exists(), "{arguments:?} ran {}", fs::read_to_string(&mark).unwrap());
    }
    for arguments in [
        &["hook", "install"][..],
        &["impact", "HEAD~1", "HEAD"],
        &["impact", "--merge", "HEAD~1", "HEAD"],
        &["compare", "HEAD~1", "HEAD", "--base", "HEAD~1"],
        &["hook", "remove"],
    ] {
        let run = bounded(&bed, arguments);
        assert_eq!(run.code, Some(0), "{arguments:?}: {run:?}");
        assert!(!mark.exists(), "{arguments:?} ran {}", fs::read_to_string(&mark).unwrap());
    }
    // The mark is one: git itself runs what was planted.
    let _ = bed.try_git(&["-c", "core.fsmonitor=", "diff"]);
    let _ = bed.try_git(&["status"]);
    assert!(mark.exists(), "nothing of what was planted works");
}
