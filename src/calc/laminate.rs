//! A laminate: stiffness, moduli, ply stresses, margins.

use super::layers::{EdgeLoad, Layer, Material, largest, rows, say_undamaged, stack};
use super::work::settled;
use super::{At, Checks, Refusals, Topic, Work};
use crate::laminate::{
    Compliance, Criterion, DesignStrain, ElasticLayer, FirstPly, JudgedLayer, LaminateError, Load, Position,
    Stiffness, USUAL_REMAINDER, first_ply, is_symmetric, last_ply, recover, stiffness, strain_peaks,
};
use crate::quantity::Strain;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Strains that the layers with strengths are held to, from notched and impacted specimens.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct StrainLimits {
    /// Tension, a positive number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    tension: Option<Strain>,
    /// Compression, a positive number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    compression: Option<Strain>,
    /// Engineering shear.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shear: Option<Strain>,
}

/// Inputs of `calc laminate`: materials, layers from the tool face inward, and a load.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Laminate {
    /// Elastic values and strengths by name.
    materials: BTreeMap<String, Material>,
    /// Layers from the tool face inward, at z = -h/2 first.
    layers: Vec<Layer>,
    /// Forces, moments and change of temperature.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    load: Option<EdgeLoad>,
    /// Design strains beside the strengths.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    design_strain: Option<StrainLimits>,
}

const MPA: f64 = 1e-6;
const GPA: f64 = 1e-9;

impl Topic for Laminate {
    const NAME: &'static str = "laminate";
    const ABOUT: &'static str = "A, B, D, moduli, ply stresses and margins of a laminate";
    const SOURCE: &'static str = "classical lamination: A. K. Kaw, Mechanics of Composite Materials, ch. 4 and 5 (from \
        memory); criteria: S. W. Tsai, E. M. Wu 1971; Tsai-Hill as in R. M. Jones; Z. Hashin 1980 (from memory); last \
        ply by discount: common practice, no source";
    const CAUTION: &'static str = "z = 0 at the mid-plane, layers from the tool face at -h/2; angles from x towards y; \
        engineering shear. Edges, holes, impact and delamination are not in it.";
    const SAMPLE: &'static str = "\
# A sandwich of the invented Sanderling; layers from the tool face inward
materials:
  weave:
    {e1: 58 GPa, e2: 56 GPa, g12: 4 GPa, nu12: 0.05,
     strengths: {xt: 620 MPa, xc: 480 MPa, yt: 600 MPa, yc: 470 MPa, s: 80 MPa}}
  foam: {e1: 60 MPa, e2: 60 MPa, g12: 20 MPa, nu12: 0.3}
layers:
  - {material: weave, angle: 45, thickness: 0.22 mm}
  - {material: weave, angle: 0, thickness: 0.22 mm}
  - {material: foam, thickness: 6 mm}
  - {material: weave, angle: 0, thickness: 0.22 mm}
load: {nx: -20 N/mm, mx: 30 N}
design_strain: {tension: 4000 ustrain, compression: 3500 ustrain}
";

    fn work(&self) -> Result<Work, Refusals> {
        let stack = stack(&self.materials, &self.layers)?;
        let mut checks = Checks::new();
        if let Some(limits) = &self.design_strain {
            let all = [
                ("tension", &limits.tension),
                ("compression", &limits.compression),
                ("shear", &limits.shear),
            ];
            for (key, given) in all {
                if let Some(given) = given {
                    checks.above_zero(&format!("design_strain.{key}"), given);
                }
            }
            if self.load.is_none() {
                checks.asks_for("design_strain", "load", "strains come from a load");
            }
        }
        self.ask_for_expansion(&mut checks);
        checks.done()?;
        let elastic: Vec<ElasticLayer> = stack.iter().map(JudgedLayer::elastic).collect();
        let stiff = stiffness(&elastic).at("layers")?;
        let soft = stiff.compliance().at("layers")?;
        let mut work = Work::new();
        self.ply_steps(&mut work, &stack)?;
        self.sums(&mut work, &elastic, &stiff)?;
        moduli(&mut work, &stiff, &soft);
        work.result("thickness", stiff.thickness * 1e3, "mm");
        work.result("A", rows(&stiff.a, 1e-3, largest(&stiff.a)), "N/mm");
        work.result("B", rows(&stiff.b, 1.0, largest(&stiff.a) * stiff.thickness), "N");
        work.result("D", rows(&stiff.d, 1e3, largest(&stiff.d)), "N mm");
        work.result("symmetric", is_symmetric(&elastic).at("layers")?, "");
        work.result("balanced", stiff.is_balanced(), "");
        if let Some(load) = &self.load {
            self.loaded(&mut work, &stack, (&elastic, &soft), &load.read())?;
        }
        Ok(work)
    }
}

impl Laminate {
    /// A reserve is the least of those layers that have strengths: what lies beside them may fail before.
    fn say_unjudged(&self, work: &mut Work, stack: &[JudgedLayer]) {
        let all = self.layers.iter().zip(stack).enumerate();
        let left: Vec<(usize, &str)> = all
            .filter(|(_, (_, judged))| judged.strength.is_none())
            .map(|(at, (layer, _))| (at + 1, layer.material.as_str()))
            .collect();
        if left.is_empty() {
            return;
        }
        let words: Vec<String> = left.iter().map(|(at, name)| format!("{at} ({name})")).collect();
        work.note(format!(
            "Without strengths, and so not judged, whatever they carry: layer {}. The reserves are of the others alone.",
            words.join(", ")
        ));
    }

    /// Without an expansion a layer takes no part in what a change of temperature does, which would be taken for its own.
    fn ask_for_expansion(&self, checks: &mut Checks) {
        if self.load.as_ref().is_none_or(|load| load.read().temperature == 0.0) {
            return;
        }
        let used: BTreeSet<&String> = self.layers.iter().map(|layer| &layer.material).collect();
        for (name, material) in self.materials.iter().filter(|(name, _)| used.contains(name)) {
            for (key, given) in [("cte1", &material.cte1), ("cte2", &material.cte2)] {
                if given.is_none() {
                    let why = "what the change of temperature does follows from it";
                    checks.asks_for("load.temperature_change", &format!("materials.{name}.{key}"), why);
                }
            }
        }
    }

    /// Q of each material, and Qbar11 of each pair of material and angle.
    fn ply_steps(&self, work: &mut Work, stack: &[JudgedLayer]) -> Result<(), Refusals> {
        for (name, material) in &self.materials {
            let lamina = material.lamina();
            let q = lamina.stiffness().at(&format!("materials.{name}"))?;
            let [[q11, q12, _], [_, q22, _], [_, _, q66]] = q.map(|row| row.map(|value| value * MPA));
            let (e1, e2, nu12) = (lamina.e1 * MPA, lamina.e2 * MPA, lamina.nu12);
            let numbers = [nu12, e2, e1];
            work.step(format!("nu21 {name}"), "nu12 E2/E1", "{} x {}/{}", &numbers, lamina.nu21(), "");
            let bottom = lamina.nu21();
            let text = "{}/(1 - {} x {})";
            work.step(format!("Q11 {name}"), "E1/(1 - nu12 nu21)", text, &[e1, nu12, bottom], q11, "MPa");
            work.step(format!("Q22 {name}"), "E2/(1 - nu12 nu21)", text, &[e2, nu12, bottom], q22, "MPa");
            work.step(format!("Q12 {name}"), "nu12 Q22", "{} x {}", &[nu12, q22], q12, "MPa");
            work.step(format!("Q66 {name}"), "G12", "{}", &[lamina.g12 * MPA], q66, "MPa");
        }
        let mut seen: Vec<(&str, f64)> = Vec::new();
        for (layer, own) in self.layers.iter().zip(stack) {
            let degrees = own.angle.to_degrees();
            if seen.contains(&(layer.material.as_str(), degrees)) {
                continue;
            }
            seen.push((&layer.material, degrees));
            let field = format!("materials.{}", layer.material);
            let q = own.lamina.stiffness().at(&field)?;
            let [[q11, q12, _], [_, q22, _], [_, _, q66]] = q.map(|row| row.map(|value| value * MPA));
            let [[turned, ..], ..] = own.lamina.rotated_stiffness(own.angle).at(&field)?;
            let formula = "Q11 c^4 + 2 (Q12 + 2 Q66) s^2 c^2 + Q22 s^4, the others alike";
            let text = "{} x cos({})^4 + 2 x ({} + 2 x {}) x sin({})^2 x cos({})^2 + {} x sin({})^4";
            let numbers = [q11, degrees, q12, q66, degrees, degrees, q22, degrees];
            let symbol = format!("Qbar11 {} at {} deg", layer.material, super::figure(degrees));
            work.step(symbol, formula, text, &numbers, turned * MPA, "MPa");
        }
        Ok(())
    }

    /// A11, B11, D11 as sums over the layers.
    fn sums(&self, work: &mut Work, elastic: &[ElasticLayer], stiff: &Stiffness) -> Result<(), Refusals> {
        let thickness: Vec<f64> = elastic.iter().map(|layer| layer.thickness * 1e3).collect();
        let total = stiff.thickness * 1e3;
        let text = vec!["{}"; thickness.len()].join(" + ");
        work.step("h", "sum of t", &text, &thickness, total, "mm");
        let mut z = -total / 2.0;
        let (mut a, mut b, mut d) = (Vec::new(), Vec::new(), Vec::new());
        for (layer, t) in elastic.iter().zip(&thickness) {
            let [[q, ..], ..] = layer.lamina.rotated_stiffness(layer.angle).at("layers")?;
            let (q, middle) = (q * MPA, z + t / 2.0);
            a.extend([q, *t]);
            b.extend([q, *t, middle]);
            d.extend([q, *t, middle, *t]);
            z += t;
        }
        let join = |one: &str| vec![one; thickness.len()].join(" + ");
        let [[a11, ..], ..] = stiff.a;
        let [[b11, ..], ..] = stiff.b;
        let [[d11, ..], ..] = stiff.d;
        work.step("A11", "sum of Qbar11 t", &join("{} x {}"), &a, a11 * 1e-3, "N/mm");
        let formula = "sum of Qbar11 t z, z the height of the layer's middle";
        let b11 = settled(b11, largest(&stiff.a) * stiff.thickness);
        work.step("B11", formula, &join("{} x {} x {}"), &b, b11, "N");
        let formula = "sum of Qbar11 t (z^2 + t^2/12)";
        work.step("D11", formula, &join("{} x {} x ({}^2 + {}^2/12)"), &d, d11 * 1e3, "N mm");
        Ok(())
    }

    fn loaded(
        &self,
        work: &mut Work,
        stack: &[JudgedLayer],
        (elastic, soft): (&[ElasticLayer], &Compliance),
        load: &Load,
    ) -> Result<(), Refusals> {
        let deformation = soft.deformation(load).at("load")?;
        work.result("midplane_strain", deformation.strain.map(|value| value * 1e6).to_vec(), "ustrain");
        work.result("curvature", deformation.curvature.map(|value| value * 1e-3).to_vec(), "1/mm");
        let states = recover(elastic, &deformation, load.temperature).at("load")?;
        let rows: Vec<Value> = states
            .iter()
            .filter(|state| state.position != Position::Middle)
            .map(|state| {
                let [s1, s2, t12] = state.ply_stress.map(|value| value * MPA);
                let [e1, e2, g12] = state.ply_mechanical_strain.map(|value| value * 1e6);
                json!({
                    "layer": state.layer + 1, "face": face(state.position),
                    "s1_MPa": s1, "s2_MPa": s2, "t12_MPa": t12,
                    "e1_ustrain": e1, "e2_ustrain": e2, "g12_ustrain": g12,
                })
            })
            .collect();
        work.result("plies", rows, "");
        if load.temperature != 0.0 {
            work.note("The strains of the plies are those that stress makes: free expansion is in the strains of the mid-plane, and not in these.");
        }
        if stack.iter().any(|layer| layer.strength.is_some()) {
            self.say_unjudged(work, stack);
            margins(work, stack, load);
        }
        if let Some(limits) = &self.design_strain {
            strains(work, stack, load, limits)?;
        }
        Ok(())
    }
}

fn margins(work: &mut Work, stack: &[JudgedLayer], load: &Load) {
    let criteria = [
        Criterion::MaximumStress,
        Criterion::MaximumStrain,
        Criterion::TSAI_HILL,
        Criterion::TSAI_WU,
        Criterion::Hashin,
    ];
    let mut rows: Vec<Value> = Vec::new();
    let is_unloaded = load.force == [0.0; 3] && load.moment == [0.0; 3];
    if is_unloaded {
        work.note("There is no force or moment that a reserve could be a factor on; what the change of temperature does stands among the plies.");
    }
    for criterion in criteria {
        match first_ply(stack, load, criterion) {
            Ok(found) => rows.push(row(criterion, &found)),
            Err(LaminateError::NoFailure) if is_unloaded => {}
            Err(LaminateError::NoFailure) => {
                work.note(format!(
                    "By {} no multiple of these forces and moments fails a layer.",
                    criterion.name()
                ));
            }
            Err(error) => work.note(format!("Not judged by {}: {error}.", criterion.name())),
        }
    }
    if !rows.is_empty() {
        work.result("first_ply", rows, "");
        work.note("The margin is the reserve factor less 1; the factor is on forces and moments, not on temperature.");
        say_undamaged(work);
    }
    if let Ok(found) = last_ply(stack, load, Criterion::TSAI_WU, USUAL_REMAINDER) {
        let rounds = found.steps.len();
        let how = format!("largest factor of {rounds} failures, Tsai-Wu, ply discount");
        work.step("R last ply", &how, "[one failure after another]", &[], found.factor, "");
        work.result("last_ply_estimate", found.factor, "");
        work.note(format!(
            "The last ply is an estimate: Tsai-Wu, a failed matrix keeps {USUAL_REMAINDER} of E2 and G12 (common practice, no source)."
        ));
    }
}

fn strains(
    work: &mut Work,
    stack: &[JudgedLayer],
    load: &Load,
    limits: &StrainLimits,
) -> Result<(), Refusals> {
    let si = |given: &Option<Strain>| given.as_ref().map(|own| own.si());
    let allowed = DesignStrain {
        tension: si(&limits.tension),
        compression: si(&limits.compression),
        shear: si(&limits.shear),
    };
    let found = strain_peaks(stack, load, &allowed).at("design_strain")?;
    let mut rows: Vec<Value> = Vec::new();
    let all = [("tension", found.tension), ("compression", found.compression), ("shear", found.shear)];
    for (name, peak) in all.into_iter().filter_map(|(name, peak)| Some((name, peak?))) {
        if let Some(reserve) = peak.reserve {
            rows.push(json!({
                "strain": name, "greatest_ustrain": peak.strain * 1e6, "reserve": reserve,
                "margin": reserve - 1.0, "layer": peak.layer + 1, "face": face(peak.position),
            }));
        }
    }
    match rows.is_empty() {
        true => work.note("No design strain limits this load."),
        false => work.result("design_strain", rows, ""),
    }
    Ok(())
}

fn row(criterion: Criterion, found: &FirstPly) -> Value {
    json!({
        "criterion": criterion.name(),
        "reserve": found.factor,
        "margin": found.margin(),
        "layer": found.layer + 1,
        "face": face(found.position),
        "mode": found.mode.name(),
    })
}

fn moduli(work: &mut Work, stiff: &Stiffness, soft: &Compliance) {
    let (h, m) = (stiff.thickness * 1e3, soft.in_plane());
    let [[a11, ..], [_, a22, _], [.., a66]] = soft.alpha;
    // Of the whole inverse, per N/mm.
    let per = |name: &str, value: f64, work: &mut Work| {
        work.step(name, "of the whole 6 x 6 inverse of A, B, D", "[inverted]", &[], value * 1e3, "mm/N");
    };
    per("alpha11", a11, work);
    per("alpha22", a22, work);
    per("alpha66", a66, work);
    let text = "0.001/({} x {})";
    work.step("Ex", "1/(alpha11 h), in GPa", text, &[a11 * 1e3, h], m.ex * GPA, "GPa");
    work.step("Ey", "1/(alpha22 h), in GPa", text, &[a22 * 1e3, h], m.ey * GPA, "GPa");
    work.step("Gxy", "1/(alpha66 h), in GPa", text, &[a66 * 1e3, h], m.gxy * GPA, "GPa");
    let [[_, a12, _], ..] = soft.alpha;
    per("alpha12", a12, work);
    work.step("nu_xy", "-alpha12/alpha11", "-{}/{}", &[a12 * 1e3, a11 * 1e3], m.nu_xy, "");
    let bending = soft.bending();
    let [[d11, ..], [_, d22, _], _] = soft.delta;
    for (name, modulus, delta, value) in
        [("delta11", "Ex_bending", d11, bending.ex), ("delta22", "Ey_bending", d22, bending.ey)]
    {
        // 1/(N m) is 0.001/(N mm).
        let delta = delta * 1e-3;
        work.step(name, "of the whole 6 x 6 inverse of A, B, D", "[inverted]", &[], delta, "1/(N mm)");
        let formula = format!("12/({name} h^3), in GPa");
        work.step(modulus, &formula, "0.012/({} x {}^3)", &[delta, h], value * GPA, "GPa");
    }
    work.result("Ex", m.ex * GPA, "GPa");
    work.result("Ey", m.ey * GPA, "GPa");
    work.result("Gxy", m.gxy * GPA, "GPa");
    work.result("nu_xy", m.nu_xy, "");
    work.result("Ex_bending", bending.ex * GPA, "GPa");
    work.result("Ey_bending", bending.ey * GPA, "GPa");
    let [along, across, _] = soft.expansion;
    let inverted = "[from the same inverse]";
    work.step(
        "alpha_x",
        "thermal forces and moments per K on the whole inverse",
        inverted,
        &[],
        along * 1e6,
        "um/m/K",
    );
    work.step("alpha_y", "the same across", inverted, &[], across * 1e6, "um/m/K");
    work.result("expansion_x", along * 1e6, "um/m/K");
    work.result("expansion_y", across * 1e6, "um/m/K");
}

fn face(position: Position) -> &'static str {
    match position {
        Position::Bottom => "tool side",
        Position::Middle => "middle",
        Position::Top => "far side",
    }
}
