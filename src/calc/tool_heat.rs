//! A tool's glass transition against the heat of what is cured on it.

use super::day::ZERO;
use super::{At, Checks, Refusals, Topic, Work};
use crate::fabrication::tooling::{MOULD_RULE, PATTERN_RULE, check_heat};
use crate::quantity::{Temperature, TemperatureDifference};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the tool is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Role {
    /// Parts are cured on it.
    Mould,
    /// Moulds are cured on it.
    Pattern,
}

/// Inputs of `calc tool-heat`: a tool and what is cured on it.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ToolHeat {
    /// What the tool is; says the margin.
    role: Role,
    /// Glass transition of the tool, dry, or its heat deflection temperature.
    glass_transition: Temperature,
    /// Highest temperature of the cure on it.
    cure: Temperature,
    /// Highest temperature of a post-cure on it; a free-standing one does not count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    post_cure: Option<Temperature>,
    /// Hottest that the curing resin makes itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    exotherm: Option<Temperature>,
    /// Margin, where another than the rule's is asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    margin: Option<TemperatureDifference>,
}

impl Topic for ToolHeat {
    const NAME: &'static str = "tool-heat";
    const ABOUT: &'static str = "a tool's glass transition against the cure, post-cure and exotherm on it";
    const SOURCE: &'static str =
        "Tg >= hottest + margin; mould 20 K, pattern 15 K: common practice, no source";
    const CAUTION: &'static str = "";
    const SAMPLE: &'static str = "\
# A glass mould of the invented Sanderling under a part cured at 120 degC
role: mould
glass_transition: 135 degC
cure: 120 degC
exotherm: 122 degC
";

    fn work(&self) -> Result<Work, Refusals> {
        let given = [
            ("cure", Some(&self.cure)),
            ("post_cure", self.post_cure.as_ref()),
            ("exotherm", self.exotherm.as_ref()),
        ];
        let there: Vec<(&str, &Temperature)> =
            given.into_iter().filter_map(|(field, given)| Some((field, given?))).collect();
        let mut checks = Checks::new();
        for (field, given) in there.iter().copied().chain([("glass_transition", &self.glass_transition)]) {
            let range = "from -100 to 1000 degC";
            checks.wants((-100.0..=1000.0).contains(&(given.si() - ZERO)), field, given.text(), range);
        }
        if let Some(margin) = &self.margin {
            checks.not_negative("margin", margin);
        }
        checks.done()?;
        let rule = match self.role {
            Role::Mould => MOULD_RULE,
            Role::Pattern => PATTERN_RULE,
        };
        let margin = self.margin.as_ref().map_or(rule.margin, |own| own.si());
        let temperatures: Vec<f64> = there.iter().map(|(_, given)| given.si()).collect();
        let tg = self.glass_transition.si();
        let found = check_heat(tg, &temperatures, margin).at("")?;
        let mut work = Work::new();
        let names = there.iter().map(|(field, _)| *field).collect::<Vec<_>>().join(", ");
        let numbers: Vec<f64> = temperatures.iter().map(|one| one - ZERO).collect();
        let text = format!("max({})", vec!["{}"; numbers.len()].join(", "));
        let hottest = found.hottest - ZERO;
        work.step("T_hottest", &format!("max({names})"), &text, &numbers, hottest, "degC");
        work.step(
            "T_needed",
            "T_hottest + margin",
            "{} + {}",
            &[hottest, margin],
            found.needed - ZERO,
            "degC",
        );
        work.step("spare", "Tg - T_needed", "{} - {}", &[tg - ZERO, found.needed - ZERO], found.spare, "K");
        work.result("needed_glass_transition", found.needed - ZERO, "degC");
        work.result("spare", found.spare, "K");
        work.result("kept", found.is_kept(), "");
        match &self.margin {
            Some(own) => work.note(format!("The margin of {} is the one that was typed in.", own.text())),
            None => work.note(format!("The margin is for the {}; {}.", rule.about, rule.source)),
        }
        Ok(work)
    }
}
