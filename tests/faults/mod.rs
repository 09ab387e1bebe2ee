//! What happens when things go wrong: each fault is made, a command is run into it, and three things are held: the
//! message is for people, nothing is lost, and the exit status is the one that README names.
//!
//! More of the same: a full disk while records are written (`tests/git/full_disk.rs`), processes killed while they
//! carry a decision out (`tests/git/writers.rs`), damage of the store (`tests/git/store.rs`), streams that take no
//! answer (`tests/streams.rs`).
#![cfg(target_os = "linux")]

mod changing;
mod damaged;
mod formats;
mod full;
mod killed;
mod protected;
mod rewritten;

use crate::git::bed::{Bed, PROGRAM, Run, TODAY};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The program, to be run in the ledger's folder.
fn program(bed: &Bed, arguments: &[&str]) -> Command {
    let mut command = bed.command(PROGRAM, bed.top());
    command.args(["--today", TODAY]).args(arguments);
    command
}

/// Starts a run whose answers nobody reads.
fn started(bed: &Bed, arguments: &[&str]) -> Child {
    program(bed, arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

/// Runs a command once to know how long it takes, then as often as asked with SIGKILL at ever another moment of that
/// time. `before` lays the state that a run finds, `after` looks at what the killed one left.
fn killed_at_many_moments(
    bed: &Bed,
    arguments: &[&str],
    moments: u32,
    before: impl Fn(),
    mut after: impl FnMut(u32),
) {
    before();
    let begin = Instant::now();
    assert!(started(bed, arguments).wait().unwrap().success(), "{arguments:?}");
    let whole = begin.elapsed().max(Duration::from_millis(4));
    let mut killed = 0;
    for moment in 0..moments {
        before();
        let mut child = started(bed, arguments);
        // The writing comes last: two of three moments lie in the second half.
        let share = f64::from(moment) / f64::from(moments);
        let share = if moment % 3 == 0 { share } else { 0.5 + share / 2.0 };
        std::thread::sleep(whole.mul_f64(share));
        killed += u32::from(child.try_wait().unwrap().is_none());
        let _ = child.kill();
        child.wait().unwrap();
        after(moment);
    }
    eprintln!("{arguments:?}: {killed} of {moments} runs of {whole:.1?} were killed");
    assert!(killed > 0, "{arguments:?}: no run was killed in its {whole:?}");
}

/// A failure as README has it: status 2, an error and its mend on standard error, nothing of a panic.
#[track_caller]
fn refused(run: &Run, words: &[&str]) {
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.err.contains("error: ") && run.err.contains("help: "), "{run:?}");
    let flat = run.flat();
    for word in words {
        assert!(flat.contains(word), "{word:?} is not said: {run:?}");
    }
    assert!(!flat.contains("panicked"), "{run:?}");
}
