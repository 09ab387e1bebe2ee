//! Rules on decisions and studies: what they write must be changes and places.

use super::Entry;
use super::approvals;
use super::known::{Known, entry, missing_help, not_empty};
use super::ranges;
use super::sink::Sink;
use super::vary;
use crate::record::shape::{self, Shape};
use crate::record::{Address, Change, Decision, DecisionStatus, Predicted, RecordKind, Study, Text, Vary};
use serde_yaml::Value;

/// Returns the digest of changes as they are written: a prediction and its approvals speak for these and no others.
pub fn digest_of_changes(changes: &[Change]) -> String {
    super::digest_of(serde_json::to_string(changes).unwrap_or_default().as_bytes())
}

/// Returns whether a decision's changes are those that it was predicted for; so they are where nothing was predicted.
///
/// A prediction that does not say what it was made for speaks for no changes: otherwise whoever takes its digest out
/// stretches the approvals to whatever he likes.
pub fn is_as_predicted(decision: &Decision) -> bool {
    let Some(predicted) = &decision.predicted else { return true };
    let said = predicted.changes.as_ref().map(Text::as_str);
    said == Some(digest_of_changes(&decision.changes).as_str())
}

pub(super) fn decision(known: Known<'_>, sink: &mut Sink, own: &Entry<Decision>) {
    let decision = &*own.value;
    for (index, one) in decision.changes.iter().enumerate() {
        change(sink, index, one);
    }
    approvals::decision(known, sink, own);
    if decision.changes.is_empty()
        && matches!(
            decision.status,
            DecisionStatus::Proposed | DecisionStatus::Approved | DecisionStatus::Draft
        )
    {
        sink.warning("empty-list", "changes", "the decision changes nothing")
            .label("no change")
            .help("write what it changes, or say by `status: withdrawn` that it is not pursued");
    }
    if matches!(decision.status, DecisionStatus::Proposed | DecisionStatus::Approved)
        && !is_as_predicted(decision)
    {
        changed_since(sink, decision);
    }
    if matches!(decision.status, DecisionStatus::Draft | DecisionStatus::Proposed) {
        values(known, sink, &decision.changes);
    }
    if let Some(predicted) = &decision.predicted {
        ranges::number(sink, "predicted.weeks", Some(predicted.weeks), 0.0, true);
        let currency = known.ledger.head.as_ref().and_then(|head| head.currency.as_ref());
        ranges::money(sink, "predicted.cost", predicted.cost.as_ref(), currency.map(|one| one.as_str()));
    }
    if let Some(supersedes) = &decision.supersedes
        && known.ledger.decision(supersedes.id()).is_none()
    {
        known.find(sink, "supersedes", &known.ledger.decisions, RecordKind::Decision, supersedes.id());
    }
}

/// Says that nothing shows the changes to be those that were proposed or approved, and why.
fn changed_since(sink: &mut Sink, decision: &Decision) {
    let is_open = decision.status == DecisionStatus::Proposed && decision.approvals.is_empty();
    let word = decision.status.word();
    let unsaid = |predicted: &Predicted| predicted.changes.is_none();
    if decision.predicted.as_ref().is_some_and(unsaid) {
        let message = format!("nothing says that the changes are those that were {word}");
        sink.error("changed-since", "predicted", message).label("no `changes`, the digest of what it is made for").help(
            match is_open {
                true => "`bondline decide propose` predicts anew and writes it",
                false => {
                    "put the line `changes: sha256:..` back as it was proposed; a decision written by hand has no `predicted` at all"
                }
            },
        );
        return;
    }
    let help = match decision.status {
        DecisionStatus::Approved => {
            "take the edit of `changes` back: approvals speak for what was proposed; another change is another decision"
        }
        _ if is_open => "`bondline decide propose` predicts anew what they do",
        _ => {
            "take the edit of `changes` back; or take `approvals` out, which speak for what was proposed, and `bondline decide propose` predicts anew"
        }
    };
    sink.error("changed-since", "changes", format!("the changes are not those that were {word}"))
        .label("not what `predicted.changes` is the digest of")
        .help(help);
}

/// The verb of a change, the place that it names, and whether that place lies within a record.
fn verbs(change: &Change) -> Vec<(&'static str, &str, bool)> {
    [
        ("set", &change.set, true),
        ("remove", &change.remove, true),
        ("insert", &change.insert, true),
        ("add", &change.add, false),
        ("drop", &change.drop, false),
    ]
    .into_iter()
    .filter_map(|(verb, place, within)| Some((verb, place.as_deref()?, within)))
    .collect()
}

fn change(sink: &mut Sink, index: usize, change: &Change) {
    let at = entry("changes", index, "");
    let verbs = verbs(change);
    let [(verb, place, within)] = verbs.as_slice() else {
        let message = format!(
            "a change is exactly one of set, remove, insert, add and drop; this one has {}",
            verbs.len()
        );
        sink.error("bad-change", at, message).label("one of five").help("write an entry for each change");
        return;
    };
    // Who approved what is no design: a decision that could say so of another would approve itself.
    if let Ok(address) = place_of(place, *within)
        && address.kind() == RecordKind::Decision
    {
        sink.error("bad-change", entry("changes", index, verb), "a decision changes no decision")
            .label("another decision")
            .help("approve it with `bondline decide approve`, or write `supersedes` in the one that stands in its place");
    }
    if let Ok(address) = place_of(place, *within)
        && let Some(import) = address.import()
    {
        let message =
            format!("`{address}` is a record of the import `{import}`, which can't be changed from here");
        sink.error("bad-change", entry("changes", index, verb), message)
            .label("of an import")
            .help("change it in its own repository, and set `ledger#imports.N.commit` to that commit");
    }
    if let Err(fault) = place_of(place, *within) {
        sink.error("bad-address", entry("changes", index, verb), fault).label("bad address").help(
            if *within {
                "write KIND/ID#ROUTE, for example `recipe/hatch-outer#layers.3.material`"
            } else {
                "write KIND/ID, for example `material/cw-150-e1`"
            },
        );
    }
    let given = [
        ("to", change.to.is_some()),
        ("after", change.after.is_some()),
        ("entry", change.entry.is_some()),
        ("between", change.between.is_some()),
        ("record", change.record.is_some()),
    ];
    let needed: &[&str] = match *verb {
        "set" => &["to"],
        "insert" => &["after", "entry"],
        "add" => &["record"],
        _ => &[],
    };
    for (key, given) in given {
        // The neighbours of an insert were not asked for once.
        if key == "between" && *verb == "insert" {
            continue;
        }
        match (needed.contains(&key), given) {
            (true, false) => {
                let help = match *verb {
                    "set" => {
                        "write `to`, a value; to take one out write `remove` in place of `set`".to_string()
                    }
                    _ => format!("write `{key}`"),
                };
                sink.error("bad-change", at.as_str(), format!("`{verb}` needs `{key}`"))
                    .label(format!("`{key}` missing"))
                    .help(help);
            }
            (false, true) => {
                sink.error(
                    "bad-change",
                    entry("changes", index, key),
                    format!("`{key}` does not go with `{verb}`"),
                )
                .label("not of this change")
                .help("take it out");
            }
            _ => {}
        }
    }
    if let Some(between) = &change.between
        && between.0.as_sequence().is_none_or(|two| two.len() != 2)
    {
        sink.error(
            "bad-change",
            entry("changes", index, "between"),
            "`between` is the entry before and the entry behind the gap",
        )
        .label("not two entries")
        .help("write `between: [ENTRY, ENTRY]`, with `null` where there is none");
    }
    if change.was.is_some() && matches!(*verb, "insert" | "add") {
        sink.error("bad-change", entry("changes", index, "was"), format!("`was` does not go with `{verb}`"))
            .label("nothing was there")
            .help("take it out");
    }
}

/// Finds records that the values of changes name and that are not there, nor brought by another change of the same
/// decision. It stops no commit: another decision may bring them first.
fn values(known: Known<'_>, sink: &mut Sink, changes: &[Change]) {
    let brought: Vec<Address> = changes.iter().filter_map(|one| Address::parse(one.add.as_ref()?)).collect();
    for (index, change) in changes.iter().enumerate() {
        let verbs = verbs(change);
        let [(verb, place, within)] = verbs.as_slice() else { continue };
        let Ok(record) = place_of(place, *within) else { continue };
        let (kind, route) = (record.kind(), place.split_once('#').map_or("", |(_, route)| route));
        let (key, value, shape) = match *verb {
            "set" => ("to", &change.to, shape::at(kind, route)),
            "insert" => ("entry", &change.entry, shape::at(kind, &format!("{route}.1"))),
            "add" => ("record", &change.record, Some(shape::of(kind))),
            _ => continue,
        };
        let (Some(value), Some(shape)) = (value, shape) else { continue };
        let mut found = Vec::new();
        named(shape, &value.0, entry("changes", index, key), &mut found);
        for (at, kind, text) in found {
            // An address says its kind; one of another kind names no record of this.
            let address = match text.contains('/') {
                true => Address::parse(&text),
                false => Some(Address::new(kind, text.clone())),
            };
            let ledger = known.ledger;
            let there = |own: &Address| {
                ledger.file_of(own).is_some() || ledger.broken.contains(own) || brought.contains(own)
            };
            if address.as_ref().is_some_and(|own| own.kind() == kind && there(own)) {
                continue;
            }
            let id = address.as_ref().filter(|own| own.kind() == kind).map_or(text.as_str(), Address::id);
            let help = missing_help(ledger, kind, id, ledger.ids(kind).into_iter());
            sink.warning("stale-decision", at, format!("there is no {kind} `{id}`"))
                .label(format!("unknown {kind}"))
                .help(help);
        }
    }
}

/// Gathers what a value names, by what may stand where it goes: the route, the kind and the text.
fn named(shape: &Shape, value: &Value, at: String, found: &mut Vec<(String, RecordKind, String)>) {
    match (shape, value) {
        (Shape::Reference(kind), Value::String(text)) => found.push((at, *kind, text.trim().to_string())),
        (Shape::List { item, .. }, Value::Sequence(all)) => {
            for (index, one) in all.iter().enumerate() {
                named(item, one, entry(&at, index, ""), found);
            }
        }
        (Shape::Part(part), Value::Mapping(all)) => {
            for field in &part.fields {
                if let Some(one) = all.get(field.key.as_str()) {
                    named(&field.shape, one, format!("{at}.{}", field.key), found);
                }
            }
        }
        (Shape::Map(item), Value::Mapping(all)) => {
            for (key, one) in all.iter().filter_map(|(key, one)| Some((key.as_str()?, one))) {
                named(item, one, format!("{at}.{key}"), found);
            }
        }
        (Shape::Either(all), _) => {
            // They differ in form: what two of them take is left to whoever reads the whole record.
            let mut fitting = all.iter().filter(|one| takes(one, value));
            if let (Some(one), None) = (fitting.next(), fitting.next()) {
                named(one, value, at, found);
            }
        }
        _ => {}
    }
}

/// Whether a value has the form of what may stand there.
fn takes(shape: &Shape, value: &Value) -> bool {
    match value {
        Value::Sequence(_) => matches!(shape, Shape::List { .. } | Shape::Any),
        Value::Mapping(_) => matches!(shape, Shape::Part(_) | Shape::Map(_) | Shape::Any),
        _ => !matches!(shape, Shape::List { .. } | Shape::Part(_) | Shape::Map(_)),
    }
}

/// Reads a place: an address, with a route behind `#` where it must lie within a record.
fn place_of(text: &str, within: bool) -> Result<Address, String> {
    let (address, route) = match text.split_once('#') {
        Some((address, route)) => (address, Some(route)),
        None => (text, None),
    };
    let address = Address::parse(address.trim()).ok_or_else(|| format!("`{text}` names no record"))?;
    match route {
        Some(route) if within => {
            let whole = !route.is_empty() && route.split('.').all(|step| !step.trim().is_empty());
            if whole { Ok(address) } else { Err(format!("the route of `{text}` has an empty step")) }
        }
        Some(_) => Err(format!("`{text}` names a place in a record, a whole record was expected")),
        None if within => Err(format!("`{text}` names a whole record, a place in one was expected")),
        None => Ok(address),
    }
}

/// Bounds that a search can't keep to: nobody waits less than no time.
fn bounds(known: Known<'_>, sink: &mut Sink, own: &Study) {
    let limits = own.limits.as_ref();
    ranges::number(sink, "limits.weeks", limits.and_then(|own| own.weeks), 0.0, true);
    ranges::number(sink, "limits.seconds", limits.and_then(|own| own.seconds), 0.0, true);
    ranges::count(sink, "limits.variations", limits.and_then(|own| own.variations), 1);
    let currency = known.ledger.head.as_ref().and_then(|head| head.currency.as_ref());
    let cost = limits.and_then(|own| own.cost.as_ref());
    ranges::money(sink, "limits.cost", cost, currency.map(|one| one.as_str()));
    let save = own.goal.as_ref().and_then(|goal| goal.save.as_deref());
    ranges::within(sink, ranges::POSITIVE, "goal.save", save);
    let keep = own.keep.as_ref();
    ranges::count(sink, "keep.max_same_angle", keep.and_then(|keep| keep.max_same_angle), 1);
    let share = keep.and_then(|keep| keep.share_per_direction.as_deref());
    ranges::within(sink, ranges::NOT_NEGATIVE, "keep.share_per_direction", share);
}

pub(super) fn study(known: Known<'_>, sink: &mut Sink, own: &Entry<Study>) {
    bounds(known, sink, &own.value);
    not_empty(sink, "vary", &own.value.vary, "attribute to vary");
    let mut seen: Vec<(Address, String)> = Vec::new();
    for (index, vary) in own.value.vary.iter().enumerate() {
        let mut sound = true;
        for (at, attribute) in vary.attribute.iter().enumerate() {
            let key =
                if vary.attribute.0.len() == 1 { "attribute" } else { &format!("attribute.{}", at + 1) };
            if let Err(fault) = place_of(attribute.as_str(), true) {
                sound = false;
                sink.error("bad-address", entry("vary", index, key), fault)
                    .label("bad address")
                    .help("write KIND/ID#ROUTE, for example `recipe/hatch-outer#layers.3.material`");
            }
        }
        let Vary { among, from, to, step, drop, .. } = vary;
        let range = from.is_some() || to.is_some() || step.is_some();
        let ways = usize::from(!among.is_empty()) + usize::from(range) + usize::from(*drop == Some(true));
        if ways != 1 || from.is_some() != to.is_some() {
            sink.error(
                "bad-variation",
                entry("vary", index, ""),
                "a variation has `among`, or `from` and `to`, or `drop: true`",
            )
            .label("one of three")
            .help("write exactly one of them");
            continue;
        }
        if !sound {
            continue;
        }
        // The records may have moved on since the study was written: that must stop no commit.
        match vary::varied(known.ledger, vary) {
            Err(fault) => {
                sink.warning("stale-study", entry("vary", index, &fault.key), fault.message)
                    .label(fault.label)
                    .help(fault.help);
            }
            Ok(found) => {
                for place in found.places {
                    let key = (place.address, place.route);
                    if seen.contains(&key) {
                        let message = format!("`{}#{}` is varied twice", key.0, key.1);
                        sink.warning("stale-study", entry("vary", index, "attribute"), message)
                            .label("varied above too")
                            .help("put all values into one variation");
                    } else {
                        seen.push(key);
                    }
                }
            }
        }
    }
    if let Some(share) = own.value.keep.as_ref().and_then(|keep| keep.share_per_direction.as_ref())
        && share.si() > 1.0 / 3.0
    {
        let message = format!("no laminate has {} of its fibre in each of three directions", share.text());
        sink.error("bad-share", "keep.share_per_direction", message)
            .label("more than a third")
            .help("write a share of at most 33 %; 10 % is common practice");
    }
}
