//! What differs between what a subject is now and what was made: attribute by attribute, before any rule.

use crate::article::{Aligned, Configuration, Key, Likeness, Limit, align};
use crate::quantity::Decimal;
use crate::record::AttributeValue;
use std::collections::{BTreeMap, BTreeSet};

/// One attribute that differs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delta {
    /// The attribute as it is named now; as it was named where it is gone.
    pub key: Key,
    /// Its name in the conformed configuration, where it has one.
    pub was_key: Option<Key>,
    /// As conformed; `None` where the constituent is new.
    pub was: Option<AttributeValue>,
    /// Now; `None` where the constituent is gone.
    pub is: Option<AttributeValue>,
    /// Whether the nominal differs, not only a limit.
    pub nominal: bool,
    /// Limits as conformed.
    pub was_limits: (Option<String>, Option<String>),
    /// Limits now.
    pub is_limits: (Option<String>, Option<String>),
    /// The conformed value was measured on the article: it has no limits.
    pub measured: bool,
    /// The tolerance now is written as a share of the nominal.
    pub relative: bool,
}

impl Delta {
    /// Returns whether nothing was stated when it was conformed.
    pub fn was_unstated(&self) -> bool {
        self.was.as_ref().is_some_and(AttributeValue::is_unstated)
    }

    /// Writes the value as conformed, with its limits where only they differ.
    pub fn was_text(&self) -> String {
        text(self.was.as_ref(), &self.was_limits, self.nominal)
    }

    /// Writes the value now, with its limits where only they differ.
    pub fn is_text(&self) -> String {
        text(self.is.as_ref(), &self.is_limits, self.nominal)
    }
}

fn text(value: Option<&AttributeValue>, limits: &(Option<String>, Option<String>), nominal: bool) -> String {
    let value = value.map_or_else(|| "none".to_string(), ToString::to_string);
    match limits {
        (Some(low), Some(high)) if !nominal => format!("{value} ({low} .. {high})"),
        (None, None) if !nominal => format!("{value} (no limits)"),
        _ => value,
    }
}

/// All that differs.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Deltas {
    /// What differs, in the order of keys.
    pub all: Vec<Delta>,
    /// Attributes that the conformed configuration does not record.
    pub not_recorded: Vec<String>,
    /// Attributes that were unstated when conformed, differing or not.
    pub unstated: Vec<String>,
    /// Attributes of constituents that came or went, beyond the ones that name them in `all`.
    pub more: usize,
    /// Letters now and the letters as conformed that they were paired with, by scope.
    pub pairs: BTreeMap<(String, String), String>,
}

/// What was made: the conformed configuration, with measured values laid over it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct AsMade {
    /// The article.
    pub main: Configuration,
    /// Further articles of the same evidence.
    pub others: Vec<Configuration>,
    /// Keys whose value was measured.
    pub measured: BTreeSet<Key>,
}

/// Compares what a subject is now with what was made.
///
/// The two faces of a bond stand in the order of their names, which are no property of theirs: they are
/// paired as they stand or crossed, whichever leaves less that differs.
pub fn compare(now: &Configuration, made: &AsMade) -> Deltas {
    let straight = scope_by_scope(now, made);
    let faces = |all: &Configuration| FACES.iter().all(|face| !all.scope(face).attributes().is_empty());
    if straight.all.is_empty() || !faces(now) || !faces(&made.main) {
        return straight;
    }
    let mut crossed = scope_by_scope(now, &made.crossed());
    if (crossed.all.len(), crossed.more) >= (straight.all.len(), straight.more) {
        return straight;
    }
    // What is said of the conformed configuration names its own face.
    for delta in &mut crossed.all {
        delta.was_key = delta.was_key.take().map(|key| other_face(&key));
    }
    for key in &mut crossed.unstated {
        *key = other_face(&Key::parse(key)).to_string();
    }
    crossed
}

const FACES: [&str; 2] = ["x1", "x2"];

fn other_face(key: &Key) -> Key {
    let scope = match key.scope.as_str() {
        "x1" => "x2",
        "x2" => "x1",
        other => other,
    };
    Key { scope: scope.to_string(), ..key.clone() }
}

impl AsMade {
    /// The same article with its faces named the other way round.
    fn crossed(&self) -> Self {
        let turn = |all: &Configuration| {
            let mut turned = Configuration::default();
            for (key, value) in all.attributes() {
                turned.set(other_face(key), value.clone());
            }
            turned
        };
        Self {
            main: turn(&self.main),
            others: self.others.iter().map(turn).collect(),
            measured: self.measured.iter().map(other_face).collect(),
        }
    }
}

fn scope_by_scope(now: &Configuration, made: &AsMade) -> Deltas {
    let mut found = Deltas::default();
    let mut scopes = now.scopes();
    scopes.extend(made.main.scopes());
    scopes.sort();
    scopes.dedup();
    for scope in scopes {
        let own = now.scope(scope);
        let then = made.main.scope(scope);
        if then.attributes().is_empty() || own.attributes().is_empty() {
            whole_scope(scope, own, then, &mut found);
        } else {
            one_scope(scope, own, then, &made.measured, &mut found);
        }
    }
    found.all.sort_by_cached_key(|delta| delta.key.rank());
    found
}

/// A zone or joint that came or went: each of its nominals differs from none.
fn whole_scope(scope: &str, now: &Configuration, then: &Configuration, found: &mut Deltas) {
    let gone = now.attributes().is_empty();
    let side = if gone { then } else { now };
    for (key, value) in side.attributes() {
        if key.limit == Limit::Nominal && key.facet() != "claims" {
            let key = key.within(scope);
            found.all.push(Delta {
                was_key: gone.then(|| key.clone()),
                key,
                was: gone.then(|| value.clone()),
                is: (!gone).then(|| value.clone()),
                nominal: true,
                was_limits: (None, None),
                is_limits: (None, None),
                measured: false,
                relative: false,
            });
        }
    }
}

type Block<'a> = BTreeMap<(&'a str, Limit), &'a AttributeValue>;

fn blocks(configuration: &Configuration) -> BTreeMap<&str, Block<'_>> {
    let mut all: BTreeMap<&str, Block<'_>> = BTreeMap::new();
    for (key, value) in configuration.attributes() {
        all.entry(&key.letter).or_default().insert((&key.base, key.limit), value);
    }
    all
}

fn one_scope(
    scope: &str,
    now: &Configuration,
    then: &Configuration,
    measured: &BTreeSet<Key>,
    found: &mut Deltas,
) {
    let own = blocks(now);
    let past = blocks(then);
    let pairs = pair_letters(now, then, &own, &past);
    let empty = Block::new();
    let context = Context { scope, measured };
    // What carries no letter.
    let (plain_now, plain_then) = (own.get("").unwrap_or(&empty), past.get("").unwrap_or(&empty));
    let tool = |block: &Block<'_>| -> Vec<(String, Vec<String>)> {
        block
            .iter()
            .filter(|((base, limit), _)| base.starts_with("tool.") && *limit == Limit::Nominal)
            .map(|((base, _), value)| ((*base).to_string(), value.values().to_vec()))
            .collect()
    };
    tools(&context, &tool(plain_now), &tool(plain_then), found);
    fn no_tool<'a>(block: &Block<'a>) -> Block<'a> {
        let mut rest = block.clone();
        rest.retain(|(base, _), _| {
            !base.starts_with("tool.") && *base != "plies" && !base.starts_with("claims.")
        });
        rest
    }
    pair_blocks(&context, "", "", &no_tool(plain_now), &no_tool(plain_then), found);
    plies(&context, now, then, &pairs, found);
    // Constituents.
    for (letter, block) in own.iter().filter(|(letter, _)| !letter.is_empty()) {
        match pairs.get(*letter) {
            Some(partner) => {
                let other = past.get(partner.as_str()).unwrap_or(&empty);
                pair_blocks(&context, letter, partner, block, other, found);
                found.pairs.insert((scope.to_string(), (*letter).to_string()), partner.clone());
            }
            None => single(scope, letter, block, false, found),
        }
    }
    let taken: BTreeSet<&String> = pairs.values().collect();
    for (letter, block) in past.iter().filter(|(letter, _)| !letter.is_empty()) {
        if !taken.contains(&(*letter).to_string()) {
            single(scope, letter, block, true, found);
        }
    }
}

struct Context<'a> {
    scope: &'a str,
    measured: &'a BTreeSet<Key>,
}

impl Context<'_> {
    fn key(&self, base: &str, letter: &str) -> Key {
        let key = Key::of(base, letter);
        if self.scope.is_empty() { key } else { key.within(self.scope) }
    }
}

/// Pairs the constituents of two stacks by the most layers aligned; without plies, in their order.
fn pair_letters(
    now: &Configuration,
    then: &Configuration,
    own: &BTreeMap<&str, Block<'_>>,
    past: &BTreeMap<&str, Block<'_>>,
) -> BTreeMap<String, String> {
    let (mine, theirs) = (tokens(now), tokens(then));
    let mut counts: BTreeMap<(String, String), usize> = BTreeMap::new();
    if mine.is_empty() || theirs.is_empty() {
        let mut free: BTreeMap<char, Vec<&str>> = BTreeMap::new();
        for letter in past.keys().filter(|letter| !letter.is_empty()).rev() {
            free.entry(role(letter)).or_default().push(letter);
        }
        let mut pairs = BTreeMap::new();
        for letter in own.keys().filter(|letter| !letter.is_empty()) {
            if let Some(partner) = free.get_mut(&role(letter)).and_then(Vec::pop) {
                pairs.insert((*letter).to_string(), partner.to_string());
            }
        }
        return pairs;
    }
    let empty = Block::new();
    let mut known: BTreeMap<(String, String), (bool, bool)> = BTreeMap::new();
    for (letter, _) in &mine {
        for (partner, _) in &theirs {
            known.entry((partner.clone(), letter.clone())).or_insert_with(|| {
                let one = own.get(letter.as_str()).unwrap_or(&empty);
                let two = past.get(partner.as_str()).unwrap_or(&empty);
                (same(one, two, false), same(one, two, true))
            });
        }
    }
    let aligned = align(theirs.len(), mine.len(), |i, j| {
        let (Some((partner, then_angle)), Some((letter, now_angle))) = (theirs.get(i), mine.get(j)) else {
            return Likeness::Apart;
        };
        if role(letter) != role(partner) {
            return Likeness::Apart;
        }
        let (constituent, thickness) =
            known.get(&(partner.clone(), letter.clone())).copied().unwrap_or((false, false));
        Likeness::Differ(u32::from(!constituent) + u32::from(!thickness) + u32::from(then_angle != now_angle))
    });
    for one in aligned {
        if let Aligned::Kept(i, j) | Aligned::Altered(i, j) | Aligned::Moved(i, j) = one
            && let (Some((partner, _)), Some((letter, _))) = (theirs.get(i), mine.get(j))
        {
            *counts.entry((letter.clone(), partner.clone())).or_default() += 1;
        }
    }
    let mut ranked: Vec<_> = counts.into_iter().collect();
    // Most aligned layers first; among equals an unchanged constituent, then the order of letters.
    ranked.sort_by_key(|((letter, partner), count)| {
        let unchanged = known.get(&(partner.clone(), letter.clone())).is_some_and(|(one, two)| *one && *two);
        (std::cmp::Reverse(*count), !unchanged, letter.len(), letter.clone(), partner.len(), partner.clone())
    });
    let mut pairs: BTreeMap<String, String> = BTreeMap::new();
    let mut taken = BTreeSet::new();
    for ((letter, partner), _) in ranked {
        if !pairs.contains_key(&letter) && !taken.contains(&partner) {
            taken.insert(partner.clone());
            pairs.insert(letter, partner);
        }
    }
    pairs
}

fn role(letter: &str) -> char {
    letter.chars().next().unwrap_or(' ')
}

/// Returns whether all values that were recorded are equal: thickness alone, or all but thickness.
fn same(now: &Block<'_>, then: &Block<'_>, thickness: bool) -> bool {
    then.iter()
        .filter(|((base, _), _)| (*base == "core-thickness") == thickness && !base.ends_with(".depth"))
        .all(|(key, value)| now.get(key) == Some(value))
}

/// The list of layers: letter and angle.
fn tokens(configuration: &Configuration) -> Vec<(String, String)> {
    let Some(value) = configuration.get(&Key::plain("plies")) else { return Vec::new() };
    value
        .values()
        .iter()
        .filter(|token| *token != "none" && *token != "unstated")
        .map(|token| match token.split_once(' ') {
            Some((letter, angle)) => (letter.to_string(), angle.trim().to_string()),
            None => (token.clone(), String::new()),
        })
        .collect()
}

/// Order, angles and count of plies, and where cores and films stand between them.
fn plies(
    context: &Context<'_>,
    now: &Configuration,
    then: &Configuration,
    pairs: &BTreeMap<String, String>,
    found: &mut Deltas,
) {
    let key = Key::plain("plies");
    let (Some(is), Some(was)) = (now.get(&key), then.get(&key)) else { return };
    let kept = |letter: &str| !matches!(role(letter), 'm' | 's');
    let mine: Vec<(String, String)> = tokens(now)
        .into_iter()
        .filter(|(letter, _)| kept(letter))
        .map(|(letter, angle)| match pairs.get(&letter) {
            Some(partner) => (partner.clone(), angle),
            None => (format!("new {letter}"), angle),
        })
        .collect();
    let theirs: Vec<(String, String)> = tokens(then).into_iter().filter(|(letter, _)| kept(letter)).collect();
    if mine != theirs {
        let key = context.key("plies", "");
        found.all.push(Delta {
            was_key: Some(key.clone()),
            key,
            was: Some(was.clone()),
            is: Some(is.clone()),
            nominal: true,
            was_limits: (None, None),
            is_limits: (None, None),
            measured: false,
            relative: false,
        });
    }
}

/// A constituent without partner is compared with none in its identity.
fn single(scope: &str, letter: &str, block: &Block<'_>, gone: bool, found: &mut Deltas) {
    let identity: &[&str] = match role(letter) {
        'a' => &["fibre.name", "resin.name"],
        'f' => &["adhesive.designation"],
        'm' => &["mesh.designation"],
        's' => &["surfacing.designation"],
        _ => &["core.designation"],
    };
    let stated = block
        .iter()
        .filter(|((base, limit), value)| {
            *limit == Limit::Nominal && !value.is_unstated() && !identity.contains(base)
        })
        .count();
    found.more += stated;
    for base in identity {
        let value = block.get(&(*base, Limit::Nominal)).map(|value| (*value).clone());
        let value = value.unwrap_or_else(|| AttributeValue::One("unstated".to_string()));
        let key = if scope.is_empty() { Key::of(base, letter) } else { Key::of(base, letter).within(scope) };
        found.all.push(Delta {
            was_key: gone.then(|| key.clone()),
            key,
            was: gone.then(|| value.clone()),
            is: (!gone).then_some(value),
            nominal: true,
            was_limits: (None, None),
            is_limits: (None, None),
            measured: false,
            relative: false,
        });
    }
}

fn pair_blocks(
    context: &Context<'_>,
    letter: &str,
    partner: &str,
    now: &Block<'_>,
    then: &Block<'_>,
    found: &mut Deltas,
) {
    let bases: BTreeSet<&str> = now.keys().chain(then.keys()).map(|(base, _)| *base).collect();
    // A load or a radius carries its own presence: where geometry was recorded, a new one was not there.
    let geometry = then.keys().any(|(base, _)| base.starts_with("geometry."));
    let none = AttributeValue::One("none".to_string());
    for base in bases {
        let key = context.key(base, letter);
        let was_key = context.key(base, partner);
        let limits = |block: &Block<'_>| {
            let text = |limit: Limit| block.get(&(base, limit)).map(ToString::to_string);
            (text(Limit::Low), text(Limit::High))
        };
        let is = now.get(&(base, Limit::Nominal)).copied();
        let new = geometry && (base.starts_with("geometry.load.") || base == "geometry.radius");
        let Some(was) = then.get(&(base, Limit::Nominal)).copied().or(new.then_some(&none)) else {
            found.not_recorded.push(key.to_string());
            continue;
        };
        if was.is_unstated() {
            found.unstated.push(was_key.to_string());
        }
        let measured = context.measured.contains(&was_key);
        let (is_limits, was_limits) = (limits(now), limits(then));
        let nominal = !covers(base, is, was);
        if nominal || (is_limits != was_limits && !measured) {
            found.all.push(Delta {
                key,
                was_key: Some(was_key),
                was: Some(was.clone()),
                is: is.cloned(),
                nominal,
                was_limits,
                is_limits,
                measured,
                relative: now.contains_key(&(base, Limit::Share)),
            });
        }
    }
}

/// Returns whether every value in use is one of those conformed. Only contents come as sets; other lists
/// are in order and must be equal.
fn covers(base: &str, is: Option<&AttributeValue>, was: &AttributeValue) -> bool {
    let Some(is) = is else { return false };
    is == was || base == "resin-content" && is.values().iter().all(|value| was.values().contains(value))
}

/// With several conformed tools, the one in use must be one of them; otherwise the nearest is compared.
fn tools(
    context: &Context<'_>,
    now: &[(String, Vec<String>)],
    then: &[(String, Vec<String>)],
    found: &mut Deltas,
) {
    for (base, _) in now.iter().filter(|(base, _)| !then.iter().any(|(other, _)| other == base)) {
        found.not_recorded.push(context.key(base, "").to_string());
    }
    // A chain is itself a list, so one tool's chain and several tools' chains are told apart by the body.
    let several = then.iter().find(|(base, _)| base == "tool.body").map_or(1, |(_, values)| values.len());
    let of = |list: &[(String, Vec<String>)], base: &str, at: usize, count: usize| -> Option<String> {
        let (_, values) = list.iter().find(|(own, _)| own == base)?;
        if count > 1 && values.len() == count { values.get(at).cloned() } else { Some(values.join("; ")) }
    };
    let mine = now.iter().find(|(base, _)| base == "tool.body").map_or(1, |(_, values)| values.len());
    for used in 0..mine {
        let differences = |at: usize| -> Vec<(String, String, String)> {
            then.iter()
                .filter_map(|(base, _)| {
                    let was = of(then, base, at, several)?;
                    let is = of(now, base, used, mine).unwrap_or_else(|| "unstated".to_string());
                    (was != is).then(|| (base.clone(), was, is))
                })
                .collect()
        };
        let nearest = (0..several)
            .map(differences)
            .min_by_key(|all| {
                let outside = all.iter().any(|(base, ..)| base == "tool.body" || base == "tool.survey");
                (!all.is_empty(), outside, all.len())
            })
            .unwrap_or_default();
        for (base, was, is) in nearest {
            let key = context.key(&base, "");
            if was == "unstated" {
                found.unstated.push(key.to_string());
            }
            found.all.push(Delta {
                was_key: Some(key.clone()),
                key,
                was: Some(AttributeValue::One(was)),
                is: Some(AttributeValue::One(is)),
                nominal: true,
                was_limits: (None, None),
                is_limits: (None, None),
                measured: false,
                relative: false,
            });
        }
    }
}

/// Reads `37 %`, `193 g/m2`, `0.62`, `99 um`: the number and its unit, and nothing behind it.
pub fn number(text: &str) -> Option<(Decimal, &str)> {
    let (digits, unit) = text.split_once(' ').unwrap_or((text, ""));
    let unit = unit.trim();
    if unit.contains([' ', ',']) {
        return None;
    }
    Decimal::parse(digits).map(|value| (value, unit))
}
