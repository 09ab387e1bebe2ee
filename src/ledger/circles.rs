//! Circles: what stands on itself can be neither built, judged nor put in order.

use super::sink::{At, Sink};
use super::{Ledger, Records};
use crate::record::{Address, RecordKind};
use std::collections::{BTreeMap, BTreeSet};

/// Which records point to which, with the route of the reference.
type Edges = BTreeMap<String, Vec<(String, String)>>;

/// Finds every circle. Each comes as the addresses of its members and one sink with one fault.
pub(super) fn all(ledger: &Ledger) -> Vec<(Vec<Address>, Sink)> {
    let mut found = Vec::new();
    let children = edges(&ledger.assemblies, |assembly| {
        let all = assembly.children.iter().enumerate();
        all.filter_map(|(index, child)| {
            Some((
                child.assembly.as_ref()?.id().to_string(),
                super::known::entry("children", index, "assembly"),
            ))
        })
        .collect()
    });
    gather(&mut found, &ledger.assemblies, RecordKind::Assembly, children, "contains");
    let from = edges(&ledger.tools, |tool| one(tool.from.as_ref().map(|from| from.id()), "from"));
    gather(&mut found, &ledger.tools, RecordKind::Tool, from, "was made from");
    let after = edges(&ledger.showings, |showing| many(&showing.after, "after"));
    gather(&mut found, &ledger.showings, RecordKind::Showing, after, "comes after");
    let rests = edges(&ledger.showings, |showing| many(&showing.rests_on, "rests_on"));
    gather(&mut found, &ledger.showings, RecordKind::Showing, rests, "rests on");
    let baseline =
        edges(&ledger.evidence, |evidence| one(evidence.baseline.as_ref().map(|id| id.id()), "baseline"));
    gather(&mut found, &ledger.evidence, RecordKind::Evidence, baseline, "extends");
    let supersedes =
        edges(&ledger.evidence, |evidence| one(evidence.supersedes.as_ref().map(|id| id.id()), "supersedes"));
    gather(&mut found, &ledger.evidence, RecordKind::Evidence, supersedes, "supersedes");
    let replaced = edges(&ledger.decisions, |decision| {
        let older = decision.supersedes.as_ref().and_then(|older| ledger.decision(older.id()));
        one(older.map(|older| older.id.as_str()), "supersedes")
    });
    gather(&mut found, &ledger.decisions, RecordKind::Decision, replaced, "supersedes");
    found
}

fn one(id: Option<&str>, route: &str) -> Vec<(String, String)> {
    id.map(|id| (id.to_string(), route.to_string())).into_iter().collect()
}

fn many(showings: &[crate::record::ShowingRef], route: &str) -> Vec<(String, String)> {
    let all = showings.iter().enumerate();
    all.map(|(index, showing)| (showing.id().to_string(), super::known::entry(route, index, ""))).collect()
}

fn edges<T>(records: &Records<T>, of: impl Fn(&T) -> Vec<(String, String)>) -> Edges {
    records
        .iter()
        .map(|(id, entry)| {
            let mut to = of(&entry.value);
            to.retain(|(id, _)| records.contains_key(id));
            (id.clone(), to)
        })
        .collect()
}

fn gather<T>(
    found: &mut Vec<(Vec<Address>, Sink)>,
    records: &Records<T>,
    kind: RecordKind,
    edges: Edges,
    verb: &str,
) {
    for steps in circles(edges) {
        let Some((first, route)) = steps.first() else { continue };
        let Some(entry) = records.get(first) else { continue };
        let mut sink = Sink::new(&entry.file);
        let mut chain: Vec<&str> = steps.iter().map(|(id, _)| id.as_str()).collect();
        chain.push(first);
        let raised = sink.error(
            "circle",
            At::from(route),
            format!("{kind} `{first}` {verb} itself: {}", chain.join(" -> ")),
        );
        raised.label("closes the circle").help("take one of these references out");
        for (id, route) in steps.iter().skip(1) {
            if let Some(other) = records.get(id) {
                raised.why(&other.file, route, format!("`{id}` goes on from here"));
            }
        }
        found.push((steps.iter().map(|(id, _)| Address::new(kind, id.clone())).collect(), sink));
    }
}

/// Returns the circles, each from its smallest member on, as (id, route of the reference to the next).
///
/// Records that point nowhere, or that nothing points to, are peeled off until only circles and what
/// lies between them is left; walking on from there must come round. Without recursion: a chain may be
/// as long as a ledger.
fn circles(mut edges: Edges) -> Vec<Vec<(String, String)>> {
    let mut found = Vec::new();
    loop {
        peel(&mut edges);
        let Some(start) = edges.keys().next().cloned() else { return found };
        let mut path: Vec<(String, String)> = Vec::new();
        let mut passed = BTreeSet::new();
        let mut at = start;
        while passed.insert(at.clone()) {
            // Nothing without a way on is left after peeling.
            let Some((next, route)) = edges.get(&at).and_then(|to| to.first()).cloned() else { break };
            path.push((at, route));
            at = next;
        }
        let mut circle: Vec<(String, String)> = path.into_iter().skip_while(|(id, _)| *id != at).collect();
        let least = circle.iter().enumerate().min_by(|a, b| a.1.cmp(b.1)).map_or(0, |(index, _)| index);
        circle.rotate_left(least);
        for (id, _) in &circle {
            edges.remove(id);
        }
        if circle.is_empty() {
            return found;
        }
        found.push(circle);
    }
}

fn peel(edges: &mut Edges) {
    let mut left: BTreeSet<String> = edges.keys().cloned().collect();
    let mut into: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut out: BTreeMap<String, usize> = BTreeMap::new();
    for (id, to) in edges.iter() {
        let alive: Vec<&String> =
            to.iter().map(|(next, _)| next).filter(|next| left.contains(*next)).collect();
        out.insert(id.clone(), alive.len());
        for next in alive {
            into.entry(next.clone()).or_default().push(id.clone());
        }
    }
    let mut ends: Vec<String> =
        out.iter().filter(|(_, count)| **count == 0).map(|(id, _)| id.clone()).collect();
    while let Some(end) = ends.pop() {
        left.remove(&end);
        for before in into.get(&end).into_iter().flatten() {
            if let Some(count) = out.get_mut(before) {
                *count = count.saturating_sub(1);
                if *count == 0 {
                    ends.push(before.clone());
                }
            }
        }
    }
    edges.retain(|id, _| left.contains(id));
    for to in edges.values_mut() {
        to.retain(|(next, _)| left.contains(next));
    }
}
