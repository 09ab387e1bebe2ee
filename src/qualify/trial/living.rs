//! Which trial panels still represent something in use: a trial of a dead recipe may be retired.

use super::super::compared::{Asked, Compared, Sight};
use super::super::extension::Fits;
use super::super::judge::{Detail, Reason};
use super::super::made::all_made;
use super::super::reach::Reach;
use super::super::sieve::Sieve;
use super::super::table::Table;
use super::super::verdict::{Evaluation, Room, rules};
use crate::article::{Configurator, Subject};
use crate::ledger::{Entry, Ledger};
use crate::record::sensitivity::Asks;
use crate::record::{Evidence, Showing};
use thin_vec::ThinVec;

/// Whether an article still represents something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// It is as something in use is made.
    Living,
    /// It differs from everything in use.
    Gone,
    /// It was not conformed, so nobody can tell.
    Unknown,
}

impl Stands {
    /// Returns the word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Living => "living",
            Self::Gone => "gone",
            Self::Unknown => "unknown",
        }
    }
}

/// What a trial's article still represents.
#[derive(Debug, Clone, PartialEq)]
pub struct Living {
    /// Whether it does.
    pub stands: Stands,
    /// Subjects in use that it represents.
    pub subjects: Vec<String>,
    /// Where it represents none: the nearest, what that asks, and in what it differs.
    pub nearest: Option<(String, Asks, ThinVec<Reason>)>,
}

/// Compares the article of a trial with every subject that the showing is asked of.
pub(super) fn living(
    ledger: &Ledger,
    evaluation: &Evaluation,
    (configurator, reach): (&Configurator<'_>, &Reach<'_>),
    showing: &Entry<Showing>,
    own: &Entry<Evidence>,
) -> Living {
    let unknown = Living { stands: Stands::Unknown, subjects: Vec::new(), nearest: None };
    let Some(row) = Table::row(showing.value.kind.as_str()) else { return unknown };
    let sieve = Sieve::default();
    let records = [own];
    let all = all_made(&records, &sieve, None, |_| true);
    let Some(made) = all.first() else { return unknown };
    let rules = rules(showing, row, row.subject_of(&showing.value));
    let room = Room {
        ledger,
        configurator,
        uses: &evaluation.uses,
        reach,
        demands: &evaluation.grounds.demands,
        showing,
        row,
        records: &records,
        rules: &&rules,
        sieve: &&sieve,
        forms: None,
        detail: Detail::Verdicts,
        live: None,
        only: None,
        fits: Fits::default(),
        // What still represents an article is asked of the article, whatever was conceded.
        conceding: Vec::new(),
    };
    let mut found = Living { stands: Stands::Gone, subjects: Vec::new(), nearest: None };
    let mut nearest: Option<(Asks, bool, usize)> = None;
    let of_it = evaluation.duties.values().filter(|duty| duty.showing == showing.id);
    for duty in of_it {
        let mut represents = false;
        for panel in duty.panels.keys() {
            let Some(used) = room.demands.of(&duty.subject, panel) else { continue };
            for configuration in used.variants.iter() {
                let asked = Asked {
                    subject: &duty.subject,
                    configuration,
                    demand: &used.demand,
                    load_path: used.load_path,
                    w9: None,
                };
                let mut sight = Sight { at_least: Asks::None, is_plain_judged: true, seen: None };
                let compared: Compared<'_> = room.compare(&asked, made, &mut sight);
                represents |= compared.asks == Asks::None;
                let foreign = Subject::from_label(&own.value.subject).as_ref() != Some(&duty.subject);
                let rank = (compared.asks, foreign, compared.count);
                if compared.asks > Asks::None && nearest.is_none_or(|known| rank < known) {
                    nearest = Some(rank);
                    found.nearest = Some((duty.subject.to_string(), compared.asks, compared.reasons()));
                }
            }
        }
        if represents {
            found.subjects.push(duty.subject.to_string());
        }
    }
    if !found.subjects.is_empty() {
        found.stands = Stands::Living;
        found.nearest = None;
    }
    found
}
