//! Concessions: a departure that is accepted covers what it names, and no more.

use super::delta::number;
use super::judge::Reason;
use super::verdict::{Duty, DutyKey, Judged, Verdict, note};
use crate::article::Subject;
use crate::ledger::{Entry, Ledger};
use crate::record::sensitivity::Asks;
use crate::record::{Approval, Concession, Covered, Covers, Day};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Lays live concessions over verdicts.
pub fn concede(ledger: &Ledger, today: Day, duties: &mut BTreeMap<DutyKey, Duty>) {
    for concession in ledger.concessions.values() {
        let Some(subject) = Subject::from_label(&concession.value.subject) else { continue };
        let key = (concession.value.showing.id().to_string(), subject);
        let Some(duty) = duties.get_mut(&key) else { continue };
        let approved = is_approved(ledger, &concession.value);
        let expired = concession.value.until < today;
        for judged in duty.panels.values_mut().filter(|judged| !judged.verdict.is_closed()) {
            let judged = Arc::make_mut(judged);
            if expired {
                judged.because.push(note(
                    "concession",
                    &format!("concession/{} ended on {}", concession.id, concession.value.until),
                    Asks::None,
                ));
            } else if !approved {
                judged.because.push(note(
                    "concession",
                    &format!(
                        "concession/{} is not approved by the roles that the ledger asks for",
                        concession.id
                    ),
                    Asks::None,
                ));
            } else {
                apply(concession, judged);
            }
        }
    }
}

/// Whether a concession has the approvals that the ledger asks for.
pub fn is_approved(ledger: &Ledger, concession: &Concession) -> bool {
    let needed = ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    needed.is_none_or(|needed| Approval::by_all(&concession.approvals, &needed.concession))
}

fn apply(concession: &Entry<Concession>, judged: &mut Judged) {
    let uncovered: Vec<String> = match (&concession.value.covers, judged.verdict) {
        (Covers::Failed, Verdict::Failed) => Vec::new(),
        (Covers::Differences(differences), Verdict::Lapsed) => judged
            .because
            .iter()
            .filter(|reason| reason.effect > Asks::None)
            .filter(|reason| {
                !differences.get(&reason.attribute).is_some_and(|covered| reaches(covered, reason))
            })
            .map(|reason| reason.attribute.clone())
            .collect(),
        _ => vec![judged.verdict.word().to_string()],
    };
    if uncovered.is_empty() {
        judged.verdict = Verdict::Conceded;
        let words = format!("concession/{} until {}", concession.id, concession.value.until);
        judged.because.insert(0, note("concession", &words, Asks::None));
    } else {
        let words = format!("concession/{} does not cover {}", concession.id, uncovered.join(", "));
        judged.because.push(note("concession", &words, Asks::None));
    }
}

/// Whether the value now lies in what is covered; texts that are no figures must be equal.
fn reaches(covered: &Covered, reason: &Reason) -> bool {
    let is = reason.is.as_str();
    let compare = |bound: &str| -> Option<std::cmp::Ordering> {
        let ((is, unit), (bound, own)) = (number(is)?, number(bound)?);
        // A skin temperature is written with its surface behind; the unit is the first word.
        let first = |unit: &str| unit.split([' ', ',']).next().unwrap_or_default().to_string();
        (first(unit) == first(own)).then(|| is.cmp(&bound))
    };
    let at_most =
        covered.at_most.as_ref().is_none_or(|bound| compare(bound.as_str()).is_some_and(|o| o.is_le()));
    let at_least =
        covered.at_least.as_ref().is_none_or(|bound| compare(bound.as_str()).is_some_and(|o| o.is_ge()));
    let equals = covered.equals.as_ref().is_none_or(|value| value.to_string() == is);
    let any = covered.at_most.is_some() || covered.at_least.is_some() || covered.equals.is_some();
    any && at_most && at_least && equals
}
