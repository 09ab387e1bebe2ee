//! What one aircraft costs to make, before and after a change.

use crate::article::ArticleError;
use crate::article::weigh::{Cost, Scope, cost_of};
use crate::ledger::Ledger;
use std::collections::BTreeSet;

/// The cost of one aircraft in two states.
#[derive(Debug, Clone, PartialEq)]
pub struct CostMove {
    /// The currency of both sums.
    pub currency: String,
    /// Before.
    pub was: Cost,
    /// After.
    pub is: Cost,
}

impl CostMove {
    /// Money more than before, of what is priced; `None` where other things lack a price than before, so that the
    /// two sums are of different things.
    pub fn delta(&self) -> Option<f64> {
        (self.was.missing == self.is.missing).then(|| self.is.total() - self.was.total())
    }

    /// Hours more than before; `None` where other times are missing than before.
    pub fn delta_hours(&self) -> Option<f64> {
        let times = |cost: &Cost| -> BTreeSet<String> {
            let is_time = |name: &&String| {
                ["#labour", "#rates.layer", "#rates.coat"].iter().any(|end| name.ends_with(end))
            };
            cost.missing.iter().filter(is_time).cloned().collect()
        };
        (times(&self.was) == times(&self.is)).then_some(self.is.hours - self.was.hours)
    }

    /// What is missing on either side, sorted.
    pub fn missing(&self) -> BTreeSet<String> {
        self.was.missing.union(&self.is.missing).cloned().collect()
    }

    /// Whether money, hours or what is missing differ by more than the order of summing.
    pub fn is_moved(&self) -> bool {
        let moves = |delta: Option<f64>, least: f64| delta.is_none_or(|delta| delta.abs() > least);
        moves(self.delta(), 5e-3) || moves(self.delta_hours(), 5e-4)
    }
}

/// Compares what one aircraft costs; `None` where neither state prices anything, or they are in two currencies.
///
/// # Errors
/// [`ArticleError`] where a record or a figure that the mass needs is missing.
pub fn moved(base: &Ledger, head: &Ledger) -> Result<Option<CostMove>, ArticleError> {
    let of = |ledger: &Ledger| match ledger.panels.is_empty() && ledger.assemblies.is_empty() {
        true => Ok(None),
        false => cost_of(ledger, &Scope::Programme),
    };
    Ok(match (of(base)?, of(head)?) {
        (None, None) => None,
        (Some(was), Some(is)) if was.currency != is.currency => None,
        (was, is) => {
            let currency = was.as_ref().or(is.as_ref()).map_or_else(String::new, |own| own.currency.clone());
            let cost = |own: Option<crate::article::weigh::CostStatement>| match own {
                Some(own) => own.total,
                None => Cost::default(),
            };
            Some(CostMove { currency, was: cost(was), is: cost(is) })
        }
    })
}
