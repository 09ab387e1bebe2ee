//! What is made of what: the records from materials up to assemblies, with what each touches.

use super::Site;
use super::svg::{Svg, cut, escaped};
use super::tables::Page;
use crate::graph::list;
use crate::record::{Address, RecordKind};
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// Columns from left to right: what is used stands left of what uses it.
const COLUMNS: [(&str, &[RecordKind]); 4] = [
    ("materials, processes, tools", &[RecordKind::Material, RecordKind::Process, RecordKind::Tool]),
    ("recipes, finishes", &[RecordKind::Recipe, RecordKind::Finish]),
    ("panels", &[RecordKind::Panel]),
    ("assemblies", &[RecordKind::Assembly]),
];
/// More records than this make no drawing that anybody reads.
const MOST: usize = 240;
/// Records that the table lists, and how many each of them names.
const ROWS: usize = 800;
const USES: usize = 40;
const WIDTH: f64 = 1_120.0;
const ROW: f64 = 19.0;

/// Returns template, title and context.
pub(super) fn context(site: &Site<'_>) -> (&'static str, String, Page) {
    let ledger = site.inputs.ledger;
    let shown = |kind: RecordKind| COLUMNS.iter().any(|(_, kinds)| kinds.contains(&kind));
    let mut edges: BTreeSet<(Address, Address)> = BTreeSet::new();
    for one in list(ledger) {
        if shown(one.from.kind()) && shown(one.to.kind()) && one.from != one.to {
            edges.insert((one.from, one.to));
        }
    }
    let nodes: BTreeSet<&Address> = edges.iter().flat_map(|(from, to)| [from, to]).collect();
    let mut all = Map::new();
    let mut put = |name: &str, value: Value| all.insert(name.to_string(), value);
    let drawn = nodes.len() <= MOST && !nodes.is_empty();
    put(
        "opening",
        json!(if nodes.is_empty() {
            "No record uses another.".to_string()
        } else if drawn {
            "What is made of what, from materials on the left to assemblies on the right. Point at a record, or move to it with the keyboard, and everything that it touches stands out.".to_string()
        } else {
            format!(
                "The ledger has {} records that use each other: too many for one drawing. The sheet of each panel, recipe and finish names what it uses and what uses it.",
                nodes.len()
            )
        }),
    );
    put("svg", if drawn { json!(draw(site, &nodes, &edges)) } else { Value::Null });
    let mut rows: Vec<Value> = Vec::new();
    let mut below: BTreeMap<&Address, Vec<&Address>> = BTreeMap::new();
    for (from, to) in &edges {
        below.entry(from).or_default().push(to);
    }
    let left = below.len().saturating_sub(ROWS);
    for (from, to) in below.into_iter().take(ROWS) {
        let mut uses: Vec<String> = to.iter().take(USES).map(ToString::to_string).collect();
        if to.len() > USES {
            uses.push(format!("{} more", to.len() - USES));
        }
        rows.push(json!({ "kind": from.kind().word(), "id": from.id(), "uses": uses }));
    }
    put("left", json!(left));
    put("rows", Value::Array(rows));
    ("graph.html", "What is made of what".to_string(), all.into())
}

fn draw(site: &Site<'_>, nodes: &BTreeSet<&Address>, edges: &BTreeSet<(Address, Address)>) -> String {
    let mut columns: Vec<Vec<&Address>> = COLUMNS
        .iter()
        .map(|(_, kinds)| nodes.iter().copied().filter(|node| kinds.contains(&node.kind())).collect())
        .collect();
    // Each column in the order of the middle of what it touches, from the right to the left and back: fewer crossings.
    let mut place: BTreeMap<&Address, f64> = BTreeMap::new();
    for column in &columns {
        for (at, node) in column.iter().enumerate() {
            place.insert(node, at as f64 / column.len() as f64);
        }
    }
    let mut near: BTreeMap<&Address, Vec<&Address>> = BTreeMap::new();
    for (from, to) in edges {
        near.entry(from).or_default().push(to);
        near.entry(to).or_default().push(from);
    }
    let order: Vec<usize> =
        (0..columns.len()).rev().chain(0..columns.len()).chain((0..columns.len()).rev()).collect();
    for at in order {
        let Some(column) = columns.get_mut(at) else { continue };
        let middle = |node: &&Address| {
            let own: Vec<f64> = near
                .get(*node)
                .into_iter()
                .flatten()
                .filter_map(|other| place.get(*other))
                .copied()
                .collect();
            if own.is_empty() { 1.0 } else { own.iter().sum::<f64>() / own.len() as f64 }
        };
        column.sort_by(|one, two| middle(one).total_cmp(&middle(two)).then_with(|| one.cmp(two)));
        for (at, node) in column.iter().enumerate() {
            place.insert(node, at as f64 / column.len() as f64);
        }
    }
    let tallest = columns.iter().map(Vec::len).max().unwrap_or(0);
    let (top, height) = (34.0, 34.0 + ROW * tallest as f64 + 10.0);
    let gap = WIDTH / COLUMNS.len() as f64;
    let mut at: BTreeMap<&Address, (f64, f64)> = BTreeMap::new();
    for (number, column) in columns.iter().enumerate() {
        let step = (height - top - 10.0) / column.len().max(1) as f64;
        for (row, node) in column.iter().enumerate() {
            at.insert(node, (gap * number as f64, top + step * (row as f64 + 0.5)));
        }
    }
    let mut svg = Svg::new(WIDTH, height);
    for (number, (name, _)) in COLUMNS.iter().enumerate() {
        svg.text("strong", (gap * number as f64, 14.0), super::svg::Anchor::Start, name);
    }
    let mut body = String::new();
    let wide = gap - 96.0;
    for (from, to) in edges {
        let (Some((x2, y2)), Some((x1, y1))) = (at.get(from), at.get(to)) else { continue };
        // A line begins where the name ends.
        let name = cut(to.id(), wide).chars().count() as f64 * 6.6 + 5.0;
        let (start, end) = (x1 + name.min(wide), x2 - 4.0);
        // What stands in one column is joined on its left.
        let (start, end, bend) =
            if (x1 - x2).abs() < 1.0 { (x1 - 4.0, x2 - 4.0, -26.0) } else { (start, end, 44.0) };
        let back = if bend < 0.0 { bend } else { -bend };
        let _ = write!(
            body,
            r#"<path class="edge" data-from="{}" data-to="{}" d="M{start:.0} {y1:.1}C{:.0} {y1:.1} {:.0} {y2:.1} {end:.0} {y2:.1}"/>"#,
            escaped(&to.to_string()),
            escaped(&from.to_string()),
            start + bend,
            end + back
        );
    }
    for (node, (x, y)) in &at {
        let name = node.to_string();
        let href = match site.has_page(node) {
            true => format!("{}/{}.html", node.kind().word(), super::file_name(node.id())),
            false => String::new(),
        };
        let words = cut(node.id(), wide);
        let inside = format!(r#"<text x="{x:.0}" y="{:.1}">{}</text>"#, y + 4.0, escaped(&words));
        let title = format!("<title>{}</title>", escaped(&name));
        let _ = if href.is_empty() {
            write!(
                body,
                r#"<g class="node" tabindex="0" role="group" aria-label="{0}" data-node="{0}">{title}{inside}</g>"#,
                escaped(&name)
            )
        } else {
            write!(
                body,
                r#"<a class="node" href="{}" data-node="{}">{title}{inside}</a>"#,
                escaped(&href),
                escaped(&name)
            )
        };
    }
    svg.raw(&body);
    svg.open("What is made of what", "The table below says the same.", "touch")
}
