//! Pages: what each sheet shows and where it lies, rendered from the templates of `templates/`.
//!
//! A [`Site`] is made once from a judged ledger; each [`Sheet`] is rendered on its own, so that pages can be written
//! side by side or served one by one. What a page says comes from the documents that the commands print; drawings are
//! made here. Whatever a user wrote is text to the templates and is escaped by them.

mod bars;
mod bearing;
mod budgets;
mod change;
mod coats;
mod decision;
mod evidence;
mod filters;
mod finish;
mod frames;
mod graph;
mod known;
mod lists;
mod margins;
mod mass;
mod matrix;
mod panel;
mod plots;
mod polar;
mod readings;
mod recipe;
mod records;
mod registers;
mod showing;
mod stacks;
mod svg;
mod tables;
mod timeline;
mod today;
mod tool;
mod waterfall;

pub use change::{ChangeInput, Since};
pub use registers::Register;

use crate::article::Subject;
use crate::ledger::Ledger;
use crate::qualify::assumed;
use crate::qualify::verdict::Evaluation;
use crate::record::{Address, Day, Fault, RecordKind};
use crate::report::head::{CAUTIONS, ReportHead};
use crate::report::history::Step;
use include_dir::{Dir, include_dir};
use minijinja::{AutoEscape, Environment, HtmlEscape, UndefinedBehavior};
use serde_json::json;
use sha2::{Digest, Sha256};
use std::sync::Arc;
use tables::{Links, Page, Show};

static TEMPLATES: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/templates");

/// Kinds of records that have a page each.
pub const PAGED: [RecordKind; 7] = [
    RecordKind::Panel,
    RecordKind::Recipe,
    RecordKind::Finish,
    RecordKind::Showing,
    RecordKind::Evidence,
    RecordKind::Decision,
    RecordKind::Tool,
];

/// Why a page can't be rendered: a defect of a template, never of a record.
#[derive(Debug, thiserror::Error)]
#[error("the page {page} can't be drawn: {why}")]
pub struct PageError {
    /// The page's file.
    pub page: String,
    /// What the template engine says.
    pub why: String,
}

/// What the pages are made from.
pub struct Inputs<'a> {
    /// The ledger, without what can't be judged.
    pub ledger: &'a Ledger,
    /// Its verdicts.
    pub evaluation: &'a Evaluation,
    /// What every sheet says about itself; its assumptions are counted here.
    pub head: ReportHead,
    /// Which state this is, in words.
    pub label: String,
    /// The day.
    pub today: Day,
    /// Changes with a sheet of their own.
    pub changes: Vec<ChangeInput<'a>>,
    /// What changed since the milestone that was reached last.
    pub since: Option<Since>,
    /// The last commits, the newest first; empty outside a repository.
    pub history: Vec<Step>,
    /// Faults of the records.
    pub faults: Vec<Fault>,
    /// What was left out because something it rests on can't be read, in words.
    pub left_out: Vec<String>,
    /// Open decisions without a sheet: id, title, why.
    pub unshown: Vec<(String, Option<String>, String)>,
}

/// One page.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sheet {
    /// The programme today.
    Today,
    /// A change, by its place among the inputs.
    Change(usize),
    /// All records of a kind; the page, from 0.
    List(RecordKind, usize),
    /// One record.
    Record(RecordKind, String),
    /// Showings by subjects of one kind; the page, from 0.
    Matrix(&'static str, usize),
    /// A table over the whole ledger; the page, from 0.
    Register(Register, usize),
    /// The mass and its history.
    Mass,
    /// What is made of what.
    Graph,
}

/// A folder of pages, ready to be rendered.
pub struct Site<'a> {
    inputs: Inputs<'a>,
    environment: Environment<'static>,
    sheets: Vec<Sheet>,
    /// Kinds of subject that have a matrix, with the number of its pages.
    matrix: Vec<(&'static str, usize)>,
    /// What all pages say alike.
    fixed: Fixed,
    /// Pages over the whole, with what they are called.
    nav: Vec<(String, &'static str)>,
    style: String,
    script: String,
    /// Of pages that are served: the state that they show, and what asks whether it is still that.
    served: Option<(String, String)>,
    /// What sheets of records share.
    known: known::Known<'a>,
    registers: registers::Registers,
}

impl<'a> Site<'a> {
    /// Makes the pages ready.
    ///
    /// # Errors
    /// [`PageError`] where a template can't be read.
    pub fn new(mut inputs: Inputs<'a>) -> Result<Self, PageError> {
        let matrix = matrix::pages(&inputs);
        let text = |name: &str| {
            let file = TEMPLATES.get_file(name).and_then(|file| file.contents_utf8());
            file.map(str::to_string)
                .ok_or_else(|| PageError { page: name.to_string(), why: "it is not there".into() })
        };
        let (style, script) = (text("sheet.css")?, text("sheet.js")?);
        let (known, assumed) = rayon::join(
            || known::Known::of(inputs.ledger, inputs.evaluation, inputs.today),
            || assumed::standing(inputs.ledger, inputs.evaluation),
        );
        let registers = registers::Registers::of(&inputs, &known, assumed);
        let environment = environment(&inputs, &known)?;
        inputs.head.assumptions = registers.assumptions.unwrap_or(inputs.evaluation.assumptions.len());
        let sheets = sheets(&inputs, &matrix, &registers);
        let (fixed, nav) = fixed(&inputs, &matrix);
        Ok(Self {
            inputs,
            environment,
            sheets,
            matrix,
            fixed,
            nav,
            style,
            script,
            served: None,
            known,
            registers,
        })
    }

    /// Makes the pages ask their server whether `state` is still what the ledger is.
    #[must_use]
    pub fn served(mut self, state: &str) -> Self {
        let script = TEMPLATES.get_file("view.js").and_then(|file| file.contents_utf8()).unwrap_or_default();
        self.served = Some((state.to_string(), script.to_string()));
        self
    }

    /// Returns all pages.
    pub fn sheets(&self) -> &[Sheet] {
        &self.sheets
    }

    /// Returns whether a record has a page.
    fn has_page(&self, address: &Address) -> bool {
        PAGED.contains(&address.kind()) && records::has(self.inputs.ledger, address)
    }

    /// Returns the page that lies at a path, if there is one.
    pub fn at(&self, path: &str) -> Option<&Sheet> {
        self.sheets.iter().find(|sheet| self.file(sheet) == path)
    }

    /// Returns files that pages need beside them: path and bytes.
    pub fn assets(&self) -> Vec<(&'static str, &str)> {
        let mut all = vec![("sheet.css", self.style.as_str()), ("sheet.js", self.script.as_str())];
        all.extend(self.served.as_ref().map(|(_, script)| ("view.js", script.as_str())));
        all
    }

    /// Returns the path of a page below the folder, with `/`.
    pub fn file(&self, sheet: &Sheet) -> String {
        match sheet {
            Sheet::Today => "index.html".to_string(),
            Sheet::Change(at) => {
                let stem = self.inputs.changes.get(*at).map_or("unknown", |change| change.stem.as_str());
                format!("change/{stem}.html")
            }
            Sheet::List(kind, page) => lists::file(*kind, *page),
            Sheet::Record(kind, id) => format!("{}/{}.html", kind.word(), file_name(id)),
            Sheet::Matrix(kind, page) => matrix::file(kind, *page),
            Sheet::Register(which, page) => which.file(*page),
            Sheet::Mass => "mass.html".to_string(),
            Sheet::Graph => "graph.html".to_string(),
        }
    }

    /// Renders a page.
    ///
    /// # Errors
    /// [`PageError`] where its template fails.
    pub fn render(&self, sheet: &Sheet) -> Result<String, PageError> {
        let file = self.file(sheet);
        let (template, title, context) = match sheet {
            Sheet::Today => today::context(self),
            Sheet::Change(at) => match self.inputs.changes.get(*at) {
                Some(change) => change::context(change, self.inputs.ledger, self.inputs.today),
                None => return Err(PageError { page: file, why: "there is no such change".to_string() }),
            },
            Sheet::List(kind, page) => lists::context(self, *kind, *page),
            Sheet::Record(kind, id) => records::record(self, *kind, id),
            Sheet::Matrix(kind, page) => matrix::context(self, kind, *page),
            Sheet::Register(which, page) => self.registers.context(*which, *page),
            Sheet::Mass => mass::context(self),
            Sheet::Graph => graph::context(self),
        };
        let root = "../".repeat(file.matches('/').count());
        let mut all = context;
        all.take(self.shared(sheet, &file, &root, &title));
        let failed = |error: minijinja::Error| PageError {
            page: file.clone(),
            why: format!("{error} ({} line {})", error.name().unwrap_or(template), error.line().unwrap_or(0)),
        };
        let found = self.environment.get_template(template).map_err(failed)?;
        found.render(all.done()).map_err(failed)
    }

    /// What every page says: title block, pages, cautions.
    fn shared(&self, sheet: &Sheet, file: &str, root: &str, title: &str) -> Page {
        // A change is handed on alone: it carries its style with it.
        let alone = matches!(sheet, Sheet::Change(_)) && self.served.is_none();
        let policy = if alone {
            format!(
                "default-src 'none'; style-src '{}'; script-src '{}'; base-uri 'none'; form-action 'none'",
                fingerprint(&self.style),
                fingerprint(&self.script)
            )
        } else {
            let ask = if self.served.is_some() { " connect-src 'self';" } else { "" };
            format!(
                "default-src 'none'; style-src 'self'; script-src 'self';{ask} base-uri 'none'; form-action 'none'"
            )
        };
        let mut page = Page::default();
        for (name, value) in &self.fixed {
            page.put(name, value.clone());
        }
        if let Sheet::Change(at) = sheet
            && let Some(change) = self.inputs.changes.get(*at)
        {
            page.put("label", json!(change.says.1));
            page.put("head", change.says.0.json());
        }
        page.put("title", json!(title));
        if root != "../" || !matches!(sheet, Sheet::Record(..)) {
            let own = navigation(&self.nav, root, file);
            page.put("navigation", minijinja::Value::from_safe_string(own));
        }
        page.put("root", json!(root));
        page.put("policy", json!(policy));
        page.put("inline", json!(alone.then(|| json!({ "css": self.style, "js": self.script }))));
        page.put("state", json!(self.served.as_ref().map(|(state, _)| state)));
        page
    }
}

/// What a record's page is called. The name of an import stands before a dot, which no id has: a colon would make a
/// scheme of a link, and is in no name that every system can store.
pub(super) fn file_name(id: &str) -> std::borrow::Cow<'_, str> {
    if id.contains(':') { id.replace(':', ".").into() } else { id.into() }
}

/// Values of templates by name.
type Fixed = Vec<(&'static str, minijinja::Value)>;

/// What every page says alike, made once, the navigation as of a page of a record; and the pages over the whole.
fn fixed(inputs: &Inputs<'_>, matrix: &[(&'static str, usize)]) -> (Fixed, Vec<(String, &'static str)>) {
    let programme = inputs
        .ledger
        .head
        .as_ref()
        .map_or_else(|| "No ledger head".to_string(), |head| head.programme.to_string());
    let matrix = matrix.first().map_or_else(|| "index.html".to_string(), |(kind, _)| matrix::file(kind, 0));
    let nav = [
        ("index.html", "Today"),
        ("mass.html", "Mass"),
        (matrix.as_str(), "Matrix"),
        ("clauses.html", "Clauses"),
        ("calendar.html", "Calendar"),
        ("assumptions.html", "Assumptions"),
        ("graph.html", "Made of"),
        ("panels.html", "Panels"),
        ("recipes.html", "Recipes"),
        ("finishes.html", "Finishes"),
        ("tools.html", "Tools"),
        ("showings.html", "Showings"),
        ("evidence.html", "Evidence"),
        ("decisions.html", "Decisions"),
    ];
    let nav: Vec<(String, &'static str)> = nav.map(|(file, name)| (file.to_string(), name)).to_vec();
    let said = [
        ("programme", json!(programme)),
        ("label", json!(inputs.label)),
        ("head", inputs.head.json()),
        ("caution", json!(crate::report::head::CAUTION_LINE)),
    ];
    let cautions = CAUTIONS.iter().map(|one| format!("\n<li>{}</li>", HtmlEscape(one))).collect();
    let safe = minijinja::Value::from_safe_string;
    let mut all: Vec<(&'static str, minijinja::Value)> =
        said.map(|(name, value)| (name, value.shown())).to_vec();
    all.extend([("cautions", safe(cautions)), ("navigation", safe(navigation(&nav, "../", "")))]);
    (all, nav)
}

/// The items that lead to the pages over the whole; that of the page itself is marked.
fn navigation(nav: &[(String, &'static str)], root: &str, here: &str) -> String {
    let item = |(file, name): &(String, &str)| {
        let current = if file == here { " aria-current=\"page\"" } else { "" };
        format!(
            "\n<li><a href=\"{}{}\"{current}>{}</a></li>",
            HtmlEscape(root),
            HtmlEscape(file),
            HtmlEscape(name)
        )
    };
    nav.iter().map(item).collect()
}

fn sheets(
    inputs: &Inputs<'_>,
    matrix: &[(&'static str, usize)],
    registers: &registers::Registers,
) -> Vec<Sheet> {
    let mut all = vec![Sheet::Today];
    all.extend((0..inputs.changes.len()).map(Sheet::Change));
    for which in Register::ALL {
        all.extend((0..registers.pages(which)).map(|page| Sheet::Register(which, page)));
    }
    all.extend([Sheet::Mass, Sheet::Graph]);
    for (kind, pages) in matrix {
        all.extend((0..*pages).map(|page| Sheet::Matrix(kind, page)));
    }
    for kind in PAGED {
        let ids = records::ids(inputs.ledger, kind);
        all.extend((0..lists::pages(ids.len())).map(|page| Sheet::List(kind, page)));
        all.extend(ids.into_iter().map(|id| Sheet::Record(kind, id)));
    }
    all
}

/// What a policy on content names an inline style or script by.
fn fingerprint(text: &str) -> String {
    format!("sha256-{}", base64(&Sha256::digest(text.as_bytes())))
}

/// RFC 4648, with padding.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let byte = |at: usize| u32::from(three.get(at).copied().unwrap_or(0));
        let word = byte(0) << 16 | byte(1) << 8 | byte(2);
        for at in 0..4 {
            let index = (word >> (18 - 6 * at)) & 63;
            let letter = LETTERS.get(index as usize).map_or('=', |own| char::from(*own));
            out.push(if at <= three.len() { letter } else { '=' });
        }
    }
    out
}

/// The templates with what they may ask.
fn environment(inputs: &Inputs<'_>, known: &known::Known<'_>) -> Result<Environment<'static>, PageError> {
    let mut own = Environment::new();
    own.set_undefined_behavior(UndefinedBehavior::Strict);
    own.set_auto_escape_callback(|_| AutoEscape::Html);
    for file in TEMPLATES.files() {
        let (Some(name), Some(text)) = (file.path().to_str(), file.contents_utf8()) else { continue };
        if name.ends_with(".html") {
            own.add_template(name, text).map_err(|error| PageError {
                page: name.to_string(),
                why: format!("{error} (line {})", error.line().unwrap_or(0)),
            })?;
        }
    }
    let links = Arc::new(Links::of(paged(inputs.ledger)).beyond(showing::beyond(known, inputs.ledger)));
    tables::add(&mut own, &links);
    filters::add(&mut own, inputs.ledger);
    Ok(own)
}

/// The record whose page says most about a subject.
fn record_of(subject: &Subject) -> Option<Address> {
    match subject {
        Subject::Panel(id) => Some(Address::new(RecordKind::Panel, id.clone())),
        Subject::Laminate(id) | Subject::Painted(id, _) => Some(Address::new(RecordKind::Recipe, id.clone())),
        _ => None,
    }
}

/// Records that have a page.
fn paged(ledger: &Ledger) -> impl Iterator<Item = (RecordKind, String)> + '_ {
    PAGED.into_iter().flat_map(|kind| records::ids(ledger, kind).into_iter().map(move |id| (kind, id)))
}

#[cfg(test)]
mod tests;
