//! References out of design records: each must name a record that is there and of the right kind.

use super::Entry;
use super::known::{Known, entry};
use super::sink::Sink;
use crate::record::{
    Assembly, Child, Finish, Joint, Material, MaterialKind, Panel, ProcessRef, Recipe, RecordKind, Tool,
    Weighing,
};

/// Materials that may stand in the layers of a recipe.
pub(super) const LAYERS: &[MaterialKind] = &[
    MaterialKind::Prepreg,
    MaterialKind::Fabric,
    MaterialKind::Core,
    MaterialKind::Adhesive,
    MaterialKind::Mesh,
    MaterialKind::Surfacing,
];

fn process(known: Known<'_>, sink: &mut Sink, at: &str, reference: Option<&ProcessRef>) {
    if let Some(reference) = reference {
        known.find(sink, at, &known.ledger.processes, RecordKind::Process, reference.id());
    }
}

pub(super) fn material(known: Known<'_>, sink: &mut Sink, own: &Entry<Material>) {
    if let Some(lamina) = &own.value.lamina {
        known.sourced(sink, "lamina.E1", Some(&lamina.e1));
        known.sourced(sink, "lamina.E2", Some(&lamina.e2));
        known.sourced(sink, "lamina.G12", Some(&lamina.g12));
        known.sourced(sink, "lamina.G13", lamina.g13.as_ref());
        known.sourced(sink, "lamina.G23", lamina.g23.as_ref());
    }
    if let Some(strength) = &own.value.strength {
        known.sourced(sink, "strength.Xt", strength.xt.as_ref());
        known.sourced(sink, "strength.Xc", strength.xc.as_ref());
        known.sourced(sink, "strength.Yt", strength.yt.as_ref());
        known.sourced(sink, "strength.Yc", strength.yc.as_ref());
        known.sourced(sink, "strength.S", strength.s.as_ref());
    }
}

pub(super) fn tool(known: Known<'_>, sink: &mut Sink, own: &Entry<Tool>) {
    if let Some(from) = &own.value.from {
        known.find(sink, "from", &known.ledger.tools, RecordKind::Tool, from.id());
    }
}

pub(super) fn finish(known: Known<'_>, sink: &mut Sink, own: &Entry<Finish>) {
    process(known, sink, "process", own.value.process.as_ref());
    for (index, coat) in own.value.coats.iter().enumerate() {
        known.material(sink, entry("coats", index, "material"), &coat.material, &[MaterialKind::Coating]);
    }
}

pub(super) fn recipe(known: Known<'_>, sink: &mut Sink, own: &Entry<Recipe>) {
    process(known, sink, "process", Some(&own.value.process));
    for (index, layer) in own.value.layers.iter().enumerate() {
        known.material(sink, entry("layers", index, "material"), &layer.material, LAYERS);
    }
    if let Some(resin) = &own.value.resin {
        known.material(sink, "resin.material", &resin.material, &[MaterialKind::Resin]);
    }
}

pub(super) fn panel(known: Known<'_>, sink: &mut Sink, own: &Entry<Panel>) {
    let ledger = known.ledger;
    let panel = &own.value;
    known.milestone(sink, "released_for", panel.released_for.as_ref());
    if let Some(tool) = &panel.tool {
        known.find(sink, "tool", &ledger.tools, RecordKind::Tool, tool.id());
    }
    for (index, zone) in panel.zones.iter().enumerate() {
        if let Some(recipe) = &zone.recipe {
            known.find(
                sink,
                entry("zones", index, "recipe"),
                &ledger.recipes,
                RecordKind::Recipe,
                recipe.id(),
            );
        }
        if let Some(finish) = &zone.finish {
            known.find(
                sink,
                entry("zones", index, "finish"),
                &ledger.finishes,
                RecordKind::Finish,
                finish.id(),
            );
        }
        if let Some(sheet) = &zone.sheet {
            let at = entry("zones", index, "sheet.material");
            known.material(sink, at, &sheet.material, &[MaterialKind::Sheet]);
        }
    }
    for (index, joint) in panel.joints.iter().enumerate() {
        known.material(sink, entry("joints", index, "adhesive"), &joint.adhesive, &[MaterialKind::Adhesive]);
        process(known, sink, &entry("joints", index, "process"), joint.process.as_ref());
        between(sink, panel, index, joint);
    }
    for (index, edge) in panel.edges.iter().enumerate() {
        let at = entry("edges", index, "part");
        let part = known.material(sink, at.clone(), &edge.part, &[MaterialKind::Part]);
        if part.is_some_and(|part| part.linear_mass.is_none()) {
            sink.error(
                "missing-mass",
                at,
                format!("`{}` has no mass per length, so the edge can't be weighed", edge.part),
            )
            .label("no linear_mass")
            .help("write its `linear_mass`, for example `85 g/m`, or list it under `fittings`");
        }
    }
    for (index, fitting) in panel.fittings.iter().enumerate() {
        let at = entry("fittings", index, "part");
        part(known, sink, &at, &fitting.part);
    }
    if let Some(strain) = &panel.design_strain {
        known.sourced(sink, "design_strain.tension", strain.tension.as_ref());
        known.sourced(sink, "design_strain.compression", strain.compression.as_ref());
        known.sourced(sink, "design_strain.shear", strain.shear.as_ref());
    }
}

fn part(known: Known<'_>, sink: &mut Sink, at: &str, reference: &crate::record::MaterialRef) {
    let part = known.material(sink, at, reference, &[MaterialKind::Part]);
    if part.is_some_and(|part| part.mass.is_none()) {
        sink.error("missing-mass", at, format!("`{reference}` has no mass, so it can't be weighed"))
            .label("no mass")
            .help("write its `mass`, for example `120 g`");
    }
}

/// The faces of a joint are named zones of its own panel.
fn between(sink: &mut Sink, panel: &Panel, index: usize, joint: &Joint) {
    for (face, name) in joint.between.iter().flatten().enumerate() {
        if panel.zones.iter().any(|zone| zone.name == *name) {
            continue;
        }
        let at = format!("joints.{}.between.{}", index.saturating_add(1), face.saturating_add(1));
        let zones = panel.zones.iter().map(|zone| zone.name.as_str());
        let help = super::words::suggest(name.as_str(), zones);
        let raised = sink.error("unknown-reference", at, format!("the panel has no zone `{name}`"));
        raised.label("unknown zone");
        if let Some(help) = help {
            raised.help(help);
        }
    }
}

pub(super) fn assembly(known: Known<'_>, sink: &mut Sink, own: &Entry<Assembly>) {
    for (index, child) in own.value.children.iter().enumerate() {
        let Child { panel, assembly, part: loose, .. } = child;
        let named =
            usize::from(panel.is_some()) + usize::from(assembly.is_some()) + usize::from(loose.is_some());
        if named != 1 {
            sink.error(
                "exactly-one",
                entry("children", index, ""),
                format!("a child is exactly one of `panel`, `assembly` and `part`; this one names {named}"),
            )
            .label("one of three")
            .help("write an entry for each");
        }
        if let Some(panel) = panel {
            let at = entry("children", index, "panel");
            known.find(sink, at, &known.ledger.panels, RecordKind::Panel, panel.id());
        }
        if let Some(assembly) = assembly {
            let at = entry("children", index, "assembly");
            known.find(sink, at, &known.ledger.assemblies, RecordKind::Assembly, assembly.id());
        }
        if let Some(loose) = loose {
            part(known, sink, &entry("children", index, "part"), loose);
        }
    }
}

pub(super) fn weighing(known: Known<'_>, sink: &mut Sink, own: &Entry<Weighing>) {
    known.find(sink, "panel", &known.ledger.panels, RecordKind::Panel, own.value.panel.id());
}
