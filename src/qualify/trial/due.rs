//! Readings that are still to be taken, and by when.

use super::Series;
use super::complete::{Panels, by_site, fullest, of_limit, planned};
use crate::quantity::{Exposed, ExposureUnit, MONTH_DAYS};
use crate::record::{Day, Evidence, EvidenceState, Showing, Site};
use jiff::{Span, ToSpan};
use std::collections::BTreeSet;

/// One planned reading that is not whole.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// The site.
    pub site: String,
    /// After how long.
    pub exposure: Exposed,
    /// The day; `None` in a cabinet, whose hours have no calendar, and where no start is known.
    pub on: Option<Day>,
    /// Whether that day has gone by.
    pub overdue: bool,
    /// What has to be read, each property with its panels; without panels where none is known yet.
    pub missing: Vec<(String, Vec<String>)>,
}

/// Returns the readings of a planned or running trial that are still to be taken, those with a day first.
pub fn due(showing: &Showing, own: &Evidence, all: &[Series], today: Day) -> Vec<Due> {
    let Some(trial) = own.trial.as_ref().filter(|_| own.state != EvidenceState::Done) else {
        return Vec::new();
    };
    let read = by_site(all);
    let none = Panels::new();
    let of = |(name, site): (&String, &Site)| {
        at_site(showing, name, site, read.get(&(site.kind, name.as_str())).unwrap_or(&none), today)
    };
    let mut found: Vec<Due> = trial.sites.iter().flat_map(of).collect();
    found.sort_by(|one, two| {
        (one.on.is_none(), one.on)
            .cmp(&(two.on.is_none(), two.on))
            .then_with(|| one.site.cmp(&two.site).then(one.exposure.number.total_cmp(&two.exposure.number)))
    });
    found
}

fn at_site(showing: &Showing, site: &str, own: &Site, read: &Panels<'_>, today: Day) -> Vec<Due> {
    let Some(unit) = own.kind.unit() else { return Vec::new() };
    let panels: BTreeSet<&str> = match own.panels.is_empty() {
        true => read.keys().copied().collect(),
        false => own.panels.iter().map(|panel| panel.as_str()).collect(),
    };
    let plan = planned(showing, unit);
    let limits = || showing.accept.readings.iter().filter(|limit| limit.asks(own.kind));
    plan.iter()
        .filter_map(|planned| {
            let here = limits().filter(|limit| of_limit(limit, &plan).iter().any(|one| one.at == planned.at));
            let mut missing = Vec::new();
            for limit in here {
                let has = |panel: &str| {
                    let own = read.get(panel).and_then(|own| own.get(&limit.property));
                    let own = own.and_then(|own| fullest(own, limit, of_limit(limit, &plan)));
                    own.is_some_and(|one| one.has(limit, planned))
                };
                let lost = panels.iter().filter(|panel| !has(panel)).map(ToString::to_string);
                let lost: Vec<String> = lost.collect();
                if !lost.is_empty() || panels.is_empty() {
                    missing.push((limit.property.to_string(), lost));
                }
            }
            let exposure = Exposed { number: planned.at, unit };
            let on = own.start.and_then(|start| day_after(start, exposure));
            (!missing.is_empty()).then(|| Due {
                site: site.to_string(),
                exposure,
                on,
                overdue: on.is_some_and(|on| on < today),
                missing,
            })
        })
        .collect()
}

/// The day that lies so many months after the start; hours have no day.
fn day_after(start: Day, exposure: Exposed) -> Option<Day> {
    if exposure.unit != ExposureUnit::Months || !(0.0..=1200.0).contains(&exposure.number) {
        return None;
    }
    // Within what was just checked.
    #[allow(clippy::cast_possible_truncation)]
    let (months, days) =
        (exposure.number.trunc() as i64, (exposure.number.fract() * MONTH_DAYS).round() as i64);
    let span: Span = months.months().days(days);
    start.0.checked_add(span).ok().map(Day)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_are_those_of_the_calendar_and_hours_have_no_day() {
        let start = Day::parse("2026-01-31").unwrap();
        let on = |text: &str| day_after(start, Exposed::parse(text).unwrap()).map(|day| day.to_string());
        assert_eq!(on("1 month").as_deref(), Some("2026-02-28"));
        assert_eq!(on("12 months").as_deref(), Some("2027-01-31"));
        assert_eq!(on("0.5 months").as_deref(), Some("2026-02-15"));
        assert_eq!(on("500 h"), None);
    }
}
