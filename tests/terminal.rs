//! What the real program does on a terminal: a pager, signs of life, colour; and nothing of it elsewhere.
#![cfg(target_os = "linux")]

use crate::outside::python;
use crate::support::{Bench, TODAY};
use std::process::{Command, Stdio};

/// Runs the program on a terminal of 24 lines and 80 columns and returns what came on it; standard error may be
/// another place.
fn on_terminal(bench: &Bench, variables: &[(&str, &str)], arguments: &[&str]) -> (String, i32) {
    const SCRIPT: &str = "import os, pty, sys, fcntl, termios, struct
pid, end = pty.fork()
if pid == 0:
    fcntl.ioctl(1, termios.TIOCSWINSZ, struct.pack('HHHH', 24, 80, 0, 0))
    os.execv(sys.argv[1], sys.argv[1:])
text = b''
while True:
    try:
        more = os.read(end, 65536)
    except OSError:
        break
    if not more:
        break
    text += more
status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
sys.stdout.buffer.write(text)
sys.exit(status)";
    let mut command = Command::new(python());
    command.args(["-c", SCRIPT, env!("CARGO_BIN_EXE_bondline"), "-C", bench.ledger().to_str().unwrap()]);
    command.args(["--today", TODAY]).args(arguments).stdin(Stdio::null());
    for name in ["PAGER", "NO_PAGER", "NO_COLOR", "CLICOLOR_FORCE"] {
        command.env_remove(name);
    }
    command.env("TERM", "xterm").envs(variables.iter().copied());
    let output = command.output().expect("tests/run installs the interpreter");
    (String::from_utf8_lossy(&output.stdout).into_owned(), output.status.code().unwrap())
}

const MARKED: (&str, &str) = ("PAGER", "sed s/^/PAGED:/");

#[test]
fn long_text_goes_through_the_pager() {
    let bench = Bench::example();
    let (text, code) = on_terminal(&bench, &[MARKED], &["mass"]);
    assert!(code == 0 && text.matches("PAGED:").count() > 24, "{text}");
    for (variables, arguments) in [
        (&[MARKED, ("NO_PAGER", "1")][..], &["mass"][..]),
        (&[MARKED], &["mass", "--no-pager"]),
        (&[MARKED], &["--no-pager", "mass"]),
        (&[MARKED], &["mass", "--format", "json"]),
        (&[MARKED], &["check", "--today", "2026-12-01"]),
        (&[("PAGER", "")], &["mass"]),
        (&[("PAGER", "no-such-program")], &["mass"]),
        // A folder is there, but nothing that can be run.
        (&[("PAGER", "/")], &["mass"]),
    ] {
        let (text, code) = on_terminal(&bench, variables, arguments);
        assert!(code == 0 && !text.contains("PAGED:"), "{arguments:?}: {text}");
        assert!(
            ["Sanderling", "no faults", "mass/1"].iter().any(|own| text.contains(own)),
            "{arguments:?}: {text}"
        );
    }
}

#[test]
fn what_a_pager_does_changes_no_status() {
    let bench = Bench::example();
    for number in 0..20 {
        bench.write(&format!("materials/wrong-{number}.yaml"), "kind: nothing\n");
    }
    let (_, code) = on_terminal(&bench, &[MARKED], &["check"]);
    assert_eq!(code, 1);
    let (_, code) = on_terminal(&bench, &[("PAGER", "head -1; exit 3")], &["check"]);
    assert_eq!(code, 1);
}

#[test]
fn nothing_but_the_answer_leaves_where_there_is_no_terminal() {
    let bench = Bench::example();
    let mut command = Command::new(env!("CARGO_BIN_EXE_bondline"));
    command.args(["-C", bench.ledger().to_str().unwrap(), "--today", TODAY, "impact", "dd-004"]);
    let output = command.env("PAGER", MARKED.1).output().unwrap();
    assert!(output.status.success());
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    assert!(!String::from_utf8_lossy(&output.stdout).contains("PAGED:"));
}

#[test]
fn a_long_wait_shows_a_sign_of_life() {
    let bench = Bench::example();
    // A search of many evaluations: seconds, whatever the build.
    let (text, code) =
        on_terminal(&bench, &[("NO_PAGER", "1")], &["leeway", "recipe/hatch-outer#layers.6.thickness"]);
    assert!(code == 0 && text.contains("\rworking (") && text.contains("\r\u{1b}[K"), "{text}");
}

#[test]
fn colour_says_nothing_of_its_own() {
    let bench = Bench::example();
    let run = |variables: &[(&str, &str)], arguments: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_bondline"));
        command.args(["-C", bench.ledger().to_str().unwrap(), "--today", TODAY]).args(arguments);
        command.env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE").envs(variables.iter().copied());
        String::from_utf8(command.output().unwrap().stdout).unwrap()
    };
    for arguments in [
        &["check"][..],
        &["mass"],
        &["gaps", "--milestone", "first-flight"],
        &["impact", "dd-003"],
        &["laminate", "hatch-outer"],
        &["panel", "bow-hatch"],
        &["why", "panel/bow-hatch"],
    ] {
        let coloured = run(&[("CLICOLOR_FORCE", "1")], arguments);
        let plain = run(&[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")], arguments);
        assert!(!plain.contains('\u{1b}'), "{arguments:?}");
        let mut bare = String::new();
        let mut rest = coloured.as_str();
        while let Some((before, after)) = rest.split_once("\u{1b}[") {
            bare.push_str(before);
            rest = after.split_once('m').unwrap().1;
        }
        bare.push_str(rest);
        assert_eq!(bare, plain, "{arguments:?}");
    }
}

/// A ledger may be sent by anybody.
#[test]
fn nothing_in_a_record_is_obeyed() {
    let bench = Bench::example();
    let file = bench.ledger().join("panels/bow-hatch.yaml");
    let text = std::fs::read_to_string(&file).unwrap();
    let at = text.find("\ntitle: ").unwrap();
    let end = at + 1 + text[at + 1..].find('\n').unwrap();
    let own = r#"title: "hatch\x1b]0;pwn\x07\x1b[8m\x1b[2J\u202e""#;
    std::fs::write(&file, format!("{}\n{own}{}", &text[..at], &text[end..])).unwrap();
    let shown = r"hatch\u{1b}]0;pwn\u{7}\u{1b}[8m\u{1b}[2J\u{202e}";
    for arguments in [&["panel", "bow-hatch"][..], &["why", "--no-pager", "export"], &["gaps"]] {
        let (text, _) = on_terminal(&bench, &[("PAGER", "cat")], arguments);
        let obeyed = ["\u{1b}]", "\u{1b}[8m", "\u{1b}[2J", "\u{7}", "\u{202e}"];
        assert!(!obeyed.iter().any(|one| text.contains(one)), "{arguments:?}: {text:?}");
        assert!(arguments[0] != "panel" || text.contains(shown), "{text}");
    }
    // What another program reads is as it was written.
    let (text, code) = on_terminal(&bench, &[], &["panel", "bow-hatch", "--format", "json"]);
    assert!(code == 0 && text.contains(r"\u001b]0;pwn\u0007"), "{text}");
}
