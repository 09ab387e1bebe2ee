//! Whether a trial was read as it was planned: kinds of exposure, panels, readings.

use super::Series;
use crate::qualify::pool::Completeness;
use crate::quantity::{EARLY, Exposed, ExposureUnit};
use crate::record::{Property, ReadWhen, ReadingLimit, Showing, SiteKind};
use std::collections::{BTreeMap, BTreeSet};

/// One planned reading, and the one after it.
pub(super) struct Planned {
    pub(super) at: f64,
    next: Option<f64>,
}

pub(super) fn planned(showing: &Showing, unit: ExposureUnit) -> Vec<Planned> {
    let all: Vec<f64> = showing
        .plan
        .iter()
        .flat_map(|plan| &plan.readings)
        .filter(|one| one.unit == unit)
        .map(|one| one.number)
        .collect();
    let next = all.iter().skip(1).map(|next| Some(*next)).chain([None]);
    all.iter().zip(next).map(|(at, next)| Planned { at: *at, next }).collect()
}

/// The planned readings that a limit is read at.
pub(super) fn of_limit<'p>(limit: &ReadingLimit, all: &'p [Planned]) -> &'p [Planned] {
    match limit.when {
        Some(ReadWhen::End) => all.len().checked_sub(1).and_then(|last| all.get(last..)).unwrap_or_default(),
        _ => all,
    }
}

/// Series of the panels of one site, by property.
pub(super) type Panels<'s> = BTreeMap<&'s str, BTreeMap<Property, Vec<&'s Series>>>;

/// The series of one record by kind of exposure and site.
pub(super) fn by_site(all: &[Series]) -> BTreeMap<(SiteKind, &str), Panels<'_>> {
    let mut found: BTreeMap<(SiteKind, &str), Panels<'_>> = BTreeMap::new();
    for one in all {
        let panels = found.entry((one.kind, &one.site)).or_default();
        panels.entry(&one.panel).or_default().entry(one.property).or_default().push(one);
    }
    found
}

impl Series {
    /// Whether it has a value of its property, in the limit's own terms, for a planned reading: not much
    /// before it, and before the next one is due.
    pub(super) fn has(&self, limit: &ReadingLimit, planned: &Planned) -> bool {
        self.points.iter().any(|point| {
            let at = point.exposure.number;
            let next = planned.next.is_none_or(|next| at < next * (1.0 - EARLY));
            at >= planned.at * (1.0 - EARLY) && next && limit.holds(point.value).is_some()
        })
    }

    /// Whether it was read after any exposure, in the limit's own terms.
    fn is_read(&self, limit: &ReadingLimit) -> bool {
        self.points.iter().any(|point| point.exposure.number > 0.0 && limit.holds(point.value).is_some())
    }
}

/// Of the series of one property the one with most of the planned readings, the first of equals: gloss at 20
/// degrees is no reading of a series at 60.
pub(super) fn fullest<'s>(
    own: &[&'s Series],
    limit: &ReadingLimit,
    wanted: &[Planned],
) -> Option<&'s Series> {
    let count = |one: &Series| wanted.iter().filter(|planned| one.has(limit, planned)).count();
    own.iter().copied().rev().max_by_key(|one| count(one))
}

/// Kinds of exposure that a showing asks for: those whose readings it plans, or that were read where it plans
/// none; and those that a limit names.
fn asked(showing: &Showing, by_record: &[Vec<Series>]) -> BTreeSet<SiteKind> {
    let kinds = [SiteKind::Outdoor, SiteKind::Accelerated];
    let is_planned = |kind: &SiteKind| kind.unit().is_some_and(|unit| !planned(showing, unit).is_empty());
    let mut found: BTreeSet<SiteKind> = kinds.into_iter().filter(is_planned).collect();
    if found.is_empty() {
        found.extend(by_record.iter().flatten().map(|one| one.kind));
    }
    found.extend(showing.accept.readings.iter().filter_map(|limit| limit.exposure));
    found.remove(&SiteKind::Dark);
    found
}

/// How many panels of one site of one record have every planned reading of one kind, and what the first of
/// the others lacks.
fn missing_at(showing: &Showing, kind: SiteKind, panels: &Panels<'_>) -> (usize, Option<String>) {
    let all = kind.unit().map(|unit| planned(showing, unit)).unwrap_or_default();
    let by_panel = |(panel, read): (&&str, &BTreeMap<Property, Vec<&Series>>)| {
        for limit in showing.accept.readings.iter().filter(|limit| limit.asks(kind)) {
            let own = read.get(&limit.property).map(Vec::as_slice).unwrap_or_default();
            if all.is_empty() && !own.iter().any(|one| one.is_read(limit)) {
                return Some(format!("{} of panel {panel} after any exposure", limit.property));
            }
            let wanted = of_limit(limit, &all);
            let fullest = fullest(own, limit, wanted);
            let lost = wanted.iter().find(|planned| !fullest.is_some_and(|one| one.has(limit, planned)));
            if let Some(lost) = lost {
                let what = fullest.map_or_else(|| limit.property.to_string(), Series::what);
                let unit = kind.unit().unwrap_or(ExposureUnit::Months);
                return Some(format!("{what} of panel {panel} after {}", Exposed { number: lost.at, unit }));
            }
        }
        None
    };
    let lost: Vec<Option<String>> = panels.iter().map(by_panel).collect();
    (lost.iter().filter(|lost| lost.is_none()).count(), lost.into_iter().flatten().next())
}

/// Returns what finished records lack of `panels` panels of every kind of exposure that is asked for, with
/// every planned reading; of a kind that none is planned for, with a value of every limit.
pub(super) fn lacking(showing: &Showing, by_record: &[Vec<Series>], panels: u32) -> Completeness {
    let mut found = Completeness::default();
    // A limit without a value never holds, however few panels are asked.
    let panels = panels.max(1);
    let kinds = asked(showing, by_record);
    if kinds.is_empty() {
        found.specimens = panels;
        found.lacks.push("no readings after any exposure".to_string());
    }
    let sites: Vec<_> = by_record.iter().map(|record| by_site(record)).collect();
    for kind in kinds {
        // Panels of one site of one record: another climate, or another trial, is no further panel of it.
        let mut best: Option<(usize, Option<String>)> = None;
        for ((_, _), here) in sites.iter().flatten().filter(|((own, _), _)| *own == kind) {
            let (whole, lost) = missing_at(showing, kind, here);
            if best.as_ref().is_none_or(|(known, _)| whole > *known) {
                best = Some((whole, lost));
            }
        }
        let Some((whole, lost)) = best else {
            found.specimens = found.specimens.saturating_add(panels);
            found.lacks.push(format!("no {kind} readings"));
            continue;
        };
        let have = u32::try_from(whole).unwrap_or(u32::MAX);
        if have < panels {
            found.specimens = found.specimens.saturating_add(panels - have);
            let lost = lost.map_or_else(String::new, |lost| format!("; {lost} is missing"));
            found.lacks.push(format!("{kind}: {have} of {panels} panels with every planned reading{lost}"));
        }
    }
    found
}
