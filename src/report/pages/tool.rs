//! The sheet of a tool: what it is, the chain it stands in, what is made in it and whether it bears that.

use super::Site;
use super::panel::tool_grid;
use super::records::{Made, common, used_and_using};
use super::tables::{self, Facts, Page};
use crate::ledger::{Entry, Ledger};
use crate::qualify::margins::{ToolCheck, tool_checks};
use crate::record::{Address, RecordKind, Tool};
use crate::report::page::count;
use serde_json::json;
use std::collections::BTreeSet;

/// Panels whose checks are looked at.
const PANELS: usize = 20;

/// Template, title and context.
pub(super) fn context(site: &Site<'_>, entry: &Entry<Tool>) -> Made {
    let (ledger, own) = (site.inputs.ledger, &*entry.value);
    let panels = site.known.panels_of_tool(&entry.id);
    let chain = chain(ledger, entry);
    let (mut checks, mut lacks): (Vec<ToolCheck>, BTreeSet<String>) = (Vec::new(), BTreeSet::new());
    for panel in panels.iter().take(PANELS).filter_map(|id| ledger.panels.get(*id)) {
        match tool_checks(ledger, &site.inputs.evaluation.duties, panel) {
            Ok((found, without)) => {
                checks.extend(
                    found
                        .into_iter()
                        .filter(|own| own.tool == entry.id)
                        .map(|own| ToolCheck { what: format!("{}, for {}", own.what, panel.id), ..own }),
                );
                lacks.extend(without);
            }
            Err(missing) => drop(lacks.insert(missing.to_string())),
        }
    }
    let failing = checks.iter().filter(|own| own.ok == Some(false)).count();
    let mut page = Page::default();
    page.put("called", json!(own.title));
    let pulls = own.pulls.as_ref().map_or(String::new(), |own| match (own.made, own.expected) {
        (made, Some(expected)) => format!(" {} of {expected} pulls are made.", made.unwrap_or(0)),
        (Some(made), None) => format!(" {} made.", count(made as usize, "pull")),
        (None, None) => String::new(),
    });
    let rules = match (checks.len(), failing) {
        (0, _) => "Nothing could be checked of it.".to_string(),
        (n, 0) => format!("{}: no rule is broken.", count(n, "check")),
        (n, broken) => format!("{}: {broken} not kept.", count(n, "check")),
    };
    let out = match panels.len() {
        0 => "no panel comes out of it".to_string(),
        n => format!("{} out of it", count(n, "panel")),
    };
    page.put("opening", json!(format!("A {}, {out}. {rules}{pulls}", own.kind)));
    page.put("facts_of", facts(own));
    common(&mut page, &entry.file, &own.notes);
    page.put("chain", json!(chain));
    page.put("panels", json!(panels));
    page.put("checks", tool_grid(&checks));
    page.put("lacks", json!(lacks.iter().take(40).collect::<Vec<_>>()));
    used_and_using(&mut page, site, &Address::new(RecordKind::Tool, &entry.id));
    ("tool.html", format!("tool/{}", entry.id), page)
}

/// What it was made from, and what that was made from; a circle ends where it closes.
fn chain(ledger: &Ledger, entry: &Entry<Tool>) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    let mut next = entry.value.from.as_ref();
    while let Some(from) = next {
        if from.id() == entry.id || all.iter().any(|known| known == from.id()) {
            break;
        }
        all.push(from.id().to_string());
        next = ledger.tools.get(from.id()).and_then(|own| own.value.from.as_ref());
    }
    all
}

fn facts(own: &Tool) -> Facts {
    let mut facts = Facts::default();
    facts.add("Kind", tables::text(own.kind.word()));
    facts.written("Body", own.body.as_ref().map(|own| own.as_str()));
    facts.written("Expansion", own.cte.as_ref().map(|own| own.text()));
    facts.written("Glass transition", own.tg.as_ref().map(|own| own.text()));
    facts.written("Surface", own.surface.as_ref().map(|own| own.as_str()));
    facts.written("Sealed", own.sealed.as_ref().map(|own| own.as_str()));
    facts.written("Survey", own.survey.as_ref().map(|own| own.as_str()));
    facts.written("Price", own.price.as_ref().map(|own| own.text()));
    if !own.footprint.is_empty() {
        let sides: Vec<&str> = own.footprint.iter().map(|own| own.text()).collect();
        facts.written("Footprint", Some(sides.join(" x ")));
    }
    facts.written("Stackable", own.stackable.map(|own| if own { "yes" } else { "no" }));
    facts.written("Owner", own.owner.as_ref());
    facts.written("Specification", own.spec.as_ref());
    facts.written("Source", own.source.as_ref());
    facts
}
