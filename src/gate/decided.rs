//! Changes of what releases rest on: somebody has to decide them.

use super::{Finding, Names, Raw, Side};
use crate::article::ArticleError;
use crate::change::diff::{Change, Edits};
use crate::change::explain::{Explained, record_of};
use crate::ledger::Ledger;
use crate::qualify::behind::{behind, behind_panel};
use crate::record::sensitivity::Asks;
use crate::record::{Address, PolicyLevel, RecordKind, Showing, Status, Text};
use std::collections::{BTreeMap, BTreeSet};

/// What differs from the base to the head, and what decisions account for of it.
pub(super) struct Edited<'a> {
    pub(super) edits: &'a Edits,
    pub(super) explained: &'a Explained,
}

/// What may not change without a decision: each record with the releases that rest on it, in words.
struct Held(BTreeMap<String, BTreeSet<String>>);

impl Held {
    /// Collects what is released, or frozen, in either state.
    fn of(base: &Ledger, staged: &Ledger) -> Result<Self, ArticleError> {
        let mut held: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        let released: BTreeSet<&String> = [base, staged]
            .into_iter()
            .flat_map(|ledger| ledger.panels.values())
            .filter(|panel| panel.value.released)
            .map(|panel| &panel.id)
            .collect();
        let frozen: BTreeSet<&String> = [base, staged]
            .into_iter()
            .flat_map(|ledger| ledger.recipes.values())
            .filter(|recipe| recipe.value.status == Some(Status::Frozen))
            .map(|recipe| &recipe.id)
            .collect();
        for ledger in [base, staged] {
            for panel in ledger.panels.values().filter(|panel| released.contains(&panel.id)) {
                for record in behind_panel(ledger, panel)? {
                    held.entry(record.to_string()).or_default().insert(format!("panel `{}`", panel.id));
                }
            }
            for recipe in ledger.recipes.keys().filter(|recipe| frozen.contains(recipe)) {
                for record in behind(ledger, &crate::article::Subject::Laminate(recipe.clone()))? {
                    held.entry(record.to_string()).or_default().insert(format!("frozen recipe `{recipe}`"));
                }
            }
        }
        Ok(Self(held))
    }
}

/// The roles that approve a decision, in words.
pub(super) fn roles(base: &Ledger, staged: &Ledger) -> String {
    let roles: BTreeSet<&str> = [base, staged]
        .into_iter()
        .filter_map(|ledger| ledger.head.as_ref()?.approvals.as_ref())
        .flat_map(|approvals| approvals.decision.iter().map(Text::as_str))
        .collect();
    if roles.is_empty() {
        return String::new();
    }
    format!(" by {}", roles.into_iter().collect::<Vec<_>>().join(" and "))
}

fn shown(value: Option<&String>) -> &str {
    value.map_or("nothing", String::as_str)
}

/// `panel `a`, frozen recipe `b` and 3 more`.
fn listed(names: &BTreeSet<String>) -> String {
    let first: Vec<&str> = names.iter().take(2).map(String::as_str).collect();
    match names.len().saturating_sub(first.len()) {
        0 => first.join(" and "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

/// Finds edits of what releases rest on that no approved decision accounts for.
pub(super) fn unexplained(
    base: &Side<'_>,
    staged: &Side<'_>,
    names: &Names,
    edited: &Edited<'_>,
    into: &mut Vec<Raw>,
) -> Result<(), ArticleError> {
    let held = Held::of(base.ledger, staged.ledger)?;
    let by = roles(base.ledger, staged.ledger);
    for change in &edited.edits.changes {
        let record = record_of(&change.address);
        let Some(holders) = held.0.get(record) else { continue };
        let Some(what) = held_change(base.ledger, staged.ledger, names, change) else { continue };
        let panel = holders.iter().find_map(|name| name.strip_prefix("panel `")?.strip_suffix('`'));
        let route = change.address.split_once('#').map_or("", |(_, route)| route);
        let Some(address) = Address::parse(record) else { continue };
        let finding = |level, message: String, help: String| Raw {
            key: (format!("unexplained {}", change.address), String::new()),
            finding: Finding {
                rule: "unexplained-change",
                level,
                address: address.clone(),
                route: route.to_string(),
                panel: panel.map(str::to_string),
                message,
                help,
                place: None,
            },
            gravity: (0, Asks::None, 0),
        };
        if edited.explained.covers(change) {
            for decision in edited.explained.fresh_on(record) {
                into.push(finding(
                    PolicyLevel::Warn,
                    format!("{decision} is approved together with its change of {}", change.address),
                    super::TOGETHER.to_string(),
                ));
            }
            continue;
        }
        into.push(finding(
            PolicyLevel::Block,
            format!(
                "{what}; {} {} on it, and no approved decision says so{}",
                listed(holders),
                if holders.len() == 1 { "rests" } else { "rest" },
                edited.explained.idle_on(change).iter().map(|why| format!("; {why}")).collect::<String>(),
            ),
            way_on(change, &by),
        ));
    }
    Ok(())
}

fn way_on(change: &Change, by: &str) -> String {
    let act = match (change.attribute.is_empty(), &change.was, &change.is) {
        (true, ..) => format!("`drop: {}`", change.address),
        // Entries of lists that came or went are no values that are set.
        (false, None, Some(_)) if change.address.ends_with(|last: char| last.is_ascii_digit()) => {
            "an `insert`".to_string()
        }
        (false, Some(_), None) => format!("`remove: {}` and `was`", change.address),
        _ => format!("`set: {}`, `was` and `to`", change.address),
    };
    format!("write a decision with {act}, have it approved{by} and commit that first; or undo the change")
}

/// What an edit changes of what was released, in words; `None` where it changes nothing of it.
fn held_change(base: &Ledger, staged: &Ledger, names: &Names, change: &Change) -> Option<String> {
    let record = Address::parse(record_of(&change.address))?;
    let differs = || {
        let (was, is) = (shown(change.was.as_ref()), shown(change.is.as_ref()));
        format!("{record}: `{}` differs ({was} -> {is})", change.attribute)
    };
    if change.attribute.is_empty() {
        // A record that came is seen where something begins to use it; one that is gone was used.
        let gone = change.is.is_none() && !staged.broken.contains(&record);
        return gone.then(|| format!("{record} is gone"));
    }
    let leaves = match (record.kind(), change.attribute.as_str()) {
        (RecordKind::Panel, "released") => change.was.as_deref() == Some("true"),
        (RecordKind::Panel, "released_for") if released_before(base, &record) => {
            let was = change.was.as_deref().map(|text| names.milestone(text));
            // Without a milestone a release is for everything.
            match (staged.milestone(was), staged.milestone(change.is.as_deref())) {
                (_, None) => false,
                (None, Some(_)) => true,
                (Some(was), Some(is)) => is < was,
            }
        }
        // What was not released before can be released for anything.
        (RecordKind::Panel, "released_for") => false,
        (RecordKind::Recipe, "status") => change.was.as_deref() == Some("frozen"),
        // No evidence stands on a design strain; the margins of what is released do.
        (RecordKind::Panel, name) if name == "design_strain" || name.starts_with("design_strain.") => {
            change.was.is_some()
        }
        _ => change.facet.is_some() || is_asked_less(base, staged, change),
    };
    leaves.then(differs)
}

/// Returns whether an edit takes a panel, or what it is made of, out of what a showing that stays is asked of.
///
/// What a record is called, and the group of a panel, are in no facet; `applies_to` reads them all the same.
fn is_asked_less(base: &Ledger, staged: &Ledger, change: &Change) -> bool {
    let Some(was) = change.was.as_deref() else { return false };
    let named = |showing: &Showing, text: Option<&str>| -> bool {
        let Some((asked, text)) = showing.applies_to.as_ref().zip(text) else { return false };
        match change.attribute.rsplit('.').next() {
            Some("group") => asked.group.iter().any(|group| group.as_str() == text),
            Some("recipe") => asked.recipe.iter().any(|recipe| recipe.id() == text),
            Some("material" | "adhesive") => asked.material.iter().any(|material| material.id() == text),
            _ => false,
        }
    };
    base.showings
        .keys()
        .filter_map(|id| staged.showings.get(id))
        .any(|showing| named(&showing.value, Some(was)) && !named(&showing.value, change.is.as_deref()))
}

fn released_before(base: &Ledger, panel: &Address) -> bool {
    base.panels.get(panel.id()).is_some_and(|panel| panel.value.released)
}
