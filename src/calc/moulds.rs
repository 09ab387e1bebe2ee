//! How many moulds a rate needs, and how long one lasts.

use super::{At, Checks, Refusals, Topic, Work};
use crate::fabrication::tooling::{moulds_for_rate, pulls_left};
use crate::quantity::{Duration, Fraction, Ratio};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How long a mould lasts and what it has made.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct MouldLife {
    /// Pulls until it is worn out, or until it is resurfaced.
    life: u32,
    /// Pulls made since it was new, or since it was resurfaced.
    used: u32,
}

/// Inputs of `calc moulds`: a rate of parts and what one part takes of a mould.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Moulds {
    /// Parts to be made a week.
    parts_per_week: Ratio,
    /// Time that laying up holds the mould.
    lay_up: Duration,
    /// Time that curing holds it, with heating up.
    cure: Duration,
    /// Time that cooling holds it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    cooling: Option<Duration>,
    /// Time that demoulding holds it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    demoulding: Option<Duration>,
    /// Time that cleaning and release hold it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    preparing: Option<Duration>,
    /// Time that a mould is available in a week.
    available_per_week: Duration,
    /// Share of that time that it really works.
    efficiency: Fraction,
    /// Of one mould: how long it lasts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    mould: Option<MouldLife>,
}

const HOUR: f64 = 3600.0;

impl Topic for Moulds {
    const NAME: &'static str = "moulds";
    const ABOUT: &'static str = "how many moulds a rate of parts needs, and how long one of them lasts";
    const SOURCE: &'static str = "ceil(parts x cycle/(hours x efficiency)), pulls left over pulls a week: common \
        practice, no source";
    const CAUTION: &'static str = "Spares, ovens that hold several and hands that lay up are not in it.";
    const SAMPLE: &'static str = "\
# Float shells of the invented Sanderling
parts_per_week: 6
lay_up: 14 h
cure: 9 h
cooling: 3 h
demoulding: 2 h
preparing: 2 h
available_per_week: 80 h
efficiency: 85 %
mould: {life: 120, used: 96}
";

    fn work(&self) -> Result<Work, Refusals> {
        let spans = [
            ("lay_up", Some(&self.lay_up)),
            ("cure", Some(&self.cure)),
            ("cooling", self.cooling.as_ref()),
            ("demoulding", self.demoulding.as_ref()),
            ("preparing", self.preparing.as_ref()),
        ];
        let mut checks = Checks::new();
        checks.above_zero("parts_per_week", &self.parts_per_week);
        for (field, given) in spans {
            if let Some(given) = given {
                checks.not_negative(field, given);
            }
        }
        let week = 7.0 * 24.0 * HOUR;
        let fits = self.available_per_week.si() > 0.0 && self.available_per_week.si() <= week;
        checks.wants(
            fits,
            "available_per_week",
            self.available_per_week.text(),
            "above 0 and at most a week",
        );
        let fits = self.efficiency.si() > 0.0 && self.efficiency.si() <= 1.0;
        checks.wants(fits, "efficiency", self.efficiency.text(), "above 0 and at most 1 (100 %)");
        checks.done()?;
        let there: Vec<(&str, f64)> =
            spans.into_iter().filter_map(|(field, given)| Some((field, given?.si() / HOUR))).collect();
        let hours: Vec<f64> = there.iter().map(|(_, hours)| *hours).collect();
        let cycle: f64 = hours.iter().sum();
        let (parts, efficiency) = (self.parts_per_week.si(), self.efficiency.si());
        let available = self.available_per_week.si() / HOUR;
        let found = moulds_for_rate(parts, cycle * HOUR, available * HOUR, efficiency).at("lay_up")?;
        let mut work = Work::new();
        let names = there.iter().map(|(field, _)| *field).collect::<Vec<_>>().join(" + ");
        let text = vec!["{}"; hours.len()].join(" + ");
        work.step("t", &names, &text, &hours, cycle, "h");
        let text = "{} x {}/({} x {})";
        let formula = "parts x t/(available x efficiency)";
        work.step("n", formula, text, &[parts, cycle, available, efficiency], found.busy, "");
        let whole = f64::from(found.whole);
        work.step("moulds", "ceil(n)", "ceil({})", &[found.busy], whole, "");
        work.step("load", "n/moulds", "100 x {}/{}", &[found.busy, whole], found.load * 100.0, "%");
        work.result("cycle", cycle, "h");
        work.result("moulds", found.whole, "");
        work.result("load", found.load * 100.0, "%");
        if let Some(mould) = &self.mould {
            let rate = parts / whole;
            let left = pulls_left(mould.life, mould.used, rate).at("mould")?;
            work.step("pulls a week", "parts/moulds, of one mould", "{}/{}", &[parts, whole], rate, "");
            let pulls = f64::from(left.left);
            let numbers = [f64::from(mould.life), f64::from(mould.used)];
            work.step("pulls left", "life - used, at least 0", "max(0, {} - {})", &numbers, pulls, "");
            work.result("pulls_left", left.left, "");
            if let Some(weeks) = left.weeks {
                work.step("weeks left", "pulls left/pulls a week", "{}/{}", &[pulls, rate], weeks, "week");
                work.result("weeks_left", weeks, "");
            }
            if left.beyond > 0 {
                work.note(format!("The mould is {} pulls beyond its life.", left.beyond));
            }
        }
        Ok(work)
    }
}
