//! How parts are made: moisture uptake and the time it takes, tools and what their heat does.

pub mod moisture;
pub mod tooling;
