//! Readings of an exposure trial against time, with the limit and where a line through them meets it.

use super::svg::{Anchor, Axis, Figure, Svg, cut};
use crate::qualify::trial::{PropertyState, SiteState, with_place};
use crate::record::ReadingLimit;

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 300.0;
/// Panels that have a word at their last reading.
const NAMED: usize = 6;
const ROWS: usize = 200;
/// How far beyond the last reading a line is drawn, as a share of what was read.
const AHEAD: f64 = 1.5;

/// Draws one property at one site; `None` where fewer than two readings are numbers.
pub(super) fn readings(site: &SiteState, own: &PropertyState, limits: &[ReadingLimit]) -> Option<Figure> {
    let unit = own.last.unit.word();
    let lines: Vec<(String, Vec<(f64, f64)>)> = own
        .panels
        .iter()
        .map(|panel| {
            let points = panel.points.iter();
            let points =
                points.filter_map(|point| Some((point.exposure.number, point.value.number()?))).collect();
            (with_place(&panel.panel, panel.place.as_deref()), points)
        })
        .collect();
    let all = || lines.iter().flat_map(|(_, points)| points.iter().copied());
    if all().count() < 2 {
        return None;
    }
    let asked = limits.iter().filter(|limit| limit.property == own.property && limit.asks(site.kind));
    let bounds: Vec<f64> = asked
        .flat_map(|limit| [&limit.at_least, &limit.at_most])
        .flatten()
        .filter_map(|text| own.property.value(text.as_str()).ok()?.number())
        .collect();
    let last = all().map(|(x, _)| x).fold(0.0, f64::max);
    let projected = own.projected.as_ref().and_then(|found| found.as_ref().ok());
    let end = projected.map_or(last, |found| found.at.clamp(last, last * (1.0 + AHEAD)));
    let line = projected.map(|found| {
        let at = |x: f64| found.intercept + found.slope * x;
        [(0.0, at(0.0)), (end, at(end))]
    });
    let (left, right, top, bottom) = (60.0, WIDTH - 130.0, 34.0, HEIGHT - 50.0);
    let across = Axis::over([0.0, last, end], 6, left, right);
    let ends = line.iter().flatten().map(|(_, y)| *y);
    let up = Axis::over(all().map(|(_, y)| y).chain(bounds.iter().copied()).chain(ends), 5, bottom, top);
    let mut svg = Svg::new(WIDTH, HEIGHT);
    across.below(&mut svg, top, bottom, &format!("exposure, {unit}"));
    let property_unit = own.property.unit();
    let name =
        if property_unit.is_empty() { own.what.clone() } else { format!("{}, {property_unit}", own.what) };
    up.beside(&mut svg, left, right, "");
    svg.text("strong", (0.0, 14.0), Anchor::Start, &cut(&name, WIDTH));
    for bound in &bounds {
        svg.line("limit", (left, up.px(*bound)), (right, up.px(*bound)));
        svg.text("wants", (right + 8.0, up.px(*bound) + 4.0), Anchor::Start, "limit");
    }
    if let Some([from, to]) = line {
        svg.line("other", (across.px(from.0), up.px(from.1)), (across.px(to.0), up.px(to.1)));
    }
    for (at, (panel, points)) in lines.iter().enumerate() {
        let px: Vec<(f64, f64)> = points.iter().map(|(x, y)| (across.px(*x), up.px(*y))).collect();
        svg.path("lead", &px);
        for place in &px {
            svg.circle("hollow", *place, 3.2);
        }
        if let Some((x, y)) = px.last().filter(|_| at < NAMED) {
            svg.text("faint", (x + 6.0, y - 5.0), Anchor::Start, &cut(panel, 120.0));
        }
    }
    let limit = own.limit.as_ref().map_or("no limit".to_string(), |limit| format!("limit {limit}"));
    let ahead = match &own.projected {
        Some(Ok(found)) if found.at > end => {
            " The broken line goes through the readings of the panel that is nearest; it meets the limit beyond the drawing.".to_string()
        }
        Some(Ok(found)) => format!(
            " The broken line goes through the readings of the panel that is nearest and meets the limit near {} {unit}: an estimate.",
            crate::calc::figure((found.at * 10.0).round() / 10.0)
        ),
        Some(Err(why)) => format!(" No time is projected: {why}."),
        None => String::new(),
    };
    let caption = format!("{} at {} ({}), panel by panel; {limit}.{ahead}", own.what, site.name, site.kind);
    let rows = own.panels.iter().flat_map(|panel| {
        panel.points.iter().map(move |point| {
            vec![
                with_place(&panel.panel, panel.place.as_deref()),
                point.exposure.to_string(),
                own.property.shown(point.value),
                point.on.map_or_else(String::new, |day| day.to_string()),
            ]
        })
    });
    Some(Figure {
        left: 0,
        svg: svg.finish("Readings against time", &caption),
        caption,
        columns: vec![("panel", false), ("after", true), ("read", true), ("on", true)],
        rows: rows.take(ROWS).collect(),
    })
}
