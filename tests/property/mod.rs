//! Laws that hold for any programme, tried on small ones made at random.
//!
//! The seed is fixed, so that a run can be repeated; `PROPTEST_RNG_SEED` and `PROPTEST_CASES` go further.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing)]

mod concessions;
mod decisions;
mod earlier;
mod edits;
mod figures;
mod gate;
mod imports;
mod joint;
mod judging;
mod laws;
mod layout;
mod margins;
mod parts;
mod programme;
mod renames;
mod store;

use proptest::test_runner::{Config, RngSeed};

fn config(cases: u32) -> Config {
    let mut config = Config { failure_persistence: None, ..Config::default() };
    if std::env::var_os("PROPTEST_CASES").is_none() {
        config.cases = cases;
    }
    if std::env::var_os("PROPTEST_RNG_SEED").is_none() {
        config.rng_seed = RngSeed::Fixed(0x60d1_1e5e);
    }
    config
}
