//! The sheet of a showing: what is to be shown, how, by which rules evidence lapses, and how each duty stands.

use super::Site;
use super::known::{Known, counted};
use super::records::{Made, common, used_and_using};
use super::svg::cut;
use super::tables::{self, Facts, Grid, Page, Row, anchor};
use crate::ledger::{Entry, Ledger};
use crate::qualify::judge::step_words;
use crate::qualify::table::{KindRow, Table};
use crate::qualify::verdict::{Duty, Verdict};
use crate::record::{Address, AppliesTo, Plan, RecordKind, Showing};
use crate::report::duty::criterion_words;
use crate::report::page::count;
use crate::report::reason::reasons_json;
use serde_json::{Value, json};
use std::cmp::Reverse;

/// Duties in the table.
const ROWS: usize = 250;
/// Duties whose reasons are told.
const TOLD: usize = 50;
/// Reasons of one duty.
const REASONS: usize = 10;
/// What a cell says at most.
const CELL: f64 = 900.0;

/// Template, title and context.
pub(super) fn context(site: &Site<'_>, entry: &Entry<Showing>) -> Made {
    let own = &*entry.value;
    let duties = in_order(&site.known, &entry.id);
    let counts = counted(duties.iter().map(|duty| duty.verdict()));
    let mut page = Page::default();
    page.put("called", json!(own.title));
    let words: Vec<String> = counts.iter().map(|(word, n)| format!("{n} {word}")).collect();
    let asked = match duties.len() {
        0 => "It is asked of nothing in use.".to_string(),
        n => format!("It is asked of {}: {}.", count(n, "subject"), words.join(", ")),
    };
    let by = own.needed_by.as_ref().map_or(String::new(), |by| format!(" It is needed by {by}."));
    page.put("opening", json!(format!("Asked: {}. {asked}{by}", criterion_words(&own.accept))));
    page.put("facts_of", facts(own));
    common(&mut page, &entry.file, &own.notes);
    page.put("plan", plan(own.plan.as_ref()));
    let row = Table::row(own.kind.as_str());
    page.put("rule_words", json!(row.map(|row| rule_words(row, own))));
    page.put("rules", row.map(|row| rules(row, own)));
    page.put("windows", row.map(windows));
    let table = Table::built_in().ok();
    page.put("table", json!(table.map(|own| format!("Table {} ({})", own.number, own.short_digest()))));
    page.put("duties", grid(&duties));
    page.put("told", told(&duties));
    page.put("evidence", evidence(site, &entry.id));
    used_and_using(&mut page, site, &Address::new(RecordKind::Showing, &entry.id));
    ("showing.html", format!("showing/{}", entry.id), page)
}

/// Its duties, the gravest first.
fn in_order<'a>(known: &Known<'a>, showing: &str) -> Vec<&'a Duty> {
    let mut duties: Vec<&Duty> = known.duties_of_showing(showing).to_vec();
    let gravity = |duty: &&Duty| {
        let worst = duty.worst().map(|(_, judged)| judged.gravity());
        (Reverse(worst), duty.subject.clone())
    };
    duties.sort_by_cached_key(gravity);
    duties
}

/// Duties that the sheets of their showings have no room for: showing and subject.
pub(super) fn beyond(known: &Known<'_>, ledger: &Ledger) -> Vec<(String, String)> {
    let many = ledger.showings.keys().filter(|id| known.duties_of_showing(id).len() > ROWS);
    many.flat_map(|id| {
        let all = in_order(known, id).into_iter().skip(ROWS);
        all.map(|duty| (id.clone(), duty.subject.to_string()))
    })
    .collect()
}

fn facts(own: &Showing) -> Facts {
    let mut facts = Facts::default();
    let list = |all: &mut dyn Iterator<Item = &crate::record::Text>| {
        all.map(ToString::to_string).collect::<Vec<_>>().join(", ")
    };
    facts.add("Kind", tables::text(own.kind.as_str()));
    facts.written("Clauses", Some(list(&mut own.clause.iter())));
    facts.written("Means (EASA AMC to 21.A.15 (b))", Some(list(&mut own.means.iter())));
    facts.add("Criterion", tables::text(criterion_words(&own.accept)));
    facts.written("Method", own.method.as_ref().map(|own| own.as_str()));
    facts.written(
        "Environment",
        own.environment.as_ref().map(|own| {
            let mut all: Vec<String> = Vec::new();
            all.extend(own.name.as_ref().map(ToString::to_string));
            all.extend(own.temperature.as_ref().map(|own| own.text().to_string()));
            all.extend(own.moisture.as_ref().map(ToString::to_string));
            all.extend(own.bounds.map(|own| format!("bounds {own}")));
            all.join("; ")
        }),
    );
    facts.written(
        "Normalised to",
        own.normalise.as_ref().map(|own| {
            let nominal = own.nominal.as_ref().map_or(String::new(), |own| format!(", {}", own.text()));
            format!("{}{nominal}", own.to)
        }),
    );
    facts.written("Computes", own.check.map(|own| own.word()));
    facts.written("Asked of", own.applies_to.as_ref().map(applies));
    facts.written("Needed by", own.needed_by.as_ref().map(|own| own.as_str()));
    if !own.after.is_empty() {
        let ids: Vec<&str> = own.after.iter().map(|own| own.id()).collect();
        facts.add("After", tables::records("showing", &ids, 20));
    }
    if !own.rests_on.is_empty() {
        let ids: Vec<&str> = own.rests_on.iter().map(|own| own.id()).collect();
        facts.add("Rests on", tables::records("showing", &ids, 20));
    }
    facts.written("Owner", own.owner.as_ref());
    facts.written("Source", own.source.as_ref());
    facts
}

/// Which subjects and panels it is asked of, as it was written.
fn applies(own: &AppliesTo) -> String {
    let mut all: Vec<String> = Vec::new();
    all.extend(own.class.map(|own| own.word().to_string()));
    all.extend(own.load_path.map(|own| format!("load path {own}")));
    let mut list = |word: &str, ids: Vec<String>| {
        if !ids.is_empty() {
            all.push(format!("{word} {}", ids.join(", ")));
        }
    };
    list("group", own.group.iter().map(ToString::to_string).collect());
    list("material", own.material.iter().map(|own| own.id().to_string()).collect());
    list("recipe", own.recipe.iter().map(|own| own.id().to_string()).collect());
    list("panel", own.panel.iter().map(|own| own.id().to_string()).collect());
    if own.exposure.is_some() {
        all.push("exposure as written".to_string());
    }
    all.join("; ")
}

fn plan(own: Option<&Plan>) -> Facts {
    let mut facts = Facts::default();
    let Some(own) = own else { return facts };
    let whole = |n: Option<u32>| n.map(|n| n.to_string());
    let weeks = |n: Option<f64>| n.map(|n| format!("{n}"));
    facts.written("Specimens", whole(own.specimens));
    facts.written("Batches", whole(own.batches));
    facts.written("Panels of a batch", whole(own.panels_per_batch));
    facts.written("Specimens of a panel", whole(own.specimens_per_panel));
    facts.written("Spares", own.spares.as_ref().map(|own| own.text()));
    facts.written("Cost of a specimen", own.cost.as_ref().map(|own| own.text()));
    facts.written("Weeks before lay-up", weeks(own.lead));
    facts.written("Weeks of lay-up", weeks(own.layup));
    facts.written("Weeks to the report", weeks(own.weeks));
    facts.written("Weeks of a desk task", weeks(own.analysis_weeks));
    facts.written(
        "Conditioning",
        own.conditioning.as_ref().map(|own| {
            format!("to {} of equilibrium, coupon {}", own.to.text(), own.coupon_thickness.text())
        }),
    );
    facts.written(
        "Equivalence",
        own.equivalence.as_ref().map(|own| {
            let specimens = own.specimens.map(|n| count(n as usize, "specimen"));
            let panels = own.panels.map(|n| count(n as usize, "panel"));
            specimens.into_iter().chain(panels).collect::<Vec<_>>().join(" of ")
        }),
    );
    if !own.readings.is_empty() {
        let all: Vec<String> = own.readings.iter().map(ToString::to_string).collect();
        facts.written("Read after", Some(all.join(", ")));
    }
    facts
}

/// What a row of the table says of itself.
fn rule_words(row: &KindRow, own: &Showing) -> Vec<String> {
    let mut all = vec![format!("Shown for each {}, {}.", row.subject_of(own), row.only_where.words())];
    if row.live {
        all.push("Computed anew each time: no difference is compared.".to_string());
    }
    if row.whole {
        all.push("Evidence of another subject counts only where every own attribute is equal.".to_string());
    }
    all.push(format!("Compared in: {}.", row.own_of(row.subject_of(own)).join(", ")));
    if !row.context.is_empty() {
        let asked: Vec<&str> = row.context.iter().map(|context| context.words()).collect();
        all.push(format!("Asked by the panels that use it: {}.", asked.join("; ")));
    }
    if row.cells.is_empty() && own.sensitivity.is_empty() && !row.live {
        all.push("No cell: a difference of its own asks nothing.".to_string());
    }
    all
}

/// The rules that a difference is judged by: the showing's own steps above those of the table.
fn rules(row: &KindRow, own: &Showing) -> Grid {
    let mut grid = Grid::new(
        "What a difference asks, tried step by step",
        vec![("Attribute", false), ("Steps", false), ("Window", false), ("Source", false), ("Note", false)],
    );
    for (key, steps) in &own.sensitivity {
        let words: Vec<String> = steps.iter().map(step_words).collect();
        grid.row(vec![
            tables::short(Some(key)),
            tables::text(cut(&words.join("; "), CELL)),
            tables::text(""),
            tables::text("the showing's own, above the table"),
            tables::text(""),
        ]);
    }
    for (key, cell) in row.cells.iter().filter(|(key, _)| !own.sensitivity.contains_key(*key)) {
        let words: Vec<String> = cell.steps.iter().map(step_words).collect();
        grid.row(vec![
            tables::text(key),
            tables::text(words.join("; ")),
            tables::text(cell.window.as_deref().unwrap_or("")),
            tables::text(&cell.source),
            tables::text(cell.note.as_deref().unwrap_or("")),
        ]);
    }
    grid.at_most(ROWS, "`bondline why --table` has them")
}

/// The windows that the row's cells name.
fn windows(row: &KindRow) -> Grid {
    let mut grid =
        Grid::new("Windows that it names", vec![("Window", false), ("Rule", false), ("Source", false)]);
    let Ok(table) = Table::built_in() else { return grid };
    for (name, window) in &table.windows {
        if row.cells.values().any(|cell| cell.window.as_ref() == Some(name)) {
            grid.row(vec![tables::text(name), tables::text(&window.rule), tables::text(&window.source)]);
        }
    }
    grid
}

fn grid(duties: &[&Duty]) -> Grid {
    let mut grid = Grid::new(
        "Duties, the gravest first",
        vec![
            ("Subject", false),
            ("Verdict", false),
            ("Asks", false),
            ("Panels", false),
            ("Evidence", false),
            ("Criterion", false),
        ],
    );
    for (at, duty) in duties.iter().take(ROWS).enumerate() {
        let panels: Vec<&str> =
            duty.panels.keys().map(String::as_str).filter(|own| !own.is_empty()).collect();
        let worst = duty.worst().map(|(_, judged)| judged);
        let evidence = worst.map_or(&[][..], |judged| judged.evidence.as_slice());
        let criterion = worst.and_then(|judged| judged.criterion.as_deref()).unwrap_or("");
        let subject = duty.subject.to_string();
        grid.row(Row {
            // Those whose reasons are told below are led to there.
            id: (at >= TOLD || duty.verdict() == Verdict::Met).then(|| anchor(&subject)),
            cells: vec![
                tables::subject(&subject),
                tables::verdict(duty.verdict().word()),
                tables::text(duty.asks().word()),
                tables::records("panel", &panels, 4),
                tables::records("evidence", evidence, 3),
                tables::text(cut(criterion, CELL)),
            ],
            data: vec![("verdicts", duty.verdict().word().to_string())],
        });
    }
    if duties.len() > ROWS {
        grid.note = Some(format!("{} more rows: the matrix has them", duties.len() - ROWS));
    }
    grid
}

/// Why duties are not met.
fn told(duties: &[&Duty]) -> Value {
    let one = |duty: &&&Duty| {
        let subject = duty.subject.to_string();
        let mut because = reasons_json(&duty.because());
        let left = because.len().saturating_sub(REASONS);
        because.truncate(REASONS);
        let own: Vec<Value> = reasons_json(&duty.own()).into_iter().take(REASONS).collect();
        json!({
            "id": anchor(&subject), "subject": subject, "verdict": duty.verdict().word(),
            "asks": duty.asks().to_string(), "because": because, "own": own, "left": left,
        })
    };
    let open = || duties.iter().take(TOLD).filter(|duty| duty.verdict() != Verdict::Met);
    json!(open().collect::<Vec<_>>().iter().map(one).collect::<Vec<_>>())
}

fn evidence(site: &Site<'_>, id: &str) -> Grid {
    let mut grid = Grid::new(
        "Evidence that was recorded for it",
        vec![("Evidence", false), ("Kind", false), ("State", false), ("Report", false), ("Subject", false)],
    );
    for one in site.known.evidence_of(id) {
        let Some(entry) = site.inputs.ledger.evidence.get(*one) else { continue };
        let own = &*entry.value;
        let subject = crate::article::Subject::from_label(&own.subject);
        grid.row(vec![
            tables::record("evidence", one),
            tables::text(own.kind.word()),
            tables::text(own.state.word()),
            tables::short(own.report.as_ref().map(|own| own.as_str())),
            subject.map_or_else(|| tables::text(""), |own| tables::subject(&own.to_string())),
        ]);
    }
    grid.at_most(ROWS, "the list of evidence has them")
}
