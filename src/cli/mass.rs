//! `bondline mass`.

use super::args::MassArgs;
use super::context::{Context, Failure, Needs, Status, address, nearest, of_another_kind, unreadable};
use crate::article::weigh::{
    MassStatement, Method, PanelMass, Scope, cost_of, learned, stages, statement_by, tally,
};
use crate::ledger::Ledger;
use crate::ledger::weighed::Standing;
use crate::record::{Address, RecordKind};
use crate::report::{cost, mass, weighings};
use std::collections::BTreeSet;
use std::io::Write;

pub(super) fn run(
    context: &mut Context,
    args: &MassArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let loaded = context.load_with(&place, &args.source, &args.with)?;
    let scope = match &args.of {
        None => Scope::Programme,
        Some(text) => {
            let kinds = [RecordKind::Panel, RecordKind::Assembly];
            let found = address(text, &kinds, &loaded.ledger);
            if let Some(failure) = found
                .as_ref()
                .filter(|found| kinds.contains(&found.kind()))
                .and_then(|found| unreadable(&loaded.ledger, found))
            {
                return Err(failure);
            }
            match found {
                Some(found)
                    if found.kind() == RecordKind::Panel && loaded.ledger.panels.contains_key(found.id()) =>
                {
                    Scope::Panel(found.id().to_string())
                }
                Some(found)
                    if found.kind() == RecordKind::Assembly
                        && loaded.ledger.assemblies.contains_key(found.id()) =>
                {
                    Scope::Assembly(found.id().to_string())
                }
                _ => {
                    let ledger = &loaded.ledger;
                    let names = ledger.panels.keys().chain(ledger.assemblies.keys());
                    let mut names: Vec<&str> = names.map(String::as_str).collect();
                    names.sort_unstable();
                    let help = of_another_kind(ledger, text, RecordKind::Panel);
                    return Err(Failure::new(
                        format!("no panel or assembly is called `{text}`"),
                        help.unwrap_or_else(|| nearest(text, &names)),
                    ));
                }
            }
        }
    };
    let of = match &scope {
        Scope::Programme => None,
        Scope::Panel(id) => Some(Address::new(RecordKind::Panel, id.clone())),
        Scope::Assembly(id) => Some(Address::new(RecordKind::Assembly, id.clone())),
    };
    context.usable(&loaded, Needs::Mass, of.as_ref())?;
    let method = match args.spread.as_str() {
        "monte-carlo" => Method::MonteCarlo { seed: args.seed },
        _ => Method::Causes,
    };
    let cost = match args.cost {
        true => cost_of(&loaded.ledger, &scope).map_err(|missing| context.missing(&loaded, &missing))?,
        false => None,
    };
    let statement =
        statement_by(&loaded.ledger, scope, method).map_err(|missing| context.missing(&loaded, &missing))?;
    let pieces = args.weighings.then(|| stages(&statement.panels));
    let left =
        if args.weighings || args.learned { uncounted(&loaded.ledger, &statement) } else { Vec::new() };
    let estimates = match args.learned {
        true => {
            Some(learned(&loaded.ledger, &statement).map_err(|missing| context.missing(&loaded, &missing))?)
        }
        false => None,
    };
    context.note_broken(&loaded, err)?;
    if context.json() {
        let mut document = mass::json(&statement);
        weighings::beside(&mut document, (pieces.as_deref(), &left), estimates.as_ref());
        if let Some(map) = document.as_object_mut().filter(|_| args.cost) {
            map.insert("cost".to_string(), cost::scope_json(cost.as_ref()));
        }
        writeln!(out, "{:#}", loaded.document(document))?;
    } else if pieces.is_none() && estimates.is_none() {
        context.say_laid(&loaded, out)?;
        if args.cost {
            let whose = match &statement.scope {
                Scope::Programme => "One aircraft",
                Scope::Panel(_) => "One piece",
                Scope::Assembly(_) => "One assembly",
            };
            let frame = context.frame(&loaded.ledger, false);
            writeln!(out, "{}", cost::scope_text(cost.as_ref(), whose, &frame))?;
        }
        write!(out, "{}", mass::text(&statement, context.width))?;
    } else {
        context.say_laid(&loaded, out)?;
        let parts = (pieces.as_deref(), estimates.as_ref());
        write!(out, "{}", weighings::text(&statement, parts, &left, context.width))?;
    }
    let over = statement.budgeted().iter().any(|(_, kg, budget)| kg > budget);
    let unbalanced = statement.panels.iter().any(PanelMass::is_over_balance);
    let held =
        pieces.is_some_and(|pieces| tally(&pieces).get(&Standing::OnHold).is_some_and(|held| *held > 0));
    Ok(if args.strict && (over || unbalanced || held) { Status::Objection } else { Status::Done })
}

/// The weighings of the panels of a statement that do not count, each with why.
fn uncounted(ledger: &Ledger, statement: &MassStatement) -> Vec<(String, String)> {
    let panels: BTreeSet<&str> = statement.panels.iter().map(|panel| panel.panel.as_str()).collect();
    ledger
        .uncounted_weighings()
        .filter(|(one, _)| panels.contains(one.value.panel.id()))
        .map(|(one, why)| (one.id.clone(), why.to_string()))
        .collect()
}
