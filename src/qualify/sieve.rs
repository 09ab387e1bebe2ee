//! A first look at evidence: most of it differs so plainly that no comparison is needed to know what it asks
//! at least.

use super::delta::{identity, role};
use super::judge::{PLAIN, Rules};
use crate::article::{Configuration, Limit, Name, ORDER, Row};
use crate::record::AttributeValue;
use crate::record::sensitivity::Asks;
use foldhash::HashMap;
use std::cell::RefCell;
use std::collections::BTreeMap;

/// All that no constituent has, its values by their numbers.
type Plain = Vec<(Name, Limit, u32)>;

/// What any difference asks at least, by the steps of one showing; the default says nothing at first look.
#[derive(Default)]
pub(super) struct Sieve {
    floors: HashMap<Name, Floor>,
    /// Numbers of the values seen: equal values have equal numbers.
    numbers: RefCell<HashMap<AttributeValue, u32>>,
    /// Numbers of all that no constituent has, and what one of them asks at least beside another.
    plain: RefCell<HashMap<Plain, u32>>,
    judged: RefCell<HashMap<(u32, u32), Asks>>,
}

/// What a difference asks at least.
#[derive(Clone, Copy, PartialEq, Eq, Default)]
struct Floor {
    usual: Asks,
    /// Where the evidence is another panel's, and both must be the same.
    foreign: Asks,
}

impl Floor {
    fn each(self, other: Self, pick: impl Fn(Asks, Asks) -> Asks) -> Self {
        Self { usual: pick(self.usual, other.usual), foreign: pick(self.foreign, other.foreign) }
    }

    fn min(self, other: Self) -> Self {
        self.each(other, Ord::min)
    }

    fn max(self, other: Self) -> Self {
        self.each(other, Ord::max)
    }
}

/// What an article has of the attributes that ask anything, in any zone or face.
pub(super) struct Look {
    /// Each value once, in the order of their places.
    stated: Vec<Stated>,
    /// Places that every constituent of the role has.
    complete: Vec<Place>,
    /// Orders and angles of layers, zone by zone, with what another one asks at least.
    stacks: Vec<(Floor, Vec<(char, String)>)>,
    /// Every zone with plies or a core has a list of layers.
    stacked: bool,
    /// It has no zones, joints or faces.
    single: bool,
    /// What no constituent has, but the layers: equal numbers are equal values.
    plain: u32,
}

/// Role of a constituent and attribute, in one number that is quick to compare. No load is among them, so
/// the place of the attribute stands for it.
type Place = usize;

fn place_of(role: char, attribute: Name) -> Place {
    (role as usize) << 16 | attribute.place()
}

/// One value of one place.
struct Stated {
    place: Place,
    number: u32,
    unstated: bool,
    /// What it asks that nothing has this value any more.
    gone: Floor,
    /// What it asks that nothing had this value.
    come: Floor,
}

impl Sieve {
    /// Collects the attributes that the rules never let pass where they differ.
    pub(super) fn of(rules: &Rules<'_>) -> Self {
        // Tools and contents come as sets, of which one will do; a load carries its own presence, and where a
        // film or a mesh lies says nothing of what it is.
        let apart = |name: &Name| {
            !matches!(name.facet(), "tool" | "resin-content")
                && *name != "geometry.load"
                && !name.ends_with(".depth")
        };
        let names = ORDER.iter().map(|attribute| Name::new(attribute)).filter(apart);
        let whole = rules.is_whole();
        let floor = |name: Name| {
            let usual = rules.at_least(name);
            let foreign = if whole && rules.looks_at(name) { Asks::Retest } else { usual };
            (name, Floor { usual, foreign })
        };
        let floors = names.map(floor).filter(|(_, floor)| *floor != Floor::default()).collect();
        Self { floors, ..Self::default() }
    }

    /// Whether it says nothing at first look.
    pub(super) fn is_blind(&self) -> bool {
        self.floors.is_empty()
    }

    fn number(&self, value: &AttributeValue) -> u32 {
        let mut numbers = self.numbers.borrow_mut();
        if let Some(known) = numbers.get(value) {
            return *known;
        }
        // More than four thousand million values are not in any ledger; they would all be alike.
        let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
        numbers.insert(value.clone(), next);
        next
    }

    /// Judges what no constituent has once for equal values on both sides.
    pub(super) fn plain_once(&self, now: &Look, then: &Look, judge: impl FnOnce() -> Asks) -> Asks {
        let key = (now.plain, then.plain);
        let known = self.judged.borrow().get(&key).copied();
        known.unwrap_or_else(|| {
            let asks = judge();
            self.judged.borrow_mut().insert(key, asks);
            asks
        })
    }

    fn plain(&self, configuration: &Configuration) -> u32 {
        let rows = configuration.part("").block("").iter();
        let own = rows.filter(|(key, _)| PLAIN.contains(&key.facet()) && key.facet() != "plies");
        let own: Plain = own.map(|(key, value)| (key.base, key.limit, self.number(value))).collect();
        let mut plain = self.plain.borrow_mut();
        let next = u32::try_from(plain.len()).unwrap_or(u32::MAX);
        *plain.entry(own).or_insert(next)
    }

    fn floor(&self, attribute: Name) -> Floor {
        self.floors.get(&attribute).copied().unwrap_or_default()
    }

    /// What it asks at least that a constituent is gone: its name is then all that is said to differ.
    fn gone(&self, role: char, block: &[Row]) -> Floor {
        let floor = |name: &&str| {
            let own = self.floor(Name::new(name));
            let stated = block.iter().any(|(key, value)| {
                key.base == **name && key.limit == Limit::Nominal && !value.is_unstated()
            });
            // What was unstated asks for an analysis at most.
            let soft = Floor { usual: own.usual.min(Asks::Analysis), ..own };
            if stated { own } else { soft }
        };
        identity(role).iter().map(floor).fold(Floor::default(), Floor::max)
    }

    /// What it asks at least that a constituent is new: its name is then all that is said to differ.
    fn come(&self, role: char) -> Floor {
        identity(role).iter().map(|name| self.floor(Name::new(name))).fold(Floor::default(), Floor::max)
    }

    /// Collects what a configuration has of the attributes that ask anything.
    pub(super) fn look(&self, configuration: &Configuration) -> Look {
        let single = configuration.parts().all(|(scope, _)| scope.is_empty());
        let mut look = Look {
            stated: Vec::new(),
            complete: Vec::new(),
            stacks: Vec::new(),
            stacked: true,
            single,
            plain: 0,
        };
        if single && !self.is_blind() {
            look.plain = self.plain(configuration);
        }
        let mut blocks: BTreeMap<usize, usize> = BTreeMap::new();
        let mut counts: BTreeMap<Place, usize> = BTreeMap::new();
        for (_, part) in configuration.parts() {
            for (letter, block) in part.blocks() {
                let role = role(&letter);
                *blocks.entry(role as usize).or_default() += 1;
                // The constituent may find no partner.
                let alone = (role != ' ').then(|| (self.gone(role, block), self.come(role)));
                for (key, value) in block.iter().filter(|(key, _)| key.limit == Limit::Nominal) {
                    let own = self.floor(key.base);
                    if own == Floor::default() || key.base == "plies" {
                        continue;
                    }
                    *counts.entry(place_of(role, key.base)).or_default() += 1;
                    let (gone, come) =
                        alone.map_or((own, own), |(gone, come)| (own.min(gone), own.min(come)));
                    let (place, number) = (place_of(role, key.base), self.number(value));
                    look.stated.push(Stated { place, number, unstated: value.is_unstated(), gone, come });
                }
            }
            let stack = stack(part.nominal("plies"));
            if stack.is_empty() {
                look.stacked &= part.blocks().all(|(letter, _)| !is_laid(role(&letter)));
                continue;
            }
            let own = self.floor(Name::new("plies"));
            let laid = part.blocks().filter(|(letter, _)| is_laid(role(letter)));
            let gone = laid
                .map(|(letter, block)| self.gone(role(&letter), block))
                .fold(Floor::default(), Floor::max);
            look.stacks.push((own.min(gone), stack));
        }
        look.stated.sort_by_key(|one| (one.place, one.number));
        look.stated.dedup_by(|other, kept| {
            let same = (other.place, other.number) == (kept.place, kept.number);
            if same {
                (kept.gone, kept.come) = (kept.gone.min(other.gone), kept.come.min(other.come));
            }
            same
        });
        let complete = counts.iter().filter(|(place, count)| blocks.get(&(**place >> 16)) == Some(*count));
        look.complete = complete.map(|(place, _)| *place).collect();
        look
    }
}

/// Whether layers of this role are plies or cores.
fn is_laid(role: char) -> bool {
    matches!(role, 'a' | 'c' | 'o')
}

/// Role and angle of each layer but meshes and surfacing, whose places have rules of their own.
fn stack(plies: Option<&AttributeValue>) -> Vec<(char, String)> {
    plies
        .into_iter()
        .flat_map(AttributeValue::texts)
        .filter(|token| !matches!(*token, "none" | "unstated"))
        .map(|token| {
            let (letter, angle) = token.split_once(' ').unwrap_or((token, ""));
            (role(letter), angle.trim().to_string())
        })
        .filter(|(role, _)| !matches!(role, 'm' | 's'))
        .collect()
}

/// Takes what stands in front of one place.
fn take<'a>(all: &mut &'a [Stated], place: Place) -> &'a [Stated] {
    let upto = all.iter().position(|one| one.place != place).unwrap_or(all.len());
    let (taken, rest) = all.split_at(upto);
    *all = rest;
    taken
}

/// Leaves out what stands before a place.
fn skip(all: &mut &[Stated], place: Place) {
    let upto = all.iter().position(|one| one.place >= place).unwrap_or(all.len());
    *all = all.split_at(upto).1;
}

impl Look {
    /// Returns what this article, as made, asks at least: it has a stated value that nothing has now, or an
    /// order of layers, or nothing of it has a value that is there now. Whatever its constituents are paired
    /// with, that is a difference.
    pub(super) fn at_least(&self, now: &Self, foreign: bool) -> Asks {
        let floor = |floor: &Floor| if foreign { floor.foreign } else { floor.usual };
        let mut least = Asks::None;
        let (mut past, mut own) = (self.stated.as_slice(), now.stated.as_slice());
        let mut complete = self.complete.as_slice();
        while let Some(first) = past.first() {
            let place = first.place;
            let then = take(&mut past, place);
            skip(&mut own, place);
            let now_there = take(&mut own, place);
            let lacks = |all: &[Stated], one: &Stated| !all.iter().any(|own| own.number == one.number);
            let gone = then.iter().filter(|one| !one.unstated && lacks(now_there, one));
            least = gone.map(|one| floor(&one.gone)).fold(least, Asks::max);
            while complete.first().is_some_and(|one| *one < place) {
                complete = complete.get(1..).unwrap_or_default();
            }
            // What was not recorded of some constituent asks nothing of the one paired with it, and zones may
            // come and go with all that they have.
            if complete.first() == Some(&place) && self.is_single_as(now) {
                let soft = then.iter().any(|one| one.unstated);
                let most = if soft { Asks::Analysis } else { Asks::Retest };
                let come = now_there.iter().filter(|one| lacks(then, one));
                least = come.map(|one| floor(&one.come).min(most)).fold(least, Asks::max);
            }
        }
        for (asks, then) in &self.stacks {
            if now.stacked && !now.stacks.iter().any(|(_, own)| own == then) {
                least = least.max(floor(asks));
            }
        }
        least
    }

    /// Counts the values that are gone or new at first look.
    pub(super) fn distance(&self, now: &Self) -> usize {
        let id = |one: &Stated| (one.place, one.number);
        let lacks = |all: &[Stated], one: &&Stated| all.binary_search_by_key(&id(one), id).is_err();
        let gone = self.stated.iter().filter(|one| lacks(&now.stated, one)).count();
        gone + now.stated.iter().filter(|one| lacks(&self.stated, one)).count()
    }

    /// Whether neither has zones, joints or faces.
    pub(super) fn is_single_as(&self, now: &Self) -> bool {
        self.single && now.single
    }

    /// Whether both are one stack of layers, and now in another order or at other angles.
    pub(super) fn is_stacked_otherwise(&self, now: &Self) -> bool {
        match (self.stacks.as_slice(), now.stacks.as_slice()) {
            ([(_, then)], [(_, own)]) => self.is_single_as(now) && then != own,
            _ => false,
        }
    }
}
