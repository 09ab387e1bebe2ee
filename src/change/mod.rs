//! Two evaluated ledgers side by side: what differs and what it un-proves.

pub mod balance;
pub mod carried;
pub mod decide;
pub mod diff;
pub mod draft;
pub mod explain;
pub mod facets;
pub mod found;
pub mod impact;
pub mod leeway;
pub mod margins;
pub mod predicted;
pub mod rebase;
pub(crate) mod same;
pub mod verdict_paragraph;
