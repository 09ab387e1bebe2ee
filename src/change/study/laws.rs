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
/// Prices of nothing but the lightning test.
const BARE: (&str, &str) = (
    "ledger.yaml",
    "format: 1\nprogramme: Test (invented)\ncurrency: EUR\nmilestones: [first-flight]\nclimate: {ambient: 43 degC, irradiance: 1120 W/m2, sky: 25 degC, wind: 1 m/s, structural_wind: 2 m/s}\nbudgets: {closures: 9 kg}\n",
);

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

fn row(delta: f64, weeks: f64, cost: Option<f64>, known_cost: f64) -> Row {
    Row { delta, weeks, cost, known_cost, ..Row::as_it_is(vec![(-delta * 1e6) as u16], 1.0) }
}

#[test]
fn a_cost_that_is_not_known_neither_beats_nor_equals_another() {
    // The rows of the defect: the one without a price is lighter, and took the place of one that is cheaper.
    let (unknown, cheap) = (row(-1.386, 11.3, None, 5800.0), row(-1.314, 11.3, Some(12_640.0), 12_640.0));
    assert!(!unknown.dominates(&cheap) && !cheap.dominates(&unknown));
    assert_eq!(rank::best([&unknown, &cheap].into_iter()).len(), 2);
    // Equal in mass and weeks, and neither price known: other tests may be dearer.
    let mut other = row(-1.386, 11.3, None, 5800.0);
    other.specimens = 3;
    assert_eq!(rank::best([&unknown, &other].into_iter()).len(), 2);
    assert_eq!(rank::best([&unknown, &unknown.clone()].into_iter()).len(), 1);
    // What costs no more than the known part of another costs no more than it.
    let sure = row(-1.386, 11.3, Some(5800.0), 5800.0);
    assert!(sure.dominates(&unknown) && !unknown.dominates(&sure));
    assert_eq!(rank::best([&unknown, &sure].into_iter()), [&sure]);
}

proptest::proptest! {
    #[test]
    fn what_beats_another_beats_what_that_beats(
        all in proptest::collection::vec((0..3_i32, 0..3_i32, 0..3_i32, proptest::bool::ANY), 3)
    ) {
        let rows: Vec<Row> = all
            .iter()
            .map(|(mass, weeks, cost, known)| {
                let cost = f64::from(*cost) * 100.0;
                row(-f64::from(*mass), f64::from(*weeks), known.then_some(cost), cost)
            })
            .collect();
        let [one, two, three] = &rows[..] else { unreachable!() };
        proptest::prop_assert!(!one.dominates(one));
        proptest::prop_assert!(!(one.dominates(two) && two.dominates(one)));
        if one.dominates(two) && two.dominates(three) {
            proptest::prop_assert!(one.dominates(three), "{:?} {:?} {:?}", all[0], all[1], all[2]);
        }
    }
}

#[test]
fn a_study_without_prices_is_answered_as_by_brute_force() {
    let bed = Bed::with(&[BARE]);
    for text in [
        study(&[RESIN, SOLID, MESH, CORE], ""),
        study(&[CORE, P1, RESIN], "keep: {margins: 0.2}\n"),
        study(&[MESH, CLEAR, SOLID, CORE], "limits: {cost: 5000 EUR}\n"),
    ] {
        as_by_brute_force(&bed, &text);
    }
    let found = bed.run(&study(&[RESIN, SOLID, MESH, CORE], ""), 1);
    assert!(found.rows.iter().any(|row| row.row.cost.is_none()), "the test has no unknown cost");
}

#[test]
fn a_limit_of_cost_is_kept_only_where_that_is_shown() {
    let bed = Bed::with(&[BARE]);
    let found = bed.run(&study(&[RESIN], "limits: {cost: 6000 EUR}\n"), 1);
    assert!(found.rows.iter().all(|row| row.row.cost.is_some()), "{:?}", found.rows);
    let thrown = found.thrown.iter().find(|own| own.criterion == Criterion::Cost).unwrap();
    assert!(thrown.words.contains("ledger#rates.panel_layup"), "{}", thrown.words);
    // With prices the same is kept.
    let priced = Bed::with(&[]).run(&study(&[RESIN], "limits: {cost: 6000 EUR}\n"), 1);
    assert!(priced.rows.iter().any(|row| row.row.cost.is_some_and(|cost| cost > 0.0)));
}

#[test]
fn the_cheapest_row_is_one_whose_cost_is_known_where_there_is_one() {
    let bed = Bed::with(&[]);
    let mut found = bed.run(&study(&[RESIN], "goal: {save: 1 g}\n"), 1);
    let mut one = found.rows[0].clone();
    (one.reaches_goal, one.number) = (true, 1);
    (one.row.weeks, one.row.cost, one.row.known_cost) = (3.0, None, 0.0);
    let mut two = one.clone();
    (two.number, two.row.cost, two.row.known_cost) = (2, Some(5800.0), 5800.0);
    found.rows = vec![one, two];
    assert_eq!(found.cheapest().map(|row| row.number), Some(2));
}
