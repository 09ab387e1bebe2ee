//! What the commits behind a state say of decisions: where their places stand now, which commit carried one out, and
//! what an approval is used up by.

use super::carried::{Carried, Made, made_edits};
use super::decide::{DecideError, overlay};
use super::diff::diff;
use super::draft::bare;
use super::explain::record_of;
use super::found::Application;
use super::rebase::{follow, made_on};
use crate::article::ArticleError;
use crate::article::weigh::programme_mass;
use crate::ledger::{Ledger, Recall};
use crate::record::{Address, Change, Day, Decision, DecisionStatus, Evidence, EvidenceState, read};
use crate::source::{Commit, Place, Snapshot, SourceError};
use std::collections::{BTreeMap, BTreeSet};
use thiserror::Error;

/// The revisions behind a state: a repository's, or some that are made by hand.
pub trait Revisions: Sync {
    /// Returns the commits up to a revision in which one of these files differs from what it was in the first parent,
    /// oldest first; none where there is no history.
    ///
    /// # Errors
    /// [`SourceError`] where the history can't be read.
    fn touching(&self, revision: &str, files: &[String]) -> Result<Vec<Commit>, SourceError>;

    /// Returns the files of a commit, by its full id; `None` where it is not here.
    fn commit(&self, id: &str) -> Option<Snapshot>;
}

impl Revisions for Place {
    fn touching(&self, revision: &str, files: &[String]) -> Result<Vec<Commit>, SourceError> {
        if self.repository().is_none() {
            return Ok(Vec::new());
        }
        let mut commits = self.history_of(revision, files)?;
        commits.reverse();
        Ok(commits)
    }

    fn commit(&self, id: &str) -> Option<Snapshot> {
        self.by_id(id)
    }
}

/// No history at all: no commit, and none that a decision was made on.
#[derive(Debug, Clone, Copy)]
pub struct NoHistory;

impl Revisions for NoHistory {
    fn touching(&self, _: &str, _: &[String]) -> Result<Vec<Commit>, SourceError> {
        Ok(Vec::new())
    }

    fn commit(&self, _: &str) -> Option<Snapshot> {
        None
    }
}

/// Why the past can't be told.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PastError {
    /// The history can't be read.
    #[error(transparent)]
    Source(#[from] SourceError),
    /// A state of it can't be weighed.
    #[error("the commit that carries it out can't be weighed: {0}")]
    Mass(#[from] ArticleError),
}

/// What decisions are held against: the revisions, and what remembers records that several states share.
#[derive(Clone, Copy)]
pub struct Past<'a> {
    /// The revisions.
    pub revisions: &'a dyn Revisions,
    /// What remembers records.
    pub recall: &'a dyn Recall,
}

/// A commit with the states before and after it.
struct Step {
    commit: Commit,
    before: (Ledger, Snapshot),
    after: (Ledger, Snapshot),
}

impl Past<'_> {
    fn read(&self, snapshot: Snapshot) -> (Ledger, Snapshot) {
        let ledger =
            if snapshot.is_empty() { Ledger::default() } else { Ledger::load(&snapshot, self.recall) };
        (ledger, snapshot)
    }

    /// Returns a decision with its list places moved to where those entries stand in a state, where it was made on a
    /// commit whose records were others. A record that the state does not have is found out when it is laid over it.
    ///
    /// # Errors
    /// [`DecideError`] where an entry is gone since, or can't be told from its equals.
    pub fn settled(
        &self,
        (ledger, snapshot): (&Ledger, &Snapshot),
        decision: &Decision,
    ) -> Result<Decision, DecideError> {
        let Some(then) = self.made_on(decision) else { return Ok(decision.clone()) };
        let differs = |file: &String| then.read(file).ok() != snapshot.read(file).ok();
        if unknown(ledger, decision).next().is_some()
            || !files_of(ledger, &decision.changes).iter().any(differs)
        {
            return Ok(decision.clone());
        }
        let (old, then) = self.read(then);
        follow(decision, (&old, &then), (ledger, snapshot), &BTreeMap::new())
    }

    /// As [`Past::settled`], for people: a record that is called otherwise in the state is an error that says how.
    ///
    /// # Errors
    /// As [`Past::settled`], and [`DecideError::Renamed`].
    pub fn settled_here(
        &self,
        state: (&Ledger, &Snapshot),
        decision: &Decision,
    ) -> Result<Decision, DecideError> {
        if let Some((_, called)) = self.renamed(state, decision)
            && let Some((at, record, now)) =
                unknown(state.0, decision).find_map(|(at, name)| Some((at, name, called.get(name)?)))
        {
            return Err(DecideError::Renamed { at, record: record.to_string(), now: now.clone() });
        }
        self.settled(state, decision)
    }

    /// As [`Past::settled`], with records by the names that they have in the state.
    ///
    /// # Errors
    /// As [`Past::settled`].
    pub fn settled_by_name(
        &self,
        state: (&Ledger, &Snapshot),
        decision: &Decision,
    ) -> Result<Decision, DecideError> {
        match self.renamed(state, decision) {
            Some(((old, then), called)) if !called.is_empty() => {
                follow(decision, (&old, &then), state, &called)
            }
            _ => self.settled(state, decision),
        }
    }

    fn made_on(&self, decision: &Decision) -> Option<Snapshot> {
        self.revisions.commit(made_on(decision)?)
    }

    /// The state that a decision was made on, and what the records are called now that a state does not have; `None`
    /// where it has all of them.
    fn renamed(
        &self,
        state: (&Ledger, &Snapshot),
        decision: &Decision,
    ) -> Option<((Ledger, Snapshot), BTreeMap<String, String>)> {
        unknown(state.0, decision).next()?;
        let then = self.read(self.made_on(decision)?);
        let called = self.called((&then.0, &then.1), state, decision);
        Some((then, called))
    }

    /// What the records that a state does not have are called in it, as far as they are there by another name: held
    /// against the state that the decision was made on, or where they were edited besides, against the commit in which
    /// each went.
    fn called(
        &self,
        then: (&Ledger, &Snapshot),
        (now, snapshot): (&Ledger, &Snapshot),
        decision: &Decision,
    ) -> BTreeMap<String, String> {
        const NAMES: usize = 20;
        let by_history = |address: &Address| {
            let mut address = address.clone();
            // Where it lies in a folder of its own, nobody follows it.
            for _ in 0..NAMES {
                let commits = self.revisions.touching(snapshot.commit()?, &[usual_file(&address)]).ok()?;
                let last = commits.last()?;
                let before = self.read(self.revisions.commit(last.parents.first()?)?);
                let after = self.read(self.revisions.commit(&last.id)?);
                address = only_name(&address, (&before.0, &before.1), (&after.0, &after.1))?;
                if now.file_of(&address).is_some() {
                    return Some(address);
                }
            }
            None
        };
        let by_name = |(_, name): (usize, &str)| {
            let address = Address::parse(name)?;
            let is = only_name(&address, then, (now, snapshot)).or_else(|| by_history(&address))?;
            Some((name.to_string(), is.to_string()))
        };
        unknown(now, decision).filter_map(by_name).collect()
    }

    /// Finds the first commit up to a state that has a decision and carries it out whole, held against its first
    /// parent, and the one that took it back since; `None` where there is none.
    ///
    /// # Errors
    /// [`PastError`] where the history can't be read or weighed.
    pub fn application(
        &self,
        (ledger, snapshot): (&Ledger, &Snapshot),
        id: &str,
        decision: &Decision,
    ) -> Result<Option<Application>, PastError> {
        let mut found: Option<(Application, BTreeSet<Made>)> = None;
        for step in self.steps((ledger, snapshot), id, decision)? {
            let Some(step) = step else { continue };
            let (before, old) = (&step.before.0, &step.before.1);
            let made = made_edits(&diff(before, &step.after.0));
            if let Some((known, own)) = &mut found {
                // Taken back since, and perhaps done once more.
                let turned = own.iter().all(|edit| is_turned(edit, &made));
                let again = known.undone.is_some() && own.is_subset(&made);
                match (turned, again) {
                    (true, _) => known.undone = Some((step.commit.id, day_of(step.commit.time))),
                    (_, true) => known.undone = None,
                    _ => {}
                }
                continue;
            }
            let Ok(settled) = self.settled((before, old), decision) else { continue };
            let carried = Carried { before: (before, old), after: &step.after.0, made, past: self };
            let Some(own) = carried.of(id, &settled) else { continue };
            let Ok(texts) = overlay(before, old, &[&settled]) else { continue };
            let with = self.read(old.overlay(texts));
            let delta_kg = programme_mass(&with.0)? - programme_mass(before)?;
            let (commit, on) = (step.commit.id, day_of(step.commit.time));
            found = Some((Application { commit, on, delta_kg, undone: None }, own));
        }
        Ok(found.map(|(found, _)| found))
    }

    /// Finds the day on which each of some evidence was done: that of the commit since which its record says so, and of
    /// what is not committed, `today`. No record says it itself: `made` is the day of the article.
    ///
    /// # Errors
    /// [`SourceError`] where the history can't be read.
    pub fn done<'e>(
        &self,
        (ledger, revision): (&Ledger, Option<&str>),
        evidence: impl Iterator<Item = &'e str>,
        today: Day,
    ) -> Result<BTreeMap<String, Day>, SourceError> {
        let mut days = BTreeMap::new();
        for id in evidence {
            let Some(entry) = ledger.evidence.get(id) else { continue };
            if entry.value.state != EvidenceState::Done {
                continue;
            }
            let file = std::slice::from_ref(&entry.file);
            let commits = match revision {
                Some(revision) => self.revisions.touching(revision, file)?,
                None => Vec::new(),
            };
            let is_done = |commit: &Commit| {
                let bytes = self.revisions.commit(&commit.id).and_then(|then| then.read(&entry.file).ok());
                let record = bytes.and_then(|bytes| read::<Evidence>(&entry.file, &bytes).value);
                record.is_some_and(|record| record.state == EvidenceState::Done)
            };
            // What was done, taken back and done again was done the last time.
            let first = commits.iter().rev().take_while(|commit| is_done(commit)).last();
            let day = first.map_or(today, |commit| day_of(commit.time));
            // A clock that goes wrong makes no test before its article.
            days.insert(id.to_string(), entry.value.made.map_or(day, |made| day.max(made)));
        }
        Ok(days)
    }

    /// Finds the changes of a decision that commits behind a state carried out already: each, counted from 0, with the
    /// commit. What an approval allowed is used up by that; what was only tried, and taken back since, is not.
    ///
    /// # Errors
    /// [`SourceError`] where the history can't be read.
    pub fn spent(
        &self,
        (ledger, snapshot): (&Ledger, &Snapshot),
        id: &str,
        decision: &Decision,
    ) -> Result<BTreeMap<usize, String>, SourceError> {
        let mut spent: BTreeMap<usize, String> = BTreeMap::new();
        // What was carried out before it was approved, with the edits that it came to.
        let mut tried: BTreeMap<usize, (String, BTreeSet<Made>)> = BTreeMap::new();
        for step in self.steps((ledger, snapshot), id, decision)? {
            let Some(step) = step else { continue };
            let before = (&step.before.0, &step.before.1);
            let made = made_edits(&diff(before.0, &step.after.0));
            tried.retain(|_, (_, edits)| !edits.iter().all(|edit| is_turned(edit, &made)));
            let approved = own(&step.after.0, id, decision)
                .is_some_and(|known| known.status == DecisionStatus::Approved);
            let step_made = Carried { before, after: &step.after.0, made, past: self };
            let settled = self.settled(before, decision).ok();
            let mut note = |at: usize, edits: BTreeSet<Made>| match approved {
                true => drop(spent.insert(at, step.commit.id.clone())),
                false => drop(tried.insert(at, (step.commit.id.clone(), edits))),
            };
            if let Some(edits) = settled.as_ref().and_then(|own| step_made.of(id, own)) {
                (0..decision.changes.len()).for_each(|at| note(at, edits.clone()));
                continue;
            }
            for (at, change) in decision.changes.iter().enumerate() {
                // What stands there no more stops none of the others.
                let one = Decision { changes: vec![change.clone()], ..decision.clone() };
                let edits = match &settled {
                    Some(settled) => step_made.of_change(id, settled, at),
                    None => self.settled(before, &one).ok().and_then(|one| step_made.of_change(id, &one, 0)),
                };
                if let Some(edits) = edits {
                    note(at, edits);
                }
            }
        }
        for (at, (commit, _)) in tried {
            spent.entry(at).or_insert(commit);
        }
        Ok(spent)
    }

    /// Returns whether the order of commits up to a state shows that a decision stood as it stands before the first of
    /// them that carries it out whole: `stands` is asked of the record of its first parent. Where the history can't be
    /// read it shows nothing.
    pub fn stood_before(
        &self,
        state: (&Ledger, &Snapshot),
        id: &str,
        decision: &Decision,
        stands: &dyn Fn(&Decision) -> bool,
    ) -> bool {
        let Ok(steps) = self.steps(state, id, decision) else { return false };
        for step in steps.flatten() {
            let before = (&step.before.0, &step.before.1);
            let Ok(settled) = self.settled(before, decision) else { continue };
            let made = made_edits(&diff(before.0, &step.after.0));
            let carried = Carried { before, after: &step.after.0, made, past: self };
            if carried.of(id, &settled).is_some() {
                let known = own(before.0, id, decision);
                return known.is_some_and(|known| known.changes == decision.changes && stands(known));
            }
        }
        false
    }

    /// Returns whether a decision, or a change of it, could be carried out on a state: only then does it matter what
    /// was carried out before.
    pub(super) fn fits_anywhere(&self, state: (&Ledger, &Snapshot), decision: &Decision) -> bool {
        let fits = |one: &Decision| {
            self.settled(state, one).is_ok_and(|settled| overlay(state.0, state.1, &[&settled]).is_ok())
        };
        let single = |change: &Change| {
            let mut one = bare(vec![change.clone()]);
            (one.base, one.predicted) = (decision.base.clone(), decision.predicted.clone());
            fits(&one)
        };
        fits(decision) || decision.changes.len() > 1 && decision.changes.iter().any(single)
    }

    /// The commits up to a state that touch a decision's records and have the decision, oldest first, read one by one;
    /// `None` in the place of one that is not here whole or does not have it.
    fn steps(
        &self,
        (ledger, snapshot): (&Ledger, &Snapshot),
        id: &str,
        decision: &Decision,
    ) -> Result<impl Iterator<Item = Option<Step>>, SourceError> {
        let commits = match snapshot.commit() {
            Some(commit) if !decision.changes.is_empty() => {
                self.revisions.touching(commit, &files_of(ledger, &decision.changes))?
            }
            _ => Vec::new(),
        };
        Ok(commits.into_iter().map(move |commit| {
            let after = self.read(self.revisions.commit(&commit.id)?);
            own(&after.0, id, decision)?;
            let before = self.read(self.revisions.commit(commit.parents.first()?)?);
            Some(Step { commit, before, after })
        }))
    }
}

/// The decision in another state: by its id, or as one of the same changes that was called otherwise.
fn own<'a>(ledger: &'a Ledger, id: &str, decision: &Decision) -> Option<&'a Decision> {
    let named = ledger.decisions.get(id);
    let found =
        named.or_else(|| ledger.decisions.values().find(|entry| entry.value.changes == decision.changes));
    found.map(|entry| &*entry.value)
}

/// Whether an edit was made the other way round.
fn is_turned((address, was, is): &Made, made: &BTreeSet<Made>) -> bool {
    if address.contains('#') {
        return made.contains(&(address.clone(), is.clone(), was.clone()));
    }
    // A record that comes is said in other words than one that goes.
    let other = |(own, before, after): &Made| {
        own == address && before.is_some() == is.is_some() && after.is_some() == was.is_some()
    };
    made.iter().any(other)
}

/// The records that changes name and a state does not have, each with its change, from 1.
fn unknown<'d>(ledger: &'d Ledger, decision: &'d Decision) -> impl Iterator<Item = (usize, &'d str)> {
    let own = |name: &str| decision.changes.iter().any(|change| change.add.as_deref() == Some(name));
    decision.changes.iter().enumerate().filter_map(move |(at, change)| {
        let place = change.set.as_ref().or(change.remove.as_ref()).or(change.insert.as_ref())?;
        let name = record_of(place);
        let address = Address::parse(name)?;
        (ledger.file_of(&address).is_none() && !own(name)).then_some((at + 1, name))
    })
}

/// What a record is called in a later state, where it changed nothing but its name and no other is its equal.
fn only_name(
    address: &Address,
    (before, _): (&Ledger, &Snapshot),
    (after, snapshot): (&Ledger, &Snapshot),
) -> Option<Address> {
    let renamed = diff(before, after).renamed;
    let id = renamed.get(&(address.kind(), address.id().to_string()))?;
    let is = Address::new(address.kind(), id.clone());
    let value =
        |file: &str| -> Option<serde_yaml::Value> { serde_yaml::from_slice(&snapshot.read(file).ok()?).ok() };
    let own = after.file_of(&is)?;
    let text = value(own)?;
    let folder = format!("{}/", address.kind().folder());
    let equal =
        |file: &&str| *file != own && file.starts_with(&folder) && value(file).as_ref() == Some(&text);
    let mut others = snapshot.files().map(|file| file.path.as_str()).filter(equal);
    others.next().is_none().then_some(is)
}

fn usual_file(address: &Address) -> String {
    format!("{}/{}.yaml", address.kind().folder(), address.id())
}

/// The files of the records that some changes name.
fn files_of(ledger: &Ledger, changes: &[Change]) -> Vec<String> {
    let all: BTreeSet<String> = changes
        .iter()
        .flat_map(Change::places)
        .filter_map(|at| {
            let address = Address::parse(at.split('#').next()?)?;
            Some(ledger.file_of(&address).map_or_else(|| usual_file(&address), str::to_string))
        })
        .collect();
    all.into_iter().collect()
}

/// Returns the day of a time in seconds since 1970, in UTC.
pub fn day_of(seconds: i64) -> Day {
    let days = seconds.div_euclid(86_400);
    let epoch = jiff::civil::date(1970, 1, 1);
    Day(epoch.checked_add(jiff::Span::new().days(days)).unwrap_or(epoch))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ledger::MemoryRecall;

    /// Commits one after the other, each with one evidence record, and its day.
    struct Line(Vec<(&'static str, Snapshot, i64)>);

    impl Revisions for Line {
        fn touching(&self, _: &str, _: &[String]) -> Result<Vec<Commit>, SourceError> {
            let commit = |(id, _, time): &(&str, Snapshot, i64)| Commit {
                id: id.to_string(),
                parents: Vec::new(),
                time: *time,
                summary: String::new(),
                decisions: Vec::new(),
            };
            Ok(self.0.iter().map(commit).collect())
        }

        fn commit(&self, id: &str) -> Option<Snapshot> {
            self.0.iter().find(|(own, ..)| *own == id).map(|(_, snapshot, _)| snapshot.clone())
        }
    }

    fn state(state: &str, made: &str) -> Snapshot {
        let evidence = format!(
            "showing: wet-tg\nsubject: {{lamina: [cw, oven]}}\nkind: test\nstate: {state}\nmade: {made}\nresult: {{value: 100 degC}}\n"
        );
        let files = [
            ("ledger.yaml", "format: 1\nprogramme: Test (invented)\n"),
            (
                "materials/cw.yaml",
                "kind: prepreg\nfibre: {name: hs-a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 37 %}\n",
            ),
            ("processes/oven.yaml", "method: oven\n"),
            ("showings/wet-tg.yaml", "kind: glass-transition\naccept: {mean_at_least: 95 degC}\n"),
            ("evidence/e-1.yaml", &evidence),
        ];
        let files = files.into_iter().map(|(file, text)| (file.to_string(), text.as_bytes().to_vec()));
        Snapshot::in_memory(files.collect())
    }

    /// Days since 1970-01-01: 20 454 is 2026-01-01 (56 years of 365 days and 14 leap days).
    const FIRST: i64 = 20_454 * 86_400;

    fn done(line: Vec<(&'static str, Snapshot, i64)>, now: &Snapshot, revision: Option<&str>) -> String {
        let recall = MemoryRecall::new();
        let line = Line(line);
        let past = Past { revisions: &line, recall: &recall };
        let ledger = Ledger::load(now, &recall);
        assert!(ledger.evidence.contains_key("e-1"), "{:?}", ledger.faults);
        let today = Day::parse("2026-03-01").unwrap();
        let days = past.done((&ledger, revision), ["e-1"].into_iter(), today).unwrap();
        days.get("e-1").map_or_else(String::new, ToString::to_string)
    }

    #[test]
    fn evidence_is_done_on_the_day_of_the_commit_that_says_so_and_not_when_its_article_was_made() {
        let made = "2025-12-01";
        let running = ("a", state("running", made), FIRST);
        let finished = ("b", state("done", made), FIRST + 10 * 86_400);
        let edited = ("c", state("done", made), FIRST + 20 * 86_400);
        let now = state("done", made);
        let line = vec![running.clone(), finished.clone(), edited.clone()];
        assert_eq!(done(line, &now, Some("c")), "2026-01-11");
        // Taken back and done once more, it was done the last time.
        let again = ("d", state("done", made), FIRST + 30 * 86_400);
        let back = ("c", state("running", made), FIRST + 20 * 86_400);
        assert_eq!(done(vec![finished.clone(), back, again], &now, Some("d")), "2026-01-31");
        // What is not committed is done today; what is not done has no day.
        assert_eq!(done(vec![running.clone()], &now, Some("a")), "2026-03-01");
        assert_eq!(done(Vec::new(), &now, None), "2026-03-01");
        assert_eq!(done(vec![running], &state("running", made), Some("a")), "");
        // No test comes before its article.
        let late = state("done", "2026-02-01");
        assert_eq!(done(vec![("b", late.clone(), FIRST)], &late, Some("b")), "2026-02-01");
    }
}
