//! Which candidates are judged, in what order, and what is proved by it.
//!
//! Candidates are taken the lightest first: the sum of the least masses of all blocks bounds from below what
//! any candidate weighs, and every step away from it only adds ([`Frontier`]). A candidate that needs no test
//! at all dominates all that weigh as much or more, so that the search is whole where the next one is not
//! lighter than the lightest of those; nothing as it stands is such a candidate. What a panel's margins or a
//! recipe's rules refuse, they refuse in every candidate that is the same there: those are not judged again.
//!
//! Where there are more candidates than may be judged, half of the judgements go to promising ones first: the
//! lightest combinations of changes that alone need no more than so many weeks, and what differs from the best
//! so far in one variation, in an order drawn by the seed. Then the lightest are taken as before; up to the
//! mass that they reach everything is proved, and behind it a row says how much lighter another one might be.

use super::fewest::{MOST_TRIED, fewest};
use super::judge::{Criterion, Judge, Outcome, Row, Thrown, grams};
use super::mechanics::loads_of;
use super::rank::{self, Bundle, Ranked, Single};
use super::space::{Choice, Space};
use super::stacks::{Refused, StackRules, StackSpace};
use super::weigh::Weights;
use super::{Room, StudyError};
use crate::article::weigh::programme_mass;
use crate::ledger::Entry;
use crate::record::{Goal, Keep, Limits, Study};
use crate::statistics::SplitMix;
use rayon::prelude::*;
use std::cmp::Ordering;
use std::collections::{BTreeMap, BinaryHeap, HashMap, HashSet, VecDeque};

/// Judged side by side, whatever the number of threads, so that the answer does not depend on it.
const BATCH: usize = 16;
/// Stacks that one thread judges by rules and mechanics at once.
const SIDE_BY_SIDE: usize = 256;
/// The most that are looked up beforehand.
const FARTHEST: usize = 4096;
/// Judged in full where the study says nothing.
pub const USUAL_LIMIT: u32 = 1000;
/// The most that are looked at, judged or not.
const MOST_LOOKED_AT: u64 = 2_000_000;

/// How a search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// Nothing is left that could be better.
    Whole,
    /// As many as may be were judged.
    Limit,
    /// As many as are looked at at all were.
    Looked,
    /// The time was over.
    Seconds,
    /// Somebody stopped it.
    Interrupted,
    /// A candidate weighs something else than its blocks add up to, so that no bound of masses holds.
    Masses,
}

impl Ended {
    /// Returns the word.
    pub fn word(self) -> &'static str {
        match self {
            Ended::Whole => "whole",
            Ended::Limit => "variations",
            Ended::Looked => "looked-at",
            Ended::Seconds => "seconds",
            Ended::Interrupted => "interrupted",
            Ended::Masses => "masses",
        }
    }
}

/// How far a search is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Combinations that are weighed, and how many there are: what comes before all judging.
    pub weighed: Option<(usize, usize)>,
    /// Judged in full.
    pub judged: usize,
    /// The most that are.
    pub most: usize,
    /// Looked at, thrown out without judging included.
    pub looked_at: u64,
    /// How many there are.
    pub candidates: u128,
    /// The lightest that is kept, kg of difference.
    pub best: f64,
}

/// What a search is told from outside.
pub struct StudyOptions<'a> {
    /// Decides between equals in what is tried.
    pub seed: u64,
    /// Says whether to stop.
    pub stop: &'a (dyn Fn() -> Option<Ended> + Sync),
    /// Hears how far it is.
    pub progress: &'a (dyn Fn(&Progress) + Sync),
}

/// What one criterion threw out.
#[derive(Debug, Clone, PartialEq)]
pub struct ThrownOut {
    /// The criterion.
    pub criterion: Criterion,
    /// How many.
    pub count: u64,
    /// How many of those are lighter than the lightest row.
    pub lighter: u64,
    /// How many are lighter than what stands.
    pub lighter_than_now: u64,
    /// The difference of mass of the lightest, kg.
    pub lightest: f64,
    /// Why the lightest that was judged or looked up is, in words.
    pub words: String,
}

/// What a study found.
#[derive(Debug, Clone)]
pub struct Found {
    /// The study's id.
    pub study: String,
    /// Its title.
    pub title: Option<String>,
    /// The programme as it stands, kg.
    pub base_kg: f64,
    /// Mass that is to be saved, kg.
    pub goal_kg: Option<f64>,
    /// The variations: what each is called, and how many options it has, what stands included.
    pub variations: Vec<(String, usize)>,
    /// How many sound candidates there are, what stands included.
    pub candidates: u128,
    /// How many more would leave a fault behind them, and the first of those faults.
    pub broken: (u128, Option<String>),
    /// How many were looked at.
    pub looked_at: u64,
    /// How many of them were judged in full; what stands is judged anyway and not among them.
    pub judged: usize,
    /// Whether it came as far as judging: all combinations are weighed first.
    pub is_weighed: bool,
    /// How it ended; the answer is exact where it is whole.
    pub ended: Ended,
    /// All candidates lighter than this difference in kg were looked at; `None` where all were that matter, and
    /// minus infinity where nothing is known.
    pub bound: Option<f64>,
    /// A candidate that weighs something else than its blocks add up to: in words, the sum, and what it weighs, both
    /// kg of difference.
    pub misweighed: Option<(Vec<String>, f64, f64)>,
    /// Nothing is better than these in mass, weeks and cost, as far as was looked; where none of them is free inside
    /// every window, the lightest that was judged and is.
    /// What asks less than now stands behind them. The last may be there for its few changes alone ([`Found::fewest`]).
    pub rows: Vec<Ranked>,
    /// The number of the row that saves what is sought with the fewest changes and weakens nothing, and whether it is
    /// sure that none has fewer; `None` where none was found or nothing is sought.
    pub fewest: Option<(usize, bool)>,
    /// Each option alone.
    pub singles: Vec<Single>,
    /// Pairs of changes that share tests.
    pub bundles: Vec<Bundle>,
    /// What was thrown out by what.
    pub thrown: Vec<ThrownOut>,
    /// The one that came nearest to being kept, of those that are lighter than all rows.
    pub miss: Option<(Thrown, Vec<String>)>,
}

impl Found {
    /// Returns the row that reaches the goal with the fewest weeks, then cost; a cost that is not known comes
    /// behind those that are, and what is free before what leaves duties open. Then mass. One that asks less than now comes
    /// behind all that do not.
    pub fn cheapest(&self) -> Option<&Ranked> {
        let reaches = self.rows.iter().filter(|row| row.reaches_goal && row.among_best);
        reaches.min_by(|one, two| {
            let weaker = one.row.is_weakened().cmp(&two.row.is_weakened());
            let weeks = weaker.then(one.row.weeks.total_cmp(&two.row.weeks));
            let known = weeks.then(one.row.cost.is_none().cmp(&two.row.cost.is_none()));
            let cost = known.then(one.row.known_cost.total_cmp(&two.row.known_cost));
            let free = cost.then(two.row.is_free().cmp(&one.row.is_free()));
            free.then(one.row.delta.total_cmp(&two.row.delta))
        })
    }
}

/// A candidate by its blocks' combinations, and what it weighs.
#[derive(Debug, Clone, PartialEq)]
struct Next {
    delta: f64,
    ranks: Vec<u32>,
    /// Blocks before this one stay at the lightest they can be: so each is reached by one way only.
    from: usize,
}

impl Eq for Next {}

impl Ord for Next {
    fn cmp(&self, other: &Self) -> Ordering {
        // The heap gives its greatest first: the lightest.
        other.delta.total_cmp(&self.delta).then_with(|| other.ranks.cmp(&self.ranks))
    }
}

impl PartialOrd for Next {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// All candidates, the lightest first, made as they are asked for.
pub struct Frontier<'w> {
    weights: &'w Weights,
    heap: BinaryHeap<Next>,
}

impl<'w> Frontier<'w> {
    /// Returns the candidates of a space; none where a block has no sound combination.
    pub fn new(weights: &'w Weights) -> Self {
        let ranks = vec![0; weights.blocks.len()];
        let any = weights.blocks.iter().all(|block| !block.combinations.is_empty());
        let first = Next { delta: weights.delta(&ranks), ranks, from: 0 };
        Self { weights, heap: any.then_some(first).into_iter().collect() }
    }

    /// Returns what the next one changes the mass by, kg: all that follow weigh as much or more.
    pub fn bound(&self) -> Option<f64> {
        self.heap.peek().map(|next| next.delta)
    }
}

impl Iterator for Frontier<'_> {
    type Item = (Vec<u32>, f64);

    fn next(&mut self) -> Option<Self::Item> {
        let Next { delta, ranks, from } = self.heap.pop()?;
        // Combinations of a block are sorted by mass, so that each step adds: the bound of whatever follows.
        for (at, block) in self.weights.blocks.iter().enumerate().skip(from) {
            let mut further = ranks.clone();
            let Some(rank) = further.get_mut(at) else { continue };
            *rank += 1;
            if (*rank as usize) < block.combinations.len() {
                self.heap.push(Next { delta: self.weights.delta(&further), ranks: further, from: at });
            }
        }
        Some((ranks, delta))
    }
}

/// A candidate worth judging.
pub(super) struct Candidate {
    choice: Choice,
    ranks: Vec<u32>,
    pub(super) delta: f64,
}

/// Options that together are thrown out, whatever the rest is: by what, which, and why in words.
type Cut = (Criterion, Vec<(usize, u16)>, String);

/// What one criterion threw out: the differences of mass, the least of them, and why that one.
type Tally = (Vec<f64>, f64, String);

pub(super) struct Search<'a> {
    pub(super) judge: Judge<'a>,
    pub(super) space: &'a Space,
    pub(super) weights: &'a Weights,
    stacks: Vec<StackSpace>,
    /// The combinations of what stands.
    as_it_is: Vec<u32>,
    /// What was judged.
    pub(super) known: HashMap<Choice, Outcome>,
    /// What was looked at out of turn.
    seen: HashSet<Choice>,
    /// What of that was thrown out without judging, by what.
    pub(super) looked_up: HashMap<Choice, Thrown>,
    /// Options that together are thrown out, whatever the rest is.
    refused: Vec<Cut>,
    thrown: BTreeMap<Criterion, Tally>,
    near: Vec<Thrown>,
    looked_at: u64,
    most: usize,
    /// Looked at at most, judged or not.
    most_looked_at: u64,
    options: &'a StudyOptions<'a>,
    stopped: Option<Ended>,
}

impl<'a> Search<'a> {
    /// What recipe of each candidate breaks a rule, and how, side by side.
    fn by_stacks(&self, all: &[Candidate]) -> Vec<Option<(usize, Refused)>> {
        let settled = self.stacks.iter().any(StackSpace::is_settled);
        let steady = |ranks: &[u32]| self.stacks.iter().all(|stack| stack.asks_as(ranks, &self.as_it_is));
        let some = |part: &[Candidate]| -> Vec<Option<(usize, Refused)>> {
            let mut found = vec![None; part.len()];
            let ranks: Vec<(&[u32], bool)> =
                part.iter().map(|one| (one.ranks.as_slice(), settled && steady(&one.ranks))).collect();
            for (at, stack) in self.stacks.iter().enumerate() {
                let refused = stack.judge_changed(self.weights, &ranks, &mut stack.scratch());
                for (own, refused) in found.iter_mut().zip(refused) {
                    *own = own.or(refused.map(|refused| (at, refused)));
                }
            }
            found
        };
        all.par_chunks(SIDE_BY_SIDE).flat_map_iter(some).collect()
    }

    /// What a candidate is thrown out by without judging; counted once.
    fn refused(&mut self, one: &Candidate, by_stack: Option<(usize, Refused)>) -> Option<Criterion> {
        self.looked_at += 1;
        if let Some((at, refused)) = by_stack {
            let recipe = self.stacks.get(at).map_or("", |stack| stack.recipe.as_str());
            let criterion = Criterion::Stack(refused.rule);
            count(&mut self.thrown, criterion, one.delta, || format!("recipe {recipe}: {}", refused.words()));
            return Some(criterion);
        }
        let same =
            |all: &Vec<(usize, u16)>| all.iter().all(|(at, option)| one.choice.get(*at) == Some(option));
        let (criterion, _, words) = self.refused.iter().find(|(_, all, _)| same(all))?;
        count(&mut self.thrown, *criterion, one.delta, || words.clone());
        Some(*criterion)
    }

    /// The words of what a candidate out of turn was thrown out by, once it is counted.
    fn words_of(&self, one: &Candidate, by_stack: Option<(usize, Refused)>) -> String {
        if let Some((at, refused)) = by_stack {
            let recipe = self.stacks.get(at).map_or("", |stack| stack.recipe.as_str());
            return format!("recipe {recipe}: {}", refused.words());
        }
        let same =
            |all: &Vec<(usize, u16)>| all.iter().all(|(at, option)| one.choice.get(*at) == Some(option));
        let found = self.refused.iter().find(|(_, all, _)| same(all));
        found.map_or(String::new(), |(_, _, words)| words.clone())
    }

    /// Judges candidates side by side and keeps what came of them.
    fn judge_all(&mut self, batch: &[Candidate]) -> Result<(), StudyError> {
        let judge = &self.judge;
        let judged: Vec<Result<Outcome, StudyError>> =
            batch.par_iter().map(|one| judge.judge(&one.choice, one.delta)).collect();
        for (one, outcome) in batch.iter().zip(judged) {
            let outcome = outcome?;
            if let Outcome::Thrown(thrown) = &outcome {
                count(&mut self.thrown, thrown.criterion, one.delta, || thrown.words.clone());
                if thrown.decided_by.len() < one.choice.len() {
                    let options: Vec<(usize, u16)> = thrown
                        .decided_by
                        .iter()
                        .filter_map(|at| Some((*at, *one.choice.get(*at)?)))
                        .collect();
                    self.refused.push((thrown.criterion, options, thrown.words.clone()));
                }
                if thrown.shortfall.is_some_and(f64::is_finite) {
                    self.near.push((**thrown).clone());
                }
            }
            self.known.insert(one.choice.clone(), outcome);
        }
        let progress = Progress {
            weighed: None,
            judged: self.judged(),
            most: self.most,
            looked_at: self.looked_at,
            candidates: self.weights.candidates(),
            best: self.kept().map(|row| row.delta).fold(0.0, f64::min),
        };
        (self.options.progress)(&progress);
        Ok(())
    }

    /// How many were judged: what stands is known beforehand.
    fn judged(&self) -> usize {
        self.known.len() - 1
    }

    /// How many more may be judged.
    fn left(&self) -> usize {
        self.most.saturating_sub(self.judged())
    }

    pub(super) fn kept(&self) -> impl Iterator<Item = &Row> {
        self.known.values().filter_map(|outcome| match outcome {
            Outcome::Kept(row) => Some(&**row),
            Outcome::Thrown(_) => None,
        })
    }

    /// Nothing that weighs as much or more than this, in g, can be better.
    pub(super) fn free_grams(&self) -> f64 {
        self.kept().filter(|row| row.asks_nothing()).map(|row| grams(row.delta)).fold(f64::INFINITY, f64::min)
    }

    pub(super) fn candidate(&self, choice: Choice) -> Option<Candidate> {
        let ranks = self.weights.ranks(&choice)?;
        let delta = self.weights.delta(&ranks);
        Some(Candidate { choice, ranks, delta })
    }

    /// Looks at candidates out of turn: those that are not known and not refused are judged.
    pub(super) fn try_all(&mut self, choices: Vec<Choice>) -> Result<(), StudyError> {
        let mut batch = Vec::new();
        for choice in choices {
            // What is not looked at any more must not count as seen.
            if batch.len() >= self.left() {
                break;
            }
            if !self.seen.insert(choice.clone()) {
                continue;
            }
            let Some(one) = self.candidate(choice) else { continue };
            let by_stack = self.by_stacks(std::slice::from_ref(&one)).first().copied().flatten();
            match self.refused(&one, by_stack) {
                None => batch.push(one),
                Some(criterion) => {
                    let words = self.words_of(&one, by_stack);
                    let Candidate { choice, delta, .. } = one;
                    let (shortfall, decided_by) = (None, Vec::new());
                    let thrown =
                        Thrown { choice: choice.clone(), delta, criterion, words, shortfall, decided_by };
                    self.looked_up.insert(choice, thrown);
                }
            }
            if batch.len() == BATCH {
                if self.is_over() {
                    return Ok(());
                }
                self.judge_all(&batch)?;
                batch.clear();
            }
        }
        if !batch.is_empty() && !self.is_over() {
            self.judge_all(&batch)?;
        }
        Ok(())
    }

    fn is_over(&mut self) -> bool {
        if self.stopped.is_none() {
            self.stopped = (self.options.stop)();
        }
        self.stopped.is_some()
    }

    /// Every option alone.
    fn alone(&self) -> Vec<Choice> {
        let mut all = Vec::new();
        for (at, variation) in self.space.variations.iter().enumerate() {
            for option in 1..variation.options.len() {
                let mut choice = self.space.as_it_is();
                if let (Some(place), Ok(option)) = (choice.get_mut(at), u16::try_from(option)) {
                    *place = option;
                    all.push(choice);
                }
            }
        }
        all
    }

    /// For each number of weeks that a single change needs: the lightest combination of changes that alone need
    /// no more; and that of changes that alone are free.
    fn by_weeks(&self) -> Vec<Choice> {
        let alone = |at: usize, option: u16| -> Option<&Row> {
            let mut choice = self.space.as_it_is();
            *choice.get_mut(at)? = option;
            match self.known.get(&choice)? {
                Outcome::Kept(row) => Some(row),
                Outcome::Thrown(_) => None,
            }
        };
        let mut steps: Vec<f64> = self.kept().map(|row| row.weeks).collect();
        steps.sort_by(f64::total_cmp);
        steps.dedup();
        let lightest = |good: &dyn Fn(&Row) -> bool| {
            let fits = |at: &usize, option: &u16| *option == 0 || alone(*at, *option).is_some_and(good);
            let ranks: Option<Vec<u32>> = self
                .weights
                .blocks
                .iter()
                .map(|block| {
                    let fits =
                        |options: &[u16]| block.variations.iter().zip(options).all(|(at, own)| fits(at, own));
                    let at = block.combinations.iter().position(|one| fits(&one.options))?;
                    u32::try_from(at).ok()
                })
                .collect();
            ranks.map(|ranks| self.weights.choice(self.space, &ranks))
        };
        let by_weeks = steps.into_iter().filter_map(|most| lightest(&|own| own.weeks <= most));
        by_weeks.chain(lightest(&Row::is_free)).collect()
    }

    /// What differs from some choices in one variation, in an order drawn by the seed.
    fn near(&self, choices: &[Choice], draw: &mut SplitMix) -> Vec<Choice> {
        let free = self.free_grams();
        let mut all: Vec<Choice> = Vec::new();
        for choice in choices {
            for (at, variation) in self.space.variations.iter().enumerate() {
                for option in 0..variation.options.len() {
                    let mut other = choice.clone();
                    let (Some(place), Ok(option)) = (other.get_mut(at), u16::try_from(option)) else {
                        continue;
                    };
                    *place = option;
                    let lighter = self.candidate(other.clone()).is_some_and(|one| grams(one.delta) < free);
                    if lighter && !self.seen.contains(&other) && !all.contains(&other) {
                        all.push(other);
                    }
                }
            }
        }
        all.sort();
        let mut drawn: Vec<(u64, Choice)> = all.into_iter().map(|choice| (draw.next(), choice)).collect();
        drawn.sort();
        drawn.into_iter().map(|(_, choice)| choice).collect()
    }

    /// Looks around the best until half of the judgements are spent.
    fn around_the_best(&mut self, mut begin: Vec<Choice>) -> Result<(), StudyError> {
        let mut draw = SplitMix(self.options.seed);
        while self.judged() < self.most / 2 && !self.is_over() {
            begin.extend(rank::best(self.kept()).into_iter().map(|row| row.choice.clone()));
            let mut next = self.near(&begin, &mut draw);
            next.truncate(BATCH.min(self.left()));
            if next.is_empty() {
                break;
            }
            self.try_all(next)?;
            begin.clear();
        }
        Ok(())
    }

    /// Takes the lightest first; returns the bound behind which nothing was looked at.
    fn lightest_first(&mut self) -> Result<(Ended, Option<f64>), StudyError> {
        let weights = self.weights;
        let mut frontier = Frontier::new(weights);
        // What is looked up beforehand counts once it is its turn, so that nobody sees how many those are.
        let mut ahead: VecDeque<(Candidate, Option<(usize, Refused)>)> = VecDeque::new();
        let mut reach = BATCH;
        loop {
            let mut batch: Vec<Candidate> = Vec::new();
            let next_of = |frontier: &Frontier<'_>, ahead: &VecDeque<(Candidate, _)>| {
                ahead.front().map(|(one, _)| one.delta).or_else(|| frontier.bound())
            };
            let begin = next_of(&frontier, &ahead);
            let mut whole = false;
            while batch.len() < BATCH {
                let free = self.free_grams();
                let Some(bound) = next_of(&frontier, &ahead).filter(|bound| grams(*bound) < free) else {
                    whole = true;
                    break;
                };
                let looked = self.looked_at >= self.most_looked_at;
                if looked || batch.len() >= self.left() {
                    if batch.is_empty() {
                        let ended = if looked { Ended::Looked } else { Ended::Limit };
                        return Ok((ended, Some(bound)));
                    }
                    break;
                }
                if ahead.is_empty() {
                    ahead = self.looked_up(&mut frontier, reach, free);
                    reach = (reach * 2).min(FARTHEST);
                    if batch.is_empty() && self.is_over() {
                        return Ok((self.stopped.unwrap_or(Ended::Interrupted), Some(bound)));
                    }
                }
                let Some((one, by_stack)) = ahead.pop_front() else { continue };
                if self.refused(&one, by_stack).is_none() {
                    batch.push(one);
                }
            }
            if self.is_over() {
                return Ok((self.stopped.unwrap_or(Ended::Interrupted), begin));
            }
            self.judge_all(&batch)?;
            if whole {
                return Ok((Ended::Whole, None));
            }
        }
    }

    /// The next candidates that are not known yet and lighter than `free` in g, with what their stacks break.
    fn looked_up(
        &self,
        frontier: &mut Frontier<'_>,
        most: usize,
        free: f64,
    ) -> VecDeque<(Candidate, Option<(usize, Refused)>)> {
        let mut all: Vec<Candidate> = Vec::with_capacity(most);
        while all.len() < most && frontier.bound().is_some_and(|bound| grams(bound) < free) {
            let Some((ranks, delta)) = frontier.next() else { break };
            let choice = self.weights.choice(self.space, &ranks);
            if !self.seen.contains(&choice) {
                all.push(Candidate { choice, ranks, delta });
            }
        }
        let found = self.by_stacks(&all);
        all.into_iter().zip(found).collect()
    }
}

fn count(
    thrown: &mut BTreeMap<Criterion, Tally>,
    criterion: Criterion,
    delta: f64,
    words: impl FnOnce() -> String,
) {
    let own = thrown.entry(criterion).or_insert_with(|| (Vec::new(), f64::INFINITY, String::new()));
    own.0.push(delta);
    if delta < own.1 {
        (own.1, own.2) = (delta, words());
    }
}

/// Searches what a study allows.
///
/// # Errors
/// [`StudyError`] where the study can't be carried out on the ledger as it stands.
pub fn run(room: &Room<'_>, study: &Entry<Study>, options: &StudyOptions<'_>) -> Result<Found, StudyError> {
    run_looking(room, study, options, MOST_LOOKED_AT)
}

/// As [`run`], with the most that are looked at.
pub(super) fn run_looking(
    room: &Room<'_>,
    study: &Entry<Study>,
    options: &StudyOptions<'_>,
    most_looked_at: u64,
) -> Result<Found, StudyError> {
    let value = &study.value;
    currency(room, &value.limits.clone().unwrap_or_default())?;
    let space = Space::of(room.ledger, value)?;
    match Weights::of(room, &space, options) {
        Ok(weights) => search(room, study, (&space, &weights), options, most_looked_at),
        Err(StudyError::Stopped(ended)) => unweighed(room, study, &space, ended),
        Err(problem) => Err(problem),
    }
}

/// What is known of a space that nobody has weighed: how large it is.
fn unweighed(
    room: &Room<'_>,
    study: &Entry<Study>,
    space: &Space,
    ended: Ended,
) -> Result<Found, StudyError> {
    let options = |one: &super::space::Variation| one.options.len() as u128;
    Ok(Found {
        study: study.id.clone(),
        title: study.value.title.clone(),
        base_kg: programme_mass(room.ledger)?,
        goal_kg: study.value.goal.as_ref().and_then(|goal| goal.save.as_ref()).map(|mass| mass.si()),
        variations: space.variations.iter().map(|one| (one.name.clone(), one.options.len())).collect(),
        candidates: space.variations.iter().map(options).fold(1, u128::saturating_mul),
        broken: (0, None),
        looked_at: 0,
        judged: 0,
        is_weighed: false,
        ended,
        bound: Some(f64::NEG_INFINITY),
        misweighed: None,
        rows: Vec::new(),
        fewest: None,
        singles: Vec::new(),
        bundles: Vec::new(),
        thrown: Vec::new(),
        miss: None,
    })
}

/// Searches a space that is weighed.
pub(super) fn search(
    room: &Room<'_>,
    study: &Entry<Study>,
    (space, weights): (&Space, &Weights),
    options: &StudyOptions<'_>,
    most_looked_at: u64,
) -> Result<Found, StudyError> {
    let value = &study.value;
    let (keep, goal) = (value.keep.clone().unwrap_or_default(), value.goal.clone().unwrap_or_default());
    let limits = value.limits.clone().unwrap_or_default();
    let stacks = stacks(room, (space, weights), &keep)?;
    let standing = weights.ranks(&space.as_it_is()).unwrap_or_default();
    let most = limits.variations.unwrap_or(USUAL_LIMIT).max(1) as usize;
    // Pairs that share tests and few changes that do it are judged last; where most candidates are not judged, some
    // judgements are kept for them.
    let sought = if value.goal.as_ref().is_some_and(|own| own.save.is_some()) { MOST_TRIED } else { 0 };
    let last = rank::MOST_PAIRS + sought;
    let last = if most >= 4 * last { last } else { 0 };
    let mut search = Search {
        judge: Judge::new(room, space, (&keep, &limits), weights.base_kg),
        space,
        weights,
        stacks,
        as_it_is: standing,
        known: HashMap::new(),
        seen: HashSet::new(),
        looked_up: HashMap::new(),
        refused: Vec::new(),
        thrown: BTreeMap::new(),
        near: Vec::new(),
        looked_at: 0,
        most: most - last,
        most_looked_at,
        options,
        stopped: None,
    };
    // What stands is the one that everything is measured by: it needs no test and changes no mass.
    let as_it_is = space.as_it_is();
    search.seen.insert(as_it_is.clone());
    search.looked_at += 1;
    search.known.insert(as_it_is.clone(), Outcome::Kept(Box::new(Row::as_it_is(as_it_is, weights.base_kg))));
    let alone = search.alone();
    search.try_all(alone)?;
    // A light one that needs no test cuts off most of what is heavier, in a small space too.
    let by_weeks = search.by_weeks();
    search.try_all(by_weeks.clone())?;
    if weights.candidates() > search.most as u128 {
        search.around_the_best(by_weeks)?;
    }
    let (ended, bound) = match search.stopped {
        Some(stopped) => (stopped, Frontier::new(weights).bound()),
        None => search.lightest_first()?,
    };
    search.most = most;
    finish(search, (study, &goal), (ended, bound))
}

fn currency(room: &Room<'_>, limits: &Limits) -> Result<(), StudyError> {
    let own = room.ledger.head.as_ref().and_then(|head| head.currency.as_ref());
    match (&limits.cost, own) {
        (Some(cost), Some(own)) if cost.currency() != own.as_str() => {
            Err(StudyError::Currency { of_limit: cost.currency().to_string(), of_ledger: own.to_string() })
        }
        _ => Ok(()),
    }
}

/// The stacks that a study changes, with the loads that all of their values are typed for.
fn stacks(
    room: &Room<'_>,
    (space, weights): (&Space, &Weights),
    keep: &Keep,
) -> Result<Vec<StackSpace>, StudyError> {
    let rules = StackRules::of(keep);
    let as_it_is = weights.ranks(&space.as_it_is());
    let all = StackSpace::all(room.ledger, weights, rules)?;
    let mut with_loads = Vec::with_capacity(all.len());
    for stack in all {
        let loads = loads_of(room, &stack.recipe, (keep, space))?;
        let stack = stack.under(loads);
        with_loads.push(match &as_it_is {
            Some(ranks) => stack.no_worse_than(ranks),
            None => stack,
        });
    }
    // Where values are settled, all recipes are asked whether they leave the plies where they are.
    if !with_loads.iter().any(StackSpace::is_settled) {
        with_loads.retain(|stack| !rules.is_empty() || stack.has_loads());
    }
    Ok(with_loads)
}

fn finish(
    mut search: Search<'_>,
    (study, goal): (&Entry<Study>, &Goal),
    (ended, bound): (Ended, Option<f64>),
) -> Result<Found, StudyError> {
    let weights = search.weights;
    let space = search.space;
    let singles = rank::singles(&search);
    let goal_kg = goal.save.as_ref().map(|mass| mass.si());
    let misweighed = search.judge.misweighed();
    let (ended, bound) = match &misweighed {
        Some(_) => (Ended::Masses, Some(f64::NEG_INFINITY)),
        None => (ended, bound),
    };
    let misweighed = misweighed.map(|(choice, sum, weighed)| (space.words(&choice), sum, weighed));
    let fewest = match goal_kg.filter(|_| ended != Ended::Interrupted) {
        Some(goal_kg) => fewest(&mut search, goal_kg, bound)?,
        None => None,
    };
    let best = rank::best(search.kept());
    let free = rank::lightest_free(search.kept(), &best).cloned();
    let best: Vec<Row> = best.into_iter().cloned().collect();
    let mut rows = rank::ranked(&search, (&best, free.as_ref()), goal_kg, bound);
    let fewest =
        fewest.map(|(row, whole)| (rank::named(&search, &mut rows, row, goal_kg.unwrap_or(0.0)), whole));
    let bundles = if ended == Ended::Interrupted { Vec::new() } else { rank::bundles(&mut search, &best)? };
    let lightest = best.iter().map(|row| row.delta).fold(0.0, f64::min);
    let thrown = search
        .thrown
        .iter()
        .map(|(criterion, (deltas, least, words))| ThrownOut {
            criterion: *criterion,
            count: deltas.len() as u64,
            lighter: deltas.iter().filter(|delta| grams(**delta) < grams(lightest)).count() as u64,
            lighter_than_now: deltas.iter().filter(|delta| grams(**delta) < 0.0).count() as u64,
            lightest: *least,
            words: words.clone(),
        })
        .collect();
    search.near.retain(|one| grams(one.delta) < grams(lightest));
    let order = |one: &Thrown| (one.criterion != Criterion::Margins, one.criterion);
    search.near.sort_by(|one, two| {
        let far = |own: &Thrown| own.shortfall.unwrap_or(f64::INFINITY);
        order(one).cmp(&order(two)).then(far(one).total_cmp(&far(two))).then(one.delta.total_cmp(&two.delta))
    });
    let miss = search.near.first().map(|one| (one.clone(), space.words(&one.choice)));
    let first_fault =
        weights.blocks.iter().flat_map(|block| &block.broken).next().map(|(_, why)| why.clone());
    Ok(Found {
        study: study.id.clone(),
        title: study.value.title.clone(),
        base_kg: weights.base_kg,
        goal_kg,
        variations: space.variations.iter().map(|one| (one.name.clone(), one.options.len())).collect(),
        candidates: weights.candidates(),
        broken: (weights.broken(), first_fault),
        looked_at: search.looked_at,
        judged: search.judged(),
        is_weighed: true,
        ended,
        bound,
        misweighed,
        rows,
        fewest,
        singles,
        bundles,
        thrown,
        miss,
    })
}
