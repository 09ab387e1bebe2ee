//! Decisions laid over a state in memory: `--with`, `impact DECISION`, `compare`.

use super::args::{Source, With};
use super::context::{Context, Failure, Loaded, broken_by_beginning, nearest, unreadable};
use super::decide::way_on;
use crate::change::decide::overlay;
use crate::ledger::{Entry, Ledger};
use crate::record::{Address, Decision, RecordKind};
use crate::report::page::fold;
use crate::source::Place;
use serde_json::{Value, json};
use std::io::{self, Write};

/// A decision with its whole id.
pub type Named<'a> = (String, &'a Decision);

impl Context {
    /// Reads the state that was asked for, with the decisions of `--with` laid over it in the order given; no
    /// file is edited.
    ///
    /// # Errors
    /// [`Failure`] where the state can't be had, a decision is not known, or one can't be carried out.
    pub fn load_with(&self, place: &Place, source: &Source, with: &With) -> Result<Loaded, Failure> {
        let asked = with.names()?;
        if asked.is_empty() {
            return self.load_alone(place, source);
        }
        self.load_laid(place, source, &asked)
    }

    /// As [`Context::load_with`], where further states are read after it: what they have in common is read once.
    ///
    /// # Errors
    /// As [`Context::load_with`].
    pub fn load_first(&self, place: &Place, source: &Source, with: &With) -> Result<Loaded, Failure> {
        let asked = with.names()?;
        if asked.is_empty() { self.load(place, source) } else { self.load_laid(place, source, &asked) }
    }

    fn load_laid(&self, place: &Place, source: &Source, asked: &[String]) -> Result<Loaded, Failure> {
        let current = self.load(place, source)?;
        let found = some_decisions(&current.ledger, asked)?;
        self.laid_over(place, &current, &found)
    }

    /// Lays decisions over a state that is read, in the order given.
    ///
    /// # Errors
    /// [`Failure`] with the reason where one can't be carried out.
    pub fn laid_over(
        &self,
        place: &Place,
        current: &Loaded,
        decisions: &[Named<'_>],
    ) -> Result<Loaded, Failure> {
        // List places are followed to where their entries stand now.
        let settled = decisions.iter().map(|(id, decision)| {
            self.settled(place, current, decision).map_err(|fault| {
                let help = way_on(id, decision.status, &fault);
                Failure::new(format!("{id} can't be carried out: {fault}"), help)
            })
        });
        let settled: Vec<Decision> = settled.collect::<Result<_, _>>()?;
        let list: Vec<&Decision> = settled.iter().collect();
        let texts = overlay(&current.ledger, &current.snapshot, &list).map_err(|fault| {
            // With several, the first one that can't follow those before it.
            let stuck = (1..list.len()).find(|n| {
                list.get(..*n).is_some_and(|some| overlay(&current.ledger, &current.snapshot, some).is_err())
            });
            let which = decisions.get(stuck.unwrap_or(list.len()).saturating_sub(1));
            let whose = which.map_or_else(String::new, |(id, _)| format!("{id} can't be carried out: "));
            let after = if stuck != Some(1) && list.len() > 1 { " after those before it" } else { "" };
            let whose = whose.replace(" can't be carried out", &format!(" can't be carried out{after}"));
            let alone = |decision: &Decision| {
                let own = self.settled(place, current, decision).ok();
                own.is_some_and(|own| overlay(&current.ledger, &current.snapshot, &[&own]).is_ok())
            };
            let help = which.map_or_else(String::new, |(id, decision)| match alone(decision) && list.len() > 1 {
                // The record has not moved on: those before it take hold of the same.
                true => format!(
                    "{id} fits the records by itself: it and one before it leave the same place otherwise, and only one of them can be carried out as it is"
                ),
                false => way_on(id, decision.status, &fault),
            });
            Failure::new(format!("{whose}{fault}"), help)
        })?;
        let mut head = self.read(current.snapshot.overlay(texts));
        head.with = decisions.iter().map(|(id, _)| id.clone()).collect();
        head.is_laid = true;
        Ok(head)
    }

    /// Says first of all what is laid over the records, where something is; in JSON the document says it.
    ///
    /// # Errors
    /// Where `out` takes no more.
    pub fn say_laid(&self, loaded: &Loaded, out: &mut dyn Write) -> io::Result<()> {
        if loaded.with.is_empty() || self.json() {
            return Ok(());
        }
        let state = loaded.snapshot.label();
        let words = format!("With {} laid over {}; no file is edited.", loaded.with.join(", then "), {
            if state == "work tree" || state == "index" { format!("the {state}") } else { state }
        });
        for line in fold(&words, self.width.max(40)) {
            writeln!(out, "{line}")?;
        }
        writeln!(out)
    }
}

impl Loaded {
    /// Adds to a document what is laid over the records, where something is, as `with`: ids in the order
    /// in which they are laid.
    pub fn document(&self, mut document: Value) -> Value {
        if let Some(map) = document.as_object_mut().filter(|_| !self.with.is_empty()) {
            map.insert("with".to_string(), json!(self.with));
        }
        document
    }
}

/// Reads all names as decisions, by id or by a beginning that only one has.
///
/// # Errors
/// [`Failure`] where one is not known, is the beginning of several, is named twice or can't be read.
pub fn some_decisions<'a>(ledger: &'a Ledger, of: &[String]) -> Result<Vec<Named<'a>>, Failure> {
    let mut all: Vec<Named<'a>> = Vec::new();
    for text in of {
        let Some(found) = decision(ledger, text)? else { return Err(unknown(ledger, text)) };
        if all.iter().any(|(id, _)| *id == found.0) {
            return Err(Failure::new(format!("{} is named twice", found.0), "name each decision once"));
        }
        all.push(found);
    }
    Ok(all)
}

/// Reads all arguments as decisions; `None` where none of them is one, and they may be revisions.
///
/// # Errors
/// As [`some_decisions`], where some are decisions and others are not.
pub fn all_or_no_decisions<'a>(ledger: &'a Ledger, of: &[String]) -> Result<Option<Vec<Named<'a>>>, Failure> {
    let mut any = of.iter().any(|text| text.starts_with("dd-") || text.starts_with("decision/"));
    for text in of {
        any |= decision(ledger, text)?.is_some();
    }
    if any { some_decisions(ledger, of).map(Some) } else { Ok(None) }
}

/// The decision that a text names, by id, by a beginning that only one has, or by its file.
///
/// # Errors
/// [`Failure`] where there is none, where there are several, or it can't be read.
pub fn one_decision<'a>(ledger: &'a Ledger, text: &str) -> Result<&'a Entry<Decision>, Failure> {
    entry(ledger, text)?.ok_or_else(|| unknown(ledger, text))
}

fn decision<'a>(ledger: &'a Ledger, text: &str) -> Result<Option<Named<'a>>, Failure> {
    Ok(entry(ledger, text)?.map(|entry| (entry.id.clone(), &*entry.value)))
}

/// The decision that a text names; `None` where it names none.
fn entry<'a>(ledger: &'a Ledger, text: &str) -> Result<Option<&'a Entry<Decision>>, Failure> {
    let name =
        text.trim_start_matches("decision/").trim_start_matches("decisions/").trim_end_matches(".yaml");
    let all = &ledger.decisions;
    let fits: Vec<_> = match all.get(name) {
        Some(entry) => vec![entry],
        None => all.values().filter(|entry| entry.id.starts_with(&format!("{name}-"))).collect(),
    };
    match fits.as_slice() {
        [only] => Ok(Some(*only)),
        // One that is there but broken is not one that is missing.
        [] => broken(ledger, name).map_or(Ok(None), Err),
        many => {
            let names: Vec<&str> = many.iter().map(|entry| entry.id.as_str()).collect();
            Err(Failure::new(
                format!("`{text}` is the beginning of several decisions"),
                format!(
                    "name one of {}; `bondline decide renumber` gives one another number",
                    names.join(", ")
                ),
            ))
        }
    }
}

fn unknown(ledger: &Ledger, text: &str) -> Failure {
    let broken = ledger.broken.iter().filter(|one| one.kind() == RecordKind::Decision);
    let names: Vec<&str> =
        ledger.decisions.keys().map(String::as_str).chain(broken.map(Address::id)).collect();
    Failure::new(format!("no decision is called `{text}`"), nearest(text, &names))
}

/// Says what is wrong with a decision that is there, by its id or its beginning, but can't be read.
fn broken(ledger: &Ledger, name: &str) -> Option<Failure> {
    let found = broken_by_beginning(&Address::new(RecordKind::Decision, name), ledger)?;
    unreadable(ledger, found)
}

impl With {
    /// The names, trimmed.
    fn names(&self) -> Result<Vec<String>, Failure> {
        let all: Vec<String> = self.with.iter().map(|text| text.trim().to_string()).collect();
        if all.iter().any(String::is_empty) {
            let help = "write `--with dd-007`, or several with commas: `--with dd-007,dd-009`";
            return Err(Failure::new("`--with` names no decision", help));
        }
        Ok(all)
    }
}
