//! What a change does as Markdown, for the text of a merge request.
//!
//! Tables as in the common extension of CommonMark (GitHub Flavored Markdown Spec 0.29, section 4.10). Whatever
//! comes from records is text there: it makes no table cell, no code, no HTML, and calls nobody by name.

use super::head::CAUTION_LINE;
use super::margins;
use super::mass::decimals;
use super::page::{Frame, count};
use super::plan::money;
use super::reason::reason_words;
use crate::change::impact::{DutyRow, Impact, PanelRow};
use crate::change::verdict_paragraph::thousands;
use crate::change::weaker::Weaker;
use crate::qualify::retest::RetestPlan;
use crate::record::sensitivity::Asks;

/// Rows of a table as a rule: hosts refuse a text that is too long.
const ROWS: usize = 25;
/// Reasons of one duty as a rule.
const REASONS: usize = 4;

/// Returns the summary; `head` is the line that says of which state and day.
pub fn text(impact: &Impact, head: &str, frame: &Frame) -> String {
    let mut out = String::from("## What this change does\n\n");
    out.push_str(&format!("{}\n", escaped(&impact.verdict)));
    let weaker: Vec<String> = impact.weaker.iter().map(Weaker::words).collect();
    list(&mut out, "Requirements that ask less, or may", &weaker, frame);
    mass(&mut out, impact, frame);
    moved_margins(&mut out, impact, frame);
    let (worse, other): (Vec<&DutyRow>, Vec<&DutyRow>) = impact.duties.iter().partition(|row| row.is_worse());
    duties(&mut out, "Duties that lapse, fail or ask more", &worse, frame);
    duties(&mut out, "Other duties that change", &other, frame);
    let panels: Vec<String> = impact.panel_rows.iter().map(panel_words).collect();
    list(&mut out, "Single panels, where the duty as a whole stays", &panels, frame);
    plan(&mut out, &impact.retest, frame);
    list(&mut out, "Assumed by the change", &impact.assumptions, frame);
    out.push_str("\n### Cautions\n\n");
    list_items(&mut out, &[CAUTION_LINE.to_string(), format!("Made by {head}.")], 2);
    out
}

fn signed(kg: f64) -> String {
    let text = decimals(kg, 3);
    let plus = !text.starts_with('-') && text.chars().any(|c| c.is_ascii_digit() && c != '0');
    if plus { format!("+{text}") } else { text }
}

fn mass(out: &mut String, impact: &Impact, frame: &Frame) {
    let (was, is) = impact.mass;
    let mut rows = vec![vec!["whole programme".to_string(), signed(is - was)]];
    let mut panels: Vec<_> = impact.panels.iter().collect();
    panels.sort_by(|one, two| {
        two.delta.abs().total_cmp(&one.delta.abs()).then_with(|| one.panel.cmp(&two.panel))
    });
    rows.extend(panels.iter().map(|row| vec![row.panel.clone(), signed(row.delta)]));
    out.push_str(&format!(
        "\n### Mass\n\n{} kg before, {} kg after; by panel, all counted pieces:\n",
        decimals(was, 3),
        decimals(is, 3)
    ));
    table(out, &[("panel", false), ("kg", true)], &rows, frame);
}

fn moved_margins(out: &mut String, impact: &Impact, frame: &Frame) {
    if impact.margins.is_empty() {
        return;
    }
    out.push_str("\n### Margins of safety, the least of each load case\n");
    let rows: Vec<Vec<String>> =
        impact.margins.iter().map(|row| margins::moved_cells(row).to_vec()).collect();
    let columns = [("panel", false), ("case", false), ("was", true), ("is", true), ("governs now", false)];
    table(out, &columns, &rows, frame);
}

fn duties(out: &mut String, title: &str, rows: &[&DutyRow], frame: &Frame) {
    if rows.is_empty() {
        return;
    }
    out.push_str(&format!("\n### {title} ({})\n", rows.len()));
    let rows: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            // What decides comes first, and is never among what is left out.
            let mut reasons: Vec<_> = row.because.iter().collect();
            reasons.sort_by_key(|reason| std::cmp::Reverse(reason.effect));
            let shown = frame.shown(reasons.len(), REASONS);
            let mut because: Vec<String> = reasons.iter().take(shown).map(|one| reason_words(one)).collect();
            if shown < reasons.len() {
                because.push(format!("and {} more", count(reasons.len() - shown, "reason")));
            }
            vec![
                format!("{} {}", row.showing, row.subject),
                row.was.map_or_else(|| "new".to_string(), |was| was.word().to_string()),
                row.now.word().to_string(),
                if row.asks > Asks::None { row.asks.to_string() } else { String::new() },
                row.panels.join(", "),
                because.join("\n"),
            ]
        })
        .collect();
    let columns = [
        ("duty", false),
        ("was", false),
        ("now", false),
        ("asks", false),
        ("panels", false),
        ("because", false),
    ];
    table(out, &columns, &rows, frame);
}

fn plan(out: &mut String, plan: &RetestPlan, frame: &Frame) {
    if plan.steps.is_empty() {
        return;
    }
    out.push_str("\n### To prove it again\n\n");
    let sum = format!(
        "In all {} from {}, {:.1} weeks, {}.",
        count(plan.specimens as usize, "specimen"),
        count(plan.panels as usize, "test panel"),
        plan.weeks,
        money(plan.cost, &frame.currency)
    );
    out.push_str(&format!("{}\n", escaped(&sum)));
    let rows: Vec<Vec<String>> = plan
        .steps
        .iter()
        .map(|step| {
            vec![
                format!("{:.1}", step.start),
                step.showing.clone(),
                step.build.to_string(),
                step.kind.word().to_string(),
                step.specimens.to_string(),
                step.panels.to_string(),
                format!("{:.1}", step.weeks),
                step.cost.map_or_else(|| "?".to_string(), thousands),
            ]
        })
        .collect();
    let columns = [
        ("week", true),
        ("showing", false),
        ("built", false),
        ("kind", false),
        ("specimens", true),
        ("panels", true),
        ("weeks", true),
        ("cost", true),
    ];
    table(out, &columns, &rows, frame);
    if !plan.critical_path.is_empty() {
        out.push_str(&format!("\nCritical path: {}\n", escaped(&plan.critical_path.join(" → "))));
    }
    if !plan.missing.is_empty() {
        out.push_str(&format!("\nNot given: {}\n", escaped(&plan.missing.join(", "))));
    }
    list(out, "Ways without a test", &plan.ways, frame);
    list(out, "The plan assumes", &plan.assumptions, frame);
}

/// A panel whose own verdict differs.
fn panel_words(row: &PanelRow) -> String {
    let was = row.was.map_or_else(|| "is new to it".to_string(), |was| format!("was {was}"));
    let asks = if row.asks > Asks::None { format!(", asks {}", row.asks) } else { String::new() };
    format!("{} panel/{} {was}{asks}: {} {}", row.now, row.panel, row.showing, row.subject)
}

fn list(out: &mut String, title: &str, all: &[String], frame: &Frame) {
    if all.is_empty() {
        return;
    }
    out.push_str(&format!("\n#### {title}\n\n"));
    list_items(out, all, frame.shown(all.len(), ROWS));
}

fn list_items(out: &mut String, all: &[String], shown: usize) {
    all.iter().take(shown).for_each(|one| out.push_str(&format!("- {}\n", escaped(one))));
    if shown < all.len() {
        out.push_str(&format!("- … {} more; `--all` shows them\n", all.len() - shown));
    }
}

/// Writes a table; whether a column is of numbers stands behind its name.
fn table(out: &mut String, columns: &[(&str, bool)], rows: &[Vec<String>], frame: &Frame) {
    let line =
        |cells: &mut dyn Iterator<Item = String>| format!("| {} |\n", cells.collect::<Vec<_>>().join(" | "));
    out.push('\n');
    out.push_str(&line(&mut columns.iter().map(|(name, _)| (*name).to_string())));
    out.push_str(&line(
        &mut columns.iter().map(|(_, number)| if *number { "---:" } else { "---" }.to_string()),
    ));
    let shown = frame.shown(rows.len(), ROWS);
    for row in rows.iter().take(shown) {
        out.push_str(&line(&mut row.iter().map(|cell| escaped_lines(cell))));
    }
    if shown < rows.len() {
        out.push_str(&format!("\n… and {} more; `--all` shows them\n", rows.len() - shown));
    }
}

/// Text in a cell, where a line end would end the row.
fn escaped_lines(text: &str) -> String {
    text.lines().map(inline).collect::<Vec<_>>().join("<br>")
}

/// Text that means itself at the beginning of a line, where `# x` were a heading and `1. x` a list.
fn escaped(text: &str) -> String {
    let number = text.chars().take_while(char::is_ascii_digit).count();
    match text.split_at_checked(number) {
        Some((digits, rest)) if number > 0 && rest.starts_with(['.', ')']) => {
            format!("{digits}\\{}", inline(rest))
        }
        _ if text.starts_with(['#', '+', '-', '=']) => format!("\\{}", inline(text)),
        _ => inline(text),
    }
}

/// Text that means itself within a line: CommonMark lets a backslash stand before any mark.
fn inline(text: &str) -> String {
    let mut out = String::new();
    let mut before = ' ';
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let names = !before.is_alphanumeric() && rest.peek().is_some_and(|next| next.is_alphanumeric());
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '~' | '$' => out.extend(['\\', c]),
            // A host would take these for a person or a number of its own.
            '@' | '#' if names => out.push_str(&format!("{c}&#8203;")),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c.is_control() => out.extend(c.escape_default()),
            c => out.push(c),
        }
        before = c;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_text() {
        assert_eq!(escaped("a|b`c<d>&"), "a\\|b\\`c&lt;d&gt;&amp;");
        assert_eq!(escaped("# no heading"), "\\# no heading");
        assert_eq!(escaped("12. no list"), "12\\. no list");
        assert_eq!(escaped("ask @somebody about #7"), "ask @&#8203;somebody about #&#8203;7");
        assert_eq!(escaped("lamina/x@oven"), "lamina/x@oven");
        assert_eq!(escaped("two\nlines\u{1b}"), "two lines\\u{1b}");
    }

    #[test]
    fn a_cell_stays_one_cell() {
        let mut out = String::new();
        let rows = vec![vec!["a|b".to_string(), "one\ntwo`".to_string()]];
        table(&mut out, &[("x", false), ("n", true)], &rows, &Frame::default());
        assert_eq!(out, "\n| x | n |\n| --- | ---: |\n| a\\|b | one<br>two\\` |\n");
    }
}
