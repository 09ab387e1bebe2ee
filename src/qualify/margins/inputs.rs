//! What the margins of a panel are made from, so that they are made once for all states that have the same.

use super::super::duty::{Duty, DutyKey, Judged};
use super::super::earlier::{Mark, Recalled, count, kept};
use super::super::rests::of_showing;
use super::super::verdict::Evaluation;
use super::PanelMargins;
use crate::ledger::{Ledger, Nominal};
use crate::record::{
    Climate, Evidence, Finish, Material, Panel, Process, Recipe, Showing, Sourced, Statistics,
};
use foldhash::HashMap;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::fmt::Debug;
use std::sync::{Arc, Mutex, PoisonError};

/// A record of a state. What two states share is the same without a look at it.
struct Shared<T>(Arc<T>);

impl<T: Debug + Send + Sync + 'static> Shared<T> {
    fn mark(&self, recalled: &Recalled) -> Mark {
        recalled.mark(&self.0)
    }
}

impl<T: PartialEq> PartialEq for Shared<T> {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0) || self.0 == other.0
    }
}

/// Everything that the margins of a panel are made from.
#[derive(PartialEq, Default)]
struct Inputs {
    panel: Option<Shared<Panel>>,
    recipes: Vec<Shared<Recipe>>,
    materials: Vec<Shared<Material>>,
    processes: Vec<Shared<Process>>,
    finishes: Vec<Shared<Finish>>,
    climate: Option<Climate>,
    /// Levels that the ledger sets for all showings.
    statistics: Option<Statistics>,
    /// Showings that values come from, with what was judged of them.
    showings: Vec<(Shared<Showing>, Vec<Shared<Judged>>)>,
    /// The evidence behind those verdicts and the baselines that it extends, whose specimens give the values.
    evidence: BTreeMap<String, Behind>,
    names: Names,
}

/// What all of it is called, and what was looked for and is not there: margins name it. Within one run a panel is found by
/// its name, and records by what they say; a later run knows neither, so its mark has the names too. `None` where no mark
/// is made.
#[derive(Default)]
struct Names(Option<Vec<String>>);

impl PartialEq for Names {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Names {
    fn note(&mut self, name: impl FnOnce() -> String) {
        if let Some(names) = &mut self.0 {
            names.push(name());
        }
    }

    fn add<T>(&mut self, kind: &str, id: &str, found: Option<T>) -> Option<T> {
        self.note(|| format!("{kind}/{id} {}", found.is_some()));
        found
    }
}

/// A record of evidence, with what else a value takes from it.
#[derive(PartialEq)]
struct Behind {
    record: Shared<Evidence>,
    /// Of its data, where it has some.
    digest: Option<String>,
    /// What its values are brought to.
    nominal: Option<f64>,
}

impl Inputs {
    /// Returns the mark of all of it.
    fn mark(&self, recalled: &Recalled) -> Mark {
        // A field that is added has to be in it.
        let Self {
            panel,
            recipes,
            materials,
            processes,
            finishes,
            climate,
            statistics,
            showings,
            evidence,
            names: Names(names),
        } = self;
        fn marks<T: Debug + Send + Sync + 'static>(all: &[Shared<T>], recalled: &Recalled) -> Vec<Mark> {
            all.iter().map(|one| one.mark(recalled)).collect()
        }
        let panel = panel.as_ref().map(|own| own.mark(recalled));
        // Verdicts are of one state each: their marks are not worth remembering.
        let judged = |all: &[Shared<Judged>]| all.iter().map(|one| Mark::of(&*one.0)).collect();
        let showings: Vec<(Mark, Vec<Mark>)> =
            showings.iter().map(|(own, all)| (own.mark(recalled), judged(all))).collect();
        let evidence: Vec<_> = evidence
            .iter()
            .map(|(id, Behind { record, digest, nominal })| (id, record.mark(recalled), digest, nominal))
            .collect();
        Mark::of(&(
            panel,
            (marks(recipes, recalled), marks(materials, recalled)),
            (marks(processes, recalled), marks(finishes, recalled)),
            (climate, statistics),
            (showings, evidence),
            names,
        ))
    }
}

/// What the store calls the margins of a panel.
pub(in super::super) const MARGINS: &str = "margins";

/// One state, with what gives design values.
#[derive(Clone, Copy)]
pub(crate) struct Side<'a> {
    ledger: &'a Ledger,
    duties: &'a BTreeMap<DutyKey, Duty>,
}

impl<'a> Side<'a> {
    pub(crate) fn of(ledger: &'a Ledger, evaluation: &'a Evaluation) -> Self {
        Self::new(ledger, &evaluation.duties)
    }

    pub(super) fn new(ledger: &'a Ledger, duties: &'a BTreeMap<DutyKey, Duty>) -> Self {
        Self { ledger, duties }
    }

    /// Whether a panel's margins are made from the same as those of a panel of another state.
    pub(crate) fn is_same(&self, panel: &str, other: &Side<'_>, named: &str) -> bool {
        self.inputs(panel, false) == other.inputs(named, false)
    }

    /// The duties of a showing.
    fn duties_of(&self, showing: &str) -> impl Iterator<Item = &'a Duty> {
        of_showing(self.duties, showing).map(|(_, duty)| duty)
    }

    /// `names` says whether a mark is made of them.
    fn inputs(&self, panel: &str, names: bool) -> Inputs {
        let ledger = self.ledger;
        let Some(entry) = ledger.panels.get(panel) else { return Inputs::default() };
        let mut found = Inputs {
            panel: Some(Shared(Arc::clone(&entry.value))),
            climate: ledger.head.as_ref().and_then(|head| head.climate.clone()),
            statistics: ledger.head.as_ref().and_then(|head| head.statistics.clone()),
            ..Inputs::default()
        };
        let mut names = Names(names.then(Vec::new));
        names.note(|| format!("panel/{panel}"));
        let mut materials: Vec<&str> = Vec::new();
        let mut showings: BTreeSet<&str> = BTreeSet::new();
        for zone in &entry.value.zones {
            materials.extend(zone.sheet.as_ref().map(|own| own.material.id()));
            // Paint heats bonds of sheet alone.
            let finish = zone.finish.as_ref().filter(|_| !entry.value.joints.is_empty());
            let finish = finish.and_then(|own| names.add("finish", own.id(), ledger.finishes.get(own.id())));
            found.finishes.extend(finish.map(|own| Shared(Arc::clone(&own.value))));
            let recipe = zone.recipe.as_ref();
            let recipe = recipe.and_then(|own| names.add("recipe", own.id(), ledger.recipes.get(own.id())));
            let Some(recipe) = recipe else { continue };
            materials.extend(recipe.value.layers.iter().map(|layer| layer.material.id()));
            materials.extend(recipe.value.resin.as_ref().map(|own| own.material.id()));
            let process = recipe.value.process.id();
            let process = names.add("process", process, ledger.processes.get(process));
            found.processes.extend(process.map(|own| Shared(Arc::clone(&own.value))));
            found.recipes.push(Shared(Arc::clone(&recipe.value)));
        }
        for joint in &entry.value.joints {
            materials.push(joint.adhesive.id());
            let process = joint.process.as_ref();
            let process =
                process.and_then(|own| names.add("process", own.id(), ledger.processes.get(own.id())));
            found.processes.extend(process.map(|own| Shared(Arc::clone(&own.value))));
        }
        for id in materials {
            let Some(material) = names.add("material", id, ledger.materials.get(id)) else { continue };
            found.materials.push(Shared(Arc::clone(&material.value)));
            let lamina = material.value.lamina.iter().flat_map(|own| [&own.e1, &own.e2, &own.g12]);
            let strength = material.value.strength.iter().flat_map(|own| own.figures());
            let strength = strength.filter_map(|(_, sourced)| sourced);
            for sourced in lamina.chain(strength) {
                if let Sourced::From(own) = sourced {
                    showings.extend(own.iter().map(|one| one.id()));
                }
            }
        }
        if let Some(own) = &entry.value.design_strain {
            for sourced in [&own.tension, &own.compression, &own.shear].into_iter().flatten() {
                if let Sourced::From(own) = sourced {
                    showings.extend(own.iter().map(|one| one.id()));
                }
            }
        }
        for id in showings {
            let Some(showing) = names.add("showing", id, ledger.showings.get(id)) else { continue };
            let mut judged: Vec<Shared<Judged>> = Vec::new();
            for duty in self.duties_of(id) {
                let own = duty.panels.get(panel).or_else(|| duty.worst().map(|(_, worst)| worst));
                names.note(|| format!("duty {} {}", duty.subject, own.is_some()));
                judged.extend(own.map(|own| Shared(Arc::clone(own))));
            }
            for id in judged.iter().flat_map(|one| &one.0.evidence) {
                let own = names.add("evidence", id, ledger.evidence.get(id.as_str()));
                let baseline = own.and_then(|own| own.value.baseline.as_ref());
                let baseline = baseline.and_then(|own| ledger.evidence.get(own.id()));
                for entry in own.into_iter().chain(baseline) {
                    let digest = ledger.data.get(&entry.id).map(|data| data.digest.clone());
                    let nominal = Nominal::of(ledger, &showing.value, &entry.value);
                    names.note(|| format!("{} {nominal:?}", entry.id));
                    let nominal = nominal.and_then(|own| Some(own.ok()?.value));
                    let record = Shared(Arc::clone(&entry.value));
                    found.evidence.insert(entry.id.clone(), Behind { record, digest, nominal });
                }
            }
            found.showings.push((Shared(Arc::clone(&showing.value)), judged));
        }
        found.names = names;
        found
    }
}

/// States of one panel that are kept, besides the first: as many as are looked at side by side, and no more.
const KEPT_OF_ONE: usize = 8;
/// Panels of which any are kept.
const KEPT: usize = 256;

/// Margins of a panel, with what they are made from.
type Made = (Arc<Inputs>, Arc<PanelMargins>);

/// Margins of panels that were computed.
#[derive(Default)]
pub(super) struct Known(Mutex<HashMap<String, VecDeque<Made>>>);

impl std::fmt::Debug for Known {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Known")
    }
}

impl Known {
    /// Returns the margins of a panel where some were computed from the same; else computes them, and keeps them for
    /// later runs where the state is one that is asked for (`keeps`), and no trial.
    pub(super) fn margins<E>(
        &self,
        side: &Side<'_>,
        panel: &str,
        recalled: &Recalled,
        keeps: bool,
        compute: impl FnOnce() -> Result<PanelMargins, E>,
    ) -> Result<Arc<PanelMargins>, E> {
        let inputs = side.inputs(panel, recalled.asks());
        // Compared outside of the lock: others look meanwhile.
        let known: Vec<Made> = {
            let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            all.get(panel).map(|own| own.iter().rev().cloned().collect()).unwrap_or_default()
        };
        if let Some((_, margins)) = known.into_iter().find(|(own, _)| **own == inputs) {
            return Ok(margins);
        }
        let mark = recalled.asks().then(|| inputs.mark(recalled));
        let earlier = mark.as_ref().and_then(|mark| recalled.find::<PanelMargins>(MARGINS, mark));
        let margins = match earlier {
            Some(earlier) => {
                count(&recalled.recalled);
                Arc::new(earlier)
            }
            None => {
                let made = Arc::new(compute()?);
                count(&recalled.computed);
                if let Some(mark) = mark.filter(|_| keeps) {
                    let value = kept(&*made);
                    recalled.keep(MARGINS, Box::new(move || vec![(mark, value)]));
                }
                made
            }
        };
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() < KEPT || all.contains_key(panel) {
            let own = all.entry(panel.to_string()).or_default();
            // The first is the state that the others are looked at beside.
            if own.len() > KEPT_OF_ONE {
                own.remove(1);
            }
            own.push_back((Arc::new(inputs), Arc::clone(&margins)));
        }
        Ok(margins)
    }
}
