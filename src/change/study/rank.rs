//! The best rows, in what order, and which changes should be proved together.

use super::StudyError;
use super::judge::{Outcome, Row, grams};
use super::search::Search;
use super::space::Choice;
use crate::change::draft::{Wish, changes_of};
use crate::record::Change;
use std::collections::BTreeSet;

/// Options whose pairs are judged for tests that they share.
const MOST_PAIRED: usize = 8;
/// The most pairs of them.
pub(super) const MOST_PAIRS: usize = MOST_PAIRED * (MOST_PAIRED - 1) / 2;

/// A row with its number and what is known of its rank.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// Its number, from 1.
    pub number: usize,
    /// What was judged.
    pub row: Row,
    /// What it changes, in words.
    pub words: Vec<String>,
    /// What it changes, as a decision carries it.
    pub changes: Vec<Change>,
    /// Grams saved a week of the joint plan; `None` where it needs no week.
    pub grams_per_week: Option<f64>,
    /// Whether nothing that was not looked at can be better.
    pub proven: bool,
    /// How much lighter a better one might be, kg; 0 where it is proven.
    pub gap: f64,
    /// Whether nothing that was judged is better; else it is here for its few changes.
    pub among_best: bool,
    /// Whether it saves what is sought.
    pub reaches_goal: bool,
    /// Specimens and weeks where each change were made and proved after the other; `None` where one alone is not
    /// kept.
    pub apart: Option<(u32, f64)>,
}

/// One option alone.
#[derive(Debug, Clone, PartialEq)]
pub struct Single {
    /// What it does, in words.
    pub words: String,
    /// What comes of it.
    pub outcome: Outcome,
}

/// Changes that share tests.
#[derive(Debug, Clone, PartialEq)]
pub struct Bundle {
    /// What they do, in words.
    pub words: Vec<String>,
    /// What they save together, kg of difference.
    pub delta: f64,
    /// Specimens together.
    pub specimens: u32,
    /// Specimens if each is proved for itself.
    pub specimens_apart: u32,
    /// Weeks together.
    pub weeks: f64,
    /// Weeks if one is proved after the other.
    pub weeks_apart: f64,
    /// The showings that both have to be tested for.
    pub shared: Vec<String>,
}

impl Row {
    /// Returns the row of what stands.
    pub(super) fn as_it_is(choice: Choice, kg: f64) -> Self {
        Self {
            choice,
            delta: 0.0,
            kg,
            weeks: 0.0,
            cost: Some(0.0),
            known_cost: 0.0,
            missing: Vec::new(),
            specimens: 0,
            panels: 0,
            duties: Vec::new(),
            open: Vec::new(),
            tested: BTreeSet::new(),
            tests: Vec::new(),
            weaker: Vec::new(),
            touched: Vec::new(),
            grounded: Vec::new(),
            least: None,
            unit_cost: None,
        }
    }

    /// Returns how many variations it changes.
    pub(super) fn changes(&self) -> usize {
        self.choice.iter().filter(|option| **option != 0).count()
    }

    /// Whether one of both is enough.
    fn is_as_good(&self, other: &Row) -> bool {
        (!self.is_weakened() || other.is_weakened())
            && grams(self.delta) == grams(other.delta)
            && self.weeks.total_cmp(&other.weeks).is_eq()
            && self.costs_the_same(other)
    }
}

/// The rows that no other is better than; of equals the one that changes least. The lightest first.
pub(super) fn best<'r>(rows: impl Iterator<Item = &'r Row>) -> Vec<&'r Row> {
    let mut all: Vec<&Row> = rows.collect();
    all.sort_by(|one, two| {
        let mass = grams(one.delta).total_cmp(&grams(two.delta)).then(one.weeks.total_cmp(&two.weeks));
        mass.then(one.known_cost.total_cmp(&two.known_cost))
            .then(one.cost.is_none().cmp(&two.cost.is_none()))
            .then(one.is_weakened().cmp(&two.is_weakened()))
            .then(one.changes().cmp(&two.changes()))
            .then_with(|| one.choice.cmp(&two.choice))
    });
    // One that weighs less is never worse in mass: only those before it can be better.
    let mut kept: Vec<&Row> = Vec::new();
    for row in all {
        if !kept.iter().any(|own| own.dominates(row) || own.is_as_good(row)) {
            kept.push(row);
        }
    }
    kept
}

/// One option of one variation alone.
fn alone(search: &Search<'_>, at: usize, option: u16) -> Option<Choice> {
    let mut choice = search.space.as_it_is();
    *choice.get_mut(at)? = option;
    Some(choice)
}

pub(super) fn singles(search: &Search<'_>) -> Vec<Single> {
    let mut all = Vec::new();
    for (at, variation) in search.space.variations.iter().enumerate() {
        for option in 1..variation.options.len() {
            let choice = u16::try_from(option).ok().and_then(|option| alone(search, at, option));
            let Some(choice) = choice else { continue };
            let thrown = || search.looked_up.get(&choice).map(|own| Outcome::Thrown(Box::new(own.clone())));
            if let Some(outcome) = search.known.get(&choice).cloned().or_else(thrown) {
                let words = search.space.words(&choice).join("; ");
                all.push(Single { words, outcome });
            }
        }
    }
    all
}

/// The lightest row that is free, where none of the best is: one that leaves on open duties what it changes may be
/// lighter for no test, but nobody has to prove this one.
pub(super) fn lightest_free<'r>(rows: impl Iterator<Item = &'r Row>, best: &[&Row]) -> Option<&'r Row> {
    if best.iter().any(|row| row.is_free() && row.changes() > 0) {
        return None;
    }
    rows.filter(|row| row.is_free() && grams(row.delta) < 0.0).min_by(|one, two| {
        let mass = grams(one.delta).total_cmp(&grams(two.delta));
        mass.then(one.changes().cmp(&two.changes())).then_with(|| one.choice.cmp(&two.choice))
    })
}

/// Ranks rows: those that are free, those that ask no more than is open already, then by grams saved a week.
///
/// Of the one that is there for being free alone, `free`, nothing is proved but what is lighter than all rows that
/// ask for nothing.
pub(super) fn ranked(
    search: &Search<'_>,
    (best, free): (&[Row], Option<&Row>),
    goal_kg: Option<f64>,
    bound: Option<f64>,
) -> Vec<Ranked> {
    let cut = best.iter().filter(|row| row.asks_nothing()).map(|row| row.delta).fold(0.0, f64::min);
    let bounds = best.iter().map(|row| (row, bound));
    let mut all: Vec<Ranked> = bounds
        .chain(free.map(|row| (row, Some(bound.map_or(cut, |bound| bound.min(cut))))))
        .filter(|(row, _)| row.changes() > 0 && grams(row.delta) < 0.0)
        .map(|(row, bound)| of_row(search, row, goal_kg, bound))
        .collect();
    all.sort_by(|one, two| {
        let class = |own: &Ranked| (own.row.is_weakened(), !own.row.is_free(), !own.row.asks_nothing());
        let rate = |own: &Ranked| own.grams_per_week.unwrap_or(f64::INFINITY);
        let class = class(one).cmp(&class(two));
        class.then(rate(two).total_cmp(&rate(one))).then(one.row.delta.total_cmp(&two.row.delta))
    });
    for (at, row) in all.iter_mut().enumerate() {
        row.number = at + 1;
    }
    all
}

fn of_row(search: &Search<'_>, row: &Row, goal_kg: Option<f64>, bound: Option<f64>) -> Ranked {
    Ranked {
        number: 0,
        words: search.space.words(&row.choice),
        changes: written(search, &row.choice),
        grams_per_week: (row.weeks > 0.0).then(|| -row.delta * 1e3 / row.weeks),
        proven: bound.is_none_or(|bound| grams(row.delta) < grams(bound)),
        gap: bound.map_or(0.0, |bound| (row.delta - bound).max(0.0)),
        among_best: true,
        reaches_goal: goal_kg.is_some_and(|goal| grams(row.delta) <= -grams(goal)),
        apart: apart(search, &row.choice),
        row: row.clone(),
    }
}

/// What a choice changes as a person would write it: places by their names, what stands there as it is written.
fn written(search: &Search<'_>, choice: &[u16]) -> Vec<Change> {
    let (plain, room) = (search.space.changes(choice), search.judge.room);
    let wishes: Option<Vec<Wish>> = plain
        .iter()
        .map(|change| match (&change.set, &change.to, &change.remove) {
            (Some(place), Some(to), _) => Some(Wish::Set(place.clone(), to.0.clone())),
            (_, _, Some(place)) => Some(Wish::Remove(place.clone())),
            _ => None,
        })
        .collect();
    wishes.and_then(|wishes| changes_of(room.ledger, room.snapshot, &wishes).ok()).unwrap_or(plain)
}

/// Returns the number of a row, put behind the others where it is none of them.
pub(super) fn named(search: &Search<'_>, rows: &mut Vec<Ranked>, row: Row, goal_kg: f64) -> usize {
    if let Some(known) = rows.iter().find(|own| own.row.choice == row.choice) {
        return known.number;
    }
    let number = rows.len() + 1;
    let own = of_row(search, &row, Some(goal_kg), None);
    rows.push(Ranked { number, among_best: false, proven: false, ..own });
    number
}

/// Specimens and weeks of the changes of a choice, each proved for itself, one after the other.
fn apart(search: &Search<'_>, choice: &[u16]) -> Option<(u32, f64)> {
    let mut sum = (0, 0.0);
    for (at, option) in choice.iter().enumerate().filter(|(_, option)| **option != 0) {
        match search.known.get(&alone(search, at, *option)?)? {
            Outcome::Kept(row) => {
                sum.0 += row.specimens;
                sum.1 += row.weeks;
            }
            Outcome::Thrown(_) => return None,
        }
    }
    Some(sum)
}

/// Judges pairs of what the best rows change, and keeps those that need fewer specimens together than apart.
pub(super) fn bundles(search: &mut Search<'_>, best: &[Row]) -> Result<Vec<Bundle>, StudyError> {
    let mut options: Vec<(usize, u16)> = Vec::new();
    for row in best {
        for (at, option) in row.choice.iter().enumerate().filter(|(_, option)| **option != 0) {
            let tested =
                |choice| matches!(search.known.get(&choice), Some(Outcome::Kept(row)) if row.specimens > 0);
            if !options.contains(&(at, *option)) && alone(search, at, *option).is_some_and(tested) {
                options.push((at, *option));
            }
        }
    }
    options.truncate(MOST_PAIRED);
    options.sort_unstable();
    let mut pairs = Vec::new();
    for (at, one) in options.iter().enumerate() {
        for two in options.iter().skip(at + 1).filter(|two| two.0 != one.0) {
            let choice = alone(search, one.0, one.1).and_then(|mut choice| {
                *choice.get_mut(two.0)? = two.1;
                Some(choice)
            });
            pairs.extend(choice.map(|choice| (*one, *two, choice)));
        }
    }
    search.try_all(pairs.iter().map(|(_, _, choice)| choice.clone()).collect())?;
    let mut all = Vec::new();
    for (one, two, choice) in pairs {
        let kept = |choice: &Choice| match search.known.get(choice) {
            Some(Outcome::Kept(row)) => Some(&**row),
            _ => None,
        };
        let singles = [one, two].map(|(at, option)| alone(search, at, option));
        let [Some(one), Some(two)] = singles else { continue };
        let (Some(one), Some(two), Some(both)) = (kept(&one), kept(&two), kept(&choice)) else { continue };
        let specimens_apart = one.specimens + two.specimens;
        if both.specimens >= specimens_apart {
            continue;
        }
        all.push(Bundle {
            words: search.space.words(&choice),
            delta: both.delta,
            specimens: both.specimens,
            specimens_apart,
            weeks: both.weeks,
            weeks_apart: one.weeks + two.weeks,
            shared: one.tested.intersection(&two.tested).cloned().collect(),
        });
    }
    let saved = |own: &Bundle| own.specimens_apart - own.specimens;
    all.sort_by(|one, two| saved(two).cmp(&saved(one)).then_with(|| one.words.cmp(&two.words)));
    Ok(all)
}
