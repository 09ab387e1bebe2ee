//! A first look at evidence: most of it differs so plainly that no comparison is needed to know what it asks
//! at least.

use super::table::KindRow;
use crate::article::{Configuration, Key, Limit, Name, ORDER};
use crate::record::AttributeValue;
use crate::record::sensitivity::{Asks, Sensitivity};
use std::collections::BTreeMap;

/// The attributes that name a constituent, by its role: where the constituent goes, the name is what is said
/// to differ.
const NAMES: [(char, &[&str]); 5] = [
    ('a', &["fibre.name", "resin.name"]),
    ('f', &["adhesive.designation"]),
    ('m', &["mesh.designation"]),
    ('s', &["surfacing.designation"]),
    ('c', &["core.designation"]),
];

/// What any difference asks at least, by the steps of one showing.
pub(super) struct Sieve {
    floors: BTreeMap<Name, Asks>,
}

/// What an article has of the attributes that ask anything, in any zone or face.
pub(super) struct Look {
    /// By role of the constituent and attribute: what a value that is gone asks, and the values.
    values: BTreeMap<(char, Name), (Asks, Vec<AttributeValue>)>,
    /// Orders and angles of layers, zone by zone, with what another one asks at least.
    stacks: Vec<(Asks, Vec<(char, String)>)>,
    /// Every zone with plies or a core has a list of layers.
    stacked: bool,
}

impl Sieve {
    /// Collects the attributes that the row, under the showing's own steps, never lets pass.
    pub(super) fn of(row: &KindRow, subject: &str, own: Option<&Sensitivity>) -> Self {
        let climate = row.judges_climate_by_coverage();
        let floor = |attribute: &str| {
            let facet = Key::plain(attribute).facet();
            // Tools and contents come as sets, of which one will do; claims are judged by coverage, and a
            // load carries its own presence.
            let other = matches!(facet, "tool" | "claims" | "resin-content")
                || climate && matches!(facet, "colour" | "environment")
                || attribute == "geometry.load"
                // Where a film or a mesh lies says nothing of what it is.
                || attribute.ends_with(".depth");
            let asked = row.has_facet(subject, facet) || own.is_some_and(|own| own.contains_key(facet));
            if other || !asked || !row.looks_at(attribute) {
                return Asks::None;
            }
            row.ruling(attribute, own).map_or(Asks::None, |ruling| {
                // Without a last step that always holds, what no step lets pass asks for a retest.
                let least = ruling.steps.iter().map(|step| step.asks).min();
                least.unwrap_or(Asks::Retest)
            })
        };
        let floors = ORDER.iter().map(|attribute| (Name::new(attribute), floor(attribute)));
        Self { floors: floors.filter(|(_, asks)| *asks > Asks::None).collect() }
    }

    fn floor(&self, attribute: Name) -> Asks {
        self.floors.get(&attribute).copied().unwrap_or_default()
    }

    /// What it asks at least that a constituent is gone.
    fn gone(&self, role: char) -> Asks {
        let names =
            NAMES.iter().find(|(own, _)| *own == role).map_or(&["core.designation"][..], |(_, own)| own);
        names.iter().map(|name| self.floor(Name::new(name))).max().unwrap_or_default()
    }

    /// Collects what a configuration has of the attributes that ask anything.
    pub(super) fn look(&self, configuration: &Configuration) -> Look {
        let mut look = Look { values: BTreeMap::new(), stacks: Vec::new(), stacked: true };
        for (_, part) in configuration.parts() {
            for (key, value) in part.rows().iter().filter(|(key, _)| key.limit == Limit::Nominal) {
                let role = role(&key.letter);
                let own = self.floor(key.base);
                // The constituent may find no partner, and then its name is all that differs.
                let asks = if role == ' ' { own } else { own.min(self.gone(role)) };
                if own == Asks::None || key.base == "plies" {
                    continue;
                }
                let (_, known) = look.values.entry((role, key.base)).or_insert_with(|| (asks, Vec::new()));
                if !known.contains(value) {
                    known.push(value.clone());
                }
            }
            let stack = stack(part.nominal("plies"));
            if stack.is_empty() {
                look.stacked &= part.blocks().all(|(letter, _)| !is_laid(role(&letter)));
                continue;
            }
            let own = self.floor(Name::new("plies"));
            let roles = stack.iter().map(|(role, _)| *role).filter(|role| is_laid(*role));
            let gone = roles.map(|role| self.gone(role)).max().unwrap_or_default();
            look.stacks.push((own.min(gone), stack));
        }
        look
    }
}

fn role(letter: &str) -> char {
    letter.chars().next().unwrap_or(' ')
}

/// Whether layers of this role are plies or cores.
fn is_laid(role: char) -> bool {
    matches!(role, 'a' | 'c' | 'o')
}

/// Role and angle of each layer but meshes and surfacing, whose places have rules of their own.
fn stack(plies: Option<&AttributeValue>) -> Vec<(char, String)> {
    let tokens = plies.map_or(&[][..], AttributeValue::values);
    tokens
        .iter()
        .filter(|token| *token != "none" && *token != "unstated")
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
    pub(super) fn at_least(&self, now: &Self) -> Asks {
        let values = self.values.iter().map(|(place, (asks, then))| {
            let own = now.values.get(place).map_or(&[][..], |(_, own)| own);
            let gone = then.iter().any(|value| !value.is_unstated() && !own.contains(value));
            if gone { *asks } else { Asks::None }
        });
        let stacks = self.stacks.iter().map(|(asks, then)| {
            let gone = now.stacked && !now.stacks.iter().any(|(_, own)| own == then);
            if gone { *asks } else { Asks::None }
        });
        values.chain(stacks).max().unwrap_or_default()
    }
}
