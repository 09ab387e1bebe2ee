//! What one aircraft costs to make, before and after a change.

use crate::article::ArticleError;
use crate::article::weigh::{Cost, CostStatement, Scope, cost_of};
use crate::ledger::Ledger;
use std::collections::BTreeSet;

/// What is missing where a ledger has no price at all.
const NO_PRICE: &str = "every price";

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
        let known = |cost: &Cost| !cost.missing.contains(NO_PRICE);
        let same = times(&self.was) == times(&self.is) && known(&self.was) == known(&self.is);
        same.then_some(self.is.hours - self.was.hours)
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
    let is_empty = |ledger: &Ledger| ledger.panels.is_empty() && ledger.assemblies.is_empty();
    let of = |ledger: &Ledger| match is_empty(ledger) {
        true => Ok(None),
        false => cost_of(ledger, &Scope::Programme),
    };
    Ok(match (of(base)?, of(head)?) {
        (None, None) => None,
        (Some(was), Some(is)) if was.currency != is.currency => None,
        (was, is) => {
            let currency = was.as_ref().or(is.as_ref()).map_or_else(String::new, |own| own.currency.clone());
            let cost = |own: Option<CostStatement>, ledger: &Ledger| match own {
                Some(own) => own.total,
                // Before the first panel nothing costs nothing; panels without any price are not known.
                None if is_empty(ledger) => Cost::default(),
                None => Cost { missing: BTreeSet::from([NO_PRICE.to_string()]), ..Cost::default() },
            };
            Some(CostMove { currency, was: cost(was, base), is: cost(is, head) })
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::article::fixture::ledger;

    const PRICED: &str = "
ledger: {format: 1, programme: Test (invented), currency: EUR, rates: {labour: 60 EUR/h, layer: 12 min, scrap: 0 %}}
materials: {foam: {kind: core, density: 50 kg/m3, price: 30 EUR/m2}, film: {kind: adhesive, areal: 150 g/m2}}
processes: {oven: {method: oven}}
recipes: {skin: {process: oven, layers: [{material: foam, thickness: 6 mm}]}}
panels: {hatch: {labour: 1 h, zones: [{name: field, area: 2 m2, recipe: skin}]}}
";

    fn bare() -> String {
        PRICED
            .replace(", rates: {labour: 60 EUR/h, layer: 12 min, scrap: 0 %}", "")
            .replace(", price: 30 EUR/m2", "")
    }

    #[test]
    fn sums_of_different_things_have_no_difference() {
        let base = ledger(PRICED);
        let same = moved(&base, &base).unwrap().unwrap();
        assert_eq!((same.delta(), same.delta_hours(), same.is_moved()), (Some(0.0), Some(0.0), false));
        // 60 of foam, 1.2 h at 60; twice the area is 60 more and no hour.
        assert!((same.was.total() - 132.0).abs() < 1e-9, "{same:?}");
        let larger = moved(&base, &ledger(&PRICED.replace("2 m2", "4 m2"))).unwrap().unwrap();
        assert!((larger.delta().unwrap() - 60.0).abs() < 1e-9 && larger.is_moved());
        // A film without a price: how much more it costs is not known, its layer's time is.
        let film = PRICED.replace("[{material: foam", "[{material: film}, {material: foam");
        let film = moved(&base, &ledger(&film)).unwrap().unwrap();
        assert_eq!(
            (film.delta(), film.missing().into_iter().next().as_deref()),
            (None, Some("material/film#price"))
        );
        assert!((film.delta_hours().unwrap() - 0.2).abs() < 1e-9);
    }

    #[test]
    fn what_was_never_priced_did_not_cost_nothing() {
        let (priced, bare) = (ledger(PRICED), ledger(&bare()));
        assert_eq!(moved(&bare, &bare).unwrap(), None);
        let begun = moved(&bare, &priced).unwrap().unwrap();
        assert_eq!((begun.delta(), begun.was.is_whole()), (None, false));
        let first = moved(&Ledger::default(), &priced).unwrap().unwrap();
        assert!((first.delta().unwrap() - 132.0).abs() < 1e-9);
        let dollars = ledger(&PRICED.replace("EUR", "USD"));
        assert_eq!(moved(&priced, &dollars).unwrap(), None);
    }
}
