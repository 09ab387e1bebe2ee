//! From an attribute of a configuration back to the place where somebody wrote it.

use super::{Configurator, Key, Name, ORDER, Subject, joint_subject};
use crate::ledger::Ledger;
use crate::record::{Address, MaterialKind, RecordKind};

/// Returns the record and the route that say an attribute of a subject, as a panel uses it.
///
/// `None` for attributes that no single place says.
pub fn trace(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    subject: &Subject,
    panel: Option<&str>,
    attribute: &str,
) -> Option<(Address, String)> {
    let key = Key::parse(attribute);
    let known = ORDER.contains(&key.base.as_str()) || key.base.starts_with("geometry.load.");
    if !known && !matches!(key.facet(), "skin" | "exposure") {
        return None;
    }
    let of_panel = || panel.map(|id| Address::new(RecordKind::Panel, id));
    match key.facet() {
        "claims" => return Some((of_panel()?, claim_route(&key.base).to_string())),
        "exposure" => return Some((of_panel()?, "exposure.minimum".to_string())),
        "edges" => return Some((of_panel()?, key.base.trim_start_matches("edges.").to_string())),
        "tool" => {
            let tool = ledger.panels.get(panel?)?.value.tool.as_ref()?;
            let field = match key.base.as_str() {
                "tool.chain" => "from",
                other => other.trim_start_matches("tool."),
            };
            return Some((tool.address(), field.to_string()));
        }
        _ => {}
    }
    match subject {
        Subject::Lamina { material, resin, process } => {
            lamina(ledger, &key, material, resin.as_deref(), process, panel)
        }
        Subject::Laminate(recipe) => laminate(ledger, configurator, &key, recipe, None),
        Subject::Painted(recipe, finish) => laminate(ledger, configurator, &key, recipe, finish.as_deref()),
        Subject::Sheet(material, _) => {
            Some((Address::new(RecordKind::Material, material.clone()), "designation".to_string()))
        }
        Subject::Panel(id) => zone_or_joint(ledger, configurator, &key, id),
        Subject::Bond { adhesive, process, .. } => {
            bond(ledger, configurator, &key, subject, adhesive, process, panel)
        }
        Subject::Programme => None,
    }
}

fn claim_route(base: &str) -> &'static str {
    match base {
        "claims.lightning" => "exposure.lightning",
        "claims.fluids" => "exposure.fluids",
        "claims.fasteners" => "fittings",
        "claims.hole" => "holes.largest",
        "claims.core-form" => "zones",
        _ => "exposure.zone",
    }
}

fn process(id: &str, key: &Key) -> (Address, String) {
    let field = match key.base.as_str() {
        "out-time.max_out_time" => "max_out_time",
        base if base.starts_with("site.") => "site",
        "cure.cycle" => "cure",
        base => base.trim_start_matches("cure."),
    };
    (Address::new(RecordKind::Process, id), field.to_string())
}

fn is_process(key: &Key) -> bool {
    key.facet() == "cure" || matches!(key.base.as_str(), "out-time.max_out_time" | "site.layup" | "site.bond")
}

/// The key of a material's record that says an attribute.
fn material_field(kind: MaterialKind, base: &str) -> &'static str {
    let ply = matches!(kind, MaterialKind::Prepreg);
    match base {
        "fibre.name" => "fibre.name",
        "fibre.type" => "fibre.type",
        "fibre.density" => "fibre.density",
        "fibre-areal" if ply => "fibre.areal",
        "fibre-areal" | "adhesive.areal" | "surfacing.areal" | "mesh.areal" => "areal",
        "weave.form" | "core.form" => "form",
        "weave.thickness" | "adhesive.thickness" | "surfacing.thickness" | "mesh.thickness" => {
            "cured_thickness"
        }
        "resin.name" => "resin.name",
        "resin.density" => "resin.density",
        "resin.family" => "resin.family",
        "resin-content" | "resin-content.route" => "resin.content",
        "resin-content.uptake" => "resin_uptake",
        "resin-content.fill" => "resin_fill",
        "out-time.out_life" => "out_life",
        "site.supplier" => "supplier",
        "site.material" => "site",
        "site.impregnation" => "impregnation",
        "core.cell" => "cell",
        "core-density" | "adhesive.density" => "density",
        "mesh.metal" => "metal",
        _ => "designation",
    }
}

fn lamina(
    ledger: &Ledger,
    key: &Key,
    material: &str,
    resin: Option<&str>,
    process_id: &str,
    panel: Option<&str>,
) -> Option<(Address, String)> {
    if key.facet() == "skin" || key.facet() == "colour" {
        return skin(ledger, panel?);
    }
    if is_process(key) {
        return Some(process(process_id, key));
    }
    let entry = ledger.materials.get(material)?;
    if let Some(resin) = resin {
        match key.facet() {
            "resin" => {
                let field = if key.base == "resin.density" { "density" } else { "designation" };
                return Some((Address::new(RecordKind::Material, resin), field.to_string()));
            }
            "resin-content" => {
                let recipe = ledger.panels.get(panel?)?.value.zones.iter().find_map(|zone| {
                    let recipe = ledger.recipes.get(zone.recipe.as_ref()?.id())?;
                    recipe
                        .value
                        .resin
                        .as_ref()
                        .filter(|own| own.material.id() == resin)
                        .map(|_| recipe.id.clone())
                })?;
                return Some((Address::new(RecordKind::Recipe, recipe), "resin.content".to_string()));
            }
            _ => {}
        }
    }
    let field = material_field(entry.value.kind, &key.base);
    Some((Address::new(RecordKind::Material, material), field.to_string()))
}

/// The colour that makes a panel hot: of its darkest finish.
fn skin(ledger: &Ledger, panel: &str) -> Option<(Address, String)> {
    let panel = ledger.panels.get(panel)?;
    let absorptance = |id: &str| {
        let colour = ledger.finishes.get(id)?.value.colour.as_ref()?.solar_absorptance.as_ref()?.high_si();
        Some(colour)
    };
    let darkest = panel.value.zones.iter().filter_map(|zone| zone.finish.as_ref()).max_by(|one, two| {
        absorptance(one.id()).unwrap_or(1.0).total_cmp(&absorptance(two.id()).unwrap_or(1.0))
    })?;
    Some((darkest.address(), "colour.solar_absorptance".to_string()))
}

fn laminate(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    key: &Key,
    recipe: &str,
    finish: Option<&str>,
) -> Option<(Address, String)> {
    let entry = ledger.recipes.get(recipe)?;
    let own = Address::new(RecordKind::Recipe, recipe);
    match (key.facet(), finish) {
        ("skin" | "colour", Some(finish)) => {
            let field =
                if key.base == "colour.emittance" { "colour.emittance" } else { "colour.solar_absorptance" };
            return Some((Address::new(RecordKind::Finish, finish), field.to_string()));
        }
        ("filler" | "primer" | "base-coat" | "top-coat" | "film-build", Some(finish)) => {
            return Some((Address::new(RecordKind::Finish, finish), "coats".to_string()));
        }
        _ => {}
    }
    if key.base == "site.paint" {
        let process = ledger.finishes.get(finish?)?.value.process.as_ref()?;
        return Some((process.address(), "site".to_string()));
    }
    if is_process(key) {
        return Some(process(entry.value.process.id(), key));
    }
    if key.base == "plies" || key.letter.is_empty() {
        return Some((own, "layers".to_string()));
    }
    let laid = configurator.laminate(recipe).ok()?;
    let (_, place, material) = laid.letters.iter().find(|(letter, ..)| *letter == key.letter)?;
    let dry =
        ledger.materials.get(material).is_some_and(|material| material.value.kind == MaterialKind::Fabric);
    match key.base.as_str() {
        "core-thickness" => Some((own, format!("layers.{place}.thickness"))),
        "mesh.depth" | "surfacing.depth" => Some((own, format!("layers.{place}.material"))),
        "resin-content" | "resin-content.route" if dry => Some((own, "resin.content".to_string())),
        base if dry && base.starts_with("resin.") => Some((own, "resin.material".to_string())),
        base => {
            let kind = ledger.materials.get(material)?.value.kind;
            Some((
                Address::new(RecordKind::Material, material.clone()),
                material_field(kind, base).to_string(),
            ))
        }
    }
}

fn zone_or_joint(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    key: &Key,
    panel: &str,
) -> Option<(Address, String)> {
    let entry = ledger.panels.get(panel)?;
    let own = Address::new(RecordKind::Panel, panel);
    let first = key.scope.split('.').next().unwrap_or_default();
    let number = |prefix: char| first.strip_prefix(prefix).and_then(|digits| digits.parse::<usize>().ok());
    let inner = Key { scope: Name::default(), ..*key };
    if let Some(at) = number('z') {
        let zone = entry.value.zones.get(at.checked_sub(1)?)?;
        let name = zone.name.as_str().replace(' ', "-");
        return match (key.facet(), &zone.recipe) {
            ("geometry", _) => {
                Some((own, format!("zones.{name}.{}", key.base.trim_start_matches("geometry."))))
            }
            ("environment", _) => Some((own, "exposure".to_string())),
            ("glazing", _) => Some((own, format!("zones.{name}.sheet"))),
            (_, Some(recipe)) => {
                let finish = zone.finish.as_ref().map(|finish| finish.id());
                laminate(ledger, configurator, &inner, recipe.id(), finish)
            }
            (_, None) => Some((own, format!("zones.{name}"))),
        };
    }
    if let Some(at) = number('j') {
        let joint = entry.value.joints.get(at.checked_sub(1)?)?;
        let name = joint.name.as_str().replace(' ', "-");
        return match (key.facet(), &joint.process) {
            ("geometry", _) => {
                Some((own, format!("joints.{name}.{}", key.base.trim_start_matches("geometry."))))
            }
            ("adhesive", _) => Some((joint.adhesive.address(), "designation".to_string())),
            (_, Some(id)) if is_process(key) => Some(process(id.id(), key)),
            _ => Some((own, format!("joints.{name}"))),
        };
    }
    let field = match key.base.as_str() {
        base if base.starts_with("geometry.load.") => {
            format!("loads.{}", base.trim_start_matches("geometry.load."))
        }
        base => base.trim_start_matches("geometry.").to_string(),
    };
    Some((own, field))
}

fn bond(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    key: &Key,
    subject: &Subject,
    adhesive: &str,
    process_id: &str,
    panel: Option<&str>,
) -> Option<(Address, String)> {
    let inner = Key { scope: Name::default(), ..*key };
    if let Subject::Bond { faces, .. } = subject
        && let Some(digits) = key.scope.strip_prefix('x')
    {
        let face = faces.get(digits.parse::<usize>().ok()?.checked_sub(1)?)?;
        return match face {
            super::Face::Laminate(recipe) => laminate(ledger, configurator, &inner, recipe, None),
            super::Face::Sheet(material) => {
                Some((Address::new(RecordKind::Material, material.clone()), "designation".to_string()))
            }
        };
    }
    match key.facet() {
        "geometry" => {
            let entry = ledger.panels.get(panel?)?;
            let joint = entry
                .value
                .joints
                .iter()
                .find(|joint| joint_subject(&entry.value, joint).as_ref() == Some(subject))?;
            let name = joint.name.as_str().replace(' ', "-");
            let field = key.base.trim_start_matches("geometry.");
            Some((Address::new(RecordKind::Panel, entry.id.clone()), format!("joints.{name}.{field}")))
        }
        "skin" | "colour" => skin(ledger, panel?),
        _ if is_process(key) => Some(process(process_id, key)),
        _ => {
            let kind = ledger.materials.get(adhesive)?.value.kind;
            Some((Address::new(RecordKind::Material, adhesive), material_field(kind, &key.base).to_string()))
        }
    }
}
