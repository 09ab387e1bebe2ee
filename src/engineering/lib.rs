//! The engineering of Bondline: pure functions on plain values, of records, files and git unaware.
//!
//! A crate of its own for two reasons: the compiler holds it to that, and the tests of the whole need not wait for
//! numerics that were built without optimisation (`Cargo.toml`, `profile.dev.package`).

pub mod laminate;

pub mod finish;

pub mod mass;

pub mod statistics;

pub mod fabrication;
