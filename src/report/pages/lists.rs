//! All records of a kind in one table: what one asks of that kind.

use super::Site;
use super::known::{Known, Role, counted};
use super::margins::words as margin_words;
use super::records::{Made, ids};
use super::tables::{self, Cell, Grid, Page, Row};
use crate::article::film_build;
use crate::article::stack::{Stack, stack};
use crate::ledger::Ledger;
use crate::qualify::margins::code_of;
use crate::qualify::verdict::Verdict;
use crate::record::{ComputedCheck, Decision, RecordKind};
use crate::report::decision::signed;
use crate::report::mass::decimals;
use crate::report::page::count;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// Rows of a page: more would make it heavy.
const ROWS: usize = 250;
/// Room for an orientation code or a name in a row, px as drawings count it.
const CODE: f64 = 500.0;
/// Words that a filter offers.
const OFFERED: usize = 80;

/// Returns how many pages a list of so many records has.
pub(super) fn pages(records: usize) -> usize {
    records.div_ceil(ROWS).max(1)
}

/// Returns the path of a page of a list.
pub(super) fn file(kind: RecordKind, page: usize) -> String {
    match page {
        0 => format!("{}.html", kind.folder()),
        n => format!("{}-{}.html", kind.folder(), n + 1),
    }
}

/// The list of a kind: template, title and context.
pub(super) fn context(site: &Site<'_>, kind: RecordKind, page: usize) -> Made {
    let ledger = site.inputs.ledger;
    let all = ids(ledger, kind);
    let mut title = kind.folder().to_string();
    if let Some(first) = title.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    let of = Of { ledger, known: &site.known };
    let mut grid = Grid::new(title.clone(), columns(kind));
    for id in all.iter().skip(page * ROWS).take(ROWS) {
        grid.rows.extend(of.row(kind, id));
    }
    let filters: Vec<Value> = filters(kind)
        .iter()
        .map(|(name, label)| json!({ "name": name, "label": label, "words": offered(name, &grid) }))
        .filter(|one| one["words"].as_array().is_some_and(|own| own.len() > 1))
        .collect();
    let pages: Vec<Value> = (0..pages(all.len()))
        .map(|at| json!({ "file": file(kind, at), "number": at + 1, "here": at == page }))
        .collect();
    let mut own = Page::default();
    own.put("opening", json!(of.opening(kind, all.len())));
    own.put("sieves", json!(filters));
    own.put("table", grid);
    own.put("pages", json!(pages));
    ("list.html", title, own)
}

/// Words that a filter offers: what stands in the rows.
fn offered(name: &str, grid: &Grid) -> Vec<String> {
    let own = grid.rows.iter().flat_map(|row| &row.data).filter(|(of, _)| *of == name);
    if name == "verdicts" {
        let all: BTreeSet<&str> = own.flat_map(|(_, words)| words.split(' ')).collect();
        let known = Verdict::ALL.map(Verdict::word).into_iter();
        return known.filter(|word| all.contains(word)).map(str::to_string).collect();
    }
    let all: BTreeSet<&str> = own.map(|(_, words)| words.as_str()).filter(|word| !word.is_empty()).collect();
    all.into_iter().take(OFFERED).map(str::to_string).collect()
}

fn filters(kind: RecordKind) -> &'static [(&'static str, &'static str)] {
    match kind {
        RecordKind::Panel => &[("group", "Group"), ("release", "Released"), ("verdicts", "Verdict")],
        RecordKind::Recipe => &[("status", "Status")],
        RecordKind::Showing => &[("kind", "Kind"), ("needed", "Needed by"), ("verdicts", "Verdict")],
        RecordKind::Evidence => &[("kind", "Kind"), ("state", "State"), ("counts", "Counts")],
        RecordKind::Decision => &[("status", "Status")],
        RecordKind::Tool => &[("kind", "Kind")],
        _ => &[],
    }
}

fn columns(kind: RecordKind) -> Vec<(&'static str, bool)> {
    match kind {
        RecordKind::Panel => vec![
            ("Panel", false),
            ("Title", false),
            ("Group", false),
            ("One weighs, kg", true),
            ("Released for", false),
            ("Duties not met", false),
            ("Least margin", true),
            ("by", false),
        ],
        RecordKind::Recipe => vec![
            ("Recipe", false),
            ("Orientation code", false),
            ("Status", false),
            ("Layers", true),
            ("Thickness, mm", true),
            ("Areal mass, g/m²", true),
            ("Panels", false),
        ],
        RecordKind::Finish => vec![
            ("Finish", false),
            ("Title", false),
            ("Colour", false),
            ("Film, µm", true),
            ("Most film, µm", true),
            ("Absorptance", true),
            ("Hottest skin, °C", true),
            ("Panels", false),
        ],
        RecordKind::Showing => vec![
            ("Showing", false),
            ("Title", false),
            ("Kind", false),
            ("Clause", false),
            ("Needed by", false),
            ("Duties by verdict", false),
        ],
        RecordKind::Evidence => vec![
            ("Evidence", false),
            ("Showing", false),
            ("Subject", false),
            ("Kind", false),
            ("State", false),
            ("Report", false),
            ("Counts for", false),
        ],
        RecordKind::Decision => vec![
            ("Decision", false),
            ("Title", false),
            ("Status", false),
            ("Raised", false),
            ("Predicted, kg", true),
            ("Found, kg", true),
            ("Found by", false),
        ],
        _ => vec![
            ("Tool", false),
            ("Title", false),
            ("Kind", false),
            ("Body", false),
            ("From", false),
            ("Pulls made", true),
            ("Expected", true),
            ("Panels", false),
        ],
    }
}

/// What the rows are made from.
struct Of<'s> {
    ledger: &'s Ledger,
    known: &'s Known<'s>,
}

impl Of<'_> {
    fn row(&self, kind: RecordKind, id: &str) -> Option<Row> {
        match kind {
            RecordKind::Panel => self.panel(id),
            RecordKind::Recipe => self.recipe(id),
            RecordKind::Finish => self.finish(id),
            RecordKind::Showing => self.showing(id),
            RecordKind::Evidence => self.evidence(id),
            RecordKind::Decision => self.decision(id),
            RecordKind::Tool => self.tool(id),
            _ => None,
        }
    }

    /// The paragraph that a list begins with.
    fn opening(&self, kind: RecordKind, n: usize) -> String {
        let counted_words = count(n, kind.word());
        let ledger = self.ledger;
        match kind {
            RecordKind::Panel => {
                let released = ledger.panels.values().filter(|own| own.value.released).count();
                let open = ledger.panels.keys().filter(|id| {
                    self.known.duties_of_panel(id).iter().any(|(_, own)| !own.verdict.is_closed())
                });
                format!(
                    "{counted_words}: {released} released, {} with duties that are not met.",
                    open.count()
                )
            }
            RecordKind::Recipe => {
                let unused =
                    ledger.recipes.keys().filter(|id| self.known.panels_with_recipe(id).is_empty()).count();
                format!("{counted_words}: {unused} on no panel.")
            }
            RecordKind::Finish => {
                let unused =
                    ledger.finishes.keys().filter(|id| self.known.panels_with_finish(id).is_empty()).count();
                format!("{counted_words}: {unused} on no panel.")
            }
            RecordKind::Showing => {
                let open = ledger.showings.keys().filter(|id| {
                    self.known.duties_of_showing(id).iter().any(|own| !own.verdict().is_closed())
                });
                format!("{counted_words}: {} with duties that are not met.", open.count())
            }
            RecordKind::Evidence => {
                let idle = ledger.evidence.keys().filter(|id| self.known.parts(id).is_empty()).count();
                format!("Evidence: {}, {idle} of them in no duty's verdict.", count(n, "record"))
            }
            RecordKind::Decision => {
                let is_held = |own: &Decision| own.found.is_some() && own.predicted.is_some();
                let found = ledger.decisions.values().filter(|own| is_held(&own.value)).count();
                format!("{counted_words}: {found} held to what they predicted.")
            }
            _ => format!("{counted_words}."),
        }
    }

    fn panel(&self, id: &str) -> Option<Row> {
        let own = &*self.ledger.panels.get(id)?.value;
        let duties = self.known.duties_of_panel(id);
        let counts = counted(duties.iter().map(|(_, judged)| judged.verdict));
        let open: Vec<(&'static str, usize)> = counts
            .iter()
            .copied()
            .filter(|(word, _)| Verdict::by_word(word).is_some_and(|one| !one.is_closed()))
            .collect();
        let margins = self.known.margins(id).ok();
        let least = margins.as_ref().and_then(|own| own.governing(ComputedCheck::Margins));
        let release = match (own.released, &own.released_for) {
            (true, Some(milestone)) => milestone.to_string(),
            (true, None) => "everything".to_string(),
            (false, _) => "not released".to_string(),
        };
        let group = own.group.as_ref().map_or("", |group| group.as_str());
        Some(Row {
            cells: vec![
                tables::record("panel", id),
                tables::short(own.title.as_deref()),
                tables::short(Some(group)),
                tables::number(self.known.mass(id).map_or_else(String::new, |own| decimals(own.one_kg(), 3))),
                tables::short(Some(&release)),
                open_cell(&open, duties.is_empty()),
                tables::number(least.map_or_else(String::new, |own| margin_words(own.margin))),
                tables::text(least.map_or_else(String::new, |own| super::svg::cut(&own.mode, CODE))),
            ],
            id: None,
            data: vec![
                ("group", group.to_string()),
                ("release", release),
                ("verdicts", counts.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(" ")),
            ],
        })
    }

    fn recipe(&self, id: &str) -> Option<Row> {
        let own = &*self.ledger.recipes.get(id)?.value;
        let laid: Option<Stack> = stack(self.ledger, id).ok();
        let of = |words: &dyn Fn(&Stack) -> String| laid.as_ref().map_or_else(String::new, words);
        let status = own.status.map_or("trial", |status| status.word());
        Some(Row {
            cells: vec![
                tables::record("recipe", id),
                tables::text(super::svg::cut(&of(&|own| code_of(&own.layers)), CODE)),
                tables::text(status),
                tables::number(of(&|own| own.layers.len().to_string())),
                tables::number(of(&|own| decimals(own.thickness() * 1e3, 2))),
                tables::number(of(&|own| decimals(own.areal() * 1e3, 0))),
                tables::records("panel", self.known.panels_with_recipe(id), 5),
            ],
            id: None,
            data: vec![("status", status.to_string())],
        })
    }

    fn finish(&self, id: &str) -> Option<Row> {
        let own = &*self.ledger.finishes.get(id)?.value;
        let (total, most) = film_build(own);
        let colour = own.colour.as_ref();
        let absorptance = colour.and_then(|own| own.solar_absorptance.as_ref());
        let hottest = hottest(self.known, self.ledger, id);
        Some(Row::from(vec![
            tables::record("finish", id),
            tables::short(own.title.as_deref()),
            tables::short(colour.and_then(|own| own.name.as_ref()).map(|own| own.as_str())),
            tables::number(total.six_digits()),
            tables::number(most.six_digits()),
            tables::number(absorptance.map_or("not stated", |own| own.text())),
            tables::number(hottest.map_or_else(String::new, |(_, kelvin)| decimals(kelvin - 273.15, 1))),
            tables::records("panel", self.known.panels_with_finish(id), 5),
        ]))
    }

    fn showing(&self, id: &str) -> Option<Row> {
        let own = &*self.ledger.showings.get(id)?.value;
        let counts = counted(self.known.duties_of_showing(id).iter().map(|duty| duty.verdict()));
        let clauses: Vec<&str> = own.clause.iter().map(|clause| clause.as_str()).collect();
        let needed = own.needed_by.as_ref().map_or("", |own| own.as_str());
        Some(Row {
            cells: vec![
                tables::record("showing", id),
                tables::short(own.title.as_deref()),
                tables::short(Some(own.kind.as_str())),
                tables::short(Some(&clauses.join(", "))),
                tables::short(Some(needed)),
                match counts.is_empty() {
                    true => tables::text("asked of nothing in use"),
                    false => tables::verdicts(&counts),
                },
            ],
            id: None,
            data: vec![
                ("kind", own.kind.to_string()),
                ("needed", needed.to_string()),
                ("verdicts", counts.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(" ")),
            ],
        })
    }

    fn evidence(&self, id: &str) -> Option<Row> {
        let own = &*self.ledger.evidence.get(id)?.value;
        let parts = self.known.parts(id);
        let of = |role: Role| parts.iter().filter(|part| part.role == role).count();
        let (counts, nearest, waited) = (of(Role::Counts), of(Role::Nearest), of(Role::UnderWay));
        let subject = crate::article::Subject::from_label(&own.subject);
        let (words, word) = match (counts, nearest + waited, self.known.superseded.get(id)) {
            (_, _, Some(later)) => (format!("none: {later} stands in its place"), "none"),
            (0, 0, None) => ("none".to_string(), "none"),
            (0, _, None) if nearest > 0 => {
                (format!("none; comes nearest for {}", count(nearest, "duty")), "nearest")
            }
            (0, n, None) => (format!("under way for {}", count(n, "duty")), "under way"),
            (n, _, None) => (count(n, "duty"), "some"),
        };
        Some(Row {
            cells: vec![
                tables::record("evidence", id),
                tables::record("showing", own.showing.id()),
                subject.map_or_else(|| tables::text(""), |own| tables::subject(&own.to_string())),
                tables::text(own.kind.word()),
                tables::text(own.state.word()),
                tables::short(own.report.as_ref().map(|own| own.as_str())),
                tables::text(words),
            ],
            id: None,
            data: vec![
                ("kind", own.kind.word().to_string()),
                ("state", own.state.word().to_string()),
                ("counts", word.to_string()),
            ],
        })
    }

    fn decision(&self, id: &str) -> Option<Row> {
        let own = &*self.ledger.decisions.get(id)?.value;
        let found = own.found.as_ref().map(|found| &found.0);
        let kg = found.and_then(|own| own.weighed.as_ref().or(own.calculated.as_ref()));
        let by = found.map_or("", |own| match (&own.weighed, &own.calculated) {
            (Some(_), _) => "the scale",
            (None, Some(_)) => "calculation",
            (None, None) => "words alone",
        });
        Some(Row {
            cells: vec![
                tables::record("decision", id),
                tables::short(own.title.as_deref()),
                tables::text(own.status.word()),
                tables::number(own.raised.map_or_else(String::new, |day| day.to_string())),
                tables::number(own.predicted.as_ref().map_or_else(String::new, |own| signed(own.mass.si()))),
                tables::number(kg.map_or_else(String::new, |own| signed(own.si()))),
                tables::text(by),
            ],
            id: None,
            data: vec![("status", own.status.word().to_string())],
        })
    }

    fn tool(&self, id: &str) -> Option<Row> {
        let own = &*self.ledger.tools.get(id)?.value;
        let pulls = |of: &dyn Fn(&crate::record::Pulls) -> Option<u32>| {
            own.pulls.as_ref().and_then(of).map_or_else(String::new, |n| n.to_string())
        };
        Some(Row {
            cells: vec![
                tables::record("tool", id),
                tables::short(own.title.as_deref()),
                tables::text(own.kind.word()),
                tables::short(own.body.as_ref().map(|own| own.as_str())),
                own.from.as_ref().map_or_else(|| tables::text(""), |own| tables::record("tool", own.id())),
                tables::number(pulls(&|own| own.made)),
                tables::number(pulls(&|own| own.expected)),
                tables::records("panel", self.known.panels_of_tool(id), 5),
            ],
            id: None,
            data: vec![("kind", own.kind.word().to_string())],
        })
    }
}

/// Verdicts that are not closed, in words where there is none.
fn open_cell(open: &[(&'static str, usize)], no_duty: bool) -> Cell {
    match (open.is_empty(), no_duty) {
        (true, true) => tables::text("no duty"),
        (true, false) => tables::text("none"),
        (false, _) => tables::verdicts(open),
    }
}

/// The hottest skin of a finish on the ramp, K, with its panel.
pub(super) fn hottest<'k>(known: &Known<'k>, ledger: &Ledger, finish: &str) -> Option<(&'k str, f64)> {
    let mut found: Option<(&str, f64)> = None;
    for panel in known.panels_with_finish(finish) {
        let (Ok(heat), Some(entry)) = (known.heat(panel), ledger.panels.get(*panel)) else { continue };
        for own in &heat.0 {
            let zone = entry.value.zones.iter().find(|zone| zone.name.as_str() == own.zone);
            let is = zone.and_then(|zone| zone.finish.as_ref()).is_some_and(|of| of.id() == finish);
            if is && found.is_none_or(|(_, most)| own.ramp > most) {
                found = Some((panel, own.ramp));
            }
        }
    }
    found
}
