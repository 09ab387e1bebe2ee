//! Which weighings count: a piece that is put on the scale once is weighed once, and not before the day.

use super::{Entry, Ledger};
use crate::ledger::weighed::stage;
use crate::record::{Condition, Day, Evidence, EvidenceState, Weighing};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

/// What tells one reading from another: the panel, its serial, the stage and the day.
pub(super) type Reading<'l> = (&'l str, &'l str, Condition, Day);

/// Why a weighing does not count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Uncounted<'l> {
    /// Its day has not come.
    Ahead(Day),
    /// It is of the same piece, stage and day as this one.
    Repeats(&'l str),
}

impl fmt::Display for Uncounted<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Ahead(on) => write!(f, "its day, {on}, has not come"),
            Self::Repeats(first) => write!(f, "weighing/{first} is of the same piece, stage and day"),
        }
    }
}

impl Ledger {
    /// Returns the ledger as it is looked at on a day: what is said to be weighed later does not count, nor what is read of
    /// a trial later, and a finished record whose article is made later is under way, since nobody can have tested it. Of
    /// readings and articles the next day counts as come: it may be that day elsewhere.
    #[must_use]
    pub fn as_of(mut self, today: Day) -> Self {
        self.today = Some(today);
        for id in std::mem::take(&mut self.ahead) {
            if let Some(entry) = self.evidence.get_mut(&id) {
                Arc::make_mut(&mut entry.value).state = EvidenceState::Done;
            }
        }
        let is_ahead = |own: &Evidence| {
            own.state == EvidenceState::Done && own.made.is_some_and(|made| !made.has_come(today))
        };
        for entry in self.evidence.values_mut().filter(|entry| is_ahead(&entry.value)) {
            Arc::make_mut(&mut entry.value).state = EvidenceState::Running;
            self.ahead.insert(entry.id.clone());
        }
        self.data.values_mut().for_each(|data| data.as_of(today));
        self
    }

    /// Returns the weighings that count: none of a day that has not come, and of several of the same piece, stage and
    /// day the first by id.
    pub fn counted_weighings(&self) -> impl Iterator<Item = &Entry<Weighing>> {
        let first = self.first_readings();
        self.weighings.values().filter(move |entry| self.left_out(&first, entry).is_none())
    }

    /// Returns the weighings whose day has come, each, whatever others say of the same piece.
    pub fn weighings_by_now(&self) -> impl Iterator<Item = &Entry<Weighing>> {
        self.weighings.values().filter(|entry| self.is_ahead(entry).is_none())
    }

    /// The day of a weighing that has not come.
    fn is_ahead(&self, entry: &Entry<Weighing>) -> Option<Day> {
        self.today.zip(entry.value.on).filter(|(today, on)| on > today).map(|(_, on)| on)
    }

    /// Returns the weighings that do not count, each with why.
    pub fn uncounted_weighings(&self) -> impl Iterator<Item = (&Entry<Weighing>, Uncounted<'_>)> {
        let first = self.first_readings();
        self.weighings.values().filter_map(move |entry| Some((entry, self.left_out(&first, entry)?)))
    }

    fn left_out<'l>(
        &self,
        first: &BTreeMap<Reading<'l>, &'l str>,
        entry: &'l Entry<Weighing>,
    ) -> Option<Uncounted<'l>> {
        let first = || first.get(&reading(&entry.value)?).copied().filter(|first| *first != entry.id);
        match self.is_ahead(entry) {
            Some(on) => Some(Uncounted::Ahead(on)),
            None => first().map(Uncounted::Repeats),
        }
    }

    /// Returns the weighing that another is a copy of, or a second reading the same day; `None` where it is the first.
    pub(super) fn repeated(
        &self,
        firsts: &BTreeMap<Reading<'_>, &str>,
        id: &str,
    ) -> Option<&Entry<Weighing>> {
        let own = reading(&self.weighings.get(id)?.value)?;
        let first = firsts.get(&own).copied().filter(|first| *first != id)?;
        self.weighings.get(first)
    }

    /// Returns the first weighing of each piece, stage and day, by id.
    pub(super) fn first_readings(&self) -> BTreeMap<Reading<'_>, &str> {
        let mut all = BTreeMap::new();
        for entry in self.weighings.values() {
            if let Some(own) = reading(&entry.value) {
                all.entry(own).or_insert(entry.id.as_str());
            }
        }
        all
    }
}

/// `None` of one without a serial, since two of those may be of two pieces, and of one without a day.
fn reading(own: &Weighing) -> Option<Reading<'_>> {
    Some((own.panel.id(), own.serial.as_ref()?.as_str(), stage(own), own.on?))
}

#[cfg(test)]
mod tests {
    use crate::article::fixture::ledger;

    const LEDGER: &str = "
ledger: {format: 1, programme: Sanderling (invented)}
weighings:
  a: {panel: hatch, serial: H1, mass: 10.1 kg, condition: painted, on: 2026-05-01}
  b: {panel: hatch, serial: H1, mass: 10.1 kg, condition: painted, on: 2026-05-01}
  c: {panel: hatch, serial: H1, mass: 9.6 kg, condition: bare, on: 2026-05-01}
  d: {panel: hatch, serial: H2, mass: 10.1 kg, condition: painted, on: 2026-05-01}
  e: {panel: hatch, mass: 10.1 kg, condition: painted, on: 2026-05-01}
  f: {panel: hatch, mass: 10.1 kg, condition: painted, on: 2026-05-01}
  g: {panel: hatch, serial: H3, mass: 10.1 kg, condition: painted, on: 2026-06-02}
";

    #[test]
    fn a_copy_counts_once_and_what_has_not_come_does_not() {
        let all = ledger(LEDGER);
        let ids = |all: &super::Ledger| all.counted_weighings().map(|one| one.id.clone()).collect::<String>();
        assert_eq!(ids(&all), "acdefg");
        let repeated = |id: &str| all.repeated(&all.first_readings(), id).map(|one| one.id.clone());
        assert_eq!(repeated("b").as_deref(), Some("a"));
        assert!(["a", "c", "d", "e", "f", "g"].iter().all(|id| repeated(id).is_none()));
        let day = |text: &str| serde_yaml::from_str(text).unwrap();
        let before = all.clone().as_of(day("2026-06-01"));
        assert_eq!(ids(&before), "acdef");
        let left: Vec<String> =
            before.uncounted_weighings().map(|(one, why)| format!("{}: {why}", one.id)).collect();
        let words =
            ["b: weighing/a is of the same piece, stage and day", "g: its day, 2026-06-02, has not come"];
        assert_eq!(left, words);
        assert_eq!(ids(&all.as_of(day("2026-06-02"))), "acdefg");
    }

    /// What is left out on one day is there again on a later one, whatever was asked between.
    #[test]
    fn readings_of_a_day_that_has_not_come_do_not_count() {
        let day = |text: &str| -> crate::record::Day { serde_yaml::from_str(text).unwrap() };
        let reading = |on: Option<&str>| crate::ledger::TrialReading {
            panel: "T1".to_string(),
            site: "rack".to_string(),
            place: None,
            exposure: crate::quantity::Exposed::parse("3 months").unwrap(),
            property: crate::record::Property::Chalking,
            value: None,
            on: on.map(day),
            rejected: None,
            line: 2,
        };
        let all = [reading(Some("2026-01-10")), reading(None), reading(Some("2026-04-10"))];
        let data = crate::ledger::TestData { readings: all.clone().into(), ..Default::default() };
        let mut own = ledger(LEDGER);
        own.data.insert("e-1".to_string(), data);
        let counts = |own: &super::Ledger| own.data["e-1"].readings.len();
        let early = own.clone().as_of(day("2026-01-08"));
        assert_eq!(counts(&early), 1);
        assert_eq!(early.data["e-1"].all_readings(), all);
        // A day ahead it may be that day elsewhere.
        let before = early.as_of(day("2026-04-08"));
        assert_eq!(counts(&before), 2);
        assert_eq!(counts(&before.as_of(day("2026-04-09"))), 3);
        assert_eq!(counts(&own), 3);
    }
}
