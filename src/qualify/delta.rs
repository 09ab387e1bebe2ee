//! What differs between what a subject is now and what was made: attribute by attribute, before any rule.

use crate::article::{Aligned, Configuration, Key, Likeness, Limit, Name, Part, Row, align};
use crate::quantity::Decimal;
use crate::record::AttributeValue;
use std::cmp::Reverse;
use std::collections::BTreeSet;
use std::sync::{Arc, LazyLock};

static PLIES: LazyLock<Name> = LazyLock::new(|| Name::new("plies"));
static CORE_THICKNESS: LazyLock<Name> = LazyLock::new(|| Name::new("core-thickness"));
static NONE: LazyLock<AttributeValue> = LazyLock::new(|| AttributeValue::one("none"));

/// The low and the high limit, as written.
pub type Limits = (Option<Arc<str>>, Option<Arc<str>>);

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
    pub was_limits: Limits,
    /// Limits now.
    pub is_limits: Limits,
    /// The conformed value was measured on the article: it has no limits.
    pub measured: bool,
    /// The tolerance now is written as a share of the nominal.
    pub relative: bool,
}

impl Delta {
    /// A nominal that came or went, its values left open.
    fn of(key: Key) -> Self {
        Self {
            key,
            was_key: None,
            was: None,
            is: None,
            nominal: true,
            was_limits: (None, None),
            is_limits: (None, None),
            measured: false,
            relative: false,
        }
    }

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

fn text(value: Option<&AttributeValue>, limits: &Limits, nominal: bool) -> String {
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
    pub not_recorded: Vec<Key>,
    /// Attributes that were unstated when conformed, differing or not, as they were named then.
    pub unstated: Vec<Key>,
    /// Attributes of constituents that came or went, beyond the ones that name them in `all`.
    pub more: usize,
    /// Scope and letter now, and the letter as conformed that it was paired with.
    pub pairs: Vec<(Name, Name, Name)>,
    /// The two faces of a bond were paired crosswise.
    pub crossed: bool,
}

impl Deltas {
    /// Returns the name that a scope of now had when it was conformed.
    pub fn conformed_scope(&self, scope: Name) -> Name {
        if self.crossed { other_face(scope) } else { scope }
    }
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
    let straight = scope_by_scope(now, made, false);
    let faces = |all: &Configuration| FACES.iter().all(|face| !all.part(face).is_empty());
    if straight.all.is_empty() || !faces(now) || !faces(&made.main) {
        return straight;
    }
    let crossed = scope_by_scope(now, made, true);
    if (crossed.all.len(), crossed.more) >= (straight.all.len(), straight.more) { straight } else { crossed }
}

const FACES: [&str; 2] = ["x1", "x2"];

fn other_face(scope: Name) -> Name {
    match scope.as_str() {
        "x1" => Name::new("x2"),
        "x2" => Name::new("x1"),
        _ => scope,
    }
}

fn scope_by_scope(now: &Configuration, made: &AsMade, crossed: bool) -> Deltas {
    let mut found = Deltas { crossed, ..Deltas::default() };
    let own: Vec<(Name, Part<'_>)> = now.parts().collect();
    let mut past: Vec<(Name, Part<'_>)> =
        made.main.parts().map(|(scope, part)| (found.conformed_scope(scope), part)).collect();
    past.sort_by_key(|(scope, _)| *scope);
    let mut scopes: Vec<Name> = own.iter().chain(&past).map(|(scope, _)| *scope).collect();
    scopes.sort();
    scopes.dedup();
    for scope in scopes {
        let context = Context { scope, conformed: found.conformed_scope(scope), measured: &made.measured };
        match (named(&own, scope), named(&past, scope)) {
            (Some(now), Some(then)) => one_scope(&context, now, then, &mut found),
            (Some(side), None) => whole_scope(&context, side, false, &mut found),
            (None, Some(side)) => whole_scope(&context, side, true, &mut found),
            (None, None) => {}
        }
    }
    found.all.sort_by(|one, two| one.key.written_order(&two.key));
    found
}

/// What differs in attributes that no constituent has, outside of zones, joints and faces, but the layers: no
/// pairing decides there.
pub(super) fn plain(now: &Configuration, made: &AsMade, wanted: impl Fn(Name) -> bool) -> Deltas {
    let mut found = Deltas::default();
    let none = Name::default();
    let context = Context { scope: none, conformed: none, measured: &made.measured };
    let (now, then) = (now.part(&none).block(&none), made.main.part(&none).block(&none));
    tools(&context, now, then, &mut found);
    found.all.retain(|delta| wanted(delta.key.base));
    pair_wanted(&context, (none, none), (now, then), &wanted, &mut found);
    found
}

/// The difference of layers that are known to be in another order or at other angles, outside of zones and
/// faces.
pub(super) fn stacked_otherwise(now: &Configuration, made: &AsMade) -> Deltas {
    let mut found = Deltas::default();
    let none = Name::default();
    let context = Context { scope: none, conformed: none, measured: &made.measured };
    let (now, then) = (now.part(&none), made.main.part(&none));
    plies(&context, now, then, (&tokens(now), &tokens(then)), &Pairs::new(), &mut found);
    found
}

fn named<'a>(all: &[(Name, Part<'a>)], scope: Name) -> Option<Part<'a>> {
    let at = all.binary_search_by_key(&scope, |(own, _)| *own).ok()?;
    all.get(at).map(|(_, part)| *part)
}

/// A zone or joint that came or went: each of its nominals differs from none.
fn whole_scope(context: &Context<'_>, side: Part<'_>, gone: bool, found: &mut Deltas) {
    for (key, value) in side.rows() {
        if key.limit == Limit::Nominal && key.facet() != "claims" {
            found.all.push(Delta {
                was_key: gone.then(|| context.was_key(key.base, key.letter)),
                was: gone.then(|| value.clone()),
                is: (!gone).then(|| value.clone()),
                ..Delta::of(context.key(key.base, key.letter))
            });
        }
    }
}

fn one_scope(context: &Context<'_>, now: Part<'_>, then: Part<'_>, found: &mut Deltas) {
    let (mine, theirs) = (tokens(now), tokens(then));
    let pairs = pair_letters(now, then, (&mine, &theirs));
    let none = Name::default();
    let (plain_now, plain_then) = (now.block(&none), then.block(&none));
    tools(context, plain_now, plain_then, found);
    pair_blocks(context, (none, none), plain_now, plain_then, found);
    plies(context, now, then, (&mine, &theirs), &pairs, found);
    for (letter, block) in now.blocks().filter(|(letter, _)| !letter.is_empty()) {
        match pairs.iter().find(|(own, _)| *own == letter) {
            Some((_, partner)) => {
                pair_blocks(context, (letter, *partner), block, then.block(partner), found);
                found.pairs.push((context.scope, letter, *partner));
            }
            None => single(context, letter, block, false, found),
        }
    }
    for (letter, block) in then.blocks().filter(|(letter, _)| !letter.is_empty()) {
        if !pairs.iter().any(|(_, partner)| *partner == letter) {
            single(context, letter, block, true, found);
        }
    }
}

struct Context<'a> {
    scope: Name,
    /// Its name in the conformed configuration.
    conformed: Name,
    measured: &'a BTreeSet<Key>,
}

impl Context<'_> {
    fn key(&self, base: Name, letter: Name) -> Key {
        Key { scope: self.scope, letter, base, limit: Limit::Nominal }
    }

    fn was_key(&self, base: Name, letter: Name) -> Key {
        Key { scope: self.conformed, letter, base, limit: Limit::Nominal }
    }
}

/// Letters now, each with its letter as conformed.
type Pairs = Vec<(Name, Name)>;

/// Pairs the constituents of two stacks by the most layers aligned; without plies, in their order.
fn pair_letters<'a>(now: Part<'a>, then: Part<'a>, (mine, theirs): Layers<'_>) -> Pairs {
    let lettered = |part: Part<'a>| -> Vec<(Name, &'a [Row])> {
        part.blocks().filter(|(letter, _)| !letter.is_empty()).collect()
    };
    let (own, past) = (lettered(now), lettered(then));
    if mine.is_empty() || theirs.is_empty() {
        let mut free: Vec<Name> = past.iter().map(|(letter, _)| *letter).collect();
        let partner = |(letter, _): &(Name, &[Row])| {
            let at = free.iter().position(|other| role(other) == role(letter))?;
            Some((*letter, free.remove(at)))
        };
        return own.iter().filter_map(partner).collect();
    }
    let block = |blocks: &[(Name, &'a [Row])], letter: &str| -> &'a [Row] {
        blocks.iter().find(|(own, _)| own == letter).map_or(&[], |(_, rows)| rows)
    };
    // The same layers of the same constituents: each finds itself.
    let itself = |letter: &str| same(block(&own, letter), block(&past, letter)) == (true, true);
    if mine == theirs {
        let (letters, _) = distinct(mine);
        if letters.iter().all(|letter| itself(letter)) {
            return letters.into_iter().map(|letter| (Name::new(letter), Name::new(letter))).collect();
        }
    }
    let (letters, own_at) = distinct(mine);
    let (partners, past_at) = distinct(theirs);
    // Whether each pair of constituents is the same but for its thickness, and whether in its thickness.
    let known: Vec<(bool, bool)> = partners
        .iter()
        .flat_map(|partner| letters.iter().map(move |letter| (letter, partner)))
        .map(|(letter, partner)| match role(letter) == role(partner) {
            true => same(block(&own, letter), block(&past, partner)),
            false => (false, false),
        })
        .collect();
    let place = |letter: usize, partner: usize| partner * letters.len() + letter;
    let like = |at: usize| known.get(at).copied().unwrap_or_default();
    let aligned = align(theirs.len(), mine.len(), |i, j| {
        let (Some((partner, then_angle)), Some((letter, now_angle))) = (theirs.get(i), mine.get(j)) else {
            return Likeness::Apart;
        };
        let (Some(was), Some(is), true) = (past_at.get(i), own_at.get(j), role(letter) == role(partner))
        else {
            return Likeness::Apart;
        };
        let (constituent, thickness) = like(place(*is, *was));
        Likeness::Differ(u32::from(!constituent) + u32::from(!thickness) + u32::from(then_angle != now_angle))
    });
    let mut counts = vec![0_usize; known.len()];
    for one in aligned {
        if let Aligned::Kept(i, j) | Aligned::Altered(i, j) | Aligned::Moved(i, j) = one
            && let (Some(was), Some(is)) = (past_at.get(i), own_at.get(j))
            && let Some(count) = counts.get_mut(place(*is, *was))
        {
            *count += 1;
        }
    }
    let mut ranked: Vec<(usize, bool, &str, &str)> = Vec::new();
    for (was, partner) in partners.iter().enumerate() {
        for (is, letter) in letters.iter().enumerate() {
            let at = place(is, was);
            if let Some(count) = counts.get(at).filter(|count| **count > 0) {
                ranked.push((*count, like(at) == (true, true), letter, partner));
            }
        }
    }
    // Most aligned layers first; among equals an unchanged constituent, then the order of letters.
    ranked.sort_by_key(|(count, unchanged, letter, partner)| {
        (Reverse(*count), !unchanged, letter.len(), *letter, partner.len(), *partner)
    });
    let mut pairs = Pairs::new();
    for (_, _, letter, partner) in ranked {
        if !pairs.iter().any(|(own, other)| own == letter || other == partner) {
            pairs.push((Name::new(letter), Name::new(partner)));
        }
    }
    pairs
}

/// The letters of a list of layers, each once, and for each layer the place of its letter among them.
fn distinct<'a>(tokens: &[Token<'a>]) -> (Vec<&'a str>, Vec<usize>) {
    let mut letters: Vec<&str> = Vec::new();
    let places = tokens
        .iter()
        .map(|(letter, _)| {
            letters.iter().position(|known| known == letter).unwrap_or_else(|| {
                letters.push(letter);
                letters.len() - 1
            })
        })
        .collect();
    (letters, places)
}

/// What a constituent is, by its letter; a space where there is none.
pub(super) fn role(letter: &str) -> char {
    letter.chars().next().unwrap_or(' ')
}

/// The attributes that name a constituent.
pub(super) fn identity(role: char) -> &'static [&'static str] {
    match role {
        'a' => &["fibre.name", "resin.name"],
        'f' => &["adhesive.designation"],
        'm' => &["mesh.designation"],
        's' => &["surfacing.designation"],
        _ => &["core.designation"],
    }
}

/// Returns whether all values that were recorded are equal: all but thickness, and thickness alone. How deep
/// a layer lies is no property of its constituent.
fn same(now: &[Row], then: &[Row]) -> (bool, bool) {
    let thickness = *CORE_THICKNESS;
    let (mut rest, mut thick) = (true, true);
    let mut own = now;
    for (key, value) in then {
        let order = |(own, _): &Row| (own.base, own.limit).cmp(&(key.base, key.limit));
        let from = own.iter().position(|row| order(row).is_ge()).unwrap_or(own.len());
        own = own.split_at(from).1;
        let known = if key.base == thickness { &mut thick } else { &mut rest };
        if *known && !key.base.ends_with(".depth") {
            *known = own.first().is_some_and(|row| order(row).is_eq() && row.1 == *value);
        }
        if !rest && !thick {
            break;
        }
    }
    (rest, thick)
}

/// Letter and angle of a layer; the angle is empty where it has none.
type Token<'a> = (&'a str, &'a str);

/// Layers now and as conformed.
type Layers<'t> = (&'t [Token<'t>], &'t [Token<'t>]);

fn tokens(part: Part<'_>) -> Vec<Token<'_>> {
    let Some(value) = part.value(*PLIES, Name::default()) else { return Vec::new() };
    let layers = value.texts().filter(|token| !matches!(*token, "none" | "unstated"));
    layers
        .map(|token| {
            let (letter, angle) = token.split_once(' ').unwrap_or((token, ""));
            (letter, angle.trim())
        })
        .collect()
}

/// Order, angles and count of plies, and where cores and films stand between them.
fn plies(
    context: &Context<'_>,
    now: Part<'_>,
    then: Part<'_>,
    (mine, theirs): Layers<'_>,
    pairs: &Pairs,
    found: &mut Deltas,
) {
    let none = Name::default();
    let (Some(is), Some(was)) = (now.value(*PLIES, none), then.value(*PLIES, none)) else { return };
    let kept = |(letter, _): &Token<'_>| !matches!(role(letter), 'm' | 's');
    let partner = |letter: &str| pairs.iter().find(|(own, _)| own == letter).map(|(_, other)| other.as_str());
    let mine = mine.iter().copied().filter(kept).map(|(letter, angle)| (partner(letter), angle));
    let theirs = theirs.iter().copied().filter(kept).map(|(letter, angle)| (Some(letter), angle));
    if !mine.eq(theirs) {
        let base = *PLIES;
        found.all.push(Delta {
            was_key: Some(context.was_key(base, Name::default())),
            was: Some(was.clone()),
            is: Some(is.clone()),
            ..Delta::of(context.key(base, Name::default()))
        });
    }
}

/// A constituent without partner is compared with none in its identity.
fn single(context: &Context<'_>, letter: Name, block: &[Row], gone: bool, found: &mut Deltas) {
    let identity = identity(role(&letter));
    let nominals = || block.iter().filter(|(key, _)| key.limit == Limit::Nominal);
    found.more +=
        nominals().filter(|(key, value)| !value.is_unstated() && !identity.contains(&&*key.base)).count();
    for base in identity {
        let base = Name::new(base);
        let value = nominals().find(|(key, _)| key.base == base).map(|(_, value)| value.clone());
        let value = value.unwrap_or_else(|| AttributeValue::one("unstated"));
        let delta = Delta::of(context.key(base, letter));
        found.all.push(if gone {
            Delta { was_key: Some(context.was_key(base, letter)), was: Some(value), ..delta }
        } else {
            Delta { is: Some(value), ..delta }
        });
    }
}

/// What one block says of one attribute.
#[derive(Clone, Copy, Default)]
struct Said<'a> {
    nominal: Option<&'a AttributeValue>,
    low: Option<&'a AttributeValue>,
    high: Option<&'a AttributeValue>,
    share: bool,
}

impl<'a> Said<'a> {
    /// Takes what stands in front of `rows` about `base`.
    fn take(rows: &mut &'a [Row], base: Name) -> Self {
        let mut said = Self::default();
        while let Some(((key, value), rest)) = rows.split_first().filter(|((key, _), _)| key.base == base) {
            match key.limit {
                Limit::Nominal => said.nominal = Some(value),
                Limit::Low => said.low = Some(value),
                Limit::High => said.high = Some(value),
                Limit::Share => said.share = true,
            }
            *rows = rest;
        }
        said
    }

    fn limits(&self) -> Limits {
        let text = |value: &AttributeValue| match value {
            AttributeValue::One(text) => Arc::clone(text),
            AttributeValue::List(_) => value.to_string().into(),
        };
        (self.low.map(text), self.high.map(text))
    }
}

fn pair_blocks(context: &Context<'_>, names: (Name, Name), now: &[Row], then: &[Row], found: &mut Deltas) {
    pair_wanted(context, names, (now, then), &|_| true, found);
}

/// As [`pair_blocks`], of some attributes only.
fn pair_wanted(
    context: &Context<'_>,
    (letter, partner): (Name, Name),
    (now, then): (&[Row], &[Row]),
    wanted: &impl Fn(Name) -> bool,
    found: &mut Deltas,
) {
    // A load or a radius carries its own presence: where geometry was recorded, a new one was not there.
    let geometry = || then.iter().any(|(key, _)| key.facet() == "geometry");
    let (mut own, mut past) = (now, then);
    loop {
        // Both are in order, so the lesser of what stands in front is next.
        let first = |rows: &[Row]| rows.first().map(|(key, _)| key.base);
        let base = match (first(own), first(past)) {
            (Some(is), Some(was)) => is.min(was),
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => return,
        };
        let (is, was) = (Said::take(&mut own, base), Said::take(&mut past, base));
        if !wanted(base) {
            continue;
        }
        if letter.is_empty() && (matches!(base.facet(), "tool" | "claims") || base == *PLIES) {
            continue;
        }
        let new = (base.starts_with("geometry.load.") || base == "geometry.radius") && geometry();
        let Some(conformed) = was.nominal.or(new.then_some(&NONE)) else {
            found.not_recorded.push(context.key(base, letter));
            continue;
        };
        if conformed.is_unstated() {
            found.unstated.push(context.was_key(base, partner));
        }
        let nominal = !covers(base, is.nominal, conformed);
        if !nominal && alike(is.low, was.low) && alike(is.high, was.high) {
            continue;
        }
        let was_key = context.was_key(base, partner);
        let measured = context.measured.contains(&was_key);
        if nominal || !measured {
            found.all.push(Delta {
                was_key: Some(was_key),
                was: Some(conformed.clone()),
                is: is.nominal.cloned(),
                nominal,
                was_limits: was.limits(),
                is_limits: is.limits(),
                measured,
                relative: is.share,
                ..Delta::of(context.key(base, letter))
            });
        }
    }
}

/// Returns whether two limits are written alike.
fn alike(one: Option<&AttributeValue>, two: Option<&AttributeValue>) -> bool {
    one.is_none() && two.is_none()
        || one == two
        || one.map(ToString::to_string) == two.map(ToString::to_string)
}

/// Returns whether every value in use is one of those conformed. Only contents come as sets; other lists
/// are in order and must be equal.
fn covers(base: Name, is: Option<&AttributeValue>, was: &AttributeValue) -> bool {
    let Some(is) = is else { return false };
    is == was || base == "resin-content" && is.values().iter().all(|value| was.values().contains(value))
}

/// With several conformed tools, the one in use must be one of them; otherwise the nearest is compared.
fn tools(context: &Context<'_>, now: &[Row], then: &[Row], found: &mut Deltas) {
    let nominal = |(key, _): &&Row| key.facet() == "tool" && key.limit == Limit::Nominal;
    let none = Name::default();
    let values = |rows: &[Row]| -> Vec<(Name, Vec<Arc<str>>)> {
        rows.iter().filter(nominal).map(|(key, value)| (key.base, value.values().to_vec())).collect()
    };
    // The same tools in the same order: each finds itself.
    let (is, was) = (now.iter().filter(nominal), then.iter().filter(nominal));
    if is.map(|(key, value)| (key.base, value)).eq(was.map(|(key, value)| (key.base, value))) {
        return;
    }
    let (now, then) = (values(now), values(then));
    for (base, _) in now.iter().filter(|(base, _)| !then.iter().any(|(other, _)| other == base)) {
        found.not_recorded.push(context.key(*base, none));
    }
    // A chain is itself a list, so one tool's chain and several tools' chains are told apart by the body.
    let several = then.iter().find(|(base, _)| *base == "tool.body").map_or(1, |(_, values)| values.len());
    let of = |list: &[(Name, Vec<Arc<str>>)], base: Name, at: usize, count: usize| -> Option<String> {
        let (_, values) = list.iter().find(|(own, _)| *own == base)?;
        if count > 1 && values.len() == count {
            values.get(at).map(ToString::to_string)
        } else {
            Some(values.join("; "))
        }
    };
    let mine = now.iter().find(|(base, _)| *base == "tool.body").map_or(1, |(_, values)| values.len());
    for used in 0..mine {
        let differences = |at: usize| -> Vec<(Name, String, String)> {
            then.iter()
                .filter_map(|(base, _)| {
                    let was = of(&then, *base, at, several)?;
                    let is = of(&now, *base, used, mine).unwrap_or_else(|| "unstated".to_string());
                    (was != is).then_some((*base, was, is))
                })
                .collect()
        };
        let nearest = (0..several)
            .map(differences)
            .min_by_key(|all| {
                let outside = all.iter().any(|(base, ..)| *base == "tool.body" || *base == "tool.survey");
                (!all.is_empty(), outside, all.len())
            })
            .unwrap_or_default();
        for (base, was, is) in nearest {
            if was == "unstated" {
                found.unstated.push(context.was_key(base, none));
            }
            found.all.push(Delta {
                was_key: Some(context.was_key(base, none)),
                was: Some(AttributeValue::one(&was)),
                is: Some(AttributeValue::one(&is)),
                ..Delta::of(context.key(base, none))
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
