//! How far masses may stray: causes moved one by one, or all sampled together.

use super::pieces::{Pass, Reach, Weigher, needed};
use crate::article::ArticleError;
use crate::article::sight::{Cause, Drawn, Limit, Sight};
use crate::ledger::Entry;
use crate::mass::{CauseTotals, MassError, SpreadTotal, probability_within, spread};
use crate::record::{Address, Material, Panel, RecordKind};
use crate::statistics::SplitMix;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

/// Share of a normal distribution below two standard deviations under its mean, where a limit lies.
///
/// # Source
/// Abramowitz & Stegun, Handbook of Mathematical Functions, table 26.1: 1 - P(2) = 0.02275 01319.
const BELOW_LIMIT: f64 = 0.022_750_131_9;
/// Samples of a Monte-Carlo run: the quantile at two deviations then has a standard
/// error of sqrt(p (1 - p) / n) / phi(2), 6 % of one deviation.
pub(super) const SAMPLES: usize = 2000;

/// Something whose mass counts so many times.
#[derive(Clone, Copy)]
pub(super) enum Item<'a> {
    Panel(&'a Entry<Panel>),
    Part(&'a Entry<Material>),
}

/// A sum of items: place in the list of items, and how many of it.
pub(super) type Sum = Vec<(usize, f64)>;

/// How far a sum may stray.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Band {
    pub(super) nominal: f64,
    pub(super) low: f64,
    pub(super) high: f64,
    samples: Option<Vec<f64>>,
}

impl Band {
    /// Chance that the mass is at most `budget`: the normal distribution with the deviation of the side that
    /// the budget lies on; with samples, the share of them.
    pub(super) fn probability_within(&self, budget: f64) -> f64 {
        if let Some(samples) = &self.samples {
            let within = samples.partition_point(|sample| *sample <= budget);
            return within as f64 / samples.len().max(1) as f64;
        }
        // Limits that the arithmetic can't take are no finite numbers: then nothing is known to be within.
        probability_within(self.nominal, self.low, self.high, budget).unwrap_or(f64::NAN)
    }
}

/// What one cause does to the items that it reaches: place, difference at its low and at its high limit.
pub(super) type Effects = BTreeMap<Cause, Vec<(usize, f64, f64)>>;

fn kg<'a>(weigher: &Weigher<'a>, item: Item<'a>, pass: &Pass<'a, '_>) -> Result<f64, ArticleError> {
    match item {
        Item::Panel(panel) => Ok(weigher.weigh(panel, pass)?.kg),
        Item::Part(part) => {
            let mass = needed(part.value.mass.as_deref(), part, "mass")?;
            Ok(pass.of_material(mass, part, "mass"))
        }
    }
}

/// Returns the causes with the places of the items that each reaches.
pub(super) fn reached<'a>(
    weigher: &Weigher<'a>,
    items: &[Item<'a>],
) -> Result<BTreeMap<Cause, Vec<usize>>, ArticleError> {
    let mut reached: BTreeMap<Cause, Vec<usize>> = BTreeMap::new();
    for (at, item) in items.iter().enumerate() {
        let seen = RefCell::default();
        let pass = Pass::recording(weigher, &seen);
        kg(weigher, *item, &pass)?;
        let mut causes: BTreeSet<Cause> = BTreeSet::new();
        if let Item::Panel(panel) = item {
            let by = Address::new(RecordKind::Panel, panel.id.clone());
            for recipe in panel.value.zones.iter().filter_map(|zone| zone.recipe.as_ref()) {
                causes.append(&mut pass.causes_of_recipe(recipe, &by)?);
            }
        }
        causes.append(&mut seen.take());
        for cause in causes {
            reached.entry(cause).or_default().push(at);
        }
    }
    Ok(reached)
}

/// Moves each cause to its low and high limit everywhere at once, the rest nominal.
pub(super) fn effects<'a>(
    weigher: &Weigher<'a>,
    items: &[Item<'a>],
    nominal: &[f64],
) -> Result<Effects, ArticleError> {
    let mut effects = Effects::new();
    for (cause, places) in reached(weigher, items)? {
        let mut list: Vec<(usize, f64, f64)> = places.iter().map(|at| (*at, 0.0, 0.0)).collect();
        for limit in [Limit::Low, Limit::High] {
            let nudge = |address: &Address, route: &str| {
                if *address == cause.address && route == cause.route { limit } else { Limit::Nominal }
            };
            let pass = Pass::moved(weigher, Sight::moved(&nudge), Reach::One(&cause));
            for (at, low, high) in &mut list {
                let (Some(item), Some(nominal)) = (items.get(*at), nominal.get(*at)) else { continue };
                let difference = kg(weigher, *item, &pass)? - nominal;
                if limit == Limit::Low { *low = difference } else { *high = difference }
            }
        }
        list.retain(|(_, low, high)| *low != 0.0 || *high != 0.0);
        if !list.is_empty() {
            effects.insert(cause, list);
        }
    }
    Ok(effects)
}

/// Returns the differences of a sum for one cause, at its low and at its high limit.
pub(super) fn on_sum(weights: &[f64], effect: &[(usize, f64, f64)]) -> (f64, f64) {
    effect.iter().fold((0.0, 0.0), |(low, high), (at, at_low, at_high)| {
        let weight = weights.get(*at).copied().unwrap_or(0.0);
        (low + weight * at_low, high + weight * at_high)
    })
}

/// Returns a sum's weights item by item.
pub(super) fn weights(sum: &Sum, items: usize) -> Vec<f64> {
    let mut weights = vec![0.0; items];
    for (at, times) in sum {
        if let Some(weight) = weights.get_mut(*at) {
            *weight += times;
        }
    }
    weights
}

/// Combines the effects on each sum.
pub(super) fn combined(effects: &Effects, sums: &[Sum], nominal: &[f64]) -> Result<Vec<Band>, MassError> {
    let band = |sum: &Sum| {
        let weights = weights(sum, nominal.len());
        let total: f64 = weights.iter().zip(nominal).map(|(weight, kg)| weight * kg).sum();
        let totals: Vec<CauseTotals> = effects
            .values()
            .map(|effect| on_sum(&weights, effect))
            .filter(|(low, high)| *low != 0.0 || *high != 0.0)
            .map(|(low, high)| CauseTotals { at_low: total + low, at_high: total + high })
            .collect();
        let SpreadTotal { low, nominal, high } = spread(total, &totals)?;
        Ok(Band { nominal, low, high, samples: None })
    };
    sums.iter().map(band).collect()
}

/// Samples all causes together: each from a normal distribution about its nominal with a limit at two
/// deviations on its side, not cut off; the same causes of the same seed give the same answer. The low and
/// high limits are the quantiles at two deviations, 2.275 % and 97.725 %.
pub(super) fn sampled<'a>(
    weigher: &Weigher<'a>,
    items: &[Item<'a>],
    sums: &[Sum],
    nominal: &[f64],
    seed: u64,
) -> Result<Vec<Band>, ArticleError> {
    let causes = reached(weigher, items)?;
    let mut numbers = SplitMix(seed);
    let mut samples: Vec<Vec<f64>> = sums.iter().map(|_| Vec::with_capacity(SAMPLES)).collect();
    let weights: Vec<Vec<f64>> = sums.iter().map(|sum| weights(sum, items.len())).collect();
    let stirred: BTreeSet<usize> = causes.values().flatten().copied().collect();
    let mut masses = nominal.to_vec();
    let mut drawn = Drawn::new(causes.into_keys());
    for _ in 0..SAMPLES {
        drawn.draw(|| numbers.normal());
        let pass = Pass::moved(weigher, Sight::drawn(&drawn), Reach::All);
        for at in &stirred {
            if let (Some(item), Some(mass)) = (items.get(*at), masses.get_mut(*at)) {
                *mass = kg(weigher, *item, &pass)?;
            }
        }
        for (samples, weights) in samples.iter_mut().zip(&weights) {
            samples.push(weights.iter().zip(&masses).map(|(weight, kg)| weight * kg).sum());
        }
    }
    let bands = samples.into_iter().zip(&weights).map(|(mut samples, weights)| {
        samples.sort_by(f64::total_cmp);
        let total = weights.iter().zip(nominal).map(|(weight, kg)| weight * kg).sum();
        let (low, high) = (quantile(&samples, BELOW_LIMIT), quantile(&samples, 1.0 - BELOW_LIMIT));
        Band { nominal: total, low, high, samples: Some(samples) }
    });
    Ok(bands.collect())
}

/// Returns the quantile of sorted samples, linear between neighbours.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = share * sorted.len().saturating_sub(1) as f64;
    let below = place.floor();
    let at = |place: f64| sorted.get(place as usize).copied().unwrap_or(f64::NAN);
    at(below) + (place - below) * (at(place.ceil()) - at(below))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sides_keep_their_own_deviation() {
        let band = Band { nominal: 10.0, low: 9.0, high: 12.0, samples: None };
        assert!((band.probability_within(12.0) - 0.977_249_868_1).abs() < 1e-9);
        assert!((band.probability_within(9.0) - 0.022_750_131_9).abs() < 1e-9);
        let sure = Band { nominal: 10.0, low: 10.0, high: 10.0, samples: None };
        assert_eq!([sure.probability_within(10.0), sure.probability_within(9.9)], [1.0, 0.0]);
    }

    #[test]
    fn quantiles_lie_between_neighbours() {
        assert_eq!(quantile(&[1.0, 2.0, 4.0], 0.75), 3.0);
        assert!(quantile(&[], 0.5).is_nan());
    }
}
