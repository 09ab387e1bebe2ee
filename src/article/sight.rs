//! How figures are read: nominal as a rule, moved towards a limit where spread is asked for.

use crate::quantity::Quantity;
use crate::record::{Address, RecordKind};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt;

/// Where between its limits a figure is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limit {
    /// At its nominal.
    Nominal,
    /// At its low limit.
    Low,
    /// At its high limit.
    High,
    /// So many standard deviations above the nominal; a limit lies two of them away on its side.
    Deviations(f64),
}

impl Limit {
    /// Returns the figure there, in SI.
    pub fn of(self, figure: &Quantity) -> f64 {
        let nominal = figure.si();
        match self {
            Limit::Nominal => nominal,
            Limit::Low => figure.low_si(),
            Limit::High => figure.high_si(),
            Limit::Deviations(z) if z < 0.0 => nominal + z * (nominal - figure.low_si()) / 2.0,
            Limit::Deviations(z) => nominal + z * (figure.high_si() - nominal) / 2.0,
        }
    }
}

/// A record's attribute that holds a tolerance or limits.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cause {
    /// The record.
    pub address: Address,
    /// The route in it.
    pub route: String,
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}#{}", self.address, self.route)
    }
}

/// Says for an attribute where between its limits it is to be taken.
pub type Nudge<'n> = dyn Fn(&Address, &str) -> Limit + 'n;

/// How many deviations each cause stands away from its nominal, sample after sample.
///
/// A figure is known again by where it is in memory, since naming it anew for every sample (thousands of
/// figures, thousands of samples) costs more than all the arithmetic: the ledger is borrowed meanwhile, so
/// nothing moves.
pub struct Drawn {
    causes: BTreeMap<Cause, usize>,
    deviations: Vec<f64>,
    places: RefCell<HashMap<*const Quantity, Option<usize>>>,
}

impl Drawn {
    /// Returns all causes at their nominal.
    pub fn new(causes: impl IntoIterator<Item = Cause>) -> Self {
        let causes: BTreeMap<Cause, usize> =
            causes.into_iter().enumerate().map(|(at, cause)| (cause, at)).collect();
        let deviations = vec![0.0; causes.len()];
        Self { causes, deviations, places: RefCell::default() }
    }

    /// Draws each cause anew, in the order that they were given in.
    pub fn draw(&mut self, mut next: impl FnMut() -> f64) {
        self.deviations.iter_mut().for_each(|deviation| *deviation = next());
    }

    fn limit(&self, figure: &Quantity, cause: impl FnOnce() -> Cause) -> Limit {
        let place = *self
            .places
            .borrow_mut()
            .entry(std::ptr::from_ref(figure))
            .or_insert_with(|| self.causes.get(&cause()).copied());
        let deviation = place.and_then(|place| self.deviations.get(place));
        deviation.map_or(Limit::Nominal, |z| Limit::Deviations(*z))
    }
}

/// Reads figures out of records.
#[derive(Clone, Copy, Default)]
pub struct Sight<'n> {
    drawn: Option<&'n Drawn>,
    nudge: Option<&'n Nudge<'n>>,
    seen: Option<&'n RefCell<BTreeSet<Cause>>>,
}

impl<'n> Sight<'n> {
    /// Reads every figure at its nominal.
    pub fn nominal() -> Self {
        Self::default()
    }

    /// Reads every figure at its nominal and notes those that have a spread.
    pub fn recording(seen: &'n RefCell<BTreeSet<Cause>>) -> Self {
        Self { seen: Some(seen), ..Self::default() }
    }

    /// Reads every figure where `nudge` says.
    pub fn moved(nudge: &'n Nudge<'n>) -> Self {
        Self { nudge: Some(nudge), ..Self::default() }
    }

    /// Reads every figure of a record that is kept in a ledger where it was drawn.
    pub fn drawn(drawn: &'n Drawn) -> Self {
        Self { drawn: Some(drawn), ..Self::default() }
    }

    /// Returns whether figures may stand away from their nominal.
    pub fn is_moved(&self) -> bool {
        self.nudge.is_some() || self.drawn.is_some()
    }

    /// Returns a figure in SI. The route is only asked for where the figure has a spread, since most have
    /// none and whole fleets are read this way.
    pub fn read(&self, figure: &Quantity, kind: RecordKind, id: &str, route: impl FnOnce() -> String) -> f64 {
        if let Some(drawn) = self.drawn.filter(|_| figure.has_spread()) {
            let cause = || Cause { address: Address::new(kind, id), route: route() };
            return drawn.limit(figure, cause).of(figure);
        }
        if !figure.has_spread() || (self.nudge.is_none() && self.seen.is_none()) {
            return figure.si();
        }
        let cause = Cause { address: Address::new(kind, id), route: route() };
        let limit = self.nudge.map_or(Limit::Nominal, |nudge| nudge(&cause.address, &cause.route));
        if let Some(seen) = self.seen {
            seen.borrow_mut().insert(cause);
        }
        limit.of(figure)
    }
}

/// Returns a name as routes write it: spaces become `-`.
pub(crate) fn route_name(name: &str) -> String {
    name.replace(' ', "-")
}
