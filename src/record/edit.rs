//! Edits of a record's text that keep every other byte: comments, layout, line ends.
//!
//! Each edit is checked before it is handed out: the new text must read as the old value with exactly
//! this change, else it is refused.

mod fill;

pub use super::emit::{block_lines, flow as one_line};
use super::emit::{flow, scalar};
use super::place::{Step, entry, steps};
use super::tree::{NodeKind, Problem, Style, Tree, behind, dash_at};
pub use fill::fill;
use serde_yaml::Value;
use thiserror::Error;

/// Lists of maps that are longer on one line are written one entry a line.
const LONG: usize = 80;

/// Why a text was not edited.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum EditError {
    /// The text can't be read as it stands.
    #[error("the text can't be read: {0}")]
    Unreadable(String),
    /// Nothing stands at the route.
    #[error("nothing stands at `{0}`")]
    NoSuchPlace(String),
    /// The route is no list.
    #[error("`{0}` is no list")]
    NotAList(String),
    /// The route is no map.
    #[error("`{0}` is no map")]
    NotAMap(String),
    /// The list is shorter.
    #[error("`{route}` has {count} entries, there is no place behind {after}")]
    NoSuchItem {
        /// The list.
        route: String,
        /// The place asked for.
        after: usize,
        /// How many there are.
        count: usize,
    },
    /// The key is there already.
    #[error("`{0}` is there already")]
    KeyExists(String),
    /// Nothing would be left.
    #[error("the whole record can't be replaced or emptied by an edit")]
    WholeRecord,
    /// The value can't be written, or the lines are no block.
    #[error("the new value can't be written as text")]
    NotWritable,
    /// The edit would change something else as well, or not do what it should.
    #[error("the text around `{0}` is written in a way that can't be edited safely: change it by hand")]
    Unsafe(String),
}

/// Sets the value at `route`, which must be there.
///
/// # Errors
/// [`EditError`] says why the text is not edited.
pub fn set(text: &str, route: &str, value: &Value) -> Result<String, EditError> {
    let edit = Edit::of(text)?;
    let (way, _) = edit.way(route)?;
    let new = edit.with_value(route, &way, value)?;
    edit.checked(new, route, |old| at(old, &way).map(|place| *place = value.clone()))
}

/// Puts `entry` behind the entry `after` (from 1; 0 puts it first) of the list at `list_route`.
///
/// # Errors
/// [`EditError`] says why the text is not edited.
pub fn insert(text: &str, list_route: &str, after: usize, entry: &Value) -> Result<String, EditError> {
    let edit = Edit::of(text)?;
    let (way, node) = edit.way(list_route)?;
    let resolved = edit.tree.resolved(node).ok_or_else(|| EditError::NoSuchPlace(list_route.to_string()))?;
    if resolved.is_null() && after == 0 {
        return set(text, list_route, &Value::Sequence(vec![entry.clone()]));
    }
    let NodeKind::List { items, style } = &resolved.kind else {
        return Err(EditError::NotAList(list_route.to_string()));
    };
    let count = items.len();
    if after > count {
        return Err(EditError::NoSuchItem { route: list_route.to_string(), after, count });
    }
    let written = flow(entry).ok_or(EditError::NotWritable)?;
    let unsafe_here = || EditError::Unsafe(list_route.to_string());
    let span = |at: usize| items.get(at).and_then(|item| edit.tree.node(*item));
    let new = match (style, after.checked_sub(1).and_then(span), span(0)) {
        (Style::Block, Some(before), _) => {
            let dash = edit.dash(node, 0).ok_or_else(unsafe_here)?;
            let at = edit.line_end(before.end.max(edit.dash(node, after - 1).ok_or_else(unsafe_here)? + 1));
            edit.replaced(at, at, &format!("{}{}- {written}", edit.eol, edit.indent(dash)))
        }
        (Style::Block, None, _) => {
            let dash = edit.dash(node, 0).ok_or_else(unsafe_here)?;
            if edit.leads_line(dash) {
                let at = edit.line_start(dash);
                edit.replaced(at, at, &format!("{}- {written}{}", edit.indent(dash), edit.eol))
            } else {
                edit.replaced(dash, dash, &format!("- {written}{}{}", edit.eol, edit.indent(dash)))
            }
        }
        (_, Some(before), _) => edit.replaced(before.end, before.end, &format!(", {written}")),
        (_, None, Some(first)) => edit.replaced(first.start, first.start, &format!("{written}, ")),
        (_, None, None) => {
            let at = edit.text.get(resolved.start..resolved.end).and_then(|list| list.find('['));
            let at = resolved.start + at.ok_or_else(unsafe_here)? + 1;
            edit.replaced(at, at, &written)
        }
    };
    edit.checked(new, list_route, |old| match at(old, &way) {
        Some(Value::Sequence(all)) if after <= all.len() => {
            all.insert(after, entry.clone());
            Some(())
        }
        _ => None,
    })
}

/// Takes the entry or key at `route` out; a list or map that loses its last one is left empty.
///
/// # Errors
/// [`EditError`] says why the text is not edited.
pub fn remove(text: &str, route: &str) -> Result<String, EditError> {
    let edit = Edit::of(text)?;
    let (way, _) = edit.way(route)?;
    let Some(((parent, step), above)) = way.split_last() else { return Err(EditError::WholeRecord) };
    let node = edit.tree.resolved(*parent).ok_or_else(|| EditError::NoSuchPlace(route.to_string()))?;
    let new = match (&node.kind, step) {
        (NodeKind::List { items, .. }, Step::Item(_)) if items.len() == 1 => {
            edit.with_value(route, above, &Value::Sequence(Vec::new()))?
        }
        (NodeKind::Map { entries, .. }, Step::Key(_)) if entries.len() == 1 => {
            edit.with_value(route, above, &Value::Mapping(serde_yaml::Mapping::new()))?
        }
        (NodeKind::List { items, style }, Step::Item(index)) => {
            let spans: Option<Vec<(usize, usize)>> = items
                .iter()
                .enumerate()
                .map(|(at, item)| {
                    let item = edit.tree.node(*item)?;
                    if *style == Style::Block {
                        let dash = edit.dash(*parent, at)?;
                        Some((dash, item.end.max(dash + 1)))
                    } else {
                        Some((item.start, item.end))
                    }
                })
                .collect();
            edit.without(route, &spans.unwrap_or_default(), *index, *style)?
        }
        (NodeKind::Map { entries, style }, Step::Key(index)) => {
            let spans: Option<Vec<(usize, usize)>> = entries
                .iter()
                .map(|entry| {
                    let key = edit.tree.node(entry.key)?;
                    Some((
                        key.start,
                        edit.tree.node(entry.value)?.end.max(entry.behind_colon.unwrap_or(key.end)),
                    ))
                })
                .collect();
            edit.without(route, &spans.unwrap_or_default(), *index, *style)?
        }
        _ => return Err(EditError::NoSuchPlace(route.to_string())),
    };
    edit.checked(new, route, |old| match (at(old, above)?, step) {
        (Value::Sequence(all), Step::Item(index)) if *index < all.len() => {
            all.remove(*index);
            Some(())
        }
        (Value::Mapping(all), Step::Key(index)) => {
            let key = all.keys().nth(*index)?.clone();
            all.shift_remove(&key).map(|_| ())
        }
        _ => None,
    })
}

/// Adds `key` with `value` behind the last key of the map at `route`.
///
/// # Errors
/// [`EditError`] says why the text is not edited.
pub fn add_key(text: &str, route: &str, key: &str, value: &Value) -> Result<String, EditError> {
    let edit = Edit::of(text)?;
    let added = |map: &mut Value| match map {
        Value::Mapping(all) => all.insert(Value::from(key), value.clone()).is_none().then_some(()),
        Value::Null => {
            *map = Value::Mapping(serde_yaml::Mapping::from_iter([(Value::from(key), value.clone())]));
            Some(())
        }
        _ => None,
    };
    if edit.tree.root().is_none() && route.is_empty() {
        let gap = if edit.text.is_empty() || edit.text.ends_with('\n') { "" } else { edit.eol };
        let line = format!("{gap}{}:{}{}", scalar(key), edit.written(value, 0, true)?, edit.eol);
        return edit.checked(edit.replaced(edit.text.len(), edit.text.len(), &line), route, added);
    }
    let (way, node) = edit.way(route)?;
    let resolved = edit.tree.resolved(node).ok_or_else(|| EditError::NoSuchPlace(route.to_string()))?;
    if resolved.is_null() {
        let map = Value::Mapping(serde_yaml::Mapping::from_iter([(Value::from(key), value.clone())]));
        return set(text, route, &map);
    }
    let NodeKind::Map { entries, style } = &resolved.kind else {
        return Err(EditError::NotAMap(route.to_string()));
    };
    if entries.iter().any(|entry| edit.tree.scalar(entry.key) == Some(key)) {
        let at = if route.is_empty() { key.to_string() } else { format!("{route}.{key}") };
        return Err(EditError::KeyExists(at));
    }
    let unsafe_here = || EditError::Unsafe(route.to_string());
    let new = match (style, entries.first(), entries.last()) {
        (Style::Block, Some(first), Some(_)) => {
            let first = edit.tree.node(first.key).ok_or_else(unsafe_here)?.start;
            let indent = edit.indent(first);
            let at = edit.line_end(resolved.end);
            let written = edit.written(value, indent.len(), true)?;
            edit.replaced(at, at, &format!("{}{indent}{}:{written}", edit.eol, scalar(key)))
        }
        (_, _, Some(last)) => {
            let last = edit.tree.node(last.value).ok_or_else(unsafe_here)?.end;
            edit.replaced(last, last, &format!(", {}:{}", scalar(key), edit.written(value, 0, false)?))
        }
        _ => {
            let at = edit.text.get(resolved.start..resolved.end).and_then(|map| map.find('{'));
            let at = resolved.start + at.ok_or_else(unsafe_here)? + 1;
            edit.replaced(at, at, &format!("{}:{}", scalar(key), edit.written(value, 0, false)?))
        }
    };
    edit.checked(new, route, |old| added(at(old, &way)?))
}

/// Sets a key at the top of the record, or adds it behind the last one.
///
/// # Errors
/// [`EditError`] says why the text is not edited.
pub fn put(text: &str, key: &str, value: &Value) -> Result<String, EditError> {
    let edit = Edit::of(text)?;
    match edit.top_key(key) {
        Some(way) => {
            let new = edit.with_value(key, &way, value)?;
            edit.checked(new, key, |old| at(old, &way).map(|place| *place = value.clone()))
        }
        None => add_key(text, "", key, value),
    }
}

/// Writes the block `key:` with `block_lines` (relative to it, not indented) at the end of the record, or in
/// place of what the key held; see [`block_lines`].
///
/// # Errors
/// [`EditError`] says why the text is not edited.
pub fn append_block(text: &str, key: &str, block_lines: &[String]) -> Result<String, EditError> {
    let edit = Edit::of(text)?;
    let mut block = format!("{}:", scalar(key));
    for line in block_lines {
        block.push_str(edit.eol);
        if !line.is_empty() {
            block.push_str("  ");
            block.push_str(line);
        }
    }
    let value = match serde_yaml::from_str::<Value>(&block) {
        Ok(Value::Mapping(mut all)) if all.len() == 1 => {
            all.shift_remove(key).ok_or(EditError::NotWritable)?
        }
        _ => return Err(EditError::NotWritable),
    };
    let new = if let Some(way) = edit.top_key(key) {
        let Some(&(root, Step::Key(index))) = way.first() else { return Err(EditError::WholeRecord) };
        let found = entry(&edit.tree, root, index).ok_or_else(|| EditError::Unsafe(key.to_string()))?;
        let start = edit.tree.node(found.key).map_or(0, |node| node.start);
        let end = edit.tree.node(found.value).map_or(start, |node| node.end);
        edit.replaced(start, edit.line_end(end.max(found.behind_colon.unwrap_or(start))), &block)
    } else {
        let root_end = edit.tree.root().and_then(|root| edit.tree.node(root)).map_or(0, |root| root.end);
        let tail = edit.text.get(root_end..).unwrap_or_default();
        let marker = tail.lines().any(|line| line.starts_with("...") || line.starts_with("---"));
        if marker {
            let at = edit.line_end(root_end);
            edit.replaced(at, at, &format!("{}{block}", edit.eol))
        } else {
            let gap = if edit.text.is_empty() || edit.text.ends_with('\n') { "" } else { edit.eol };
            edit.replaced(edit.text.len(), edit.text.len(), &format!("{gap}{block}{}", edit.eol))
        }
    };
    edit.checked(new, key, |old| {
        if old.is_null() {
            *old = Value::Mapping(serde_yaml::Mapping::new());
        }
        old.as_mapping_mut()?.insert(Value::from(key), value.clone());
        Some(())
    })
}

/// Follows the steps into a value.
fn at<'v>(value: &'v mut Value, way: &[(usize, Step)]) -> Option<&'v mut Value> {
    way.iter().try_fold(value, |value, (_, step)| match (value, step) {
        (Value::Mapping(all), Step::Key(index)) => all.iter_mut().nth(*index).map(|(_, value)| value),
        (Value::Sequence(all), Step::Item(index)) => all.get_mut(*index),
        _ => None,
    })
}

type Way = Vec<(usize, Step)>;

struct Edit<'t> {
    /// Without byte order mark.
    text: &'t str,
    mark: &'static str,
    tree: Tree,
    old: Value,
    eol: &'static str,
}

impl<'t> Edit<'t> {
    fn of(text: &'t str) -> Result<Self, EditError> {
        let (mark, text) = match text.strip_prefix('\u{feff}') {
            Some(rest) => ("\u{feff}", rest),
            None => ("", text),
        };
        let tree = Tree::parse(text).map_err(|problem| {
            EditError::Unreadable(match problem {
                Problem::Syntax { info, .. } => info,
                other => format!("{other:?}"),
            })
        })?;
        let old = serde_yaml::from_str(text).map_err(|error| EditError::Unreadable(error.to_string()))?;
        let first_end = text.find('\n');
        let eol = match first_end.and_then(|at| at.checked_sub(1)).and_then(|at| text.as_bytes().get(at)) {
            Some(b'\r') => "\r\n",
            _ => "\n",
        };
        Ok(Self { text, mark, tree, old, eol })
    }

    fn way(&self, route: &str) -> Result<(Way, usize), EditError> {
        steps(&self.tree, route).ok_or_else(|| EditError::NoSuchPlace(route.to_string()))
    }

    fn top_key(&self, key: &str) -> Option<Way> {
        let root = self.tree.root()?;
        let NodeKind::Map { entries, .. } = &self.tree.resolved(root)?.kind else { return None };
        let at = entries.iter().position(|entry| self.tree.scalar(entry.key) == Some(key))?;
        Some(vec![(root, Step::Key(at))])
    }

    fn replaced(&self, start: usize, end: usize, with: &str) -> String {
        let before = self.text.get(..start).unwrap_or_default();
        let behind = self.text.get(end..).unwrap_or_default();
        format!("{}{before}{with}{behind}", self.mark)
    }

    /// Hands the new text out only where it reads as the old value with `change` applied.
    fn checked(
        &self,
        new: String,
        route: &str,
        change: impl FnOnce(&mut Value) -> Option<()>,
    ) -> Result<String, EditError> {
        let mut expected = self.old.clone();
        change(&mut expected).ok_or_else(|| EditError::Unsafe(route.to_string()))?;
        let bare = new.strip_prefix(self.mark).unwrap_or(&new);
        match serde_yaml::from_str::<Value>(bare) {
            Ok(value) if value == expected => Ok(new),
            _ => Err(EditError::Unsafe(route.to_string())),
        }
    }

    fn line_start(&self, at: usize) -> usize {
        self.text.get(..at).and_then(|before| before.rfind('\n')).map_or(0, |end| end + 1)
    }

    /// The end of the line that `at` stands on, before its line end.
    fn line_end(&self, at: usize) -> usize {
        let rest = self.text.get(at..).unwrap_or_default();
        let line = rest.split('\n').next().unwrap_or_default();
        at + line.strip_suffix('\r').filter(|_| rest.len() > line.len()).unwrap_or(line).len()
    }

    /// Where the next line begins; the end of the text behind the last.
    fn next_line(&self, at: usize) -> usize {
        self.text.get(at..).and_then(|rest| rest.find('\n')).map_or(self.text.len(), |end| at + end + 1)
    }

    fn leads_line(&self, at: usize) -> bool {
        self.text.get(self.line_start(at)..at).is_some_and(|lead| lead.trim().is_empty())
    }

    /// As many blanks as there are characters before `at`.
    fn indent(&self, at: usize) -> String {
        let lead = self.text.get(self.line_start(at)..at).unwrap_or_default();
        " ".repeat(lead.chars().count())
    }

    /// The dash of an entry of a block list.
    fn dash(&self, list: usize, index: usize) -> Option<usize> {
        let node = self.tree.resolved(list)?;
        let NodeKind::List { items, .. } = &node.kind else { return None };
        let Some(before) = index.checked_sub(1) else {
            let first = self.tree.node(*items.first()?)?;
            return dash_at(self.text, node.start).or_else(|| dash_at(self.text, first.start));
        };
        // An entry in which nothing is written ends where it begins: behind its dash.
        let before_end = self.tree.node(*items.get(before)?)?.end;
        behind(self.text, before_end, b'-').map(|behind| behind - 1)
    }

    /// The value as it stands behind a colon or dash: with a blank before it, or as a block below it.
    fn written(&self, value: &Value, indent: usize, block: bool) -> Result<String, EditError> {
        let line = flow(value).ok_or(EditError::NotWritable)?;
        let nested = matches!(value, Value::Sequence(all) if all.iter().any(|item| item.is_mapping() || item.is_sequence()));
        if !(block && nested && line.len() > LONG) {
            return Ok(format!(" {line}"));
        }
        let lines = block_lines(value).ok_or(EditError::NotWritable)?;
        Ok(lines.iter().map(|line| format!("{}{}  {line}", self.eol, " ".repeat(indent))).collect())
    }

    /// The text with the value at the end of `way` replaced.
    fn with_value(&self, route: &str, way: &[(usize, Step)], value: &Value) -> Result<String, EditError> {
        let Some((parent, step)) = way.last() else { return Err(EditError::WholeRecord) };
        let unsafe_here = || EditError::Unsafe(route.to_string());
        let (parent_style, id, behind_mark, column) =
            match (&self.tree.resolved(*parent).ok_or_else(unsafe_here)?.kind, step) {
                (NodeKind::Map { style, .. }, Step::Key(index)) => {
                    let entry = entry(&self.tree, *parent, *index).ok_or_else(unsafe_here)?;
                    let key = self.tree.node(entry.key).ok_or_else(unsafe_here)?;
                    if entry.behind_colon.is_none() {
                        let line = flow(value).ok_or(EditError::NotWritable)?;
                        return Ok(self.replaced(key.end, key.end, &format!(": {line}")));
                    }
                    (*style, entry.value, entry.behind_colon, self.indent(key.start).len())
                }
                (NodeKind::List { items, style }, Step::Item(index)) => {
                    let id = items.get(*index).copied().ok_or_else(unsafe_here)?;
                    let dash = if *style == Style::Block { self.dash(*parent, *index) } else { None };
                    (*style, id, dash.map(|dash| dash + 1), 0)
                }
                _ => return Err(unsafe_here()),
            };
        let node = self.tree.node(id).ok_or_else(unsafe_here)?;
        let in_block = parent_style == Style::Block && matches!(step, Step::Key(_));
        let written = self.written(value, column, in_block)?;
        let below = written.starts_with(self.eol);
        let Some(mark) = behind_mark else {
            return Ok(self.replaced(node.start, node.end, written.trim_start()));
        };
        if node.is_blank() {
            return Ok(self.replaced(mark, mark, &written));
        }
        let gap = self.text.get(mark..node.start).ok_or_else(unsafe_here)?;
        if let NodeKind::Scalar { block: true, .. } = node.kind {
            // The line of the `|` may end in a comment, which stays; the lines of the text go.
            let body = self.text.get(node.start..node.end).ok_or_else(unsafe_here)?;
            let head = node.start + body.find(char::is_whitespace).unwrap_or(body.len());
            let head_end = self.line_end(head);
            let rest = self.text.get(head..head_end).unwrap_or_default();
            let comment = if below { "" } else { rest };
            return Ok(self.replaced(mark, node.end.max(head_end), &format!("{written}{comment}")));
        }
        if gap.contains('\n') {
            // A block below: its lines go, a comment behind the colon stays.
            let head_end = self.line_end(mark);
            let comment = self.text.get(mark..head_end).unwrap_or_default();
            let line = if below { format!("{comment}{written}") } else { format!("{written}{comment}") };
            return Ok(self.replaced(mark, node.end, &line));
        }
        if below {
            // What was on one line goes below: a comment behind it stays on the line of the key.
            let end = self.line_end(node.end);
            let comment = self.text.get(node.end..end).unwrap_or_default();
            return Ok(self.replaced(mark, end, &format!("{comment}{written}")));
        }
        Ok(self.replaced(node.start, node.end, written.trim_start()))
    }

    /// The text without one of several entries; `spans` are theirs, dash or key included.
    fn without(
        &self,
        route: &str,
        spans: &[(usize, usize)],
        index: usize,
        style: Style,
    ) -> Result<String, EditError> {
        let unsafe_here = || EditError::Unsafe(route.to_string());
        let (start, end) = spans.get(index).copied().ok_or_else(unsafe_here)?;
        let next = spans.get(index + 1).copied();
        let before = index.checked_sub(1).and_then(|before| spans.get(before)).copied();
        if style == Style::Block {
            if !self.leads_line(start) {
                // `- - a` or `- key: value`: what follows moves up to where this began.
                let (next, _) = next.ok_or_else(unsafe_here)?;
                return Ok(self.replaced(start, next, ""));
            }
            let (from, to) = (self.line_start(start), self.next_line(end));
            if to == self.text.len() && !self.text.ends_with('\n') {
                // The text ends without a line end, and shall go on to do so.
                let before = self.text.get(..from).unwrap_or_default();
                let kept = before.strip_suffix("\r\n").or(before.strip_suffix('\n')).unwrap_or(before);
                return Ok(self.replaced(kept.len(), to, ""));
            }
            return Ok(self.replaced(from, to, ""));
        }
        let comma = behind(self.text, end, b',');
        let gap = before.and_then(|(_, before_end)| self.text.get(before_end..start));
        match (next, before, gap) {
            (Some((next, _)), ..) if self.text.get(end..next).is_some_and(|gap| !gap.contains('\n')) => {
                Ok(self.replaced(start, next, ""))
            }
            (None, Some((_, before_end)), Some(gap)) if !gap.contains('\n') => {
                Ok(self.replaced(before_end, end, ""))
            }
            // Over several lines, with comments perhaps: only the entry and its comma go.
            _ => Ok(self.replaced(start, comma.unwrap_or(end), "")),
        }
    }
}

#[cfg(test)]
mod tests;
