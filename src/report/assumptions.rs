//! Figures that stand on no evidence, as JSON and as text.

use super::head::CAUTION_LINE;
use super::mass::{POUND, decimals};
use super::page::{Frame, Page, count, merged};
use super::reason::names;
use crate::qualify::assumed::{Assumption, AssumptionKind};
use crate::quantity::UnitSystem;
use serde_json::{Value, json};

/// Assumptions shown of one kind, and what is named on each.
const SHOWN: usize = 15;
const DUTIES_SHOWN: usize = 3;
const PANELS_SHOWN: usize = 6;

/// Returns the assumptions as a document of schema `assumptions/1`.
pub fn json(assumptions: &[Assumption]) -> Value {
    let one = |one: &Assumption| {
        json!({
            "kind": one.kind.word(),
            "address": one.address,
            "what": one.what,
            "mass_kg": one.mass_kg,
            "duties": one.duties.iter().map(|(showing, subject)| json!({
                "showing": showing,
                "subject": subject.to_string(),
            })).collect::<Vec<_>>(),
            "panels": one.panels,
        })
    };
    json!({
        "schema": "assumptions/1",
        "assumptions": assumptions.iter().map(one).collect::<Vec<_>>(),
        "caution": CAUTION_LINE,
    })
}

/// Returns the assumptions as text, by kind, those that most stands on first.
pub fn text(assumptions: &[Assumption], frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.paragraph(&match assumptions.len() {
        0 => "Every figure in use stands on evidence or on a source of its own.".to_string(),
        1 => "One figure or condition is used without evidence.".to_string(),
        n => format!("{n} figures and conditions are used without evidence."),
    });
    let kinds = [
        (AssumptionKind::Source, "Assumed or from a handbook, by its own source"),
        (AssumptionKind::TypedIn, "Stiffness and strength typed in"),
        (AssumptionKind::Climate, "The design day"),
        (AssumptionKind::Judgement, "To judge the duties"),
    ];
    for (kind, title) in kinds {
        let mut all: Vec<&Assumption> = assumptions.iter().filter(|one| one.kind == kind).collect();
        if all.is_empty() {
            continue;
        }
        all.sort_by(|one, two| {
            two.mass_kg.total_cmp(&one.mass_kg).then_with(|| two.duties.len().cmp(&one.duties.len()))
        });
        page.heading(&format!("{title} ({})", all.len()));
        let groups = alike(&all);
        let shown = page.frame.shown(groups.len(), SHOWN);
        for group in groups.iter().take(shown) {
            write(&mut page, group);
        }
        let left: usize = groups.iter().skip(shown).map(Vec::len).sum();
        if left > 0 {
            page.paragraph(&format!("… and {left} more; --all shows them"));
        }
    }
    page.finish_with_caution()
}

/// Conditions on which the same stands are said together.
fn alike<'a>(all: &[&'a Assumption]) -> Vec<Vec<&'a Assumption>> {
    let mut groups: Vec<Vec<&Assumption>> = Vec::new();
    for one in all {
        let same = |group: &&mut Vec<&Assumption>| {
            group.first().is_some_and(|first| {
                one.kind == AssumptionKind::Judgement
                    && (&first.address, &first.duties, &first.panels)
                        == (&one.address, &one.duties, &one.panels)
            })
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(one),
            None => groups.push(vec![one]),
        }
    }
    groups
}

fn write(page: &mut Page<'_>, group: &[&Assumption]) {
    let Some(one) = group.first() else { return };
    let sentences: Vec<String> = group.iter().map(|one| sentence(one)).collect();
    for what in merged(&sentences) {
        page.hang("- ", "  ", &what);
    }
    let mut stands = Vec::new();
    if one.mass_kg > 0.0 {
        stands.push(match page.frame.units {
            UnitSystem::Si => format!("{} kg", decimals(one.mass_kg, 3)),
            UnitSystem::Imperial => format!("{} lb", decimals(one.mass_kg / POUND, 3)),
        });
    }
    if !one.duties.is_empty() {
        let duties: Vec<String> =
            one.duties.iter().map(|(showing, subject)| format!("{showing} {subject}")).collect();
        stands.push(format!("{} ({})", count(duties.len(), "duty"), names(&duties, page, DUTIES_SHOWN)));
    }
    if !one.panels.is_empty() {
        let panels = names(&one.panels, page, PANELS_SHOWN);
        stands.push(format!("{} ({panels})", count(one.panels.len(), "panel")));
    }
    let stands =
        if stands.is_empty() { "nothing judged or weighed yet".to_string() } else { stands.join(", ") };
    page.hang("    stands on it: ", "      ", &stands);
}

/// The sentences of a judgement name the record themselves.
fn sentence(one: &Assumption) -> String {
    match &one.address {
        Some(address) if !one.what.starts_with(address.as_str()) && one.kind != AssumptionKind::Climate => {
            format!("{address}: {}", one.what)
        }
        _ => one.what.clone(),
    }
}

#[cfg(test)]
mod tests;
