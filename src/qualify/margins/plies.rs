//! Plies against their strengths, and laminates against the panel's design strains.

use super::laid::LaidUp;
use super::values::DesignValue;
use super::{Margin, Uncomputed, rests_of};
use crate::laminate::{
    Criterion, DesignStrain, FirstPly, LaminateError, Load, Mode, Position, PreparedLayer, USUAL_REMAINDER,
    first_ply_prepared, last_ply, recover_under, reserve, strain_peaks,
};
use crate::record::ComputedCheck;

/// Criteria that are worked out wherever strengths allow; the least margin of all governs.
const CRITERIA: [(Criterion, &str); 4] = [
    (Criterion::MaximumStress, "max-stress"),
    (Criterion::MaximumStrain, "max-strain"),
    (Criterion::TSAI_HILL, "tsai-hill"),
    (Criterion::TSAI_WU, "tsai-wu"),
];

/// What is said of every margin from plain specimens.
pub(super) const PLAIN: &str = "undamaged, unnotched";

/// One state of load that a case brings: where, and how much, factored.
#[derive(Debug, Clone)]
pub(super) struct Loading {
    /// Where on the plate, and which way the pressure acts; empty where it is the same all over.
    pub(super) place: String,
    /// Forces and moments factored; the change of temperature as it is.
    pub(super) load: Load,
    /// Shear forces Qx, Qy across the plate, N/m.
    pub(super) shears: [f64; 2],
    /// Pressure on the face, Pa.
    pub(super) pressure: f64,
}

/// A load case on one zone.
pub(super) struct Case<'a> {
    pub(super) name: &'a str,
    /// The zone or wall, in words.
    pub(super) place: &'a str,
    /// What its margins against strengths count as.
    pub(super) check: ComputedCheck,
    pub(super) laid: &'a LaidUp,
    pub(super) environment: Option<&'a str>,
    pub(super) loadings: &'a [Loading],
    /// Notes for every margin, such as that the case names no factor.
    pub(super) notes: &'a [String],
}

impl Case<'_> {
    /// What faces and core count as: a wall's are the section's.
    pub(super) fn sandwich_check(&self) -> ComputedCheck {
        if self.check == ComputedCheck::Section { ComputedCheck::Section } else { ComputedCheck::Sandwich }
    }

    pub(super) fn margin(
        &self,
        check: ComputedCheck,
        criterion: &'static str,
        mode: impl Into<String>,
        reserve: f64,
        words: String,
    ) -> Margin {
        Margin {
            check,
            case: self.name.to_string(),
            place: self.place.to_string(),
            criterion,
            mode: mode.into(),
            layer: None,
            margin: reserve - 1.0,
            words,
            environment: self.environment.map(str::to_string),
            rests: rests_of(&self.laid.used),
            notes: self.notes.to_vec(),
        }
    }

    pub(super) fn lacks(&self, check: ComputedCheck, why: impl ToString) -> Uncomputed {
        Uncomputed { check, case: self.name.to_string(), place: self.place.to_string(), why: why.to_string() }
    }
}

pub(super) fn face_word(position: Position) -> &'static str {
    match position {
        Position::Bottom => "bottom",
        Position::Middle => "middle",
        Position::Top => "top",
    }
}

/// Returns one margin a criterion, the least over all states of load of the case.
pub(super) fn strength(case: &Case<'_>, margins: &mut Vec<Margin>, uncomputed: &mut Vec<Uncomputed>) {
    let layers = case.laid.judged();
    for (criterion, name) in criteria(case.laid) {
        let prepared: Result<Vec<PreparedLayer>, LaminateError> =
            layers.iter().map(|layer| PreparedLayer::new(layer, criterion)).collect();
        let mut least: Option<(FirstPly, &Loading)> = None;
        let judged = prepared.and_then(|prepared| {
            for loading in case.loadings {
                match first_ply_prepared(prepared.iter(), &loading.load) {
                    Ok(found) if least.as_ref().is_none_or(|(known, _)| found.factor < known.factor) => {
                        least = Some((found, loading));
                    }
                    Ok(_) | Err(LaminateError::NoFailure) => {}
                    Err(problem) => return Err(problem),
                }
            }
            Ok(())
        });
        if let Err(problem) = judged {
            uncomputed.push(case.lacks(case.check, format!("{name}: {problem}")));
            continue;
        }
        let Some((found, loading)) = least else { continue };
        let words = format!(
            "first ply fails at {:.3} times the factored load{}{}",
            found.factor,
            at(&loading.place),
            stresses(case.laid, &loading.load, found.layer, found.position)
        );
        let mode = mode_word(case.laid, found.layer, found.leading);
        let mut margin = case.margin(case.check, name, mode, found.factor, words);
        margin.layer = case.laid.critical(found.layer, face_word(found.position));
        margin.notes.push(PLAIN.to_string());
        // Of a woven ply the fill carries as the warp does: there is no matrix to fail first.
        let woven = case.laid.carrying.iter().any(|layer| layer.woven);
        if criterion == Criterion::MaximumStress
            && !woven
            && let Ok(last) = last_ply(&layers, &loading.load, criterion, USUAL_REMAINDER)
        {
            margin.notes.push(format!(
                "last ply at some {:.2} times the factored load, by ply discount with {:.0} % of E2 and G12 left: an \
                 estimate",
                last.factor,
                USUAL_REMAINDER * 100.0
            ));
        }
        margins.push(margin);
    }
}

/// The criteria that a laminate is judged by: Hashin's only where every ply is unidirectional.
fn criteria(laid: &LaidUp) -> impl Iterator<Item = (Criterion, &'static str)> {
    let plies = || laid.carrying.iter().filter(|layer| layer.strengths.is_some());
    let hashin = plies().count() > 0 && plies().all(|layer| layer.unidirectional);
    CRITERIA.into_iter().chain(hashin.then_some((Criterion::Hashin, "hashin")))
}

/// How a ply fails: along the warp or the fill where it is woven.
fn mode_word(laid: &LaidUp, layer: usize, mode: Mode) -> &'static str {
    if !laid.carrying.get(layer).is_some_and(|own| own.woven) {
        return mode.name();
    }
    match mode {
        Mode::FibreTension => "warp tension",
        Mode::FibreCompression => "warp compression",
        Mode::MatrixTension => "fill tension",
        Mode::MatrixCompression => "fill compression",
        other => other.name(),
    }
}

/// Returns the margins of stresses that a change of temperature alone brings: the factor is on that change.
pub(super) fn held_back(
    case: &Case<'_>,
    load: &Load,
    margins: &mut Vec<Margin>,
    uncomputed: &mut Vec<Uncomputed>,
) {
    let layers = case.laid.judged();
    let states = match recover_under(&case.laid.elastic(), load) {
        Ok(states) => states,
        Err(problem) => return uncomputed.push(case.lacks(case.check, problem)),
    };
    for (criterion, name) in criteria(case.laid) {
        let mut least: Option<Margin> = None;
        for state in &states {
            let Some(layer) = layers.get(state.layer) else { continue };
            let Some(strength) = &layer.strength else { continue };
            let found = match reserve(criterion, &layer.lamina, strength, state.ply_stress, [0.0; 3]) {
                Ok(Some(found)) => found,
                Ok(None) => continue,
                Err(problem) => {
                    uncomputed.push(case.lacks(case.check, format!("{name}: {problem}")));
                    return;
                }
            };
            if least.as_ref().is_some_and(|known| known.margin <= found.margin()) {
                continue;
            }
            let [one, two, shear] = state.ply_stress.map(|stress| stress / 1e6);
            let words = format!(
                "{:+.0} K since the laminate was free of stress, which may be {:.3} times that; s1 {one:.1}, s2 {two:.1}, \
                 t12 {shear:.1} MPa",
                load.temperature, found.factor
            );
            let mode = mode_word(case.laid, state.layer, found.leading);
            let mut margin = case.margin(case.check, name, mode, found.factor, words);
            margin.layer = case.laid.critical(state.layer, face_word(state.position));
            margin.notes.push(PLAIN.to_string());
            least = Some(margin);
        }
        margins.extend(least);
    }
}

/// The stresses in ply axes at the critical point under the factored load, temperature included.
fn stresses(laid: &LaidUp, load: &Load, layer: usize, position: Position) -> String {
    let states = recover_under(&laid.elastic(), load).unwrap_or_default();
    let found = states.iter().find(|state| state.layer == layer && state.position == position);
    found.map_or_else(String::new, |state| {
        let [one, two, shear] = state.ply_stress.map(|stress| stress / 1e6);
        format!("; there s1 {one:.1}, s2 {two:.1}, t12 {shear:.1} MPa")
    })
}

pub(super) fn at(place: &str) -> String {
    if place.is_empty() { String::new() } else { format!(", {place}") }
}

/// Returns one margin a sense of strain that the panel names, the least over all states of load.
pub(super) fn design_strain(
    case: &Case<'_>,
    strains: &DesignStrain,
    values: &[DesignValue],
    margins: &mut Vec<Margin>,
    uncomputed: &mut Vec<Uncomputed>,
) {
    let layers = case.laid.judged();
    let senses = [
        ("tension", DesignStrain { tension: strains.tension, compression: None, shear: None }),
        ("compression", DesignStrain { tension: None, compression: strains.compression, shear: None }),
        ("shear", DesignStrain { tension: None, compression: None, shear: strains.shear }),
    ];
    for (sense, only) in senses {
        let Some(allowed) = only.tension.or(only.compression).or(only.shear) else { continue };
        let mut least: Option<Margin> = None;
        for loading in case.loadings {
            let peaks = match strain_peaks(&layers, &loading.load, &only) {
                Ok(peaks) => peaks,
                Err(problem) => {
                    uncomputed.push(case.lacks(case.check, format!("design strain: {problem}")));
                    return;
                }
            };
            let peak = peaks.tension.filter(|_| only.tension.is_some());
            let peak = peak.or(peaks.compression.filter(|_| only.compression.is_some()));
            let peak = peak.or(peaks.shear.filter(|_| only.shear.is_some()));
            let (Some(reserve), Some(peak)) = (peaks.reserve, peak) else { continue };
            if least.as_ref().is_none_or(|known| reserve - 1.0 < known.margin) {
                let words =
                    format!("{:.0} of {:.0} ustrain{}", peak.strain * 1e6, allowed * 1e6, at(&loading.place));
                let mode = format!("design strain, {sense}");
                let mut margin = case.margin(case.check, "design-strain", mode, reserve, words);
                margin.layer = case.laid.critical(peak.layer, face_word(peak.position));
                margin.rests.extend(rests_of(values));
                margin.rests.sort();
                margin.rests.dedup();
                least = Some(margin);
            }
        }
        margins.extend(least);
    }
}
