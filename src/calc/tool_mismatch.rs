//! How much more a tool grows than its part, and how large it is made for that.

use super::{At, Checks, Refusals, Topic, Work};
use crate::fabrication::tooling::{mismatch, scale_factor};
use crate::quantity::{Expansion, Length, Temperature};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Inputs of `calc tool-mismatch`: a tool, the part on it, and the heat between room and cure.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ToolMismatch {
    /// Coefficient of expansion of the tool.
    tool: Expansion,
    /// Coefficient of expansion of the part, along the length.
    part: Expansion,
    /// Temperature at which the part sets (gels).
    set: Temperature,
    /// Temperature at which lengths are measured.
    room: Temperature,
    /// Length of the part at room temperature.
    length: Length,
}

impl Topic for ToolMismatch {
    const NAME: &'static str = "tool-mismatch";
    const ABOUT: &'static str = "how much more a tool grows than its part, and the factor that corrects it";
    const SOURCE: &'static str = "linear expansion, any text on mechanics of materials; tool and part are equally long \
        when the part sets (common practice, no source)";
    const CAUTION: &'static str = "A first article is measured; the tool is corrected by what was measured.";
    const SAMPLE: &'static str = "\
# A carbon shell of the invented Sanderling on a glass mould
tool: 14e-6 1/K
part: 3e-6 1/K
set: 120 degC
room: 20 degC
length: 1 m
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        for (field, given) in [("tool", &self.tool), ("part", &self.part)] {
            checks.wants(given.si().abs() <= 1e-3, field, given.text(), "from -0.001 to 0.001 1/K");
        }
        for (field, given) in [("set", &self.set), ("room", &self.room)] {
            checks.wants((1.0..=2000.0).contains(&given.si()), field, given.text(), "from 1 to 2000 K");
        }
        checks.above_zero("length", &self.length);
        checks.done()?;
        let (tool, part, set, room) = (self.tool.si(), self.part.si(), self.set.si(), self.room.si());
        let length = self.length.si();
        let grows = mismatch(tool, part, set, room, length).at("length")? * 1e3;
        let factor = scale_factor(tool, part, set, room).at("tool")?;
        let mut work = Work::new();
        let by = set - room;
        work.step("dT", "T_set - T_room", "{} - {}", &[set, room], by, "K");
        let text = "({} - {}) x {} x {}";
        work.step("dL", "(alpha_tool - alpha_part) dT L", text, &[tool, part, by, length * 1e3], grows, "mm");
        let text = "(1 + {} x {})/(1 + {} x {})";
        let formula = "(1 + alpha_part dT)/(1 + alpha_tool dT)";
        work.step("s", formula, text, &[part, by, tool, by], factor, "");
        let made = factor * length * 1e3;
        work.step("L_tool", "s L, at room temperature", "{} x {}", &[factor, length * 1e3], made, "mm");
        work.result("mismatch", grows, "mm");
        work.result("scale_factor", factor, "");
        work.result("tool_length", made, "mm");
        Ok(work)
    }
}
