//! Weighed against predicted, stage by stage, and what the scale teaches of contributors.

use super::mass::{CAUTION, Page, decimals, plus, weighings};
use super::page::count;
use super::table::{Align, Table, wrap};
use crate::article::weigh::{
    Added, Estimate, Learned, MassStatement, PanelPieces, PieceStages, Residual, Says, Scope, tally,
};
use crate::ledger::weighed::{Limits, Standing, limit_percent};
use serde_json::{Value, json};

const SUGGESTION: &str =
    "A suggestion: no prediction is changed by it. Whoever agrees edits the figures in the records.";

/// Weighings that do not count: the id of each, and why.
pub type LeftOut = [(String, String)];

/// Lays `weighings` and `learned` beside the keys of a mass statement, those that were asked for.
pub fn beside(
    document: &mut Value,
    (pieces, left): (Option<&[PanelPieces]>, &LeftOut),
    learned: Option<&Learned>,
) {
    let Some(document) = document.as_object_mut() else { return };
    if let Some(pieces) = pieces {
        document.insert("weighings".to_string(), pieces_json(pieces));
    }
    if pieces.is_some() || learned.is_some() {
        let left: Vec<Value> = left.iter().map(|(id, why)| json!({ "weighing": id, "why": why })).collect();
        document.insert("not_counted".to_string(), json!(left));
    }
    if let Some(learned) = learned {
        document.insert("learned".to_string(), learned_json(learned));
    }
}

fn pieces_json(panels: &[PanelPieces]) -> Value {
    let reading = |residual: &Residual, added: Option<Added>| {
        json!({
            "weighing": residual.weighing,
            "condition": residual.condition.word(),
            "on": residual.on.map(|day| day.to_string()),
            "weighed_kg": residual.weighed_kg,
            "predicted_kg": residual.predicted_kg,
            "as_built": residual.as_built,
            "residual_kg": residual.kg(),
            "residual_percent": residual.percent(),
            "explain_percent": residual.limits.explain * 100.0,
            "hold_percent": residual.limits.hold * 100.0,
            "standing": residual.standing.word(),
            "explained": residual.explained,
            "disposition": residual.disposition.as_ref().map(|own| json!({
                "cause": own.cause,
                "by": own.by.as_str(),
                "on": own.on.to_string(),
            })),
            "added": added.map(|added| json!({
                "since": added.since.word(),
                "weighed_kg": added.weighed_kg,
                "predicted_kg": added.predicted_kg,
                "as_built": added.as_built,
                "residual_kg": added.kg(),
                "residual_percent": added.percent(),
            })),
        })
    };
    let piece = |piece: &PieceStages| {
        json!({
            "serial": piece.serial,
            "readings": piece.readings.iter().map(|one| reading(&one.residual, one.added)).collect::<Vec<_>>(),
        })
    };
    let panel = |panel: &PanelPieces| {
        json!({
            "panel": panel.panel,
            "counts": panel.counts,
            "pieces": panel.pieces.iter().map(piece).collect::<Vec<_>>(),
        })
    };
    let of = |standing| tally(panels).get(&standing).copied().unwrap_or(0);
    json!({
        "counts": {
            "within": of(Standing::Within),
            "explained": of(Standing::Explained),
            "to-explain": of(Standing::ToExplain),
            "on-hold": of(Standing::OnHold),
            "disposed": of(Standing::Disposed),
            "not-judged": of(Standing::NotJudged),
        },
        "panels": panels.iter().map(panel).collect::<Vec<_>>(),
    })
}

fn learned_json(learned: &Learned) -> Value {
    let estimate = |one: &Estimate| {
        json!({
            "contributor": one.contributor.word(),
            "weighed_kg": one.weighed_kg,
            "predicted_kg": one.predicted_kg,
            "prior_sigma_percent": one.prior * 100.0,
            "estimate_percent": one.share * 100.0,
            "sigma_percent": one.deviation * 100.0,
            "says": one.says.word(),
        })
    };
    json!({
        "weighings": learned.readings,
        "pieces": learned.pieces,
        "left_out": learned.left_out,
        "predicted_now": learned.of_now,
        "scatter_percent": learned.closeness.scatter * 100.0,
        "scale_percent": learned.closeness.scale * 100.0,
        "contributors": learned.estimates.iter().map(estimate).collect::<Vec<_>>(),
        "kg": learned.kg,
        "change_kg": learned.change_kg,
        "change_sigma_kg": learned.deviation_kg,
        "learned_kg": learned.kg + learned.change_kg,
        "panels": learned.panels.iter().map(|one| json!({
            "panel": one.panel,
            "kg": one.kg,
            "change_kg": one.change_kg,
            "change_sigma_kg": one.deviation_kg,
            "learned_kg": one.kg + one.change_kg,
        })).collect::<Vec<_>>(),
        "suggestion": SUGGESTION,
    })
}

/// Which pieces of a statement are to be explained or on hold, one sentence each.
pub(super) fn wanted(statement: &MassStatement) -> Vec<String> {
    let panels = statement.panels.iter();
    let all = panels.flat_map(|panel| panel.residuals.iter().map(move |one| (panel.panel.as_str(), one)));
    all.filter_map(|(panel, one)| want(panel, one)).collect()
}

fn want(panel: &str, one: &Residual) -> Option<String> {
    let piece = match &one.serial {
        Some(serial) => format!("{serial} of {panel}"),
        None => format!("The piece of weighing/{} of {panel}", one.weighing),
    };
    let off = format!("{} % when {}", plus(one.percent()?), one.condition);
    match one.standing {
        Standing::ToExplain => Some(format!(
            "{piece} is to be explained: {off}, beyond {}; write `explained:` into weighing/{}.",
            limit_percent(one.limits.explain),
            one.weighing
        )),
        Standing::OnHold => Some(format!(
            "{piece} is on hold: {off}, beyond {}; it wants a `disposition` in weighing/{}.",
            limit_percent(one.limits.hold),
            one.weighing
        )),
        _ => None,
    }
}

/// Returns the pieces, what was learned, or both, as plain text for a terminal so many columns wide.
pub fn text(
    statement: &MassStatement,
    (pieces, learned): (Option<&[PanelPieces]>, Option<&Learned>),
    left: &LeftOut,
    width: usize,
) -> String {
    let page = Page { statement, units: statement.units };
    let mut out = String::new();
    if let Some(pieces) = pieces {
        out.push_str(&pieces_text(&page, pieces, width));
    }
    if let Some(learned) = learned {
        if !out.is_empty() {
            out.push('\n');
        }
        out.push_str(&learned_text(&page, learned, width));
    }
    if let Some(words) = left_out(left) {
        out.push_str(&wrap(&words, width));
    }
    out.push('\n');
    out.push_str(&wrap(CAUTION, width));
    out
}

fn who(statement: &MassStatement) -> String {
    match &statement.scope {
        Scope::Programme => statement.programme.clone(),
        Scope::Panel(id) => format!("Panel {id}"),
        Scope::Assembly(id) => format!("Assembly {id}"),
    }
}

fn pieces_text(page: &Page<'_>, panels: &[PanelPieces], width: usize) -> String {
    let statement = page.statement;
    if panels.is_empty() {
        let none = format!("{}: nothing was on the scale yet.", who(statement));
        return wrap(&format!("{none} A weighing is a record in `weighings/`."), width);
    }
    let readings = panels.iter().flat_map(PanelPieces::readings).count();
    let pieces: usize = panels.iter().map(|panel| panel.pieces.len()).sum();
    let counts = tally(panels);
    let mut parts = Vec::new();
    for (standing, words) in [
        (Standing::OnHold, "on hold"),
        (Standing::ToExplain, "to be explained"),
        (Standing::Disposed, "disposed"),
        (Standing::Explained, "explained"),
        (Standing::Within, "within what passes"),
        (Standing::NotJudged, "not judged"),
    ] {
        if let Some(count) = counts.get(&standing) {
            parts.push(format!("{count} {words}"));
        }
    }
    let opening = format!(
        "{}: {} of {}: {}.",
        who(statement),
        weighings(readings),
        count(pieces, "piece"),
        parts.join(", ")
    );
    let mut out = wrap(&opening, width);
    out.push('\n');
    out.push_str(&piece_table(page, panels).render(width));
    let added = added_table(page, panels);
    if !added.is_empty() {
        out.push('\n');
        out.push_str(&added.render(width));
    }
    out.push('\n');
    for note in piece_notes(statement, panels) {
        out.push_str(&wrap(&note, width));
    }
    out
}

/// Says which weighings do not count; the first few by name.
fn left_out(left: &LeftOut) -> Option<String> {
    const NAMED: usize = 5;
    let named: Vec<String> =
        left.iter().take(NAMED).map(|(id, why)| format!("weighing/{id} ({why})")).collect();
    let more = match left.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let verb = if left.len() == 1 { "does" } else { "do" };
    (!left.is_empty())
        .then(|| format!("{} {verb} not count: {}{more}.", weighings(left.len()), named.join(", ")))
}

fn piece_table(page: &Page<'_>, panels: &[PanelPieces]) -> Table {
    let mut table = Table::new([
        ("panel", Align::Left),
        ("serial", Align::Left),
        ("condition", Align::Left),
        (page.unit(), Align::Right),
        ("as built", Align::Right),
        ("residual", Align::Right),
        ("%", Align::Right),
        ("standing", Align::Left),
    ]);
    for panel in panels {
        for (piece, reading) in panel.readings() {
            let one = &reading.residual;
            let predicted = page.number(one.predicted_kg);
            table.row([
                panel.panel.clone(),
                piece.serial.clone().unwrap_or_else(|| one.weighing.clone()),
                one.condition.to_string(),
                page.number(one.weighed_kg),
                if one.as_built { predicted } else { format!("{predicted} now") },
                page.signed(one.kg()),
                one.percent().map_or_else(String::new, plus),
                one.standing.word().replace('-', " "),
            ]);
        }
    }
    table
}

fn added_table(page: &Page<'_>, panels: &[PanelPieces]) -> Table {
    let mut table = Table::new([
        ("added since", Align::Left),
        ("serial", Align::Left),
        ("up to", Align::Left),
        (page.unit(), Align::Right),
        ("predicted", Align::Right),
        ("residual", Align::Right),
        ("%", Align::Right),
    ]);
    for piece in panels.iter().flat_map(|panel| &panel.pieces) {
        for reading in &piece.readings {
            let one = &reading.residual;
            if let Some(added) = reading.added {
                let predicted = page.number(added.predicted_kg);
                table.row([
                    added.since.to_string(),
                    piece.serial.clone().unwrap_or_default(),
                    one.condition.to_string(),
                    page.signed(added.weighed_kg),
                    if added.as_built { predicted } else { format!("{predicted} now") },
                    page.signed(added.kg()),
                    added.percent().map_or_else(String::new, plus),
                ]);
            }
        }
    }
    table
}

fn piece_notes(statement: &MassStatement, panels: &[PanelPieces]) -> Vec<String> {
    let mut notes = wanted(statement);
    let mut of_now = 0;
    for panel in panels {
        for (piece, reading) in panel.readings() {
            let one = &reading.residual;
            let name = piece.serial.clone().unwrap_or_else(|| format!("weighing/{}", one.weighing));
            let stage = one.condition;
            match (one.standing, &one.explained, &one.disposition) {
                (Standing::Disposed | Standing::Explained, _, Some(own)) => {
                    notes.push(format!(
                        "{name}, {stage}: {}, disposed by {} on {}.",
                        dot(&own.cause),
                        own.by,
                        own.on
                    ));
                }
                (Standing::Explained, Some(words), None) => {
                    notes.push(format!("{name}, {stage}: {}.", dot(words)));
                }
                (Standing::NotJudged, ..) => of_now += 1,
                _ => {}
            }
        }
    }
    if of_now > 0 {
        notes.push(format!(
            "{} no prediction as built, so that nothing holds the piece to it: write `as_built: {{predicted: ..}}`.",
            if of_now == 1 { "1 weighing keeps".to_string() } else { format!("{of_now} weighings keep") }
        ));
    }
    let limits: Vec<Limits> =
        panels.iter().flat_map(PanelPieces::readings).map(|(_, one)| one.residual.limits).collect();
    if let Some(first) = limits.first() {
        notes.push(if limits.iter().all(|own| own == first) {
            let (explain, hold) = (limit_percent(first.explain), limit_percent(first.hold));
            format!("Beyond {explain} a residual wants words, beyond {hold} the piece is on hold: `weighing` in ledger.yaml; 3 and 5 % where it says nothing (common practice, no source).")
        } else {
            "What wants words and what holds a piece differs by stage: `weighing` in ledger.yaml.".to_string()
        });
    }
    notes
}

/// Words without the full stop that a sentence of ours brings.
fn dot(words: &str) -> String {
    words.split_whitespace().collect::<Vec<_>>().join(" ").trim_end_matches('.').to_string()
}

fn learned_text(page: &Page<'_>, learned: &Learned, width: usize) -> String {
    let statement = page.statement;
    if learned.readings == 0 {
        return wrap(
            "No weighing to learn from: either nothing was on the scale, or every piece is on hold or was disposed.",
            width,
        );
    }
    let told = learned.estimates.iter().filter(|one| matches!(one.says, Says::Heavy | Says::Light)).count();
    let of = match &statement.scope {
        Scope::Programme => statement.programme.clone(),
        Scope::Panel(id) => format!("all pieces of panel {id}"),
        Scope::Assembly(id) => format!("one assembly {id}"),
    };
    let off = match told {
        0 => "no contributor is told to be systematically off".to_string(),
        1 => "1 contributor is systematically off".to_string(),
        more => format!("{more} contributors are systematically off"),
    };
    let (readings, pieces) = (weighings(learned.readings), count(learned.pieces, "piece"));
    let mass = if learned.deviation_kg > 0.0 {
        format!(
            "With all estimates {of} would weigh {} in place of {}: {}, give or take {} at two sigma of the estimates. {SUGGESTION}",
            page.mass(learned.kg + learned.change_kg),
            page.mass(learned.kg),
            page.signed(learned.change_kg),
            page.number(2.0 * learned.deviation_kg),
        )
    } else {
        format!(
            "The {} of {of} stay: what was on the scale is not predicted, and of the rest nothing can be learned.",
            page.mass(learned.kg)
        )
    };
    let opening = format!("Learned from {readings} of {pieces}: {off}. {mass}");
    let mut out = wrap(&opening, width);
    out.push('\n');
    let mut table = Table::new([
        ("contributor", Align::Left),
        ("on scale", Align::Right),
        ("predicted", Align::Right),
        ("before %", Align::Right),
        ("off %", Align::Right),
        ("sigma %", Align::Right),
        ("says", Align::Left),
    ]);
    for one in &learned.estimates {
        table.row([
            one.contributor.word().replace('-', " "),
            page.number(one.weighed_kg),
            page.number(one.predicted_kg),
            decimals(one.prior * 100.0, 1),
            plus(one.share * 100.0),
            decimals(one.deviation * 100.0, 1),
            one.says.word().replace('-', " "),
        ]);
    }
    out.push_str(&table.render(width));
    let mut panels = Table::new([
        ("panel", Align::Left),
        (page.unit(), Align::Right),
        ("learned", Align::Right),
        ("change", Align::Right),
        ("two sigma", Align::Right),
    ]);
    for one in &learned.panels {
        panels.row([
            one.panel.clone(),
            page.number(one.kg),
            page.number(one.kg + one.change_kg),
            page.signed(one.change_kg),
            page.number(2.0 * one.deviation_kg),
        ]);
    }
    if !panels.is_empty() {
        out.push('\n');
        out.push_str(&panels.render(width));
    }
    out.push('\n');
    for note in learned_notes(learned) {
        out.push_str(&wrap(&note, width));
    }
    out
}

fn learned_notes(learned: &Learned) -> Vec<String> {
    let mut notes = vec![format!(
        "Off and sigma are in per cent of the contributor's predicted mass. Before the readings it strays by its tolerances (two sigma), without areas and lengths; pieces stray by {} from each other and the scale by {}: `weighing` in ledger.yaml, 1 and 0.1 % where it says nothing (common practice, no source).",
        limit_percent(learned.closeness.scatter),
        limit_percent(learned.closeness.scale),
    )];
    let says = |says: Says| learned.estimates.iter().filter(move |one| one.says == says);
    let names = |says_: Says| -> Vec<String> {
        says(says_).map(|one| one.contributor.word().replace('-', " ")).collect()
    };
    for (kind, words) in [
        (Says::TooFew, "Too few to tell: the readings say little more than the tolerances did of"),
        (Says::NoTolerance, "No tolerance is written, so that nothing can be learned, of"),
        (Says::NotWeighed, "On no scale yet:"),
    ] {
        let names = names(kind);
        if !names.is_empty() {
            notes.push(format!("{words} {}.", names.join(", ")));
        }
    }
    if !learned.left_out.is_empty() {
        let names = learned.left_out.join(", ");
        notes.push(format!("Left out, on hold or disposed: {names}."));
    }
    if !learned.of_now.is_empty() {
        let names = learned.of_now.join(", ");
        notes.push(format!("Taken against the prediction of now, since none was kept: {names}."));
    }
    notes.push("Contributors of a weighed panel are its own of now in proportion, and what was on the scale is not changed.".to_string());
    notes
}

#[cfg(test)]
mod tests;
