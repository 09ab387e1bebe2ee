//! Places in a record's text by route: `layers.3.angle`, `zones.window.area`.

use super::Place;
use super::tree::{Entry, Lines, Node, NodeKind, Tree};
use std::collections::BTreeMap;

/// More parts than this no route has; longer ones find nothing.
const MAX_PARTS: usize = 64;

/// The places of all keys and values of one record.
#[derive(Debug, Clone)]
pub struct PlaceIndex {
    text: String,
    tree: Tree,
    lines: Lines,
}

/// A stretch of the text: lines and columns from 1, columns in characters, bytes without byte order mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// Line.
    pub line: usize,
    /// Column.
    pub column: usize,
    /// First byte.
    pub start: usize,
    /// Byte behind the last.
    pub end: usize,
}

impl Stretch {
    /// Returns this stretch as a place in `file`.
    pub fn place(self, file: &str) -> Place {
        Place {
            file: file.to_string(),
            line: Some(self.line),
            column: Some(self.column),
            span: Some((self.start, self.end)),
        }
    }
}

/// Where a route leads: the nodes on the way, the last one being the value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    /// The place of an entry in a map.
    Key(usize),
    /// The place in a list, from 0.
    Item(usize),
}

/// Indexes the places of `text`; empty where the text is no YAML.
pub fn places(text: &str) -> PlaceIndex {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    PlaceIndex { text: text.to_string(), tree: Tree::parse(text).unwrap_or_default(), lines: Lines::of(text) }
}

impl PlaceIndex {
    /// Returns where the value at `route` stands; the empty route is the whole record.
    pub fn find(&self, route: &str) -> Option<Stretch> {
        let (_, node) = steps(&self.tree, route)?;
        self.stretch(node)
    }

    /// Returns where the key of `route` stands; of a list's entry, the entry itself.
    pub fn find_key(&self, route: &str) -> Option<Stretch> {
        let (way, node) = steps(&self.tree, route)?;
        match way.last() {
            Some((map, Step::Key(at))) => self.stretch(entry(&self.tree, *map, *at)?.key),
            _ => self.stretch(node),
        }
    }

    /// Returns the first place of the longest beginning of `route` that is there: the best place for
    /// a fault about something that is missing.
    pub fn nearest(&self, route: &str) -> Option<Stretch> {
        let mut rest = route;
        loop {
            if let Some(found) = self.find_key(rest) {
                return Some(found);
            }
            if rest.is_empty() {
                return None;
            }
            rest = rest.rsplit_once('.').map_or("", |(before, _)| before);
        }
    }

    /// Returns `route` with list places replaced by the `id` or `name` of their entry, where it has one.
    ///
    /// Blanks in a name become `-`. A name that stands there twice stays a number.
    pub fn canonical_route(&self, route: &str) -> Option<String> {
        let (way, _) = steps(&self.tree, route)?;
        let mut parts = Vec::with_capacity(way.len());
        for (node, step) in way {
            match step {
                Step::Key(at) => parts.push(self.tree.scalar(entry(&self.tree, node, at)?.key)?.to_string()),
                Step::Item(at) => {
                    let items = items(&self.tree, node)?;
                    let name = items.get(at).and_then(|item| handle(&self.tree, *item));
                    let first = name.as_ref().and_then(|name| {
                        items.iter().position(|item| handle(&self.tree, *item).as_ref() == Some(name))
                    });
                    parts.push(match name {
                        Some(name) if first == Some(at) => name,
                        _ => (at + 1).to_string(),
                    });
                }
            }
        }
        Some(parts.join("."))
    }

    /// Returns `route` with every list place as a number.
    pub fn numbered_route(&self, route: &str) -> Option<String> {
        let (way, _) = steps(&self.tree, route)?;
        let parts: Option<Vec<String>> = way
            .into_iter()
            .map(|(node, step)| match step {
                Step::Key(at) => self.tree.scalar(entry(&self.tree, node, at)?.key).map(str::to_string),
                Step::Item(at) => Some((at + 1).to_string()),
            })
            .collect();
        parts.map(|parts| parts.join("."))
    }

    /// Returns the text of a stretch.
    pub fn text(&self, stretch: Stretch) -> &str {
        self.text.get(stretch.start..stretch.end).unwrap_or_default()
    }

    /// Returns the keys of the map, or the handles (`id`, `name` or number) of the list, at `route`.
    pub fn children(&self, route: &str) -> Vec<String> {
        let Some((_, node)) = steps(&self.tree, route) else { return Vec::new() };
        match self.tree.resolved(node).map(|node| &node.kind) {
            Some(NodeKind::Map { entries, .. }) => {
                entries.iter().filter_map(|entry| self.tree.scalar(entry.key)).map(str::to_string).collect()
            }
            Some(NodeKind::List { items, .. }) => items
                .iter()
                .enumerate()
                .map(|(at, item)| handle(&self.tree, *item).unwrap_or_else(|| (at + 1).to_string()))
                .collect(),
            _ => Vec::new(),
        }
    }

    fn stretch(&self, node: usize) -> Option<Stretch> {
        let Node { start, end, .. } = self.tree.node(node)?;
        let (line, column) = self.lines.of_byte(&self.text, *start);
        Some(Stretch { line, column, start: *start, end: *end })
    }
}

/// Returns the entry of a map by its place.
pub(crate) fn entry(tree: &Tree, map: usize, at: usize) -> Option<&Entry> {
    match &tree.resolved(map)?.kind {
        NodeKind::Map { entries, .. } => entries.get(at),
        _ => None,
    }
}

fn items(tree: &Tree, list: usize) -> Option<&[usize]> {
    match &tree.resolved(list)?.kind {
        NodeKind::List { items, .. } => Some(items),
        _ => None,
    }
}

/// The word that an entry of a list is called by: its `id`, else its `name`, blanks turned into `-`.
fn handle(tree: &Tree, item: usize) -> Option<String> {
    let NodeKind::Map { entries, .. } = &tree.resolved(item)?.kind else { return None };
    ["id", "name"].iter().find_map(|wanted| {
        let entry = entries.iter().find(|entry| tree.scalar(entry.key) == Some(wanted))?;
        Some(dashed(tree.scalar(entry.value)?)).filter(|name| !name.is_empty())
    })
}

/// A text with its blanks turned into `-`.
fn dashed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join("-")
}

/// Follows `route` from the root: the steps (each with the node it is taken in) and the node at its end.
pub(crate) fn steps(tree: &Tree, route: &str) -> Option<(Vec<(usize, Step)>, usize)> {
    let root = tree.root()?;
    if route.is_empty() {
        return Some((Vec::new(), root));
    }
    let parts: Vec<&str> = route.split('.').collect();
    if parts.len() > MAX_PARTS {
        return None;
    }
    let mut dead_ends = BTreeMap::new();
    let mut way = Vec::new();
    let end = follow(tree, root, &parts, &mut way, &mut dead_ends)?;
    way.reverse();
    Some((way, end))
}

/// Keys and names may hold dots: the longest that fits is tried first. What led nowhere is remembered.
fn follow(
    tree: &Tree,
    node: usize,
    parts: &[&str],
    way: &mut Vec<(usize, Step)>,
    dead_ends: &mut BTreeMap<(usize, usize), ()>,
) -> Option<usize> {
    if parts.is_empty() {
        return Some(node);
    }
    if dead_ends.contains_key(&(node, parts.len())) {
        return None;
    }
    for taken in (1..=parts.len()).rev() {
        let (head, rest) = parts.split_at(taken);
        let Some((step, next)) = child(tree, node, &head.join(".")) else { continue };
        if let Some(end) = follow(tree, next, rest, way, dead_ends) {
            way.push((node, step));
            return Some(end);
        }
    }
    dead_ends.insert((node, parts.len()), ());
    None
}

fn child(tree: &Tree, node: usize, word: &str) -> Option<(Step, usize)> {
    match &tree.resolved(node)?.kind {
        NodeKind::Map { entries, .. } => {
            // A key with blanks may be written as the names of lists are.
            let exact = entries.iter().position(|entry| tree.scalar(entry.key) == Some(word));
            let alike = || {
                let key = |entry: &Entry| tree.scalar(entry.key).filter(|key| key.contains(' ')).map(dashed);
                word.contains('-')
                    .then(|| entries.iter().position(|entry| key(entry).as_deref() == Some(word)))?
            };
            let at = exact.or_else(alike)?;
            Some((Step::Key(at), entries.get(at)?.value))
        }
        NodeKind::List { items, .. } => {
            let at = items
                .iter()
                .position(|item| handle(tree, *item).is_some_and(|name| name == word || name == dashed(word)))
                .or_else(|| word.parse::<usize>().ok()?.checked_sub(1))?;
            Some((Step::Item(at), items.get(at).copied()?))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{RecordKind, samples};

    fn found(text: &str, route: &str) -> String {
        let index = places(text);
        index.find(route).map_or("-".to_string(), |at| {
            format!("{}:{} {}", at.line, at.column, index.text(at).lines().next().unwrap_or_default())
        })
    }

    #[test]
    fn routes_lead_to_values_and_keys() {
        let text = samples::valid(RecordKind::Recipe)[0];
        assert_eq!(found(text, "layers.2.angle"), "8:34 0");
        assert_eq!(found(text, "layers.p1.angle"), "7:42 45");
        assert_eq!(found(text, "layers.1.angle"), "7:42 45");
        assert_eq!(found(text, "layers.3"), "9:5 material: foam-52");
        assert_eq!(found(text, "layers.3.thickness"), "10:16 6 mm");
        assert_eq!(found(text, "process"), "5:10 oven-120");
        assert_eq!(found(text, "layers.0"), "-");
        assert_eq!(found(text, "layers.9"), "-");
        assert_eq!(found(text, "layers.p1.angel"), "-");
        let index = places(text);
        assert_eq!(index.text(index.find_key("layers.p1.angle").unwrap()), "angle");
        assert_eq!(index.nearest("layers.p1.angel").unwrap(), index.find("layers.p1").unwrap());
        assert_eq!(index.nearest("nothing").unwrap().line, 2);
        assert_eq!(index.children("layers"), ["p1", "2", "3", "4"]);
        assert_eq!(index.find("notes").unwrap().place("recipes/a.yaml").line, Some(13));
    }

    #[test]
    fn names_with_blanks_and_keys_with_dots() {
        let text = samples::valid(RecordKind::Panel)[0];
        assert_eq!(found(text, "zones.outer-field.area"), "6:31 0.82 m2");
        assert_eq!(found(text, "zones.window.sheet.thickness"), "9:45 4 mm");
        let index = places(text);
        assert_eq!(index.canonical_route("zones.1.area").unwrap(), "zones.outer-field.area");
        assert_eq!(index.numbered_route("zones.window.area").unwrap(), "zones.2.area");
        assert_eq!(index.canonical_route("zones.1.centroid.2").unwrap(), "zones.outer-field.centroid.2");
        let text = samples::valid(RecordKind::Evidence)[0];
        assert_eq!(found(text, "measured.film-build.total"), "6:30 180 um");
        assert_eq!(found(text, "conformed.attributes.fibre.name.a"), "11:19 carbon-a");
        assert_eq!(
            places(text).canonical_route("conformed.attributes.fibre.name.a").unwrap(),
            "conformed.attributes.fibre.name.a"
        );
        let text = "a:\n  b: {c: 1}\n  b.c: 2\n  b.d: 3\n";
        assert_eq!((found(text, "a.b.c"), found(text, "a.b.d")), ("3:8 2".to_string(), "4:8 3".to_string()));
    }

    #[test]
    fn names_that_repeat_stay_numbers() {
        let index = places("l:\n- {name: a b, x: 1}\n- {name: a b, x: 2}\n- {id: 1, x: 3}\n");
        assert_eq!(index.canonical_route("l.2.x").unwrap(), "l.2.x");
        assert_eq!(index.canonical_route("l.a-b.x").unwrap(), "l.a-b.x");
        assert_eq!(index.numbered_route("l.1.x").unwrap(), "l.3.x");
    }

    #[test]
    fn broken_texts_and_endless_routes_find_nothing() {
        assert_eq!(places("a: [").find("a"), None);
        assert_eq!(places("").nearest("a.b"), None);
        assert_eq!(places("a: 1").find(&"a.".repeat(10_000)), None);
        assert_eq!(found("\u{feff}a: 1\n", "a"), "1:4 1");
    }
}
