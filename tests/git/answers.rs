//! Whole answers that are kept: given again for the same question of the same states, and for nothing else.

use super::bed::{Bed, PROGRAM, Run, TODAY};
use bondline::cli::{Terminal, run};
use std::fs;
use std::os::unix::fs::PermissionsExt;

const AGAIN: &str = "work: answered as before\n";

/// Questions of every command whose answers are kept, of the work tree, the index and revisions.
const QUESTIONS: &[&[&str]] = &[
    &["mass"],
    &["mass", "--format", "json", "--cost"],
    &["laminate", "skin"],
    &["panel", "hatch", "--all"],
    &["impact"],
    &["impact", "HEAD~1", "--strict"],
    &["impact", "HEAD~2", "HEAD~1", "--format", "json"],
    &["impact", "--staged"],
    &["leeway", "skin"],
    &["gaps", "--as-of", "2026-11-20"],
    &["history", "panel/hatch"],
    &["history", "--lapsed", "e-adhesion"],
    &["gaps", "--strict"],
    &["gaps", "--at", "HEAD~1", "--next"],
    &["assumptions", "--staged"],
    &["why", "panel/hatch"],
    &["history"],
    &["history", "--grew", "hatch"],
];

/// The small ledger after some commits.
fn ledger() -> Bed {
    let bed = Bed::small();
    bed.edit("panels/hatch.yaml", "area: 1 m2", "area: 1.1 m2");
    bed.commit_all("a larger hatch");
    bed.edit("finishes/white.yaml", "dry_film: 40 um", "dry_film: 45 um");
    bed.commit_all("a thicker clear coat");
    bed.edit("panels/trial.yaml", "area: 0.5 m2", "area: 0.6 m2");
    bed.commit_all("a larger trial");
    bed
}

/// Asks as a person would who wants to know how the answer was come by; the second value says whether it was kept.
fn asked(bed: &Bed, question: &[&str]) -> (Run, bool) {
    let mut command = bed.command(PROGRAM, bed.top());
    command.args(["--today", TODAY]).args(question).env("BONDLINE_WORK", "1");
    let mut run = Run::of(&command.output().unwrap());
    let again = run.err.contains(AGAIN);
    let lines = run.err.lines().filter(|line| !line.starts_with("work: "));
    run.err = lines.map(|line| format!("{line}\n")).collect();
    (run, again)
}

/// Asks, and holds the answer against the one without the store; returns whether it was kept.
fn is_kept(bed: &Bed, question: &[&str]) -> bool {
    let without = bed.bondline(&[&["--no-store"], question].concat());
    let (run, again) = asked(bed, question);
    assert_eq!((run.code, &run.out, &run.err), (without.code, &without.out, &without.err), "{question:?}");
    again
}

fn differing(bed: &Bed) -> serde_json::Value {
    let run = bed.bondline(&["--format", "json", "store", "verify"]);
    run.json()["verified"]["differing"].clone()
}

#[test]
fn the_same_question_of_the_same_states_is_answered_as_before() {
    let bed = ledger();
    bed.edit("panels/hatch.yaml", "area: 1.1 m2", "area: 1.2 m2");
    for question in QUESTIONS {
        assert!(!is_kept(&bed, question), "{question:?} was never asked");
        let (run, again) = asked(&bed, question);
        assert!(again, "{question:?}");
        assert!(matches!(run.code, Some(0 | 1)), "{run:?}");
    }
    assert_eq!(differing(&bed), serde_json::json!([]));
    let run = bed.bondline(&["--format", "json", "store", "verify"]).json();
    assert!(run["verified"]["same"].as_u64().unwrap() >= QUESTIONS.len() as u64, "{run}");
    let kept = bed.document(&["store", "status"])["kept"].clone();
    let answers = kept.as_array().unwrap().iter().find(|one| one["what"] == "answer").unwrap().clone();
    assert_eq!(answers["count"], QUESTIONS.len());
    // Whoever puts another answer into the store is found out.
    let store = rusqlite::Connection::open(bed.top().join(".git/bondline/store-1.sqlite")).unwrap();
    let forged = store
        .execute(
            "UPDATE kept SET value = CAST(replace(CAST(value AS TEXT), 'kg', 'lb') AS BLOB)
             WHERE what = 'answer' AND instr(CAST(value AS TEXT), 'kg') > 0",
            [],
        )
        .unwrap();
    assert!(forged > 5, "{forged}");
    drop(store);
    assert_eq!(differing(&bed).as_array().unwrap().len(), forged);
}

#[test]
fn whatever_an_answer_follows_from_makes_it_another_question() {
    let bed = ledger();
    let keeps = |question: &[&str]| {
        let _ = asked(&bed, question);
        assert!(is_kept(&bed, question), "{question:?}");
    };
    let turn = |what: &str, turned: &dyn Fn(), touched: &[&[&str]], left: &[&[&str]]| {
        touched.iter().chain(left).for_each(|question| keeps(question));
        turned();
        for question in touched {
            assert!(!is_kept(&bed, question), "{what}: {question:?}");
        }
        for question in left {
            assert!(is_kept(&bed, question), "{what}: {question:?}");
        }
    };
    let (gaps, staged): (&[&str], &[&str]) = (&["gaps"], &["gaps", "--staged"]);
    let (history, old): (&[&str], &[&str]) = (&["history"], &["gaps", "--at", "HEAD~1"]);
    let edit = || bed.edit("panels/hatch.yaml", "area: 1.1 m2", "area: 1.2 m2");
    turn("edited", &edit, &[gaps, &["impact", "HEAD~1"]], &[staged, history, old]);
    let stage = || {
        bed.git(&["add", "-A"]);
    };
    turn("staged", &stage, &[staged], &[gaps, history, old]);
    let commit = || {
        bed.commit_all("a larger hatch");
    };
    // Answers name the commit that they are of, and what was decided in earlier ones.
    turn("committed", &commit, &[gaps, staged, history, old], &[]);
    let branch = || {
        bed.git(&["branch", "elsewhere", "HEAD~2"]);
    };
    turn("a branch more", &branch, &[&["impact", "HEAD~2"]], &[]);
    let moved = || {
        bed.git(&["branch", "-f", "elsewhere", "HEAD~1"]);
    };
    turn("a branch moved", &moved, &[&["impact", "elsewhere"]], &[]);
    let data = || {
        let file = bed.top().join("evidence/data/m.csv");
        fs::write(&file, fs::read_to_string(&file).unwrap() + "\n").unwrap();
    };
    turn("data changed", &data, &[gaps], &[staged, history]);

    // The same words in another terminal, on another day, from another folder.
    keeps(gaps);
    let another = |day: &str, folder: &str| {
        let mut command = bed.command(PROGRAM, &bed.top().join(folder));
        let command = command.args(["--today", day, "gaps"]).env("BONDLINE_WORK", "1");
        Run::of(&command.output().unwrap()).err.contains(AGAIN)
    };
    let (tomorrow, inner) = (another("2026-06-02", "."), another(TODAY, "panels"));
    assert_eq!((tomorrow, inner), (false, false));
    let as_wide = |width: usize, store: &[&str]| {
        let place = bed.top().to_str().unwrap();
        let words = [&["bondline", "-C", place, "--today", TODAY, "gaps"], store].concat();
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let terminal = Terminal { width, ..Terminal::default() };
        run(words.into_iter().map(Into::into), &mut out, &mut err, terminal);
        String::from_utf8(out).unwrap()
    };
    let wide = as_wide(80, &[]);
    let narrow = as_wide(60, &[]);
    assert_eq!(narrow, as_wide(60, &["--no-store"]));
    assert_ne!(narrow, wide);
    assert!(is_kept(&bed, gaps));
    assert_eq!(differing(&bed), serde_json::json!([]));
}

#[test]
fn what_followed_from_anything_else_is_not_kept() {
    let bed = ledger();
    let never = |question: &[&str]| {
        let (first, _) = asked(&bed, question);
        let (second, again) = asked(&bed, question);
        assert!(!again, "{question:?}");
        assert_eq!((first.code, first.out, first.err), (second.code, second.out, second.err), "{question:?}");
    };
    // A name that leads nowhere may tomorrow.
    never(&["impact", "no-such-branch"]);
    // Where names led to before stands in no name.
    never(&["impact", "HEAD@{0}"]);
    never(&["gaps", "--no-store"]);
    bed.git(&["update-ref", "ASIDE", "HEAD~1"]);
    never(&["gaps", "--at", "ASIDE"]);
    // Settings and attributes have a say in what is joined.
    bed.git(&["branch", "other", "HEAD~1"]);
    never(&["impact", "--merge", "main", "other"]);
    // A file that can't be read today has the same looks when it can.
    let file = bed.top().join("panels/hatch.yaml");
    let mode = |bits| fs::set_permissions(&file, fs::Permissions::from_mode(bits)).unwrap();
    mode(0o000);
    if fs::read(&file).is_err() {
        never(&["mass", "trial"]);
    }
    mode(0o644);
    // An object that is not here may come.
    let blob = bed.git(&["rev-parse", "HEAD:evidence/data/m.csv"]);
    let object = bed.top().join(".git/objects").join(&blob[..2]).join(&blob[2..]);
    let aside = bed.beside("object");
    fs::rename(&object, &aside).unwrap();
    never(&["mass", "--at", "HEAD"]);
    never(&["history"]);
    fs::rename(&aside, &object).unwrap();
    assert!(!is_kept(&bed, &["history"]));
    // Somebody says that a commit has other parents than it says.
    bed.write(".git/info/grafts", &bed.git(&["rev-parse", "HEAD~1"]));
    never(&["history"]);
    fs::remove_file(bed.top().join(".git/info/grafts")).unwrap();
    // What lies behind the cut of a shallow clone may be fetched.
    let shallow = bed.beside("shallow");
    let url = format!("file://{}", bed.top().display());
    bed.git(&["clone", "-q", "--depth", "2", &url, shallow.to_str().unwrap()]);
    let history = || {
        let mut command = bed.command(PROGRAM, &shallow);
        command.args(["--today", TODAY, "history"]).env("BONDLINE_WORK", "1");
        Run::of(&command.output().unwrap())
    };
    let (first, second) = (history(), history());
    assert_eq!(first.code, Some(0), "{first:?}");
    assert!(!second.err.contains(AGAIN));
    let fetched = bed.git_at(&shallow, &["fetch", "-q", "--unshallow"]);
    assert_eq!(fetched.code, Some(0), "{fetched:?}");
    let whole = history();
    assert_eq!(whole.out, asked(&bed, &["history"]).0.out);
    assert_ne!(whole.out, first.out);
}

/// A decision was made on a commit that no name leads to; then it is gone.
#[test]
fn a_commit_that_is_known_by_its_id_alone_is_asked_for_again() {
    let bed = ledger();
    let id = bed.git(&["rev-parse", "HEAD"]);
    assert!(!is_kept(&bed, &["gaps", "--at", &id]));
    assert!(is_kept(&bed, &["gaps", "--at", &id]));
    // The commit that is asked for is the only one that names it from here on.
    bed.git(&["reset", "-q", "--hard", "HEAD~1"]);
    let _ = asked(&bed, &["gaps", "--at", &id]);
    assert!(is_kept(&bed, &["gaps", "--at", &id]));
    bed.git(&["reflog", "expire", "--expire=now", "--all"]);
    bed.git(&["gc", "-q", "--prune=now"]);
    let (run, again) = asked(&bed, &["gaps", "--at", &id]);
    assert_eq!((run.code, again), (Some(2), false), "{run:?}");
}

#[test]
fn commits_that_were_judged_are_not_judged_again() {
    let bed = ledger();
    let judged = |run: &Run| run.err.matches("verdicts judged").count();
    let ask = || {
        let mut command = bed.command(PROGRAM, bed.top());
        Run::of(
            &command.args(["--today", TODAY, "history", "--all"]).env("BONDLINE_WORK", "1").output().unwrap(),
        )
    };
    let first = ask();
    assert_eq!(judged(&first), 1, "one state is judged, and the others beside it: {}", first.err);
    // Another branch is another question, of the same commits.
    bed.git(&["branch", "elsewhere"]);
    let second = ask();
    assert_eq!((judged(&second), &second.out), (0, &first.out), "{}", second.err);
    assert!(!second.err.contains(AGAIN));
    bed.edit("panels/hatch.yaml", "area: 1.1 m2", "area: 1.2 m2");
    bed.commit_all("a larger hatch");
    let third = ask();
    let without = bed.bondline(&["--no-store", "history", "--all"]);
    assert_eq!((judged(&third), &third.out), (1, &without.out), "{}", third.err);
    assert_eq!(differing(&bed), serde_json::json!([]));
}

/// How many records of the work tree were parsed, and how many were found as an earlier run read them.
fn parsed(bed: &Bed, question: &[&str]) -> (usize, usize) {
    let without = bed.bondline(&[&["--no-store"], question].concat());
    let mut command = bed.command(PROGRAM, bed.top());
    command.args(["--today", TODAY]).args(question).env("BONDLINE_WORK", "1");
    let run = Run::of(&command.output().unwrap());
    assert_eq!((run.code, &run.out), (without.code, &without.out), "{question:?}");
    let told = |line: &str| {
        let words = line.strip_prefix("work: ")?.strip_suffix(", from work tree")?;
        let (parsed, found) = words.split_once(" records parsed and ")?;
        Some((parsed.parse().unwrap(), found.strip_suffix(" found")?.parse().unwrap()))
    };
    run.err.lines().find_map(told).unwrap_or_else(|| panic!("{}", run.err))
}

/// A change of three records has three parsed, whatever is asked and however large the ledger is; so has going back none,
/// and a branch that was read before.
#[test]
fn of_a_ledger_that_was_read_before_only_what_changed_is_parsed() {
    for more in [0, 300] {
        let bed = ledger();
        for at in 0..more {
            bed.write(&format!("materials/more-{at}.yaml"), &format!("kind: part\nmass: {at}.5 g\n"));
        }
        if more > 0 {
            bed.commit_all("more");
        }
        bed.bondline(&["store", "clear"]);
        let (first, found) = parsed(&bed, &["gaps"]);
        assert!(first > more && found == 0, "{first} and {found}");
        assert_eq!(parsed(&bed, &["mass"]), (0, first));
        for (file, from, to) in [
            ("panels/hatch.yaml", "area: 1.1 m2", "area: 1.2 m2"),
            ("finishes/white.yaml", "dry_film: 45 um", "dry_film: 50 um"),
            ("panels/trial.yaml", "area: 0.6 m2", "area: 0.7 m2"),
        ] {
            bed.edit(file, from, to);
        }
        assert_eq!(parsed(&bed, &["gaps"]), (3, first - 3));
        assert_eq!(parsed(&bed, &["gaps", "--all"]), (0, first));
        bed.edit("panels/hatch.yaml", "area: 1.2 m2", "area: 1.1 m2");
        assert_eq!(parsed(&bed, &["panel", "hatch"]), (0, first));
        // A record with a fault is read each time, so that the fault is found in its file.
        bed.edit("panels/trial.yaml", "area: 0.7 m2", "area: 0.7 kg");
        assert_eq!(parsed(&bed, &["check"]), (1, first - 1));
        let verified = bed.bondline(&["store", "verify"]);
        assert_eq!(verified.code, Some(0), "{verified:?}");
    }
}

/// A work tree that was left alone for a while is known by its looks; whatever is done to it then is seen.
#[test]
fn a_work_tree_that_looks_as_it_did_is_not_read_and_one_that_does_not_is() {
    const LOOK: &str = "work: the work tree looks as it did\n";
    let bed = ledger();
    let said = |question: &[&str]| {
        let without = bed.bondline(&[&["--no-store"], question].concat());
        let mut command = bed.command(PROGRAM, bed.top());
        command.args(["--today", TODAY]).args(question).env("BONDLINE_WORK", "1");
        let run = Run::of(&command.output().unwrap());
        assert_eq!((run.code, &run.out), (without.code, &without.out), "{question:?}");
        run.err
    };
    let questions: [&[&str]; 3] = [&["check"], &["impact", "HEAD~1"], &["check", "--format", "junit"]];
    let settled = || {
        std::thread::sleep(std::time::Duration::from_secs(5));
        questions.iter().for_each(|question| drop(said(question)));
        for question in questions {
            let told = said(question);
            assert!(told.contains(LOOK), "{question:?}: {told}");
            // An answer that there is none is none.
            assert!(told.contains("as before") || told.contains("error: "), "{question:?}: {told}");
        }
    };
    let turns: [(&str, &dyn Fn()); 5] = [
        ("a fault", &|| bed.edit("panels/hatch.yaml", "area: 1.1 m2", "area: 1.1 mm")),
        ("put right, of the same length", &|| bed.edit("panels/hatch.yaml", "area: 1.1 mm", "area: 1.3 m2")),
        ("ignored", &|| fs::write(bed.top().join(".gitignore"), "panels/new.yaml\n").unwrap()),
        ("new, and ignored", &|| fs::write(bed.top().join("panels/new.yaml"), "name: a\n").unwrap()),
        ("ignored no longer", &|| fs::remove_file(bed.top().join(".gitignore")).unwrap()),
    ];
    for (what, turn) in turns {
        settled();
        turn();
        for question in questions {
            let told = said(question);
            assert!(!told.contains(LOOK), "{what}: {told}");
        }
        assert_eq!(differing(&bed), serde_json::json!([]), "{what}");
    }
    settled();
    assert_eq!(differing(&bed), serde_json::json!([]));
}
