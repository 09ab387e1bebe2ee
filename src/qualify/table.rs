//! The built-in sensitivity table: what a difference in a facet asks of each kind of showing.
//!
//! The table is data (`table.yaml`); nothing here knows what lightning is. Every cell names its source
//! and is a default that a showing's own `sensitivity:` may replace. An engineering aid, not approved
//! data.

pub use crate::record::sensitivity::{Asks, Sensitivity, Step, Window};

use crate::record::sensitivity::{facet_of, key_fault, steps_fault};
use crate::record::{ComputedCheck, Showing};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::sync::OnceLock;

const BUILT_IN: &str = include_str!("table.yaml");

/// The whole table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Raised with every change of the table; stands in the head of every report.
    pub number: u32,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub digest: String,
    /// One row per kind of showing.
    pub kinds: BTreeMap<String, KindRow>,
    /// What each window means, by its name (`w1`).
    pub windows: BTreeMap<String, WindowRow>,
    /// Which tested zone or exposure covers which other.
    pub orders: Orders,
}

/// The table as its file is written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    number: u32,
    orders: Orders,
    windows: BTreeMap<String, WindowRow>,
    kinds: BTreeMap<String, KindRow>,
}

/// One kind of showing.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KindRow {
    /// The kind of subject that it is shown for: lamina, laminate, painted, bond, sheet, panel,
    /// programme.
    pub subject: String,
    /// Further kinds that a showing's `subject:` may name.
    pub also: Vec<String>,
    /// What a subject or a panel must have for a duty to arise.
    pub only_where: OnlyWhere,
    /// Whether it is computed anew each time and never judged by comparison.
    #[serde(default)]
    pub live: bool,
    /// Whether evidence of another subject counts only where every own attribute is equal, as it always is
    /// for panels: where no cell says what may differ.
    #[serde(default)]
    pub whole: bool,
    /// The facets of the natural subject that it is compared in.
    pub own: Vec<String>,
    /// The facets where another subject is named, by kind of subject.
    #[serde(default)]
    pub own_also: BTreeMap<String, Vec<String>>,
    /// Which sites the row looks at: those of material and lay-up where nothing is written.
    #[serde(default = "usual_sites")]
    pub sites: Vec<String>,
    /// What the using panels demand.
    pub context: Vec<Context>,
    /// The cells, by facet or by one attribute of it. What has no cell asks nothing.
    pub cells: BTreeMap<String, Cell>,
}

fn usual_sites() -> Vec<String> {
    ["supplier", "material", "impregnation", "layup"].map(str::to_string).to_vec()
}

/// What must be there for a duty to arise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OnlyWhere {
    /// Nothing.
    None,
    /// The laminate has a core.
    Core,
    /// The panel has fittings.
    Fittings,
    /// The panel has fittings or holes.
    FittingsOrHoles,
    /// `exposure.compartment`.
    Compartment,
    /// `exposure.lightning`.
    Lightning,
    /// The subject is not bare.
    Painted,
    /// The subject is not bare, and the panel stands outdoors.
    PaintedOutdoor,
    /// No face of the bond is a sheet.
    NoSheetFace,
    /// A face of the bond is a sheet.
    SheetFace,
    /// The panel has a mesh or is exposed to lightning.
    MeshOrLightning,
    /// `exposure.fluids`.
    Fluids,
    /// What the computed check needs.
    WhatTheCheckNeeds,
}

impl OnlyWhere {
    /// Returns the words that follow the subject.
    pub fn words(self) -> &'static str {
        match self {
            OnlyWhere::None => "wherever it is used",
            OnlyWhere::Core => "where it has a core",
            OnlyWhere::Fittings => "where the panel has fittings",
            OnlyWhere::FittingsOrHoles => "where the panel has fittings or holes",
            OnlyWhere::Compartment => "where `exposure.compartment` holds",
            OnlyWhere::Lightning => "where `exposure.lightning` names a zone",
            OnlyWhere::Painted => "where it is not bare",
            OnlyWhere::PaintedOutdoor => "where it is not bare and the panel stands outdoors",
            OnlyWhere::NoSheetFace => "where no face is a sheet",
            OnlyWhere::SheetFace => "where a face is a sheet",
            OnlyWhere::MeshOrLightning => "where there is a mesh or a lightning zone",
            OnlyWhere::Fluids => "where `exposure.fluids` names any",
            OnlyWhere::WhatTheCheckNeeds => "where what the check needs is given",
        }
    }
}

/// What the panels that use a subject demand of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Context {
    /// Temperatures.
    T,
    /// Exposure, moisture, fluids.
    X,
    /// Tools.
    K,
    /// Forms of core that the lamina is co-cured on.
    C,
    /// Edges, holes, fasteners.
    E,
    /// Lightning zone.
    Z,
    /// Radius.
    R,
}

impl Context {
    /// Returns what it is, in words.
    pub fn words(self) -> &'static str {
        match self {
            Context::T => "temperatures",
            Context::X => "exposure, moisture and fluids",
            Context::K => "tools",
            Context::C => "forms of core that it is cured on",
            Context::E => "edges, holes and fasteners",
            Context::Z => "lightning zones",
            Context::R => "radius",
        }
    }

    /// Returns the facets whose cells this demand asks.
    pub fn facets(self) -> &'static [&'static str] {
        match self {
            // Too hot or too cold asks the cell of colour or of environment.
            Context::T => &["colour", "environment"],
            Context::X | Context::Z => &["environment"],
            Context::K => &["tool"],
            Context::C => &["core"],
            Context::E => &["edges"],
            Context::R => &["geometry"],
        }
    }
}

/// What a difference in one facet, or in one attribute, asks.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cell {
    /// The cell's level: what is asked just outside its window.
    pub level: Asks,
    /// The window that the level holds outside of, by its name in [`Table::windows`]. The steps alone
    /// decide: some cells name a window that opens in another facet.
    #[serde(default)]
    pub window: Option<String>,
    /// Tried in order.
    pub steps: Vec<Step>,
    /// Where the level and the window come from.
    pub source: String,
    /// What else a person should know.
    #[serde(default)]
    pub note: Option<String>,
}

/// What a window means.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WindowRow {
    /// The rule, in words.
    pub rule: String,
    /// Where it comes from.
    pub source: String,
}

/// The orders of severity.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Orders {
    /// Lightning zones.
    pub lightning: Order,
    /// Zones of exposure.
    pub exposure: Order,
}

/// A partial order of words, as chains from mild to severe.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Order {
    chains: Vec<Vec<String>>,
    /// Where the order comes from.
    pub source: String,
}

impl Order {
    /// Returns whether what was `tested` covers what is `asked`: the same word, or a milder one by
    /// one or several chains. A word in no chain covers only itself.
    pub fn covers(&self, tested: &str, asked: &str) -> bool {
        let mut covered = BTreeSet::from([tested]);
        // Each round adds at least one word of the chains, or ends.
        loop {
            let before = covered.len();
            for chain in &self.chains {
                let Some(top) = chain.iter().rposition(|word| covered.contains(word.as_str())) else {
                    continue;
                };
                covered.extend(chain.iter().take(top).map(String::as_str));
            }
            if covered.len() == before {
                return covered.contains(asked);
            }
        }
    }
}

impl Orders {
    /// Returns whether a test at lightning zone `tested` covers zone `asked`.
    pub fn lightning_covers(&self, tested: &str, asked: &str) -> bool {
        self.lightning.covers(tested, asked)
    }

    /// Returns whether a test in exposure zone `tested` covers zone `asked`.
    pub fn exposure_covers(&self, tested: &str, asked: &str) -> bool {
        self.exposure.covers(tested, asked)
    }
}

/// The steps that judge one attribute, and where they come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ruling<'a> {
    /// The key that matched: the attribute or its facet.
    pub key: &'a str,
    /// Tried in order; without a last step that always holds, `retest`.
    pub steps: &'a [Step],
    /// The built-in cell; `None` where the showing's own steps replace it.
    pub cell: Option<&'a Cell>,
}

impl Ruling<'_> {
    /// Returns the level of a difference outside every window: that of the cell, or of the showing's
    /// own last step.
    pub fn level(&self) -> Asks {
        match (self.cell, self.steps.last()) {
            (Some(cell), _) => cell.level,
            (None, Some(last)) if last.is_unconditional() => last.asks,
            (None, _) => Asks::Retest,
        }
    }
}

impl KindRow {
    /// Returns the cell for an attribute (`resin-content.route.a`, `fibre.name`) and the key that
    /// matched. The longest key wins, so an attribute goes before its facet.
    pub fn cell(&self, attribute: &str) -> Option<(&str, &Cell)> {
        longest(&self.cells, attribute)
    }

    /// Returns the steps for an attribute: the showing's own for the attribute or for its facet, else
    /// the built-in ones. `None`: nothing is asked.
    pub fn ruling<'a>(&'a self, attribute: &str, own: Option<&'a Sensitivity>) -> Option<Ruling<'a>> {
        if let Some((key, steps)) = own.and_then(|own| longest(own, attribute)) {
            return Some(Ruling { key, steps, cell: None });
        }
        let (key, cell) = self.cell(attribute)?;
        Some(Ruling { key, steps: &cell.steps, cell: Some(cell) })
    }

    /// Returns the facets that a showing for this kind of subject is compared in, those of the context
    /// left out; empty for a subject that the row does not allow.
    pub fn own_of(&self, subject: &str) -> &[String] {
        if self.subject == subject {
            return &self.own;
        }
        self.own_also.get(subject).map_or(&[], Vec::as_slice)
    }

    /// Returns whether a showing may be made for this kind of subject.
    pub fn allows(&self, subject: &str) -> bool {
        self.subject == subject || self.also.iter().any(|also| also == subject)
    }

    /// Returns whether the row has the facet for this kind of subject: among its own, or by context.
    pub fn has_facet(&self, subject: &str, facet: &str) -> bool {
        self.own_of(subject).iter().any(|own| own == facet)
            || self.context.iter().any(|context| context.facets().contains(&facet))
    }

    /// Returns the kind of subject that a showing of the row is about.
    pub fn subject_of(&self, showing: &Showing) -> &str {
        let computed = showing.check.filter(|_| self.live).map(ComputedCheck::subject);
        showing.subject.or(computed).map_or(self.subject.as_str(), |kind| kind.word())
    }

    /// Returns whether the row looks at an attribute of the facet `site`; at every attribute of the others.
    pub fn looks_at(&self, attribute: &str) -> bool {
        attribute.strip_prefix("site.").is_none_or(|site| self.sites.iter().any(|own| own == site))
    }

    /// Returns whether the row judges what is asked of a subject by coverage alone, not by comparing
    /// colour and environment: where its cells have the windows of temperature or of environment.
    pub fn judges_climate_by_coverage(&self) -> bool {
        self.cells.values().any(|cell| matches!(cell.window.as_deref(), Some("w10" | "w12")))
    }

    fn fault(&self) -> Option<String> {
        let facets = self.own.iter().chain(self.own_also.values().flatten());
        if let Some(foreign) = facets.into_iter().find(|name| facet_of(name) != Some(name.as_str())) {
            return Some(format!("`{foreign}` is no facet"));
        }
        if let Some(foreign) = self.own_also.keys().find(|subject| !self.also.contains(subject)) {
            return Some(format!("`{foreign}` is not among the other subjects"));
        }
        for (key, cell) in &self.cells {
            let unended = || {
                let ends = cell.steps.last().is_some_and(Step::is_unconditional);
                (!ends).then(|| "the last step has a condition".to_string())
            };
            if let Some(fault) = key_fault(key).or_else(|| steps_fault(&cell.steps)).or_else(unended) {
                return Some(format!("{key}: {fault}"));
            }
        }
        None
    }
}

/// Returns the longest key that `attribute` is or begins with, cut at dots.
fn longest<'a, T>(map: &'a BTreeMap<String, T>, attribute: &str) -> Option<(&'a str, &'a T)> {
    let mut key = attribute;
    loop {
        if let Some((found, value)) = map.get_key_value(key) {
            return Some((found.as_str(), value));
        }
        key = key.rsplit_once('.')?.0;
    }
}

impl Table {
    /// Reads a table.
    ///
    /// # Errors
    /// A sentence that says what is wrong and where.
    pub fn parse(text: &str) -> Result<Self, String> {
        let Written { number, orders, windows, kinds } =
            serde_yaml::from_str(text).map_err(|error| error.to_string())?;
        for (kind, row) in &kinds {
            if let Some(fault) = row.fault() {
                return Err(format!("{kind}: {fault}"));
            }
            let unknown = row
                .cells
                .values()
                .filter_map(|cell| cell.window.as_ref())
                .find(|window| !windows.contains_key(window.as_str()));
            if let Some(window) = unknown {
                return Err(format!("{kind}: window `{window}` is nowhere explained"));
            }
        }
        let mut digest = String::with_capacity(64);
        for byte in Sha256::digest(text.as_bytes()) {
            // Writing into a string cannot fail.
            let _ = write!(digest, "{byte:02x}");
        }
        Ok(Self { number, digest, kinds, windows, orders })
    }

    /// Returns the table that the program carries.
    ///
    /// # Errors
    /// A sentence, where the program was built with a table that cannot be read.
    pub fn built_in() -> Result<&'static Self, &'static str> {
        static TABLE: OnceLock<Result<Table, String>> = OnceLock::new();
        TABLE.get_or_init(|| Self::parse(BUILT_IN)).as_ref().map_err(String::as_str)
    }

    /// Returns the row of a kind of showing; `None` where the table has none.
    pub fn row(kind: &str) -> Option<&'static KindRow> {
        Self::built_in().ok()?.kinds.get(kind)
    }

    /// Returns the first twelve digits of [`Table::digest`], as reports show it.
    pub fn short_digest(&self) -> &str {
        self.digest.get(..12).unwrap_or(&self.digest)
    }
}

#[cfg(test)]
mod tests;
