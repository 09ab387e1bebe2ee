//! The hook on real repositories, with real `git commit`s and a stand-in for the program.

use std::os::unix::fs::symlink;
use std::process::{Command, Output};

use super::super::testbed::{Bed, write};
use super::*;

/// A `git` that no user's or system's configuration reaches.
fn git(at: &Path, arguments: &[&str]) -> Output {
    let output = Command::new("git")
        .args(arguments)
        .current_dir(at)
        .env_clear()
        // Without a `bondline` on it, whoever runs the tests.
        .env("PATH", "/usr/bin:/bin")
        .env("HOME", at)
        .env("GIT_CONFIG_GLOBAL", "/dev/null")
        .env("GIT_CONFIG_NOSYSTEM", "1")
        .envs(["AUTHOR", "COMMITTER"].into_iter().flat_map(|who| {
            [
                (format!("GIT_{who}_NAME"), "A. Tester"),
                (format!("GIT_{who}_EMAIL"), "tester@example.org"),
                (format!("GIT_{who}_DATE"), "2026-03-14T12:00:00Z"),
            ]
        }))
        .output();
    output.unwrap_or_else(|error| panic!("git cannot be run: {error}"))
}

/// Makes a change and commits it; says whether the commit was let through, and what was said.
fn commit(at: &Path) -> (bool, String) {
    let before = git(at, &["rev-parse", "HEAD"]).stdout;
    git(at, &["add", "-A"]);
    let output = git(at, &["commit", "-q", "--allow-empty", "-m", "a change"]);
    let made = git(at, &["rev-parse", "HEAD"]).stdout != before;
    assert_eq!(made, output.status.success());
    (made, String::from_utf8_lossy(&output.stderr).into_owned())
}

fn executable(path: &Path, text: &str) {
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, text).unwrap();
    fs::set_permissions(path, fs::Permissions::from_mode(0o755)).unwrap();
}

/// A stand-in for the program that notes how it was called and answers `status`.
fn program(bed: &Bed, name: &str, status: u8) -> PathBuf {
    let path = bed.dir.path().join(name);
    let log = bed.dir.path().join("log");
    executable(
        &path,
        &format!("#!/bin/sh\necho \"program [$*] in [$(pwd -P)]\" >>'{}'\nexit {status}\n", log.display()),
    );
    path
}

/// What was called since this was last asked, but for the hook of messages.
fn log(bed: &Bed) -> String {
    let all = all_calls(bed);
    all.split_inclusive("]\n").filter(|call| !call.contains("hook decisions]")).collect()
}

fn all_calls(bed: &Bed) -> String {
    let log = bed.dir.path().join("log");
    let text = fs::read_to_string(&log).unwrap_or_default();
    let _ = fs::remove_file(log);
    text
}

fn called(bed: &Bed, folder: &str) -> String {
    format!("program [-C {folder} hook run] in [{}]\n", bed.top().display())
}

#[test]
fn the_program_decides_over_a_commit() {
    let bed = Bed::small();
    let report = install(&bed.place(), &program(&bed, "bondline", 0)).unwrap();
    assert_eq!((report.done, report.chained), (HookDone::Installed, None));
    assert_eq!(report.path, bed.top().join(".git/hooks/pre-commit"));
    assert_eq!(fs::metadata(&report.path).unwrap().permissions().mode() & 0o777, 0o755);
    assert_eq!(commit(&bed.top()), (true, String::new()));
    assert_eq!(log(&bed), called(&bed, "."));
    program(&bed, "bondline", 1);
    assert_eq!(commit(&bed.top()), (false, String::new()), "what it found it has said itself");
    for status in [2, 101] {
        program(&bed, "bondline", status);
        let (made, said) = commit(&bed.top());
        assert!(!made);
        assert!(said.contains(&format!("could not check this commit (status {status}")), "{said}");
        assert!(said.contains("git commit --no-verify"), "{said}");
    }
    // The way on that it names is one.
    assert!(git(&bed.top(), &["commit", "-q", "--allow-empty", "--no-verify", "-m", "on"]).status.success());
}

#[test]
fn the_program_is_looked_for_and_its_absence_refuses() {
    let bed = Bed::small();
    let path = program(&bed, "bondline", 0);
    install(&bed.place(), &path).unwrap();
    fs::remove_file(&path).unwrap();
    let (made, said) = commit(&bed.top());
    assert!(!made);
    for words in ["neither where it was installed from nor on PATH", "bondline hook install", "--no-verify"] {
        assert!(said.contains(words), "{said}");
    }
    // On PATH: run the script itself, as git would.
    let elsewhere = bed.dir.path().join("bin");
    fs::create_dir(&elsewhere).unwrap();
    let found = program(&bed, "bin/bondline", 1);
    assert!(found.exists());
    let status = Command::new(bed.top().join(".git/hooks/pre-commit"))
        .current_dir(bed.top())
        .env("PATH", format!("{}:/usr/bin:/bin", elsewhere.display()))
        .status()
        .unwrap();
    assert_eq!(status.code(), Some(1));
    assert_eq!(log(&bed), called(&bed, "."));
}

#[test]
fn a_hook_that_was_there_runs_first_and_comes_back_as_it_was() {
    let bed = Bed::small();
    let hook = bed.top().join(".git/hooks/pre-commit");
    let log_file = bed.dir.path().join("log");
    let old = format!(
        "#!/bin/sh\n# \u{e4}\necho \"old [$*] as [${{0##*/}}]\" >>'{}'\n[ ! -e veto ]\n",
        log_file.display()
    );
    executable(&hook, &old);
    fs::set_permissions(&hook, fs::Permissions::from_mode(0o751)).unwrap();
    let place = bed.place();
    assert_eq!(state(&place).unwrap().kind, HookKind::Other);
    let program = program(&bed, "bondline", 0);
    let report = install(&place, &program).unwrap();
    let before = hook.with_file_name(format!("{HOOK}{BEFORE}"));
    assert_eq!(report.chained.as_deref(), Some(before.as_path()));
    assert!(commit(&bed.top()).0);
    assert_eq!(log(&bed), format!("old [] as [{HOOK}{BEFORE}]\n{}", called(&bed, ".")));
    // What the old one refuses stays refused, and ours is not asked.
    bed.write("veto", "");
    assert!(!commit(&bed.top()).0);
    assert_eq!(log(&bed), format!("old [] as [{HOOK}{BEFORE}]\n"));
    bed.remove("veto");
    // Again: nothing to do, and the old one is not lost.
    let first = fs::read(&hook).unwrap();
    assert_eq!(install(&place, &program).unwrap().done, HookDone::Unchanged);
    assert_eq!(fs::read(&hook).unwrap(), first);
    assert_eq!(fs::read_to_string(&before).unwrap(), old);
    let report = remove(&place).unwrap();
    assert_eq!((report.done, report.chained), (HookDone::Removed, None));
    assert_eq!(fs::read_to_string(&hook).unwrap(), old);
    assert_eq!(fs::metadata(&hook).unwrap().permissions().mode() & 0o777, 0o751);
    assert!(!exists(&before));
    assert!(commit(&bed.top()).0);
    assert_eq!(log(&bed), "old [] as [pre-commit]\n");
    assert!(matches!(remove(&place), Err(HookError::NotOurs { .. })));
}

#[test]
fn arguments_and_input_reach_the_hook_that_was_there() {
    let bed = Bed::small();
    let hook = bed.top().join(".git/hooks/pre-commit");
    let log_file = bed.dir.path().join("log");
    executable(
        &hook,
        &format!(
            "#!/bin/sh\nfor a; do echo \"<$a>\"; done >>'{0}'\ncat >>'{0}'\nexit 7\n",
            log_file.display()
        ),
    );
    install(&bed.place(), &program(&bed, "bondline", 0)).unwrap();
    let input = bed.dir.path().join("input");
    fs::write(&input, "in\nput\n").unwrap();
    let status = Command::new(&hook)
        .args(["one two", "*"])
        .stdin(fs::File::open(&input).unwrap())
        .current_dir(bed.top())
        .status()
        .unwrap();
    assert_eq!(status.code(), Some(7));
    assert_eq!(log(&bed), "<one two>\n<*>\nin\nput\n");
}

#[test]
fn a_linked_hook_comes_back_as_a_link() {
    let bed = Bed::small();
    let hook = bed.top().join(".git/hooks/pre-commit");
    bed.write("scripts/check", "#!/bin/sh\nexit 3\n");
    fs::set_permissions(bed.top().join("scripts/check"), fs::Permissions::from_mode(0o755)).unwrap();
    fs::create_dir_all(hook.parent().unwrap()).unwrap();
    symlink("../../scripts/check", &hook).unwrap();
    install(&bed.place(), &program(&bed, "bondline", 0)).unwrap();
    assert!(!hook.is_symlink());
    assert!(!commit(&bed.top()).0);
    assert_eq!(log(&bed), "");
    remove(&bed.place()).unwrap();
    assert_eq!(fs::read_link(&hook).unwrap(), Path::new("../../scripts/check"));
}

#[test]
fn a_hook_git_would_not_run_is_not_run() {
    let bed = Bed::small();
    let hook = bed.top().join(".git/hooks/pre-commit");
    executable(&hook, "#!/bin/sh\nexit 1\n");
    fs::set_permissions(&hook, fs::Permissions::from_mode(0o644)).unwrap();
    let report = install(&bed.place(), &program(&bed, "bondline", 0)).unwrap();
    assert!(report.notes.iter().any(|note| note.contains("not executable")), "{:?}", report.notes);
    assert!(commit(&bed.top()).0);
    assert_eq!(log(&bed), called(&bed, "."));
}

#[test]
fn nothing_of_anyone_is_lost() {
    let bed = Bed::small();
    let place = bed.place();
    let program = program(&bed, "bondline", 0);
    let hook = bed.top().join(".git/hooks/pre-commit");
    let before = hook.with_file_name(format!("{HOOK}{BEFORE}"));
    // The name the old hook would get is taken.
    executable(&hook, "one\n");
    executable(&before, "other\n");
    let error = install(&place, &program).unwrap_err();
    assert!(matches!(error, HookError::BeforeTaken { .. }));
    assert!(error.mend().contains(BEFORE));
    assert_eq!(fs::read_to_string(&hook).unwrap(), "one\n");
    assert_eq!(fs::read_to_string(&before).unwrap(), "other\n");
    // Taken by the same: nothing would be lost.
    executable(&before, "one\n");
    assert_eq!(install(&place, &program).unwrap().done, HookDone::Installed);
    // Lines added to ours.
    let ours = fs::read_to_string(&hook).unwrap();
    fs::write(&hook, format!("{ours}echo mine\n")).unwrap();
    assert_eq!(state(&place).unwrap().kind, HookKind::Edited);
    assert!(matches!(install(&place, &program), Err(HookError::Edited { .. })));
    assert!(matches!(remove(&place), Err(HookError::Edited { .. })));
    assert!(fs::read_to_string(&hook).unwrap().ends_with("echo mine\n"));
    // A folder by that name.
    fs::remove_file(&hook).unwrap();
    fs::create_dir(&hook).unwrap();
    assert!(matches!(install(&place, &program), Err(HookError::NotAFile { .. })));
    fs::remove_dir(&hook).unwrap();
    assert_eq!(remove(&place).unwrap().done, HookDone::Absent);
    assert!(matches!(install(&place, Path::new("bondline")), Err(HookError::RelativeProgram { .. })));
    // No file but the hooks and those that git laid there is left.
    let left: Vec<String> = fs::read_dir(hook.parent().unwrap())
        .unwrap()
        .map(|it| it.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| name.starts_with('.'))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn another_program_and_a_lost_mode_are_updates() {
    let bed = Bed::small();
    let place = bed.place();
    install(&place, &program(&bed, "one", 1)).unwrap();
    let two = program(&bed, "two", 0);
    assert_eq!(install(&place, &two).unwrap().done, HookDone::Updated);
    let HookState { path, kind, chained } = state(&place).unwrap();
    assert_eq!(chained, None);
    assert_eq!(
        kind,
        HookKind::Ours { program: two.clone(), ledgers: vec![String::new()], covers_this: true }
    );
    fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
    assert_eq!(install(&place, &two).unwrap().done, HookDone::Updated);
    assert!(commit(&bed.top()).0);
    assert_eq!(log(&bed), called(&bed, "."));
}

#[test]
fn the_configured_hooks_folder_is_used() {
    let bed = Bed::small();
    let program = program(&bed, "bondline", 1);
    let set = |value: &str| {
        assert!(git(&bed.top(), &["config", "core.hooksPath", value]).status.success());
        bed.place()
    };
    let place = set("tools/hooks");
    let report = install(&place, &program).unwrap();
    assert_eq!(report.path, bed.top().join("tools/hooks/pre-commit"));
    assert!(report.notes.iter().any(|note| note.contains("inside the work tree")), "{:?}", report.notes);
    assert!(!commit(&bed.top()).0);
    remove(&place).unwrap();
    assert!(commit(&bed.top()).0);
    let far = bed.dir.path().canonicalize().unwrap().join("far hooks");
    // Whoever made the repository does not say where else this user's files are written.
    let place = set(far.to_str().unwrap());
    for refused in [install(&place, &program), remove(&place)] {
        let error = refused.unwrap_err();
        assert!(matches!(error, HookError::Elsewhere { .. }), "{error}");
        assert!(error.mend().contains("bondline hook run"), "{}", error.mend());
    }
    assert!(!far.exists());
    assert!(!exists(&bed.top().join(".git/hooks/pre-commit")));
}

#[test]
fn linked_work_trees_share_the_hook() {
    let bed = Bed::small();
    let side = bed.dir.path().join("side");
    assert!(git(&bed.top(), &["worktree", "add", "-q", side.to_str().unwrap()]).status.success());
    let side = side.canonicalize().unwrap();
    let place = Place::find(&side).unwrap();
    let report = install(&place, &program(&bed, "bondline", 1)).unwrap();
    assert_eq!(report.path, bed.top().join(".git/hooks/pre-commit"));
    assert!(!commit(&side).0);
    assert_eq!(log(&bed), format!("program [-C . hook run] in [{}]\n", side.display()));
    assert!(!commit(&bed.top()).0);
    // A relative folder is the linked work tree's own.
    assert!(git(&side, &["config", "core.hooksPath", "hooks"]).status.success());
    let place = Place::find(&side).unwrap();
    assert_eq!(install(&place, &program(&bed, "bondline", 1)).unwrap().path, side.join("hooks/pre-commit"));
    assert!(!commit(&side).0);
    assert!(commit(&bed.top()).0);
}

#[test]
fn ledgers_in_folders_of_odd_names_are_each_asked() {
    let bed = Bed::new();
    let odd = ["-a/it's $(touch evil) \"b\"", "c\nd"];
    for folder in odd {
        bed.write(&format!("{folder}/ledger.yaml"), "format: 1\n");
    }
    bed.commit("first");
    // The program's path is no easier.
    fs::create_dir(bed.dir.path().join("p q")).unwrap();
    let program = program(&bed, "p q/bond'line $HOME\n", 0);
    let places = odd.map(|folder| Place::find(&bed.top().join(folder)).unwrap());
    assert_eq!(install(&places[0], &program).unwrap().done, HookDone::Installed);
    assert_eq!(install(&places[1], &program).unwrap().done, HookDone::Updated);
    assert_eq!(
        state(&places[0]).unwrap().kind,
        HookKind::Ours {
            program: program.clone(),
            ledgers: odd.map(str::to_owned).to_vec(),
            covers_this: true
        }
    );
    assert_eq!(commit(&bed.top()), (true, String::new()));
    assert_eq!(log(&bed), odd.map(|folder| called(&bed, &format!("./{folder}"))).concat());
    assert!(!exists(&bed.top().join("evil")));
    let report = remove(&places[0]).unwrap();
    assert_eq!(report.done, HookDone::Removed);
    assert_eq!(remove(&places[0]).unwrap().done, HookDone::Absent);
    assert!(commit(&bed.top()).0);
    assert_eq!(log(&bed), called(&bed, &format!("./{}", odd[1])));
    remove(&places[1]).unwrap();
    assert_eq!(state(&places[1]).unwrap().kind, HookKind::Absent);
}

#[test]
fn a_branch_without_the_ledger_is_not_held_up_but_taking_it_away_is() {
    let bed = Bed::small();
    install(&bed.place(), &program(&bed, "bondline", 1)).unwrap();
    bed.remove("ledger.yaml");
    assert!(!commit(&bed.top()).0, "HEAD has it");
    assert!(git(&bed.top(), &["checkout", "-q", "--orphan", "words"]).status.success());
    assert!(git(&bed.top(), &["rm", "-rqf", "."]).status.success());
    bed.write("README.md", "words\n");
    git(&bed.top(), &["add", "-A"]);
    log(&bed);
    assert!(git(&bed.top(), &["commit", "-q", "-m", "words"]).status.success());
    assert_eq!(all_calls(&bed), "", "neither hook asks for a ledger that is not there");
}

/// What git names in GIT_INDEX_FILE while a partial commit's hook runs is the commit to be.
#[test]
fn the_index_git_names_in_a_hook_is_the_commit_to_be() {
    let bed = Bed::small();
    let program = bed.dir.path().join("bondline");
    let kept = bed.dir.path().join("kept");
    let kept = kept.display();
    executable(
        &program,
        &format!(
            "#!/bin/sh\ncp \"$GIT_INDEX_FILE\" '{kept}.index'\nprintf %s \"$GIT_INDEX_FILE\" >'{kept}.name'\n"
        ),
    );
    install(&bed.place(), &program).unwrap();
    bed.write("materials/staged.yaml", "s\n");
    bed.write("materials/cw-200.yaml", "partial\n");
    assert!(git(&bed.top(), &["add", "materials/staged.yaml"]).status.success());
    let output = git(&bed.top(), &["commit", "-q", "-m", "part", "materials/cw-200.yaml"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let name = PathBuf::from(fs::read_to_string(format!("{kept}.name")).unwrap());
    assert!(name.to_string_lossy().contains("next-index"), "{}", name.display());
    // Where it was, relative to the top or not, for as long as the hook ran.
    fs::copy(format!("{kept}.index"), bed.top().join(&name)).unwrap();
    let seen = bed.place().with_index_file(Some(name)).index().unwrap();
    assert!(seen.entry("materials/staged.yaml").is_none(), "not part of this commit");
    assert_eq!(seen.read("materials/cw-200.yaml").unwrap().as_ref(), b"partial\n");
    assert!(bed.place().index().unwrap().entry("materials/staged.yaml").is_some());
    // `git commit -a`: what is on disk, though it was not added.
    bed.write("materials/cw-200.yaml", "all\n");
    assert!(git(&bed.top(), &["commit", "-q", "-a", "-m", "all"]).status.success());
    let name = PathBuf::from(fs::read_to_string(format!("{kept}.name")).unwrap());
    let again = format!("{kept}.index");
    let seen = bed.place().with_index_file(Some(again.into())).index().unwrap();
    assert_eq!(seen.read("materials/cw-200.yaml").unwrap().as_ref(), b"all\n");
    assert!(name.to_string_lossy().contains("index"), "{}", name.display());
}

#[test]
fn without_a_work_tree_there_is_no_hook() {
    let dir = tempfile::TempDir::new().unwrap();
    write(dir.path(), "ledger.yaml", "format: 1\n");
    let place = Place::find(dir.path()).unwrap();
    let error = install(&place, Path::new("/usr/bin/bondline")).unwrap_err();
    assert!(matches!(error, HookError::Place(SourceError::NoRepository { .. })));
    assert!(error.mend().contains("git init"));
}
