//! What a laminate weighs and how thick it is, layer by layer as it lies in the part.

use super::sight::{Sight, route_name};
use super::{ArticleError, LayerRole, StackLayer, expand};
use crate::laminate::{self, Constituents};
use crate::ledger::{Entry, Ledger};
use crate::quantity::Quantity;
use crate::record::{Address, Material, MaterialKind, Recipe, RecordKind};

/// A stated ply thickness further from that of its masses and densities is worth a warning.
/// Common practice, no source: a few per cent of voids are the most that good parts have.
const THICKNESS_DISAGREES: f64 = 0.05;

/// One layer of a laminate as it lies, with what it weighs. Areal masses in kg/m2, thicknesses in m.
#[derive(Debug, Clone, PartialEq)]
pub struct LaidLayer {
    /// Place of its entry in the recipe's list, from 1.
    pub place: usize,
    /// Its name within the recipe.
    pub name: Option<String>,
    /// Id of its material.
    pub material: String,
    /// What it is in the stack.
    pub role: LayerRole,
    /// Whether it is a fabric that brings no resin of its own.
    pub dry: bool,
    /// Angle of a ply in rad.
    pub angle: Option<f64>,
    /// Fibre of a ply; any other layer as delivered.
    pub own: f64,
    /// Resin of a ply, after bleed.
    pub resin: f64,
    /// Resin that a core takes up on both faces together.
    pub uptake: f64,
    /// Resin that fills a mesh.
    pub fill: f64,
    /// Cured thickness; `None` where nothing states it.
    pub thickness: Option<f64>,
    /// Cured thickness that masses and densities of a ply or film give without voids.
    pub solid_thickness: Option<f64>,
    /// Share of fibre in a ply's volume.
    pub fibre_volume_fraction: Option<f64>,
}

impl LaidLayer {
    /// Returns everything that the layer weighs, in kg/m2.
    pub fn areal(&self) -> f64 {
        self.own + self.resin + self.uptake + self.fill
    }
}

/// A laminate from the tool face inward.
#[derive(Debug, Clone, PartialEq)]
pub struct Stack {
    /// Id of the recipe.
    pub recipe: String,
    /// Its layers.
    pub layers: Vec<LaidLayer>,
    /// What does not agree or could not be had, in words.
    pub warnings: Vec<String>,
}

impl Stack {
    /// Returns the areal mass of all layers in kg/m2.
    pub fn areal(&self) -> f64 {
        self.layers.iter().map(LaidLayer::areal).sum()
    }

    /// Returns the thickness of all layers that state one, in m.
    pub fn thickness(&self) -> f64 {
        self.layers.iter().filter_map(|layer| layer.thickness).sum()
    }

    /// Returns the materials whose thickness nothing states, each once, in order of the stack.
    pub fn unstated_thickness(&self) -> Vec<&str> {
        let mut list: Vec<&str> = Vec::new();
        for layer in self.layers.iter().filter(|layer| layer.thickness.is_none()) {
            if !list.contains(&layer.material.as_str()) {
                list.push(&layer.material);
            }
        }
        list
    }
}

/// Returns the laminate of a recipe at nominal figures.
///
/// # Errors
/// [`ArticleError`] where a record is missing or a figure that the mass needs is not written.
pub fn stack(ledger: &Ledger, recipe: &str) -> Result<Stack, ArticleError> {
    let address = Address::new(RecordKind::Recipe, recipe);
    let entry = ledger
        .recipes
        .get(recipe)
        .ok_or_else(|| ArticleError::Missing { needed: address.clone(), by: address })?;
    stack_of(ledger, entry, &Sight::nominal())
}

/// Returns the laminate of a recipe with every figure read through `sight`.
///
/// # Errors
/// [`ArticleError`] where a record is missing or a figure that the mass needs is not written.
pub fn stack_of(ledger: &Ledger, recipe: &Entry<Recipe>, sight: &Sight<'_>) -> Result<Stack, ArticleError> {
    let list = expand(ledger, recipe)?;
    let bench = Bench { ledger, recipe, sight, wet: wetting(ledger, recipe, &list, sight)? };
    let mut layers = Vec::with_capacity(list.len());
    let mut warnings = Vec::new();
    let bleed = bench.bleed_per_prepreg(&list, &mut warnings)?;
    for (at, layer) in list.iter().enumerate() {
        let before = at.checked_sub(1).and_then(|at| list.get(at));
        let dry_faces = [before, list.get(at + 1)]
            .into_iter()
            .flatten()
            .filter(|other| other.material.value.kind == MaterialKind::Fabric)
            .count();
        let laid = bench.lay(layer, bleed, dry_faces)?;
        if let Some(warning) = doubt(&laid).filter(|warning| !warnings.contains(warning)) {
            warnings.push(warning);
        }
        layers.push(laid);
    }
    Ok(Stack { recipe: recipe.id.clone(), layers, warnings })
}

/// The resin of a recipe's dry fabrics.
struct Wetting {
    content: f64,
    density: Option<f64>,
}

fn wetting(
    ledger: &Ledger,
    recipe: &Entry<Recipe>,
    list: &[StackLayer<'_>],
    sight: &Sight<'_>,
) -> Result<Option<Wetting>, ArticleError> {
    if !list.iter().any(|layer| layer.material.value.kind == MaterialKind::Fabric) {
        return Ok(None);
    }
    let by = Address::new(RecordKind::Recipe, recipe.id.clone());
    let Some(resin) = &recipe.value.resin else {
        return Err(ArticleError::Unstated { address: by, field: "resin".to_string() });
    };
    let material = ledger
        .materials
        .get(resin.material.id())
        .ok_or_else(|| ArticleError::Missing { needed: resin.material.address(), by })?;
    Ok(Some(Wetting {
        content: sight.read(&resin.content, RecordKind::Recipe, &recipe.id, || "resin.content".to_string()),
        density: material
            .value
            .density
            .as_deref()
            .map(|density| of_material(sight, density, material, "density")),
    }))
}

fn of_material(sight: &Sight<'_>, figure: &Quantity, material: &Entry<Material>, route: &str) -> f64 {
    sight.read(figure, RecordKind::Material, &material.id, || route.to_string())
}

fn unstated(kind: RecordKind, id: &str, field: impl Into<String>) -> ArticleError {
    ArticleError::Unstated { address: Address::new(kind, id), field: field.into() }
}

/// What a ply is made of besides its fibre's mass.
struct WetPly {
    content: f64,
    fibre_density: Option<f64>,
    resin_density: Option<f64>,
    bleed: f64,
}

struct Bench<'a, 'n> {
    ledger: &'a Ledger,
    recipe: &'a Entry<Recipe>,
    sight: &'a Sight<'n>,
    wet: Option<Wetting>,
}

impl Bench<'_, '_> {
    /// The process takes its bleed off the whole laminate once; every prepreg ply gives an equal share.
    fn bleed_per_prepreg(
        &self,
        list: &[StackLayer<'_>],
        warnings: &mut Vec<String>,
    ) -> Result<f64, ArticleError> {
        let prepregs = list.iter().filter(|layer| layer.material.value.kind == MaterialKind::Prepreg).count();
        let process = self.ledger.processes.get(self.recipe.value.process.id()).ok_or_else(|| {
            ArticleError::Missing {
                needed: self.recipe.value.process.address(),
                by: Address::new(RecordKind::Recipe, self.recipe.id.clone()),
            }
        })?;
        let Some(bleed) = process.value.bleed.as_deref() else { return Ok(0.0) };
        if prepregs == 0 {
            warnings.push(format!("`{}` bleeds resin off, but no layer is a prepreg", process.id));
            return Ok(0.0);
        }
        let whole = self.sight.read(bleed, RecordKind::Process, &process.id, || "bleed".to_string());
        let whole = if self.sight.is_moved() { whole.max(0.0) } else { whole };
        laminate::bleed_share(whole, prepregs).map_err(|problem| self.unfit(&problem))
    }

    fn unfit(&self, problem: &impl ToString) -> ArticleError {
        ArticleError::Unfit {
            address: Address::new(RecordKind::Recipe, self.recipe.id.clone()),
            problem: problem.to_string(),
        }
    }

    /// Fills in a ply of fibre and resin. Limits far apart may meet where no ply can be; moved figures stop
    /// at its edge, nominal ones are an error.
    fn lay_ply(&self, laid: &mut LaidLayer, ply: WetPly) -> Result<(), ArticleError> {
        let content = if self.sight.is_moved() { ply.content.clamp(0.0, 0.99) } else { ply.content };
        let brought = laid.own * content / (1.0 - content);
        let bleed = if self.sight.is_moved() { ply.bleed.min(brought) } else { ply.bleed };
        let (Some(fibre_density), Some(resin_density)) = (ply.fibre_density, ply.resin_density) else {
            // Without a density it still weighs; only its thickness can't be told.
            laid.resin = brought - bleed;
            return Ok(());
        };
        let of = Constituents { fibre_areal: laid.own, resin_content: content, fibre_density, resin_density };
        let made = laminate::ply(&of, bleed, 0.0).map_err(|problem| self.unfit(&problem))?;
        laid.resin = made.resin_areal;
        laid.solid_thickness = Some(made.thickness);
        Ok(())
    }

    fn lay(&self, layer: &StackLayer<'_>, bleed: f64, dry_faces: usize) -> Result<LaidLayer, ArticleError> {
        let material = layer.material;
        let mut laid = LaidLayer {
            place: layer.place,
            name: layer.layer.id.as_ref().map(|name| name.as_str().to_string()),
            material: material.id.clone(),
            role: layer.role,
            dry: material.value.kind == MaterialKind::Fabric,
            angle: layer.layer.angle.as_ref().map(|angle| angle.si()),
            own: 0.0,
            resin: 0.0,
            uptake: 0.0,
            fill: 0.0,
            thickness: None,
            solid_thickness: None,
            fibre_volume_fraction: None,
        };
        match material.value.kind {
            MaterialKind::Prepreg => self.lay_prepreg(&mut laid, material, bleed)?,
            MaterialKind::Fabric => self.lay_fabric(&mut laid, material)?,
            _ => self.lay_other(&mut laid, layer, dry_faces)?,
        }
        let stated = self.stated_thickness(layer);
        laid.thickness = stated.or(laid.solid_thickness);
        if layer.role == LayerRole::Ply {
            laid.fibre_volume_fraction = self.fibre_share(&laid, material);
        }
        Ok(laid)
    }

    fn figure(&self, material: &Entry<Material>, figure: Option<&Quantity>, route: &str) -> Option<f64> {
        figure.map(|figure| of_material(self.sight, figure, material, route))
    }

    fn lay_prepreg(
        &self,
        laid: &mut LaidLayer,
        material: &Entry<Material>,
        bleed: f64,
    ) -> Result<(), ArticleError> {
        let missing = |field: &str| unstated(RecordKind::Material, &material.id, field);
        let fibre = material.value.fibre.as_ref().ok_or_else(|| missing("fibre"))?;
        let resin = material.value.resin.as_ref().ok_or_else(|| missing("resin"))?;
        let areal = fibre.areal.as_ref().ok_or_else(|| missing("fibre.areal"))?;
        laid.own = of_material(self.sight, areal, material, "fibre.areal");
        let content = of_material(self.sight, &resin.content, material, "resin.content");
        let fibre_density = of_material(self.sight, &fibre.density, material, "fibre.density");
        let resin_density = of_material(self.sight, &resin.density, material, "resin.density");
        let ply =
            WetPly { content, fibre_density: Some(fibre_density), resin_density: Some(resin_density), bleed };
        self.lay_ply(laid, ply)
    }

    fn lay_fabric(&self, laid: &mut LaidLayer, material: &Entry<Material>) -> Result<(), ArticleError> {
        let fibre = material.value.fibre.as_ref();
        let inner = fibre.and_then(|fibre| fibre.areal.as_deref());
        laid.own = self
            .figure(material, material.value.areal.as_deref(), "areal")
            .or_else(|| self.figure(material, inner, "fibre.areal"))
            .ok_or_else(|| unstated(RecordKind::Material, &material.id, "areal"))?;
        let Some(wet) = &self.wet else {
            return Err(unstated(RecordKind::Recipe, &self.recipe.id, "resin"));
        };
        let fibre_density =
            fibre.map(|fibre| of_material(self.sight, &fibre.density, material, "fibre.density"));
        let ply = WetPly { content: wet.content, fibre_density, resin_density: wet.density, bleed: 0.0 };
        self.lay_ply(laid, ply)
    }

    /// Core, film, mesh, surfacing and whatever else was put in the list.
    fn lay_other(
        &self,
        laid: &mut LaidLayer,
        layer: &StackLayer<'_>,
        dry_faces: usize,
    ) -> Result<(), ArticleError> {
        let material = layer.material;
        let value = &material.value;
        let (solid_density, route) = match value.kind {
            MaterialKind::Surfacing if value.resin_density.is_some() => {
                (value.resin_density.as_deref(), "resin_density")
            }
            MaterialKind::Coating => (value.dry_density.as_deref(), "dry_density"),
            _ => (value.density.as_deref(), "density"),
        };
        let density = self.figure(material, solid_density, route);
        if value.kind == MaterialKind::Core {
            let density = density.ok_or_else(|| unstated(RecordKind::Material, &material.id, "density"))?;
            laid.own = density * self.needed_thickness(layer)?;
            let uptake = self.figure(material, value.resin_uptake.as_deref(), "resin_uptake");
            laid.uptake = uptake.unwrap_or(0.0) * dry_faces as f64;
            return Ok(());
        }
        match (self.figure(material, value.areal.as_deref(), "areal"), density) {
            (Some(areal), density) => {
                laid.own = areal;
                laid.solid_thickness = solid(&[(areal, density)]);
            }
            (None, Some(density)) => laid.own = density * self.needed_thickness(layer)?,
            (None, None) => return Err(unstated(RecordKind::Material, &material.id, "areal")),
        }
        if value.kind == MaterialKind::Mesh && dry_faces > 0 {
            laid.fill = self.figure(material, value.resin_fill.as_deref(), "resin_fill").unwrap_or(0.0);
            let resin = self.wet.as_ref().and_then(|wet| wet.density);
            laid.solid_thickness = solid(&[(laid.own, density), (laid.fill, resin)]);
        }
        Ok(())
    }

    /// What the recipe says of this layer stands above what the material says.
    fn stated_thickness(&self, layer: &StackLayer<'_>) -> Option<f64> {
        let here = layer.layer.thickness.as_deref().map(|thickness| {
            self.sight.read(thickness, RecordKind::Recipe, &self.recipe.id, || self.route(layer))
        });
        here.or_else(|| {
            self.figure(layer.material, layer.material.value.cured_thickness.as_deref(), "cured_thickness")
        })
    }

    fn needed_thickness(&self, layer: &StackLayer<'_>) -> Result<f64, ArticleError> {
        self.stated_thickness(layer)
            .ok_or_else(|| unstated(RecordKind::Recipe, &self.recipe.id, self.route(layer)))
    }

    fn route(&self, layer: &StackLayer<'_>) -> String {
        match &layer.layer.id {
            Some(name) => format!("layers.{}.thickness", route_name(name.as_str())),
            None => format!("layers.{}.thickness", layer.place),
        }
    }

    fn fibre_share(&self, laid: &LaidLayer, material: &Entry<Material>) -> Option<f64> {
        let fibre = material.value.fibre.as_ref()?;
        let density = of_material(self.sight, &fibre.density, material, "fibre.density");
        let volume = density * laid.thickness?;
        (volume > 0.0).then(|| laid.own / volume)
    }
}

/// Says where a stated ply thickness does not go with its masses and densities.
fn doubt(laid: &LaidLayer) -> Option<String> {
    let (thickness, solid) = (laid.thickness?, laid.solid_thickness?);
    let disagrees = (thickness - solid).abs() > THICKNESS_DISAGREES * solid;
    (laid.role == LayerRole::Ply && disagrees).then(|| {
        format!(
            "`{}` states a cured thickness of {:.3} mm, its areal mass and densities give {:.3} mm",
            laid.material,
            thickness * 1e3,
            solid * 1e3
        )
    })
}

/// Thickness of masses side by side without voids, areal mass over density; `None` where a density is
/// missing or zero.
fn solid(parts: &[(f64, Option<f64>)]) -> Option<f64> {
    parts.iter().filter(|(areal, _)| *areal > 0.0).try_fold(0.0, |sum, (areal, density)| {
        density.filter(|density| *density > 0.0).map(|density| sum + areal / density)
    })
}

#[cfg(test)]
mod tests;
