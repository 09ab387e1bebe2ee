//! Rectangular plates under pressure and under load in their plane.

use super::work::settled;
use super::{At, Checks, Refusals, Topic, Work, figure};
use crate::laminate::plate::{Buckling, LINEAR_LIMIT, Method, Plate, Support, buckling, pressure};
use crate::quantity::{Length, LineForce, Moment, Stress};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// How the edges are held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Edges {
    /// Against deflection; free to turn.
    SimplySupported,
    /// Against deflection and rotation.
    Clamped,
}

/// Bending stiffness, as `calc laminate` prints it; of an unsymmetric stack the reduced one.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct BendingStiffness {
    /// Along x.
    d11: Moment,
    /// Between x and y.
    d12: Moment,
    /// Along y.
    d22: Moment,
    /// In twist.
    d66: Moment,
    /// Between x and twist; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    d16: Option<Moment>,
    /// Between y and twist; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    d26: Option<Moment>,
}

/// Shear stiffness across the thickness: G_c d^2/t_c of a sandwich.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ShearStiffness {
    /// In the plane of x and the thickness.
    xz: LineForce,
    /// In the plane of y and the thickness.
    yz: LineForce,
}

/// A plate: what both topics share.
struct Sheet<'a> {
    sides: [&'a Length; 2],
    bending: &'a BendingStiffness,
    shear: Option<&'a ShearStiffness>,
    edges: Edges,
}

impl Sheet<'_> {
    fn check(&self, checks: &mut Checks) {
        for (field, side) in ["length", "width"].into_iter().zip(self.sides) {
            checks.above_zero(field, side);
        }
        let own = self.bending;
        for (field, given) in
            [("bending.d11", &own.d11), ("bending.d22", &own.d22), ("bending.d66", &own.d66)]
        {
            checks.above_zero(field, given);
        }
        if let Some(shear) = self.shear {
            checks.above_zero("shear.xz", &shear.xz);
            checks.above_zero("shear.yz", &shear.yz);
        }
    }

    fn plate(&self) -> Result<Plate, Refusals> {
        let own = self.bending;
        let si = |given: &Option<Moment>| given.as_ref().map_or(0.0, |own| own.si());
        let (d16, d26) = (si(&own.d16), si(&own.d26));
        let (d11, d12, d22, d66) = (own.d11.si(), own.d12.si(), own.d22.si(), own.d66.si());
        let bending = [[d11, d12, d16], [d12, d22, d26], [d16, d26, d66]];
        let support = match self.edges {
            Edges::SimplySupported => Support::SimplySupported,
            Edges::Clamped => Support::Clamped,
        };
        let shear = self.shear.map(|own| [own.xz.si(), own.yz.si()]);
        Plate::new(self.sides.map(|side| side.si()), bending, shear, support).at("bending")
    }

    /// D11, D12 + 2 D66, D22 in N mm and the sides in mm.
    fn figures(&self) -> [f64; 5] {
        let own = self.bending;
        let [a, b] = self.sides.map(|side| side.si() * 1e3);
        let mixed = own.d12.si() + 2.0 * own.d66.si();
        [own.d11.si() * 1e3, mixed * 1e3, own.d22.si() * 1e3, a, b]
    }
}

fn say(method: Method) -> String {
    match method {
        Method::Navier { terms, change } => format!(
            "[Navier's series, {terms} terms each way; the last doubling changed it by a share of {}]",
            figure(change)
        ),
        Method::Ritz { terms: [x, y], change } => format!(
            "[Ritz in {x} x {y} polynomials; the last raising changed it by a share of {}]",
            figure(change)
        ),
    }
}

const CAUTION: &str = "Linear theory of a flat plate; stiffeners, cut-outs and curvature are not in it. Simply supported \
    is the hard kind: deflection and the rotation along the edge are held.";

const SOURCE: &str = "S. P. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., art. 28; S. G. \
    Lekhnitskii, Anisotropic Plates, 1968; with shear deformation J. N. Reddy, Mechanics of Laminated Composite Plates \
    and Shells, 2nd ed. (all from memory)";

/// Inputs of `calc plate-pressure`: a rectangular plate under even pressure.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PlatePressure {
    /// Side along x.
    length: Length,
    /// Side along y.
    width: Length,
    /// How all four edges are held.
    edges: Edges,
    /// Bending stiffness.
    bending: BendingStiffness,
    /// Shear stiffness across the thickness; without it the plate is stiff in shear. A sandwich needs it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shear: Option<ShearStiffness>,
    /// Pressure.
    pressure: Stress,
    /// Thickness over all, to say whether linear theory holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    thickness: Option<Length>,
}

impl Topic for PlatePressure {
    const NAME: &'static str = "plate-pressure";
    const ABOUT: &'static str = "deflection and moments of a rectangular plate under pressure";
    const SOURCE: &'static str = SOURCE;
    const CAUTION: &'static str = CAUTION;
    const SAMPLE: &'static str = "\
# A hull panel of the invented Sanderling
length: 500 mm
width: 400 mm
edges: simply-supported
bending: {d11: 320 N m, d12: 40 N m, d22: 300 N m, d66: 50 N m}
shear: {xz: 140 N/mm, yz: 140 N/mm}
pressure: 4 kPa
thickness: 6.9 mm
";

    fn work(&self) -> Result<Work, Refusals> {
        let sides = [&self.length, &self.width];
        let sheet = Sheet { sides, bending: &self.bending, shear: self.shear.as_ref(), edges: self.edges };
        let mut checks = Checks::new();
        sheet.check(&mut checks);
        if let Some(thickness) = &self.thickness {
            checks.above_zero("thickness", thickness);
        }
        checks.done()?;
        let plate = sheet.plate()?;
        let q = self.pressure.si();
        let found = pressure(&plate, q).at("")?;
        let [d11, d3, d22, a, b] = sheet.figures();
        let mut work = Work::new();
        if self.edges == Edges::SimplySupported {
            let stiff = d11 / a.powi(4) + 2.0 * d3 / (a * b).powi(2) + d22 / b.powi(4);
            let first = 16.0 * q * 1e-6 / (PI.powi(6) * stiff);
            let formula = "16 q/{pi^6 [D11/a^4 + 2 (D12 + 2 D66)/(a^2 b^2) + D22/b^4]}: first term alone, for the \
                hand, without core shear, D16 and D26";
            let text = "16 x {}/(3.14159^6 x ({}/{}^4 + 2 x {}/({}^2 x {}^2) + {}/{}^4))";
            let numbers = [q * 1e-6, d11, a, d3, a, b, d22, b];
            work.step("w_first", formula, text, &numbers, first, "mm");
        }
        let deflection = found.deflection * 1e3;
        work.step("w", "deflection in the centre", &say(found.method), &[], deflection, "mm");
        work.result("deflection", deflection, "mm");
        let names = ["Mx", "My", "Mxy"];
        for (name, value) in names.into_iter().zip(found.centre).take(2) {
            work.step(name, "moment per width in the centre", "[of the same solution]", &[], value, "N");
            work.result(&format!("{name}_centre"), value, "N");
        }
        let [edge_x, edge_y] = found.edge_moments;
        let size = found.greatest().into_iter().fold(0.0_f64, f64::max);
        let [shear_x, shear_y] = found.edge_shears.map(|value| value * 1e-3);
        for (name, what, value, unit) in [
            ("edge_moment_x", "Mx in the middle of the edges across x", edge_x, "N"),
            ("edge_moment_y", "My in the middle of the edges across y", edge_y, "N"),
            ("corner_twist", "Mxy in the corner", found.corner_twist, "N"),
            ("edge_shear_x", "Qx in the middle of the edge across x", shear_x, "N/mm"),
            ("edge_shear_y", "Qy in the middle of the edge across y", shear_y, "N/mm"),
        ] {
            let value = settled(value, if unit == "N" { size } else { shear_x.abs().max(shear_y.abs()) });
            work.step(name, what, "[of the same solution]", &[], value, unit);
            work.result(name, value, unit);
        }
        if let Some(thickness) = &self.thickness {
            let over = found.over_thickness(thickness.si()).at("thickness")?;
            let numbers = [deflection, thickness.si() * 1e3];
            work.step("w/h", "deflection over thickness", "abs({})/{}", &numbers, over, "");
            work.result("deflection_over_thickness", over, "");
            if over > LINEAR_LIMIT {
                work.note(format!(
                    "The deflection is more than {LINEAR_LIMIT} of the thickness: linear theory overstates it, and forces in the plane matter (common practice, no source)."
                ));
            }
        }
        let [d16, d26] =
            [&self.bending.d16, &self.bending.d26].map(|own| own.as_ref().map_or(0.0, |own| own.si()));
        if self.edges == Edges::SimplySupported && (d16 != 0.0 || d26 != 0.0) {
            work.note("With d16 or d26 the twist in the corner of a simply supported plate is not bounded: corner_twist grows with the terms that are taken, and says no more than that a corner wants a closer look.");
        }
        if self.shear.is_none() {
            work.note("Taken as stiff in shear: a sandwich deflects more than this.");
        }
        Ok(work)
    }
}

/// Inputs of `calc plate-buckling`: a rectangular plate under load in its plane.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PlateBuckling {
    /// Side along x.
    length: Length,
    /// Side along y.
    width: Length,
    /// How all four edges are held.
    edges: Edges,
    /// Bending stiffness.
    bending: BendingStiffness,
    /// Shear stiffness across the thickness; without it the plate is stiff in shear. A sandwich needs it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shear: Option<ShearStiffness>,
    /// Force per width along x, tension positive; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nx: Option<LineForce>,
    /// Force per width along y, tension positive; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    ny: Option<LineForce>,
    /// Shear force per width; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nxy: Option<LineForce>,
}

impl Topic for PlateBuckling {
    const NAME: &'static str = "plate-buckling";
    const ABOUT: &'static str = "what multiple of its load in the plane buckles a rectangular plate";
    const SOURCE: &'static str = "S. G. Lekhnitskii, Anisotropic Plates, 1968; S. P. Timoshenko, J. M. Gere, Theory of \
        Elastic Stability, 2nd ed., art. 9.2 and 9.7; with shear deformation J. N. Reddy, Mechanics of Laminated \
        Composite Plates and Shells, 2nd ed. (all from memory)";
    const CAUTION: &'static str = CAUTION;
    const SAMPLE: &'static str = "\
# A skin of the invented Sanderling in compression
length: 500 mm
width: 400 mm
edges: simply-supported
bending: {d11: 20 N m, d12: 2.5 N m, d22: 8 N m, d66: 3 N m}
nx: -2 N/mm
";

    fn work(&self) -> Result<Work, Refusals> {
        let sides = [&self.length, &self.width];
        let sheet = Sheet { sides, bending: &self.bending, shear: self.shear.as_ref(), edges: self.edges };
        let mut checks = Checks::new();
        sheet.check(&mut checks);
        let load = [&self.nx, &self.ny, &self.nxy].map(|own| own.as_ref().map_or(0.0, |own| own.si()));
        if load.iter().all(|value| *value == 0.0) {
            checks.asks_for("", "nx", "no load in the plane is given");
        }
        checks.done()?;
        let found = buckling(&sheet.plate()?, load).at("")?;
        let mut work = Work::new();
        let Some(found) = found else {
            work.step("N", "forces along x", "{}", &[load[0] * 1e-3], load[0] * 1e-3, "N/mm");
            work.result("buckles", false, "");
            work.note("No multiple of this load buckles the plate.");
            return Ok(work);
        };
        work.step(
            "R",
            "least multiple of the load that buckles it",
            &say(found.method),
            &[],
            found.factor,
            "",
        );
        self.by_hand(&mut work, &sheet, load, &found);
        work.result("buckles", true, "");
        work.result("factor", found.factor, "");
        for (name, value) in ["critical_nx", "critical_ny", "critical_nxy"].into_iter().zip(load) {
            if value != 0.0 {
                let (value, critical) = (value * 1e-3, value * 1e-3 * found.factor);
                work.step(name, "R times the load", "{} x {}", &[found.factor, value], critical, "N/mm");
                work.result(name, critical, "N/mm");
            }
        }
        if let Some([m, n]) = found.half_waves {
            work.result("half_waves", vec![m, n], "");
        }
        if found.crimping {
            work.note("The core shears off in short waves first: crimping governs.");
        }
        Ok(work)
    }
}

impl PlateBuckling {
    /// The closed form of the waves that were found, where it holds as it stands.
    fn by_hand(&self, work: &mut Work, sheet: &Sheet<'_>, load: [f64; 3], found: &Buckling) {
        let [nx, ny, nxy] = load;
        let (Some([m, n]), None, true) = (found.half_waves, &self.shear, nxy == 0.0) else { return };
        #[allow(clippy::cast_precision_loss)]
        let (m, n) = (m as f64, n as f64);
        let [d11, d3, d22, a, b] = sheet.figures();
        let (ka, kb) = (m / a, n / b);
        let stiff = d11 * ka.powi(4) + 2.0 * d3 * (ka * kb).powi(2) + d22 * kb.powi(4);
        let held = -(nx * ka * ka + ny * kb * kb) * 1e-3;
        let formula =
            "pi^2 [D11 (m/a)^4 + 2 (D12 + 2 D66) (m n/(a b))^2 + D22 (n/b)^4]/[-Nx (m/a)^2 - Ny (n/b)^2]";
        let text = "3.14159^2 x ({} x ({}/{})^4 + 2 x {} x ({} x {}/({} x {}))^2 + {} x ({}/{})^4)/({} x ({}/{})^2 + {} x ({}/{})^2)";
        let numbers = [d11, m, a, d3, m, n, a, b, d22, n, b, -nx * 1e-3, m, a, -ny * 1e-3, n, b];
        work.step("R by hand", formula, text, &numbers, PI * PI * stiff / held, "");
    }
}
