//! Subjects: what evidence can be about, found from what panels use.

use super::{ArticleError, LayerRole, expand};
use crate::ledger::{Entry, Ledger};
use crate::record::{
    Address, FinishRef, Joint, MaterialKind, Panel, RecordKind, SubjectKind, SubjectLabel, Zone, without_kind,
};
use litemap::LiteMap;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;

/// One face of a bond.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Face {
    /// A recipe.
    Laminate(String),
    /// A sheet's material.
    Sheet(String),
}

impl fmt::Display for Face {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Face::Laminate(id) => write!(f, "laminate.{id}"),
            Face::Sheet(id) => write!(f, "sheet.{id}"),
        }
    }
}

/// What evidence can be about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Subject {
    /// Fibre and resin by one process.
    Lamina {
        /// The prepreg or the dry fabric.
        material: String,
        /// The resin of a dry fabric.
        resin: Option<String>,
        /// The process.
        process: String,
    },
    /// A recipe.
    Laminate(String),
    /// A recipe with its finish; `None` is bare.
    Painted(String, Option<String>),
    /// Two faces and the adhesive between, in the order of the faces' text.
    Bond {
        /// The adhesive.
        adhesive: String,
        /// The process.
        process: String,
        /// The faces.
        faces: Box<[Face; 2]>,
    },
    /// Solid sheet of a thickness in mm.
    Sheet(String, String),
    /// A panel.
    Panel(String),
    /// The whole.
    Programme,
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Subject::Lamina { material, resin: None, process } => write!(f, "lamina/{material}@{process}"),
            Subject::Lamina { material, resin: Some(resin), process } => {
                write!(f, "lamina/{material}+{resin}@{process}")
            }
            Subject::Laminate(recipe) => write!(f, "laminate/{recipe}"),
            Subject::Painted(recipe, finish) => {
                write!(f, "painted/{recipe}+{}", finish.as_deref().unwrap_or("bare"))
            }
            Subject::Bond { adhesive, process, faces } => {
                let [one, two] = &**faces;
                write!(f, "bond/{adhesive}@{process}:{one}+{two}")
            }
            Subject::Sheet(material, thickness) => write!(f, "sheet/{material}@{thickness}"),
            Subject::Panel(panel) => write!(f, "panel/{panel}"),
            Subject::Programme => f.write_str("programme"),
        }
    }
}

impl Subject {
    /// Returns which kind of subject this is.
    pub fn kind(&self) -> SubjectKind {
        match self {
            Subject::Lamina { .. } => SubjectKind::Lamina,
            Subject::Laminate(_) => SubjectKind::Laminate,
            Subject::Painted(..) => SubjectKind::Painted,
            Subject::Bond { .. } => SubjectKind::Bond,
            Subject::Sheet(..) => SubjectKind::Sheet,
            Subject::Panel(_) => SubjectKind::Panel,
            Subject::Programme => SubjectKind::Programme,
        }
    }

    /// Returns a bond with its faces in the order of their text.
    pub fn bond(adhesive: &str, process: &str, one: Face, two: Face) -> Self {
        let faces = if one.to_string() <= two.to_string() { [one, two] } else { [two, one] };
        Subject::Bond { adhesive: adhesive.to_string(), process: process.to_string(), faces: Box::new(faces) }
    }

    /// Reads the notation `lamina/MATERIAL@PROCESS` and its like.
    pub fn parse(text: &str) -> Option<Self> {
        if text == "programme" {
            return Some(Subject::Programme);
        }
        let (kind, rest) = text.split_once('/')?;
        match kind {
            "lamina" => {
                let (material, process) = rest.split_once('@')?;
                let (material, resin) = match material.split_once('+') {
                    Some((fabric, resin)) => (fabric, Some(resin.to_string())),
                    None => (material, None),
                };
                Some(Subject::Lamina { material: material.to_string(), resin, process: process.to_string() })
            }
            "laminate" => Some(Subject::Laminate(rest.to_string())),
            "painted" => {
                let (recipe, finish) = rest.split_once('+')?;
                Some(Subject::Painted(recipe.to_string(), (finish != "bare").then(|| finish.to_string())))
            }
            "bond" => {
                let (adhesive, rest) = rest.split_once('@')?;
                // A name of an import has a colon too.
                let at = [":laminate.", ":sheet."].iter().filter_map(|begin| rest.find(begin)).min()?;
                let (process, faces) = (rest.get(..at)?, rest.get(at + 1..)?);
                let (one, two) = faces.split_once('+')?;
                Some(Self::bond(adhesive, process, face(one)?, face(two)?))
            }
            "sheet" => {
                let (material, thickness) = rest.split_once('@')?;
                Some(Subject::Sheet(material.to_string(), sheet_thickness(thickness)?))
            }
            "panel" => Some(Subject::Panel(rest.to_string())),
            _ => None,
        }
    }

    /// Reads the one-key map that records write; `None` where its shape is wrong.
    pub fn from_label(label: &SubjectLabel) -> Option<Self> {
        let words = |list: &[crate::record::Text]| -> Vec<String> {
            list.iter().map(|text| without_kind(text.as_str())).collect()
        };
        if let Some(list) = &label.lamina {
            return match words(list).as_slice() {
                [material, process] => Some(Subject::Lamina {
                    material: material.clone(),
                    resin: None,
                    process: process.clone(),
                }),
                [fabric, resin, process] => Some(Subject::Lamina {
                    material: fabric.clone(),
                    resin: Some(resin.clone()),
                    process: process.clone(),
                }),
                _ => None,
            };
        }
        if let Some(recipe) = &label.laminate {
            return Some(Subject::Laminate(without_kind(recipe.as_str())));
        }
        if let Some(list) = &label.painted {
            return match words(list).as_slice() {
                [recipe, finish] => {
                    Some(Subject::Painted(recipe.clone(), (finish != "bare").then(|| finish.clone())))
                }
                _ => None,
            };
        }
        if let Some(list) = &label.bond {
            let list: Vec<&str> = list.iter().map(|text| text.as_str()).collect();
            return match list.as_slice() {
                [adhesive, process, one, two] => {
                    Some(Self::bond(&without_kind(adhesive), &without_kind(process), face(one)?, face(two)?))
                }
                _ => None,
            };
        }
        if let Some(list) = &label.sheet {
            return match list.as_slice() {
                [material, thickness] => Some(Subject::Sheet(
                    without_kind(material.as_str()),
                    sheet_thickness(thickness.as_str())?,
                )),
                _ => None,
            };
        }
        if let Some(panel) = &label.panel {
            return Some(Subject::Panel(without_kind(panel.as_str())));
        }
        (label.programme == Some(true)).then_some(Subject::Programme)
    }
}

fn face(text: &str) -> Option<Face> {
    let (kind, id) = text.split_once('.')?;
    match kind {
        "laminate" => Some(Face::Laminate(without_kind(id))),
        "sheet" => Some(Face::Sheet(without_kind(id))),
        _ => None,
    }
}

fn sheet_thickness(text: &str) -> Option<String> {
    crate::quantity::Length::parse(text).ok().map(|length| length.canonical("mm"))
}

/// Where a panel uses a subject.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sites {
    /// Zones, from 0 in written order.
    pub zones: Vec<usize>,
    /// Joints, from 0 in written order.
    pub joints: Vec<usize>,
}

/// Every subject in use, with the panels that use it; most subjects have few.
pub type Uses = BTreeMap<Subject, LiteMap<String, Sites>>;

/// Finds the subjects that panels use, released or not.
///
/// # Errors
/// [`ArticleError::Missing`] where a panel uses a record that can't be had.
pub fn uses(ledger: &Ledger) -> Result<Uses, ArticleError> {
    let mut all = Uses::new();
    for panel in ledger.panels.values() {
        panel_uses(ledger, panel, &mut all)?;
    }
    all.entry(Subject::Programme).or_default();
    // There are as many sites as panels have subjects, and most subjects have one panel, most sites one zone.
    for panels in all.values_mut() {
        let mut own = std::mem::take(panels).into_tuple_vec();
        own.shrink_to_fit();
        for (_, sites) in &mut own {
            sites.zones.shrink_to_fit();
            sites.joints.shrink_to_fit();
        }
        *panels = LiteMap::from_sorted_store_unchecked(own);
    }
    Ok(all)
}

fn panel_uses(ledger: &Ledger, panel: &Entry<Panel>, all: &mut Uses) -> Result<(), ArticleError> {
    let by = Address::new(RecordKind::Panel, panel.id.clone());
    let mut zone_use = |subject: Subject, at: usize| {
        let sites = all.entry(subject).or_default().entry(panel.id.clone()).or_default();
        if sites.zones.last() != Some(&at) {
            sites.zones.push(at);
        }
    };
    for (at, zone) in panel.value.zones.iter().enumerate() {
        zone_use(Subject::Panel(panel.id.clone()), at);
        if let Some(sheet) = &zone.sheet {
            zone_use(Subject::Sheet(sheet.material.id().to_string(), sheet.thickness.canonical("mm")), at);
        }
        let Some(recipe_ref) = &zone.recipe else { continue };
        let recipe = ledger
            .recipes
            .get(recipe_ref.id())
            .ok_or_else(|| ArticleError::Missing { needed: recipe_ref.address(), by: by.clone() })?;
        zone_use(Subject::Laminate(recipe.id.clone()), at);
        let finish = zone.finish.as_ref().map(|finish: &FinishRef| finish.id().to_string());
        zone_use(Subject::Painted(recipe.id.clone(), finish), at);
        for layer in expand(ledger, recipe)? {
            if layer.role != LayerRole::Ply {
                continue;
            }
            let dry = layer.material.value.kind == MaterialKind::Fabric;
            let resin = match (&recipe.value.resin, dry) {
                (Some(resin), true) => Some(resin.material.id().to_string()),
                (None, true) => {
                    return Err(ArticleError::Unstated {
                        address: Address::new(RecordKind::Recipe, recipe.id.clone()),
                        field: "resin".to_string(),
                    });
                }
                (_, false) => None,
            };
            let lamina = Subject::Lamina {
                material: layer.material.id.clone(),
                resin,
                process: recipe.value.process.id().to_string(),
            };
            zone_use(lamina, at);
        }
    }
    for (at, joint) in panel.value.joints.iter().enumerate() {
        if let Some(subject) = joint_subject(&panel.value, joint) {
            all.entry(subject).or_default().entry(panel.id.clone()).or_default().joints.push(at);
        }
    }
    Ok(())
}

/// Returns the zone that a joint's `between` names.
pub fn zone_named<'a>(panel: &'a Panel, name: &str) -> Option<&'a Zone> {
    panel.zones.iter().find(|zone| zone.name.as_str() == name || zone.name.as_str().replace(' ', "-") == name)
}

/// Returns the bond that a joint makes; `None` for one without process or faces.
pub fn joint_subject(panel: &Panel, joint: &Joint) -> Option<Subject> {
    let process = joint.process.as_ref()?;
    let [one, two] = joint.between.as_ref()?;
    let face = |name: &str| face_of(zone_named(panel, name)?);
    Some(Subject::bond(joint.adhesive.id(), process.id(), face(one.as_str())?, face(two.as_str())?))
}

/// Returns the face that a zone gives to a bond.
pub fn face_of(zone: &Zone) -> Option<Face> {
    match (&zone.recipe, &zone.sheet) {
        (Some(recipe), _) => Some(Face::Laminate(recipe.id().to_string())),
        (None, Some(sheet)) => Some(Face::Sheet(sheet.material.id().to_string())),
        (None, None) => None,
    }
}

/// Returns the zones, from 0, in which a panel uses a subject; of a bond, the zones of its faces.
pub fn zones_of(panel: &Panel, sites: &Sites) -> Vec<usize> {
    if !sites.zones.is_empty() {
        return sites.zones.clone();
    }
    let slug = |text: &str| text.replace(' ', "-");
    let mut all = Vec::new();
    for joint in sites.joints.iter().filter_map(|at| panel.joints.get(*at)) {
        for name in joint.between.iter().flatten() {
            all.extend(panel.zones.iter().position(|zone| slug(zone.name.as_str()) == slug(name.as_str())));
        }
    }
    all.sort_unstable();
    all.dedup();
    all
}
