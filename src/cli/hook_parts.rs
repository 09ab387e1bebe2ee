//! The gate over the parts of a ledger that a commit has to do with.

use super::check::Watched;
use super::context::{Context, Loaded, to_the_end};
use super::memory::Asked;
use crate::article::ArticleError;
use crate::change::diff::{Edits, diff};
use crate::change::explain::{Explained, explain};
use crate::change::past::Past;
use crate::gate::parts::{Changed, Parts, Slice, budgeted};
use crate::gate::{GateReport, Side, judge, to_be_completed};
use crate::ledger::Ledger;
use crate::qualify::judge::Detail;
use crate::qualify::verdict::{Evaluation, evaluate, evaluate_after, evaluate_beside};
use crate::record::{Day, Showing};
use crate::source::{LEDGER_FILE, Place, RECORD_LIMIT, Snapshot};
use crate::store::Kept;
use std::collections::{BTreeMap, BTreeSet};
use std::mem::ManuallyDrop;

/// What the store calls the parts of a state.
pub(super) const KEPT: &str = "parts";

/// What the gate found, and in what.
pub(super) struct Judged {
    pub(super) report: GateReport,
    pub(super) base: ManuallyDrop<Loaded>,
    pub(super) staged: ManuallyDrop<Loaded>,
}

/// What is judged by parts, or why it can't be.
type Outcome<T> = Result<T, &'static str>;

const NOTHING: &str = "nothing is kept of what is committed";
const UNREAD: &str = "what is kept can't be read";
const WHOLE: &str = "what is committed does not fall into parts";
const OTHERWISE: &str = "the part by itself is not what it is in the whole";

/// Kept of a state that does not fall into parts, so that nobody looks again; what is committed next hardly will.
const ONE: &[u8] = b"one";

/// Whether what is kept of the committed state, if anything, is of no use.
pub(super) fn is_useless(why: &str) -> bool {
    [NOTHING, UNREAD, OTHERWISE].contains(&why)
}

/// Judges what is staged by the parts of the ledger that it has to do with. Whatever can't surely be told by them alone
/// is left to whoever judges the whole; the words say what that was.
pub(super) fn judged(
    context: &Context,
    place: &Place,
    base: &Snapshot,
    staged: &Snapshot,
) -> Outcome<Judged> {
    let asked = asked(context, place, base).ok_or("there is no commit to hold it against")?;
    let bytes = context.memory.find(place, &asked.key).ok_or(NOTHING)?;
    if bytes == ONE {
        return Err(WHOLE);
    }
    let state = to_the_end(Parts::from_bytes(&bytes).ok_or(UNREAD)?);
    let changed = changed(base, staged)?;
    let slice = state.slice(&changed).ok_or("it has to do with most of the ledger")?;
    let mut old = to_the_end(context.read_few(base.only(&slice.files)));
    let mut new = to_the_end(context.read_few(staged.only(&slice.files)));
    for side in [&old, &new] {
        if side.ledger.has_errors() || !side.ledger.broken.is_empty() {
            return Err("a record has an error");
        }
    }
    if !same_showings(&old.ledger, &new.ledger) {
        return Err("other panels may be asked for a showing");
    }
    let skip = add_elsewhere(&state, &slice, &mut old.ledger, &mut new.ledger)?;
    let today = context.today;
    // Verdicts are found by all that they are made from: where the slice by itself lacks something of that, it is judged
    // anew and seen below not to be what it is in the whole.
    let before = evaluate_after(&old.ledger, today, Detail::Verdicts, context.earlier());
    let before = before.map_err(|_| "what is committed can't be judged")?;
    let before = to_the_end(before);
    let after = evaluate_beside(&new.ledger, today, &before).map_err(|_| "what is staged can't be judged")?;
    let after = to_the_end(after);
    let asks = |evaluation: &Evaluation| evaluation.duties.keys().any(|key| skip.contains(&key.0));
    if asks(&before) || asks(&after) {
        return Err("a showing of another part is asked of it");
    }
    if !state.holds(&slice, &before, &skip) {
        return Err(OTHERWISE);
    }
    // Finished records to which something was added are held against the ledger of their own commit.
    if !to_be_completed(&old.ledger, &new.ledger).is_empty() {
        return Err("evidence is completed");
    }
    let edits = diff(&old.ledger, &new.ledger);
    let watched = Watched::new(place);
    let past = Past { revisions: &watched, recall: context.recall() };
    let explained = explain((&old.ledger, &old.snapshot), (&new.ledger, &new.snapshot), &edits, &past);
    if watched.was_asked() {
        return Err("earlier commits have a say in it");
    }
    if old.snapshot.has_strayed() || new.snapshot.has_strayed() {
        return Err("a file of another part is read");
    }
    let (Some(own), Some(now)) = (budgeted(&old.ledger), budgeted(&new.ledger)) else {
        return Err("something can't be weighed");
    };
    let elsewhere_kg = state.elsewhere_kg(&own);
    let side =
        |ledger, evaluation| Side { ledger, evaluation: Ok(evaluation), elsewhere_kg: elsewhere_kg.clone() };
    let mut report = judge(
        &side(&old.ledger, &before),
        &side(&new.ledger, &after),
        &edits,
        &explained,
        &BTreeMap::new(),
        today,
    );
    for (rule, count) in state.known_outside(&slice) {
        let Some((rule, _)) = crate::gate::RULES.iter().find(|(name, _)| *name == rule) else {
            return Err(UNREAD);
        };
        *report.known.entry(rule).or_default() += count;
    }
    let counts = context.recall().counts();
    context.memory.work(format!(
        "judged by parts, {} of {} files, {} records parsed",
        slice.files.len(),
        staged.files().count(),
        counts.parsed
    ));
    if !report.blocked() {
        let weighed =
            |(group, kg): (&String, &f64)| (group.clone(), kg + now.get(group).copied().unwrap_or(0.0));
        let masses = elsewhere_kg.iter().map(weighed).collect();
        let ledger = new.ledger.clone();
        advance(context, place, staged, Advance { state, slice, ledger, after, masses, skip });
    }
    Ok(Judged { report, base: old, staged: new })
}

/// The files that differ, where each is a plain one or was one.
fn changed(base: &Snapshot, staged: &Snapshot) -> Outcome<Vec<Changed>> {
    let all = base.differing(staged).ok_or("the files can't be compared")?;
    let mut changed = Vec::new();
    for one in all {
        if one.path == LEDGER_FILE {
            return Err("ledger.yaml differs");
        }
        let is_odd = |plain: bool, snapshot: &Snapshot| !plain && snapshot.entry(&one.path).is_some();
        if is_odd(one.was, base) || is_odd(one.is, staged) {
            return Err("a file is no plain one");
        }
        let bytes = if one.is { staged } else { base }.read_limited(&one.path, RECORD_LIMIT);
        let bytes = bytes.map_err(|_| "a file can't be read as a record")?;
        changed.push(Changed { path: one.path, is_new: !one.was, bytes });
    }
    Ok(changed)
}

/// Whether no panel outside can come to be asked by what the showings say now.
fn same_showings(old: &Ledger, new: &Ledger) -> bool {
    let told = |showing: &Showing| {
        (showing.kind.clone(), showing.subject, showing.applies_to.clone(), showing.computed_check())
    };
    old.showings.len() == new.showings.len()
        && new.showings.values().all(|entry| {
            old.showings.get(&entry.id).is_some_and(|was| told(&was.value) == told(&entry.value))
        })
}

/// Puts the showings of other parts beside those of the slice, by which it is seen where one comes to be asked of it;
/// returns their ids.
fn add_elsewhere(
    state: &Parts,
    slice: &Slice,
    old: &mut Ledger,
    new: &mut Ledger,
) -> Outcome<BTreeSet<String>> {
    let mut skip = BTreeSet::new();
    for entry in state.elsewhere(slice) {
        for ledger in [&mut *old, &mut *new] {
            if ledger.showings.insert(entry.id.clone(), entry.clone()).is_some() {
                return Err("two showings go by one name");
            }
        }
        skip.insert(entry.id);
    }
    Ok(skip)
}

fn asked(context: &Context, place: &Place, snapshot: &Snapshot) -> Option<Asked> {
    let listed = snapshot.listed_objects()?;
    Some(context.asked(KEPT, &[("folder", place.prefix()), ("listed", &listed)]))
}

/// What the gate says of a state beside itself.
fn beside_itself(ledger: &Ledger, evaluation: &Evaluation, today: Day) -> GateReport {
    let side = || Side::of(ledger, Ok(evaluation));
    judge(&side(), &side(), &Edits::default(), &Explained::default(), &BTreeMap::new(), today)
}

fn kept(asked: Asked, value: Vec<u8>) -> Kept {
    Kept { key: asked.key, what: KEPT.to_string(), about: asked.about, value }
}

/// Keeps the parts of a whole state when the answer is out; `why` it was judged whole.
pub(super) fn keep(
    context: &Context,
    place: &Place,
    state: &Loaded,
    evaluation: &Result<Evaluation, ArticleError>,
    why: &str,
) {
    let (Some(asked), Ok(evaluation)) = (asked(context, place, &state.snapshot), evaluation) else { return };
    if why == WHOLE {
        return context.memory.keep_afterwards(place, Box::new(move || vec![kept(asked, ONE.to_vec())]));
    }
    let (ledger, snapshot) = (to_the_end(state.ledger.clone()), state.snapshot.clone());
    let (evaluation, today) = (to_the_end(evaluation.clone()), context.today);
    context.memory.keep_afterwards(
        place,
        Box::new(move || {
            let report = || beside_itself(&ledger, &evaluation, today);
            let state = budgeted(&ledger).and_then(|masses| {
                Parts::of(&ledger, &evaluation, &snapshot, report, &masses, &BTreeSet::new())
            });
            // Files that are listed nowhere change without anybody seeing it here.
            let state = state.filter(|_| !snapshot.has_strayed());
            let bytes = state.and_then(|state| state.to_bytes());
            vec![kept(asked, bytes.unwrap_or_else(|| ONE.to_vec()))]
        }),
    );
}

/// A state with what takes the place of a slice of it.
struct Advance {
    state: ManuallyDrop<Parts>,
    slice: Slice,
    ledger: Ledger,
    after: ManuallyDrop<Evaluation>,
    masses: BTreeMap<String, f64>,
    skip: BTreeSet<String>,
}

/// Keeps the parts of what is staged, made of those of what is committed: it is committed next.
fn advance(context: &Context, place: &Place, staged: &Snapshot, own: Advance) {
    let Some(asked) = asked(context, place, staged) else { return };
    let (only, today) = (staged.only(&own.slice.files), context.today);
    context.memory.keep_afterwards(
        place,
        Box::new(move || {
            let Advance { state, slice, ledger, after, masses, skip } = own;
            let ledger = to_the_end(ledger);
            let report = || beside_itself(&ledger, &after, today);
            let now = Parts::of(&ledger, &after, &only, report, &masses, &skip);
            let state = now.and_then(|now| state.with(&slice, now));
            state.and_then(|state| state.to_bytes()).map(|bytes| kept(asked, bytes)).into_iter().collect()
        }),
    );
}

/// Whether a state that is committed or staged has the parts that were kept of it; `None` where it is neither.
pub(super) fn verified(context: &Context, place: &Place, about: &str, bytes: &[u8]) -> Option<bool> {
    let states = [place.head_or_empty().ok(), place.index().ok()].into_iter().flatten();
    let own = |snapshot: &Snapshot| asked(context, place, snapshot).is_some_and(|asked| asked.about == about);
    let snapshot = states.into_iter().find(own)?;
    if bytes == ONE {
        return None;
    }
    let Some(was) = Parts::from_bytes(bytes) else { return Some(false) };
    let loaded = to_the_end(context.read(snapshot));
    let Ok(evaluation) = evaluate(&loaded.ledger, context.today) else { return Some(false) };
    let report = || beside_itself(&loaded.ledger, &evaluation, context.today);
    let now = budgeted(&loaded.ledger).and_then(|masses| {
        Parts::of(&loaded.ledger, &evaluation, &loaded.snapshot, report, &masses, &BTreeSet::new())
    });
    Some(now.is_some_and(|now| now.is_same(&was)))
}
