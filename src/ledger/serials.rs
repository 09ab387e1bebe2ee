//! The serials that a concession names, held against the pieces on record: one that is mistyped is of no piece, in silence.
//!
//! One that is on record nowhere may well be of a piece that is still to be weighed.

use super::sink::Sink;
use super::{Entry, Ledger};
use crate::record::{Concession, Weighing};
use std::collections::{BTreeMap, BTreeSet};

/// The serials of all weighings.
#[derive(Debug, Default)]
pub(super) struct Serials<'a> {
    /// The panels that a serial is on record for.
    panels: BTreeMap<&'a str, BTreeSet<&'a str>>,
    /// The first serial of each form.
    forms: BTreeMap<String, &'a str>,
}

impl<'a> Serials<'a> {
    /// Looks them up where a concession will ask for them.
    pub(super) fn of(ledger: &'a Ledger) -> Self {
        let mut all = Self::default();
        if ledger.concessions.values().all(|own| own.value.serials.is_empty()) {
            return all;
        }
        for own in ledger.weighings.values() {
            let Some(serial) = own.value.serial.as_ref().map(|own| own.as_str()) else { continue };
            all.panels.entry(serial).or_default().insert(own.value.panel.id());
            all.forms.entry(form(serial)).or_insert(serial);
        }
        all
    }
}

/// Finds serials that are named twice, that are those of another panel, and that are written otherwise than on record.
pub(super) fn odd(known: &Serials<'_>, sink: &mut Sink, concession: &Concession) {
    let all: BTreeSet<&str> = concession.serials.iter().map(|serial| serial.as_str()).collect();
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    for (index, serial) in concession.serials.iter().enumerate() {
        let (serial, at) = (serial.as_str(), format!("serials.{}", index + 1));
        if serial.is_empty() {
            continue;
        }
        if !seen.insert(serial) {
            sink.warning("odd-serial", at, format!("`{serial}` is named twice: it is one piece"))
                .label("once more")
                .help("take it out, or write the serial of the other piece");
            continue;
        }
        let Some(of) = known.panels.get(serial) else {
            let other = known.forms.get(&form(serial)).filter(|other| !all.contains(**other));
            if let Some(other) = other {
                let message =
                    format!("no piece on record has the serial `{serial}`, but one is written `{other}`");
                sink.warning("odd-serial", at, message)
                    .label("written otherwise")
                    .help("write it here as in the weighing, or there as here: a serial counts by its letters as they are");
            }
            continue;
        };
        let Some(panel) = concession.subject.panel.as_ref().map(|panel| panel.as_str()) else { continue };
        if !of.contains(panel) {
            let others: Vec<String> = of.iter().map(|id| format!("`{id}`")).collect();
            let message =
                format!("`{serial}` is on record as a piece of {}, not of `{panel}`", others.join(" and "));
            sink.warning("odd-serial", at, message)
                .label("a piece of another panel")
                .help(format!("write a serial of `{panel}`: this one takes nothing off it"));
        }
    }
}

/// Finds serials of pieces that are on record as those of two panels, and those of one panel that are written in two ways.
pub(super) fn weighed(ledger: &Ledger) -> Vec<Sink> {
    let mut panels: BTreeMap<&str, &Entry<Weighing>> = BTreeMap::new();
    let mut forms: BTreeMap<(&str, String), (&str, &str)> = BTreeMap::new();
    let mut sinks = Vec::new();
    for own in ledger.weighings.values() {
        let Some(serial) = own.value.serial.as_ref().map(|own| own.as_str()) else { continue };
        let panel = own.value.panel.id();
        let first = panels.entry(serial).or_insert(own);
        let (was, other) = *forms.entry((panel, form(serial))).or_insert((serial, &own.id));
        let mut say = |message: String, label: &str, help: &str| {
            let mut sink = Sink::new(&own.file);
            sink.warning("odd-serial", "serial", message).label(label).help(help);
            sinks.push(sink);
        };
        if first.value.panel.id() != panel {
            let message = format!(
                "`{serial}` is a piece of `{panel}` here, and of `{}` in weighing/{}",
                first.value.panel.id(),
                first.id
            );
            say(message, "a piece of another panel", "correct the serial, or the panel, in one of the two");
        } else if was != serial {
            let message = format!(
                "`{serial}` is written `{was}` in weighing/{other}: as they stand these are two pieces of `{panel}`"
            );
            say(message, "written otherwise", "write it in one way, where it is one piece");
        }
    }
    sinks
}

/// A serial without what people write in several ways: small and capital letters, and what stands between.
fn form(serial: &str) -> String {
    let parts = serial.split(|own: char| !own.is_alphanumeric()).filter(|part| !part.is_empty());
    parts.map(str::to_lowercase).collect::<Vec<_>>().join("-")
}
