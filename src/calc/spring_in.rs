//! How far a corner closes after its cure.

use super::{At, Checks, Refusals, Topic, Work};
use crate::fabrication::tooling::{Corner, spring_in};
use crate::quantity::{Angle, Expansion, Strain, Temperature};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Inputs of `calc spring-in`: a corner of a laminate.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SpringIn {
    /// Included angle of the corner, between its flanges: 90 deg of a right-angled bracket.
    included_angle: Angle,
    /// Coefficient of expansion in the plane, along the arc.
    expansion_in_plane: Expansion,
    /// Coefficient of expansion through the thickness.
    expansion_through: Expansion,
    /// Cure temperature: where the corner is stiff and free of stress.
    cure: Temperature,
    /// Temperature at which the angle is measured.
    room: Temperature,
    /// Cure shrinkage in the plane, negative where it shrinks; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shrinkage_in_plane: Option<Strain>,
    /// Cure shrinkage through the thickness, negative where it shrinks; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shrinkage_through: Option<Strain>,
}

impl Topic for SpringIn {
    const NAME: &'static str = "spring-in";
    const ABOUT: &'static str = "how far a corner of a laminate closes after its cure";
    const SOURCE: &'static str = "d_theta/theta = (alpha_i - alpha_t) dT/(1 + alpha_t dT) + (phi_i - phi_t)/(1 + phi_t); \
        H. E. Nelson, D. S. Cairns 1989; D. W. Radford, T. S. Rennick 2000 (from memory)";
    const CAUTION: &'static str = "What the tool does to the part is not in it: a first article is measured.";
    const SAMPLE: &'static str = "\
# A right-angled flange of the invented Sanderling
included_angle: 90 deg
expansion_in_plane: 2.5e-6 1/K
expansion_through: 45e-6 1/K
cure: 180 degC
room: 20 degC
shrinkage_through: -0.5 %
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        let included = self.included_angle.si().to_degrees();
        let fits = (0.0..180.0).contains(&included);
        checks.wants(fits, "included_angle", self.included_angle.text(), "from 0 to below 180 deg");
        for (field, given) in
            [("expansion_in_plane", &self.expansion_in_plane), ("expansion_through", &self.expansion_through)]
        {
            checks.wants(given.si().abs() <= 1e-3, field, given.text(), "from -0.001 to 0.001 1/K");
        }
        for (field, given) in [("cure", &self.cure), ("room", &self.room)] {
            checks.wants((1.0..=2000.0).contains(&given.si()), field, given.text(), "from 1 to 2000 K");
        }
        let shrinkage = [
            ("shrinkage_in_plane", &self.shrinkage_in_plane),
            ("shrinkage_through", &self.shrinkage_through),
        ];
        for (field, given) in shrinkage {
            if let Some(given) = given {
                checks.wants(given.si().abs() <= 0.5, field, given.text(), "from -50 % to 50 %");
            }
        }
        checks.done()?;
        let [along_cure, through_cure] =
            shrinkage.map(|(_, given)| given.as_ref().map_or(0.0, |own| own.si()));
        let (along, through) = (self.expansion_in_plane.si(), self.expansion_through.si());
        let (cure, room) = (self.cure.si(), self.room.si());
        let by = room - cure;
        let swept = 180.0 - included;
        let found = spring_in(&Corner {
            swept: swept.to_radians(),
            expansion_in_plane: along,
            expansion_through: through,
            temperature_change: by,
            shrinkage_in_plane: along_cure,
            shrinkage_through: through_cure,
        })
        .at("")?;
        let (thermal, shrunk) = (found.thermal.to_degrees(), found.shrinkage.to_degrees());
        let mut work = Work::new();
        work.step("theta", "180 deg - included angle", "180 - {}", &[included], swept, "deg");
        work.step("dT", "T_room - T_cure", "{} - {}", &[room, cure], by, "K");
        let formula = "theta (alpha_i - alpha_t) dT/(1 + alpha_t dT)";
        let text = "{} x ({} - {}) x {}/(1 + {} x {})";
        work.step(
            "d_theta,thermal",
            formula,
            text,
            &[swept, along, through, by, through, by],
            thermal,
            "deg",
        );
        let formula = "theta (phi_i - phi_t)/(1 + phi_t)";
        let text = "{} x ({} - {})/(1 + {})";
        let numbers = [swept, along_cure, through_cure, through_cure];
        work.step("d_theta,shrinkage", formula, text, &numbers, shrunk, "deg");
        let total = found.total().to_degrees();
        work.step("d_theta", "thermal + shrinkage", "{} + {}", &[thermal, shrunk], total, "deg");
        work.result("spring_in", total, "deg");
        work.result("thermal", thermal, "deg");
        work.result("shrinkage", shrunk, "deg");
        work.result("included_angle_after", included - total, "deg");
        work.note(match total {
            _ if total > 0.0 => "The corner closes: the mould is opened by as much.",
            _ if total < 0.0 => "The corner opens: the mould is closed by as much.",
            _ => "The corner keeps its angle.",
        });
        if self.shrinkage_through.is_none() {
            work.note("No cure shrinkage was given; it closes corners too, often by nearly as much (common practice, no source).");
        }
        Ok(work)
    }
}
