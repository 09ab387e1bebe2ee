//! What an answer must never say: laws of studies beyond small spaces, against brute force and against defects that
//! were found.
//!
//! Everything here is invented.

use super::space::Space;
use super::tests::*;
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
        let weights = weighed(&bed, &space);
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
    let mut weights = weighed(&bed, &space);
    let options = StudyOptions { seed: 1, stop: &|| None, progress: &|_| {} };
    let sound = search::search(&bed.room(), &study, (&space, &weights), &options, u64::MAX).unwrap();
    assert_eq!((sound.ended, sound.misweighed.is_some()), (Ended::Whole, false));
    // As if a variation had been put into the wrong block: the lightest of one is reckoned 5 g too heavy.
    weights.blocks[0].combinations[0].delta += 5e-3;
    let found = search::search(&bed.room(), &study, (&space, &weights), &options, u64::MAX).unwrap();
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
    other.tests = vec![("another".to_string(), 3, 1)];
    assert_eq!(rank::best([&unknown, &other].into_iter()).len(), 2);
    assert_eq!(rank::best([&unknown, &unknown.clone()].into_iter()).len(), 1);
    // The very same tests cost the same, whatever that is.
    let heavier = row(-1.3, 11.3, None, 5800.0);
    assert!(unknown.dominates(&heavier) && !other.dominates(&heavier));
    // What costs no more than the known part of another costs no more than it.
    let sure = row(-1.386, 11.3, Some(5800.0), 5800.0);
    assert!(sure.dominates(&unknown) && !unknown.dominates(&sure));
    assert_eq!(rank::best([&unknown, &sure].into_iter()), [&sure]);
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(20_000))]
    #[test]
    fn what_beats_another_beats_what_that_beats(
        all in proptest::collection::vec((0..3_i32, 0..3_i32, 0..3_i32, proptest::bool::ANY, 0..2_u32), 3)
    ) {
        let rows: Vec<Row> = all
            .iter()
            .map(|(mass, weeks, cost, known, tests)| {
                let cost = f64::from(*cost) * 100.0;
                let mut own = row(-f64::from(*mass), f64::from(*weeks), known.then_some(cost), cost);
                own.tests = vec![("one".to_string(), *tests, 1)];
                own
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

/// A duty on the hatch that nobody has shown.
const UNSHOWN: (&str, &str) = (
    "showings/static.yaml",
    "kind: static-strength\napplies_to: {group: closures}\naccept: {statement: true}\nplan: {specimens: 1, weeks: 5}\n",
);

/// What the skin is asked as it stands, asked of nothing: then all of what is asked of it is shown.
const ASKED_OF_NOTHING: [(&str, &str); 3] = [
    (
        "showings/core-shear.yaml",
        "kind: core-shear\napplies_to: {group: nothing}\naccept: {mean_at_least: 0.5 MPa}\nplan: {specimens: 5, weeks: 4}\n",
    ),
    (
        "showings/zap.yaml",
        "kind: lightning\napplies_to: {group: nothing}\naccept: {statement: true}\nplan: {specimens: 1, weeks: 9}\n",
    ),
    (
        "showings/adhesion.yaml",
        "kind: paint-adhesion\napplies_to: {group: nothing}\naccept: {rating_at_least: 4}\nplan: {specimens: 3, weeks: 2}\n",
    ),
];

#[test]
fn free_is_only_what_is_proved_on_all_that_it_changes() {
    let sound = Bed::with(&ASKED_OF_NOTHING);
    let text = study(&[CORE], "");
    let found = sound.run(&text, 1);
    let free = |found: &Found| found.rows.iter().filter(|row| row.row.is_free()).count();
    let open = |found: &Found| {
        found
            .rows
            .iter()
            .filter(|row| row.row.asks_nothing() && !row.row.is_free())
            .cloned()
            .collect::<Vec<_>>()
    };
    assert!(free(&found) > 0 && open(&found).is_empty(), "{:?}", found.rows);
    let [shear, zap, adhesion] = ASKED_OF_NOTHING;
    let bed = Bed::with(&[shear, zap, adhesion, UNSHOWN]);
    let key = ("static".to_string(), crate::article::Subject::Panel("hatch".to_string()));
    assert!(bed.evaluation().duties.contains_key(&key), "{:?}", bed.evaluation().duties.keys());
    let found = bed.run(&text, 1);
    assert_eq!(free(&found), 0);
    let rows = open(&found);
    assert!(!rows.is_empty());
    for own in &rows {
        assert!(own.row.open.iter().any(|(open, _)| *open == key), "{:?}", own.row.open);
        let draft = draft::draft("s", None, own, Day::parse("2026-06-01").unwrap());
        let why = draft.why.unwrap();
        assert!(why.contains("not met") && !why.contains("for no test"), "{why}");
    }
    let answer = crate::report::study::json(&found, None)["answer"].as_str().unwrap().to_string();
    assert!(answer.contains("no more than is open already"), "{answer}");
    assert!(!answer.contains("nothing has to be proved") && !answer.contains("no test at all"), "{answer}");
    // What a study leaves alone may be as open as it likes.
    let found = bed.run(&study(&[SOLID], ""), 1);
    assert!(found.rows.iter().all(|own| own.row.open.iter().all(|(open, _)| *open != key)));
}

#[test]
fn the_lightest_free_row_is_shown_beside_a_lighter_one_that_proves_nothing() {
    let row = |kg: f64, open: bool| {
        let mut own = row(kg, 0.0, Some(0.0), 0.0);
        let key = ("s".to_string(), crate::article::Subject::Programme);
        own.open = if open { vec![(key, crate::qualify::verdict::Verdict::Open)] } else { Vec::new() };
        own
    };
    let rows = [row(-0.03, true), row(-0.02, false), row(-0.01, false)];
    let best = rank::best(rows.iter());
    assert_eq!(best, [&rows[0]]);
    assert_eq!(rank::lightest_free(rows.iter(), &best), Some(&rows[1]));
    assert_eq!(rank::lightest_free(rows.iter(), &[&rows[1]]), None);
}

fn answer_of(found: &Found) -> String {
    crate::report::study::json(found, None)["answer"].as_str().unwrap().to_string()
}

#[test]
fn nothing_is_said_of_what_was_not_looked_at() {
    let bed = Bed::with(&[]);
    let nothing = "Nothing is to be had for nothing";
    // What is whole and lost nothing may say so; this one needs a test for whatever gets lighter.
    let found = bed.run(&study(&["{name: mesh, attribute: recipe/skin#layers.1, drop: true}"], ""), 1);
    assert!(found.rows.iter().all(|row| !row.row.asks_nothing()) && !found.rows.is_empty());
    assert!(answer_of(&found).contains(nothing), "{}", answer_of(&found));
    // Stopped at once: nothing was looked at.
    let stop = || Some(Ended::Seconds);
    let options = StudyOptions { seed: 1, stop: &stop, progress: &|_| {} };
    let found = run(&bed.room(), &entry(&study(&[CORE, CLEAR], "")), &options).unwrap();
    assert!(!answer_of(&found).contains(nothing), "{}", answer_of(&found));
    // All thrown out by margins.
    let found = bed.run(
        &study(
            &["{name: core, attribute: recipe/skin#layers.5.thickness, among: [1 mm]}"],
            "keep: {margins: 50}\n",
        ),
        1,
    );
    assert!(found.rows.is_empty() && !found.thrown.is_empty(), "{:?}", found.thrown);
    assert!(!answer_of(&found).contains(nothing), "{}", answer_of(&found));
}

#[test]
fn the_quick_look_at_margins_leaves_panels_alone_that_vary_themselves() {
    let bed = Bed::with(&ALT);
    let factor =
        "{name: factor, attribute: [panel/hatch#loads.1.factor, panel/hatch#loads.2.factor], among: [1.0]}";
    let pull = "{name: pull, attribute: panel/hatch#loads.1.N, among: [[30 N/mm, 10 N/mm, 5 N/mm]]}";
    for vary in [
        &[factor, P1, P3, ANGLE][..],
        &[pull, P1, P3, ANGLE],
        // With another recipe the loads of the zone are no longer borne by the skin.
        &[SWAP, P3, ANGLE],
    ] {
        for margin in ["0.3", "0.6", "0.9", "1.2"] {
            let text = study(vary, &format!("keep: {{margins: {margin}}}\n"));
            let (refused, kept, any) = looks(&bed, &text);
            assert!(!any && refused == 0 && kept > 0, "{text}");
            if margin == "0.6" {
                as_by_brute_force(&bed, &text);
            }
        }
    }
}

#[test]
fn weighing_many_combinations_hears_a_stop_and_says_how_far_it_is() {
    use std::sync::atomic::{AtomicUsize, Ordering};
    let bed = Bed::with(&[]);
    let many =
        "{name: foam, attribute: recipe/infused#layers.3.thickness, from: 1 mm, to: 20 mm, step: 0.1 mm}";
    let more = "{name: resin, attribute: recipe/infused#resin.content, from: 40 %, to: 49 %, step: 0.1 %}";
    let (asked, said) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let stop = || (asked.fetch_add(1, Ordering::Relaxed) > 40).then_some(Ended::Seconds);
    let progress = |own: &Progress| {
        said.fetch_add(usize::from(own.weighed.is_some()), Ordering::Relaxed);
    };
    let options = StudyOptions { seed: 1, stop: &stop, progress: &progress };
    let found = run(&bed.room(), &entry(&study(&[many, more], "")), &options).unwrap();
    assert_eq!((found.ended, found.judged, found.rows.len()), (Ended::Seconds, 0, 0));
    assert_eq!(found.candidates, 191 * 91);
    assert!(found.bound.is_some_and(|bound| bound == f64::NEG_INFINITY));
    assert!(answer_of(&found).contains("while combinations were being weighed"), "{}", answer_of(&found));
    assert!(said.load(Ordering::Relaxed) > 0);
}

#[test]
fn no_more_are_judged_than_may_be_from_the_first() {
    let bed = Bed::with(&[]);
    let vary = [CORE, CLEAR, P1, P3, MESH, RESIN];
    for most in [1, 3, 7, 20] {
        let text = study(&vary, &format!("limits: {{variations: {most}}}\n"));
        let found = bed.run(&text, 1);
        assert!(found.judged <= most, "{} of {most}", found.judged);
        assert_eq!(found.ended, Ended::Limit);
        assert!(found.rows.iter().all(|row| !row.proven || row.gap <= 0.0));
    }
}

#[test]
fn a_row_says_what_an_aircraft_costs_less_to_make() {
    let ply = (
        "materials/ply.yaml",
        "kind: prepreg\nfibre: {name: hs-1, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 37 %}\nform: twill\nlamina: {E1: 58 GPa, E2: 56 GPa, G12: 4 GPa, nu12: 0.05}\nstrength: {Xt: 550 MPa, Xc: 400 MPa, Yt: 530 MPa, Yc: 390 MPa, S: 70 MPa}\nwet_tg: 130 degC\nprice: 40 EUR/m2\n",
    );
    let bed = Bed::with(&[ply]);
    let found = bed.run(&study(&[P3], ""), 1);
    let own = found.rows.iter().find(|own| own.row.choice == [1]).unwrap();
    let unit = own.row.unit_cost.as_ref().unwrap();
    // One ply of 1 m2 less on each of two hatches, with 3 % of overlap, at 40 EUR/m2; the rest stays without a price.
    assert!((unit.delta().unwrap() + 2.0 * 1.03 * 40.0).abs() < 1e-6, "{unit:?}");
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(24))]
    #[test]
    fn whatever_varies_is_answered_as_by_brute_force(
        drawn in proptest::collection::btree_set(0..16_usize, 1..4),
        keep in 0..5_usize,
        bare in proptest::bool::ANY,
    ) {
        const ALL: [&str; 16] = [
            CORE, P1, P3, ANGLE, MESH, CLEAR, WHITE, RESIN, SOLID, GLASS, INFUSED, LAPS, BLEED, SWAP, THIN, ENTRY,
        ];
        let keep = [
            "",
            "keep: {margins: 0.2}\n",
            "keep: {symmetric: true}\nlimits: {weeks: 8}\n",
            "keep: {margins: 0.4, temperature: true, budgets: true}\n",
            "limits: {cost: 5000 EUR}\n",
        ][keep];
        let vary: Vec<&str> = drawn.iter().map(|at| ALL[*at]).collect();
        let [thin, alt] = ALT;
        let bed = if bare { Bed::with(&[thin, alt, BARE]) } else { Bed::with(&ALT) };
        as_by_brute_force(&bed, &study(&vary, keep));
    }
}

const STRONGER: &str =
    "{name: stronger, attribute: [material/ply#strength.Xc, material/ply#strength.Yc], among: [900 MPa]}";

/// A ply whose values come from showings, with data of two environments, and plates that nothing bends.
const SHOWN: [(&str, &str); 8] = [
    (
        "materials/ply.yaml",
        "kind: prepreg\nfibre: {name: hs-1, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 37 %}\nform: twill\nlamina: {E1: {from: modulus}, E2: 56 GPa, G12: 4 GPa, nu12: 0.05}\nstrength: {Xt: {from: [tension, tension-hot]}, Xc: 400 MPa, Yt: 530 MPa, Yc: 390 MPa, S: 70 MPa}\nwet_tg: 130 degC\n",
    ),
    (
        "showings/tension-hot.yaml",
        "kind: lamina-strength-fibre\naccept: {mean_at_least: 400 MPa}\nenvironment: {name: ETW, temperature: 80 degC}\nplan: {specimens: 6, weeks: 3}\n",
    ),
    (
        "evidence/e-1.yaml",
        "showing: tension\nsubject: {lamina: [ply, oven]}\nkind: test\nstate: done\ndata: data/t.csv\n",
    ),
    (
        "evidence/e-2.yaml",
        "showing: modulus\nsubject: {lamina: [ply, oven]}\nkind: test\nstate: done\ndata: data/m.csv\n",
    ),
    (
        "evidence/e-6.yaml",
        "showing: tension-hot\nsubject: {lamina: [ply, oven]}\nkind: test\nstate: done\ndata: data/h.csv\n",
    ),
    (
        "evidence/data/t.csv",
        "batch,panel,specimen,value [MPa]\nL1,L1-1,L1-1-1,576.1\nL1,L1-1,L1-1-2,590.0\nL1,L1-1,L1-1-3,563.8\nL1,L1-2,L1-2-1,586.9\nL1,L1-2,L1-2-2,571.9\nL1,L1-2,L1-2-3,571.9\nL2,L2-1,L2-1-1,597.8\nL2,L2-1,L2-1-2,576.9\nL2,L2-1,L2-1-3,574.5\nL2,L2-2,L2-2-1,583.8\nL2,L2-2,L2-2-2,588.5\nL2,L2-2,L2-2-3,574.6\nL3,L3-1,L3-1-1,582.1\nL3,L3-1,L3-1-2,563.3\nL3,L3-1,L3-1-3,570.6\nL3,L3-2,L3-2-1,569.7\nL3,L3-2,L3-2-2,559.0\nL3,L3-2,L3-2-3,556.9\n",
    ),
    (
        "evidence/data/m.csv",
        "batch,panel,specimen,value [GPa]\nL1,L1-1,L1-1-1,57.0\nL1,L1-1,L1-1-2,57.9\nL1,L1-1,L1-1-3,57.9\nL1,L1-2,L1-2-1,57.8\nL1,L1-2,L1-2-2,58.0\nL1,L1-2,L1-2-3,57.2\nL2,L2-1,L2-1-1,58.0\nL2,L2-1,L2-1-2,58.1\nL2,L2-1,L2-1-3,58.5\nL2,L2-2,L2-2-1,57.5\nL2,L2-2,L2-2-2,57.8\nL2,L2-2,L2-2-3,56.8\nL3,L3-1,L3-1-1,57.7\nL3,L3-1,L3-1-2,56.7\nL3,L3-1,L3-1-3,57.1\nL3,L3-2,L3-2-1,58.7\nL3,L3-2,L3-2-2,56.7\nL3,L3-2,L3-2-3,58.5\n",
    ),
    (
        "evidence/data/h.csv",
        "batch,panel,specimen,value [MPa]\nL1,L1-1,L1-1-1,478.6\nL1,L1-1,L1-1-2,471.6\nL1,L1-1,L1-1-3,480.1\nL1,L1-2,L1-2-1,480.8\nL1,L1-2,L1-2-2,486.5\nL1,L1-2,L1-2-3,472.5\nL2,L2-1,L2-1-1,468.5\nL2,L2-1,L2-1-2,468.3\nL2,L2-1,L2-1-3,464.1\nL2,L2-2,L2-2-1,474.5\nL2,L2-2,L2-2-2,466.4\nL2,L2-2,L2-2-3,486.8\nL3,L3-1,L3-1-1,454.4\nL3,L3-1,L3-1-2,463.0\nL3,L3-1,L3-1-3,464.5\nL3,L3-2,L3-2-1,452.0\nL3,L3-2,L3-2-2,495.9\nL3,L3-2,L3-2-3,448.5\n",
    ),
];

/// As [`looks`], of a study that has something to look at.
fn quick_looks(bed: &Bed, text: &str) -> (usize, usize) {
    let (refused, kept, any) = looks(bed, text);
    assert!(any, "nothing is judged by mechanics: {text}");
    (refused, kept)
}

/// Holds what the quick look refuses against the whole judgement; returns how many it refused, how many are kept, and
/// whether it has loads at all.
fn looks(bed: &Bed, text: &str) -> (usize, usize, bool) {
    let entry = entry(text);
    let keep = entry.value.keep.clone().unwrap();
    let space = Space::of(&bed.ledger, &entry.value).unwrap();
    let weights = weighed(bed, &space);
    let standing = weights.ranks(&space.as_it_is()).unwrap();
    let all = stacks::StackSpace::all(&bed.ledger, &weights, stacks::StackRules::of(&keep)).unwrap();
    let all: Vec<_> = all
        .into_iter()
        .map(|stack| {
            let loads = mechanics::loads_of(&bed.room(), &stack.recipe, (&keep, &space)).unwrap();
            stack.under(loads).no_worse_than(&standing)
        })
        .collect();
    let any = all.iter().any(stacks::StackSpace::has_loads);
    let (mut refused, mut kept) = (0, 0);
    for choice in all_choices(&space) {
        let Some(ranks) = weights.ranks(&choice) else { continue };
        let steady = all.iter().all(|stack| stack.asks_as(&ranks, &standing));
        let whole = by_impact(bed, &space, &entry.value, &choice);
        kept += usize::from(whole.is_some());
        for stack in &all {
            let found = stack.judge_changed(&weights, &[(&ranks, steady)], &mut stack.scratch());
            if let [Some(plain)] = found.as_slice() {
                assert_eq!(whole, None, "{choice:?}: {plain:?}\n{text}");
                refused += 1;
            }
        }
    }
    (refused, kept, any)
}

#[test]
fn plain_mechanics_throw_out_nothing_that_the_whole_judgement_keeps() {
    let typed = Bed::with(&[]);
    let (refused, kept) = quick_looks(&typed, &study(&[CORE, P1, P3, ANGLE], "keep: {margins: 0.35}\n"));
    assert!(refused > 0 && kept > 0, "{refused} refused, {kept} kept: nothing is told apart");
    // Values from showings are settled, the hot ones with them; without, nothing could be refused.
    let shown = Bed::with(&SHOWN);
    for margin in ["0.2", "0.4", "0.6"] {
        let text = study(&[CORE, P3, ANGLE, CLEAR], &format!("keep: {{margins: {margin}}}\n"));
        let (refused, kept) = quick_looks(&shown, &text);
        assert!(margin != "0.4" || refused > 0 && kept > 0, "{margin}: {refused} refused, {kept} kept");
        as_by_brute_force(&shown, &text);
        // Another ply, or another content of resin: the settled values hold for what keeps the ply alone.
        let text = study(&[P1, P3, ANGLE, RESIN], &format!("keep: {{margins: {margin}}}\n"));
        quick_looks(&shown, &text);
        as_by_brute_force(&shown, &text);
    }
    // A weak ply that gets stronger by what is typed of it: what its showings say is settled for the weak one.
    let [(file, ply), rest @ ..] = SHOWN;
    let weak = ply.replace("Xc: 400 MPa", "Xc: 110 MPa").replace("Yc: 390 MPa", "Yc: 105 MPa");
    let weak = Bed::with(&[&[(file, weak.as_str())][..], &rest].concat());
    let (refused, kept) = quick_looks(&weak, &study(&[STRONGER, P3, ANGLE], "keep: {margins: -0.2}\n"));
    assert!(refused > 0 && kept > 0, "{refused} refused, {kept} kept");
}

#[test]
fn settled_values_hold_where_the_same_plies_lie_beside_the_same_cores() {
    let comb = (
        "materials/comb.yaml",
        "kind: core\ndensity: 50 kg/m3\nform: honeycomb\nE: 70 MPa\nnu: 0.3\nshear_modulus: 20 MPa\nshear_strength: 0.9 MPa\n",
    );
    let bed = Bed::with(&[comb]);
    let core = "{name: core, attribute: recipe/skin#layers.5.material, among: [comb]}";
    let inner = "{name: inner, attribute: [recipe/skin#layers.p2.material, recipe/skin#layers.p3.material], among: [light]}";
    let space =
        Space::of(&bed.ledger, &entry(&study(&[CORE, P3, ANGLE, P1, core, inner], "")).value).unwrap();
    let weights = weighed(&bed, &space);
    let rules = stacks::StackRules::default();
    let [stack] = &stacks::StackSpace::all(&bed.ledger, &weights, rules).unwrap()[..] else { unreachable!() };
    let standing = weights.ranks(&space.as_it_is()).unwrap();
    let asks_as = |choice: [u16; 6]| stack.asks_as(&weights.ranks(&choice).unwrap(), &standing);
    // A thinner core, a ply less of several, a ply turned: the same is asked.
    for same in [[0; 6], [1, 0, 0, 0, 0, 0], [0, 1, 0, 0, 0, 0], [0, 0, 1, 0, 0, 0], [1, 1, 0, 0, 0, 0]] {
        assert!(asks_as(same), "{same:?}");
    }
    // Another ply beside it or instead of it, and a core of another form.
    for other in [[0, 0, 0, 1, 0, 0], [0, 0, 0, 0, 1, 0], [0, 0, 0, 1, 0, 1]] {
        assert!(!asks_as(other), "{other:?}");
    }
}
