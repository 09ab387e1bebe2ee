//! Pieces of released panels that are on hold for their mass, and what may not become of the readings that hold them.

use super::decided::{Edited, roles};
use super::{Finding, Names, Raw};
use crate::change::diff::{Change, short, tree};
use crate::change::explain::record_of;
use crate::change::same::same;
use crate::ledger::Ledger;
use crate::ledger::weighed::{Limits, Standing, limit_percent, percent, piece, share_off, stage, standing};
use crate::record::sensitivity::Asks;
use crate::record::{Address, Condition, LedgerHead, PolicyLevel, RecordKind};
use serde_json::Value;

/// Finds them by the stricter of the committed limits and those of `ledger`, so that raising a limit takes no
/// piece off hold in the same commit.
pub(super) fn pieces_on_hold(committed: &Ledger, ledger: &Ledger, into: &mut Vec<Raw>) {
    for weighing in ledger.weighings_by_now() {
        let id = weighing.value.panel.id();
        if !ledger.panels.get(id).is_some_and(|panel| panel.value.released) {
            continue;
        }
        let stage = stage(&weighing.value);
        let mut limits = Limits::of(ledger, stage);
        if committed.head.is_some() {
            limits = limits.stricter(Limits::of(committed, stage));
        }
        let Some(off) = share_off(&weighing.value) else { continue };
        if standing(&weighing.value, limits) != Standing::OnHold {
            continue;
        }
        let address = Address::new(RecordKind::Weighing, weighing.id.clone());
        // In millionths, so that rounding makes nothing graver.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let millionths = (off.abs() * 1e6).round().clamp(0.0, 1e15) as u64;
        into.push(Raw {
            key: (address.to_string(), format!("panel/{id}")),
            finding: Finding {
                rule: "piece-on-hold",
                level: PolicyLevel::Block,
                address,
                route: "mass".to_string(),
                panel: Some(id.to_string()),
                message: format!(
                    "`{id}` is released, but {} is on hold: {} off its prediction when {stage}, beyond {}",
                    piece(&weighing.id, &weighing.value),
                    percent(off),
                    limit_percent(limits.hold)
                ),
                help: "weigh it again and measure what it is made of, then write `disposition: {cause: .., by: .., on: DAY}` into the weighing; `bondline mass --weighings` shows its stages".to_string(),
                place: None,
            },
            gravity: (0, Asks::None, millionths),
        });
    }
}

/// What of a weighing says that its piece is held; the rest of the record may be written on.
const HELD_BY: [&str; 6] = ["as_built", "condition", "mass", "on", "panel", "serial"];

/// Finds readings that hold a piece of a released panel and are gone or say something else, where no decision accounts
/// for it. Another reading is another record, and a disposition is what takes a piece off hold.
pub(super) fn altered_readings(
    base: &Ledger,
    staged: &Ledger,
    names: &Names,
    edited: &Edited<'_>,
    into: &mut Vec<Raw>,
) {
    let by = roles(base, staged);
    for old in base.weighings_by_now() {
        let (id, panel) = (&old.id, old.value.panel.id().to_string());
        let released =
            |ledger: &Ledger, id: &str| ledger.panels.get(id).is_some_and(|own| own.value.released);
        let limits = Limits::of(base, stage(&old.value));
        if standing(&old.value, limits) != Standing::OnHold
            || !(released(base, &panel) || released(staged, names.panel(&panel)))
        {
            continue;
        }
        let own = Address::new(RecordKind::Weighing, id.clone());
        let explained = |key: &str| {
            let of = |change: &&Change| {
                record_of(&change.address) == own.to_string()
                    && (key.is_empty() && change.attribute.is_empty()
                        || change.attribute.split('.').next() == Some(key))
            };
            let mut all = edited.edits.changes.iter().filter(of).peekable();
            all.peek().is_some() && all.all(|change| edited.explained.covers(change))
        };
        let off = share_off(&old.value).map_or(String::new(), |off| {
            format!(" ({} off its prediction, beyond {})", percent(off), limit_percent(limits.hold))
        });
        let holds = format!("which holds {}{off}", piece(id, &old.value));
        let mut push = |route: &str, message: String| {
            let at = if route.is_empty() { own.to_string() } else { format!("{own}#{route}") };
            into.push(Raw {
                key: (format!("altered {at}"), String::new()),
                finding: Finding {
                    rule: "altered-evidence",
                    level: PolicyLevel::Block,
                    address: own.clone(),
                    route: route.to_string(),
                    panel: Some(panel.clone()),
                    message,
                    help: format!(
                        "leave the reading as it was: another one is another weighing, and `disposition: {{cause: .., by: .., on: DAY}}` takes the piece off hold; or write a decision that changes `{at}`, have it approved{by} and commit that first"
                    ),
                    place: None,
                },
                gravity: (0, Asks::None, 0),
            });
        };
        let called = edited.edits.renamed.get(&(RecordKind::Weighing, id.clone())).unwrap_or(id);
        let Some(new) = staged.weighings.get(called) else {
            if !staged.broken.contains(&own) && !explained("") {
                push("", format!("{own}, {holds}, is gone, and no approved decision says so"));
            }
            continue;
        };
        let (was, is) = (tree(&*old.value), tree(&*new.value));
        for key in HELD_BY {
            let of = |tree: &Value| -> Value {
                let own = tree.get(key).cloned().unwrap_or(Value::Null);
                // The commit that a piece was built to is a hint; what it was predicted to weigh there holds it.
                if key == "as_built" { own.get("predicted").cloned().unwrap_or(Value::Null) } else { own }
            };
            let (was, is) = (of(&was), of(&is));
            let renamed =
                key == "panel" && was.as_str().is_some_and(|was| is == *names.panel(&was.to_string()));
            if same(&was, &is) || renamed || explained(key) {
                continue;
            }
            let said = |value: &Value| if value.is_null() { "nothing".to_string() } else { short(value) };
            let (was, is) = (said(&was), said(&is));
            let at = if key == "as_built" { "as_built.predicted" } else { key };
            let message = format!(
                "`{at}` of {own}, {holds}, differs ({was} -> {is}), and no approved decision says so"
            );
            push(at, message);
        }
    }
}

/// `a`, `a or b`, `a, b or c`.
fn either(all: &[String]) -> String {
    match all.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// What weighings are held to less than they were, in words.
pub(super) fn loosened(old: &LedgerHead, new: &LedgerHead) -> Vec<String> {
    let stages = [Condition::Trimmed, Condition::Bare, Condition::Primed, Condition::Painted];
    let mut all = Vec::new();
    let mut looser = |what: &str, of: fn(Limits) -> f64| {
        let limit = |head: &LedgerHead, stage| of(Limits::by(head.weighing.as_ref(), stage));
        let moved =
            stages.map(|stage| (stage, limit_percent(limit(old, stage)), limit_percent(limit(new, stage))));
        let raised = stages.map(|stage| limit(new, stage) > limit(old, stage));
        let mut said: Vec<(&String, &String, Vec<String>)> = Vec::new();
        for (stage, was, is) in moved.iter().zip(raised).filter(|(_, raised)| *raised).map(|(own, _)| own) {
            match said.iter_mut().find(|(one, two, _)| (*one, *two) == (was, is)) {
                Some((_, _, stages)) => stages.push(stage.to_string()),
                None => said.push((was, is, vec![stage.to_string()])),
            }
        }
        for (was, is, which) in said {
            let which = match which.len() == stages.len() {
                true => "a piece".to_string(),
                false => format!("a piece that is {}", either(&which)),
            };
            all.push(format!("{which} {what} beyond {is} of its prediction instead of {was}"));
        }
    };
    looser("wants words only", |limits| limits.explain);
    looser("is held only", |limits| limits.hold);
    all
}
