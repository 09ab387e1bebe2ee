//! What an answer must never say: laws of studies beyond small spaces, against brute force and against defects that
//! were found.
//!
//! Everything here is invented.

use super::space::Space;
use super::tests::*;
use super::weigh::Weights;
use super::*;

/// A second recipe for the hatch that no panel has, with a film of its own.
const ALT: [(&str, &str); 2] = [
    ("materials/thin.yaml", "kind: adhesive\nareal: 300 g/m2\nwet_tg: 120 degC\n"),
    (
        "recipes/alt.yaml",
        "class: structural\nprocess: oven\nlayers:\n  - {material: ply, angle: 45}\n  - {material: ply, angle: 0}\n  - {material: thin}\n  - {material: foam, thickness: 5 mm}\n  - {material: thin}\n  - {material: ply, angle: 0}\n  - {material: ply, angle: 45}\n",
    ),
];
const SWAP: &str = "{name: swap, attribute: panel/hatch#zones.outer.recipe, among: [alt]}";
const THIN: &str = "{name: thin, attribute: material/thin#areal, among: [150 g/m2]}";
const ALT_CORE: &str = "{name: alt core, attribute: recipe/alt#layers.4.thickness, among: [3 mm]}";
const ENTRY: &str =
    "{name: entry, attribute: recipe/skin#layers.4, among: [{material: thin}, {material: film}]}";

#[test]
fn what_lies_behind_a_record_that_may_come_in_is_weighed_with_it() {
    let bed = Bed::with(&ALT);
    for vary in [&[SWAP, THIN, CORE][..], &[SWAP, THIN, ALT_CORE], &[ENTRY, THIN, CORE]] {
        let text = study(vary, "");
        as_by_brute_force(&bed, &text);
        let space = Space::of(&bed.ledger, &entry(&text).value).unwrap();
        let weights = Weights::of(&bed.room(), &space).unwrap();
        for choice in all_choices(&space) {
            let Some(ranks) = weights.ranks(&choice) else { continue };
            let head = bed.room().load(&space, &choice).unwrap();
            let whole = crate::article::weigh::programme_mass(&head).unwrap() - weights.base_kg;
            assert!((whole - weights.delta(&ranks)).abs() < 1e-9, "{choice:?}");
        }
    }
}

#[test]
fn a_sum_that_is_not_what_a_candidate_weighs_proves_nothing() {
    let bed = Bed::with(&[]);
    let study = entry(&study(&[CORE, CLEAR, SOLID], ""));
    let space = Space::of(&bed.ledger, &study.value).unwrap();
    let mut weights = Weights::of(&bed.room(), &space).unwrap();
    let options = StudyOptions { seed: 1, stop: &|| None, progress: &|_| {} };
    let sound = search::search(&bed.room(), &study, (&space, &weights), &options).unwrap();
    assert_eq!((sound.ended, sound.misweighed.is_some()), (Ended::Whole, false));
    // As if a variation had been put into the wrong block: the lightest of one is reckoned 5 g too heavy.
    weights.blocks[0].combinations[0].delta += 5e-3;
    let found = search::search(&bed.room(), &study, (&space, &weights), &options).unwrap();
    assert_eq!(found.ended, Ended::Masses);
    assert!(found.misweighed.is_some() && !found.rows.is_empty());
    assert!(found.rows.iter().all(|row| !row.proven && row.gap == f64::INFINITY));
    let answer = crate::report::study::json(&found, None);
    assert_eq!((&answer["whole"], &answer["ended_by"]), (&false.into(), &"masses".into()));
    let said = answer["answer"].as_str().unwrap();
    assert!(said.contains("nothing is known of what was not judged") && !said.contains("Exact"), "{said}");
}
