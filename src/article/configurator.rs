//! From records to configurations: what a subject is by value, as records say it now.

use super::configuration::Configuration;
use super::key::{Key, Limit};
use super::subjects::{Face, Subject, face_of, joint_subject, zone_named};
use super::{ArticleError, LayerRole, StackLayer, expand};
use crate::ledger::{Entry, Ledger};
use crate::quantity::{Decimal, Quantity, Spread};
use crate::record::{
    Address, AttributeValue, CoatRole, CureSegment, Cycle, Exposure, Finish, Joint, Material, MaterialKind,
    Panel, Process, Recipe, RecordKind, Text, Tool, Zone, without_import,
};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

type Attributes = Vec<(Key, AttributeValue)>;
type Block = Arc<Attributes>;

/// What panels ask of a subject besides its make: claims.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Claims {
    /// Exposure zones.
    pub zones: Vec<String>,
    /// Lightning zones.
    pub lightning: Vec<String>,
    /// Fluids.
    pub fluids: Vec<String>,
    /// Forms of core that a lamina is cured on.
    pub core_forms: Vec<String>,
    /// Fittings' designations.
    pub fasteners: Vec<String>,
    /// Largest hole.
    pub hole: Option<String>,
}

/// A recipe by value, and which layer stands behind each letter.
#[derive(Debug, Clone, Default)]
pub struct Laid {
    /// What it is by value.
    pub configuration: Configuration,
    /// Letter of each layer, its place in the recipe's list (from 1) and its material, as they lie.
    pub letters: Vec<(String, usize, String)>,
}

/// Builds configurations, remembering what many subjects share.
pub struct Configurator<'a> {
    ledger: &'a Ledger,
    materials: Mutex<BTreeMap<String, Block>>,
    processes: Mutex<BTreeMap<String, Block>>,
    recipes: Mutex<BTreeMap<String, Arc<Laid>>>,
    finishes: Mutex<BTreeMap<String, Block>>,
    tools: Mutex<BTreeMap<String, Block>>,
}

fn remembered<T: Clone, E>(
    shelf: &Mutex<BTreeMap<String, T>>,
    id: &str,
    make: impl FnOnce() -> Result<T, E>,
) -> Result<T, E> {
    if let Ok(shelf) = shelf.lock()
        && let Some(found) = shelf.get(id)
    {
        return Ok(found.clone());
    }
    let made = make()?;
    if let Ok(mut shelf) = shelf.lock() {
        shelf.insert(id.to_string(), made.clone());
    }
    Ok(made)
}

fn one(text: impl Into<Arc<str>>) -> AttributeValue {
    AttributeValue::One(text.into())
}

fn words(text: Option<&Text>) -> AttributeValue {
    one(text.map_or("unstated", |text| text.as_str()))
}

/// A list in order; `none` where it is empty.
fn list(values: Vec<String>) -> AttributeValue {
    if values.is_empty() { one("none") } else { AttributeValue::list(values) }
}

fn figure(into: &mut Vec<(Key, AttributeValue)>, key: Key, quantity: Option<&Quantity>, unit: &str) {
    let Some(quantity) = quantity else {
        into.push((key, one("unstated")));
        return;
    };
    if let Some(low) = quantity.canonical_low(unit) {
        into.push((key.limit(Limit::Low), one(low)));
    }
    if let Some(high) = quantity.canonical_high(unit) {
        into.push((key.limit(Limit::High), one(high)));
    }
    if let Spread::Relative(share) = quantity.spread() {
        into.push((key.limit(Limit::Share), one(share.six_digits())));
    }
    into.push((key, one(quantity.canonical(unit))));
}

/// Returns what counts as a material's identity.
pub fn designation(material: &Entry<Material>) -> String {
    match &material.value.designation {
        Some(text) => text.to_string(),
        // The first of `formerly` is the oldest name that evidence can know it by.
        // In another ledger it is called what it is called there.
        None => material
            .value
            .formerly
            .first()
            .map_or_else(|| without_import(&material.id).to_string(), Text::to_string),
    }
}

impl<'a> Configurator<'a> {
    /// Returns a builder over a ledger.
    pub fn new(ledger: &'a Ledger) -> Self {
        Self {
            ledger,
            materials: Mutex::default(),
            processes: Mutex::default(),
            recipes: Mutex::default(),
            finishes: Mutex::default(),
            tools: Mutex::default(),
        }
    }

    /// Returns what `subject` is, as `panel` uses it first; without a panel, tool and joint are left out.
    ///
    /// # Errors
    /// [`ArticleError`] names the record or figure that is missing.
    pub fn configuration(
        &self,
        subject: &Subject,
        panel: Option<&str>,
    ) -> Result<Configuration, ArticleError> {
        let first = self.variants(subject, panel)?.into_iter().next();
        Ok(first.unwrap_or_default())
    }

    /// Returns all that `subject` is as `panel` uses it: one for each joint of a bond, one for each resin
    /// content that a dry ply is given, else a single one.
    ///
    /// # Errors
    /// [`ArticleError`] names the record or figure that is missing.
    pub fn variants(
        &self,
        subject: &Subject,
        panel: Option<&str>,
    ) -> Result<Vec<Configuration>, ArticleError> {
        let used_by = panel.and_then(|id| self.ledger.panels.get(id));
        let mut all = Vec::new();
        match subject {
            Subject::Bond { adhesive, process, faces } => {
                let joints: Vec<&Joint> = used_by.map_or_else(Vec::new, |panel| {
                    let own = |joint: &&Joint| joint_subject(&panel.value, joint).as_ref() == Some(subject);
                    panel.value.joints.iter().filter(own).collect()
                });
                if joints.is_empty() {
                    all.push(self.bond(adhesive, process, faces, None)?);
                }
                for joint in joints {
                    if let Some(panel) = used_by {
                        all.push(self.bond(adhesive, process, faces, Some((&panel.value, joint)))?);
                    }
                }
            }
            Subject::Lamina { material, resin, process } => {
                let contents = match resin {
                    Some(resin) => self.contents(material, resin, process, panel),
                    None => Vec::new(),
                };
                if contents.is_empty() {
                    all.push(self.lamina(material, resin.as_deref(), process, None)?);
                }
                for content in contents {
                    all.push(self.lamina(material, resin.as_deref(), process, Some(content))?);
                }
            }
            Subject::Sheet(material, thickness) => {
                // What a zone says of its sheet beside the material: limits of thickness, and whether it carries.
                let zones = used_by.map_or(&[][..], |panel| panel.value.zones.as_slice());
                for sheet in zones.iter().filter_map(|zone| zone.sheet.as_ref()) {
                    if sheet.material.id() == material && sheet.thickness.canonical("mm") == *thickness {
                        let structural = sheet.structural.unwrap_or(false);
                        all.push(self.sheet(material, thickness, Some((&sheet.thickness, structural)))?);
                    }
                }
                if all.is_empty() {
                    all.push(self.sheet(material, thickness, None)?);
                }
            }
            _ => all.push(self.own_configuration(subject)?),
        }
        if let Some(panel) = used_by
            && !matches!(subject, Subject::Sheet(..) | Subject::Programme)
        {
            let tool = self.tool_block(panel)?;
            for one in &mut all {
                one.merge(tool.iter().cloned());
            }
        }
        let mut distinct: Vec<Configuration> = Vec::new();
        for one in all {
            if !distinct.contains(&one) {
                distinct.push(one);
            }
        }
        Ok(distinct)
    }

    fn own_configuration(&self, subject: &Subject) -> Result<Configuration, ArticleError> {
        match subject {
            Subject::Laminate(recipe) => Ok(self.laminate(recipe)?.configuration.clone()),
            Subject::Painted(recipe, finish) => {
                let mut all = self.laminate(recipe)?.configuration.clone();
                all.merge(self.finish_block(finish.as_deref(), recipe)?.iter().cloned());
                Ok(all)
            }
            Subject::Panel(panel) => self.panel(panel),
            Subject::Programme => {
                let mut all = Configuration::default();
                for (at, panel) in self.ledger.panels.keys().enumerate() {
                    // Panels stand for zones here: the programme has no written order but their ids.
                    all.merge_within(&self.panel(panel)?, &format!("z{}", at + 1));
                }
                Ok(all)
            }
            // These have variants and are made there.
            Subject::Lamina { .. } | Subject::Bond { .. } | Subject::Sheet(..) => {
                Ok(Configuration::default())
            }
        }
    }

    fn missing(&self, kind: RecordKind, id: &str, by: &Address) -> ArticleError {
        ArticleError::Missing { needed: Address::new(kind, id), by: by.clone() }
    }

    fn material(&self, id: &str, by: &Address) -> Result<&'a Entry<Material>, ArticleError> {
        self.ledger.materials.get(id).ok_or_else(|| self.missing(RecordKind::Material, id, by))
    }

    fn process(&self, id: &str, by: &Address) -> Result<&'a Entry<Process>, ArticleError> {
        self.ledger.processes.get(id).ok_or_else(|| self.missing(RecordKind::Process, id, by))
    }

    /// The attributes of one material as a constituent, without letter.
    fn material_block(&self, material: &Entry<Material>) -> Block {
        let made: Result<Block, ()> = remembered(&self.materials, &material.id, || {
            let value = &*material.value;
            let mut all = Vec::new();
            let into = &mut all;
            let identity = || one(designation(material));
            match value.kind {
                MaterialKind::Prepreg | MaterialKind::Fabric => {
                    let fibre = value.fibre.as_ref();
                    into.push((Key::plain("fibre.name"), words(fibre.map(|f| &f.name))));
                    let kind = fibre.map_or("unstated", |f| f.kind.word());
                    into.push((Key::plain("fibre.type"), one(kind)));
                    figure(into, Key::plain("fibre.density"), fibre.map(|f| &*f.density), "kg/m3");
                    let areal = match value.kind {
                        MaterialKind::Prepreg => fibre.and_then(|f| f.areal.as_deref()),
                        _ => value.areal.as_deref(),
                    };
                    figure(into, Key::plain("fibre-areal"), areal, "g/m2");
                    into.push((Key::plain("weave.form"), words(value.form.as_ref())));
                    figure(into, Key::plain("weave.thickness"), value.cured_thickness.as_deref(), "mm");
                    if let (MaterialKind::Prepreg, Some(resin)) = (value.kind, &value.resin) {
                        into.push((Key::plain("resin.name"), words(Some(&resin.name))));
                        figure(into, Key::plain("resin.density"), Some(&resin.density), "kg/m3");
                        into.push((
                            Key::plain("resin.family"),
                            words(resin.family.as_ref().or(value.family.as_ref())),
                        ));
                        figure(into, Key::plain("resin-content"), Some(&resin.content), "%");
                        into.push((Key::plain("resin-content.route"), one("prepreg")));
                    }
                    figure(into, Key::plain("out-time.out_life"), value.out_life.as_deref(), "min");
                }
                MaterialKind::Core => {
                    into.push((Key::plain("core.designation"), identity()));
                    into.push((Key::plain("core.form"), words(value.form.as_ref())));
                    figure(into, Key::plain("core.cell"), value.cell.as_deref(), "mm");
                    figure(into, Key::plain("core-density"), value.density.as_deref(), "kg/m3");
                    figure(into, Key::plain("resin-content.uptake"), value.resin_uptake.as_deref(), "g/m2");
                }
                MaterialKind::Adhesive => {
                    into.push((Key::plain("adhesive.designation"), identity()));
                    if value.areal.is_some() || value.density.is_none() {
                        figure(into, Key::plain("adhesive.areal"), value.areal.as_deref(), "g/m2");
                    }
                    if value.density.is_some() {
                        figure(into, Key::plain("adhesive.density"), value.density.as_deref(), "kg/m3");
                    }
                    figure(into, Key::plain("adhesive.thickness"), value.cured_thickness.as_deref(), "mm");
                }
                MaterialKind::Surfacing => {
                    into.push((Key::plain("surfacing.designation"), identity()));
                    figure(into, Key::plain("surfacing.areal"), value.areal.as_deref(), "g/m2");
                    figure(into, Key::plain("surfacing.thickness"), value.cured_thickness.as_deref(), "mm");
                }
                MaterialKind::Mesh => {
                    into.push((Key::plain("mesh.designation"), identity()));
                    into.push((Key::plain("mesh.metal"), words(value.metal.as_ref())));
                    figure(into, Key::plain("mesh.areal"), value.areal.as_deref(), "g/m2");
                    figure(into, Key::plain("mesh.thickness"), value.cured_thickness.as_deref(), "mm");
                    figure(into, Key::plain("resin-content.fill"), value.resin_fill.as_deref(), "g/m2");
                }
                _ => into.push((Key::plain("core.designation"), identity())),
            }
            into.push((Key::plain("site.supplier"), words(value.supplier.as_ref())));
            into.push((Key::plain("site.material"), words(value.site.as_ref())));
            if matches!(value.kind, MaterialKind::Prepreg | MaterialKind::Fabric) {
                into.push((Key::plain("site.impregnation"), words(value.impregnation.as_ref())));
            }
            Ok(Arc::new(all))
        });
        made.unwrap_or_default()
    }

    /// The attributes of a ply: of the prepreg, or of dry fabric with its resin.
    fn ply_block(
        &self,
        material: &Entry<Material>,
        resin: Option<(&Entry<Material>, &Quantity)>,
    ) -> Vec<(Key, AttributeValue)> {
        let mut all = (*self.material_block(material)).clone();
        let Some((resin, content)) = resin.filter(|_| material.value.kind == MaterialKind::Fabric) else {
            return all;
        };
        all.push((Key::plain("resin.name"), one(designation(resin))));
        figure(&mut all, Key::plain("resin.density"), resin.value.density.as_deref(), "kg/m3");
        all.push((Key::plain("resin.family"), words(resin.value.family.as_ref())));
        figure(&mut all, Key::plain("resin-content"), Some(content), "%");
        all.push((Key::plain("resin-content.route"), one("dry")));
        // Fabric and resin are one constituent here; each keeps its own supplier and site.
        for (base, own) in [("site.supplier", &resin.value.supplier), ("site.material", &resin.value.site)] {
            let Some((_, value)) = all.iter_mut().find(|(key, _)| key.base == base) else { continue };
            let own = own.as_ref().map_or("unstated", |text| text.as_str()).to_string();
            if let AttributeValue::One(fabric) = value
                && (&**fabric != "unstated" || own != "unstated")
            {
                *value = AttributeValue::list([fabric.clone(), own.into()]);
            }
        }
        all
    }

    fn process_block(&self, id: &str, by: &Address) -> Result<Block, ArticleError> {
        let process = self.process(id, by)?;
        remembered(&self.processes, id, || {
            let value = &*process.value;
            let mut all = vec![
                (Key::plain("cure.method"), one(value.method.word())),
                (Key::plain("cure.cycle"), value.cure.as_ref().map_or_else(|| one("unstated"), cycle)),
                (Key::plain("cure.postcure"), value.postcure.as_ref().map_or_else(|| one("none"), cycle)),
                (Key::plain("cure.surface_preparation"), words(value.surface_preparation.as_ref())),
            ];
            figure(&mut all, Key::plain("cure.pressure"), value.pressure.as_deref(), "Pa");
            figure(&mut all, Key::plain("cure.vacuum"), value.vacuum.as_deref(), "Pa");
            figure(&mut all, Key::plain("cure.bleed"), value.bleed.as_deref(), "g/m2");
            figure(&mut all, Key::plain("out-time.max_out_time"), value.max_out_time.as_deref(), "min");
            Ok(Arc::new(all))
        })
    }

    fn site_of(&self, id: &str, by: &Address) -> Result<AttributeValue, ArticleError> {
        Ok(words(self.process(id, by)?.value.site.as_ref()))
    }

    fn lamina(
        &self,
        material: &str,
        resin: Option<&str>,
        process: &str,
        content: Option<&Quantity>,
    ) -> Result<Configuration, ArticleError> {
        let by = Address::new(RecordKind::Material, material);
        let fabric = self.material(material, &by)?;
        let mut all = Configuration::default();
        let resin = resin.map(|id| self.material(id, &by)).transpose()?;
        for (key, value) in self.ply_block(fabric, resin.zip(content)) {
            all.set(key.lettered("a"), value);
        }
        all.merge(self.process_block(process, &by)?.iter().cloned());
        all.set(Key::plain("site.layup"), self.site_of(process, &by)?);
        Ok(all)
    }

    /// The distinct resin contents that recipes (of one panel, or all) give a dry ply.
    fn contents(&self, fabric: &str, resin: &str, process: &str, panel: Option<&str>) -> Vec<&'a Quantity> {
        let mut all: Vec<&Quantity> = Vec::new();
        let recipes: Vec<&Entry<Recipe>> = match panel.and_then(|id| self.ledger.panels.get(id)) {
            Some(panel) => panel
                .value
                .zones
                .iter()
                .filter_map(|zone| self.ledger.recipes.get(zone.recipe.as_ref()?.id()))
                .collect(),
            None => self.ledger.recipes.values().collect(),
        };
        for recipe in recipes {
            let Some(own) = &recipe.value.resin else { continue };
            let uses = recipe.value.process.id() == process
                && own.material.id() == resin
                && recipe.value.layers.iter().any(|layer| layer.material.id() == fabric);
            let same = |known: &&Quantity| {
                known.canonical("%") == own.content.canonical("%")
                    && known.canonical_low("%") == own.content.canonical_low("%")
                    && known.canonical_high("%") == own.content.canonical_high("%")
            };
            if uses && !all.iter().any(same) {
                all.push(&own.content);
            }
        }
        all.sort_by_key(|content| content.exact_in("%"));
        all
    }

    /// Returns what no finish is by value.
    pub fn bare(&self) -> Option<Configuration> {
        let mut all = Configuration::default();
        all.merge(self.finish_block(None, "").ok()?.iter().cloned());
        Some(all)
    }

    /// Returns what stands behind a reference, by value: what evidence would see of the record alone.
    ///
    /// `None` for kinds that no configuration holds, and for records that can't be had.
    pub fn behind(&self, address: &Address) -> Option<Configuration> {
        let id = address.id();
        let mut all = Configuration::default();
        match address.kind() {
            RecordKind::Material => {
                let material = self.ledger.materials.get(id)?;
                all.merge(self.material_block(material).iter().cloned());
                match material.value.kind {
                    MaterialKind::Coating => {
                        let role = match material.value.role {
                            Some(CoatRole::Filler) => "filler",
                            Some(CoatRole::Primer) => "primer",
                            Some(CoatRole::Clear) => "top-coat",
                            Some(CoatRole::Colour) | None => "base-coat",
                        };
                        all = Configuration::default();
                        all.set(Key::plain(role), one(designation(material)));
                        let density = material.value.dry_density.as_ref();
                        let density =
                            density.map_or_else(|| "unstated".to_string(), |d| d.canonical("kg/m3"));
                        all.set(Key::plain(&format!("{role}.density")), one(density));
                    }
                    MaterialKind::Sheet => all = self.sheet(id, "unstated", None).ok()?,
                    MaterialKind::Resin => {
                        all = Configuration::default();
                        all.set(Key::plain("resin.name"), one(designation(material)));
                        let mut more = Vec::new();
                        figure(
                            &mut more,
                            Key::plain("resin.density"),
                            material.value.density.as_deref(),
                            "kg/m3",
                        );
                        more.push((Key::plain("resin.family"), words(material.value.family.as_ref())));
                        more.push((Key::plain("site.supplier"), words(material.value.supplier.as_ref())));
                        more.push((Key::plain("site.material"), words(material.value.site.as_ref())));
                        all.merge(more);
                    }
                    MaterialKind::Part => {
                        all = Configuration::default();
                        all.set(Key::plain("edges.fittings"), one(designation(material)));
                    }
                    _ => {}
                }
            }
            RecordKind::Process => {
                all.merge(self.process_block(id, address).ok()?.iter().cloned());
                all.set(Key::plain("site.layup"), self.site_of(id, address).ok()?);
            }
            RecordKind::Recipe => all = self.laminate(id).ok()?.configuration.clone(),
            RecordKind::Finish => all.merge(self.finish_block(Some(id), "").ok()?.iter().cloned()),
            RecordKind::Tool => {
                let tool = self.ledger.tools.get(id)?;
                all.merge(self.tool_values(tool).ok()?);
            }
            _ => return None,
        }
        Some(all)
    }

    /// Returns what a recipe is by value.
    ///
    /// # Errors
    /// [`ArticleError`] names the record or figure that is missing.
    pub fn laminate(&self, id: &str) -> Result<Arc<Laid>, ArticleError> {
        remembered(&self.recipes, id, || {
            let by = Address::new(RecordKind::Recipe, id);
            let recipe =
                self.ledger.recipes.get(id).ok_or_else(|| self.missing(RecordKind::Recipe, id, &by))?;
            let resin = match &recipe.value.resin {
                Some(resin) => Some((self.material(resin.material.id(), &by)?, &*resin.content)),
                None => None,
            };
            let mut all = Configuration::default();
            let layers = expand(self.ledger, recipe)?;
            let mut known: Vec<(LayerRole, Attributes, String)> = Vec::new();
            let mut counts: BTreeMap<char, usize> = BTreeMap::new();
            let mut plies = Vec::with_capacity(layers.len());
            let mut letters = Vec::with_capacity(layers.len());
            for (depth, layer) in layers.iter().enumerate() {
                let block = self.layer_block(layer, depth, resin);
                let found = known.iter().find(|(role, other, _)| *role == layer.role && *other == block);
                let letter = match found {
                    Some((_, _, letter)) => letter.clone(),
                    None => {
                        let base = layer.role.letter();
                        let count = counts.entry(base).or_insert(0);
                        *count += 1;
                        let letter = if *count == 1 { base.to_string() } else { format!("{base}{count}") };
                        for (key, value) in &block {
                            all.set(key.lettered(&letter), value.clone());
                        }
                        known.push((layer.role, block, letter.clone()));
                        letter
                    }
                };
                letters.push((letter.clone(), layer.place, layer.material.id.clone()));
                plies.push(match (layer.role, &layer.layer.angle) {
                    (LayerRole::Ply, Some(angle)) => format!("{letter} {}", reduced_angle(angle)),
                    (LayerRole::Ply, None) => {
                        return Err(ArticleError::Unstated {
                            address: by.clone(),
                            field: format!("layers.{}.angle", layer.place),
                        });
                    }
                    _ => letter,
                });
            }
            all.set(Key::plain("plies"), list(plies));
            all.merge(self.process_block(recipe.value.process.id(), &by)?.iter().cloned());
            all.set(Key::plain("site.layup"), self.site_of(recipe.value.process.id(), &by)?);
            Ok(Arc::new(Laid { configuration: all, letters }))
        })
    }

    fn layer_block(
        &self,
        layer: &StackLayer<'_>,
        depth: usize,
        resin: Option<(&Entry<Material>, &Quantity)>,
    ) -> Vec<(Key, AttributeValue)> {
        let mut block = match layer.role {
            LayerRole::Ply => return self.ply_block(layer.material, resin),
            _ => (*self.material_block(layer.material)).clone(),
        };
        match layer.role {
            LayerRole::Core | LayerRole::Other => {
                figure(&mut block, Key::plain("core-thickness"), layer.layer.thickness.as_deref(), "mm");
            }
            LayerRole::Surfacing => block.push((Key::plain("surfacing.depth"), one(depth.to_string()))),
            LayerRole::Mesh => block.push((Key::plain("mesh.depth"), one(depth.to_string()))),
            LayerRole::Film | LayerRole::Ply => {}
        }
        block
    }

    fn finish_block(&self, finish: Option<&str>, recipe: &str) -> Result<Block, ArticleError> {
        let Some(id) = finish else {
            let mut all: Vec<_> = ["filler", "primer", "base-coat", "top-coat"]
                .into_iter()
                .flat_map(|role| {
                    [(Key::plain(role), one("none")), (Key::plain(&format!("{role}.density")), one("none"))]
                })
                .collect();
            for base in ["film-build.total", "film-build.max"] {
                all.push((Key::plain(base), one("0 um")));
            }
            for base in ["colour.absorptance", "colour.emittance", "site.paint"] {
                all.push((Key::plain(base), one("none")));
            }
            return Ok(Arc::new(all));
        };
        let by = Address::new(RecordKind::Finish, id);
        let entry =
            self.ledger.finishes.get(id).ok_or_else(|| {
                self.missing(RecordKind::Finish, id, &Address::new(RecordKind::Recipe, recipe))
            })?;
        remembered(&self.finishes, id, || {
            let finish: &Finish = &entry.value;
            let mut all = Vec::new();
            for (role, base) in [
                (CoatRole::Filler, "filler"),
                (CoatRole::Primer, "primer"),
                (CoatRole::Colour, "base-coat"),
                (CoatRole::Clear, "top-coat"),
            ] {
                let mut names = Vec::new();
                let mut densities = Vec::new();
                for coat in &finish.coats {
                    let material = self.material(coat.material.id(), &by)?;
                    let name = designation(material);
                    if material.value.role == Some(role) && !names.contains(&name) {
                        names.push(name);
                        let density = material.value.dry_density.as_ref();
                        densities
                            .push(density.map_or_else(|| "unstated".to_string(), |d| d.canonical("kg/m3")));
                    }
                }
                all.push((Key::plain(base), list(names)));
                all.push((Key::plain(&format!("{base}.density")), list(densities)));
            }
            let (total, max) = film_build(finish);
            all.push((Key::plain("film-build.total"), one(Quantity::canonical_text(Some(total), "um"))));
            all.push((Key::plain("film-build.max"), one(Quantity::canonical_text(Some(max), "um"))));
            let colour = finish.colour.as_ref();
            let absorptance = colour.and_then(|c| c.solar_absorptance.as_deref());
            figure(&mut all, Key::plain("colour.absorptance"), absorptance, "");
            figure(&mut all, Key::plain("colour.emittance"), colour.and_then(|c| c.emittance.as_deref()), "");
            let site = match &finish.process {
                Some(process) => self.site_of(process.id(), &by)?,
                None => one("unstated"),
            };
            all.push((Key::plain("site.paint"), site));
            Ok(Arc::new(all))
        })
    }

    fn tool_block(&self, panel: &Entry<Panel>) -> Result<Block, ArticleError> {
        let by = Address::new(RecordKind::Panel, panel.id.clone());
        let id = panel.value.tool.as_ref().map_or("", |tool| tool.id());
        remembered(&self.tools, id, || {
            let mut all = Vec::new();
            if id.is_empty() {
                for base in ["body", "cte", "tg", "surface", "sealed", "survey", "chain"] {
                    all.push((Key::plain(&format!("tool.{base}")), one("unstated")));
                }
                return Ok(Arc::new(all));
            }
            let tool = self.ledger.tools.get(id).ok_or_else(|| self.missing(RecordKind::Tool, id, &by))?;
            Ok(Arc::new(self.tool_values(tool)?))
        })
    }

    /// The attributes of a mould and of what it came from.
    fn tool_values(&self, tool: &Entry<Tool>) -> Result<Attributes, ArticleError> {
        let mut all = Vec::new();
        let value = &*tool.value;
        all.push((Key::plain("tool.body"), words(value.body.as_ref())));
        figure(&mut all, Key::plain("tool.cte"), value.cte.as_deref(), "1/K");
        figure(&mut all, Key::plain("tool.tg"), value.tg.as_deref(), "degC");
        all.push((Key::plain("tool.surface"), words(value.surface.as_ref())));
        all.push((Key::plain("tool.sealed"), words(value.sealed.as_ref())));
        all.push((Key::plain("tool.survey"), words(value.survey.as_ref())));
        let mut chain = Vec::new();
        let mut next = value.from.as_ref();
        // A circle of tools is a fault that `check` reports; here it must only end.
        while let Some(from) = next.filter(|_| chain.len() < 32) {
            let by = Address::new(RecordKind::Tool, tool.id.clone());
            let tool = self
                .ledger
                .tools
                .get(from.id())
                .ok_or_else(|| self.missing(RecordKind::Tool, from.id(), &by))?;
            let say = |text: &Option<Text>| text.as_ref().map_or("unstated", |t| t.as_str()).to_string();
            let value = &tool.value;
            chain.push(format!("{} / {} / {}", say(&value.body), say(&value.surface), say(&value.survey)));
            next = value.from.as_ref();
        }
        all.push((Key::plain("tool.chain"), list(chain)));
        Ok(all)
    }

    fn sheet(
        &self,
        material: &str,
        thickness: &str,
        zone: Option<(&Quantity, bool)>,
    ) -> Result<Configuration, ArticleError> {
        let entry = self.material(material, &Address::new(RecordKind::Material, material))?;
        let mut all = Configuration::default();
        all.set(Key::plain("glazing.designation"), one(designation(entry)));
        all.set(Key::plain("glazing.thickness"), one(thickness));
        all.set(Key::plain("glazing.supplier"), words(entry.value.supplier.as_ref()));
        all.set(Key::plain("glazing.site"), words(entry.value.site.as_ref()));
        if let Some((thickness, structural)) = zone {
            let mut figures = Vec::new();
            figure(&mut figures, Key::plain("glazing.thickness"), Some(thickness), "mm");
            all.merge(figures);
            all.set(Key::plain("glazing.structural"), one(if structural { "true" } else { "false" }));
        }
        Ok(all)
    }

    fn bond(
        &self,
        adhesive: &str,
        process: &str,
        faces: &[Face; 2],
        joint: Option<(&Panel, &Joint)>,
    ) -> Result<Configuration, ArticleError> {
        let by = Address::new(RecordKind::Material, adhesive);
        let mut all = Configuration::default();
        for (key, value) in self.material_block(self.material(adhesive, &by)?).iter() {
            all.set(key.lettered("f"), value.clone());
        }
        all.merge(self.process_block(process, &by)?.iter().cloned());
        all.set(Key::plain("site.bond"), self.site_of(process, &by)?);
        let mut zones: Vec<(Face, Option<&Zone>)> = faces.iter().map(|face| (face.clone(), None)).collect();
        if let Some((panel, joint)) = joint {
            all.merge(joint_block(joint));
            let named = joint.between.iter().flatten().filter_map(|name| zone_named(panel, name.as_str()));
            let mut own: Vec<(Face, Option<&Zone>)> =
                named.filter_map(|zone| Some((face_of(zone)?, Some(zone)))).collect();
            // Faces stand in the order of their text, however `between` is written.
            own.sort_by_cached_key(|(face, _)| face.to_string());
            if own.len() == zones.len() {
                zones = own;
            }
        }
        let mut sides = Vec::new();
        for (face, zone) in &zones {
            let own = match face {
                Face::Laminate(recipe) => {
                    let mut own = Configuration::default();
                    for (key, value) in self.laminate(recipe)?.configuration.attributes() {
                        // What a face brings to a bond: its surface and its stack, not how it was cured, nor
                        // the films that hold its own core.
                        if matches!(
                            key.facet(),
                            "resin" | "weave" | "fibre-areal" | "plies" | "core" | "surfacing" | "mesh"
                        ) {
                            own.set(*key, value.clone());
                        }
                    }
                    let finish = zone.and_then(|zone| zone.finish.as_ref()).map(|finish| finish.id());
                    for (key, value) in self.finish_block(finish, recipe)?.iter() {
                        if key.base == "primer" {
                            own.set(*key, value.clone());
                        }
                    }
                    own
                }
                Face::Sheet(material) => {
                    let sheet = zone.and_then(|zone| zone.sheet.as_ref());
                    let thickness =
                        sheet.map_or_else(|| "unstated".to_string(), |sheet| sheet.thickness.canonical("mm"));
                    let zone = sheet.map(|sheet| (&*sheet.thickness, sheet.structural.unwrap_or(false)));
                    self.sheet(material, &thickness, zone)?
                }
            };
            sides.push(own);
        }
        // Faces of one name: which of the two zones is written first plays no part.
        if let [one, two] = faces
            && one == two
        {
            sides.sort_by(|one, two| one.attributes().cmp(two.attributes()));
        }
        for (at, side) in sides.iter().enumerate() {
            all.merge_within(side, &format!("x{}", at + 1));
        }
        Ok(all)
    }

    fn panel(&self, id: &str) -> Result<Configuration, ArticleError> {
        let by = Address::new(RecordKind::Panel, id);
        let entry = self.ledger.panels.get(id).ok_or_else(|| self.missing(RecordKind::Panel, id, &by))?;
        let panel = &*entry.value;
        let mut all = Configuration::default();
        for (at, zone) in panel.zones.iter().enumerate() {
            let mut own = match (&zone.recipe, &zone.sheet) {
                (Some(recipe), _) => {
                    let mut own = self.laminate(recipe.id())?.configuration.clone();
                    let finish = zone.finish.as_ref().map(|finish| finish.id());
                    own.merge(self.finish_block(finish, recipe.id())?.iter().cloned());
                    own
                }
                (None, Some(sheet)) => self.sheet(
                    sheet.material.id(),
                    &sheet.thickness.canonical("mm"),
                    Some((&*sheet.thickness, sheet.structural.unwrap_or(false))),
                )?,
                (None, None) => Configuration::default(),
            };
            let mut figures = Vec::new();
            figure(&mut figures, Key::plain("geometry.area"), Some(&zone.area), "m2");
            if let Some(radius) = &zone.radius {
                figure(&mut figures, Key::plain("geometry.radius"), Some(radius), "mm");
            }
            own.merge(figures);
            let painted = zone.painted.or(panel.painted).map_or("one", |painted| painted.word());
            own.set(Key::plain("geometry.painted"), one(painted));
            let exposure = exposure_of(panel, zone.exposure.as_ref());
            own.set(Key::plain("environment.exposure"), list(exposure_words(&exposure)));
            all.merge_within(&own, &format!("z{}", at + 1));
        }
        for (at, joint) in panel.joints.iter().enumerate() {
            let mut own = Configuration::default();
            for (key, value) in self.material_block(self.material(joint.adhesive.id(), &by)?).iter() {
                own.set(key.lettered("f"), value.clone());
            }
            if let Some(process) = &joint.process {
                own.merge(self.process_block(process.id(), &by)?.iter().cloned());
                own.set(Key::plain("site.bond"), self.site_of(process.id(), &by)?);
            }
            own.merge(joint_block(joint));
            let mut more = Vec::new();
            figure(&mut more, Key::plain("geometry.length"), Some(&joint.length), "mm");
            figure(&mut more, Key::plain("geometry.squeeze_out"), joint.squeeze_out.as_deref(), "%");
            own.merge(more);
            all.merge_within(&own, &format!("j{}", at + 1));
        }
        let mut own = Vec::new();
        let class = panel.class.map_or("structural", |class| class.word());
        own.push((Key::plain("geometry.class"), one(class)));
        let load_path = panel.load_path.map_or("unstated", |path| path.word());
        own.push((Key::plain("geometry.load_path"), one(load_path)));
        match &panel.overlap {
            Some(overlap) => figure(&mut own, Key::plain("geometry.overlap"), Some(overlap), "%"),
            None => own.push((Key::plain("geometry.overlap"), one("0 %"))),
        }
        let plate = panel.plate.as_ref().map_or_else(
            || one("none"),
            |plate| {
                let support = plate.support.as_ref().map_or("unstated", |text| text.as_str());
                AttributeValue::list([
                    plate.length.canonical("mm"),
                    plate.width.canonical("mm"),
                    support.to_string(),
                ])
            },
        );
        own.push((Key::plain("geometry.plate"), plate));
        let section = panel.section.as_ref().map_or_else(
            || "none".to_string(),
            |section| {
                let zones: Vec<&str> = panel.zones.iter().map(|zone| zone.name.as_str()).collect();
                let joints: Vec<&str> = panel.joints.iter().map(|joint| joint.name.as_str()).collect();
                section.canonical(&zones, &joints)
            },
        );
        own.push((Key::plain("geometry.section"), one(section)));
        for load in &panel.loads {
            let name = load.name.as_str().replace([' ', '.'], "-");
            own.push((Key::plain(&format!("geometry.load.{name}")), list(load_words(load))));
        }
        let (edges, fittings) = self.edges(panel, &by)?;
        own.push((Key::plain("edges.edges"), list(edges)));
        own.push((Key::plain("edges.fittings"), list(fittings)));
        let hole = panel.holes.as_ref().and_then(|holes| holes.largest.as_deref());
        match hole {
            Some(hole) => figure(&mut own, Key::plain("edges.holes"), Some(hole), "mm"),
            None => own.push((Key::plain("edges.holes"), one("none"))),
        }
        all.merge(own);
        Ok(all)
    }

    fn edges(&self, panel: &Panel, by: &Address) -> Result<(Vec<String>, Vec<String>), ArticleError> {
        let mut edges = Vec::new();
        for edge in &panel.edges {
            let part = designation(self.material(edge.part.id(), by)?);
            edges.push(format!("{part} {}", edge.length.canonical("mm")));
        }
        let mut fittings: BTreeMap<String, u64> = BTreeMap::new();
        for fitting in &panel.fittings {
            let part = designation(self.material(fitting.part.id(), by)?);
            *fittings.entry(part).or_insert(0) += u64::from(fitting.count.unwrap_or(1));
        }
        let fittings = fittings.into_iter().map(|(part, count)| format!("{part} x{count}")).collect();
        Ok((edges, fittings))
    }

    /// Returns what a panel asks of a subject that it uses at `zones`.
    ///
    /// # Errors
    /// [`ArticleError`] names the record that is missing.
    pub fn claims(&self, subject: &Subject, panel: &str, zones: &[usize]) -> Result<Claims, ArticleError> {
        let by = Address::new(RecordKind::Panel, panel);
        let entry =
            self.ledger.panels.get(panel).ok_or_else(|| self.missing(RecordKind::Panel, panel, &by))?;
        let panel = &*entry.value;
        let mut claims = Claims::default();
        let whole = exposure_of(panel, None);
        let mut exposures = Vec::new();
        for (at, zone) in panel.zones.iter().enumerate() {
            if zones.is_empty() || zones.contains(&at) {
                exposures.push(exposure_of(panel, zone.exposure.as_ref()));
            }
            if let (Subject::Lamina { .. }, true, Some(recipe)) = (subject, zones.contains(&at), &zone.recipe)
                && let Some(recipe) = self.ledger.recipes.get(recipe.id())
                && lamina_in(self.ledger, subject, recipe)?
            {
                for layer in expand(self.ledger, recipe)? {
                    if layer.role == LayerRole::Core {
                        let form =
                            layer.material.value.form.as_ref().map_or("unstated", |form| form.as_str());
                        claims.core_forms.push(form.to_string());
                    }
                }
            }
        }
        if exposures.is_empty() {
            exposures.push(whole);
        }
        for exposure in exposures {
            claims.zones.extend(exposure.zone.iter().map(Text::to_string));
            claims.lightning.extend(exposure.lightning.iter().map(Text::to_string));
            claims.fluids.extend(exposure.fluids.iter().map(Text::to_string));
        }
        for fitting in &panel.fittings {
            claims.fasteners.push(designation(self.material(fitting.part.id(), &by)?));
        }
        let hole = panel.holes.as_ref().and_then(|holes| holes.largest.as_deref());
        claims.hole = hole.map(|hole| hole.canonical("mm"));
        for all in [
            &mut claims.zones,
            &mut claims.lightning,
            &mut claims.fluids,
            &mut claims.core_forms,
            &mut claims.fasteners,
        ] {
            all.sort();
            all.dedup();
        }
        Ok(claims)
    }
}

/// Returns whether a recipe has the lamina as a ply.
pub fn lamina_in(ledger: &Ledger, subject: &Subject, recipe: &Entry<Recipe>) -> Result<bool, ArticleError> {
    let Subject::Lamina { material, resin, process } = subject else { return Ok(false) };
    let with_resin = match resin {
        Some(resin) => recipe.value.resin.as_ref().is_some_and(|own| own.material.id() == resin),
        None => true,
    };
    Ok(with_resin
        && recipe.value.process.id() == process
        && expand(ledger, recipe)?
            .iter()
            .any(|layer| layer.role == LayerRole::Ply && layer.material.id == *material))
}

fn joint_block(joint: &crate::record::Joint) -> Vec<(Key, AttributeValue)> {
    let mut all = Vec::new();
    figure(&mut all, Key::plain("geometry.width"), Some(&joint.width), "mm");
    figure(&mut all, Key::plain("geometry.thickness"), joint.thickness.as_deref(), "mm");
    all.push((Key::plain("geometry.role"), words(joint.role.as_ref())));
    all.push((Key::plain("geometry.route"), one(joint.route.map_or("unstated", |route| route.word()))));
    all
}

/// Returns the exposure of a zone: the zone's own keys stand before the panel's.
pub fn exposure_of(panel: &Panel, zone: Option<&Exposure>) -> Exposure {
    let base = panel.exposure.clone().unwrap_or(Exposure {
        zone: None,
        lightning: None,
        compartment: None,
        fluids: Vec::new(),
        moisture: None,
        minimum: None,
        sun: None,
    });
    let Some(own) = zone else { return base };
    Exposure {
        zone: own.zone.clone().or(base.zone),
        lightning: own.lightning.clone().or(base.lightning),
        compartment: own.compartment.or(base.compartment),
        fluids: if own.fluids.is_empty() { base.fluids } else { own.fluids.clone() },
        moisture: own.moisture.clone().or(base.moisture),
        minimum: own.minimum.clone().or(base.minimum),
        sun: own.sun.or(base.sun),
    }
}

fn exposure_words(exposure: &Exposure) -> Vec<String> {
    let mut all = Vec::new();
    if let Some(zone) = &exposure.zone {
        all.push(format!("zone {zone}"));
    }
    if let Some(lightning) = &exposure.lightning {
        all.push(format!("lightning {lightning}"));
    }
    if exposure.compartment == Some(true) {
        all.push("compartment".to_string());
    }
    let mut fluids: Vec<_> = exposure.fluids.iter().map(|fluid| format!("fluid {fluid}")).collect();
    fluids.sort();
    all.extend(fluids);
    if let Some(moisture) = &exposure.moisture {
        all.push(format!("moisture {moisture}"));
    }
    if let Some(minimum) = &exposure.minimum {
        all.push(format!("minimum {}", minimum.canonical("degC")));
    }
    if exposure.sun == Some(false) {
        all.push("no sun".to_string());
    }
    all
}

/// A load case in words, each figure at the limit that loads most.
fn load_words(load: &crate::record::Load) -> Vec<String> {
    let worst = |quantity: &Quantity, unit: &str| {
        let (low, high) = (quantity.exact_low_in(unit), quantity.exact_high_in(unit));
        let nominal = quantity.exact_in(unit);
        let most = [nominal, low, high].into_iter().flatten().max_by_key(Decimal::abs);
        Quantity::canonical_text(most, unit)
    };
    let mut all = Vec::new();
    if let Some(pressure) = &load.pressure {
        all.push(format!("pressure {}", worst(pressure, "Pa")));
    }
    if let Some(flows) = &load.n {
        for (name, flow) in ["Nx", "Ny", "Nxy"].iter().zip(flows) {
            all.push(format!("{name} {}", worst(flow, "N/m")));
        }
    }
    if let Some(moments) = &load.m {
        for (name, moment) in ["Mx", "My", "Mxy"].iter().zip(moments) {
            all.push(format!("{name} {}", worst(moment, "N")));
        }
    }
    if let Some(temperature) = &load.temperature {
        all.push(format!("temperature {}", temperature.canonical("degC")));
    }
    let number =
        |value: f64| Decimal::parse(&value.to_string()).map_or_else(|| value.to_string(), |d| d.six_digits());
    all.push(format!("factor {}", number(load.factor.unwrap_or(1.0))));
    all.push(format!("special_factor {}", number(load.special_factor.unwrap_or(1.0))));
    all
}

/// Returns a cycle as its segments in words.
fn cycle(cycle: &Cycle) -> AttributeValue {
    let segments: Vec<String> = cycle.0.iter().map(segment).collect();
    match segments.as_slice() {
        [] => one("none"),
        [single] => one(single.clone()),
        _ => AttributeValue::list(segments),
    }
}

fn segment(segment: &CureSegment) -> String {
    let mut text = String::new();
    if let Some(ramp) = &segment.ramp {
        text.push_str(&ramp.canonical("K/min"));
        text.push(' ');
    }
    text.push_str("to ");
    text.push_str(&segment.to.canonical("degC"));
    if let Some(hold) = &segment.hold {
        text.push_str(" for ");
        text.push_str(&hold.canonical("min"));
    }
    text
}

/// Returns the angle in degrees reduced to (-90, 90].
pub fn reduced_angle(angle: &Quantity) -> String {
    let Some(mut value) = angle.exact_in("deg") else { return "unstated".to_string() };
    let (half, turn) = (Decimal::whole(90), Decimal::whole(180));
    // An angle is at most some turns away; a wild one is reduced in bounded steps.
    if let Some(turns) = value.over(&turn) {
        #[allow(clippy::cast_possible_truncation)]
        let whole = turns.to_f64().clamp(-1e15, 1e15).trunc() as i64;
        value = &value - &(&turn * &Decimal::whole(whole));
    }
    while value > half {
        value = &value - &turn;
    }
    while value <= &Decimal::zero() - &half {
        value = &value + &turn;
    }
    value.six_digits()
}

/// Returns total and largest film of a finish in um: exact, per painted face.
///
/// Total is the sum of max(0, dry film - removed); the largest takes the upper dry film and the lower
/// removed, and adds the upper repaint.
pub fn film_build(finish: &Finish) -> (Decimal, Decimal) {
    let zero = Decimal::zero();
    let um = |quantity: &Quantity| quantity.exact_in("um").unwrap_or_else(Decimal::zero);
    let mut total = Decimal::zero();
    let mut largest = Decimal::zero();
    for coat in &finish.coats {
        let nominal = um(&coat.dry_film);
        let upper = coat.dry_film.exact_high_in("um").unwrap_or_else(|| nominal.clone());
        let removed = coat.removed.as_ref().map_or_else(Decimal::zero, |removed| um(removed));
        let lower = coat.removed.as_ref().and_then(|removed| removed.exact_low_in("um"));
        total = &total + &(&nominal - &removed).max(zero.clone());
        largest = &largest + &(&upper - &lower.unwrap_or(removed)).max(zero.clone());
    }
    if let Some(repaint) = &finish.repaint {
        let upper = repaint.exact_high_in("um").unwrap_or_else(|| um(repaint));
        largest = &largest + &upper;
    }
    (total, largest)
}
