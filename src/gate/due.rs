//! What is due: milestones, concessions, margins, routes of bonds.

use super::{Finding, Names, Raw, Side, duty_text, gravity, milestone, route_of};
use crate::article::Subject;
use crate::ledger::Ledger;
use crate::qualify::verdict::{Evaluation, Verdict};
use crate::record::sensitivity::Asks;
use crate::record::{Address, Day, LoadPath, PolicyLevel, RecordKind, Text};

/// A milestone is claimed, and a duty that it needs is neither met nor conceded.
pub(super) fn milestone_not_earned(base: &Side<'_>, staged: &Side<'_>, names: &Names, into: &mut Vec<Raw>) {
    let reached = |ledger: &Ledger| {
        let name = ledger.head.as_ref()?.reached.as_ref()?.as_str().to_string();
        Some((milestone(ledger, Some(&name))?, name))
    };
    let Some((now, name)) = reached(staged.ledger) else { return };
    let before =
        reached(base.ledger).and_then(|(_, name)| milestone(staged.ledger, Some(names.milestone(&name))));
    if before.is_some_and(|before| now <= before) {
        return;
    }
    let Ok(evaluation) = staged.evaluation else { return };
    for (key, duty) in &evaluation.duties {
        let due = milestone(staged.ledger, duty.needed_by.as_deref()).filter(|due| *due <= now);
        let (Some(_), Some((panel, judged))) = (due, duty.worst()) else { continue };
        if judged.verdict.is_closed() {
            continue;
        }
        into.push(Raw {
            key: (format!("milestone {name}"), duty_text(key)),
            finding: Finding {
                rule: "milestone-not-earned",
                level: PolicyLevel::Block,
                address: Address::ledger(),
                route: "reached".to_string(),
                panel: (!panel.is_empty()).then(|| panel.clone()),
                message: format!(
                    "`{name}` is reached by `reached`, but {} is {}{}",
                    duty_text(key),
                    judged.verdict,
                    super::asks_words(judged)
                ),
                help: format!(
                    "leave `reached` where it was until the duty is met or conceded; `bondline gaps --milestone {name}` lists all"
                ),
                place: None,
            },
            gravity: gravity(judged),
        });
    }
}

/// A released panel leans on a concession that has ended.
pub(super) fn expired_concession(ledger: &Ledger, evaluation: &Evaluation, today: Day, into: &mut Vec<Raw>) {
    for concession in ledger.concessions.values() {
        let Some(subject) = Subject::from_label(&concession.value.subject) else { continue };
        let key = (concession.value.showing.id().to_string(), subject);
        let Some(duty) = evaluation.duties.get(&key) else { continue };
        if concession.value.until >= today {
            continue;
        }
        for (panel, judged) in duty.panels.iter().filter(|(_, judged)| !judged.verdict.is_closed()) {
            if !ledger.panels.get(panel).is_some_and(|panel| panel.value.released) {
                continue;
            }
            into.push(Raw {
                key: (format!("concession/{} panel/{panel}", concession.id), duty_text(&key)),
                finding: Finding {
                    rule: "expired-concession",
                    level: PolicyLevel::Block,
                    address: Address::new(RecordKind::Concession, concession.id.clone()),
                    route: "until".to_string(),
                    panel: Some(panel.clone()),
                    message: format!(
                        "`{panel}` is released on concession/{}, which ended on {}; {} is {}",
                        concession.id,
                        concession.value.until,
                        duty_text(&key),
                        judged.verdict
                    ),
                    help: "close the duty, write a new concession and have it approved, or take the panel's release back".to_string(),
                    place: None,
                },
                gravity: gravity(judged),
            });
        }
    }
}

/// Evidence shows a margin that is too small.
///
/// Margins are those that evidence records: this version computes none itself.
pub(super) fn negative_margin(ledger: &Ledger, evaluation: &Evaluation, into: &mut Vec<Raw>) {
    for (key, duty) in &evaluation.duties {
        let asks = ledger.showings.get(&key.0).is_some_and(|one| one.value.accept.margin_at_least.is_some());
        if !asks {
            continue;
        }
        for (panel, judged) in duty.panels.iter().filter(|(_, judged)| judged.verdict == Verdict::Failed) {
            let entry = ledger.panels.get(panel);
            let address = match entry {
                Some(_) => Address::new(RecordKind::Panel, panel.clone()),
                None => Address::new(RecordKind::Showing, key.0.clone()),
            };
            let words = judged.criterion.clone().unwrap_or_default();
            into.push(Raw {
                key: (format!("margin panel/{panel}"), duty_text(key)),
                finding: Finding {
                    rule: "negative-margin",
                    level: PolicyLevel::Block,
                    address,
                    route: entry.map_or_else(String::new, |entry| route_of(&entry.value, evaluation, key, panel)),
                    panel: (!panel.is_empty()).then(|| panel.clone()),
                    message: format!("{} fails: {words}", duty_text(key)),
                    help: format!(
                        "strengthen the panel or lower what it carries; `bondline why {} '{}'` shows the chain",
                        key.0, key.1
                    ),
                    place: None,
                },
                gravity: gravity(judged),
            });
        }
    }
}

/// A structural joint of a panel without a second load path names no way of being shown.
pub(super) fn bond_route(ledger: &Ledger, into: &mut Vec<Raw>) {
    for panel in ledger.panels.values().filter(|panel| panel.value.load_path == Some(LoadPath::Single)) {
        let structural =
            |role: &Option<Text>| role.as_ref().is_some_and(|role| role.as_str() == "structural");
        let open = |joint: &&crate::record::Joint| structural(&joint.role) && joint.route.is_none();
        for joint in panel.value.joints.iter().filter(open) {
            let name = joint.name.as_str().replace(' ', "-");
            into.push(Raw {
                key: (format!("bond-route panel/{}", panel.id), name.clone()),
                finding: Finding {
                    rule: "bond-route",
                    level: PolicyLevel::Block,
                    address: Address::new(RecordKind::Panel, panel.id.clone()),
                    route: format!("joints.{name}"),
                    panel: Some(panel.id.clone()),
                    message: format!(
                        "joint `{}` of `{}` carries the only load path and names no `route`",
                        joint.name, panel.id
                    ),
                    help: "write `route: arrest`, `proof` or `inspection`: by which of the three ways it is shown (14 CFR 23.573(a)(5), named from memory)".to_string(),
                    place: None,
                },
                gravity: (0, Asks::None, 0),
            });
        }
    }
}
