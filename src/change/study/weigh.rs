//! Mass by difference: variations that weigh apart add up, those that meet are weighed together.
//!
//! A programme's mass is a sum over panels of area times areal masses, and an areal mass is a sum over layers
//! or coats. Two variations therefore add up unless something multiplies or hides one by the other: they
//! change one layer or coat, a material and a stack that has it, a panel's area and what lies on it, or a
//! recipe whose layers share resin with each other (a bleed, a dry fabric beside a core or a mesh). Those are
//! put into one block, and each combination within a block is weighed in full. What cannot be told apart is
//! taken as meeting.

use super::mechanics::make_ready;
use super::reach::reach;
use super::search::{Progress, StudyOptions};
use super::space::{Choice, Space, Variation};
use super::stacks::{PlainLayer, plain_layers};
use super::{Room, StudyError};
use crate::article::ArticleError;
use crate::article::weigh::{Weigher, counts, programme_mass};
use crate::graph::Uses;
use crate::ledger::{Ledger, VariedTo};
use crate::record::{Address, MaterialKind, Mirror, RecordKind};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicUsize, Ordering};

/// More combinations than this within one block are not weighed.
const MOST_IN_BLOCK: usize = 20_000;

/// One combination of the options of a block.
#[derive(Debug, Clone)]
pub struct Combination {
    /// The option of each variation of the block, in its order.
    pub options: Vec<u16>,
    /// What it changes the programme's mass by, kg.
    pub delta: f64,
    /// The layers of each recipe that it changes.
    pub recipes: BTreeMap<String, Vec<PlainLayer>>,
    /// Entries of recipes that it leaves out, by their place.
    pub dropped: BTreeMap<String, Vec<usize>>,
}

/// Variations whose masses do not simply add up with each other, and do with all others.
#[derive(Debug, Clone)]
pub struct Block {
    /// Places in [`Space::variations`].
    pub variations: Vec<usize>,
    /// What it changes of all that weighs: `recipe/x`, or `recipe/x#3` for one entry of the list.
    pub touches: BTreeSet<String>,
    /// Sound combinations, the lightest first; at equal mass the one that changes less.
    pub combinations: Vec<Combination>,
    /// Combinations that leave a fault behind, each with what is wrong.
    pub broken: Vec<(Vec<u16>, String)>,
    /// Combinations that change something within what they leave out: no candidates at all.
    pub contradictions: usize,
}

/// The blocks of a space, and what it weighs as it is.
#[derive(Debug, Clone)]
pub struct Weights {
    /// In the order of their first variations.
    pub blocks: Vec<Block>,
    /// The programme as it is, kg.
    pub base_kg: f64,
}

impl Weights {
    /// Weighs a space.
    ///
    /// # Errors
    /// [`StudyError`] where the programme can't be weighed, or too many variations meet, and where somebody stops it.
    pub fn of(room: &Room<'_>, space: &Space, options: &StudyOptions<'_>) -> Result<Self, StudyError> {
        let base_kg = programme_mass(room.ledger)?;
        let mut blocks = Vec::new();
        let uses = Uses::of(room.ledger);
        let scale = Scale::of(room, space, &uses)?;
        let touched: Vec<BTreeSet<String>> =
            (0..space.variations.len()).map(|at| weighs(room.ledger, &uses, space, at)).collect();
        let groups = meeting(&touched);
        let size = |group: &Vec<usize>| -> usize {
            let own = group.iter().filter_map(|at| space.variations.get(*at));
            own.map(|one| one.options.len()).fold(1, usize::saturating_mul)
        };
        let all = groups.iter().map(size).fold(0, usize::saturating_add);
        let clock = Clock {
            options,
            all,
            done: AtomicUsize::new(0),
            candidates: groups.iter().map(|own| size(own) as u128).fold(1, u128::saturating_mul),
        };
        for variations in groups {
            let touches = variations.iter().filter_map(|at| touched.get(*at)).flatten().cloned().collect();
            blocks.push(block(room, space, (variations, touches), (&scale, &clock))?);
        }
        Ok(Self { blocks, base_kg })
    }

    /// Returns how many candidates there are.
    pub fn candidates(&self) -> u128 {
        self.blocks.iter().map(|block| block.combinations.len() as u128).product()
    }

    /// Returns how many more there would be, but leave a fault behind them.
    pub fn broken(&self) -> u128 {
        let all: u128 =
            self.blocks.iter().map(|block| (block.combinations.len() + block.broken.len()) as u128).product();
        all - self.candidates()
    }

    /// Returns the choice that some combinations make, one a block.
    pub fn choice(&self, space: &Space, ranks: &[u32]) -> Choice {
        let mut choice = space.as_it_is();
        for (block, rank) in self.blocks.iter().zip(ranks) {
            let Some(own) = block.combinations.get(*rank as usize) else { continue };
            for (variation, option) in block.variations.iter().zip(&own.options) {
                if let Some(place) = choice.get_mut(*variation) {
                    *place = *option;
                }
            }
        }
        choice
    }

    /// Returns the combinations that make a choice, one a block; `None` where it is no sound candidate.
    pub fn ranks(&self, choice: &[u16]) -> Option<Vec<u32>> {
        let rank = |block: &Block| {
            let own: Vec<u16> =
                block.variations.iter().filter_map(|variation| choice.get(*variation)).copied().collect();
            let at = block.combinations.iter().position(|one| one.options == own)?;
            u32::try_from(at).ok()
        };
        self.blocks.iter().map(rank).collect()
    }

    /// Returns what some combinations change the mass by, kg.
    pub fn delta(&self, ranks: &[u32]) -> f64 {
        let own = |(block, rank): (&Block, &u32)| {
            block.combinations.get(*rank as usize).map_or(f64::INFINITY, |one| one.delta)
        };
        self.blocks.iter().zip(ranks).map(own).sum()
    }
}

/// Whether two things that weigh are one, or one is part of the other.
fn meets(one: &str, two: &str) -> bool {
    let part = |whole: &str, of: &str| of.strip_prefix(whole).is_some_and(|rest| rest.starts_with('#'));
    one == two || part(one, two) || part(two, one) || one == ANYTHING || two == ANYTHING
}

/// Everything that weighs.
const ANYTHING: &str = "*";

/// Groups of variations that meet, each in the order of the study.
fn meeting(weighed: &[BTreeSet<String>]) -> Vec<Vec<usize>> {
    let mut group: Vec<usize> = (0..weighed.len()).collect();
    for (at, own) in weighed.iter().enumerate() {
        for (other_at, other) in weighed.iter().enumerate().take(at) {
            if own.iter().any(|one| other.iter().any(|two| meets(one, two))) {
                let (old, new) = (group.get(at).copied(), group.get(other_at).copied());
                if let (Some(old), Some(new)) = (old, new) {
                    let (low, high) = (old.min(new), old.max(new));
                    group.iter_mut().filter(|one| **one == high).for_each(|one| *one = low);
                }
            }
        }
    }
    let mut all: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, group) in group.into_iter().enumerate() {
        all.entry(group).or_default().push(at);
    }
    all.into_values().collect()
}

/// What a variation touches of all that weighs.
fn weighs(ledger: &Ledger, uses: &Uses, space: &Space, at: usize) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    let Some(variation) = space.variations.get(at) else { return all };
    // What may come to stand there, or lies behind that, where it varies too.
    let places = space.variations.iter().flat_map(|own| &own.places);
    let varied: BTreeSet<&Address> = places.map(|place| &place.address).collect();
    let brought = space.brings.get(at).into_iter().flatten();
    all.extend(brought.filter(|own| varied.contains(own)).map(ToString::to_string));
    for place in &variation.places {
        let (kind, id) = (place.address.kind(), place.address.id());
        let mut parts = place.route.split('.');
        let (list, entry) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
        match kind {
            RecordKind::Recipe
                if list == "layers" && !entry.is_empty() && layers_add_up(ledger, space, id) =>
            {
                all.insert(format!("recipe/{id}#{entry}"));
            }
            RecordKind::Finish if list == "coats" && !entry.is_empty() => {
                all.insert(format!("finish/{id}#{entry}"));
            }
            // Colour, repaint and the like weigh nothing, and never meet but themselves.
            RecordKind::Finish => {
                all.insert(format!("finish/{id}#{}", place.route));
            }
            RecordKind::Recipe => {
                all.insert(format!("recipe/{id}"));
            }
            RecordKind::Panel => {
                all.insert(format!("panel/{id}"));
                for below in uses.uses(&place.address) {
                    all.insert(below.to.to_string());
                }
            }
            RecordKind::Material | RecordKind::Process => {
                all.insert(place.address.to_string());
                for above in uses.used_by(&place.address) {
                    match above.from.kind() {
                        RecordKind::Recipe | RecordKind::Finish => {
                            all.extend(entries_of(ledger, space, &above.from, &place.address));
                        }
                        RecordKind::Panel => {
                            all.insert(above.from.to_string());
                        }
                        RecordKind::Assembly => {
                            all.insert(ANYTHING.to_string());
                        }
                        _ => {}
                    }
                }
            }
            RecordKind::Tool | RecordKind::Showing | RecordKind::Evidence | RecordKind::Concession => {
                all.insert(place.address.to_string());
            }
            _ => {
                all.insert(ANYTHING.to_string());
            }
        }
    }
    all
}

/// The layers or coats that are of a material; the whole recipe where they do not weigh apart.
fn entries_of(ledger: &Ledger, space: &Space, user: &Address, used: &Address) -> Vec<String> {
    let places = |all: Vec<bool>| {
        let own = all.into_iter().enumerate().filter(|(_, own)| *own);
        own.map(|(at, _)| format!("{user}#{}", at + 1)).collect::<Vec<_>>()
    };
    let of = |id: &str| used.kind() == RecordKind::Material && id == used.id();
    let (recipe, finish) = (ledger.recipes.get(user.id()), ledger.finishes.get(user.id()));
    match (user.kind(), used.kind()) {
        (RecordKind::Recipe, RecordKind::Material) if layers_add_up(ledger, space, user.id()) => recipe
            .map_or_else(Vec::new, |own| {
                places(own.value.layers.iter().map(|layer| of(layer.material.id())).collect())
            }),
        (RecordKind::Finish, RecordKind::Material) => finish.map_or_else(Vec::new, |own| {
            places(own.value.coats.iter().map(|coat| of(coat.material.id())).collect())
        }),
        _ => vec![user.to_string()],
    }
}

/// Whether the mass of a recipe is the sum of its layers, each weighed alone.
fn layers_add_up(ledger: &Ledger, space: &Space, recipe: &str) -> bool {
    let Some(entry) = ledger.recipes.get(recipe) else { return false };
    let of_recipe = || {
        space.variations.iter().filter(|own| {
            own.places
                .iter()
                .any(|place| place.address.kind() == RecordKind::Recipe && place.address.id() == recipe)
        })
    };
    let dry = |id: &str| ledger.materials.get(id).is_some_and(|own| own.value.kind == MaterialKind::Fabric);
    let any_dry = entry.value.layers.iter().any(|layer| dry(layer.material.id()))
        || of_recipe().flat_map(Variation::names).any(dry);
    let bleeds = ledger.processes.get(entry.value.process.id()).is_none_or(|own| own.value.bleed.is_some());
    // Leaving the last layer out would make another one the middle.
    let middle = entry.value.mirror == Some(Mirror::AboutLast)
        && of_recipe().any(|own| own.options.contains(&VariedTo::Dropped));
    !any_dry && !bleeds && !middle
}

/// What stands, weighed, so that a combination is weighed by the panels that it reaches.
struct Scale {
    base_kg: f64,
    /// What all pieces of each panel weigh, kg.
    panels: BTreeMap<String, f64>,
    /// The panels that each variation reaches.
    reach: Vec<BTreeSet<String>>,
}

impl Scale {
    fn of(room: &Room<'_>, space: &Space, uses: &Uses) -> Result<Self, StudyError> {
        let names: BTreeSet<String> = room.ledger.panels.keys().cloned().collect();
        Ok(Self {
            base_kg: programme_mass(room.ledger)?,
            panels: weighed(room.ledger, &names)?,
            reach: reach(room.ledger, uses, space),
        })
    }

    /// The panels that some variations reach; `None` where they may change what else there is.
    fn panels(&self, variations: &[usize], touches: &BTreeSet<String>) -> Option<BTreeSet<String>> {
        let own = variations.iter().filter_map(|at| self.reach.get(*at)).flatten().cloned().collect();
        (!touches.contains(ANYTHING)).then_some(own)
    }

    /// Returns what a state weighs more than what stands, kg, where only `panels` can differ.
    fn delta(&self, head: &Ledger, panels: Option<&BTreeSet<String>>) -> Result<f64, ArticleError> {
        let Some(panels) = panels else { return Ok(programme_mass(head)? - self.base_kg) };
        let now = weighed(head, panels)?;
        let of = |all: &BTreeMap<String, f64>, panel: &String| all.get(panel).copied().unwrap_or(0.0);
        Ok(panels.iter().map(|panel| of(&now, panel) - of(&self.panels, panel)).sum())
    }
}

/// What all pieces of some panels weigh, kg.
fn weighed(ledger: &Ledger, panels: &BTreeSet<String>) -> Result<BTreeMap<String, f64>, ArticleError> {
    let (counts, weigher) = (counts(ledger)?, Weigher::new(ledger));
    let mut all = BTreeMap::new();
    for (panel, placed) in counts.panels.iter().filter(|(panel, _)| panels.contains(*panel)) {
        #[allow(clippy::cast_precision_loss, reason = "counts of panels are small")]
        all.insert(panel.clone(), placed.count as f64 * weigher.panel_mass(panel)?);
    }
    Ok(all)
}

/// How far weighing is, and whether somebody stops it.
struct Clock<'a> {
    options: &'a StudyOptions<'a>,
    /// Combinations of all blocks.
    all: usize,
    done: AtomicUsize,
    candidates: u128,
}

impl Clock<'_> {
    fn tick(&self) -> Result<(), StudyError> {
        if let Some(ended) = (self.options.stop)() {
            return Err(StudyError::Stopped(ended));
        }
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of(SAID_EVERY) {
            let (weighed, candidates) = (Some((done, self.all)), self.candidates);
            (self.options.progress)(&Progress {
                weighed,
                judged: 0,
                most: 0,
                looked_at: 0,
                candidates,
                best: 0.0,
            });
        }
        Ok(())
    }
}

/// Combinations weighed between two words of how far it is.
const SAID_EVERY: usize = 16;

/// Weighs every combination of some variations.
fn block(
    room: &Room<'_>,
    space: &Space,
    (variations, touches): (Vec<usize>, BTreeSet<String>),
    (scale, clock): (&Scale, &Clock<'_>),
) -> Result<Block, StudyError> {
    let own: Vec<&Variation> = variations.iter().filter_map(|at| space.variations.get(*at)).collect();
    let count = own.iter().try_fold(1_usize, |all, one| all.checked_mul(one.options.len()));
    if count.is_none_or(|count| count > MOST_IN_BLOCK) {
        let names = own.iter().map(|one| one.name.clone()).collect();
        return Err(StudyError::Interwoven { names, most: MOST_IN_BLOCK });
    }
    let mut options: Vec<Vec<u16>> = vec![Vec::new()];
    for one in &own {
        options = options
            .into_iter()
            .flat_map(|begun| {
                (0..one.options.len()).filter_map(move |option| {
                    let mut all = begun.clone();
                    all.push(u16::try_from(option).ok()?);
                    Some(all)
                })
            })
            .collect();
    }
    let whole = |options: &[u16]| {
        let mut choice = space.as_it_is();
        for (at, option) in variations.iter().zip(options) {
            if let Some(place) = choice.get_mut(*at) {
                *place = *option;
            }
        }
        choice
    };
    let panels = scale.panels(&variations, &touches);
    let before = options.len();
    options.retain(|options| !space.contradicts(&whole(options)));
    let contradictions = before - options.len();
    type Weighed = Result<Result<Combination, (Vec<u16>, String)>, StudyError>;
    let weighed: Vec<Weighed> = options
        .into_par_iter()
        .map(|options| {
            clock.tick()?;
            let dropped = dropped(&own, &options);
            let mut found = Combination { options, delta: 0.0, recipes: BTreeMap::new(), dropped };
            if found.options.iter().all(|option| *option == 0) {
                return Ok(Ok(found));
            }
            let head = match room.load(space, &whole(&found.options)) {
                Ok(head) => head,
                Err(StudyError::Decide(problem)) => return Ok(Err((found.options, problem.to_string()))),
                Err(problem) => return Err(problem),
            };
            if let Some(left) = left_behind(room.ledger, &head) {
                return Ok(Err((found.options, left)));
            }
            match scale.delta(&head, panels.as_ref()) {
                Ok(delta) => found.delta = delta,
                Err(problem) => return Ok(Err((found.options, problem.to_string()))),
            }
            for (id, entry) in &head.recipes {
                if changed(room.ledger, &head, id) {
                    let mut layers = plain_layers(&head, entry)?;
                    make_ready((room.ledger, &head), entry, &mut layers)?;
                    found.recipes.insert(id.clone(), layers);
                }
            }
            Ok(Ok(found))
        })
        .collect();
    let (mut combinations, mut broken) = (Vec::new(), Vec::new());
    for one in weighed {
        match one? {
            Ok(sound) => combinations.push(sound),
            Err(why) => broken.push(why),
        }
    }
    let changes = |one: &Combination| one.options.iter().filter(|option| **option != 0).count();
    combinations.sort_by(|one, two| {
        let mass = one.delta.total_cmp(&two.delta);
        mass.then_with(|| changes(one).cmp(&changes(two))).then_with(|| one.options.cmp(&two.options))
    });
    Ok(Block { variations, touches, combinations, broken, contradictions })
}

/// The entries of recipes that some options leave out.
fn dropped(variations: &[&Variation], options: &[u16]) -> BTreeMap<String, Vec<usize>> {
    let mut all: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (variation, option) in variations.iter().zip(options) {
        if variation.options.get(usize::from(*option)) != Some(&VariedTo::Dropped) {
            continue;
        }
        for place in variation.places.iter().filter(|place| place.address.kind() == RecordKind::Recipe) {
            if let Some(entry) = place.route.strip_prefix("layers.").and_then(|entry| entry.parse().ok()) {
                all.entry(place.address.id().to_string()).or_default().push(entry);
            }
        }
    }
    all
}

/// The first fault that a state has and the one before had not.
pub(super) fn left_behind(base: &Ledger, head: &Ledger) -> Option<String> {
    head.new_errors(base).first().map(|fault| fault.message.clone())
}

/// Whether a recipe, or a material or process that it has, differs between two states.
fn changed(base: &Ledger, head: &Ledger, recipe: &str) -> bool {
    let (Some(was), Some(is)) = (base.recipes.get(recipe), head.recipes.get(recipe)) else { return true };
    let materials = || {
        let layers = is.value.layers.iter().map(|layer| layer.material.id());
        layers.chain(is.value.resin.iter().map(|own| own.material.id()))
    };
    let other = |id: &str| {
        base.materials.get(id).map(|own| &own.value) != head.materials.get(id).map(|own| &own.value)
    };
    let process = is.value.process.id();
    was.value != is.value
        || materials().any(other)
        || base.processes.get(process).map(|own| &own.value)
            != head.processes.get(process).map(|own| &own.value)
}
