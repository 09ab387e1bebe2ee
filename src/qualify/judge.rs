//! What a difference asks: the steps of a row tried on what differs.

use super::delta::{AsMade, Delta, Deltas, Limits, number};
use super::table::{KindRow, Ruling, Table};
use super::windows;
use crate::article::{Configuration, Limit, Name, ORDER};
use crate::quantity::Decimal;
use crate::record::sensitivity::{Asks, Condition, Route, Sensitivity, Step, Window};
use crate::record::{AttributeValue, Phrase, SubjectKind};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;
use thin_vec::ThinVec;

/// A difference and what it asks, with the rule that says so.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Reason {
    /// The attribute, as configurations name it.
    pub attribute: Phrase,
    /// As conformed, or as required.
    pub was: Phrase,
    /// Now.
    pub is: Phrase,
    /// What it asks.
    pub effect: Asks,
    /// The rule, in words.
    pub rule: Phrase,
    /// Where the rule comes from.
    pub source: Phrase,
    /// The evidence compared with.
    pub evidence: Option<Phrase>,
    /// The panels that it holds for.
    pub panels: ThinVec<String>,
}

impl Reason {
    /// Returns what differs, in words; `arrow` stands between was and is.
    ///
    /// What is no difference but a remark, such as that nothing is recorded, says nothing about before.
    pub fn difference(&self, arrow: &str) -> String {
        let remark = ["evidence", "criterion"].contains(&self.attribute.as_str())
            || self.attribute.starts_with("showing/")
            || self.rule.is_empty();
        if remark && self.was == "none" {
            return format!("{}: {}", self.attribute, self.is);
        }
        format!("{}: {}{arrow}{}", self.attribute, shortened(&self.was), shortened(&self.is))
    }
}

/// A section is told by what it has, not written out: its text is longer than any reader's patience.
fn shortened(text: &str) -> std::borrow::Cow<'_, str> {
    let walls = || {
        let value: serde_json::Value = serde_json::from_str(text).ok()?;
        let count = |key: &str| value.get(key)?.as_array().map(Vec::len);
        Some((count("walls")?, count("loads").unwrap_or(0)))
    };
    match text.starts_with('{').then(walls).flatten() {
        Some((walls, loads)) => format!("a section of {walls} walls under {loads} cases").into(),
        None => text.into(),
    }
}

/// Whether differences that ask nothing are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// Only what asks something: enough for verdicts.
    Verdicts,
    /// Also what is allowed, with the rule that allows it.
    Allowed,
}

/// Facets of which no constituent has a part.
pub const PLAIN: [&str; 9] =
    ["cure", "plies", "filler", "primer", "base-coat", "top-coat", "film-build", "colour", "tool"];

/// How one attribute is judged.
#[derive(Clone, Copy)]
struct Rule<'a> {
    /// The key of the steps, or the facet where nothing asks.
    key: &'a str,
    ruling: Option<Ruling<'a>>,
    /// Where the route of the resin decides, each constituent is judged by its own.
    by_letter: bool,
    /// What it asks hangs neither on constituents nor on what they were paired with.
    is_plain: bool,
}

/// The rules that a showing's evidence is judged by, for one kind of subject, looked up once.
pub struct Rules<'a> {
    row: &'a KindRow,
    kind: &'a str,
    subject: &'a str,
    own: Option<(&'a str, &'a Sensitivity)>,
    climate: bool,
    /// Rules of the attributes of the canonical form, in its order; `None` where they are not looked at.
    known: Vec<Option<Rule<'a>>>,
}

impl<'a> Rules<'a> {
    /// Looks up the rules of a row for a kind of showing and of subject.
    ///
    /// `own` is a showing's id with its sensitivity, which stands above the built-in rows, for its facets
    /// only.
    pub fn of(
        row: &'a KindRow,
        kind: &'a str,
        subject: &'a str,
        own: Option<(&'a str, &'a Sensitivity)>,
    ) -> Self {
        let climate = row.judges_climate_by_coverage();
        let mut rules = Self { row, kind, subject, own, climate, known: Vec::new() };
        rules.known = ORDER.iter().map(|attribute| rules.look_up(Name::new(attribute))).collect();
        rules
    }

    fn look_up(&self, attribute: Name) -> Option<Rule<'a>> {
        let (facet, steps) = (attribute.facet(), self.own.map(|(_, steps)| steps));
        let by_coverage = facet == "claims" || self.climate && matches!(facet, "colour" | "environment");
        let has = || {
            self.row.has_facet(self.subject, facet) || steps.is_some_and(|steps| steps.contains_key(facet))
        };
        if by_coverage || !has() || !self.row.looks_at(&attribute) {
            return None;
        }
        let ruling = self.row.ruling(&attribute, steps);
        let by_letter = ruling.is_some_and(|ruling| ruling.steps.iter().any(|step| step.when.is_some()));
        let by_pairs = |condition: Condition<'_>| {
            matches!(condition, Condition::Window(Window::W8) | Condition::OnlyThickness)
        };
        let is_plain = PLAIN.contains(&facet)
            && ruling.is_some_and(|ruling| !ruling.steps.iter().any(|step| step.conditions().any(by_pairs)));
        Some(Rule { key: ruling.map_or(facet, |ruling| ruling.key), ruling, by_letter, is_plain })
    }

    fn rule(&self, attribute: Name) -> Option<Rule<'a>> {
        match ORDER.get(attribute.place()) {
            Some(known) if attribute == *known => *self.known.get(attribute.place())?,
            // Loads bear names of their own.
            _ => self.look_up(attribute),
        }
    }

    /// Returns whether evidence of another subject counts only where both are the same in every own
    /// attribute.
    pub fn is_whole(&self) -> bool {
        let kinds = [SubjectKind::Panel, SubjectKind::Programme];
        self.row.whole || kinds.iter().any(|kind| kind.word() == self.subject)
    }

    /// Returns whether a difference in an attribute is looked at, even if nothing is asked.
    pub fn looks_at(&self, attribute: Name) -> bool {
        self.rule(attribute).is_some()
    }

    /// Returns the steps that a difference in an attribute is judged by; `None` where nothing asks.
    pub(super) fn ruling(&self, attribute: Name) -> Option<Ruling<'a>> {
        self.rule(attribute)?.ruling
    }

    /// Returns what a difference in the nominal of an attribute asks at least, whatever it is now, where it
    /// was stated when it was conformed; what was unstated asks for an analysis at most.
    pub fn at_least(&self, attribute: Name) -> Asks {
        let Some(ruling) = self.rule(attribute).and_then(|rule| rule.ruling) else { return Asks::None };
        // Without a last step that always holds, what no step lets pass asks for a retest.
        ruling.steps.iter().map(|step| step.asks).min().unwrap_or(Asks::Retest)
    }

    /// Returns whether what a difference in an attribute asks hangs neither on constituents nor on what they
    /// were paired with.
    pub fn is_plain(&self, attribute: Name) -> bool {
        self.rule(attribute).is_some_and(|rule| rule.is_plain)
    }

    /// Judges what differs.
    pub fn judge(&self, now: &Configuration, made: &AsMade, deltas: &Deltas, detail: Detail) -> Vec<Reason> {
        let mut reasons = Vec::new();
        self.each(now, made, deltas, detail, |_, reason| reasons.push(reason()));
        reasons
    }

    /// Returns what all that differs asks, without the words.
    pub fn most(&self, now: &Configuration, made: &AsMade, deltas: &Deltas) -> Asks {
        let mut most = Asks::None;
        self.each(now, made, deltas, Detail::Verdicts, |effect, _| most = most.max(effect));
        most
    }

    /// Hands out what each difference asks, and the way to put it in words.
    fn each(
        &self,
        now: &Configuration,
        made: &AsMade,
        deltas: &Deltas,
        detail: Detail,
        mut found: impl FnMut(Asks, &dyn Fn() -> Reason),
    ) {
        let kind = self.kind;
        type Ruled<'r> = (Option<Ruling<'r>>, Vec<&'r Delta>);
        let mut groups: BTreeMap<(Name, Name, &str), Ruled<'_>> = BTreeMap::new();
        for delta in &deltas.all {
            let Some(rule) = self.rule(delta.key.base) else { continue };
            if rule.ruling.is_none() && detail == Detail::Verdicts {
                continue;
            }
            let letter = if rule.by_letter { delta.key.letter } else { Name::default() };
            let group = groups.entry((delta.key.scope, letter, rule.key));
            group.or_insert_with(|| (rule.ruling, Vec::new())).1.push(delta);
        }
        for ((_, _, key), (ruling, group)) in groups {
            let Some(ruling) = ruling else {
                for delta in group {
                    found(Asks::None, &|| reason(delta, Asks::None, no_rule(kind, key), String::new()));
                }
                continue;
            };
            let source = || match (ruling.cell, self.own) {
                (Some(cell), _) => cell.source.clone(),
                (None, Some((showing, _))) => format!("showing/{showing}#sensitivity.{key}"),
                (None, None) => String::new(),
            };
            let judged = Group { ruling, now, made, deltas };
            let (unstated, stated): (Vec<&Delta>, Vec<&Delta>) =
                group.into_iter().partition(|delta| delta.nominal && delta.was_unstated());
            for (deltas, softened) in [(stated, false), (unstated, true)] {
                if deltas.is_empty() {
                    continue;
                }
                let (mut effect, step) = judged.effect(&deltas);
                if softened {
                    effect = effect.min(Asks::Analysis);
                }
                let by_limits = step.is_some_and(judges_limits);
                for delta in deltas {
                    let widened = !by_limits && ruling.level() > Asks::None && widened(delta);
                    let mut own_effect = if delta.nominal || by_limits { effect } else { Asks::None };
                    let mut by_width = false;
                    if widened && delta.nominal {
                        // Its own reason: whoever accepts the nominal has not accepted the wider limits.
                        found(Asks::Analysis, &|| limits_reason(delta, wider(kind, key), source()));
                    } else if widened && own_effect < Asks::Analysis {
                        own_effect = Asks::Analysis;
                        by_width = true;
                    }
                    if own_effect > Asks::None || detail == Detail::Allowed {
                        let rule = || {
                            if by_width { wider(kind, key) } else { rule_words(kind, key, step, softened) }
                        };
                        found(own_effect, &|| reason(delta, own_effect, rule(), source()));
                    }
                }
            }
        }
    }
}

fn wider(kind: &str, key: &str) -> String {
    format!("{kind} x {key}: limits widened")
}

fn no_rule(kind: &str, key: &str) -> String {
    format!("{kind} x {key}: no rule asks")
}

fn reason(delta: &Delta, effect: Asks, rule: String, source: String) -> Reason {
    Reason {
        attribute: delta.key.to_string().into(),
        was: delta.was_text().into(),
        is: delta.is_text().into(),
        effect,
        rule: rule.into(),
        source: source.into(),
        evidence: None,
        panels: ThinVec::new(),
    }
}

fn limits_reason(delta: &Delta, rule: String, source: String) -> Reason {
    let shown = |limits: &Limits| match limits {
        (Some(low), Some(high)) => format!("{low} .. {high}"),
        _ => "no limits".to_string(),
    };
    Reason {
        attribute: delta.key.limit(Limit::High).to_string().into(),
        was: shown(&delta.was_limits).into(),
        is: shown(&delta.is_limits).into(),
        effect: Asks::Analysis,
        rule: rule.into(),
        source: source.into(),
        evidence: None,
        panels: ThinVec::new(),
    }
}

fn rule_words(kind: &str, key: &str, step: Option<&Step>, softened: bool) -> String {
    let words = step.map_or_else(|| "no step holds: asks retest".to_string(), step_words);
    let soft = if softened { ", at most analysis where it was unstated" } else { "" };
    format!("{kind} x {key}: {words}{soft}")
}

/// Writes a step as a person reads it.
pub fn step_words(step: &Step) -> String {
    let mut parts = Vec::new();
    for condition in step.conditions() {
        parts.push(match condition {
            Condition::When(Route::Prepreg) => "of a prepreg".to_string(),
            Condition::When(Route::Dry) => "of dry fabric".to_string(),
            Condition::OnlyThickness => "only thickness differs".to_string(),
            Condition::Within(distance) => format!("within {}", distance.text()),
            Condition::AtMost(bound) => format!("at most {}", bound.text()),
            Condition::AtLeast(bound) => format!("at least {}", bound.text()),
            Condition::InTestedRange => "in the tested range".to_string(),
            Condition::SubsetOfConformed => "nothing that was not conformed".to_string(),
            Condition::CoveredByConformed => "covered by what was conformed".to_string(),
            Condition::Window(window) => window_words(window).to_string(),
        });
    }
    if parts.is_empty() {
        return format!("otherwise asks {}", step.asks);
    }
    format!("{} asks {}", parts.join(", "), step.asks)
}

fn window_words(window: Window) -> &'static str {
    match window {
        Window::W3 => "cycle inside window w3",
        Window::W3Near => "cycle near, window w3",
        Window::W4 => "no longer out than tested, window w4",
        Window::W5 => "ply shares and thickness inside window w5",
        Window::W8 => "mesh, film and laminate inside window w8",
        Window::W9Met => "computed margin met, window w9",
        Window::W9Failed => "computed margin failed, window w9",
        Window::W10 => "skin no hotter than tested, window w10",
        Window::W11 => "same mould body and survey, window w11",
        Window::W12 => "environment inside what was tested, window w12",
        Window::W14 => "same sites, window w14",
    }
}

fn judges_limits(step: &Step) -> bool {
    step.conditions().any(|condition| {
        matches!(condition, Condition::AtMost(_) | Condition::AtLeast(_) | Condition::InTestedRange)
    })
}

struct Group<'a> {
    ruling: Ruling<'a>,
    now: &'a Configuration,
    made: &'a AsMade,
    deltas: &'a Deltas,
}

impl Group<'_> {
    fn effect(&self, group: &[&Delta]) -> (Asks, Option<&Step>) {
        for step in self.ruling.steps {
            if step.conditions().all(|condition| self.holds(condition, group)) {
                return (step.asks, Some(step));
            }
        }
        (Asks::Retest, None)
    }

    fn holds(&self, condition: Condition<'_>, group: &[&Delta]) -> bool {
        let scope = group.first().map(|delta| delta.key.scope).unwrap_or_default();
        match condition {
            Condition::When(route) => {
                let wanted = match route {
                    Route::Prepreg => "prepreg",
                    Route::Dry => "dry",
                };
                group.iter().all(|delta| {
                    let route = self.now.part(&scope).of("resin-content.route", &delta.key.letter);
                    matches!(route, Some(AttributeValue::One(text)) if **text == *wanted)
                })
            }
            Condition::OnlyThickness => self
                .deltas
                .all
                .iter()
                .filter(|delta| delta.key.facet() == "glazing" && delta.key.scope == scope)
                .all(|delta| delta.key.base == "glazing.thickness"),
            Condition::Within(distance) => group.iter().filter(|delta| delta.nominal).all(|delta| {
                every_value(delta, |is, was, unit| {
                    let allowed = match (distance.percent(), distance.points()) {
                        (Some(points), _) | (_, Some(points)) if unit == "%" => points.clone(),
                        (Some(percent), _) => match (percent * &was.abs()).over(&Decimal::whole(100)) {
                            Some(allowed) => allowed,
                            None => return false,
                        },
                        (None, Some(_)) => return false,
                        (None, None) => match distance.in_unit(unit) {
                            Some(allowed) => allowed,
                            None => return false,
                        },
                    };
                    (is - was).abs() <= allowed
                })
            }),
            Condition::AtMost(_)
                if group.iter().all(|delta| delta.key.base.starts_with("geometry.load.")) =>
            {
                group.iter().all(|delta| load_at_most(delta))
            }
            Condition::AtMost(bound) => group.iter().all(|delta| {
                worst(delta, Limit::High, |is, was, unit| {
                    bound.limit(was, unit).is_some_and(|limit| *is <= limit)
                })
            }),
            Condition::AtLeast(bound) => group.iter().all(|delta| {
                worst(delta, Limit::Low, |is, was, unit| {
                    bound.limit(was, unit).is_some_and(|limit| *is >= limit)
                })
            }),
            Condition::InTestedRange => group.iter().all(|delta| self.in_tested_range(delta)),
            Condition::SubsetOfConformed => group.iter().all(|delta| match (&delta.is, &delta.was) {
                (Some(is), Some(was)) => is.values().iter().all(|value| was.values().contains(value)),
                _ => false,
            }),
            Condition::CoveredByConformed => group.iter().all(|delta| match (&delta.is, &delta.was) {
                (Some(is), Some(was)) => is.values().iter().all(|asked| {
                    was.values().iter().any(|tested| {
                        tested == asked
                            || Table::built_in().is_ok_and(|table| {
                                table.orders.lightning_covers(tested, asked)
                                    || table.orders.exposure_covers(tested, asked)
                            })
                    })
                }),
                _ => false,
            }),
            Condition::Window(window) => self.window(window, scope),
        }
    }

    fn window(&self, window: Window, scope: Name) -> bool {
        let conformed = self.deltas.conformed_scope(scope);
        let (now, then) = (self.now.part(&scope), self.made.main.part(&conformed));
        match window {
            Window::W3 => windows::w3(now, then),
            Window::W3Near => windows::w3_near(now, then),
            Window::W5 => {
                let others = self.made.others.iter().map(|other| other.part(&conformed)).collect::<Vec<_>>();
                windows::w5(now, then, &others)
            }
            Window::W8 => {
                let pairs = self.deltas.pairs.iter().filter(|(own, ..)| *own == scope);
                let partner = |letter: &str| {
                    pairs.clone().find(|(_, own, _)| own == letter).map(|(_, _, partner)| partner.as_str())
                };
                windows::w8(now, then, partner)
            }
            Window::W11 => windows::w11(now, then),
            // A site that differs is no longer the same set. w9 waits for computed duties, which this
            // version does not have; w4, w10 and w12 are judged by steps and by coverage.
            Window::W14 | Window::W9Met | Window::W9Failed | Window::W4 | Window::W10 | Window::W12 => false,
        }
    }

    /// Whether the worst limits lie between the least and the greatest value of all articles tested.
    fn in_tested_range(&self, delta: &Delta) -> bool {
        let Some(was_key) = &delta.was_key else { return false };
        if delta.is.is_none() {
            return false;
        }
        if self.made.others.is_empty() {
            let near = |is: &Decimal, was: &Decimal, _: &str| windows::within_tenth(is, was);
            return worst(delta, Limit::Low, near) && worst(delta, Limit::High, near);
        }
        let mut values: Vec<Decimal> = Vec::new();
        for article in std::iter::once(&self.made.main).chain(&self.made.others) {
            for limit in [Limit::Nominal, Limit::Low, Limit::High] {
                if let Some(AttributeValue::One(text)) = article.get(&was_key.limit(limit))
                    && let Some((value, _)) = number(text)
                {
                    values.push(value);
                }
            }
        }
        let (Some(least), Some(most)) = (values.iter().min().cloned(), values.iter().max().cloned()) else {
            return false;
        };
        worst(delta, Limit::Low, |is, _, _| *is >= least) && worst(delta, Limit::High, |is, _, _| *is <= most)
    }
}

/// Every nominal in use against some nominal conformed, in one unit.
fn every_value(delta: &Delta, holds: impl Fn(&Decimal, &Decimal, &str) -> bool) -> bool {
    let (Some(is), Some(was)) = (&delta.is, &delta.was) else { return false };
    !is.values().is_empty()
        && is.values().iter().all(|is| {
            let Some((is, unit)) = number(is) else { return false };
            was.values().iter().any(|was| match number(was) {
                Some((was, own)) => own == unit && holds(&is, &was, unit),
                None => false,
            })
        })
}

/// The limit of one side now, else the nominal, against the same side as conformed.
fn worst(delta: &Delta, side: Limit, holds: impl Fn(&Decimal, &Decimal, &str) -> bool) -> bool {
    let pick = |limits: &Limits| match side {
        Limit::Low => limits.0.clone(),
        Limit::High => limits.1.clone(),
        Limit::Nominal | Limit::Share => None,
    };
    let was_limit = if delta.measured { None } else { pick(&delta.was_limits) };
    match (pick(&delta.is_limits), was_limit) {
        (None, None) => every_value(delta, holds),
        (is, was) => {
            let single = |value: &Option<AttributeValue>| match value {
                Some(AttributeValue::One(text)) => Some(Arc::clone(text)),
                _ => None,
            };
            let (Some(is), Some(was)) =
                (is.or_else(|| single(&delta.is)), was.or_else(|| single(&delta.was)))
            else {
                return false;
            };
            match (number(&is), number(&was)) {
                (Some((is, unit)), Some((was, own))) => own == unit && holds(&is, &was, unit),
                _ => false,
            }
        }
    }
}

/// A load case at most as conformed: each component times its factors, in magnitude; a case that is gone
/// loads nothing.
fn load_at_most(delta: &Delta) -> bool {
    let components = |value: &AttributeValue| -> Option<BTreeMap<String, Decimal>> {
        let mut all = BTreeMap::new();
        let mut factor = Decimal::whole(1);
        for word in value.values() {
            let (name, figure) = word.split_once(' ')?;
            let (size, _) = number(figure)?;
            match name {
                "factor" | "special_factor" => factor = &factor * &size,
                _ => {
                    all.insert(name.to_string(), size);
                }
            }
        }
        for (name, size) in &mut all {
            if name != "temperature" {
                *size = (&*size * &factor).abs();
            }
        }
        Some(all)
    };
    let Some(is) = &delta.is else { return true };
    let Some(was) = &delta.was else { return false };
    match (components(is), components(was)) {
        (Some(is), Some(was)) => is.iter().all(|(name, size)| match (name.as_str(), was.get(name)) {
            // Hotter or colder is no more or less load: any other temperature is another case.
            ("temperature", known) => known == Some(size),
            (_, Some(known)) => size <= known,
            (_, None) => size.is_zero(),
        }),
        _ => false,
    }
}

/// A limit widens when its distance from the nominal grows; where it is written as a share, when that grows.
fn widened(delta: &Delta) -> bool {
    if delta.measured || delta.was_unstated() {
        return false;
    }
    // No tolerance now is a distance of nothing.
    if matches!(delta.is_limits, (None, None)) {
        return false;
    }
    let (Some(AttributeValue::One(is)), Some(AttributeValue::One(was))) = (&delta.is, &delta.was) else {
        return false;
    };
    let (Some((is, _)), Some((was, _))) = (number(is), number(was)) else { return false };
    let sides = [(&delta.is_limits.0, &delta.was_limits.0), (&delta.is_limits.1, &delta.was_limits.1)];
    sides.into_iter().any(|(is_limit, was_limit)| {
        let distance = |limit: &Option<Arc<str>>, nominal: &Decimal| {
            limit
                .as_ref()
                .and_then(|text| number(text))
                .map_or_else(Decimal::zero, |(value, _)| (&value - nominal).abs())
        };
        let (new, old) = (distance(is_limit, &is), distance(was_limit, &was));
        if !delta.relative {
            return new > old;
        }
        match (new.over(&is.abs()), old.over(&was.abs())) {
            (Some(new), Some(old)) => {
                // A share is written, but compared by its limit, which was rounded.
                let [new_slack, old_slack] = [(is_limit, &is), (was_limit, &was)].map(|(limit, nominal)| {
                    let own = limit.as_ref().and_then(|text| number(text));
                    own.and_then(|(value, _)| half_a_sixth_digit(&value).over(&nominal.abs()))
                        .unwrap_or_else(Decimal::zero)
                });
                new > &old + &(&new_slack + &old_slack)
            }
            _ => new > old,
        }
    })
}

/// How far a figure of six significant digits may lie from what it was rounded from.
fn half_a_sixth_digit(value: &Decimal) -> Decimal {
    let size = value.to_f64().abs();
    if size <= 0.0 || !size.is_finite() {
        return Decimal::zero();
    }
    Decimal::parse(&format!("5e{:.0}", size.log10().floor() - 6.0)).unwrap_or_else(Decimal::zero)
}
