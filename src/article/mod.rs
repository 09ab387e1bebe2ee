//! Records turned into stacks, coats and zones; subjects; configurations.
//!
//! Everything here looks records up in a [`crate::ledger::Ledger`] and never judges: what it finds is
//! handed to the engineering rooms and to `qualify`.

#[cfg(test)]
pub(crate) mod fixture;
mod layers;
mod sight;
pub mod stack;
pub mod weigh;

pub use layers::{ArticleError, LayerRole, StackLayer, expand, layer_role};
pub use sight::{Cause, Limit, Nudge, Sight};
