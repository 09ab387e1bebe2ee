//! The text of a record as a tree whose nodes know their bytes; read only where places are needed.

use super::Place;
use saphyr_parser::{Event, Parser, ScalarStyle, Span};
use std::collections::HashMap;

/// Deepest nesting that is read.
pub(crate) const MAX_DEPTH: usize = 64;
/// Most values in one file, aliases counted as often as they stand for something.
pub(crate) const MAX_NODES: usize = 100_000;
/// Most aliases in one file.
pub(crate) const MAX_ALIASES: usize = 100;

/// How a list or map is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Style {
    /// By indentation.
    Block,
    /// In brackets.
    Flow,
    /// A single pair inside a bracketed list, without braces.
    Pair,
}

/// One key with its value.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    pub(crate) key: usize,
    pub(crate) value: usize,
    /// Byte behind the colon, where there is one.
    pub(crate) behind_colon: Option<usize>,
}

/// What a node is.
#[derive(Debug, Clone)]
pub(crate) enum NodeKind {
    /// A scalar; `plain` where it is not quoted, `block` where it is `|` or `>` text.
    Scalar { text: String, plain: bool, block: bool },
    /// A list.
    List { items: Vec<usize>, style: Style },
    /// A map in written order, repeated keys included.
    Map { entries: Vec<Entry>, style: Style },
    /// Stands for another node.
    Alias(usize),
}

/// A value with its bytes; the end is that of its last character, without blanks and comments behind.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub(crate) kind: NodeKind,
    pub(crate) start: usize,
    pub(crate) end: usize,
}

/// Why a text gave no tree.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Problem {
    /// The text is no YAML.
    Syntax { at: usize, info: String },
    /// Nested beyond [`MAX_DEPTH`].
    Deep { at: usize },
    /// More than [`MAX_ALIASES`], or they multiply beyond [`MAX_NODES`].
    Aliases { at: usize },
    /// More than [`MAX_NODES`].
    Nodes { at: usize },
    /// A second document begins.
    Documents { at: usize },
}

/// The parsed text.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tree {
    nodes: Vec<Node>,
    root: Option<usize>,
}

/// Turns the parser's count of characters into bytes.
enum Bytes {
    Same(usize),
    Table(Vec<usize>),
}

impl Bytes {
    fn of(text: &str) -> Self {
        if text.is_ascii() {
            return Bytes::Same(text.len());
        }
        let mut table: Vec<usize> = text.char_indices().map(|(at, _)| at).collect();
        table.push(text.len());
        Bytes::Table(table)
    }

    fn at(&self, chars: usize) -> usize {
        match self {
            Bytes::Same(len) => chars.min(*len),
            Bytes::Table(table) => table.get(chars).or(table.last()).copied().unwrap_or_default(),
        }
    }
}

/// A list or map that is not closed yet.
struct Open {
    node: usize,
    key: Option<usize>,
    anchor: usize,
    size_before: usize,
}

struct Builder<'t> {
    text: &'t str,
    tree: Tree,
    open: Vec<Open>,
    anchors: HashMap<usize, (usize, usize)>,
    aliases: usize,
    size: usize,
}

impl Tree {
    /// Reads a text without byte order mark.
    pub(crate) fn parse(text: &str) -> Result<Self, Problem> {
        let bytes = Bytes::of(text);
        let mut parser = Parser::new_from_str(text);
        let mut builder = Builder {
            text,
            tree: Tree::default(),
            open: Vec::new(),
            anchors: HashMap::new(),
            aliases: 0,
            size: 0,
        };
        let mut documents = 0;
        while let Some(next) = parser.next_event() {
            let (event, span) = next.map_err(|error| {
                let at = bytes.at(error.marker().index());
                match error.info() {
                    // The parser counts open brackets in a byte.
                    "recursion limit exceeded" => Problem::Deep { at },
                    info => Problem::Syntax { at, info: info.to_string() },
                }
            })?;
            if matches!(event, Event::StreamEnd) {
                break;
            }
            if matches!(event, Event::DocumentStart(_)) {
                documents += 1;
                if documents > 1 {
                    return Err(Problem::Documents { at: bytes.at(span.start.index()) });
                }
            }
            builder.take(event, span, &bytes)?;
        }
        Ok(builder.tree)
    }

    /// Returns the node at the top, where the text has any.
    pub(crate) fn root(&self) -> Option<usize> {
        self.root
    }

    /// Returns the node itself.
    pub(crate) fn node(&self, id: usize) -> Option<&Node> {
        self.nodes.get(id)
    }

    /// Returns the node that `id` stands for, aliases followed.
    pub(crate) fn resolved(&self, id: usize) -> Option<&Node> {
        match self.nodes.get(id)? {
            // An alias never points to another alias: the parser resolves anchors on nodes only.
            Node { kind: NodeKind::Alias(target), .. } => self.nodes.get(*target),
            node => Some(node),
        }
    }

    /// Returns the text of a scalar.
    pub(crate) fn scalar(&self, id: usize) -> Option<&str> {
        match &self.resolved(id)?.kind {
            NodeKind::Scalar { text, .. } => Some(text),
            _ => None,
        }
    }
}

impl Node {
    /// Returns whether this is `~`, `null` or nothing at all.
    pub(crate) fn is_null(&self) -> bool {
        matches!(&self.kind, NodeKind::Scalar { text, plain: true, .. }
            if matches!(text.as_str(), "" | "~" | "null" | "Null" | "NULL"))
    }

    /// Returns whether nothing is written here.
    pub(crate) fn is_blank(&self) -> bool {
        self.start == self.end
    }
}

impl Builder<'_> {
    fn take(&mut self, event: Event<'_>, span: Span, bytes: &Bytes) -> Result<(), Problem> {
        let (start, end) = (bytes.at(span.start.index()), bytes.at(span.end.index()));
        let at = start;
        match event {
            Event::Alias(anchor) => {
                self.aliases += 1;
                let Some((target, size)) = self.anchors.get(&anchor).copied() else {
                    return Err(Problem::Syntax { at, info: "an alias stands inside its own anchor".into() });
                };
                self.size += size;
                if self.aliases > MAX_ALIASES || self.size > MAX_NODES {
                    return Err(Problem::Aliases { at });
                }
                self.push(Node { kind: NodeKind::Alias(target), start, end });
            }
            Event::Scalar(text, style, anchor, tag) => {
                let block = matches!(style, ScalarStyle::Literal | ScalarStyle::Folded);
                let (start, end) = if block {
                    self.block_scalar(start, end)
                } else if text.is_empty() && style == ScalarStyle::Plain && tag.is_none() && anchor == 0 {
                    self.nothing(start)
                } else {
                    (start, end)
                };
                let kind = NodeKind::Scalar {
                    text: text.into_owned(),
                    plain: style == ScalarStyle::Plain && tag.is_none(),
                    block,
                };
                let node = self.push(Node { kind, start, end });
                self.anchors.insert(anchor, (node, 1));
            }
            Event::SequenceStart(anchor, _) => {
                let kind = NodeKind::List { items: Vec::new(), style: Style::Block };
                let start = if start == end { dash_at(self.text, start).unwrap_or(start) } else { start };
                self.begin(Node { kind, start, end: end.max(start) }, anchor)?;
            }
            Event::MappingStart(anchor, _) => {
                let kind = NodeKind::Map { entries: Vec::new(), style: Style::Block };
                self.begin(Node { kind, start, end }, anchor)?;
            }
            Event::SequenceEnd | Event::MappingEnd => self.finish(start, end),
            _ => {}
        }
        if self.size > MAX_NODES {
            return Err(Problem::Nodes { at });
        }
        Ok(())
    }

    fn begin(&mut self, node: Node, anchor: usize) -> Result<(), Problem> {
        if self.open.len() >= MAX_DEPTH {
            return Err(Problem::Deep { at: node.start });
        }
        let size_before = self.size;
        let node = self.push(node);
        self.open.push(Open { node, key: None, anchor, size_before });
        Ok(())
    }

    fn finish(&mut self, start: usize, end: usize) {
        let Some(Open { node: id, anchor, size_before, .. }) = self.open.pop() else { return };
        if anchor > 0 {
            self.anchors.insert(anchor, (id, self.size.saturating_sub(size_before)));
        }
        let in_flow =
            self.open.last().and_then(|open| self.tree.nodes.get(open.node)).is_some_and(|parent| {
                matches!(
                    parent.kind,
                    NodeKind::List { style: Style::Flow, .. } | NodeKind::Map { style: Style::Flow, .. }
                )
            });
        let (first, last) = match self.tree.nodes.get(id).map(|node| &node.kind) {
            Some(NodeKind::List { items, .. }) => (items.first().copied(), items.last().copied()),
            Some(NodeKind::Map { entries, .. }) => {
                (entries.first().map(|entry| entry.key), entries.last().map(|entry| entry.value))
            }
            _ => (None, None),
        };
        let is_map = matches!(self.tree.nodes.get(id).map(|node| &node.kind), Some(NodeKind::Map { .. }));
        let first = first.and_then(|first| self.tree.nodes.get(first)).map(|first| first.start);
        let last = last.and_then(|last| self.tree.nodes.get(last)).map(|last| last.end);
        let Some(node) = self.tree.nodes.get_mut(id) else { return };
        // A bracketed one was marked when it began; a block one ends with its last value.
        let bracketed = end > start;
        if bracketed {
            node.end = end;
        } else {
            node.end = last.unwrap_or(node.start).max(node.start);
            if let (Some(first), true) = (first, is_map) {
                node.start = node.start.min(first);
            }
        }
        let written = match (bracketed, in_flow) {
            (true, _) => Style::Flow,
            (false, true) => Style::Pair,
            (false, false) => Style::Block,
        };
        match &mut node.kind {
            NodeKind::List { style, .. } | NodeKind::Map { style, .. } => *style = written,
            _ => {}
        }
    }

    fn push(&mut self, mut node: Node) -> usize {
        self.size += 1;
        let id = self.tree.nodes.len();
        // Only the beginning is known of lists and maps as yet: a bracket, or nothing.
        let flow = self.text.get(node.start..node.end).is_some_and(|text| text.ends_with(['[', '{']));
        let end = node.end;
        if let NodeKind::List { style, .. } | NodeKind::Map { style, .. } = &mut node.kind
            && flow
        {
            *style = Style::Flow;
        }
        self.tree.nodes.push(node);
        let text = self.text;
        let Some(open) = self.open.last_mut() else {
            self.tree.root = self.tree.root.or(Some(id));
            return id;
        };
        // The parent's key, when a value arrives, says where the colon is.
        let key_end = open.key.and_then(|key| self.tree.nodes.get(key)).map(|key| key.end);
        let parent = open.node;
        let key = open.key;
        match self.tree.nodes.get_mut(parent).map(|node| &mut node.kind) {
            Some(NodeKind::List { items, .. }) => items.push(id),
            Some(NodeKind::Map { entries, .. }) => match (key, key_end) {
                (Some(key), Some(key_end)) => {
                    let behind_colon = behind(text, key_end, b':').filter(|at| *at <= end.max(key_end + 1));
                    entries.push(Entry { key, value: id, behind_colon });
                    open.key = None;
                }
                _ => open.key = Some(id),
            },
            _ => {}
        }
        id
    }

    /// The parser gives the lines of a `|` text; the node is to begin at its `|`.
    fn block_scalar(&self, start: usize, end: usize) -> (usize, usize) {
        let begin = self.anchor_point(start);
        let head = skip_blank(self.text, begin);
        let head_end = self
            .text
            .get(head..)
            .map_or(head, |rest| head + rest.find(|c: char| c.is_whitespace()).unwrap_or(rest.len()));
        let body_end = self.text.get(start..end).map_or(start, |body| start + body.trim_end().len());
        (head, body_end.max(head_end))
    }

    /// The place of a value that is not written: right behind its colon, dash or key.
    fn nothing(&self, start: usize) -> (usize, usize) {
        let at = match self.open.last() {
            Some(Open { key: Some(_), .. }) => self.anchor_point(start),
            _ => start,
        };
        (at, at)
    }

    /// Where a value may begin: behind the colon of its key, or behind the dash before `start`.
    fn anchor_point(&self, start: usize) -> usize {
        let key = self.open.last().and_then(|open| open.key).and_then(|key| self.tree.nodes.get(key));
        if let Some(key) = key {
            return behind(self.text, key.end, b':')
                .filter(|at| *at <= start.max(key.end + 1))
                .unwrap_or(key.end);
        }
        let before = self.text.get(..start).unwrap_or_default();
        let parent = self.open.last().and_then(|open| self.tree.nodes.get(open.node));
        let from = match parent.map(|node| (&node.kind, node.start)) {
            Some((NodeKind::List { items, .. }, list)) => items
                .last()
                .and_then(|last| self.tree.nodes.get(*last))
                .map_or(dash_at(self.text, list), |last| behind(self.text, last.end, b'-').map(|at| at - 1)),
            _ => None,
        };
        match from {
            Some(dash) => dash + 1,
            None => before.len() - before.trim_end().len(),
        }
    }
}

/// Returns the dash of the first item of a block list that the parser says begins at `start`.
pub(crate) fn dash_at(text: &str, start: usize) -> Option<usize> {
    if text.as_bytes().get(start) == Some(&b'-') {
        return Some(start);
    }
    let before = text.get(..start)?.trim_end_matches([' ', '\t']);
    before.ends_with('-').then(|| before.len() - 1)
}

fn skip_blank(text: &str, from: usize) -> usize {
    text.get(from..).map_or(from, |rest| from + (rest.len() - rest.trim_start_matches([' ', '\t']).len()))
}

/// Returns the byte behind `mark`, where only blanks, line ends and comments stand before it.
pub(crate) fn behind(text: &str, from: usize, mark: u8) -> Option<usize> {
    let mut bytes = text.as_bytes().iter().enumerate().skip(from);
    let mut comment = false;
    bytes.find_map(|(at, byte)| match byte {
        b'\n' => {
            comment = false;
            None
        }
        _ if comment => None,
        b' ' | b'\t' | b'\r' => None,
        b'#' => {
            comment = true;
            None
        }
        byte if *byte == mark => Some(Some(at + 1)),
        _ => Some(None),
    })?
}

/// Finds lines and columns for bytes.
#[derive(Debug, Clone)]
pub(crate) struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    pub(crate) fn of(text: &str) -> Self {
        let starts = std::iter::once(0)
            .chain(text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at + 1))
            .collect();
        Self { starts }
    }

    /// Returns line and column from 1; the column counts characters.
    pub(crate) fn of_byte(&self, text: &str, at: usize) -> (usize, usize) {
        let line = self.starts.partition_point(|start| *start <= at).max(1);
        let start = self.starts.get(line - 1).copied().unwrap_or_default();
        let column = text.get(start..at).map_or(1, |before| before.chars().count() + 1);
        (line, column)
    }

    /// Returns the bytes of a line (from 1) without its end.
    pub(crate) fn line_bytes(&self, text: &str, line: usize) -> (usize, usize) {
        let start = line.checked_sub(1).and_then(|at| self.starts.get(at)).copied().unwrap_or(text.len());
        let end = self.starts.get(line).copied().unwrap_or(text.len());
        let body = text.get(start..end).unwrap_or_default().trim_end_matches(['\r', '\n']);
        (start, start + body.len())
    }

    /// Returns the place of a stretch of bytes.
    pub(crate) fn place(&self, file: &str, text: &str, start: usize, end: usize) -> Place {
        let (line, column) = self.of_byte(text, start);
        Place {
            file: file.to_string(),
            line: Some(line),
            column: Some(column),
            span: Some((start, end.max(start))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The written text of every scalar, list and map, in order.
    fn parts(text: &str) -> Vec<String> {
        let tree = Tree::parse(text).unwrap();
        tree.nodes.iter().map(|node| text[node.start..node.end].to_string()).collect()
    }

    #[test]
    fn nodes_know_exactly_their_bytes() {
        let text = "a: é 1 # c\nb:\n  - {x: [1, 'q'], y: }\n  - k: v\n    l: |  # head\n      text\n      more\n\n  # comment\n  - multi\n    line # c\nc:\n";
        assert_eq!(
            parts(text),
            [
                text.trim_end(),
                "a",
                "é 1",
                "b",
                "- {x: [1, 'q'], y: }\n  - k: v\n    l: |  # head\n      text\n      more\n\n  # comment\n  - multi\n    line",
                "{x: [1, 'q'], y: }",
                "x",
                "[1, 'q']",
                "1",
                "'q'",
                "y",
                "",
                "k: v\n    l: |  # head\n      text\n      more",
                "k",
                "v",
                "l",
                "|  # head\n      text\n      more",
                "multi\n    line",
                "c",
                "",
            ]
        );
    }

    #[test]
    fn line_ends_of_both_kinds_and_block_text_in_lists() {
        assert_eq!(
            parts("b:\r\n- x: é\r\n  y: |\r\n    t\r\n\r\n- >-\r\n  u\r\n- z\r\n"),
            [
                "b:\r\n- x: é\r\n  y: |\r\n    t\r\n\r\n- >-\r\n  u\r\n- z",
                "b",
                "- x: é\r\n  y: |\r\n    t\r\n\r\n- >-\r\n  u\r\n- z",
                "x: é\r\n  y: |\r\n    t",
                "x",
                "é",
                "y",
                "|\r\n    t",
                ">-\r\n  u",
                "z"
            ]
        );
    }

    #[test]
    fn limits_hold_without_recursion() {
        assert!(matches!(Tree::parse(&"[".repeat(2000)), Err(Problem::Deep { .. })));
        assert!(matches!(
            Tree::parse(&format!("{}{}", "[".repeat(65), "]".repeat(65))),
            Err(Problem::Deep { .. })
        ));
        assert!(matches!(Tree::parse(&"- ".repeat(20_000)), Err(Problem::Deep { .. })));
        let mut bomb = "a: &a [x, x, x, x, x, x, x, x, x, x]\n".to_string();
        for (one, next) in "abcdefgh".chars().zip("bcdefghi".chars()) {
            bomb += &format!("{next}: &{next} [{}]\n", format!("*{one}, ").repeat(10));
        }
        assert!(matches!(Tree::parse(&bomb), Err(Problem::Aliases { .. })));
        assert!(matches!(Tree::parse(&"- a\n".repeat(100_001)), Err(Problem::Nodes { .. })));
        assert!(matches!(Tree::parse("a: &a [*a]\n"), Err(Problem::Syntax { .. })));
        assert!(matches!(Tree::parse("a: 1\n---\nb: 1\n"), Err(Problem::Documents { at: 5 })));
    }
}
