//! A frame section to scale: its walls, its centroid and its shear centre.

use super::svg::{Anchor, Figure, Svg};
use crate::qualify::margins::FrameState;
use crate::record::FrameSection;

const FIELD: f64 = 300.0;
const WIDTH: f64 = 560.0;

/// Draws a section; `None` where it has no wall between known corners.
pub(super) fn frame(section: &FrameSection, state: &FrameState) -> Option<Figure> {
    let corner = |name: &str| {
        let [y, z] = section.corners.get(name)?;
        Some((y.si() * 1e3, z.si() * 1e3))
    };
    type Wall<'a> = (String, &'a str, (f64, f64), (f64, f64));
    let walls: Vec<Wall<'_>> = section
        .walls
        .iter()
        .enumerate()
        .filter_map(|(at, wall)| {
            let named = wall.name.as_ref().or(wall.zone.as_ref()).or(wall.joint.as_ref());
            let name = named.map_or_else(|| (at + 1).to_string(), ToString::to_string);
            let kind = state.walls.iter().find(|own| own.wall == name).map_or("laminate", |own| own.kind);
            Some((name, kind, corner(wall.from.as_str())?, corner(wall.to.as_str())?))
        })
        .collect();
    let all = || walls.iter().flat_map(|(_, _, one, two)| [*one, *two]);
    let low = all().fold((f64::INFINITY, f64::INFINITY), |low, own| (low.0.min(own.0), low.1.min(own.1)));
    let high = all()
        .fold((f64::NEG_INFINITY, f64::NEG_INFINITY), |most, own| (most.0.max(own.0), most.1.max(own.1)));
    let span = (high.0 - low.0).max(high.1 - low.1);
    if walls.is_empty() || span <= 0.0 || !span.is_finite() {
        return None;
    }
    let scale = FIELD / span;
    let (left, top) = (110.0, 40.0);
    // z points up.
    let px = |(y, z): (f64, f64)| (left + (y - low.0) * scale, top + (high.1 - z) * scale);
    let height = (high.1 - low.1) * scale;
    let mut svg = Svg::new(WIDTH, top + height + 60.0);
    for (_, kind, from, to) in &walls {
        let (one, two) = (px(*from), px(*to));
        let class = match *kind {
            "sheet" => "other",
            "bond" => "limit",
            _ => "line",
        };
        svg.line(class, one, two);
        svg.circle("hollow", one, 2.5);
        svg.circle("hollow", two, 2.5);
    }
    // Walls that lie on each other have their numbers side by side.
    let mut words: Vec<((f64, f64), String)> = Vec::new();
    for (at, (_, _, from, to)) in walls.iter().enumerate() {
        let (one, two) = (px(*from), px(*to));
        let middle = ((one.0 + two.0) / 2.0 + 7.0, (one.1 + two.1) / 2.0 - 5.0);
        let near = |(known, _): &&mut ((f64, f64), String)| {
            (known.1 - middle.1).abs() < 12.0 && (known.0 - middle.0).abs() < 14.0
        };
        match words.iter_mut().find(near) {
            Some((_, all)) => all.push_str(&format!(", {}", at + 1)),
            None => words.push((middle, (at + 1).to_string())),
        }
    }
    for (place, word) in &words {
        svg.text("", *place, Anchor::Start, word);
    }
    let mark = |svg: &mut Svg, at: [f64; 2], word: &str, class: &str, below: f64| {
        let (x, y) = px((at[0] * 1e3, at[1] * 1e3));
        let (x, y) = (x.clamp(4.0, WIDTH - 120.0), y.clamp(4.0, top + height + 30.0));
        svg.circle(class, (x, y), 4.5);
        svg.text("faint", (x + 8.0, y + below), Anchor::Start, word);
    };
    mark(&mut svg, state.rigidity.centroid, "centroid", "holds", -6.0);
    if let Some(centre) = state.shear_centre {
        mark(&mut svg, centre, "shear centre", "hollow", 14.0);
    }
    let foot = top + height + 44.0;
    let round = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0];
    let bar = round.into_iter().rev().find(|own| own * scale <= FIELD / 3.0).unwrap_or(span / 4.0);
    svg.line("axis", (left, foot), (left + bar * scale, foot));
    svg.text("faint", (left + bar * scale + 8.0, foot + 4.0), Anchor::Start, &format!("{bar} mm"));
    let caption = format!(
        "The frame section to scale, y to the right and z up, {} mm over all: laminates as a full line, sheet and bonds broken; numbers as in the table.",
        crate::calc::figure(span)
    );
    let rows = walls.iter().enumerate().map(|(at, (name, kind, one, two))| {
        vec![
            (at + 1).to_string(),
            name.clone(),
            (*kind).to_string(),
            format!("{:.1}, {:.1}", one.0, one.1),
            format!("{:.1}, {:.1}", two.0, two.1),
        ]
    });
    Some(Figure {
        left: 0,
        svg: svg.finish("Frame section", &caption),
        caption,
        columns: vec![
            ("number", true),
            ("wall", false),
            ("kind", false),
            ("from y, z mm", true),
            ("to y, z mm", true),
        ],
        rows: rows.collect(),
    })
}
