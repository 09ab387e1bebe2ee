//! Parts of a ledger that have nothing to do with each other, so that a change of one says nothing new of another.
//!
//! Two records are of one part where the text of one holds the other's id, whatever for, where one is asked for by the
//! other (a showing and the panels that have its duties), and where both are so with a third. What is judged of a part
//! by itself is then what is judged of it within the whole. Links that do not matter only make parts larger; so ids are
//! looked for in the plain text, and none is missed for being written where nobody thought of.

use super::GateReport;
use crate::article::Subject;
use crate::article::weigh::{Scope, statement};
use crate::ledger::{Entry, Files, Ledger};
use crate::qualify::table::Table;
use crate::qualify::verdict::{Duty, DutyKey, Evaluation};
use crate::record::{Address, MAX_BYTES, RecordKind, Showing};
use foldhash::HashMap;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;

/// A state of a ledger in its parts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Parts {
    /// Listed files, sorted, with the part of each.
    files: Vec<(String, u32)>,
    parts: Vec<Part>,
    /// What groups with a budget weigh, in kg, as the bits of the figure: it is read back as it was.
    masses: BTreeMap<String, u64>,
    /// Showings that go by more than what they name, so that any panel may come to be asked.
    showings: Vec<Elsewhere>,
    /// Whether a concession names serials, which are no ids: whatever weighs a piece may be of it.
    serials: bool,
}

/// One part.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct Part {
    /// Findings of the gate that the state has, by rule.
    known: BTreeMap<String, usize>,
    /// A digest of its verdicts, by which a part that is judged by itself is known to be judged alike.
    proof: u64,
    /// Digests of all words in its texts, sorted: what is written of there may come to be.
    words: Vec<u32>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Elsewhere {
    part: u32,
    id: String,
    file: String,
    /// As JSON: what people write is read by forms that describe themselves.
    #[serde(with = "as_json")]
    record: Showing,
}

/// A value of any form within one that does not describe itself.
mod as_json {
    use serde::de::{DeserializeOwned, Error as _};
    use serde::ser::Error as _;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub fn serialize<S: Serializer>(value: &impl Serialize, serializer: S) -> Result<S::Ok, S::Error> {
        let text = serde_json::to_string(value).map_err(S::Error::custom)?;
        text.serialize(serializer)
    }

    pub fn deserialize<'de, D: Deserializer<'de>, T: DeserializeOwned>(
        deserializer: D,
    ) -> Result<T, D::Error> {
        serde_json::from_str(&String::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

/// One file that differs from the state.
#[derive(Debug, Clone)]
pub struct Changed {
    /// Its path.
    pub path: String,
    /// Whether the state has no such file.
    pub is_new: bool,
    /// Its bytes now; where it is gone, those that it had.
    pub bytes: Arc<[u8]>,
}

/// The parts that a change has to do with.
#[derive(Debug, Clone, PartialEq)]
pub struct Slice {
    parts: BTreeSet<u32>,
    /// Their files, those that changed, and `ledger.yaml`.
    pub files: BTreeSet<String>,
}

impl Parts {
    /// Returns the parts of a state, without the showings in `skip`; `report` is asked for what the gate says of it beside
    /// itself, where that is worth asking.
    ///
    /// `None` where it has errors, or something that can't be said by parts: a finding that is never known, a figure of
    /// the whole programme that a showing judges, an escape in a text that may hide an id. `masses` are those of
    /// [`budgeted`] for the whole state.
    pub fn of(
        ledger: &Ledger,
        evaluation: &Evaluation,
        files: &dyn Files,
        report: impl FnOnce() -> GateReport,
        masses: &BTreeMap<String, f64>,
        skip: &BTreeSet<String>,
    ) -> Option<Self> {
        if ledger.has_errors() || !ledger.broken.is_empty() {
            return None;
        }
        let paths: Vec<String> =
            files.paths().into_iter().filter(|path| path != crate::source::LEDGER_FILE).collect();
        if !files.oddities().is_empty() {
            return None;
        }
        let node: HashMap<&str, usize> =
            paths.iter().enumerate().map(|(at, path)| (path.as_str(), at)).collect();
        let mut ids: HashMap<String, Vec<usize>> = HashMap::default();
        for (at, path) in paths.iter().enumerate() {
            for name in names(path) {
                ids.entry(name).or_default().push(at);
            }
        }
        let read: Vec<Option<(Vec<usize>, Vec<u32>)>> = paths
            .par_iter()
            .map(|path| {
                if !is_text(path) {
                    return Some(Default::default());
                }
                let bytes = files.read(path, MAX_BYTES as u64).ok()?;
                let mut all = BTreeSet::new();
                words(&bytes, |word| {
                    all.insert(word.to_string());
                })?;
                let named = all.iter().filter_map(|word| ids.get(word)).flatten().copied().collect();
                Some((named, all.iter().map(|word| digest(word)).collect()))
            })
            .collect();
        let mut groups = Groups::new(paths.len());
        let mut spoken: Vec<Vec<u32>> = Vec::new();
        for (at, one) in read.into_iter().enumerate() {
            let (named, words) = one?;
            named.into_iter().for_each(|other| groups.join(at, other));
            spoken.push(words);
        }
        let of = |kind: RecordKind, id: &str| -> Option<usize> {
            node.get(ledger.file_of(&Address::new(kind, id))?).copied()
        };
        // A serial is no id: whose piece it is decides what a concession is for, wherever that was weighed.
        let mut weighed: HashMap<&str, Vec<usize>> = HashMap::default();
        for own in ledger.weighings.values() {
            if let Some(serial) = &own.value.serial {
                weighed.entry(serial.as_str()).or_default().push(of(RecordKind::Weighing, &own.id)?);
            }
        }
        for own in ledger.concessions.values() {
            let node = of(RecordKind::Concession, &own.id)?;
            let pieces = own.value.serials.iter().filter_map(|serial| weighed.get(serial.as_str()));
            pieces.flatten().for_each(|piece| groups.join(node, *piece));
        }
        for (id, data) in &ledger.data {
            groups.join(of(RecordKind::Evidence, id)?, *node.get(data.file.as_str())?);
        }
        let mut proofs: HashMap<usize, u64> = HashMap::default();
        for ((showing, subject), duty) in &evaluation.duties {
            if skip.contains(showing) {
                continue;
            }
            let own = of(RecordKind::Showing, showing)?;
            if *subject == Subject::Programme
                && Table::row(ledger.showings.get(showing)?.value.kind.as_str()).is_none_or(|row| row.live)
            {
                return None;
            }
            for panel in duty.panels.keys().filter(|panel| !panel.is_empty()) {
                groups.join(own, of(RecordKind::Panel, panel)?);
            }
        }
        let (number, count) = groups.numbered();
        let part_of = |at: usize| number.get(at).copied();
        let mut sizes = vec![0_usize; count];
        for part in &number {
            *sizes.get_mut(usize::try_from(*part).ok()?)? += 1;
        }
        // Where nearly everything hangs together, hardly any change is judged by parts.
        if skip.is_empty() && sizes.iter().any(|size| size * 4 > paths.len() * 3) {
            return None;
        }
        let report = report();
        if !report.findings.is_empty() {
            return None;
        }
        for (key, duty) in evaluation.duties.iter().filter(|(key, _)| !skip.contains(&key.0)) {
            let part = of(RecordKind::Showing, &key.0).and_then(part_of)?;
            let proof = proofs.entry(usize::try_from(part).ok()?).or_default();
            *proof = proof.wrapping_add(proof_of(key, duty));
        }
        let mut parts = vec![Part::default(); count];
        for (at, words) in spoken.into_iter().enumerate() {
            let part = parts.get_mut(usize::try_from(part_of(at)?).ok()?)?;
            part.words.extend(words);
        }
        for (at, part) in parts.iter_mut().enumerate() {
            part.words.sort_unstable();
            part.words.dedup();
            part.proof = proofs.get(&at).copied().unwrap_or(0);
        }
        // What is known of the ledger itself is of its budgets, and comes of what the groups weigh.
        let own = report
            .known_at
            .iter()
            .filter(|(rule, address)| (*rule, address) != ("over-budget", &Address::ledger()));
        for (rule, address) in own {
            let part = of(address.kind(), address.id()).and_then(part_of)?;
            let known = &mut parts.get_mut(usize::try_from(part).ok()?)?.known;
            *known.entry((*rule).to_string()).or_default() += 1;
        }
        let open = |entry: &&Entry<Showing>| {
            let value = &entry.value;
            let names = value.applies_to.as_ref().is_some_and(|applies| {
                !applies.material.is_empty() || !applies.recipe.is_empty() || !applies.panel.is_empty()
            });
            let of_the_whole =
                Table::row(value.kind.as_str()).is_some_and(|row| row.subject_of(value) == "programme");
            !names && !of_the_whole && !skip.contains(&entry.id)
        };
        let showings = ledger.showings.values().filter(open).map(|entry| {
            let record = Showing::clone(&entry.value);
            let part = of(RecordKind::Showing, &entry.id).and_then(part_of)?;
            Some(Elsewhere { part, id: entry.id.clone(), file: entry.file.clone(), record })
        });
        let showings = showings.collect::<Option<_>>()?;
        let files = paths.iter().enumerate().map(|(at, path)| Some((path.clone(), part_of(at)?)));
        let masses = masses.iter().map(|(group, kg)| (group.clone(), kg.to_bits())).collect();
        let serials = ledger.concessions.values().any(|own| !own.value.serials.is_empty());
        Some(Self { files: files.collect::<Option<_>>()?, parts, masses, showings, serials })
    }

    /// Returns the form that is kept; `None` where it would not be read back as it is.
    pub fn to_bytes(&self) -> Option<Vec<u8>> {
        let bytes = postcard::to_stdvec(self).ok()?;
        (Self::from_bytes(&bytes)? == *self).then_some(bytes)
    }

    /// Reads that form.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        postcard::from_bytes(bytes).ok()
    }

    /// Returns the parts that some changed files have to do with; `None` where that can't be told, or where it is most
    /// of the ledger.
    pub fn slice(&self, changed: &[Changed]) -> Option<Slice> {
        let mut ids: HashMap<String, BTreeSet<u32>> = HashMap::default();
        for (path, part) in &self.files {
            for name in names(path) {
                ids.entry(name).or_default().insert(*part);
            }
        }
        let mut parts: BTreeSet<u32> = BTreeSet::new();
        for one in changed {
            if let Ok(at) = self.files.binary_search_by(|(path, _)| path.cmp(&one.path)) {
                parts.extend(self.files.get(at).map(|(_, part)| *part));
            }
            if is_text(&one.path) {
                words(&one.bytes, |word| parts.extend(ids.get(word).into_iter().flatten()))?;
            }
            let folder = one.path.split_once('/').and_then(|(folder, _)| RecordKind::by_folder(folder));
            // What serials a concession names, and which it named, may be on record anywhere.
            let may_name =
                |kind| kind == RecordKind::Concession || self.serials && kind == RecordKind::Weighing;
            if folder.is_some_and(may_name) {
                return None;
            }
            if one.is_new {
                // What was written of before it was there.
                let mut called: BTreeSet<String> = names(&one.path).into_iter().collect();
                words(one.path.as_bytes(), |word| {
                    called.insert(word.to_string());
                })?;
                called.iter().for_each(|name| self.add_speaking(name, &mut parts));
            }
        }
        let mut files: BTreeSet<String> = BTreeSet::from([crate::source::LEDGER_FILE.to_string()]);
        files
            .extend(self.files.iter().filter(|(_, part)| parts.contains(part)).map(|(path, _)| path.clone()));
        if files.len() * 2 > self.files.len() {
            return None;
        }
        files.extend(changed.iter().map(|one| one.path.clone()));
        Some(Slice { parts, files })
    }

    /// Adds the parts in whose texts a word stands.
    fn add_speaking(&self, word: &str, into: &mut BTreeSet<u32>) {
        let digest = digest(word);
        let speaks = |part: &Part| part.words.binary_search(&digest).is_ok();
        let own = self.parts.iter().enumerate().filter(|(_, part)| speaks(part));
        into.extend(own.filter_map(|(at, _)| u32::try_from(at).ok()));
    }

    /// Returns the showings of other parts that may come to be asked of any panel.
    pub fn elsewhere(&self, slice: &Slice) -> Vec<Entry<Showing>> {
        let other = self.showings.iter().filter(|one| !slice.parts.contains(&one.part));
        let entry = |one: &Elsewhere| Entry {
            id: one.id.clone(),
            file: one.file.clone(),
            value: Arc::new(one.record.clone()),
        };
        other.map(entry).collect()
    }

    /// Returns whether the verdicts of a slice that was judged by itself are those of this state; those on showings in
    /// `skip` are left out.
    pub fn holds(&self, slice: &Slice, alone: &Evaluation, skip: &BTreeSet<String>) -> bool {
        let own = slice.parts.iter().filter_map(|at| self.parts.get(usize::try_from(*at).ok()?));
        let here = own.fold(0_u64, |sum, part| sum.wrapping_add(part.proof));
        let duties = alone.duties.iter().filter(|(key, _)| !skip.contains(&key.0));
        here == duties.fold(0_u64, |sum, (key, duty)| sum.wrapping_add(proof_of(key, duty)))
    }

    /// Returns what groups weigh outside a slice that weighs so much of them itself, in kg.
    pub fn elsewhere_kg(&self, own: &BTreeMap<String, f64>) -> BTreeMap<String, f64> {
        let rest = |(group, bits): (&String, &u64)| {
            (group.clone(), f64::from_bits(*bits) - own.get(group).copied().unwrap_or(0.0))
        };
        self.masses.iter().map(rest).collect()
    }

    /// Counts the findings that the state has outside a slice, by rule.
    pub fn known_outside(&self, slice: &Slice) -> BTreeMap<String, usize> {
        let mut all: BTreeMap<String, usize> = BTreeMap::new();
        let outside = self
            .parts
            .iter()
            .enumerate()
            .filter(|(at, _)| u32::try_from(*at).is_ok_and(|at| !slice.parts.contains(&at)));
        for (rule, count) in outside.flat_map(|(_, part)| &part.known) {
            *all.entry(rule.clone()).or_default() += count;
        }
        all
    }

    /// Returns whether two states say the same, however their parts are numbered.
    pub fn is_same(&self, other: &Parts) -> bool {
        let told = |state: &Parts| {
            let mut files: Vec<Vec<String>> = vec![Vec::new(); state.parts.len()];
            for (path, part) in &state.files {
                if let Some(own) = usize::try_from(*part).ok().and_then(|at| files.get_mut(at)) {
                    own.push(path.clone());
                }
            }
            let parts = files.into_iter().zip(state.parts.iter().cloned());
            let parts: BTreeMap<_, _> = parts.filter(|(files, _)| !files.is_empty()).collect();
            let showings: Vec<(String, Showing)> =
                state.showings.iter().map(|one| (one.file.clone(), one.record.clone())).collect();
            (parts, showings, state.masses.keys().cloned().collect::<Vec<_>>())
        };
        // The order of summing plays a part in the last digits.
        let near = |(one, two): (&u64, &u64)| {
            let (one, two) = (f64::from_bits(*one), f64::from_bits(*two));
            (one - two).abs() <= 1e-9 * one.abs().max(1.0)
        };
        told(self) == told(other) && self.masses.values().zip(other.masses.values()).all(near)
    }

    /// Returns the state with other parts in place of a slice.
    pub fn with(&self, slice: &Slice, now: Parts) -> Option<Self> {
        let mut parts = self.parts.clone();
        for at in &slice.parts {
            *parts.get_mut(usize::try_from(*at).ok()?)? = Part::default();
        }
        // Those that are gone stay behind as empty ones; numbers are short, and a state made whole has none.
        let moved = u32::try_from(parts.len()).ok()?;
        parts.extend(now.parts);
        let kept = |part: u32| !slice.parts.contains(&part);
        let mut files: Vec<(String, u32)> =
            self.files.iter().filter(|(_, part)| kept(*part)).cloned().collect();
        files.extend(now.files.into_iter().map(|(path, part)| (path, part + moved)));
        files.sort();
        let mut showings: Vec<Elsewhere> =
            self.showings.iter().filter(|one| kept(one.part)).cloned().collect();
        showings.extend(now.showings.into_iter().map(|one| Elsewhere { part: one.part + moved, ..one }));
        showings.sort_by(|one, two| one.id.cmp(&two.id));
        let serials = self.serials || now.serials;
        Some(Self { files, parts, masses: now.masses, showings, serials })
    }
}

/// Returns what the groups with a budget weigh, in kg; none where no group has one. `None` where they can't be weighed.
pub fn budgeted(ledger: &Ledger) -> Option<BTreeMap<String, f64>> {
    if ledger.head.as_ref().is_none_or(|head| head.budgets.is_empty()) {
        return Some(BTreeMap::new());
    }
    let groups = statement(ledger, Scope::Programme).ok()?.groups.into_iter();
    Some(groups.filter(|group| group.budget_kg.is_some()).map(|group| (group.group, group.kg)).collect())
}

/// A digest of the verdicts on one duty; they add up, in whatever order.
fn proof_of(key: &DutyKey, duty: &Duty) -> u64 {
    let mut digest = DefaultHasher::new();
    key.hash(&mut digest);
    for (panel, judged) in &*duty.panels {
        let (class, asks, _) = judged.gravity();
        (panel, judged.verdict.to_string(), class, asks.to_string()).hash(&mut digest);
    }
    digest.finish()
}

/// Whether a file's text may name records.
fn is_text(path: &str) -> bool {
    path.ends_with(".yaml")
}

/// What a record may be called by others: its id, and the beginnings of it where they do for its kind.
fn names(path: &str) -> Vec<String> {
    let Some((folder, _)) = path.split_once('/') else { return Vec::new() };
    let stem = path.rsplit('/').next().and_then(|name| name.strip_suffix(".yaml"));
    let Some(stem) = stem.map(str::to_lowercase) else { return Vec::new() };
    let mut all = Vec::new();
    if matches!(RecordKind::by_folder(folder), Some(RecordKind::Decision | RecordKind::Concession)) {
        all.extend(stem.match_indices('-').filter_map(|(at, _)| stem.get(..at)).map(str::to_string));
    }
    all.push(stem);
    all
}

/// Hands over each run of letters, digits and dashes; `None` where escapes may hide one, or where it is no text.
///
/// Lines that begin with `#` are comments in YAML wherever they stand: what goes on over lines is indented.
fn words(bytes: &[u8], mut take: impl FnMut(&str)) -> Option<()> {
    let text = std::str::from_utf8(bytes).ok()?.to_ascii_lowercase();
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        if line.contains('\\') {
            return None;
        }
        for word in line.split(|own: char| !own.is_ascii_alphanumeric() && own != '-') {
            let word = word.trim_start_matches('-');
            if !word.is_empty() {
                take(word);
            }
        }
    }
    Some(())
}

fn digest(word: &str) -> u32 {
    let mut digest = DefaultHasher::new();
    word.hash(&mut digest);
    let [a, b, c, d, ..] = digest.finish().to_le_bytes();
    u32::from_le_bytes([a, b, c, d])
}

/// Which of some numbers go together.
struct Groups(Vec<usize>);

impl Groups {
    fn new(count: usize) -> Self {
        Self((0..count).collect())
    }

    fn root(&mut self, of: usize) -> usize {
        let mut at = of;
        while let Some(up) = self.0.get(at).copied().filter(|up| *up != at) {
            let higher = self.0.get(up).copied().unwrap_or(up);
            if let Some(own) = self.0.get_mut(at) {
                *own = higher;
            }
            at = up;
        }
        at
    }

    fn join(&mut self, one: usize, two: usize) {
        let (one, two) = (self.root(one), self.root(two));
        if let Some(own) = self.0.get_mut(one.max(two)) {
            *own = one.min(two);
        }
    }

    /// The group of each, counted from 0 in order of first sight, and how many there are.
    fn numbered(mut self) -> (Vec<u32>, usize) {
        let mut numbers: HashMap<usize, u32> = HashMap::default();
        let mut all = Vec::with_capacity(self.0.len());
        for at in 0..self.0.len() {
            let root = self.root(at);
            let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
            all.push(*numbers.entry(root).or_insert(next));
        }
        (all, numbers.len())
    }
}
