//! The mass statement of a panel, an assembly or the programme.

use super::figures::{
    AssemblyMass, Balanced, CauseEffect, GroupMass, MassStatement, Method, PanelMass, PartMass, Residual,
    Scope, Total, group_name,
};
use super::pieces::{Pass, Weigher, gather, needed};
use super::rollup::{Counts, Placed, RollUp};
use super::scale::Weighed;
use super::spread::{Band, Effects, Item, Sum, combined, effects, on_sum, sampled, weights};
use crate::article::ArticleError;
use crate::ledger::{Entry, Ledger};
use crate::mass::{CentreOfGravity, MassError, centre_of_gravity};
use crate::record::{Address, LedgerHead, Maturity, Panel, RecordKind, Text};
use std::collections::BTreeMap;

/// Returns the mass statement of a scope, spread by causes.
///
/// # Errors
/// [`ArticleError`] where a record is missing or broken, or a figure that the mass needs is not written.
pub fn statement(ledger: &Ledger, scope: Scope) -> Result<MassStatement, ArticleError> {
    statement_by(ledger, scope, Method::Causes)
}

/// Returns the mass statement of a scope.
///
/// # Errors
/// [`ArticleError`] where a record is missing or broken, or a figure that the mass needs is not written.
pub fn statement_by(ledger: &Ledger, scope: Scope, method: Method) -> Result<MassStatement, ArticleError> {
    let missing_head = || ArticleError::Missing { needed: Address::ledger(), by: Address::ledger() };
    let head = ledger.head.as_ref().ok_or_else(missing_head)?;
    let weigher = Weigher::new(ledger);
    let mut holds = RollUp::new(ledger, None);
    let counts = match &scope {
        Scope::Programme => holds.programme()?,
        Scope::Assembly(id) => holds.assembly(id, &Address::new(RecordKind::Assembly, id.clone()))?,
        Scope::Panel(id) => {
            weigher.panel(id)?;
            let mut counts = RollUp::new(ledger, Some(id)).programme()?;
            counts.assemblies.clear();
            counts.parts.clear();
            // One panel alone is stated in its own axes, wherever it sits in its assemblies.
            for placed in counts.panels.values_mut() {
                placed.offsets = [0.0; 3];
            }
            counts
        }
    };
    let bench = Bench::new(head, weigher, &counts)?;
    bench.state(scope, method, &counts, &mut holds)
}

struct PanelItem<'a> {
    entry: &'a Entry<Panel>,
    placed: Placed,
    weighed: Weighed<'a>,
    residuals: Vec<Residual>,
}

struct PartItem<'a> {
    id: &'a str,
    assembly: String,
    group: String,
    placed: Placed,
    has_position: bool,
    kg: f64,
}

/// Everything in the scope, weighed once at nominal.
struct Bench<'a> {
    head: &'a LedgerHead,
    weigher: Weigher<'a>,
    panels: Vec<PanelItem<'a>>,
    parts: Vec<PartItem<'a>>,
    items: Vec<Item<'a>>,
    /// Mass of one of each item, and its growth.
    nominal: Vec<f64>,
    growth: Vec<f64>,
}

impl<'a> Bench<'a> {
    fn new(head: &'a LedgerHead, weigher: Weigher<'a>, counts: &Counts) -> Result<Self, ArticleError> {
        let ledger = weigher.ledger;
        let broken_weighing = ledger.broken.iter().find(|address| address.kind() == RecordKind::Weighing);
        let mut panels = Vec::with_capacity(counts.panels.len());
        let mut parts = Vec::new();
        let mut items = Vec::new();
        let mut nominal = Vec::new();
        let mut growth = Vec::new();
        for (id, placed) in &counts.panels {
            let entry = weigher.panel(id)?;
            // A weighing that can't be read may be one of this panel: its mean would be a guess.
            if let Some(needed) = broken_weighing.filter(|_| entry.value.maturity == Some(Maturity::Weighed))
            {
                let by = Address::new(RecordKind::Panel, id.clone());
                return Err(ArticleError::Missing { needed: needed.clone(), by });
            }
            let weighed = weigher.weigh(entry, &Pass::nominal(&weigher))?;
            items.push(Item::Panel(entry));
            nominal.push(weighed.kg);
            growth.push(weighed.growth);
            let residuals = weigher.residuals(id, &weighed.pieces);
            panels.push(PanelItem { entry, placed: *placed, weighed, residuals });
        }
        for ((part, assembly, has_position), placed) in &counts.parts {
            let by = Address::new(RecordKind::Assembly, assembly.clone());
            let material = ledger.materials.get(part).ok_or_else(|| ArticleError::Missing {
                needed: Address::new(RecordKind::Material, part.clone()),
                by: by.clone(),
            })?;
            let kg = needed(material.value.mass.as_deref(), material, "mass")?.si();
            items.push(Item::Part(material));
            nominal.push(kg);
            growth.push(0.0);
            let group = ledger.assemblies.get(assembly).and_then(|entry| entry.value.group.as_ref());
            parts.push(PartItem {
                id: &material.id,
                assembly: assembly.clone(),
                group: group_name(group).to_string(),
                placed: *placed,
                has_position: *has_position,
                kg,
            });
        }
        Ok(Self { head, weigher, panels, parts, items, nominal, growth })
    }

    fn state(
        self,
        scope: Scope,
        method: Method,
        counts: &Counts,
        holds: &mut RollUp<'a>,
    ) -> Result<MassStatement, ArticleError> {
        let groups = self.groups(&scope);
        let assemblies = self.assemblies(counts, holds)?;
        let whole: Sum = self.counted().enumerate().collect();
        let mut sums = vec![whole.clone()];
        sums.extend(groups.values().cloned());
        sums.extend(assemblies.iter().map(|(_, _, sum)| sum.clone()));
        sums.extend(self.counted().enumerate().take(self.panels.len()).map(|one| vec![one]));
        let (effects, bands) = match method {
            Method::Causes => {
                let effects = effects(&self.weigher, &self.items, &self.nominal)?;
                let bands = combined(&effects, &sums, &self.nominal).map_err(|problem| unfit(&problem))?;
                (effects, bands)
            }
            Method::MonteCarlo { seed } => {
                let bands = sampled(&self.weigher, &self.items, &sums, &self.nominal, seed)?;
                (Effects::new(), bands)
            }
        };
        let mut rows = sums.iter().zip(bands);
        let total = rows.next().map(|(sum, band)| {
            let with_growth_kg = band.nominal + self.growth_of(sum);
            Total { kg: band.nominal, low_kg: band.low, high_kg: band.high, with_growth_kg }
        });
        let total = total.unwrap_or(Total { kg: 0.0, low_kg: 0.0, high_kg: 0.0, with_growth_kg: 0.0 });
        let budgets = self.budgets(&scope);
        let groups = groups
            .keys()
            .zip(rows.by_ref())
            .map(|(group, (sum, band))| self.against(group.clone(), sum, &band, budgets.get(group).copied()))
            .collect();
        let assemblies = assemblies
            .iter()
            .zip(rows.by_ref())
            .map(|((id, quantity, _), (sum, band))| {
                let entry = self.weigher.ledger.assemblies.get(id);
                let budget = entry.and_then(|entry| entry.value.budget.as_ref()).map(|mass| mass.si());
                let each = self.against(id.clone(), sum, &band, budget);
                AssemblyMass { assembly: id.clone(), quantity: *quantity, each }
            })
            .collect();
        let panels = self.panels.iter().zip(rows).map(|(item, (_, band))| panel_mass(item, &band)).collect();
        let centre = self.centre()?;
        Ok(MassStatement {
            programme: self.head.programme.as_str().to_string(),
            scope,
            method,
            units: self.head.units.unwrap_or_default(),
            total,
            cg_m: centre.at,
            share_without_position: clean(centre.share_without_position),
            groups,
            assemblies,
            panels,
            parts: self.part_masses(),
            causes: causes(&effects, &weights(&whole, self.items.len())),
        })
    }

    /// How many of each item there are in the scope.
    fn counted(&self) -> impl Iterator<Item = f64> + '_ {
        let panels = self.panels.iter().map(|item| item.placed.count as f64);
        panels.chain(self.parts.iter().map(|item| item.placed.count as f64))
    }

    /// The sums of the groups by name; with a whole programme also groups that have a budget and no mass.
    fn groups(&self, scope: &Scope) -> BTreeMap<String, Sum> {
        let mut groups: BTreeMap<String, Sum> =
            self.budgets(scope).into_keys().map(|group| (group, Sum::new())).collect();
        let names = self
            .panels
            .iter()
            .map(|item| group_name(item.entry.value.group.as_ref()).to_string())
            .chain(self.parts.iter().map(|item| item.group.clone()));
        for (name, one) in names.zip(self.counted().enumerate()) {
            groups.entry(name).or_default().push(one);
        }
        groups
    }

    fn budgets(&self, scope: &Scope) -> BTreeMap<String, f64> {
        if *scope != Scope::Programme {
            return BTreeMap::new();
        }
        let budgets = self.head.budgets.iter();
        budgets.map(|(group, mass)| (Text::from(group.as_str()).as_str().to_string(), mass.si())).collect()
    }

    /// The sums of one of each assembly in the scope, with how many there are.
    fn assemblies(
        &self,
        counts: &Counts,
        holds: &mut RollUp<'a>,
    ) -> Result<Vec<(String, u64, Sum)>, ArticleError> {
        let mut panel_at = BTreeMap::new();
        for (at, item) in self.panels.iter().enumerate() {
            panel_at.insert(item.entry.id.as_str(), at);
        }
        let mut part_at = BTreeMap::new();
        for (at, part) in self.parts.iter().enumerate() {
            let key = (part.id, part.assembly.as_str(), part.has_position);
            part_at.insert(key, self.panels.len() + at);
        }
        let mut list = Vec::new();
        for (id, quantity) in &counts.assemblies {
            let held = holds.assembly(id, &Address::ledger())?;
            let panels = held
                .panels
                .iter()
                .filter_map(|(id, placed)| panel_at.get(id.as_str()).map(|at| (*at, placed.count as f64)));
            let parts = held.parts.iter().filter_map(|((part, assembly, has), placed)| {
                let at = part_at.get(&(part.as_str(), assembly.as_str(), *has));
                at.map(|at| (*at, placed.count as f64))
            });
            list.push((id.clone(), *quantity, panels.chain(parts).collect()));
        }
        Ok(list)
    }

    fn growth_of(&self, sum: &Sum) -> f64 {
        let growth = |at: usize| self.growth.get(at).copied().unwrap_or(0.0);
        sum.iter().map(|(at, times)| times * growth(*at)).sum()
    }

    fn against(&self, group: String, sum: &Sum, band: &Band, budget: Option<f64>) -> GroupMass {
        let with_growth_kg = band.nominal + self.growth_of(sum);
        GroupMass {
            group,
            kg: band.nominal,
            low_kg: band.low,
            high_kg: band.high,
            with_growth_kg,
            budget_kg: budget,
            margin_kg: budget.map(|budget| budget - band.nominal),
            margin_with_growth_kg: budget.map(|budget| budget - with_growth_kg),
            probability_within: budget.map(|budget| band.probability_within(budget)),
        }
    }

    fn centre(&self) -> Result<CentreOfGravity, ArticleError> {
        let mut list = Vec::with_capacity(self.panels.len() * 2 + self.parts.len());
        for item in &self.panels {
            let count = item.placed.count as f64;
            let (mass, moment) = positioned(&item.weighed);
            if mass > 0.0 && count > 0.0 {
                let mut at = moment.map(|moment| moment / mass);
                for (x, offset) in at.iter_mut().zip(item.placed.offsets) {
                    *x += offset / count;
                }
                list.push((mass * count, Some(at)));
            }
            list.push(((item.weighed.kg - mass).max(0.0) * count, None));
        }
        for part in &self.parts {
            let count = part.placed.count as f64;
            let at = (part.has_position && count > 0.0).then(|| part.placed.offsets.map(|x| x / count));
            list.push((part.kg * count, at));
        }
        centre_of_gravity(&list).map_err(|problem| unfit(&problem))
    }

    fn part_masses(&self) -> Vec<PartMass> {
        let mut list: Vec<PartMass> = Vec::new();
        for part in &self.parts {
            let kg = part.kg * part.placed.count as f64;
            // One that says where it is and one that does not are kept apart only for the centre of gravity.
            match list.last_mut().filter(|last| last.part == part.id && last.assembly == part.assembly) {
                Some(last) => {
                    last.quantity += part.placed.count;
                    last.kg += kg;
                }
                None => list.push(PartMass {
                    part: part.id.to_string(),
                    assembly: part.assembly.clone(),
                    quantity: part.placed.count,
                    kg,
                }),
            }
        }
        list
    }
}

fn unfit(problem: &MassError) -> ArticleError {
    ArticleError::Unfit { address: Address::ledger(), problem: problem.to_string() }
}

/// Differences of summation are no mass without a position.
fn clean(share: f64) -> f64 {
    if share < 1e-12 { 0.0 } else { share }
}

/// Mass of one panel that has a position, and its moment. Predicted pieces carry what the scale says in
/// proportion: the scale does not say where.
fn positioned(weighed: &Weighed<'_>) -> (f64, [f64; 3]) {
    let scale = if weighed.predicted > 0.0 { weighed.kg / weighed.predicted } else { 1.0 };
    let mut mass = 0.0;
    let mut moment = [0.0; 3];
    for piece in &weighed.pieces {
        let Some(at) = piece.at else { continue };
        mass += piece.kg * scale;
        for (sum, x) in moment.iter_mut().zip(at) {
            *sum += piece.kg * scale * x;
        }
    }
    (mass, moment)
}

fn balanced(item: &PanelItem<'_>) -> Option<Balanced> {
    let balance = item.entry.value.balance.as_ref()?;
    let [hinge, _, _] = balance.hinge.as_ref()?.each_ref().map(|length| length.si());
    let (mass, [moment, _, _]) = positioned(&item.weighed);
    let moment = moment - mass * hinge;
    let limit = balance.limit.as_ref().map(|limit| limit.si());
    let kg = item.weighed.kg;
    let share = if kg > 0.0 { clean((1.0 - mass / kg).clamp(0.0, 1.0)) } else { 0.0 };
    let ok = match limit {
        Some(limit) if moment > limit => Some(false),
        Some(_) if share == 0.0 => Some(true),
        _ => None,
    };
    Some(Balanced { moment_kg_m: moment, limit_kg_m: limit, share_without_position: share, ok })
}

fn panel_mass(item: &PanelItem<'_>, band: &Band) -> PanelMass {
    let value = &item.entry.value;
    let count = item.placed.count as f64;
    PanelMass {
        panel: item.entry.id.clone(),
        group: group_name(value.group.as_ref()).to_string(),
        quantity: item.placed.count,
        each_kg: item.weighed.predicted,
        kg: item.weighed.kg * count,
        low_kg: band.low,
        high_kg: band.high,
        with_growth_kg: (item.weighed.kg + item.weighed.growth) * count,
        maturity: value.maturity.unwrap_or(Maturity::Estimated),
        weighings: item.weighed.weighings,
        provisional: item.weighed.provisional,
        residuals: item.residuals.clone(),
        contributions: gather(&item.weighed.pieces),
        balance: balanced(item),
    }
}

fn causes(effects: &Effects, weights: &[f64]) -> Vec<CauseEffect> {
    let mut list: Vec<CauseEffect> = effects
        .iter()
        .map(|(cause, effect)| {
            let (at_low_kg, at_high_kg) = on_sum(weights, effect);
            CauseEffect { cause: cause.to_string(), at_low_kg, at_high_kg }
        })
        .collect();
    let reach = |cause: &CauseEffect| cause.at_low_kg.abs().max(cause.at_high_kg.abs());
    list.sort_by(|a, b| reach(b).total_cmp(&reach(a)).then_with(|| a.cause.cmp(&b.cause)));
    list
}
