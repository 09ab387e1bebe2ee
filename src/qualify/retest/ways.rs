//! The ways that need no test: a limit, undoing, a concession, a special factor.

use super::limits::AttributeLimit;
use crate::article::{Key, ORDER};
use crate::ledger::Ledger;
use crate::qualify::judge::Reason;
use crate::qualify::verdict::{Duty, DutyKey, Evaluation, Verdict};
use crate::record::sensitivity::Asks;
use std::collections::{BTreeMap, BTreeSet};

/// Attributes that a way without a test names.
const UNDO_SHOWN: usize = 8;
/// Showings that a limit names.
const RESTORED_SHOWN: usize = 4;

/// Returns a limit in words.
pub fn said(limit: &AttributeLimit) -> String {
    let showings: BTreeSet<&str> = limit.restores.iter().map(|(showing, _)| showing.as_str()).collect();
    let more = showings.len().saturating_sub(RESTORED_SHOWN);
    let named = showings.into_iter().take(RESTORED_SHOWN).collect::<Vec<_>>().join(", ");
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    let (finish, now) = (&limit.finish, limit.now);
    let count = match limit.restores.len() {
        1 => "1 duty".to_string(),
        many => format!("{many} duties"),
    };
    let what = if limit.attribute == "film-build.max" {
        format!(
            "a film of finish/{finish} no thicker than {} um at its upper limits, repaint included ({now} um now)",
            limit.largest
        )
    } else {
        format!(
            "a colour of finish/{finish} that absorbs no more than {:.2} of the sun, its tolerance as written ({now:.2} now)",
            limit.largest
        )
    };
    let left = match limit.leaves {
        0 => String::new(),
        1 => "; 1 more duty that it touches needs more than that".to_string(),
        left => format!("; {left} more duties that it touches need more than that"),
    };
    format!("{what}: restores {count} ({named}{more}){left}")
}

/// Returns the ways that need no test: a limit, a concession, a special factor, undoing.
///
/// `before` gives the duty as it stood before a change; what differed then already is not to be undone now.
/// What `limits` restore is said by them; of the rest it is said what would have to be kept.
pub fn ways<'e>(
    ledger: &Ledger,
    evaluation: &Evaluation,
    keys: &[DutyKey],
    before: &dyn Fn(&DutyKey) -> Option<&'e Duty>,
    limits: &[AttributeLimit],
) -> Vec<String> {
    let mut undo: BTreeSet<String> = BTreeSet::new();
    let mut film: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut hot: BTreeSet<String> = BTreeSet::new();
    let mut strength = false;
    let mut any = false;
    let mut moved = false;
    for key in keys {
        let Some(duty) = evaluation.duties.get(key).filter(|duty| !duty.verdict().is_closed()) else {
            continue;
        };
        any = true;
        let limited = |attribute: &str| {
            limits.iter().any(|one| one.attribute == attribute && one.restores.contains(key))
        };
        let by_colour = limited("colour.absorptance");
        moved |= !by_colour
            && duty.verdict() == Verdict::Failed
            && ledger
                .showings
                .get(&key.0)
                .is_some_and(|showing| showing.value.accept.above_skin_by.is_some());
        strength |= ledger
            .showings
            .get(&key.0)
            .is_some_and(|showing| showing.value.kind.as_str().contains("strength"));
        let old = before(key).map(Duty::because).unwrap_or_default();
        let reasons = duty.because();
        for reason in &reasons {
            let known = |old: &Reason| old.attribute == reason.attribute && old.is == reason.is;
            if reason.effect == Asks::None || old.iter().any(known) {
                continue;
            }
            let lapsed = duty.verdict() == Verdict::Lapsed;
            if reason.attribute.starts_with("film-build.max") && limited("film-build.max") {
                // Said by its limit.
            } else if reason.attribute.starts_with("film-build.max")
                && !reason.was.starts_with("0 ")
                && lapsed
            {
                let is_film = |reason: &Reason| reason.attribute.starts_with("film-build");
                let others = reasons.iter().filter(|other| !is_film(other)).map(|other| other.effect);
                let left = others.max().unwrap_or_default();
                film.entry(reason.was.to_string()).or_default().insert(match left {
                    Asks::None => key.0.clone(),
                    left => format!("{} (then asks {left})", key.0),
                });
            } else if reason.attribute == "skin.structural" && !by_colour {
                hot.insert(format!(
                    "a lighter colour on {}: no structural skin above {}",
                    reason.panels.join(", "),
                    reason.was
                ));
            }
            // Only what somebody wrote can be undone.
            let written = ORDER.contains(&Key::parse(&reason.attribute).base.as_str());
            if written && lapsed {
                undo.insert(reason.attribute.to_string());
            }
        }
    }
    let mut all: Vec<String> = limits.iter().map(said).collect();
    all.extend(hot);
    all.extend(film.into_iter().map(|(was, showings)| {
        let named: Vec<String> = showings.into_iter().collect();
        format!("a film no thicker than {was}: takes the film out of {}", named.join(", "))
    }));
    if !undo.is_empty() {
        let more = undo.len().saturating_sub(UNDO_SHOWN);
        let named: Vec<String> = undo.into_iter().take(UNDO_SHOWN).collect();
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        all.push(format!("undo: {}{more}", named.join(", ")));
    }
    if moved {
        all.push(
            "a colour that leaves the asked margin below the wet glass transition that was measured"
                .to_string(),
        );
    }
    if any {
        all.push(
            "a concession for named serials, until a day, approved by the roles that the ledger asks for"
                .to_string(),
        );
    }
    if strength {
        all.push(
            "a special factor on limit loads where a design value is uncertain (14 CFR 23.2265)".to_string(),
        );
    }
    all
}
