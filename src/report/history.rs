//! Mass and verdicts through the commits; what became of predictions.

use super::decision::{calibration_json, calibration_text, held_json, signed};
use super::page::{Frame, Page, count, shown};
use super::table::{Align, Table, shorten, wrap};
use crate::change::diff::Change;
use crate::change::explain::record_of;
use crate::change::found::{Calibration, Held};
use crate::change::progress::{Of, Progress};
use crate::qualify::gaps::Ready;
use crate::record::Day;
use serde_json::{Value, json};

/// The state after one commit.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The commit.
    pub commit: String,
    /// Its day.
    pub on: Day,
    /// The first line of its message.
    pub summary: String,
    /// The mass, kg; `None` where there is none, or it could not be worked out.
    pub kg: Option<f64>,
    /// The same less that before, kg.
    pub delta_kg: Option<f64>,
    /// How its duties stand; `None` where they could not be judged.
    pub progress: Option<Progress>,
    /// Decisions that it carries out.
    pub decisions: Vec<String>,
    /// Whether it changes the design in records that none of them changes.
    pub others: bool,
    /// Records that can't be used.
    pub broken: usize,
}

/// A commit as it is named above what it did.
#[derive(Debug, Clone, PartialEq)]
pub struct Made {
    /// The commit.
    pub commit: String,
    /// Its day.
    pub on: Day,
    /// The first line of its message.
    pub summary: String,
    /// Decisions that it carries out.
    pub decisions: Vec<String>,
    /// Whether it changes the design in records that none of them changes.
    pub others: bool,
}

/// What a commit is called with the decisions that it carries out; where they are not all that it does, that is said.
fn called(decisions: &[String], others: bool, summary: &str) -> String {
    let beside = if others { " and more" } else { "" };
    match decisions {
        [] => shown(summary),
        all => format!("[{}{beside}] {}", all.join(", "), shown(summary)),
    }
}

impl Made {
    /// Puts the line that stands above what it did.
    pub(super) fn head(&self, page: &mut Page<'_>) {
        let commit: String = self.commit.chars().take(7).collect();
        page.gap();
        let first = format!("{}  {commit}  ", self.on);
        page.hang(&first, "    ", &called(&self.decisions, self.others, &self.summary));
    }

    /// Returns its keys with further ones behind them.
    pub fn json(&self, more: impl IntoIterator<Item = (&'static str, Value)>) -> Value {
        let own = [
            ("commit", json!(self.commit)),
            ("on", json!(self.on.to_string())),
            ("summary", json!(self.summary)),
            ("decisions", json!(self.decisions)),
            ("others", json!(self.others)),
        ];
        own.into_iter().chain(more).map(|(key, value)| (key.to_string(), value)).collect()
    }
}

/// Returns the changes of a commit for programs.
pub fn changes_json(changes: &[Change]) -> Value {
    let one = |change: &Change| {
        json!({
            "address": change.address,
            "attribute": change.attribute,
            "was": change.was,
            "is": change.is,
        })
    };
    changes.iter().map(one).collect()
}

/// One commit that changed a record, or moved what it comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Edited {
    /// The commit.
    pub made: Made,
    /// Whether the record itself differs.
    pub is_edited: bool,
    /// What the commit did by a decision: carried it out, or took it back.
    pub did: Option<&'static str>,
    /// What the record was called before, where that is something else.
    pub was_called: Option<String>,
    /// What it is called since, where the commit gave it another name.
    pub called_since: Option<String>,
    /// Records that can't be read after the commit.
    pub unread: Vec<String>,
    /// Whether there were such before it.
    pub was_unread: bool,
    /// How it stood before; `None` where that was not looked at, or there was nothing before.
    pub was: Option<Step>,
    /// How it stands after; `None` where that was not looked at.
    pub is: Option<Step>,
    /// What the commit changed in it, or in what it is connected with where it is not edited.
    pub changes: Vec<Change>,
}

/// The history of one record.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorded {
    /// The record.
    pub of: Of,
    /// Its commits, the newest first.
    pub rows: Vec<Edited>,
    /// How many more there are.
    pub left: usize,
    /// Among how many commits those were looked for that move it without editing it; `None` for all.
    pub looked: Option<usize>,
    /// How a decision came out.
    pub outcome: Option<Held>,
}

const NOTE: &str = "Every state is judged on one day, today or that of `--as-of`; the verdicts of a day long past may have been others then.";

/// Of a list so many are named.
const NAMED: usize = 3;

/// The first of a list, and how many more there are.
fn some(all: &[String]) -> String {
    let names: Vec<String> = all.iter().take(NAMED).map(|name| shown(name)).collect();
    match all.len().saturating_sub(NAMED) {
        0 => names.join(", "),
        more => format!("{} and {more} more", names.join(", ")),
    }
}

/// Of a connected record so many changes are written out.
const FEW: usize = 3;

/// A value is written out so far, in columns.
const LONG: usize = 240;

/// Below this a commit did not move a mass, kg.
const MOVED: f64 = 0.0005;

/// Returns whether a commit moved mass or verdicts, from how things stood before it and after.
pub fn moves(was: &Step, is: &Step) -> bool {
    let weighs = match (was.kg, is.kg) {
        (Some(was), Some(is)) => (is - was).abs() >= MOVED,
        (was, is) => was.is_some() != is.is_some(),
    };
    let judged = match (&was.progress, &is.progress) {
        (Some(was), Some(is)) => {
            // A milestone that comes or goes is the ledger's own.
            let turned =
                |own: &Ready| was.ready.iter().any(|old| old.milestone == own.milestone && old != own);
            was.counts != is.counts || is.ready.iter().any(turned)
        }
        (was, is) => was.is_some() != is.is_some(),
    };
    weighs || judged
}

fn ready_json(progress: Option<&Progress>) -> Value {
    json!(progress.map(|own| &own.ready))
}

/// Returns the history as a document of schema `history/1`, the newest commit first.
pub fn json(of: &Of, steps: &[Step], left: usize, calibration: &Calibration) -> Value {
    let steps: Vec<Value> = steps
        .iter()
        .map(|step| {
            let progress = step.progress.as_ref();
            json!({
                "commit": step.commit,
                "on": step.on.to_string(),
                "summary": step.summary,
                "kg": step.kg,
                "delta_kg": step.delta_kg,
                "counts": progress.map(|own| &own.counts),
                "ready": ready_json(progress),
                "decisions": step.decisions,
                "others": step.others,
                "broken": step.broken,
            })
        })
        .collect();
    json!({
        "schema": "history/1",
        "of": (*of != Of::Programme).then(|| of.label()),
        "commits": steps,
        "left_out": left,
        "predictions": calibration_json(calibration),
    })
}

/// Duties met, and those that are not, conceded ones too.
fn met(progress: &Progress) -> (usize, usize) {
    let met = progress.counts.get("met").copied().unwrap_or(0);
    (met, progress.counts.values().sum::<usize>() - met)
}

/// How far it is ready for a milestone: so many of so many.
fn ready(progress: Option<&Progress>, due: &str) -> Option<String> {
    let own = progress?.ready.iter().find(|own| own.milestone == due)?;
    Some(format!("{}/{}", own.closed, own.duties))
}

fn ready_words(due: &str) -> String {
    format!("Ready: duties met or conceded of those that {}, the next milestone, needs.", shown(due))
}

/// Returns the history of the programme or of a group for people; `due` is the milestone that comes next, `before` the step
/// before those shown, where it is known.
pub fn text(
    (of, due): (&Of, Option<&str>),
    (steps, before): (&[Step], Option<&Step>),
    left: usize,
    calibration: &Calibration,
    frame: &Frame,
) -> String {
    let mut titles = vec![
        ("Day", Align::Left),
        ("Commit", Align::Left),
        ("kg", Align::Right),
        ("by", Align::Right),
        ("Met", Align::Right),
        ("Not met", Align::Right),
    ];
    titles.extend(due.map(|_| ("Ready", Align::Right)));
    titles.push(("What", Align::Left));
    let mut table = Table::new(titles);
    // Of the programme each commit is told: it is the history of the ledger.
    let is_whole = *of == Of::Programme;
    let has_moved = |at: usize| match (steps.get(at), steps.get(at + 1).or(before)) {
        (Some(is), Some(was)) => moves(was, is),
        (Some(is), None) => is.progress.is_some() || is.kg.is_some(),
        (None, _) => false,
    };
    let told = || steps.iter().enumerate().filter(|(at, _)| is_whole || has_moved(*at)).map(|(_, step)| step);
    for step in told() {
        let progress = step.progress.as_ref();
        let number = |n: Option<usize>| n.map_or_else(|| "-".to_string(), |n| n.to_string());
        let what = called(&step.decisions, step.others, &step.summary);
        let what = match step.broken {
            0 => what,
            n => format!("({} can't be read) {what}", count(n, "record")),
        };
        let mut cells = vec![
            step.on.to_string(),
            step.commit.chars().take(7).collect(),
            step.kg.map_or_else(|| "-".to_string(), |kg| format!("{kg:.3}")),
            match step.delta_kg {
                Some(delta) if delta.abs() >= MOVED => signed(delta),
                Some(_) => String::new(),
                None => "-".to_string(),
            },
            number(progress.map(|own| met(own).0)),
            number(progress.map(|own| met(own).1)),
        ];
        cells.extend(due.map(|due| ready(progress, due).unwrap_or_else(|| "-".to_string())));
        cells.push(what);
        table.row(cells);
    }
    let mut text = String::new();
    if let Of::Group(name) = of {
        text.push_str(&format!("{}\n", frame.style.heading(&format!("group/{}", shown(name)))));
        let own = "Its panels and parts, as many as one aircraft has; a duty has the gravest verdict of its panels.";
        text.push_str(&wrap(own, frame.columns()));
        text.push('\n');
    }
    text.push_str(&table.render(frame.columns()));
    let still = steps.len() - told().count();
    if still > 0 {
        let of_all = count(steps.len(), "commit");
        text.push_str(&wrap(&format!("{still} of {of_all} moved nothing in it."), frame.columns()));
    }
    if left > 0 {
        text.push_str(&format!("and {} before; --all shows them\n", count(left, "commit")));
    }
    if let Some(due) = due {
        text.push_str(&wrap(&ready_words(due), frame.columns()));
    }
    text.push_str(&wrap(NOTE, frame.columns()));
    if is_whole {
        text.push_str(&format!("\n{}\n", frame.style.heading("Predictions")));
        text.push_str(&calibration_text(calibration, frame));
    }
    text
}

/// Was and is of a figure; the latter alone where nothing moved.
fn turned(was: Option<String>, is: String) -> String {
    match was.filter(|was| *was != is) {
        Some(was) => format!("{was} -> {is}"),
        None => is,
    }
}

impl Edited {
    /// What the record comes to after the commit, and before.
    fn figures(&self, due: Option<&str>) -> Option<String> {
        let (is, was) = (self.is.as_ref()?, self.was.as_ref());
        let kg = |step: &Step| step.kg.map(|kg| format!("{kg:.3}"));
        let mut all: Vec<String> = Vec::new();
        all.extend(kg(is).map(|own| format!("{} kg", turned(was.and_then(kg), own))));
        if let Some(own) = &is.progress {
            let was = was.and_then(|was| was.progress.as_ref());
            let (own_met, own_not) = met(own);
            all.push(format!("met {}", turned(was.map(|was| met(was).0.to_string()), own_met.to_string())));
            all.push(format!(
                "not met {}",
                turned(was.map(|was| met(was).1.to_string()), own_not.to_string())
            ));
            if let Some(due) = due
                && let Some(is) = ready(Some(own), due)
            {
                all.push(format!("ready {}", turned(ready(was, due), is)));
            }
        }
        (!all.is_empty()).then(|| all.join("; "))
    }
}

impl Edited {
    /// What the commit changed, line by line.
    fn lines(&self, frame: &Frame) -> Vec<String> {
        let mut lines = Vec::new();
        let mut changes = self.changes.as_slice();
        while let Some(first) = changes.first() {
            let record = record_of(&first.address);
            let own = changes.iter().take_while(|one| record_of(&one.address) == record).count();
            let (these, rest) = changes.split_at(own);
            changes = rest;
            // What a record that is only connected holds is its own history.
            if !self.is_edited && own > FEW && !frame.all {
                let names: Vec<String> = these.iter().map(|one| shown(&one.attribute)).collect();
                lines.push(format!("{}: {}", shown(record), names.join(", ")));
                continue;
            }
            lines.extend(these.iter().map(|one| self.line(one, frame)));
        }
        lines
    }

    fn line(&self, change: &Change, frame: &Frame) -> String {
        let value = |value: &Option<String>| match value.as_deref().map(shown) {
            Some(text) if frame.all => text,
            Some(text) => shorten(&text, LONG),
            None => "nothing".to_string(),
        };
        let (record, route) = match change.address.split_once('#') {
            Some((record, route)) => (record, Some(route)),
            None => (change.address.as_str(), None),
        };
        let (whose, place) = match self.is_edited {
            true => ("the record", route.unwrap_or("the record")),
            false => (record, change.address.as_str()),
        };
        match (&change.was, &change.is) {
            (None, Some(_)) if change.attribute.is_empty() => format!("{} is new", shown(whose)),
            (Some(_), None) if change.attribute.is_empty() => format!("{} goes", shown(whose)),
            (was, is) => format!("{}: {} -> {}", shown(place), value(was), value(is)),
        }
    }
}

impl Recorded {
    /// Returns it as a document of schema `history-of/1`.
    pub fn json(&self) -> Value {
        let row = |row: &Edited| {
            let (is, was) = (row.is.as_ref(), row.was.as_ref());
            let progress = |step: Option<&'_ Step>| step.and_then(|step| step.progress.clone());
            let (now, before) = (progress(is), progress(was));
            let (kg, was_kg) = (is.and_then(|is| is.kg), was.and_then(|was| was.kg));
            row.made.json([
                ("edited", json!(row.is_edited)),
                ("did", json!(row.did)),
                ("was_called", json!(row.was_called)),
                ("called_since", json!(row.called_since)),
                ("unread", json!(row.unread)),
                ("kg", json!(kg)),
                ("delta_kg", json!(kg.zip(was_kg).map(|(kg, was)| kg - was))),
                ("counts", json!(now.as_ref().map(|own| &own.counts))),
                ("was_counts", json!(before.as_ref().map(|own| &own.counts))),
                ("ready", ready_json(now.as_ref())),
                ("changes", changes_json(&row.changes)),
            ])
        };
        json!({
            "schema": "history-of/1",
            "address": self.of.label(),
            "commits": self.rows.iter().map(row).collect::<Vec<Value>>(),
            "left_out": self.left,
            "outcome": self.outcome.as_ref().map(held_json),
        })
    }

    /// Returns it for people; `due` is the milestone that comes next.
    pub fn text(&self, due: Option<&str>, frame: &Frame) -> String {
        let mut page = Page::new(frame);
        page.heading(&self.of.label());
        for row in &self.rows {
            row.made.head(&mut page);
            if let Some(figures) = row.figures(due) {
                page.hang("  ", "    ", &figures);
            }
            if let Some(did) = row.did {
                page.hang("  ", "    ", did);
            }
            if let Some(old) = &row.was_called {
                page.hang("  ", "    ", &format!("called {} before", shown(old)));
            }
            if let Some(new) = &row.called_since {
                page.hang("  ", "    ", &format!("called {} since", shown(new)));
            }
            if !row.unread.is_empty() {
                page.hang("  ", "    ", &format!("can't be read after it: {}", some(&row.unread)));
            } else if row.was_unread {
                page.hang("  ", "    ", "what could not be read before it can be read again");
            }
            let lines = row.lines(frame);
            let most = frame.shown(lines.len(), 12);
            for line in lines.iter().take(most) {
                page.hang("  ", "    ", line);
            }
            let is_told = row.was_unread || !row.unread.is_empty() || row.did.is_some();
            if row.changes.is_empty() && !is_told {
                let is_renamed = row.was_called.is_some() || row.called_since.is_some();
                let words = match row.is_edited {
                    true if is_renamed => "nothing else that counts",
                    true => "nothing that counts: its text alone",
                    false => "by other records: `bondline impact` from the commit before shows the whole",
                };
                page.hang("  ", "    ", words);
            }
            if lines.len() > most {
                page.hang("  ", "    ", &format!("and {} more; --all shows them", lines.len() - most));
            }
        }
        let mut notes = Vec::new();
        if self.left > 0 {
            notes.push(format!("and {} before; --all shows them", count(self.left, "commit")));
        }
        if self.of.has_figures() {
            let kg = self.of.mass_words().map_or_else(String::new, |mass| format!("kg: {mass}. "));
            notes.push(format!("{kg}Duties: {}.", self.of.duty_words()));
            let is_told = self.rows.iter().any(|row| row.is.is_some());
            notes.extend(due.filter(|_| is_told).map(ready_words));
            notes.extend(self.looked.map(|looked| {
                format!(
                    "Commits that move it without editing it were looked for among the newest {looked}; --all looks through all."
                )
            }));
            notes.push(NOTE.to_string());
        }
        if !notes.is_empty() {
            page.gap();
        }
        notes.iter().for_each(|note| page.paragraph(note));
        page.finish()
    }
}
