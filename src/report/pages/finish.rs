//! The sheet of a finish: its coats to scale, what limits the film, how hot it gets, where it is.

use super::Site;
use super::coats::coats;
use super::lists::hottest;
use super::panel::heat_grid;
use super::records::{Made, common, used_and_using};
use super::tables::{self, Facts, Grid, Page};
use crate::article::{Subject, film_build};
use crate::ledger::Entry;
use crate::qualify::judge::step_words;
use crate::qualify::margins::HeatReport;
use crate::qualify::table::Table;
use crate::record::{Address, Finish, RecordKind};
use crate::report::mass::decimals;
use crate::report::page::count;
use serde_json::json;
use std::collections::BTreeSet;

/// Rows of a table.
const ROWS: usize = 150;
/// Panels whose heat is listed.
const PANELS: usize = 60;

/// Template, title and context.
pub(super) fn context(site: &Site<'_>, entry: &Entry<Finish>) -> Made {
    let (known, ledger, own) = (&site.known, site.inputs.ledger, &*entry.value);
    let mut page = Page::default();
    page.put("called", json!(own.title));
    let (total, most) = film_build(own);
    let panels = known.panels_with_finish(&entry.id);
    let hot = hottest(known, ledger, &entry.id).map_or(String::new(), |(panel, kelvin)| {
        format!(" The hottest skin under it is {} °C on the ramp, on {panel}.", decimals(kelvin - 273.15, 1))
    });
    let on = match panels.len() {
        0 => "on no panel".to_string(),
        n => format!("on {}", count(n, "panel")),
    };
    page.put(
        "opening",
        json!(format!(
            "{}, {} µm of film as it is painted and at most {} µm, {on}.{hot}",
            count(own.coats.len(), "coat"),
            total.six_digits(),
            most.six_digits(),
        )),
    );
    page.put("facts_of", facts(own));
    common(&mut page, &entry.file, &own.notes);
    page.put("coats", coats(own));
    page.put("panels", json!(panels));
    page.put("heat", heat(site, &entry.id));
    let duties: Vec<_> = site
        .inputs
        .evaluation
        .uses
        .keys()
        .filter(|subject| matches!(subject, Subject::Painted(_, Some(own)) if *own == entry.id))
        .flat_map(|subject| known.duties_of_subject(subject))
        .collect();
    let mut grid = Grid::new(
        "Duties of laminates under it",
        vec![("Duty", false), ("Verdict", false), ("Asks", false), ("Needed by", false)],
    );
    for duty in &duties {
        grid.row(vec![
            tables::duty(&duty.showing, &duty.subject.to_string()),
            tables::verdict(duty.verdict().word()),
            tables::text(duty.asks().word()),
            tables::short(duty.needed_by.as_deref()),
        ]);
    }
    page.put("duties", grid.at_most(ROWS, "the matrix has them"));
    let showings: BTreeSet<&str> = duties.iter().map(|duty| duty.showing.as_str()).collect();
    page.put("limits", limits(site, &showings));
    used_and_using(&mut page, site, &Address::new(RecordKind::Finish, &entry.id));
    ("finish.html", format!("finish/{}", entry.id), page)
}

fn facts(own: &Finish) -> Facts {
    let mut facts = Facts::default();
    let colour = own.colour.as_ref();
    facts.written("Colour", colour.and_then(|own| own.name.as_ref()).map(|own| own.as_str()));
    facts.written(
        "Solar absorptance",
        colour.and_then(|own| own.solar_absorptance.as_ref()).map(|own| own.text()),
    );
    facts.written("Emittance", colour.and_then(|own| own.emittance.as_ref()).map(|own| own.text()));
    if let Some(process) = &own.process {
        facts.add("Process", tables::record("process", process.id()));
    }
    facts.written("Repaint", own.repaint.as_ref().map(|own| own.text()));
    facts.written("Owner", own.owner.as_ref());
    facts.written("Specification", own.spec.as_ref());
    facts.written("Source", own.source.as_ref());
    facts
}

/// Heat of the zones under it, with the panel before the zone.
fn heat(site: &Site<'_>, finish: &str) -> Grid {
    let mut all: Vec<HeatReport> = Vec::new();
    for panel in site.known.panels_with_finish(finish).iter().take(PANELS) {
        let (Ok(heat), Some(entry)) = (site.known.heat(panel), site.inputs.ledger.panels.get(*panel)) else {
            continue;
        };
        for own in &heat.0 {
            let zone = entry.value.zones.iter().find(|zone| zone.name.as_str() == own.zone);
            if zone.and_then(|zone| zone.finish.as_ref()).is_some_and(|of| of.id() == finish) {
                // What governs: the panel's own sheet has the rest.
                let least = own.limits.iter().min_by(|one, two| one.1.total_cmp(&two.1)).cloned();
                let limits = least.into_iter().collect();
                all.push(HeatReport { zone: format!("{panel}, {}", own.zone), limits, ..own.clone() });
            }
        }
    }
    heat_grid(&all)
}

/// What the showings asked of it say of film, mesh and colour: their own steps, else those of the table.
fn limits(site: &Site<'_>, showings: &BTreeSet<&str>) -> Grid {
    let mut grid = Grid::new(
        "What a change of film or colour asks",
        vec![("Showing", false), ("Attribute", false), ("Steps", false), ("Source", false)],
    );
    let looks =
        |key: &str| ["film", "colour", "finish", "coats"].contains(&key.split('.').next().unwrap_or(key));
    for id in showings {
        let Some(showing) = site.inputs.ledger.showings.get(*id) else { continue };
        for (key, steps) in showing.value.sensitivity.iter().filter(|(key, _)| looks(key)) {
            let words: Vec<String> = steps.iter().map(step_words).collect();
            grid.row(vec![
                tables::record("showing", id),
                tables::text(key),
                tables::short(Some(&words.join("; "))),
                tables::text("the showing's own steps"),
            ]);
        }
        let Some(row) = Table::row(showing.value.kind.as_str()) else { continue };
        for (key, cell) in row.cells.iter().filter(|(key, _)| looks(key)) {
            if showing.value.sensitivity.contains_key(key) {
                continue;
            }
            let words: Vec<String> = cell.steps.iter().map(step_words).collect();
            grid.row(vec![
                tables::record("showing", id),
                tables::text(key),
                tables::short(Some(&words.join("; "))),
                tables::text(&cell.source),
            ]);
        }
    }
    grid.at_most(ROWS, "`bondline why --table` has them")
}
