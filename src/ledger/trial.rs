//! Rules on exposure trials: what a showing asks of readings, what stands for a trial, and whether both fit the
//! data.

use super::known::entry;
use super::sink::{At, Sink};
use super::words::suggest;
use super::{Entry, Ledger, TrialReading};
use crate::quantity::{EARLY, ExposureUnit, MONTH_DAYS};
use crate::record::{Day, Evidence, EvidenceState, Level, Scale, Showing, SiteKind, Trial};
use std::collections::{BTreeMap, BTreeSet};

/// Looks at the limits of readings and at when they are planned.
pub(super) fn showing(sink: &mut Sink, showing: &Showing) {
    let limits = &showing.accept.readings;
    let planned = showing.plan.as_ref().map_or(&[][..], |plan| &plan.readings);
    if limits.is_empty() && !planned.is_empty() {
        sink.error("bad-trial", "plan.readings", "readings are planned, but none has a limit")
            .label("nothing is read")
            .help("write `accept: {readings: [{property: chalking, at_least: 8}]}`, or take the plan out");
    }
    let other = showing.accept.keys().into_iter().find(|key| *key != "readings");
    if let Some(other) = other.filter(|_| !limits.is_empty()) {
        sink.error(
            "bad-trial",
            At::Key(format!("accept.{other}")),
            format!("`{other}` can't be judged beside readings"),
        )
        .label("beside readings")
        .help("write the limit among the readings, or make it a showing of its own");
    }
    let mut seen = BTreeSet::new();
    for (index, limit) in limits.iter().enumerate() {
        let at = |key: &str| entry("accept.readings", index, key);
        if limit.at_least.is_none() && limit.at_most.is_none() {
            sink.error("bad-trial", at("property"), format!("`{}` has no limit", limit.property))
                .label("no limit")
                .help("write `at_least` or `at_most`");
        }
        if limit.property.is_coordinate() {
            sink.error(
                "bad-trial",
                at("property"),
                format!("`{}` alone says nothing of a colour", limit.property),
            )
            .label("one coordinate")
            .help("limit `colour-difference` or `colour-difference-2000`");
        }
        if limit.exposure == Some(SiteKind::Dark) {
            sink.error(
                "bad-trial",
                at("exposure"),
                "what is kept in the dark is a control and is judged by no limit",
            )
            .label("no exposure")
            .help("write `outdoor` or `accelerated`, or take `exposure` out");
        }
        let unplanned = limit
            .exposure
            .and_then(SiteKind::unit)
            .filter(|unit| !planned.is_empty() && !planned.iter().any(|reading| reading.unit == *unit));
        if let (Some(unit), Some(kind)) = (unplanned, limit.exposure) {
            sink.error(
                "bad-trial",
                at("exposure"),
                format!(
                    "`{}` is limited for {kind} exposure only, but no reading in {} is planned",
                    limit.property,
                    unit.long()
                ),
            )
            .label("never read")
            .help("plan its readings too in `plan: {readings: [...]}`, or take `exposure` out");
        }
        if !seen.insert((limit.property, limit.exposure)) {
            sink.error("bad-trial", at("property"), format!("`{}` is limited twice", limit.property))
                .label("limited before")
                .help("write `at_least` and `at_most` in one entry");
        }
        let only_least = matches!(limit.property.scale(), Scale::Blisters | Scale::Adhesion);
        if only_least && limit.at_most.is_some() {
            sink.error("bad-trial", at("at_most"), format!("`{}` has a least value only", limit.property))
                .label("no greatest value")
                .help("write `at_least`");
            continue;
        }
        for (key, text) in [("at_least", &limit.at_least), ("at_most", &limit.at_most)] {
            if let Some(Err(why)) = text.as_ref().map(|text| limit.property.value(text.as_str())) {
                sink.error("bad-trial", at(key), why).label("no limit of this property").help(
                    "write it as the property is read: `70 %`, `400 um`, a rating `8`, blistering `8F`, adhesion `4B`",
                );
            }
        }
    }
    let mut last: BTreeMap<ExposureUnit, f64> = BTreeMap::new();
    for (index, reading) in planned.iter().enumerate() {
        let before = last.insert(reading.unit, reading.number);
        if before.is_some_and(|before| before >= reading.number) {
            sink.error(
                "bad-trial",
                entry("plan.readings", index, ""),
                format!("`{reading}` comes after a later reading"),
            )
            .label("out of order")
            .help("write hours and months in the order in which they are read, each once");
        }
    }
}

/// Looks at what stands for a whole trial.
pub(super) fn evidence(ledger: &Ledger, sink: &mut Sink, own: &Evidence) {
    let Some(trial) = &own.trial else { return };
    if let Some(showing) =
        ledger.showings.get(own.showing.id()).filter(|showing| showing.value.accept.readings.is_empty())
    {
        sink.error(
            "bad-trial",
            At::Key("trial".to_string()),
            format!("`{}` asks for no readings in time", showing.id),
        )
        .label("not judged")
        .help("write `accept: {readings: [...]}` in the showing, or take `trial` out")
        .why(&showing.file, "accept", "the criterion stands here");
    }
    if trial.sites.is_empty() {
        sink.error("bad-trial", "trial.sites", "the trial has no site")
            .label("no site")
            .help("write for example `sites: {rack: {kind: outdoor, start: 2026-04-01}}`");
    }
    for (name, site) in &trial.sites {
        let mut seen = BTreeSet::new();
        for (index, panel) in site.panels.iter().enumerate() {
            if !seen.insert(panel.as_str()) {
                let at = format!("trial.sites.{name}.panels.{}", index + 1);
                sink.error("bad-trial", at, format!("the panel `{panel}` hangs at `{name}` twice"))
                    .label("once more")
                    .help("take it out, or write the label of the other panel");
            }
        }
        let before = own.made.zip(site.start).filter(|(made, start)| start < made);
        if let Some((made, start)) = before {
            let message = format!("`{name}` began on {start}, before its panels were made on {made}");
            sink.error("bad-trial", format!("trial.sites.{name}.start"), message)
                .label("before they were made")
                .help("correct the day here, or `made`");
        }
        if site.kind == SiteKind::Outdoor && site.start.is_none() && own.state != EvidenceState::Planned {
            sink.error(
                "bad-trial",
                format!("trial.sites.{name}"),
                format!("the outdoor site `{name}` has no start"),
            )
            .label("no start")
            .help("write `start:` with the day on which the panels were put out: readings are due by it");
        }
    }
}

/// Looks at whether the data file and the record speak of the same trial.
pub(super) fn data_fits(
    sink: &mut Sink,
    own: &Entry<Evidence>,
    file: &str,
    readings: Option<&[TrialReading]>,
) {
    let (trial, rows) = match (&own.value.trial, readings) {
        (None, None) => return,
        (Some(_), None) => {
            sink.error("bad-trial", "data", format!("`{file}` holds specimens, not the readings of a trial"))
                .label("no readings")
                .help("write the readings with the header `panel,site,exposure [months],property,value`");
            return;
        }
        (None, Some(_)) => {
            sink.error("bad-trial", "data", format!("`{file}` holds readings in time, but the record has no `trial`"))
                .label("no trial")
                .help("write `trial:` with the sites, for example `sites: {rack: {kind: outdoor, start: 2026-04-01}}`");
            return;
        }
        (Some(trial), Some(rows)) => (trial, rows),
    };
    let mut panels: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (name, site) in &trial.sites {
        panels.insert(name, site.panels.iter().map(|panel| panel.as_str()).collect());
    }
    let mut said = BTreeSet::new();
    for row in rows {
        let mut bad = |message: String, label: &str, help: String| {
            if said.insert(message.clone()) {
                sink.elsewhere(Level::Error, "bad-trial", file, At::Line(row.line), message)
                    .label(label)
                    .help(help)
                    .why(&own.file, "trial", "the trial stands here");
            }
        };
        match trial.sites.get(&row.site) {
            None => {
                let names = trial.sites.keys().map(String::as_str);
                let near = suggest(&row.site, names).unwrap_or_default();
                let help = format!("{near} write a site of the record, or add it there").trim().to_string();
                bad(format!("the record has no site `{}`", row.site), "unknown site", help);
            }
            Some(site) => {
                if let Some(unit) = site.kind.unit().filter(|unit| *unit != row.exposure.unit) {
                    let header = format!("exposure [{}]", unit.word());
                    let message = format!(
                        "`{}` is {}, but its readings are in {}",
                        row.site,
                        site.kind,
                        row.exposure.unit.word()
                    );
                    let help = format!(
                        "write them in a column `{header}`; hours in a cabinet are no months outdoors"
                    );
                    bad(message, "other exposure", help);
                }
                let hung = panels.get(row.site.as_str()).filter(|hung| !hung.is_empty());
                if let Some(hung) = hung.filter(|hung| !hung.contains(row.panel.as_str())) {
                    let near = suggest(&row.panel, hung.iter().copied());
                    let help = near.unwrap_or_default() + " write a panel of the site, or add it there";
                    let message = format!("the site `{}` has no panel `{}`", row.site, row.panel);
                    bad(message, "unknown panel", help.trim().to_string());
                }
            }
        }
    }
    dates(sink, &own.file, file, trial, rows);
}

/// The days that an exposure takes at the least: short by the twentieth by which a reading may come early, and by a day,
/// since panels go out and come in at some hour.
fn least_days(exposure: f64, unit: ExposureUnit) -> f64 {
    let days = match unit {
        ExposureUnit::Months => exposure * MONTH_DAYS,
        ExposureUnit::Hours => exposure / 24.0,
    };
    days * (1.0 - EARLY) - 1.0
}

fn days_between(from: Day, to: Day) -> f64 {
    from.0.until(to.0).map_or(0.0, |span| f64::from(span.get_days()))
}

fn in_days(days: f64) -> String {
    let plural = if days == 1.0 { "" } else { "s" };
    format!("{days:.0} day{plural}")
}

/// A reading with its day.
type Dated<'r> = (&'r TrialReading, Day);

/// Days that can't be: a panel read after an exposure that had not begun, or after a longer one on an earlier day.
fn dates(sink: &mut Sink, record: &str, file: &str, trial: &Trial, rows: &[TrialReading]) {
    const HELP: &str = "correct the day or the exposure, or say in `rejected` why the reading does not count";
    let mut said = BTreeSet::new();
    let mut series: BTreeMap<(&str, &str, &str, &str), Vec<Dated<'_>>> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.rejected.is_none()) {
        let (Some(on), Some(site)) = (row.on, trial.sites.get(&row.site)) else { continue };
        let place = row.place.as_deref().unwrap_or_default();
        series.entry((&row.site, &row.panel, place, row.property.word())).or_default().push((row, on));
        // What is read at exposure 0 is read before the panel goes out.
        let Some(start) = site.start.filter(|_| row.exposure.number > 0.0) else { continue };
        let days = days_between(start, on);
        let (message, label) = if on < start {
            let before = format!("before the trial began there on {start}");
            (before, "before the start")
        } else if days < least_days(row.exposure.number, row.exposure.unit) {
            let after = format!("{} after the trial began there on {start}", in_days(days));
            (after, "sooner than that takes")
        } else {
            continue;
        };
        let message = format!(
            "panel `{}` at `{}` was read after {} on {on}, {message}",
            row.panel, row.site, row.exposure
        );
        if said.insert(message.clone()) {
            sink.elsewhere(Level::Error, "bad-trial", file, At::Line(row.line), message)
                .label(label)
                .help(HELP)
                .why(record, format!("trial.sites.{}.start", row.site).as_str(), "the start stands here");
        }
    }
    for own in series.values_mut() {
        own.sort_by(|(one, _), (two, _)| one.exposure.number.total_cmp(&two.exposure.number));
        for pair in own.windows(2) {
            let [(before, earlier), (row, on)] = pair else { continue };
            let more = row.exposure.number - before.exposure.number;
            let days = days_between(*earlier, *on);
            // From exposure 0 it counts from the start, where one is written: a panel is read before it goes out.
            let no_start = trial.sites.get(&row.site).is_none_or(|site| site.start.is_none());
            let is_exposed = before.exposure.number > 0.0 || no_start;
            let label = match on < earlier {
                true => "earlier day, longer exposure",
                false if is_exposed && days < least_days(more, row.exposure.unit) => "sooner than that takes",
                false => continue,
            };
            let message = format!(
                "panel `{}` at `{}` was read after {} on {on}, and after {} on {earlier}",
                row.panel, row.site, row.exposure, before.exposure
            );
            if said.insert(message.clone()) {
                sink.elsewhere(Level::Error, "bad-trial", file, At::Line(row.line), message)
                    .label(label)
                    .help(HELP)
                    .why(file, At::Line(before.line), "the shorter exposure stands here");
            }
        }
    }
}
