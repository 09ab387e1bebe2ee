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
pub use figures::{
    AssemblyMass, Balanced, CauseEffect, GroupMass, MassStatement, Method, PanelMass, PartMass, Residual,
    Scope, Total, UNGROUPED,
};
pub use learned::{Contributor, Estimate, Learned, LearnedPanel, Says, learned};
pub use pieces::{Contribution, Weigher};
pub use rollup::{Counts, Placed, counts};
pub use stages::{Added, PanelPieces, PieceStages, StageReading, stages, tally};
pub use statement::{statement, statement_by};

use super::ArticleError;
use crate::ledger::Ledger;

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
    let weigher = Weigher::new(ledger);
    let counts = counts(ledger)?;
    let mut sum = 0.0;
    for (panel, placed) in &counts.panels {
        sum += placed.count as f64 * weigher.panel_mass(panel)?;
    }
    for ((part, assembly, _), placed) in &counts.parts {
        sum += placed.count as f64 * weigher.part_mass(part, assembly)?;
    }
    Ok(sum)
}
