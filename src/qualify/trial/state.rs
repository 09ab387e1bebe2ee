//! How every trial stands: what was read, what is beyond a limit, when a limit will be reached, what is due.

use super::complete::{Panels, by_site};
use super::living::{Living, living};
use super::{Breach, Due, Point, Series, breaches, due, series, with_place, worst_of};
use crate::article::Configurator;
use crate::finish::{Keep, Projection, Reading, project};
use crate::ledger::{Entry, Ledger};
use crate::qualify::reach::Reach;
use crate::qualify::verdict::{Duty, Evaluation, Judged};
use crate::quantity::Exposed;
use crate::record::{Day, Evidence, EvidenceState, Graded, Property, ReadingLimit, SiteKind, Text};
use std::collections::BTreeMap;

/// One exposure trial.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialState {
    /// The evidence's id.
    pub evidence: String,
    /// The showing's id.
    pub showing: String,
    /// What it was recorded for.
    pub subject: String,
    /// How far it is.
    pub state: EvidenceState,
    /// Site by site; never pooled.
    pub sites: Vec<SiteState>,
    /// First readings beyond a limit.
    pub breaches: Vec<Breach>,
    /// Readings still to be taken.
    pub due: Vec<Due>,
    /// Readings left out, each with panel, site and why.
    pub rejected: Vec<String>,
    /// Whether its article still represents something.
    pub living: Living,
}

impl TrialState {
    /// Returns whether it speaks for a duty: recorded for its subject, or counted by its verdict.
    pub fn speaks_for(&self, duty: &Duty) -> bool {
        let counted =
            |judged: &Judged| judged.evidence.iter().chain(&judged.under_way).any(|id| *id == self.evidence);
        self.showing == duty.showing
            && (self.subject == duty.subject.to_string()
                || duty.panels.values().any(|judged| counted(judged)))
    }
}

/// One site of a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteState {
    /// Its name.
    pub name: String,
    /// How it exposes.
    pub kind: SiteKind,
    /// The method.
    pub method: Option<String>,
    /// When the panels were put out.
    pub start: Option<Day>,
    /// What was read there.
    pub properties: Vec<PropertyState>,
}

/// One property at one site.
#[derive(Debug, Clone, PartialEq)]
pub struct PropertyState {
    /// The property in words.
    pub what: String,
    /// What limits speak of.
    pub property: Property,
    /// The limit in words, where it has one there.
    pub limit: Option<String>,
    /// The longest exposure read.
    pub last: Exposed,
    /// The worst of the panels' last values.
    pub worst: Graded,
    /// When the first panel is projected to reach the limit, or why that can't be said; `None` without a limit,
    /// and where it is beyond it already.
    pub projected: Option<Result<Projection, String>>,
    /// The panel that this is said of.
    pub projected_panel: Option<String>,
    /// Panel by panel.
    pub panels: Vec<PanelState>,
}

/// One property of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelState {
    /// The panel's label.
    pub panel: String,
    /// Where on the panel, or which of several readings.
    pub place: Option<String>,
    /// The values.
    pub points: Vec<Point>,
    /// As of the property.
    pub projected: Option<Result<Projection, String>>,
}

/// Returns every exposure trial of the ledger, by evidence.
pub fn trials(ledger: &Ledger, evaluation: &Evaluation, today: Day) -> Vec<TrialState> {
    let with_trial: Vec<_> = ledger.evidence.values().filter(|entry| entry.value.trial.is_some()).collect();
    if with_trial.is_empty() {
        return Vec::new();
    }
    // What articles are compared with is the same for all.
    let (configurator, reach) = (Configurator::new(ledger), Reach::of(&evaluation.uses));
    let of = |entry: &Entry<Evidence>| {
        let trial = entry.value.trial.as_ref()?;
        let showing = ledger.showings.get(entry.value.showing.id())?;
        let limits = &showing.value.accept.readings;
        let all = series(ledger, entry);
        let (read, none) = (by_site(&all), Panels::new());
        let sites = trial.sites.iter().map(|(name, site)| SiteState {
            name: name.clone(),
            kind: site.kind,
            method: site.method.as_ref().map(ToString::to_string),
            start: site.start,
            properties: properties(read.get(&(site.kind, name.as_str())).unwrap_or(&none), limits),
        });
        let rows = ledger.data.get(&entry.id).map_or(&[][..], |data| &data.readings);
        let left_out = |row: &crate::ledger::TrialReading| {
            let why = row.rejected.as_deref()?;
            Some(format!(
                "{} of panel {} at {} after {}: {why}",
                row.property,
                with_place(&row.panel, row.place.as_deref()),
                row.site,
                row.exposure
            ))
        };
        Some(TrialState {
            evidence: entry.id.clone(),
            showing: showing.id.clone(),
            subject: crate::article::Subject::from_label(&entry.value.subject)
                .map_or_else(String::new, |subject| subject.to_string()),
            state: entry.value.state,
            sites: sites.collect(),
            breaches: breaches(&all, limits),
            due: due(&showing.value, &entry.value, &all, today),
            rejected: rows.iter().filter_map(left_out).collect(),
            living: living(ledger, evaluation, (&configurator, &reach), showing, entry),
        })
    };
    with_trial.into_iter().filter_map(of).collect()
}

fn properties(panels: &Panels<'_>, limits: &[ReadingLimit]) -> Vec<PropertyState> {
    let mut by_what: BTreeMap<(Property, Option<Property>), Vec<&Series>> = BTreeMap::new();
    for one in panels.values().flat_map(BTreeMap::values).flatten() {
        by_what.entry((one.property, one.of)).or_default().push(one);
    }
    by_what.into_values().filter_map(|own| property(&own, limits)).collect()
}

fn property(own: &[&Series], limits: &[ReadingLimit]) -> Option<PropertyState> {
    let first = own.first()?;
    let limit = Strictest::of(first.limits(limits));
    let limit = limit.as_ref();
    let panels: Vec<PanelState> = own
        .iter()
        .map(|one| PanelState {
            panel: one.panel.clone(),
            place: one.place.clone(),
            points: one.points.clone(),
            projected: limit.and_then(|limit| projected(one, &limit.limit)),
        })
        .collect();
    let lasts: Vec<&Point> = own.iter().filter_map(|one| one.points.last()).collect();
    let last = lasts.iter().max_by(|one, two| one.exposure.number.total_cmp(&two.exposure.number))?.exposure;
    let values: Vec<Graded> = lasts.iter().map(|point| point.value).collect();
    let worst = match limit {
        Some(limit) => worst_of(&values, &limit.limit)?,
        None => *values.first()?,
    };
    // The earliest stands for the site; where none can be said, the first reason.
    let mut found: Vec<(&PanelState, &Result<Projection, String>)> =
        panels.iter().filter_map(|panel| Some((panel, panel.projected.as_ref()?))).collect();
    found.sort_by(|(_, one), (_, two)| match (one, two) {
        (Ok(one), Ok(two)) => one.at.total_cmp(&two.at),
        (one, two) => one.is_err().cmp(&two.is_err()),
    });
    let earliest =
        found.first().map(|(panel, own)| (with_place(&panel.panel, panel.place.as_deref()), (*own).clone()));
    let (projected_panel, projected) = earliest.unzip();
    Some(PropertyState {
        what: first.what(),
        property: first.property,
        limit: limit.map(|limit| limit.words.clone()),
        last,
        worst,
        projected,
        projected_panel,
        panels,
    })
}

type Holds = fn(Graded, Graded) -> Option<bool>;

/// What all limits of one property at one site come to.
struct Strictest {
    /// The greatest least and the least greatest value.
    limit: ReadingLimit,
    /// In words; with limits that can't be held against those, such as adhesion by another method.
    words: String,
}

impl Strictest {
    fn of<'l>(limits: impl Iterator<Item = &'l ReadingLimit>) -> Option<Self> {
        let all: Vec<&ReadingLimit> = limits.collect();
        let (first, rest) = all.split_first()?;
        let value = |text: &Option<Text>| first.property.value(text.as_ref()?.as_str()).ok();
        // Whether one bound asks as much as the other; `None` where the two can't be compared.
        let as_strict =
            |own: &Option<Text>, other: &Option<Text>, holds: Holds| match (value(own), value(other)) {
                (Some(own), Some(other)) => holds(own, other),
                (own, other) => Some(own.is_some() || other.is_none()),
            };
        let at_least = |own: &ReadingLimit, other: &ReadingLimit| {
            as_strict(&own.at_least, &other.at_least, Graded::is_at_least) == Some(true)
        };
        let at_most = |own: &ReadingLimit, other: &ReadingLimit| {
            as_strict(&own.at_most, &other.at_most, Graded::is_at_most) == Some(true)
        };
        let mut limit = (*first).clone();
        for other in rest {
            if at_least(other, &limit) {
                limit.at_least.clone_from(&other.at_least);
            }
            if at_most(other, &limit) {
                limit.at_most.clone_from(&other.at_most);
            }
        }
        let mut words = limit.bounds();
        for other in all.iter().filter(|other| !at_least(&limit, other)) {
            words = format!("{words} and {}", other.bounds());
        }
        Some(Self { limit, words })
    }
}

/// When a line through the readings of one panel meets the limit; `None` where it is beyond it already.
fn projected(one: &Series, limit: &ReadingLimit) -> Option<Result<Projection, String>> {
    if one.points.iter().any(|point| limit.holds(point.value) == Some(false)) {
        return None;
    }
    let numbers: Option<Vec<Reading>> = one
        .points
        .iter()
        .map(|point| Some(Reading { exposure: point.exposure.number, value: point.value.number()? }))
        .collect();
    let Some(readings) = numbers else {
        return Some(Err("a class, not a number: no line is laid through it".to_string()));
    };
    let bound = |text: &Option<Text>, keep: Keep| {
        let value = limit.property.value(text.as_ref()?.as_str()).ok()?.number()?;
        Some(project(&readings, value, keep).map_err(|why| why.to_string()))
    };
    let sides = [bound(&limit.at_least, Keep::Above), bound(&limit.at_most, Keep::Below)];
    // Of two limits the one that the line goes towards.
    let mut sides: Vec<Result<Projection, String>> = sides.into_iter().flatten().collect();
    sides.sort_by_key(Result::is_err);
    sides.into_iter().next()
}
