//! Sheets of records: which there are, and what each kind shows.

use super::Site;
use super::tables::{self, Grid, Page};
use crate::graph::Use;
use crate::ledger::{Ledger, Records};
use crate::record::{Address, RecordKind};
use serde_json::json;

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

/// Template, title and context of a sheet.
pub(super) type Made = (&'static str, String, Page);

/// Rows of what a record rests on.
const ROWS: usize = 100;

/// One record: template, title and context.
pub(super) fn record(site: &Site<'_>, kind: RecordKind, id: &str) -> Made {
    let ledger = site.inputs.ledger;
    let made = match kind {
        RecordKind::Panel => ledger.panels.get(id).map(|own| super::panel::context(site, own)),
        RecordKind::Recipe => ledger.recipes.get(id).map(|own| super::recipe::context(site, own)),
        RecordKind::Evidence => ledger.evidence.get(id).map(|own| super::evidence::context(site, own)),
        RecordKind::Finish => ledger.finishes.get(id).map(|own| super::finish::context(site, own)),
        RecordKind::Showing => ledger.showings.get(id).map(|own| super::showing::context(site, own)),
        RecordKind::Decision => ledger.decisions.get(id).map(|own| super::decision::context(site, own)),
        RecordKind::Tool => ledger.tools.get(id).map(|own| super::tool::context(site, own)),
        _ => None,
    };
    // Nobody asks for a sheet that is not among those of the site.
    made.unwrap_or_else(|| ("record.html", format!("{kind}/{id}"), Page::default()))
}

/// Puts what every sheet of a record says: its file and its notes.
pub(super) fn common(page: &mut Page, file: &str, notes: &Option<String>) {
    page.put("file", json!(file));
    page.put("notes", json!(notes));
}

/// Puts what a record uses and what uses it, as it is written.
pub(super) fn used_and_using(page: &mut Page, site: &Site<'_>, of: &Address) {
    let table = |name: &str, all: Vec<Use>, other: &dyn Fn(&Use) -> Address| {
        let mut grid = Grid::new(name, vec![("Record", false), ("Kind", false), ("Where", false)]);
        for one in &all {
            let at = other(one);
            grid.row(vec![
                tables::record(at.kind().word(), at.id()),
                tables::text(at.kind().word()),
                tables::text(&one.route),
            ]);
        }
        grid.at_most(ROWS, "`bondline why` with `--uses` or `--used-by` has them")
    };
    let graph = &site.known.graph;
    page.put("uses", table("What it uses", graph.uses(of), &|one| one.to.clone()));
    page.put("used_by", table("What uses it", graph.used_by(of), &|one| one.from.clone()));
}
