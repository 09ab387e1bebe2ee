//! Moisture uptake and the time it takes.

pub mod moisture;
