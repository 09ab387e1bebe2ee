//! Completions and man pages: every command is in them, shells and formatters take them, ids are found.

use crate::support::{Bench, files};
use bondline::cli::Cli;
use clap::CommandFactory;
use std::process::{Command, Stdio};

/// Names of all commands that help shows, with those below them: `decide draft`.
fn commands() -> Vec<String> {
    fn walk(command: &clap::Command, above: &str, all: &mut Vec<String>) {
        for own in command.get_subcommands().filter(|own| !own.is_hide_set()) {
            let name = format!("{above} {}", own.get_name()).trim().to_string();
            all.push(name.clone());
            walk(own, &name, all);
        }
    }
    let mut all = Vec::new();
    walk(&Cli::command(), "", &mut all);
    assert!(all.len() > 30, "{all:?}");
    all
}

/// Whether a program is there; where BONDLINE_PROGRAMS is set, one that is not is a failure.
fn has(program: &str) -> bool {
    let there =
        Command::new("sh").args(["-c", &format!("command -v {program}")]).stdout(Stdio::null()).status();
    let there = there.is_ok_and(|status| status.success());
    assert!(
        there || std::env::var_os("BONDLINE_PROGRAMS").is_none(),
        "BONDLINE_PROGRAMS asks for {program}, which is not there"
    );
    there
}

/// What a shell answers to `lines`, with the program on its path and in the ledger's folder.
fn shell(bench: &Bench, shell: &str, lines: &str) -> String {
    let program = std::path::Path::new(env!("CARGO_BIN_EXE_bondline")).parent().unwrap();
    let path = format!("{}:{}", program.display(), std::env::var("PATH").unwrap());
    let output = Command::new(shell)
        .args(["-c", lines])
        .env("PATH", path)
        .current_dir(bench.ledger())
        .output()
        .unwrap();
    assert!(output.status.success(), "{shell}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn scripts_have_every_command_and_shells_take_them() {
    let bench = Bench::small();
    for name in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let answer = bench.run(&["completions", name]);
        assert_eq!(answer.code, 0, "{name}");
        for command in commands() {
            let last = command.split(' ').next_back().unwrap();
            assert!(answer.out.contains(last), "{name} lacks `{command}`");
        }
        bench.write(&format!("../script.{name}"), &answer.out);
        if ["bash", "zsh", "fish"].contains(&name) && has(name) {
            shell(&bench, name, &format!("{name} -n ../script.{name}"));
        } else {
            eprintln!("{name} is not there: its script was not read");
        }
    }
}

#[test]
fn ids_are_completed() {
    let bench = Bench::example();
    let ask = |arguments: &[&str]| bench.run(&[&["complete"][..], arguments].concat());
    assert_eq!(ask(&["panel", "--", "b"]).out, "baggage-door\nbelly-cover\nbow-hatch\n");
    assert_eq!(ask(&["recipe,finish,panel", "--", "ho"]).out, "");
    assert_eq!(ask(&["any", "--", "panel/bo"]).out, "panel/bow-hatch\n");
    assert_eq!(ask(&["nonsense", "--", ""]).out, "");
    // Outside a ledger a prompt is left in peace.
    let empty = Bench::new();
    let answer = empty.run(&["complete", "panel", "--", ""]);
    assert_eq!((answer.code, answer.out.as_str(), answer.err.as_str()), (0, "", ""));
    let script = bench.run(&["completions", "bash"]).out;
    bench.write("../script.bash", &script);
    let typed = |words: &str| {
        let count = words.split(' ').count();
        let lines = format!(
            "source ../script.bash; COMP_WORDS=({words}); COMP_CWORD={}; _bondline_with_ids bondline; \
             printf '%s\\n' \"${{COMPREPLY[@]}}\"",
            count - 1
        );
        shell(&bench, "bash", &lines)
    };
    assert!(typed("bondline panel bow").contains("bow-hatch"), "{}", typed("bondline panel bow"));
    assert!(typed("bondline mass --with dd-00").contains("dd-003-night-blue"));
    assert!(typed("bondline why evidence/e-00").contains("evidence/e-004"));
    assert!(typed("bondline decide apply dd-00").contains("dd-004-drop-hatch-core"));
    assert!(typed("bondline gap").contains("gaps"));
    assert!(typed("bondline report --change dd-00").contains("dd-003-night-blue"));
    assert!(typed("bondline decide draft --supersedes dd-00").contains("dd-003-night-blue"));
    // From another folder the ledger that -C names is asked.
    let elsewhere = Bench::new();
    elsewhere.write("x", "");
    let there = bench.ledger().display().to_string();
    if has("zsh") {
        let script = bench.run(&["completions", "zsh"]).out;
        elsewhere.write("../script.zsh", &script);
        // What the shell's own completion would add is printed.
        let typed = |words: &str| {
            let lines = format!(
                "compdef() {{ }}; source ../script.zsh; _bondline() {{ }}; compadd() {{ print -l -- $@[2,-1] }}; \
                 words=({words}); CURRENT=$#words; _bondline_with_ids"
            );
            shell(&elsewhere, "zsh", &lines)
        };
        assert_eq!(typed(&format!("bondline -C {there} panel bow")), "bow-hatch\n");
        assert!(typed(&format!("bondline -C {there} leeway --keep e-00")).contains("e-004\n"));
        assert!(typed(&format!("bondline -C {there} report --change dd-00")).contains("dd-003-night-blue\n"));
        assert_eq!(typed("bondline panel bow"), "");
    }
    if has("fish") {
        let script = bench.run(&["completions", "fish"]).out;
        elsewhere.write("../script.fish", &script);
        let far = |words: &str| {
            shell(
                &elsewhere,
                "fish",
                &format!("source ../script.fish; complete -C 'bondline -C {there} {words}'"),
            )
        };
        assert!(far("panel bow").contains("bow-hatch"), "{}", far("panel bow"));
        assert!(far("leeway --keep e-00").contains("e-004"));
        bench.write("../script.fish", &bench.run(&["completions", "fish"]).out);
        let typed =
            |words: &str| shell(&bench, "fish", &format!("source ../script.fish; complete -C '{words}'"));
        assert!(typed("bondline panel bow").contains("bow-hatch"), "{}", typed("bondline panel bow"));
        assert!(typed("bondline leeway --keep e-00").contains("e-004"));
    }
}

#[test]
fn every_command_has_a_page_that_formats() {
    let bench = Bench::new();
    let answer = bench.run(&["man", "../man"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let folder = bench.ledger().join("../man");
    let mut wanted: Vec<String> =
        commands().into_iter().map(|own| format!("bondline-{}.1", own.replace(' ', "-"))).collect();
    wanted.push("bondline.1".to_string());
    wanted.sort();
    assert_eq!(files(&folder), wanted);
    for name in &wanted {
        let path = folder.join(name);
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(
            text.contains(".SH NAME") && text.contains(".SH SYNOPSIS") && text.contains(".SH OPTIONS"),
            "{name}"
        );
        if has("mandoc") {
            let output =
                Command::new("mandoc").args(["-T", "lint", "-W", "error"]).arg(&path).output().unwrap();
            assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stdout));
        } else if has("man") {
            let output = Command::new("man").args(["-l", "--warnings"]).arg(&path).output().unwrap();
            assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
            assert!(output.stderr.is_empty(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
        } else {
            eprintln!("neither mandoc nor man is there: no page was formatted");
        }
    }
    assert!(bench.run(&["man"]).out.contains(".TH"));
}
