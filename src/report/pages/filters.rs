//! How figures are written on pages: no template rounds by itself.

use super::margins::words;
use crate::calc::figure;
use crate::ledger::Ledger;
use crate::report::mass::decimals;
use crate::report::plan::money;
use minijinja::Environment;

const NONE: &str = "not known";

/// Adds the filters to the templates.
pub(super) fn add(own: &mut Environment<'static>, ledger: &Ledger) {
    let currency = ledger
        .head
        .as_ref()
        .and_then(|head| head.currency.as_ref())
        .map_or_else(String::new, ToString::to_string);
    own.add_filter("fixed", |value: Option<f64>, places: usize| {
        value.map_or_else(|| NONE.to_string(), |value| decimals(value, places.min(12)))
    });
    own.add_filter("signed", |value: Option<f64>, places: usize| {
        value.map_or_else(|| NONE.to_string(), |value| signed(value, places.min(12)))
    });
    own.add_filter("figure", |value: Option<f64>| value.map_or_else(|| NONE.to_string(), figure));
    own.add_filter("margin", |value: Option<f64>| value.map_or_else(String::new, words));
    own.add_filter("money", move |value: Option<f64>| match value {
        Some(_) => money(value, &currency),
        None => NONE.to_string(),
    });
    own.add_filter("short", |text: &str, most: usize| short(text, most));
}

/// A text cut to so many characters, with an ellipsis where it was cut.
fn short(text: &str, most: usize) -> String {
    let mut chars = text.chars();
    let mut cut: String = chars.by_ref().take(most).collect();
    if chars.next().is_some() {
        cut.push('…');
    }
    cut
}

/// A difference with its sign.
pub(super) fn signed(value: f64, places: usize) -> String {
    let text = decimals(value.abs(), places);
    let nothing = text.chars().all(|one| matches!(one, '0' | '.'));
    match (nothing, value < 0.0) {
        (true, _) => text,
        (false, true) => format!("−{text}"),
        (false, false) => format!("+{text}"),
    }
}
