//! Some duties judged by themselves, for trials: what would the verdict be if this one figure were another?

use super::demands::Demands;
use super::judge::Detail;
use super::reach::Reach;
use super::sieve::Sieve;
use super::table::Table;
use super::verdict::{Room, Verdict, rules, superseded};
use crate::article::{ArticleError, Configurator, Subject, Uses};
use crate::ledger::{Entry, Ledger};
use crate::record::Evidence;
use std::cell::OnceCell;
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
        let superseded = superseded(ledger);
        let mut records: BTreeMap<&str, Vec<&Entry<Evidence>>> = BTreeMap::new();
        for evidence in ledger.evidence.values().filter(|one| !superseded.contains_key(one.id.as_str())) {
            records.entry(evidence.value.showing.id()).or_default().push(evidence);
        }
        Self { uses, records }
    }

    /// Returns which of the duties of one showing are met as `trial` stands; concessions and what a verdict
    /// rests on are left aside.
    ///
    /// # Errors
    /// [`ArticleError`] names a record or figure without which there is no answer.
    pub(super) fn met(
        &self,
        trial: &Ledger,
        showing: &str,
        asked: &[Used],
    ) -> Result<Vec<bool>, ArticleError> {
        let entry = trial.showings.get(showing);
        let row = Table::built_in()
            .ok()
            .zip(entry)
            .and_then(|(table, entry)| Some((entry, table.kinds.get(entry.value.kind.as_str())?)));
        let Some((showing, row)) = row else { return Ok(vec![false; asked.len()]) };
        let mut few = Uses::new();
        for (subject, panel) in asked {
            if let Some(sites) = self.uses.get(subject).and_then(|panels| panels.get(panel)) {
                few.entry(subject.clone()).or_default().insert(panel.clone(), sites.clone());
            }
        }
        let configurator = Configurator::new(trial);
        let demands = Demands::all(trial, &configurator, &few, None)?;
        let reach = Reach::of(self.uses);
        let kind = showing.value.subject.map_or(row.subject.as_str(), |kind| kind.word());
        let rules = rules(showing, row, kind);
        let room = Room {
            ledger: trial,
            configurator: &configurator,
            uses: self.uses,
            reach: &reach,
            demands: &demands,
            showing,
            row,
            records: self.records.get(showing.id.as_str()).map_or(&[][..], Vec::as_slice),
            sieve: Sieve::of(&rules),
            rules,
            detail: Detail::Verdicts,
        };
        let (candidates, running) = (OnceCell::new(), OnceCell::new());
        asked
            .iter()
            .map(|(subject, panel)| {
                let duty = room.duty(subject, vec![panel.clone()], (&candidates, &running), None)?;
                Ok(duty.verdict() == Verdict::Met)
            })
            .collect()
    }
}
