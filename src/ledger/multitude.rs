//! Assemblies that hold more than can be counted.

use super::Ledger;
use super::known::entry;
use super::sink::Sink;
use crate::record::{Address, RecordKind};
use std::collections::BTreeMap;

/// Counts beyond this are slips: no fleet has so many rivets, and beyond 2^53 they would lose their last
/// digit.
pub const MOST_PIECES: u64 = 1_000_000_000_000;

/// Finds the assemblies whose children, counted all the way down, are more than [`MOST_PIECES`]; those above
/// one of them are not named for it. Circles are gone before.
pub(super) fn all(ledger: &Ledger) -> Vec<(Address, Sink)> {
    let mut found = Vec::new();
    let mut totals: BTreeMap<&str, u64> = BTreeMap::new();
    // Without recursion: a chain may be as long as a ledger.
    let mut waiting: Vec<(&str, bool)> = ledger.assemblies.keys().map(|id| (id.as_str(), false)).collect();
    while let Some((id, ready)) = waiting.pop() {
        let Some(own) = ledger.assemblies.get(id) else { continue };
        if totals.contains_key(id) {
            continue;
        }
        if !ready {
            waiting.push((id, true));
            let inner = own.value.children.iter().filter_map(|child| child.assembly.as_ref());
            let unknown = inner.map(|inner| inner.id()).filter(|inner| !totals.contains_key(inner));
            waiting.extend(unknown.map(|inner| (inner, false)));
            continue;
        }
        let mut total: u64 = 0;
        for (index, child) in own.value.children.iter().enumerate() {
            let of_panel = child
                .panel
                .as_ref()
                .and_then(|panel| ledger.panels.get(panel.id()))
                .and_then(|panel| panel.value.quantity);
            let count = u64::from(child.count.or(of_panel).unwrap_or(1));
            let each =
                child.assembly.as_ref().map_or(1, |inner| totals.get(inner.id()).copied().unwrap_or(0));
            let sum = count.checked_mul(each).and_then(|all| total.checked_add(all));
            if let Some(sum) = sum.filter(|sum| *sum <= MOST_PIECES) {
                total = sum;
                continue;
            }
            let mut sink = Sink::new(&own.file);
            let what =
                format!("the children of `{id}`, counted all the way down, are more than {MOST_PIECES}");
            sink.error("out-of-range", entry("children", index, ""), what)
                .label("too many")
                .help("correct the counts here or below");
            found.push((Address::new(RecordKind::Assembly, id), sink));
            total = 0;
            break;
        }
        totals.insert(id, total);
    }
    found
}
