//! What is due: milestones, concessions, margins, routes of bonds.

use super::{Finding, Names, Raw, Side, duty_text, gravity, route_of};
use crate::change::margins::{Side as Grounds, lost};
use crate::ledger::{Entry, Ledger};
use crate::qualify::concede::{Pieces, Standing, conceded_by, duty_of, is_approved, standings};
use crate::qualify::margins::{PanelMargins, counts, signed};
use crate::qualify::table::Table;
use crate::qualify::verdict::{DutyKey, Evaluation, Verdict};
use crate::record::sensitivity::Asks;
use crate::record::{Address, ComputedCheck, Day, LoadPath, Panel, PolicyLevel, RecordKind, Text};
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::sync::Arc;

/// A milestone is claimed, and a duty that it needs is neither met nor conceded.
pub(super) fn milestone_not_earned(base: &Side<'_>, staged: &Side<'_>, names: &Names, into: &mut Vec<Raw>) {
    let reached = |ledger: &Ledger| {
        let name = ledger.head.as_ref()?.reached.as_ref()?.as_str().to_string();
        Some((ledger.milestone(Some(&name))?, name))
    };
    let Some((now, name)) = reached(staged.ledger) else { return };
    let before =
        reached(base.ledger).and_then(|(_, name)| staged.ledger.milestone(Some(names.milestone(&name))));
    if before.is_some_and(|before| now <= before) {
        return;
    }
    let Ok(evaluation) = staged.evaluation else { return };
    for (key, duty) in &evaluation.duties {
        // A duty without a milestone is needed always.
        let is_due = staged.ledger.milestone(duty.needed_by.as_deref()).is_none_or(|due| due <= now);
        let Some((panel, judged)) = duty.worst().filter(|_| is_due) else { continue };
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

/// A released panel leans on a concession that has ended or is used up.
///
/// One that does not cover what is missing, or is not approved, was never leant on: the rule on unqualified
/// recipes says so.
pub(super) fn expired_concession(ledger: &Ledger, evaluation: &Evaluation, today: Day, into: &mut Vec<Raw>) {
    let pieces = Pieces::of(ledger);
    for concession in ledger.concessions.values() {
        let Some(key) = duty_of(&concession.value) else { continue };
        let Some(duty) = evaluation.duties.get(&key) else { continue };
        for (panel, standing) in standings(&pieces, concession, duty, today) {
            let Some(judged) = duty.panels.get(&panel) else { continue };
            let needs = |own: &Entry<Panel>| {
                own.value.released && ledger.release_needs(&own.value, duty.needed_by.as_deref())
            };
            if !ledger.panels.get(&panel).is_some_and(needs) {
                continue;
            }
            let units = if concession.value.serials.is_empty() { "limit" } else { "serials" };
            let (how, route, help) = match standing {
                Standing::Ended(day) => (
                    format!("ended on {day}"),
                    "until",
                    "close the duty, write a new concession and have it approved, or take the panel's release back",
                ),
                Standing::UsedUp(how) => (
                    format!("is used up ({how})"),
                    units,
                    "close the duty, write another concession for the further units and have it approved, or take the panel's release back",
                ),
                _ => continue,
            };
            into.push(Raw {
                key: (format!("concession/{} panel/{panel}", concession.id), duty_text(&key)),
                finding: Finding {
                    rule: "expired-concession",
                    level: PolicyLevel::Block,
                    address: Address::new(RecordKind::Concession, concession.id.clone()),
                    route: route.to_string(),
                    panel: Some(panel.clone()),
                    message: format!(
                        "`{panel}` is released on concession/{}, which {how}; {} is {}",
                        concession.id,
                        duty_text(&key),
                        judged.verdict
                    ),
                    help: help.to_string(),
                    place: None,
                },
                gravity: gravity(judged),
            });
        }
    }
}

/// Concessions that a release leans on and that were not approved before, by the roles that were asked for
/// then.
///
/// Fewer approvals than the committed state asks for are none; an approval that comes with what it concedes
/// is shown.
pub(super) fn concession_approved(base: &Side<'_>, staged: &Side<'_>, names: &Names, into: &mut Vec<Raw>) {
    let Ok(evaluation) = staged.evaluation else { return };
    for (key, duty) in &evaluation.duties {
        for (panel, judged) in &*duty.panels {
            let Some(entry) = conceded_by(judged).and_then(|id| staged.ledger.concessions.get(id)) else {
                continue;
            };
            let released = staged.ledger.panels.get(panel).filter(|panel| {
                panel.value.released && staged.ledger.release_needs(&panel.value, duty.needed_by.as_deref())
            });
            let Some(own) = released else { continue };
            let by = |ledger: &Ledger| is_approved(ledger, &entry.value, staged.ledger.today);
            let called = names.concessions.iter().find(|(_, new)| **new == entry.id).map(|(old, _)| old);
            let known = base.ledger.concessions.get(called.unwrap_or(&entry.id));
            let before =
                known.is_some_and(|known| is_approved(base.ledger, &known.value, staged.ledger.today));
            let (level, what, help) = if !by(base.ledger) {
                (
                    PolicyLevel::Block,
                    "which is not approved by the roles that were asked for until now",
                    "have it approved by all of them, or change `approvals` by a decision and commit that first",
                )
            } else if !before && base.ledger.head.is_some() && was_closed(base, names, key, panel) {
                (PolicyLevel::Warn, "which is approved together with what it concedes", super::TOGETHER)
            } else {
                continue;
            };
            into.push(Raw {
                key: (format!("conceded panel/{panel}"), duty_text(key)),
                finding: Finding {
                    rule: "unqualified-recipe",
                    level,
                    address: Address::new(RecordKind::Panel, panel.clone()),
                    route: route_of(&own.value, evaluation, key, panel),
                    panel: Some(panel.clone()),
                    message: format!(
                        "`{panel}` is released, and {} is conceded by concession/{}, {what}",
                        duty_text(key),
                        entry.id
                    ),
                    help: help.to_string(),
                    place: None,
                },
                gravity: gravity(judged),
            });
        }
    }
}

/// Whether nothing stood in the way before: the duty was closed, or the panel was not released.
fn was_closed(base: &Side<'_>, names: &Names, key: &DutyKey, panel: &str) -> bool {
    let Ok(evaluation) = base.evaluation else { return false };
    let text = duty_text(key);
    let mut open = evaluation.duties.iter().flat_map(|(key, duty)| {
        let same = names.now(&duty_text(key)) == text;
        duty.panels.iter().filter(move |(_, judged)| same && !judged.verdict.is_closed())
    });
    let released = base.ledger.panels.iter().any(|(id, own)| names.panel(id) == panel && own.value.released);
    !released || !open.any(|(id, _)| names.panel(id) == panel)
}

/// A panel with its margins, and with those before, where it was there, and whether it was released then.
type Both<'a> = (&'a String, Arc<PanelMargins>, Option<(bool, Arc<PanelMargins>)>);

/// Margins that are computed of released panels and lie below nothing, or can no longer be computed; returns
/// the panels whose least margin is told.
///
/// A panel counts as released where it is so on either side. What both sides compute from the same was judged
/// when it came in, and is not computed again: an edit of a title asks for no plates. So what is counted as
/// known is of panels that changed.
pub(super) fn computed_margin(
    base: &Side<'_>,
    staged: &Side<'_>,
    names: &Names,
    new: &mut Vec<Raw>,
    old: &mut Vec<Raw>,
) -> BTreeSet<String> {
    let mut told = BTreeSet::new();
    let Ok(after) = staged.evaluation else { return told };
    let grounds = Grounds::of(staged.ledger, after);
    let earlier_grounds = base.evaluation.ok().map(|before| Grounds::of(base.ledger, before));
    let judged: Vec<Both<'_>> = staged
        .ledger
        .panels
        .par_iter()
        .filter_map(|(panel, entry)| {
            let earlier = names.panels.iter().find(|(_, now)| *now == panel).map_or(panel, |(was, _)| was);
            let known = base.ledger.panels.get(earlier);
            let was_released = known.is_some_and(|own| own.value.released);
            if !entry.value.released && !was_released {
                return None;
            }
            let same = known.is_some()
                && earlier_grounds.as_ref().is_some_and(|before| before.is_same(earlier, &grounds, panel));
            if same {
                return None;
            }
            // A stack that can't be laid up is a broken record's matter, which is said elsewhere.
            let margins = after.margins(staged.ledger, panel).ok()?;
            let before = base.evaluation.ok().filter(|_| known.is_some());
            let before = before.and_then(|own| own.margins(base.ledger, earlier).ok());
            Some((panel, margins, before.map(|before| (was_released, before))))
        })
        .collect();
    for (panel, margins, before) in judged {
        if let Some(raw) = below(panel, &margins) {
            told.insert(panel.clone());
            new.push(raw);
        }
        let Some((was_released, before)) = before else { continue };
        new.extend(no_longer(panel, &before, &margins));
        // Of a trial a negative margin stood in nobody's way: with its release it is new.
        if was_released {
            old.extend(below(panel, &before));
        }
    }
    told
}

/// A margin that could be computed and no longer can: nothing would say that it is gone.
fn no_longer(panel: &str, before: &PanelMargins, now: &PanelMargins) -> Option<Raw> {
    let (margin, lost) =
        lost(before, now).into_iter().min_by(|(one, _), (two, _)| one.margin.total_cmp(&two.margin))?;
    let place = if lost.place == margin.place || lost.why.contains(&lost.place) {
        String::new()
    } else {
        format!("{}, ", lost.place)
    };
    Some(Raw {
        key: (format!("panel/{panel}"), "margin not computed".to_string()),
        finding: Finding {
            rule: "negative-margin",
            level: PolicyLevel::Block,
            address: Address::new(RecordKind::Panel, panel),
            route: route_to(&margin.place),
            panel: Some(panel.to_string()),
            message: format!(
                "the margin of `{panel}` under {}, {} of {}, can no longer be computed: {place}{}",
                margin.case, margin.mode, margin.place, lost.why
            ),
            help: format!("write what is missing; `bondline panel {panel}` shows what can be computed"),
            place: None,
        },
        gravity: (2, Asks::None, 0),
    })
}

/// The place in a panel's record that a margin is of.
fn route_to(place: &str) -> String {
    let slug = |name: &str| name.replace(' ', "-");
    match (place.strip_prefix("zone "), place.strip_prefix("joint ")) {
        (Some(zone), _) => format!("zones.{}", slug(zone)),
        (_, Some(joint)) => format!("joints.{}", slug(joint)),
        _ => "section".to_string(),
    }
}

/// The least margin of a panel, where it is negative.
fn below(panel: &str, margins: &PanelMargins) -> Option<Raw> {
    let least = margins.governing(ComputedCheck::Margins).filter(|least| least.margin < 0.0)?;
    let layer = least.layer.as_ref().map_or(String::new(), |layer| {
        let name = layer.name.as_ref().map_or_else(|| format!("layer {}", layer.number), Clone::clone);
        format!(" in {name} ({})", layer.material)
    });
    let words = if least.words.is_empty() { String::new() } else { format!(": {}", least.words) };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let size = (-least.margin * 1e6).clamp(0.0, 1e15) as u64;
    Some(Raw {
        key: (format!("panel/{panel}"), "computed margin".to_string()),
        finding: Finding {
            rule: "negative-margin",
            level: PolicyLevel::Block,
            address: Address::new(RecordKind::Panel, panel),
            route: route_to(&least.place),
            panel: Some(panel.to_string()),
            message: format!(
                "the margin of `{panel}` under {} is {}: {} of {}{layer}{words}",
                least.case,
                signed(least.margin),
                least.mode,
                least.place
            ),
            help: format!(
                "strengthen the panel, lower what it carries, or take its release back; `bondline panel {panel}` \
                 shows every margin with the values that it stands on"
            ),
            place: None,
        },
        gravity: (3, Asks::None, size),
    })
}

/// Evidence, or a computed showing, shows a margin that is too small.
///
/// Of panels in `told` the least computed margin is told already, with where it fails.
pub(super) fn negative_margin(
    ledger: &Ledger,
    evaluation: &Evaluation,
    told: &BTreeSet<String>,
    into: &mut Vec<Raw>,
) {
    for (key, duty) in &evaluation.duties {
        let Some(showing) = ledger.showings.get(&key.0) else { continue };
        let Some(least) = &showing.value.accept.margin_at_least else { continue };
        let computed = Table::row(showing.value.kind.as_str()).is_some_and(|row| row.live);
        // A computed margin below nothing is told once for the panel, with where it fails.
        if computed && least.number() <= 0.0 {
            continue;
        }
        for (panel, judged) in duty.panels.iter().filter(|(_, judged)| judged.verdict == Verdict::Failed) {
            let entry = ledger.panels.get(panel);
            if computed
                && told.contains(panel)
                && counts(ComputedCheck::Margins, showing.value.computed_check())
            {
                continue;
            }
            // Trials may be computed to fail.
            if computed && !entry.is_some_and(|entry| entry.value.released) {
                continue;
            }
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
