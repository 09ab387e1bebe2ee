//! Which state of a ledger the commands read, and what they say where there is none.

use super::bed::Bed;
use serde_json::Value;
use std::fs;

/// What the programme weighs, in grams, for commands that read the state named by `of`.
fn grams(bed: &Bed, of: &[&str]) -> f64 {
    let document = bed.document(&[&["mass"], of].concat());
    document["total"]["kg"].as_f64().unwrap() * 1000.0
}

fn close(one: f64, two: f64) -> bool {
    (one - two).abs() < 1e-6
}

/// Without what the head of a report says about where it was read from.
fn content(mut document: Value) -> Value {
    if let Some(report) = document.get_mut("report").and_then(Value::as_object_mut) {
        report.remove("commit");
    }
    document
}

/// Two plies of 200 / (1 - 0.37) g/m2 on 1.5 m2, 65 um of paint on 1 m2: worked by hand.
fn first() -> f64 {
    2.0 * 200.0 / 0.63 * 1.5 + 25.0 * 1.5 + 40.0 * 1.15
}

/// The same with a clear coat of 40 um more.
fn second() -> f64 {
    first() + 40.0 * 1.15
}

const COAT: (&str, &str) = (
    "  - {material: clear, dry_film: 40 um}\n",
    "  - {material: clear, dry_film: 40 um}\n  - {material: clear, dry_film: 40 um}\n",
);

fn two_commits() -> (Bed, String, String) {
    let bed = Bed::small();
    let old = bed.git(&["rev-parse", "HEAD"]);
    bed.git(&["tag", "-a", "v1", "-m", "one"]);
    bed.git(&["tag", "light"]);
    bed.git(&["branch", "old"]);
    bed.edit("finishes/white.yaml", COAT.0, COAT.1);
    let new = bed.commit_all("second");
    (bed, old, new)
}

#[test]
fn a_state_is_named_as_git_names_it() {
    let (bed, old, new) = two_commits();
    for of in ["v1", "light", "old", "refs/heads/old", "HEAD~1", "main~1", "main^", &old, &old[..8]] {
        assert!(close(grams(&bed, &["--at", of]), first()), "{of}");
    }
    for of in ["main", "HEAD", "@", &new, &new[..8]] {
        assert!(close(grams(&bed, &["--at", of]), second()), "{of}");
    }
    assert!(close(grams(&bed, &[]), second()));
    assert!(close(grams(&bed, &["--staged"]), second()));
    let document = bed.document(&["impact", "v1", "main"]);
    assert!(close(document["mass"]["delta_kg"].as_f64().unwrap() * 1000.0, 46.0));
    assert_eq!(document, {
        let mut other = bed.document(&["impact", &old, &new]);
        // Only the names of the two sides differ, and the paragraph that begins with them.
        for key in ["base", "head", "verdict"] {
            other[key] = document[key].clone();
        }
        other
    });
}

#[test]
fn an_unknown_state_is_refused_with_what_to_write() {
    let (bed, _, new) = two_commits();
    let run = bed.bondline(&["gaps", "--at", "mian"]);
    assert_eq!((run.code, run.out.as_str()), (Some(2), ""));
    assert!(run.err.contains("there is no revision `mian`") && run.err.contains("`main`"), "{run:?}");
    let run = bed.bondline(&["--format", "json", "mass", "--at", "HEAD~7"]);
    assert_eq!(run.code, Some(2));
    assert_eq!(run.json()["schema"], "error/1");
    assert!(run.json()["error"]["message"].as_str().unwrap().contains("HEAD~7"));
    let run = bed.bondline(&["impact", "HEAD", "no-such"]);
    assert_eq!((run.code, run.out.as_str()), (Some(2), ""));
    let run = bed.bondline(&["gaps", "--at", &new[..3]]);
    assert_eq!(run.code, Some(2));
    assert!(run.flat().contains(&format!("too short an id; it could be {}", &new[..11])), "{run:?}");
    let run = bed.bondline(&["gaps", "--at", "HEAD", "--staged"]);
    assert_eq!(run.code, Some(2), "one state, not two");
}

#[test]
fn an_ambiguous_state_is_refused_and_the_candidates_are_named() {
    let (bed, ..) = two_commits();
    // As many commits as it takes for two to share their first four digits.
    let tree = bed.git(&["rev-parse", "HEAD^{tree}"]);
    let mut seen: std::collections::BTreeMap<String, String> = std::collections::BTreeMap::new();
    let (mut script, mut made) = (String::new(), 0);
    let (one, two) = 'found: loop {
        script.clear();
        for _ in 0..200 {
            script.push_str(&format!(
                "commit refs/heads/many-{made}\nauthor A <a@example.org> 1770000000 +0000\ncommitter A <a@example.org> 1770000000 +0000\ndata <<E\nnumber {made}\nE\nM 040000 {tree} \n\n"
            ));
            made += 1;
        }
        let file = bed.beside("script");
        fs::write(&file, &script).unwrap();
        let mut command = bed.command("git", bed.top());
        let run = command.args(["fast-import", "--quiet"]).stdin(fs::File::open(&file).unwrap()).output();
        assert!(run.as_ref().unwrap().status.success(), "{run:?}");
        for id in bed.git(&["for-each-ref", "--format=%(objectname)", "refs/heads/many-*"]).lines() {
            if let Some(other) = seen.insert(id[..4].to_string(), id.to_string())
                && other != id
            {
                break 'found (other, id.to_string());
            }
        }
        assert!(made < 4000);
    };
    let run = bed.bondline(&["gaps", "--at", &one[..4]]);
    assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "{run:?}");
    for id in [&one, &two] {
        assert!(run.err.contains(&id[..10]), "{id}: {run:?}");
    }
    assert_eq!(bed.bondline(&["gaps", "--at", &one]).code, Some(0));
    // A branch and a tag of one name that differ.
    bed.git(&["branch", "both", "HEAD"]);
    bed.git(&["tag", "both", "HEAD~1"]);
    let run = bed.bondline(&["mass", "--at", "both"]);
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.err.contains("refs/heads/both") && run.err.contains("refs/tags/both"), "{run:?}");
    assert!(close(grams(&bed, &["--at", "refs/tags/both"]), first()));
}

#[test]
fn index_work_tree_and_commit_are_told_apart() {
    let bed = Bed::small();
    bed.edit("finishes/white.yaml", COAT.0, COAT.1);
    bed.git(&["add", "finishes/white.yaml"]);
    bed.edit("panels/trial.yaml", "0.5 m2", "1.5 m2");
    assert!(close(grams(&bed, &["--at", "HEAD"]), first()));
    assert!(close(grams(&bed, &["--staged"]), second()));
    assert!(close(grams(&bed, &[]), second() + 2.0 * 200.0 / 0.63));
    let staged = bed.document(&["impact", "--staged"]);
    let changes = |document: &Value| -> Vec<String> {
        let list = document["changes"].as_array().unwrap();
        list.iter().map(|change| change["address"].as_str().unwrap().to_string()).collect()
    };
    assert_eq!(changes(&staged), ["finish/white#coats.3"]);
    assert_eq!(changes(&bed.document(&["impact"])), ["finish/white#coats.3", "panel/trial#zones.outer.area"]);
    // A file taken out of the index is out of the state, though it is on disk.
    bed.git(&["rm", "-q", "--cached", "panels/trial.yaml"]);
    assert!(close(grams(&bed, &["--staged"]), second() - 200.0 / 0.63));
    // One taken from the disk is still in the index.
    bed.git(&["add", "panels/trial.yaml"]);
    fs::remove_file(bed.top().join("panels/trial.yaml")).unwrap();
    assert!(close(grams(&bed, &["--staged"]), second() + 2.0 * 200.0 / 0.63));
    assert!(close(grams(&bed, &[]), second() - 200.0 / 0.63));
}

#[test]
fn untracked_records_count_in_the_work_tree_and_ignored_ones_do_not() {
    let bed = Bed::small();
    let panel = |area: &str| format!("zones:\n  - {{name: outer, area: {area}, recipe: skin}}\n");
    bed.write("panels/new.yaml", &panel("1 m2"));
    let with = first() + 2.0 * 200.0 / 0.63;
    assert!(close(grams(&bed, &[]), with));
    assert!(close(grams(&bed, &["--staged"]), first()));
    bed.write(".gitignore", "/panels/scratch*\n");
    bed.write("panels/scratch.yaml", &panel("10 m2"));
    bed.write("panels/scratch/deep.yaml", &panel("10 m2"));
    assert!(close(grams(&bed, &[]), with));
    assert_eq!(bed.bondline(&["check"]).code, Some(0));
    // A record that is tracked counts whatever the ignore file says.
    bed.git(&["add", "-f", "panels/scratch.yaml"]);
    assert!(close(grams(&bed, &[]), with + 20.0 * 200.0 / 0.63));
    assert!(close(grams(&bed, &["--staged"]), first() + 20.0 * 200.0 / 0.63));
}

#[test]
fn a_ledger_in_a_folder_is_found_from_below_and_sees_only_itself() {
    let bed = Bed::new();
    bed.lay_small("air frame/ledger");
    bed.write("panels/outside.yaml", "not a record: [\n");
    bed.commit_all("first");
    bed.edit("air frame/ledger/finishes/white.yaml", COAT.0, COAT.1);
    let inside = bed.top().join("air frame/ledger");
    for at in [inside.clone(), inside.join("panels"), inside.join("evidence/data")] {
        for (of, is) in [(&["--at", "HEAD"][..], first()), (&["--staged"], first()), (&[], second())] {
            let run = bed.bondline_at(&at, &[&["--format", "json", "mass"], of].concat());
            assert!(
                close(run.json()["total"]["kg"].as_f64().unwrap() * 1000.0, is),
                "{at:?} {of:?}: {run:?}"
            );
        }
    }
    let run = bed.bondline(&["-C", "air frame/ledger", "check"]);
    assert_eq!(run.code, Some(0), "what is beside the ledger is not read: {run:?}");
    let run = bed.bondline(&["mass"]);
    assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "there is no ledger at the top");
    assert!(run.err.contains("ledger.yaml"), "{run:?}");
    // Before the ledger was there.
    bed.git(&["checkout", "-q", "--orphan", "empty"]);
    bed.git(&["rm", "-rqf", "--cached", "."]);
    bed.git(&["commit", "-q", "--allow-empty", "-m", "nothing"]);
    let run = bed.bondline_at(&inside, &["mass", "--at", "empty"]);
    assert_eq!(
        (run.code, run.out.as_str()),
        (Some(2), ""),
        "an empty state is not a light aircraft: {run:?}"
    );
}

#[test]
fn a_linked_work_tree_and_a_detached_head_have_their_own_states() {
    let (bed, old, _) = two_commits();
    let linked = bed.beside("linked");
    bed.git(&["worktree", "add", "-q", "--detach", linked.to_str().unwrap(), "v1"]);
    let there = |of: &[&str]| {
        let run = bed.bondline_at(&linked, &[&["--format", "json", "mass"], of].concat());
        run.json()["total"]["kg"].as_f64().unwrap() * 1000.0
    };
    for of in [&[][..], &["--staged"], &["--at", "HEAD"], &["--at", "old"]] {
        assert!(close(there(of), first()), "{of:?}");
    }
    assert!(close(there(&["--at", "main"]), second()));
    assert!(close(grams(&bed, &["--at", "HEAD"]), second()), "the first tree is where it was");
    bed.git(&["checkout", "-q", "--detach", &old]);
    for of in [&[][..], &["--staged"], &["--at", "HEAD"]] {
        assert!(close(grams(&bed, of), first()), "{of:?}");
    }
    assert_eq!(bed.document(&["impact"])["changes"], Value::Array(Vec::new()));
}

#[test]
fn a_shallow_clone_answers_and_says_what_it_lacks() {
    let (bed, old, _) = two_commits();
    let clone = bed.beside("clone");
    let from = format!("file://{}", bed.top().display());
    bed.git_at(&bed.beside(""), &["clone", "-q", "--depth", "1", &from, clone.to_str().unwrap()]);
    let run = bed.bondline_at(&clone, &["--format", "json", "mass"]);
    assert!(close(run.json()["total"]["kg"].as_f64().unwrap() * 1000.0, second()), "{run:?}");
    let run = bed.bondline_at(&clone, &["--format", "json", "gaps", "--at", "HEAD"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    for of in ["HEAD~1", &old] {
        let run = bed.bondline_at(&clone, &["gaps", "--at", of]);
        assert_eq!(run.code, Some(2), "{run:?}");
        assert!(run.err.contains("shallow") && run.err.contains("--unshallow"), "{run:?}");
    }
}

#[test]
fn before_the_first_commit_everything_is_compared_with_nothing() {
    let bed = Bed::new();
    bed.lay_small("");
    assert!(close(grams(&bed, &[]), first()));
    let run = bed.bondline(&["gaps", "--at", "HEAD"]);
    assert_eq!(run.code, Some(2), "{run:?}");
    let document = bed.document(&["impact"]);
    assert_eq!(document["mass"]["was_kg"], 0.0);
    assert!(close(document["mass"]["is_kg"].as_f64().unwrap() * 1000.0, first()));
    assert!(document["ended"].as_array().unwrap().is_empty());
    bed.git(&["add", "-A"]);
    let staged = bed.document(&["impact", "--staged"]);
    assert_eq!(staged["mass"], document["mass"]);
    assert_eq!(staged["duties"], document["duties"]);
    let run = bed.bondline(&["hook", "run"]);
    assert!(matches!(run.code, Some(0 | 1)), "{run:?}");
}

#[test]
fn without_a_repository_the_work_tree_is_all_there_is() {
    let bed = Bed::bare_folder();
    bed.lay_small("");
    assert!(close(grams(&bed, &[]), first()));
    assert_eq!(bed.bondline(&["check"]).code, Some(0));
    for of in [
        &["gaps", "--at", "HEAD"][..],
        &["gaps", "--staged"],
        &["impact", "HEAD"],
        &["impact", "--staged"],
        &["hook", "install"],
        &["hook", "run"],
    ] {
        let run = bed.bondline(of);
        assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "{of:?}: {run:?}");
        assert!(run.err.contains("repository") && run.err.contains("help"), "{of:?}: {run:?}");
    }
    let document = bed.document(&["impact"]);
    assert_eq!(document["mass"]["was_kg"], 0.0, "compared with nothing");
}

#[test]
fn the_same_content_gives_the_same_documents_wherever_it_is_read() {
    let bed = Bed::example();
    for command in [&["gaps"][..], &["gaps", "--all"], &["mass"], &["check"], &["mass", "bow-hatch"]] {
        let work = content(bed.document(command));
        for of in [&["--at", "HEAD"][..], &["--staged"]] {
            assert_eq!(content(bed.document(&[command, of].concat())), work, "{command:?} {of:?}");
        }
    }
}

#[test]
fn a_decision_is_laid_over_a_state_without_touching_a_file() {
    let bed = Bed::example();
    let before = bed.state();
    let laid = bed.document(&["impact", "dd-003"]);
    assert_eq!(bed.state(), before);
    assert_eq!(
        bed.document(&["impact", "dd-003", "--at", "HEAD"])["duties"],
        laid["duties"],
        "HEAD and the work tree are the same here"
    );
    // Typed in by hand, the same edit gives the same answer.
    bed.edit(
        "panels/bow-hatch.yaml",
        "    recipe: hatch-outer\n    finish: white\n",
        "    recipe: hatch-outer\n    finish: night-blue\n",
    );
    let typed = bed.document(&["impact"]);
    for key in ["changes", "duties", "ended", "mass", "panels", "retest"] {
        assert_eq!(typed[key], laid[key], "{key}");
    }
    // Now it no longer fits, and says what stands there.
    let run = bed.bondline(&["impact", "dd-003"]);
    assert_eq!((run.code, run.out.as_str()), (Some(2), ""));
    assert!(run.flat().contains("night-blue"), "{run:?}");
    assert_eq!(bed.bondline(&["impact", "dd-999"]).code, Some(2));
}

#[test]
fn a_reader_that_goes_away_ends_the_program_silently() {
    let bed = Bed::example();
    for arguments in ["gaps --all", "impact dd-003", "mass", "check --notes", "--format json gaps --all"] {
        let script = format!(
            "{{ '{}' --today {} {arguments}; echo $? >../status; }} 2>../said | true",
            super::bed::PROGRAM,
            super::bed::TODAY
        );
        // The reader is gone before the first byte more often than not; either way the end is silent.
        for _ in 0..2 {
            let run = bed.command("sh", bed.top()).args(["-c", &script]).output().unwrap();
            assert!(run.status.success(), "{arguments}");
            assert_eq!(fs::read_to_string(bed.beside("status")).unwrap().trim(), "0", "{arguments}");
            assert_eq!(fs::read_to_string(bed.beside("said")).unwrap(), "", "{arguments}");
        }
    }
}
