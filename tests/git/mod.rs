//! Ledgers in real repositories, judged by the real program.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing)]

pub(crate) mod bed;

mod answers;
mod decide;
mod full_disk;
mod gate;
mod imports;
mod merge;
mod states;
mod store;
mod turns;
mod walk;
mod writers;
