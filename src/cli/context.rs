//! What every command needs: the place, the day, the ledger read from one of its states.

use super::Terminal;
use super::args::{Colour, Format, Global, Source};
use super::memory::Memory;
use super::parsed::Parsed;
use crate::article::ArticleError;
use crate::article::weigh::{MassStatement, Method, Scope, statement_by};
use crate::change::approved::{Altered, altered, standing};
use crate::change::carried::carried_out;
use crate::change::decide::DecideError;
use crate::change::diff::{Edits, diff};
use crate::change::explain::{Explained, explain, in_order};
use crate::change::found::Application;
pub(super) use crate::change::past::day_of;
use crate::change::past::{Past, PastError};
use crate::graph::Uses;
use crate::ledger::{Entry, Ledger, NoRecall, Recall, Records};
use crate::qualify::assumed;
use crate::qualify::gaps::live_concessions;
use crate::qualify::judge::Detail;
use crate::qualify::verdict::{Evaluation, evaluate_beside};
use crate::record::{Address, Day, Decision, Fault, Level, RecordKind, render};
use crate::report::basis::NoSample;
use crate::report::faults;
use crate::report::head::ReportHead;
use crate::report::page::{Frame, Style, count, shown};
use crate::source::write::{WriteError, Writer, unfinished};
use crate::source::{FileEntry, Origin, Place, RECORD_LIMIT, Snapshot, SourceError};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::mem::ManuallyDrop;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

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
pub struct Failure {
    /// What is wrong.
    pub message: String,
    /// The mend.
    pub help: Option<String>,
    /// Faults of records that are behind it.
    pub faults: Vec<Fault>,
}

impl Failure {
    /// Returns a failure with its mend.
    pub fn new(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { message: message.into(), help: Some(help.into()), faults: Vec::new() }
    }
}

impl From<NoSample> for Failure {
    fn from(error: NoSample) -> Self {
        Self::new(error.message, error.help)
    }
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        Self { message: format!("the result can't be written: {error}"), help: None, faults: Vec::new() }
    }
}

impl From<SourceError> for Failure {
    fn from(error: SourceError) -> Self {
        let mend = error.mend();
        Self { message: error.to_string(), help: (!mend.is_empty()).then_some(mend), faults: Vec::new() }
    }
}

/// One state of a ledger, read.
pub struct Loaded {
    /// Where from.
    pub snapshot: Snapshot,
    /// What was read.
    pub ledger: Ledger,
    /// Decisions that are laid over it, in this order, where the answer has to say so.
    pub with: Vec<String>,
    /// Whether it is no longer what the snapshot's commit holds.
    pub is_laid: bool,
}

impl Loaded {
    /// Returns the words for where it was read from.
    pub fn label(&self) -> String {
        self.snapshot.label()
    }

    /// Returns the text of a record's file, where it can be read.
    pub fn text(&self, file: &str) -> Option<String> {
        let bytes = self.snapshot.read_limited(file, RECORD_LIMIT).ok()?;
        String::from_utf8(bytes.to_vec()).ok()
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
    /// Whether it is the clock's, and so another tomorrow.
    by_clock: bool,
    /// Columns.
    pub width: usize,
    /// Whether results may carry colour.
    pub colour: bool,
    /// Whether notes may.
    pub colour_err: bool,
    /// Whether standard input is a terminal.
    pub input_terminal: bool,
    /// What earlier runs kept, and what this one will.
    pub(super) memory: Arc<Memory>,
    recall: Parsed,
    /// The place that was read from, once there is one.
    read_from: OnceLock<Place>,
    /// States of the disk and the index that were read, and whether anything was that is no state of this ledger.
    read: Mutex<(Vec<Snapshot>, bool)>,
}

/// Holds what a command works on until the program ends: a command is its last act, and giving the pieces
/// of a large ledger back one by one takes longer than ending.
pub fn to_the_end<T>(value: T) -> ManuallyDrop<T> {
    ManuallyDrop::new(value)
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
            by_clock: global.today.is_none(),
            width: terminal.width,
            colour: allowed(terminal.colour_out),
            colour_err: allowed(terminal.colour_err),
            input_terminal: terminal.input,
            memory: Arc::new(Memory::new(!global.no_store)),
            recall: Parsed::default(),
            read_from: OnceLock::new(),
            read: Mutex::default(),
        })
    }

    /// The day that it is now, for a command that runs on overnight: the one that was named, or the clock's.
    pub fn day(&self) -> Day {
        if self.by_clock { clock() } else { self.today }
    }

    /// Takes a day of the past as today, and returns the commit that was the last along first parents by its end.
    ///
    /// # Errors
    /// [`Failure`] where it is no day, there is no history, or no commit is that old.
    pub fn back_to(&mut self, day: &str) -> Result<String, Failure> {
        self.today = Day::parse(day).map_err(|words| Failure::new(words, "write --as-of 2026-06-01"))?;
        self.by_clock = false;
        let place = self.place()?;
        match place.last_before(end_of(self.today))? {
            (Some(commit), _) => Ok(commit),
            (None, oldest) => {
                let cut = place.repository().is_some_and(|repository| repository.is_shallow());
                let here = if cut { "the clone is shallow, and the oldest here" } else { "the first" };
                let first =
                    oldest.map_or_else(String::new, |time| format!("; {here} is of {}", day_of(time)));
                Err(Failure::new(
                    format!("no commit is as old as {}{first}", self.today),
                    match cut {
                        true => "fetch the rest with `git fetch --unshallow`, or name a later day",
                        false => "name a later day; `bondline history` lists the commits",
                    },
                ))
            }
        }
    }

    /// Returns what texts have to fit.
    pub fn frame(&self, ledger: &Ledger, all: bool) -> Frame {
        Frame::of(ledger, self.width, Style { colour: self.colour }, all)
    }

    /// Returns the head of a report on a state of the ledger.
    pub fn report_head(&self, loaded: &Loaded, evaluation: &Evaluation) -> ReportHead {
        // The number that `bondline assumptions` lists, so that nobody looks for the rest.
        let assumptions = assumed::count(&loaded.ledger, evaluation).unwrap_or(evaluation.assumptions.len());
        self.head_with(loaded, assumptions)
    }

    /// As [`Context::report_head`], where somebody has counted the assumptions.
    pub fn head_with(&self, loaded: &Loaded, assumptions: usize) -> ReportHead {
        let commit = match loaded.snapshot.origin() {
            Origin::Revision { commit, .. } if !loaded.is_laid => Some(commit.clone()),
            _ => None,
        };
        ReportHead::new(commit, self.today, assumptions, live_concessions(&loaded.ledger, self.today).len())
    }

    /// Writes a report with its head: as a document, or as text on a page of this terminal.
    ///
    /// # Errors
    /// Where `out` takes no more.
    pub fn answer(
        &self,
        out: &mut dyn Write,
        (loaded, evaluation): (&Loaded, &Evaluation),
        all: bool,
        document: impl FnOnce() -> Value,
        text: impl FnOnce(&Frame) -> String,
    ) -> io::Result<()> {
        let head = self.report_head(loaded, evaluation);
        if self.json() {
            return writeln!(out, "{:#}", loaded.document(head.add_to(document())));
        }
        self.say_laid(loaded, out)?;
        write!(out, "{}", text(&self.frame(&loaded.ledger, all)))?;
        writeln!(out)?;
        write!(out, "{}", head.text(self.width))
    }

    /// Returns the same context standing in another folder.
    pub fn standing_in(&self, directory: &Path) -> Self {
        Self {
            directory: directory.to_path_buf(),
            memory: Arc::new(Memory::new(self.memory.is_allowed())),
            recall: Parsed::default(),
            read_from: OnceLock::new(),
            read: Mutex::default(),
            ..*self
        }
    }

    /// Returns the same context with a store that is neither asked nor written.
    pub(super) fn without_store(&self) -> Self {
        Self { memory: Arc::new(Memory::new(false)), ..self.standing_in(&self.directory) }
    }

    /// Draws the faults of an input that is no ledger's for people; programs get them in the failure's document.
    ///
    /// # Errors
    /// [`Failure`] where they can't be written.
    pub fn refused(
        &self,
        file: &str,
        bytes: &[u8],
        faults: Vec<Fault>,
        help: impl Into<String>,
        err: &mut dyn Write,
    ) -> Result<Failure, Failure> {
        let (message, help) = (format!("{} in {file}", count(faults.len(), "error")), Some(help.into()));
        if self.json() {
            return Ok(Failure { message, help, faults });
        }
        let text = std::str::from_utf8(bytes).ok();
        for fault in &faults {
            writeln!(err, "{}\n", render::fault(fault, text, self.colour_err, self.width))?;
        }
        Ok(Failure { message, help, faults: Vec::new() })
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
        let place = Place::find(&self.directory)?.with_index_file(index);
        Ok(self.read_from.get_or_init(|| place.clone()).clone())
    }

    /// Opens the ledger to write in it: the place, the right to write, and the work tree's state, read while nobody
    /// else writes. A change that was cut short before is finished first, and said.
    ///
    /// # Errors
    /// [`Failure`] where there is no ledger, or it can't be had.
    pub fn opened(&self, err: &mut dyn Write) -> Result<(Place, Writer, Loaded), Failure> {
        let (place, writer) = self.writer(err)?;
        let loaded = self.load(&place, &Source::default())?;
        may_be_written(&loaded.ledger)?;
        Ok((place, writer, loaded))
    }

    /// As [`Context::opened`], without reading anything.
    ///
    /// # Errors
    /// As [`Context::opened`].
    pub fn writer(&self, err: &mut dyn Write) -> Result<(Place, Writer), Failure> {
        let place = self.place()?;
        let writer = Writer::wait(&place).map_err(unwritten)?;
        let finished = writer.finish().map_err(unwritten)?;
        if !finished.is_empty() {
            let files: Vec<String> = finished.iter().map(|file| shown(file)).collect();
            writeln!(err, "note: an earlier change was cut short and is finished now: {}", files.join(", "))?;
        }
        Ok((place, writer))
    }

    /// Says on `err` where a change was cut short and nobody has finished it: the answer may rest on half of it.
    pub(super) fn note_unfinished(&self, err: &mut dyn Write) {
        let Some(files) = self.read_from.get().and_then(unfinished) else { return };
        let files: Vec<String> = files.iter().map(|file| shown(file)).collect();
        // Memory takes every byte.
        let _ = writeln!(
            err,
            "note: a change of {} was cut short, and this answer may rest on half of it; the next command that writes, as `bondline decide apply`, finishes it",
            files.join(", ")
        );
    }

    /// Reads the state that was asked for.
    ///
    /// # Errors
    /// [`Failure`] where it can't be had.
    pub fn load(&self, place: &Place, source: &Source) -> Result<Loaded, Failure> {
        Ok(self.read(Self::snapshot(place, source)?))
    }

    /// As [`Context::load`], where no other snapshot is read in this run.
    ///
    /// # Errors
    /// As [`Context::load`].
    pub fn load_alone(&self, place: &Place, source: &Source) -> Result<Loaded, Failure> {
        let snapshot = Self::snapshot(place, source)?;
        // Without a store nothing is worth naming by its bytes.
        Ok(if self.memory.is_allowed() { self.read(snapshot) } else { self.read_with(snapshot, &NoRecall) })
    }

    /// Takes the state that was asked for, unread.
    ///
    /// # Errors
    /// [`Failure`] where it can't be had.
    pub fn snapshot(place: &Place, source: &Source) -> Result<Snapshot, Failure> {
        Ok(match (&source.at, source.staged) {
            (Some(revision), _) => place.revision(revision)?,
            (None, true) => place.index()?,
            (None, false) => place.work_tree()?,
        })
    }

    /// Reads a snapshot; what was read before from the same bytes, in this run or an earlier one, is not read again.
    pub fn read(&self, snapshot: Snapshot) -> Loaded {
        if let Some(place) = self.read_from.get().filter(|_| self.memory.is_allowed()) {
            self.recall.ask(&self.memory, place);
            if *snapshot.origin() == Origin::WorkTree {
                snapshot.learn(&self.memory.stamps(place));
            }
        }
        let before = self.recall.counts();
        let loaded = self.read_with(snapshot, &self.recall);
        self.recall.give_back();
        let after = self.recall.counts();
        self.memory.work(format!(
            "{} records parsed and {} found, from {}",
            after.parsed - before.parsed,
            after.spared - before.spared,
            loaded.label()
        ));
        loaded
    }

    /// Reads a snapshot of few files; what was read before in this run from the same bytes is not read again.
    pub fn read_few(&self, snapshot: Snapshot) -> Loaded {
        self.read_with(snapshot, self.recall.alone())
    }

    fn read_with(&self, snapshot: Snapshot, recall: &dyn Recall) -> Loaded {
        let ledger = if snapshot.is_empty() { empty_ledger() } else { Ledger::load(&snapshot, recall) };
        let ledger = ledger.as_of(self.today);
        let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        // What can't be read today may be read tomorrow, and no file will have changed.
        read.1 |= !ledger.imports.is_empty() || ledger.faults.iter().any(|fault| fault.rule == "unreadable");
        if !matches!(snapshot.origin(), Origin::Revision { .. }) {
            read.0.push(snapshot.clone());
        }
        drop(read);
        Loaded { snapshot, ledger, with: Vec::new(), is_laid: false }
    }

    /// The states of the disk and the index that were read, without what was laid over them.
    pub(super) fn states_read(&self) -> Vec<Snapshot> {
        let read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        let is_one = |own: &&Snapshot| matches!(own.origin(), Origin::WorkTree | Origin::Index);
        read.0.iter().filter(is_one).map(Snapshot::without_overlay).collect()
    }

    /// Whether anything was read, or looked for in vain, that is no listed file of a state that was read.
    pub(super) fn read_more_than_states(&self) -> bool {
        let read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        let more = self.read_from.get().is_none_or(Place::has_more);
        more || read.1 || read.0.iter().any(Snapshot::has_strayed)
    }

    /// Judges a ledger, where nothing broken plays a part; says on `err` what is broken elsewhere.
    ///
    /// # Errors
    /// [`Failure`] with the faults where a broken record plays a part.
    pub fn evaluate(&self, loaded: &Loaded, err: &mut dyn Write) -> Result<Evaluation, Failure> {
        self.usable(loaded, Needs::Verdicts, None)?;
        let found = self.judged(&loaded.ledger).map_err(|missing| self.missing(loaded, &missing))?;
        self.note_broken(loaded, err)?;
        Ok(found)
    }

    /// As [`Context::evaluate`], beside another state that is judged already.
    ///
    /// # Errors
    /// As [`Context::evaluate`].
    pub fn evaluate_beside(
        &self,
        loaded: &Loaded,
        other: &Evaluation,
        err: &mut dyn Write,
    ) -> Result<Evaluation, Failure> {
        self.usable(loaded, Needs::Verdicts, None)?;
        let found = evaluate_beside(&loaded.ledger, self.today, other)
            .map_err(|missing| self.missing(loaded, &missing))?;
        self.note_broken(loaded, err)?;
        Ok(found)
    }

    /// Returns what decisions are held against: the commits of a place.
    pub fn past<'a>(&'a self, place: &'a Place) -> Past<'a> {
        Past { revisions: place, recall: &self.recall }
    }

    /// Returns a decision with its list places moved to where those entries stand now, where it was made on a commit
    /// whose records were others.
    ///
    /// # Errors
    /// [`DecideError`] where an entry is gone since, can't be told from its equals, or a record is called otherwise.
    pub fn settled(
        &self,
        place: &Place,
        loaded: &Loaded,
        decision: &Decision,
    ) -> Result<Decision, DecideError> {
        self.past(place).settled_here((&loaded.ledger, &loaded.snapshot), decision)
    }

    /// Finds the first commit that carries a decision out whole, held against its first parent; `None` where there
    /// is none.
    ///
    /// # Errors
    /// [`Failure`] where the history can't be read.
    pub fn application(
        &self,
        place: &Place,
        loaded: &Loaded,
        entry: &Entry<Decision>,
    ) -> Result<Option<Application>, Failure> {
        let state = (&loaded.ledger, &loaded.snapshot);
        self.past(place).application(state, &entry.id, &entry.value).map_err(|error| match error {
            PastError::Source(error) => error.into(),
            other => Failure::new(other.to_string(), "`bondline history` shows the commits"),
        })
    }

    /// The mass statement of the whole programme.
    ///
    /// # Errors
    /// [`Failure`] where a record is missing.
    pub fn statement(&self, loaded: &Loaded) -> Result<MassStatement, Failure> {
        statement_by(&loaded.ledger, Scope::Programme, Method::Causes)
            .map_err(|missing| self.missing(loaded, &missing))
    }

    /// Returns the place that was read from, once there is one.
    pub(super) fn read_from(&self) -> Option<&Place> {
        self.read_from.get()
    }

    /// Forgets the records of states that nobody holds any more.
    pub fn forget_others(&self) {
        self.recall.forget_others();
    }

    /// Returns what remembers records that several states share.
    pub fn recall(&self) -> &dyn Recall {
        &self.recall
    }

    /// Finds decisions that HEAD has as approved and that are something else in a state of the work tree or the index.
    ///
    /// # Errors
    /// [`Failure`] where the commit can't be read.
    pub fn altered_decisions(&self, place: &Place, loaded: &Loaded) -> Result<Vec<Altered>, Failure> {
        if place.repository().is_none() {
            return Ok(Vec::new());
        }
        let head = place.head_or_empty()?;
        let folder = RecordKind::Decision.folder();
        let ours = |file: &&FileEntry| file.path.split_once('/').is_some_and(|(own, _)| own == folder);
        let bytes = |snapshot: &Snapshot, file: &str| snapshot.read(file).ok().map(|bytes| bytes.to_vec());
        let same = |file: &str| {
            loaded.snapshot.entry(file).is_some() && bytes(&head, file) == bytes(&loaded.snapshot, file)
        };
        // Most often nobody has touched a decision, and the commit need not be read.
        if head.files().filter(ours).all(|file| same(&file.path)) {
            return Ok(Vec::new());
        }
        let head = self.read(head);
        let (base, now) = ((&head.ledger, &head.snapshot), (&loaded.ledger, &loaded.snapshot));
        let stands = standing(base, now, &self.past(place));
        Ok(altered(base.0, now.0, &diff(base.0, now.0), &stands))
    }

    /// Works out what approved decisions account for of the edits between two states.
    pub fn explain(&self, place: &Place, base: &Loaded, head: &Loaded, edits: &Edits) -> Explained {
        let past = self.past(place);
        let later = (&head.ledger, &head.snapshot);
        let mut found = explain((&base.ledger, &base.snapshot), later, edits, &past);
        // What is staged has no order yet.
        if head.snapshot.commit().is_some() {
            in_order(&mut found, &base.ledger, later, &past);
        }
        found
    }

    /// Finds the decisions that the edits between two states carry out whole.
    pub fn carried_out(&self, place: &Place, base: &Loaded, head: &Loaded, edits: &Edits) -> Vec<String> {
        carried_out((&base.ledger, &base.snapshot), &head.ledger, edits, &self.past(place))
    }

    /// Judges a ledger for an answer about one record, with what was allowed: a broken panel that has nothing
    /// to do with it is left out, and `err` says so.
    ///
    /// # Errors
    /// As [`Context::evaluate`].
    pub fn evaluate_for(
        &self,
        loaded: &Loaded,
        of: &Address,
        err: &mut dyn Write,
    ) -> Result<Evaluation, Failure> {
        self.usable(loaded, Needs::Verdicts, Some(of))?;
        let found = self
            .judged_in(&loaded.ledger, Detail::Allowed)
            .map_err(|missing| self.missing(loaded, &missing))?;
        let broken = &loaded.ledger.broken;
        let panels: Vec<String> = broken
            .iter()
            .filter(|address| matches!(address.kind(), RecordKind::Panel | RecordKind::Assembly))
            .map(ToString::to_string)
            .collect();
        if panels.is_empty() {
            self.note_broken(loaded, err)?;
        } else {
            let names = panels.join(", ");
            writeln!(
                err,
                "note: {names} cannot be read; what it asks is left out; `bondline check` says why"
            )?;
        }
        Ok(found)
    }

    /// Checks that no broken record plays a part, as far as that can be told from its kind, or where the
    /// answer is about one panel or assembly (`of`), from what that one rests on.
    ///
    /// # Errors
    /// [`Failure`] with the faults of the records that do.
    pub fn usable(&self, loaded: &Loaded, needs: Needs, of: Option<&Address>) -> Result<(), Failure> {
        let part = |kind: RecordKind| match (kind, of.map(Address::kind)) {
            (RecordKind::Ledger, _) => true,
            // An assembly that can't be read may hold the panel: how many there are is not known.
            (RecordKind::Assembly, Some(RecordKind::Panel)) => needs == Needs::Mass,
            (RecordKind::Showing | RecordKind::Evidence | RecordKind::Concession, Some(_)) => {
                needs == Needs::Verdicts
            }
            // The statement itself refuses a broken weighing where one of its panels is weighed.
            (_, Some(_)) => false,
            (RecordKind::Panel | RecordKind::Assembly | RecordKind::Weighing, None) => true,
            (RecordKind::Showing | RecordKind::Evidence | RecordKind::Concession, None) => {
                needs == Needs::Verdicts
            }
            _ => false,
        };
        let broken = &loaded.ledger.broken;
        if broken.is_empty() {
            return Ok(());
        }
        // Materials, recipes and the like play a part where a panel rests on them.
        let uses = Uses::of(&loaded.ledger);
        let mut reached: BTreeSet<Address> = BTreeSet::new();
        let roots: Vec<Address> = match of {
            Some(one) => {
                let above = uses.reached_from(one).into_iter().map(|one| one.address);
                let panels =
                    above.filter(|above| needs == Needs::Verdicts && above.kind() == RecordKind::Panel);
                std::iter::once(one.clone()).chain(panels).collect()
            }
            None => {
                let panels = loaded.ledger.panels.keys();
                panels.map(|panel| Address::new(RecordKind::Panel, panel.clone())).collect()
            }
        };
        for root in roots {
            let below = uses.reach(&root);
            reached.extend(below.into_iter().map(|one| one.address));
        }
        let playing: Vec<&Address> =
            broken.iter().filter(|address| part(address.kind()) || reached.contains(*address)).collect();
        if !playing.is_empty() {
            let more =
                if playing.len() > 3 { format!(" and {} more", playing.len() - 3) } else { String::new() };
            let names: Vec<String> = playing.iter().take(3).map(ToString::to_string).collect();
            return Err(Failure {
                message: format!("records that the answer rests on are broken ({}{more})", names.join(", ")),
                help: Some("mend the faults below; `bondline check` shows all".to_string()),
                faults: faults_of(&loaded.ledger, &playing),
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
        Failure {
            message: missing.to_string(),
            help: Some("mend the faults below; `bondline check` shows all".to_string()),
            faults: match missing {
                ArticleError::Missing { needed, .. } => faults_of(&loaded.ledger, &[needed]),
                ArticleError::Unstated { address, .. } | ArticleError::Unfit { address, .. } => {
                    faults_of(&loaded.ledger, &[address])
                }
            },
        }
    }
}

/// The end of a day in UTC, in seconds since 1970.
fn end_of(day: Day) -> i64 {
    let days = (day.0 - jiff::civil::date(1970, 1, 1)).get_days();
    (i64::from(days) + 1) * 86_400
}

/// The day by the machine's clock, in UTC.
fn clock() -> Day {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
    day_of(i64::try_from(since.as_secs()).unwrap_or(0))
}

fn empty_ledger() -> Ledger {
    Ledger::default()
}

/// Refuses to write into a ledger of a format that is not known.
pub(super) fn may_be_written(ledger: &Ledger) -> Result<(), Failure> {
    let Some(fault) = ledger.unknown_format() else { return Ok(()) };
    Err(Failure {
        message: "nothing is written into a ledger of a format that this program does not know".to_string(),
        help: fault.help.clone(),
        faults: vec![fault.clone()],
    })
}

/// The failure of writing files of the ledger.
pub(super) fn unwritten(error: WriteError) -> Failure {
    let mend = error.mend();
    Failure::new(error.to_string(), mend)
}

/// The failure of asking for a record that is there but can't be read.
pub(super) fn unreadable(ledger: &Ledger, address: &Address) -> Option<Failure> {
    ledger.broken.contains(address).then(|| Failure {
        message: format!("{address} cannot be read"),
        help: Some("mend the faults below; `bondline check` shows all".to_string()),
        faults: faults_of(ledger, &[address]),
    })
}

/// The errors in the files of some records; all errors where none stands there, as with a record that
/// another file's fault breaks.
fn faults_of(ledger: &Ledger, records: &[&Address]) -> Vec<Fault> {
    let of = |file: &str| {
        if file == "ledger.yaml" {
            return records.contains(&&Address::ledger());
        }
        let Some(kind) = file.split('/').next().and_then(RecordKind::by_folder) else { return false };
        let stem = file.rsplit('/').next().and_then(|name| name.strip_suffix(".yaml"));
        let id = stem.map(str::to_lowercase);
        records.iter().any(|one| one.kind() == kind && id.as_deref() == Some(one.id()))
    };
    let all = errors(ledger);
    let own: Vec<Fault> = all
        .iter()
        .filter(|fault| of(&fault.place.file) || fault.why.iter().any(|why| of(&why.place.file)))
        .cloned()
        .collect();
    if own.is_empty() { all } else { own }
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
    // Both may quote what a file holds.
    writeln!(err, "error: {}", shown(message))?;
    if let Some(help) = help {
        writeln!(err, "help: {}", shown(help))?;
    }
    for fault in list.iter().take(20) {
        let line = fault.place.line.map_or(String::new(), |line| format!(":{line}"));
        writeln!(err, "  {}{line}: {} ({})", shown(&fault.place.file), shown(&fault.message), fault.rule)?;
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
        return Some(match by_beginning(&found, ledger) {
            Some(whole) if ledger.file_of(&found).is_none() => whole,
            _ => found,
        });
    }
    if let Some(stem) = trimmed.strip_suffix(".yaml") {
        let folder = stem.split('/').find_map(RecordKind::by_folder)?;
        return Some(Address::new(folder, stem.rsplit('/').next()?));
    }
    let named = || kinds.iter().map(|kind| Address::new(*kind, trimmed));
    // One that is there but broken is no reason to speak of another.
    named()
        .find(|address| ledger.file_of(address).is_some())
        .or_else(|| named().find(|address| ledger.broken.contains(address)))
        .or_else(|| named().find_map(|address| by_beginning(&address, ledger)))
}

/// The record of one kind that an argument names.
///
/// # Errors
/// [`Failure`] where it can't be read, or where none is called so, with the nearest name.
pub fn named<'l, T>(
    text: &str,
    kind: RecordKind,
    records: &'l Records<T>,
    ledger: &Ledger,
) -> Result<&'l Entry<T>, Failure> {
    let found = address(text, &[kind], ledger);
    if let Some(failure) = found.as_ref().and_then(|found| unreadable(ledger, found)) {
        return Err(failure);
    }
    found.filter(|found| found.kind() == kind).and_then(|found| records.get(found.id())).ok_or_else(|| {
        let names: Vec<&str> = records.keys().map(String::as_str).collect();
        let help = of_another_kind(ledger, text, kind).unwrap_or_else(|| nearest(text, &names));
        Failure::new(format!("no {kind} is called `{text}`"), help)
    })
}

/// Says what kind of record is called so, where none of the wanted kind is.
pub(super) fn of_another_kind(ledger: &Ledger, text: &str, wanted: RecordKind) -> Option<String> {
    let id = text.strip_prefix(wanted.word()).and_then(|rest| rest.strip_prefix('/')).unwrap_or(text);
    let (own, what) = ledger.of_another_kind(id, wanted)?;
    Some(format!("`{id}` is {what}: `bondline why {own}` says what rests on it"))
}

/// The decision or concession whose id begins so, where there is only one.
fn by_beginning(address: &Address, ledger: &Ledger) -> Option<Address> {
    let known = match address.kind() {
        RecordKind::Decision => ledger.decision(address.id()).map(|entry| &entry.id),
        RecordKind::Concession => ledger.concession(address.id()).map(|entry| &entry.id),
        _ => return None,
    };
    let known = known.map(|id| Address::new(address.kind(), id));
    known.or_else(|| broken_by_beginning(address, ledger).cloned())
}

/// The record that is there but broken, by its id or the beginning of it.
pub(super) fn broken_by_beginning<'l>(address: &Address, ledger: &'l Ledger) -> Option<&'l Address> {
    let begins =
        |id: &str| id.strip_prefix(address.id()).is_some_and(|rest| rest.is_empty() || rest.starts_with('-'));
    ledger.broken.iter().find(|one| one.kind() == address.kind() && begins(one.id()))
}

/// The names that have a word which differs from a text by little, as they are shown; none where they are many.
fn by_word(text: &str, names: &[&str]) -> Vec<String> {
    let most = text.len() / 4;
    if most == 0 {
        return Vec::new();
    }
    let near = |name: &&&str| name.split('-').any(|word| crate::quantity::apart(text, word) <= most);
    let all: Vec<String> =
        names.iter().filter(near).take(HAVING_SHOWN + 1).map(|name| format!("`{name}`")).collect();
    if all.len() > HAVING_SHOWN { Vec::new() } else { all }
}

/// Names shown that have a word.
const HAVING_SHOWN: usize = 6;

/// Returns the nearest of some names, those that have all of it as words of theirs, or the list of all where they are
/// few.
pub fn nearest(text: &str, names: &[&str]) -> String {
    // Of an address the kind is known, where the names are ids.
    let are_ids = !names.iter().any(|name| name.contains('/'));
    let text = text.rsplit('/').next().filter(|_| are_ids).unwrap_or(text);
    let words = format!("-{text}-");
    let having: Vec<String> = names
        .iter()
        .filter(|name| !text.is_empty() && format!("-{name}-").contains(&words))
        .map(|name| format!("`{name}`"))
        .collect();
    if (1..=HAVING_SHOWN).contains(&having.len()) {
        return format!("did you mean {}?", having.join(" or "));
    }
    let best = names
        .iter()
        .map(|name| (crate::quantity::apart(text, name), name))
        .min_by_key(|(distance, name)| (*distance, name.len()));
    let by_word = by_word(text, names);
    match best {
        Some((distance, name)) if distance <= name.len() / 2 => format!("did you mean `{name}`?"),
        // One word of a name, and that misspelt.
        _ if !by_word.is_empty() => format!("did you mean {}?", by_word.join(" or ")),
        Some((_, only)) if names.len() == 1 => format!("there is only `{only}`"),
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
