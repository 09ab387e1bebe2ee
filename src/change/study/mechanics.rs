//! Candidate stacks to mechanics: design values settled once a study, and first-ply failure of many side by side.
//!
//! A value that is typed is what it is. One that comes from a showing is settled with the verdicts as they stand, and
//! holds only for candidates that change nothing that those verdicts are made from (`is_steady`,
//! [`super::stacks::StackSpace::asks_as`]); the others are left to the whole evaluation.

use super::Room;
use super::space::Space;
use super::stacks::PlainLayer;
use crate::article::{ArticleError, Subject, exposure_of};
use crate::laminate::{
    Candidate, Criterion, FirstPly, JudgedLayer, Kinds, Lamina, LaminateError, Load, PlyStrength,
};
use crate::ledger::{Entry, Ledger};
use crate::qualify::margins::{Origin, Values, environments, laid_up, plate_zone};
use crate::record::{Keep, Material, MaterialKind, Panel, Recipe, RecordKind, Sourced};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// What a layer is to mechanics.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "nearly all layers are ready")]
pub enum Mechanics {
    /// Stiff, or only taking up room, by values that are typed.
    Ready(JudgedLayer),
    /// A ply whose values come from showings.
    Settled {
        /// Angle, rad.
        angle: f64,
        /// Thickness, m.
        thickness: f64,
    },
    /// Without thickness it takes up no room.
    NoRoom,
    /// Some value is missing: judged in full only.
    Unknown,
}

/// Stiffness and strengths of plies by material, from showings in force.
pub type Plies = BTreeMap<String, (Lamina, Option<PlyStrength>)>;

/// A load on a stack, and the least reserve factor under it.
#[derive(Debug, Clone, PartialEq)]
pub struct StackLoad {
    /// The factored load.
    pub load: Load,
    /// The least reserve factor.
    pub least: f64,
    /// The panel, the zone and the case, in words.
    pub words: String,
    /// What plies are by their showings, on the panel and in one environment; none where all values are typed.
    pub plies: Plies,
    /// The number of the table that has those plies.
    pub table: usize,
}

impl StackLoad {
    /// Returns a load on stacks whose values are all typed.
    pub fn new(load: Load, least: f64, words: impl Into<String>) -> Self {
        Self { load, least, words: words.into(), plies: Plies::new(), table: 0 }
    }
}

/// Whether some value of a material's plies comes from a showing.
fn is_sourced(material: &Material) -> bool {
    let moduli = material.lamina.iter().flat_map(|own| [&own.e1, &own.e2, &own.g12]);
    let strengths = material.strength.iter().flat_map(|own| own.figures()).filter_map(|(_, own)| own);
    moduli.chain(strengths).any(|own| matches!(own, Sourced::From(_)))
}

/// Makes the layers of a recipe ready for mechanics. Plies whose values come from showings are ready where they are
/// made of the same as in the base.
///
/// # Errors
/// As [`super::stacks::plain_layers`].
pub fn make_ready(
    (base, head): (&Ledger, &Ledger),
    recipe: &Entry<Recipe>,
    layers: &mut [PlainLayer],
) -> Result<(), ArticleError> {
    let nothing = BTreeMap::new();
    let values = Values { ledger: head, duties: &nothing, panel: None, load_path: None, environment: None };
    let laid = laid_up(head, recipe, &values)?;
    let of = |id: &str| head.materials.get(id).filter(|own| is_sourced(&own.value));
    let sourced: BTreeSet<&str> =
        layers.iter().filter_map(|layer| of(&layer.material)).map(|own| own.id.as_str()).collect();
    let (sourced, steady): (BTreeSet<String>, BTreeSet<String>) = (
        sourced.iter().map(ToString::to_string).collect(),
        sourced
            .iter()
            .filter(|id| is_made_the_same((base, head), recipe, id))
            .map(ToString::to_string)
            .collect(),
    );
    // Without verdicts a value from a showing is lacking; what else is lacking leaves nothing to be computed.
    let from_showing = |what: &str| {
        let material = what.split_once(" of material/").filter(|(key, _)| !key.starts_with("the "));
        material.is_some_and(|(_, id)| sourced.contains(id))
    };
    if laid.lacking.iter().any(|own| !from_showing(&own.what)) {
        return Ok(());
    }
    for (at, layer) in layers.iter_mut().enumerate() {
        if layer.thickness <= 0.0 {
            layer.mechanics = Mechanics::NoRoom;
            continue;
        }
        if sourced.contains(&layer.material) {
            let angle = layer.turned;
            layer.mechanics = match steady.contains(&layer.material) {
                true => Mechanics::Settled { angle, thickness: layer.thickness },
                false => Mechanics::Unknown,
            };
            continue;
        }
        let own = laid.carrying.iter().find(|own| own.at == at);
        layer.mechanics = Mechanics::Ready(JudgedLayer {
            lamina: own.map_or(Lamina::VOID, |own| own.elastic.lamina),
            angle: own.map_or(0.0, |own| own.elastic.angle),
            thickness: layer.thickness,
            strength: own
                .and_then(|own| own.strengths)
                .filter(|_| own.is_some_and(|own| !own.elastic.lamina.is_void())),
        });
    }
    Ok(())
}

/// Whether a ply of a recipe is made of the same in two states: evidence on it is compared with the same.
fn is_made_the_same((base, head): (&Ledger, &Ledger), recipe: &Entry<Recipe>, material: &str) -> bool {
    let same_material = |id: &str| {
        base.materials.get(id).map(|own| &own.value) == head.materials.get(id).map(|own| &own.value)
    };
    let process = recipe.value.process.id();
    let resin = recipe.value.resin.as_ref().map(|own| own.material.id());
    same_material(material)
        && resin.is_none_or(same_material)
        && base.processes.get(process).map(|own| &own.value)
            == head.processes.get(process).map(|own| &own.value)
}

/// Whether nothing in a space changes what verdicts on plies are made from, but which plies lie where and what they
/// are made of: those are looked at candidate by candidate.
fn is_steady(ledger: &Ledger, space: &Space) -> bool {
    space.variations.iter().flat_map(|own| &own.places).all(|place| {
        let (id, route) = (place.address.id(), place.route.as_str());
        match place.address.kind() {
            RecordKind::Recipe => route.starts_with("layers."),
            // Heat knows a paint by its colour alone.
            RecordKind::Finish => route.starts_with("coats."),
            RecordKind::Material => {
                // A core's form and what fasteners are called are asked of evidence on plies.
                let apart = [MaterialKind::Sheet, MaterialKind::Part];
                let kind = ledger.materials.get(id).map(|own| own.value.kind);
                !["kind", "form", "designation"].contains(&route)
                    && kind.is_some_and(|kind| !apart.contains(&kind))
            }
            _ => false,
        }
    })
}

/// Whether the heat of a panel's skins hangs on their lay-up: one in the sun without paint is as its outer ply.
fn is_bare(panel: &Panel) -> bool {
    panel.zones.iter().any(|zone| {
        let sun = exposure_of(panel, zone.exposure.as_ref()).sun != Some(false);
        sun && zone.recipe.is_some() && zone.finish.is_none()
    })
}

/// What plies of a recipe are by their showings, on a panel and in one environment; `None` where a value is lacking,
/// or where it hangs on more than the ply itself.
fn settled(
    room: &Room<'_>,
    recipe: &Entry<Recipe>,
    panel: &Entry<Panel>,
    environment: Option<&str>,
) -> Result<Option<Plies>, ArticleError> {
    let (ledger, duties) = (room.ledger, &room.evaluation.duties);
    let load_path = panel.value.load_path;
    let values = Values { ledger, duties, panel: Some(&panel.id), load_path, environment };
    let laid = laid_up(ledger, recipe, &values)?;
    let own_evidence = laid.used.iter().all(|value| match &value.from {
        Origin::Typed => true,
        Origin::Evidence(own) => {
            let key = (own.showing.clone(), own.subject.clone());
            // The panel's own verdict, on records of this very ply.
            duties.get(&key).is_some_and(|duty| duty.panels.contains_key(&panel.id))
                && own.evidence.iter().all(|id| {
                    let record = ledger.evidence.get(id);
                    record.and_then(|own| Subject::from_label(&own.value.subject)).as_ref()
                        == Some(&own.subject)
                })
        }
    });
    if !own_evidence || !laid.lacking.is_empty() {
        return Ok(None);
    }
    let mut all = Plies::new();
    for own in &laid.carrying {
        let Some(layer) = laid.layers.get(own.at) else { continue };
        if ledger.materials.get(&layer.material).is_some_and(|own| is_sourced(&own.value)) {
            let strengths = own.strengths.filter(|_| !own.elastic.lamina.is_void());
            all.insert(layer.material.clone(), (own.elastic.lamina, strengths));
        }
    }
    Ok(Some(all))
}

/// The loads that act on a recipe in the plane of a zone and that nothing bends: with the margin to be kept.
///
/// What a plate makes of pressure is for the whole judgement, and so is a panel whose record varies: its loads, its
/// factors and the recipes of its zones may be others there.
///
/// # Errors
/// [`ArticleError`] where the recipe can't be laid up as it is.
pub fn loads_of(
    room: &Room<'_>,
    recipe: &str,
    (keep, space): (&Keep, &Space),
) -> Result<Vec<StackLoad>, ArticleError> {
    let mut all = Vec::new();
    let (Some(least), Some(recipe)) =
        (keep.margins.as_ref().map(|own| own.si() + 1.0), room.ledger.recipes.get(recipe))
    else {
        return Ok(all);
    };
    let varies = |id: &str| {
        let mut places = space.variations.iter().flat_map(|own| &own.places);
        places.any(|place| place.address.kind() == RecordKind::Panel && place.address.id() == id)
    };
    let materials =
        recipe.value.layers.iter().filter_map(|layer| room.ledger.materials.get(layer.material.id()));
    let sourced = materials.map(|own| &own.value).any(|own| is_sourced(own));
    let steady = is_steady(room.ledger, space);
    for panel in room.ledger.panels.values().filter(|panel| !varies(&panel.id)) {
        let loads = in_plane(panel, &recipe.id, least);
        if loads.is_empty() {
            continue;
        }
        if !sourced {
            all.extend(loads);
            continue;
        }
        if !steady || is_bare(&panel.value) {
            continue;
        }
        for environment in environments(room.ledger, recipe, Some(&panel.value)) {
            let Some(plies) = settled(room, recipe, panel, environment.as_deref())? else { continue };
            all.extend(loads.iter().map(|load| StackLoad { plies: plies.clone(), ..load.clone() }));
        }
    }
    Ok(all)
}

fn in_plane(panel: &Entry<Panel>, recipe: &str, least: f64) -> Vec<StackLoad> {
    let mut all = Vec::new();
    let plate = plate_zone(&panel.value);
    for zone in &panel.value.zones {
        let own = zone.recipe.as_ref().is_some_and(|own| own.id() == recipe);
        if !own || plate == Some(zone.name.as_str()) {
            continue;
        }
        for case in &panel.value.loads {
            let here = case.zone.as_ref().is_none_or(|own| *own == zone.name);
            let plain = case.pressure.is_none() && case.temperature.is_none();
            if !here || !plain || case.n.is_none() && case.m.is_none() {
                continue;
            }
            let factor = case.factor.unwrap_or(1.0) * case.special_factor.unwrap_or(1.0);
            let force = case.n.as_ref().map_or([0.0; 3], |own| own.each_ref().map(|one| one.si() * factor));
            let moment = case.m.as_ref().map_or([0.0; 3], |own| own.each_ref().map(|one| one.si() * factor));
            let words = format!("panel {}, zone {}, {}", panel.id, zone.name, case.name);
            all.push(StackLoad::new(Load { force, moment, temperature: 0.0 }, least, words));
        }
    }
    all
}

/// All that layers of one recipe may be to mechanics, each by a number, and what that is by the plies of each load.
#[derive(Debug, Clone, Default)]
pub struct Palette {
    numbers: HashMap<(String, [u64; 14]), u16>,
    kinds: Vec<(String, Mechanics)>,
    tables: Vec<Table>,
}

/// The kinds by the plies of some loads.
#[derive(Debug, Clone)]
struct Table {
    plies: Plies,
    /// Ready for stacks side by side, and which of them are not known by these plies.
    ready: Result<(Kinds, Vec<bool>), LaminateError>,
}

/// The number of a kind that is not known whatever the plies are.
const UNKNOWN: u16 = u16::MAX;

impl Palette {
    /// Returns the number of what a layer is.
    pub fn kind(&mut self, material: &str, own: &Mechanics) -> u16 {
        if *own == Mechanics::Unknown {
            return UNKNOWN;
        }
        let key = (material.to_string(), bits(own));
        let next = u16::try_from(self.kinds.len()).unwrap_or(UNKNOWN);
        let number = *self.numbers.entry(key).or_insert(next);
        if number == next && next != UNKNOWN {
            self.kinds.push((material.to_string(), *own));
        }
        number
    }

    /// Gives a load the table of its plies.
    pub fn settle(&mut self, load: &mut StackLoad) {
        load.table = self.tables.iter().position(|own| own.plies == load.plies).unwrap_or_else(|| {
            let table = self.table(&load.plies);
            self.tables.push(table);
            self.tables.len() - 1
        });
    }

    fn table(&self, plies: &Plies) -> Table {
        let void = |thickness| JudgedLayer { lamina: Lamina::VOID, angle: 0.0, thickness, strength: None };
        let (layers, unknown): (Vec<JudgedLayer>, Vec<bool>) = self
            .kinds
            .iter()
            .map(|(material, own)| match own {
                Mechanics::Ready(layer) => (*layer, false),
                Mechanics::Settled { angle, thickness } => match plies.get(material) {
                    Some((lamina, strength)) => {
                        let layer = JudgedLayer {
                            lamina: *lamina,
                            angle: *angle,
                            thickness: *thickness,
                            strength: *strength,
                        };
                        (layer, false)
                    }
                    None => (void(*thickness), true),
                },
                Mechanics::NoRoom | Mechanics::Unknown => (void(1.0), false),
            })
            .unzip();
        let ready = Kinds::new(&layers, Criterion::TSAI_WU).map(|kinds| (kinds, unknown));
        Table { plies: plies.clone(), ready }
    }

    fn own(&self, kind: u16) -> Option<&Mechanics> {
        self.kinds.get(usize::from(kind)).map(|(_, own)| own)
    }
}

/// The very value, so that what is equal is found without looking through all.
fn bits(own: &Mechanics) -> [u64; 14] {
    let mut all = [0; 14];
    let mut put = |values: &[Option<f64>]| {
        for (place, value) in all.iter_mut().skip(1).zip(values) {
            *place = value.map_or(u64::MAX, f64::to_bits);
        }
    };
    match own {
        Mechanics::Ready(JudgedLayer { lamina, angle, thickness, strength }) => {
            let own = strength.unwrap_or_default();
            put(&[
                Some(lamina.e1),
                Some(lamina.e2),
                Some(lamina.g12),
                Some(lamina.nu12),
                Some(*angle),
                Some(*thickness),
                own.xt,
                own.xc,
                own.yt,
                own.yc,
                own.s,
                own.s23,
                strength.map(|_| 1.0),
            ]);
        }
        Mechanics::Settled { angle, thickness } => put(&[Some(*angle), Some(*thickness)]),
        Mechanics::NoRoom | Mechanics::Unknown => {}
    }
    let [sort, ..] = &mut all;
    *sort = match own {
        Mechanics::Ready(_) => 1,
        Mechanics::Settled { .. } => 2,
        Mechanics::NoRoom => 3,
        Mechanics::Unknown => 4,
    };
    all
}

/// The layers of stacks, one behind the other; made once, used for millions.
#[derive(Debug, Clone, Default)]
pub struct Layers {
    kinds: Vec<u16>,
    /// Where each stack ends, and whether all of its layers are known.
    ends: Vec<(usize, bool)>,
    answers: Vec<Result<FirstPly, LaminateError>>,
    factors: Vec<Option<f64>>,
}

impl Layers {
    /// Forgets all stacks.
    pub fn clear(&mut self) {
        self.kinds.clear();
        self.ends.clear();
    }

    /// Adds a stack: its layers from the first to the last that is stiff, since what lies outside carries nothing.
    pub fn push(&mut self, palette: &Palette, kinds: impl Iterator<Item = u16>) {
        let begin = self.kinds.len();
        let (mut known, mut end) = (true, begin);
        for kind in kinds {
            known &= kind != UNKNOWN;
            match palette.own(kind) {
                Some(Mechanics::Ready(layer)) if layer.lamina.is_void() && self.kinds.len() == begin => {}
                Some(Mechanics::Ready(layer)) => {
                    self.kinds.push(kind);
                    end = if layer.lamina.is_void() { end } else { self.kinds.len() };
                }
                Some(Mechanics::Settled { .. }) => {
                    self.kinds.push(kind);
                    end = self.kinds.len();
                }
                Some(Mechanics::NoRoom | Mechanics::Unknown) | None => {}
            }
        }
        self.kinds.truncate(end);
        self.ends.push((end, known));
    }

    /// Returns the least reserve factor of each stack that is asked for; `None` where it is not, or can't be had.
    pub fn first_ply(&mut self, palette: &Palette, load: &StackLoad, asked: &[bool]) -> &[Option<f64>] {
        self.factors.clear();
        self.factors.resize(self.ends.len(), None);
        let Some(Table { ready: Ok((kinds, unknown)), .. }) = palette.tables.get(load.table) else {
            return &self.factors;
        };
        let mut begin = 0;
        let mut stacks: Vec<(usize, Candidate<'_>)> = Vec::with_capacity(self.ends.len());
        let is_known = |kind: &u16| unknown.get(usize::from(*kind)) == Some(&false);
        for (at, ((end, known), asked)) in self.ends.iter().zip(asked).enumerate() {
            let layers = self.kinds.get(begin..*end).unwrap_or_default();
            begin = *end;
            if *asked && *known && !layers.is_empty() && layers.iter().all(is_known) {
                stacks.push((at, Candidate { layers, load: &load.load }));
            }
        }
        let candidates: Vec<Candidate<'_>> = stacks.iter().map(|(_, own)| *own).collect();
        self.answers.clear();
        kinds.first_ply(&candidates, &mut self.answers);
        for ((at, _), answer) in stacks.iter().zip(&self.answers) {
            if let (Ok(found), Some(factor)) = (answer, self.factors.get_mut(*at)) {
                *factor = Some(found.factor);
            }
        }
        &self.factors
    }
}
