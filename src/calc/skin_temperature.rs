//! How hot the sun makes a painted skin, and what that leaves of its limits.

use super::day::{Day, Limit, ZERO, against, allowed};
use super::{At, Checks, Refusals, Topic, Work};
use crate::finish::{Balance, Left, STEFAN_BOLTZMANN, film_coefficient, heat_left, skin_temperature};
use crate::quantity::{Fraction, Irradiance, Speed, Temperature};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

/// Inputs of `calc skin-temperature`: a painted skin in the sun, its back insulated.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SkinTemperature {
    /// Solar absorptance of the colour, as measured, aged and dirty rather than new.
    absorptance: Fraction,
    /// Thermal emittance of the surface.
    emittance: Fraction,
    /// Solar irradiance on the surface.
    irradiance: Irradiance,
    /// Air temperature.
    ambient: Temperature,
    /// Radiant temperature of the sky; of a clear sky over that air where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sky: Option<Temperature>,
    /// Wind over the skin as it stands on the ramp.
    wind: Speed,
    /// Wind that has cooled the skin when it is loaded.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    structural_wind: Option<Speed>,
    /// Temperatures that the skin must not exceed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    limits: Vec<Limit>,
}

impl Topic for SkinTemperature {
    const NAME: &'static str = "skin-temperature";
    const ABOUT: &'static str = "how hot the sun makes a painted skin, and what that leaves of its limits";
    const SOURCE: &'static str = "steady balance a G = h (T - T_a) + e s (T^4 - T_sky^4), back insulated; \
        h = 5.7 + 3.8 v: W. H. McAdams as given by J. A. Duffie, W. A. Beckman (from memory); clear sky: \
        W. C. Swinbank 1963 (from memory); s: CODATA 2018; wet Tg less 28 K: MIL-HDBK-17 (from memory), FAA \
        PS-ACE100-2-18-1999 (read in quotation)";
    const CAUTION: &'static str = "A screening calculation: it replaces no measured skin temperature. In calm air a \
        pale skin may be a few kelvin hotter.";
    const SAMPLE: &'static str = "\
# Night blue on the bow hatch of the invented Sanderling
absorptance: 0.90
emittance: 0.90
irradiance: 1120 W/m2
ambient: 43 degC
sky: 25 degC
wind: 1 m/s
structural_wind: 2 m/s
limits:
  - {name: laminate, kind: wet-tg, temperature: 118 degC}
  - {name: core, kind: service, temperature: 95 degC}
  - {name: hot-wet coupons, kind: test, temperature: 82 degC}
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        checks.share("absorptance", &self.absorptance);
        checks.share("emittance", &self.emittance);
        checks.not_negative("irradiance", &self.irradiance);
        let day = self.day();
        let limits = day.checked(&mut checks);
        checks.done()?;
        let mut work = Work::new();
        let sky = day.sky(&mut work)?;
        let ramp = self.skin(&mut work, "ramp", self.wind.si(), sky)?;
        work.result("ramp", ramp - ZERO, "degC");
        let mut structural = ramp;
        if let Some(wind) = &self.structural_wind {
            structural = self.skin(&mut work, "structural", wind.si(), sky)?;
            work.result("structural", structural - ZERO, "degC");
        }
        let left = heat_left(&limits, ramp, structural).at("limits")?;
        let mut rows: Vec<Value> = Vec::new();
        for (place, (limit, left)) in limits.iter().zip(&left).enumerate() {
            let number = place + 1;
            let top = allowed(&mut work, number, limit);
            let formula = format!("T_{number} less the {} temperature", against(limit));
            work.step(
                format!("left_{number}"),
                &formula,
                "{} - {}",
                &[top, left.skin - ZERO],
                left.spare(),
                "K",
            );
            rows.push(json!({
                "limit": limit.name,
                "against": against(limit),
                "allowed_degC": top,
                "left_K": left.spare(),
                "kept": left.spare() >= 0.0,
            }));
        }
        if !rows.is_empty() {
            work.result("limits", rows, "");
            let least = left.iter().map(Left::spare).fold(f64::INFINITY, f64::min);
            work.result("least_left", least, "K");
        }
        Ok(work)
    }
}

impl SkinTemperature {
    fn day(&self) -> Day<'_> {
        Day {
            ambient: &self.ambient,
            sky: self.sky.as_ref(),
            wind: &self.wind,
            structural_wind: self.structural_wind.as_ref(),
            limits: &self.limits,
        }
    }

    /// The steps to one skin temperature, K; the last one closes the balance.
    fn skin(&self, work: &mut Work, name: &str, wind: f64, sky: f64) -> Result<f64, Refusals> {
        let field = if name == "ramp" { "wind" } else { "structural_wind" };
        let h = film_coefficient(wind).at(field)?;
        work.step(format!("h_{name}"), "5.7 + 3.8 v", "5.7 + 3.8 x {}", &[wind], h, "W/(m2 K)");
        let balance = Balance {
            absorptance: self.absorptance.si(),
            emittance: self.emittance.si(),
            irradiance: self.irradiance.si(),
            ambient: self.ambient.si(),
            sky,
            wind,
        };
        let t = skin_temperature(balance).at("")?;
        let formula = "root of a G = h (T - T_a) + e s (T^4 - T_sky^4)";
        work.step(format!("T_{name}"), formula, "[found by Newton's method]", &[], t - ZERO, "degC");
        let (a, g) = (balance.absorptance, balance.irradiance);
        work.step(format!("gain_{name}"), "a G", "{} x {}", &[a, g], a * g, "W/m2");
        let (e, air) = (balance.emittance, balance.ambient);
        let lost = h * (t - air) + e * STEFAN_BOLTZMANN * (t.powi(4) - sky.powi(4));
        let text = "{} x ({} - {}) + {} x {} x ({}^4 - {}^4)";
        let formula = "h (T - T_a) + e s (T^4 - T_sky^4), in K: closes the balance";
        work.step(
            format!("loss_{name}"),
            formula,
            text,
            &[h, t, air, e, STEFAN_BOLTZMANN, t, sky],
            lost,
            "W/m2",
        );
        Ok(t)
    }
}
