//! Several changes at once beside each of them alone: what they do only together.

use super::impact::{DutyRow, Impact, PanelRow};
use crate::article::Subject;
use crate::qualify::judge::Reason;
use crate::qualify::verdict::{Verdict, gravity};
use crate::record::sensitivity::Asks;
use std::collections::BTreeMap;

/// A duty, or a single panel's verdict on it, with which the changes together deal otherwise than each alone.
#[derive(Debug, Clone, PartialEq)]
pub struct JointDuty {
    /// The showing.
    pub showing: String,
    /// The subject, as it is called together; alone where the duty is only there.
    pub subject: Subject,
    /// The verdict before; `None` for a new duty.
    pub was: Option<Verdict>,
    /// The verdict and what it asks under each change alone, in the order of the changes; `None` where it is as
    /// before.
    pub alone: Vec<Option<(Verdict, Asks)>>,
    /// The verdict and what it asks together; `None` where it is as before.
    pub together: Option<(Verdict, Asks)>,
    /// Why, together; under the first change that moves it where nothing moves together.
    pub because: Vec<Reason>,
    /// The panels that it holds for.
    pub panels: Vec<String>,
}

/// What several changes do only together, or only alone.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Joint {
    /// Worse together and under none of them alone.
    pub only_together: Vec<JointDuty>,
    /// Worse under one of them already, and asking more together than under any.
    pub graver_together: Vec<JointDuty>,
    /// Worse under one of them alone and not together: one gives back what another takes.
    pub restored_together: Vec<JointDuty>,
}

impl Joint {
    /// Returns whether the changes together are their sum, as far as duties go.
    pub fn is_plain(&self) -> bool {
        self.only_together.is_empty() && self.graver_together.is_empty() && self.restored_together.is_empty()
    }
}

/// A duty in its place: the showing, the subject before where there was one, and the panel where the row is a
/// single panel's.
type Slot = (String, Subject, Option<String>);

/// What one impact says of a slot.
#[derive(Clone)]
struct Moved {
    subject: Subject,
    was: Option<Verdict>,
    now: (Verdict, Asks),
    worse: bool,
    because: Vec<Reason>,
    panels: Vec<String>,
}

fn of_duty(row: &DutyRow) -> (Slot, Moved) {
    let before = row.was_subject.clone().unwrap_or_else(|| row.subject.clone());
    let moved = Moved {
        subject: row.subject.clone(),
        was: row.was,
        now: (row.now, row.asks),
        worse: row.is_worse(),
        because: row.because.clone(),
        panels: row.panels.clone(),
    };
    ((row.showing.clone(), before, None), moved)
}

fn of_panel(row: &PanelRow) -> (Slot, Moved) {
    let moved = Moved {
        subject: row.subject.clone(),
        was: row.was,
        now: (row.now, row.asks),
        worse: !row.now.is_closed() && row.was.is_none_or(Verdict::is_closed),
        because: Vec::new(),
        panels: vec![row.panel.clone()],
    };
    ((row.showing.clone(), row.subject.clone(), Some(row.panel.clone())), moved)
}

fn moves(impact: &Impact) -> BTreeMap<Slot, Moved> {
    impact.duties.iter().map(of_duty).chain(impact.panel_rows.iter().map(of_panel)).collect()
}

/// What an impact says of a slot: its own row, or for a single panel the duty's.
fn said<'m>(moves: &'m BTreeMap<Slot, Moved>, slot: &Slot) -> Option<&'m Moved> {
    let (showing, subject, panel) = slot;
    moves.get(slot).or_else(|| {
        let panel = panel.as_ref()?;
        let whole = moves.get(&(showing.clone(), subject.clone(), None))?;
        whole.panels.contains(panel).then_some(whole)
    })
}

/// Compares what changes do together with what each does alone, all from one base.
///
/// A duty is the same one where it stands in the same place of the base, under whatever subject each of the changes
/// leaves there.
pub fn joint(parts: &[&Impact], whole_impact: &Impact) -> Joint {
    let parts: Vec<BTreeMap<Slot, Moved>> = parts.iter().map(|part| moves(part)).collect();
    let together = moves(whole_impact);
    let weight = |(verdict, asks): (Verdict, Asks)| {
        let (class, asks, _) = gravity(verdict, asks);
        (class, asks)
    };
    let row = |slot: &Slot, shown: &Moved, whole: Option<&Moved>| JointDuty {
        showing: slot.0.clone(),
        subject: shown.subject.clone(),
        was: shown.was,
        alone: parts.iter().map(|part| said(part, slot).map(|moved| moved.now)).collect(),
        together: whole.map(|moved| moved.now),
        because: shown.because.clone(),
        panels: shown.panels.clone(),
    };
    let mut found = Joint::default();
    for (slot, moved) in together.iter().filter(|(_, moved)| moved.worse) {
        let alone: Vec<&Moved> =
            parts.iter().filter_map(|part| said(part, slot)).filter(|own| own.worse).collect();
        let gravest = alone.iter().map(|own| weight(own.now)).max();
        match gravest {
            None => found.only_together.push(row(slot, moved, Some(moved))),
            Some(gravest) if weight(moved.now) > gravest => {
                found.graver_together.push(row(slot, moved, Some(moved)));
            }
            Some(_) => {}
        }
    }
    let mut seen: Vec<&Slot> = Vec::new();
    for (slot, moved) in parts.iter().flatten().filter(|(_, moved)| moved.worse) {
        let whole = said(&together, slot);
        // A duty that together is not asked at all was not given back.
        let ended =
            whole_impact.ended.iter().any(|(showing, subject, _)| (showing, subject) == (&slot.0, &slot.1));
        let gone = whole.is_none() && (ended || moved.was.is_none());
        if whole.is_some_and(|whole| whole.worse) || gone || seen.contains(&slot) {
            continue;
        }
        seen.push(slot);
        found.restored_together.push(row(slot, moved, whole));
    }
    for list in [&mut found.only_together, &mut found.graver_together, &mut found.restored_together] {
        list.sort_by(|one, two| {
            (&one.showing, &one.subject, &one.panels).cmp(&(&two.showing, &two.subject, &two.panels))
        });
    }
    found
}

impl Joint {
    /// Says what is only so together, in sentences that come before everything else; empty where nothing is.
    ///
    /// `names` are the changes as the reader knows them.
    pub fn sentences(&self, names: &[String]) -> String {
        let mut said = Vec::new();
        let whose = match names {
            [one, two] => format!("{one} and {two}"),
            _ => "these changes".to_string(),
        };
        let neither = if names.len() == 2 { "neither" } else { "none" };
        if !self.only_together.is_empty() {
            said.push(format!(
                "Together {whose} un-prove what {neither} of them does alone, {}.",
                listed(&self.only_together)
            ));
        }
        if !self.graver_together.is_empty() {
            said.push(format!(
                "More is asked together than under any of them alone of {}.",
                listed(&self.graver_together)
            ));
        }
        if !self.restored_together.is_empty() {
            said.push(format!(
                "What one of them un-proves alone stands together, {}.",
                listed(&self.restored_together)
            ));
        }
        said.join(" ")
    }
}

/// Duties said in a sentence.
const SAID: usize = 4;

fn listed(rows: &[JointDuty]) -> String {
    let one = |row: &JointDuty| {
        let of = format!("{} of {}", row.showing, row.subject);
        match row.together {
            Some((verdict, asks)) if asks > Asks::None => format!("{of} ({verdict}, asks {asks})"),
            Some((verdict, _)) => format!("{of} ({verdict})"),
            None => of,
        }
    };
    let mut all: Vec<String> = rows.iter().take(SAID).map(one).collect();
    if rows.len() > SAID {
        all.push(format!("and {} more", rows.len() - SAID));
    }
    format!("{} {}: {}", rows.len(), if rows.len() == 1 { "duty" } else { "duties" }, all.join("; "))
}
