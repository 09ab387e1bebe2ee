//! What topics on laminates share: materials, layers, loads, strengths.

use super::work::settled;
use super::{At, Checks, Refusal, Refusals, Work};
use crate::laminate::{JudgedLayer, Lamina, Load, PlyStrength};
use crate::quantity::{Angle, Expansion, Force, Length, LineForce, Ratio, Stress, TemperatureDifference};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Strengths of a ply, all positive; only those that a criterion asks for are needed.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Strengths {
    /// Tension along 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub xt: Option<Stress>,
    /// Compression along 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub xc: Option<Stress>,
    /// Tension along 2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub yt: Option<Stress>,
    /// Compression along 2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub yc: Option<Stress>,
    /// Shear in the plane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub s: Option<Stress>,
    /// Shear across the fibres, for Hashin's criterion; half of yc where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub s23: Option<Stress>,
}

impl Strengths {
    pub(super) fn check(&self, checks: &mut Checks, field: &str) {
        let all = [
            ("xt", &self.xt),
            ("xc", &self.xc),
            ("yt", &self.yt),
            ("yc", &self.yc),
            ("s", &self.s),
            ("s23", &self.s23),
        ];
        for (key, given) in all {
            if let Some(given) = given {
                checks.above_zero(&format!("{field}.{key}"), given);
            }
        }
    }

    pub(super) fn read(&self) -> PlyStrength {
        let si = |given: &Option<Stress>| given.as_ref().map(|own| own.si());
        PlyStrength {
            xt: si(&self.xt),
            xc: si(&self.xc),
            yt: si(&self.yt),
            yc: si(&self.yc),
            s: si(&self.s),
            s23: si(&self.s23),
        }
    }
}

/// Elastic values of a ply, a core or a sheet, and its strengths.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Material {
    /// Young's modulus along 1, the fibres or the warp.
    pub e1: Stress,
    /// Young's modulus along 2, across in the plane.
    pub e2: Stress,
    /// Shear modulus in the plane.
    pub g12: Stress,
    /// Major Poisson's ratio.
    pub nu12: Ratio,
    /// Coefficient of expansion along 1; asked for where the temperature changes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cte1: Option<Expansion>,
    /// Coefficient of expansion along 2; asked for where the temperature changes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cte2: Option<Expansion>,
    /// Strengths; a layer without them, such as a core, carries stiffness and is not judged, which is said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strengths: Option<Strengths>,
}

impl Material {
    pub(super) fn lamina(&self) -> Lamina {
        let si = |given: &Option<Expansion>| given.as_ref().map_or(0.0, |own| own.si());
        Lamina {
            e1: self.e1.si(),
            e2: self.e2.si(),
            g12: self.g12.si(),
            nu12: self.nu12.si(),
            cte1: si(&self.cte1),
            cte2: si(&self.cte2),
        }
    }

    pub(super) fn check(&self, checks: &mut Checks, field: &str) {
        for (key, given) in [("e1", &self.e1), ("e2", &self.e2), ("g12", &self.g12)] {
            checks.above_zero(&format!("{field}.{key}"), given);
        }
        if let Some(strengths) = &self.strengths {
            strengths.check(checks, &format!("{field}.strengths"));
        }
    }
}

/// One layer.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Layer {
    /// One of the materials.
    pub material: String,
    /// Angle of its direction 1 from x towards y; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub angle: Option<Angle>,
    /// Thickness.
    pub thickness: Length,
}

impl Layer {
    pub(super) fn angle(&self) -> f64 {
        self.angle.as_ref().map_or(0.0, |own| own.si())
    }
}

/// Forces and moments per width, and a change of temperature.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct EdgeLoad {
    /// Force along x, tension positive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nx: Option<LineForce>,
    /// Force along y, tension positive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ny: Option<LineForce>,
    /// Shear force.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nxy: Option<LineForce>,
    /// Moment that bends along x; positive stretches the side away from the tool.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mx: Option<Force>,
    /// Moment that bends along y.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub my: Option<Force>,
    /// Twisting moment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mxy: Option<Force>,
    /// Change of temperature from where the layers are free of stress.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_change: Option<TemperatureDifference>,
}

impl EdgeLoad {
    pub(super) fn read(&self) -> Load {
        let force = [&self.nx, &self.ny, &self.nxy].map(|own| own.as_ref().map_or(0.0, |own| own.si()));
        let moment = [&self.mx, &self.my, &self.mxy].map(|own| own.as_ref().map_or(0.0, |own| own.si()));
        Load { force, moment, temperature: self.temperature_change.as_ref().map_or(0.0, |own| own.si()) }
    }
}

/// The layers of a stack, checked.
pub(super) fn stack(
    materials: &BTreeMap<String, Material>,
    layers: &[Layer],
) -> Result<Vec<JudgedLayer>, Refusals> {
    let mut checks = Checks::new();
    for (name, material) in materials {
        material.check(&mut checks, &format!("materials.{name}"));
    }
    for (place, layer) in layers.iter().enumerate() {
        checks.above_zero(&format!("layers.{}.thickness", place + 1), &layer.thickness);
        if !materials.contains_key(&layer.material) {
            let known = materials.keys().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
            let message = format!("no material is called `{}`", layer.material);
            let field = format!("layers.{}.material", place + 1);
            checks.refuse(Refusal::new("unknown-reference", field, message, format!("there are {known}")));
        }
    }
    if layers.is_empty() {
        let message = "`layers` is empty";
        checks.refuse(Refusal::new("out-of-range", "layers", message, "write at least one layer"));
    }
    checks.done()?;
    for (name, material) in materials {
        material.lamina().checked().at(&format!("materials.{name}"))?;
    }
    let read = |layer: &Layer| {
        let material = materials.get(&layer.material)?;
        Some(JudgedLayer {
            lamina: material.lamina(),
            angle: layer.angle(),
            thickness: layer.thickness.si(),
            strength: material.strengths.as_ref().map(Strengths::read),
        })
    };
    Ok(layers.iter().filter_map(read).collect())
}

/// A matrix in other units, as rows of results; beside `size`, what rounding leaves of 0 is 0.
pub(super) fn rows(matrix: &[[f64; 3]; 3], factor: f64, size: f64) -> Vec<Vec<f64>> {
    matrix.iter().map(|row| row.iter().map(|value| settled(*value, size) * factor).collect()).collect()
}

/// The largest entry of a matrix, without sign.
pub(super) fn largest(matrix: &[[f64; 3]; 3]) -> f64 {
    matrix.iter().flatten().fold(0.0_f64, |most, value| most.max(value.abs()))
}

/// Says what margins from such strengths hold for.
pub(super) fn say_undamaged(work: &mut Work) {
    work.note(
        "The margins are those of the strengths that were typed in: of plain specimens they hold undamaged, unnotched.",
    );
}
