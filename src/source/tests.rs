//! Snapshots of repositories in every state a ledger's may be in.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;

use git2::{ObjectType, Oid};

use super::testbed::{Bed, who, write};
use super::*;

fn paths(snapshot: &Snapshot) -> Vec<&str> {
    snapshot.files().map(|entry| entry.path.as_str()).collect()
}

fn text(snapshot: &Snapshot, path: &str) -> String {
    String::from_utf8(snapshot.read(path).unwrap().to_vec()).unwrap()
}

fn kind<'a>(snapshot: &'a Snapshot, path: &str) -> &'a EntryKind {
    &snapshot.entry(path).unwrap_or_else(|| panic!("{path} is not listed")).kind
}

const SMALL: [&str; 4] =
    ["evidence/data/x.csv", "evidence/e-001.yaml", "ledger.yaml", "materials/cw-200.yaml"];

#[test]
fn all_three_origins_give_the_same_files_and_bytes() {
    let bed = Bed::small();
    let place = bed.place();
    let head = bed.repo.head().unwrap().target().unwrap().to_string();
    for snapshot in [place.work_tree().unwrap(), place.index().unwrap(), place.revision("HEAD").unwrap()] {
        assert_eq!(paths(&snapshot), SMALL, "{}", snapshot.label());
        assert_eq!(text(&snapshot, "materials/cw-200.yaml"), "kind: fabric\n");
        assert_eq!(text(&snapshot, "data/y.csv"), "c\n", "a data file outside the kind folders");
        assert_eq!(text(&snapshot, "evidence/../data/./y.csv"), "c\n");
        assert_eq!(snapshot.top_level_folders(), ["data", "evidence", "materials"]);
        assert_eq!(snapshot.commit(), Some(head.as_str()));
        // `printf 'kind: fabric\n' | git hash-object --stdin`, git 2.47.
        assert_eq!(
            snapshot.blob_id("materials/cw-200.yaml").unwrap(),
            "194fed08395253cce669c0eabef3625ad45cf7f9"
        );
        assert_eq!(snapshot.read("materials/none.yaml"), Err(ReadFault::Missing));
        assert_eq!(snapshot.read("../repo/ledger.yaml"), Err(ReadFault::Outside));
        assert_eq!(snapshot.read(".git/config"), Err(ReadFault::Outside));
        assert_eq!(snapshot.read("ledger.yaml/x"), Err(ReadFault::Missing));
        assert!(
            matches!(snapshot.read("materials"), Err(ReadFault::NotRegular { .. })),
            "{}",
            snapshot.label()
        );
        assert_eq!(
            snapshot.read_limited("materials/cw-200.yaml", 12),
            Err(ReadFault::TooLarge { size: 13, limit: 12 })
        );
        assert!(snapshot.read_limited("materials/cw-200.yaml", 13).is_ok());
    }
}

#[test]
fn the_work_tree_holds_untracked_files_and_not_ignored_ones() {
    let bed = Bed::small();
    bed.write(".gitignore", "*.tmp\nmaterials/old/\n/scratch/\n");
    bed.write("materials/new.yaml", "new\n");
    bed.write("materials/x.tmp", "x\n");
    bed.write("materials/old/a.yaml", "a\n");
    bed.write("scratch/s.csv", "s\n");
    bed.write("materials/old/kept.yaml", "kept\n");
    let mut index = bed.repo.index().unwrap();
    index.add_path(Path::new("materials/old/kept.yaml")).unwrap();
    index.write().unwrap();
    let snapshot = bed.place().work_tree().unwrap();
    let listed = paths(&snapshot);
    assert!(listed.contains(&"materials/new.yaml"));
    assert!(listed.contains(&"materials/old/kept.yaml"), "tracked though ignored");
    assert!(!listed.contains(&"materials/old/a.yaml"));
    assert!(!listed.contains(&"materials/x.tmp"));
    assert_eq!(snapshot.read("materials/x.tmp"), Err(ReadFault::Ignored));
    assert_eq!(snapshot.read("scratch/s.csv"), Err(ReadFault::Ignored));
    assert_eq!(snapshot.top_level_folders(), ["data", "evidence", "materials"]);
}

#[test]
fn without_a_repository_all_files_count() {
    let dir = tempfile::TempDir::new().unwrap();
    write(dir.path(), "ledger.yaml", "format: 1\n");
    write(dir.path(), "panels/deep/er/p.yaml", "p\n");
    write(dir.path(), ".gitignore", "*\n");
    let place = Place::find(&dir.path().join("panels/deep")).unwrap();
    assert_eq!(place.root(), dir.path().canonicalize().unwrap());
    assert!(place.repository().is_none());
    let snapshot = place.work_tree().unwrap();
    assert_eq!(paths(&snapshot), ["ledger.yaml", "panels/deep/er/p.yaml"]);
    assert_eq!(snapshot.commit(), None);
    let error = place.revision("HEAD").unwrap_err();
    assert!(matches!(error, SourceError::NoRepository { ignored: false, .. }));
    assert!(error.mend().contains("git init"));
}

#[test]
fn a_repository_that_ignores_the_ledger_is_not_its_repository() {
    let bed = Bed::small();
    bed.write(".gitignore", "/build/\n");
    bed.write("build/demo/ledger.yaml", "format: 1\n");
    bed.write("build/demo/panels/p.yaml", "p\n");
    let place = Place::find(&bed.top().join("build/demo/panels")).unwrap();
    assert!(place.repository().is_none());
    assert_eq!(paths(&place.work_tree().unwrap()), ["ledger.yaml", "panels/p.yaml"]);
    assert!(matches!(place.index(), Err(SourceError::NoRepository { ignored: true, .. })));
}

#[test]
fn the_search_for_a_ledger_stays_in_the_repository() {
    let bed = Bed::new();
    write(bed.dir.path(), "ledger.yaml", "format: 1\n");
    bed.write("sub/x", "");
    let error = Place::find(&bed.top().join("sub")).unwrap_err();
    assert_eq!(error, SourceError::NoLedger { start: bed.top().join("sub"), top: bed.top() });
    assert!(matches!(Place::find(Path::new("/no/such/folder")), Err(SourceError::Start { .. })));
    symlink("/dev/null", bed.top().join("ledger.yaml")).unwrap();
    assert!(matches!(Place::find(&bed.top()), Err(SourceError::LedgerFile { .. })));
}

#[test]
fn a_ledger_in_a_folder_sees_only_its_folder() {
    let bed = Bed::new();
    bed.write("a/b/ledger.yaml", "format: 1\n");
    bed.write("a/b/panels/p.yaml", "p\n");
    bed.write("a/bc/panels/q.yaml", "q\n");
    bed.write("panels/r.yaml", "r\n");
    bed.commit("first");
    let place = Place::find(&bed.top().join("a/b/panels")).unwrap();
    assert_eq!(place.prefix(), "a/b");
    let tree = place.revision("HEAD:a/b").unwrap();
    assert_eq!(tree.commit(), Some("").filter(|it| !it.is_empty()), "a tree has no commit");
    assert!(tree.label().starts_with("HEAD:a/b (tree "), "{}", tree.label());
    for snapshot in
        [place.work_tree().unwrap(), place.index().unwrap(), place.revision("main").unwrap(), tree]
    {
        assert_eq!(paths(&snapshot), ["ledger.yaml", "panels/p.yaml"]);
        assert_eq!(snapshot.read("../../panels/r.yaml"), Err(ReadFault::Outside));
    }
    let Origin::Revision { tree, .. } = place.revision("main").unwrap().origin().clone() else { panic!() };
    assert_eq!(tree, bed.repo.revparse_single("HEAD:a/b").unwrap().id().to_string());
    assert_eq!(paths(&place.revision("HEAD^{tree}").unwrap()), ["ledger.yaml", "panels/p.yaml"]);
}

#[test]
fn links_are_seen_and_not_followed() {
    let bed = Bed::small();
    bed.write("outside/secret", "s\n");
    symlink("../outside/secret", bed.top().join("materials/link.yaml")).unwrap();
    symlink("outside", bed.top().join("recipes")).unwrap();
    symlink("../outside", bed.top().join("evidence/far")).unwrap();
    bed.commit("links");
    let place = bed.place();
    for snapshot in [place.work_tree().unwrap(), place.index().unwrap(), place.revision("HEAD").unwrap()] {
        assert_eq!(kind(&snapshot, "materials/link.yaml"), &EntryKind::Link, "{}", snapshot.label());
        assert_eq!(kind(&snapshot, "recipes"), &EntryKind::Link);
        assert_eq!(kind(&snapshot, "evidence/far"), &EntryKind::Link);
        for path in ["materials/link.yaml", "recipes", "recipes/secret", "evidence/far/secret"] {
            assert_eq!(snapshot.read(path), Err(ReadFault::Link), "{path} in {}", snapshot.label());
        }
        assert_eq!(text(&snapshot, "outside/secret"), "s\n");
    }
}

#[test]
fn a_link_on_the_way_is_seen_outside_the_listed_folders_too() {
    let bed = Bed::small();
    symlink("data", bed.top().join("elsewhere")).unwrap();
    bed.commit("link");
    let place = bed.place();
    for snapshot in [place.work_tree().unwrap(), place.index().unwrap(), place.revision("HEAD").unwrap()] {
        assert_eq!(snapshot.read("elsewhere/y.csv"), Err(ReadFault::Link), "{}", snapshot.label());
    }
}

#[test]
fn what_is_no_file_is_refused_without_opening_it() {
    let bed = Bed::small();
    let pipe = bed.top().join("materials/pipe.yaml");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let snapshot = bed.place().work_tree().unwrap();
    assert_eq!(kind(&snapshot, "materials/pipe.yaml"), &EntryKind::Other("a pipe".to_owned()));
    assert_eq!(
        snapshot.read("materials/pipe.yaml"),
        Err(ReadFault::NotRegular { what: "a pipe".to_owned() })
    );
}

#[test]
fn a_huge_file_is_refused_by_its_size() {
    let bed = Bed::small();
    let size = 4 << 30;
    fs::File::create(bed.top().join("evidence/data/huge.csv")).unwrap().set_len(size).unwrap();
    let snapshot = bed.place().work_tree().unwrap();
    assert_eq!(snapshot.entry("evidence/data/huge.csv").unwrap().size, Some(size));
    assert_eq!(snapshot.read("evidence/data/huge.csv"), Err(ReadFault::TooLarge { size, limit: DATA_LIMIT }));
}

#[test]
fn a_file_changed_after_listing_is_a_fault() {
    let bed = Bed::small();
    let snapshot = bed.place().work_tree().unwrap();
    bed.write("materials/cw-200.yaml", "kind: prepreg\n");
    bed.remove("evidence/e-001.yaml");
    assert_eq!(snapshot.read("materials/cw-200.yaml"), Err(ReadFault::Changed));
    assert_eq!(snapshot.read("evidence/e-001.yaml"), Err(ReadFault::Changed));
    assert_eq!(text(&bed.place().work_tree().unwrap(), "materials/cw-200.yaml"), "kind: prepreg\n");
}

#[test]
fn a_repository_inside_is_not_read() {
    let bed = Bed::small();
    let inner = bed.top().join("materials/shared");
    git2::Repository::init(&inner).unwrap();
    write(&inner, "m.yaml", "m\n");
    let snapshot = bed.place().work_tree().unwrap();
    assert_eq!(kind(&snapshot, "materials/shared"), &EntryKind::Other(objects::NESTED.to_owned()));
    assert!(snapshot.entry("materials/shared/m.yaml").is_none());
    assert!(matches!(snapshot.read("materials/shared/m.yaml"), Err(ReadFault::NotRegular { .. })));
}

#[test]
fn a_submodule_is_one_thing_in_index_and_tree() {
    let bed = Bed::small();
    let head = bed.repo.head().unwrap().target().unwrap();
    let mut index = bed.repo.index().unwrap();
    index.add(&entry("materials/sub", 0o160_000, head)).unwrap();
    index.write().unwrap();
    let tree = bed.repo.find_tree(index.write_tree().unwrap()).unwrap();
    let place = bed.place();
    let of_tree = place.revision(&tree.id().to_string()).unwrap();
    for snapshot in [place.index().unwrap(), of_tree] {
        assert_eq!(kind(&snapshot, "materials/sub"), &EntryKind::Other(objects::NESTED.to_owned()));
        assert!(matches!(snapshot.read("materials/sub"), Err(ReadFault::NotRegular { .. })));
        assert!(matches!(snapshot.read("materials/sub/x.yaml"), Err(ReadFault::NotRegular { .. })));
    }
}

fn entry(path: &str, mode: u32, id: Oid) -> git2::IndexEntry {
    let time = git2::IndexTime::new(0, 0);
    git2::IndexEntry {
        ctime: time,
        mtime: time,
        dev: 0,
        ino: 0,
        mode,
        uid: 0,
        gid: 0,
        file_size: 0,
        id,
        flags: 0,
        flags_extended: 0,
        path: path.as_bytes().to_vec(),
    }
}

#[test]
fn the_index_is_what_the_next_commit_would_hold() {
    let bed = Bed::small();
    bed.write("materials/cw-200.yaml", "staged\n");
    bed.write("materials/new.yaml", "new\n");
    bed.stage();
    bed.write("materials/cw-200.yaml", "on disk\n");
    bed.write("materials/untracked.yaml", "u\n");
    let mut index = bed.repo.index().unwrap();
    index.remove_path(Path::new("evidence/e-001.yaml")).unwrap();
    let mut announced = entry("materials/announced.yaml", 0o100_644, bed.repo.blob(b"").unwrap());
    announced.flags = 0x4000;
    announced.flags_extended = git2::IndexEntryExtendedFlag::INTENT_TO_ADD.bits();
    index.add(&announced).unwrap();
    index.write().unwrap();
    let snapshot = bed.place().index().unwrap();
    assert_eq!(
        paths(&snapshot),
        ["evidence/data/x.csv", "ledger.yaml", "materials/cw-200.yaml", "materials/new.yaml"]
    );
    assert_eq!(text(&snapshot, "materials/cw-200.yaml"), "staged\n");
    assert_eq!(snapshot.label(), "index");
}

#[test]
fn files_in_conflict_are_unmerged() {
    let bed = Bed::small();
    let id = bed.repo.blob(b"x").unwrap();
    let mut index = bed.repo.index().unwrap();
    index.remove_path(Path::new("materials/cw-200.yaml")).unwrap();
    for stage in 1..=3_u16 {
        let mut side = entry("materials/cw-200.yaml", 0o100_644, id);
        side.flags = stage << 12;
        index.add(&side).unwrap();
    }
    index.write().unwrap();
    assert!(index.has_conflicts());
    let snapshot = bed.place().index().unwrap();
    assert_eq!(kind(&snapshot, "materials/cw-200.yaml"), &EntryKind::Other("unmerged".to_owned()));
    assert_eq!(
        snapshot.read("materials/cw-200.yaml"),
        Err(ReadFault::NotRegular { what: "unmerged".to_owned() })
    );
}

#[test]
fn another_index_file_is_read_where_git_names_one() {
    let bed = Bed::small();
    let git = bed.top().join(".git");
    fs::copy(git.join("index"), git.join("next-index-1.lock")).unwrap();
    bed.write("materials/more.yaml", "m\n");
    bed.stage();
    let place = bed.place();
    assert!(place.index().unwrap().entry("materials/more.yaml").is_some());
    for named in [git.join("next-index-1.lock"), ".git/next-index-1.lock".into()] {
        let other = place.clone().with_index_file(Some(named)).index().unwrap();
        assert!(other.entry("materials/more.yaml").is_none());
        assert!(other.entry("materials/cw-200.yaml").is_some());
    }
    let gone = place.clone().with_index_file(Some(".git/none".into())).index().unwrap_err();
    assert!(matches!(gone, SourceError::Index { .. }), "not an empty index: {gone}");
    fs::write(git.join("broken"), "no index").unwrap();
    assert!(matches!(
        place.with_index_file(Some(".git/broken".into())).index(),
        Err(SourceError::Index { .. })
    ));
}

#[test]
fn revisions_are_named_as_git_names_them() {
    let bed = Bed::small();
    let first = bed.repo.head().unwrap().target().unwrap();
    bed.write("materials/cw-200.yaml", "second\n");
    let second = bed.commit("second");
    let commit = bed.repo.find_object(first, None).unwrap();
    bed.repo.tag("v1", &commit, &who(), "one", false).unwrap();
    bed.repo.tag_lightweight("v1-light", &commit, false).unwrap();
    let place = bed.place();
    let full = first.to_string();
    for asked in ["HEAD~1", "main^", "v1", "v1-light", "v1^{commit}", full.as_str(), full.get(..10).unwrap()]
    {
        let snapshot = place.revision(asked).unwrap();
        assert_eq!(snapshot.commit(), Some(full.as_str()), "{asked}");
        assert_eq!(text(&snapshot, "materials/cw-200.yaml"), "kind: fabric\n");
    }
    let short = full.get(..7).unwrap();
    assert_eq!(place.revision("HEAD~1").unwrap().label(), format!("HEAD~1 ({short})"));
    assert_eq!(place.revision(&full).unwrap().label(), short);
    assert_eq!(place.revision("@").unwrap().commit(), Some(second.to_string().as_str()));
    // Detached.
    bed.repo.set_head_detached(first).unwrap();
    let place = bed.place();
    assert_eq!(place.revision("HEAD").unwrap().commit(), Some(full.as_str()));
    assert_eq!(place.head_or_empty().unwrap().commit(), Some(full.as_str()));
}

#[test]
fn a_wrong_revision_is_told_apart() {
    let bed = Bed::small();
    let place = bed.place();
    let unknown = place.revision("mian").unwrap_err();
    assert!(
        matches!(&unknown, SourceError::UnknownRevision { near, shallow: false, .. } if near == &["main"])
    );
    assert_eq!(unknown.mend(), "did you mean `main`?");
    assert!(matches!(place.revision("HEAD~9"), Err(SourceError::UnknownRevision { .. })));
    assert!(matches!(place.revision("0123456789"), Err(SourceError::UnknownRevision { .. })));
    assert!(matches!(place.revision("ref with space"), Err(SourceError::UnknownRevision { .. })));
    for (asked, what) in [("main..HEAD", "a range"), ("", "empty"), ("HEAD:ledger.yaml", "a file")] {
        let error = place.revision(asked).unwrap_err();
        assert!(
            matches!(&error, SourceError::NotARevision { what: is, .. } if is == what),
            "{asked}: {error}"
        );
    }
    // One name for a branch and a tag that differ.
    let old = bed.repo.head().unwrap().peel_to_commit().unwrap();
    bed.repo.branch("both", &old, false).unwrap();
    bed.write("materials/b.yaml", "b\n");
    let new = bed.commit("second");
    bed.repo.tag_lightweight("both", &bed.repo.find_object(new, None).unwrap(), false).unwrap();
    let error = place.revision("both~0").unwrap_err();
    assert_eq!(error.to_string(), "`both~0` could be any of refs/heads/both, refs/tags/both");
    assert!(place.revision("refs/heads/both").is_ok());
}

#[test]
fn an_ambiguous_id_lists_what_it_could_be() {
    let bed = Bed::small();
    let tree = bed.repo.head().unwrap().peel_to_tree().unwrap();
    let mut seen: BTreeMap<String, String> = BTreeMap::new();
    let store = bed.repo.odb().unwrap();
    let prefix = (0..).find_map(|n| {
        let message = format!("commit {n}");
        let bytes = bed.repo.commit_create_buffer(&who(), &who(), &message, &tree, &[]).unwrap().to_vec();
        let id = Oid::hash_object(ObjectType::Commit, &bytes).unwrap().to_string();
        let start = id.get(..4).unwrap().to_owned();
        let other = seen.insert(start.clone(), String::from_utf8(bytes.clone()).unwrap())?;
        store.write(ObjectType::Commit, &bytes).unwrap();
        store.write(ObjectType::Commit, other.as_bytes()).unwrap();
        Some(start)
    });
    let error = bed.place().revision(&prefix.unwrap()).unwrap_err();
    let SourceError::AmbiguousRevision { candidates, .. } = &error else { panic!("{error}") };
    assert_eq!(candidates.len(), 2);
    assert!(candidates.iter().all(|it| it.contains("(commit ")), "{candidates:?}");
}

#[test]
fn before_the_first_commit_there_is_nothing_to_compare_with() {
    let bed = Bed::new();
    bed.write("ledger.yaml", "format: 1\n");
    let place = bed.place();
    assert!(place.work_tree().unwrap().entry("ledger.yaml").is_some());
    assert!(place.index().unwrap().is_empty(), "no index file yet");
    bed.stage();
    assert_eq!(paths(&place.index().unwrap()), ["ledger.yaml"]);
    assert_eq!(place.index().unwrap().commit(), None);
    let empty = place.head_or_empty().unwrap();
    assert_eq!((empty.origin(), empty.is_empty(), empty.label().as_str()), (&Origin::Empty, true, "nothing"));
    assert_eq!(place.revision("HEAD").unwrap_err(), SourceError::NoCommit);
    assert_eq!(place.revision("HEAD~1").unwrap_err(), SourceError::NoCommit);
}

#[test]
fn a_revision_without_the_ledger_says_so() {
    let bed = Bed::new();
    bed.write("README.md", "words\n");
    bed.commit("first");
    bed.write("led/ger/ledger.yaml", "format: 1\n");
    let place = Place::find(&bed.top().join("led/ger")).unwrap();
    let error = place.revision("HEAD").unwrap_err();
    assert!(matches!(error, SourceError::NoLedgerThere { .. }), "{error}");
    assert!(error.to_string().contains("holds no led/ger/ledger.yaml"), "{error}");
    let head = place.head_or_empty().unwrap();
    assert!(head.is_empty() && head.commit().is_some());
    assert!(head.label().starts_with("HEAD ("));
}

#[test]
fn a_linked_work_tree_has_its_own_files_head_and_index() {
    let bed = Bed::small();
    let head = bed.repo.head().unwrap().peel_to_commit().unwrap();
    let branch = bed.repo.branch("side", &head, false).unwrap();
    let path = bed.dir.path().join("side");
    let mut options = git2::WorktreeAddOptions::new();
    options.reference(Some(branch.get()));
    bed.repo.worktree("side", &path, Some(&options)).unwrap();
    bed.write("materials/main.yaml", "m\n");
    let main = bed.commit("on main");
    write(&path, "materials/side.yaml", "s\n");
    let linked = git2::Repository::open(&path).unwrap();
    let mut index = linked.index().unwrap();
    index.add_path(Path::new("materials/side.yaml")).unwrap();
    index.write().unwrap();
    let place = Place::find(&path).unwrap();
    let repository = place.repository().unwrap();
    assert_eq!(repository.common_dir(), bed.top().join(".git"));
    assert_ne!(repository.git_dir(), repository.common_dir());
    for snapshot in [place.index().unwrap(), place.work_tree().unwrap()] {
        assert!(snapshot.entry("materials/side.yaml").is_some(), "{}", snapshot.label());
        assert!(snapshot.entry("materials/main.yaml").is_none());
        assert_eq!(snapshot.commit(), Some(head.id().to_string().as_str()));
    }
    assert_eq!(place.revision("main").unwrap().commit(), Some(main.to_string().as_str()));
    assert!(bed.place().index().unwrap().entry("materials/side.yaml").is_none());
    // Handles that other threads open see the same work tree.
    let paths = vec!["materials/side.yaml".to_owned(); 64];
    assert!(place.index().unwrap().read_many(&paths, RECORD_LIMIT).iter().all(Result::is_ok));
    // A work tree whose repository is gone is not taken for a folder without one.
    fs::rename(bed.top(), bed.dir.path().join("moved")).unwrap();
    assert!(matches!(Place::find(&path), Err(SourceError::Unsupported { .. })));
}

#[test]
fn a_shallow_clone_says_that_it_is_one() {
    let bed = Bed::small();
    let first = bed.repo.head().unwrap().target().unwrap();
    bed.write("materials/b.yaml", "b\n");
    let second = bed.commit("second");
    let clone = git2::Repository::init(bed.dir.path().join("clone")).unwrap();
    let (from, to) = (bed.repo.odb().unwrap(), clone.odb().unwrap());
    let mut all = Vec::new();
    from.foreach(|id| {
        all.push(*id);
        true
    })
    .unwrap();
    for id in all.into_iter().filter(|id| *id != first) {
        let object = from.read(id).unwrap();
        to.write(object.kind(), object.data()).unwrap();
    }
    fs::write(clone.path().join("shallow"), format!("{second}\n")).unwrap();
    clone.reference("refs/heads/main", second, true, "").unwrap();
    clone.set_head("refs/heads/main").unwrap();
    write(&bed.dir.path().join("clone"), "ledger.yaml", "format: 1\n");
    let place = Place::find(&bed.dir.path().join("clone")).unwrap();
    assert!(place.revision("HEAD").is_ok());
    let error = place.revision("HEAD~1").unwrap_err();
    assert_eq!(error.to_string(), "there is no revision `HEAD~1` in this shallow clone");
    assert!(error.mend().contains("--unshallow"));
    assert_eq!(place.history("HEAD").unwrap().len(), 1);
}

#[test]
fn a_missing_or_damaged_object_is_named() {
    let bed = Bed::small();
    let place = bed.place();
    let snapshot = place.revision("HEAD").unwrap();
    let id = snapshot.blob_id("materials/cw-200.yaml").unwrap();
    let (folder, name) = id.split_at(2);
    let file = bed.top().join(".git/objects").join(folder).join(name);
    let other = snapshot.blob_id("ledger.yaml").unwrap();
    let (folder, name) = other.split_at(2);
    fs::remove_file(&file).unwrap();
    fs::copy(bed.top().join(".git/objects").join(folder).join(name), &file).unwrap();
    let place = bed.place();
    let fault = place.revision("HEAD").unwrap().read("materials/cw-200.yaml").unwrap_err();
    assert!(matches!(&fault, ReadFault::Object { why, .. } if why.contains("damaged")), "{fault}");
    fs::remove_file(&file).unwrap();
    let fault = bed.place().revision("HEAD").unwrap().read("materials/cw-200.yaml").unwrap_err();
    assert!(matches!(&fault, ReadFault::Object { why, .. } if why.contains("missing")), "{fault}");
}

#[test]
fn a_bare_repository_gives_revisions_only() {
    let bed = Bed::small();
    let head = bed.repo.head().unwrap().target().unwrap();
    let path = bed.dir.path().join("bare.git");
    let bare = git2::build::RepoBuilder::new().bare(true).clone(bed.top().to_str().unwrap(), &path).unwrap();
    assert!(bare.is_bare());
    let place = Place::find(&path).unwrap();
    assert_eq!(paths(&place.revision("HEAD").unwrap()), SMALL);
    assert_eq!(place.head_or_empty().unwrap().commit(), Some(head.to_string().as_str()));
    assert!(matches!(place.work_tree(), Err(SourceError::Bare { .. })));
    assert!(matches!(place.index(), Err(SourceError::Bare { .. })));
}

#[test]
fn the_common_commit_of_two_branches() {
    let bed = Bed::small();
    let base = bed.repo.head().unwrap().peel_to_commit().unwrap();
    bed.repo.branch("side", &base, false).unwrap();
    bed.write("materials/b.yaml", "b\n");
    bed.commit("on main");
    bed.repo
        .commit(Some("refs/heads/side"), &who(), &who(), "on side", &base.tree().unwrap(), &[&base])
        .unwrap();
    bed.repo.commit(Some("refs/heads/lone"), &who(), &who(), "lone", &base.tree().unwrap(), &[]).unwrap();
    let place = bed.place();
    assert_eq!(place.merge_base("main", "side").unwrap(), base.id().to_string());
    assert!(matches!(place.merge_base("main", "lone"), Err(SourceError::NoMergeBase { shallow: false, .. })));
    assert!(matches!(place.merge_base("main", "nowhere"), Err(SourceError::UnknownRevision { .. })));
    // `on side` leaves the files as they were, so it is no part of the ledger's history.
    let words = |spec: &str| -> Vec<String> {
        place.history(spec).unwrap().into_iter().map(|commit| commit.summary).collect()
    };
    assert_eq!(words("main"), ["on main", "first"]);
    assert_eq!(words("side"), ["first"]);
}

#[test]
fn a_sparse_checkout_leaves_nothing_out() {
    let bed = Bed::small();
    let mut index = bed.repo.index().unwrap();
    let mut sparse = index.get_path(Path::new("materials/cw-200.yaml"), 0).unwrap();
    sparse.flags |= 0x4000;
    sparse.flags_extended |= git2::IndexEntryExtendedFlag::SKIP_WORKTREE.bits();
    index.add(&sparse).unwrap();
    index.write().unwrap();
    fs::remove_dir_all(bed.top().join("materials")).unwrap();
    let snapshot = bed.place().work_tree().unwrap();
    assert_eq!(paths(&snapshot), SMALL);
    assert_eq!(text(&snapshot, "materials/cw-200.yaml"), "kind: fabric\n");
    assert_eq!(snapshot.top_level_folders(), ["data", "evidence", "materials"]);
    // Deleted without sparseness is deleted.
    bed.remove("evidence/e-001.yaml");
    assert!(bed.place().work_tree().unwrap().entry("evidence/e-001.yaml").is_none());
}

#[test]
fn a_tree_made_by_hand_cannot_lead_outside() {
    let bed = Bed::small();
    let blob = bed.repo.blob(b"x").unwrap();
    let store = bed.repo.odb().unwrap();
    let raw = |entries: &[(&str, &[u8], Oid)]| {
        let mut bytes = Vec::new();
        for (mode, name, id) in entries {
            bytes.extend(mode.as_bytes());
            bytes.push(b' ');
            bytes.extend(*name);
            bytes.push(0);
            bytes.extend(id.as_bytes());
        }
        store.write(ObjectType::Tree, &bytes).unwrap()
    };
    let inner = raw(&[("100644", b"b\xff.yaml", blob), ("100644", b"../../evil", blob)]);
    let up = raw(&[("40000", b"..", inner), ("40000", b"sub", inner)]);
    let root = raw(&[("100644", b"ledger.yaml", blob), ("40000", b"materials", up)]);
    let snapshot = bed.place().revision(&root.to_string()).unwrap();
    for entry in snapshot.files().filter(|entry| entry.path != "ledger.yaml") {
        assert!(entry.path.split('/').all(|part| part != ".."), "{}", entry.path);
        assert!(matches!(entry.kind, EntryKind::Other(_)), "{}", entry.path);
    }
    assert_eq!(snapshot.files().count(), 4);
}

#[test]
fn many_files_are_read_in_order_on_all_threads() {
    let bed = Bed::small();
    let names: Vec<String> = (0..200).map(|n| format!("panels/p-{n:03}.yaml")).collect();
    for name in &names {
        bed.write(name, name);
    }
    bed.commit("many");
    let place = bed.place();
    let mut asked = names.clone();
    asked.insert(100, "panels/none.yaml".to_owned());
    for snapshot in [place.work_tree().unwrap(), place.index().unwrap(), place.revision("HEAD").unwrap()] {
        let answers = snapshot.read_many(&asked, RECORD_LIMIT);
        for (name, answer) in asked.iter().zip(answers) {
            match name.as_str() {
                "panels/none.yaml" => assert_eq!(answer, Err(ReadFault::Missing)),
                name => assert_eq!(answer.unwrap().as_ref(), name.as_bytes()),
            }
        }
    }
}

#[test]
fn texts_laid_over_stand_above_the_files() {
    let bed = Bed::small();
    let base = bed.place().revision("HEAD").unwrap();
    let edit = |path: &str, text: Option<&str>| (path.to_owned(), text.map(|text| text.as_bytes().to_vec()));
    let over = base.overlay(BTreeMap::from([
        edit("materials/cw-200.yaml", Some("over\n")),
        edit("tools/new.yaml", Some("new\n")),
        edit("evidence/e-001.yaml", None),
        edit("notes/n.md", Some("n\n")),
        edit("../evil", Some("e\n")),
    ]));
    assert_eq!(
        paths(&over),
        ["evidence/data/x.csv", "ledger.yaml", "materials/cw-200.yaml", "tools/new.yaml"]
    );
    assert_eq!(text(&over, "materials/cw-200.yaml"), "over\n");
    assert_eq!(text(&over, "notes/n.md"), "n\n");
    assert_eq!(text(&over, "ledger.yaml"), "format: 1\n");
    assert_eq!(over.read("evidence/e-001.yaml"), Err(ReadFault::Missing));
    assert_eq!(over.blob_id("evidence/e-001.yaml"), None);
    assert_eq!(
        over.blob_id("tools/new.yaml").unwrap(),
        Oid::hash_object(ObjectType::Blob, b"new\n").unwrap().to_string()
    );
    assert_eq!(over.top_level_folders(), ["data", "evidence", "materials", "notes", "tools"]);
    let again = over.overlay(BTreeMap::from([edit("evidence/e-001.yaml", Some("back\n"))]));
    assert_eq!(text(&again, "evidence/e-001.yaml"), "back\n");
    assert_eq!(text(&again, "tools/new.yaml"), "new\n");
    assert_eq!(paths(&base), SMALL, "the base is as it was");
}

#[test]
fn a_snapshot_in_memory_behaves_as_one_on_disk() {
    let snapshot = Snapshot::in_memory(BTreeMap::from([
        ("ledger.yaml".to_owned(), b"format: 1\n".to_vec()),
        ("panels/p.yaml".to_owned(), b"p".to_vec()),
        ("other/o.csv".to_owned(), b"o".to_vec()),
    ]));
    assert_eq!(paths(&snapshot), ["ledger.yaml", "panels/p.yaml"]);
    assert_eq!(text(&snapshot, "panels/../other/o.csv"), "o");
    assert_eq!(snapshot.top_level_folders(), ["other", "panels"]);
    assert_eq!((snapshot.origin(), snapshot.commit()), (&Origin::WorkTree, None));
    fn shared<T: Send + Sync + Clone>(_: &T) {}
    shared(&snapshot);
}

#[test]
fn an_unsupported_repository_is_refused_in_words() {
    let bed = Bed::small();
    let mut config = bed.repo.config().unwrap();
    config.set_i32("core.repositoryformatversion", 1).unwrap();
    config.set_str("extensions.partialclone", "origin").unwrap();
    let error = Place::find(&bed.top()).unwrap_err();
    assert!(matches!(error, SourceError::Unsupported { .. }), "{error}");
    assert!(error.mend().contains("--filter"), "{}", error.mend());
}
