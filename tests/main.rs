//! The integration tests: one program, so that it links once.
//!
//! Each module below says at its head what belongs into it. Most of what the program answers is held
//! as files under `tests/golden/`; `tests/golden/README.md` says how to add a case.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test fails by panicking; the lint's own exception covers `#[test]` functions alone"
)]

mod support;

mod broken;
mod compare;
mod computed;
mod conform;
mod example;
mod export;
mod formats;
mod found;
mod golden;
mod json;
mod pages;
mod plan;
mod readme;
mod rules;
mod schema;
mod schemas;
mod shells;
mod silence;
mod stories;
mod streams;
mod terminal;

// Further modules, one line each:
mod faults;
mod fuzz;
mod git;
mod hostile;
mod outside;
mod property;
