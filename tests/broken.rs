//! What is answered about records that can't be read, and in spite of them.

use crate::support::Bench;

/// Two records with faults that have nothing to do with each other.
fn bench() -> Bench {
    let bench = Bench::small();
    bench.write(
        "panels/tail-fairing.yaml",
        "class: non-structural\nzones: [{name: all, area: 1, recipe: fairing}]\n",
    );
    bench.write("studies/lean.yaml", "nonsense: 1\n");
    bench.write("evidence/e-003.yaml", "showing: lamina-tension\nkind: tset\n");
    bench
}

#[test]
fn a_broken_record_is_said_to_be_broken() {
    let bench = bench();
    for (arguments, told) in [
        (["conform", "e-003"], "evidence/e-003 cannot be read"),
        (["conform", "evidence/e-003.yaml"], "evidence/e-003 cannot be read"),
        (["mass", "tail-fairing"], "panel/tail-fairing cannot be read"),
        (["why", "panel/tail-fairing"], "panel/tail-fairing cannot be read"),
        (["why", "e-003"], "evidence/e-003 cannot be read"),
    ] {
        let answer = bench.run(&arguments);
        assert_eq!(answer.code, 2, "{arguments:?}");
        assert!(answer.err.contains(told), "{arguments:?}: {}", answer.err);
        assert!(!answer.err.contains("lean.yaml"), "{arguments:?}: {}", answer.err);
        assert!(!answer.err.contains("did you mean"), "{arguments:?}: {}", answer.err);
    }
    let answer = bench.run(&["mass"]);
    assert!(answer.err.contains("tail-fairing.yaml") && !answer.err.contains("lean.yaml"), "{}", answer.err);
}

#[test]
fn a_broken_panel_elsewhere_stops_no_answer() {
    let bench = bench();
    let sound = Bench::small();
    let answer = bench.run(&["mass", "bow-hatch"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    assert_eq!(answer.out, sound.run(&["mass", "bow-hatch"]).out);
    assert_eq!(bench.run(&["mass", "assembly/bow"]).out, sound.run(&["mass", "assembly/bow"]).out);
    std::fs::remove_file(bench.ledger().join("evidence/e-003.yaml")).unwrap();
    let answer = bench.run(&["why", "panel/bow-hatch"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    assert!(answer.err.contains("note: panel/tail-fairing cannot be read"), "{}", answer.err);
    // Where the panel's own recipe is broken, nothing is said of its mass.
    bench.write("recipes/hatch-outer.yaml", "nonsense: 1\n");
    let answer = bench.run(&["mass", "bow-hatch"]);
    assert_eq!(answer.code, 2);
    assert!(answer.err.contains("recipe/hatch-outer"), "{}", answer.err);
}

#[test]
fn strict_regards_the_budgets_of_assemblies() {
    let bench = Bench::small();
    assert_eq!(bench.run(&["mass", "--strict"]).code, 0);
    bench.write("assemblies/whole.yaml", "children: [{assembly: bow}]\nbudget: 0.1 kg\n");
    assert_eq!(bench.run(&["mass"]).code, 0);
    assert_eq!(bench.run(&["mass", "--strict"]).code, 1);
    assert_eq!(bench.run(&["mass", "assembly/whole", "--strict"]).code, 1);
}

#[test]
fn counts_beyond_counting_name_the_assembly() {
    let bench = Bench::small();
    let mut below = "bow".to_string();
    for level in ["a", "b", "c", "d"] {
        bench.write(
            &format!("assemblies/{level}.yaml"),
            &format!("children: [{{assembly: {below}, count: 4000000000}}]\n"),
        );
        below = level.to_string();
    }
    for arguments in [&["mass"][..], &["mass", "assembly/d"]] {
        let answer = bench.run(arguments);
        assert_eq!(answer.code, 2, "{}", answer.out);
        assert!(answer.err.contains("assembly/"), "{}", answer.err);
        assert!(answer.err.contains("more than 1000000000000"), "{}", answer.err);
    }
    assert_eq!(bench.run(&["mass", "assembly/bow"]).code, 0);
}

#[test]
fn control_characters_in_the_names_of_files_are_shown_not_obeyed() {
    let bench = bench();
    let path = bench.ledger().join("panels/a\x1b[31m");
    std::fs::create_dir_all(&path).unwrap();
    std::fs::rename(bench.ledger().join("panels/tail-fairing.yaml"), path.join("tail-fairing.yaml")).unwrap();
    for arguments in [&["mass"][..], &["mass", "tail-fairing"], &["check"], &["check", "--format", "json"]] {
        let answer = bench.run(arguments);
        assert!(answer.out.contains("tail-fairing") || answer.err.contains("tail-fairing"), "{}", answer.err);
        assert!(!answer.out.contains('\x1b') && !answer.err.contains('\x1b'), "{arguments:?}");
    }
    // Of a sound record, too.
    std::fs::remove_file(path.join("tail-fairing.yaml")).unwrap();
    std::fs::remove_file(bench.ledger().join("evidence/e-003.yaml")).unwrap();
    std::fs::rename(bench.ledger().join("panels/bow-hatch.yaml"), path.join("bow-hatch.yaml")).unwrap();
    let answer = bench.run(&["why", "panel/bow-hatch"]);
    assert!(answer.out.contains("panels/a\\u{1b}[31m/bow-hatch.yaml"), "{}{}", answer.out, answer.err);
}
