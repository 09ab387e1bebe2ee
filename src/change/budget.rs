//! How a change stands to the budgets of groups and assemblies.

use crate::article::ArticleError;
use crate::article::weigh::{Budgeted, MassStatement, Scope, has_budgets, statement};
use crate::ledger::Ledger;

/// A group, or one of an assembly, that is over its budget.
#[derive(Debug, Clone, PartialEq)]
pub struct OverBudget {
    /// What the budget is for.
    pub of: Budgeted,
    /// Over by so much, kg, nominal.
    pub over_kg: f64,
    /// Over by so much before; 0 or less where it was within.
    pub was_over_kg: f64,
}

impl OverBudget {
    /// Returns whether it is more over than before; below a millionth of a gram it is the order of summing.
    fn grew(&self) -> bool {
        self.over_kg > self.was_over_kg.max(0.0) + 1e-9
    }
}

/// Finds what is over its budget.
pub(super) fn over(was: Option<&MassStatement>, is: Option<&MassStatement>) -> Vec<OverBudget> {
    let before = |of: &Budgeted| {
        let own = was.and_then(|own| own.weighed().find(|(other, _)| other == of));
        own.and_then(|(_, one)| one.margin_kg).map_or(0.0, |margin| -margin)
    };
    let all = is.into_iter().flat_map(MassStatement::budgeted);
    all.filter(|(_, kg, budget)| kg > budget)
        .map(|(of, kg, budget)| OverBudget { was_over_kg: before(&of), of, over_kg: kg - budget })
        .collect()
}

/// Finds what is over its budget by more than before.
///
/// # Errors
/// [`ArticleError`] where a figure that the mass needs is not written.
pub(super) fn exceeded(base: &Ledger, head: &Ledger) -> Result<Vec<OverBudget>, ArticleError> {
    let weighed = |ledger: &Ledger| {
        let own = Some(ledger).filter(|own| has_budgets(own));
        let own = own.filter(|own| !own.panels.is_empty() || !own.assemblies.is_empty());
        own.map(|own| statement(own, Scope::Programme)).transpose()
    };
    let Some(now) = weighed(head)? else { return Ok(Vec::new()) };
    let all = over(weighed(base)?.as_ref(), Some(&now));
    Ok(all.into_iter().filter(OverBudget::grew).collect())
}
