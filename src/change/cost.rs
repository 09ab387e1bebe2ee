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
    /// Money more than before; of what is priced, where something is missing.
    pub fn delta(&self) -> f64 {
        self.is.total() - self.was.total()
    }

    /// Hours more than before.
    pub fn delta_hours(&self) -> f64 {
        self.is.hours - self.was.hours
    }

    /// What is missing on either side, sorted.
    pub fn missing(&self) -> BTreeSet<String> {
        self.was.missing.union(&self.is.missing).cloned().collect()
    }

    /// Whether money, hours or what is missing differ by more than the order of summing.
    pub fn is_moved(&self) -> bool {
        self.delta().abs() > 5e-3 || self.delta_hours().abs() > 5e-4 || self.was.missing != self.is.missing
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
