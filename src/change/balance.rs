//! How a change moves the balance of movable surfaces.

use crate::article::ArticleError;
use crate::article::weigh::{Balanced, Scope, statement};
use crate::ledger::Ledger;
use std::collections::{BTreeMap, BTreeSet};

/// The balance of one movable panel, one piece, before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct BalanceMove {
    /// The panel.
    pub panel: String,
    /// Before; `None` where no balance was asked.
    pub was: Option<Balanced>,
    /// Now; `None` where none is asked any more.
    pub now: Option<Balanced>,
}

impl BalanceMove {
    /// Returns whether it is over its limit now and was not known to be before.
    pub fn goes_over(&self) -> bool {
        let over = |one: &Option<Balanced>| one.is_some_and(|one| one.is_over());
        over(&self.now) && !over(&self.was)
    }
}

/// Finds the panels whose moment about the hinge, its limit, or what can be said of it differs.
///
/// # Errors
/// [`ArticleError`] where a figure that the mass needs is not written.
pub fn moves(
    base: &Ledger,
    head: &Ledger,
    renamed: &BTreeMap<String, String>,
) -> Result<Vec<BalanceMove>, ArticleError> {
    let (mut old, new) = (balances(base)?, balances(head)?);
    for (was, now) in renamed {
        if let Some(balance) = old.remove(was) {
            old.insert(now.clone(), balance);
        }
    }
    let panels: BTreeSet<&String> = old.keys().chain(new.keys()).collect();
    let moves = panels.into_iter().map(|panel| BalanceMove {
        panel: panel.clone(),
        was: old.get(panel).copied(),
        now: new.get(panel).copied(),
    });
    Ok(moves.filter(differs).collect())
}

fn differs(one: &BalanceMove) -> bool {
    match (one.was, one.now) {
        (Some(was), Some(now)) => {
            // Below a millionth of a gram at a metre it is the order of summing.
            (was.moment_kg_m - now.moment_kg_m).abs() > 1e-9
                || was.limit_kg_m != now.limit_kg_m
                || was.ok != now.ok
        }
        _ => true,
    }
}

/// Returns the balance of one piece of each movable panel, by panel.
pub(super) fn balances(ledger: &Ledger) -> Result<BTreeMap<String, Balanced>, ArticleError> {
    let mut all = BTreeMap::new();
    for entry in ledger.panels.values().filter(|entry| entry.value.balance.is_some()) {
        let own = statement(ledger, Scope::Panel(entry.id.clone()))?;
        all.extend(own.panels.iter().filter_map(|panel| Some((panel.panel.clone(), panel.balance?))));
    }
    Ok(all)
}
