//! Temperatures of a zone's skin, what it must stay below, and how dark it may be.

use super::super::coverage::{TestedTo, bounds};
use super::super::duty::{Duty, DutyKey};
use super::Rest;
use crate::article::{
    ArticleError, Configuration, EMITTANCE, LayerRole, NoSkin, Subject, expand, lamina_in, skin,
};
use crate::finish::{
    ColourLimit, HeatLimit, Skin, Sunshine, WET_GLASS_TRANSITION_MARGIN, darkest, default_sky, heat_left,
};
use crate::ledger::{Entry, Ledger};
use crate::record::{Bounds, Figure, Material, MaterialKind, Panel, Showing, Zone};
use std::collections::BTreeMap;

/// A temperature that a zone's skin must stay below.
#[derive(Debug, Clone, PartialEq)]
pub struct Heat {
    /// What it is of, such as `wet Tg of material/cw-200-e1`.
    pub what: String,
    /// The temperature, K.
    pub temperature: f64,
    /// Whether it is a glass transition, which the rule keeps at a distance.
    pub is_tg: bool,
    /// Whether it is held against the structural skin, as tests are, and not against that on the ramp.
    pub is_structural: bool,
}

/// What limits the heat of a zone, as far as it is known.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct HeatLimits {
    pub(crate) known: Vec<Heat>,
    pub(crate) lacking: Vec<String>,
    /// Evidence that glass transitions come from.
    pub(crate) rests: Vec<Rest>,
}

/// How hot one zone gets, and what is left.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatReport {
    /// The zone.
    pub zone: String,
    /// What its absorptance belongs to.
    pub surface: String,
    /// Absorptance at its upper limit.
    pub absorptance: f64,
    /// Standing on the ramp, K.
    pub ramp: f64,
    /// When the structure is loaded, K.
    pub structural: f64,
    /// Each limit with what is left over the rule, K.
    pub limits: Vec<(Heat, f64)>,
    /// The largest absorptance that keeps all of them, and the one that governs.
    pub colour: Option<(ColourLimit, Option<String>)>,
    /// What is missing.
    pub lacking: Vec<String>,
    /// What had to be assumed.
    pub assumptions: Vec<String>,
}

/// Collects what must not get too hot in a zone's laminate: glass transitions and service temperatures.
///
/// # Errors
/// [`ArticleError`] names a material that can't be had.
pub(crate) fn heat_limits(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &str,
    zone: &Zone,
) -> Result<HeatLimits, ArticleError> {
    let mut found = HeatLimits::default();
    let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
        return Ok(found);
    };
    let mut seen: Vec<&str> = Vec::new();
    for layer in expand(ledger, recipe)? {
        if seen.contains(&layer.material.id.as_str()) {
            continue;
        }
        seen.push(&layer.material.id);
        let value = &layer.material.value;
        match layer.role {
            LayerRole::Core => match &value.service_temperature {
                Some(own) => found.known.push(Heat {
                    what: format!("service temperature of material/{}", layer.material.id),
                    temperature: own.si(),
                    is_tg: false,
                    is_structural: false,
                }),
                None => {
                    found.lacking.push(format!("material/{} has no `service_temperature`", layer.material.id))
                }
            },
            LayerRole::Ply => {
                let dry = value.kind == MaterialKind::Fabric;
                let resin = recipe.value.resin.as_ref().filter(|_| dry);
                let of = match resin {
                    Some(resin) => ledger.materials.get(resin.material.id()),
                    None => Some(layer.material),
                };
                let subject = Subject::Lamina {
                    material: layer.material.id.clone(),
                    resin: resin.map(|own| own.material.id().to_string()),
                    process: recipe.value.process.id().to_string(),
                };
                if let Some(of) = of {
                    glass_transition(ledger, duties, panel, of, Some(&subject), &mut found);
                }
            }
            LayerRole::Film | LayerRole::Surfacing => {
                glass_transition(ledger, duties, panel, layer.material, None, &mut found);
            }
            LayerRole::Mesh | LayerRole::Other => {}
        }
    }
    // The adhesive of a joint is as hot as the zones that it joins.
    let joints = ledger.panels.get(panel).map_or(&[][..], |own| own.value.joints.as_slice());
    for joint in joints.iter().filter(|joint| joint.between.iter().flatten().any(|own| *own == zone.name)) {
        if let Some(adhesive) = ledger.materials.get(joint.adhesive.id()) {
            glass_transition(ledger, duties, panel, adhesive, None, &mut found);
        }
    }
    Ok(found)
}

/// The wet glass transition as typed, else the least that a test showed for the ply.
fn glass_transition(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &str,
    material: &Entry<Material>,
    subject: Option<&Subject>,
    found: &mut HeatLimits,
) {
    let typed = material.value.wet_tg.as_ref().map(|own| own.si());
    let mut tested: Option<(f64, Rest)> = None;
    let is_wet = |showing: &Showing| {
        let moisture = showing.environment.as_ref().and_then(|own| own.moisture.as_ref());
        moisture.is_some_and(|own| own.as_str() != "as-fabricated")
    };
    let wet = ledger
        .showings
        .values()
        .filter(|own| own.value.kind.as_str() == "glass-transition" && is_wet(&own.value));
    for (showing, of) in wet.flat_map(|showing| subject.map(|of| (showing, of))) {
        let Some(duty) = duties.get(&(showing.id.clone(), of.clone())) else { continue };
        let judged = duty.panels.get(panel).or_else(|| duty.worst().map(|(_, worst)| worst));
        let Some(judged) = judged else { continue };
        let records: Vec<_> =
            judged.evidence.iter().filter_map(|id| ledger.evidence.get(id.as_str())).collect();
        let pool = super::super::pool::pool(ledger, &showing.value, &records);
        let kelvin = pool.values.iter().filter_map(|value| {
            Figure::of(*value, &pool.unit).number_in("degC").map(|degrees| degrees + 273.15)
        });
        let least = kelvin.fold(f64::INFINITY, f64::min);
        if least.is_finite() && tested.as_ref().is_none_or(|(known, _)| least < *known) {
            let rest = Rest { showing: showing.id.clone(), subject: of.clone(), verdict: judged.verdict };
            tested = Some((least, rest));
        }
    }
    // The lower of what is typed in and what was tested.
    let by_test = tested.filter(|(least, _)| typed.is_none_or(|typed| *least <= typed));
    let (temperature, what) = match (by_test, typed) {
        (Some((least, rest)), _) => {
            let what = format!("wet Tg of material/{}, showing/{}", material.id, rest.showing);
            found.rests.push(rest);
            (least, what)
        }
        (None, Some(typed)) => (typed, format!("wet Tg of material/{}", material.id)),
        (None, None) => {
            let words = format!("material/{} has no `wet_tg`, and no wet test gives one", material.id);
            if !found.lacking.contains(&words) {
                found.lacking.push(words);
            }
            return;
        }
    };
    if !found.known.iter().any(|known| known.what == what) {
        found.known.push(Heat { what, temperature, is_tg: true, is_structural: false });
    }
}

/// The coldest of the hot tests that the zone's structure is met by: the structural skin may not exceed it.
fn hottest_test(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &str,
    zone: &Zone,
) -> Result<Option<Heat>, ArticleError> {
    let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
        return Ok(None);
    };
    let mut least: Option<Heat> = None;
    // A ledger has many duties and few hot showings.
    let hot = ledger.showings.values().filter(|showing| bounds(&showing.value) == Bounds::Hot);
    let of = |showing: &str| {
        let first = Subject::Lamina { material: String::new(), resin: None, process: String::new() };
        let id = showing.to_string();
        duties.range((id.clone(), first)..).take_while(move |((of, _), _)| *of == id)
    };
    for ((showing, subject), duty) in hot.flat_map(|showing| of(&showing.id)) {
        let own = match subject {
            Subject::Laminate(id) | Subject::Painted(id, _) => *id == recipe.id,
            Subject::Lamina { .. } => lamina_in(ledger, subject, recipe)?,
            _ => false,
        };
        if !own {
            continue;
        }
        let Some(judged) = duty.panels.get(panel) else { continue };
        let tested = judged.evidence.iter().filter_map(|id| {
            let conformed = ledger.evidence.get(id.as_str())?.value.conformed.as_ref()?;
            TestedTo::read(conformed.tested.as_ref(), &Configuration::default()).temperature
        });
        for temperature in tested {
            if least.as_ref().is_none_or(|known| temperature < known.temperature) {
                least = Some(Heat {
                    what: format!("temperature of showing/{showing} as tested"),
                    temperature,
                    is_tg: false,
                    is_structural: true,
                });
            }
        }
    }
    Ok(least)
}

/// Works out the heat of every zone of a panel that the sun reaches.
///
/// # Errors
/// [`ArticleError`] names a record that can't be had.
pub fn heat_of(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &Entry<Panel>,
) -> Result<(Vec<HeatReport>, Vec<String>), ArticleError> {
    let (mut all, mut left_out) = (Vec::new(), Vec::new());
    for zone in &panel.value.zones {
        let hot = match skin(ledger, panel, zone)? {
            Ok(hot) => hot,
            Err(NoSkin::Shaded) => {
                left_out.push(format!("zone {}: the sun does not reach it", zone.name));
                continue;
            }
            Err(NoSkin::Sheet) => {
                let sheet = zone.sheet.as_ref().and_then(|own| ledger.materials.get(own.material.id()));
                let tg = sheet.and_then(|own| own.value.tg.as_ref());
                let tg = tg.map_or("no `tg` written".to_string(), |own| format!("Tg {}", own.text()));
                left_out.push(format!("zone {}: the balance does not model a sheet ({tg})", zone.name));
                continue;
            }
            Err(NoSkin::NoClimate) => {
                left_out.push(format!("zone {}: ledger.yaml names no `climate`", zone.name));
                continue;
            }
            Err(NoSkin::Refused(words)) => {
                left_out.push(format!("zone {}: {words}", zone.name));
                continue;
            }
        };
        let mut limits = heat_limits(ledger, duties, &panel.id, zone)?;
        limits.known.extend(hottest_test(ledger, duties, &panel.id, zone)?);
        let as_limits: Vec<HeatLimit> = limits.known.iter().map(as_limit).collect();
        let spare: Vec<f64> = match heat_left(&as_limits, hot.ramp, hot.structural) {
            Ok(left) => left.iter().map(|one| one.spare()).collect(),
            Err(problem) => {
                limits.lacking.push(format!("what is left of the limits of heat: {problem}"));
                Vec::new()
            }
        };
        let darkest = match sunshine(ledger, zone).map(|day| darkest(&as_limits, &day)) {
            Some(Ok(own)) => Some(own),
            Some(Err(problem)) => {
                limits.lacking.push(format!("the largest absorptance: {problem}"));
                None
            }
            None => None,
        };
        let colour = darkest.map(|own| {
            (own.limit, own.governs.and_then(|at| limits.known.get(at)).map(|one| one.what.clone()))
        });
        all.push(HeatReport {
            zone: zone.name.to_string(),
            surface: hot.surface,
            absorptance: hot.absorptance,
            ramp: hot.ramp,
            structural: hot.structural,
            limits: limits.known.into_iter().zip(spare).collect(),
            colour,
            lacking: limits.lacking,
            assumptions: hot.assumptions,
        });
    }
    Ok((all, left_out))
}

fn as_limit(own: &Heat) -> HeatLimit {
    HeatLimit {
        name: own.what.clone(),
        temperature: own.temperature,
        margin: if own.is_tg { WET_GLASS_TRANSITION_MARGIN } else { 0.0 },
        against: if own.is_structural { Skin::Structural } else { Skin::Ramp },
    }
}

/// The design day as a zone's surface sees it.
fn sunshine(ledger: &Ledger, zone: &Zone) -> Option<Sunshine> {
    let climate = ledger.head.as_ref()?.climate.as_ref()?;
    let colour = zone.finish.as_ref().and_then(|own| ledger.finishes.get(own.id()))?.value.colour.as_ref();
    let ambient = climate.ambient.si();
    let wind = climate.wind.as_ref().map_or(0.0, |own| own.si());
    Some(Sunshine {
        emittance: colour.and_then(|own| own.emittance.as_ref()).map_or(EMITTANCE, |own| own.si()),
        irradiance: climate.irradiance.si(),
        ambient,
        sky: match &climate.sky {
            Some(sky) => sky.si(),
            None => default_sky(ambient).ok()?,
        },
        ramp_wind: wind,
        structural_wind: climate.structural_wind.as_ref().map_or(wind, |own| own.si()),
    })
}
