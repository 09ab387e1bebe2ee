//! Margins before and after a change.

use crate::article::ArticleError;
use crate::ledger::{Entry, Ledger};
pub(crate) use crate::qualify::margins::Side;
use crate::qualify::margins::{Margin, PanelMargins, Uncomputed};
use crate::qualify::verdict::Evaluation;
use crate::record::{ComputedCheck, Panel};
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
    /// Why it, or something else of the case, can't be computed now: the least is then the least of what can.
    pub lacking: Option<String>,
    /// Whether some of that could be computed before.
    pub lost: bool,
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
                Some(own) => state.1.margins(state.0, &own.id),
                None => Ok(Arc::default()),
            };
            let (before, after): (Arc<PanelMargins>, Arc<PanelMargins>) = (of(base, old)?, of(head, new)?);
            Ok(by_case(panel, &before, &after))
        })
        .collect();
    moved.into_iter().collect::<Result<Vec<_>, _>>().map(|all| all.into_iter().flatten().collect())
}

/// The cases of a panel whose least margin differs, or of which less can be computed than before.
fn by_case(panel: &str, before: &PanelMargins, after: &PanelMargins) -> Vec<MarginMove> {
    let mut all = Vec::new();
    let lost = lost(before, after);
    let known: BTreeSet<&String> = before.uncomputed.iter().map(|one| &one.case).collect();
    // A case that came and of which nothing can be computed has no margin on either side.
    let came = after.uncomputed.iter().map(|one| &one.case);
    let came = came.filter(|case| !case.is_empty() && !known.contains(*case));
    let cases = before.margins.iter().chain(&after.margins).map(|margin| &margin.case);
    let cases: BTreeSet<&String> = cases.chain(came).collect();
    for case in cases {
        let (was, now) = (least(before, case), least(after, case));
        let gone = lost.iter().find(|(margin, _)| margin.case == *case).map(|(_, why)| *why);
        let same = match (was, now) {
            (Some(was), Some(now)) => {
                (was.margin - now.margin).abs() <= SAME * (1.0 + was.margin.abs()) && was.mode == now.mode
            }
            _ => false,
        };
        if same && gone.is_none() {
            continue;
        }
        let lacking = gone.or_else(|| after.uncomputed.iter().find(|one| one.case == *case));
        all.push(MarginMove {
            panel: panel.to_string(),
            case: case.clone(),
            was: was.cloned(),
            now: now.cloned(),
            lacking: lacking.map(|one| one.why.clone()),
            lost: gone.is_some(),
        });
    }
    all
}

/// Margins that could be computed and no longer can, each with what says why.
///
/// What is missing is of one case, or of all that the check has: of a whole section, or of a joint. What a
/// laminate lacks ends everything of its zone in that case, whatever check it is told under. What was missing
/// before just as it is now explains no loss.
pub(crate) fn lost<'m>(
    before: &'m PanelMargins,
    after: &'m PanelMargins,
) -> Vec<(&'m Margin, &'m Uncomputed)> {
    let still = |own: &Margin| {
        after.margins.iter().any(|now| {
            now.check == own.check
                && now.case == own.case
                && now.place == own.place
                && now.criterion == own.criterion
                && now.environment == own.environment
        })
    };
    let of_zone =
        |check| matches!(check, ComputedCheck::Strength | ComputedCheck::Sandwich | ComputedCheck::Buckling);
    let explains = |one: &Uncomputed, own: &Margin| {
        let check = one.check == own.check || one.check == ComputedCheck::Strength && of_zone(own.check);
        // A section speaks for its walls, and a panel for its zones.
        let place = one.place == own.place || one.place == "section" || one.place == "panel";
        let case = one.case.is_empty() || one.case == own.case;
        check && place && case && !before.uncomputed.contains(one)
    };
    let gone = before.of(ComputedCheck::Margins).filter(|own| !still(own));
    gone.filter_map(|own| Some((own, after.uncomputed.iter().find(|one| explains(one, own))?))).collect()
}

fn least<'m>(margins: &'m PanelMargins, case: &str) -> Option<&'m Margin> {
    margins
        .of(ComputedCheck::Margins)
        .filter(|margin| margin.case == case)
        .min_by(|one, two| one.margin.total_cmp(&two.margin))
}

#[cfg(test)]
mod tests;
