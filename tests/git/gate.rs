//! The gate end to end: real commits, the real hook, the real program.

use super::bed::{Bed, PROGRAM};
use std::fs;

const WHITE: &str = "finishes/white.yaml";
const CLEAR: &str = "  - {material: clear-d, dry_film: 45 um +/- 10 um, removed: 5 um}\n";

/// Two more coats of clear on the finish that the released panels wear.
pub(super) fn third_clear_coat(bed: &Bed) {
    let more = "  - {material: clear-d, dry_film: 45 um +/- 10 um}\n";
    bed.edit(WHITE, CLEAR, &format!("{more}{more}{CLEAR}"));
}

pub(super) fn install(bed: &Bed) {
    let run = bed.bondline(&["hook", "install"]);
    assert_eq!((run.code, run.err.as_str()), (Some(0), ""), "{run:?}");
}

/// Commits what is staged (or as `more` says) and returns whether it was let through, and what was said.
pub(super) fn commit(bed: &Bed, more: &[&str]) -> (bool, String) {
    let before = bed.try_git(&["rev-parse", "HEAD"]).out;
    let run = bed.try_git(&[&["commit", "-q", "-m", "a change"], more].concat());
    let made = bed.try_git(&["rev-parse", "HEAD"]).out != before;
    assert_eq!(made, run.code == Some(0), "{run:?}");
    (made, run.flat())
}

#[test]
fn a_third_clear_coat_on_a_released_panel_is_refused_and_nothing_is_touched() {
    let bed = Bed::example();
    install(&bed);
    third_clear_coat(&bed);
    bed.git(&["add", "-A"]);
    // Something that is not staged must come through too.
    bed.write("notes.txt", "mine\n");
    bed.edit("panels/rudder.yaml", "title: ", "title:  ");
    let before = bed.state();
    let (made, said) = commit(&bed, &[]);
    assert!(!made);
    assert_eq!(bed.state(), before, "index, HEAD and work tree are as they were");
    // Git has brought its index up to date by now; refused again, not a byte of it moves.
    let index = bed.index();
    assert!(!commit(&bed, &[]).0);
    assert!(bed.index() == index);
    assert_eq!(bed.state(), before);
    assert_eq!(bed.git(&["stash", "list"]), "");
    for words in [
        "unqualified-recipe",
        "`bow-hatch`",
        "`float-shell`",
        "paint-adhesion",
        "film-build.max",
        "panels/bow-hatch.yaml:13",
        "panels/float-shell.yaml:14",
        "prove it again, undo the change, or keep the trial on a panel with `released: false`",
        "bondline why paint-adhesion 'painted/hatch-outer+white'",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    // The line that it names is the one that puts the finish on the panel.
    assert_eq!(bed.read("panels/bow-hatch.yaml").lines().nth(12), Some("    finish: white"));
    // The way on that it names is a way on.
    let run = bed.bondline(&["why", "paint-adhesion", "painted/hatch-outer+white", "--staged"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    assert!(run.flat().contains("film-build.max"), "{run:?}");
    // The same in JSON, from the same command.
    let run = bed.bondline(&["--format", "json", "hook", "run"]);
    assert_eq!(run.code, Some(1));
    let document = run.json();
    assert_eq!(document["blocked"], true);
    let blocking: Vec<(&str, &str, i64)> = document["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|finding| finding["level"] == "block")
        .map(|finding| {
            (
                finding["panel"].as_str().unwrap(),
                finding["file"].as_str().unwrap(),
                finding["line"].as_i64().unwrap(),
            )
        })
        .collect();
    let coat = bed.read(WHITE).lines().position(|line| line.contains("clear-d")).unwrap();
    assert!(blocking.len() >= 3);
    // What nobody decided, where it stands; and what each released panel is no longer proved for.
    assert!(blocking.iter().any(|(_, file, line)| *file == WHITE && *line > coat as i64));
    assert!(blocking.contains(&("bow-hatch", "panels/bow-hatch.yaml", 13)));
    assert!(blocking.contains(&("float-shell", "panels/float-shell.yaml", 14)));
    // Taken back, the rest may go in.
    bed.git(&["checkout", "-q", "HEAD", "--", WHITE]);
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(made, "{said}");
}

#[test]
fn a_trial_is_free() {
    let bed = Bed::example();
    install(&bed);
    // Half-baked on purpose: no evidence at all, a finish nobody tested, a panel that is not released.
    bed.write(
        "recipes/trial-one.yaml",
        "status: trial\nclass: structural\nprocess: oven-120\nlayers:\n  - {material: cw-200-e1, angle: 30}\n",
    );
    bed.write("finishes/thick.yaml", "coats:\n  - {material: clear-d, dry_film: 400 um}\n");
    bed.write(
        "panels/trial.yaml",
        "released: false\nzones:\n  - {name: all, area: 1 m2, recipe: trial-one, finish: thick}\n",
    );
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(made, "{said}");
    // Released, it is no trial any more.
    bed.edit("panels/trial.yaml", "released: false", "released: true");
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made);
    assert!(said.contains("`trial`") && said.contains("panels/trial.yaml:3"), "{said}");
    // Only what is new is objected to.
    assert!(!said.contains("`bow-hatch`"), "{said}");
}

#[test]
fn what_is_committed_is_judged_and_not_what_lies_beside() {
    let bed = Bed::example();
    install(&bed);
    third_clear_coat(&bed);
    bed.write("notes.txt", "one\n");
    bed.git(&["add", "notes.txt"]);
    // The coat is on disk only: this commit does not hold it.
    let (made, said) = commit(&bed, &[]);
    assert!(made, "{said}");
    // The coat is staged, but the commit names another path.
    bed.git(&["add", WHITE]);
    bed.write("notes.txt", "two\n");
    let (made, said) = commit(&bed, &["--", "notes.txt"]);
    assert!(made, "{said}");
    assert_eq!(bed.git(&["diff", "--cached", "--name-only"]), WHITE, "it is staged still");
    // The commit names the coat's path, and the index holds a harmless change beside.
    bed.git(&["reset", "-q"]);
    bed.write("notes.txt", "three\n");
    bed.git(&["add", "notes.txt"]);
    let before = bed.state();
    let (made, said) = commit(&bed, &["--", WHITE]);
    assert!(!made && said.contains("film-build.max"), "{said}");
    assert_eq!(bed.state(), before);
    let (made, said) = commit(&bed, &["-a"]);
    assert!(!made && said.contains("film-build.max"), "{said}");
    assert_eq!(bed.state(), before);
    // The coat staged, then undone on disk only: the commit would still hold it.
    bed.git(&["add", WHITE]);
    fs::write(bed.top().join(WHITE), bed.git(&["show", &format!("HEAD:{WHITE}")]) + "\n").unwrap();
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("film-build.max"), "{said}");
    // Another index altogether.
    bed.git(&["reset", "-q", "--hard"]);
    third_clear_coat(&bed);
    let other = bed.beside("other-index");
    fs::copy(bed.top().join(".git/index"), &other).unwrap();
    let with = |arguments: &[&str]| {
        let mut command = bed.command("git", bed.top());
        command.env("GIT_INDEX_FILE", &other).args(arguments).output().unwrap()
    };
    assert!(with(&["add", WHITE]).status.success());
    let head = bed.git(&["rev-parse", "HEAD"]);
    let run = with(&["commit", "-q", "-m", "through another index"]);
    assert!(!run.status.success() && bed.git(&["rev-parse", "HEAD"]) == head);
    assert!(String::from_utf8_lossy(&[run.stdout, run.stderr].concat()).contains("unqualified-recipe"));
    assert_eq!(bed.git(&["diff", "--cached", "--name-only"]), "");
}

#[test]
fn a_merge_without_conflict_is_judged_too_and_removal_takes_both_hooks_out() {
    let bed = Bed::example();
    let hooks = bed.top().join(".git/hooks");
    fs::create_dir_all(&hooks).unwrap();
    bed.script(&hooks.join("pre-merge-commit"), "#!/bin/sh\necho theirs >&2\n");
    bed.git(&["checkout", "-q", "-b", "paint"]);
    third_clear_coat(&bed);
    bed.commit_all("past the gate, on a branch");
    bed.git(&["checkout", "-q", "main"]);
    bed.write("notes.txt", "main has moved on\n");
    bed.commit_all("notes");
    install(&bed);
    let before = bed.git(&["rev-parse", "HEAD"]);
    let run = bed.try_git(&["merge", "--no-edit", "paint"]);
    assert_ne!(run.code, Some(0), "{run:?}");
    let said = run.flat();
    assert!(
        said.contains("theirs") && said.contains("unqualified-recipe") && said.contains("bow-hatch"),
        "{said}"
    );
    assert_eq!(bed.git(&["rev-parse", "HEAD"]), before);
    // Whoever settles it by hand meets the other hook.
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("unqualified-recipe"), "{said}");
    bed.git(&["merge", "--abort"]);
    let run = bed.bondline(&["hook", "remove"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    assert!(!hooks.join("pre-commit").exists());
    assert_eq!(fs::read_to_string(hooks.join("pre-merge-commit")).unwrap(), "#!/bin/sh\necho theirs >&2\n");
    assert_eq!(bed.try_git(&["merge", "--no-edit", "paint"]).code, Some(0));
}

#[test]
fn what_was_found_already_does_not_block_again_and_what_is_worse_does() {
    let bed = Bed::example();
    install(&bed);
    third_clear_coat(&bed);
    bed.commit_all("past the gate");
    bed.write("notes.txt", "one\n");
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(made && said.contains("Known already"), "{said}");
    // A little more film asks no more than what is asked already: the same finding, no graver.
    bed.edit(WHITE, "repaint: 60 um", "repaint: 70 um");
    bed.git(&["add", "-A"]);
    let run = bed.bondline(&["--format", "json", "hook", "run"]);
    assert!(run.json()["known"]["unqualified-recipe"].as_u64() > Some(0), "{run:?}");
    // That nobody decided it is another matter.
    let findings = run.json()["findings"].as_array().unwrap().clone();
    assert!(findings.iter().all(|finding| finding["rule"] == "unexplained-change"), "{run:?}");
    // Another primer asks the whole test.
    bed.edit(
        WHITE,
        "{material: primer-b, dry_film: 25 um +/- 8 um}",
        "{material: filler-a, dry_film: 25 um}",
    );
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("primer"), "{said}");
}

#[test]
fn evidence_cannot_be_bent_to_the_design() {
    let bed = Bed::example();
    install(&bed);
    let refused = |file: &str, what: &str| {
        bed.git(&["add", "-A"]);
        let before = bed.state();
        let (made, said) = commit(&bed, &[]);
        assert!(!made && said.contains("altered-evidence") && said.contains(file), "{what}: {said}");
        assert_eq!(bed.state(), before);
        bed.git(&["reset", "-q", "--hard"]);
    };
    // A digit of a test value.
    let data = bed.read("evidence/data/tr-029.csv");
    let last = data.trim_end().rfind(|letter: char| letter.is_ascii_digit()).unwrap();
    let digit = if &data[last..=last] == "9" { "1" } else { "9" };
    bed.write("evidence/data/tr-029.csv", &format!("{}{digit}{}", &data[..last], &data[last + 1..]));
    refused("evidence/", "a figure of the data");
    // What it was, what it was tested for, what came out, that it was.
    bed.edit("evidence/e-034.yaml", "film-build.max: 234 um", "film-build.max: 344 um");
    refused("evidence/e-034.yaml", "the configuration");
    bed.edit("evidence/e-034.yaml", "    film-build.max: 234 um\n", "");
    refused("evidence/e-034.yaml", "an attribute taken out");
    bed.edit("evidence/e-034.yaml", "result: {rating: 5}", "result: {rating: 4}");
    refused("evidence/e-034.yaml", "the result");
    bed.edit("evidence/e-034.yaml", "made: 2026-08-10", "made: 2026-08-11");
    refused("evidence/e-034.yaml", "the date");
    bed.edit("evidence/e-034.yaml", "state: done", "state: running");
    refused("evidence/e-034.yaml", "the state");
    fs::remove_file(bed.top().join("evidence/e-034.yaml")).unwrap();
    refused("evidence/e-034.yaml", "the record itself");
    bed.git(&["mv", "evidence/e-034.yaml", "evidence/e-134.yaml"]);
    refused("evidence/e-034.yaml", "its name");
    // A title, a note and an owner are nobody's proof, and line ends are git's to choose: no value is in them.
    bed.write("evidence/data/tr-029.csv", &data.replace('\n', "\r\n"));
    bed.edit("evidence/e-034.yaml", "owner: test lab", "owner: paint lab\nnotes: seen again");
    bed.edit("evidence/e-034.yaml", "white on the hatch", "white upon the hatch");
    bed.git(&["mv", "evidence/e-033.yaml", "evidence/moved-e-033.yaml"]);
    bed.git(&["mv", "evidence/moved-e-033.yaml", "evidence/e-033.yaml"]);
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(made, "{said}");
}

#[test]
fn a_correction_is_a_new_record() {
    let bed = Bed::example();
    install(&bed);
    let text = bed.read("evidence/e-034.yaml").replacen("state: done", "state: done\nsupersedes: e-034", 1);
    bed.write("evidence/e-134.yaml", &text);
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(made, "{said}");
}

#[test]
fn a_broken_record_is_refused_with_its_line() {
    let bed = Bed::example();
    install(&bed);
    for (file, from, to, line) in [
        ("materials/clear-d.yaml", "dry_density: 1150 kg/m3", "dry_density: 1150", "materials/clear-d.yaml:"),
        (
            "recipes/hatch-outer.yaml",
            "{id: p1, material: cw-200-e1",
            "{id: p1, material: cw-200-e9",
            "recipes/hatch-outer.yaml:9",
        ),
        (WHITE, "coats:\n", "coats: [\n", "finishes/white.yaml:"),
        ("panels/bow-hatch.yaml", "released: true", "relaesed: true", "panels/bow-hatch.yaml:4"),
        ("ledger.yaml", "format: 1", "format: one", "ledger.yaml:2"),
    ] {
        bed.edit(file, from, to);
        bed.git(&["add", "-A"]);
        let before = bed.state();
        let (made, said) = commit(&bed, &[]);
        assert!(!made && said.contains("broken-record") && said.contains(line), "{file}: {said}");
        assert_eq!(bed.state(), before);
        bed.git(&["reset", "-q", "--hard"]);
    }
    // On disk only, it is not in the way of another commit.
    bed.edit("materials/clear-d.yaml", "dry_density: 1150 kg/m3", "dry_density: heavy");
    bed.write("notes.txt", "one\n");
    bed.git(&["add", "notes.txt"]);
    let (made, said) = commit(&bed, &[]);
    assert!(made, "{said}");
    // The ledger itself cannot be taken away past the gate.
    bed.git(&["reset", "-q", "--hard"]);
    bed.git(&["rm", "-q", "ledger.yaml"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made, "{said}");
}

#[test]
fn a_hook_that_is_there_is_kept_and_runs_first() {
    let bed = Bed::example();
    let hook = bed.top().join(".git/hooks/pre-commit");
    let mine = "#!/bin/sh\necho mine >>\"$HOME/log\"\n[ ! -e \"$HOME/no\" ]\n";
    bed.script(&hook, mine);
    install(&bed);
    install(&bed);
    let log = || fs::read_to_string(bed.beside("log")).unwrap_or_default();
    third_clear_coat(&bed);
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("unqualified-recipe"), "{said}");
    assert_eq!(log(), "mine\n");
    // What the first one refuses stays refused, and ours has nothing to say.
    fs::write(bed.beside("no"), "").unwrap();
    bed.git(&["reset", "-q", "--hard"]);
    bed.write("notes.txt", "one\n");
    bed.git(&["add", "-A"]);
    assert_eq!(commit(&bed, &[]), (false, String::new()));
    fs::remove_file(bed.beside("no")).unwrap();
    assert!(commit(&bed, &[]).0);
    assert_eq!(log(), "mine\nmine\nmine\n");
    let run = bed.bondline(&["hook", "remove"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    assert_eq!(fs::read_to_string(&hook).unwrap(), mine);
    assert!(!bed.top().join(".git/hooks/pre-commit.before-bondline").exists());
    // Without the gate the coat goes in, and the one that was there has run.
    third_clear_coat(&bed);
    bed.git(&["add", "-A"]);
    assert!(commit(&bed, &[]).0);
    assert_eq!(log(), "mine\nmine\nmine\nmine\n");
    let run = bed.bondline(&["hook", "remove"]);
    assert_ne!(fs::read_to_string(&hook).unwrap_or_default(), "", "someone else's hook stays: {run:?}");
}

#[test]
fn the_gate_stands_in_linked_work_trees_and_below_folders() {
    let bed = Bed::new();
    bed.lay_small("air frame");
    bed.commit_all("first");
    let run = bed.bondline(&["-C", "air frame", "hook", "install"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    let linked = bed.beside("linked");
    bed.git(&["worktree", "add", "-q", "-b", "other", linked.to_str().unwrap()]);
    let finish = linked.join("air frame/finishes/white.yaml");
    let text = fs::read_to_string(&finish).unwrap();
    fs::write(&finish, text.replace("40 um", "80 um")).unwrap();
    let run = bed.git_at(&linked.join("air frame"), &["commit", "-q", "-a", "-m", "thicker"]);
    assert_eq!(run.code, Some(1), "{run:?}");
    assert!(run.flat().contains("`hatch`"), "{run:?}");
    // In the first tree nothing has changed.
    bed.write("notes.txt", "one\n");
    bed.git(&["add", "-A"]);
    assert!(commit(&bed, &[]).0);
    // From a folder below, and with a rebase's detached head.
    bed.git(&["checkout", "-q", "--detach"]);
    bed.edit("air frame/finishes/white.yaml", "40 um", "80 um");
    let run = bed.git_at(&bed.top().join("air frame/panels"), &["commit", "-q", "-a", "-m", "thicker"]);
    assert_eq!(run.code, Some(1), "{run:?}");
}

#[test]
fn the_first_commit_of_a_ledger_is_judged_against_nothing() {
    let bed = Bed::new();
    bed.lay_small("");
    install(&bed);
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(made, "all that the released panel needs is met: {said}");
    let bed = Bed::new();
    bed.lay_small("");
    install(&bed);
    fs::remove_file(bed.top().join("evidence/e-adhesion.yaml")).unwrap();
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("open"), "released on nothing: {said}");
}

#[test]
fn a_ledger_that_moves_is_judged_where_it_goes() {
    let bed = Bed::new();
    bed.lay_small("boat");
    bed.commit_all("first");
    let hook = |folder: &str| {
        let run = bed.bondline(&["-C", folder, "hook", "install"]);
        assert_eq!(run.code, Some(0), "{run:?}");
    };
    hook("boat");
    // Taken away.
    bed.git(&["rm", "-r", "-q", "boat"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("takes the ledger in ./boat away"), "{said}");
    bed.git(&["reset", "-q", "--hard"]);
    // Moved to where nothing looks after it.
    bed.git(&["mv", "boat", "air frame"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("nothing looks after air frame/ledger.yaml yet"), "{said}");
    assert!(said.contains("bondline hook install"), "{said}");
    // Moved and changed.
    hook("air frame");
    bed.edit("air frame/finishes/white.yaml", "40 um", "80 um");
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("unexplained-change") && said.contains("`hatch`"), "{said}");
    // Moved alone.
    bed.edit("air frame/finishes/white.yaml", "80 um", "40 um");
    bed.git(&["add", "-A"]);
    let (made, said) = commit(&bed, &[]);
    assert!(made, "{said}");
    // What comes next is judged there, and the old folder holds nobody up.
    bed.edit("air frame/finishes/white.yaml", "40 um", "80 um");
    bed.git(&["add", "-A"]);
    assert!(!commit(&bed, &[]).0);
    // Over a range too: moved and changed since.
    assert!(commit(&bed, &["--no-verify"]).0);
    let run = bed.bondline(&["-C", "air frame", "hook", "run", "--range", "HEAD~2..HEAD"]);
    assert_eq!(run.code, Some(1), "{run:?}");
    assert!(run.flat().contains("unexplained-change"), "{run:?}");
}

#[test]
fn a_range_that_brings_the_ledger_is_judged_against_nothing() {
    let bed = Bed::new();
    bed.write("notes.txt", "one\n");
    bed.commit_all("no ledger yet");
    bed.lay_small("");
    bed.commit_all("a ledger");
    let run = bed.bondline(&["hook", "run", "--range", "HEAD~1..HEAD"]);
    assert_eq!(run.code, Some(0), "{run:?}");
}

#[test]
fn a_range_is_judged_from_where_it_left() {
    let bed = Bed::small();
    bed.git(&["checkout", "-q", "-b", "topic"]);
    bed.edit("finishes/white.yaml", "40 um", "80 um");
    bed.commit_all("thicker");
    bed.git(&["checkout", "-q", "main"]);
    bed.write("notes.txt", "one\n");
    bed.commit_all("beside");
    let run = bed.bondline(&["hook", "run", "--range", "main..topic"]);
    assert_eq!(run.code, Some(1), "{run:?}");
    assert!(run.flat().contains("`hatch`"), "{run:?}");
    assert_eq!(bed.bondline(&["hook", "run", "--range", "topic..main"]).code, Some(0));
    for range in ["main", "main..nope", "..", "main...topic"] {
        let run = bed.bondline(&["hook", "run", "--range", range]);
        assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "{range}: {run:?}");
    }
}

#[test]
fn a_program_that_is_gone_refuses_and_says_how_to_go_on() {
    let bed = Bed::small();
    let copy = bed.beside("bondline");
    fs::copy(PROGRAM, &copy).unwrap();
    let mut command = bed.command(&copy, bed.top());
    assert!(command.args(["hook", "install"]).output().unwrap().status.success());
    bed.write("notes.txt", "one\n");
    bed.git(&["add", "-A"]);
    assert!(commit(&bed, &[]).0);
    fs::remove_file(&copy).unwrap();
    bed.write("notes.txt", "two\n");
    bed.git(&["add", "-A"]);
    let before = bed.state();
    let (made, said) = commit(&bed, &[]);
    assert!(!made && said.contains("--no-verify") && said.contains("hook install"), "{said}");
    assert_eq!(bed.state(), before);
    assert!(commit(&bed, &["--no-verify"]).0);
}
