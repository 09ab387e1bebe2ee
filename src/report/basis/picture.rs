//! A probability plot and the batches side by side, in characters.

use super::SampleReport;
use crate::calc::figure;
use crate::report::page::fold;
use crate::statistics::{Fitted, Method, Procedure, normal_cdf, normal_quantile};

/// Rows of the plot.
const ROWS: usize = 15;
/// Columns of the shares in front of it.
const MARGIN: usize = 8;
/// The widest plot.
const WIDEST: usize = 72;
/// Batches that are drawn side by side.
pub(crate) const STRIPS: usize = 12;

/// A scale of values along a row.
struct Scale {
    low: f64,
    high: f64,
    columns: usize,
}

impl Scale {
    fn column(&self, value: f64) -> Option<usize> {
        let share = (value - self.low) / (self.high - self.low);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        (0.0..=1.0)
            .contains(&share)
            .then(|| (share * (self.columns.saturating_sub(1)) as f64).round() as usize)
    }
}

fn put(row: &mut [char], at: Option<usize>, mark: char) {
    if let Some(cell) = at.and_then(|at| row.get_mut(at)) {
        *cell = mark;
    }
}

/// The letter of a batch in the plot.
pub(crate) fn letter(at: usize) -> char {
    u8::try_from(at).ok().filter(|at| *at < 26).map_or('*', |at| char::from(b'a' + at))
}

/// All values of a sample, the least first, each with the place of its batch.
pub(crate) fn sorted(own: &SampleReport) -> Vec<(f64, usize)> {
    let groups = own.groups.iter().enumerate();
    let mut all: Vec<(f64, usize)> =
        groups.flat_map(|(at, (_, values))| values.iter().map(move |value| (*value, at))).collect();
    all.sort_by(|one, two| one.0.total_cmp(&two.0));
    all
}

/// The share of a population that lies below the value of rank `at` (from 0) of `n`, as a normal score: median ranks
/// (i - 0.3)/(n + 0.4), A. Benard (from memory), on a scale of normal probability.
pub(crate) fn score(at: usize, n: usize) -> f64 {
    normal_quantile((at as f64 + 0.7) / (n as f64 + 0.4)).unwrap_or(0.0)
}

/// Draws both pictures to fit `columns`.
pub(super) fn lines(own: &SampleReport, found: &Procedure, columns: usize) -> Vec<String> {
    let all = sorted(own);
    let (Some((least, _)), Some((greatest, _))) = (all.first().copied(), all.last().copied()) else {
        return Vec::new();
    };
    let b = found.b.as_ref().ok().map(|given| given.value).filter(|value| value.is_finite());
    let low = b.map_or(least, |b| b.min(least));
    let scale = Scale { low, high: greatest, columns: columns.saturating_sub(MARGIN + 1).clamp(20, WIDEST) };
    if scale.high <= scale.low || !(scale.high - scale.low).is_finite() {
        return Vec::new();
    }
    let mut lines =
        vec![format!("    Share below, against {}", if own.unit.is_empty() { "value" } else { &own.unit })];
    lines.extend(plot(found, &all, &scale));
    let mark: Vec<(char, f64)> = b.map(|b| ('B', b)).into_iter().collect();
    lines.push(axis(&scale, &mark));
    lines.push(String::new());
    lines.extend(strips(own, &scale));
    lines
}

/// The distribution whose curve is drawn: that of the method, else the normal one.
pub(crate) fn curve(found: &Procedure) -> Fitted {
    let of_method = match found.method {
        Method::One(distribution) => {
            let mut fits = found.fits.iter().flatten();
            fits.find(|fit| fit.fitted.distribution() == distribution).map(|fit| fit.fitted)
        }
        _ => None,
    };
    of_method.unwrap_or(Fitted::Normal(found.whole))
}

fn plot(found: &Procedure, all: &[(f64, usize)], scale: &Scale) -> Vec<String> {
    let score = |at: usize| score(at, all.len());
    let top = score(all.len().saturating_sub(1)).max(normal_quantile(0.95).unwrap_or(1.6));
    let z_of = |row: usize| top - 2.0 * top * row as f64 / (ROWS - 1) as f64;
    let row_of = |z: f64| {
        let place = (top - z) / (2.0 * top) * (ROWS - 1) as f64;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        (place.round().max(0.0) as usize).min(ROWS - 1)
    };
    let mut rows = vec![vec![' '; scale.columns]; ROWS];
    let curve = curve(found);
    for (at, row) in rows.iter_mut().enumerate() {
        let share = normal_cdf(z_of(at)).unwrap_or(0.5);
        put(row, curve.below(share).ok().and_then(|value| scale.column(value)), '.');
    }
    for (at, (value, batch)) in all.iter().enumerate() {
        if let Some(row) = rows.get_mut(row_of(score(at))) {
            put(row, scale.column(*value), letter(*batch));
        }
    }
    rows.iter()
        .enumerate()
        .map(|(at, row)| {
            let share = normal_cdf(z_of(at)).unwrap_or(0.5) * 100.0;
            let label = if at % 2 == 0 { format!("{share:.1} %") } else { String::new() };
            let row: String = row.iter().collect();
            format!("{label:>7} │{}", row.trim_end())
        })
        .collect()
}

/// The axis with its ends and values marked by a letter each.
fn axis(scale: &Scale, marks: &[(char, f64)]) -> String {
    let mut line: Vec<char> = vec!['─'; scale.columns];
    for (mark, value) in marks {
        put(&mut line, scale.column(*value), *mark);
    }
    let line: String = line.into_iter().collect();
    let (low, high) = (figure(scale.low), figure(scale.high));
    let gap = scale.columns.saturating_sub(low.chars().count() + high.chars().count());
    let indent = " ".repeat(MARGIN);
    format!("{indent}└{line}\n{indent} {low}{}{high}", " ".repeat(gap))
}

/// The values of one batch along the scale, with their mean.
fn strip(values: &[f64], scale: &Scale) -> String {
    let mut row = vec![' '; scale.columns];
    let mut counts = vec![0_u32; scale.columns];
    for value in values {
        if let Some(count) = scale.column(*value).and_then(|column| counts.get_mut(column)) {
            *count = count.saturating_add(1);
        }
    }
    for (cell, count) in row.iter_mut().zip(&counts) {
        *cell = match count {
            0 => ' ',
            1 => 'o',
            2..=9 => char::from_digit(*count, 10).unwrap_or('o'),
            _ => '#',
        };
    }
    let mean = crate::statistics::mean(values).ok().and_then(|mean| scale.column(mean));
    if let Some(cell) = mean.and_then(|at| row.get_mut(at)).filter(|cell| **cell == ' ') {
        *cell = '|';
    }
    row.into_iter().collect::<String>().trim_end().to_string()
}

/// Draws the batches of a baseline and of a new sample side by side, with the limits that the new ones are held to.
/// Each limit has a letter.
pub(super) fn against(
    baseline: &SampleReport,
    new: &SampleReport,
    limits: &[(char, f64)],
    columns: usize,
) -> Vec<String> {
    let values = || baseline.groups.iter().chain(&new.groups).flat_map(|(_, own)| own.iter().copied());
    let all = || values().chain(limits.iter().map(|(_, limit)| *limit));
    let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
    let scale = Scale { low, high, columns: columns.saturating_sub(MARGIN + 1).clamp(20, WIDEST) };
    if scale.high <= scale.low || !(scale.high - scale.low).is_finite() {
        return Vec::new();
    }
    let mut lines = Vec::new();
    for (title, own) in [("baseline", baseline), ("new", new)] {
        lines.push(format!("    {title}"));
        for (label, values) in own.groups.iter().take(STRIPS) {
            let name: String = label.chars().take(MARGIN - 1).collect();
            lines.push(format!("{name:>7}  {}", strip(values, &scale)).trim_end().to_string());
        }
        if own.groups.len() > STRIPS {
            lines.push(format!("        … and {} batches more", own.groups.len() - STRIPS));
        }
    }
    lines.push(axis(&scale, limits));
    lines
}

fn strips(own: &SampleReport, scale: &Scale) -> Vec<String> {
    let mut lines = Vec::new();
    for (at, (label, values)) in own.groups.iter().take(STRIPS).enumerate() {
        let row = strip(values, scale);
        let name: String = label.chars().take(MARGIN - 3).collect();
        // As wide as the shares in front of the plot and its edge.
        lines.push(format!("{:>5} {}  {}", name, letter(at), row).trim_end().to_string());
    }
    if own.groups.len() > STRIPS {
        lines.push(format!("        … and {} batches more", own.groups.len() - STRIPS));
    }
    let marks = "o one specimen, 2 to 9 as many, # more; | the batch's mean; . the fitted curve";
    lines.extend(fold(marks, scale.columns).into_iter().map(|line| format!("        {line}")));
    lines
}
