//! A recipe's layers with their elastic values and strengths, as margins take them.

use super::CriticalLayer;
use super::values::{DesignValue, Lacking, Statistic, Values};
use crate::article::stack::{LaidLayer, stack_of};
use crate::article::{ArticleError, LayerRole, Subject};
use crate::laminate::{ElasticLayer, JudgedLayer, Lamina, PlyStrength};
use crate::ledger::{Entry, Ledger};
use crate::record::{Address, Material, MaterialKind, Recipe, RecordKind, Sourced};
use std::collections::BTreeMap;

/// One layer as the mechanics sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct CarryingLayer {
    /// Place among all layers as they lie, from 0 at the tool face.
    pub at: usize,
    /// Stiffness, angle and thickness; [`Lamina::VOID`] where it only takes up room.
    pub elastic: ElasticLayer,
    /// Strengths of a ply.
    pub strengths: Option<PlyStrength>,
    /// Whether both expansions are known.
    pub expands: bool,
    /// Whether it is a ply woven of warp and fill.
    pub woven: bool,
    /// Whether it is a ply whose fibres run one way.
    pub unidirectional: bool,
}

/// The core of a sandwich.
#[derive(Debug, Clone, PartialEq)]
pub struct CoreLayer {
    /// Its place in [`LaidUp::carrying`].
    pub at: usize,
    /// Its material's id.
    pub material: String,
}

/// A laminate ready for mechanics, in one environment.
#[derive(Debug, Clone, PartialEq)]
pub struct LaidUp {
    /// Id of the recipe.
    pub recipe: String,
    /// All layers, with masses and thicknesses.
    pub layers: Vec<LaidLayer>,
    /// The layers from the first to the last that has elastic values: what lies outside carries nothing
    /// and is left out, what lies between takes up room.
    pub carrying: Vec<CarryingLayer>,
    /// The core, where there is exactly one between two faces.
    pub core: Option<CoreLayer>,
    /// How many cores there are.
    pub cores: usize,
    /// Values that it was made with.
    pub used: Vec<DesignValue>,
    /// What is missing; a ply without elastic values makes every margin worthless.
    pub lacking: Vec<Lacking>,
    /// Layers that are not counted in the stiffness, or with a figure that had to be taken, in words.
    pub uncounted: Vec<String>,
    /// Highest hold of the cure, K: free of thermal stress there.
    pub stress_free: Option<f64>,
}

impl LaidUp {
    /// Returns what is missing of its stiffness; what is missing of its strengths stops no more than strengths.
    pub fn soft(&self) -> impl Iterator<Item = &Lacking> {
        self.lacking.iter().filter(|one| !one.is_strength)
    }

    /// Returns the layers for [`crate::laminate::stiffness`].
    pub fn elastic(&self) -> Vec<ElasticLayer> {
        self.carrying.iter().map(|layer| layer.elastic).collect()
    }

    /// Returns the layers for criteria: plies with their strengths.
    pub fn judged(&self) -> Vec<JudgedLayer> {
        let judged = |layer: &CarryingLayer| JudgedLayer {
            lamina: layer.elastic.lamina,
            angle: layer.elastic.angle,
            thickness: layer.elastic.thickness,
            strength: layer.strengths.filter(|_| !layer.elastic.lamina.is_void()),
        };
        self.carrying.iter().map(judged).collect()
    }

    /// Returns the layer at a place of [`LaidUp::carrying`], as a person finds it in the recipe.
    pub(super) fn critical(&self, at: usize, face: &'static str) -> Option<CriticalLayer> {
        let own = self.carrying.get(at)?;
        let layer = self.layers.get(own.at)?;
        Some(CriticalLayer {
            number: own.at + 1,
            name: layer.name.clone(),
            material: layer.material.clone(),
            angle_deg: layer.angle.map(f64::to_degrees),
            face,
        })
    }

    /// Returns the thickness from the first to the last carrying layer, m.
    pub fn carrying_thickness(&self) -> f64 {
        self.carrying.iter().fold(0.0, |sum, layer| sum + layer.elastic.thickness)
    }
}

/// Lays up a recipe with the values in force.
///
/// # Errors
/// [`ArticleError`] where a record is missing or a figure that the stack needs is not written.
pub(crate) fn laid_up(
    ledger: &Ledger,
    recipe: &Entry<Recipe>,
    values: &Values<'_>,
) -> Result<LaidUp, ArticleError> {
    let stack = stack_of(ledger, recipe, &crate::article::Sight::nominal())?;
    let process = ledger.processes.get(recipe.value.process.id());
    let stress_free = process
        .and_then(|process| process.value.cure.as_ref())
        .and_then(|cycle| cycle.0.iter().map(|segment| segment.to.si()).reduce(f64::max));
    let mut bench = Bench {
        recipe,
        values,
        known: BTreeMap::new(),
        used: Vec::new(),
        lacking: Vec::new(),
        uncounted: Vec::new(),
    };
    let mut carrying = Vec::with_capacity(stack.layers.len());
    for (at, layer) in stack.layers.iter().enumerate() {
        let material = ledger.materials.get(&layer.material).ok_or_else(|| ArticleError::Missing {
            needed: Address::new(RecordKind::Material, layer.material.clone()),
            by: Address::new(RecordKind::Recipe, recipe.id.clone()),
        })?;
        carrying.extend(bench.layer(at, layer, material));
    }
    let Bench { used, lacking, uncounted, .. } = bench;
    let carries = |layer: &CarryingLayer| !layer.elastic.lamina.is_void();
    let first = carrying.iter().position(carries).unwrap_or(0);
    let last = carrying.iter().rposition(carries).map_or(0, |last| last + 1);
    carrying.truncate(last);
    carrying.drain(..first.min(last));
    let is_core =
        |layer: &&CarryingLayer| stack.layers.get(layer.at).is_some_and(|own| own.role == LayerRole::Core);
    // A core that carries nothing in its plane still stands between what carries.
    let cores = carrying.iter().filter(is_core).count();
    let core = carrying.iter().position(|layer| is_core(&layer)).filter(|_| cores == 1);
    let core = core.filter(|at| *at > 0 && at + 1 < carrying.len()).and_then(|at| {
        let own = carrying.get(at)?;
        Some(CoreLayer { at, material: stack.layers.get(own.at)?.material.clone() })
    });
    Ok(LaidUp {
        recipe: recipe.id.clone(),
        layers: stack.layers,
        carrying,
        core,
        cores,
        used,
        lacking,
        uncounted,
        stress_free,
    })
}

/// What is known of a material's layers, whatever their angle.
#[derive(Clone, Copy)]
struct Known {
    lamina: Lamina,
    strengths: Option<PlyStrength>,
    expands: bool,
}

struct Bench<'a, 'v> {
    recipe: &'a Entry<Recipe>,
    values: &'a Values<'v>,
    known: BTreeMap<String, Known>,
    used: Vec<DesignValue>,
    lacking: Vec<Lacking>,
    uncounted: Vec<String>,
}

impl Bench<'_, '_> {
    fn layer(&mut self, at: usize, layer: &LaidLayer, material: &Entry<Material>) -> Option<CarryingLayer> {
        let known = match self.known.get(&material.id) {
            Some(known) => *known,
            None => {
                let known = if layer.role == LayerRole::Ply {
                    self.ply(material)
                } else {
                    self.sheet_like(layer, material)
                };
                self.known.insert(material.id.clone(), known);
                known
            }
        };
        let lamina = known.lamina;
        let Some(thickness) = layer.thickness else {
            let words = format!("material/{} states no thickness: it takes up no room", material.id);
            self.leave_out(words);
            if layer.role == LayerRole::Ply {
                self.lack(
                    &format!("the thickness of material/{}", material.id),
                    "nothing states it".to_string(),
                );
            }
            return None;
        };
        let angle = if lamina.is_void() { 0.0 } else { layer.angle.unwrap_or(0.0) };
        let is_ply = layer.role == LayerRole::Ply;
        let form = material.value.form.as_ref().map(|form| form.as_str());
        Some(CarryingLayer {
            at,
            elastic: ElasticLayer { lamina, angle, thickness },
            strengths: known.strengths,
            expands: known.expands || lamina.is_void(),
            woven: is_ply && form.is_some_and(|form| ["twill", "plain", "satin"].contains(&form)),
            unidirectional: is_ply && form == Some("unidirectional"),
        })
    }

    fn leave_out(&mut self, words: String) {
        if !self.uncounted.contains(&words) {
            self.uncounted.push(words);
        }
    }

    fn lack(&mut self, what: &str, why: String) {
        let lacking = Lacking { what: what.to_string(), why, is_strength: false };
        if !self.lacking.contains(&lacking) {
            self.lacking.push(lacking);
        }
    }

    fn subject(&self, material: &Entry<Material>) -> Subject {
        let dry = material.value.kind == MaterialKind::Fabric;
        let resin = self.recipe.value.resin.as_ref().filter(|_| dry);
        Subject::Lamina {
            material: material.id.clone(),
            resin: resin.map(|own| own.material.id().to_string()),
            process: self.recipe.value.process.id().to_string(),
        }
    }

    fn stress(
        &mut self,
        material: &Entry<Material>,
        key: &str,
        sourced: &Sourced<crate::quantity::Stress>,
        statistic: Statistic,
    ) -> Option<f64> {
        let what = format!("{key} of material/{}", material.id);
        let subject = self.subject(material);
        match self.values.value(sourced, &what, Some(&subject), statistic, ("Pa", 1.0)) {
            Ok(value) => {
                let number = value.value;
                self.used.push(value);
                Some(number)
            }
            Err(lacking) => {
                self.lacking.push(lacking);
                None
            }
        }
    }

    fn ply(&mut self, material: &Entry<Material>) -> Known {
        let strengths = material.value.strength.as_ref().map(|own| {
            let mut of = |key: &str| {
                let found = own.figures().into_iter().find(|(name, _)| *name == key);
                let sourced = found.and_then(|(_, sourced)| sourced)?;
                self.stress(material, key, sourced, Statistic::ByLoadPath)
            };
            PlyStrength { xt: of("Xt"), xc: of("Xc"), yt: of("Yt"), yc: of("Yc"), s: of("S"), s23: None }
        });
        let strengths = Some(strengths.unwrap_or_default());
        let void = Known { lamina: Lamina::VOID, strengths, expands: false };
        let Some(own) = &material.value.lamina else {
            self.lack(
                &format!("the stiffness of material/{}", material.id),
                "it has no `lamina: {E1, E2, G12, nu12}`".to_string(),
            );
            return void;
        };
        let modulus = [("E1", &own.e1), ("E2", &own.e2), ("G12", &own.g12)]
            .map(|(key, sourced)| self.stress(material, key, sourced, Statistic::Mean));
        let [Some(e1), Some(e2), Some(g12)] = modulus else { return void };
        let (cte1, cte2) = (own.cte1.as_ref().map(|own| own.si()), own.cte2.as_ref().map(|own| own.si()));
        let lamina =
            Lamina { e1, e2, g12, nu12: own.nu12.si(), cte1: cte1.unwrap_or(0.0), cte2: cte2.unwrap_or(0.0) };
        match lamina.checked() {
            Ok(lamina) => Known { lamina, strengths, expands: cte1.is_some() && cte2.is_some() },
            Err(problem) => {
                self.lack(&format!("the stiffness of material/{}", material.id), problem.to_string());
                void
            }
        }
    }

    /// Core, film, mesh and surfacing count where they have elastic values in their plane.
    fn sheet_like(&mut self, layer: &LaidLayer, material: &Entry<Material>) -> Known {
        let void = Known { lamina: Lamina::VOID, strengths: None, expands: true };
        let value = &material.value;
        let role = layer.role.word();
        let Some(e) = &value.e else {
            self.leave_out(format!(
                "the {role} material/{} has no `E` in its plane: it carries nothing",
                material.id
            ));
            return void;
        };
        let honeycomb = value.form.as_ref().is_some_and(|form| form.as_str() == "honeycomb");
        if honeycomb && value.compressive_modulus.is_none() {
            // Data sheets give a honeycomb's modulus through the thickness; in the plane its cells only bend, which is as
            // good as nothing (L. J. Gibson, M. F. Ashby, Cellular Solids, from memory).
            self.leave_out(format!(
                "the honeycomb material/{} has no `compressive_modulus`: its `E` is taken through the thickness, and in its plane it carries nothing",
                material.id
            ));
            return void;
        }
        // Of an isotropic foam or film the shear modulus says it; across a honeycomb's cells it says nothing.
        let of_shear = value
            .shear_modulus
            .as_ref()
            .filter(|_| !honeycomb)
            .map(|g| e.si() / (2.0 * g.si()) - 1.0)
            .filter(|nu| (0.0..=0.5).contains(nu));
        let nu = match (&value.nu, of_shear) {
            (Some(nu), _) => nu.si(),
            (None, Some(nu)) => {
                self.leave_out(format!(
                    "material/{} has no `nu`: {nu:.3} is taken, from E and shear_modulus",
                    material.id
                ));
                nu
            }
            (None, None) => {
                self.leave_out(format!("material/{} has no `nu`: 0 is taken", material.id));
                0.0
            }
        };
        let cte = value.cte.as_ref().map(|own| own.si());
        match Lamina::isotropic(e.si(), nu, cte.unwrap_or(0.0)) {
            Ok(lamina) => Known { lamina, strengths: None, expands: cte.is_some() },
            Err(problem) => {
                self.leave_out(format!("material/{} carries nothing: {problem}", material.id));
                void
            }
        }
    }
}
