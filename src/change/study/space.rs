//! What a study may combine: its variations, and the changes that a choice of them comes to.

use super::StudyError;
use crate::change::decide::{Overlay, overlay};
use crate::change::diff::short;
use crate::change::draft::bare;
use crate::graph::Uses;
use crate::ledger::{Ledger, VariedPlace, VariedTo, varied};
use crate::record::{Address, Change, Free, RecordKind, Study};
use crate::source::Snapshot;
use serde_json::Value;
use std::collections::BTreeSet;

/// One thing that varies.
#[derive(Debug, Clone, PartialEq)]
pub struct Variation {
    /// What people call it.
    pub name: String,
    /// The places that change together.
    pub places: Vec<VariedPlace>,
    /// What may stand there; the first is what stands there now.
    pub options: Vec<VariedTo>,
}

impl Variation {
    /// Returns the ids that may come to stand there, wherever in a value they are written.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        let mut all = Vec::new();
        for option in &self.options {
            if let VariedTo::Value(value) = option {
                words(value, &mut all);
            }
        }
        all.into_iter().map(|text| text.rsplit('/').next().unwrap_or(text))
    }
}

/// Which option of each variation a candidate takes; 0 leaves it as it is.
pub type Choice = Vec<u16>;

/// All variations of a study.
#[derive(Debug, Clone, PartialEq)]
pub struct Space {
    /// In the order of the study.
    pub variations: Vec<Variation>,
    /// For each, the records that an option of it may bring in, with all that lies behind them.
    pub brings: Vec<BTreeSet<Address>>,
}

impl Space {
    /// Looks the variations of a study up.
    ///
    /// # Errors
    /// [`StudyError`] names the variation that can't be tried.
    pub fn of(ledger: &Ledger, study: &Study) -> Result<Self, StudyError> {
        let mut variations: Vec<Variation> = Vec::new();
        for (at, vary) in study.vary.iter().enumerate() {
            let found = varied(ledger, vary).map_err(|fault| StudyError::Vary {
                at: at + 1,
                message: fault.message,
                help: fault.help,
            })?;
            let twice = found.places.iter().find(|place| {
                let same = |other: &VariedPlace| other.address == place.address && other.route == place.route;
                variations.iter().flat_map(|other| &other.places).any(same)
                    || found.places.iter().filter(|other| same(other)).count() > 1
            });
            if let Some(place) = twice {
                return Err(StudyError::Vary {
                    at: at + 1,
                    message: format!("`{}#{}` is varied twice", place.address, place.route),
                    help: "put all values into one variation".to_string(),
                });
            }
            let name = vary.name.as_ref().map_or_else(|| called(&found.places), ToString::to_string);
            variations.push(Variation { name, places: found.places, options: found.options });
        }
        let brings = brings(ledger, &variations);
        Ok(Self { variations, brings })
    }

    /// Returns the choice that leaves everything as it is.
    pub fn as_it_is(&self) -> Choice {
        vec![0; self.variations.len()]
    }

    /// Returns the changes that a choice comes to, as a decision would carry them.
    pub fn changes(&self, choice: &[u16]) -> Vec<Change> {
        let mut all = Vec::new();
        for (variation, option) in self.variations.iter().zip(choice) {
            let Some(to) = variation.options.get(usize::from(*option)) else { continue };
            for place in &variation.places {
                let at = format!("{}#{}", place.address, place.route);
                let was = free(&place.is);
                match to {
                    VariedTo::AsItIs => {}
                    VariedTo::Value(value) => {
                        all.push(Change { set: Some(at), was, to: free(value), ..Change::default() });
                    }
                    VariedTo::Dropped => all.push(Change { remove: Some(at), was, ..Change::default() }),
                }
            }
        }
        all
    }

    /// Returns the texts that a choice comes to, by the path that decisions take.
    ///
    /// # Errors
    /// [`StudyError`] where it can't be carried out.
    pub fn texts(&self, ledger: &Ledger, snapshot: &Snapshot, choice: &[u16]) -> Result<Overlay, StudyError> {
        Ok(overlay(ledger, snapshot, &[&bare(self.changes(choice))])?)
    }

    /// Whether a choice changes something within what it leaves out: that would be another choice again.
    pub fn contradicts(&self, choice: &[u16]) -> bool {
        let taken = || {
            self.variations.iter().zip(choice).filter(|(_, option)| **option != 0).flat_map(
                |(own, option)| {
                    let to = own.options.get(usize::from(*option));
                    own.places.iter().map(move |place| (place, to == Some(&VariedTo::Dropped)))
                },
            )
        };
        taken().filter(|(_, dropped)| *dropped).any(|(gone, _)| {
            taken().any(|(place, _)| {
                place.address == gone.address
                    && place.route.strip_prefix(&gone.route).is_some_and(|rest| rest.starts_with('.'))
            })
        })
    }

    /// Returns what a choice does, in words, one entry a variation.
    pub fn words(&self, choice: &[u16]) -> Vec<String> {
        let said = |(variation, option): (&Variation, &u16)| {
            let to = variation.options.get(usize::from(*option))?;
            match to {
                VariedTo::AsItIs => None,
                VariedTo::Value(value) => Some(format!("{}: {}", variation.name, short(value))),
                VariedTo::Dropped => Some(format!("{}: left out", variation.name)),
            }
        };
        self.variations.iter().zip(choice).filter_map(said).collect()
    }
}

/// Kinds of records that weigh, or that something of them is computed from, and that a value may name.
const NAMED: [RecordKind; 6] = [
    RecordKind::Material,
    RecordKind::Process,
    RecordKind::Tool,
    RecordKind::Finish,
    RecordKind::Recipe,
    RecordKind::Panel,
];

/// The records that each variation may bring in, all behind them, and what other variations may bring into those.
fn brings(ledger: &Ledger, variations: &[Variation]) -> Vec<BTreeSet<Address>> {
    let uses = Uses::of(ledger);
    let mut all: Vec<BTreeSet<Address>> = variations
        .iter()
        .map(|variation| {
            let mut own = BTreeSet::new();
            let names: BTreeSet<&str> = variation.names().collect();
            for kind in NAMED {
                let known = ledger.ids(kind);
                for id in names.iter().filter(|id| known.contains(id)) {
                    let address = Address::new(kind, (*id).to_string());
                    own.extend(uses.reach(&address).into_iter().map(|one| one.address));
                    own.insert(address);
                }
            }
            own
        })
        .collect();
    loop {
        let mut grown = false;
        for at in 0..all.len() {
            let Some(own) = all.get(at) else { continue };
            let holds = |(other, variation): &(usize, &Variation)| {
                *other != at && variation.places.iter().any(|place| own.contains(&place.address))
            };
            let behind = variations.iter().enumerate().filter(holds);
            let more: BTreeSet<Address> =
                behind.filter_map(|(other, _)| all.get(other)).flatten().cloned().collect();
            if let Some(own) = all.get_mut(at) {
                let before = own.len();
                own.extend(more);
                grown |= own.len() > before;
            }
        }
        if !grown {
            return all;
        }
    }
}

/// The words in a value, however deep.
fn words<'v>(value: &'v Value, all: &mut Vec<&'v str>) {
    match value {
        Value::String(text) => all.push(text),
        Value::Array(entries) => entries.iter().for_each(|own| words(own, all)),
        Value::Object(map) => map.values().for_each(|own| words(own, all)),
        _ => {}
    }
}

fn called(places: &[VariedPlace]) -> String {
    let names: Vec<String> =
        places.iter().map(|place| format!("{}#{}", place.address, place.route)).collect();
    names.join(" and ")
}

fn free(value: &Value) -> Option<Free> {
    serde_yaml::to_value(value).ok().map(Free)
}
