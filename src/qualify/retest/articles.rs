//! How many specimens and panels a step takes, and which steps are cut from one lay-up.

use super::builds::Need;
use super::conditioning::weeks as conditioning_weeks;
use super::{PlanStep, StepKind};
use crate::article::{Configurator, Subject};
use crate::ledger::{Entry, Ledger};
use crate::qualify::table::Table;
use crate::record::Showing;
use std::collections::BTreeMap;

/// Spare specimens as a share; the project's own rule.
const SPARES: f64 = 0.10;
/// Specimens cut from one panel; common practice, no source.
const SPECIMENS_PER_PANEL: u32 = 24;

/// Makes a step of a need, as if it shared nothing.
pub(super) fn step(
    ledger: &Ledger,
    showing: &Entry<Showing>,
    need: Need,
    assumptions: &mut Vec<String>,
) -> PlanStep {
    let written = showing.value.plan.as_ref();
    let mut step = PlanStep {
        showing: need.showing,
        build: need.build,
        closes: need.closes,
        kind: need.kind,
        specimens: 0,
        panels: 0,
        shares: None,
        lead_weeks: 0.0,
        layup_weeks: 0.0,
        conditioning_weeks: 0.0,
        conditioned_with: None,
        test_weeks: 0.0,
        weeks: 0.0,
        start: 0.0,
        baselines: need.baselines,
        power: None,
        cost: Some(0.0),
        prerequisite: need.prerequisite,
    };
    match step.kind {
        StepKind::RestsOn | StepKind::NoTest => return step,
        StepKind::Analysis => {
            step.test_weeks = written.and_then(|plan| plan.analysis_weeks).unwrap_or(1.0);
            return step;
        }
        StepKind::Test | StepKind::Equivalence => {}
    }
    for record in need.unconformed {
        assumptions.push(format!(
            "{} is tested anew, although evidence/{record} is finished: it counts once it is conformed",
            step.name()
        ));
    }
    let spares = written.and_then(|plan| plan.spares.as_ref()).map_or(SPARES, |spares| spares.si());
    step.specimens = with_spares(need.specimens, spares);
    step.panels = need.panels.max(step.specimens.div_ceil(per_panel(&showing.value)));
    step.lead_weeks = written.and_then(|plan| plan.lead).unwrap_or(0.0);
    step.layup_weeks = written.and_then(|plan| plan.layup).unwrap_or(0.0);
    step.conditioning_weeks = conditioning_weeks(ledger, &showing.value, &step.build, assumptions);
    step.test_weeks = written.and_then(|plan| plan.weeks).unwrap_or_else(|| {
        assumptions
            .push(format!("showing/{}#plan.weeks is not given: no test time is counted", step.showing));
        0.0
    });
    step
}

/// Returns the specimens to make, rounded up.
pub(super) fn with_spares(specimens: u32, spares: f64) -> u32 {
    // A hair below, so that ten and a tenth of ten are eleven and not twelve.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let made = (f64::from(specimens) * (1.0 + spares) - 1e-9).ceil().clamp(0.0, 1e9) as u32;
    made
}

/// Specimens that one panel gives.
fn per_panel(showing: &Showing) -> u32 {
    let written = showing.plan.as_ref().and_then(|plan| plan.specimens_per_panel);
    written.unwrap_or(SPECIMENS_PER_PANEL).max(1)
}

/// Which steps are laid up together, and which are conditioned together, by their places.
#[derive(Debug, Default)]
pub(super) struct Shared {
    pub(super) layups: Vec<Vec<usize>>,
    pub(super) chambers: Vec<Vec<usize>>,
}

/// Finds what steps share: one lay-up where the own facets that their tests look at are equal by value, one
/// chamber where build, environment, thickness and moisture are the same.
///
/// Painted laminates, bonds and panels are articles of their own; so is a specimen that takes a whole panel,
/// since nothing else can be cut from that.
pub(super) fn shared(ledger: &Ledger, configurator: &Configurator<'_>, steps: &[PlanStep]) -> Shared {
    let mut layups: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    let mut chambers: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (at, step) in steps.iter().enumerate().filter(|(_, step)| step.kind.is_tested()) {
        let Some(showing) = ledger.showings.get(&step.showing) else { continue };
        if let Some(key) = layup_key(configurator, &showing.value, &step.build) {
            layups.entry(key).or_default().push(at);
        }
        let plan = showing.value.plan.as_ref();
        if let Some(conditioning) = plan.and_then(|plan| plan.conditioning.as_ref()) {
            let environment = showing.value.environment.as_ref();
            let name = environment.and_then(|own| own.name.as_ref()).map_or("", |name| name.as_str());
            let moisture = environment.and_then(|own| own.moisture.as_ref()).map_or("", |own| own.as_str());
            let thickness = conditioning.coupon_thickness.canonical("mm");
            let to = conditioning.to.canonical("%");
            let key = format!("{}|{name}|{moisture}|{thickness}|{to}", step.build);
            chambers.entry(key).or_default().push(at);
        }
    }
    let several = |all: BTreeMap<String, Vec<usize>>| all.into_values().filter(|one| one.len() > 1).collect();
    Shared { layups: several(layups), chambers: several(chambers) }
}

/// What tests must agree in to be cut from one lay-up.
fn layup_key(configurator: &Configurator<'_>, showing: &Showing, build: &Subject) -> Option<String> {
    let laid = matches!(build, Subject::Lamina { .. } | Subject::Laminate(_));
    if !laid || per_panel(showing) == 1 {
        return None;
    }
    let row = Table::row(showing.kind.as_str())?;
    let kind = build.kind().word();
    let own = row.own_of(kind);
    let made = match configurator.configuration(build, None) {
        Ok(whole) => {
            let own = whole.only(|facet| own.iter().any(|one| one == facet));
            let rows = own.attributes().map(|(key, value)| format!("{key}={value}"));
            rows.collect::<Vec<_>>().join(";")
        }
        // What can't be compared is shared with itself alone.
        Err(_) => build.to_string(),
    };
    Some(format!("{kind}|{}|{made}", own.join(",")))
}

/// Gives the panels of each lay-up to the step that is laid up first: as many as the largest set of batches
/// takes, or as all specimens together need.
pub(super) fn lay_up(ledger: &Ledger, steps: &mut [PlanStep], layups: &[Vec<usize>]) {
    for group in layups {
        let one = |at: &usize| {
            let step = steps.get(*at)?;
            let showing = ledger.showings.get(&step.showing)?;
            Some((step, per_panel(&showing.value)))
        };
        // A step's own panels are at least those of its batches, and no fewer than its specimens need.
        let least = group.iter().filter_map(one).map(|(step, _)| step.panels).max().unwrap_or(1);
        let needed = panels_for(group.iter().filter_map(one).map(|(step, each)| (step.specimens, each)));
        let Some(lays) = leader(steps, group) else { continue };
        let Some(first) = steps.get(lays).map(PlanStep::name) else { continue };
        for at in group {
            let Some(step) = steps.get_mut(*at) else { continue };
            (step.panels, step.shares) =
                if *at == lays { (least.max(needed), None) } else { (0, Some(first.clone())) };
        }
    }
}

/// Panels that specimens of several sizes fill together: each takes its share of a panel.
pub(super) fn panels_for(specimens: impl Iterator<Item = (u32, u32)>) -> u32 {
    let shares: f64 = specimens.map(|(count, each)| f64::from(count) / f64::from(each.max(1))).sum();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let panels = (shares - 1e-9).ceil().clamp(0.0, 1e9) as u32;
    panels
}

/// Of steps that share something the one that would be laid up first, so that none is ahead of what it shares;
/// among equals the one that starts first, then the smaller name.
pub(super) fn leader(steps: &[PlanStep], group: &[usize]) -> Option<usize> {
    let ready = |step: &PlanStep| step.start + step.lead_weeks + step.layup_weeks;
    let first = group.iter().filter_map(|at| Some((*at, steps.get(*at)?))).min_by(|(_, one), (_, two)| {
        ready(one)
            .total_cmp(&ready(two))
            .then(one.start.total_cmp(&two.start))
            .then_with(|| one.name().cmp(&two.name()))
    });
    first.map(|(at, _)| at)
}
