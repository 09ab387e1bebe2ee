//! What records that are judged together were tested in: differences are named, whatever labels brought them together.

use crate::article::Subject;
use crate::ledger::{Entry, Ledger, same_condition};
use crate::record::{Evidence, SiteKind};
use std::collections::{BTreeMap, BTreeSet};

/// Names records whose specimens were tested in something else than those of the first that says so, a sentence
/// each. A showing that names its environment refuses others in each file; records of one label are held against
/// each other when they are read.
pub(super) fn of_specimens(ledger: &Ledger, records: &[&Entry<Evidence>]) -> Vec<String> {
    let condition = |entry: &Entry<Evidence>| {
        let mut rows = ledger.data.get(&entry.id)?.rows.iter().filter(|row| row.rejected.is_none());
        rows.find_map(|row| row.condition())
    };
    let mut said = records.iter().filter_map(|entry| Some((&entry.id, condition(entry)?)));
    let Some((first, own)) = said.next() else { return Vec::new() };
    said.filter(|(_, other)| !same_condition(own, other))
        .map(|(id, other)| {
            format!(
                "evidence/{id}: tested in `{other}`, evidence/{first} in `{own}`, and pooled as one sample"
            )
        })
        .collect()
}

/// Where panels of one record hung, by kind of exposure: each site in words.
fn sites(entry: &Entry<Evidence>) -> BTreeMap<SiteKind, BTreeSet<String>> {
    let mut all: BTreeMap<SiteKind, BTreeSet<String>> = BTreeMap::new();
    for (name, site) in entry.value.trial.iter().flat_map(|trial| &trial.sites) {
        let method = site.method.as_ref().map_or_else(String::new, |own| format!(" ({own})"));
        if site.kind != SiteKind::Dark {
            all.entry(site.kind).or_default().insert(format!("`{name}`{method}"));
        }
    }
    all
}

/// Names trials that were exposed otherwise than the first, a sentence each: at another site or by another method,
/// and where they are of two articles, of another kind. Of one article the weather and the cabinet may well stand in
/// a record each.
pub(super) fn of_trials(records: &[&Entry<Evidence>]) -> Vec<String> {
    let Some((first, rest)) = records.split_first() else { return Vec::new() };
    let label = |entry: &Entry<Evidence>| Subject::from_label(&entry.value.subject);
    let own = sites(first);
    let list = |all: Option<&BTreeSet<String>>| {
        let words: Vec<&str> = all.into_iter().flatten().map(String::as_str).collect();
        if words.is_empty() { "nowhere".to_string() } else { words.join(", ") }
    };
    let mut said = Vec::new();
    for entry in rest {
        let other = sites(entry);
        let of_two = label(first) != label(entry);
        for kind in [SiteKind::Outdoor, SiteKind::Accelerated] {
            let (here, there) = (own.get(&kind), other.get(&kind));
            if here != there && (of_two || here.is_some() && there.is_some()) {
                let articles = if of_two { ", of two articles" } else { "" };
                said.push(format!(
                    "evidence/{}: {kind} at {}, evidence/{} at {}, and judged together{articles}",
                    entry.id,
                    list(there),
                    first.id,
                    list(here)
                ));
            }
        }
    }
    said
}
