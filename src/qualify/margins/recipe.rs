//! Everything that mechanics says of one recipe.

use super::laid::{LaidUp, laid_up};
use super::zones::environments;
use super::{Margin, PanelMargins, Values};
use crate::article::stack::LaidLayer;
use crate::article::{ArticleError, LayerRole};
use crate::laminate::{Compliance, Deformation, Moduli, Stiffness, is_symmetric, stiffness};
use crate::ledger::{Entry, Ledger};
use crate::qualify::verdict::Evaluation;
use crate::record::{LoadPath, Panel, Recipe, Zone};
use std::sync::Arc;

/// Room temperature that a cured laminate is looked at, K.
const ROOM: f64 = 296.15;

/// One margin of a panel that uses the recipe.
#[derive(Debug, Clone, PartialEq)]
pub struct UsedMargin {
    /// The panel.
    pub panel: String,
    /// The margin.
    pub margin: Margin,
}

/// What the carrying layers do together.
#[derive(Debug, Clone, PartialEq)]
pub struct Mechanics {
    /// A, B, D about the middle of the carrying layers.
    pub stiffness: Stiffness,
    /// Its inverse.
    pub compliance: Compliance,
    /// Effective moduli in the plane.
    pub in_plane: Moduli,
    /// Effective moduli in bending.
    pub bending: Moduli,
    /// Whether the carrying layers mirror each other.
    pub symmetric: bool,
    /// Whether A16 and A26 are nothing.
    pub balanced: bool,
    /// Strain and curvature at room temperature after cure, with the change of temperature; `None` where an
    /// expansion or the cure is not known.
    pub after_cure: Option<(f64, Deformation)>,
}

/// A recipe with its mechanics.
#[derive(Debug, Clone, PartialEq)]
pub struct LaminateReport {
    /// Id.
    pub recipe: String,
    /// Title.
    pub title: Option<String>,
    /// Orientation code.
    pub code: String,
    /// Layers and design values.
    pub laid: LaidUp,
    /// The environment that the values are shown of, where they come from several.
    pub environment: Option<String>,
    /// Thickness of every layer that states one, m.
    pub thickness: f64,
    /// Areal mass of every layer, kg/m2.
    pub areal_mass: f64,
    /// Stiffness; `None` where no layer has elastic values or the stack is singular.
    pub mechanics: Result<Mechanics, String>,
    /// Margins of the panels that use it.
    pub loads: Vec<UsedMargin>,
    /// Load cases of those panels that can't be computed, with the panel.
    pub uncomputed: Vec<(String, super::Uncomputed)>,
    /// Panels that use it.
    pub panels: Vec<String>,
}

/// Works out a recipe.
///
/// # Errors
/// [`ArticleError`] where a record is missing or a figure that the stack needs is not written.
pub fn laminate_report(
    ledger: &Ledger,
    evaluation: &Evaluation,
    recipe: &Entry<Recipe>,
) -> Result<LaminateReport, ArticleError> {
    let margins = |panel: &str| evaluation.margins(ledger, panel);
    let uses = |zone: &Zone| zone.recipe.as_ref().is_some_and(|own| own.id() == recipe.id);
    let using = ledger.panels.values().filter(|panel| panel.value.zones.iter().any(uses)).collect();
    laminate_report_with(ledger, evaluation, recipe, using, &margins)
}

/// As [`laminate_report`], with the panels that use it and their margins from somebody who has them already.
///
/// # Errors
/// As [`laminate_report`].
pub(crate) fn laminate_report_with(
    ledger: &Ledger,
    evaluation: &Evaluation,
    recipe: &Entry<Recipe>,
    using: Vec<&Entry<Panel>>,
    margins_of: &dyn Fn(&str) -> Result<Arc<PanelMargins>, ArticleError>,
) -> Result<LaminateReport, ArticleError> {
    let duties = &evaluation.duties;
    // The strictest of the load paths that use it.
    let single = using.iter().any(|panel| panel.value.load_path == Some(LoadPath::Single));
    let values = Values {
        ledger,
        duties,
        panel: None,
        load_path: single.then_some(LoadPath::Single),
        environment: None,
    };
    let environment = environments(ledger, recipe, None).into_iter().next().flatten();
    let values = Values { environment: environment.as_deref(), ..values };
    let laid = laid_up(ledger, recipe, &values)?;
    let stack = crate::article::stack::stack(ledger, &recipe.id)?;
    let (mut loads, mut uncomputed) = (Vec::new(), Vec::new());
    for panel in &using {
        let margins = margins_of(&panel.id)?;
        let zones: Vec<String> = panel
            .value
            .zones
            .iter()
            .filter(|zone| zone.recipe.as_ref().is_some_and(|own| own.id() == recipe.id))
            .flat_map(|zone| places(&panel.value, zone))
            .collect();
        let own = margins.margins.iter().filter(|margin| zones.contains(&margin.place));
        loads.extend(own.map(|margin| UsedMargin { panel: panel.id.clone(), margin: margin.clone() }));
        // What stops the section stops the walls that the recipe makes.
        let walls = zones.iter().any(|place| place.starts_with("wall "));
        let own = |place: &String| zones.contains(place) || walls && place == "section";
        let lacking = margins.uncomputed.iter().filter(|one| own(&one.place));
        uncomputed.extend(lacking.map(|one| (panel.id.clone(), one.clone())));
    }
    Ok(LaminateReport {
        recipe: recipe.id.clone(),
        title: recipe.value.title.clone(),
        code: code(&laid),
        thickness: stack.thickness(),
        areal_mass: stack.areal(),
        mechanics: mechanics(&laid),
        environment: environment.clone(),
        laid,
        loads,
        uncomputed,
        panels: using.iter().map(|panel| panel.id.clone()).collect(),
    })
}

/// How margins name what a zone's laminate is part of: the zone, and walls of the section made of it.
fn places(panel: &Panel, zone: &Zone) -> Vec<String> {
    let walls = panel.section.iter().flat_map(|section| section.walls.iter().enumerate());
    let own = walls.filter(|(_, wall)| wall.zone.as_ref() == Some(&zone.name));
    let named = own.map(|(at, wall)| format!("wall {}", super::frame::wall_name(wall, at)));
    std::iter::once(format!("zone {}", zone.name)).chain(named).collect()
}

fn mechanics(laid: &LaidUp) -> Result<Mechanics, String> {
    if let Some(lacking) = laid.soft().next() {
        return Err(lacking.to_string());
    }
    if laid.carrying.is_empty() {
        return Err("no layer has elastic values".to_string());
    }
    let elastic = laid.elastic();
    let words = |problem: crate::laminate::LaminateError| problem.to_string();
    let stiffness = stiffness(&elastic).map_err(words)?;
    let compliance = stiffness.compliance().map_err(words)?;
    let expands = laid.carrying.iter().all(|layer| layer.expands);
    let after_cure = laid.stress_free.filter(|_| expands).and_then(|free| {
        let change = ROOM - free;
        Some((change, compliance.after_cure(change).ok()?))
    });
    Ok(Mechanics {
        symmetric: is_symmetric(&elastic).map_err(words)?,
        balanced: stiffness.is_balanced(),
        in_plane: compliance.in_plane(),
        bending: compliance.bending(),
        stiffness,
        compliance,
        after_cure,
    })
}

/// Writes a stack in an orientation code after ASTM D6507 (from memory): angles from the tool face, `/`
/// between, a subscript `_2` for repeats, `s` behind a stack that mirrors itself, a stroke over a middle layer
/// that counts once. Layers that are no plies stand by their letters: s surfacing, m mesh, f film, c core; where
/// there are several ply materials, each angle carries the letter of its own.
pub fn code(laid: &LaidUp) -> String {
    code_of(&laid.layers)
}

/// As [`code`], of layers alone.
pub(crate) fn code_of(layers: &[LaidLayer]) -> String {
    let mut plies: Vec<&str> = Vec::new();
    for layer in layers.iter().filter(|layer| layer.role == LayerRole::Ply) {
        if !plies.contains(&layer.material.as_str()) {
            plies.push(&layer.material);
        }
    }
    let word = |layer: &LaidLayer| {
        if layer.role != LayerRole::Ply {
            return layer.role.letter().to_string();
        }
        let angle = layer.angle.map_or(0.0, f64::to_degrees);
        let text = format!("{angle:.2}");
        let text = text.trim_end_matches('0').trim_end_matches('.').to_string();
        let own = plies.iter().position(|material| *material == layer.material).unwrap_or(0);
        if plies.len() > 1 {
            format!("{text}{}", char::from(b'A' + u8::try_from(own.min(25)).unwrap_or(25)))
        } else {
            text
        }
    };
    let words: Vec<String> = layers.iter().map(word).collect();
    let key = |at: usize| layers.get(at).map(|layer| (&layer.material, layer.angle, layer.thickness));
    let n = words.len();
    let mirrors = n > 1 && (0..n / 2).all(|at| key(at) == key(n - 1 - at));
    let half = if mirrors { n.div_ceil(2) } else { n };
    let mut parts: Vec<(String, usize)> = Vec::new();
    for (at, own) in words.iter().take(half).enumerate() {
        let middle = mirrors && n % 2 == 1 && at + 1 == half;
        let own = if middle { own.chars().flat_map(|c| [c, '\u{305}']).collect() } else { own.clone() };
        match parts.last_mut() {
            Some((known, count)) if *known == own && !middle => *count += 1,
            _ => parts.push((own, 1)),
        }
    }
    let text: Vec<String> = parts
        .iter()
        .map(|(own, count)| if *count > 1 { format!("{own}_{count}") } else { own.clone() })
        .collect();
    format!("[{}]{}", text.join("/"), if mirrors { "s" } else { "" })
}
