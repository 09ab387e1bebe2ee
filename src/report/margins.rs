//! Margins in words and as JSON.

use crate::change::margins::MarginMove;
use crate::qualify::margins::{DesignValue, Margin, Origin, Uncomputed};
use serde_json::{Value, json};

/// Writes a margin with its sign and two decimals, four where two would hide the sign.
pub fn figure(margin: f64) -> String {
    crate::qualify::margins::signed(margin)
}

/// Writes how a margin fails and where: `wrinkling, zone shell` or `shear in p2 (45), zone shell`.
pub fn mode_words(margin: &Margin) -> String {
    let environment = margin.environment.as_ref().map_or(String::new(), |own| format!(", {own}"));
    format!("{}, {}{environment}", layer_words(margin), margin.place)
}

/// Returns the cells of a margin that moves: panel, load case, what it was, what it is, what governs now.
pub(super) fn moved_cells(row: &MarginMove) -> [String; 5] {
    let written = |margin: &Option<Margin>, none: &str| {
        margin.as_ref().map_or_else(|| none.to_string(), |margin| figure(margin.margin))
    };
    let governs = match (&row.now, &row.lacking) {
        // What can't be computed might govern.
        (Some(_), Some(why)) => format!("not complete: {why}"),
        (Some(now), None) => mode_words(now),
        (None, Some(why)) => why.clone(),
        (None, None) => "no longer asked".to_string(),
    };
    let none = if row.lacking.is_some() { "?" } else { "-" };
    [row.panel.clone(), row.case.clone(), written(&row.was, "new"), written(&row.now, none), governs]
}

/// Writes how a margin fails, and in which layer.
pub(super) fn layer_words(margin: &Margin) -> String {
    let layer = margin.layer.as_ref().map_or(String::new(), |layer| {
        let name = layer.name.clone().unwrap_or_else(|| format!("layer {}", layer.number));
        let angle = layer.angle_deg.map_or(String::new(), |angle| format!(" ({})", degrees(angle)));
        format!(" in {name}{angle}")
    });
    format!("{}{layer}", margin.mode)
}

/// Writes an angle in degrees without more digits than it has.
pub fn degrees(angle: f64) -> String {
    let text = format!("{angle:.2}");
    let text = if text == "-0.00" { "0".to_string() } else { text };
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// Returns a margin as JSON.
pub fn margin_json(margin: &Margin) -> Value {
    json!({
        "check": margin.check.word(),
        "case": margin.case,
        "place": margin.place,
        "criterion": margin.criterion,
        "mode": margin.mode,
        "margin": margin.margin,
        "layer": margin.layer.as_ref().map(|layer| json!({
            "number": layer.number,
            "name": layer.name,
            "material": layer.material,
            "angle_deg": layer.angle_deg,
            "face": layer.face,
        })),
        "words": margin.words,
        "environment": margin.environment,
        "rests_on": margin.rests.iter().map(|rest| json!({
            "showing": rest.showing,
            "subject": rest.subject.to_string(),
            "verdict": rest.verdict.word(),
        })).collect::<Vec<_>>(),
        "notes": margin.notes,
    })
}

/// Returns what could not be computed as JSON.
pub fn uncomputed_json(own: &Uncomputed) -> Value {
    json!({ "check": own.check.word(), "case": own.case, "place": own.place, "lacks": own.why })
}

/// Returns a design value as JSON, in SI units.
pub fn value_json(value: &DesignValue) -> Value {
    let mut own = json!({ "what": value.what, "value_si": value.value, "from": "typed in" });
    if let (Origin::Evidence(support), Some(map)) = (&value.from, own.as_object_mut()) {
        map.insert("from".to_string(), json!(format!("showing/{}", support.showing)));
        map.insert("subject".to_string(), json!(support.subject.to_string()));
        map.insert("verdict".to_string(), json!(support.verdict.word()));
        map.insert("evidence".to_string(), json!(support.evidence));
        map.insert("specimens".to_string(), json!(support.n));
        map.insert("statistic".to_string(), json!(support.statistic));
        map.insert("method".to_string(), json!(support.method));
        map.insert("environment".to_string(), json!(support.environment));
        map.insert("estimate".to_string(), json!(support.estimate));
        map.insert("normalised_to".to_string(), json!(support.normalised));
    }
    own
}
