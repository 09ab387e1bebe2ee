//! What a study may combine: its variations, and the changes that a choice of them comes to.

use super::StudyError;
use crate::change::decide::{Overlay, overlay};
use crate::change::diff::short;
use crate::change::draft::bare;
use crate::ledger::{Ledger, VariedPlace, VariedTo, varied};
use crate::record::{Change, Free, Study};
use crate::source::Snapshot;
use serde_json::Value;

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
    /// Returns the ids that may come to stand there, where it is words that stand there.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.options.iter().filter_map(|option| match option {
            VariedTo::Value(Value::String(text)) => Some(text.rsplit('/').next().unwrap_or(text)),
            _ => None,
        })
    }
}

/// Which option of each variation a candidate takes; 0 leaves it as it is.
pub type Choice = Vec<u16>;

/// All variations of a study.
#[derive(Debug, Clone, PartialEq)]
pub struct Space {
    /// In the order of the study.
    pub variations: Vec<Variation>,
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
        Ok(Self { variations })
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

fn called(places: &[VariedPlace]) -> String {
    let names: Vec<String> =
        places.iter().map(|place| format!("{}#{}", place.address, place.route)).collect();
    names.join(" and ")
}

fn free(value: &Value) -> Option<Free> {
    serde_yaml::to_value(value).ok().map(Free)
}
