//! How far each figure can move before something lapses or asks more, and what that costs.

mod knob;
mod once;
mod trial;

pub use knob::{Figure, GRID, Knob, Setting, knobs};
pub use trial::{Bench, Found, More, Negative};

use crate::ledger::Ledger;
use crate::qualify::retest::{RetestPlan, plan};
use crate::qualify::search::{last_holding, nearest_change};
use crate::record::{Address, RecordKind};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use trial::Trial;

/// What a search is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// Figures alone.
    Figures,
    /// Words and names of other records too.
    All,
}

/// One side of a figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// The last value that can be written and measured and keeps everything, in steps; `None` where nothing is lost up to the bound.
    pub edge: Option<i64>,
    /// The next one, which was seen to lose something.
    pub beyond: Option<i64>,
    /// The farthest value that was looked at.
    pub bound: i64,
    /// The record takes no value beyond the bound, or none that can be judged.
    pub is_end: bool,
    /// The value next to the bound where the record does not take it.
    pub refused: Option<i64>,
    /// What is lost one step beyond the edge.
    pub lost: Found,
    /// What it takes to prove again what lapses or asks more there.
    pub retest: Option<RetestPlan>,
    /// What the mass changes by up to the edge, in kg; `None` where there is no edge.
    pub gain_kg: Option<f64>,
}

/// What any other word brings with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Other {
    /// The word that was tried.
    pub tried: String,
    /// What is lost by the one that loses least.
    pub lost: Found,
    /// What it takes to prove it again.
    pub retest: Option<RetestPlan>,
}

/// What was found of a place.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "most are figures, and there are some hundred of them")]
pub enum Way {
    /// A figure: below and above; `None` where it can't go there at all.
    Figure(Figure, Option<Side>, Option<Side>),
    /// A word: any other; `None` where the record takes no other.
    Word(String, Option<Other>),
    /// Another record, which counts by its values.
    Reference(Address),
}

/// One place that can be moved, and how far.
#[derive(Debug, Clone, PartialEq)]
pub struct Attribute {
    /// The place.
    pub knob: Knob,
    /// The recipes, finishes and panels that were asked about and rest on it.
    pub of: Vec<Address>,
    /// How far it goes.
    pub way: Way,
    /// Areal mass that one unit of the figure brings, in g/m2, where the figure is a film of paint.
    pub film_g_m2: Option<f64>,
}

impl Attribute {
    /// Returns how little it can move, as a share of what it is now: the lesser of the two sides; `None` where
    /// nothing is lost on either.
    pub fn tightness(&self) -> Option<f64> {
        let Way::Figure(figure, down, up) = &self.way else { return None };
        let share = |side: &Option<Side>| {
            let side = side.as_ref()?;
            let step = (side.edge? - figure.now).unsigned_abs();
            let whole = figure.now.unsigned_abs().max((side.bound - figure.now).unsigned_abs()).max(1);
            #[allow(clippy::cast_precision_loss)]
            Some(step as f64 / whole as f64)
        };
        [share(down), share(up)].into_iter().flatten().reduce(f64::min)
    }

    /// Returns whether it is a figure that can't be moved either way: something is lost at once, or the record takes
    /// no other, and something is lost on one side at least.
    pub fn is_stuck(&self) -> bool {
        let Way::Figure(figure, down, up) = &self.way else { return false };
        let sides = [down, up];
        let stands = |side: &&Option<Side>| side.as_ref().is_none_or(|side| side.edge == Some(figure.now));
        sides.iter().all(stands) && sides.iter().any(|side| side.is_some())
    }
}

/// Returns the recipes and finishes that panels use.
pub fn in_use(ledger: &Ledger) -> Vec<Address> {
    let zones = || ledger.panels.values().flat_map(|panel| &panel.value.zones);
    let recipes = zones().filter_map(|zone| zone.recipe.as_ref().map(|own| own.address()));
    let finishes = zones().filter_map(|zone| zone.finish.as_ref().map(|own| own.address()));
    recipes.chain(finishes).collect::<BTreeSet<_>>().into_iter().collect()
}

/// Finds how far each place behind some recipes, finishes or panels can move, each place once, in the order of
/// records and of their texts; with a `route` only what stands there or below. `done` is told how many of how many places are done.
pub fn leeway(
    bench: &Bench<'_>,
    of: &[Address],
    route: Option<&str>,
    reach: Reach,
    done: &(dyn Fn(usize, usize) + Sync),
) -> Vec<Attribute> {
    let mut behind: BTreeMap<Address, Vec<Address>> = BTreeMap::new();
    for one in of {
        let below = bench.uses.reach(one).into_iter().map(|below| below.address);
        for address in std::iter::once(one.clone()).chain(below) {
            behind.entry(address).or_default().push(one.clone());
        }
    }
    let mut places: Vec<(Knob, Vec<Address>)> = Vec::new();
    for (address, of) in behind {
        let here =
            |knob: &Knob| route.is_none_or(|route| of.contains(&knob.address) && knob.stands_at(route));
        let own = knobs(bench.ledger, bench.snapshot, &address).into_iter().filter(here);
        let own = own.filter(|knob| reach == Reach::All || matches!(knob.setting, Setting::Figure(_)));
        places.extend(own.map(|knob| (knob, of.clone())));
    }
    let (count, finished) = (places.len(), std::sync::atomic::AtomicUsize::new(0));
    places
        .into_par_iter()
        .map(|(knob, of)| {
            let way = way(bench, &knob);
            let film_g_m2 = film(bench.ledger, &knob);
            done(finished.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1, count);
            Attribute { knob, of, way, film_g_m2 }
        })
        .collect()
}

fn way(bench: &Bench<'_>, knob: &Knob) -> Way {
    match &knob.setting {
        Setting::Reference(to) => Way::Reference(to.clone()),
        Setting::Word(word) => Way::Word(word.clone(), other(bench, knob, word)),
        Setting::Figure(figure) => {
            let panels = bench.touched(&knob.address);
            let (low, high) = figure.bounds;
            let side = |bound: i64| side(bench, knob, figure, &panels, bound);
            Way::Figure(figure.clone(), side(low), side(high))
        }
    }
}

/// Looks on one side of a figure.
fn side(
    bench: &Bench<'_>,
    knob: &Knob,
    figure: &Figure,
    panels: &BTreeSet<String>,
    bound: i64,
) -> Option<Side> {
    let (bound, is_end) = farthest(bench, knob, figure, bound)?;
    let mut clear_kg: BTreeMap<i64, f64> = BTreeMap::from([(figure.now, bench.kg)]);
    let mut end = None;
    let holds = |at: i64| -> Result<bool, i64> {
        match bench.is_clear(knob, panels, &figure.written(at)) {
            Some(Some(kg)) => clear_kg.insert(at, kg),
            Some(None) => return Ok(false),
            None => return Err(at),
        };
        Ok(true)
    };
    let edge = match nearest_change(figure.now, &figure.points(bound), holds) {
        Ok(edge) => edge,
        // What can't be judged ends the look.
        Err(at) => {
            end = Some(at);
            None
        }
    };
    let bound = match end {
        Some(at) => {
            let inside = clear_kg.keys().filter(|own| (**own < at) == (figure.now < at));
            inside.copied().max_by_key(|own| (own - figure.now).unsigned_abs()).unwrap_or(figure.now)
        }
        None => bound,
    };
    let refused = (is_end && end.is_none()).then(|| if bound > figure.now { bound + 1 } else { bound - 1 });
    let is_end = is_end || end.is_some();
    let (lost, retest, gain_kg) = (Found::default(), None, None);
    let mut side = Side { edge, beyond: None, bound, is_end, refused, lost, retest, gain_kg };
    if let Some(edge) = edge {
        let beyond = if bound > figure.now { edge + 1 } else { edge - 1 };
        side.edge = Some(edge);
        side.beyond = Some(beyond);
        side.gain_kg = clear_kg.get(&edge).map(|kg| kg - bench.kg);
        if let Some(trial) = bench.trial(knob, panels, &figure.written(beyond)) {
            side.retest = again(&trial);
            side.lost = trial.found;
        }
    }
    Some(side)
}

/// The farthest step towards a bound that the ledger takes, and whether that is the end of what it takes; `None`
/// where it takes none.
fn farthest(bench: &Bench<'_>, knob: &Knob, figure: &Figure, bound: i64) -> Option<(i64, bool)> {
    let takes = |at: i64| bench.takes(knob, &figure.written(at));
    if bound == figure.now {
        return None;
    }
    if takes(bound) {
        return Some((bound, false));
    }
    let back = (figure.now - bound).signum();
    if takes(bound + back) {
        return Some((bound + back, true));
    }
    let next = figure.now - back;
    if !takes(next) {
        return None;
    }
    let last = last_holding(next, bound, |at| Ok::<_, std::convert::Infallible>(takes(at)));
    Some((last.unwrap_or(next), true))
}

/// Plans what proves the duties of a trial again that lapse or ask more, as the impact of the same edit does.
fn again(trial: &Trial) -> Option<RetestPlan> {
    let keys = &trial.found.again;
    (!keys.is_empty()).then(|| plan(&trial.ledger, &trial.evaluation, keys))
}

/// The free word that is tried in place of any other.
pub const ANY_OTHER: &str = "any-other";

/// Words that keys with a choice of their own take; each is tried where a free word is refused.
const WORDS: [&str; 40] = [
    "oven",
    "autoclave",
    "infusion",
    "wet-layup",
    "press",
    "bond",
    "spray",
    "twill",
    "plain",
    "satin",
    "unidirectional",
    "non-crimp",
    "veil",
    "honeycomb",
    "foam",
    "balsa",
    "carbon",
    "glass",
    "aramid",
    "other",
    "filler",
    "primer",
    "colour",
    "clear",
    "structural",
    "non-structural",
    "single",
    "redundant",
    "arrest",
    "proof",
    "inspection",
    "none",
    "all",
    "about-last",
    "one",
    "both",
    "simply-supported",
    "clamped",
    "short",
    "long",
];

/// Looks at any other word: one that nothing else is called, or where only some are taken, each of these; the one
/// that loses least.
fn other(bench: &Bench<'_>, knob: &Knob, word: &str) -> Option<Other> {
    let panels = bench.touched(&knob.address);
    // A key that says what the record is decides what else it may hold.
    if knob.attribute == "kind" {
        return None;
    }
    let words: Vec<&str> = if bench.takes(knob, ANY_OTHER) {
        vec![ANY_OTHER]
    } else {
        WORDS.into_iter().filter(|other| *other != word && bench.takes(knob, other)).collect()
    };
    let trials = words.into_iter().filter_map(|word| Some((word, bench.trial(knob, &panels, word)?)));
    let least = trials.min_by_key(|(_, trial)| {
        let lost = &trial.found;
        lost.lapses.len() + lost.more.len() + lost.margins.len() + lost.budgets.len() + lost.balance.len()
    });
    least.map(|(word, trial)| Other { tried: word.to_string(), retest: again(&trial), lost: trial.found })
}

/// Grams of dry paint on a square metre that one unit of a coat's film brings.
fn film(ledger: &Ledger, knob: &Knob) -> Option<f64> {
    let Setting::Figure(figure) = &knob.setting else { return None };
    let place = knob.numbered().strip_prefix("coats.")?;
    let (at, key) = place.split_once('.')?;
    if knob.address.kind() != RecordKind::Finish || !["dry_film", "removed"].contains(&key) {
        return None;
    }
    let finish = ledger.finishes.get(knob.address.id())?;
    let coat = finish.value.coats.get(at.parse::<usize>().ok()?.checked_sub(1)?)?;
    let density = ledger.materials.get(coat.material.id())?.value.dry_density.as_ref()?.si();
    let unit = crate::quantity::Length::parse(&format!("1 {}", figure.unit)).ok()?.si();
    Some(unit * density * 1e3)
}

#[cfg(test)]
mod tests;
