//! Margins before and after a change.

use crate::article::ArticleError;
use crate::ledger::{Entry, Ledger};
use crate::qualify::margins::{Margin, Memo, PanelMargins, margins_with};
use crate::qualify::verdict::{Duty, Evaluation, Judged};
use crate::record::{Climate, ComputedCheck, Finish, Material, Panel, Process, Recipe, Showing, Sourced};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// The least margin of one load case of a panel that a change moves.
#[derive(Debug, Clone, PartialEq)]
pub struct MarginMove {
    /// The panel.
    pub panel: String,
    /// The load case.
    pub case: String,
    /// The least margin of the case before; `None` where it is new.
    pub was: Option<Margin>,
    /// The least margin of the case now; `None` where it is no longer asked.
    pub now: Option<Margin>,
    /// Why it can't be computed now, where that is so.
    pub lacking: Option<String>,
}

/// Below this two margins are the same: the order of summing, not a change.
const SAME: f64 = 1e-9;

/// Compares the margins of panels whose design or design values differ.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which a stack can't be laid up.
pub fn moves(
    base: (&Ledger, &Evaluation),
    head: (&Ledger, &Evaluation),
    renamed: &BTreeMap<String, String>,
) -> Result<Vec<MarginMove>, ArticleError> {
    let memo = Memo::default();
    let (old_side, new_side) = (Side::of(base.0, base.1), Side::of(head.0, head.1));
    let now_called = |old: &String| renamed.get(old).unwrap_or(old).clone();
    let was_called = |new: &String| {
        let old = renamed.iter().find(|(_, own)| *own == new).map_or(new, |(old, _)| old);
        (now_called(old) == *new).then(|| old.clone())
    };
    // Panels of both states, each once, by the name that it has now.
    let gone = base.0.panels.keys().map(now_called);
    let names: BTreeSet<String> = head.0.panels.keys().cloned().chain(gone).collect();
    let names: Vec<String> = names.into_iter().collect();
    let carries = |own: &Entry<Panel>| {
        !own.value.loads.is_empty() || own.value.section.is_some() || !own.value.joints.is_empty()
    };
    let moved: Vec<Result<Vec<MarginMove>, ArticleError>> = names
        .par_iter()
        .map(|panel| {
            let old = was_called(panel).and_then(|old| base.0.panels.get(&old));
            let new = head.0.panels.get(panel);
            if !old.is_some_and(carries) && !new.is_some_and(carries) {
                return Ok(Vec::new());
            }
            if let (Some(old), Some(new)) = (old, new)
                && old_side.is_same(&old.id, &new_side, &new.id)
            {
                return Ok(Vec::new());
            }
            let of = |state: (&Ledger, &Evaluation), own: Option<&Entry<Panel>>| match own {
                Some(own) => margins_with(state.0, &state.1.duties, &own.id, &memo),
                None => Ok(PanelMargins::default()),
            };
            Ok(by_case(panel, &of(base, old)?, &of(head, new)?))
        })
        .collect();
    moved.into_iter().collect::<Result<Vec<_>, _>>().map(|all| all.into_iter().flatten().collect())
}

/// The cases of a panel whose least margin differs.
fn by_case(panel: &str, before: &PanelMargins, after: &PanelMargins) -> Vec<MarginMove> {
    let mut all = Vec::new();
    let cases: BTreeSet<&String> =
        before.margins.iter().chain(&after.margins).map(|margin| &margin.case).collect();
    for case in cases {
        let (was, now) = (least(before, case), least(after, case));
        let same = match (was, now) {
            (Some(was), Some(now)) => {
                (was.margin - now.margin).abs() <= SAME * (1.0 + was.margin.abs()) && was.mode == now.mode
            }
            _ => false,
        };
        if same {
            continue;
        }
        let lacking = after.uncomputed.iter().find(|one| one.case == *case).map(|one| one.why.clone());
        all.push(MarginMove {
            panel: panel.to_string(),
            case: case.clone(),
            was: was.cloned(),
            now: now.cloned(),
            lacking,
        });
    }
    all
}

fn least<'m>(margins: &'m PanelMargins, case: &str) -> Option<&'m Margin> {
    margins
        .of(ComputedCheck::Margins)
        .filter(|margin| margin.case == case)
        .min_by(|one, two| one.margin.total_cmp(&two.margin))
}

/// Everything that the margins of a panel are made from.
#[derive(PartialEq, Default)]
struct Inputs {
    panel: Option<Arc<Panel>>,
    recipes: Vec<Arc<Recipe>>,
    materials: Vec<Arc<Material>>,
    processes: Vec<Arc<Process>>,
    finishes: Vec<Arc<Finish>>,
    climate: Option<Climate>,
    /// Showings that values come from, what was judged of them, and the digests of their data.
    evidence: Vec<(Arc<Showing>, Vec<Arc<Judged>>, Vec<String>)>,
}

/// One state, with what gives design values found once for all panels.
pub(crate) struct Side<'a> {
    ledger: &'a Ledger,
    duties: BTreeMap<&'a str, Vec<&'a Duty>>,
}

impl<'a> Side<'a> {
    pub(crate) fn of(ledger: &'a Ledger, evaluation: &'a Evaluation) -> Self {
        let mut duties: BTreeMap<&str, Vec<&Duty>> = BTreeMap::new();
        for ((showing, _), duty) in &evaluation.duties {
            duties.entry(showing).or_default().push(duty);
        }
        Self { ledger, duties }
    }

    /// Whether a panel's margins are made from the same as those of a panel of another state.
    pub(crate) fn is_same(&self, panel: &str, other: &Side<'_>, named: &str) -> bool {
        self.inputs(panel) == other.inputs(named)
    }

    fn inputs(&self, panel: &str) -> Inputs {
        let ledger = self.ledger;
        let Some(entry) = ledger.panels.get(panel) else { return Inputs::default() };
        let mut found = Inputs {
            panel: Some(Arc::clone(&entry.value)),
            climate: ledger.head.as_ref().and_then(|head| head.climate.clone()),
            ..Inputs::default()
        };
        let mut materials: Vec<&str> = Vec::new();
        let mut showings: BTreeSet<&str> = BTreeSet::new();
        for zone in &entry.value.zones {
            materials.extend(zone.sheet.as_ref().map(|own| own.material.id()));
            let finish = zone.finish.as_ref().and_then(|own| ledger.finishes.get(own.id()));
            found.finishes.extend(finish.map(|own| Arc::clone(&own.value)));
            let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
                continue;
            };
            materials.extend(recipe.value.layers.iter().map(|layer| layer.material.id()));
            materials.extend(recipe.value.resin.as_ref().map(|own| own.material.id()));
            let process = ledger.processes.get(recipe.value.process.id());
            found.processes.extend(process.map(|own| Arc::clone(&own.value)));
            found.recipes.push(Arc::clone(&recipe.value));
        }
        for joint in &entry.value.joints {
            materials.push(joint.adhesive.id());
            let process = joint.process.as_ref().and_then(|own| ledger.processes.get(own.id()));
            found.processes.extend(process.map(|own| Arc::clone(&own.value)));
        }
        for material in materials.into_iter().filter_map(|id| ledger.materials.get(id)) {
            found.materials.push(Arc::clone(&material.value));
            let lamina = material.value.lamina.iter().flat_map(|own| [&own.e1, &own.e2, &own.g12]);
            let strength = material.value.strength.iter().flat_map(|own| own.figures());
            let strength = strength.filter_map(|(_, sourced)| sourced);
            for sourced in lamina.chain(strength) {
                if let Sourced::From(own) = sourced {
                    showings.extend(own.iter().map(|one| one.id()));
                }
            }
        }
        if let Some(own) = &entry.value.design_strain {
            for sourced in [&own.tension, &own.compression, &own.shear].into_iter().flatten() {
                if let Sourced::From(own) = sourced {
                    showings.extend(own.iter().map(|one| one.id()));
                }
            }
        }
        for id in showings {
            let Some(showing) = ledger.showings.get(id) else { continue };
            let duties = self.duties.get(id).map_or(&[][..], Vec::as_slice);
            let judged: Vec<Arc<Judged>> = duties
                .iter()
                .filter_map(|duty| duty.panels.get(panel).or_else(|| duty.worst().map(|(_, worst)| worst)))
                .cloned()
                .collect();
            let digests = judged
                .iter()
                .flat_map(|one| &one.evidence)
                .filter_map(|id| ledger.data.get(id))
                .map(|data| data.digest.clone())
                .collect();
            found.evidence.push((Arc::clone(&showing.value), judged, digests));
        }
        found
    }
}
