//! Records of another repository at a pinned commit: in every state, through a change of the commit, and at the gate.

use super::bed::Bed;
use std::path::{Path, PathBuf};

/// The small ledger, its materials, process and evidence in a repository beside it; with the other's path and commit.
fn shared() -> (Bed, PathBuf, String) {
    let bed = Bed::small();
    let lib = bed.beside("lib");
    std::fs::create_dir_all(&lib).unwrap();
    git(&bed, &lib, &["init", "-q", "-b", "main", "--template="]);
    for path in ["materials/cw.yaml", "materials/prime.yaml", "materials/clear.yaml", "processes/oven.yaml"] {
        moved(&bed, &lib, path);
    }
    for path in ["evidence/e-modulus.yaml", "evidence/data/m.csv"] {
        moved(&bed, &lib, path);
    }
    write(&lib, "ledger.yaml", "format: 1\nprogramme: Shared (invented)\n");
    let commit = commit(&bed, &lib, "shared");
    for (path, name) in [
        ("finishes/white.yaml", "material: "),
        ("recipes/skin.yaml", "material: "),
        ("recipes/skin.yaml", "process: "),
    ] {
        let text = bed.read(path).replace(name, &format!("{name}lib:"));
        bed.write(path, &text);
    }
    pin(&bed, &commit);
    bed.commit_all("takes what is shared from there");
    (bed, lib, commit)
}

fn git(bed: &Bed, at: &Path, arguments: &[&str]) -> String {
    let run = bed.git_at(at, arguments);
    assert_eq!(run.code, Some(0), "{arguments:?}: {run:?}");
    run.out.trim().to_string()
}

fn write(at: &Path, path: &str, text: &str) {
    let path = at.join(path);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, text).unwrap();
}

fn moved(bed: &Bed, lib: &Path, path: &str) {
    write(lib, path, &bed.read(path));
    std::fs::remove_file(bed.top().join(path)).unwrap();
}

fn commit(bed: &Bed, at: &Path, message: &str) -> String {
    git(bed, at, &["add", "-A"]);
    git(bed, at, &["commit", "-q", "--no-verify", "-m", message]);
    git(bed, at, &["rev-parse", "HEAD"])
}

/// Names the commit in the work tree's `ledger.yaml`.
fn pin(bed: &Bed, commit: &str) {
    let text = bed.read("ledger.yaml");
    let own: String = text.split_inclusive('\n').filter(|line| !line.contains("lib")).collect();
    let own = own.replace("imports:\n", "");
    bed.write(
        "ledger.yaml",
        &format!("{own}imports:\n  - {{name: lib, path: ../lib, commit: \"{commit}\"}}\n"),
    );
}

/// A richer prepreg in the other repository.
fn richer(bed: &Bed, lib: &Path) -> String {
    let text = std::fs::read_to_string(lib.join("materials/cw.yaml")).unwrap();
    write(lib, "materials/cw.yaml", &text.replace("content: 37 %", "content: 45 %"));
    commit(bed, lib, "richer")
}

fn kg(bed: &Bed, of: &[&str]) -> f64 {
    bed.document(&[&["mass"], of].concat())["total"]["kg"].as_f64().unwrap()
}

fn verdict(bed: &Bed, of: &[&str]) -> String {
    let document = bed.document(&[&["gaps", "--all"], of].concat());
    let duties = document["duties"].as_array().unwrap();
    let own = duties.iter().find(|duty| duty["showing"] == "modulus").unwrap();
    assert_eq!(own["subject"], "lamina/lib:cw@lib:oven");
    own["verdict"].as_str().unwrap().to_string()
}

#[test]
fn every_state_has_the_commit_that_it_names() {
    let (bed, lib, old) = shared();
    let before = kg(&bed, &["--at", "HEAD~1"]);
    assert!((kg(&bed, &[]) - before).abs() < 1e-12, "what is taken weighs what it weighed here");
    assert_eq!(verdict(&bed, &[]), "met");
    // Neither a newer commit there nor its work tree plays a part.
    let new = richer(&bed, &lib);
    write(&lib, "materials/cw.yaml", "no record at all");
    assert!((kg(&bed, &[]) - before).abs() < 1e-12);
    pin(&bed, &new);
    let after = kg(&bed, &[]);
    assert!(after > before * 1.05);
    assert_eq!(verdict(&bed, &[]), "lapsed");
    for of in [&["--staged"][..], &["--at", "HEAD"]] {
        assert!((kg(&bed, of) - before).abs() < 1e-12, "{of:?}");
        assert_eq!(verdict(&bed, of), "met");
    }
    bed.git(&["add", "ledger.yaml"]);
    assert!((kg(&bed, &["--staged"]) - after).abs() < 1e-12);
    pin(&bed, &old[..9]);
    assert!((kg(&bed, &[]) - before).abs() < 1e-12, "the beginning of an id is enough");
    assert_eq!(verdict(&bed, &["--staged"]), "lapsed");
}

#[test]
fn another_commit_is_a_change_like_any_other() {
    let (bed, lib, _) = shared();
    let new = richer(&bed, &lib);
    pin(&bed, &new);
    let impact = bed.document(&["impact"]);
    let changes: Vec<&str> =
        impact["changes"].as_array().unwrap().iter().map(|own| own["address"].as_str().unwrap()).collect();
    assert!(changes.contains(&"lib:material/cw#resin.content"), "{changes:?}");
    assert!(
        changes.contains(&"ledger#imports.lib.commit")
            || changes.iter().any(|own| own.starts_with("ledger#imports")),
        "{changes:?}"
    );
    let text = bed.bondline(&["impact"]);
    assert!(text.flat().contains("lapsed modulus lamina/lib:cw@lib:oven"), "{text:?}");
    let why = bed.bondline(&["why", "modulus", "lamina/lib:cw@lib:oven"]);
    assert!(why.flat().contains("lib:evidence/e-modulus"), "{why:?}");
    let record = bed.bondline(&["why", "lib:material/cw"]);
    assert_eq!(record.code, Some(0), "{record:?}");
    assert!(record.flat().contains("recipe/skin"), "{record:?}");
    // The gate judges it, with the store and without.
    bed.git(&["add", "-A"]);
    let refused = bed.bondline(&["hook", "run"]);
    assert_eq!(refused.code, Some(1), "{refused:?}");
    assert!(refused.flat().contains("unexplained-change"), "{refused:?}");
    assert_eq!(bed.bondline(&["--no-store", "hook", "run"]).out, refused.out);
    assert_eq!(bed.bondline(&["hook", "run"]).out, refused.out);
}

#[test]
fn a_decision_may_name_another_commit_and_nothing_in_it() {
    let (bed, lib, old) = shared();
    let new = richer(&bed, &lib);
    let drafted =
        bed.bondline(&["decide", "draft", "Richer", "--set", &format!("ledger#imports.1.commit={new}")]);
    assert_eq!(drafted.code, Some(0), "{drafted:?}");
    let impact = bed.document(&["impact", "dd-001"]);
    assert!(impact["mass"]["delta_kg"].as_f64().unwrap() > 0.0, "{impact}");
    let addresses = impact["changes"].to_string();
    assert!(addresses.contains("lib:material/cw#resin.content"), "{addresses}");
    let kept = bed.read("ledger.yaml");
    let refused = bed.bondline(&["decide", "draft", "No", "--set", "lib:material/cw#resin.content=40 %"]);
    assert_ne!(refused.code, Some(0));
    assert!(
        refused.flat().contains("is a record of the import `lib`, which can't be changed from here"),
        "{refused:?}"
    );
    assert_eq!(bed.read("ledger.yaml"), kept);
    let proposed = bed.bondline(&["decide", "propose", "dd-001"]);
    assert_eq!(proposed.code, Some(0), "{proposed:?}");
    assert!(bed.read("ledger.yaml").contains(&old));
}

#[test]
fn what_is_not_there_is_said_and_nothing_answers_for_it() {
    let (bed, lib, _) = shared();
    let away = bed.beside("away");
    std::fs::rename(&lib, &away).unwrap();
    let check = bed.bondline(&["check"]);
    assert_eq!(check.code, Some(1));
    assert!(check.flat().contains("error[import-missing]"), "{check:?}");
    assert!(!check.flat().contains("unknown-reference"), "one cause, one fault: {check:?}");
    let mass = bed.bondline(&["mass"]);
    assert_eq!(mass.code, Some(2));
    assert!(
        mass.flat().contains("import-missing") || mass.flat().contains("there is no such folder"),
        "{mass:?}"
    );
    // Nothing of the answer is kept: back again, it is as before.
    std::fs::rename(&away, &lib).unwrap();
    let check = bed.bondline(&["check"]);
    assert_eq!((check.code, check.out.trim()), (Some(0), "no faults"), "{check:?}");
    let new = richer(&bed, &lib);
    let check = bed.bondline(&["check"]);
    assert!(check.flat().contains("warning[import-behind]"), "{check:?}");
    assert!(check.flat().contains("1 commit behind HEAD"), "{check:?}");
    assert!(check.flat().contains("lib:material/cw"), "{check:?}");
    pin(&bed, &new);
    assert_eq!(bed.bondline(&["check"]).out.trim(), "no faults");
}

#[test]
fn a_submodule_is_a_repository_too() {
    let (bed, lib, commit) = shared();
    let url = lib.display().to_string();
    bed.git(&["-c", "protocol.file.allow=always", "submodule", "add", "-q", &url, "vendor/lib"]);
    let text = bed.read("ledger.yaml").replace("../lib", "vendor/lib");
    bed.write("ledger.yaml", &text);
    bed.commit_all("a submodule");
    std::fs::rename(&lib, bed.beside("away")).unwrap();
    assert_eq!(verdict(&bed, &[]), "met");
    assert!(bed.read("ledger.yaml").contains(&commit));
    // A clone without its submodules says what to do.
    let clone = bed.beside("clone");
    git(&bed, bed.top(), &["clone", "-q", ".", &clone.display().to_string()]);
    let check = bed.bondline_at(&clone, &["check"]);
    assert!(check.flat().contains("git submodule update --init vendor/lib"), "{check:?}");
}

#[test]
fn pages_and_tables_have_the_imports_records() {
    let (bed, _, _) = shared();
    let run = bed.bondline(&["report"]);
    assert_eq!(run.code, Some(0), "{run:?}");
    let page = bed.read("bondline-report/evidence/lib.e-modulus.html");
    assert!(page.contains("lib:e-modulus") || page.contains("lib:evidence/e-modulus"));
    let recipe = bed.read("bondline-report/recipe/skin.html");
    assert!(recipe.contains("lib:cw"));
    let mut broken = Vec::new();
    for file in
        crate::support::files(&bed.top().join("bondline-report")).iter().filter(|own| own.ends_with(".html"))
    {
        assert!(!file.contains(':'), "{file}");
        let text = bed.read(&format!("bondline-report/{file}")).replace("&#x2f;", "/");
        let folder = std::path::Path::new(file).parent().unwrap().to_path_buf();
        for link in text.split("href=\"").skip(1).map(|rest| rest.split('"').next().unwrap()) {
            let link = link.split('#').next().unwrap();
            let to = bed.top().join("bondline-report").join(&folder).join(link);
            if !link.is_empty() && !to.exists() {
                broken.push(format!("{file}: {link}"));
            }
        }
    }
    assert!(broken.is_empty(), "{broken:#?}");
    let tables = bed.document(&["export", "json"]);
    let materials = tables["tables"]["materials"].as_array().unwrap();
    assert!(materials.iter().any(|row| row["material"] == "lib:cw"));
    let specimens = tables["tables"]["specimens"].as_array().unwrap();
    assert!(specimens.iter().any(|row| row["evidence"] == "lib:e-modulus"));
}

#[test]
fn evidence_may_move_to_a_shared_ledger_and_not_change_on_the_way() {
    let (bed, lib, _) = shared();
    // The move itself, held against the ledger that had it all.
    bed.git(&["reset", "-q", "--soft", "HEAD~1"]);
    let moved = bed.bondline(&["hook", "run"]);
    assert!(!moved.flat().contains("altered-evidence"), "{moved:?}");
    assert!(!moved.flat().contains("weakened"), "{moved:?}");
    let data = std::fs::read_to_string(lib.join("evidence/data/m.csv")).unwrap();
    write(&lib, "evidence/data/m.csv", &data.replace("61", "62"));
    let other = commit(&bed, &lib, "another value");
    pin(&bed, &other);
    bed.git(&["add", "-A"]);
    let altered = bed.bondline(&["hook", "run"]);
    assert_eq!(altered.code, Some(1));
    assert!(altered.flat().contains("altered-evidence"), "{altered:?}");
}

#[test]
fn a_draft_of_the_work_tree_names_the_commit_and_not_what_comes_with_it() {
    let (bed, lib, old) = shared();
    let new = richer(&bed, &lib);
    pin(&bed, &new);
    let drafted = bed.bondline(&["decide", "draft", "Richer", "--from-worktree"]);
    assert_eq!(drafted.code, Some(0), "{drafted:?}");
    let text = bed.read("decisions/dd-001-richer.yaml");
    assert_eq!(text.matches("set:").count() + text.matches("add:").count(), 1, "{text}");
    assert!(text.contains(&old) && text.contains(&new) && text.contains("ledger#imports"), "{text}");
}
