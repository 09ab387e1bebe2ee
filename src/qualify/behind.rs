//! The records that a subject or a panel is made of.

use super::coverage::bounds;
use super::verdict::Duty;
use crate::article::{ArticleError, Face, Subject, Uses, expand, skin, zones_of};
use crate::ledger::{Entry, Ledger};
use crate::record::{Address, Bounds, Panel, RecordKind};
use std::collections::BTreeSet;

/// Returns the records that a subject is made of; a missing one is named all the same.
///
/// # Errors
/// [`ArticleError::Missing`] where a recipe names a material that can't be had.
pub fn behind(ledger: &Ledger, subject: &Subject) -> Result<BTreeSet<Address>, ArticleError> {
    let mut records = BTreeSet::new();
    let mut add = |kind: RecordKind, id: &str| records.insert(Address::new(kind, id));
    match subject {
        Subject::Lamina { material, resin, process } => {
            add(RecordKind::Material, material);
            if let Some(resin) = resin {
                add(RecordKind::Material, resin);
            }
            add(RecordKind::Process, process);
        }
        Subject::Laminate(recipe) => behind_recipe(ledger, recipe, &mut records)?,
        Subject::Painted(recipe, finish) => {
            behind_recipe(ledger, recipe, &mut records)?;
            if let Some(finish) = finish {
                behind_finish(ledger, finish, &mut records);
            }
        }
        Subject::Bond { adhesive, process, faces } => {
            add(RecordKind::Material, adhesive);
            add(RecordKind::Process, process);
            for face in &**faces {
                match face {
                    Face::Laminate(recipe) => behind_recipe(ledger, recipe, &mut records)?,
                    Face::Sheet(material) => {
                        records.insert(Address::new(RecordKind::Material, material));
                    }
                }
            }
        }
        Subject::Sheet(material, _) => {
            add(RecordKind::Material, material);
        }
        Subject::Panel(panel) => match ledger.panels.get(panel) {
            Some(panel) => records = behind_panel(ledger, panel)?,
            None => {
                add(RecordKind::Panel, panel);
            }
        },
        Subject::Programme => {
            for panel in ledger.panels.values() {
                records.append(&mut behind_panel(ledger, panel)?);
            }
        }
    }
    Ok(records)
}

/// Returns the records that a panel is made of, the panel itself and its tools included.
///
/// # Errors
/// [`ArticleError::Missing`] where a recipe names a material that can't be had.
pub fn behind_panel(ledger: &Ledger, panel: &Entry<Panel>) -> Result<BTreeSet<Address>, ArticleError> {
    let mut records = BTreeSet::from([Address::new(RecordKind::Panel, &panel.id)]);
    for zone in &panel.value.zones {
        if let Some(recipe) = &zone.recipe {
            behind_recipe(ledger, recipe.id(), &mut records)?;
        }
        if let Some(finish) = &zone.finish {
            behind_finish(ledger, finish.id(), &mut records);
        }
        records.extend(zone.sheet.iter().map(|sheet| sheet.material.address()));
    }
    for joint in &panel.value.joints {
        records.insert(joint.adhesive.address());
        records.extend(joint.process.iter().map(|process| process.address()));
    }
    records.extend(panel.value.edges.iter().map(|edge| edge.part.address()));
    records.extend(panel.value.fittings.iter().map(|fitting| fitting.part.address()));
    // The mould, and what it was made from; each tool once, so that a circle ends.
    let mut next = panel.value.tool.as_ref();
    while let Some(tool) = next.filter(|tool| records.insert(tool.address())) {
        next = ledger.tools.get(tool.id()).and_then(|entry| entry.value.from.as_ref());
    }
    Ok(records)
}

fn behind_recipe(ledger: &Ledger, id: &str, records: &mut BTreeSet<Address>) -> Result<(), ArticleError> {
    records.insert(Address::new(RecordKind::Recipe, id));
    let Some(recipe) = ledger.recipes.get(id) else { return Ok(()) };
    records.insert(recipe.value.process.address());
    records.extend(recipe.value.resin.iter().map(|resin| resin.material.address()));
    for layer in expand(ledger, recipe)? {
        records.insert(Address::new(RecordKind::Material, &layer.material.id));
    }
    Ok(())
}

fn behind_finish(ledger: &Ledger, id: &str, records: &mut BTreeSet<Address>) {
    records.insert(Address::new(RecordKind::Finish, id));
    let Some(finish) = ledger.finishes.get(id) else { return };
    records.extend(finish.value.process.iter().map(|process| process.address()));
    records.extend(finish.value.coats.iter().map(|coat| coat.material.address()));
}

/// Returns whether a duty has to bound the heat of the sun on a finish: its evidence was tested hot, or is held
/// against the skin on the ramp, and a zone that uses the subject wears the finish in the sun. The finish need be
/// no part of the subject, as on a lamina.
pub fn is_heated_by(ledger: &Ledger, uses: &Uses, duty: &Duty, finish: &str) -> bool {
    let Some(showing) = ledger.showings.get(&duty.showing) else { return false };
    if bounds(&showing.value) != Bounds::Hot && showing.value.accept.above_skin_by.is_none() {
        return false;
    }
    let Some(sites) = uses.get(&duty.subject) else { return false };
    duty.panels.keys().any(|id| {
        let Some((panel, sites)) = ledger.panels.get(id).zip(sites.get(id)) else { return false };
        zones_of(&panel.value, sites).iter().filter_map(|at| panel.value.zones.get(*at)).any(|zone| {
            let worn = zone.finish.as_ref().is_some_and(|own| own.id() == finish);
            worn && matches!(skin(ledger, panel, zone), Ok(Ok(_)))
        })
    })
}
