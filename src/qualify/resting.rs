//! The duties that rest on one record.

use super::behind::is_heated_by;
use super::duty::Duty;
use crate::article::{Face, Subject, Uses};
use crate::graph;
use crate::ledger::Ledger;
use crate::record::{Address, RecordKind};
use std::collections::BTreeSet;

/// A record, and what uses it.
pub struct Resting<'a> {
    ledger: &'a Ledger,
    found: &'a Address,
    /// The record and everything above it.
    above: BTreeSet<Address>,
}

impl<'a> Resting<'a> {
    /// Returns what rests on a record of a ledger.
    pub fn on(ledger: &'a Ledger, uses: &graph::Uses, found: &'a Address) -> Self {
        Self { ledger, found, above: uses.above(found).into_iter().collect() }
    }

    /// Returns the panels that use the record, of a panel itself.
    pub fn panels(&self) -> BTreeSet<String> {
        let panels = self.above.iter().filter(|own| own.kind() == RecordKind::Panel);
        panels.map(|own| own.id().to_string()).collect()
    }

    /// Returns whether a duty rests on the record, or is held against what a finish makes of the sun: that counts for what
    /// lies beneath it too.
    pub fn has(&self, duty: &Duty, uses: &Uses) -> bool {
        self.touches(duty) || self.heats(duty, uses)
    }

    /// Returns whether the record is a finish whose heat in the sun a duty has to bound.
    pub fn heats(&self, duty: &Duty, uses: &Uses) -> bool {
        self.found.kind() == RecordKind::Finish && is_heated_by(self.ledger, uses, duty, self.found.id())
    }

    /// Returns whether a duty's subject holds the record, on a panel that uses it.
    pub fn touches(&self, duty: &Duty) -> bool {
        let has = |kind: RecordKind, id: &str| self.above.contains(&Address::new(kind, id));
        match self.found.kind() {
            RecordKind::Showing => return duty.showing == self.found.id(),
            RecordKind::Evidence => {
                // What it was recorded for, and what it counts or came nearest for.
                return self.ledger.evidence.get(self.found.id()).is_some_and(|entry| {
                    let named = Subject::from_label(&entry.value.subject).as_ref() == Some(&duty.subject);
                    let met = duty.panels.values().any(|judged| {
                        judged.evidence.iter().chain(&judged.under_way).any(|id| id == self.found.id())
                    });
                    entry.value.showing.id() == duty.showing && (named || met)
                });
            }
            RecordKind::Panel => return duty.panels.contains_key(self.found.id()),
            RecordKind::Concession => {
                return self.ledger.concessions.get(self.found.id()).is_some_and(|entry| {
                    entry.value.showing.id() == duty.showing
                        && Subject::from_label(&entry.value.subject).as_ref() == Some(&duty.subject)
                });
            }
            // What is only proposed carries nothing; `impact` says what it would do.
            RecordKind::Decision | RecordKind::Study => return false,
            _ => {}
        }
        match &duty.subject {
            Subject::Lamina { material, resin, process } => {
                has(RecordKind::Material, material)
                    || resin.as_ref().is_some_and(|resin| has(RecordKind::Material, resin))
                    || has(RecordKind::Process, process)
            }
            Subject::Laminate(recipe) => has(RecordKind::Recipe, recipe),
            Subject::Painted(recipe, finish) => {
                has(RecordKind::Recipe, recipe)
                    || finish.as_ref().is_some_and(|finish| has(RecordKind::Finish, finish))
            }
            Subject::Bond { adhesive, process, faces } => {
                has(RecordKind::Material, adhesive)
                    || has(RecordKind::Process, process)
                    || faces.iter().any(|face| match face {
                        Face::Laminate(recipe) => has(RecordKind::Recipe, recipe),
                        Face::Sheet(material) => has(RecordKind::Material, material),
                    })
            }
            Subject::Sheet(material, _) => has(RecordKind::Material, material),
            Subject::Panel(panel) => has(RecordKind::Panel, panel),
            Subject::Programme => true,
        }
    }
}
