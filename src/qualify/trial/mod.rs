//! Exposure trials: readings in time against their limits.
//!
//! Outdoor and accelerated exposure are judged each on their own and never pooled; a control in the dark is judged
//! by nothing. Hours in a cabinet say when a property will reach its limit in that cabinet, and nothing of years.

mod complete;
mod due;
mod living;
mod state;

use complete::{lacking, planned};
pub use due::{Due, due};
pub use living::{Living, Stands};
pub use state::{PanelState, PropertyState, SiteState, TrialState, trials};

use super::conditions;
use super::judge::Reason;
use super::pool::{self, Completeness, Outcome};
use super::verdict::{Judged, note};
use crate::finish::{Lab, cie76, ciede2000};
use crate::ledger::{Entry, Ledger, TrialReading};
use crate::quantity::Exposed;
use crate::record::sensitivity::Asks;
use crate::record::{
    Day, Evidence, EvidenceState, Graded, LoadPath, Property, ReadingLimit, Showing, SiteKind,
};
use std::collections::BTreeMap;

/// One value of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// How long the panel was exposed.
    pub exposure: Exposed,
    /// What was read, or worked out from what was read.
    pub value: Graded,
    /// The day, where it was written.
    pub on: Option<Day>,
    /// Line in the data file.
    pub line: usize,
}

/// One property of one panel at one site, in the order of exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// The site.
    pub site: String,
    /// How it exposes.
    pub kind: SiteKind,
    /// The panel's label.
    pub panel: String,
    /// Where on the panel, or which of several readings; `None` where there is one.
    pub place: Option<String>,
    /// The property that limits name.
    pub property: Property,
    /// What it was worked out from, where it was not read itself.
    pub of: Option<Property>,
    /// The values.
    pub points: Vec<Point>,
}

impl Series {
    /// Returns the property in words.
    pub fn what(&self) -> String {
        match self.of.filter(|of| of.is_gloss()) {
            Some(of) => format!("{} ({of})", self.property),
            None => self.property.to_string(),
        }
    }

    fn limits<'l>(&self, limits: &'l [ReadingLimit]) -> impl Iterator<Item = &'l ReadingLimit> {
        let (kind, property) = (self.kind, self.property);
        limits.iter().filter(move |limit| limit.property == property && limit.asks(kind))
    }
}

/// Returns every series of a record: what was read, and what follows from it and the reading at exposure 0.
pub fn series(ledger: &Ledger, entry: &Entry<Evidence>) -> Vec<Series> {
    let (Some(trial), Some(data)) = (&entry.value.trial, ledger.data.get(&entry.id)) else {
        return Vec::new();
    };
    let mut read: BTreeMap<(&str, &str, Option<&str>, Property), Vec<&TrialReading>> = BTreeMap::new();
    for row in data.readings.iter().filter(|row| row.rejected.is_none()) {
        read.entry((&row.site, &row.panel, row.place.as_deref(), row.property)).or_default().push(row);
    }
    let mut all = Vec::new();
    for ((site, panel, place, property), rows) in &mut read {
        rows.sort_by(|one, two| one.exposure.number.total_cmp(&two.exposure.number));
        let Some(own) = trial.sites.get(*site) else { continue };
        let points = rows.iter().filter_map(|row| Some(point(row, row.value?))).collect();
        let (site, panel) = (site.to_string(), panel.to_string());
        let place = place.map(str::to_string);
        all.push(Series { site, kind: own.kind, panel, place, property: *property, of: None, points });
    }
    let derived: Vec<Series> = all.iter().flat_map(|own| follows(own, &all)).collect();
    all.extend(derived);
    all.retain(|one| !one.property.is_coordinate() && !one.points.is_empty());
    all
}

fn point(row: &TrialReading, value: Graded) -> Point {
    Point { exposure: row.exposure, value, on: row.on, line: row.line }
}

/// What follows from one series and its value at exposure 0.
fn follows(own: &Series, all: &[Series]) -> Vec<Series> {
    let start = |of: &Series| of.points.iter().find(|point| point.exposure.number == 0.0)?.value.number();
    let with = |property: Property, value: &dyn Fn(&Point) -> Option<f64>| {
        let made = |point: &Point| {
            let value = value(point).filter(|value| value.is_finite())?;
            Some(Point { value: Graded::Number(value), ..point.clone() })
        };
        let points = own.points.iter().filter_map(made).collect();
        Series { property, of: Some(own.property), points, ..own.clone() }
    };
    let Some(first) = start(own) else { return Vec::new() };
    match own.property {
        one if one.is_gloss() => {
            vec![with(Property::GlossRetention, &|point| Some(100.0 * point.value.number()? / first))]
        }
        Property::Mass => {
            vec![with(Property::MassChange, &|point| Some(100.0 * (point.value.number()? - first) / first))]
        }
        Property::ColourL => {
            let (Some(a), Some(b)) =
                (beside(own, all, Property::ColourA), beside(own, all, Property::ColourB))
            else {
                return Vec::new();
            };
            let at = |of: &Series, exposure: f64| {
                let place = of.points.binary_search_by(|point| point.exposure.number.total_cmp(&exposure));
                of.points.get(place.ok()?)?.value.number()
            };
            let colour =
                |exposure: f64| Lab::new(at(own, exposure)?, at(a, exposure)?, at(b, exposure)?).ok();
            let Some(start) = colour(0.0) else { return Vec::new() };
            let after = |point: &Point| colour(point.exposure.number);
            vec![
                with(Property::ColourDifference, &|point| Some(cie76(&start, &after(point)?))),
                with(Property::ColourDifference2000, &|point| {
                    Some(ciede2000(&start, &after(point)?).difference)
                }),
            ]
        }
        _ => Vec::new(),
    }
}

/// Another property of the same panel and place at the same site; `all` stands in the order of site, panel, place
/// and property.
fn beside<'s>(own: &Series, all: &'s [Series], property: Property) -> Option<&'s Series> {
    let key = (&own.site, &own.panel, &own.place, property);
    let at = all.binary_search_by(|one| (&one.site, &one.panel, &one.place, one.property).cmp(&key)).ok()?;
    all.get(at)
}

/// A reading beyond its limit: the first of its series.
#[derive(Debug, Clone, PartialEq)]
pub struct Breach {
    /// The site.
    pub site: String,
    /// How it exposes.
    pub kind: SiteKind,
    /// The panel.
    pub panel: String,
    /// Where on the panel, or which of several readings.
    pub place: Option<String>,
    /// What was read.
    pub what: String,
    /// What limits speak of.
    pub property: Property,
    /// The value.
    pub value: Graded,
    /// The limit in words.
    pub limit: String,
    /// After how long.
    pub exposure: Exposed,
    /// Line in the data file.
    pub line: usize,
}

impl Breach {
    /// Returns it as half a sentence.
    pub fn words(&self) -> String {
        let Self { site, kind, what, limit, exposure, .. } = self;
        let panel = with_place(&self.panel, self.place.as_deref());
        let value = self.property.shown(self.value);
        format!("panel {panel} at {site} ({kind}): {what} {value} after {exposure}, limit {limit}")
    }
}

/// A panel's label, with the place on it where there are several.
pub fn with_place(panel: &str, place: Option<&str>) -> String {
    place.map_or_else(|| panel.to_string(), |place| format!("{panel} ({place})"))
}

/// Returns the first reading beyond a limit of every series, the earliest of each kind of exposure first.
pub fn breaches<'s>(all: impl IntoIterator<Item = &'s Series>, limits: &[ReadingLimit]) -> Vec<Breach> {
    let mut found = Vec::new();
    for one in all {
        for limit in one.limits(limits) {
            let beyond = one.points.iter().find(|point| limit.holds(point.value) == Some(false));
            found.extend(beyond.map(|point| Breach {
                site: one.site.clone(),
                kind: one.kind,
                panel: one.panel.clone(),
                place: one.place.clone(),
                what: one.what(),
                property: one.property,
                value: point.value,
                limit: limit.bounds(),
                exposure: point.exposure,
                line: point.line,
            }));
        }
    }
    found.sort_by(|one, two| {
        let key = |breach: &Breach| (breach.kind, breach.exposure.number);
        let (one, two) = (key(one), key(two));
        one.0.cmp(&two.0).then(one.1.total_cmp(&two.1))
    });
    found
}

/// Returns whether a showing is judged by readings in time.
pub fn is_asked(showing: &Showing) -> bool {
    !showing.accept.readings.is_empty()
}

/// Returns how many panels a trial asks for at one site of each kind of exposure.
pub fn panels(showing: &Showing) -> u32 {
    showing.plan.as_ref().and_then(|plan| plan.specimens).unwrap_or(1)
}

/// Returns what a sample lacks and what came of the criterion, by readings in time where the showing asks for
/// them and by the pooled specimens else; and what had to be assumed of the values.
pub fn sample(
    ledger: &Ledger,
    showing: &Showing,
    records: &[&Entry<Evidence>],
    load_path: Option<LoadPath>,
    ramp: Option<f64>,
) -> (Completeness, Outcome, Vec<String>) {
    if is_asked(showing) {
        let (lacks, outcome) = judge(ledger, showing, records, panels(showing));
        return (lacks, outcome, conditions::of_trials(records));
    }
    let all = pool::pool(ledger, showing, records);
    let lacks = pool::completeness(&all, showing);
    let outcome = pool::judge(&all, &showing.accept, load_path, lacks.is_complete(), ramp);
    let mut doubts = all.doubts();
    doubts.extend(conditions::of_specimens(ledger, records));
    if lacks.is_complete() {
        doubts.extend(all.estimate(showing, records, load_path));
    }
    (lacks, all.told(outcome), doubts)
}

/// Judges the readings of finished records: every limit at every reading, and `panels` panels of every kind of
/// exposure that is asked for with every planned reading.
pub fn judge(
    ledger: &Ledger,
    showing: &Showing,
    records: &[&Entry<Evidence>],
    panels: u32,
) -> (Completeness, Outcome) {
    let limits = &showing.accept.readings;
    let by_record: Vec<Vec<Series>> = records.iter().map(|entry| series(ledger, entry)).collect();
    let all: Vec<&Series> = by_record.iter().flatten().collect();
    let found = breaches(all.iter().copied(), limits);
    let mut lacks = lacking(showing, &by_record, panels);
    let rows = || {
        records.iter().filter_map(|entry| ledger.data.get(&entry.id)).flat_map(|data| data.readings.iter())
    };
    let (rejected, read) = (rows().filter(|row| row.rejected.is_some()).count(), rows().count());
    #[allow(clippy::cast_precision_loss)]
    if rejected as f64 > pool::REJECTED_SHARE * read as f64 {
        lacks.lacks.push(format!("{rejected} of {read} readings rejected"));
    }
    if let Some((first, rest)) = found.split_first() {
        let more = match rest.len() {
            0 => String::new(),
            1 => " (and 1 more)".to_string(),
            n => format!(" (and {n} more)"),
        };
        return (lacks, Outcome::Fails(format!("{}{more}", first.words())));
    }
    let words = worst_words(&all, limits);
    let outcome = match words.is_empty() {
        true => Outcome::Unknown("no readings".to_string()),
        false => Outcome::Holds(words.join("; ")),
    };
    (lacks, outcome)
}

/// The worst reading of each limit by kind of exposure, in words.
fn worst_words(all: &[&Series], limits: &[ReadingLimit]) -> Vec<String> {
    let mut words = Vec::new();
    for kind in [SiteKind::Outdoor, SiteKind::Accelerated] {
        for limit in limits.iter().filter(|limit| limit.asks(kind)) {
            let own = all.iter().filter(|one| one.kind == kind && one.property == limit.property);
            let exposed = own.flat_map(|one| &one.points).filter(|point| point.exposure.number > 0.0);
            let values: Vec<Graded> =
                exposed.map(|point| point.value).filter(|value| limit.holds(*value).is_some()).collect();
            if let Some(worst) = worst_of(&values, limit) {
                let worst = limit.property.shown(worst);
                words.push(format!("{kind}: worst {} {worst}, limit {}", limit.property, limit.bounds()));
            }
        }
    }
    words
}

/// The worst of some values, by the side that the limit stands on; blisters by size, then by frequency.
fn worst_of(values: &[Graded], limit: &ReadingLimit) -> Option<Graded> {
    let rank = |value: &Graded| match value {
        Graded::Number(number) if limit.at_least.is_none() => -number,
        Graded::Number(number) => *number,
        Graded::Blisters(own) => {
            f64::from(own.size) * 10.0 - own.frequency.map_or(0.0, |f| f64::from(f as u8))
        }
        Graded::Adhesion(own) => f64::from(own.class),
    };
    values.iter().copied().min_by(|one, two| rank(one).total_cmp(&rank(two)))
}

/// Says beside a verdict how far a trial under way is, and that it is beyond a limit already: neither decides
/// anything yet, and neither is hidden.
pub(super) fn say_running(ledger: &Ledger, showing: &Showing, judged: &mut Judged) {
    if !is_asked(showing) {
        return;
    }
    let running = judged.under_way.iter().filter_map(|id| ledger.evidence.get(id.as_str()));
    let mut reasons: Vec<Reason> = Vec::new();
    for entry in running.filter(|entry| entry.value.state == EvidenceState::Running) {
        let all = series(ledger, entry);
        let found = breaches(&all, &showing.accept.readings);
        let said = |attribute: &str, words: &str| Reason {
            evidence: Some(entry.id.as_str().into()),
            ..note(attribute, words, Asks::None)
        };
        if !judged.verdict.is_closed() && !all.is_empty() {
            reasons.push(said("readings under way", &progress(showing, &all, found.is_empty())));
        }
        reasons.extend(found.iter().map(|breach| Reason {
            was: "within its limit".into(),
            rule: "a trial that still runs is beyond a limit: it fails when it is done".into(),
            ..said("early failure", &breach.words())
        }));
    }
    judged.because.extend(reasons);
}

/// How far the sites of a trial were read, and whether anything is beyond a limit.
fn progress(showing: &Showing, all: &[Series], holds: bool) -> String {
    let mut sites: BTreeMap<&str, (SiteKind, Exposed)> = BTreeMap::new();
    for one in all.iter().filter(|one| one.kind != SiteKind::Dark) {
        let Some(last) = one.points.last() else { continue };
        let known = sites.entry(&one.site).or_insert((one.kind, last.exposure));
        if last.exposure.number > known.1.number {
            known.1 = last.exposure;
        }
    }
    let of = |(site, (kind, last)): (&&str, &(SiteKind, Exposed))| {
        let end = kind.unit().and_then(|unit| planned(showing, unit).last().map(|last| last.at));
        let end = end.map_or_else(String::new, |end| format!(" of {end}"));
        let Exposed { number, unit } = last;
        format!("{site} ({kind}) read after {number}{end} {}", unit.word())
    };
    let sites: Vec<String> = sites.iter().map(of).collect();
    let held = if holds { "all within their limits" } else { "not all within their limits" };
    format!("{}; {held}", sites.join(", "))
}

#[cfg(test)]
mod tests;
