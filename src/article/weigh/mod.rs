//! What panels, assemblies and the programme weigh, how well that is known, and what they cost to make.
//!
//! A panel's pieces (`pieces`) are its layers, coats, joints, edges and fittings with their mass; the
//! assemblies say how many of each panel there are and where (`rollup`); weighings stand above prediction
//! (`scale`), are followed from stage to stage (`stages`), and teach which contributors are off (`learned`);
//! every figure that has a tolerance is a cause that is moved by itself (`spread`); a
//! [`MassStatement`] (`figures`) puts it together (`statement`). `cost` adds up money and hours the same way.

mod cost;
mod figures;
mod learned;
mod pieces;
mod rollup;
mod scale;
mod spread;
mod stages;
mod statement;
#[cfg(test)]
mod tests;

pub use cost::{Cost, CostLine, CostSort, CostStatement, PanelCost, cost_of};
pub(crate) use figures::once;
pub use figures::{
    AssemblyMass, Balanced, Budgeted, CauseEffect, GroupMass, MassStatement, Method, PanelMass, PartMass,
    Residual, Scope, Total, UNGROUPED, group_name, has_budgets,
};
pub use learned::{Contributor, Estimate, Learned, LearnedPanel, Says, learned};
pub use pieces::{Contribution, Weigher};
pub use rollup::{Counts, Placed, counts};
pub use stages::{Added, PanelPieces, PieceStages, StageReading, stages, tally};
pub use statement::{statement, statement_by};

use super::ArticleError;
use crate::ledger::{Entry, Ledger};
use crate::record::{Address, Assembly, Text};
use rollup::RollUp;
use std::collections::BTreeSet;

/// Returns what one panel of that id weighs in kg: the mean of its weighings brought up to now where it is
/// weighed, else as predicted; nominal.
///
/// A [`Weigher`] kept for many panels is faster, since panels share recipes.
///
/// # Errors
/// [`ArticleError`] where a record is missing or a figure that the mass needs is not written.
pub fn panel_mass(ledger: &Ledger, panel: &str) -> Result<f64, ArticleError> {
    Weigher::new(ledger).panel_mass(panel)
}

/// Returns what the whole programme weighs in kg, nominal: the `total.kg` of its statement, without working
/// out spread.
///
/// # Errors
/// [`ArticleError`] where a record is missing or broken, or a figure that the mass needs is not written.
pub fn programme_mass(ledger: &Ledger) -> Result<f64, ArticleError> {
    counted_mass(ledger, &counts(ledger)?, |_| true, |_, _| true)
}

/// Returns what one aircraft's panels and parts of a group weigh in kg, nominal: the `kg` of the group in the
/// programme's statement, without working out spread.
///
/// # Errors
/// As [`programme_mass`]: how many there are is counted over all assemblies.
pub fn group_mass(ledger: &Ledger, group: &str) -> Result<f64, ArticleError> {
    let is_own = |own: Option<&Text>| group_name(own) == group;
    let panel = |id: &str| is_own(ledger.panels.get(id).and_then(|entry| entry.value.group.as_ref()));
    let part =
        |_: &str, id: &str| is_own(ledger.assemblies.get(id).and_then(|entry| entry.value.group.as_ref()));
    counted_mass(ledger, &counts(ledger)?, panel, part)
}

/// Returns what all pieces of some panels weigh in kg, as many as one aircraft has, nominal, with those of a part that
/// assemblies list.
///
/// # Errors
/// As [`programme_mass`]: how many there are is counted over all assemblies.
pub fn mass_of_panels(
    ledger: &Ledger,
    panels: &BTreeSet<String>,
    part: Option<&str>,
) -> Result<f64, ArticleError> {
    counted_mass(ledger, &counts(ledger)?, |id| panels.contains(id), |own, _| part == Some(own))
}

/// Returns what one assembly weighs in kg, nominal.
///
/// # Errors
/// As [`programme_mass`], of the assembly alone.
pub fn assembly_mass(ledger: &Ledger, assembly: &str) -> Result<f64, ArticleError> {
    let held = RollUp::new(ledger, None).assembly(assembly, &Address::ledger())?;
    counted_mass(ledger, &held, |_| true, |_, _| true)
}

/// Returns the groups of panels and of the parts that assemblies list, [`UNGROUPED`] where one names none.
pub fn groups(ledger: &Ledger) -> BTreeSet<&str> {
    let panels = ledger.panels.values().map(|entry| group_name(entry.value.group.as_ref()));
    let lists_parts =
        |entry: &&Entry<Assembly>| entry.value.children.iter().any(|child| child.part.is_some());
    let assemblies = ledger.assemblies.values().filter(lists_parts);
    panels.chain(assemblies.map(|entry| group_name(entry.value.group.as_ref()))).collect()
}

fn counted_mass(
    ledger: &Ledger,
    counts: &Counts,
    has_panel: impl Fn(&str) -> bool,
    has_part: impl Fn(&str, &str) -> bool,
) -> Result<f64, ArticleError> {
    let weigher = Weigher::new(ledger);
    let mut sum = 0.0;
    for (panel, placed) in counts.panels.iter().filter(|(panel, _)| has_panel(panel)) {
        sum += placed.count as f64 * weigher.panel_mass(panel)?;
    }
    let parts = counts.parts.iter().filter(|((part, assembly, _), _)| has_part(part, assembly));
    for ((part, assembly, _), placed) in parts {
        sum += placed.count as f64 * weigher.part_mass(part, assembly)?;
    }
    Ok(sum)
}
