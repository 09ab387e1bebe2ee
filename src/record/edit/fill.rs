//! Lines added to a block map, each where its order puts it.

use super::{Edit, EditError, at};
use crate::record::tree::{NodeKind, Style};
use serde_yaml::Value;

/// Adds entries to the block map at `route`: a key and its value as it is to be written. Each comes on a line
/// of its own behind the last entry that `before` puts before it.
///
/// # Errors
/// [`EditError`] says why the text is not edited.
pub fn fill(
    text: &str,
    route: &str,
    rows: &[(String, String)],
    before: impl Fn(&str, &str) -> bool,
) -> Result<String, EditError> {
    let edit = Edit::of(text)?;
    let (way, node) = edit.way(route)?;
    let unsafe_here = || EditError::Unsafe(route.to_string());
    let Some(NodeKind::Map { entries, style: Style::Block }) =
        edit.tree.resolved(node).map(|node| &node.kind)
    else {
        return Err(unsafe_here());
    };
    // Where each entry's key begins, what it says, and where its last line ends.
    let mut known = Vec::new();
    for entry in entries {
        let key = edit.tree.node(entry.key).ok_or_else(unsafe_here)?;
        let word = edit.tree.scalar(entry.key).ok_or_else(unsafe_here)?;
        let end = edit.tree.node(entry.value).map_or(key.end, |value| value.end);
        known.push((key.start, word, edit.line_end(end.max(entry.behind_colon.unwrap_or(key.end)))));
    }
    let (first, _, _) = *known.first().ok_or_else(unsafe_here)?;
    let indent = edit.indent(first);
    let mut values = Vec::new();
    // By place in the text; rows for one place keep their order.
    let mut added: Vec<(usize, String)> = Vec::new();
    for (key, written) in rows {
        if known.iter().any(|(_, word, _)| word == key) {
            return Err(EditError::KeyExists(format!("{route}.{key}")));
        }
        let value: Value = serde_yaml::from_str(written).map_err(|_| EditError::NotWritable)?;
        values.push((Value::from(key.as_str()), value));
        match known.iter().rev().find(|(_, word, _)| before(word, key)) {
            Some((_, _, end)) => added.push((*end, format!("{}{indent}{key}: {written}", edit.eol))),
            None => added.push((edit.line_start(first), format!("{indent}{key}: {written}{}", edit.eol))),
        }
    }
    added.sort_by_key(|(place, _)| *place);
    let mut new = String::from(edit.mark);
    let mut from = 0;
    for (place, line) in &added {
        new.push_str(edit.text.get(from..*place).ok_or_else(unsafe_here)?);
        new.push_str(line);
        from = *place;
    }
    new.push_str(edit.text.get(from..).ok_or_else(unsafe_here)?);
    edit.checked(new, route, |old| {
        let map = at(old, &way)?.as_mapping_mut()?;
        for (key, value) in values {
            map.insert(key, value);
        }
        Some(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "a: 1\nmap:   # the map\n  b: x   # why\n  d: [1,\n    2]\nz: 2\n";

    fn filled(rows: &[(&str, &str)]) -> Result<String, EditError> {
        let rows: Vec<(String, String)> =
            rows.iter().map(|(key, value)| ((*key).to_string(), (*value).to_string())).collect();
        fill(TEXT, "map", &rows, |one, two| one < two)
    }

    #[test]
    fn each_line_comes_where_its_order_puts_it_and_nothing_else_moves() {
        assert_eq!(
            filled(&[("a", "1"), ("c", "'2'"), ("c2", "[x, y]"), ("e", "3")]).unwrap(),
            "a: 1\nmap:   # the map\n  a: 1\n  b: x   # why\n  c: '2'\n  c2: [x, y]\n  d: [1,\n    2]\n  e: 3\nz: 2\n"
        );
        assert_eq!(filled(&[]).unwrap(), TEXT);
        let crlf =
            fill(&TEXT.replace('\n', "\r\n"), "map", &[("c".into(), "1".into())], |one, two| one < two);
        assert_eq!(crlf.unwrap(), filled(&[("c", "1")]).unwrap().replace('\n', "\r\n"));
    }

    #[test]
    fn what_is_there_and_what_is_no_block_is_refused() {
        assert!(matches!(filled(&[("b", "2")]), Err(EditError::KeyExists(_))));
        assert!(matches!(fill("map: {a: 1}\n", "map", &[], |_, _| true), Err(EditError::Unsafe(_))));
        assert!(matches!(fill("map: {a: 1}\n", "other", &[], |_, _| true), Err(EditError::NoSuchPlace(_))));
    }
}
