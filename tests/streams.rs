//! What the real program answers when its streams don't take the answer.
#![cfg(target_os = "linux")]

use crate::support::{Bench, TODAY, layout};
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

fn program(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bondline"));
    command.args(["-C", folder.to_str().unwrap(), "--today", TODAY]).args(arguments);
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command
}

fn full() -> File {
    OpenOptions::new().write(true).open("/dev/full").unwrap()
}

/// The writing end of a pipe that nobody reads.
fn closed() -> Stdio {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    Stdio::from(writer)
}

fn code(command: &mut Command) -> i32 {
    command.status().unwrap().code().unwrap()
}

/// A ledger that `check` objects to, and whose staged state the gate refuses.
fn faulty() -> Bench {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "As it was");
    bench.write("materials/wrong.yaml", "title: nothing\n");
    layout::stage(&bench.ledger());
    bench
}

#[test]
fn a_full_device_is_a_failure() {
    let bench = Bench::example();
    let folder = bench.ledger();
    for arguments in [&["mass"][..], &["check"], &["help"], &["mass", "--format", "json"]] {
        assert_eq!(code(program(&folder, arguments).stdout(full())), 2, "{arguments:?}");
    }
    let output = program(&folder, &["mass"]).stdout(full()).stderr(Stdio::piped()).output().unwrap();
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("error: the result can't be written: No space left"), "{told}");
    // With nowhere to say it, the status says it.
    assert_eq!(code(program(&folder, &["mass"]).stdout(full()).stderr(full())), 2);
    assert_eq!(code(program(&folder, &["mass", "no-such-panel"]).stderr(full())), 2);
}

#[test]
fn a_reader_that_goes_away_hides_the_answer_alone() {
    let bench = Bench::example();
    let folder = bench.ledger();
    assert_eq!(code(program(&folder, &["mass"]).stdout(closed())), 0);
    assert_eq!(code(program(&folder, &["mass", "no-such-panel"]).stdout(closed()).stderr(closed())), 2);
    assert_eq!(code(program(&folder, &["mass", "--no-such"]).stderr(closed())), 2);
    assert_eq!(code(program(&folder, &["mass", "--no-such", "--format", "json"]).stdout(closed())), 2);
    assert_eq!(code(program(&folder, &["mass", "nothing", "--format=json"]).stdout(closed())), 2);
    let faulty = faulty();
    let folder = faulty.ledger();
    for arguments in [&["check"][..], &["check", "--format", "json"], &["hook", "run"]] {
        assert_eq!(code(&mut program(&folder, arguments)), 1, "{arguments:?}");
        assert_eq!(code(program(&folder, arguments).stdout(closed()).stderr(closed())), 1, "{arguments:?}");
        assert_ne!(code(program(&folder, arguments).stdout(full())), 0, "{arguments:?}");
    }
}

#[test]
fn streams_that_are_not_there_change_no_status() {
    let shell = |folder: &Path, arguments: &str| {
        let line = format!(
            "exec '{}' -C '{}' {arguments} >&- 2>&-",
            env!("CARGO_BIN_EXE_bondline"),
            folder.display()
        );
        code(Command::new("sh").args(["-c", &line]))
    };
    let (sound, faulty) = (Bench::example(), faulty());
    assert_eq!(shell(&sound.ledger(), "mass"), 0);
    assert_eq!(shell(&sound.ledger(), "mass nothing"), 2);
    assert_eq!(shell(&faulty.ledger(), "check"), 1);
    assert_eq!(shell(&faulty.ledger(), "hook run"), 1);
}

#[test]
fn arguments_that_are_wrong_are_told_in_the_form_asked_for() {
    let bench = Bench::new();
    for arguments in [
        &["mass", "--no-such", "--format", "json"][..],
        &["--format=json", "nothing"],
        &["mass", "--format", "json", "--spread", "guess"],
        &["--format", "json"],
    ] {
        let answer = bench.run(arguments);
        assert_eq!(answer.code, 2, "{arguments:?}");
        assert_eq!(answer.err, "", "{arguments:?}");
        assert_eq!(answer.json()["schema"], "error/1", "{arguments:?}");
        assert!(!answer.json()["error"]["message"].as_str().unwrap().is_empty());
    }
    let coloured = bondline::cli::Terminal { colour_out: true, colour_err: true, ..Default::default() };
    let told = |arguments: &[&str]| {
        let all = std::iter::once("bondline").chain(arguments.iter().copied()).map(Into::into);
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let code = bondline::cli::run(all, &mut out, &mut err, coloured);
        assert_eq!(code, 2);
        String::from_utf8(err).unwrap()
    };
    assert!(told(&["--no-such"]).contains('\x1b'));
    assert!(!told(&["--no-such", "--color", "never"]).contains('\x1b'));
    assert!(!told(&["--color=never", "--no-such"]).contains('\x1b'));
}

/// What the program answers to `input` on a pipe.
fn piped(arguments: &[&str], input: &[u8]) -> (i32, String, String) {
    let bench = Bench::new();
    let mut command = program(&bench.ledger(), arguments);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    // A program that refuses early may close its end.
    let _ = child.stdin.take().unwrap().write_all(input);
    let output = child.wait_with_output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_calculator_reads_a_pipe() {
    for topic in bondline::calc::TOPICS {
        for arguments in [&["calc", topic.name][..], &["calc", topic.name, "-"]] {
            let (code, out, err) = piped(arguments, topic.sample.as_bytes());
            assert_eq!((code, err.as_str()), (0, ""), "{arguments:?}: {out}");
            assert!(out.contains("Steps") && out.contains("Source: "), "{out}");
        }
    }
    let (code, out, err) = piped(&["calc", "ply"], b"fibre_areal: 200\n");
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("(standard input):1:14") && err.contains("missing-unit"), "{err}");
    let (code, _, err) = piped(&["calc", "ply"], b"");
    assert!(code == 2 && err.contains("nothing is written"), "{err}");
    let (code, _, err) = piped(&["calc", "ply"], &vec![b'#'; (1 << 20) + 5]);
    assert!(code == 2 && err.contains("too-large"), "{err}");
    let (code, _, err) = piped(&["calc", "ply"], b"\xff\xfe");
    assert!(code == 2 && err.contains("not-utf8"), "{err}");
}
