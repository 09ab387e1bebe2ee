//! How dark a skin may be for all its limits.

use super::day::{Day, Limit, ZERO, against, allowed};
use super::{At, Checks, Refusal, Refusals, Topic, Work, figure};
use crate::finish::{
    ColourLimit as Colour, Darkest, HeatLimit, STEFAN_BOLTZMANN, Skin, Sunshine, darkest, film_coefficient,
};
use crate::quantity::{Fraction, Irradiance, Speed, Temperature};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

/// Inputs of `calc colour-limit`: the day, and the temperatures that a skin must not exceed.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ColourLimit {
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
    /// Wind that has cooled the skin when it is loaded; needed where a limit is a test.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    structural_wind: Option<Speed>,
    /// Temperatures that the skin must not exceed; at least one.
    limits: Vec<Limit>,
}

impl Topic for ColourLimit {
    const NAME: &'static str = "colour-limit";
    const ABOUT: &'static str = "the largest solar absorptance that keeps every temperature limit of a skin";
    const SOURCE: &'static str = "steady balance a G = h (T - T_a) + e s (T^4 - T_sky^4), back insulated, solved for \
        a; h = 5.7 + 3.8 v: W. H. McAdams as given by J. A. Duffie, W. A. Beckman (from memory); clear sky: \
        W. C. Swinbank 1963 (from memory); s: CODATA 2018; wet Tg less 28 K: MIL-HDBK-17 (from memory), FAA \
        PS-ACE100-2-18-1999 (read in quotation)";
    const CAUTION: &'static str = "A screening calculation: it replaces no measured skin temperature. Colours darken \
        with dirt and age, by 0.05 to 0.15 (common practice, no source): leave room for it.";
    const SAMPLE: &'static str = "\
# The bow hatch of the invented Sanderling
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
        checks.share("emittance", &self.emittance);
        checks.above_zero("irradiance", &self.irradiance);
        let day = self.day();
        let limits = day.checked(&mut checks);
        checks.done()?;
        if limits.is_empty() {
            let message = "`limits` is empty: without a limit every colour will do";
            return Err(Refusal::new("out-of-range", "limits", message, "write at least one limit").into());
        }
        let mut work = Work::new();
        let sky = day.sky(&mut work)?;
        let ramp_wind = self.wind.si();
        let sunshine = Sunshine {
            emittance: self.emittance.si(),
            irradiance: self.irradiance.si(),
            ambient: self.ambient.si(),
            sky,
            ramp_wind,
            structural_wind: self.structural_wind.as_ref().map_or(ramp_wind, |own| own.si()),
        };
        let found = darkest(&limits, &sunshine).at("limits")?;
        steps(&mut work, &limits, &found, &sunshine)?;
        Ok(work)
    }
}

impl ColourLimit {
    fn day(&self) -> Day<'_> {
        Day {
            ambient: &self.ambient,
            sky: self.sky.as_ref(),
            wind: &self.wind,
            structural_wind: self.structural_wind.as_ref(),
            limits: &self.limits,
        }
    }
}

fn steps(work: &mut Work, limits: &[HeatLimit], found: &Darkest, day: &Sunshine) -> Result<(), Refusals> {
    let mut rows: Vec<Value> = Vec::new();
    for (place, (limit, colour)) in limits.iter().zip(&found.each).enumerate() {
        let number = place + 1;
        let top = allowed(work, number, limit);
        let wind = if limit.against == Skin::Ramp { day.ramp_wind } else { day.structural_wind };
        let h = film_coefficient(wind).at("wind")?;
        work.step(format!("h_{number}"), "5.7 + 3.8 v", "5.7 + 3.8 x {}", &[wind], h, "W/(m2 K)");
        let (t, air, sky, e) = (top + ZERO, day.ambient, day.sky, day.emittance);
        let lost = h * (t - air) + e * STEFAN_BOLTZMANN * (t.powi(4) - sky.powi(4));
        let a = lost / day.irradiance;
        let formula = "[h (T - T_a) + e s (T^4 - T_sky^4)]/G, in K";
        let text = "({} x ({} - {}) + {} x {} x ({}^4 - {}^4))/{}";
        let numbers = [h, t, air, e, STEFAN_BOLTZMANN, t, sky, day.irradiance];
        work.step(format!("a_{number}"), formula, text, &numbers, a, "");
        rows.push(json!({
            "limit": limit.name,
            "against": against(limit),
            "allowed_degC": top,
            "absorptance_limit": bounded(*colour),
        }));
    }
    work.result("absorptance_limit", bounded(found.limit), "");
    let governs = found.governs.and_then(|place| limits.get(place)).map(|limit| limit.name.as_str());
    work.result("governs", governs.unwrap_or("no limit"), "");
    work.result("limits", rows, "");
    match found.limit {
        Colour::None => work.note("Even a skin that absorbs nothing exceeds a limit: no colour keeps it."),
        Colour::Any => work.note("Even a skin that absorbs everything keeps every limit."),
        Colour::UpTo(a) => {
            work.note(format!("A colour up to a solar absorptance of {} keeps them all.", figure(a)))
        }
    }
    Ok(())
}

/// The limit as a number from 0 to 1.
fn bounded(limit: Colour) -> f64 {
    match limit {
        Colour::None => 0.0,
        Colour::UpTo(a) => a,
        Colour::Any => 1.0,
    }
}
