//! Tables as pages show them: cells that are words, figures, verdicts, or lead to the page of a record.

use super::file_name;
use super::svg::{Figure, cut};
use crate::article::Subject;
use crate::qualify::verdict::Verdict;
use crate::record::{Address, RecordKind};
use crate::report::page::shape;
use minijinja::value::{Object, ObjectRepr, Serde};
use minijinja::{Error, ErrorKind, HtmlEscape, Value as Shown};
use serde_json::{Map, Value};
use std::collections::{BTreeMap, HashMap, HashSet};
use std::fmt::Write as _;
use std::sync::Arc;

/// Room for what people wrote in a cell of a list, px as drawings count it.
const WORDS: f64 = 900.0;

/// Letters of a word that is not broken.
const LONGEST: usize = 22;

/// Which records have a page, and what it shows.
#[derive(Debug, Default)]
pub(super) struct Links {
    pages: HashMap<RecordKind, HashSet<String>>,
    /// By showing: subjects of duties that its page has no room for.
    beyond: HashMap<String, HashSet<String>>,
}

impl Links {
    /// Notes pages.
    pub fn of(pages: impl IntoIterator<Item = (RecordKind, String)>) -> Self {
        let mut own = Self::default();
        for (kind, id) in pages {
            own.pages.entry(kind).or_default().insert(id);
        }
        own
    }

    /// Notes duties that the page of their showing has no room for: showing and subject.
    pub fn beyond(mut self, duties: impl IntoIterator<Item = (String, String)>) -> Self {
        for (showing, subject) in duties {
            self.beyond.entry(showing).or_default().insert(subject);
        }
        self
    }

    /// Returns the place of a duty on the page of its showing.
    fn place(&self, showing: &str, subject: &str) -> String {
        match self.beyond.get(showing).is_some_and(|own| own.contains(subject)) {
            // Where it would stand is what the page says of all of them.
            true => DUTIES.to_string(),
            false => anchor(subject),
        }
    }

    /// Returns whether a record has a page.
    pub fn has(&self, kind: RecordKind, id: &str) -> bool {
        self.pages.get(&kind).is_some_and(|own| own.contains(id))
    }

    /// Returns whether a record of a kind that is written as a word has a page.
    pub fn has_word(&self, kind: &str, id: &str) -> bool {
        RecordKind::by_word(kind).is_some_and(|kind| self.has(kind, id))
    }

    /// Returns the page that says most about a subject.
    pub fn of_subject(&self, subject: &str) -> Option<Address> {
        let at = super::record_of(&Subject::parse(subject)?)?;
        self.has(at.kind(), at.id()).then_some(at)
    }
}

/// One cell of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Cell {
    /// Words; `whole` where none of them is so long that it has to be broken.
    Text { words: String, whole: bool },
    /// A figure; its column is set to the right.
    Number(String),
    /// A record by its name.
    Record { kind: String, id: String },
    /// Records of one kind, the first of them named.
    Records { kind: String, ids: Vec<String>, most: usize },
    /// A verdict with its shape.
    Verdict(String),
    /// Verdicts with how many duties have each.
    Verdicts(Vec<(&'static str, usize)>),
    /// A subject, leading to the record that it is about.
    Subject(String),
    /// A duty: the showing, on its subject.
    Duty { showing: String, subject: String },
}

/// Words; what somebody wrote may run from right to left.
pub(super) fn text(words: impl AsRef<str> + Into<String>) -> Cell {
    // Only a word that is longer than any of the trade is broken, so that columns stay readable.
    let is_short = |one: &str| one.len() <= LONGEST || one.chars().count() <= LONGEST;
    let own = words.as_ref();
    let whole = own.len() <= LONGEST || own.split_whitespace().all(is_short);
    Cell::Text { words: words.into(), whole }
}

/// Words that are cut where they are long.
pub(super) fn short(words: Option<&str>) -> Cell {
    text(cut(words.unwrap_or_default(), WORDS))
}

/// A figure.
pub(super) fn number(words: impl AsRef<str>) -> Cell {
    Cell::Number(words.as_ref().to_string())
}

/// A record by its name.
pub(super) fn record(kind: &str, id: &str) -> Cell {
    Cell::Record { kind: kind.to_string(), id: id.to_string() }
}

/// Records of one kind.
pub(super) fn records<S: AsRef<str>>(kind: &str, ids: &[S], most: usize) -> Cell {
    let ids = ids.iter().map(|id| id.as_ref().to_string()).collect();
    Cell::Records { kind: kind.to_string(), ids, most }
}

/// A verdict with its shape.
pub(super) fn verdict(word: &str) -> Cell {
    Cell::Verdict(word.to_string())
}

/// Verdicts with how many duties have each.
pub(super) fn verdicts(counts: &[(&'static str, usize)]) -> Cell {
    Cell::Verdicts(counts.to_vec())
}

/// A subject, leading to the record that it is about.
pub(super) fn subject(words: &str) -> Cell {
    Cell::Subject(words.to_string())
}

/// A duty: the showing, on its subject.
pub(super) fn duty(showing: &str, subject: &str) -> Cell {
    Cell::Duty { showing: showing.to_string(), subject: subject.to_string() }
}

/// What a cell is written with: where the pages lie from here, and which there are. Text is escaped here as the
/// templates escape it.
struct Pen<'p> {
    out: String,
    root: &'p str,
    links: &'p Links,
}

impl Pen<'_> {
    fn raw(&mut self, html: &str) {
        self.out.push_str(html);
    }

    fn words(&mut self, words: &str) {
        // A String takes everything.
        let _ = write!(self.out, "{}", HtmlEscape(words));
    }

    /// A link to the page of a record; `at` is a place on it.
    fn link(&mut self, (kind, id): (&str, &str), at: Option<&str>, words: &str) {
        self.raw("<a href=\"");
        self.raw(self.root);
        self.words(kind);
        self.raw("/");
        self.words(&file_name(id));
        self.raw(".html");
        if let Some(at) = at {
            self.raw("#");
            self.words(at);
        }
        self.raw("\">");
        self.words(words);
        self.raw("</a>");
    }

    fn record(&mut self, kind: &str, id: &str) {
        match self.links.has_word(kind, id) {
            true => self.link((kind, id), None, id),
            false => self.words(id),
        }
    }

    fn subject(&mut self, words: &str) {
        match self.links.of_subject(words) {
            Some(at) => self.link((at.kind().word(), at.id()), None, words),
            None => self.words(words),
        }
    }

    fn verdict(&mut self, word: &str) {
        let class = if matches!(word, "met" | "conceded") { "holds" } else { "wants" };
        self.raw("<span class=\"v ");
        self.raw(class);
        self.raw("\"><span class=\"shape\" aria-hidden=\"true\">");
        self.raw(Verdict::by_word(word).map_or("", shape));
        self.raw("</span>");
        self.words(word);
        self.raw("</span>");
    }

    fn cell(&mut self, cell: &Cell) {
        match cell {
            Cell::Text { words, .. } | Cell::Number(words) => self.words(words),
            Cell::Record { kind, id } => self.record(kind, id),
            Cell::Records { kind, ids, most } => {
                for (at, id) in ids.iter().take(*most).enumerate() {
                    if at > 0 {
                        self.raw(", ");
                    }
                    self.record(kind, id);
                }
                if ids.len() > *most {
                    let _ = write!(self.out, " and {} more", ids.len() - most);
                }
            }
            Cell::Verdict(word) => self.verdict(word),
            Cell::Verdicts(all) => {
                for (at, (word, n)) in all.iter().enumerate() {
                    self.raw(if at > 0 { ", <span class=\"v\">" } else { "<span class=\"v\">" });
                    let _ = write!(self.out, "{n} ");
                    self.verdict(word);
                    self.raw("</span>");
                }
            }
            Cell::Subject(words) => self.subject(words),
            Cell::Duty { showing, subject } => {
                match self.links.has(RecordKind::Showing, showing) {
                    true => {
                        self.link(("showing", showing), Some(&self.links.place(showing, subject)), showing)
                    }
                    false => self.words(showing),
                }
                self.raw(" on ");
                self.subject(subject);
            }
        }
    }

    /// A table; `id` is what a sieve finds it by.
    fn grid(&mut self, own: &Grid, id: Option<&str>) {
        self.raw("<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"");
        self.words(&own.name);
        self.raw("\"><table");
        if let Some(id) = id {
            self.raw(" id=\"");
            self.words(id);
            self.raw("\"");
        }
        if own.columns.len() > WIDE {
            self.raw(" class=\"wide\"");
        }
        self.raw(">\n<caption>");
        self.words(&own.name);
        self.raw("</caption>\n<thead><tr>");
        for (name, number) in &own.columns {
            self.raw(if *number { "<th scope=\"col\" class=\"n\">" } else { "<th scope=\"col\">" });
            self.words(name);
            self.raw("</th>");
        }
        self.raw("</tr></thead>\n<tbody>");
        for row in &own.rows {
            self.raw("\n<tr");
            if let Some(id) = &row.id {
                self.raw(" id=\"");
                self.words(id);
                self.raw("\"");
            }
            for (name, words) in &row.data {
                self.raw(" data-");
                self.raw(name);
                self.raw("=\"");
                self.words(words);
                self.raw("\"");
            }
            self.raw(">");
            for (at, cell) in row.cells.iter().enumerate() {
                if at == 0 {
                    self.raw("<th scope=\"row\" dir=\"auto\">");
                    self.cell(cell);
                    self.raw("</th>");
                    continue;
                }
                let is_number = own.columns.get(at).is_some_and(|(_, number)| *number);
                self.raw(match cell {
                    _ if is_number => "<td class=\"n\">",
                    Cell::Text { whole: true, .. } => "<td class=\"w\" dir=\"auto\">",
                    Cell::Text { .. } => "<td dir=\"auto\">",
                    _ => "<td>",
                });
                self.cell(cell);
                self.raw("</td>");
            }
            self.raw("</tr>");
        }
        self.raw("\n</tbody></table></div>");
        if let Some(note) = &own.note {
            self.raw("<p class=\"note\">");
            self.words(note);
            self.raw("</p>");
        }
    }

    fn facts(&mut self, own: &Facts) {
        self.raw("<dl class=\"facts\">");
        for (name, cell) in &own.0 {
            self.raw("\n<dt>");
            self.words(name);
            self.raw("</dt><dd dir=\"auto\">");
            self.cell(cell);
            self.raw("</dd>");
        }
        self.raw("\n</dl>");
    }
}

/// Records of a list that are named where nothing else is said.
const NAMED: usize = 12;

/// A table with more columns than this is set smaller on paper.
const WIDE: usize = 6;

/// Adds what templates write with: `grid(root, table, id)`, `facts(root, all)`, and single cells beside other words,
/// `verdict(word)`, `ref(root, kind, id)`, `refs(root, kind, ids, most)`, `subject(root, words)` and
/// `duty(root, showing, subject)`.
pub(super) fn add(environment: &mut minijinja::Environment<'static>, links: &Arc<Links>) {
    let known = Arc::clone(links);
    environment.add_function("grid", move |root: &str, table: Shown, id: Option<&str>| {
        if table.is_none() {
            return Ok(Shown::from(""));
        }
        let own = table.downcast_object_ref::<Grid>().ok_or_else(|| unfit("grid", "a table"))?;
        let mut pen = Pen { out: String::new(), root, links: &known };
        pen.grid(own, id);
        Ok(Shown::from_safe_string(pen.out))
    });
    let known = Arc::clone(links);
    environment.add_function("facts", move |root: &str, all: Shown| {
        let own = all.downcast_object_ref::<Facts>().ok_or_else(|| unfit("facts", "facts"))?;
        let mut pen = Pen { out: String::new(), root, links: &known };
        pen.facts(own);
        Ok::<_, Error>(Shown::from_safe_string(pen.out))
    });
    add_cells(environment, links);
}

/// Adds what writes one cell where it is not in a table.
fn add_cells(environment: &mut minijinja::Environment<'static>, links: &Arc<Links>) {
    let written = |links: &Links, root: &str, cell: &Cell| {
        let mut pen = Pen { out: String::new(), root, links };
        pen.cell(cell);
        Shown::from_safe_string(pen.out)
    };
    let known = Arc::clone(links);
    environment.add_function("verdict", move |word: &str| written(&known, "", &verdict(word)));
    let known = Arc::clone(links);
    environment.add_function("ref", move |root: &str, kind: &str, id: &str| {
        written(&known, root, &record(kind, id))
    });
    let known = Arc::clone(links);
    environment.add_function("refs", move |root: &str, kind: &str, ids: Vec<String>, most: Option<usize>| {
        written(&known, root, &records(kind, &ids, most.unwrap_or(NAMED)))
    });
    let known = Arc::clone(links);
    environment
        .add_function("subject", move |root: &str, words: &str| written(&known, root, &subject(words)));
    let known = Arc::clone(links);
    environment.add_function("duty", move |root: &str, showing: &str, subject: &str| {
        written(&known, root, &duty(showing, subject))
    });
}

fn unfit(function: &str, wanted: &str) -> Error {
    Error::new(ErrorKind::InvalidOperation, format!("`{function}` takes {wanted}"))
}

/// What the place of all duties on the page of a showing is called.
const DUTIES: &str = "duties";

/// What a subject's place on the page of its showing is called.
pub(super) fn anchor(subject: &str) -> String {
    let plain = |one: char| if one.is_ascii_alphanumeric() || one == '-' { one } else { '.' };
    format!("on-{}", subject.chars().map(plain).collect::<String>())
}

/// A row, with what a filter asks of it and what links lead to it by.
#[derive(Debug, Clone, Default)]
pub(super) struct Row {
    /// Its cells.
    pub cells: Vec<Cell>,
    /// Its anchor.
    pub id: Option<String>,
    /// Words by the name of the filter that asks for them.
    pub data: Vec<(&'static str, String)>,
}

impl From<Vec<Cell>> for Row {
    fn from(cells: Vec<Cell>) -> Self {
        Self { cells, ..Self::default() }
    }
}

/// A table.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    /// What it is called.
    pub name: String,
    /// Columns: name, and whether figures stand in it.
    pub columns: Vec<(&'static str, bool)>,
    /// Rows.
    pub rows: Vec<Row>,
    /// What stands below it.
    pub note: Option<String>,
}

impl Grid {
    /// Returns an empty table.
    pub fn new(name: impl Into<String>, columns: Vec<(&'static str, bool)>) -> Self {
        Self { name: name.into(), columns, rows: Vec::new(), note: None }
    }

    /// Adds a row.
    pub fn row(&mut self, row: impl Into<Row>) {
        self.rows.push(row.into());
    }

    /// Cuts it to so many rows, and says below where the rest is.
    pub fn at_most(mut self, most: usize, rest: &str) -> Self {
        if self.rows.len() > most {
            let left = self.rows.len() - most;
            self.rows.truncate(most);
            self.note = Some(format!("{left} more rows: {rest}"));
        }
        self
    }
}

impl Object for Grid {
    fn repr(self: &Arc<Self>) -> ObjectRepr {
        ObjectRepr::Plain
    }
}

/// Facts in a list: a name, and what it is.
#[derive(Debug, Clone, Default)]
pub(super) struct Facts(Vec<(&'static str, Cell)>);

impl Facts {
    /// Adds a fact.
    pub fn add(&mut self, name: &'static str, cell: Cell) {
        self.0.push((name, cell));
    }

    /// Adds what was written, where something was.
    pub fn written(&mut self, name: &'static str, words: Option<impl AsRef<str>>) {
        if let Some(words) = words.filter(|own| !own.as_ref().trim().is_empty()) {
            self.add(name, text(words.as_ref()));
        }
    }
}

impl Object for Facts {
    fn repr(self: &Arc<Self>) -> ObjectRepr {
        ObjectRepr::Plain
    }
}

/// What a page may show.
pub(super) trait Show {
    /// Returns it as templates take it.
    fn shown(self) -> Shown;
}

impl Show for Shown {
    fn shown(self) -> Shown {
        self
    }
}

impl Show for Value {
    fn shown(self) -> Shown {
        Shown::from(Serde(self))
    }
}

impl From<Map<String, Value>> for Page {
    fn from(map: Map<String, Value>) -> Self {
        Self(map.into_iter().map(|(name, value)| (name, value.shown())).collect())
    }
}

/// Nothing where it has no row.
impl Show for Grid {
    fn shown(self) -> Shown {
        if self.rows.is_empty() { Shown::from(()) } else { Shown::from_object(self) }
    }
}

impl Show for Facts {
    fn shown(self) -> Shown {
        Shown::from_object(self)
    }
}

impl Show for Figure {
    fn shown(self) -> Shown {
        self.json().shown()
    }
}

impl<T: Show> Show for Vec<T> {
    fn shown(self) -> Shown {
        self.into_iter().map(Show::shown).collect()
    }
}

impl<T: Show> Show for Option<T> {
    fn shown(self) -> Shown {
        self.map_or(Shown::from(()), Show::shown)
    }
}

/// The context of a page.
#[derive(Debug, Default)]
pub(super) struct Page(BTreeMap<String, Shown>);

impl Page {
    /// Puts a value.
    pub fn put(&mut self, name: &str, value: impl Show) {
        self.0.insert(name.to_string(), value.shown());
    }

    /// Takes over what another holds.
    pub fn take(&mut self, other: Self) {
        self.0.extend(other.0);
    }

    /// Returns it as a template takes it.
    pub fn done(self) -> Shown {
        Shown::from(self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_is_cut_says_so() {
        let mut grid = Grid::new("t", vec![("a", false)]);
        for at in 0..5 {
            grid.row(vec![text(at.to_string())]);
        }
        let own = grid.at_most(2, "elsewhere");
        assert_eq!(own.rows.len(), 2);
        assert_eq!(own.note.as_deref(), Some("3 more rows: elsewhere"));
        assert!(Grid::new("t", Vec::new()).shown().is_none());
    }

    #[test]
    fn anchors_have_no_letter_that_a_link_would_change() {
        assert_eq!(anchor("lamina/cw-200@oven 3"), "on-lamina.cw-200.oven.3");
    }
}
