//! Groups and assemblies that weigh more than they may.

use super::{Finding, Names, Raw, Side};
use crate::article::weigh::{Budgeted, Scope, has_budgets, once, statement};
use crate::ledger::Ledger;
use crate::record::sensitivity::Asks;
use crate::record::{Address, PolicyLevel, RecordKind};

/// Finds what is over its budget, nominal; graver the more it is over. A budget that is raised or taken out holds until the
/// commit that does it is made, so that none is agreed to by what exceeds it; unless a decision has agreed to it, as
/// `is_decided` says of the edit at a place.
pub(super) fn over_budget(
    side: &Side<'_>,
    committed: &Ledger,
    (names, is_decided): (&Names, &dyn Fn(&str) -> bool),
    into: &mut Vec<Raw>,
) {
    let ledger = side.ledger;
    if !has_budgets(ledger) && !has_budgets(committed) {
        return;
    }
    let Ok(statement) = statement(ledger, Scope::Programme) else { return };
    let limit = |of: &Budgeted, own: Option<f64>| {
        own.into_iter().chain(agreed(committed, (of, own), names, is_decided)).reduce(f64::min)
    };
    let weighed = statement.weighed().filter_map(|(of, sum)| {
        let elsewhere = side.elsewhere_kg.get(&sum.group).filter(|_| matches!(of, Budgeted::Group(_)));
        let limit = limit(&of, sum.budget_kg)?;
        Some((of, sum.kg + elsewhere.copied().unwrap_or(0.0), limit))
    });
    for (of, kg, budget) in once(weighed.collect()) {
        let own = statement.weighed().find(|(other, _)| *other == of).and_then(|(_, sum)| sum.budget_kg);
        let over = kg - budget;
        if over <= 0.0 {
            continue;
        }
        // Gravity in whole milligrams, so that the order of summing never counts as growth.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let milligrams = (over * 1e6).round().clamp(0.0, 1e15) as u64;
        let (name, address) = match &of {
            Budgeted::Group(group) => (format!("group `{group}`"), Address::ledger()),
            Budgeted::Assembly(id) => {
                (format!("assembly `{id}`"), Address::new(RecordKind::Assembly, id.clone()))
            }
        };
        let place = place(&of);
        let route = place.split_once('#').map(|(_, route)| route.to_string()).unwrap_or_default();
        let message = format!("{name} weighs {kg:.3} kg, {over:.3} kg over its budget of {budget:.3} kg");
        let (message, help) = match own {
            Some(own) if own > budget => (
                format!("{message}; no decision approved before agrees to the {own:.3} kg in its place"),
                format!("have them agreed by a decision with `set: {place}`, or commit the new budget first"),
            ),
            None => (
                format!("{message}; no decision approved before takes the budget out"),
                format!("have that agreed by a decision with `remove: {place}`, or commit it first"),
            ),
            Some(_) => (message, format!("agree another budget at `{place}`")),
        };
        into.push(Raw {
            finding: Finding {
                rule: "over-budget",
                level: PolicyLevel::Block,
                address,
                route,
                panel: None,
                message,
                help: format!("`bondline mass` opens the figure; take {over:.3} kg out, or {help}"),
                place: None,
            },
            key: (of.to_string(), String::new()),
            gravity: (0, Asks::None, milligrams),
        });
    }
}

/// Where a budget stands.
fn place(of: &Budgeted) -> String {
    match of {
        Budgeted::Group(group) => format!("ledger#budgets.{group}"),
        Budgeted::Assembly(id) => format!("assembly/{id}#budget"),
    }
}

/// The budget that is committed, in kg, where it is another than `own` and no decision has agreed to that.
fn agreed(
    committed: &Ledger,
    (of, own): (&Budgeted, Option<f64>),
    names: &Names,
    is_decided: &dyn Fn(&str) -> bool,
) -> Option<f64> {
    let was = match of {
        Budgeted::Group(group) => {
            let budgets = committed.head.iter().flat_map(|head| &head.budgets);
            budgets.filter(|(name, _)| name.as_str() == group).map(|(_, mass)| mass.si()).reduce(f64::min)
        }
        Budgeted::Assembly(id) => {
            let old = committed.assemblies.get(names.assembly_before(id))?;
            old.value.budget.as_ref().map(|mass| mass.si())
        }
    };
    was.filter(|was| own != Some(*was) && !is_decided(&place(of)))
}
