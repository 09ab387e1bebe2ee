//! The frame section of a panel: whole and with its pane lost.

use super::super::earlier::{Word, word};
use super::core::{LEAST_STRESS, faces, sandwich};
use super::laid::{LaidUp, laid_up};
use super::plies::{Case, Loading, design_strain, strength};
use super::values::Values;
use super::zones::{all_environments, strains};
use super::{Margin, PanelMargins, Rest, Uncomputed, rests_of};
use crate::article::ArticleError;
use crate::laminate::{
    Compliance, Load, Rigidity, Section, SectionLoad, SectionResponse, Wall, WallKind, long_load_modulus,
    sheet_modulus, stiffness,
};
use crate::ledger::{Entry, Ledger};
use crate::record::{
    ComputedCheck, Joint, LoadDuration, Material, Panel, SectionLoad as LoadCase, SectionWall, Zone,
};
use serde::{Deserialize, Serialize};

/// What a wall bears under one load case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WallReport {
    /// The load case; of a lost pane it says so.
    pub case: String,
    /// The environment whose values it stands on, where there are several.
    pub environment: Option<String>,
    /// The wall.
    pub wall: String,
    /// `laminate`, `sheet` or `bond`.
    #[serde(with = "word")]
    pub kind: Word,
    /// Shear flow of greatest size, N/m, factored.
    pub flow: f64,
    /// The same as a stress, over the wall's thickness or the bond's width, Pa.
    pub shear_stress: f64,
    /// Stress along the member at its two ends, Pa; none for a bond.
    pub axial_stress: Option<[f64; 2]>,
}

/// Stiffness of a section, whole and with the pane lost, and what its walls bear.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameState {
    /// EA, centroid, EI.
    pub rigidity: Rigidity,
    /// Torsional stiffness GJ, N m2; of the environment whose values make it softest.
    pub gj: f64,
    /// Cells that the walls close.
    pub cells: usize,
    /// Where a transverse load does not twist it, [y, z] in m.
    pub shear_centre: Option<[f64; 2]>,
    /// GJ, EA, EI without the pane, where there is one.
    pub lost: Option<(f64, Rigidity)>,
    /// Why nothing is said of the pane lost.
    pub lost_why: Option<String>,
    /// What walls bear.
    pub walls: Vec<WallReport>,
    /// Evidence that it rests on.
    pub rests: Vec<Rest>,
    /// The environment whose values it stands on, where there are several.
    pub environment: Option<String>,
}

/// One wall ready for the section, whatever the modulus of the sheet.
enum Ready {
    Laminate { wall: Wall, laid: Box<LaidUp> },
    Sheet { from: usize, to: usize, e: f64, g: f64, thickness: f64, material: String },
    Bond { wall: Wall, adhesive: String },
}

/// Works out the section of a panel.
///
/// # Errors
/// [`ArticleError`] where a laminate of it can't be laid up.
pub(super) fn frame(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    values: &Values<'_>,
    found: &mut PanelMargins,
) -> Result<(), ArticleError> {
    if panel.value.section.is_none() {
        return Ok(());
    }
    for environment in all_environments(ledger, &panel.value) {
        let values = Values { environment: environment.as_deref(), ..*values };
        in_environment(ledger, panel, &values, found)?;
    }
    Ok(())
}

fn in_environment(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    values: &Values<'_>,
    found: &mut PanelMargins,
) -> Result<(), ArticleError> {
    let Some(section) = &panel.value.section else { return Ok(()) };
    let mut lacking = Vec::new();
    let corners: Vec<&String> = section.corners.keys().collect();
    let nodes: Vec<[f64; 2]> = section.corners.values().map(|[y, z]| [y.si(), z.si()]).collect();
    let mut walls = Vec::new();
    for (at, own) in section.walls.iter().enumerate() {
        let node = |name: &str| corners.iter().position(|corner| corner.as_str() == name);
        let (Some(from), Some(to)) = (node(own.from.as_str()), node(own.to.as_str())) else { continue };
        match ready(ledger, panel, own, (from, to), values)? {
            Ok(wall) => walls.push((wall_name(own, at), wall)),
            Err(why) => lacking.push(format!("wall {}: {why}", wall_name(own, at))),
        }
    }
    let lack = |place: &str, case: &str, why: String| Uncomputed {
        check: ComputedCheck::Section,
        case: case.to_string(),
        place: place.to_string(),
        why,
    };
    if !lacking.is_empty() {
        found.no_section.extend(lacking.iter().cloned());
        found.uncomputed.extend(lacking.into_iter().map(|why| lack("section", "", why)));
        return Ok(());
    }
    let bench = Bench { ledger, panel: &panel.value, values, nodes, walls };
    let whole = match bench.section(None) {
        Ok(whole) => whole,
        Err(why) => {
            found.no_section.push(why.clone());
            found.uncomputed.push(lack("section", "", why));
            return Ok(());
        }
    };
    let mut state = FrameState {
        rigidity: whole.rigidity(),
        gj: whole.torsion().gj,
        cells: whole.torsion().circuits,
        shear_centre: whole.shear_centre().ok(),
        lost: None,
        lost_why: None,
        walls: Vec::new(),
        rests: Vec::new(),
        environment: values.environment.map(str::to_string),
    };
    for (_, wall) in &bench.walls {
        if let Ready::Laminate { laid, .. } = wall {
            found.note(&laid.used);
            // A stiffness stands on moduli, which are means; no strength has a part in it.
            let moduli: Vec<_> = laid.used.iter().filter(|value| value.is_mean()).cloned().collect();
            state.rests.extend(rests_of(&moduli));
        }
    }
    state.rests.sort();
    state.rests.dedup();
    if whole.closed_gj().is_err() {
        found.uncomputed.push(lack("section", "", "the section does not close".to_string()));
    }
    if bench.walls.iter().any(|(_, wall)| matches!(wall, Ready::Sheet { .. })) {
        match whole.pane_loss() {
            Ok(loss) => state.lost = Some((loss.lost.gj, loss.rigidity)),
            Err(problem) => state.lost_why = Some(bench.named(&problem.to_string())),
        }
    }
    for load in &section.loads {
        bench.case(load, &mut state, found);
    }
    if section.loads.is_empty() {
        found.uncomputed.push(lack("section", "", "the section names no `loads`".to_string()));
    }
    match &mut found.section {
        Some(known) => {
            let softer = state.gj < known.gj;
            known.walls.append(&mut state.walls);
            // The stiffness that counts is the least, whatever environment's values it stands on.
            if softer {
                state.walls = std::mem::take(&mut known.walls);
                *known = state;
            }
        }
        None => found.section = Some(state),
    }
    Ok(())
}

pub(super) fn wall_name(own: &SectionWall, at: usize) -> String {
    let named = own.name.as_ref().or(own.zone.as_ref()).or(own.joint.as_ref());
    named.map_or_else(|| format!("{}", at + 1), ToString::to_string)
}

type OrLacking<T> = Result<Result<T, String>, ArticleError>;

fn ready(
    ledger: &Ledger,
    panel: &Entry<Panel>,
    own: &SectionWall,
    (from, to): (usize, usize),
    values: &Values<'_>,
) -> OrLacking<Ready> {
    if let Some(name) = &own.joint {
        let joint = panel.value.joints.iter().find(|joint| joint.name == *name);
        return Ok(joint.map_or_else(
            || Err(format!("the panel has no joint `{name}`")),
            |joint| bond(ledger, joint, (from, to)),
        ));
    }
    let zone = own.zone.as_ref().and_then(|name| panel.value.zones.iter().find(|zone| zone.name == *name));
    let Some(zone) = zone else { return Ok(Err("it names no zone of the panel".to_string())) };
    if zone.sheet.is_some() {
        return Ok(sheet(ledger, zone, (from, to)));
    }
    let recipe = zone.recipe.as_ref().and_then(|own| ledger.recipes.get(own.id()));
    let Some(recipe) = recipe else { return Ok(Err(format!("zone {} has no laminate", zone.name))) };
    let laid = laid_up(ledger, recipe, values)?;
    if let Some(lacking) = laid.soft().next() {
        return Ok(Err(lacking.to_string()));
    }
    Ok(laminate_wall(&laid, (from, to)).map(|wall| Ready::Laminate { wall, laid: Box::new(laid) }))
}

/// A laminate's wall: x of the laminate runs along the member.
fn laminate_wall(laid: &LaidUp, (from, to): (usize, usize)) -> Result<Wall, String> {
    let words = |problem: crate::laminate::LaminateError| problem.to_string();
    let whole: Compliance = stiffness(&laid.elastic()).map_err(words)?.compliance().map_err(words)?;
    let thickness = match faces(laid).map_err(words)? {
        Some(faces) => faces.faces.iter().map(super::core::OneFace::thickness).sum(),
        None => laid.carrying_thickness(),
    };
    let (alpha, delta) = (whole.alpha, whole.delta);
    Ok(Wall::laminate(from, to, [alpha[0][0], alpha[2][2]], [delta[0][0], delta[2][2]], thickness))
}

fn sheet(ledger: &Ledger, zone: &Zone, (from, to): (usize, usize)) -> Result<Ready, String> {
    let own = zone.sheet.as_ref().ok_or("it is no sheet")?;
    let material = ledger.materials.get(own.material.id()).ok_or("its material cannot be read")?;
    let lacks = |key: &str| format!("the sheet material/{} has no `{key}`", material.id);
    let e = material.value.e.as_ref().ok_or_else(|| lacks("E"))?.si();
    let g = match (&material.value.g, &material.value.nu) {
        (Some(g), _) => g.si(),
        (None, Some(nu)) => e / (2.0 * (1.0 + nu.si())),
        (None, None) => return Err(lacks("nu")),
    };
    Ok(Ready::Sheet { from, to, e, g, thickness: own.thickness.si(), material: material.id.clone() })
}

fn bond(ledger: &Ledger, joint: &Joint, (from, to): (usize, usize)) -> Result<Ready, String> {
    let material = ledger.materials.get(joint.adhesive.id()).ok_or("its adhesive cannot be read")?;
    let g = material.value.shear_modulus.as_ref();
    let g = g.ok_or_else(|| format!("the adhesive material/{} has no `shear_modulus`", material.id))?;
    let thickness = joint.thickness.as_ref().or(material.value.cured_thickness.as_ref());
    let thickness = thickness.ok_or_else(|| format!("the joint `{}` has no `thickness`", joint.name))?;
    let wall = Wall::bond(from, to, joint.width.si(), thickness.si(), g.si());
    Ok(Ready::Bond { wall, adhesive: material.id.clone() })
}

/// The modulus of a sheet at a temperature and for as long as the load lasts, over the one at room.
fn sheet_share(material: &Material, id: &str, load: &LoadCase, e: f64) -> Result<f64, String> {
    let mut modulus = e;
    if let Some(temperature) = &load.temperature {
        let tested: Vec<[f64; 2]> =
            material.modulus_at.iter().map(|own| [own.temperature.si(), own.e.si()]).collect();
        modulus = sheet_modulus(&tested, temperature.si())
            .map_err(|problem| format!("the sheet material/{id} at {}: {problem}", temperature.text()))?;
    }
    if load.duration == Some(LoadDuration::Long) {
        let creep = material.creep.as_ref();
        let creep = creep.ok_or_else(|| format!("the sheet material/{id} has no `creep` for a long load"))?;
        modulus = long_load_modulus(modulus, creep.si()).map_err(|problem| problem.to_string())?;
    }
    Ok(modulus / e)
}

struct Bench<'a> {
    ledger: &'a Ledger,
    panel: &'a Panel,
    values: &'a Values<'a>,
    nodes: Vec<[f64; 2]>,
    walls: Vec<(String, Ready)>,
}

impl Bench<'_> {
    /// Says `wall 2` by its name: numbers count from 0 in what the engineering says.
    fn named(&self, words: &str) -> String {
        let mut all = String::new();
        let mut rest = words;
        while let Some((before, after)) = rest.split_once("wall ") {
            all.push_str(before);
            all.push_str("wall ");
            let end = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
            let (number, behind) = after.split_at(end);
            let name =
                number.parse::<usize>().ok().and_then(|at| self.walls.get(at)).map(|(name, _)| name.as_str());
            all.push_str(name.unwrap_or(number));
            rest = behind;
        }
        all.push_str(rest);
        all
    }

    /// The section as it is under a load case, or at room temperature and for a short while.
    fn section(&self, load: Option<&LoadCase>) -> Result<Section, String> {
        let mut walls = Vec::with_capacity(self.walls.len());
        for (name, ready) in &self.walls {
            walls.push(match ready {
                Ready::Laminate { wall, .. } | Ready::Bond { wall, .. } => *wall,
                Ready::Sheet { from, to, e, g, thickness, material } => {
                    let entry = self.ledger.materials.get(material).ok_or("its material cannot be read")?;
                    let share = match load {
                        Some(load) => sheet_share(&entry.value, material, load, *e)
                            .map_err(|why| format!("wall {name}: {why}"))?,
                        None => 1.0,
                    };
                    Wall::of_moduli(*from, *to, e * share, g * share, *thickness).as_pane()
                }
            });
        }
        Section::new(&self.nodes, &walls).map_err(|problem| self.named(&problem.to_string()))
    }

    fn case(&self, load: &LoadCase, state: &mut FrameState, found: &mut PanelMargins) {
        let lack = |case: &str, why: String| Uncomputed {
            check: ComputedCheck::Section,
            case: case.to_string(),
            place: "section".to_string(),
            why,
        };
        let special = load.special_factor.unwrap_or(1.0);
        let factor = load.factor.unwrap_or(1.0) * special;
        let whole = match self.section(Some(load)) {
            Ok(whole) => whole,
            Err(why) => return found.uncomputed.push(lack(load.name.as_str(), why)),
        };
        let mut notes = Vec::new();
        if load.factor.is_none() {
            notes.push("at limit load: the case names no `factor`".to_string());
        }
        match whole.under(&scaled(load, factor)) {
            Ok(response) => {
                self.judge(load.name.as_str(), &response, [factor, special], &notes, state, found)
            }
            Err(problem) => found.uncomputed.push(lack(load.name.as_str(), self.named(&problem.to_string()))),
        }
        if !self.walls.iter().any(|(_, wall)| matches!(wall, Ready::Sheet { .. })) {
            return;
        }
        // Residual strength: limit load must be carried without the pane.
        let name = format!("{}, pane lost", load.name);
        // The load stays where it was; the shear centre does not.
        let mut residual = scaled(load, special);
        if residual.vy != 0.0 || residual.vz != 0.0 {
            residual.at = residual.at.or(whole.shear_centre().ok());
        }
        let lost = whole.without_pane().and_then(|lost| lost.under(&residual));
        match lost {
            Ok(response) => {
                let notes = ["limit load with the pane lost".to_string()];
                self.judge(&name, &response, [special, special], &notes, state, found);
            }
            Err(problem) => found.uncomputed.push(lack(&name, self.named(&problem.to_string()))),
        }
    }

    fn judge(
        &self,
        case: &str,
        response: &SectionResponse,
        [factor, special]: [f64; 2],
        notes: &[String],
        state: &mut FrameState,
        found: &mut PanelMargins,
    ) {
        for own in &response.walls {
            let Some((name, ready)) = self.walls.get(own.wall) else { continue };
            let place = format!("wall {name}");
            let kind = match ready {
                Ready::Laminate { .. } => "laminate",
                Ready::Sheet { .. } => "sheet",
                Ready::Bond { .. } => "bond",
            };
            state.walls.push(WallReport {
                case: case.to_string(),
                environment: self.values.environment.map(str::to_string),
                wall: name.clone(),
                kind,
                flow: own.peak_flow,
                shear_stress: own.shear_stress,
                axial_stress: own.axial.map(|axial| axial.stress),
            });
            let margin = |criterion, mode: &str, reserve: f64, words: String| Margin {
                check: ComputedCheck::Section,
                case: case.to_string(),
                place: place.clone(),
                criterion,
                mode: mode.to_string(),
                layer: None,
                margin: reserve - 1.0,
                words,
                environment: self.values.environment.map(str::to_string),
                rests: state.rests.clone(),
                notes: notes.to_vec(),
            };
            let lack = |why: String| Uncomputed {
                check: ComputedCheck::Section,
                case: case.to_string(),
                place: place.clone(),
                why,
            };
            match ready {
                Ready::Bond { adhesive, .. } => {
                    let stress = own.shear_stress.abs();
                    let entry = self.ledger.materials.get(adhesive);
                    match entry.and_then(|entry| entry.value.shear_strength.as_ref()).map(|own| own.si()) {
                        Some(strength) if stress >= LEAST_STRESS => {
                            let words = format!("{:.3} of {:.3} MPa", stress / 1e6, strength / 1e6);
                            found.margins.push(margin("bond-shear", "bond shear", strength / stress, words));
                        }
                        Some(_) => {}
                        None => found
                            .uncomputed
                            .push(lack(format!("the adhesive material/{adhesive} has no `shear_strength`"))),
                    }
                }
                Ready::Sheet { material, .. } => {
                    let axial = own.axial.map_or([0.0; 2], |axial| axial.stress);
                    let tension = axial
                        .iter()
                        .map(|axial| axial / 2.0 + (axial / 2.0).hypot(own.shear_stress))
                        .fold(0.0, f64::max);
                    let Some(entry) = self.ledger.materials.get(material) else { continue };
                    let value = &entry.value;
                    if value.craze_stress.is_none() && value.tensile_strength.is_none() {
                        found.uncomputed.push(lack(format!(
                            "the sheet material/{material} has neither `craze_stress` nor `tensile_strength`"
                        )));
                    }
                    if tension < LEAST_STRESS {
                        continue;
                    }
                    // Crazing is judged at limit load, breaking at the factored one.
                    let limit = tension * special / factor;
                    if let Some(craze) = value.craze_stress.as_ref().map(|own| own.si()) {
                        let words =
                            format!("{:.3} of {:.3} MPa tension at limit load", limit / 1e6, craze / 1e6);
                        found.margins.push(margin("craze", "crazing of the sheet", craze / limit, words));
                    }
                    if let Some(strength) = value.tensile_strength.as_ref().map(|own| own.si()) {
                        let words = format!("{:.3} of {:.3} MPa tension", tension / 1e6, strength / 1e6);
                        found.margins.push(margin(
                            "sheet-tension",
                            "breaking of the sheet",
                            strength / tension,
                            words,
                        ));
                    }
                }
                Ready::Laminate { wall, laid } => {
                    let WallKind::Plate { twist, thickness, .. } = wall.kind else { continue };
                    let axial = own.axial.map_or([0.0; 2], |axial| axial.stress);
                    // The wall's own twisting: curvature 2 theta' in either sense of the wall's axes.
                    let moment = 2.0 * twist * response.rate_of_twist;
                    let mut loadings = Vec::new();
                    for (place, stress) in [("where it begins", axial[0]), ("where it ends", axial[1])] {
                        for sign in [1.0, -1.0] {
                            loadings.push(Loading {
                                place: place.to_string(),
                                load: Load {
                                    force: [stress * thickness, 0.0, sign * own.peak_flow],
                                    moment: [0.0, 0.0, sign * moment],
                                    temperature: 0.0,
                                },
                                shears: [0.0; 2],
                                pressure: 0.0,
                            });
                        }
                    }
                    let mut notes = notes.to_vec();
                    notes.push("the stability of walls between their corners is not judged".to_string());
                    let case = Case {
                        name: case,
                        place: &place,
                        check: ComputedCheck::Section,
                        laid,
                        environment: self.values.environment,
                        loadings: &loadings,
                        notes: &notes,
                    };
                    let recipe = self.ledger.recipes.get(&laid.recipe);
                    match recipe.map(|recipe| strains(self.panel, recipe, self.values)) {
                        Some(Ok((Some(own), used))) => {
                            design_strain(&case, &own, &used, &mut found.margins, &mut found.uncomputed);
                        }
                        Some(Err(lacking)) => {
                            found.uncomputed.extend(lacking.iter().map(|one| case.lacks(case.check, one)));
                        }
                        _ => {}
                    }
                    sandwich(self.ledger, &case, &mut found.margins, &mut found.uncomputed);
                    if laid.lacking.is_empty() {
                        strength(&case, &mut found.margins, &mut found.uncomputed);
                    } else {
                        let lacking = laid.lacking.iter().map(ToString::to_string);
                        found.uncomputed.extend(lacking.map(|why| case.lacks(case.check, why)));
                    }
                }
            }
        }
    }
}

fn scaled(load: &LoadCase, factor: f64) -> SectionLoad {
    let [vy, vz] = load.shear.as_ref().map_or([0.0; 2], |[y, z]| [y.si(), z.si()]);
    let [my, mz] = load.moment.as_ref().map_or([0.0; 2], |[y, z]| [y.si(), z.si()]);
    SectionLoad {
        n: load.axial.as_ref().map_or(0.0, |own| own.si()) * factor,
        my: my * factor,
        mz: mz * factor,
        vy: vy * factor,
        vz: vz * factor,
        at: load.at.as_ref().map(|[y, z]| [y.si(), z.si()]),
        torque: load.torque.as_ref().map_or(0.0, |own| own.si()) * factor,
    }
}
