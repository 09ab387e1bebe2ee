//! Plies against their strengths, and laminates against the panel's design strains.

use super::laid::LaidUp;
use super::values::DesignValue;
use super::{Margin, Uncomputed, rests_of};
use crate::laminate::{
    Criterion, DesignStrain, LaminateError, Load, Position, USUAL_REMAINDER, first_ply, last_ply,
    recover_under, strain_peaks,
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
    let woven = case.laid.carrying.iter().any(|layer| layer.woven);
    let hashin = (!woven).then_some((Criterion::Hashin, "hashin"));
    for (criterion, name) in CRITERIA.into_iter().chain(hashin) {
        let mut least: Option<Margin> = None;
        for loading in case.loadings {
            let found = match first_ply(&layers, &loading.load, criterion) {
                Ok(found) => found,
                Err(LaminateError::NoFailure) => continue,
                Err(problem) => {
                    uncomputed.push(case.lacks(case.check, format!("{name}: {problem}")));
                    least = None;
                    break;
                }
            };
            if least.as_ref().is_none_or(|known| found.margin() < known.margin) {
                let words = format!(
                    "first ply fails at {:.3} times the factored load{}{}",
                    found.factor,
                    at(&loading.place),
                    stresses(case.laid, &loading.load, found.layer, found.position)
                );
                let mut margin = case.margin(case.check, name, found.leading.name(), found.factor, words);
                margin.layer = case.laid.critical(found.layer, face_word(found.position));
                margin.notes.push(PLAIN.to_string());
                if criterion == Criterion::MaximumStress
                    && let Ok(last) = last_ply(&layers, &loading.load, criterion, USUAL_REMAINDER)
                {
                    margin.notes.push(format!(
                        "last ply at some {:.2} times the factored load, by ply discount with {:.0} % of E2 and G12 left: \
                         an estimate",
                        last.factor,
                        USUAL_REMAINDER * 100.0
                    ));
                }
                least = Some(margin);
            }
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
                    uncomputed.push(case.lacks(ComputedCheck::Strength, format!("design strain: {problem}")));
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
                let mut margin = case.margin(ComputedCheck::Strength, "design-strain", mode, reserve, words);
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
