//! How long coupons stay in the chamber.

use crate::article::{Face, LayerRole, Subject, expand};
use crate::fabrication::moisture::{Faces, time_to_fraction};
use crate::ledger::{Entry, Ledger};
use crate::record::{Material, MaterialKind, Showing};
use std::collections::BTreeMap;

/// Moisture diffusivity where the material gives none, m2/s; an assumption (CFRP at 70 degC, from memory).
const DIFFUSIVITY: f64 = 3e-13;
const WEEK: f64 = 7.0 * 24.0 * 3600.0;

/// Returns the weeks to condition the coupon of a showing's plan, by Fick through both faces; 0 without
/// conditioning.
pub(super) fn weeks(
    ledger: &Ledger,
    showing: &Showing,
    build: &Subject,
    assumptions: &mut Vec<String>,
) -> f64 {
    let Some(conditioning) = showing.plan.as_ref().and_then(|plan| plan.conditioning.as_ref()) else {
        return 0.0;
    };
    let diffusivity = diffusivity(ledger, build, assumptions);
    match time_to_fraction(conditioning.to.si(), diffusivity, conditioning.coupon_thickness.si(), Faces::Both)
    {
        Ok(seconds) => seconds / WEEK,
        Err(fault) => {
            assumptions.push(format!("{build}: conditioning time not counted: {fault}"));
            0.0
        }
    }
}

/// The slowest of what moisture has to go through: plies, and the adhesive of a bond.
fn diffusivity(ledger: &Ledger, build: &Subject, assumptions: &mut Vec<String>) -> f64 {
    let mut found: BTreeMap<&str, Option<f64>> = BTreeMap::new();
    let mut add = |material: &str, resin: Option<&str>| {
        let entry = ledger.materials.get_key_value(material);
        let resin = resin.and_then(|resin| ledger.materials.get(resin));
        let own = |entry: &Entry<Material>| entry.value.diffusivity.as_ref().map(|own| own.si());
        if let Some((id, entry)) = entry {
            found.insert(id, own(entry).or_else(|| resin.and_then(own)));
        }
    };
    let mut recipe = |id: &str| {
        let Some(entry) = ledger.recipes.get(id) else { return };
        let resin = entry.value.resin.as_ref().map(|resin| resin.material.id());
        for layer in expand(ledger, entry).unwrap_or_default() {
            if layer.role == LayerRole::Ply {
                let dry = layer.material.value.kind == MaterialKind::Fabric;
                add(&layer.material.id, resin.filter(|_| dry));
            }
        }
    };
    match build {
        Subject::Laminate(id) | Subject::Painted(id, _) => recipe(id),
        Subject::Bond { adhesive, faces, .. } => {
            for face in &**faces {
                match face {
                    Face::Laminate(id) => recipe(id),
                    // A coupon of solid sheet is not soaked through; its bond line is.
                    Face::Sheet(_) => {}
                }
            }
            add(adhesive, None);
        }
        Subject::Lamina { material, resin, .. } => add(material, resin.as_deref()),
        Subject::Sheet(material, _) => add(material, None),
        Subject::Panel(_) | Subject::Programme => {}
    }
    let mut slowest = f64::INFINITY;
    for (id, own) in &found {
        if own.is_none() {
            assumptions.push(format!("material/{id} gives no diffusivity: 3e-7 mm2/s assumed"));
        }
        slowest = slowest.min(own.unwrap_or(DIFFUSIVITY));
    }
    if slowest.is_finite() {
        return slowest;
    }
    assumptions.push(format!("{build} gives no diffusivity: 3e-7 mm2/s assumed"));
    DIFFUSIVITY
}
