//! SIGKILL at any moment of a command that writes: what stood there or what shall stand there, each file whole, and
//! the next command completes it.

use super::killed_at_many_moments;
use crate::git::bed::Bed;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Every file below a folder, but for git's own.
fn all(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut waiting = vec![folder.to_path_buf()];
    while let Some(own) = waiting.pop() {
        for entry in fs::read_dir(own).into_iter().flatten().flatten() {
            match entry.file_type().unwrap().is_dir() {
                true if entry.file_name() == ".git" => {}
                true => waiting.push(entry.path()),
                false => drop(found.insert(
                    entry.path().strip_prefix(folder).unwrap().to_path_buf(),
                    fs::read(entry.path()).unwrap(),
                )),
            }
        }
    }
    found
}

fn is_left(path: &Path) -> bool {
    path.file_name().unwrap().to_string_lossy().starts_with(".bondline-")
}

const THEIRS: &str = "#!/bin/sh\n# Somebody's own hook, which must never be lost.\nexit 0\n";
const HOOKS: [&str; 3] = ["pre-commit", "pre-merge-commit", "prepare-commit-msg"];

#[test]
fn the_installing_of_the_hook() {
    let bed = Bed::small();
    let hooks = bed.top().join(".git/hooks");
    let hook = |name: &str| fs::read_to_string(hooks.join(name)).ok();
    let lay = || {
        let _ = fs::remove_dir_all(&hooks);
        bed.script(&hooks.join("pre-commit"), THEIRS);
    };
    lay();
    assert_eq!(bed.bondline(&["hook", "install"]).code, Some(0));
    let ours = HOOKS.map(|name| hook(name).unwrap());
    killed_at_many_moments(&bed, &["hook", "install"], 24, lay, |moment| {
        for (name, ours) in HOOKS.iter().zip(&ours) {
            let now = hook(name);
            let is_whole = match now.as_deref() {
                None => *name != "pre-commit",
                Some(now) => now == ours || *name == "pre-commit" && now == THEIRS,
            };
            assert!(is_whole, "{moment}: {name}: {now:?}");
        }
        let kept = hook("pre-commit.before-bondline");
        assert!(kept.as_deref().is_none_or(|kept| kept == THEIRS), "{moment}: {kept:?}");
        assert!(kept.is_some() || hook("pre-commit").as_deref() == Some(THEIRS), "{moment}: it is lost");
        let run = bed.bondline(&["hook", "install"]);
        assert_eq!(run.code, Some(0), "{moment}: {run:?}");
        assert_eq!(HOOKS.map(|name| hook(name).unwrap()), ours, "{moment}");
        assert!(!all(&hooks).keys().any(|path| is_left(path)), "{moment}: something is left over");
        assert_eq!(bed.bondline(&["hook", "remove"]).code, Some(0));
        assert_eq!(hook("pre-commit").as_deref(), Some(THEIRS), "{moment}");
        assert_eq!(all(&hooks).len(), 1, "{moment}");
    });
    // What a kill left in the midst of a file, which is a matter of microseconds, is swept by the next.
    lay();
    fs::write(hooks.join(".bondline-hook.x1"), "#!/bi").unwrap();
    assert_eq!(bed.bondline(&["hook", "install"]).code, Some(0));
    assert!(!hooks.join(".bondline-hook.x1").exists());
}

#[test]
fn the_removing_of_the_hook() {
    let bed = Bed::small();
    let hooks = bed.top().join(".git/hooks");
    let lay = || {
        let _ = fs::remove_dir_all(&hooks);
        bed.script(&hooks.join("pre-commit"), THEIRS);
        assert_eq!(bed.bondline(&["hook", "install"]).code, Some(0));
    };
    killed_at_many_moments(&bed, &["hook", "remove"], 15, lay, |moment| {
        // One that was killed when all was done leaves nothing to be removed, and is told so.
        let is_done = all(&hooks).len() == 1;
        let run = bed.bondline(&["hook", "remove"]);
        assert_eq!(run.code, Some(if is_done { 2 } else { 0 }), "{moment}: {run:?}");
        assert_eq!(fs::read_to_string(hooks.join("pre-commit")).unwrap(), THEIRS, "{moment}");
        assert_eq!(all(&hooks).len(), 1, "{moment}: {:?}", all(&hooks).keys());
    });
}

#[test]
fn conforming_several_records() {
    let bed = Bed::small();
    let names: Vec<String> = (0..12).map(|n| format!("e-{n}")).collect();
    let text = bed.read("evidence/e-adhesion.yaml");
    let (plain, _) = text.split_once("conformed:").unwrap();
    let arguments: Vec<&str> = std::iter::once("conform").chain(names.iter().map(String::as_str)).collect();
    let lay = || names.iter().for_each(|name| bed.write(&format!("evidence/{name}.yaml"), plain));
    lay();
    assert_eq!(bed.bondline(&arguments).code, Some(0));
    let shall = bed.read("evidence/e-0.yaml");
    let count = |words: &str| {
        let is = |name: &&String| bed.read(&format!("evidence/{name}.yaml")) == words;
        names.iter().filter(is).count()
    };
    killed_at_many_moments(&bed, &arguments, 20, lay, |moment| {
        let (old, new) = (count(plain), count(&shall));
        assert_eq!(old + new, names.len(), "{moment}: a record is neither");
        let is_noted = bed.top().join(".git/bondline-writing.json").exists();
        assert!(is_noted || old == 0 || new == 0, "{moment}: {old} and {new}, and nothing says so");
        // Whoever writes next finishes it, and says so.
        let draft = ["decide", "draft", "Next", "--set", "recipe/skin#layers.1.angle=90", "--dry-run"];
        let run = bed.bondline(&draft);
        assert_eq!(run.code, Some(0), "{moment}: {run:?}");
        assert!(count(plain) == 0 || count(&shall) == 0, "{moment}: half of it stays");
        assert!(!bed.top().join(".git/bondline-writing.json").exists());
    });
}

#[test]
fn a_report_over_an_earlier_one() {
    let bed = Bed::small();
    let folder = bed.top().join("bondline-report");
    let write = || assert_eq!(bed.bondline(&["report"]).code, Some(0));
    let is_page = |path: &Path| path.extension().is_some_and(|ending| ending != "json");
    write();
    let old = all(&folder);
    bed.edit("recipes/skin.yaml", "angle: 45", "angle: 30");
    write();
    let new = all(&folder);
    assert!(old.iter().any(|(path, bytes)| new.get(path) != Some(bytes)));
    let lay = || {
        for (path, bytes) in &old {
            fs::write(folder.join(path), bytes).unwrap();
        }
    };
    killed_at_many_moments(&bed, &["report"], 12, lay, |moment| {
        for (path, bytes) in all(&folder).iter().filter(|(path, _)| is_page(path) && !is_left(path)) {
            let known = [old.get(path), new.get(path)];
            assert!(known.contains(&Some(bytes)), "{moment}: {} is torn", path.display());
        }
        write();
        assert_eq!(all(&folder), new, "{moment}");
    });
    // Into a new folder: no page but whole ones, and what is there is known as a report.
    let lay = || drop(fs::remove_dir_all(&folder));
    killed_at_many_moments(&bed, &["report"], 9, lay, |moment| {
        for (path, bytes) in all(&folder).iter().filter(|(path, _)| is_page(path) && !is_left(path)) {
            assert_eq!(new.get(path), Some(bytes), "{moment}: {} is torn", path.display());
        }
        write();
        assert_eq!(all(&folder), new, "{moment}");
    });
    // Killed before it had written anything but the beginning of its first file.
    lay();
    bed.write("bondline-report/.bondline-x1", "{\"sch");
    write();
    assert_eq!(all(&folder), new);
}

#[test]
fn exports_and_imports() {
    let bed = Bed::small();
    let told =
        [("csv", "bondline-export"), ("xlsx", "bondline-export.xlsx"), ("sqlite", "bondline-export.sqlite")];
    for (form, name) in told {
        let to = bed.top().join(name);
        assert_eq!(bed.bondline(&["export", form]).code, Some(0));
        let kept =
            if to.is_dir() { all(&to) } else { BTreeMap::from([(PathBuf::new(), fs::read(&to).unwrap())]) };
        bed.edit("materials/prime.yaml", "1500 kg/m3", "1501 kg/m3");
        killed_at_many_moments(
            &bed,
            &["export", form],
            5,
            || {},
            |moment| {
                let now = if to.is_dir() {
                    all(&to)
                } else {
                    BTreeMap::from([(PathBuf::new(), fs::read(&to).unwrap())])
                };
                let own: Vec<&PathBuf> =
                    now.keys().filter(|path| path.as_os_str().is_empty() || !is_left(path)).collect();
                assert_eq!(own, kept.keys().collect::<Vec<_>>(), "{moment}");
                // What stands there is an export still, whole, old or new: the tool takes it for one without force.
                let run = bed.bondline(&["export", form]);
                assert_eq!(run.code, Some(0), "{moment}: {run:?}");
            },
        );
        bed.edit("materials/prime.yaml", "1501 kg/m3", "1500 kg/m3");
    }
    let rows: String = (0..40).map(|n| format!("part-{n},part,{} g\n", n + 1)).collect();
    bed.write("rows.csv", &format!("id,kind,mass\n{rows}"));
    let import = ["import", "csv", "materials", "rows.csv", "--write"];
    let made = || (0..40).filter(|n| bed.top().join(format!("materials/part-{n}.yaml")).exists()).count();
    let lay = || {
        for n in 0..40 {
            let _ = fs::remove_file(bed.top().join(format!("materials/part-{n}.yaml")));
        }
    };
    killed_at_many_moments(&bed, &import, 10, lay, |moment| {
        let run = bed.bondline(&import);
        assert!(matches!(run.code, Some(0)), "{moment}: {run:?}");
        assert_eq!(made(), 40, "{moment}");
        let run = bed.bondline(&["check"]);
        assert_eq!(run.code, Some(0), "{moment}: {run:?}");
    });
}
