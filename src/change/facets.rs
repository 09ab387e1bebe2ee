//! Which facet an edited attribute counts in, and the class of change that the facet belongs to.

use crate::record::RecordKind;
use serde_json::Value;

/// Where the facet of an attribute is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// The attribute's own facet; `None`: in no facet.
    Facet(Option<&'static str>),
    /// The attribute names another record: the facet is what differs behind it.
    Reference(RecordKind),
}

/// Returns the facet of an attribute of a record of `kind`; `record` decides where the same key means
/// different things.
pub fn facet_of_route(kind: RecordKind, attribute: &str, record: &Value) -> Target {
    let own = record.get("kind").and_then(Value::as_str).unwrap_or_default();
    let facet = match kind {
        RecordKind::Material => material(attribute, own, record.get("role").and_then(Value::as_str)),
        RecordKind::Process => process(attribute),
        RecordKind::Tool => match attribute {
            "from" => return Target::Reference(RecordKind::Tool),
            _ => tool(attribute),
        },
        RecordKind::Finish => match attribute {
            "process" => return Target::Reference(RecordKind::Process),
            "coats.material" => return Target::Reference(RecordKind::Material),
            "colour.solar_absorptance" | "colour.emittance" | "colour" => Some("colour"),
            "coats.dry_film" | "coats.removed" | "coats" | "repaint" => Some("film-build"),
            _ => None,
        },
        RecordKind::Recipe => match attribute {
            "process" => return Target::Reference(RecordKind::Process),
            "layers.material" | "resin.material" => return Target::Reference(RecordKind::Material),
            "layers" | "layers.angle" | "mirror" => Some("plies"),
            "layers.thickness" => Some("core-thickness"),
            "resin" | "resin.content" => Some("resin-content"),
            _ => None,
        },
        RecordKind::Panel => match attribute {
            "zones.recipe" => return Target::Reference(RecordKind::Recipe),
            "zones.finish" => return Target::Reference(RecordKind::Finish),
            "zones.sheet.material" | "joints.adhesive" => return Target::Reference(RecordKind::Material),
            "joints.process" => return Target::Reference(RecordKind::Process),
            "tool" => return Target::Reference(RecordKind::Tool),
            _ => panel(attribute),
        },
        _ => None,
    };
    Target::Facet(facet)
}

fn material(attribute: &str, kind: &str, role: Option<&str>) -> Option<&'static str> {
    let coat = match role {
        Some("filler") => "filler",
        Some("primer") => "primer",
        Some("clear") => "top-coat",
        _ => "base-coat",
    };
    let identity = match kind {
        "core" => Some("core"),
        "adhesive" => Some("adhesive"),
        "mesh" => Some("mesh"),
        "surfacing" => Some("surfacing"),
        "coating" => Some(coat),
        "sheet" => Some("glazing"),
        "resin" => Some("resin"),
        "part" => Some("edges"),
        _ => None,
    };
    match (attribute, kind) {
        ("kind" | "designation" | "formerly", _) => identity,
        ("fibre.name" | "fibre.type" | "fibre.density" | "fibre", _) => Some("fibre"),
        ("fibre.areal", _) | ("areal", "fabric") => Some("fibre-areal"),
        ("areal", "adhesive" | "mesh" | "surfacing") => identity,
        ("form" | "cured_thickness", "fabric" | "prepreg") => Some("weave"),
        ("form" | "cell", "core") => Some("core"),
        ("cured_thickness", "adhesive" | "mesh" | "surfacing") => identity,
        ("density", "core") => Some("core-density"),
        ("density", "resin") => Some("resin"),
        ("density", "adhesive") => Some("adhesive"),
        ("dry_density" | "role", "coating") => Some(coat),
        ("resin.content", _) | ("resin_uptake" | "resin_fill", _) => Some("resin-content"),
        ("resin" | "resin.name" | "resin.density" | "resin.family", _) => Some("resin"),
        ("family", "resin" | "prepreg") => Some("resin"),
        ("metal", _) => Some("mesh"),
        ("out_life", _) => Some("out-time"),
        ("supplier" | "site", "sheet") => Some("glazing"),
        // Paint's own supplier is kept by no configuration: a product is its designation.
        ("supplier" | "site", "coating" | "part") => None,
        ("supplier" | "site" | "impregnation", _) => Some("site"),
        _ => None,
    }
}

fn process(attribute: &str) -> Option<&'static str> {
    match attribute.split('.').next().unwrap_or_default() {
        "method" | "cure" | "pressure" | "vacuum" | "postcure" | "bleed" | "surface_preparation" => {
            Some("cure")
        }
        "max_out_time" => Some("out-time"),
        "site" => Some("site"),
        _ => None,
    }
}

fn tool(attribute: &str) -> Option<&'static str> {
    matches!(attribute, "body" | "cte" | "tg" | "surface" | "sealed" | "survey").then_some("tool")
}

fn panel(attribute: &str) -> Option<&'static str> {
    let first = attribute.split('.').next().unwrap_or_default();
    match (attribute, first) {
        ("zones.exposure", _) | (_, "exposure") => Some("environment"),
        _ if attribute.starts_with("zones.exposure.") => Some("environment"),
        _ if attribute.starts_with("zones.sheet") => Some("glazing"),
        (
            "zones.centroid" | "zones.name" | "joints.name" | "joints.centroid" | "edges.name"
            | "edges.centroid" | "fittings.name" | "fittings.at" | "section.walls.name",
            _,
        ) => None,
        (
            _,
            "zones" | "joints" | "overlap" | "painted" | "plate" | "section" | "loads" | "class"
            | "load_path",
        ) => Some("geometry"),
        (_, "edges" | "fittings" | "holes") => Some("edges"),
        _ => None,
    }
}

/// Returns the class of change of a facet.
///
/// # Source
/// AC 20-107B / AMC 20-29 appendix 3, from memory; `design` and `finish` are the project's own words for
/// what that appendix does not class.
pub fn class_of(facet: &str, address: &str) -> Option<&'static str> {
    Some(match facet {
        "fibre" | "weave" | "fibre-areal" | "resin" | "resin-content" => "A",
        "site" if address.starts_with("material/") => "B",
        "cure" | "out-time" | "site" | "tool" => "C",
        "filler" | "primer" | "base-coat" | "top-coat" | "film-build" | "colour" => "finish",
        "plies" | "core" | "core-density" | "core-thickness" | "adhesive" | "surfacing" | "mesh"
        | "geometry" | "edges" | "environment" | "glazing" => "design",
        _ => return None,
    })
}
