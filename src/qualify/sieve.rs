//! A first look at evidence: most of it differs so plainly that no comparison is needed to know what it asks
//! at least.

use super::delta::{identity, role};
use super::judge::Rules;
use crate::article::{Configuration, Limit, Name, ORDER, Row};
use crate::record::AttributeValue;
use crate::record::sensitivity::Asks;
use std::collections::BTreeMap;

/// What any difference asks at least, by the steps of one showing; the default says nothing at first look.
#[derive(Default)]
pub(super) struct Sieve {
    floors: BTreeMap<Name, Floor>,
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
    /// By role of the constituent and attribute: each value, and what it asks that it is gone.
    values: BTreeMap<(char, Name), Vec<(Floor, AttributeValue)>>,
    /// Orders and angles of layers, zone by zone, with what another one asks at least.
    stacks: Vec<(Floor, Vec<(char, String)>)>,
    /// Every zone with plies or a core has a list of layers.
    stacked: bool,
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
        Self { floors: names.map(floor).filter(|(_, floor)| *floor != Floor::default()).collect() }
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

    /// Collects what a configuration has of the attributes that ask anything.
    pub(super) fn look(&self, configuration: &Configuration) -> Look {
        let mut look = Look { values: BTreeMap::new(), stacks: Vec::new(), stacked: true };
        for (_, part) in configuration.parts() {
            for (letter, block) in part.blocks() {
                let role = role(&letter);
                for (key, value) in block.iter().filter(|(key, _)| key.limit == Limit::Nominal) {
                    let own = self.floor(key.base);
                    if own == Floor::default() || key.base == "plies" {
                        continue;
                    }
                    // The constituent may find no partner.
                    let asks = if role == ' ' { own } else { own.min(self.gone(role, block)) };
                    let known = look.values.entry((role, key.base)).or_default();
                    match known.iter_mut().find(|(_, known)| known == value) {
                        Some((least, _)) => *least = least.min(asks),
                        None => known.push((asks, value.clone())),
                    }
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

impl Look {
    /// Returns what this article, as made, asks at least: it has a stated value that nothing has now, or an
    /// order of layers. Whatever its constituents are paired with, that is a difference.
    ///
    /// The other way round proves nothing: what was not recorded then asks nothing.
    pub(super) fn at_least(&self, now: &Self, foreign: bool) -> Asks {
        let floor = |floor: &Floor| if foreign { floor.foreign } else { floor.usual };
        let values = self.values.iter().flat_map(|(place, then)| {
            let own = now.values.get(place).map_or(&[][..], Vec::as_slice);
            let gone = move |value: &AttributeValue| {
                !value.is_unstated() && !own.iter().any(|(_, own)| own == value)
            };
            then.iter().filter(move |(_, value)| gone(value)).map(|(asks, _)| floor(asks))
        });
        let stacks = self.stacks.iter().map(|(asks, then)| {
            let gone = now.stacked && !now.stacks.iter().any(|(_, own)| own == then);
            if gone { floor(asks) } else { Asks::None }
        });
        values.chain(stacks).max().unwrap_or_default()
    }
}
