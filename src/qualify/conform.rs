//! Conforming: writing down what an article was, by value, when its evidence was finished.

use super::coverage::Demand;
use super::made::lay_measured;
use crate::article::{
    ArticleError, Configuration, Configurator, FORM, Key, Limit, Subject, Uses, uses, zones_of,
};
use crate::ledger::{Entry, Ledger};
use crate::quantity::Quantity;
use crate::record::{Address, AttributeValue, Evidence, EvidenceState, RecordKind, Tested};
use std::collections::{BTreeMap, BTreeSet};
use thiserror::Error;

/// Why an evidence record can't be conformed.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ConformError {
    /// It has its configuration already.
    #[error("evidence/{0} is conformed already; a correction is a new record that names it by `supersedes`")]
    Already(String),
    /// Its subject can't be read.
    #[error("evidence/{0} does not name one subject")]
    NoSubject(String),
    /// A record or figure is missing.
    #[error(transparent)]
    Article(#[from] ArticleError),
    /// What was measured names no attribute of the subject.
    #[error("evidence/{id} measured `{attribute}`, which {subject} does not have")]
    Measured {
        /// The evidence.
        id: String,
        /// The attribute.
        attribute: String,
        /// The subject.
        subject: String,
        /// The subject's attributes that were probably meant.
        known: Vec<String>,
    },
}

/// What `conform` writes for one record.
#[derive(Debug, Clone, PartialEq)]
pub struct Conformity {
    /// The evidence's id.
    pub id: String,
    /// The subject.
    pub subject: Subject,
    /// The configuration.
    pub configuration: Configuration,
    /// How further articles differ from it.
    pub others: Vec<BTreeMap<String, AttributeValue>>,
    /// What was tested, in the order it is written.
    pub tested: Vec<(&'static str, AttributeValue)>,
    /// The commit that it was taken from.
    pub commit: Option<String>,
    /// What was taken from elsewhere than the record.
    pub assumptions: Vec<String>,
}

/// Works out the configuration of one finished or planned record as `ledger` stands.
///
/// # Errors
/// [`ConformError`] says why there is none.
pub fn conformity(
    ledger: &Ledger,
    entry: &Entry<Evidence>,
    commit: Option<&str>,
) -> Result<Conformity, ConformError> {
    let evidence = &entry.value;
    if evidence.conformed.is_some() && evidence.state == EvidenceState::Done {
        return Err(ConformError::Already(entry.id.clone()));
    }
    worked_out(ledger, entry, commit)
}

/// As [`conformity`], whatever the record holds already.
pub(super) fn worked_out(
    ledger: &Ledger,
    entry: &Entry<Evidence>,
    commit: Option<&str>,
) -> Result<Conformity, ConformError> {
    let evidence = &entry.value;
    let subject =
        Subject::from_label(&evidence.subject).ok_or_else(|| ConformError::NoSubject(entry.id.clone()))?;
    let uses = uses(ledger)?;
    let using = using_panels(ledger, entry, &subject, &uses);
    let configurator = Configurator::new(ledger);
    let mut assumptions = Vec::new();
    let (mut configuration, others) = union(&configurator, &subject, &using)?;
    if let Some(tool) = evidence.tested.as_ref().and_then(|tested| tested.tool.as_ref()) {
        let id = tool.as_str().rsplit('/').next().unwrap_or_default();
        let own = configurator.behind(&Address::new(RecordKind::Tool, id)).ok_or_else(|| {
            ArticleError::Missing {
                needed: Address::new(RecordKind::Tool, id),
                by: Address::new(RecordKind::Evidence, entry.id.clone()),
            }
        })?;
        configuration.merge(own.attributes().cloned());
    } else if !using.is_empty() && configuration.get(&Key::plain("tool.body")).is_some() {
        assumptions
            .push(format!("evidence/{} names no tool: taken from the panels that use {subject}", entry.id));
    }
    let tested =
        claims(ledger, &configurator, entry, &subject, &using, &uses, &mut configuration, &mut assumptions)?;
    let mut measured = BTreeSet::new();
    for (name, value) in &evidence.measured {
        let key = Key::parse(name);
        if configuration.get(&key).is_none() {
            return Err(ConformError::Measured {
                id: entry.id.clone(),
                attribute: name.clone(),
                subject: subject.to_string(),
                known: configuration
                    .attributes()
                    .map(|(other, _)| other)
                    .filter(|other| other.base == key.base && other.limit == Limit::Nominal)
                    .map(ToString::to_string)
                    .collect(),
            });
        }
        lay_measured(&mut configuration, &mut measured, name, value);
    }
    assumptions.sort();
    assumptions.dedup();
    Ok(Conformity {
        id: entry.id.clone(),
        subject,
        configuration,
        others,
        tested,
        commit: commit.map(str::to_string),
        assumptions,
    })
}

/// The panels that use the subject and that the showing is asked of.
fn using_panels(ledger: &Ledger, entry: &Entry<Evidence>, subject: &Subject, uses: &Uses) -> Vec<String> {
    let Some(panels) = uses.get(subject) else { return Vec::new() };
    let applies = ledger.showings.get(entry.value.showing.id()).and_then(|one| one.value.applies_to.clone());
    panels
        .keys()
        .filter(|id| {
            let Some(panel) = ledger.panels.get(*id) else { return false };
            applies.as_ref().is_none_or(|applies| {
                let class = panel.value.class.unwrap_or(crate::record::Class::Structural);
                applies.class.is_none_or(|asked| asked == class)
                    && (applies.group.is_empty()
                        || applies.group.iter().any(|g| Some(g) == panel.value.group.as_ref()))
                    && (applies.panel.is_empty() || applies.panel.iter().any(|p| p.id() == panel.id))
                    && applies.load_path.is_none_or(|asked| panel.value.load_path == Some(asked))
            })
        })
        .cloned()
        .collect()
}

/// The first configuration of all that panels use, and how each further one differs from it.
///
/// Tools stand as lists in one order; whatever else differs is another article.
fn union(
    configurator: &Configurator<'_>,
    subject: &Subject,
    using: &[String],
) -> Result<(Configuration, Vec<BTreeMap<String, AttributeValue>>), ArticleError> {
    let mut all: Vec<Configuration> = Vec::new();
    let mut tools: Vec<BTreeMap<Key, AttributeValue>> = Vec::new();
    let is_tool = |key: &Key| key.facet() == "tool";
    for panel in using {
        for variant in configurator.variants(subject, Some(panel))? {
            let tool: BTreeMap<Key, AttributeValue> =
                variant.attributes().filter(|(key, _)| is_tool(key)).cloned().collect();
            if !tools.contains(&tool) {
                tools.push(tool);
            }
            let own = variant.only(|facet| facet != "tool");
            if !all.contains(&own) {
                all.push(own);
            }
        }
    }
    let mut rest = all.into_iter();
    let Some(mut main) = rest.next() else {
        let mut variants = configurator.variants(subject, None)?.into_iter();
        let main = variants.next().unwrap_or_default();
        let others = variants.map(|other| differing(&main, &other)).collect();
        return Ok((main, others));
    };
    let others = rest.map(|other| differing(&main, &other)).collect();
    let keys: BTreeSet<&Key> = tools.iter().flat_map(BTreeMap::keys).collect();
    for key in keys {
        let values = tools.iter().map(|tool| tool.get(key).cloned());
        let value = match tools.as_slice() {
            [only] => only.get(key).cloned().unwrap_or_else(unstated),
            // A chain of tools is itself a list: among several tools it stays one entry.
            _ => AttributeValue::list(values.map(|value| value.unwrap_or_else(unstated).values().join("; "))),
        };
        main.set(*key, value);
    }
    Ok((main, others))
}

fn unstated() -> AttributeValue {
    AttributeValue::one("unstated")
}

fn differing(main: &Configuration, other: &Configuration) -> BTreeMap<String, AttributeValue> {
    other
        .attributes()
        .filter(|(key, value)| key.limit != Limit::Share && main.get(key) != Some(value))
        .map(|(key, value)| (key.to_string(), value.clone()))
        .collect()
}

/// Writes the claims into the configuration and returns what was tested.
#[allow(clippy::too_many_arguments)]
fn claims(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    entry: &Entry<Evidence>,
    subject: &Subject,
    using: &[String],
    uses: &Uses,
    configuration: &mut Configuration,
    assumptions: &mut Vec<String>,
) -> Result<Vec<(&'static str, AttributeValue)>, ArticleError> {
    let id = &entry.id;
    let empty =
        Tested { temperature: None, moisture: None, lightning: None, zone: None, fluids: None, tool: None };
    let own = entry.value.tested.clone().unwrap_or(empty);
    let environment =
        ledger.showings.get(entry.value.showing.id()).and_then(|showing| showing.value.environment.clone());
    let mut asked = Demand::default();
    for panel in using {
        let sites = uses.get(subject).and_then(|panels| panels.get(panel));
        let zones = match (ledger.panels.get(panel), sites) {
            (Some(panel), Some(sites)) => zones_of(&panel.value, sites),
            _ => Vec::new(),
        };
        let claims = configurator.claims(subject, panel, &zones)?;
        asked.claims.zones.extend(claims.zones);
        asked.claims.lightning.extend(claims.lightning);
        asked.claims.fluids.extend(claims.fluids);
        asked.claims.core_forms.extend(claims.core_forms);
        asked.claims.fasteners.extend(claims.fasteners);
        let known = asked.claims.hole.take();
        asked.claims.hole =
            if millimetres(claims.hole.as_ref()) > millimetres(known.as_ref()) { claims.hole } else { known };
    }
    let mut tested: Vec<(&'static str, AttributeValue)> = Vec::new();
    let one = |text: String| AttributeValue::one(&text);
    let mut environment_taken = |what: &str| {
        assumptions.push(format!(
            "evidence/{id} does not say the {what} tested: taken from the showing's environment"
        ));
    };
    if let Some(temperature) = &own.temperature {
        tested.push(("temperature", one(temperature.canonical("degC"))));
    } else if let Some(temperature) = environment.as_ref().and_then(|own| own.temperature.as_ref()) {
        environment_taken("temperature");
        tested.push(("temperature", one(temperature.canonical("degC"))));
    }
    if let Some(moisture) = &own.moisture {
        tested.push(("moisture", one(moisture.to_string())));
    } else if let Some(moisture) = environment.as_ref().and_then(|own| own.moisture.as_ref()) {
        environment_taken("moisture");
        tested.push(("moisture", one(moisture.to_string())));
    }
    if let Some(lightning) = &own.lightning {
        tested.push(("lightning", one(lightning.to_string())));
    }
    if let Some(zone) = &own.zone {
        tested.push(("zone", one(zone.to_string())));
    }
    if let Some(fluids) = &own.fluids {
        tested.push(("fluids", AttributeValue::list(fluids.iter().map(ToString::to_string))));
    }
    let mut claim = |base: &str, own: Option<Vec<String>>, mut asked: Vec<String>, what: &str| {
        asked.sort();
        asked.dedup();
        let values = match own {
            Some(own) => own,
            None if using.is_empty() => return,
            None => {
                if !asked.is_empty() {
                    assumptions.push(format!(
                        "evidence/{id} does not say the {what} tested: {} taken from the panels that use {subject}",
                        asked.join(", ")
                    ));
                }
                asked
            }
        };
        let value =
            if values.is_empty() { AttributeValue::one("none") } else { AttributeValue::list(values) };
        configuration.set(Key::plain(base), value);
    };
    let single = |text: &Option<crate::record::Text>| text.as_ref().map(|text| vec![text.to_string()]);
    claim("claims.zone", single(&own.zone), asked.claims.zones, "exposure zone");
    claim("claims.lightning", single(&own.lightning), asked.claims.lightning, "lightning zone");
    let fluids = own.fluids.as_ref().map(|all| all.iter().map(ToString::to_string).collect());
    claim("claims.fluids", fluids, asked.claims.fluids, "fluids");
    match subject {
        Subject::Lamina { .. } => claim("claims.core-form", None, asked.claims.core_forms, "form of core"),
        Subject::Laminate(_) | Subject::Painted(..) | Subject::Bond { .. } => {
            claim("claims.fasteners", None, asked.claims.fasteners, "fasteners");
            claim("claims.hole", None, asked.claims.hole.into_iter().collect(), "largest hole");
        }
        _ => {}
    }
    Ok(tested)
}

fn millimetres(text: Option<&String>) -> Option<crate::quantity::Decimal> {
    super::delta::number(text?).map(|(value, _)| value)
}

impl Conformity {
    /// Writes the `conformed:` block, lines ended by `\n`, in the canonical order.
    pub fn block(&self) -> String {
        let mut text = String::from("conformed:\n");
        text.push_str(&format!("  form: {FORM}\n"));
        if let Some(commit) = &self.commit {
            text.push_str(&format!("  commit: \"{commit}\"\n"));
        }
        if !self.tested.is_empty() {
            let parts: Vec<String> =
                self.tested.iter().map(|(key, value)| format!("{key}: {}", flow(value))).collect();
            text.push_str(&format!("  tested: {{{}}}\n", parts.join(", ")));
        }
        text.push_str("  attributes:\n");
        for (key, value) in self.configuration.in_order() {
            text.push_str(&format!("    {key}: {}\n", flow(value)));
        }
        if self.others.is_empty() {
            text.push_str("  others: []\n");
        } else {
            text.push_str("  others:\n");
        }
        for other in &self.others {
            let parts: Vec<String> =
                other.iter().map(|(key, value)| format!("{key}: {}", flow(value))).collect();
            text.push_str(&format!("    - {{{}}}\n", parts.join(", ")));
        }
        text
    }
}

pub(super) fn flow(value: &AttributeValue) -> String {
    match value {
        AttributeValue::One(text) => scalar(text),
        AttributeValue::List(all) => {
            format!("[{}]", all.iter().map(|one| scalar(one)).collect::<Vec<_>>().join(", "))
        }
    }
}

/// Writes a scalar plainly where YAML reads it back as the same text, quoted otherwise.
fn scalar(text: &str) -> String {
    let first = text.chars().next();
    let safe_first =
        first.is_some_and(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '+') && text.len() > 1);
    let safe = text.chars().all(|c| {
        c.is_ascii_alphanumeric() || matches!(c, ' ' | '-' | '+' | '.' | '/' | '_' | '%' | '(' | ')')
    });
    let word = !matches!(text, "true" | "false" | "null" | "yes" | "no" | "on" | "off" | "~");
    let number = text.parse::<f64>().is_ok() || Quantity::parse(crate::quantity::Kind::Ratio, text).is_ok();
    let trimmed = text.trim() == text && !text.starts_with("- ");
    if safe_first && safe && word && !number && trimmed {
        text.to_string()
    } else {
        serde_json::to_string(text).unwrap_or_else(|_| format!("'{}'", text.replace('\'', "''")))
    }
}
