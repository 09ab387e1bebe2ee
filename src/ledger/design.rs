//! Rules on materials, processes, tools, finishes and recipes, each by itself.

use super::known::{Known, entry, not_empty, unique};
use super::ranges::{
    EXTRA, NOT_NEGATIVE, PART, POISSON, POSITIVE, SHARE, TEMPERATURE, THICKNESS, all_within, count, refuse,
    typed, within,
};
use super::sink::Sink;
use super::{Entry, plausible, prices, references};
use crate::quantity::{Length, Quantity};
use crate::record::{Cycle, Elastic, Finish, Layer, Material, MaterialKind, Process, Recipe, Strength, Tool};
use std::collections::BTreeSet;

/// Share by which a cured thickness may differ from the one that follows from its constituents.
const THICKNESS_BAND: f64 = 0.10;

pub(super) fn material(known: Known<'_>, sink: &mut Sink, own: &Entry<Material>) {
    let m = &*own.value;
    references::material(known, sink, own);
    let named_by_parts = matches!(m.kind, MaterialKind::Fabric | MaterialKind::Prepreg);
    if m.designation.is_none() && !named_by_parts {
        sink.note(
            "designation-defaults",
            "",
            format!("`{}` has no designation: its id stands for it", own.id),
        )
        .label("no designation")
        .help("write its `designation`, so that the record can be renamed without un-proving anything");
    }
    // A name that went on to another record would let what was shown of the one speak for the other.
    let claimed = m.formerly.first().filter(|_| m.designation.is_none() && !named_by_parts);
    if let Some(name) = claimed.filter(|name| name.as_str() != own.id)
        && known.ledger.materials.get(name.as_str()).is_some_and(|other| other.value.designation.is_none())
    {
        sink.error(
            "name-in-use",
            "formerly",
            format!(
                "`{}` was formerly `{name}`, but there is a material/{name} that goes by that name",
                own.id
            ),
        )
        .label("still in use")
        .help(format!(
            "write the `designation` of material/{name} if it is another product, or take `formerly` out"
        ));
    }
    let fibre = m.fibre.as_ref();
    let resin = m.resin.as_ref();
    all_within(
        sink,
        POSITIVE,
        &[
            ("areal", m.areal.as_deref()),
            ("fibre.density", fibre.map(|f| &*f.density)),
            ("fibre.areal", fibre.and_then(|f| f.areal.as_deref())),
            ("resin.density", resin.map(|r| &*r.density)),
            ("density", m.density.as_deref()),
            ("cell", m.cell.as_deref()),
            ("resin_density", m.resin_density.as_deref()),
            ("dry_density", m.dry_density.as_deref()),
            ("E", m.e.as_deref()),
            ("G", m.g.as_deref()),
            ("tensile_strength", m.tensile_strength.as_deref()),
            ("compressive_strength", m.compressive_strength.as_deref()),
            ("compressive_modulus", m.compressive_modulus.as_deref()),
            ("shear_modulus", m.shear_modulus.as_deref()),
            ("shear_modulus_across", m.shear_modulus_across.as_deref()),
            ("shear_strength", m.shear_strength.as_deref()),
            ("shear_strength_across", m.shear_strength_across.as_deref()),
            ("craze_stress", m.craze_stress.as_deref()),
            ("mass", m.mass.as_deref()),
            ("linear_mass", m.linear_mass.as_deref()),
            ("diffusivity", m.diffusivity.as_deref()),
        ],
    );
    within(sink, THICKNESS, "cured_thickness", m.cured_thickness.as_deref());
    all_within(
        sink,
        NOT_NEGATIVE,
        &[
            ("out_life", m.out_life.as_deref()),
            ("resin_uptake", m.resin_uptake.as_deref()),
            ("resin_fill", m.resin_fill.as_deref()),
            ("labour", m.labour.as_deref()),
        ],
    );
    within(sink, PART, "resin.content", resin.map(|r| &*r.content));
    prices::material(known, sink, m);
    all_within(
        sink,
        SHARE,
        &[("solids_by_volume", m.solids_by_volume.as_deref()), ("transfer", m.transfer.as_deref())],
    );
    all_within(
        sink,
        TEMPERATURE,
        &[
            ("dry_tg", m.dry_tg.as_deref()),
            ("wet_tg", m.wet_tg.as_deref()),
            ("tg", m.tg.as_deref()),
            ("service_temperature", m.service_temperature.as_deref()),
        ],
    );
    within(sink, POISSON, "nu", m.nu.as_deref());
    within(sink, NOT_NEGATIVE, "creep", m.creep.as_deref());
    for (index, at) in m.modulus_at.iter().enumerate() {
        within(sink, TEMPERATURE, &entry("modulus_at", index, "temperature"), Some(&at.temperature));
        within(sink, POSITIVE, &entry("modulus_at", index, "E"), Some(&at.e));
    }
    if let (Some(wet), Some(dry)) = (&m.wet_tg, &m.dry_tg)
        && wet.si() > dry.si()
    {
        sink.warning(
            "wet-above-dry",
            "wet_tg",
            format!(
                "the wet glass transition {wet} lies above the dry one, {dry}",
                wet = wet.text(),
                dry = dry.text()
            ),
        )
        .label("above dry_tg")
        .help("moisture lowers the glass transition: check both figures");
    }
    if let Some(lamina) = &m.lamina {
        elastic(sink, lamina);
    }
    if let Some(values) = &m.strength {
        strength(sink, values);
    }
    if let Some((given, computed)) = prepreg_thickness(m) {
        thickness_differs(sink, "cured_thickness", given, computed, "fibre, resin and resin content");
    }
    plausible::material(sink, m);
}

fn elastic(sink: &mut Sink, lamina: &Elastic) {
    let (e1, e2) = (typed(&lamina.e1), typed(&lamina.e2));
    all_within(
        sink,
        POSITIVE,
        &[
            ("lamina.E1", e1),
            ("lamina.E2", e2),
            ("lamina.G12", typed(&lamina.g12)),
            ("lamina.G13", lamina.g13.as_ref().and_then(typed)),
            ("lamina.G23", lamina.g23.as_ref().and_then(typed)),
        ],
    );
    // Stored energy stays positive only for |nu12| < sqrt(E1/E2) (Lempriere 1968, AIAA Journal 6, from memory).
    if let (Some(e1), Some(e2)) = (e1, e2)
        && e1.si() > 0.0
        && e2.si() > 0.0
        && lamina.nu12.si().abs() >= (e1.si() / e2.si()).sqrt()
    {
        refuse(
            sink,
            "lamina.nu12",
            &format!("`{}` is out of range", lamina.nu12.text()),
            "its square must be less than E1 / E2",
            "correct `nu12`, `E1` or `E2`",
        );
    }
}

fn strength(sink: &mut Sink, values: &Strength) {
    for (key, value) in values.figures() {
        within(sink, POSITIVE, &format!("strength.{key}"), value.and_then(typed));
    }
}

/// Returns the thickness given and the one of fibre and resin without voids, in metres.
fn prepreg_thickness(m: &Material) -> Option<(&Length, f64)> {
    let given = m.cured_thickness.as_ref()?;
    let (fibre, resin) = (m.fibre.as_ref()?, m.resin.as_ref()?);
    if m.kind != MaterialKind::Prepreg {
        return None;
    }
    let areal = fibre.areal.as_ref()?.si();
    let computed = thickness(areal, fibre.density.si(), resin.content.si(), resin.density.si())?;
    Some((given, computed))
}

/// Thickness in metres of a fibre areal mass in kg/m2 with a mass fraction of resin, without voids:
/// areal / fibre density + areal x content / (1 - content) / resin density.
fn thickness(areal: f64, fibre_density: f64, content: f64, resin_density: f64) -> Option<f64> {
    let sound = areal > 0.0 && fibre_density > 0.0 && resin_density > 0.0 && content > 0.0 && content < 1.0;
    sound.then(|| areal / fibre_density + areal * content / (1.0 - content) / resin_density)
}

fn thickness_differs(sink: &mut Sink, at: &str, given: &Quantity, computed: f64, from: &str) {
    if given.si() > 0.0 && ((given.si() - computed) / computed).abs() > THICKNESS_BAND {
        sink.warning(
            "thickness-differs",
            at,
            format!("the cured thickness {} is not what {from} give: {:.3} mm", given.text(), computed * 1e3),
        )
        .label("differs by more than 10 %")
        .help("check the figures, or leave the thickness out so that it is computed");
    }
}

pub(super) fn process(known: Known<'_>, sink: &mut Sink, own: &Entry<Process>) {
    let process = &*own.value;
    for (list, cycle) in [("cure", &process.cure), ("postcure", &process.postcure)] {
        if let Some(Cycle(segments)) = cycle {
            for (index, segment) in segments.iter().enumerate() {
                within(sink, POSITIVE, &entry(list, index, "ramp"), segment.ramp.as_deref());
                within(sink, TEMPERATURE, &entry(list, index, "to"), Some(&segment.to));
                within(sink, NOT_NEGATIVE, &entry(list, index, "hold"), segment.hold.as_deref());
            }
        }
    }
    all_within(
        sink,
        NOT_NEGATIVE,
        &[
            ("pressure", process.pressure.as_deref()),
            ("vacuum", process.vacuum.as_deref()),
            ("max_out_time", process.max_out_time.as_deref()),
            ("bleed", process.bleed.as_deref()),
            ("labour", process.labour.as_deref()),
        ],
    );
    prices::each(known, sink, process.price.as_ref());
    plausible::process(sink, process);
}

pub(super) fn tool(known: Known<'_>, sink: &mut Sink, own: &Entry<Tool>) {
    let tool = &*own.value;
    references::tool(known, sink, own);
    within(sink, TEMPERATURE, "tg", tool.tg.as_deref());
    within(sink, NOT_NEGATIVE, "labour", tool.labour.as_deref());
    prices::each(known, sink, tool.price.as_ref());
    count(sink, "pulls.expected", tool.pulls.as_ref().and_then(|pulls| pulls.expected), 1);
    for (index, side) in tool.footprint.iter().enumerate() {
        within(sink, POSITIVE, &entry("footprint", index, ""), Some(side));
    }
}

pub(super) fn finish(known: Known<'_>, sink: &mut Sink, own: &Entry<Finish>) {
    let finish = &*own.value;
    references::finish(known, sink, own);
    not_empty(sink, "coats", &finish.coats, "coat");
    if let Some(colour) = &finish.colour {
        within(sink, SHARE, "colour.solar_absorptance", colour.solar_absorptance.as_deref());
        within(sink, SHARE, "colour.emittance", colour.emittance.as_deref());
    }
    within(sink, NOT_NEGATIVE, "repaint", finish.repaint.as_deref());
    within(sink, NOT_NEGATIVE, "labour", finish.labour.as_deref());
    for (index, coat) in finish.coats.iter().enumerate() {
        within(sink, POSITIVE, &entry("coats", index, "dry_film"), Some(&coat.dry_film));
        let at = entry("coats", index, "removed");
        within(sink, NOT_NEGATIVE, &at, coat.removed.as_deref());
        if let Some(removed) = coat
            .removed
            .as_ref()
            .filter(|removed| coat.dry_film.si() > 0.0 && removed.si() > coat.dry_film.si())
        {
            let what = format!("`{}` is removed", removed.text());
            let words = format!("the coat has only {}", coat.dry_film.text());
            refuse(sink, &at, &what, &words, "correct `removed` or `dry_film`");
        }
    }
    prices::zone(known, sink, finish.price.as_ref());
    plausible::finish(sink, finish);
}

pub(super) fn recipe(known: Known<'_>, sink: &mut Sink, own: &Entry<Recipe>) {
    let recipe = &*own.value;
    references::recipe(known, sink, own);
    not_empty(sink, "layers", &recipe.layers, "layer");
    unique(sink, "layers", "id", recipe.layers.iter().map(|layer| layer.id.as_ref()));
    within(sink, NOT_NEGATIVE, "labour", recipe.labour.as_deref());
    within(sink, PART, "resin.content", recipe.resin.as_ref().map(|resin| &*resin.content));
    prices::zone(known, sink, recipe.price.as_ref());
    plausible::recipe(sink, recipe);
    let mut dry = None;
    let mut compared = BTreeSet::new();
    for (index, layer) in recipe.layers.iter().enumerate() {
        within(sink, THICKNESS, &entry("layers", index, "thickness"), layer.thickness.as_deref());
        let Some(material) = known.ledger.materials.get(layer.material.id()) else { continue };
        layer_shape(sink, index, layer, &material.value);
        plausible::layer(sink, index, layer, &material.value);
        if material.value.kind == MaterialKind::Fabric {
            dry.get_or_insert(index);
            if compared.insert(layer.material.id()) {
                fabric_thickness(known, sink, recipe, index, &material.value);
            }
        }
    }
    match (dry, &recipe.resin) {
        (Some(index), None) => {
            sink.error("missing-resin", entry("layers", index, "material"), "a dry fabric needs a resin")
                .label("dry fabric")
                .help("write the recipe's `resin: {material: ID, content: 38 %}`");
        }
        (None, Some(_)) if !recipe.layers.is_empty() && all_readable(known, recipe) => {
            sink.warning("unused-resin", "resin", "the recipe has no dry fabric that takes this resin")
                .label("not used")
                .help("take `resin` out: a prepreg brings its own");
        }
        _ => {}
    }
}

fn all_readable(known: Known<'_>, recipe: &Recipe) -> bool {
    recipe.layers.iter().all(|layer| known.ledger.materials.contains_key(layer.material.id()))
}

/// Returns whether a layer of a material may say how thick it is: what is weighed by it, a core or a paste. A ply, a mesh,
/// a film or a surfacing is as thick as its own record says and weighs what that says, so that a thickness written in a
/// recipe would raise what is computed of it, and its mass not at all.
pub(super) fn takes_thickness(material: &Material) -> bool {
    match material.kind {
        MaterialKind::Core => true,
        MaterialKind::Fabric | MaterialKind::Prepreg => false,
        _ => material.areal.is_none(),
    }
}

/// Plies need an angle and nothing else has one; a core needs a thickness, and what weighs by its area takes none.
fn layer_shape(sink: &mut Sink, index: usize, layer: &Layer, material: &Material) {
    let ply = matches!(material.kind, MaterialKind::Fabric | MaterialKind::Prepreg);
    if ply && layer.angle.is_none() {
        sink.error(
            "missing-angle",
            entry("layers", index, ""),
            format!("the ply of `{}` has no angle", layer.material),
        )
        .label("ply without angle")
        .help("write its `angle` in degrees, for example `angle: 45`");
    }
    if !ply && layer.angle.is_some() {
        let at = entry("layers", index, "angle");
        sink.warning(
            "angle-without-ply",
            at,
            format!("`{}` is no ply, so its angle means nothing", layer.material),
        )
        .label("no ply")
        .help("take the angle out");
    }
    if let Some(thickness) = layer.thickness.as_ref().filter(|_| !takes_thickness(material)) {
        sink.error(
            "thickness-not-for-kind",
            entry("layers", index, "thickness"),
            format!(
                "the {} `{}` takes no thickness from a recipe, and `{}` is written",
                material.kind,
                layer.material,
                thickness.text()
            ),
        )
        .label("takes none")
        .help(format!(
            "take `thickness` out: how thick it is says `cured_thickness` in material/{}, or what it is made of",
            layer.material
        ));
    }
    if (material.kind == MaterialKind::Core && layer.thickness.is_none())
        || needs_bond_line(material, layer.thickness.as_deref())
    {
        let at = entry("layers", index, "");
        sink.error(
            "missing-thickness",
            at,
            format!("the {} `{}` has no thickness", material.kind, layer.material),
        )
        .label("no thickness")
        .help("write its `thickness`, for example `thickness: 6 mm`");
    }
}

/// A dry fabric's cured thickness depends on the resin that the recipe gives it.
fn fabric_thickness(known: Known<'_>, sink: &mut Sink, recipe: &Recipe, index: usize, fabric: &Material) {
    let (Some(given), Some(areal), Some(fibre)) = (&fabric.cured_thickness, &fabric.areal, &fabric.fibre)
    else {
        return;
    };
    let Some(resin) = &recipe.resin else { return };
    let Some(material) = known.ledger.materials.get(resin.material.id()) else { return };
    let Some(density) =
        material.value.density.as_ref().filter(|_| material.value.kind == MaterialKind::Resin)
    else {
        return;
    };
    if let Some(computed) = thickness(areal.si(), fibre.density.si(), resin.content.si(), density.si()) {
        let at = entry("layers", index, "material");
        thickness_differs(sink, &at, given, computed, "fabric, resin and resin content");
    }
}

/// Returns whether an adhesive is a paste whose bond line nobody gave a thickness, so that it can't be weighed.
pub(super) fn needs_bond_line(material: &Material, thickness: Option<&Quantity>) -> bool {
    material.kind == MaterialKind::Adhesive
        && material.areal.is_none()
        && material.cured_thickness.is_none()
        && thickness.is_none()
}

/// Extra area or adhesive, from nothing to five times as much again.
pub(super) fn extra(sink: &mut Sink, at: &str, share: Option<&Quantity>) {
    within(sink, EXTRA, at, share);
}
