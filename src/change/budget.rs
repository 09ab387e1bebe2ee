//! How a change stands to the budgets of groups.

use crate::article::ArticleError;
use crate::article::weigh::{MassStatement, Scope, statement};
use crate::ledger::Ledger;

/// A group that is over its budget.
#[derive(Debug, Clone, PartialEq)]
pub struct OverBudget {
    /// The group.
    pub group: String,
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

/// Finds the groups that are over their budget.
pub(super) fn over(was: Option<&MassStatement>, is: Option<&MassStatement>) -> Vec<OverBudget> {
    let before = |group: &str| {
        let own = was.and_then(|own| own.groups.iter().find(|one| one.group == group));
        own.and_then(|one| one.margin_kg).map_or(0.0, |margin| -margin)
    };
    let groups = is.iter().flat_map(|own| &own.groups);
    groups
        .filter_map(|one| Some((one, one.margin_kg.filter(|margin| *margin < 0.0)?)))
        .map(|(one, margin)| OverBudget {
            group: one.group.clone(),
            over_kg: -margin,
            was_over_kg: before(&one.group),
        })
        .collect()
}

/// Finds the groups that are over their budget by more than before.
///
/// # Errors
/// [`ArticleError`] where a figure that the mass needs is not written.
pub(super) fn exceeded(base: &Ledger, head: &Ledger) -> Result<Vec<OverBudget>, ArticleError> {
    let has_any = |ledger: &&Ledger| ledger.head.as_ref().is_some_and(|own| !own.budgets.is_empty());
    let weighed = |ledger: &Ledger| {
        let own = Some(ledger).filter(has_any);
        let own = own.filter(|own| !own.panels.is_empty() || !own.assemblies.is_empty());
        own.map(|own| statement(own, Scope::Programme)).transpose()
    };
    let Some(now) = weighed(head)? else { return Ok(Vec::new()) };
    let all = over(weighed(base)?.as_ref(), Some(&now));
    Ok(all.into_iter().filter(OverBudget::grew).collect())
}
