//! What panels cost to make, as JSON and as text.

use super::page::Page;
use super::table::{Align, Table};
use crate::article::weigh::{Cost, CostLine, CostSort, CostStatement};
use crate::change::cost::CostMove;
use crate::change::verdict_paragraph::thousands;
use serde_json::{Value, json};

/// Lines of a panel's cost that the text lists; `Frame::all` shows them all.
const LINES_SHOWN: usize = 8;
/// What is missing that the text lists.
const MISSING_SHOWN: usize = 6;

fn figures(cost: &Cost, currency: &str) -> Value {
    json!({
        "currency": currency,
        "cost": cost.total(),
        "materials_cost": cost.materials,
        "moulds_cost": cost.moulds,
        "labour_cost": cost.labour,
        "labour_h": cost.hours,
        "at_least": !cost.is_whole(),
        "missing": cost.missing,
    })
}

fn with(mut value: Value, key: &str, more: Value) -> Value {
    if let Some(map) = value.as_object_mut() {
        map.insert(key.to_string(), more);
    }
    value
}

/// Returns what one panel costs, with its lines; null where the ledger prices nothing.
pub(crate) fn panel_json(statement: Option<&CostStatement>) -> Value {
    let Some(statement) = statement else { return Value::Null };
    let lines =
        statement.panels.first().map_or_else(Vec::new, |own| own.lines.iter().map(line_json).collect());
    with(figures(&statement.total, &statement.currency), "lines", json!(lines))
}

/// Returns what a scope costs, panel by panel; null where the ledger prices nothing.
pub fn scope_json(statement: Option<&CostStatement>) -> Value {
    let Some(statement) = statement else { return Value::Null };
    let panels: Vec<Value> = statement
        .panels
        .iter()
        .map(|own| {
            let each = with(figures(&own.each, &statement.currency), "panel", json!(own.panel));
            with(each, "quantity", json!(own.quantity))
        })
        .collect();
    with(figures(&statement.total, &statement.currency), "panels", json!(panels))
}

fn line_json(line: &CostLine) -> Value {
    json!({
        "sort": sort(line.sort),
        "what": line.what,
        "where": line.place,
        "cost": line.amount,
        "labour_h": line.hours,
    })
}

fn sort(sort: CostSort) -> &'static str {
    match sort {
        CostSort::Material => "material",
        CostSort::Mould => "mould",
        CostSort::Labour => "labour",
    }
}

/// Returns how a cost moves; null where neither state prices anything.
pub(crate) fn move_json(own: Option<&CostMove>) -> Value {
    let Some(own) = own else { return Value::Null };
    json!({
        "currency": own.currency,
        "was": own.was.total(),
        "is": own.is.total(),
        "delta": own.delta(),
        "was_labour_h": own.was.hours,
        "is_labour_h": own.is.hours,
        "delta_labour_h": own.delta_hours(),
        "at_least": !own.missing().is_empty(),
        "missing": own.missing(),
    })
}

/// Money and its currency in whole units.
pub(crate) fn money(amount: f64, currency: &str) -> String {
    format!("{} {currency}", thousands(amount)).trim().to_string()
}

/// Money with its sign.
pub(crate) fn signed_money(amount: f64, currency: &str) -> String {
    let text = money(amount, currency);
    if amount >= 0.5 { format!("+{text}") } else { text.replacen("-0 ", "0 ", 1) }
}

/// How a sum moves, in words.
pub(crate) fn delta_words(own: &CostMove) -> String {
    match own.delta() {
        None => "not comparable, other prices are missing".to_string(),
        Some(delta) if own.was.is_whole() => signed_money(delta, &own.currency),
        Some(delta) => format!("{} of what is priced", signed_money(delta, &own.currency)),
    }
}

/// Hours with one decimal.
pub(crate) fn hours(hours: f64) -> String {
    format!("{} h", super::mass::decimals(hours, 1))
}

/// Hours with their sign.
pub(crate) fn signed_hours(own: f64) -> String {
    let text = hours(own);
    if own >= 0.05 { format!("+{text}") } else { text }
}

fn words(cost: &Cost, currency: &str) -> String {
    let least = if cost.is_whole() { "" } else { "at least " };
    format!(
        "{least}{}: bought {}, share of the mould {}, labour {} for {}",
        money(cost.total(), currency),
        part(cost, cost.materials),
        part(cost, cost.moulds),
        part(cost, cost.labour),
        if cost.hours > 0.0 || cost.is_whole() { hours(cost.hours) } else { "? h".to_string() }
    )
}

/// A part of a sum. Where something is missing and nothing of this part is known, it is not nothing.
fn part(cost: &Cost, amount: f64) -> String {
    if amount == 0.0 && !cost.is_whole() { "?".to_string() } else { thousands(amount) }
}

/// Says what is missing, where something is.
pub(crate) fn write_missing<'m>(page: &mut Page<'_>, missing: impl ExactSizeIterator<Item = &'m String>) {
    let n = missing.len();
    if n == 0 {
        return;
    }
    let shown = page.frame.shown(n, MISSING_SHOWN);
    let mut names: Vec<String> = missing.take(shown).cloned().collect();
    if shown < n {
        names.push(format!("{} more (--all shows them)", n - shown));
    }
    page.hang("  ", "    ", &format!("missing, so the sum is the least: {}", names.join(", ")));
}

/// Writes what one panel costs.
pub(crate) fn write_panel(page: &mut Page<'_>, statement: Option<&CostStatement>) {
    let Some(statement) = statement else { return };
    page.heading("Unit cost and labour");
    page.hang("  ", "    ", &words(&statement.total, &statement.currency));
    write_missing(page, statement.total.missing.iter());
    let Some(own) = statement.panels.first() else { return };
    let mut lines: Vec<&CostLine> = own.lines.iter().collect();
    lines.sort_by(|one, two| two.amount.total_cmp(&one.amount).then_with(|| two.hours.total_cmp(&one.hours)));
    let shown = page.frame.shown(lines.len(), LINES_SHOWN);
    let mut table = Table::new([
        ("what", Align::Left),
        ("where", Align::Left),
        (statement.currency.as_str(), Align::Right),
        ("h", Align::Right),
    ]);
    let h = |hours: f64| if hours > 0.0 { super::mass::decimals(hours, 1) } else { String::new() };
    for line in lines.iter().take(shown) {
        table.row([
            line.what.clone(),
            line.place.clone(),
            super::mass::decimals(line.amount, 0),
            h(line.hours),
        ]);
    }
    let rest = || lines.iter().skip(shown);
    if shown < lines.len() {
        let name = format!("{} more", lines.len() - shown);
        let (amount, hours) = rest().fold((0.0, 0.0), |sum, line| (sum.0 + line.amount, sum.1 + line.hours));
        table.row([name, String::new(), super::mass::decimals(amount, 0), h(hours)]);
    }
    page.table(&table);
}

/// Returns what a scope costs as text: the sum, what is missing, panel by panel.
pub fn scope_text(statement: Option<&CostStatement>, whose: &str, frame: &super::page::Frame) -> String {
    let mut page = Page::new(frame);
    page.heading("Unit cost and labour");
    let Some(statement) = statement else {
        page.paragraph(
            "Nothing is priced: write `price:` in materials and tools, and `rates: {labour: 62 EUR/h}`.",
        );
        return page.finish();
    };
    page.paragraph(&format!("{whose} costs {}.", words(&statement.total, &statement.currency)));
    write_missing(&mut page, statement.total.missing.iter());
    let mut table = Table::new([
        ("panel", Align::Left),
        ("pieces", Align::Right),
        ("bought", Align::Right),
        ("mould", Align::Right),
        ("labour", Align::Right),
        ("h", Align::Right),
        ("each", Align::Right),
        ("all", Align::Right),
    ]);
    for own in &statement.panels {
        let each = &own.each;
        let least = if each.is_whole() { "" } else { ">" };
        table.row([
            own.panel.clone(),
            own.quantity.to_string(),
            part(each, each.materials),
            part(each, each.moulds),
            part(each, each.labour),
            super::mass::decimals(each.hours, 1),
            format!("{least}{}", thousands(each.total())),
            format!("{least}{}", thousands(each.total() * own.quantity as f64)),
        ]);
    }
    page.table(&table);
    if !statement.total.is_whole() {
        page.paragraph("> at least: something of it has no price or no time");
    }
    page.finish()
}

/// Writes how the cost of one aircraft moves, where it does.
pub(crate) fn write_move(page: &mut Page<'_>, own: Option<&CostMove>) {
    let Some(own) = own.filter(|own| own.is_moved()) else { return };
    page.heading("Unit cost and labour, one aircraft");
    let missing = own.missing();
    let sum = |cost: &Cost| match (cost.is_whole(), cost.total() > 0.0) {
        (false, false) => "not known".to_string(),
        (whole, _) => {
            let least = if whole { "" } else { "at least " };
            format!("{least}{} and {}", money(cost.total(), &own.currency), hours(cost.hours))
        }
    };
    page.hang(
        "  ",
        "    ",
        &format!(
            "was {}, is {}: {}, {}",
            sum(&own.was),
            sum(&own.is),
            delta_words(own),
            own.delta_hours().map_or_else(|| "hours can't be compared".to_string(), signed_hours)
        ),
    );
    let names: Vec<String> = missing.into_iter().collect();
    write_missing(page, names.iter());
}
