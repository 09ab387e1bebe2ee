//! Shear in bonds: unlike expansion, lap joints; a sheet's modulus at temperature and under long load.

use super::day::ZERO;
use super::{At, Checks, Refusals, Topic, Work};
use crate::laminate::{
    Adherend, Adhesive, free_strain, lap_shear, long_load_modulus, mismatch_shear, sheet_modulus,
};
use crate::quantity::{
    Expansion, Length, LineForce, Ratio, Strain, Stress, Temperature, TemperatureDifference,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

const MPA: f64 = 1e-6;

/// One of the two that a bond joins.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Joined {
    /// Modulus along the bond, at temperature.
    modulus: Stress,
    /// Thickness.
    thickness: Length,
    /// Poisson's ratio, where it is too wide to strain across: then E/(1 - nu^2) counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    poisson: Option<Ratio>,
}

/// One of the two that a bond joins, with its expansion.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Expanding {
    /// Modulus along the bond, at temperature.
    modulus: Stress,
    /// Thickness.
    thickness: Length,
    /// Coefficient of expansion along the bond.
    expansion: Expansion,
    /// Poisson's ratio, where it is too wide to strain across: then E/(1 - nu^2) counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    poisson: Option<Ratio>,
}

/// The adhesive.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Glue {
    /// Shear modulus at temperature.
    shear_modulus: Stress,
    /// Thickness of the layer.
    thickness: Length,
    /// Shear strength at temperature, for the reserve.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shear_strength: Option<Stress>,
}

impl Glue {
    fn check(&self, checks: &mut Checks) {
        checks.above_zero("adhesive.shear_modulus", &self.shear_modulus);
        checks.above_zero("adhesive.thickness", &self.thickness);
        if let Some(strength) = &self.shear_strength {
            checks.above_zero("adhesive.shear_strength", strength);
        }
    }

    fn read(&self) -> Adhesive {
        Adhesive { g: self.shear_modulus.si(), thickness: self.thickness.si() }
    }
}

fn check(checks: &mut Checks, field: &str, modulus: &Stress, thickness: &Length, poisson: Option<&Ratio>) {
    checks.above_zero(&format!("{field}.modulus"), modulus);
    checks.above_zero(&format!("{field}.thickness"), thickness);
    if let Some(nu) = poisson {
        let fits = nu.si() > -1.0 && nu.si() <= 0.5;
        checks.wants(fits, &format!("{field}.poisson"), nu.text(), "above -1 and at most 0.5");
    }
}

/// E t of an adherend, with its step.
fn adherend(
    work: &mut Work,
    field: &str,
    modulus: &Stress,
    thickness: &Length,
    poisson: Option<&Ratio>,
) -> Result<Adherend, Refusals> {
    let (e, t) = (modulus.si(), thickness.si());
    let symbol = format!("E t {field}");
    match poisson {
        None => {
            let own = Adherend::strip(e, t);
            work.step(symbol, "E t", "{} x {}", &[e * MPA, t * 1e3], own.stiffness * 1e-3, "N/mm");
            Ok(own)
        }
        Some(nu) => {
            let own = Adherend::wide(e, nu.si(), t).at(&format!("{field}.poisson"))?;
            let numbers = [e * MPA, t * 1e3, nu.si()];
            work.step(symbol, "E t/(1 - nu^2)", "{} x {}/(1 - {}^2)", &numbers, own.stiffness * 1e-3, "N/mm");
            Ok(own)
        }
    }
}

fn omega_step(work: &mut Work, adhesive: &Adhesive, one: &Adherend, other: &Adherend, omega: f64) {
    let formula = "sqrt[(G/t_a) (1/(E1 t1) + 1/(E2 t2))]";
    let numbers = [adhesive.g * MPA, adhesive.thickness * 1e3, one.stiffness * 1e-3, other.stiffness * 1e-3];
    work.step("omega", formula, "sqrt({}/{} x (1/{} + 1/{}))", &numbers, omega * 1e-3, "1/mm");
}

/// Inputs of `calc bond-mismatch`: a sheet bonded to a frame of unlike expansion.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct BondMismatch {
    /// The sheet, such as a window.
    sheet: Expanding,
    /// The frame, such as a laminate.
    frame: Expanding,
    /// The bond between them.
    adhesive: Glue,
    /// Length of the bond.
    length: Length,
    /// Temperature above that at which the bond set; negative in the cold.
    temperature_change: TemperatureDifference,
    /// Further free strain of the sheet beyond the frame's, as from moisture; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    swelling: Option<Strain>,
    /// Tension that the sheet bears without crazing, for the reserve.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    craze_stress: Option<Stress>,
}

impl Topic for BondMismatch {
    const NAME: &'static str = "bond-mismatch";
    const ABOUT: &'static str = "shear in a bond between sheet and frame of unlike expansion";
    const SOURCE: &'static str =
        "shear lag: O. Volkersen 1938; L. J. Hart-Smith, NASA CR-112236, 1973 (from memory)";
    const CAUTION: &'static str = "Elastic, without peel, bending, creep and yielding: a stiff bond is worse with peel, \
        a ductile one better.";
    const SAMPLE: &'static str = "\
# The window of the bow hatch of the invented Sanderling, warm, in an elastic joint
sheet: {modulus: 3 GPa, thickness: 5 mm, expansion: 70e-6 1/K}
frame: {modulus: 50 GPa, thickness: 2 mm, expansion: 3e-6 1/K}
adhesive: {shear_modulus: 1 MPa, thickness: 5 mm, shear_strength: 1.5 MPa}
length: 1 m
temperature_change: 60 K
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        for (field, own) in [("sheet", &self.sheet), ("frame", &self.frame)] {
            check(&mut checks, field, &own.modulus, &own.thickness, own.poisson.as_ref());
            let fits = own.expansion.si().abs() <= 1e-2;
            checks.wants(fits, &format!("{field}.expansion"), own.expansion.text(), "from -0.01 to 0.01 1/K");
        }
        self.adhesive.check(&mut checks);
        checks.above_zero("length", &self.length);
        if let Some(craze) = &self.craze_stress {
            checks.above_zero("craze_stress", craze);
        }
        checks.done()?;
        let mut work = Work::new();
        let of = |work: &mut Work, field: &str, own: &Expanding| {
            adherend(work, field, &own.modulus, &own.thickness, own.poisson.as_ref())
        };
        let sheet = of(&mut work, "sheet", &self.sheet)?;
        let frame = of(&mut work, "frame", &self.frame)?;
        let (adhesive, length) = (self.adhesive.read(), self.length.si());
        let (one, other, by) =
            (self.sheet.expansion.si(), self.frame.expansion.si(), self.temperature_change.si());
        let swelling = self.swelling.as_ref().map_or(0.0, |own| own.si());
        let strain = free_strain(one, other, by, swelling);
        let formula = "(alpha_sheet - alpha_frame) dT + swelling";
        work.step("e", formula, "({} - {}) x {} + {}", &[one, other, by, swelling], strain, "");
        let found = mismatch_shear(&sheet, &frame, &adhesive, length, strain).at("")?;
        omega_step(&mut work, &adhesive, &sheet, &frame, found.omega);
        let (g, ta, om, l) = (adhesive.g * MPA, adhesive.thickness * 1e3, found.omega * 1e-3, length * 1e3);
        let peak = found.peak_shear * MPA;
        let text = "abs({}) x {}/({} x {}) x tanh({} x {}/2)";
        let formula = "|e| G/(t_a omega) tanh(omega L/2), at the ends";
        work.step("tau_max", formula, text, &[strain, g, ta, om, om, l], peak, "MPa");
        let text = "abs({}) x {}/(2 x {})";
        let formula = "|e| L/(2 t_a), of a bond that holds back nothing";
        work.step("gamma_free", formula, text, &[strain, l, ta], found.free_shear_strain, "");
        let text = "-1 x {}/(1/{} + 1/{}) x tanh({} x {}/2) x tanh({} x {}/4)";
        let formula = "-e/(1/(E1 t1) + 1/(E2 t2)) (1 - 1/cosh(omega L/2)), in the middle of the sheet";
        let numbers = [strain, sheet.stiffness * 1e-3, frame.stiffness * 1e-3, om, l, om, l];
        work.step("F", formula, text, &numbers, found.middle_force * 1e-3, "N/mm");
        let t = self.sheet.thickness.si() * 1e3;
        let stress = found.sheet_stress * MPA;
        work.step("sigma_sheet", "F/t_sheet", "{}/{}", &[found.middle_force * 1e-3, t], stress, "MPa");
        work.result("peak_shear", peak, "MPa");
        work.result("free_shear_strain", found.free_shear_strain, "");
        work.result("sheet_stress", stress, "MPa");
        if let Some(strength) = &self.adhesive.shear_strength {
            over(&mut work, "bond_reserve", strength.si() * MPA, peak);
        }
        if let Some(craze) = &self.craze_stress {
            over(&mut work, "craze_reserve", craze.si() * MPA, stress);
        }
        Ok(work)
    }
}

/// Strength over stress, where there is a stress to speak of.
fn over(work: &mut Work, name: &str, strength: f64, stress: f64) {
    if stress >= 1e-6 {
        let found = strength / stress;
        work.step(format!("R {name}"), "strength/stress", "{}/{}", &[strength, stress], found, "");
        work.result(name, found, "");
    } else {
        work.note(format!("There is no stress that `{name}` would be a reserve against."));
    }
}

/// Inputs of `calc lap-shear`: a lap joint under load.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LapShear {
    /// The adherend that comes in loaded.
    first: Joined,
    /// The adherend that goes out loaded.
    second: Joined,
    /// The bond between them.
    adhesive: Glue,
    /// Overlap.
    overlap: Length,
    /// Force per width.
    load: LineForce,
}

impl Topic for LapShear {
    const NAME: &'static str = "lap-shear";
    const ABOUT: &'static str = "shear in a bonded lap joint under load, mean and at its ends";
    const SOURCE: &'static str = "O. Volkersen, Luftfahrtforschung 15, 1938 (from memory)";
    const CAUTION: &'static str = "Elastic, without peel and without the bending of a single lap, which is often what \
        fails first.";
    const SAMPLE: &'static str = "\
# A metal coupon of the invented Sanderling, to check by hand
first: {modulus: 70 GPa, thickness: 1.6 mm}
second: {modulus: 70 GPa, thickness: 1.6 mm}
adhesive: {shear_modulus: 1 GPa, thickness: 0.2 mm, shear_strength: 30 MPa}
overlap: 12.7 mm
load: 100 N/mm
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        for (field, own) in [("first", &self.first), ("second", &self.second)] {
            check(&mut checks, field, &own.modulus, &own.thickness, own.poisson.as_ref());
        }
        self.adhesive.check(&mut checks);
        checks.above_zero("overlap", &self.overlap);
        checks.done()?;
        let mut work = Work::new();
        let of = |work: &mut Work, field: &str, own: &Joined| {
            adherend(work, field, &own.modulus, &own.thickness, own.poisson.as_ref())
        };
        let first = of(&mut work, "first", &self.first)?;
        let second = of(&mut work, "second", &self.second)?;
        let (adhesive, length, load) = (self.adhesive.read(), self.overlap.si(), self.load.si());
        let found = lap_shear(&first, &second, &adhesive, length, load).at("")?;
        omega_step(&mut work, &adhesive, &first, &second, found.omega);
        let (l, om, mean) = (length * 1e3, found.omega * 1e-3, found.mean * MPA);
        let (s1, s2) = (first.stiffness * 1e-3, second.stiffness * 1e-3);
        work.step("tau_mean", "load/overlap", "{}/{}", &[load * 1e-3, l], mean, "MPa");
        let unlike = (s2 - s1) / (s1 + s2);
        work.step("u", "(S2 - S1)/(S1 + S2), S = E t", "({} - {})/({} + {})", &[s2, s1, s1, s2], unlike, "");
        let half = om * l / 2.0;
        work.step("a", "omega L/2", "{} x {}/2", &[om, l], half, "");
        let formula = "tau_mean a [coth(a) + u tanh(a)]";
        let text = "{} x {} x (1/tanh({}) + {} x tanh({}))";
        let numbers = [mean, half, half, unlike, half];
        work.step("tau_first", formula, text, &numbers, found.at_first * MPA, "MPa");
        let formula = "tau_mean a [coth(a) - u tanh(a)]";
        let text = "{} x {} x (1/tanh({}) - {} x tanh({}))";
        work.step("tau_second", formula, text, &numbers, found.at_second * MPA, "MPa");
        let peak = found.at_first.abs().max(found.at_second.abs()) * MPA;
        let text = "max(abs({}), abs({}))";
        work.step(
            "tau_max",
            "the greater of both",
            text,
            &[found.at_first * MPA, found.at_second * MPA],
            peak,
            "MPa",
        );
        let share = found.concentration;
        let text = "{} x (1/tanh({}) + abs({}) x tanh({}))";
        work.step(
            "tau_max/tau_mean",
            "a [coth(a) + |u| tanh(a)]",
            text,
            &[half, half, unlike, half],
            share,
            "",
        );
        work.result("mean_shear", mean, "MPa");
        work.result("shear_at_first", found.at_first * MPA, "MPa");
        work.result("shear_at_second", found.at_second * MPA, "MPa");
        work.result("concentration", share, "");
        if let Some(strength) = &self.adhesive.shear_strength {
            over(&mut work, "bond_reserve", strength.si() * MPA, peak);
        }
        Ok(work)
    }
}

/// A tested modulus.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct TestedModulus {
    /// Where it was tested.
    temperature: Temperature,
    /// What came out.
    modulus: Stress,
}

/// Inputs of `calc sheet-modulus`: a transparent sheet, tested at some temperatures.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SheetModulus {
    /// Tests of the modulus.
    tested: Vec<TestedModulus>,
    /// Where it is asked for; within what was tested.
    temperature: Temperature,
    /// Creep under a long load: the further strain as a share of the first; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    creep: Option<Ratio>,
}

impl Topic for SheetModulus {
    const NAME: &'static str = "sheet-modulus";
    const ABOUT: &'static str = "modulus of a sheet at a temperature between tests, and under a long load";
    const SOURCE: &'static str = "a straight line between two tests, E/(1 + creep) for long loads: common practice, no \
        source";
    const CAUTION: &'static str = "Nothing is said beyond the tested temperatures.";
    const SAMPLE: &'static str = "\
# Acrylic of the invented Sanderling
tested:
  - {temperature: 23 degC, modulus: 3.0 GPa}
  - {temperature: 60 degC, modulus: 2.0 GPa}
temperature: 50 degC
creep: 0.5
";

    fn work(&self) -> Result<Work, Refusals> {
        let mut checks = Checks::new();
        for (place, test) in self.tested.iter().enumerate() {
            checks.above_zero(&format!("tested.{}.modulus", place + 1), &test.modulus);
        }
        if let Some(creep) = &self.creep {
            checks.not_negative("creep", creep);
        }
        checks.done()?;
        let tested: Vec<[f64; 2]> =
            self.tested.iter().map(|test| [test.temperature.si(), test.modulus.si()]).collect();
        let at = self.temperature.si();
        let found = sheet_modulus(&tested, at).at("temperature")?;
        let mut work = Work::new();
        let mut sorted = tested;
        sorted.sort_by(|[a, _], [b, _]| a.total_cmp(b));
        let pair = sorted.iter().zip(sorted.iter().skip(1)).find(|([a, _], [b, _])| (*a..=*b).contains(&at));
        if let Some(([t1, e1], [t2, e2])) = pair {
            let (e1, e2) = (e1 * MPA, e2 * MPA);
            let text = "{} + ({} - {}) x ({} - {})/({} - {})";
            let numbers = [e1, e2, e1, at - ZERO, t1 - ZERO, t2 - ZERO, t1 - ZERO];
            work.step("E", "E1 + (E2 - E1) (T - T1)/(T2 - T1)", text, &numbers, found * MPA, "MPa");
        } else {
            work.step("E", "as tested at this temperature", "{}", &[found * MPA], found * MPA, "MPa");
        }
        work.result("modulus", found * MPA, "MPa");
        if let Some(creep) = &self.creep {
            let long = long_load_modulus(found, creep.si()).at("creep")?;
            let numbers = [found * MPA, creep.si()];
            work.step("E_long", "E/(1 + creep)", "{}/(1 + {})", &numbers, long * MPA, "MPa");
            work.result("long_load_modulus", long * MPA, "MPa");
        }
        Ok(work)
    }
}
