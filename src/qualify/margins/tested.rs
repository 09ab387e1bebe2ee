//! The mode that governed an article as it was tested, worked out with today's design values.

use super::super::delta::AsMade;
use super::super::duty::{Duty, DutyKey};
use super::{PanelMargins, Uncomputed, margins_of};
use crate::article::{Configuration, Key, LayerRole, Name, designation, layer_role};
use crate::ledger::{Entry, Ledger};
use crate::quantity::{Angle, Length};
use crate::record::{
    AttributeValue, ComputedCheck, Layer, Material, MaterialKind, MaterialRef, Mirror, Panel, Recipe,
    RecipeRef,
};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Returns the mode of the least margin, among some checks, of a panel as an article of it was conformed: its plies and core
/// thickness under the panel's loads of now. `None` where a constituent of then is not in the ledger, or
/// what is computed now (`now`) cannot be computed of it.
pub(in super::super) fn mode_as_tested(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &str,
    article: &AsMade,
    (of, now): (&[ComputedCheck], &PanelMargins),
) -> Option<String> {
    let entry = ledger.panels.get(panel)?;
    let mut then = Ledger {
        materials: ledger.materials.clone(),
        processes: ledger.processes.clone(),
        tools: ledger.tools.clone(),
        finishes: ledger.finishes.clone(),
        recipes: ledger.recipes.clone(),
        showings: ledger.showings.clone(),
        evidence: ledger.evidence.clone(),
        data: ledger.data.clone(),
        head: ledger.head.clone(),
        ..Ledger::default()
    };
    let mut own = (*entry.value).clone();
    let mut laid: BTreeMap<String, Vec<Layer>> = BTreeMap::new();
    let whole = article.main.get(&Key::plain("plies")).is_some();
    for (at, zone) in own.zones.iter_mut().enumerate() {
        let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
            continue;
        };
        // A laminate's own evidence has one stack; a panel's has one for each zone.
        let scope = if whole { Name::default() } else { Name::new(&format!("z{}", at + 1)) };
        let layers = layers(ledger, recipe, &article.main, scope)?;
        // Under its own name the laminate keeps the showings that its design strains come from; a second stack
        // of one recipe, from before zones shared it, stands apart.
        let known = laid.entry(recipe.id.clone()).or_insert_with(|| layers.clone());
        let id =
            if *known == layers { recipe.id.clone() } else { format!("{}-as-tested-{}", recipe.id, at + 1) };
        let value = Recipe { layers, mirror: Some(Mirror::None), ..(*recipe.value).clone() };
        let made = Entry { id: id.clone(), file: recipe.file.clone(), value: Arc::new(value) };
        then.recipes.insert(id.clone(), made);
        zone.recipe = RecipeRef::parse(&id).ok();
    }
    let value: Panel = own;
    then.panels.insert(
        panel.to_string(),
        Entry { id: panel.to_string(), file: entry.file.clone(), value: Arc::new(value) },
    );
    let margins = margins_of(&then, duties, panel).ok()?;
    // What can be computed now and not of then might have governed then.
    let counted = |own: &&Uncomputed| of.contains(&own.check);
    if margins.uncomputed.iter().filter(counted).any(|own| !now.uncomputed.contains(own)) {
        return None;
    }
    margins.governing_of(of).map(|margin| margin.mode.clone())
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
