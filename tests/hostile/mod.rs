//! Ledgers that somebody sends: opening one runs nothing, writes nothing outside its git directory and the places
//! that are named, follows no link out, opens no connection, and takes bounded time and memory.
//!
//! More of the same: records and data that blow up (`tests/golden/faults/`: `too-deep`, `too-many-aliases`,
//! `too-large`), mutated texts (`tests/fuzz/`), scripts in what a report shows and links in the folder that it is
//! written to (`tests/pages.rs`), control characters on the terminal (`tests/broken.rs`).
#![cfg(target_os = "linux")]

mod bombs;
mod links;
mod network;
mod pipes;
mod programs;

use crate::git::bed::{Bed, PROGRAM, Run, TODAY};
use std::fs::{self, File};
use std::time::{Duration, Instant};

/// No command on a small ledger takes so long, by far.
const LONGEST: Duration = Duration::from_secs(60);
/// The most that a run may have held in memory, in KiB: a build without optimization takes some 60 MiB for the small
/// ledger.
const MOST: u64 = 200 * 1024;

/// Runs the program; returns what it said and the most memory that it held, in KiB. One that does not end is killed.
fn watched(bed: &Bed, arguments: &[&str]) -> (Run, u64) {
    let (out, err) = (bed.beside("watched.out"), bed.beside("watched.err"));
    let mut command = bed.command(PROGRAM, bed.top());
    command.args(["--today", TODAY]).args(arguments);
    command.stdout(File::create(&out).unwrap()).stderr(File::create(&err).unwrap());
    let mut child = command.spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let (begin, mut most) = (Instant::now(), 0);
    let code = loop {
        // A mark that only rises: the last look before the end is the one that counts.
        let words = fs::read_to_string(&status).unwrap_or_default();
        // While it is being started it is this process still, by name and by memory.
        let is_own = words.lines().next().and_then(|line| line.strip_prefix("Name:")).map(str::trim)
            == Some("bondline");
        let mark = words.lines().find_map(|line| line.strip_prefix("VmHWM:")).filter(|_| is_own);
        let held = mark.and_then(|mark| mark.trim().strip_suffix(" kB")?.trim().parse::<u64>().ok());
        most = most.max(held.unwrap_or_default());
        if let Some(status) = child.try_wait().unwrap() {
            break status.code();
        }
        if begin.elapsed() > LONGEST {
            let _ = child.kill();
            child.wait().unwrap();
            panic!("{arguments:?} does not end");
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    let text = |path| String::from_utf8(fs::read(path).unwrap()).unwrap();
    (Run { code, out: text(&out), err: text(&err) }, most)
}

/// Runs the program, which has to end.
pub(crate) fn within(bed: &Bed, arguments: &[&str]) -> Run {
    watched(bed, arguments).0
}

/// Runs the program, which has to end without having held much memory.
pub(crate) fn bounded(bed: &Bed, arguments: &[&str]) -> Run {
    let (run, most) = watched(bed, arguments);
    // One that is refused at once may end before it is looked at.
    assert!(most > 0 || run.code == Some(2), "{arguments:?}: its memory was not seen: {run:?}");
    assert!(most < MOST, "{arguments:?}: {most} KiB: {run:?}");
    run
}

/// What reads a ledger, in all its states.
const READING: [&[&str]; 14] = [
    &["check"],
    &["check", "--staged"],
    &["check", "--at", "HEAD"],
    &["mass"],
    &["gaps"],
    &["why", "material/cw"],
    &["impact"],
    &["history"],
    &["leeway", "skin"],
    &["assumptions"],
    &["hook", "run"],
    &["hook", "run", "--range", "HEAD..HEAD"],
    &["decide", "list"],
    &["export", "json"],
];

/// What writes, where it should.
const WRITING: [&[&str]; 7] = [
    &["decide", "draft", "X", "--set", "recipe/skin#layers.1.angle=90"],
    &["conform", "e-adhesion"],
    &["report"],
    &["export", "csv"],
    &["export", "sqlite"],
    &["store", "verify"],
    &["store", "clear"],
];

/// What reads records in each of their states, and what writes some.
const RECORDS: [&[&str]; 6] = [
    &["check"],
    &["check", "--staged"],
    &["mass"],
    &["hook", "run"],
    &["decide", "draft", "X", "--set", "recipe/skin#layers.1.angle=90"],
    &["conform", "e-adhesion"],
];
/// What looks for the store, or takes it away.
const STORE: [&[&str]; 3] = [&["check", "--at", "HEAD"], &["store", "verify"], &["store", "clear"]];
const EXPORTS: [&[&str]; 4] = [
    &["export", "csv"],
    &["export", "csv", "--force"],
    &["export", "sqlite"],
    &["export", "sqlite", "--force"],
];
const HOOKS: [&[&str]; 2] = [&["hook", "install"], &["hook", "remove"]];
const REPORT: [&[&str]; 1] = [&["report"]];
