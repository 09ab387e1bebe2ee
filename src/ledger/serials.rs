//! The serials that a concession names, held against the pieces on record: one that is mistyped is of no piece, in silence.
//!
//! One that is on record nowhere may well be of a piece that is still to be weighed.

use super::sink::Sink;
use super::{Entry, Ledger};
use crate::record::{Concession, Weighing};
use std::collections::{BTreeMap, BTreeSet};

/// Finds serials that are named twice, that are those of another panel, and that are written otherwise than on record.
pub(super) fn odd(ledger: &Ledger, sink: &mut Sink, concession: &Concession) {
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
        let pieces = ledger
            .weighings
            .values()
            .filter_map(|own| Some((own.value.serial.as_ref()?.as_str(), own.value.panel.id())));
        let of: BTreeSet<&str> =
            pieces.clone().filter(|(own, _)| *own == serial).map(|(_, panel)| panel).collect();
        if of.is_empty() {
            let alike = |own: &str| plain(own) == plain(serial);
            let named = |own: &str| concession.serials.iter().any(|other| other.as_str() == own);
            let Some((other, _)) = pieces.clone().find(|(own, _)| alike(own) && !named(own)) else {
                continue;
            };
            let message =
                format!("no piece on record has the serial `{serial}`, but one is written `{other}`");
            sink.warning("odd-serial", at, message)
                .label("written otherwise")
                .help("write it here as in the weighing, or there as here: a serial counts by its letters as they are");
            continue;
        }
        let Some(panel) = concession.subject.panel.as_ref().map(|panel| panel.as_str()) else { continue };
        if !of.contains(panel) {
            let others: Vec<String> = of.into_iter().map(|id| format!("`{id}`")).collect();
            let message =
                format!("`{serial}` is on record as a piece of {}, not of `{panel}`", others.join(" and "));
            sink.warning("odd-serial", at, message)
                .label("a piece of another panel")
                .help(format!("write a serial of `{panel}`: this one takes nothing off it"));
        }
    }
}

/// Finds serials of pieces that are on record as those of two panels, and those that are written in two ways.
pub(super) fn weighed(ledger: &Ledger) -> Vec<Sink> {
    let mut first: BTreeMap<String, (&str, &Entry<Weighing>)> = BTreeMap::new();
    let mut sinks = Vec::new();
    for own in ledger.weighings.values() {
        let Some(serial) = own.value.serial.as_ref().map(|own| own.as_str()) else { continue };
        let key = plain(serial);
        let Some((was, other)) = first.get(&key) else {
            first.insert(key, (serial, own));
            continue;
        };
        let (panel, before) = (own.value.panel.id(), other.value.panel.id());
        let mut sink = Sink::new(&own.file);
        if panel != before && serial == *was {
            let message = format!(
                "`{serial}` is a piece of `{panel}` here, and of `{before}` in weighing/{}",
                other.id
            );
            sink.warning("odd-serial", "serial", message)
                .label("a piece of another panel")
                .help("correct the serial, or the panel, in one of the two");
        } else if panel == before && serial != *was {
            let message = format!(
                "`{serial}` is written `{was}` in weighing/{}: as they stand these are two pieces of `{panel}`",
                other.id
            );
            sink.warning("odd-serial", "serial", message)
                .label("written otherwise")
                .help("write it in one way, where it is one piece");
        }
        sinks.push(sink);
    }
    sinks
}

/// A serial without what people leave out or write in several ways.
fn plain(serial: &str) -> String {
    serial.chars().filter(|own| own.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}
