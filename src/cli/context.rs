//! What every command needs: the place, the day, the ledger read from one of its states.

use super::Terminal;
use super::args::{Colour, Format, Global, Source};
use crate::article::ArticleError;
use crate::graph::Uses;
use crate::ledger::{Ledger, MemoryRecall};
use crate::qualify::assumed::assumptions;
use crate::qualify::gaps::live_concessions;
use crate::qualify::verdict::{Evaluation, evaluate};
use crate::record::{Address, Day, Fault, Level, RecordKind};
use crate::report::faults;
use crate::report::head::ReportHead;
use crate::report::page::{Frame, Style};
use crate::source::{Origin, Place, Snapshot, SourceError};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Nothing to object to.
    Done,
    /// Done, with something to object to.
    Objection,
}

/// Why a command could not do what was asked.
#[derive(Debug)]
pub enum Failure {
    /// The reader went away.
    ClosedPipe,
    /// Anything else.
    Stopped {
        /// What is wrong.
        message: String,
        /// The mend.
        help: Option<String>,
        /// Faults of records that are behind it.
        faults: Vec<Fault>,
    },
}

impl Failure {
    /// Returns a failure with its mend.
    pub fn new(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self::Stopped { message: message.into(), help: Some(help.into()), faults: Vec::new() }
    }
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            return Self::ClosedPipe;
        }
        Self::Stopped {
            message: format!("the result can't be written: {error}"),
            help: None,
            faults: Vec::new(),
        }
    }
}

impl From<SourceError> for Failure {
    fn from(error: SourceError) -> Self {
        let mend = error.mend();
        Self::Stopped {
            message: error.to_string(),
            help: (!mend.is_empty()).then_some(mend),
            faults: Vec::new(),
        }
    }
}

/// One state of a ledger, read.
pub struct Loaded {
    /// Where from.
    pub snapshot: Snapshot,
    /// What was read.
    pub ledger: Ledger,
}

impl Loaded {
    /// Returns the words for where it was read from.
    pub fn label(&self) -> String {
        self.snapshot.label()
    }
}

/// Which parts of a ledger an answer rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Needs {
    /// Mass alone.
    Mass,
    /// Verdicts too.
    Verdicts,
}

/// What every command needs.
pub struct Context {
    /// Where the program was told to stand.
    pub directory: PathBuf,
    /// Text or JSON.
    pub format: Format,
    /// The day.
    pub today: Day,
    /// Columns.
    pub width: usize,
    /// Whether results may carry colour.
    pub colour: bool,
    /// Whether notes may.
    pub colour_err: bool,
    recall: MemoryRecall,
}

impl Context {
    pub(super) fn new(global: &Global, terminal: Terminal) -> Result<Self, Failure> {
        let today = match &global.today {
            Some(text) => {
                Day::parse(text).map_err(|words| Failure::new(words, "write --today 2026-06-01"))?
            }
            None => clock(),
        };
        let here = match &global.directory {
            Some(directory) => directory.clone(),
            None => PathBuf::from("."),
        };
        let directory = std::path::absolute(&here).unwrap_or(here);
        if !directory.is_dir() && global.directory.is_some() {
            return Err(Failure::new(
                format!("`{}` is no folder", directory.display()),
                "name a folder that exists behind -C",
            ));
        }
        let allowed = |auto: bool| match global.color {
            Colour::Always => true,
            Colour::Never => false,
            Colour::Auto => auto,
        };
        Ok(Self {
            directory,
            format: global.format,
            today,
            width: terminal.width,
            colour: allowed(terminal.colour_out),
            colour_err: allowed(terminal.colour_err),
            recall: MemoryRecall::new(),
        })
    }

    /// Returns what texts have to fit.
    pub fn frame(&self, ledger: &Ledger, all: bool) -> Frame {
        Frame::of(ledger, self.width, Style { colour: self.colour }, all)
    }

    /// Returns the head of a report on a state of the ledger.
    pub fn report_head(&self, loaded: &Loaded, evaluation: &Evaluation) -> ReportHead {
        // The number that `bondline assumptions` lists, so that nobody looks for the rest.
        let assumptions = assumptions(&loaded.ledger, evaluation)
            .map_or_else(|_| evaluation.assumptions.len(), |all| all.len());
        let commit = match loaded.snapshot.origin() {
            Origin::Revision { commit, .. } => Some(commit.clone()),
            _ => None,
        };
        ReportHead::new(commit, self.today, assumptions, live_concessions(&loaded.ledger, self.today).len())
    }

    /// Returns the same context standing in another folder.
    pub fn standing_in(&self, directory: &Path) -> Self {
        Self { directory: directory.to_path_buf(), recall: MemoryRecall::new(), ..*self }
    }

    /// Returns whether the result is for programs.
    pub fn json(&self) -> bool {
        self.format == Format::Json
    }

    /// Finds the ledger.
    ///
    /// # Errors
    /// [`Failure`] where there is none.
    pub fn place(&self) -> Result<Place, Failure> {
        let index = std::env::var_os("GIT_INDEX_FILE").map(PathBuf::from);
        Ok(Place::find(&self.directory)?.with_index_file(index))
    }

    /// Reads the state that was asked for.
    ///
    /// # Errors
    /// [`Failure`] where it can't be had.
    pub fn load(&self, place: &Place, source: &Source) -> Result<Loaded, Failure> {
        let snapshot = match (&source.at, source.staged) {
            (Some(revision), _) => place.revision(revision)?,
            (None, true) => place.index()?,
            (None, false) => place.work_tree()?,
        };
        Ok(self.read(snapshot))
    }

    /// Reads a snapshot; what was read before from the same bytes is not read again.
    pub fn read(&self, snapshot: Snapshot) -> Loaded {
        let ledger = if snapshot.is_empty() { empty_ledger() } else { Ledger::load(&snapshot, &self.recall) };
        Loaded { snapshot, ledger }
    }

    /// Judges a ledger, where nothing broken plays a part; says on `err` what is broken elsewhere.
    ///
    /// # Errors
    /// [`Failure`] with the faults where a broken record plays a part.
    pub fn evaluate(&self, loaded: &Loaded, err: &mut dyn Write) -> Result<Evaluation, Failure> {
        self.usable(loaded, Needs::Verdicts)?;
        let found = evaluate(&loaded.ledger, self.today).map_err(|missing| self.missing(loaded, &missing))?;
        self.note_broken(loaded, err)?;
        Ok(found)
    }

    /// Checks that no broken record plays a part, as far as that can be told from its kind.
    ///
    /// # Errors
    /// [`Failure`] with the faults.
    pub fn usable(&self, loaded: &Loaded, needs: Needs) -> Result<(), Failure> {
        let part = |kind: RecordKind| match kind {
            RecordKind::Ledger | RecordKind::Panel | RecordKind::Assembly | RecordKind::Weighing => true,
            RecordKind::Showing | RecordKind::Evidence | RecordKind::Concession => needs == Needs::Verdicts,
            _ => false,
        };
        let broken = &loaded.ledger.broken;
        if broken.is_empty() {
            return Ok(());
        }
        // Materials, recipes and the like play a part where a panel rests on them.
        let uses = Uses::of(&loaded.ledger);
        let mut reached: BTreeSet<Address> = BTreeSet::new();
        for panel in loaded.ledger.panels.keys() {
            let below = uses.reach(&Address::new(RecordKind::Panel, panel.clone()));
            reached.extend(below.into_iter().map(|one| one.address));
        }
        let playing: Vec<String> = broken
            .iter()
            .filter(|address| part(address.kind()) || reached.contains(*address))
            .map(ToString::to_string)
            .collect();
        if !playing.is_empty() {
            let more =
                if playing.len() > 3 { format!(" and {} more", playing.len() - 3) } else { String::new() };
            let names: Vec<&str> = playing.iter().take(3).map(String::as_str).collect();
            return Err(Failure::Stopped {
                message: format!("records that the answer rests on are broken ({}{more})", names.join(", ")),
                help: Some("mend the faults below; `bondline check` shows all".to_string()),
                faults: errors(&loaded.ledger),
            });
        }
        Ok(())
    }

    /// Says on `err` how many records are broken; once there is an answer, they played no part in it.
    ///
    /// # Errors
    /// [`Failure`] where it can't be written.
    pub fn note_broken(&self, loaded: &Loaded, err: &mut dyn Write) -> Result<(), Failure> {
        let count = loaded.ledger.broken.len();
        if count == 0 {
            return Ok(());
        }
        let words = if count == 1 {
            "1 broken record plays".to_string()
        } else {
            format!("{count} broken records play")
        };
        writeln!(err, "note: {words} no part in this answer; `bondline check` shows them")?;
        Ok(())
    }

    /// Turns a missing record into a failure with the faults behind it.
    pub fn missing(&self, loaded: &Loaded, missing: &ArticleError) -> Failure {
        Failure::Stopped {
            message: missing.to_string(),
            help: Some("mend the faults below; `bondline check` shows all".to_string()),
            faults: errors(&loaded.ledger),
        }
    }
}

/// The day by the machine's clock, in UTC.
fn clock() -> Day {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
    let days = i64::try_from(since.as_secs() / 86_400).unwrap_or(0);
    let epoch = jiff::civil::date(1970, 1, 1);
    Day(epoch.checked_add(jiff::Span::new().days(days)).unwrap_or(epoch))
}

fn empty_ledger() -> Ledger {
    Ledger::default()
}

fn errors(ledger: &Ledger) -> Vec<Fault> {
    ledger.faults.iter().filter(|fault| fault.level == Level::Error).cloned().collect()
}

/// The document that a failure is in JSON.
pub(super) fn error_json(message: &str, help: Option<&str>, list: &[Fault]) -> Value {
    json!({
        "schema": "error/1",
        "error": { "message": message, "help": help, "faults": faults::json(list).get("faults") }
    })
}

/// Writes a failure for people.
pub(super) fn write_failure(
    err: &mut dyn Write,
    message: &str,
    help: Option<&str>,
    list: &[Fault],
) -> io::Result<()> {
    writeln!(err, "error: {message}")?;
    if let Some(help) = help {
        writeln!(err, "help: {help}")?;
    }
    for fault in list.iter().take(20) {
        let line = fault.place.line.map_or(String::new(), |line| format!(":{line}"));
        writeln!(err, "  {}{line}: {} ({})", fault.place.file, fault.message, fault.rule)?;
    }
    if list.len() > 20 {
        writeln!(err, "  and {} more", list.len() - 20)?;
    }
    Ok(())
}

/// Reads an argument that names a record: a bare id of one of `kinds`, `kind/id`, or a file's path.
pub fn address(text: &str, kinds: &[RecordKind], ledger: &Ledger) -> Option<Address> {
    let trimmed = text.trim_start_matches("./");
    if let Some(found) = Address::parse(trimmed).filter(|_| trimmed.contains('/') || trimmed == "ledger") {
        return Some(found);
    }
    if let Some(stem) = trimmed.strip_suffix(".yaml") {
        let folder = stem.split('/').find_map(RecordKind::by_folder)?;
        return Some(Address::new(folder, stem.rsplit('/').next()?));
    }
    kinds.iter().map(|kind| Address::new(*kind, trimmed)).find(|address| ledger.file_of(address).is_some())
}

/// Returns the nearest of some names, or the list of all where they are few.
pub fn nearest(text: &str, names: &[&str]) -> String {
    let best = names
        .iter()
        .map(|name| (strsim::damerau_levenshtein(text, name), name))
        .min_by_key(|(distance, name)| (*distance, name.len()));
    match best {
        Some((distance, name)) if distance <= name.len() / 2 => format!("did you mean `{name}`?"),
        Some(_) if names.len() <= 12 => format!("there are {}", names.join(", ")),
        Some(_) => {
            let ends = names.first().zip(names.last());
            ends.map_or_else(String::new, |(first, last)| {
                format!("there are {}, from `{first}` to `{last}`", names.len())
            })
        }
        None => "the ledger has none".to_string(),
    }
}
