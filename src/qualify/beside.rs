//! Two states judged side by side: what rests on the very same is judged once.

use super::demands::{Demands, Used};
use super::earlier::{Mark, Recalled, kept};
use super::homes::Homes;
use super::judge::Detail;
use super::pool;
use super::touched::Design;
use super::verdict::{Duty, Judged, Room};
use crate::article::Subject;
use crate::ledger::Nominal;
use crate::record::{Covers, Evidence, Showing};
use crate::statistics::Levels;
use foldhash::HashMap;
use litemap::LiteMap;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What all verdicts of a state were made from.
#[derive(Debug)]
pub(super) struct Grounds {
    pub(super) detail: Detail,
    pub(super) showings: HashMap<String, Ground>,
    pub(super) demands: Demands,
    pub(super) design: Design,
}

/// What the verdicts of one showing were made from, and the verdicts before anything was laid over them.
#[derive(Debug)]
pub(super) struct Ground {
    id: String,
    showing: Arc<Showing>,
    /// Levels of the tests behind design values and of equivalence, which the ledger may set for all showings.
    levels: (Levels, f64),
    records: Vec<Record>,
    /// Whether what is computed had a say: without it the same records may give less.
    is_computed: bool,
    /// What concessions cover, with the id and the subject of each.
    conceded: Vec<(String, String, Covers)>,
    judged: BTreeMap<Subject, Arc<LiteMap<String, Arc<Judged>>>>,
    /// Whose the records are, where that was asked.
    pub(super) homes: Option<Homes>,
    /// What is kept for later runs, where a verdict was judged in this one.
    anew: Option<Anew>,
}

/// Verdicts of which one was judged in this run.
#[derive(Debug)]
pub(super) struct Anew {
    /// By which they are found.
    mark: Mark,
    /// Those that an earlier run kept: of other states, which may be asked for again.
    before: HashMap<Mark, Arc<Judged>>,
}

/// What the store calls the verdicts of a showing.
pub(super) const VERDICTS: &str = "verdicts";

/// Verdicts of a showing, each by the mark of the subject as it is used.
type Verdicts = Vec<(Mark, Judged)>;

/// Verdicts that an earlier run made of the very same showing and evidence.
pub(super) struct Before(HashMap<Mark, Arc<Judged>>);

impl Before {
    pub(super) fn of(recalled: &Recalled, mark: &Mark) -> Self {
        let all = recalled.find::<Verdicts>(VERDICTS, mark).unwrap_or_default();
        Self(all.into_iter().map(|(used, judged)| (used, Arc::new(judged))).collect())
    }

    pub(super) fn judged(&self, used: &Mark) -> Option<&Arc<Judged>> {
        self.0.get(used)
    }

    /// Returns what is kept with verdicts of this run, by a mark.
    pub(super) fn and_anew(self, mark: Mark) -> Anew {
        Anew { mark, before: self.0 }
    }
}

fn read(bytes: &[u8]) -> Option<BTreeMap<Mark, Judged>> {
    Some(postcard::from_bytes::<Verdicts>(bytes).ok()?.into_iter().collect())
}

/// Compares verdicts of a showing as two runs kept them; `None` where they have none in common.
pub(super) fn agree(kept: &[u8], anew: &[u8]) -> Option<bool> {
    let (Some(kept), Some(anew)) = (read(kept), read(anew)) else { return Some(false) };
    let common = kept.iter().filter_map(|(mark, judged)| Some(anew.get(mark)? == judged));
    common.reduce(|all, one| all && one)
}

/// Returns the verdicts of two states on one showing in one.
pub(super) fn both(one: &[u8], two: &[u8]) -> Vec<u8> {
    let mut all = read(one).unwrap_or_default();
    all.extend(read(two).unwrap_or_default());
    kept(&Verdicts::from_iter(all))
}

/// One record of evidence, with what else a verdict takes from it.
#[derive(Debug)]
struct Record {
    id: String,
    value: Arc<Evidence>,
    /// Of its data, where it has some.
    digest: Option<String>,
    /// How many readings of a trial count: those whose day has come, which are more from day to day.
    readings: usize,
    /// What its values are brought to, which its material may say.
    nominal: Option<f64>,
    /// Whether its subject is in use: what was made for another panel counts only where both are equal.
    in_use: bool,
}

impl Record {
    fn is_same(&self, other: &Self) -> bool {
        // What was read from the same bytes is held once; equal values elsewhere are merely judged again.
        self.id == other.id
            && Arc::ptr_eq(&self.value, &other.value)
            && self.digest == other.digest
            && self.readings == other.readings
            && self.nominal == other.nominal
            && self.in_use == other.in_use
    }
}

impl Grounds {
    /// Keeps for later runs what this one had to judge.
    pub(super) fn keep(self: &Arc<Self>, recalled: &Recalled) {
        if self.showings.values().all(|own| own.anew.is_none()) {
            return;
        }
        let own = Arc::clone(self);
        let values = move || {
            let anew = own.showings.values().filter_map(|ground| Some((ground.anew.as_ref()?, ground)));
            anew.map(|(anew, ground)| (anew.mark, kept(&ground.verdicts(&own.demands, &anew.before))))
                .collect()
        };
        recalled.keep(VERDICTS, Box::new(values));
    }

    /// Returns what a showing was judged from, where that is the very same.
    pub(super) fn of(&self, showing: &str, ground: &Ground) -> Option<&Ground> {
        let own = self.showings.get(showing)?;
        let same = Arc::ptr_eq(&own.showing, &ground.showing)
            && own.levels == ground.levels
            && own.is_computed == ground.is_computed
            && own.conceded == ground.conceded
            && own.records.len() == ground.records.len()
            && own.records.iter().zip(&ground.records).all(|(one, two)| one.is_same(two));
        same.then_some(own)
    }
}

impl Ground {
    pub(super) fn of(room: &Room<'_>) -> Self {
        let record = |entry: &&crate::ledger::Entry<Evidence>| Record {
            id: entry.id.clone(),
            value: Arc::clone(&entry.value),
            digest: room.ledger.data.get(&entry.id).map(|data| data.digest.clone()),
            readings: room.ledger.data.get(&entry.id).map_or(0, |data| data.readings.len()),
            nominal: Nominal::of(room.ledger, &room.showing.value, &entry.value)
                .and_then(|own| Some(own.ok()?.value)),
            in_use: Subject::from_label(&entry.value.subject).is_some_and(|label| room.is_in_use(&label)),
        };
        let conceded = room.conceding.iter();
        let conceded = conceded.map(|(of, one)| (one.id.clone(), of.to_string(), one.value.covers.clone()));
        Self {
            id: room.showing.id.clone(),
            conceded: conceded.collect(),
            showing: Arc::clone(&room.showing.value),
            levels: (
                pool::levels(room.ledger, &room.showing.value),
                pool::alpha(room.ledger, &room.showing.value),
            ),
            records: room.records.iter().map(record).collect(),
            is_computed: room.live.is_some(),
            judged: BTreeMap::new(),
            homes: None,
            anew: None,
        }
    }

    /// Returns the mark of all that its verdicts are made from, but the subjects as they are used.
    pub(super) fn mark(&self, detail: Detail, recalled: &Recalled) -> Mark {
        // A field that is added has to be in it.
        let Self { id, showing, levels, records, is_computed, conceded, judged: _, homes: _, anew: _ } = self;
        let records: Vec<_> = records
            .iter()
            .map(|Record { id, value, digest, readings, nominal, in_use }| {
                (id, recalled.mark(value), digest, readings, nominal, in_use)
            })
            .collect();
        Mark::of(&(id, recalled.mark(showing), levels, records, is_computed, conceded, detail))
    }

    /// Its verdicts as they are kept: panels that use the same have the same.
    ///
    /// Those of `before` stay, so that two states that are looked at in turn do not drive each other out, as long as
    /// they are no more than these.
    fn verdicts(&self, demands: &Demands, before: &HashMap<Mark, Arc<Judged>>) -> Verdicts {
        let mut all: BTreeMap<Mark, &Judged> = BTreeMap::new();
        for (subject, panels) in &self.judged {
            for (panel, judged) in &**panels {
                if let Some(used) = demands.of(subject, panel) {
                    all.insert(used.mark(subject), judged);
                }
            }
        }
        let others: Vec<_> = before.iter().filter(|(mark, _)| !all.contains_key(*mark)).collect();
        if others.len() <= all.len() {
            all.extend(others.into_iter().map(|(mark, judged)| (*mark, &**judged)));
        }
        all.into_iter().map(|(mark, judged)| (mark, judged.clone())).collect()
    }

    /// Keeps the verdicts.
    ///
    /// `anew` is there where any of them was judged in this run.
    pub(super) fn holding(mut self, duties: &[Duty], anew: Option<Anew>) -> Self {
        self.anew = anew;
        self.judged = duties.iter().map(|duty| (duty.subject.clone(), duty.panels.clone())).collect();
        self
    }

    /// Adds what all panels but `anew` were judged before, so that it stands beside what these are judged now.
    pub(super) fn complete(&self, duties: &mut Vec<Duty>, anew: &BTreeSet<String>) {
        let needed_by = self.showing.needed_by.as_ref().map(ToString::to_string);
        let own = std::mem::take(duties).into_iter();
        let mut all: BTreeMap<Subject, Duty> = own.map(|duty| (duty.subject.clone(), duty)).collect();
        for (subject, panels) in &self.judged {
            // The programme has no panel's name and is judged anew.
            let stays = |panel: &String| !panel.is_empty() && !anew.contains(panel);
            if !panels.keys().any(stays) {
                continue;
            }
            let duty = all.entry(subject.clone()).or_insert_with(|| Duty {
                showing: self.id.clone(),
                subject: subject.clone(),
                panels: Arc::default(),
                needed_by: needed_by.clone(),
            });
            if duty.panels.is_empty() && panels.keys().all(stays) {
                duty.panels = Arc::clone(panels);
            } else {
                let kept = panels.iter().filter(|(panel, _)| stays(panel));
                let kept = kept.map(|(panel, judged)| (panel.clone(), Arc::clone(judged)));
                Arc::make_mut(&mut duty.panels).extend(kept);
            }
        }
        *duties = all.into_values().collect();
    }

    /// Returns the verdict of a subject as a panel used it, where it used the same and asked the same.
    pub(super) fn judged(
        &self,
        demands: &Demands,
        subject: &Subject,
        panel: &str,
        used: &Arc<Used>,
    ) -> Option<&Arc<Judged>> {
        let judged = self.judged.get(subject)?.get(panel)?;
        // What is equal is held once.
        Arc::ptr_eq(demands.of(subject, panel)?, used).then_some(judged)
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{example, today};
    use super::super::table::Table;
    use super::super::verdict::{evaluate, evaluate_beside};
    use crate::ledger::{Ledger, MemoryRecall};
    use crate::source::Snapshot;

    /// What a computed showing let pass does not stand once nothing is computed any more.
    #[test]
    fn verdicts_are_not_taken_over_from_where_something_was_computed() {
        let recall = MemoryRecall::new();
        for resin in ["39.5 %", "40.5 %", "42.5 %", "45.5 %"] {
            let mut files = example();
            let path = "materials/cw-200-e1.yaml";
            let text = String::from_utf8(files[path].clone()).unwrap().replacen("39.5 %", resin, 1);
            files.insert(path.to_string(), text.into_bytes());
            let with = Ledger::load(&Snapshot::in_memory(files), &recall);
            let mut without = with.clone();
            without.showings.retain(|_, own| Table::row(own.value.kind.as_str()).is_none_or(|row| !row.live));
            assert!(without.showings.len() < with.showings.len());
            let beside = evaluate_beside(&without, today(), &evaluate(&with, today()).unwrap()).unwrap();
            assert_eq!(beside.duties, evaluate(&without, today()).unwrap().duties, "{resin}");
            let back = evaluate_beside(&with, today(), &beside).unwrap();
            assert_eq!(back.duties, evaluate(&with, today()).unwrap().duties, "{resin}");
        }
    }
}
