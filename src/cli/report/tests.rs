use super::*;
use crate::ledger::{MemoryFiles, MemoryRecall};
use std::cell::Cell;

#[test]
fn no_two_changes_have_one_sheet() {
    assert_eq!(free_stem("HEAD", "", |_| false), "HEAD-to-work-tree");
    let first = free_stem("HEAD~2", "HEAD", |_| false);
    let second = free_stem("HEAD^2", "HEAD", |stem| stem == first);
    assert_eq!(first, "HEAD-2-to-HEAD");
    assert!(second.starts_with("HEAD-2-to-HEAD-") && second != first, "{second}");
}

#[test]
fn many_broken_recipes_are_left_out_in_one_round() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/base/small");
    let text = |file: &str| std::fs::read_to_string(root.join(file)).unwrap();
    let mut files = MemoryFiles::default();
    files.put("ledger.yaml", text("ledger.yaml"));
    for folder in ["materials", "processes"] {
        for file in std::fs::read_dir(root.join(folder)).unwrap() {
            let file = format!("{folder}/{}", file.unwrap().file_name().to_str().unwrap());
            files.put(&file, text(&file));
        }
    }
    let recipe = text("recipes/fairing.yaml");
    for at in 0..40 {
        // Every fourth can be read.
        let own = if at % 4 == 0 { recipe.clone() } else { recipe.replace("layers:", "layerz:") };
        files.put(&format!("recipes/r-{at:02}.yaml"), own);
        let zones = format!("class: non-structural\nzones: [{{name: all, area: 1 m2, recipe: r-{at:02}}}]\n");
        files.put(&format!("panels/p-{at:02}.yaml"), zones);
    }
    let ledger = Ledger::load(&files, &MemoryRecall::new());
    let day = Day::parse("2026-06-01").unwrap();
    let rounds = Cell::new(0);
    let judge = |ledger: &Ledger| {
        rounds.set(rounds.get() + 1);
        evaluate(ledger, day)
    };
    let (less, _, left_out) = judged_by(&ledger, day, judge).unwrap();
    assert_eq!(less.unwrap().panels.len() + left_out.len(), ledger.panels.len(), "{left_out:?}");
    assert_eq!(left_out.len(), 30, "{left_out:?}");
    assert!(
        left_out.iter().any(|line| line.contains("panel/p-01: `recipe/r-01` is needed by")),
        "{left_out:?}"
    );
    assert_eq!(rounds.get(), 2);
}
