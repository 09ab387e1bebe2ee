//! Faces and core of a sandwich: wrinkling, dimpling, crimping, core shear, crushing.

use super::laid::LaidUp;
use super::plies::{Case, Loading, at};
use super::{Margin, Uncomputed};
use crate::laminate::sandwich::allowable::{
    self, HONEYCOMB_DESIGN, SOLID_DESIGN, WrinklingConstant, dimpling, wrinkling_honeycomb, wrinkling_solid,
};
use crate::laminate::{
    Compliance, ElasticLayer, LaminateError, Load, Matrix3, PointState, Position, Vector3, recover_under,
    stiffness,
};
use crate::ledger::Ledger;
use crate::record::{ComputedCheck, Material};

/// The two faces of a sandwich and what stands between, in plain values.
pub(super) struct Faces {
    /// Below and above the core.
    pub(super) faces: [OneFace; 2],
    /// Between the faces' middles, weighed by stiffness, m.
    pub(super) depth: f64,
    pub(super) core_thickness: f64,
}

pub(super) struct OneFace {
    word: &'static str,
    /// Places in the carrying layers.
    layers: std::ops::Range<usize>,
    /// Of what carries in it, m.
    thickness: f64,
    compliance: Compliance,
}

/// Takes a laminate with one core apart.
pub(super) fn faces(laid: &LaidUp) -> Result<Option<Faces>, LaminateError> {
    let Some(core) = &laid.core else { return Ok(None) };
    let elastic = laid.elastic();
    let total: f64 = elastic.iter().map(|layer| layer.thickness).sum();
    let mut bottoms = Vec::with_capacity(elastic.len());
    let mut z = -total / 2.0;
    for layer in &elastic {
        bottoms.push(z);
        z += layer.thickness;
    }
    let one = |word, range: std::ops::Range<usize>| -> Result<(OneFace, f64), LaminateError> {
        let own: Vec<(ElasticLayer, f64)> = elastic
            .iter()
            .zip(&bottoms)
            .skip(range.start)
            .take(range.len())
            .filter(|(layer, _)| !layer.lamina.is_void())
            .map(|(layer, bottom)| (*layer, *bottom))
            .collect();
        let carrying: Vec<ElasticLayer> = own.iter().map(|(layer, _)| *layer).collect();
        let compliance = stiffness(&carrying)?.compliance()?;
        // Both directions count in where the middle lies.
        let weight = |layer: &ElasticLayer| (layer.lamina.e1 + layer.lamina.e2) * layer.thickness;
        let sum: f64 = carrying.iter().map(weight).sum();
        let middle: f64 =
            own.iter().map(|(layer, bottom)| weight(layer) * (bottom + layer.thickness / 2.0)).sum::<f64>()
                / sum;
        let thickness = carrying.iter().map(|layer| layer.thickness).sum();
        Ok((OneFace { word, layers: range, thickness, compliance }, middle))
    };
    let (lower, low) = one("face at the tool", 0..core.at)?;
    let (upper, high) = one("face within", core.at + 1..elastic.len())?;
    let core_thickness = elastic.get(core.at).map_or(0.0, |layer| layer.thickness);
    Ok(Some(Faces { faces: [lower, upper], depth: high - low, core_thickness }))
}

impl OneFace {
    /// Returns the thickness of what carries in it, m.
    pub(super) fn thickness(&self) -> f64 {
        self.thickness
    }
}

impl Faces {
    /// Returns shear stiffness per width, G d^2/t_c, along x and y, N/m.
    pub(super) fn shear_stiffness(&self, core: &Material) -> Option<[f64; 2]> {
        let along = core.shear_modulus.as_ref()?.si();
        let across = core.shear_modulus_across.as_ref().map_or(along, |own| own.si());
        let of = |modulus: f64| modulus * self.depth * self.depth / self.core_thickness;
        Some([of(along), of(across)])
    }
}

/// Force per width in the layers of a face, [x, y, xy], N/m.
fn force(states: &[PointState], layers: &[ElasticLayer], face: &OneFace) -> Vector3 {
    let mut sum = [0.0; 3];
    for state in
        states.iter().filter(|one| one.position == Position::Middle && face.layers.contains(&one.layer))
    {
        let thickness = layers.get(state.layer).map_or(0.0, |layer| layer.thickness);
        for (total, stress) in sum.iter_mut().zip(state.stress) {
            *total += stress * thickness;
        }
    }
    sum
}

/// The lesser principal value of [x, y, xy] and the cosine and sine of its direction.
fn least_principal([x, y, xy]: Vector3) -> (f64, f64, f64) {
    let half = (x - y) / 2.0;
    let least = (x + y) / 2.0 - half.hypot(xy);
    let angle = 0.5 * (2.0 * xy).atan2(x - y) + std::f64::consts::FRAC_PI_2;
    (least, angle.cos(), angle.sin())
}

/// Young's modulus and Poisson's ratio of a face along a direction.
fn modulus_along(face: &OneFace, c: f64, s: f64) -> (f64, f64) {
    let [[a11, a12, a16], [_, a22, a26], [_, _, a66]]: Matrix3 = face.compliance.alpha;
    let (c2, s2, cs) = (c * c, s * s, c * s);
    let along = c2 * c2 * a11
        + s2 * s2 * a22
        + c2 * s2 * (2.0 * a12 + a66)
        + 2.0 * c2 * cs * a16
        + 2.0 * s2 * cs * a26;
    let across = c2 * s2 * (a11 + a22 - a66) + (c2 * c2 + s2 * s2) * a12 + cs * (s2 - c2) * (a16 - a26);
    (1.0 / (along * face.thickness), -across / along)
}

/// Returns the margins of faces and core, each the least over all states of load of the case.
pub(super) fn sandwich(
    ledger: &Ledger,
    case: &Case<'_>,
    margins: &mut Vec<Margin>,
    uncomputed: &mut Vec<Uncomputed>,
) {
    let check = ComputedCheck::Sandwich;
    if case.laid.cores > 1 {
        uncomputed.push(
            case.lacks(check, format!("the laminate has {} cores; one can be judged", case.laid.cores)),
        );
        return;
    }
    let found = match faces(case.laid) {
        Ok(Some(found)) => found,
        Ok(None) => return,
        Err(problem) => {
            uncomputed.push(case.lacks(check, problem));
            return;
        }
    };
    let Some(core) = case.laid.core.as_ref().and_then(|core| ledger.materials.get(&core.material)) else {
        return;
    };
    let mut bench = Bench {
        case,
        core: &core.value,
        id: &core.id,
        faces: &found,
        least: Vec::new(),
        lacking: Vec::new(),
    };
    for loading in case.loadings {
        if let Err(problem) = bench.judge(loading) {
            bench.lack(problem.to_string());
            break;
        }
    }
    let Bench { least, lacking, .. } = bench;
    margins.extend(least);
    uncomputed.extend(lacking.into_iter().map(|why| case.lacks(check, why)));
}

struct Bench<'a> {
    case: &'a Case<'a>,
    core: &'a Material,
    id: &'a str,
    faces: &'a Faces,
    least: Vec<Margin>,
    lacking: Vec<String>,
}

impl Bench<'_> {
    fn lack(&mut self, why: String) {
        if !self.lacking.contains(&why) {
            self.lacking.push(why);
        }
    }

    /// Keeps the least margin of each criterion and place in the stack.
    fn keep(&mut self, margin: Margin) {
        match self.least.iter_mut().find(|known| known.criterion == margin.criterion) {
            Some(known) if known.margin <= margin.margin => {}
            Some(known) => *known = margin,
            None => self.least.push(margin),
        }
    }

    fn needs(&mut self, key: &str, value: Option<f64>) -> Option<f64> {
        if value.is_none() {
            self.lack(format!("the core material/{} has no `{key}`", self.id));
        }
        value
    }

    fn judge(&mut self, loading: &Loading) -> Result<(), LaminateError> {
        let layers = self.case.laid.elastic();
        let mechanical = Load { temperature: 0.0, ..loading.load };
        let states = recover_under(&layers, &mechanical)?;
        let thermal = Load { temperature: loading.load.temperature, ..Load::default() };
        let heat = recover_under(&layers, &thermal)?;
        let faces = self.faces;
        for face in &faces.faces {
            let forces = force(&states, &layers, face);
            let (least, c, s) = least_principal(forces);
            if least < 0.0 {
                // What temperature adds along the same direction; what it takes off is not counted.
                let [x, y, xy] = force(&heat, &layers, face);
                let own = (c * c * x + s * s * y + 2.0 * c * s * xy).min(0.0);
                let stress = [-least / face.thickness, -own / face.thickness];
                self.stability(face, stress, (c, s), loading)?;
            }
        }
        self.crimping(loading)?;
        self.core_shear(loading)?;
        self.crushing(loading, &states, &layers)
    }

    fn stability(
        &mut self,
        face: &OneFace,
        [stress, held]: [f64; 2],
        (c, s): (f64, f64),
        loading: &Loading,
    ) -> Result<(), LaminateError> {
        let (modulus, ratio) = modulus_along(face, c, s);
        let honeycomb = self.core.form.as_ref().is_some_and(|form| form.as_str() == "honeycomb");
        let through = self.core.compressive_modulus.as_ref().or(self.core.e.as_ref()).map(|own| own.si());
        let along = self.core.shear_modulus.as_ref().map(|own| own.si());
        let across = self.core.shear_modulus_across.as_ref().map(|own| own.si()).or(along);
        let (allowed, k): (f64, WrinklingConstant) = if honeycomb {
            let Some(through) = self.needs("compressive_modulus", through) else { return Ok(()) };
            let k = HONEYCOMB_DESIGN;
            (wrinkling_honeycomb(modulus, face.thickness, through, self.faces.core_thickness, k)?, k)
        } else {
            let through = self.needs("compressive_modulus", through);
            let shear = along.zip(across).map(|(along, across)| c * c * along + s * s * across);
            let (Some(through), Some(shear)) = (through, self.needs("shear_modulus", shear)) else {
                return Ok(());
            };
            (wrinkling_solid(modulus, through, shear, SOLID_DESIGN)?, SOLID_DESIGN)
        };
        let words = |allowed: f64| {
            format!("{:.1} of {:.1} MPa, {}{}", stress / 1e6, allowed / 1e6, face.word, at(&loading.place))
        };
        let reserve = |allowed: f64| ((allowed - held) / stress).max(0.0);
        let mut margin = self.case.margin(
            ComputedCheck::Sandwich,
            "wrinkling",
            "wrinkling",
            reserve(allowed),
            words(allowed),
        );
        margin.notes.push(format!("k = {} ({})", k.value, k.source));
        self.keep(margin);
        if honeycomb {
            let cell = self.core.cell.as_ref().map(|own| own.si());
            if let Some(cell) = self.needs("cell", cell) {
                let allowed = dimpling(modulus, ratio, face.thickness, cell)?;
                let reserve = reserve(allowed);
                let margin = self.case.margin(
                    ComputedCheck::Sandwich,
                    "dimpling",
                    "dimpling",
                    reserve,
                    words(allowed),
                );
                self.keep(margin);
            }
        }
        Ok(())
    }

    fn crimping(&mut self, loading: &Loading) -> Result<(), LaminateError> {
        let (least, c, s) = least_principal(loading.load.force);
        if least >= 0.0 {
            return Ok(());
        }
        let stiffness = self.faces.shear_stiffness(self.core);
        if stiffness.is_none() {
            self.lack(format!("the core material/{} has no `shear_modulus`", self.id));
        }
        let Some([along, across]) = stiffness else { return Ok(()) };
        let allowed = allowable::crimping(c * c * along + s * s * across)?;
        let words = format!("{:.2} of {:.2} N/mm{}", -least / 1e3, allowed / 1e3, at(&loading.place));
        let margin =
            self.case.margin(ComputedCheck::Sandwich, "crimping", "shear crimping", allowed / -least, words);
        self.keep(margin);
        Ok(())
    }

    fn core_shear(&mut self, loading: &Loading) -> Result<(), LaminateError> {
        let along = self.core.shear_strength.as_ref().map(|own| own.si());
        let across = self.core.shear_strength_across.as_ref().map(|own| own.si()).or(along);
        for (force, strength, word) in [
            (loading.shears[0], along, "across the edges x"),
            (loading.shears[1], across, "across the edges y"),
        ] {
            if force == 0.0 {
                continue;
            }
            let Some(strength) = self.needs("shear_strength", strength) else { return Ok(()) };
            let stress = force.abs() / self.faces.depth;
            let Some(reserve) = allowable::core_shear(strength, stress)?.reserve() else { continue };
            let words = format!("{:.3} of {:.3} MPa {word}", stress / 1e6, strength / 1e6);
            let margin =
                self.case.margin(ComputedCheck::Sandwich, "core-shear", "core shear", reserve, words);
            self.keep(margin);
        }
        Ok(())
    }

    /// The faces' forces on the curved core, and the pressure itself.
    fn crushing(
        &mut self,
        loading: &Loading,
        states: &[PointState],
        layers: &[ElasticLayer],
    ) -> Result<(), LaminateError> {
        let mechanical = Load { temperature: 0.0, ..loading.load };
        let curvature = stiffness(layers)?.compliance()?.deformation(&mechanical)?.curvature;
        let squeeze = self
            .faces
            .faces
            .iter()
            .map(|face| {
                let [x, y, _] = force(states, layers, face);
                (x * curvature[0]).abs() + (y * curvature[1]).abs()
            })
            .fold(0.0, f64::max);
        if squeeze == 0.0 && loading.pressure == 0.0 {
            return Ok(());
        }
        let strength = self.core.compressive_strength.as_ref().map(|own| own.si());
        let Some(strength) = self.needs("compressive_strength", strength) else { return Ok(()) };
        let check = allowable::core_crushing(strength, loading.pressure.abs(), squeeze)?;
        let Some(reserve) = check.reserve() else { return Ok(()) };
        let words = format!(
            "{:.4} of {:.4} MPa{}",
            (loading.pressure.abs() + squeeze) / 1e6,
            strength / 1e6,
            at(&loading.place)
        );
        let margin =
            self.case.margin(ComputedCheck::Sandwich, "core-crushing", "core crushing", reserve, words);
        self.keep(margin);
        Ok(())
    }
}
