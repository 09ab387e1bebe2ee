//! Words that records may use and no type spells out: kinds of showings, facets, rules of the gate.

use crate::article::{Key, ORDER};
use crate::record::SubjectKind::{self, Bond, Lamina, Laminate, Painted, Panel, Programme, Sheet};
pub use crate::record::sensitivity::FACETS;
use crate::record::{LedgerHead, PolicyLevel};

/// A kind of showing: its word, its own subject, and the others that `subject:` may name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShowingKind {
    /// The word that records write.
    pub word: &'static str,
    /// What it is about unless `subject:` says otherwise.
    pub own: SubjectKind,
    /// What `subject:` may name besides.
    pub also: &'static [SubjectKind],
}

const fn kind(word: &'static str, own: SubjectKind, also: &'static [SubjectKind]) -> ShowingKind {
    ShowingKind { word, own, also }
}

/// All kinds of showings.
///
/// # Source
/// The project's own table of what evidence means, section 1.
pub const KNOWN_SHOWING_KINDS: &[ShowingKind] = &[
    kind("lamina-strength-fibre", Lamina, &[]),
    kind("lamina-strength-matrix", Lamina, &[]),
    kind("lamina-modulus", Lamina, &[]),
    kind("open-hole", Laminate, &[]),
    kind("bearing", Laminate, &[]),
    kind("compression-after-impact", Laminate, &[]),
    kind("interlaminar", Lamina, &[Laminate]),
    kind("flatwise-tension", Laminate, &[]),
    kind("core-shear", Laminate, &[]),
    kind("edgewise-compression", Laminate, &[]),
    kind("bond-shear", Bond, &[]),
    kind("bond-peel", Bond, &[]),
    kind("glass-transition", Lamina, &[Laminate, Bond]),
    kind("physicals", Laminate, &[Lamina, Panel]),
    kind("flammability", Painted, &[Sheet, Panel]),
    kind("lightning", Painted, &[Panel]),
    kind("paint-adhesion", Painted, &[]),
    kind("paint-weathering", Painted, &[]),
    kind("paint-humidity", Painted, &[]),
    kind("print-through", Painted, &[]),
    kind("impact", Laminate, &[Panel, Sheet]),
    kind("static-strength", Panel, &[]),
    kind("fatigue", Panel, &[]),
    kind("stiffness", Panel, &[]),
    kind("glazing-bond", Bond, &[Panel]),
    kind("glazing-sheet", Sheet, &[]),
    kind("fluid-resistance", Lamina, &[Bond, Painted]),
    kind("electrical-bonding", Panel, &[]),
    // Mass is asked of the programme, section torsion of a panel, the temperature margin of a painted laminate.
    kind("computed", Panel, &[Programme, Painted]),
    kind("statement", Programme, &[Lamina, Laminate, Painted, Bond, Sheet, Panel]),
];

/// Rules of the gate, in the order of its report, each with what it does where `policy` names no level.
pub const GATE_RULES: [(&str, PolicyLevel); 12] = [
    ("broken-record", PolicyLevel::Block),
    ("unqualified-recipe", PolicyLevel::Block),
    ("unexplained-change", PolicyLevel::Block),
    ("altered-evidence", PolicyLevel::Block),
    ("weakened-requirement", PolicyLevel::Block),
    ("milestone-not-earned", PolicyLevel::Block),
    ("expired-concession", PolicyLevel::Block),
    ("lapsed-evidence", PolicyLevel::Warn),
    ("over-budget", PolicyLevel::Warn),
    ("negative-margin", PolicyLevel::Block),
    ("bond-route", PolicyLevel::Warn),
    ("piece-on-hold", PolicyLevel::Warn),
];

/// Returns what a rule of the gate does in a ledger: as its policy says, else as built in. Levels stand from the strictest
/// on, so that the least of several is the strictest.
pub fn gate_level(head: Option<&LedgerHead>, rule: &str) -> PolicyLevel {
    let built_in = || GATE_RULES.iter().find(|(name, _)| *name == rule).map(|(_, level)| *level);
    head.and_then(|head| head.policy.get(rule).copied()).or_else(built_in).unwrap_or(PolicyLevel::Block)
}

/// Those that `policy` may set a level for: what can't be read is never let pass.
pub(super) fn gate_rules() -> impl Iterator<Item = &'static str> {
    GATE_RULES.iter().map(|(name, _)| *name).filter(|name| *name != "broken-record")
}

/// Returns the kind of showing called `word`.
pub(super) fn showing_kind(word: &str) -> Option<&'static ShowingKind> {
    KNOWN_SHOWING_KINDS.iter().find(|kind| kind.word == word)
}

/// Returns whether `key` is a facet or one of its attributes (`film-build`, `mesh.areal`, `geometry.load.rail`).
pub(super) fn is_facet_or_attribute(key: &str) -> bool {
    let mut parts = key.split('.');
    let Some((_, attributes)) = parts.next().and_then(|head| FACETS.iter().find(|(facet, _)| *facet == head))
    else {
        return false;
    };
    match parts.next() {
        None => true,
        Some("load") => attributes.contains(&"load") && parts.count() <= 1,
        Some(attribute) => attributes.contains(&attribute) && parts.next().is_none(),
    }
}

/// Returns whether `key` belongs to a configuration: an attribute, with or without the letter or number of
/// its constituent, zone or face behind it, or a claim.
pub(super) fn is_attribute(key: &str) -> bool {
    let base = Key::parse(key).base;
    key.split('.').next() == Some("claims") || base.place() < ORDER.len()
}

/// Returns whether a concession can cover `key`: an attribute, or a condition that evidence has to bound.
pub(super) fn is_conceded(key: &str) -> bool {
    is_attribute(key) || ["skin.structural", "exposure.minimum"].contains(&key)
}

/// Says which words are meant: the nearest of `known`, or all where they are few.
pub(super) fn suggest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    let known: Vec<&str> = known.collect();
    // What was begun and not finished is nearer than any other word.
    let begun: Vec<String> = known
        .iter()
        .filter(|one| one.strip_prefix(word).is_some_and(|rest| rest.starts_with('-')))
        .map(|one| format!("`{one}`"))
        .collect();
    if (1..=4).contains(&begun.len()) {
        return Some(format!("did you mean {}?", begun.join(" or ")));
    }
    let reach = (word.chars().count() / 3).max(2);
    let mut near: Vec<(usize, &str)> = known
        .iter()
        .map(|one| (crate::quantity::apart(word, one), *one))
        .filter(|(distance, _)| *distance <= reach)
        .collect();
    near.sort_unstable();
    if let Some((best, _)) = near.first().copied() {
        near.retain(|(distance, _)| *distance <= best.saturating_add(1));
        let names: Vec<String> = near.iter().take(3).map(|(_, one)| format!("`{one}`")).collect();
        return Some(format!("did you mean {}?", names.join(" or ")));
    }
    if known.is_empty() || known.len() > 12 {
        return None;
    }
    Some(format!("there are: {}", known.join(", ")))
}
