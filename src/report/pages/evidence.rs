//! The sheet of evidence: what was made and tested, what the values come to, step by step, and which duties count it.

use super::Site;
use super::known::Role;
use super::plots::{batches, probability};
use super::readings::readings;
use super::records::{Made, common, used_and_using};
use super::tables::{self, Facts, Grid, Page};
use crate::article::Subject;
use crate::calc::figure;
use crate::ledger::{Entry, Specimen};
use crate::qualify::equivalence::{Equivalence, Test};
use crate::qualify::pool::{digits, levels};
use crate::qualify::trial::TrialState;
use crate::record::{Address, Evidence, EvidenceKind, RecordKind, Tested};
use crate::report::basis::{
    SampleReport, equivalence_json, equivalence_report, evidence_sample, no_part_beside, sample_json,
};
use crate::report::duty::why_not_counted;
use crate::report::page::count;
use crate::report::trials::{CAUTION, due_words};
use serde_json::{Value, json};

/// Specimens that the table shows, beside the rejected ones.
const SPECIMENS: usize = 250;
/// Rows of other tables.
const ROWS: usize = 300;
/// Lines of what one step shows.
const SHOWS: usize = 40;
/// Charts of one trial.
const CHARTS: usize = 12;

/// Template, title and context.
pub(super) fn context(site: &Site<'_>, entry: &Entry<Evidence>) -> Made {
    let own = &*entry.value;
    let mut page = Page::default();
    page.put("called", json!(own.title));
    page.put("opening", json!(opening(site, entry)));
    page.put("facts_of", facts(own));
    common(&mut page, &entry.file, &own.notes);
    let aside =
        own.disposition.as_ref().map(|own| format!("{} ({} on {})", own.cause.trim(), own.by, own.on));
    page.put("aside", json!(aside));
    put_made(&mut page, own);
    put_specimens(&mut page, site, entry);
    put_values(&mut page, site, entry);
    put_trial(&mut page, site, entry);
    page.put("counted", counted_by(site, entry));
    used_and_using(&mut page, site, &Address::new(RecordKind::Evidence, &entry.id));
    ("evidence.html", format!("evidence/{}", entry.id), page)
}

fn opening(site: &Site<'_>, entry: &Entry<Evidence>) -> String {
    let own = &*entry.value;
    let subject =
        Subject::from_label(&own.subject).map_or_else(|| "a subject".to_string(), |own| own.to_string());
    let parts = site.known.parts(&entry.id);
    let of = |role: Role| parts.iter().filter(|part| part.role == role).count();
    let nearest = match of(Role::Nearest) {
        0 => String::new(),
        n => format!(" It comes nearest for {} and does not count there.", count(n, "duty")),
    };
    let counts = match (of(Role::Counts), of(Role::UnderWay)) {
        (0, 0) => match counting(site, entry).as_slice() {
            [] => "No duty counts it.".to_string(),
            through => {
                format!(
                    "No duty counts it by itself; it is the baseline of {}, and counts through that.",
                    through.join(" and ")
                )
            }
        },
        (0, n) => format!("It is under way for {}.", count(n, "duty")),
        (n, _) => format!("It counts for {}.", count(n, "duty")),
    };
    let counts = format!("{counts}{nearest}");
    let why = site
        .known
        .superseded
        .get(entry.id.as_str())
        .map(|later| format!(" evidence/{later} stands in its place."))
        .or_else(|| {
            own.disposition.as_ref()?;
            Some(format!(" It is {}.", why_not_counted(site.inputs.ledger, entry)?))
        })
        .unwrap_or_default();
    format!(
        "{}, {}, for showing {} on {subject}. {counts}{why}",
        kind_words(own.kind),
        own.state,
        own.showing.id()
    )
}

/// Records that extend it and that some duty counts.
fn counting(site: &Site<'_>, entry: &Entry<Evidence>) -> Vec<String> {
    let counts = |id: &&&str| site.known.parts(id).iter().any(|part| part.role == Role::Counts);
    let all = site.known.extending(&entry.id).iter().filter(counts);
    all.map(|id| format!("evidence/{id}")).collect()
}

fn kind_words(kind: EvidenceKind) -> &'static str {
    match kind {
        EvidenceKind::Test => "A test",
        EvidenceKind::Equivalence => "An equivalence",
        EvidenceKind::Analysis => "An analysis",
        EvidenceKind::Inspection => "An inspection",
        EvidenceKind::Similarity => "An argument from likeness",
    }
}

fn facts(own: &Evidence) -> Facts {
    let mut facts = Facts::default();
    facts.add("Showing", tables::record("showing", own.showing.id()));
    if let Some(subject) = Subject::from_label(&own.subject) {
        facts.add("Recorded for", tables::subject(&subject.to_string()));
    }
    facts.written("Made", own.made.map(|day| day.to_string()));
    facts.written("Report", own.report.as_ref().map(|own| own.as_str()));
    facts.written("Data", own.data.as_ref());
    facts.written("Digest", own.digest.as_ref());
    if let Some(baseline) = &own.baseline {
        facts.add("Baseline", tables::record("evidence", baseline.id()));
    }
    if let Some(old) = &own.supersedes {
        facts.add("Corrects", tables::record("evidence", old.id()));
    }
    facts.written("Repeated because", own.reason.as_ref());
    if let Some(result) = &own.result {
        let mut words: Vec<String> = Vec::new();
        words.extend(
            result
                .statement
                .map(|own| if own { "stated to be so" } else { "stated not to be so" }.to_string()),
        );
        words.extend(result.rating.as_ref().map(|own| format!("rating {}", own.text())));
        words.extend(result.margin.as_ref().map(|own| format!("margin {}", own.text())));
        words.extend(result.value.as_ref().map(|own| own.text().to_string()));
        words.extend(result.mode.as_ref().map(|own| format!("failed by {own}")));
        facts.written("Result", Some(words.join("; ")));
    }
    facts.written("Tested to", own.tested.as_ref().map(tested));
    facts.written("Owner", own.owner.as_ref());
    facts.written("Source", own.source.as_ref());
    facts
}

fn tested(own: &Tested) -> String {
    let mut all: Vec<String> = Vec::new();
    all.extend(own.temperature.as_ref().map(|own| own.text().to_string()));
    all.extend(own.moisture.as_ref().map(ToString::to_string));
    all.extend(own.lightning.as_ref().map(|own| format!("lightning zone {own}")));
    all.extend(own.zone.as_ref().map(ToString::to_string));
    all.extend(
        own.fluids.as_ref().map(|own| {
            format!("fluids {}", own.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))
        }),
    );
    all.extend(own.tool.as_ref().map(|own| format!("on {own}")));
    all.join("; ")
}

/// The article as it was conformed, and what was measured of it.
fn put_made(page: &mut Page, own: &Evidence) {
    let mut measured = Grid::new("Measured on the article", vec![("Attribute", false), ("Value", false)]);
    for (name, value) in &own.measured {
        measured.row(vec![tables::short(Some(name)), tables::short(Some(&value.to_string()))]);
    }
    page.put("measured", measured.at_most(ROWS, "they stand in the record"));
    let mut made =
        Grid::new("The configuration that was conformed", vec![("Attribute", false), ("Value", false)]);
    let conformed = own.conformed.as_ref();
    for (name, value) in conformed.iter().flat_map(|own| &own.attributes) {
        made.row(vec![tables::text(&**name), tables::short(Some(&value.to_string()))]);
    }
    page.put("made", made.at_most(ROWS, "they stand in the record"));
    let words = conformed.map(|own| {
        let commit = own.commit.as_ref().map_or(String::new(), |commit| format!(", from commit {commit}"));
        let others = match own.others.len() {
            0 => String::new(),
            n => format!("; {} differ from it", count(n, "further article")),
        };
        let to = own.tested.as_ref().map(tested).filter(|own| !own.is_empty());
        let to = to.map_or(String::new(), |own| format!("; tested to {own}"));
        format!("Form {}{commit}{to}{others}.", own.form)
    });
    page.put("made_words", json!(words));
}

/// The rows of the data file, the rejected ones first.
fn put_specimens(page: &mut Page, site: &Site<'_>, entry: &Entry<Evidence>) {
    let Some(data) = site.inputs.ledger.data.get(&entry.id).filter(|data| !data.rows.is_empty()) else {
        page.put("specimens", Value::Null);
        page.put("rejected", Value::Null);
        return;
    };
    let unit = data.unit.as_deref().unwrap_or("no unit written");
    let columns = || {
        vec![
            ("Specimen", false),
            ("Panel", false),
            ("Batch", false),
            ("Value", true),
            ("Failed by", false),
            ("Condition", false),
            ("Line", true),
        ]
    };
    let cells = |row: &Specimen| {
        vec![
            tables::short(Some(&row.specimen)),
            tables::short(Some(&row.panel)),
            tables::short(Some(&row.batch)),
            tables::number(if row.value.is_finite() { digits(row.value) } else { "none".to_string() }),
            tables::short(row.mode()),
            tables::short(row.condition()),
            tables::number(row.line.to_string()),
        ]
    };
    let mut taken = Grid::new(format!("Specimens of {}, values in {unit}", data.file), columns());
    let mut rejected = Grid::new(format!("Rejected, values in {unit}"), {
        let mut all = columns();
        all.push(("Why", false));
        all
    });
    let mut left = 0;
    for row in data.rows.iter() {
        match &row.rejected {
            Some(why) if rejected.rows.len() < SPECIMENS => {
                let mut own = cells(row);
                own.push(tables::short(Some(why)));
                rejected.row(own);
            }
            None if taken.rows.len() < SPECIMENS => taken.row(cells(row)),
            _ => left += 1,
        }
    }
    if left > 0 {
        taken.note = Some(format!("{left} more rows stand in the file"));
    }
    page.put("specimens", taken);
    page.put("rejected", rejected);
}

/// What the values come to, as `basis` prints it.
fn put_values(page: &mut Page, site: &Site<'_>, entry: &Entry<Evidence>) {
    let ledger = site.inputs.ledger;
    page.put("steps", Value::Null);
    page.put("plots", json!([]));
    page.put("values_words", Value::Null);
    page.put("value_notes", json!([]));
    page.put("normalised", Value::Null);
    let showing = ledger.showings.get(entry.value.showing.id());
    let has = ledger.data.get(&entry.id).is_some_and(|data| !data.rows.is_empty());
    let Some(showing) = showing.filter(|_| has) else { return };
    let levels = levels(ledger, &showing.value);
    if entry.value.kind == EvidenceKind::Equivalence {
        match equivalence_report(ledger, showing, entry, &levels) {
            Ok(report) => {
                let limits = limits(&report.found);
                let drawn = batches(&[("baseline", &report.baseline), ("new", &report.new)], &limits);
                page.put("plots", Vec::from_iter(drawn));
                let document = equivalence_json(&report);
                page.put("steps", steps(&document));
                page.put("value_notes", json!(report.new.notes));
                let word = if report.found.holds() { "equivalent" } else { "not equivalent" };
                page.put(
                    "values_words",
                    json!(format!(
                        "Held against evidence/{}: {word} ({}).",
                        entry.value.baseline.as_ref().map_or("", |own| own.id()),
                        report.found.words(&report.new.unit)
                    )),
                );
            }
            Err(why) => page.put("values_words", json!(format!("{why}."))),
        }
        return;
    }
    let sample = match evidence_sample(ledger, showing, &[entry], &levels) {
        Ok(sample) => sample,
        Err(why) => return page.put("values_words", json!(format!("{why}."))),
    };
    page.put("value_notes", json!(sample.notes));
    page.put("normalised", normalised(&sample));
    let mut plots = Vec::new();
    if let Ok(found) = &sample.procedure {
        plots.extend(probability(&sample, found));
    }
    plots.extend(batches(&[("", &sample)], &[]));
    page.put("plots", plots);
    let document = sample_json(&sample);
    page.put("steps", steps(&document));
    let words = match &sample.procedure {
        Err(why) => format!("No design value: {why}."),
        Ok(_) => {
            let value = |key: &str, estimate: &str| {
                let marked = document.get(estimate).and_then(Value::as_bool).unwrap_or(false);
                let marked = if marked { " (an estimate that may not be designed with)" } else { "" };
                document
                    .get(key)
                    .and_then(Value::as_f64)
                    .map_or("none".to_string(), |own| format!("{} {}{marked}", figure(own), sample.unit))
            };
            format!(
                "{} of {}: B value {}, A value {}, by {}, of this record alone; what a verdict pools, the duty says.",
                count(sample.groups.iter().map(|(_, own)| own.len()).sum(), "value"),
                count(sample.groups.len(), "batch"),
                value("B_basis", "estimate"),
                value("A_basis", "A_estimate"),
                document.get("method").and_then(Value::as_str).unwrap_or("no method"),
            )
        }
    };
    let part = no_part_beside(entry, site.known.superseding(&entry.id))
        .map_or(String::new(), |why| format!(" It gives no design value to anybody: {why}."));
    page.put("values_words", json!(format!("{words}{part}")));
}

fn limits(found: &Equivalence) -> Vec<(String, f64)> {
    match &found.test {
        Test::MeanAndLeast(own) => {
            vec![("least".to_string(), own.minimum_limit), ("mean".to_string(), own.mean_limit)]
        }
        Test::Mean(own) => vec![("mean from".to_string(), own.low), ("to".to_string(), own.high)],
    }
}

/// The steps, each with no more lines than a page bears.
fn steps(document: &Value) -> Value {
    let all = document.get("steps").and_then(Value::as_array).cloned().unwrap_or_default();
    let one = |mut step: Value| {
        let shows = step.get("shows").and_then(Value::as_array).cloned().unwrap_or_default();
        let left = shows.len().saturating_sub(SHOWS);
        if let Some(map) = step.as_object_mut() {
            map.insert("shows".to_string(), shows.into_iter().take(SHOWS).collect());
            map.insert("left".to_string(), json!(left));
        }
        step
    };
    all.into_iter().map(one).collect()
}

/// Normalised values beside those that were measured, batch by batch.
fn normalised(sample: &SampleReport) -> Grid {
    let to = sample.normalised.as_deref().unwrap_or("a nominal");
    let mut grid = Grid::new(
        format!("As measured, and normalised to {to}"),
        vec![("Specimen", false), ("Batch", false), ("As measured", true), ("Normalised", true)],
    );
    for (at, measured) in sample.measured.iter().enumerate() {
        let Some((label, values)) = sample.groups.get(at) else { continue };
        for (place, (before, after)) in measured.iter().zip(values).enumerate() {
            let name = sample.labels.get(at).and_then(|own| own.get(place)).map_or("", String::as_str);
            grid.row(vec![
                tables::short(Some(name)),
                tables::short(Some(label)),
                tables::number(figure(*before)),
                tables::number(figure(*after)),
            ]);
        }
    }
    grid.at_most(SPECIMENS, "`bondline basis` reckons them")
}

/// An exposure trial: charts, what is beyond a limit, what is due.
fn put_trial(page: &mut Page, site: &Site<'_>, entry: &Entry<Evidence>) {
    let Some(trial) = site.known.trial(&entry.id) else {
        page.put("trial", Value::Null);
        return;
    };
    let showing = site.inputs.ledger.showings.get(&trial.showing);
    let limits = showing.map_or(&[][..], |own| own.value.accept.readings.as_slice());
    // What has a limit comes first.
    let mut all: Vec<_> =
        trial.sites.iter().flat_map(|site| site.properties.iter().map(move |own| (site, own))).collect();
    all.sort_by_key(|(_, own)| own.limit.is_none());
    let drawn: Vec<Value> =
        all.iter().filter_map(|(site, own)| Some(readings(site, own, limits)?.json())).take(CHARTS).collect();
    page.put("trial_sites", sites(trial));
    page.put(
        "trial",
        json!({
            "charts": drawn,
            "beyond": trial.breaches.iter().take(60).map(|own| own.words()).collect::<Vec<_>>(),
            "due": trial.due.iter().take(60).map(due_words).collect::<Vec<_>>(),
            "rejected": trial.rejected.iter().take(100).collect::<Vec<_>>(),
            "stands": trial.living.stands.word(),
            "subjects": trial.living.subjects,
            "caution": CAUTION,
        }),
    );
}

fn sites(trial: &TrialState) -> Grid {
    let mut grid = Grid::new(
        "Sites and what was read there; never pooled",
        vec![
            ("Site", false),
            ("Exposes", false),
            ("Method", false),
            ("Since", true),
            ("Property", false),
            ("Worst of the last", true),
            ("After", true),
            ("Limit", false),
        ],
    );
    for site in &trial.sites {
        for own in &site.properties {
            grid.row(vec![
                tables::short(Some(&site.name)),
                tables::text(site.kind.word()),
                tables::short(site.method.as_deref()),
                tables::number(site.start.map_or_else(String::new, |day| day.to_string())),
                tables::text(&own.what),
                tables::number(own.property.shown(own.worst)),
                tables::number(own.last.to_string()),
                tables::short(own.limit.as_deref()),
            ]);
        }
    }
    grid.at_most(ROWS, "`bondline why` lists them")
}

/// Duties whose verdicts look at it, and those that it is under way for.
fn counted_by(site: &Site<'_>, entry: &Entry<Evidence>) -> Grid {
    let mut grid = Grid::new(
        "Duties that it has a part in",
        vec![("Duty", false), ("Verdict", false), ("Part", false), ("Panels", true)],
    );
    for part in site.known.parts(&entry.id) {
        let what = match (part.role, part.carried_over) {
            (Role::Counts, true) => "counts, carried over from its own subject",
            (Role::Counts, false) => "counts",
            (Role::Nearest, _) => "comes nearest, and does not count",
            (Role::UnderWay, _) => "under way",
        };
        grid.row(vec![
            tables::duty(&part.duty.showing, &part.duty.subject.to_string()),
            tables::verdict(part.duty.verdict().word()),
            tables::text(what),
            tables::number(part.duty.panels.keys().filter(|own| !own.is_empty()).count().to_string()),
        ]);
    }
    grid.at_most(ROWS, "the matrix has them")
}
