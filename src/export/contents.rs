//! The rows of all tables, from one judged ledger.

use super::{Cell, TABLES, engineering, proof, shop};
use crate::article::ArticleError;
use crate::article::weigh::{CostStatement, MassStatement, Scope, cost_of, statement};
use crate::ledger::Ledger;
use crate::qualify::verdict::Evaluation;
use crate::record::Day;
use std::collections::{BTreeMap, BTreeSet};

/// Rows of one table.
pub type Rows = Vec<Vec<Cell>>;

/// What was read.
#[derive(Debug, Clone)]
pub struct Source<'a> {
    /// The ledger.
    pub ledger: &'a Ledger,
    /// Its verdicts.
    pub evaluation: &'a Evaluation,
    /// Words for the state.
    pub state: String,
    /// The commit, where it is one.
    pub commit: Option<String>,
    /// Decisions laid over it.
    pub with: Vec<String>,
    /// The day.
    pub today: Day,
}

/// All tables, filled.
#[derive(Debug, Clone, PartialEq)]
pub struct Contents {
    /// Rows, in the order of [`TABLES`].
    pub rows: Vec<Rows>,
    /// Names of records that are not there, such as `zones.finish: x`; their cells are empty.
    pub lost: Vec<String>,
}

impl Contents {
    /// Returns the rows of a table by its name.
    pub fn of(&self, table: &str) -> &[Vec<Cell>] {
        let at = TABLES.iter().position(|own| own.name == table);
        at.and_then(|at| self.rows.get(at)).map_or(&[], Vec::as_slice)
    }
}

/// What several tables are made from.
pub(super) struct Desk<'a> {
    pub(super) source: &'a Source<'a>,
    pub(super) mass: MassStatement,
    pub(super) cost: Option<CostStatement>,
}

/// Fills all tables.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which there is no answer.
pub fn contents(source: &Source<'_>) -> Result<Contents, ArticleError> {
    let desk = Desk {
        source,
        mass: statement(source.ledger, Scope::Programme)?,
        cost: cost_of(source.ledger, &Scope::Programme)?,
    };
    let (duties, reasons) = proof::duties(source);
    let mut by_name: BTreeMap<&str, Rows> = BTreeMap::from([
        ("programme", engineering::programme(&desk)),
        ("materials", engineering::materials(&desk)),
        ("processes", shop::processes(source)),
        ("tools", shop::tools(source)),
        ("finishes", shop::finishes(source)),
        ("coats", shop::coats(source)),
        ("recipes", engineering::recipes(&desk)?),
        ("layers", engineering::layers(&desk)?),
        ("panels", engineering::panels(&desk)?),
        ("zones", engineering::zones(&desk)),
        ("contributions", engineering::contributions(&desk)),
        ("parts", engineering::parts(&desk)),
        ("margins", engineering::margins(&desk)?),
        ("costs", engineering::costs(&desk)),
        ("unpriced", engineering::unpriced(&desk)),
        ("weighings", engineering::weighings(&desk)),
        ("showings", proof::showings(source)),
        ("evidence", proof::evidence(source)),
        ("specimens", proof::specimens(source)),
        ("readings", proof::readings(source)),
        ("duties", duties),
        ("reasons", reasons),
        ("decisions", proof::decisions(source)),
        ("assumptions", proof::assumptions(source)?),
    ]);
    let mut rows: Vec<Rows> =
        TABLES.iter().map(|table| by_name.remove(table.name).unwrap_or_default()).collect();
    let lost = without_the_lost(&mut rows);
    Ok(Contents { rows, lost })
}

/// Empties cells that name a row which is not there, so that what reads the tables can rely on them.
fn without_the_lost(all: &mut [Rows]) -> Vec<String> {
    let mut keys: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for (table, rows) in TABLES.iter().zip(all.iter()) {
        if let [key] = table.key
            && let Some(at) = table.place(key)
        {
            let own = rows.iter().filter_map(|row| row.get(at)).map(spelt);
            keys.entry(table.name).or_default().extend(own);
        }
    }
    let mut lost = Vec::new();
    for (table, rows) in TABLES.iter().zip(all.iter_mut()) {
        for (at, column) in table.columns.iter().enumerate() {
            let Some(known) = column.names.and_then(|names| keys.get(names)) else { continue };
            rows.retain_mut(|row| {
                let Some(cell) = row.get_mut(at) else { return false };
                if *cell == Cell::None || known.contains(&spelt(cell)) {
                    return true;
                }
                lost.push(format!("{}.{}: {}", table.name, column.name, spelt(cell)));
                *cell = Cell::None;
                // A row that can't be without it says nothing alone.
                !column.always
            });
        }
    }
    lost.sort();
    lost.dedup();
    lost
}

fn spelt(cell: &Cell) -> String {
    match cell {
        Cell::Text(text) => text.clone(),
        Cell::Whole(number) => number.to_string(),
        _ => String::new(),
    }
}
