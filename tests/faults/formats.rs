//! Ledgers of other versions. Format 1 is the first that there was: what says less, or nothing, never was a ledger of
//! an older version, and no guess is made about it. What is read of an older format once there is one is held by the
//! unit test in `src/ledger/head.rs`.

use crate::git::bed::Bed;
use std::collections::BTreeMap;

fn with_format(words: &str) -> (Bed, BTreeMap<String, String>) {
    let bed = Bed::small();
    let lines = if words.is_empty() { String::new() } else { format!("{words}\n") };
    bed.edit("ledger.yaml", "format: 1\n", &lines);
    bed.commit_all("Another format");
    let before = bed.state();
    (bed, before)
}

const WRITING: [&[&str]; 4] = [
    &["conform", "e-adhesion"],
    &["decide", "draft", "X", "--set", "recipe/skin#layers.1.angle=90"],
    &["decide", "draft", "X", "--from-worktree"],
    &["import", "csv", "materials", "rows.csv", "--write"],
];

#[test]
fn a_newer_format_is_refused_in_words_and_nothing_is_written_into_it() {
    for format in ["format: 2", "format: 2\nkeys-of-tomorrow: {a: 1}", "format: 99999999999"] {
        let (bed, before) = with_format(format);
        let number = format.lines().next().unwrap();
        let words = format!("the ledger is of {}, this program reads 1", number.replace(':', ""));
        for arguments in
            [&["check"][..], &["check", "--staged"], &["check", "--at", "HEAD"], &["hook", "run"]]
        {
            let run = bed.bondline(arguments);
            assert_eq!(run.code, Some(1), "{format}: {run:?}");
            let flat = run.flat();
            assert!(flat.contains(&words) && flat.contains("use a later version of bondline"), "{flat}");
        }
        for arguments in [&["mass"][..], &["gaps"], &["impact"], &["leeway"]] {
            super::refused(&bed.bondline(arguments), &[&words]);
        }
        for arguments in WRITING {
            let run = bed.bondline(arguments);
            assert_eq!(run.code, Some(2), "{format}: {arguments:?}: {run:?}");
        }
        assert_eq!(bed.state(), before, "{format}");
    }
}

/// Of the states of one ledger each is judged by the format that it says.
#[test]
fn an_earlier_commit_of_this_format_is_read_beside_a_newer_one() {
    let (bed, _) = with_format("format: 2");
    assert_eq!(bed.bondline(&["mass", "--at", "HEAD~1"]).code, Some(0));
    super::refused(&bed.bondline(&["mass", "--at", "HEAD"]), &["format 2"]);
    super::refused(&bed.bondline(&["impact", "HEAD~1", "HEAD"]), &["format 2"]);
}

#[test]
fn what_never_was_a_format_is_refused_with_the_one_to_write() {
    for (words, said) in [
        ("format: 0", "there is no format 0"),
        ("", "`format` is missing"),
        ("format:", "`format` has no value"),
        ("format: -1", "is a whole number"),
        ("format: 1.5", "is a whole number"),
        ("format: one", "is a whole number"),
        ("format: [1]", "a whole number was expected"),
    ] {
        let (bed, before) = with_format(words);
        let run = bed.bondline(&["check"]);
        assert_eq!(run.code, Some(1), "{words}: {run:?}");
        assert!(run.flat().contains(said), "{words}: {run:?}");
        if words.len() <= "format: 0".len() && !words.contains('-') {
            assert!(run.flat().contains("write `format: 1`"), "{words}: {run:?}");
        }
        super::refused(&bed.bondline(&["mass"]), &[said]);
        for arguments in WRITING {
            assert_eq!(bed.bondline(arguments).code, Some(2), "{words}: {arguments:?}");
        }
        assert_eq!(bed.state(), before, "{words}");
    }
}
