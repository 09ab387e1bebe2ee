//! Sandwich: a beam, and what faces and core bear.

use super::{At, Checks, Refusals, Topic, Work};
use crate::laminate::sandwich::allowable::{
    Check, HONEYCOMB_DESIGN, SOLID_DESIGN, WrinklingConstant, core_crushing, core_shear, crimping, dimpling,
    wrinkling_honeycomb, wrinkling_solid,
};
use crate::laminate::sandwich::{Beam, Core, Face, Sandwich, beam_deflection};
use crate::quantity::{Force, Length, LineForce, Ratio, Stress};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

const MPA: f64 = 1e-6;

/// One face.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct BeamFace {
    /// Modulus along the span; of a laminate its Ex.
    modulus: Stress,
    /// Thickness.
    thickness: Length,
    /// Poisson's ratio, used where the panel is wide; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    poisson: Option<Ratio>,
}

/// The core.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct BeamCore {
    /// Thickness.
    thickness: Length,
    /// Shear modulus in the plane of span and thickness.
    shear_modulus: Stress,
    /// Modulus along the span; 0 where not given, as of a honeycomb.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    modulus: Option<Stress>,
    /// Shear strength, for the reserve.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shear_strength: Option<Stress>,
    /// Compressive strength through the thickness, for the reserve against crushing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    compressive_strength: Option<Stress>,
}

/// How the beam is held and loaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum BeamCase {
    /// Held at both ends, the force in the middle.
    ThreePoint,
    /// Held at both ends, the force spread evenly.
    Uniform,
    /// Clamped at one end, the force at the other.
    Cantilever,
}

/// Inputs of `calc sandwich-beam`: two faces on a core, held and loaded.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SandwichBeam {
    /// The two faces; a positive force bends the beam so that the second is stretched.
    faces: [BeamFace; 2],
    /// The core.
    core: BeamCore,
    /// Width of the beam.
    width: Length,
    /// Span, or length of the cantilever.
    span: Length,
    /// How it is held and loaded.
    case: BeamCase,
    /// The whole force.
    force: Force,
    /// Whether it is a wide panel that can't strain across: faces by E/(1 - nu^2).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    wide: Option<bool>,
}

impl Topic for SandwichBeam {
    const NAME: &'static str = "sandwich-beam";
    const ABOUT: &'static str =
        "stiffness, deflection with core shear, face and core stresses of a sandwich beam";
    const SOURCE: &'static str = "H. G. Allen, Analysis and Design of Structural Sandwich Panels, 1969; D. Zenkert, An \
        Introduction to Sandwich Construction, 1995 (from memory); shear stiffness as G d^2/t_c, where other texts take \
        G t_c or G d; squeeze of bending: MIL-HDBK-23A (from memory)";
    const CAUTION: &'static str = "Sandwich strength is shown by test; supports and inserts are not in it.";
    const SAMPLE: &'static str = "\
# A bending coupon of the invented Sanderling: metal faces, so that it can be checked by hand
faces:
  - {modulus: 70 GPa, thickness: 0.5 mm}
  - {modulus: 70 GPa, thickness: 0.5 mm}
core: {thickness: 10 mm, modulus: 130 MPa, shear_modulus: 90 MPa, shear_strength: 1.2 MPa, compressive_strength: 1.5 MPa}
width: 25 mm
span: 300 mm
case: three-point
force: 100 N
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        for (place, face) in self.faces.iter().enumerate() {
            let field = |key: &str| format!("faces.{}.{key}", place + 1);
            checks.above_zero(&field("modulus"), &face.modulus);
            checks.above_zero(&field("thickness"), &face.thickness);
            if let Some(nu) = &face.poisson {
                checks.wants(nu.si().abs() < 1.0, &field("poisson"), nu.text(), "above -1 and below 1");
            }
        }
        checks.above_zero("core.thickness", &self.core.thickness);
        checks.above_zero("core.shear_modulus", &self.core.shear_modulus);
        if let Some(modulus) = &self.core.modulus {
            checks.not_negative("core.modulus", modulus);
        }
        let strengths = [
            ("core.shear_strength", &self.core.shear_strength),
            ("core.compressive_strength", &self.core.compressive_strength),
        ];
        for (field, given) in strengths {
            if let Some(given) = given {
                checks.above_zero(field, given);
            }
        }
        checks.above_zero("width", &self.width);
        checks.above_zero("span", &self.span);
        checks.done()?;
        let face = |face: &BeamFace| Face {
            modulus: face.modulus.si(),
            poisson: face.poisson.as_ref().map_or(0.0, |own| own.si()),
            thickness: face.thickness.si(),
        };
        let [below, above] = &self.faces;
        let core = Core {
            thickness: self.core.thickness.si(),
            modulus: self.core.modulus.as_ref().map_or(0.0, |own| own.si()),
            // Nothing here asks for it.
            modulus_through: self.core.shear_modulus.si(),
            shear_modulus: self.core.shear_modulus.si(),
        };
        let narrow = Sandwich::new([face(below), face(above)], core).at("")?;
        let sandwich = if self.wide == Some(true) { narrow.wide() } else { narrow };
        let mut work = Work::new();
        let (bending, shear) = self.stiffness(&mut work, &sandwich);
        self.deflection(&mut work, bending, shear)?;
        self.stresses(&mut work, &sandwich)?;
        Ok(work)
    }
}

impl SandwichBeam {
    /// D and U of the whole width, N m2 and N.
    fn stiffness(&self, work: &mut Work, sandwich: &Sandwich) -> (f64, f64) {
        let wide = self.wide == Some(true);
        let b = self.width.si();
        let [first, second] = sandwich.faces();
        let core = sandwich.core();
        let (t1, t2, tc) = (first.thickness * 1e3, second.thickness * 1e3, core.thickness * 1e3);
        let modulus =
            |face: &Face| face.modulus * MPA / if wide { 1.0 - face.poisson * face.poisson } else { 1.0 };
        let (e1, e2, ec) = (modulus(&first), modulus(&second), core.modulus * MPA);
        if wide {
            let text = "{}/(1 - {}^2)";
            work.step("E1'", "E1/(1 - nu1^2)", text, &[first.modulus * MPA, first.poisson], e1, "MPa");
            work.step("E2'", "E2/(1 - nu2^2)", text, &[second.modulus * MPA, second.poisson], e2, "MPa");
        }
        let d = sandwich.depth() * 1e3;
        work.step("d", "t_c + (t1 + t2)/2", "{} + ({} + {})/2", &[tc, t1, t2], d, "mm");
        let et = sandwich.extensional_stiffness() * 1e-3;
        work.step(
            "E t",
            "E1 t1 + E_c t_c + E2 t2",
            "{} x {} + {} x {} + {} x {}",
            &[e1, t1, ec, tc, e2, t2],
            et,
            "N/mm",
        );
        let (z1, zc, z2) = (t1 / 2.0, t1 + tc / 2.0, t1 + tc + t2 / 2.0);
        let axis = sandwich.neutral_axis() * 1e3;
        let text = "({} x {} x {} + {} x {} x {} + {} x {} x {})/{}";
        let numbers = [e1, t1, z1, ec, tc, zc, e2, t2, z2, et];
        work.step(
            "z0",
            "sum of E t z over E t, from the outer surface of face 1",
            text,
            &numbers,
            axis,
            "mm",
        );
        let exact = sandwich.bending_stiffness() * b * 1e6;
        let one = "{} x {} x (({} - {})^2 + {}^2/12)";
        let text = format!("{{}} x ({one} + {one} + {one})");
        let numbers = [b * 1e3, e1, t1, z1, axis, t1, ec, tc, zc, axis, tc, e2, t2, z2, axis, t2];
        work.step("D", "b sum of E t [(z - z0)^2 + t^2/12], the core in it", &text, &numbers, exact, "N mm2");
        let thin = sandwich.bending_stiffness_thin() * b * 1e6;
        let text = "{} x {} x {} x {} x {} x {}^2/({} x {} + {} x {})";
        let numbers = [b * 1e3, e1, t1, e2, t2, d, e1, t1, e2, t2];
        work.step("D_thin", "b E1 t1 E2 t2 d^2/(E1 t1 + E2 t2)", text, &numbers, thin, "N mm2");
        let shear = sandwich.shear_stiffness() * b;
        let numbers = [b * 1e3, core.shear_modulus * MPA, d, tc];
        work.step("U", "b G_c d^2/t_c", "{} x {} x {}^2/{}", &numbers, shear, "N");
        work.result("D", exact, "N mm2");
        work.result("D_thin", thin, "N mm2");
        work.result("U", shear, "N");
        work.result("neutral_axis", axis, "mm");
        (sandwich.bending_stiffness() * b, shear)
    }

    fn deflection(&self, work: &mut Work, bending: f64, shear: f64) -> Result<(), Refusals> {
        let (p, span) = (self.force.si(), self.span.si());
        let (beam, bends, shears, by, sheared) = match self.case {
            BeamCase::ThreePoint => (Beam::ThreePoint(p), "P L^3/(48 D)", "P L/(4 U)", 48.0, 4.0),
            BeamCase::Uniform => {
                (Beam::Uniform(p), "5 P L^3/(384 D), P in all", "P L/(8 U)", 384.0 / 5.0, 8.0)
            }
            BeamCase::Cantilever => (Beam::Cantilever(p), "P L^3/(3 D)", "P L/U", 3.0, 1.0),
        };
        let found = beam_deflection(beam, span, bending, shear).at("span")?;
        let l = span * 1e3;
        let (by_bending, by_shear) = (found.bending * 1e3, found.shear * 1e3);
        work.step("w_bending", bends, "{} x {}^3/({} x {})", &[p, l, by, bending * 1e6], by_bending, "mm");
        work.step("w_shear", shears, "{} x {}/({} x {})", &[p, l, sheared, shear], by_shear, "mm");
        work.step("w", "bending + shear", "{} + {}", &[by_bending, by_shear], found.total() * 1e3, "mm");
        work.result("deflection", found.total() * 1e3, "mm");
        work.result("deflection_bending", by_bending, "mm");
        work.result("deflection_shear", by_shear, "mm");
        Ok(())
    }

    fn stresses(&self, work: &mut Work, sandwich: &Sandwich) -> Result<(), Refusals> {
        let (p, l, b) = (self.force.si(), self.span.si() * 1e3, self.width.si() * 1e3);
        let (share, text, forced) = match self.case {
            BeamCase::ThreePoint => (0.25, "P L/(4 b)", 0.5),
            BeamCase::Uniform => (0.125, "P L/(8 b)", 0.5),
            BeamCase::Cantilever => (1.0, "P L/b", 1.0),
        };
        let (moment, force) = (share * p * l / b, forced * p / b);
        work.step("M", text, "{} x {} x {}/{}", &[share, p, l, b], moment, "N");
        let formula = if forced < 1.0 { "P/(2 b)" } else { "P/b" };
        work.step("Q", formula, "{} x {}/{}", &[forced, p, b], force, "N/mm");
        let [below, above] = sandwich.face_stresses(0.0, moment).at("force")?;
        let how = "E (z - z0) M/D per width, in the middle of the face";
        let d = sandwich.bending_stiffness() * 1e3;
        let wide = self.wide == Some(true);
        for (name, face, stress, side) in [
            ("sigma_1", sandwich.faces()[0], below.middle, 0),
            ("sigma_2", sandwich.faces()[1], above.middle, 1),
        ] {
            let e = face.modulus * MPA / if wide { 1.0 - face.poisson * face.poisson } else { 1.0 };
            let z =
                if side == 0 { face.thickness } else { 2.0 * sandwich.thickness() - face.thickness } * 500.0;
            let axis = sandwich.neutral_axis() * 1e3;
            work.step(name, how, "{} x ({} - {}) x {}/{}", &[e, z, axis, moment, d], stress * MPA, "MPa");
            work.result(&format!("face_stress_{}", side + 1), stress * MPA, "MPa");
        }
        let tau = sandwich.core_shear(force * 1e3).at("force")?;
        let depth = sandwich.depth() * 1e3;
        work.step(
            "tau_thin",
            "Q/d, thin faces and a soft core",
            "{}/{}",
            &[force, depth],
            tau.thin * MPA,
            "MPa",
        );
        let how = "Q/D times the first moment of E beyond the neutral axis";
        work.step("tau_c", how, "[summed over the layers]", &[], tau.greatest * MPA, "MPa");
        work.result("core_shear", tau.greatest * MPA, "MPa");
        if let Some(strength) = &self.core.shear_strength {
            let check = core_shear(strength.si(), tau.greatest).at("core.shear_strength")?;
            reserve(work, "core_shear_reserve", &check, MPA);
        }
        let squeeze = sandwich.curvature_pressure(moment).at("force")?;
        work.step(
            "p_c",
            "M^2/(d D) per width, the squeeze of bending",
            "{}^2/({} x {})",
            &[moment, depth, d],
            squeeze * MPA,
            "MPa",
        );
        if let Some(strength) = &self.core.compressive_strength {
            let check = core_crushing(strength.si(), 0.0, squeeze).at("core.compressive_strength")?;
            reserve(work, "core_crushing_reserve", &check, MPA);
            work.note(
                "Crushing counts the squeeze of bending alone: what the force presses on comes on top.",
            );
        }
        Ok(())
    }
}

/// Adds a reserve, where something is applied.
fn reserve(work: &mut Work, name: &str, check: &Check, factor: f64) {
    match check.reserve() {
        Some(found) => {
            let numbers = [check.allowable * factor, check.applied * factor];
            work.step(format!("R {name}"), "allowable/applied", "{}/{}", &numbers, found, "");
            work.result(name, found, "");
        }
        None => work.note(format!("Nothing is applied that `{name}` would be a reserve against.")),
    }
}

/// What wrinkling is held against.
fn against(work: &mut Work, allowable: f64, applied: Option<&Stress>) -> Result<(), Refusals> {
    if let Some(applied) = applied {
        reserve(work, "reserve", &Check::new(allowable, applied.si()).at("applied")?, MPA);
    }
    Ok(())
}

/// What the face lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum CoreKind {
    /// Foam or balsa: solid.
    Solid,
    /// Honeycomb.
    Honeycomb,
}

/// Inputs of `calc wrinkling`: a face on a core in compression.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Wrinkling {
    /// What the face lies on.
    core: CoreKind,
    /// Modulus of the face along the load; of a laminate E/(1 - nu_xy nu_yx) is usual.
    face_modulus: Stress,
    /// Modulus of the core through its thickness.
    core_modulus: Stress,
    /// Shear modulus of the core; of a solid core.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    core_shear_modulus: Option<Stress>,
    /// Thickness of the face; with a honeycomb.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    face_thickness: Option<Length>,
    /// Thickness of the core; of a honeycomb.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    core_thickness: Option<Length>,
    /// The factor of the formula; 0.5 for solid cores, 0.33 for honeycomb where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    constant: Option<Ratio>,
    /// Compression in the middle of the face, a positive number, for the reserve.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    applied: Option<Stress>,
}

impl Topic for Wrinkling {
    const NAME: &'static str = "wrinkling";
    const ABOUT: &'static str = "the compressive stress at which a face wrinkles on its core";
    const SOURCE: &'static str = "solid core k (E_f E_c G_c)^(1/3): N. J. Hoff, S. E. Mautner 1945; honeycomb \
        k E_f [E_c t_f/(E_f t_c)]^(1/2): MIL-HDBK-23A, NASA CR-1457 (from memory)";
    const CAUTION: &'static str = "Published constants differ by a factor of two, from a perfect face (0.91, 0.82) to \
        design (0.5, 0.33): the one that was used is shown.";
    const SAMPLE: &'static str = "\
# A compression face of the invented Sanderling on a solid core
core: solid
face_modulus: 70 GPa
core_modulus: 90 MPa
core_shear_modulus: 30 MPa
applied: 200 MPa
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        checks.above_zero("face_modulus", &self.face_modulus);
        checks.above_zero("core_modulus", &self.core_modulus);
        if let Some(given) = &self.core_shear_modulus {
            checks.above_zero("core_shear_modulus", given);
        }
        for (field, given) in
            [("face_thickness", &self.face_thickness), ("core_thickness", &self.core_thickness)]
        {
            if let Some(given) = given {
                checks.above_zero(field, given);
            }
        }
        if let Some(given) = &self.constant {
            let fits = given.si() > 0.0 && given.si() <= 1.0;
            checks.wants(fits, "constant", given.text(), "above 0 and at most 1");
        }
        match self.core {
            CoreKind::Solid if self.core_shear_modulus.is_none() => {
                checks.asks_for("core", "core_shear_modulus", "a solid core's formula has it");
            }
            CoreKind::Honeycomb => {
                let given =
                    [("face_thickness", &self.face_thickness), ("core_thickness", &self.core_thickness)];
                for (other, _) in given.iter().filter(|(_, given)| given.is_none()) {
                    checks.asks_for("core", other, "a honeycomb's formula has it");
                }
            }
            CoreKind::Solid => {}
        }
        checks.done()?;
        let usual = if self.core == CoreKind::Solid { SOLID_DESIGN } else { HONEYCOMB_DESIGN };
        let typed = "as typed in";
        let k =
            self.constant.as_ref().map_or(usual, |own| WrinklingConstant { value: own.si(), source: typed });
        let (ef, ec) = (self.face_modulus.si(), self.core_modulus.si());
        let mut work = Work::new();
        let si = |given: &Option<Length>| given.as_ref().map_or(0.0, |own| own.si());
        let stress = match self.core {
            CoreKind::Solid => {
                let gc = self.core_shear_modulus.as_ref().map_or(0.0, |own| own.si());
                let stress = wrinkling_solid(ef, ec, gc, k).at("")?;
                let text = "{} x ({} x {} x {})^(1/3)";
                let numbers = [k.value, ef * MPA, ec * MPA, gc * MPA];
                work.step("sigma_w", "k (E_f E_c G_c)^(1/3)", text, &numbers, stress * MPA, "MPa");
                stress
            }
            CoreKind::Honeycomb => {
                let (tf, tc) = (si(&self.face_thickness), si(&self.core_thickness));
                let stress = wrinkling_honeycomb(ef, tf, ec, tc, k).at("")?;
                let text = "{} x {} x sqrt({} x {}/({} x {}))";
                let numbers = [k.value, ef * MPA, ec * MPA, tf * 1e3, ef * MPA, tc * 1e3];
                work.step("sigma_w", "k E_f [E_c t_f/(E_f t_c)]^(1/2)", text, &numbers, stress * MPA, "MPa");
                stress
            }
        };
        work.result("wrinkling_stress", stress * MPA, "MPa");
        work.note(format!("k = {}: {}.", k.value, k.source));
        against(&mut work, stress, self.applied.as_ref())?;
        Ok(work)
    }
}

/// Inputs of `calc dimpling`: a face over the cells of a honeycomb.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Dimpling {
    /// Modulus of the face; of an orthotropic one the geometric mean of both directions is usual.
    face_modulus: Stress,
    /// Poisson's ratio of the face.
    poisson: Ratio,
    /// Thickness of the face.
    face_thickness: Length,
    /// Diameter of the circle inscribed in a cell.
    cell: Length,
    /// Compression in the middle of the face, a positive number, for the reserve.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    applied: Option<Stress>,
}

impl Topic for Dimpling {
    const NAME: &'static str = "dimpling";
    const ABOUT: &'static str =
        "the compressive stress at which a face buckles into the cells of a honeycomb";
    const SOURCE: &'static str = "2 E_f/(1 - nu^2) (t_f/s)^2: MIL-HDBK-23A, NASA CR-1457 (from memory)";
    const CAUTION: &'static str = "";
    const SAMPLE: &'static str = "\
# A thin face of the invented Sanderling on honeycomb
face_modulus: 70 GPa
poisson: 0.3
face_thickness: 0.5 mm
cell: 6.35 mm
applied: 300 MPa
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        checks.above_zero("face_modulus", &self.face_modulus);
        checks.wants(self.poisson.si().abs() < 1.0, "poisson", self.poisson.text(), "above -1 and below 1");
        checks.above_zero("face_thickness", &self.face_thickness);
        checks.above_zero("cell", &self.cell);
        checks.done()?;
        let (e, nu, t, s) =
            (self.face_modulus.si(), self.poisson.si(), self.face_thickness.si(), self.cell.si());
        let stress = dimpling(e, nu, t, s).at("")?;
        let mut work = Work::new();
        let text = "2 x {}/(1 - {}^2) x ({}/{})^2";
        let numbers = [e * MPA, nu, t * 1e3, s * 1e3];
        work.step("sigma_d", "2 E_f/(1 - nu^2) (t_f/s)^2", text, &numbers, stress * MPA, "MPa");
        work.result("dimpling_stress", stress * MPA, "MPa");
        against(&mut work, stress, self.applied.as_ref())?;
        Ok(work)
    }
}

/// Inputs of `calc crimping`: a sandwich in compression.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Crimping {
    /// Shear modulus of the core along the load.
    core_shear_modulus: Stress,
    /// Thickness of the core.
    core_thickness: Length,
    /// Thickness of the two faces.
    face_thickness: [Length; 2],
    /// Compression per width, a positive number, for the reserve.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    applied: Option<LineForce>,
}

impl Topic for Crimping {
    const NAME: &'static str = "crimping";
    const ABOUT: &'static str = "the compression per width at which the core of a sandwich shears off";
    const SOURCE: &'static str = "N = G_c d^2/t_c, general buckling with a wave length towards 0: NASA CR-1457 (from \
        memory); the form G t_c of some texts is lower by (t_c/d)^2";
    const CAUTION: &'static str = "";
    const SAMPLE: &'static str = "\
# A panel of the invented Sanderling under compression
core_shear_modulus: 20 MPa
core_thickness: 6 mm
face_thickness: [0.44 mm, 0.22 mm]
applied: 40 N/mm
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        checks.above_zero("core_shear_modulus", &self.core_shear_modulus);
        checks.above_zero("core_thickness", &self.core_thickness);
        for (place, face) in self.face_thickness.iter().enumerate() {
            checks.above_zero(&format!("face_thickness.{}", place + 1), face);
        }
        checks.done()?;
        let [t1, t2] = self.face_thickness.each_ref().map(|face| face.si() * 1e3);
        let (g, tc) = (self.core_shear_modulus.si() * MPA, self.core_thickness.si() * 1e3);
        let d = tc + (t1 + t2) / 2.0;
        let force = crimping(g * d * d / tc * 1e3).at("core_shear_modulus")?;
        let mut work = Work::new();
        work.step("d", "t_c + (t1 + t2)/2", "{} + ({} + {})/2", &[tc, t1, t2], d, "mm");
        work.step("N", "G_c d^2/t_c", "{} x {}^2/{}", &[g, d, tc], force * 1e-3, "N/mm");
        work.result("crimping_force", force * 1e-3, "N/mm");
        if let Some(applied) = &self.applied {
            reserve(&mut work, "reserve", &Check::new(force, applied.si()).at("applied")?, 1e-3);
        }
        Ok(work)
    }
}
