//! Rules on panels, assemblies and weighings.

use super::known::{Known, entry, not_empty, unique};
use super::ranges::{
    NOT_NEGATIVE, POSITIVE, STRAIN, TEMPERATURE, THICKNESS, all_within, count, number, typed, within,
};
use super::sink::Sink;
use super::{Entry, carried, design, plausible, prices, references, weighed};
use crate::record::{Assembly, Class, Joint, Maturity, Panel, Weighing, Zone};

pub(super) fn panel(known: Known<'_>, sink: &mut Sink, own: &Entry<Panel>) {
    let panel = &*own.value;
    references::panel(known, sink, own);
    not_empty(sink, "zones", &panel.zones, "zone");
    unique(sink, "zones", "name", panel.zones.iter().map(|zone| Some(&zone.name)));
    unique(sink, "joints", "name", panel.joints.iter().map(|joint| Some(&joint.name)));
    unique(sink, "edges", "name", panel.edges.iter().map(|edge| edge.name.as_ref()));
    unique(sink, "fittings", "name", panel.fittings.iter().map(|fitting| fitting.name.as_ref()));
    unique(sink, "loads", "name", panel.loads.iter().map(|load| Some(&load.name)));
    count(sink, "quantity", panel.quantity, 1);
    design::extra(sink, "overlap", panel.overlap.as_deref());
    within(sink, NOT_NEGATIVE, "labour", panel.labour.as_deref());
    prices::each(known, sink, panel.price.as_ref());
    let minimum =
        |exposure: &'_ Option<crate::record::Exposure>| exposure.as_ref().and_then(|e| e.minimum.clone());
    within(sink, TEMPERATURE, "exposure.minimum", minimum(&panel.exposure).as_deref());
    for (index, one) in panel.zones.iter().enumerate() {
        within(
            sink,
            TEMPERATURE,
            &entry("zones", index, "exposure.minimum"),
            minimum(&one.exposure).as_deref(),
        );
        zone(known, sink, panel, index, one);
    }
    for (index, one) in panel.joints.iter().enumerate() {
        joint(known, sink, index, one);
    }
    for (index, edge) in panel.edges.iter().enumerate() {
        within(sink, POSITIVE, &entry("edges", index, "length"), Some(&edge.length));
    }
    for (index, fitting) in panel.fittings.iter().enumerate() {
        count(sink, &entry("fittings", index, "count"), fitting.count, 1);
    }
    for (index, one) in panel.loads.iter().enumerate() {
        factors(sink, &entry("loads", index, ""), one.factor, one.special_factor);
    }
    let plate = panel.plate.as_ref();
    all_within(
        sink,
        POSITIVE,
        &[
            ("holes.largest", panel.holes.as_ref().and_then(|holes| holes.largest.as_deref())),
            ("plate.length", plate.map(|plate| &*plate.length)),
            ("plate.width", plate.map(|plate| &*plate.width)),
        ],
    );
    if let Some(strain) = &panel.design_strain {
        for (at, value) in [
            ("design_strain.tension", &strain.tension),
            ("design_strain.compression", &strain.compression),
            ("design_strain.shear", &strain.shear),
        ] {
            within(sink, STRAIN, at, value.as_ref().and_then(typed));
        }
    }
    if panel.maturity == Some(Maturity::Weighed) && !known.firsts.weighed.contains(own.id.as_str()) {
        sink.warning("odd-maturity", "maturity", "it is called weighed, and there is no weighing of it")
            .label("never weighed")
            .help("write `calculated` until a piece of it was on the scale: what is weighed is allowed less growth");
    }
    carried::carried(known, sink, panel);
    plausible::panel(sink, panel);
    plausible::carried(sink, panel);
}

fn zone(known: Known<'_>, sink: &mut Sink, panel: &Panel, index: usize, zone: &Zone) {
    within(sink, POSITIVE, &entry("zones", index, "area"), Some(&zone.area));
    within(sink, POSITIVE, &entry("zones", index, "radius"), zone.radius.as_deref());
    let thickness = zone.sheet.as_ref().map(|sheet| &*sheet.thickness);
    within(sink, THICKNESS, &entry("zones", index, "sheet.thickness"), thickness);
    if zone.recipe.is_some() == zone.sheet.is_some() {
        let which = if zone.recipe.is_some() { "both" } else { "neither" };
        let message =
            format!("the zone `{}` has {which} of `recipe` and `sheet`: it must have one", zone.name);
        sink.error("recipe-or-sheet", entry("zones", index, ""), message)
            .label(format!("{which} of the two"))
            .help("a zone is made of a laminate (`recipe`) or of solid sheet (`sheet`)");
    }
    if zone.sheet.is_some() && zone.finish.is_some() {
        let message = format!("the zone `{}` is solid sheet and can't wear a finish", zone.name);
        sink.error("finish-on-sheet", entry("zones", index, "finish"), message)
            .label("finish on sheet")
            .help("take the finish out, or make a zone of its own of the painted part");
    }
    let Some(recipe) = zone.recipe.as_ref().and_then(|recipe| known.ledger.recipes.get(recipe.id())) else {
        return;
    };
    if panel.class != Some(Class::NonStructural) && recipe.value.class == Some(Class::NonStructural) {
        let message =
            format!("the panel is structural and its zone `{}` is of a non-structural recipe", zone.name);
        sink.warning("class-mismatch", entry("zones", index, "recipe"), message)
            .label("non-structural recipe")
            .help("name a structural recipe, or set the panel's `class: non-structural`")
            .why(&recipe.file, "class", "its class stands here");
    }
}

fn joint(known: Known<'_>, sink: &mut Sink, index: usize, joint: &Joint) {
    let adhesive = known.ledger.materials.get(joint.adhesive.id());
    if adhesive.is_some_and(|adhesive| design::needs_bond_line(&adhesive.value, joint.thickness.as_deref())) {
        let message = format!("the joint `{}` has no thickness, so its paste can't be weighed", joint.name);
        sink.error("missing-thickness", entry("joints", index, ""), message)
            .label("no thickness")
            .help("write its `thickness`, for example `thickness: 1.5 mm`");
    }
    all_within(
        sink,
        POSITIVE,
        &[
            (&entry("joints", index, "length"), Some(&joint.length)),
            (&entry("joints", index, "width"), Some(&joint.width)),
            (&entry("joints", index, "thickness"), joint.thickness.as_deref()),
        ],
    );
    design::extra(sink, &entry("joints", index, "squeeze_out"), joint.squeeze_out.as_deref());
    let lacks = match (&joint.process, &joint.between) {
        (Some(_), Some(_)) => return,
        (None, Some(_)) => "`process`",
        (Some(_), None) => "`between`",
        (None, None) => "`process` and `between`",
    };
    sink.warning(
        "joint-without-proof",
        entry("joints", index, ""),
        format!("the joint `{}` has no {lacks}: it weighs, but nothing is asked to prove it", joint.name),
    )
    .label("nothing to prove")
    .help("write how it is bonded (`process`) and the two zones that it joins (`between`)");
}

/// The factors of the load case at `place`, such as `loads.1`.
pub(super) fn factors(sink: &mut Sink, place: &str, factor: Option<f64>, special: Option<f64>) {
    number(sink, &format!("{place}.factor"), factor, 0.0, false);
    // A special factor covers what is uncertain (14 CFR 23.2265): it never lightens a load.
    number(sink, &format!("{place}.special_factor"), special, 1.0, true);
}

pub(super) fn assembly(known: Known<'_>, sink: &mut Sink, own: &Entry<Assembly>) {
    let assembly = &*own.value;
    references::assembly(known, sink, own);
    not_empty(sink, "children", &assembly.children, "child");
    within(sink, POSITIVE, "budget", assembly.budget.as_deref());
    for (index, child) in assembly.children.iter().enumerate() {
        count(sink, &entry("children", index, "count"), child.count, 1);
    }
}

pub(super) fn weighing(known: Known<'_>, sink: &mut Sink, own: &Entry<Weighing>) {
    let weighing = &*own.value;
    references::weighing(known, sink, own);
    within(sink, POSITIVE, "mass", Some(&weighing.mass));
    let predicted = weighing.as_built.as_ref().and_then(|built| built.predicted.as_deref());
    within(sink, POSITIVE, "as_built.predicted", predicted);
    weighed::check(known.ledger, sink, &own.id, weighing);
    if let Some(first) = known.ledger.repeated(&known.firsts.readings, &own.id) {
        let what = match first.value.mass.si().total_cmp(&weighing.mass.si()).is_eq() {
            true => "says the same as",
            false => "is of the same piece, stage and day as",
        };
        sink.warning(
            "repeated-weighing",
            "mass",
            format!("this {what} weighing/{}, which counts; one piece is weighed once", first.id),
        )
        .label("does not count")
        .help("correct `serial`, `condition` or `on`, or take one of the two out");
    }
}
