//! What the making of a panel asks: its moulds, the moisture that it takes up.

use super::Values;
use super::laid::{LaidUp, laid_up};
use super::zones::environments;
use crate::article::{ArticleError, LayerRole};
use crate::fabrication::moisture::{Faces, time_to_fraction};
use crate::fabrication::tooling::{
    Corner, MOULD_RULE, PATTERN_RULE, check_heat, mismatch, scale_factor, spring_in,
};
use crate::laminate::stiffness;
use crate::ledger::{Entry, Ledger};
use crate::qualify::duty::{Duty, DutyKey};
use crate::record::{Cycle, Panel, Tool};
use std::collections::BTreeMap;

/// Room temperature, K.
const ROOM: f64 = 296.15;
/// Diffusivity where none is written, m2/s; from memory for carbon epoxies at some 70 degC.
const DIFFUSIVITY: f64 = 3e-13;

/// One check of a tool, in figures.
#[derive(Debug, Clone, PartialEq)]
pub struct ToolCheck {
    /// The tool.
    pub tool: String,
    /// What is checked.
    pub what: String,
    /// What it comes to, in words.
    pub words: String,
    /// Whether the rule is kept; `None` where it is no rule.
    pub ok: Option<bool>,
    /// Where the rule comes from.
    pub source: &'static str,
}

/// Moisture of a zone's laminate.
#[derive(Debug, Clone, PartialEq)]
pub struct Moisture {
    /// The zone.
    pub zone: String,
    /// Thickness that takes it up, m: the laminate's, or the thicker face's of a sandwich.
    pub thickness: f64,
    /// Of what.
    pub of: String,
    /// Diffusivity, m2/s.
    pub diffusivity: f64,
    /// Time to 95 % of equilibrium with both faces exposed, s.
    pub both: f64,
    /// The same with one face exposed, s.
    pub one: f64,
    /// What had to be assumed.
    pub assumption: Option<String>,
}

/// Checks the mould of a panel and what it came from.
///
/// # Errors
/// [`ArticleError`] where a laminate can't be laid up.
pub fn tool_checks(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &Entry<Panel>,
) -> Result<(Vec<ToolCheck>, Vec<String>), ArticleError> {
    let (mut checks, mut lacking) = (Vec::new(), Vec::new());
    let Some(mould) = panel.value.tool.as_ref().and_then(|own| ledger.tools.get(own.id())) else {
        lacking.push("the panel names no `tool`".to_string());
        return Ok((checks, lacking));
    };
    // On the tool: the cure; a post-cure stands free as often, which the process does not say.
    let mut cures: Vec<(f64, String)> = Vec::new();
    let mut afterwards: Vec<String> = Vec::new();
    let mut laminates: Vec<LaidUp> = Vec::new();
    for zone in &panel.value.zones {
        let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
            continue;
        };
        let Some(process) = ledger.processes.get(recipe.value.process.id()) else { continue };
        if let Some(hottest) = hottest(process.value.cure.as_ref()) {
            cures.push((hottest, process.id.clone()));
        }
        if let Some(post) = hottest(process.value.postcure.as_ref()) {
            let words = format!(
                "process/{} post-cures at {:.0} degC: whether on the tool or free-standing is not recorded",
                process.id,
                post - 273.15
            );
            if !afterwards.contains(&words) {
                afterwards.push(words);
            }
        }
        // What a mould asks is of expansion and modulus: the first environment stands for all.
        let environment = environments(ledger, recipe, Some(&panel.value)).into_iter().next().flatten();
        let values = Values {
            ledger,
            duties,
            panel: Some(&panel.id),
            load_path: panel.value.load_path,
            environment: environment.as_deref(),
        };
        laminates.push(laid_up(ledger, recipe, &values)?);
    }
    let Some((cure, process)) = cures.iter().max_by(|one, two| one.0.total_cmp(&two.0)).cloned() else {
        lacking.push("no process of the panel has a `cure`".to_string());
        return Ok((checks, lacking));
    };
    lacking.extend(afterwards);
    heat(mould, cure, &format!("process/{process}"), &MOULD_RULE, &mut checks, &mut lacking);
    let mut of = mould;
    let mut seen = vec![mould.id.as_str()];
    while let Some(from) = of.value.from.as_ref().and_then(|own| ledger.tools.get(own.id())) {
        if seen.contains(&from.id.as_str()) {
            break;
        }
        seen.push(&from.id);
        lacking.push(format!(
            "tool/{}: at what temperature tool/{} was cured on it is not recorded; its glass transition must lie {:.0} K \
             above that ({})",
            from.id, of.id, PATTERN_RULE.margin, PATTERN_RULE.source
        ));
        of = from;
    }
    growth(mould, cure, &laminates, &mut checks, &mut lacking);
    for laid in &laminates {
        corner(ledger, mould, cure, laid, &mut checks, &mut lacking);
    }
    if let Some(pulls) = &mould.value.pulls
        && let Some(expected) = pulls.expected
    {
        let made = pulls.made.unwrap_or(0);
        let left = i64::from(expected) - i64::from(made);
        checks.push(ToolCheck {
            tool: mould.id.clone(),
            what: "pulls left".to_string(),
            words: format!("{left} of {expected}"),
            ok: Some(left > 0),
            source: "the tool's own record",
        });
    }
    Ok((checks, lacking))
}

fn hottest(cycle: Option<&Cycle>) -> Option<f64> {
    cycle?.0.iter().map(|segment| segment.to.si()).reduce(f64::max)
}

fn heat(
    tool: &Entry<Tool>,
    cure: f64,
    of: &str,
    rule: &crate::fabrication::tooling::Rule,
    checks: &mut Vec<ToolCheck>,
    lacking: &mut Vec<String>,
) {
    let Some(tg) = tool.value.tg.as_ref().map(|own| own.si()) else {
        lacking.push(format!(
            "tool/{} has no `tg`: whether it bears the cure is not known (metal has none)",
            tool.id
        ));
        return;
    };
    match check_heat(tg, &[cure], rule.margin) {
        Ok(check) => checks.push(ToolCheck {
            tool: tool.id.clone(),
            what: "glass transition over the cure".to_string(),
            words: format!(
                "Tg {:.0} degC, {:.0} degC needed for {of} at {:.0} degC, {:+.0} K to spare",
                tg - 273.15,
                check.needed - 273.15,
                cure - 273.15,
                check.spare
            ),
            ok: Some(check.is_kept()),
            source: rule.source,
        }),
        Err(problem) => lacking.push(format!("tool/{}: {problem}", tool.id)),
    }
}

/// How much more the tool grows than the part, over its longest side, and the scale that makes up for it.
fn growth(
    mould: &Entry<Tool>,
    cure: f64,
    laminates: &[LaidUp],
    checks: &mut Vec<ToolCheck>,
    lacking: &mut Vec<String>,
) {
    let Some(tool) = mould.value.cte.as_ref().map(|own| own.si()) else {
        lacking.push(format!("tool/{} has no `cte`", mould.id));
        return;
    };
    let part = laminates.iter().find_map(|laid| {
        let expands = laid.carrying.iter().all(|layer| layer.expands) && laid.soft().next().is_none();
        let whole = stiffness(&laid.elastic()).ok()?.compliance().ok()?;
        expands.then(|| (whole.expansion[0], laid.recipe.clone()))
    });
    let Some((part, of)) = part else {
        lacking.push("no laminate of the panel has all its expansions".to_string());
        return;
    };
    match scale_factor(tool, part, cure, ROOM) {
        Ok(factor) => checks.push(ToolCheck {
            tool: mould.id.clone(),
            what: "scale of the tool".to_string(),
            words: format!(
                "{factor:.6} (tool {:.1}, recipe/{of} along x {:.1} um/m/K)",
                tool * 1e6,
                part * 1e6
            ),
            ok: None,
            source: "both equally long when the part sets; common practice, no source",
        }),
        Err(problem) => lacking.push(format!("tool/{}: {problem}", mould.id)),
    }
    let longest = mould.value.footprint.iter().map(|side| side.si()).reduce(f64::max);
    match longest.map(|length| (length, mismatch(tool, part, cure, ROOM, length))) {
        Some((length, Ok(grows))) => checks.push(ToolCheck {
            tool: mould.id.clone(),
            what: "growth beyond the part's".to_string(),
            words: format!("{:+.2} mm over {length} m, {:.0} K up to the cure", grows * 1e3, cure - ROOM),
            ok: None,
            source: "linear expansion",
        }),
        Some((_, Err(problem))) => lacking.push(format!("tool/{}: {problem}", mould.id)),
        None => lacking.push(format!("tool/{} has no `footprint`", mould.id)),
    }
}

/// How far a right angle of a laminate closes, where the plies' expansion through the thickness is known.
fn corner(
    ledger: &Ledger,
    mould: &Entry<Tool>,
    cure: f64,
    laid: &LaidUp,
    checks: &mut Vec<ToolCheck>,
    lacking: &mut Vec<String>,
) {
    if let Some(soft) = laid.soft().next() {
        let words = format!("recipe/{}: {soft}: the spring-in of corners is not known", laid.recipe);
        if !lacking.contains(&words) {
            lacking.push(words);
        }
        return;
    }
    let whole = stiffness(&laid.elastic()).and_then(|own| own.compliance());
    let (Ok(whole), true) = (whole, laid.core.is_none() && laid.cores == 0) else { return };
    let mut sum = [0.0, 0.0];
    for layer in laid.layers.iter().filter(|layer| layer.role == LayerRole::Ply) {
        let own = ledger.materials.get(&layer.material).and_then(|own| own.value.lamina.as_ref());
        let Some(through) = own.and_then(|own| own.cte3.as_ref()).map(|own| own.si()) else {
            let words =
                format!("material/{} has no `cte3`: the spring-in of corners is not known", layer.material);
            if !lacking.contains(&words) {
                lacking.push(words);
            }
            return;
        };
        let thickness = layer.thickness.unwrap_or(0.0);
        sum[0] += through * thickness;
        sum[1] += thickness;
    }
    if sum[1] <= 0.0 || !laid.carrying.iter().all(|layer| layer.expands) {
        return;
    }
    let corner = Corner {
        swept: std::f64::consts::FRAC_PI_2,
        expansion_in_plane: whole.expansion[0],
        expansion_through: sum[0] / sum[1],
        temperature_change: ROOM - cure,
        shrinkage_in_plane: 0.0,
        shrinkage_through: 0.0,
    };
    match spring_in(&corner) {
        Ok(found) => checks.push(ToolCheck {
            tool: mould.id.clone(),
            what: format!("spring-in of a right angle of recipe/{}", laid.recipe),
            words: format!(
                "{:.2} degrees by heat alone; cure shrinkage adds to it",
                found.total().to_degrees()
            ),
            ok: None,
            source: "Nelson and Cairns 1989, Radford and Rennick 2000 (from memory)",
        }),
        Err(problem) => lacking.push(format!("recipe/{}: {problem}", laid.recipe)),
    }
}

/// Works out how long each laminate of a panel takes to 95 % of its moisture.
///
/// # Errors
/// [`ArticleError`] where a laminate can't be laid up.
pub fn moisture(
    ledger: &Ledger,
    duties: &BTreeMap<DutyKey, Duty>,
    panel: &Entry<Panel>,
) -> Result<Vec<Moisture>, ArticleError> {
    let mut all = Vec::new();
    for zone in &panel.value.zones {
        let Some(recipe) = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id())) else {
            continue;
        };
        let values = Values {
            ledger,
            duties,
            panel: Some(&panel.id),
            load_path: panel.value.load_path,
            environment: None,
        };
        let laid = laid_up(ledger, recipe, &values)?;
        // A core parts the faces; the thicker one is wet last.
        let mut runs: Vec<(f64, Vec<&str>)> = vec![(0.0, Vec::new())];
        for layer in &laid.layers {
            if layer.role == LayerRole::Core {
                runs.push((0.0, Vec::new()));
            } else if layer.role == LayerRole::Ply
                && let Some((sum, materials)) = runs.last_mut()
            {
                *sum += layer.thickness.unwrap_or(0.0);
                materials.push(&layer.material);
            }
        }
        let sandwich = runs.len() > 1;
        let Some((thickness, materials)) = runs.into_iter().max_by(|one, two| one.0.total_cmp(&two.0)) else {
            continue;
        };
        if thickness <= 0.0 {
            continue;
        }
        // The slowest of its plies.
        let written = materials
            .iter()
            .filter_map(|id| ledger.materials.get(*id)?.value.diffusivity.as_ref().map(|own| own.si()))
            .reduce(f64::min);
        let diffusivity = written.unwrap_or(DIFFUSIVITY);
        let time = |faces| time_to_fraction(0.95, diffusivity, thickness, faces);
        let (Ok(both), Ok(one)) = (time(Faces::Both), time(Faces::One)) else { continue };
        all.push(Moisture {
            zone: zone.name.to_string(),
            thickness,
            of: if sandwich { "the thicker face".to_string() } else { "the laminate".to_string() },
            diffusivity,
            both,
            one,
            assumption: written
                .is_none()
                .then(|| format!("no ply of recipe/{} gives a `diffusivity`: 3e-7 mm2/s assumed", recipe.id)),
        });
    }
    Ok(all)
}
