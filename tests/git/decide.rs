//! Decisions end to end: real repositories, the real program.

use super::bed::Bed;
use super::gate::install;
use std::fs;

const PLY: &str = "recipe/hatch-outer#layers.6.thickness=5 mm";

fn run(bed: &Bed, arguments: &[&str]) -> String {
    let run = bed.bondline(arguments);
    assert_eq!(run.code, Some(0), "{arguments:?}: {run:?}");
    run.flat()
}

/// Drafts a thinner core and returns the file.
fn drafted(bed: &Bed) -> &'static str {
    run(bed, &["decide", "draft", "Thinner core", "--set", PLY, "--owner", "laminate engineer"]);
    "decisions/dd-011-thinner-core.yaml"
}

fn approved(bed: &Bed) -> &'static str {
    let file = drafted(bed);
    run(bed, &["decide", "propose", "dd-011"]);
    run(bed, &["decide", "approve", "dd-011", "--role", "chief-engineer"]);
    run(bed, &["decide", "approve", "dd-011", "--role", "certification-lead"]);
    file
}

#[test]
fn every_open_decision_of_the_example_does_what_carrying_it_out_does_and_is_taken_back_to_the_byte() {
    let bed = Bed::example();
    let list = bed.bondline(&["decide", "list", "--format", "json"]).json();
    let mut seen = 0;
    for row in list["decisions"].as_array().unwrap() {
        let (id, status) = (row["decision"].as_str().unwrap(), row["status"].as_str().unwrap());
        if !["draft", "proposed"].contains(&status) {
            continue;
        }
        seen += 1;
        let before = bed.state();
        let laid = bed.bondline(&["impact", id, "--format", "json"]).json();
        assert_eq!(bed.state(), before, "evaluating {id} edits nothing");
        run(&bed, &["decide", "apply", id]);
        assert_ne!(bed.state(), before);
        let done = bed.bondline(&["impact", "--format", "json"]).json();
        for key in
            ["changes", "mass", "panels", "margins", "duties", "ended", "retest", "assumptions", "grounded"]
        {
            assert_eq!(laid[key], done[key], "{id}: {key}");
        }
        run(&bed, &["decide", "apply", id, "--undo"]);
        assert_eq!(bed.state(), before, "{id} is taken back to the byte");
    }
    assert!(seen >= 3, "the example has open decisions");
}

#[test]
fn a_decision_goes_from_draft_to_close_and_the_commit_names_it() {
    let bed = Bed::example();
    install(&bed);
    bed.edit("panels/bow-hatch.yaml", "released: true", "released: false");
    bed.git(&["add", "-A"]);
    bed.git(&["commit", "-q", "--no-verify", "-m", "Back to trial"]);
    let file = approved(&bed);
    let text = bed.read(file);
    for line in [
        "status: approved",
        "  commit: ",
        "  mass: -0.0",
        "  weeks: ",
        "  - {role: certification-lead, on: 2026-12-01}",
    ] {
        assert!(text.contains(line), "{line}: {text}");
    }
    bed.git(&["add", "-A"]);
    bed.git(&["commit", "-q", "--no-verify", "-m", "Approve a thinner core"]);
    assert!(!bed.git(&["log", "-1", "--format=%B"]).contains("Decision:"));
    run(&bed, &["decide", "apply", "dd-011"]);
    // A further edit is in the commit too: the decision is carried out whole all the same.
    bed.edit("panels/rudder.yaml", "title: ", "title:  ");
    bed.git(&["add", "-A"]);
    bed.git(&["commit", "-q", "--no-verify", "-m", "Thinner core"]);
    assert_eq!(bed.git(&["log", "-1", "--format=%B"]).trim(), "Thinner core\n\nDecision: dd-011");
    // Amending names it once.
    bed.git(&["commit", "-q", "--no-verify", "--amend", "--no-edit"]);
    assert_eq!(bed.git(&["log", "-1", "--format=%B"]).matches("Decision: dd-011").count(), 1);
    let shown = bed.bondline(&["decide", "show", "dd-011", "--format", "json"]).json();
    assert_eq!(shown["applied"]["commit"].as_str().unwrap(), bed.git(&["rev-parse", "HEAD"]).trim());
    run(&bed, &["decide", "close", "dd-011"]);
    let closed = bed.bondline(&["decide", "show", "dd-011", "--format", "json"]).json();
    assert_eq!(
        closed["found"]["calculated"],
        shown["predicted"]["mass_delta_kg"].as_f64().map(|kg| format!("{kg} kg")).unwrap()
    );
    assert_eq!(closed["found"]["finished"], false);
    // The gate lets `found` into an approved decision, and nothing else.
    bed.git(&["add", "-A"]);
    let run = bed.bondline(&["hook", "run"]);
    assert!(!run.flat().contains("altered-evidence"), "{run:?}");
}

#[test]
fn the_next_number_looks_into_every_branch_and_the_index() {
    let bed = Bed::example();
    bed.git(&["checkout", "-q", "-b", "other"]);
    let first = drafted(&bed);
    bed.git(&["add", "-A"]);
    bed.git(&["commit", "-q", "--no-verify", "-m", "other"]);
    bed.git(&["checkout", "-q", "main"]);
    bed.git(&["update-ref", "refs/remotes/origin/theirs", "other"]);
    bed.git(&["branch", "-q", "-D", "other"]);
    assert!(!bed.top().join(first).exists());
    run(&bed, &["decide", "draft", "Another", "--set", PLY]);
    assert!(bed.top().join("decisions/dd-012-another.yaml").exists());
    bed.git(&["add", "-A"]);
    fs::remove_file(bed.top().join("decisions/dd-012-another.yaml")).unwrap();
    run(&bed, &["decide", "draft", "A third", "--set", PLY]);
    assert!(bed.top().join("decisions/dd-013-a-third.yaml").exists());
}

#[test]
fn two_branches_that_picked_one_number_are_told_apart() {
    let bed = Bed::example();
    approved(&bed);
    let late = "title: Other\nstatus: draft\nraised: 2026-11-30\nchanges:\n  - {set: recipe/hatch-outer#layers.6.thickness, was: 6 mm, to: 4 mm}  # mine\n";
    bed.write("decisions/dd-011-other.yaml", late);
    let run_it = bed.bondline(&["impact", "dd-011"]);
    assert_eq!(run_it.code, Some(2), "{run_it:?}");
    run(&bed, &["decide", "renumber"]);
    assert_eq!(bed.read("decisions/dd-012-other.yaml"), late);
    assert!(!bed.top().join("decisions/dd-011-other.yaml").exists());
    assert!(bed.top().join("decisions/dd-011-thinner-core.yaml").exists(), "what is approved keeps its name");
}

#[test]
fn edits_in_the_work_tree_become_a_decision_and_stay() {
    let bed = Bed::example();
    bed.edit("recipes/hatch-outer.yaml", "thickness: 6 mm", "thickness: 5 mm");
    bed.edit("finishes/white.yaml", "dry_film: 45 um +/- 10 um", "dry_film: 40 um +/- 10 um");
    bed.edit("evidence/e-001.yaml", "state: done", "state: done  # read again");
    let before = bed.state();
    let said = run(&bed, &["decide", "draft", "As tried", "--from-worktree"]);
    assert!(said.contains("2 changes"), "{said}");
    let file = "decisions/dd-011-as-tried.yaml";
    let text = bed.read(file);
    assert!(text.contains("{set: recipe/hatch-outer#layers.6.thickness, was: 6 mm, to: 5 mm}"), "{text}");
    fs::remove_file(bed.top().join(file)).unwrap();
    assert_eq!(bed.state(), before);
    bed.write(file, &text);
    // Over HEAD it does what the edits do.
    let laid = bed.bondline(&["impact", "dd-011", "--at", "HEAD", "--format", "json"]);
    assert_eq!(laid.code, Some(2), "HEAD does not have the decision: {laid:?}");
    bed.git(&["stash", "-q", "--", "recipes", "finishes", "evidence"]);
    let laid = bed.bondline(&["impact", "dd-011", "--format", "json"]).json();
    bed.git(&["stash", "pop", "-q"]);
    let made = bed.bondline(&["impact", "HEAD", "--format", "json"]).json();
    assert_eq!(laid["duties"], made["duties"]);
    assert_eq!(laid["mass"], made["mass"]);
}

#[test]
fn a_record_that_moved_on_is_followed_or_refused_and_the_decision_is_brought_up_to_it() {
    let bed = Bed::example();
    let file = drafted(&bed);
    run(&bed, &["decide", "propose", "dd-011"]);
    bed.git(&["add", "-A"]);
    bed.git(&["commit", "-q", "--no-verify", "-m", "proposed"]);
    // A film more in front: the core is one place further.
    let recipe = "recipes/hatch-outer.yaml";
    bed.edit(recipe, "  - {id: p1,", "  - {material: film-150}\n  - {id: p1,");
    let said = run(&bed, &["decide", "apply", "dd-011", "--dry-run"]);
    assert!(
        said.contains(
            "recipe/hatch-outer#layers.6.thickness stands at recipe/hatch-outer#layers.7.thickness now"
        ),
        "{said}"
    );
    assert!(said.contains("+ - {material: foam-52, thickness: 5 mm}"), "{said}");
    bed.git(&["checkout", "-q", "--", recipe]);
    // Another thickness: what it was made for is no longer there.
    bed.edit(recipe, "thickness: 6 mm", "thickness: 8 mm");
    bed.git(&["commit", "-q", "--no-verify", "-am", "thicker"]);
    let before = bed.state();
    let refused = bed.bondline(&["decide", "apply", "dd-011"]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.flat().contains("is `8 mm` now, the decision was made for `6 mm`"), "{refused:?}");
    assert!(refused.flat().contains("bondline decide rebase dd-011"), "{refused:?}");
    assert_eq!(bed.state(), before);
    run(&bed, &["decide", "rebase", "dd-011"]);
    let text = bed.read(file);
    assert!(text.contains("was: 8 mm, to: 5 mm") && text.contains("status: proposed"), "{text}");
    let head = bed.git(&["rev-parse", "HEAD"]);
    assert!(text.contains(&format!("commit: {}", head.trim())), "predicted anew: {text}");
    run(&bed, &["decide", "apply", "dd-011"]);
}

#[test]
fn an_approval_speaks_for_what_was_proposed_and_for_different_people() {
    let bed = Bed::example();
    bed.edit(
        "ledger.yaml",
        "concession: [certification-lead]",
        "concession: [certification-lead], persons: 2",
    );
    let file = drafted(&bed);
    let refused = |arguments: &[&str], words: &str| {
        let before = bed.read(file);
        let run = bed.bondline(arguments);
        assert_eq!(run.code, Some(2), "{run:?}");
        assert!(run.flat().contains(words), "{words}: {run:?}");
        assert_eq!(bed.read(file), before);
    };
    let chief = ["decide", "approve", "dd-011", "--role", "chief-engineer", "--by", "A. Nyberg"];
    refused(&chief, "is draft; what is approved is a proposal");
    bed.git(&["commit", "-q", "--no-verify", "-am", "two people"]);
    run(&bed, &["decide", "propose", "dd-011"]);
    refused(&["decide", "approve", "dd-011", "--role", "chief-engineer"], "say who approves");
    refused(
        &["decide", "approve", "dd-011", "--role", "cook", "--by", "B"],
        "asks for no approval by `cook`",
    );
    run(&bed, &chief);
    refused(&chief, "has the approval of `chief-engineer` already");
    let lead = |by: &'static str| ["decide", "approve", "dd-011", "--role", "certification-lead", "--by", by];
    refused(&lead("A. Nyberg"), "asks for 2 different people");
    bed.edit(file, "to: 5 mm", "to: 4 mm");
    refused(&lead("B. Osei"), "are not those that were proposed");
    bed.edit(file, "to: 4 mm", "to: 5 mm");
    run(&bed, &lead("B. Osei"));
    assert!(bed.read(file).contains("status: approved"));
}

#[test]
fn a_protected_file_or_a_change_meanwhile_leaves_every_file_whole() {
    use std::os::unix::fs::PermissionsExt;
    let bed = Bed::example();
    run(&bed, &["decide", "draft", "Two files", "--set", PLY, "--set", "panel/bow-hatch#overlap=4 %"]);
    let path = bed.top().join("recipes/hatch-outer.yaml");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o444)).unwrap();
    let before = bed.state();
    let refused = bed.bondline(&["decide", "apply", "dd-011"]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.flat().contains("`recipes/hatch-outer.yaml` is read-only"), "{refused:?}");
    assert_eq!(bed.state(), before);
    fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
    run(&bed, &["decide", "apply", "dd-011"]);
    assert!(bed.read("recipes/hatch-outer.yaml").contains("thickness: 5 mm"));
    assert!(bed.read("panels/bow-hatch.yaml").contains("overlap: 4 %"));
}

#[test]
fn killed_between_two_files_it_is_finished_by_the_next_command() {
    let bed = Bed::example();
    run(&bed, &["decide", "draft", "Two files", "--set", PLY, "--set", "panel/bow-hatch#overlap=4 %"]);
    let (recipe, panel) = ("recipes/hatch-outer.yaml", "panels/bow-hatch.yaml");
    let (was, panel_was) = (bed.read(recipe), bed.read(panel));
    run(&bed, &["decide", "apply", "dd-011"]);
    let (shall, panel_shall) = (bed.read(recipe), bed.read(panel));
    // As the kill leaves it: the journal, and the first of the two renames.
    bed.write(recipe, &was);
    let journal = |head: &str, ledger: &str| {
        let journal = serde_json::json!({
            "ledger": ledger,
            "head": head,
            "edits": [
                { "file": panel, "was": panel_was, "shall": panel_shall },
                { "file": recipe, "was": was, "shall": shall },
            ],
        });
        fs::write(bed.top().join(".git/bondline-writing.json"), journal.to_string()).unwrap();
    };
    let head = bed.git(&["rev-parse", "HEAD"]);
    // Begun on another commit, or in another ledger: what stands there is not finished over.
    for (head, ledger, words) in
        [("0000", "", "HEAD is another commit since"), (&*head, "b", "it was begun in the ledger of `b`")]
    {
        journal(head, ledger);
        let before = bed.state();
        let refused = bed.bondline(&["decide", "apply", "dd-011", "--undo"]);
        assert_eq!(refused.code, Some(2), "{refused:?}");
        assert!(refused.flat().contains(words), "{refused:?}");
        assert_eq!(bed.state(), before);
    }
    journal(&head, "");
    // Whoever only reads says so, and half of it is not committed.
    let read = bed.bondline(&["check"]);
    assert!(read.err.contains("was cut short, and this answer may rest on half of it"), "{read:?}");
    bed.git(&["add", "-A"]);
    let refused = bed.bondline(&["hook", "run"]);
    assert_eq!(refused.code, Some(2), "{refused:?}");
    assert!(refused.flat().contains("half of it may be staged"), "{refused:?}");
    assert_eq!((bed.read(recipe), bed.read(panel)), (shall.clone(), panel_shall.clone()));
    assert!(!bed.bondline(&["check"]).err.contains("cut short"));
    bed.write(recipe, &was);
    journal(&head, "");
    let shown = bed.bondline(&["decide", "apply", "dd-011", "--undo", "--dry-run"]);
    assert!(
        shown
            .flat()
            .contains("an earlier change was cut short and is finished now: recipes/hatch-outer.yaml"),
        "{shown:?}"
    );
    assert_eq!((bed.read(recipe), bed.read(panel)), (shall, panel_shall));
}

/// A core that is thinner, approved, carried out and committed; the decision's file.
fn carried_out(bed: &Bed) -> &'static str {
    let file = approved(bed);
    bed.commit_all("approved");
    run(bed, &["decide", "apply", "dd-011"]);
    bed.commit_all("carried out");
    file
}

fn duties(bed: &Bed) -> Vec<(String, Option<String>, String)> {
    let shown = bed.bondline(&["decide", "show", "dd-011", "--format", "json"]).json();
    let word = |row: &serde_json::Value, key: &str| row[key].as_str().map(str::to_string);
    let rows = shown["found"]["duties"].as_array().unwrap().iter();
    rows.map(|row| (word(row, "subject").unwrap(), word(row, "now"), word(row, "verdict").unwrap())).collect()
}

#[test]
fn closing_follows_a_rename_and_keeps_what_people_wrote() {
    let bed = Bed::example();
    let file = carried_out(&bed);
    run(&bed, &["decide", "close", "dd-011", "--note", "The bag | held."]);
    let before = duties(&bed);
    assert!(before.len() > 3 && before.iter().all(|(_, now, verdict)| now.is_none() && verdict != "met"));
    // Somebody explains a figure, and says more in a block.
    let text = bed.read(file);
    let commented = text
        .replace("  finished: false", "  finished: false  # the lab is full")
        .replace("  note: The bag | held.", "  note: |\n    The bag held.\n    Twice.");
    assert_ne!(commented.matches('#').count(), text.matches('#').count());
    assert!(commented.contains("    Twice."), "{text}");
    bed.write(file, &commented);
    bed.commit_all("closed");
    // The recipe gets another name, wherever it is named but in what was decided and found.
    bed.git(&["mv", "recipes/hatch-outer.yaml", "recipes/bow-skin.yaml"]);
    for folder in ["panels", "showings", "evidence", "assemblies", "recipes", "concessions"] {
        let Ok(entries) = fs::read_dir(bed.top().join(folder)) else { continue };
        for path in entries.map(|entry| entry.unwrap().path()).filter(|path| path.is_file()) {
            let text = fs::read_to_string(&path).unwrap();
            if folder != "evidence" {
                fs::write(&path, text.replace("hatch-outer", "bow-skin")).unwrap();
            }
        }
    }
    bed.commit_all("renamed");
    run(&bed, &["decide", "close", "dd-011"]);
    let after = duties(&bed);
    assert_eq!(before.len(), after.len());
    for ((subject, _, was), (same, now, is)) in before.iter().zip(&after) {
        assert_eq!((subject, was), (same, is), "nothing was proved and nothing ended");
        assert_eq!(now.is_some(), subject.contains("hatch-outer"), "{subject} {now:?}");
    }
    let text = bed.read(file);
    assert!(text.contains("  finished: false  # the lab is full"), "{text}");
    assert!(text.contains("  note: |\n    The bag held.\n    Twice.\n"), "{text}");
    assert_eq!(text.matches("\nfound:").count(), 1);
}

#[test]
fn closing_without_a_prediction_or_with_one_that_nobody_knows_claims_nothing() {
    let bed = Bed::example();
    let file = carried_out(&bed);
    let text = bed.read(file);
    // Without a prediction: that nothing took no time is not known.
    let (head, rest) = text.split_once("predicted:\n").unwrap();
    let (_, tail) = rest.split_once("approvals:").unwrap();
    bed.write(file, &format!("{head}approvals:{tail}"));
    bed.commit_all("no prediction");
    run(&bed, &["decide", "close", "dd-011"]);
    let closed = bed.read(file);
    assert!(closed.contains("found:") && !closed.contains("weeks:"), "{closed}");
    // On a commit that is not here, and of a subject that nobody knows.
    let commit = text.lines().find_map(|line| line.strip_prefix("  commit: ")).unwrap();
    let strange = text
        .replace(commit, "0123456789012345678901234567890123456789")
        .replace("subject: laminate/hatch-outer", "subject: laminate/hatch-other");
    assert!(strange.contains("hatch-other"));
    bed.write(file, &strange);
    bed.commit_all("another prediction");
    let closed = bed.bondline(&["decide", "close", "dd-011"]);
    assert!(closed.err.contains("is not here"), "{closed:?}");
    let unknown = duties(&bed).into_iter().filter(|(subject, ..)| subject.contains("hatch-other"));
    assert!(unknown.into_iter().all(|(.., verdict)| verdict == "not found"));
    assert!(bed.read(file).contains("finished: false"));
}
