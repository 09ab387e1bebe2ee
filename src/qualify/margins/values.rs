//! Design values in force: typed in, or what a showing's evidence supports now.

use super::super::duty::{Duty, DutyKey, Judged, Verdict};
use super::super::earlier::{Word, word};
use super::super::estimate::basis_of;
use super::super::live::leans_on_computed;
use super::super::normalised::Normalised;
use super::super::pool::{self, required_basis};
use super::super::table::Table;
use crate::article::Subject;
use crate::ledger::{Entry, Ledger};
use crate::quantity::Quantity;
use crate::record::{BasisWord, Evidence, LoadPath, Showing, Sourced};
use crate::statistics::mean;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;
use std::ops::Deref;
use std::sync::Arc;

/// What a value is of its population.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Statistic {
    /// A- or B-basis, as the load path asks: strengths and strains.
    ByLoadPath,
    /// The mean: moduli.
    Mean,
}

impl Statistic {
    /// The word of a mean; a basis has its own.
    const fn word(self) -> &'static str {
        match self {
            Statistic::Mean => "mean",
            Statistic::ByLoadPath => "basis",
        }
    }
}

/// A value that margins are computed with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DesignValue {
    /// What it is, such as `Xt of material/cw-200-e1`.
    pub what: String,
    /// In SI units.
    pub value: f64,
    /// Where it comes from.
    pub from: Origin,
}

/// Where a design value comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Origin {
    /// Typed into a record: it stands on no evidence.
    Typed,
    /// From evidence.
    Evidence(Box<Support>),
}

/// The evidence behind a design value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Support {
    /// The showing.
    pub showing: String,
    /// What it was judged on.
    pub subject: Subject,
    /// The verdict there; what is not met is rested on.
    pub verdict: Verdict,
    /// Evidence whose specimens were pooled.
    pub evidence: Vec<String>,
    /// How many specimens.
    pub n: usize,
    /// `A-basis`, `B-basis` or `mean`.
    #[serde(with = "word")]
    pub statistic: Word,
    /// The method behind a basis.
    #[serde(with = "word::maybe")]
    pub method: Option<Word>,
    /// The environment's name, or its temperature.
    pub environment: String,
    /// Whether the sample is too small for its plan or for its basis, so that the value is an estimate.
    pub estimate: bool,
    /// The same as a sentence of the assumptions, with what is lacking.
    pub doubt: Option<String>,
    /// What the specimens' values were brought to, where they were.
    pub normalised: Option<String>,
}

impl DesignValue {
    /// Returns whether it is a mean of evidence, as moduli are.
    pub fn is_mean(&self) -> bool {
        matches!(&self.from, Origin::Evidence(own) if own.statistic == Statistic::Mean.word())
    }
}

/// A design value that can't be had, with what is missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lacking {
    /// What it is of.
    pub what: String,
    /// Why it can't be had.
    pub why: String,
    /// Whether it is a strength: what is stiff, and how much, is known without.
    pub is_strength: bool,
}

impl fmt::Display for Lacking {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.what, self.why)
    }
}

/// Looks up design values for one panel, or for a recipe wherever it is used.
#[derive(Clone, Copy)]
pub(crate) struct Values<'a> {
    pub(crate) ledger: &'a Ledger,
    pub(crate) duties: &'a BTreeMap<DutyKey, Duty>,
    /// The panel; the gravest verdict counts without one.
    pub(crate) panel: Option<&'a str>,
    /// Decides between A- and B-basis.
    pub(crate) load_path: Option<LoadPath>,
    /// Where values come from several environments: the one that is asked for.
    pub(crate) environment: Option<&'a str>,
}

impl Values<'_> {
    /// Returns a value in SI units (`unit` names the one that data are brought to, `scale` its size in SI).
    pub(crate) fn value<T: Deref<Target = Quantity>>(
        &self,
        sourced: &Sourced<T>,
        what: &str,
        subject: Option<&Subject>,
        statistic: Statistic,
        (unit, scale): (&str, f64),
    ) -> Result<DesignValue, Lacking> {
        let lacking = |why: String| Lacking {
            what: what.to_string(),
            why,
            is_strength: statistic == Statistic::ByLoadPath,
        };
        let showings = match sourced {
            Sourced::Value(value) => {
                return Ok(DesignValue { what: what.to_string(), value: value.si(), from: Origin::Typed });
            }
            Sourced::From(showings) => showings,
        };
        let Some(subject) = subject else {
            return Err(lacking("a value from evidence needs a ply and its process".to_string()));
        };
        let entries = showings.iter().filter_map(|showing| self.ledger.showings.get(showing.id()));
        let entry = match (showings.0.len(), self.environment) {
            (0 | 1, _) => entries.clone().next(),
            (_, None) => {
                return Err(lacking("it comes from several environments, and none is asked for".to_string()));
            }
            (_, Some(wanted)) => {
                let fits = |one: &&Entry<Showing>| environment_of(&one.value) == wanted;
                entries.clone().find(fits)
            }
        };
        let Some(entry) = entry else {
            let names: Vec<&str> = showings.iter().map(|one| one.id()).collect();
            let wanted = self.environment.map_or(String::new(), |own| format!(" at {own}"));
            return Err(lacking(format!("none of {} can be read{wanted}", names.join(", "))));
        };
        let leans = Table::row(entry.value.kind.as_str()).is_some_and(leans_on_computed);
        if leans {
            return Err(lacking(format!(
                "showing/{} leans on computed margins itself (window w9), so that it can give no value to one",
                entry.id
            )));
        }
        let key: DutyKey = (entry.id.clone(), subject.clone());
        let Some(duty) = self.duties.get(&key) else {
            return Err(lacking(format!("showing/{} is not asked of {subject}", entry.id)));
        };
        let judged = self.panel.and_then(|panel| duty.panels.get(panel));
        let Some(judged) = judged.or_else(|| duty.worst().map(|(_, worst)| worst)) else {
            return Err(lacking(format!("showing/{} has no verdict on {subject}", entry.id)));
        };
        let records = self.records(judged);
        if records.is_empty() {
            return Err(lacking(format!(
                "showing/{} on {subject} is {}, and no evidence gives a value",
                entry.id, judged.verdict
            )));
        }
        let pooled = pool::pool(self.ledger, &entry.value, &records);
        let n = pooled.values.len();
        let mut method = None;
        let lacks = pool::completeness(&pooled, &entry.value).lacks;
        let mut estimate = !lacks.is_empty();
        let mut doubt = estimate.then(|| {
            let names: Vec<&str> = records.iter().map(|record| record.id.as_str()).collect();
            let (names, lacks) = (names.join(", "), lacks.join(", "));
            format!("showing/{}: design value of {names} is an estimate: {lacks}", entry.id)
        });
        let (value, name) = match statistic {
            Statistic::Mean => {
                (mean(&pooled.values).map_err(|problem| problem.to_string()), statistic.word())
            }
            Statistic::ByLoadPath => {
                let word = required_basis(&entry.value.accept, self.load_path).unwrap_or({
                    if self.load_path == Some(LoadPath::Single) { BasisWord::A } else { BasisWord::B }
                });
                let (basis, name) = match word {
                    BasisWord::A => (basis_of(word), "A-basis"),
                    BasisWord::B => (basis_of(word), "B-basis"),
                };
                let found = pooled.procedure().and_then(|found| {
                    method = Some(found.method.name());
                    estimate |= !found.lacks(basis).is_empty();
                    doubt = super::super::estimate::estimate(&records, found, word).or(doubt.take());
                    found.value(basis).clone()
                });
                (found.map(|found| found.value).map_err(|problem| problem.to_string()), name)
            }
        };
        let value = value.map_err(|problem| {
            lacking(format!("{n} specimens of showing/{} give no {name}: {problem}", entry.id))
        })?;
        let Some(value) = crate::record::Figure::of(value, &pooled.unit).number_in(unit) else {
            return Err(lacking(format!("the values of showing/{} are not in {unit}", entry.id)));
        };
        let value = value * scale;
        if value <= 0.0 {
            return Err(lacking(format!(
                "the {name} of {n} specimens of showing/{} is not above 0",
                entry.id
            )));
        }
        Ok(DesignValue {
            what: what.to_string(),
            value,
            from: Origin::Evidence(Box::new(Support {
                showing: entry.id.clone(),
                subject: subject.clone(),
                verdict: judged.verdict,
                evidence: records.iter().map(|record| record.id.clone()).collect(),
                n,
                statistic: name,
                method,
                environment: environment_of(&entry.value),
                estimate,
                doubt,
                normalised: pooled.normalised.as_ref().map(Normalised::words),
            })),
        })
    }

    /// The primary records behind a verdict: design values stay the baseline's.
    fn records(&self, judged: &Arc<Judged>) -> Vec<&Entry<Evidence>> {
        let mut all: Vec<&Entry<Evidence>> = Vec::new();
        for id in &judged.evidence {
            let Some(entry) = self.ledger.evidence.get(id.as_str()) else { continue };
            let baseline = || self.ledger.evidence.get(entry.value.baseline.as_ref()?.id());
            let primary = if entry.value.kind.stands_alone() { Some(entry) } else { baseline() };
            let Some(primary) = primary else { continue };
            if !all.iter().any(|known| known.id == primary.id) {
                all.push(primary);
            }
        }
        all
    }
}

/// Returns what an environment is called: its name, its temperature, or `as tested`.
pub(crate) fn environment_of(showing: &Showing) -> String {
    let environment = showing.environment.as_ref();
    let name = environment.and_then(|own| own.name.as_ref()).map(ToString::to_string);
    let temperature =
        || environment.and_then(|own| own.temperature.as_ref()).map(|own| own.text().to_string());
    name.or_else(temperature).unwrap_or_else(|| "as tested".to_string())
}
