//! Days ahead on records of what has happened.

use super::known::entry;
use super::sink::{At, Sink, settle};
use super::{Entry, Files, Ledger, TrialReading};
use crate::record::{Approval, Day, Decision, DecisionStatus, EvidenceState, Fault, Level};

impl Ledger {
    /// Finds days more than a year after `today` on what is said to have happened: an article made, a decision raised.
    /// They are warnings: a year is easily mistyped.
    ///
    /// Readings of a trial, finished articles, weighings and approvals are warned of as soon as they do not count before
    /// their day. Other days nearer than a year are left alone, as `--today` may well ask how things stood before they
    /// came. The day comes from outside, so this is no part of [`Ledger::load`].
    pub fn days_far_ahead(&self, files: &dyn Files, today: Day) -> Vec<Fault> {
        // Judged by the calendar: the 29th of February has no day of its own a year on.
        let far = |day: Day| {
            (day.0.year(), day.0.month(), day.0.day()) > (today.0.year() + 1, today.0.month(), today.0.day())
        };
        let mut sinks = Vec::new();
        let mut look = |file: &str, days: Vec<(String, Day)>| {
            let mut sink = Sink::new(file);
            for (at, day) in days.into_iter().filter(|(_, day)| far(*day)) {
                sink.warning(
                    "future-day",
                    at,
                    format!("`{day}` is more than a year ahead: today is {today}"),
                )
                .label("far ahead")
                .help("correct the day: it is said to have come");
            }
            sinks.push(sink);
        };
        let done = self.evidence.values().filter(|one| one.value.state != EvidenceState::Planned);
        let mut made = Vec::new();
        for one in done {
            let Some(day) = one.value.made else { continue };
            if !self.ahead.contains(&one.id) {
                look(&one.file, vec![("made".to_string(), day)]);
                continue;
            }
            let mut sink = Sink::new(&one.file);
            let message = format!("the article is said to be made on {day} and tested, and today is {today}");
            uncounted(&mut sink, "made", message, "the record counts as under way");
            made.push(sink);
        }
        let mut readings = Vec::new();
        for (data, one) in self.data.iter().filter_map(|(id, data)| Some((data, self.evidence.get(id)?))) {
            readings.extend(Self::readings_ahead(&data.file, &one.file, data.all_readings(), today));
        }
        for one in self.weighings.values() {
            let decided = one.value.disposition.as_ref().map(|own| ("disposition.on".to_string(), own.on));
            look(&one.file, decided.into_iter().collect());
        }
        let mut weighed = Vec::new();
        for one in self.weighings.values() {
            let Some(on) = one.value.on.filter(|on| *on > today) else { continue };
            let mut sink = Sink::new(&one.file);
            let message = format!("the piece is said to be weighed on {on}, and today is {today}");
            uncounted(&mut sink, "on", message, "the weighing does not count");
            weighed.push(sink);
        }
        for one in self.decisions.values() {
            look(&one.file, one.value.raised.map(|day| ("raised".to_string(), day)).into_iter().collect());
        }
        sinks.extend(self.approved_by_now(today));
        let decisions = self.decisions.values().map(|one| (&one.file, &one.value.approvals));
        let concessions = self.concessions.values().map(|one| (&one.file, &one.value.approvals));
        let approved =
            decisions.chain(concessions).filter_map(|(file, all)| approvals_ahead(file, all, today));
        sinks.extend(readings);
        sinks.extend(made);
        sinks.extend(weighed);
        sinks.extend(approved);
        settle(files, sinks)
    }

    /// Decisions that all have approved by today, and that are called proposed still: as when a day that lay ahead was
    /// corrected.
    fn approved_by_now(&self, today: Day) -> Vec<Sink> {
        let rule = self.head.as_ref().and_then(|head| head.approvals.as_ref());
        let Some(rule) = rule.filter(|rule| !rule.decision.is_empty()) else { return Vec::new() };
        let is_whole = |own: &&Entry<Decision>| {
            let come = Approval::come(&own.value.approvals, Some(today));
            own.value.status == DecisionStatus::Proposed
                && Approval::lacking(&come, &rule.decision, rule.persons).is_empty()
        };
        let all = self.decisions.values().filter(is_whole).map(|own| {
            let mut sink = Sink::new(&own.file);
            sink.warning("odd-approval", "status", "all who must approve it have, and it is called proposed")
                .label("approved by all")
                .help(format!(
                    "`bondline decide approve {} --role ROLE` for one of them once more writes it; until then it counts as not approved",
                    own.id
                ));
            sink
        });
        all.collect()
    }

    /// Readings of a trial said to have been taken after today, at the line of the first.
    fn readings_ahead(file: &str, record: &str, readings: &[TrialReading], today: Day) -> Option<Sink> {
        let ahead =
            || readings.iter().filter_map(|row| Some((row, row.on.filter(|on| !on.has_come(today))?)));
        let (row, on) = ahead().next()?;
        let message = match ahead().count() {
            1 => format!("a reading of {on} lies ahead: today is {today}"),
            n => format!("a reading of {on} and {} more of the file lie ahead: today is {today}", n - 1),
        };
        let mut sink = Sink::new(record);
        sink.elsewhere(Level::Warning, "future-day", file, At::Line(row.line), message)
            .label("ahead: does not count")
            .help("correct the day: the panel is said to have been read; until it has come the reading does not count");
        Some(sink)
    }
}

/// Warns of what does not count before its day; `until` says how it counts till then.
fn uncounted(sink: &mut Sink, at: impl Into<At>, message: String, until: &str) {
    sink.warning("future-day", at, message)
        .label("ahead: does not count")
        .help(format!("correct the day; until it has come {until}"));
}

/// Approvals said to have been given after today.
fn approvals_ahead(file: &str, approvals: &[Approval], today: Day) -> Option<Sink> {
    let mut sink = Sink::new(file);
    let ahead = || approvals.iter().enumerate().filter(|(_, own)| !own.on.has_come(today));
    for (at, own) in ahead() {
        let message =
            format!("`{}` is said to have approved it on {}, and today is {today}", own.role, own.on);
        uncounted(&mut sink, entry("approvals", at, "on"), message, "the approval does not count");
    }
    ahead().next().map(|_| sink)
}
