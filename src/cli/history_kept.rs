//! What was worked out of single commits, kept by the commit: its id fixes all that lies behind it.

use super::context::Context;
use super::history::{Shown, steps};
use super::memory::Asked;
use crate::change::progress::{Of, Progress};
use crate::qualify::gaps::{Ready, read_counts};
use crate::report::history::Step;
use crate::source::Place;
use crate::store::Kept;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;

/// What the store calls them.
pub(super) const KEPT: &str = "step";

/// What a step has beside what its commit says; figures as their bits, so that they are read back as they were.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Worked {
    kg: Option<u64>,
    delta_kg: Option<u64>,
    counts: Option<BTreeMap<String, usize>>,
    ready: Vec<Ready>,
    decisions: Vec<String>,
    others: bool,
    broken: usize,
    /// Commits that were asked for by their ids and were here: those may be gone.
    commits: Vec<String>,
}

fn asked(context: &Context, place: &Place, commit: &str, of: &Of) -> Asked {
    context.asked(KEPT, &[("commit", commit), ("folder", place.prefix()), ("of", &of.label())])
}

/// Finds what was kept of a commit.
pub(super) fn found(context: &Context, place: &Place, Shown { commit, of }: &Shown<'_>) -> Option<Step> {
    // What was cut off or left out may be here tomorrow.
    if !place.is_whole() {
        return None;
    }
    let bytes = context.memory.find(place, &asked(context, place, &commit.id, of).key)?;
    let Worked { kg, delta_kg, counts, ready, decisions, others, broken, commits } =
        serde_json::from_slice(&bytes).ok()?;
    // An answer that is made with it follows from them too.
    if !commits.iter().all(|id| place.has_asked(id)) {
        return None;
    }
    let progress = match counts {
        Some(counts) => Some(Progress { counts: read_counts(&counts)?, ready }),
        None => None,
    };
    let (kg, delta_kg) = (kg.map(f64::from_bits), delta_kg.map(f64::from_bits));
    Some(Step { kg, delta_kg, progress, decisions, others, broken, ..super::history::unjudged(commit) })
}

/// Keeps it, where it followed from the commit alone.
pub(super) fn keep(context: &Context, place: &Place, of: &Of, step: &Step) {
    if context.read_more_than_states() || !place.is_whole() {
        return;
    }
    let Some(value) = bytes(place, step) else { return };
    let Asked { key, about } = asked(context, place, &step.commit, of);
    context.memory.keep(place, Kept { key, what: KEPT.to_string(), about, value }, Box::new(|| true));
}

fn bytes(place: &Place, step: &Step) -> Option<Vec<u8>> {
    let progress = step.progress.as_ref();
    let counts = progress.map(|own| &own.counts);
    let worked = Worked {
        kg: step.kg.map(f64::to_bits),
        delta_kg: step.delta_kg.map(f64::to_bits),
        counts: counts.map(|all| all.iter().map(|(word, count)| ((*word).to_string(), *count)).collect()),
        ready: progress.map_or_else(Vec::new, |own| own.ready.clone()),
        decisions: step.decisions.clone(),
        others: step.others,
        broken: step.broken,
        commits: place.asked_by_id(),
    };
    serde_json::to_vec(&worked).ok()
}

/// Works a commit out anew: whether the same comes of it. `None` where it is not here any more.
pub(super) fn verified(context: &Context, place: &Place, about: &str, kept: &[u8]) -> Option<bool> {
    let told: Value = serde_json::from_str(about).ok()?;
    let id = told.get("commit")?.as_str()?;
    let of = Of::parse(told.get("of")?.as_str()?)?;
    if !place.has_commit(id) || asked(context, place, id, &of).about != about {
        return None;
    }
    let line = place.line(id).ok()?;
    let own = line.first().filter(|commit| commit.id == id)?;
    let mut was: Worked = serde_json::from_slice(kept).ok()?;
    let mut now: Worked = {
        let plain = context.without_store();
        let steps = steps(&plain, place, &[Shown { commit: own, of }], &[]);
        serde_json::from_slice(&bytes(place, steps.first()?)?).ok()?
    };
    // Whatever else that run asked for is noted too.
    was.commits.clear();
    now.commits.clear();
    Some(was == now)
}
