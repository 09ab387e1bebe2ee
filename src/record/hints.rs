//! What people write where a record wants something else, and how the parts of records look.

use super::shape::{Field, Part, Shape};
use super::wording::nearest;

/// Words that people use for a key, and the key: first what was written.
///
/// Nearness of letters would take `from` for `drop`.
const SYNONYMS: &[(&str, &str)] = &[
    ("from", "was"),
    ("old", "was"),
    ("before", "was"),
    ("new", "to"),
    ("name", "title"),
    ("name", "id"),
    ("description", "title"),
    ("comment", "notes"),
    ("comments", "notes"),
    ("remarks", "notes"),
    ("id", "name"),
    ("date", "on"),
    ("date", "made"),
    ("day", "on"),
    ("date", "until"),
    ("approved", "approvals"),
    ("approval", "approvals"),
    ("weight", "mass"),
    ("measured", "mass"),
    ("color", "colour"),
    ("plies", "layers"),
    ("stack", "layers"),
    ("layup", "layers"),
    ("orientation", "angle"),
    ("criterion", "accept"),
    ("clauses", "clause"),
    ("file", "data"),
    ("csv", "data"),
    ("serial", "serials"),
    ("at", "set"),
    ("minimum", "at_least"),
    ("min", "at_least"),
    ("maximum", "at_most"),
    ("max", "at_most"),
    ("part", "material"),
];

/// How parts look: the kind of the part or record, the key, what may stand behind it, and other ways or a
/// remark. Words in capitals and `...` are to be filled in, so that nobody pastes a figure whose source nobody
/// knows.
const LOOKS: &[(&str, &str, &str, &str)] = &[
    (
        "",
        "subject",
        "{lamina: [PREPREG, PROCESS]}",
        ", `{laminate: RECIPE}`, `{painted: [RECIPE, FINISH]}` or `{panel: PANEL}`",
    ),
    ("subject label", "lamina", "[PREPREG, PROCESS]", " or `[FABRIC, RESIN, PROCESS]`"),
    ("subject label", "painted", "[RECIPE, FINISH]", ""),
    ("subject label", "bond", "[ADHESIVE, PROCESS, laminate.RECIPE, sheet.MATERIAL]", ""),
    ("subject label", "sheet", "[MATERIAL, THICKNESS]", ""),
    (
        "",
        "accept",
        "{basis: B, at_least: ... MPa}",
        ", `{rating_at_least: ...}`, `{statement: true}` or the like",
    ),
    ("", "covers", "{ATTRIBUTE: {at_most: ...}}", ", or `failed`"),
    ("", "zones", "[{name: NAME, recipe: RECIPE, area: ... m2}]", ""),
    ("", "layers", "[{material: MATERIAL, angle: 45}]", ", from the tool face inward"),
    ("", "coats", "[{material: COATING, dry_film: ... um}]", ", from the laminate outward"),
    ("", "children", "[{panel: PANEL, count: 1}]", ""),
    ("", "changes", "[{set: RECORD#PLACE, was: ..., to: ...}]", ""),
    ("", "approvals", "[{role: ROLE, on: YEAR-MONTH-DAY}]", ""),
    ("", "serials", "[SERIAL, SERIAL]", ""),
    ("", "cure", "[{ramp: ... K/min, to: ... degC, hold: ... min}]", ""),
    ("prepreg", "fibre", "{name: NAME, type: carbon, density: ... kg/m3, areal: ... g/m2}", ""),
    ("", "fibre", "{name: NAME, type: carbon, density: ... kg/m3}", ""),
    ("prepreg", "resin", "{name: NAME, content: ... %, density: ... kg/m3}", ""),
    ("recipe", "resin", "{material: RESIN, content: ... %}", ""),
    ("", "tested", "{temperature: ... degC, moisture: WORD}", ""),
    (
        "showing",
        "kind",
        "KIND",
        " of the built-in table, such as lamina-strength-fibre, core-shear or paint-adhesion",
    ),
];

/// How `key` is written with what stands behind it, where a few words say it.
pub(crate) fn look(part: &str, key: &str) -> Option<String> {
    let fits = |of: &str| of.is_empty() || of == part;
    let (.., look, more) = LOOKS.iter().find(|(of, name, ..)| fits(of) && *name == key)?;
    Some(format!("`{key}: {look}`{more}"))
}

/// The key of `part` that was probably meant by one that it has not, none of the keys that stand there.
pub(crate) fn meant<'p>(key: &str, part: &'p Part, there: &[String]) -> Option<&'p str> {
    let names = || {
        let free = |field: &&Field| !there.contains(&field.key);
        part.fields.iter().filter(free).map(|field| field.key.as_str())
    };
    let written = key.to_lowercase();
    SYNONYMS
        .iter()
        .filter(|(other, _)| *other == written)
        .find_map(|(_, ours)| names().find(|name| name == ours))
        .or_else(|| nearest(key, names()))
}

/// How to write a key that is missing.
pub(crate) fn example(part: &str, field: &Field) -> String {
    let key = &field.key;
    let example = match (&field.example, &field.shape, look(part, key)) {
        // A figure that is pasted without a thought would be one that nobody knows the source of.
        (Some(example), ..) => return format!("add `{key}`, for example `{key}: {example}`"),
        (None, Shape::OneOf(words), _) => words.join(" | "),
        (None, Shape::Reference(_), _) => "ID".to_string(),
        (_, _, Some(look)) => return format!("add {look}"),
        _ => "...".to_string(),
    };
    format!("add `{key}: {example}`")
}
