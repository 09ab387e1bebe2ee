//! A thin-walled section with sheets, laminates and bonds, with and without its pane.

use super::work::settled;
use super::{Checks, Refusal, Refusals, Topic, Work};
use crate::laminate::{Section as Thin, SectionError, SectionLoad, Wall as ThinWall, WallKind};
use crate::quantity::{Force, Length, LineForce, Moment, Ratio, Stress};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::collections::BTreeMap;

const MPA: f64 = 1e-6;

/// A wall of one homogeneous material; of a balanced laminate its Ex and Gxy serve.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SheetWall {
    /// Modulus along the member.
    modulus: Stress,
    /// Shear modulus in the plane; this or Poisson's ratio.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shear_modulus: Option<Stress>,
    /// Poisson's ratio of an isotropic sheet; this or the shear modulus.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    poisson: Option<Ratio>,
    /// Thickness.
    thickness: Length,
}

/// A wall of laminate by its stiffness per width.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LaminateWall {
    /// Axial stiffness 1/alpha11.
    axial: LineForce,
    /// Shear stiffness 1/alpha66.
    shear: LineForce,
    /// Bending stiffness across its own thickness, 1/delta11; left out where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bend: Option<Moment>,
    /// Twisting stiffness 1/delta66; left out where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    twist: Option<Moment>,
    /// Thickness over which flows become stresses; of a sandwich that of both faces together.
    thickness: Length,
}

/// A bond between two walls, a spring in series.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct BondWall {
    /// Width of the bonded strip.
    width: Length,
    /// Thickness of the adhesive.
    thickness: Length,
    /// Shear modulus of the adhesive, at temperature.
    shear_modulus: Stress,
}

/// A wall between two nodes: a sheet, a laminate or a bond.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SectionWall {
    /// The node that it comes from.
    from: String,
    /// The node that it goes to; of a bond it may lie at the same place.
    to: String,
    /// Of one homogeneous material.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sheet: Option<SheetWall>,
    /// Of laminate, by its stiffness.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    laminate: Option<LaminateWall>,
    /// A bond.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bond: Option<BondWall>,
    /// Whether it is part of the pane, whose loss is a case of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pane: Option<bool>,
}

/// Loads on the section; moments act at the centroid, right-handed.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SectionForces {
    /// Axial force at the centroid, tension positive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    n: Option<Force>,
    /// Bending moment about y; positive stretches the upper side.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    my: Option<Moment>,
    /// Bending moment about z; positive stretches the left side.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    mz: Option<Moment>,
    /// Transverse force along y.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    vy: Option<Force>,
    /// Transverse force along z.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    vz: Option<Force>,
    /// The point y, z that the transverse force goes through; the shear centre where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    at: Option<[Length; 2]>,
    /// Torque, positive from y to z.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    torque: Option<Moment>,
}

/// Inputs of `calc section`: nodes, the walls between them, loads.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Section {
    /// Nodes by name, each with y (to the right) and z (up).
    nodes: BTreeMap<String, [Length; 2]>,
    /// Walls between nodes.
    walls: Vec<SectionWall>,
    /// Loads.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    load: Option<SectionForces>,
}

impl Topic for Section {
    const NAME: &'static str = "section";
    const ABOUT: &'static str =
        "stiffness, shear flows and stresses of a thin-walled section, with and without its pane";
    const SOURCE: &'static str = "modulus-weighted sums of E (I + A z^2); Bredt-Batho (R. Bredt 1896, S. B. Batho 1916; \
        several cells as in D. Johnson, Advanced Structural Mechanics, 2000, eqs 2.37 to 2.40); open walls sum of \
        4 D66 s; transverse shear as in T. H. G. Megson, Aircraft Structures (from memory)";
    const CAUTION: &'static str = "Thin straight walls, shape kept, warping free; cells carry the whole torque. Corners, \
        peel, buckling and restrained warping are not in it.";
    const SAMPLE: &'static str = "\
# A frame cell of the invented Sanderling, closed by its window
nodes: {a: [0 mm, 0 mm], b: [80 mm, 0 mm], c: [80 mm, 40 mm], d: [0 mm, 40 mm]}
walls:
  - {from: a, to: b, sheet: {modulus: 50 GPa, shear_modulus: 20 GPa, thickness: 1.5 mm}}
  - {from: b, to: c, sheet: {modulus: 50 GPa, shear_modulus: 20 GPa, thickness: 1.5 mm}}
  - {from: d, to: a, sheet: {modulus: 50 GPa, shear_modulus: 20 GPa, thickness: 1.5 mm}}
  - {from: d, to: c, sheet: {modulus: 3 GPa, shear_modulus: 1.1 GPa, thickness: 5 mm}, pane: true}
load: {torque: 60 N m}
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        self.check(&mut checks);
        checks.done()?;
        let nodes: Vec<[f64; 2]> = self.nodes.values().map(|at| at.each_ref().map(|one| one.si())).collect();
        let place = |name: &str| self.nodes.keys().position(|key| key == name).unwrap_or_default();
        let walls: Vec<ThinWall> = self.walls.iter().map(|wall| wall.read(&place)).collect();
        let section = Thin::new(&nodes, &walls).map_err(|error| self.refused(&error))?;
        let mut work = Work::new();
        let length = |wall: &ThinWall| match (nodes.get(wall.from), nodes.get(wall.to)) {
            (Some([y1, z1]), Some([y2, z2])) => libm::hypot(y2 - y1, z2 - z1) * 1e3,
            _ => 0.0,
        };
        stiffness(&mut work, &section, &nodes, &walls, &length);
        torsion(&mut work, &section, &walls, &length);
        if let Ok([y, z]) = section.shear_centre() {
            let size = nodes.iter().flatten().fold(0.0_f64, |most, value| most.max(value.abs()));
            work.result("shear_centre", vec![settled(y, size) * 1e3, settled(z, size) * 1e3], "mm");
        }
        if walls.iter().any(|wall| wall.pane) {
            match section.pane_loss() {
                Ok(loss) => {
                    let lost = loss.lost.gj * 1e6;
                    work.step(
                        "GJ_lost",
                        "without the pane",
                        "[the same sums without it]",
                        &[],
                        lost,
                        "N mm2",
                    );
                    let ratio = loss.torsion_ratio;
                    work.step("ratio", "GJ/GJ_lost", "{}/{}", &[loss.whole.gj * 1e6, lost], ratio, "");
                    work.result("GJ_without_pane", lost, "N mm2");
                    work.result("GJ_ratio", ratio, "");
                }
                Err(error) => {
                    work.note(format!("Without the pane nothing is left to compute: {}.", self.named(&error)))
                }
            }
        }
        if let Some(load) = &self.load {
            self.loaded(&mut work, &section, load)?;
        }
        Ok(work)
    }
}

impl SectionWall {
    fn read(&self, place: &impl Fn(&str) -> usize) -> ThinWall {
        let (from, to) = (place(&self.from), place(&self.to));
        let wall = match (&self.sheet, &self.laminate, &self.bond) {
            (Some(own), ..) => {
                let (e, t) = (own.modulus.si(), own.thickness.si());
                match (&own.shear_modulus, &own.poisson) {
                    (Some(g), _) => ThinWall::of_moduli(from, to, e, g.si(), t),
                    (None, nu) => ThinWall::sheet(from, to, e, nu.as_ref().map_or(0.0, |nu| nu.si()), t),
                }
            }
            (_, Some(own), _) => {
                let si = |given: &Option<Moment>| given.as_ref().map_or(0.0, |own| own.si());
                let kind = WallKind::Plate {
                    axial: own.axial.si(),
                    bend: si(&own.bend),
                    shear: own.shear.si(),
                    twist: si(&own.twist),
                    thickness: own.thickness.si(),
                };
                ThinWall::new(from, to, kind)
            }
            (.., bond) => {
                let read = |own: &BondWall| (own.width.si(), own.thickness.si(), own.shear_modulus.si());
                let (width, thickness, g) = bond.as_ref().map(read).unwrap_or_default();
                ThinWall::bond(from, to, width, thickness, g)
            }
        };
        if self.pane == Some(true) { wall.as_pane() } else { wall }
    }
}

impl Section {
    fn check(&self, checks: &mut Checks) {
        for (number, wall) in self.walls.iter().enumerate() {
            let field = |key: &str| format!("walls.{}.{key}", number + 1);
            for (key, name) in [("from", &wall.from), ("to", &wall.to)] {
                if !self.nodes.contains_key(name) {
                    let known =
                        self.nodes.keys().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
                    let message = format!("no node is called `{name}`");
                    let help = format!("there are {known}");
                    checks.refuse(Refusal::new("unknown-reference", field(key), message, help));
                }
            }
            let given = [wall.sheet.is_some(), wall.laminate.is_some(), wall.bond.is_some()];
            if given.iter().filter(|given| **given).count() != 1 {
                let message = "a wall is exactly one of `sheet`, `laminate` and `bond`";
                let help = "keep one of them, or write one";
                checks.refuse(Refusal::new("exactly-one", field("from"), message, help));
            }
            if let Some(own) = &wall.sheet {
                checks.above_zero(&field("sheet.modulus"), &own.modulus);
                checks.above_zero(&field("sheet.thickness"), &own.thickness);
                match (&own.shear_modulus, &own.poisson) {
                    (Some(g), None) => checks.above_zero(&field("sheet.shear_modulus"), g),
                    (None, Some(nu)) => {
                        let fits = nu.si() > -1.0 && nu.si() <= 0.5;
                        checks.wants(fits, &field("sheet.poisson"), nu.text(), "above -1 and at most 0.5");
                    }
                    _ => {
                        let message = "a sheet has exactly one of `shear_modulus` and `poisson`";
                        let help = "keep one of them, or write one";
                        checks.refuse(Refusal::new("exactly-one", field("sheet.modulus"), message, help));
                    }
                }
            }
            if let Some(own) = &wall.laminate {
                checks.not_negative(&field("laminate.axial"), &own.axial);
                checks.above_zero(&field("laminate.shear"), &own.shear);
                checks.above_zero(&field("laminate.thickness"), &own.thickness);
            }
            if let Some(own) = &wall.bond {
                checks.above_zero(&field("bond.width"), &own.width);
                checks.above_zero(&field("bond.thickness"), &own.thickness);
                checks.above_zero(&field("bond.shear_modulus"), &own.shear_modulus);
            }
        }
    }

    /// An error of the room, with names instead of numbers, at the wall that it is about.
    fn refused(&self, error: &SectionError) -> Refusals {
        let wall = match error {
            SectionError::ZeroLength { wall, .. }
            | SectionError::Disconnected { wall, .. }
            | SectionError::WallOutOfRange { wall, .. } => Some(wall + 1),
            _ => None,
        };
        let field = wall.map_or_else(|| "walls".to_string(), |wall| format!("walls.{wall}.from"));
        Refusal::new("no-answer", field, self.named(error), "").into()
    }

    /// The words of an error with the nodes' names and walls counted from 1.
    fn named(&self, error: &SectionError) -> String {
        let node = |at: &usize| self.nodes.keys().nth(*at).map_or("?", String::as_str);
        match error {
            SectionError::ZeroLength { wall, from, to } => {
                let (from, to) = (node(from), node(to));
                format!("wall {} has no length: `{from}` and `{to}` lie at the same place", wall + 1)
            }
            SectionError::Disconnected { root, wall } => {
                format!("the section is in pieces: no wall leads from `{}` to wall {}", node(root), wall + 1)
            }
            SectionError::Open { end: Some(end) } => {
                format!("the section does not close: `{}` is an open end", node(end))
            }
            SectionError::WallOutOfRange { wall, what, value, range, unit } => {
                format!("{what} of wall {} is {value} {unit}; it must be {range}", wall + 1)
            }
            other => other.to_string(),
        }
    }

    fn loaded(&self, work: &mut Work, section: &Thin, load: &SectionForces) -> Result<(), Refusals> {
        let force = |given: &Option<Force>| given.as_ref().map_or(0.0, |own| own.si());
        let moment = |given: &Option<Moment>| given.as_ref().map_or(0.0, |own| own.si());
        let under = SectionLoad {
            n: force(&load.n),
            my: moment(&load.my),
            mz: moment(&load.mz),
            vy: force(&load.vy),
            vz: force(&load.vz),
            at: load.at.as_ref().map(|at| at.each_ref().map(|one| one.si())),
            torque: moment(&load.torque),
        };
        let found = section
            .under(&under)
            .map_err(|error| Refusal::new("no-answer", "load", self.named(&error), ""))?;
        let gj = section.torsion().gj;
        if gj > 0.0 {
            let rate = found.rate_of_twist * 1e-3;
            let numbers = [found.torque * 1e3, gj * 1e6];
            work.step("theta'", "T/GJ, T about the shear centre", "{}/{}", &numbers, rate, "rad/mm");
            work.result("rate_of_twist", rate, "rad/mm");
        }
        let rows: Vec<Value> = found
            .walls
            .iter()
            .filter_map(|state| {
                let wall = self.walls.get(state.wall)?;
                let [first, last] = state.axial.map_or([0.0; 2], |axial| axial.stress);
                Some(json!({
                    "wall": format!("{}-{}", wall.from, wall.to),
                    "flow_N_mm": state.peak_flow * 1e-3,
                    "shear_MPa": state.shear_stress * MPA,
                    "axial_from_MPa": first * MPA,
                    "axial_to_MPa": last * MPA,
                    "twist_MPa": state.twist_stress * MPA,
                }))
            })
            .collect();
        work.result("walls", rows, "");
        Ok(())
    }
}

/// EA and the centroid as sums, EI from the room.
fn stiffness(
    work: &mut Work,
    section: &Thin,
    nodes: &[[f64; 2]],
    walls: &[ThinWall],
    length: &impl Fn(&ThinWall) -> f64,
) {
    let found = section.rigidity();
    let (mut area, mut first, mut second) = (Vec::new(), Vec::new(), Vec::new());
    for wall in walls {
        let (WallKind::Plate { axial, .. }, Some([y1, z1]), Some([y2, z2])) =
            (wall.kind, nodes.get(wall.from), nodes.get(wall.to))
        else {
            continue;
        };
        let (axial, length) = (axial * 1e-3, length(wall));
        area.extend([axial, length]);
        first.extend([axial, length, (y1 + y2) * 500.0]);
        second.extend([axial, length, (z1 + z2) * 500.0]);
    }
    let count = area.len() / 2;
    let sum = |one: &str| vec![one; count].join(" + ");
    let ea = found.ea;
    work.step("EA", "sum of E t s", &sum("{} x {}"), &area, ea, "N");
    let size = nodes.iter().flatten().fold(0.0_f64, |most, value| most.max(value.abs()));
    let [y, z] = found.centroid.map(|one| settled(one, size) * 1e3);
    let mixed = settled(found.ei_yz, found.ei_max);
    for (name, mut numbers, value) in [("y0", first, y), ("z0", second, z)] {
        numbers.push(ea);
        let text = format!("({})/{{}}", sum("{} x {} x {}"));
        work.step(name, "sum of E t s times its middle, over EA", &text, &numbers, value, "mm");
    }
    work.result("EA", ea, "N");
    work.result("centroid", vec![y, z], "mm");
    let how = "[summed over the walls, each wall's own thickness counted]";
    for (name, formula, value) in [
        ("EI_y", "integral of E (z - z0)^2", found.ei_y),
        ("EI_z", "integral of E (y - y0)^2", found.ei_z),
        ("EI_yz", "integral of E (y - y0) (z - z0)", mixed),
    ] {
        work.step(name, formula, how, &[], value * 1e6, "N mm2");
        work.result(name, value * 1e6, "N mm2");
    }
    let (mean, half) = ((found.ei_y + found.ei_z) * 5e5, (found.ei_y - found.ei_z) * 5e5);
    let mixed = mixed * 1e6;
    for (name, sign, value) in [("EI_max", "+", found.ei_max), ("EI_min", "-", found.ei_min)] {
        let formula = format!("(EI_y + EI_z)/2 {sign} sqrt([(EI_y - EI_z)/2]^2 + EI_yz^2)");
        let text = format!("{{}} {sign} sqrt({{}}^2 + {{}}^2)");
        work.step(name, &formula, &text, &[mean, half, mixed], value * 1e6, "N mm2");
        work.result(name, value * 1e6, "N mm2");
    }
    let degrees = found.angle.to_degrees();
    work.step(
        "angle",
        "of the stiffest axis from y towards z",
        "[of the principal axes]",
        &[],
        degrees,
        "deg",
    );
    work.result("principal_angle", degrees, "deg");
}

/// GJ: by hand where there is one cell.
fn torsion(work: &mut Work, section: &Thin, walls: &[ThinWall], length: &impl Fn(&ThinWall) -> f64) {
    let found = section.torsion();
    let (cells, twists, gj) = (found.cells * 1e6, found.walls * 1e6, found.gj * 1e6);
    if let (1, Ok(flows)) = (found.circuits, section.torsion_flows(1.0)) {
        // Of a single cell every wall in it carries 1/(2 A).
        let flow = flows.iter().fold(0.0_f64, |most, flow| most.max(flow.abs()));
        let area = 0.5e6 / flow;
        work.step("A", "enclosed by the mid-lines of the cell", "[by the corners]", &[], area, "mm2");
        let mut numbers = Vec::new();
        for (wall, flow) in walls.iter().zip(&flows) {
            if flow.abs() < 1e-9 {
                continue;
            }
            numbers.extend(match wall.kind {
                WallKind::Plate { shear, .. } => [length(wall), shear * 1e-3],
                WallKind::Bond { width, thickness, g } => [thickness * 1e3, g * MPA * width * 1e3],
            });
        }
        let total = 4.0 * area * area / cells;
        let text = vec!["{}/{}"; numbers.len() / 2].join(" + ");
        work.step("F", "sum of s/(G t), of bonds t_a/(G_a w)", &text, &numbers, total, "mm2/N");
        work.step("GJ_cells", "4 A^2/F", "4 x {}^2/{}", &[area, total], cells, "N mm2");
    } else if found.circuits > 0 {
        let how = format!("[{} circuits twisting alike]", found.circuits);
        work.step("GJ_cells", "Bredt-Batho, equal rate of twist", &how, &[], cells, "N mm2");
    }
    let mut numbers = Vec::new();
    for wall in walls {
        if let WallKind::Plate { twist, .. } = wall.kind {
            numbers.extend([twist * 1e3, length(wall)]);
        }
    }
    let text = vec!["4 x {} x {}"; numbers.len() / 2].join(" + ");
    work.step("GJ_walls", "sum of 4 D66 s", &text, &numbers, twists, "N mm2");
    work.step("GJ", "GJ_cells + GJ_walls", "{} + {}", &[cells, twists], gj, "N mm2");
    work.result("GJ", gj, "N mm2");
    work.result("GJ_cells", cells, "N mm2");
    work.result("GJ_walls", twists, "N mm2");
}
