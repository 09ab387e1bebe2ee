//! Branches merged in memory: what they un-prove together, and that nothing is written for it.

use super::bed::Bed;
use serde_json::Value;
use std::fs;
use std::path::Path;

/// Coats with room between them, so that git joins edits of both; 55 um of film where 65 um were tested.
const COATS: &str = "coats:\n  - material: prime\n    dry_film: 25 um\n  # the clear coat\n  # lies on top\n  # of it\n  - material: clear\n    dry_film: 30 um\n";

/// Two branches that each add some film, from a commit that has some to spare.
fn branches(folder: &str) -> Bed {
    let bed = Bed::new();
    bed.lay_small(folder);
    let at = if folder.is_empty() { String::new() } else { format!("{folder}/") };
    bed.write("notes.txt", "one\n");
    bed.write(&format!("{at}finishes/white.yaml"), COATS);
    bed.commit_all("thin film");
    branch(&bed, "primer", &format!("{at}finishes/white.yaml"), "dry_film: 25 um", "dry_film: 30 um");
    branch(&bed, "clear", &format!("{at}finishes/white.yaml"), "dry_film: 30 um", "dry_film: 36 um");
    bed
}

/// Makes a branch of `main` with one edit, and comes back.
fn branch(bed: &Bed, name: &str, file: &str, from: &str, to: &str) {
    bed.git(&["checkout", "-q", "-b", name, "main"]);
    bed.edit(file, from, to);
    bed.commit_all(name);
    bed.git(&["checkout", "-q", "main"]);
}

fn objects(folder: &Path) -> Vec<String> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(objects(&path));
        } else {
            all.push(path.display().to_string());
        }
    }
    all.sort();
    all
}

fn duties(list: &Value) -> Vec<(String, String)> {
    let text = |row: &Value, key: &str| row[key].as_str().unwrap().to_string();
    list.as_array().unwrap().iter().map(|row| (text(row, "showing"), text(row, "subject"))).collect()
}

#[test]
fn a_window_that_is_crossed_only_together_comes_first() {
    let bed = branches("");
    let before = (bed.state(), bed.index(), objects(&bed.top().join(".git/objects")));
    let found = bed.document(&["impact", "--merge", "primer", "clear"]);
    let lost = vec![("adhesion".to_string(), "painted/skin+white".to_string())];
    assert_eq!(duties(&found["together_only"]), lost);
    assert_eq!(duties(&found["graver_together"]), []);
    assert!(found["verdict"].as_str().unwrap().starts_with("Together primer and clear un-prove"), "{found}");
    assert_eq!(
        found["alone"].as_array().unwrap().iter().map(|one| duties(&one["worse"])).collect::<Vec<_>>(),
        [[], []]
    );
    assert_eq!(found["report"]["commit"], Value::Null);
    // 5 um of 1500 and 6 um of 1150 kg/m3 on 1 m2, by hand.
    let grams = found["mass"]["delta_kg"].as_f64().unwrap() * 1000.0;
    assert!((grams - (7.5 + 6.9)).abs() < 1e-6, "{grams}");
    let other = bed.document(&["impact", "--merge", "clear", "primer"]);
    for key in ["together_only", "duties", "mass", "changes", "retest"] {
        assert_eq!(found[key], other[key], "{key}");
    }
    let text = bed.bondline(&["impact", "--merge", "primer", "clear"]);
    assert!(
        text.flat().contains("Only together (1)") && text.flat().contains("primer alone: as before"),
        "{text:?}"
    );
    assert_eq!(bed.bondline(&["impact", "--merge", "primer", "clear", "--strict"]).code, Some(1));
    assert_eq!((bed.state(), bed.index(), objects(&bed.top().join(".git/objects"))), before);
    // The same as when git merges them.
    bed.git(&["checkout", "-q", "primer"]);
    bed.git(&["merge", "-q", "--no-edit", "clear"]);
    let merged = bed.document(&["impact", "main", "HEAD"]);
    for key in ["duties", "mass", "changes", "retest", "grounded"] {
        assert_eq!(found[key], merged[key], "{key}");
    }
}

#[test]
fn a_ledger_in_a_folder_is_merged_and_what_lies_outside_plays_no_part() {
    let bed = branches("air");
    branch(&bed, "one", "notes.txt", "one", "two");
    branch(&bed, "two", "notes.txt", "one", "three");
    bed.git(&["checkout", "-q", "one"]);
    bed.git(&["merge", "-q", "--no-edit", "primer"]);
    bed.git(&["checkout", "-q", "two"]);
    bed.git(&["merge", "-q", "--no-edit", "clear"]);
    assert_ne!(bed.try_git(&["merge", "-q", "--no-edit", "one"]).code, Some(0));
    bed.git(&["merge", "--abort"]);
    for names in [["primer", "clear"], ["one", "two"]] {
        let run = bed.bondline_at(
            &bed.top().join("air"),
            &["--format", "json", "impact", "--merge", names[0], names[1]],
        );
        assert_eq!(run.code, Some(0), "{run:?}");
        assert_eq!(duties(&run.json()["together_only"]).len(), 1, "{run:?}");
        let run =
            bed.bondline_at(&bed.top().join("air"), &["--format", "json", "compare", names[0], names[1]]);
        assert_eq!(duties(&run.json()["together"][0]["together_only"]).len(), 1, "{run:?}");
    }
}

#[test]
fn what_git_cannot_join_is_named() {
    let bed = branches("");
    branch(&bed, "thick", "finishes/white.yaml", "dry_film: 30 um", "dry_film: 50 um");
    let run = bed.bondline(&["impact", "--merge", "clear", "thick"]);
    assert_eq!((run.code, run.out.as_str()), (Some(2), ""));
    assert!(run.flat().contains("change the same places differently: finishes/white.yaml"), "{run:?}");
    // Side by side they can still be seen, and the place is named with both values.
    let found = bed.document(&["compare", "primer", "clear", "thick"]);
    let [first, second, third] = found["together"].as_array().unwrap().as_slice() else { panic!("{found}") };
    assert_eq!(duties(&first["together_only"]).len(), 1);
    assert!(
        duties(&second["together_only"]).is_empty() && second["conflicts"].as_array().unwrap().is_empty()
    );
    let conflict = &third["conflicts"][0];
    assert_eq!(conflict["address"], "finish/white#coats.2.dry_film");
    assert_eq!(conflict["values"], serde_json::json!(["36 um", "50 um"]));
    assert_eq!(third["column"], Value::Null);
}

#[test]
fn a_merge_that_is_broken_says_so() {
    let bed = branches("");
    bed.git(&["checkout", "-q", "-b", "without", "main"]);
    bed.edit("finishes/white.yaml", "  - material: clear\n    dry_film: 30 um\n", "");
    fs::remove_file(bed.top().join("materials/clear.yaml")).unwrap();
    bed.commit_all("without");
    bed.git(&["checkout", "-q", "-b", "uses", "main"]);
    bed.write("finishes/gloss.yaml", "coats:\n  - {material: clear, dry_film: 40 um}\n");
    bed.edit("panels/trial.yaml", "recipe: skin", "recipe: skin, finish: gloss");
    bed.commit_all("uses");
    let run = bed.bondline(&["impact", "--merge", "without", "uses"]);
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.flat().contains("gloss") && run.flat().contains("unknown-reference"), "{run:?}");
    let none = bed.bondline(&["impact", "--merge", "without", "nowhere"]);
    assert!(none.code == Some(2) && none.flat().contains("no revision `nowhere`"), "{none:?}");
}

#[test]
fn more_than_four_branches_are_joined_at_once() {
    let bed = branches("");
    branch(&bed, "area", "panels/hatch.yaml", "area: 1 m2", "area: 2 m2");
    branch(&bed, "trial", "panels/trial.yaml", "area: 0.5 m2", "area: 0.6 m2");
    branch(&bed, "growth", "ledger.yaml", "currency: EUR", "currency: EUR\ngrowth: {estimated: 10 %}");
    let found = bed.document(&["compare", "primer", "clear", "area", "trial", "growth"]);
    let [whole] = found["together"].as_array().unwrap().as_slice() else { panic!("{found}") };
    assert_eq!(whole["of"].as_array().unwrap().len(), 5);
    // The film lapses adhesion together, and the larger hatch makes the film weigh more than the sum.
    assert!(
        duties(&whole["together_only"]).contains(&("adhesion".into(), "painted/skin+white".into())),
        "{whole}"
    );
    let (kg, sum) =
        (whole["column"]["mass"]["delta_kg"].as_f64().unwrap(), whole["sum_kg"].as_f64().unwrap());
    // 14.4 g more of paint on the square metre that is new, by hand.
    assert!((kg - sum - 0.0144).abs() < 1e-9, "{kg} {sum}");
    let based = bed.document(&["compare", "primer", "clear", "--base", "area"]);
    assert!(based["base"].as_str().unwrap().starts_with("area"), "{based}");
}
