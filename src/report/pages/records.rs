//! Sheets of records: which there are, and what each kind shows.

use super::Site;
use crate::ledger::{Ledger, Records};
use crate::record::{Address, RecordKind};
use crate::report::page::count;
use serde_json::{Map, Value, json};

/// Returns the ids of a kind.
pub(super) fn ids(ledger: &Ledger, kind: RecordKind) -> Vec<String> {
    fn all<T>(records: &Records<T>) -> Vec<String> {
        records.keys().cloned().collect()
    }
    match kind {
        RecordKind::Panel => all(&ledger.panels),
        RecordKind::Recipe => all(&ledger.recipes),
        RecordKind::Finish => all(&ledger.finishes),
        RecordKind::Showing => all(&ledger.showings),
        RecordKind::Evidence => all(&ledger.evidence),
        RecordKind::Decision => all(&ledger.decisions),
        RecordKind::Tool => all(&ledger.tools),
        _ => Vec::new(),
    }
}

/// Returns whether a record that may have a page is there.
pub(super) fn has(ledger: &Ledger, address: &Address) -> bool {
    let id = address.id();
    match address.kind() {
        RecordKind::Panel => ledger.panels.contains_key(id),
        RecordKind::Recipe => ledger.recipes.contains_key(id),
        RecordKind::Finish => ledger.finishes.contains_key(id),
        RecordKind::Showing => ledger.showings.contains_key(id),
        RecordKind::Evidence => ledger.evidence.contains_key(id),
        RecordKind::Decision => ledger.decisions.contains_key(id),
        RecordKind::Tool => ledger.tools.contains_key(id),
        _ => false,
    }
}

/// The list of a kind: template, title and context.
pub(super) fn list(site: &Site<'_>, kind: RecordKind) -> (&'static str, String, Map<String, Value>) {
    let ids = ids(site.inputs.ledger, kind);
    let mut all = Map::new();
    all.insert("opening".to_string(), json!(format!("{}.", count(ids.len(), kind.word()))));
    all.insert("kind".to_string(), json!(kind.word()));
    all.insert("ids".to_string(), json!(ids));
    let mut title = kind.folder().to_string();
    if let Some(first) = title.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    ("list.html", title, all)
}

/// One record: template, title and context.
pub(super) fn record(_: &Site<'_>, kind: RecordKind, id: &str) -> (&'static str, String, Map<String, Value>) {
    let mut all = Map::new();
    all.insert("kind".to_string(), json!(kind.word()));
    all.insert("id".to_string(), json!(id));
    ("record.html", format!("{kind}/{id}"), all)
}
