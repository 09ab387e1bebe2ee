//! Samples: a probability plot, and batches side by side; the numbers are those of the pictures that `basis` prints.

use super::svg::{Anchor, Axis, Figure, Svg, cut};
use crate::calc::figure;
use crate::report::basis::SampleReport;
use crate::report::basis::picture::{STRIPS, curve, letter, score, sorted};
use crate::statistics::{Procedure, normal_cdf, normal_quantile};
use std::collections::BTreeSet;

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 380.0;
/// Rows of the table behind a drawing.
const ROWS: usize = 200;
/// Shares that the probability axis names, %.
const SHARES: [f64; 9] = [1.0, 5.0, 10.0, 25.0, 50.0, 75.0, 90.0, 95.0, 99.0];

/// Draws the shares below each value on a scale of normal probability, with the fitted curve and the B value; `None`
/// where all values are equal or there is none.
pub(super) fn probability(own: &SampleReport, found: &Procedure) -> Option<Figure> {
    let all = sorted(own);
    let (least, greatest) = (all.first()?.0, all.last()?.0);
    let b = found.b.as_ref().ok().map(|given| given.value).filter(|value| value.is_finite());
    if greatest <= least || !(greatest - least).is_finite() {
        return None;
    }
    let (left, right, top, bottom) = (60.0, WIDTH - 20.0, 30.0, HEIGHT - 50.0);
    let axis = Axis::over([least, greatest].into_iter().chain(b), 6, left, right);
    // As the picture in characters: the outermost rank, or 5 and 95 % at least.
    let most = score(all.len() - 1, all.len()).max(normal_quantile(0.95).unwrap_or(1.6)) * 1.06;
    let y_of = |z: f64| bottom - (z.clamp(-most, most) + most) / (2.0 * most) * (bottom - top);
    let mut svg = Svg::new(WIDTH, HEIGHT);
    let unit = if own.unit.is_empty() { "value" } else { &own.unit };
    axis.below(&mut svg, top, bottom, unit);
    for share in SHARES {
        let z = normal_quantile(share / 100.0).unwrap_or(0.0);
        if z.abs() <= most {
            svg.line("grid", (left, y_of(z)), (right, y_of(z)));
            svg.text("faint", (left - 6.0, y_of(z) + 4.0), Anchor::End, &format!("{share} %"));
        }
    }
    svg.line("axis", (left, top), (left, bottom));
    svg.text("faint", (0.0, 14.0), Anchor::Start, "share below, on a scale of normal probability");
    let fitted = curve(found);
    let points: Vec<(f64, f64)> = (0..=60)
        .filter_map(|at| {
            let z = most * (f64::from(at) / 30.0 - 1.0);
            let value = fitted.below(normal_cdf(z).ok()?).ok()?;
            let edge = (axis.ticks.first()?, axis.ticks.last()?);
            (value >= *edge.0 && value <= *edge.1).then(|| (axis.px(value), y_of(z)))
        })
        .collect();
    svg.path("line", &points);
    if let Some(b) = b {
        svg.line("limit", (axis.px(b), top), (axis.px(b), bottom));
        svg.text("wants", (axis.px(b) + 5.0, top + 12.0), Anchor::Start, &format!("B {}", figure(b)));
    }
    // What falls on another point to the px is seen once.
    let mut seen: BTreeSet<(i64, i64)> = BTreeSet::new();
    let letters = own.groups.len() > 1 && all.len() <= 80;
    for (at, (value, batch)) in all.iter().enumerate() {
        let place = (axis.px(*value), y_of(score(at, all.len())));
        #[allow(clippy::cast_possible_truncation)]
        if !seen.insert((place.0.round() as i64, place.1.round() as i64)) {
            continue;
        }
        svg.circle("hollow", place, 3.2);
        if letters {
            svg.text("faint", (place.0 + 6.0, place.1 + 11.0), Anchor::Start, &letter(*batch).to_string());
        }
    }
    let name = fitted.distribution().name();
    let caption = format!(
        "Share of specimens below each value (median ranks), with the {name} curve that was fitted{}.",
        if b.is_some() { " and the B value" } else { "" }
    );
    let rows = all.iter().enumerate().take(ROWS).map(|(at, (value, batch))| {
        let share = normal_cdf(score(at, all.len())).unwrap_or(0.5) * 100.0;
        let label = own.groups.get(*batch).map_or_else(String::new, |(label, _)| label.clone());
        vec![figure(*value), format!("{share:.1}"), label]
    });
    Some(Figure {
        left: 0,
        svg: svg.finish("Probability plot", &caption),
        caption: caption.clone(),
        columns: vec![("value", true), ("share below, %", true), ("batch", false)],
        rows: rows.collect(),
    })
}

/// Draws the values of each batch on one scale, each sample under its name, with limits that are named.
pub(super) fn batches(samples: &[(&str, &SampleReport)], limits: &[(String, f64)]) -> Option<Figure> {
    let values = || samples.iter().flat_map(|(_, own)| &own.groups).flat_map(|(_, own)| own.iter().copied());
    let least = values().fold(f64::INFINITY, f64::min);
    let greatest = values().fold(f64::NEG_INFINITY, f64::max);
    if greatest < least || !(greatest - least).is_finite() {
        return None;
    }
    let (left, right, row) = (170.0, WIDTH - 90.0, 26.0);
    let shown: usize = samples.iter().map(|(_, own)| own.groups.len().min(STRIPS)).sum();
    let heads = if samples.len() > 1 { samples.len() } else { 0 };
    let top = if limits.is_empty() { 12.0 } else { 30.0 };
    let bottom = top + row * (shown + heads) as f64;
    let mut svg = Svg::new(WIDTH, bottom + 40.0);
    let axis = Axis::over(values().chain(limits.iter().map(|(_, own)| *own)), 6, left, right);
    let unit =
        samples.first().map_or("value", |(_, own)| if own.unit.is_empty() { "value" } else { &own.unit });
    axis.below(&mut svg, top, bottom, unit);
    for (name, limit) in limits {
        let x = axis.px(*limit);
        svg.line("limit", (x, top - 4.0), (x, bottom));
        svg.text(
            "wants",
            (x + 4.0, top - 8.0),
            Anchor::Start,
            &cut(&format!("{name} {}", figure(*limit)), 300.0),
        );
    }
    let mut y = top;
    let mut rows = Vec::new();
    let mut more = 0;
    for (name, own) in samples {
        if samples.len() > 1 {
            y += row;
            svg.text("strong", (0.0, y - 8.0), Anchor::Start, &cut(name, left - 8.0));
        }
        for (at, (label, values)) in own.groups.iter().enumerate() {
            let mean = crate::statistics::mean(values).ok();
            if rows.len() < ROWS {
                rows.push(vec![
                    (*name).to_string(),
                    label.clone(),
                    values.len().to_string(),
                    mean.map_or_else(String::new, figure),
                    values.iter().copied().reduce(f64::min).map_or_else(String::new, figure),
                    values.iter().copied().reduce(f64::max).map_or_else(String::new, figure),
                ]);
            }
            if at >= STRIPS {
                more += 1;
                continue;
            }
            y += row;
            let middle = y - row / 2.0;
            let words = cut(&format!("{label} ({})", letter(at)), left - 16.0);
            svg.text("", (left - 10.0, middle + 4.0), Anchor::End, &words);
            let mut seen: BTreeSet<i64> = BTreeSet::new();
            for value in values {
                let x = axis.px(*value);
                #[allow(clippy::cast_possible_truncation)]
                if seen.insert(x.round() as i64) {
                    svg.circle("hollow", (x, middle), 3.2);
                }
            }
            if let Some(mean) = mean {
                svg.line("line", (axis.px(mean), middle - 9.0), (axis.px(mean), middle + 9.0));
            }
            svg.text("faint", (right + 10.0, middle + 4.0), Anchor::Start, &format!("n = {}", values.len()));
        }
    }
    let more = if more > 0 { format!(" {more} batches more are not drawn.") } else { String::new() };
    let caption = format!("Batch by batch: each specimen as a circle, the batch's mean as a stroke.{more}");
    Some(Figure {
        left: 0,
        svg: svg.finish("Batches side by side", &caption),
        caption,
        columns: vec![
            ("of", false),
            ("batch", false),
            ("n", true),
            ("mean", true),
            ("least", true),
            ("greatest", true),
        ],
        rows,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::basis::sample;
    use crate::statistics::Levels;

    fn report(groups: &[(&str, &[f64])]) -> SampleReport {
        let groups = groups.iter().map(|(label, values)| ((*label).to_string(), values.to_vec())).collect();
        sample("of".to_string(), String::new(), "MPa".to_string(), groups, Vec::new(), &Levels::default())
    }

    #[test]
    fn ranks_are_those_of_benard() {
        let own = report(&[("b1", &[610.0, 600.0, 620.0]), ("<b2>", &[605.0, 630.0])]);
        let found = own.procedure.as_ref().unwrap();
        let drawn = probability(&own, found).unwrap();
        // (i - 0.3)/(n + 0.4) of five values, by hand: 0.7/5.4, 1.7/5.4, ...
        let shares: Vec<&str> = drawn.rows.iter().map(|row| row[1].as_str()).collect();
        assert_eq!(shares, ["13.0", "31.5", "50.0", "68.5", "87.0"]);
        assert_eq!(drawn.rows[1][2], "<b2>");
        assert!(!drawn.svg.contains("<b2>"));
        let strips = batches(&[("a", &own)], &[]).unwrap();
        assert_eq!(strips.rows[0][3], "610");
        assert!(strips.svg.contains("&lt;b2&gt;"));
    }

    #[test]
    fn equal_values_have_no_plot_and_many_points_are_few() {
        let own = report(&[("b1", &[600.0, 600.0, 600.0])]);
        assert!(own.procedure.as_ref().map_or(true, |found| probability(&own, found).is_none()));
        let many: Vec<f64> = (0..5000).map(|at| 600.0 + f64::from(at % 997)).collect();
        let own = report(&[("b1", &many)]);
        let drawn = probability(&own, own.procedure.as_ref().unwrap()).unwrap();
        assert!(drawn.svg.len() < 150_000, "{}", drawn.svg.len());
    }
}
