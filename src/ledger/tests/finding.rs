use super::*;
use crate::ledger::{Files, Recall};
use crate::record::Address;
use std::sync::Arc;

#[test]
fn records_lie_at_any_depth() {
    let ledger = plus("materials/glass/e/gw-105.yaml", "kind: resin\ndesignation: x\ndensity: 1200 kg/m3\n");
    only(&ledger, &[]);
    assert_eq!(ledger.materials.get("gw-105").expect("found").file, "materials/glass/e/gw-105.yaml");
}

#[test]
fn other_files_are_no_records() {
    only(&plus("materials/README.md", "words"), &[]);
    only(&plus("docs/x.yaml", "words: 1"), &[]);
}

#[test]
fn bad_id() {
    let ledger = plus("tools/Hull Mould.yaml", "kind: mould\n");
    only(&ledger, &[("bad-id", Level::Error, "tools/Hull Mould.yaml")]);
    assert_eq!(help(&ledger), "rename it to `hull-mould.yaml`");
    assert_eq!(ledger.tools.len(), 2);
    assert_eq!(ledger.broken.len(), 1);
    only(&plus("tools/-a.yaml", "kind: mould\n"), &[("bad-id", Level::Error, "tools/-a.yaml")]);
}

#[test]
fn duplicate_id_names_both_files() {
    let ledger = plus("tools/old/hatch-mould.yaml", "kind: mould\n");
    only(
        &ledger,
        &[
            ("duplicate-id", Level::Error, "tools/hatch-mould.yaml"),
            ("duplicate-id", Level::Error, "tools/old/hatch-mould.yaml"),
        ],
    );
    assert!(ledger.faults.iter().all(|fault| {
        fault.message.contains("`tools/hatch-mould.yaml`")
            && fault.message.contains("`tools/old/hatch-mould.yaml`")
    }));
    assert!(!ledger.tools.contains_key("hatch-mould"));
    assert!(ledger.broken.contains(&Address::parse("tool/hatch-mould").expect("address")));
}

#[test]
fn duplicate_id_looks_past_case() {
    let ledger = plus("tools/HATCH-mould.yaml", "kind: mould\n");
    only(
        &ledger,
        &[
            ("bad-id", Level::Error, "tools/HATCH-mould.yaml"),
            ("duplicate-id", Level::Error, "tools/HATCH-mould.yaml"),
            ("duplicate-id", Level::Error, "tools/hatch-mould.yaml"),
        ],
    );
}

#[test]
fn same_id_in_two_kinds_is_fine() {
    only(&plus("recipes/white.yaml", "process: oven-120\nlayers: [{material: cw-200-e1, angle: 0}]\n"), &[]);
}

#[test]
fn yml_is_not_read() {
    let ledger = plus("tools/hull-mould.yml", "kind: mould\n");
    warning(&ledger, "not-read", "tools/hull-mould.yml");
    assert_eq!(help(&ledger), "rename it to `hull-mould.yaml`");
    warning(&plus("tools/hull-mould.YAML", "kind: mould\n"), "not-read", "tools/hull-mould.YAML");
}

#[test]
fn folder_name_near_a_kind() {
    for (name, kind) in [
        ("material", "materials"),
        ("process", "processes"),
        ("assembly", "assemblies"),
        ("study", "studies"),
        ("recipies", "recipes"),
        ("Panels", "panels"),
        ("EVIDENCE", "evidence"),
    ] {
        let ledger = plus(&format!("{name}/a.yaml"), "x: 1\n");
        warning(&ledger, "folder-name", name);
        assert_eq!(help(&ledger), format!("rename it to `{kind}`"));
    }
    for name in ["docs", "schema", "specs"] {
        only(&plus(&format!("{name}/a.yaml"), "x: 1\n"), &[]);
    }
    let mut files = sound();
    files.put_folder("weighing");
    warning(&load(&files), "folder-name", "weighing");
}

#[test]
fn links_and_other_oddities() {
    let mut files = sound();
    files.put_oddity("materials/x.yaml", "a symbolic link");
    files.put_oddity("tools/y.yaml", "unmerged");
    let ledger = load(&files);
    only(
        &ledger,
        &[("link-in-ledger", Level::Error, "materials/x.yaml"), ("not-a-file", Level::Error, "tools/y.yaml")],
    );
    assert!(help(&ledger).contains("links are not followed"));
    let both = ledger.faults.iter().find(|fault| fault.place.file == "tools/y.yaml").unwrap();
    assert!(both.message.contains("not merged yet"), "{both:?}");
    assert_eq!(both.help.as_deref(), Some("settle it in the file, then `git add tools/y.yaml`"));
}

#[test]
fn a_record_that_is_a_link_is_broken_and_not_dangling() {
    let mut files = sound();
    files.remove("tools/hatch-mould.yaml");
    files.put_oddity("tools/hatch-mould.yaml", "a symbolic link");
    let ledger = load(&files);
    error(&ledger, "link-in-ledger", "tools/hatch-mould.yaml");
    assert!(ledger.panels.contains_key("bow-hatch"));
}

#[test]
fn head_is_missing_or_broken() {
    let mut files = sound();
    files.remove("ledger.yaml");
    let ledger = load(&files);
    only(&ledger, &[("missing-head", Level::Error, "ledger.yaml")]);
    assert!(ledger.head.is_none() && ledger.broken.contains(&Address::ledger()));
    // Milestones can't be judged without the list, so nothing else is at fault.
    let ledger = with("ledger.yaml", "format: 1", "format: 1\nformt: 2");
    assert_eq!(ledger.faults.len(), 1);
    assert_eq!((ledger.faults[0].place.file.as_str(), ledger.faults[0].level), ("ledger.yaml", Level::Error));
    assert!(ledger.head.is_none() && ledger.broken.contains(&Address::ledger()));
}

#[track_caller]
fn head_error(from: &str, to: &str, rule: &'static str) -> Ledger {
    let ledger = with("ledger.yaml", from, to);
    only(&ledger, &[(rule, Level::Error, "ledger.yaml")]);
    assert!(ledger.head.is_none() && ledger.broken.contains(&Address::ledger()));
    ledger
}

#[test]
fn head_rules() {
    head_error("format: 1", "format: 2", "format-newer");
    // A later format may have keys that this program can't know.
    head_error("format: 1", "format: 7\nfuture: {a: 1}", "format-newer");
    head_error("format: 1", "format: 0", "format-unknown");
    head_error(
        "[first-article, first-flight]",
        "[first-article, first-flight, first-article]",
        "duplicate-milestone",
    );
    let ledger = head_error("reached: first-article", "reached: first-articel", "unknown-milestone");
    assert_eq!(help(&ledger), "did you mean `first-article`?");
    let ledger = head_error("over-budget: warn", "over-buget: warn", "unknown-policy");
    assert_eq!(help(&ledger), "did you mean `over-budget`?");
    head_error("41 kg", "0 kg", "out-of-range");
    head_error("43 degC", "4300 degC", "out-of-range");
    head_error("1120 W/m2", "-1120 W/m2", "out-of-range");
}

#[test]
fn a_broken_record_is_left_out_and_not_dangling() {
    let ledger = with("materials/cw-200-e1.yaml", "kind: prepreg", "kind: prepregg");
    assert_eq!(ledger.faults.len(), 1);
    assert_eq!(ledger.faults[0].place.file, "materials/cw-200-e1.yaml");
    assert!(ledger.broken.contains(&Address::parse("material/cw-200-e1").expect("address")));
    assert!(!ledger.materials.contains_key("cw-200-e1"));
    assert!(ledger.recipes.contains_key("hatch-outer") && ledger.evidence.contains_key("e-001"));
}

#[test]
fn faults_of_text_have_lines() {
    let ledger = with("tools/hatch-mould.yaml", "from: hatch-pattern", "form: hatch-pattern");
    assert_eq!(ledger.faults.len(), 1);
    assert_eq!(ledger.faults[0].place.line, Some(2));
}

#[test]
fn faults_are_sorted_whatever_the_order_of_finding() {
    let mut files = sound();
    files.put("tools/hatch-mould.yaml", "kind: mould\nfrom: gone\n");
    files.put("assemblies/bow.yaml", "children: []\n");
    files.put("evidence/data/e-001.csv", "batch,panel,specimen,value [MPa]\nb1,p1,s1,x\nb1,p1,,6\n");
    let found: Vec<(String, &str)> =
        load(&files).faults.iter().map(|fault| (fault.place.file.clone(), fault.rule)).collect();
    let expected = [
        ("assemblies/bow.yaml", "empty-list"),
        ("evidence/data/e-001.csv", "bad-data"),
        ("evidence/data/e-001.csv", "bad-data"),
        ("tools/hatch-mould.yaml", "unknown-reference"),
    ];
    assert_eq!(found, expected.map(|(file, rule)| (file.to_string(), rule)));
    let lines: Vec<usize> = load(&files)
        .faults
        .iter()
        .filter(|fault| fault.rule == "bad-data")
        .filter_map(|fault| fault.place.line)
        .collect();
    assert_eq!(lines, [2, 3]);
}

#[test]
fn a_second_load_reads_only_what_differs() {
    let recall = MemoryRecall::new();
    let mut files = sound();
    let first = Ledger::load(&files, &recall);
    let records = SOUND.len() - 2;
    let counts = recall.counts();
    assert_eq!((counts.parsed, counts.digested, counts.spared), (records, 2, 0));
    files.put("tools/hatch-mould.yaml", "kind: mould\n");
    let second = Ledger::load(&files, &recall);
    let counts = recall.counts();
    assert_eq!((counts.parsed, counts.digested, counts.spared), (records + 1, 2, records + 1));
    let same = |id: &str| std::sync::Arc::ptr_eq(&first.materials[id].value, &second.materials[id].value);
    assert!(first.materials.keys().all(|id| same(id)));
    assert_eq!(second.tools["hatch-mould"].value.from, None);
    assert_eq!(first.data, second.data);
}

#[test]
fn what_is_remembered_gives_the_same_faults() {
    let recall = MemoryRecall::new();
    let mut files = sound();
    files.put(
        "recipes/fairing.yaml",
        changed("recipes/fairing.yaml", "angle: 0", "angle: 0, thickness: 0 mm"),
    );
    files.put("tools/hatch-mould.yaml", "kind: mold\n");
    files.put("evidence/data/e-001.csv", "batch,panel,specimen,value\nb1,p1,s1,x\n");
    let first = Ledger::load(&files, &recall);
    let second = Ledger::load(&files, &recall);
    assert_eq!(first.faults.len(), 4);
    assert_eq!(first.faults, second.faults);
    assert_eq!(first.broken, second.broken);
}

#[test]
fn names_of_devices_are_warned_of() {
    for (name, reserved) in
        [("con", true), ("nul", true), ("com1", true), ("lpt9", true), ("com0", false), ("console", false)]
    {
        let mut files = sound();
        files.put(&format!("processes/{name}.yaml"), "method: bond\n");
        let ledger = load(&files);
        let found =
            ledger.faults.iter().any(|fault| fault.rule == "reserved-name" && fault.level == Level::Warning);
        assert_eq!(found, reserved, "{name}: {:?}", ledger.faults);
        assert!(ledger.processes.contains_key(name));
    }
}

#[test]
fn evidence_stands_and_others_stand() {
    for (folder, words) in [("evidense", "evidence stands in"), ("panel", "panels stand in")] {
        let mut files = sound();
        files.put_folder(folder);
        let ledger = load(&files);
        assert!(ledger.faults.iter().any(|fault| fault.message.contains(words)), "{:?}", ledger.faults);
    }
}

#[test]
fn a_file_in_place_of_a_folder_is_warned_of() {
    let mut files = sound();
    files.put("studies", "nothing\n");
    warning(&load(&files), "folder-name", "studies");
}

/// Files that were written anew after they were listed: they are still called by the bytes that they had, or by none.
struct Rewritten<'f> {
    files: &'f MemoryFiles,
    listed: Option<&'static str>,
}

impl Files for Rewritten<'_> {
    fn paths(&self) -> Vec<String> {
        self.files.paths()
    }

    fn oddities(&self) -> Vec<(String, String)> {
        Vec::new()
    }

    fn folders(&self) -> Vec<String> {
        self.files.folders()
    }

    fn read(&self, path: &str, limit: u64) -> Result<Arc<[u8]>, String> {
        self.files.read(path, limit)
    }

    fn blob_id(&self, _path: &str) -> Option<String> {
        self.listed.map(str::to_string)
    }

    fn blob_of(&self, bytes: &[u8]) -> Option<String> {
        crate::source::blob_of(bytes)
    }
}

#[test]
fn what_was_read_is_kept_by_the_bytes_that_were_read() {
    let mut files = MemoryFiles::new();
    files.put("ledger.yaml", b"format: 1\nprogramme: Test (invented)\n");
    files.put("materials/latch-a.yaml", b"kind: part\ndesignation: latch a\nmass: 120 g\n");
    let recall = MemoryRecall::new();
    let listed = "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa";
    let ledger = Ledger::load(&Rewritten { files: &files, listed: Some(listed) }, &recall);
    assert!(ledger.faults.is_empty(), "{:?}", ledger.faults);
    let own = crate::source::blob_of(b"kind: part\ndesignation: latch a\nmass: 120 g\n").unwrap();
    assert!(recall.find(listed, "material").is_none() && recall.find(listed, "ledger").is_none());
    assert!(recall.find(&own, "material").is_some());
}

#[test]
fn what_nobody_knows_by_name_is_read_once_all_the_same() {
    let files = sound();
    let recall = MemoryRecall::new();
    let load = || Ledger::load(&Rewritten { files: &files, listed: None }, &recall);
    let (first, parsed) = (load(), recall.counts().parsed);
    assert_eq!(recall.counts().digested, 2);
    let second = load();
    assert_eq!((recall.counts().parsed, recall.counts().digested), (parsed, 2));
    assert!(first.data.iter().all(|(id, data)| Arc::ptr_eq(&data.rows, &second.data[id].rows)));
    // What a ledger holds is not forgotten, what none holds any more is.
    recall.forget_others();
    assert_eq!(load().data, first.data);
    assert_eq!(recall.counts().digested, 2);
    // Other bytes under the same path are another file.
    let mut other = files.clone();
    other.put("evidence/data/e-001.csv", "batch,panel,specimen,value [MPa]\nb1,p1,s1,7\n");
    let third = Ledger::load(&Rewritten { files: &other, listed: None }, &recall);
    assert_eq!(recall.counts().digested, 3);
    let changed = |id: &&String| third.data.get(*id).is_some_and(|data| data.rows != first.data[*id].rows);
    assert_eq!(first.data.keys().filter(changed).count(), 1);
    drop((first, second, third));
    recall.forget_others();
    load();
    assert_eq!(recall.counts().digested, 5);
}
