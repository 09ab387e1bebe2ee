//! What topics on heat share: the limits that a skin must not exceed, and how they are read.

use super::{At, Checks, Refusals, Work, figure};
use crate::finish::{HeatLimit, Skin, WET_GLASS_TRANSITION_MARGIN, default_sky};
use crate::quantity::{Speed, Temperature, TemperatureDifference};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub(super) const ZERO: f64 = 273.15;

/// What two topics ask of the day and the limits.
pub(super) struct Day<'a> {
    pub ambient: &'a Temperature,
    pub sky: Option<&'a Temperature>,
    pub wind: &'a Speed,
    pub structural_wind: Option<&'a Speed>,
    pub limits: &'a [Limit],
}

impl Day<'_> {
    /// Looks at all of it; returns the limits as the room of finishes takes them.
    pub fn checked(&self, checks: &mut Checks) -> Vec<HeatLimit> {
        weather(checks, "ambient", self.ambient);
        if let Some(sky) = self.sky {
            weather(checks, "sky", sky);
        }
        checks.not_negative("wind", self.wind);
        if let Some(wind) = self.structural_wind {
            checks.not_negative("structural_wind", wind);
        }
        check(checks, self.limits);
        let limits = limits(self.limits);
        let needs = limits.iter().position(|limit| limit.against == Skin::Structural);
        if let (Some(place), None) = (needs, self.structural_wind) {
            let field = format!("limits.{}.kind", place + 1);
            checks.asks_for(&field, "structural_wind", "a hottest test is held against the skin under load");
        }
        limits
    }

    /// The sky temperature, K: the one that was given, or that of a clear sky, with the step to it.
    pub fn sky(&self, work: &mut Work) -> Result<f64, Refusals> {
        let ambient = self.ambient.si();
        if let Some(given) = self.sky {
            return Ok(given.si());
        }
        let sky = default_sky(ambient).at("ambient")?;
        work.step("T_sky", "0.0552 T_a^1.5, in K", "0.0552 x {}^1.5", &[ambient], sky, "K");
        work.note(format!(
            "No sky temperature was given: that of a clear sky was taken, {} degC.",
            figure(sky - ZERO)
        ));
        Ok(sky)
    }
}

/// What kind of limit a temperature is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum LimitKind {
    /// A wet glass transition: the skin standing in the sun stays 28 K below it.
    WetTg,
    /// The highest service temperature of a core, adhesive, film or sheet: the skin standing in the sun does not
    /// exceed it.
    Service,
    /// The hottest test: the skin under load does not exceed it.
    Test,
}

/// A temperature that the skin must not exceed.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Limit {
    /// What it is of.
    name: String,
    /// What kind of limit; says the margin and the skin temperature that it goes by.
    kind: LimitKind,
    /// The temperature itself.
    temperature: Temperature,
    /// What the skin stays below it, where it is another than the kind says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    margin: Option<TemperatureDifference>,
}

/// The limits as the room of finishes takes them.
fn limits(given: &[Limit]) -> Vec<HeatLimit> {
    let one = |limit: &Limit| {
        let (margin, against) = match limit.kind {
            LimitKind::WetTg => (WET_GLASS_TRANSITION_MARGIN, Skin::Ramp),
            LimitKind::Service => (0.0, Skin::Ramp),
            LimitKind::Test => (0.0, Skin::Structural),
        };
        HeatLimit {
            name: limit.name.clone(),
            temperature: limit.temperature.si(),
            margin: limit.margin.as_ref().map_or(margin, |own| own.si()),
            against,
        }
    };
    given.iter().map(one).collect()
}

/// Looks at the limits; a limit less its margin must still be a temperature.
fn check(checks: &mut Checks, given: &[Limit]) {
    for (place, (limit, read)) in given.iter().zip(limits(given)).enumerate() {
        let field = |key: &str| format!("limits.{}.{key}", place + 1);
        let text = limit.temperature.text();
        let fits = (1.0..=2000.0).contains(&read.temperature);
        checks.wants(fits, &field("temperature"), text, "from 1 to 2000 K");
        if let Some(margin) = &limit.margin {
            let fits = margin.si() >= 0.0 && margin.si() < read.temperature;
            checks.wants(fits, &field("margin"), margin.text(), "0 or more, and less than the temperature");
        }
    }
}

/// Adds the step from a limit to the highest skin temperature that keeps it; returns that in degC.
pub(super) fn allowed(work: &mut Work, place: usize, limit: &HeatLimit) -> f64 {
    let top = limit.temperature - limit.margin - ZERO;
    let numbers = [limit.temperature - ZERO, limit.margin];
    work.step(
        format!("T_{place}"),
        &format!("limit less margin, {}", limit.name),
        "{} - {}",
        &numbers,
        top,
        "degC",
    );
    top
}

/// What is said of a limit's kind in a row of results.
pub(super) fn against(limit: &HeatLimit) -> &'static str {
    match limit.against {
        Skin::Ramp => "ramp",
        Skin::Structural => "structural",
    }
}

/// Wants a temperature of air or sky that weather can have.
fn weather(checks: &mut Checks, field: &str, given: &Temperature) {
    let celsius = given.si() - ZERO;
    let range = "from -120 to 100 degC";
    checks.wants((-120.0..=100.0).contains(&celsius), field, given.text(), range);
}
