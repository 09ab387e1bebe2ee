//! What a change does, as JSON and as text.

use super::cost;
use super::head::CAUTION_LINE;
use super::joint;
use super::margins;
use super::mass::{POUND, balance_words, decimals, moment_words};
use super::page::{Frame, Page, count};
use super::plan::{plan_json, write_plan};
use super::reason::{Block, reasons_json, write_blocks};
use super::table::{Align, Table};
use crate::article::Subject;
use crate::article::weigh::Budgeted;
use crate::change::budget::OverBudget;
use crate::change::impact::{DutyRow, Impact};
use crate::change::joint::Joint;
use crate::change::margins::MarginMove;
use crate::change::weaker::Weaker;
use crate::qualify::margins::Margin;
use crate::qualify::verdict::Verdict;
use crate::quantity::UnitSystem;
use crate::record::sensitivity::Asks;
use serde_json::{Value, json};

/// Rows shown of each list; `Frame::all` shows them all.
const PANELS_SHOWN: usize = 15;
const CHANGES_SHOWN: usize = 20;
const MARGINS_SHOWN: usize = 15;
const DUTIES_SHOWN: usize = 12;
const ENDED_SHOWN: usize = 12;
const ASSUMPTIONS_SHOWN: usize = 5;

/// Returns the impact as a document of schema `impact/1`: `design.md` section 9.
pub fn json(impact: &Impact) -> Value {
    let (was_kg, is_kg) = impact.mass;
    let mut changes: Vec<_> = impact.changes.iter().collect();
    changes.sort_by(|one, two| {
        (&one.address, &one.attribute, &one.was, &one.is).cmp(&(
            &two.address,
            &two.attribute,
            &two.was,
            &two.is,
        ))
    });
    let mut panels: Vec<_> = impact.panels.iter().collect();
    panels.sort_by(|one, two| one.panel.cmp(&two.panel));
    let mut duties: Vec<_> = impact.duties.iter().collect();
    duties.sort_by(|one, two| (&one.showing, &one.subject).cmp(&(&two.showing, &two.subject)));
    let mut rows: Vec<_> = impact.panel_rows.iter().collect();
    rows.sort_by(|one, two| {
        (&one.showing, &one.subject, &one.panel).cmp(&(&two.showing, &two.subject, &two.panel))
    });
    let mut ended: Vec<_> = impact.ended.iter().collect();
    ended.sort();
    json!({
        "schema": "impact/1",
        "base": impact.base,
        "head": impact.head,
        "verdict": impact.verdict,
        "changes": changes.iter().map(|change| json!({
            "address": change.address,
            "attribute": change.attribute,
            "was": change.was,
            "is": change.is,
            "facet": change.facet,
            "class": change.class,
        })).collect::<Vec<_>>(),
        "weakened": impact.weaker.iter().map(weaker_json).collect::<Vec<_>>(),
        "mass": { "was_kg": was_kg, "is_kg": is_kg, "delta_kg": is_kg - was_kg },
        "panels": panels.iter().map(|row| json!({
            "panel": row.panel,
            "delta_kg": row.delta,
        })).collect::<Vec<_>>(),
        "balance": impact.balance.iter().map(|row| json!({
            "panel": row.panel,
            "was_kg_m": row.was.map(|was| was.moment_kg_m),
            "is_kg_m": row.now.map(|now| now.moment_kg_m),
            "limit_kg_m": row.now.and_then(|now| now.limit_kg_m),
            "ok": row.now.and_then(|now| now.ok),
        })).collect::<Vec<_>>(),
        "over_budget": over_json(&impact.over),
        "cost": cost::move_json(impact.cost.as_ref()),
        "margins": impact.margins.iter().map(margin_json).collect::<Vec<_>>(),
        "duties": duties.iter().map(|row| duty_json(row)).collect::<Vec<_>>(),
        "ended": ended.iter().map(|(showing, subject, was)| json!({
            "showing": showing,
            "subject": subject.to_string(),
            "was": was.word(),
            "now_subject": renewed(impact, showing, subject).map(ToString::to_string),
        })).collect::<Vec<_>>(),
        "retest": plan_json(&impact.retest),
        "panel_verdicts": rows.iter().map(|row| json!({
            "showing": row.showing,
            "subject": row.subject.to_string(),
            "panel": row.panel,
            "was": row.was.map(Verdict::word),
            "now": row.now.word(),
            "asks": row.asks.to_string(),
        })).collect::<Vec<_>>(),
        "assumptions": impact.assumptions,
        "grounded": impact.grounded,
        "caution": CAUTION_LINE,
    })
}

/// An edit that asks less, or may, as JSON.
pub(super) fn weaker_json(own: &Weaker) -> Value {
    json!({
        "address": own.address,
        "what": own.what,
        "was": own.was,
        "is": own.is,
        "why": own.why,
        "certain": own.certain,
    })
}

/// The subject in the same place that a duty is asked of instead, with the verdict as before.
fn renewed<'a>(impact: &'a Impact, showing: &str, subject: &Subject) -> Option<&'a Subject> {
    impact.renewed.get(&(showing.to_string(), subject.clone()))
}

fn margin_json(row: &MarginMove) -> Value {
    let of = |margin: &Option<Margin>| match margin {
        Some(margin) => margins::margin_json(margin),
        None => Value::Null,
    };
    json!({
        "panel": row.panel,
        "case": row.case,
        "was": row.was.as_ref().map(|margin| margin.margin),
        "is": row.now.as_ref().map(|margin| margin.margin),
        "was_margin": of(&row.was),
        "is_margin": of(&row.now),
        "lacking": row.lacking,
    })
}

fn duty_json(row: &DutyRow) -> Value {
    let mut panels: Vec<&String> = row.panels.iter().collect();
    panels.sort();
    json!({
        "showing": row.showing,
        "subject": row.subject.to_string(),
        "was_subject": row.was_subject.as_ref().map(ToString::to_string),
        "was": row.was.map(Verdict::word),
        "was_asks": row.was_asks.map(Asks::word),
        "now": row.now.word(),
        "asks": row.asks.to_string(),
        "because": reasons_json(&row.because),
        "own": reasons_json(&row.own),
        "panels": panels,
    })
}

/// Under which heading a duty is shown; every duty has one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Group {
    Lapsed,
    Failed,
    Open,
    Short,
    AsksMore,
    AsksElse,
    MetAgain,
    MetNow,
    ConcededNow,
    NewMet,
    NewConceded,
    ClosedElse,
}

impl Group {
    pub(super) const ALL: [Group; 12] = [
        Group::Lapsed,
        Group::Failed,
        Group::Open,
        Group::Short,
        Group::AsksMore,
        Group::AsksElse,
        Group::MetAgain,
        Group::MetNow,
        Group::ConcededNow,
        Group::NewMet,
        Group::NewConceded,
        Group::ClosedElse,
    ];

    pub(super) fn of(row: &DutyRow) -> Self {
        match (row.was, row.now) {
            (Some(was), now) if was == now && row.is_worse() => Group::AsksMore,
            (Some(was), now) if was == now || row.is_reworded() => Group::AsksElse,
            (_, Verdict::Lapsed) => Group::Lapsed,
            (_, Verdict::Failed) => Group::Failed,
            (_, Verdict::Open) => Group::Open,
            (_, Verdict::Short) => Group::Short,
            (None, Verdict::Met) => Group::NewMet,
            (None, Verdict::Conceded) => Group::NewConceded,
            (Some(was), Verdict::Met | Verdict::Conceded) if was.is_closed() => Group::ClosedElse,
            _ if row.is_met_now() => Group::MetNow,
            (Some(_), Verdict::Met) => Group::MetAgain,
            (Some(_), Verdict::Conceded) => Group::ConcededNow,
        }
    }

    pub(super) fn title(self) -> &'static str {
        match self {
            Group::Lapsed => "Lapsed",
            Group::Failed => "Failed",
            Group::Open => "Open",
            Group::Short => "Short",
            Group::AsksMore => "Not met before, asking more now",
            Group::AsksElse => "Not met before, and no worse now",
            Group::MetAgain => "Met again",
            Group::MetNow => "Met now, and open or short before",
            Group::ConcededNow => "Conceded now, and not met or conceded before",
            Group::NewMet => "New and met",
            Group::NewConceded => "New and conceded",
            Group::ClosedElse => "Met or conceded before and still, in another way",
        }
    }
}

/// Returns the impact as text: the paragraph, mass, edits, duties, the plan, what is assumed, the caution.
pub fn text(impact: &Impact, frame: &Frame) -> String {
    text_of(impact, None, frame)
}

/// Returns the impact of several changes as text, with what is so only together before everything else.
///
/// `joint` comes with the changes as the reader knows them.
pub fn text_of(impact: &Impact, joint: Option<(&Joint, &[String])>, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.paragraph(&impact.verdict);
    if let Some((joint, names)) = joint {
        joint::write(&mut page, joint, names);
    }
    write_weaker(&mut page, impact);
    write_mass(&mut page, impact);
    write_balance(&mut page, impact);
    cost::write_move(&mut page, impact.cost.as_ref());
    write_margins(&mut page, impact);
    write_changes(&mut page, impact);
    for group in Group::ALL {
        write_group(&mut page, impact, group);
    }
    write_ended(&mut page, impact);
    write_panel_rows(&mut page, impact);
    if !impact.retest.steps.is_empty() {
        page.heading("To prove it again");
        write_plan(&mut page, &impact.retest);
    }
    write_assumptions(&mut page, impact);
    page.finish_with_caution()
}

/// All that asks less, where the paragraph names only the first.
fn write_weaker(page: &mut Page<'_>, impact: &Impact) {
    if impact.weaker.len() < 2 {
        return;
    }
    page.heading(&format!("Requirements that ask less, or may ({})", impact.weaker.len()));
    let shown = page.frame.shown(impact.weaker.len(), CHANGES_SHOWN);
    for one in impact.weaker.iter().take(shown) {
        page.hang("  - ", "    ", &one.words());
    }
    if shown < impact.weaker.len() {
        page.paragraph(&format!("… and {} more; --all shows them", impact.weaker.len() - shown));
    }
}

fn write_mass(page: &mut Page<'_>, impact: &Impact) {
    let mut panels: Vec<_> = impact.panels.iter().collect();
    if panels.is_empty() {
        return;
    }
    panels.sort_by(|one, two| {
        two.delta.abs().total_cmp(&one.delta.abs()).then_with(|| one.panel.cmp(&two.panel))
    });
    let (unit, factor) = match page.frame.units {
        UnitSystem::Si => ("kg", 1.0),
        UnitSystem::Imperial => ("lb", POUND),
    };
    let signed = |kg: f64| {
        let text = decimals(kg / factor, 3);
        let plus = !text.starts_with('-') && text.chars().any(|c| c.is_ascii_digit() && c != '0');
        if plus { format!("+{text}") } else { text }
    };
    page.heading("Mass by panel, all counted pieces");
    let mut table = Table::new([("panel", Align::Left), (unit, Align::Right)]);
    let shown = page.frame.shown(panels.len(), PANELS_SHOWN);
    for row in panels.iter().take(shown) {
        table.row([row.panel.clone(), signed(row.delta)]);
    }
    let rest: f64 = panels.iter().skip(shown).map(|row| row.delta).sum();
    if shown < panels.len() {
        table.row([format!("{} more", panels.len() - shown), signed(rest)]);
    }
    table.rule();
    // The whole may move by more than its panels: assemblies list parts too.
    table.row(["programme".to_string(), signed(impact.mass.1 - impact.mass.0)]);
    page.table(&table);
}

/// What is over its budget; `group` has the name, of a group or of an assembly as `of` says.
pub(super) fn over_json(all: &[OverBudget]) -> Vec<Value> {
    let one = |own: &OverBudget| {
        let (name, of) = match &own.of {
            Budgeted::Group(name) => (name, "group"),
            Budgeted::Assembly(id) => (id, "assembly"),
        };
        json!({ "group": name, "of": of, "over_kg": own.over_kg, "was_over_kg": own.was_over_kg })
    };
    all.iter().map(one).collect()
}

fn write_balance(page: &mut Page<'_>, impact: &Impact) {
    if impact.balance.is_empty() {
        return;
    }
    let units = page.frame.units;
    page.heading("Balance of movable surfaces");
    for one in &impact.balance {
        let words = match (&one.was, &one.now) {
            (Some(was), Some(now)) => {
                format!("was {}, now {}", moment_words(was.moment_kg_m, units), balance_words(now, units))
            }
            (None, Some(now)) => format!("new, {}", balance_words(now, units)),
            (_, None) => "no longer asked".to_string(),
        };
        page.hang("  ", "    ", &format!("{}: {words}", one.panel));
    }
}

fn write_margins(page: &mut Page<'_>, impact: &Impact) {
    let rows = &impact.margins;
    if rows.is_empty() {
        return;
    }
    page.heading("Margins of safety, the least of each load case");
    let mut table = Table::new([
        ("panel", Align::Left),
        ("case", Align::Left),
        ("was", Align::Right),
        ("is", Align::Right),
        ("governs now", Align::Left),
    ]);
    let shown = page.frame.shown(rows.len(), MARGINS_SHOWN);
    for row in rows.iter().take(shown) {
        table.row(margins::moved_cells(row));
    }
    page.table(&table);
    if shown < rows.len() {
        page.paragraph(&format!("… and {} more; --all shows them", rows.len() - shown));
    }
}

fn write_changes(page: &mut Page<'_>, impact: &Impact) {
    if impact.changes.is_empty() {
        return;
    }
    page.heading(&format!("Edits ({})", impact.changes.len()));
    let shown = page.frame.shown(impact.changes.len(), CHANGES_SHOWN);
    for change in impact.changes.iter().take(shown) {
        let none = || "nothing".to_string();
        let mut words = format!(
            "{}: {} → {}",
            change.address,
            change.was.clone().unwrap_or_else(none),
            change.is.clone().unwrap_or_else(none)
        );
        let about: Vec<&str> = change.facet.as_deref().into_iter().chain(change.class).collect();
        if !about.is_empty() {
            words.push_str(&format!(" ({})", about.join(", ")));
        }
        page.hang("  ", "    ", &words);
    }
    let left = impact.changes.len() - shown;
    if left > 0 {
        page.paragraph(&format!("… and {left} more edits; --all shows them"));
    }
}

fn write_group(page: &mut Page<'_>, impact: &Impact, group: Group) {
    let rows: Vec<&DutyRow> = impact.duties.iter().filter(|row| Group::of(row) == group).collect();
    if rows.is_empty() {
        return;
    }
    page.heading(&format!("{} ({})", group.title(), rows.len()));
    let blocks: Vec<Block<'_>> = rows.iter().map(|row| block(row)).collect();
    write_blocks(page, &blocks, DUTIES_SHOWN, "duty");
}

fn block(row: &DutyRow) -> Block<'_> {
    let mut facts = vec![match row.was {
        Some(was) => format!("was {was}"),
        None => "new".to_string(),
    }];
    if row.asks > Asks::None {
        facts.push(format!("asks {}", row.asks));
    }
    if let Some(was) = &row.was_subject {
        facts.push(format!("in place of {was}"));
    }
    Block {
        verdict: row.now,
        showing: &row.showing,
        subject: row.subject.to_string(),
        facts,
        panels: &row.panels,
        because: &row.because,
        own: &row.own,
        closes: Vec::new(),
    }
}

fn write_ended(page: &mut Page<'_>, impact: &Impact) {
    let (moved, ended): (Vec<_>, Vec<_>) =
        impact.ended.iter().partition(|(showing, subject, _)| renewed(impact, showing, subject).is_some());
    let mut list = |title: &str, rows: &[&(String, Subject, Verdict)]| {
        if rows.is_empty() {
            return;
        }
        page.heading(&format!("{title} ({})", rows.len()));
        let shown = page.frame.shown(rows.len(), ENDED_SHOWN);
        for (showing, subject, was) in rows.iter().take(shown) {
            let words = match renewed(impact, showing, subject) {
                Some(now) => format!("{showing} {now} ({was}), in place of {subject}"),
                None => format!("{showing} {subject} (was {was})"),
            };
            page.hang("  ", "    ", &words);
        }
        if shown < rows.len() {
            page.paragraph(&format!("… and {} more; --all shows them", rows.len() - shown));
        }
    };
    list("Ended, no longer asked", &ended);
    list("Asked of another subject in the same place, verdict as before", &moved);
}

fn write_panel_rows(page: &mut Page<'_>, impact: &Impact) {
    let rows = &impact.panel_rows;
    if rows.is_empty() {
        return;
    }
    page.heading(&format!("Single panels, where the duty as a whole stays ({})", rows.len()));
    let shown = page.frame.shown(rows.len(), DUTIES_SHOWN);
    for row in rows.iter().take(shown) {
        let asks = if row.asks > Asks::None { format!(", asks {}", row.asks) } else { String::new() };
        let was = row.was.map_or_else(|| "is new to it".to_string(), |was| format!("was {was}"));
        page.verdict(row.now, &format!("panel/{} {was}{asks}: {} {}", row.panel, row.showing, row.subject));
    }
    if shown < rows.len() {
        page.paragraph(&format!("… and {} more; --all shows them", rows.len() - shown));
    }
}

fn write_assumptions(page: &mut Page<'_>, impact: &Impact) {
    let all = &impact.assumptions;
    if all.is_empty() {
        return;
    }
    page.heading(&format!("Assumed from now on: {}", count(all.len(), "assumption")));
    let shown = page.frame.shown(all.len(), ASSUMPTIONS_SHOWN);
    for one in all.iter().take(shown) {
        page.hang("  - ", "    ", one);
    }
    if shown < all.len() {
        page.hang("  - ", "    ", &format!("… {} more", all.len() - shown));
    }
}

#[cfg(test)]
pub(super) mod tests;
