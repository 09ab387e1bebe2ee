//! Moisture uptake of a laminate and the time it takes.

use super::{At, Checks, Refusals, Topic, Work, figure};
use crate::fabrication::moisture::{Faces as Open, diffusivity_at, time_at, uptake_at};
use crate::quantity::{Diffusivity, Duration, Fraction, Length, Temperature, TemperatureDifference};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Through which faces the laminate takes up moisture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Faces {
    /// Both faces are open.
    Both,
    /// One is open, the other sealed.
    One,
}

/// Another temperature than the one at which the diffusivity was measured.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct OtherTemperature {
    /// Where the diffusivity was measured.
    measured_at: Temperature,
    /// Where it is asked for.
    at: Temperature,
    /// Activation energy over the gas constant, as measured.
    activation: TemperatureDifference,
}

/// Inputs of `calc moisture`: a laminate of one diffusivity, dry at the start.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Moisture {
    /// Thickness of the laminate; of a sandwich, of one skin.
    thickness: Length,
    /// Through which faces moisture gets in.
    faces: Faces,
    /// Diffusivity through the thickness.
    diffusivity: Diffusivity,
    /// Share of the moisture at equilibrium: how long does it take? This or the time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    fraction: Option<Fraction>,
    /// Time: what share is taken up? This or the fraction.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    time: Option<Duration>,
    /// Moisture at equilibrium, as a share of the dry mass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    equilibrium: Option<Fraction>,
    /// Takes the diffusivity to another temperature.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    temperature: Option<OtherTemperature>,
}

const DAY: f64 = 86_400.0;

impl Topic for Moisture {
    const NAME: &'static str = "moisture";
    const ABOUT: &'static str =
        "Fickian moisture uptake of a laminate, and the time to a share of equilibrium";
    const SOURCE: &'static str = "G = 1 - (8/pi^2) sum exp[-(2j+1)^2 pi^2 x]/(2j+1)^2, x = D t/h^2: J. Crank, The \
        Mathematics of Diffusion, eq. 4.18 (from memory), the exact series and not the fit of Shen and Springer; one \
        face sealed as a plate of twice the thickness; D at another temperature by Arrhenius";
    const CAUTION: &'static str = "One diffusivity, constant humidity, edges ignored: a conditioned coupon is weighed, \
        not calculated. Rules of 0.67 and of 0.93 h^2/D for 99.9 % are both in print; this series gives 0.679.";
    const SAMPLE: &'static str = "\
# A monolithic frame of the invented Sanderling in a chamber
thickness: 3.0 mm
faces: both
diffusivity: 2.6e-7 mm2/s
fraction: 95 %
equilibrium: 1.4 %
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        checks.above_zero("thickness", &self.thickness);
        checks.above_zero("diffusivity", &self.diffusivity);
        if let Some(fraction) = &self.fraction {
            let fits = (0.0..1.0).contains(&fraction.si());
            let range = "from 0 to below 1 (100 %): equilibrium itself is never reached";
            checks.wants(fits, "fraction", fraction.text(), range);
        }
        if let Some(time) = &self.time {
            checks.not_negative("time", time);
        }
        if let Some(equilibrium) = &self.equilibrium {
            checks.share("equilibrium", equilibrium);
        }
        if let Some(other) = &self.temperature {
            checks.not_negative("temperature.activation", &other.activation);
            for (field, given) in
                [("temperature.measured_at", &other.measured_at), ("temperature.at", &other.at)]
            {
                checks.wants((150.0..=700.0).contains(&given.si()), field, given.text(), "from 150 to 700 K");
            }
        }
        checks.one_of(&[("fraction", self.fraction.is_some()), ("time", self.time.is_some())]);
        checks.done()?;
        let mut work = Work::new();
        let mut diffusivity = self.diffusivity.si();
        if let Some(other) = &self.temperature {
            let (from, to, c) = (other.measured_at.si(), other.at.si(), other.activation.si());
            let found = diffusivity_at(diffusivity, from, to, c).at("temperature")?;
            let text = "{} x exp(-{} x (1/{} - 1/{}))";
            work.step(
                "D",
                "D_m exp[-C (1/T - 1/T_m)]",
                text,
                &[diffusivity * 1e6, c, to, from],
                found * 1e6,
                "mm2/s",
            );
            work.result("diffusivity", found * 1e6, "mm2/s");
            diffusivity = found;
        }
        let open = match self.faces {
            Faces::Both => Open::Both,
            Faces::One => Open::One,
        };
        let thickness = self.thickness.si() * 1e3;
        let reach = if open == Open::Both { thickness } else { 2.0 * thickness };
        match open {
            Open::Both => work.step("h", "thickness, both faces open", "{}", &[thickness], reach, "mm"),
            Open::One => work.step("h", "2 x thickness, one face open", "2 x {}", &[thickness], reach, "mm"),
        }
        let per_second = diffusivity * 1e6;
        let series = "1 - (8/pi^2) sum exp[-(2j+1)^2 pi^2 x]/(2j+1)^2";
        let (fraction, seconds) = match (&self.fraction, &self.time) {
            (Some(fraction), _) => {
                let fraction = fraction.si();
                let x = time_at(fraction).at("fraction")?;
                let formula = format!("root of G = {series}, G = {}", figure(fraction));
                work.step("x", &formula, "[found by bisection]", &[], x, "");
                let seconds = x * reach * reach / per_second;
                let text = "{} x {}^2/{}/86400";
                work.step(
                    "t",
                    "x h^2/D, in days of 86400 s",
                    text,
                    &[x, reach, per_second],
                    seconds / DAY,
                    "d",
                );
                (fraction, seconds)
            }
            (None, given) => {
                let seconds = given.as_ref().map_or(0.0, |own| own.si());
                let x = per_second * seconds / (reach * reach);
                work.step("x", "D t/h^2", "{} x {}/{}^2", &[per_second, seconds, reach], x, "");
                let fraction = uptake_at(x).at("time")?;
                work.step("G", series, "[summed until nothing changes]", &[], fraction, "");
                (fraction, seconds)
            }
        };
        work.result("fraction_of_equilibrium", fraction, "");
        work.result("time", seconds / DAY, "d");
        if let Some(equilibrium) = &self.equilibrium {
            let share = equilibrium.si() * 100.0;
            work.step("M", "G M_e", "{} x {}", &[fraction, share], fraction * share, "%");
            work.result("moisture", fraction * share, "%");
        }
        Ok(work)
    }
}
