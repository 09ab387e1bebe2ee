//! Coverage: does what was tested still bound what a panel asks of it?

use super::judge::Reason;
use super::table::{Context, KindRow, Table};
use crate::article::Claims;

use crate::record::sensitivity::{Asks, Sensitivity};
use crate::record::{Bounds, Phrase, Showing, Tested};
use thin_vec::ThinVec;

/// What one panel asks of a subject.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Demand {
    /// Zones, fluids, fasteners and the like.
    pub claims: Claims,
    /// Hottest structural skin of the zones that use the subject, K, and what surface makes it.
    pub structural: Option<(f64, String)>,
    /// Hottest skin on the ramp, K, and what surface makes it.
    pub ramp: Option<(f64, String)>,
    /// Lowest temperature, K.
    pub minimum: Option<f64>,
    /// Moistures that the exposures name.
    pub moisture: Vec<String>,
    /// What had to be assumed.
    pub assumptions: Vec<Phrase>,
}

/// What an evidence record was tested to: from `conformed` alone.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TestedTo {
    /// Temperature, K.
    pub temperature: Option<f64>,
    /// Moisture in words.
    pub moisture: Option<String>,
    /// Claims conformed; `None` where not recorded.
    pub zones: Option<Vec<String>>,
    /// Lightning zones.
    pub lightning: Option<Vec<String>>,
    /// Fluids.
    pub fluids: Option<Vec<String>>,
    /// Forms of core.
    pub core_forms: Option<Vec<String>>,
    /// Fittings.
    pub fasteners: Option<Vec<String>>,
    /// Largest hole.
    pub hole: Option<String>,
}

impl TestedTo {
    /// Reads what `conformed` says was tested.
    pub fn read(tested: Option<&Tested>, main: &crate::article::Configuration) -> Self {
        let claim = |base: &str| -> Option<Vec<String>> {
            let value = main.get(&crate::article::Key::plain(base))?;
            Some(
                value
                    .texts()
                    .filter(|word| !matches!(*word, "none" | "unstated"))
                    .map(str::to_string)
                    .collect(),
            )
        };
        let with = |base: &str, more: Option<&[crate::record::Text]>| -> Option<Vec<String>> {
            let own = claim(base);
            match (own, more) {
                (None, None) => None,
                (own, more) => {
                    let mut all = own.unwrap_or_default();
                    all.extend(more.unwrap_or_default().iter().map(ToString::to_string));
                    all.sort();
                    all.dedup();
                    Some(all)
                }
            }
        };
        fn single(text: Option<&crate::record::Text>) -> Option<&[crate::record::Text]> {
            text.map(std::slice::from_ref)
        }
        Self {
            temperature: tested.and_then(|tested| tested.temperature.as_ref()).map(|t| t.si()),
            moisture: tested.and_then(|tested| tested.moisture.as_ref()).map(ToString::to_string),
            zones: with("claims.zone", single(tested.and_then(|t| t.zone.as_ref()))),
            lightning: with("claims.lightning", single(tested.and_then(|t| t.lightning.as_ref()))),
            fluids: with("claims.fluids", tested.and_then(|t| t.fluids.as_deref())),
            // An unstated form is equal to an unstated form.
            core_forms: main
                .get(&crate::article::Key::plain("claims.core-form"))
                .map(|value| value.texts().filter(|word| *word != "none").map(str::to_string).collect()),
            fasteners: claim("claims.fasteners"),
            hole: claim("claims.hole").and_then(|all| all.first().cloned()),
        }
    }
}

/// Returns which end of the temperatures a showing bounds.
///
/// # Source
/// The project's own rule: ETW, ETD or 40 degC and above are hot; CTD or -20 degC and below are cold.
pub fn bounds(showing: &Showing) -> Bounds {
    let Some(environment) = &showing.environment else { return Bounds::None };
    if let Some(bounds) = environment.bounds {
        return bounds;
    }
    let name = environment.name.as_ref().map_or("", |name| name.as_str());
    let degrees = environment.temperature.as_ref().map(|temperature| temperature.si() - 273.15);
    // A thousandth absorbs the offset of the scale, so that the edges count as written.
    if matches!(name, "ETW" | "ETD") || degrees.is_some_and(|degrees| degrees >= 40.0 - 1e-3) {
        Bounds::Hot
    } else if name == "CTD" || degrees.is_some_and(|degrees| degrees <= -20.0 + 1e-3) {
        Bounds::Cold
    } else {
        Bounds::None
    }
}

fn wetness(word: Option<&str>) -> u8 {
    match word {
        None | Some("as-fabricated") => 0,
        Some("equilibrium") => 1,
        Some(_) => 2,
    }
}

fn celsius(kelvin: f64) -> String {
    format!("{:.1} degC", kelvin - 273.15)
}

/// The rules of coverage for one duty.
pub struct Coverage<'a> {
    /// The showing's id.
    pub id: &'a str,
    /// The showing.
    pub showing: &'a Showing,
    /// Its row.
    pub row: &'a KindRow,
    /// The showing's own rows.
    pub own: Option<&'a Sensitivity>,
}

impl Coverage<'_> {
    fn level(&self, facet: &str) -> (Asks, String) {
        match self.row.ruling(facet, self.own) {
            Some(ruling) => {
                let source = match ruling.cell {
                    Some(cell) => cell.source.clone(),
                    None => format!("showing/{}#sensitivity.{}", self.id, ruling.key),
                };
                (ruling.level(), source)
            }
            None => (Asks::None, String::new()),
        }
    }

    fn asks(&self, context: Context) -> bool {
        self.row.context.contains(&context)
    }

    fn reason(&self, attribute: &str, was: String, is: String, facet: &str, rule: &str) -> Reason {
        let (effect, source) = self.level(facet);
        Reason {
            attribute: attribute.into(),
            was: was.into(),
            is: is.into(),
            effect,
            rule: format!("{} x {facet}: {rule}", self.showing.kind).into(),
            source: source.into(),
            evidence: None,
            panels: ThinVec::new(),
        }
    }

    /// Returns what the showing asks for now beyond what was tested.
    pub fn requirement(&self, tested: &TestedTo) -> Vec<Reason> {
        let mut all = Vec::new();
        let rule = |words: &str| format!("requirement: {words} asks retest in every row");
        let retest = |attribute: &str, was: String, is: String, words: &str| Reason {
            attribute: attribute.into(),
            was: was.into(),
            is: is.into(),
            effect: Asks::Retest,
            rule: rule(words).into(),
            source: format!("showing/{}#environment", self.id).into(),
            evidence: None,
            panels: ThinVec::new(),
        };
        let environment = self.showing.environment.as_ref();
        let asked = environment.and_then(|environment| environment.temperature.as_ref()).map(|t| t.si());
        match (asked, tested.temperature) {
            (Some(asked), None) => all.push(retest(
                "tested.temperature",
                "not recorded".to_string(),
                celsius(asked),
                "a temperature that was not tested",
            )),
            (Some(asked), Some(was)) => {
                let worse = match bounds(self.showing) {
                    Bounds::Hot => asked > was + 1e-6,
                    Bounds::Cold => asked < was - 1e-6,
                    Bounds::None => (asked - was).abs() > 1e-6,
                };
                if worse {
                    all.push(retest(
                        "tested.temperature",
                        celsius(was),
                        celsius(asked),
                        "another temperature",
                    ));
                }
            }
            (None, _) => {}
        }
        let asked = environment.and_then(|environment| environment.moisture.as_ref()).map(|m| m.as_str());
        let was = tested.moisture.as_deref();
        if wetness(asked) > wetness(was) || wetness(asked) == 2 && asked != was {
            let word = |text: Option<&str>| text.unwrap_or("unstated").to_string();
            all.push(retest("tested.moisture", word(was), word(asked), "wetter than tested"));
        }
        all
    }

    /// Returns what a panel asks beyond what was tested; the second list is what was not recorded.
    pub fn panel(&self, tested: &TestedTo, demand: &Demand) -> (Vec<Reason>, Vec<String>) {
        let mut all = Vec::new();
        let mut not_recorded = Vec::new();
        if self.asks(Context::T) {
            self.temperatures(tested, demand, &mut all);
        }
        let Ok(table) = Table::built_in() else { return (all, not_recorded) };
        if self.asks(Context::X) {
            let covered = |tested: &str, asked: &str| table.orders.exposure_covers(tested, asked);
            match &tested.zones {
                Some(zones) => {
                    for asked in &demand.claims.zones {
                        if !zones.iter().any(|zone| covered(zone, asked)) {
                            let was = listed(zones);
                            all.push(self.reason(
                                "claims.zone",
                                was,
                                asked.clone(),
                                "environment",
                                "exposure not covered",
                            ));
                        }
                    }
                }
                None if !demand.claims.zones.is_empty() => not_recorded.push("claims.zone".to_string()),
                None => {}
            }
            match &tested.fluids {
                Some(fluids) => {
                    for asked in demand.claims.fluids.iter().filter(|asked| !fluids.contains(asked)) {
                        let was = listed(fluids);
                        all.push(self.reason(
                            "claims.fluids",
                            was,
                            asked.clone(),
                            "environment",
                            "fluid not covered",
                        ));
                    }
                }
                None if !demand.claims.fluids.is_empty() => not_recorded.push("claims.fluids".to_string()),
                None => {}
            }
            for asked in &demand.moisture {
                let known = tested.moisture.as_deref();
                let level = wetness(Some(asked));
                if level > wetness(known) || level == 2 && known != Some(asked.as_str()) {
                    let was = known.unwrap_or("unstated").to_string();
                    all.push(self.reason(
                        "claims.moisture",
                        was,
                        asked.clone(),
                        "environment",
                        "wetter than tested",
                    ));
                }
            }
        }
        if self.asks(Context::Z) {
            let zones = tested.lightning.as_deref().unwrap_or_default();
            for asked in &demand.claims.lightning {
                if !zones.iter().any(|zone| table.orders.lightning_covers(zone, asked)) {
                    let was =
                        if tested.lightning.is_some() { listed(zones) } else { "not recorded".to_string() };
                    all.push(Reason {
                        effect: Asks::Retest,
                        source: table.orders.lightning.source.as_str().into(),
                        ..self.reason(
                            "claims.lightning",
                            was,
                            asked.clone(),
                            "environment",
                            "lightning zone not covered asks retest",
                        )
                    });
                }
            }
        }
        if self.asks(Context::C) {
            match &tested.core_forms {
                Some(forms) => {
                    for asked in demand.claims.core_forms.iter().filter(|asked| !forms.contains(asked)) {
                        let was = listed(forms);
                        all.push(self.reason(
                            "claims.core-form",
                            was,
                            asked.clone(),
                            "core",
                            "co-cured on a new form of core",
                        ));
                    }
                }
                None if !demand.claims.core_forms.is_empty() => {
                    not_recorded.push("claims.core-form".to_string())
                }
                None => {}
            }
        }
        if self.asks(Context::E) {
            self.edges(tested, demand, &mut all, &mut not_recorded);
        }
        (all, not_recorded)
    }

    fn temperatures(&self, tested: &TestedTo, demand: &Demand, all: &mut Vec<Reason>) {
        match (bounds(self.showing), tested.temperature) {
            (Bounds::Hot, Some(was)) => {
                if let Some((skin, surface)) = &demand.structural
                    && *skin > was
                {
                    let is = format!("{} structural skin, {surface}", celsius(*skin));
                    all.push(self.reason(
                        "skin.structural",
                        format!("{} tested", celsius(was)),
                        is,
                        "colour",
                        "w10: skin hotter than the hot test",
                    ));
                }
            }
            (Bounds::Cold, Some(was)) => {
                if let Some(minimum) = demand.minimum
                    && minimum < was - 1e-6
                {
                    let is = format!("{} lowest", celsius(minimum));
                    all.push(self.reason(
                        "exposure.minimum",
                        format!("{} tested", celsius(was)),
                        is,
                        "environment",
                        "w12: colder than the cold test",
                    ));
                }
            }
            (Bounds::Hot, None) => {
                if let Some((skin, surface)) = &demand.structural {
                    let is = format!("{} structural skin, {surface}", celsius(*skin));
                    let rule = "w10: no tested temperature is recorded";
                    all.push(self.reason("skin.structural", "not recorded".to_string(), is, "colour", rule));
                }
            }
            (Bounds::Cold, None) => {
                if let Some(minimum) = demand.minimum {
                    let is = format!("{} lowest", celsius(minimum));
                    let rule = "w12: no tested temperature is recorded";
                    all.push(self.reason(
                        "exposure.minimum",
                        "not recorded".to_string(),
                        is,
                        "environment",
                        rule,
                    ));
                }
            }
            _ => {}
        }
    }

    fn edges(
        &self,
        tested: &TestedTo,
        demand: &Demand,
        all: &mut Vec<Reason>,
        not_recorded: &mut Vec<String>,
    ) {
        match &tested.fasteners {
            Some(fasteners) => {
                for asked in demand.claims.fasteners.iter().filter(|asked| !fasteners.contains(asked)) {
                    let was = listed(fasteners);
                    all.push(self.reason(
                        "claims.fasteners",
                        was,
                        asked.clone(),
                        "edges",
                        "a fastener that was not tested",
                    ));
                }
            }
            None if !demand.claims.fasteners.is_empty() => not_recorded.push("claims.fasteners".to_string()),
            None => {}
        }
        let millimetres = |text: &String| super::delta::number(text).map(|(value, _)| value);
        match (&demand.claims.hole, &tested.hole) {
            (Some(asked), Some(was)) => {
                let larger = match (millimetres(asked), millimetres(was)) {
                    (Some(asked), Some(was)) => asked > was,
                    _ => asked != was,
                };
                if larger {
                    all.push(self.reason(
                        "claims.hole",
                        was.clone(),
                        asked.clone(),
                        "edges",
                        "a larger hole than tested",
                    ));
                }
            }
            (Some(_), None) => not_recorded.push("claims.hole".to_string()),
            (None, _) => {}
        }
    }
}

fn listed(words: &[String]) -> String {
    if words.is_empty() { "none".to_string() } else { words.join(", ") }
}
