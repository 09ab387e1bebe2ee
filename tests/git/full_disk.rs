//! A disk that is full in the middle of a command: every file stays whole.
//!
//! A limit on the size of files (`ulimit -f`, POSIX) lets writes beyond it fail with an error, as on a full disk,
//! once its signal is ignored: so that neither root nor a disk of its own is needed.

use super::bed::{Bed, PROGRAM, Run, TODAY};
use std::collections::BTreeSet;

/// Blocks of half a kibibyte up to which a command has to succeed.
const ENOUGH: u32 = 64;

/// Runs the program with files no longer than so many blocks.
fn limited(bed: &Bed, blocks: u32, arguments: &[&str]) -> Run {
    let mut command = bed.command("sh", bed.top());
    command.args(["-c", "trap '' XFSZ; ulimit -f \"$1\"; shift; exec \"$@\"", "sh"]);
    command.arg(blocks.to_string()).args([PROGRAM, "--today", TODAY]).args(arguments);
    Run::of(&command.output().unwrap())
}

/// Runs a command with more and more room until it succeeds. Each time before that nothing differs, in the work
/// tree or in what the program keeps beside it, and the answer names one of the files. Returns what could not be
/// written, each once.
fn with_more_and_more_room(bed: &Bed, arguments: &[&str]) -> BTreeSet<String> {
    let before = bed.state();
    let mut named = BTreeSet::new();
    for blocks in 0..ENOUGH {
        let run = limited(bed, blocks, arguments);
        if run.code == Some(0) {
            assert_ne!(bed.state(), before, "{arguments:?} wrote nothing");
            assert!(blocks > 0, "{arguments:?} needs no room");
            let journal = bed.top().join(".git/bondline-writing.json");
            assert!(!journal.exists(), "{arguments:?}");
            return named;
        }
        let said = run.flat();
        assert_eq!(run.code, Some(2), "{arguments:?} in {blocks} blocks: {run:?}");
        assert_eq!(bed.state(), before, "{arguments:?} in {blocks} blocks: {said}");
        assert!(said.contains("can't be written"), "{said}");
        assert!(said.contains("nothing was changed"), "{said}");
        assert!(said.contains("room on the disk"), "{said}");
        let file = said.split('`').nth(1).unwrap();
        named.insert(file.rsplit('/').next().unwrap().to_string());
    }
    panic!("{arguments:?} still fails with {ENOUGH} blocks");
}

/// The small ledger with files of several lengths, and a decision that edits three of them.
fn bed() -> Bed {
    let bed = Bed::small();
    for (file, blocks) in [("recipes/skin.yaml", 2), ("materials/cw.yaml", 5), ("finishes/white.yaml", 0)] {
        let line = format!("# {}\n", "invented, and long ".repeat(26));
        bed.write(file, &(bed.read(file) + &line.repeat(blocks)));
    }
    bed.commit_all("Longer files");
    bed
}

const DRAFT: [&str; 9] = [
    "decide",
    "draft",
    "Leaner",
    "--set",
    "recipe/skin#layers.1.angle=30",
    "--set",
    "material/cw#resin.content=36 %",
    "--set",
    "finish/white#coats.2.dry_film=35 um",
];

fn names(all: &[&str]) -> BTreeSet<String> {
    all.iter().map(ToString::to_string).collect()
}

#[test]
fn a_decision_on_a_full_disk_leaves_every_file_whole() {
    let bed = bed();
    assert_eq!(with_more_and_more_room(&bed, &DRAFT), names(&["dd-001-leaner.yaml"]));
    // One that names it by its number, so that renumbering writes two files and removes one.
    bed.write("decisions/dd-002-other.yaml", "title: Other\nstatus: draft\nsupersedes: dd-001-leaner\n");
    let renumbered = with_more_and_more_room(&bed, &["decide", "renumber", "dd-001"]);
    let files = names(&["dd-003-leaner.yaml", "bondline-writing.json"]);
    assert!(renumbered.is_superset(&files), "{renumbered:?}");
    std::fs::remove_file(bed.top().join("decisions/dd-002-other.yaml")).unwrap();
    bed.commit_all("Draft");
    assert_eq!(
        with_more_and_more_room(&bed, &["decide", "propose", "dd-003"]),
        names(&["dd-003-leaner.yaml"])
    );
    let approve = ["decide", "approve", "dd-003", "--role", "chief-engineer"];
    assert_eq!(with_more_and_more_room(&bed, &approve), names(&["dd-003-leaner.yaml"]));
    bed.commit_all("Approve");

    // The first file has no room, then only the longer ones, then only the note of what is being written.
    let before = ["recipes/skin.yaml", "materials/cw.yaml", "finishes/white.yaml"].map(|file| bed.read(file));
    let applied = with_more_and_more_room(&bed, &["decide", "apply", "dd-003"]);
    assert_eq!(applied, names(&["white.yaml", "cw.yaml", "bondline-writing.json"]));
    let [skin, cw, white] = before;
    assert_eq!(bed.read("recipes/skin.yaml"), skin.replace("angle: 45", "angle: 30"));
    assert_eq!(bed.read("materials/cw.yaml"), cw.replace("37 %", "36 %"));
    assert_eq!(bed.read("finishes/white.yaml"), white.replace("40 um", "35 um"));
    let undone = with_more_and_more_room(&bed, &["decide", "apply", "dd-003", "--undo"]);
    assert!(undone.contains("bondline-writing.json"), "{undone:?}");
    assert_eq!([bed.read("recipes/skin.yaml"), bed.read("materials/cw.yaml")], [skin, cw]);
    assert_eq!(bed.bondline(&["decide", "apply", "dd-003"]).code, Some(0));
    bed.commit_all("Leaner");
    assert_eq!(with_more_and_more_room(&bed, &["decide", "close", "dd-003"]), names(&["dd-003-leaner.yaml"]));
}

#[test]
fn conforming_on_a_full_disk_leaves_every_record_whole() {
    let bed = bed();
    for name in ["e-1", "e-2"] {
        let text = bed.read("evidence/e-adhesion.yaml");
        let (text, _) = text.split_once("conformed:").unwrap();
        bed.write(&format!("evidence/{name}.yaml"), text);
    }
    let failed = with_more_and_more_room(&bed, &["conform", "e-1", "e-2"]);
    assert_eq!(failed, names(&["e-1.yaml", "bondline-writing.json"]));
    for name in ["e-1", "e-2"] {
        let text = bed.read(&format!("evidence/{name}.yaml"));
        // The commit is named besides; the first one was conformed before there was one.
        let text: String = text
            .lines()
            .filter(|line| !line.starts_with("  commit: "))
            .map(|line| format!("{line}\n"))
            .collect();
        assert_eq!(text, bed.read("evidence/e-adhesion.yaml"));
    }
}
