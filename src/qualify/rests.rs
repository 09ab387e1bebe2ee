//! Verdicts that need other verdicts: `rests_on`, on subjects contained in, equal to or containing.

use super::judge::Reason;
use super::verdict::{Duty, DutyKey, Judged, Verdict, note};
use crate::article::{ArticleError, Face, Subject, Uses, expand, lamina_in};
use crate::ledger::Ledger;
use crate::record::sensitivity::Asks;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use thin_vec::ThinVec;

/// The rule of a reason that another duty is not met.
pub const RESTS_ON: &str = "rests on";

/// How a reason names the duty that is not met.
pub fn rested_on(showing: &str, subject: &Subject) -> String {
    format!("showing/{showing} {subject}")
}

/// Lays `rests_on` over verdicts: what rests on an unmet duty lapses and asks an analysis.
///
/// # Errors
/// [`ArticleError`] names a record that is missing.
pub fn rest(ledger: &Ledger, uses: &Uses, duties: &mut BTreeMap<DutyKey, Duty>) -> Result<(), ArticleError> {
    // Showings in an order in which those rested on come first; circles are faults that `check` reports
    // and end here because each showing is entered once.
    let mut order = Vec::new();
    let mut seen = BTreeSet::new();
    for id in ledger.showings.keys() {
        visit(ledger, id, &mut seen, &mut order);
    }
    for id in order {
        let Some(showing) = ledger.showings.get(&id) else { continue };
        if showing.value.rests_on.is_empty() {
            continue;
        }
        let keys: Vec<DutyKey> = of_showing(duties, &id).map(|(key, _)| key.clone()).collect();
        for key in keys {
            let mut found: BTreeMap<String, ThinVec<Reason>> = BTreeMap::new();
            let Some(duty) = duties.get(&key) else { continue };
            for needed in &showing.value.rests_on {
                let mut any = false;
                for ((own, subject), below) in of_showing(duties, needed.id()) {
                    if !related(ledger, uses, &key.1, subject)? {
                        continue;
                    }
                    any = true;
                    for panel in duty.panels.keys() {
                        let judged =
                            below.panels.get(panel).or_else(|| below.worst().map(|(_, worst)| worst));
                        if let Some(judged) = judged.filter(|judged| !judged.verdict.is_closed()) {
                            found.entry(panel.clone()).or_default().push(Reason {
                                was: "met".into(),
                                rule: RESTS_ON.into(),
                                source: format!("showing/{id}#rests_on").into(),
                                ..note(&rested_on(own, subject), judged.verdict.word(), Asks::Analysis)
                            });
                        }
                    }
                }
                if !any {
                    for panel in duty.panels.keys() {
                        found.entry(panel.clone()).or_default().push(Reason {
                            rule: RESTS_ON.into(),
                            source: format!("showing/{id}#rests_on").into(),
                            ..note(&format!("showing/{}", needed.id()), "no duty to rest on", Asks::Analysis)
                        });
                    }
                }
            }
            if let Some(duty) = duties.get_mut(&key) {
                for (panel, reasons) in found {
                    let stays = |own: &Arc<Judged>| match own.verdict {
                        Verdict::Met | Verdict::Lapsed | Verdict::Failed => false,
                        // One that a concession closes as far as its evidence goes is no different.
                        _ => own.granted.iter().all(|granted| granted.judged.is_none()),
                    };
                    if duty.panels.get(&panel).is_none_or(stays) {
                        continue;
                    }
                    let Some(judged) = Arc::make_mut(&mut duty.panels).get_mut(&panel) else { continue };
                    match judged.verdict {
                        Verdict::Met => {
                            let judged = Arc::make_mut(judged);
                            judged.verdict = Verdict::Lapsed;
                            judged.asks = Asks::Analysis;
                            judged.because = reasons;
                        }
                        // Whoever closes what lapsed or failed of itself would find it resting on what is not
                        // met, and whoever concedes it would not see that.
                        _ => Arc::make_mut(judged).because.extend(reasons),
                    }
                }
            }
        }
    }
    Ok(())
}

/// The duties of one showing, which stand side by side.
pub(super) fn of_showing<'d>(
    duties: &'d BTreeMap<DutyKey, Duty>,
    showing: &str,
) -> impl Iterator<Item = (&'d DutyKey, &'d Duty)> {
    let least = Subject::Lamina { material: String::new(), resin: None, process: String::new() };
    let showing = showing.to_string();
    let from = duties.range((showing.clone(), least)..);
    from.take_while(move |((own, _), _)| *own == showing)
}

fn visit(ledger: &Ledger, id: &str, seen: &mut BTreeSet<String>, order: &mut Vec<String>) {
    // An explicit stack: a chain of showings may be long.
    let mut stack = vec![(id.to_string(), false)];
    while let Some((id, done)) = stack.pop() {
        if done {
            order.push(id);
            continue;
        }
        if !seen.insert(id.clone()) {
            continue;
        }
        stack.push((id.clone(), true));
        if let Some(showing) = ledger.showings.get(&id) {
            stack.extend(showing.value.rests_on.iter().map(|needed| (needed.id().to_string(), false)));
        }
    }
}

/// Whether `one` contains, is, or is contained in `other`.
pub fn related(ledger: &Ledger, uses: &Uses, one: &Subject, other: &Subject) -> Result<bool, ArticleError> {
    Ok(one == other || contains(ledger, uses, one, other)? || contains(ledger, uses, other, one)?)
}

/// Programme, panel, painted, laminate, lamina; and panel over bond and sheet.
fn contains(ledger: &Ledger, uses: &Uses, outer: &Subject, inner: &Subject) -> Result<bool, ArticleError> {
    let lamina_of = |recipe: &str| match ledger.recipes.get(recipe) {
        Some(entry) => lamina_in(ledger, inner, entry),
        None => Ok(false),
    };
    match (outer, inner) {
        (Subject::Programme, _) => Ok(*inner != Subject::Programme),
        (Subject::Panel(panel), _) => Ok(uses.get(inner).is_some_and(|panels| panels.contains_key(panel))),
        (Subject::Painted(recipe, _), Subject::Laminate(own)) => Ok(recipe == own),
        (Subject::Painted(recipe, _) | Subject::Laminate(recipe), Subject::Lamina { .. }) => {
            lamina_of(recipe)
        }
        _ => Ok(false),
    }
}

/// Whether a subject is made with a material.
pub fn uses_material(ledger: &Ledger, subject: &Subject, material: &str) -> bool {
    let in_recipe = |recipe: &str| {
        ledger.recipes.get(recipe).is_some_and(|entry| {
            let resin = entry.value.resin.as_ref().is_some_and(|resin| resin.material.id() == material);
            resin
                || expand(ledger, entry)
                    .is_ok_and(|layers| layers.iter().any(|layer| layer.material.id == material))
        })
    };
    match subject {
        Subject::Lamina { material: own, resin, .. } => own == material || resin.as_deref() == Some(material),
        Subject::Laminate(recipe) => in_recipe(recipe),
        Subject::Painted(recipe, finish) => {
            in_recipe(recipe)
                || finish.as_ref().and_then(|finish| ledger.finishes.get(finish)).is_some_and(|finish| {
                    finish.value.coats.iter().any(|coat| coat.material.id() == material)
                })
        }
        Subject::Bond { adhesive, faces, .. } => {
            adhesive == material
                || faces.iter().any(|face| match face {
                    Face::Laminate(recipe) => in_recipe(recipe),
                    Face::Sheet(own) => own == material,
                })
        }
        Subject::Sheet(own, _) => own == material,
        Subject::Panel(panel) => ledger.panels.get(panel).is_some_and(|panel| {
            let value = &panel.value;
            value.zones.iter().any(|zone| {
                zone.recipe.as_ref().is_some_and(|recipe| in_recipe(recipe.id()))
                    || zone.sheet.as_ref().is_some_and(|sheet| sheet.material.id() == material)
            }) || value.joints.iter().any(|joint| joint.adhesive.id() == material)
        }),
        Subject::Programme => true,
    }
}
