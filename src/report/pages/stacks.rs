//! Laminates drawn to scale: hatched by angle, tinted by material, labelled as a drawing's ply table.

use super::svg::{Anchor, Figure, Svg, cut, escaped};
use crate::article::stack::{LaidLayer, Stack};
use crate::article::{Aligned, Likeness, align};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// What became of a layer in a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// It is as it was.
    Same,
    /// It is new here.
    New,
    /// It will be gone.
    Gone,
    /// Its material, angle or thickness is another.
    Altered,
    /// It lies elsewhere.
    Moved,
}

impl Mark {
    /// Its word; empty where nothing changed.
    pub fn word(self) -> &'static str {
        match self {
            Mark::Same => "",
            Mark::New => "new",
            Mark::Gone => "gone",
            Mark::Altered => "changed",
            Mark::Moved => "moved",
        }
    }
}

/// Where a layer without a stated thickness is drawn this thick, mm; its label says that none is stated.
const UNSTATED: f64 = 0.1;
const TALLEST: f64 = 300.0;
const BAR: f64 = 120.0;
const WIDTH: f64 = 460.0;
const LABEL: f64 = 15.0;
const LABELS_SHOWN: usize = 60;
/// Labels of each of two stacks side by side, where one has more layers than get labels.
const LABELS_BESIDE: usize = 24;
/// Layers thinner than this are drawn together, px.
const THIN: f64 = 0.8;
const TINTS: usize = 6;

/// Draws one stack on its own.
pub fn alone(stack: &Stack, key: &str) -> Figure {
    let marks = vec![Mark::Same; stack.layers.len()];
    let tints = tints([stack]);
    let scale = scale([stack]);
    let name = format!("{} from the tool face up", stack.recipe);
    drawn((stack, &marks), &tints, scale, LABELS_SHOWN, key, &name)
}

/// Draws a stack before and after, in one scale, with what changed marked.
pub fn pair(was: &Stack, is: &Stack, key: &str, names: (&str, &str)) -> [Figure; 2] {
    let (before, after) = marks(was, is);
    let (tints, scale) = (tints([was, is]), scale([was, is]));
    let fit = was.layers.len().max(is.layers.len()) <= LABELS_SHOWN;
    let labels = if fit { LABELS_SHOWN } else { LABELS_BESIDE };
    [
        drawn((was, &before), &tints, scale, labels, &format!("{key}-a"), names.0),
        drawn((is, &after), &tints, scale, labels, &format!("{key}-b"), names.1),
    ]
}

/// Returns what became of each layer, before and after.
pub fn marks(was: &Stack, is: &Stack) -> (Vec<Mark>, Vec<Mark>) {
    let (mut before, mut after) = (vec![Mark::Same; was.layers.len()], vec![Mark::Same; is.layers.len()]);
    let set = |list: &mut Vec<Mark>, at: usize, mark: Mark| {
        if let Some(own) = list.get_mut(at) {
            *own = mark;
        }
    };
    let likeness = |i: usize, j: usize| match (was.layers.get(i), is.layers.get(j)) {
        (Some(one), Some(two)) if one.role == two.role => Likeness::Differ(differing(one, two)),
        _ => Likeness::Apart,
    };
    for one in align(was.layers.len(), is.layers.len(), likeness) {
        match one {
            Aligned::Kept(..) => {}
            Aligned::Altered(i, j) => {
                set(&mut before, i, Mark::Altered);
                set(&mut after, j, Mark::Altered);
            }
            Aligned::Inserted(j) => set(&mut after, j, Mark::New),
            Aligned::Removed(i) => set(&mut before, i, Mark::Gone),
            Aligned::Moved(i, j) => {
                set(&mut before, i, Mark::Moved);
                set(&mut after, j, Mark::Moved);
            }
        }
    }
    (before, after)
}

fn differing(one: &LaidLayer, two: &LaidLayer) -> u32 {
    let far = |one: Option<f64>, two: Option<f64>| match (one, two) {
        (Some(one), Some(two)) => (one - two).abs() > 1e-9 * one.abs().max(two.abs()),
        (None, None) => false,
        _ => true,
    };
    u32::from(one.material != two.material)
        + u32::from(far(one.angle, two.angle))
        + u32::from(far(one.thickness, two.thickness))
}

fn thickness_mm(layer: &LaidLayer) -> f64 {
    layer.thickness.map_or(UNSTATED, |own| own * 1e3)
}

/// px for one mm, so that the thickest stack stands as tall as may be.
fn scale<'s>(stacks: impl IntoIterator<Item = &'s Stack>) -> f64 {
    let thickest = stacks
        .into_iter()
        .map(|stack| stack.layers.iter().map(thickness_mm).sum::<f64>())
        .fold(0.0, f64::max);
    if thickest > 0.0 { TALLEST / thickest } else { 1.0 }
}

/// A tint for each material, in the order in which they are met.
fn tints<'s>(stacks: impl IntoIterator<Item = &'s Stack>) -> BTreeMap<String, usize> {
    let mut all = BTreeMap::new();
    for layer in stacks.into_iter().flat_map(|stack| &stack.layers) {
        let next = all.len() % TINTS + 1;
        all.entry(layer.material.clone()).or_insert(next);
    }
    all
}

/// Degrees, rounded to a tenth, between -90 and 90.
fn degrees(layer: &LaidLayer) -> Option<f64> {
    layer.angle.map(|angle| (angle.to_degrees() * 10.0).round() / 10.0)
}

/// A thickness in mm to a thousandth.
fn millimetres(thickness: f64) -> String {
    let text = format!("{:.3}", thickness * 1e3);
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

fn angle_words(layer: &LaidLayer) -> String {
    degrees(layer).map_or_else(String::new, |angle| format!("{angle}°"))
}

fn drawn(
    (stack, marks): (&Stack, &[Mark]),
    tints: &BTreeMap<String, usize>,
    scale: f64,
    most: usize,
    key: &str,
    name: &str,
) -> Figure {
    let heights: Vec<f64> = stack.layers.iter().map(|layer| thickness_mm(layer) * scale).collect();
    let tall: f64 = heights.iter().sum();
    let labels = labelled(stack, marks, most);
    let top = 26.0;
    let field = tall.max(labels.len() as f64 * LABEL).max(20.0);
    let bottom = top + field;
    let mut svg = Svg::new(WIDTH, bottom + 40.0);
    svg.text("strong", (0.0, 14.0), Anchor::Start, &cut(name, WIDTH));
    let angles: BTreeSet<i64> = stack.layers.iter().filter_map(degrees).map(tenths).collect();
    svg.raw(&patterns(&angles, key));
    // From the tool face at the foot upwards; the bar is centred beside its labels.
    let foot = bottom - (field - tall) / 2.0;
    let mut y = foot;
    let mut middles = Vec::with_capacity(heights.len());
    let mut bands = Bands::default();
    for ((layer, height), mark) in stack.layers.iter().zip(&heights).zip(marks) {
        y -= height;
        middles.push(y + height / 2.0);
        let tint = tints.get(&layer.material).copied().unwrap_or(1);
        let (corner, size) = ((14.0, y), (BAR, *height));
        if *height < THIN {
            bands.add(y, *height, tint, *mark != Mark::Same);
            continue;
        }
        bands.close(true);
        svg.rect(&format!("layer t{tint}"), corner, size);
        if let Some(angle) = degrees(layer) {
            hatch(&mut svg, key, tenths(angle), corner, size);
        }
        if *mark != Mark::Same {
            svg.rect("marked", (11.5, y), (BAR + 5.0, height.max(2.0)));
        }
    }
    bands.draw(&mut svg);
    svg.line("axis", (4.0, foot), (BAR + 24.0, foot));
    svg.text("faint", (4.0, foot + 14.0), Anchor::Start, "tool face");
    // Labels stand apart from each other, from the foot upwards, as near to their layers as that lets them.
    let mut places: Vec<f64> = labels.iter().map(|at| middles.get(*at).copied().unwrap_or(foot)).collect();
    let mut below = f64::INFINITY;
    for place in &mut places {
        *place = place.min(below - LABEL).min(bottom - 4.0);
        below = *place;
    }
    // What was pushed out above the field comes back down.
    let mut above = f64::NEG_INFINITY;
    for place in places.iter_mut().rev() {
        *place = place.max(above + LABEL).max(top);
        above = *place;
    }
    for (at, y) in labels.iter().zip(&places) {
        let (Some(layer), Some(middle), Some(mark)) =
            (stack.layers.get(*at), middles.get(*at), marks.get(*at))
        else {
            continue;
        };
        svg.path("lead", &[(BAR + 14.0, *middle), (BAR + 30.0, *y), (BAR + 38.0, *y)]);
        let thickness = match layer.thickness {
            Some(own) => format!("{} mm", millimetres(own)),
            None => "thickness not stated".to_string(),
        };
        let words = [(at + 1).to_string(), layer.material.clone(), angle_words(layer), thickness];
        let words: Vec<String> = words.into_iter().filter(|word| !word.is_empty()).collect();
        let class = if *mark == Mark::Same { "" } else { "wants strong" };
        let told = match mark.word() {
            "" => words.join("  "),
            word => format!("{}  ({word})", words.join("  ")),
        };
        svg.text(class, (BAR + 42.0, y + 4.0), Anchor::Start, &cut(&told, WIDTH - BAR - 42.0));
    }
    let left = stack.layers.len() - labels.len();
    let more = if left > 0 { format!("; {left} layers without a label") } else { String::new() };
    let caption = format!(
        "{name}: {} layers, {} mm, drawn to scale from the tool face up{more}.",
        stack.layers.len(),
        millimetres(stack.thickness())
    );
    let rows = stack.layers.iter().zip(marks).enumerate().map(|(at, (layer, mark))| {
        vec![
            (at + 1).to_string(),
            layer.name.clone().unwrap_or_default(),
            layer.material.clone(),
            layer.role.word().to_string(),
            angle_words(layer),
            layer.thickness.map_or_else(|| "not stated".to_string(), millimetres),
            crate::calc::figure(layer.areal() * 1e3),
            mark.word().to_string(),
        ]
    });
    Figure {
        left: 0,
        svg: svg.finish("Stack", &caption),
        caption: caption.clone(),
        columns: vec![
            ("layer", true),
            ("name", false),
            ("material", false),
            ("role", false),
            ("angle", true),
            ("thickness, mm", true),
            ("areal mass, g/m²", true),
            ("change", false),
        ],
        rows: rows.collect(),
    }
}

/// Layers that are too thin to be drawn each: they are drawn in bands of a px at least, each in the tint of the
/// thickest within, without an outline, in which nothing else would be seen; no hatch is seen there either.
#[derive(Default)]
struct Bands {
    /// By tint: upper ends and heights.
    drawn: BTreeMap<usize, Vec<(f64, f64)>>,
    /// What is marked: upper ends and heights, what touches as one.
    marked: Vec<(f64, f64)>,
    /// Upper end, height, height by tint, and whether some of it is marked.
    open: Option<(f64, f64, BTreeMap<usize, f64>, bool)>,
}

impl Bands {
    fn add(&mut self, y: f64, height: f64, tint: usize, marked: bool) {
        let open = self.open.get_or_insert_with(|| (y, 0.0, BTreeMap::new(), false));
        (open.0, open.1) = (y, open.1 + height);
        *open.2.entry(tint).or_default() += height;
        open.3 |= marked;
        self.close(false);
    }

    /// Ends a band that is tall enough, or any.
    fn close(&mut self, any: bool) {
        let Some((y, height, tints, marked)) = self.open.take_if(|open| any || open.1 >= 1.0) else { return };
        let tint = tints.iter().max_by(|(_, one), (_, two)| one.total_cmp(two)).map_or(1, |(tint, _)| *tint);
        self.drawn.entry(tint).or_default().push((y, height));
        if marked {
            match self.marked.last_mut() {
                Some((top, tall)) if (*top - (y + height)).abs() < 1e-6 => {
                    (*top, *tall) = (y, *tall + height);
                }
                _ => self.marked.push((y, height)),
            }
        }
    }

    fn draw(mut self, svg: &mut Svg) {
        self.close(true);
        for (tint, all) in &self.drawn {
            let mut way = String::new();
            for (y, height) in all {
                let _ = write!(way, "M14 {y:.1}h{BAR}v{height:.1}h-{BAR}z");
            }
            svg.raw(&format!(r#"<path class="t{tint}" d="{way}"/>"#));
        }
        for (y, height) in &self.marked {
            svg.rect("marked", (11.5, *y), (BAR + 5.0, height.max(2.0)));
        }
    }
}

/// Which layers get a label: all where they fit, else those that changed and the outer ones.
fn labelled(stack: &Stack, marks: &[Mark], most: usize) -> Vec<usize> {
    let count = stack.layers.len();
    if count <= most {
        return (0..count).collect();
    }
    let mut all: BTreeSet<usize> = marks
        .iter()
        .enumerate()
        .filter(|(_, mark)| **mark != Mark::Same)
        .map(|(at, _)| at)
        .take(most)
        .collect();
    let (mut low, mut high) = (0, count - 1);
    while all.len() < most && low < high {
        all.insert(low);
        all.insert(high);
        low += 1;
        high -= 1;
    }
    all.into_iter().collect()
}

#[allow(clippy::cast_possible_truncation)]
fn tenths(degrees: f64) -> i64 {
    (degrees * 10.0).round() as i64
}

/// A hatch for each angle that occurs; one of 0 degrees lies along the layer.
fn patterns(angles: &BTreeSet<i64>, key: &str) -> String {
    let mut all = String::from("<defs>");
    for angle in angles {
        let _ = write!(
            all,
            r#"<pattern id="{}" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate({})"><line class="hatch" x1="0" y1="3.5" x2="7" y2="3.5"/></pattern>"#,
            pattern_id(key, *angle),
            -*angle as f64 / 10.0
        );
    }
    all.push_str("</defs>");
    all
}

fn pattern_id(key: &str, angle: i64) -> String {
    let key: String = key.chars().map(|one| if one.is_ascii_alphanumeric() { one } else { '-' }).collect();
    format!("h-{}-{angle}", escaped(&key))
}

fn hatch(svg: &mut Svg, key: &str, angle: i64, (x, y): (f64, f64), (width, height): (f64, f64)) {
    svg.raw(&format!(
        r#"<rect fill="url(#{})" x="{x:.1}" y="{y:.1}" width="{width:.1}" height="{height:.1}"/>"#,
        pattern_id(key, angle)
    ));
}
