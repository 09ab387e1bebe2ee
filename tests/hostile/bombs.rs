//! Little that becomes much: objects that unpack to gigabytes, trees that name themselves over and over, very many
//! files, very deep folders.

use super::{bounded, within};
use crate::git::bed::Bed;
use std::fs;
use std::io::Write;
use std::process::Stdio;

/// Writes an object from a stream of zeros after a beginning; its id.
fn zeros(bed: &Bed, kind: &str, begin: &str, megabytes: u32) -> String {
    let mut command = bed.command("sh", bed.top());
    command.args(["-c", "{ printf '%s' \"$1\"; head -c \"$2\"M /dev/zero; } | git -c core.bigFileThreshold=1m -c core.compression=1 hash-object -w --literally -t \"$3\" --stdin", "sh"]);
    let output = command.args([begin, &megabytes.to_string(), kind]).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap().trim().to_string()
}

fn tree(bed: &Bed, lines: &str) -> String {
    let mut command = bed.command("git", bed.top());
    command.args(["mktree", "--missing"]).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = command.spawn().unwrap();
    child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success());
    String::from_utf8(output.stdout).unwrap().trim().to_string()
}

/// A quarter of a gigabyte of zeros takes one megabyte in the repository.
#[test]
fn a_blob_of_zeros_is_refused_by_its_header() {
    let bed = Bed::small();
    let blob = zeros(&bed, "blob", "", 256);
    let head = bed.git(&["rev-parse", "HEAD"]);
    for file in ["materials/bomb.yaml", "evidence/data/m.csv", "ledger.yaml"] {
        bed.git(&["update-index", "--add", "--cacheinfo", &format!("100644,{blob},{file}")]);
        bed.git(&["update-index", "--skip-worktree", file]);
        let _ = fs::remove_file(bed.top().join(file));
        if file == "ledger.yaml" {
            bed.write(file, "format: 1\nprogramme: Test (invented)\n");
        }
        bed.git(&["commit", "-qm", "bomb", "--no-verify"]);
        for arguments in [
            &["check"][..],
            &["check", "--staged"],
            &["check", "--at", "HEAD"],
            &["hook", "run", "--range", &format!("{head}..HEAD")],
            &["impact", &head, "HEAD"],
        ] {
            let run = bounded(&bed, arguments);
            assert!(matches!(run.code, Some(0..=2)) && !run.flat().contains("panicked"), "{run:?}");
        }
        let run = bounded(&bed, &["check", "--at", "HEAD"]);
        assert!(
            run.code == Some(1) && run.flat().contains("268435456 bytes long; at most"),
            "{file}: {run:?}"
        );
        bed.git(&["update-index", "--no-skip-worktree", file]);
        let _ = fs::remove_file(bed.top().join(file));
        bed.git(&["reset", "-q", "--hard", &head]);
    }
    // Two branches that both bring it, to be merged in memory.
    bed.git(&["update-index", "--add", "--cacheinfo", &format!("100644,{blob},materials/bomb.bin")]);
    let other = bed.git(&["write-tree"]);
    let side = bed.git(&["commit-tree", &other, "-p", &head, "-m", "side"]);
    let run = bounded(&bed, &["impact", "--merge", "HEAD", &side]);
    assert!(run.code == Some(2) && run.flat().contains("materials/bomb.bin is longer than"), "{run:?}");
}

#[test]
fn commits_and_trees_of_zeros_are_refused_by_their_headers() {
    let bed = Bed::small();
    let (tree, head) = (bed.git(&["rev-parse", "HEAD^{tree}"]), bed.git(&["rev-parse", "HEAD"]));
    let words = "author A <a@example.org> 1900000000 +0000\ncommitter A <a@example.org> 1900000000 +0000\n\n";
    let commit = zeros(&bed, "commit", &format!("tree {tree}\nparent {head}\n{words}"), 200);
    let above = zeros(&bed, "commit", &format!("tree {tree}\nparent {commit}\n{words}"), 0);
    let huge_tree = zeros(&bed, "tree", "", 200);
    let of_tree = zeros(&bed, "commit", &format!("tree {huge_tree}\n{words}"), 0);
    let set = |id: &str| fs::write(bed.top().join(".git/refs/heads/main"), format!("{id}\n")).unwrap();
    for (id, asked) in [
        (
            &commit,
            &[&["check"][..], &["check", "--at", "HEAD"], &["hook", "run"], &["history"], &["impact"]][..],
        ),
        (
            &above,
            &[
                &["history"],
                &["history", "material/cw"],
                &["check", "--as-of", "2026-11-20"],
                &["hook", "run", "--range", "HEAD..HEAD"],
            ],
        ),
        (&of_tree, &[&["check", "--at", "HEAD"], &["hook", "run"], &["impact"], &["history"]]),
    ] {
        set(id);
        for arguments in asked {
            let run = bounded(&bed, arguments);
            assert_eq!(run.code, Some(2), "{arguments:?}: {run:?}");
            let flat = run.flat();
            assert!(flat.contains("bytes long; at most 67108864 are read"), "{arguments:?}: {run:?}");
        }
    }
    set(&head);
    // However one comes to it: by its id, the beginning of that, a tag, a tag of tags, or a folder on the way.
    let tag = |of: &str, kind: &str, name: &str| {
        let begin =
            format!("object {of}\ntype {kind}\ntag {name}\ntagger A <a@example.org> 1900000000 +0000\n\n");
        let id = zeros(&bed, "tag", &begin, 0);
        bed.git(&["update-ref", &format!("refs/tags/{name}"), &id]);
        id
    };
    let one = tag(&commit, "commit", "one");
    tag(&one, "tag", "two");
    tag(&huge_tree, "tree", "folder");
    bed.git(&["update-ref", "refs/heads/a@b", &commit]);
    for asked in [
        &commit,
        &commit[..12],
        "one",
        "two",
        "two~1",
        "folder",
        "folder:panels",
        "a@b",
        &format!("{of_tree}:panels"),
    ] {
        let run = bounded(&bed, &["check", "--at", asked]);
        assert!(run.code == Some(2) && run.flat().contains("at most 67108864"), "{asked}: {run:?}");
    }
    bed.git(&["update-ref", "-d", "refs/heads/a@b"]);
    for name in ["one", "two", "folder"] {
        bed.git(&["update-ref", "-d", &format!("refs/tags/{name}")]);
    }
    assert_eq!(bounded(&bed, &["check"]).code, Some(0));
    // Tags of tags that are honest are followed.
    let mut of = tag(&head, "commit", "tag0");
    for number in 1..10 {
        of = tag(&of, "tag", &format!("tag{number}"));
    }
    assert_eq!(bounded(&bed, &["check", "--at", "tag9"]).code, Some(0));
    tag(&of, "tag", "tag10");
    let run = bounded(&bed, &["check", "--at", "tag10"]);
    assert!(run.code == Some(2) && run.flat().contains("a long row of tags"), "{run:?}");
}

/// Forty trees, each twice in the next: a million million files.
#[test]
fn trees_that_hold_themselves_over_and_over() {
    let bed = Bed::small();
    let blob = bed.git(&["hash-object", "-w", "materials/cw.yaml"]);
    let mut below = tree(&bed, &format!("100644 blob {blob}\tx.yaml\n"));
    for _ in 0..40 {
        below = tree(&bed, &format!("040000 tree {below}\ta\n040000 tree {below}\tb\n"));
    }
    let top = bed.git(&["ls-tree", "HEAD"]);
    let own = format!("{top}\n040000 tree {below}\tdecisions\n");
    let commit = bed.git(&["commit-tree", &tree(&bed, &own), "-p", "HEAD", "-m", "bomb"]);
    bed.git(&["branch", "bomb", &commit]);
    for arguments in [&["check", "--at", "bomb"][..], &["impact", "--merge", "HEAD", "bomb"]] {
        let run = within(&bed, arguments);
        assert!(
            run.code == Some(2) && run.flat().contains("more than 1000000 files"),
            "{arguments:?}: {run:?}"
        );
    }
    // Where another branch only takes numbers away it is left out, and named.
    let run = within(&bed, &["decide", "draft", "X", "--set", "recipe/skin#layers.1.angle=90"]);
    assert!(run.code == Some(0) && run.flat().contains("bomb"), "{run:?}");
}

#[test]
fn very_deep_folders_and_very_many_files() {
    let bed = Bed::small();
    // Two of half the depth, the one moved into the other: no path that is named is too long on the way.
    let half = vec!["d".repeat(90); 24].join("/");
    for top in ["materials/one", "materials/two"] {
        fs::create_dir_all(bed.top().join(top).join(&half)).unwrap();
    }
    fs::write(bed.top().join("materials/two").join(&half).join("deep.yaml"), "kind: part\nmass: 1 g\n")
        .unwrap();
    fs::rename(bed.top().join("materials/two"), bed.top().join("materials/one").join(&half).join("two"))
        .unwrap();
    // Deeper than the system lets a path be: said, and not taken for nothing.
    let run = bounded(&bed, &["check"]);
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.flat().contains("File name too long") && run.flat().contains("help: "), "{run:?}");
    assert!(bed.command("rm", bed.top()).args(["-rf", "materials/one"]).status().unwrap().success());
    for n in 0..5_000 {
        fs::write(bed.top().join(format!("materials/n{n}.txt")), "").unwrap();
    }
    assert_eq!(bounded(&bed, &["check"]).code, Some(0));
}
