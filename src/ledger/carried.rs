//! Rules on what a panel carries: its loads, the plate that stands for it, its frame section.

use super::built::factors;
use super::known::{Known, entry, unique};
use super::sink::Sink;
use super::words::suggest;
use crate::record::{Panel, SectionShape, SectionWall, Text};
use std::collections::{BTreeMap, BTreeSet};

/// Ways of holding a plate's edges that the engineering knows.
const SUPPORTS: [&str; 2] = ["simply-supported", "clamped"];

pub(super) fn carried(known: Known<'_>, sink: &mut Sink, panel: &Panel) {
    for (index, load) in panel.loads.iter().enumerate() {
        if let Some(zone) = &load.zone {
            laminate_zone(sink, panel, &entry("loads", index, "zone"), zone);
        }
    }
    // A zone that does not say what it is made of is a fault of its own.
    let sheets_only = panel.zones.iter().all(|zone| zone.recipe.is_none() && zone.sheet.is_some());
    if !panel.loads.is_empty() && sheets_only && !panel.zones.is_empty() {
        sink.warning(
            "load-without-stack",
            "loads",
            "the panel carries loads, but no zone of it is a laminate",
        )
        .label("nothing carries them")
        .help("give the zone that carries them its `recipe`; a sheet carries loads as a wall of `section`");
    }
    if let Some(plate) = &panel.plate {
        if let Some(zone) = &plate.zone {
            laminate_zone(sink, panel, "plate.zone", zone);
        }
        if let Some(support) = plate.support.as_ref().filter(|own| !SUPPORTS.contains(&own.as_str())) {
            sink.warning(
                "unknown-support",
                "plate.support",
                format!("`{support}` is no way of holding edges that is computed here"),
            )
            .label("the plate is not computed")
            .help(format!("write one of {}", SUPPORTS.join(", ")));
        }
    }
    if let Some(section) = &panel.section {
        self::section(known, sink, panel, section);
    }
}

fn unknown_name<'a>(
    sink: &mut Sink,
    at: &str,
    what: &str,
    name: &Text,
    names: impl Iterator<Item = &'a str>,
) {
    let help = suggest(name.as_str(), names);
    let raised = sink.error("unknown-reference", at, format!("the {what} `{name}` is not there"));
    raised.label(format!("unknown {what}"));
    if let Some(help) = help {
        raised.help(help);
    }
}

fn laminate_zone(sink: &mut Sink, panel: &Panel, at: &str, name: &Text) {
    let zones = || panel.zones.iter().map(|zone| zone.name.as_str());
    match panel.zones.iter().find(|zone| zone.name == *name) {
        None => unknown_name(sink, at, "zone", name, zones()),
        Some(zone) if zone.recipe.is_none() => {
            sink.warning(
                "load-without-stack",
                at,
                format!("the zone `{name}` has no laminate that could carry it"),
            )
            .label("no laminate")
            .help("name a zone with a `recipe`");
        }
        Some(_) => {}
    }
}

fn section(known: Known<'_>, sink: &mut Sink, panel: &Panel, section: &SectionShape) {
    super::known::not_empty(sink, "section.walls", &section.walls, "wall");
    unique(sink, "section.walls", "name", section.walls.iter().map(|wall| wall.name.as_ref()));
    unique(sink, "section.loads", "name", section.loads.iter().map(|load| Some(&load.name)));
    for (index, load) in section.loads.iter().enumerate() {
        factors(sink, &entry("section.loads", index, ""), load.factor, load.special_factor);
    }
    let mut sound = true;
    for (index, wall) in section.walls.iter().enumerate() {
        sound &= section_wall(known, sink, panel, section, index, wall);
    }
    if sound && !section.walls.is_empty() && !closes(section) {
        sink.warning("open-section", "section.walls", "the walls of the section do not close a cell")
            .label("open")
            .help(
                "let the walls run from corner to corner round each cell; a bond is a wall with `joint`, \
                 whose corners may lie at one place",
            );
    }
}

fn section_wall(
    known: Known<'_>,
    sink: &mut Sink,
    panel: &Panel,
    section: &SectionShape,
    index: usize,
    wall: &SectionWall,
) -> bool {
    let at = |key: &str| entry("section.walls", index, key);
    let mut sound = true;
    for (key, corner) in [("from", &wall.from), ("to", &wall.to)] {
        if !section.corners.contains_key(corner.as_str()) {
            unknown_name(sink, &at(key), "corner", corner, section.corners.keys().map(String::as_str));
            sound = false;
        }
    }
    match (&wall.zone, &wall.joint) {
        (Some(zone), None) => {
            if !panel.zones.iter().any(|own| own.name == *zone) {
                let zones = panel.zones.iter().map(|own| own.name.as_str());
                unknown_name(sink, &at("zone"), "zone", zone, zones);
                sound = false;
            }
            let place = |corner: &Text| section.corners.get(corner.as_str()).map(|[y, z]| (y.si(), z.si()));
            if sound && place(&wall.from) == place(&wall.to) {
                sink.error(
                    "out-of-range",
                    at(""),
                    "the wall has no length: both its corners lie at one place",
                )
                .label("no length")
                .help("only a bond (`joint`) may begin and end at one place");
                sound = false;
            }
        }
        (None, Some(joint)) => match panel.joints.iter().find(|own| own.name == *joint) {
            None => {
                let joints = panel.joints.iter().map(|own| own.name.as_str());
                unknown_name(sink, &at("joint"), "joint", joint, joints);
                sound = false;
            }
            Some(own) => {
                let adhesive = known.ledger.materials.get(own.adhesive.id());
                if adhesive.is_some_and(|own| own.value.shear_modulus.is_none()) {
                    sink.warning(
                        "missing-stiffness",
                        at("joint"),
                        format!(
                            "the adhesive `{}` of the joint `{joint}` has no `shear_modulus`",
                            own.adhesive
                        ),
                    )
                    .label("the section is not computed")
                    .help(format!("write `shear_modulus` in material/{}", own.adhesive));
                }
            }
        },
        (zone, _) => {
            let which = if zone.is_some() { "both" } else { "neither" };
            sink.error(
                "exactly-one",
                at(""),
                format!("a wall is exactly one of `zone` and `joint`; this one names {which}"),
            )
            .label("one of two")
            .help("write a wall for each");
            sound = false;
        }
    }
    sound
}

/// Whether some walls form a cell: more walls than a tree over their corners has.
fn closes(section: &SectionShape) -> bool {
    let mut group: BTreeMap<&str, usize> = BTreeMap::new();
    let corners: BTreeSet<&str> =
        section.walls.iter().flat_map(|wall| [wall.from.as_str(), wall.to.as_str()]).collect();
    for (at, corner) in corners.iter().enumerate() {
        group.insert(corner, at);
    }
    for wall in &section.walls {
        let (Some(one), Some(two)) =
            (group.get(wall.from.as_str()).copied(), group.get(wall.to.as_str()).copied())
        else {
            continue;
        };
        if one == two {
            return true;
        }
        for own in group.values_mut().filter(|own| **own == two) {
            *own = one;
        }
    }
    false
}
