//! The mode that governed an article as it was tested, worked out with today's design values.

use super::super::delta::AsMade;
use super::super::duty::{Duty, DutyKey};
use super::values::Values;
use super::{Memo, PanelMargins, Uncomputed, margins_by};
use crate::article::{Configuration, Key, LayerRole, Name, Subject, designation, layer_role};
use crate::ledger::{Entry, Ledger};
use crate::quantity::{Angle, Length};
use crate::record::{
    AttributeValue, ComputedCheck, FrameSection, Layer, Material, MaterialKind, MaterialRef, Mirror, Panel,
    Plate, Recipe, Sourced, Text,
};
use std::collections::BTreeMap;
use std::sync::Arc;

/// An article as it was tested, for a subject as one panel uses it.
#[derive(Clone, Copy)]
pub(in super::super) struct AsTested<'a> {
    pub(in super::super) panel: &'a str,
    pub(in super::super) subject: &'a Subject,
    pub(in super::super) article: &'a AsMade,
}

/// Returns the mode of the least margin, among some checks, of a panel as an article was conformed: its plies,
/// core thickness, plate, section, joints and sheets under the panel's loads of now.
///
/// `None` where a constituent of then is not in the ledger, where two zones of one recipe were tested with
/// different stacks, where something of the geometry is not recorded, or where anything of the checks cannot be
/// computed of it: what can't be computed might have governed.
pub(in super::super) fn mode_as_tested(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    tested: &AsTested<'_>,
    of: &[ComputedCheck],
    memo: &Memo,
) -> Option<String> {
    let AsTested { panel, subject, article } = *tested;
    let entry = ledger.panels.get(panel)?;
    let article = &article.main;
    let mut own = (*entry.value).clone();
    let mut laid: BTreeMap<String, Vec<Layer>> = BTreeMap::new();
    let whole = article.get(&Key::plain("plies")).is_some();
    for (at, zone) in own.zones.iter().enumerate() {
        let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
            continue;
        };
        // A laminate's own evidence has one stack and says nothing of the other laminates of the panel; a
        // panel's has one for each zone.
        let is_subject = match subject {
            Subject::Laminate(own) | Subject::Painted(own, _) => *own == recipe.id,
            _ => true,
        };
        if whole && !is_subject {
            continue;
        }
        let scope = if whole { Name::default() } else { Name::new(&format!("z{}", at + 1)) };
        let layers = layers(ledger, recipe, article, scope)?;
        // Under its own name the laminate keeps the showings that its design strains come from, so that it
        // can have one stack only.
        match laid.get(&recipe.id) {
            Some(known) if *known != layers => return None,
            Some(_) => {}
            None => {
                laid.insert(recipe.id.clone(), layers);
            }
        }
    }
    if !whole {
        geometry(ledger, article, &mut own)?;
    }
    let mut then = needed(ledger, &own);
    for (id, layers) in laid {
        let recipe = ledger.recipes.get(&id)?;
        for layer in &layers {
            add_material(ledger, &mut then, layer.material.id());
        }
        let value = Recipe { layers, mirror: Some(Mirror::None), ..(*recipe.value).clone() };
        then.recipes.insert(id.clone(), Entry { id, file: recipe.file.clone(), value: Arc::new(value) });
    }
    let made = Entry { id: panel.to_string(), file: entry.file.clone(), value: Arc::new(own) };
    // The values are today's, so they are looked up in the ledger of today.
    let values =
        Values { ledger, duties, panel: Some(panel), load_path: entry.value.load_path, environment: None };
    let mut margins = PanelMargins::default();
    margins_by(&then, &made, &values, memo, &mut margins).ok()?;
    if margins.uncomputed.iter().any(|one: &Uncomputed| of.contains(&one.check)) {
        return None;
    }
    margins.governing_of(of).map(|margin| margin.mode.clone())
}

/// What a panel's margins are computed from but the design values: no more of a large ledger is copied.
fn needed(ledger: &Ledger, panel: &Panel) -> Ledger {
    let mut all = Ledger { head: ledger.head.clone(), ..Ledger::default() };
    for zone in &panel.zones {
        if let Some(finish) = zone.finish.as_ref().and_then(|own| ledger.finishes.get(own.id())) {
            all.finishes.insert(finish.id.clone(), finish.clone());
        }
        if let Some(sheet) = &zone.sheet {
            add_material(ledger, &mut all, sheet.material.id());
        }
        let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
            continue;
        };
        let layers = recipe.value.layers.iter().map(|layer| layer.material.id());
        for material in layers.chain(recipe.value.resin.as_ref().map(|own| own.material.id())) {
            add_material(ledger, &mut all, material);
        }
        add_process(ledger, &mut all, recipe.value.process.id());
        all.recipes.insert(recipe.id.clone(), recipe.clone());
    }
    for joint in &panel.joints {
        add_material(ledger, &mut all, joint.adhesive.id());
        if let Some(process) = &joint.process {
            add_process(ledger, &mut all, process.id());
        }
    }
    if let Some(own) = &panel.design_strain {
        for sourced in [&own.tension, &own.compression, &own.shear].into_iter().flatten() {
            add_showings(ledger, &mut all, sourced);
        }
    }
    all
}

fn add_process(ledger: &Ledger, all: &mut Ledger, id: &str) {
    if let Some(process) = ledger.processes.get(id) {
        all.processes.insert(process.id.clone(), process.clone());
    }
}

/// Adds a material with the showings that its values come from, which name the environments.
fn add_material(ledger: &Ledger, all: &mut Ledger, id: &str) {
    let Some(material) = ledger.materials.get(id).filter(|_| !all.materials.contains_key(id)) else { return };
    all.materials.insert(material.id.clone(), material.clone());
    for sourced in material.value.lamina.iter().flat_map(|own| [&own.e1, &own.e2, &own.g12]) {
        add_showings(ledger, all, sourced);
    }
    for (_, sourced) in material.value.strength.iter().flat_map(|own| own.figures()) {
        if let Some(sourced) = sourced {
            add_showings(ledger, all, sourced);
        }
    }
}

fn add_showings<T>(ledger: &Ledger, all: &mut Ledger, sourced: &Sourced<T>) {
    let Sourced::From(showings) = sourced else { return };
    for showing in showings.iter().filter_map(|own| ledger.showings.get(own.id())) {
        all.showings.insert(showing.id.clone(), showing.clone());
    }
}

/// Gives a panel the plate, section, joints and sheets that it was tested with, under the loads of now. `None`
/// where one of them was not recorded, or is another in kind.
fn geometry(ledger: &Ledger, article: &Configuration, panel: &mut Panel) -> Option<()> {
    let one = |base: &str, scope: &str, letter: &str| {
        let mut key = Key::plain(base);
        (key.scope, key.letter) = (Name::new(scope), Name::new(letter));
        match article.get(&key) {
            Some(AttributeValue::One(text)) => Some(text.to_string()),
            _ => None,
        }
    };
    // A zone or joint that came or went since leaves nothing to compare.
    let places = |mark: char| article.parts().filter(|(scope, _)| scope.as_str().starts_with(mark)).count();
    if places('z') != panel.zones.len() || places('j') != panel.joints.len() {
        return None;
    }
    let plate = article.get(&Key::plain("geometry.plate"))?;
    panel.plate = match (plate, panel.plate.take()) {
        (AttributeValue::One(text), None) if &**text == "none" => None,
        (AttributeValue::List(all), Some(now)) => {
            let [length, width, support] = all.as_slice() else { return None };
            let support = Some(support.to_string()).filter(|own| own != "unstated");
            Some(Plate {
                length: Length::parse(length).ok()?,
                width: Length::parse(width).ok()?,
                support: support.as_deref().map(Text::from),
                ..now
            })
        }
        _ => return None,
    };
    let section = one("geometry.section", "", "")?;
    panel.section = match (section.as_str(), panel.section.take()) {
        ("none", None) => None,
        (text, Some(now)) => {
            let zones: Vec<&str> = panel.zones.iter().map(|zone| zone.name.as_str()).collect();
            let joints: Vec<&str> = panel.joints.iter().map(|joint| joint.name.as_str()).collect();
            Some(FrameSection::of_canonical(text, &zones, &joints, &now.loads)?)
        }
        _ => return None,
    };
    for (at, joint) in panel.joints.iter_mut().enumerate() {
        let scope = format!("j{}", at + 1);
        let of = |base: &str| one(base, &scope, "");
        let adhesive = ledger.materials.get(joint.adhesive.id())?;
        if one("adhesive.designation", &scope, "f")? != designation(adhesive) {
            return None;
        }
        joint.width = Length::parse(&of("geometry.width")?).ok()?;
        joint.length = Length::parse(&of("geometry.length")?).ok()?;
        joint.thickness = match of("geometry.thickness")?.as_str() {
            "unstated" => None,
            text => Some(Length::parse(text).ok()?),
        };
    }
    for (at, zone) in panel.zones.iter_mut().enumerate() {
        let of = |base: &str| one(base, &format!("z{}", at + 1), "");
        match (&mut zone.sheet, of("glazing.designation")) {
            (None, None) => {}
            (Some(sheet), Some(then)) => {
                if then != designation(ledger.materials.get(sheet.material.id())?) {
                    return None;
                }
                sheet.thickness = Length::parse(&of("glazing.thickness")?).ok()?;
            }
            _ => return None,
        }
    }
    Some(())
}

/// Turns `plies: [s, a 45, f, c, f, a 0]` back into layers of materials that the ledger has.
fn layers(
    ledger: &Ledger,
    recipe: &Entry<Recipe>,
    article: &Configuration,
    scope: Name,
) -> Option<Vec<Layer>> {
    let key = |base: &str, letter: &str| {
        let mut key = Key::plain(base);
        key.scope = scope;
        key.letter = Name::new(letter);
        key
    };
    let one = |base: &str, letter: &str| match article.get(&key(base, letter)) {
        Some(AttributeValue::One(text)) => Some(text.to_string()),
        _ => None,
    };
    let plies = article.get(&key("plies", ""))?;
    let mut known: BTreeMap<String, MaterialRef> = BTreeMap::new();
    let mut layers = Vec::new();
    for word in plies.texts() {
        let (letter, angle) = match word.split_once(' ') {
            Some((letter, angle)) => (letter, Some(angle)),
            None => (word, None),
        };
        if !known.contains_key(letter) {
            let fits = |entry: &&Entry<Material>| is_same(entry, recipe, letter, &one);
            let found = ledger.materials.values().find(fits)?;
            known.insert(letter.to_string(), MaterialRef::parse(&found.id).ok()?);
        }
        let thickness = one("core-thickness", letter).filter(|_| letter.starts_with('c'));
        layers.push(Layer {
            id: None,
            material: known.get(letter)?.clone(),
            angle: match angle {
                Some(angle) => Some(Angle::parse(angle).ok()?),
                None => None,
            },
            thickness: match thickness {
                Some(thickness) => Some(Length::parse(&thickness).ok()?),
                None => None,
            },
        });
    }
    Some(layers)
}

fn is_same(
    entry: &Entry<Material>,
    recipe: &Entry<Recipe>,
    letter: &str,
    one: &dyn Fn(&str, &str) -> Option<String>,
) -> bool {
    let value = &entry.value;
    let role = layer_role(value.kind);
    if !letter.starts_with(role.letter()) {
        return false;
    }
    let is = |base: &str, own: Option<String>| one(base, letter).is_none_or(|then| Some(then) == own);
    let named = |base: &str| is(base, Some(designation(entry)));
    match role {
        LayerRole::Ply => {
            let Some(fibre) = &value.fibre else { return false };
            let dry = value.kind == MaterialKind::Fabric;
            let areal = if dry { value.areal.as_ref() } else { fibre.areal.as_ref() };
            let route = if dry { "dry" } else { "prepreg" };
            let resin = match &value.resin {
                Some(resin) => is("resin.name", Some(resin.name.to_string())),
                // A dry fabric's resin is the recipe's, which is taken as it is now.
                None => recipe.value.resin.is_some(),
            };
            is("fibre.name", Some(fibre.name.to_string()))
                && is("fibre-areal", areal.map(|own| own.canonical("g/m2")))
                && is("resin-content.route", Some(route.to_string()))
                && resin
        }
        LayerRole::Core => {
            named("core.designation")
                && is("core-density", value.density.as_ref().map(|own| own.canonical("kg/m3")))
        }
        LayerRole::Film => named("adhesive.designation"),
        LayerRole::Mesh => named("mesh.designation"),
        LayerRole::Surfacing => named("surfacing.designation"),
        LayerRole::Other => false,
    }
}
