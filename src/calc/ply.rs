//! Thickness, fibre volume and areal mass of a cured ply.

use super::{At, Checks, Refusals, Topic, Work};
use crate::laminate::{Constituents, at_thickness, ply, ply_at_fibre_volume};
use crate::quantity::{ArealMass, Density, Fraction, Length};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Inputs of `calc ply`: one cured ply of fibre and resin.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Ply {
    /// Mass of fibre per area.
    fibre_areal: ArealMass,
    /// Density of the fibre.
    fibre_density: Density,
    /// Density of the cured resin.
    resin_density: Density,
    /// Mass of resin in fibre and resin together, before any bleed; this or the fibre volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    resin_content: Option<Fraction>,
    /// Fibre volume over ply volume; this or the resin content.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    fibre_volume: Option<Fraction>,
    /// Resin bled off this ply; goes with the resin content.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bleed: Option<ArealMass>,
    /// Volume of voids in the ply; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    voids: Option<Fraction>,
    /// Thickness as measured; what it leaves for voids is then worked out too. Goes with the resin content.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    measured: Option<Length>,
}

/// Share of the space that parallel round fibres fill at the most, pi/(2 sqrt 3): hexagonal packing.
const CLOSEST: f64 = 0.906_9;

impl Topic for Ply {
    const NAME: &'static str = "ply";
    const ABOUT: &'static str = "thickness, fibre volume and areal mass of a cured ply";
    const SOURCE: &'static str = "rule of volumes; SAE CMH-17 / MIL-HDBK-17-3F (from memory)";
    const CAUTION: &'static str = "A cured part is measured, not calculated.";
    const SAMPLE: &'static str = "\
# A carbon weave prepreg of the invented Sanderling
fibre_areal: 200 g/m2
fibre_density: 1790 kg/m3
resin_density: 1220 kg/m3
resin_content: 40 %
measured: 0.235 mm
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        checks.above_zero("fibre_areal", &self.fibre_areal);
        checks.above_zero("fibre_density", &self.fibre_density);
        checks.above_zero("resin_density", &self.resin_density);
        let below_one = |value: f64| (0.0..1.0).contains(&value);
        for (field, given) in [("resin_content", &self.resin_content), ("voids", &self.voids)] {
            if let Some(given) = given {
                checks.wants(below_one(given.si()), field, given.text(), "from 0 to below 1 (100 %)");
            }
        }
        if let Some(given) = &self.fibre_volume {
            let fits = given.si() > 0.0 && given.si() <= 1.0;
            checks.wants(fits, "fibre_volume", given.text(), "above 0 and at most 1 (100 %)");
        }
        if let Some(bleed) = &self.bleed {
            checks.not_negative("bleed", bleed);
        }
        if let Some(measured) = &self.measured {
            checks.above_zero("measured", measured);
        }
        checks.one_of(&[
            ("resin_content", self.resin_content.is_some()),
            ("fibre_volume", self.fibre_volume.is_some()),
        ]);
        if self.fibre_volume.is_some() && self.resin_content.is_none() {
            for (field, given) in [("bleed", self.bleed.is_some()), ("measured", self.measured.is_some())] {
                checks.goes_with(given, field, "resin_content");
            }
        }
        checks.done()?;
        let voids = self.voids.as_ref().map_or(0.0, |own| own.si());
        let bleed = self.bleed.as_ref().map_or(0.0, |own| own.si());
        let of = Constituents {
            fibre_areal: self.fibre_areal.si(),
            resin_content: self.resin_content.as_ref().map_or(0.0, |own| own.si()),
            fibre_density: self.fibre_density.si(),
            resin_density: self.resin_density.si(),
        };
        let mut work = Work::new();
        // Steps in g/m2, kg/m3 and mm: 1 g/m2 over 1 kg/m3 is 1 mm.
        let (fibre, rho_f, rho_r) = (of.fibre_areal * 1e3, of.fibre_density, of.resin_density);
        let made = match &self.fibre_volume {
            None => {
                let made = ply(&of, bleed, voids).at("")?;
                let (w, b) = (of.resin_content, bleed * 1e3);
                let resin = made.resin_areal * 1e3;
                work.step("R", "F w/(1 - w) - b", "{} x {}/(1 - {}) - {}", &[fibre, w, w, b], resin, "g/m2");
                let t = made.thickness * 1e3;
                let text = "({}/{} + {}/{})/(1 - {})";
                work.step(
                    "t",
                    "(F/rho_f + R/rho_r)/(1 - v)",
                    text,
                    &[fibre, rho_f, resin, rho_r, voids],
                    t,
                    "mm",
                );
                work.step("V_f", "F/(rho_f t)", "{}/({} x {})", &[fibre, rho_f, t], made.fibre_volume, "");
                made
            }
            Some(volume) => {
                let made = ply_at_fibre_volume(&of, volume.si(), voids).at("fibre_volume")?;
                let (v, t, resin) = (volume.si(), made.thickness * 1e3, made.resin_areal * 1e3);
                work.step("t", "F/(rho_f V_f)", "{}/({} x {})", &[fibre, rho_f, v], t, "mm");
                work.step(
                    "R",
                    "t (1 - V_f - v) rho_r",
                    "{} x (1 - {} - {}) x {}",
                    &[t, v, voids, rho_r],
                    resin,
                    "g/m2",
                );
                made
            }
        };
        let (areal, resin) = (made.areal_mass * 1e3, made.resin_areal * 1e3);
        work.step("m", "F + R", "{} + {}", &[fibre, resin], areal, "g/m2");
        work.step("w", "R/m", "{}/{}", &[resin, areal], made.resin_content(), "");
        if made.fibre_volume > CLOSEST {
            work.note("That much fibre does not fit: round fibres side by side fill 90.7 % at the most (hexagonal packing, pi/(2 sqrt 3)).");
        }
        work.result("thickness", made.thickness * 1e3, "mm");
        work.result("fibre_volume_fraction", made.fibre_volume, "");
        work.result("areal_mass", areal, "g/m2");
        work.result("resin_areal", resin, "g/m2");
        work.result("resin_content", made.resin_content(), "");
        work.result("density", made.density(), "kg/m3");
        if let Some(measured) = &self.measured {
            let at = at_thickness(&of, bleed, measured.si()).at("measured")?;
            let t = measured.si() * 1e3;
            work.step(
                "V_f,measured",
                "F/(rho_f t_measured)",
                "{}/({} x {})",
                &[fibre, rho_f, t],
                at.fibre_volume,
                "",
            );
            work.step(
                "V_r,measured",
                "R/(rho_r t_measured)",
                "{}/({} x {})",
                &[resin, rho_r, t],
                at.resin_volume,
                "",
            );
            let volumes = [at.fibre_volume, at.resin_volume];
            work.step("voids,measured", "1 - V_f - V_r", "1 - {} - {}", &volumes, at.voids, "");
            work.result("fibre_volume_fraction_measured", at.fibre_volume, "");
            work.result("voids_measured", at.voids, "");
            if at.voids < 0.0 {
                work.note("The measured thickness cannot hold fibre and resin: one of the figures is wrong.");
            }
        }
        Ok(work)
    }
}
