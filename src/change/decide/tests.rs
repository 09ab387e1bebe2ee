use super::*;
use crate::change::draft::bare;
use crate::ledger::MemoryRecall;

/// A recipe of three plies, and the changes laid over it: its layers, or why not.
fn laid(changes: &str) -> Result<String, DecideError> {
    let recipe = "class: structural\nprocess: oven\nlayers:\n  - {material: cw, angle: 0}\n  - {material: cw, angle: 0}\n  - {material: gw, angle: 0}\n";
    let files = [
        ("ledger.yaml", "format: 1\nprogramme: Test (invented)\n"),
        (
            "materials/cw.yaml",
            "kind: prepreg\nfibre: {name: a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 37 %}\n",
        ),
        (
            "materials/gw.yaml",
            "kind: prepreg\nfibre: {name: b, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 37 %}\n",
        ),
        ("processes/oven.yaml", "method: oven\n"),
        ("recipes/skin.yaml", recipe),
    ];
    let files = files.map(|(file, text)| (file.to_string(), text.as_bytes().to_vec()));
    let snapshot = Snapshot::in_memory(files.into());
    let ledger = Ledger::load(&snapshot, &MemoryRecall::new());
    assert!(ledger.broken.is_empty(), "{:?}", ledger.faults);
    let changes: Vec<Change> = serde_yaml::from_str(changes).unwrap();
    let texts = overlay(&ledger, &snapshot, &[&bare(changes)])?;
    let text = String::from_utf8(texts["recipes/skin.yaml"].clone().unwrap()).unwrap();
    Ok(text.lines().filter(|line| line.starts_with("  - ")).map(|line| line.replace("  - ", "")).collect())
}

const PLY: &str = "entry: {material: cw, angle: 45}";

#[test]
fn a_place_beyond_all_counting_is_refused_in_words() {
    for after in ["18446744073709551615", "9223372036854775808", "99"] {
        let two = format!(
            "- {{insert: recipe/skin#layers, after: {after}, {PLY}}}\n- {{remove: recipe/skin#layers.1, was: {{material: cw, angle: 0}}}}\n- {{insert: recipe/skin#layers, after: 0, {PLY}}}\n"
        );
        assert!(matches!(laid(&two), Err(DecideError::Edit { at: 1, .. })), "{after}");
    }
}

#[test]
fn an_insert_goes_between_the_entries_that_it_names_and_nowhere_else() {
    let insert = |between: &str| {
        laid(&format!("- {{insert: recipe/skin#layers, after: 2, between: {between}, {PLY}}}\n"))
    };
    let (cw, gw) = ("{material: cw, angle: 0}", "{material: gw, angle: 0}");
    let done = insert(&format!("[{cw}, {gw}]")).unwrap();
    assert_eq!(done, format!("{cw}{cw}{{material: cw, angle: 45}}{gw}"));
    let moved = insert(&format!("[{cw}, {cw}]")).unwrap_err().to_string();
    assert!(moved.contains("between {material: cw, angle: 0} and {material: gw, angle: 0}"), "{moved}");
    assert!(moved.ends_with("that gap is at layers, behind 1"), "{moved}");
    assert!(matches!(insert("[null, null]"), Err(DecideError::MovedOn { .. })));
    // It stands there already.
    let again =
        laid(&format!("- {{insert: recipe/skin#layers, after: 1, between: [{cw}, {gw}], entry: {cw}}}\n"));
    assert!(
        matches!(&again, Err(DecideError::Done { place, .. }) if place == "recipe/skin#layers.2"),
        "{again:?}"
    );
}

#[test]
fn where_a_value_moved_on_the_places_that_hold_the_old_one_are_named_and_not_taken() {
    let change = "- {set: recipe/skin#layers.2.material, was: gw, to: cw2}\n";
    let error = laid(change).unwrap_err().to_string();
    assert_eq!(
        error,
        "change 1: `recipe/skin#layers.2.material` is `cw` now, the decision was made for `gw`; that stands at layers.3.material"
    );
}

#[test]
fn a_quantity_that_is_written_otherwise_is_still_the_one_that_was_decided_on() {
    let like = |one: &str, two: &str| alike(&Value::String(one.into()), &Value::String(two.into()));
    assert!(like("6 mm", "6.0 mm") && like("6 mm", "0.6 cm") && like("39.5 %", "39.50 %"));
    assert!(like("200 g/m2 +/- 8 g/m2", "200 g/m2 +/- 8.0 g/m2"));
    assert!(
        !like("6 mm", "6.1 mm") && !like("6 mm", "6 mm +/- 1 mm") && !like("200 +/- 8 um", "200 +/- 4 % um")
    );
    assert!(!like("foam 6", "foam 6.0") && !like("cw-200", "cw-200.0"));
}
