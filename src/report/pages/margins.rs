//! Margins before and after, case by case.

use super::svg::{Anchor, Axis, Figure, Svg, cut};

/// One load case: before and after, where each could be computed.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Panel and case.
    pub name: String,
    /// As it was.
    pub was: Option<f64>,
    /// As it is.
    pub is: Option<f64>,
}

const ROW: f64 = 22.0;
const LEFT: f64 = 270.0;
const WIDTH: f64 = 860.0;
const SHOWN: usize = 40;
/// Margins above this are drawn at the end of the axis: nothing is learnt from how ample they are.
const AMPLE: f64 = 3.0;

/// A margin with its sign and two decimals; never "-0.00".
pub fn words(margin: f64) -> String {
    if margin < 0.0 && margin > -0.005 {
        return "below 0".to_string();
    }
    format!("{margin:+.2}").replace('-', "−")
}

/// Draws margins; `None` where there is none.
pub fn dumbbells(cases: &[Case], moves: bool) -> Option<Figure> {
    if cases.is_empty() {
        return None;
    }
    let mut cases: Vec<&Case> = cases.iter().collect();
    let least = |case: &Case| case.is.or(case.was).unwrap_or(f64::NEG_INFINITY);
    cases.sort_by(|one, two| least(one).total_cmp(&least(two)).then_with(|| one.name.cmp(&two.name)));
    let shown = cases.len().min(SHOWN);
    let top = if moves { 40.0 } else { 20.0 };
    let bottom = top + ROW * shown as f64 + 4.0;
    let mut svg = Svg::new(WIDTH, bottom + 40.0);
    let values = cases.iter().flat_map(|case| [case.was, case.is]).flatten().map(|own| own.min(AMPLE));
    let axis = Axis::over(values.chain([0.0]), 6, LEFT, WIDTH - 110.0);
    if moves {
        svg.circle("hollow", (LEFT + 6.0, 12.0), 4.5);
        svg.text("faint", (LEFT + 16.0, 16.0), Anchor::Start, "before");
        svg.circle("holds", (LEFT + 76.0, 12.0), 4.5);
        svg.text("faint", (LEFT + 86.0, 16.0), Anchor::Start, "after");
        svg.point_down("wants", (LEFT + 136.0, 12.0), 5.0);
        svg.text("faint", (LEFT + 146.0, 16.0), Anchor::Start, "after, below 0");
    }
    axis.below(&mut svg, top, bottom, "margin of safety");
    svg.line("limit", (axis.px(0.0), top - 4.0), (axis.px(0.0), bottom));
    for (at, case) in cases.iter().take(shown).enumerate() {
        let y = top + ROW * at as f64 + ROW / 2.0;
        svg.text("", (LEFT - 10.0, y + 4.0), Anchor::End, &cut(&case.name, LEFT - 14.0));
        let px = |value: f64| axis.px(value.min(AMPLE));
        if let Some((was, is)) = case.was.zip(case.is) {
            svg.line("lead", (px(was), y), (px(is), y));
        }
        if let Some(was) = case.was.filter(|_| moves) {
            svg.circle("hollow", (px(was), y), 4.5);
        }
        match case.is {
            Some(is) if is < 0.0 => svg.point_down("wants", (px(is), y), 5.5),
            Some(is) => svg.circle("holds", (px(is), y), 4.5),
            None => {}
        }
        let told = match (case.was.filter(|_| moves), case.is) {
            (Some(was), Some(is)) => format!("{} → {}", words(was), words(is)),
            (None, Some(is)) => words(is),
            (Some(was), None) => format!("{} → not computed", words(was)),
            (None, None) => "not computed".to_string(),
        };
        svg.text("", (WIDTH - 104.0, y + 4.0), Anchor::Start, &cut(&told, 104.0));
    }
    let left = cases.len() - shown;
    let more = if left > 0 { format!(" {left} more stand in the table.") } else { String::new() };
    let ample = if cases.iter().any(|case| [case.was, case.is].into_iter().flatten().any(|own| own > AMPLE)) {
        format!(" Above {AMPLE} they stand at the end of the axis.")
    } else {
        String::new()
    };
    let caption = format!("Margins of safety, the least first; at 0 the load is just carried.{ample}{more}");
    let word = |margin: Option<f64>| margin.map_or_else(|| "not computed".to_string(), words);
    let (columns, rows) = if moves {
        let row = |case: &&Case| vec![case.name.clone(), word(case.was), word(case.is)];
        (vec![("case", false), ("before", true), ("after", true)], cases.iter().map(row).collect())
    } else {
        let row = |case: &&Case| vec![case.name.clone(), word(case.is)];
        (vec![("case", false), ("margin", true)], cases.iter().map(row).collect())
    };
    Some(Figure { left: 0, svg: svg.finish("Margins", &caption), caption, columns, rows })
}
