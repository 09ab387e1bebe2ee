//! What tests of reports have in common.

pub(crate) use crate::qualify::fixture::{base, edited, judged, today};

/// Asserts that no line is wider than the frame.
pub(crate) fn fits(text: &str, width: usize) {
    for line in text.lines() {
        assert!(line.chars().count() <= width, "{} columns: {line}\n{text}", line.chars().count());
    }
}

/// Returns the keys of an object, in their order.
pub(crate) fn keys(value: &serde_json::Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}
