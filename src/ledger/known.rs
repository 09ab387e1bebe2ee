//! Looking up what a record refers to, and saying so where it isn't there.

use super::approvals::number_of;
use super::counted::Reading;
use super::serials::Serials;
use super::sink::{At, Sink};
use super::words::suggest;
use super::{Entry, Ledger, Records};
use crate::record::{
    Address, Material, MaterialKind, MaterialRef, RecordKind, Sourced, Text, import_of, without_import,
};
use std::collections::{BTreeMap, BTreeSet};

/// Which record of several that go by the same is the first; looked up once for all of them.
pub(super) struct Firsts<'a> {
    /// Weighings by piece, stage and day.
    pub readings: BTreeMap<Reading<'a>, &'a str>,
    /// Decisions by their number.
    pub numbers: BTreeMap<u32, &'a str>,
    /// Panels of which there is a weighing.
    pub weighed: BTreeSet<&'a str>,
    /// The serials of pieces on record.
    pub serials: Serials<'a>,
}

impl<'a> Firsts<'a> {
    pub(super) fn of(ledger: &'a Ledger) -> Self {
        let mut numbers = BTreeMap::new();
        for id in ledger.decisions.keys() {
            if let Some(number) = number_of(id) {
                numbers.entry(number).or_insert(id.as_str());
            }
        }
        let weighed = ledger.weighings.values().map(|own| own.value.panel.id()).collect();
        Self { readings: ledger.first_readings(), numbers, weighed, serials: Serials::of(ledger) }
    }
}

/// All records that could be read, before any of them is judged.
#[derive(Clone, Copy)]
pub(super) struct Known<'a> {
    /// The ledger as far as it was read.
    pub ledger: &'a Ledger,
    /// What is first among several.
    pub firsts: &'a Firsts<'a>,
}

impl<'a> Known<'a> {
    /// Finds the record `id` of `kind`. A record that is there but broken is no fault of whoever names it.
    pub(super) fn find<T>(
        self,
        sink: &mut Sink,
        at: impl Into<At>,
        records: &'a Records<T>,
        kind: RecordKind,
        id: &str,
    ) -> Option<&'a Entry<T>> {
        if let Some(entry) = records.get(id) {
            return Some(entry);
        }
        if !self.ledger.broken.contains(&Address::new(kind, id)) && !self.ledger.is_of_lost_import(id) {
            let help = missing_help(self.ledger, kind, id, records.keys().map(String::as_str));
            sink.error("unknown-reference", at, format!("there is no {kind} `{id}`"))
                .label(format!("unknown {kind}"))
                .help(help);
        }
        None
    }

    /// Finds a material, which must be of one of the kinds.
    pub(super) fn material(
        self,
        sink: &mut Sink,
        at: impl Into<At>,
        reference: &MaterialRef,
        kinds: &[MaterialKind],
    ) -> Option<&'a Material> {
        let at = at.into();
        let id = reference.id();
        let entry = self.find(sink, at.clone(), &self.ledger.materials, RecordKind::Material, id)?;
        if kinds.contains(&entry.value.kind) {
            return Some(&entry.value);
        }
        let wanted = one_of(kinds.iter().map(|kind| kind.word()));
        let fitting = self.ledger.materials.values().filter(|other| kinds.contains(&other.value.kind));
        let raised = sink.error(
            "wrong-material-kind",
            at,
            format!("`{id}` is {}; {wanted} was expected here", with_article(entry.value.kind.word())),
        );
        raised.label(format!("kind {}", entry.value.kind));
        if let Some(help) = suggest(id, fitting.map(|other| other.id.as_str())) {
            raised.help(help);
        }
        raised.why(&entry.file, "kind", "its kind stands here");
        None
    }

    /// Refuses a milestone that `ledger.yaml` does not name.
    pub(super) fn milestone(self, sink: &mut Sink, at: &str, milestone: Option<&Text>) {
        let (Some(head), Some(milestone)) = (&self.ledger.head, milestone) else { return };
        if !head.milestones.contains(milestone) {
            unknown_milestone(sink, at, milestone, &head.milestones);
        }
    }

    /// Checks the showing that a design value is said to come from.
    pub(super) fn sourced<T>(self, sink: &mut Sink, at: &str, value: Option<&Sourced<T>>) {
        let Some(Sourced::From(showings)) = value else { return };
        for (index, showing) in showings.iter().enumerate() {
            // A single one may stand without a list around it.
            let at = match showings.0.len() {
                1 => format!("{at}.from"),
                _ => entry(&format!("{at}.from"), index, ""),
            };
            self.find(sink, at, &self.ledger.showings, RecordKind::Showing, showing.id());
        }
    }
}

/// Says that a milestone is none of `milestones`.
pub(super) fn unknown_milestone(sink: &mut Sink, at: &str, milestone: &Text, milestones: &[Text]) {
    let raised = sink.error(
        "unknown-milestone",
        at,
        format!("`{milestone}` is none of the milestones in `ledger.yaml`"),
    );
    raised.label("unknown milestone");
    let help = suggest(milestone.as_str(), milestones.iter().map(Text::as_str));
    raised.help(help.unwrap_or_else(|| "add it to `milestones` in `ledger.yaml`".to_string()));
}

impl Ledger {
    /// Returns the record of another kind that bears an id, and what it is in words: `a panel`.
    pub fn of_another_kind(&self, id: &str, wanted: RecordKind) -> Option<(Address, String)> {
        let others = RecordKind::ALL.iter().filter(|kind| **kind != wanted && **kind != RecordKind::Ledger);
        let mut others = others.map(|kind| Address::new(*kind, id));
        let own = others.find(|own| self.file_of(own).is_some())?;
        let what = with_article(spoken(own.kind()));
        Some((own, what))
    }
}

/// How to mend the name of a record that is not there; `known` are those of its kind.
pub(super) fn missing_help<'a>(
    ledger: &'a Ledger,
    kind: RecordKind,
    id: &str,
    known: impl Iterator<Item = &'a str>,
) -> String {
    if let Some(import) = ledger.unknown_import(id) {
        return format!("write `{import}` under `imports` in `ledger.yaml`, or name a {kind} of this ledger");
    }
    if let Some((_, what)) = ledger.of_another_kind(id, kind) {
        return format!("`{id}` is {what}, and {} is asked for here", with_article(spoken(kind)));
    }
    let is_it = |path: &&String| {
        let name = path.strip_prefix(kind.folder()).and_then(|rest| rest.strip_prefix('/'));
        let stem = name.and_then(|name| name.rsplit('/').next()).and_then(|name| name.strip_suffix(".yaml"));
        stem == Some(id)
    };
    if let Some(path) = ledger.ignored.iter().find(is_it) {
        return format!(
            "`{path}` is there, but git ignores it, and what git ignores is no record: change the rule in `.gitignore`, or `git add -f {path}`"
        );
    }
    // A record that has a fault may be the one that is meant.
    let broken = ledger.broken.iter().filter(|own| own.kind() == kind).map(Address::id);
    let known: Vec<&str> = known.chain(broken).collect();
    if let Some(shared) = known.iter().find(|one| **one != id && without_import(one) == id) {
        return format!("did you mean `{shared}`, of an import?");
    }
    let near = suggest(id, known.into_iter());
    near.unwrap_or_else(|| match import_of(id) {
        Some(import) => format!("name a {kind} that `{import}` has in the commit that is imported"),
        None => format!("write `{}/{id}.yaml`, or name another {kind}", kind.folder()),
    })
}

/// Joins words to `a core, a mesh or an adhesive`.
pub(super) fn one_of<'a>(words: impl Iterator<Item = &'a str>) -> String {
    let all: Vec<String> = words.map(with_article).collect();
    match all.as_slice() {
        [] => "nothing".to_string(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

/// A kind as one record of it is called: nobody says "an evidence".
fn spoken(kind: RecordKind) -> &'static str {
    if kind == RecordKind::Evidence { "evidence record" } else { kind.word() }
}

fn with_article(word: &str) -> String {
    let vowel = word.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {word}", if vowel { "an" } else { "a" })
}

/// Returns the route of an entry in a list: places count from 1.
pub(super) fn entry(list: &str, index: usize, key: &str) -> String {
    let place = index.saturating_add(1);
    if key.is_empty() { format!("{list}.{place}") } else { format!("{list}.{place}.{key}") }
}

/// Refuses entries of a list that have the same name.
pub(super) fn unique<'t>(
    sink: &mut Sink,
    list: &str,
    key: &str,
    names: impl Iterator<Item = Option<&'t Text>>,
) {
    let mut seen: Vec<(String, usize)> = Vec::new();
    for (index, name) in names.enumerate() {
        let Some(name) = name else { continue };
        // Addresses write blanks as dashes, so two names that differ only in that are one.
        let slug = name.as_str().replace(' ', "-");
        if let Some((_, first)) = seen.iter().find(|(other, _)| *other == slug) {
            sink.error(
                "duplicate-name",
                entry(list, index, key),
                format!(
                    "`{name}` names two entries of `{list}`: number {} and number {}",
                    first + 1,
                    index + 1
                ),
            )
            .label("same name")
            .help("give one of them another name: addresses reach entries by name");
        } else {
            seen.push((slug, index));
        }
    }
}

/// Refuses a list without entries.
pub(super) fn not_empty<T>(sink: &mut Sink, list: &str, entries: &[T], what: &str) {
    if entries.is_empty() {
        sink.error("empty-list", list, format!("`{list}` is empty"))
            .label("no entries")
            .help(format!("write at least one {what}"));
    }
}
