//! What a difference asks: the levels, and the steps that a showing's `sensitivity:` or the built-in
//! table writes.

use crate::quantity::{Decimal, Kind, Quantity};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;

/// A showing's own steps, by facet (`film-build`) or by one attribute of it (`mesh.areal`).
///
/// [`key_fault`] says whether a key names anything, [`steps_fault`] whether a list of steps is whole.
pub type Sensitivity = BTreeMap<String, Vec<Step>>;

/// What a difference asks before the evidence counts again, mildest first.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Asks {
    /// Nothing: the evidence counts as it is.
    #[default]
    None,
    /// A calculation or an engineering memo.
    Analysis,
    /// A reduced test against the evidence that there is.
    Equivalence,
    /// The test again.
    Retest,
}

impl Asks {
    /// Returns the word that records and reports use.
    pub fn word(self) -> &'static str {
        match self {
            Asks::None => "none",
            Asks::Analysis => "analysis",
            Asks::Equivalence => "equivalence",
            Asks::Retest => "retest",
        }
    }
}

impl fmt::Display for Asks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// How a ply gets its resin; some windows are wider for one than for the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Route {
    /// The resin comes with the reinforcement.
    Prepreg,
    /// Dry fabric: the resin is added in the shop.
    Dry,
}

/// The one range that a value can be `in`: from the least to the greatest value that was tested.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Range {
    /// Over the conformed article and its `others`.
    TestedRange,
}

/// What a set or a claim is compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Reference {
    /// The conformed configuration.
    Conformed,
}

/// A window that takes more than one attribute to judge; the table says each in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Window {
    /// Cure cycles equal but for small steps.
    W3,
    /// The same route of cure, a cycle near the conformed one.
    W3Near,
    /// Not longer out than tested.
    W4,
    /// Shares of ply angles and reinforcement thickness as tested.
    W5,
    /// Lightning protection at least as good.
    W8,
    /// A computed duty bears the change out.
    W9Met,
    /// A computed duty fails, or its governing mode is another.
    W9Failed,
    /// Skin no hotter than tested.
    W10,
    /// The same tool body and survey.
    W11,
    /// Environment inside what was tested.
    W12,
    /// The same set of sites.
    W14,
}

/// How far a value may lie from the conformed one: `5 %`, `2 points`, `5 K`, `5 g/m2`.
#[derive(Debug, Clone, PartialEq)]
pub struct Distance {
    text: String,
    number: Decimal,
    unit: String,
}

/// Kinds whose values may differ by a distance, tried in this order. A point on the temperature
/// scale is none of them: a distance of 5 K is a difference.
const DISTANCES: [Kind; 21] = [
    Kind::TemperatureDifference,
    Kind::Length,
    Kind::Area,
    Kind::Mass,
    Kind::LinearMass,
    Kind::ArealMass,
    Kind::Density,
    Kind::Stress,
    Kind::HeatingRate,
    Kind::Duration,
    Kind::Speed,
    Kind::Irradiance,
    Kind::Angle,
    Kind::LineForce,
    Kind::Force,
    Kind::Moment,
    Kind::Rigidity,
    Kind::MassMoment,
    Kind::Expansion,
    Kind::Diffusivity,
    Kind::Ratio,
];

impl Distance {
    /// Reads the text.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let bad =
            || format!("`{text}` is no distance: write for example `5 %`, `2 points`, `5 K` or `5 g/m2`");
        let (digits, unit) = split(text);
        let number = Decimal::parse(digits).ok_or_else(bad)?;
        if number < Decimal::zero() {
            return Err(bad());
        }
        let share = unit == "%" || unit == "points";
        if !share && !DISTANCES.iter().any(|kind| plain(*kind, text).is_some()) {
            return Err(bad());
        }
        Ok(Self { text: text.to_string(), number, unit: unit.to_string() })
    }

    /// Returns the text as written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Returns the percentage of the conformed value, where `%` was written. On fractions it means
    /// percentage points.
    pub fn percent(&self) -> Option<&Decimal> {
        (self.unit == "%").then_some(&self.number)
    }

    /// Returns the percentage points, where `points` was written.
    pub fn points(&self) -> Option<&Decimal> {
        (self.unit == "points").then_some(&self.number)
    }

    /// Returns the distance in `unit`; `None` for a share or a foreign unit. In `degC` a distance of
    /// 5 K is 5.
    pub fn in_unit(&self, unit: &str) -> Option<Decimal> {
        if self.percent().is_some() || self.points().is_some() {
            return None;
        }
        DISTANCES.iter().find_map(|kind| plain(*kind, &self.text)?.exact_in(unit))
    }
}

/// Parts a number from the unit behind it.
fn split(text: &str) -> (&str, &str) {
    match text.split_once(' ') {
        Some((number, unit)) => (number, unit.trim()),
        None => match text.strip_suffix('%') {
            Some(number) => (number, "%"),
            None => (text, ""),
        },
    }
}

/// Reads a quantity of `kind` that carries no tolerance of its own.
fn plain(kind: Kind, text: &str) -> Option<Quantity> {
    Quantity::parse(kind, text).ok().filter(|quantity| !quantity.has_spread())
}

/// The limit that was conformed, with what it may be passed by: `conformed`, `conformed + 5 um`.
#[derive(Debug, Clone, PartialEq)]
pub struct Bound {
    text: String,
    /// Whether the allowance is taken off, and how much it is.
    allowance: Option<(bool, Distance)>,
}

impl Bound {
    /// Reads the text.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let bad =
            || format!("`{text}` is no limit: write `conformed`, `conformed + 5 um` or `conformed - 5 um`");
        let rest = text.strip_prefix("conformed").ok_or_else(bad)?.trim_start();
        let allowance = match rest.chars().next() {
            None => None,
            Some(sign @ ('+' | '-')) => {
                Some((sign == '-', Distance::parse(rest.get(1..).unwrap_or_default()).map_err(|_| bad())?))
            }
            Some(_) => return Err(bad()),
        };
        Ok(Self { text: text.to_string(), allowance })
    }

    /// Returns the text as written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Returns whether the allowance is taken off, and how much it is; `None` where none was written.
    pub fn allowance(&self) -> Option<(bool, &Distance)> {
        self.allowance.as_ref().map(|(less, distance)| (*less, distance))
    }

    /// Returns the limit that `conformed`, a number in `unit`, makes; `None` where the allowance is in
    /// a foreign unit. A share is of the conformed value; points are for values in `%`.
    pub fn limit(&self, conformed: &Decimal, unit: &str) -> Option<Decimal> {
        let Some((less, distance)) = self.allowance() else { return Some(conformed.clone()) };
        let step = match (distance.percent(), distance.points()) {
            (Some(points), _) | (_, Some(points)) if unit == "%" => points.clone(),
            (Some(percent), _) => (percent * &conformed.abs()).over(&Decimal::whole(100))?,
            (None, Some(_)) => return None,
            (None, None) => distance.in_unit(unit)?,
        };
        Some(if less { conformed - &step } else { conformed + &step })
    }
}

macro_rules! texts {
    ($($name:ident: $description:literal, $example:literal;)*) => {$(
        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                Self::parse(&String::deserialize(deserializer)?).map_err(serde::de::Error::custom)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(&self.text)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.text)
            }
        }

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "type": "string", "description": $description, "examples": [$example] })
            }
        }
    )*};
}

texts! {
    Distance: "how far a value may lie from the conformed one: `5 %` (percentage points on fractions), `2 points`, `5 K`, `5 g/m2`", "5 %";
    Bound: "the conformed limit, with what it may be passed by: `conformed`, `conformed + 5 um`, `conformed - 5 um`", "conformed";
}

/// One step: what is asked where its condition holds. The last step of a list has no condition.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// The nominals differ by no more than this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<Distance>,
    /// The worst limit now is not above the conformed one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_most: Option<Bound>,
    /// The worst limit now is not below the conformed one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_least: Option<Bound>,
    /// The worst limits lie in the range that was tested.
    #[serde(default, rename = "in", skip_serializing_if = "Option::is_none")]
    pub in_range: Option<Range>,
    /// Every word of the set is in the conformed set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub subset_of: Option<Reference>,
    /// What is asked is covered by what was tested, in the order of zones and exposures.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covered_by: Option<Reference>,
    /// A window of the built-in table holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window: Option<Window>,
    /// The step is for plies of this route only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub when: Option<Route>,
    /// The step is for differences in the thickness alone.
    #[serde(default, skip_serializing_if = "is_false")]
    pub only_thickness: bool,
    /// What a difference asks then.
    pub asks: Asks,
}

// Serde hands the field over by reference.
#[allow(clippy::trivially_copy_pass_by_ref)]
fn is_false(value: &bool) -> bool {
    !*value
}

/// [`Step`] as it is read, before its conditions are looked at together.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    within: Option<Distance>,
    at_most: Option<Bound>,
    at_least: Option<Bound>,
    #[serde(rename = "in")]
    in_range: Option<Range>,
    subset_of: Option<Reference>,
    covered_by: Option<Reference>,
    window: Option<Window>,
    when: Option<Route>,
    #[serde(default)]
    only_thickness: bool,
    asks: Asks,
}

impl<'de> Deserialize<'de> for Step {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let Written {
            within,
            at_most,
            at_least,
            in_range,
            subset_of,
            covered_by,
            window,
            when,
            only_thickness,
            asks,
        } = Written::deserialize(deserializer)?;
        let step = Step {
            within,
            at_most,
            at_least,
            in_range,
            subset_of,
            covered_by,
            window,
            when,
            only_thickness,
            asks,
        };
        match step.fault() {
            Some(fault) => Err(serde::de::Error::custom(fault)),
            None => Ok(step),
        }
    }
}

/// One condition of a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Condition<'a> {
    /// See [`Step::within`].
    Within(&'a Distance),
    /// See [`Step::at_most`].
    AtMost(&'a Bound),
    /// See [`Step::at_least`].
    AtLeast(&'a Bound),
    /// See [`Step::in_range`].
    InTestedRange,
    /// See [`Step::subset_of`].
    SubsetOfConformed,
    /// See [`Step::covered_by`].
    CoveredByConformed,
    /// See [`Step::window`].
    Window(Window),
    /// See [`Step::when`].
    When(Route),
    /// See [`Step::only_thickness`].
    OnlyThickness,
}

impl Step {
    /// Returns the step that asks `asks` without a condition.
    pub fn last(asks: Asks) -> Self {
        Self { asks, ..Self::default() }
    }

    /// Returns the conditions; the step holds when all of them do, and always when there are none.
    pub fn conditions(&self) -> impl Iterator<Item = Condition<'_>> {
        [
            self.when.map(Condition::When),
            self.only_thickness.then_some(Condition::OnlyThickness),
            self.within.as_ref().map(Condition::Within),
            self.at_most.as_ref().map(Condition::AtMost),
            self.at_least.as_ref().map(Condition::AtLeast),
            self.in_range.map(|_| Condition::InTestedRange),
            self.subset_of.map(|_| Condition::SubsetOfConformed),
            self.covered_by.map(|_| Condition::CoveredByConformed),
            self.window.map(Condition::Window),
        ]
        .into_iter()
        .flatten()
    }

    /// Returns whether the step holds whatever the difference is.
    pub fn is_unconditional(&self) -> bool {
        self.conditions().next().is_none()
    }

    /// Says what is wrong with the conditions taken together.
    fn fault(&self) -> Option<String> {
        let judged = self
            .conditions()
            .filter(|condition| !matches!(condition, Condition::When(_) | Condition::OnlyThickness));
        // The thickness rule of glazing is the one that asks for a side and a distance at once.
        let (count, most) = (judged.count(), if self.only_thickness { 2 } else { 1 });
        if count > most {
            return Some("a step has one condition at most: write a step for each".to_string());
        }
        let tightens = |bound: &Option<Bound>, side: bool| {
            bound.as_ref().and_then(Bound::allowance).is_some_and(|(less, _)| less == side)
        };
        if tightens(&self.at_most, true) {
            return Some("an allowance of `at_most` is added: write `at_most: conformed + 5 um`".to_string());
        }
        if tightens(&self.at_least, false) {
            return Some(
                "an allowance of `at_least` is taken off: write `at_least: conformed - 5 um`".to_string(),
            );
        }
        None
    }
}

impl fmt::Display for Step {
    /// Writes the step as a person would read it: `within 5 %: none`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_unconditional() {
            return write!(f, "else: {}", self.asks);
        }
        for (at, condition) in self.conditions().enumerate() {
            f.write_str(if at == 0 { "" } else { ", " })?;
            match condition {
                Condition::When(Route::Prepreg) => f.write_str("prepreg")?,
                Condition::When(Route::Dry) => f.write_str("dry fabric")?,
                Condition::OnlyThickness => f.write_str("only thickness differs")?,
                Condition::Within(distance) => write!(f, "within {distance}")?,
                Condition::AtMost(bound) => write!(f, "at most {bound}")?,
                Condition::AtLeast(bound) => write!(f, "at least {bound}")?,
                Condition::InTestedRange => f.write_str("in the tested range")?,
                Condition::SubsetOfConformed => f.write_str("nothing beside what was conformed")?,
                Condition::CoveredByConformed => f.write_str("covered by what was tested")?,
                Condition::Window(window) => write!(f, "inside {window}")?,
            }
        }
        write!(f, ": {}", self.asks)
    }
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Window::W3 => "w3",
            Window::W3Near => "w3-near",
            Window::W4 => "w4",
            Window::W5 => "w5",
            Window::W8 => "w8",
            Window::W9Met => "w9-met",
            Window::W9Failed => "w9-failed",
            Window::W10 => "w10",
            Window::W11 => "w11",
            Window::W12 => "w12",
            Window::W14 => "w14",
        })
    }
}

/// Says what is wrong with a list of steps taken together.
pub fn steps_fault(steps: &[Step]) -> Option<String> {
    let unreached = steps.iter().position(Step::is_unconditional)? + 1 < steps.len();
    unreached.then(|| "steps behind one without a condition are never tried".to_string())
}

/// The facets of a configuration and the attributes of each beside the facet's own value.
///
/// Letters of constituents, numbers of zones and joints, `low` and `high` stand behind these.
pub const FACETS: [(&str, &[&str]); 26] = [
    ("fibre", &["name", "type", "density"]),
    ("fibre-areal", &[]),
    ("weave", &["form", "thickness"]),
    ("resin", &["name", "density", "family"]),
    ("resin-content", &["route", "uptake", "fill"]),
    ("cure", &["method", "cycle", "pressure", "vacuum", "postcure", "surface_preparation", "bleed"]),
    ("out-time", &["out_life", "max_out_time"]),
    ("site", &["supplier", "material", "impregnation", "layup", "bond", "paint"]),
    ("plies", &[]),
    ("core", &["designation", "form", "cell"]),
    ("core-density", &[]),
    ("core-thickness", &[]),
    ("adhesive", &["designation", "areal", "density", "thickness"]),
    ("surfacing", &["designation", "areal", "thickness", "depth"]),
    ("mesh", &["designation", "areal", "thickness", "metal", "depth"]),
    ("filler", &["density"]),
    ("primer", &["density"]),
    ("base-coat", &["density"]),
    ("top-coat", &["density"]),
    ("film-build", &["total", "max"]),
    ("colour", &["absorptance", "emittance"]),
    ("tool", &["body", "cte", "tg", "surface", "sealed", "survey", "chain"]),
    (
        "geometry",
        &[
            "area",
            "width",
            "thickness",
            "length",
            "role",
            "route",
            "class",
            "load_path",
            "overlap",
            "painted",
            "squeeze_out",
            "radius",
            "plate",
            "section",
            "load",
        ],
    ),
    ("edges", &["edges", "fittings", "holes"]),
    ("environment", &["exposure"]),
    ("glazing", &["designation", "thickness", "supplier", "site", "structural"]),
];

/// Returns the facet that a key or an attribute belongs to; `None` where there is no such facet.
pub fn facet_of(key: &str) -> Option<&'static str> {
    let head = key.split('.').next()?;
    FACETS.iter().map(|(facet, _)| *facet).find(|facet| *facet == head)
}

/// Says what is wrong with a key of [`Sensitivity`]: it must name a facet or one attribute of it.
pub fn key_fault(key: &str) -> Option<String> {
    let mut parts = key.split('.');
    let head = parts.next().unwrap_or_default();
    let Some((facet, attributes)) = FACETS.iter().find(|(facet, _)| *facet == head) else {
        let all: Vec<&str> = FACETS.iter().map(|(facet, _)| *facet).collect();
        return Some(format!("`{head}` is no facet: write one of {}", all.join(", ")));
    };
    match (parts.next(), parts.next(), parts.next()) {
        (None, ..) => None,
        // A single load goes by its name.
        (Some("load"), _, None) if *facet == "geometry" => None,
        (Some(attribute), None, _) if attributes.contains(&attribute) => None,
        _ if attributes.is_empty() => Some(format!("`{facet}` has one value: write `{facet}`")),
        _ => Some(format!(
            "`{key}` is no attribute: write `{facet}`, or {facet} with .{}",
            attributes.join(", .")
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(text: &str) -> Result<Step, String> {
        serde_yaml::from_str(text).map_err(|error| error.to_string())
    }

    #[test]
    fn levels_are_ordered_and_named() {
        assert!(Asks::None < Asks::Analysis && Asks::Analysis < Asks::Equivalence);
        assert!(Asks::Equivalence < Asks::Retest);
        assert_eq!(Asks::default(), Asks::None);
        assert_eq!(Asks::Equivalence.to_string(), "equivalence");
        assert_eq!(serde_yaml::from_str::<Asks>("retest").unwrap(), Asks::Retest);
    }

    #[test]
    fn steps_are_read_and_written_back() {
        let text = "fibre-areal:\n- within: 5 %\n  asks: none\n- asks: retest\nfilm-build:\n- at_most: conformed + 5 um\n  asks: none\n- in: tested_range\n  asks: analysis\n- window: w3-near\n  asks: equivalence\n- asks: retest\n";
        let own: Sensitivity = serde_yaml::from_str(text).unwrap();
        assert_eq!(serde_yaml::to_string(&own).unwrap(), text);
        assert_eq!(own["film-build"][2].window, Some(Window::W3Near));
        assert!(own["film-build"][3].is_unconditional());
    }

    #[test]
    fn malformed_steps_are_faults() {
        for (text, says) in [
            ("{within: 5 %}", "asks"),
            ("{wihtin: 5 %, asks: none}", "wihtin"),
            ("{within: five, asks: none}", "no distance"),
            ("{within: -5 %, asks: none}", "no distance"),
            ("{within: 5 furlong, asks: none}", "no distance"),
            ("{within: 5, asks: maybe}", "maybe"),
            ("{at_most: measured, asks: none}", "no limit"),
            ("{at_most: conformed 5 um, asks: none}", "no limit"),
            ("{at_most: conformed - 5 um, asks: none}", "is added"),
            ("{at_least: conformed + 5 um, asks: none}", "taken off"),
            ("{at_most: conformed, within: 5 %, asks: none}", "one condition"),
            ("{in: my_range, asks: none}", "my_range"),
            ("{window: w99, asks: none}", "w99"),
        ] {
            let fault = step(text).unwrap_err();
            assert!(fault.contains(says), "{text}: {fault}");
        }
        let pair = "{at_least: conformed, within: 10 %, only_thickness: true, asks: none}";
        assert_eq!(step(pair).unwrap().conditions().count(), 3);
    }

    #[test]
    fn distances_know_their_unit() {
        let five = Distance::parse("5 %").unwrap();
        assert_eq!(five.percent(), Decimal::parse("5").as_ref());
        assert_eq!((five.points(), five.in_unit("g/m2")), (None, None));
        assert_eq!(Distance::parse("5%").unwrap().percent(), Decimal::parse("5").as_ref());
        assert_eq!(Distance::parse("2 points").unwrap().points(), Decimal::parse("2").as_ref());
        assert_eq!(Distance::parse("5 K").unwrap().in_unit("K"), Decimal::parse("5"));
        assert_eq!(Distance::parse("5 K").unwrap().in_unit("degC"), Decimal::parse("5"));
        assert_eq!(Distance::parse("0.1 mm").unwrap().in_unit("um"), Decimal::parse("100"));
        assert_eq!(Distance::parse("5 g/m2").unwrap().in_unit("mm"), None);
    }

    #[test]
    fn limits_carry_their_allowance() {
        let ninety = Decimal::whole(90);
        let limit = |text: &str, unit| Bound::parse(text).unwrap().limit(&ninety, unit);
        assert_eq!(limit("conformed", "um"), Some(ninety.clone()));
        assert_eq!(limit("conformed + 5 um", "um"), Decimal::parse("95"));
        assert_eq!(limit("conformed - 0.005 mm", "um"), Decimal::parse("85"));
        assert_eq!(limit("conformed + 10 %", "um"), Decimal::parse("99"));
        assert_eq!(limit("conformed + 10 %", "%"), Decimal::parse("100"));
        assert_eq!(limit("conformed + 1 points", "um"), None);
        assert_eq!(limit("conformed + 5 g/m2", "um"), None);
    }

    #[test]
    fn keys_name_a_facet_or_an_attribute() {
        for key in ["film-build", "mesh.areal", "geometry.load", "geometry.load.limit", "resin-content"] {
            assert_eq!(key_fault(key), None, "{key}");
        }
        for key in ["film", "mesh.arel", "plies.order", "geometry.area.x", ""] {
            assert!(key_fault(key).is_some(), "{key}");
        }
        assert_eq!(facet_of("resin-content.route.a"), Some("resin-content"));
        assert_eq!(facet_of("claims.zone"), None);
    }

    #[test]
    fn steps_behind_the_last_are_a_fault() {
        let steps = |text: &str| serde_yaml::from_str::<Vec<Step>>(text).unwrap();
        assert_eq!(steps_fault(&steps("[{within: 5 %, asks: none}, {asks: retest}]")), None);
        // A forgotten last step is allowed: it asks retest.
        assert_eq!(steps_fault(&steps("[{within: 5 %, asks: none}]")), None);
        assert!(steps_fault(&steps("[{asks: none}, {within: 5 %, asks: retest}]")).is_some());
    }

    #[test]
    fn steps_read_like_sentences() {
        let text = |text: &str| step(text).unwrap().to_string();
        assert_eq!(text("{within: 2 points, when: prepreg, asks: none}"), "prepreg, within 2 points: none");
        assert_eq!(text("{at_most: conformed, asks: none}"), "at most conformed: none");
        assert_eq!(text("{asks: retest}"), "else: retest");
    }

    #[test]
    fn the_schema_takes_what_the_reader_takes() {
        let schema = serde_json::to_value(schemars::schema_for!(Sensitivity)).unwrap();
        let mut schemas = boon::Schemas::new();
        let mut compiler = boon::Compiler::new();
        compiler.add_resource("sensitivity.json", schema).unwrap();
        let index = compiler.compile("sensitivity.json", &mut schemas).unwrap();
        let valid = |text: &str| {
            let value: serde_json::Value = serde_yaml::from_str(text).unwrap();
            schemas.validate(&value, index).is_ok()
        };
        assert!(valid("mesh.areal: [{at_least: conformed, asks: none}, {in: tested_range, asks: retest}]"));
        assert!(valid("resin-content: [{within: 2 points, when: dry, asks: none}]"));
        assert!(!valid("mesh: [{asks: perhaps}]"));
        assert!(!valid("mesh: [{at_lest: conformed, asks: none}]"));
        assert!(!valid("mesh: [{at_least: conformed}]"));
    }
}
