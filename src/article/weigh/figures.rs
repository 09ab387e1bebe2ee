//! What a mass statement says.

use super::pieces::Contribution;
use crate::ledger::Ledger;
use crate::ledger::weighed::{Limits, Standing};
use crate::quantity::UnitSystem;
use crate::record::{Condition, Day, Disposition, Maturity, Text};
use std::collections::BTreeMap;
use std::fmt;

/// The group of panels and parts that name none.
pub const UNGROUPED: &str = "ungrouped";

/// Returns the name of a group, [`UNGROUPED`] where there is none.
pub fn group_name(group: Option<&Text>) -> &str {
    group.map_or(UNGROUPED, Text::as_str)
}

/// What a statement is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scope {
    /// Everything.
    Programme,
    /// All counted pieces of one panel.
    Panel(String),
    /// One of an assembly.
    Assembly(String),
}

/// How spread is worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Each cause moved by itself, differences combined by their squares.
    Causes,
    /// All causes sampled together.
    MonteCarlo {
        /// Where the random numbers start.
        seed: u64,
    },
}

/// Mass of the whole, in kg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Total {
    /// Nominal.
    pub kg: f64,
    /// Low limit, two deviations below.
    pub low_kg: f64,
    /// High limit, two deviations above.
    pub high_kg: f64,
    /// Nominal with the allowance for growth.
    pub with_growth_kg: f64,
}

/// A sum against what it may weigh.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupMass {
    /// The group.
    pub group: String,
    /// Nominal mass of the group within the scope.
    pub kg: f64,
    /// Low limit.
    pub low_kg: f64,
    /// High limit.
    pub high_kg: f64,
    /// Nominal with the allowance for growth.
    pub with_growth_kg: f64,
    /// What it may weigh; only in a statement of the programme, since a part of a group has no budget.
    pub budget_kg: Option<f64>,
    /// Budget less nominal.
    pub margin_kg: Option<f64>,
    /// Budget less nominal with growth.
    pub margin_with_growth_kg: Option<f64>,
    /// Chance that the nominal and its spread stay within the budget.
    pub probability_within: Option<f64>,
}

/// One assembly of the scope.
#[derive(Debug, Clone, PartialEq)]
pub struct AssemblyMass {
    /// Its id.
    pub assembly: String,
    /// How many there are in the scope.
    pub quantity: u64,
    /// One of it, weighed against its budget; `group` holds its id.
    pub each: GroupMass,
}

/// Balance of a movable surface about its hinge line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balanced {
    /// Moment of the mass that has a position, positive aft of the hinge (towards greater x), in kg m.
    pub moment_kg_m: f64,
    /// The largest moment allowed, in kg m.
    pub limit_kg_m: Option<f64>,
    /// Share of the panel's mass that has no position.
    pub share_without_position: f64,
    /// Whether it stays within; `None` where no limit is stated or mass without a position could decide it.
    pub ok: Option<bool>,
}

/// One panel on the scale against what was predicted of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Residual {
    /// Id of the weighing.
    pub weighing: String,
    /// Whether it is the last of its piece, which alone counts where the panel is weighed.
    pub is_last: bool,
    /// Serial of the panel.
    pub serial: Option<String>,
    /// The day.
    pub on: Option<Day>,
    /// What was on the scale.
    pub condition: Condition,
    /// What the scale showed, in kg.
    pub weighed_kg: f64,
    /// What was predicted of a panel in that condition, in kg.
    pub predicted_kg: f64,
    /// Whether the prediction is the one kept from when it was built; else it is that of now.
    pub as_built: bool,
    /// What the ledger lets pass at that stage.
    pub limits: Limits,
    /// What that means for the piece.
    pub standing: Standing,
    /// Why it is off, as written.
    pub explained: Option<String>,
    /// What was decided of it.
    pub disposition: Option<Disposition>,
}

impl Balanced {
    /// Returns whether it is known to be over its limit.
    pub fn is_over(&self) -> bool {
        self.ok == Some(false)
    }
}

impl PanelMass {
    /// Returns whether it is a movable surface whose moment about the hinge is over its limit.
    pub fn is_over_balance(&self) -> bool {
        self.balance.is_some_and(|balance| balance.is_over())
    }
}

impl Residual {
    /// Returns weighed less predicted, in kg.
    pub fn kg(&self) -> f64 {
        self.weighed_kg - self.predicted_kg
    }

    /// Returns it in per cent of the prediction; `None` where nothing was predicted.
    pub fn percent(&self) -> Option<f64> {
        (self.predicted_kg > 0.0).then(|| 100.0 * self.kg() / self.predicted_kg)
    }
}

/// One panel of the scope.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelMass {
    /// Its id.
    pub panel: String,
    /// Its group.
    pub group: String,
    /// How many there are in the scope.
    pub quantity: u64,
    /// One panel as predicted, nominal, in kg.
    pub each_kg: f64,
    /// All of them, from weighings where it is weighed.
    pub kg: f64,
    /// Low limit of all of them.
    pub low_kg: f64,
    /// High limit of all of them.
    pub high_kg: f64,
    /// All of them with the allowance for growth.
    pub with_growth_kg: f64,
    /// How well its mass is known.
    pub maturity: Maturity,
    /// How many pieces it rests on, each by its last weighing.
    pub weighings: usize,
    /// It counts as weighed but rests on fewer than three pieces.
    pub provisional: bool,
    /// Its weighings, those too that do not count since it does not claim to be weighed; by id.
    pub residuals: Vec<Residual>,
    /// What one panel is made of, nominal.
    pub contributions: Vec<Contribution>,
    /// Its balance, where it is a movable surface.
    pub balance: Option<Balanced>,
}

impl PanelMass {
    /// Returns what one of them counts with, in kg: by the scale where that is what counts, as predicted where not.
    pub fn one_kg(&self) -> f64 {
        if self.quantity == 0 { self.each_kg } else { self.kg / self.quantity as f64 }
    }
}

/// A part that assemblies list.
#[derive(Debug, Clone, PartialEq)]
pub struct PartMass {
    /// Id of the part.
    pub part: String,
    /// The assembly that lists it.
    pub assembly: String,
    /// How many there are in the scope.
    pub quantity: u64,
    /// All of them, in kg.
    pub kg: f64,
}

/// What a tolerance does to the total.
#[derive(Debug, Clone, PartialEq)]
pub struct CauseEffect {
    /// Address and route of the attribute that holds it.
    pub cause: String,
    /// Difference of the total with the attribute at its low limit, in kg.
    pub at_low_kg: f64,
    /// Difference of the total with the attribute at its high limit, in kg.
    pub at_high_kg: f64,
}

/// A mass statement.
#[derive(Debug, Clone, PartialEq)]
pub struct MassStatement {
    /// The programme's name.
    pub programme: String,
    /// What it is about.
    pub scope: Scope,
    /// How spread was worked out.
    pub method: Method,
    /// Units to show it in.
    pub units: UnitSystem,
    /// The whole.
    pub total: Total,
    /// Centre of gravity of the mass that has a position: x, y, z in m.
    pub cg_m: Option<[f64; 3]>,
    /// Share of the mass that has no position.
    pub share_without_position: f64,
    /// Groups by name.
    pub groups: Vec<GroupMass>,
    /// Assemblies by id.
    pub assemblies: Vec<AssemblyMass>,
    /// Panels by id.
    pub panels: Vec<PanelMass>,
    /// Parts of assemblies, by id and assembly.
    pub parts: Vec<PartMass>,
    /// Causes of spread, the largest first; empty where they were sampled.
    pub causes: Vec<CauseEffect>,
}

/// What a budget is for.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Budgeted {
    /// A group: the budget stands in the ledger's head.
    Group(String),
    /// One of an assembly: it stands in its record.
    Assembly(String),
}

impl Budgeted {
    /// Returns its name, a group's by itself.
    pub fn short(&self) -> String {
        match self {
            Self::Group(name) => name.clone(),
            Self::Assembly(_) => self.to_string(),
        }
    }
}

impl fmt::Display for Budgeted {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Group(name) => write!(out, "group {name}"),
            Self::Assembly(id) => write!(out, "assembly {id}"),
        }
    }
}

impl MassStatement {
    /// Returns what has a budget, each with what it weighs and may weigh, in kg. An assembly that goes by the name of a
    /// group, weighs the same and may weigh the same has the group's budget: it is not there twice.
    pub fn budgeted(&self) -> Vec<(Budgeted, f64, f64)> {
        once(self.weighed().filter_map(|(of, own)| Some((of, own.kg, own.budget_kg?))).collect())
    }

    /// Returns all that may have a budget, groups first.
    pub fn weighed(&self) -> impl Iterator<Item = (Budgeted, &GroupMass)> {
        let groups = self.groups.iter().map(|own| (Budgeted::Group(own.group.clone()), own));
        groups.chain(self.assemblies.iter().map(|own| (Budgeted::Assembly(own.assembly.clone()), &own.each)))
    }
}

/// Returns whether a ledger says of anything how much it may weigh.
pub fn has_budgets(ledger: &Ledger) -> bool {
    ledger.head.as_ref().is_some_and(|head| !head.budgets.is_empty())
        || ledger.assemblies.values().any(|own| own.value.budget.is_some())
}

/// Leaves out assemblies that are as good as a group: of the same name, mass and budget, in kg.
pub(crate) fn once(mut all: Vec<(Budgeted, f64, f64)>) -> Vec<(Budgeted, f64, f64)> {
    let groups: BTreeMap<String, (f64, f64)> = all
        .iter()
        .filter_map(|(of, kg, budget)| match of {
            Budgeted::Group(name) => Some((name.clone(), (*kg, *budget))),
            Budgeted::Assembly(_) => None,
        })
        .collect();
    all.retain(|(of, kg, budget)| {
        let Budgeted::Assembly(id) = of else { return true };
        let near = |one: f64, two: f64| (one - two).abs() < 1e-9;
        !groups.get(id).is_some_and(|(its_kg, its_budget)| near(*kg, *its_kg) && near(*budget, *its_budget))
    });
    all
}
