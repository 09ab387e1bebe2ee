//! Decisions that take hold of different places do the same together in either order.

use super::config;
use crate::support::{files, root};
use bondline::change::decide::overlay;
use bondline::change::impact::{Impact, impact_of};
use bondline::ledger::{Ledger, NoRecall};
use bondline::qualify::verdict::{Evaluation, evaluate, evaluate_beside};
use bondline::record::{Day, Decision};
use bondline::report::impact::json;
use bondline::source::Snapshot;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// Edits of the invented example, each of another attribute; the recipe's list is edited from both ends at once.
const EDITS: [&str; 12] = [
    "{set: material/cw-200-e1#resin.content, was: 39.5 % +/- 2 %, to: 36 % +/- 2 %}",
    "{set: finish/white#coats.4.dry_film, was: 45 um +/- 10 um, to: 49 um +/- 10 um}",
    "{set: finish/white#coats.2.dry_film, was: 25 um +/- 8 um, to: 29 um +/- 8 um}",
    "{remove: recipe/hatch-outer#layers.2, was: {material: mesh-73}}",
    "{insert: recipe/hatch-outer#layers, after: 4, entry: {material: cw-200-e1, angle: 0}}",
    "{set: recipe/hatch-outer#layers.6.thickness, was: 6 mm, to: 5 mm}",
    "{set: recipe/hatch-outer#layers.p4.angle, was: 45, to: 0}",
    "{remove: recipe/hatch-outer#layers.7, was: {material: film-150}}",
    "{set: panel/bow-hatch#zones.outer-field.finish, was: white, to: night-blue}",
    "{set: panel/hull-side#exposure.zone, was: outdoor, to: indoor}",
    "{set: ledger#climate.ambient, was: 43 degC, to: 45 degC}",
    "{add: material/mesh-99, record: {kind: mesh, designation: mesh-99, areal: 99 g/m2}}",
];

struct Base {
    snapshot: Snapshot,
    ledger: Ledger,
    before: Evaluation,
}

fn today() -> Day {
    Day::parse("2026-12-01").unwrap()
}

fn base() -> &'static Base {
    static BASE: OnceLock<Base> = OnceLock::new();
    BASE.get_or_init(|| {
        let top = root().join("example-project");
        let kept = files(&top).into_iter().filter(|file| !file.starts_with("history/"));
        let texts: BTreeMap<String, Vec<u8>> =
            kept.map(|file| (file.clone(), std::fs::read(top.join(&file)).unwrap())).collect();
        let snapshot = Snapshot::in_memory(texts);
        let ledger = Ledger::load(&snapshot, &NoRecall);
        let before = evaluate(&ledger, today()).unwrap();
        Base { snapshot, ledger, before }
    })
}

/// The decision that makes those of the edits whose bit is set.
fn decision(of: u16) -> Decision {
    let edits = EDITS.iter().enumerate().filter(|(at, _)| of >> at & 1 == 1);
    let list: String = edits.map(|(_, edit)| format!("  - {edit}\n")).collect();
    serde_yaml::from_str(&format!("title: x\nstatus: draft\nwhy: x\nchanges:\n{list}")).unwrap()
}

fn laid(decisions: &[&Decision]) -> BTreeMap<String, Option<Vec<u8>>> {
    overlay(&base().ledger, &base().snapshot, decisions).unwrap()
}

fn impact(decisions: &[&Decision]) -> Impact {
    let base = base();
    let head = Ledger::load(&base.snapshot.overlay(laid(decisions)), &NoRecall);
    let after = evaluate_beside(&head, today(), &base.before).unwrap();
    impact_of((&base.ledger, "base"), &base.before, (&head, "head"), &after).unwrap()
}

/// Two sets of edits with nothing in common, neither of them empty.
fn two() -> impl Strategy<Value = (u16, u16)> {
    let all = (1_u16 << EDITS.len()) - 1;
    (1..=all, any::<u16>()).prop_filter_map("one is empty", |(whole, split)| {
        let (one, two) = (whole & split, whole & !split);
        (one != 0 && two != 0).then_some((one, two))
    })
}

proptest! {
    #![proptest_config(config(128))]

    #[test]
    fn the_texts_do_not_depend_on_the_order((one, two) in two()) {
        let (first, second) = (decision(one), decision(two));
        let together = laid(&[&first, &second]);
        prop_assert_eq!(&together, &laid(&[&second, &first]));
        // Nor on how the edits are shared out.
        prop_assert_eq!(&together, &laid(&[&decision(one | two)]));
    }
}

proptest! {
    #![proptest_config(config(4))]

    #[test]
    fn the_joint_impact_does_not_depend_on_the_order((one, two) in two()) {
        let (first, second) = (decision(one), decision(two));
        prop_assert_eq!(json(&impact(&[&first, &second])), json(&impact(&[&second, &first])));
    }
}

#[test]
fn a_decision_that_goes_on_from_another_keeps_its_order() {
    let blue: Decision = decision(1 << 8);
    let on: Decision = serde_yaml::from_str(
        "title: x\nstatus: draft\nwhy: x\nchanges:\n  - {set: panel/bow-hatch#zones.outer-field.finish, was: night-blue, to: sand}\n",
    )
    .unwrap();
    let texts = laid(&[&blue, &on]);
    let panel = String::from_utf8(texts["panels/bow-hatch.yaml"].clone().unwrap()).unwrap();
    assert!(panel.contains("finish: sand") && !panel.contains("finish: night-blue"));
    assert!(overlay(&base().ledger, &base().snapshot, &[&on, &blue]).is_err());
    // The same edit in two decisions is made once.
    assert_eq!(laid(&[&blue, &blue]), laid(&[&blue]));
    // What one adds another may go on from.
    let uses: Decision = serde_yaml::from_str(
        "title: x\nstatus: draft\nwhy: x\nchanges:\n  - {set: material/mesh-99#areal, was: 99 g/m2, to: 95 g/m2}\n",
    )
    .unwrap();
    let texts = laid(&[&decision(1 << 11), &uses]);
    assert!(String::from_utf8(texts["materials/mesh-99.yaml"].clone().unwrap()).unwrap().contains("95 g/m2"));
}
