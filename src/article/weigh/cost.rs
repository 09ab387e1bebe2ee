//! What panels cost to make: what is bought for them, the work on them, their share of a mould.
//!
//! Rolled up like mass. What has no price, no time or no fitting unit is listed as missing and the sum says
//! "at least"; nothing unknown counts as nothing.

use super::figures::Scope;
use super::pieces::{Pass, Sort, Weigher};
use super::rollup::RollUp;
use crate::article::sight::Sight;
use crate::article::stack::{LaidLayer, Stack, stack_of};
use crate::article::{ArticleError, LayerRole};
use crate::ledger::{Entry, Ledger};
use crate::mass::{bought, mould_share, sprayed};
use crate::quantity::{Duration, Money, Per};
use crate::record::{
    Address, Finish, Joint, Material, MaterialKind, Painted, Panel, Rates, Recipe, RecordKind, Zone,
};
use std::collections::{BTreeMap, BTreeSet};

/// What a sum is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CostSort {
    /// Bought for it: layers, resin, coats, adhesive, sheets, edges, fittings, consumables.
    Material,
    /// Its share of the mould.
    Mould,
    /// Work in the shop.
    Labour,
}

/// One line of what a panel costs.
#[derive(Debug, Clone, PartialEq)]
pub struct CostLine {
    /// What for.
    pub sort: CostSort,
    /// What it is, such as `ply cw-200-e1`.
    pub what: String,
    /// The zone, joint, edge or fitting; empty for the panel as a whole.
    pub place: String,
    /// Money, in the ledger's currency; of labour where the ledger has a rate.
    pub amount: f64,
    /// Hours of work; 0 where it is none.
    pub hours: f64,
}

/// A sum of money and hours, and what it lacks.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cost {
    /// Bought, in the ledger's currency.
    pub materials: f64,
    /// Shares of moulds.
    pub moulds: f64,
    /// Work, at the ledger's rate.
    pub labour: f64,
    /// Hours of work.
    pub hours: f64,
    /// What has no figure, each once and sorted; with any, the sums are the least.
    pub missing: BTreeSet<String>,
}

impl Cost {
    /// Returns the whole sum, at least where something is missing.
    pub fn total(&self) -> f64 {
        self.materials + self.moulds + self.labour
    }

    /// Returns whether nothing is missing.
    pub fn is_whole(&self) -> bool {
        self.missing.is_empty()
    }

    fn add(&mut self, other: &Cost, times: f64) {
        self.materials += other.materials * times;
        self.moulds += other.moulds * times;
        self.labour += other.labour * times;
        self.hours += other.hours * times;
        self.missing.extend(other.missing.iter().cloned());
    }
}

/// What one panel costs.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelCost {
    /// The panel.
    pub panel: String,
    /// How many the programme holds.
    pub quantity: u64,
    /// What one costs.
    pub each: Cost,
    /// Line by line, by what and where.
    pub lines: Vec<CostLine>,
}

/// What a panel, or one aircraft of the programme, costs to make.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CostStatement {
    /// The currency; empty where neither the ledger nor a price names one.
    pub currency: String,
    /// Everything together, parts of assemblies with it.
    pub total: Cost,
    /// Panel by panel, by id.
    pub panels: Vec<PanelCost>,
}

/// Returns what a scope costs: one panel, one assembly, or one aircraft of the programme. `None` where the ledger
/// has no price and no rate of work at all.
///
/// # Errors
/// [`ArticleError`] where a record or a figure that the mass needs is missing.
pub fn cost_of(ledger: &Ledger, scope: &Scope) -> Result<Option<CostStatement>, ArticleError> {
    let Some(mut till) = Till::of(ledger) else { return Ok(None) };
    let mut holds = RollUp::new(ledger, None);
    let counts = match scope {
        Scope::Panel(id) => {
            let own = till.panel(id, 1)?;
            let mut total = Cost::default();
            total.add(&own.each, 1.0);
            return Ok(Some(CostStatement { currency: till.currency, total, panels: vec![own] }));
        }
        Scope::Assembly(id) => holds.assembly(id, &Address::new(RecordKind::Assembly, id.clone()))?,
        Scope::Programme => holds.programme()?,
    };
    let mut total = Cost::default();
    let mut panels = Vec::with_capacity(counts.panels.len());
    for (panel, placed) in &counts.panels {
        let own = till.panel(panel, placed.count)?;
        total.add(&own.each, placed.count as f64);
        panels.push(own);
    }
    for ((part, assembly, _), placed) in &counts.parts {
        let by = || Address::new(RecordKind::Assembly, assembly.clone());
        let missing =
            || ArticleError::Missing { needed: Address::new(RecordKind::Material, part.clone()), by: by() };
        let material = ledger.materials.get(part).ok_or_else(missing)?;
        let mut one = Desk::new(&till);
        one.part(material, assembly, 1.0, None);
        total.add(&one.cost, placed.count as f64);
    }
    Ok(Some(CostStatement { currency: till.currency, total, panels }))
}

/// The rates and what was worked out of recipes.
struct Till<'a> {
    weigher: Weigher<'a>,
    rates: Option<&'a Rates>,
    currency: String,
    stacks: BTreeMap<&'a str, Stack>,
}

impl<'a> Till<'a> {
    fn of(ledger: &'a Ledger) -> Option<Self> {
        let head = ledger.head.as_ref();
        let rates = head.and_then(|head| head.rates.as_ref());
        let rate = rates.and_then(|rates| rates.labour.as_ref());
        let some = rate.or_else(|| first_price(ledger))?;
        let currency = head.and_then(|head| head.currency.as_ref());
        let currency = currency.map_or_else(|| some.currency().to_string(), ToString::to_string);
        Some(Self { weigher: Weigher::new(ledger), rates, currency, stacks: BTreeMap::new() })
    }

    fn ledger(&self) -> &'a Ledger {
        self.weigher.ledger
    }

    fn panel(&mut self, id: &str, quantity: u64) -> Result<PanelCost, ArticleError> {
        let entry = self.weigher.panel(id)?;
        let ledger = self.ledger();
        for recipe in entry.value.zones.iter().filter_map(|zone| zone.recipe.as_ref()) {
            let by = || Address::new(RecordKind::Panel, id);
            let missing = || ArticleError::Missing { needed: recipe.address(), by: by() };
            let own = ledger.recipes.get(recipe.id()).ok_or_else(missing)?;
            if !self.stacks.contains_key(own.id.as_str()) {
                self.stacks.insert(&own.id, stack_of(ledger, own, &Sight::nominal())?);
            }
        }
        let pieces = self.weigher.pieces(entry, &Pass::nominal(&self.weigher))?;
        let pastes: Vec<f64> =
            pieces.iter().filter(|piece| piece.sort == Sort::Paste).map(|piece| piece.kg).collect();
        let mut desk = Desk::new(self);
        for zone in &entry.value.zones {
            desk.zone(entry, zone);
        }
        for (joint, kg) in entry.value.joints.iter().zip(pastes) {
            desk.joint(joint, kg);
        }
        for edge in &entry.value.edges {
            let Some(part) = ledger.materials.get(edge.part.id()) else { continue };
            let place = edge.name.as_ref().map_or("", |name| name.as_str());
            desk.part(part, place, 1.0, Some(edge.length.si()));
        }
        for fitting in &entry.value.fittings {
            let Some(part) = ledger.materials.get(fitting.part.id()) else { continue };
            let place = fitting.name.as_ref().map_or("", |name| name.as_str());
            desk.part(part, place, f64::from(fitting.count.unwrap_or(1)), None);
        }
        desk.whole(entry);
        let (each, mut lines) = (desk.cost, gathered(desk.lines));
        lines.sort_by(|one, two| (one.sort, &one.what, &one.place).cmp(&(two.sort, &two.what, &two.place)));
        Ok(PanelCost { panel: entry.id.clone(), quantity, each, lines })
    }
}

/// Some price of what a bill may hold.
fn first_price(ledger: &Ledger) -> Option<&Money> {
    let of_materials = ledger.materials.values().find_map(|own| own.value.price.as_ref());
    of_materials
        .or_else(|| ledger.tools.values().find_map(|own| own.value.price.as_ref()))
        .or_else(|| ledger.processes.values().find_map(|own| own.value.price.as_ref()))
        .or_else(|| ledger.finishes.values().find_map(|own| own.value.price.as_ref()))
        .or_else(|| ledger.recipes.values().find_map(|own| own.value.price.as_ref()))
        .or_else(|| ledger.panels.values().find_map(|own| own.value.price.as_ref()))
}

/// Adds up lines that say the same of the same place.
fn gathered(lines: Vec<CostLine>) -> Vec<CostLine> {
    let mut sums: BTreeMap<(CostSort, String, String), (f64, f64)> = BTreeMap::new();
    for line in lines {
        let sum = sums.entry((line.sort, line.what, line.place)).or_default();
        sum.0 += line.amount;
        sum.1 += line.hours;
    }
    sums.into_iter()
        .map(|((sort, what, place), (amount, hours))| CostLine { sort, what, place, amount, hours })
        .collect()
}

/// How much of a material is used: what its price may be for.
#[derive(Clone, Copy, Default)]
struct Use {
    pieces: Option<f64>,
    kg: Option<f64>,
    m: Option<f64>,
    m2: Option<f64>,
    m3: Option<f64>,
}

/// The bill of one panel.
struct Desk<'t, 'a> {
    till: &'t Till<'a>,
    cost: Cost,
    lines: Vec<CostLine>,
}

impl<'t, 'a> Desk<'t, 'a> {
    fn new(till: &'t Till<'a>) -> Self {
        Self { till, cost: Cost::default(), lines: Vec::new() }
    }

    fn lacks(&mut self, what: String) {
        self.cost.missing.insert(what);
    }

    fn buy(&mut self, sort: CostSort, what: String, place: &str, amount: f64) {
        match sort {
            CostSort::Mould => self.cost.moulds += amount,
            CostSort::Material | CostSort::Labour => self.cost.materials += amount,
        }
        self.lines.push(CostLine { sort, what, place: place.to_string(), amount, hours: 0.0 });
    }

    fn work(&mut self, what: &str, place: &str, time: &Duration, times: f64) {
        let hours = time.si() / 3600.0 * times;
        let rate = self.till.rates.and_then(|rates| rates.labour.as_ref());
        let amount = match rate.map(|rate| (rate, rate.per())) {
            Some((rate, Per::Time(seconds))) if self.is_ours(rate) => {
                rate.amount() * hours * 3600.0 / seconds
            }
            _ => {
                self.lacks("ledger#rates.labour".to_string());
                0.0
            }
        };
        self.cost.hours += hours;
        self.cost.labour += amount;
        let (what, place) = (what.to_string(), place.to_string());
        self.lines.push(CostLine { sort: CostSort::Labour, what, place, amount, hours });
    }

    fn is_ours(&self, price: &Money) -> bool {
        price.currency() == self.till.currency
    }

    /// Buys so much of a material, with its scrap; `cut` takes the ledger's rate where it has none of its own.
    fn material(&mut self, role: &str, material: &Entry<Material>, place: &str, net: Use, cut: bool) {
        let named = format!("material/{}", material.id);
        let Some(price) = &material.value.price else { return self.lacks(format!("{named}#price")) };
        let used = match price.per() {
            Per::Each => net.pieces.map(|n| (n, 1.0)),
            Per::Mass(unit) => net.kg.map(|n| (n, unit)),
            Per::Length(unit) => net.m.map(|n| (n, unit)),
            Per::Area(unit) => net.m2.map(|n| (n, unit)),
            Per::Volume(unit) => net.m3.map(|n| (n, unit)),
            Per::Time(_) => None,
        };
        let Some((used, unit)) = used.filter(|_| self.is_ours(price)) else {
            return self.lacks(format!("{named}#price for what is used of it"));
        };
        let general = self.till.rates.and_then(|rates| rates.scrap.as_ref()).filter(|_| cut);
        let scrap = match material.value.scrap.as_ref().or(general) {
            Some(scrap) => scrap.si(),
            None if cut => {
                self.lacks("ledger#rates.scrap".to_string());
                0.0
            }
            // Pieces, paste and resin are counted as they are used unless the material says otherwise.
            None => 0.0,
        };
        match bought(used / unit, scrap) {
            Ok(amount) => {
                let amount = amount * price.amount();
                self.buy(CostSort::Material, format!("{role} {}", material.id), place, amount);
            }
            Err(_) => self.lacks(format!("{named}#scrap")),
        }
    }

    /// A price that is for one use, or by area.
    fn own_price(
        &mut self,
        what: &str,
        address: &str,
        price: Option<&Money>,
        place: &str,
        area: Option<f64>,
    ) {
        let Some(price) = price else { return };
        let amount = match (price.per(), area) {
            _ if !self.is_ours(price) => None,
            (Per::Each, _) => Some(price.amount()),
            (Per::Area(unit), Some(area)) => Some(price.amount() * area / unit),
            _ => None,
        };
        match amount {
            Some(amount) => self.buy(CostSort::Material, what.to_string(), place, amount),
            None => self.lacks(format!("{address}#price for one use")),
        }
    }

    fn zone(&mut self, panel: &Entry<Panel>, zone: &Zone) {
        let (ledger, area, place) = (self.till.ledger(), zone.area.si(), zone.name.as_str());
        if let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) {
            let laps = 1.0 + panel.value.overlap.as_ref().map_or(0.0, |share| share.si());
            self.laminate(recipe, place, area, laps);
        }
        if let Some((sheet, material)) =
            zone.sheet.as_ref().and_then(|own| Some((own, ledger.materials.get(own.material.id())?)))
        {
            let volume = area * sheet.thickness.si();
            let kg = material.value.density.as_ref().map(|density| density.si() * volume);
            let net = Use { kg, m2: Some(area), m3: Some(volume), ..Use::default() };
            self.material("sheet", material, place, net, true);
        }
        if let Some(finish) = zone.finish.as_ref().and_then(|own| ledger.finishes.get(own.id())) {
            let faces = match zone.painted.or(panel.value.painted) {
                Some(Painted::Both) => 2.0,
                Some(Painted::One) | None => 1.0,
            };
            self.finish(finish, place, area, faces);
        }
    }

    fn laminate(&mut self, recipe: &'a Entry<Recipe>, place: &str, area: f64, laps: f64) {
        let Some(stack) = self.till.stacks.get(recipe.id.as_str()) else { return };
        self.own_price(
            &format!("recipe {}", recipe.id),
            &format!("recipe/{}", recipe.id),
            recipe.value.price.as_ref(),
            place,
            Some(area),
        );
        let mut resin = 0.0;
        for layer in &stack.layers {
            let Some(material) = self.till.ledger().materials.get(&layer.material) else { continue };
            let lapped = matches!(layer.role, LayerRole::Ply | LayerRole::Mesh);
            let area = area * if lapped { laps } else { 1.0 };
            self.material(layer.role.word(), material, place, laid(layer, material, area), true);
            resin += area * (layer.uptake + layer.fill + if layer.dry { layer.resin } else { 0.0 });
            if recipe.value.labour.is_none() {
                let general = self.till.rates.and_then(|rates| rates.layer.as_ref());
                match material.value.labour.as_ref().or(general) {
                    Some(time) => self.work("layers", place, time, 1.0),
                    None => self.lacks("ledger#rates.layer".to_string()),
                }
            }
        }
        if let Some(time) = &recipe.value.labour {
            self.work("layers", place, time, 1.0);
        }
        let own =
            recipe.value.resin.as_ref().and_then(|own| self.till.ledger().materials.get(own.material.id()));
        if let Some(material) = own.filter(|_| resin > 0.0) {
            self.material("resin", material, place, liquid(resin, material), false);
        }
    }

    fn finish(&mut self, finish: &Entry<Finish>, place: &str, area: f64, faces: f64) {
        let area = area * faces;
        let address = format!("finish/{}", finish.id);
        let what = format!("finish {}", finish.id);
        self.own_price(&what, &address, finish.value.price.as_ref(), place, Some(area));
        for coat in &finish.value.coats {
            let Some(material) = self.till.ledger().materials.get(coat.material.id()) else { continue };
            let named = format!("material/{}", material.id);
            let (solids, transfer) = (&material.value.solids_by_volume, &material.value.transfer);
            match (solids, transfer) {
                (Some(solids), Some(transfer)) => {
                    match sprayed(area, coat.dry_film.si(), solids.si(), transfer.si()) {
                        Ok(volume) => {
                            let net = Use { m3: Some(volume), ..Use::default() };
                            self.material("paint", material, place, net, false);
                        }
                        Err(_) => self.lacks(format!("{named}#solids_by_volume and transfer above 0")),
                    }
                }
                (None, _) => self.lacks(format!("{named}#solids_by_volume")),
                (_, None) => self.lacks(format!("{named}#transfer")),
            }
            if finish.value.labour.is_none() {
                let general = self.till.rates.and_then(|rates| rates.coat.as_ref());
                match material.value.labour.as_ref().or(general) {
                    Some(time) => self.work("coats", place, time, faces),
                    None => self.lacks("ledger#rates.coat".to_string()),
                }
            }
        }
        if let Some(time) = &finish.value.labour {
            self.work("coats", place, time, faces);
        }
    }

    fn joint(&mut self, joint: &Joint, kg: f64) {
        let Some(material) = self.till.ledger().materials.get(joint.adhesive.id()) else { return };
        let place = joint.name.as_str();
        let net = match material.value.areal {
            Some(_) => Use { kg: Some(kg), m2: Some(joint.length.si() * joint.width.si()), ..Use::default() },
            None => liquid(kg, material),
        };
        self.material("adhesive", material, place, net, material.value.areal.is_some());
        if let Some(time) = &material.value.labour {
            self.work(&format!("adhesive {}", material.id), place, time, 1.0);
        }
        if let Some(process) = joint.process.as_ref() {
            self.process(process.id(), place);
        }
    }

    /// A part: an edge by its length, a fitting or a part of an assembly by the piece.
    fn part(&mut self, part: &Entry<Material>, place: &str, count: f64, length: Option<f64>) {
        let kg = match length {
            Some(length) => part.value.linear_mass.as_ref().map(|own| own.si() * length),
            None => part.value.mass.as_ref().map(|own| own.si() * count),
        };
        let pieces = length.is_none().then_some(count);
        self.material("part", part, place, Use { pieces, kg, m: length, ..Use::default() }, false);
        if let Some(time) = &part.value.labour {
            self.work(&format!("part {}", part.id), place, time, count);
        }
    }

    fn process(&mut self, id: &str, place: &str) {
        let Some(process) = self.till.ledger().processes.get(id) else { return };
        let (what, address) = (format!("process {id}"), format!("process/{id}"));
        self.own_price(&what, &address, process.value.price.as_ref(), place, None);
        if let Some(time) = &process.value.labour {
            self.work(&what, place, time, 1.0);
        }
    }

    /// What goes with the panel as a whole: each process that it runs through, the mould, the rest of the work.
    fn whole(&mut self, panel: &Entry<Panel>) {
        let ledger = self.till.ledger();
        let zones = || panel.value.zones.iter();
        let cured = zones().filter_map(|zone| ledger.recipes.get(zone.recipe.as_ref()?.id()));
        let cured = cured.map(|recipe| recipe.value.process.id());
        let painted = zones().filter_map(|zone| ledger.finishes.get(zone.finish.as_ref()?.id()));
        let painted = painted.filter_map(|finish| finish.value.process.as_ref().map(|own| own.id()));
        let processes: BTreeSet<&str> = cured.chain(painted).collect();
        for process in processes {
            self.process(process, "");
        }
        let named = format!("panel/{}", panel.id);
        self.own_price("other", &named, panel.value.price.as_ref(), "", None);
        match &panel.value.labour {
            Some(time) => self.work("the rest", "", time, 1.0),
            None => self.lacks(format!("{named}#labour")),
        }
        let Some(tool) = panel.value.tool.as_ref().and_then(|own| ledger.tools.get(own.id())) else { return };
        let address = format!("tool/{}", tool.id);
        if let Some(time) = &tool.value.labour {
            self.work(&format!("mould {}", tool.id), "", time, 1.0);
        }
        let pulls = tool.value.pulls.as_ref().and_then(|pulls| pulls.expected);
        match (&tool.value.price, pulls) {
            (Some(price), Some(pulls)) if self.is_ours(price) && price.per() == Per::Each => {
                match mould_share(price.amount(), f64::from(pulls)) {
                    Ok(share) => self.buy(CostSort::Mould, format!("mould {}", tool.id), "", share),
                    Err(_) => self.lacks(format!("{address}#pulls.expected above 0")),
                }
            }
            (Some(_), Some(_)) => self.lacks(format!("{address}#price for one use")),
            (None, _) => self.lacks(format!("{address}#price")),
            (_, None) => self.lacks(format!("{address}#pulls.expected")),
        }
    }
}

/// What is used of a layer's material before it is cured: a prepreg with all of its resin, nothing bled yet.
fn laid(layer: &LaidLayer, material: &Entry<Material>, area: f64) -> Use {
    let own = match (material.value.kind, &material.value.resin) {
        (MaterialKind::Prepreg, Some(resin)) if resin.content.si() < 1.0 => {
            layer.own / (1.0 - resin.content.si())
        }
        _ => layer.own,
    };
    let volume = layer.thickness.filter(|_| layer.role == LayerRole::Core).map(|own| own * area);
    Use { kg: Some(own * area), m2: Some(area), m3: volume, ..Use::default() }
}

/// What is used of a resin or a paste.
fn liquid(kg: f64, material: &Entry<Material>) -> Use {
    let volume = material.value.density.as_ref().map(|density| kg / density.si());
    Use { kg: Some(kg), m3: volume, ..Use::default() }
}

#[cfg(test)]
mod tests;
