//! The sheet of a change: fit to be put on the table in a design review.

use super::coats::{coats_beside, most};
use super::margins::{Case, dumbbells};
use super::stacks::Mark;
use super::stacks::{alone, marks, pair};
use super::svg::Figure;
use super::tables::Page;
use super::timeline::timeline;
use super::waterfall::{Step, waterfall};
use crate::article::stack::{Stack, stack};
use crate::article::weigh::Cost;
use crate::change::impact::Impact;
use crate::change::weaker::Weaker;
use crate::ledger::{Entry, Ledger};
use crate::record::{Day, Decision};
use crate::report::head::ReportHead;
use crate::report::impact::{self, Group};
use crate::report::margins::moved_cells;
use crate::report::page::merged;
use crate::report::plan::money;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Stacks drawn side by side; further ones are named.
const STACKS_SHOWN: usize = 6;
/// Rows of all tables behind stacks together: a sheet is to be handed on.
const ROWS: usize = 400;
/// A remainder below this is rounding, kg.
const ROUNDING: f64 = 1e-9;

/// A change with a sheet of its own.
pub struct ChangeInput<'a> {
    /// Its file's stem.
    pub stem: String,
    /// What it is called.
    pub title: String,
    /// What it does.
    pub impact: Impact,
    /// The ledger before.
    pub base: &'a Ledger,
    /// The ledger after.
    pub head: &'a Ledger,
    /// What the state after says about itself, and which it is.
    pub says: (ReportHead, String),
    /// What could not be judged, in words.
    pub left_out: Vec<String>,
    /// The decision behind it.
    pub decision: Option<&'a Entry<Decision>>,
}

/// What changed since a milestone was reached.
pub struct Since {
    /// The milestone.
    pub milestone: String,
    /// What changed.
    pub impact: Impact,
}

/// The drawing of how the mass moved; a panel that has a page is led to.
pub(super) fn mass_steps(found: &Impact, root: &str, pages: &Ledger) -> Option<Figure> {
    let (was, is) = found.mass;
    let mut steps: Vec<Step> = found
        .panels
        .iter()
        .map(|row| Step {
            name: row.panel.clone(),
            delta: row.delta,
            href: pages.panels.contains_key(&row.panel).then(|| format!("{root}panel/{}.html", row.panel)),
        })
        .collect();
    // What assemblies hold beside panels moves the whole too.
    let rest = is - was - steps.iter().map(|step| step.delta).sum::<f64>();
    if rest.abs() > ROUNDING {
        steps.push(Step { name: "parts of assemblies".to_string(), delta: rest, href: None });
    }
    waterfall((was, is), &steps, ("before", "after"))
}

/// Returns template, title and context.
pub(super) fn context(change: &ChangeInput<'_>, pages: &Ledger, today: Day) -> (&'static str, String, Page) {
    let found = &change.impact;
    let currency = change.head.head.as_ref().and_then(|head| head.currency.as_ref());
    let currency = currency.map_or_else(String::new, ToString::to_string);
    let document = impact::json(found);
    let (worse, others) = duties(found, &document);
    let cases: Vec<Case> = found
        .margins
        .iter()
        .map(|row| Case {
            name: format!("{}, {}", row.panel, row.case),
            was: row.was.as_ref().map(|own| own.margin),
            is: row.now.as_ref().map(|own| own.margin),
        })
        .collect();
    let (stacks, more) = stacks(change);
    let drawing = |figure: Option<Figure>| figure.map(|figure| figure.json());
    let mut all = Map::new();
    let mut put = |name: &str, value: Value| all.insert(name.to_string(), value);
    put("decision", change.decision.map_or(Value::Null, |own| decision(own, change.base, today)));
    let moved = found.margins.iter().map(|row| {
        let [panel, case, was, is, governs] = moved_cells(row);
        json!({ "panel": panel, "case": case, "was": was, "is": is, "governs": governs, "lacking": row.lacking })
    });
    put("moved", moved.collect());
    put("coats", Value::Array(paint(change)));
    put("waterfall", json!(drawing(mass_steps(found, "../", pages))));
    put("timeline", json!(drawing(timeline(&found.retest))));
    put("margins", json!(drawing(dumbbells(&cases, true))));
    put("stacks", Value::Array(stacks));
    put("more_stacks", json!(more));
    put("figures", json!(figures(found)));
    let free = found.retest.steps.is_empty();
    put("test_cost", json!(if free { "nothing".to_string() } else { money(found.retest.cost, &currency) }));
    let granted: Vec<&String> = found.retest.assumptions.iter().chain(&found.assumptions).collect();
    put("granted", json!(merged(&granted)));
    put("worse", json!(worse));
    put("others", json!(others));
    put("weakened", json!(found.weaker.iter().map(Weaker::words).collect::<Vec<_>>()));
    put("left_out", json!(change.left_out));
    put("impact", document);
    ("change.html", change.title.clone(), all.into())
}

/// Duties that lapse or ask more; and all others that differ, each under the heading that the command gives it.
fn duties(found: &Impact, document: &Value) -> (Vec<Value>, Vec<Value>) {
    let mut groups: BTreeMap<(String, String), Group> = BTreeMap::new();
    for row in found.duties.iter().filter(|row| !row.is_worse()) {
        groups.insert((row.showing.clone(), row.subject.to_string()), Group::of(row));
    }
    let rows = document.get("duties").and_then(Value::as_array).into_iter().flatten();
    let mut worse = Vec::new();
    let mut others: BTreeMap<Group, Vec<&Value>> = BTreeMap::new();
    for row in rows {
        let text = |name: &str| row.get(name).and_then(Value::as_str).unwrap_or_default().to_string();
        match groups.get(&(text("showing"), text("subject"))) {
            Some(group) => others.entry(*group).or_default().push(row),
            None => worse.push(row.clone()),
        }
    }
    // What failed or lapsed comes first, as the command has it.
    worse.sort_by_key(|row| {
        let word = row.get("now").and_then(Value::as_str);
        ["failed", "lapsed", "open", "short"].iter().position(|own| word == Some(*own))
    });
    let headed = |(group, rows): (Group, Vec<&Value>)| json!({ "title": group.title(), "rows": rows });
    (worse, others.into_iter().map(headed).collect())
}

/// Sums beside the mass that a change moves.
fn figures(found: &Impact) -> Vec<Value> {
    let mut all = Vec::new();
    if let Some(cost) = &found.cost {
        let sum = |own: &Cost| {
            let text = money(Some(own.total()), &cost.currency);
            if own.is_whole() { text } else { format!("at least {text}") }
        };
        let (was, is) = (&cost.was, &cost.is);
        all.push(json!({
            "what": "Unit cost",
            "was": sum(was),
            "is": sum(is),
            "change": cost.delta().map_or_else(
                || "not known".to_string(),
                |delta| format!("{} {}", super::filters::signed(delta, 0), cost.currency),
            ),
        }));
        all.push(json!({
            "what": "Labour, h",
            "was": format!("{:.1}", was.hours),
            "is": format!("{:.1}", is.hours),
            "change": cost.delta_hours().map_or_else(
                || "not comparable".to_string(),
                |delta| super::filters::signed(delta, 1),
            ),
        }));
    }
    all
}

/// Recipes whose stack differs, drawn before and after; and the names of those that are not drawn.
fn stacks(change: &ChangeInput<'_>) -> (Vec<Value>, Vec<String>) {
    let ids: BTreeSet<&String> = change.base.recipes.keys().chain(change.head.recipes.keys()).collect();
    let mut changed: Vec<(&String, Option<Stack>, Option<Stack>)> = Vec::new();
    for id in ids {
        let of = |ledger: &Ledger| ledger.recipes.contains_key(id).then(|| stack(ledger, id).ok()).flatten();
        let (was, is) = (of(change.base), of(change.head));
        if was != is {
            changed.push((id, was, is));
        }
    }
    let on = |id: &str| -> Vec<&String> {
        let uses = |zone: &crate::record::Zone| zone.recipe.as_ref().is_some_and(|own| own.id() == id);
        let panels = change.head.panels.iter().filter(|(_, panel)| panel.value.zones.iter().any(uses));
        panels.map(|(id, _)| id).collect()
    };
    // What flies comes first; what no panel uses last.
    changed.sort_by_cached_key(|(id, _, _)| (std::cmp::Reverse(on(id).len()), (*id).clone()));
    let more = changed.iter().skip(STACKS_SHOWN).map(|(id, _, _)| (*id).clone()).collect();
    let layers = |own: &Option<Stack>| own.as_ref().map_or(0, |own| own.layers.len());
    let shown = || changed.iter().take(STACKS_SHOWN);
    let all: usize = shown().map(|(_, was, is)| layers(was) + layers(is)).sum();
    let drawings = shown().map(|(_, was, is)| usize::from(was.is_some()) + usize::from(is.is_some())).sum();
    let rows = if all > ROWS { ROWS / std::cmp::max(drawings, 1) } else { ROWS };
    let drawn = changed.into_iter().take(STACKS_SHOWN).map(|(id, was, is)| {
        let figures: Vec<Value> = match (was, is) {
            (Some(was), Some(is)) => {
                let differs = marks(&was, &is).1.iter().any(|mark| *mark != Mark::Same)
                    || was.layers.len() != is.layers.len();
                let names = if differs {
                    ("Before", "After")
                } else {
                    ("Before", "After: the same layers, other masses")
                };
                pair(&was, &is, id, names).map(|own| shortened(own, rows).json()).to_vec()
            }
            (Some(own), None) | (None, Some(own)) => vec![shortened(alone(&own, id), rows).json()],
            (None, None) => Vec::new(),
        };
        json!({ "recipe": id, "panels": on(id), "figures": figures })
    });
    (drawn.collect(), more)
}

/// A drawing of a stack with no more rows behind it: layers that change first.
fn shortened(mut own: Figure, most: usize) -> Figure {
    if own.rows.len() <= most {
        return own;
    }
    let changes = |row: &Vec<String>| row.last().is_some_and(|mark| !mark.is_empty());
    let mut places: Vec<usize> = (0..own.rows.len()).collect();
    places.sort_by_key(|at| !own.rows.get(*at).is_some_and(changes));
    let kept: BTreeSet<usize> = places.into_iter().take(most).collect();
    own.left = own.rows.len() - kept.len();
    let mut at = 0..;
    own.rows.retain(|_| at.next().is_some_and(|at| kept.contains(&at)));
    own
}

/// Paint that differs, before and after: of zones that get another finish, and finishes that are changed themselves.
fn paint(change: &ChangeInput<'_>) -> Vec<Value> {
    let mut pairs: BTreeMap<(&str, &str), BTreeSet<&str>> = BTreeMap::new();
    for (id, panel) in &change.head.panels {
        let Some(before) = change.base.panels.get(id) else { continue };
        for zone in &panel.value.zones {
            let Some(was) = before.value.zones.iter().find(|own| own.name == zone.name) else { continue };
            let (Some(was), Some(is)) = (&was.finish, &zone.finish) else { continue };
            let of = |ledger: &'_ Ledger, id: &str| ledger.finishes.get(id).map(|own| own.value.clone());
            if was.id() != is.id() || of(change.base, was.id()) != of(change.head, is.id()) {
                pairs.entry((was.id(), is.id())).or_default().insert(id);
            }
        }
    }
    let drawn = pairs.into_iter().take(STACKS_SHOWN).filter_map(|((was, is), panels)| {
        let (before, after) = (&change.base.finishes.get(was)?.value, &change.head.finishes.get(is)?.value);
        // One scale for both.
        let thickest = most(before).max(most(after));
        let (before, after) = (coats_beside(before, thickest)?, coats_beside(after, thickest)?);
        let named = |word: &str, id: &str, mut own: Figure| {
            own.caption = format!("{word}: finish {id}. {}", own.caption);
            own.json()
        };
        let figures = [named("Before", was, before), named("After", is, after)];
        Some(json!({ "was": was, "is": is, "panels": panels, "figures": figures }))
    });
    drawn.collect()
}

/// A decision as its sheet names it.
fn decision(entry: &Entry<Decision>, ledger: &Ledger, today: Day) -> Value {
    let own = &entry.value;
    json!({
        "id": entry.id,
        "status": own.status.to_string(),
        "raised": own.raised.map(|day| day.to_string()),
        "owner": own.owner,
        "needs": super::decision::needs(own, ledger, today),
        "why": own.why,
        "options": own.options.iter().map(|one| words(&json!(one))).collect::<Vec<_>>(),
        "approvals": own.approvals.iter().map(|one| json!({
            "role": one.role.to_string(),
            "name": one.by.as_ref().map(ToString::to_string),
            "on": super::decision::given_on(one, today),
        })).collect::<Vec<_>>(),
    })
}

/// A free value in words: `key: value, key: value`.
pub(super) fn words(value: &Value) -> String {
    match value {
        Value::Null => "none".to_string(),
        Value::String(text) => text.clone(),
        Value::Array(all) => all.iter().map(words).collect::<Vec<_>>().join(", "),
        Value::Object(map) => {
            map.iter().map(|(key, value)| format!("{key}: {}", words(value))).collect::<Vec<_>>().join(", ")
        }
        other => other.to_string(),
    }
}
