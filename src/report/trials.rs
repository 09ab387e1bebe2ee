//! Exposure trials: readings by site and property, what is due, what still represents something in use.

use super::page::{Page, count};
use super::reason::{reasons_json, write_reasons};
use crate::calc::figure;
use crate::finish::Projection;
use crate::qualify::trial::{Breach, Due, Living, PropertyState, SiteState, Stands, TrialState};
use crate::quantity::{Exposed, ExposureUnit};
use crate::record::Graded;
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;

/// Readings shown that are due, beside the overdue ones.
const DUE_SHOWN: usize = 2;

/// What holds for every trial.
pub const CAUTION: &str = "Outdoor and accelerated exposure are judged each on their own, and hours in a cabinet are never turned \
     into months or years outdoors. A line through readings is an estimate: paint that has begun to fail fails faster.";

/// Returns trials as rows; exposures have their unit in the key.
pub fn trials_json(trials: &[TrialState]) -> Vec<Value> {
    let one = |trial: &TrialState| {
        json!({
            "evidence": trial.evidence,
            "showing": trial.showing,
            "subject": trial.subject,
            "state": trial.state.to_string(),
            "beyond_limit": trial.breaches.iter().map(breach_json).collect::<Vec<_>>(),
            "due": trial.due.iter().map(due_json).collect::<Vec<_>>(),
            "represents": living_json(&trial.living),
            "sites": trial.sites.iter().map(site_json).collect::<Vec<_>>(),
            "rejected": trial.rejected,
        })
    };
    trials.iter().map(one).collect()
}

/// A key with the unit of an exposure behind it, and the number.
fn exposure(key: &str, of: Exposed) -> (String, Value) {
    (format!("{key}_{}", of.unit.word()), json!(of.number))
}

fn with(document: Value, entries: impl IntoIterator<Item = (String, Value)>) -> Value {
    let mut map: Map<String, Value> = document.as_object().cloned().unwrap_or_default();
    map.extend(entries);
    Value::Object(map)
}

fn value_json(value: Graded) -> Value {
    value.number().map_or_else(|| json!(value.to_string()), |number| json!(number))
}

fn breach_json(breach: &Breach) -> Value {
    let document = json!({
        "site": breach.site,
        "kind": breach.kind.word(),
        "panel": breach.panel,
        "place": breach.place,
        "property": breach.what,
        "value": value_json(breach.value),
        "limit": breach.limit,
        "line": breach.line,
    });
    with(document, [exposure("after", breach.exposure)])
}

fn due_json(due: &Due) -> Value {
    let document = json!({
        "site": due.site,
        "on": due.on.map(|day| day.to_string()),
        "overdue": due.overdue,
        "readings": due
            .missing
            .iter()
            .map(|(property, panels)| json!({ "property": property, "panels": panels }))
            .collect::<Vec<_>>(),
    });
    with(document, [exposure("after", due.exposure)])
}

fn living_json(living: &Living) -> Value {
    json!({
        "stands": living.stands.word(),
        "subjects": living.subjects,
        "nearest": living.nearest.as_ref().map(|(subject, asks, because)| {
            json!({ "subject": subject, "asks": asks.to_string(), "because": reasons_json(because) })
        }),
    })
}

fn site_json(site: &SiteState) -> Value {
    json!({
        "site": site.name,
        "kind": site.kind.word(),
        "method": site.method,
        "start": site.start.map(|day| day.to_string()),
        "properties": site.properties.iter().map(property_json).collect::<Vec<_>>(),
    })
}

fn property_json(own: &PropertyState) -> Value {
    let panels: Vec<Value> = own
        .panels
        .iter()
        .map(|panel| {
            let readings: Vec<Value> = panel
                .points
                .iter()
                .map(|point| {
                    let on = point.on.map(|day| day.to_string());
                    let document = json!({ "on": on, "value": value_json(point.value), "line": point.line });
                    with(document, [exposure("after", point.exposure)])
                })
                .collect();
            let projected = panel.projected.as_ref();
            json!({
                "panel": panel.panel,
                "place": panel.place,
                "readings": readings,
                "projected": projected.and_then(|own| own.as_ref().ok()).map(|own_one| projection_json(own_one, own.last.unit)),
                "not_projected": projected.and_then(|own| own.as_ref().err()),
            })
        })
        .collect();
    let document = json!({
        "property": own.what,
        "unit": own.property.unit(),
        "limit": own.limit,
        "worst": value_json(own.worst),
        "panels": panels,
    });
    with(document, [exposure("last", own.last)])
}

fn projection_json(own: &Projection, unit: ExposureUnit) -> Value {
    let document = json!({ "readings": own.readings, "slope": own.slope, "intercept": own.intercept });
    let at = |number: f64| Exposed { number, unit };
    let key = |name: &str| exposure(name, at(0.0)).0;
    with(
        document,
        [
            exposure("at", at(own.at)),
            (key("low"), json!(own.bounds.map(|(low, _)| low.max(0.0)))),
            (key("high"), json!(own.bounds.map(|(_, high)| high))),
        ],
    )
}

/// Writes what is due, what is beyond its limit and which trials still represent something.
pub(crate) fn write_due(page: &mut Page<'_>, trials: &[TrialState]) {
    if trials.is_empty() {
        return;
    }
    page.heading(&format!("Exposure trials ({})", trials.len()));
    for trial in trials {
        head(page, trial);
        for breach in &trial.breaches {
            page.hang("    ✕ ", "      ", &format!("beyond its limit: {}", breach.words()));
        }
        let overdue = trial.due.iter().filter(|due| due.overdue).count();
        let shown = page.frame.shown(trial.due.len(), overdue + DUE_SHOWN);
        for due in trial.due.iter().take(shown) {
            page.hang("    = ", "      ", &due_words(due));
        }
        if shown < trial.due.len() {
            let more = count(trial.due.len() - shown, "reading");
            page.hang("    = ", "      ", &format!("… then {more} more; --all shows them"));
        }
        write_living(page, &trial.living);
    }
    page.gap();
    page.paragraph(CAUTION);
}

fn head(page: &mut Page<'_>, trial: &TrialState) {
    let TrialState { evidence, showing, subject, state, .. } = trial;
    page.hang("", "    ", &format!("evidence/{evidence}, {state}: {showing} {subject}"));
}

pub(super) fn due_words(due: &Due) -> String {
    let when = match (due.on, due.overdue) {
        (Some(on), true) => format!("overdue since {on}"),
        (Some(on), false) => format!("due {on}"),
        (None, _) if due.exposure.unit == ExposureUnit::Hours => "not read yet".to_string(),
        (None, _) => "no start, so no day".to_string(),
    };
    // Properties that the same panels lack are said together.
    let mut groups: Vec<(Vec<&str>, &[String])> = Vec::new();
    for (property, panels) in &due.missing {
        match groups.iter_mut().find(|(_, known)| *known == panels.as_slice()) {
            Some((properties, _)) => properties.push(property),
            None => groups.push((vec![property], panels)),
        }
    }
    let said = |(properties, panels): &(Vec<&str>, &[String])| {
        let of = match panels {
            [] => String::new(),
            [one] => format!(" of panel {one}"),
            all => format!(" of panels {}", all.join(", ")),
        };
        format!("{}{of}", properties.join(", "))
    };
    let what: Vec<String> = groups.iter().map(said).collect();
    format!("{when}: {} at {}: {}", due.exposure, due.site, what.join("; "))
}

fn write_living(page: &mut Page<'_>, living: &Living) {
    match living.stands {
        Stands::Living => {
            page.hang("    ", "    ", &format!("still represents {}", living.subjects.join(", ")));
        }
        Stands::Unknown => {
            page.hang("    ", "    ", "not conformed, so nobody can tell what it represents");
        }
        Stands::Gone => match &living.nearest {
            None => page.hang("    ", "    ", "represents nothing: the showing is asked of nothing in use"),
            Some((subject, asks, because)) => {
                let words =
                    format!("represents nothing in use any more; {subject} comes nearest and asks {asks}:");
                page.hang("    ", "    ", &words);
                write_reasons(page, because);
            }
        },
    }
}

/// Writes the readings of the trials of one duty, by site and property.
pub(crate) fn write_readings(page: &mut Page<'_>, trials: &[TrialState]) {
    if trials.is_empty() {
        return;
    }
    page.heading("Readings");
    for trial in trials {
        head(page, trial);
        write_living(page, &trial.living);
        for site in &trial.sites {
            let method = site.method.as_ref().map_or_else(String::new, |method| format!(", {method}"));
            let start = site.start.map_or_else(String::new, |day| format!(", since {day}"));
            page.hang("  ", "    ", &format!("{} ({}{method}{start})", site.name, site.kind));
            if site.properties.is_empty() {
                page.hang("    ", "    ", "nothing read yet");
            }
            // What the retention was worked out from says no more than the retention.
            let taken = |own: &PropertyState| {
                let behind = format!("({})", own.what);
                own.limit.is_none() && site.properties.iter().any(|other| other.what.ends_with(&behind))
            };
            for own in site.properties.iter().filter(|own| !taken(own)) {
                page.hang("    ", "      ", &property_words(own));
            }
        }
        for breach in &trial.breaches {
            page.hang("  ✕ ", "    ", &format!("beyond its limit: {}", breach.words()));
        }
        for due in &trial.due {
            page.hang("  = ", "    ", &due_words(due));
        }
        for rejected in &trial.rejected {
            page.hang("  ", "    ", &format!("rejected: {rejected}"));
        }
    }
    page.gap();
    page.paragraph(CAUTION);
}

fn property_words(own: &PropertyState) -> String {
    let worst = own.property.shown(own.worst);
    let mut parts = vec![format!("{}: worst {worst} after {}", own.what, own.last)];
    parts.push(own.limit.as_ref().map_or_else(|| "no limit".to_string(), |limit| format!("limit {limit}")));
    match (&own.projected, &own.projected_panel) {
        (Some(Ok(found)), Some(panel)) => parts.push(projection_words(found, panel, own.last)),
        (Some(Err(why)), _) => parts.push(format!("no time projected: {why}")),
        _ => {}
    }
    let panels: BTreeSet<&str> = own.panels.iter().map(|one| one.panel.as_str()).collect();
    let places = match own.panels.iter().any(|one| one.place.is_some()) {
        true => format!(", {}", count(own.panels.len(), "place")),
        false => String::new(),
    };
    format!("{} ({}{places})", parts.join("; "), count(panels.len(), "panel"))
}

fn projection_words(found: &Projection, panel: &str, last: Exposed) -> String {
    let unit = last.unit.word();
    let interval = match found.bounds {
        Some((low, high)) => {
            format!("{} .. {} {unit} at 95 %", figure(round(low.max(0.0))), figure(round(high)))
        }
        None => "no bound at 95 %".to_string(),
    };
    let ahead = if found.at <= last.number { ", which the readings have passed" } else { "" };
    format!(
        "a line through {} readings of panel {panel} meets it at {} {unit}{ahead} ({interval})",
        found.readings,
        figure(round(found.at)),
    )
}

/// Three digits: more would promise what an estimate does not hold.
fn round(value: f64) -> f64 {
    format!("{value:.2e}").parse().unwrap_or(value)
}
