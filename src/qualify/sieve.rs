//! A first look at evidence: most of it differs so plainly that no comparison is needed to know what it asks.

use super::table::KindRow;
use crate::article::{Configuration, Key, Limit};
use crate::record::AttributeValue;
use crate::record::sensitivity::{Asks, Sensitivity};
use std::collections::BTreeMap;

/// Attributes that name a constituent: where the constituent goes, the name is what is said to differ.
const NAMES: &[&str] = &[
    "fibre.name",
    "resin.name",
    "core.designation",
    "adhesive.designation",
    "mesh.designation",
    "surfacing.designation",
];

/// Plain attributes that are the same only if they are equal, whatever else the article records.
const PLAIN: &[&str] = &["filler", "primer", "base-coat", "top-coat", "glazing.designation"];

/// The attributes of which any difference asks for a retest, by the steps of one showing.
pub(super) struct Sieve {
    attributes: Vec<&'static str>,
}

/// The values that an article has of those attributes, in any zone or face.
pub(super) struct Look {
    values: BTreeMap<&'static str, Vec<AttributeValue>>,
}

impl Sieve {
    /// Collects the attributes that the row, under the showing's own steps, answers with `retest` at once.
    pub(super) fn of(row: &KindRow, subject: &str, own: Option<&Sensitivity>) -> Self {
        let decides = |attribute: &&&'static str| {
            let facet = Key::plain(attribute).facet().to_string();
            let asked = row.has_facet(subject, &facet) && row.looks_at(attribute);
            let ruling = row.ruling(attribute, own);
            let first = ruling.as_ref().and_then(|ruling| ruling.steps.first());
            asked && first.is_some_and(|step| step.is_unconditional() && step.asks == Asks::Retest)
        };
        let attributes = NAMES.iter().chain(PLAIN).filter(decides).copied().collect();
        Self { attributes }
    }

    /// Collects what a configuration has of them.
    pub(super) fn look(&self, configuration: &Configuration) -> Look {
        let mut values: BTreeMap<&'static str, Vec<AttributeValue>> = BTreeMap::new();
        for (key, value) in configuration.attributes().iter().filter(|(key, _)| key.limit == Limit::Nominal) {
            let Some(name) = self.attributes.iter().find(|name| key.base == ***name) else { continue };
            let known = values.entry(name).or_default();
            if !known.contains(value) {
                known.push(value.clone());
            }
        }
        Look { values }
    }
}

impl Look {
    /// Returns whether this article, as made, has a stated value that nothing has now. Whatever its
    /// constituent is paired with, that is a difference, and it asks for a retest.
    ///
    /// The other way round proves nothing: what was not recorded then asks nothing.
    pub(super) fn is_apart(&self, now: &Self) -> bool {
        self.values.iter().any(|(name, then)| {
            let own = now.values.get(name).map_or(&[][..], Vec::as_slice);
            then.iter().any(|value| !value.is_unstated() && !own.contains(value))
        })
    }
}
