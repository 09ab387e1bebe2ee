//! Files that change while they are read, two gates at once, and clocks that go backwards.

use super::{program, started};
use crate::git::bed::{Bed, Run};
use std::fs::{self, File};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime};

/// A record is replaced, grows and shrinks all the time; each answer is that of one of its states, or says that it
/// changed. Nothing is kept that is neither's.
#[test]
fn a_record_that_changes_while_it_is_read() {
    let bed = Bed::small();
    let file = "materials/cw.yaml";
    let (one, path) = (bed.read(file), bed.top().join(file));
    let two = format!("{}# {}\n", one.replace("37 %", "36 %"), "longer ".repeat(200));
    let masses = [one.as_str(), two.as_str()].map(|text| {
        bed.write(file, text);
        bed.bondline(&["--no-store", "mass"]).out
    });
    assert_ne!(masses[0], masses[1]);
    let stop = AtomicBool::new(false);
    let (mut answered, mut told) = (0, 0);
    struct Stop<'a>(&'a AtomicBool);
    impl Drop for Stop<'_> {
        fn drop(&mut self) {
            self.0.store(true, Ordering::Relaxed);
        }
    }
    std::thread::scope(|scope| {
        // Whatever is found, the other thread ends.
        let _stop = Stop(&stop);
        scope.spawn(|| {
            let beside = bed.top().join("materials/.next");
            let mut turn = 0_u64;
            while !stop.load(Ordering::Relaxed) {
                turn += 1;
                fs::write(&beside, if turn.is_multiple_of(2) { &one } else { &two }).unwrap();
                fs::rename(&beside, &path).unwrap();
                std::thread::sleep(Duration::from_micros(300 * (turn % 7)));
            }
        });
        for _ in 0..15 {
            let run = bed.bondline(&["mass"]);
            if run.code == Some(0) {
                assert!(masses.contains(&run.out), "{run:?}");
                answered += 1;
            } else {
                super::refused(&run, &["changed while it was being read"]);
                told += 1;
            }
            let run = bed.bondline(&["check"]);
            let is_told = run.code == Some(1) && run.flat().contains("changed while it was being read");
            assert!(run.code == Some(0) || is_told, "{run:?}");
        }
    });
    eprintln!("{answered} answers, {told} times it was said that the file changes");
    for (text, mass) in [(&one, &masses[0]), (&two, &masses[1])] {
        bed.write(file, text);
        assert_eq!(bed.bondline(&["mass"]).out, *mass);
        assert_eq!(bed.bondline(&["check"]).code, Some(0));
    }
    assert_eq!(bed.bondline(&["store", "verify"]).code, Some(0));
}

#[test]
fn gates_at_once_say_the_same() {
    let bed = Bed::small();
    bed.edit("recipes/skin.yaml", "angle: 45", "angle: 30");
    bed.git(&["add", "-A"]);
    let alone = bed.bondline(&["--no-store", "hook", "run"]);
    assert_eq!(alone.code, Some(1), "{alone:?}");
    let all: Vec<_> = (0..6)
        .map(|_| {
            let mut command = program(&bed, &["hook", "run"]);
            command.stdout(std::process::Stdio::piped()).stderr(std::process::Stdio::piped()).spawn().unwrap()
        })
        .collect();
    for child in all {
        let run = Run::of(&child.wait_with_output().unwrap());
        assert_eq!((run.code, &run.out, &run.err), (alone.code, &alone.out, &alone.err));
    }
    // And two that are installed at once, beside somebody's own.
    for _ in 0..12 {
        let hooks = bed.top().join(".git/hooks");
        let _ = fs::remove_dir_all(&hooks);
        bed.script(&hooks.join("pre-commit"), "#!/bin/sh\n# theirs\n");
        let mut both: Vec<_> = (0..4).map(|_| started(&bed, &["hook", "install"])).collect();
        assert!(both.iter_mut().all(|one| one.wait().unwrap().success()));
        let kept = fs::read_to_string(hooks.join("pre-commit.before-bondline")).unwrap();
        assert_eq!(kept, "#!/bin/sh\n# theirs\n");
    }
}

/// What a clock that went ahead has left: files, commits and uses of the store that are yet to come.
#[test]
fn a_clock_that_goes_backwards() {
    let bed = Bed::small();
    let answers = |today: &str| {
        ["check", "mass", "gaps"].map(|question| {
            let run = Run::of(
                &bed.command(crate::git::bed::PROGRAM, bed.top())
                    .args(["--today", today, question])
                    .output()
                    .unwrap(),
            );
            assert_eq!(run.code, Some(0), "{run:?}");
            (run.out, run.err)
        })
    };
    let before = answers("2026-12-01");
    // A month on, with a clock that is a year ahead: files of the future, a commit of the future.
    answers("2027-12-01");
    let ahead = SystemTime::now() + Duration::from_secs(400 * 86_400);
    for file in ["recipes/skin.yaml", "materials/cw.yaml"] {
        File::options().write(true).open(bed.top().join(file)).unwrap().set_modified(ahead).unwrap();
    }
    let store = bed.top().join(".git/bondline/store-1.sqlite");
    let held = rusqlite::Connection::open(&store).unwrap();
    held.execute("UPDATE kept SET used = 4000000000", []).unwrap();
    drop(held);
    assert_eq!(answers("2026-12-01"), before, "back again the answer is the same");
    // A file that looks as it did, of a time to come, is read all the same.
    let text = bed.read("recipes/skin.yaml");
    bed.write("recipes/skin.yaml", &text.replace("angle: 45", "angle: xx"));
    File::options()
        .write(true)
        .open(bed.top().join("recipes/skin.yaml"))
        .unwrap()
        .set_modified(ahead)
        .unwrap();
    assert_eq!(bed.bondline(&["check"]).code, Some(1));
    bed.write("recipes/skin.yaml", &text);
    // Commits out of order: the history is that of parents, whatever the days that they bear.
    for (day, angle) in
        [("2030-01-01T00:00:00Z", 10), ("2020-01-01T00:00:00Z", 20), ("2026-11-20T00:00:00Z", 30)]
    {
        bed.write("recipes/skin.yaml", &text.replace("angle: 45", &format!("angle: {angle}")));
        bed.git(&["add", "-A"]);
        let mut commit = bed.command("git", bed.top());
        commit
            .args(["commit", "-q", "-m", &format!("to {angle}")])
            .env("GIT_COMMITTER_DATE", day)
            .env("GIT_AUTHOR_DATE", day);
        assert!(commit.status().unwrap().success());
    }
    let run = bed.bondline(&["history"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    let places = ["to 30", "to 20", "to 10", "first"].map(|words| run.out.find(words).unwrap());
    assert!(places.is_sorted() || places.iter().rev().is_sorted(), "{run:?}");
    assert_eq!(bed.bondline(&["check", "--as-of", "2026-11-25"]).code, Some(0));
    assert_eq!(bed.bondline(&["store", "verify"]).code, Some(0));
}
