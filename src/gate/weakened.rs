//! What is asked may not get less unless somebody decides it: showings, and what the ledger itself guards.

use super::decided::{Edited, roles};
use super::{Finding, Names, Raw, Side, duty_text};
use crate::change::diff::{Change, short, tree};
use crate::change::explain::record_of;
use crate::change::same::same;
use crate::ledger::{Ledger, gate_level};
use crate::qualify::delta::number;
use crate::qualify::verdict::by_paper;
use crate::record::sensitivity::Asks;
use crate::record::{Address, LedgerHead, PolicyLevel, RecordKind, Showing, Text};
use serde_json::Value;
use std::collections::BTreeSet;

/// The keys of a showing that say what is asked.
const ASKED: [&str; 12] = [
    "accept",
    "applies_to",
    "environment",
    "kind",
    "means",
    "needed_by",
    "normalise",
    "plan",
    "rests_on",
    "sensitivity",
    "statistics",
    "subject",
];

/// Finds showings that ask less than they did, and heads that guard less, where no decision accounts for it.
pub(super) fn weakened(
    base: &Side<'_>,
    staged: &Side<'_>,
    names: &Names,
    edited: &Edited<'_>,
    into: &mut Vec<Raw>,
) {
    let by = roles(base.ledger, staged.ledger);
    let mut push = |address: Address, route: &str, panel: Option<String>, message: String| {
        let at = if route.is_empty() { address.to_string() } else { format!("{address}#{route}") };
        into.push(Raw {
            key: (format!("weakened {at}"), String::new()),
            finding: Finding {
                rule: "weakened-requirement",
                level: PolicyLevel::Block,
                address,
                route: route.to_string(),
                panel,
                message,
                help: format!("write a decision that changes `{at}`, have it approved{by} and commit that first; or undo the change"),
                place: None,
            },
            gravity: (0, Asks::None, 0),
        });
    };
    for (id, old) in &base.ledger.showings {
        let Some(asked) = asked_of(base, staged, id, &old.value) else { continue };
        let address = Address::new(RecordKind::Showing, id.clone());
        let own = |route: &str| -> Vec<&Change> {
            let of = |change: &&Change| {
                let mut first = change.attribute.split('.');
                record_of(&change.address) == address.to_string()
                    && (route.is_empty() && change.attribute.is_empty() || first.next() == Some(route))
            };
            edited.edits.changes.iter().filter(of).collect()
        };
        let explained = |route: &str| {
            let own = own(route);
            !own.is_empty() && own.into_iter().all(|change| edited.explained.covers(change))
        };
        let Some(new) = staged.ledger.showings.get(id) else {
            let broken = staged.ledger.broken.contains(&address);
            if !broken && !names.showings.contains_key(id) && !explained("") {
                push(
                    address.clone(),
                    "",
                    asked.panel.clone(),
                    format!("showing/{id} is gone, {}, and no approved decision says so", asked.words),
                );
            }
            continue;
        };
        let (was, is) = (tree(&*old.value), tree(&*new.value));
        for key in ASKED {
            let (was, is) = (was.get(key).unwrap_or(&Value::Null), is.get(key).unwrap_or(&Value::Null));
            if same(was, is) || explained(key) {
                continue;
            }
            let who = match key {
                "applies_to" => match narrowed(base, staged, names, id) {
                    Ok(loses) => loses.map(|panel| match panel.as_str() {
                        "" => (None, "the programme no longer answers to it".to_string()),
                        own => (Some(panel.clone()), format!("`{own}` no longer answers to it")),
                    }),
                    // What can't be judged is in doubt.
                    Err(()) => Some((asked.panel.clone(), asked.words.clone())),
                },
                // Where paper alone is named, an analysis stands by itself.
                "means" => (by_paper(&new.value.means) && !by_paper(&old.value.means))
                    .then(|| (asked.panel.clone(), asked.words.clone())),
                _ => loosens(staged.ledger, names, key, was, is)
                    .then(|| (asked.panel.clone(), asked.words.clone())),
            };
            let Some((panel, words)) = who else { continue };
            let message = format!(
                "`{key}` of showing/{id} is not what it was ({} -> {}), {words}, and no approved decision says so",
                said(was),
                said(is)
            );
            push(address.clone(), key, panel, message);
        }
    }
    if let (Some(old), Some(new)) = (&base.ledger.head, &staged.ledger.head) {
        for (route, what) in relaxed(old, new, names) {
            let first = |change: &&Change| {
                record_of(&change.address) == "ledger" && change.attribute.split('.').next() == Some(route)
            };
            let own: Vec<&Change> = edited.edits.changes.iter().filter(first).collect();
            if own.is_empty() || !own.into_iter().all(|change| edited.explained.covers(change)) {
                push(Address::ledger(), route, None, format!("{what}, and no approved decision says so"));
            }
        }
    }
}

/// A key of a showing in a few words.
fn said(value: &Value) -> String {
    let text = match value {
        Value::Null => "nothing".to_string(),
        other => short(other),
    };
    let text = text.strip_prefix('{').and_then(|text| text.strip_suffix('}')).unwrap_or(&text);
    if text.chars().count() <= LONGEST {
        return text.to_string();
    }
    format!("{}...", text.chars().take(LONGEST - 3).collect::<String>())
}

/// Longer values are cut.
const LONGEST: usize = 60;

/// Who answers to a showing.
struct Asked {
    panel: Option<String>,
    words: String,
}

/// A released panel, in either state, that has a duty of the showing, or a reached milestone that needs it.
fn asked_of(base: &Side<'_>, staged: &Side<'_>, id: &str, showing: &Showing) -> Option<Asked> {
    let released = |panel: &str| {
        [base.ledger, staged.ledger]
            .into_iter()
            .any(|ledger| ledger.panels.get(panel).is_some_and(|panel| panel.value.released))
    };
    let panel = match base.evaluation {
        Ok(evaluation) => {
            let duties = evaluation.duties.iter().filter(|((own, _), _)| own == id);
            duties.flat_map(|(_, duty)| duty.panels.keys()).find(|panel| released(panel)).cloned()
        }
        // Where nobody can say who answers to it, every released panel may.
        Err(_) => {
            let all = base.ledger.panels.keys().chain(staged.ledger.panels.keys());
            let found = all.filter(|panel| released(panel)).min()?;
            return Some(Asked {
                panel: Some(found.clone()),
                words: format!("what is committed can't be judged, so `{found}` may be released on it"),
            });
        }
    };
    if let Some(panel) = panel {
        let words = format!("`{panel}` is released on it");
        return Some(Asked { panel: Some(panel), words });
    }
    let due = base.ledger.milestone(showing.needed_by.as_ref().map(Text::as_str))?;
    // The later of both, so that nothing is put off by the commit that claims the milestone.
    let reached = [base.ledger, staged.ledger]
        .into_iter()
        .filter_map(|ledger| base.ledger.milestone(ledger.head.as_ref()?.reached.as_ref().map(Text::as_str)))
        .max()?;
    (due <= reached).then(|| Asked {
        panel: None,
        words: format!("`{}` is reached on it", showing.needed_by.as_ref().map_or("", Text::as_str)),
    })
}

/// Returns whether a key of a showing asks less than it did; in doubt it does.
fn loosens(ledger: &Ledger, names: &Names, key: &str, was: &Value, is: &Value) -> bool {
    let milestone_of = |text: &Value| ledger.milestone(text.as_str().map(|text| names.milestone(text)));
    match key {
        // A showing without a milestone is needed always.
        "needed_by" => match (milestone_of(was), ledger.milestone(is.as_str())) {
            (_, None) => !is.is_null(),
            (None, Some(_)) => true,
            (Some(was), Some(is)) => is > was,
        },
        "plan" => lowered(was, is),
        // A further criterion asks more, and so does a narrower one; any other is another question.
        "accept" => {
            let (Some(was), Some(is)) = (was.as_object(), is.as_object()) else { return true };
            // A basis stands in for the least of all, and of a large sample it is the lower figure.
            let by_basis = was.contains_key("at_least") && !was.contains_key("basis");
            by_basis && is.contains_key("basis")
                || was.iter().any(|(key, value)| {
                    !is.get(key).is_some_and(|is| is == value || is_narrower(key, value, is))
                })
        }
        "rests_on" => {
            let empty = Vec::new();
            let (was, is) = (was.as_array().unwrap_or(&empty), is.as_array().unwrap_or(&empty));
            let now = |one: &Value| match one.as_str().and_then(|id| names.showings.get(id)) {
                Some(new) => Value::String(new.clone()),
                None => one.clone(),
            };
            was.iter().any(|one| !is.contains(&now(one)))
        }
        _ => true,
    }
}

/// Returns whether a least figure is greater than it was, or a greatest one smaller, in the same unit, or the
/// basis the stricter one.
fn is_narrower(key: &str, was: &Value, is: &Value) -> bool {
    if key == "basis" {
        return was == "B" && is == "A";
    }
    let (Some((was, own)), Some((is, unit))) = (was.as_str().and_then(number), is.as_str().and_then(number))
    else {
        return false;
    };
    let least = key.ends_with("at_least") || key == "above_skin_by";
    own == unit && (least && is >= was || key.ends_with("at_most") && is <= was)
}

/// Returns whether a plan asks for fewer specimens, batches, panels or readings in time, or names the first
/// readings.
fn lowered(was: &Value, is: &Value) -> bool {
    let count = |plan: &Value, key: &str| plan.get(key).and_then(Value::as_u64).unwrap_or(0);
    let fewer =
        |was: &Value, is: &Value, keys: &[&str]| keys.iter().any(|key| count(is, key) < count(was, key));
    let equivalence = |plan: &Value| plan.get("equivalence").cloned().unwrap_or(Value::Null);
    let (was_small, is_small) = (equivalence(was), equivalence(is));
    let readings = |plan: &Value| plan.get("readings").and_then(Value::as_array).cloned().unwrap_or_default();
    let now = readings(is);
    let before = readings(was);
    // Readings named where none were leave every other exposure unasked; a smaller set than the usual one may be
    // new, which is doubt enough.
    before.is_empty() && !now.is_empty()
        || before.iter().any(|one| !now.contains(one))
        || fewer(was, is, &["specimens", "batches", "panels_per_batch"])
        || was_small != is_small
            && (was_small.is_null() || fewer(&was_small, &is_small, &["specimens", "panels"]))
}

/// Returns the first panel that loses a duty of a showing though it still has the subject; released ones go
/// before others. `Err` where either state can't be judged.
fn narrowed(base: &Side<'_>, staged: &Side<'_>, names: &Names, id: &str) -> Result<Option<String>, ()> {
    let (Ok(before), Ok(after)) = (base.evaluation, staged.evaluation) else { return Err(()) };
    let now: BTreeSet<(String, &String)> = after
        .duties
        .iter()
        .flat_map(|(key, duty)| duty.panels.keys().map(move |panel| (duty_text(key), panel)))
        .collect();
    let used: BTreeSet<(String, &String)> = after
        .uses
        .iter()
        .flat_map(|(subject, panels)| {
            let text = duty_text(&(id.to_string(), subject.clone()));
            panels.keys().map(move |panel| (text.clone(), panel))
        })
        .collect();
    let own = before.duties.iter().filter(|((own, _), _)| own == id);
    let mut lost: Vec<&String> = own
        .flat_map(|(key, duty)| duty.panels.keys().map(move |panel| (key, panel)))
        .filter(|(key, panel)| {
            let is = (names.now(&duty_text(key)), names.panel(panel));
            (panel.is_empty() || used.contains(&is)) && !now.contains(&is)
        })
        .map(|(_, panel)| panel)
        .collect();
    let released = |panel: &String| base.ledger.panels.get(panel).is_some_and(|panel| panel.value.released);
    lost.sort_by_key(|panel| (!released(panel), (*panel).clone()));
    Ok(lost.first().map(|panel| (*panel).clone()))
}

/// What the head guards less than it did: the key, and what differs, in words.
fn relaxed(old: &LedgerHead, new: &LedgerHead, names: &Names) -> Vec<(&'static str, String)> {
    let mut all = Vec::new();
    for (rule, _) in super::RULES {
        let (was, is) = (gate_level(Some(old), rule), gate_level(Some(new), rule));
        if is > was {
            let words = format!("the policy on {rule} goes from `{}` to `{}`", was.word(), is.word());
            all.push(("policy", words));
        }
    }
    let roles = |head: &LedgerHead| -> BTreeSet<(&'static str, String)> {
        let Some(approvals) = &head.approvals else { return BTreeSet::new() };
        let of = |what: &'static str, roles: &[Text]| {
            roles.iter().map(|role| (what, role.to_string())).collect::<Vec<_>>()
        };
        let (decisions, concessions) =
            (of("decision", &approvals.decision), of("concession", &approvals.concession));
        decisions.into_iter().chain(concessions).collect()
    };
    for (what, role) in roles(old).difference(&roles(new)) {
        all.push(("approvals", format!("a {what} no longer needs {role}")));
    }
    let persons = |head: &LedgerHead| head.approvals.as_ref().and_then(|own| own.persons).unwrap_or(0);
    if persons(new) < persons(old) {
        let words = format!("{} people must approve instead of {}", persons(new), persons(old));
        all.push(("approvals", words));
    }
    if !same(&tree(&old.climate), &tree(&new.climate)) {
        all.push(("climate", "the design day is another".to_string()));
    }
    if !same(&tree(&old.statistics), &tree(&new.statistics)) {
        all.push(("statistics", "the levels of the tests behind design values are others".to_string()));
    }
    all.extend(super::held::loosened(old, new).into_iter().map(|words| ("weighing", words)));
    let place = |name: &Option<Text>| {
        let now = names.milestone(name.as_ref()?.as_str());
        new.milestones.iter().position(|own| own.as_str() == now)
    };
    let is = new.reached.as_ref().and_then(|name| new.milestones.iter().position(|own| own == name));
    if old.reached.is_some() && is < place(&old.reached) {
        all.push(("reached", "the milestone reached goes back".to_string()));
    }
    // Milestones that change places move what is due; one that is only called otherwise stands where it stood.
    let now: Vec<&str> = old.milestones.iter().map(|name| names.milestone(name.as_str())).collect();
    let kept: Vec<&str> =
        now.iter().copied().filter(|now| new.milestones.iter().any(|name| name.as_str() == *now)).collect();
    let order: Vec<&str> =
        new.milestones.iter().map(Text::as_str).filter(|name| now.contains(name)).collect();
    if kept.len() < old.milestones.len() || kept != order {
        all.push(("milestones", "milestones are gone or have changed places".to_string()));
    }
    all
}
