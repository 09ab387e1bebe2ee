//! How `conform` writes records.

use crate::support::{Bench, layout};

#[test]
fn a_record_is_written_once_and_only_when_it_changes() {
    let bench = Bench::small();
    bench.write(
        "evidence/e-001.yaml",
        &bench
            .read("evidence/e-001.yaml")
            .replace("state: done", "state: planned")
            .replace("resin-content:", "resin-content.a:"),
    );
    let before = bench.read("evidence/e-001.yaml");
    let answer = bench.run(&["conform", "e-001", "evidence/e-001", "e-001", "--format", "json"]);
    assert_eq!(answer.code, 0, "{}{}", answer.out, answer.err);
    assert_eq!(answer.json()["written"].as_array().unwrap().len(), 1);
    let written = bench.read("evidence/e-001.yaml");
    assert_ne!(written, before);
    assert_eq!(written.matches("conformed:").count(), 1);
    let path = bench.ledger().join("evidence/e-001.yaml");
    let times = |path: &std::path::Path| std::fs::metadata(path).unwrap().modified().unwrap();
    let written_at = times(&path);
    std::thread::sleep(std::time::Duration::from_millis(20));
    let again = bench.run(&["conform", "e-001"]);
    assert_eq!(again.code, 0, "{}", again.err);
    assert!(again.out.contains("evidence/e-001.yaml: unchanged"), "{}", again.out);
    assert_eq!((bench.read("evidence/e-001.yaml"), times(&path)), (written, written_at));
    let json = bench.run(&["conform", "e-001", "--format", "json"]).json();
    assert_eq!(json["unchanged"][0], "e-001");
    assert!(json["written"].as_array().unwrap().is_empty());
}

/// Whoever may write everywhere, as in a container, can't be kept out; then there is nothing to see.
#[cfg(unix)]
#[test]
fn nothing_is_written_where_one_of_two_can_not_be() {
    use std::os::unix::fs::PermissionsExt;
    let bench = Bench::small();
    bench.write(
        "evidence/e-001.yaml",
        &bench.read("evidence/e-001.yaml").replace("resin-content:", "resin-content.a:"),
    );
    let text = bench.read("evidence/e-002.yaml");
    std::fs::remove_file(bench.ledger().join("evidence/e-002.yaml")).unwrap();
    bench.write("evidence/locked/e-002.yaml", &text.replace("data/e-002", "../data/e-002"));
    let locked = bench.ledger().join("evidence/locked");
    std::fs::set_permissions(&locked, std::fs::Permissions::from_mode(0o555)).unwrap();
    let before = bench.read("evidence/e-001.yaml");
    if std::fs::write(locked.join("probe"), "").is_err() {
        let answer = bench.run(&["conform", "e-001", "e-002"]);
        assert_eq!(answer.code, 2, "{}", answer.out);
        assert!(answer.err.contains("nothing was changed"), "{}", answer.err);
        assert_eq!(bench.read("evidence/e-001.yaml"), before);
    }
    std::fs::set_permissions(&locked, std::fs::Permissions::from_mode(0o755)).unwrap();
}

/// A commit may be named by the beginning of its id, and a branch may bear the very same name.
#[test]
fn nothing_is_completed_from_a_branch_that_is_called_like_the_commit() {
    let bench = Bench::small();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "all");
    assert_eq!(bench.run(&["conform", "e-002"]).code, 0);
    let repository = git2::Repository::open(bench.ledger()).unwrap();
    let id = repository.head().unwrap().peel_to_commit().unwrap().id().to_string();
    let whole = bench.read("evidence/e-002.yaml").replace(&id, &id[..8]);
    let older = whole.replace("    weave.thickness.a: 0.21 mm\n", "");
    assert_ne!(older, whole);
    bench.write("evidence/e-002.yaml", &older);
    let material = bench.read("materials/cw-200-e1.yaml");
    let other = material.replace("0.21 mm", "0.25 mm");
    assert_ne!(other, material);
    bench.write("materials/cw-200-e1.yaml", &other);
    layout::commit(&bench.ledger(), "another weave");
    let head = repository.head().unwrap().peel_to_commit().unwrap();
    repository.branch(&id[..8], &head, false).unwrap();
    let answer = bench.run(&["conform", "e-002", "--complete"]);
    assert_eq!(answer.code, 2, "{}", answer.out);
    assert!(answer.err.contains("is no commit"), "{}", answer.err);
    assert_eq!(bench.read("evidence/e-002.yaml"), older);
    // Without the branch it is the commit again.
    repository.find_branch(&id[..8], git2::BranchType::Local).unwrap().delete().unwrap();
    assert_eq!(bench.run(&["conform", "e-002", "--complete"]).code, 0);
    assert_eq!(bench.read("evidence/e-002.yaml"), whole);
}
