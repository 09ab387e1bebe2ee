//! What must stay for evidence to go on counting: attribute by attribute, from the rules of its showing.

use super::delta::{AsMade, compare, number};
use super::judge::step_words;
use super::made::{Made, all_made};
use super::sieve::Sieve;
use super::table::{Context, Table};
use super::verdict::{Evaluation, rules};
use crate::article::{Key, Limit, Subject};
use crate::ledger::{Entry, Ledger};
use crate::quantity::{Decimal, Quantity};
use crate::record::sensitivity::{Asks, Condition, Route, Step, Window};
use crate::record::{AttributeValue, Bounds, Evidence};
use std::collections::BTreeMap;

/// Within what an attribute may lie.
#[derive(Debug, Clone, PartialEq)]
pub enum Stays {
    /// No rule asks: that is no permission.
    Any,
    /// As it was made.
    Equal,
    /// From a least to a most value, in the unit of the canonical form; `None` is no limit on that side.
    Between(Option<Decimal>, Option<Decimal>, String),
    /// Nothing but these, or what they cover.
    Set(Vec<String>),
    /// By a window that looks at several attributes at once, in its words.
    Window(String),
}

/// A value in use, and how much of the way to the edge it has used up.
#[derive(Debug, Clone, PartialEq)]
pub struct InUse {
    /// The value.
    pub value: String,
    /// The subject.
    pub subject: Subject,
    /// Panels that use it so.
    pub panels: Vec<String>,
    /// The share of the way from as made to the edge; above 1 it is outside. `None` where there is no way to
    /// measure, or nothing used.
    pub used: Option<f64>,
}

/// One attribute of the article as made.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// The attribute, as the record names it.
    pub attribute: String,
    /// As made.
    pub was: String,
    /// What it may be.
    pub stays: Stays,
    /// The rule, in words.
    pub rule: String,
    /// Where the rule comes from.
    pub source: String,
    /// Values in use that differ from as made.
    pub now: Vec<InUse>,
}

/// All of one record.
#[derive(Debug, Clone, PartialEq)]
pub struct Keep {
    /// The record.
    pub evidence: String,
    /// Its showing.
    pub showing: String,
    /// The record that its outer edges are measured from, where it extends one.
    pub baseline: Option<String>,
    /// Records that extend it and through which it counts.
    pub through: Vec<String>,
    /// What it counts for now, itself or through them: the subject and the panels.
    pub counts: Vec<(Subject, Vec<String>)>,
    /// Attribute by attribute, in the order of the canonical form.
    pub attributes: Vec<Kept>,
}

/// Why nothing can be said of a record.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum KeepError {
    /// Nothing was written of what was made.
    #[error("evidence/{0} is not conformed: what was made is not recorded")]
    NotConformed(String),
    /// Its showing is not judged by comparing.
    #[error("evidence/{0} answers a showing that is not judged by comparing")]
    NotCompared(String),
}

/// Works out what must stay for a record to go on counting.
///
/// # Errors
/// [`KeepError`] where the record holds nothing to compare with.
pub fn keep(ledger: &Ledger, evaluation: &Evaluation, evidence: &Entry<Evidence>) -> Result<Keep, KeepError> {
    let id = &evidence.id;
    let showing = ledger.showings.get(evidence.value.showing.id());
    let row = showing.and_then(|showing| Table::row(showing.value.kind.as_str()));
    let (Some(showing), Some(row)) = (showing, row.filter(|row| !row.live)) else {
        return Err(KeepError::NotCompared(id.clone()));
    };
    let rules = rules(showing, row, row.subject_of(&showing.value));
    let all = all_made(&[evidence], &Sieve::of(&rules), None, |_| true);
    let made = all.first().ok_or_else(|| KeepError::NotConformed(id.clone()))?;
    let article = made.articles.first().ok_or_else(|| KeepError::NotConformed(id.clone()))?;
    let extensions = ledger.evidence.values().filter(|one| one.value.extends(id));
    let extensions: Vec<&String> = extensions.map(|one| &one.id).collect();
    let mut through: Vec<String> = Vec::new();
    let mut counts: Vec<(Subject, Vec<String>)> = Vec::new();
    for duty in evaluation.duties.values().filter(|duty| duty.showing == showing.id) {
        let mut panels: Vec<String> = Vec::new();
        for (panel, own) in duty.panels.iter().filter(|(_, own)| own.verdict.is_closed()) {
            let by: Vec<&String> = extensions.iter().copied().filter(|one| own.has_evidence(one)).collect();
            let itself = own.has_evidence(id);
            if itself || !by.is_empty() {
                panels.push(panel.clone());
            }
            through.extend(by.into_iter().filter(|_| !itself).cloned());
        }
        if !panels.is_empty() {
            counts.push((duty.subject.clone(), panels));
        }
    }
    let mut differ: BTreeMap<Key, Vec<InUse>> = BTreeMap::new();
    for (subject, panels) in &counts {
        for panel in panels {
            let Some(used) = evaluation.grounds.demands.of(subject, panel) else { continue };
            for variant in used.variants.iter() {
                for delta in compare(variant, article).all {
                    let key = delta.was_key.unwrap_or(delta.key);
                    let own = differ.entry(key).or_default();
                    let value = delta.is_text();
                    match own.iter_mut().find(|one| one.value == value && one.subject == *subject) {
                        Some(one) if one.panels.contains(panel) => {}
                        Some(one) => one.panels.push(panel.clone()),
                        None => own.push(InUse {
                            value,
                            subject: subject.clone(),
                            panels: vec![panel.clone()],
                            used: None,
                        }),
                    }
                }
            }
        }
    }
    let mut attributes = Vec::new();
    for (key, value) in article.main.in_order() {
        if key.limit != Limit::Nominal || key.facet() == "claims" {
            continue;
        }
        let ruling = rules.ruling(key.base);
        let (stays, rule) = match ruling {
            None => (Stays::Any, format!("{} x {}: no rule asks", showing.value.kind, key.facet())),
            Some(ruling) => stays(ruling.steps, key, value, article, row.whole),
        };
        let source = match ruling {
            Some(ruling) => match ruling.cell {
                Some(cell) => cell.source.clone(),
                None => format!("showing/{}#sensitivity.{}", showing.id, ruling.key),
            },
            None => String::new(),
        };
        let mut now = differ.remove(key).unwrap_or_default();
        for one in &mut now {
            one.used = share(value, &stays, &one.value);
        }
        attributes.push(Kept {
            attribute: key.to_string(),
            was: value.to_string(),
            stays,
            rule,
            source,
            now,
        });
    }
    attributes.extend(tested(evaluation, &showing.value, row, made, &counts));
    through.sort();
    through.dedup();
    Ok(Keep {
        through,
        evidence: id.clone(),
        showing: showing.id.clone(),
        baseline: evidence.value.baseline.as_ref().map(|own| own.id().to_string()),
        counts,
        attributes,
    })
}

/// What the steps that ask nothing leave room for.
fn stays(steps: &[Step], key: &Key, was: &AttributeValue, article: &AsMade, whole: bool) -> (Stays, String) {
    if whole {
        return (Stays::Equal, "counts only where all is equal".to_string());
    }
    let route = article.main.part(&key.scope).of("resin-content.route", &key.letter);
    let dry = matches!(route, Some(AttributeValue::One(text)) if **text == *"dry");
    let fits = |condition: Condition<'_>| match condition {
        Condition::When(Route::Dry) => dry,
        Condition::When(Route::Prepreg) => !dry,
        _ => true,
    };
    let free = steps.iter().find(|step| step.asks == Asks::None && step.conditions().all(fits));
    let Some(step) = free else {
        let last = steps.last().map_or_else(|| "any difference asks retest".to_string(), step_words);
        return (Stays::Equal, last);
    };
    let words = step_words(step);
    let mut found = Stays::Any;
    for condition in step.conditions() {
        let own = match condition {
            Condition::When(_) => continue,
            Condition::Window(window) => Stays::Window(window_meaning(window).to_string()),
            Condition::SubsetOfConformed | Condition::CoveredByConformed => {
                Stays::Set(was.texts().map(str::to_string).collect())
            }
            Condition::OnlyThickness if key.base == "glazing.thickness" => continue,
            Condition::OnlyThickness => Stays::Equal,
            Condition::Within(_)
            | Condition::AtMost(_)
            | Condition::AtLeast(_)
            | Condition::InTestedRange => range(condition, key, was, article),
        };
        found = both(found, own);
    }
    (found, words)
}

/// What a window lets pass, as `windows` judges it.
fn window_meaning(window: Window) -> &'static str {
    match window {
        Window::W3 | Window::W3Near => {
            "the same method, surface preparation and segments; holds within 5 K and not shorter, ramps unchanged or \
             0.5 .. 3 K/min, pressure and vacuum not lower, bleed within 5 g/m2, post-cure likewise"
        }
        Window::W5 => {
            "shares of 0, 45, 90 and other within the tested range and 5 points, reinforcement in the tested range (of \
             one article within 10 %), no core come, gone or on another side"
        }
        Window::W8 => {
            "the same mesh, no lighter; film and surfacing over it no thicker; reinforcement no less, and above the \
             mesh the same"
        }
        Window::W9Met | Window::W9Failed => "while the computed duty of the panel is met in the same mode",
        Window::W11 => "the same mould body and survey",
        Window::W14 => "the same sites",
        Window::W4 => "no longer out than tested",
        Window::W10 => "skin no hotter than tested",
        Window::W12 => "environment inside what was tested",
    }
}

/// What both leave room for.
fn both(one: Stays, two: Stays) -> Stays {
    match (one, two) {
        (Stays::Any, other) | (other, Stays::Any) => other,
        (Stays::Between(low, high, unit), Stays::Between(least, most, _)) => {
            let low = [low, least].into_iter().flatten().max();
            Stays::Between(low, [high, most].into_iter().flatten().min(), unit)
        }
        (Stays::Equal, _) | (_, Stays::Equal) => Stays::Equal,
        (window @ Stays::Window(_), _) | (_, window @ Stays::Window(_)) => window,
        (other, _) => other,
    }
}

/// The values that a numeric condition lets pass; a word has to stay.
fn range(condition: Condition<'_>, key: &Key, was: &AttributeValue, article: &AsMade) -> Stays {
    let AttributeValue::One(text) = was else { return Stays::Equal };
    let Some((own, unit)) = number(text) else { return Stays::Equal };
    let limit = |side: Limit| {
        let written = article.main.get(&key.limit(side)).filter(|_| !article.measured.contains(key));
        match written {
            Some(AttributeValue::One(text)) => number(text).map(|(value, _)| value),
            _ => None,
        }
    };
    let part = |percent: &Decimal| (percent * &own.abs()).over(&Decimal::whole(100));
    let (low, high) = match condition {
        Condition::Within(distance) => {
            let far = match (distance.percent(), distance.points()) {
                (Some(points), _) | (_, Some(points)) if unit == "%" => Some(points.clone()),
                (Some(percent), _) => part(percent),
                (None, Some(_)) => None,
                (None, None) => distance.in_unit(unit),
            };
            let Some(far) = far else { return Stays::Equal };
            (Some(&own - &far), Some(&own + &far))
        }
        Condition::AtMost(bound) => {
            (None, bound.limit(&limit(Limit::High).unwrap_or_else(|| own.clone()), unit))
        }
        Condition::AtLeast(bound) => {
            (bound.limit(&limit(Limit::Low).unwrap_or_else(|| own.clone()), unit), None)
        }
        _ if article.others.is_empty() => {
            let far = part(&Decimal::whole(10)).unwrap_or_else(Decimal::zero);
            (Some(&own - &far), Some(&own + &far))
        }
        _ => {
            let all: Vec<Decimal> = std::iter::once(&article.main)
                .chain(&article.others)
                .flat_map(|one| {
                    [Limit::Nominal, Limit::Low, Limit::High]
                        .into_iter()
                        .filter_map(|side| match one.get(&key.limit(side)) {
                            Some(AttributeValue::One(text)) => number(text).map(|(value, _)| value),
                            _ => None,
                        })
                        .collect::<Vec<_>>()
                })
                .collect();
            (all.iter().min().cloned(), all.iter().max().cloned())
        }
    };
    Stays::Between(low, high, unit.to_string())
}

/// How much of the way from as made to the edge a value has used up.
fn share(was: &AttributeValue, stays: &Stays, now: &str) -> Option<f64> {
    let (Stays::Between(low, high, _), AttributeValue::One(was)) = (stays, was) else { return None };
    let ((was, _), (now, _)) = (number(was)?, number(now.split(" (").next()?)?);
    let (way, edge) = if now < was { (&was - &now, low.as_ref()?) } else { (&now - &was, high.as_ref()?) };
    let whole = (edge - &was).abs();
    if whole.is_zero() {
        return (!way.is_zero()).then_some(f64::INFINITY);
    }
    way.over(&whole).map(|share| share.to_f64())
}

/// What was tested bounds what panels may ask: temperatures, zones and the like.
fn tested(
    evaluation: &Evaluation,
    showing: &crate::record::Showing,
    row: &super::table::KindRow,
    made: &Made<'_>,
    counts: &[(Subject, Vec<String>)],
) -> Vec<Kept> {
    let mut all = Vec::new();
    let source = |facet: &str| row.cells.get(facet).map(|cell| cell.source.clone()).unwrap_or_default();
    let degrees = |kelvin: f64| format!("{} degC", round_tenth(kelvin - 273.15));
    if let Some(tested) = made.tested.temperature.filter(|_| row.context.contains(&Context::T)) {
        let hot = super::coverage::bounds(showing);
        let asked = |subject: &Subject, panel: &str| {
            let demand = &evaluation.grounds.demands.of(subject, panel)?.demand;
            match hot {
                Bounds::Hot => demand.structural.as_ref().map(|(own, _)| *own),
                Bounds::Cold => demand.minimum,
                Bounds::None => None,
            }
        };
        let mut now = Vec::new();
        for (subject, panels) in counts {
            for panel in panels {
                let Some(own) = asked(subject, panel) else { continue };
                let value = degrees(own);
                match now.iter_mut().find(|one: &&mut InUse| one.value == value && one.subject == *subject) {
                    Some(one) => one.panels.push(panel.clone()),
                    None => now.push(InUse {
                        value,
                        subject: subject.clone(),
                        panels: vec![panel.clone()],
                        used: None,
                    }),
                }
            }
        }
        let edge = Quantity::parse(crate::quantity::Kind::Temperature, &degrees(tested))
            .ok()
            .and_then(|own| own.exact_in("degC"));
        let (attribute, stays) = match hot {
            Bounds::Hot => ("skin.structural", Stays::Between(None, edge, "degC".to_string())),
            Bounds::Cold => ("exposure.minimum", Stays::Between(edge, None, "degC".to_string())),
            Bounds::None => return claims(made, row, all),
        };
        all.push(Kept {
            attribute: attribute.to_string(),
            was: degrees(tested),
            stays,
            rule: "no hotter and no colder than the test it bounds, section 5; the tested temperature no lower than the showing asks".to_string(),
            source: source(if hot == Bounds::Hot { "colour" } else { "environment" }),
            now,
        });
    }
    claims(made, row, all)
}

/// Zones, fluids and the like that were tested.
fn claims(made: &Made<'_>, row: &super::table::KindRow, mut all: Vec<Kept>) -> Vec<Kept> {
    let source = row.cells.get("environment").map(|cell| cell.source.clone()).unwrap_or_default();
    let sets = [
        ("exposure.zone", Context::X, &made.tested.zones),
        ("exposure.lightning", Context::Z, &made.tested.lightning),
        ("exposure.fluids", Context::X, &made.tested.fluids),
        ("core.form", Context::C, &made.tested.core_forms),
        ("fittings", Context::E, &made.tested.fasteners),
    ];
    for (attribute, context, set) in sets {
        let Some(set) = set.as_ref().filter(|set| !set.is_empty() && row.context.contains(&context)) else {
            continue;
        };
        all.push(Kept {
            attribute: attribute.to_string(),
            was: set.join(", "),
            stays: Stays::Set(set.clone()),
            rule: "covered by what was tested, section 5".to_string(),
            source: source.clone(),
            now: Vec::new(),
        });
    }
    all
}

fn round_tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests;
