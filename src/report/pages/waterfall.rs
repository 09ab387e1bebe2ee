//! Mass step by step: from what it was to what it is.

use super::filters::signed;
use super::svg::{Anchor, Axis, Figure, Svg, cut};
use crate::report::mass::decimals;

/// One step.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What moved.
    pub name: String,
    /// By how much, kg.
    pub delta: f64,
    /// Where its page lies.
    pub href: Option<String>,
}

/// Steps shown one by one; the rest is one step.
const SHOWN: usize = 14;
const ROW: f64 = 24.0;
const LEFT: f64 = 210.0;
const RIGHT: f64 = 90.0;
const WIDTH: f64 = 860.0;

/// Draws the steps between two sums, the largest first. `None` where nothing moves.
pub fn waterfall((was, is): (f64, f64), steps: &[Step], (from, to): (&str, &str)) -> Option<Figure> {
    let mut steps: Vec<Step> = steps.iter().filter(|step| step.delta != 0.0).cloned().collect();
    if steps.is_empty() {
        return None;
    }
    steps.sort_by(|one, two| {
        two.delta.abs().total_cmp(&one.delta.abs()).then_with(|| one.name.cmp(&two.name))
    });
    let rows: Vec<Vec<String>> =
        steps.iter().map(|step| vec![step.name.clone(), signed(step.delta, 3)]).collect();
    if steps.len() > SHOWN + 1 {
        let rest = steps.split_off(SHOWN);
        let delta = rest.iter().map(|step| step.delta).sum();
        steps.push(Step { name: format!("{} more", rest.len()), delta, href: None });
    }
    let mut sums = vec![was];
    let mut sum = was;
    for step in &steps {
        sum += step.delta;
        sums.push(sum);
    }
    sums.push(is);
    let top = 22.0;
    let bottom = top + ROW * (steps.len() + 2) as f64 + 6.0;
    let mut svg = Svg::new(WIDTH, bottom + 38.0);
    let axis = Axis::over(sums.iter().copied(), 6, LEFT, WIDTH - RIGHT);
    axis.below(&mut svg, top, bottom, "kg; the axis does not begin at 0");
    let whole = |svg: &mut Svg, y: f64, name: &str, value: f64| {
        svg.text("strong", (LEFT - 8.0, y + 15.0), Anchor::End, &cut(name, LEFT - 12.0));
        svg.rect("whole", (LEFT, y + 3.0), (axis.px(value) - LEFT, ROW - 8.0));
        svg.text("strong", (axis.px(value) + 6.0, y + 15.0), Anchor::Start, &decimals(value, 3));
    };
    whole(&mut svg, top, from, was);
    let mut before = was;
    for (at, step) in steps.iter().enumerate() {
        let y = top + ROW * (at + 1) as f64;
        let after = before + step.delta;
        let (low, high) = (axis.px(before.min(after)), axis.px(before.max(after)));
        svg.line("lead", (axis.px(before), y - ROW + 3.0 + ROW - 8.0), (axis.px(before), y + ROW - 5.0));
        // Growth stands in the hue of what is wanted back, and its sign says the same.
        svg.rect(
            if step.delta > 0.0 { "bar-wants" } else { "bar" },
            (low, y + 3.0),
            ((high - low).max(1.0), ROW - 8.0),
        );
        match &step.href {
            Some(href) => svg.link(href, (LEFT - 8.0, y + 15.0), Anchor::End, &cut(&step.name, LEFT - 12.0)),
            None => svg.text("", (LEFT - 8.0, y + 15.0), Anchor::End, &cut(&step.name, LEFT - 12.0)),
        }
        svg.text("", (high + 6.0, y + 15.0), Anchor::Start, &signed(step.delta, 3));
        before = after;
    }
    whole(&mut svg, top + ROW * (steps.len() + 1) as f64, to, is);
    let caption = format!(
        "Mass in kg, step by step: {} to {} ({}).",
        decimals(was, 3),
        decimals(is, 3),
        signed(is - was, 3)
    );
    Some(Figure {
        left: 0,
        svg: svg.finish("Mass step by step", &caption),
        caption,
        columns: vec![("what", false), ("kg", true)],
        rows,
    })
}
