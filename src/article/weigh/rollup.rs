//! How many of each panel and part there are, and where.

use crate::article::ArticleError;
use crate::ledger::{Ledger, MOST_PIECES};
use crate::record::{Address, RecordKind};
use std::collections::{BTreeMap, BTreeSet};

/// How many of one thing there are.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Placed {
    /// How many.
    pub count: u64,
    /// Sum of the offsets of all of them, in m.
    pub offsets: [f64; 3],
}

impl Placed {
    fn one(count: u64, at: [f64; 3]) -> Self {
        Self { count, offsets: at.map(|x| x * count as f64) }
    }

    /// `None` where there would be more than can be counted.
    fn add(&mut self, other: Self) -> Option<()> {
        self.count = sum(self.count, other.count)?;
        for (sum, x) in self.offsets.iter_mut().zip(other.offsets) {
            *sum += x;
        }
        Some(())
    }

    /// `times` of the whole that this is in, each moved by `at`.
    fn times(self, times: u64, at: [f64; 3]) -> Option<Self> {
        let mut offsets = self.offsets;
        for (sum, x) in offsets.iter_mut().zip(at) {
            *sum = (*sum + x * self.count as f64) * times as f64;
        }
        Some(Self { count: product(self.count, times)?, offsets })
    }
}

fn sum(one: u64, other: u64) -> Option<u64> {
    one.checked_add(other).filter(|sum| *sum <= MOST_PIECES)
}

fn product(one: u64, other: u64) -> Option<u64> {
    one.checked_mul(other).filter(|product| *product <= MOST_PIECES)
}

fn too_many(address: &Address) -> ArticleError {
    ArticleError::Unfit {
        address: address.clone(),
        problem: format!("its children, counted all the way down, are more than {MOST_PIECES}"),
    }
}

/// A part in an assembly: its material, the assembly that lists it, and whether it says where it is.
pub(super) type PartKey = (String, String, bool);

/// What an assembly or the programme holds, all the way down.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Counts {
    /// Panels by id.
    pub panels: BTreeMap<String, Placed>,
    /// Assemblies by id.
    pub assemblies: BTreeMap<String, u64>,
    pub(super) parts: BTreeMap<PartKey, Placed>,
}

impl Counts {
    /// `None` where there would be more than can be counted.
    fn add(&mut self, inner: &Counts, times: u64, at: [f64; 3]) -> Option<()> {
        for (id, placed) in &inner.panels {
            self.panels.entry(id.clone()).or_default().add(placed.times(times, at)?)?;
        }
        for (key, placed) in &inner.parts {
            self.parts.entry(key.clone()).or_default().add(placed.times(times, at)?)?;
        }
        for (id, count) in &inner.assemblies {
            let all = self.assemblies.entry(id.clone()).or_default();
            *all = sum(*all, product(*count, times)?)?;
        }
        Some(())
    }
}

/// Works out what assemblies hold, each once.
pub(super) struct RollUp<'a> {
    ledger: &'a Ledger,
    /// The only panel that is counted, where one alone is asked for: then others may be broken.
    only: Option<&'a str>,
    known: BTreeMap<String, Counts>,
    open: BTreeSet<String>,
}

impl<'a> RollUp<'a> {
    pub(super) fn new(ledger: &'a Ledger, only: Option<&'a str>) -> Self {
        Self { ledger, only, known: BTreeMap::new(), open: BTreeSet::new() }
    }

    fn counts_panel(&self, id: &str) -> bool {
        self.only.is_none_or(|only| only == id)
    }

    /// Returns what one assembly holds, itself included.
    pub(super) fn assembly(&mut self, id: &str, by: &Address) -> Result<Counts, ArticleError> {
        if let Some(known) = self.known.get(id) {
            return Ok(known.clone());
        }
        let address = Address::new(RecordKind::Assembly, id);
        let missing = || ArticleError::Missing { needed: address.clone(), by: by.clone() };
        let entry = self.ledger.assemblies.get(id).ok_or_else(missing)?;
        // An assembly that holds itself has no mass; `check` shows the circle.
        if !self.open.insert(id.to_string()) {
            return Err(missing());
        }
        let mut counts = Counts::default();
        counts.assemblies.insert(id.to_string(), 1);
        for child in &entry.value.children {
            let offset = child.at.as_ref().map(|at| at.each_ref().map(|length| length.si()));
            let at = offset.unwrap_or_default();
            if let Some(panel) = child.panel.as_ref().filter(|panel| self.counts_panel(panel.id())) {
                let missing = || ArticleError::Missing { needed: panel.address(), by: address.clone() };
                let record = self.ledger.panels.get(panel.id()).ok_or_else(missing)?;
                let count = child.count.or(record.value.quantity).unwrap_or(1);
                let placed = Placed::one(u64::from(count), at);
                let all = counts.panels.entry(panel.id().to_string()).or_default();
                all.add(placed).ok_or_else(|| too_many(&address))?;
            }
            let count = u64::from(child.count.unwrap_or(1));
            if let Some(assembly) = &child.assembly {
                let inner = self.assembly(assembly.id(), &address)?;
                counts.add(&inner, count, at).ok_or_else(|| too_many(&address))?;
            }
            if let Some(part) = &child.part {
                let key = (part.id().to_string(), id.to_string(), offset.is_some());
                let all = counts.parts.entry(key).or_default();
                all.add(Placed::one(count, at)).ok_or_else(|| too_many(&address))?;
            }
        }
        self.open.remove(id);
        self.known.insert(id.to_string(), counts.clone());
        Ok(counts)
    }

    /// Returns what the programme holds: the assemblies in no other, and the panels in none.
    pub(super) fn programme(&mut self) -> Result<Counts, ArticleError> {
        let ledger = self.ledger;
        let needed = |address: &Address| match address.kind() {
            RecordKind::Panel => self.counts_panel(address.id()),
            RecordKind::Assembly => true,
            _ => false,
        };
        if let Some(broken) = ledger.broken.iter().find(|address| needed(address)) {
            return Err(ArticleError::Missing { needed: broken.clone(), by: Address::ledger() });
        }
        let mut counts = Counts::default();
        let children = || ledger.assemblies.values().flat_map(|entry| &entry.value.children);
        let inner: BTreeSet<&str> =
            children().filter_map(|child| child.assembly.as_ref()).map(|assembly| assembly.id()).collect();
        let built_in: BTreeSet<&str> =
            children().filter_map(|child| child.panel.as_ref()).map(|panel| panel.id()).collect();
        // Each is worked out, so that a circle that nothing else holds is not passed over in silence.
        for id in ledger.assemblies.keys() {
            let held = self.assembly(id, &Address::ledger())?;
            if !inner.contains(id.as_str()) {
                let address = Address::new(RecordKind::Assembly, id.clone());
                counts.add(&held, 1, [0.0; 3]).ok_or_else(|| too_many(&address))?;
            }
        }
        for (id, panel) in &ledger.panels {
            if !built_in.contains(id.as_str()) && self.counts_panel(id) {
                let count = u64::from(panel.value.quantity.unwrap_or(1));
                let all = counts.panels.entry(id.clone()).or_default();
                let address = || too_many(&Address::new(RecordKind::Panel, id.clone()));
                all.add(Placed::one(count, [0.0; 3])).ok_or_else(address)?;
            }
        }
        Ok(counts)
    }
}

/// Returns how many of each panel and assembly the programme holds.
///
/// # Errors
/// [`ArticleError::Missing`] where a panel or assembly is missing or broken, or assemblies hold each other.
pub fn counts(ledger: &Ledger) -> Result<Counts, ArticleError> {
    RollUp::new(ledger, None).programme()
}
