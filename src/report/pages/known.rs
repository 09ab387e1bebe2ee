//! What many sheets of records share, worked out once for all of them.

use crate::article::weigh::{
    CostStatement, MassStatement, PanelMass, PanelPieces, Scope, cost_of, stages, statement,
};
use crate::article::{ArticleError, Subject};
use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::qualify::margins::{HeatReport, PanelMargins, heat_of};
use crate::qualify::trial::{TrialState, trials};
use crate::qualify::verdict::{Duty, DutyKey, Evaluation, Judged, Verdict, superseded};
use crate::record::Day;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

/// Heat of a panel's zones, and zones left out with the reason.
type Heat = (Vec<HeatReport>, Vec<String>);

/// A value that is worked out when the first sheet asks for it.
type Once<T> = OnceLock<Result<T, ArticleError>>;

/// What part evidence has in a duty, the least first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Role {
    /// It is planned or running.
    UnderWay,
    /// It came nearest, and does not count for what is asked now.
    Nearest,
    /// It conforms, and the verdict stands on it.
    Counts,
}

/// A duty that evidence has a part in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Part<'a> {
    /// The duty.
    pub duty: &'a Duty,
    /// What part that is.
    pub role: Role,
    /// Whether it was recorded for another subject.
    pub carried_over: bool,
}

/// What is known of the whole.
pub(super) struct Known<'a> {
    ledger: &'a Ledger,
    evaluation: &'a Evaluation,
    /// The mass statement of the programme; why there is none.
    pub statement: Result<MassStatement, String>,
    masses: BTreeMap<String, usize>,
    pieces: BTreeMap<String, PanelPieces>,
    costs: Option<CostStatement>,
    cost_places: BTreeMap<String, usize>,
    /// Who uses whom.
    pub graph: Uses,
    panel_duties: BTreeMap<&'a str, Vec<(&'a DutyKey, &'a Judged)>>,
    showing_duties: BTreeMap<&'a str, Vec<&'a Duty>>,
    laminate_duties: BTreeMap<&'a str, Vec<&'a Duty>>,
    subject_duties: BTreeMap<&'a Subject, Vec<&'a Duty>>,
    parts: BTreeMap<&'a str, Vec<Part<'a>>>,
    recipe_panels: BTreeMap<&'a str, Vec<&'a str>>,
    finish_panels: BTreeMap<&'a str, Vec<&'a str>>,
    tool_panels: BTreeMap<&'a str, Vec<&'a str>>,
    showing_evidence: BTreeMap<&'a str, Vec<&'a str>>,
    superseding: BTreeMap<&'a str, &'a str>,
    extending: BTreeMap<&'a str, Vec<&'a str>>,
    /// Records that a correction stands in place of, each with that.
    pub superseded: BTreeMap<&'a str, &'a str>,
    trials: BTreeMap<String, TrialState>,
    margins: BTreeMap<&'a str, Once<Arc<PanelMargins>>>,
    heat: BTreeMap<&'a str, Once<Arc<Heat>>>,
}

impl<'a> Known<'a> {
    /// Works out what all share.
    pub fn of(ledger: &'a Ledger, evaluation: &'a Evaluation, today: Day) -> Self {
        let statement = statement(ledger, Scope::Programme).map_err(|missing| missing.to_string());
        let panels = statement.as_ref().map_or(&[][..], |own| own.panels.as_slice());
        let masses = panels.iter().enumerate().map(|(at, own)| (own.panel.clone(), at)).collect();
        let pieces = stages(panels).into_iter().map(|own| (own.panel.clone(), own)).collect();
        let costs = cost_of(ledger, &Scope::Programme).ok().flatten();
        let priced = costs.iter().flat_map(|own| &own.panels).enumerate();
        let cost_places = priced.map(|(at, own)| (own.panel.clone(), at)).collect();
        let mut own = Self {
            ledger,
            evaluation,
            masses,
            pieces,
            statement,
            costs,
            cost_places,
            graph: Uses::of(ledger),
            panel_duties: BTreeMap::new(),
            showing_duties: BTreeMap::new(),
            laminate_duties: BTreeMap::new(),
            subject_duties: BTreeMap::new(),
            parts: BTreeMap::new(),
            recipe_panels: BTreeMap::new(),
            finish_panels: BTreeMap::new(),
            tool_panels: BTreeMap::new(),
            showing_evidence: BTreeMap::new(),
            superseding: BTreeMap::new(),
            extending: BTreeMap::new(),
            superseded: superseded(ledger),
            trials: trials(ledger, evaluation, today)
                .into_iter()
                .map(|trial| (trial.evidence.clone(), trial))
                .collect(),
            margins: ledger.panels.keys().map(|id| (id.as_str(), OnceLock::new())).collect(),
            heat: ledger.panels.keys().map(|id| (id.as_str(), OnceLock::new())).collect(),
        };
        own.note_duties();
        own.note_uses();
        own
    }

    fn note_duties(&mut self) {
        for (key, duty) in &self.evaluation.duties {
            self.showing_duties.entry(&key.0).or_default().push(duty);
            if let Subject::Laminate(recipe) | Subject::Painted(recipe, _) = &key.1 {
                self.laminate_duties.entry(recipe).or_default().push(duty);
                self.subject_duties.entry(&key.1).or_default().push(duty);
            }
            let mut parts: BTreeMap<&str, Part<'_>> = BTreeMap::new();
            for (panel, judged) in &*duty.panels {
                self.panel_duties.entry(panel).or_default().push((key, judged));
                // Behind an open or lapsed verdict stands what came nearest; a concession covers what is missing.
                let role = match judged.verdict {
                    Verdict::Met | Verdict::Short | Verdict::Failed => Role::Counts,
                    Verdict::Conceded | Verdict::Lapsed | Verdict::Open => Role::Nearest,
                };
                let looked = judged.evidence.iter().map(|id| (id, role));
                for (id, role) in looked.chain(judged.under_way.iter().map(|id| (id, Role::UnderWay))) {
                    let part = parts.entry(id).or_insert(Part { duty, role, carried_over: false });
                    part.role = part.role.max(role);
                    part.carried_over |= judged.carried_over.contains(id);
                }
            }
            for (id, part) in parts {
                self.parts.entry(id).or_default().push(part);
            }
        }
    }

    fn note_uses(&mut self) {
        for (id, panel) in &self.ledger.panels {
            let zones = &panel.value.zones;
            let recipes: BTreeSet<&str> =
                zones.iter().filter_map(|zone| Some(zone.recipe.as_ref()?.id())).collect();
            let finishes: BTreeSet<&str> =
                zones.iter().filter_map(|zone| Some(zone.finish.as_ref()?.id())).collect();
            for recipe in recipes {
                self.recipe_panels.entry(recipe).or_default().push(id);
            }
            for finish in finishes {
                self.finish_panels.entry(finish).or_default().push(id);
            }
            if let Some(tool) = &panel.value.tool {
                self.tool_panels.entry(tool.id()).or_default().push(id);
            }
        }
        for (id, entry) in &self.ledger.evidence {
            self.showing_evidence.entry(entry.value.showing.id()).or_default().push(id);
            if let Some(old) = &entry.value.supersedes {
                self.superseding.entry(old.id()).or_insert(id);
            }
            if let Some(baseline) = &entry.value.baseline {
                self.extending.entry(baseline.id()).or_default().push(id);
            }
        }
    }

    /// What one panel weighs, within the programme.
    pub fn mass(&self, panel: &str) -> Option<&PanelMass> {
        self.statement.as_ref().ok()?.panels.get(*self.masses.get(panel)?)
    }

    /// Its pieces that were on the scale.
    pub fn pieces(&self, panel: &str) -> Option<&PanelPieces> {
        self.pieces.get(panel)
    }

    /// What one costs, and the currency.
    pub fn cost(&self, panel: &str) -> Option<(&crate::article::weigh::PanelCost, &str)> {
        let own = self.costs.as_ref()?;
        Some((own.panels.get(*self.cost_places.get(panel)?)?, &own.currency))
    }

    /// Duties of a panel with its own verdicts.
    pub fn duties_of_panel(&self, panel: &str) -> &[(&'a DutyKey, &'a Judged)] {
        self.panel_duties.get(panel).map_or(&[], Vec::as_slice)
    }

    /// Duties of a showing.
    pub fn duties_of_showing(&self, showing: &str) -> &[&'a Duty] {
        self.showing_duties.get(showing).map_or(&[], Vec::as_slice)
    }

    /// Duties of a laminate, bare or painted.
    pub fn duties_of_laminate(&self, recipe: &str) -> &[&'a Duty] {
        self.laminate_duties.get(recipe).map_or(&[], Vec::as_slice)
    }

    /// Duties of one laminate, bare or under one finish.
    pub fn duties_of_subject(&self, subject: &Subject) -> &[&'a Duty] {
        self.subject_duties.get(subject).map_or(&[], Vec::as_slice)
    }

    /// Duties that evidence has a part in.
    pub fn parts(&self, evidence: &str) -> &[Part<'a>] {
        self.parts.get(evidence).map_or(&[], Vec::as_slice)
    }

    /// Panels with a recipe.
    pub fn panels_with_recipe(&self, recipe: &str) -> &[&'a str] {
        self.recipe_panels.get(recipe).map_or(&[], Vec::as_slice)
    }

    /// Panels with a finish.
    pub fn panels_with_finish(&self, finish: &str) -> &[&'a str] {
        self.finish_panels.get(finish).map_or(&[], Vec::as_slice)
    }

    /// Panels out of a tool.
    pub fn panels_of_tool(&self, tool: &str) -> &[&'a str] {
        self.tool_panels.get(tool).map_or(&[], Vec::as_slice)
    }

    /// Evidence of a showing.
    pub fn evidence_of(&self, showing: &str) -> &[&'a str] {
        self.showing_evidence.get(showing).map_or(&[], Vec::as_slice)
    }

    /// The exposure trial that evidence is.
    pub fn trial(&self, evidence: &str) -> Option<&TrialState> {
        self.trials.get(evidence)
    }

    /// The record that names another as the one that it supersedes.
    pub fn superseding(&self, evidence: &str) -> Option<&'a str> {
        self.superseding.get(evidence).copied()
    }

    /// Records that extend evidence to what it was not made of: it is their baseline.
    pub fn extending(&self, evidence: &str) -> &[&'a str] {
        self.extending.get(evidence).map_or(&[], Vec::as_slice)
    }

    /// All exposure trials.
    pub fn trials(&self) -> impl Iterator<Item = &TrialState> {
        self.trials.values()
    }

    /// Margins of a panel.
    ///
    /// # Errors
    /// [`ArticleError`] where a record is missing.
    pub fn margins(&self, panel: &str) -> Result<Arc<PanelMargins>, ArticleError> {
        let compute = || self.evaluation.margins(self.ledger, panel);
        match self.margins.get(panel) {
            Some(own) => own.get_or_init(compute).clone(),
            None => compute(),
        }
    }

    /// Heat of a panel's zones.
    ///
    /// # Errors
    /// [`ArticleError`] where a record is missing.
    pub fn heat(&self, panel: &str) -> Result<Arc<Heat>, ArticleError> {
        match (self.heat.get(panel), self.ledger.panels.get(panel)) {
            (Some(own), Some(entry)) => {
                own.get_or_init(|| heat_of(self.ledger, &self.evaluation.duties, entry).map(Arc::new)).clone()
            }
            _ => Ok(Arc::default()),
        }
    }
}

/// How many of some verdicts there are, what is wanted last, as [`Verdict::ALL`] orders them.
pub(super) fn counted(verdicts: impl Iterator<Item = Verdict>) -> Vec<(&'static str, usize)> {
    let mut counts: BTreeMap<&'static str, usize> = BTreeMap::new();
    for verdict in verdicts {
        *counts.entry(verdict.word()).or_default() += 1;
    }
    let all = Verdict::ALL.map(Verdict::word);
    all.into_iter().filter_map(|word| Some((word, *counts.get(word)?))).collect()
}
