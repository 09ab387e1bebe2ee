//! Skin temperatures of a panel's zones in the programme's climate.

use super::{ArticleError, LayerRole, expand, exposure_of};
use crate::finish::{Balance, FinishError, default_sky, skin_temperature};
use crate::ledger::{Entry, Ledger};
use crate::record::{Address, Climate, FibreType, Panel, RecordKind, Zone};

/// Absorptance of bare carbon; common practice, no source.
const BARE_CARBON: f64 = 0.95;
/// Where nothing is known the sun is absorbed whole.
const UNKNOWN: f64 = 1.0;
/// Emittance where none is written: paint and bare laminate alike, common practice, no source.
pub const EMITTANCE: f64 = 0.90;

/// How hot a zone gets.
#[derive(Debug, Clone, PartialEq)]
pub struct Skin {
    /// Standing on the ramp, K.
    pub ramp: f64,
    /// When the structure is loaded, K.
    pub structural: f64,
    /// Absorptance taken.
    pub absorptance: f64,
    /// What the absorptance belongs to, in words.
    pub surface: String,
    /// What had to be assumed.
    pub assumptions: Vec<String>,
}

/// Why a zone has no skin temperature.
#[derive(Debug, Clone, PartialEq)]
pub enum NoSkin {
    /// The sun does not reach it.
    Shaded,
    /// It is made of sheet, which the balance does not model.
    Sheet,
    /// The ledger names no climate.
    NoClimate,
    /// The balance has no answer for the figures given.
    Refused(String),
}

/// Returns how hot a zone gets.
///
/// # Errors
/// [`ArticleError`] names the record that is missing.
///
/// # Source
/// The balance is [`skin_temperature`]'s; the absorptance is taken at its upper limit.
pub fn skin(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    zone: &Zone,
) -> Result<Result<Skin, NoSkin>, ArticleError> {
    if exposure_of(&panel.value, zone.exposure.as_ref()).sun == Some(false) {
        return Ok(Err(NoSkin::Shaded));
    }
    let Some(recipe_ref) = &zone.recipe else { return Ok(Err(NoSkin::Sheet)) };
    let Some(climate) = ledger.head.as_ref().and_then(|head| head.climate.as_ref()) else {
        return Ok(Err(NoSkin::NoClimate));
    };
    let mut assumptions = Vec::new();
    let by = Address::new(RecordKind::Panel, panel.id.clone());
    let (absorptance, emittance, surface) = match &zone.finish {
        Some(finish) => {
            let entry = ledger
                .finishes
                .get(finish.id())
                .ok_or_else(|| ArticleError::Missing { needed: finish.address(), by: by.clone() })?;
            let colour = entry.value.colour.as_ref();
            let absorptance = match colour.and_then(|colour| colour.solar_absorptance.as_ref()) {
                Some(absorptance) => absorptance.high_si(),
                None => {
                    assumptions.push(format!(
                        "finish/{} gives no solar absorptance: {UNKNOWN:.2} assumed",
                        finish.id()
                    ));
                    UNKNOWN
                }
            };
            let emittance = match colour.and_then(|colour| colour.emittance.as_ref()) {
                Some(emittance) => emittance.si(),
                None => {
                    assumptions
                        .push(format!("finish/{} gives no emittance: {EMITTANCE:.2} assumed", finish.id()));
                    EMITTANCE
                }
            };
            (absorptance.min(1.0), emittance, format!("finish/{}", finish.id()))
        }
        None => {
            let recipe = ledger
                .recipes
                .get(recipe_ref.id())
                .ok_or_else(|| ArticleError::Missing { needed: recipe_ref.address(), by: by.clone() })?;
            let outer = expand(ledger, recipe)?.into_iter().find(|layer| layer.role == LayerRole::Ply);
            let fibre = outer.and_then(|layer| layer.material.value.fibre.as_ref().map(|fibre| fibre.kind));
            assumptions.push(format!("recipe/{} is bare: emittance {EMITTANCE:.2} assumed", recipe.id));
            if fibre == Some(FibreType::Carbon) {
                (BARE_CARBON, EMITTANCE, "bare carbon".to_string())
            } else {
                assumptions.push(format!("recipe/{} is bare: absorptance {UNKNOWN:.2} assumed", recipe.id));
                (UNKNOWN, EMITTANCE, "bare".to_string())
            }
        }
    };
    Ok(match both(climate, absorptance, emittance, &mut assumptions) {
        Ok((ramp, structural)) => Ok(Skin { ramp, structural, absorptance, surface, assumptions }),
        Err(fault) => Err(NoSkin::Refused(fault.to_string())),
    })
}

fn both(
    climate: &Climate,
    absorptance: f64,
    emittance: f64,
    assumptions: &mut Vec<String>,
) -> Result<(f64, f64), FinishError> {
    let ambient = climate.ambient.si();
    let sky = match &climate.sky {
        Some(sky) => sky.si(),
        None => {
            assumptions.push("ledger#climate.sky is not given: 0.0552 Ta^1.5 assumed".to_string());
            default_sky(ambient)?
        }
    };
    let wind = climate.wind.as_ref().map_or(0.0, |wind| wind.si());
    let structural_wind = climate.structural_wind.as_ref().map_or(wind, |wind| wind.si());
    let at = |wind: f64| {
        skin_temperature(Balance {
            absorptance,
            emittance,
            irradiance: climate.irradiance.si(),
            ambient,
            sky,
            wind,
        })
    };
    Ok((at(wind)?, at(structural_wind)?))
}
