//! Mass roll-up: contributions, spread by causes, growth, budgets, centre of gravity; what is bought for it.
//!
//! The arithmetic of a mass statement on plain values: [`centre_of_gravity`] of items, some of
//! which have no position; [`spread()`] of a total whose causes were each moved to their limits;
//! [`probability_within`] a budget; [`learn()`], which contributors are off by what the scale says. Who
//! contributes what is the caller's.

mod cg;
mod cost;
mod learn;
mod spread;

pub use cost::{bought, mould_share, sprayed};

pub use cg::{CentreOfGravity, centre_of_gravity};
pub use learn::{Estimates, Reading, learn};
pub use spread::{CauseTotals, SpreadTotal, probability_within, spread};

/// Why a mass could not be rolled up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MassError {
    /// A value that is not a finite number, or a sum too large for one.
    #[error("{what} is not a finite number")]
    NotFinite {
        /// Which value.
        what: &'static str,
    },
    /// A mass below zero.
    #[error("item {item} weighs {kg} kg; a mass cannot be negative")]
    Negative {
        /// Place of the item, counted from 1.
        item: usize,
        /// What was given, kg.
        kg: f64,
    },
    /// Limits that do not enclose their nominal.
    #[error("the limits {low} .. {high} kg do not enclose {nominal} kg")]
    Limits {
        /// Nominal total, kg.
        nominal: f64,
        /// Low limit, kg.
        low: f64,
        /// High limit, kg.
        high: f64,
    },
}

fn finite(what: &'static str, value: f64) -> Result<f64, MassError> {
    if value.is_finite() { Ok(value) } else { Err(MassError::NotFinite { what }) }
}
