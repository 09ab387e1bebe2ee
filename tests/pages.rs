//! The report's pages in a real browser, on the example and on ledgers that mean harm.
//!
//! `tests/browser/check.mjs` says what is asked of a page; `tests/run` installs the browser and what drives it.

use crate::support::{Bench, layout};
use std::fmt::Write as _;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Looks at every page of a folder; the faults are the failure.
#[track_caller]
fn looked_at(folder: &Path) {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser/check.mjs");
    let output = Command::new("node").arg(script).arg(folder).output();
    let output = output.expect("node is there: tests/run installs it");
    let (out, err) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success(), "{out}{err}");
}

/// Writes the report of a bench's ledger.
#[track_caller]
fn report(bench: &Bench, line: &str) -> PathBuf {
    let folder = bench.ledger().parent().unwrap().join("pages");
    let mut arguments = vec!["report", "--out", folder.to_str().unwrap()];
    arguments.extend(line.split_whitespace());
    let answer = bench.run(&arguments);
    assert_eq!(answer.code, 0, "{}{}", answer.out, answer.err);
    folder
}

#[test]
fn pages_of_the_example() {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "all");
    let recipe = bench.read("recipes/hatch-outer.yaml");
    bench.write("recipes/hatch-outer.yaml", &recipe.replace("thickness: 6 mm", "thickness: 5 mm"));
    let folder = report(&bench, "--change HEAD.. --today 2026-12-01");
    let change = std::fs::read_to_string(folder.join("change/HEAD-to-work-tree.html")).unwrap();
    // The core is thinner on the sheet of the change, and marked.
    assert!(change.contains("5 mm  (changed)"), "{change}");
    looked_at(&folder);
}

/// A text that would be markup, script, an attribute or a change of direction where it is not escaped.
const HARM: &str = "</script><script>document.title='x'</script><img src=x onerror=alert(1)>\" onload=\"alert(2) 'q' &amp; \u{202e}abc \u{5d0}\u{5d1}\u{5d2} \u{1f6e9}";

/// The same where a page has room for a name: in a list of choices, at the head of a column.
const SHORT_HARM: &str = "\"><img src=x onerror=alert(1)>";

/// Gives a record these keys, in place of those that it has.
fn with_keys(bench: &Bench, file: &str, keys: &[(&str, &str)]) {
    let own = |line: &&str| !keys.iter().any(|(key, _)| line.starts_with(&format!("{key}:")));
    let mut text = String::new();
    for (key, value) in keys {
        let _ = writeln!(text, "{key}: {value}");
    }
    for line in bench.read(file).lines().filter(own) {
        let _ = writeln!(text, "{line}");
    }
    bench.write(file, &text);
}

#[test]
fn what_a_user_wrote_is_text() {
    let bench = Bench::new();
    layout::lay_base("carried", &bench.ledger());
    let quoted = serde_json::to_string(HARM).unwrap();
    // One group is a word of the other, which has two blanks in a row.
    let longer = serde_json::to_string(&format!("{SHORT_HARM}  hull")).unwrap();
    let short = serde_json::to_string(SHORT_HARM).unwrap();
    let (q, short, list) = (quoted.as_str(), short.as_str(), format!("[{quoted}]"));
    let long = serde_json::to_string(&"long ".repeat(2_000)).unwrap();
    with_keys(
        &bench,
        "ledger.yaml",
        &[("programme", q), ("milestones", "[first-flight, type-approval, '<img src=x>']")],
    );
    with_keys(&bench, "panels/bow-hatch.yaml", &[("title", q), ("notes", q), ("owner", q), ("group", short)]);
    with_keys(&bench, "panels/pane-frame.yaml", &[("group", &longer)]);
    with_keys(&bench, "recipes/hatch-outer.yaml", &[("title", &long), ("notes", q), ("owner", q)]);
    with_keys(
        &bench,
        "showings/skin-heat.yaml",
        &[("title", q), ("clause", &list), ("needed_by", "'<img src=x>'")],
    );
    with_keys(&bench, "evidence/e-001.yaml", &[("title", q), ("report", q)]);
    bench.write(
        "decisions/dd-001.yaml",
        &format!(
            "title: {q}\nstatus: proposed\nraised: 2026-05-05\nwhy: {q}\noptions: {list}\nowner: {q}\nchanges:\n  \
             - {{set: panel/bow-hatch#group, was: {short}, to: {longer}}}\n"
        ),
    );
    let folder = report(&bench, "--change dd-001");
    for page in [
        "panel/bow-hatch",
        "panels",
        "index",
        "change/dd-001",
        "decision/dd-001",
        "decisions",
        "clauses",
        "calendar",
        "showings",
        "showing/skin-heat",
        "evidence",
        "evidence/e-001",
        "mass",
    ] {
        let text = std::fs::read_to_string(folder.join(format!("{page}.html"))).unwrap();
        assert!(!text.contains("<img") && !text.contains("<script>document"), "{page}");
        // It is there, as text.
        assert!(text.contains("img src=x"), "{page}");
    }
    looked_at(&folder);
}

#[test]
fn ledgers_that_are_empty_broken_or_thick_have_pages() {
    let bench = Bench::new();
    bench.write("ledger.yaml", "format: 1\nprogramme: Nothing yet (invented)\n");
    looked_at(&report(&bench, ""));

    let bench = Bench::new();
    layout::lay_base("carried", &bench.ledger());
    let recipe = bench.read("recipes/hatch-outer.yaml");
    bench.write("recipes/hatch-outer.yaml", &recipe.replace("layers:", "layerz:"));
    bench.write("panels/other.yaml", "zones: [");
    let folder = report(&bench, "");
    let today = std::fs::read_to_string(folder.join("index.html")).unwrap();
    assert!(today.contains("hatch-outer.yaml:2") && today.contains("other.yaml:1"), "{today}");
    looked_at(&folder);

    let bench = Bench::new();
    layout::lay_base("carried", &bench.ledger());
    let recipe = bench.read("recipes/hatch-outer.yaml");
    let place = recipe.find("layers:").unwrap();
    let mut thick = recipe.get(..place).unwrap().to_string();
    thick.push_str("layers:\n");
    for at in 0..1_000 {
        let _ = writeln!(thick, "  - {{material: cw-200-e1, angle: {}}}", at % 4 * 45 - 90 + 45);
    }
    bench.write("recipes/hatch-outer.yaml", &thick);
    looked_at(&report(&bench, ""));
}

#[test]
fn a_folder_with_other_things_is_left_alone() {
    let bench = Bench::new();
    layout::lay_base("small", &bench.ledger());
    let folder = bench.ledger().parent().unwrap().join("mine");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("thesis.txt"), "years of work").unwrap();
    let refused = bench.run(&["report", "--out", folder.to_str().unwrap()]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("holds other things"), "{}", refused.err);
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1);
    // A second report takes away the pages of the first that are none any more, and nothing else.
    let folder = report(&bench, "");
    std::fs::write(folder.join("notes.txt"), "mine").unwrap();
    let gone = std::fs::read_dir(folder.join("recipe")).unwrap().next().unwrap().unwrap().path();
    let id = gone.file_stem().unwrap().to_str().unwrap().to_string();
    std::fs::remove_file(bench.ledger().join(format!("recipes/{id}.yaml"))).unwrap();
    report(&bench, "");
    assert!(!gone.exists() && folder.join("notes.txt").exists());
}

/// Asks the server once, with these lines of a request.
fn asked(port: u16, request: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut text = String::new();
    stream.read_to_string(&mut text).unwrap();
    text
}

/// A program that ends with the test, however that ends.
struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn pages_are_served_on_loopback_and_follow_the_files() {
    let bench = Bench::new();
    layout::lay_base("small", &bench.ledger());
    let server = Command::new(env!("CARGO_BIN_EXE_bondline"))
        .arg("-C")
        .arg(bench.ledger())
        .args(["--today", "2026-06-01", "view", "--no-browser"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut server = Server(server);
    let mut first = String::new();
    let mut bytes = [0; 1];
    let mut out = server.0.stdout.take().unwrap();
    while !first.ends_with('\n') && out.read(&mut bytes).unwrap() == 1 {
        first.push(char::from(bytes[0]));
    }
    let port: u16 = first.split("127.0.0.1:").nth(1).unwrap().split('/').next().unwrap().parse().unwrap();
    let get = |path: &str| asked(port, &format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"));
    let page = get("/");
    assert!(page.starts_with("HTTP/1.1 200 OK") && page.contains("The programme today"), "{page}");
    assert!(get("/../ledger.yaml").starts_with("HTTP/1.1 404"), "a path that leads out");
    let foreign = asked(port, &format!("GET / HTTP/1.1\r\nHost: evil.example:{port}\r\n\r\n"));
    assert!(foreign.starts_with("HTTP/1.1 403"), "{foreign}");
    assert!(
        asked(port, &format!("POST / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"))
            .starts_with("HTTP/1.1 405")
    );
    assert!(asked(port, "nonsense\r\n\r\n").starts_with("HTTP/1.1 400"));
    let before = get("/state");
    bench.write("ledger.yaml", &bench.read("ledger.yaml").replace("programme: ", "programme: Renamed "));
    let begun = Instant::now();
    let after = loop {
        std::thread::sleep(Duration::from_millis(300));
        let now = get("/state");
        if now != before || begun.elapsed() > Duration::from_secs(60) {
            break now;
        }
    };
    assert_ne!(before, after);
    assert!(get("/").contains("Renamed "));
}
