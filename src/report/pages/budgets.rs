//! Mass of groups against their budgets, with spread and growth.

use super::filters::signed;
use super::svg::{Anchor, Axis, Figure, Svg, cut};
use crate::article::weigh::MassStatement;
use crate::report::mass::decimals;

const ROW: f64 = 34.0;
const LEFT: f64 = 190.0;
const WIDTH: f64 = 860.0;
const SHOWN: usize = 24;

/// Draws the groups of a statement; `None` where it has none.
pub fn budgets(statement: &MassStatement) -> Option<Figure> {
    if statement.groups.is_empty() {
        return None;
    }
    let mut groups: Vec<_> = statement.groups.iter().collect();
    groups.sort_by(|one, two| two.kg.total_cmp(&one.kg).then_with(|| one.group.cmp(&two.group)));
    let shown = groups.len().min(SHOWN);
    let top = 30.0;
    let bottom = top + ROW * shown as f64 + 4.0;
    let mut svg = Svg::new(WIDTH, bottom + 40.0);
    let values = groups
        .iter()
        .flat_map(|group| [Some(group.high_kg), Some(group.with_growth_kg), group.budget_kg])
        .flatten();
    let axis = Axis::over(values.chain([0.0]), 6, LEFT, WIDTH - 120.0);
    svg.rect("whole", (LEFT, 6.0), (16.0, 10.0));
    svg.text("faint", (LEFT + 22.0, 15.0), Anchor::Start, "predicted");
    svg.line("axis", (LEFT + 100.0, 11.0), (LEFT + 126.0, 11.0));
    svg.text("faint", (LEFT + 132.0, 15.0), Anchor::Start, "low to high");
    svg.rect("bar", (LEFT + 222.0, 6.0), (16.0, 10.0));
    svg.text("faint", (LEFT + 244.0, 15.0), Anchor::Start, "growth allowed for");
    svg.line("limit", (LEFT + 380.0, 4.0), (LEFT + 380.0, 18.0));
    svg.text("faint", (LEFT + 388.0, 15.0), Anchor::Start, "budget");
    axis.below(&mut svg, top, bottom, "kg");
    for (at, group) in groups.iter().take(shown).enumerate() {
        let y = top + ROW * at as f64;
        svg.text("", (LEFT - 8.0, y + 19.0), Anchor::End, &cut(&group.group, LEFT - 12.0));
        svg.rect("bar", (LEFT, y + 9.0), (axis.px(group.with_growth_kg) - LEFT, 14.0));
        svg.rect("whole", (LEFT, y + 9.0), (axis.px(group.kg) - LEFT, 14.0));
        let (low, high) = (axis.px(group.low_kg), axis.px(group.high_kg));
        svg.line("axis", (low, y + 27.0), (high, y + 27.0));
        svg.line("axis", (low, y + 24.0), (low, y + 30.0));
        svg.line("axis", (high, y + 24.0), (high, y + 30.0));
        if let Some(budget) = group.budget_kg {
            svg.line("limit", (axis.px(budget), y + 3.0), (axis.px(budget), y + 31.0));
        }
        let told = match group.margin_kg {
            Some(margin) if margin < 0.0 => format!("{} over", decimals(-margin, 2)),
            Some(margin) => format!("{} left", decimals(margin, 2)),
            None => "no budget".to_string(),
        };
        let class = if group.margin_kg.is_some_and(|margin| margin < 0.0) { "wants strong" } else { "" };
        svg.text(class, (WIDTH - 112.0, y + 19.0), Anchor::Start, &told);
    }
    let caption = "Groups in kg, the heaviest first: predicted, its low and high limit, the growth allowed for, and the budget.";
    let word = |kg: Option<f64>| kg.map_or_else(|| "none".to_string(), |kg| decimals(kg, 3));
    let rows = groups.iter().map(|group| {
        vec![
            group.group.clone(),
            decimals(group.kg, 3),
            decimals(group.low_kg, 3),
            decimals(group.high_kg, 3),
            decimals(group.with_growth_kg, 3),
            word(group.budget_kg),
            group.margin_kg.map_or_else(|| "none".to_string(), |kg| signed(kg, 3)),
            group.probability_within.map_or_else(|| "none".to_string(), |own| decimals(own, 3)),
        ]
    });
    Some(Figure {
        left: 0,
        svg: svg.finish("Mass against budget", caption),
        caption: caption.to_string(),
        columns: vec![
            ("group", false),
            ("kg", true),
            ("low", true),
            ("high", true),
            ("with growth", true),
            ("budget", true),
            ("left", true),
            ("chance within budget", true),
        ],
        rows: rows.collect(),
    })
}
