//! No connection is opened: the libraries that could are not linked, the source opens none, and without a network
//! every answer is the same.

use super::{READING, WRITING};
use crate::git::bed::{Bed, PROGRAM, Run, TODAY};
use crate::support::{files, root};
use std::fs;

/// What would let git's library, or anything else, speak to another machine.
#[test]
fn nothing_that_speaks_to_other_machines_is_linked() {
    let manifest = fs::read_to_string(root().join("Cargo.toml")).unwrap();
    let line = manifest.lines().find(|line| line.starts_with("git2 ")).unwrap();
    assert!(line.contains("default-features = false"), "{line}");
    let features = line.split("features = [").nth(1).unwrap();
    assert_eq!(features.split(']').next().unwrap(), "\"vendored-libgit2\"", "neither https nor ssh: {line}");
    let lock = fs::read_to_string(root().join("Cargo.lock")).unwrap();
    let names: Vec<&str> =
        lock.lines().filter_map(|line| line.strip_prefix("name = \"")?.strip_suffix('"')).collect();
    assert!(names.contains(&"libgit2-sys"), "the list was read");
    for other in [
        "openssl-sys",
        "libssh2-sys",
        "native-tls",
        "rustls",
        "curl-sys",
        "curl",
        "hyper",
        "reqwest",
        "ureq",
        "tokio",
        "mio",
        "socket2",
        "quinn",
        "hickory-resolver",
    ] {
        assert!(!names.contains(&other), "{other} is linked");
    }
}

/// `view` listens on the loopback address, and opens a browser where it is told to; nothing else knows of addresses.
#[test]
fn only_what_serves_pages_knows_of_connections() {
    let source = root().join("src");
    let speaks = |text: &str| {
        [
            "std::net",
            "TcpStream",
            "TcpListener",
            "UdpSocket",
            "ToSocketAddrs",
            "UnixStream",
            "remote_anonymous",
            "find_remote",
            ".fetch(",
            "Cred::",
            "RemoteCallbacks",
        ]
        .iter()
        .any(|word| text.contains(word))
    };
    let found: Vec<String> = files(&source)
        .into_iter()
        .filter(|file| file.ends_with(".rs"))
        .filter(|file| speaks(&fs::read_to_string(source.join(file)).unwrap()))
        .collect();
    assert_eq!(found, ["cli/view.rs"], "a new place that speaks to others has to be thought of");
    let view = fs::read_to_string(source.join("cli/view.rs")).unwrap();
    assert!(view.contains("LOCALHOST") || view.contains("127.0.0.1"));
    assert!(
        !view.contains("TcpStream::connect") && !view.contains("0.0.0.0") && !view.contains("UNSPECIFIED")
    );
}

/// In a network namespace without any interface, where the system has such; and a clone that lacks objects is told so
/// and is not completed over the wire.
#[test]
fn without_a_network_the_answers_are_the_same() {
    let bed = Bed::small();
    bed.git(&["remote", "add", "origin", "https://example.invalid/ledger.git"]);
    let alone = |arguments: &[&str]| {
        let mut command = bed.command("unshare", bed.top());
        Run::of(
            &command
                .args(["--user", "--map-root-user", "--net", PROGRAM, "--today", TODAY])
                .args(arguments)
                .output()
                .unwrap(),
        )
    };
    let first = alone(&["check"]);
    if first.err.contains("unshare") {
        eprintln!("no network namespace here: what is linked and what the source says was looked at alone");
    } else {
        for arguments in READING {
            let run = alone(arguments);
            let with = bed.bondline(arguments);
            assert_eq!((run.code, &run.out, &run.err), (with.code, &with.out, &with.err), "{arguments:?}");
        }
        for arguments in WRITING {
            assert!(matches!(alone(arguments).code, Some(0..=2)), "{arguments:?}");
        }
    }
    // What calls the system makes, where a tracer is there to ask.
    let trace = bed.beside("trace");
    let mut command = bed.command("strace", bed.top());
    command
        .args(["-f", "-qq", "-e", "trace=network", "-o"])
        .arg(&trace)
        .args([PROGRAM, "--today", TODAY, "impact", "--merge", "HEAD", "HEAD"]);
    match command.output() {
        Ok(output) if output.status.code() == Some(0) => {
            let calls = fs::read_to_string(&trace).unwrap();
            assert!(!calls.contains("connect(") && !calls.contains("AF_INET"), "{calls}");
        }
        told => eprintln!("no tracer here: {told:?}"),
    }
}
