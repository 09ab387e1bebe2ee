//! Candidate stacks judged as plain values: stacking rules, and first-ply failure of many side by side.
//!
//! A recipe whose layers vary is a row of slots; a slot has a layer for each combination of the block that it
//! belongs to. What a layer is to the rules and to the mechanics ([`super::mechanics`]) is worked out once, so that
//! a stack is judged by looking up and adding. What is thrown out here is thrown out by the whole evaluation too.

use super::mechanics::{Layers, Mechanics, Palette, StackLoad, make_ready};
use super::weigh::Weights;
use crate::article::stack::stack_of;
use crate::article::{ArticleError, LayerRole, Sight};
use crate::ledger::{Entry, Ledger};
use crate::qualify::margins::signed;
use crate::record::{Keep, Recipe};
use std::collections::{BTreeMap, HashMap};

/// Angles closer than this, in degrees, are one.
const SAME_ANGLE: f64 = 0.05;

/// A ply, as stacking rules see it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlainPly {
    /// Angle of the warp in tenths of a degree, above -900 and up to 900.
    pub angle: i32,
    /// Woven: half of its fibre runs across the warp. Common practice, no source: a weave is taken as balanced.
    pub woven: bool,
    /// Mass of its fibre, kg/m2.
    pub fibre: f64,
}

/// A layer, as stacking rules and mechanics see it.
#[derive(Debug, Clone, PartialEq)]
pub struct PlainLayer {
    /// Place of its entry in the recipe's list, from 1.
    pub place: usize,
    /// What it is in the stack.
    pub role: LayerRole,
    /// Its material.
    pub material: String,
    /// Thickness, m; 0 where nothing states it.
    pub thickness: f64,
    /// Angle, rad; 0 where it is no ply.
    pub turned: f64,
    /// Mass, kg/m2.
    pub areal: f64,
    /// What it is to stacking rules, where it is a ply.
    pub ply: Option<PlainPly>,
    /// What evidence on plies may be asked of it: its material where it is a ply, its form where it is a core.
    pub asked: Option<String>,
    /// What it is to mechanics.
    pub mechanics: Mechanics,
}

/// Returns the layers of a recipe, as they lie.
///
/// # Errors
/// [`ArticleError`] where a record is missing or a figure that the stack needs is not written.
pub fn plain_layers(ledger: &Ledger, recipe: &Entry<Recipe>) -> Result<Vec<PlainLayer>, ArticleError> {
    let stack = stack_of(ledger, recipe, &Sight::nominal())?;
    let plain = |layer: &crate::article::stack::LaidLayer| {
        let form = ledger.materials.get(&layer.material).and_then(|own| own.value.form.as_ref());
        let woven = form.is_some_and(|form| ["twill", "plain", "satin"].contains(&form.as_str()));
        let ply = (layer.role == LayerRole::Ply).then(|| PlainPly {
            angle: tenths(layer.angle.unwrap_or(0.0).to_degrees()),
            woven,
            fibre: layer.own,
        });
        PlainLayer {
            place: layer.place,
            role: layer.role,
            material: layer.material.clone(),
            thickness: layer.thickness.unwrap_or(0.0),
            turned: layer.angle.unwrap_or(0.0),
            areal: layer.areal(),
            ply,
            asked: match layer.role {
                LayerRole::Ply => Some(layer.material.clone()),
                LayerRole::Core => {
                    Some(form.map_or(String::new(), |form| format!("a core of {}", form.as_str())))
                }
                _ => None,
            },
            mechanics: Mechanics::Unknown,
        }
    };
    Ok(stack.layers.iter().map(plain).collect())
}

/// An angle in tenths of a degree, reduced to above -90 and up to 90.
#[allow(clippy::cast_possible_truncation, reason = "angles are small")]
fn tenths(degrees: f64) -> i32 {
    let turned = (degrees * 10.0).round() as i32;
    match turned.rem_euclid(1800) {
        over if over > 900 => over - 1800,
        own => own,
    }
}

/// A rule of the lay-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum StackRule {
    /// Plies and cores mirror each other about the middle.
    Symmetric,
    /// As much fibre at +a as at -a.
    Balanced,
    /// Plies of one angle next to each other.
    SameAngle,
    /// Fibre in each of 0, +/-45 and 90.
    Share,
    /// The angle of the outermost plies.
    Surface,
    /// First-ply failure under the loads of a zone.
    Margin,
}

impl StackRule {
    /// Returns the key of `keep` that asks for it.
    pub fn word(self) -> &'static str {
        match self {
            StackRule::Symmetric => "symmetric",
            StackRule::Balanced => "balanced",
            StackRule::SameAngle => "max_same_angle",
            StackRule::Share => "share_per_direction",
            StackRule::Surface => "surface",
            StackRule::Margin => "margins",
        }
    }
}

/// The rules as figures.
///
/// # Source
/// The rules of thumb of the trade for laminates that are to be ordinary: symmetric and balanced, 10 % in each
/// direction, at most four plies of one angle together, +/-45 outside; CMH-17 volume 3 (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StackRules {
    /// Plies and cores mirror each other.
    pub symmetric: bool,
    /// As much fibre at +a as at -a.
    pub balanced: bool,
    /// The most plies of one angle together.
    pub same_angle: Option<u32>,
    /// The least share of each direction.
    pub share: Option<f64>,
    /// Angle of the outermost plies in tenths of a degree, not negative.
    pub surface: Option<i32>,
}

impl StackRules {
    /// Returns the rules that a study keeps.
    pub fn of(keep: &Keep) -> Self {
        Self {
            symmetric: keep.symmetric == Some(true),
            balanced: keep.balanced == Some(true),
            same_angle: keep.max_same_angle,
            share: keep.share_per_direction.as_ref().map(|share| share.si()),
            surface: keep.surface.as_ref().map(|angle| tenths(angle.si().to_degrees()).abs()),
        }
    }

    /// Returns whether there are none.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// What rules have to know of one layer, with everything compared by number.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Facts {
    /// Plies and cores by what they are; 0 for what rules do not count.
    same: u32,
    core: bool,
    ply: Option<PlainPly>,
    /// Fibre off the axes along warp and fill: the number of the angle, and the mass, negative at - the angle.
    off: [Option<(usize, f64)>; 2],
    /// Fibre at 0, +/-45, 90 and elsewhere.
    shares: [f64; 4],
    /// What evidence on plies is asked of it, one bit each.
    asked: u64,
    /// The number of what it is to mechanics.
    kind: u16,
}

/// The layers that one place of a stack may have.
#[derive(Debug, Clone)]
struct Slot {
    /// Whose combination decides; `None` where it is always the first.
    block: Option<usize>,
    layers: Vec<Option<Facts>>,
}

impl Slot {
    #[inline]
    fn at(&self, ranks: &[u32]) -> Option<&Facts> {
        let rank = match self.block {
            Some(block) => *ranks.get(block)? as usize,
            None => 0,
        };
        self.layers.get(rank)?.as_ref()
    }
}

/// Why a stack is thrown out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Refused {
    /// The rule.
    pub rule: StackRule,
    /// What was found: plies together, a share, an angle in degrees, a margin.
    pub found: f64,
}

impl Refused {
    /// Returns why, in words.
    pub fn words(&self) -> String {
        let found = self.found;
        match self.rule {
            StackRule::Symmetric => "plies and cores do not mirror each other".to_string(),
            StackRule::Balanced => {
                format!("{:.1} % of the fibre has no counterpart at the other sign", found * 100.0)
            }
            StackRule::SameAngle => format!("{found:.0} plies of one angle lie together"),
            StackRule::Share => format!("{:.1} % of the fibre runs in one of the directions", found * 100.0),
            StackRule::Surface => format!("an outer ply lies at {found:.0}"),
            StackRule::Margin => format!("margin {} of the first ply, by Tsai-Wu", signed(found)),
        }
    }
}

/// Room for the sums of stacks; made once, used for millions.
#[derive(Debug, Clone, Default)]
pub struct Scratch {
    off: Vec<f64>,
    layers: Layers,
}

/// All stacks of one recipe that a study may make.
#[derive(Debug, Clone)]
pub struct StackSpace {
    /// The recipe.
    pub recipe: String,
    /// The blocks that change it.
    pub blocks: Vec<usize>,
    slots: Vec<Slot>,
    rules: StackRules,
    palette: Palette,
    loads: Vec<StackLoad>,
    angles: usize,
    /// Whether more is asked of its layers than there are bits.
    is_crowded: bool,
}

/// What gives layers of equal worth equal numbers.
#[derive(Default)]
struct Numbers {
    same: HashMap<(String, i32, u64), u32>,
    angles: Vec<i32>,
    asked: Vec<String>,
    palette: Palette,
}

impl Numbers {
    fn facts(&mut self, layer: &PlainLayer) -> Facts {
        let counts = matches!(layer.role, LayerRole::Ply | LayerRole::Core);
        let key =
            (layer.material.clone(), layer.ply.map_or(i32::MAX, |ply| ply.angle), layer.thickness.to_bits());
        let same = match counts {
            false => 0,
            true => {
                let next = u32::try_from(self.same.len() + 1).unwrap_or(u32::MAX);
                *self.same.entry(key).or_insert(next)
            }
        };
        let (mut shares, mut off) = ([0.0; 4], [None; 2]);
        if let Some(ply) = layer.ply {
            let across = tenths(f64::from(ply.angle) / 10.0 + 90.0);
            let half = if ply.woven { ply.fibre / 2.0 } else { 0.0 };
            let runs = [(ply.angle, ply.fibre - half), (across, half)];
            for ((angle, fibre), off) in runs.into_iter().zip(&mut off) {
                let [zero, slanted, ninety, other] = &mut shares;
                let share = match angle {
                    0 => zero,
                    450 | -450 => slanted,
                    900 => ninety,
                    _ => other,
                };
                *share += fibre;
                if angle != 0 && angle != 900 {
                    let size = angle.abs();
                    let at = self.angles.iter().position(|one| *one == size).unwrap_or_else(|| {
                        self.angles.push(size);
                        self.angles.len() - 1
                    });
                    *off = Some((at, if angle > 0 { fibre } else { -fibre }));
                }
            }
        }
        Facts {
            same,
            core: layer.role == LayerRole::Core,
            ply: layer.ply,
            off,
            shares,
            asked: layer.asked.as_ref().map_or(0, |asked| self.bit(asked)),
            kind: self.palette.kind(&layer.material, &layer.mechanics),
        }
    }

    /// Those beyond the last bit share it: see [`StackSpace::is_crowded`].
    fn bit(&mut self, asked: &String) -> u64 {
        let at = self.asked.iter().position(|own| own == asked).unwrap_or_else(|| {
            self.asked.push(asked.clone());
            self.asked.len() - 1
        });
        1 << at.min(63)
    }
}

impl StackSpace {
    /// Returns the stacks of layers that are chosen each for itself: `choices` has, for each place from the tool
    /// face, what may lie there, and the rank of block `n` chooses at place `n`.
    pub fn of_places(recipe: &str, choices: &[Vec<Option<PlainLayer>>], rules: StackRules) -> Self {
        let mut numbers = Numbers::default();
        let slots = choices
            .iter()
            .enumerate()
            .map(|(at, layers)| Slot {
                block: Some(at),
                layers: layers.iter().map(|layer| layer.as_ref().map(|own| numbers.facts(own))).collect(),
            })
            .collect();
        let blocks = (0..choices.len()).collect();
        Self {
            recipe: recipe.to_string(),
            blocks,
            slots,
            rules,
            loads: Vec::new(),
            angles: numbers.angles.len(),
            is_crowded: numbers.asked.len() > 64,
            palette: numbers.palette,
        }
    }

    /// Returns the same with loads that no first ply may fail under.
    ///
    /// A stack with a layer that mechanics do not know is not judged by them here.
    pub fn under(mut self, loads: Vec<StackLoad>) -> Self {
        self.loads = loads;
        for load in &mut self.loads {
            self.palette.settle(load);
        }
        self
    }

    /// Lets what is below its least as it stands stay where it is, but not fall.
    pub fn no_worse_than(mut self, ranks: &[u32]) -> Self {
        let mut layers = Layers::default();
        layers.push(&self.palette, self.kinds(ranks));
        let mut loads = std::mem::take(&mut self.loads);
        loads.retain_mut(|own| match layers.first_ply(&self.palette, own, &[true]).first() {
            Some(Some(factor)) => {
                own.least = own.least.min(factor * (1.0 - 1e-6));
                true
            }
            _ => false,
        });
        self.loads = loads;
        self
    }

    /// Returns the stacks of every recipe that a space changes.
    ///
    /// # Errors
    /// [`ArticleError`] where a recipe can't be laid up as it is.
    pub fn all(ledger: &Ledger, weights: &Weights, rules: StackRules) -> Result<Vec<Self>, ArticleError> {
        let mut changed: BTreeMap<&String, Vec<usize>> = BTreeMap::new();
        for (at, block) in weights.blocks.iter().enumerate() {
            for recipe in block.combinations.iter().flat_map(|one| one.recipes.keys()) {
                let blocks = changed.entry(recipe).or_default();
                if !blocks.contains(&at) {
                    blocks.push(at);
                }
            }
        }
        let mut all = Vec::new();
        for (recipe, blocks) in changed {
            let Some(entry) = ledger.recipes.get(recipe) else { continue };
            let mut base = plain_layers(ledger, entry)?;
            make_ready((ledger, ledger), entry, &mut base)?;
            let mut numbers = Numbers::default();
            let mut slots = Vec::new();
            let of_block =
                |at: usize| weights.blocks.get(at).map_or(&[][..], |own| own.combinations.as_slice());
            if let [only] = blocks.as_slice() {
                let lists: Vec<&Vec<PlainLayer>> =
                    of_block(*only).iter().map(|one| one.recipes.get(recipe).unwrap_or(&base)).collect();
                let longest = lists.iter().map(|list| list.len()).max().unwrap_or(0);
                for at in 0..longest {
                    let layers =
                        lists.iter().map(|list| list.get(at).map(|layer| numbers.facts(layer))).collect();
                    slots.push(Slot { block: Some(*only), layers });
                }
            } else {
                for (at, layer) in base.iter().enumerate() {
                    let entry = format!("recipe/{recipe}#{}", layer.place);
                    let own = blocks.iter().copied().find(|block| {
                        weights.blocks.get(*block).is_some_and(|one| one.touches.contains(&entry))
                    });
                    let Some(block) = own else {
                        slots.push(Slot { block: None, layers: vec![Some(numbers.facts(layer))] });
                        continue;
                    };
                    let earlier = base.iter().take(at).filter(|other| other.place == layer.place).count();
                    let layers = of_block(block)
                        .iter()
                        .map(|one| match one.recipes.get(recipe) {
                            None => Some(numbers.facts(layer)),
                            Some(list) => {
                                // Entries that are left out move those behind them up.
                                let none = Vec::new();
                                let gone = one.dropped.get(recipe).unwrap_or(&none);
                                let before = gone.iter().filter(|gone| **gone < layer.place).count();
                                let place = layer.place - before;
                                let mut same = list.iter().filter(|own| own.place == place);
                                let found = same.nth(earlier).filter(|_| !gone.contains(&layer.place))?;
                                Some(numbers.facts(found))
                            }
                        })
                        .collect();
                    slots.push(Slot { block: Some(block), layers });
                }
            }
            all.push(Self {
                recipe: recipe.clone(),
                blocks,
                slots,
                rules,
                loads: Vec::new(),
                angles: numbers.angles.len(),
                is_crowded: numbers.asked.len() > 64,
                palette: numbers.palette,
            });
        }
        Ok(all)
    }

    /// Returns room to judge stacks in.
    pub fn scratch(&self) -> Scratch {
        Scratch { off: vec![0.0; self.angles], layers: Layers::default() }
    }

    /// What each layer is to mechanics, from the tool face.
    fn kinds<'s>(&'s self, ranks: &'s [u32]) -> impl Iterator<Item = u16> + 's {
        self.slots.iter().filter_map(|slot| slot.at(ranks)).map(|facts| facts.kind)
    }

    /// Whether evidence on plies is asked the same of a stack as of another: the same plies lie beside cores of the
    /// same forms.
    pub fn asks_as(&self, ranks: &[u32], other: &[u32]) -> bool {
        let asked = |ranks: &[u32]| {
            self.slots.iter().filter_map(|slot| slot.at(ranks)).fold(0, |all, facts| all | facts.asked)
        };
        !self.is_crowded && asked(ranks) == asked(other)
    }

    /// Returns whether it is judged under loads.
    pub fn has_loads(&self) -> bool {
        !self.loads.is_empty()
    }

    /// Returns whether a load is borne by values that are settled beforehand.
    pub fn is_settled(&self) -> bool {
        self.loads.iter().any(|load| !load.plies.is_empty())
    }

    /// Returns whether nothing of it differs from what stands in the ledger.
    fn is_as_it_is(&self, weights: &Weights, ranks: &[u32]) -> bool {
        self.blocks.iter().all(|block| {
            let rank = ranks.get(*block).copied().unwrap_or(0) as usize;
            let own = weights.blocks.get(*block).and_then(|own| own.combinations.get(rank));
            own.is_none_or(|own| !own.recipes.contains_key(&self.recipe))
        })
    }

    /// Judges stacks of a study, each with whether the values that are settled hold for it; one that is as it stands
    /// is not judged.
    pub fn judge_changed(
        &self,
        weights: &Weights,
        stacks: &[(&[u32], bool)],
        scratch: &mut Scratch,
    ) -> Vec<Option<Refused>> {
        let changed = |ranks: &[u32]| !self.is_as_it_is(weights, ranks);
        self.judge_those(stacks, &changed, scratch)
    }

    /// Judges stacks: `None` where one keeps all rules.
    pub fn judge(&self, stacks: &[(&[u32], bool)], scratch: &mut Scratch) -> Vec<Option<Refused>> {
        self.judge_those(stacks, &|_| true, scratch)
    }

    fn judge_those(
        &self,
        stacks: &[(&[u32], bool)],
        judged: &dyn Fn(&[u32]) -> bool,
        scratch: &mut Scratch,
    ) -> Vec<Option<Refused>> {
        let mut left: Vec<bool> = stacks.iter().map(|(ranks, _)| judged(ranks)).collect();
        let mut found: Vec<Option<Refused>> = Vec::with_capacity(stacks.len());
        for ((ranks, _), left) in stacks.iter().zip(&mut left) {
            let refused = if *left { self.by_rules(ranks, scratch) } else { None };
            *left &= refused.is_none();
            found.push(refused);
        }
        if self.loads.is_empty() || !left.contains(&true) {
            return found;
        }
        scratch.layers.clear();
        for (ranks, _) in stacks {
            scratch.layers.push(&self.palette, self.kinds(ranks));
        }
        let mut asked = Vec::with_capacity(stacks.len());
        for load in &self.loads {
            asked.clear();
            let holds = |(_, settled): &(&[u32], bool)| *settled || load.plies.is_empty();
            asked.extend(left.iter().zip(stacks).map(|(left, own)| *left && holds(own)));
            let factors = scratch.layers.first_ply(&self.palette, load, &asked);
            for ((factor, left), found) in factors.iter().zip(&mut left).zip(&mut found) {
                // What can't be judged here is judged in full.
                if let Some(factor) = factor.filter(|factor| *factor < load.least) {
                    *left = false;
                    *found = Some(Refused { rule: StackRule::Margin, found: factor - 1.0 });
                }
            }
        }
        found
    }

    /// Judges one stack by the rules of the lay-up. Allocates nothing.
    fn by_rules(&self, ranks: &[u32], scratch: &mut Scratch) -> Option<Refused> {
        let rules = &self.rules;
        let layers = || self.slots.iter().filter_map(|slot| slot.at(ranks));
        if rules.symmetric {
            let counted = || layers().filter(|facts| facts.same != 0);
            let back = self.slots.iter().rev().filter_map(|slot| slot.at(ranks));
            let back = back.filter(|facts| facts.same != 0);
            if counted().zip(back).any(|(front, back)| front.same != back.same) {
                return Some(Refused { rule: StackRule::Symmetric, found: 0.0 });
            }
        }
        let (mut sums, mut run, mut longest) = ([0.0; 4], (i32::MAX, 0_u32), 0);
        let (mut first, mut last) = (None, None);
        scratch.off.iter_mut().for_each(|net| *net = 0.0);
        for facts in layers() {
            if facts.core {
                run = (i32::MAX, 0);
            }
            let Some(ply) = facts.ply else { continue };
            run = if run.0 == ply.angle { (ply.angle, run.1 + 1) } else { (ply.angle, 1) };
            longest = longest.max(run.1);
            for (sum, share) in sums.iter_mut().zip(facts.shares) {
                *sum += share;
            }
            for (angle, net) in facts.off.into_iter().flatten() {
                if let Some(sum) = scratch.off.get_mut(angle) {
                    *sum += net;
                }
            }
            first = first.or(Some(ply));
            last = Some(ply);
        }
        let total: f64 = sums.iter().sum();
        if rules.balanced {
            let most = scratch.off.iter().fold(0.0_f64, |most, net| most.max(net.abs()));
            if most > 1e-9 * total {
                return Some(Refused { rule: StackRule::Balanced, found: most / total });
            }
        }
        if let Some(most) = rules.same_angle
            && longest > most
        {
            return Some(Refused { rule: StackRule::SameAngle, found: f64::from(longest) });
        }
        if let Some(share) = rules.share {
            let [zero, slanted, ninety, _] = sums;
            let least = zero.min(slanted).min(ninety);
            if least < share * total * (1.0 - 1e-9) {
                return Some(Refused {
                    rule: StackRule::Share,
                    found: if total > 0.0 { least / total } else { 0.0 },
                });
            }
        }
        if let Some(angle) = rules.surface {
            let other = |ply: &PlainPly| {
                let across = tenths(f64::from(ply.angle) / 10.0 + 90.0).abs();
                let near = |own: i32| f64::from((own - angle).abs()) <= SAME_ANGLE * 10.0;
                !(near(ply.angle.abs()) || ply.woven && near(across))
            };
            if let Some(ply) = [first, last].into_iter().flatten().find(other) {
                return Some(Refused { rule: StackRule::Surface, found: f64::from(ply.angle) / 10.0 });
            }
        }
        None
    }
}
