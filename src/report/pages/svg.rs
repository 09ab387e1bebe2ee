//! Drawings as SVG text: shapes, words, axes with round figures. Coordinates are in px, y downwards.
//!
//! A drawing says by classes what a shape means; the sheet's style gives hues for light, dark and print. Every word
//! goes through [`escaped`].

use serde_json::{Value, json};
use std::fmt::Write;

/// Returns a text that may stand in markup and in a quoted attribute. What XML has no character for is left out.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for one in text.chars() {
        match one {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            one if one.is_control() || matches!(one, '\u{fffe}' | '\u{ffff}') => {}
            one => out.push(one),
        }
    }
    out
}

/// Where a word stands about its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

impl Anchor {
    fn word(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// A drawing that grows.
#[derive(Debug, Clone)]
pub struct Svg {
    width: f64,
    height: f64,
    body: String,
    /// Whether some of it can be moved to.
    leads: bool,
}

/// A coordinate: a tenth of a px is finer than any screen shows.
#[derive(Clone, Copy)]
struct At(f64);

fn at(value: f64) -> At {
    At(if value.is_finite() { value } else { 0.0 })
}

/// Beyond this floats have no tenths.
const WITHOUT_TENTHS: f64 = 1e15;

impl std::fmt::Display for At {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let scaled = self.0.abs() * 10.0;
        if scaled >= WITHOUT_TENTHS {
            let text = format!("{:.1}", self.0);
            return out.write_str(text.strip_suffix(".0").unwrap_or(&text));
        }
        let mut tenths = scaled.round_ties_even();
        // The product is rounded: where it lies on the middle between two tenths, what it lost decides.
        if (scaled - scaled.trunc() - 0.5).abs() == 0.0 {
            let lost = self.0.abs().mul_add(10.0, -scaled);
            if lost > 0.0 {
                tenths = scaled.ceil();
            } else if lost < 0.0 {
                tenths = scaled.floor();
            }
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let tenths = tenths as u64;
        if self.0 < 0.0 && tenths > 0 {
            out.write_char('-')?;
        }
        write!(out, "{}", tenths / 10)?;
        match tenths % 10 {
            0 => Ok(()),
            rest => write!(out, ".{rest}"),
        }
    }
}

impl Svg {
    /// Returns an empty drawing of this size.
    pub fn new(width: f64, height: f64) -> Self {
        Self { width, height, body: String::new(), leads: false }
    }

    /// Draws a line.
    pub fn line(&mut self, class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        let _ = write!(
            self.body,
            r#"<line class="{class}" x1="{}" y1="{}" x2="{}" y2="{}"/>"#,
            at(x1),
            at(y1),
            at(x2),
            at(y2)
        );
    }

    /// Draws a rectangle from its upper left corner.
    pub fn rect(&mut self, class: &str, (x, y): (f64, f64), (width, height): (f64, f64)) {
        let _ = write!(
            self.body,
            r#"<rect class="{class}" x="{}" y="{}" width="{}" height="{}"/>"#,
            at(x),
            at(y),
            at(width.max(0.0)),
            at(height.max(0.0))
        );
    }

    /// Draws a circle.
    pub fn circle(&mut self, class: &str, (x, y): (f64, f64), r: f64) {
        let _ = write!(self.body, r#"<circle class="{class}" cx="{}" cy="{}" r="{}"/>"#, at(x), at(y), at(r));
    }

    /// Draws a triangle that points down, its middle at a point.
    pub fn point_down(&mut self, class: &str, (x, y): (f64, f64), r: f64) {
        let points = [(x - r, y - r * 0.8), (x + r, y - r * 0.8), (x, y + r)];
        self.polygon(class, &points);
    }

    /// Draws a polygon.
    pub fn polygon(&mut self, class: &str, points: &[(f64, f64)]) {
        let _ = write!(self.body, r#"<polygon class="{class}" points=""#);
        self.points(points);
    }

    /// Draws a line through points; nothing where there are fewer than two.
    pub fn path(&mut self, class: &str, points: &[(f64, f64)]) {
        if points.len() < 2 {
            return;
        }
        let _ = write!(self.body, r#"<polyline class="{class}" points=""#);
        self.points(points);
    }

    fn points(&mut self, points: &[(f64, f64)]) {
        for (number, (x, y)) in points.iter().enumerate() {
            let gap = if number > 0 { " " } else { "" };
            let _ = write!(self.body, "{gap}{},{}", at(*x), at(*y));
        }
        self.body.push_str("\"/>");
    }

    /// Writes a word.
    pub fn text(&mut self, class: &str, (x, y): (f64, f64), anchor: Anchor, text: &str) {
        let _ = write!(
            self.body,
            r#"<text class="{class}" x="{}" y="{}" text-anchor="{}">{}</text>"#,
            at(x),
            at(y),
            anchor.word(),
            escaped(text)
        );
    }

    /// Writes a word that leads to a page.
    pub fn link(&mut self, href: &str, place: (f64, f64), anchor: Anchor, text: &str) {
        self.leads = true;
        let _ = write!(self.body, r#"<a href="{}">"#, escaped(href));
        self.text("", place, anchor, text);
        self.body.push_str("</a>");
    }

    /// Adds markup that is known to be whole and escaped.
    pub fn raw(&mut self, markup: &str) {
        self.body.push_str(markup);
    }

    /// Returns a drawing that has parts to move to: its name belongs to a group, not to one picture.
    pub fn open(self, title: &str, description: &str, class: &str) -> String {
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" class="{class}" role="group" aria-label="{}" viewBox="0 0 {} {}" width="{}" height="{}">{}</svg>"#,
            escaped(&format!("{title}. {description}")),
            at(self.width),
            at(self.height),
            at(self.width),
            at(self.height),
            self.body
        )
    }

    /// Returns the drawing with what it is called and what it shows, for those who can't see it.
    pub fn finish(self, title: &str, description: &str) -> String {
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" role="{}" aria-label="{}" viewBox="0 0 {} {}" width="{}" height="{}">{}</svg>"#,
            // What is one picture has no parts.
            if self.leads { "group" } else { "img" },
            escaped(&format!("{title}. {description}")),
            at(self.width),
            at(self.height),
            at(self.width),
            at(self.height),
            self.body
        )
    }
}

/// An axis: from figures to px.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
    /// Round figures within it.
    pub ticks: Vec<f64>,
    decimals: usize,
}

impl Axis {
    /// Returns an axis over all `values` (none: from 0 to 1) with some `wanted` round figures, laid from px `from` to
    /// px `to`; its ends are round figures.
    pub fn over(values: impl IntoIterator<Item = f64>, wanted: usize, from: f64, to: f64) -> Self {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        // Further out than any figure of the trade lies, where sums of limits are no numbers any more.
        for value in values.into_iter().filter(|value| value.abs() < 1e300) {
            low = low.min(value);
            high = high.max(value);
        }
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        if high - low <= 1e-9 * high.abs().max(low.abs()).max(1e-300) {
            let room = if low == 0.0 { 1.0 } else { low.abs() * 0.05 };
            (low, high) = (low - room, high + room);
        }
        let step = round_step((high - low) / wanted.max(1) as f64);
        let first = (low / step).floor();
        let last = (high / step).ceil();
        let count = (last - first).clamp(1.0, 200.0);
        let mut ticks = Vec::new();
        let mut place = 0.0;
        while place <= count {
            ticks.push((first + place) * step);
            place += 1.0;
        }
        let decimals = (-step.log10().floor()).clamp(0.0, 12.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let decimals = decimals as usize;
        Self { low: first * step, high: (first + count) * step, from, to, ticks, decimals }
    }

    /// Returns the px of a figure; outside the axis, of its nearer end.
    pub fn px(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.from + share.clamp(0.0, 1.0) * (self.to - self.from)
    }

    /// Returns the words of one of its round figures.
    pub fn words(&self, tick: f64) -> String {
        let text = format!("{tick:.*}", self.decimals);
        if text.trim_start_matches(['-', '0', '.']).is_empty() { text.replace('-', "") } else { text }
    }

    /// Draws it lying below a field that begins at `top`, with its figures and its name.
    pub fn below(&self, svg: &mut Svg, top: f64, bottom: f64, name: &str) {
        for tick in &self.ticks {
            let x = self.px(*tick);
            svg.line("grid", (x, top), (x, bottom));
            svg.text("faint", (x, bottom + 15.0), Anchor::Middle, &self.words(*tick));
        }
        svg.line("axis", (self.from, bottom), (self.to, bottom));
        svg.text("faint", (self.to.max(self.from), bottom + 30.0), Anchor::End, name);
    }

    /// Draws it standing left of a field that ends at `right`, with its figures and its name on top.
    pub fn beside(&self, svg: &mut Svg, left: f64, right: f64, name: &str) {
        for tick in &self.ticks {
            let y = self.px(*tick);
            svg.line("grid", (left, y), (right, y));
            svg.text("faint", (left - 6.0, y + 4.0), Anchor::End, &self.words(*tick));
        }
        svg.line("axis", (left, self.from), (left, self.to));
        svg.text("faint", (left - 6.0, self.to.min(self.from) - 10.0), Anchor::Start, name);
    }
}

/// The nearest of 1, 2, 5 times a power of ten that is not below.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    let share = least / power;
    let round = [1.0, 2.0, 5.0, 10.0].into_iter().find(|round| share <= *round * (1.0 + 1e-9));
    round.unwrap_or(10.0) * power
}

/// Returns a text cut to about this many px at the size of drawings, with an ellipsis where it was cut.
pub fn cut(text: &str, px: f64) -> String {
    const LETTER: f64 = 6.3;
    let most = (px / LETTER).max(3.0);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let most = most as usize;
    if text.chars().count() <= most {
        return text.to_string();
    }
    let mut short: String = text.chars().take(most - 1).collect();
    short.push('…');
    short
}

/// A drawing with what is said below it, and its figures as a table.
#[derive(Debug, Clone, Default)]
pub struct Figure {
    /// The drawing's markup.
    pub svg: String,
    /// What it shows.
    pub caption: String,
    /// Columns: name, and whether figures stand in it.
    pub columns: Vec<(&'static str, bool)>,
    /// Rows.
    pub rows: Vec<Vec<String>>,
    /// Rows that were left out.
    pub left: usize,
}

impl Figure {
    /// Returns what a template draws it from; the markup is marked as safe there.
    pub fn json(&self) -> Value {
        let columns: Vec<Value> =
            self.columns.iter().map(|(name, number)| json!({ "name": name, "number": number })).collect();
        json!({ "svg": self.svg, "caption": self.caption, "columns": columns, "rows": self.rows, "left": self.left })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_written_stays_text() {
        let mut svg = Svg::new(10.0, 10.0);
        svg.text("", (0.0, 0.0), Anchor::Start, "</text><script>alert('x')</script>\u{0}\u{b}");
        svg.link("a\"onclick=\"x", (0.0, 0.0), Anchor::End, "&");
        let text = svg.finish("<b>", "\"");
        assert!(!text.contains("<script") && !text.contains("<b>") && !text.contains("a\"onclick"), "{text}");
        assert!(!text.contains(['\u{0}', '\u{b}']), "{text}");
    }

    #[test]
    fn axes_have_round_figures() {
        let axis = Axis::over([318.2, 320.9], 5, 0.0, 100.0);
        assert_eq!(axis.ticks, [318.0, 319.0, 320.0, 321.0]);
        assert_eq!(axis.words(319.0), "319");
        let axis = Axis::over([-0.03, 0.11], 4, 100.0, 0.0);
        assert_eq!(
            axis.ticks.iter().map(|tick| axis.words(*tick)).collect::<Vec<_>>(),
            ["-0.05", "0.00", "0.05", "0.10", "0.15"]
        );
        assert!((axis.px(-0.05) - 100.0).abs() < 1e-9 && axis.px(0.15).abs() < 1e-9);
    }

    #[test]
    fn what_lies_beyond_all_bounds_is_at_an_end() {
        let axis = Axis::over([-1.210_425e308, 0.0], 6, 10.0, 200.0);
        assert!((10.0..=200.0).contains(&axis.px(-1.210_425e308)));
    }

    /// As the standard library writes a float with one decimal, which rounds what it is and not a product of it.
    fn by_the_library(value: f64) -> String {
        let text = format!("{value:.1}");
        let text = text.strip_suffix(".0").unwrap_or(&text);
        if text == "-0" { "0".to_string() } else { text.to_string() }
    }

    #[test]
    fn middles_between_tenths_are_rounded_as_the_library_does() {
        for step in -20_000..20_000 {
            let middle = f64::from(step) / 20.0;
            for value in [middle, middle.next_up(), middle.next_down(), f64::from(step) * 0.05] {
                assert_eq!(at(value).to_string(), by_the_library(value), "{value:?}");
            }
        }
    }

    proptest! {
        #[test]
        fn coordinates_are_written_as_the_library_writes_them(value in -1e6..1e6f64, any in prop::num::f64::NORMAL) {
            prop_assert_eq!(at(value).to_string(), by_the_library(value));
            prop_assert_eq!(at(any).to_string(), by_the_library(any));
        }

        #[test]
        fn any_values_have_an_axis(values in prop::collection::vec(prop::num::f64::ANY, 0..6), wanted in 0usize..12) {
            let axis = Axis::over(values.clone(), wanted, 10.0, 200.0);
            prop_assert!(axis.ticks.len() <= 201 && axis.ticks.len() > 1);
            for value in values {
                let px = axis.px(value);
                prop_assert!(px.is_nan() && value.is_nan() || (10.0..=200.0).contains(&px), "{value}: {px}");
            }
        }
    }
}
