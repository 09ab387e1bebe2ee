//! A retest plan in weeks: what is laid up, conditioned and tested when, and what decides the end.

use super::svg::{Anchor, Axis, Figure, Svg, cut};
use crate::qualify::retest::{PlanStep, RetestPlan};
use crate::report::mass::decimals;
use crate::report::page::count;

const ROW: f64 = 26.0;
const LEFT: f64 = 340.0;
const WIDTH: f64 = 970.0;
const SHOWN: usize = 60;

/// The parts of a step in their order, each with the class that draws it.
fn parts(step: &PlanStep) -> [(f64, &'static str, &'static str); 4] {
    [
        (step.lead_weeks, "hollow", "lead"),
        (step.layup_weeks, "whole t3", "lay-up"),
        (step.conditioning_weeks, "whole t2", "conditioning"),
        (step.test_weeks, "bar", "test"),
    ]
}

/// Draws a plan; `None` where nothing takes time.
pub fn timeline(plan: &RetestPlan) -> Option<Figure> {
    let steps: Vec<&PlanStep> = plan.steps.iter().filter(|step| step.weeks > 0.0).collect();
    if steps.is_empty() {
        return None;
    }
    let shown = steps.len().min(SHOWN);
    let top = 44.0;
    let bottom = top + ROW * shown as f64 + 4.0;
    let mut svg = Svg::new(WIDTH, bottom + 40.0);
    let axis = Axis::over([0.0, plan.weeks], 8, LEFT, WIDTH - 66.0);
    let mut x = LEFT;
    for (_, class, name) in steps.first().map(|step| parts(step)).into_iter().flatten() {
        svg.rect(class, (x, 6.0), (16.0, 12.0));
        svg.text("faint", (x + 21.0, 16.0), Anchor::Start, name);
        x += 40.0 + 7.0 * name.len() as f64;
    }
    svg.circle("wants", (x + 5.0, 12.0), 4.5);
    svg.text("faint", (x + 15.0, 16.0), Anchor::Start, "on the critical path");
    axis.below(&mut svg, top, bottom, "weeks from the decision");
    for (at, step) in steps.iter().take(shown).enumerate() {
        let y = top + ROW * at as f64;
        let critical = plan.critical_path.contains(&step.name());
        if critical {
            svg.circle("wants", (7.0, y + ROW / 2.0), 4.5);
        }
        let class = if critical { "strong" } else { "" };
        svg.text(class, (18.0, y + 11.0), Anchor::Start, &cut(&step.showing, LEFT - 26.0));
        svg.text("faint", (18.0, y + 23.0), Anchor::Start, &cut(&step.build.to_string(), LEFT - 26.0));
        let end = step.finish();
        let mut from = step.start;
        for (weeks, class, _) in parts(step) {
            // What another step shares is counted there: what is left is drawn up to the end.
            let to = (from + weeks).min(end);
            if to > from {
                svg.rect(class, (axis.px(from), y + 4.0), (axis.px(to) - axis.px(from), ROW - 10.0));
            }
            from = to;
        }
        svg.text("", (axis.px(end) + 5.0, y + 17.0), Anchor::Start, &decimals(end, 1));
    }
    let left = steps.len() - shown;
    let more = if left > 0 { format!(" {left} more steps stand in the table.") } else { String::new() };
    let untimed = match plan.steps.len() - steps.len() {
        0 => String::new(),
        n => format!(" Not drawn: {} without a time.", count(n, "step")),
    };
    let caption = format!(
        "Retest plan: {} reported after {} weeks; tests of one article share its panels and run side by side.{untimed}{more}",
        count(plan.steps.len(), "step"),
        decimals(plan.weeks, 1)
    );
    let rows = plan.steps.iter().map(|step| {
        vec![
            decimals(step.start, 1),
            decimals(step.finish(), 1),
            step.showing.clone(),
            step.build.to_string(),
            step.kind.word().to_string(),
            step.specimens.to_string(),
            step.panels.to_string(),
            if plan.critical_path.contains(&step.name()) { "critical".to_string() } else { String::new() },
        ]
    });
    Some(Figure {
        left: 0,
        svg: svg.finish("Timeline of the retest plan", &caption),
        caption,
        columns: vec![
            ("from week", true),
            ("to week", true),
            ("showing", false),
            ("article", false),
            ("kind", false),
            ("specimens", true),
            ("panels", true),
            ("path", false),
        ],
        rows: rows.collect(),
    })
}
