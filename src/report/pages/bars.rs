//! Bars: what a sum is made of.

use super::svg::{Anchor, Axis, Figure, Svg, cut};

/// One bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// What it is.
    pub name: String,
    /// How much.
    pub value: f64,
    /// The same in words.
    pub words: String,
}

const ROW: f64 = 20.0;
const LEFT: f64 = 300.0;
const WIDTH: f64 = 860.0;
const SHOWN: usize = 24;
/// Rows of the table behind it.
const ROWS: usize = 300;

/// Draws bars, the longest first; what is beyond those that are drawn is one bar more. `None` where there is none.
pub fn bars(mut all: Vec<Bar>, title: &str, (unit, column): (&str, &'static str)) -> Option<Figure> {
    all.retain(|bar| bar.value.is_finite());
    if all.is_empty() {
        return None;
    }
    all.sort_by(|one, two| two.value.total_cmp(&one.value).then_with(|| one.name.cmp(&two.name)));
    let shown = if all.len() > SHOWN { SHOWN - 1 } else { all.len() };
    let rest: f64 = all.iter().skip(shown).map(|bar| bar.value).sum();
    let left = all.len() - shown;
    let drawn = shown + usize::from(left > 0);
    let (top, bottom) = (8.0, 8.0 + ROW * drawn as f64 + 4.0);
    let mut svg = Svg::new(WIDTH, bottom + 40.0);
    let values = all.iter().take(shown).map(|bar| bar.value).chain([0.0, rest]);
    let axis = Axis::over(values, 6, LEFT, WIDTH - 90.0);
    axis.below(&mut svg, top, bottom, unit);
    let mut draw = |at: usize, name: &str, value: f64, words: &str, class: &str| {
        let y = top + ROW * at as f64 + 3.0;
        let (from, to) = (axis.px(value.min(0.0)), axis.px(value.max(0.0)));
        svg.text("", (LEFT - 10.0, y + 11.0), Anchor::End, &cut(name, LEFT - 14.0));
        svg.rect(class, (from, y), ((to - from).max(0.5), ROW - 6.0));
        svg.text("", (to + 6.0, y + 11.0), Anchor::Start, words);
    };
    for (at, bar) in all.iter().take(shown).enumerate() {
        draw(at, &bar.name, bar.value, &bar.words, "bar");
    }
    if left > 0 {
        draw(shown, &format!("{left} more"), rest, "", "whole");
    }
    let more = if left > 0 { format!("; {left} more in one bar") } else { String::new() };
    let beyond = all.len().saturating_sub(ROWS);
    let cut_off =
        if beyond > 0 { format!(" The table has the largest {ROWS} of them.") } else { String::new() };
    let caption = format!("{title}, the largest first{more}.{cut_off}");
    let rows = all.iter().take(ROWS).map(|bar| vec![bar.name.clone(), bar.words.clone()]).collect();
    Some(Figure {
        left: 0,
        svg: svg.finish("Bars", &caption),
        caption,
        columns: vec![("what", false), (column, true)],
        rows,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_drawn_is_one_bar_more() {
        let all: Vec<Bar> = (0..400)
            .map(|at| Bar { name: format!("<b>{at}"), value: f64::from(at), words: at.to_string() })
            .collect();
        let figure = bars(all, "Mass", ("kg", "kg")).unwrap();
        assert_eq!(figure.rows.len(), ROWS);
        assert_eq!(figure.rows[0][1], "399");
        assert!(figure.svg.contains("377 more") && !figure.svg.contains("<b>"), "{}", figure.svg);
        assert_eq!(bars(Vec::new(), "Mass", ("kg", "kg")).map(|own| own.caption), None);
    }
}
