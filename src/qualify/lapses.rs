//! What was closed in one state and is not in another.

use super::judge::Reason;
use super::verdict::{DutyKey, Evaluation, Verdict, gravity};
use crate::article::Subject;
use crate::record::sensitivity::Asks;
use std::collections::BTreeMap;
use thin_vec::ThinVec;

/// A duty that was closed and no longer is.
#[derive(Debug, Clone, PartialEq)]
pub struct Lapse {
    /// The showing.
    pub showing: String,
    /// The subject as it is called then.
    pub subject: Subject,
    /// The gravest that becomes of it on any of the panels.
    pub now: Verdict,
    /// What it asks then.
    pub asks: Asks,
    /// The panels that lose it.
    pub panels: Vec<String>,
    /// Why, of the panel that it is gravest on.
    pub because: ThinVec<Reason>,
}

/// Finds what was closed in one state and is not in another, panel by panel. A duty whose subject has another
/// name then is the one that the panel is asked instead; one that is asked no longer has not lapsed.
pub fn lapses(before: &Evaluation, after: &Evaluation) -> Vec<Lapse> {
    let mut all: BTreeMap<DutyKey, Lapse> = BTreeMap::new();
    for (key, was) in &before.duties {
        let same = after.duties.get(key);
        for panel in was.panels.iter().filter(|(_, judged)| judged.verdict.is_closed()).map(|(name, _)| name)
        {
            let instead = || {
                after.duties.values().find(|one| {
                    one.showing == was.showing
                        && one.subject.kind() == was.subject.kind()
                        && one.panels.contains_key(panel)
                        && !before.duties.contains_key(&(one.showing.clone(), one.subject.clone()))
                })
            };
            let Some(duty) = same.filter(|one| one.panels.contains_key(panel)).or_else(instead) else {
                continue;
            };
            let Some(now) = duty.panels.get(panel).filter(|now| !now.verdict.is_closed()) else { continue };
            let lapse = all.entry((duty.showing.clone(), duty.subject.clone())).or_insert_with(|| Lapse {
                showing: duty.showing.clone(),
                subject: duty.subject.clone(),
                now: now.verdict,
                asks: now.asks,
                panels: Vec::new(),
                because: now.because.clone(),
            });
            let graver = gravity(lapse.now, lapse.asks) < now.gravity();
            if graver {
                (lapse.now, lapse.asks, lapse.because) = (now.verdict, now.asks, now.because.clone());
            }
            if !panel.is_empty() {
                lapse.panels.push(panel.clone());
            }
        }
    }
    all.into_values().collect()
}
