//! The sheet of a decision: why, what it changes, what was foretold of it, and what came of that.

use super::records::{Made, common, used_and_using};
use super::tables::{self, Facts, Grid, Page};
use super::{Sheet, Site};
use crate::ledger::{Entry, Ledger};
use crate::record::{Address, Approval, Day, Decision, DecisionStatus, FoundFigures, Predicted, RecordKind};
use crate::report::decision::{came_true, foretold, lacking, said, signed};
use crate::report::page::count;
use serde_json::json;

/// Rows of a table.
const ROWS: usize = 200;
/// Letters of one change that the sheet shows.
const CHANGE: f64 = 12_000.0;

/// Template, title and context.
pub(super) fn context(site: &Site<'_>, entry: &Entry<Decision>) -> Made {
    let (ledger, own) = (site.inputs.ledger, &*entry.value);
    let mut page = Page::default();
    page.put("called", json!(own.title));
    let found = own.found.as_ref().map(|found| &found.0);
    let lacks = needs(own, ledger, site.inputs.today);
    page.put("opening", json!(opening(own, found, &lacks)));
    page.put("facts_of", facts(own));
    common(&mut page, &entry.file, &own.notes);
    page.put("why", json!(own.why));
    page.put(
        "options",
        own.options.iter().map(|one| json!(super::change::words(&json!(one)))).collect::<Vec<_>>(),
    );
    let changes: Vec<String> =
        own.changes.iter().take(ROWS).map(|one| super::svg::cut(&said(one), CHANGE)).collect();
    page.put("changes", json!(changes));
    page.put("more_changes", json!(own.changes.len().saturating_sub(ROWS)));
    page.put("foretold", json!(own.predicted.as_ref().map(foretold)));
    page.put("figures", figures(own.predicted.as_ref(), found));
    page.put("panels", panels(own.predicted.as_ref()));
    page.put("duties", duties(own.predicted.as_ref(), found));
    let came = found.map(|found| came_true(own.predicted.as_ref(), found));
    page.put("came", json!(came.unwrap_or_default()));
    let mut approvals = Grid::new("Approvals", vec![("Role", false), ("Name", false), ("On", true)]);
    for one in &own.approvals {
        approvals.row(vec![
            tables::short(Some(one.role.as_str())),
            tables::short(one.by.as_ref().map(|own| own.as_str())),
            tables::number(given_on(one, site.inputs.today)),
        ]);
    }
    page.put("approvals", approvals);
    page.put("needs", json!(lacks));
    let sheet = site.inputs.changes.iter().position(|change| change.stem == entry.id);
    page.put("sheet", json!(sheet.map(|at| site.file(&Sheet::Change(at)))));
    used_and_using(&mut page, site, &Address::new(RecordKind::Decision, &entry.id));
    ("decision.html", format!("decision/{}", entry.id), page)
}

fn opening(own: &Decision, found: Option<&FoundFigures>, lacks: &[String]) -> String {
    let predicted = own.predicted.as_ref().map_or_else(
        || " Nothing was predicted of it.".to_string(),
        |own| {
            format!(
                " It was predicted to move the mass by {} kg and to leave {} open, with {} weeks of tests.",
                signed(own.mass.si()),
                count(own.lapsed.len(), "duty"),
                own.weeks
            )
        },
    );
    let came =
        found.map_or(String::new(), |found| match found.weighed.as_ref().or(found.calculated.as_ref()) {
            Some(kg) => format!(
                " It moved it by {} kg, as {} says.",
                signed(kg.si()),
                if found.weighed.is_some() { "the scale" } else { "the calculation" }
            ),
            None => " What came of it stands in words.".to_string(),
        });
    let lacks = match (own.status, lacks) {
        (DecisionStatus::Approved, [_, ..]) => format!(", and lacks {}", lacks.join(" and ")),
        _ => String::new(),
    };
    format!("The decision is {}{lacks}: {}.{predicted}{came}", own.status, count(own.changes.len(), "change"))
}

fn facts(own: &Decision) -> Facts {
    let mut facts = Facts::default();
    facts.add("Status", tables::text(own.status.word()));
    facts.written("Raised", own.raised.map(|day| day.to_string()));
    facts.written("Owner", own.owner.as_ref());
    if let Some(old) = &own.supersedes {
        facts.add("Takes the place of", tables::record("decision", old.id()));
    }
    facts.written("Source", own.source.as_ref());
    facts
}

/// The day of an approval, with a word where it has not come.
pub(super) fn given_on(one: &Approval, today: Day) -> String {
    if one.on.has_come(today) { one.on.to_string() } else { format!("{}: that day has not come", one.on) }
}

/// Who has to approve it still.
pub(super) fn needs(own: &Decision, ledger: &Ledger, today: Day) -> Vec<String> {
    // What was approved under an older rule, and carried out, is not asked again here.
    let open = match own.status {
        DecisionStatus::Draft | DecisionStatus::Proposed => true,
        DecisionStatus::Approved => own.approvals.iter().any(|one| !one.on.has_come(today)),
        _ => false,
    };
    if !open {
        return Vec::new();
    }
    let rule = ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    let (roles, people) = lacking(own, rule, today);
    let mut needs: Vec<String> = roles.iter().map(ToString::to_string).collect();
    if people > 0 {
        needs.push(format!("{people} different people more, by name"));
    }
    needs
}

/// Predicted beside found, figure by figure.
fn figures(predicted: Option<&Predicted>, found: Option<&FoundFigures>) -> Grid {
    let mut grid =
        Grid::new("Predicted and found", vec![("Figure", false), ("Predicted", true), ("Found", true)]);
    let words = |own: Option<String>| tables::number(own.unwrap_or_else(|| "not known".to_string()));
    if predicted.is_none() && found.is_none() {
        return grid;
    }
    let mass = predicted.map(|own| signed(own.mass.si()));
    let calculated = found.and_then(|own| own.calculated.as_ref()).map(|own| signed(own.si()));
    grid.row(vec![tables::text("Mass as calculated, kg"), words(mass.clone()), words(calculated)]);
    let weighed = found.and_then(|own| own.weighed.as_ref()).map(|own| signed(own.si()));
    let pieces = found
        .and_then(|own| own.pieces)
        .map_or(String::new(), |n| format!(" ({})", count(n as usize, "piece")));
    grid.row(vec![tables::text(format!("Mass by the scale{pieces}, kg")), words(mass), words(weighed)]);
    grid.row(vec![
        tables::text("Specimens"),
        words(predicted.map(|own| own.specimens.to_string())),
        words(found.and_then(|own| own.specimens).map(|own| own.to_string())),
    ]);
    let so_far = if found.and_then(|own| own.finished) == Some(false) { " so far" } else { "" };
    grid.row(vec![
        tables::text("Weeks"),
        words(predicted.map(|own| own.weeks.to_string())),
        words(found.and_then(|own| own.weeks).map(|own| format!("{own}{so_far}"))),
    ]);
    grid.row(vec![
        tables::text("Cost of tests"),
        words(predicted.and_then(|own| own.cost.as_ref()).map(|own| own.text().to_string())),
        words(None),
    ]);
    grid
}

fn panels(predicted: Option<&Predicted>) -> Grid {
    let mut grid = Grid::new("How the mass of panels was to move", vec![("Panel", false), ("kg", true)]);
    for (panel, mass) in predicted.iter().flat_map(|own| &own.panels) {
        grid.row(vec![tables::record("panel", panel), tables::number(signed(mass.si()))]);
    }
    grid.at_most(ROWS, "they stand in the record")
}

/// Duties that were to be left open, with what became of them.
fn duties(predicted: Option<&Predicted>, found: Option<&FoundFigures>) -> Grid {
    let mut grid = Grid::new(
        "Duties that it was predicted to leave open, and what became of them",
        vec![("Duty", false), ("Was to ask", false), ("Became", false), ("Earned again", true)],
    );
    let mut seen: Vec<(&str, &str)> = Vec::new();
    let became = |showing: &str, subject: &str| {
        found
            .iter()
            .flat_map(|own| &own.duties)
            .find(|own| own.showing.as_str() == showing && own.subject.as_str() == subject)
    };
    let cells = |showing: &str, subject: &str, asks: &str| {
        let own = became(showing, subject);
        let verdict = own.map_or_else(
            || tables::text("not looked at yet"),
            |own| match crate::qualify::verdict::Verdict::by_word(own.verdict.as_str()) {
                Some(verdict) => tables::verdict(verdict.word()),
                None => tables::short(Some(own.verdict.as_str())),
            },
        );
        let earned = own.and_then(|own| own.earned).map_or_else(String::new, |day| day.to_string());
        vec![tables::duty(showing, subject), tables::short(Some(asks)), verdict, tables::number(earned)]
    };
    for own in predicted.iter().flat_map(|own| &own.lapsed) {
        seen.push((own.showing.as_str(), own.subject.as_str()));
        grid.row(cells(own.showing.as_str(), own.subject.as_str(), own.asks.as_str()));
    }
    for own in found.iter().flat_map(|own| &own.duties) {
        if !seen.contains(&(own.showing.as_str(), own.subject.as_str())) {
            grid.row(cells(own.showing.as_str(), own.subject.as_str(), "not predicted"));
        }
    }
    grid.at_most(ROWS, "they stand in the record")
}
