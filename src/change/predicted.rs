//! What a decision is predicted to do, as it is frozen when it is proposed.

use super::impact::Impact;
use crate::ledger::digest_of_changes;
use crate::quantity::{Mass, Money};
use crate::record::{Change, Day, Predicted, PredictedDuty, Text};

/// Takes the prediction from an impact: `commit` is what it was predicted on, `currency` that of the ledger; `None`
/// where a mass is no number.
pub fn predicted(
    impact: &Impact,
    changes: &[Change],
    commit: Option<&str>,
    on: Day,
    currency: &str,
) -> Option<Predicted> {
    let lapsed = impact.duties.iter().filter(|row| row.is_worse()).map(|row| PredictedDuty {
        showing: Text::from(row.showing.as_str()),
        subject: Text::from(row.subject.to_string().as_str()),
        asks: Text::from(row.asks.word()),
    });
    let panels: Option<_> =
        impact.panels.iter().map(|one| Some((one.panel.clone(), kilograms(one.delta)?))).collect();
    Some(Predicted {
        commit: commit.map(Text::from),
        on: Some(on),
        changes: Some(Text::from(digest_of_changes(changes).as_str())),
        mass: kilograms(impact.mass.1 - impact.mass.0)?,
        panels: panels?,
        lapsed: lapsed.collect(),
        specimens: impact.retest.specimens,
        weeks: (impact.retest.weeks * 10.0).round() / 10.0,
        cost: impact.retest.cost.and_then(|cost| {
            let cost = (cost * 100.0).round() / 100.0;
            Money::parse(&format!("{cost} {currency}")).ok()
        }),
        missing: impact.retest.missing.iter().map(|one| Text::from(one.as_str())).collect(),
    })
}

/// A difference of masses, to the milligram.
pub(super) fn kilograms(delta: f64) -> Option<Mass> {
    // What rounds to nothing is nothing, not nothing below zero.
    let rounded = (delta * 1e6).round() / 1e6 + 0.0;
    Mass::parse(&format!("{rounded} kg")).ok()
}
