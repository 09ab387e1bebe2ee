//! The report's pages in a real browser, on the example and on ledgers that mean harm.
//!
//! `tests/browser/check.mjs` says what is asked of a page; `tests/run` installs the browser and what drives it.

use crate::support::{Bench, layout};
use std::fmt::Write as _;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
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
    let sheet = |folder: &Path| std::fs::read_to_string(folder.join("decision/dd-010-margins.html")).unwrap();
    assert!(!sheet(&folder).contains("has not come"));
    looked_at(&folder);
    // Looked at before its approvals of 2026-11-18 they are none yet.
    let before = sheet(&report(&bench, "--today 2026-11-01"));
    assert!(before.contains("2026-11-18: that day has not come"), "{before}");
    assert!(before.contains("It needs chief-engineer and certification-lead."), "{before}");
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
fn a_record_of_any_kind_that_cannot_be_read_is_named_and_the_rest_is_shown() {
    for (file, text) in [
        ("finishes/white.yaml", "a: ["),
        ("materials/cw-200-e1.yaml", "a: ["),
        ("assemblies/closures.yaml", "a: ["),
        ("processes/oven-120.yaml", "a: ["),
        ("panels/rudder.yaml", "bogus: 3\n"),
        ("showings/lamina-tension-rtd.yaml", "a: ["),
    ] {
        let bench = Bench::example();
        bench.write(file, text);
        let folder = report(&bench, "");
        let today = std::fs::read_to_string(folder.join("index.html")).unwrap();
        let named = file.replace('/', "&#x2f;");
        assert!(today.contains(&named), "{file}");
        assert!(today.contains("Some records can") && today.contains("masses are the least"), "{file}");
        assert!(folder.join("panels.html").is_file(), "{file}");
    }
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
fn the_sheet_of_a_change_of_many_thick_stacks_can_be_handed_on() {
    let bench = Bench::new();
    layout::lay_base("carried", &bench.ledger());
    let recipe = bench.read("recipes/hatch-outer.yaml");
    let head = recipe.get(..recipe.find("layers:").unwrap()).unwrap();
    let lay = |turned: bool| {
        for which in 0..8 {
            let mut thick = format!("{head}layers:\n");
            for at in 0..1_000 {
                let angle = if turned && at % 3 == 0 { 30 } else { at % 4 * 45 - 45 };
                let _ = writeln!(thick, "  - {{material: cw-200-e1, angle: {angle}}}");
            }
            bench.write(&format!("recipes/thick-{which}.yaml"), &thick);
        }
    };
    lay(false);
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "one");
    lay(true);
    let folder = report(&bench, "--change HEAD..");
    let sheet = std::fs::read_to_string(folder.join("change/HEAD-to-work-tree.html")).unwrap();
    // Six stacks are drawn before and after, the others named.
    assert_eq!(sheet.matches("<svg").count(), 12);
    assert!(sheet.contains("2 more stacks change"));
    assert!(sheet.len() < 300_000, "{} bytes", sheet.len());
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

/// All files below a folder, links as such.
fn all_files(folder: &Path) -> std::collections::BTreeSet<String> {
    crate::support::files(folder).into_iter().collect()
}

#[test]
fn a_later_report_takes_away_every_page_of_an_earlier_one() {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "all");
    let folder = report(&bench, "--change HEAD..HEAD");
    let before = all_files(&folder);
    assert!(before.len() > 50, "{before:?}");
    let marker: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(folder.join("bondline-report.json")).unwrap()).unwrap();
    assert_eq!(marker["schema"], "report-folder/1");
    let empty = Bench::new();
    empty.write("ledger.yaml", "format: 1\nprogramme: Nothing yet (invented)\n");
    let answer = empty.run(&["report", "--format", "json", "--out", folder.to_str().unwrap()]);
    let mut shall: std::collections::BTreeSet<String> =
        answer.json()["files"].as_array().unwrap().iter().map(|one| one.as_str().unwrap().into()).collect();
    shall.insert("bondline-report.json".to_string());
    assert_eq!(all_files(&folder), shall);
}

#[test]
fn no_link_leads_a_report_to_what_is_not_its_own() {
    use std::os::unix::fs::symlink;
    let bench = Bench::new();
    layout::lay_base("small", &bench.ledger());
    let records = all_files(&bench.ledger());
    let folder = bench.ledger().join("bondline-report");
    let run = || bench.run(&["--today", "2026-06-01", "report"]);
    // As whoever shares the ledger could have committed it: links, and a marker that names what they lead to.
    let id = records.iter().find_map(|file| file.strip_prefix("panels/")).unwrap().to_string();
    std::fs::create_dir_all(&folder).unwrap();
    symlink("../panels", folder.join("x")).unwrap();
    symlink("../panels", folder.join("tool")).unwrap();
    bench.write("panels/mine.html", "not a page");
    let list = format!("[\"x/{id}\", \"tool/mine.html\", \"tool/{id}\", \"../panels/{id}\", \"notes.html\"]");
    let marker = format!("{{\"schema\": \"report/1\", \"files\": {list}}}");
    bench.write("bondline-report/bondline-report.json", &marker);
    bench.write("bondline-report/notes.html", "mine");
    let refused = run();
    let whole = |what: &str| {
        let now = all_files(&bench.ledger());
        assert!(records.iter().all(|file| now.contains(file)), "{what}: {now:?}");
        assert_eq!(bench.read("panels/mine.html"), "not a page", "{what}");
        assert_eq!(bench.read("bondline-report/notes.html"), "mine", "{what}");
    };
    whole("links beside the pages");
    if refused.code != 0 {
        assert!(refused.err.contains("is a link: nothing is written through it"), "{}", refused.err);
    }
    std::fs::remove_file(folder.join("tool")).unwrap();
    assert_eq!(run().code, 0);
    whole("a link that is no page's folder");
    // A page's own folder, and a page.
    std::fs::remove_dir_all(folder.join("panel")).unwrap();
    symlink("../panels", folder.join("panel")).unwrap();
    let refused = run();
    assert!(refused.code == 2 && refused.err.contains("is a link"), "{}", refused.err);
    whole("a folder of pages that is a link");
    std::fs::remove_file(folder.join("panel")).unwrap();
    std::fs::remove_file(folder.join("index.html")).unwrap();
    symlink("../ledger.yaml", folder.join("index.html")).unwrap();
    let head = bench.read("ledger.yaml");
    let refused = run();
    assert!(refused.code == 2 && refused.err.contains("is a link"), "{}", refused.err);
    assert_eq!(bench.read("ledger.yaml"), head);
    // The whole folder, by itself and with what would have it followed; then one above it.
    std::fs::rename(&folder, bench.ledger().join("elsewhere")).unwrap();
    std::fs::remove_file(bench.ledger().join("elsewhere/index.html")).unwrap();
    symlink("elsewhere", &folder).unwrap();
    let before = all_files(&bench.ledger().join("elsewhere"));
    symlink(".", bench.ledger().join("around")).unwrap();
    for out in ["bondline-report", "bondline-report/", "bondline-report/.", "around/new"] {
        let refused = bench.run(&["report", "--out", out]);
        assert!(
            refused.code == 2 && refused.err.contains("is a link"),
            "{out}: {}{}",
            refused.out,
            refused.err
        );
    }
    assert_eq!(all_files(&bench.ledger().join("elsewhere")), before);
    assert!(!bench.ledger().join("new").exists());
}

#[test]
fn revisions_that_are_alike_in_plain_letters_have_a_sheet_each() {
    let bench = Bench::new();
    layout::lay_base("small", &bench.ledger());
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "one");
    bench.write("ledger.yaml", &bench.read("ledger.yaml").replace("programme: ", "programme: Renamed "));
    layout::commit(&bench.ledger(), "two");
    let folder = report(&bench, "--change HEAD~1..HEAD --change HEAD^1..HEAD --change HEAD~1..HEAD");
    let mut titles: Vec<&str> = Vec::new();
    let pages: Vec<String> = all_files(&folder.join("change"))
        .iter()
        .map(|file| std::fs::read_to_string(folder.join("change").join(file)).unwrap())
        .collect();
    for title in ["From HEAD~1 to HEAD", "From HEAD^1 to HEAD"] {
        if pages.iter().any(|page| page.contains(title)) {
            titles.push(title);
        }
    }
    assert_eq!((titles.len(), pages.len()), (2, 2), "{titles:?}");
}

/// Asks the server once, with these lines of a request.
fn asked(port: u16, request: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut text = String::new();
    stream.read_to_string(&mut text).unwrap();
    text
}

/// A server that ends with the test, however that ends.
struct Server {
    process: std::process::Child,
    port: u16,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

impl Server {
    fn of(bench: &Bench, options: &[&str]) -> Self {
        let mut process = Command::new(env!("CARGO_BIN_EXE_bondline"))
            .arg("-C")
            .arg(bench.ledger())
            .args(["--today", "2026-06-01", "view", "--no-browser"])
            .args(options)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut out = process.stdout.take().unwrap();
        let mut own = Self { process, port: 0 };
        let mut first = String::new();
        let mut bytes = [0; 1];
        while !first.ends_with('\n') && out.read(&mut bytes).unwrap() == 1 {
            first.push(char::from(bytes[0]));
        }
        let port = first.split("127.0.0.1:").nth(1).and_then(|rest| rest.split('/').next());
        own.port = port.unwrap_or_else(|| panic!("no address: {first}")).parse().unwrap();
        own
    }

    fn get(&self, path: &str) -> String {
        asked(self.port, &format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", self.port))
    }

    /// The state once it is another than this one, or what it is after some while.
    fn state_after(&self, before: &str, patience: Duration) -> String {
        let begun = Instant::now();
        loop {
            std::thread::sleep(Duration::from_millis(300));
            let now = self.get("/state");
            if now != before || begun.elapsed() > patience {
                return now;
            }
        }
    }
}

/// Long enough for a state to be judged on a busy machine.
const LONG: Duration = Duration::from_secs(60);

#[test]
fn pages_are_served_on_loopback_and_follow_the_files() {
    let bench = Bench::small();
    let server = Server::of(&bench, &[]);
    let port = server.port;
    let page = server.get("/");
    assert!(page.starts_with("HTTP/1.1 200 OK") && page.contains("The programme today"), "{page}");
    assert!(server.get("/../ledger.yaml").starts_with("HTTP/1.1 404"), "a path that leads out");
    let foreign = asked(port, &format!("GET / HTTP/1.1\r\nHost: evil.example:{port}\r\n\r\n"));
    assert!(foreign.starts_with("HTTP/1.1 403"), "{foreign}");
    assert!(
        asked(port, &format!("POST / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"))
            .starts_with("HTTP/1.1 405")
    );
    assert!(asked(port, "nonsense\r\n\r\n").starts_with("HTTP/1.1 400"));
    let before = server.get("/state");
    bench.write("ledger.yaml", &bench.read("ledger.yaml").replace("programme: ", "programme: Renamed "));
    assert_ne!(before, server.state_after(&before, LONG));
    assert!(server.get("/").contains("Renamed "));
}

#[test]
fn a_page_that_is_not_to_be_had_comes_back_by_itself() {
    let bench = Bench::small();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "one");
    let repository = git2::Repository::open(bench.ledger()).unwrap();
    let head = repository.head().unwrap().target().unwrap();
    let mut side = repository.reference("refs/heads/side", head, true, "").unwrap();
    let server = Server::of(&bench, &["--at", "side"]);
    let gone = server.get("/panel/none.html");
    assert!(gone.starts_with("HTTP/1.1 404") && gone.contains("src=\"/view.js\""), "{gone}");
    // A state that can't be shown at all: every page asks on, and shows itself once there is one again.
    let before = server.get("/state");
    side.delete().unwrap();
    let broken = server.state_after(&before, LONG);
    let page = server.get("/");
    assert!(page.starts_with("HTTP/1.1 500") && page.contains("Content-Type: text/html"), "{page}");
    let state = broken.rsplit("\r\n").next().unwrap().trim();
    assert!(page.contains(&format!("data-state=\"{state}\"")), "{page}\n{broken}");
    assert!(page.contains("src=\"/view.js\"") && page.contains("side"), "{page}");
    let script = server.get("/view.js");
    assert!(script.starts_with("HTTP/1.1 200") && script.contains("location.reload"), "{script}");
    repository.reference("refs/heads/side", head, true, "").unwrap();
    assert_eq!(server.state_after(&broken, LONG), before);
    assert!(server.get("/").contains("The programme today"));
}

#[test]
fn served_pages_follow_the_index_and_other_branches() {
    let bench = Bench::small();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "one");
    let repository = git2::Repository::open(bench.ledger()).unwrap();
    let head = || repository.head().unwrap().target().unwrap();
    repository.reference("refs/heads/side", head(), true, "").unwrap();
    let staged = Server::of(&bench, &["--staged"]);
    let before = staged.get("/state");
    bench.write("ledger.yaml", &bench.read("ledger.yaml").replace("programme: ", "programme: Renamed "));
    // What is not staged is not shown.
    assert_eq!(staged.state_after(&before, Duration::from_secs(2)), before);
    layout::stage(&bench.ledger());
    let after = staged.state_after(&before, LONG);
    assert_ne!(after, before);
    assert!(staged.get("/").contains("Renamed "));
    drop(staged);
    layout::commit(&bench.ledger(), "two");
    for options in [&["--at", "side"][..], &["--change", "side..HEAD"]] {
        let server = Server::of(&bench, options);
        let before = server.get("/state");
        let moved =
            if options[0] == "--at" { head() } else { repository.revparse_single("HEAD~1").unwrap().id() };
        repository.reference("refs/heads/side", moved, true, "").unwrap();
        assert_ne!(server.state_after(&before, LONG), before, "{options:?}");
    }
}
