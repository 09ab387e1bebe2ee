//! The mass through the commits, and what moved it; the statement of today.

use super::Site;
use super::budgets::budgets;
use super::filters::signed;
use super::svg::{Anchor, Axis, Figure, Svg};
use super::tables::Page;
use crate::report::history::Step;
use crate::report::mass::{self, decimals};
use serde_json::{Map, Value, json};

const WIDTH: f64 = 900.0;
const HEIGHT: f64 = 320.0;
/// How far a mass may lie from that of now to be drawn with it, as a share.
const SETTLED: f64 = 0.2;
/// Below this a commit did not move the mass, kg.
const MOVED: f64 = 5e-4;

/// Returns template, title and context.
pub(super) fn context(site: &Site<'_>) -> (&'static str, String, Page) {
    let inputs = &site.inputs;
    let statement = &site.known.statement;
    let mut all = Map::new();
    let mut put = |name: &str, value: Value| all.insert(name.to_string(), value);
    let opening = match statement {
        Ok(own) => format!(
            "One aircraft's panels weigh {} kg, between {} and {} kg; with growth {} kg.",
            decimals(own.total.kg, 3),
            decimals(own.total.low_kg, 3),
            decimals(own.total.high_kg, 3),
            decimals(own.total.with_growth_kg, 3)
        ),
        Err(missing) => format!("The mass can't be worked out: {missing}."),
    };
    put("opening", json!(opening));
    put("budget", json!(statement.as_ref().ok().and_then(budgets).map(|figure| figure.json())));
    put("line", json!(line(&inputs.history).map(|figure| figure.json())));
    let document = statement.as_ref().ok().map(mass::json);
    put("mass", document.unwrap_or(Value::Null));
    let steps = inputs.history.iter().map(|step| {
        json!({
            "on": step.on.to_string(),
            "commit": step.commit.get(..7).unwrap_or(&step.commit),
            "summary": step.summary,
            "kg": step.kg,
            "delta_kg": step.delta_kg.filter(|delta| delta.abs() >= MOVED),
            "decisions": step.decisions,
            "others": step.others,
            "not_met": step.progress.as_ref().map(|own| own.counts.iter().filter(|(word, _)| !matches!(**word, "met" | "conceded")).map(|(_, n)| n).sum::<usize>()),
        })
    });
    put("steps", steps.collect());
    ("mass.html", "Mass and its history".to_string(), all.into())
}

/// Draws the mass after each commit, oldest first; `None` for fewer than two.
fn line(history: &[Step]) -> Option<Figure> {
    let all: Vec<(&Step, f64)> = history.iter().filter_map(|step| Some((step, step.kg?))).collect();
    // A mass far from that of now, as while panels are being entered, would flatten the rest of the line.
    let now = all.first().map_or(0.0, |(_, kg)| *kg);
    let settled = |kg: f64| (kg - now).abs() <= SETTLED * now.abs();
    let mut steps: Vec<(&Step, f64)> = all.iter().copied().take_while(|(_, kg)| settled(*kg)).collect();
    let earlier = all.len() - steps.len();
    steps.reverse();
    if steps.len() < 2 {
        return None;
    }
    let (left, right, top, bottom) = (70.0, WIDTH - 20.0, 30.0, HEIGHT - 50.0);
    let mut svg = Svg::new(WIDTH, HEIGHT);
    let axis = Axis::over(steps.iter().map(|(_, kg)| *kg), 6, bottom, top);
    axis.beside(&mut svg, left, right, "kg; the axis does not begin at 0");
    let gap = (right - left) / (steps.len() - 1) as f64;
    let x = |at: usize| left + gap * at as f64;
    // It stays what it is until the next commit.
    let mut points = Vec::new();
    for (at, (_, kg)) in steps.iter().enumerate() {
        if let Some((_, before)) = at.checked_sub(1).and_then(|before| steps.get(before)) {
            points.push((x(at), axis.px(*before)));
        }
        points.push((x(at), axis.px(*kg)));
    }
    svg.path("line", &points);
    let mut labelled = f64::NEG_INFINITY;
    for (at, (step, kg)) in steps.iter().enumerate() {
        let moved = step.delta_kg.is_some_and(|delta| delta.abs() >= MOVED);
        if moved {
            let grew = step.delta_kg.is_some_and(|delta| delta > 0.0);
            svg.circle(if grew { "wants" } else { "holds" }, (x(at), axis.px(*kg)), 4.0);
        }
        if at == 0 || at + 1 == steps.len() || x(at) - labelled > 110.0 {
            if at + 1 < steps.len() && right - x(at) < 110.0 && at != 0 {
                continue;
            }
            let anchor = if at + 1 == steps.len() { Anchor::End } else { Anchor::Start };
            svg.text("faint", (x(at), bottom + 18.0), anchor, &step.on.to_string());
            labelled = x(at);
        }
    }
    svg.text(
        "faint",
        (right, bottom + 36.0),
        Anchor::End,
        "commits, oldest first; a dot where one moved the mass",
    );
    let more = match earlier {
        0 => String::new(),
        n => {
            format!(" {n} earlier ones are not drawn: there the mass lay more than a fifth from that of now.")
        }
    };
    let caption = format!(
        "Mass of the programme after {} commits whose mass can be worked out, each judged as of today.{more}",
        steps.len()
    );
    let rows = steps.iter().map(|(step, kg)| {
        vec![
            step.on.to_string(),
            step.summary.clone(),
            decimals(*kg, 3),
            step.delta_kg.map_or_else(String::new, |delta| signed(delta, 3)),
        ]
    });
    Some(Figure {
        left: 0,
        svg: svg.finish("Mass through the commits", &caption),
        caption,
        columns: vec![("on", false), ("commit", false), ("kg", true), ("change", true)],
        rows: rows.collect(),
    })
}
