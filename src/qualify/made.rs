//! What was made: finished evidence brought into the form that comparing takes.

use super::coverage::TestedTo;
use super::delta::AsMade;
use super::sieve::{Look, Sieve};
use crate::article::{Configuration, FORM, Key, Limit, Subject};
use crate::ledger::Entry;
use crate::record::sensitivity::Asks;
use crate::record::{AttributeValue, Conformed, Evidence};
use foldhash::HashMap;
use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};

/// What is needed of one finished evidence record.
pub(super) struct Made<'a> {
    pub(super) entry: &'a Entry<Evidence>,
    pub(super) label: Option<Subject>,
    /// Each article of the evidence, with the others beside it.
    pub(super) articles: Arc<[AsMade]>,
    /// What each article shows at first look.
    pub(super) looks: Vec<Look>,
    pub(super) tested: Arc<TestedTo>,
}

/// The articles of a record, and what they were tested to.
type Form = (Arc<[AsMade]>, Arc<TestedTo>);

/// Records that were brought into form, by where they lie: what is kept here does not move.
#[derive(Default)]
pub(super) struct Forms(Mutex<HashMap<usize, (Arc<Evidence>, Form)>>);

impl std::fmt::Debug for Forms {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Forms")
    }
}

impl Forms {
    fn of(&self, record: &Arc<Evidence>, bring: impl FnOnce() -> Form) -> Form {
        let at = Arc::as_ptr(record).addr();
        let known =
            self.0.lock().unwrap_or_else(PoisonError::into_inner).get(&at).map(|(_, own)| own.clone());
        if let Some(known) = known {
            return known;
        }
        let made = bring();
        let kept = (Arc::clone(record), made.clone());
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(at, kept);
        made
    }
}

impl Made<'_> {
    /// Returns the form that it was conformed in.
    pub(super) fn form(&self) -> u32 {
        self.entry.value.conformed.as_ref().map_or(FORM, |conformed| conformed.form)
    }

    /// What it asks at least, at first look: as much as the article that asks least.
    ///
    /// Where it is `foreign`, any difference asks for a retest.
    pub(super) fn at_least(&self, now: &Look, foreign: bool) -> Asks {
        self.looks.iter().map(|look| look.at_least(now, foreign)).min().unwrap_or_default()
    }

    /// In how much it differs at first look: as much as the article that differs in least.
    pub(super) fn distance(&self, now: &Look) -> usize {
        self.looks.iter().map(|look| look.distance(now)).min().unwrap_or_default()
    }
}

/// Brings those records into form that are `which` and were conformed.
pub(super) fn all_made<'a>(
    records: &[&'a Entry<Evidence>],
    sieve: &Sieve,
    forms: Option<&Forms>,
    which: fn(&Evidence) -> bool,
) -> Vec<Made<'a>> {
    let own = records.iter().filter(|entry| which(&entry.value));
    own.filter_map(|entry| made_of(entry, sieve, forms)).collect()
}

fn made_of<'a>(entry: &'a Entry<Evidence>, sieve: &Sieve, forms: Option<&Forms>) -> Option<Made<'a>> {
    let conformed = entry.value.conformed.as_ref()?;
    // A newer form can't be compared by this program; the ledger's check says so.
    if conformed.form > FORM {
        return None;
    }
    let (articles, tested) = match forms {
        Some(forms) => forms.of(&entry.value, || form_of(&entry.value, conformed)),
        None => form_of(&entry.value, conformed),
    };
    let looks = articles.iter().map(|article| sieve.look(&article.main)).collect();
    Some(Made { entry, label: Subject::from_label(&entry.value.subject), articles, looks, tested })
}

fn form_of(evidence: &Evidence, conformed: &Conformed) -> Form {
    let mut main = Configuration::from_map(&conformed.attributes);
    let mut measured = BTreeSet::new();
    for (name, value) in &evidence.measured {
        lay_measured(&mut main, &mut measured, name, value);
    }
    let others = conformed
        .others
        .iter()
        .map(|differs| {
            let mut other = main.clone();
            let keys: Vec<(Key, &AttributeValue)> =
                differs.iter().map(|(name, value)| (Key::parse(name), value)).collect();
            // A nominal of its own stands without the limits of the first article.
            for (key, _) in keys.iter().filter(|(key, _)| key.limit == Limit::Nominal) {
                for limit in [Limit::Low, Limit::High] {
                    other.remove(&key.limit(limit));
                }
            }
            for (key, value) in keys {
                other.set(key, value.clone());
            }
            other.packed()
        })
        .collect();
    let main = main.packed();
    let tested = TestedTo::read(conformed.tested.as_ref(), &main);
    (articles(main, others, measured).into(), Arc::new(tested))
}

/// Gives each article its turn to be the one compared with; ranges run over all.
fn articles(main: Configuration, others: Vec<Configuration>, measured: BTreeSet<Key>) -> Vec<AsMade> {
    if others.is_empty() {
        return vec![AsMade { main, others, measured }];
    }
    let all: Vec<Configuration> = std::iter::once(main).chain(others).collect();
    (0..all.len())
        .filter_map(|at| {
            let main = all.get(at)?.clone();
            let others = all.iter().enumerate().filter(|(other, _)| *other != at).map(|(_, one)| one.clone());
            Some(AsMade { main, others: others.collect(), measured: measured.clone() })
        })
        .collect()
}

/// Lays a measured value over what the ledger said; it has no limits.
pub fn lay_measured(
    configuration: &mut Configuration,
    measured: &mut BTreeSet<Key>,
    name: &str,
    value: &AttributeValue,
) {
    let key = Key::parse(name);
    let mut keys = vec![key];
    // The coupon has one film: what was measured is its total and its greatest.
    if key.base == "film-build.total" {
        keys.push(Key { base: "film-build.max".into(), ..key });
    }
    for key in keys {
        for limit in [Limit::Low, Limit::High] {
            configuration.remove(&key.limit(limit));
        }
        configuration.set(key, canonical_measured(&key, value));
        measured.insert(key);
    }
}

/// Brings a measured value to the unit of the canonical form.
fn canonical_measured(key: &Key, value: &AttributeValue) -> AttributeValue {
    use crate::quantity::{Kind, Quantity};
    let (kind, unit) = match key.base.as_str() {
        "film-build.total" | "film-build.max" => (Kind::Length, "um"),
        "resin-content" => (Kind::Fraction, "%"),
        "fibre-areal"
        | "adhesive.areal"
        | "surfacing.areal"
        | "mesh.areal"
        | "cure.bleed"
        | "resin-content.uptake"
        | "resin-content.fill" => (Kind::ArealMass, "g/m2"),
        "core-density" | "fibre.density" | "resin.density" | "adhesive.density" => (Kind::Density, "kg/m3"),
        "core-thickness"
        | "weave.thickness"
        | "adhesive.thickness"
        | "geometry.thickness"
        | "geometry.width"
        | "glazing.thickness"
        | "surfacing.thickness"
        | "mesh.thickness"
        | "edges.holes" => (Kind::Length, "mm"),
        "colour.absorptance" | "colour.emittance" => (Kind::Fraction, ""),
        "out-time.out_life" | "out-time.max_out_time" => (Kind::Duration, "min"),
        "cure.pressure" | "cure.vacuum" => (Kind::Stress, "Pa"),
        _ => return value.clone(),
    };
    match value {
        AttributeValue::One(text) => match Quantity::parse(kind, text) {
            Ok(quantity) => AttributeValue::one(&quantity.canonical(unit)),
            Err(_) => value.clone(),
        },
        AttributeValue::List(_) => value.clone(),
    }
}
