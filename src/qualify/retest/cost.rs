//! What a step costs.

use super::PlanStep;
use crate::ledger::{Entry, Ledger};
use crate::quantity::Money;
use crate::record::Showing;

/// Returns specimens, panels and weeks in the laboratory times their rates; `None` where a rate that counts is
/// not given, which `missing` then names.
pub(super) fn cost(
    ledger: &Ledger,
    showing: &Entry<Showing>,
    step: &PlanStep,
    missing: &mut Vec<String>,
) -> Option<f64> {
    if !step.kind.is_tested() {
        return Some(0.0);
    }
    let rates = ledger.head.as_ref().and_then(|head| head.rates.as_ref());
    let plan = showing.value.plan.as_ref();
    let own = plan.and_then(|plan| plan.cost.as_ref());
    let specimen = own.or_else(|| rates.and_then(|rates| rates.specimen.as_ref()));
    let panel = rates.and_then(|rates| rates.panel_layup.as_ref());
    let lab = rates.and_then(|rates| rates.lab_week.as_ref());
    let mut sum = 0.0;
    let mut whole = true;
    let mut add = |count: f64, rate: Option<&Money>, name: String| match rate {
        Some(rate) => sum += count * rate.amount(),
        None if count > 0.0 => {
            missing.push(name);
            whole = false;
        }
        None => {}
    };
    let id = &showing.id;
    add(f64::from(step.specimens), specimen, format!("showing/{id}#plan.cost or ledger#rates.specimen"));
    add(f64::from(step.panels), panel, "ledger#rates.panel_layup".to_string());
    let weeks = plan.and_then(|plan| plan.lab_weeks).unwrap_or(0.0);
    add(weeks, lab, "ledger#rates.lab_week".to_string());
    whole.then_some(sum)
}
