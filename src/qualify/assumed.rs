//! Figures that are used without evidence, and what stands on them.
//!
//! What stands on a record is what is made with it: panels and duties whose subject contains it, and the
//! predicted mass of its pieces. Whether a duty is sensitive to the assumed figure is not asked here, so
//! the lists may be longer than need be, never shorter.

use super::behind::{behind, behind_panel};
use super::table::Table;
use super::verdict::{DutyKey, Evaluation};
use crate::article::weigh::{MassStatement, Scope, statement};
use crate::article::{ArticleError, Subject};
use crate::ledger::{Entry, Ledger, Records};
use crate::quantity::Stress;
use crate::record::{Address, Elastic, Material, MaterialKind, Recipe, RecordKind, Sourced, Strength, Zone};
use foldhash::HashMap;
use rayon::prelude::*;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

/// What kind of assumption it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum AssumptionKind {
    /// The record's own source says that its figures are assumed or from a handbook.
    Source,
    /// Stiffness or strength typed in rather than taken from a showing.
    TypedIn,
    /// No design day.
    Climate,
    /// A condition that had to be assumed to judge a duty.
    Judgement,
}

impl AssumptionKind {
    /// Returns the word.
    pub fn word(self) -> &'static str {
        match self {
            AssumptionKind::Source => "source",
            AssumptionKind::TypedIn => "typed in",
            AssumptionKind::Climate => "climate",
            AssumptionKind::Judgement => "judgement",
        }
    }
}

/// One assumption with what stands on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Assumption {
    /// What kind it is.
    pub kind: AssumptionKind,
    /// The record, with the route where it is one attribute; `None` where it is no single record.
    pub address: Option<String>,
    /// What is assumed, in words.
    pub what: String,
    /// Predicted mass that stands on it, all counted pieces, in kg.
    pub mass_kg: f64,
    /// Duties that stand on it, sorted.
    pub duties: Vec<DutyKey>,
    /// Panels that stand on it, sorted.
    pub panels: Vec<String>,
}

/// An [`Assumption`] that names what stands on it where that lies, for whoever shows few of many.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing<'a> {
    /// As there.
    pub kind: AssumptionKind,
    /// As there.
    pub address: Option<String>,
    /// As there.
    pub what: Cow<'a, str>,
    /// As there, in kg.
    pub mass_kg: f64,
    /// As there.
    pub duties: Vec<&'a DutyKey>,
    /// As there.
    pub panels: Vec<&'a str>,
}

impl From<Standing<'_>> for Assumption {
    fn from(own: Standing<'_>) -> Self {
        Self {
            kind: own.kind,
            address: own.address,
            what: own.what.into_owned(),
            mass_kg: own.mass_kg,
            duties: own.duties.into_iter().cloned().collect(),
            panels: own.panels.into_iter().map(str::to_string).collect(),
        }
    }
}

/// What `evaluate` says where the ledger has no climate.
const NO_CLIMATE: &str = "ledger names no climate: no skin temperature is asked";

/// Finds everything that is used without evidence, sorted by kind, address and words.
///
/// # Errors
/// [`ArticleError`] names the record or figure without which the mass that stands on it is unknown.
pub fn assumptions(ledger: &Ledger, evaluation: &Evaluation) -> Result<Vec<Assumption>, ArticleError> {
    Ok(standing(ledger, evaluation)?.into_iter().map(Assumption::from).collect())
}

/// As [`assumptions`], without copying what stands on each.
///
/// # Errors
/// As [`assumptions`].
pub fn standing<'a>(
    ledger: &'a Ledger,
    evaluation: &'a Evaluation,
) -> Result<Vec<Standing<'a>>, ArticleError> {
    let (stands, mut all) = rayon::join(|| Stands::of(ledger, evaluation, true), || judged(evaluation));
    let stands = stands?;
    if without_climate(ledger) && !all.iter().any(|one| one.kind == AssumptionKind::Climate) {
        all.push(Standing {
            kind: AssumptionKind::Climate,
            address: Some("ledger#climate".to_string()),
            what: NO_CLIMATE.into(),
            mass_kg: 0.0,
            duties: Vec::new(),
            panels: Vec::new(),
        });
    }
    stands.sourced(&mut |one| all.push(one()));
    stands.typed_in(&mut |one| all.push(one()));
    all.par_sort_by(|one, two| (one.kind, &one.address, &one.what).cmp(&(two.kind, &two.address, &two.what)));
    Ok(all)
}

/// Counts what [`assumptions`] finds, without working out what stands on each judgement.
///
/// # Errors
/// As [`assumptions`].
pub fn count(ledger: &Ledger, evaluation: &Evaluation) -> Result<usize, ArticleError> {
    let climate =
        without_climate(ledger) && !evaluation.assumptions.iter().any(|words| **words == *NO_CLIMATE);
    let mut further = 0;
    let mut stands = Stands::of(ledger, evaluation, false)?;
    if stands.hangs_on_mass() {
        stands.weigh()?;
    }
    stands.sourced(&mut |_| further += 1);
    stands.typed_in(&mut |_| further += 1);
    // Whatever a verdict assumes is among the assumptions of the whole evaluation.
    Ok(evaluation.assumptions.len() + usize::from(climate) + further)
}

fn without_climate(ledger: &Ledger) -> bool {
    ledger.head.as_ref().is_none_or(|head| head.climate.is_none()) && !ledger.panels.is_empty()
}

/// What had to be assumed to judge.
fn judged(evaluation: &Evaluation) -> Vec<Standing<'_>> {
    // Some stand on no duty: that is what they say.
    let mut places: HashMap<&str, usize> = HashMap::default();
    let mut found: Vec<(&str, Vec<&DutyKey>, Vec<&str>)> = Vec::new();
    let place = |places: &mut HashMap<_, _>, found: &mut Vec<_>, words| {
        *places.entry(words).or_insert_with(|| {
            found.push((words, Vec::new(), Vec::new()));
            found.len() - 1
        })
    };
    for words in &evaluation.assumptions {
        place(&mut places, &mut found, words);
    }
    for (key, duty) in &evaluation.duties {
        for (panel, judged) in &*duty.panels {
            for words in &judged.assumptions {
                let at = place(&mut places, &mut found, words);
                let Some((_, duties, panels)) = found.get_mut(at) else { continue };
                // Duties come in their order, so that one is only ever met again as the last.
                if duties.last().is_none_or(|last| *last != key) {
                    duties.push(key);
                }
                if !panel.is_empty() {
                    panels.push(panel);
                }
            }
        }
    }
    let stands = |(words, duties, panels)| {
        let mut panels: Vec<&str> = panels;
        panels.sort_unstable();
        panels.dedup();
        let climate = words == NO_CLIMATE;
        Standing {
            kind: if climate { AssumptionKind::Climate } else { AssumptionKind::Judgement },
            address: if climate { Some("ledger#climate".to_string()) } else { leading_address(words) },
            what: words.into(),
            mass_kg: 0.0,
            duties,
            panels,
        }
    };
    found.into_par_iter().map(stands).collect()
}

/// The record that a sentence starts with, as the sentences of `evaluate` do.
fn leading_address(words: &str) -> Option<String> {
    let first = words.split_whitespace().next()?.trim_end_matches(':');
    let record = first.split('#').next()?;
    Address::parse(record).map(|_| first.to_string())
}

/// Whether a record's source says that nobody measured it.
pub fn is_assumed(source: &str) -> bool {
    let source = source.trim().to_lowercase();
    source.starts_with("assumed") || source.starts_with("handbook")
}

fn says_assumed(source: &Option<String>) -> bool {
    source.as_deref().is_some_and(is_assumed)
}

/// Records that articles are made with and that say of themselves that they are assumed, with their source.
fn made_with(ledger: &Ledger) -> Vec<(Address, &Option<String>)> {
    fn each<'a, T>(
        kind: RecordKind,
        records: &'a Records<T>,
        source: impl Fn(&'a T) -> &'a Option<String>,
        all: &mut Vec<(Address, &'a Option<String>)>,
    ) {
        let said = records.values().map(|entry| (of(kind, &entry.id), source(&entry.value)));
        all.extend(said.filter(|(_, source)| says_assumed(source)));
    }
    let mut all = Vec::new();
    each(RecordKind::Material, &ledger.materials, |record| &record.source, &mut all);
    each(RecordKind::Process, &ledger.processes, |record| &record.source, &mut all);
    each(RecordKind::Tool, &ledger.tools, |record| &record.source, &mut all);
    each(RecordKind::Finish, &ledger.finishes, |record| &record.source, &mut all);
    each(RecordKind::Recipe, &ledger.recipes, |record| &record.source, &mut all);
    each(RecordKind::Panel, &ledger.panels, |record| &record.source, &mut all);
    each(RecordKind::Assembly, &ledger.assemblies, |record| &record.source, &mut all);
    all
}

/// Records in use, with the panels that use each and the predicted mass made of it.
struct Stands<'a> {
    ledger: &'a Ledger,
    evaluation: &'a Evaluation,
    mass: Option<MassStatement>,
    /// Panels by record.
    panels: BTreeMap<Address, BTreeSet<&'a str>>,
    /// Mass by record, kg.
    kg: BTreeMap<Address, f64>,
    /// Duties by the records that their subjects are made with.
    duties: BTreeMap<Address, Vec<&'a DutyKey>>,
    /// Duties by the evidence that counts for them or came nearest.
    shown: BTreeMap<&'a str, BTreeSet<&'a DutyKey>>,
}

/// Takes the way to one assumption, which whoever only counts need not go.
type Found<'f, 'a> = &'f mut dyn FnMut(&dyn Fn() -> Standing<'a>);

fn of(kind: RecordKind, id: &str) -> Address {
    Address::new(kind, id)
}

impl<'a> Stands<'a> {
    fn of(ledger: &'a Ledger, evaluation: &'a Evaluation, weighs: bool) -> Result<Self, ArticleError> {
        let mut found = Self {
            ledger,
            evaluation,
            mass: None,
            panels: BTreeMap::new(),
            kg: BTreeMap::new(),
            duties: BTreeMap::new(),
            shown: BTreeMap::new(),
        };
        for panel in ledger.panels.values() {
            for address in behind_panel(ledger, panel)? {
                found.panels.entry(address).or_default().insert(&panel.id);
            }
        }
        if weighs {
            found.weigh()?;
        }
        // Only what says of itself that it is assumed is asked for.
        let mut asked: BTreeSet<Address> =
            made_with(ledger).into_iter().map(|(address, _)| address).collect();
        asked.extend(plies(evaluation).into_iter().map(|id| of(RecordKind::Material, id)));
        let assumed = |entry: &Entry<crate::record::Evidence>| says_assumed(&entry.value.source);
        let is_assumed = |id: &str| ledger.evidence.get(id).is_some_and(assumed);
        let mut contained: BTreeMap<&Subject, Vec<Address>> = BTreeMap::new();
        for (key, duty) in &evaluation.duties {
            if !contained.contains_key(&key.1) {
                let all = behind(ledger, &key.1)?.into_iter();
                contained.insert(&key.1, all.filter(|one| asked.contains(one)).collect());
            }
            for address in contained.get(&key.1).into_iter().flatten() {
                match found.duties.get_mut(address) {
                    Some(keys) => keys.push(key),
                    None => drop(found.duties.insert(address.clone(), vec![key])),
                }
            }
            for evidence in duty.panels.values().flat_map(|judged| &judged.evidence) {
                if is_assumed(evidence) {
                    found.shown.entry(evidence).or_default().insert(key);
                }
            }
        }
        Ok(found)
    }

    /// Whether an assumed record may be in use by its mass alone: it stands behind no panel.
    fn hangs_on_mass(&self) -> bool {
        made_with(self.ledger).iter().any(|(address, _)| !self.panels.contains_key(address))
            || self.ledger.weighings.values().any(|entry| says_assumed(&entry.value.source))
    }

    /// Gives each record the predicted mass of the pieces that are made of it.
    fn weigh(&mut self) -> Result<(), ArticleError> {
        let mass = statement(self.ledger, Scope::Programme)?;
        let mut kg: BTreeMap<Address, f64> = BTreeMap::new();
        let mut add = |address: Address, own: f64| *kg.entry(address).or_default() += own;
        for one in &mass.panels {
            let Some(panel) = self.ledger.panels.get(&one.panel) else { continue };
            #[allow(clippy::cast_precision_loss)]
            let count = one.quantity as f64;
            for piece in &one.contributions {
                let own = piece.kg * count;
                let (role, material) = piece.what.split_once(' ').unwrap_or(("", &piece.what));
                add(of(RecordKind::Material, material), own);
                add(of(RecordKind::Panel, &panel.id), own);
                let Some(zone) = panel.value.zones.iter().find(|zone| zone.name.as_str() == piece.place)
                else {
                    continue;
                };
                if role == "paint" {
                    for finish in zone.finish.iter() {
                        add(finish.address(), own);
                    }
                    continue;
                }
                let Some((recipe, laid)) = self.laid(zone, role, material) else { continue };
                add(of(RecordKind::Recipe, &recipe.id), own);
                // A dry ply comes with the resin of its recipe, which is a share of its mass.
                if let Some(resin) = recipe.value.resin.as_ref().filter(|_| laid == MaterialKind::Fabric) {
                    add(resin.material.address(), own * resin.content.si());
                }
                let bleeds = |entry: &Entry<crate::record::Process>| entry.value.bleed.is_some();
                let process = self.ledger.processes.get(recipe.value.process.id());
                if laid == MaterialKind::Prepreg && process.is_some_and(bleeds) {
                    add(recipe.value.process.address(), own);
                }
            }
        }
        for part in &mass.parts {
            add(of(RecordKind::Material, &part.part), part.kg);
        }
        for assembly in &mass.assemblies {
            #[allow(clippy::cast_precision_loss)]
            let count = assembly.quantity as f64;
            add(of(RecordKind::Assembly, &assembly.assembly), assembly.each.kg * count);
        }
        (self.kg, self.mass) = (kg, Some(mass));
        Ok(())
    }

    /// The recipe that a piece of a zone was laid up by, and what its material is.
    fn laid(&self, zone: &Zone, role: &str, material: &str) -> Option<(&'a Entry<Recipe>, MaterialKind)> {
        // A joint, an edge or a fitting may bear the name of a zone.
        if matches!(role, "sheet" | "adhesive" | "edge" | "fitting") {
            return None;
        }
        let recipe = self.ledger.recipes.get(zone.recipe.as_ref()?.id())?;
        Some((recipe, self.ledger.materials.get(material)?.value.kind))
    }

    fn duties_on(&self, address: &Address) -> Vec<&'a DutyKey> {
        self.duties.get(address).cloned().unwrap_or_default()
    }

    fn panels_on(&self, address: &Address) -> Vec<&'a str> {
        self.panels.get(address).into_iter().flatten().copied().collect()
    }

    fn panels_of(&self, duties: &[&DutyKey]) -> Vec<&'a str> {
        let duties = duties.iter().filter_map(|key| self.evaluation.duties.get(*key));
        let names: BTreeSet<&str> = duties
            .flat_map(|duty| duty.panels.keys())
            .map(String::as_str)
            .filter(|name| !name.is_empty())
            .collect();
        names.into_iter().collect()
    }

    /// Records whose own source says that they are assumed.
    fn sourced(&self, found: Found<'_, 'a>) {
        let ledger = self.ledger;
        for (address, source) in made_with(ledger) {
            let kg = self.kg.get(&address).copied();
            if self.panels.contains_key(&address) || kg.is_some() {
                found(&|| {
                    let (duties, panels) = (self.duties_on(&address), self.panels_on(&address));
                    sourced(&address, source, kg.unwrap_or(0.0), duties, panels)
                });
            }
        }
        let mut about = |address: Address, source: &Option<String>, duties: Vec<&'a DutyKey>| {
            if !duties.is_empty() {
                found(&|| sourced(&address, source, 0.0, duties.clone(), self.panels_of(&duties)));
            }
        };
        for entry in ledger.showings.values().filter(|entry| says_assumed(&entry.value.source)) {
            let keys = self.evaluation.duties.keys().filter(|(showing, _)| *showing == entry.id);
            about(of(RecordKind::Showing, &entry.id), &entry.value.source, keys.collect());
        }
        for entry in ledger.evidence.values().filter(|entry| says_assumed(&entry.value.source)) {
            let keys = self.shown.get(entry.id.as_str()).into_iter().flatten();
            about(of(RecordKind::Evidence, &entry.id), &entry.value.source, keys.copied().collect());
        }
        for entry in ledger.weighings.values().filter(|entry| says_assumed(&entry.value.source)) {
            let panel = entry.value.panel.id();
            let mut panels = self.mass.iter().flat_map(|mass| &mass.panels);
            let weighed = panels.find(|one| one.panel == panel && one.weighings > 0);
            if let Some(weighed) = weighed {
                let address = of(RecordKind::Weighing, &entry.id);
                let panels = vec![panel];
                found(&|| sourced(&address, &entry.value.source, weighed.kg, Vec::new(), panels.clone()));
            }
        }
    }

    /// Stiffness and strength of plies in use that no showing stands behind. Computed duties stand on
    /// them, and the margins of the panels.
    fn typed_in(&self, found: Found<'_, 'a>) {
        for id in plies(self.evaluation) {
            let Some(entry) = self.ledger.materials.get(id) else { continue };
            let address = of(RecordKind::Material, id);
            for (route, names) in figures(&entry.value) {
                if names.is_empty() {
                    continue;
                }
                found(&|| {
                    let on = self.duties_on(&address).into_iter();
                    let source = entry.value.source.as_deref().unwrap_or("no source given");
                    Standing {
                        kind: AssumptionKind::TypedIn,
                        address: Some(format!("{address}#{route}")),
                        what: format!("{} typed in, from no showing ({source})", names.join(", ")).into(),
                        mass_kg: 0.0,
                        duties: on.filter(|(showing, _)| self.is_live(showing)).collect(),
                        panels: self.panels_on(&address),
                    }
                });
            }
        }
    }

    fn is_live(&self, showing: &str) -> bool {
        let Some(entry) = self.ledger.showings.get(showing) else { return false };
        Table::row(entry.value.kind.as_str()).is_some_and(|row| row.live)
    }
}

/// Materials that plies in use are of.
fn plies(evaluation: &Evaluation) -> BTreeSet<&str> {
    let subjects = evaluation.uses.keys();
    subjects
        .filter_map(|subject| match subject {
            Subject::Lamina { material, .. } => Some(material.as_str()),
            _ => None,
        })
        .collect()
}

fn sourced<'a>(
    address: &Address,
    source: &Option<String>,
    mass_kg: f64,
    duties: Vec<&'a DutyKey>,
    panels: Vec<&'a str>,
) -> Standing<'a> {
    Standing {
        kind: AssumptionKind::Source,
        address: Some(address.to_string()),
        what: format!("source: {}", source.as_deref().unwrap_or_default().trim()).into(),
        mass_kg,
        duties,
        panels,
    }
}

/// Names of the figures that are typed in, by route.
fn figures(material: &Material) -> [(&'static str, Vec<&'static str>); 2] {
    let typed = |figure: Option<&Sourced<Stress>>| matches!(figure, Some(Sourced::Value(_)));
    let names = |list: Vec<(&'static str, Option<&Sourced<Stress>>)>| -> Vec<&'static str> {
        list.into_iter().filter(|(_, figure)| typed(*figure)).map(|(name, _)| name).collect()
    };
    let lamina = |own: &Elastic| {
        let mut all = names(vec![
            ("E1", Some(&own.e1)),
            ("E2", Some(&own.e2)),
            ("G12", Some(&own.g12)),
            ("G13", own.g13.as_ref()),
            ("G23", own.g23.as_ref()),
        ]);
        // These take no showing, so that they are always typed in.
        all.push("nu12");
        all.extend(own.cte1.iter().map(|_| "cte1"));
        all.extend(own.cte2.iter().map(|_| "cte2"));
        all
    };
    let strength = |own: &Strength| names(own.figures().to_vec());
    [
        ("lamina", material.lamina.as_ref().map_or_else(Vec::new, lamina)),
        ("strength", material.strength.as_ref().map_or_else(Vec::new, strength)),
    ]
}

#[cfg(test)]
mod tests;
