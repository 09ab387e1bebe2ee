//! `ledger.yaml`: the programme's own settings.

use super::{part, word_set};
use crate::quantity::*;
use crate::record::{RecordKind, Text};
use std::collections::BTreeMap;

part! {
    /// The design day.
    pub struct Climate {
        /// Air temperature.
        pub ambient: Temperature,
        /// Sunlight on the surface.
        pub irradiance: Irradiance,
        /// Radiant temperature of the sky; 0.0552 Ta^1.5 where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub sky: Option<Temperature>,
        /// Wind on the ramp; none where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub wind: Option<Speed>,
        /// Wind when the structure is loaded; `wind` where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub structural_wind: Option<Speed>,
    }
}

part! {
    /// Growth allowance by maturity; paint and paste by their own where given.
    pub struct Growth {
        /// On estimated panels.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub estimated: Option<Fraction>,
        /// On calculated panels.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub calculated: Option<Fraction>,
        /// On weighed panels.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub weighed: Option<Fraction>,
        /// On every coat.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub paint: Option<Fraction>,
        /// On every joint's adhesive.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub paste: Option<Fraction>,
    }
}

part! {
    /// What testing costs, and what making costs where a record does not say it.
    pub struct Rates {
        /// One specimen, where the showing's plan gives no cost.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub specimen: Option<Money>,
        /// Laying up one test panel.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub panel_layup: Option<Money>,
        /// One week in the laboratory.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub lab_week: Option<Money>,
        /// One hour of work in the shop: `62 EUR/h`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub labour: Option<Money>,
        /// Work on one layer of one zone, where neither its material nor its recipe has `labour`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub layer: Option<Duration>,
        /// Work on one coat of one face of one zone, where neither its material nor its finish has `labour`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub coat: Option<Duration>,
        /// Share of bought layers and sheets that is cut off, where the material does not say it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub scrap: Option<Fraction>,
    }
}

part! {
    /// Levels of significance of the procedure that design values come from.
    pub struct Statistics {
        /// Of the test for outliers: 0.0001 to 0.5; 0.05 where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub outliers: Option<Fraction>,
        /// Of the k-sample test of batches: 0.1, 0.05, 0.025 or 0.01; 0.025 where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub batches: Option<Fraction>,
        /// Of the test of equal variances: 0.0001 to 0.5; 0.05 where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub variances: Option<Fraction>,
        /// Of the tests of fit: 0.0001 to 0.5; 0.05 where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub fit: Option<Fraction>,
        /// Whether the modified coefficient of variation is used; never where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub modified_cv: Option<bool>,
        /// Of equivalence: 0.0001 to 0.5; 0.05 where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub equivalence: Option<Fraction>,
    }
}

part! {
    /// How far a piece may be off its predicted mass at one stage.
    pub struct StageLimits {
        /// A residual beyond this share of the prediction wants `explained`; that of all stages where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub explain: Option<Fraction>,
        /// A residual beyond this share holds the piece until its `disposition`; that of all stages where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub hold: Option<Fraction>,
    }
}

part! {
    /// What weighings are held to, and how closely pieces and scale are known; shares of the predicted mass.
    pub struct WeighingRules {
        /// A residual beyond it wants `explained`; 3 % where absent (common practice, no source).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub explain: Option<Fraction>,
        /// A residual beyond it holds the piece until its `disposition`; 5 % where absent (common practice, no source).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub hold: Option<Fraction>,
        /// Otherwise for trimmed pieces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub trimmed: Option<StageLimits>,
        /// Otherwise for bare pieces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub bare: Option<StageLimits>,
        /// Otherwise for primed pieces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub primed: Option<StageLimits>,
        /// Otherwise for painted pieces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub painted: Option<StageLimits>,
        /// One standard deviation from piece to piece of what is added at a stage; 1 % where absent (common practice, no source).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub scatter: Option<Fraction>,
        /// One standard deviation of a reading of the scale; 0.1 % where absent (common practice, no source).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub scale: Option<Fraction>,
    }
}

part! {
    /// Roles that must approve.
    pub struct Approvals {
        /// A decision.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub decision: Vec<Text>,
        /// A concession.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub concession: Vec<Text>,
        /// Different people, by name, who must have approved either; where absent, roles alone count.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub persons: Option<u32>,
    }
}

word_set! {
    /// What a rule of the gate does.
    pub enum PolicyLevel {
        /// Refuses the commit.
        Block = "block",
        /// Says so and lets it pass.
        Warn = "warn",
        /// Says nothing.
        Off = "off",
    }
}

word_set! {
    /// A kind of record that can be taken from another ledger.
    pub enum ImportedKind {
        /// Materials.
        Material = "material",
        /// Processes.
        Process = "process",
        /// Tools.
        Tool = "tool",
        /// Finishes.
        Finish = "finish",
        /// Recipes.
        Recipe = "recipe",
        /// Showings.
        Showing = "showing",
        /// Evidence, with its data.
        Evidence = "evidence",
    }
}

impl ImportedKind {
    /// All of them, those that others name before those that name them.
    pub const ALL: &'static [ImportedKind] = &[
        Self::Material,
        Self::Process,
        Self::Tool,
        Self::Finish,
        Self::Recipe,
        Self::Showing,
        Self::Evidence,
    ];

    /// Returns the kind of record.
    pub fn record(self) -> RecordKind {
        match self {
            Self::Material => RecordKind::Material,
            Self::Process => RecordKind::Process,
            Self::Tool => RecordKind::Tool,
            Self::Finish => RecordKind::Finish,
            Self::Recipe => RecordKind::Recipe,
            Self::Showing => RecordKind::Showing,
            Self::Evidence => RecordKind::Evidence,
        }
    }

    /// Returns the kind where records of it can be taken: what is one programme's own stays with it.
    pub fn of(kind: RecordKind) -> Option<Self> {
        Self::ALL.iter().copied().find(|own| own.record() == kind)
    }
}

part! {
    /// Another ledger, in a repository of its own, that records are taken from as they were in one commit. They can't
    /// be changed from here.
    pub struct Import {
        /// How its records are called here: `NAME:kind/id`.
        pub name: Text,
        /// The folder of its repository, from that of this ledger: `../shared`, or that of a submodule.
        pub path: Text,
        /// The commit whose records count: 7 to 40 hexadecimal digits.
        pub commit: Text,
        /// The folder of its ledger in that repository; the top where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub folder: Option<Text>,
        /// Which kinds of records are taken; all that it has where absent. What a taken record names of a kind that is
        /// not taken is a record of this ledger.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub kinds: Option<Vec<ImportedKind>>,
        /// A title for people.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub title: Option<String>,
    }
}

part! {
    /// `ledger.yaml`.
    pub struct LedgerHead {
        /// Version of the record formats; 1.
        pub format: u32,
        /// The programme's name.
        pub programme: Text,
        /// Units that reports are written in.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub units: Option<UnitSystem>,
        /// Currency of costs.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub currency: Option<Text>,
        /// Milestones in order.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub milestones: Vec<Text>,
        /// The last milestone passed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub reached: Option<Text>,
        /// The design day.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub climate: Option<Climate>,
        /// Mass budgets by group.
        #[serde(default, deserialize_with = "crate::record::unique::map", skip_serializing_if = "BTreeMap::is_empty")]
        pub budgets: BTreeMap<String, Mass>,
        /// Growth allowances.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub growth: Option<Growth>,
        /// What weighings are held to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub weighing: Option<WeighingRules>,
        /// What testing and making cost.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub rates: Option<Rates>,
        /// Levels of the tests behind design values, for every showing that does not name its own.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub statistics: Option<Statistics>,
        /// Who must approve what.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub approvals: Option<Approvals>,
        /// Other ledgers that records are taken from, as they were in one commit.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub imports: Vec<Import>,
        /// Levels of the gate's rules.
        #[serde(default, deserialize_with = "crate::record::unique::map", skip_serializing_if = "BTreeMap::is_empty")]
        pub policy: BTreeMap<String, PolicyLevel>,
        /// Notes for people.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub notes: Option<String>,
    }
}
