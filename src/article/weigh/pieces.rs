//! The pieces of one panel and what each weighs.

use super::scale::last_of_each;
use crate::article::sight::{Cause, Sight, route_name};
use crate::article::stack::stack_of;
use crate::article::{ArticleError, LayerRole};
use crate::ledger::{Entry, Ledger};
use crate::quantity::{Length, Quantity};
use crate::record::{
    Address, CoatRole, Finish, FinishRef, Joint, Material, MaterialRef, Painted, Panel, Recipe, RecipeRef,
    RecordKind, Weighing, Zone,
};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// Mass of one material at one place of a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    /// Its role and the id of its material, such as `ply cw-200-e1`; a ply comes with its resin.
    pub what: String,
    /// The zone, joint, edge or fitting.
    pub place: String,
    /// Nominal mass in kg.
    pub kg: f64,
}

/// What kind of piece it is: decides its growth, and which weighings have it on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    /// Layers, sheets, edges.
    Body,
    /// Inserts, latches, hinges.
    Fitting,
    /// Adhesive of a joint.
    Paste,
    /// Filler and primer.
    Ground,
    /// Every other coat.
    TopCoat,
}

impl Sort {
    pub(super) fn is_paint(self) -> bool {
        matches!(self, Sort::Ground | Sort::TopCoat)
    }
}

/// Where a piece is in its panel.
#[derive(Debug, Clone, Copy)]
pub(super) enum Spot<'a> {
    Named(&'a str),
    Edge(usize),
    Fitting(usize),
}

impl Spot<'_> {
    fn words(self) -> String {
        match self {
            Spot::Named(name) => name.to_string(),
            Spot::Edge(place) => format!("edge {place}"),
            Spot::Fitting(place) => format!("fitting {place}"),
        }
    }

    fn route(self, list: &str) -> String {
        match self {
            Spot::Named(name) => format!("{list}.{}", route_name(name)),
            Spot::Edge(place) | Spot::Fitting(place) => format!("{list}.{place}"),
        }
    }
}

/// One piece of a panel. Carries no text of its own: panels are weighed thousands of times for spread.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece<'a> {
    pub(super) sort: Sort,
    pub(super) word: &'static str,
    material: &'a str,
    spot: Spot<'a>,
    pub(super) kg: f64,
    /// What of it is resin of plies, cores and meshes.
    pub(super) resin: f64,
    /// Where it acts, in m.
    pub(super) at: Option<[f64; 3]>,
}

/// Areal mass of one material in a laminate, in kg/m2.
#[derive(Debug, Clone, Copy)]
struct TallyLine<'a> {
    role: LayerRole,
    material: &'a str,
    areal: f64,
    /// What of it is resin.
    resin: f64,
}

/// A laminate's areal masses by material, and the figures with a spread that they rest on.
struct Tally<'a> {
    lines: Vec<TallyLine<'a>>,
    causes: BTreeSet<Cause>,
}

/// Weighs panels of one ledger; remembers what it has worked out of recipes and weighings.
pub struct Weigher<'a> {
    pub(super) ledger: &'a Ledger,
    tallies: RefCell<BTreeMap<&'a str, Rc<Tally<'a>>>>,
    weighings: BTreeMap<&'a str, Vec<&'a Entry<Weighing>>>,
    /// Of these the last of each piece.
    last: BTreeMap<&'a str, Vec<&'a Entry<Weighing>>>,
}

impl<'a> Weigher<'a> {
    /// Returns a weigher for the ledger.
    pub fn new(ledger: &'a Ledger) -> Self {
        let mut weighings: BTreeMap<&str, Vec<_>> = BTreeMap::new();
        for weighing in ledger.counted_weighings() {
            weighings.entry(weighing.value.panel.id()).or_default().push(weighing);
        }
        let last = weighings.iter().map(|(panel, all)| (*panel, last_of_each(all))).collect();
        Self { ledger, tallies: RefCell::default(), weighings, last }
    }

    /// Returns what one panel weighs in kg: from its weighings where it is weighed, else as predicted.
    ///
    /// # Errors
    /// [`ArticleError`] where a record is missing or a figure that the mass needs is not written.
    pub fn panel_mass(&self, panel: &str) -> Result<f64, ArticleError> {
        let entry = self.panel(panel)?;
        Ok(self.weigh(entry, &Pass::nominal(self))?.kg)
    }

    /// Returns what one panel is predicted to weigh in kg, whatever the scale says.
    ///
    /// # Errors
    /// [`ArticleError`] where a record is missing or a figure that the mass needs is not written.
    pub fn predicted_mass(&self, panel: &str) -> Result<f64, ArticleError> {
        let entry = self.panel(panel)?;
        Ok(self.pieces(entry, &Pass::nominal(self))?.iter().map(|piece| piece.kg).sum())
    }

    /// Nominal mass of one part that an assembly lists, in kg.
    pub(super) fn part_mass(&self, part: &str, assembly: &str) -> Result<f64, ArticleError> {
        let material = self.ledger.materials.get(part).ok_or_else(|| ArticleError::Missing {
            needed: Address::new(RecordKind::Material, part),
            by: Address::new(RecordKind::Assembly, assembly),
        })?;
        Ok(needed(material.value.mass.as_deref(), material, "mass")?.si())
    }

    pub(super) fn panel(&self, id: &str) -> Result<&'a Entry<Panel>, ArticleError> {
        self.ledger.panels.get(id).ok_or_else(|| {
            let needed = Address::new(RecordKind::Panel, id);
            ArticleError::Missing { by: needed.clone(), needed }
        })
    }

    pub(super) fn weighings_of(&self, panel: &str) -> &[&'a Entry<Weighing>] {
        self.weighings.get(panel).map_or(&[], Vec::as_slice)
    }

    /// Returns the last weighing of each piece of a panel, by id: one that was on the scale at several stages is one piece.
    pub(super) fn last_weighings(&self, panel: &str) -> &[&'a Entry<Weighing>] {
        self.last.get(panel).map_or(&[], Vec::as_slice)
    }

    pub(super) fn material(
        &self,
        id: &MaterialRef,
        by: &Address,
    ) -> Result<&'a Entry<Material>, ArticleError> {
        self.ledger
            .materials
            .get(id.id())
            .ok_or_else(|| ArticleError::Missing { needed: id.address(), by: by.clone() })
    }

    fn recipe(&self, id: &RecipeRef, by: &Address) -> Result<&'a Entry<Recipe>, ArticleError> {
        self.ledger
            .recipes
            .get(id.id())
            .ok_or_else(|| ArticleError::Missing { needed: id.address(), by: by.clone() })
    }

    fn finish(&self, id: &FinishRef, by: &Address) -> Result<&'a Entry<Finish>, ArticleError> {
        self.ledger
            .finishes
            .get(id.id())
            .ok_or_else(|| ArticleError::Missing { needed: id.address(), by: by.clone() })
    }

    /// The nominal tally, remembered.
    fn tally(&self, recipe: &'a Entry<Recipe>) -> Result<Rc<Tally<'a>>, ArticleError> {
        if let Some(known) = self.tallies.borrow().get(recipe.id.as_str()) {
            return Ok(Rc::clone(known));
        }
        let seen = RefCell::default();
        let lines = self.tally_lines(recipe, &Sight::recording(&seen))?;
        let tally = Rc::new(Tally { lines, causes: seen.into_inner() });
        self.tallies.borrow_mut().insert(&recipe.id, Rc::clone(&tally));
        Ok(tally)
    }

    fn tally_lines(
        &self,
        recipe: &'a Entry<Recipe>,
        sight: &Sight<'_>,
    ) -> Result<Vec<TallyLine<'a>>, ArticleError> {
        let mut lines: Vec<TallyLine<'a>> = Vec::new();
        for layer in stack_of(self.ledger, recipe, sight)?.layers {
            let known = lines.iter_mut().find(|line| line.material == layer.material);
            if let Some(line) = known {
                line.areal += layer.areal();
                line.resin += layer.areal() - layer.own;
                continue;
            }
            let address = || Address::new(RecordKind::Recipe, recipe.id.clone());
            let (material, _) = self.ledger.materials.get_key_value(&layer.material).ok_or_else(|| {
                ArticleError::Missing {
                    needed: Address::new(RecordKind::Material, layer.material.clone()),
                    by: address(),
                }
            })?;
            let areal = layer.areal();
            lines.push(TallyLine { role: layer.role, material, areal, resin: areal - layer.own });
        }
        Ok(lines)
    }

    /// Returns the pieces of one panel, in the order of its record.
    pub(super) fn pieces(
        &self,
        panel: &'a Entry<Panel>,
        pass: &Pass<'a, '_>,
    ) -> Result<Vec<Piece<'a>>, ArticleError> {
        let table =
            Table { weigher: self, panel, pass, by: Address::new(RecordKind::Panel, panel.id.clone()) };
        let mut pieces = Vec::new();
        for zone in &panel.value.zones {
            table.zone(zone, &mut pieces)?;
        }
        for joint in &panel.value.joints {
            pieces.push(table.joint(joint)?);
        }
        table.edges(&mut pieces)?;
        table.fittings(&mut pieces)?;
        Ok(pieces)
    }
}

/// Returns the pieces gathered by what and where, sorted by both.
pub(super) fn gather(pieces: &[Piece<'_>]) -> Vec<Contribution> {
    let mut sums: BTreeMap<(String, String), f64> = BTreeMap::new();
    for piece in pieces {
        let what = format!("{} {}", piece.word, piece.material);
        *sums.entry((what, piece.spot.words())).or_default() += piece.kg;
    }
    sums.into_iter().map(|((what, place), kg)| Contribution { what, place, kg }).collect()
}

/// One reading of the whole ledger: nominal, or with some causes moved.
pub(super) struct Pass<'a, 'n> {
    pub(super) sight: Sight<'n>,
    /// Tallies that the moved causes reach, worked out once per pass.
    moved: RefCell<BTreeMap<&'a str, Rc<Tally<'a>>>>,
    reach: Reach<'n>,
    weigher: &'n Weigher<'a>,
}

/// Which recipes a pass must work out anew.
pub(super) enum Reach<'n> {
    None,
    One(&'n Cause),
    All,
}

impl<'a, 'n> Pass<'a, 'n> {
    pub(super) fn nominal(weigher: &'n Weigher<'a>) -> Self {
        Self { sight: Sight::nominal(), moved: RefCell::default(), reach: Reach::None, weigher }
    }

    pub(super) fn moved(weigher: &'n Weigher<'a>, sight: Sight<'n>, reach: Reach<'n>) -> Self {
        Self { sight, moved: RefCell::default(), reach, weigher }
    }

    pub(super) fn recording(weigher: &'n Weigher<'a>, seen: &'n RefCell<BTreeSet<Cause>>) -> Self {
        Self { sight: Sight::recording(seen), moved: RefCell::default(), reach: Reach::None, weigher }
    }

    fn tally(&self, recipe: &'a Entry<Recipe>) -> Result<Rc<Tally<'a>>, ArticleError> {
        let nominal = self.weigher.tally(recipe)?;
        let reached = match self.reach {
            Reach::None => false,
            Reach::One(cause) => nominal.causes.contains(cause),
            Reach::All => !nominal.causes.is_empty(),
        };
        if !reached {
            return Ok(nominal);
        }
        if let Some(known) = self.moved.borrow().get(recipe.id.as_str()) {
            return Ok(Rc::clone(known));
        }
        let lines = self.weigher.tally_lines(recipe, &self.sight)?;
        let tally = Rc::new(Tally { lines, causes: BTreeSet::new() });
        self.moved.borrow_mut().insert(&recipe.id, Rc::clone(&tally));
        Ok(tally)
    }

    /// Returns the causes that a recipe's areal masses rest on.
    pub(super) fn causes_of_recipe(
        &self,
        id: &RecipeRef,
        by: &Address,
    ) -> Result<BTreeSet<Cause>, ArticleError> {
        let recipe = self.weigher.recipe(id, by)?;
        Ok(self.weigher.tally(recipe)?.causes.clone())
    }

    pub(super) fn of_material(&self, figure: &Quantity, material: &Entry<Material>, route: &str) -> f64 {
        self.sight.read(figure, RecordKind::Material, &material.id, || route.to_string())
    }
}

fn position(at: Option<&[Length; 3]>) -> Option<[f64; 3]> {
    at.map(|at| at.each_ref().map(|length| length.si()))
}

pub(super) fn needed<'q>(
    figure: Option<&'q Quantity>,
    material: &Entry<Material>,
    field: &str,
) -> Result<&'q Quantity, ArticleError> {
    figure.ok_or_else(|| ArticleError::Unstated {
        address: Address::new(RecordKind::Material, material.id.clone()),
        field: field.to_string(),
    })
}

struct Table<'a, 'p, 'n> {
    weigher: &'p Weigher<'a>,
    panel: &'a Entry<Panel>,
    pass: &'p Pass<'a, 'n>,
    by: Address,
}

impl<'a> Table<'a, '_, '_> {
    fn of_panel(&self, figure: &Quantity, route: impl FnOnce() -> String) -> f64 {
        self.pass.sight.read(figure, RecordKind::Panel, &self.panel.id, route)
    }

    fn unstated(&self, field: String) -> ArticleError {
        ArticleError::Unstated { address: self.by.clone(), field }
    }

    fn zone(&self, zone: &'a Zone, pieces: &mut Vec<Piece<'a>>) -> Result<(), ArticleError> {
        let spot = Spot::Named(zone.name.as_str());
        let area = self.of_panel(&zone.area, || format!("{}.area", spot.route("zones")));
        let at = position(zone.centroid.as_ref());
        if zone.recipe.is_none() && zone.sheet.is_none() {
            return Err(self.unstated(format!("{}.recipe", spot.route("zones"))));
        }
        if let Some(recipe) = &zone.recipe {
            let overlap = self.panel.value.overlap.as_deref();
            let laps = 1.0 + overlap.map_or(0.0, |share| self.of_panel(share, || "overlap".to_string()));
            let tally = self.pass.tally(self.weigher.recipe(recipe, &self.by)?)?;
            pieces.extend(tally.lines.iter().map(|line| {
                let lapped = matches!(line.role, LayerRole::Ply | LayerRole::Mesh);
                let laps = if lapped { laps } else { 1.0 };
                let (kg, resin) = (area * line.areal * laps, area * line.resin * laps);
                Piece {
                    sort: Sort::Body,
                    word: line.role.word(),
                    material: line.material,
                    spot,
                    kg,
                    resin,
                    at,
                }
            }));
        }
        if let Some(sheet) = &zone.sheet {
            let material = self.weigher.material(&sheet.material, &self.by)?;
            let density = needed(material.value.density.as_deref(), material, "density")?;
            let density = self.pass.of_material(density, material, "density");
            let route = || format!("{}.sheet.thickness", spot.route("zones"));
            let kg = area * self.of_panel(&sheet.thickness, route) * density;
            pieces.push(Piece {
                sort: Sort::Body,
                word: "sheet",
                material: &material.id,
                spot,
                kg,
                resin: 0.0,
                at,
            });
        }
        if let Some(finish) = &zone.finish {
            let faces = match zone.painted.or(self.panel.value.painted) {
                Some(Painted::Both) => 2.0,
                Some(Painted::One) | None => 1.0,
            };
            self.coats(finish, area * faces, spot, at, pieces)?;
        }
        Ok(())
    }

    fn coats(
        &self,
        finish: &FinishRef,
        area: f64,
        spot: Spot<'a>,
        at: Option<[f64; 3]>,
        pieces: &mut Vec<Piece<'a>>,
    ) -> Result<(), ArticleError> {
        let finish = self.weigher.finish(finish, &self.by)?;
        let by = Address::new(RecordKind::Finish, finish.id.clone());
        for (place, coat) in finish.value.coats.iter().enumerate() {
            let material = self.weigher.material(&coat.material, &by)?;
            let read = |figure: &Quantity, key: &str| {
                let route = || format!("coats.{}.{key}", place + 1);
                self.pass.sight.read(figure, RecordKind::Finish, &finish.id, route)
            };
            let removed = coat.removed.as_deref().map_or(0.0, |figure| read(figure, "removed"));
            let film = (read(&coat.dry_film, "dry_film") - removed).max(0.0);
            let density = needed(material.value.dry_density.as_deref(), material, "dry_density")?;
            let kg = area * film * self.pass.of_material(density, material, "dry_density");
            let sort = match material.value.role {
                Some(CoatRole::Filler | CoatRole::Primer) => Sort::Ground,
                Some(CoatRole::Colour | CoatRole::Clear) | None => Sort::TopCoat,
            };
            pieces.push(Piece { sort, word: "paint", material: &material.id, spot, kg, resin: 0.0, at });
        }
        Ok(())
    }

    fn joint(&self, joint: &'a Joint) -> Result<Piece<'a>, ArticleError> {
        let spot = Spot::Named(joint.name.as_str());
        let read = |figure: &Quantity, key: &str| {
            self.of_panel(figure, || format!("{}.{key}", spot.route("joints")))
        };
        let material = self.weigher.material(&joint.adhesive, &self.by)?;
        let area = read(&joint.length, "length") * read(&joint.width, "width");
        let kg = if let Some(areal) = material.value.areal.as_deref() {
            // A film is cut to the joint: nothing of it is squeezed out that was not weighed.
            area * self.pass.of_material(areal, material, "areal")
        } else {
            let density = needed(material.value.density.as_deref(), material, "density")?;
            let density = self.pass.of_material(density, material, "density");
            let thickness = match (joint.thickness.as_deref(), material.value.cured_thickness.as_deref()) {
                (Some(thickness), _) => read(thickness, "thickness"),
                (None, Some(usual)) => self.pass.of_material(usual, material, "cured_thickness"),
                (None, None) => {
                    return Err(self.unstated(format!("{}.thickness", spot.route("joints"))));
                }
            };
            let squeezed = joint.squeeze_out.as_deref().map_or(0.0, |share| read(share, "squeeze_out"));
            area * thickness * density * (1.0 + squeezed)
        };
        let at = position(joint.centroid.as_ref());
        Ok(Piece { sort: Sort::Paste, word: "adhesive", material: &material.id, spot, kg, resin: 0.0, at })
    }

    fn edges(&self, pieces: &mut Vec<Piece<'a>>) -> Result<(), ArticleError> {
        for (at, edge) in self.panel.value.edges.iter().enumerate() {
            let spot = edge.name.as_ref().map_or(Spot::Edge(at + 1), |name| Spot::Named(name.as_str()));
            let part = self.weigher.material(&edge.part, &self.by)?;
            let linear = needed(part.value.linear_mass.as_deref(), part, "linear_mass")?;
            let length = self.of_panel(&edge.length, || format!("{}.length", spot.route("edges")));
            let kg = length * self.pass.of_material(linear, part, "linear_mass");
            let at = position(edge.centroid.as_ref());
            pieces.push(Piece {
                sort: Sort::Body,
                word: "edge",
                material: &part.id,
                spot,
                kg,
                resin: 0.0,
                at,
            });
        }
        Ok(())
    }

    fn fittings(&self, pieces: &mut Vec<Piece<'a>>) -> Result<(), ArticleError> {
        for (at, fitting) in self.panel.value.fittings.iter().enumerate() {
            let spot = fitting.name.as_ref().map_or(Spot::Fitting(at + 1), |name| Spot::Named(name.as_str()));
            let part = self.weigher.material(&fitting.part, &self.by)?;
            let mass = needed(part.value.mass.as_deref(), part, "mass")?;
            let kg = f64::from(fitting.count.unwrap_or(1)) * self.pass.of_material(mass, part, "mass");
            let at = position(fitting.at.as_ref());
            pieces.push(Piece {
                sort: Sort::Fitting,
                word: "fitting",
                material: &part.id,
                spot,
                kg,
                resin: 0.0,
                at,
            });
        }
        Ok(())
    }
}
