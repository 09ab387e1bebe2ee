//! The store of earlier answers: no answer depends on it, whatever becomes of its file.

use super::bed::{Bed, PROGRAM, Run, TODAY};
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::PathBuf;
use std::process::Stdio;
use std::thread::sleep;
use std::time::Duration;

fn file(bed: &Bed) -> PathBuf {
    bed.top().join(".git/bondline/store-1.sqlite")
}

/// What is asked in these tests.
const QUESTIONS: [&[&str]; 4] = [
    &["check", "--notes"],
    &["--format", "json", "check"],
    &["check", "--staged"],
    &["check", "--at", "HEAD"],
];

fn without(bed: &Bed) -> Vec<Run> {
    QUESTIONS.iter().map(|question| bed.bondline(&[&["--no-store"], *question].concat())).collect()
}

/// Asks with the store, and holds every answer against those without it; returns what was noted beside them.
fn same(bed: &Bed, answers: &[Run], when: &str) -> Vec<String> {
    let mut notes = Vec::new();
    for (question, answer) in QUESTIONS.iter().zip(answers) {
        let run = bed.bondline(question);
        assert_eq!((run.code, &run.out), (answer.code, &answer.out), "{when}: {question:?}");
        let own: Vec<&str> = run.err.lines().filter(|line| !answer.err.contains(line)).collect();
        assert!(own.len() <= 1, "{when}: {own:?}");
        notes.extend(own.into_iter().map(str::to_string));
    }
    notes
}

/// A ledger with an error, warnings and notes.
fn faulty() -> Bed {
    let bed = Bed::example();
    bed.edit("recipes/hatch-outer.yaml", "thickness: 6 mm}", "thickness: 6}");
    bed
}

#[test]
fn answers_are_the_same_with_and_without_it() {
    let bed = faulty();
    let answers = without(&bed);
    assert!(!file(&bed).exists(), "without it nothing is kept");
    assert_eq!(answers[0].code, Some(1));
    for when in ["at first", "then"] {
        assert_eq!(same(&bed, &answers, when), Vec::<String>::new());
    }
    // Looks are kept of files that were left alone for a while.
    sleep(Duration::from_secs(4));
    assert_eq!(same(&bed, &answers, "again"), Vec::<String>::new());
    assert!(file(&bed).exists());
    let verified = bed.document(&["store", "verify"]);
    assert_eq!(verified["verified"]["differing"], serde_json::json!([]));
    assert!(verified["verified"]["same"].as_u64().unwrap() >= 4, "{verified}");
    // What is put right is right at once, staged or not, and what is committed differs from both.
    bed.edit("recipes/hatch-outer.yaml", "thickness: 6}", "thickness: 6 mm}");
    same(&bed, &without(&bed), "mended");
    bed.write("recipes/hatch-outer.yml", "class: structural\n");
    bed.git(&["add", "-A"]);
    same(&bed, &without(&bed), "staged");
    bed.commit_all("A stray file");
    same(&bed, &without(&bed), "committed");
    // A decision that was approved is held against HEAD: of the same files, another answer.
    let decision = fs::read_dir(bed.top().join("decisions")).unwrap().map(|one| one.unwrap().path());
    let approved: Vec<PathBuf> =
        decision.filter(|path| fs::read_to_string(path).unwrap().contains("status: approved")).collect();
    let text = fs::read_to_string(&approved[0]).unwrap();
    fs::write(&approved[0], text.replace("status: approved", "status: proposed")).unwrap();
    same(&bed, &without(&bed), "no longer approved");
    bed.commit_all("Taken back");
    same(&bed, &without(&bed), "and committed");
    assert!(bed.document(&["store", "verify"])["verified"]["differing"].as_array().unwrap().is_empty());
}

/// The bytes count, not the looks: neither size nor time of change need differ.
#[test]
fn a_file_that_only_looks_the_same_is_read() {
    let bed = Bed::example();
    let path = "panels/bow-hatch.yaml";
    let edited = |from: &str, to: &str| {
        let place = bed.top().join(path);
        let modified = fs::metadata(&place).unwrap().modified().unwrap();
        bed.edit(path, from, to);
        File::options().write(true).open(&place).unwrap().set_modified(modified).unwrap();
    };
    let faults = || bed.bondline(&["check"]);
    let good = faults();
    edited("area: 0.82 m2", "area: 0.82 mm");
    let bad = faults();
    assert_eq!((good.code, bad.code), (Some(0), Some(1)), "{bad:?}");
    // Files that were left alone for a while go by their looks.
    sleep(Duration::from_secs(5));
    assert_eq!(faults().out, bad.out);
    let stamped = |bed: &Bed| bed.document(&["store", "status"])["kept"].to_string().contains("stamps");
    assert!(stamped(&bed), "looks are kept");
    assert_eq!(faults().out, bad.out);
    edited("area: 0.82 mm", "area: 0.82 m2");
    assert_eq!(faults().out, good.out);
    assert_eq!(bed.bondline(&["store", "verify"]).code, Some(0));
}

#[test]
fn whatever_becomes_of_the_file_the_answer_is_the_same() {
    let bed = faulty();
    let answers = without(&bed);
    same(&bed, &answers, "at first");
    let whole = fs::read(file(&bed)).unwrap();
    let mut noted = 0;
    let lengths = [0, 1, 99, 100, 3000, 4096, 9000, whole.len() - 1].map(|length| whole[..length].to_vec());
    let flipped = (0..whole.len()).step_by(whole.len() / 16).map(|at| {
        let mut bytes = whole.clone();
        bytes[at..(at + 40).min(whole.len())].iter_mut().for_each(|byte| *byte ^= 0x5a);
        bytes
    });
    let other = vec![b"no store at all\n".repeat(900), vec![0; 8192]];
    for (at, bytes) in lengths.into_iter().chain(flipped).chain(other).enumerate() {
        fs::write(file(&bed), bytes).unwrap();
        let notes = same(&bed, &answers, &format!("damage {at}"));
        assert!(notes.iter().all(|note| note.contains("damaged")), "{notes:?}");
        noted += notes.len();
        // The next writers made it anew where it mattered.
        let notes = same(&bed, &answers, &format!("after damage {at}"));
        assert!(notes.len() <= 1, "{at}: {notes:?}");
    }
    assert!(noted > 3, "{noted}");
}

#[test]
fn a_later_format_a_link_and_a_file_in_the_folder_s_place_are_left_alone() {
    let bed = faulty();
    let answers = without(&bed);
    same(&bed, &answers, "at first");
    rusqlite::Connection::open(file(&bed)).unwrap().pragma_update(None, "user_version", 2).unwrap();
    let bytes = fs::read(file(&bed)).unwrap();
    let notes = same(&bed, &answers, "a later format");
    assert_eq!(notes.len(), QUESTIONS.len());
    assert!(notes[0].contains("later version"), "{notes:?}");
    assert_eq!(fs::read(file(&bed)).unwrap(), bytes);
    assert_eq!(bed.document(&["store", "status"])["state"], "newer");
    let folder = bed.top().join(".git/bondline");
    fs::remove_dir_all(&folder).unwrap();
    fs::create_dir(&folder).unwrap();
    std::os::unix::fs::symlink(bed.top().join("ledger.yaml"), file(&bed)).unwrap();
    let obstructed = |what: &str| {
        let notes = same(&bed, &answers, what);
        assert!(
            notes.len() == QUESTIONS.len() && notes[0].contains("stands in its way"),
            "{what}: {notes:?}"
        );
        assert_eq!(bed.document(&["store", "status"])["state"], "obstructed");
    };
    obstructed("a link");
    fs::remove_dir_all(&folder).unwrap();
    fs::write(&folder, "in the way").unwrap();
    obstructed("a file in its place");
    assert_eq!(bed.bondline(&["store", "clear"]).code, Some(2));
    assert_eq!(fs::read_to_string(&folder).unwrap(), "in the way");
    fs::remove_file(&folder).unwrap();
    let elsewhere = bed.top().join(".git/elsewhere");
    fs::create_dir(&elsewhere).unwrap();
    std::os::unix::fs::symlink(&elsewhere, &folder).unwrap();
    obstructed("a link to a folder");
    assert_eq!(fs::read_dir(&elsewhere).unwrap().count(), 0);
}

#[test]
fn somebody_else_s_writing_is_not_waited_for() {
    let bed = faulty();
    let answers = without(&bed);
    same(&bed, &answers, "at first");
    let other = rusqlite::Connection::open(file(&bed)).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE; UPDATE kept SET used = 0;").unwrap();
    assert_eq!(same(&bed, &answers, "while another writes"), Vec::<String>::new());
    bed.edit("ledger.yaml", "programme:", "programme: ");
    assert_eq!(same(&bed, &without(&bed), "another state, while another writes"), Vec::<String>::new());
    other.execute_batch("COMMIT;").unwrap();
    same(&bed, &without(&bed), "afterwards");
}

#[test]
fn several_at_once_answer_alike_and_leave_it_whole() {
    let bed = faulty();
    let answers = without(&bed);
    let mut all = Vec::new();
    for round in 0..3 {
        for question in QUESTIONS.iter().cycle().take(8) {
            let mut command = bed.command(PROGRAM, bed.top());
            command.args(["--today", TODAY]).args(*question);
            all.push((
                round,
                *question,
                command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap(),
            ));
        }
    }
    let expected: BTreeMap<&[&str], &Run> = QUESTIONS.iter().copied().zip(&answers).collect();
    for (round, question, child) in all {
        let run = Run::of(&child.wait_with_output().unwrap());
        assert_eq!(run.out, expected[question].out, "round {round}: {question:?}");
        assert_eq!(run.err, expected[question].err);
    }
    assert_eq!(bed.bondline(&["store", "verify"]).code, Some(0));
    same(&bed, &answers, "afterwards");
}

#[test]
fn killed_at_any_moment_it_is_whole_or_begun_anew() {
    let bed = faulty();
    let answers = without(&bed);
    let mut killed = 0;
    for wait in 0..24_u64 {
        // Another state each time, so that there is something to keep.
        bed.write("materials/aside.yaml", &format!("kind: part\nmass: {wait} g\n"));
        let mut command = bed.command(PROGRAM, bed.top());
        command.args(["--today", TODAY, "check"]).stdout(Stdio::null()).stderr(Stdio::null());
        let mut child = command.spawn().unwrap();
        sleep(Duration::from_millis(wait * 12));
        killed += usize::from(child.try_wait().unwrap().is_none());
        // On Unix that is SIGKILL.
        let _ = child.kill();
        child.wait().unwrap();
    }
    assert!(killed > 2, "{killed}");
    fs::remove_file(bed.top().join("materials/aside.yaml")).unwrap();
    same(&bed, &answers, "after the kills");
    same(&bed, &answers, "and again");
    assert_eq!(bed.bondline(&["store", "verify"]).code, Some(0));
}

/// Who has no answer has kept nothing either.
#[test]
fn nothing_is_written_before_the_answer_is_out() {
    let bed = Bed::example();
    let mut command = bed.command(PROGRAM, bed.top());
    command.args(["--today", TODAY, "check"]).stdout(File::options().write(true).open("/dev/full").unwrap());
    assert_eq!(command.output().unwrap().status.code(), Some(2));
    assert!(!file(&bed).exists());
    bed.bondline(&["check"]);
    assert!(file(&bed).exists());
    assert_eq!(bed.document(&["store", "clear"])["cleared"], true);
    assert!(!file(&bed).exists());
    // Linked work trees share it.
    let linked = bed.beside("linked");
    bed.git(&["worktree", "add", "-q", &linked.display().to_string()]);
    assert_eq!(bed.bondline_at(&linked, &["check"]).code, Some(0));
    assert!(file(&bed).exists());
    // What lies in no repository has none.
    let bed = Bed::bare_folder();
    bed.lay_small("");
    assert_eq!(bed.bondline(&["check"]).code, Some(0));
    let run = bed.bondline(&["store", "status"]);
    assert_eq!(run.code, Some(2));
    assert!(run.flat().contains("git init"), "{run:?}");
}

#[test]
fn a_decision_that_stands_is_not_given_up_by_parts_either() {
    let bed = Bed::new();
    bed.write("ledger.yaml", "format: 1\nprogramme: Sanderling (invented)\n");
    for at in 0..12 {
        bed.write(&format!("materials/m{at}.yaml"), "kind: part\nmass: 1 g\n");
    }
    let decision = |status: &str| {
        format!(
            "title: Heavier\nstatus: {status}\nraised: 2026-05-01\nchanges:\n  - {{set: material/m1#mass, was: 1 g, to: 2 g}}\napprovals:\n  - {{role: chief-engineer, on: 2026-05-02}}\n"
        )
    };
    let commit = |message: &str| {
        bed.git(&["add", "-A"]);
        bed.git(&["commit", "-qm", message]);
        bed.bondline(&["hook", "run"]);
    };
    bed.write("decisions/dd-001-heavier.yaml", &decision("approved"));
    commit("Approve");
    bed.write("materials/m1.yaml", "kind: part\nmass: 2 g\n");
    commit("Carry out");
    bed.write("decisions/dd-001-heavier.yaml", &decision("withdrawn"));
    bed.git(&["add", "-A"]);
    let question = ["--format", "json", "hook", "run"];
    let whole = bed.bondline(&[&["--no-store"][..], &question].concat());
    assert!(whole.out.contains("it was carried out") && whole.code == Some(1), "{whole:?}");
    assert_eq!(bed.bondline(&question).out, whole.out);
}
