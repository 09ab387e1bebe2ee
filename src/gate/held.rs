//! Pieces of released panels that are on hold for their mass.

use super::{Finding, Raw};
use crate::ledger::Ledger;
use crate::ledger::weighed::{Limits, Standing, limit_percent, percent, piece, share_off, stage, standing};
use crate::record::sensitivity::Asks;
use crate::record::{Address, PolicyLevel, RecordKind};

/// Finds them by the stricter of the committed limits and those of `ledger`, so that raising a limit takes no
/// piece off hold in the same commit.
pub(super) fn pieces_on_hold(committed: &Ledger, ledger: &Ledger, into: &mut Vec<Raw>) {
    for weighing in ledger.weighings.values() {
        let id = weighing.value.panel.id();
        if !ledger.panels.get(id).is_some_and(|panel| panel.value.released) {
            continue;
        }
        let stage = stage(&weighing.value);
        let mut limits = Limits::of(ledger, stage);
        if committed.head.is_some() {
            limits = limits.stricter(Limits::of(committed, stage));
        }
        let Some(off) = share_off(&weighing.value) else { continue };
        if standing(&weighing.value, limits) != Standing::OnHold {
            continue;
        }
        let address = Address::new(RecordKind::Weighing, weighing.id.clone());
        // In millionths, so that rounding makes nothing graver.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let millionths = (off.abs() * 1e6).round().clamp(0.0, 1e15) as u64;
        into.push(Raw {
            key: (address.to_string(), format!("panel/{id}")),
            finding: Finding {
                rule: "piece-on-hold",
                level: PolicyLevel::Block,
                address,
                route: "mass".to_string(),
                panel: Some(id.to_string()),
                message: format!(
                    "`{id}` is released, but {} is on hold: {} off its prediction when {stage}, beyond {}",
                    piece(&weighing.id, &weighing.value),
                    percent(off),
                    limit_percent(limits.hold)
                ),
                help: "weigh it again and measure what it is made of, then write `disposition: {cause: .., by: .., on: DAY}` into the weighing; `bondline mass --weighings` shows its stages".to_string(),
                place: None,
            },
            gravity: (0, Asks::None, millionths),
        });
    }
}
