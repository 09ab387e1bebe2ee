//! How far a variation reaches: panels, and the subjects of duties.

use super::Room;
use super::space::Space;
use crate::article::{Face, Subject};
use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::record::{Address, RecordKind, Sourced};
use std::collections::{BTreeMap, BTreeSet};

/// Panels whose verdicts may stand in for a panel's own.
///
/// A design value from a showing is the panel's own verdict's where the showing is asked of the panel, else that
/// of the worst panel: then whatever reaches a panel with the same plies may count.
pub(super) fn kin(
    room: &Room<'_>,
    uses: &Uses,
    space: &Space,
    reach: &[BTreeSet<String>],
) -> BTreeMap<String, BTreeSet<String>> {
    let ledger = room.ledger;
    let mut asked: BTreeMap<&str, BTreeSet<&String>> = BTreeMap::new();
    for ((showing, _), duty) in &room.evaluation.duties {
        asked.entry(showing).or_default().extend(duty.panels.keys());
    }
    let materials = |panel: &String| -> BTreeSet<String> {
        let below = uses.reach(&Address::new(RecordKind::Panel, panel.clone()));
        let own = below.into_iter().map(|one| one.address);
        let own = own.filter(|one| one.kind() == RecordKind::Material).map(|one| one.id().to_string());
        let brought = space.brings.iter().zip(reach).filter(|(_, reach)| reach.contains(panel));
        let brought = brought.flat_map(|(brings, _)| brings);
        let brought =
            brought.filter(|one| one.kind() == RecordKind::Material).map(|one| one.id().to_string());
        own.chain(brought).collect()
    };
    let sources = |id: &String| -> Vec<&str> {
        let Some(material) = ledger.materials.get(id) else { return Vec::new() };
        let lamina = material.value.lamina.iter().flat_map(|own| [&own.e1, &own.e2, &own.g12]);
        let strength = material.value.strength.iter().flat_map(|own| own.figures());
        let all = lamina.chain(strength.filter_map(|(_, sourced)| sourced));
        let mut names = Vec::new();
        for sourced in all {
            if let Sourced::From(showings) = sourced {
                names.extend(showings.iter().map(|one| one.id()));
            }
        }
        names
    };
    let all: BTreeMap<&String, BTreeSet<String>> =
        ledger.panels.keys().map(|panel| (panel, materials(panel))).collect();
    let is_asked = |showing: &str, panel: &String| {
        let anybody = ledger.showings.get(showing).is_some_and(|own| own.value.applies_to.is_none());
        anybody || asked.get(showing).is_some_and(|panels| panels.contains(panel))
    };
    let plies = |own: &BTreeSet<String>| -> BTreeSet<String> {
        let ply = |id: &&String| ledger.materials.get(*id).is_some_and(|own| own.value.lamina.is_some());
        own.iter().filter(ply).cloned().collect()
    };
    all.iter()
        .map(|(panel, own)| {
            let alone = own.iter().flat_map(sources).all(|showing| is_asked(showing, panel));
            let mine = plies(own);
            let near = all
                .iter()
                .filter(|(other, theirs)| *other == panel || !alone && !mine.is_disjoint(&plies(theirs)));
            ((*panel).clone(), near.map(|(other, _)| (*other).clone()).collect())
        })
        .collect()
}

/// The panels that each variation reaches, itself or through what may come to stand somewhere.
pub(super) fn reach(ledger: &Ledger, uses: &Uses, space: &Space) -> Vec<BTreeSet<String>> {
    let everything = || ledger.panels.keys().cloned().collect::<BTreeSet<String>>();
    let mut all: Vec<BTreeSet<String>> = space
        .variations
        .iter()
        .map(|variation| {
            let mut own = BTreeSet::new();
            for place in &variation.places {
                match place.address.kind() {
                    RecordKind::Panel => {
                        own.insert(place.address.id().to_string());
                    }
                    RecordKind::Recipe
                    | RecordKind::Finish
                    | RecordKind::Material
                    | RecordKind::Process
                    | RecordKind::Tool => {
                        let above = uses.reached_from(&place.address).into_iter().map(|one| one.address);
                        let panels = above.filter(|one| one.kind() == RecordKind::Panel);
                        own.extend(panels.map(|one| one.id().to_string()));
                    }
                    _ => own.extend(everything()),
                }
            }
            own
        })
        .collect();
    // A record that varies and that another variation may bring in reaches as far as that one.
    let direct = all.clone();
    for (own, variation) in all.iter_mut().zip(&space.variations) {
        for (brings, panels) in space.brings.iter().zip(&direct) {
            if variation.places.iter().any(|place| brings.contains(&place.address)) {
                own.extend(panels.iter().cloned());
            }
        }
    }
    all
}

/// The records that each variation changes, and all that have them.
pub(super) fn above(uses: &Uses, space: &Space) -> Vec<BTreeSet<Address>> {
    let of = |address: &Address| uses.reached_from(address).into_iter().map(|one| one.address);
    space
        .variations
        .iter()
        .map(|variation| {
            let places = variation.places.iter().map(|place| &place.address);
            places.flat_map(|own| of(own).chain([own.clone()])).collect()
        })
        .collect()
}

/// Whether a subject is made of a record among some.
pub(super) fn is_made_of(subject: &Subject, records: &BTreeSet<Address>) -> bool {
    let has = |kind: RecordKind, id: &str| records.contains(&Address::new(kind, id));
    let material = |id: &str| has(RecordKind::Material, id);
    match subject {
        Subject::Lamina { material: ply, resin, process } => {
            material(ply) || resin.as_deref().is_some_and(material) || has(RecordKind::Process, process)
        }
        Subject::Laminate(recipe) => has(RecordKind::Recipe, recipe),
        Subject::Painted(recipe, finish) => {
            has(RecordKind::Recipe, recipe)
                || finish.as_deref().is_some_and(|finish| has(RecordKind::Finish, finish))
        }
        Subject::Bond { adhesive, process, faces } => {
            material(adhesive)
                || has(RecordKind::Process, process)
                || faces.iter().any(|face| match face {
                    Face::Laminate(recipe) => has(RecordKind::Recipe, recipe),
                    Face::Sheet(sheet) => material(sheet),
                })
        }
        Subject::Sheet(sheet, _) => material(sheet),
        Subject::Panel(panel) => has(RecordKind::Panel, panel),
        // All panels are of it.
        Subject::Programme => !records.is_empty(),
    }
}
