//! Faces and core of a sandwich: wrinkling, dimpling, crimping, core shear, crushing.

use super::laid::LaidUp;
use super::plies::{Case, Loading, at};
use super::{Margin, Uncomputed};
use crate::laminate::sandwich::allowable::{
    self, HONEYCOMB_DESIGN, SOLID_DESIGN, WrinklingConstant, dimpling, wrinkling_honeycomb, wrinkling_solid,
};
use crate::laminate::{
    Compliance, ElasticLayer, LaminateError, Load, Matrix3, Middles, Stiffness, Vector3, stiffness,
};
use crate::ledger::Ledger;
use crate::record::Material;

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
        // The core holds a face flat: its own coupling of stretching and bending does not soften it.
        let compliance = Stiffness { b: [[0.0; 3]; 3], ..stiffness(&carrying)? }.compliance()?;
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
fn force(stresses: &[Vector3], layers: &[ElasticLayer], face: &OneFace) -> Vector3 {
    let mut sum = [0.0; 3];
    let own = face.layers.clone();
    let of_face = stresses.iter().zip(layers).skip(own.start).take(own.len());
    for (stresses, layer) in of_face {
        for (total, stress) in sum.iter_mut().zip(stresses) {
            *total += stress * layer.thickness;
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
    let check = case.sandwich_check();
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
    let elastic = case.laid.elastic();
    let whole = match stiffness(&elastic).and_then(|own| own.compliance()) {
        Ok(whole) => whole,
        Err(problem) => return uncomputed.push(case.lacks(check, problem)),
    };
    let middles = match Middles::of(&elastic) {
        Ok(middles) => middles,
        Err(problem) => return uncomputed.push(case.lacks(check, problem)),
    };
    let mut bench = Bench {
        case,
        middles,
        round: round(),
        allowed: [[None; ROUND]; 2],
        heat: None,
        elastic,
        whole,
        core: &core.value,
        id: &core.id,
        faces: &found,
        least: Vec::new(),
        lacking: Vec::new(),
    };
    for loading in case.loadings {
        bench.judge(loading);
    }
    let Bench { least, lacking, .. } = bench;
    margins.extend(least);
    uncomputed.extend(lacking.into_iter().map(|why| case.lacks(check, why)));
}

struct Bench<'a> {
    case: &'a Case<'a>,
    elastic: Vec<ElasticLayer>,
    middles: Middles,
    /// Directions to look for wrinkling in.
    round: [(f64, f64); ROUND],
    /// What either face bears in each of them, Pa, once somebody asked.
    allowed: [[Option<(f64, WrinklingConstant)>; ROUND]; 2],
    /// The stresses of the last change of temperature, K, which most states share.
    heat: Option<(f64, Vec<Vector3>)>,
    whole: Compliance,
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

    /// Whether a margin would be kept: most are not, and need no words.
    fn governs(&self, criterion: &str, reserve: f64) -> bool {
        let known = self.least.iter().find(|known| known.criterion == criterion);
        known.is_none_or(|known| {
            known.margin.partial_cmp(&(reserve - 1.0)).is_none_or(std::cmp::Ordering::is_gt)
        })
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

    /// Keeps what can be judged; what one check lacks does not stop the others.
    fn judge(&mut self, loading: &Loading) {
        let mechanical = Load { temperature: 0.0, ..loading.load };
        let thermal = Load { temperature: loading.load.temperature, ..Load::default() };
        let states = self.states(&mechanical);
        let known = self.heat.take().filter(|(change, _)| *change == thermal.temperature);
        let heat = known.map_or_else(|| self.states(&thermal).map(|(own, _)| own), |(_, own)| Ok(own));
        let ((states, curvature), heat) = match (states, heat) {
            (Ok(states), Ok(heat)) => (states, heat),
            (Err(problem), _) | (_, Err(problem)) => return self.lack(problem.to_string()),
        };
        let faces = self.faces;
        for (which, face) in faces.faces.iter().enumerate() {
            let (forces, held) = (force(&states, &self.elastic, face), force(&heat, &self.elastic, face));
            for found in [
                self.stability((which, face), forces, held, loading),
                self.dimples(face, forces, held, loading),
            ] {
                if let Err(problem) = found {
                    self.lack(problem.to_string());
                }
            }
        }
        self.heat = Some((thermal.temperature, heat));
        for found in
            [self.crimping(loading), self.core_shear(loading), self.crushing(loading, &states, curvature)]
        {
            if let Err(problem) = found {
                self.lack(problem.to_string());
            }
        }
    }

    /// Stresses in the middles of the layers, and the curvature.
    fn states(&self, load: &Load) -> Result<(Vec<Vector3>, Vector3), LaminateError> {
        let deformation = self.whole.deformation(load)?;
        Ok((self.middles.stresses(&deformation, load.temperature)?, deformation.curvature))
    }

    /// Wrinkling along whichever direction it comes first in: the stiffest way is not the one that is pressed
    /// hardest. What presses across at the same time is left out.
    fn stability(
        &mut self,
        (which, face): (usize, &OneFace),
        forces: Vector3,
        held: Vector3,
        loading: &Loading,
    ) -> Result<(), LaminateError> {
        let mut worst: Option<(f64, f64, f64, f64, WrinklingConstant)> = None;
        let (_, c, s) = least_principal(forces);
        let round = self.round;
        for (at, (c, s)) in round.into_iter().chain([(c, s)]).enumerate() {
            let [stress, own] = pressed(face, forces, held, (c, s));
            if stress < LEAST_STRESS {
                continue;
            }
            let known = self.allowed.get(which).and_then(|own| own.get(at)).copied().flatten();
            let found = match known {
                Some(known) => Some(known),
                None => self.allowed(face, (c, s))?,
            };
            let Some((allowed, k)) = found else { return Ok(()) };
            if let Some(room) = self.allowed.get_mut(which).and_then(|own| own.get_mut(at)) {
                *room = found;
            }
            let reserve = ((allowed - own) / stress).max(0.0);
            if worst.is_none_or(|(known, ..)| reserve < known) {
                worst = Some((reserve, stress, own, allowed, k));
            }
        }
        let Some((reserve, stress, own, allowed, k)) = worst else { return Ok(()) };
        if !self.governs("wrinkling", reserve) {
            return Ok(());
        }
        let heat =
            if own > LEAST_STRESS { format!(" less {:.1} by temperature", own / 1e6) } else { String::new() };
        let words = format!(
            "{:.1} of {:.1}{heat} MPa, {}{}",
            stress / 1e6,
            allowed / 1e6,
            face.word,
            at(&loading.place)
        );
        let mut margin =
            self.case.margin(self.case.sandwich_check(), "wrinkling", "wrinkling", reserve, words);
        margin.notes.push(format!("k = {} ({}); what presses across is left out", k.value, k.source));
        self.keep(margin);
        Ok(())
    }

    /// What a face bears along a direction before it wrinkles, Pa; `None` where the core lacks what that takes.
    fn allowed(
        &mut self,
        face: &OneFace,
        (c, s): (f64, f64),
    ) -> Result<Option<(f64, WrinklingConstant)>, LaminateError> {
        let honeycomb = self.core.form.as_ref().is_some_and(|form| form.as_str() == "honeycomb");
        let (modulus, _) = modulus_along(face, c, s);
        let through = self.core.compressive_modulus.as_ref().or(self.core.e.as_ref()).map(|own| own.si());
        let along = self.core.shear_modulus.as_ref().map(|own| own.si());
        let across = self.core.shear_modulus_across.as_ref().map(|own| own.si()).or(along);
        if honeycomb {
            let Some(through) = self.needs("compressive_modulus", through) else { return Ok(None) };
            let k = HONEYCOMB_DESIGN;
            let core = self.faces.core_thickness;
            return Ok(Some((wrinkling_honeycomb(modulus, face.thickness, through, core, k)?, k)));
        }
        let through = self.needs("compressive_modulus", through);
        let shear = along.zip(across).map(|(along, across)| c * c * along + s * s * across);
        let (Some(through), Some(shear)) = (through, self.needs("shear_modulus", shear)) else {
            return Ok(None);
        };
        Ok(Some((wrinkling_solid(modulus, through, shear, SOLID_DESIGN)?, SOLID_DESIGN)))
    }

    /// Buckling of a face into the cells of a honeycomb, by the mean modulus of the face.
    fn dimples(
        &mut self,
        face: &OneFace,
        forces: Vector3,
        held: Vector3,
        loading: &Loading,
    ) -> Result<(), LaminateError> {
        let honeycomb = self.core.form.as_ref().is_some_and(|form| form.as_str() == "honeycomb");
        let (_, c, s) = least_principal(forces);
        let [stress, own] = pressed(face, forces, held, (c, s));
        if !honeycomb || stress < LEAST_STRESS {
            return Ok(());
        }
        let cell = self.core.cell.as_ref().map(|own| own.si());
        let Some(cell) = self.needs("cell", cell) else { return Ok(()) };
        let ((x, xy), (y, yx)) = (modulus_along(face, 1.0, 0.0), modulus_along(face, 0.0, 1.0));
        let allowed = dimpling((x * y).sqrt(), (xy * yx).max(0.0).sqrt().min(0.99), face.thickness, cell)?;
        let reserve = ((allowed - own) / stress).max(0.0);
        if !self.governs("dimpling", reserve) {
            return Ok(());
        }
        let words =
            format!("{:.1} of {:.1} MPa, {}{}", stress / 1e6, allowed / 1e6, face.word, at(&loading.place));
        let margin = self.case.margin(self.case.sandwich_check(), "dimpling", "dimpling", reserve, words);
        self.keep(margin);
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
        if !self.governs("crimping", allowed / -least) {
            return Ok(());
        }
        let words = format!("{:.2} of {:.2} N/mm{}", -least / 1e3, allowed / 1e3, at(&loading.place));
        let margin = self.case.margin(
            self.case.sandwich_check(),
            "crimping",
            "shear crimping",
            allowed / -least,
            words,
        );
        self.keep(margin);
        Ok(())
    }

    fn core_shear(&mut self, loading: &Loading) -> Result<(), LaminateError> {
        let along = self.core.shear_strength.as_ref().map(|own| own.si());
        let across = self.core.shear_strength_across.as_ref().map(|own| own.si()).or(along);
        for (force, strength, word) in [
            (loading.shears[0], along, "at the edges x = 0 and a"),
            (loading.shears[1], across, "at the edges y = 0 and b"),
        ] {
            if force.abs() / self.faces.depth < LEAST_STRESS {
                continue;
            }
            let Some(strength) = self.needs("shear_strength", strength) else { return Ok(()) };
            let stress = force.abs() / self.faces.depth;
            let Some(reserve) = allowable::core_shear(strength, stress)?.reserve() else { continue };
            if !self.governs("core-shear", reserve) {
                continue;
            }
            let words = format!("{:.3} of {:.3} MPa {word}", stress / 1e6, strength / 1e6);
            let margin =
                self.case.margin(self.case.sandwich_check(), "core-shear", "core shear", reserve, words);
            self.keep(margin);
        }
        Ok(())
    }

    /// The faces' forces on the curved core, which grow with the square of the load, and the pressure itself.
    fn crushing(
        &mut self,
        loading: &Loading,
        states: &[Vector3],
        curvature: Vector3,
    ) -> Result<(), LaminateError> {
        let squeeze = self
            .faces
            .faces
            .iter()
            .map(|face| {
                let forces = force(states, &self.elastic, face);
                forces.iter().zip(curvature).map(|(force, bent)| force * bent).sum::<f64>().abs()
            })
            .fold(0.0, f64::max);
        let pressure = loading.pressure.abs();
        if squeeze + pressure < LEAST_STRESS {
            return Ok(());
        }
        let strength = self.core.compressive_strength.as_ref().map(|own| own.si());
        let Some(strength) = self.needs("compressive_strength", strength) else { return Ok(()) };
        // At R times the load: p R + s R^2 = strength.
        let reserve = if squeeze < LEAST_STRESS * LEAST_STRESS {
            allowable::core_crushing(strength, pressure, squeeze)?.reserve()
        } else {
            Some(2.0 * strength / (pressure + (pressure * pressure + 4.0 * squeeze * strength).sqrt()))
        };
        let Some(reserve) = reserve.filter(|own| self.governs("core-crushing", *own)) else { return Ok(()) };
        let words = format!(
            "{:.4} of {:.4} MPa at the factored load{}",
            (pressure + squeeze) / 1e6,
            strength / 1e6,
            at(&loading.place)
        );
        let check = self.case.sandwich_check();
        self.keep(self.case.margin(check, "core-crushing", "core crushing", reserve, words));
        Ok(())
    }
}

/// Stresses below this are rounding, Pa.
pub(super) const LEAST_STRESS: f64 = 1.0;

/// How many directions [`round`] has.
const ROUND: usize = 36;

/// Directions to look for wrinkling in beside that of the least principal force: every five degrees.
fn round() -> [(f64, f64); ROUND] {
    std::array::from_fn(|step| {
        #[allow(clippy::cast_precision_loss)]
        let angle = step as f64 * 5.0_f64.to_radians();
        (angle.cos(), angle.sin())
    })
}

/// Compression of a face along a direction, Pa: by the load, and by temperature where that adds to it.
fn pressed(face: &OneFace, forces: Vector3, held: Vector3, (c, s): (f64, f64)) -> [f64; 2] {
    let along = |[x, y, xy]: Vector3| -(c * c * x + s * s * y + 2.0 * c * s * xy) / face.thickness;
    [along(forces), along(held).max(0.0)]
}
