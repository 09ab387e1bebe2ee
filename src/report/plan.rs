//! A retest plan as JSON and as text.

use super::page::{Page, count};
use super::reason::names;
use crate::change::verdict_paragraph::thousands;
use crate::qualify::retest::{AttributeLimit, PlanStep, RetestPlan, StepKind};
use crate::qualify::verdict::DutyKey;
use serde_json::{Value, json};

/// Below this width a step is a sentence rather than a row.
const TABLE_FROM: usize = 72;
/// Steps, ways and assumptions shown.
const STEPS_SHOWN: usize = 20;
const LIST_SHOWN: usize = 8;
const CLOSES_SHOWN: usize = 4;

/// Returns a plan in the shape of `retest`.
pub(crate) fn plan_json(plan: &RetestPlan) -> Value {
    json!({
        "specimens": plan.specimens,
        "panels": plan.panels,
        "weeks": plan.weeks,
        "cost": plan.cost,
        "missing": plan.missing,
        // In its own order: first to last.
        "critical_path": plan.critical_path,
        "steps": plan.steps.iter().map(step_json).collect::<Vec<_>>(),
        "ways": plan.ways,
        "limits": plan.limits.iter().map(limit_json).collect::<Vec<_>>(),
        "equivalences": plan.chance.map(|(tests, chance)| json!({
            "tests": tests,
            "expected_chance_failures": chance.expected,
            "any_by_chance": chance.any,
        })),
        "assumptions": plan.assumptions,
    })
}

fn limit_json(limit: &AttributeLimit) -> Value {
    let duty = |(showing, subject): &DutyKey| json!({ "showing": showing, "subject": subject.to_string() });
    json!({
        "finish": limit.finish,
        "attribute": limit.attribute,
        "unit": if limit.attribute == "film-build.max" { "um" } else { "" },
        "now": limit.now,
        "largest": limit.largest,
        "restores": limit.restores.iter().map(duty).collect::<Vec<_>>(),
        "leaves": limit.leaves,
    })
}

fn step_json(step: &PlanStep) -> Value {
    let mut closes: Vec<String> = step.closes.iter().map(ToString::to_string).collect();
    closes.sort();
    json!({
        "showing": step.showing,
        "build": step.build.to_string(),
        "closes": closes,
        "kind": step.kind.word(),
        "specimens": step.specimens,
        "panels": step.panels,
        "shares": step.shares,
        "lead_weeks": step.lead_weeks,
        "layup_weeks": step.layup_weeks,
        "conditioning_weeks": step.conditioning_weeks,
        "conditioned_with": step.conditioned_with,
        "test_weeks": step.test_weeks,
        "start_week": step.start,
        "weeks": step.weeks,
        "power_one_sd": step.power.map(|power| power.one_sd),
        "cost": step.cost,
        "prerequisite": step.prerequisite,
    })
}

/// Returns a sum with its currency, or that it is not known.
pub(crate) fn money(cost: Option<f64>, currency: &str) -> String {
    cost.map_or_else(
        || "cost not known".to_string(),
        |cost| format!("{} {currency}", thousands(cost)).trim().to_string(),
    )
}

/// Writes a plan: rows, sums, the critical path, the ways without a test, what was assumed.
pub(crate) fn write_plan(page: &mut Page<'_>, plan: &RetestPlan) {
    if plan.steps.is_empty() {
        page.paragraph("Nothing has to be proved again.");
        return;
    }
    let shown = page.frame.shown(plan.steps.len(), STEPS_SHOWN);
    let wide = page.frame.columns() >= TABLE_FROM;
    if wide {
        page.line(&row(
            page.frame.columns(),
            "week",
            "showing",
            "kind",
            ["spec.", "panels", "weeks", "cost"],
        ));
        page.line(&"-".repeat(page.frame.columns()));
    }
    for step in plan.steps.iter().take(shown) {
        if wide {
            write_row(page, step);
        } else {
            write_sentence(page, step);
        }
    }
    let left = plan.steps.len() - shown;
    if left > 0 {
        page.paragraph(&format!("… and {left} more steps; --all shows them"));
    }
    if wide {
        page.line(&"-".repeat(page.frame.columns()));
    }
    page.paragraph(&format!(
        "In all {} from {}, {:.1} weeks, {}. Tests of one article share its panels and run side by side.",
        count(plan.specimens as usize, "specimen"),
        count(plan.panels as usize, "panel"),
        plan.weeks,
        money(plan.cost, &page.frame.currency)
    ));
    if let Some((tests, chance)) = plan.chance {
        let weakest = |either_way: bool| {
            let own = plan.steps.iter().filter_map(|step| step.power);
            own.filter(|power| power.either_way == either_way).map(|power| power.one_sd).reduce(f64::min)
        };
        let times = |power: f64| format!("{:.0} times in 100", power * 100.0);
        let mut found = Vec::new();
        found.extend(
            weakest(false)
                .map(|power| format!("a strength that fell by one standard deviation {}", times(power))),
        );
        found.extend(
            weakest(true).map(|power| {
                format!("a mean that moved by one standard deviation up or down {}", times(power))
            }),
        );
        let power = if found.is_empty() {
            String::new()
        } else {
            format!(" The weakest finds {}.", found.join(", and "))
        };
        page.paragraph(&format!(
            "Of {} that statistics decide, {:.2} fail by chance where nothing changed, at least one in {:.0} % of such plans; one repeat on \
             a new set of panels is allowed, with its reason.{power}",
            count(tests, "equivalence"),
            chance.expected,
            chance.any * 100.0
        ));
    }
    if !plan.missing.is_empty() {
        let missing = names(&plan.missing, page, LIST_SHOWN);
        page.hang("Not given: ", "  ", &missing);
    }
    if !plan.critical_path.is_empty() {
        page.hang("Critical path: ", "  ", &plan.critical_path.join(" → "));
    }
    list(page, "Ways without a test:", &plan.ways);
    list(page, "The plan assumes:", &plan.assumptions);
}

pub(crate) fn list(page: &mut Page<'_>, heading: &str, all: &[String]) {
    if all.is_empty() {
        return;
    }
    page.paragraph(heading);
    let shown = page.frame.shown(all.len(), LIST_SHOWN);
    for one in all.iter().take(shown) {
        page.hang("  - ", "    ", one);
    }
    if shown < all.len() {
        page.hang("  - ", "    ", &format!("… {} more", all.len() - shown));
    }
}

/// Columns: start week, showing, kind, specimens, panels, weeks, cost.
fn row(columns: usize, week: &str, showing: &str, kind: &str, numbers: [&str; 4]) -> String {
    let [specimens, panels, weeks, cost] = numbers;
    let flex = flex(columns);
    format!("{week:>5}  {showing:<flex$}  {kind:<11}  {specimens:>5}  {panels:>6}  {weeks:>5}  {cost:>8}")
}

fn flex(columns: usize) -> usize {
    columns.saturating_sub(5 + 11 + 5 + 6 + 5 + 8 + 2 * 6)
}

fn write_row(page: &mut Page<'_>, step: &PlanStep) {
    let columns = page.frame.columns();
    let cost = step.cost.map_or_else(|| "?".to_string(), thousands);
    let (specimens, panels) = (step.specimens.to_string(), step.panels.to_string());
    let weeks = format!("{:.1}", step.weeks);
    let numbers = [specimens.as_str(), panels.as_str(), weeks.as_str(), cost.as_str()];
    let week = format!("{:.1}", step.start);
    if step.showing.chars().count() > flex(columns) {
        page.hang("       ", "       ", &step.showing);
        page.line(&row(columns, &week, "", step.kind.word(), numbers));
    } else {
        page.line(&row(columns, &week, &step.showing, step.kind.word(), numbers));
    }
    let about = about(page, step);
    page.hang("       ", "         ", &about);
}

fn write_sentence(page: &mut Page<'_>, step: &PlanStep) {
    let about = about(page, step);
    page.hang(
        &format!("{:>5.1}  ", step.start),
        "       ",
        &format!(
            "{}: {}, {}; {} from {}, {:.1} weeks, {}",
            step.showing,
            step.kind.word(),
            about,
            count(step.specimens as usize, "specimen"),
            count(step.panels as usize, "panel"),
            step.weeks,
            money(step.cost, &page.frame.currency)
        ),
    );
}

/// What is built, and what else it closes.
fn about(page: &Page<'_>, step: &PlanStep) -> String {
    let verb = match step.kind {
        StepKind::Test | StepKind::Equivalence => "builds",
        StepKind::Analysis | StepKind::RestsOn | StepKind::NoTest => "on",
    };
    let mut text = format!("{verb} {}", step.build);
    let others: Vec<String> =
        step.closes.iter().filter(|one| **one != step.build).map(ToString::to_string).collect();
    if !others.is_empty() {
        text.push_str(&format!("; closes also {}", names(&others, page, CLOSES_SHOWN)));
    }
    if let Some(first) = &step.shares {
        text.push_str(&format!("; cut from the panels of {first}"));
    }
    if step.prerequisite {
        text.push_str("; needed first by another step");
    }
    text
}
