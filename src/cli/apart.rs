//! What an answer about one record can rest on where others are broken.

use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::record::{Address, Child, RecordKind};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Returns a ledger without the panels that rest on a broken record, and those panels; assemblies are left without
/// them, and without what is broken itself. `None` where nothing is broken.
pub(super) fn from_broken(ledger: &Ledger) -> Option<(Ledger, BTreeSet<Address>)> {
    if ledger.broken.is_empty() {
        return None;
    }
    let uses = Uses::of(ledger);
    let above = ledger.broken.iter().flat_map(|broken| uses.above(broken));
    let rests = |one: &Address| one.kind() == RecordKind::Panel && ledger.panels.contains_key(one.id());
    let panels: BTreeSet<Address> = above.filter(rests).collect();
    let is_gone = |kind: RecordKind, id: &str| {
        let own = Address::new(kind, id);
        panels.contains(&own) || ledger.broken.contains(&own)
    };
    let stays = |child: &Child| {
        let panel = child.panel.as_ref().is_some_and(|own| is_gone(RecordKind::Panel, own.id()));
        let assembly = child.assembly.as_ref().is_some_and(|own| is_gone(RecordKind::Assembly, own.id()));
        let part = child.part.as_ref().is_some_and(|own| is_gone(RecordKind::Material, own.id()));
        !(panel || assembly || part)
    };
    let mut rest = ledger.clone();
    // An assembly that can't be read may hold any panel; a panel holds nothing but its own.
    rest.broken.retain(|own| own.kind() != RecordKind::Panel);
    rest.panels.retain(|id, _| !panels.contains(&Address::new(RecordKind::Panel, id)));
    for assembly in rest.assemblies.values_mut() {
        if !assembly.value.children.iter().all(stays) {
            Arc::make_mut(&mut assembly.value).children.retain(stays);
        }
    }
    Some((rest, panels))
}
