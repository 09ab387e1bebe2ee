//! What figures usually are: a unit that slipped or a digit too many is legal, and hides in every answer.
//!
//! The ranges are data, in this file alone. They are wide, so that an uncommon design is left in peace, and
//! what lies outside is a warning, never an error. Unless a line says otherwise its range is common practice,
//! no source; the message says so too.

use super::known::entry;
use super::sink::Sink;
use crate::quantity::{Kind, Quantity};
use crate::record::{
    Accept, Climate, Cycle, Elastic, FibreType, Finish, Layer, Material, MaterialKind, Panel, Process,
    Recipe, Strength,
};
use std::ops::Deref;

const NO_SOURCE: &str = "common practice, no source";

/// From what to what a figure usually lies, in SI units, and how to say it.
#[derive(Debug, Clone, Copy)]
struct Usual {
    what: &'static str,
    low: f64,
    high: f64,
    words: &'static str,
    source: &'static str,
}

const fn usual(what: &'static str, low: f64, high: f64, words: &'static str) -> Usual {
    Usual { what, low, high, words, source: NO_SOURCE }
}

const PLY_AREAL: Usual = usual("the fibre of one ply", 0.01, 3.0, "10 to 3000 g/m2");
const FILM_AREAL: Usual = usual("a film, mesh or surfacing", 0.01, 2.0, "10 to 2000 g/m2");
const CARBON: Usual = usual("carbon fibre", 1600.0, 2300.0, "1600 to 2300 kg/m3");
const GLASS: Usual = usual("glass fibre", 2100.0, 2900.0, "2100 to 2900 kg/m3");
const ARAMID: Usual = usual("aramid fibre", 1300.0, 1550.0, "1300 to 1550 kg/m3");
const OTHER_FIBRE: Usual = usual("a fibre", 900.0, 4500.0, "900 to 4500 kg/m3");
const RESIN: Usual = usual("a cured resin", 900.0, 2200.0, "900 to 2200 kg/m3");
const CORE: Usual = usual("a core", 10.0, 1200.0, "10 to 1200 kg/m3");
const ADHESIVE: Usual = usual("an adhesive", 500.0, 3500.0, "500 to 3500 kg/m3");
const SHEET: Usual = usual("a solid sheet", 800.0, 9000.0, "800 to 9000 kg/m3");
const DRY_FILM_DENSITY: Usual = usual("a dry film of paint", 500.0, 4000.0, "500 to 4000 kg/m3");
const RESIN_CONTENT: Usual = usual("a resin content by mass", 0.15, 0.80, "15 to 80 %");
const PLY_THICKNESS: Usual = usual("the thickness of a cured ply", 5e-6, 6e-3, "0.005 to 6 mm");
const CORE_THICKNESS: Usual = usual("the thickness of a core", 3e-4, 0.2, "0.3 to 200 mm");
const SHEET_THICKNESS: Usual = usual("the thickness of a solid sheet", 1e-4, 0.06, "0.1 to 60 mm");
const DRY_FILM: Usual = usual("one coat of paint or filler", 1e-6, 1e-3, "1 to 1000 um");
const REPAINT: Usual = usual("the film that a repair adds", 0.0, 1e-3, "0 to 1000 um");
const CELL: Usual = usual("the cell of a core", 1e-4, 0.03, "0.1 to 30 mm");
/// The same fibres lie at an angle and at that angle half a turn on.
const ANGLE: Usual = Usual {
    what: "the angle of a ply",
    low: -std::f64::consts::PI - 1e-9,
    high: std::f64::consts::PI + 1e-9,
    words: "-180 to 180 deg, and -90 to 90 deg say it all",
    source: "geometry: a ply turned by 180 deg is the same ply",
};
const CURE: Usual = usual("a cure", 263.15, 723.15, "-10 to 450 degC");
const HOLD: Usual = usual("a hold of a cure", 0.0, 30.0 * 86_400.0, "0 to 30 d");
const RAMP: Usual = usual("the ramp of a cure", 0.01 / 60.0, 100.0 / 60.0, "0.01 to 100 K/min");
/// No pump takes away more than the air weighs: 101.325 kPa is the standard atmosphere at sea level, ISO 2533.
const VACUUM: Usual = Usual {
    what: "a vacuum, as pressure below the air's",
    low: 0.0,
    high: 105e3,
    words: "0 to 105 kPa",
    source: "the standard atmosphere has 101.325 kPa: ISO 2533",
};
const PRESSURE: Usual = usual("the pressure of a cure", 0.0, 2e7, "0 to 20 MPa");
const OUT_TIME: Usual = usual("time out of the freezer", 3600.0, 400.0 * 86_400.0, "1 h to 400 d");
const GLASS_TRANSITION: Usual = usual("a glass transition", 273.15, 773.15, "0 to 500 degC");
const SERVICE: Usual = usual("a service temperature", 293.15, 973.15, "20 to 700 degC");
const TESTED: Usual = usual("a test temperature", 173.15, 773.15, "-100 to 500 degC");
const COLDEST: Usual = usual("the coldest that a panel gets", 173.15, 303.15, "-100 to 30 degC");
const AREA: Usual = usual("the area of a zone", 1e-4, 200.0, "1 cm2 to 200 m2");
const JOINT_LENGTH: Usual = usual("the length of a joint", 1e-3, 100.0, "1 mm to 100 m");
const JOINT_WIDTH: Usual = usual("the width of a joint", 5e-4, 1.0, "0.5 mm to 1 m");
const BOND_LINE: Usual = usual("the thickness of a bond line or film", 1e-5, 0.02, "0.01 to 20 mm");
/// Strips of 100 mm, which few cut, that lap over by 25 mm add a quarter.
const OVERLAP: Usual = usual("the overlap of plies, over the area they cover", 0.0, 0.30, "0 to 30 %");
const SQUEEZE_OUT: Usual =
    usual("the adhesive that is squeezed out, over what stays", 0.0, 2.0, "0 to 200 %");
const EDGE_LENGTH: Usual = usual("the length of an edge", 1e-3, 200.0, "1 mm to 200 m");
const PART_MASS: Usual = usual("a part of a panel", 1e-5, 500.0, "0.01 g to 500 kg");
const LINEAR_MASS: Usual = usual("a part by its length", 1e-4, 100.0, "0.1 g/m to 100 kg/m");
const PLY_MODULUS: Usual = usual("a modulus of a ply", 1e8, 1e12, "0.1 to 1000 GPa");
const PLY_STRENGTH: Usual = usual("a strength of a ply", 1e6, 1e10, "1 to 10 000 MPa");

/// A light wing in a calm has a few hundred pascals, the bottom of a float at the landing some hundred thousand.
const LOAD: Usual = usual("the pressure on a panel", 50.0, 1e6, "0.05 to 1000 kPa");
const PLATE_SIDE: Usual = usual("a side of a plate", 0.01, 20.0, "10 mm to 20 m");
const FACTOR: Usual = usual("a factor of safety", 1.0, 3.0, "1 to 3");
const SPECIAL_FACTOR: Usual = usual("a special factor", 1.0, 10.0, "1 to 10");
const IRRADIANCE: Usual = Usual {
    what: "the sun on a panel",
    low: 100.0,
    high: 1400.0,
    words: "100 to 1400 W/m2",
    source: "above the air it gives 1361 W/m2: IAU 2015 resolution B3, from memory",
};
const AMBIENT: Usual = usual("the air outside", 193.15, 343.15, "-80 to 70 degC");
const SKY: Usual = usual("the sky as a radiator", 153.15, 333.15, "-120 to 60 degC");
const WIND: Usual = usual("the wind along a skin", 0.0, 100.0, "0 to 100 m/s");
/// How much larger than its zone a plate may be written: it has the sides of the zone's box.
const PLATE_OVER_ZONE: f64 = 1.5;

/// Between criterion and values a factor of this size is a unit or a decimal point, not a test result.
const FAR: f64 = 50.0;

/// Warns of a figure outside what is usual, unless it is refused already: what is refused is judged first.
fn look(sink: &mut Sink, usual: Usual, at: &str, quantity: Option<&Quantity>) {
    let Some(quantity) = quantity else { return };
    look_figure(sink, usual, at, quantity.si(), quantity.text());
}

fn look_figure(sink: &mut Sink, usual: Usual, at: &str, value: f64, text: &str) {
    if value >= usual.low && value <= usual.high || sink.is_refused(at) {
        return;
    }
    sink.warning("implausible", at, format!("`{text}` is unusual for {}", usual.what))
        .label("implausible")
        .help(format!(
            "usual is {} ({}); correct the figure or its unit, or leave it if it is meant",
            usual.words, usual.source
        ));
}

fn look_at<'q, Q: Deref<Target = Quantity> + 'q>(
    sink: &mut Sink,
    usual: Usual,
    at: &str,
    quantity: &'q Option<Q>,
) {
    look(sink, usual, at, quantity.as_deref());
}

pub(super) fn material(sink: &mut Sink, m: &Material) {
    if let Some(fibre) = &m.fibre {
        let density = match fibre.kind {
            FibreType::Carbon => CARBON,
            FibreType::Glass => GLASS,
            FibreType::Aramid => ARAMID,
            FibreType::Other => OTHER_FIBRE,
        };
        look(sink, density, "fibre.density", Some(&fibre.density));
        look_at(sink, PLY_AREAL, "fibre.areal", &fibre.areal);
    }
    if let Some(resin) = &m.resin {
        look(sink, RESIN, "resin.density", Some(&resin.density));
        look(sink, RESIN_CONTENT, "resin.content", Some(&resin.content));
    }
    let areal = if m.kind == MaterialKind::Fabric { PLY_AREAL } else { FILM_AREAL };
    look_at(sink, areal, "areal", &m.areal);
    let density = match m.kind {
        MaterialKind::Resin => Some(RESIN),
        MaterialKind::Core => Some(CORE),
        MaterialKind::Adhesive => Some(ADHESIVE),
        MaterialKind::Sheet => Some(SHEET),
        _ => None,
    };
    if let Some(density) = density {
        look_at(sink, density, "density", &m.density);
    }
    look_at(sink, RESIN, "resin_density", &m.resin_density);
    look_at(sink, DRY_FILM_DENSITY, "dry_density", &m.dry_density);
    if matches!(m.kind, MaterialKind::Prepreg | MaterialKind::Fabric) {
        look_at(sink, PLY_THICKNESS, "cured_thickness", &m.cured_thickness);
    }
    look_at(sink, CELL, "cell", &m.cell);
    look_at(sink, OUT_TIME, "out_life", &m.out_life);
    look_at(sink, GLASS_TRANSITION, "dry_tg", &m.dry_tg);
    look_at(sink, GLASS_TRANSITION, "wet_tg", &m.wet_tg);
    look_at(sink, GLASS_TRANSITION, "tg", &m.tg);
    look_at(sink, SERVICE, "service_temperature", &m.service_temperature);
    look_at(sink, PART_MASS, "mass", &m.mass);
    look_at(sink, LINEAR_MASS, "linear_mass", &m.linear_mass);
    if let Some(lamina) = &m.lamina {
        elastic(sink, lamina);
    }
    if let Some(values) = &m.strength {
        strength(sink, values);
    }
}

fn elastic(sink: &mut Sink, lamina: &Elastic) {
    use super::ranges::typed;
    for (at, value) in [("lamina.E1", &lamina.e1), ("lamina.E2", &lamina.e2), ("lamina.G12", &lamina.g12)] {
        look(sink, PLY_MODULUS, at, typed(value));
    }
}

fn strength(sink: &mut Sink, values: &Strength) {
    use super::ranges::typed;
    for (key, value) in values.figures() {
        look(sink, PLY_STRENGTH, &format!("strength.{key}"), value.and_then(typed));
    }
}

pub(super) fn process(sink: &mut Sink, process: &Process) {
    for (list, cycle) in [("cure", &process.cure), ("postcure", &process.postcure)] {
        let Some(Cycle(segments)) = cycle else { continue };
        for (index, segment) in segments.iter().enumerate() {
            look_at(sink, RAMP, &entry(list, index, "ramp"), &segment.ramp);
            look(sink, CURE, &entry(list, index, "to"), Some(&segment.to));
            look_at(sink, HOLD, &entry(list, index, "hold"), &segment.hold);
        }
    }
    look_at(sink, PRESSURE, "pressure", &process.pressure);
    look_at(sink, VACUUM, "vacuum", &process.vacuum);
    look_at(sink, OUT_TIME, "max_out_time", &process.max_out_time);
}

pub(super) fn finish(sink: &mut Sink, finish: &Finish) {
    look_at(sink, REPAINT, "repaint", &finish.repaint);
    for (index, coat) in finish.coats.iter().enumerate() {
        look(sink, DRY_FILM, &entry("coats", index, "dry_film"), Some(&coat.dry_film));
    }
}

pub(super) fn recipe(sink: &mut Sink, recipe: &Recipe) {
    look(sink, RESIN_CONTENT, "resin.content", recipe.resin.as_ref().map(|resin| &*resin.content));
}

pub(super) fn layer(sink: &mut Sink, index: usize, layer: &Layer, material: &Material) {
    look_at(sink, ANGLE, &entry("layers", index, "angle"), &layer.angle);
    let thickness = if material.kind == MaterialKind::Core { CORE_THICKNESS } else { BOND_LINE };
    look_at(sink, thickness, &entry("layers", index, "thickness"), &layer.thickness);
}

pub(super) fn panel(sink: &mut Sink, panel: &Panel) {
    let coldest =
        |exposure: &Option<crate::record::Exposure>| exposure.as_ref().and_then(|e| e.minimum.clone());
    look_at(sink, COLDEST, "exposure.minimum", &coldest(&panel.exposure));
    look_at(sink, OVERLAP, "overlap", &panel.overlap);
    for (index, zone) in panel.zones.iter().enumerate() {
        look(sink, AREA, &entry("zones", index, "area"), Some(&zone.area));
        let thickness = zone.sheet.as_ref().map(|sheet| &*sheet.thickness);
        look(sink, SHEET_THICKNESS, &entry("zones", index, "sheet.thickness"), thickness);
        look_at(sink, COLDEST, &entry("zones", index, "exposure.minimum"), &coldest(&zone.exposure));
    }
    for (index, joint) in panel.joints.iter().enumerate() {
        look(sink, JOINT_LENGTH, &entry("joints", index, "length"), Some(&joint.length));
        look(sink, JOINT_WIDTH, &entry("joints", index, "width"), Some(&joint.width));
        look_at(sink, BOND_LINE, &entry("joints", index, "thickness"), &joint.thickness);
        look_at(sink, SQUEEZE_OUT, &entry("joints", index, "squeeze_out"), &joint.squeeze_out);
    }
    for (index, edge) in panel.edges.iter().enumerate() {
        look(sink, EDGE_LENGTH, &entry("edges", index, "length"), Some(&edge.length));
    }
}

/// What a panel carries, and the plate that stands for it.
pub(super) fn carried(sink: &mut Sink, panel: &Panel) {
    for (index, load) in panel.loads.iter().enumerate() {
        if let Some(pressure) = load.pressure.as_ref().filter(|own| own.si() != 0.0) {
            // Suction may be written with a sign.
            look_figure(sink, LOAD, &entry("loads", index, "pressure"), pressure.si().abs(), pressure.text());
        }
        let factors =
            [(FACTOR, "factor", load.factor), (SPECIAL_FACTOR, "special_factor", load.special_factor)];
        for (usual, key, factor) in factors {
            if let Some(factor) = factor {
                look_figure(sink, usual, &entry("loads", index, key), factor, &factor.to_string());
            }
        }
    }
    let Some(plate) = &panel.plate else { return };
    look(sink, PLATE_SIDE, "plate.length", Some(&plate.length));
    look(sink, PLATE_SIDE, "plate.width", Some(&plate.width));
    let is_meant = |name: &str| plate.zone.as_ref().is_none_or(|zone| zone.as_str() == name);
    let zones = panel.zones.iter().filter(|zone| is_meant(zone.name.as_str()));
    let Some(largest) = zones.max_by(|one, two| one.area.si().total_cmp(&two.area.si())) else { return };
    let all = plate.length.si() * plate.width.si();
    if all > PLATE_OVER_ZONE * largest.area.si() {
        let message = format!(
            "the plate, {} x {}, is larger than the zone `{}` with its {}",
            plate.length.text(),
            plate.width.text(),
            largest.name,
            largest.area.text()
        );
        sink.warning("implausible", "plate", message)
            .label("larger than what it stands for")
            .help("correct a side, the area, or name the `zone` that it stands for; leave it if it is meant");
    }
}

/// The climate that skins are heated by.
pub(super) fn climate(sink: &mut Sink, climate: &Climate) {
    look(sink, AMBIENT, "climate.ambient", Some(&climate.ambient));
    look(sink, IRRADIANCE, "climate.irradiance", Some(&climate.irradiance));
    look_at(sink, SKY, "climate.sky", &climate.sky);
    look_at(sink, WIND, "climate.wind", &climate.wind);
    look_at(sink, WIND, "climate.structural_wind", &climate.structural_wind);
}

pub(super) fn tested(sink: &mut Sink, at: &str, temperature: Option<&Quantity>) {
    look(sink, TESTED, at, temperature);
}

/// How far the values of a data file lie from a criterion, where that is a unit or a decimal point rather
/// than a result: the factor, the middle value and the criterion. `values` are in `unit`.
///
/// Only of stresses: the zero of a temperature scale, and ratings, have no factor.
pub(super) fn far_off(accept: &Accept, unit: &str, values: &[f64]) -> Option<(f64, f64, String)> {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let middle = *sorted.get(sorted.len() / 2)?;
    let stress = |unit: &str| Quantity::parse(Kind::Stress, &format!("1 {unit}")).is_ok();
    if !stress(unit) || middle <= 0.0 {
        return None;
    }
    let mut least = [&accept.at_least, &accept.mean_at_least, &accept.all_at_least].into_iter().flatten();
    least.find_map(|limit| {
        let wanted = limit.number_in(unit).filter(|wanted| *wanted > 0.0)?;
        let factor = (middle / wanted).max(wanted / middle);
        (factor > FAR).then(|| (factor, middle, limit.text().to_string()))
    })
}
