//! Which panels a change of records has to do with: what the others ask, and of what, is as it was.

use crate::graph::Uses;
use crate::ledger::{Entry, Ledger, Records};
use crate::record::{
    Address, AppliesTo, Finish, LedgerHead, Material, Panel, Process, Recipe, RecordKind, Showing, Tool,
};
use std::collections::BTreeSet;
use std::sync::Arc;

/// The records of a state that panels, their subjects and what they ask follow from.
#[derive(Debug)]
pub(super) struct Design {
    head: Option<LedgerHead>,
    materials: Records<Material>,
    processes: Records<Process>,
    tools: Records<Tool>,
    finishes: Records<Finish>,
    recipes: Records<Recipe>,
    panels: Records<Panel>,
}

/// What of the design differs between two states.
#[derive(Debug)]
pub(super) struct Touched {
    /// Panels that were changed, added or taken away, and those that use, however far down, what was.
    pub(super) panels: BTreeSet<String>,
    /// Whether nothing but panels differs.
    pub(super) is_panels_alone: bool,
}

impl Design {
    pub(super) fn of(ledger: &Ledger) -> Self {
        Self {
            head: ledger.head.clone(),
            materials: ledger.materials.clone(),
            processes: ledger.processes.clone(),
            tools: ledger.tools.clone(),
            finishes: ledger.finishes.clone(),
            recipes: ledger.recipes.clone(),
            panels: ledger.panels.clone(),
        }
    }

    /// Returns what differs in another state; `None` where that can touch every panel.
    pub(super) fn touched(&self, ledger: &Ledger) -> Option<Touched> {
        if self.head != ledger.head {
            return None;
        }
        let mut below = Vec::new();
        differing(RecordKind::Material, &self.materials, &ledger.materials, &mut below);
        differing(RecordKind::Process, &self.processes, &ledger.processes, &mut below);
        differing(RecordKind::Tool, &self.tools, &ledger.tools, &mut below);
        differing(RecordKind::Finish, &self.finishes, &ledger.finishes, &mut below);
        differing(RecordKind::Recipe, &self.recipes, &ledger.recipes, &mut below);
        let is_panels_alone = below.is_empty();
        let mut own = Vec::new();
        differing(RecordKind::Panel, &self.panels, &ledger.panels, &mut own);
        let mut panels: BTreeSet<String> = own.iter().map(|panel| panel.id().to_string()).collect();
        if !is_panels_alone {
            // A panel that used something in the other state alone is changed itself, or by something between.
            let uses = Uses::of(ledger);
            let above = below.iter().flat_map(|one| uses.above(one));
            panels.extend(
                above.filter(|one| one.kind() == RecordKind::Panel).map(|panel| panel.id().to_string()),
            );
        }
        Some(Touched { panels, is_panels_alone })
    }
}

/// Lists the records that are not the very same in both states.
fn differing<T>(kind: RecordKind, was: &Records<T>, is: &Records<T>, all: &mut Vec<Address>) {
    let same = |one: &Entry<T>, other: &Records<T>| {
        // What was read from the same bytes is held once; equal values elsewhere merely count as different.
        other.get(&one.id).is_some_and(|other| Arc::ptr_eq(&one.value, &other.value))
    };
    let gone = was.values().filter(|one| !is.contains_key(&one.id));
    let new = is.values().filter(|one| !same(one, was));
    all.extend(gone.chain(new).map(|one| Address::new(kind, &one.id)));
}

impl Touched {
    /// Returns whether a showing is asked of the untouched panels just as it was.
    pub(super) fn leaves(&self, showing: &Showing) -> bool {
        // Materials and recipes that it names narrow the subjects, whoever uses those.
        let narrows = |applies: &AppliesTo| !applies.material.is_empty() || !applies.recipe.is_empty();
        self.is_panels_alone || !showing.applies_to.as_ref().is_some_and(narrows)
    }
}
