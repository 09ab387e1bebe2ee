//! Reading and judging, and what two verdicts are compared by.

use crate::property::programme::Records;
use bondline::change::impact::{Impact, impact_of};
use bondline::ledger::{Ledger, MemoryRecall};
use bondline::qualify::verdict::{Evaluation, Verdict, evaluate, evaluate_beside};
use bondline::record::sensitivity::Asks;
use bondline::record::{Day, Level};
use bondline::source::Snapshot;
use proptest::{prop_assert_eq, test_runner::TestCaseError};
use std::collections::BTreeMap;

/// The day that everything is judged on.
pub(crate) fn today() -> Day {
    Day::parse("2026-06-01").unwrap()
}

/// Reads records; `Err` names the faults that make one unusable.
pub(crate) fn try_load(records: &Records) -> Result<Ledger, Vec<String>> {
    read(records.texts())
}

pub(crate) fn read(texts: BTreeMap<String, Vec<u8>>) -> Result<Ledger, Vec<String>> {
    read_with(texts, &MemoryRecall::new())
}

/// Reads records with what is recalled of other states.
pub(crate) fn read_with(
    texts: BTreeMap<String, Vec<u8>>,
    recall: &MemoryRecall,
) -> Result<Ledger, Vec<String>> {
    let ledger = Ledger::load(&Snapshot::in_memory(texts), recall);
    let faults: Vec<String> = ledger
        .faults
        .iter()
        .filter(|fault| fault.level == Level::Error)
        .map(|fault| format!("{}: {} ({})", fault.place.file, fault.message, fault.rule))
        .collect();
    if faults.is_empty() { Ok(ledger) } else { Err(faults) }
}

/// Reads records that are sound.
pub(crate) fn load(records: &Records) -> Ledger {
    try_load(records).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

pub(crate) fn evaluated(ledger: &Ledger) -> Evaluation {
    evaluate(ledger, today()).unwrap()
}

/// Judges a ledger beside another: what is taken over must be what is judged anew.
pub(crate) fn beside_as_alone(other: &Ledger, ledger: &Ledger) -> Result<(), TestCaseError> {
    let alone = evaluated(ledger);
    let beside = evaluate_beside(ledger, today(), &evaluated(other)).unwrap();
    prop_assert_eq!(&alone.duties, &beside.duties);
    prop_assert_eq!(&alone.assumptions, &beside.assumptions);
    Ok(())
}

/// An edit and its undoing, each read with what was kept of the state before it and judged beside that state.
pub(crate) fn there_and_back(base: &Records, changed: &Records) -> Result<[Seen; 3], TestCaseError> {
    let recall = MemoryRecall::new();
    let read = |records: &Records| {
        read_with(records.texts(), &recall).map_err(|_| TestCaseError::reject("refused by the reader"))
    };
    let before = Seen::of(read(base)?);
    let beside = |records: &Records, other: &Seen| -> Result<Seen, TestCaseError> {
        let ledger = read(records)?;
        let evaluation = evaluate_beside(&ledger, today(), &other.evaluation).unwrap();
        // What nothing touched is taken over without being looked at.
        let alone = evaluated(&ledger);
        prop_assert_eq!(&alone.duties, &evaluation.duties);
        prop_assert_eq!(&alone.assumptions, &evaluation.assumptions);
        Ok(Seen { ledger, evaluation })
    };
    let after = beside(changed, &before)?;
    let undone = beside(base, &after)?;
    Ok([before, after, undone])
}

/// A verdict with everything that must not move: for the duty and for each panel.
pub(crate) type Verdicts = BTreeMap<String, (Verdict, Asks, BTreeMap<String, (Verdict, Asks)>)>;

pub(crate) fn verdicts(evaluation: &Evaluation) -> Verdicts {
    evaluation
        .duties
        .values()
        .map(|duty| {
            let panels = duty
                .panels
                .iter()
                .map(|(panel, judged)| (panel.clone(), (judged.verdict, judged.asks)))
                .collect();
            (format!("{} on {}", duty.showing, duty.subject), (duty.verdict(), duty.asks(), panels))
        })
        .collect()
}

/// A ledger with its verdicts.
pub(crate) struct Seen {
    pub(crate) ledger: Ledger,
    pub(crate) evaluation: Evaluation,
}

impl Seen {
    pub(crate) fn of(ledger: Ledger) -> Self {
        let evaluation = evaluated(&ledger);
        Self { ledger, evaluation }
    }

    pub(crate) fn verdicts(&self) -> Verdicts {
        verdicts(&self.evaluation)
    }

    /// What changes from this to another.
    pub(crate) fn to(&self, head: &Seen) -> Impact {
        impact_of((&self.ledger, "base"), &self.evaluation, (&head.ledger, "head"), &head.evaluation).unwrap()
    }
}

/// Whether two masses are the same but for the order of adding.
pub(crate) fn close(one: f64, two: f64) -> bool {
    (one - two).abs() <= 1e-9 * one.abs().max(two.abs()).max(1e-3)
}
