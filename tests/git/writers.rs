//! Several processes that write at once, and processes that are killed while they write.

use super::bed::{Bed, PROGRAM, TODAY};
use std::collections::BTreeMap;
use std::fs;
use std::process::{Child, Stdio};
use std::time::Duration;

fn start(bed: &Bed, arguments: &[&str]) -> Child {
    let mut command = bed.command(PROGRAM, bed.top());
    command.args(["--today", TODAY]).args(arguments).stdout(Stdio::piped()).stderr(Stdio::piped());
    command.spawn().unwrap()
}

/// Runs several at once; whether each did what it was asked.
fn at_once(bed: &Bed, all: &[&[&str]]) -> Vec<(bool, String)> {
    let children: Vec<Child> = all.iter().map(|arguments| start(bed, arguments)).collect();
    let ended = |child: Child| {
        let output = child.wait_with_output().unwrap();
        (output.status.success(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    children.into_iter().map(ended).collect()
}

const PROPOSED: &str = "title: Thinner core\nstatus: proposed\nraised: 2026-11-30\nchanges:\n  - {set: recipe/skin#layers.2.angle, was: 0, to: 90}\n";

#[test]
fn two_approvals_at_once_are_both_there() {
    let bed = Bed::small();
    let roles = "approvals: {decision: [chief-engineer, certification-lead]}\n";
    bed.write("ledger.yaml", &format!("{}{roles}", bed.read("ledger.yaml")));
    for _ in 0..8 {
        bed.write("decisions/dd-001-core.yaml", PROPOSED);
        let approve = |role| ["decide", "approve", "dd-001", "--role", role];
        let (one, two) = (approve("chief-engineer"), approve("certification-lead"));
        let done = at_once(&bed, &[&one, &two]);
        assert!(done.iter().all(|(done, _)| *done), "{done:?}");
        let text = bed.read("decisions/dd-001-core.yaml");
        for words in ["role: chief-engineer", "role: certification-lead", "status: approved"] {
            assert!(text.contains(words), "{words}: {text}");
        }
    }
}

#[test]
fn drafts_at_once_have_numbers_of_their_own() {
    let bed = Bed::small();
    let draft = |title| ["decide", "draft", title, "--set", "recipe/skin#layers.2.angle=90"];
    let all: Vec<[&str; 5]> = ["One", "Two", "Three", "Four"].into_iter().map(draft).collect();
    let all: Vec<&[&str]> = all.iter().map(|one| &one[..]).collect();
    let done = at_once(&bed, &all);
    assert!(done.iter().all(|(done, _)| *done), "{done:?}");
    let mut names: Vec<String> = fs::read_dir(bed.top().join("decisions"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy()[..6].to_string())
        .collect();
    names.sort();
    assert_eq!(names, ["dd-001", "dd-002", "dd-003", "dd-004"]);
}

/// The files of the work tree; what is hidden is nobody's record.
fn records(bed: &Bed) -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    for folder in ["materials", "recipes", "panels", "processes", "finishes"] {
        for entry in fs::read_dir(bed.top().join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if !name.starts_with('.') {
                all.insert(format!("{folder}/{name}"), fs::read_to_string(&path).unwrap());
            }
        }
    }
    all
}

#[test]
fn a_process_that_is_killed_at_any_moment_leaves_every_file_whole_and_all_or_none_of_them_changed() {
    let bed = Bed::small();
    // Many files, so that many moments lie between the first rename and the last.
    let mut changes = String::new();
    for n in 0..120 {
        bed.write(
            &format!("materials/clear-{n}.yaml"),
            "kind: coating\nrole: clear\ndry_density: 1150 kg/m3\n",
        );
        changes.push_str(&format!(
            "  - {{set: material/clear-{n}#dry_density, was: 1150 kg/m3, to: 1200 kg/m3}}\n"
        ));
    }
    bed.write(
        "decisions/dd-001-denser.yaml",
        &format!("title: Denser\nstatus: draft\nraised: 2026-11-30\nchanges:\n{changes}"),
    );
    bed.commit_all("many");
    let before = records(&bed);
    let apply = ["decide", "apply", "dd-001"];
    // The whole of it, to know how long that takes and what it leaves.
    let begin = std::time::Instant::now();
    assert!(at_once(&bed, &[&apply])[0].0);
    let whole = begin.elapsed();
    let after = records(&bed);
    assert_eq!(before.len(), after.len());
    let (mut untouched, mut finished, mut done) = (0, 0, 0);
    const MOMENTS: u32 = 30;
    let note = bed.top().join(".git/bondline-writing.json");
    for moment in 0..MOMENTS {
        bed.git(&["checkout", "-q", "--", "."]);
        let mut child = start(&bed, &apply);
        if moment % 3 == 0 {
            // At any moment of the whole run.
            std::thread::sleep(whole.mul_f64(f64::from(moment) / f64::from(MOMENTS)));
        } else {
            // Between the renames: from the journal on, ever a little later.
            let begin = std::time::Instant::now();
            while !note.exists() && begin.elapsed() < 4 * whole && child.try_wait().unwrap().is_none() {
                std::hint::spin_loop();
            }
            std::thread::sleep(Duration::from_micros(u64::from(moment) * 50));
        }
        // SIGKILL on unix.
        let _ = child.kill();
        child.wait().unwrap();
        let torn = records(&bed);
        for (file, text) in &torn {
            assert!(*text == before[file] || *text == after[file], "{file} is neither: {text}");
        }
        let journal = note.exists();
        assert!(journal || torn == before || torn == after, "half of it, and nothing says so");
        // Any command that writes finishes it.
        let run =
            bed.bondline(&["decide", "draft", "Next", "--set", "recipe/skin#layers.2.angle=90", "--dry-run"]);
        assert_eq!(run.code, Some(0), "{run:?}");
        let now = records(&bed);
        assert!(now == before || now == after, "neither all nor none");
        assert!(!note.exists());
        match (journal, now == before) {
            (true, _) => finished += 1,
            (false, true) => untouched += 1,
            (false, false) => done += 1,
        }
    }
    // What was hit depends on the machine; that it is told, not asserted.
    eprintln!("killed before it wrote {untouched}, while it wrote {finished}, after it {done}");
    assert_eq!(untouched + finished + done, MOMENTS);
}

#[test]
fn ledgers_of_one_repository_leave_each_other_alone() {
    let bed = Bed::new();
    bed.lay_small("a");
    bed.lay_small("b");
    bed.commit_all("two");
    let file = "recipes/skin.yaml";
    let (was, panel) = (bed.read(&format!("a/{file}")), bed.read("a/panels/hatch.yaml"));
    let shall = was.replace("angle: 0", "angle: 90");
    // As a kill leaves it in a: found out by asking where a's journal stands.
    let head = bed.git(&["rev-parse", "HEAD"]);
    let id = bondline::source::blob_of(b"a").unwrap();
    let journal = bed.top().join(format!(".git/bondline-writing-{id}.json"));
    let edits = serde_json::json!([
        { "file": file, "was": was, "shall": shall },
        { "file": "panels/hatch.yaml", "was": "x", "shall": panel },
    ]);
    fs::write(&journal, serde_json::json!({ "ledger": "a", "head": head, "edits": edits }).to_string())
        .unwrap();
    let draft = ["decide", "draft", "Next", "--set", "recipe/skin#layers.2.angle=90"];
    let run = bed.bondline_at(&bed.top().join("b"), &draft);
    assert_eq!(run.code, Some(0), "{run:?}");
    assert!(!run.err.contains("cut short"), "{run:?}");
    assert_eq!(bed.read(&format!("b/{file}")), was);
    assert_eq!(bed.read(&format!("a/{file}")), was);
    let run = bed.bondline_at(&bed.top().join("a"), &draft);
    assert!(run.err.contains("is finished now: recipes/skin.yaml"), "{run:?}");
    assert_eq!(bed.read(&format!("a/{file}")), shall);
    assert!(!journal.exists());
}

#[test]
fn a_folder_that_is_a_link_is_not_written_through() {
    let bed = Bed::small();
    let outside = bed.beside("elsewhere");
    fs::create_dir(&outside).unwrap();
    std::os::unix::fs::symlink(&outside, bed.top().join("decisions")).unwrap();
    let run = bed.bondline(&["decide", "draft", "Next", "--set", "recipe/skin#layers.2.angle=90"]);
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.flat().contains("`decisions` is a symbolic link"), "{run:?}");
    assert_eq!(fs::read_dir(&outside).unwrap().count(), 0);
}
