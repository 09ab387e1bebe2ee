//! What a state comes to: its mass, the verdicts of its duties, how far it is ready for each milestone; of the whole
//! programme, of a group of panels or of one record.

use crate::article::ArticleError;
use crate::article::weigh::{
    assembly_mass, group_mass, group_name, groups, mass_of_panels, panel_mass, programme_mass,
};
use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::qualify::duty::{Duty, Verdict};
use crate::qualify::gaps::{Ready, tally};
use crate::qualify::resting::Resting;
use crate::qualify::verdict::Evaluation;
use crate::record::{Address, RecordKind};
use std::collections::{BTreeMap, BTreeSet};

/// What a history is of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Of {
    /// The whole programme.
    Programme,
    /// The panels and parts of a group.
    Group(String),
    /// One record.
    Record(Address),
}

/// What a state comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// Duties by verdict.
    pub counts: BTreeMap<&'static str, usize>,
    /// How far it is ready, by milestone in the order of the ledger.
    pub ready: Vec<Ready>,
}

impl Of {
    /// How it is addressed: `group/NAME`, `kind/id`, nothing for the programme.
    pub fn label(&self) -> String {
        match self {
            Self::Programme => String::new(),
            Self::Group(name) => format!("group/{name}"),
            Self::Record(address) => address.to_string(),
        }
    }

    /// Reads it back; `None` where the text addresses nothing.
    pub fn parse(label: &str) -> Option<Self> {
        match label.strip_prefix("group/") {
            Some(name) => Some(Self::Group(name.to_string())),
            None if label.is_empty() => Some(Self::Programme),
            None => Address::parse(label).map(Self::Record),
        }
    }

    /// Returns whether mass or verdicts can be told of it at all.
    pub fn has_figures(&self) -> bool {
        match self {
            Self::Programme | Self::Group(_) => true,
            Self::Record(address) => {
                !matches!(address.kind(), RecordKind::Decision | RecordKind::Study | RecordKind::Weighing)
            }
        }
    }

    /// Returns what its mass is the mass of; `None` where it has none.
    pub fn mass_words(&self) -> Option<&'static str> {
        let Self::Record(address) = self else { return Some("what one aircraft has of it") };
        match address.kind() {
            RecordKind::Ledger => Some("the panels of one aircraft"),
            RecordKind::Panel => Some("one panel"),
            RecordKind::Assembly => Some("one assembly"),
            RecordKind::Material
            | RecordKind::Recipe
            | RecordKind::Finish
            | RecordKind::Process
            | RecordKind::Tool => {
                Some("all panels of one aircraft that use it, and pieces that assemblies list")
            }
            _ => None,
        }
    }

    /// Returns which duties are counted.
    pub fn duty_words(&self) -> &'static str {
        let Self::Record(address) = self else { return "all that are asked" };
        match address.kind() {
            RecordKind::Ledger => "all that are asked",
            RecordKind::Panel => "those of the panel",
            RecordKind::Assembly => "those of its panels",
            RecordKind::Showing => "those that it makes",
            _ => "those that rest on it, as `bondline why` lists them",
        }
    }

    /// Returns whether a state has it.
    pub fn is_in(&self, ledger: &Ledger) -> bool {
        match self {
            Self::Programme => true,
            Self::Group(name) => groups(ledger).contains(name.as_str()),
            Self::Record(address) => ledger.file_of(address).is_some(),
        }
    }

    /// Returns what it weighs in kg, nominal, as [`Of::mass_words`] says; `None` where it has no mass, or the state does
    /// not have it.
    ///
    /// # Errors
    /// [`ArticleError`] where a record is missing or broken, or a figure that the mass needs is not written.
    pub fn kg(&self, ledger: &Ledger) -> Result<Option<f64>, ArticleError> {
        if !self.is_in(ledger) || self.mass_words().is_none() {
            return Ok(None);
        }
        let kg = match self {
            Self::Programme => programme_mass(ledger)?,
            Self::Group(name) => group_mass(ledger, name)?,
            Self::Record(address) => match address.kind() {
                RecordKind::Ledger => programme_mass(ledger)?,
                RecordKind::Panel => panel_mass(ledger, address.id())?,
                RecordKind::Assembly => assembly_mass(ledger, address.id())?,
                kind => {
                    // Whether a record that can't be read uses it is not known.
                    if let Some(needed) = ledger.broken.iter().find(|own| may_use(own.kind())) {
                        return Err(ArticleError::Missing { needed: needed.clone(), by: address.clone() });
                    }
                    let panels = Resting::on(ledger, &Uses::of(ledger), address).panels();
                    let part = (kind == RecordKind::Material).then(|| address.id());
                    mass_of_panels(ledger, &panels, part)?
                }
            },
        };
        Ok(Some(kg))
    }

    /// Returns how its duties stand: those of its panels, or those that rest on the record, as `why` lists them; `None`
    /// where the state does not have it, or no duty can be told of it.
    pub fn progress(&self, ledger: &Ledger, evaluation: &Evaluation) -> Option<Progress> {
        if !self.is_in(ledger) || !self.has_figures() {
            return None;
        }
        let of_panels = |panels: &BTreeSet<String>| {
            let own = |duty: &Duty| {
                let own = duty.panels.iter().rev().filter(|(panel, _)| panels.contains(panel.as_str()));
                own.max_by_key(|(_, judged)| judged.gravity()).map(|(_, judged)| judged.verdict)
            };
            standing(ledger, evaluation, own)
        };
        Some(match self {
            Self::Programme => standing(ledger, evaluation, |duty| Some(duty.verdict())),
            Self::Group(name) => {
                let own = ledger.panels.values().filter(|own| group_name(own.value.group.as_ref()) == name);
                of_panels(&own.map(|own| own.id.clone()).collect())
            }
            Self::Record(address) => match address.kind() {
                RecordKind::Ledger => standing(ledger, evaluation, |duty| Some(duty.verdict())),
                RecordKind::Panel => of_panels(&BTreeSet::from([address.id().to_string()])),
                RecordKind::Assembly => {
                    let held = Uses::of(ledger).reach(address).into_iter().map(|one| one.address);
                    let panels = held.filter(|own| own.kind() == RecordKind::Panel);
                    of_panels(&panels.map(|own| own.id().to_string()).collect())
                }
                _ => {
                    let resting = Resting::on(ledger, &Uses::of(ledger), address);
                    let has = |duty: &Duty| resting.has(duty, &evaluation.uses).then(|| duty.verdict());
                    standing(ledger, evaluation, has)
                }
            },
        })
    }
}

/// Whether records of a kind hold materials, recipes, finishes, processes or tools.
fn may_use(kind: RecordKind) -> bool {
    use RecordKind::{Assembly, Finish, Material, Panel, Recipe, Tool};
    matches!(kind, Assembly | Finish | Material | Panel | Recipe | Tool)
}

/// How the duties stand of which a verdict is wanted.
fn standing(
    ledger: &Ledger,
    evaluation: &Evaluation,
    verdict: impl Fn(&Duty) -> Option<Verdict>,
) -> Progress {
    let own = evaluation.duties.values();
    let own = own.filter_map(|duty| Some((duty.needed_by.as_deref(), verdict(duty)?)));
    let (counts, ready) = tally(ledger, own);
    Progress { counts, ready }
}
