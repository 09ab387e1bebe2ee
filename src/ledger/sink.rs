//! Faults found in a record, before their places in the text are known.

use super::Files;
use super::places::Index;
use crate::record::{Fault, Level, Place, Why};
use crate::source::RECORD_LIMIT;
use std::collections::BTreeMap;

/// Where in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum At {
    /// The file as a whole.
    File,
    /// A route into a record.
    Route(String),
    /// The key of a route: what is wrong is its name, not its value.
    Key(String),
    /// A line, counted from 1.
    Line(usize),
}

impl From<&str> for At {
    fn from(route: &str) -> Self {
        if route.is_empty() { At::File } else { At::Route(route.to_string()) }
    }
}

impl From<String> for At {
    fn from(route: String) -> Self {
        At::from(route.as_str())
    }
}

impl From<&String> for At {
    fn from(route: &String) -> Self {
        At::from(route.as_str())
    }
}

/// One fault without a place in the text.
#[derive(Debug, Clone)]
pub(super) struct Raised {
    fault: Fault,
    at: At,
    why: Vec<(String, At, String)>,
}

impl Raised {
    /// Says what is marked.
    pub(super) fn label(&mut self, label: impl Into<String>) -> &mut Self {
        self.fault.label = label.into();
        self
    }

    /// Says what mends it.
    pub(super) fn help(&mut self, help: impl Into<String>) -> &mut Self {
        self.fault.help = Some(help.into());
        self
    }

    /// Adds another place that explains it.
    pub(super) fn why(&mut self, file: &str, at: impl Into<At>, label: impl Into<String>) -> &mut Self {
        self.why.push((file.to_string(), at.into(), label.into()));
        self
    }
}

/// Gathers the faults of one record.
#[derive(Debug)]
pub(super) struct Sink {
    file: String,
    raised: Vec<Raised>,
}

impl Sink {
    pub(super) fn new(file: &str) -> Self {
        Self { file: file.to_string(), raised: Vec::new() }
    }

    /// Adds an error at a route of the record.
    pub(super) fn error(
        &mut self,
        rule: &'static str,
        at: impl Into<At>,
        message: impl Into<String>,
    ) -> &mut Raised {
        let file = self.file.clone();
        self.elsewhere(Level::Error, rule, &file, at.into(), message.into())
    }

    /// Adds a warning at a route of the record.
    pub(super) fn warning(
        &mut self,
        rule: &'static str,
        at: impl Into<At>,
        message: impl Into<String>,
    ) -> &mut Raised {
        let file = self.file.clone();
        self.elsewhere(Level::Warning, rule, &file, at.into(), message.into())
    }

    /// Adds a note at a route of the record.
    pub(super) fn note(
        &mut self,
        rule: &'static str,
        at: impl Into<At>,
        message: impl Into<String>,
    ) -> &mut Raised {
        let file = self.file.clone();
        self.elsewhere(Level::Note, rule, &file, at.into(), message.into())
    }

    /// Adds a fault of this record that stands in another file, such as its data.
    pub(super) fn elsewhere(
        &mut self,
        level: Level,
        rule: &'static str,
        file: &str,
        at: At,
        message: String,
    ) -> &mut Raised {
        let fault = Fault { level, ..Fault::error(rule, Place::file(file), message) };
        self.raised.push_mut(Raised { fault, at, why: Vec::new() })
    }

    /// Returns whether there is an error at a route already.
    pub(super) fn is_refused(&self, route: &str) -> bool {
        let at = At::from(route);
        self.raised.iter().any(|raised| raised.at == at && raised.fault.level == Level::Error)
    }

    /// Returns whether any of the faults is an error.
    pub(super) fn has_errors(&self) -> bool {
        self.raised.iter().any(|raised| raised.fault.level == Level::Error)
    }
}

/// Finds the places of faults in the text: each file is read once more, and only where it has faults.
pub(super) fn settle(files: &dyn Files, sinks: Vec<Sink>) -> Vec<Fault> {
    let mut texts = Texts { files, known: BTreeMap::new() };
    let mut faults = Vec::new();
    for raised in sinks.into_iter().flat_map(|sink| sink.raised) {
        let mut fault = raised.fault;
        let file = std::mem::take(&mut fault.place.file);
        fault.place = texts.place(&file, &raised.at);
        for (file, at, label) in raised.why {
            fault.why.push(Why { place: texts.place(&file, &at), label });
        }
        faults.push(fault);
    }
    faults
}

struct Texts<'a> {
    files: &'a dyn Files,
    known: BTreeMap<String, Index>,
}

impl Texts<'_> {
    fn place(&mut self, file: &str, at: &At) -> Place {
        match at {
            At::File => Place::file(file),
            At::Line(line) => self.line(file, *line),
            At::Route(route) => self.index(file).place(file, route),
            At::Key(route) => self.index(file).key(file, route),
        }
    }

    fn text(&self, file: &str) -> String {
        let bytes = self.files.read(file, RECORD_LIMIT).unwrap_or_else(|_| std::sync::Arc::from([]));
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
        String::from_utf8_lossy(bytes).into_owned()
    }

    fn index(&mut self, file: &str) -> &Index {
        if !self.known.contains_key(file) {
            let index = Index::of(&self.text(file));
            self.known.insert(file.to_string(), index);
        }
        self.known.entry(file.to_string()).or_insert_with(|| Index::of(""))
    }

    /// A whole line, without the blanks around it; the line alone where the file is too large to show.
    fn line(&self, file: &str, line: usize) -> Place {
        let text = self.text(file);
        let mut start = 0;
        for (at, whole) in text.split_inclusive('\n').enumerate() {
            if at.saturating_add(1) == line {
                let inner = whole.trim();
                let lead = whole.len().saturating_sub(whole.trim_start().len());
                let first = start + lead;
                return Place {
                    line: Some(line),
                    column: Some(whole.get(..lead).map_or(1, |lead| lead.chars().count() + 1)),
                    span: Some((first, first + inner.len())),
                    ..Place::file(file)
                };
            }
            start += whole.len();
        }
        Place { line: Some(line), ..Place::file(file) }
    }
}
