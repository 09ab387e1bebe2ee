//! How figures are read: nominal as a rule, moved towards a limit where spread is asked for.

use crate::quantity::Quantity;
use crate::record::{Address, RecordKind};
use std::cell::RefCell;
use std::collections::BTreeSet;
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

/// Reads figures out of records.
#[derive(Clone, Copy, Default)]
pub struct Sight<'n> {
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
        Self { nudge: None, seen: Some(seen) }
    }

    /// Reads every figure where `nudge` says.
    pub fn moved(nudge: &'n Nudge<'n>) -> Self {
        Self { nudge: Some(nudge), seen: None }
    }

    /// Returns whether figures may stand away from their nominal.
    pub fn is_moved(&self) -> bool {
        self.nudge.is_some()
    }

    /// Returns a figure in SI. The route is only asked for where the figure has a spread, since most have
    /// none and whole fleets are read this way.
    pub fn read(&self, figure: &Quantity, kind: RecordKind, id: &str, route: impl FnOnce() -> String) -> f64 {
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
