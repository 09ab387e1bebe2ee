//! Bonds between sheet and laminate under unlike expansion.

use super::super::earlier::{Word, word};
use super::laid::laid_up;
use super::values::Values;
use super::zones::all_environments;
use super::{Margin, PanelMargins, Uncomputed, rests_of};
use crate::article::{ArticleError, skin};
use crate::laminate::{Adherend, Adhesive, free_strain, mismatch_shear, sheet_modulus, stiffness};
use crate::ledger::{Entry, Ledger};
use crate::record::{ComputedCheck, Joint, Panel, Zone};
use serde::{Deserialize, Serialize};

/// A bond of sheet at one temperature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MismatchState {
    /// The joint.
    pub joint: String,
    /// The environment whose values it stands on, where there are several.
    pub environment: Option<String>,
    /// `cold` or `hot`.
    #[serde(with = "word")]
    pub case: Word,
    /// Change since the bond set, K.
    pub change: f64,
    /// Shear stress at the ends, Pa.
    pub peak_shear: f64,
    /// Stress in the middle of the sheet, Pa; tension positive.
    pub sheet_stress: f64,
    /// Shear strain if the sheet were free, a bound for soft bonds.
    pub free_shear_strain: f64,
}

/// Works out every joint between a sheet and a laminate, cold and hot.
///
/// # Errors
/// [`ArticleError`] where the laminate can't be laid up.
pub(super) fn mismatch(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    values: &Values<'_>,
    found: &mut PanelMargins,
) -> Result<(), ArticleError> {
    for environment in all_environments(ledger, &panel.value) {
        let values = Values { environment: environment.as_deref(), ..*values };
        joints(ledger, panel, &values, found)?;
    }
    Ok(())
}

fn joints(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    values: &Values<'_>,
    found: &mut PanelMargins,
) -> Result<(), ArticleError> {
    for joint in &panel.value.joints {
        let Some(names) = &joint.between else { continue };
        let zone = |name: &crate::record::Text| panel.value.zones.iter().find(|zone| zone.name == *name);
        let (Some(one), Some(two)) = (zone(&names[0]), zone(&names[1])) else { continue };
        let (sheet, frame) = match (&one.sheet, &two.sheet) {
            (Some(_), None) => (one, two),
            (None, Some(_)) => (two, one),
            _ => continue,
        };
        if let Err(why) = bond(ledger, panel, joint, (sheet, frame), values, found)? {
            found.uncomputed.push(Uncomputed {
                check: ComputedCheck::Mismatch,
                case: String::new(),
                place: format!("joint {}", joint.name),
                why,
            });
        }
    }
    Ok(())
}

fn bond(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    joint: &Joint,
    (sheet_zone, frame_zone): (&Zone, &Zone),
    values: &Values<'_>,
    found: &mut PanelMargins,
) -> Result<Result<(), String>, ArticleError> {
    macro_rules! known {
        ($value:expr, $($why:tt)*) => {
            match $value {
                Some(value) => value,
                None => return Ok(Err(format!($($why)*))),
            }
        };
    }
    let sheet = known!(&sheet_zone.sheet, "zone {} is no sheet", sheet_zone.name);
    let material = known!(ledger.materials.get(sheet.material.id()), "its sheet cannot be read");
    let adhesive = known!(ledger.materials.get(joint.adhesive.id()), "its adhesive cannot be read");
    let recipe = frame_zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id()));
    let recipe = known!(recipe, "zone {} has no laminate", frame_zone.name);
    let sheet_cte = known!(&material.value.cte, "the sheet material/{} has no `cte`", material.id).si();
    let room = known!(&material.value.e, "the sheet material/{} has no `E`", material.id).si();
    let g =
        known!(&adhesive.value.shear_modulus, "the adhesive material/{} has no `shear_modulus`", adhesive.id);
    let thickness = joint.thickness.as_ref().or(adhesive.value.cured_thickness.as_ref());
    let thickness = known!(thickness, "the joint has no `thickness`");
    let process = joint.process.as_ref().and_then(|own| ledger.processes.get(own.id()));
    let set = process
        .and_then(|process| process.value.cure.as_ref())
        .and_then(|cycle| cycle.0.iter().map(|segment| segment.to.si()).reduce(f64::max));
    let set = known!(set, "its process has no `cure`: where the bond is free of stress is unknown");
    let laid = laid_up(ledger, recipe, values)?;
    if let Some(lacking) = laid.soft().next() {
        return Ok(Err(lacking.to_string()));
    }
    if let Some(layer) = laid.carrying.iter().find(|layer| !layer.expands) {
        let own = laid.layers.get(layer.at).map_or("", |own| own.material.as_str());
        return Ok(Err(format!("material/{own} has no expansion")));
    }
    found.note(&laid.used);
    let whole = stiffness(&laid.elastic()).and_then(|own| own.compliance());
    let whole = match whole {
        Ok(whole) => whole,
        Err(problem) => return Ok(Err(problem.to_string())),
    };
    // The stiffer way holds the sheet harder, and the one that expands less leaves it more to make up.
    let stiff = 1.0 / whole.alpha[0][0].min(whole.alpha[1][1]);
    let frame = Adherend { stiffness: stiff, thickness: laid.carrying_thickness() };
    let frame_cte = whole.expansion[0].min(whole.expansion[1]);
    // No straight run of a closed bond line is longer than half of it.
    let length = joint.length.si() / 2.0;
    let mut cases: Vec<(&'static str, f64)> = Vec::new();
    let exposure = crate::article::exposure_of(&panel.value, sheet_zone.exposure.as_ref());
    match &exposure.minimum {
        Some(minimum) => cases.push(("cold", minimum.si())),
        None => found.assumptions.push(format!(
            "panel/{} names no lowest temperature: the mismatch of joint {} is not judged in the cold",
            panel.id, joint.name
        )),
    }
    let mut hottest: Option<f64> = None;
    for zone in &panel.value.zones {
        if let Ok(hot) = skin(ledger, panel, zone)? {
            hottest = Some(hottest.map_or(hot.ramp, |known| known.max(hot.ramp)));
        }
    }
    if let Some(hot) = hottest {
        found.assumptions.push(format!(
            "panel/{}: the sheet at joint {} is taken to be as hot as the hottest painted skin beside it",
            panel.id, joint.name
        ));
        cases.push(("hot", hot));
    }
    if cases.is_empty() {
        return Ok(
            Err("neither a lowest temperature nor a climate says how cold or hot it gets".to_string()),
        );
    }
    for (case, temperature) in cases {
        let change = temperature - set;
        let tested: Vec<[f64; 2]> =
            material.value.modulus_at.iter().map(|own| [own.temperature.si(), own.e.si()]).collect();
        let hottest_tested = tested.iter().copied().max_by(|one, two| one[0].total_cmp(&two[0]));
        let modulus = match (sheet_modulus(&tested, temperature), hottest_tested) {
            (Ok(modulus), _) => modulus,
            // A sheet softens as it warms: what it was at the last test is more than it is beyond.
            (Err(_), Some([last, modulus])) if temperature > last => {
                found.assumptions.push(format!(
                    "material/{}: no modulus was tested at {:.0} degC; that at {:.0} degC, which is stiffer, is taken for \
                     the mismatch of a bond",
                    material.id,
                    temperature - 273.15,
                    last - 273.15
                ));
                modulus
            }
            (Err(_), None) if temperature > 296.15 => {
                found.assumptions.push(format!(
                    "material/{}: no modulus was tested when warm; that at room temperature, which is stiffer, is taken \
                     for the mismatch of a bond",
                    material.id
                ));
                room
            }
            (Err(problem), _) => {
                return Ok(Err(format!(
                    "the sheet material/{} at {:.0} degC, where it is stiffer than in a room: {problem}; write its \
                     `modulus_at`",
                    material.id,
                    temperature - 273.15
                )));
            }
        };
        let pane = Adherend::strip(modulus, sheet.thickness.si());
        let layer = Adhesive { g: g.si(), thickness: thickness.si() };
        let strain = free_strain(sheet_cte, frame_cte, change, 0.0);
        let bond = match mismatch_shear(&pane, &frame, &layer, length, strain) {
            Ok(bond) => bond,
            Err(problem) => return Ok(Err(problem.to_string())),
        };
        found.mismatch.push(MismatchState {
            joint: joint.name.to_string(),
            environment: values.environment.map(str::to_string),
            case,
            change,
            peak_shear: bond.peak_shear,
            sheet_stress: bond.sheet_stress,
            free_shear_strain: bond.free_shear_strain,
        });
        let mut push = |criterion, mode: &str, stress: f64, strength: f64| {
            if stress < 1.0 {
                return;
            }
            found.margins.push(Margin {
                check: ComputedCheck::Mismatch,
                case: case.to_string(),
                place: format!("joint {}", joint.name),
                criterion,
                mode: mode.to_string(),
                layer: None,
                margin: strength / stress - 1.0,
                words: format!(
                    "{:.3} of {:.3} MPa, {change:+.0} K since the bond set",
                    stress / 1e6,
                    strength / 1e6
                ),
                environment: values.environment.map(str::to_string),
                rests: rests_of(&laid.used),
                notes: vec![
                    "elastic shear lag at the temperature itself, no factor on it; peel, yielding and creep of the \
                     adhesive are left out"
                        .to_string(),
                ],
            });
        };
        if let Some(strength) = &adhesive.value.shear_strength {
            push("mismatch-shear", "bond shear by mismatch", bond.peak_shear, strength.si());
        }
        if let Some(craze) = &material.value.craze_stress {
            push("mismatch-craze", "crazing of the sheet by mismatch", bond.sheet_stress, craze.si());
        }
    }
    for (missing, key) in [
        (
            adhesive.value.shear_strength.is_none(),
            format!("the adhesive material/{} has no `shear_strength`", adhesive.id),
        ),
        (
            material.value.craze_stress.is_none(),
            format!("the sheet material/{} has no `craze_stress`", material.id),
        ),
    ] {
        if missing {
            return Ok(Err(key));
        }
    }
    Ok(Ok(()))
}
