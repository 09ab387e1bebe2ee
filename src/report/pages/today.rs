//! The sheet of the programme today.

use super::budgets::budgets;
use super::change::mass_steps;
use super::registers::early_failures;
use super::tables::Page;
use super::{Sheet, Site};
use crate::article::Configurator;
use crate::article::weigh::MassStatement;
use crate::ledger::Ledger;
use crate::qualify::gaps::{Gap, Gaps, GapsOptions, gaps};
use crate::qualify::next::next_tests;
use crate::qualify::retest::{RetestPlan, plan_with};
use crate::qualify::verdict::{DutyKey, Evaluation, Verdict};
use crate::report::faults;
use crate::report::mass::decimals;
use crate::report::page::count;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Tests that are named as the next.
const NEXT_SHOWN: usize = 6;
/// Beyond this many open duties tests are not ranked: the ranking plans each of them on its own.
const RANKED: usize = 250;
/// Verdicts other than met, the gravest first.
const NOT_MET: [Verdict; 5] =
    [Verdict::Failed, Verdict::Lapsed, Verdict::Short, Verdict::Open, Verdict::Conceded];

/// Returns template, title and context.
pub(super) fn context(site: &Site<'_>) -> (&'static str, String, Page) {
    let inputs = &site.inputs;
    let (ledger, evaluation) = (inputs.ledger, inputs.evaluation);
    let found = gaps(ledger, evaluation, &GapsOptions::default());
    let statement = site.known.statement.as_ref().ok();
    let mut plans = Plans::new(ledger, evaluation);
    let milestones = milestones(site, &found.duties, &mut plans);
    let mut all = Map::new();
    let mut put = |name: &str, value: Value| all.insert(name.to_string(), value);
    put("opening", json!(opening(site, statement, &found, &mut plans)));
    put("left_out", json!(inputs.left_out));
    put("faults", faults::json(&inputs.faults).get("faults").cloned().unwrap_or_default());
    put("budget", json!(statement.and_then(budgets).map(|figure| figure.json())));
    put("words", json!(NOT_MET.map(Verdict::word)));
    put("milestones", Value::Array(milestones));
    put("next", Value::Array(next(site, &found)));
    put("unranked", json!(if found.duties.len() > RANKED { found.duties.len() } else { 0 }));
    let unshown =
        inputs.unshown.iter().map(|(id, title, why)| json!({ "id": id, "title": title, "why": why }));
    put("unshown", unshown.collect());
    let changes = inputs.changes.iter().enumerate().map(|(at, change)| {
        json!({
            "file": site.file(&Sheet::Change(at)), "title": change.title, "verdict": change.impact.verdict,
        })
    });
    put("changes", changes.collect());
    put(
        "since",
        inputs.since.as_ref().map_or(Value::Null, |since| {
            json!({
                "milestone": since.milestone,
                "verdict": since.impact.verdict,
                "drawing": mass_steps(&since.impact, "", ledger).map(|figure| figure.json()),
            })
        }),
    );
    ("today.html", "The programme today".to_string(), all.into())
}

/// Plans of what closes some duties, each made once: what the next milestone lacks is often all that is lacking, or what
/// it needs itself.
struct Plans<'a> {
    ledger: &'a Ledger,
    evaluation: &'a Evaluation,
    configurator: Configurator<'a>,
    made: BTreeMap<BTreeSet<DutyKey>, RetestPlan>,
}

impl<'a> Plans<'a> {
    fn new(ledger: &'a Ledger, evaluation: &'a Evaluation) -> Self {
        Self { ledger, evaluation, configurator: Configurator::new(ledger), made: BTreeMap::new() }
    }

    fn of<'g>(&mut self, open: impl Iterator<Item = &'g Gap>) -> &RetestPlan {
        let keys: BTreeSet<DutyKey> = open.map(Gap::key).collect();
        self.made.entry(keys).or_insert_with_key(|keys| {
            let keys: Vec<DutyKey> = keys.iter().cloned().collect();
            plan_with(self.ledger, &self.configurator, self.evaluation, &keys)
        })
    }
}

/// What each milestone needs beside those before it; duties without one come last.
fn milestones(site: &Site<'_>, open: &[Gap], plans: &mut Plans<'_>) -> Vec<Value> {
    let head = site.inputs.ledger.head.as_ref();
    let names: Vec<&str> = head.iter().flat_map(|head| &head.milestones).map(|name| name.as_str()).collect();
    let reached = head.and_then(|head| head.reached.as_ref()).map(|name| name.as_str());
    let reached = names.iter().position(|name| Some(*name) == reached);
    let mut row = |name: &str, is_reached: bool, own: Vec<&Gap>| -> Value {
        let open: Vec<&&Gap> = own.iter().filter(|gap| !gap.verdict.is_closed()).collect();
        let mut counts: BTreeMap<&str, usize> = NOT_MET.iter().map(|verdict| (verdict.word(), 0)).collect();
        for gap in &own {
            *counts.entry(gap.verdict.word()).or_default() += 1;
        }
        let plan = plans.of(open.iter().map(|gap| **gap));
        json!({
            "name": name, "reached": is_reached, "not_met": open.len(), "counts": counts,
            "weeks": plan.weeks, "critical_path": plan.critical_path,
        })
    };
    let mut all: Vec<Value> = names
        .iter()
        .enumerate()
        .map(|(at, name)| {
            let own = open.iter().filter(|gap| gap.needed_by.as_deref() == Some(*name)).collect();
            row(name, reached.is_some_and(|reached| at <= reached), own)
        })
        .collect();
    let rest: Vec<&Gap> =
        open.iter().filter(|gap| gap.needed_by.as_deref().is_none_or(|by| !names.contains(&by))).collect();
    if !rest.is_empty() {
        all.push(row("no milestone", false, rest));
    }
    all
}

fn next(site: &Site<'_>, found: &Gaps) -> Vec<Value> {
    if found.duties.len() > RANKED {
        return Vec::new();
    }
    let tests = next_tests(site.inputs.ledger, site.inputs.evaluation, found).unwrap_or_default();
    let row = |test: &crate::qualify::next::NextTest| {
        json!({
            "showing": test.showing,
            "build": test.build.to_string(),
            "kind": test.kind.word(),
            "weeks": test.plan.weeks,
            "cost": test.plan.cost,
            "closes": count(test.closes.len(), "duty"),
            "panels": test.panels.iter().map(|part| part.name.clone()).collect::<Vec<_>>(),
        })
    };
    tests.iter().take(NEXT_SHOWN).map(row).collect()
}

/// What the first milestone that is not reached lacks, as `gaps --milestone` counts it: what it needs itself and what
/// those before it need.
fn ahead(site: &Site<'_>, found: &Gaps, plans: &mut Plans<'_>) -> Option<String> {
    let ledger = site.inputs.ledger;
    let next = ledger.next_milestone()?;
    let found = found.up_to(ledger, next);
    let open = || found.duties.iter().filter(|gap| !gap.verdict.is_closed());
    let lacks = open().count();
    if lacks == 0 {
        return Some(format!(
            "The next milestone is {next}: every duty that it asks for is met or conceded."
        ));
    }
    let plan = plans.of(open());
    Some(format!(
        "The next milestone is {next}: {} neither met nor conceded up to it, {} weeks if everything begins today.",
        count(lacks, "duty"),
        decimals(plan.weeks, 1)
    ))
}

/// The paragraph that the report begins with.
fn opening(
    site: &Site<'_>,
    statement: Option<&MassStatement>,
    found: &Gaps,
    plans: &mut Plans<'_>,
) -> String {
    let counts = &found.counts;
    let mut said = Vec::new();
    let is_whole = site.inputs.left_out.is_empty();
    if !is_whole {
        said.push(
            "Some records can't be read; what rests on them is left out, so that masses are the least and verdicts are those of the rest."
                .to_string(),
        );
    }
    match statement {
        Some(own) => {
            let total = &own.total;
            said.push(format!(
                "One aircraft's panels weigh {} kg, between {} and {} kg, and {} kg with the growth allowed for.",
                decimals(total.kg, 2),
                decimals(total.low_kg, 2),
                decimals(total.high_kg, 2),
                decimals(total.with_growth_kg, 2)
            ));
            let over: Vec<String> = own
                .groups
                .iter()
                .filter_map(|group| {
                    let margin = group.margin_with_growth_kg.filter(|margin| *margin < 0.0)?;
                    Some(format!("{} by {} kg", group.group, decimals(-margin, 2)))
                })
                .collect();
            let with_budget = own.groups.iter().filter(|group| group.budget_kg.is_some()).count();
            if !over.is_empty() {
                said.push(format!("With growth these groups exceed their budgets: {}.", over.join(", ")));
            } else if with_budget > 0 && is_whole {
                said.push("Every group with a budget keeps it with its growth.".to_string());
            }
        }
        None => said.push("The mass can't be worked out: records that it needs can't be read.".to_string()),
    }
    said.extend(early_failures(&site.known));
    let of = |word: &str| counts.get(word).copied().unwrap_or(0);
    let every: usize = counts.values().sum();
    if every == 0 {
        said.push("The ledger asks for nothing: there is no duty.".to_string());
        return said.join(" ");
    }
    let parts: Vec<String> = NOT_MET
        .iter()
        .filter(|verdict| of(verdict.word()) > 0)
        .map(|verdict| format!("{} {verdict}", of(verdict.word())))
        .collect();
    said.push(match parts.is_empty() {
        true => format!(
            "All {} {}are met.",
            count(every, "duty"),
            if is_whole { "" } else { "that can be judged " }
        ),
        false => format!("Of {} {} are met; {}.", count(every, "duty"), of("met"), parts.join(", ")),
    });
    said.extend(ahead(site, found, plans));
    said.join(" ")
}
