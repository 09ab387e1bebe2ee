//! One ply under one state of stress by every criterion.

use super::layers::{Strengths, say_undamaged};
use super::{At, Checks, Refusal, Refusals, Topic, Work};
use crate::laminate::{Criterion, Lamina, LaminateError, PlyStrength, Reserve, reserve, stress_in_ply};
use crate::quantity::{Angle, Ratio, Stress};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

/// Elastic values, which maximum strain asks for.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Elastic {
    /// Young's modulus along 1.
    e1: Stress,
    /// Young's modulus along 2.
    e2: Stress,
    /// Shear modulus in the plane.
    g12: Stress,
    /// Major Poisson's ratio.
    nu12: Ratio,
}

/// Inputs of `calc failure`: a state of plane stress and the strengths of a ply.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Failure {
    /// Stress along x.
    sigma_x: Stress,
    /// Stress along y.
    sigma_y: Stress,
    /// Shear stress.
    tau_xy: Stress,
    /// Angle of the fibres from x towards y; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    angle: Option<Angle>,
    /// Strengths of the ply.
    strengths: Strengths,
    /// Elastic values; without them maximum strain is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    elastic: Option<Elastic>,
    /// F12 over sqrt(F11 F22) of Tsai-Wu; -0.5 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    interaction: Option<Ratio>,
}

const MPA: f64 = 1e-6;

impl Topic for Failure {
    const NAME: &'static str = "failure";
    const ABOUT: &'static str = "reserve of one ply under one state of stress, by every criterion";
    const SOURCE: &'static str = "Tsai-Wu: S. W. Tsai, E. M. Wu 1971; Tsai-Hill as in R. M. Jones, Mechanics of Composite \
        Materials; Hashin: Z. Hashin 1980, shear in whole in fibre tension; figures of the check: A. K. Kaw, examples \
        2.13 to 2.19 (all from memory)";
    const CAUTION: &'static str = "One point of one ply: holes, edges and impact are not in it.";
    const SAMPLE: &'static str = "\
# A unidirectional ply at 60 degrees, figures of a textbook's example (Kaw 2.17, from memory)
sigma_x: 2 MPa
sigma_y: -3 MPa
tau_xy: 4 MPa
angle: 60
strengths: {xt: 1500 MPa, xc: 1500 MPa, yt: 40 MPa, yc: 246 MPa, s: 68 MPa}
elastic: {e1: 181 GPa, e2: 10.3 GPa, g12: 7.17 GPa, nu12: 0.28}
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        self.strengths.check(&mut checks, "strengths");
        if let Some(own) = &self.elastic {
            for (key, given) in [("e1", &own.e1), ("e2", &own.e2), ("g12", &own.g12)] {
                checks.above_zero(&format!("elastic.{key}"), given);
            }
        }
        if let Some(given) = &self.interaction {
            checks.wants(given.si().abs() < 1.0, "interaction", given.text(), "above -1 and below 1");
        }
        checks.done()?;
        let strength = self.strengths.read().checked().at("strengths")?;
        let lamina = match &self.elastic {
            None => Lamina { e1: 1e9, e2: 1e9, g12: 1e9, nu12: 0.0, cte1: 0.0, cte2: 0.0 },
            Some(own) => {
                let (e1, e2, g12, nu12) = (own.e1.si(), own.e2.si(), own.g12.si(), own.nu12.si());
                Lamina { e1, e2, g12, nu12, cte1: 0.0, cte2: 0.0 }.checked().at("elastic")?
            }
        };
        let mut work = Work::new();
        let angle = self.angle.as_ref().map_or(0.0, |own| own.si());
        let laminate = [self.sigma_x.si(), self.sigma_y.si(), self.tau_xy.si()];
        let stress = stress_in_ply(laminate, angle).at("angle")?;
        turned(
            &mut work,
            laminate.map(|value| value * MPA),
            angle.to_degrees(),
            stress.map(|value| value * MPA),
        );
        let interaction = self.interaction.as_ref().map_or(-0.5, |own| own.si());
        let mut rows: Vec<Value> = Vec::new();
        for criterion in [
            Criterion::MaximumStress,
            Criterion::MaximumStrain,
            Criterion::TsaiHill { by_sign: true },
            Criterion::TsaiHill { by_sign: false },
            Criterion::TsaiWu { interaction },
            Criterion::Hashin,
        ] {
            if criterion == Criterion::MaximumStrain && self.elastic.is_none() {
                work.note("Not judged by maximum strain: no elastic values are given.");
                continue;
            }
            match reserve(criterion, &lamina, &strength, stress, [0.0; 3]) {
                Ok(Some(found)) => {
                    steps(
                        &mut work,
                        criterion,
                        stress.map(|value| value * MPA),
                        &strength,
                        &lamina,
                        found.factor,
                    );
                    rows.push(row(criterion, &found));
                }
                Ok(None) => {
                    work.note(format!("By {} no multiple of this stress fails the ply.", criterion.name()))
                }
                Err(LaminateError::MissingStrengths { missing, .. }) => {
                    work.note(format!(
                        "Not judged by {}: it needs {}.",
                        criterion.name(),
                        missing.join(", ")
                    ));
                }
                Err(error) => return Err::<Work, LaminateError>(error).at("strengths"),
            }
        }
        if rows.is_empty() {
            let message = "no criterion can judge this stress by these strengths";
            let help = "give the strengths that its signs ask for, and a stress that is not 0";
            return Err(Refusal::new("no-answer", "strengths", message, help).into());
        }
        work.result("stress_in_ply", stress.map(|value| value * MPA).to_vec(), "MPa");
        work.result("criteria", rows, "");
        say_undamaged(&mut work);
        Ok(work)
    }
}

fn row(criterion: Criterion, found: &Reserve) -> Value {
    json!({
        "criterion": criterion.name(),
        "reserve": found.factor,
        "margin": found.margin(),
        "mode": found.mode.name(),
    })
}

fn turned(work: &mut Work, [x, y, xy]: [f64; 3], degrees: f64, [s1, s2, t12]: [f64; 3]) {
    let numbers = [degrees, x, degrees, y, degrees, degrees, xy];
    let text = "cos({})^2 x {} + sin({})^2 x {} + 2 x sin({}) x cos({}) x {}";
    work.step("s1", "c^2 sx + s^2 sy + 2 s c txy", text, &numbers, s1, "MPa");
    let text = "sin({})^2 x {} + cos({})^2 x {} - 2 x sin({}) x cos({}) x {}";
    work.step("s2", "s^2 sx + c^2 sy - 2 s c txy", text, &numbers, s2, "MPa");
    let text = "sin({}) x cos({}) x ({} - {}) + (cos({})^2 - sin({})^2) x {}";
    let numbers = [degrees, degrees, y, x, degrees, degrees, xy];
    work.step("t12", "s c (sy - sx) + (c^2 - s^2) txy", text, &numbers, t12, "MPa");
}

/// The way to one reserve; what a missing strength leaves out played no part in it.
fn steps(
    work: &mut Work,
    criterion: Criterion,
    stress: [f64; 3],
    strength: &PlyStrength,
    lamina: &Lamina,
    factor: f64,
) {
    let [s1, s2, t] = stress;
    let own = |value: Option<f64>| value.map(|value| value * MPA);
    let (xt, xc, yt, yc, s) =
        (own(strength.xt), own(strength.xc), own(strength.yt), own(strength.yc), own(strength.s));
    let signed = |value: f64, tension: Option<f64>, compression: Option<f64>| {
        if value >= 0.0 { tension } else { compression }
    };
    let (x, y) = (signed(s1, xt, xc), signed(s2, yt, yc));
    let name = format!("R {}", criterion.name());
    match criterion {
        Criterion::MaximumStress => {
            let parts: Vec<[f64; 2]> = [(x, s1), (y, s2), (s, t)]
                .into_iter()
                .filter_map(|(limit, value)| Some([limit?, value]).filter(|_| value != 0.0))
                .collect();
            let text = format!("min({})", vec!["{}/abs({})"; parts.len()].join(", "));
            work.step(name, "min(X/|s1|, Y/|s2|, S/|t12|)", &text, &parts.concat(), factor, "");
        }
        Criterion::MaximumStrain => {
            let (e1, e2, g12, nu12, nu21) =
                (lamina.e1 * MPA, lamina.e2 * MPA, lamina.g12 * MPA, lamina.nu12, lamina.nu21());
            let strain1 = s1 / e1 - nu21 * s2 / e2;
            let strain2 = s2 / e2 - nu12 * s1 / e1;
            let text = "{}/{} - {} x {}/{}";
            work.step("e1", "s1/E1 - nu21 s2/E2", text, &[s1, e1, nu21, s2, e2], strain1, "");
            work.step("e2", "s2/E2 - nu12 s1/E1", text, &[s2, e2, nu12, s1, e1], strain2, "");
            let strain12 = t / g12;
            work.step("g12", "t12/G12", "{}/{}", &[t, g12], strain12, "");
            let limits = [
                (signed(strain1, xt, xc), e1, strain1),
                (signed(strain2, yt, yc), e2, strain2),
                (s, g12, strain12),
            ];
            let parts: Vec<[f64; 3]> = limits
                .into_iter()
                .filter_map(|(limit, modulus, value)| Some([limit?, modulus, value]).filter(|_| value != 0.0))
                .collect();
            let text = format!("min({})", vec!["{}/({} x abs({}))"; parts.len()].join(", "));
            work.step(name, "min of strength/(modulus |strain|)", &text, &parts.concat(), factor, "");
        }
        Criterion::TsaiHill { by_sign } => {
            let (x, y) = if by_sign { (x, y) } else { (xt, yt) };
            let all =
                [s1, s2, t].iter().zip([x, y, s]).all(|(value, limit)| *value == 0.0 || limit.is_some());
            if all {
                let [x, y, s] = [x, y, s].map(|limit| limit.unwrap_or(1.0));
                let formula = "1/sqrt((s1/X)^2 - s1 s2/X^2 + (s2/Y)^2 + (t12/S)^2)";
                let text = "1/sqrt(({}/{})^2 - {} x {}/{}^2 + ({}/{})^2 + ({}/{})^2)";
                work.step(name, formula, text, &[s1, x, s1, s2, x, s2, y, t, s], factor, "");
            }
        }
        Criterion::TsaiWu { interaction } => {
            let (Some(xt), Some(xc), Some(yt), Some(yc), Some(s)) = (xt, xc, yt, yc, s) else { return };
            let (f1, f2) = (1.0 / xt - 1.0 / xc, 1.0 / yt - 1.0 / yc);
            let (f11, f22, f66) = (1.0 / (xt * xc), 1.0 / (yt * yc), 1.0 / (s * s));
            let f12 = interaction * (f11 * f22).sqrt();
            work.step("F1", "1/Xt - 1/Xc", "1/{} - 1/{}", &[xt, xc], f1, "1/MPa");
            work.step("F2", "1/Yt - 1/Yc", "1/{} - 1/{}", &[yt, yc], f2, "1/MPa");
            work.step("F11", "1/(Xt Xc)", "1/({} x {})", &[xt, xc], f11, "1/MPa2");
            work.step("F22", "1/(Yt Yc)", "1/({} x {})", &[yt, yc], f22, "1/MPa2");
            work.step("F66", "1/S^2", "1/{}^2", &[s], f66, "1/MPa2");
            let text = "{} x sqrt({} x {})";
            work.step("F12", "interaction x sqrt(F11 F22)", text, &[interaction, f11, f22], f12, "1/MPa2");
            let a = f11 * s1 * s1 + f22 * s2 * s2 + f66 * t * t + 2.0 * f12 * s1 * s2;
            let b = f1 * s1 + f2 * s2;
            let text = "{} x {}^2 + {} x {}^2 + {} x {}^2 + 2 x {} x {} x {}";
            let formula = "F11 s1^2 + F22 s2^2 + F66 t12^2 + 2 F12 s1 s2";
            work.step("a", formula, text, &[f11, s1, f22, s2, f66, t, f12, s1, s2], a, "");
            work.step("b", "F1 s1 + F2 s2", "{} x {} + {} x {}", &[f1, s1, f2, s2], b, "");
            let text = "2/({} + sqrt({}^2 + 4 x {}))";
            work.step(
                name,
                "2/(b + sqrt(b^2 + 4 a)), the root of a R^2 + b R = 1",
                text,
                &[b, b, a],
                factor,
                "",
            );
        }
        Criterion::Hashin => hashin(work, [s1, s2, t], [xt, xc, yt, yc, s, own(strength.s23)], factor),
    }
}

fn hashin(work: &mut Work, [s1, s2, t]: [f64; 3], strengths: [Option<f64>; 6], factor: f64) {
    let [xt, xc, yt, yc, s, s23] = strengths;
    let mut modes: Vec<f64> = Vec::new();
    let mut quadratic = |work: &mut Work, name: &str, value: f64, limit: Option<f64>| {
        if let (Some(limit), Some(s)) = (limit, s.or(Some(1.0).filter(|_| t == 0.0))) {
            let found = 1.0 / libm::hypot(value / limit, t / s);
            let text = "1/sqrt(({}/{})^2 + ({}/{})^2)";
            work.step(name, "1/sqrt((s/X)^2 + (t12/S)^2)", text, &[value, limit, t, s], found, "");
            modes.push(found);
        }
    };
    if s1 > 0.0 {
        quadratic(work, "R Hashin, fibre tension", s1, xt);
    }
    if s2 >= 0.0 && (s2 > 0.0 || t != 0.0) {
        quadratic(work, "R Hashin, matrix tension", s2, yt);
    }
    if let (Some(xc), true) = (xc, s1 < 0.0) {
        work.step("R Hashin, fibre compression", "Xc/|s1|", "{}/abs({})", &[xc, s1], xc / s1.abs(), "");
        modes.push(xc / s1.abs());
    }
    if let (Some(yc), Some(s), true) = (yc, s.or(Some(1.0).filter(|_| t == 0.0)), s2 < 0.0) {
        let s23 = s23.unwrap_or(yc / 2.0);
        let a = (s2 / (2.0 * s23)).powi(2) + (t / s).powi(2);
        let b = ((yc / (2.0 * s23)).powi(2) - 1.0) * s2 / yc;
        let text = "({}/(2 x {}))^2 + ({}/{})^2";
        work.step("a", "(s2/(2 S23))^2 + (t12/S)^2", text, &[s2, s23, t, s], a, "");
        let text = "(({}/(2 x {}))^2 - 1) x {}/{}";
        work.step("b", "((Yc/(2 S23))^2 - 1) s2/Yc", text, &[yc, s23, s2, yc], b, "");
        let found = 2.0 / (b + (b * b + 4.0 * a).sqrt());
        let text = "2/({} + sqrt({}^2 + 4 x {}))";
        let formula = "2/(b + sqrt(b^2 + 4 a))";
        work.step("R Hashin, matrix compression", formula, text, &[b, b, a], found, "");
        modes.push(found);
    }
    let text = format!("min({})", vec!["{}"; modes.len()].join(", "));
    work.step("R Hashin", "the least of its modes", &text, &modes, factor, "");
}
