//! What is not met yet, as JSON and as text.

use super::head::CAUTION_LINE;
use super::page::{Frame, Page, count, shape};
use super::plan::{money, write_plan};
use super::reason::{Block, reasons_json, write_blocks};
use super::trials::{trials_json, write_due};
use crate::qualify::gaps::{ClosesWith, Gap, Gaps};
use crate::qualify::next::{NextTest, SinglePoint};
use crate::qualify::retest::{RetestPlan, StepKind};
use crate::qualify::trial::TrialState;
use crate::qualify::verdict::{DutyKey, Verdict};
use crate::record::sensitivity::Asks;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Duties shown of one milestone; `Frame::all` shows them all.
const DUTIES_SHOWN: usize = 20;
/// Showings and records that are named in one sentence.
const NAMES_SHOWN: usize = 6;
/// Verdicts in the order in which their counts are said.
const ORDER: [Verdict; 6] =
    [Verdict::Met, Verdict::Conceded, Verdict::Short, Verdict::Lapsed, Verdict::Open, Verdict::Failed];

/// Returns the gaps as a document of schema `gaps/1`: `design.md` section 9.
///
/// `trials`: exposure trials, with the readings that are due.
pub fn json(gaps: &Gaps, trials: &[TrialState]) -> Value {
    json!({
        "schema": "gaps/1",
        "milestone": gaps.milestone,
        "duties": gaps.duties.iter().map(gap_json).collect::<Vec<_>>(),
        "counts": gaps.counts,
        "asked_of_nothing": gaps.asked_of_nothing,
        "altered": gaps.altered.iter().map(|(id, all)| (id.clone(), all.len())).collect::<BTreeMap<_, _>>(),
        "trials": trials_json(trials),
        "caution": CAUTION_LINE,
    })
}

fn gap_json(gap: &Gap) -> Value {
    json!({
        "showing": gap.showing,
        "subject": gap.subject.to_string(),
        "verdict": gap.verdict.word(),
        "asks": gap.asks.to_string(),
        "needed_by": gap.needed_by,
        "panels": gap.panels,
        "because": reasons_json(&gap.because),
        "closes_with": closes_json(&gap.closes_with),
    })
}

fn closes_json(closes: &ClosesWith) -> Value {
    json!({
        "kind": closes.kind.map(StepKind::word),
        "specimens": closes.specimens,
        "panels": closes.panels,
        "weeks": closes.weeks,
        "cost": closes.cost,
        "missing": closes.missing,
        "prerequisites": closes.prerequisites,
        "ways": closes.ways,
    })
}

/// Returns the gaps as text by milestone: what, why, what closes it. `together` is the plan for all of
/// them, where it was asked for: tests are shared, so it is not the sum of what closes each.
///
/// `next`: the tests ranked and the single points, in place of the duties one by one.
pub fn text(
    gaps: &Gaps,
    together: Option<&RetestPlan>,
    trials: &[TrialState],
    next: Option<(&[NextTest], &[SinglePoint])>,
    frame: &Frame,
) -> String {
    let mut page = Page::new(frame);
    page.paragraph(&opening(gaps));
    if gaps.unknown_milestone {
        let name = gaps.milestone.as_deref().unwrap_or_default();
        page.paragraph(&format!("The ledger lists no milestone `{name}`, so nothing is left out."));
    }
    for words in [altered(&gaps.altered), of_nothing(&gaps.asked_of_nothing)].into_iter().flatten() {
        page.paragraph(&words);
    }
    if let Some((tests, points)) = next {
        super::next::write(&mut page, tests, points);
        return page.finish_with_caution();
    }
    let mut shared = ways(gaps);
    // What is open to several duties is said once, below them.
    shared.retain(|_, n| *n > 1);
    let mut rest = gaps.duties.as_slice();
    while let Some(first) = rest.first() {
        let same = rest.iter().take_while(|gap| gap.needed_by == first.needed_by).count();
        let (group, after) = rest.split_at(same);
        rest = after;
        let title = match &first.needed_by {
            Some(milestone) => format!("Needed by {milestone} ({same})"),
            None => format!("Needed by no milestone ({same})"),
        };
        page.heading(&title);
        let blocks: Vec<Block<'_>> = group.iter().map(|gap| block(gap, &shared, frame)).collect();
        write_blocks(&mut page, &blocks, DUTIES_SHOWN, "duty");
    }
    match together.filter(|plan| !plan.steps.is_empty()) {
        Some(plan) => {
            page.heading("What closes them together");
            write_plan(&mut page, plan);
        }
        None if !shared.is_empty() => {
            page.heading("Ways without a test, open to several");
            let said = |(way, n): (&&str, &usize)| format!("{way} ({})", count(*n, "duty"));
            let all: Vec<String> = shared.iter().map(said).collect();
            for way in &all {
                page.hang("  - ", "    ", way);
            }
        }
        None => {}
    }
    write_due(&mut page, trials);
    page.finish_with_caution()
}

/// Says which evidence that counts has other data now than it was conformed with.
fn altered(all: &BTreeMap<String, Vec<DutyKey>>) -> Option<String> {
    let named = named(all.iter().map(|(id, own)| format!("evidence/{id} ({})", count(own.len(), "duty"))));
    (!all.is_empty()).then(|| {
        format!(
            "Closed on data that are no longer the bytes that were conformed: {named}. `bondline check` says what mends it."
        )
    })
}

/// The first of some names, and how many more there are.
fn named(all: impl ExactSizeIterator<Item = String>) -> String {
    let left = all.len().saturating_sub(NAMES_SHOWN);
    let shown = all.take(NAMES_SHOWN).collect::<Vec<_>>().join(", ");
    if left == 0 { shown } else { format!("{shown} and {left} more") }
}

/// Says which showings no duty comes of: a word in `applies_to` that fits nothing looks like nothing left to be shown.
fn of_nothing(showings: &[String]) -> Option<String> {
    let all = named(showings.iter().cloned());
    match showings.len() {
        0 => None,
        1 => Some(format!("One showing is asked of nothing in use, so no duty comes of it: {all}.")),
        n => Some(format!("{n} showings are asked of nothing in use, so no duty comes of them: {all}.")),
    }
}

fn opening(gaps: &Gaps) -> String {
    let of = |verdict: Verdict| gaps.counts.get(verdict.word()).copied().unwrap_or(0);
    let all: usize = gaps.counts.values().sum();
    let parts: Vec<String> = ORDER
        .into_iter()
        .filter(|verdict| of(*verdict) > 0)
        .map(|verdict| format!("{} {} {verdict}", shape(verdict), of(verdict)))
        .collect();
    if parts.is_empty() {
        return "The ledger asks for nothing: there is no duty.".to_string();
    }
    let until = gaps.milestone.as_ref().map_or_else(String::new, |name| format!(" until {name}"));
    let open = gaps.duties.iter().filter(|gap| gap.verdict != Verdict::Met).count();
    let conceded = gaps.duties.iter().filter(|gap| gap.verdict == Verdict::Conceded).count();
    let of_them = match (open, conceded) {
        (_, 0) => String::new(),
        (1, _) => ", and conceded".to_string(),
        (_, 1) => ", of which 1 is conceded".to_string(),
        (_, n) => format!(", of which {n} are conceded"),
    };
    let tail = match open {
        0 => format!("Nothing is left to be shown{until}."),
        1 => format!("One duty{until} is not met{of_them}."),
        n => format!("{}{until} are not met{of_them}.", count(n, "duty")),
    };
    format!("{}: {}. {tail}", count(all, "duty"), parts.join(", "))
}

/// Ways without a test, with how many of the duties each is open to.
fn ways(gaps: &Gaps) -> BTreeMap<&str, usize> {
    let mut all = BTreeMap::new();
    for way in gaps.duties.iter().flat_map(|gap| &gap.closes_with.ways) {
        *all.entry(way.as_str()).or_default() += 1;
    }
    all
}

fn block<'a>(gap: &'a Gap, shared: &BTreeMap<&str, usize>, frame: &Frame) -> Block<'a> {
    let facts = if gap.asks > Asks::None { vec![format!("asks {}", gap.asks)] } else { Vec::new() };
    Block {
        verdict: gap.verdict,
        showing: &gap.showing,
        subject: gap.subject.to_string(),
        facts,
        panels: &gap.panels,
        because: &gap.because,
        own: &[],
        closes: closes_words(gap, shared, frame),
    }
}

fn closes_words(gap: &Gap, shared: &BTreeMap<&str, usize>, frame: &Frame) -> Vec<String> {
    let closes = &gap.closes_with;
    let mut all = Vec::new();
    match closes.kind {
        None if gap.verdict == Verdict::Conceded => {
            all.push("held by its concession; to be met before that ends".to_string());
        }
        None => {}
        Some(StepKind::RestsOn) => all.push("closes when what it rests on is met".to_string()),
        Some(StepKind::NoTest) => {
            all.push("no test closes it: the criterion or the design has to move".to_string())
        }
        Some(StepKind::Analysis) => all.push(format!(
            "closes with a desk analysis, {:.1} weeks; {}",
            closes.weeks,
            money(closes.cost, &frame.currency)
        )),
        Some(kind) => all.push(format!(
            "closes with {}: {} from {}, {:.1} weeks, {}",
            match kind {
                StepKind::Equivalence => "an equivalence test",
                _ => "a test",
            },
            count(closes.specimens as usize, "specimen"),
            count(closes.panels as usize, "panel"),
            closes.weeks,
            money(closes.cost, &frame.currency)
        )),
    }
    if !closes.missing.is_empty() {
        all.push(format!("the cost lacks: {}", closes.missing.join(", ")));
    }
    if !closes.prerequisites.is_empty() {
        all.push(format!("first, and counted in: {}", closes.prerequisites.join(", ")));
    }
    let own = closes.ways.iter().filter(|way| !shared.contains_key(way.as_str()));
    let own: Vec<&str> = own.map(String::as_str).collect();
    if !own.is_empty() {
        all.push(format!("or: {}", own.join("; ")));
    }
    all
}

#[cfg(test)]
mod tests;
