//! Bondline: the design-decision ledger of a composite airframe.
//!
//! Data goes one way through the modules below, lowest first; each imports only those before it.

pub mod quantity;

pub mod record;

pub mod source;

pub mod ledger;

pub mod graph;

pub use bondline_engineering::{fabrication, finish, laminate, mass, statistics};

pub mod calc;

pub mod article;

pub mod qualify;

pub mod change;

pub mod gate;

pub mod report;

pub mod export;

pub mod store;

pub mod cli;
