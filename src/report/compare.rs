//! Changes side by side and together, as JSON and as text.

use super::cost::{self, signed_hours, signed_money};
use super::head::CAUTION_LINE;
use super::impact::over_json;
use super::joint::rows_json;
use super::margins::{figure, margin_json};
use super::mass::{POUND, decimals};
use super::page::{Frame, Page, count, fold};
use super::plan::money;
use crate::change::compare::{Column, Together, Work, work, worse_rows};
use crate::change::footprint::Conflict;
use crate::change::joint::JointDuty;
use crate::qualify::verdict::Verdict;
use crate::quantity::UnitSystem;
use crate::record::sensitivity::Asks;
use serde_json::{Value, json};

/// Columns of a row's name.
const NAMES: usize = 19;
/// A column is not made narrower than this.
const NARROWEST: usize = 14;
/// Nor wider.
const WIDEST: usize = 30;
/// Duties, edits and assumptions that are named in a row; `Frame::all` names all.
const SHOWN: usize = 4;

/// What some of the columns are together.
pub enum Gathering {
    /// Their joint effect.
    Whole(Box<Together>),
    /// They leave one attribute at different values: there is no whole.
    Conflict(Vec<usize>, Vec<Conflict>),
    /// They can't be laid together, with the reason.
    Impossible(Vec<usize>, String),
}

/// Everything that is compared.
pub struct Comparison {
    /// What all are compared with.
    pub base: String,
    /// Whether decisions are compared, and not revisions.
    pub decisions: bool,
    /// The changes, in the order asked for.
    pub columns: Vec<Column>,
    /// Pairs, or all.
    pub together: Vec<Gathering>,
}

/// Returns the comparison as a document of schema `compare/1`.
pub fn json(found: &Comparison) -> Value {
    json!({
        "schema": "compare/1",
        "base": found.base,
        "of": if found.decisions { "decisions" } else { "revisions" },
        "columns": found.columns.iter().map(column_json).collect::<Vec<_>>(),
        "together": found.together.iter().map(|one| gathering_json(found, one)).collect::<Vec<_>>(),
        "caution": CAUTION_LINE,
    })
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn column_json(column: &Column) -> Value {
    let impact = &column.impact;
    let counts: Vec<Value> = column
        .worse()
        .into_iter()
        .map(|((now, asks), duties)| json!({ "now": now.word(), "asks": asks.to_string(), "duties": duties }))
        .collect();
    let worse: Vec<Value> = worse_rows(column)
        .into_iter()
        .map(|row| {
            json!({
                "showing": row.showing,
                "subject": row.subject.to_string(),
                "was": row.was.map(Verdict::word),
                "now": row.now.word(),
                "asks": row.asks.to_string(),
            })
        })
        .collect();
    let margin = |row: &crate::change::margins::MarginMove| {
        json!({
            "panel": row.panel,
            "case": row.case,
            "was": row.was.as_ref().map(|own| own.margin),
            "is": row.now.as_ref().map(|own| own.margin),
            "is_margin": row.now.as_ref().map(margin_json),
            "lacking": row.lacking,
        })
    };
    json!({
        "name": column.name,
        "verdict": impact.verdict,
        "mass": {
            "delta_kg": column.mass.kg,
            "low_kg": finite(column.mass.low_kg),
            "high_kg": finite(column.mass.high_kg),
            "with_growth_kg": column.mass.with_growth_kg,
        },
        "cg_shift_m": column.cg_shift,
        "least_margin": column.least_margin().map(margin),
        "margins_worse": column.worse_margins().into_iter().map(margin).collect::<Vec<_>>(),
        "cost": cost::move_json(impact.cost.as_ref()),
        "worse_counts": counts,
        "worse": worse,
        "worse_panels": column.worse_panels(),
        "restored": column.restored(),
        "ended": column.ended(),
        "retest": {
            "specimens": impact.retest.specimens,
            "panels": impact.retest.panels,
            "weeks": impact.retest.weeks,
            "cost": work(impact).cost,
            "missing": impact.retest.missing,
            "critical_path": impact.retest.critical_path,
        },
        "over_budget": over_json(&column.over),
        "assumptions_added": impact.assumptions,
        "grounded": impact.grounded,
    })
}

fn work_json(own: &Work) -> Value {
    json!({ "specimens": own.specimens, "panels": own.panels, "weeks": own.weeks, "cost": own.cost })
}

fn conflicts_json(conflicts: &[Conflict]) -> Vec<Value> {
    conflicts.iter().map(|own| json!({ "address": own.address, "values": [own.one, own.other] })).collect()
}

fn gathering_json(found: &Comparison, one: &Gathering) -> Value {
    let names = |of: &[usize]| names_of(found, of);
    let none = |of: &[usize], conflicts: &[Conflict], reason: Option<&String>| {
        json!({
            "of": names(of),
            "conflicts": conflicts_json(conflicts),
            "reason": reason,
            "column": null,
            "sum_kg": null,
            "sum_unit_cost": null,
            "sum": null,
            "saved": null,
            "shared": [],
            "together_only": [],
            "graver_together": [],
            "restored_together": [],
        })
    };
    match one {
        Gathering::Conflict(of, conflicts) => none(of, conflicts, None),
        Gathering::Impossible(of, reason) => none(of, &[], Some(reason)),
        Gathering::Whole(own) => json!({
            "of": names(&own.of),
            "conflicts": [],
            "reason": null,
            "column": column_json(&own.column),
            "sum_kg": own.sum_kg,
            "sum_unit_cost": own.sum_unit_cost,
            "sum": work_json(&own.sum),
            "saved": work_json(&own.saved()),
            "shared": own.shared.iter().map(|(showing, subject)| json!({
                "showing": showing, "subject": subject.to_string(),
            })).collect::<Vec<_>>(),
            "together_only": rows_json(&own.joint.only_together),
            "graver_together": rows_json(&own.joint.graver_together),
            "restored_together": rows_json(&own.joint.restored_together),
        }),
    }
}

fn names_of(found: &Comparison, of: &[usize]) -> Vec<String> {
    of.iter().filter_map(|at| found.columns.get(*at)).map(|column| column.name.clone()).collect()
}

/// Returns the comparison as text: side by side, then what is otherwise together, then the caution.
pub fn text(found: &Comparison, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.paragraph(&opening(found, frame));
    page.gap();
    write_columns(&mut page, found);
    for one in &found.together {
        write_gathering(&mut page, found, one);
    }
    page.finish_with_caution()
}

/// A mass with its sign, in the unit of reports.
fn mass(kg: f64, units: UnitSystem) -> String {
    let (unit, factor) = match units {
        UnitSystem::Si => ("kg", 1.0),
        UnitSystem::Imperial => ("lb", POUND),
    };
    if !kg.is_finite() {
        return "not known".to_string();
    }
    let text = decimals(kg / factor, 3);
    let plus = !text.starts_with('-') && text.chars().any(|c| c.is_ascii_digit() && c != '0');
    format!("{}{text} {unit}", if plus { "+" } else { "" })
}

fn opening(found: &Comparison, frame: &Frame) -> String {
    let what = if found.decisions { "decision" } else { "revision" };
    let base = match found.base.as_str() {
        "work tree" => "the work tree".to_string(),
        other => other.to_string(),
    };
    let mut text = format!("{} against {base}, each alone.", count(found.columns.len(), what));
    let lightest = found.columns.iter().min_by(|one, two| one.mass.kg.total_cmp(&two.mass.kg));
    if let Some(own) = lightest.filter(|own| own.mass.kg < -5e-4) {
        text.push_str(&format!(" {} saves most mass, {}.", own.name, mass(own.mass.kg, frame.units)));
    }
    text.push_str(&soonest(&found.columns));
    text
}

/// Which of some changes is proved in the least time, as far as one is.
fn soonest(columns: &[Column]) -> String {
    let order = |one: &&Column, two: &&Column| {
        let (one, two) = (&one.impact.retest, &two.impact.retest);
        one.weeks.total_cmp(&two.weeks).then(one.specimens.cmp(&two.specimens))
    };
    let Some(first) = columns.iter().min_by(order) else { return String::new() };
    let alike: Vec<&Column> = columns.iter().filter(|own| order(&first, own).is_eq()).collect();
    let plan = &first.impact.retest;
    let words = match plan.steps.is_empty() {
        true => "nothing has to be proved again".to_string(),
        false => format!("{:.1} weeks and {}", plan.weeks, count(plan.specimens as usize, "specimen")),
    };
    if alike.len() == columns.len() && columns.len() > 1 {
        return match plan.steps.is_empty() {
            true => format!(" With each of them {words}."),
            false => format!(" All take as long to prove: {words}."),
        };
    }
    let names: Vec<&str> = alike.iter().map(|own| own.name.as_str()).collect();
    match names.as_slice() {
        [name] => format!(" {name} is proved soonest: {words}."),
        _ => format!(" {} are proved soonest: {words}.", names.join(" and ")),
    }
}

/// A row: its name and a cell for each column.
type Row = (&'static str, Vec<String>);

fn rows(found: &Comparison, frame: &Frame) -> Vec<Row> {
    let columns = &found.columns;
    let each = |name: &'static str, cell: &dyn Fn(&Column) -> String| -> Row {
        (name, columns.iter().map(cell).collect())
    };
    let units = frame.units;
    let duties = |now: Verdict| {
        move |column: &Column| {
            let counts: Vec<(Asks, usize)> = column
                .worse()
                .into_iter()
                .filter(|((verdict, _), _)| *verdict == now)
                .map(|((_, asks), n)| (asks, n))
                .collect();
            let sum: usize = counts.iter().map(|(_, n)| n).sum();
            let asks = counts.iter().filter(|(asks, _)| *asks > Asks::None);
            let asks: Vec<String> = asks.map(|(asks, n)| format!("{n} {asks}")).collect();
            match (sum, asks.as_slice()) {
                (0, _) => "-".to_string(),
                (_, []) => sum.to_string(),
                _ => format!("{sum}: {}", asks.join(", ")),
            }
        }
    };
    let number = |n: usize| if n == 0 { "-".to_string() } else { n.to_string() };
    let currency = frame.currency.as_str();
    let mut all = vec![
        each("mass", &|own| mass(own.mass.kg, units)),
        each("  at two sigma", &|own| {
            format!("{} to {}", mass(own.mass.low_kg, units), mass(own.mass.high_kg, units))
        }),
        each("  with growth", &|own| mass(own.mass.with_growth_kg, units)),
        each("centre of gravity", &|own| shift(own.cg_shift, units)),
        each("least margin moved", &|own| match own.least_margin() {
            Some(row) => {
                let least = row.now.as_ref().map_or_else(|| "?".to_string(), |own| figure(own.margin));
                format!("{least} {}, {}", row.panel, row.case)
            }
            None => "none moves".to_string(),
        }),
        each("  worse than before", &|own| worse_margins(own, frame)),
        each("unit cost", &|own| match &own.impact.cost {
            Some(cost) => cost::delta_words(cost),
            None => "nothing is priced".to_string(),
        }),
        each("  labour", &|own| match &own.impact.cost {
            Some(cost) => cost.delta_hours().map_or_else(|| "not comparable".to_string(), signed_hours),
            None => "-".to_string(),
        }),
        each("duties lapsed", &duties(Verdict::Lapsed)),
        each("  failed", &duties(Verdict::Failed)),
        each("  opened", &duties(Verdict::Open)),
        each("  short", &duties(Verdict::Short)),
        each("  of single panels", &|own| number(own.worse_panels())),
        each("  closed again", &|own| number(own.restored())),
        each("  ended", &|own| number(own.ended())),
        each("specimens", &|own| number(own.impact.retest.specimens as usize)),
        each("test panels", &|own| number(own.impact.retest.panels as usize)),
        each("weeks", &|own| match own.impact.retest.steps.is_empty() {
            true => "-".to_string(),
            false => decimals(own.impact.retest.weeks, 1),
        }),
        each("  critical path", &|own| match own.impact.retest.critical_path.as_slice() {
            [] => "-".to_string(),
            path => path.join(", "),
        }),
        each("test cost", &|own| match work(&own.impact).cost {
            Some(0.0) => "-".to_string(),
            cost => money(cost, currency),
        }),
        each("over budget", &|own| over(own, units)),
        each("released, lost", &|own| match own.impact.grounded.as_slice() {
            [] => "-".to_string(),
            panels => panels.join(", "),
        }),
        each("assumptions added", &|own| number(own.impact.assumptions.len())),
    ];
    // A row in which nothing stands says nothing; what is asked for first always stays.
    let keeps =
        ["mass", "duties lapsed", "specimens", "weeks", "over budget", "unit cost", "assumptions added"];
    all.retain(|(name, cells)| keeps.contains(name) || cells.iter().any(|cell| cell != "-"));
    all
}

fn shift(own: Option<[f64; 3]>, units: UnitSystem) -> String {
    let Some(shift) = own else { return "not known".to_string() };
    let (unit, factor) = match units {
        UnitSystem::Si => ("mm", 1e-3),
        UnitSystem::Imperial => ("in", 0.0254),
    };
    let words: Vec<String> = ["x", "y", "z"]
        .iter()
        .zip(shift)
        .map(|(axis, metres)| (axis, decimals(metres / factor, 1)))
        .filter(|(_, text)| text != "0.0")
        .map(|(axis, text)| format!("{axis} {}{text}", if text.starts_with('-') { "" } else { "+" }))
        .collect();
    if words.is_empty() { "stays".to_string() } else { format!("{} {unit}", words.join(", ")) }
}

fn worse_margins(column: &Column, frame: &Frame) -> String {
    let rows = column.worse_margins();
    if rows.is_empty() {
        return "-".to_string();
    }
    let shown = if frame.all { rows.len() } else { rows.len().min(2) };
    let mut words: Vec<String> = rows
        .iter()
        .take(shown)
        .map(|row| {
            let of = |own: &Option<crate::qualify::margins::Margin>| {
                own.as_ref().map_or_else(|| "?".to_string(), |own| figure(own.margin))
            };
            format!("{} {}: {} to {}", row.panel, row.case, of(&row.was), of(&row.now))
        })
        .collect();
    if shown < rows.len() {
        words.push(format!("{} more", rows.len() - shown));
    }
    format!("{}: {}", rows.len(), words.join("; "))
}

fn over(column: &Column, units: UnitSystem) -> String {
    let words: Vec<String> = column
        .over
        .iter()
        .map(|own| {
            let before = if own.was_over_kg > 0.0 { ", before too" } else { "" };
            format!("{} by {}{before}", own.of.short(), mass(own.over_kg, units).trim_start_matches('+'))
        })
        .collect();
    if words.is_empty() { "-".to_string() } else { words.join("; ") }
}

/// Writes the columns, in as many blocks as the width asks for; cells wrap and are never cut.
fn write_columns(page: &mut Page<'_>, found: &Comparison) {
    let rows = rows(found, page.frame);
    let room = page.frame.columns().saturating_sub(NAMES);
    let most = (room / (NARROWEST + 2)).max(1);
    let blocks = found.columns.len().div_ceil(most);
    let per_block = found.columns.len().div_ceil(blocks.max(1)).max(1);
    let names: Vec<String> = found.columns.iter().map(|column| column.name.clone()).collect();
    for (block, start) in (0..found.columns.len()).step_by(per_block).enumerate() {
        if block > 0 {
            page.line("");
        }
        let here = start..(start + per_block).min(found.columns.len());
        let width = (room / here.len().max(1)).saturating_sub(2).clamp(8, WIDEST);
        let of = |cells: &[String]| -> Vec<String> { cells.get(here.clone()).unwrap_or_default().to_vec() };
        write_row(page, "", &of(&names), width);
        page.line(&"-".repeat((NAMES + (width + 2) * here.len()).min(page.frame.columns())));
        for (name, cells) in &rows {
            write_row(page, name, &of(cells), width);
        }
    }
}

fn write_row(page: &mut Page<'_>, name: &str, cells: &[String], width: usize) {
    let lines: Vec<Vec<String>> = cells.iter().map(|cell| fold(cell, width)).collect();
    let height = lines.iter().map(Vec::len).max().unwrap_or(1);
    for at in 0..height {
        let mut text = format!("{:<NAMES$}", if at == 0 { name } else { "" });
        for cell in &lines {
            let part = cell.get(at).map_or("", String::as_str);
            text.push_str(&format!("  {part:<width$}"));
        }
        page.line(&text);
    }
}

fn write_gathering(page: &mut Page<'_>, found: &Comparison, one: &Gathering) {
    let title = |of: &[usize]| format!("Together: {}", names_of(found, of).join(" with "));
    match one {
        Gathering::Conflict(of, conflicts) => {
            page.heading(&title(of));
            let names = names_of(found, of);
            let name = |at: usize| names.get(at).map_or("the other", String::as_str);
            page.hang("  ", "    ", "no whole: they leave the same place at different values");
            for own in conflicts {
                let value = |own: &Option<String>| own.clone().unwrap_or_else(|| "nothing".to_string());
                page.hang(
                    "  - ",
                    "    ",
                    &format!(
                        "{}: {} leaves {}, {} leaves {}",
                        own.address,
                        name(0),
                        value(&own.one),
                        name(1),
                        value(&own.other)
                    ),
                );
            }
        }
        Gathering::Impossible(of, reason) => {
            page.heading(&title(of));
            page.hang("  ", "    ", &format!("no whole: {reason}"));
        }
        Gathering::Whole(own) => {
            page.heading(&title(&own.of));
            write_whole(page, own);
        }
    }
}

fn write_whole(page: &mut Page<'_>, own: &Together) {
    let units = page.frame.units;
    if own.is_plain() {
        let words = format!("no more and no less than each alone: {}", mass(own.column.mass.kg, units));
        page.hang("  ", "    ", &words);
        return;
    }
    let off = own.column.mass.kg - own.sum_kg;
    let sum = match off.abs() < 5e-7 {
        true => "the sum of each alone".to_string(),
        false => format!("{} from the sum of each alone", mass(off, units)),
    };
    page.hang("  ", "    ", &format!("mass {}, {sum}", mass(own.column.mass.kg, units)));
    let plan = &own.column.impact.retest;
    let currency = page.frame.currency.clone();
    let words = |own: &Work| {
        let cost = own.cost.map_or(String::new(), |cost| format!(", {}", money(Some(cost), &currency)));
        let (specimens, panels) = (own.specimens.unsigned_abs() as usize, own.panels.unsigned_abs() as usize);
        format!(
            "{} from {}, {} weeks{cost}",
            count(specimens, "specimen"),
            count(panels, "test panel"),
            decimals(own.weeks, 1)
        )
    };
    if plan.steps.is_empty() {
        page.hang("  ", "    ", "together nothing has to be proved again");
    } else {
        page.hang("  ", "    ", &format!("proved together: {}", words(&work(&own.column.impact))));
    }
    page.hang("  ", "    ", &format!("each by itself, one after the other: {}", words(&own.sum)));
    if let Some(words) = saved_words(&own.saved(), &currency) {
        page.hang("  ", "    ", &format!("together, against that: {words}"));
    }
    if !own.shared.is_empty() {
        let names: Vec<String> =
            own.shared.iter().map(|(showing, subject)| format!("{showing} of {subject}")).collect();
        list(page, &format!("un-proved by more than one of them ({})", own.shared.len()), &names);
    }
    let rows = |rows: &[JointDuty]| -> Vec<String> {
        rows.iter()
            .map(|row| {
                let said = row.together.map_or(String::new(), |(verdict, asks)| match asks {
                    Asks::None => format!(" ({verdict})"),
                    asks => format!(" ({verdict}, asks {asks})"),
                });
                format!("{} of {}{said}", row.showing, row.subject)
            })
            .collect()
    };
    for (title, duties) in [
        ("only together", &own.joint.only_together),
        ("asking more together", &own.joint.graver_together),
        ("un-proved by one alone, and not together", &own.joint.restored_together),
    ] {
        if !duties.is_empty() {
            list(page, &format!("{title} ({})", duties.len()), &rows(duties));
        }
    }
    let whole = own.column.impact.cost.as_ref().and_then(|own| own.delta());
    if let (Some(delta), Some(sum)) = (whole, own.sum_unit_cost)
        && (delta - sum).abs() > 0.5
    {
        let words = format!(
            "unit cost {}, {} from the sum of each alone",
            signed_money(delta, &currency),
            signed_money(delta - sum, &currency)
        );
        page.hang("  ", "    ", &words);
    }
}

/// What proving together saves, and what it takes more; `None` where nothing differs.
fn saved_words(saved: &Work, currency: &str) -> Option<String> {
    let whole = |n: i64, word: &str| {
        (n != 0, n > 0, count(usize::try_from(n.unsigned_abs()).unwrap_or(usize::MAX), word))
    };
    let cost = saved.cost.unwrap_or(0.0);
    let parts = [
        whole(saved.specimens, "specimen"),
        whole(saved.panels, "test panel"),
        (saved.weeks.abs() > 0.05, saved.weeks > 0.0, format!("{} weeks", decimals(saved.weeks.abs(), 1))),
        (cost.abs() > 0.5, cost > 0.0, money(Some(cost.abs()), currency)),
    ];
    let of = |fewer: bool| -> Option<String> {
        let own = parts.iter().filter(|(differs, less, _)| *differs && *less == fewer);
        let own: Vec<&str> = own.map(|(_, _, words)| words.as_str()).collect();
        (!own.is_empty()).then(|| format!("{} {}", own.join(", "), if fewer { "less" } else { "more" }))
    };
    let said: Vec<String> = [of(true), of(false)].into_iter().flatten().collect();
    (!said.is_empty()).then(|| said.join("; "))
}

/// A heading in a line, and names below it.
fn list(page: &mut Page<'_>, title: &str, names: &[String]) {
    page.hang("  ", "    ", &format!("{title}:"));
    let shown = page.frame.shown(names.len(), SHOWN);
    for name in names.iter().take(shown) {
        page.hang("    - ", "      ", name);
    }
    if shown < names.len() {
        page.hang("    ", "      ", &format!("… {} more; --all shows them", names.len() - shown));
    }
}
