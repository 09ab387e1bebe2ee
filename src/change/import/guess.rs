//! What a column probably is, by its name: a proposal that is shown and can be edited, never more.

use super::{ImportKind, Mapping, Sheet, Target};
use crate::record::{Form, Material, Panel};
use std::collections::BTreeMap;

/// Units as columns are named by: as people write them, and as they are read here.
const UNITS: [(&str, &str); 34] = [
    ("g/m2", "g/m2"),
    ("g/m²", "g/m2"),
    ("gsm", "g/m2"),
    ("g_m2", "g/m2"),
    ("kg/m2", "kg/m2"),
    ("kg/m3", "kg/m3"),
    ("kg/m³", "kg/m3"),
    ("kg_m3", "kg/m3"),
    ("g/cm3", "g/cm3"),
    ("g/cm³", "g/cm3"),
    ("kg", "kg"),
    ("g", "g"),
    ("mm", "mm"),
    ("um", "um"),
    ("µm", "um"),
    ("μm", "um"),
    ("m", "m"),
    ("m2", "m2"),
    ("m²", "m2"),
    ("mm2", "mm2"),
    ("cm2", "cm2"),
    ("degc", "degC"),
    ("°c", "degC"),
    ("c", "degC"),
    ("%", "%"),
    ("percent", "%"),
    ("mpa", "MPa"),
    ("gpa", "GPa"),
    ("n/mm2", "MPa"),
    ("n/mm²", "MPa"),
    ("psi", "psi"),
    ("h", "h"),
    ("d", "d"),
    ("g/m", "g/m"),
];

/// Names that people give to keys that are called otherwise here.
const MATERIALS: &[(&str, &[&str])] = &[
    ("id", &["id", "material", "code", "name", "material id"]),
    ("title", &["title", "description"]),
    ("kind", &["kind", "type", "category"]),
    ("areal", &["areal", "areal mass", "areal weight", "areal density"]),
    ("fibre.areal", &["fibre areal", "fiber areal", "fibre areal mass", "fibre areal weight"]),
    ("fibre.name", &["fibre", "fiber", "fibre name"]),
    ("fibre.type", &["fibre type", "fiber type"]),
    ("fibre.density", &["fibre density", "fiber density"]),
    ("resin.name", &["resin", "resin name"]),
    ("resin.density", &["resin density"]),
    ("resin.content", &["resin content"]),
    ("form", &["form", "weave"]),
    ("cured_thickness", &["cured thickness", "cured ply thickness", "ply thickness", "thickness"]),
    ("dry_tg", &["dry tg", "tg", "tg dry"]),
    ("wet_tg", &["wet tg", "tg wet"]),
    ("supplier", &["supplier", "vendor"]),
    ("notes", &["notes", "remarks", "comment"]),
];
const PANELS: &[(&str, &[&str])] = &[
    ("id", &["id", "panel", "name", "panel id"]),
    ("title", &["title", "description"]),
    ("quantity", &["quantity", "qty", "count", "number"]),
    ("zone.name", &["zone", "zone name", "region"]),
    ("zone.area", &["area", "zone area"]),
    ("zone.recipe", &["recipe", "laminate", "layup", "lay up"]),
    ("zone.finish", &["finish", "paint"]),
    ("notes", &["notes", "remarks", "comment"]),
];
const SPECIMENS: &[(&str, &[&str])] = &[
    ("batch", &["batch", "lot", "batch id"]),
    ("panel", &["panel", "plate", "panel id"]),
    ("specimen", &["specimen", "id", "specimen id", "sample", "test piece"]),
    ("value", &["value", "strength", "modulus", "result", "stress"]),
    ("rejected", &["rejected", "excluded", "reason rejected"]),
    ("ply thickness", &["ply thickness", "cured ply thickness"]),
    ("thickness", &["thickness", "specimen thickness", "laminate thickness"]),
    ("plies", &["plies", "number of plies"]),
    ("fibre volume", &["fibre volume", "fiber volume", "fibre volume fraction", "vf"]),
    ("width", &["width", "specimen width"]),
    ("mode", &["mode", "failure mode"]),
    ("condition", &["condition", "environment"]),
];

/// Guesses where every column goes; one that nothing fits is left out, and of two for one key the second.
pub fn guessed(kind: ImportKind, sheet: &Sheet) -> Mapping {
    let known = match kind {
        ImportKind::Materials => MATERIALS,
        ImportKind::Panels => PANELS,
        ImportKind::Specimens => SPECIMENS,
    };
    let keys: Vec<String> = match kind {
        ImportKind::Materials => Form::of::<Material>("material").keys(),
        ImportKind::Panels => Form::of::<Panel>("panel").keys(),
        ImportKind::Specimens => Vec::new(),
    }
    .into_iter()
    .map(|form| form.key)
    .collect();
    let mut columns: BTreeMap<String, Target> = BTreeMap::new();
    for column in sheet.columns.iter().filter(|column| !column.is_empty()) {
        let (name, unit) = parted(column);
        let by_name =
            known.iter().find(|(_, names)| names.contains(&name.as_str())).map(|(key, _)| (*key).to_string());
        let by_key = || keys.iter().find(|key| key.to_lowercase().replace('_', " ") == name).cloned();
        let to = by_name.or_else(by_key).unwrap_or_default();
        let taken = columns.values().any(|own: &Target| own.to == to);
        let target = if to.is_empty() || taken {
            Target { to: String::new(), unit: String::new() }
        } else {
            Target { to, unit }
        };
        columns.insert(column.clone(), target);
    }
    Mapping { kind, columns, set: BTreeMap::new() }
}

fn unit_of(word: &str) -> Option<&'static str> {
    let word = word.trim().to_lowercase();
    UNITS.iter().find(|(written, _)| *written == word).map(|(_, unit)| *unit)
}

/// A column's name in small letters with blanks, and the unit behind it: `Area [m2]`, `mass (g)`, `areal_g_m2`.
fn parted(column: &str) -> (String, String) {
    let plain = |text: &str| {
        let text = text.to_lowercase().replace(['_', '-', '.'], " ");
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    for (open, close) in [('[', ']'), ('(', ')')] {
        if let Some((name, rest)) = column.split_once(open)
            && let Some(unit) = rest.trim_end().strip_suffix(close)
        {
            return (plain(name), unit_of(unit).unwrap_or(unit.trim()).to_string());
        }
    }
    // A unit behind the last blank or mark, the longest that is one.
    let marks = column.char_indices().filter(|(_, c)| matches!(c, ' ' | '_' | ','));
    for (at, mark) in marks {
        let (name, unit) = column.split_at(at);
        if let Some(unit) = unit_of(unit.trim_start_matches(mark)).filter(|_| !name.trim().is_empty()) {
            return (plain(name), unit.to_string());
        }
    }
    (plain(column), String::new())
}
