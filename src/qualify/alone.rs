//! Some duties judged by themselves, for trials: what would the verdict be if this one figure were another?

use super::demands::Demands;
use super::extension::Fits;
use super::judge::Detail;
use super::made::{Made, all_made};
use super::reach::Reach;
use super::sieve::Sieve;
use super::table::Table;
use super::verdict::{Room, Taken, Verdict, by_showing, is_candidate, is_running, rules};
use crate::article::{ArticleError, Configurator, Subject, Uses};
use crate::ledger::{Entry, Ledger};
use crate::record::Evidence;
use foldhash::HashMap;
use std::collections::BTreeMap;

/// A subject as one panel uses it.
pub(super) type Used = (Subject, String);

/// The evidence of a ledger, ready for trials that alter its design and leave evidence and uses as they are.
pub(super) struct Alone<'a> {
    uses: &'a Uses,
    records: BTreeMap<&'a str, Vec<&'a Entry<Evidence>>>,
}

impl<'a> Alone<'a> {
    pub(super) fn new(ledger: &'a Ledger, uses: &'a Uses) -> Self {
        Self { uses, records: by_showing(ledger) }
    }

    /// Returns what brings its evidence into form, for many trials.
    pub(super) fn trials(&'a self) -> Trials<'a> {
        Trials { alone: self, ready: HashMap::default() }
    }
}

/// Evidence of one showing that was brought into form, with what numbered its values.
struct Ready<'a> {
    sieve: Sieve,
    candidates: Vec<Made<'a>>,
    running: Vec<Made<'a>>,
}

/// Trials one after another: evidence is brought into form once, since none alters it.
pub(super) struct Trials<'a> {
    alone: &'a Alone<'a>,
    ready: HashMap<String, Ready<'a>>,
}

impl Trials<'_> {
    /// Returns which of the duties of one showing are met as `trial` stands; concessions and what a verdict
    /// rests on are left aside.
    ///
    /// # Errors
    /// [`ArticleError`] names a record or figure without which there is no answer.
    pub(super) fn met(
        &mut self,
        trial: &Ledger,
        showing: &str,
        asked: &[Used],
    ) -> Result<Vec<bool>, ArticleError> {
        let known = trial
            .showings
            .get(showing)
            .and_then(|entry| Some((entry, Table::row(entry.value.kind.as_str())?)));
        let Some((showing, row)) = known else { return Ok(vec![false; asked.len()]) };
        let alone = self.alone;
        let mut few = Uses::new();
        for (subject, panel) in asked {
            if let Some(sites) = alone.uses.get(subject).and_then(|panels| panels.get(panel)) {
                few.entry(subject.clone()).or_default().insert(panel.clone(), sites.clone());
            }
        }
        let configurator = Configurator::new(trial);
        let demands = Demands::all(trial, &configurator, &few, None, None)?;
        // The duties are named: none is looked for.
        let reach = Reach::default();
        let rules = rules(showing, row, row.subject_of(&showing.value));
        let records = alone.records.get(showing.id.as_str()).map_or(&[][..], Vec::as_slice);
        let ready = self.ready.entry(showing.id.clone()).or_insert_with(|| {
            let sieve = Sieve::of(&rules);
            let candidates = all_made(records, &sieve, None, is_candidate);
            let running = all_made(records, &sieve, None, is_running);
            Ready { sieve, candidates, running }
        });
        let room = Room {
            ledger: trial,
            configurator: &configurator,
            uses: alone.uses,
            reach: &reach,
            demands: &demands,
            showing,
            row,
            records,
            sieve: &&ready.sieve,
            rules: &&rules,
            forms: None,
            detail: Detail::Verdicts,
            live: None,
            only: None,
            fits: Fits::default(),
            // They are left aside.
            conceding: Vec::new(),
        };
        let (candidates, running) = (|| ready.candidates.as_slice(), || ready.running.as_slice());
        asked
            .iter()
            .map(|(subject, panel)| {
                let duty =
                    room.duty(subject, vec![panel.clone()], (&candidates, &running), &Taken::default())?;
                Ok(duty.verdict() == Verdict::Met)
            })
            .collect()
    }
}
